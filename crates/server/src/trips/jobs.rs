//! Work on the outfits: what is done before departure, and what is changed on the water.

use deepbend_contract::pb;
use deepbend_core::quantity::words::LINE_METRES;
use deepbend_planner::TripProblem;
use deepbend_planner::departure::{BeforeDeparture, HomeJob};
use deepbend_planner::plan::{Job, JobKind, PlannedOutfit, TripPlan};
use deepbend_planner::rigging::{self, Rig};

use super::answer::count;
use super::basis::clock;
use super::lines::{leader_words, line_words};
use super::offers::Judge;
use super::pool;

/// A spool that is filled less far casts short. Common practice, no source.
const FULL: f64 = 0.9;

/// What each outfit of a plan carries through the day.
#[derive(Debug)]
pub(super) struct Rigged<'p> {
    judge: &'p Judge<'p, 'p>,
    problem: &'p TripProblem,
    plan: &'p TripPlan,
    /// By outfit.
    rigs: Vec<Vec<Rig<'p>>>,
    /// Minute of the day at which the boat departs, if anybody said.
    departs: Option<u32>,
}

impl<'p> Rigged<'p> {
    pub(super) fn new(
        judge: &'p Judge<'p, 'p>,
        problem: &'p TripProblem,
        plan: &'p TripPlan,
        departs: Option<u32>,
    ) -> Self {
        let rigs = |at: usize| rigging::rigs(problem, plan, at, on(judge, &plan.outfits[at]));
        let rigs = (0..plan.outfits.len()).map(rigs).collect();
        Self { judge, problem, plan, rigs, departs }
    }

    /// The leader on an outfit when a segment begins.
    pub(super) fn leader(&self, outfit: usize, segment: &str) -> Option<&'p str> {
        let at = self.problem.segments.iter().position(|s| s.id == segment)?;
        let on = on(self.judge, &self.plan.outfits[outfit]);
        rigging::carried(&self.rigs[outfit], at, on).flatten()
    }

    /// The leaders that an outfit carries in a segment, one after the other.
    pub(super) fn carried(&self, outfit: usize, segment: &str) -> Vec<Option<&'p str>> {
        let Some(at) = self.problem.segments.iter().position(|s| s.id == segment) else {
            return Vec::new();
        };
        let here = self.rigs[outfit].iter().filter(|rig| rig.segment == at && !rig.is_kept_ready);
        let here: Vec<_> = here.map(|rig| rig.leader).collect();
        if !here.is_empty() {
            return here;
        }
        let on = on(self.judge, &self.plan.outfits[outfit]);
        rigging::carried(&self.rigs[outfit], at, on).into_iter().collect()
    }

    /// Minutes to change the leader of an outfit in a segment in which it carries another one; 0: it
    /// carries this one.
    pub(super) fn change_minutes(&self, outfit: usize, segment: &str, leader: Option<&str>) -> i32 {
        let carried = self.carried(outfit, segment);
        match leader {
            _ if carried.contains(&leader) => 0,
            Some(leader) => self.minutes(leader),
            None if carried.is_empty() => 0,
            None => pool::whole(self.judge.model.parameters().rerig.trace_min) as i32,
        }
    }

    /// As the contract has it.
    pub(super) fn to_wire(&self) -> Vec<pb::Rig> {
        let one = |(outfit, rig): (usize, &Rig<'_>)| pb::Rig {
            outfit_id: self.judge.outfit_id(self.plan, outfit),
            segment_id: self.problem.segments[rig.segment].id.clone(),
            leader_stock_id: rig.leader.unwrap_or_default().to_owned(),
            lure_ids: rig.lures.iter().map(|lure| (*lure).to_owned()).collect(),
            is_kept_ready: rig.is_kept_ready,
        };
        let all = self.rigs.iter().enumerate();
        all.flat_map(|(outfit, rigs)| rigs.iter().map(move |rig| one((outfit, rig)))).collect()
    }

    /// The work that this takes, that before departure first, that of what is kept ready last.
    pub(super) fn jobs(&self) -> Vec<pb::Job> {
        let mut jobs = Vec::new();
        for (outfit, rigs) in self.rigs.iter().enumerate() {
            jobs.extend(self.respooling(outfit));
            let mut last = on(self.judge, &self.plan.outfits[outfit]);
            for (at, rig) in rigs.iter().enumerate() {
                if rig.is_kept_ready {
                    jobs.extend(rig.leader.map(|leader| self.kept_ready(outfit, rig, leader)));
                } else if last != Some(rig.leader) {
                    let is_within = at > 0 && rigs[at - 1].segment == rig.segment;
                    jobs.extend(self.change(outfit, last, rig, is_within));
                    last = Some(rig.leader);
                }
            }
        }
        let part = |id: &String| self.problem.segments.iter().position(|part| part.id == *id);
        let home = BeforeDeparture::new(self.problem, self.plan);
        let place = |job: &pb::Job| home.jobs().iter().position(|other| self.is_same(other, job));
        if let Some(departs) = self.departs {
            for job in jobs.iter_mut().filter(|job| job.segment_id.is_empty()) {
                let ahead = place(job).map(|at| home.jobs()[at].ahead_minutes);
                let begins = ahead.map(|ahead| i64::from(departs) - i64::from(ahead));
                job.begin_by = begins.map_or_else(String::new, clock);
            }
        }
        jobs.sort_by_cached_key(|job| (job.is_if_needed, part(&job.segment_id), place(job)));
        jobs
    }

    fn is_same(&self, home: &HomeJob, job: &pb::Job) -> bool {
        let own = &self.plan.jobs[home.job];
        let kind = match own.kind {
            JobKind::Respool => pb::JobKind::Respool,
            JobKind::Leader => pb::JobKind::Leader,
        };
        job.segment_id.is_empty()
            && kind == job.kind()
            && self.judge.outfit_id(self.plan, own.outfit) == job.outfit_id
    }

    fn respooling(&self, outfit: usize) -> Option<pb::Job> {
        let own = |job: &&Job| (job.kind, job.outfit) == (JobKind::Respool, outfit);
        let job = self.plan.jobs.iter().find(own)?;
        Some(pb::Job {
            kind: pb::JobKind::Respool.into(),
            outfit_id: self.judge.outfit_id(self.plan, outfit),
            stock_id: job.with.clone(),
            duration_minutes: count(job.minutes),
            text: respool_text(self.judge, &self.plan.outfits[outfit]),
            ..pb::Job::default()
        })
    }

    /// From what is on an outfit to another rig. What fishes without a leader first needs no work.
    fn change(
        &self,
        outfit: usize,
        last: Option<Option<&str>>,
        rig: &Rig<'_>,
        is_within: bool,
    ) -> Option<pb::Job> {
        let segment = &self.problem.segments[rig.segment].id;
        let when = match is_within {
            true => format!("during segment {segment}, for {}", rig.lures.join(", ")),
            false => format!("for segment {segment}"),
        };
        let on = self.named(outfit);
        let (kind, stock, minutes, text) = match (last, rig.leader) {
            (None | Some(None), None) => return None,
            (last, Some(leader)) => {
                let tie = self.tie(leader);
                let text = match last {
                    None => format!("Tie {tie} to {on}."),
                    Some(None) => format!("Tie {tie} to {on} {when}; until then it has none."),
                    Some(Some(before)) => {
                        format!("Tie {tie} to {on} {when}, in place of {before}.")
                    }
                };
                (pb::JobKind::Leader, leader, self.minutes(leader), text)
            }
            (Some(Some(before)), None) => {
                let minutes = self.judge.model.parameters().rerig.trace_min.ceil() as i32;
                let text = format!("Take {before} off {on} {when}: the line is tied to the lure.");
                (pb::JobKind::LeaderOff, before, minutes, text)
            }
        };
        Some(pb::Job {
            kind: kind.into(),
            outfit_id: self.judge.outfit_id(self.plan, outfit),
            stock_id: stock.to_owned(),
            duration_minutes: minutes,
            text,
            segment_id: last.map_or_else(String::new, |_| segment.clone()),
            is_if_needed: false,
            begin_by: String::new(),
        })
    }

    fn kept_ready(&self, outfit: usize, rig: &Rig<'_>, leader: &str) -> pb::Job {
        let segment = &self.problem.segments[rig.segment].id;
        let lures = match rig.lures.as_slice() {
            [] => String::new(),
            all => format!(" for {}", all.join(" or ")),
        };
        let (tie, on) = (self.tie(leader), self.named(outfit));
        pb::Job {
            kind: pb::JobKind::Leader.into(),
            outfit_id: self.judge.outfit_id(self.plan, outfit),
            stock_id: leader.to_owned(),
            duration_minutes: self.minutes(leader),
            text: format!(
                "Keep {tie} ready: tie it to {on} only if that has to step in{lures} in segment \
                 {segment}."
            ),
            segment_id: segment.clone(),
            is_if_needed: true,
            begin_by: String::new(),
        }
    }

    fn named(&self, outfit: usize) -> String {
        let outfit = &self.plan.outfits[outfit];
        format!("{} with {}", outfit.rod, outfit.reel)
    }

    fn tie(&self, leader: &str) -> String {
        let words = self.judge.pool.leader(leader).map(|l| leader_words(&l.leader));
        format!("{leader} ({})", words.unwrap_or_default())
    }

    fn minutes(&self, leader: &str) -> i32 {
        let stock = self.problem.leaders.iter().find(|stock| stock.id == leader);
        stock.map_or(0, |stock| count(stock.minutes))
    }
}

/// What is on an outfit's line before the plan begins: on the water, what the boat went out with.
fn on<'p>(judge: &'p Judge<'_, '_>, outfit: &PlannedOutfit) -> Option<Option<&'p str>> {
    judge.asked.aboard.as_ref().and_then(|aboard| aboard.carries(&outfit.reel))
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
