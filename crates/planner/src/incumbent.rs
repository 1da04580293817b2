//! A good plan before the search: add the outfit that brings most, then exchange.

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
pub(crate) struct Ranked {
    pub(crate) outfits: Vec<usize>,
    pub(crate) rank: Micros,
}

/// People without an outfit, and pins that are broken.
pub(crate) fn broken(grid: &Grid<'_>, selection: &Selection) -> u32 {
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

/// Anglers without an outfit and pins that are broken, and by boat whether there are any.
fn open(grid: &Grid<'_>, outfits: &[usize]) -> (u32, Vec<bool>) {
    let selection = worth::furnish(grid, outfits);
    let crew = crew::seat(grid, &selection);
    let left = crew.unseated + worth::pins_broken(grid, &selection);
    let mut boats = vec![false; grid.boats.len()];
    for need in &grid.needs {
        let seats = crew.seats.iter().filter(|seat| seat.segment == need.segment);
        boats[grid.lures[need.lure].boat] |= seats.count() < grid.crews[need.segment].len();
    }
    grid.wanted.iter().for_each(|wanted| boats[wanted.boat] = true);
    let held = grid.held.iter().map(|need| grid.lures[grid.needs[*need].lure].boat);
    held.for_each(|boat| boats[boat] = true);
    (left, boats)
}

/// Outfits that seat everybody and keep the pins: always the next of `order` that helps; `None` if
/// one at a time does not lead there.
pub(crate) fn seated(grid: &Grid<'_>, order: &[usize]) -> Option<Vec<usize>> {
    let (outfits, left) = seat_more(grid, order, u32::MAX);
    (left == 0).then_some(outfits)
}

/// The same as far as it leads with so many looks at outfits, and how many people and pins it leaves
/// open.
pub(crate) fn seat_more(grid: &Grid<'_>, order: &[usize], mut looks: u32) -> (Vec<usize>, u32) {
    let mut outfits: Vec<usize> = Vec::new();
    let (mut left, mut boats) = open(grid, &outfits);
    loop {
        let before = left;
        // What does not help now seldom helps later: it is looked at again only at the end.
        for &c in order {
            if left == 0 || looks == 0 {
                return (outfits, left);
            }
            let more = with(grid, &outfits, c).filter(|_| boats[grid.cands[c].boat]);
            let Some(more) = more.filter(|more| worth::line_suffices(grid, more)) else { continue };
            looks -= 1;
            let (now, still) = open(grid, &more);
            if now < left {
                (left, boats, outfits) = (now, still, more);
            }
        }
        if left == before {
            return (outfits, left);
        }
    }
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
