//! Shared parts, stock, lockers, room. Source: common practice, no source.

#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

mod common;

use std::ops::ControlFlow;
use std::time::Duration;

use common::{candidate, empty, fleet, lure, need, offer, reel, rod, solve, sound};
use deepbend_core::gear::Handle;
use deepbend_core::judge::Verdict::{Excellent, Good, Unsafe, Workable};
use deepbend_core::water::Skill;
use deepbend_planner::check::Rule;
use deepbend_planner::plan::{
    Answer, AshoreReason, Constraint, ItemKind, JobKind, Role, Status, UncoveredReason,
};
use deepbend_planner::problem::{
    Angler, LeaderStock, LineOption, LineStock, Pin, Segment, StockUse,
};
use deepbend_planner::{
    Budget, Progress, TripProblem, Weights, check, plan_trip, plan_trip_watched,
};

/// Two rods for two lures.
fn two() -> TripProblem {
    let mut p = empty(3);
    p.lures = vec![lure("L1", 3), lure("L2", 3)];
    p.needs = vec![need("a", "L1", 3), need("a", "L2", 2)];
    p.rods = vec![rod("R1", "B1"), rod("R2", "B1")];
    p.reels = vec![reel("E1", "B1"), reel("E2", "B1")];
    p
}

#[test]
fn one_reel_serves_one_rod() {
    let mut p = two();
    p.candidates = vec![
        candidate("R1", "E1", vec![offer(0, Excellent)]),
        candidate("R2", "E1", vec![offer(1, Excellent)]),
    ];
    let plan = sound(&p, solve(&p));
    assert_eq!(plan.outfits.len(), 1);
    assert_eq!(plan.outfits[0].rod, "R1");
    assert_eq!(plan.uncovered[0].reason, UncoveredReason::ReelShared);
    let ashore: Vec<_> = plan.ashore.iter().map(|a| (a.id.as_str(), a.reason)).collect();
    let expected = [("R2", AshoreReason::PartnerUsed), ("E2", AshoreReason::CoversNothing)];
    assert_eq!(ashore, expected);
}

#[test]
fn an_unsafe_offer_is_never_used() {
    let mut p = two();
    let mut fine_on_paper = offer(0, Unsafe);
    fine_on_paper.worth = 1_000_000;
    p.candidates = vec![candidate("R1", "E1", vec![fine_on_paper])];
    let plan = sound(&p, solve(&p));
    assert!(plan.outfits.is_empty());
    assert_eq!(plan.uncovered[0].reason, UncoveredReason::NoOffer);
}

#[test]
fn a_rod_in_two_pieces_fits_a_locker_of_half_its_length() {
    let mut p = two();
    p.boat.locker_length_m = Some(1.1);
    p.candidates = vec![
        candidate("R1", "E1", vec![offer(0, Excellent)]),
        candidate("R2", "E2", vec![offer(1, Excellent)]),
    ];
    p.rods[1].pieces = 1;
    let plan = sound(&p, solve(&p));
    assert_eq!(plan.outfits.len(), 1);
    assert_eq!(plan.outfits[0].rod, "R1");
    assert_eq!(plan.ashore[0].reason, AshoreReason::Locker);
}

#[test]
fn holders_and_room_aboard_both_bind() {
    let mut p = two();
    p.candidates = vec![
        candidate("R1", "E1", vec![offer(0, Good)]),
        candidate("R2", "E2", vec![offer(1, Excellent)]),
    ];
    for (holders, aboard) in [(1, 5), (5, 1)] {
        p.boat.rod_holders = holders;
        p.boat.max_rods_aboard = aboard;
        let plan = sound(&p, solve(&p));
        assert_eq!(plan.outfits.len(), 1);
        assert_eq!(plan.outfits[0].rod, "R1", "the must goes first");
        assert_eq!(plan.uncovered[0].reason, UncoveredReason::NoHolder);
        assert_eq!(plan.ashore[0].reason, AshoreReason::NoHolder);
    }
}

#[test]
fn copies_ask_for_distinct_outfits_and_enough_lures() {
    let mut p = two();
    p.needs[0].copies_at_once = 2;
    p.candidates = vec![
        candidate("R1", "E1", vec![offer(0, Excellent)]),
        candidate("R2", "E2", vec![offer(0, Good)]),
    ];
    let plan = sound(&p, solve(&p));
    assert!(plan.coverage[0].covered);
    assert!(plan.coverage[0].uses.iter().all(|u| u.role == Role::Fishes));
    // 3 x (0.6 x 1 + 0.4 x 0.85), by hand.
    assert_eq!(plan.value.coverage, 2_820_000);
    p.lures[0].quantity = 1;
    let plan = sound(&p, solve(&p));
    assert_eq!(plan.uncovered[0].reason, UncoveredReason::LureMissing);
    assert_eq!(plan.value.coverage, 1_800_000);
    // By hand: the second outfit comes along for another lure and would do, but there is one lure.
    p.candidates[1].offers.push(offer(1, Excellent));
    let plan = sound(&p, solve(&p));
    assert_eq!(plan.outfits.len(), 2);
    assert_eq!((plan.uncovered[0].met, plan.uncovered[0].copies), (1, 2));
}

#[test]
fn leaders_last_as_long_as_the_stock() {
    let mut p = two();
    p.leaders = vec![LeaderStock {
        id: "K1".into(),
        place: "B2".into(),
        quantity: 1,
        minutes: 8,
        is_ample: false,
    }];
    for (n, (rod, reel)) in [("R1", "E1"), ("R2", "E2")].into_iter().enumerate() {
        let mut o = offer(n, Excellent);
        o.leader = Some("K1".into());
        p.candidates.push(candidate(rod, reel, vec![o]));
    }
    let plan = sound(&p, solve(&p));
    assert_eq!(plan.outfits.len(), 1);
    assert_eq!(plan.uncovered[0].reason, UncoveredReason::StockUsedUp);
    assert_eq!(plan.jobs[0].kind, JobKind::Leader);
    assert_eq!((plan.moves[0].kind, plan.moves[0].quantity), (ItemKind::Leader, 1));
    p.leaders[0].quantity = 5;
    let plan = sound(&p, solve(&p));
    assert_eq!((plan.outfits.len(), plan.moves[0].quantity), (2, 3));
}

#[test]
fn a_respool_counts_minutes_and_metres() {
    let mut p = two();
    p.line_stock = vec![LineStock { id: "K2".into(), place: "S0".into(), metres: 200 }];
    for (reel, n) in [("E1", 0), ("E2", 1)] {
        let taken = Some(StockUse { stock: "K2".into(), metres: 150 });
        let line = LineOption { id: "K2".into(), stock: taken, minutes: 10 };
        p.reels[n].lines.push(line);
        let mut c = candidate(["R1", "R2"][n], reel, vec![offer(n, Excellent)]);
        c.line = "K2".into();
        p.candidates.push(c);
    }
    p.job_minutes_budget = 4;
    let plan = sound(&p, solve(&p));
    assert_eq!(plan.outfits.len(), 1, "the line is enough for one reel");
    assert_eq!(plan.moves[0].quantity, 150);
    assert_eq!((plan.value.moves, plan.value.overtime), (10_000, 6 * 30_000));
    assert_eq!(plan.uncovered[0].reason, UncoveredReason::StockUsedUp);
}

#[test]
fn moves_are_made_when_they_are_worth_it() {
    let mut p = two();
    p.rods[0].place = "B2".into();
    p.lures[0].place = "B2".into();
    p.candidates = vec![
        candidate("R1", "E1", vec![offer(0, Excellent)]),
        candidate("R2", "E2", vec![offer(0, Good), offer(1, Good)]),
    ];
    // R1 lifts L1 from 0.85 to 0.92 + 0.08 x 0.85: 3 x 0.138 + 3 x 0.068 > 0.25 of the move.
    let plan = sound(&p, solve(&p));
    assert_eq!(plan.outfits.len(), 2);
    let moved: Vec<_> = plan.moves.iter().map(|m| (m.kind, m.quantity)).collect();
    assert_eq!(moved, [(ItemKind::Rod, 1), (ItemKind::Lure, 2)]);
    assert_eq!(plan.value.moves, 275_000);
    p.needs[0].importance = 1;
    let plan = sound(&p, solve(&p));
    assert_eq!(plan.outfits.len(), 1);
    assert_eq!(plan.ashore[0].reason, AshoreReason::AddsTooLittle);
}

#[test]
fn the_better_twin_goes() {
    let mut p = two();
    p.rods[0].place = "B2".into();
    p.candidates = vec![
        candidate("R1", "E1", vec![offer(0, Good)]),
        candidate("R2", "E1", vec![offer(0, Good)]),
    ];
    let plan = sound(&p, solve(&p));
    assert_eq!(plan.outfits[0].rod, "R2", "it lies aboard");
    p.rods[0].place = "B1".into();
    let plan = sound(&p, solve(&p));
    assert_eq!(plan.outfits[0].rod, "R1", "equals go by id");
    let twin = plan.ashore.iter().find(|a| a.id == "R2").unwrap();
    assert_eq!(twin.reason, AshoreReason::Dominated);
    p.candidates[1].habit = true;
    let plan = sound(&p, solve(&p));
    assert_eq!(plan.outfits[0].rod, "R2", "equals go by habit first");
}

// From memory: of plans that are worth the same the one is taken that leaves reels where they were.
#[test]
fn reels_stay_where_they_were() {
    let mut p = two();
    let all = [("R1", "E1"), ("R1", "E2"), ("R2", "E1"), ("R2", "E2")];
    p.candidates =
        all.map(|(rod, reel)| candidate(rod, reel, vec![offer(0, Good), offer(1, Good)])).to_vec();
    let pairs = |p: &TripProblem| {
        let plan = sound(p, solve(p));
        plan.outfits.iter().map(|o| format!("{}+{}", o.rod, o.reel)).collect::<Vec<_>>()
    };
    p.needs.iter_mut().for_each(|need| need.copies_at_once = 2);
    p.lures.iter_mut().for_each(|lure| lure.quantity = 2);
    assert_eq!(pairs(&p), ["R1+E1", "R2+E2"]);
    for at in [1, 2] {
        p.candidates[at].habit = true;
        assert_eq!(pairs(&p), ["R1+E2", "R2+E1"]);
    }
}

#[test]
fn an_outfit_must_suit_its_angler() {
    let mut p = two();
    p.anglers = vec![
        Angler { id: "guest".into(), skill: Skill::Novice },
        Angler { id: "old hand".into(), skill: Skill::Intermediate },
    ];
    p.segments[0].anglers = vec!["old hand".into(), "guest".into()];
    p.candidates = vec![
        candidate("R1", "E1", vec![offer(0, Good)]),
        candidate("R2", "E2", vec![offer(1, Good)]),
    ];
    p.candidates[1].not_for = vec!["guest".into()];
    let plan = sound(&p, solve(&p));
    let seats: Vec<_> = plan.starts.iter().map(|s| (s.angler.as_str(), s.lure.as_str())).collect();
    assert_eq!(seats, [("guest", "L1"), ("old hand", "L2")]);
    p.candidates[0].not_for = vec!["guest".into()];
    let Answer::Infeasible(clash) = solve(&p) else { panic!() };
    let anglers = Constraint::AnglersAtOnce { boat: "B1".into(), segment: "a".into() };
    assert_eq!(clash.constraints, [anglers.clone(), Constraint::AnglerSuits]);
    p.candidates[0].not_for.clear();
    p.boat.rod_holders = 1;
    let Answer::Infeasible(clash) = solve(&p) else { panic!() };
    assert_eq!(clash.constraints, [anglers, Constraint::RodLimit]);
}

#[test]
fn one_lure_is_not_fished_by_two() {
    let mut p = two();
    p.boat.rod_holders = 2;
    p.lures[0].quantity = 1;
    p.needs[1].importance = 1;
    p.needs[1].min_verdict = Workable;
    p.rods.push(rod("R3", "B2"));
    p.reels.push(reel("E3", "B2"));
    p.candidates = vec![
        candidate("R1", "E1", vec![offer(0, Excellent)]),
        candidate("R2", "E2", vec![offer(0, Excellent)]),
        candidate("R3", "E3", vec![offer(1, Workable)]),
    ];
    let rods = |p: &TripProblem| {
        let plan = sound(p, solve(p));
        assert_eq!(plan.status, Status::Optimal);
        plan.outfits.iter().map(|o| o.rod.clone()).collect::<Vec<_>>()
    };
    assert_eq!(rods(&p), ["R1", "R2"], "the second lure is not worth the move");
    for id in ["guest", "host"] {
        p.anglers.push(Angler { id: id.into(), skill: Skill::Novice });
        p.segments[0].anglers.push(id.into());
    }
    assert_eq!(rods(&p), ["R1", "R3"], "both are to fish, and there is one of the first lure");
}

#[test]
fn all_segments_together_may_ask_for_too_much() {
    let mut p = two();
    p.needs[1].segment = "b".into();
    p.segments.push(Segment { id: "b".into(), anglers: Vec::new(), turns: Vec::new() });
    p.anglers.push(Angler { id: "guest".into(), skill: Skill::Novice });
    for segment in &mut p.segments {
        segment.anglers.push("guest".into());
    }
    p.candidates = vec![
        candidate("R1", "E1", vec![offer(0, Good)]),
        candidate("R2", "E2", vec![offer(1, Good)]),
    ];
    p.boat.max_rods_aboard = 1;
    let Answer::Infeasible(clash) = solve(&p) else { panic!() };
    let anglers = |id: &str| Constraint::AnglersAtOnce { boat: "B1".into(), segment: id.into() };
    assert_eq!(clash.constraints, [anglers("a"), anglers("b"), Constraint::RodLimit]);
}

#[test]
fn a_leader_that_is_not_worth_tying_is_said_to_be_so() {
    let mut p = two();
    p.leaders = vec![LeaderStock {
        id: "K1".into(),
        place: "B1".into(),
        quantity: 3,
        minutes: 40,
        is_ample: false,
    }];
    let mut o = offer(1, Good);
    o.leader = Some("K1".into());
    p.needs[1].importance = 1;
    p.job_minutes_budget = 0;
    p.candidates = vec![candidate("R1", "E1", vec![offer(0, Good), o])];
    let plan = sound(&p, solve(&p));
    assert_eq!(plan.uncovered[0].lure, "L2");
    assert_eq!(plan.uncovered[0].reason, UncoveredReason::NotWorthIt);
}

#[test]
fn faults_are_named_with_their_fields() {
    let mut p = two();
    p.candidates = vec![candidate("R9", "E1", vec![offer(7, Good)])];
    p.rods[0].length_m = f64::NAN;
    p.needs[1].importance = 9;
    p.reels[0].place = "nowhere".into();
    let faults = plan_trip(&p, &Weights::default(), &Budget::default()).unwrap_err();
    let fields: Vec<_> = faults.0.iter().map(|f| f.field.as_str()).collect();
    let expected = [
        "rods[0].length_m",
        "reels[0].place",
        "needs[1].importance",
        "candidates[0].rod",
        "candidates[0].offers[0].need",
    ];
    assert_eq!(fields, expected);
}

#[test]
fn the_checker_finds_what_is_wrong() {
    let mut p = two();
    p.rods[0].place = "B2".into();
    p.candidates = vec![
        candidate("R1", "E1", vec![offer(0, Excellent)]),
        candidate("R2", "E2", vec![offer(0, Workable), offer(1, Good)]),
    ];
    let plan = sound(&p, solve(&p));
    let rules = |p: &TripProblem, change: &dyn Fn(&mut deepbend_planner::TripPlan)| {
        let mut plan = plan.clone();
        change(&mut plan);
        let wrong = check(p, &Weights::default(), &plan).unwrap_err();
        wrong.iter().map(|v| v.rule).collect::<Vec<_>>()
    };
    assert!(rules(&p, &|plan| plan.value.coverage += 1).contains(&Rule::Value));
    assert!(rules(&p, &|plan| plan.bound -= 1).contains(&Rule::Value));
    assert!(rules(&p, &|plan| plan.moves.clear()).contains(&Rule::Moves));
    assert!(rules(&p, &|plan| plan.outfits[1].reel = "E1".into()).contains(&Rule::Unknown));
    assert!(rules(&p, &|plan| plan.coverage[0].covered = false).contains(&Rule::Coverage));
    assert!(rules(&p, &|plan| plan.coverage[1].uses[0].outfit = 0).contains(&Rule::Offer));
    let same = |plan: &mut deepbend_planner::TripPlan| plan.counts.nodes = 0;
    let mut other = p.clone();
    other.boat.rod_holders = 1;
    assert!(rules(&other, &same).contains(&Rule::RodLimit));
    other = p.clone();
    other.rods[0].ready = false;
    assert!(rules(&other, &same).contains(&Rule::NotReady));
    other = p.clone();
    other.rods[0].handle = Handle::Casting;
    assert!(rules(&other, &same).contains(&Rule::Handle));
    other = p.clone();
    other.boat.locker_length_m = Some(1.0);
    assert!(rules(&other, &same).contains(&Rule::Locker));
}

#[test]
fn a_fleet_of_the_usual_size_is_solved_to_the_end() {
    let p = fleet(1, 24, 14, 15);
    assert!(p.candidates.len() > 150);
    let plan = sound(&p, solve(&p));
    assert_eq!(plan.status, Status::Optimal);
    assert_eq!(plan.outfits.len(), 8);
}

#[test]
fn pins_are_kept_by_name() {
    let mut p = two();
    p.candidates = vec![
        candidate("R1", "E1", vec![offer(0, Excellent)]),
        candidate("R1", "E2", vec![offer(0, Good)]),
        candidate("R2", "E1", vec![offer(0, Workable)]),
        candidate("R2", "E2", vec![offer(0, Workable)]),
    ];
    p.needs.truncate(1);
    let rods = |p: &TripProblem| -> Vec<String> {
        let plan = sound(p, solve(p));
        assert_eq!(plan.status, Status::Optimal);
        plan.outfits.into_iter().map(|o| o.rod + &o.reel).collect()
    };
    let item = |kind, id: &str| (kind, id.to_owned());
    let take = |(kind, id)| Pin::Take { kind, id };
    let leave = |(kind, id)| Pin::Leave { kind, id };
    assert_eq!(rods(&p), ["R1E1", "R2E2"]);
    p.pins = vec![leave(item(ItemKind::Rod, "R2"))];
    assert_eq!(rods(&p), ["R1E1"]);
    p.pins = vec![leave(item(ItemKind::Reel, "E1"))];
    assert_eq!(rods(&p), ["R1E2"]);
    p.pins = vec![Pin::Pair { rod: "R2".into(), reel: "E1".into() }];
    assert_eq!(rods(&p), ["R1E2", "R2E1"]);
    p.boat.rod_holders = 1;
    p.pins = vec![take(item(ItemKind::Rod, "R2")), take(item(ItemKind::Reel, "E2"))];
    assert_eq!(rods(&p), ["R2E2"]);
    // Workable is below the verdict: the pin to cover the lure clashes with the pin of the rod.
    let hold = Pin::Hold { segment: "a".into(), lure: "L1".into() };
    p.pins = vec![take(item(ItemKind::Rod, "R2")), hold.clone()];
    let Answer::Infeasible(clash) = solve(&p) else { panic!() };
    let pinned = |pin| Constraint::Pinned { boat: "B1".into(), pin };
    let by_hand = [pinned(hold), pinned(take(item(ItemKind::Rod, "R2"))), Constraint::RodLimit];
    let mut named = clash.constraints;
    named.sort();
    let mut expected = by_hand.to_vec();
    expected.push(Constraint::MinVerdict);
    expected.sort();
    assert_eq!(named, expected, "{}", clash.text);
    p.pins.push(take(item(ItemKind::Lure, "L1")));
    p.pins.push(Pin::Pair { rod: "R9".into(), reel: "E1".into() });
    let faults = plan_trip(&p, &Weights::default(), &Budget::default()).unwrap_err().0;
    let fields: Vec<_> = faults.iter().map(|f| f.field.as_str()).collect();
    assert_eq!(fields, ["pins[2]", "pins[3]"]);
}

#[test]
fn the_checker_sees_a_broken_pin() {
    let mut p = two();
    p.candidates = vec![candidate("R1", "E1", vec![offer(0, Excellent)])];
    let plan = sound(&p, solve(&p));
    let pins = [
        Pin::Leave { kind: ItemKind::Rod, id: "R1".into() },
        Pin::Take { kind: ItemKind::Reel, id: "E2".into() },
        Pin::Pair { rod: "R1".into(), reel: "E2".into() },
        Pin::Hold { segment: "a".into(), lure: "L2".into() },
    ];
    for pin in pins {
        p.pins = vec![pin];
        let wrong = check(&p, &Weights::default(), &plan).unwrap_err();
        let rules: Vec<_> = wrong.iter().map(|v| v.rule).collect();
        assert_eq!(rules, [Rule::Pin], "{:?}", p.pins);
    }
}

#[test]
fn what_is_not_ready_is_named_in_the_answer() {
    let mut p = two();
    p.candidates = vec![
        candidate("R1", "E1", vec![offer(0, Workable)]),
        candidate("R2", "E2", vec![offer(0, Excellent)]),
    ];
    p.needs.truncate(1);
    p.reels[1].ready = false;
    let plan = sound(&p, solve(&p));
    let barred = plan.uncovered[0].not_ready.as_ref().unwrap();
    assert_eq!((barred.offer.rod.as_str(), barred.offer.verdict), ("R2", Excellent));
    assert_eq!(barred.text, "R2 with E2 would be excellent, but E2 is not ready.");
}

// By hand: a rod of 2.2 m in one piece is longer than a locker of 1.95 m, ready or not; of several
// reasons that could bar an outfit the one that does is named.
#[test]
fn why_an_outfit_stays_ashore_is_one_reason() {
    let told = |damage: fn(&mut TripProblem)| {
        let mut p = two();
        p.needs.truncate(1);
        p.candidates = vec![candidate("R1", "E1", vec![offer(0, Good)])];
        (p.rods[0].length_m, p.rods[0].pieces) = (2.2, 1);
        damage(&mut p);
        let plan = sound(&p, solve(&p));
        let open = plan.uncovered[0].clone();
        assert!(open.best_in_pool.is_none());
        (open.text, open.not_ready.is_some())
    };
    let begin = "Nothing that may be taken fishes L1; R1 with E1 would be good, but ";
    let unready = told(|p| p.rods[0].ready = false);
    assert_eq!(unready, (format!("{begin}R1 is not ready."), true));
    let (text, is_unready) = told(|p| {
        p.boat.locker_length_m = Some(1.95);
        p.rods[0].ready = false;
    });
    assert!(text.starts_with(&format!("{begin}R1 packed is 2.20 m")) && !is_unready, "{text}");
    assert!(text.contains("the locker takes 1.95 m"), "{text}");
    let leave = told(|p| p.pins = vec![Pin::Leave { kind: ItemKind::Rod, id: "R1".into() }]);
    assert_eq!(leave, (format!("{begin}R1 is to stay ashore."), false));
    let pair = told(|p| p.pins = vec![Pin::Pair { rod: "R1".into(), reel: "E2".into() }]);
    assert_eq!(pair, (format!("{begin}R1 is to carry E2 and nothing else."), false));
    let dry = told(|p| {
        let stock = Some(StockUse { stock: "K1".into(), metres: 100 });
        p.reels[0].lines = vec![LineOption { id: "K1".into(), stock, minutes: 20 }];
        p.line_stock = vec![LineStock { id: "K1".into(), place: "B1".into(), metres: 99 }];
        p.candidates[0].line = "K1".into();
    });
    assert_eq!(dry, (format!("{begin}there is too little line of K1."), false));
}

// Common practice, no source: the clock may end a search, never spoil its answer.
#[test]
fn a_search_without_time_answers_with_plan_and_bound() {
    let p = fleet(3, 30, 20, 40);
    let ask = |_: &Progress| ControlFlow::Continue(Some(Duration::ZERO));
    let weights = Weights::default();
    let cut = plan_trip_watched(&p, &weights, &Budget::default(), &ask).unwrap();
    let cut = sound(&p, cut);
    let whole = sound(&p, solve(&p));
    assert_eq!(whole.status, Status::Optimal);
    assert!(cut.value.objective() <= whole.value.objective());
    assert!(cut.bound >= whole.value.objective());
    assert!(cut.gap() < 0.05, "{}", cut.gap());
    assert!(cut.cut || cut.status == Status::Optimal);
    assert!(!whole.cut);
}
