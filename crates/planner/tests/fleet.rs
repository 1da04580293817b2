//! Several boats over one pool. Source of the numbers: brute force over all pairs of plans, written
//! apart from the planner; other rules: common practice, no source.

#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

mod common;

use std::collections::BTreeMap;

use common::{Dice, Size, Used, candidate, empty, every_plan, lure, mixed, need, offer, place};
use common::{random, reel, rod, with_leaders};
use deepbend_core::judge::Verdict::{Excellent, Good};
use deepbend_core::water::Skill;
use deepbend_planner::check::Rule;
use deepbend_planner::departure::BeforeDeparture;
use deepbend_planner::fleet::{FleetTrip, Idle, LeftOut};
use deepbend_planner::plan::{AshoreReason, Constraint, ItemKind, Start, Status, UncoveredReason};
use deepbend_planner::problem::{
    Angler, Candidate, LeaderStock, LineOption, LineStock, LureStock, Offer, Pin, Reel, Segment,
    StockUse,
};
use deepbend_planner::rewrite::Decisions;
use deepbend_planner::{
    Budget, FleetAnswer, FleetPlan, FleetProblem, TripProblem, Weights, check_fleet, plan_fleet,
};
use proptest::prelude::*;

fn fleet(trips: Vec<TripProblem>) -> FleetProblem {
    let trips = trips.into_iter().map(|problem| FleetTrip { departs: None, problem });
    FleetProblem { trips: trips.collect() }
}

fn answer(problem: &FleetProblem) -> FleetAnswer {
    plan_fleet(problem, &Weights::default(), &Budget::default()).unwrap()
}

fn sound(problem: &FleetProblem, answer: FleetAnswer) -> FleetPlan {
    let FleetAnswer::Plan(plan) = answer else { panic!("no plan: {answer:?}") };
    if let Err(wrong) = check_fleet(problem, &Weights::default(), &plan) {
        panic!("{wrong:?}\n{plan:?}");
    }
    *plan
}

/// The same pool seen from another boat.
fn from_b2(first: &TripProblem) -> TripProblem {
    let mut p = first.clone();
    p.boat.place = "B2".into();
    p.places = vec![place("B1", 250_000), place("B2", 0), place("S0", 100_000)];
    p
}

/// Two boats with needs of their own.
fn two_boats(seed: u64) -> FleetProblem {
    let size = Size { rods: 3, reels: 2, lures: 3, anglers: 1 };
    let first = random(seed, &size);
    let mut second = from_b2(&first);
    let mut d = Dice(seed ^ 0xb0a7);
    for need in &mut second.needs {
        need.importance = 1 + d.roll(3) as u32;
    }
    second.candidates.iter_mut().for_each(|c| {
        c.offers.iter_mut().filter(|_| d.one_in(2)).for_each(|o| *o = offer(o.need, Good));
        let mut seen = Vec::new();
        c.offers.retain(|o| {
            let new = !seen.contains(&(o.need, o.leader.clone()));
            seen.push((o.need, o.leader.clone()));
            new
        });
    });
    fleet(vec![first, second])
}

/// Two boats whose crews fish at once; often too many for the gear.
fn crewed(seed: u64) -> FleetProblem {
    let size = Size { rods: 3, reels: 3, lures: 3, anglers: 3 };
    let first = mixed(seed, &size);
    let second = from_b2(&first);
    fleet(vec![first, second])
}

/// An answer as to the trips in the opposite order.
fn turned_back(answer: FleetAnswer) -> FleetAnswer {
    let last = |plan: &FleetPlan| plan.trips.len() - 1;
    let plan = |mut plan: FleetPlan| {
        let last = last(&plan);
        plan.trips.reverse();
        plan.shares.reverse();
        plan.decisions.reverse();
        plan.moves.iter_mut().for_each(|step| step.trip = last - step.trip);
        plan.moves.sort_by_key(|step| step.trip);
        plan
    };
    let left_out = |mut left: LeftOut| {
        let last = last(&left.plan);
        left.idle.iter_mut().for_each(|idle| idle.trip = last - idle.trip);
        left.pins.iter_mut().for_each(|(trip, _)| *trip = last - *trip);
        left.problem.trips.reverse();
        LeftOut { plan: plan(left.plan), ..left }
    };
    match answer {
        FleetAnswer::Plan(found) => FleetAnswer::Plan(Box::new(plan(*found))),
        FleetAnswer::Infeasible(mut no) => {
            no.best = no.best.map(left_out);
            FleetAnswer::Infeasible(no)
        }
        FleetAnswer::NotFound { .. } => panic!("{answer:?}"),
    }
}

/// Turns all lists round whose order says nothing: all but the segments.
fn turn_lists(p: &mut TripProblem) {
    p.rods.reverse();
    p.reels.reverse();
    p.reels.iter_mut().for_each(|reel| reel.lines.reverse());
    p.leaders.reverse();
    p.line_stock.reverse();
    p.lures.reverse();
    p.places.reverse();
    p.anglers.reverse();
    p.segments.iter_mut().for_each(|segment| segment.anglers.reverse());
    p.pins.reverse();
    p.needs.reverse();
    p.candidates.reverse();
    for candidate in &mut p.candidates {
        candidate.not_for.reverse();
        candidate.offers.reverse();
        candidate.offers.iter_mut().for_each(|o| o.need = p.needs.len() - 1 - o.need);
    }
}

/// What an answer decides, and who starts with what.
fn choices(answer: &FleetAnswer) -> (Vec<Decisions>, Vec<Vec<Start>>, Vec<Idle>) {
    let of = |plan: &FleetPlan| -> (Vec<Decisions>, Vec<Vec<Start>>) {
        let mut decisions = plan.decisions.clone();
        decisions.iter_mut().flat_map(|d| &mut d.outfits).for_each(|o| o.leaders.sort_unstable());
        let mut starts: Vec<_> = plan.trips.iter().map(|trip| trip.starts.clone()).collect();
        let key = |start: &Start| (start.segment.clone(), start.angler.clone());
        starts.iter_mut().for_each(|of_trip| of_trip.sort_by_key(key));
        (decisions, starts)
    };
    match answer {
        FleetAnswer::Plan(plan) => {
            let (decisions, starts) = of(plan);
            (decisions, starts, Vec::new())
        }
        FleetAnswer::Infeasible(no) => {
            let best = no.best.as_ref().unwrap();
            let (decisions, starts) = of(&best.plan);
            (decisions, starts, best.idle.clone())
        }
        FleetAnswer::NotFound { .. } => panic!("{answer:?}"),
    }
}

/// A third boat over the same pool.
fn three_boats(seed: u64) -> FleetProblem {
    let size = Size { rods: 2, reels: 2, lures: 2, anglers: 1 };
    let first = random(seed, &size);
    let mut third = from_b2(&first);
    third.boat.place = "B3".into();
    third.boat.rod_holders = 1;
    let places = [("B1", 250_000), ("B2", 250_000), ("B3", 0), ("S0", 100_000)];
    third.places = places.map(|(id, cost)| place(id, cost)).into();
    let mut d = Dice(seed ^ 0x3b0a7);
    third.needs.iter_mut().for_each(|need| need.importance = 1 + d.roll(3) as u32);
    let mut problem = fleet(vec![first.clone(), from_b2(&first), third]);
    for trip in &mut problem.trips {
        trip.departs = Some(5 * 60 + 15 * d.roll(12) as u32);
    }
    problem
}

/// Lures and leaders that do not suffice for all boats: each is there once or twice, and most of
/// what outfits do asks for a leader.
fn scarce(mut problem: FleetProblem, seed: u64) -> FleetProblem {
    let mut d = Dice(seed ^ 0x5ca8ce);
    let first = &problem.trips[0].problem;
    let many = |d: &mut Dice| 1 + u32::from(d.one_in(3));
    // Fewer than there are boats.
    let fewer = problem.trips.len() as u64 - 1;
    let lures: Vec<u32> = first.lures.iter().map(|_| 1 + d.roll(fewer) as u32).collect();
    let leaders: Vec<u32> = first.leaders.iter().map(|_| many(&mut d)).collect();
    for trip in &mut problem.trips {
        let p = &mut trip.problem;
        p.lures.iter_mut().zip(&lures).for_each(|(lure, many)| lure.quantity = *many);
        p.leaders.iter_mut().zip(&leaders).for_each(|(leader, many)| leader.quantity = *many);
        p.needs.iter_mut().for_each(|need| need.copies_at_once = many(&mut d));
        for candidate in &mut p.candidates {
            candidate.offers.retain(|o| o.leader.is_some() || d.one_in(3));
        }
    }
    problem
}

/// Pins at random, of rods and reels.
fn pinned(mut problem: FleetProblem, seed: u64) -> FleetProblem {
    let mut d = Dice(seed ^ 0x71_45);
    for trip in &mut problem.trips {
        let p = &mut trip.problem;
        let rod = p.rods[d.roll(p.rods.len() as u64) as usize].id.clone();
        let reel = p.reels[d.roll(p.reels.len() as u64) as usize].id.clone();
        let need = &p.needs[d.roll(p.needs.len() as u64) as usize];
        let hold = Pin::Hold { segment: need.segment.clone(), lure: need.lure.clone() };
        p.pins = match d.roll(7) {
            0 => vec![Pin::Take { kind: ItemKind::Rod, id: rod }],
            1 => vec![Pin::Leave { kind: ItemKind::Reel, id: reel }],
            2 => vec![Pin::Pair { rod, reel }],
            3 => {
                vec![Pin::Take { kind: ItemKind::Reel, id: reel.clone() }, Pin::Pair { rod, reel }]
            }
            4 => vec![hold, Pin::Leave { kind: ItemKind::Rod, id: rod }],
            5 => vec![hold],
            _ => Vec::new(),
        };
    }
    problem
}

/// What a trip asks that is pinned to be taken.
fn wanted(p: &TripProblem) -> Vec<&String> {
    p.pins
        .iter()
        .filter_map(|pin| match pin {
            Pin::Take { id, .. } => Some(id),
            Pin::Leave { .. } | Pin::Pair { .. } | Pin::Hold { .. } => None,
        })
        .collect()
}

/// The best worth over all choices of a plan for each boat; `None`: there is none.
fn brute_force(problem: &FleetProblem) -> Option<i64> {
    let mut lists: Vec<BTreeMap<Used, i64>> = Vec::new();
    let copies = |p: &TripProblem, id: &str| {
        p.needs.iter().filter(|n| n.lure == id).map(|n| n.copies_at_once).max().unwrap_or(0)
    };
    let mut amounts: Vec<Vec<u32>> = Vec::new();
    for trip in &problem.trips {
        // All boats fish the same lures: each takes what it fishes at once.
        let mut p = trip.problem.clone();
        for l in 0..p.lures.len() {
            let most = copies(&p, &p.lures[l].id).min(p.lures[l].quantity);
            p.lures[l].quantity = most;
        }
        amounts.push(p.lures.iter().map(|l| l.quantity).collect());
        p.candidates.retain(|c| {
            trip.problem.pins.iter().all(|pin| match pin {
                Pin::Leave { id, .. } => *id != c.rod && *id != c.reel,
                Pin::Pair { rod, reel } => (*rod == c.rod) == (*reel == c.reel),
                Pin::Take { .. } | Pin::Hold { .. } => true,
            })
        });
        let all: Vec<_> = (0..p.lures.len()).collect();
        let mut list = BTreeMap::new();
        every_plan(&p, &all, &mut |used, worth| {
            if wanted(&trip.problem).iter().all(|id| used.parts.contains(*id)) {
                let best = list.entry(used).or_insert(worth);
                *best = worth.max(*best);
            }
        });
        lists.push(list);
    }
    combine(&problem.trips[0].problem, &lists, &amounts, &Used::default(), &[])
}

/// The best worth of the boats from here on, beside what the others use.
fn combine(
    p: &TripProblem,
    lists: &[BTreeMap<Used, i64>],
    amounts: &[Vec<u32>],
    others: &Used,
    lures: &[u32],
) -> Option<i64> {
    let Some((list, rest)) = lists.split_first() else { return Some(0) };
    let before = |l: usize| lures.get(l).copied().unwrap_or(0);
    let tied = |l: usize| others.leaders.get(l).copied().unwrap_or(0);
    let mut best = None;
    for (used, worth) in list {
        let mine = |l: usize| if used.lures[l] { amounts[0][l] } else { 0 };
        let fits = (0..p.lures.len()).all(|l| before(l) + mine(l) <= p.lures[l].quantity)
            && (0..p.leaders.len()).all(|l| tied(l) + used.leaders[l] <= p.leaders[l].quantity)
            && others.metres + used.metres <= p.line_stock[0].metres
            && used.parts.is_disjoint(&others.parts);
        if !fits {
            continue;
        }
        let both = Used {
            parts: used.parts.union(&others.parts).cloned().collect(),
            leaders: (0..p.leaders.len()).map(|l| tied(l) + used.leaders[l]).collect(),
            metres: others.metres + used.metres,
            lures: Vec::new(),
        };
        let lures: Vec<u32> = (0..p.lures.len()).map(|l| before(l) + mine(l)).collect();
        let others = combine(p, rest, &amounts[1..], &both, &lures);
        best = best.max(others.map(|others| worth + others));
    }
    best
}

/// The planner's best is that of brute force; its plan is sound, and so are its deadlines.
fn is_best(problem: &FleetProblem) -> Result<(), TestCaseError> {
    let best = brute_force(problem);
    match answer(problem) {
        FleetAnswer::Infeasible(no) => {
            prop_assert_eq!(best, None);
            prop_assert!(!no.clash.constraints.is_empty());
        }
        answer @ (FleetAnswer::Plan(_) | FleetAnswer::NotFound { .. }) => {
            let plan = sound(problem, answer);
            prop_assert_eq!(plan.status, Status::Optimal);
            prop_assert_eq!(Some(plan.value.objective()), best);
            for m in &plan.moves {
                let of = |place: &str| {
                    let trip = problem.trips.iter().find(|t| t.problem.boat.place == place);
                    trip.and_then(|t| t.departs)
                };
                // Twenty minutes before the earlier of the two departures, or before work that is
                // done with it on the boat that it goes to.
                let first = of(&m.what.from).into_iter().chain(of(&m.what.to)).min();
                let work: u32 = plan.trips[m.trip].jobs.iter().map(|job| job.minutes).sum();
                let last = first.map(|minute| i64::from(minute) - 20);
                let least = last.map(|by| by - i64::from(work));
                prop_assert!(m.deadline <= last && m.deadline >= least);
                prop_assert_eq!(m.deadline.is_some(), last.is_some());
            }
        }
    }
    Ok(())
}

fn cases(cases: u32) -> ProptestConfig {
    ProptestConfig { cases, failure_persistence: None, ..ProptestConfig::default() }
}

proptest! {
    #![proptest_config(cases(200))]

    #[test]
    fn equals_brute_force(seed in any::<u64>()) {
        is_best(&two_boats(seed))?;
    }

    // Source: all plans, counted one by one.
    #[test]
    fn equals_brute_force_where_lures_and_leaders_are_scarce(seed in any::<u64>()) {
        is_best(&scarce(two_boats(seed), seed))?;
    }

    // Source: all plans, counted one by one. What is ample for a boat may be too little for both:
    // the bound holds all the same.
    #[test]
    fn what_is_ample_for_a_boat_hides_no_better_plan(seed in any::<u64>()) {
        let mut problem = scarce(two_boats(seed), seed);
        for trip in &mut problem.trips {
            let most = trip.problem.boat.most_rods().min(2);
            for leader in &mut trip.problem.leaders {
                leader.is_ample = leader.quantity >= most;
            }
        }
        let best = brute_force(&problem);
        if let FleetAnswer::Plan(_) = answer(&problem) {
            let plan = sound(&problem, answer(&problem));
            prop_assert!(Some(plan.value.objective()) <= best && Some(plan.bound) >= best);
            let is_best = Some(plan.value.objective()) == best;
            prop_assert!(is_best || plan.status == Status::Feasible);
        }
    }

    // The same where there are more than one of a lure, but too few for both.
    #[test]
    fn equals_brute_force_where_copies_are_scarce(seed in any::<u64>()) {
        let mut problem = scarce(two_boats(seed), seed);
        for trip in &mut problem.trips {
            trip.problem.lures.iter_mut().for_each(|lure| lure.quantity = 3);
            trip.problem.needs.iter_mut().for_each(|need| need.copies_at_once = 2);
        }
        is_best(&problem)?;
    }

    #[test]
    fn equals_brute_force_with_pins(seed in any::<u64>()) {
        is_best(&pinned(two_boats(seed), seed))?;
    }

    // Common practice, no source: adding gear never lowers what all boats are worth together.
    #[test]
    fn more_gear_never_lowers_a_plan(seed in any::<u64>()) {
        let more = two_boats(seed);
        let mut less = more.clone();
        for trip in &mut less.trips {
            let gone = trip.problem.reels.pop().unwrap();
            trip.problem.candidates.retain(|c| c.reel != gone.id);
        }
        prop_assert!(worth(&more) >= worth(&less));
    }

    // Common practice, no source.
    #[test]
    fn the_order_of_the_boats_changes_nothing(seed in any::<u64>()) {
        for problem in [two_boats(seed), pinned(two_boats(seed), seed), crewed(seed)] {
            let mut turned = problem.clone();
            turned.trips.reverse();
            prop_assert_eq!(answer(&problem), turned_back(answer(&turned)));
        }
    }

    // Common practice, no source: only needs, jobs and starts are listed in the order of the rows.
    #[test]
    fn the_order_of_the_lists_changes_no_choice(seed in any::<u64>()) {
        for problem in [two_boats(seed), pinned(two_boats(seed), seed), crewed(seed)] {
            let mut turned = problem.clone();
            turned.trips.iter_mut().for_each(|trip| turn_lists(&mut trip.problem));
            prop_assert_eq!(choices(&answer(&problem)), choices(&answer(&turned)));
        }
    }
}

proptest! {
    #![proptest_config(cases(100))]

    // Source: all plans, counted one by one.
    #[test]
    fn three_boats_equal_brute_force_where_lures_and_leaders_are_scarce(seed in any::<u64>()) {
        is_best(&scarce(three_boats(seed), seed))?;
    }

    #[test]
    fn equals_brute_force_with_three_boats(seed in any::<u64>()) {
        is_best(&pinned(three_boats(seed), seed))?;
    }
}

/// Two boats whose crews fish at once, with pins, where little is there: leaders of four kinds, one
/// of each, without which nothing serves; or few lures, and outfits that differ by hands.
fn tight(seed: u64) -> FleetProblem {
    let size = Size { rods: 4, reels: 4, lures: 2, anglers: 2 };
    let are_leaders = seed.is_multiple_of(2);
    let mut first = if are_leaders { with_leaders(seed, &size) } else { mixed(seed, &size) };
    first.boat.rod_holders = 2;
    if are_leaders {
        first.leaders.iter_mut().for_each(|leader| leader.quantity = 1);
        let tied = |candidate: &mut Candidate| candidate.offers.retain(|o| o.leader.is_some());
        first.candidates.iter_mut().for_each(tied);
    }
    let crew: Vec<String> = first.anglers.iter().map(|angler| angler.id.clone()).collect();
    first.segments.iter_mut().for_each(|segment| segment.anglers.clone_from(&crew));
    let second = from_b2(&first);
    pinned(fleet(vec![first, second]), seed)
}

proptest! {
    #![proptest_config(cases(300))]

    // Source: all plans, counted one by one. No work for the tree that looks for the best plan is
    // left here: that there is a plan is known without it.
    #[test]
    fn whether_all_can_be_seated_takes_no_search_for_the_best(seed in any::<u64>()) {
        let problem = tight(seed);
        let none = Budget { nodes: 0, ..Budget::default() };
        let answer = plan_fleet(&problem, &Weights::default(), &none).unwrap();
        match brute_force(&problem) {
            Some(best) => {
                let plan = sound(&problem, answer);
                prop_assert!(plan.value.objective() <= best && best <= plan.bound);
            }
            None => prop_assert!(matches!(answer, FleetAnswer::Infeasible(_)), "{answer:?}"),
        }
    }

    // Common practice, no source: more gear leaves no more people idle and breaks no more pins; where
    // it is as many, the plan is worth no less.
    #[test]
    fn more_gear_leaves_out_no_more(seed in any::<u64>()) {
        let more = tight(seed);
        let mut less = more.clone();
        for trip in &mut less.trips {
            let gone = trip.problem.reels.pop().unwrap();
            trip.problem.candidates.retain(|c| c.reel != gone.id);
            trip.problem.pins.clear();
        }
        let mut more = more;
        more.trips.iter_mut().for_each(|trip| trip.problem.pins.clear());
        let (more, less) = (left_out(&answer(&more)), left_out(&answer(&less)));
        prop_assert!(more <= less, "{more:?} {less:?}");
    }
}

/// How many people are idle, and what the plan is worth, negative: less is better.
fn left_out(answer: &FleetAnswer) -> (usize, i64) {
    let best = match answer {
        FleetAnswer::Plan(plan) => return (0, -plan.value.objective()),
        FleetAnswer::Infeasible(no) => no.best.as_ref(),
        FleetAnswer::NotFound { best, .. } => best.as_deref(),
    };
    let best = best.unwrap();
    check_fleet(&best.problem, &Weights::default(), &best.plan).unwrap();
    (best.idle.iter().map(|idle| idle.anglers.len()).sum(), -best.plan.value.objective())
}

fn worth(problem: &FleetProblem) -> Option<i64> {
    match answer(problem) {
        FleetAnswer::Plan(plan) => Some(plan.value.objective()),
        FleetAnswer::Infeasible(_) | FleetAnswer::NotFound { .. } => None,
    }
}

/// One rod of two lies on each boat; both boats want the lure of the first rod.
fn donors() -> FleetProblem {
    let mut first = empty(2);
    first.lures = vec![lure("L1", 6), lure("L2", 6)];
    first.rods = vec![rod("R1", "B1"), rod("R2", "B2")];
    first.reels = vec![reel("E1", "B1"), reel("E2", "B2")];
    first.needs = vec![need("a", "L1", 1)];
    first.candidates = vec![
        candidate("R1", "E1", vec![offer(0, Good)]),
        candidate("R2", "E2", vec![offer(0, Excellent)]),
    ];
    let mut second = from_b2(&first);
    second.needs = vec![need("a", "L2", 3)];
    fleet(vec![first, second])
}

// By hand: one outfit cannot be fished on two boats.
#[test]
fn a_clash_of_several_boats_names_each_of_them() {
    let mut problem = donors();
    for trip in &mut problem.trips {
        let p = &mut trip.problem;
        p.anglers.push(Angler { id: "guest".into(), skill: Skill::Novice });
        p.segments[0].anglers.push("guest".into());
        p.rods.truncate(1);
        p.candidates.truncate(1);
    }
    let FleetAnswer::Infeasible(no) = answer(&problem) else { panic!("there is one outfit") };
    for boat in ["B1", "B2"] {
        let crew = Constraint::AnglersAtOnce { boat: boat.into(), segment: "a".into() };
        assert!(no.clash.constraints.contains(&crew), "{:?}", no.clash);
        assert!(no.clash.text.contains(&format!("in segment a on {boat}")), "{}", no.clash.text);
    }
    assert!(no.clash.constraints.contains(&Constraint::OneReelPerRod), "{:?}", no.clash);
}

#[test]
fn a_rod_goes_to_the_boat_where_it_brings_more() {
    let problem = donors();
    let plan = sound(&problem, answer(&problem));
    let rods = |trip: usize| -> Vec<&str> {
        plan.trips[trip].outfits.iter().map(|o| o.rod.as_str()).collect()
    };
    assert_eq!((rods(0), rods(1)), (vec!["R1"], vec!["R2"]));
    assert_eq!(plan.status, Status::Optimal);
    // 0.92 x 0.85 and 3 x 0.92, less a thousandth for each outfit; L2 lies on the other boat.
    assert_eq!(plan.value.coverage, 782_000 + 2_760_000);
    let moved: Vec<_> = plan.moves.iter().map(|m| (m.trip, m.what.id.as_str())).collect();
    assert_eq!(moved, [(1, "L2")]);
}

#[test]
fn a_boat_that_stays_in_is_not_stripped_of_what_it_must_cover() {
    let mut problem = donors();
    // Boat 2 gains a little only; boat 1 would take its rod as a second one.
    problem.trips[0].problem.needs[0].importance = 3;
    problem.trips[0].problem.needs[0].copies_at_once = 2;
    problem.trips[1].problem.needs[0].importance = 1;
    let greedy = sound(&problem, answer(&problem));
    assert_eq!(greedy.trips[1].outfits.len(), 0, "without a pin the rod leaves");
    let hold = Pin::Hold { segment: "a".into(), lure: "L2".into() };
    problem.trips[1].problem.pins = vec![hold.clone()];
    let plan = sound(&problem, answer(&problem));
    assert_eq!(plan.trips[1].outfits.len(), 1);
    assert!(plan.trips[1].coverage[0].covered);
    // If its rods are all settled to go elsewhere the pins clash, and are named.
    let take = |id: &str| Pin::Take { kind: ItemKind::Rod, id: id.into() };
    problem.trips[0].problem.pins = vec![take("R1"), take("R2")];
    let FleetAnswer::Infeasible(no) = answer(&problem) else { panic!() };
    let pins: Vec<_> =
        no.clash.constraints.iter().filter(|c| matches!(c, Constraint::Pinned { .. })).collect();
    let by_hand = [
        Constraint::Pinned { boat: "B1".into(), pin: take("R2") },
        Constraint::Pinned { boat: "B1".into(), pin: take("R1") },
        Constraint::Pinned { boat: "B2".into(), pin: hold },
    ];
    assert_eq!(pins, by_hand.iter().collect::<Vec<_>>(), "{}", no.clash.text);
}

#[test]
fn moves_have_the_deadline_of_the_earlier_boat() {
    let mut problem = donors();
    problem.trips[0].departs = Some(7 * 60);
    problem.trips[1].departs = Some(5 * 60 + 30);
    let plan = sound(&problem, answer(&problem));
    assert_eq!(plan.moves[0].deadline, Some(5 * 60 + 10));
}

// By hand: departure at 7:00, twenty minutes to hand over, twelve to wind the line on and four to tie
// the first leader; the second one is tied on the water.
#[test]
fn what_is_worked_on_arrives_before_the_work() {
    let mut p = empty(1);
    p.segments.push(Segment { id: "b".into(), ..p.segments[0].clone() });
    p.rods = vec![rod("R1", "S0")];
    let stock = Some(StockUse { stock: "K1".into(), metres: 150 });
    let lines = vec![LineOption { id: "fresh".into(), stock, minutes: 12 }];
    p.reels = vec![Reel { lines, ..reel("E1", "S0") }];
    p.line_stock = vec![LineStock { id: "K1".into(), place: "S0".into(), metres: 150 }];
    let leader = |id: &str| LeaderStock {
        id: id.into(),
        place: "S0".into(),
        quantity: 1,
        minutes: 4,
        is_ample: false,
    };
    p.leaders = vec![leader("F1"), leader("F2")];
    p.lures = vec![LureStock { place: "S0".into(), ..lure("L1", 1) }, lure("L2", 1)];
    p.needs = vec![need("a", "L1", 3), need("b", "L2", 3)];
    let on = |n: usize, leader: &str| Offer { leader: Some(leader.into()), ..offer(n, Good) };
    let offers = vec![on(0, "F1"), on(1, "F2")];
    p.candidates = vec![Candidate { line: "fresh".into(), ..candidate("R1", "E1", offers) }];
    let mut problem = fleet(vec![p]);
    problem.trips[0].departs = Some(7 * 60);
    let plan = sound(&problem, answer(&problem));
    let by = |id: &str| plan.moves.iter().find(|m| m.what.id == id).unwrap().deadline;
    for (id, minute) in [("R1", 24), ("E1", 24), ("K1", 24), ("F1", 36), ("F2", 40), ("L1", 40)] {
        assert_eq!(by(id), Some(6 * 60 + minute), "{id}");
    }
}

// By hand: departure at 7:00. R2 is aboard, so that its line (12 min) is wound first and the others wait
// for nothing of it: R1 with E1 (12 and 4 min) begins 28 minutes before, and R3 with E3 (12 min) 12
// minutes before, each twenty minutes after its gear is there.
#[test]
fn one_pair_of_hands_does_all_jobs_before_departure() {
    let mut p = empty(3);
    for (n, place) in [(1, "S0"), (2, "B1"), (3, "S0")] {
        let (rod_id, reel_id, lure_id) = (format!("R{n}"), format!("E{n}"), format!("L{n}"));
        p.rods.push(rod(&rod_id, place));
        let stock = Some(StockUse { stock: format!("K{n}"), metres: 150 });
        let lines = vec![LineOption { id: "fresh".into(), stock, minutes: 12 }];
        p.reels.push(Reel { lines, ..reel(&reel_id, place) });
        let (id, place) = (format!("K{n}"), place.into());
        p.line_stock.push(LineStock { id, place, metres: 150 });
        p.lures.push(lure(&lure_id, 1));
        p.needs.push(need("a", &lure_id, 3));
        let leader = (n == 1).then(|| "F1".to_owned());
        let offers = vec![Offer { leader, ..offer(n - 1, Good) }];
        p.candidates
            .push(Candidate { line: "fresh".into(), ..candidate(&rod_id, &reel_id, offers) });
    }
    p.leaders = vec![LeaderStock {
        id: "F1".into(),
        place: "S0".into(),
        quantity: 1,
        minutes: 4,
        is_ample: false,
    }];
    let mut problem = fleet(vec![p]);
    problem.trips[0].departs = Some(7 * 60);
    let plan = sound(&problem, answer(&problem));
    let part = &plan.trips[0];
    let home = BeforeDeparture::new(&problem.trips[0].problem, part);
    let jobs: Vec<_> = home
        .jobs()
        .iter()
        .map(|home| (part.jobs[home.job].with.as_str(), part.jobs[home.job].outfit))
        .zip(home.jobs().iter().map(|home| home.ahead_minutes))
        .collect();
    let by_hand = [(("fresh", 1), 40), (("fresh", 0), 28), (("F1", 0), 16), (("fresh", 2), 12)];
    assert_eq!(jobs, by_hand);
    let by = |id: &str| plan.moves.iter().find(|m| m.what.id == id).unwrap().deadline;
    for (id, minute) in
        [("R1", 12), ("E1", 12), ("K1", 12), ("F1", 24), ("R3", 28), ("E3", 28), ("K3", 28)]
    {
        assert_eq!(by(id), Some(6 * 60 + minute), "{id}");
    }
    // Who departs at ten past midnight begins on the day before.
    problem.trips[0].departs = Some(10);
    let plan = sound(&problem, answer(&problem));
    let rod = plan.moves.iter().find(|m| m.what.id == "R1").unwrap();
    assert_eq!(rod.deadline, Some(10 - 28 - 20));
}

#[test]
fn a_scarce_lure_goes_to_one_boat() {
    let mut problem = donors();
    for trip in &mut problem.trips {
        trip.problem.lures[0].quantity = 1;
        trip.problem.needs = vec![need("a", "L1", 2)];
    }
    problem.trips[1].problem.needs[0].importance = 3;
    let plan = sound(&problem, answer(&problem));
    let covered: Vec<_> = plan.trips.iter().map(|t| t.coverage[0].covered).collect();
    assert_eq!(covered, [false, true]);
}

// By hand: of ten lures aboard one boat the other one fishes one; nine stay where they lie.
#[test]
fn what_is_over_of_a_lure_stays_where_it_lies() {
    let mut problem = donors();
    for trip in &mut problem.trips {
        trip.problem.lures[0].quantity = 10;
        trip.problem.needs = vec![need("a", "L1", 2)];
    }
    let plan = sound(&problem, answer(&problem));
    assert!(plan.trips.iter().all(|trip| trip.coverage[0].covered));
    let lies_at = &problem.trips[0].problem.lures[0].place;
    for (trip, share) in problem.trips.iter().zip(&plan.shares) {
        let own = share.stocks.iter().filter(|stock| stock.id == "L1");
        let lures: Vec<u32> = own.map(|stock| stock.quantity).collect();
        let keeps = trip.problem.boat.place == *lies_at;
        assert_eq!(lures, [if keeps { 9 } else { 1 }], "{share:?}");
    }
}

// By hand: of five leaders aboard one boat nobody ties any, or the other boat ties one.
#[test]
fn what_is_over_of_a_leader_stays_where_it_lies() {
    for is_tied in [false, true] {
        let mut problem = donors();
        for trip in &mut problem.trips {
            let (id, place) = ("F1".to_owned(), "B1".to_owned());
            let stock = LeaderStock { id, place, quantity: 5, minutes: 4, is_ample: false };
            trip.problem.leaders = vec![stock];
            let of_b2 = is_tied && trip.problem.boat.place == "B2";
            let offers = trip.problem.candidates.iter_mut().flat_map(|c| &mut c.offers);
            offers.filter(|_| of_b2).for_each(|offer| offer.leader = Some("F1".into()));
        }
        let plan = sound(&problem, answer(&problem));
        let mut left: Vec<u32> = Vec::new();
        for (trip, share) in problem.trips.iter().zip(&plan.shares) {
            let own = share.stocks.iter().find(|stock| stock.id == "F1");
            left.push(own.map_or(trip.problem.leaders[0].quantity, |stock| stock.quantity));
        }
        let ties: u32 = plan.trips[1].outfits.iter().map(|o| o.leaders.len() as u32).sum();
        assert_eq!(ties > 0, is_tied);
        assert_eq!(left, [5 - ties, ties]);
    }
}

#[test]
fn faults_of_a_fleet_are_named() {
    let field = |problem: &FleetProblem| problem.validate().unwrap_err().0[0].field.clone();
    assert_eq!(field(&FleetProblem { trips: Vec::new() }), "trips");
    let mut problem = donors();
    problem.trips[1].problem.boat.place = "B1".into();
    problem.trips[1].problem.places = problem.trips[0].problem.places.clone();
    assert_eq!(field(&problem), "trips[1].boat.place");
    let mut problem = donors();
    problem.trips[1].problem.lures[0].quantity = 9;
    assert_eq!(field(&problem), "trips[1]");
    let mut problem = donors();
    problem.trips[1].problem.needs[0].importance = 9;
    assert_eq!(field(&problem), "trips[1].needs[0].importance");
    let mut problem = donors();
    problem.trips[0].problem.segments[0].turns.push("nobody".into());
    assert_eq!(field(&problem), "trips[0].segments[0].turns[0]");
}

#[test]
fn the_checker_is_not_fooled() {
    let problem = donors();
    let plan = sound(&problem, answer(&problem));
    let rules = |plan: &FleetPlan| -> Vec<Rule> {
        let wrong = check_fleet(&problem, &Weights::default(), plan).unwrap_err();
        wrong.into_iter().map(|v| v.rule).collect()
    };
    let mut wrong = plan.clone();
    wrong.value.coverage += 1;
    assert_eq!(rules(&wrong), [Rule::Value]);
    let mut wrong = plan.clone();
    wrong.moves[0].deadline = Some(3);
    assert_eq!(rules(&wrong), [Rule::Moves]);
    let mut wrong = plan.clone();
    wrong.bound -= 1;
    assert_eq!(rules(&wrong), [Rule::Value]);
    // Each boat takes what is best for it alone.
    let mut alone = plan.clone();
    for (trip, part) in problem.trips.iter().zip(&mut alone.trips) {
        *part = common::sound(&trip.problem, common::solve(&trip.problem));
    }
    alone.moves.clear();
    let mut both = problem.clone();
    both.trips[0].problem.needs[0].importance = 3;
    alone.trips[0] = common::sound(&both.trips[0].problem, common::solve(&both.trips[0].problem));
    let wrong = check_fleet(&both, &Weights::default(), &alone).unwrap_err();
    assert!(wrong.iter().any(|v| v.rule == Rule::Twice), "{wrong:?}");
}

// Counted by hand: one good outfit, two boats that want it; the boat that goes without says where
// it is.
#[test]
fn what_goes_out_on_another_boat_says_so() {
    let mut first = empty(1);
    first.rods = vec![rod("R1", "B1")];
    first.reels = vec![reel("E1", "B1")];
    first.lures = vec![lure("L1", 9)];
    first.needs = vec![need("a", "L1", 3)];
    first.candidates = vec![candidate("R1", "E1", vec![offer(0, Excellent)])];
    let mut second = from_b2(&first);
    second.needs[0].importance = 2;
    let problem = fleet(vec![first, second]);
    let plan = sound(&problem, answer(&problem));
    assert_eq!((plan.trips[0].outfits.len(), plan.trips[1].outfits.len()), (1, 0));
    let why: Vec<_> =
        plan.trips[1].ashore.iter().map(|a| (a.id.as_str(), a.reason, a.text.as_str())).collect();
    let elsewhere = |id| (id, AshoreReason::OtherBoat, "It goes out on B1.");
    assert_eq!(why, [elsewhere("R1"), elsewhere("E1")]);
    let open = &plan.trips[1].uncovered[0];
    assert_eq!(open.reason, UncoveredReason::RodShared);
    assert_eq!(open.text, "R1 with E1 would do, but R1 goes out on B1.");
}

// Counted by hand: four outfits for two crews of three. One of each goes without; either crew alone
// would have enough, so that it is the two together that clash.
#[test]
fn crews_that_clash_only_together_are_named() {
    let mut first = empty(8);
    for (i, at) in ["B1", "B1", "B2", "B2"].iter().enumerate() {
        let (r, e) = (format!("R{i}"), format!("E{i}"));
        first.rods.push(rod(&r, at));
        first.reels.push(reel(&e, at));
        let offers = (0..3).map(|need| offer(need, Excellent)).collect();
        first.candidates.push(candidate(&r, &e, offers));
    }
    first.lures = (1..=6).map(|l| lure(&format!("L{l}"), 1)).collect();
    let people = ["A1", "A2", "A3"];
    let angler = |id: &str| Angler { id: id.into(), skill: Skill::Intermediate };
    first.anglers = people.map(angler).into();
    first.segments[0].anglers = people.map(Into::into).into();
    let mut second = from_b2(&first);
    first.needs = ["L1", "L2", "L3"].map(|id| need("a", id, 1)).into();
    second.needs = ["L4", "L5", "L6"].map(|id| need("a", id, 1)).into();
    let FleetAnswer::Infeasible(no) = answer(&fleet(vec![first, second])) else { panic!() };
    let idle: Vec<_> = no.best.unwrap().idle.iter().map(|i| (i.trip, i.anglers.len())).collect();
    assert_eq!(idle, [(0, 1), (1, 1)]);
    let crews = no.clash.constraints.iter();
    let crews = crews.filter(|one| matches!(one, Constraint::AnglersAtOnce { .. })).count();
    assert_eq!(crews, 2, "{}", no.clash.text);
    assert!(no.clash.text.starts_with("These cannot all be kept: "), "{}", no.clash.text);
}

// By hand: whoever is left out is named, also where it takes two of them to be in each other's way.
#[test]
fn all_crews_that_are_left_out_are_named() {
    let mut crews = 0;
    for seed in 240..300 {
        let FleetAnswer::Infeasible(no) = answer(&crewed(seed)) else { continue };
        let best = no.best.as_ref().unwrap();
        for Idle { trip, segment, .. } in &best.idle {
            let (boat, segment) = (best.problem.trips[*trip].problem.boat.place.clone(), segment);
            let words = format!("segment {segment} on {boat}");
            assert!(no.clash.text.contains(&words), "{seed}, {words}: {}", no.clash.text);
            let named = Constraint::AnglersAtOnce { boat, segment: segment.clone() };
            assert!(no.clash.constraints.contains(&named), "{seed}, {named:?}: {:?}", no.clash);
            crews += 1;
        }
    }
    assert!(crews > 0);
}
