//! Work on the outfits: what is done before departure, and what waits for a change of segment.

use deepbend_contract::pb;
use deepbend_core::quantity::words::LINE_METRES;
use deepbend_planner::plan::{Job, JobKind, PlannedOutfit, Role, TripPlan, Use};

use super::answer::{count, outfit_id};
use super::lines::{leader_words, line_words};
use super::offers::Judge;

/// A spool that is filled less far casts short. Common practice, no source.
const FULL: f64 = 0.9;

/// Writes the jobs of a plan, those before departure first.
pub(super) fn jobs(judge: &Judge<'_, '_>, plan: &TripPlan) -> Vec<pb::Job> {
    let mut jobs: Vec<pb::Job> = plan.jobs.iter().map(|job| write(judge, plan, job)).collect();
    let part =
        |job: &pb::Job| judge.asked.trip.parts.iter().position(|part| part.id == job.segment_id);
    jobs.sort_by_key(part);
    jobs
}

fn write(judge: &Judge<'_, '_>, plan: &TripPlan, job: &Job) -> pb::Job {
    let outfit = &plan.outfits[job.outfit];
    let mut segment_id = String::new();
    let (kind, text) = match job.kind {
        JobKind::Respool => (pb::JobKind::Respool, respool_text(judge, outfit)),
        JobKind::Leader => {
            let leader = judge.pool.leader(&job.with);
            let words = leader.map(|l| leader_words(&l.leader)).unwrap_or_default();
            let mut text =
                format!("Tie {} ({words}) to {} with {}", job.with, outfit.rod, outfit.reel);
            let order = in_order(judge, plan, job.outfit);
            let parts = &judge.asked.trip.parts;
            match order.iter().position(|(_, leader)| *leader == job.with) {
                Some(0) if bare_before(judge, plan, job.outfit, order[0].0) => {
                    segment_id.clone_from(&parts[order[0].0].id);
                    text.push_str(&format!(" for segment {segment_id}; until then it has none"));
                }
                Some(at) if at > 0 => {
                    let (part, before) = (order[at].0, order[at - 1].1);
                    segment_id.clone_from(&parts[part].id);
                    text.push_str(&format!(" for segment {segment_id}, in place of {before}"));
                }
                Some(_) | None => {}
            }
            (pb::JobKind::Leader, text + ".")
        }
    };
    pb::Job {
        kind: kind.into(),
        outfit_id: outfit_id(job.outfit),
        stock_id: job.with.clone(),
        duration_minutes: count(job.minutes),
        text,
        segment_id,
    }
}

/// The leaders of an outfit in the order in which it carries them, each with the part of the day
/// from which it fishes with it; what only backs others up comes after what fishes.
fn in_order<'p>(judge: &Judge<'_, '_>, plan: &'p TripPlan, outfit: usize) -> Vec<(usize, &'p str)> {
    let parts = &judge.asked.trip.parts;
    let first = |leader: &str, fishes: bool| {
        let uses = plan.coverage.iter().filter(|cover| {
            let mut uses = cover.uses.iter().filter(|u| u.outfit == outfit);
            uses.any(|u| u.leader.as_deref() == Some(leader) && (!fishes || u.role == Role::Fishes))
        });
        uses.filter_map(|cover| parts.iter().position(|part| part.id == cover.segment)).min()
    };
    let order = |leader: &'p str| match first(leader, true) {
        Some(part) => (part, false, leader),
        None => (first(leader, false).unwrap_or(parts.len().saturating_sub(1)), true, leader),
    };
    let leaders = plan.outfits[outfit].leaders.iter();
    let mut list: Vec<_> = leaders.map(|leader| order(leader)).collect();
    list.sort_unstable();
    list.into_iter().map(|(part, _, leader)| (part, leader)).collect()
}

/// Whether an outfit fishes without a leader in a part of the day before this one.
fn bare_before(judge: &Judge<'_, '_>, plan: &TripPlan, outfit: usize, part: usize) -> bool {
    let before = |id: &String| judge.asked.trip.parts[..part].iter().any(|p| p.id == *id);
    let bare =
        |used: &Use| used.outfit == outfit && used.role == Role::Fishes && used.leader.is_none();
    let mut covers = plan.coverage.iter().filter(|cover| before(&cover.segment));
    covers.any(|cover| cover.uses.iter().any(bare))
}

fn respool_text(judge: &Judge<'_, '_>, outfit: &PlannedOutfit) -> String {
    let spooled = judge.spooled(&outfit.reel, &outfit.line);
    let metres = spooled.and_then(|s| s.option.stock.as_ref()).map_or(0, |s| s.metres);
    let words = spooled.map(|s| line_words(&s.line)).unwrap_or_default();
    let due = judge.pool.reel(&outfit.reel).and_then(|reel| reel.due.as_ref());
    let why = due.map(|due| format!(" ({due})")).unwrap_or_default();
    let room = spooled.and_then(|s| s.room_m).unwrap_or(0.0);
    let backing = match f64::from(metres) < room * FULL {
        true => format!(
            " Backing goes under it: the spool holds {} of this line.",
            LINE_METRES.one(room)
        ),
        false => String::new(),
    };
    let length = LINE_METRES.one(f64::from(metres));
    format!("Wind {length} of {}, {words}, onto {}{why}.{backing}", outfit.line, outfit.reel)
}
