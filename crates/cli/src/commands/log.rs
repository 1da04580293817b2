//! Recording what happened.

use std::collections::BTreeMap;
use std::time::SystemTime;

use deepbend_contract::pb;
use deepbend_contract::pb::event_body::What;

use super::{finish, printed_only};
use crate::args::{Global, LogArgs, LogCommand};
use crate::failure::{Exit, Failure};
use crate::output::{self, Format, note, put};
use crate::render;
use crate::service::{Needs, Service};

const CM_PER_M: i32 = 100;

/// The event that a command line tells.
pub(crate) async fn event(service: &Service, args: LogArgs) -> Result<pb::NewEvent, Failure> {
    let LogArgs { what, seen, typed, at, by, time, text, dry_run: _ } = args;
    let certainty = match (seen, typed) {
        (true, _) => pb::Certainty::Seen,
        (false, true) => pb::Certainty::Typed,
        (false, false) => pb::Certainty::Said,
    };
    let (item_id, what) = body(service, what).await?;
    Ok(pb::NewEvent {
        item_id,
        claim: Some(claim(&by, certainty, time)),
        seen_at_id: at,
        text,
        body: Some(pb::EventBody { what: Some(what) }),
        ..Default::default()
    })
}

pub(super) async fn run(global: &Global, args: LogArgs) -> Result<(), Failure> {
    let dry_run = args.dry_run;
    let service = Service::open(global, Needs::Inventory).await?;
    let done = async {
        let event = event(&service, args).await?;
        let request = pb::RecordEventsRequest {
            events: vec![event],
            validate_only: dry_run,
            ..Default::default()
        };
        if printed_only(global, &request)? {
            return Ok(());
        }
        let answer = service.inventory().record_events(service.request(request)).await?;
        print(global, &answer.into_inner(), dry_run)
    };
    let done = done.await;
    finish(service, done).await
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
                text.push_str(&format!("{recorded} {} {}\n", event.event_id, event.item_id));
                if !event.effect_reason.is_empty() {
                    text.push_str(&format!("it has no full effect: {}\n", event.effect_reason));
                }
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
        note(&format!(
            "note: {} is contested ({}); `deepbend contested` says how to settle it",
            item.item_id,
            what.join(", ")
        ));
    }
    Ok(())
}

async fn body(service: &Service, what: LogCommand) -> Result<(String, What), Failure> {
    Ok(match what {
        LogCommand::Moved { item, place, pieces } => (
            item,
            What::Moved(pb::Moved { to_id: place, piece_count: pieces, ..Default::default() }),
        ),
        LogCommand::Lent { item, to, until } => {
            (item, What::Lent(pb::Lent { to_id: to, until_date: until }))
        }
        LogCommand::Returned { item, place } => {
            (item, What::Returned(pb::Returned { to_id: place }))
        }
        LogCommand::Counted { item, amount, place, metres } => {
            let (measure, amount) = if metres {
                (pb::Measure::Centimetres, amount.saturating_mul(CM_PER_M))
            } else {
                (pb::Measure::Pieces, amount)
            };
            let counted =
                pb::Counted { measure: measure.into(), place_id: place, amount: Some(amount) };
            (item, What::Counted(counted))
        }
        LogCommand::Lost { item, pieces: None } => (item, What::Lost(pb::Lost {})),
        LogCommand::Lost { item, pieces: Some(pieces) } => {
            let adjusted = pb::Adjusted {
                measure: pb::Measure::Pieces.into(),
                place_id: String::new(),
                change: Some(pieces.saturating_neg()),
                reason: pb::AdjustmentReason::Lost.into(),
            };
            (item, What::Adjusted(adjusted))
        }
        LogCommand::Found { item, place } => (item, What::Found(pb::Found { at_id: place })),
        LogCommand::Rigged { rod, reel } => {
            (rod, What::Rigged(pb::Rigged { reel_id: reel, ..Default::default() }))
        }
        LogCommand::Unrigged { rod, reel } => (rod, What::Unrigged(pb::Unrigged { reel_id: reel })),
        LogCommand::Respooled { reel, line, from, metres } => {
            let fitted = match line {
                None => None,
                Some(text) => Some(read_line(service, text).await?),
            };
            let taken_cm = metres.map(|m| m.saturating_mul(CM_PER_M));
            (reel, What::Respooled(pb::Respooled { fitted, from_id: from, taken_cm }))
        }
        LogCommand::Reversed { reel } => (reel, What::Reversed(pb::Reversed {})),
        LogCommand::Cut { reel, metres } => {
            (reel, What::CutBack(pb::CutBack { cut_cm: Some(metres.saturating_mul(CM_PER_M)) }))
        }
        LogCommand::Used { item, minutes } => {
            (item, What::Used(pb::Used { minutes: Some(minutes) }))
        }
        LogCommand::Broke { item, what } => (item, What::Broke(pb::Broke { what })),
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
        LogCommand::Note { item, text } => (item, What::Note(pb::Note { text })),
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
        LogCommand::Wrong { event, reason } => {
            let correction = pb::Correction { event_id: event, instead: None, reason };
            (String::new(), What::Correction(Box::new(correction)))
        }
        LogCommand::Enrolled { device, key, keeper } => {
            (String::new(), What::Enrolled(pb::Enrolled { device_id: device, key, keeper }))
        }
        LogCommand::Revoked { device, reason, from_the_start } => {
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

/// A line in words, read by the service.
async fn read_line(service: &Service, text: String) -> Result<pb::FittedLine, Failure> {
    let request = pb::ReadGearRequest { text: text.clone(), kind: pb::GearKind::Line.into() };
    let answer = service.matching().read_gear(service.request(request)).await?.into_inner();
    match answer.spec {
        Some(pb::read_gear_response::Spec::Line(line)) => {
            Ok(pb::FittedLine { line: Some(line), ..Default::default() })
        }
        Some(_) | None => {
            Err(Failure::new(Exit::BadData, format!("`{text}` does not describe a line")))
        }
    }
}
