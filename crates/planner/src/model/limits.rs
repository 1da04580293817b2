//! Rows that somebody asked for: pins, and people who fish at once. Where not all can be kept each
//! of them can be given up, at a price.

use std::collections::BTreeMap;

use microlp::{ComparisonOp, Variable};

use super::{Model, SCALE};
use crate::crew::{Cut, Why};
use crate::grid::Off;
use crate::weights::{Micros, ONE};

impl Model<'_, '_> {
    /// What giving up one limit costs: more than keeping it can cost a plan.
    fn price(&self) -> f64 {
        let shortfalls: Micros = self.grid.needs.iter().map(|n| n.shortfall).sum();
        -((self.grid.plain_bound() + shortfalls + 100 * ONE) as f64) * SCALE
    }

    /// A pin that may be given up has a variable for it.
    fn give_up(&mut self) -> Option<Variable> {
        self.soft.then(|| self.problem.add_binary_var(self.price()))
    }

    /// States the pins. One that nothing can keep becomes an impossible row.
    pub(super) fn add_pins(&mut self) {
        let grid = self.grid;
        for wanted in &grid.wanted {
            let takes = self.take.iter().filter(|(c, _)| grid.is_wanted(&grid.cands[**c], wanted));
            let terms = takes.map(|(_, v)| (*v, 1.0)).collect();
            let without = self.give_up();
            self.at_least(terms, 1.0, without.map(|v| (v, 1.0)));
        }
        for &need in &grid.held {
            let demand = &grid.needs[need];
            let mut terms = BTreeMap::new();
            if demand.holdable {
                let cands: Vec<_> = self.take.keys().copied().collect();
                for c in cands {
                    if let Some(serves) = self.serves(c, |o| o.need == need && o.meets) {
                        terms.insert(serves, 1.0);
                    }
                }
            }
            let without = self.give_up();
            let copies = f64::from(demand.copies);
            self.at_least(terms, copies, without.map(|v| (v, copies)));
            if let Some(bring) = self.lure.get(&demand.lure) {
                let terms = BTreeMap::from([(*bring, 1.0)]);
                self.at_least(terms, 1.0, without.map(|v| (v, 1.0)));
            }
        }
    }

    /// Adds a row, with what makes up for it when it is given up; without terms it says to the
    /// solver that there is no plan.
    fn at_least(
        &mut self,
        mut terms: BTreeMap<Variable, f64>,
        rhs: f64,
        instead: Option<(Variable, f64)>,
    ) {
        terms.extend(instead);
        if terms.is_empty() {
            terms.insert(self.problem.add_var(0.0, (0.0, 0.0)), 1.0);
        }
        self.row(&terms, ComparisonOp::Ge, rhs);
    }

    /// States that the anglers of a cut must find outfits.
    pub(super) fn add_cut(&mut self, cut: &Cut) {
        let grid = self.grid;
        let mut terms = BTreeMap::new();
        let mut missing = match &cut.why {
            Why::Few { .. } => cut.anglers.len() as f64,
            Why::Same { .. } => 1.0,
        };
        let lures: Vec<(usize, f64)> = match &cut.why {
            Why::Few { needs } => {
                let lures = needs.iter().map(|n| grid.needs[*n].lure);
                lures.map(|l| (l, f64::from(grid.lures[l].quantity.min(1_000)))).collect()
            }
            Why::Same { lures, .. } => lures.iter().map(|l| (*l, 1.0)).collect(),
        };
        for (lure, quantity) in lures {
            match self.lure.get(&lure) {
                Some(bring) => *terms.entry(*bring).or_insert(0.0) += quantity,
                None => missing -= quantity,
            }
        }
        let cands: Vec<_> = self.take.keys().copied().collect();
        for c in cands {
            let of_use = |o: &Off| {
                let cand = &grid.cands[c];
                grid.needs[o.need].segment == cut.segment
                    && cut.anglers.iter().any(|a| grid.in_hands(cand, o, *a).is_some())
                    && !cut.why.counts(c, o)
            };
            if let Some(serves) = self.serves(c, of_use) {
                terms.insert(serves, 1.0);
            }
        }
        let instead = self.soft.then(|| (self.idle(cut.segment), 1.0));
        self.at_least(terms, missing, instead);
    }

    /// How many people of a segment do not fish at once though they are to.
    fn idle(&mut self, segment: usize) -> Variable {
        if let Some(known) = self.idle.get(&segment) {
            return *known;
        }
        let people = i32::try_from(self.grid.crews[segment].len()).unwrap_or(i32::MAX);
        let idle = self.problem.add_integer_var(self.price(), (0, people));
        self.idle.insert(segment, idle);
        idle
    }
}
