//! Seven rods and twelve lures. Source of verdicts and expected plans: from memory.

#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

mod common;

use common::{candidate, empty, lure, need, offer, reel, rod, solve, sound};
use deepbend_core::judge::Verdict::{self, Excellent, Good, Poor, Unsafe, Workable};
use deepbend_core::water::Skill;
use deepbend_planner::TripProblem;
use deepbend_planner::plan::{Answer, Constraint, Status, TripPlan, UncoveredReason};
use deepbend_planner::problem::Angler;

/// Lure 5 of the table.
#[derive(Clone, Copy, PartialEq)]
enum Five {
    LightWeedless,
    Texas,
}

/// Verdicts of a rod, by lure: A ultra-light, B light, C medium-light, D medium, E medium-heavy
/// moderate, F heavy fast, G extra-heavy. Lures: perch shad, two zander shads, jerkbait, weedless,
/// crank, lipless, spoon, inline spinner, soft shad 60 g, glide 90 g, soft shad 100 g.
fn table(rod: char, five: Five) -> [Verdict; 12] {
    let light = five == Five::LightWeedless;
    let (p, u, w, g, x) = (Poor, Unsafe, Workable, Good, Excellent);
    match rod {
        'A' => [p, u, u, u, p, u, u, u, u, u, u, u],
        'B' => [w, p, u, p, p, u, u, u, p, u, u, u],
        'C' => [x, w, p, w, p, p, p, p, x, u, u, u],
        'D' => [g, x, x, g, if light { g } else { p }, p, w, g, g, u, u, u],
        'E' => [w, p, w, w, p, x, x, x, x, u, u, u],
        'F' => [p, g, g, g, x, w, g, g, w, p, u, u],
        _ => [p, p, p, p, p, p, p, p, p, x, x, x],
    }
}

fn pool(rods: &str, holders: u32, five: Five) -> TripProblem {
    let mut p = empty(holders);
    for l in 1..=12 {
        p.lures.push(lure(&format!("{l:02}"), 1));
        p.needs.push(need("a", &format!("{l:02}"), 2));
    }
    for r in rods.chars() {
        let reel_id = format!("reel {r}");
        p.rods.push(rod(&r.to_string(), "B1"));
        p.reels.push(reel(&reel_id, "B1"));
        let offers = table(r, five).iter().enumerate().map(|(n, v)| offer(n, *v)).collect();
        p.candidates.push(candidate(&r.to_string(), &reel_id, offers));
    }
    p
}

fn best(problem: &TripProblem) -> TripPlan {
    let plan = sound(problem, solve(problem));
    assert_eq!(plan.status, Status::Optimal);
    plan
}

fn taken(plan: &TripPlan) -> String {
    plan.outfits.iter().map(|o| o.rod.as_str()).collect()
}

fn missing(plan: &TripPlan) -> Vec<&str> {
    plan.uncovered.iter().map(|u| u.lure.as_str()).collect()
}

/// All choices of three rods and how many lures each covers.
fn triples(five: Five) -> Vec<(String, u32)> {
    let all = ['A', 'B', 'C', 'D', 'E', 'F', 'G'];
    let mut list = Vec::new();
    for i in 0..7 {
        for j in i + 1..7 {
            for k in j + 1..7 {
                let rods: String = [all[i], all[j], all[k]].iter().collect();
                list.push((rods.clone(), best(&pool(&rods, 3, five)).counts.covered));
            }
        }
    }
    list
}

#[test]
fn t01_the_only_triple_that_covers_all() {
    let plan = best(&pool("ABCDEFG", 3, Five::LightWeedless));
    assert_eq!((taken(&plan).as_str(), plan.counts.covered), ("DEG", 12));
    assert!(plan.uncovered.is_empty());
    let full: Vec<_> =
        triples(Five::LightWeedless).into_iter().filter(|t| t.1 == 12).map(|t| t.0).collect();
    assert_eq!(full, ["DEG"]);
}

#[test]
fn t02_eleven_of_twelve_and_the_missing_one_is_named() {
    let best_triples: Vec<_> = triples(Five::Texas).into_iter().filter(|t| t.1 >= 11).collect();
    let expected = ["CFG", "DEG", "DFG", "EFG"].map(|t| (t.to_owned(), 11));
    assert_eq!(best_triples, expected);
    for (unimportant, rods) in [(1, ["EFG", "EFG"]), (5, ["DEG", "DEG"]), (6, ["CFG", "DFG"])] {
        let mut problem = pool("ABCDEFG", 3, Five::Texas);
        for (n, need) in problem.needs.iter_mut().enumerate() {
            need.importance = if n + 1 == unimportant { 1 } else { 3 };
        }
        let plan = best(&problem);
        assert!(rods.contains(&taken(&plan).as_str()), "{}", taken(&plan));
        assert_eq!(missing(&plan), [format!("{unimportant:02}")]);
        assert_eq!(plan.uncovered[0].reason, UncoveredReason::NoHolder);
    }
}

#[test]
fn t03_four_rods_that_back_each_other_up() {
    let plan = best(&pool("ABCDEFG", 4, Five::Texas));
    assert_eq!((taken(&plan).as_str(), plan.counts.covered), ("DEFG", 12));
    assert_eq!(best(&pool("CEFG", 4, Five::Texas)).counts.covered, 12);
}

#[test]
fn t04_eight_of_twelve_is_not_rounded_up() {
    let plan = best(&pool("EF", 4, Five::Texas));
    assert_eq!((plan.counts.covered, plan.counts.needs), (8, 12));
    assert_eq!(missing(&plan), ["01", "10", "11", "12"]);
    let perch = &plan.uncovered[0];
    assert_eq!((perch.reached, perch.reason), (Some(Workable), UncoveredReason::BelowMinimum));
    assert_eq!(plan.uncovered[3].reason, UncoveredReason::NoOffer);
    assert_eq!(plan.uncovered[3].reached, None);
}

fn at_once(rods: &str, lures: [usize; 3]) -> TripProblem {
    let mut p = pool(rods, 4, Five::LightWeedless);
    for a in 0..3 {
        p.anglers.push(Angler { id: format!("angler {a}"), skill: Skill::Intermediate });
    }
    p.segments[0].anglers = p.anglers.iter().map(|a| a.id.clone()).collect();
    let wanted: Vec<_> = lures.iter().map(|l| format!("{l:02}")).collect();
    let needs: Vec<_> = p.needs.iter().map(|n| wanted.iter().position(|w| *w == n.lure)).collect();
    p.needs = wanted.iter().map(|l| need("a", l, 3)).collect();
    for candidate in &mut p.candidates {
        candidate.offers.retain(|o| needs[o.need].is_some());
        for offer in &mut candidate.offers {
            offer.need = needs[offer.need].unwrap();
        }
    }
    p
}

#[test]
fn t05_three_anglers_on_three_outfits() {
    let problem = at_once("DEG", [2, 6, 11]);
    let plan = best(&problem);
    let mut starts: Vec<_> = plan
        .starts
        .iter()
        .map(|s| (s.lure.as_str(), plan.outfits[s.outfit].rod.as_str()))
        .collect();
    starts.sort_unstable();
    assert_eq!(starts, [("02", "D"), ("06", "E"), ("11", "G")]);
}

#[test]
fn t06_three_anglers_and_one_good_outfit() {
    let Answer::Infeasible(clash) = solve(&at_once("DEG", [2, 3, 1])) else { panic!() };
    let anglers = Constraint::AnglersAtOnce { boat: "B1".into(), segment: "a".into() };
    assert_eq!(clash.constraints, [anglers, Constraint::MinVerdict]);
    // Carrying C and F as second outfits cures it.
    assert_eq!(best(&at_once("CDEFG", [2, 3, 1])).counts.covered, 3);
}

#[test]
fn t08_nothing_replaces_the_heaviest_rod() {
    let mut problem = pool("ABCDEFG", 4, Five::Texas);
    for need in &mut problem.needs[9..] {
        need.importance = 3;
    }
    problem.rods[6].ready = false;
    let plan = best(&problem);
    assert_eq!(plan.counts.covered, 9);
    assert_eq!(missing(&plan), ["10", "11", "12"]);
    for uncovered in &plan.uncovered {
        assert_eq!((uncovered.importance, uncovered.reason), (3, UncoveredReason::NoOffer));
        assert!(uncovered.text.contains("not ready"), "{}", uncovered.text);
    }
    assert_eq!(plan.value.shortfall, 4_500_000);
}
