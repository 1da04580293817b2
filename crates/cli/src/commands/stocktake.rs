//! Taking stock of a place.

use std::collections::{BTreeMap, BTreeSet};

use deepbend_contract::pb::event_body::What;
use deepbend_contract::{limits, pb};

use super::{candidates, finish, log, text_of};
use crate::args::{Global, StocktakeArgs};
use crate::failure::{Exit, Failure};
use crate::output::{self, Format, note, put};
use crate::render::{self, Table, units};
use crate::service::{Needs, Service};
use crate::trade;

/// Tags that were found, each with how often, and how many pieces were counted.
fn found(args: &StocktakeArgs) -> Result<BTreeMap<String, (usize, Option<i32>)>, Failure> {
    let mut tags = args.found.clone();
    if let Some(file) = &args.file {
        let text = text_of(file)?;
        let lines = text.lines().map(|line| line.split('#').next().unwrap_or_default().trim());
        tags.extend(lines.filter(|line| !line.is_empty()).map(str::to_owned));
    }
    if tags.is_empty() {
        return Err(Failure::usage("stocktake needs the tags that were found, or --file FILE")
            .hint("deepbend stocktake B1 R01 R04 E08 L30=2"));
    }
    let mut found: BTreeMap<String, (usize, Option<i32>)> = BTreeMap::new();
    for tag in tags {
        let (id, count) = match tag.split_once('=') {
            None => (tag.as_str(), None),
            Some((id, count)) => {
                let right = limits::EVENT_AMOUNT;
                let whole = count.parse::<i32>().ok();
                let count = whole
                    .filter(|count| (right.low..=right.high).contains(&f64::from(*count)))
                    .ok_or_else(|| {
                        let right = format!("right is a whole number from {right}, as in L30=2");
                        Failure::usage(format!("`{tag}`: {right}"))
                    })?;
                (id, Some(count))
            }
        };
        let there = found.entry(id.to_owned()).or_default();
        there.0 += 1;
        // Two boxes with the same tag hold the sum of both.
        there.1 = match (there.1, count) {
            (Some(one), Some(other)) => Some(one.saturating_add(other)),
            (one, other) => other.or(one),
        };
        if there.1.is_some_and(|count| f64::from(count) > limits::EVENT_AMOUNT.high) {
            let right = limits::EVENT_AMOUNT;
            return Err(Failure::usage(format!("more pieces of {id} than counted: {right}")));
        }
    }
    Ok(found)
}

pub(super) async fn run(global: &Global, args: &StocktakeArgs) -> Result<(), Failure> {
    let found = found(args)?;
    let service = Service::open(global, Needs::Inventory).await?;
    let done = async {
        let all = candidates::items(&service, pb::ItemFilter::default()).await?;
        let place = &args.place;
        let is_place = |item: &pb::Item| item.kind() == pb::ItemKind::Boat && item.id == *place;
        if !all.iter().any(is_place) {
            return Err(Failure::new(Exit::BadData, format!("there is no place {place}"))
                .hint("`deepbend gear list --kind boat` lists the boats and places ashore"));
        }
        let (rows, events) = differences(&all, place, &found, &args.by);
        let header = ["difference", "item", "what"];
        put(&match global.output {
            Format::Table => {
                let mut table = Table::new().left("difference").left("item").wrapped("what");
                rows.iter().for_each(|row| table.row(row.clone()));
                if table.is_empty() { String::new() } else { table.render(output::width()) }
            }
            Format::Csv => output::csv_text(&header, &rows)?,
            Format::Json | Format::Jsonl => {
                return Err(Failure::usage("stocktake prints a table or csv"));
            }
        })?;
        if rows.is_empty() {
            note(&format!("note: {place} has what it should have"));
        }
        if args.record && !events.is_empty() {
            let count = i64::try_from(events.len()).unwrap_or(i64::MAX);
            let recorded = render::units::counted(count, "event");
            let request = pb::RecordEventsRequest { events, ..Default::default() };
            let answer = service.inventory().record_events(service.request(request)).await;
            let answer = answer.map_err(|status| trade::typed(status.into()))?;
            let left = answer.into_inner().contested.len();
            let left = match left {
                0 => "none of these items is contested".to_owned(),
                1 => "1 of these items is contested".to_owned(),
                left => format!("{left} of these items are contested"),
            };
            note(&format!("note: {recorded} recorded; {left}"));
        } else if !events.is_empty() {
            note("note: nothing is recorded; --record does");
        }
        Ok(())
    };
    let done = done.await;
    finish(service, done).await
}

/// What the inventory says of the status of an item that was found, where that is not ready.
fn unlike_ready(item: &pb::Item) -> Option<(&'static str, String)> {
    let id = &item.id;
    match item.status() {
        pb::ItemStatus::Unspecified | pb::ItemStatus::Ready => None,
        pb::ItemStatus::Lost => Some(("lost", "--record says that it is found".to_owned())),
        pb::ItemStatus::OnLoan => {
            Some(("on loan", format!("if it is back: `deepbend log returned {id}`")))
        }
        pb::ItemStatus::InService => {
            let done = format!("if it is done: `deepbend log serviced {id} WHAT --finished`");
            Some(("in service", done))
        }
        pb::ItemStatus::Broken => Some(("broken", "do not issue it before it is looked at".into())),
        pb::ItemStatus::Retired => Some(("retired", "do not issue it".to_owned())),
    }
}

/// What differs, and the events that say what was seen.
fn differences(
    all: &[pb::Item],
    place: &str,
    found: &BTreeMap<String, (usize, Option<i32>)>,
    by: &str,
) -> (Vec<Vec<String>>, Vec<pb::NewEvent>) {
    let mut by_id: BTreeMap<&str, Vec<&pb::Item>> = BTreeMap::new();
    for item in all {
        by_id.entry(&item.id).or_default().push(item);
    }
    let row = |kind: &str, id: &str, what: String| vec![kind.to_owned(), id.to_owned(), what];
    let seen = |item: &pb::Item, what: What| pb::NewEvent {
        item_id: item.id.clone(),
        item_kind: item.kind,
        claim: Some(log::claim(by, pb::Certainty::Seen, None)),
        seen_at_id: place.to_owned(),
        body: Some(pb::EventBody { what: Some(what) }),
        ..Default::default()
    };
    let (mut rows, mut events) = (Vec::new(), Vec::new());
    for (id, (times, count)) in found {
        let items = by_id.get(id.as_str()).map(Vec::as_slice).unwrap_or_default();
        let [item] = items else {
            rows.push(match items.len() {
                0 => row("extra", id, "nobody knows this tag".to_owned()),
                n => row("double tag", id, format!("{n} items bear it")),
            });
            continue;
        };
        if item.quantity.is_none() && *times > 1 {
            rows.push(row("double tag", id, format!("found {times} times; it is one item")));
        }
        let whole = item.quantity.is_none();
        if whole && count.is_some() {
            rows.push(row(
                "no count",
                id,
                "it is not counted in pieces; nothing of it is recorded".into(),
            ));
        }
        let lost = item.status() == pb::ItemStatus::Lost;
        if let Some((kind, what)) = unlike_ready(item).filter(|_| whole) {
            rows.push(row(kind, id, what));
        }
        if lost && whole {
            events.push(seen(item, What::Found(pb::Found { at_id: place.to_owned() })));
        } else if whole && item.place_id != place {
            let was = match item.place_id.as_str() {
                "" if item.contested => "its place is contested".to_owned(),
                "" => "nobody said where it is".to_owned(),
                other => format!("it should be at {other}"),
            };
            rows.push(row("misplaced", id, was));
            let to_id = place.to_owned();
            events.push(seen(item, What::Moved(pb::Moved { to_id, ..Default::default() })));
        }
        let here = item.place_counts.iter().find(|there| there.place_id == place);
        let low = here.map_or(0, |here| here.low);
        let high = here.map_or(0, |here| here.high);
        if item.quantity.is_some() && count.is_none() && high == 0 {
            rows.push(row(
                "misplaced",
                id,
                format!("none is counted here{}", elsewhere(item, place)),
            ));
        }
        if let (Some(count), Some(_)) = (count, item.quantity) {
            let difference = if *count < low {
                Some("missing")
            } else if *count > high {
                Some("extra")
            } else {
                None
            };
            if let Some(kind) = difference {
                let known = if low == high { low.to_string() } else { format!("{low} to {high}") };
                let what = format!("{count} found, {known} counted here{}", elsewhere(item, place));
                rows.push(row(kind, id, what));
            }
            let counted = pb::Counted {
                measure: pb::Measure::Pieces.into(),
                place_id: place.to_owned(),
                amount: Some(*count),
            };
            events.push(seen(item, What::Counted(counted)));
        }
    }
    let away: BTreeSet<i32> = [
        pb::ItemStatus::OnLoan,
        pb::ItemStatus::InService,
        pb::ItemStatus::Lost,
        pb::ItemStatus::Retired,
    ]
    .map(Into::into)
    .into();
    for item in all {
        let here = item.place_counts.iter().find(|there| there.place_id == place);
        let pieces = here.map_or(0, |here| here.low);
        let is_here = if item.quantity.is_some() { pieces > 0 } else { item.place_id == place };
        let gear = !matches!(item.kind(), pb::ItemKind::Boat | pb::ItemKind::Device);
        if is_here && gear && !away.contains(&item.status) && !found.contains_key(&item.id) {
            let name = match item.display_name.as_str() {
                "" => render::what(item),
                name => name.to_owned(),
            };
            let what = match item.quantity {
                None => name,
                Some(_) => format!("{} of {name}", units::counted(pieces.into(), "piece")),
            };
            rows.push(row("missing", &item.id, what));
        }
    }
    (rows, events)
}

/// How many pieces are counted at other places; empty if none are.
fn elsewhere(item: &pb::Item, place: &str) -> String {
    let others = item.place_counts.iter().filter(|there| there.place_id != place && there.high > 0);
    let told = render::pieces_by_place(&others.cloned().collect::<Vec<_>>());
    if told.is_empty() { told } else { format!("; {told}") }
}
