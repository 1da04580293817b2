//! What is left of a plan when a part of it fails: who can still fish at once.

use deepbend_core::judge::Verdict;

use crate::crew;
use crate::grid::{Grid, Lift};
use crate::plan::{ItemKind, TripPlan};
use crate::problem::{Candidate, Hand, Offer, TripProblem};
use crate::weights::Weights;
use crate::worth::Selection;

/// Those who fish at once in a segment, and how many of them find an outfit and a lure.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Crew {
    /// The segment.
    pub segment: String,
    /// All who are to fish at once.
    pub anglers: u32,
    /// Those who can.
    pub seated: u32,
}

/// What is left of an offer.
#[derive(Clone, Debug, PartialEq)]
pub struct Left {
    /// The verdict, as [`Offer::verdict`].
    pub verdict: Verdict,
    /// In other hands, as [`Offer::hands`].
    pub hands: Vec<Hand>,
}

impl Left {
    /// All of it.
    #[must_use]
    pub fn whole(offer: &Offer) -> Self {
        Self { verdict: offer.verdict, hands: offer.hands.clone() }
    }
}

/// Seats the anglers of every segment anew with what is left of a plan, by the rule of the plan
/// itself: each an outfit of their own, with a lure of the segment at its verdict in their own hands.
///
/// `serve` is asked for every offer of an outfit, with the position of the outfit in the plan:
/// what is left of it, by verdict and in whose hands; `None` for nothing.
///
/// The problem and the plan go together: [`check`](crate::check()) has found the plan sound.
#[must_use]
pub fn crews(
    problem: &TripProblem,
    weights: &Weights,
    plan: &TripPlan,
    serve: &dyn Fn(usize, &Offer) -> Option<Left>,
) -> Vec<Crew> {
    let position = |c: &Candidate| {
        plan.outfits.iter().position(|o| (&o.rod, &o.reel, &o.line) == (&c.rod, &c.reel, &c.line))
    };
    let taken = problem.candidates.iter().filter_map(|c| Some((position(c)?, c)));
    let candidates = taken.map(|(outfit, candidate)| {
        let offers = candidate.offers.iter().filter_map(|offer| {
            let Left { verdict, hands } = serve(outfit, offer)?;
            Some(Offer { verdict, hands, worth: weights.of(verdict), ..offer.clone() })
        });
        Candidate { offers: offers.collect(), ..candidate.clone() }
    });
    let mut left =
        TripProblem { candidates: candidates.collect(), pins: Vec::new(), ..problem.clone() };
    for lure in &mut left.lures {
        let load = plan.loads.iter().find(|l| l.kind == ItemKind::Lure && l.id == lure.id);
        lure.quantity = load.map_or(0, |load| load.quantity);
    }
    let grid = Grid::new(&left, weights, Lift::default());
    let outfit = |c: usize| position(&left.candidates[grid.cands[c].source]);
    let tied = |c: usize, l: usize| {
        outfit(c)
            .is_some_and(|o| plan.outfits[o].leaders.iter().any(|id| *id == grid.leader_ids[l]))
    };
    let pairs = (0..grid.cands.len())
        .flat_map(|c| (0..grid.leader_ids.len()).map(move |l| (c, l)))
        .filter(|(c, l)| tied(*c, *l));
    let selection = Selection {
        outfits: (0..grid.cands.len()).collect(),
        leaders: pairs.collect(),
        lures: grid.lures.iter().map(|lure| lure.quantity > 0).collect(),
    };
    let seats = crew::seat(&grid, &selection).seats;
    let at_once = problem.segments.iter().enumerate().filter(|(_, s)| !s.anglers.is_empty());
    at_once
        .map(|(at, segment)| Crew {
            segment: segment.id.clone(),
            anglers: segment.anglers.len() as u32,
            seated: seats.iter().filter(|seat| seat.segment == at).count() as u32,
        })
        .collect()
}
