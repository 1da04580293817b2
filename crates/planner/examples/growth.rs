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
use deepbend_planner::plan::Answer;
use deepbend_planner::{Budget, TripProblem, Weights, check, plan_trip};

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
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    println!(
        "{}",
        status.lines().find(|line| line.starts_with("VmHWM")).unwrap_or("memory unknown")
    );
}
