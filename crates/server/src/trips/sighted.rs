//! Gear whose place people disagree on, or whose tag another item bears. No plan counts on it; here
//! is what it would change if somebody saw it in time.

use std::collections::BTreeSet;

use deepbend_contract::{changed_outfit, pb, plan_difference};
use deepbend_ledger::fold::{Disputed, Field, Value};
use deepbend_ledger::item::{Item, ItemKey, ItemKind, Status};
use deepbend_ledger::view::View;
use deepbend_planner::weights::ONE;
use tokio::time::Instant;
use tonic::Status as CallStatus;

use super::answer::count;
use super::ask::Asked;
use super::desk::Desk;
use super::pool;

/// Places that are tried at most, of all items together.
const MOST: usize = 6;

/// Ready gear whose place or tag is contested, with each place that somebody claims.
fn claims(view: &View, trips: &[Asked]) -> Vec<(ItemKey, String)> {
    let known =
        |place: &str| trips.iter().any(|t| t.trip.boat == place || t.places.contains_key(place));
    let mut list = Vec::new();
    for entry in view.contested() {
        let item = entry.item();
        let place =
            item.place.is_none() && entry.disputes().contains(&Disputed::Field(Field::Place));
        let tag = entry.disputes().contains(&Disputed::Tag);
        if item.status != Status::Ready || !(place || tag) {
            continue;
        }
        let Some(story) = view.tell(&item.key()) else { continue };
        let Some(held) = story.fields.get(&Field::Place) else { continue };
        let places: BTreeSet<String> = held
            .claims
            .iter()
            .filter_map(|claim| match &claim.value {
                Value::Place(place) => Some(place.to_string()),
                Value::Status(_)
                | Value::Condition(_)
                | Value::Line(_)
                | Value::Rig(_)
                | Value::Loan(_)
                | Value::Bench(_)
                | Value::Column(_) => None,
            })
            .filter(|place| known(place))
            .collect();
        list.extend(places.into_iter().map(|place| (item.key(), place)));
    }
    list.truncate(MOST);
    list
}

/// What each of them would change, the most first; what would change nothing is left out. Where
/// the deadline of the call leaves no time for another search, the rest is left out.
pub(super) fn list(
    desk: &Desk<'_>,
    trips: &[Asked],
    base: &pb::FleetPlan,
    begun: Instant,
) -> Result<Vec<pb::IfSighted>, CallStatus> {
    let mut list = Vec::new();
    let claims = claims(desk.view, trips);
    desk.gauge.begin(pb::PlanStage::Comparing, claims.len());
    for (key, place) in claims {
        if !desk.has_time(begun) {
            break;
        }
        let reach = |asked: &Asked, item: &Item| {
            if item.key() == key {
                Some(place.clone())
            } else {
                pool::in_pool(desk.view, asked, item)
            }
        };
        let found = desk.make(trips, &reach, &mut |made| {
            let Ok(plan) = &made.found else { return Ok(None) };
            let pairs = made.writers.iter().zip(&plan.trips);
            let plans: Vec<pb::Plan> = pairs.map(|(writer, trip)| writer.brief(trip)).collect();
            let covered: u32 = plan.trips.iter().map(|trip| trip.counts.covered).sum();
            let first = made.writers.first();
            let deadline =
                first.map(|w| w.deadlines.by(&w.judge.asked.trip, &place)).unwrap_or_default();
            Ok(Some((plans, covered, deadline)))
        });
        let found = found?;
        desk.gauge.step(pb::PlanStage::Comparing);
        let Some((plans, covered, deadline)) = found else { continue };
        let difference = plan_difference(&base.plans, &plans);
        if difference.gain_micros > 0 {
            let several = plans.len() > 1;
            let outfits = plans.iter().flat_map(|plan| {
                plan.outfits.iter().map(move |outfit| changed_outfit(plan, outfit, several))
            });
            list.push(pb::IfSighted {
                kind: cargo_of(key.kind).into(),
                item_id: key.id.to_string(),
                place_id: place.clone(),
                text: text(key.id.as_str(), &place, &deadline, &difference),
                deadline,
                outfits: outfits.collect(),
                difference: Some(difference),
                covered_count: count(covered),
            });
        }
    }
    let gain = |one: &pb::IfSighted| one.difference.as_ref().map_or(0, |d| d.gain_micros);
    list.sort_by(|a, b| gain(b).cmp(&gain(a)).then(a.item_id.cmp(&b.item_id)));
    Ok(list)
}

fn cargo_of(kind: ItemKind) -> pb::CargoKind {
    match kind {
        ItemKind::Rod => pb::CargoKind::Rod,
        ItemKind::Reel => pb::CargoKind::Reel,
        ItemKind::Lure => pb::CargoKind::Lure,
        ItemKind::LineStock => pb::CargoKind::Leader,
        ItemKind::Boat | ItemKind::Device => pb::CargoKind::Unspecified,
    }
}

fn text(item: &str, place: &str, deadline: &str, difference: &pb::PlanDifference) -> String {
    let by = if deadline.is_empty() { String::new() } else { format!(" by {deadline}") };
    let gain = difference.gain_micros as f64 / ONE as f64;
    let lures = |covered: bool| -> Vec<&str> {
        let turned =
            |n: &&pb::NeedChange| n.covered_before != n.covered_after && n.covered_after == covered;
        difference.needs.iter().filter(turned).map(|n| n.lure_id.as_str()).collect()
    };
    let mut text =
        format!("If {item} is seen at {place}{by}, a plan with it is worth {gain:.2} more");
    for (covered, word) in [(true, "covers"), (false, "no longer covers")] {
        let list = lures(covered);
        if !list.is_empty() {
            text.push_str(&format!(", {word} {}", list.join(", ")));
        }
    }
    text.push_str(". Until then do not count on it.");
    text
}
