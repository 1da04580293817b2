//! The problem as numbers: positions instead of names, in id order, and only what may be used.
//!
//! Several boats that draw on one pool are one grid: rods and reels are shared; needs, leaders,
//! lines and lures are listed for each boat, and pools say how much there is for all.

use std::collections::{BTreeMap, BTreeSet};

use deepbend_core::judge::Verdict;
use deepbend_core::water::Skill;

use crate::plan::ItemKind;
use crate::problem::{Candidate, MUST, Pin, TripProblem};
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
    pub(crate) boat: usize,
    /// What all boats draw on: position in the pools of its kind.
    pub(crate) pool: usize,
    /// What this boat may take.
    pub(crate) quantity: u32,
    pub(crate) aboard: bool,
    pub(crate) move_cost: Micros,
    pub(crate) minutes: u32,
}

/// A need, ready for counting.
#[derive(Clone, Debug)]
pub(crate) struct Demand {
    /// Position in the problem of its boat.
    pub(crate) source: usize,
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
    pub(crate) boat: usize,
    /// Position in the problem of its boat.
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
    pub(crate) habit: bool,
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
    /// Those of the segment in whose hands it does.
    pub(crate) hands: Hands,
    /// As in [`Offer::preferred`](crate::problem::Offer::preferred).
    pub(crate) preferred: bool,
    /// Position in the offers of the source.
    pub(crate) source: usize,
}

/// Scores of an offer in the hands of those of the segment in which it reaches its verdict.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Hands([Option<f32>; Skill::Expert as usize + 1]);

impl Hands {
    pub(crate) fn score(&self, skill: Skill) -> Option<f32> {
        self.0[skill as usize]
    }

    /// Whether it reaches its verdict in all hands in which another one does.
    pub(crate) fn hold(&self, other: &Self) -> bool {
        self.0.iter().zip(&other.0).all(|(own, other)| own.is_some() || other.is_none())
    }
}

/// Limits of one boat.
#[derive(Clone, Debug)]
pub(crate) struct Limits {
    pub(crate) outfits: usize,
    pub(crate) job_minutes: u32,
}

/// A rod or a reel that a boat has to take.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Wanted {
    pub(crate) boat: usize,
    /// Whether it is a rod; else it is a reel.
    pub(crate) is_rod: bool,
    pub(crate) part: usize,
}

/// The whole problem.
#[derive(Clone, Debug)]
pub(crate) struct Grid<'a> {
    /// The problem of the first boat, the only one of a trip.
    pub(crate) problem: &'a TripProblem,
    /// Its candidates, whatever the problem says of them.
    pub(crate) candidates: &'a [Candidate],
    /// A copy: a search counts them in its own unit.
    pub(crate) weights: Weights,
    pub(crate) boats: Vec<Limits>,
    pub(crate) one_reel: bool,
    pub(crate) rods: Vec<&'a str>,
    pub(crate) reels: Vec<&'a str>,
    pub(crate) leaders: Vec<Stock>,
    pub(crate) lines: Vec<Stock>,
    pub(crate) lures: Vec<Stock>,
    pub(crate) leader_pools: Vec<u32>,
    /// By pool of leaders, whether bounds count as if there were enough for all boats.
    pub(crate) ample: Vec<bool>,
    pub(crate) line_pools: Vec<u32>,
    pub(crate) lure_pools: Vec<u32>,
    pub(crate) leader_ids: Vec<&'a str>,
    pub(crate) line_ids: Vec<&'a str>,
    pub(crate) lure_ids: Vec<&'a str>,
    /// By segment, the anglers, the least skilled first.
    pub(crate) crews: Vec<Vec<usize>>,
    /// By angler.
    pub(crate) skills: Vec<Skill>,
    /// By boat, then segment, then lure id.
    pub(crate) needs: Vec<Demand>,
    /// By boat, then rod id, then reel id; the line on the reel before those of stocks.
    pub(crate) cands: Vec<Cand>,
    /// What has to be taken.
    pub(crate) wanted: Vec<Wanted>,
    /// Needs that have to be held.
    pub(crate) held: Vec<usize>,
    /// Rods and reels that go out on another boat, with its place. Only the words of a plan ask.
    pub(crate) elsewhere: BTreeMap<(ItemKind, &'a str), &'a str>,
}

/// More than any boat carries: stands for a lifted limit.
const PLENTY: u32 = 1_000_000;

type Ids<'a> = (Vec<&'a str>, BTreeMap<&'a str, usize>);

fn sorted<'a>(trips: &[&'a TripProblem], ids: impl Fn(&'a TripProblem) -> Vec<&'a str>) -> Ids<'a> {
    let all: BTreeSet<&str> = trips.iter().flat_map(|trip| ids(trip)).collect();
    let list: Vec<_> = all.into_iter().collect();
    let index = list.iter().enumerate().map(|(i, id)| (*id, i)).collect();
    (list, index)
}

fn place_costs(trip: &TripProblem) -> BTreeMap<&str, Micros> {
    trip.places.iter().map(|p| (p.id.as_str(), p.move_cost)).collect()
}

/// By lure and boat, the most copies that are fished at once.
fn fished_at_once<'a>(trips: &[&'a TripProblem]) -> BTreeMap<&'a str, BTreeMap<usize, u32>> {
    let mut fished: BTreeMap<&str, BTreeMap<usize, u32>> = BTreeMap::new();
    for (boat, trip) in trips.iter().enumerate() {
        for need in &trip.needs {
            let most = fished.entry(&need.lure).or_default().entry(boat).or_insert(0);
            *most = need.copies_at_once.max(*most);
        }
    }
    fished
}

/// Stocks of one kind, for one boat after the other.
struct Stocks<'a> {
    list: Vec<Stock>,
    ids: Vec<&'a str>,
    pools: Vec<u32>,
    pool_at: BTreeMap<&'a str, usize>,
    /// By boat, positions by id.
    at: Vec<BTreeMap<&'a str, usize>>,
}

impl<'a> Stocks<'a> {
    fn new() -> Self {
        let (list, ids, pools) = (Vec::new(), Vec::new(), Vec::new());
        Self { list, ids, pools, pool_at: BTreeMap::new(), at: Vec::new() }
    }

    /// Adds the stocks of the next boat: id, quantity, and the rest of the entry.
    fn add(&mut self, mut stocks: Vec<(&'a str, Stock)>) {
        stocks.sort_unstable_by_key(|(id, _)| *id);
        let mut at = BTreeMap::new();
        for (id, mut stock) in stocks {
            stock.pool = *self.pool_at.entry(id).or_insert_with(|| {
                self.pools.push(stock.quantity);
                self.pools.len() - 1
            });
            at.insert(id, self.list.len());
            self.list.push(stock);
            self.ids.push(id);
        }
        self.at.push(at);
    }
}

impl<'a> Grid<'a> {
    /// Builds the grid of a problem that has been validated.
    pub(crate) fn new(problem: &'a TripProblem, weights: &Weights, lift: Lift) -> Self {
        Self::over(problem, &problem.candidates, weights, lift)
    }

    /// The same with candidates that stand elsewhere.
    pub(crate) fn over(
        problem: &'a TripProblem,
        candidates: &'a [Candidate],
        weights: &Weights,
        lift: Lift,
    ) -> Self {
        Self::with(&[problem], &[candidates], weights, lift)
    }

    /// Builds the grid of boats that draw on one pool; there is at least one, and all have been
    /// validated, alone and together.
    pub(crate) fn of(trips: &[&'a TripProblem], weights: &Weights, lift: Lift) -> Self {
        let candidates: Vec<_> = trips.iter().map(|trip| trip.candidates.as_slice()).collect();
        Self::with(trips, &candidates, weights, lift)
    }

    fn with(
        trips: &[&'a TripProblem],
        candidates: &[&'a [Candidate]],
        weights: &Weights,
        lift: Lift,
    ) -> Self {
        let (rods, rod_at) = sorted(trips, |t| t.rods.iter().map(|r| r.id.as_str()).collect());
        let (reels, reel_at) = sorted(trips, |t| t.reels.iter().map(|r| r.id.as_str()).collect());
        let (mut leaders, mut lines, mut lures) = (Stocks::new(), Stocks::new(), Stocks::new());
        let mut grid = Self {
            problem: trips[0],
            candidates: candidates[0],
            weights: weights.clone(),
            boats: Vec::new(),
            one_reel: !lift.one_reel,
            rods,
            reels,
            leaders: Vec::new(),
            lines: Vec::new(),
            lures: Vec::new(),
            leader_pools: Vec::new(),
            ample: Vec::new(),
            line_pools: Vec::new(),
            lure_pools: Vec::new(),
            leader_ids: Vec::new(),
            line_ids: Vec::new(),
            lure_ids: Vec::new(),
            crews: Vec::new(),
            skills: Vec::new(),
            needs: Vec::new(),
            cands: Vec::new(),
            wanted: Vec::new(),
            held: Vec::new(),
            elsewhere: BTreeMap::new(),
        };
        let fished = fished_at_once(trips);
        for (boat, trip) in trips.iter().enumerate() {
            let costs = place_costs(trip);
            let stock = |place: &str, quantity: u32, minutes: u32, lifted: bool| Stock {
                boat,
                pool: 0,
                quantity: if lifted { PLENTY } else { quantity },
                aboard: place == trip.boat.place,
                move_cost: weights.small_item(costs.get(place).copied().unwrap_or(0)),
                minutes,
            };
            let of = |l: &'a crate::problem::LeaderStock| {
                (l.id.as_str(), stock(&l.place, l.quantity, l.minutes, lift.leader_stock))
            };
            leaders.add(trip.leaders.iter().map(of).collect());
            let of = |l: &'a crate::problem::LineStock| {
                (l.id.as_str(), stock(&l.place, l.metres, 0, lift.line_stock))
            };
            lines.add(trip.line_stock.iter().map(of).collect());
            let of = |l: &'a crate::problem::LureStock| {
                (l.id.as_str(), stock(&l.place, l.quantity, 0, lift.lure_stock))
            };
            lures.add(trip.lures.iter().map(of).collect());
            // A lure that several boats fish: each takes what it fishes at once.
            for (lure, at) in lures.at[boat].iter().filter(|_| trips.len() > 1) {
                let by_boat = fished.get(lure);
                let own = by_boat.and_then(|by_boat| by_boat.get(&boat)).copied().unwrap_or(0);
                if own == 0 || by_boat.is_some_and(|by_boat| by_boat.len() > 1) {
                    let quantity = &mut lures.list[*at].quantity;
                    *quantity = own.min(*quantity);
                }
            }
        }
        for (boat, trip) in trips.iter().enumerate() {
            let need_at = grid.add_demand(boat, trip, &lures, trips);
            let stocks = (&leaders, &lines, &lures);
            let of_trip = (*trip, candidates[boat], need_at.as_slice());
            grid.add_candidates(boat, of_trip, trips, stocks, (&rod_at, &reel_at), lift);
            grid.add_pins(boat, trip, &need_at, (&rod_at, &reel_at));
            let aboard = trip.boat.most_rods() as usize;
            let outfits = if lift.rod_limit { PLENTY as usize } else { aboard };
            grid.boats.push(Limits { outfits, job_minutes: trip.job_minutes_budget });
        }
        // Rows of the model come in an order of their own, not in that of the pins.
        grid.wanted.sort_unstable();
        grid.held.sort_unstable();
        (grid.leaders, grid.leader_ids, grid.leader_pools) =
            (leaders.list, leaders.ids, leaders.pools);
        (grid.lines, grid.line_ids, grid.line_pools) = (lines.list, lines.ids, lines.pools);
        grid.ample = vec![false; grid.leader_pools.len()];
        let stocks = trips.iter().flat_map(|trip| &trip.leaders);
        let ids: BTreeSet<&str> =
            stocks.filter(|stock| stock.is_ample).map(|stock| stock.id.as_str()).collect();
        for (l, id) in grid.leader_ids.iter().enumerate() {
            grid.ample[grid.leaders[l].pool] |= ids.contains(id);
        }
        (grid.lures, grid.lure_ids, grid.lure_pools) = (lures.list, lures.ids, lures.pools);
        grid
    }

    /// By need of the trip, its position here.
    fn add_demand(
        &mut self,
        boat: usize,
        trip: &'a TripProblem,
        lures: &Stocks<'a>,
        trips: &[&'a TripProblem],
    ) -> Vec<usize> {
        let before: usize = trips[..boat].iter().map(|t| t.anglers.len()).sum();
        let skill: BTreeMap<_, _> = trip
            .anglers
            .iter()
            .enumerate()
            .map(|(i, a)| (a.id.as_str(), (a.skill, before + i)))
            .collect();
        self.skills.extend(trip.anglers.iter().map(|angler| angler.skill));
        let first_segment = self.crews.len();
        self.crews.extend(trip.segments.iter().map(|segment| {
            let mut crew: Vec<_> = segment
                .anglers
                .iter()
                .filter_map(|id| skill.get(id.as_str()).map(|(s, i)| (*s, id, *i)))
                .collect();
            crew.sort_unstable();
            crew.into_iter().map(|(_, _, i)| i).collect()
        }));
        let segment_at: BTreeMap<_, _> =
            trip.segments.iter().enumerate().map(|(i, s)| (s.id.as_str(), i)).collect();
        let mut order: Vec<usize> = (0..trip.needs.len()).collect();
        order.sort_by_key(|source| {
            let need = &trip.needs[*source];
            (segment_at[need.segment.as_str()], &need.lure)
        });
        let first_need = self.needs.len();
        let mut need_at = vec![first_need; order.len()];
        for (at, source) in order.iter().enumerate() {
            need_at[*source] += at;
        }
        self.needs.extend(order.into_iter().map(|source| {
            let need = &trip.needs[source];
            let lure = lures.at[boat][need.lure.as_str()];
            let there = lures.list[lure].quantity;
            let mut shares = self.weights.shares(need.copies_at_once);
            if there < need.copies_at_once {
                shares.truncate(there as usize);
            }
            let must = Micros::from(need.importance) * Micros::from(need.importance == MUST);
            Demand {
                source,
                segment: first_segment + segment_at[need.segment.as_str()],
                lure,
                importance: need.importance,
                copies: need.copies_at_once,
                shares,
                shortfall: self.weights.shortfall * must,
                holdable: there >= need.copies_at_once,
            }
        }));
        need_at
    }

    fn add_candidates(
        &mut self,
        boat: usize,
        (trip, candidates, need_at): (&'a TripProblem, &[Candidate], &[usize]),
        trips: &[&'a TripProblem],
        (leaders, lines, lures): (&Stocks<'a>, &Stocks<'a>, &Stocks<'a>),
        (rod_at, reel_at): (&BTreeMap<&str, usize>, &BTreeMap<&str, usize>),
        lift: Lift,
    ) {
        let rod_by: BTreeMap<_, _> = trip.rods.iter().map(|r| (r.id.as_str(), r)).collect();
        let reel_by: BTreeMap<_, _> = trip.reels.iter().map(|r| (r.id.as_str(), r)).collect();
        let locker = trip.boat.locker_length_m.unwrap_or(f64::INFINITY);
        let costs = place_costs(trip);
        let anglers: usize = trips.iter().map(|t| t.anglers.len()).sum();
        let before: usize = trips[..boat].iter().map(|t| t.anglers.len()).sum();
        let crew_of =
            |segment: usize| self.crews[segment].iter().map(|angler| self.skills[*angler]);
        let mut cands = Vec::new();
        for (source, candidate) in candidates.iter().enumerate() {
            let rod = rod_by[candidate.rod.as_str()];
            let reel = reel_by[candidate.reel.as_str()];
            let Some(line) = reel.lines.iter().find(|l| l.id == candidate.line) else { continue };
            let ready = lift.ready || (rod.ready && reel.ready);
            let fits = lift.locker || rod.packed_length_m() <= locker;
            let pinned = trip.pins.iter().all(|pin| pin.allows(&rod.id, &reel.id));
            if !ready || !fits || !pinned || rod.handle != reel.kind {
                continue;
            }
            let taken = line.stock.as_ref().map(|s| (lines.at[boat][s.stock.as_str()], s.metres));
            if taken.is_some_and(|(stock, metres)| metres > lines.list[stock].quantity) {
                continue;
            }
            let meets = |need: usize, verdict: Verdict| {
                (lift.no_unsafe || verdict != Verdict::Unsafe)
                    && (lift.min_verdict || trip.needs[need].met_by(verdict))
            };
            let mut offers: Vec<_> = candidate
                .offers
                .iter()
                .enumerate()
                .map(|(source, offer)| Off {
                    need: need_at[offer.need],
                    leader: offer.leader.as_ref().map(|l| leaders.at[boat][l.as_str()]),
                    verdict: offer.verdict,
                    worth: if offer.verdict == Verdict::Unsafe { 0 } else { offer.worth },
                    score: offer.score,
                    meets: meets(offer.need, offer.verdict),
                    hands: {
                        let crew = crew_of(self.needs[need_at[offer.need]].segment);
                        let met = |skill: &Skill| meets(offer.need, offer.in_hands(*skill).0);
                        let any = lift.angler_suits && crew.clone().any(|skill| met(&skill));
                        let mut hands = Hands::default();
                        for skill in crew.filter(|skill| any || met(skill)) {
                            hands.0[skill as usize] = Some(offer.in_hands(skill).1 as f32);
                        }
                        hands
                    },
                    preferred: offer.preferred,
                    source,
                })
                .filter(|o| o.worth > 0 || o.meets)
                .filter(|o| o.leader.is_none_or(|l| leaders.list[l].quantity > 0))
                .filter(|o| lures.list[self.needs[o.need].lure].quantity > 0)
                .collect();
            offers.sort_unstable_by_key(|o| (o.need, o.leader));
            let places = [rod.place.as_str(), reel.place.as_str()];
            let mut suits = vec![false; anglers];
            for (i, angler) in trip.anglers.iter().enumerate() {
                suits[before + i] = lift.angler_suits || !candidate.not_for.contains(&angler.id);
            }
            cands.push(Cand {
                boat,
                source,
                rod: rod_at[rod.id.as_str()],
                reel: reel_at[reel.id.as_str()],
                stock: taken,
                minutes: line.minutes,
                move_cost: places.iter().map(|p| costs.get(p).copied().unwrap_or(0)).sum(),
                moves: places.iter().filter(|p| **p != trip.boat.place).count() as u32,
                suits,
                habit: candidate.habit,
                offers,
            });
        }
        cands.sort_unstable_by(|a, b| {
            // Of equals the line that is on the reel comes first.
            let line = |c: &Cand| (c.stock.is_some(), candidates[c.source].line.as_str());
            (a.rod, a.reel, line(a)).cmp(&(b.rod, b.reel, line(b)))
        });
        self.cands.extend(cands);
    }

    fn add_pins(
        &mut self,
        boat: usize,
        trip: &TripProblem,
        need_at: &[usize],
        (rod_at, reel_at): (&BTreeMap<&str, usize>, &BTreeMap<&str, usize>),
    ) {
        for pin in &trip.pins {
            match pin {
                Pin::Take { kind, id } => {
                    let is_rod = *kind == ItemKind::Rod;
                    let part =
                        if is_rod { rod_at.get(id.as_str()) } else { reel_at.get(id.as_str()) };
                    self.wanted.extend(part.map(|part| Wanted { boat, is_rod, part: *part }));
                }
                Pin::Hold { segment, lure } => {
                    let at =
                        trip.needs.iter().position(|n| (&n.segment, &n.lure) == (segment, lure));
                    self.held.extend(at.map(|at| need_at[at]));
                }
                Pin::Leave { .. } | Pin::Pair { .. } => {}
            }
        }
    }

    /// The score of an offer of an outfit in the hands of an angler, where it reaches its verdict.
    pub(crate) fn in_hands(&self, cand: &Cand, offer: &Off, angler: usize) -> Option<f32> {
        offer.hands.score(self.skills[angler]).filter(|_| cand.suits[angler])
    }

    /// The candidates of a boat, in the order of rod and reel.
    pub(crate) fn of_boat(&self, boat: usize) -> &[Cand] {
        let first = self.cands.partition_point(|cand| cand.boat < boat);
        let end = self.cands.partition_point(|cand| cand.boat <= boat);
        &self.cands[first..end]
    }

    /// Outfits that the boat of a trip takes.
    pub(crate) fn limit(&self) -> usize {
        self.boats[0].outfits
    }

    /// Whether two candidates cannot both be taken.
    pub(crate) fn exclusive(&self, a: usize, b: usize) -> bool {
        let (x, y) = (&self.cands[a], &self.cands[b]);
        self.one_reel && (x.rod == y.rod || x.reel == y.reel) || a == b
    }

    /// The part of a candidate that goes out on another boat, and on which.
    pub(crate) fn gone(&self, cand: &Cand) -> Option<(&'a str, &'a str)> {
        let parts = [(ItemKind::Rod, self.rods[cand.rod]), (ItemKind::Reel, self.reels[cand.reel])];
        parts.iter().find_map(|part| Some((part.1, *self.elsewhere.get(part)?)))
    }

    /// Whether a candidate is what a pin asks for.
    pub(crate) fn is_wanted(&self, cand: &Cand, wanted: &Wanted) -> bool {
        let part = if wanted.is_rod { cand.rod } else { cand.reel };
        (cand.boat, part) == (wanted.boat, wanted.part)
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
