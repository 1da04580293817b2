//! What a plan means on the quay and on the water: who lies ready with what, the load list, and
//! what happens if something is lost, does not arrive, or it blows harder.

use std::collections::{BTreeMap, BTreeSet};

use deepbend_contract::{WireWord as _, pb};
use deepbend_core::gear::{Word as _, infer_power};
use deepbend_core::judge::Verdict;
use deepbend_core::quantity::Speed;
use deepbend_planner::TripProblem;
use deepbend_planner::plan::{ItemKind, Move, NeedCover, TripPlan, Use};
use deepbend_planner::problem::MUST;
use deepbend_planner::weights::{Micros, ONE};

use super::answer::{cargo, count, outfit_id};
use super::offers::{Case, Judge};
use super::pool::short;

/// Wind that is added to see how a plan bears it, m/s. From the project's rules for trips.
const MORE_WIND_M_S: f64 = 3.0;

/// A plan with what it was made from.
#[derive(Debug)]
pub(super) struct Hands<'a, 'v> {
    pub(super) judge: &'a Judge<'a, 'v>,
    pub(super) problem: &'a TripProblem,
    pub(super) plan: &'a TripPlan,
}

/// An outfit that still fishes a need.
#[derive(Clone, Copy, Debug)]
struct Service {
    verdict: Verdict,
    worth: Micros,
}

/// What a plan still does.
#[derive(Debug, Default)]
struct Tally {
    coverage: Micros,
    /// Coverage less musts below their verdict.
    worth: Micros,
    covered: u32,
    opens: Vec<pb::NeedChange>,
}

impl Hands<'_, '_> {
    fn worth(&self, need: usize, used: &Use) -> Micros {
        let outfit = &self.plan.outfits[used.outfit];
        let same = |c: &&deepbend_planner::problem::Candidate| {
            (&c.rod, &c.reel, &c.line) == (&outfit.rod, &outfit.reel, &outfit.line)
        };
        let candidate = self.problem.candidates.iter().find(same);
        let offers = candidate.into_iter().flat_map(|c| &c.offers);
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
                });
            }
        }
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
    pub(super) fn losses(&self) -> Vec<pb::Loss> {
        let mut losses: Vec<pb::Loss> = (0..self.plan.outfits.len())
            .map(|position| {
                let (tally, cost) = self.without(&|_, used| used.outfit == position);
                let outfit = &self.plan.outfits[position];
                let text = format!(
                    "Without {} with {}: {}.",
                    outfit.rod,
                    outfit.reel,
                    opens_text(&tally.opens, "nothing new opens")
                );
                pb::Loss {
                    outfit_id: outfit_id(position),
                    rod_id: outfit.rod.clone(),
                    opens: tally.opens,
                    lost_micros: cost,
                    text,
                }
            })
            .collect();
        losses.sort_by(|a, b| b.lost_micros.cmp(&a.lost_micros).then(a.rod_id.cmp(&b.rod_id)));
        losses
    }

    /// The same outfits in more wind.
    pub(super) fn windier(&self) -> pb::Windier {
        let by = self.judge;
        let cases: Vec<Case<'_>> = by
            .cases
            .iter()
            .map(|case| {
                let mut case = case.clone();
                for (water, _) in &mut case.waters {
                    let now = water.wind_speed.map_or(0.0, Speed::m_s);
                    water.wind_speed = Some(Speed::from_m_s(now + MORE_WIND_M_S));
                }
                case
            })
            .collect();
        let tally = self.tally(&|at, used| {
            let o = &self.plan.outfits[used.outfit];
            let outfit = by.assembled(&o.rod, &o.reel, &o.line, used.leader.as_deref())?;
            let weighed = cases[at].weigh(by.model, by.weights, &outfit);
            let serves = weighed.verdict <= Verdict::Workable;
            serves.then_some(Service { verdict: weighed.verdict, worth: weighed.worth })
        });
        pb::Windier {
            added_wind_m_s: MORE_WIND_M_S,
            covered_count: count(tally.covered),
            coverage_micros: tally.coverage,
            text: format!(
                "At {} m/s more wind {} of {} lures stay covered: {}.",
                short(MORE_WIND_M_S),
                tally.covered,
                self.plan.counts.needs,
                opens_text(&tally.opens, "nothing new opens")
            ),
            opens: tally.opens,
        }
    }

    /// What happens if something does not arrive.
    pub(super) fn if_missing(&self, step: &Move) -> String {
        let outfits = &self.plan.outfits;
        let (tally, cost) = self.without(&|cover, used| {
            let outfit = &outfits[used.outfit];
            match step.kind {
                ItemKind::Rod => outfit.rod == step.id,
                ItemKind::Reel => outfit.reel == step.id,
                ItemKind::Line => outfit.line == step.id,
                ItemKind::Leader => used.leader.as_ref() == Some(&step.id),
                ItemKind::Lure => cover.lure == step.id,
            }
        });
        if tally.opens.is_empty() && cost <= 0 {
            return "nothing changes: the rest does its work".to_owned();
        }
        let less =
            format!("no lure opens, but the plan is worth {:.2} less", cost as f64 / ONE as f64);
        opens_text(&tally.opens, &less)
    }

    /// Who starts with what, and what lies ready as the second.
    pub(super) fn starts(&self) -> Vec<pb::Start> {
        let plan = self.plan;
        let mut busy: BTreeSet<(&str, usize)> =
            plan.starts.iter().map(|s| (s.segment.as_str(), s.outfit)).collect();
        let mut list = Vec::new();
        for start in &plan.starts {
            let second = self.second(&start.segment, &start.angler, &start.lure, &busy);
            if let Some((outfit, _)) = second {
                busy.insert((&start.segment, outfit));
            }
            list.push(pb::Start {
                segment_id: start.segment.clone(),
                angler_id: start.angler.clone(),
                outfit_id: outfit_id(start.outfit),
                lure_id: start.lure.clone(),
                second_outfit_id: second.map(|(o, _)| outfit_id(o)).unwrap_or_default(),
                second_lure_id: second.map(|(_, lure)| lure.to_owned()).unwrap_or_default(),
            });
        }
        list
    }

    /// A free outfit for the angler and the most important lure that it fishes.
    fn second(
        &self,
        segment: &str,
        angler: &str,
        first: &str,
        busy: &BTreeSet<(&str, usize)>,
    ) -> Option<(usize, &str)> {
        let suits = |position: usize| {
            let o = &self.plan.outfits[position];
            let same = |c: &&deepbend_planner::problem::Candidate| {
                (&c.rod, &c.reel, &c.line) == (&o.rod, &o.reel, &o.line)
            };
            let candidate = self.problem.candidates.iter().find(same);
            candidate.is_some_and(|c| c.not_for.iter().all(|name| name != angler))
        };
        let mut best: Option<(u32, f64, usize, &str)> = None;
        for cover in self.plan.coverage.iter().filter(|c| c.segment == segment && c.lure != first) {
            let Some(at) = self.judge.need(&cover.segment, &cover.lure) else { continue };
            let importance = self.judge.asked.trip.needs[at].importance;
            let free = |used: &&Use| !busy.contains(&(segment, used.outfit)) && suits(used.outfit);
            let Some(used) = cover.uses.iter().find(free) else { continue };
            if best.is_none_or(|(i, s, ..)| (importance, used.score) > (i, s)) {
                best = Some((importance, used.score, used.outfit, &cover.lure));
            }
        }
        best.map(|(_, _, outfit, lure)| (outfit, lure))
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
        let mut ties: BTreeMap<&str, (u32, String)> = BTreeMap::new();
        for &o in &rack {
            let (outfit, id) = (&plan.outfits[o], outfit_id(o));
            let rod = p.rods.iter().find(|r| r.id == outfit.rod).map(|r| r.place.as_str());
            let reel = p.reels.iter().find(|r| r.id == outfit.reel).map(|r| r.place.as_str());
            list.push(line(ItemKind::Rod, &outfit.rod, 1, rod, id.clone()));
            list.push(line(ItemKind::Reel, &outfit.reel, 1, reel, id.clone()));
            for leader in &outfit.leaders {
                ties.entry(leader).or_insert((0, id.clone())).0 += 1;
            }
        }
        let spares = self.judge.weights.spares;
        for (leader, (tied, outfit)) in ties {
            let Some(stock) = p.leaders.iter().find(|l| l.id == leader) else { continue };
            let quantity = (tied + spares).min(stock.quantity);
            list.push(line(ItemKind::Leader, leader, quantity, Some(&stock.place), outfit));
        }
        let mut lures: BTreeMap<&str, u32> = BTreeMap::new();
        for cover in plan.coverage.iter().filter(|c| !c.uses.is_empty()) {
            let need = self.judge.need(&cover.segment, &cover.lure);
            let copies = need.map_or(1, |n| self.judge.asked.trip.needs[n].copies_at_once);
            let most = lures.entry(&cover.lure).or_insert(0);
            *most = copies.max(*most);
        }
        for (lure, copies) in lures {
            let Some(stock) = p.lures.iter().find(|l| l.id == lure) else { continue };
            let moved = plan.moves.iter().find(|m| m.kind == ItemKind::Lure && m.id == lure);
            let quantity = moved.map_or((copies + spares).min(stock.quantity), |m| m.quantity);
            list.push(line(ItemKind::Lure, lure, quantity, Some(&stock.place), String::new()));
        }
        let back = list.iter().rev().cloned().collect();
        (list, back)
    }
}

/// Needs that open, in words.
pub(super) fn opens_text(opens: &[pb::NeedChange], none: &str) -> String {
    if opens.is_empty() {
        return none.to_owned();
    }
    let one = |change: &pb::NeedChange| {
        let must = if change.importance == count(MUST) { " (a must)" } else { "" };
        let verdict = pb::Verdict::try_from(change.after).unwrap_or_default();
        let now = Verdict::from_wire_word(verdict).map_or("nothing", |v| v.as_word());
        format!("{}{must} falls to {now}", change.lure_id)
    };
    opens.iter().map(one).collect::<Vec<_>>().join(", ")
}
