//! The order in which trips are planned: that of their boats, so that the caller's settles nothing.

use crate::fleet::{FleetAnswer, FleetPlan, FleetProblem, LeftOut};

/// By place in the order of the boats, the position in the caller's.
pub(crate) struct Order(Vec<usize>);

impl Order {
    /// Of a problem in which no boat stands twice.
    pub(crate) fn of(problem: &FleetProblem) -> Self {
        let mut order: Vec<usize> = (0..problem.trips.len()).collect();
        order.sort_by_key(|at| &problem.trips[*at].problem.boat.place);
        Self(order)
    }

    /// What the caller lists, in the order of the boats.
    pub(crate) fn sorted<'l, T>(&self, list: &'l [T]) -> Vec<&'l T> {
        self.0.iter().map(|at| &list[*at]).collect()
    }

    /// What is listed in the order of the boats, in the caller's.
    pub(crate) fn back<T>(&self, list: Vec<T>) -> Vec<T> {
        let mut placed: Vec<_> = self.0.iter().zip(list).collect();
        placed.sort_by_key(|(at, _)| **at);
        placed.into_iter().map(|(_, one)| one).collect()
    }

    /// An answer for the caller.
    pub(crate) fn back_answer(&self, answer: FleetAnswer) -> FleetAnswer {
        match answer {
            FleetAnswer::Plan(plan) => FleetAnswer::Plan(Box::new(self.back_plan(*plan))),
            FleetAnswer::Infeasible(mut no) => {
                no.best = no.best.map(|best| self.back_left_out(best));
                FleetAnswer::Infeasible(no)
            }
            FleetAnswer::NotFound { bound, cut, best } => {
                let best = best.map(|best| Box::new(self.back_left_out(*best)));
                FleetAnswer::NotFound { bound, cut, best }
            }
        }
    }

    fn back_plan(&self, mut plan: FleetPlan) -> FleetPlan {
        plan.moves.iter_mut().for_each(|step| step.trip = self.0[step.trip]);
        plan.moves.sort_by_key(|step| step.trip);
        FleetPlan {
            trips: self.back(plan.trips),
            shares: self.back(plan.shares),
            decisions: self.back(plan.decisions),
            ..plan
        }
    }

    fn back_left_out(&self, mut left_out: LeftOut) -> LeftOut {
        left_out.idle.iter_mut().for_each(|idle| idle.trip = self.0[idle.trip]);
        left_out.pins.iter_mut().for_each(|(trip, _)| *trip = self.0[*trip]);
        LeftOut {
            problem: FleetProblem { trips: self.back(left_out.problem.trips) },
            plan: self.back_plan(left_out.plan),
            ..left_out
        }
    }
}
