//! What an outfit carries through the day: one leader at a time, or none.

use std::cmp::Reverse;

use crate::plan::{Role, TripPlan};
use crate::problem::TripProblem;

/// What an outfit carries for a while.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Rig<'p> {
    /// Position of the segment in which it carries this.
    pub segment: usize,
    /// The leader; none: the lure is tied to the main line.
    pub leader: Option<&'p str>,
    /// Lures that it fishes so in this segment, what somebody begins with first, then by importance
    /// and id. Of a leader that is kept ready, and of an outfit that fishes nothing, those that it
    /// would take over.
    pub lures: Vec<&'p str>,
    /// Whether the leader is not tied but kept ready, should the outfit have to step in.
    pub is_kept_ready: bool,
}

/// What an outfit of a plan carries, in the order of time, what is kept ready last. In each segment
/// it is first what somebody begins with, then what is on it already, then no leader, then the
/// leaders by their most important lure; each of them once. An outfit that only backs others up
/// carries what the most important lure asks for. `on` is what is on it when the plan begins;
/// `None`: it is rigged for it.
#[must_use]
pub fn rigs<'p>(
    problem: &TripProblem,
    plan: &'p TripPlan,
    outfit: usize,
    on: Option<Option<&str>>,
) -> Vec<Rig<'p>> {
    let uses = uses(problem, plan, outfit);
    let works: Vec<&Used<'_>> = match uses.iter().any(|used| used.role == Role::Fishes) {
        true => uses.iter().filter(|used| used.role == Role::Fishes).collect(),
        false => {
            let backups = || uses.iter().filter(|used| used.role == Role::Backup);
            let first = backups().max_by_key(|u| (u.importance, Reverse((u.segment, u.leader))));
            backups().filter(|used| first.is_some_and(|f| f.leader == used.leader)).collect()
        }
    };
    let mut list: Vec<Rig<'_>> = Vec::new();
    let mut on = on;
    for segment in 0..problem.segments.len() {
        let here: Vec<&Used<'_>> =
            works.iter().copied().filter(|used| used.segment == segment).collect();
        let mut leaders: Vec<Option<&str>> = here.iter().map(|used| used.leader).collect();
        leaders.sort_unstable();
        leaders.dedup();
        leaders.sort_by_cached_key(|leader| {
            let own = || here.iter().filter(|used| used.leader == *leader);
            let importance = own().map(|used| used.importance).max();
            let begins = own().any(|used| used.begins);
            (!begins, on != Some(*leader), leader.is_some(), Reverse(importance))
        });
        for leader in leaders {
            let lures = lures(here.iter().copied().filter(|used| used.leader == leader));
            list.push(Rig { segment, leader, lures, is_kept_ready: false });
            on = Some(leader);
        }
    }
    let tied: Vec<Option<&str>> = list.iter().map(|rig| rig.leader).collect();
    let leaders = plan.outfits[outfit].leaders.iter().map(String::as_str);
    for leader in leaders.filter(|leader| !tied.contains(&Some(*leader))) {
        let own = || uses.iter().filter(|used| used.leader == Some(leader));
        let last = problem.segments.len().saturating_sub(1);
        let segment = own().map(|used| used.segment).min().unwrap_or(last);
        let lures = lures(own().filter(|used| used.segment == segment));
        list.push(Rig { segment, leader: Some(leader), lures, is_kept_ready: true });
    }
    list
}

/// What is on an outfit when a segment begins, if that is known. `on` is what was on it when the plan
/// began; `None`: it was rigged for what it fishes first.
#[must_use]
pub fn carried<'p>(
    rigs: &[Rig<'p>],
    segment: usize,
    on: Option<Option<&'p str>>,
) -> Option<Option<&'p str>> {
    let mut tied = rigs.iter().filter(|rig| !rig.is_kept_ready);
    let before = tied.clone().rfind(|rig| rig.segment < segment);
    let here = tied.clone().find(|rig| rig.segment == segment);
    here.or(before).map(|rig| rig.leader).or(on).or_else(|| tied.next().map(|rig| rig.leader))
}

/// What an outfit does for a need.
#[derive(Clone, Copy, Debug)]
struct Used<'p> {
    segment: usize,
    leader: Option<&'p str>,
    lure: &'p str,
    importance: u32,
    /// Whether somebody begins with it.
    begins: bool,
    role: Role,
}

fn uses<'p>(problem: &TripProblem, plan: &'p TripPlan, outfit: usize) -> Vec<Used<'p>> {
    let mut list = Vec::new();
    for cover in &plan.coverage {
        let segment = problem.segments.iter().position(|s| s.id == cover.segment);
        let need = problem
            .needs
            .iter()
            .find(|need| (&need.segment, &need.lure) == (&cover.segment, &cover.lure));
        let (Some(segment), Some(need)) = (segment, need) else { continue };
        let begun = plan.starts.iter().find(|start| {
            (start.outfit, &start.segment, &start.lure) == (outfit, &cover.segment, &cover.lure)
        });
        let used = cover.uses.iter().find(|used| used.outfit == outfit);
        let leader_and_role = match begun {
            Some(start) => Some((&start.leader, Role::Fishes)),
            None => used.map(|used| (&used.leader, used.role)),
        };
        let Some((leader, role)) = leader_and_role else { continue };
        list.push(Used {
            segment,
            leader: leader.as_deref(),
            lure: &cover.lure,
            importance: need.importance,
            begins: begun.is_some(),
            role,
        });
    }
    list
}

fn lures<'u, 'p: 'u>(uses: impl Iterator<Item = &'u Used<'p>>) -> Vec<&'p str> {
    let mut uses: Vec<&Used<'p>> = uses.collect();
    uses.sort_unstable_by_key(|used| (!used.begins, Reverse(used.importance), used.lure));
    uses.into_iter().map(|used| used.lure).collect()
}
