//! Which outfits are judged: all, or where there are too many of them those that promise most.

use std::cmp::Reverse;
use std::collections::BTreeMap;
use std::ops::ControlFlow;

use deepbend_contract::pb;
use deepbend_core::judge::Verdict;
use deepbend_planner::problem::{Candidate, Offer, TripProblem};
use deepbend_planner::sketch::{self, Sketch};
use deepbend_planner::weights::{Micros, Weights};
use deepbend_planner::{FleetProblem, Progress, matters};

use super::bench::Leaders;
use super::gauge::{Gauge, Stopped};
use super::offers::{Judge, Task, in_order, in_parallel};

/// Judgements that are made whatever they are worth, for all boats together: a few seconds.
pub(super) const WHOLE: usize = 60_000_000;

/// Rounds in which judgements are spent where there are not enough for all.
const ROUNDS: usize = 6;

/// What of the outfits was judged.
#[derive(Debug)]
pub(super) struct Judging {
    pub(super) is_whole: bool,
    /// Whether the deadline left something out.
    pub(super) is_cut: bool,
    /// What was sketched. Empty where nothing was.
    sketches: Vec<Sketch>,
    /// By sketch, whether it was judged too.
    judged: Vec<bool>,
}

/// Outfits of a boat from which on those that cannot matter are left out at once: what is written of
/// them later takes longer than the search.
const MANY: usize = 5_000;

/// Judges for each trip of a problem, and adds the candidates to it; about so many judgements, where
/// there are more of them. The same is judged on every machine, but for what the deadline cuts.
pub(super) fn judge(
    judges: &[Judge<'_, '_>],
    problem: &mut FleetProblem,
    weights: &Weights,
    judgements: usize,
    gauge: &Gauge,
) -> Result<Judging, Stopped> {
    let leaders: Vec<Leaders> = judges.iter().map(|judge| Leaders::of(judge.pool)).collect();
    let tasks: Vec<_> = judges
        .iter()
        .enumerate()
        .flat_map(|(trip, judge)| judge.tasks().into_iter().map(move |task| (trip, task)))
        .collect();
    let costs: Vec<usize> =
        tasks.iter().map(|(trip, task)| judges[*trip].cost(task, &leaders[*trip])).collect();
    if costs.iter().sum::<usize>() <= judgements {
        return all(judges, problem, weights, gauge);
    }
    // The first rods of all boats, then the next: whatever time there is, no boat has nothing.
    let mut rods: Vec<(usize, usize)> = tasks.iter().map(|(trip, task)| (task.at, *trip)).collect();
    rods.sort_unstable();
    rods.dedup();
    gauge.begin(pb::PlanStage::Judging, 2 * rods.len());
    let (sketched, all_sketched) = in_parallel(rods.len(), gauge.enough(2), |at| {
        let (rod, trip) = rods[at];
        let judge = &judges[trip];
        judge.sketch(trip, &judge.pool.rods[rod], &leaders[trip], gauge)
    })?;
    let mut sketched: BTreeMap<(usize, usize), [Option<Sketch>; 2]> =
        rods.into_iter().zip(sketched).collect();
    let mut of_task = |(trip, task): &(usize, Task<'_, '_>)| {
        let sides = sketched.get_mut(&(task.at, *trip))?;
        sides[usize::from(!task.own_reels)].take()
    };
    let sketches: Vec<Option<Sketch>> = tasks.iter().map(&mut of_task).collect();
    let known: Vec<usize> = (0..tasks.len()).filter(|at| sketches[*at].is_some()).collect();
    let mut judging = Judging {
        is_whole: false,
        is_cut: !all_sketched,
        sketches: sketches.into_iter().flatten().collect(),
        judged: vec![false; known.len()],
    };
    let is_asked_for = |at: usize| judges[tasks[known[at]].0].is_asked_for(&tasks[known[at]].1);
    let mut by_trip: Vec<Vec<_>> = judges.iter().map(|_| Vec::new()).collect();
    // What is judged promises less than its sketch: after each round others may promise more.
    for _ in 0..ROUNDS {
        let most = judging.at_most(problem, weights, None);
        let open = (0..known.len()).filter(|at| !judging.judged[*at]);
        let mut order: Vec<usize> = open.collect();
        order.sort_by_key(|at| (!is_asked_for(*at), Reverse(most[*at]), *at));
        let mut left = judgements / ROUNDS;
        order.retain(|at| {
            let is_begun = left > 0;
            left = left.saturating_sub(costs[known[*at]]);
            is_begun
        });
        let (judged, all_judged) = in_parallel(order.len(), gauge.enough(1), |at| {
            let (trip, task) = &tasks[known[order[at]]];
            Ok((order[at], *trip, judges[*trip].of_task(task, &leaders[*trip], gauge)?))
        })?;
        for (at, trip, candidates) in judged {
            let judged = candidates.iter().map(|(_, candidate)| candidate);
            tighten(&mut judging.sketches[at], judged);
            judging.judged[at] = true;
            by_trip[trip].extend(candidates);
        }
        judging.is_cut |= !all_judged;
        if order.is_empty() || !all_judged {
            break;
        }
    }
    // What no plan takes only gives reasons, and is little.
    let unready: Vec<usize> =
        (0..tasks.len()).filter(|at| known.binary_search(at).is_err()).collect();
    let (judged, all_judged) = in_parallel(unready.len(), gauge.enough(1), |at| {
        let (trip, task) = &tasks[unready[at]];
        Ok((*trip, judges[*trip].of_task(task, &leaders[*trip], gauge)?))
    })?;
    judged.into_iter().for_each(|(trip, candidates)| by_trip[trip].extend(candidates));
    for (trip, judged) in problem.trips.iter_mut().zip(by_trip) {
        trip.problem.candidates = in_order(judged);
        slim(&mut trip.problem, weights);
    }
    judging.is_cut |= !all_judged;
    judging.is_whole = !judging.is_cut && judging.judged.iter().all(|is_judged| *is_judged);
    if !all_sketched {
        judging.sketches.clear();
    }
    if !judging.is_whole {
        gauge.judged_in_part(judging.rest(problem, weights, None));
    }
    Ok(judging)
}

/// Judges one boat after the other.
fn all(
    judges: &[Judge<'_, '_>],
    problem: &mut FleetProblem,
    weights: &Weights,
    gauge: &Gauge,
) -> Result<Judging, Stopped> {
    let rods = judges.iter().map(|judge| judge.pool.rods.len()).sum();
    gauge.begin(pb::PlanStage::Judging, rods);
    let mut is_whole = true;
    for (t, judge) in judges.iter().enumerate() {
        let (candidates, all) = judge.candidates(gauge, gauge.enough(judges.len() - t))?;
        problem.trips[t].problem.candidates = candidates;
        slim(&mut problem.trips[t].problem, weights);
        is_whole &= all;
    }
    if !is_whole {
        gauge.judged_in_part(None);
    }
    Ok(Judging { is_whole, is_cut: !is_whole, sketches: Vec::new(), judged: Vec::new() })
}

/// Leaves out of many outfits what changes nothing.
fn slim(problem: &mut TripProblem, weights: &Weights) {
    if problem.candidates.len() < MANY {
        return;
    }
    without_poor(problem);
    let mut matters = matters(problem, weights).into_iter();
    problem.candidates.retain(|_| matters.next().unwrap_or(true));
}

/// Leaves out poor offers for needs that something fishes which may be taken: nothing is ever said
/// of them.
fn without_poor(problem: &mut TripProblem) {
    let is_useful = |offer: &Offer| offer.verdict <= Verdict::Workable;
    let mut fished = vec![false; problem.needs.len()];
    for candidate in &problem.candidates {
        let new = |offer: &&Offer| is_useful(offer) && !fished[offer.need];
        let new: Vec<usize> = candidate.offers.iter().filter(new).map(|o| o.need).collect();
        if !new.is_empty() && problem.barred(candidate).is_none() {
            new.into_iter().for_each(|need| fished[need] = true);
        }
    }
    for candidate in &mut problem.candidates {
        candidate.offers.retain(|offer| is_useful(offer) || !fished[offer.need]);
        candidate.offers.shrink_to_fit();
    }
}

/// What was judged is no longer a guess.
fn tighten<'c>(sketch: &mut Sketch, candidates: impl Iterator<Item = &'c Candidate>) {
    sketch.offers.fill((0, Verdict::Unsafe));
    for offer in candidates.flat_map(|candidate| &candidate.offers) {
        let (worth, verdict) = &mut sketch.offers[offer.need];
        (*worth, *verdict) = (offer.worth.max(*worth), offer.verdict.min(*verdict));
    }
}

impl Judging {
    /// By sketch, what no plan that takes it is worth more than.
    fn at_most(
        &self,
        problem: &FleetProblem,
        weights: &Weights,
        reached: Option<Micros>,
    ) -> Vec<Micros> {
        let on = |_: &Progress| ControlFlow::Continue(());
        sketch::at_most(problem, &self.sketches, weights, reached, &on)
    }

    /// What no plan is worth more than that takes what was not judged, where a known plan is worth
    /// `reached`; `None`: nobody knows.
    pub(super) fn rest(
        &self,
        problem: &FleetProblem,
        weights: &Weights,
        reached: Option<Micros>,
    ) -> Option<Micros> {
        if self.sketches.is_empty() {
            return None;
        }
        let most = self.at_most(problem, weights, reached);
        let open = self.judged.iter().zip(most).filter(|(is_judged, _)| !**is_judged);
        Some(open.map(|(_, most)| most).max().unwrap_or(Micros::MIN))
    }
}
