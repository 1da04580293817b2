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
use tokio::time::Instant;

use super::gauge::{Gauge, Stopped};
use super::offers::{Judge, Judged, RodKind, Task, in_parallel};
use super::pool::PoolRod;
use super::supply::Supply;

/// Judgements up to which all is judged at once, without looking first at what promises most.
pub(super) const WHOLE: usize = 5_000_000;

/// Judgements that are made before the first search where there are more, for all boats together: a
/// fraction of a second, so that a plan is known early, for all later searches to begin with.
const FIRST: usize = 1_000_000;

/// Judgements that are made after each search, of what promises more than its plan.
const MORE: usize = 8_000_000;

/// Rounds in which judgements are spent where there are not enough for all.
const ROUNDS: usize = 3;

/// Tasks of a boat that are judged first of all, as many as serve whatever it is to fish.
const FRONT: usize = 12;

/// Share of the time that is left which a bound of what was not judged may take.
const BOUND_SHARE: f64 = 0.1;

/// What of the outfits was judged.
#[derive(Debug)]
pub(super) struct Judging<'j> {
    pub(super) is_whole: bool,
    /// Whether the deadline left something out.
    pub(super) is_cut: bool,
    /// Whether all was sketched for all needs: what is known only in part bounds nothing.
    is_sketched: bool,
    /// What was sketched. Empty where nothing was.
    sketches: Vec<Sketch>,
    /// By sketch, whether it was judged too.
    judged: Vec<bool>,
    /// By sketch, the least bound of the plans that take it that was ever found.
    most: Vec<Micros>,
    /// By sketch, the trip, the task and how many judgements it takes at most.
    tasks: Vec<(usize, Task<'j, 'j>, usize)>,
    supplies: Vec<Supply<'j, 'j>>,
    /// By trip, the positions of the candidates of its problem.
    at: Vec<Vec<[usize; 3]>>,
}

/// Outfits of a boat from which on those that cannot matter are left out at once: what is written of
/// them later takes longer than the search.
const MANY: usize = 5_000;

/// Judges for each trip of a problem, and adds the candidates to it; about so many judgements, where
/// there are more of them. The same is judged on every machine, but for what the deadline cuts.
pub(super) fn judge<'j>(
    judges: &'j [Judge<'j, 'j>],
    problem: &mut FleetProblem,
    weights: &Weights,
    judgements: usize,
    gauge: &Gauge,
) -> Result<Judging<'j>, Stopped> {
    let supplies: Vec<Supply<'j, 'j>> = judges.iter().map(Supply::of).collect();
    let tasks: Vec<_> = judges
        .iter()
        .enumerate()
        .flat_map(|(trip, judge)| judge.tasks().into_iter().map(move |task| (trip, task)))
        .map(|(trip, task)| (trip, task, judges[trip].cost(&task, &supplies[trip])))
        .collect();
    let whole = tasks.iter().map(|(.., cost)| cost).sum::<usize>();
    if whole <= judgements {
        return all(judges, problem, weights, gauge);
    }
    let (mut sketched, all_sketched) = sketch_all(judges, &supplies, gauge)?;
    let mut of_task = |(trip, task, _): &(usize, Task<'_, '_>, usize)| {
        let sides = &mut sketched[*trip][task.at];
        sides[usize::from(!task.own_reels)].take()
    };
    let mut judging = Judging {
        is_whole: false,
        is_cut: !all_sketched,
        is_sketched: all_sketched,
        sketches: Vec::new(),
        judged: Vec::new(),
        most: Vec::new(),
        tasks: Vec::new(),
        supplies,
        at: judges.iter().map(|_| Vec::new()).collect(),
    };
    let mut unready = Vec::new();
    for task in tasks {
        match of_task(&task) {
            Some(sketch) => {
                judging.sketches.push(sketch);
                judging.tasks.push(task);
            }
            None => unready.push(task),
        }
    }
    judging.judged = vec![false; judging.tasks.len()];
    judging.most = vec![Micros::MAX; judging.tasks.len()];
    // What is judged promises less than its sketch: after each round others may promise more.
    let first = judgements.min(FIRST);
    let mut left = first;
    for _ in 0..ROUNDS {
        let enough = gauge.enough(1);
        let some = first / ROUNDS;
        let (spent, is_all) = judging.round(judges, problem, weights, some, None, enough, gauge)?;
        left = left.saturating_sub(spent);
        if spent == 0 || left == 0 || !is_all {
            break;
        }
    }
    // What no plan takes only gives reasons, and is little.
    let (judged, all_judged) = in_parallel(unready.len(), gauge.enough(1), |at| {
        let (trip, task, _) = &unready[at];
        Ok((*trip, judges[*trip].of_task(task, &judging.supplies[*trip], gauge)?))
    })?;
    judging.add(problem, weights, judged);
    judging.is_cut |= !all_judged;
    judging.is_whole = !judging.is_cut && judging.judged.iter().all(|is_judged| *is_judged);
    if !judging.is_whole {
        gauge.judged_in_part(judging.rest(problem, weights, None, gauge));
    }
    Ok(judging)
}

/// Groups of needs that are sketched one after the other, the most important first.
const GROUPS: usize = 8;

/// By trip and rod, its sketches with the reels of the boat and with all others.
type Sketched = Vec<Vec<[Option<Sketch>; 2]>>;

/// Sketches all rods; whether there was time for all needs. Those for which there is none count as
/// if every rod could do everything for them.
fn sketch_all(
    judges: &[Judge<'_, '_>],
    supplies: &[Supply<'_, '_>],
    gauge: &Gauge,
) -> Result<(Sketched, bool), Stopped> {
    // Rods that are alike do the same; only which of them is which differs.
    let mut rods: Vec<(usize, usize)> = Vec::new();
    let mut like: Vec<Vec<usize>> = Vec::new();
    for (trip, judge) in judges.iter().enumerate() {
        let pool = &judge.pool.rods;
        let mut firsts: Vec<usize> = Vec::new();
        let mut of_trip = Vec::with_capacity(pool.len());
        for (at, rod) in pool.iter().enumerate() {
            let same = |first: &usize| {
                let other = &pool[*first];
                other.ready == rod.ready && other.handle == rod.handle && other.rod == rod.rod
            };
            let first = firsts.iter().copied().find(same).unwrap_or_else(|| {
                firsts.push(at);
                rods.push((at, trip));
                at
            });
            of_trip.push(first);
        }
        like.push(of_trip);
    }
    rods.sort_unstable();
    gauge.begin(pb::PlanStage::Judging, 2 * rods.len());
    // Which there are at all takes little time.
    let (bare, is_known) = in_parallel(rods.len(), gauge.enough(4), |at| {
        let (rod, trip) = rods[at];
        judges[trip].sketch(trip, &judges[trip].pool.rods[rod], &[], &supplies[trip], gauge)
    })?;
    if !is_known {
        return Ok((unknown(judges), false));
    }
    let mut sketched: Sketched =
        judges.iter().map(|j| j.pool.rods.iter().map(|_| [None, None]).collect()).collect();
    for ((rod, trip), sides) in rods.iter().zip(bare) {
        sketched[*trip][*rod] = sides;
    }
    let groups: Vec<Vec<Vec<usize>>> = judges.iter().map(needs_by_group).collect();
    let pieces: Vec<(usize, usize, usize)> = (0..GROUPS)
        .flat_map(|group| rods.iter().map(move |(rod, trip)| (group, *rod, *trip)))
        .collect();
    let (found, is_whole) = in_parallel(pieces.len(), gauge.enough(2), |at| {
        let (group, rod, trip) = pieces[at];
        let needs = &groups[trip][group];
        let judge = &judges[trip];
        let sides = judge.sketch(trip, &judge.pool.rods[rod], needs, &supplies[trip], gauge)?;
        if group + 1 == GROUPS {
            gauge.step(pb::PlanStage::Judging);
        }
        Ok(sides)
    })?;
    for ((group, rod, trip), sides) in pieces.iter().zip(found) {
        for (known, new) in sketched[*trip][*rod].iter_mut().zip(sides) {
            let (Some(known), Some(new)) = (known, new) else { continue };
            for &need in &groups[*trip][*group] {
                known.offers[need] = new.offers[need];
            }
        }
    }
    for (trip, of_trip) in like.iter().enumerate() {
        for (at, first) in of_trip.iter().enumerate().filter(|(at, first)| at != *first) {
            let id = judges[trip].pool.rods[at].item.id.to_string();
            sketched[trip][at] = sketched[trip][*first]
                .each_ref()
                .map(|side| side.clone().map(|side| Sketch { rod: id.clone(), ..side }));
        }
    }
    Ok((sketched, is_whole))
}

/// Sketches as if every rod that is ready could do everything.
fn unknown(judges: &[Judge<'_, '_>]) -> Sketched {
    let of_trip = |(trip, judge): (usize, &Judge<'_, '_>)| {
        let side = |rod: &PoolRod<'_>| {
            rod.ready.then(|| Sketch {
                trip,
                rod: rod.item.id.to_string(),
                reel_place: judge.pool.boat.place.clone(),
                offers: vec![(judge.weights.excellent, Verdict::Excellent); judge.cases.len()],
            })
        };
        judge.pool.rods.iter().map(|rod| [side(rod), side(rod)]).collect()
    };
    judges.iter().enumerate().map(of_trip).collect()
}

/// Positions of the needs of a trip in groups, the most important first.
fn needs_by_group(judge: &Judge<'_, '_>) -> Vec<Vec<usize>> {
    let needs = &judge.asked.trip.needs;
    let mut order: Vec<usize> = (0..judge.cases.len()).collect();
    order.sort_by_key(|n| (Reverse(needs[*n].importance), *n));
    let each = order.len().div_ceil(GROUPS).max(1);
    let mut groups: Vec<Vec<usize>> = order.chunks(each).map(<[usize]>::to_vec).collect();
    groups.resize(GROUPS, Vec::new());
    groups
}

/// Judges one boat after the other.
fn all<'j>(
    judges: &'j [Judge<'j, 'j>],
    problem: &mut FleetProblem,
    weights: &Weights,
    gauge: &Gauge,
) -> Result<Judging<'j>, Stopped> {
    let rods = judges.iter().map(|judge| judge.pool.rods.len()).sum();
    gauge.begin(pb::PlanStage::Judging, rods);
    let mut is_whole = true;
    for (t, judge) in judges.iter().enumerate() {
        let (candidates, all) = judge.candidates(gauge, gauge.enough(judges.len() - t))?;
        let trip = &mut problem.trips[t].problem;
        trip.candidates = candidates;
        if trip.candidates.len() >= MANY {
            slim(trip, weights);
        }
        is_whole &= all;
    }
    if !is_whole {
        gauge.judged_in_part(None);
    }
    let (is_cut, sketches, judged, most) = (!is_whole, Vec::new(), Vec::new(), Vec::new());
    let (tasks, supplies, at) = (Vec::new(), Vec::new(), Vec::new());
    let is_sketched = false;
    Ok(Judging { is_whole, is_cut, is_sketched, sketches, judged, most, tasks, supplies, at })
}

/// Leaves out what changes nothing; by outfit, whether it stays.
fn slim(problem: &mut TripProblem, weights: &Weights) -> Vec<bool> {
    without_poor(problem);
    let matters = matters(problem, weights);
    let mut stays = matters.iter();
    problem.candidates.retain(|_| stays.next().copied().unwrap_or(true));
    matters
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

impl Judging<'_> {
    /// Judges about so many more, those first that promise most; only such as promise more than a
    /// plan that is worth `reached`. How many it were at most, 0 where none was left; and whether
    /// there was time for all of them.
    #[allow(clippy::too_many_arguments, reason = "what a round needs belongs to nobody else")]
    fn round(
        &mut self,
        judges: &[Judge<'_, '_>],
        problem: &mut FleetProblem,
        weights: &Weights,
        judgements: usize,
        reached: Option<Micros>,
        enough: Option<Instant>,
        gauge: &Gauge,
    ) -> Result<(usize, bool), Stopped> {
        // A part of the time: to know which promise most is worth less than to judge them.
        let now = Instant::now();
        let soon = enough.map(|enough| now + enough.saturating_duration_since(now) / 4);
        if self.is_sketched {
            self.bound(problem, weights, reached, soon);
        }
        let most = &self.most;
        let is_better = |at: usize| reached.is_none_or(|reached| most[at] > reached);
        let open = (0..self.tasks.len()).filter(|at| !self.judged[*at] && is_better(*at));
        let mut order: Vec<usize> = open.collect();
        let is_asked_for = |at: usize| {
            let (trip, task, _) = &self.tasks[at];
            judges[*trip].is_asked_for(task)
        };
        let front = self.front(judges, problem);
        let mut place = vec![usize::MAX; self.tasks.len()];
        front.iter().enumerate().for_each(|(turn, at)| place[*at] = turn);
        order.sort_by_key(|at| (!is_asked_for(*at), place[*at], Reverse(most[*at]), *at));
        // The first of all boats, then the next: whatever time there is, no boat has nothing.
        let mut begun = vec![0; judges.len()];
        let mut turns: Vec<(usize, usize)> = Vec::with_capacity(order.len());
        for at in order {
            let of_trip = &mut begun[self.tasks[at].0];
            turns.push((*of_trip, at));
            *of_trip += 1;
        }
        turns.sort_by_key(|(turn, _)| *turn);
        let mut order: Vec<usize> = turns.into_iter().map(|(_, at)| at).collect();
        let mut spent = 0;
        order.retain(|at| {
            let is_begun = spent < judgements;
            spent += if is_begun { self.tasks[*at].2.max(1) } else { 0 };
            is_begun
        });
        let (judged, all_judged) = in_parallel(order.len(), enough, |at| {
            let (trip, task, _) = &self.tasks[order[at]];
            Ok((order[at], judges[*trip].of_task(task, &self.supplies[*trip], gauge)?))
        })?;
        let mut new = Vec::new();
        for (at, candidates) in judged {
            let judged = candidates.iter().map(|(_, candidate)| candidate);
            tighten(&mut self.sketches[at], judged);
            self.judged[at] = true;
            new.push((self.tasks[at].0, candidates));
        }
        self.add(problem, weights, new);
        self.is_cut |= !all_judged;
        Ok((spent, all_judged))
    }

    /// Before anything is judged, for each trip a few tasks that may serve all of its needs between
    /// them: however little time there is, everybody is to have something to fish with.
    fn front(&self, judges: &[Judge<'_, '_>], problem: &FleetProblem) -> Vec<usize> {
        let mut front: Vec<usize> = Vec::new();
        // What is sketched in part says too little: rods of every kind come first then, those that lie
        // aboard before the others.
        if !self.is_sketched {
            return self.of_each_kind(judges);
        }
        if self.judged.contains(&true) {
            return front;
        }
        for (t, trip) in problem.trips.iter().enumerate() {
            let needs = &trip.problem.needs;
            let mut served: Vec<Micros> = vec![1; needs.len()];
            let own: Vec<usize> =
                (0..self.tasks.len()).filter(|at| self.tasks[*at].0 == t).collect();
            for _ in 0..FRONT {
                let promises = |at: usize| -> Micros {
                    let offers = self.sketches[at].offers.iter().zip(needs).zip(&served);
                    offers
                        .map(|(((worth, _), need), served)| {
                            Micros::from(need.importance) * worth / (served * served)
                        })
                        .sum()
                };
                let open = own.iter().copied().filter(|at| !front.contains(at));
                let Some(next) = open.max_by_key(|at| (promises(*at), Reverse(*at))) else { break };
                for (served, (worth, _)) in served.iter_mut().zip(&self.sketches[next].offers) {
                    *served += Micros::from(*worth > 0);
                }
                front.push(next);
            }
        }
        front
    }

    /// Tasks in an order in which rods of all handles, powers and actions take turns.
    fn of_each_kind(&self, judges: &[Judge<'_, '_>]) -> Vec<usize> {
        let mut begun: BTreeMap<(usize, bool, RodKind), usize> = BTreeMap::new();
        let mut turns: Vec<(usize, usize)> = Vec::with_capacity(self.tasks.len());
        for (at, (trip, task, _)) in self.tasks.iter().enumerate() {
            let turn = begun.entry((*trip, task.own_reels, judges[*trip].kind(task))).or_default();
            turns.push((*turn, at));
            *turn += 1;
        }
        // A stable order: of those of one turn the tasks that come first.
        turns.sort_by_key(|(turn, _)| *turn);
        turns.into_iter().map(|(_, at)| at).collect()
    }

    /// The same after a search, whose plan is worth `reached`, if it found one; whether there is
    /// anything new.
    pub(super) fn more(
        &mut self,
        judges: &[Judge<'_, '_>],
        problem: &mut FleetProblem,
        weights: &Weights,
        reached: Option<Micros>,
        until: Option<Instant>,
        gauge: &Gauge,
    ) -> Result<bool, Stopped> {
        if self.is_whole || self.sketches.is_empty() {
            return Ok(false);
        }
        // A third of the time that is left, so that what is judged is searched too.
        let now = Instant::now();
        let enough = until.map(|until| now + until.saturating_duration_since(now) / 3);
        let some = MORE;
        let (spent, _) = self.round(judges, problem, weights, some, reached, enough, gauge)?;
        self.is_whole = !self.is_cut && self.judged.iter().all(|is_judged| *is_judged);
        gauge.judged_in_part(self.rest(problem, weights, reached, gauge));
        Ok(spent > 0)
    }

    /// Adds what was judged to the problem of its trip.
    fn add(&mut self, problem: &mut FleetProblem, weights: &Weights, judged: Vec<(usize, Judged)>) {
        let mut by_trip: Vec<Judged> = problem.trips.iter().map(|_| Vec::new()).collect();
        judged.into_iter().for_each(|(trip, candidates)| by_trip[trip].extend(candidates));
        for ((trip, at), mut new) in problem.trips.iter_mut().zip(&mut self.at).zip(by_trip) {
            let problem = &mut trip.problem;
            let known = std::mem::take(&mut problem.candidates);
            let is_many = known.len() + new.len() >= MANY;
            if is_many {
                // What covers another one is of the same rod and reel, and was judged with it.
                let (mut places, candidates): (Vec<_>, Vec<_>) = new.into_iter().unzip();
                problem.candidates = candidates;
                let mut kept = slim(problem, weights).into_iter();
                places.retain(|_| kept.next().unwrap_or(true));
                new = places.into_iter().zip(std::mem::take(&mut problem.candidates)).collect();
            }
            let mut all: Judged = std::mem::take(at).into_iter().zip(known).chain(new).collect();
            all.sort_unstable_by_key(|(at, _)| *at);
            (*at, problem.candidates) = all.into_iter().unzip();
        }
    }

    /// Bounds by sketch the plans that take it, until a moment.
    fn bound(
        &mut self,
        problem: &FleetProblem,
        weights: &Weights,
        reached: Option<Micros>,
        until: Option<Instant>,
    ) {
        let is_over = || until.is_some_and(|until| Instant::now() >= until);
        let ask = |_: &Progress| match is_over() {
            true => ControlFlow::Break(()),
            false => ControlFlow::Continue(None),
        };
        let most = sketch::at_most(problem, &self.sketches, weights, reached, &ask);
        // Sketches only ever promise less: what bounded them bounds them.
        self.most.iter_mut().zip(most).for_each(|(known, now)| *known = now.min(*known));
    }

    /// What no plan is worth more than that takes what was not judged, where a known plan is worth
    /// `reached`; `None`: nobody knows.
    pub(super) fn rest(
        &mut self,
        problem: &FleetProblem,
        weights: &Weights,
        reached: Option<Micros>,
        gauge: &Gauge,
    ) -> Option<Micros> {
        if self.sketches.is_empty() {
            return None;
        }
        self.bound(problem, weights, reached, gauge.share(BOUND_SHARE));
        let open = self.judged.iter().zip(&self.most).filter(|(is_judged, _)| !**is_judged);
        Some(open.map(|(_, most)| *most).max().unwrap_or(Micros::MIN))
    }
}
