//! Several boats that go out on one day and draw on one pool.
//!
//! Each trip is stated as if it were alone, over the same pool: what has the same id is the same
//! thing. The plan shares the pool out: a rod, a reel and a piece of tackle go to one boat, and
//! the worth of all trips together is as large as it can be. A boat that others may not strip of
//! what it must cover is given [`Pin::Hold`] for it, also when it
//! stays in itself.

use std::collections::{BTreeMap, BTreeSet};
use std::panic::resume_unwind;
use std::thread::{self, ScopedJoinHandle};

use crate::clash;
use crate::concede;
use crate::departure::BeforeDeparture;
use crate::faults::{Fault, ProblemFaults};
use crate::grid::{Grid, Lift};
use crate::order::Order;
use crate::plan::{Clash, ItemKind, Move, PlannedOutfit, Status, TripPlan, Value};
use crate::problem::{Candidate, Pin, TripProblem};
use crate::rewrite::{self, Decisions, Elsewhere, Share};
use crate::search::{self, Outcome, Ties};
use crate::short::{self, Short};
use crate::solve::Budget;
use crate::watch::{self, Ask, Watch};
use crate::weights::{Micros, Weights};
use crate::worth::{self, Selection};

/// Trips of different boats on one day.
#[derive(Clone, Debug, PartialEq)]
pub struct FleetProblem {
    /// The trips. Their order does not matter, but for which plan is written first: a plan is made
    /// in the order of the boats.
    pub trips: Vec<FleetTrip>,
}

/// One of the trips.
#[derive(Clone, Debug, PartialEq)]
pub struct FleetTrip {
    /// Minute of the day at which the boat departs; none: it stays in, or nobody said.
    pub departs: Option<u32>,
    /// The trip, over the whole pool.
    pub problem: TripProblem,
}

/// What the planner answers for a fleet.
#[derive(Clone, Debug, PartialEq)]
pub enum FleetAnswer {
    /// A plan.
    Plan(Box<FleetPlan>),
    /// No plan keeps all limits.
    Infeasible(Box<Infeasible>),
    /// The work budget ended before a plan that keeps all limits was found.
    NotFound {
        /// No plan is worth more than this, in millionths.
        bound: Micros,
        /// Whether the clock or the caller ended the search; another run may end elsewhere.
        cut: bool,
        /// A plan that leaves out some of the limits; `None`: not even that was found.
        best: Option<Box<LeftOut>>,
    },
}

/// Why no plan keeps all limits, and the best that leaves out the fewest of them.
#[derive(Clone, Debug, PartialEq)]
pub struct Infeasible {
    /// Limits that clash.
    pub clash: Clash,
    /// The best plan of those that leave out the fewest; `None`: the search ended before.
    pub best: Option<LeftOut>,
}

/// A plan that leaves out some of what was asked for.
#[derive(Clone, Debug, PartialEq)]
pub struct LeftOut {
    /// The problem without what is left out: the plan keeps all of it.
    pub problem: FleetProblem,
    /// The plan.
    pub plan: FleetPlan,
    /// Who does not fish at once though they are to.
    pub idle: Vec<Idle>,
    /// Positions of trips, and their pins that are not kept.
    pub pins: Vec<(usize, Pin)>,
    /// Whether no plan leaves out fewer.
    pub is_least: bool,
}

/// People who do not fish at once with the others of a segment.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Idle {
    /// Position of the trip.
    pub trip: usize,
    /// The segment.
    pub segment: String,
    /// Ids of those who do not.
    pub anglers: Vec<String>,
    /// How many were to fish at once.
    pub of: u32,
}

/// Plans of several boats that can be carried out together.
#[derive(Clone, Debug, PartialEq)]
pub struct FleetPlan {
    /// How good it is known to be.
    pub status: Status,
    /// Its worth, all trips together.
    pub value: Value,
    /// No plan has a larger [`Value::objective`] than this.
    pub bound: Micros,
    /// Nodes of the search tree.
    pub nodes: u64,
    /// Whether the clock or the caller ended the search; another run may end elsewhere.
    pub cut: bool,
    /// The plan of each trip, in the order of the problem. How good each is known to be counts
    /// for it alone: it may be feasible only, within the best plan for all.
    pub trips: Vec<TripPlan>,
    /// What is moved to which trip's boat, and by when.
    pub moves: Vec<FleetMove>,
    /// What each trip's boat has of the pool, in the same order.
    pub shares: Vec<Share>,
    /// What the plan decides for each trip, in the same order: another search may begin with it.
    pub decisions: Vec<Decisions>,
}

/// Something to be brought to a boat.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FleetMove {
    /// Position of the trip.
    pub trip: usize,
    /// What is moved.
    pub what: Move,
    /// Minute of the day by which it must have arrived, negative on the day before.
    pub deadline: Option<i64>,
}

impl FleetPlan {
    /// Distance to the bound as a share of the bound, 0 or more.
    #[must_use]
    pub fn gap(&self) -> f64 {
        watch::gap(self.value.objective(), self.bound)
    }
}

impl FleetProblem {
    /// Looks the trips over, alone and together.
    ///
    /// # Errors
    ///
    /// All faults found, those of a trip under `trips[i]`.
    pub fn validate(&self) -> Result<(), ProblemFaults> {
        let mut faults = Vec::new();
        if self.trips.is_empty() {
            let text = "is empty; at least one trip is needed".to_owned();
            faults.push(Fault { field: "trips".into(), text });
        }
        for (i, trip) in self.trips.iter().enumerate() {
            if let Err(ProblemFaults(list)) = trip.problem.validate() {
                faults.extend(
                    list.into_iter().map(|fault| Fault {
                        field: format!("trips[{i}].{}", fault.field),
                        ..fault
                    }),
                );
            }
            let boat = &trip.problem.boat.place;
            if self.trips[..i].iter().any(|before| before.problem.boat.place == *boat) {
                let text = format!("{boat} stands twice; a boat goes on one trip");
                faults.push(Fault { field: format!("trips[{i}].boat.place"), text });
            }
            if trip.departs.is_some_and(|minute| minute >= 1440) {
                let text = "must be a minute of the day, below 1440".to_owned();
                faults.push(Fault { field: format!("trips[{i}].departs"), text });
            }
        }
        self.validate_pool(&mut faults);
        if faults.is_empty() { Ok(()) } else { Err(ProblemFaults(faults)) }
    }

    /// What has the same id is the same thing.
    fn validate_pool(&self, faults: &mut Vec<Fault>) {
        let mut known: BTreeMap<(ItemKind, &str), (&str, u32)> = BTreeMap::new();
        for (i, trip) in self.trips.iter().enumerate() {
            for (kind, id, place, quantity) in items(&trip.problem) {
                let first = *known.entry((kind, id)).or_insert((place, quantity));
                if first != (place, quantity) {
                    let text = format!(
                        "{id} lies at {place}, {quantity} of it, but an earlier trip has {} at {}; \
                         state the same pool for all",
                        first.1, first.0
                    );
                    faults.push(Fault { field: format!("trips[{i}]"), text });
                }
            }
        }
    }
}

/// All items of a trip's pool: kind, id, place, quantity.
fn items(p: &TripProblem) -> impl Iterator<Item = (ItemKind, &str, &str, u32)> {
    let rods = p.rods.iter().map(|x| (ItemKind::Rod, x.id.as_str(), x.place.as_str(), 1));
    let reels = p.reels.iter().map(|x| (ItemKind::Reel, x.id.as_str(), x.place.as_str(), 1));
    let of = |x: &'_ crate::problem::LeaderStock| x.quantity;
    let leaders =
        p.leaders.iter().map(move |x| (ItemKind::Leader, x.id.as_str(), x.place.as_str(), of(x)));
    let lures =
        p.lures.iter().map(|x| (ItemKind::Lure, x.id.as_str(), x.place.as_str(), x.quantity));
    let lines =
        p.line_stock.iter().map(|x| (ItemKind::Line, x.id.as_str(), x.place.as_str(), x.metres));
    rods.chain(reels).chain(leaders).chain(lures).chain(lines)
}

/// Plans several boats together.
///
/// The same problem gives the same plan on every machine.
///
/// # Errors
///
/// All faults of the problem, or of the weights.
pub fn plan_fleet(
    problem: &FleetProblem,
    weights: &Weights,
    budget: &Budget,
) -> Result<FleetAnswer, ProblemFaults> {
    plan_fleet_watched(problem, weights, budget, &watch::on)
}

/// Plans several boats together and tells `ask` how the search stands, like
/// [`plan_trip_watched`](crate::plan_trip_watched).
///
/// # Errors
///
/// All faults of the problem, or of the weights.
pub fn plan_fleet_watched(
    problem: &FleetProblem,
    weights: &Weights,
    budget: &Budget,
    ask: Ask<'_>,
) -> Result<FleetAnswer, ProblemFaults> {
    plan_fleet_from(problem, weights, budget, &[], ask)
}

/// The same from a plan that is known, by what it decides for each trip; nothing is known where it
/// is empty or cannot be carried out. The answer is never worth less than that plan.
///
/// # Errors
///
/// All faults of the problem, or of the weights.
pub fn plan_fleet_from(
    problem: &FleetProblem,
    weights: &Weights,
    budget: &Budget,
    known: &[Decisions],
    ask: Ask<'_>,
) -> Result<FleetAnswer, ProblemFaults> {
    problem.validate()?;
    weights.validate()?;
    let order = Order::of(problem);
    let fleet = order.sorted(&problem.trips);
    let trips: Vec<_> = fleet.iter().map(|trip| &trip.problem).collect();
    let mut grid = Grid::of(&trips, weights, Lift::default());
    let watch = Watch::new(ask);
    let known = selected(&grid, &trips, &order, known);
    let short = short::all(&grid, &trips);
    let found = match short.is_empty() {
        true => search::search(&mut grid, known.as_ref(), budget, Ties::Settled, &watch),
        false => None,
    };
    let Some(found) = found else {
        let fewest = conceded(&grid, &trips, &watch);
        let no = infeasible(&fleet, &grid, (&fewest, &short), budget, &watch);
        return Ok(order.back_answer(FleetAnswer::Infeasible(Box::new(no))));
    };
    let (bound, cut, spent) = (found.bound, found.cut, found.nodes);
    let plan = write(&fleet, &grid, found).map(|plan| FleetAnswer::Plan(Box::new(plan)));
    Ok(order.back_answer(plan.unwrap_or_else(|| {
        let fewest = conceded(&grid, &trips, &watch);
        let rest = Budget { nodes: budget.nodes.saturating_sub(spent).max(FIRST), ..*budget };
        if fewest.is_least && !fewest.asked().is_empty() {
            let no = infeasible(&fleet, &grid, (&fewest, &short), &rest, &watch);
            return FleetAnswer::Infeasible(Box::new(no));
        }
        let best = without(&fleet, &grid.weights, &fewest, &rest, &watch, &mut || {});
        not_found(bound, cut, spent, best)
    })))
}

/// What is answered where a search ended without a plan: the best that was found since, which may
/// leave out nothing after all.
fn not_found(bound: Micros, cut: bool, spent: u64, best: Option<LeftOut>) -> FleetAnswer {
    let Some(mut best) = best else { return FleetAnswer::NotFound { bound, cut, best: None } };
    best.plan.nodes += spent;
    if best.idle.is_empty() && best.pins.is_empty() {
        best.plan.bound = best.plan.bound.min(bound);
        return FleetAnswer::Plan(Box::new(best.plan));
    }
    FleetAnswer::NotFound { bound, cut, best: Some(Box::new(best)) }
}

/// What a search decided, without the plan that follows from it.
#[derive(Clone, Debug, PartialEq)]
pub struct Decided {
    /// By trip.
    pub decisions: Vec<Decisions>,
    /// What it is worth.
    pub worth: Micros,
    /// No plan is worth more than this.
    pub bound: Micros,
    /// Whether it is proven to be the best.
    pub is_best: bool,
    /// Nodes of the search tree.
    pub nodes: u64,
    /// Whether the clock or the caller ended the search.
    pub cut: bool,
}

/// Searches like [`plan_fleet_from`], and leaves the writing to a later search that begins with what
/// was decided; `None`: no plan was found.
///
/// # Errors
///
/// All faults of the problem, or of the weights.
pub fn decide_fleet(
    problem: &FleetProblem,
    weights: &Weights,
    budget: &Budget,
    known: &[Decisions],
    ask: Ask<'_>,
) -> Result<Option<Decided>, ProblemFaults> {
    problem.validate()?;
    weights.validate()?;
    let order = Order::of(problem);
    let fleet = order.sorted(&problem.trips);
    let trips: Vec<_> = fleet.iter().map(|trip| &trip.problem).collect();
    let mut grid = Grid::of(&trips, weights, Lift::default());
    let known = selected(&grid, &trips, &order, known);
    if !short::all(&grid, &trips).is_empty() {
        return Ok(None);
    }
    let watch = Watch::new(ask);
    let found = search::search(&mut grid, known.as_ref(), budget, Ties::Open, &watch);
    Ok(found.and_then(|found| {
        let selection = found.selection?;
        let decided = |boat: usize| decided(&grid, trips[boat], &selection, boat);
        Some(Decided {
            decisions: order.back((0..trips.len()).map(decided).collect()),
            worth: worth::value(&grid, &selection).objective(),
            bound: found.bound,
            is_best: found.proven,
            nodes: found.nodes,
            cut: found.cut,
        })
    }))
}

/// A plan by what it decides for each trip, in the order of the problem; `None`: some of it is not
/// there.
fn selected(
    grid: &Grid<'_>,
    trips: &[&TripProblem],
    order: &Order,
    known: &[Decisions],
) -> Option<Selection> {
    if known.len() != trips.len() {
        return None;
    }
    let known = order.sorted(known);
    let mut wanted: BTreeMap<(usize, &str, &str, &str), &PlannedOutfit> = BTreeMap::new();
    for (boat, decisions) in known.iter().enumerate() {
        for outfit in &decisions.outfits {
            wanted.insert((boat, &outfit.rod, &outfit.reel, &outfit.line), outfit);
        }
    }
    let (mut outfits, mut leaders) = (Vec::new(), BTreeSet::new());
    for (c, cand) in grid.cands.iter().enumerate() {
        let source = &trips[cand.boat].candidates[cand.source];
        let parts = (cand.boat, source.rod.as_str(), source.reel.as_str(), source.line.as_str());
        let Some(outfit) = wanted.remove(&parts) else { continue };
        outfits.push(c);
        for id in &outfit.leaders {
            let of_boat = |l: &usize| grid.leaders[*l].boat == cand.boat;
            let at = (0..grid.leaders.len()).filter(of_boat).find(|l| grid.leader_ids[*l] == id)?;
            leaders.insert((c, at));
        }
    }
    let lures = grid.lures.iter().zip(&grid.lure_ids);
    let lures = lures.map(|(stock, id)| known[stock.boat].lures.contains(*id)).collect();
    let selection = Selection { outfits, leaders, lures };
    let fits = wanted.is_empty() && worth::is_possible(grid, &selection);
    let fits = fits && worth::is_sound(grid, &selection);
    fits.then_some(selection)
}

/// Nodes of the first search for a plan that leaves out some of the limits; what clashes is said
/// before the rest of them.
const FIRST: u64 = 200;

/// Says what clashes, and plans without the fewest limits.
fn infeasible(
    fleet: &[&FleetTrip],
    grid: &Grid<'_>,
    (fewest, short): (&concede::Fewest, &[Short]),
    budget: &Budget,
    watch: &Watch<'_>,
) -> Infeasible {
    let trips: Vec<_> = fleet.iter().map(|trip| &trip.problem).collect();
    let mut clash = None;
    let mut explain = || clash = Some(clash::explain(grid, &trips, &fewest.asked(), short, watch));
    let best = without(fleet, &grid.weights, fewest, budget, watch, &mut explain);
    let clash =
        clash.unwrap_or_else(|| clash::explain(grid, &trips, &fewest.asked(), short, watch));
    Infeasible { clash, best }
}

/// What the best plan leaves out, as few limits as were found.
fn conceded(grid: &Grid<'_>, trips: &[&TripProblem], watch: &Watch<'_>) -> concede::Fewest {
    // A plan and words are still to come.
    let part = watch.one_of(3);
    let fewest = concede::fewest(grid, trips, &Watch::new(&part));
    fewest.unwrap_or_else(|| concede::roughly(grid, trips, watch))
}

/// Plans without some limits: somehow first, then `between`, then as well as the work allows.
fn without(
    fleet: &[&FleetTrip],
    weights: &Weights,
    fewest: &concede::Fewest,
    budget: &Budget,
    watch: &Watch<'_>,
    between: &mut dyn FnMut(),
) -> Option<LeftOut> {
    let problem = fewest.without(fleet);
    let fewer: Vec<_> = problem.trips.iter().collect();
    let trips: Vec<_> = fewer.iter().map(|trip| &trip.problem).collect();
    let mut grid = Grid::of(&trips, weights, Lift::default());
    let nodes = FIRST.min(budget.nodes);
    let quick = Budget { nodes, ..*budget };
    let known = fewest.selection.as_ref().filter(|known| worth::is_sound(&grid, known)).cloned();
    let mut found = search::search(&mut grid, known.as_ref(), &quick, Ties::Settled, watch)?;
    between();
    if !found.proven && !found.cut && budget.nodes > nodes {
        let rest = Budget { nodes: budget.nodes - nodes, ..*budget };
        let known = found.selection.as_ref();
        if let Some(more) = search::search(&mut grid, known, &rest, Ties::Settled, watch) {
            let bound = more.bound.min(found.bound);
            found = search::Outcome { bound, nodes: more.nodes + found.nodes, ..more };
        }
    }
    let plan = write(&fewer, &grid, found)?;
    let (idle, pins, is_least) = (fewest.idle(fleet), fewest.pins(fleet), fewest.is_least);
    Some(LeftOut { problem, plan, idle, pins, is_least })
}

/// Writes what a search found; `None`: it found no plan.
fn write(fleet: &[&FleetTrip], grid: &Grid<'_>, found: Outcome) -> Option<FleetPlan> {
    let trips: Vec<_> = fleet.iter().map(|trip| &trip.problem).collect();
    let selection = found.selection?;
    let shares = shares(grid, &trips, &selection);
    let gone: Vec<_> =
        (0..trips.len()).map(|boat| elsewhere(grid, &trips, &selection, boat)).collect();
    let decisions: Vec<Decisions> =
        (0..trips.len()).map(|boat| decided(grid, trips[boat], &selection, boat)).collect();
    let write = &|boat: usize| {
        let (own, candidates) = (&shares[boat], &trips[boat].candidates);
        rewrite::write(own, candidates, &grid.weights, &gone[boat], &decisions[boat]).ok()
    };
    let plans: Option<Vec<TripPlan>> = thread::scope(|scope| {
        let boats = 0..trips.len();
        let written: Vec<_> = boats.map(|boat| scope.spawn(move || write(boat))).collect();
        let of_boat = |written: ScopedJoinHandle<'_, _>| {
            written.join().unwrap_or_else(|panic| resume_unwind(panic))
        };
        written.into_iter().map(of_boat).collect()
    });
    let plans = plans?;
    let mut value = Value::default();
    for part in plans.iter().map(|plan| &plan.value) {
        value.coverage += part.coverage;
        value.shortfall += part.shortfall;
        value.moves += part.moves;
        value.overtime += part.overtime;
        value.ties += part.ties;
    }
    let moves = plans.iter().enumerate().flat_map(|(trip, plan)| {
        let home = BeforeDeparture::new(&fleet[trip].problem, plan);
        plan.moves.iter().map(move |what| FleetMove {
            trip,
            what: what.clone(),
            deadline: deadline(fleet.iter().copied(), trip, &home, what),
        })
    });
    Some(FleetPlan {
        status: if found.proven { Status::Optimal } else { Status::Feasible },
        value,
        bound: found.bound,
        nodes: found.nodes,
        cut: found.cut,
        moves: moves.collect(),
        shares: gone
            .into_iter()
            .enumerate()
            .map(|(boat, elsewhere)| Share {
                stocks: Share::between(trips[boat], &shares[boat]),
                elsewhere,
            })
            .collect(),
        decisions,
        trips: plans,
    })
}

/// Rods and reels that go out on other boats than this one.
fn elsewhere(
    grid: &Grid<'_>,
    trips: &[&TripProblem],
    all: &Selection,
    boat: usize,
) -> Vec<Elsewhere> {
    let others = all.outfits.iter().map(|c| &grid.cands[*c]).filter(|c| c.boat != boat);
    let parts = others.flat_map(|cand| {
        let of = move |kind, id: &str| Elsewhere {
            kind,
            id: id.to_owned(),
            boat: trips[cand.boat].boat.place.clone(),
        };
        let (rod, reel) = (grid.rods[cand.rod], grid.reels[cand.reel]);
        [of(ItemKind::Rod, rod), of(ItemKind::Reel, reel)]
    });
    parts.collect()
}

/// By when what a trip's plan brings must have reached its boat.
pub(crate) fn deadline<'f>(
    mut fleet: impl Iterator<Item = &'f FleetTrip> + Clone,
    trip: usize,
    home: &BeforeDeparture<'_>,
    what: &Move,
) -> Option<i64> {
    let to = fleet.clone().nth(trip)?.departs;
    let donor = fleet.find(|t| t.problem.boat.place == what.from);
    home.arrival(what, to, donor.and_then(|t| t.departs))
}

/// The problem of each trip with what the selection leaves it of the stocks, without candidates.
fn shares(grid: &Grid<'_>, trips: &[&TripProblem], selection: &Selection) -> Vec<TripProblem> {
    let mut shares: Vec<TripProblem> = trips.iter().map(|trip| trip.bare()).collect();
    let mut ties = vec![0; grid.leaders.len()];
    selection.leaders.iter().for_each(|(_, l)| ties[*l] += 1);
    let mut left = grid.leader_pools.clone();
    for (l, stock) in grid.leaders.iter().enumerate() {
        left[stock.pool] = left[stock.pool].saturating_sub(ties[l]);
    }
    for (l, stock) in grid.leaders.iter().enumerate() {
        // What is over stays where it lies, or goes to the first boat that uses such leaders.
        let lies_with = |o: usize| grid.leaders[o].pool == stock.pool && grid.leaders[o].aboard;
        let keeps = stock.aboard || (ties[l] > 0 && !(0..ties.len()).any(lies_with));
        let over = if keeps { std::mem::take(&mut left[stock.pool]) } else { 0 };
        let own = shares[stock.boat].leaders.iter_mut().find(|x| x.id == grid.leader_ids[l]);
        if let Some(own) = own.filter(|_| trips.len() > 1) {
            own.quantity = ties[l] + over;
        }
    }
    // A boat that goes without a scarce lure goes without all of it.
    let lost = |l: usize| worth::is_scarce(grid, l) && !selection.lures[l];
    let given: Vec<u32> =
        (0..grid.lures.len()).map(|l| if lost(l) { 0 } else { grid.lures[l].quantity }).collect();
    let mut left = grid.lure_pools.clone();
    for (stock, given) in grid.lures.iter().zip(&given) {
        left[stock.pool] = left[stock.pool].saturating_sub(*given);
    }
    for (l, stock) in grid.lures.iter().enumerate() {
        // What is over stays where it lies, or goes to the first boat that takes such lures.
        let lies_with = |o: usize| grid.lures[o].pool == stock.pool && grid.lures[o].aboard;
        let keeps =
            !lost(l) && (stock.aboard || (given[l] > 0 && !(0..given.len()).any(lies_with)));
        let over = if keeps { std::mem::take(&mut left[stock.pool]) } else { 0 };
        let own = shares[stock.boat].lures.iter_mut().find(|x| x.id == grid.lure_ids[l]);
        if let Some(own) = own {
            own.quantity = given[l] + over;
        }
    }
    let mut metres = vec![0; grid.lines.len()];
    for (stock, taken) in selection.outfits.iter().filter_map(|c| grid.cands[*c].stock) {
        metres[stock] += taken;
    }
    for (s, stock) in grid.lines.iter().enumerate() {
        let own = shares[stock.boat].line_stock.iter_mut().find(|x| x.id == grid.line_ids[s]);
        if let Some(own) = own {
            let others: u32 = (0..grid.lines.len())
                .filter(|o| *o != s && grid.lines[*o].pool == stock.pool)
                .map(|o| metres[o])
                .sum();
            own.metres = own.metres.saturating_sub(others);
        }
    }
    shares
}

/// What a selection for all decides for one trip.
fn decided(grid: &Grid<'_>, trip: &TripProblem, all: &Selection, boat: usize) -> Decisions {
    let of_boat = |c: &&usize| grid.cands[**c].boat == boat;
    let leaders = |c: usize| {
        let tied = all.leaders.iter().filter(move |(cand, _)| *cand == c);
        tied.map(|(_, l)| grid.leader_ids[*l].to_owned()).collect()
    };
    let outfits = all.outfits.iter().filter(of_boat).map(|c| {
        let Candidate { rod, reel, line, .. } = &trip.candidates[grid.cands[*c].source];
        let (rod, reel, line) = (rod.clone(), reel.clone(), line.clone());
        PlannedOutfit { rod, reel, line, leaders: leaders(*c) }
    });
    let taken = |l: &usize| grid.lures[*l].boat == boat && all.lures[*l];
    let lures = (0..grid.lures.len()).filter(taken).map(|l| grid.lure_ids[l].to_owned());
    Decisions { outfits: outfits.collect(), lures: lures.collect() }
}
