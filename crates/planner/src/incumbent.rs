//! A good plan before the search: add the outfit that brings most, then exchange.

use std::cmp::Reverse;

use crate::crew;
use crate::grid::Grid;
use crate::model;
use crate::watch::Watch;
use crate::weights::{Micros, ONE};
use crate::worth::{self, Selection};

/// What an angler without an outfit, or a broken pin, costs while a plan is being put together.
const UNSEATED: Micros = 1_000 * ONE;

/// Rounds of exchanges at most; each one improves the plan, so few are ever needed.
const ROUNDS: usize = 60;

/// A choice and how it ranks.
#[derive(Clone, Debug)]
pub(crate) struct Ranked {
    pub(crate) outfits: Vec<usize>,
    pub(crate) rank: Micros,
}

/// People without an outfit, and pins that are broken.
fn broken(grid: &Grid<'_>, selection: &Selection) -> u32 {
    crew::seat(grid, selection).unseated + worth::pins_broken(grid, selection)
}

/// Leaders and lures for a choice: those that are worth tying, or all there are where people or
/// pins want more; and how many of these still want something.
pub(crate) fn fitted(grid: &Grid<'_>, outfits: &[usize]) -> (Selection, u32) {
    let fitting = worth::fit(grid, outfits);
    let open = broken(grid, &fitting);
    if open == 0 {
        return (fitting, 0);
    }
    let all = worth::furnish(grid, outfits);
    let left = broken(grid, &all);
    if left < open { (all, left) } else { (fitting, open) }
}

/// Ranks a choice; `None`: there is not enough line for it.
pub(crate) fn rank(grid: &Grid<'_>, outfits: Vec<usize>) -> Option<Ranked> {
    if !worth::line_suffices(grid, &outfits) {
        return None;
    }
    let (selection, broken) = fitted(grid, &outfits);
    let unseated = Micros::from(broken);
    let rank = worth::value(grid, &selection).objective() - unseated * UNSEATED;
    Some(Ranked { outfits, rank })
}

fn is_full(grid: &Grid<'_>, outfits: &[usize], boat: usize) -> bool {
    let aboard = outfits.iter().filter(|o| grid.cands[**o].boat == boat).count();
    aboard >= grid.boats[boat].outfits
}

fn with(grid: &Grid<'_>, outfits: &[usize], new: usize) -> Option<Vec<usize>> {
    let full = is_full(grid, outfits, grid.cands[new].boat);
    if full || outfits.iter().any(|o| grid.exclusive(*o, new)) {
        return None;
    }
    let mut list = outfits.to_vec();
    list.insert(list.partition_point(|o| *o < new), new);
    Some(list)
}

/// Choices one step away: one added, one dropped, one exchanged, and one put in place of the
/// two whose rod and reel it takes.
fn neighbours(grid: &Grid<'_>, outfits: &[usize], kept: &[usize]) -> Vec<Vec<usize>> {
    let mut list = Vec::new();
    for drop in 0..outfits.len() {
        let mut fewer = outfits.to_vec();
        fewer.remove(drop);
        list.push(fewer);
    }
    for &new in kept.iter().filter(|c| !outfits.contains(c)) {
        let free: Vec<_> = outfits.iter().copied().filter(|o| !grid.exclusive(*o, new)).collect();
        if free.len() == outfits.len() {
            list.extend(with(grid, outfits, new));
            for drop in 0..outfits.len() {
                let mut fewer = outfits.to_vec();
                fewer.remove(drop);
                list.extend(with(grid, &fewer, new));
            }
        } else {
            list.extend(with(grid, &free, new));
        }
    }
    list
}

/// Climbs from a choice until no step helps.
fn climb(grid: &Grid<'_>, kept: &[usize], start: Ranked, watch: &Watch<'_>) -> Ranked {
    let mut best = start;
    for _ in 0..ROUNDS {
        let step = neighbours(grid, &best.outfits, kept)
            .into_iter()
            .take_while(|_| !watch.is_over())
            .filter_map(|outfits| rank(grid, outfits))
            .fold(None, |top: Option<Ranked>, next| match top {
                Some(top) if top.rank >= next.rank => Some(top),
                _ => Some(next),
            });
        match step {
            Some(next) if next.rank > best.rank => best = next,
            _ => break,
        }
    }
    best
}

/// The best choice found by adding and exchanging, from nothing or from a sound selection;
/// `None` if it leaves an angler without an outfit or breaks a pin.
pub(crate) fn find(
    grid: &Grid<'_>,
    kept: &[usize],
    known: Option<&Selection>,
    watch: &Watch<'_>,
) -> Option<Selection> {
    let start = rank(grid, known.map_or_else(Vec::new, |known| known.outfits.clone()))?;
    let (mut selection, _) = fitted(grid, &climb(grid, kept, start, watch).outfits);
    trim(grid, &mut selection);
    worth::is_sound(grid, &selection).then_some(selection)
}

/// Anglers without an outfit and pins that are broken.
fn open(grid: &Grid<'_>, outfits: &[usize]) -> u32 {
    let selection = worth::furnish(grid, outfits);
    crew::seat(grid, &selection).unseated + worth::pins_broken(grid, &selection)
}

/// Outfits that seat everybody and keep the pins: always the first of `order` that helps; `None` if
/// one at a time does not lead there.
pub(crate) fn seated(grid: &Grid<'_>, order: &[usize]) -> Option<Vec<usize>> {
    let mut outfits: Vec<usize> = Vec::new();
    let mut left = open(grid, &outfits);
    while left > 0 {
        let more = order.iter().filter_map(|c| with(grid, &outfits, *c));
        let mut more = more.filter(|more| worth::line_suffices(grid, more));
        let (fewer, more) = more.find_map(|more| {
            let now = open(grid, &more);
            (now < left).then_some((now, more))
        })?;
        (left, outfits) = (fewer, more);
    }
    Some(outfits)
}

/// Takes off leaders that bring nothing: those that cost first, the later ones first.
pub(crate) fn trim(grid: &Grid<'_>, selection: &mut Selection) {
    let mut best = worth::value(grid, selection).objective();
    let fitted: Vec<_> = selection.leaders.iter().copied().rev().collect();
    for pair in fitted {
        selection.leaders.remove(&pair);
        let now = worth::value(grid, selection).objective();
        if now >= best && worth::is_sound(grid, selection) {
            best = now;
        } else {
            selection.leaders.insert(pair);
        }
    }
}

/// How a choice ranks among those of the same objective, the first best: as rigged by habit, then
/// the earlier ids.
fn usual<'o>(grid: &Grid<'_>, outfits: &'o [usize]) -> (Reverse<usize>, &'o [usize]) {
    (Reverse(outfits.iter().filter(|o| grid.cands[**o].habit).count()), outfits)
}

/// What all plans with some outfits, and with others beside them, are worth at most: every leader
/// and every lure is there, and only the outfits that are settled cost something.
fn at_most(grid: &Grid<'_>, settled: &[usize], others: &[usize]) -> Micros {
    let mut outfits: Vec<usize> = settled.iter().chain(others).copied().collect();
    outfits.sort_unstable();
    let leaders = |c: &usize| grid.cands[*c].offers.iter().filter_map(|o| o.leader);
    let leaders = outfits.iter().flat_map(|c| leaders(c).map(move |l| (*c, l))).collect();
    let all = Selection { outfits, leaders, lures: vec![true; grid.lures.len()] };
    let value = worth::value(grid, &all);
    let cost = |c: &usize| grid.cands[*c].move_cost + grid.weights.outfit_tie;
    value.coverage - value.shortfall - settled.iter().map(cost).sum::<Micros>()
}

/// Looks at ways to hand the reels out anew; with more of them the rest is not looked at.
const HANDED: u32 = 2_000;

/// The ways to hand out reels and lines to the rods that are taken.
struct Handing<'a, 'b> {
    grid: &'a Grid<'b>,
    /// For each rod what may be put on it.
    options: Vec<Vec<usize>>,
    target: Micros,
    looks: u32,
    found: Vec<Vec<usize>>,
}

impl Handing<'_, '_> {
    fn go_on(&mut self, settled: &mut Vec<usize>) {
        if self.looks == 0 {
            return;
        }
        self.looks -= 1;
        let grid = self.grid;
        let free = |c: &usize| !settled.iter().any(|o| grid.exclusive(*o, *c));
        let open = &self.options[settled.len()..];
        let others: Vec<usize> = open.iter().flatten().copied().filter(free).collect();
        if at_most(grid, settled, &others) < self.target {
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
    grid: &Grid<'_>,
    outfits: &[usize],
    kept: &[usize],
    target: Micros,
) -> Vec<Vec<usize>> {
    let place = |c: usize| (grid.cands[c].boat, grid.cands[c].rod);
    let of_rod = |o: usize| kept.iter().copied().filter(|c| place(*c) == place(o)).collect();
    let options: Vec<Vec<usize>> = outfits.iter().map(|o| of_rod(*o)).collect();
    let mut handing =
        Handing { grid, target, options: Vec::new(), looks: HANDED, found: Vec::new() };
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

/// Choices whose best leaders are looked for by the model, where a quick look does not find them.
const EXACT: u32 = 60;

/// The leaders and lures with which outfits are worth as much as `target`, if there are any.
fn furnished(
    grid: &Grid<'_>,
    outfits: &[usize],
    target: Micros,
    exact_looks: &mut u32,
    watch: &Watch<'_>,
) -> Option<Selection> {
    let as_good =
        |s: &Selection| worth::value(grid, s).objective() >= target && worth::is_sound(grid, s);
    if at_most(grid, outfits, &[]) < target {
        return None;
    }
    let mut quick = worth::furnish(grid, outfits);
    trim(grid, &mut quick);
    if as_good(&quick) {
        return Some(quick);
    }
    *exact_looks = exact_looks.checked_sub(1)?;
    let mut exact = model::furnish(grid, outfits, watch)?;
    trim(grid, &mut exact);
    as_good(&exact).then_some(exact)
}

/// Among plans of the same objective, the one rigged most by habit, then the one with the earlier
/// ids, as far as exchanges of one outfit, and reels that are handed out anew to two or three rods,
/// lead.
pub(crate) fn settle_ties(
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
    let mut best = selection;
    let mut looks = EXACT;
    for _ in 0..ROUNDS {
        let now = usual(grid, &best.outfits);
        let mut better: Vec<_> = neighbours(grid, &best.outfits, kept)
            .into_iter()
            .chain(handed_out(grid, &best.outfits, kept, target))
            .filter(|outfits| outfits.len() == best.outfits.len() && usual(grid, outfits) < now)
            .filter(|outfits| worth::line_suffices(grid, outfits))
            .collect();
        better.sort_by(|a, b| usual(grid, a).cmp(&usual(grid, b)));
        let mut better = better.into_iter().take_while(|_| !watch.is_over());
        match better.find_map(|o| furnished(grid, &o, target, &mut looks, watch)) {
            Some(next) => best = next,
            None => break,
        }
    }
    furnished(grid, &best.outfits, target, &mut 1, watch).unwrap_or(best)
}
