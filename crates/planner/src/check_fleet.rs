//! Looks a fleet's plan over without the solver.

use std::collections::BTreeMap;

use crate::check::{Rule, Violation, check_valid};
use crate::departure::BeforeDeparture;
use crate::fleet::{FleetMove, FleetPlan, FleetProblem, deadline};
use crate::plan::{ItemKind, Status, Value};
use crate::weights::Weights;

/// Checks the plan of each trip, that no item and no stock is given out twice, and counts the
/// value anew.
///
/// # Errors
///
/// Everything that is wrong with the plan.
pub fn check_fleet(
    problem: &FleetProblem,
    weights: &Weights,
    plan: &FleetPlan,
) -> Result<Value, Vec<Violation>> {
    let wrong = |rule: Rule, text: String| Violation { rule, text };
    if let Err(faults) = problem.validate() {
        return Err(vec![wrong(Rule::Unknown, faults.to_string())]);
    }
    if plan.trips.len() != problem.trips.len() {
        return Err(vec![wrong(Rule::Unknown, "not one plan for each trip".into())]);
    }
    let mut violations = Vec::new();
    let mut value = Value::default();
    for (trip, part) in problem.trips.iter().zip(&plan.trips) {
        let boat = &trip.problem.boat.place;
        match check_valid(&trip.problem, weights, part) {
            Ok(part) => {
                value.coverage += part.coverage;
                value.shortfall += part.shortfall;
                value.moves += part.moves;
                value.overtime += part.overtime;
                value.ties += part.ties;
            }
            Err(list) => violations.extend(
                list.into_iter().map(|v| Violation { text: format!("{boat}: {}", v.text), ..v }),
            ),
        }
    }
    for ((kind, id), used) in used(plan) {
        let there = there(problem, kind, id);
        if used > there {
            let rule = match kind {
                ItemKind::Rod | ItemKind::Reel => Rule::Twice,
                ItemKind::Line | ItemKind::Leader | ItemKind::Lure => Rule::Stock,
            };
            violations.push(wrong(rule, format!("{used} of {id} given out, {there} there")));
        }
    }
    let listed: Vec<_> = plan.moves.iter().map(|m| (m.trip, &m.what)).collect();
    let moved: Vec<_> = plan
        .trips
        .iter()
        .enumerate()
        .flat_map(|(trip, part)| part.moves.iter().map(move |m| (trip, m)))
        .collect();
    if listed != moved {
        violations.push(wrong(Rule::Moves, "the moves are not those of the trips".into()));
    } else {
        let trips = problem.trips.iter().zip(&plan.trips);
        let homes: Vec<_> =
            trips.map(|(trip, part)| BeforeDeparture::new(&trip.problem, part)).collect();
        let right = |m: &FleetMove| deadline(problem.trips.iter(), m.trip, &homes[m.trip], &m.what);
        if plan.moves.iter().any(|m| m.deadline != right(m)) {
            violations.push(wrong(Rule::Moves, "a move has the wrong deadline".into()));
        }
    }
    if violations.is_empty() && value != plan.value {
        let text = format!("the plan says {:?}, counted {value:?}", plan.value);
        violations.push(wrong(Rule::Value, text));
    }
    let reached = value.objective();
    if plan.bound < reached || (plan.status == Status::Optimal && plan.bound != reached) {
        violations.push(wrong(Rule::Value, "the bound does not go with the objective".into()));
    }
    if violations.is_empty() { Ok(value) } else { Err(violations) }
}

/// What all boats have aboard together.
fn used(plan: &FleetPlan) -> BTreeMap<(ItemKind, &str), u32> {
    let mut total: BTreeMap<(ItemKind, &str), u32> = BTreeMap::new();
    for load in plan.trips.iter().flat_map(|part| &part.loads) {
        let all = total.entry((load.kind, &load.id)).or_insert(0);
        *all = all.saturating_add(load.quantity);
    }
    total
}

fn there(problem: &FleetProblem, kind: ItemKind, id: &str) -> u32 {
    let first = problem.trips.iter().map(|t| &t.problem).find_map(|p| match kind {
        ItemKind::Rod => p.rods.iter().any(|x| x.id == id).then_some(1),
        ItemKind::Reel => p.reels.iter().any(|x| x.id == id).then_some(1),
        ItemKind::Line => p.line_stock.iter().find(|x| x.id == id).map(|x| x.metres),
        ItemKind::Leader => p.leaders.iter().find(|x| x.id == id).map(|x| x.quantity),
        ItemKind::Lure => p.lures.iter().find(|x| x.id == id).map(|x| x.quantity),
    });
    first.unwrap_or(0)
}
