//! Plans are the best there are, and keep all limits. Source of the numbers: brute force over all
//! plans, written apart from the planner.

#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

mod common;

use common::{Size, brute_force, random, solve, sound, twins, with_leaders};
use deepbend_planner::plan::{Answer, Status};
use deepbend_planner::{Budget, TripProblem, Weights, plan_trip};
use proptest::prelude::*;

const SMALL: Size = Size { rods: 3, reels: 3, lures: 4, anglers: 2 };

fn objective(problem: &TripProblem, answer: Answer) -> Option<i64> {
    match answer {
        Answer::Infeasible(clash) => {
            assert!(!clash.constraints.is_empty() && !clash.text.is_empty());
            None
        }
        answer @ (Answer::Plan(_) | Answer::NotFound { .. }) => {
            let plan = sound(problem, answer);
            assert_eq!(plan.status, Status::Optimal);
            Some(plan.value.objective())
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 400,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn equals_brute_force(seed in any::<u64>()) {
        let problem = random(seed, &SMALL);
        prop_assert_eq!(objective(&problem, solve(&problem)), brute_force(&problem));
    }

    #[test]
    fn equals_brute_force_with_many_leaders(seed in any::<u64>()) {
        let problem = with_leaders(seed, &SMALL);
        prop_assert_eq!(objective(&problem, solve(&problem)), brute_force(&problem));
    }

    #[test]
    fn bound_holds_with_many_leaders(seed in any::<u64>()) {
        let mut problem = with_leaders(seed, &Size { rods: 4, reels: 4, lures: 12, anglers: 0 });
        problem.job_minutes_budget = 0;
        problem.leaders.iter_mut().for_each(|leader| leader.minutes = 4);
        let best = objective(&problem, solve(&problem));
        let none = Budget { nodes: 0, ..Budget::default() };
        let Answer::Plan(plan) = plan_trip(&problem, &Weights::default(), &none).unwrap() else {
            return Ok(());
        };
        prop_assert!(Some(plan.bound) >= best);
    }

    #[test]
    fn equals_brute_force_among_twins(seed in any::<u64>()) {
        let problem = twins(seed, &SMALL);
        prop_assert_eq!(objective(&problem, solve(&problem)), brute_force(&problem));
    }
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 150,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn pruning_loses_nothing(seed in any::<u64>()) {
        let problem = twins(seed, &Size { rods: 6, reels: 6, lures: 8, anglers: 3 });
        let all = Budget { prune: false, ..Budget::default() };
        let unpruned = plan_trip(&problem, &Weights::default(), &all).unwrap();
        prop_assert_eq!(objective(&problem, solve(&problem)), objective(&problem, unpruned));
    }

    // Common practice, no source: adding gear never lowers coverage. With costs counted: a plan
    // may leave what is new ashore.
    #[test]
    fn more_gear_never_lowers_a_plan(seed in any::<u64>()) {
        let problem = random(seed, &Size { rods: 5, reels: 5, lures: 8, anglers: 2 });
        let mut less = problem.clone();
        let gone = less.rods.pop().unwrap();
        less.candidates.retain(|c| c.rod != gone.id);
        let (less, more) = (objective(&less, solve(&less)), objective(&problem, solve(&problem)));
        prop_assert!(more >= less);
    }

    #[test]
    fn order_changes_nothing(seed in any::<u64>()) {
        let problem = random(seed, &Size { rods: 6, reels: 6, lures: 8, anglers: 3 });
        let mut turned = problem.clone();
        turned.rods.reverse();
        turned.reels.reverse();
        turned.leaders.reverse();
        turned.lures.reverse();
        turned.places.reverse();
        turned.candidates.reverse();
        for candidate in &mut turned.candidates {
            candidate.offers.reverse();
        }
        prop_assert_eq!(solve(&problem), solve(&turned));
    }

    #[test]
    fn names_change_no_value(seed in any::<u64>()) {
        let problem = random(seed, &Size { rods: 6, reels: 6, lures: 8, anglers: 3 });
        let mut renamed = problem.clone();
        // The order of the ids is turned round.
        let other = |id: &str| {
            let number: u32 = id[1..].parse().unwrap();
            format!("{}{}", &id[..1], 99 - number)
        };
        renamed.rods.iter_mut().for_each(|r| r.id = other(&r.id));
        renamed.reels.iter_mut().for_each(|r| r.id = other(&r.id));
        for candidate in &mut renamed.candidates {
            candidate.rod = other(&candidate.rod);
            candidate.reel = other(&candidate.reel);
        }
        prop_assert_eq!(
            objective(&problem, solve(&problem)),
            objective(&renamed, solve(&renamed))
        );
    }

    // Common practice, no source: only the proportions of the weights count. All worths and costs
    // are even, so that half of them is exact.
    #[test]
    fn half_the_weights_change_no_choice(seed in any::<u64>()) {
        let problem = twins(seed, &Size { rods: 6, reels: 6, lures: 8, anglers: 3 });
        let mut halved = problem.clone();
        halved.places.iter_mut().for_each(|place| place.move_cost /= 2);
        let offers = halved.candidates.iter_mut().flat_map(|c| &mut c.offers);
        offers.for_each(|offer| offer.worth /= 2);
        let full = Weights::default();
        let half = Weights {
            shortfall: full.shortfall / 2,
            job_minute: full.job_minute / 2,
            outfit_tie: full.outfit_tie / 2,
            move_tie: full.move_tie / 2,
            ..full.clone()
        };
        let whole = plan_trip(&problem, &full, &Budget::default()).unwrap();
        let half = plan_trip(&halved, &half, &Budget::default()).unwrap();
        match (whole, half) {
            (Answer::Plan(whole), Answer::Plan(half)) => {
                prop_assert_eq!(whole.outfits, half.outfits);
                prop_assert_eq!(whole.value.objective(), 2 * half.value.objective());
            }
            (whole, half) => {
                prop_assert!(matches!(whole, Answer::Infeasible(_)), "{whole:?}");
                prop_assert!(matches!(half, Answer::Infeasible(_)), "{half:?}");
            }
        }
    }

    // Common practice, no source: a work budget of nothing still gives a sound plan and a bound.
    #[test]
    fn cut_off_search_is_honest(seed in any::<u64>()) {
        let problem = random(seed, &Size { rods: 6, reels: 6, lures: 10, anglers: 2 });
        let best = objective(&problem, solve(&problem));
        let none = Budget { nodes: 0, ..Budget::default() };
        match plan_trip(&problem, &Weights::default(), &none).unwrap() {
            Answer::Infeasible(_) => prop_assert!(best.is_none()),
            Answer::NotFound { bound, .. } => prop_assert!(best.is_none_or(|b| b <= bound)),
            answer @ Answer::Plan(_) => {
                let plan = sound(&problem, answer);
                prop_assert!(plan.bound >= best.unwrap());
                prop_assert!(plan.value.objective() <= best.unwrap());
            }
        }
    }
}
