//! What covers a trip after a loss, held against the plan that the boat went out with.

use std::collections::BTreeSet;

use deepbend_contract::{At, Faults, pb, plan_difference, whole_day};
use deepbend_core::model::Parameters;
use deepbend_ledger::item::{ItemKind, Spec, StockUse};
use deepbend_planner::weights::Micros;
use tokio::time::Instant;
use tonic::Status;

use super::answer::count;
use super::ask::Asked;
use super::desk::Desk;
use super::{basis, known, pool, rerig};
use crate::error::ServiceError;

/// What is left, and what the rig was worth before, where a plan says how it was.
#[derive(Debug)]
pub(super) struct Recovered {
    pub(super) plan: pb::Plan,
    worth_before: Option<i64>,
    pub(super) left_pieces: Vec<pb::PieceCount>,
    /// Leaders on the outfits, and those that go onto them, that are traces of wire.
    traces: BTreeSet<String>,
    /// Whether the deadline left no time for all of it.
    pub(super) abridged: bool,
}

/// Plans what is aboard.
pub(super) fn plan(
    desk: &Desk<'_>,
    trips: &[Asked],
    before: Option<&pb::Plan>,
) -> Result<Recovered, Status> {
    not_more_than_there_is(desk, trips, before)?;
    let told = trips;
    let trips = &counted_out(desk, told)[..];
    let before = before.map(as_put_together);
    let before = before.as_ref();
    let begun = Instant::now();
    let mut plan = desk.trip(trips)?;
    let worth = |plan: &pb::Plan| plan.value.as_ref().map(|value| value.objective_micros);
    if let Some(before) = before.filter(|_| desk.has_time(1, begun)) {
        let kept: Vec<Asked> = trips.iter().map(|asked| as_left(asked, before)).collect();
        let kept = desk.trip(&kept)?;
        // What is put together anew on the water has to bring what its minutes cost.
        let net = |plan: &pb::Plan| {
            let traces = traces(desk, trips, plan);
            let minutes = rerig::swaps(desk.model.parameters(), &traces, before, plan);
            let minutes = rerig::minutes(&minutes);
            worth(plan).map(|worth| worth - desk.weights.job_minute * Micros::from(minutes))
        };
        let as_many = (kept.status(), &kept.given_up) == (plan.status(), &plan.given_up);
        if as_many && net(&kept) >= net(&plan) {
            plan = kept;
        }
    }
    let mut abridged = plan.abridged;
    let worth_before = match before {
        // The same parts of the day with the same gear, as it was rigged, before anything was lost.
        Some(before) if desk.has_time(1, begun) => {
            let whole: Vec<Asked> = trips.iter().map(|asked| as_rigged(asked, before)).collect();
            let whole = desk.trip(&whole)?;
            abridged |= whole.abridged;
            worth(&whole).filter(|_| !whole.abridged)
        }
        Some(_) => {
            abridged = true;
            None
        }
        None => None,
    };
    let of_trip = |asked: &Asked| -> Vec<pb::PieceCount> {
        let pieces = asked.aboard.iter().flat_map(|aboard| &aboard.lost_pieces);
        let left = |id: &String| pool::pieces_left(desk.model, desk.view, asked, id);
        let count = |id: &String| pb::PieceCount {
            item_id: id.clone(),
            quantity: count(left(id).unwrap_or(0)),
        };
        pieces.map(|(id, _)| count(id)).collect()
    };
    let left_pieces = told.iter().flat_map(of_trip).collect();
    let traces = traces(desk, trips, &plan);
    Ok(Recovered { plan, worth_before, left_pieces, traces, abridged })
}

/// A plan with all outfits that are put together aboard, and all that is planned with them, in the
/// segments that it is not about too.
fn as_put_together(plan: &pb::Plan) -> pb::Plan {
    pb::Plan { outfits: basis::outfits_rigged(plan), ..whole_day(plan) }
}

/// What the outfits went out with, or have by a plan, that is a trace.
fn traces(desk: &Desk<'_>, trips: &[Asked], plan: &pb::Plan) -> BTreeSet<String> {
    let is_trace = |id: &&String| {
        let item = known::item(desk.view, ItemKind::LineStock, id);
        item.is_some_and(|item| match &item.spec {
            Spec::LineStock(held) => match &held.use_as {
                StockUse::Leader(leader) => pool::is_trace(leader),
                StockUse::Line(_) => false,
            },
            Spec::Rod(_) | Spec::Reel(_) | Spec::Lure(_) | Spec::Boat(_) | Spec::Device(_) => false,
        })
    };
    let carried = trips.iter().flat_map(|t| &t.aboard).flat_map(|aboard| &aboard.wire.carried);
    let rigs = carried.chain(&plan.rigs);
    rigs.map(|rig| &rig.leader_stock_id).filter(is_trace).cloned().collect()
}

/// Nobody can lose more than was there, and than is left of it since `before` was made.
fn not_more_than_there_is(
    desk: &Desk<'_>,
    trips: &[Asked],
    before: Option<&pb::Plan>,
) -> Result<(), Status> {
    let mut faults = Faults::new();
    let basis = before.and_then(|plan| plan.basis.as_ref()?.aboard.as_ref());
    let earlier = basis.map(basis::aboard).unwrap_or_default().lost_pieces;
    for asked in trips {
        let mut whole = asked.clone();
        let aboard = whole.aboard.iter_mut();
        let lost: Vec<_> = aboard.flat_map(|a| std::mem::take(&mut a.lost_pieces)).collect();
        for (i, (id, quantity)) in lost.iter().enumerate() {
            let there = pool::pieces_left(desk.model, desk.view, &whole, id).unwrap_or(0);
            if *quantity > there {
                let gone = earlier.iter().find(|(lost, _)| lost == id).map_or(0, |(_, n)| *n);
                let (now, left) = (quantity.saturating_sub(gone), there.saturating_sub(gone));
                let wrong = match gone {
                    0 => format!("is {now}, more than are aboard"),
                    _ => format!(
                        "is {now}, more than are left aboard: {gone} of {there} lost before"
                    ),
                };
                let list = At::ROOT.field("lost_pieces");
                let at = list.index(i);
                let right = format!("at most {left}");
                faults.push(pb::FaultCode::TooLarge, at.field("quantity"), wrong, right);
            }
        }
    }
    faults.or(()).map_err(|faults| ServiceError::Faults(faults).into())
}

/// Trips from which what is lost piece by piece to the last one is lost as a whole: what was tied of
/// it is gone too.
fn counted_out(desk: &Desk<'_>, trips: &[Asked]) -> Vec<Asked> {
    let of_trip = |asked: &Asked| {
        let mut counted = asked.clone();
        let is_gone = |id: &String| pool::pieces_left(desk.model, desk.view, asked, id) == Some(0);
        counted.aboard.iter_mut().for_each(|aboard| aboard.lose_all(is_gone));
        counted
    };
    trips.iter().map(of_trip).collect()
}

/// With the reels on the rods that they are on, where both are left.
fn as_left(asked: &Asked, before: &pb::Plan) -> Asked {
    let mut left = asked.clone();
    let is_left = |id: &String| asked.aboard.as_ref().is_none_or(|a| !a.lost.contains(id));
    let whole = before.outfits.iter().filter(|o| is_left(&o.rod_id) && is_left(&o.reel_id));
    left.pins.pairs = whole.map(|o| (o.rod_id.clone(), o.reel_id.clone())).collect();
    left
}

fn as_rigged(asked: &Asked, before: &pb::Plan) -> Asked {
    let mut whole = asked.clone();
    whole.summary = true;
    if let Some(aboard) = &mut whole.aboard {
        // What was lost before that plan stays lost, unless it is still planned with.
        let earlier = before.basis.as_ref().and_then(|basis| basis.aboard.as_ref());
        let mut earlier = earlier.map(basis::aboard).unwrap_or_default();
        let parts = &asked.trip.parts;
        for one in &earlier.wire.planned_assignments {
            if parts.iter().any(|part| part.id == one.segment_id) {
                let outfit = earlier.wire.outfits.iter().filter(|o| o.id == one.outfit_id);
                let gear = outfit.flat_map(|outfit| [&outfit.rod_id, &outfit.reel_id]);
                for id in gear.chain([&one.lure_id, &one.leader_stock_id]) {
                    earlier.lost.remove(id);
                }
            }
        }
        aboard.wire.lost_item_ids = earlier.lost.iter().cloned().collect();
        aboard.wire.lost_leader_outfit_ids.clear();
        (aboard.lost, aboard.lost_pieces) = (earlier.lost, earlier.lost_pieces);
    }
    whole.pins.pairs =
        before.outfits.iter().map(|o| (o.rod_id.clone(), o.reel_id.clone())).collect();
    whole
}

/// Holds what is left against the plan that the boat went out with, as far as it is about some
/// segments; none named: about all.
pub(super) fn against(
    p: &Parameters,
    mut before: pb::Plan,
    recovered: Recovered,
    segments: &[String],
) -> pb::CheckCoverageResponse {
    let Recovered { plan: after, worth_before, left_pieces, traces, abridged } = recovered;
    let asked = |segment: &String| segments.is_empty() || segments.contains(segment);
    before = as_put_together(&before);
    before.boat_id.clone_from(&after.boat_id);
    before.trip_id.clone_from(&after.trip_id);
    // What was brought along and wound on is aboard by now, and so is what was tied.
    before.moves.clear();
    before.outfits.iter_mut().for_each(|outfit| outfit.line_stock_id.clear());
    before.assignments.retain(|one| asked(&one.segment_id));
    before.uncovered.retain(|need| asked(&need.segment_id));
    let swaps = rerig::swaps(p, &traces, &before, &after);
    let left_bare = rerig::left_bare(&before, &after);
    // An outfit that has no work left is aboard all the same.
    let aboard = after.basis.as_ref().and_then(|basis| basis.aboard.as_ref());
    let lost = aboard.map(|aboard| aboard.lost_item_ids.as_slice()).unwrap_or_default();
    let is_apart = |o: &pb::PlannedOutfit| {
        let is_lost = [&o.rod_id, &o.reel_id].into_iter().any(|id| lost.contains(id));
        let mut now = after.outfits.iter();
        is_lost || now.any(|a| a.rod_id == o.rod_id || a.reel_id == o.reel_id)
    };
    let works = |o: &pb::PlannedOutfit| before.assignments.iter().any(|one| one.outfit_id == o.id);
    let is_same = |o: &pb::PlannedOutfit, a: &pb::PlannedOutfit| {
        (&a.rod_id, &a.reel_id) == (&o.rod_id, &o.reel_id)
    };
    let told = |o: &&pb::PlannedOutfit| {
        after.outfits.iter().any(|a| is_same(o, a)) || (works(o) && is_apart(o))
    };
    let told: Vec<_> = before.outfits.iter().filter(told).cloned().collect();
    before.outfits = told;
    let mut difference = plan_difference(&[before], std::slice::from_ref(&after));
    // What was done stays done; what is to be done now stands in the swaps.
    difference.added_jobs.clear();
    difference.removed_jobs.clear();
    let worth = after.value.as_ref().map(|value| value.objective_micros);
    difference.gain_micros =
        worth.zip(worth_before).map_or(0, |(after, before)| after.saturating_sub(before));
    pb::CheckCoverageResponse {
        swap_minutes: rerig::minutes(&swaps),
        swaps,
        difference: Some(difference),
        plan: Some(after),
        left_pieces,
        abridged,
        left_bare,
        ..pb::CheckCoverageResponse::default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trips::ask::Aboard;

    // By hand: a reel whose rod broke is free for another one, and so is a rod whose reel is gone.
    #[test]
    fn what_is_left_whole_stays_together() {
        let outfit = |number: u32| pb::PlannedOutfit {
            rod_id: format!("R{number}"),
            reel_id: format!("E{number}"),
            ..pb::PlannedOutfit::default()
        };
        let before = pb::Plan { outfits: (1..=3).map(outfit).collect(), ..pb::Plan::default() };
        let pairs = |lost: &[&str]| {
            let lost = lost.iter().map(|id| (*id).to_owned()).collect();
            let aboard = Some(Aboard { lost, ..Aboard::default() });
            as_left(&Asked { aboard, ..Asked::default() }, &before).pins.pairs
        };
        let pair = |number: u32| (format!("R{number}"), format!("E{number}"));
        assert_eq!(pairs(&[]), [pair(1), pair(2), pair(3)]);
        assert_eq!(pairs(&["R1", "E3", "L10"]), [pair(2)]);
    }
}
