//! What to buy for a lure that nothing in reach covers: a window of specs, never a product.

use deepbend_core::gear::{
    Action, Handle, Leader, Line, LineMaterial, Outfit, Power, Reel, Rod, RodMaterial, Word as _,
};
use deepbend_core::quantity::{Force, Mass, Range};
use deepbend_planner::plan::TripPlan;

use super::offers::{Judge, Weighed};
use super::pool::short;

/// A rod that could be bought, and how it would do.
struct Idea {
    rod: Rod,
    line: LineMaterial,
    class: f64,
    weighed: Weighed,
}

/// The rod that would suit a need best, with a usual reel, line and leader, and which other lures
/// it lifts; or that no rod would.
pub(super) fn advice(judge: &Judge<'_, '_>, need: usize, plan: &TripPlan) -> String {
    let mut best: Option<Idea> = None;
    for idea in ideas(judge, need) {
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
    let mut text = format!("Get {}: {} for {lure}", words(&best), best.weighed.verdict.as_word());
    let others = lifts(judge, need, plan, &best);
    if !others.is_empty() {
        text.push_str(&format!(", and it lifts {}", others.join(", ")));
    }
    text.push('.');
    text
}

fn ideas<'a>(judge: &'a Judge<'_, '_>, need: usize) -> impl Iterator<Item = Idea> + 'a {
    let p = &judge.model.parameters().rod;
    let handles = Handle::ALL.iter().copied();
    let builds = handles.flat_map(|handle| {
        Action::ALL.iter().flat_map(move |action| {
            [RodMaterial::Graphite, RodMaterial::Composite]
                .map(|material| (handle, *action, material))
        })
    });
    builds.flat_map(move |(handle, action, material)| {
        Power::ALL.iter().flat_map(move |power| {
            let class = power.class();
            let max = p.window_max_g.at(class);
            let rod = Rod {
                handle: Some(handle),
                action: Some(action),
                material: Some(material),
                lure_rating: Range {
                    min: Some(Mass::from_g(max / p.window_of_single_number)),
                    max: Some(Mass::from_g(max)),
                },
                line_rating: Range {
                    min: None,
                    max: Some(Force::from_kgf(p.line_max_kgf.at(class))),
                },
                ..Rod::default()
            };
            [LineMaterial::Braid, LineMaterial::Nylon].map(move |line| {
                let weighed = weigh(judge, need, &rod, line);
                Idea { rod: rod.clone(), line, class, weighed }
            })
        })
    })
}

fn weigh(judge: &Judge<'_, '_>, need: usize, rod: &Rod, line: LineMaterial) -> Weighed {
    let outfit = Outfit {
        rod: rod.clone(),
        reel: Reel { kind: rod.handle, ..Reel::default() },
        line: Line { material: Some(line), ..Line::default() },
        leader: Leader::default(),
        drag: None,
    };
    judge.cases[need].weigh(judge.model, judge.weights, &outfit)
}

/// Other lures of the trip that it would serve better than the plan does.
fn lifts(judge: &Judge<'_, '_>, need: usize, plan: &TripPlan, idea: &Idea) -> Vec<String> {
    let mut lures = Vec::new();
    for (other, wanted) in judge.asked.trip.needs.iter().enumerate().filter(|(n, _)| *n != need) {
        let cover =
            plan.coverage.iter().find(|c| c.segment == wanted.segment && c.lure == wanted.lure);
        let now = cover.and_then(|c| c.uses.iter().map(|used| used.verdict).min());
        let then = weigh(judge, other, &idea.rod, idea.line).verdict;
        if wanted.met_by(then) && now.is_none_or(|now| then < now) {
            lures.push(wanted.lure.clone());
        }
    }
    lures
}

fn words(idea: &Idea) -> String {
    let action = idea.rod.action.map_or("", |a| a.as_word()).replace('_', "-");
    let material = idea.rod.material.map_or("", |m| m.as_word());
    let handle = idea.rod.handle.map_or("", |h| h.as_word());
    let grams = |mass: Option<Mass>| mass.map_or_else(String::new, |m| format!("{:.0}", m.g()));
    let line = idea.rod.line_rating.max.map_or(0.0, Force::kgf);
    format!(
        "a {} {action} {material} {handle} rod of about {} to {} g and {} kg ({:.0} lb) nylon, \
         fished with {}",
        Power::nearest(idea.class).plain(),
        grams(idea.rod.lure_rating.min),
        grams(idea.rod.lure_rating.max),
        short(line),
        idea.rod.line_rating.max.map_or(0.0, Force::lbf),
        idea.line.as_word(),
    )
}
