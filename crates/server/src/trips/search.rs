//! The planner, called so that a deadline ends it with the best plan so far.

use std::cell::OnceCell;
use std::ops::ControlFlow;

use deepbend_planner::rewrite::Decisions;
use deepbend_planner::{
    Budget, Decided, FleetAnswer, FleetProblem, Go, ProblemFaults, Progress, Weights, check_fleet,
    decide_fleet, plan_fleet_from,
};
use tokio::time::{Duration, Instant};

use super::gauge::{Gauge, Stopped};

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

/// How much a search may do, and when it is to end.
#[derive(Clone, Copy, Debug)]
pub(super) struct Effort {
    pub(super) nodes: u64,
    /// Nodes of searches before.
    pub(super) spent: u64,
    pub(super) until: Option<Instant>,
    /// By when what it finds must have been written.
    pub(super) deadline: Option<Instant>,
}

/// How many times as long as to set a search up it takes to write what it found. Measured: 5.5 over
/// 300 rods and 200 reels for three boats, less where there are fewer.
const WRITES: u32 = 6;

/// The same for what lies between a decision and the search that writes it, which is set up anew.
const AGAIN: u32 = 2;

impl Effort {
    fn budget(self) -> Budget {
        Budget { nodes: self.nodes, ..Budget::default() }
    }

    /// How the search, which begins now, asks whether it is to go on. How long it takes until it asks
    /// first tells how busy the machine is, and so how much time the writing needs.
    fn ask(self, writes: u32, gauge: &Gauge) -> impl Fn(&Progress) -> Go {
        let (begun, set_up) = (Instant::now(), OnceCell::new());
        move |now| {
            gauge.search(now);
            let writing = *set_up.get_or_init(|| begun.elapsed() * writes);
            let search = self.until.map(left);
            let whole = self.deadline.map(|deadline| left(deadline).saturating_sub(writing));
            let left = search.into_iter().chain(whole).min();
            let end = gauge.stopped().is_some() || left.is_some_and(|left| left.is_zero());
            if end { ControlFlow::Break(()) } else { ControlFlow::Continue(left) }
        }
    }
}

/// Searches from what is known without writing a plan.
pub(super) fn decide(
    problem: &FleetProblem,
    weights: &Weights,
    effort: Effort,
    known: &[Decisions],
    gauge: &Gauge,
) -> Result<Option<Decided>, NoAnswer> {
    let ask = effort.ask(WRITES + AGAIN, gauge);
    let decided = decide_fleet(problem, weights, &effort.budget(), known, &ask);
    gauge.wanted().map_err(NoAnswer::Stopped)?;
    decided.map_err(NoAnswer::Faults)
}

/// Searches from what is known, and has the checker look the plan over.
pub(super) fn search(
    problem: &FleetProblem,
    weights: &Weights,
    effort: Effort,
    known: &[Decisions],
    gauge: &Gauge,
) -> Result<Found, NoAnswer> {
    let ask = effort.ask(WRITES, gauge);
    let mut answer = plan_fleet_from(problem, weights, &effort.budget(), known, &ask)
        .map_err(NoAnswer::Faults)?;
    gauge.wanted().map_err(NoAnswer::Stopped)?;
    settle(&mut answer, effort.spent);
    let made = match &answer {
        FleetAnswer::Plan(plan) => Some((problem, &**plan)),
        FleetAnswer::Infeasible(no) => no.best.as_ref().map(|best| (&best.problem, &best.plan)),
        FleetAnswer::NotFound { best, .. } => best.as_ref().map(|best| (&best.problem, &best.plan)),
    };
    if let Some((problem, plan)) = made {
        check_fleet(problem, weights, plan).map_err(|broken| {
            let texts = broken.into_iter().map(|v| format!("{:?}: {}", v.rule, v.text));
            NoAnswer::Violations(texts.collect())
        })?;
    }
    let cut = was_cut(&answer);
    Ok(Found { answer, cut })
}

/// A boat alone is the whole fleet: its plan is known to be as good as the fleet's.
fn settle(answer: &mut FleetAnswer, spent: u64) {
    let fleet = match answer {
        FleetAnswer::Plan(fleet) => &mut **fleet,
        FleetAnswer::Infeasible(no) => match &mut no.best {
            Some(best) => &mut best.plan,
            None => return,
        },
        FleetAnswer::NotFound { best, .. } => match best {
            Some(best) => &mut best.plan,
            None => return,
        },
    };
    fleet.nodes += spent;
    let (status, bound, nodes, cut) = (fleet.status, fleet.bound, fleet.nodes, fleet.cut);
    if let [only] = fleet.trips.as_mut_slice() {
        only.status = status;
        only.bound = bound;
        only.cut = cut;
        only.counts.nodes = nodes;
    }
}

/// When the search must end so that the plan can still be written: a quarter of what is left before
/// the deadline, but of long times no more than a tenth.
pub(super) fn end(deadline: Instant) -> Instant {
    let left = left(deadline);
    let writing = (left / 4).min(WRITING.max(left / 10));
    deadline.checked_sub(writing).unwrap_or(deadline)
}

/// Time in which plans are written even where there is much to choose from. Measured: 300 rods, 200
/// reels and three boats take half of it.
const WRITING: Duration = Duration::from_millis(3_500);

fn left(until: Instant) -> Duration {
    until.saturating_duration_since(Instant::now())
}

fn was_cut(answer: &FleetAnswer) -> bool {
    match answer {
        FleetAnswer::Plan(plan) => plan.cut,
        FleetAnswer::Infeasible(no) => no.best.as_ref().is_some_and(|best| best.plan.cut),
        FleetAnswer::NotFound { cut, .. } => *cut,
    }
}

#[cfg(test)]
mod tests {
    use std::ops::ControlFlow;

    use deepbend_contract::pb;
    use deepbend_planner::Progress;
    use tokio::sync::watch;
    use tokio::time::{Duration, Instant, advance};
    use tokio_util::sync::CancellationToken;

    use super::{Effort, Gauge, WRITES};

    // Source: arithmetic: who took a second to set up needs six to write, and has ten in all.
    #[tokio::test(start_paused = true)]
    async fn where_setting_up_takes_long_there_is_time_to_write() {
        let (now, _) = watch::channel(pb::PlanProgress::default());
        let gauge = Gauge::new(None, CancellationToken::new(), now);
        let deadline = Some(Instant::now() + Duration::from_secs(10));
        let effort = Effort { nodes: 1, spent: 0, until: deadline, deadline };
        let ask = effort.ask(WRITES, &gauge);
        for (seconds, is_over) in [(1, false), (2, false), (1, true)] {
            advance(Duration::from_secs(seconds)).await;
            let asked = ask(&Progress::default());
            assert_eq!(asked == ControlFlow::Break(()), is_over);
        }
    }
}
