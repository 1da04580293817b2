//! A good plan before the search: add the outfit that brings most, then exchange.

use std::cmp::Reverse;

use crate::crew;
use crate::grid::Grid;
use crate::watch::Watch;
use crate::weights::{Micros, ONE};
use crate::worth::{self, Selection};

/// What an angler without an outfit, or a broken pin, costs while a plan is being put together.
const UNSEATED: Micros = 1_000 * ONE;

/// Rounds of exchanges at most; each one improves the plan, so few are ever needed.
const ROUNDS: usize = 60;

/// A choice and how it ranks.
#[derive(Clone, Debug)]
struct Ranked {
    outfits: Vec<usize>,
    rank: Micros,
}

fn rank(grid: &Grid<'_>, outfits: Vec<usize>) -> Option<Ranked> {
    if !worth::line_suffices(grid, &outfits) {
        return None;
    }
    let selection = worth::furnish(grid, &outfits);
    let broken = crew::seat(grid, &selection).unseated + worth::pins_broken(grid, &selection);
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
    let mut selection = worth::furnish(grid, &climb(grid, kept, start, watch).outfits);
    trim(grid, &mut selection);
    worth::is_sound(grid, &selection).then_some(selection)
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

/// How a choice ranks among those of the same objective, the first best: as rigged by habit, then the
/// earlier ids.
fn usual<'o>(grid: &Grid<'_>, outfits: &'o [usize]) -> (Reverse<usize>, &'o [usize]) {
    (Reverse(outfits.iter().filter(|o| grid.cands[**o].habit).count()), outfits)
}

/// Choices in which two rods have exchanged their reels.
fn exchanged(grid: &Grid<'_>, outfits: &[usize], kept: &[usize]) -> Vec<Vec<usize>> {
    let mut list = Vec::new();
    for (i, a) in outfits.iter().enumerate() {
        for b in &outfits[i + 1..] {
            let with = |rod: usize, reel: usize| {
                let (rod, reel) = (&grid.cands[rod], &grid.cands[reel]);
                let same = |c: &&usize| {
                    let c = &grid.cands[**c];
                    (c.boat, c.rod, c.reel) == (rod.boat, rod.rod, reel.reel)
                };
                kept.iter().filter(same).copied().collect::<Vec<_>>()
            };
            for first in with(*a, *b) {
                for second in with(*b, *a) {
                    let others = outfits.iter().filter(|o| *o != a && *o != b);
                    let mut outfits: Vec<_> = others.copied().chain([first, second]).collect();
                    outfits.sort_unstable();
                    list.push(outfits);
                }
            }
        }
    }
    list
}

/// Among plans of the same objective, the one rigged most by habit, then the one with the earlier
/// ids, as far as exchanges of one outfit, or of two reels, lead.
pub(crate) fn settle_ties(
    grid: &Grid<'_>,
    kept: &[usize],
    selection: Selection,
    watch: &Watch<'_>,
) -> Selection {
    let target = worth::value(grid, &selection).objective();
    let mut best = selection;
    for _ in 0..ROUNDS {
        let now = usual(grid, &best.outfits);
        let better = neighbours(grid, &best.outfits, kept)
            .into_iter()
            .chain(exchanged(grid, &best.outfits, kept))
            .filter(|outfits| outfits.len() == best.outfits.len() && usual(grid, outfits) < now)
            .filter(|outfits| worth::line_suffices(grid, outfits))
            .take_while(|_| !watch.is_over())
            .map(|outfits| {
                let mut selection = worth::furnish(grid, &outfits);
                trim(grid, &mut selection);
                selection
            })
            .filter(|s| worth::value(grid, s).objective() >= target)
            .filter(|s| worth::is_sound(grid, s))
            .min_by(|a, b| usual(grid, &a.outfits).cmp(&usual(grid, &b.outfits)));
        match better {
            Some(next) => best = next,
            None => break,
        }
    }
    best
}
