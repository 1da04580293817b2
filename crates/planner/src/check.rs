//! Looks a plan over without the solver: does it keep all limits, and is it worth what it says?

use std::collections::{BTreeMap, BTreeSet};

use deepbend_core::judge::Verdict;

use crate::plan::{ItemKind, JobKind, NeedCover, PlannedOutfit, Status, TripPlan, Use, Value};
use crate::problem::{Candidate, LineOption, MUST, Offer, Pin, Reel, Rod, TripProblem};
use crate::weights::{Micros, Weights};

/// Which rule a plan breaks.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Rule {
    /// It names something that the problem does not have.
    Unknown,
    /// A rod or a reel is used twice.
    Twice,
    /// An item is not ready.
    NotReady,
    /// The reel does not fit the handle.
    Handle,
    /// A rod does not fit the locker.
    Locker,
    /// Too many rods.
    RodLimit,
    /// More is used of a stock than there is.
    Stock,
    /// An offer is used that is not in the table, is unsafe, or lacks its leader.
    Offer,
    /// Somebody who fishes at once has no outfit or no lure of their own.
    Anglers,
    /// Less is aboard than is used at once, or more than there is.
    Loads,
    /// Something used lies elsewhere and is not moved, or the move is wrong.
    Moves,
    /// The jobs do not match the outfits.
    Jobs,
    /// A need is listed as covered, or uncovered, and is not.
    Coverage,
    /// The value or the bound is not what it should be.
    Value,
    /// What was settled beforehand is not kept.
    Pin,
}

/// One thing that is wrong with a plan.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Violation {
    /// The rule.
    pub rule: Rule,
    /// What is wrong.
    pub text: String,
}

struct Checker<'a> {
    problem: &'a TripProblem,
    weights: &'a Weights,
    plan: &'a TripPlan,
    /// By outfit of the plan, the candidate that it is.
    candidates: Vec<Option<&'a Candidate>>,
    violations: Vec<Violation>,
}

/// Checks a plan and counts its value anew.
///
/// # Errors
///
/// Everything that is wrong with the plan.
pub fn check(
    problem: &TripProblem,
    weights: &Weights,
    plan: &TripPlan,
) -> Result<Value, Vec<Violation>> {
    if let Err(faults) = problem.validate() {
        return Err(vec![Violation { rule: Rule::Unknown, text: faults.to_string() }]);
    }
    check_valid(problem, weights, plan)
}

/// The same for a problem that has been validated.
pub(crate) fn check_valid(
    problem: &TripProblem,
    weights: &Weights,
    plan: &TripPlan,
) -> Result<Value, Vec<Violation>> {
    let named = |outfit: &PlannedOutfit| {
        let mut all = problem.candidates.iter();
        all.find(|c| (&c.rod, &c.reel, &c.line) == (&outfit.rod, &outfit.reel, &outfit.line))
    };
    let candidates = plan.outfits.iter().map(named).collect();
    let mut checker = Checker { problem, weights, plan, candidates, violations: Vec::new() };
    let outfits = plan.outfits.iter().enumerate();
    let parts: Vec<_> = outfits.filter_map(|(at, o)| checker.outfit(at, o)).collect();
    if parts.len() < plan.outfits.len() {
        return Err(checker.violations);
    }
    checker.limits(&parts);
    let mut value = Value::default();
    checker.coverage(&mut value);
    checker.anglers();
    checker.pins(&parts);
    let used = checker.in_use(&parts);
    checker.loads(&used);
    checker.moves(&used, &mut value);
    checker.jobs(&parts, &mut value);
    value.ties += Micros::from(parts.len() as u32) * weights.outfit_tie;
    checker.worth(&value);
    if checker.violations.is_empty() { Ok(value) } else { Err(checker.violations) }
}

/// What an outfit is made of.
struct Parts<'a> {
    rod: &'a Rod,
    reel: &'a Reel,
    line: &'a LineOption,
}

impl<'a> Checker<'a> {
    fn add(&mut self, rule: Rule, text: impl Into<String>) {
        self.violations.push(Violation { rule, text: text.into() });
    }

    fn candidate(&self, outfit: usize) -> Option<&'a Candidate> {
        self.candidates.get(outfit).copied().flatten()
    }

    fn outfit(&mut self, at: usize, outfit: &PlannedOutfit) -> Option<Parts<'a>> {
        let rod = self.problem.rods.iter().find(|r| r.id == outfit.rod);
        let reel = self.problem.reels.iter().find(|r| r.id == outfit.reel);
        let line = reel.and_then(|r| r.lines.iter().find(|l| l.id == outfit.line));
        let known = self.candidate(at).is_some();
        let (Some(rod), Some(reel), Some(line), true) = (rod, reel, line, known) else {
            let text = format!(
                "{} with {} and line {} is no candidate",
                outfit.rod, outfit.reel, outfit.line
            );
            self.add(Rule::Unknown, text);
            return None;
        };
        if !rod.ready {
            self.add(Rule::NotReady, format!("{} is not ready", rod.id));
        }
        if !reel.ready {
            self.add(Rule::NotReady, format!("{} is not ready", reel.id));
        }
        if rod.handle != reel.kind {
            self.add(Rule::Handle, format!("{} does not take {}", rod.id, reel.id));
        }
        if self.problem.boat.locker_length_m.is_some_and(|l| rod.packed_length_m() > l) {
            self.add(Rule::Locker, format!("{} does not fit the locker", rod.id));
        }
        Some(Parts { rod, reel, line })
    }

    fn limits(&mut self, parts: &[Parts<'_>]) {
        let boat = &self.problem.boat;
        let aboard = parts.len();
        if aboard > boat.most_rods() as usize {
            self.add(Rule::RodLimit, format!("{aboard} rods are more than the boat takes"));
        }
        let mut seen = BTreeSet::new();
        for id in parts.iter().flat_map(|p| [(0, &p.rod.id), (1, &p.reel.id)]) {
            if !seen.insert(id) {
                self.add(Rule::Twice, format!("{} is used twice", id.1));
            }
        }
        let mut metres: BTreeMap<&str, u64> = BTreeMap::new();
        for taken in parts.iter().filter_map(|p| p.line.stock.as_ref()) {
            *metres.entry(&taken.stock).or_insert(0) += u64::from(taken.metres);
        }
        for stock in &self.problem.line_stock {
            if metres.get(stock.id.as_str()).is_some_and(|m| *m > u64::from(stock.metres)) {
                self.add(Rule::Stock, format!("not enough of line {}", stock.id));
            }
        }
        for (id, used) in self.leaders_used() {
            let there = self.problem.leaders.iter().find(|l| l.id == id).map(|l| l.quantity);
            match there {
                None => self.add(Rule::Unknown, format!("leader {id} is not in the problem")),
                Some(there) if used > there => {
                    self.add(Rule::Stock, format!("{used} of leader {id} used, {there} there"));
                }
                Some(_) => {}
            }
        }
    }

    fn leaders_used(&self) -> BTreeMap<&'a str, u32> {
        let mut used = BTreeMap::new();
        for outfit in &self.plan.outfits {
            let distinct: BTreeSet<_> = outfit.leaders.iter().collect();
            for leader in distinct {
                *used.entry(leader.as_str()).or_insert(0) += 1;
            }
        }
        used
    }

    fn coverage(&mut self, value: &mut Value) {
        if self.plan.coverage.len() != self.problem.needs.len() {
            self.add(Rule::Coverage, "the plan must list every need once");
            return;
        }
        let mut below = BTreeSet::new();
        for (n, cover) in self.plan.coverage.iter().enumerate() {
            let need = &self.problem.needs[n];
            if (&need.segment, &need.lure) != (&cover.segment, &cover.lure) {
                self.add(Rule::Coverage, format!("need {n} is out of its place"));
                continue;
            }
            let there = self.quantity(&need.lure);
            let offers = self.offers(n, cover, there);
            let mut worths: Vec<_> = offers.iter().map(|o| o.worth).collect();
            worths.sort_unstable_by(|a, b| b.cmp(a));
            let shares = self.weights.shares(need.copies_at_once);
            let fished = if there < need.copies_at_once { there as usize } else { shares.len() };
            for (share, worth) in shares.iter().zip(&worths).take(fished) {
                value.coverage += self.weights.term(need.importance, *share, *worth);
            }
            let meeting = cover.uses.iter().filter(|u| self.meets(n, u)).count();
            let held = meeting.min(there as usize) >= need.copies_at_once as usize;
            if held != cover.covered {
                let text = format!("{} in {} is not as stated", need.lure, need.segment);
                self.add(Rule::Coverage, text);
            }
            if !held {
                below.insert((need.segment.as_str(), need.lure.as_str()));
                if need.importance == MUST {
                    value.shortfall += self.weights.shortfall * Micros::from(need.importance);
                }
            }
        }
        let listed: BTreeSet<_> =
            self.plan.uncovered.iter().map(|u| (u.segment.as_str(), u.lure.as_str())).collect();
        if listed != below || listed.len() != self.plan.uncovered.len() {
            self.add(Rule::Coverage, "the uncovered needs are not those below their verdict");
        }
    }

    fn quantity(&self, lure: &str) -> u32 {
        self.problem.lures.iter().find(|l| l.id == lure).map_or(0, |l| l.quantity)
    }

    /// The offers behind a need's uses; wrong ones are reported and left out.
    fn offers(&mut self, n: usize, cover: &NeedCover, there: u32) -> Vec<&'a Offer> {
        let mut offers = Vec::new();
        let mut seen = BTreeSet::new();
        for used in &cover.uses {
            let offer = self.offer(n, used);
            let sound = offer.is_some_and(|o| {
                o.verdict != Verdict::Unsafe
                    && (o.verdict, o.score) == (used.verdict, used.score)
                    && there > 0
            });
            match offer.filter(|_| sound && seen.insert(used.outfit)) {
                Some(offer) => offers.push(offer),
                None => {
                    let text =
                        format!("{}: use of outfit {} is not sound", cover.lure, used.outfit);
                    self.add(Rule::Offer, text);
                }
            }
        }
        offers
    }

    /// Whether the outfit of a use reaches the verdict with one of its leaders.
    fn meets(&self, n: usize, used: &Use) -> bool {
        let outfit = self.plan.outfits.get(used.outfit);
        let candidate = self.candidate(used.outfit);
        outfit.zip(candidate).is_some_and(|(outfit, candidate)| {
            candidate.offers.iter().any(|o| {
                o.need == n
                    && self.problem.needs[n].met_by(o.verdict)
                    && o.leader.as_ref().is_none_or(|l| outfit.leaders.contains(l))
            })
        })
    }

    fn offer(&self, n: usize, used: &Use) -> Option<&'a Offer> {
        let outfit = self.plan.outfits.get(used.outfit)?;
        let fitted = used.leader.as_ref().is_none_or(|l| outfit.leaders.contains(l));
        let offers = &self.candidate(used.outfit)?.offers;
        offers.iter().find(|o| o.need == n && o.leader == used.leader).filter(|_| fitted)
    }

    fn anglers(&mut self) {
        let plan = self.plan;
        for segment in &self.problem.segments {
            let starts: Vec<_> = plan.starts.iter().filter(|s| s.segment == segment.id).collect();
            let seated: BTreeSet<_> = starts.iter().map(|s| &s.angler).collect();
            let wanted: BTreeSet<_> = segment.anglers.iter().collect();
            let outfits: BTreeSet<_> = starts.iter().map(|s| s.outfit).collect();
            if seated != wanted || starts.len() != wanted.len() || outfits.len() != starts.len() {
                let text = format!("segment {}: not one outfit for each angler", segment.id);
                self.add(Rule::Anglers, text);
            }
            let mut lures: BTreeMap<&str, u32> = BTreeMap::new();
            for start in starts {
                *lures.entry(&start.lure).or_insert(0) += 1;
                let need = self
                    .problem
                    .needs
                    .iter()
                    .position(|n| n.segment == segment.id && n.lure == start.lure);
                let candidate = self.candidate(start.outfit);
                let angler = self.problem.anglers.iter().find(|a| a.id == start.angler);
                let parts = need.zip(candidate).zip(angler);
                let sound = parts.is_some_and(|((n, candidate), angler)| {
                    !candidate.not_for.contains(&start.angler)
                        && candidate.offers.iter().any(|o| {
                            let leaders = &plan.outfits[start.outfit].leaders;
                            // What counts is what it is in the hands of whoever gets it.
                            let (verdict, score) = o.in_hands(angler.skill);
                            o.need == n
                                && (&o.leader, verdict) == (&start.leader, start.verdict)
                                && score == start.score
                                && verdict != Verdict::Unsafe
                                && self.problem.needs[n].met_by(verdict)
                                && o.leader.as_ref().is_none_or(|l| leaders.contains(l))
                        })
                });
                if !sound {
                    let text = format!("{}: {} does not suit", start.angler, start.lure);
                    self.add(Rule::Anglers, text);
                }
            }
            for (lure, used) in lures {
                if used > self.quantity(lure) {
                    self.add(Rule::Stock, format!("{used} of {lure} fished at once"));
                }
            }
        }
    }

    fn pins(&mut self, parts: &[Parts<'_>]) {
        for pin in &self.problem.pins {
            let kept = match pin {
                Pin::Take { kind: ItemKind::Rod, id } => parts.iter().any(|p| p.rod.id == *id),
                Pin::Take { id, .. } => parts.iter().any(|p| p.reel.id == *id),
                Pin::Leave { .. } | Pin::Pair { .. } => {
                    parts.iter().all(|p| pin.allows(&p.rod.id, &p.reel.id))
                }
                Pin::Hold { segment, lure } => self
                    .plan
                    .coverage
                    .iter()
                    .any(|c| (&c.segment, &c.lure) == (segment, lure) && c.covered),
            };
            if !kept {
                self.add(Rule::Pin, format!("{pin:?} is not kept"));
            }
        }
    }

    fn place(&self, kind: ItemKind, id: &str) -> Option<(&'a str, u32)> {
        let p = self.problem;
        match kind {
            ItemKind::Rod => p.rods.iter().find(|x| x.id == id).map(|x| (x.place.as_str(), 1)),
            ItemKind::Reel => p.reels.iter().find(|x| x.id == id).map(|x| (x.place.as_str(), 1)),
            ItemKind::Line => {
                p.line_stock.iter().find(|x| x.id == id).map(|x| (x.place.as_str(), x.metres))
            }
            ItemKind::Leader => {
                p.leaders.iter().find(|x| x.id == id).map(|x| (x.place.as_str(), x.quantity))
            }
            ItemKind::Lure => {
                p.lures.iter().find(|x| x.id == id).map(|x| (x.place.as_str(), x.quantity))
            }
        }
    }

    /// Things in use and how many at least.
    fn in_use(&self, parts: &[Parts<'a>]) -> BTreeMap<(ItemKind, &'a str), u32> {
        let mut used = BTreeMap::new();
        for p in parts {
            used.insert((ItemKind::Rod, p.rod.id.as_str()), 1);
            used.insert((ItemKind::Reel, p.reel.id.as_str()), 1);
            if let Some(taken) = &p.line.stock {
                *used.entry((ItemKind::Line, taken.stock.as_str())).or_insert(0) += taken.metres;
            }
        }
        for (leader, count) in self.leaders_used() {
            used.insert((ItemKind::Leader, leader), count);
        }
        for (need, cover) in self.problem.needs.iter().zip(&self.plan.coverage) {
            // Of a lure that is fished by several at once, as far as there are outfits and lures.
            let fished = (cover.uses.len() as u32).min(need.copies_at_once);
            if fished > 0 {
                let there = fished.min(self.quantity(&cover.lure));
                let count = used.entry((ItemKind::Lure, cover.lure.as_str())).or_insert(0);
                *count = there.max(*count);
            }
        }
        for start in &self.plan.starts {
            let fished = self
                .plan
                .starts
                .iter()
                .filter(|s| (&s.segment, &s.lure) == (&start.segment, &start.lure))
                .count() as u32;
            let count = used.entry((ItemKind::Lure, start.lure.as_str())).or_insert(1);
            *count = fished.max(*count);
        }
        used
    }

    fn loads(&mut self, used: &BTreeMap<(ItemKind, &'a str), u32>) {
        let mut aboard = BTreeMap::new();
        for load in &self.plan.loads {
            let there = self.place(load.kind, &load.id).map_or(0, |(_, there)| there);
            let first = aboard.insert((load.kind, load.id.as_str()), load.quantity).is_none();
            if !first || !(1..=there).contains(&load.quantity) {
                self.add(Rule::Loads, format!("{} of {} loaded", load.quantity, load.id));
            }
        }
        for ((kind, id), count) in used {
            if aboard.get(&(*kind, *id)).is_none_or(|there| there < count) {
                self.add(Rule::Loads, format!("{count} of {id} used, less is loaded"));
            }
        }
        if let Some((_, id)) = aboard.keys().find(|key| !used.contains_key(key)) {
            self.add(Rule::Loads, format!("{id} is loaded but not used"));
        }
    }

    fn moves(&mut self, used: &BTreeMap<(ItemKind, &'a str), u32>, value: &mut Value) {
        let boat = self.problem.boat.place.as_str();
        let mut listed = BTreeMap::new();
        for m in &self.plan.moves {
            let place = self.place(m.kind, &m.id);
            let sound = place.is_some_and(|(from, there)| {
                let load = self.plan.loads.iter().find(|l| (l.kind, &l.id) == (m.kind, &m.id));
                from == m.from
                    && m.to == boat
                    && from != boat
                    && (1..=there).contains(&m.quantity)
                    && load.is_some_and(|load| load.quantity == m.quantity)
            });
            if !sound || listed.insert((m.kind, m.id.as_str()), m.quantity).is_some() {
                self.add(Rule::Moves, format!("the move of {} is wrong", m.id));
            }
        }
        for ((kind, id), count) in used {
            let Some((from, _)) = self.place(*kind, id) else { continue };
            if from != boat && listed.get(&(*kind, *id)).is_none_or(|moved| moved < count) {
                self.add(Rule::Moves, format!("{id} lies at {from} and is not moved"));
            }
        }
        for (kind, id) in listed.keys() {
            if !used.contains_key(&(*kind, *id)) {
                self.add(Rule::Moves, format!("{id} is moved but not used"));
            }
            let Some((from, _)) = self.place(*kind, id) else { continue };
            let cost = self.problem.places.iter().find(|p| p.id == from).map_or(0, |p| p.move_cost);
            value.moves += match kind {
                ItemKind::Rod | ItemKind::Reel => cost,
                ItemKind::Line | ItemKind::Leader | ItemKind::Lure => self.weights.small_item(cost),
            };
            value.ties += self.weights.move_tie;
        }
    }

    fn jobs(&mut self, parts: &[Parts<'_>], value: &mut Value) {
        let mut right = Vec::new();
        for (outfit, p) in parts.iter().enumerate() {
            if p.line.minutes > 0 || p.line.stock.is_some() {
                right.push((outfit, JobKind::Respool, p.line.id.as_str(), p.line.minutes));
            }
            for id in &self.plan.outfits[outfit].leaders {
                let minutes = self.problem.leaders.iter().find(|l| l.id == *id).map(|l| l.minutes);
                right.push((outfit, JobKind::Leader, id.as_str(), minutes.unwrap_or(0)));
            }
        }
        let mut listed: Vec<_> =
            self.plan.jobs.iter().map(|j| (j.outfit, j.kind, j.with.as_str(), j.minutes)).collect();
        right.sort_unstable();
        listed.sort_unstable();
        if right != listed {
            self.add(Rule::Jobs, "the jobs are not those that the outfits ask for");
        }
        let minutes: u32 = right.iter().map(|(.., minutes)| minutes).sum();
        let over = minutes.saturating_sub(self.problem.job_minutes_budget);
        value.overtime = Micros::from(over) * self.weights.job_minute;
    }

    fn worth(&mut self, value: &Value) {
        if *value != self.plan.value {
            let text = format!("the plan says {:?}, counted {value:?}", self.plan.value);
            self.add(Rule::Value, text);
        }
        if self.plan.bound < value.objective() {
            self.add(Rule::Value, "the bound lies below the objective");
        }
        if self.plan.status == Status::Optimal && self.plan.bound != value.objective() {
            self.add(Rule::Value, "an optimal plan reaches its bound");
        }
    }
}
