//! Outfits before they are judged: the most that a rod can do, and what no plan that takes it is
//! worth more than. What a good plan can do without need not be judged at all.

use deepbend_core::judge::Verdict;

use crate::bound;
use crate::fleet::FleetProblem;
use crate::grid::{Grid, Lift};
use crate::problem::{Candidate, LineOption, Offer, Reel, TripProblem};
use crate::prune;
use crate::watch::{Ask, Watch};
use crate::weights::{Micros, Weights};

/// The most that a rod can do for one boat with whichever of some reels, lines and leaders.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sketch {
    /// Position of the trip.
    pub trip: usize,
    /// Id of the rod.
    pub rod: String,
    /// The place of the reels from which bringing one costs least.
    pub reel_place: String,
    /// By need of the trip, what none of the outfits is worth more than, and the verdict that none
    /// is better than.
    pub offers: Vec<(Micros, Verdict)>,
}

/// What no plan that takes an outfit of a sketch is worth more than, by sketch. The sketches stand
/// for all outfits that can be put together; what `problem` has of candidates and pins does not
/// count. `reached` is what a known plan is worth.
#[must_use]
pub fn at_most(
    problem: &FleetProblem,
    sketches: &[Sketch],
    weights: &Weights,
    reached: Option<Micros>,
    ask: Ask<'_>,
) -> Vec<Micros> {
    let trips: Vec<TripProblem> =
        (0..problem.trips.len()).map(|trip| sketched(problem, sketches, trip)).collect();
    let grid = Grid::of(&trips.iter().collect::<Vec<_>>(), weights, Lift::default());
    let kept = prune::none(&grid).kept;
    let bounded = bound::relax(&grid, &kept, reached, None, &mut |_| None, &Watch::new(ask));
    // What cannot be taken at all is in no plan.
    let mut most = vec![Micros::MIN; sketches.len()];
    let mut of_trip: Vec<Vec<usize>> = vec![Vec::new(); trips.len()];
    for (at, sketch) in sketches.iter().enumerate() {
        of_trip[sketch.trip].push(at);
    }
    for (cand, with) in grid.cands.iter().zip(&bounded.with) {
        most[of_trip[cand.boat][cand.source]] = *with;
    }
    most
}

/// The problem of a trip with its sketches as candidates, each on a reel of its own, without what
/// a plan has to keep besides.
fn sketched(problem: &FleetProblem, sketches: &[Sketch], trip: usize) -> TripProblem {
    let whole = &problem.trips[trip].problem;
    let of_trip = || sketches.iter().filter(|sketch| sketch.trip == trip).enumerate();
    let name = |at: usize| format!("{trip} {at}");
    let reel = |(at, sketch): (usize, &Sketch)| {
        let rod = whole.rods.iter().find(|rod| rod.id == sketch.rod)?;
        let line = LineOption { id: String::new(), stock: None, minutes: 0 };
        Some(Reel {
            id: name(at),
            place: sketch.reel_place.clone(),
            kind: rod.handle,
            ready: true,
            lines: vec![line],
        })
    };
    let candidate = |(at, sketch): (usize, &Sketch)| Candidate {
        rod: sketch.rod.clone(),
        reel: name(at),
        line: String::new(),
        not_for: Vec::new(),
        habit: false,
        offers: sketch.offers.iter().enumerate().map(|(need, most)| offer(need, *most)).collect(),
    };
    TripProblem {
        boat: whole.boat.clone(),
        places: whole.places.clone(),
        rods: whole.rods.clone(),
        reels: of_trip().filter_map(reel).collect(),
        leaders: Vec::new(),
        line_stock: Vec::new(),
        lures: whole.lures.clone(),
        anglers: whole.anglers.clone(),
        segments: whole.segments.clone(),
        needs: whole.needs.clone(),
        candidates: of_trip().map(candidate).collect(),
        job_minutes_budget: whole.job_minutes_budget,
        pins: Vec::new(),
    }
}

fn offer(need: usize, (worth, verdict): (Micros, Verdict)) -> Offer {
    Offer {
        need,
        leader: None,
        verdict,
        worth,
        score: 0.0,
        preferred: true,
        limiting: "".into(),
        skill: None,
        hands: Vec::new(),
    }
}
