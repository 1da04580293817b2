//! Solves p-median files and prints what came out.
//!
//! `cargo run --release -p deepbend-planner --example median -- STEPS FILE...`
//!
//! A file is a graph of the OR-Library (`n m p`, then edges) or, if its name holds `cap`, a set of
//! points with demands. Without files: all of `DEEPBEND_PMED_DIR` and `DEEPBEND_PMEDCAP_DIR`.

#![allow(clippy::unwrap_used, reason = "a broken file may stop at once")]
#![allow(clippy::disallowed_methods, reason = "reads files that are named on the command line")]
#![allow(clippy::disallowed_types, reason = "prints how long it took")]

#[path = "../tests/orlib/mod.rs"]
mod orlib;

use std::time::Instant;

use deepbend_planner::median::{MedianAnswer, Work, check_median, solve_median};
use orlib::{Published, folder, graph, graphs, point_sets, points};

fn main() {
    let mut words = std::env::args().skip(1);
    let steps = words.next().map_or(Work::default().steps, |word| word.parse().unwrap());
    let mut list: Vec<Published> = words.map(|name| read(&name)).collect();
    if list.is_empty() {
        list.extend(folder("DEEPBEND_PMED_DIR", "pmed").iter().flat_map(|f| graphs(f)));
        list.extend(folder("DEEPBEND_PMEDCAP_DIR", "pmedcap").iter().flat_map(|f| point_sets(f)));
    }
    println!(
        "file        n    p  status     cost    bound  published   steps/10^6  nodes  seconds"
    );
    for Published { name, problem, value } in list {
        let begun = Instant::now();
        let answer = solve_median(&problem, Work { steps }).unwrap();
        let seconds = begun.elapsed().as_secs_f64();
        let (n, p) = (problem.costs.len(), problem.open);
        let MedianAnswer::Plan(plan) = answer else {
            println!("{name} {n} {p}: {answer:?}");
            continue;
        };
        check_median(&problem, &plan).unwrap();
        let published = value.map_or_else(|| "?".to_owned(), |v| v.to_string());
        println!(
            "{name:<10} {n:>3} {p:>4}  {:<8} {:>6} {:>8} {published:>10} {:>12} {:>6} \
             {seconds:>8.2}",
            format!("{:?}", plan.status),
            plan.cost,
            plan.bound,
            plan.spent.steps / 1_000_000,
            plan.spent.nodes,
        );
    }
    if let Ok(text) = std::fs::read_to_string("/proc/self/status") {
        let peak = text.lines().find(|line| line.starts_with("VmHWM"));
        println!("peak memory {}", peak.unwrap_or("unknown"));
    }
}

fn read(name: &str) -> Published {
    let text = std::fs::read_to_string(name).unwrap();
    let (problem, value) = if name.contains("cap") {
        let (problem, value) = points(&text);
        (problem, Some(value))
    } else {
        (graph(&text), None)
    };
    let name = name.rsplit('/').next().unwrap_or(name).to_owned();
    Published { name, problem, value }
}
