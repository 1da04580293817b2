//! Which outfits are judged: all, or where there are too many of them those that promise most.

use std::cmp::Reverse;
use std::collections::BTreeMap;
use std::ops::ControlFlow;

use deepbend_contract::pb;
use deepbend_core::judge::Verdict;
use deepbend_planner::problem::{Candidate, Offer, TripProblem};
use deepbend_planner::sketch::{self, Sketch};
use deepbend_planner::weights::{Micros, Weights};
use deepbend_planner::{FleetProblem, Progress};

use super::bench::Leaders;
use super::gauge::{Gauge, Stopped};
use super::offers::{Judge, Task, in_order, in_parallel};

/// Judgements that are made whatever they are worth, for all boats together: a few seconds.
pub(super) const WHOLE: usize = 60_000_000;

/// What of the outfits was judged.
#[derive(Debug)]
pub(super) struct Judging {
    pub(super) is_whole: bool,
    /// What was sketched, and whether it was judged too. Empty where nothing was sketched.
    sketches: Vec<(Sketch, bool)>,
}

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
        return all(judges, problem, gauge);
    }
    let rods: Vec<(usize, usize)> = judges
        .iter()
        .enumerate()
        .flat_map(|(trip, judge)| (0..judge.pool.rods.len()).map(move |rod| (trip, rod)))
        .collect();
    gauge.begin(pb::PlanStage::Judging, 2 * rods.len());
    let (sketched, is_whole) = in_parallel(rods.len(), gauge.enough(2), |at| {
        let (trip, rod) = rods[at];
        let judge = &judges[trip];
        judge.sketch(trip, &judge.pool.rods[rod], &leaders[trip], gauge)
    })?;
    if !is_whole {
        return all(judges, problem, gauge);
    }
    let mut sketched: BTreeMap<(usize, usize), [Option<Sketch>; 2]> =
        rods.into_iter().zip(sketched).collect();
    let mut of_task = |(trip, task): &(usize, Task<'_, '_>)| {
        let sides = sketched.get_mut(&(*trip, task.at))?;
        sides[usize::from(!task.own_reels)].take()
    };
    let sketches: Vec<Option<Sketch>> = tasks.iter().map(&mut of_task).collect();
    let known: Vec<usize> = (0..tasks.len()).filter(|at| sketches[*at].is_some()).collect();
    let listed: Vec<Sketch> = sketches.into_iter().flatten().collect();
    let on = |_: &Progress| ControlFlow::Continue(());
    let most = sketch::at_most(problem, &listed, weights, None, &on);
    let mut order: Vec<usize> = (0..known.len()).collect();
    order.sort_by_key(|at| (Reverse(most[*at]), *at));
    // What no plan takes only gives reasons, and is little.
    let unready = (0..tasks.len()).filter(|at| known.binary_search(at).is_err());
    let mut left = judgements;
    let worth_it = order.iter().map(|at| known[*at]).take_while(|at| {
        let enough = left > 0;
        left = left.saturating_sub(costs[*at]);
        enough
    });
    let worth_it: Vec<usize> = worth_it.chain(unready).collect();
    let (judged, _) = in_parallel(worth_it.len(), gauge.enough(1), |at| {
        let (trip, task) = &tasks[worth_it[at]];
        Ok((worth_it[at], *trip, judges[*trip].of_task(task, &leaders[*trip], gauge)?))
    })?;
    let mut sketches: Vec<(Sketch, bool)> = listed.into_iter().map(|s| (s, false)).collect();
    let mut by_trip: Vec<Vec<_>> = judges.iter().map(|_| Vec::new()).collect();
    for (task, trip, candidates) in judged {
        if let Ok(at) = known.binary_search(&task) {
            let (sketch, is_judged) = &mut sketches[at];
            tighten(sketch, candidates.iter().map(|(_, candidate)| candidate));
            *is_judged = true;
        }
        by_trip[trip].extend(candidates);
    }
    for (trip, judged) in problem.trips.iter_mut().zip(by_trip) {
        trip.problem.candidates = in_order(judged);
        without_poor(&mut trip.problem);
    }
    let is_whole = sketches.iter().all(|(_, is_judged)| *is_judged);
    let rest = sketches.iter().zip(&most).filter(|((_, judged), _)| !judged);
    let rest = rest.map(|(_, most)| *most).max();
    if !is_whole {
        gauge.judged_in_part(rest);
    }
    Ok(Judging { is_whole, sketches })
}

/// Judges one boat after the other.
fn all(
    judges: &[Judge<'_, '_>],
    problem: &mut FleetProblem,
    gauge: &Gauge,
) -> Result<Judging, Stopped> {
    let rods = judges.iter().map(|judge| judge.pool.rods.len()).sum();
    gauge.begin(pb::PlanStage::Judging, rods);
    let mut is_whole = true;
    for (t, judge) in judges.iter().enumerate() {
        let (candidates, all) = judge.candidates(gauge, gauge.enough(judges.len() - t))?;
        problem.trips[t].problem.candidates = candidates;
        is_whole &= all;
    }
    if !is_whole {
        gauge.judged_in_part(None);
    }
    Ok(Judging { is_whole, sketches: Vec::new() })
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
        let listed: Vec<Sketch> = self.sketches.iter().map(|(sketch, _)| sketch.clone()).collect();
        let on = |_: &Progress| ControlFlow::Continue(());
        let most = sketch::at_most(problem, &listed, weights, reached, &on);
        let open = self.sketches.iter().zip(most).filter(|((_, is_judged), _)| !is_judged);
        open.map(|(_, most)| most).max()
    }
}
