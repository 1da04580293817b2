//! The planner's answer, written for the caller.

use std::collections::{BTreeMap, BTreeSet};

use deepbend_contract::{ToWire as _, WireWord as _, pb};
use deepbend_core::gear::{self, Finding, FindingCode, Word as _};
use deepbend_core::water::Water;
use deepbend_ledger::view::View;
use deepbend_planner::departure::{BeforeDeparture, HAND_OVER_MINUTES};
use deepbend_planner::plan::{
    AshoreReason, ItemKind, Move, PlannedOutfit, Role, TripPlan, UncoveredReason, Value,
};
use deepbend_planner::{Status, TripProblem};

use super::basis::{DAY_MINUTES, clock};
use super::cure;
use super::hands::Hands;
use super::jobs::Rigged;
use super::lines::Spooled;
use super::offers::Judge;
use super::request::{Trip, minute};

/// Writes plans.
#[derive(Debug)]
pub(super) struct Writer<'a, 'v> {
    pub(super) judge: &'a Judge<'a, 'v>,
    pub(super) problem: &'a TripProblem,
    pub(super) view: &'v View,
    pub(super) deadlines: &'a Deadlines,
    pub(super) basis: pb::PlanBasis,
    /// Whether everything was judged that can be put together.
    pub(super) is_whole: bool,
}

/// The status as the contract has it.
pub(super) fn status(status: Status) -> pb::PlanStatus {
    match status {
        Status::Optimal => pb::PlanStatus::Optimal,
        Status::Feasible => pb::PlanStatus::Feasible,
    }
}

/// Worth and its parts.
pub(super) fn value(value: &Value) -> pb::PlanValue {
    pb::PlanValue {
        objective_micros: value.objective(),
        coverage_micros: value.coverage,
        shortfall_micros: value.shortfall,
        move_micros: value.moves,
        overtime_micros: value.overtime,
        tie_micros: value.ties,
    }
}

/// When boats depart, by the id of their place.
#[derive(Debug, Default)]
pub(super) struct Deadlines(pub(super) BTreeMap<String, u32>);

impl Deadlines {
    /// By when all must be known that turns the plans `old` into others: what comes on top has to be
    /// brought and done before the boats depart, along with all else, and what goes elsewhere must not
    /// be on its way. `boat` is that of a difference of one plan. A minute of the day, negative on the
    /// day before; `None`: there is nothing to be done for it.
    pub(super) fn to_change(
        &self,
        difference: &pb::PlanDifference,
        old: &[pb::Plan],
        boat: &str,
    ) -> Option<i64> {
        let on = |id: &String| if id.is_empty() { boat.to_owned() } else { id.clone() };
        let at = |boat: &String, time: &String| {
            let (departs, minute) = (*self.0.get(boat)?, i64::from(minute(time)?));
            // What comes later than the departure is of the day before.
            Some(if minute > i64::from(departs) { minute - DAY_MINUTES } else { minute })
        };
        let hand_over = i64::from(HAND_OVER_MINUTES);
        let outfits = difference.added.iter().chain(&difference.removed);
        let lines = difference.changed_lines.iter().filter_map(|line| line.outfit.as_ref());
        let changed = outfits.chain(lines).map(|outfit| on(&outfit.boat_id));
        let steps = difference.added_moves.iter();
        let ends = steps.clone().flat_map(|step| [&step.to_place_id, &step.from_place_id]);
        let boats: BTreeSet<String> = changed.chain(ends.cloned()).collect();
        let departures = boats.iter().filter_map(|boat| self.0.get(boat));
        let mut times: Vec<i64> =
            departures.map(|departs| i64::from(*departs) - hand_over).collect();
        // One pair of hands does all jobs of a boat.
        let of_boat = |jobs: &[pb::ChangedJob], boat: &String| -> i64 {
            let own = jobs.iter().filter(|changed| on(&changed.boat_id) == *boat);
            minutes_at_home(own.flat_map(|changed| &changed.job))
        };
        for (boat, departs) in &self.0 {
            let added = of_boat(&difference.added_jobs, boat);
            let known = old.iter().filter(|plan| plan.boat_id == *boat);
            let known = minutes_at_home(known.flat_map(|plan| &plan.jobs));
            if added > 0 {
                let all = known - of_boat(&difference.removed_jobs, boat) + added;
                times.push(i64::from(*departs) - all);
            }
        }
        for changed in &difference.added_jobs {
            let begins =
                changed.job.iter().filter_map(|job| at(&on(&changed.boat_id), &job.begin_by));
            times.extend(begins.map(|minute| minute - hand_over));
        }
        times.extend(steps.clone().filter_map(|step| at(&step.to_place_id, &step.deadline)));
        // What was on its way to one boat is not where another one wants it, and a line is wound on
        // once.
        let is_wanted_elsewhere = |gone: &&pb::Move| {
            let (id, to) = (&gone.item_id, &gone.to_place_id);
            steps.clone().any(|step| step.item_id == *id && step.to_place_id != *to)
                || difference
                    .added
                    .iter()
                    .any(|o| [&o.rod_id, &o.reel_id].contains(&id) && on(&o.boat_id) != *to)
        };
        let gone = difference.removed_moves.iter().filter(is_wanted_elsewhere);
        times.extend(gone.filter_map(|step| at(&step.to_place_id, &step.deadline)));
        for changed in &difference.removed_jobs {
            let wound = changed.job.iter().filter(|job| job.kind() == pb::JobKind::Respool);
            times.extend(wound.filter_map(|job| at(&on(&changed.boat_id), &job.begin_by)));
        }
        times.into_iter().min()
    }

    /// By when something from a place must have reached a trip's boat, if there is no work with it;
    /// `None`: nobody said.
    pub(super) fn by(&self, trip: &Trip, from: &str) -> Option<i64> {
        let departures = [self.0.get(&trip.boat), self.0.get(from)].into_iter().flatten();
        departures.min().map(|minute| i64::from(*minute) - i64::from(HAND_OVER_MINUTES))
    }
}

/// Minutes of the jobs before departure.
fn minutes_at_home<'j>(jobs: impl Iterator<Item = &'j pb::Job>) -> i64 {
    let at_home = jobs.filter(|job| job.segment_id.is_empty());
    at_home.map(|job| i64::from(job.duration_minutes)).sum()
}

/// A count of copies, where a lure is fished several times at once; else 0.
pub(super) fn several(copies: u32, value: u32) -> i32 {
    if copies > 1 { count(value) } else { 0 }
}

/// A count of the planner, which is small.
pub(super) fn count(value: u32) -> i32 {
    i32::try_from(value).unwrap_or(i32::MAX)
}

impl<'a, 'v> Writer<'a, 'v> {
    /// Writes that there is no plan.
    pub(super) fn no_plan(&self, reproducible: bool) -> pb::Plan {
        pb::Plan {
            findings: self.findings(&[]),
            basis: Some(self.basis.clone()),
            ..self.empty(reproducible)
        }
    }

    /// Outfits, assignments, moves and what is open, to be held against another plan.
    pub(super) fn brief(&self, plan: &TripPlan) -> pb::Plan {
        let open = |u: &deepbend_planner::plan::Uncovered| pb::Uncovered {
            segment_id: u.segment.clone(),
            lure_id: u.lure.clone(),
            importance: count(u.importance),
            ..pb::Uncovered::default()
        };
        let outfits =
            plan.outfits.iter().enumerate().map(|(i, outfit)| self.outfit(plan, i, outfit));
        let rigged = self.rigged(plan);
        pb::Plan {
            value: Some(value(&plan.value)),
            outfits: outfits.collect(),
            assignments: assignments(self.judge, plan, &rigged, true),
            moves: self.moves(plan),
            jobs: rigged.jobs(),
            uncovered: plan.uncovered.iter().map(open).collect(),
            ..self.empty(true)
        }
    }

    /// What each outfit carries through the day.
    pub(super) fn rigged<'p>(&'p self, plan: &'p TripPlan) -> Rigged<'p> {
        let asked = &self.judge.asked;
        let is_ashore = asked.aboard.is_none();
        let departs = self.departs(&asked.trip.boat).filter(|_| is_ashore);
        Rigged::new(self.judge, self.problem, plan, departs)
    }

    /// When a boat departs, if anybody said.
    fn departs(&self, boat: &str) -> Option<u32> {
        self.deadlines.0.get(boat).copied()
    }

    fn moves(&self, plan: &TripPlan) -> Vec<pb::Move> {
        let home = BeforeDeparture::new(self.problem, plan);
        let to = self.departs(&self.judge.asked.trip.boat);
        let write = |m: &Move| pb::Move {
            kind: cargo(m.kind).into(),
            item_id: m.id.clone(),
            quantity: count(m.quantity),
            from_place_id: m.from.clone(),
            to_place_id: m.to.clone(),
            deadline: home.arrival(m, to, self.departs(&m.from)).map_or_else(String::new, clock),
            if_missing: String::new(),
        };
        plan.moves.iter().map(write).collect()
    }

    fn empty(&self, reproducible: bool) -> pb::Plan {
        let trip = &self.judge.asked.trip;
        pb::Plan {
            reproducible,
            trip_id: trip.id.clone(),
            boat_id: trip.boat.clone(),
            trip: Some(trip.wire.clone()),
            ..pb::Plan::default()
        }
    }

    /// Whether little is asked for.
    pub(super) fn is_summary(&self) -> bool {
        self.judge.asked.summary
    }

    /// Writes what is known of a plan without another look: no cards, cautions, losses or cures.
    pub(super) fn bare(
        &self,
        hands: &Hands<'_, '_>,
        rigged: &Rigged<'_>,
        reproducible: bool,
    ) -> pb::Plan {
        let plan = hands.plan;
        let mut wire = self.empty(reproducible);
        wire.status = status(plan.status).into();
        wire.value = Some(value(&plan.value));
        wire.bound_micros = Some(plan.bound);
        wire.gap = Some(plan.gap());
        wire.jobs = rigged.jobs();
        let c = &plan.counts;
        wire.counts = Some(pb::PlanCounts {
            covered_count: count(c.covered),
            need_count: count(c.needs),
            outfit_count: count(c.outfits),
            outfit_limit_count: count(c.outfit_limit),
            move_count: count(c.moves),
            job_minutes: wire.jobs.iter().map(|job| job.duration_minutes).sum(),
            candidate_count: count(c.candidates),
            node_count: i64::try_from(c.nodes).unwrap_or(i64::MAX),
        });
        wire.outfits = plan
            .outfits
            .iter()
            .enumerate()
            .map(|(i, outfit)| self.outfit(plan, i, outfit))
            .collect();
        wire.assignments = assignments(self.judge, plan, rigged, self.is_summary());
        wire.starts = hands.starts(rigged);
        wire.rigs = rigged.to_wire();
        (wire.load_list, wire.return_list) = hands.lists();
        wire.moves = self.moves(plan);
        wire.uncovered = plan.uncovered.iter().map(cure::brief).collect();
        if !self.is_summary() {
            wire.left_ashore = self.left_ashore(plan);
        }
        wire.abridged = !self.is_whole;
        wire.findings = self.findings(&wire.outfits);
        wire.basis = Some(self.basis.clone());
        wire
    }

    fn outfit(
        &self,
        plan: &TripPlan,
        position: usize,
        outfit: &PlannedOutfit,
    ) -> pb::PlannedOutfit {
        let spooled = self.judge.spooled(&outfit.reel, &outfit.line);
        let stock = spooled.and_then(|s| s.option.stock.as_ref());
        pb::PlannedOutfit {
            id: self.judge.outfit_id(plan, position),
            rod_id: outfit.rod.clone(),
            reel_id: outfit.reel.clone(),
            line_stock_id: stock.map(|s| s.stock.clone()).unwrap_or_default(),
            line: spooled.map(|s| s.line.to_wire()),
            leader_stock_ids: outfit.leaders.clone(),
        }
    }

    fn left_ashore(&self, plan: &TripPlan) -> Vec<pb::LeftAshore> {
        plan.ashore
            .iter()
            .map(|item| pb::LeftAshore {
                kind: cargo(item.kind).into(),
                item_id: item.id.clone(),
                reason: if self.judge.asked.pins.leave.contains(&item.id) {
                    pb::AshoreReason::NotReady.into()
                } else {
                    ashore_reason(item.reason).into()
                },
                text: match item.reason {
                    _ if self.judge.asked.pins.leave.contains(&item.id) => {
                        "It stays ashore as asked.".to_owned()
                    }
                    AshoreReason::NotReady => self.not_ready_text(&item.id),
                    AshoreReason::Locker
                    | AshoreReason::CoversNothing
                    | AshoreReason::PartnerUsed
                    | AshoreReason::Dominated
                    | AshoreReason::NoHolder
                    | AshoreReason::AddsTooLittle
                    | AshoreReason::OtherBoat => item.text.clone(),
                },
            })
            .collect()
    }

    fn not_ready_text(&self, id: &str) -> String {
        let pool = self.judge.pool;
        let rod = pool.rod(id).map(|rod| rod.item);
        let Some(item) = rod.or_else(|| pool.reel(id).map(|reel| reel.item)) else {
            return String::new();
        };
        let status = item.status.as_word().replace('_', " ");
        match &item.note {
            Some(note) => format!("It is {status}: {note}."),
            None => format!("It is {status}."),
        }
    }

    /// Lines that are due, and odd labels, of what the plan takes; species that nobody knows.
    fn findings(&self, outfits: &[pb::PlannedOutfit]) -> Vec<pb::Finding> {
        let pool = self.judge.pool;
        let mut findings = Vec::new();
        let taken = |id: &str| outfits.iter().any(|outfit| outfit.reel_id == id);
        for reel in pool.reels.iter().filter(|reel| taken(reel.item.id.as_str())) {
            let Some(due) = &reel.due else { continue };
            let mut on_this = outfits.iter().filter(|o| o.reel_id == reel.item.id.as_str());
            let wound = on_this.find(|outfit| !outfit.line_stock_id.is_empty());
            let cure = match wound {
                None => "no line like it fits reel and rod: it is used as it is".to_owned(),
                Some(outfit) => format!("{} goes on", outfit.line_stock_id),
            };
            findings.push(pb::Finding {
                code: FindingCode::LineDue.to_wire_word().into(),
                field: format!("{}.line", reel.item.id),
                text: format!("{due}; {cure}"),
            });
        }
        for outfit in outfits {
            let Some(rod) = pool.rod(&outfit.rod_id) else { continue };
            let odd = gear::findings(self.judge.model, rod.rod);
            // A long rod that is marked a class low is usual: no news on the quay.
            let news = odd.into_iter().filter(|f| f.code != FindingCode::LongRodLabel);
            for Finding { code, field, text } in news {
                let id = &outfit.rod_id;
                let field = format!("{id}.{field}");
                findings.push(pb::Finding { code: code.to_wire_word().into(), field, text });
            }
        }
        if self.judge.asked.trip.date.is_none() {
            findings.push(pb::Finding {
                code: FindingCode::LineDue.to_wire_word().into(),
                field: "date".to_owned(),
                text:
                    "the trip has none: lines are due by the hours fished alone, not by their age"
                        .to_owned(),
            });
        }
        let species = |water: &Water| water.species.clone();
        for part in &self.judge.asked.trip.parts {
            let Some(name) = species(&part.water) else { continue };
            if self.judge.model.species().find(&name).is_none() {
                findings.push(pb::Finding {
                    code: FindingCode::UnknownSpecies.to_wire_word().into(),
                    field: format!("{}.water.species", part.id),
                    text: format!("{name} is not in the table: judged with middling traits"),
                });
            }
        }
        findings
    }
}

impl Judge<'_, '_> {
    /// Name of an outfit in its plan: "O1" for the first one. On the water what is still the same
    /// rod with the same reel keeps the name that it went out with, and what is new goes on after
    /// the highest of these.
    pub(super) fn outfit_id(&self, plan: &TripPlan, position: usize) -> String {
        let aboard = self.asked.aboard.as_ref();
        let went_out = aboard.map_or(&[][..], |aboard| &aboard.wire.outfits);
        let kept = |outfit: &PlannedOutfit| {
            let same = |was: &&pb::PlannedOutfit| {
                (&was.rod_id, &was.reel_id) == (&outfit.rod, &outfit.reel)
            };
            went_out.iter().find(same)
        };
        if let Some(was) = kept(&plan.outfits[position]) {
            return was.id.clone();
        }
        let number = |was: &pb::PlannedOutfit| was.id.strip_prefix('O')?.parse::<u32>().ok();
        let highest = went_out.iter().filter_map(number).max().unwrap_or(0) as usize;
        let new = plan.outfits[..=position].iter().filter(|o| kept(o).is_none()).count();
        format!("O{}", highest.saturating_add(new))
    }

    /// A line option of a reel.
    pub(super) fn spooled(&self, reel: &str, line: &str) -> Option<&Spooled> {
        self.pool.reel(reel)?.lines.iter().find(|spooled| spooled.option.id == line)
    }

    /// Position of a need.
    pub(super) fn need(&self, segment: &str, lure: &str) -> Option<usize> {
        self.asked.trip.needs.iter().position(|n| n.segment == segment && n.lure == lure)
    }
}

fn assignments(
    judge: &Judge<'_, '_>,
    plan: &TripPlan,
    rigged: &Rigged<'_>,
    summary: bool,
) -> Vec<pb::Assignment> {
    let mut list = Vec::new();
    for cover in &plan.coverage {
        for used in cover.uses.iter().filter(|u| !summary || u.role != Role::Spare) {
            let role = match used.role {
                Role::Fishes => pb::AssignmentRole::Fishes,
                Role::Backup => pb::AssignmentRole::Backup,
                Role::Spare => pb::AssignmentRole::Spare,
            };
            list.push(pb::Assignment {
                segment_id: cover.segment.clone(),
                lure_id: cover.lure.clone(),
                outfit_id: judge.outfit_id(plan, used.outfit),
                leader_stock_id: used.leader.clone().unwrap_or_default(),
                role: role.into(),
                verdict: used.verdict.to_wire_word().into(),
                score: used.score,
                skill: used.skill.map_or(0, |skill| skill.to_wire_word().into()),
                angler_ids: used.anglers.clone(),
                change_minutes: rigged.change_minutes(
                    used.outfit,
                    &cover.segment,
                    used.leader.as_deref(),
                ),
            });
        }
    }
    list
}

/// The kind as the contract has it.
pub(super) fn cargo(kind: ItemKind) -> pb::CargoKind {
    match kind {
        ItemKind::Rod => pb::CargoKind::Rod,
        ItemKind::Reel => pb::CargoKind::Reel,
        ItemKind::Line => pb::CargoKind::Line,
        ItemKind::Leader => pb::CargoKind::Leader,
        ItemKind::Lure => pb::CargoKind::Lure,
    }
}

fn ashore_reason(reason: AshoreReason) -> pb::AshoreReason {
    match reason {
        AshoreReason::NotReady => pb::AshoreReason::NotReady,
        AshoreReason::Locker => pb::AshoreReason::Locker,
        AshoreReason::CoversNothing => pb::AshoreReason::CoversNothing,
        AshoreReason::PartnerUsed => pb::AshoreReason::PartnerUsed,
        AshoreReason::Dominated => pb::AshoreReason::Dominated,
        AshoreReason::NoHolder => pb::AshoreReason::NoHolder,
        AshoreReason::AddsTooLittle => pb::AshoreReason::AddsTooLittle,
        AshoreReason::OtherBoat => pb::AshoreReason::OtherBoat,
    }
}

/// The reason as the contract has it.
pub(super) fn uncovered_reason(reason: UncoveredReason) -> pb::UncoveredReason {
    match reason {
        UncoveredReason::LureMissing => pb::UncoveredReason::LureMissing,
        UncoveredReason::NoOffer => pb::UncoveredReason::NoOffer,
        UncoveredReason::BelowMinimum => pb::UncoveredReason::BelowMinimum,
        UncoveredReason::TooFewCopies => pb::UncoveredReason::TooFewCopies,
        UncoveredReason::ReelShared => pb::UncoveredReason::ReelShared,
        UncoveredReason::RodShared => pb::UncoveredReason::RodShared,
        UncoveredReason::NoHolder => pb::UncoveredReason::NoHolder,
        UncoveredReason::StockUsedUp => pb::UncoveredReason::StockUsedUp,
        UncoveredReason::NotWorthIt => pb::UncoveredReason::NotWorthIt,
    }
}

/// Cautions gathered over many cards: each text once, with what set it off, in an order that does
/// not hang on that of the cards.
#[derive(Debug, Default)]
pub(super) struct Gathered(BTreeMap<(i32, String), BTreeSet<String>>);

/// Causes that are listed for one caution.
const CAUSES: usize = 3;

impl Gathered {
    /// Takes note of a caution of a card. How certain a judgement is says nothing without the lure.
    pub(super) fn add(&mut self, card: &pb::RigCard, caution: &pb::Caution) {
        let causes = self.0.entry((caution.code, caution.text.clone())).or_default();
        let mut because = caution.because.clone();
        if caution.code() == pb::CautionCode::Uncertain {
            because = format!("{} with {}: {because}", card.lure_id, card.outfit_id);
        }
        causes.insert(because);
    }

    /// Each caution once, in the order of their codes: people first.
    pub(super) fn finish(self) -> Vec<pb::Caution> {
        let write = |((code, text), causes): ((i32, String), BTreeSet<String>)| {
            let named: Vec<&str> = causes.iter().take(CAUSES).map(String::as_str).collect();
            let mut because = named.join("; ");
            if causes.len() > CAUSES {
                because.push_str(&format!("; and {} more", causes.len() - CAUSES));
            }
            pb::Caution { code, text, because }
        };
        self.0.into_iter().map(write).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // By hand: a boat departs at 7:00. What is wound from 6:42 on must be there at 6:22, but with the
    // half hour that is done anyhow the hands begin at 6:18.
    #[test]
    fn all_jobs_of_a_boat_fit_before_it_departs() {
        let deadlines = Deadlines([("B1", 420), ("B3", 330)].map(|(b, m)| (b.into(), m)).into());
        let job = |begin_by: &str, duration_minutes| pb::Job {
            begin_by: begin_by.to_owned(),
            duration_minutes,
            ..pb::Job::default()
        };
        let old = [pb::Plan {
            boat_id: "B1".to_owned(),
            jobs: vec![job("06:30", 30)],
            ..pb::Plan::default()
        }];
        let changed = |job: pb::Job| pb::ChangedJob { job: Some(job), ..pb::ChangedJob::default() };
        let mut difference = pb::PlanDifference {
            added_jobs: vec![changed(job("06:42", 12))],
            ..pb::PlanDifference::default()
        };
        let by = |difference: &pb::PlanDifference| deadlines.to_change(difference, &old, "B1");
        assert_eq!(by(&difference), Some(6 * 60 + 18));
        // What goes to another boat at 4:38 is not here after it.
        let step = |to: &str, deadline: &str| pb::Move {
            item_id: "K05".to_owned(),
            to_place_id: to.to_owned(),
            deadline: deadline.to_owned(),
            ..pb::Move::default()
        };
        difference.removed_moves = vec![step("B3", "04:38")];
        assert_eq!(by(&difference), Some(6 * 60 + 18), "nobody else wants it");
        difference.added_moves = vec![step("B1", "06:22")];
        assert_eq!(by(&difference), Some(4 * 60 + 38));
        // What is later than the departure is of the day before.
        difference.added_moves = vec![step("B1", "23:40")];
        assert_eq!(by(&difference), Some(-20));
    }
}
