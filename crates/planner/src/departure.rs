//! The time before departure: which jobs wait for a later segment, and by when what is brought must
//! have arrived.

use crate::plan::{ItemKind, Job, JobKind, Move, Role, TripPlan, Use};
use crate::problem::TripProblem;

/// What is moved must have arrived so many minutes before the boat that it comes from departs, and
/// before anything is done with it on the boat that it goes to. Common practice, no source.
pub const HAND_OVER_MINUTES: u32 = 20;

/// A job that is done when a later segment begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Waits<'p> {
    /// Position of the segment.
    pub segment: usize,
    /// The leader that is taken off for it; none: until then the outfit has none.
    pub before: Option<&'p str>,
}

/// What a job waits for; none: it is done before departure.
#[must_use]
pub fn waits<'p>(problem: &TripProblem, plan: &'p TripPlan, job: &Job) -> Option<Waits<'p>> {
    match job.kind {
        JobKind::Respool => None,
        JobKind::Leader => {
            let order = in_order(problem, plan, job.outfit);
            let at = order.iter().position(|(_, leader)| *leader == job.with)?;
            let segment = order[at].0;
            match at.checked_sub(1) {
                Some(last) => Some(Waits { segment, before: Some(order[last].1) }),
                None => bare_before(problem, plan, job.outfit, segment)
                    .then_some(Waits { segment, before: None }),
            }
        }
    }
}

/// The leaders of an outfit in the order in which it carries them, each with the segment from which
/// it fishes with it; what only backs others up comes after what fishes.
fn in_order<'p>(problem: &TripProblem, plan: &'p TripPlan, outfit: usize) -> Vec<(usize, &'p str)> {
    let segments = &problem.segments;
    let first = |leader: &str, fishes: bool| {
        let uses = plan.coverage.iter().filter(|cover| {
            let mut uses = cover.uses.iter().filter(|u| u.outfit == outfit);
            uses.any(|u| u.leader.as_deref() == Some(leader) && (!fishes || u.role == Role::Fishes))
        });
        uses.filter_map(|cover| segments.iter().position(|s| s.id == cover.segment)).min()
    };
    let order = |leader: &'p str| match first(leader, true) {
        Some(segment) => (segment, false, leader),
        None => (first(leader, false).unwrap_or(segments.len().saturating_sub(1)), true, leader),
    };
    let leaders = plan.outfits[outfit].leaders.iter();
    let mut list: Vec<_> = leaders.map(|leader| order(leader)).collect();
    list.sort_unstable();
    list.into_iter().map(|(segment, _, leader)| (segment, leader)).collect()
}

/// Whether an outfit fishes without a leader in a segment before this one.
fn bare_before(problem: &TripProblem, plan: &TripPlan, outfit: usize, segment: usize) -> bool {
    let before = |id: &String| problem.segments[..segment].iter().any(|s| s.id == *id);
    let bare =
        |used: &Use| used.outfit == outfit && used.role == Role::Fishes && used.leader.is_none();
    let mut covers = plan.coverage.iter().filter(|cover| before(&cover.segment));
    covers.any(|cover| cover.uses.iter().any(bare))
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
    let jobs = plan.jobs.iter().filter(needs).filter(|job| waits(problem, plan, job).is_none());
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
