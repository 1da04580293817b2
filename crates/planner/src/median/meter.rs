//! Work that is done, how the search stands, and whether it is to go on.

use super::case::SCALE;
use super::{AskMedian, MedianProgress, Spent};

/// Counts steps and asks.
pub(super) struct Meter<'a> {
    pub(super) steps: u64,
    pub(super) nodes: u64,
    limit: u64,
    /// What whole costs were divided by.
    factor: u64,
    ask: AskMedian<'a>,
    cost: Option<u64>,
    bound: u64,
    over: bool,
}

impl<'a> Meter<'a> {
    pub(super) fn new(limit: u64, factor: u64, ask: AskMedian<'a>) -> Self {
        let (cost, bound) = (None, 0);
        Self { steps: 0, nodes: 0, limit, factor, ask, cost, bound, over: false }
    }

    /// A plan costs so much.
    pub(super) fn reached(&mut self, cost: i64) {
        let cost = cost as u64 * self.factor;
        self.cost = Some(self.cost.map_or(cost, |known| known.min(cost)));
    }

    /// No plan that is better than the best one known costs less than this, in parts of a unit.
    pub(super) fn bound(&mut self, bound: i64) {
        let bound = self.whole(bound);
        self.bound = self.bound.max(bound.min(self.cost.unwrap_or(bound)));
    }

    /// A bound as a cost.
    pub(super) fn whole(&self, bound: i64) -> u64 {
        (bound.max(0) as u64).div_ceil(SCALE as u64) * self.factor
    }

    /// Asks whether the search is to end; who said so once is not asked again.
    pub(super) fn is_over(&mut self) -> bool {
        if !self.over {
            let spent = self.spent();
            let now = MedianProgress { cost: self.cost, bound: self.bound, spent };
            self.over = self.steps >= self.limit || (self.ask)(&now).is_break();
        }
        self.over
    }

    pub(super) fn spent(&self) -> Spent {
        Spent { steps: self.steps, nodes: self.nodes }
    }
}
