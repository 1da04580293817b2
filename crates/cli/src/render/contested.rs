//! What people must settle: the stories side by side, and the command that settles each.

use deepbend_contract::pb;
use deepbend_contract::pb::field_value::Value;

use super::{Page, plain, word, wrap};

const GAP: usize = 2;

/// Every dispute with its stories.
#[must_use]
pub fn contested(answer: &pb::ListContestedResponse, width: usize) -> String {
    let mut page = Page::new(width);
    for item in &answer.items {
        for dispute in &item.disputes {
            let kind = plain!(ItemKind, item.kind);
            let named = [item.item_id.as_str(), &kind, &item.display_name].join(" ");
            page.line(&format!("{}: {}", named.trim_end(), dispute.what));
            let stories = stories(item, dispute);
            side_by_side(&mut page, &stories, width);
            if let Some(held) = dispute.field.as_ref().and_then(|field| field.value.as_ref()) {
                page.line(&format!("  until then: {}", value(Some(held))));
            }
            if let Some(count) = &dispute.count {
                page.line(&format!("  until then: {}; at most {}", count.low, count.high));
            }
            page.hanging("  ", &format!("{}:", dispute.cure));
            for command in commands(item, dispute) {
                page.line(&format!("    {command}"));
            }
            page.line("");
        }
    }
    for fork in &answer.forks {
        page.paragraph(&format!(
            "{}: this device wrote two events under one number; its store was cloned. What it \
             wrote from there on settles nothing. Give one of the two stores another name.",
            fork.event_id
        ));
    }
    page.finish()
}

fn said(claim: Option<&pb::Claim>, event_id: &str) -> Vec<String> {
    let claim = claim.cloned().unwrap_or_default();
    let certainty = plain!(Certainty, claim.certainty);
    let time = second(claim.observed_time);
    vec![format!("{} {certainty}", claim.actor), time, event_id.to_owned()]
}

/// What each event says: the value first, then who, when, and the event.
fn stories(item: &pb::ContestedItem, dispute: &pb::Dispute) -> Vec<Vec<String>> {
    let mut all = Vec::new();
    for claim in dispute.field.iter().flat_map(|field| &field.claims) {
        let mut story = vec![value(claim.value.as_ref())];
        if claim.advised {
            story[0].push_str(" (best known)");
        }
        story.extend(said(claim.claim.as_ref(), &claim.event_id));
        all.push(story);
    }
    let of_count = dispute.count.iter().flat_map(|c| c.counted.iter().chain(&c.concurrent));
    for event in of_count.chain(&dispute.first_events) {
        let mut story = vec![told(event, item)];
        story.extend(said(event.claim.as_ref(), &event.event_id));
        all.push(story);
    }
    all
}

/// What an event of a count or a tag says.
fn told(event: &pb::RecordedEvent, item: &pb::ContestedItem) -> String {
    use pb::event_body::What;
    match event.body.as_ref().and_then(|body| body.what.as_ref()) {
        Some(What::Counted(counted)) => format!("counted {}", counted.amount.unwrap_or_default()),
        Some(What::Adjusted(adjusted)) => {
            let change = adjusted.change.unwrap_or_default();
            format!("{change:+} {}", plain!(AdjustmentReason, adjusted.reason))
        }
        Some(What::Acquired(acquired)) => {
            let kind = plain!(ItemKind, acquired.kind);
            let cells = acquired.columns.iter().map(|(name, cell)| format!("{name} {cell}"));
            let cells: Vec<_> = cells.take(3).collect();
            format!("{} is a {kind}: {}", item.item_id, cells.join(", "))
        }
        Some(What::Moved(moved)) => format!("moved to {}", moved.to_id),
        Some(_) | None => "told".to_owned(),
    }
}

fn side_by_side(page: &mut Page, stories: &[Vec<String>], width: usize) {
    let column = (width.saturating_sub(2 + GAP) / 2).max(20);
    for pair in stories.chunks(2) {
        let wrapped: Vec<Vec<String>> = pair
            .iter()
            .map(|story| story.iter().flat_map(|line| wrap(line, column)).collect())
            .collect();
        let rows = wrapped.iter().map(Vec::len).max().unwrap_or_default();
        for row in 0..rows {
            let cell = |side: usize| {
                wrapped.get(side).and_then(|lines| lines.get(row)).map_or("", String::as_str)
            };
            page.line(format!("  {:column$}  {}", cell(0), cell(1)).trim_end());
        }
    }
}

/// A number as it must be typed again: to a thousandth, no zeros at the end.
fn exact(value: f64) -> f64 {
    (value * 1000.0).round() / 1000.0
}

/// A time to the second.
fn second(time: Option<prost_types::Timestamp>) -> String {
    let whole = time.map(|time| prost_types::Timestamp { nanos: 0, ..time });
    whole.map(|time| time.to_string()).unwrap_or_default()
}

fn line_words(fitted: &pb::FittedLine) -> String {
    let line = fitted.line.unwrap_or_default();
    let mut words = vec![plain!(LineMaterial, line.material)];
    words.extend(line.test_kgf.map(|test| format!("{} kg", exact(test))));
    words.extend(line.diameter_mm.map(|diameter| format!("{} mm", exact(diameter))));
    words.join(" ").trim().to_owned()
}

/// A value in words.
fn value(of: Option<&pb::FieldValue>) -> String {
    match of.and_then(|value| value.value.as_ref()) {
        None => "none".to_owned(),
        Some(Value::PlaceId(id) | Value::RigId(id)) => id.clone(),
        Some(Value::Status(status)) => plain!(ItemStatus, *status),
        Some(Value::Condition(condition)) => plain!(ItemCondition, *condition).to_uppercase(),
        Some(Value::Line(fitted)) => line_words(fitted),
        Some(Value::Loan(loan)) => format!("lent to {} {}", loan.to_id, loan.until_date),
        Some(Value::Bench(stay)) => format!("at {} {}", stay.to, stay.back_by_date),
        Some(Value::Column(cell)) => cell.clone(),
    }
}

/// The command that settles the dispute for each of its stories.
fn commands(item: &pb::ContestedItem, dispute: &pb::Dispute) -> Vec<String> {
    let id = &item.item_id;
    let mut all = Vec::new();
    for claim in dispute.field.iter().flat_map(|field| &field.claims) {
        let held = claim.value.as_ref().and_then(|value| value.value.as_ref());
        let name = dispute.field.as_ref().map(|field| field.name.as_str()).unwrap_or_default();
        all.push(match held {
            Some(Value::PlaceId(place)) => format!("deepbend log moved {id} {place} --seen"),
            Some(Value::Status(status)) => {
                let status = word!(ItemStatus, *status);
                format!("deepbend log inspected {id} {status} \"what you saw\" --seen")
            }
            Some(Value::Condition(condition)) => {
                let letter = word!(ItemCondition, *condition).to_uppercase();
                format!(
                    "deepbend log inspected {id} ready \"what you saw\" --condition {letter} --seen"
                )
            }
            Some(Value::Line(fitted)) => {
                format!("deepbend log respooled {id} \"{}\" --seen", line_words(fitted))
            }
            Some(Value::RigId(other)) if item.kind() == pb::ItemKind::Reel => {
                format!("deepbend log rigged {other} {id} --seen")
            }
            Some(Value::RigId(other)) => format!("deepbend log rigged {id} {other} --seen"),
            Some(Value::Loan(loan)) => format!("deepbend log lent {id} {} --seen", loan.to_id),
            Some(Value::Bench(stay)) => format!("deepbend log service {id} \"{}\"", stay.to),
            Some(Value::Column(cell)) => format!("deepbend log edited {id} \"{name}={cell}\""),
            None => match name {
                "line" => format!("deepbend log respooled {id} --seen"),
                "loan" => format!("deepbend log returned {id} --seen"),
                "service" => format!("deepbend log serviced {id} \"what was done\" --finished"),
                _ => format!("deepbend log wrong {} \"why\"", claim.event_id),
            },
        });
    }
    if let Some(count) = &dispute.count {
        let place = match count.place_id.as_str() {
            "" => String::new(),
            place => format!(" --place {place}"),
        };
        let metres = count.measure() == pb::Measure::Centimetres;
        let unit = if metres { " --metres" } else { "" };
        let scale = if metres { 100 } else { 1 };
        for end in std::collections::BTreeSet::from([count.low, count.high]) {
            all.push(format!("deepbend log counted {id} {}{place}{unit} --seen", end / scale));
        }
    }
    for event in &dispute.first_events {
        all.push(format!("deepbend log wrong {} \"double tag\"", event.event_id));
    }
    all.dedup();
    all
}

/// An event as a row: its id, when, who and how well he knows, what.
pub(crate) fn event_row(event: &pb::RecordedEvent) -> Vec<String> {
    use pb::event_body::What;
    let claim = event.claim.clone().unwrap_or_default();
    let time = second(claim.observed_time);
    let who = format!("{} {}", claim.actor, plain!(Certainty, claim.certainty));
    let body = event.body.as_ref().and_then(|body| body.what.as_ref());
    let mut what = match body {
        None => String::new(),
        Some(What::Acquired(_)) => "joined the fleet".to_owned(),
        Some(What::Moved(moved)) => format!("moved to {}", moved.to_id),
        Some(What::Lent(lent)) => format!("lent to {}", lent.to_id),
        Some(What::Returned(back)) => format!("returned {}", back.to_id).trim_end().to_owned(),
        Some(What::Counted(counted)) => format!("counted {}", counted.amount.unwrap_or_default()),
        Some(What::Adjusted(adjusted)) => {
            let change = adjusted.change.unwrap_or_default();
            format!("{change:+} {}", plain!(AdjustmentReason, adjusted.reason))
        }
        Some(What::Rigged(rigged)) => format!("rigged with {}", rigged.reel_id),
        Some(What::Unrigged(unrigged)) => format!("unrigged from {}", unrigged.reel_id),
        Some(What::Respooled(spooled)) => match &spooled.fitted {
            None => "stripped".to_owned(),
            Some(fitted) => format!("re-spooled with {}", line_words(fitted)),
        },
        Some(What::Reversed(_)) => "line reversed".to_owned(),
        Some(What::CutBack(cut)) => format!("cut back {} cm", cut.cut_cm.unwrap_or_default()),
        Some(What::Used(used)) => format!("fished {} min", used.minutes.unwrap_or_default()),
        Some(What::Broke(broke)) => format!("broke: {}", broke.what),
        Some(What::FoundDefect(defect)) => format!("defect: {}", defect.what),
        Some(What::Inspected(seen)) => {
            format!("inspected, {}: {}", plain!(ItemStatus, seen.status), seen.reason)
        }
        Some(What::SentToService(sent)) => format!("sent to service {}", sent.to),
        Some(What::Serviced(done)) => {
            let state = if done.finished { "serviced" } else { "service begun" };
            format!("{state}: {}", done.what)
        }
        Some(What::Lost(_)) => "lost".to_owned(),
        Some(What::Found(found)) => format!("found {}", found.at_id).trim_end().to_owned(),
        Some(What::Retired(retired)) => format!("retired: {}", retired.reason),
        Some(What::StatusSet(set)) => format!("set to {}", plain!(ItemStatus, set.status)),
        Some(What::Spent(spent)) => format!("paid for: {}", spent.what),
        Some(What::Note(note)) => note.text.clone(),
        Some(What::Edited(edited)) => {
            let cells = edited.columns.iter().map(|(name, cell)| format!("{name}={cell}"));
            format!("edited: {}", cells.collect::<Vec<_>>().join(", "))
        }
        Some(What::Correction(correction)) => {
            format!("{} was wrong: {}", correction.event_id, correction.reason)
        }
        Some(What::Enrolled(enrolled)) => format!("enrolled {}", enrolled.device_id),
        Some(What::Revoked(revoked)) => format!("revoked {}", revoked.device_id),
    };
    if !event.effect_reason.is_empty() {
        what = format!("{what} [no full effect: {}]", event.effect_reason);
    }
    vec![event.event_id.clone(), time, who, what]
}
