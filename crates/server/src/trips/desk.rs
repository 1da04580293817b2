//! Where a plan is made: tables for each boat, the search over all of them, the answer.

use std::collections::BTreeMap;

use deepbend_contract::{ToWire as _, pb};
use deepbend_core::model::Model;
use deepbend_ledger::item::Item;
use deepbend_ledger::view::View;
use deepbend_planner::fleet::FleetTrip;
use deepbend_planner::{FleetAnswer, FleetPlan, FleetProblem, Weights};
use tokio::time::Instant;
use tonic::Status;

use super::answer::{self, Deadlines, NoPlan, Writer, write_clash};
use super::ask::{Asked, Terms};
use super::gauge::Gauge;
use super::offers::{self, Judge};
use super::pool::{self, Pool};
use super::search::{self, NoAnswer};
use super::{sighted, stopped};
use crate::error::ServiceError;

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

/// What was found for all boats, with what it was made from.
pub(super) struct Made<'m, 'v> {
    pub(super) writers: Vec<Writer<'m, 'v>>,
    pub(super) found: Result<Box<FleetPlan>, NoPlan>,
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

    /// Whether there is time for another search that takes about as long as one since `begun`.
    pub(super) fn has_time(&self, begun: Instant) -> bool {
        let left = |until: Instant| until.saturating_duration_since(Instant::now());
        self.gauge.stopped().is_none()
            && self.until.is_none_or(|until| left(until) > begun.elapsed())
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
        let pools: Vec<Pool<'_>> = trips
            .iter()
            .map(|asked| Pool::gather(self.model, self.view, asked, &|item| reach(asked, item)))
            .collect();
        let cases: Vec<_> =
            trips.iter().zip(&pools).map(|(asked, pool)| offers::cases(asked, pool)).collect();
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
        let mut problem = FleetProblem { trips: Vec::new() };
        let rods = judges.iter().map(|judge| judge.pool.rods.len()).sum();
        self.gauge.begin(pb::PlanStage::Judging, rods);
        for judge in &judges {
            let mut trip = judge.pool.problem(judge.asked);
            trip.candidates = judge.candidates(self.gauge).map_err(stopped)?;
            problem.trips.push(FleetTrip { departs: judge.asked.trip.departs(), problem: trip });
        }
        self.gauge.begin(pb::PlanStage::Searching, 0);
        let found = search::search(&problem, &self.weights, self.nodes, self.until, self.gauge);
        let found = found.map_err(no_answer)?;
        let reproducible = !found.cut;
        let found = match found.answer {
            FleetAnswer::Plan(plan) => Ok(plan),
            FleetAnswer::Infeasible(clash) => Err(NoPlan::Infeasible(write_clash(clash))),
            FleetAnswer::NotFound { bound, .. } => Err(NoPlan::NotFound(bound)),
        };
        let departures = trips.iter().filter_map(|asked| {
            let minute = asked.trip.departs()?;
            Some((asked.trip.boat.clone(), minute))
        });
        let deadlines = Deadlines(departures.collect::<BTreeMap<_, _>>());
        let writers = judges
            .iter()
            .zip(&problem.trips)
            .map(|(judge, trip)| Writer {
                judge,
                problem: &trip.problem,
                view: self.view,
                deadlines: &deadlines,
            })
            .collect();
        then(&Made { writers, found, reproducible })
    }

    /// One boat's plan.
    pub(super) fn trip(&self, trips: &[Asked]) -> Result<pb::Plan, Status> {
        let fleet = self.fleet(trips)?;
        let mut plan = fleet.plans.into_iter().next().ok_or(ServiceError::Internal)?;
        plan.if_sighted = fleet.if_sighted;
        plan.model = fleet.model;
        Ok(plan)
    }

    /// All boats' plans.
    pub(super) fn fleet(&self, trips: &[Asked]) -> Result<pb::FleetPlan, Status> {
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
        wire.model = Some(self.model.id().to_wire());
        Ok(wire)
    }

    fn write(&self, made: &Made<'_, '_>) -> Result<pb::FleetPlan, Status> {
        let mut wire =
            pb::FleetPlan { reproducible: made.reproducible, ..pb::FleetPlan::default() };
        let plan = match &made.found {
            Ok(plan) => plan,
            Err(why) => {
                let plans = made.writers.iter().map(|w| w.no_plan(why, made.reproducible));
                wire.plans = plans.collect();
                match why {
                    NoPlan::Infeasible(clash) => {
                        wire.status = pb::PlanStatus::Infeasible.into();
                        wire.clash = Some(clash.clone());
                    }
                    NoPlan::NotFound(bound) => {
                        wire.status = pb::PlanStatus::NotFound.into();
                        wire.bound_micros = Some(*bound);
                    }
                }
                return Ok(wire);
            }
        };
        wire.status = answer::status(plan.status).into();
        wire.value = Some(answer::value(&plan.value));
        wire.bound_micros = Some(plan.bound);
        wire.gap = Some(plan.gap());
        wire.node_count = i64::try_from(plan.nodes).unwrap_or(i64::MAX);
        self.gauge.begin(pb::PlanStage::Writing, plan.trips.len());
        for (writer, trip) in made.writers.iter().zip(&plan.trips) {
            let plan = writer.plan(trip, made.reproducible, self.gauge).map_err(stopped)?;
            wire.plans.push(plan);
            self.gauge.step(pb::PlanStage::Writing);
        }
        Ok(wire)
    }
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
