//! Watching a search: how it stands, and whether it is to go on.

use std::cell::Cell;
use std::ops::ControlFlow;
use std::time::Duration;

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

/// What a search is answered: `Break` ends it with the best so far; else it goes on, for as long as is
/// said if the time is limited. Within a node of its tree only that ends it.
pub type Go = ControlFlow<(), Option<Duration>>;

/// Told how the search stands, between steps of it.
pub type Ask<'a> = &'a dyn Fn(&Progress) -> Go;

/// Goes on whatever happens.
pub(crate) fn on(_: &Progress) -> Go {
    ControlFlow::Continue(None)
}

/// Collects progress and asks. Who said `Break` once is not asked again.
pub(crate) struct Watch<'a> {
    ask: Ask<'a>,
    now: Cell<Progress>,
    over: Cell<bool>,
    /// Time that was left when it was asked last.
    left: Cell<Option<Duration>>,
    scale: Cell<Scale>,
}

impl<'a> Watch<'a> {
    pub(crate) fn new(ask: Ask<'a>) -> Self {
        let (now, left) = (Cell::default(), Cell::default());
        Self { ask, now, over: Cell::new(false), left, scale: Cell::new(Scale::MICROS) }
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
        self.go().is_break()
    }

    fn go(&self) -> Go {
        if self.over.get() {
            return ControlFlow::Break(());
        }
        let go = (self.ask)(&self.now.get());
        self.over.set(go.is_break());
        self.left.set(go.continue_value().flatten());
        go
    }

    /// Time that was left when it was asked last; `None`: it is not limited.
    pub(crate) fn left(&self) -> Option<Duration> {
        self.left.get()
    }

    /// Asks on behalf of other work, of which nothing is told.
    pub(crate) fn only_asked(&self) -> impl Fn(&Progress) -> Go {
        |_| self.go()
    }

    /// The same for work that may take one of so many parts of the time that is left.
    pub(crate) fn one_of(&self, parts: u32) -> impl Fn(&Progress) -> Go {
        let all = self.go().continue_value().flatten();
        let rest = all.map(|all| all - all / parts);
        move |_| match self.go() {
            ControlFlow::Continue(left) => {
                let left = left.zip(rest).map(|(left, rest)| left.saturating_sub(rest));
                let is_over = left.is_some_and(|left| left.is_zero());
                if is_over { ControlFlow::Break(()) } else { ControlFlow::Continue(left) }
            }
            ControlFlow::Break(()) => ControlFlow::Break(()),
        }
    }
}

#[cfg(test)]
mod tests {
    use std::cell::Cell;
    use std::ops::ControlFlow;
    use std::time::Duration;

    use super::{Go, Progress, Watch};

    fn seconds(left: u64) -> Option<Duration> {
        Some(Duration::from_secs(left))
    }

    // Source: arithmetic: a third of nine seconds is over when six are left; the rest goes on.
    #[test]
    fn a_part_of_the_work_has_a_part_of_the_time() {
        let now = Cell::new(seconds(9));
        let ask = |_: &Progress| -> Go { ControlFlow::Continue(now.get()) };
        let whole = Watch::new(&ask);
        let asked = whole.one_of(3);
        let part = Watch::new(&asked);
        for (all, own) in [(9, Some(3)), (7, Some(1)), (6, None)] {
            now.set(seconds(all));
            assert_eq!(part.is_over(), own.is_none());
            assert_eq!(part.left(), own.and_then(seconds));
            assert!(!whole.is_over());
            assert_eq!(whole.left(), seconds(all));
        }
    }
}
