//! Watching a search: how it stands, and whether it is to go on.

use std::cell::Cell;
use std::ops::ControlFlow;

use crate::scale::Scale;
use crate::weights::Micros;

/// How a search stands.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Progress {
    /// What the best plan so far is worth, in millionths; none: no plan is known yet. Never falls.
    pub reached: Option<Micros>,
    /// No plan is worth more than this, in millionths; none: nothing is known yet. Never rises.
    pub bound: Option<Micros>,
    /// Nodes of the search tree that were solved, and new beginnings of exchanges.
    pub nodes: u64,
}

impl Progress {
    /// Distance of the best plan to the bound as a share of the bound, 0 or more.
    #[must_use]
    pub fn gap(&self) -> Option<f64> {
        Some(gap(self.reached?, self.bound?))
    }
}

/// Distance of a worth to its bound as a share of the bound, 0 or more.
#[must_use]
pub fn gap(reached: Micros, bound: Micros) -> f64 {
    (bound - reached).max(0) as f64 / bound.abs().max(1) as f64
}

/// Told how the search stands, between steps of it; `Break` ends it with the best so far.
pub type Ask<'a> = &'a dyn Fn(&Progress) -> ControlFlow<()>;

/// Goes on whatever happens.
pub(crate) fn on(_: &Progress) -> ControlFlow<()> {
    ControlFlow::Continue(())
}

/// Collects progress and asks. Who said `Break` once is not asked again.
pub(crate) struct Watch<'a> {
    ask: Ask<'a>,
    now: Cell<Progress>,
    over: Cell<bool>,
    scale: Cell<Scale>,
}

impl<'a> Watch<'a> {
    pub(crate) fn new(ask: Ask<'a>) -> Self {
        Self { ask, now: Cell::default(), over: Cell::new(false), scale: Cell::new(Scale::MICROS) }
    }

    /// From now on worths and bounds come in this unit; they are told in millionths.
    pub(crate) fn count_in(&self, scale: Scale) {
        self.scale.set(scale);
    }

    fn change(&self, change: impl FnOnce(&mut Progress)) {
        let mut now = self.now.get();
        change(&mut now);
        // What is reached is possible, whatever a bound of a part of the plans says.
        now.bound = now.bound.map(|bound| bound.max(now.reached.unwrap_or(bound)));
        self.now.set(now);
    }

    /// A plan is worth so much.
    pub(crate) fn reached(&self, worth: Micros) {
        let worth = self.scale.get().at_least(worth);
        self.change(|now| now.reached = now.reached.max(Some(worth)));
    }

    /// No plan that is better than the best one known is worth more than this.
    pub(crate) fn bound(&self, bound: Micros) {
        let bound = self.scale.get().at_most(bound);
        self.change(|now| now.bound = Some(now.bound.map_or(bound, |known| known.min(bound))));
    }

    /// More nodes were solved.
    pub(crate) fn nodes(&self, more: u64) {
        self.change(|now| now.nodes += more);
    }

    /// Asks whether the search is to end.
    pub(crate) fn is_over(&self) -> bool {
        if !self.over.get() {
            self.over.set((self.ask)(&self.now.get()).is_break());
        }
        self.over.get()
    }

    /// Asks on behalf of other work, of which nothing is told.
    pub(crate) fn only_asked(&self) -> impl Fn(&Progress) -> ControlFlow<()> {
        |_| if self.is_over() { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    }
}
