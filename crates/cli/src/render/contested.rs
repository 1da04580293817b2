//! What people must settle: the stories side by side, and the command that settles each.

use std::collections::BTreeSet;

use deepbend_contract::pb;
use deepbend_contract::pb::field_value::Value;

use super::event::{amount, line, phrase, second, who};
use super::{Page, pieces_by_place, plain, word, wrap};

const GAP: usize = 2;
/// Stories of one dispute that are shown: a cloned store can tell any number.
const MOST_STORIES: usize = 6;

/// Every dispute with its stories.
#[must_use]
pub fn contested(answer: &pb::ListContestedResponse, width: usize) -> String {
    let mut page = Page::new(width);
    for item in &answer.items {
        for dispute in &item.disputes {
            let kind = plain!(ItemKind, item.kind);
            let named = [item.item_id.as_str(), &kind, &item.display_name].join(" ");
            page.hanging("", &format!("{}: {}", named.trim_end(), dispute.what));
            if dispute.count.is_some() && item.place_counts.len() > 1 {
                let apart = pieces_by_place(&item.place_counts);
                page.hanging("  ", &format!("each place is counted by itself: {apart}"));
            }
            let mut stories = stories(item, dispute);
            let further = stories.len().saturating_sub(MOST_STORIES);
            stories.truncate(MOST_STORIES);
            side_by_side(&mut page, &stories, width);
            if further > 0 {
                let all = format!("deepbend history {}", item.item_id);
                page.hanging("  ", &format!("and {further} more: {all}"));
            }
            if let Some(held) = dispute.field.as_ref().and_then(|field| field.value.as_ref()) {
                page.hanging("  ", &format!("until then: {}", value(Some(held))));
            }
            if let Some(count) = &dispute.count {
                let [low, high] = [count.low, count.high].map(|n| amount(count.measure, n));
                let most = if low == high { String::new() } else { format!("; at most {high}") };
                page.hanging("  ", &format!("until then: {low}{most}"));
            }
            let mut commands = commands(item, dispute);
            let colon = if commands.is_empty() { "" } else { ":" };
            page.hanging("  ", &format!("{}{colon}", dispute.cure));
            let mut told = BTreeSet::new();
            commands.retain(|command| told.insert(command.clone()));
            for command in commands.iter().take(MOST_STORIES) {
                typed(&mut page, command, width);
            }
            page.line("");
        }
    }
    for fork in answer.forks.iter().filter(|fork| !fork.left_behind) {
        page.paragraph(&format!(
            "{}: this device wrote two events under one number; its store was cloned. What it \
             wrote from there on settles nothing. Give one of the two stores another name.",
            fork.event_id
        ));
    }
    page.finish()
}

/// A command as it can be typed: where it goes on in the next line the shell is told so.
fn typed(page: &mut Page, command: &str, width: usize) {
    const INDENT: &str = "    ";
    const ON: &str = " \\";
    let lines = wrap(command, width.saturating_sub(INDENT.len() + ON.len()));
    for (index, line) in lines.iter().enumerate() {
        let on = if index + 1 < lines.len() { ON } else { "" };
        page.line(&format!("{INDENT}{line}{on}"));
    }
}

fn said(claim: Option<&pb::Claim>, event_id: &str) -> Vec<String> {
    let claim = claim.cloned().unwrap_or_default();
    vec![who(&claim), second(claim.observed_time), event_id.to_owned()]
}

/// What each event says: the value first, then who, when, and the event.
fn stories(item: &pb::ContestedItem, dispute: &pb::Dispute) -> Vec<Vec<String>> {
    let mut all = Vec::new();
    for claim in dispute.field.iter().flat_map(|field| &field.claims) {
        let mut story = vec![value(claim.value.as_ref())];
        if claim.advised {
            story[0].push_str(" (best known)");
        }
        if claim.quarantined {
            story[0].push_str(" (from a cloned store)");
        }
        story.extend(said(claim.claim.as_ref(), &claim.event_id));
        all.push(story);
    }
    let of_count = dispute.count.iter();
    let of_count = of_count.flat_map(|c| c.counted.iter().chain(&c.concurrent).chain(&c.since));
    for event in of_count.chain(&dispute.first_events) {
        let mut story = vec![phrase(event, &item.item_id)];
        story.extend(said(event.claim.as_ref(), &event.event_id));
        all.push(story);
    }
    all
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

/// A line as it must be typed again.
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
        Some(Value::Line(fitted)) => line(fitted),
        Some(Value::Loan(loan)) => format!("lent to {} {}", loan.to_id, loan.until_date),
        Some(Value::Bench(stay)) => format!("at {} {}", stay.to, stay.back_by_date),
        Some(Value::Column(cell)) => cell.clone(),
    }
}

/// The day on which something should be back, as an option.
fn until(date: &str) -> String {
    if date.is_empty() { String::new() } else { format!(" --until {date}") }
}

/// A text as one word of a shell: whoever wrote it, nothing in it is run.
fn quoted(text: &str) -> String {
    let plain = |c: char| c.is_alphanumeric() || " -_.,:/=+@%".contains(c);
    if text.chars().all(plain) {
        format!("\"{text}\"")
    } else {
        format!("'{}'", text.replace('\'', r"'\''"))
    }
}

/// The command that settles the dispute for each of its stories.
fn commands(item: &pb::ContestedItem, dispute: &pb::Dispute) -> Vec<String> {
    let id = &item.item_id;
    let mut all = Vec::new();
    let claims = dispute.field.as_ref().map(|field| field.claims.as_slice()).unwrap_or_default();
    for claim in claims {
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
            // What stays keeps its day, its hours and its length.
            Some(Value::Line(_)) if claims.iter().all(|claim| !claim.quarantined) => {
                format!("deepbend log wrong {} \"measured\"", claim.event_id)
            }
            Some(Value::Line(fitted)) => {
                format!("deepbend log respooled {id} \"{}\" --seen", line_words(fitted))
            }
            Some(Value::RigId(other)) if item.kind() == pb::ItemKind::Reel => {
                format!("deepbend log rigged {other} {id} --seen")
            }
            Some(Value::RigId(other)) => format!("deepbend log rigged {id} {other} --seen"),
            Some(Value::Loan(loan)) => {
                format!("deepbend log lent {id} {}{} --seen", loan.to_id, until(&loan.until_date))
            }
            Some(Value::Bench(stay)) => {
                let to = quoted(&stay.to);
                format!("deepbend log service {id} {to}{}", until(&stay.back_by_date))
            }
            Some(Value::Column(cell)) => {
                format!("deepbend log edited {id} {}", quoted(&format!("{name}={cell}")))
            }
            // Nothing takes back what a cloned store said.
            None if claim.quarantined && !matches!(name, "loan" | "service") => continue,
            None => match name {
                "line" => format!("deepbend log wrong {} \"measured\"", claim.event_id),
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
        let typed = |end: i32| match count.measure() {
            pb::Measure::Centimetres => format!("\"{} m\"", exact(f64::from(end) / 100.0)),
            pb::Measure::Pieces | pb::Measure::Unspecified => end.to_string(),
        };
        for end in std::collections::BTreeSet::from([count.low, count.high]) {
            all.push(format!("deepbend log counted {id} {}{place} --seen", typed(end)));
        }
    }
    for event in &dispute.first_events {
        all.push(format!("deepbend log wrong {} \"double tag\"", event.event_id));
    }
    all.dedup();
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: POSIX.1-2017, Shell Command Language, 2.2.2: nothing is special in single quotes.
    #[test]
    fn what_another_boat_wrote_is_one_word_of_the_shell() {
        assert_eq!(quoted("the shed, B1"), "\"the shed, B1\"");
        for text in ["shed $(touch x)", "note=x `touch y` \"q\" \\ !!", "it's $HOME", "a\nb"] {
            let told = std::process::Command::new("sh")
                .args(["-c", &format!("printf %s {}", quoted(text))])
                .output()
                .unwrap();
            assert_eq!(String::from_utf8(told.stdout).unwrap(), text);
        }
    }
}
