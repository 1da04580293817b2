//! A plan written again from its decisions alone, so that somebody else's can be held against it.

use std::collections::{BTreeMap, BTreeSet};

use crate::grid::{Grid, Lift};
use crate::plan::{ItemKind, Load, PlannedOutfit, Status, TripPlan};
use crate::problem::{Candidate, TripProblem};
use crate::report::{self, Search};
use crate::weights::Weights;
use crate::worth::{self, Selection};

/// What a boat of a fleet has of the pool; alone it has all of it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Share {
    /// Stocks of which it has another quantity than the pool.
    pub stocks: Vec<Load>,
    /// Rods and reels that go out on another boat.
    pub elsewhere: Vec<Elsewhere>,
}

/// A rod or a reel that goes out on another boat.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Elsewhere {
    /// Rod or reel.
    pub kind: ItemKind,
    /// Its id.
    pub id: String,
    /// The boat, by its place.
    pub boat: String,
}

impl Share {
    /// The share that is left of a problem when its stocks are those of another one.
    pub(crate) fn between(pool: &TripProblem, left: &TripProblem) -> Vec<Load> {
        let stocks = |p: &TripProblem| -> Vec<Load> {
            let load = |kind, id: &String, quantity| Load { kind, id: id.clone(), quantity };
            let leaders = p.leaders.iter().map(|x| load(ItemKind::Leader, &x.id, x.quantity));
            let lines = p.line_stock.iter().map(|x| load(ItemKind::Line, &x.id, x.metres));
            let lures = p.lures.iter().map(|x| load(ItemKind::Lure, &x.id, x.quantity));
            leaders.chain(lines).chain(lures).collect()
        };
        let pairs = stocks(pool).into_iter().zip(stocks(left));
        pairs.filter(|(whole, share)| whole != share).map(|(_, share)| share).collect()
    }

    /// The problem with no more of each stock than this share, without its candidates.
    fn of(&self, problem: &TripProblem) -> TripProblem {
        let mut own = problem.bare();
        for stock in &self.stocks {
            let leaders =
                own.leaders.iter_mut().map(|x| (ItemKind::Leader, &x.id, &mut x.quantity));
            let lines = own.line_stock.iter_mut().map(|x| (ItemKind::Line, &x.id, &mut x.metres));
            let lures = own.lures.iter_mut().map(|x| (ItemKind::Lure, &x.id, &mut x.quantity));
            for (kind, id, held) in leaders.chain(lines).chain(lures) {
                if (kind, id) == (stock.kind, &stock.id) {
                    *held = stock.quantity.min(*held);
                }
            }
        }
        own
    }
}

/// What a plan decides; all else follows from it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Decisions {
    /// Outfits with the leaders that are tied for them.
    pub outfits: Vec<PlannedOutfit>,
    /// Lures that are taken along.
    pub lures: BTreeSet<String>,
}

/// An outfit that cannot be put together from the pool: it is no candidate, a part is not ready or
/// barred by a pin, or the line does not suffice.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NoOutfit {
    /// Position in [`Decisions::outfits`].
    pub outfit: usize,
    /// Position in its leaders of one that the pool lacks; `None`: it is the outfit itself.
    pub leader: Option<usize>,
}

/// Writes the plan that follows from decisions, with the same words as the planner's own. Nothing
/// is searched: its bound is what all needs would be worth, each with the best of the share.
///
/// The problem has been found sound by [`TripProblem::validate`].
///
/// # Errors
/// All outfits that cannot be put together.
pub fn rewrite(
    problem: &TripProblem,
    weights: &Weights,
    share: &Share,
    decisions: &Decisions,
) -> Result<TripPlan, Vec<NoOutfit>> {
    write(&share.of(problem), &problem.candidates, weights, &share.elsewhere, decisions)
}

/// The same over a problem that has no more of each stock than the boat's share.
pub(crate) fn write(
    own: &TripProblem,
    candidates: &[Candidate],
    weights: &Weights,
    elsewhere: &[Elsewhere],
    decisions: &Decisions,
) -> Result<TripPlan, Vec<NoOutfit>> {
    let mut grid = Grid::over(own, candidates, weights, Lift::default());
    let gone = elsewhere.iter();
    grid.elsewhere = gone.map(|e| ((e.kind, e.id.as_str()), e.boat.as_str())).collect();
    let wanted = decisions.outfits.iter().map(|o| (o.rod.as_str(), o.reel.as_str(), &*o.line));
    let mut at: BTreeMap<_, _> = wanted.map(|parts| (parts, None)).collect();
    for (c, cand) in grid.cands.iter().enumerate() {
        let source = &candidates[cand.source];
        let parts = (source.rod.as_str(), source.reel.as_str(), source.line.as_str());
        if let Some(known) = at.get_mut(&parts) {
            *known = Some(c);
        }
    }
    let (mut outfits, mut leaders, mut missing) = (Vec::new(), BTreeSet::new(), Vec::new());
    for (position, outfit) in decisions.outfits.iter().enumerate() {
        let parts = (outfit.rod.as_str(), outfit.reel.as_str(), outfit.line.as_str());
        let Some(cand) = at.get(&parts).copied().flatten() else {
            missing.push(NoOutfit { outfit: position, leader: None });
            continue;
        };
        outfits.push(cand);
        for (l, id) in outfit.leaders.iter().enumerate() {
            match grid.leader_ids.iter().position(|known| known == id) {
                Some(leader) => {
                    leaders.insert((cand, leader));
                }
                None => missing.push(NoOutfit { outfit: position, leader: Some(l) }),
            }
        }
    }
    if !missing.is_empty() {
        return Err(missing);
    }
    outfits.sort_unstable();
    let lures = grid.lures.iter().zip(&grid.lure_ids);
    let lures = lures.map(|(stock, id)| stock.aboard || decisions.lures.contains(*id)).collect();
    let selection = Selection { outfits, leaders, lures };
    let bound = grid.plain_bound().max(worth::value(&grid, &selection).objective());
    let search = Search { status: Status::Feasible, bound, nodes: 0, cut: false };
    Ok(report::plan(&grid, &selection, search))
}
