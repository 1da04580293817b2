//! The time before departure: what is done in it, in which order, and by when what is brought must
//! have arrived.

use crate::plan::{ItemKind, Job, JobKind, Move, TripPlan};
use crate::problem::TripProblem;
use crate::rigging::rigs;

/// What is moved must have arrived so many minutes before the boat that it comes from departs, and
/// before anything is done with it on the boat that it goes to. Common practice, no source.
pub const HAND_OVER_MINUTES: u32 = 20;

/// A job before departure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct HomeJob {
    /// Position in [`TripPlan::jobs`].
    pub job: usize,
    /// It must be begun so many minutes before departure: it takes its own time, and those after it
    /// theirs.
    pub ahead_minutes: u32,
}

/// The jobs of a plan before departure: one pair of hands does them one after the other, and is done
/// as the boat departs. First come the outfits to which nothing has to be brought, and with each of
/// them the line before the leader.
#[derive(Clone, Debug)]
pub struct BeforeDeparture<'p> {
    problem: &'p TripProblem,
    plan: &'p TripPlan,
    jobs: Vec<HomeJob>,
}

impl<'p> BeforeDeparture<'p> {
    /// Puts the jobs of a plan into their order.
    #[must_use]
    pub fn new(problem: &'p TripProblem, plan: &'p TripPlan) -> Self {
        let mut at_home: Vec<usize> = (0..plan.jobs.len()).collect();
        at_home.retain(|job| is_at_home(problem, plan, &plan.jobs[*job]));
        let waits = |outfit: usize| {
            let own = at_home.iter().map(|job| &plan.jobs[*job]);
            let mut own = own.filter(|job| job.outfit == outfit);
            own.any(|job| plan.moves.iter().any(|m| needs(problem, plan, job, m.kind, &m.id)))
        };
        let waits: Vec<bool> = (0..plan.outfits.len()).map(waits).collect();
        at_home.sort_by_key(|job| {
            let job = &plan.jobs[*job];
            (waits[job.outfit], job.outfit, job.kind)
        });
        let mut left: u32 = at_home.iter().map(|job| plan.jobs[*job].minutes).sum();
        let jobs = at_home.into_iter().map(|job| {
            let ahead_minutes = left;
            left -= plan.jobs[job].minutes;
            HomeJob { job, ahead_minutes }
        });
        Self { problem, plan, jobs: jobs.collect() }
    }

    /// The jobs, in the order in which they are done.
    #[must_use]
    pub fn jobs(&self) -> &[HomeJob] {
        &self.jobs
    }

    /// Minutes before departure at which the first job is begun that cannot be done without a thing:
    /// of a rod, a reel or a line each job on an outfit that it is part of, of a leader the tying of
    /// it. 0: no job needs it.
    #[must_use]
    pub fn ahead_minutes(&self, kind: ItemKind, id: &str) -> u32 {
        let plan = self.plan;
        let mut jobs = self.jobs.iter();
        let first = jobs.find(|home| needs(self.problem, plan, &plan.jobs[home.job], kind, id));
        first.map_or(0, |home| home.ahead_minutes)
    }

    /// Minute of the day by which a thing must have arrived, negative on the day before: before the
    /// first job that needs it, and before the boat that it comes from departs. `to` and `from` are
    /// when the two boats depart, none where nobody said.
    #[must_use]
    pub fn arrival(&self, what: &Move, to: Option<u32>, from: Option<u32>) -> Option<i64> {
        let ahead = i64::from(self.ahead_minutes(what.kind, &what.id));
        let begins = to.map(|departs| i64::from(departs) - ahead);
        let first = begins.into_iter().chain(from.map(i64::from)).min();
        first.map(|minute| minute - i64::from(HAND_OVER_MINUTES))
    }
}

/// Whether a job is done before departure: a line is wound then, and of an outfit's leaders the one
/// tied that it fishes with first, if it does not fish without one before.
fn is_at_home(problem: &TripProblem, plan: &TripPlan, job: &Job) -> bool {
    match job.kind {
        JobKind::Respool => true,
        JobKind::Leader => {
            let rigs = rigs(problem, plan, job.outfit, None);
            let first = rigs.first().filter(|rig| !rig.is_kept_ready);
            first.is_some_and(|rig| rig.leader == Some(job.with.as_str()))
        }
    }
}

fn needs(problem: &TripProblem, plan: &TripPlan, job: &Job, kind: ItemKind, id: &str) -> bool {
    let outfit = &plan.outfits[job.outfit];
    match kind {
        ItemKind::Rod => outfit.rod == id,
        ItemKind::Reel => outfit.reel == id,
        ItemKind::Line => {
            let reel = problem.reels.iter().find(|reel| reel.id == outfit.reel);
            let mut lines = reel.iter().flat_map(|reel| &reel.lines);
            let line = lines.find(|line| line.id == outfit.line);
            line.and_then(|line| line.stock.as_ref()).is_some_and(|used| used.stock == id)
        }
        ItemKind::Leader => job.kind == JobKind::Leader && job.with == id,
        ItemKind::Lure => false,
    }
}
