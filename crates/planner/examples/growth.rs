//! How the cost of a plan grows with the fleet, with and without leaving out what cannot matter.
//!
//! `cargo run --release -p deepbend-planner --example growth -- SECONDS`

#![allow(clippy::unwrap_used, reason = "a bench may stop at once")]
#![allow(clippy::disallowed_methods, reason = "reads its own memory")]
#![allow(clippy::disallowed_types, reason = "prints how long it took")]

#[path = "../tests/common/mod.rs"]
mod common;

use std::time::{Duration, Instant};

use common::fleet;
use deepbend_planner::fleet::FleetTrip;
use deepbend_planner::plan::Answer;
use deepbend_planner::problem::Place;
use deepbend_planner::{
    Budget, FleetAnswer, FleetProblem, TripProblem, Weights, check, check_fleet, plan_fleet,
    plan_trip,
};

fn run(problem: &TripProblem, budget: &Budget) -> f64 {
    let begun = Instant::now();
    let answer = plan_trip(problem, &Weights::default(), budget).unwrap();
    let seconds = begun.elapsed().as_secs_f64();
    let Answer::Plan(plan) = answer else {
        println!("    {answer:?}");
        return seconds;
    };
    check(problem, &Weights::default(), &plan).unwrap();
    println!(
        "    {:<8} value {:>9} bound {:>9} gap {:.4} nodes {:>5} {seconds:>7.2} s{}",
        format!("{:?}", plan.status),
        plan.value.objective(),
        plan.bound,
        plan.gap(),
        plan.counts.nodes,
        if plan.cut { ", cut" } else { "" },
    );
    seconds
}

/// The same pool for several boats, each with its part of the lures.
fn several(boats: usize, rods: u64, reels: u64, lures: u64) -> FleetProblem {
    let whole = fleet(7, rods, reels, lures);
    let trip = |boat: usize| {
        let mut p = whole.clone();
        let place = format!("B{}", boat + 1);
        p.places = (1..=boats.max(2))
            .map(|b| Place { id: format!("B{b}"), move_cost: 250_000 })
            .chain([Place { id: "S0".into(), move_cost: 100_000 }])
            .collect();
        p.places.iter_mut().filter(|x| x.id == place).for_each(|x| x.move_cost = 0);
        p.boat.place = place;
        let own: Vec<usize> = (0..p.needs.len()).filter(|n| n % boats == boat).collect();
        p.needs = own.iter().map(|n| whole.needs[*n].clone()).collect();
        for candidate in &mut p.candidates {
            candidate.offers.retain_mut(|offer| match own.binary_search(&offer.need) {
                Ok(at) => {
                    offer.need = at;
                    true
                }
                Err(_) => false,
            });
        }
        FleetTrip { departs: None, problem: p }
    };
    FleetProblem { trips: (0..boats).map(trip).collect() }
}

fn run_fleet(problem: &FleetProblem, budget: &Budget) {
    let begun = Instant::now();
    let answer = plan_fleet(problem, &Weights::default(), budget).unwrap();
    let seconds = begun.elapsed().as_secs_f64();
    let FleetAnswer::Plan(plan) = answer else {
        println!("    {answer:?}");
        return;
    };
    check_fleet(problem, &Weights::default(), &plan).unwrap();
    println!(
        "    {:<8} value {:>9} bound {:>9} gap {:.4} nodes {:>5} {seconds:>7.2} s{}",
        format!("{:?}", plan.status),
        plan.value.objective(),
        plan.bound,
        plan.gap(),
        plan.nodes,
        if plan.cut { ", cut" } else { "" },
    );
}

fn main() {
    let seconds = std::env::args().nth(1).map_or(30, |word| word.parse().unwrap());
    let cap = Some(Duration::from_secs(seconds));
    for (rods, reels, lures) in [(24, 14, 30), (40, 30, 60), (80, 50, 120), (120, 80, 200)] {
        let problem = fleet(7, rods, reels, lures);
        println!("{rods} rods, {reels} reels, {lures} lures: {} outfits", problem.candidates.len());
        let with = run(&problem, &Budget { cap, ..Budget::default() });
        let without = run(&problem, &Budget { cap, prune: false, ..Budget::default() });
        println!("    with pruning {:.2} of the time without", with / without);
    }
    for (boats, rods, reels, lures) in
        [(2, 24, 14, 30), (3, 40, 30, 60), (5, 80, 50, 120), (5, 120, 80, 200)]
    {
        println!("{boats} boats, {rods} rods, {reels} reels, {lures} lures");
        run_fleet(&several(boats, rods, reels, lures), &Budget { cap, ..Budget::default() });
    }
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    println!(
        "{}",
        status.lines().find(|line| line.starts_with("VmHWM")).unwrap_or("memory unknown")
    );
}
