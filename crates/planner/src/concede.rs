//! Where not all limits can be kept: which pins and which people who are to fish at once the best
//! plan leaves out, as few of them as can be.

use std::cmp::Reverse;
use std::collections::BTreeSet;

use crate::clash::Asked;
use crate::crew;
use crate::exchange::Exchanges;
use crate::fleet::{FleetProblem, FleetTrip, Idle};
use crate::grid::{Demand, Grid};
use crate::incumbent;
use crate::model::{self, Effort};
use crate::plan::ItemKind;
use crate::problem::{Pin, TripProblem};
use crate::prune;
use crate::seating;
use crate::watch::Watch;
use crate::weights::Micros;
use crate::worth::{self, Selection};

/// Nodes of the tree that looks for them; more limits than needed may be left out where it ends
/// first.
const NODES: u64 = 2_000;

/// Outfits that are looked at where there is no time for that.
const LOOKS: u32 = 500;

/// What is left out.
#[derive(Clone, Debug, Default)]
pub(crate) struct Fewest {
    /// Trip, segment, id.
    idle: BTreeSet<(usize, usize, String)>,
    /// Trip, position of the pin.
    pins: BTreeSet<(usize, usize)>,
    /// A choice that leaves out these.
    pub(crate) selection: Option<Selection>,
    /// Whether no plan leaves out fewer.
    pub(crate) is_least: bool,
}

/// Looks for them: how few they can be first, then which of those to leave out; `None`: the search
/// ended before it knew any.
pub(crate) fn fewest(grid: &Grid<'_>, trips: &[&TripProblem], watch: &Watch<'_>) -> Option<Fewest> {
    if watch.is_over() {
        return None;
    }
    let known = seating::fewest(grid, watch);
    let mut effort = Effort { nodes: NODES, rest: Micros::MIN };
    let (pruning, start) = (prune::prune(grid), known.as_ref().map(|(start, _)| start));
    let found = model::fewest_left_out(grid, &pruning, start, &mut effort, watch);
    let is_all = found.as_ref().is_some_and(|(_, cut)| !cut);
    let is_least = is_all || known.as_ref().is_some_and(|(_, is_least)| *is_least);
    let both = [found, known].into_iter().flatten().map(|(selection, _)| selection);
    let rank =
        |s: &Selection| (Reverse(incumbent::broken(grid, s)), worth::value(grid, s).objective());
    // Of two that are as good the last one is taken.
    let best = both.rev().max_by_key(rank)?;
    Some(left_out_by(grid, trips, &best, is_least))
}

/// What a plan leaves out that is put together one outfit at a time, which asks for little time.
pub(crate) fn roughly(grid: &Grid<'_>, trips: &[&TripProblem], watch: &Watch<'_>) -> Fewest {
    let promises = |c: &usize| -> Micros { grid.cands[*c].offers.iter().map(|o| o.worth).sum() };
    let mut order: Vec<usize> = (0..grid.cands.len()).collect();
    order.sort_by_key(|c| (Reverse(promises(c)), *c));
    let outfits = incumbent::seat_more(grid, &order, LOOKS).0;
    let start = incumbent::rank(grid, outfits);
    let top = start.map(|start| Exchanges::among(grid, &order).climb(start, watch));
    let (selection, _) = incumbent::fitted(grid, &top.map_or_else(Vec::new, |top| top.outfits));
    left_out_by(grid, trips, &selection, false)
}

fn left_out_by(
    grid: &Grid<'_>,
    trips: &[&TripProblem],
    selection: &Selection,
    is_least: bool,
) -> Fewest {
    let selected = Some(selection.clone());
    let mut fewest = Fewest { is_least, selection: selected, ..Fewest::default() };
    let seats = crew::seat(grid, selection).seats;
    let mut segment = 0;
    for (t, trip) in trips.iter().enumerate() {
        let before: usize = trips[..t].iter().map(|trip| trip.anglers.len()).sum();
        for (s, part) in trip.segments.iter().enumerate() {
            let seated = |id: &String| {
                let angler = trip.anglers.iter().position(|a| a.id == *id).map(|a| before + a);
                seats.iter().any(|seat| seat.segment == segment && Some(seat.angler) == angler)
            };
            let idle = part.anglers.iter().filter(|id| !seated(id));
            fewest.idle.extend(idle.map(|id| (t, s, id.clone())));
            segment += 1;
        }
        let kept = |pin: &Pin| is_kept(grid, selection, t, trip, pin);
        let broken = trip.pins.iter().enumerate().filter(|(_, pin)| !kept(pin));
        fewest.pins.extend(broken.map(|(p, _)| (t, p)));
    }
    fewest
}

/// Whether a pin of a trip is kept.
fn is_kept(
    grid: &Grid<'_>,
    selection: &Selection,
    boat: usize,
    trip: &TripProblem,
    pin: &Pin,
) -> bool {
    match pin {
        Pin::Take { kind, id } => selection.outfits.iter().map(|c| &grid.cands[*c]).any(|cand| {
            let (rod, reel) = (grid.rods[cand.rod], grid.reels[cand.reel]);
            cand.boat == boat && *id == if *kind == ItemKind::Rod { rod } else { reel }
        }),
        Pin::Hold { segment, lure } => {
            let named = |demand: &Demand| {
                let of_boat = grid.lures[demand.lure].boat == boat;
                let need = of_boat.then(|| &trip.needs[demand.source]);
                need.is_some_and(|need| (&need.segment, &need.lure) == (segment, lure))
            };
            let at = grid.needs.iter().position(named);
            at.is_some_and(|at| worth::held(grid, selection, at))
        }
        // These strike candidates: every plan keeps them.
        Pin::Leave { .. } | Pin::Pair { .. } => true,
    }
}

impl Fewest {
    /// The limits that are left out.
    pub(crate) fn asked(&self) -> Vec<Asked> {
        let crews: BTreeSet<_> = self.idle.iter().map(|(t, s, _)| Asked::Crew(*t, *s)).collect();
        let pins = self.pins.iter().map(|(t, p)| Asked::Pin(*t, *p));
        crews.into_iter().chain(pins).collect()
    }

    /// The problem without them.
    pub(crate) fn without(&self, fleet: &[&FleetTrip]) -> FleetProblem {
        let trips = fleet.iter().copied().cloned();
        let mut fewer = FleetProblem { trips: trips.collect() };
        for (t, trip) in fewer.trips.iter_mut().enumerate() {
            for (s, part) in trip.problem.segments.iter_mut().enumerate() {
                let sits_out = |id: &mut String| self.idle.contains(&(t, s, id.clone()));
                part.turns.extend(part.anglers.extract_if(.., sits_out));
            }
            let mut position = 0;
            trip.problem.pins.retain(|_| {
                position += 1;
                !self.pins.contains(&(t, position - 1))
            });
        }
        fewer
    }

    /// Who does not fish at once.
    pub(crate) fn idle(&self, fleet: &[&FleetTrip]) -> Vec<Idle> {
        let crews: BTreeSet<_> = self.idle.iter().map(|(t, s, _)| (*t, *s)).collect();
        let of = |(trip, s): (usize, usize)| {
            let segment = &fleet[trip].problem.segments[s];
            let anglers = self.idle.iter().filter(|(t, at, _)| (*t, *at) == (trip, s));
            Idle {
                trip,
                segment: segment.id.clone(),
                anglers: anglers.map(|(.., id)| id.clone()).collect(),
                of: segment.anglers.len() as u32,
            }
        };
        crews.into_iter().map(of).collect()
    }

    /// Pins that are not kept.
    pub(crate) fn pins(&self, fleet: &[&FleetTrip]) -> Vec<(usize, Pin)> {
        let pin = |(t, p): &(usize, usize)| (*t, fleet[*t].problem.pins[*p].clone());
        self.pins.iter().map(pin).collect()
    }
}
