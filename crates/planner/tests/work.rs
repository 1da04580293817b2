//! How much a search may do. Source: common practice, no source: more work never ends worse, and a
//! plan that is known is never lost.

#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

mod common;

use std::ops::ControlFlow;

use common::{candidate, empty, fleet, lure, need, offer, place, reel, rod};
use deepbend_core::judge::Verdict;
use deepbend_planner::fleet::{FleetTrip, decide_fleet};
use deepbend_planner::plan::{PlannedOutfit, Status};
use deepbend_planner::rewrite::Decisions;
use deepbend_planner::{
    Budget, FleetAnswer, FleetPlan, FleetProblem, Progress, Weights, check_fleet, plan_fleet,
    plan_fleet_from, plan_fleet_watched,
};

/// Two boats over one pool, each with half of the lures; more candidates than one tree takes on.
fn large(seed: u64) -> FleetProblem {
    let whole = fleet(seed, 36, 24, 20);
    let trip = |boat: usize| {
        let mut p = whole.clone();
        p.boat.place = format!("B{}", boat + 1);
        p.boat.rod_holders = 6;
        p.boat.max_rods_aboard = 6;
        let cost = |b: usize| if b == boat { 0 } else { 250_000 };
        p.places = vec![place("B1", cost(0)), place("B2", cost(1)), place("S0", 100_000)];
        let own: Vec<usize> = (0..p.needs.len()).filter(|n| n % 2 == boat).collect();
        p.needs = own.iter().map(|n| whole.needs[*n].clone()).collect();
        for candidate in &mut p.candidates {
            candidate.offers.retain_mut(|offer| {
                let at = own.binary_search(&offer.need);
                offer.need = at.unwrap_or(offer.need);
                at.is_ok()
            });
        }
        FleetTrip { departs: None, problem: p }
    };
    FleetProblem { trips: vec![trip(0), trip(1)] }
}

fn sound(problem: &FleetProblem, answer: FleetAnswer) -> FleetPlan {
    let FleetAnswer::Plan(plan) = answer else { panic!("{answer:?}") };
    check_fleet(problem, &Weights::default(), &plan).unwrap();
    *plan
}

fn after(problem: &FleetProblem, nodes: u64) -> FleetPlan {
    let budget = Budget { nodes, ..Budget::default() };
    sound(problem, plan_fleet(problem, &Weights::default(), &budget).unwrap())
}

#[test]
fn more_work_never_ends_worse() {
    let mut changed = 0;
    for seed in 1..=4 {
        let problem = large(seed);
        let plans = [0, 3, 12, 60, 250].map(|nodes| after(&problem, nodes));
        for pair in plans.windows(2) {
            let (less, more) = (pair[0].value.objective(), pair[1].value.objective());
            assert!(less <= more, "{seed}: {less} after {} nodes, {more}", pair[0].nodes);
            assert!(pair[0].bound >= pair[1].bound, "{seed}");
            assert!(pair[0].status != Status::Optimal || less == more, "{seed}");
            changed += u32::from(pair[0] != pair[1]);
        }
        let bounds = plans.iter().map(|plan| plan.bound);
        assert!(bounds.min() >= plans.iter().map(|plan| plan.value.objective()).max());
        assert!(plans.iter().all(|plan| !plan.cut));
    }
    assert!(changed > 0, "the work has no effect");
}

#[test]
fn as_long_as_it_is_not_the_best_all_work_is_used() {
    for seed in 1..=4 {
        let plan = after(&large(seed), 150);
        assert!(plan.status == Status::Optimal || plan.nodes >= 150, "{seed}: {}", plan.nodes);
    }
}

// Common practice, no source: as rigged by habit, then the earlier id.
#[test]
fn a_known_plan_makes_way_for_a_more_usual_one_that_is_worth_as_much() {
    let mut p = empty(1);
    p.rods = vec![rod("R1", "B1"), rod("R2", "B1")];
    p.reels = vec![reel("E1", "B1")];
    p.lures = vec![lure("L1", 2)];
    p.needs = vec![need("a", "L1", 3)];
    p.candidates =
        ["R1", "R2"].map(|id| candidate(id, "E1", vec![offer(0, Verdict::Excellent)])).into();
    let known = |rod: &str| Decisions {
        outfits: vec![PlannedOutfit {
            rod: rod.into(),
            reel: "E1".into(),
            line: "fitted".into(),
            leaders: Vec::new(),
        }],
        lures: ["L1".to_owned()].into(),
    };
    let none = Budget { nodes: 0, ..Budget::default() };
    for (habit, usual) in [(false, "R1"), (true, "R2")] {
        p.candidates[1].habit = habit;
        let trips = vec![FleetTrip { departs: None, problem: p.clone() }];
        let problem = FleetProblem { trips };
        for rod in ["R1", "R2"] {
            let on = |_: &Progress| ControlFlow::Continue(None);
            let found = plan_fleet_from(&problem, &Weights::default(), &none, &[known(rod)], &on);
            let plan = sound(&problem, found.unwrap());
            assert_eq!(plan.decisions, [known(usual)], "{rod}");
        }
    }
}

#[test]
fn a_known_plan_is_where_the_search_begins() {
    let weights = Weights::default();
    let none = Budget { nodes: 0, ..Budget::default() };
    let give_up = |_: &Progress| ControlFlow::Break(());
    let on = |_: &Progress| ControlFlow::Continue(None);
    let mut gained = 0;
    for seed in 1..=4 {
        let problem = large(seed);
        let budget = Budget { nodes: 40, ..Budget::default() };
        let decided = decide_fleet(&problem, &weights, &budget, &[], &on).unwrap().unwrap();
        let plan = after(&problem, 40);
        assert_eq!((decided.worth, decided.bound), (plan.value.objective(), plan.bound));
        // Which of the plans of this worth it is, the search that writes it settles.
        let settled = plan_fleet_from(&problem, &weights, &none, &decided.decisions, &on);
        assert_eq!(sound(&problem, settled.unwrap()).decisions, plan.decisions, "{seed}");
        let again = plan_fleet_from(&problem, &weights, &none, &decided.decisions, &give_up);
        let again = sound(&problem, again.unwrap());
        assert!(again.cut && again.value.objective() >= decided.worth, "{seed}");
        let alone = plan_fleet_watched(&problem, &weights, &none, &give_up).unwrap();
        let still = decide_fleet(&problem, &weights, &none, &decided.decisions, &give_up);
        assert!(still.unwrap().unwrap().worth >= decided.worth, "{seed}");
        gained += again.value.objective() - sound(&problem, alone).value.objective();
        // What is not there is not known.
        let mut wrong = decided.decisions.clone();
        wrong[0].outfits[0].reel = "E999".into();
        let found = plan_fleet_from(&problem, &weights, &none, &wrong, &give_up).unwrap();
        sound(&problem, found);
    }
    assert!(gained > 0);
}
