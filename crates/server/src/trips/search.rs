//! The planner, called so that a deadline ends it with the best plan so far.

use deepbend_planner::{
    Budget, FleetAnswer, FleetProblem, ProblemFaults, Status, Weights, check_fleet,
    plan_fleet_until,
};
use tokio::time::{Duration, Instant};

use super::Stopped;

/// Nodes of the first stage; each further one has [`GROWTH`] times as many, up to the budget.
const FIRST: u64 = 256;
const GROWTH: u64 = 4;

/// What the search found.
#[derive(Debug)]
pub(super) struct Found {
    pub(super) answer: FleetAnswer,
    /// Whether the wall clock ended it before the budget did.
    pub(super) cut: bool,
}

/// Why there is no answer.
#[derive(Debug)]
pub(super) enum NoAnswer {
    /// The caller or the clock ended the call.
    Stopped(Stopped),
    /// The problem, made from a good request, has faults: a defect of the service.
    Faults(ProblemFaults),
    /// A plan breaks a rule: a defect of the planner.
    Violations(Vec<String>),
}

/// Searches in stages. A stage that proves its plan, or the last one, is what a single search with
/// the whole budget would have found; the next one is begun only if there is time for it.
pub(super) fn search(
    problem: &FleetProblem,
    weights: &Weights,
    nodes: u64,
    until: Option<Instant>,
    stop: &dyn Fn() -> Option<Stopped>,
) -> Result<Found, NoAnswer> {
    let mut budget = nodes.min(FIRST);
    loop {
        let begun = Instant::now();
        let cap = until.map(left);
        let effort = Budget { nodes: budget, cap, ..Budget::default() };
        let end = || stop().is_some() || until.is_some_and(|until| left(until).is_zero());
        let mut answer =
            plan_fleet_until(problem, weights, &effort, &end).map_err(NoAnswer::Faults)?;
        if let Some(stopped) = stop() {
            return Err(NoAnswer::Stopped(stopped));
        }
        settle(&mut answer);
        let last = budget >= nodes || is_final(&answer);
        let longer = begun.elapsed().saturating_mul(GROWTH as u32);
        let late = !last && until.is_some_and(|until| left(until) < longer);
        let cut = late || was_cut(&answer);
        if last || cut {
            if let FleetAnswer::Plan(plan) = &answer {
                check_fleet(problem, weights, plan).map_err(|broken| {
                    let texts = broken.into_iter().map(|v| format!("{:?}: {}", v.rule, v.text));
                    NoAnswer::Violations(texts.collect())
                })?;
            }
            return Ok(Found { answer, cut });
        }
        budget = budget.saturating_mul(GROWTH).min(nodes);
    }
}

/// A boat alone is the whole fleet: its plan is known to be as good as the fleet's.
fn settle(answer: &mut FleetAnswer) {
    let FleetAnswer::Plan(fleet) = answer else { return };
    let (status, bound, nodes, cut) = (fleet.status, fleet.bound, fleet.nodes, fleet.cut);
    if let [only] = fleet.trips.as_mut_slice() {
        only.status = status;
        only.bound = bound;
        only.cut = cut;
        only.counts.nodes = nodes;
    }
}

/// When the search must end so that the plan can still be written: a fifth of what is left.
pub(super) fn end(deadline: Instant) -> Instant {
    deadline.checked_sub(left(deadline) / 5).unwrap_or(deadline)
}

fn left(until: Instant) -> Duration {
    until.saturating_duration_since(Instant::now())
}

fn is_final(answer: &FleetAnswer) -> bool {
    match answer {
        FleetAnswer::Plan(plan) => plan.status == Status::Optimal,
        FleetAnswer::Infeasible(_) => true,
        FleetAnswer::NotFound { .. } => false,
    }
}

fn was_cut(answer: &FleetAnswer) -> bool {
    match answer {
        FleetAnswer::Plan(plan) => plan.cut,
        FleetAnswer::Infeasible(_) => false,
        FleetAnswer::NotFound { cut, .. } => *cut,
    }
}
