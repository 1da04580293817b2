//! What can be left out without losing the best plan.
//!
//! A candidate may be dropped when another one of the same rod and reel does all that it does at
//! no higher cost. A rod (or reel) may not be dropped for a better one, since the better one may
//! be busy; but it need not be taken while the better one stays ashore: swapping them would cost
//! nothing. That is stated to the solver as an order between the two.

use crate::grid::{Cand, Grid, Lift};
use crate::problem::TripProblem;
use crate::weights::Weights;

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
                    && b.hands.hold(&w.hands)
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
    let kept = kept(grid);
    let pairs = |is_rod| {
        let (parts, count) = (Parts::of(grid, &kept, is_rod), Parts::count(grid, is_rod));
        let pairs = (0..count).flat_map(|worse| (0..count).map(move |better| (worse, better)));
        pairs.filter(|(worse, better)| parts.is_order(*worse, *better)).collect()
    };
    let (rods, reels) = (pairs(true), pairs(false));
    Pruning { kept, rods, reels }
}

/// Candidates that another one of the same boat, rod and reel does not cover.
pub(crate) fn kept(grid: &Grid<'_>) -> Vec<usize> {
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
    kept
}

/// By candidate of a problem that has been validated, whether it can matter: another one of the
/// same rod and reel does not do all that it does at no higher cost.
#[must_use]
pub fn matters(problem: &TripProblem, weights: &Weights) -> Vec<bool> {
    let grid = Grid::new(problem, weights, Lift::default());
    let mut matters = vec![true; problem.candidates.len()];
    for cand in grid.cands.iter().filter(|cand| !cand.offers.is_empty()) {
        matters[cand.source] = false;
    }
    for c in kept(&grid) {
        matters[grid.cands[c].source] = true;
    }
    matters
}

/// Rods, or reels, with their candidates.
pub(crate) struct Parts<'g> {
    /// By part, its candidates by partner.
    by_part: Vec<Vec<&'g Cand>>,
    is_rod: bool,
    /// Parts that a pin asks for: they are taken, whatever is better.
    pinned: Vec<usize>,
}

impl<'g> Parts<'g> {
    /// Rods or reels of the candidates that are kept.
    pub(crate) fn of(grid: &'g Grid<'_>, kept: &[usize], is_rod: bool) -> Self {
        let mut by_part: Vec<Vec<&Cand>> = vec![Vec::new(); Self::count(grid, is_rod)];
        for cand in kept.iter().map(|c| &grid.cands[*c]) {
            by_part[if is_rod { cand.rod } else { cand.reel }].push(cand);
        }
        let wanted = grid.wanted.iter().filter(|w| w.is_rod == is_rod);
        Self { by_part, is_rod, pinned: wanted.map(|w| w.part).collect() }
    }

    fn count(grid: &Grid<'_>, is_rod: bool) -> usize {
        if is_rod { grid.rods.len() } else { grid.reels.len() }
    }

    fn partner(&self, cand: &Cand) -> usize {
        if self.is_rod { cand.reel } else { cand.rod }
    }

    fn replaces(&self, better: usize, worse: usize) -> bool {
        self.by_part[worse].iter().all(|w| {
            let same = |b: &&&Cand| self.partner(b) == self.partner(w);
            self.by_part[better].iter().filter(same).any(|b| covers(b, w))
        })
    }

    /// Whether one part need not be taken before the other; between equals the earlier id is the
    /// better.
    pub(crate) fn is_order(&self, worse: usize, better: usize) -> bool {
        let used = |part: usize| !self.by_part[part].is_empty() && !self.pinned.contains(&part);
        worse != better
            && used(worse)
            && used(better)
            && self.replaces(better, worse)
            && (better < worse || !self.replaces(worse, better))
    }
}
