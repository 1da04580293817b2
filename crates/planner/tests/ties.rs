//! Of plans that are worth the same always the same one is taken. Source: common practice, no
//! source: only the proportions of the weights count.

#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

mod common;

use common::{Dice, fleet, place};
use deepbend_planner::fleet::FleetTrip;
use deepbend_planner::plan::{Answer, Status, TripPlan};
use deepbend_planner::{
    Budget, FleetAnswer, FleetProblem, TripProblem, Weights, check, check_fleet, plan_fleet,
    plan_trip,
};

/// A fleet in which many rods and reels are twins of others, and whose reels were on rods before.
fn used_fleet(seed: u64) -> TripProblem {
    let sizes = [(12, 8, 15), (16, 10, 20)];
    let (rods, reels, lures) = sizes[seed as usize % sizes.len()];
    let mut problem = fleet(seed, rods, reels, lures);
    let mut d = Dice(seed ^ 0x0ab1);
    let twin = |id: &str, d: &Dice| {
        let number: u64 = id[1..].parse().unwrap();
        let of = Dice(d.0 ^ number).roll(2 + number / 2);
        format!("{}{:03}", &id[..1], if number.is_multiple_of(3) { number } else { of.min(number) })
    };
    let models = problem.candidates.clone();
    let fresh = Dice(seed ^ 0x7717);
    for c in &mut problem.candidates {
        let (rod, reel) = (twin(&c.rod, &fresh), twin(&c.reel, &fresh));
        if let Some(model) =
            models.iter().find(|m| (&m.rod, &m.reel) == (&rod, &reel) && m.line == c.line)
        {
            c.offers = model.offers.clone();
        }
        c.habit = d.one_in(6);
    }
    problem
}

fn planned(problem: &TripProblem, weights: &Weights) -> TripPlan {
    let answer = plan_trip(problem, weights, &Budget::default()).unwrap();
    let Answer::Plan(plan) = answer else { panic!("{answer:?}") };
    check(problem, weights, &plan).unwrap();
    assert_eq!(plan.status, Status::Optimal);
    *plan
}

/// A fleet and its weights, of which every amount is so many times as large.
fn times(problem: &TripProblem, weights: &Weights, factor: i64) -> (TripProblem, Weights) {
    let mut more = problem.clone();
    more.places.iter_mut().for_each(|place| place.move_cost *= factor);
    more.candidates.iter_mut().flat_map(|c| &mut c.offers).for_each(|offer| offer.worth *= factor);
    let weights = Weights {
        shortfall: weights.shortfall * factor,
        job_minute: weights.job_minute * factor,
        outfit_tie: weights.outfit_tie * factor,
        move_tie: weights.move_tie * factor,
        ..weights.clone()
    };
    (more, weights)
}

/// The same fleet, and weights, at a quarter of their worth, so that there is room to multiply.
fn quartered(problem: &TripProblem) -> (TripProblem, Weights) {
    let mut quarter = problem.clone();
    quarter.places.iter_mut().for_each(|place| place.move_cost /= 4);
    quarter.candidates.iter_mut().flat_map(|c| &mut c.offers).for_each(|offer| offer.worth /= 4);
    let full = Weights::default();
    let weights = Weights {
        shortfall: full.shortfall / 4,
        job_minute: full.job_minute / 4,
        outfit_tie: full.outfit_tie / 4,
        move_tie: full.move_tie / 4,
        ..full
    };
    (quarter, weights)
}

#[test]
fn doubled_weights_change_no_choice() {
    let mut changed = Vec::new();
    for seed in 0..200 {
        let (quarter, weights) = quartered(&used_fleet(seed));
        let once = planned(&quarter, &weights);
        for factor in [2, 4] {
            let (more, weights) = times(&quarter, &weights, factor);
            let plan = planned(&more, &weights);
            assert_eq!(factor * once.value.objective(), plan.value.objective());
            if (&once.outfits, &once.coverage) != (&plan.outfits, &plan.coverage) {
                changed.push((seed, factor));
            }
        }
    }
    assert!(changed.is_empty(), "{changed:?}");
}

#[test]
fn doubled_importances_change_no_choice() {
    for seed in 0..40 {
        let (mut once, weights) = quartered(&used_fleet(seed));
        once.needs.iter_mut().for_each(|need| need.importance = 1);
        // What is worth twice as much since it is twice as important, at twice the costs.
        let (mut twice, double) = times(&once, &weights, 2);
        twice.candidates.clone_from(&once.candidates);
        twice.needs.iter_mut().for_each(|need| need.importance = 2);
        let (once, twice) = (planned(&once, &weights), planned(&twice, &double));
        assert_eq!(2 * once.value.objective(), twice.value.objective());
        assert_eq!((once.outfits, once.coverage), (twice.outfits, twice.coverage), "{seed}");
        assert_eq!(once.counts.nodes, twice.counts.nodes, "{seed}: another way through the tree");
    }
}

#[test]
fn doubled_weights_change_no_choice_of_several_boats() {
    for seed in 0..20 {
        let (mut problem, weights) = quartered(&used_fleet(seed));
        problem.segments.iter_mut().for_each(|segment| segment.anglers.truncate(1));
        let boats = |problem: &TripProblem| {
            let mut other = problem.clone();
            other.boat.place = "B2".into();
            other.places = vec![place("B1", problem.places[1].move_cost), place("B2", 0)];
            other.places.push(problem.places[2].clone());
            let trips = [problem.clone(), other];
            FleetProblem { trips: trips.map(|problem| FleetTrip { departs: None, problem }).into() }
        };
        // Cut by its work, so that a search that takes another way shows.
        let plan = |problem: &TripProblem, weights: &Weights| {
            let budget = Budget { nodes: 4, ..Budget::default() };
            let answer = plan_fleet(&boats(problem), weights, &budget).unwrap();
            let FleetAnswer::Plan(plan) = answer else { panic!("{seed}: no plan") };
            check_fleet(&boats(problem), weights, &plan).unwrap();
            *plan
        };
        let once = plan(&problem, &weights);
        let (more, weights) = times(&problem, &weights, 2);
        let twice = plan(&more, &weights);
        assert_eq!(2 * once.value.objective(), twice.value.objective());
        for (once, twice) in once.trips.iter().zip(&twice.trips) {
            assert_eq!((&once.outfits, &once.coverage), (&twice.outfits, &twice.coverage));
        }
    }
}
