//! What can be left out without losing the best plan.
//!
//! A candidate may be dropped when another one of the same rod and reel does all that it does at
//! no higher cost. A rod (or reel) may not be dropped for a better one, since the better one may
//! be busy; but it need not be taken while the better one stays ashore: swapping them would cost
//! nothing. That is stated to the solver as an order between the two.

use crate::grid::{Cand, Grid};

/// What pruning found.
#[derive(Clone, Debug, Default)]
pub(crate) struct Pruning {
    /// Candidates that remain.
    pub(crate) kept: Vec<usize>,
    /// `(worse, better)`: the worse rod is taken only with the better one.
    pub(crate) rods: Vec<(usize, usize)>,
    /// `(worse, better)`, likewise for reels.
    pub(crate) reels: Vec<(usize, usize)>,
}

/// Whether `better` does all that `worse` does, for everybody, at no higher cost.
fn covers(better: &Cand, worse: &Cand) -> bool {
    let stock = match (better.stock, worse.stock) {
        (None, _) => true,
        (Some(_), None) => false,
        (Some((s, metres)), Some((t, more))) => s == t && metres <= more,
    };
    stock
        && better.boat == worse.boat
        && better.minutes <= worse.minutes
        && better.move_cost <= worse.move_cost
        && better.moves <= worse.moves
        && better.suits.iter().zip(&worse.suits).all(|(b, w)| *b || !*w)
        && worse.offers.iter().all(|w| {
            better.offers.iter().any(|b| {
                b.need == w.need
                    && b.worth >= w.worth
                    && (b.meets || !w.meets)
                    && (b.leader.is_none() || b.leader == w.leader)
            })
        })
}

/// Keeps everything that can still be used.
pub(crate) fn none(grid: &Grid<'_>) -> Pruning {
    Pruning { kept: (0..grid.cands.len()).collect(), ..Pruning::default() }
}

/// Prunes.
pub(crate) fn prune(grid: &Grid<'_>) -> Pruning {
    let mut kept: Vec<usize> = Vec::new();
    // Candidates are in the order of boat, rod and reel.
    let place = |cand: &Cand| (cand.boat, cand.rod, cand.reel);
    for (i, cand) in grid.cands.iter().enumerate() {
        let first = grid.cands.partition_point(|other| place(other) < place(cand));
        let same = grid.cands[first..].iter().take_while(|other| place(other) == place(cand));
        let dominated = same
            .enumerate()
            .map(|(at, other)| (first + at, other))
            .any(|(j, other)| i != j && covers(other, cand) && (j < i || !covers(cand, other)));
        let wanted = grid.wanted.iter().any(|w| grid.is_wanted(cand, w));
        if (wanted || !cand.offers.is_empty()) && !dominated {
            kept.push(i);
        }
    }
    let mut rods = orders(grid, &kept, grid.rods.len(), |c| c.rod, |c| c.reel);
    let mut reels = orders(grid, &kept, grid.reels.len(), |c| c.reel, |c| c.rod);
    // What a pin asks for is taken, whatever is better.
    let pinned = |is_rod, part| grid.wanted.iter().any(|w| w.is_rod == is_rod && w.part == part);
    rods.retain(|(worse, better)| !pinned(true, *worse) && !pinned(true, *better));
    reels.retain(|(worse, better)| !pinned(false, *worse) && !pinned(false, *better));
    Pruning { kept, rods, reels }
}

/// Pairs `(worse, better)` of parts; between equals the earlier id is the better.
fn orders(
    grid: &Grid<'_>,
    kept: &[usize],
    count: usize,
    part: impl Fn(&Cand) -> usize,
    partner: impl Fn(&Cand) -> usize,
) -> Vec<(usize, usize)> {
    let mut by_part: Vec<Vec<&Cand>> = vec![Vec::new(); count];
    for &c in kept {
        by_part[part(&grid.cands[c])].push(&grid.cands[c]);
    }
    let replaces = |better: usize, worse: usize| {
        by_part[worse]
            .iter()
            .all(|w| by_part[better].iter().any(|b| partner(b) == partner(w) && covers(b, w)))
    };
    let mut pairs = Vec::new();
    for worse in (0..count).filter(|p| !by_part[*p].is_empty()) {
        for better in (0..count).filter(|p| *p != worse && !by_part[*p].is_empty()) {
            if replaces(better, worse) && (better < worse || !replaces(worse, better)) {
                pairs.push((worse, better));
            }
        }
    }
    pairs
}
