//! Where a plan is made: tables for each boat, the search over all of them, the answer.

use std::collections::BTreeMap;
use std::thread;

use deepbend_contract::{ToWire as _, pb};
use deepbend_core::model::Model;
use deepbend_ledger::item::Item;
use deepbend_ledger::view::View;
use deepbend_planner::fleet::{FleetTrip, Infeasible, LeftOut};
use deepbend_planner::problem::Need;
use deepbend_planner::rewrite::Decisions;
use deepbend_planner::weights::{Micros, ONE};
use deepbend_planner::{
    FleetAnswer, FleetPlan, FleetProblem, Status as Proof, TripProblem, Weights,
};
use tokio::time::Instant;
use tonic::Status;

use super::answer::{self, Deadlines, Writer};
use super::ask::{Asked, Terms};
use super::basis;
use super::case;
use super::clash::{self, write_clash};
use super::draft;
use super::gauge::Gauge;
use super::judging::{self, Judging};
use super::offers::Judge;
use super::pool::{self, Pool};
use super::search::{self, Effort, NoAnswer};
use super::{sighted, stopped};
use crate::error::ServiceError;

/// Turns of searching and judging more, and the nodes of the first: where little is judged, judging more
/// is worth more than searching on.
const TURNS: usize = 24;
const FIRST_TURN: u64 = 10;
/// How many times as many nodes each other turn but the last has.
const MORE_NODES: u64 = 4;

/// Everything that work on one request needs.
pub(super) struct Desk<'d> {
    pub(super) view: &'d View,
    pub(super) model: &'d Model,
    pub(super) weights: Weights,
    nodes: u64,
    pub(super) summary: bool,
    until: Option<Instant>,
    pub(super) gauge: &'d Gauge,
}

/// What the search found.
#[derive(Debug)]
pub(super) enum Found {
    /// A plan that keeps all limits.
    Plan(FleetPlan),
    /// Limits clash; the best plan that leaves out the fewest of them.
    Infeasible(pb::PlanClash, Option<Box<LeftOut>>),
    /// The work ended first, with this bound; the best plan known that leaves out some limits.
    Nothing(Micros, Option<Box<LeftOut>>),
}

impl Found {
    /// The plan, whatever it leaves out.
    pub(super) fn plan(&self) -> Option<&FleetPlan> {
        match self {
            Self::Plan(plan) => Some(plan),
            Self::Infeasible(_, best) | Self::Nothing(_, best) => {
                best.as_ref().map(|best| &best.plan)
            }
        }
    }
}

/// What is known before the search whose plan is written.
#[derive(Debug)]
struct Ahead {
    /// By trip, what was decided; empty: nothing.
    known: Vec<Decisions>,
    /// Nodes that are left.
    nodes: u64,
    /// What no plan is worth more than, if that is known.
    bound: Option<Micros>,
    /// Whether the time for searching is over: what was decided is only written.
    is_over: bool,
}

/// What was found for all boats, with what it was made from.
pub(super) struct Made<'m, 'v> {
    pub(super) writers: Vec<Writer<'m, 'v>>,
    pub(super) found: Found,
    pub(super) reproducible: bool,
}

impl<'d> Desk<'d> {
    /// A desk for one request.
    pub(super) fn new(
        view: &'d View,
        model: &'d Model,
        terms: &Terms,
        deadline: Option<Instant>,
        gauge: &'d Gauge,
    ) -> Self {
        Self {
            view,
            model,
            weights: Weights::default(),
            nodes: terms.nodes,
            summary: terms.summary,
            until: deadline.map(search::end),
            gauge,
        }
    }

    /// Whether there is time for so many more searches that each take about as long as what was done
    /// since `begun`.
    pub(super) fn has_time(&self, searches: u32, begun: Instant) -> bool {
        let left = |until: Instant| until.saturating_duration_since(Instant::now());
        self.gauge.stopped().is_none()
            && self.until.is_none_or(|until| left(until) > begun.elapsed() * searches)
    }

    /// The same desk over another state of the inventory.
    pub(super) fn over<'o>(&'o self, view: &'o View) -> Desk<'o> {
        Desk { view, weights: self.weights.clone(), ..*self }
    }

    /// Plans the trips over what `reach` finds, and hands everything to `then`.
    pub(super) fn make<T>(
        &self,
        trips: &[Asked],
        reach: &dyn Fn(&Asked, &Item) -> Option<String>,
        then: &mut dyn FnMut(&Made<'_, '_>) -> Result<T, Status>,
    ) -> Result<T, Status> {
        let begun = Instant::now();
        let pools: Vec<Pool<'_>> = trips
            .iter()
            .map(|asked| Pool::gather(self.model, self.view, asked, &|item| reach(asked, item)))
            .collect();
        let cases: Vec<_> =
            trips.iter().zip(&pools).map(|(asked, pool)| case::cases(asked, pool)).collect();
        let tables = trips.iter().zip(&pools).zip(&cases);
        let judges: Vec<Judge<'_, '_>> = tables
            .map(|((asked, pool), cases)| Judge {
                model: self.model,
                weights: &self.weights,
                asked,
                pool,
                cases,
            })
            .collect();
        let trip = |judge: &Judge<'_, '_>| FleetTrip {
            departs: judge.asked.trip.departs(),
            problem: judge.pool.problem(judge.asked),
        };
        let mut problem = FleetProblem { trips: judges.iter().map(trip).collect() };
        let judging =
            judging::judge(&judges, &mut problem, &self.weights, judging::WHOLE, self.gauge);
        let mut judging = judging.map_err(stopped)?;
        self.gauge.begin(pb::PlanStage::Searching, 0);
        let ahead = self.judged_on(&judges, &mut problem, &mut judging, begun)?;
        let is_whole = judging.is_whole;
        let (spent, deadline) = (self.nodes - ahead.nodes, self.gauge.deadline());
        let until = if ahead.is_over { Some(Instant::now()) } else { self.until };
        let effort = Effort { nodes: ahead.nodes, spent, until, deadline };
        let found = search::search(&problem, &self.weights, effort, &ahead.known, self.gauge);
        let found = found.map_err(no_answer)?;
        let reproducible = !found.cut && !judging.is_cut;
        let most = |trip: &FleetTrip| at_best(&trip.problem, &self.weights);
        let all: Micros = problem.trips.iter().map(most).sum();
        let known = ahead.bound.map_or(all, |bound| bound.min(all));
        let found = match found.answer {
            FleetAnswer::Plan(mut plan) if is_whole => {
                bound(&mut plan, known);
                Found::Plan(*plan)
            }
            // What was not judged could be better, as far as anything is known of it.
            FleetAnswer::Plan(mut plan) => {
                let reached = plan.value.objective();
                // Of what was only written the bound is known.
                let rest = match ahead.is_over {
                    true => None,
                    false => judging.rest(&problem, &self.weights, Some(reached), self.gauge),
                };
                plan.bound = plan.bound.max(rest.unwrap_or(all));
                for (plan, trip) in plan.trips.iter_mut().zip(&problem.trips) {
                    (plan.status, plan.bound) = (Proof::Feasible, most(trip));
                }
                bound(&mut plan, known);
                Found::Plan(*plan)
            }
            // With what was not judged it may be less that is left out.
            FleetAnswer::Infeasible(no) if !is_whole => {
                let best = no.best.map(|best| Box::new(LeftOut { is_least: false, ..best }));
                Found::Nothing(all, best)
            }
            FleetAnswer::Infeasible(no) => {
                let Infeasible { clash, best } = *no;
                Found::Infeasible(write_clash(clash), best.map(Box::new))
            }
            FleetAnswer::NotFound { bound, best, .. } if is_whole => {
                Found::Nothing(bound.min(all), best)
            }
            FleetAnswer::NotFound { bound, best, .. } => {
                let rest = judging.rest(&problem, &self.weights, None, self.gauge);
                Found::Nothing(bound.max(rest.unwrap_or(all)).min(all), best)
            }
        };
        let departures = trips.iter().filter_map(|asked| {
            let minute = asked.trip.departs()?;
            Some((asked.trip.boat.clone(), minute))
        });
        let deadlines = Deadlines(departures.collect::<BTreeMap<_, _>>());
        // What a plan leaves out is not asked of it.
        let problem = match &found {
            Found::Infeasible(_, Some(best)) | Found::Nothing(_, Some(best)) => {
                best.problem.clone()
            }
            Found::Plan(_) | Found::Infeasible(..) | Found::Nothing(..) => problem,
        };
        let shares = found.plan().map(|plan| plan.shares.clone()).unwrap_or_default();
        let share = |t: usize| shares.get(t).cloned().unwrap_or_default();
        let writers = judges
            .iter()
            .zip(&problem.trips)
            .enumerate()
            .map(|(t, (judge, trip))| Writer {
                judge,
                problem: &trip.problem,
                view: self.view,
                deadlines: &deadlines,
                basis: basis::write(self.view, judge.asked, trips, &share(t)),
                is_whole,
            })
            .collect();
        let written = then(&Made { writers, found, reproducible });
        // To give back a hundred thousand outfits takes time that an answer need not wait for.
        thread::spawn(move || drop(problem));
        written
    }

    /// Where not all was judged: plans with what is judged, and judges more of what could be better
    /// than that plan, in turn.
    fn judged_on(
        &self,
        judges: &[Judge<'_, '_>],
        problem: &mut FleetProblem,
        judging: &mut Judging<'_>,
        begun: Instant,
    ) -> Result<Ahead, Status> {
        let mut ahead = Ahead { known: Vec::new(), nodes: self.nodes, bound: None, is_over: false };
        // Who has no time for two searches gets the more of one.
        if !self.has_time(2, begun) {
            return Ok(ahead);
        }
        let mut turn = FIRST_TURN;
        for _ in 0..TURNS {
            if judging.is_whole || ahead.nodes == 0 {
                break;
            }
            let nodes = ahead.nodes.min(turn);
            let (until, deadline) = (self.until, self.gauge.deadline());
            let effort = Effort { nodes, spent: 0, until, deadline };
            turn = turn.saturating_mul(MORE_NODES);
            let weights = &self.weights;
            let decided = search::decide(problem, weights, effort, &ahead.known, self.gauge);
            let Some(decided) = decided.map_err(no_answer)? else {
                // What seats everybody may be among those that were not judged.
                let more = judging.more(judges, problem, weights, None, self.until, self.gauge);
                if more.map_err(stopped)? { continue } else { break }
            };
            ahead.nodes -= decided.nodes.min(ahead.nodes);
            let rest = judging.rest(problem, weights, Some(decided.worth), self.gauge);
            if let Some(rest) = rest {
                let bound = decided.bound.max(rest);
                ahead.bound = Some(ahead.bound.map_or(bound, |known| known.min(bound)));
            }
            ahead.known = decided.decisions;
            if decided.cut {
                ahead.is_over = true;
                break;
            }
            let reached = Some(decided.worth);
            let more = judging.more(judges, problem, weights, reached, self.until, self.gauge);
            if !more.map_err(stopped)? {
                break;
            }
        }
        Ok(ahead)
    }

    /// One boat's plan.
    pub(super) fn trip(&self, trips: &[Asked]) -> Result<pb::Plan, Status> {
        let fleet = self.fleet(trips)?;
        let mut plan = fleet.plans.into_iter().next().ok_or(ServiceError::Internal)?;
        plan.if_sighted = fleet.if_sighted;
        Ok(plan)
    }

    /// All boats' plans, in the order of the trips, which settles nothing else.
    pub(super) fn fleet(&self, trips: &[Asked]) -> Result<pb::FleetPlan, Status> {
        let mut by_boat = trips.to_vec();
        by_boat.sort_by(|a, b| a.trip.boat.cmp(&b.trip.boat));
        let mut wire = self.fleet_by_boat(&by_boat)?;
        let place = |plan: &pb::Plan| trips.iter().position(|t| t.trip.boat == plan.boat_id);
        wire.plans.sort_by_key(place);
        Ok(wire)
    }

    fn fleet_by_boat(&self, trips: &[Asked]) -> Result<pb::FleetPlan, Status> {
        let begun = Instant::now();
        let reach = |asked: &Asked, item: &Item| match &asked.aboard {
            Some(aboard) => pool::aboard(asked, aboard, item),
            None => pool::in_pool(self.view, asked, item),
        };
        let mut wire = self.make(trips, &reach, &mut |made| self.write(made))?;
        let certain = trips.iter().all(|asked| asked.aboard.is_none());
        if !self.summary && certain && wire.value.is_some() {
            wire.if_sighted = sighted::list(self, trips, &wire, begun)?;
        }
        let model = self.model.id().to_wire();
        wire.plans.iter_mut().for_each(|plan| plan.model = Some(model.clone()));
        wire.model = Some(model);
        Ok(wire)
    }

    fn write(&self, made: &Made<'_, '_>) -> Result<pb::FleetPlan, Status> {
        let mut wire =
            pb::FleetPlan { reproducible: made.reproducible, ..pb::FleetPlan::default() };
        let Some(plan) = made.found.plan() else {
            let none = |writer: &Writer<'_, '_>| writer.no_plan(made.reproducible);
            wire.plans = made.writers.iter().map(none).collect();
            self.qualify(&made.found, &mut wire);
            return Ok(wire);
        };
        wire.status = answer::status(plan.status).into();
        wire.value = Some(answer::value(&plan.value));
        wire.bound_micros = Some(plan.bound);
        wire.gap = Some(plan.gap());
        wire.node_count = i64::try_from(plan.nodes).unwrap_or(i64::MAX);
        let plans = draft::plans(&made.writers, &plan.trips, made.reproducible, self.gauge);
        wire.plans = plans.map_err(stopped)?;
        self.qualify(&made.found, &mut wire);
        Ok(wire)
    }

    /// Says of plans that not all limits are kept, or that there is none.
    fn qualify(&self, found: &Found, wire: &mut pb::FleetPlan) {
        let (status, bound) = match found {
            Found::Plan(_) => return,
            Found::Infeasible(..) => (pb::PlanStatus::Infeasible, None),
            Found::Nothing(bound, _) => (pb::PlanStatus::NotFound, Some(*bound)),
        };
        (wire.status, wire.bound_micros, wire.gap) = (status.into(), bound, None);
        for plan in &mut wire.plans {
            (plan.status, plan.bound_micros, plan.gap) = (status.into(), bound, None);
        }
        let (clash, best) = match found {
            Found::Plan(_) => return,
            Found::Infeasible(clash, best) => (Some(clash), best),
            Found::Nothing(_, best) => (None, best),
        };
        wire.clash = clash.cloned();
        wire.given_up = best.as_ref().map(|best| clash::given_up(best, None));
        for (t, plan) in wire.plans.iter_mut().enumerate() {
            plan.clash = clash.cloned();
            plan.given_up = best.as_ref().map(|best| clash::given_up(best, Some(t)));
        }
    }
}

/// Tightens the bound of a plan to what is known beside the search, which may prove it; what is known
/// of a boat alone is what is known of its fleet.
fn bound(plan: &mut FleetPlan, known: Micros) {
    let reached = plan.value.objective();
    plan.bound = plan.bound.min(known).max(reached);
    plan.status = if plan.bound == reached { Proof::Optimal } else { Proof::Feasible };
    let (status, bound) = (plan.status, plan.bound);
    if let [only] = plan.trips.as_mut_slice() {
        (only.status, only.bound) = (status, bound);
    }
}

/// What all needs would be worth, each with excellent outfits.
pub(super) fn at_best(problem: &TripProblem, weights: &Weights) -> Micros {
    let of = |need: &Need| -> Micros {
        let shares = weights.shares(need.copies_at_once).into_iter();
        shares.map(|share| weights.term(need.importance, share, ONE)).sum()
    };
    problem.needs.iter().map(of).sum()
}

fn no_answer(none: NoAnswer) -> Status {
    match none {
        NoAnswer::Stopped(why) => stopped(why),
        NoAnswer::Faults(faults) => {
            tracing::error!(%faults, "a good request became a bad problem");
            ServiceError::Internal.into()
        }
        NoAnswer::Violations(violations) => {
            tracing::error!(?violations, "a plan breaks the rules");
            ServiceError::Internal.into()
        }
    }
}
