//! Of plans that are worth the same the most usual one.

use std::cmp::Reverse;

use crate::grid::{Demand, Grid};
use crate::incumbent;
use crate::model;
use crate::watch::Watch;
use crate::weights::Micros;
use crate::worth::{self, Selection};

/// Rounds of exchanges at most; each one leads to a more usual plan, so few are ever needed.
const ROUNDS: usize = 60;

/// Looks at ways to hand the reels out anew; with more of them the rest is not looked at.
const HANDED: u32 = 2_000;

/// Choices whose best leaders are looked for by the model, where a quick look does not find them.
const EXACT: u32 = 60;

/// How a choice ranks among those of the same objective, the first best: as rigged by habit, then
/// the earlier ids.
fn usual<'o>(grid: &Grid<'_>, outfits: &'o [usize]) -> (Reverse<usize>, &'o [usize]) {
    (Reverse(outfits.iter().filter(|o| grid.cands[**o].habit).count()), outfits)
}

/// What a candidate does for a need, whichever of its leaders that takes.
struct Serves {
    need: usize,
    worth: Micros,
    meets: bool,
}

/// What plans are worth at most: every leader and every lure is there.
struct Most<'a, 'b> {
    grid: &'a Grid<'b>,
    /// By candidate.
    serves: Vec<Vec<Serves>>,
    /// By need, where its shares begin among those of all needs.
    firsts: Vec<usize>,
    shares: usize,
}

/// What the needs come to with some outfits.
struct Stand {
    /// By need and share, the worths of those that serve it, the best first.
    tops: Vec<Micros>,
    /// By need, how many reach its verdict.
    met: Vec<usize>,
    sum: Micros,
}

/// Puts a worth where it belongs among others, of which the least falls out.
fn insert(tops: &mut [Micros], mut worth: Micros) {
    for top in tops {
        if worth > *top {
            std::mem::swap(top, &mut worth);
        }
    }
}

impl<'a, 'b> Most<'a, 'b> {
    fn of(grid: &'a Grid<'b>, cands: impl Iterator<Item = usize>) -> Self {
        let mut serves: Vec<Vec<Serves>> = Vec::new();
        serves.resize_with(grid.cands.len(), Vec::new);
        for c in cands {
            let list = &mut serves[c];
            list.clear();
            for offer in &grid.cands[c].offers {
                let (need, worth, meets) = (offer.need, offer.worth, offer.meets);
                match list.last_mut().filter(|last| last.need == need) {
                    Some(last) => {
                        (last.worth, last.meets) = (last.worth.max(worth), last.meets || meets);
                    }
                    None => list.push(Serves { need, worth, meets }),
                }
            }
        }
        let mut shares = 0;
        let first = |need: &Demand| {
            shares += need.shares.len();
            shares - need.shares.len()
        };
        let firsts = grid.needs.iter().map(first).collect();
        Self { grid, serves, firsts, shares }
    }

    fn cost(&self, c: usize) -> Micros {
        self.grid.cands[c].move_cost + self.grid.weights.outfit_tie
    }

    fn tops<'s>(&self, stand: &'s Stand, need: usize) -> &'s [Micros] {
        let first = self.firsts[need];
        &stand.tops[first..first + self.grid.needs[need].shares.len()]
    }

    /// What a need comes to.
    fn of_need(&self, need: usize, tops: impl Iterator<Item = Micros>, met: usize) -> Micros {
        let demand = &self.grid.needs[need];
        let terms = demand.shares.iter().zip(tops);
        let worth: Micros =
            terms.map(|(share, top)| self.grid.weights.term(demand.importance, *share, top)).sum();
        let is_held = demand.holdable && met >= demand.copies as usize;
        worth - if is_held { 0 } else { demand.shortfall }
    }

    fn stand(&self, outfits: impl Iterator<Item = usize>) -> Stand {
        let needs = self.grid.needs.len();
        let mut stand = Stand { tops: vec![0; self.shares], met: vec![0; needs], sum: 0 };
        for s in outfits.flat_map(|c| &self.serves[c]) {
            let first = self.firsts[s.need];
            let last = first + self.grid.needs[s.need].shares.len();
            insert(&mut stand.tops[first..last], s.worth);
            stand.met[s.need] += usize::from(s.meets);
        }
        let of_need = |need| {
            let tops = self.tops(&stand, need).iter().copied();
            self.of_need(need, tops, stand.met[need])
        };
        stand.sum = (0..needs).map(of_need).sum();
        stand
    }

    /// What a candidate adds to some outfits, without what it costs.
    fn gain(&self, stand: &Stand, c: usize) -> Micros {
        let gain = |s: &Serves| {
            let tops = self.tops(stand, s.need).iter().copied();
            let met = stand.met[s.need];
            let mut worth = s.worth;
            let with = tops.clone().map(|top| {
                let more = top.max(worth);
                worth = top.min(worth);
                more
            });
            let with = self.of_need(s.need, with, met + usize::from(s.meets));
            with - self.of_need(s.need, tops, met)
        };
        self.serves[c].iter().map(gain).sum()
    }

    /// What all plans with some outfits, and with others beside them, are worth at most: only the
    /// outfits that are settled cost something.
    fn at_most(&self, settled: &[usize], others: &[usize]) -> Micros {
        let stand = self.stand(settled.iter().chain(others).copied());
        stand.sum - settled.iter().map(|c| self.cost(*c)).sum::<Micros>()
    }

    /// More usual choices with another outfit in the place of one, that may be worth `target`.
    fn exchanged(&self, outfits: &[usize], kept: &[usize], target: Micros) -> Vec<Vec<usize>> {
        let grid = self.grid;
        let mut aboard = vec![0; grid.boats.len()];
        outfits.iter().for_each(|c| aboard[grid.cands[*c].boat] += 1);
        let without = |at: usize| {
            let others = || outfits.iter().copied().filter(|c| *c != outfits[at]);
            (self.stand(others()), others().map(|c| self.cost(c)).sum::<Micros>())
        };
        let without: Vec<(Stand, Micros)> = (0..outfits.len()).map(without).collect();
        let mut list = Vec::new();
        for &new in kept.iter().filter(|c| !outfits.contains(c)) {
            let mut in_way = (0..outfits.len()).filter(|at| grid.exclusive(outfits[*at], new));
            let places = match (in_way.next(), in_way.next()) {
                (None, _) => 0..outfits.len(),
                (Some(only), None) => only..only + 1,
                (Some(_), Some(_)) => continue,
            };
            let boat = grid.cands[new].boat;
            for at in places {
                let old = outfits[at];
                let own = usize::from(grid.cands[old].boat == boat);
                let has_room = aboard[boat] - own < grid.boats[boat].outfits;
                let usual = |c: usize| (Reverse(grid.cands[c].habit), c);
                if !has_room || usual(new) > usual(old) {
                    continue;
                }
                let (stand, cost) = &without[at];
                if stand.sum + self.gain(stand, new) - cost - self.cost(new) >= target {
                    let stay = outfits.iter().copied().filter(|c| *c != old);
                    let mut outfits: Vec<usize> = stay.chain([new]).collect();
                    outfits.sort_unstable();
                    list.push(outfits);
                }
            }
        }
        list
    }
}

/// The ways to hand out reels and lines to the rods that are taken.
struct Handing<'m, 'a, 'b> {
    most: &'m Most<'a, 'b>,
    /// For each rod what may be put on it.
    options: Vec<Vec<usize>>,
    target: Micros,
    looks: u32,
    found: Vec<Vec<usize>>,
}

impl Handing<'_, '_, '_> {
    fn go_on(&mut self, settled: &mut Vec<usize>) {
        if self.looks == 0 {
            return;
        }
        self.looks -= 1;
        let grid = self.most.grid;
        let free = |c: &usize| !settled.iter().any(|o| grid.exclusive(*o, *c));
        let open = &self.options[settled.len()..];
        let others: Vec<usize> = open.iter().flatten().copied().filter(free).collect();
        if self.most.at_most(settled, &others) < self.target {
            return;
        }
        let Some(next) = open.first() else {
            let mut outfits = settled.clone();
            outfits.sort_unstable();
            self.found.push(outfits);
            return;
        };
        for c in next.iter().copied().filter(free).collect::<Vec<_>>() {
            settled.push(c);
            self.go_on(settled);
            settled.pop();
        }
    }
}

/// Choices of the same rods in which two or three of them carry other reels or lines, that may be
/// worth `target`.
fn handed_out(
    most: &Most<'_, '_>,
    outfits: &[usize],
    kept: &[usize],
    target: Micros,
) -> Vec<Vec<usize>> {
    let grid = most.grid;
    let place = |c: usize| (grid.cands[c].boat, grid.cands[c].rod);
    let of_rod = |o: usize| kept.iter().copied().filter(|c| place(*c) == place(o)).collect();
    let options: Vec<Vec<usize>> = outfits.iter().map(|o| of_rod(*o)).collect();
    let mut handing =
        Handing { most, target, options: Vec::new(), looks: HANDED, found: Vec::new() };
    let mut hand_out = |some: &[usize]| {
        let others = outfits.iter().enumerate().filter(|(i, _)| !some.contains(i));
        let mut settled: Vec<usize> = others.map(|(_, o)| *o).collect();
        // What is settled keeps its place before those that are handed out anew.
        handing.options = vec![Vec::new(); settled.len()];
        handing.options.extend(some.iter().map(|i| options[*i].clone()));
        handing.go_on(&mut settled);
    };
    let count = outfits.len();
    for a in 0..count {
        (a + 1..count).for_each(|b| hand_out(&[a, b]));
    }
    for a in 0..count {
        for b in a + 1..count {
            (b + 1..count).for_each(|c| hand_out(&[a, b, c]));
        }
    }
    handing.found
}

/// The leaders and lures with which outfits are worth as much as `target`, if there are any.
fn furnished(
    most: &Most<'_, '_>,
    outfits: &[usize],
    target: Micros,
    exact_looks: &mut u32,
    watch: &Watch<'_>,
) -> Option<Selection> {
    let grid = most.grid;
    let as_good = |s: &Selection| {
        let is_plan = worth::is_possible(grid, s) && worth::is_sound(grid, s);
        worth::value(grid, s).objective() >= target && is_plan
    };
    if most.at_most(outfits, &[]) < target {
        return None;
    }
    let mut quick = worth::furnish(grid, outfits);
    incumbent::trim(grid, &mut quick);
    if as_good(&quick) {
        return Some(quick);
    }
    *exact_looks = exact_looks.checked_sub(1)?;
    let mut exact = model::furnish(grid, outfits, watch)?;
    incumbent::trim(grid, &mut exact);
    as_good(&exact).then_some(exact)
}

/// Among plans of the same objective, the one rigged most by habit, then the one with the earlier
/// ids, as far as exchanges of one outfit, and reels that are handed out anew to two or three rods,
/// lead.
pub(crate) fn settle(
    grid: &Grid<'_>,
    kept: &[usize],
    selection: Selection,
    watch: &Watch<'_>,
) -> Selection {
    // Looking for others takes as long as a small search.
    if watch.is_over() {
        return selection;
    }
    let target = worth::value(grid, &selection).objective();
    let most = Most::of(grid, kept.iter().chain(&selection.outfits).copied());
    let mut best = selection;
    let mut looks = EXACT;
    for _ in 0..ROUNDS {
        let now = usual(grid, &best.outfits);
        let mut better: Vec<_> = most
            .exchanged(&best.outfits, kept, target)
            .into_iter()
            .chain(handed_out(&most, &best.outfits, kept, target))
            .filter(|outfits| outfits.len() == best.outfits.len() && usual(grid, outfits) < now)
            .filter(|outfits| worth::line_suffices(grid, outfits))
            .collect();
        better.sort_by(|a, b| usual(grid, a).cmp(&usual(grid, b)));
        let mut better = better.into_iter().take_while(|_| !watch.is_over());
        match better.find_map(|o| furnished(&most, &o, target, &mut looks, watch)) {
            Some(next) => best = next,
            None => break,
        }
    }
    furnished(&most, &best.outfits, target, &mut 1, watch).unwrap_or(best)
}
