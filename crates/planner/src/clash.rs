//! Which limits make a trip impossible: lift them one by one, keep those that matter.

use crate::crew;
use crate::grid::{Grid, Lift};
use crate::model::{self, Found};
use crate::plan::{Clash, Constraint};
use crate::problem::TripProblem;
use crate::prune;
use crate::weights::Weights;
use crate::worth;

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

/// Whether a plan exists for one segment's anglers with some limits lifted.
fn possible(problem: &TripProblem, weights: &Weights, lift: Lift, segment: usize) -> bool {
    let mut grid = Grid::new(problem, weights, lift);
    for (s, crew) in grid.crews.iter_mut().enumerate() {
        if s != segment {
            crew.clear();
        }
    }
    let everything: Vec<_> = (0..grid.cands.len()).collect();
    let mut all = worth::furnish(&grid, &everything);
    all.lures.fill(true);
    if crew::seat(&grid, &all).cuts.is_empty() && everything.len() <= grid.limit && !grid.one_reel {
        return true;
    }
    let pruning = prune::none(&grid);
    !matches!(model::solve(&grid, &pruning, None, NODES), Found::Infeasible)
}

/// Nodes for each question; the questions are small.
const NODES: u64 = 2_000;

/// Names a small set of limits that clash.
pub(crate) fn explain(problem: &TripProblem, weights: &Weights) -> Clash {
    let single = (0..problem.segments.len())
        .find(|segment| !possible(problem, weights, Lift::default(), *segment));
    let Some(segment) = single else {
        // Each segment alone is possible: together they ask for more rods than there is room.
        let mut constraints: Vec<_> = problem
            .segments
            .iter()
            .map(|s| Constraint::AnglersAtOnce { segment: s.id.clone() })
            .collect();
        constraints.extend([Constraint::RodLimit, Constraint::OneReelPerRod]);
        let text = "Each segment alone has an outfit for everybody, but all segments together \
                    need more outfits than can be taken. Take more rods, or let fewer anglers \
                    fish at once."
            .into();
        return Clash { constraints, text };
    };
    let mut lift = Lift::default();
    let mut named = Vec::new();
    for (constraint, switch) in switches() {
        *switch(&mut lift) = true;
        if possible(problem, weights, lift, segment) {
            *switch(&mut lift) = false;
            named.push(constraint);
        }
    }
    let anglers = problem.segments[segment].anglers.len();
    let id = problem.segments[segment].id.clone();
    let words: Vec<_> = named.iter().map(word).collect();
    let text = if words.is_empty() {
        format!(
            "In segment {id} {anglers} anglers fish at once, but the pool has too few outfits \
             for its lures. Add outfits, or let fewer anglers fish at once."
        )
    } else {
        format!(
            "In segment {id} {anglers} anglers fish at once; that clashes with: {}. Rotate, or \
             change one of these.",
            words.join("; ")
        )
    };
    let mut constraints = vec![Constraint::AnglersAtOnce { segment: id }];
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
