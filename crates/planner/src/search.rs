//! The search for one boat or several: prune, bound, climb, bound again, leave out, tree.

use crate::bound::{self, Bound};
use crate::grid::Grid;
use crate::incumbent;
use crate::model::{self, Effort, Found, SLACK};
use crate::prune::{self, Pruning};
use crate::scale::Scale;
use crate::solve::Budget;
use crate::watch::Watch;
use crate::weights::Micros;
use crate::worth::{self, Selection};

/// Candidates that climbing looks at.
const FEW: usize = 120;
/// Candidates that the tree takes on; with more, a single step of it could take minutes.
const TREE: usize = 600;
/// Trees, each over what the last one showed to be worth it.
const PASSES: u32 = 3;

/// What a search found.
#[derive(Clone, Debug)]
pub(crate) struct Outcome {
    pub(crate) selection: Option<Selection>,
    pub(crate) proven: bool,
    pub(crate) bound: Micros,
    pub(crate) nodes: u64,
    /// Whether the clock or the caller ended it.
    pub(crate) cut: bool,
}

/// Searches, in a unit of the problem's own; `None`: no selection keeps all limits.
pub(crate) fn search(grid: &mut Grid<'_>, budget: &Budget, watch: &Watch<'_>) -> Option<Outcome> {
    let scale = Scale::apply(grid);
    watch.count_in(scale);
    let found = look(grid, budget, watch);
    watch.count_in(Scale::MICROS);
    scale.undo(grid);
    let mut outcome = found?;
    outcome.bound = scale.at_most(outcome.bound);
    if let Some(reached) = objective(grid, &outcome) {
        outcome.bound = if outcome.proven { reached } else { outcome.bound.max(reached) };
    }
    Some(outcome)
}

fn look(grid: &Grid<'_>, budget: &Budget, watch: &Watch<'_>) -> Option<Outcome> {
    let pruning = if budget.prune { prune::prune(grid) } else { prune::none(grid) };
    let mut best: Known = None;
    watch.bound(grid.plain_bound());
    let take = |order: &[usize], best: &mut Known| offer(grid, order, best, watch);
    let first = bound::relax(grid, &pruning.kept, None, &mut |order| take(order, &mut best), watch);
    let few = most_promising(&pruning.kept, &first, FEW);
    let known = best.as_ref().map(|(_, selection)| selection);
    if let Some(selection) = incumbent::find(grid, &few, known, watch) {
        let worth = worth::value(grid, &selection).objective();
        if best.as_ref().is_none_or(|(known, _)| worth > *known) {
            watch.reached(worth);
            best = Some((worth, selection));
        }
    }
    if best.is_none() {
        // Even who has no time left gets a plan: this asks nobody.
        best = seated_first(grid, &pruning.kept, &first);
        best.iter().for_each(|(worth, _)| watch.reached(*worth));
    }
    let reached = best.as_ref().map(|(worth, _)| *worth);
    let mut bounded = first;
    if reached.is_none_or(|reached| reached < bounded.best) {
        let again =
            bound::relax(grid, &pruning.kept, reached, &mut |order| take(order, &mut best), watch);
        bounded.tighten(&again);
    }
    let most = bounded.best.min(grid.plain_bound());
    let reached = best.as_ref().map(|(worth, _)| *worth);
    let may = |with: Micros, reached: Option<Micros>| {
        !budget.prune || reached.is_none_or(|reached| with >= reached)
    };
    let kept = pruning.kept.iter().copied();
    let mut worthy: Vec<usize> = kept.filter(|c| may(bounded.with[*c], reached)).collect();
    let mut outcome = Outcome {
        selection: best.map(|(_, selection)| selection),
        proven: reached.is_some_and(|reached| reached >= most),
        bound: most,
        nodes: 0,
        cut: watch.is_over(),
    };
    let mut effort = Effort { nodes: budget.nodes, cap: budget.cap, rest: Micros::MIN };
    for _ in 0..PASSES {
        if outcome.proven || outcome.cut {
            break;
        }
        let before = objective(grid, &outcome);
        let known = (&worthy[..], &bounded);
        let left_out = tree(grid, &pruning, known, TREE, &mut outcome, &mut effort, watch)?;
        let reached = objective(grid, &outcome);
        if !left_out || outcome.proven || reached == before || effort.nodes == 0 {
            break;
        }
        // A better plan leaves fewer that could be better still.
        let again = bound::relax(grid, &worthy, reached, &mut |_| None, watch);
        bounded.tighten_those(&worthy, &again);
        worthy.retain(|c| may(bounded.with[*c], reached));
        outcome.cut |= watch.is_over();
    }
    if let Some(selection) = outcome.selection.take() {
        // All plans that are worth as much are made of these.
        let selection = incumbent::settle_ties(grid, &worthy, selection, watch);
        outcome.cut |= watch.is_over();
        outcome.selection = Some(selection);
    }
    Some(outcome)
}

fn objective(grid: &Grid<'_>, outcome: &Outcome) -> Option<Micros> {
    outcome.selection.as_ref().map(|s| worth::value(grid, s).objective())
}

/// Takes the plan behind a round of the bound if it is better; the worth of the best known.
fn offer(grid: &Grid<'_>, order: &[usize], best: &mut Known, watch: &Watch<'_>) -> Option<Micros> {
    let selection = worth::furnish(grid, &fitting(grid, order));
    let worth = worth::value(grid, &selection).objective();
    let better = best.as_ref().is_none_or(|(known, _)| worth > *known);
    if better && worth::is_sound(grid, &selection) {
        watch.reached(worth);
        *best = Some((worth, selection));
    }
    best.as_ref().map(|(worth, _)| *worth)
}

/// A plan that first gives everybody an outfit and keeps the pins, and then takes what promises
/// most.
fn seated_first(grid: &Grid<'_>, kept: &[usize], bounded: &Bound) -> Known {
    let mut order = kept.to_vec();
    order.sort_by_key(|c| (std::cmp::Reverse(bounded.with[*c]), *c));
    let first = incumbent::seated(grid, &order)?;
    let more: Vec<usize> = first.iter().chain(&order).copied().collect();
    let filled = worth::furnish(grid, &fitting(grid, &more));
    let bare = || worth::furnish(grid, &first);
    let mut choices = [filled, bare()].into_iter();
    let selection = choices.find(|selection| worth::is_sound(grid, selection))?;
    Some((worth::value(grid, &selection).objective(), selection))
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

/// Of outfits that are in each other's way the first, until all holders are full.
fn fitting(grid: &Grid<'_>, order: &[usize]) -> Vec<usize> {
    let mut rods = vec![false; grid.rods.len()];
    let mut reels = vec![false; grid.reels.len()];
    let mut free: Vec<usize> = grid.boats.iter().map(|boat| boat.outfits).collect();
    let mut outfits: Vec<usize> = Vec::new();
    for &c in order {
        let cand = &grid.cands[c];
        if rods[cand.rod] || reels[cand.reel] || free[cand.boat] == 0 {
            continue;
        }
        outfits.push(c);
        if !worth::line_suffices(grid, &outfits) {
            outfits.pop();
            continue;
        }
        (rods[cand.rod], reels[cand.reel]) = (true, true);
        free[cand.boat] -= 1;
        if free.iter().all(|free| *free == 0) {
            break;
        }
    }
    outfits.sort_unstable();
    outfits
}

/// Searches the tree over what is worth it and betters the outcome. Says whether candidates had to
/// be left out; `None`: there is no plan.
fn tree(
    grid: &Grid<'_>,
    pruning: &Pruning,
    (worthy, bounded): (&[usize], &Bound),
    most_candidates: usize,
    outcome: &mut Outcome,
    effort: &mut Effort,
    watch: &Watch<'_>,
) -> Option<bool> {
    let mut kept = worthy.to_vec();
    let mut left_out = None;
    if worthy.len() > most_candidates {
        kept = most_promising(worthy, bounded, most_candidates);
        let rest = worthy.iter().filter(|c| kept.binary_search(c).is_err());
        left_out = rest.map(|c| bounded.with[*c]).max();
        if let Some(known) = &outcome.selection {
            kept.extend(&known.outfits);
            kept.sort_unstable();
            kept.dedup();
        }
    }
    let narrow = Pruning { kept, ..pruning.clone() };
    let most = outcome.bound;
    effort.rest = left_out.unwrap_or(Micros::MIN);
    let rest = effort.rest;
    let whole = |bound: Option<Micros>| bound.map_or(most, |bound| most.min(bound.max(rest)));
    match model::solve(grid, &narrow, outcome.selection.as_ref(), effort, watch) {
        // The most promising ones may lack what the pins and the crews ask for.
        Found::Infeasible if outcome.selection.is_none() => {
            left_out?;
            let all = usize::MAX;
            return tree(grid, pruning, (worthy, bounded), all, outcome, effort, watch);
        }
        // A plan in hand is kept, whatever the solver says.
        Found::Infeasible => {}
        Found::Nothing { bound, nodes, cut } => {
            outcome.bound = whole(bound);
            outcome.nodes += nodes;
            outcome.cut |= cut;
        }
        Found::Some { mut selection, bound, nodes, cut } => {
            incumbent::trim(grid, &mut selection);
            let reached = Some(worth::value(grid, &selection).objective());
            if reached > objective(grid, outcome) {
                reached.iter().for_each(|worth| watch.reached(*worth));
                outcome.selection = Some(selection);
            }
            let reached = objective(grid, outcome).unwrap_or(Micros::MIN);
            outcome.bound = whole(bound).max(reached);
            outcome.proven = outcome.bound - reached <= 2 * SLACK;
            outcome.nodes += nodes;
            outcome.cut |= cut;
        }
    }
    Some(left_out.is_some())
}
