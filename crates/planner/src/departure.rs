//! The time before departure: what is done in it, and by when what is brought must have arrived.

use crate::plan::{ItemKind, Job, JobKind, Move, TripPlan};
use crate::problem::TripProblem;
use crate::rigging::rigs;

/// What is moved must have arrived so many minutes before the boat that it comes from departs, and
/// before anything is done with it on the boat that it goes to. Common practice, no source.
pub const HAND_OVER_MINUTES: u32 = 20;

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

/// Minutes of the jobs before departure that cannot be done without a thing: of a rod, a reel or a
/// line those of each outfit that it is part of, of a leader the tying of it.
#[must_use]
pub fn minutes_with(problem: &TripProblem, plan: &TripPlan, kind: ItemKind, id: &str) -> u32 {
    let needs = |job: &&Job| {
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
    };
    let jobs = plan.jobs.iter().filter(needs).filter(|job| is_at_home(problem, plan, job));
    jobs.map(|job| job.minutes).sum()
}

/// Minute of the day by which a thing must have arrived: before the jobs that need it, and before
/// the boat that it comes from departs. `to` and `from` are when the two boats depart, none where
/// nobody said.
#[must_use]
pub fn arrival(
    problem: &TripProblem,
    plan: &TripPlan,
    what: &Move,
    to: Option<u32>,
    from: Option<u32>,
) -> Option<u32> {
    let takes = minutes_with(problem, plan, what.kind, &what.id);
    let begins = to.map(|departs| departs.saturating_sub(takes));
    let first = begins.into_iter().chain(from).min();
    first.map(|minute| minute.saturating_sub(HAND_OVER_MINUTES))
}
