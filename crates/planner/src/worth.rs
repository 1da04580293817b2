//! What a choice of outfits is worth, counted exactly as the model counts it.

use std::cmp::Reverse;
use std::collections::BTreeSet;

use deepbend_core::judge::Verdict;

use crate::crew;
use crate::grid::{Cand, Grid, Off};
use crate::plan::Value;
use crate::weights::{Micros, ONE};

/// What a lure counts that a pin asks for.
const PINNED: Micros = 1_000 * ONE;

/// A choice: outfits, leaders tied for them, lures taken along.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Selection {
    /// Positions of candidates, ascending.
    pub(crate) outfits: Vec<usize>,
    /// Candidate and leader.
    pub(crate) leaders: BTreeSet<(usize, usize)>,
    /// By lure.
    pub(crate) lures: Vec<bool>,
}

/// An outfit that can fish a need.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Service {
    pub(crate) cand: usize,
    pub(crate) leader: Option<usize>,
    pub(crate) verdict: Verdict,
    pub(crate) worth: Micros,
    pub(crate) score: f64,
    pub(crate) meets: bool,
    preferred: bool,
    /// Position in the offers of the source.
    pub(crate) offer: usize,
}

/// Offers of one need, one for each outfit, the best first.
fn serve(
    grid: &Grid<'_>,
    outfits: &[usize],
    need: usize,
    fitted: impl Fn(usize, &Off) -> bool,
) -> Vec<Service> {
    let mut list: Vec<Service> = Vec::new();
    for &cand in outfits {
        let mut best: Option<Service> = None;
        let mut meets = false;
        let offers = &grid.cands[cand].offers;
        let start = offers.partition_point(|o| o.need < need);
        for offer in offers[start..].iter().take_while(|o| o.need == need) {
            if !fitted(cand, offer) {
                continue;
            }
            meets |= offer.meets;
            let better = best.as_ref().is_none_or(|b| {
                let now = (offer.worth, Reverse(offer.verdict), offer.preferred);
                let before = (b.worth, Reverse(b.verdict), b.preferred);
                now > before || (now == before && offer.score > b.score)
            });
            if better {
                best = Some(Service {
                    cand,
                    leader: offer.leader,
                    verdict: offer.verdict,
                    worth: offer.worth,
                    score: offer.score,
                    meets,
                    preferred: offer.preferred,
                    offer: offer.source,
                });
            }
        }
        if let Some(mut service) = best {
            service.meets = meets;
            list.push(service);
        }
    }
    list.sort_by(|a, b| {
        (b.worth, a.verdict)
            .cmp(&(a.worth, b.verdict))
            .then(b.score.total_cmp(&a.score))
            .then(a.cand.cmp(&b.cand))
    });
    list
}

/// Worth of one need and whether it is held.
fn need_worth(grid: &Grid<'_>, need: usize, services: &[Service]) -> (Micros, bool) {
    let demand = &grid.needs[need];
    let worth = demand
        .shares
        .iter()
        .zip(services)
        .map(|(share, s)| grid.weights.term(demand.importance, *share, s.worth))
        .sum();
    let meeting = services.iter().filter(|s| s.meets).count();
    (worth, demand.holdable && meeting >= demand.copies as usize)
}

/// Who serves each need in a selection.
pub(crate) fn services(grid: &Grid<'_>, selection: &Selection, need: usize) -> Vec<Service> {
    if !selection.lures[grid.needs[need].lure] {
        return Vec::new();
    }
    serve(grid, &selection.outfits, need, |cand, offer| {
        offer.leader.is_none_or(|l| selection.leaders.contains(&(cand, l)))
    })
}

/// Whether a need is held in a selection.
pub(crate) fn held(grid: &Grid<'_>, selection: &Selection, need: usize) -> bool {
    need_worth(grid, need, &services(grid, selection, need)).1
}

/// Minutes of jobs for a boat.
pub(crate) fn job_minutes(grid: &Grid<'_>, selection: &Selection, boat: usize) -> u32 {
    let cands = selection.outfits.iter().map(|c| &grid.cands[*c]).filter(|c| c.boat == boat);
    let ties = selection.leaders.iter().map(|(_, l)| &grid.leaders[*l]).filter(|l| l.boat == boat);
    cands.map(|c| c.minutes).sum::<u32>() + ties.map(|l| l.minutes).sum::<u32>()
}

/// Lures that are brought from elsewhere because something fishes them.
fn lures_moved(grid: &Grid<'_>, selection: &Selection) -> Vec<usize> {
    (0..grid.lures.len()).filter(|l| selection.lures[*l] && !grid.lures[*l].aboard).collect()
}

/// The value of a selection.
pub(crate) fn value(grid: &Grid<'_>, selection: &Selection) -> Value {
    let mut value = Value::default();
    for (need, demand) in grid.needs.iter().enumerate() {
        let (worth, held) = need_worth(grid, need, &services(grid, selection, need));
        value.coverage += worth;
        if !held {
            value.shortfall += demand.shortfall;
        }
    }
    let mut moves = 0;
    for cand in &selection.outfits {
        value.moves += grid.cands[*cand].move_cost;
        moves += Micros::from(grid.cands[*cand].moves);
    }
    let leaders: BTreeSet<_> = selection.leaders.iter().map(|(_, l)| *l).collect();
    let lines: BTreeSet<_> =
        selection.outfits.iter().filter_map(|c| grid.cands[*c].stock).map(|(s, _)| s).collect();
    let stocks = leaders
        .iter()
        .map(|l| &grid.leaders[*l])
        .chain(lines.iter().map(|s| &grid.lines[*s]))
        .chain(lures_moved(grid, selection).into_iter().map(|l| &grid.lures[l]));
    for stock in stocks.filter(|s| !s.aboard) {
        value.moves += stock.move_cost;
        moves += 1;
    }
    for (boat, limits) in grid.boats.iter().enumerate() {
        let over = job_minutes(grid, selection, boat).saturating_sub(limits.job_minutes);
        value.overtime += Micros::from(over) * grid.weights.job_minute;
    }
    value.ties = Micros::from(selection.outfits.len() as u32) * grid.weights.outfit_tie
        + moves * grid.weights.move_tie;
    value
}

/// Whether the line in stock suffices.
pub(crate) fn line_suffices(grid: &Grid<'_>, outfits: &[usize]) -> bool {
    let mut left: Vec<_> = grid.line_pools.iter().map(|metres| u64::from(*metres)).collect();
    outfits.iter().filter_map(|c| grid.cands[*c].stock).all(|(stock, metres)| {
        let left = &mut left[grid.lines[stock].pool];
        let enough = *left >= u64::from(metres);
        *left = left.saturating_sub(u64::from(metres));
        enough
    })
}

/// Ties leaders and takes lures along for a choice of outfits: the leaders that the outfits ask
/// for, in order, while the stock lasts, and the lures that are worth their move.
pub(crate) fn furnish(grid: &Grid<'_>, outfits: &[usize]) -> Selection {
    tied(grid, outfits, |tie| outfits.iter().position(|c| *c == tie.0))
}

/// Leaders that outfits ask for, in their order: for each need the one with which it is served best.
/// `barred`: outfits and leaders of which there are too few.
fn asked(
    grid: &Grid<'_>,
    outfits: &[usize],
    barred: &BTreeSet<(usize, usize)>,
) -> Vec<(usize, usize)> {
    let mut asked: Vec<(usize, usize)> = Vec::new();
    for &cand in outfits {
        let first = asked.len();
        for l in best_leaders(&grid.cands[cand], |l| !barred.contains(&(cand, l))) {
            if !asked[first..].contains(&(cand, l)) {
                asked.push((cand, l));
            }
        }
    }
    asked
}

/// For each need of a candidate the leader with which it is served best, unless that is none.
pub(crate) fn best_leaders(
    cand: &Cand,
    is_there: impl Fn(usize) -> bool,
) -> impl Iterator<Item = usize> {
    let of_need = cand.offers.chunk_by(|a, b| a.need == b.need);
    of_need.filter_map(move |offers| {
        let open = offers.iter().filter(|offer| offer.leader.is_none_or(&is_there));
        let rank = |offer: &&Off| {
            let score = offer.score.to_bits();
            (offer.meets, offer.worth, offer.preferred, score, Reverse(offer.leader))
        };
        open.max_by_key(rank).and_then(|offer| offer.leader)
    })
}

/// A selection with the leaders that outfits ask for, in the order of `rank`; where there are too few
/// of one, the next best is asked for.
fn tied<K: Ord>(
    grid: &Grid<'_>,
    outfits: &[usize],
    rank: impl Fn(&(usize, usize)) -> K,
) -> Selection {
    let mut left = grid.leader_pools.clone();
    let (mut leaders, mut barred) = (BTreeSet::new(), BTreeSet::new());
    loop {
        let mut asked = asked(grid, outfits, &barred);
        asked.retain(|tie| !leaders.contains(tie));
        let mut many = vec![0; left.len()];
        asked.iter().for_each(|(_, l)| many[grid.leaders[*l].pool] += 1);
        if many.iter().zip(&left).any(|(many, there)| many > there) {
            asked.sort_by_cached_key(&rank);
        }
        let before = barred.len();
        for tie in asked {
            let left = &mut left[grid.leaders[tie.1].pool];
            if *left > 0 {
                *left -= 1;
                leaders.insert(tie);
            } else {
                barred.insert(tie);
            }
        }
        if barred.len() == before {
            break;
        }
    }
    let mut selection =
        Selection { outfits: outfits.to_vec(), leaders, lures: vec![true; grid.lures.len()] };
    take_lures(grid, &mut selection);
    selection
}

/// What a leader adds to what an outfit does without, if no other did it.
fn adds(grid: &Grid<'_>, (cand, leader): (usize, usize)) -> Micros {
    let offers = &grid.cands[cand].offers;
    let term = |need: usize, worth: Micros| {
        let demand = &grid.needs[need];
        let share = demand.shares.first().copied().unwrap_or(0);
        grid.weights.term(demand.importance, share, worth)
    };
    let of_leader = offers.iter().filter(|offer| offer.leader == Some(leader));
    let more = of_leader.map(|offer| {
        let bare = offers.iter().find(|o| o.need == offer.need && o.leader.is_none());
        let (worth, met) = bare.map_or((0, false), |bare| (bare.worth, bare.meets));
        let hold = if offer.meets && !met { grid.needs[offer.need].shortfall } else { 0 };
        term(offer.need, (offer.worth - worth).max(0)) + hold
    });
    more.sum()
}

/// What a selection loses and saves without a leader that is tied for an outfit: what the needs
/// that it serves come to less, less the time to tie it, and what it costs to bring the last of it.
fn without_leader(grid: &Grid<'_>, selection: &mut Selection, tie: (usize, usize)) -> Micros {
    let (cand, leader) = tie;
    let stock = &grid.leaders[leader];
    let boat = grid.cands[cand].boat;
    let of_leader = grid.cands[cand].offers.iter().filter(|o| o.leader == Some(leader));
    let worth = |selection: &Selection| -> Micros {
        of_leader
            .clone()
            .map(|offer| {
                let services = services(grid, selection, offer.need);
                let (worth, held) = need_worth(grid, offer.need, &services);
                worth + if held { grid.needs[offer.need].shortfall } else { 0 }
            })
            .sum()
    };
    let over = |selection: &Selection| {
        job_minutes(grid, selection, boat).saturating_sub(grid.boats[boat].job_minutes)
    };
    let (with, before) = (worth(selection), over(selection));
    selection.leaders.remove(&tie);
    let (without, after) = (worth(selection), over(selection));
    let is_last = !stock.aboard && !selection.leaders.iter().any(|(_, other)| *other == leader);
    selection.leaders.insert(tie);
    let brought = if is_last { stock.move_cost + grid.weights.move_tie } else { 0 };
    with - without - Micros::from(before - after) * grid.weights.job_minute - brought
}

/// The same as [`furnish`], but leaders of which there are too few for all go to those to whom they
/// add most, and without those that cost more than they bring, those that are missed least first.
pub(crate) fn fit(grid: &Grid<'_>, outfits: &[usize]) -> Selection {
    let mut selection = tied(grid, outfits, |tie| (Reverse(adds(grid, *tie)), *tie));
    let mut open: Vec<(usize, usize)> = selection.leaders.iter().copied().collect();
    let mut is_changed = false;
    loop {
        // What is missed grows with each that is taken off: those that are missed now stay.
        open.retain(|tie| selection.leaders.contains(tie));
        let missed: Vec<((usize, usize), Micros)> =
            open.iter().map(|tie| (*tie, without_leader(grid, &mut selection, *tie))).collect();
        let least = missed.iter().min_by_key(|(tie, loss)| (*loss, Reverse(*tie)));
        let Some((tie, _)) = least.filter(|(_, loss)| *loss < 0) else { break };
        selection.leaders.remove(tie);
        is_changed = true;
        open = missed.iter().filter(|(_, loss)| *loss < 0).map(|(tie, _)| *tie).collect();
    }
    if is_changed {
        take_lures(grid, &mut selection);
    }
    selection
}

/// Leaves lures behind that are not worth their move, given outfits and leaders.
pub(crate) fn take_lures(grid: &Grid<'_>, selection: &mut Selection) {
    selection.lures.fill(true);
    let mut gain = vec![0; grid.lures.len()];
    for (need, demand) in grid.needs.iter().enumerate() {
        let (worth, held) = need_worth(grid, need, &services(grid, selection, need));
        let pinned = held && grid.held.contains(&need);
        gain[demand.lure] +=
            worth + if held { demand.shortfall } else { 0 } + if pinned { PINNED } else { 0 };
    }
    let net = |lure: usize| {
        let stock = &grid.lures[lure];
        let cost = if stock.aboard { -1 } else { stock.move_cost + grid.weights.move_tie };
        gain[lure] - cost
    };
    // Where boats want more of a lure than there is, those go without that gain least.
    let mut order: Vec<_> = (0..grid.lures.len()).collect();
    order.sort_by_key(|lure| (Reverse(net(*lure)), *lure));
    let mut left = grid.lure_pools.clone();
    for lure in order {
        let stock = &grid.lures[lure];
        let left = &mut left[stock.pool];
        selection.lures[lure] = net(lure) > 0 && stock.quantity <= *left;
        if selection.lures[lure] {
            *left -= stock.quantity;
        }
    }
}

/// Whether a boat needs a lure of which others leave too little for it.
pub(crate) fn is_scarce(grid: &Grid<'_>, lure: usize) -> bool {
    let stock = &grid.lures[lure];
    let same = grid.lures.iter().filter(|other| other.pool == stock.pool);
    let asked: u64 = same.map(|other| u64::from(other.quantity)).sum();
    stock.quantity > 0 && asked > u64::from(grid.lure_pools[stock.pool])
}

/// Pins that a selection does not keep.
pub(crate) fn pins_broken(grid: &Grid<'_>, selection: &Selection) -> u32 {
    let missing = grid.wanted.iter().filter(|wanted| {
        !selection.outfits.iter().any(|c| grid.is_wanted(&grid.cands[*c], wanted))
    });
    let open = grid.held.iter().filter(|need| !held(grid, selection, **need));
    (missing.count() + open.count()) as u32
}

/// Whether there is as much as a selection uses: outfits that are not in each other's way, room,
/// line, leaders and lures.
pub(crate) fn is_possible(grid: &Grid<'_>, selection: &Selection) -> bool {
    let outfits = &selection.outfits;
    let apart = |at: usize| outfits[..at].iter().all(|o| !grid.exclusive(*o, outfits[at]));
    let room = |boat: usize| {
        let aboard = outfits.iter().filter(|c| grid.cands[**c].boat == boat).count();
        aboard <= grid.boats[boat].outfits
    };
    let (mut leaders, mut lures) = (grid.leader_pools.clone(), grid.lure_pools.clone());
    let use_up = |left: &mut u32, many: u32| {
        let enough = *left >= many;
        *left = left.saturating_sub(many);
        enough
    };
    (0..outfits.len()).all(apart)
        && (0..grid.boats.len()).all(room)
        && line_suffices(grid, outfits)
        && selection.leaders.iter().all(|(_, l)| use_up(&mut leaders[grid.leaders[*l].pool], 1))
        && grid
            .lures
            .iter()
            .zip(&selection.lures)
            .enumerate()
            .filter(|(at, (_, taken))| **taken && is_scarce(grid, *at))
            .all(|(_, (lure, _))| use_up(&mut lures[lure.pool], lure.quantity))
}

/// Whether a selection keeps the pins and lets everybody fish.
pub(crate) fn is_sound(grid: &Grid<'_>, selection: &Selection) -> bool {
    pins_broken(grid, selection) == 0 && crew::seat(grid, selection).cuts.is_empty()
}
