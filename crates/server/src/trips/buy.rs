//! What to buy for a lure that nothing in reach covers: a window of specs, never a product.

use deepbend_core::gear::{Outfit, Word as _};
use deepbend_core::judge::score;
use deepbend_planner::plan::TripPlan;

use super::case::{Case, Weighed};
use super::offers::Judge;
use super::specs::{Spec, lattice};

/// A rod that could be bought, and how it would do.
struct Idea {
    spec: Spec,
    weighed: Weighed,
}

/// The rod that would suit a need best, with a usual reel, line and leader, and which other lures
/// it lifts; `None`: no rod would.
pub(super) fn advice(judge: &Judge<'_, '_>, need: usize, plan: &TripPlan) -> Option<String> {
    let wanted = &judge.asked.trip.needs[need];
    let lure = &wanted.lure;
    let best = best(judge, &judge.cases[need]);
    let best = best.filter(|b| wanted.met_by(b.weighed.verdict))?;
    let mut text =
        format!("Get {}: {} for {lure}", best.spec.words(), best.weighed.verdict.as_word());
    let others = lifts(judge, need, plan, &best);
    if !others.is_empty() {
        text.push_str(&format!(", and it lifts {}", others.join(", ")));
    }
    text.push('.');
    Some(text)
}

/// The rod that would cover a need in another wind, in words: "a heavy ... rod would be good".
pub(super) fn in_wind(judge: &Judge<'_, '_>, need: usize, case: &Case<'_>) -> Option<String> {
    let best = best(judge, case)?;
    let verdict = best.weighed.verdict;
    let is_met = judge.asked.trip.needs[need].met_by(verdict);
    is_met.then(|| format!("{} would be {}", best.spec.words(), verdict.as_word()))
}

/// The rod that comes closest to a need, put together, however bad.
pub(super) fn closest(judge: &Judge<'_, '_>, need: usize) -> Option<Outfit> {
    let case = &judge.cases[need];
    let ranked = lattice(judge.model).into_iter().map(|spec| {
        let outfit = spec.outfit();
        // Unsafe ones all score 0: what they would be without the limit tells them apart.
        let water = case.deciding(judge.model, judge.weights, &outfit);
        let score = score(judge.model, &outfit, case.lure, water);
        (score.verdict, score.score_without_limits, outfit)
    });
    let best = ranked.min_by(|(v, x, _), (w, y, _)| v.cmp(w).then(y.total_cmp(x)))?;
    Some(best.2)
}

fn best(judge: &Judge<'_, '_>, case: &Case<'_>) -> Option<Idea> {
    let mut best: Option<Idea> = None;
    for spec in lattice(judge.model) {
        let weighed = case.weigh(judge.model, judge.weights, &spec.outfit());
        let idea = Idea { weighed, spec };
        let (new, old) = (idea.weighed, best.as_ref().map(|b| b.weighed));
        let better = old.is_none_or(|old| {
            new.worth > old.worth || (new.worth == old.worth && new.score > old.score)
        });
        if better {
            best = Some(idea);
        }
    }
    best
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
