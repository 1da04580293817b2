//! Work on the outfits: what is done before departure, and what waits for a change of segment.

use deepbend_contract::pb;
use deepbend_core::quantity::words::LINE_METRES;
use deepbend_planner::TripProblem;
use deepbend_planner::departure::{Waits, waits};
use deepbend_planner::plan::{Job, JobKind, PlannedOutfit, TripPlan};

use super::answer::count;
use super::lines::{leader_words, line_words};
use super::offers::Judge;

/// A spool that is filled less far casts short. Common practice, no source.
const FULL: f64 = 0.9;

/// Writes the jobs of a plan, those before departure first.
pub(super) fn jobs(judge: &Judge<'_, '_>, problem: &TripProblem, plan: &TripPlan) -> Vec<pb::Job> {
    let mut jobs: Vec<pb::Job> =
        plan.jobs.iter().map(|job| write(judge, problem, plan, job)).collect();
    let part =
        |job: &pb::Job| judge.asked.trip.parts.iter().position(|part| part.id == job.segment_id);
    jobs.sort_by_key(part);
    jobs
}

fn write(judge: &Judge<'_, '_>, problem: &TripProblem, plan: &TripPlan, job: &Job) -> pb::Job {
    let outfit = &plan.outfits[job.outfit];
    let mut segment_id = String::new();
    let (kind, text) = match job.kind {
        JobKind::Respool => (pb::JobKind::Respool, respool_text(judge, outfit)),
        JobKind::Leader => {
            let leader = judge.pool.leader(&job.with);
            let words = leader.map(|l| leader_words(&l.leader)).unwrap_or_default();
            let mut text =
                format!("Tie {} ({words}) to {} with {}", job.with, outfit.rod, outfit.reel);
            if let Some(Waits { segment, before }) = waits(problem, plan, job) {
                segment_id.clone_from(&problem.segments[segment].id);
                text.push_str(&match before {
                    Some(before) => format!(" for segment {segment_id}, in place of {before}"),
                    None => format!(" for segment {segment_id}; until then it has none"),
                });
            }
            (pb::JobKind::Leader, text + ".")
        }
    };
    pb::Job {
        kind: kind.into(),
        outfit_id: judge.outfit_id(plan, job.outfit),
        stock_id: job.with.clone(),
        duration_minutes: count(job.minutes),
        text,
        segment_id,
    }
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
