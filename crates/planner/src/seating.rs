//! Whom a fleet can seat at all: the problem without what its needs are worth and without costs.
//!
//! A plan that lets everybody fish and keeps the pins is looked for among far fewer numbers than the
//! best one: an outfit counts for whom it lets fish and which pin it keeps, and all lures of a
//! segment that anybody can start with count as one.

use crate::grid::{Cand, Grid, Off};
use crate::incumbent;
use crate::model::{self, Effort, Found};
use crate::prune;
use crate::spare;
use crate::watch::Watch;
use crate::weights::Micros;
use crate::worth::{self, Selection};

/// Nodes of its tree.
const NODES: u64 = 2_000;

/// What is known of a seating.
#[derive(Clone, Debug)]
pub(crate) enum Seating {
    /// A selection that seats everybody and keeps the pins.
    Found(Selection),
    /// There is none.
    Impossible,
    /// The search ended before it knew.
    Unknown,
}

/// Looks for a selection that seats everybody and keeps the pins.
pub(crate) fn find(grid: &Grid<'_>, watch: &Watch<'_>) -> Seating {
    let bare = bare(grid);
    let mut effort = Effort { nodes: NODES, rest: Micros::MIN };
    let asked = watch.only_asked();
    let found = model::solve(&bare, &prune::prune(&bare), None, &mut effort, &Watch::new(&asked));
    match found {
        Found::Some { selection, .. } => {
            let selection = furnished(grid, selection);
            let fits = worth::is_possible(grid, &selection) && worth::is_sound(grid, &selection);
            if fits { Seating::Found(selection) } else { Seating::Unknown }
        }
        Found::Infeasible => Seating::Impossible,
        Found::Nothing { .. } => Seating::Unknown,
    }
}

/// A selection that leaves out as few of pins and people who are to fish at once as was found, and
/// whether none leaves out fewer; `None`: the search ended before it knew any.
pub(crate) fn fewest(grid: &Grid<'_>, watch: &Watch<'_>) -> Option<(Selection, bool)> {
    let bare = bare(grid);
    let mut effort = Effort { nodes: NODES, rest: Micros::MIN };
    let asked = watch.only_asked();
    let (pruning, asked) = (prune::prune(&bare), Watch::new(&asked));
    let (selection, cut) = model::fewest_left_out(&bare, &pruning, None, &mut effort, &asked)?;
    Some((furnished(grid, selection), !cut))
}

/// With only those of the lures that are worth bringing, unless somebody needs them to start with.
fn furnished(grid: &Grid<'_>, selection: Selection) -> Selection {
    let mut fewer = selection.clone();
    worth::take_lures(grid, &mut fewer);
    let is_needed = incumbent::broken(grid, &fewer) > incumbent::broken(grid, &selection);
    if is_needed { selection } else { fewer }
}

/// The problem without what its needs are worth and without costs.
fn bare<'a>(grid: &Grid<'a>) -> Grid<'a> {
    let mut bare = grid.clone();
    let weights = &mut bare.weights;
    (weights.outfit_tie, weights.move_tie, weights.job_minute) = (0, 0, 0);
    // Here all rows are kept: a plan that is found has to be possible.
    bare.ample.fill(false);
    for stocks in [&mut bare.leaders, &mut bare.lines, &mut bare.lures] {
        for stock in stocks {
            (stock.aboard, stock.move_cost, stock.minutes) = (true, 0, 0);
        }
    }
    bare.needs.iter_mut().for_each(|need| need.shortfall = 0);
    let common = common(grid);
    for cand in &mut bare.cands {
        let offers = offers(grid, cand, &common);
        (cand.offers, cand.minutes, cand.move_cost, cand.moves) = (offers, 0, 0, 0);
    }
    spare::leave_out(&mut bare, None);
    bare
}

/// By need, the first of its segment that all of the crew can start with, if it is one of those.
fn common(grid: &Grid<'_>) -> Vec<usize> {
    let is_enough = |need: usize| {
        let demand = &grid.needs[need];
        let crew = grid.crews[demand.segment].len();
        let there = grid.lures[demand.lure].quantity as usize;
        there >= crew && !worth::is_scarce(grid, demand.lure)
    };
    let mut first: Vec<Option<usize>> = vec![None; grid.crews.len()];
    let one = |need: usize| {
        if is_enough(need) { *first[grid.needs[need].segment].get_or_insert(need) } else { need }
    };
    (0..grid.needs.len()).map(one).collect()
}

/// Offers that let somebody fish or keep a pin, none that another one covers.
fn offers(grid: &Grid<'_>, cand: &Cand, common: &[usize]) -> Vec<Off> {
    let mut all: Vec<Off> = Vec::new();
    for offer in &cand.offers {
        let crew = &grid.crews[grid.needs[offer.need].segment];
        if offer.meets && grid.held.contains(&offer.need) {
            all.push(Off { worth: 0, ..offer.clone() });
        }
        if crew.iter().any(|angler| grid.in_hands(cand, offer, *angler).is_some()) {
            all.push(Off { need: common[offer.need], worth: 0, meets: false, ..offer.clone() });
        }
    }
    all.sort_by_key(|offer| (offer.need, offer.leader, !offer.meets));
    let covers = |better: &Off, worse: &Off| {
        better.need == worse.need
            && (better.leader.is_none() || better.leader == worse.leader)
            && (better.meets || !worse.meets)
            && better.hands.hold(&worse.hands)
    };
    let is_covered = |at: usize| {
        let one = &all[at];
        (0..all.len()).any(|o| o != at && covers(&all[o], one) && (o < at || !covers(one, &all[o])))
    };
    (0..all.len()).filter(|at| !is_covered(*at)).map(|at| all[at].clone()).collect()
}
