//! Gear that people do not agree on, or whose tag another item bears. A plan counts on no more than
//! is certain; here is what it would change if somebody saw in time how things are.

use deepbend_contract::{changed_outfit, pb, plan_difference};
use deepbend_core::gear::Word as _;
use deepbend_core::quantity::Length;
use deepbend_core::quantity::words::{KILOGRAMS, LINE_METRES};
use deepbend_ledger::fold::Disputed;
use deepbend_ledger::item::{Item, Spec, Status, StockUse};
use deepbend_ledger::view::View;
use deepbend_planner::weights::{Micros, SHOWN, in_words};
use tokio::time::Instant;
use tonic::Status as CallStatus;

use super::answer::{Deadlines, count};
use super::ask::Asked;
use super::basis::clock;
use super::desk::Desk;
use super::lines::{leader_words, line_words};
use super::pool::{in_pool, place_of};
use super::request::Trip;

/// Ways to settle that are tried at most, of all items together.
const MOST: usize = 6;

/// Contested gear, as it counts and as it may turn out to be: ready, and at a place of the pool.
fn claims<'v>(view: &'v View, trips: &[Asked]) -> Vec<(&'v Item, Item)> {
    let known = |item: &Item| {
        let place = place_of(item);
        trips.iter().any(|t| t.trip.boat == place || t.places.contains_key(&place))
    };
    let useful = |item: &Item| match item.spec {
        Spec::Rod(_) | Spec::Reel(_) | Spec::LineStock(_) => true,
        Spec::Lure(_) => {
            trips.iter().flat_map(|t| &t.trip.needs).any(|need| need.lure == item.id.as_str())
        }
        Spec::Boat(_) | Spec::Device(_) => false,
    };
    let mut list = Vec::new();
    for entry in view.contested().filter(|entry| useful(entry.item())) {
        let tag = entry.disputes().contains(&Disputed::Tag);
        let ways = view.settlements(&entry.item().key(), MOST).into_iter();
        let ways = ways.filter(|way| way.status == Status::Ready && known(way));
        let ways = ways.filter(|way| tag || way != entry.item());
        list.extend(ways.map(|way| (entry.item(), way)));
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
    for (now, item) in claims {
        if !desk.has_time(1, begun) {
            break;
        }
        let view = desk.view.supposing(item.clone());
        let reach = |asked: &Asked, item: &Item| in_pool(&view, asked, item);
        let found = desk.over(&view).make(trips, &reach, &mut |made| {
            let Some(plan) = made.found.plan() else { return Ok(None) };
            let pairs = made.writers.iter().zip(&plan.trips);
            let plans: Vec<pb::Plan> = pairs.map(|(writer, trip)| writer.brief(trip)).collect();
            let covered: u32 = plan.trips.iter().map(|trip| trip.counts.covered).sum();
            let difference = plan_difference(&base.plans, &plans);
            let first = made.writers.first();
            let deadline = first.map(|w| {
                let old = (&difference, base.plans.as_slice());
                deadline(w.deadlines, &w.judge.asked.trip, &item, old)
            });
            Ok(Some((plans, covered, difference, deadline.flatten())))
        });
        let found = found?;
        desk.gauge.step(pb::PlanStage::Comparing);
        let Some((plans, covered, difference, deadline)) = found else { continue };
        if difference.gain_micros > 0 {
            let several = plans.len() > 1;
            let outfits = plans.iter().flat_map(|plan| {
                plan.outfits.iter().map(move |outfit| changed_outfit(plan, outfit, several))
            });
            let outfits = outfits.collect();
            list.push(pb::IfSighted {
                outfits,
                covered_count: count(covered),
                ..written(desk.view, trips, (now, &item), deadline, difference)
            });
        }
    }
    let gain = |one: &pb::IfSighted| one.difference.as_ref().map_or(0, |d| d.gain_micros);
    list.sort_by(|a, b| gain(b).cmp(&gain(a)).then(a.item_id.cmp(&b.item_id)));
    Ok(list)
}

/// By when an item must be seen, if the plan is still to become another one: a minute of the day,
/// negative on the day before. `None`: nobody said when boats depart.
fn deadline(
    deadlines: &Deadlines,
    trip: &Trip,
    item: &Item,
    (difference, old): (&pb::PlanDifference, &[pb::Plan]),
) -> Option<i64> {
    // Nothing but the count of a lure may change.
    let by = || deadlines.by(trip, &place_of(item));
    deadlines.to_change(difference, old, &trip.boat).or_else(by)
}

/// Words about an item as it counts and as it may turn out to be.
fn written(
    view: &View,
    trips: &[Asked],
    (now, item): (&Item, &Item),
    deadline: Option<i64>,
    difference: pb::PlanDifference,
) -> pb::IfSighted {
    let place = place_of(item);
    let barred = trips.iter().all(|asked| in_pool(view, asked, now).is_none());
    let barred = barred || now.status != Status::Ready;
    let (seen_as, counts) = differ(item, now);
    let until = if !barred && !counts.is_empty() {
        format!("Until then {counts} counts.")
    } else {
        "Until then do not count on it.".to_owned()
    };
    pb::IfSighted {
        kind: cargo_of(item).into(),
        item_id: item.id.to_string(),
        text: text(item, &place, &seen_as, deadline, &difference) + &until,
        place_id: place,
        seen_as,
        deadline: deadline.map_or_else(String::new, clock),
        is_day_before: deadline.is_some_and(i64::is_negative),
        difference: Some(difference),
        ..pb::IfSighted::default()
    }
}

/// What a plan says about contested gear, written again as far as it needs no search.
pub(super) fn written_again(
    view: &View,
    asked: &Asked,
    deadlines: &Deadlines,
    given: &pb::Plan,
) -> Vec<pb::IfSighted> {
    let trips = std::slice::from_ref(asked);
    let claims = claims(view, trips);
    let again = |one: &pb::IfSighted| {
        let meant = claims.iter().max_by_key(|(now, item)| {
            let same = [
                one.item_id == item.id.as_str(),
                one.place_id == place_of(item),
                one.seen_as == differ(item, now).0,
            ];
            same.into_iter().filter(|same| *same).count()
        });
        let (now, item) = meant?;
        let difference = one.difference.clone().unwrap_or_default();
        let old = (&difference, std::slice::from_ref(given));
        let deadline = deadline(deadlines, &asked.trip, item, old);
        let right = written(view, trips, (*now, item), deadline, difference);
        Some(pb::IfSighted {
            outfits: one.outfits.clone(),
            covered_count: one.covered_count,
            ..right
        })
    };
    given.if_sighted.iter().filter_map(again).collect()
}

fn cargo_of(item: &Item) -> pb::CargoKind {
    match &item.spec {
        Spec::Rod(_) => pb::CargoKind::Rod,
        Spec::Reel(_) => pb::CargoKind::Reel,
        Spec::Lure(_) => pb::CargoKind::Lure,
        Spec::LineStock(stock) => match stock.use_as {
            StockUse::Line(_) => pb::CargoKind::Line,
            StockUse::Leader(_) => pb::CargoKind::Leader,
        },
        Spec::Boat(_) | Spec::Device(_) => pb::CargoKind::Unspecified,
    }
}

/// What an item must turn out to be, and what counts instead until then, in a few words each.
fn differ(seen: &Item, now: &Item) -> (String, String) {
    let (seen_words, now_words) = (words(seen), words(now));
    let pairs = seen_words.into_iter().zip(now_words).filter(|(a, b)| a != b);
    let (seen, now): (Vec<_>, Vec<_>) = pairs.unzip();
    (seen.join(", "), now.join(", "))
}

/// What can be disputed of an item and matters to a plan, its place left out, in a fixed order.
fn words(item: &Item) -> Vec<String> {
    let mut words = vec![item.status.as_word().replace('_', " ")];
    match &item.spec {
        Spec::Reel(reel) => {
            let line = reel.fitted.as_ref().map(|fitted| line_words(&fitted.line));
            words.push(line.unwrap_or_else(|| "no line".to_owned()));
            let drag = reel.reel.drag_max.map_or(0.0, |drag| drag.kgf());
            words.push(format!("{} of drag", KILOGRAMS.one(drag)));
        }
        Spec::LineStock(stock) => {
            words.push(match &stock.use_as {
                StockUse::Line(line) => line_words(line),
                StockUse::Leader(leader) => leader_words(leader),
            });
            // The length of what comes in pieces follows from their number.
            let length = stock.length.filter(|_| item.quantity.is_none()).map_or(0.0, Length::m);
            words.push(LINE_METRES.one(length).to_string());
        }
        Spec::Rod(_) | Spec::Lure(_) | Spec::Boat(_) | Spec::Device(_) => {}
    }
    words.push(match item.quantity {
        Some(1) => "1 piece".to_owned(),
        Some(quantity) => format!("{quantity} pieces"),
        None => String::new(),
    });
    words
}

fn text(
    item: &Item,
    place: &str,
    seen_as: &str,
    deadline: Option<i64>,
    difference: &pb::PlanDifference,
) -> String {
    let seen = if seen_as.is_empty() { String::new() } else { format!(" ({seen_as})") };
    let by = in_time(deadline);
    let lures = |covered: bool| -> Vec<&str> {
        let turned =
            |n: &&pb::NeedChange| n.covered_before != n.covered_after && n.covered_after == covered;
        difference.needs.iter().filter(turned).map(|n| n.lure_id.as_str()).collect()
    };
    let worth = how_much_more(difference.gain_micros);
    let mut text =
        format!("If {} is seen at {place}{seen}{by}, a plan with it is worth {worth}", item.id);
    for (covered, word) in [(true, "covers"), (false, "no longer covers")] {
        let list = lures(covered);
        if !list.is_empty() {
            text.push_str(&format!(", {word} {}", list.join(", ")));
        }
    }
    text.push_str(". ");
    text
}

fn in_time(deadline: Option<i64>) -> String {
    match deadline {
        None => String::new(),
        Some(minute @ ..0) => format!(" by {} of the day before", clock(minute)),
        Some(minute) => format!(" by {}", clock(minute)),
    }
}

fn how_much_more(gain: Micros) -> String {
    match gain < SHOWN {
        true => "as much".to_owned(),
        false => format!("{} more", in_words(gain)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: rounding by hand.
    #[test]
    fn a_gain_that_rounds_to_nothing_is_no_number() {
        assert_eq!([0, 4_999, 5_000].map(how_much_more), ["as much", "as much", "0.01 more"]);
    }

    // Source: by hand.
    #[test]
    fn what_must_be_seen_before_midnight_is_of_the_day_before() {
        assert_eq!(in_time(None), "");
        assert_eq!(in_time(Some(5)), " by 00:05");
        assert_eq!(in_time(Some(-20)), " by 23:40 of the day before");
    }
}
