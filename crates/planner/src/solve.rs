//! Solves one trip: look it over, search, write the plan.

use crate::clash;
use crate::faults::ProblemFaults;
use crate::grid::{Grid, Lift};
use crate::plan::{Answer, Status};
use crate::problem::TripProblem;
use crate::report::{self, Search};
use crate::search::{self, Ties};
use crate::watch::{self, Ask, Watch};
use crate::weights::Weights;

/// How much work the search may do. As long as nobody ends it before, the answer depends on the work
/// alone, never on the clock.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Budget {
    /// Nodes of the search tree; exchanges that begin anew from a changed plan count as one.
    pub nodes: u64,
    /// Whether to leave out what cannot be in a best plan first; `false` only to test that this
    /// changes nothing.
    pub prune: bool,
}

impl Default for Budget {
    fn default() -> Self {
        Self { nodes: 20_000, prune: true }
    }
}

/// Plans one trip.
///
/// The same problem, in whatever order its lists are, gives the same plan on every machine.
///
/// # Errors
///
/// All faults of the problem, or of the weights.
pub fn plan_trip(
    problem: &TripProblem,
    weights: &Weights,
    budget: &Budget,
) -> Result<Answer, ProblemFaults> {
    plan_trip_watched(problem, weights, budget, &watch::on)
}

/// Plans one trip and tells `ask` how the search stands, in every stage of it; when that says
/// `Break` the search ends with the best so far, and the answer says that it was cut. Between two
/// looks lies one round of the bound, one exchange, or four nodes of the tree; within a node only the
/// time that it says is left ends it.
///
/// # Errors
///
/// All faults of the problem, or of the weights.
pub fn plan_trip_watched(
    problem: &TripProblem,
    weights: &Weights,
    budget: &Budget,
    ask: Ask<'_>,
) -> Result<Answer, ProblemFaults> {
    problem.validate()?;
    weights.validate()?;
    let mut grid = Grid::new(problem, weights, Lift::default());
    let watch = Watch::new(ask);
    let Some(found) = search::search(&mut grid, None, budget, Ties::Settled, &watch) else {
        return Ok(Answer::Infeasible(clash::by_questions(&[problem], weights, &[], &watch)));
    };
    let (bound, cut) = (found.bound, found.cut);
    let Some(selection) = found.selection else { return Ok(Answer::NotFound { bound, cut }) };
    let status = if found.proven { Status::Optimal } else { Status::Feasible };
    let search = Search { status, bound, nodes: found.nodes, cut };
    Ok(Answer::Plan(Box::new(report::plan(&grid, &selection, search))))
}
