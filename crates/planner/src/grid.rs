//! The problem as numbers: positions instead of names, in id order, and only what may be used.

use std::collections::BTreeMap;

use deepbend_core::judge::Verdict;

use crate::problem::{MUST, TripProblem};
use crate::weights::{Micros, Weights};

/// Limits that are lifted to find out which of them clash. Nothing is lifted in a plan.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Lift {
    pub(crate) rod_limit: bool,
    pub(crate) locker: bool,
    pub(crate) one_reel: bool,
    pub(crate) ready: bool,
    pub(crate) min_verdict: bool,
    pub(crate) no_unsafe: bool,
    pub(crate) angler_suits: bool,
    pub(crate) lure_stock: bool,
    pub(crate) leader_stock: bool,
    pub(crate) line_stock: bool,
}

/// A stock that may have to be moved.
#[derive(Clone, Debug)]
pub(crate) struct Stock {
    pub(crate) quantity: u32,
    pub(crate) aboard: bool,
    pub(crate) move_cost: Micros,
    pub(crate) minutes: u32,
}

/// A need, ready for counting.
#[derive(Clone, Debug)]
pub(crate) struct Demand {
    pub(crate) segment: usize,
    pub(crate) lure: usize,
    pub(crate) importance: u32,
    pub(crate) copies: u32,
    /// Shares by rank, cut to what the lures in stock allow.
    pub(crate) shares: Vec<Micros>,
    /// Loss if it stays below its verdict.
    pub(crate) shortfall: Micros,
    /// Whether the lures in stock allow all copies.
    pub(crate) holdable: bool,
}

/// One outfit that may be put together.
#[derive(Clone, Debug)]
pub(crate) struct Cand {
    /// Position in the problem.
    pub(crate) source: usize,
    pub(crate) rod: usize,
    pub(crate) reel: usize,
    pub(crate) stock: Option<(usize, u32)>,
    pub(crate) minutes: u32,
    /// Cost of moving rod and reel.
    pub(crate) move_cost: Micros,
    pub(crate) moves: u32,
    /// By angler, whether that angler can use it.
    pub(crate) suits: Vec<bool>,
    pub(crate) offers: Vec<Off>,
}

/// An offer that may be used.
#[derive(Clone, Debug)]
pub(crate) struct Off {
    pub(crate) need: usize,
    pub(crate) leader: Option<usize>,
    pub(crate) verdict: Verdict,
    pub(crate) worth: Micros,
    pub(crate) score: f64,
    /// Whether it reaches the verdict that the need asks for.
    pub(crate) meets: bool,
    /// Position in the offers of the source.
    pub(crate) source: usize,
}

/// The whole problem.
#[derive(Clone, Debug)]
pub(crate) struct Grid<'a> {
    pub(crate) problem: &'a TripProblem,
    pub(crate) weights: &'a Weights,
    pub(crate) limit: usize,
    pub(crate) one_reel: bool,
    pub(crate) rods: Vec<&'a str>,
    pub(crate) reels: Vec<&'a str>,
    pub(crate) leaders: Vec<Stock>,
    pub(crate) lines: Vec<Stock>,
    pub(crate) lures: Vec<Stock>,
    pub(crate) leader_ids: Vec<&'a str>,
    pub(crate) line_ids: Vec<&'a str>,
    pub(crate) lure_ids: Vec<&'a str>,
    /// By segment, the anglers, the least skilled first.
    pub(crate) crews: Vec<Vec<usize>>,
    pub(crate) needs: Vec<Demand>,
    /// By rod id, then reel id, then line option.
    pub(crate) cands: Vec<Cand>,
}

/// More than any boat carries: stands for a lifted limit.
const PLENTY: u32 = 1_000_000;

fn sorted<'a>(ids: impl Iterator<Item = &'a str>) -> (Vec<&'a str>, BTreeMap<&'a str, usize>) {
    let mut list: Vec<_> = ids.collect();
    list.sort_unstable();
    let index = list.iter().enumerate().map(|(i, id)| (*id, i)).collect();
    (list, index)
}

impl<'a> Grid<'a> {
    /// Builds the grid of a problem that has been validated.
    pub(crate) fn new(problem: &'a TripProblem, weights: &'a Weights, lift: Lift) -> Self {
        let place_cost: BTreeMap<_, _> =
            problem.places.iter().map(|p| (p.id.as_str(), p.move_cost)).collect();
        let boat = problem.boat.place.as_str();
        let stock = |place: &str, quantity: u32, minutes: u32, lifted: bool| Stock {
            quantity: if lifted { PLENTY } else { quantity },
            aboard: place == boat,
            move_cost: weights.small_item(place_cost.get(place).copied().unwrap_or(0)),
            minutes,
        };
        let (rods, rod_at) = sorted(problem.rods.iter().map(|r| r.id.as_str()));
        let (reels, reel_at) = sorted(problem.reels.iter().map(|r| r.id.as_str()));
        let (leader_ids, leader_at) = sorted(problem.leaders.iter().map(|l| l.id.as_str()));
        let (line_ids, line_at) = sorted(problem.line_stock.iter().map(|l| l.id.as_str()));
        let (lure_ids, lure_at) = sorted(problem.lures.iter().map(|l| l.id.as_str()));
        let mut leaders: Vec<_> = problem.leaders.iter().collect();
        leaders.sort_unstable_by(|a, b| a.id.cmp(&b.id));
        let mut lines: Vec<_> = problem.line_stock.iter().collect();
        lines.sort_unstable_by(|a, b| a.id.cmp(&b.id));
        let mut lures: Vec<_> = problem.lures.iter().collect();
        lures.sort_unstable_by(|a, b| a.id.cmp(&b.id));
        let leaders: Vec<_> = leaders
            .iter()
            .map(|l| stock(&l.place, l.quantity, l.minutes, lift.leader_stock))
            .collect();
        let lines: Vec<_> =
            lines.iter().map(|l| stock(&l.place, l.metres, 0, lift.line_stock)).collect();
        let lures: Vec<_> =
            lures.iter().map(|l| stock(&l.place, l.quantity, 0, lift.lure_stock)).collect();

        let skill: BTreeMap<_, _> = problem
            .anglers
            .iter()
            .enumerate()
            .map(|(i, a)| (a.id.as_str(), (a.skill, i)))
            .collect();
        let crews = problem
            .segments
            .iter()
            .map(|segment| {
                let mut crew: Vec<_> = segment
                    .anglers
                    .iter()
                    .filter_map(|id| skill.get(id.as_str()).map(|(s, i)| (*s, id, *i)))
                    .collect();
                crew.sort_unstable();
                crew.into_iter().map(|(_, _, i)| i).collect()
            })
            .collect();
        let segment_at: BTreeMap<_, _> =
            problem.segments.iter().enumerate().map(|(i, s)| (s.id.as_str(), i)).collect();
        let needs: Vec<_> = problem
            .needs
            .iter()
            .map(|need| {
                let lure = lure_at[need.lure.as_str()];
                let there = lures[lure].quantity;
                let mut shares = weights.shares(need.copies_at_once);
                if there < need.copies_at_once {
                    shares.truncate(there as usize);
                }
                let must = need.importance == MUST;
                Demand {
                    segment: segment_at[need.segment.as_str()],
                    lure,
                    importance: need.importance,
                    copies: need.copies_at_once,
                    shares,
                    shortfall: if must {
                        weights.shortfall * Micros::from(need.importance)
                    } else {
                        0
                    },
                    holdable: there >= need.copies_at_once,
                }
            })
            .collect();

        let rod_by: BTreeMap<_, _> = problem.rods.iter().map(|r| (r.id.as_str(), r)).collect();
        let reel_by: BTreeMap<_, _> = problem.reels.iter().map(|r| (r.id.as_str(), r)).collect();
        let locker = problem.boat.locker_length_m.unwrap_or(f64::INFINITY);
        let mut cands = Vec::new();
        for (source, candidate) in problem.candidates.iter().enumerate() {
            let rod = rod_by[candidate.rod.as_str()];
            let reel = reel_by[candidate.reel.as_str()];
            let Some(line) = reel.lines.iter().find(|l| l.id == candidate.line) else { continue };
            let ready = lift.ready || (rod.ready && reel.ready);
            let fits = lift.locker || rod.packed_length_m() <= locker;
            if !ready || !fits || rod.handle != reel.kind {
                continue;
            }
            let taken = line.stock.as_ref().map(|s| (line_at[s.stock.as_str()], s.metres));
            if taken.is_some_and(|(stock, metres)| metres > lines[stock].quantity) {
                continue;
            }
            let mut offers: Vec<_> = candidate
                .offers
                .iter()
                .enumerate()
                .map(|(source, offer)| Off {
                    need: offer.need,
                    leader: offer.leader.as_ref().map(|l| leader_at[l.as_str()]),
                    verdict: offer.verdict,
                    worth: if offer.verdict == Verdict::Unsafe { 0 } else { offer.worth },
                    score: offer.score,
                    meets: (lift.no_unsafe || offer.verdict != Verdict::Unsafe)
                        && (lift.min_verdict || problem.needs[offer.need].met_by(offer.verdict)),
                    source,
                })
                .filter(|o| o.worth > 0 || o.meets)
                .filter(|o| o.leader.is_none_or(|l| leaders[l].quantity > 0))
                .filter(|o| lures[needs[o.need].lure].quantity > 0)
                .collect();
            offers.sort_unstable_by_key(|o| (o.need, o.leader));
            let places = [rod.place.as_str(), reel.place.as_str()];
            cands.push(Cand {
                source,
                rod: rod_at[rod.id.as_str()],
                reel: reel_at[reel.id.as_str()],
                stock: taken,
                minutes: line.minutes,
                move_cost: places.iter().map(|p| place_cost.get(p).copied().unwrap_or(0)).sum(),
                moves: places.iter().filter(|p| **p != boat).count() as u32,
                suits: problem
                    .anglers
                    .iter()
                    .map(|a| lift.angler_suits || !candidate.not_for.contains(&a.id))
                    .collect(),
                offers,
            });
        }
        cands.sort_unstable_by(|a, b| {
            let line = |c: &Cand| problem.candidates[c.source].line.as_str();
            (a.rod, a.reel, line(a)).cmp(&(b.rod, b.reel, line(b)))
        });
        let aboard = problem.boat.rod_holders.min(problem.boat.max_rods_aboard) as usize;
        Self {
            problem,
            weights,
            limit: if lift.rod_limit { cands.len() } else { aboard },
            one_reel: !lift.one_reel,
            rods,
            reels,
            leaders,
            lines,
            lures,
            leader_ids,
            line_ids,
            lure_ids,
            crews,
            needs,
            cands,
        }
    }

    /// Whether two candidates cannot both be taken.
    pub(crate) fn exclusive(&self, a: usize, b: usize) -> bool {
        let (a, b) = (&self.cands[a], &self.cands[b]);
        self.one_reel && (a.rod == b.rod || a.reel == b.reel) || (a.source == b.source)
    }

    /// More than any plan can be worth: every need served by the best of the pool, at no cost.
    pub(crate) fn plain_bound(&self) -> Micros {
        let mut best: Vec<BTreeMap<usize, Micros>> = vec![BTreeMap::new(); self.needs.len()];
        for cand in &self.cands {
            for offer in &cand.offers {
                let entry = best[offer.need].entry(cand.rod).or_insert(0);
                *entry = (*entry).max(offer.worth);
            }
        }
        self.needs
            .iter()
            .zip(&best)
            .map(|(need, by_rod)| {
                let mut worths: Vec<_> = by_rod.values().copied().collect();
                worths.sort_unstable_by(|a, b| b.cmp(a));
                need.shares
                    .iter()
                    .zip(worths)
                    .map(|(share, worth)| self.weights.term(need.importance, *share, worth))
                    .sum::<Micros>()
            })
            .sum()
    }
}
