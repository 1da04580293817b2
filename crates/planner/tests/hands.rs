//! A crew of several skills: each outfit counts in the hands of whoever can use it, and nobody
//! starts with what is too much for the own ones. Source of the numbers: brute force over all plans
//! and all ways to hand out the outfits, written apart from the planner; by hand where it says so.

#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

mod common;

use common::{
    Size, brute_force, candidate, empty, in_the_hands_of, lure, mixed, need, offer, reel, rod,
    solve, sound,
};
use deepbend_core::judge::Verdict::{self, Excellent, Good, Poor};
use deepbend_core::water::Skill::{self, Expert, Intermediate, Novice};
use deepbend_planner::check::Rule;
use deepbend_planner::plan::{Answer, Status};
use deepbend_planner::problem::{Angler, Hand, Offer};
use deepbend_planner::{Budget, TripProblem, Weights, check, plan_trip};
use proptest::prelude::*;

const SMALL: Size = Size { rods: 3, reels: 3, lures: 4, anglers: 3 };
const SKILLS: [Skill; 3] = [Novice, Intermediate, Expert];

fn objective(problem: &TripProblem) -> Option<i64> {
    match solve(problem) {
        Answer::Infeasible(_) => None,
        answer @ (Answer::Plan(_) | Answer::NotFound { .. }) => {
            let plan = sound(problem, answer);
            assert_eq!(plan.status, Status::Optimal);
            for start in &plan.starts {
                let angler = problem.anglers.iter().find(|a| a.id == start.angler).unwrap();
                let outfit = &plan.outfits[start.outfit];
                let named = |n: usize| {
                    (&problem.needs[n].segment, &problem.needs[n].lure)
                        == (&start.segment, &start.lure)
                };
                let mut offers = problem
                    .candidates
                    .iter()
                    .filter(|c| {
                        (&c.rod, &c.reel, &c.line) == (&outfit.rod, &outfit.reel, &outfit.line)
                    })
                    .flat_map(|c| &c.offers);
                let offer = offers.find(|o| named(o.need) && o.leader == start.leader).unwrap();
                let own = offer.hands.iter().find(|hand| hand.skill == angler.skill);
                let verdict = own.map_or(offer.verdict, |hand| hand.verdict);
                assert_eq!(verdict, start.verdict);
                assert!(verdict <= problem.needs[offer.need].min_verdict);
            }
            Some(plan.value.objective())
        }
    }
}

fn crew() -> impl Strategy<Value = Vec<(Skill, bool)>> {
    prop::collection::vec((prop::sample::select(&SKILLS[..]), any::<bool>()), 1..4)
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 400,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn a_mixed_crew_equals_brute_force(seed in any::<u64>()) {
        let problem = mixed(seed, &SMALL);
        prop_assert_eq!(objective(&problem), brute_force(&problem));
    }
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 150,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn pruning_loses_nothing_of_a_mixed_crew(seed in any::<u64>()) {
        let problem = mixed(seed, &Size { rods: 6, reels: 6, lures: 8, anglers: 3 });
        let all = Budget { prune: false, ..Budget::default() };
        let unpruned = match plan_trip(&problem, &Weights::default(), &all).unwrap() {
            Answer::Plan(plan) => Some(plan.value.objective()),
            Answer::Infeasible(_) | Answer::NotFound { .. } => None,
        };
        prop_assert_eq!(objective(&problem), unpruned);
    }

    #[test]
    fn a_more_practised_angler_lowers_no_plan(
        seed in any::<u64>(),
        mut crew in crew(),
        who in any::<prop::sample::Index>(),
        at_once in any::<bool>(),
    ) {
        let size = Size { rods: 5, reels: 5, lures: 8, anglers: 0 };
        let before = objective(&in_the_hands_of(seed, &size, &crew, at_once, 3));
        let at = who.index(crew.len());
        crew[at].0 = if crew[at].0 == Novice { Intermediate } else { Expert };
        let after = objective(&in_the_hands_of(seed, &size, &crew, at_once, 3));
        prop_assert!(after >= before, "{before:?} {after:?}");
    }

    // With as many anglers as copies, and where they take turns: to seat one more asks for an outfit.
    #[test]
    fn one_more_angler_lowers_no_plan(
        seed in any::<u64>(),
        crew in crew(),
        joins in (prop::sample::select(&SKILLS[..]), any::<bool>()),
    ) {
        let size = Size { rods: 5, reels: 5, lures: 8, anglers: 0 };
        let copies = crew.len() as u32;
        let whole = |crew: &[(Skill, bool)]| in_the_hands_of(seed, &size, crew, false, copies);
        let more = [&crew[..], &[joins]].concat();
        let (before, after) = (objective(&whole(&crew)), objective(&whole(&more)));
        prop_assert!(after >= before, "{before:?} {after:?}");
    }
}

/// What one outfit is for a lure in three hands; it counts in those of the most practised.
fn in_hands(need: usize, novice: Verdict, expert: Verdict) -> Offer {
    let hand = Hand { skill: Novice, verdict: novice, score: offer(need, novice).score };
    Offer { skill: Some(Expert), hands: vec![hand], ..offer(need, expert) }
}

/// Two outfits for two lures, each lure once: the guest is a beginner.
fn guest_and_host(offers: [[Offer; 2]; 2]) -> TripProblem {
    let mut p = empty(2);
    p.rods = vec![rod("R1", "B1"), rod("R2", "B1")];
    p.reels = vec![reel("E1", "B1"), reel("E2", "B1")];
    p.lures = vec![lure("L1", 1), lure("L2", 1)];
    p.needs = vec![need("a", "L1", 3), need("a", "L2", 1)];
    for (id, skill) in [("guest", Novice), ("host", Expert)] {
        p.anglers.push(Angler { id: id.into(), skill });
        p.segments[0].anglers.push(id.into());
    }
    let [one, other] = offers;
    p.candidates = vec![candidate("R1", "E1", one.into()), candidate("R2", "E2", other.into())];
    p
}

// By hand: R1 is too hard for the guest with either lure, R2 is not.
#[test]
fn who_starts_with_what_goes_by_the_own_hands() {
    let hard = [in_hands(0, Poor, Excellent), in_hands(1, Poor, Good)];
    let easy = [in_hands(0, Good, Excellent), in_hands(1, Good, Good)];
    let p = guest_and_host([hard, easy]);
    let plan = sound(&p, solve(&p));
    let start = |id: &str| plan.starts.iter().find(|s| s.angler == id).unwrap();
    assert_eq!((start("guest").outfit, start("guest").verdict), (1, Good));
    assert_eq!(start("host").outfit, 0);
    // For whom it is as good as it says.
    let cover = &plan.coverage[0];
    let of = |outfit| cover.uses.iter().find(|used| used.outfit == outfit).unwrap();
    assert_eq!((of(0).skill, &of(0).anglers[..]), (Some(Expert), &["host".to_owned()][..]));
    assert!(cover.covered);

    // Handed out the other way round it is no plan.
    let mut turned = plan.clone();
    for start in &mut turned.starts {
        start.outfit = 1 - start.outfit;
    }
    let wrong = check(&p, &Weights::default(), &turned).unwrap_err();
    assert!(wrong.iter().any(|v| v.rule == Rule::Anglers), "{wrong:?}");
}

// By hand: either outfit suits the guest, but with L1 alone, which is there once; so it does for the
// second beginner.
#[test]
fn two_beginners_cannot_share_the_one_lure_that_suits_them() {
    let both = || [in_hands(0, Good, Good), in_hands(1, Poor, Good)];
    let mut p = guest_and_host([both(), both()]);
    sound(&p, solve(&p));
    p.anglers[1].skill = Novice;
    assert!(matches!(solve(&p), Answer::Infeasible(_)));
}

// By hand: three outfits, three lures, each there once. The flow that forgets whose hands an outfit
// is in seats all three; no way to hand them out does, for both who are no beginners need L3.
#[test]
fn what_only_trying_out_can_tell_is_told() {
    let skills = [Novice, Intermediate, Expert];
    let fits = |need: usize, who: [bool; 3]| {
        let verdict = |skill: Skill| if who[skill as usize] { Good } else { Poor };
        let hand = |skill| Hand { skill, verdict: verdict(skill), score: 0.5 };
        Offer {
            skill: Some(Expert),
            hands: vec![hand(Novice), hand(Intermediate), hand(Expert)],
            ..offer(need, Good)
        }
    };
    let mut p = empty(3);
    for i in 1..=3 {
        p.rods.push(rod(&format!("R{i}"), "B1"));
        p.reels.push(reel(&format!("E{i}"), "B1"));
        p.lures.push(lure(&format!("L{i}"), 1));
        p.needs.push(need("a", &format!("L{i}"), 1));
        let id = format!("A{i}");
        p.segments[0].anglers.push(id.clone());
        p.anglers.push(Angler { id, skill: skills[i - 1] });
        // L1 and L2 suit the beginner alone, L3 suits the others.
        p.candidates.push(candidate(
            &format!("R{i}"),
            &format!("E{i}"),
            vec![
                fits(0, [true, false, false]),
                fits(1, [true, false, false]),
                fits(2, [false, true, true]),
            ],
        ));
    }
    assert!(matches!(solve(&p), Answer::Infeasible(_)));
    p.lures[2].quantity = 2;
    sound(&p, solve(&p));
}
