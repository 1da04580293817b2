//! What an outfit carries through the day. Source: by hand; an outfit carries one leader at a time.

#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

mod common;

use common::{candidate, empty, lure, need, offer, reel, rod, solve, sound};
use deepbend_core::judge::Verdict::{Excellent, Good};
use deepbend_core::water::Skill;
use deepbend_planner::TripProblem;
use deepbend_planner::plan::TripPlan;
use deepbend_planner::problem::{Angler, LeaderStock, Offer, Segment};
use deepbend_planner::rigging::{Rig, carried, rigs};

fn leader(id: &str) -> LeaderStock {
    LeaderStock { id: id.into(), place: "B1".into(), quantity: 2, minutes: 4, is_ample: false }
}

fn on(leader: &str, offer: Offer) -> Offer {
    Offer { leader: Some(leader.into()), ..offer }
}

fn rig<'p>(segment: usize, leader: &'p str, lures: &[&'p str]) -> Rig<'p> {
    let leader = Some(leader).filter(|id| !id.is_empty());
    Rig { segment, leader, lures: lures.to_vec(), is_kept_ready: false }
}

fn kept<'p>(segment: usize, leader: &'p str, lures: &[&'p str]) -> Rig<'p> {
    Rig { is_kept_ready: true, ..rig(segment, leader, lures) }
}

/// One outfit that fishes three lures, two of them on a leader each, and these two again in a second
/// segment.
fn one_for_all() -> TripProblem {
    let mut p = empty(1);
    p.segments.push(Segment { id: "b".into(), ..p.segments[0].clone() });
    (p.rods, p.reels) = (vec![rod("R1", "B1")], vec![reel("E1", "B1")]);
    p.leaders = vec![leader("F1"), leader("F2")];
    p.lures = ["L1", "L2", "L3"].map(|id| lure(id, 2)).into();
    let needs = [("a", "L1", 2), ("a", "L2", 3), ("a", "L3", 1), ("b", "L1", 2), ("b", "L2", 3)];
    p.needs = needs.map(|(segment, lure, importance)| need(segment, lure, importance)).into();
    let with = |n: usize, leader: &str| on(leader, offer(n, Excellent));
    let offers =
        vec![with(0, "F1"), with(1, "F2"), offer(2, Excellent), with(3, "F1"), with(4, "F2")];
    p.candidates = vec![candidate("R1", "E1", offers)];
    p
}

fn plan(p: &TripProblem) -> TripPlan {
    sound(p, solve(p))
}

#[test]
fn leaders_follow_one_another() {
    let p = one_for_all();
    let plan = plan(&p);
    let day = [
        rig(0, "", &["L3"]),
        rig(0, "F2", &["L2"]),
        rig(0, "F1", &["L1"]),
        rig(1, "F1", &["L1"]),
        rig(1, "F2", &["L2"]),
    ];
    assert_eq!(rigs(&p, &plan, 0, None), day);
    assert_eq!([0, 1].map(|segment| carried(&day, segment, None)), [Some(None), Some(Some("F1"))]);
    let at = |rigs: &[Rig<'static>], segment, on| carried(rigs, segment, on);
    let only_later = [rig(1, "F1", &["L1"])];
    assert_eq!(at(&only_later, 0, None), Some(Some("F1")));
    assert_eq!(at(&only_later, 0, Some(Some("F2"))), Some(Some("F2")));
    assert_eq!(at(&[], 0, None), None);
    // On the water the leader that is on already is fished first.
    let later = [
        rig(0, "F1", &["L1"]),
        rig(0, "", &["L3"]),
        rig(0, "F2", &["L2"]),
        rig(1, "F2", &["L2"]),
        rig(1, "F1", &["L1"]),
    ];
    assert_eq!(rigs(&p, &plan, 0, Some(Some("F1"))), later);
}

#[test]
fn what_somebody_begins_with_is_on_first() {
    let mut p = one_for_all();
    p.anglers = vec![Angler { id: "A1".into(), skill: Skill::Intermediate }];
    p.segments.iter_mut().for_each(|segment| segment.anglers = vec!["A1".into()]);
    let plan = plan(&p);
    let begun: Vec<_> =
        plan.starts.iter().map(|s| (s.lure.as_str(), s.leader.as_deref())).collect();
    assert_eq!(begun, [("L2", Some("F2")), ("L2", Some("F2"))]);
    let day = [
        rig(0, "F2", &["L2"]),
        rig(0, "", &["L3"]),
        rig(0, "F1", &["L1"]),
        rig(1, "F2", &["L2"]),
        rig(1, "F1", &["L1"]),
    ];
    assert_eq!(rigs(&p, &plan, 0, None), day);
}

#[test]
fn a_leader_for_the_case_of_need_is_kept_ready() {
    let mut p = empty(2);
    (p.rods, p.reels) =
        (vec![rod("R1", "B1"), rod("R2", "B1")], vec![reel("E1", "B1"), reel("E2", "B1")]);
    p.leaders = ["F1", "F2", "F3"].map(leader).into();
    p.lures = ["L1", "L2"].map(|id| lure(id, 2)).into();
    p.needs = vec![need("a", "L1", 3), need("a", "L2", 2)];
    let best = |n: usize| offer(n, Excellent);
    let second = |n: usize, leader: &str| on(leader, offer(n, Good));
    // Each fishes one and backs up the other.
    p.candidates = vec![
        candidate("R1", "E1", vec![best(0), second(1, "F1")]),
        candidate("R2", "E2", vec![best(1), second(0, "F2")]),
    ];
    let crossed = plan(&p);
    assert_eq!(rigs(&p, &crossed, 0, None), [rig(0, "", &["L1"]), kept(0, "F1", &["L2"])]);
    assert_eq!(rigs(&p, &crossed, 1, None), [rig(0, "", &["L2"]), kept(0, "F2", &["L1"])]);
    // One fishes both; the other one lies ready for the more important.
    p.candidates = vec![
        candidate("R1", "E1", vec![best(0), best(1)]),
        candidate("R2", "E2", vec![second(0, "F2"), second(1, "F3")]),
    ];
    let alone = plan(&p);
    assert_eq!(rigs(&p, &alone, 0, None), [rig(0, "", &["L1", "L2"])]);
    assert_eq!(rigs(&p, &alone, 1, None), [rig(0, "F2", &["L1"]), kept(0, "F3", &["L2"])]);
    assert_eq!(carried(&rigs(&p, &alone, 1, None), 0, None), Some(Some("F2")));
}
