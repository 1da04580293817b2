//! Of plans that are worth the same always the same one is taken. Source: common practice, no source:
//! only the proportions of the weights count.

#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

mod common;

use common::{Dice, fleet};
use deepbend_planner::plan::{Answer, Status, TripPlan};
use deepbend_planner::{Budget, TripProblem, Weights, check, plan_trip};

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

/// The same fleet, and weights, at half their worth: all are even, so that half of them is exact.
fn halved(problem: &TripProblem) -> (TripProblem, Weights) {
    let mut half = problem.clone();
    half.places.iter_mut().for_each(|place| place.move_cost /= 2);
    half.candidates.iter_mut().flat_map(|c| &mut c.offers).for_each(|offer| offer.worth /= 2);
    let full = Weights::default();
    let weights = Weights {
        shortfall: full.shortfall / 2,
        job_minute: full.job_minute / 2,
        outfit_tie: full.outfit_tie / 2,
        move_tie: full.move_tie / 2,
        ..full
    };
    (half, weights)
}

#[test]
fn doubled_weights_change_no_choice() {
    let mut changed = Vec::new();
    for seed in 0..200 {
        let problem = used_fleet(seed);
        let (half, weights) = halved(&problem);
        let whole = planned(&problem, &Weights::default());
        let half = planned(&half, &weights);
        assert_eq!(whole.value.objective(), 2 * half.value.objective());
        if whole.outfits != half.outfits {
            changed.push(seed);
        }
    }
    assert!(changed.is_empty(), "{changed:?}");
}
