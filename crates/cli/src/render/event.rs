//! What an event says, in one phrase with everything that it tells.

use deepbend_contract::pb;
use deepbend_contract::pb::event_body::What;

use super::{Page, plain, units};

/// A time to the second.
pub(crate) fn second(time: Option<prost_types::Timestamp>) -> String {
    let whole = time.map(|time| prost_types::Timestamp { nanos: 0, ..time });
    whole.map(|time| time.to_string()).unwrap_or_default()
}

/// Who says it and how well he knows.
pub(super) fn who(claim: &pb::Claim) -> String {
    format!("{} {}", claim.actor, plain!(Certainty, claim.certainty))
}

/// An event as a row: its id, when, who and how well he knows, what.
pub(crate) fn event_row(event: &pb::RecordedEvent, of_item: &str) -> Vec<String> {
    let claim = event.claim.clone().unwrap_or_default();
    let mut what = phrase(event, of_item);
    if !event.effect_reason.is_empty() {
        let effect = match event.effect() {
            pb::EventEffect::InPart => "not in full",
            pb::EventEffect::Nothing | pb::EventEffect::Acts | pb::EventEffect::Unspecified => {
                "no effect"
            }
        };
        what = format!("{what} [{effect}: {}]", event.effect_reason);
    }
    vec![event.event_id.clone(), second(claim.observed_time), who(&claim), what]
}

/// Why an event does not act as written; empty if it does.
pub(crate) fn no_full_effect(event: &pb::RecordedEvent, width: usize) -> String {
    if event.effect_reason.is_empty() {
        return String::new();
    }
    let mut page = Page::new(width);
    let lead = if event.effect() == pb::EventEffect::InPart { "in part" } else { "no effect" };
    page.hanging("  ", &format!("{lead}: {}", event.effect_reason));
    page.finish()
}

/// What an event about a device that acts means for what the device writes; empty for others.
pub(crate) fn for_device(event: &pb::RecordedEvent, width: usize) -> String {
    let what = event.body.as_ref().and_then(|body| body.what.as_ref());
    let means = match what {
        Some(What::Enrolled(enrolled)) => {
            let keeper = if enrolled.keeper { ", and it may enrol and revoke others" } else { "" };
            format!("what {} writes counts{keeper}", enrolled.device_id)
        }
        Some(What::Revoked(revoked)) => after_revocation(revoked),
        Some(_) | None => return String::new(),
    };
    if event.effect() != pb::EventEffect::Acts {
        return String::new();
    }
    let mut page = Page::new(width);
    page.hanging("  ", &means);
    page.finish()
}

/// What still counts of a device.
fn after_revocation(revoked: &pb::Revoked) -> String {
    let device = &revoked.device_id;
    let last: Vec<_> = revoked
        .last_sequences
        .iter()
        .map(|(incarnation, last)| format!("{device}.{incarnation}.{last}"))
        .collect();
    if last.is_empty() {
        return format!("nothing that {device} ever wrote counts");
    }
    format!("what {device} wrote up to {} stays; nothing later counts", last.join(" and "))
}

/// What corrections take back: what each event says, and what goes with it.
pub(crate) fn taken_back(answer: &pb::RecordEventsResponse, width: usize) -> String {
    let mut page = Page::new(width);
    for back in &answer.taken_back {
        let event = back.event.clone().unwrap_or_default();
        let claim = event.claim.clone().unwrap_or_default();
        let said = format!("{}, {}", who(&claim), second(claim.observed_time));
        let item = &event.item_id;
        let phrase = phrase(&event, "");
        page.paragraph(&format!("takes back {}: {phrase} ({said})", event.event_id));
        if back.item_removed {
            let others = match back.idle_event_count {
                0 if back.lying_item_count > 0 => String::new(),
                0 => "; nothing else is told of it".to_owned(),
                1 => "; 1 other event of it counts no more".to_owned(),
                count => format!("; {count} other events of it count no more"),
            };
            let lying = match back.lying_item_count {
                0 => String::new(),
                1 => "; 1 item lies there and keeps that place until it is moved".to_owned(),
                count => {
                    format!("; {count} items lie there and keep that place until they are moved")
                }
            };
            page.hanging("  ", &format!("{item} leaves the inventory{others}{lying}"));
        }
    }
    page.finish()
}

/// All that an event tells, after the id of its item where that is not `of_item`.
pub(super) fn phrase(event: &pb::RecordedEvent, of_item: &str) -> String {
    let what = event.body.as_ref().and_then(|body| body.what.as_ref());
    let mut words = what.map(|what| told(what, &event.item_id)).unwrap_or_default();
    // Where a rod is rigged both are named already.
    let both = matches!(what, Some(What::Rigged(_) | What::Unrigged(_)));
    if event.item_id != of_item && !event.item_id.is_empty() && !both {
        words = format!("{} {words}", event.item_id);
    }
    for (lead, value) in
        [("seen at ", &event.seen_at_id), ("trip ", &event.trip_id), ("", &event.text)]
    {
        if !value.is_empty() {
            words.push_str(&format!("; {lead}{value}"));
        }
    }
    words
}

/// Words with what may have been left out: only what is there.
fn all(parts: &[(&str, &str)]) -> String {
    let given = parts.iter().filter(|(_, value)| !value.is_empty());
    given.map(|(lead, value)| format!("{lead}{value}")).collect()
}

/// Pieces or a length of line.
pub(super) fn amount(measure: i32, amount: i32) -> String {
    match pb::Measure::try_from(measure) {
        Ok(pb::Measure::Centimetres) => units::line_centimetres(amount),
        Ok(pb::Measure::Pieces | pb::Measure::Unspecified) | Err(_) => {
            units::counted(amount.into(), "piece")
        }
    }
}

/// A line in both unit systems.
pub(super) fn line(fitted: &pb::FittedLine) -> String {
    let line = fitted.line.unwrap_or_default();
    let mut words = vec![plain!(LineMaterial, line.material)];
    words.extend(line.test_kgf.map(units::kilograms));
    words.extend(line.diameter_mm.map(units::diameter));
    words.extend(line.length_m.map(units::line_length));
    words.extend(fitted.strand_count.map(|count| units::counted(count.into(), "strand")));
    words.retain(|word| !word.is_empty());
    words.join(", ")
}

fn state(condition: i32) -> String {
    plain!(ItemCondition, condition).to_uppercase()
}

fn told(what: &What, item: &str) -> String {
    match what {
        What::Acquired(first) => {
            let cell = |name: &str| first.columns.get(name).map(String::as_str).unwrap_or_default();
            let kind = plain!(ItemKind, first.kind);
            let pieces = cell("qty").parse().ok().map(|count| units::counted(count, "piece"));
            let pieces = pieces.unwrap_or_default();
            let length = cell("length_m").parse().ok().map(units::line_length).unwrap_or_default();
            let known = [
                (" ", kind.as_str()),
                (", ", cell("name")),
                (", ", cell("type")),
                (", ", cell("spec_raw")),
                (", ", cell("handle")),
                (", ", cell("length_raw")),
                (", ", cell("lure_raw")),
                (", ", &length),
                (", ", &pieces),
                (", at ", cell("place")),
            ];
            format!("joined the fleet:{}", all(&known))
        }
        What::Moved(moved) => {
            let pieces = moved.piece_count.map(|count| units::counted(count.into(), "piece"));
            let pieces = pieces.map(|pieces| format!("{pieces} ")).unwrap_or_default();
            let from = all(&[(" from ", &moved.from_id)]);
            format!("{pieces}moved{from} to {}", moved.to_id)
        }
        What::Lent(lent) => {
            format!("lent to {}{}", lent.to_id, all(&[(" until ", &lent.until_date)]))
        }
        What::Returned(back) => format!("returned{}", all(&[(" to ", &back.to_id)])),
        What::Counted(counted) => {
            let amount = amount(counted.measure, counted.amount.unwrap_or_default());
            format!("counted {amount}{}", all(&[(" at ", &counted.place_id)]))
        }
        What::Adjusted(adjusted) => {
            let change = adjusted.change.unwrap_or_default();
            let amount = amount(adjusted.measure, change);
            let sign = if change > 0 { "+" } else { "" };
            let place = all(&[(" at ", &adjusted.place_id)]);
            format!("{sign}{amount}, {}{place}", plain!(AdjustmentReason, adjusted.reason))
        }
        What::Rigged(rigged) => {
            let leader = all(&[(" and leader ", &rigged.leader_id)]);
            format!("{item} rigged with {}{leader}", rigged.reel_id)
        }
        What::Unrigged(unrigged) => format!("{} taken off {item}", unrigged.reel_id),
        What::Respooled(spooled) => {
            let on = match &spooled.fitted {
                None => "stripped".to_owned(),
                Some(fitted) => format!("re-spooled with {}", line(fitted)),
            };
            let taken = spooled.taken_cm.map(units::line_centimetres).unwrap_or_default();
            match (taken.as_str(), spooled.from_id.as_str()) {
                ("", "") => on,
                ("", from) => format!("{on}; from {from}"),
                (taken, "") => format!("{on}; {taken} used"),
                (taken, from) => format!("{on}; {taken} from {from}"),
            }
        }
        What::Reversed(_) => "line reversed".to_owned(),
        What::CutBack(cut) => {
            format!("{} cut off", units::line_centimetres(cut.cut_cm.unwrap_or_default()))
        }
        What::Used(used) => format!("fished {} min", used.minutes.unwrap_or_default()),
        What::Broke(broke) => format!("broke: {}", broke.what),
        What::FoundDefect(defect) => {
            let usable = if defect.usable { ", usable" } else { "" };
            let state = all(&[(", condition ", &state(defect.condition))]);
            format!("defect{usable}{state}: {}", defect.what)
        }
        What::Inspected(seen) => {
            let status = plain!(ItemStatus, seen.status);
            let state = all(&[(", condition ", &state(seen.condition))]);
            format!("inspected, {status}{state}: {}", seen.reason)
        }
        What::SentToService(sent) => {
            let more = [(": ", sent.to.as_str()), (", back by ", &sent.back_by_date)];
            format!("sent to service{}", all(&more))
        }
        What::Serviced(done) => {
            let begun = if done.finished { "serviced" } else { "service begun" };
            let state = all(&[(", condition ", &state(done.condition))]);
            format!("{begun}{state}: {}", done.what)
        }
        What::Lost(_) => "lost".to_owned(),
        What::Found(found) => format!("found{}", all(&[(" at ", &found.at_id)])),
        What::Retired(retired) => format!("retired: {}", retired.reason),
        What::StatusSet(set) => format!("set to {}", plain!(ItemStatus, set.status)),
        What::Spent(spent) => {
            let cost = spent.cost.clone().unwrap_or_default();
            let amount = format!("{:.2}", cost.amount_cents as f64 / 100.0);
            format!("{amount} {} paid: {}", cost.currency_code, spent.what)
        }
        What::Note(note) => format!("note: {}", note.text),
        What::Edited(edited) => {
            let cells = edited.columns.iter().map(|(name, cell)| format!("{name}={cell}"));
            format!("edited: {}", cells.collect::<Vec<_>>().join(", "))
        }
        What::Correction(correction) => {
            let instead = correction.instead.as_ref().and_then(|body| body.what.as_ref());
            let instead = instead.map(|what| format!("; instead: {}", told(what, item)));
            let reason = &correction.reason;
            let instead = instead.unwrap_or_default();
            format!("{} was wrong: {reason}{instead}", correction.event_id)
        }
        What::Enrolled(enrolled) => {
            let keeper = if enrolled.keeper { " as keeper" } else { "" };
            format!("enrolled {}{keeper}", enrolled.device_id)
        }
        What::Revoked(revoked) => {
            let after = after_revocation(revoked);
            format!("revoked {}: {}; {after}", revoked.device_id, revoked.reason)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn acting(what: What) -> pb::RecordedEvent {
        pb::RecordedEvent {
            body: Some(pb::EventBody { what: Some(what) }),
            effect: pb::EventEffect::Acts.into(),
            ..Default::default()
        }
    }

    // Source: the contract's words on last_sequences and from_the_start.
    #[test]
    fn what_a_revocation_leaves_is_said() {
        let device_id = "B1-tablet".to_owned();
        let mut revoked = pb::Revoked { device_id, ..Default::default() };
        let told = |revoked: &pb::Revoked| {
            for_device(&acting(What::Revoked(revoked.clone())), 80).trim().to_owned()
        };
        assert_eq!(told(&revoked), "nothing that B1-tablet ever wrote counts");
        revoked.last_sequences.insert(1, 14);
        let stays = "what B1-tablet wrote up to B1-tablet.1.14 stays; nothing later counts";
        assert_eq!(told(&revoked), stays);
        let idle = pb::RecordedEvent {
            effect: pb::EventEffect::Nothing.into(),
            ..acting(What::Revoked(revoked))
        };
        assert_eq!(for_device(&idle, 80), "");
    }

    // Common practice, no source: each fact stands there once.
    #[test]
    fn every_fact_of_an_event_is_told() {
        let id = str::to_owned;
        let rigged = pb::Rigged { reel_id: id("E08"), leader_id: id("K09") };
        let event = pb::RecordedEvent {
            item_id: id("R14"),
            seen_at_id: id("B1"),
            trip_id: id("T1"),
            text: id("before dawn"),
            ..acting(What::Rigged(rigged))
        };
        let said = "R14 rigged with E08 and leader K09; seen at B1; trip T1; before dawn";
        assert_eq!(phrase(&event, "E08"), said);
        let pieces = pb::Measure::Pieces.into();
        let counted = pb::Counted { measure: pieces, place_id: id("B2"), amount: Some(1) };
        let event = pb::RecordedEvent { item_id: id("L30"), ..acting(What::Counted(counted)) };
        assert_eq!(phrase(&event, "L30"), "counted 1 piece at B2");
        let until_date = id("2031-09-20");
        let event = acting(What::Lent(pb::Lent { to_id: id("anna"), until_date }));
        assert_eq!(phrase(&event, ""), "lent to anna until 2031-09-20");
        let moved = pb::Moved { to_id: id("B2"), from_id: id("B1"), piece_count: Some(2) };
        assert_eq!(phrase(&acting(What::Moved(moved)), ""), "2 pieces moved from B1 to B2");
    }
}
