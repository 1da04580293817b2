//! Who fishes what at once: a flow from anglers over outfits to lures, and, where it does not
//! come through, the cut that says why.
//!
//! In the hands of a beginner an outfit may cover fewer lures than in those of the others. The flow
//! forgets whose hands a unit came from as soon as it has passed the outfit, so for a crew of
//! several skills it says who cannot be seated, for each skill and all who are less practised; who
//! is seated is then tried out, each with what suits in the own hands.

use std::collections::VecDeque;

use crate::grid::{Grid, Off};
use crate::weights::Micros;
use crate::worth::Selection;

/// One angler's start in a segment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Seat {
    pub(crate) segment: usize,
    pub(crate) angler: usize,
    pub(crate) cand: usize,
    pub(crate) need: usize,
}

/// These anglers of a segment lack outfits: a row that every plan must keep.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Cut {
    pub(crate) segment: usize,
    pub(crate) anglers: Vec<usize>,
    pub(crate) why: Why,
}

/// What they lack.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Why {
    /// Outside these needs there are too few outfits: anglers <= sum over the needs of lures taken
    /// + outfits of use to one of the anglers elsewhere.
    Few { needs: Vec<usize> },
    /// With no more than these outfits, leaders tied for them and without these lures not all find
    /// a lure that suits in their own hands: 1 <= lures taken + outfits of other use to them.
    Same { outfits: Vec<usize>, leaders: Vec<(usize, usize)>, lures: Vec<usize> },
}

impl Why {
    /// Whether an offer of an outfit is reckoned with already.
    pub(crate) fn counts(&self, cand: usize, offer: &Off) -> bool {
        match self {
            Self::Few { needs } => needs.contains(&offer.need),
            Self::Same { outfits, leaders, .. } => {
                outfits.contains(&cand) && offer.leader.is_none_or(|l| leaders.contains(&(cand, l)))
            }
        }
    }
}

/// Seats for as many as can be, and the cuts of the segments where somebody has none.
#[derive(Debug)]
pub(crate) struct Crew {
    pub(crate) seats: Vec<Seat>,
    pub(crate) cuts: Vec<Cut>,
    /// Anglers without an outfit, over all segments.
    pub(crate) unseated: u32,
    /// Whether not all ways were tried out: then more may have a seat, and a cut may be too strict.
    pub(crate) unsure: bool,
}

struct Network {
    capacity: Vec<Vec<u32>>,
    /// Nodes in the order in which they are tried.
    order: Vec<Vec<usize>>,
}

impl Network {
    fn new(nodes: usize) -> Self {
        Self { capacity: vec![vec![0; nodes]; nodes], order: vec![Vec::new(); nodes] }
    }

    fn arc(&mut self, from: usize, to: usize, capacity: u32) {
        self.capacity[from][to] += capacity;
        self.order[from].push(to);
        self.order[to].push(from);
    }

    /// Predecessors of all nodes that can still be reached from node 0.
    fn reach(&self) -> Vec<Option<usize>> {
        let mut from = vec![None; self.capacity.len()];
        from[0] = Some(0);
        let mut queue = VecDeque::from([0]);
        while let Some(node) = queue.pop_front() {
            for &next in &self.order[node] {
                if from[next].is_none() && self.capacity[node][next] > 0 {
                    from[next] = Some(node);
                    queue.push_back(next);
                }
            }
        }
        from
    }

    /// Sends units from node 0 to node 1 until no more pass; returns how many passed.
    fn fill(&mut self) -> u32 {
        let mut sent = 0;
        loop {
            let from = self.reach();
            if from[1].is_none() {
                return sent;
            }
            let mut node = 1;
            while let Some(previous) = from[node].filter(|_| node != 0) {
                self.capacity[previous][node] -= 1;
                self.capacity[node][previous] += 1;
                node = previous;
            }
            sent += 1;
        }
    }
}

/// Seats the anglers of all segments.
pub(crate) fn seat(grid: &Grid<'_>, selection: &Selection) -> Crew {
    let mut crew = Crew { seats: Vec::new(), cuts: Vec::new(), unseated: 0, unsure: false };
    for segment in 0..grid.crews.len() {
        if !grid.crews[segment].is_empty() {
            Table::of(grid, selection, segment).seat(&mut crew);
        }
    }
    crew
}

/// An outfit with a lure that it covers in somebody's hands, by their positions in the table.
#[derive(Debug)]
struct Pair {
    outfit: usize,
    need: usize,
    worth: Micros,
    score: f64,
    /// By angler of the table, the score where it covers the lure in these hands.
    by: Vec<Option<f32>>,
}

/// Anglers, outfits and lures of a segment.
struct Table<'a, 'g> {
    grid: &'a Grid<'g>,
    selection: &'a Selection,
    segment: usize,
    /// The least practised first.
    anglers: &'a [usize],
    needs: Vec<usize>,
    /// The best first: an early path takes them.
    pairs: Vec<Pair>,
}

/// What a flow brings: by angler an outfit and a need, and what is still reached.
struct Flow {
    seated: u32,
    seats: Vec<Option<(usize, usize)>>,
    /// Anglers and needs that are reached when no more comes through.
    short: (Vec<usize>, Vec<usize>),
}

/// What is free for a flow.
struct Free {
    /// Anglers, by their positions in the table.
    anglers: Vec<usize>,
    /// By outfit.
    outfits: Vec<bool>,
    /// By need, lures that are left of it.
    lures: Vec<u32>,
}

/// How many seats are tried out at most in a segment: beyond that the crew counts as not seated.
const TRIES: u32 = 20_000;

impl<'a, 'g> Table<'a, 'g> {
    fn of(grid: &'a Grid<'g>, selection: &'a Selection, segment: usize) -> Self {
        let anglers = &grid.crews[segment];
        let needs: Vec<_> =
            (0..grid.needs.len()).filter(|n| grid.needs[*n].segment == segment).collect();
        let mut pairs = Vec::new();
        for (outfit, &cand) in selection.outfits.iter().enumerate() {
            let in_hands =
                |offer: &Off, angler: usize| grid.in_hands(&grid.cands[cand], offer, angler);
            for (at, &need) in needs.iter().enumerate() {
                let offers = grid.cands[cand].offers.iter().filter(|offer| {
                    let tied = |l: usize| selection.leaders.contains(&(cand, l));
                    offer.need == need
                        && anglers.iter().any(|a| in_hands(offer, *a).is_some())
                        && offer.leader.is_none_or(tied)
                });
                let by = |angler: &usize| {
                    offers.clone().filter_map(|o| in_hands(o, *angler)).reduce(f32::max)
                };
                let best = offers.clone().max_by(|a, b| a.score.total_cmp(&b.score));
                pairs.extend(best.map(|best| Pair {
                    outfit,
                    need: at,
                    worth: best.worth,
                    score: best.score,
                    by: anglers.iter().map(by).collect(),
                }));
            }
        }
        pairs.sort_by(|a, b| {
            let rank = b.worth.cmp(&a.worth).then(b.score.total_cmp(&a.score));
            rank.then((a.outfit, a.need).cmp(&(b.outfit, b.need)))
        });
        Self { grid, selection, segment, anglers, needs, pairs }
    }

    fn all(&self) -> Free {
        Free {
            anglers: (0..self.anglers.len()).collect(),
            outfits: vec![true; self.selection.outfits.len()],
            lures: self.needs.iter().map(|n| self.lures(*n)).collect(),
        }
    }

    /// Lures of a need that somebody can start with.
    fn lures(&self, need: usize) -> u32 {
        let lure = self.grid.needs[need].lure;
        let many = self.anglers.len() as u32;
        let there = self.grid.lures[lure].quantity.min(many);
        if self.selection.lures[lure] { there } else { 0 }
    }

    /// As many of the free anglers as can be, as if whoever has an outfit could fish with it what
    /// somebody of them can.
    fn flow(&self, free: &Free) -> Flow {
        let anglers = &free.anglers;
        let angler_at = 2;
        let in_at = angler_at + anglers.len();
        let out_at = in_at + free.outfits.len();
        let need_at = out_at + free.outfits.len();
        let mut net = Network::new(need_at + self.needs.len());
        let usable = |pair: &&Pair| {
            free.outfits[pair.outfit] && anglers.iter().any(|a| pair.by[*a].is_some())
        };
        let usable: Vec<&Pair> = self.pairs.iter().filter(usable).collect();
        for (a, _) in anglers.iter().enumerate() {
            net.arc(0, angler_at + a, 1);
        }
        let mut by_rank: Vec<usize> = Vec::new();
        for pair in &usable {
            if !by_rank.contains(&pair.outfit) {
                by_rank.push(pair.outfit);
            }
        }
        for (a, &angler) in anglers.iter().enumerate() {
            for &o in &by_rank {
                if usable.iter().any(|pair| pair.outfit == o && pair.by[angler].is_some()) {
                    net.arc(angler_at + a, in_at + o, 1);
                }
            }
        }
        for &o in &by_rank {
            net.arc(in_at + o, out_at + o, 1);
        }
        let many = anglers.len() as u32;
        for pair in &usable {
            net.arc(out_at + pair.outfit, need_at + pair.need, many);
        }
        // The most important lures are begun with, as often as they are asked for at once; then
        // whatever seats somebody. What is sent stays sent, so the later rounds take nothing away.
        let mut seated = 0;
        for (n, _) in self.needs.iter().enumerate() {
            net.arc(need_at + n, 1, 0);
        }
        let needs = || self.needs.iter().map(|n| &self.grid.needs[*n]);
        let mut importances: Vec<u32> = needs().map(|need| need.importance).collect();
        importances.sort_unstable_by(|a, b| b.cmp(a));
        importances.dedup();
        for importance in importances.into_iter().map(Some).chain([None]) {
            for (n, need) in needs().enumerate() {
                let most = free.lures[n].min(many);
                let asked = need.copies.min(most);
                if importance.is_none() {
                    net.capacity[need_at + n][1] += most - asked;
                } else if importance == Some(need.importance) {
                    net.capacity[need_at + n][1] += asked;
                }
            }
            seated += net.fill();
        }
        let from = net.reach();
        let seat = |a: usize| {
            let outfit = by_rank.iter().find(|o| net.capacity[in_at + **o][angler_at + a] > 0)?;
            let mut needs = 0..self.needs.len();
            let need = needs.find(|n| net.capacity[need_at + n][out_at + outfit] > 0)?;
            Some((*outfit, need))
        };
        let reached = |at: usize, count: usize| -> Vec<usize> {
            (0..count).filter(|i| from[at + i].is_some()).collect()
        };
        Flow {
            seated,
            seats: (0..anglers.len()).map(seat).collect(),
            short: (reached(angler_at, anglers.len()), reached(need_at, self.needs.len())),
        }
    }

    fn cut(&self, free: &Free, flow: &Flow) -> Cut {
        Cut {
            segment: self.segment,
            anglers: flow.short.0.iter().map(|a| self.anglers[free.anglers[*a]]).collect(),
            why: Why::Few { needs: flow.short.1.iter().map(|n| self.needs[*n]).collect() },
        }
    }

    fn seat(&self, crew: &mut Crew) {
        let all = self.all();
        let whole = self.flow(&all);
        let seats = match self.holds(&whole) {
            true => {
                if (whole.seated as usize) < self.anglers.len() {
                    crew.cuts.push(self.cut(&all, &whole));
                }
                whole.seats
            }
            false => self.by_hand(&all, &whole, crew),
        };
        crew.unseated += seats.iter().filter(|seat| seat.is_none()).count() as u32;
        for (a, seat) in seats.into_iter().enumerate() {
            crew.seats.extend(seat.map(|(outfit, need)| Seat {
                segment: self.segment,
                angler: self.anglers[a],
                cand: self.selection.outfits[outfit],
                need: self.needs[need],
            }));
        }
    }

    /// Whether all whom a flow of the whole crew seats can fish in their own hands what it gives
    /// them.
    fn holds(&self, flow: &Flow) -> bool {
        let fits = |(a, seat): (usize, &Option<(usize, usize)>)| {
            seat.is_none_or(|seat| self.score(a, seat).is_some())
        };
        flow.seats.iter().enumerate().all(fits)
    }

    /// The score of an outfit with a lure in the hands of an angler, where it suits.
    fn score(&self, angler: usize, seat: (usize, usize)) -> Option<f32> {
        self.pairs.iter().find(|p| (p.outfit, p.need) == seat).and_then(|p| p.by[angler])
    }

    /// Seats a crew of several skills, each with what suits in the own hands.
    fn by_hand(&self, all: &Free, whole: &Flow, crew: &mut Crew) -> Vec<Option<(usize, usize)>> {
        let known = crew.cuts.len();
        let mut short = self.anglers.len() - whole.seated as usize;
        if short > 0 {
            crew.cuts.push(self.cut(all, whole));
        }
        let skill = |a: usize| self.grid.skills[self.anglers[a]];
        // The crew is in the order of skill: all up to the last of each.
        for last in 1..self.anglers.len() {
            if skill(last - 1) < skill(last) {
                let fewer = Free { anglers: (0..last).collect(), ..self.all() };
                let flow = self.flow(&fewer);
                if (flow.seated as usize) < last {
                    short = short.max(last - flow.seated as usize);
                    crew.cuts.push(self.cut(&fewer, &flow));
                }
            }
        }
        for idle in short..=self.anglers.len() {
            let mut tries = TRIES;
            let mut seats = vec![None; self.anglers.len()];
            if self.try_out(self.all(), idle, &mut seats, &mut tries) {
                if idle > 0 && crew.cuts.len() == known {
                    crew.cuts.push(self.same());
                }
                return seats;
            }
            crew.unsure |= tries == 0;
        }
        vec![None; self.anglers.len()]
    }

    fn same(&self) -> Cut {
        let s = self.selection;
        let mut lures: Vec<_> = self.needs.iter().map(|n| self.grid.needs[*n].lure).collect();
        lures.retain(|l| !s.lures[*l]);
        lures.sort_unstable();
        lures.dedup();
        Cut {
            segment: self.segment,
            anglers: self.anglers.to_vec(),
            why: Why::Same {
                outfits: s.outfits.clone(),
                leaders: s.leaders.iter().copied().collect(),
                lures,
            },
        }
    }

    /// Seats the first of the free anglers with what suits best, and the others behind, so that no
    /// more than so many stay idle.
    fn try_out(
        &self,
        mut free: Free,
        idle: usize,
        seats: &mut [Option<(usize, usize)>],
        tries: &mut u32,
    ) -> bool {
        if free.anglers.is_empty() {
            return true;
        }
        let possible = self.flow(&free).seated as usize;
        if *tries == 0 || possible + idle < free.anglers.len() {
            return false;
        }
        let angler = free.anglers.remove(0);
        let mut pairs: Vec<_> = self
            .pairs
            .iter()
            .filter(|p| p.by[angler].is_some() && free.outfits[p.outfit] && free.lures[p.need] > 0)
            .collect();
        let rank = |pair: &Pair| {
            let need = &self.grid.needs[self.needs[pair.need]];
            let begun = self.lures(self.needs[pair.need]) - free.lures[pair.need];
            let is_asked = begun < need.copies;
            (!is_asked, std::cmp::Reverse(if is_asked { need.importance } else { 0 }))
        };
        pairs.sort_by(|a, b| {
            let better = b.by[angler].unwrap_or(0.0).total_cmp(&a.by[angler].unwrap_or(0.0));
            rank(a).cmp(&rank(b)).then(better)
        });
        let with = |free: &Free, taken: Option<&Pair>| {
            let mut left = Free {
                anglers: free.anglers.clone(),
                outfits: free.outfits.clone(),
                lures: free.lures.clone(),
            };
            if let Some(pair) = taken {
                left.outfits[pair.outfit] = false;
                left.lures[pair.need] -= 1;
            }
            left
        };
        for pair in pairs {
            *tries = tries.saturating_sub(1);
            seats[angler] = Some((pair.outfit, pair.need));
            if self.try_out(with(&free, Some(pair)), idle, seats, tries) {
                return true;
            }
        }
        seats[angler] = None;
        idle > 0 && self.try_out(with(&free, None), idle - 1, seats, tries)
    }
}
