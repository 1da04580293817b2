//! Watching a search and ending it. Source: common practice, no source.

#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

mod common;

use std::cell::{Cell, RefCell};
use std::ops::ControlFlow;

use common::{Dice, candidate, empty, fleet, lure, need, offer, reel, rod, solve, sound};
use deepbend_core::judge::Verdict;
use deepbend_core::water::Skill;
use deepbend_planner::median::{
    MedianAnswer, MedianProblem, MedianProgress, Work, check_median, solve_median_watched,
};
use deepbend_planner::plan::{Answer, Status};
use deepbend_planner::problem::{Angler, LeaderStock, Offer, Pin, Segment};
use deepbend_planner::{Budget, Progress, TripProblem, Weights, plan_trip_watched};

/// Nodes between two looks, as the documentation of [`plan_trip_watched`] states.
const LOOK: u64 = 4;

/// What was told, the answer, and how often it was asked; it ends after `patience` looks.
fn watched(p: &TripProblem, budget: &Budget, patience: usize) -> (Vec<Progress>, Answer, usize) {
    let told = RefCell::new(Vec::new());
    let ask = |now: &Progress| {
        told.borrow_mut().push(*now);
        match told.borrow().len() > patience {
            true => ControlFlow::Break(()),
            false => ControlFlow::Continue(None),
        }
    };
    let answer = plan_trip_watched(p, &Weights::default(), budget, &ask).unwrap();
    let told = told.into_inner();
    let asked = told.len();
    (told, answer, asked)
}

/// A trip of which the tree has to solve more than a few nodes.
fn with_a_tree() -> TripProblem {
    (1..60)
        .map(|seed| fleet(seed, 24, 14, 30))
        .find(|p| sound(p, solve(p)).counts.nodes > 4 * LOOK)
        .unwrap()
}

#[test]
fn progress_only_gets_better_and_its_bounds_hold() {
    let p = with_a_tree();
    let (told, answer, _) = watched(&p, &Budget::default(), usize::MAX);
    let plan = sound(&p, answer);
    assert_eq!(plan, sound(&p, solve(&p)), "watching changes nothing");
    assert_eq!(plan.status, Status::Optimal);
    for pair in told.windows(2) {
        assert!(pair[0].reached <= pair[1].reached && pair[0].nodes <= pair[1].nodes);
        assert!(pair[0].bound.unwrap() >= pair[1].bound.unwrap());
        assert!(pair[1].nodes - pair[0].nodes <= LOOK, "a look is missing: {pair:?}");
    }
    let best = plan.value.objective();
    for now in &told {
        assert!(now.bound.unwrap() >= best, "{now:?}");
        assert!(now.reached.is_none_or(|reached| reached <= best));
    }
    assert_eq!(told.last().unwrap().nodes, plan.counts.nodes);
}

#[test]
fn a_search_ends_when_it_is_told_to() {
    let p = with_a_tree();
    let (told, answer, all) = watched(&p, &Budget::default(), usize::MAX);
    let whole = sound(&p, answer);
    let in_tree = told.iter().position(|now| now.nodes > LOOK).unwrap();
    for patience in [0, 1, all / 8, all / 4, all / 2, in_tree, all - 1] {
        let (told, answer, asked) = watched(&p, &Budget::default(), patience);
        assert_eq!(asked, patience + 1, "asked on after it was told to end");
        let last = told.last().unwrap();
        match answer {
            Answer::NotFound { bound, cut } => {
                assert!(cut && bound >= whole.value.objective() && last.reached.is_none());
            }
            answer @ (Answer::Plan(_) | Answer::Infeasible(_)) => {
                let plan = sound(&p, answer);
                assert!(plan.cut);
                assert_eq!(plan.counts.nodes, last.nodes, "nodes after it was told to end");
                assert!(plan.bound >= whole.value.objective());
                assert!(plan.value.objective() >= last.reached.unwrap());
            }
        }
    }
}

#[test]
fn who_has_no_time_at_all_gets_a_plan() {
    let mut seated = 0;
    for seed in 1..40 {
        let p = fleet(seed, 24, 14, 20);
        let Answer::Plan(whole) = solve(&p) else { continue };
        seated += usize::from(p.segments.iter().any(|s| s.anglers.len() > 1));
        let (_, answer, asked) = watched(&p, &Budget::default(), 0);
        assert_eq!(asked, 1);
        let plan = sound(&p, answer);
        assert!(plan.cut && plan.bound >= whole.value.objective(), "seed {seed}");
    }
    assert!(seated > 20, "only {seated} trips seat anglers at once");
}

#[test]
fn what_clashes_is_looked_for_no_longer_than_asked() {
    let mut p = fleet(3, 24, 14, 20);
    let needs: Vec<_> = p.needs.iter().map(|n| (n.segment.clone(), n.lure.clone())).collect();
    p.pins = needs.into_iter().map(|(segment, lure)| Pin::Hold { segment, lure }).collect();
    p.boat.rod_holders = 2;
    let (_, answer, all) = watched(&p, &Budget::default(), usize::MAX);
    let Answer::Infeasible(clash) = answer else { panic!("{answer:?}") };
    let (_, answer, asked) = watched(&p, &Budget::default(), all - 5);
    assert_eq!(asked, all - 4, "asked on after it was told to end");
    // What was not asked about stays named: the set still cannot be kept.
    let Answer::Infeasible(larger) = answer else { panic!("{answer:?}") };
    assert!(clash.constraints.iter().all(|c| larger.constraints.contains(c)));
}

#[test]
fn who_has_no_time_is_seated_before_the_rest_is_filled() {
    let mut p = empty(3);
    p.segments.push(Segment { id: "b".into(), anglers: Vec::new(), turns: Vec::new() });
    for id in ["one", "two"] {
        p.anglers.push(Angler { id: id.into(), skill: Skill::Novice });
        p.segments[0].anglers.push(id.into());
    }
    p.leaders.push(LeaderStock {
        id: "W".into(),
        place: "B1".into(),
        quantity: 2,
        minutes: 0,
        is_ample: false,
    });
    p.lures = ["L1", "L2", "L3"].map(|id| lure(id, 1)).to_vec();
    p.needs = vec![need("a", "L1", 1), need("a", "L2", 1), need("b", "L3", 3)];
    // Whatever comes first in the list is tied first: R0 would take what one of the two needs.
    for (at, [rod_id, reel_id]) in [["R1", "E1"], ["R2", "E2"], ["R0", "E0"]].iter().enumerate() {
        p.rods.push(rod(rod_id, "B1"));
        p.reels.push(reel(reel_id, "B1"));
        let tied = Offer { leader: Some("W".into()), ..offer(at, Verdict::Good) };
        p.candidates.push(candidate(rod_id, reel_id, vec![tied]));
    }
    let (_, answer, asked) = watched(&p, &Budget::default(), 0);
    assert_eq!((asked, sound(&p, answer).starts.len()), (1, 2));
}

fn median() -> MedianProblem {
    let mut d = Dice(11);
    let costs = (0..60).map(|_| (0..60).map(|_| d.roll(1_000)).collect()).collect();
    MedianProblem { costs, open: 7, keep: Vec::new(), capacity: None }
}

#[test]
fn the_coverage_core_tells_how_it_stands_and_ends_when_told() {
    let problem = median();
    let pairs = (problem.costs.len() * problem.costs[0].len()) as u64;
    let run = |patience: usize| {
        let told: RefCell<Vec<MedianProgress>> = RefCell::default();
        let asked = Cell::new(0);
        let ask = |now: &MedianProgress| {
            told.borrow_mut().push(*now);
            asked.set(asked.get() + 1);
            match asked.get() > patience {
                true => ControlFlow::Break(()),
                false => ControlFlow::Continue(()),
            }
        };
        let answer = solve_median_watched(&problem, Work::default(), &ask).unwrap();
        let MedianAnswer::Plan(plan) = answer else { panic!("{answer:?}") };
        check_median(&problem, &plan).unwrap();
        (told.into_inner(), plan)
    };
    let (told, best) = run(usize::MAX);
    assert_eq!(best.status, Status::Optimal);
    assert!(best.spent.nodes > 10, "too easy to test the tree");
    // Greedy begins, then every round looks at each pair a few times at most.
    for pair in told.windows(2) {
        assert!(pair[1].spent.steps - pair[0].spent.steps <= 8 * pairs, "{pair:?}");
        assert!(pair[0].bound <= pair[1].bound);
        assert!(pair[0].cost.is_none_or(|cost| pair[1].cost.is_some_and(|now| now <= cost)));
    }
    for now in &told {
        assert!(now.bound <= best.cost && now.cost.is_none_or(|cost| cost >= best.cost));
    }
    for patience in [0, 1, told.len() / 4, told.len() / 2, told.len() - 1] {
        let (told, plan) = run(patience);
        assert_eq!(told.len(), patience + 1, "asked on after it was told to end");
        let after = plan.spent.steps - told.last().unwrap().spent.steps;
        assert!(after <= 8 * pairs, "{after} steps after it was told to end");
        assert!(plan.bound <= best.cost && best.cost <= plan.cost);
        assert!(plan.status == Status::Feasible || plan.cost == best.cost);
    }
}
