//! The demo's two trips planned together. Source of the plans to be matched: the demo's expected
//! story, S14 and S15, by hand from common practice.

use deepbend_core::model::Model;
use deepbend_planner::fleet::FleetTrip;
use deepbend_planner::plan::ItemKind;
use deepbend_planner::problem::{Candidate, Pin};
use deepbend_planner::{
    Budget, FleetAnswer, FleetPlan, FleetProblem, Status, TripProblem, Weights, check_fleet,
    plan_fleet,
};

use tokio::sync::watch::Sender;
use tokio_util::sync::CancellationToken;

use super::ask;
use super::case;
use super::gauge::Gauge;
use super::judging::judge;
use super::offers::Judge;
use super::pool::{self, Pool};
use super::search::{self, Effort};

#[path = "../../tests/trip_support/mod.rs"]
pub(super) mod trip_support;

use trip_support::{Fleet, demo_trip};

fn problem(id: &str, places: &[&str]) -> TripProblem {
    let view = Fleet::demo().service().inventory.unwrap().view();
    let asked = ask::trip(demo_trip(id, places)).unwrap().trips.remove(0);
    let weights = Weights::default();
    let pool =
        Pool::gather(Model::builtin(), &view, &asked, &|item| pool::in_pool(&view, &asked, item));
    let cases = case::cases(&asked, &pool);
    let model = Model::builtin();
    let judge = Judge { model, weights: &weights, asked: &asked, pool: &pool, cases: &cases };
    let mut problem = pool.problem(&asked);
    let gauge = Gauge::new(None, CancellationToken::new(), Sender::default());
    (problem.candidates, _) = judge.candidates(&gauge, None).unwrap();
    problem
}

fn demo() -> FleetProblem {
    let first = problem("T1", &["B2", "B3", "S0"]);
    let second = problem("T2", &["B1", "B2", "S0"]);
    FleetProblem {
        trips: vec![
            FleetTrip { departs: Some(7 * 60), problem: first },
            FleetTrip { departs: Some(5 * 60 + 30), problem: second },
        ],
    }
}

fn planned(problem: &FleetProblem) -> FleetPlan {
    match plan_fleet(problem, &Weights::default(), &Budget::default()).unwrap() {
        FleetAnswer::Plan(plan) => {
            check_fleet(problem, &Weights::default(), &plan).unwrap();
            *plan
        }
        answer @ (FleetAnswer::Infeasible(_) | FleetAnswer::NotFound { .. }) => {
            panic!("{answer:?}")
        }
    }
}

/// Settles that a trip takes these outfits and no others.
fn settle(problem: &mut TripProblem, outfits: &[(&str, &str)]) {
    for rod in &problem.rods {
        let (kind, id) = (ItemKind::Rod, rod.id.clone());
        problem.pins.push(match outfits.iter().any(|(r, _)| *r == id) {
            true => Pin::Take { kind, id },
            false => Pin::Leave { kind, id },
        });
    }
    for (rod, reel) in outfits {
        problem.pins.push(Pin::Pair { rod: (*rod).into(), reel: (*reel).into() });
    }
}

#[test]
fn together_they_are_worth_at_least_the_plans_by_hand() {
    let free = demo();
    let best = planned(&free);
    assert_eq!(best.status, Status::Optimal);
    let mut by_hand = free.clone();
    let first = [
        ("R01", "E01"),
        ("R04", "E04"),
        ("R05", "E05"),
        ("R07", "E06"),
        ("R13", "E10"),
        ("R16", "E12"),
        ("R17", "E14"),
        ("R19", "E13"),
    ];
    let second = [("R11", "E09"), ("R10", "E07"), ("R22", "E11"), ("R06", "E08"), ("R09", "E03")];
    settle(&mut by_hand.trips[0].problem, &first);
    settle(&mut by_hand.trips[1].problem, &second);
    let hand = planned(&by_hand);
    assert_eq!(hand.trips[0].outfits.len(), 8);
    assert_eq!(hand.trips[1].outfits.len(), 5);
    assert!(
        best.value.objective() >= hand.value.objective(),
        "{:?} is less than by hand, {:?}",
        best.value,
        hand.value
    );
    // S15: all eight lures of the second trip.
    assert_eq!((best.trips[1].counts.covered, best.trips[1].counts.needs), (8, 8));
    // The second boat departs first; what the first gives it, and takes from it, is due then.
    for m in best.moves.iter().filter(|m| m.what.from == "B1" || m.what.from == "B3") {
        assert_eq!(m.deadline, Some(5 * 60 + 10), "{m:?}");
    }
}

// Source: the contract: a plan that the clock cut is feasible, with a bound that holds.
#[test]
fn a_search_without_time_has_a_plan_and_an_honest_bound() {
    let problem = demo();
    let best = planned(&problem);
    let gauge = Gauge::new(None, CancellationToken::new(), Sender::default());
    let until = Some(tokio::time::Instant::now());
    let effort = Effort { nodes: 20_000, spent: 0, until, deadline: None };
    let found = search::search(&problem, &Weights::default(), effort, &[], &gauge).unwrap();
    let FleetAnswer::Plan(plan) = found.answer else { panic!("{:?}", found.answer) };
    assert!(found.cut && plan.cut && plan.status == Status::Feasible);
    assert!(plan.value.objective() <= best.value.objective());
    assert!(plan.bound >= best.value.objective());
    assert!(plan.trips.iter().all(|trip| trip.counts.covered > 0));
}

// Source: arithmetic: 120 m of 0.36 mm take the room of 142 m of 0.33 mm, and of more of what is
// thinner.
#[test]
fn a_reel_is_offered_every_line_that_fits() {
    let problem = problem("T1", &["B2", "S0"]);
    let reel = problem.reels.iter().find(|reel| reel.id == "E14").unwrap();
    let lines: Vec<&str> = reel.lines.iter().map(|line| line.id.as_str()).collect();
    assert_eq!(lines, ["K01", "K02", "K03", "K04", "K05", "fitted"]);
    let nylon = reel.lines.iter().find(|line| line.id == "K05").unwrap();
    assert_eq!(nylon.stock.as_ref().unwrap().metres, 142);
    let of_reel = |c: &&Candidate| c.reel == "E14" && c.line == "K05";
    assert!(problem.candidates.iter().any(|c| of_reel(&c)));
}

// Source: the best plan of all that can be put together, and the contract of Plan.bound_micros.
#[test]
fn of_a_part_of_the_outfits_there_is_a_plan_and_a_bound_for_all() {
    let view = Fleet::demo().service().inventory.unwrap().view();
    let mut request = demo_trip("T1", &["B2", "B3", "S0"]);
    let trip = request.trip.as_mut().unwrap();
    trip.segments.iter_mut().for_each(|segment| segment.angler_ids.clear());
    let asked = ask::trip(request).unwrap().trips.remove(0);
    let (model, weights) = (Model::builtin(), Weights::default());
    let pool = Pool::gather(model, &view, &asked, &|item| pool::in_pool(&view, &asked, item));
    let cases = case::cases(&asked, &pool);
    let judges = [Judge { model, weights: &weights, asked: &asked, pool: &pool, cases: &cases }];
    let unhurried = || Gauge::new(None, CancellationToken::new(), Sender::default());
    let judged_by = |judgements: usize, gauge: &Gauge| {
        let trip = FleetTrip { departs: None, problem: pool.problem(&asked) };
        let mut problem = FleetProblem { trips: vec![trip] };
        let judging = judge(&judges, &mut problem, &weights, judgements, gauge).unwrap();
        (problem, judging)
    };
    let judged = |judgements: usize| judged_by(judgements, &unhurried());
    let (whole, judging) = judged(usize::MAX);
    assert!(judging.is_whole);
    let best = planned(&whole).value.objective();
    let all = whole.trips[0].problem.candidates.len();
    for judgements in [5_000, 20_000, 60_000] {
        let (mut part, mut judging) = judged(judgements);
        let count = part.trips[0].problem.candidates.len();
        assert!(count < all && !judging.is_whole, "{judgements}: {count} of {all}");
        // The clock had no part in it.
        assert!(!judging.is_cut);
        let plan = planned(&part);
        let reached = plan.value.objective();
        let rest = judging.rest(&part, &weights, Some(reached), &unhurried()).unwrap();
        assert!(reached <= best && plan.bound.max(rest) >= best, "{judgements}: {rest}");
        assert!(rest > reached || reached == best);
        // What could be better than the plan is judged too, until nothing is left that could.
        let mut reached = reached;
        while judging.more(&judges, &mut part, &weights, Some(reached), None, &unhurried()).unwrap()
        {
            let better = planned(&part).value.objective();
            assert!(better >= reached);
            reached = better;
        }
        assert_eq!(reached, best, "{judgements}");
    }
    // Without time for anything there is a bound all the same.
    let (part, mut judging) = judged_by(5_000, &unhurried().hurried());
    assert!(judging.is_cut && !judging.is_whole);
    let reached = planned(&part).value.objective();
    let rest = judging.rest(&part, &weights, Some(reached), &unhurried());
    assert!(rest.is_some_and(|rest| rest >= best));
}
