//! Recording what happened.

use std::collections::BTreeMap;
use std::time::SystemTime;

use deepbend_contract::pb::EventEffect as Effect;
use deepbend_contract::pb::event_body::What;
use deepbend_contract::pb::field_value::Value as FieldValue;
use deepbend_contract::{limits, pb};

use super::{finish, printed_only, sync};
use crate::args::{Global, LogArgs, LogCommand};
use crate::failure::{Exit, Failure};
use crate::output::{self, Format, put, wrapped_note};
use crate::render::{self, units};
use crate::service::{Needs, Service};
use crate::trade;

const CM_PER_M: f64 = 100.0;

/// The event that a command line tells.
pub(crate) async fn event(service: &Service, args: LogArgs) -> Result<pb::NewEvent, Failure> {
    let LogArgs { what, seen, typed, at, by, time, text, kind, dry_run: _, unknown_ok: _ } = args;
    // Of pieces that broke the event has no words of its own.
    let text = if let LogCommand::Broke { what, pieces: Some(_), .. } = &what
        && text.is_empty()
    {
        what.clone()
    } else {
        text
    };
    let certainty = match (seen, typed) {
        (true, _) => pb::Certainty::Seen,
        (false, true) => pb::Certainty::Typed,
        (false, false) => pb::Certainty::Said,
    };
    let item_kind = kind.map_or(Ok(pb::ItemKind::Unspecified), |kind| read_kind(&kind))?;
    let (item_id, what) = body(service, what, &at).await?;
    Ok(pb::NewEvent {
        item_id,
        item_kind: item_kind.into(),
        claim: Some(claim(&by, certainty, time)),
        seen_at_id: at,
        text,
        body: Some(pb::EventBody { what: Some(what) }),
        ..Default::default()
    })
}

pub(super) async fn run(global: &Global, args: LogArgs) -> Result<(), Failure> {
    let (validate_only, accept_unknown_ids) = (args.dry_run, args.unknown_ok);
    let agreed = if let LogCommand::Wrong { yes, .. } = &args.what { Some(*yes) } else { None };
    let forgotten =
        if let LogCommand::Revoked { other_device: device, from_the_start, yes, .. } = &args.what {
            Some(device.clone()).filter(|_| *from_the_start && !*yes && !validate_only)
        } else {
            None
        };
    let service = Service::open(global, Needs::Inventory).await?;
    let done = async {
        if let Some(device) = forgotten {
            return Err(forgets_all(&service, &device).await?);
        }
        let events = vec![event(&service, args).await?];
        let request = pb::RecordEventsRequest {
            events,
            validate_only,
            accept_unknown_ids,
            ..Default::default()
        };
        if printed_only(global, &request)? {
            return Ok(());
        }
        // What a correction takes back is shown before it is recorded.
        if let Some(agreed) = agreed {
            let looked = pb::RecordEventsRequest { validate_only: true, ..request.clone() };
            let looked = send(global, &service, looked).await?;
            if global.output == Format::Table {
                put(&render::taken_back(&looked, output::width()))?;
            }
            if let Some(removed) = removed(&looked).filter(|_| !agreed && !validate_only) {
                return Err(removed);
            }
        }
        let answer = send(global, &service, request).await?;
        print(global, &answer, validate_only)?;
        if !answer.unknown_key.is_empty() {
            sync::warn_of_key(&sync::state_of(&service).await?);
        }
        note_of_stock(&answer);
        if !validate_only {
            note_of_rig(&service, &answer).await;
        }
        // Its device must have held what it corrects.
        let waits = |event: &pb::RecordedEvent| {
            event.effect() == Effect::Nothing && event.effect_reason.starts_with("pending: ")
        };
        if agreed.is_some() && answer.events.iter().any(waits) {
            wrapped_note("note: ", "when the other event has come, record this again");
        }
        Ok(())
    };
    let done = done.await;
    finish(service, done).await
}

async fn send(
    global: &Global,
    service: &Service,
    request: pb::RecordEventsRequest,
) -> Result<pb::RecordEventsResponse, Failure> {
    let may_wait = !request.accept_unknown_ids;
    let answer = service.inventory().record_events(service.request(request)).await;
    answer.map(tonic::Response::into_inner).map_err(|status| {
        let unknown = status.code() == tonic::Code::NotFound && may_wait;
        let failure = Failure::from(status);
        // A program is told the fields of the contract.
        let person = matches!(global.output, Format::Table | Format::Csv);
        let failure = if person { trade::typed(failure) } else { failure };
        if unknown {
            failure.hint(
                "if only another boat knows it: `deepbend sync` first, or --unknown-ok to record \
                 it all the same",
            )
        } else {
            failure
        }
    })
}

/// Says of line from stock without a length that the stock is as it was.
fn note_of_stock(answer: &pb::RecordEventsResponse) {
    let what = |event: &pb::RecordedEvent| event.body.clone().and_then(|body| body.what);
    for what in answer.events.iter().filter_map(what) {
        if let What::Respooled(pb::Respooled { from_id, taken_cm: None, .. }) = what
            && !from_id.is_empty()
        {
            let text = format!("{from_id} holds as much as before: --length says how much it gave");
            wrapped_note("note: ", &text);
        }
    }
}

/// Says of a rod or reel that was carried away or lost what is rigged with it and lies elsewhere.
async fn note_of_rig(service: &Service, answer: &pb::RecordEventsResponse) {
    // The item, and the place where it is now; none: it is lost.
    let gone = |event: &pb::RecordedEvent| {
        let what = event.body.as_ref()?.what.as_ref()?;
        let place = if let What::Moved(moved) = what {
            Some(moved.to_id.clone())
        } else if let What::Lost(_) = what {
            None
        } else {
            return None;
        };
        Some((event.item_id.clone(), place))
    };
    for (id, place) in answer.events.iter().filter_map(gone) {
        let rig = |field: &pb::ItemField| {
            let value = field.value.as_ref()?.value.as_ref()?;
            if let FieldValue::RigId(other) = value { Some(other.clone()) } else { None }
        };
        // What only another boat knows is rigged with nothing here.
        let Ok(found) = get(service, &id).await else { continue };
        let story = found.story.unwrap_or_default();
        let Some(other) = story.fields.iter().find_map(rig) else { continue };
        let Ok(found) = get(service, &other).await else { continue };
        let found = found.item.unwrap_or_default();
        let there = found.place_id.clone();
        if found.status() == pb::ItemStatus::Lost || place.as_ref() == Some(&there) {
            continue;
        }
        let at = if there.is_empty() { "nowhere".to_owned() } else { format!("at {there}") };
        let went = match place {
            Some(place) => format!("if it went along: deepbend log moved {other} {place}"),
            None => format!("if it went too: deepbend log lost {other}"),
        };
        let text = format!("{other}, which is rigged with it, is recorded {at}; {went}");
        wrapped_note("note: ", &text);
    }
}

async fn get(service: &Service, id: &str) -> Result<pb::GetItemResponse, Failure> {
    let request = pb::GetItemRequest { id: id.to_owned(), read_mask: None };
    Ok(service.inventory().get_item(service.request(request)).await?.into_inner())
}

/// What must be agreed to: nothing of a device counts any more.
async fn forgets_all(service: &Service, device: &str) -> Result<Failure, Failure> {
    let state = sync::state_of(service).await?;
    let of_device = state.tips.iter().filter(|tip| tip.device_id == device);
    let written = units::counted(of_device.map(|tip| tip.sequence).sum(), "event");
    let what = format!(
        "{device} wrote {written}: none would count, and what only they tell of leaves the \
         inventory; nothing is recorded"
    );
    let hint = format!(
        "--yes revokes {device} from the start; without --from-the-start what it \
                        wrote by now stays"
    );
    Ok(Failure::usage(what).hint(hint))
}

/// What must be agreed to: an item leaves the inventory.
fn removed(answer: &pb::RecordEventsResponse) -> Option<Failure> {
    let event = answer.taken_back.iter().find(|back| back.item_removed)?.event.as_ref()?;
    let item = &event.item_id;
    let what = format!("that event is all that tells what {item} is; nothing is recorded");
    Some(Failure::usage(what).hint(format!(
        "--yes takes {item} out of the inventory; `deepbend log edited {item} COLUMN=TEXT` mends \
         its description"
    )))
}

/// Who says it, when, and how well he knows.
pub(super) fn claim(
    by: &str,
    certainty: pb::Certainty,
    time: Option<prost_types::Timestamp>,
) -> pb::Claim {
    pb::Claim {
        observed_time: Some(time.unwrap_or_else(|| SystemTime::now().into())),
        actor: by.to_owned(),
        certainty: certainty.into(),
    }
}

pub(super) fn print(
    global: &Global,
    answer: &pb::RecordEventsResponse,
    dry_run: bool,
) -> Result<(), Failure> {
    let effect = |event: &pb::RecordedEvent| render::word!(EventEffect, event.effect);
    put(&match global.output {
        Format::Table => {
            let mut text = String::new();
            for event in &answer.events {
                let recorded = if dry_run { "would be recorded" } else { "recorded" };
                let mut page = render::Page::new(output::width());
                page.paragraph(&format!("{recorded} {} {}", event.event_id, event.item_id));
                text.push_str(&page.finish());
                text.push_str(&render::no_full_effect(event, output::width()));
                text.push_str(&render::for_device(event, output::width()));
            }
            text
        }
        Format::Json => output::json_text(answer)?,
        Format::Jsonl => output::json_line(answer)?,
        Format::Csv => {
            let row = |event: &pb::RecordedEvent| {
                let reason = event.effect_reason.clone();
                vec![event.event_id.clone(), event.item_id.clone(), effect(event), reason]
            };
            let rows: Vec<_> = answer.events.iter().map(row).collect();
            output::csv_text(&["event_id", "item_id", "effect", "effect_reason"], &rows)?
        }
    })?;
    for item in &answer.contested {
        let what: Vec<_> = item.disputes.iter().map(|dispute| dispute.what.as_str()).collect();
        let text = format!(
            "{} is contested ({}); `deepbend contested` says how to settle it",
            item.item_id,
            what.join(", ")
        );
        wrapped_note("note: ", &text);
    }
    Ok(())
}

/// What happened, and to which item; `at` is where it was seen.
async fn body(service: &Service, what: LogCommand, at: &str) -> Result<(String, What), Failure> {
    // Pieces are lost and found where one stands, unless another place is named.
    let place_of = |measure: pb::Measure, place: String| {
        let there = place.is_empty() && measure == pb::Measure::Pieces;
        if there { at.to_owned() } else { place }
    };
    Ok(match what {
        LogCommand::Moved { item, place, pieces, from } => {
            (item, What::Moved(pb::Moved { to_id: place, from_id: from, piece_count: pieces }))
        }
        LogCommand::Lent { item, to, until } => {
            (item, What::Lent(pb::Lent { to_id: to, until_date: until }))
        }
        LogCommand::Returned { item, place } => {
            (item, What::Returned(pb::Returned { to_id: place }))
        }
        LogCommand::Counted { item, amount, place, metres } => {
            let (measure, amount) = read_amount(service, &amount, metres).await?;
            // A count from memory is made anywhere: --at does not say what it is a count of.
            let counted =
                pb::Counted { measure: measure.into(), place_id: place, amount: Some(amount) };
            (item, What::Counted(counted))
        }
        LogCommand::Lost { item, amount: None, place: _ } => (item, What::Lost(pb::Lost {})),
        LogCommand::Lost { item, amount: Some(amount), place } => {
            let (measure, amount) = read_amount(service, &amount, false).await?;
            if amount == 0 {
                return Err(Failure::usage("nothing is lost: write how many or how much"));
            }
            let adjusted = pb::Adjusted {
                measure: measure.into(),
                place_id: place_of(measure, place.unwrap_or_default()),
                change: Some(-amount),
                reason: pb::AdjustmentReason::Lost.into(),
            };
            (item, What::Adjusted(adjusted))
        }
        LogCommand::Found { item, place, pieces: None } => {
            (item, What::Found(pb::Found { at_id: place }))
        }
        LogCommand::Found { item, place, pieces: Some(pieces) } => {
            let measure = pb::Measure::Pieces;
            let adjusted = pb::Adjusted {
                measure: measure.into(),
                place_id: place_of(measure, place),
                change: Some(pieces),
                reason: pb::AdjustmentReason::Found.into(),
            };
            (item, What::Adjusted(adjusted))
        }
        LogCommand::Rigged { rod, reel } => {
            (rod, What::Rigged(pb::Rigged { reel_id: reel, ..Default::default() }))
        }
        LogCommand::Unrigged { rod, reel } => (rod, What::Unrigged(pb::Unrigged { reel_id: reel })),
        LogCommand::Respooled { reel, line, from, length } => {
            let fitted = match line {
                None => None,
                Some(text) => Some(read_line(service, text).await?),
            };
            let taken_cm = match length {
                None => None,
                Some(text) => Some(read_length(service, &text).await?),
            };
            (reel, What::Respooled(pb::Respooled { fitted, from_id: from, taken_cm }))
        }
        LogCommand::Reversed { reel } => (reel, What::Reversed(pb::Reversed {})),
        LogCommand::Cut { reel, length } => {
            let cut_cm = Some(read_length(service, &length).await?);
            (reel, What::CutBack(pb::CutBack { cut_cm }))
        }
        LogCommand::Used { item, minutes } => {
            (item, What::Used(pb::Used { minutes: Some(minutes) }))
        }
        LogCommand::Broke { item, what, pieces: None } => (item, What::Broke(pb::Broke { what })),
        LogCommand::Broke { item, what: _, pieces: Some(pieces) } => {
            let measure = pb::Measure::Pieces;
            let adjusted = pb::Adjusted {
                measure: measure.into(),
                place_id: place_of(measure, String::new()),
                change: Some(-pieces),
                reason: pb::AdjustmentReason::Discarded.into(),
            };
            (item, What::Adjusted(adjusted))
        }
        LogCommand::Defect { item, what, usable } => {
            (item, What::FoundDefect(pb::FoundDefect { what, usable, condition: 0 }))
        }
        LogCommand::Inspected { item, status, reason, condition } => {
            let status = read_status(&status)?;
            let condition = match condition {
                None => pb::ItemCondition::Unspecified,
                Some(letter) => {
                    let name = format!("ITEM_CONDITION_{}", letter.to_uppercase());
                    pb::ItemCondition::from_str_name(&name)
                        .ok_or_else(|| Failure::usage("--condition takes A, B, C, D or E"))?
                }
            };
            let inspected =
                pb::Inspected { status: status.into(), condition: condition.into(), reason };
            (item, What::Inspected(inspected))
        }
        LogCommand::Service { item, to, until } => {
            (item, What::SentToService(pb::SentToService { to, back_by_date: until }))
        }
        LogCommand::Serviced { item, what, finished } => {
            (item, What::Serviced(pb::Serviced { what, finished, condition: 0 }))
        }
        LogCommand::Retired { item, reason } => (item, What::Retired(pb::Retired { reason })),
        LogCommand::Status { item, status } => {
            let status = read_status(&status)?.into();
            (item, What::StatusSet(pb::StatusSet { status }))
        }
        LogCommand::Note { item, remark } => (item, What::Note(pb::Note { text: remark })),
        LogCommand::Edited { item, cells } => {
            let mut columns = BTreeMap::new();
            for cell in cells {
                let (column, text) = cell.split_once('=').ok_or_else(|| {
                    Failure::usage(format!("`{cell}` is no cell: write COLUMN=TEXT"))
                })?;
                columns.insert(column.to_owned(), text.to_owned());
            }
            (item, What::Edited(pb::Edited { columns }))
        }
        LogCommand::Wrong { event, reason, yes: _ } => {
            let correction = pb::Correction { event_id: event, instead: None, reason };
            (String::new(), What::Correction(Box::new(correction)))
        }
        LogCommand::Enrolled { other_device: device, key, keeper } => {
            (String::new(), What::Enrolled(pb::Enrolled { device_id: device, key, keeper }))
        }
        LogCommand::Revoked { other_device: device, reason, from_the_start, yes: _ } => {
            let last_sequences = BTreeMap::new();
            let revoked = pb::Revoked { device_id: device, last_sequences, reason, from_the_start };
            (String::new(), What::Revoked(revoked))
        }
    })
}

fn read_status(text: &str) -> Result<pb::ItemStatus, Failure> {
    let name = text.trim().to_uppercase().replace([' ', '-'], "_");
    pb::ItemStatus::from_str_name(&format!("ITEM_STATUS_{name}")).ok_or_else(|| {
        Failure::usage(format!("`{text}` is no status"))
            .hint("ready, on_loan, in_service, broken, lost or retired")
    })
}

fn read_kind(text: &str) -> Result<pb::ItemKind, Failure> {
    let name = text.trim().to_uppercase().replace([' ', '-'], "_");
    pb::ItemKind::from_str_name(&format!("ITEM_KIND_{name}")).ok_or_else(|| {
        Failure::usage(format!("--kind: `{text}` is no kind"))
            .hint("rod, reel, lure, line_stock, boat or device")
    })
}

/// Pieces, or a length of line in centimetres; of a number alone `metres` says which.
async fn read_amount(
    service: &Service,
    text: &str,
    metres: bool,
) -> Result<(pb::Measure, i32), Failure> {
    let whole = !metres && text.bytes().all(|byte| byte.is_ascii_digit());
    if !whole {
        if !text.bytes().any(|byte| byte.is_ascii_digit()) {
            let right = "a whole number of pieces, or a length of line such as \"45 m\"";
            return Err(Failure::new(
                Exit::BadData,
                format!("`{text}` is no amount; right is {right}"),
            ));
        }
        return Ok((pb::Measure::Centimetres, read_length(service, text).await?));
    }
    let pieces = text.parse().map_err(|_| {
        let bounds = limits::EVENT_AMOUNT;
        Failure::usage(format!("the number of pieces is {text}; right is {bounds}"))
    })?;
    Ok((pb::Measure::Pieces, pieces))
}

/// Units in which the rest of a line is told.
const LENGTH_UNITS: [&str; 4] = ["m", "cm", "yd", "ft"];

/// A length of line in words, read by the service; a number alone is metres. In centimetres.
async fn read_length(service: &Service, text: &str) -> Result<i32, Failure> {
    let number = text.trim().replace(',', ".").parse::<f64>();
    // The reader of lengths asks for one; here there may be none left.
    let bare = LENGTH_UNITS.iter().find_map(|unit| text.trim().strip_suffix(unit));
    if number == Ok(0.0) || bare.is_some_and(|bare| bare.trim().parse() == Ok(0.0)) {
        return Ok(0);
    }
    let words = if number.is_ok() { format!("{} m", text.trim()) } else { text.to_owned() };
    let request = pb::ReadGearRequest { text: words, kind: pb::GearKind::LineLength.into() };
    let answer = service.matching().read_gear(service.request(request)).await;
    let answer = answer.map_err(|status| {
        let failure = Failure::from(status);
        let named = |line: &String| match line.strip_prefix("text ") {
            Some(wrong) => format!("the length {wrong}"),
            None => line.clone(),
        };
        Failure { lines: failure.lines.iter().map(named).collect(), ..failure }
    })?;
    let answer = answer.into_inner();
    let Some(pb::read_gear_response::Spec::LineLengthM(metres)) = answer.spec else {
        return Err(Failure::new(Exit::BadData, format!("`{text}` is no length of line")));
    };
    for odd in &answer.findings {
        wrapped_note("note: ", &odd.text);
    }
    let centimetres = (metres * CM_PER_M).round();
    let most = limits::EVENT_AMOUNT.high;
    if centimetres > most {
        let most = most / CM_PER_M;
        let what = format!("`{text}` is {metres} m of line; right is 0 to {most} m");
        return Err(Failure::new(Exit::BadData, what));
    }
    Ok(centimetres as i32)
}

/// A line in words, read by the service.
async fn read_line(service: &Service, text: String) -> Result<pb::FittedLine, Failure> {
    let request = pb::ReadGearRequest { text: text.clone(), kind: pb::GearKind::Line.into() };
    let answer = service.matching().read_gear(service.request(request)).await?.into_inner();
    for odd in &answer.findings {
        wrapped_note("note: ", &odd.text);
    }
    match answer.spec {
        Some(pb::read_gear_response::Spec::Line(line)) => {
            Ok(pb::FittedLine { line: Some(line), ..Default::default() })
        }
        Some(_) | None => {
            Err(Failure::new(Exit::BadData, format!("`{text}` does not describe a line")))
        }
    }
}
