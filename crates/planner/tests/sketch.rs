//! What no plan is worth more than that takes a rod of which only the most is known. Source: the
//! best plan, which is one of those that the bound speaks of.

#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

mod common;

use std::ops::ControlFlow;

use common::{candidate, empty, fleet, lure, need, offer, reel, rod};
use deepbend_core::judge::Verdict;
use deepbend_planner::fleet::FleetTrip;
use deepbend_planner::plan::Status;
use deepbend_planner::problem::Candidate;
use deepbend_planner::sketch::{Sketch, at_most};
use deepbend_planner::{Budget, FleetAnswer, FleetPlan, FleetProblem, Weights, plan_fleet};

fn best(problem: &FleetProblem) -> FleetPlan {
    let answer = plan_fleet(problem, &Weights::default(), &Budget::default()).unwrap();
    let FleetAnswer::Plan(plan) = answer else { panic!("{answer:?}") };
    assert_eq!(plan.status, Status::Optimal);
    *plan
}

/// The most that the candidates of each rod can do, on a reel from wherever it costs least.
fn sketches(problem: &FleetProblem) -> Vec<Sketch> {
    let trips = problem.trips.iter().enumerate();
    let of_trip = |(trip, whole): (usize, &FleetTrip)| {
        let p = &whole.problem;
        let most = |rod: &str, need: usize| {
            let own = p.candidates.iter().filter(|c: &&Candidate| c.rod == rod);
            let offers = own.flat_map(|c| &c.offers).filter(|o| o.need == need);
            offers.fold((0, Verdict::Unsafe), |(worth, verdict), o| {
                (o.worth.max(worth), o.verdict.min(verdict))
            })
        };
        let sketch = |rod: &deepbend_planner::problem::Rod| Sketch {
            trip,
            rod: rod.id.clone(),
            reel_place: p.boat.place.clone(),
            offers: (0..p.needs.len()).map(|need| most(&rod.id, need)).collect(),
        };
        p.rods.iter().map(sketch).collect::<Vec<_>>()
    };
    trips.flat_map(of_trip).collect()
}

#[test]
fn no_plan_is_worth_more_than_the_sketch_of_a_rod_that_it_takes() {
    for seed in 1..=12 {
        let trip = FleetTrip { departs: None, problem: fleet(seed, 24, 24, 12) };
        let problem = FleetProblem { trips: vec![trip] };
        let plan = best(&problem);
        let value = plan.value.objective();
        let sketches = sketches(&problem);
        let on = |_: &deepbend_planner::Progress| ControlFlow::Continue(None);
        for reached in [None, Some(value)] {
            let most = at_most(&problem, &sketches, &Weights::default(), reached, &on);
            for (sketch, most) in sketches.iter().zip(&most) {
                let taken = plan.trips[0].outfits.iter().any(|o| o.rod == sketch.rod);
                assert!(!taken || *most >= value, "{seed} {}: {most} < {value}", sketch.rod);
            }
        }
    }
}

// Source: arithmetic: there is room for one rod, and the other one brings half as much.
#[test]
fn a_rod_that_brings_too_little_is_ruled_out() {
    let mut p = empty(1);
    p.lures = vec![lure("L1", 3)];
    p.needs = vec![need("a", "L1", 2)];
    p.rods = vec![rod("R1", "B1"), rod("R2", "B1")];
    p.reels = vec![reel("E1", "B1")];
    p.candidates = vec![
        candidate("R1", "E1", vec![offer(0, Verdict::Excellent)]),
        candidate("R2", "E1", vec![offer(0, Verdict::Workable)]),
    ];
    let problem = FleetProblem { trips: vec![FleetTrip { departs: None, problem: p }] };
    let value = best(&problem).value.objective();
    let on = |_: &deepbend_planner::Progress| ControlFlow::Continue(None);
    let most = at_most(&problem, &sketches(&problem), &Weights::default(), Some(value), &on);
    assert!(most[0] >= value && most[1] < value, "{most:?}, {value}");
}
