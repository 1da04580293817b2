//! Which limits make a trip impossible: lift them one by one, keep those that matter.

use std::collections::BTreeSet;
use std::ops::ControlFlow;

use crate::grid::{Grid, Lift};
use crate::model::{self, Effort, Found};
use crate::plan::{Clash, Constraint};
use crate::problem::{Pin, TripProblem};
use crate::prune;
use crate::watch::{Progress, Watch};
use crate::weights::{Micros, Weights};

type Switch = fn(&mut Lift) -> &mut bool;

/// All limits that can be lifted, the most easily changed last, so that these remain named.
fn switches() -> Vec<(Constraint, Switch)> {
    vec![
        (Constraint::LineStock, |l| &mut l.line_stock),
        (Constraint::LeaderStock, |l| &mut l.leader_stock),
        (Constraint::Locker, |l| &mut l.locker),
        (Constraint::ReadyItems, |l| &mut l.ready),
        (Constraint::NoUnsafe, |l| &mut l.no_unsafe),
        (Constraint::LureStock, |l| &mut l.lure_stock),
        (Constraint::AnglerSuits, |l| &mut l.angler_suits),
        (Constraint::OneReelPerRod, |l| &mut l.one_reel),
        (Constraint::MinVerdict, |l| &mut l.min_verdict),
        (Constraint::RodLimit, |l| &mut l.rod_limit),
    ]
}

/// Nodes for each question; the questions are small.
const EFFORT: Effort = Effort { nodes: 2_000, cap: None, rest: Micros::MIN };

/// What is asked: whether a plan exists with some limits lifted.
#[derive(Clone)]
struct Question<'a> {
    trips: Vec<TripProblem>,
    weights: &'a Weights,
    lift: Lift,
    /// Trip and segment.
    segments: BTreeSet<(usize, usize)>,
    watch: &'a Watch<'a>,
}

impl Question<'_> {
    /// When the search is to end the answer is yes: then what is asked about stays named.
    fn possible(&self) -> bool {
        if self.watch.is_over() {
            return true;
        }
        let trips: Vec<_> = self.trips.iter().collect();
        let mut grid = Grid::of(&trips, self.weights, self.lift);
        let all = self.trips.iter().enumerate();
        let all = all.flat_map(|(t, trip)| (0..trip.segments.len()).map(move |s| (t, s)));
        for (crew, segment) in grid.crews.iter_mut().zip(all) {
            if !self.segments.contains(&segment) {
                crew.clear();
            }
        }
        let mut effort = EFFORT;
        let pruning = prune::none(&grid);
        let found = model::solve(&grid, &pruning, None, &mut effort, self.watch);
        !matches!(found, Found::Infeasible)
    }
}

/// Names a small set of limits that clash: each is lifted in turn, and stays lifted unless that
/// makes a plan possible.
pub(crate) fn explain(trips: &[&TripProblem], weights: &Weights, watch: &Watch<'_>) -> Clash {
    // Bounds of questions are not bounds of the plan: `watch` is only asked.
    let ask = |_: &Progress| match watch.is_over() {
        true => ControlFlow::Break(()),
        false => ControlFlow::Continue(()),
    };
    let watch = &Watch::new(&ask);
    let all = trips.iter().enumerate();
    let all: BTreeSet<_> =
        all.flat_map(|(t, trip)| (0..trip.segments.len()).map(move |s| (t, s))).collect();
    let mut question = Question {
        trips: trips.iter().map(|trip| (*trip).clone()).collect(),
        weights,
        lift: Lift::default(),
        segments: all.clone(),
        watch,
    };
    for segment in all {
        question.segments.remove(&segment);
        if question.possible() {
            question.segments.insert(segment);
        }
    }
    let mut named = Vec::new();
    for (constraint, switch) in switches() {
        *switch(&mut question.lift) = true;
        if question.possible() {
            *switch(&mut question.lift) = false;
            named.push(constraint);
        }
    }
    for (t, trip) in trips.iter().enumerate() {
        // From the back, so that the positions of those before stay.
        for p in (0..trip.pins.len()).rev() {
            let pin = question.trips[t].pins.remove(p);
            if question.possible() {
                let boat = trip.boat.place.clone();
                named.push(Constraint::Pinned { boat, pin: pin.clone() });
                question.trips[t].pins.insert(p, pin);
            }
        }
    }
    let segments: Vec<_> = question.segments.iter().map(|(t, s)| &trips[*t].segments[*s]).collect();
    let crews = segments
        .iter()
        .map(|s| format!("{} anglers fish at once in segment {}", s.anglers.len(), s.id));
    let limits: Vec<String> = crews.chain(named.iter().map(word)).collect();
    let text = format!(
        "These cannot all be kept: {}. Let people take turns, take other gear along, or give one \
         of these up.",
        limits.join("; ")
    );
    let mut constraints: Vec<_> =
        segments.iter().map(|s| Constraint::AnglersAtOnce { segment: s.id.clone() }).collect();
    constraints.extend(named);
    Clash { constraints, text }
}

fn word(constraint: &Constraint) -> String {
    match constraint {
        Constraint::AnglersAtOnce { segment } => format!("anglers at once in segment {segment}"),
        Constraint::RodLimit => "the number of rods that may be taken".into(),
        Constraint::Locker => "the length of the rod locker".into(),
        Constraint::OneReelPerRod => "one reel on one rod".into(),
        Constraint::ReadyItems => "only ready items may be taken".into(),
        Constraint::MinVerdict => "the verdict that the lures ask for".into(),
        Constraint::NoUnsafe => "no unsafe outfit is used".into(),
        Constraint::AnglerSuits => "outfits that the anglers can use".into(),
        Constraint::LureStock => "the number of lures".into(),
        Constraint::LeaderStock => "the number of leaders".into(),
        Constraint::LineStock => "the metres of line in stock".into(),
        Constraint::Pinned { boat, pin } => match pin {
            Pin::Take { id, .. } => format!("{boat} takes {id}"),
            Pin::Leave { id, .. } => format!("{boat} leaves {id}"),
            Pin::Pair { rod, reel } => format!("{rod} carries {reel} on {boat}"),
            Pin::Hold { segment, lure } => format!("{boat} covers {lure} in segment {segment}"),
        },
    }
}
