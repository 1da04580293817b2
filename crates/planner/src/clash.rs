//! Which limits make a trip impossible: lift them one by one, keep those that matter.

use std::collections::BTreeSet;

use crate::grid::{Grid, Lift};
use crate::model::{self, Found};
use crate::plan::{Clash, Constraint};
use crate::problem::TripProblem;
use crate::prune;
use crate::weights::Weights;

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
const NODES: u64 = 2_000;

/// Whether a plan exists for the anglers of some segments with some limits lifted.
fn possible(
    problem: &TripProblem,
    weights: &Weights,
    lift: Lift,
    segments: &BTreeSet<usize>,
) -> bool {
    let mut grid = Grid::new(problem, weights, lift);
    for (s, crew) in grid.crews.iter_mut().enumerate() {
        if !segments.contains(&s) {
            crew.clear();
        }
    }
    !matches!(model::solve(&grid, &prune::none(&grid), None, NODES), Found::Infeasible)
}

/// Names a small set of limits that clash: each is lifted in turn, and stays lifted unless that
/// makes a plan possible.
pub(crate) fn explain(problem: &TripProblem, weights: &Weights) -> Clash {
    let mut lift = Lift::default();
    let mut segments: BTreeSet<_> = (0..problem.segments.len()).collect();
    for segment in 0..problem.segments.len() {
        segments.remove(&segment);
        if possible(problem, weights, lift, &segments) {
            segments.insert(segment);
        }
    }
    let mut named = Vec::new();
    for (constraint, switch) in switches() {
        *switch(&mut lift) = true;
        if possible(problem, weights, lift, &segments) {
            *switch(&mut lift) = false;
            named.push(constraint);
        }
    }
    let crews: Vec<_> = segments
        .iter()
        .map(|s| &problem.segments[*s])
        .map(|s| format!("{} anglers in segment {}", s.anglers.len(), s.id))
        .collect();
    let words: Vec<_> = named.iter().map(word).collect();
    let against = if words.is_empty() {
        "the pool has too few outfits for these lures".to_owned()
    } else {
        format!("that clashes with {}", words.join(" and "))
    };
    let text = format!(
        "Everybody is to fish at once ({}), but {against}. Let them take turns, or take other \
         gear along.",
        crews.join(", ")
    );
    let mut constraints: Vec<_> = segments
        .iter()
        .map(|s| Constraint::AnglersAtOnce { segment: problem.segments[*s].id.clone() })
        .collect();
    constraints.extend(named);
    Clash { constraints, text }
}

fn word(constraint: &Constraint) -> &'static str {
    match constraint {
        Constraint::AnglersAtOnce { .. } => "anglers at once",
        Constraint::RodLimit => "the number of rods that may be taken",
        Constraint::Locker => "the length of the rod locker",
        Constraint::OneReelPerRod => "one reel on one rod",
        Constraint::ReadyItems => "only ready items may be taken",
        Constraint::MinVerdict => "the verdict that the lures ask for",
        Constraint::NoUnsafe => "no unsafe outfit is used",
        Constraint::AnglerSuits => "outfits that the anglers can use",
        Constraint::LureStock => "the number of lures",
        Constraint::LeaderStock => "the number of leaders",
        Constraint::LineStock => "the metres of line in stock",
    }
}
