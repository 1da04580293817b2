//! A plan that comes back: written again from what it decides, with the same words as the planner's
//! own, and held against it field by field.

use std::collections::{BTreeMap, BTreeSet};

use deepbend_contract::{At, Difference, Faults, ToWire as _, differences, pb};
use deepbend_planner::plan::PlannedOutfit;
use deepbend_planner::problem::{Candidate, Pin};
use deepbend_planner::rewrite::{Decisions, NoOutfit};
use deepbend_planner::weights::Micros;
use deepbend_planner::{Status as Proof, TripPlan, TripProblem, check, gap, rewrite};
use tonic::Status;

use super::answer::{Deadlines, Writer};
use super::ask::Before;
use super::case;
use super::desk::{Desk, at_best};
use super::gauge::{Gauge, Stopped};
use super::lines::FITTED;
use super::offers::Judge;
use super::pool::{self, Pool};
use super::{basis, draft, sighted, stopped};
use crate::error::ServiceError;

/// Fields that are listed of a plan that no longer follows from the inventory, as the contract
/// states.
const OUTDATED: usize = 100;

/// Looks a plan over. What of it the inventory no longer bears out, where something was recorded
/// since.
///
/// `None`: the deadline is too near for that, if anybody is to be answered.
///
/// # Errors
/// Every field that does not follow from the decisions, where the inventory is as it was.
pub(super) fn review(
    desk: &Desk<'_>,
    before: &Before,
) -> Result<Option<Vec<pb::OutdatedField>>, Status> {
    let gauge = desk.gauge.for_half();
    let mut found = match differing(desk, &gauge, before) {
        Err(Stopped::Deadline) if desk.gauge.stopped().is_none() => return Ok(None),
        found => found.map_err(stopped)?,
    };
    let plan = At::ROOT.field("plan");
    let stated = before.plan.basis.as_ref().map(|basis| basis.inventory_state.as_str());
    let changed = stated.is_some_and(|state| !state.is_empty() && state != basis::state(desk.view));
    if changed {
        found.truncate(OUTDATED);
        let outdated = |d: Difference| pb::OutdatedField {
            field: plan.field(&d.field).to_string(),
            was: d.is,
            now: d.right,
        };
        return Ok(Some(found.into_iter().map(outdated).collect()));
    }
    let mut faults = Faults::new();
    for Difference { field, is, right } in found {
        faults.push(pb::FaultCode::Conflict, plan.field(&field), is, right);
    }
    faults.or(Some(Vec::new())).map_err(|faults| ServiceError::Faults(faults).into())
}

fn differing(desk: &Desk<'_>, gauge: &Gauge, before: &Before) -> Result<Vec<Difference>, Stopped> {
    let asked = &before.asked;
    let reach = |item: &deepbend_ledger::item::Item| match &asked.aboard {
        Some(aboard) => pool::aboard(asked, aboard, item),
        None => pool::in_pool(desk.view, asked, item),
    };
    let pool = Pool::gather(desk.model, desk.view, asked, &reach);
    let cases = case::cases(asked, &pool);
    let judge =
        Judge { model: desk.model, weights: &desk.weights, asked, pool: &pool, cases: &cases };
    let mut problem = pool.problem(asked);
    (problem.candidates, _) = judge.candidates(gauge, None)?;
    against(desk, gauge, before, &judge, problem)
}

/// Holds a plan against what its decisions make of a problem.
fn against(
    desk: &Desk<'_>,
    gauge: &Gauge,
    before: &Before,
    judge: &Judge<'_, '_>,
    mut problem: TripProblem,
) -> Result<Vec<Difference>, Stopped> {
    let Before { plan: given, asked } = before;
    let given_basis = given.basis.clone().unwrap_or_default();
    concede(&mut problem, given.given_up.as_ref());
    let (outfits, lines) = outfits(given, judge, &problem.candidates);
    let lures = given.load_list.iter().filter(|l| l.kind() == pb::CargoKind::Lure);
    let lures: BTreeSet<String> = lures.map(|l| l.item_id.clone()).collect();
    let decisions = Decisions { outfits, lures };
    let written = rewrite(&problem, &desk.weights, &basis::share(&given_basis), &decisions);
    let mut plan = match written {
        Ok(plan) => plan,
        Err(missing) => return Ok(missing.iter().map(|one| no_outfit(given, one)).collect()),
    };
    let mut found = broken(&problem, desk, &mut plan);
    let departs = asked.trip.departs().map(|minute| (asked.trip.boat.clone(), minute));
    let others = given_basis.others.iter().filter_map(|other| {
        Some((other.boat_id.clone(), super::request::minute(&other.departure)?))
    });
    let deadlines = Deadlines(departs.into_iter().chain(others).collect::<BTreeMap<_, _>>());
    let writer = Writer {
        judge,
        problem: &problem,
        view: desk.view,
        deadlines: &deadlines,
        basis: given_basis.clone(),
        is_whole: true,
    };
    let writers = std::slice::from_ref(&writer);
    let written = draft::plans(writers, std::slice::from_ref(&plan), given.reproducible, gauge)?;
    let mut right = written.into_iter().next().unwrap_or_default();
    right.model = Some(desk.model.id().to_wire());
    if given_basis.others.is_empty() && asked.aboard.is_none() && !asked.summary {
        right.if_sighted = sighted::written_again(desk.view, asked, &deadlines, given);
    }
    found.extend(searched(given, &mut right, at_best(&problem, &desk.weights)));
    abridged(given, &mut right);
    // Both are messages of the contract.
    found.extend(differences(given, &right).unwrap_or_default());
    found.extend(lines);
    found.dedup_by(|a, b| a.field == b.field);
    Ok(found)
}

/// Takes what a plan gives up out of what is asked of it.
fn concede(problem: &mut TripProblem, given_up: Option<&pb::GivenUp>) {
    let Some(given_up) = given_up else { return };
    for crew in &given_up.short_crews {
        for segment in problem.segments.iter_mut().filter(|s| s.id == crew.segment_id) {
            let sits_out = |angler: &mut String| crew.idle_angler_ids.contains(angler);
            segment.turns.extend(segment.anglers.extract_if(.., sits_out));
        }
    }
    let kept = |pin: &Pin| {
        given_up.pins.iter().all(|gone| match pin {
            Pin::Take { id, .. } => gone.rule() != pb::PinRule::Take || gone.item_id != *id,
            Pin::Leave { id, .. } => gone.rule() != pb::PinRule::Leave || gone.item_id != *id,
            Pin::Pair { rod, reel } => {
                gone.rule() != pb::PinRule::Pair || (&gone.item_id, &gone.reel_id) != (rod, reel)
            }
            Pin::Hold { segment, lure } => {
                gone.rule() != pb::PinRule::Hold
                    || (&gone.segment_id, &gone.item_id) != (segment, lure)
            }
        })
    };
    problem.pins.retain(kept);
}

/// The outfits that a plan decides for. Of line and leaders three parts of a plan tell; what two of
/// them say counts.
fn outfits(
    given: &pb::Plan,
    judge: &Judge<'_, '_>,
    candidates: &[Candidate],
) -> (Vec<PlannedOutfit>, Vec<Difference>) {
    let on_the_water = given.basis.as_ref().is_some_and(|basis| basis.aboard.is_some());
    let mut lines = Vec::new();
    let mut decide = |(i, outfit): (usize, &pb::PlannedOutfit)| {
        let jobs = |kind: pb::JobKind| {
            let own = given.jobs.iter().filter(move |job| job.outfit_id == outfit.id);
            own.filter(move |job| job.kind() == kind).map(|job| job.stock_id.as_str())
        };
        let stated = match outfit.line_stock_id.as_str() {
            "" => FITTED,
            stock => stock,
        };
        let wound = jobs(pb::JobKind::Respool).next().unwrap_or(FITTED);
        let fits = |option: &str| {
            let spooled = judge.spooled(&outfit.reel_id, option);
            let alike = spooled.is_some_and(|s| Some(s.line.to_wire()) == outfit.line);
            let parts = (outfit.rod_id.as_str(), outfit.reel_id.as_str(), option);
            let same = |c: &Candidate| (c.rod.as_str(), c.reel.as_str(), c.line.as_str()) == parts;
            alike && candidates.iter().any(same)
        };
        let line = if stated != wound && fits(wound) && !fits(stated) { wound } else { stated };
        if stated != line && wound == FITTED {
            lines.push(Difference {
                field: format!("outfits[{i}].line_stock_id"),
                is: format!("is {stated}"),
                right: "nothing: the line stays on the reel".to_owned(),
            });
        }
        let tied: BTreeSet<&str> = jobs(pb::JobKind::Leader).collect();
        let fished = given.assignments.iter().filter(|one| one.outfit_id == outfit.id);
        let fished: BTreeSet<&str> =
            fished.map(|one| one.leader_stock_id.as_str()).filter(|id| !id.is_empty()).collect();
        let stated: BTreeSet<&str> = outfit.leader_stock_ids.iter().map(String::as_str).collect();
        let holds = |all: &BTreeSet<&str>| fished.is_subset(all);
        let leaders = match !on_the_water && holds(&tied) && !holds(&stated) {
            true => tied.iter().map(|id| (*id).to_owned()).collect(),
            false => outfit.leader_stock_ids.clone(),
        };
        PlannedOutfit {
            rod: outfit.rod_id.clone(),
            reel: outfit.reel_id.clone(),
            line: line.to_owned(),
            leaders,
        }
    };
    let outfits = given.outfits.iter().enumerate().map(&mut decide).collect();
    (outfits, lines)
}

fn no_outfit(given: &pb::Plan, missing: &NoOutfit) -> Difference {
    let outfit = &given.outfits[missing.outfit];
    let at = format!("outfits[{}]", missing.outfit);
    match missing.leader {
        Some(l) => Difference {
            field: format!("{at}.leader_stock_ids[{l}]"),
            is: format!("is {}", outfit.leader_stock_ids.get(l).map_or("", String::as_str)),
            right: "a leader of the pool".to_owned(),
        },
        None => {
            let (rod, reel) = (&outfit.rod_id, &outfit.reel_id);
            let line = match outfit.line_stock_id.as_str() {
                "" => "the line on it".to_owned(),
                stock => format!("line from {stock}"),
            };
            Difference {
                field: at,
                is: format!("is {rod} with {reel} and {line}, which cannot be put together"),
                right: "rod, reel and line of the pool that are ready, fit one another and suit \
                        somebody"
                    .to_owned(),
            }
        }
    }
}

/// Limits that the decisions break, by the checker that knows no solver. A plan that reaches its
/// bound is told to it as the best.
fn broken(problem: &TripProblem, desk: &Desk<'_>, plan: &mut TripPlan) -> Vec<Difference> {
    if plan.bound == plan.value.objective() {
        plan.status = Proof::Optimal;
    }
    let broken = check(problem, &desk.weights, plan).err().unwrap_or_default();
    plan.status = Proof::Feasible;
    let tell = |v: deepbend_planner::check::Violation| Difference {
        field: "outfits".to_owned(),
        is: format!("break a limit: {}", v.text),
        right: "outfits that keep all limits, or given_up with those that they leave out"
            .to_owned(),
    };
    broken.into_iter().map(tell).collect()
}

/// What only a search can tell is taken over, as far as it goes together.
fn searched(given: &pb::Plan, right: &mut pb::Plan, most: Micros) -> Vec<Difference> {
    if let (Some(counts), Some(right)) = (&given.counts, &mut right.counts) {
        right.node_count = counts.node_count.max(0);
    }
    if given.status() == pb::PlanStatus::Infeasible {
        right.status = given.status;
        (right.bound_micros, right.gap) = (None, None);
        right.clash = given.clash.clone().or_else(|| Some(pb::PlanClash::default()));
        right.given_up = given.given_up.clone().or_else(|| Some(pb::GivenUp::default()));
        return Vec::new();
    }
    if given.status() == pb::PlanStatus::NotFound {
        right.status = given.status;
        let bound = given.bound_micros.map_or(most, |bound| bound.clamp(0, most));
        (right.bound_micros, right.gap) = (Some(bound), None);
        right.given_up = given.given_up.clone().or_else(|| Some(pb::GivenUp::default()));
        return Vec::new();
    }
    // Of one boat of several it is known what all its needs would be worth, and no more.
    let alone = given.basis.as_ref().is_none_or(|basis| basis.others.is_empty());
    let Some(reached) = right.value.as_ref().map(|value| value.objective_micros) else {
        return Vec::new();
    };
    if !alone {
        return Vec::new();
    }
    let proven = given.status() == pb::PlanStatus::Optimal;
    let (at_bound, no_gap) = (given.bound_micros == Some(reached), given.gap == Some(0.0));
    if [proven, at_bound, no_gap].into_iter().filter(|says| *says).count() >= 2 {
        right.status = pb::PlanStatus::Optimal.into();
        (right.bound_micros, right.gap) = (Some(reached), Some(0.0));
        return Vec::new();
    }
    right.status = pb::PlanStatus::Feasible.into();
    // More than all needs at their best no plan is worth.
    let bound = given.bound_micros.unwrap_or(most).clamp(reached, most.max(reached));
    right.bound_micros = Some(bound);
    right.gap = Some(gap(reached, bound));
    let parted = given.bound_micros.is_some() && given.gap != right.gap;
    let fault = || Difference {
        field: "bound_micros".to_owned(),
        is: format!("is {bound}, which does not go with the gap"),
        right: "a bound and a gap of one search".to_owned(),
    };
    parted.then(fault).into_iter().collect()
}

/// What a plan lacks that was written in haste is no fault of it.
fn abridged(given: &pb::Plan, right: &mut pb::Plan) {
    if !given.abridged {
        return;
    }
    let counts = |plan: &pb::Plan| plan.counts.as_ref().map_or(0, |c| c.candidate_count);
    // What was not judged in time is missed wherever a plan tells of what it does not take.
    let mut lacks = counts(given) < counts(right);
    if lacks {
        right.left_ashore.clone_from(&given.left_ashore);
        (right.bound_micros, right.gap) = (given.bound_micros, given.gap);
        right.counts.iter_mut().for_each(|c| c.candidate_count = counts(given));
        for (one, right) in given.uncovered.iter().zip(&mut right.uncovered) {
            let pb::Uncovered { segment_id, lure_id, importance, reached, .. } = right.clone();
            *right = pb::Uncovered { segment_id, lure_id, importance, reached, ..one.clone() };
        }
    }
    let mut spare = |left_out: bool| {
        lacks |= left_out;
        left_out
    };
    if spare(given.losses.is_empty() && !right.losses.is_empty()) {
        right.losses.clear();
    }
    if spare(given.windier.is_none()) {
        right.windier = None;
    }
    for (one, right) in given.moves.iter().zip(&mut right.moves) {
        if spare(one.if_missing.is_empty() && !right.if_missing.is_empty()) {
            right.if_missing.clear();
        }
    }
    for (one, right) in given.uncovered.iter().zip(&mut right.uncovered) {
        let cure = one.best_in_pool.is_none() && one.cure.is_empty();
        if spare(cure && !right.cure.is_empty()) {
            right.best_in_pool = None;
            right.cure.clear();
            right.text.clone_from(&one.text);
        }
    }
    right.abridged = lacks;
}

#[cfg(test)]
#[path = "review_tests.rs"]
mod tests;
