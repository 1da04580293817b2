//! Solves one trip: prune, climb, search, settle ties, write the plan.

use crate::clash;
use crate::crew;
use crate::faults::ProblemFaults;
use crate::grid::{Grid, Lift};
use crate::incumbent;
use crate::model::{self, Found};
use crate::plan::{Answer, Status};
use crate::problem::TripProblem;
use crate::prune;
use crate::report::{self, Search};
use crate::weights::{Micros, Weights};
use crate::worth::{self, Selection};

/// How much work the search may do. The answer depends on it, never on the clock.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Budget {
    /// Nodes of the search tree.
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
    problem.validate()?;
    weights.validate()?;
    let grid = Grid::new(problem, weights, Lift::default());
    let pruning = if budget.prune { prune::prune(&grid) } else { prune::none(&grid) };
    let start = incumbent::find(&grid, &pruning.kept);
    let plain = grid.plain_bound();
    let found = model::solve(&grid, &pruning, start.as_ref(), budget.nodes);
    let (chosen, proven, bound, nodes) = match found {
        Found::Infeasible => return Ok(infeasible(problem, weights, start, &grid, plain)),
        Found::Nothing { bound, nodes } => (start, false, whole(bound, plain), nodes),
        Found::Some { mut selection, optimal, bound, nodes } => {
            incumbent::trim(&grid, &mut selection);
            let best = better_of(&grid, selection, start);
            let bound = whole(bound, plain);
            let reached = worth::value(&grid, &best).objective();
            let proven = optimal && (bound - reached).abs() <= 2 * SLACK;
            (Some(best), proven, bound.max(reached), nodes)
        }
    };
    let Some(selection) = chosen else { return Ok(Answer::NotFound { bound }) };
    let selection = incumbent::settle_ties(&grid, &pruning.kept, selection);
    let reached = worth::value(&grid, &selection).objective();
    let status = if proven { Status::Optimal } else { Status::Feasible };
    let bound = if proven { reached } else { bound.max(reached) };
    Ok(Answer::Plan(Box::new(report::plan(&grid, &selection, Search { status, bound, nodes }))))
}

/// The solver says that there is no plan. A plan in hand is kept all the same.
fn infeasible(
    problem: &TripProblem,
    weights: &Weights,
    start: Option<Selection>,
    grid: &Grid<'_>,
    bound: Micros,
) -> Answer {
    match start.filter(|s| crew::seat(grid, s).cuts.is_empty()) {
        Some(selection) => {
            let search = Search { status: Status::Feasible, bound, nodes: 0 };
            Answer::Plan(Box::new(report::plan(grid, &selection, search)))
        }
        None => Answer::Infeasible(clash::explain(problem, weights)),
    }
}

/// What the solver's tolerances may add up to, in millionths; a bound is raised by it. Less than
/// any two plans that differ in outfits or moves lie apart.
const SLACK: Micros = 10;

/// A bound in whole millionths that rounding cannot make too low.
fn whole(bound: Option<f64>, plain: Micros) -> Micros {
    match bound {
        Some(b) if b.is_finite() => plain.min(b.floor() as Micros + SLACK),
        _ => plain,
    }
}

fn better_of(grid: &Grid<'_>, found: Selection, start: Option<Selection>) -> Selection {
    let objective = |s: &Selection| worth::value(grid, s).objective();
    match start {
        Some(start) if objective(&start) > objective(&found) => start,
        _ => found,
    }
}
