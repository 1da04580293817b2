//! The search for one boat or several: prune, bound, climb, bound again, leave out, then parts and
//! trees in turn as long as there is work left.

use crate::bound::{self, Bound};
use crate::exchange::Exchanges;
use crate::grid::Grid;
use crate::incumbent;
use crate::model::{self, Effort, Found, SLACK};
use crate::part::Part;
use crate::prune::{self, Pruning};
use crate::scale::Scale;
use crate::seating::{self, Seating};
use crate::solve::Budget;
use crate::spare;
use crate::ties;
use crate::watch::Watch;
use crate::weights::Micros;
use crate::worth::{self, Selection};

/// Candidates that climbing looks at one by one, each counted in full.
const FEW: usize = 120;
/// Candidates that the first tree takes on; with more, a single step of it could take minutes.
const TREE: usize = 600;
/// Candidates that later trees take on at most.
const MOST_TREE: usize = 4_000;
/// Nodes of a tree over candidates of which some were left out: what those could bring bounds the
/// plan as well.
const SHORT: u64 = 200;
/// Candidates of the first parts, besides what its boats have.
const PART: usize = 120;
/// Nodes of the first parts.
const PART_NODES: u64 = 40;
/// Changed plans from which exchanges begin anew before the next part.
const KICKS: usize = 6;
/// Rounds without a better plan after which all nodes that are left go to one tree. With each of
/// them the parts and the trees grow.
const IDLE: u32 = 6;

/// Whether plans of the same worth are told apart at the end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Ties {
    /// The plan is the most usual one of those that are worth as much.
    Settled,
    /// Any of them: another search begins with it.
    Open,
}

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
/// It begins with a plan that is known, if there is one, and never ends with a lesser one.
pub(crate) fn search(
    grid: &mut Grid<'_>,
    known: Option<&Selection>,
    budget: &Budget,
    keep: Ties,
    watch: &Watch<'_>,
) -> Option<Outcome> {
    let scale = Scale::apply(grid);
    watch.count_in(scale);
    if budget.prune {
        spare::leave_out(grid, known);
    }
    let found = look(grid, known, budget, keep, watch);
    watch.count_in(Scale::MICROS);
    scale.undo(grid);
    let mut outcome = found?;
    outcome.bound = scale.at_most(outcome.bound);
    if let Some(reached) = objective(grid, &outcome) {
        outcome.bound = if outcome.proven { reached } else { outcome.bound.max(reached) };
    }
    Some(outcome)
}

fn look(
    grid: &Grid<'_>,
    known: Option<&Selection>,
    budget: &Budget,
    keep: Ties,
    watch: &Watch<'_>,
) -> Option<Outcome> {
    let mut best: Known = None;
    watch.bound(grid.plain_bound());
    if let Some(known) = known.filter(|_| watch.is_over()) {
        // There is no time to better it.
        let (selection, bound) = (Some(known.clone()), grid.plain_bound());
        return Some(Outcome { selection, proven: false, bound, nodes: 0, cut: true });
    }
    let pruning = if budget.prune { prune::prune(grid) } else { prune::none(grid) };
    let mut effort = Effort { nodes: budget.nodes, rest: Micros::MIN };
    let exchanges = Exchanges::among(grid, &pruning.kept);
    match known {
        Some(known) => take(grid, &mut best, known.clone(), watch),
        // Even who has no time left gets a plan: this asks nobody.
        None => {
            let first = exchanges.greedy();
            first.iter().for_each(|f| take_fitted(grid, &mut best, &f.outfits, watch));
        }
    }
    let is_tight = best.is_none();
    if is_tight {
        match seating::find(grid, watch) {
            Seating::Found(selection) => take(grid, &mut best, selection, watch),
            Seating::Impossible => return None,
            Seating::Unknown => {}
        }
    }
    climb(grid, &exchanges, &mut best, watch);
    let offered = |order: &[usize], best: &mut Known| offer(grid, order, best, watch);
    // A plan as good as the greedy one makes the steps of the bound too short to get far.
    let mut shown = best.clone().filter(|_| known.is_some());
    let mut bounded = bound::relax(
        grid,
        &pruning.kept,
        None,
        None,
        &mut |order| offered(order, &mut shown),
        watch,
    );
    climb(grid, &exchanges, &mut shown, watch);
    if let Some((_, selection)) = shown {
        take(grid, &mut best, selection, watch);
    }
    if best.is_none() || pruning.kept.len() <= TREE {
        let few = most_promising(&pruning.kept, &bounded, FEW);
        let start = best.as_ref().map(|(_, selection)| selection);
        let found = incumbent::find(grid, &few, start, watch);
        found.into_iter().for_each(|selection| take(grid, &mut best, selection, watch));
    }
    let reached = best.as_ref().map(|(worth, _)| *worth);
    if reached.is_none_or(|reached| reached < bounded.best) {
        let again = bound::relax(
            grid,
            &pruning.kept,
            reached,
            Some(&bounded),
            &mut |order| offered(order, &mut best),
            watch,
        );
        bounded.tighten(again);
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
    // Of who is to be seated the bound knows nothing: the tree has to see it all.
    let first = if is_tight { MOST_TREE } else { TREE };
    let mut turn = Turn { kick: 0, part: 0, grown: 0, tree: first };
    let mut idle = 0;
    while !outcome.proven && !outcome.cut && effort.nodes > 0 && idle < IDLE {
        let before = objective(grid, &outcome);
        let is_large = worthy.len() > TREE;
        if is_large && outcome.selection.is_some() {
            parts(
                grid,
                &exchanges,
                (&worthy, &bounded),
                &mut turn,
                &mut outcome,
                &mut effort,
                watch,
            );
        }
        let better = objective(grid, &outcome) > before;
        if better {
            lower(grid, budget, &mut worthy, &mut bounded, &mut outcome, watch);
        }
        if outcome.proven || outcome.cut || (better && is_large) {
            continue;
        }
        let reached = objective(grid, &outcome);
        let known = (&worthy[..], &bounded);
        let is_last = idle + 1 >= IDLE;
        let size = (turn.tree, if is_last { u64::MAX } else { SHORT });
        let left_out = tree(grid, &pruning, known, size, &mut outcome, &mut effort, watch)?;
        if !left_out {
            break;
        }
        turn.tree = (turn.tree * 3 / 2).min(MOST_TREE);
        turn.grown += 1;
        if objective(grid, &outcome) > reached {
            // A better plan leaves fewer that could be better still.
            lower(grid, budget, &mut worthy, &mut bounded, &mut outcome, watch);
        }
        idle = if objective(grid, &outcome) > before { 0 } else { idle + 1 };
    }
    if keep == Ties::Settled
        && let Some(selection) = outcome.selection.take()
    {
        // All plans that are worth as much are made of these.
        let few = alike(grid, worthy, &selection);
        let selection = ties::settle(grid, &few, selection, watch);
        outcome.cut |= watch.is_over();
        outcome.selection = Some(selection);
    }
    Some(outcome)
}

/// Candidates among which plans of the same worth are looked for: where there are too many, only
/// those of the rods that are taken.
fn alike(grid: &Grid<'_>, mut worthy: Vec<usize>, selection: &Selection) -> Vec<usize> {
    let place = |c: usize| (grid.cands[c].boat, grid.cands[c].rod);
    if worthy.len() > MOST_TREE {
        worthy.retain(|c| selection.outfits.iter().any(|o| place(*o) == place(*c)));
    }
    worthy
}

/// Where the search goes on.
struct Turn {
    kick: usize,
    part: usize,
    /// How many times the parts have been doubled.
    grown: u32,
    /// Candidates of the next tree.
    tree: usize,
}

/// Bounds anew with a better plan, and leaves out what is in none that is better still.
fn lower(
    grid: &Grid<'_>,
    budget: &Budget,
    worthy: &mut Vec<usize>,
    bounded: &mut Bound,
    outcome: &mut Outcome,
    watch: &Watch<'_>,
) {
    let reached = objective(grid, outcome);
    let again = bound::relax(grid, worthy, reached, Some(bounded), &mut |_| None, watch);
    let best = again.best;
    bounded.tighten_those(worthy, again);
    // What was left out is in no plan as good as the one in hand.
    if let Some(reached) = reached {
        outcome.bound = outcome.bound.min(best.max(reached));
        outcome.proven |= reached >= outcome.bound;
    }
    if budget.prune {
        worthy.retain(|c| reached.is_none_or(|reached| bounded.with[*c] >= reached));
    }
    outcome.cut |= watch.is_over();
}

/// Keeps a plan if it is better.
fn take(grid: &Grid<'_>, best: &mut Known, selection: Selection, watch: &Watch<'_>) {
    let worth = worth::value(grid, &selection).objective();
    if best.as_ref().is_none_or(|(known, _)| worth > *known) {
        watch.reached(worth);
        *best = Some((worth, selection));
    }
}

/// Exchanges from the best plan known.
fn climb(grid: &Grid<'_>, exchanges: &Exchanges<'_, '_>, best: &mut Known, watch: &Watch<'_>) {
    let start = best.as_ref().map_or_else(Vec::new, |(_, known)| known.outfits.clone());
    let Some(start) = incumbent::rank(grid, start) else { return };
    take_fitted(grid, best, &exchanges.climb_on(start, watch).outfits, watch);
}

/// Keeps outfits, with leaders and lures, if that is a plan and a better one.
fn take_fitted(grid: &Grid<'_>, best: &mut Known, outfits: &[usize], watch: &Watch<'_>) {
    let (selection, open) = incumbent::fitted(grid, outfits);
    if open == 0 && worth::is_sound(grid, &selection) {
        take(grid, best, selection, watch);
    }
}

/// One round over the boats: some outfits are given up and exchanged anew, then one boat or two of
/// them plan anew while the others keep what they have.
fn parts(
    grid: &Grid<'_>,
    exchanges: &Exchanges<'_, '_>,
    (worthy, bounded): (&[usize], &Bound),
    turn: &mut Turn,
    outcome: &mut Outcome,
    effort: &mut Effort,
    watch: &Watch<'_>,
) {
    let mut order = worthy.to_vec();
    order.sort_by_key(|c| (std::cmp::Reverse(bounded.with[*c]), *c));
    let boats = grid.boats.len();
    let groups = groups(boats, turn.grown);
    let most = PART << turn.grown.min(3);
    let nodes = PART_NODES << turn.grown.min(4);
    for _ in 0..groups.len() {
        for _ in 0..KICKS {
            if effort.nodes == 0 || watch.is_over() {
                outcome.cut |= watch.is_over();
                return;
            }
            let Some(known) = &outcome.selection else { return };
            let gone = kicked(&known.outfits, turn.kick);
            turn.kick += 1;
            spend(1, outcome, effort, watch);
            let mut best =
                outcome.selection.take().map(|s| (worth::value(grid, &s).objective(), s));
            if let Some((_, known)) = &best
                && let Some(start) = incumbent::rank(grid, exchanges.refill(&known.outfits, &gone))
            {
                take_fitted(grid, &mut best, &exchanges.climb(start, watch).outfits, watch);
            }
            outcome.selection = best.map(|(_, selection)| selection);
        }
        let Some(known) = outcome.selection.clone() else { return };
        let group = &groups[turn.part % groups.len()];
        turn.part += 1;
        let part = Part::of(grid, group, order.iter().copied(), most, &known);
        let pruning = prune::none(&part.grid);
        let start = part.of_whole(&known);
        let mut few = Effort { nodes: effort.nodes.min(nodes), ..*effort };
        let before = few.nodes;
        // What a part is worth bounds no plan: it is only asked.
        let asked = watch.only_asked();
        let found = model::solve(&part.grid, &pruning, Some(&start), &mut few, &Watch::new(&asked));
        let spent = before - few.nodes;
        spend(spent, outcome, effort, watch);
        if let Found::Some { selection, .. } = found {
            let mut selection = part.in_whole(grid, &known, &selection);
            incumbent::trim(grid, &mut selection);
            if worth::is_sound(grid, &selection) {
                let mut best = Some((worth::value(grid, &known).objective(), known));
                take(grid, &mut best, selection, watch);
                outcome.selection = best.map(|(_, selection)| selection);
            }
        }
        if watch.is_over() {
            outcome.cut = true;
            return;
        }
    }
}

/// Boats that plan anew together: one after the other, later two and three of them.
fn groups(boats: usize, grown: u32) -> Vec<Vec<usize>> {
    let pairs = (0..boats).flat_map(|a| (a + 1..boats).map(move |b| vec![a, b]));
    match (boats, grown % 3) {
        (1, _) => vec![vec![0]],
        (2, _) => vec![vec![0, 1]],
        (3, 2) => vec![vec![0, 1, 2]],
        (_, 0 | 1) => pairs.collect(),
        _ => pairs
            .flat_map(|two| (two[1] + 1..boats).map(move |c| vec![two[0], two[1], c]))
            .collect(),
    }
}

fn spend(nodes: u64, outcome: &mut Outcome, effort: &mut Effort, watch: &Watch<'_>) {
    effort.nodes = effort.nodes.saturating_sub(nodes);
    outcome.nodes += nodes;
    watch.nodes(nodes);
}

/// Outfits that are given up in one of many turns: two to four, from everywhere in the list.
fn kicked(outfits: &[usize], turn: usize) -> Vec<usize> {
    let count = outfits.len().max(1);
    let many = 2 + turn % 3;
    // Steps that have nothing in common with most counts lead everywhere.
    let step = [1, 5, 3, 7, 2, 11][(turn / 3) % 6];
    let first = turn * 13 % count;
    (0..many).filter_map(|i| outfits.get((first + i * step) % count).copied()).collect()
}

fn objective(grid: &Grid<'_>, outcome: &Outcome) -> Option<Micros> {
    outcome.selection.as_ref().map(|s| worth::value(grid, s).objective())
}

/// Takes the plan behind a round of the bound if it is better; the worth of the best known.
fn offer(grid: &Grid<'_>, order: &[usize], best: &mut Known, watch: &Watch<'_>) -> Option<Micros> {
    let selection = worth::fit(grid, &fitting(grid, order));
    let worth = worth::value(grid, &selection).objective();
    let better = best.as_ref().is_none_or(|(known, _)| worth > *known);
    if better && worth::is_sound(grid, &selection) {
        watch.reached(worth);
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
    (most_candidates, most_nodes): (usize, u64),
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
    let nodes = effort.nodes;
    if left_out.is_some() {
        effort.nodes = nodes.min(most_nodes);
    }
    let given = effort.nodes;
    let whole = |bound: Option<Micros>| bound.map_or(most, |bound| most.min(bound.max(rest)));
    let found = model::solve(grid, &narrow, outcome.selection.as_ref(), effort, watch);
    effort.nodes = nodes - (given - effort.nodes);
    match found {
        // The most promising ones may lack what the pins and the crews ask for.
        Found::Infeasible if outcome.selection.is_none() => {
            left_out?;
            let all = (usize::MAX, u64::MAX);
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
            // Of what is ample for one boat there may be too little for all.
            if reached > objective(grid, outcome) && worth::is_possible(grid, &selection) {
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
