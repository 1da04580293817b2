//! The search for one boat or several: prune, bound, climb, bound again, leave out, tree.

use crate::bound::{self, Bound};
use crate::grid::Grid;
use crate::incumbent;
use crate::model::{self, Effort, Found};
use crate::prune::{self, Pruning};
use crate::solve::Budget;
use crate::weights::Micros;
use crate::worth::{self, Selection};

/// Candidates that climbing looks at.
const FEW: usize = 120;
/// Candidates that the tree takes on; with more, a single step of it could take minutes.
const TREE: usize = 600;
/// What the solver's tolerances may add up to, in millionths; a bound is raised by it. Less than
/// one outfit or one move counts.
const SLACK: Micros = 10;

/// What a search found.
#[derive(Clone, Debug)]
pub(crate) struct Outcome {
    pub(crate) selection: Option<Selection>,
    pub(crate) proven: bool,
    pub(crate) bound: Micros,
    pub(crate) nodes: u64,
    /// Whether the clock ended it.
    pub(crate) cut: bool,
}

/// Searches; `None`: no selection keeps all limits.
pub(crate) fn search(grid: &Grid<'_>, budget: &Budget) -> Option<Outcome> {
    let pruning = if budget.prune { prune::prune(grid) } else { prune::none(grid) };
    let mut best: Known = None;
    let first =
        bound::relax(grid, &pruning.kept, None, &mut |chosen| offer(grid, chosen, &mut best));
    let few = most_promising(&pruning.kept, &first, FEW);
    let known = best.as_ref().map(|(_, selection)| selection);
    if let Some(selection) = incumbent::find(grid, &few, known) {
        let worth = worth::value(grid, &selection).objective();
        if best.as_ref().is_none_or(|(known, _)| worth > *known) {
            best = Some((worth, selection));
        }
    }
    let reached = best.as_ref().map(|(worth, _)| *worth);
    let mut bounded = first;
    if reached.is_none_or(|reached| reached < bounded.best) {
        let again = bound::relax(grid, &pruning.kept, reached, &mut |chosen| {
            offer(grid, chosen, &mut best)
        });
        bounded.tighten(&again);
    }
    let most = bounded.best.min(grid.plain_bound());
    let reached = best.as_ref().map(|(worth, _)| *worth);
    let may = |c: &usize| reached.is_none_or(|reached| bounded.with[*c] >= reached);
    let worthy: Vec<usize> = pruning.kept.iter().copied().filter(may).collect();
    let mut outcome = if reached.is_some_and(|reached| reached >= most) {
        let selection = best.map(|(_, selection)| selection);
        Outcome { selection, proven: true, bound: most, nodes: 0, cut: false }
    } else {
        let start = best.map(|(_, selection)| selection);
        tree(grid, &pruning, worthy.clone(), &bounded, most, start, budget)?
    };
    if let Some(selection) = outcome.selection.take() {
        let near = if worthy.len() > FEW { few } else { worthy };
        let selection = incumbent::settle_ties(grid, &near, selection);
        let reached = worth::value(grid, &selection).objective();
        outcome.bound = if outcome.proven { reached } else { outcome.bound.max(reached) };
        outcome.selection = Some(selection);
    }
    Some(outcome)
}

/// Takes the plan behind a relaxed choice if it is better; the worth of the best known.
fn offer(grid: &Grid<'_>, chosen: &[usize], best: &mut Known) -> Option<Micros> {
    let selection = worth::furnish(grid, &fitting(grid, chosen));
    let worth = worth::value(grid, &selection).objective();
    let better = best.as_ref().is_none_or(|(known, _)| worth > *known);
    if better && worth::is_sound(grid, &selection) {
        *best = Some((worth, selection));
    }
    best.as_ref().map(|(worth, _)| *worth)
}

/// The best plan known and its worth.
type Known = Option<(Micros, Selection)>;

fn most_promising(kept: &[usize], bounded: &Bound, count: usize) -> Vec<usize> {
    let mut list = kept.to_vec();
    list.sort_by_key(|c| (std::cmp::Reverse(bounded.with[*c]), *c));
    list.truncate(count);
    list.sort_unstable();
    list
}

/// Of outfits that are in each other's way, the first.
fn fitting(grid: &Grid<'_>, chosen: &[usize]) -> Vec<usize> {
    let mut outfits: Vec<usize> = Vec::new();
    for &c in chosen {
        if let Some(more) = incumbent::with(grid, &outfits, c)
            && worth::line_suffices(grid, &more)
        {
            outfits = more;
        }
    }
    outfits
}

fn tree(
    grid: &Grid<'_>,
    pruning: &Pruning,
    mut worthy: Vec<usize>,
    bounded: &Bound,
    most: Micros,
    start: Option<Selection>,
    budget: &Budget,
) -> Option<Outcome> {
    let mut left_out = None;
    if worthy.len() > TREE {
        let all = worthy;
        worthy = most_promising(&all, bounded, TREE);
        left_out =
            all.iter().filter(|c| worthy.binary_search(c).is_err()).map(|c| bounded.with[*c]).max();
        if let Some(start) = &start {
            worthy.extend(&start.outfits);
            worthy.sort_unstable();
            worthy.dedup();
        }
    }
    let narrow = Pruning { kept: worthy, ..pruning.clone() };
    let effort = Effort { nodes: budget.nodes, cap: budget.cap };
    let whole = |bound: Option<f64>| match bound {
        Some(b) if b.is_finite() => {
            most.min((b.floor() as Micros + SLACK).max(left_out.unwrap_or(Micros::MIN)))
        }
        _ => most,
    };
    match model::solve(grid, &narrow, start.as_ref(), effort) {
        Found::Infeasible if start.is_none() && left_out.is_none() => None,
        // A plan in hand is kept, whatever the solver says.
        Found::Infeasible => {
            Some(Outcome { selection: start, proven: false, bound: most, nodes: 0, cut: false })
        }
        Found::Nothing { bound, nodes, cut } => {
            Some(Outcome { selection: start, proven: false, bound: whole(bound), nodes, cut })
        }
        Found::Some { mut selection, optimal, bound, nodes, cut } => {
            incumbent::trim(grid, &mut selection);
            let objective = |s: &Selection| worth::value(grid, s).objective();
            let selection = match start {
                Some(start) if objective(&start) > objective(&selection) => start,
                _ => selection,
            };
            let (bound, reached) = (whole(bound), objective(&selection));
            let proven = (optimal || left_out.is_some()) && bound - reached <= 2 * SLACK;
            let bound = bound.max(reached);
            Some(Outcome { selection: Some(selection), proven, bound, nodes, cut })
        }
    }
}
