//! What plans cost: growth with the fleet, with and without leaving out what cannot matter, a
//! large morning, a season.
//!
//! `cargo bench -p deepbend-planner --bench plans -- [growth|prune|morning|season]`

#![allow(clippy::unwrap_used, reason = "a bench may stop at once")]
#![allow(clippy::disallowed_methods, reason = "reads its own memory")]
#![allow(clippy::disallowed_types, reason = "prints how long it took")]

#[path = "../tests/common/mod.rs"]
mod common;

use std::cell::Cell;
use std::ops::ControlFlow;
use std::time::{Duration, Instant};

use common::{Dice, fleet};
use deepbend_planner::fleet::FleetTrip;
use deepbend_planner::plan::Answer;
use deepbend_planner::problem::Place;
use deepbend_planner::season::{Season, SeasonNeed, SeasonOutfit, purchases};
use deepbend_planner::{
    Budget, FleetAnswer, FleetProblem, Progress, TripProblem, Weights, check, check_fleet,
    plan_fleet_watched, plan_trip,
};

fn main() {
    let wanted: Vec<String> = std::env::args().skip(1).filter(|w| !w.starts_with('-')).collect();
    let parts: [(&str, fn()); 4] =
        [("growth", growth), ("prune", prune), ("morning", morning), ("season", season)];
    for (name, part) in parts {
        if wanted.is_empty() || wanted.iter().any(|w| w == name) {
            println!("\n{name}");
            part();
            println!("peak memory so far {}", memory());
        }
    }
}

fn memory() -> String {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    line.map_or("unknown".to_owned(), |line| line.trim().to_owned())
}

/// A plan of a trip, checked: what it is, and the seconds that it took.
fn run(problem: &TripProblem, budget: &Budget) -> (String, f64) {
    let begun = Instant::now();
    let answer = plan_trip(problem, &Weights::default(), budget).unwrap();
    let seconds = begun.elapsed().as_secs_f64();
    let Answer::Plan(plan) = answer else { return ("no plan".to_owned(), seconds) };
    check(problem, &Weights::default(), &plan).unwrap();
    let (value, gap) = (plan.value.objective(), plan.gap() * 100.0);
    let status = format!("{:?}", plan.status);
    (format!("{status:<8} value {value:>9} gap {gap:.2} % nodes {:>4}", plan.counts.nodes), seconds)
}

/// Cost against the size of the fleet, for one boat.
fn growth() {
    println!("rods reels lures outfits  seconds");
    for (rods, reels, lures) in
        [(12, 8, 15), (24, 14, 30), (40, 30, 60), (60, 40, 90), (80, 50, 120), (120, 80, 200)]
    {
        let problem = fleet(7, rods, reels, lures);
        let (what, seconds) = run(&problem, &Budget::default());
        let outfits = problem.candidates.len();
        println!("{rods:>4} {reels:>5} {lures:>5} {outfits:>7} {seconds:>8.3}  {what}");
    }
}

/// The same problems with and without pruning, side by side.
fn prune() {
    let mut ratios: Vec<f64> = Vec::new();
    for seed in 1..=20 {
        let (rods, reels, lures) = [(24, 14, 30), (40, 30, 60)][seed as usize % 2];
        let problem = fleet(seed, rods, reels, lures);
        let time = |prune| {
            // The least of three: what else runs on the machine only adds.
            let runs = (0..3).map(|_| run(&problem, &Budget { prune, ..Budget::default() }).1);
            runs.fold(f64::INFINITY, f64::min)
        };
        let (with, without) = (time(true), time(false));
        ratios.push(with / without);
        println!(
            "seed {seed:>2}, {rods} rods: {with:.3} s of {without:.3} s: {:.2}",
            with / without
        );
    }
    ratios.sort_by(f64::total_cmp);
    let median = ratios[ratios.len() / 2];
    println!("with pruning, of the time without: median {median:.2}, worst {:.2}", ratios[19]);
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

/// Five boats with backups and segments: how soon the plan is within 1 %, and where 60 s lead.
fn morning() {
    for (boats, rods, reels, lures) in
        [(2, 24, 14, 30), (3, 40, 30, 60), (5, 80, 50, 120), (5, 120, 80, 200)]
    {
        let problem = several(boats, rods, reels, lures);
        let begun = Instant::now();
        let near = Cell::new(None);
        let end = Duration::from_secs(60);
        let ask = |now: &Progress| {
            if near.get().is_none() && now.gap().is_some_and(|gap| gap <= 0.01) {
                near.set(Some(begun.elapsed()));
            }
            match end.checked_sub(begun.elapsed()) {
                Some(left) => ControlFlow::Continue(Some(left)),
                None => ControlFlow::Break(()),
            }
        };
        let budget = Budget::default();
        let answer = plan_fleet_watched(&problem, &Weights::default(), &budget, &ask).unwrap();
        let seconds = begun.elapsed().as_secs_f64();
        let FleetAnswer::Plan(plan) = answer else { panic!("{answer:?}") };
        check_fleet(&problem, &Weights::default(), &plan).unwrap();
        let near = near.get().map_or("never".to_owned(), |at| format!("{:.1} s", at.as_secs_f64()));
        println!(
            "{boats} boats, {rods} rods, {reels} reels, {lures} lures: {:?} value {} bound {} gap \
             {:.2} % nodes {} {seconds:.1} s; within 1 %: {near}",
            plan.status,
            plan.value.objective(),
            plan.bound,
            plan.gap() * 100.0,
            plan.nodes,
        );
    }
}

/// A season of twelve trips: what a budget of six outfits buys over two that are owned for each
/// class, out of 240 specs. Outfits and needs are points of power, action and reach; worth falls
/// with the distance. Invented.
fn season() {
    for seed in 1..=3 {
        let mut d = Dice(seed);
        let mut points = |count: usize| -> Vec<[i64; 3]> {
            (0..count).map(|_| [(); 3].map(|()| d.roll(100) as i64)).collect()
        };
        let (needs, outfits) = (points(12 * 15), points(240));
        let worth = |n: &[i64; 3], o: &[i64; 3]| {
            let off: i64 = n.iter().zip(o).map(|(a, b)| (a - b).abs()).sum();
            match off {
                ..25 => 1_000_000 - off * 1_000,
                25..50 => 850_000 - off * 1_000,
                50..80 => 500_000 - off * 1_000,
                _ => 0,
            }
        };
        let season = Season {
            needs: needs
                .iter()
                .map(|_| SeasonNeed {
                    id: String::new(),
                    weight: (1 + d.roll(3) as u32) * (1 + d.roll(12) as u32),
                    copies_at_once: 1 + u32::from(d.one_in(5)),
                })
                .collect(),
            outfits: (0..outfits.len())
                .map(|o| SeasonOutfit {
                    id: String::new(),
                    price: (o > 5).then(|| 10_000 + 100 * d.roll(150)),
                })
                .collect(),
            worth: needs.iter().map(|n| outfits.iter().map(|o| worth(n, o)).collect()).collect(),
        };
        let begun = Instant::now();
        let on = || ControlFlow::Continue(());
        let bought = purchases(&season, &Weights::default(), 120_000, 0, &on).unwrap();
        let gap = (bought.bound - bought.adds) as f64 / bought.bound as f64 * 100.0;
        println!(
            "seed {seed}: {} outfits add {}, bound {}, gap {gap:.2} %, {:.2} s",
            bought.buys.len(),
            bought.adds,
            bought.bound,
            begun.elapsed().as_secs_f64(),
        );
    }
}
