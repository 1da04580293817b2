//! From a selection to the plan that a guide reads.

use std::collections::{BTreeMap, BTreeSet};

use crate::ashore;
use crate::crew::{self, Seat};
use crate::grid::{Grid, Off};
use crate::plan::{
    Counts, ItemKind, Job, JobKind, Load, Move, NeedCover, PlannedOutfit, Role, Start, Status,
    TripPlan, Use,
};
use crate::problem::{Angler, Candidate, Offer, TripProblem};
use crate::uncovered;
use crate::weights::Micros;
use crate::worth::{self, Selection};

/// How the search went.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Search {
    pub(crate) status: Status,
    pub(crate) bound: Micros,
    pub(crate) nodes: u64,
    pub(crate) cut: bool,
}

/// Writes the plan.
pub(crate) fn plan(grid: &Grid<'_>, selection: &Selection, search: Search) -> TripPlan {
    let outfits = outfits(grid, selection);
    let mut listed: Vec<usize> = (0..grid.needs.len()).collect();
    listed.sort_by_key(|need| grid.needs[*need].source);
    let coverage: Vec<_> = listed.into_iter().map(|need| cover(grid, selection, need)).collect();
    let seats = crew::seat(grid, selection).seats;
    let loads = loads(grid, selection, &seats);
    let moves = moves(grid, &loads);
    let counts = Counts {
        covered: coverage.iter().filter(|c| c.covered).count() as u32,
        needs: coverage.len() as u32,
        outfits: outfits.len() as u32,
        outfit_limit: grid.limit() as u32,
        moves: moves.len() as u32,
        job_minutes: worth::job_minutes(grid, selection, 0),
        candidates: grid.cands.len() as u32,
        nodes: search.nodes,
    };
    let starts = seats
        .into_iter()
        .filter_map(|seat| {
            let angler = &grid.problem.anglers[seat.angler];
            let offer = in_hands(grid, selection, &seat)?;
            let (verdict, score) = offer.in_hands(angler.skill);
            Some(Start {
                segment: grid.problem.segments[seat.segment].id.clone(),
                angler: angler.id.clone(),
                outfit: selection.outfits.iter().position(|c| *c == seat.cand)?,
                lure: grid.lure_ids[grid.needs[seat.need].lure].to_owned(),
                leader: offer.leader.clone(),
                verdict,
                score,
            })
        })
        .collect();
    TripPlan {
        status: search.status,
        value: worth::value(grid, selection),
        bound: search.bound,
        cut: search.cut,
        counts,
        outfits,
        coverage,
        starts,
        uncovered: uncovered::list(grid, selection),
        loads,
        moves,
        jobs: jobs(grid, selection),
        ashore: ashore::list(grid, selection),
    }
}

fn outfits(grid: &Grid<'_>, selection: &Selection) -> Vec<PlannedOutfit> {
    selection
        .outfits
        .iter()
        .map(|c| {
            let source = &grid.candidates[grid.cands[*c].source];
            PlannedOutfit {
                rod: source.rod.clone(),
                reel: source.reel.clone(),
                line: source.line.clone(),
                leaders: selection
                    .leaders
                    .iter()
                    .filter(|(cand, _)| cand == c)
                    .map(|(_, l)| grid.leader_ids[*l].to_owned())
                    .collect(),
            }
        })
        .collect()
}

/// What an angler starts with, with the leader that is best in these hands.
fn in_hands<'g>(grid: &Grid<'g>, selection: &Selection, seat: &Seat) -> Option<&'g Offer> {
    let cand = &grid.cands[seat.cand];
    let tied =
        |offer: &Off| offer.leader.is_none_or(|l| selection.leaders.contains(&(seat.cand, l)));
    let of_need = cand.offers.iter().filter(|o| o.need == seat.need && tied(o));
    let fit = of_need.filter(|o| grid.in_hands(cand, o, seat.angler).is_some());
    let offers = fit.map(|o| &grid.candidates[cand.source].offers[o.source]);
    // Where hands do not differ it is the leader that the need is fished with.
    offers.max_by(|a, b| {
        let [one, other] = [a, b].map(|o| o.in_hands(grid.skills[seat.angler]));
        let worse = (a.worth, other.0).cmp(&(b.worth, one.0));
        worse.then(one.1.total_cmp(&other.1)).then(b.leader.cmp(&a.leader))
    })
}

/// Who does as well with an offer of a candidate as it says; nobody where that says nothing.
fn whose(problem: &TripProblem, candidate: &Candidate, offer: &Offer) -> Vec<String> {
    if offer.counts_for().is_none() {
        return Vec::new();
    }
    let segment = problem.segments.iter().find(|s| s.id == problem.needs[offer.need].segment);
    let crew: Vec<&String> =
        segment.iter().flat_map(|s| s.anglers.iter().chain(&s.turns)).collect();
    let fishes = |a: &&Angler| crew.is_empty() || crew.contains(&&a.id);
    let does = |a: &&Angler| {
        !candidate.not_for.contains(&a.id) && offer.in_hands(a.skill).0 <= offer.verdict
    };
    let anglers = problem.anglers.iter().filter(fishes).filter(does);
    anglers.map(|angler| angler.id.clone()).collect()
}

fn cover(grid: &Grid<'_>, selection: &Selection, need: usize) -> NeedCover {
    let demand = &grid.needs[need];
    let fished = (demand.copies as usize).min(demand.shares.len());
    let uses = worth::services(grid, selection, need)
        .into_iter()
        .enumerate()
        .filter_map(|(rank, service)| {
            let candidate = &grid.candidates[grid.cands[service.cand].source];
            let offer = &candidate.offers[service.offer];
            Some(Use {
                skill: offer.counts_for(),
                anglers: whose(grid.problem, candidate, offer),
                outfit: selection.outfits.iter().position(|c| *c == service.cand)?,
                leader: service.leader.map(|l| grid.leader_ids[l].to_owned()),
                verdict: service.verdict,
                score: service.score,
                role: match rank {
                    _ if rank < fished => Role::Fishes,
                    1 if demand.copies == 1 => Role::Backup,
                    _ => Role::Spare,
                },
            })
        })
        .collect();
    let source = &grid.problem.needs[demand.source];
    NeedCover {
        segment: source.segment.clone(),
        lure: source.lure.clone(),
        covered: worth::held(grid, selection, need),
        uses,
    }
}

fn loads(grid: &Grid<'_>, selection: &Selection, seats: &[Seat]) -> Vec<Load> {
    let mut list = Vec::new();
    let mut add = |kind, id: &str, quantity| list.push(Load { kind, id: id.to_owned(), quantity });
    let mut metres: BTreeMap<&str, u32> = BTreeMap::new();
    for cand in selection.outfits.iter().map(|c| &grid.cands[*c]) {
        add(ItemKind::Rod, grid.rods[cand.rod], 1);
        add(ItemKind::Reel, grid.reels[cand.reel], 1);
        if let Some((stock, taken)) = cand.stock {
            *metres.entry(grid.line_ids[stock]).or_insert(0) += taken;
        }
    }
    metres.into_iter().for_each(|(id, metres)| add(ItemKind::Line, id, metres));
    let mut leaders: BTreeMap<usize, u32> = BTreeMap::new();
    for (_, l) in &selection.leaders {
        *leaders.entry(*l).or_insert(0) += 1;
    }
    for (l, count) in leaders {
        let quantity = (count + grid.weights.spares).min(grid.leaders[l].quantity);
        add(ItemKind::Leader, grid.leader_ids[l], quantity);
    }
    let mut lures: BTreeMap<usize, u32> = BTreeMap::new();
    for (need, demand) in grid.needs.iter().enumerate() {
        if !worth::services(grid, selection, need).is_empty() {
            let most = lures.entry(demand.lure).or_insert(0);
            *most = demand.copies.max(*most);
        }
    }
    for seat in seats {
        let lure = grid.needs[seat.need].lure;
        let same = |s: &&Seat| s.segment == seat.segment && grid.needs[s.need].lure == lure;
        let most = lures.entry(lure).or_insert(0);
        *most = (seats.iter().filter(same).count() as u32).max(*most);
    }
    for (l, count) in lures {
        let quantity = (count + grid.weights.spares).min(grid.lures[l].quantity);
        add(ItemKind::Lure, grid.lure_ids[l], quantity);
    }
    list.sort_by(|a, b| (a.kind, &a.id).cmp(&(b.kind, &b.id)));
    list
}

fn moves(grid: &Grid<'_>, loads: &[Load]) -> Vec<Move> {
    let boat = &grid.problem.boat.place;
    let brought = loads.iter().filter_map(|load| {
        let from = place_of(grid, load.kind, &load.id)?;
        (from != boat.as_str()).then(|| Move {
            kind: load.kind,
            id: load.id.clone(),
            quantity: load.quantity,
            from: from.to_owned(),
            to: boat.clone(),
        })
    });
    brought.collect()
}

fn place_of<'a>(grid: &Grid<'a>, kind: ItemKind, id: &str) -> Option<&'a str> {
    let p = grid.problem;
    match kind {
        ItemKind::Rod => p.rods.iter().find(|x| x.id == id).map(|x| x.place.as_str()),
        ItemKind::Reel => p.reels.iter().find(|x| x.id == id).map(|x| x.place.as_str()),
        ItemKind::Line => p.line_stock.iter().find(|x| x.id == id).map(|x| x.place.as_str()),
        ItemKind::Leader => p.leaders.iter().find(|x| x.id == id).map(|x| x.place.as_str()),
        ItemKind::Lure => p.lures.iter().find(|x| x.id == id).map(|x| x.place.as_str()),
    }
}

fn jobs(grid: &Grid<'_>, selection: &Selection) -> Vec<Job> {
    let mut jobs = Vec::new();
    let used: BTreeSet<_> = selection.leaders.iter().collect();
    for (outfit, c) in selection.outfits.iter().enumerate() {
        let cand = &grid.cands[*c];
        if cand.minutes > 0 || cand.stock.is_some() {
            let with = grid.candidates[cand.source].line.clone();
            jobs.push(Job { kind: JobKind::Respool, outfit, with, minutes: cand.minutes });
        }
        jobs.extend(used.iter().filter(|(cand, _)| cand == c).map(|(_, l)| Job {
            kind: JobKind::Leader,
            outfit,
            with: grid.leader_ids[*l].to_owned(),
            minutes: grid.leaders[*l].minutes,
        }));
    }
    jobs
}
