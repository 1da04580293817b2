//! The plan as a mixed integer programme.
//!
//! | name | meaning |
//! |---|---|
//! | `take[c]` | outfit c is put together and taken |
//! | `tie[c, l]` | leader l is tied for it |
//! | `bring[s]` | a stock (lures, leaders, line) is brought from elsewhere |
//! | `level[n, k, j]` | at least j outfits serve need n at worth level k or better |
//! | `hold[n]` | must n has its verdict in all copies |
//! | `over` | minutes of jobs over the budget |
//!
//! Counting the outfits at or above each level of worth, instead of assigning them, is the radius
//! form of Elloumi (2010) for the p-median problem: it needs one row for each need and level and
//! no assignment variables.

use std::collections::{BTreeMap, BTreeSet};

use microlp::{
    ComparisonOp, OptimizationDirection, Problem, Solution, SolveOptions, SolveOutcome,
    TerminationReason, Variable,
};

use crate::crew::{self, Cut};
use crate::grid::{Grid, Stock};
use crate::prune::Pruning;
use crate::watch::Watch;
use crate::weights::Micros;
use crate::worth::{self, Selection};

mod limits;

/// Objective units of the solver: thousandths of value keep its numbers near one.
const SCALE: f64 = 1e-3;

struct Model<'a, 'b> {
    grid: &'a Grid<'b>,
    problem: Problem,
    take: BTreeMap<usize, Variable>,
    tie: BTreeMap<(usize, usize), Variable>,
    lure: BTreeMap<usize, Variable>,
    /// Outfits with one of several leaders, by what the leaders are.
    either: BTreeMap<(usize, BTreeSet<usize>), Variable>,
    /// Whether pins and crews may be given up, each at the price of more than a plan is worth.
    soft: bool,
    /// By segment, those who do not fish at once though they are to.
    idle: BTreeMap<usize, Variable>,
}

/// What the solver found.
#[derive(Debug)]
pub(crate) enum Found {
    /// A selection, and what none is worth more than.
    Some { selection: Selection, bound: Option<Micros>, nodes: u64, cut: bool },
    /// There is none.
    Infeasible,
    /// The budget ended, or the solver failed, without a selection.
    Nothing { bound: Option<Micros>, nodes: u64, cut: bool },
}

/// How much the tree may do.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Effort {
    pub(crate) nodes: u64,
    /// What no plan is worth more than that the model leaves out.
    pub(crate) rest: Micros,
}

/// Nodes between two looks whether to end.
const LOOK: u64 = 4;
/// What the solver's tolerances may add up to, in millionths; a bound is raised by it. Less than
/// one outfit or one move counts.
pub(crate) const SLACK: Micros = 10;

impl<'a, 'b> Model<'a, 'b> {
    fn new(grid: &'a Grid<'b>, pruning: &Pruning, soft: bool) -> Self {
        let mut model = Self {
            grid,
            problem: Problem::new(OptimizationDirection::Maximize),
            take: BTreeMap::new(),
            tie: BTreeMap::new(),
            lure: BTreeMap::new(),
            either: BTreeMap::new(),
            soft,
            idle: BTreeMap::new(),
        };
        model.add_outfits(pruning);
        model.add_stocks();
        model.add_needs();
        model.add_overtime();
        model.add_pins();
        model
    }

    fn row(&mut self, terms: &BTreeMap<Variable, f64>, op: ComparisonOp, rhs: f64) {
        self.problem.add_constraint(terms.iter().map(|(v, c)| (*v, *c)), op, rhs);
    }

    fn at_most(&mut self, terms: impl IntoIterator<Item = (Variable, f64)>, rhs: f64) {
        let terms: BTreeMap<_, _> = terms.into_iter().collect();
        if terms.values().sum::<f64>() > rhs || terms.values().any(|c| *c < 0.0) {
            self.row(&terms, ComparisonOp::Le, rhs);
        }
    }

    fn add_outfits(&mut self, pruning: &Pruning) {
        let weights = &self.grid.weights;
        for &c in &pruning.kept {
            let cand = &self.grid.cands[c];
            let cost =
                cand.move_cost + weights.outfit_tie + Micros::from(cand.moves) * weights.move_tie;
            let take = self.problem.add_binary_var(-(cost as f64) * SCALE);
            self.take.insert(c, take);
            let leaders: BTreeSet<_> = cand.offers.iter().filter_map(|o| o.leader).collect();
            for l in leaders {
                let tie = self.problem.add_binary_var(0.0);
                self.tie.insert((c, l), tie);
                self.at_most([(tie, 1.0), (take, -1.0)], 0.0);
            }
        }
        for (boat, limits) in self.grid.boats.iter().enumerate() {
            let aboard = self.take.iter().filter(|(c, _)| self.grid.cands[**c].boat == boat);
            let terms: Vec<_> = aboard.map(|(_, v)| (*v, 1.0)).collect();
            self.at_most(terms, limits.outfits as f64);
        }
        if !self.grid.one_reel {
            return;
        }
        let rods = self.taken_by(self.grid.rods.len(), |grid, c| grid.cands[c].rod);
        let reels = self.taken_by(self.grid.reels.len(), |grid, c| grid.cands[c].reel);
        for part in rods.iter().chain(&reels) {
            self.at_most(part.iter().map(|v| (*v, 1.0)), 1.0);
        }
        for (pairs, parts) in [(&pruning.rods, &rods), (&pruning.reels, &reels)] {
            for &(worse, better) in pairs {
                let terms = parts[worse].iter().map(|v| (*v, 1.0));
                self.at_most(terms.chain(parts[better].iter().map(|v| (*v, -1.0))), 0.0);
            }
        }
    }

    fn taken_by(&self, parts: usize, of: impl Fn(&Grid<'_>, usize) -> usize) -> Vec<Vec<Variable>> {
        let mut lists = vec![Vec::new(); parts];
        for (&c, &take) in &self.take {
            lists[of(self.grid, c)].push(take);
        }
        lists
    }

    fn bring_cost(&self, cost: Micros) -> f64 {
        -((cost + self.grid.weights.move_tie) as f64) * SCALE
    }

    fn add_stocks(&mut self) {
        let grid = self.grid;
        let pools = grid.leader_pools.iter().enumerate();
        for (pool, quantity) in pools.filter(|(pool, _)| !grid.ample[*pool]) {
            let ties = self.tie.iter().filter(|((_, l), _)| grid.leaders[*l].pool == pool);
            let terms: Vec<_> = ties.map(|(_, v)| (*v, 1.0)).collect();
            self.at_most(terms, f64::from(*quantity));
        }
        for (l, stock) in grid.leaders.iter().enumerate() {
            let ties = self.tie.iter().filter(|((_, k), _)| *k == l).map(|(_, v)| *v).collect();
            self.bring(stock, ties);
        }
        for (pool, metres) in grid.line_pools.iter().enumerate() {
            let taken = self.take.iter().filter_map(|(c, v)| {
                let (stock, metres) = grid.cands[*c].stock?;
                (grid.lines[stock].pool == pool).then_some((*v, f64::from(metres)))
            });
            let terms: Vec<_> = taken.collect();
            self.at_most(terms, f64::from(*metres));
        }
        for (s, stock) in grid.lines.iter().enumerate() {
            let uses = |c: usize| grid.cands[c].stock.is_some_and(|(used, _)| used == s);
            let users = self.take.iter().filter(|(c, _)| uses(**c)).map(|(_, v)| *v).collect();
            self.bring(stock, users);
        }
        let fished: BTreeSet<_> = grid.needs.iter().map(|n| n.lure).collect();
        for lure in fished {
            let stock = &grid.lures[lure];
            if !stock.aboard || worth::is_scarce(grid, lure) {
                let cost = if stock.aboard { 0.0 } else { self.bring_cost(stock.move_cost) };
                let bring = self.problem.add_binary_var(cost);
                self.lure.insert(lure, bring);
            }
        }
        for (pool, quantity) in grid.lure_pools.iter().enumerate() {
            let brought = self
                .lure
                .iter()
                .filter(|(l, _)| grid.lures[**l].pool == pool && worth::is_scarce(grid, **l));
            let terms: Vec<_> =
                brought.map(|(l, v)| (*v, f64::from(grid.lures[*l].quantity))).collect();
            self.at_most(terms, f64::from(*quantity));
        }
    }

    /// States that what uses a stock from elsewhere brings it.
    fn bring(&mut self, stock: &Stock, users: Vec<Variable>) {
        if !stock.aboard && !users.is_empty() {
            let bring = self.problem.add_var(self.bring_cost(stock.move_cost), (0.0, 1.0));
            for user in users {
                self.at_most([(user, 1.0), (bring, -1.0)], 0.0);
            }
        }
    }

    /// A variable that is 1 when outfit `c` is taken with one of its leaders that make an offer
    /// fit for `usable`; `None` when there is no such offer.
    fn serves(&mut self, c: usize, usable: impl Fn(&crate::grid::Off) -> bool) -> Option<Variable> {
        let mut leaders = BTreeSet::new();
        let mut any = false;
        for offer in self.grid.cands[c].offers.iter().filter(|o| usable(o)) {
            any = true;
            match offer.leader {
                None => return Some(self.take[&c]),
                Some(l) => {
                    leaders.insert(l);
                }
            }
        }
        if !any {
            return None;
        }
        let ties: Vec<_> = leaders.iter().map(|l| self.tie[&(c, *l)]).collect();
        if let [only] = ties[..] {
            return Some(only);
        }
        if let Some(known) = self.either.get(&(c, leaders.clone())) {
            return Some(*known);
        }
        let either = self.problem.add_var(0.0, (0.0, 1.0));
        let take = self.take[&c];
        self.at_most([(either, 1.0), (take, -1.0)], 0.0);
        let row = ties.iter().map(|t| (*t, -1.0)).chain([(either, 1.0)]);
        self.at_most(row, 0.0);
        self.either.insert((c, leaders), either);
        Some(either)
    }

    /// Adds `sum(counted) <= sum(outfits that serve)`.
    fn count(&mut self, counted: &[Variable], usable: impl Fn(&crate::grid::Off) -> bool) {
        let mut terms: BTreeMap<_, _> = counted.iter().map(|v| (*v, -1.0)).collect();
        let cands: Vec<_> = self.take.keys().copied().collect();
        for c in cands {
            if let Some(serves) = self.serves(c, &usable) {
                terms.insert(serves, 1.0);
            }
        }
        self.row(&terms, ComparisonOp::Ge, 0.0);
    }

    fn add_needs(&mut self) {
        for n in 0..self.grid.needs.len() {
            let demand = &self.grid.needs[n];
            let weights = &self.grid.weights;
            let of_need = || {
                self.take.keys().flat_map(|c| &self.grid.cands[*c].offers).filter(|o| o.need == n)
            };
            let levels: BTreeSet<Micros> = of_need().map(|o| o.worth).filter(|w| *w > 0).collect();
            let meets = of_need().any(|o| o.meets);
            let bring = self.lure.get(&demand.lure).copied();
            let mut below = 0;
            for worth in levels {
                let mut counted = Vec::new();
                for share in &demand.shares {
                    let gain = weights.term(demand.importance, *share, worth)
                        - weights.term(demand.importance, *share, below);
                    let level = self.problem.add_var(gain as f64 * SCALE, (0.0, 1.0));
                    if let Some(bring) = bring {
                        self.at_most([(level, 1.0), (bring, -1.0)], 0.0);
                    }
                    counted.push(level);
                }
                self.count(&counted, |o| o.need == n && o.worth >= worth);
                below = worth;
            }
            if demand.shortfall > 0 && demand.holdable && meets {
                let gain = demand.shortfall as f64 * SCALE;
                // One copy: the count of outfits is whole, so the variable is whole by itself.
                let hold = match demand.copies {
                    1 => self.problem.add_var(gain, (0.0, 1.0)),
                    _ => self.problem.add_binary_var(gain),
                };
                if let Some(bring) = bring {
                    self.at_most([(hold, 1.0), (bring, -1.0)], 0.0);
                }
                self.hold(n, hold, demand.copies);
            }
        }
    }

    /// `copies * hold <= sum(outfits that meet)`.
    fn hold(&mut self, n: usize, hold: Variable, copies: u32) {
        let mut terms = BTreeMap::from([(hold, -f64::from(copies))]);
        let cands: Vec<_> = self.take.keys().copied().collect();
        for c in cands {
            if let Some(serves) = self.serves(c, |o| o.need == n && o.meets) {
                terms.insert(serves, 1.0);
            }
        }
        self.row(&terms, ComparisonOp::Ge, 0.0);
    }

    fn add_overtime(&mut self) {
        let grid = self.grid;
        for (boat, limits) in grid.boats.iter().enumerate() {
            let outfits = self.take.iter().map(|(c, v)| (*v, &grid.cands[*c]));
            let outfits = outfits.filter(|(_, c)| c.boat == boat).map(|(v, c)| (v, c.minutes));
            let ties = self.tie.iter().map(|((_, l), v)| (*v, &grid.leaders[*l]));
            let ties = ties.filter(|(_, l)| l.boat == boat).map(|(v, l)| (v, l.minutes));
            let mut terms: BTreeMap<_, _> = outfits
                .chain(ties)
                .filter(|(_, minutes)| *minutes > 0)
                .map(|(v, minutes)| (v, f64::from(minutes)))
                .collect();
            if terms.is_empty() {
                continue;
            }
            let cost = -(grid.weights.job_minute as f64) * SCALE;
            let over = self.problem.add_var(cost, (0.0, f64::INFINITY));
            terms.insert(over, -1.0);
            self.row(&terms, ComparisonOp::Le, f64::from(limits.job_minutes));
        }
    }

    fn hint(&self, selection: &Selection) -> Vec<(Variable, f64)> {
        let bit = |on: bool| f64::from(u8::from(on));
        self.take
            .iter()
            .map(|(c, v)| (*v, bit(selection.outfits.contains(c))))
            .chain(self.tie.iter().map(|(pair, v)| (*v, bit(selection.leaders.contains(pair)))))
            .chain(self.lure.iter().map(|(l, v)| (*v, bit(selection.lures[*l]))))
            .collect()
    }

    fn solve(&self, start: Option<&Selection>, effort: &mut Effort, watch: &Watch<'_>) -> Found {
        if self.take.is_empty() {
            return self.solve_empty();
        }
        if watch.is_over() {
            return Found::Nothing { bound: None, nodes: 0, cut: true };
        }
        let mut options = SolveOptions::default();
        options.node_limit = Some(effort.nodes.min(LOOK));
        options.time_limit = watch.left();
        options.tolerances.prune_epsilon = 1e-12;
        options.warm_start = start.map(|s| self.hint(s));
        let (mut nodes, mut bound, mut known) = (0, None, f64::NEG_INFINITY);
        let mut next = self.problem.solve_with(options);
        loop {
            let outcome = match next {
                Ok(outcome) => outcome,
                Err(microlp::Error::Infeasible) => return Found::Infeasible,
                Err(_) => return Found::Nothing { bound, nodes, cut: false },
            };
            let stats = outcome.stats();
            let more = stats.nodes_solved.saturating_sub(nodes);
            nodes = stats.nodes_solved;
            effort.nodes = effort.nodes.saturating_sub(more);
            bound = stats.best_bound.and_then(|bound| self.bound(bound));
            watch.nodes(more);
            if let Some(bound) = bound {
                watch.bound(bound.max(effort.rest));
            }
            if let Some(solution) = outcome.solution().filter(|s| s.objective() > known) {
                known = solution.objective();
                let selection = self.selection(solution);
                if worth::is_possible(self.grid, &selection)
                    && worth::is_sound(self.grid, &selection)
                {
                    watch.reached(worth::value(self.grid, &selection).objective());
                }
            }
            let why = outcome.termination_reason();
            let over = why == TerminationReason::NodeLimit && watch.is_over();
            if why != TerminationReason::NodeLimit || effort.nodes == 0 || over {
                let cut = over || why == TerminationReason::TimeLimit;
                let SolveOutcome::Solution(solution) = outcome else {
                    return Found::Nothing { bound, nodes, cut };
                };
                return Found::Some { selection: self.selection(&solution), bound, nodes, cut };
            }
            let mut options = outcome.last_resume_options();
            options.node_limit = Some(effort.nodes.min(LOOK));
            options.time_limit = watch.left();
            next = outcome.resume_with(options);
        }
    }

    /// What no plan of the model is worth more than, by the solver's bound.
    fn bound(&self, bound: f64) -> Option<Micros> {
        // The solver earns what a must would lose; the plan loses it.
        let lost: Micros = self.grid.needs.iter().map(|n| n.shortfall).sum();
        let bound = bound / SCALE - lost as f64;
        bound.is_finite().then(|| bound.floor() as Micros + SLACK)
    }

    fn selection(&self, solution: &Solution) -> Selection {
        let on = |v: &Variable| solution.var_value(*v) > 0.5;
        let mut lures: Vec<_> = self.grid.lures.iter().map(|l| l.aboard).collect();
        for (l, v) in &self.lure {
            lures[*l] = on(v);
        }
        Selection {
            outfits: self.take.iter().filter(|(_, v)| on(v)).map(|(c, _)| *c).collect(),
            leaders: self.tie.iter().filter(|(_, v)| on(v)).map(|(pair, _)| *pair).collect(),
            lures,
        }
    }

    /// Without candidates the only plan is to take nothing.
    fn solve_empty(&self) -> Found {
        let selection = worth::furnish(self.grid, &[]);
        if self.soft || worth::is_sound(self.grid, &selection) {
            let bound = Some(worth::value(self.grid, &selection).objective());
            Found::Some { selection, bound, nodes: 0, cut: false }
        } else {
            Found::Infeasible
        }
    }
}

/// Solves; anglers' rows are added as plans break them.
pub(crate) fn solve(
    grid: &Grid<'_>,
    pruning: &Pruning,
    start: Option<&Selection>,
    effort: &mut Effort,
    watch: &Watch<'_>,
) -> Found {
    Model::new(grid, pruning, false).run(start, effort, watch)
}

/// Nodes for the leaders of a few outfits.
const FURNISH: u64 = 200;

/// The best leaders and lures for outfits that are settled; `None`: some of them are better left.
pub(crate) fn furnish(grid: &Grid<'_>, outfits: &[usize], watch: &Watch<'_>) -> Option<Selection> {
    let pruning = Pruning { kept: outfits.to_vec(), ..Pruning::default() };
    let mut effort = Effort { nodes: FURNISH, rest: Micros::MIN };
    // What these outfits are worth bounds no other plan.
    let asked = watch.only_asked();
    match solve(grid, &pruning, None, &mut effort, &Watch::new(&asked)) {
        Found::Some { selection, .. } if selection.outfits == outfits => Some(selection),
        Found::Some { .. } | Found::Infeasible | Found::Nothing { .. } => None,
    }
}

/// The best of the selections that leave out the fewest of pins and people who are to fish at once;
/// of those looked at, where the effort or the watch ends it, as the second value says.
pub(crate) fn fewest_left_out(
    grid: &Grid<'_>,
    pruning: &Pruning,
    start: Option<&Selection>,
    effort: &mut Effort,
    watch: &Watch<'_>,
) -> Option<(Selection, bool)> {
    match Model::new(grid, pruning, true).run(start, effort, watch) {
        Found::Some { selection, cut, .. } if worth::is_possible(grid, &selection) => {
            Some((selection, cut || effort.nodes == 0))
        }
        Found::Some { .. } | Found::Infeasible | Found::Nothing { .. } => None,
    }
}

impl Model<'_, '_> {
    fn run(mut self, start: Option<&Selection>, effort: &mut Effort, watch: &Watch<'_>) -> Found {
        let grid = self.grid;
        let mut cuts: BTreeSet<Cut> =
            crew::seat(grid, &worth::furnish(grid, &[])).cuts.into_iter().collect();
        for cut in &cuts {
            self.add_cut(cut);
        }
        let mut spent = 0;
        // The bound before the first cut that may be too strict.
        let mut sure: Option<Option<Micros>> = None;
        loop {
            match self.solve(start, effort, watch) {
                Found::Some { selection, bound, nodes, cut } => {
                    spent += nodes;
                    let crew = crew::seat(grid, &selection);
                    let broken = crew.cuts;
                    let bound = sure.unwrap_or(bound);
                    let new: Vec<_> =
                        broken.iter().filter(|c| cuts.insert((*c).clone())).cloned().collect();
                    let ended = new.is_empty() || effort.nodes == 0 || cut;
                    if broken.is_empty() || (self.soft && ended) {
                        return Found::Some { selection, bound, nodes: spent, cut };
                    }
                    if ended {
                        return Found::Nothing { bound, nodes: spent, cut };
                    }
                    if crew.unsure && sure.is_none() {
                        sure = Some(bound);
                    }
                    for cut in &new {
                        self.add_cut(cut);
                    }
                }
                Found::Nothing { bound, nodes, cut } => {
                    let bound = sure.unwrap_or(bound);
                    return Found::Nothing { bound, nodes: spent + nodes, cut };
                }
                Found::Infeasible => {
                    let nothing = |bound| Found::Nothing { bound, nodes: spent, cut: false };
                    return sure.map_or(Found::Infeasible, nothing);
                }
            }
        }
    }
}
