//! The unit in which a search counts: the problem's own, so that only proportions matter.
//!
//! Prices of the bound are whole numbers and the tree knows tolerances, so that a search that
//! counts in millionths takes another way through a problem of twice the worth, and may end at
//! another of two plans that are worth the same.

use std::ops::Rem;

use crate::grid::Grid;
use crate::weights::{Micros, ONE};

/// Nothing costs more than this, as validation has it.
const DEAREST: Micros = 100 * ONE;

/// How the unit of a search compares with a millionth.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Scale {
    /// What all importances have in common.
    importance: u32,
    /// What all amounts have in common, the worths counted for their importance.
    common: Micros,
    /// What stands for that.
    units: Micros,
    /// What rounding can change in the worth of a plan, in millionths.
    rounding: Micros,
}

impl Scale {
    /// Millionths.
    pub(crate) const MICROS: Self = Self { importance: 1, common: 1, units: 1, rounding: 0 };

    /// Counts a problem in a unit of its own, which it finds.
    pub(crate) fn apply(grid: &mut Grid<'_>) -> Self {
        let scale = Self::of(grid);
        for need in &mut grid.needs {
            need.importance /= scale.importance;
        }
        let importance = Micros::from(scale.importance);
        each_worth(grid, |worth| *worth = *worth * importance / scale.common * scale.units);
        each_cost(grid, |cost| *cost = *cost / scale.common * scale.units);
        scale
    }

    /// The unit for a problem that is counted in millionths.
    fn of(grid: &mut Grid<'_>) -> Self {
        let importance = grid.needs.iter().map(|n| n.importance).fold(0, gcd).max(1);
        let (mut common, mut best, mut dearest) = (0, 0, 0);
        each_worth(grid, |worth| {
            let worth = *worth * Micros::from(importance);
            (common, best) = (gcd(common, worth), best.max(worth));
        });
        each_cost(grid, |cost| (common, dearest) = (gcd(common, *cost), dearest.max(*cost)));
        let common = common.max(1);
        // As fine as millionths are where an outfit is excellent.
        let most = (ONE / (best / common).max(1)).min(DEAREST / (dearest / common).max(1));
        let units = most.max(1);
        let terms: usize = grid.needs.iter().map(|n| n.shares.len()).sum();
        let rounding = if units == common { 0 } else { terms as Micros * (common / units + 1) };
        Self { importance, common, units, rounding }
    }

    /// Counts it in millionths again.
    pub(crate) fn undo(self, grid: &mut Grid<'_>) {
        for need in &mut grid.needs {
            need.importance *= self.importance;
        }
        let importance = Micros::from(self.importance);
        each_worth(grid, |worth| *worth = *worth / self.units * self.common / importance);
        each_cost(grid, |cost| *cost = *cost / self.units * self.common);
    }

    /// What a plan of so many units is worth at least, in millionths.
    pub(crate) fn at_least(self, worth: Micros) -> Micros {
        let parts = i128::from(worth) * i128::from(self.common);
        parts.div_euclid(self.units.into()) as Micros - self.rounding
    }

    /// What a bound of so many units is at most, in millionths.
    pub(crate) fn at_most(self, bound: Micros) -> Micros {
        let parts = i128::from(bound) * i128::from(self.common);
        -(-parts).div_euclid(self.units.into()) as Micros + self.rounding
    }
}

fn each_worth(grid: &mut Grid<'_>, mut with: impl FnMut(&mut Micros)) {
    let offers = grid.cands.iter_mut().flat_map(|c| &mut c.offers);
    offers.for_each(|offer| with(&mut offer.worth));
}

fn each_cost(grid: &mut Grid<'_>, with: impl FnMut(&mut Micros)) {
    let stocks = [&mut grid.leaders, &mut grid.lines, &mut grid.lures];
    let stocks = stocks.into_iter().flatten().map(|stock| &mut stock.move_cost);
    let shortfalls = grid.needs.iter_mut().map(|need| &mut need.shortfall);
    let cands = grid.cands.iter_mut().map(|cand| &mut cand.move_cost);
    let weights = &mut grid.weights;
    let each = [&mut weights.job_minute, &mut weights.outfit_tie, &mut weights.move_tie];
    stocks.chain(shortfalls).chain(cands).chain(each).for_each(with);
}

/// The largest number that divides both; 0 of two zeros.
pub(crate) fn gcd<T: Copy + Default + PartialEq + Rem<Output = T>>(a: T, b: T) -> T {
    if b == T::default() { a } else { gcd(b, a % b) }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: arithmetic.
    #[test]
    fn a_worth_never_counts_for_more_and_a_bound_never_for_less() {
        let scale = Scale { importance: 1, common: 3, units: 2, rounding: 0 };
        assert_eq!([5, -5].map(|amount| scale.at_least(amount)), [7, -8]);
        assert_eq!([5, -5].map(|amount| scale.at_most(amount)), [8, -7]);
        assert_eq!((gcd(0, 0), gcd(0, 4), gcd(12, 18)), (0, 4, 6));
    }
}
