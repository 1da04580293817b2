//! Where not all limits can be kept the best plan leaves out the fewest. Source of the numbers:
//! brute force over all plans and over all ways to leave something out; else by hand.

#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

mod common;

use common::{Dice, Size, brute_force, candidate, empty, lure, need, offer, random, reel, rod};
use deepbend_core::judge::Verdict::{Excellent, Good, Workable};
use deepbend_core::water::Skill;
use deepbend_planner::fleet::{Infeasible, LeftOut};
use deepbend_planner::plan::{Constraint, ItemKind};
use deepbend_planner::problem::{Angler, Pin};
use deepbend_planner::{
    Budget, FleetAnswer, FleetProblem, TripProblem, Weights, check_fleet, fleet::FleetTrip,
    plan_fleet,
};
use proptest::prelude::*;

fn answer(problem: &TripProblem) -> FleetAnswer {
    let trip = FleetTrip { departs: None, problem: problem.clone() };
    let problem = FleetProblem { trips: vec![trip] };
    plan_fleet(&problem, &Weights::default(), &Budget::default()).unwrap()
}

/// Why nothing keeps all limits, and the best plan, which the checker has found sound.
fn best(answer: FleetAnswer) -> (Infeasible, LeftOut) {
    let FleetAnswer::Infeasible(no) = answer else { panic!("{answer:?}") };
    let best = no.best.clone().unwrap();
    check_fleet(&best.problem, &Weights::default(), &best.plan).unwrap();
    (*no, best)
}

/// All that may be left out: people of a segment, pins.
fn limits(p: &TripProblem) -> Vec<(Option<(usize, usize)>, usize)> {
    let people = p.segments.iter().enumerate();
    let people =
        people.flat_map(|(s, part)| (0..part.anglers.len()).map(move |a| (Some((s, a)), 0)));
    people.chain((0..p.pins.len()).map(|pin| (None, pin))).collect()
}

/// The fewest limits without which there is a plan, and what the best of these plans is worth.
fn fewest(p: &TripProblem) -> (u32, i64) {
    let limits = limits(p);
    let mut found: Option<(u32, i64)> = None;
    for left_out in 0..1_u32 << limits.len() {
        let count = left_out.count_ones();
        if found.is_some_and(|(fewest, _)| fewest < count) {
            continue;
        }
        let mut fewer = p.clone();
        for (i, (person, pin)) in limits.iter().enumerate().rev() {
            match person {
                _ if left_out >> i & 1 == 0 => {}
                Some((s, a)) => {
                    fewer.segments[*s].anglers.remove(*a);
                }
                None => {
                    fewer.pins.remove(*pin);
                }
            }
        }
        if let Some(worth) = brute_force(&fewer) {
            let better = |(fewest, most): (u32, i64)| count < fewest || worth > most;
            if found.is_none_or(better) {
                found = Some((count, worth));
            }
        }
    }
    found.unwrap()
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 60,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn as_few_as_can_be_are_left_out(seed in any::<u64>()) {
        let mut problem = random(seed, &Size { rods: 2, reels: 2, lures: 3, anglers: 2 });
        let mut d = Dice(seed ^ 0x1eaf);
        for need in problem.needs.iter().filter(|_| d.one_in(2)) {
            let (segment, lure) = (need.segment.clone(), need.lure.clone());
            problem.pins.push(Pin::Hold { segment, lure });
        }
        let answer = answer(&problem);
        prop_assume!(matches!(answer, FleetAnswer::Infeasible(_)));
        let (_, found) = best(answer);
        let idle: usize = found.idle.iter().map(|idle| idle.anglers.len()).sum();
        let count = (idle + found.pins.len()) as u32;
        prop_assert_eq!((count, found.plan.value.objective()), fewest(&problem));
    }
}

/// Three people, two outfits.
fn three_people() -> TripProblem {
    let mut p = empty(2);
    p.rods = vec![rod("R1", "B1"), rod("R2", "B1")];
    p.reels = vec![reel("E1", "B1"), reel("E2", "B1")];
    p.lures = vec![lure("L1", 5), lure("L2", 5), lure("L3", 5)];
    p.needs = vec![need("a", "L1", 3), need("a", "L2", 3), need("a", "L3", 1)];
    for id in ["guest", "host", "son"] {
        p.anglers.push(Angler { id: id.into(), skill: Skill::Novice });
        p.segments[0].anglers.push(id.into());
    }
    p.candidates = vec![
        candidate("R1", "E1", vec![offer(0, Excellent), offer(1, Workable)]),
        candidate("R2", "E2", vec![offer(0, Good)]),
    ];
    p
}

#[test]
fn two_of_three_fish_when_there_are_two_outfits() {
    let (no, best) = best(answer(&three_people()));
    assert_eq!(
        no.clash.constraints[0],
        Constraint::AnglersAtOnce { boat: "B1".into(), segment: "a".into() }
    );
    let [idle] = &best.idle[..] else { panic!("{:?}", best.idle) };
    assert_eq!((idle.segment.as_str(), idle.anglers.len(), idle.of), ("a", 1, 3));
    assert_eq!(best.plan.trips[0].starts.len(), 2);
    assert!(best.pins.is_empty());
}

#[test]
fn all_pins_that_cannot_be_kept_are_named() {
    let mut p = three_people();
    p.segments[0].anglers.clear();
    let hold = |lure: &str| Pin::Hold { segment: "a".into(), lure: lure.into() };
    let take = |id: &str| Pin::Take { kind: ItemKind::Rod, id: id.into() };
    p.pins = vec![hold("L1"), hold("L2"), hold("L3"), take("R1")];
    let (no, best) = best(answer(&p));
    assert_eq!(best.pins, [(0, hold("L2")), (0, hold("L3"))]);
    let pinned = |pin| Constraint::Pinned { boat: "B1".into(), pin };
    for pin in [hold("L2"), hold("L3")] {
        assert!(no.clash.constraints.contains(&pinned(pin)), "{:?}", no.clash);
    }
    for kept in [hold("L1"), take("R1")] {
        assert!(!no.clash.constraints.contains(&pinned(kept)), "{:?}", no.clash);
    }
    assert!(no.clash.text.contains("L2") && no.clash.text.contains("L3"), "{}", no.clash.text);
    let taken: Vec<_> = best.plan.trips[0].outfits.iter().map(|o| o.rod.as_str()).collect();
    assert_eq!(taken, ["R1", "R2"]);
}
