//! A problem is looked over before it is solved: every fault is named with its field.

use std::collections::BTreeSet;

use deepbend_core::judge::Verdict;

use crate::plan::ItemKind;
use crate::problem::{Candidate, Offer, Pin, TripProblem};
use crate::weights::{ONE, Weights};

/// One fault of a problem.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// Path of the field, for example `rods[2].place`.
    pub field: String,
    /// What is wrong and what would be right.
    pub text: String,
}

/// All faults of a problem.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the trip cannot be planned as stated: {}", list(.0))]
pub struct ProblemFaults(pub Vec<Fault>);

fn list(faults: &[Fault]) -> String {
    faults.iter().map(|f| format!("{}: {}", f.field, f.text)).collect::<Vec<_>>().join("; ")
}

struct Collector(Vec<Fault>);

impl Collector {
    fn add(&mut self, field: String, text: impl Into<String>) {
        self.0.push(Fault { field, text: text.into() });
    }

    fn unless(&mut self, right: bool, field: impl FnOnce() -> String, text: &str) {
        if !right {
            self.add(field(), text);
        }
    }

    fn ids<'a>(&mut self, list: &str, ids: impl Iterator<Item = &'a str>) -> BTreeSet<&'a str> {
        let mut seen = BTreeSet::new();
        for (i, id) in ids.enumerate() {
            if id.is_empty() {
                self.add(format!("{list}[{i}].id"), "is empty; every entry needs an id");
            } else if !seen.insert(id) {
                self.add(format!("{list}[{i}].id"), format!("{id} stands twice; once is right"));
            }
        }
        seen
    }

    fn known(&mut self, ids: &BTreeSet<&str>, id: &str, field: impl FnOnce() -> String) {
        if !ids.contains(id) {
            self.add(field(), format!("{id:?} is not in the problem; name an entry of its list"));
        }
    }
}

impl Weights {
    /// Looks the weights over.
    ///
    /// # Errors
    ///
    /// All weights out of range.
    pub fn validate(&self) -> Result<(), ProblemFaults> {
        let mut c = Collector(Vec::new());
        let shares = [
            ("excellent", self.excellent, ONE),
            ("good", self.good, ONE),
            ("workable", self.workable, ONE),
            ("backup_share", self.backup_share, ONE / 2),
            ("copies_share", self.copies_share, ONE / 2),
            ("small_item_share", self.small_item_share, ONE),
            ("shortfall", self.shortfall, 100 * ONE),
            ("job_minute", self.job_minute, 100 * ONE),
            ("outfit_tie", self.outfit_tie, 100 * ONE),
            ("move_tie", self.move_tie, 100 * ONE),
        ];
        for (name, value, most) in shares {
            if !(0..=most).contains(&value) {
                let text = format!("must lie between 0 and {most} millionths");
                c.add(format!("weights.{name}"), text);
            }
        }
        if self.spares > 1_000 {
            c.add("weights.spares".into(), "must be 1000 or less");
        }
        if c.0.is_empty() { Ok(()) } else { Err(ProblemFaults(c.0)) }
    }
}

impl TripProblem {
    /// Looks the problem over.
    ///
    /// # Errors
    ///
    /// All faults found: ids that stand twice or name nothing, numbers out of range.
    pub fn validate(&self) -> Result<(), ProblemFaults> {
        let mut c = Collector(Vec::new());
        self.validate_pool(&mut c);
        self.validate_demand(&mut c);
        self.validate_candidates(&mut c);
        self.validate_pins(&mut c);
        if c.0.is_empty() { Ok(()) } else { Err(ProblemFaults(c.0)) }
    }

    fn validate_pool(&self, c: &mut Collector) {
        let places = c.ids("places", self.places.iter().map(|p| p.id.as_str()));
        c.known(&places, &self.boat.place, || "boat.place".into());
        if let Some(length) = self.boat.locker_length_m {
            let right = length.is_finite() && length > 0.0;
            c.unless(right, || "boat.locker_length_m".into(), "must be metres above 0");
        }
        for (i, place) in self.places.iter().enumerate() {
            let right = (0..=100 * ONE).contains(&place.move_cost);
            let field = || format!("places[{i}].move_cost");
            c.unless(right, field, "must lie between 0 and 100 000 000 millionths");
            let own = place.id != self.boat.place || place.move_cost == 0;
            c.unless(own, || format!("places[{i}].move_cost"), "must be 0 on the boat itself");
        }
        c.ids("rods", self.rods.iter().map(|r| r.id.as_str()));
        for (i, rod) in self.rods.iter().enumerate() {
            c.known(&places, &rod.place, || format!("rods[{i}].place"));
            c.unless(rod.pieces > 0, || format!("rods[{i}].pieces"), "must be 1 or more");
            let right = rod.length_m.is_finite() && rod.length_m > 0.0;
            c.unless(right, || format!("rods[{i}].length_m"), "must be metres above 0");
        }
        let stock = c.ids("line_stock", self.line_stock.iter().map(|s| s.id.as_str()));
        for (i, line) in self.line_stock.iter().enumerate() {
            c.known(&places, &line.place, || format!("line_stock[{i}].place"));
        }
        c.ids("reels", self.reels.iter().map(|r| r.id.as_str()));
        for (i, reel) in self.reels.iter().enumerate() {
            c.known(&places, &reel.place, || format!("reels[{i}].place"));
            c.ids(&format!("reels[{i}].lines"), reel.lines.iter().map(|l| l.id.as_str()));
            for (j, line) in reel.lines.iter().enumerate() {
                if let Some(taken) = &line.stock {
                    c.known(&stock, &taken.stock, || format!("reels[{i}].lines[{j}].stock"));
                }
                let field = || format!("reels[{i}].lines[{j}].minutes");
                c.unless(line.minutes <= 1440, field, "must be a day of minutes, 1440, or less");
            }
        }
        c.ids("leaders", self.leaders.iter().map(|l| l.id.as_str()));
        for (i, leader) in self.leaders.iter().enumerate() {
            c.known(&places, &leader.place, || format!("leaders[{i}].place"));
            let field = || format!("leaders[{i}].minutes");
            c.unless(leader.minutes <= 1440, field, "must be a day of minutes, 1440, or less");
        }
        c.ids("lures", self.lures.iter().map(|l| l.id.as_str()));
        for (i, lure) in self.lures.iter().enumerate() {
            c.known(&places, &lure.place, || format!("lures[{i}].place"));
        }
    }

    fn validate_demand(&self, c: &mut Collector) {
        let anglers = c.ids("anglers", self.anglers.iter().map(|a| a.id.as_str()));
        let segments = c.ids("segments", self.segments.iter().map(|s| s.id.as_str()));
        for (i, segment) in self.segments.iter().enumerate() {
            let mut seen = BTreeSet::new();
            for (j, angler) in segment.anglers.iter().enumerate() {
                c.known(&anglers, angler, || format!("segments[{i}].anglers[{j}]"));
                let first = seen.insert(angler);
                let field = || format!("segments[{i}].anglers[{j}]");
                c.unless(first, field, "stands twice; an angler fishes one outfit at a time");
            }
            for (j, angler) in segment.turns.iter().enumerate() {
                c.known(&anglers, angler, || format!("segments[{i}].turns[{j}]"));
            }
        }
        let lures: BTreeSet<_> = self.lures.iter().map(|l| l.id.as_str()).collect();
        let mut seen = BTreeSet::new();
        for (i, need) in self.needs.iter().enumerate() {
            c.known(&segments, &need.segment, || format!("needs[{i}].segment"));
            c.known(&lures, &need.lure, || format!("needs[{i}].lure"));
            let first = seen.insert((&need.segment, &need.lure));
            c.unless(first, || format!("needs[{i}]"), "stands twice; state the copies instead");
            let right = (1..=3).contains(&need.importance);
            c.unless(right, || format!("needs[{i}].importance"), "must be 1, 2 or 3");
            let right = (1..=20).contains(&need.copies_at_once);
            c.unless(right, || format!("needs[{i}].copies_at_once"), "must be 1 to 20");
            let right = need.min_verdict <= Verdict::Workable;
            let text = "must be excellent, good or workable";
            c.unless(right, || format!("needs[{i}].min_verdict"), text);
        }
    }

    fn validate_candidates<'a>(&'a self, c: &mut Collector) {
        let rods: BTreeSet<_> = self.rods.iter().map(|r| r.id.as_str()).collect();
        let leaders: BTreeSet<_> = self.leaders.iter().map(|l| l.id.as_str()).collect();
        let anglers: BTreeSet<_> = self.anglers.iter().map(|a| a.id.as_str()).collect();
        let lines: BTreeSet<_> = self
            .reels
            .iter()
            .flat_map(|r| r.lines.iter().map(|l| (r.id.as_str(), l.id.as_str())))
            .collect();
        // What is in order stands once; there may be too many to look each up.
        let name = |candidate: &'a Candidate| (&candidate.rod, &candidate.reel, &candidate.line);
        let is_in_order = self.candidates.is_sorted_by(|a, b| name(a) < name(b));
        let mut seen = BTreeSet::new();
        for (i, candidate) in self.candidates.iter().enumerate() {
            c.known(&rods, &candidate.rod, || format!("candidates[{i}].rod"));
            let right = lines.contains(&(candidate.reel.as_str(), candidate.line.as_str()));
            let text = "must name a reel and one of its line options";
            c.unless(right, || format!("candidates[{i}].line"), text);
            let first = is_in_order || seen.insert(name(candidate));
            c.unless(first, || format!("candidates[{i}]"), "stands twice; once is right");
            for (j, angler) in candidate.not_for.iter().enumerate() {
                c.known(&anglers, angler, || format!("candidates[{i}].not_for[{j}]"));
            }
            let key = |offer: &'a Offer| (offer.need, &offer.leader);
            let are_in_order = candidate.offers.is_sorted_by(|a, b| key(a) < key(b));
            let mut offered = BTreeSet::new();
            for (j, offer) in candidate.offers.iter().enumerate() {
                let at = |name: &str| format!("candidates[{i}].offers[{j}]{name}");
                let right = offer.need < self.needs.len();
                c.unless(right, || at(".need"), "must be the position of a need");
                if let Some(leader) = &offer.leader {
                    c.known(&leaders, leader, || at(".leader"));
                }
                let right = (0..=ONE).contains(&offer.worth);
                c.unless(right, || at(".worth"), "must lie between 0 and 1 000 000");
                let right = offer.score.is_finite() && (0.0..=1.0).contains(&offer.score);
                c.unless(right, || at(".score"), "must lie between 0 and 1");
                let first = are_in_order || offered.insert(key(offer));
                c.unless(first, || at(""), "stands twice for one need and leader");
            }
        }
    }

    fn validate_pins(&self, c: &mut Collector) {
        let rods: BTreeSet<_> = self.rods.iter().map(|r| r.id.as_str()).collect();
        let reels: BTreeSet<_> = self.reels.iter().map(|r| r.id.as_str()).collect();
        for (i, pin) in self.pins.iter().enumerate() {
            let at = || format!("pins[{i}]");
            match pin {
                Pin::Take { kind: ItemKind::Rod, id } | Pin::Leave { kind: ItemKind::Rod, id } => {
                    c.known(&rods, id, at);
                }
                Pin::Take { kind: ItemKind::Reel, id }
                | Pin::Leave { kind: ItemKind::Reel, id } => c.known(&reels, id, at),
                Pin::Take { .. } | Pin::Leave { .. } => {
                    c.add(at(), "must name a rod or a reel; other kinds are not pinned");
                }
                Pin::Pair { rod, reel } => {
                    c.known(&rods, rod, at);
                    c.known(&reels, reel, at);
                }
                Pin::Hold { segment, lure } => {
                    let right = self.needs.iter().any(|n| (&n.segment, &n.lure) == (segment, lure));
                    c.unless(right, at, "must name the segment and the lure of a need");
                }
            }
        }
    }
}
