//! What is aboard is what the plan uses, and what is left of a crew after a loss. Source of the
//! numbers: all ways to hand out the outfits, tried one by one; other rules: common practice, no
//! source.

#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

mod common;

use common::{Size, candidate, empty, lure, mixed, need, offer, random, reel, rod, solve, sound};
use deepbend_core::judge::Verdict::{self, Excellent, Good};
use deepbend_core::water::Skill;
use deepbend_planner::check::Rule;
use deepbend_planner::plan::{Answer, ItemKind, TripPlan};
use deepbend_planner::problem::{Angler, Candidate, Offer};
use deepbend_planner::{Budget, Crew, Left, TripProblem, Weights, check, crews, plan_trip};
use proptest::prelude::*;

const SIZE: Size = Size { rods: 5, reels: 5, lures: 8, anglers: 3 };

fn loaded(plan: &TripPlan, kind: ItemKind, id: &str) -> u32 {
    plan.loads.iter().find(|l| (l.kind, l.id.as_str()) == (kind, id)).map_or(0, |l| l.quantity)
}

/// What is left of a plan without one outfit.
fn without(p: &TripProblem, plan: &TripPlan, lost: usize) -> Vec<Crew> {
    crews(p, &Weights::default(), plan, &|outfit, offer: &Offer| {
        (outfit != lost).then(|| Left::whole(offer))
    })
}

/// The most people of a list who each get an outfit and a lure, by trying all ways.
fn most_seated(
    p: &TripProblem,
    plan: &TripPlan,
    anglers: &[String],
    segment: &str,
    free: &[usize],
    fished: &mut Vec<String>,
) -> u32 {
    let Some((first, rest)) = anglers.split_first() else { return 0 };
    let mut most = most_seated(p, plan, rest, segment, free, fished);
    for &outfit in free {
        let o = &plan.outfits[outfit];
        let same = |c: &&Candidate| (&c.rod, &c.reel, &c.line) == (&o.rod, &o.reel, &o.line);
        let c = p.candidates.iter().find(same).unwrap();
        if c.not_for.contains(first) {
            continue;
        }
        for offer in &c.offers {
            let need = &p.needs[offer.need];
            let tied = offer.leader.as_ref().is_none_or(|l| o.leaders.contains(l));
            let there = loaded(plan, ItemKind::Lure, &need.lure) as usize;
            let gone = fished.iter().filter(|l| **l == need.lure).count();
            let skill = p.anglers.iter().find(|a| a.id == *first).unwrap().skill;
            let own = offer.hands.iter().find(|hand| hand.skill == skill);
            let verdict = own.map_or(offer.verdict, |hand| hand.verdict);
            // What is worth nothing for the need is nobody's start.
            let counts = offer.worth > 0 || offer.verdict <= need.min_verdict;
            let fits = counts && offer.verdict != Verdict::Unsafe && verdict <= need.min_verdict;
            if need.segment != segment || !tied || !fits || gone >= there {
                continue;
            }
            let others: Vec<_> = free.iter().copied().filter(|f| *f != outfit).collect();
            fished.push(need.lure.clone());
            most = most.max(1 + most_seated(p, plan, rest, segment, &others, fished));
            fished.pop();
        }
    }
    most
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 200,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    // What the table of the anglers needs at once is aboard, and there is as much of it.
    #[test]
    fn what_is_loaded_is_what_is_used(seed in any::<u64>()) {
        let problem = random(seed, &SIZE);
        let answer = plan_trip(&problem, &Weights::default(), &Budget::default()).unwrap();
        prop_assume!(matches!(answer, Answer::Plan(_)));
        let plan = sound(&problem, answer);
        for start in &plan.starts {
            let same = |s: &&deepbend_planner::plan::Start| {
                (&s.segment, &s.lure) == (&start.segment, &start.lure)
            };
            let at_once = plan.starts.iter().filter(same).count() as u32;
            let aboard = loaded(&plan, ItemKind::Lure, &start.lure);
            let there = problem.lures.iter().find(|l| l.id == start.lure).unwrap().quantity;
            // One more travels than is in use, if there is one.
            prop_assert!(aboard >= (at_once + 1).min(there), "{at_once} {aboard} {there}");
        }
        for (need, cover) in problem.needs.iter().zip(&plan.coverage) {
            let there = problem.lures.iter().find(|l| l.id == need.lure).unwrap().quantity;
            let wanted = (need.copies_at_once + 1).min(there);
            let aboard = loaded(&plan, ItemKind::Lure, &need.lure);
            prop_assert!(cover.uses.is_empty() || aboard >= wanted);
        }
        for leader in &problem.leaders {
            let ties = plan.outfits.iter().filter(|o| o.leaders.contains(&leader.id));
            let ties = ties.count() as u32;
            let wanted = if ties == 0 { 0 } else { (ties + 1).min(leader.quantity) };
            prop_assert_eq!(loaded(&plan, ItemKind::Leader, &leader.id), wanted);
        }
    }

    #[test]
    fn who_is_left_without_is_counted(seed in any::<u64>(), several in any::<bool>()) {
        let problem = if several { mixed(seed, &SIZE) } else { random(seed, &SIZE) };
        let answer = plan_trip(&problem, &Weights::default(), &Budget::default()).unwrap();
        prop_assume!(matches!(answer, Answer::Plan(_)));
        let plan = sound(&problem, answer);
        let nothing = plan.outfits.len();
        for crew in without(&problem, &plan, nothing) {
            prop_assert_eq!(crew.seated, crew.anglers);
        }
        for lost in 0..plan.outfits.len() {
            let free: Vec<_> = (0..plan.outfits.len()).filter(|o| *o != lost).collect();
            for crew in without(&problem, &plan, lost) {
                let segment = problem.segments.iter().find(|s| s.id == crew.segment).unwrap();
                let all = &segment.anglers;
                let most = most_seated(&problem, &plan, all, &segment.id, &free, &mut Vec::new());
                prop_assert_eq!((crew.seated, crew.anglers), (most, all.len() as u32));
            }
        }
    }
}

/// Two people fish one lure, each with an outfit of their own.
fn two_on_one_lure() -> TripProblem {
    let mut p = empty(2);
    p.rods = vec![rod("R1", "B1"), rod("R2", "B1")];
    p.reels = vec![reel("E1", "B1"), reel("E2", "B1")];
    p.lures = vec![lure("L1", 5)];
    p.needs = vec![need("a", "L1", 3)];
    for id in ["guest", "host"] {
        p.anglers.push(Angler { id: id.into(), skill: Skill::Novice });
        p.segments[0].anglers.push(id.into());
    }
    p.candidates = vec![
        candidate("R1", "E1", vec![offer(0, Excellent)]),
        candidate("R2", "E2", vec![offer(0, Good)]),
    ];
    p
}

// Counted by hand: two in use and one to spare, though one copy is asked for.
#[test]
fn as_many_lures_travel_as_people_start_with() {
    let p = two_on_one_lure();
    let plan = sound(&p, solve(&p));
    assert_eq!(plan.starts.len(), 2);
    assert_eq!(loaded(&plan, ItemKind::Lure, "L1"), 3);
    let mut less = plan.clone();
    less.loads.iter_mut().filter(|l| l.id == "L1").for_each(|l| l.quantity = 1);
    let wrong = check(&p, &Weights::default(), &less).unwrap_err();
    assert!(wrong.iter().all(|v| v.rule == Rule::Loads) && !wrong.is_empty(), "{wrong:?}");
}

// By hand: the lure stays covered by the other outfit, but only one of the two can fish.
#[test]
fn a_loss_that_opens_no_lure_can_leave_somebody_without_an_outfit() {
    let p = two_on_one_lure();
    let plan = sound(&p, solve(&p));
    let crew = |seated| Crew { segment: "a".into(), anglers: 2, seated };
    assert_eq!(without(&p, &plan, 0), [crew(1)]);
    assert_eq!(without(&p, &plan, 9), [crew(2)]);
    // What falls below the verdict does not count either.
    let weak = crews(&p, &Weights::default(), &plan, &|outfit, offer| {
        let weak = Left { verdict: Verdict::Workable, hands: Vec::new() };
        Some(if outfit == 0 { weak } else { Left::whole(offer) })
    });
    assert_eq!(weak, [crew(1)]);
}
