//! What to buy for a lure that nothing in reach covers: a window of specs, never a product.

use deepbend_core::gear::Word as _;
use deepbend_planner::plan::TripPlan;

use super::offers::{Judge, Weighed};
use super::specs::{Spec, lattice};

/// A rod that could be bought, and how it would do.
struct Idea {
    spec: Spec,
    weighed: Weighed,
}

/// The rod that would suit a need best, with a usual reel, line and leader, and which other lures
/// it lifts; or that no rod would.
pub(super) fn advice(judge: &Judge<'_, '_>, need: usize, plan: &TripPlan) -> String {
    let mut best: Option<Idea> = None;
    for spec in lattice(judge.model) {
        let idea = Idea { weighed: weigh(judge, need, &spec), spec };
        let (new, old) = (idea.weighed, best.as_ref().map(|b| b.weighed));
        let better = old.is_none_or(|old| {
            new.worth > old.worth || (new.worth == old.worth && new.score > old.score)
        });
        if better {
            best = Some(idea);
        }
    }
    let wanted = &judge.asked.trip.needs[need];
    let lure = &wanted.lure;
    let Some(best) = best.filter(|b| wanted.met_by(b.weighed.verdict)) else {
        return format!("No rod covers {lure} in this wind and water: leave it for a calmer day.");
    };
    let mut text =
        format!("Get {}: {} for {lure}", best.spec.words(), best.weighed.verdict.as_word());
    let others = lifts(judge, need, plan, &best);
    if !others.is_empty() {
        text.push_str(&format!(", and it lifts {}", others.join(", ")));
    }
    text.push('.');
    text
}

fn weigh(judge: &Judge<'_, '_>, need: usize, spec: &Spec) -> Weighed {
    judge.cases[need].weigh(judge.model, judge.weights, &spec.outfit())
}

/// Other lures of the trip that it would serve better than the plan does.
fn lifts(judge: &Judge<'_, '_>, need: usize, plan: &TripPlan, idea: &Idea) -> Vec<String> {
    let mut lures = Vec::new();
    for (other, wanted) in judge.asked.trip.needs.iter().enumerate().filter(|(n, _)| *n != need) {
        let cover =
            plan.coverage.iter().find(|c| c.segment == wanted.segment && c.lure == wanted.lure);
        let now = cover.and_then(|c| c.uses.iter().map(|used| used.verdict).min());
        let then = weigh(judge, other, &idea.spec).verdict;
        if wanted.met_by(then) && now.is_none_or(|now| then < now) {
            lures.push(wanted.lure.clone());
        }
    }
    lures
}
