//! What a plan means on the quay and on the water: who lies ready with what, the load list, and
//! what happens if something is lost, does not arrive, or it blows harder.

use std::collections::BTreeSet;

use deepbend_contract::{WireWord as _, pb};
use deepbend_core::gear::infer_power;
use deepbend_core::judge::Verdict;
use deepbend_core::quantity::words::METRES_A_SECOND;
use deepbend_planner::plan::{ItemKind, Load, Move, NeedCover, Start, TripPlan, Use};
use deepbend_planner::problem::{Candidate, MUST, Offer};
use deepbend_planner::weights::Micros;
use deepbend_planner::{Crew, Left, TripProblem, crews};

use super::answer::{cargo, count, several};
use super::case::Case;
use super::jobs::Rigged;
use super::offers::Judge;
use super::opens::worth_less;

/// Wind that is added to see how a plan bears it, m/s. From the project's rules for trips.
const MORE_WIND_M_S: f64 = 3.0;

/// A plan with what it was made from.
#[derive(Debug)]
pub(super) struct Hands<'a, 'v> {
    pub(super) judge: &'a Judge<'a, 'v>,
    /// No more of it than what the plan takes: see [`own`].
    pub(super) problem: &'a TripProblem,
    pub(super) plan: &'a TripPlan,
}

/// A problem without the outfits, rods and reels that a plan leaves ashore: they change nothing of
/// what is left of it.
pub(super) fn own(problem: &TripProblem, plan: &TripPlan) -> TripProblem {
    let taken = |c: &&Candidate| {
        plan.outfits.iter().any(|o| (&o.rod, &o.reel, &o.line) == (&c.rod, &c.reel, &c.line))
    };
    let aboard = |id: &str| plan.loads.iter().any(|load| load.id == id);
    TripProblem {
        boat: problem.boat.clone(),
        places: problem.places.clone(),
        rods: problem.rods.iter().filter(|r| aboard(&r.id)).cloned().collect(),
        reels: problem.reels.iter().filter(|r| aboard(&r.id)).cloned().collect(),
        leaders: problem.leaders.clone(),
        line_stock: problem.line_stock.clone(),
        lures: problem.lures.clone(),
        anglers: problem.anglers.clone(),
        segments: problem.segments.clone(),
        needs: problem.needs.clone(),
        candidates: problem.candidates.iter().filter(taken).cloned().collect(),
        job_minutes_budget: problem.job_minutes_budget,
        pins: Vec::new(),
    }
}

/// An outfit that still fishes a need.
#[derive(Clone, Copy, Debug)]
struct Service {
    verdict: Verdict,
    worth: Micros,
}

/// What a plan still does.
#[derive(Debug, Default)]
pub(super) struct Tally {
    coverage: Micros,
    /// Coverage less musts below their verdict.
    worth: Micros,
    covered: u32,
    pub(super) opens: Vec<pb::NeedChange>,
    pub(super) unfished: Vec<Unfished>,
}

/// A lure that is fished no more, of a need that was not covered before.
#[derive(Debug)]
pub(super) struct Unfished {
    pub(super) segment: String,
    pub(super) lure: String,
    pub(super) importance: u32,
}

/// What lies ready as the second.
#[derive(Clone, Copy, Debug)]
struct Second<'p> {
    lure: &'p str,
    outfit: usize,
    /// What is on it when the segment begins.
    leader: Option<&'p str>,
    /// In the hands of whom it lies ready for.
    verdict: Verdict,
}

impl<'p> Hands<'p, '_> {
    pub(super) fn candidate(&self, outfit: usize) -> Option<&'p Candidate> {
        let o = &self.plan.outfits[outfit];
        let same = |c: &&Candidate| (&c.rod, &c.reel, &c.line) == (&o.rod, &o.reel, &o.line);
        self.problem.candidates.iter().find(same)
    }

    fn worth(&self, need: usize, used: &Use) -> Micros {
        let offers = self.candidate(used.outfit).into_iter().flat_map(|c| &c.offers);
        let offer =
            offers.filter(|o| o.need == need && o.leader == used.leader).max_by_key(|o| o.worth);
        offer.map_or(0, |offer| offer.worth)
    }

    /// Counts the plan anew with what `serve` leaves of each use.
    fn tally(&self, serve: &dyn Fn(usize, &Use) -> Option<Service>) -> Tally {
        let (weights, mut tally) = (self.judge.weights, Tally::default());
        for cover in &self.plan.coverage {
            let Some(at) = self.judge.need(&cover.segment, &cover.lure) else { continue };
            let need = &self.judge.asked.trip.needs[at];
            let mut left: Vec<Service> =
                cover.uses.iter().filter_map(|used| serve(at, used)).collect();
            left.sort_by_key(|s| (std::cmp::Reverse(s.worth), s.verdict));
            let shares = weights.shares(need.copies_at_once);
            let terms = shares.iter().zip(&left);
            let worth: Micros =
                terms.map(|(share, s)| weights.term(need.importance, *share, s.worth)).sum();
            let meeting = left.iter().filter(|s| need.met_by(s.verdict)).count();
            let covered = cover.covered && meeting >= need.copies_at_once as usize;
            tally.coverage += worth;
            tally.worth += worth;
            if need.importance == MUST && !covered {
                tally.worth -= weights.shortfall * Micros::from(need.importance);
            }
            tally.covered += u32::from(covered);
            if !cover.covered && !cover.uses.is_empty() && left.is_empty() {
                tally.unfished.push(Unfished {
                    segment: cover.segment.clone(),
                    lure: cover.lure.clone(),
                    importance: need.importance,
                });
            }
            if cover.covered && !covered {
                let copies = need.copies_at_once as usize;
                let fished = |list: &mut dyn Iterator<Item = Verdict>| {
                    list.take(copies).max().map_or(0, |v| v.to_wire_word().into())
                };
                tally.opens.push(pb::NeedChange {
                    trip_id: String::new(),
                    segment_id: cover.segment.clone(),
                    lure_id: cover.lure.clone(),
                    before: fished(&mut cover.uses.iter().map(|used| used.verdict)),
                    after: fished(&mut left.iter().map(|s| s.verdict)),
                    importance: count(need.importance),
                    covered_before: true,
                    covered_after: false,
                    copy_count: several(need.copies_at_once, need.copies_at_once),
                    copy_before_count: several(need.copies_at_once, need.copies_at_once),
                    copy_after_count: several(need.copies_at_once, meeting as u32),
                });
            }
        }
        tally.unfished.sort_by(|a, b| b.importance.cmp(&a.importance).then(a.lure.cmp(&b.lure)));
        tally.opens.sort_by(|a, b| b.importance.cmp(&a.importance).then(a.lure_id.cmp(&b.lure_id)));
        tally
    }

    /// The plan without some of its uses, and what that costs.
    fn without(&self, lost: &dyn Fn(&NeedCover, &Use) -> bool) -> (Tally, Micros) {
        let serve = |at: usize, used: &Use, kept: bool| {
            kept.then(|| Service { verdict: used.verdict, worth: self.worth(at, used) })
        };
        let whole = self.tally(&|at, used| serve(at, used, true));
        let tally = self.tally(&|at, used| {
            let need = &self.judge.asked.trip.needs[at];
            let same = |c: &&NeedCover| (&c.segment, &c.lure) == (&need.segment, &need.lure);
            let cover = self.plan.coverage.iter().find(same);
            serve(at, used, !cover.is_some_and(|cover| lost(cover, used)))
        });
        let cost = whole.worth - tally.worth;
        (tally, cost)
    }

    /// What the loss of each outfit opens, the worst first.
    pub(super) fn losses(&self, rigged: &Rigged<'_>) -> Vec<pb::Loss> {
        let mut losses: Vec<pb::Loss> = (0..self.plan.outfits.len())
            .map(|position| {
                let lost = |_: &NeedCover, used: &Use| used.outfit == position;
                let (tally, cost) = self.without(&lost);
                let (first, change_minutes) = self.changes(rigged, &lost);
                let short =
                    self.short_crews(&|lost, offer| (lost != position).then(|| Left::whole(offer)));
                let outfit = &self.plan.outfits[position];
                let text = format!(
                    "Without {} with {}: {}{first}.",
                    outfit.rod,
                    outfit.reel,
                    self.opens_text(&tally, &short, "nothing new opens")
                );
                let mut unfished: Vec<String> =
                    tally.unfished.into_iter().map(|unfished| unfished.lure).collect();
                unfished.sort_unstable();
                unfished.dedup();
                pb::Loss {
                    outfit_id: self.judge.outfit_id(self.plan, position),
                    rod_id: outfit.rod.clone(),
                    opens: tally.opens,
                    lost_micros: cost,
                    text,
                    short_crews: short,
                    unfished_lure_ids: unfished,
                    change_minutes,
                }
            })
            .collect();
        // Somebody without a rod is worse than any lure that opens.
        let idle = |loss: &pb::Loss| -> i32 {
            loss.short_crews.iter().map(|crew| crew.angler_count - crew.seated_count).sum()
        };
        losses.sort_by(|a, b| {
            let costs = b.lost_micros.cmp(&a.lost_micros);
            idle(b).cmp(&idle(a)).then(costs).then(a.rod_id.cmp(&b.rod_id))
        });
        losses
    }

    /// The same outfits in more wind.
    pub(super) fn windier(&self) -> pb::Windier {
        let by = self.judge;
        let more = |now: f64| now + MORE_WIND_M_S;
        let cases: Vec<Case<'_>> = by.cases.iter().map(|case| case.in_wind(more)).collect();
        let tally = self.tally(&|at, used| {
            let o = &self.plan.outfits[used.outfit];
            let outfit = by.assembled(&o.rod, &o.reel, &o.line, used.leader.as_deref())?;
            let weighed = cases[at].weigh(by.model, by.weights, &outfit);
            let serves = weighed.verdict <= Verdict::Workable;
            serves.then_some(Service { verdict: weighed.verdict, worth: weighed.worth })
        });
        let idle = self.short_crews(&|position, offer| {
            let o = &self.plan.outfits[position];
            let leader = offer.leader.as_deref();
            if offer.leader.as_ref().is_some_and(|l| !o.leaders.contains(l)) {
                return None;
            }
            let outfit = by.assembled(&o.rod, &o.reel, &o.line, leader)?;
            let (weighed, hands) = cases[offer.need].weigh_all(by.model, by.weights, &outfit);
            Some(Left { verdict: weighed.verdict, hands })
        });
        pb::Windier {
            added_wind_m_s: MORE_WIND_M_S,
            covered_count: count(tally.covered),
            coverage_micros: tally.coverage,
            text: format!(
                "At {} more wind {} of {} lures stay covered: {}.",
                METRES_A_SECOND.one(MORE_WIND_M_S),
                tally.covered,
                self.plan.counts.needs,
                self.opens_text(&tally, &idle, "nothing new opens")
            ),
            opens: tally.opens,
            short_crews: idle,
        }
    }

    /// What happens if something does not arrive.
    pub(super) fn if_missing(&self, step: &Move, rigged: &Rigged<'_>) -> String {
        let outfits = &self.plan.outfits;
        let lost = |cover: &NeedCover, used: &Use| {
            let outfit = &outfits[used.outfit];
            match step.kind {
                ItemKind::Rod => outfit.rod == step.id,
                ItemKind::Reel => outfit.reel == step.id,
                ItemKind::Line => outfit.line == step.id,
                ItemKind::Leader => used.leader.as_ref() == Some(&step.id),
                ItemKind::Lure => cover.lure == step.id,
            }
        };
        let (tally, cost) = self.without(&lost);
        let (first, _) = self.changes(rigged, &lost);
        let short = self.short_crews(&|position, offer| {
            let o = &outfits[position];
            let missing = match step.kind {
                ItemKind::Rod => o.rod == step.id,
                ItemKind::Reel => o.reel == step.id,
                ItemKind::Line => o.line == step.id,
                ItemKind::Leader => offer.leader.as_ref() == Some(&step.id),
                ItemKind::Lure => self.judge.asked.trip.needs[offer.need].lure == step.id,
            };
            (!missing).then(|| Left::whole(offer))
        });
        let none = match cost {
            ..=0 => "nothing changes: the rest does its work".to_owned(),
            1.. => worth_less(cost),
        };
        self.opens_text(&tally, &short, &none) + &first
    }

    /// Segments in which what is left of the plan no longer seats all who fish at once.
    fn short_crews(&self, serve: &dyn Fn(usize, &Offer) -> Option<Left>) -> Vec<pb::ShortCrew> {
        let left = crews(self.problem, self.judge.weights, self.plan, serve);
        let missing = |crew: &Crew| crew.seated < crew.anglers;
        left.into_iter().filter(missing).map(short_crew).collect()
    }

    /// Who starts with what, and what lies ready as the second.
    pub(super) fn starts(&self, rigged: &Rigged<'p>) -> Vec<pb::Start> {
        let plan = self.plan;
        let mut busy: BTreeSet<(&str, usize)> =
            plan.starts.iter().map(|s| (s.segment.as_str(), s.outfit)).collect();
        let mut fished: Vec<(&str, &str)> =
            plan.starts.iter().map(|s| (s.segment.as_str(), s.lure.as_str())).collect();
        let mut list = Vec::new();
        for start in &plan.starts {
            let second = self.second(start, rigged, &busy, &fished);
            if let Some(second) = second {
                busy.insert((&start.segment, second.outfit));
                fished.push((&start.segment, second.lure));
            }
            list.push(pb::Start {
                segment_id: start.segment.clone(),
                angler_id: start.angler.clone(),
                outfit_id: self.judge.outfit_id(self.plan, start.outfit),
                lure_id: start.lure.clone(),
                verdict: start.verdict.to_wire_word().into(),
                score: start.score,
                leader_stock_id: start.leader.clone().unwrap_or_default(),
                second_outfit_id: second
                    .map(|s| self.judge.outfit_id(self.plan, s.outfit))
                    .unwrap_or_default(),
                second_leader_stock_id: second
                    .and_then(|s| s.leader)
                    .unwrap_or_default()
                    .to_owned(),
                second_lure_id: second.map(|s| s.lure.to_owned()).unwrap_or_default(),
                second_verdict: second.map_or(0, |s| s.verdict.to_wire_word().into()),
                second_meets: second.is_some(),
            });
        }
        list
    }

    /// A free outfit for the angler, as it is rigged when the segment begins, and the most important
    /// lure that it covers in these hands. Of no lure lie more ready than are aboard.
    fn second(
        &self,
        start: &Start,
        rigged: &Rigged<'p>,
        busy: &BTreeSet<(&str, usize)>,
        fished: &[(&str, &str)],
    ) -> Option<Second<'p>> {
        let segment = start.segment.as_str();
        let angler = self.problem.anglers.iter().find(|a| a.id == start.angler)?;
        let mut best: Option<((u32, f64), Second<'p>)> = None;
        let elsewhere = |c: &&NeedCover| c.segment == segment && c.lure != start.lure;
        for cover in self.plan.coverage.iter().filter(elsewhere) {
            let Some(at) = self.judge.need(&cover.segment, &cover.lure) else { continue };
            let need = &self.judge.asked.trip.needs[at];
            let lie = fished.iter().filter(|f| **f == (segment, cover.lure.as_str())).count();
            if lie >= self.loaded(ItemKind::Lure, &cover.lure) as usize {
                continue;
            }
            for used in cover.uses.iter().filter(|u| !busy.contains(&(segment, u.outfit))) {
                let leader = rigged.leader(used.outfit, segment);
                let suiting = self.suiting(at, used.outfit, leader, &start.angler);
                let Some(offer) = suiting else { continue };
                let (verdict, score) = offer.in_hands(angler.skill);
                let rank = (need.importance, score);
                if need.met_by(verdict) && best.is_none_or(|(known, _)| rank > known) {
                    let (lure, outfit) = (cover.lure.as_str(), used.outfit);
                    best = Some((rank, Second { lure, outfit, leader, verdict }));
                }
            }
        }
        best.map(|(_, second)| second)
    }

    /// What an outfit offers for a need with a leader, if it is one for this angler.
    fn suiting(
        &self,
        need: usize,
        outfit: usize,
        leader: Option<&str>,
        angler: &String,
    ) -> Option<&'p Offer> {
        let candidate = self.candidate(outfit).filter(|c| !c.not_for.contains(angler))?;
        candidate.offers.iter().find(|o| o.need == need && o.leader.as_deref() == leader)
    }

    fn loaded(&self, kind: ItemKind, id: &str) -> u32 {
        let load = self.plan.loads.iter().find(|l| (l.kind, l.id.as_str()) == (kind, id));
        load.map_or(0, |load| load.quantity)
    }

    /// The load list, rods in the order of the rack, and the same for the way back.
    pub(super) fn lists(&self) -> (Vec<pb::LoadLine>, Vec<pb::LoadLine>) {
        let (p, plan) = (self.problem, self.plan);
        let mut rack: Vec<usize> = (0..plan.outfits.len()).collect();
        let power = |o: &usize| {
            let rod = self.judge.pool.rod(&plan.outfits[*o].rod);
            rod.map_or(0.0, |rod| infer_power(self.judge.model, rod.rod).class)
        };
        rack.sort_by(|a, b| power(a).total_cmp(&power(b)).then(a.cmp(b)));
        let line =
            |kind: ItemKind, id: &str, quantity: u32, place: Option<&str>, outfit: String| {
                pb::LoadLine {
                    kind: cargo(kind).into(),
                    item_id: id.to_owned(),
                    quantity: count(quantity),
                    place_id: place.unwrap_or_default().to_owned(),
                    outfit_id: outfit,
                }
            };
        let mut list = Vec::new();
        for &o in &rack {
            let (outfit, id) = (&plan.outfits[o], self.judge.outfit_id(plan, o));
            let rod = p.rods.iter().find(|r| r.id == outfit.rod).map(|r| r.place.as_str());
            let reel = p.reels.iter().find(|r| r.id == outfit.reel).map(|r| r.place.as_str());
            list.push(line(ItemKind::Rod, &outfit.rod, 1, rod, id.clone()));
            list.push(line(ItemKind::Reel, &outfit.reel, 1, reel, id.clone()));
        }
        for Load { kind, id, quantity } in &plan.loads {
            match kind {
                // Line is wound on before; rods and reels stand above.
                ItemKind::Rod | ItemKind::Reel | ItemKind::Line => {}
                ItemKind::Leader => {
                    let place = p.leaders.iter().find(|l| l.id == *id).map(|l| l.place.as_str());
                    let mut tied = rack.iter().filter(|o| plan.outfits[**o].leaders.contains(id));
                    let only = tied.next().filter(|_| tied.next().is_none());
                    let outfit = only.map(|o| self.judge.outfit_id(plan, *o)).unwrap_or_default();
                    list.push(line(ItemKind::Leader, id, *quantity, place, outfit));
                }
                ItemKind::Lure => {
                    let place = p.lures.iter().find(|l| l.id == *id).map(|l| l.place.as_str());
                    list.push(line(ItemKind::Lure, id, *quantity, place, String::new()));
                }
            }
        }
        let back = list.iter().rev().cloned().collect();
        (list, back)
    }
}

fn short_crew(crew: Crew) -> pb::ShortCrew {
    pb::ShortCrew {
        segment_id: crew.segment,
        angler_count: count(crew.anglers),
        seated_count: count(crew.seated),
        idle_angler_ids: Vec::new(),
    }
}
