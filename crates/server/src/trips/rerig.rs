//! What it takes to get from one plan to another on the water.

use std::collections::{BTreeMap, BTreeSet};

use deepbend_contract::pb;
use deepbend_core::model::Parameters;

use super::basis;

/// Reels that go onto other rods, leaders that are tied, lures that go onto another outfit,
/// in the order of the outfits. `traces` are the leaders that are traces of wire: they have a snap
/// of their own.
pub(super) fn swaps(
    p: &Parameters,
    traces: &BTreeSet<String>,
    before: &pb::Plan,
    after: &pb::Plan,
) -> Vec<pb::Swap> {
    let p = &p.rerig;
    let mut list = Vec::new();
    for outfit in &after.outfits {
        let mut add = |duration_minutes: f64, text: String| {
            list.push(pb::Swap { outfit_id: outfit.id.clone(), duration_minutes, text });
        };
        let (rod, reel) = (&outfit.rod_id, &outfit.reel_id);
        let was = before.outfits.iter().find(|o| o.reel_id == *reel);
        if was.is_none_or(|was| was.rod_id != *rod) {
            // No trace goes through the rings.
            match trace_on(traces, after, reel) {
                Some((trace, true)) => {
                    let text = format!(
                        "Cut {trace} off, put {reel} onto {rod}, thread it and tie {trace} on again."
                    );
                    add(p.reel_min + p.trace_min, text);
                }
                Some((trace, false)) => {
                    add(
                        p.reel_min,
                        format!("Cut {trace} off, put {reel} onto {rod} and thread it."),
                    );
                }
                None => add(p.reel_min, format!("Put {reel} onto {rod} and thread it.")),
            }
        }
        let jobs = after.jobs.iter().filter(|job| job.outfit_id == outfit.id);
        let jobs = jobs.filter(|job| !job.is_if_needed);
        // What was tied and is lost is tied once more.
        let again = jobs.clone().find(|job| job.kind() == pb::JobKind::Leader);
        let again = again.filter(|_| lost_since(before, after, reel).is_some());
        let is_done = |job: &&pb::Job| again != Some(*job) && is_planned(before, outfit, job);
        let jobs = jobs.filter(|job| !is_done(job));
        jobs.clone().for_each(|job| add(f64::from(job.duration_minutes), job.text.clone()));
        let is_bare = lost_leader(after, reel).is_some();
        // Whether nothing hangs on the end of the line yet, not even a snap.
        let is_fresh = |leader: &str| match leader {
            "" => is_bare,
            _ if traces.contains(leader) => false,
            _ => jobs.clone().any(|j| j.kind() == pb::JobKind::Leader && j.stock_id == leader),
        };
        let here = |plan: &pb::Plan, lure: &str| {
            let reel_of = |id: &str| plan.outfits.iter().find(|o| o.id == id).map(|o| &o.reel_id);
            plan.assignments.iter().filter(fishes).any(|one| {
                one.lure_id == lure && reel_of(&one.outfit_id).is_some_and(|id| id == reel)
            })
        };
        let own = after.assignments.iter().filter(fishes).filter(|o| o.outfit_id == outfit.id);
        let (mut snapped, mut clipped, mut tied) =
            (BTreeMap::<&str, BTreeSet<&str>>::new(), BTreeSet::new(), BTreeSet::new());
        for one in own {
            let (lure, leader) = (one.lure_id.as_str(), one.leader_stock_id.as_str());
            match (is_clipped(after, &outfit.id, lure), is_fresh(leader)) {
                (true, true) => {
                    snapped.entry(leader).or_default().insert(lure);
                }
                (false, true) => {
                    tied.insert(lure);
                }
                (_, false) if here(before, lure) => {}
                (true, false) => {
                    clipped.insert(lure);
                }
                (false, false) => {
                    tied.insert(lure);
                }
            }
        }
        let mut put_on = |lures: BTreeSet<&str>, first: f64, takes: f64, how: String| {
            if !lures.is_empty() {
                let what = if lures.len() > 1 { "each" } else { "it" };
                let minutes = hundredths(first + takes * lures.len() as f64);
                let lures = lures.into_iter().collect::<Vec<_>>().join(", ");
                add(minutes, format!("Fish {lures} on {rod} with {reel}: {how} {what} on."));
            }
        };
        // A knot at the lure, or at a snap, takes as long as one at the swivel of a trace.
        for (leader, lures) in snapped {
            let end = if leader.is_empty() { "the line" } else { leader };
            let how = format!("tie a snap to {end}, then clip");
            put_on(lures, p.trace_min, p.snap_min, how);
        }
        put_on(clipped, 0.0, p.snap_min, "clip".to_owned());
        put_on(tied, 0.0, p.trace_min, "tie".to_owned());
    }
    list
}

/// Whether a lure hangs on a snap, as its rig card has it.
fn is_clipped(plan: &pb::Plan, outfit: &str, lure: &str) -> bool {
    let mut cards = plan.rig_cards.iter().filter(|c| c.outfit_id == outfit && c.lure_id == lure);
    let settings = cards.find_map(|card| card.settings.as_ref());
    settings.is_none_or(|settings| settings.has_snap)
}

/// What was on the line of a reel and is lost, with what hung on it.
fn lost_leader<'p>(after: &'p pb::Plan, reel: &str) -> Option<&'p str> {
    let (leader, is_lost) = basis::on_line(after.basis.as_ref()?.aboard.as_ref()?, reel)?;
    is_lost.then_some(leader)
}

/// The same, where it was there when `before` was made.
fn lost_since<'p>(before: &pb::Plan, after: &'p pb::Plan, reel: &str) -> Option<&'p str> {
    let earlier = before.basis.as_ref().and_then(|basis| basis.aboard.as_ref());
    let was_lost = |id: &&str| earlier.is_some_and(|a| a.lost_item_ids.iter().any(|l| l == id));
    lost_leader(after, reel).filter(|leader| !was_lost(leader))
}

/// Outfits that are still together, whose leader is lost since `before` was made, and that neither
/// get another one nor fish without.
pub(super) fn left_bare(before: &pb::Plan, after: &pb::Plan) -> Vec<pb::BareOutfit> {
    let aboard = after.basis.as_ref().and_then(|basis| basis.aboard.as_ref());
    let lost = aboard.map(|aboard| aboard.lost_item_ids.as_slice()).unwrap_or_default();
    let is_together = |o: &&pb::PlannedOutfit| {
        let other =
            |now: &pb::PlannedOutfit| (now.rod_id == o.rod_id) != (now.reel_id == o.reel_id);
        !lost.contains(&o.rod_id) && !lost.contains(&o.reel_id) && !after.outfits.iter().any(other)
    };
    let works = |o: &pb::PlannedOutfit| {
        let now = after.outfits.iter().find(|now| now.reel_id == o.reel_id);
        now.is_some_and(|now| {
            let tied = |r: &pb::Rig| r.outfit_id == now.id && !r.leader_stock_id.is_empty();
            after.rigs.iter().any(|rig| !rig.is_kept_ready && tied(rig))
                || after.assignments.iter().filter(fishes).any(|one| one.outfit_id == now.id)
        })
    };
    let bare = |o: &pb::PlannedOutfit| {
        let leader = lost_since(before, after, &o.reel_id).filter(|_| !works(o))?;
        let (rod, reel) = (&o.rod_id, &o.reel_id);
        let what = match lost.iter().any(|gone| gone == leader) {
            true => format!("all of {leader} is lost, and no other leader"),
            false => format!("its {leader} is lost, and no leader"),
        };
        Some(pb::BareOutfit {
            outfit_id: o.id.clone(),
            rod_id: rod.clone(),
            reel_id: reel.clone(),
            leader_stock_id: leader.to_owned(),
            text: format!("{rod} with {reel} is left bare: {what} is tied to it."),
        })
    };
    before.outfits.iter().filter(is_together).filter_map(bare).collect()
}

/// Minutes without the noise of binary fractions.
fn hundredths(minutes: f64) -> f64 {
    (minutes * 100.0).round() / 100.0
}

/// The trace of wire on the line of a reel, unless it is lost, and whether that is what it fishes with
/// first.
fn trace_on<'p>(
    traces: &BTreeSet<String>,
    after: &'p pb::Plan,
    reel: &str,
) -> Option<(&'p str, bool)> {
    let (leader, is_lost) = basis::on_line(after.basis.as_ref()?.aboard.as_ref()?, reel)?;
    let trace = Some(leader).filter(|id| traces.contains(*id) && !is_lost)?;
    let now = after.outfits.iter().find(|outfit| outfit.reel_id == reel)?;
    let mut rigs = after.rigs.iter().filter(|rig| rig.outfit_id == now.id && !rig.is_kept_ready);
    let stays = rigs.next().is_some_and(|rig| rig.leader_stock_id == trace);
    Some((trace, stays))
}

/// Whether a plan has the same job for the same rod and reel in the same segment.
fn is_planned(before: &pb::Plan, outfit: &pb::PlannedOutfit, job: &pb::Job) -> bool {
    let of_outfit = |was: &pb::Job| {
        let of_job = |o: &pb::PlannedOutfit| {
            (&o.id, &o.rod_id, &o.reel_id) == (&was.outfit_id, &outfit.rod_id, &outfit.reel_id)
        };
        before.outfits.iter().any(of_job)
    };
    let same = |was: &pb::Job| {
        (was.kind, &was.stock_id, &was.segment_id) == (job.kind, &job.stock_id, &job.segment_id)
    };
    before.jobs.iter().any(|was| !was.is_if_needed && same(was) && of_outfit(was))
}

fn fishes(one: &&pb::Assignment) -> bool {
    one.role() == pb::AssignmentRole::Fishes
}

/// All of them one after the other, in whole minutes.
pub(super) fn minutes(swaps: &[pb::Swap]) -> i32 {
    swaps.iter().map(|swap| swap.duration_minutes).sum::<f64>().ceil() as i32
}

#[cfg(test)]
mod tests {
    use deepbend_core::model::Model;

    use super::*;

    // Source: the contract of Settings.has_snap: without one the lure is knotted on.
    #[test]
    fn a_lure_goes_on_as_its_card_says() {
        let card = |lure: &str, has_snap: bool| pb::RigCard {
            outfit_id: "O1".to_owned(),
            lure_id: lure.to_owned(),
            settings: Some(pb::Settings { has_snap, ..pb::Settings::default() }),
            ..pb::RigCard::default()
        };
        let fished = |lure: &str| pb::Assignment {
            lure_id: lure.to_owned(),
            outfit_id: "O1".to_owned(),
            role: pb::AssignmentRole::Fishes.into(),
            ..pb::Assignment::default()
        };
        let before = pb::Plan {
            outfits: vec![pb::PlannedOutfit {
                id: "O1".to_owned(),
                rod_id: "R1".to_owned(),
                reel_id: "E1".to_owned(),
                ..pb::PlannedOutfit::default()
            }],
            ..pb::Plan::default()
        };
        let after = pb::Plan {
            assignments: ["L1", "L2", "L3"].map(fished).into(),
            rig_cards: vec![card("L1", false), card("L2", true), card("L3", false)],
            ..before.clone()
        };
        let p = Model::builtin().parameters();
        let list = swaps(p, &BTreeSet::new(), &before, &after);
        let told: Vec<_> = list.iter().map(|s| (s.text.as_str(), s.duration_minutes)).collect();
        let wanted = [
            ("Fish L2 on R1 with E1: clip it on.", p.rerig.snap_min),
            ("Fish L1, L3 on R1 with E1: tie each on.", 2.0 * p.rerig.trace_min),
        ];
        assert_eq!(told, wanted);
    }

    // By hand: with the only leader its snap is gone, and the line has to be tied to something first.
    #[test]
    fn a_bare_line_is_tied_first() {
        let outfit = pb::PlannedOutfit {
            id: "O1".to_owned(),
            rod_id: "R1".to_owned(),
            reel_id: "E1".to_owned(),
            ..pb::PlannedOutfit::default()
        };
        let fished = |lure: &str, leader: &str| pb::Assignment {
            lure_id: lure.to_owned(),
            outfit_id: "O1".to_owned(),
            leader_stock_id: leader.to_owned(),
            role: pb::AssignmentRole::Fishes.into(),
            ..pb::Assignment::default()
        };
        let card = |lure: &str, has_snap: bool| pb::RigCard {
            outfit_id: "O1".to_owned(),
            lure_id: lure.to_owned(),
            settings: Some(pb::Settings { has_snap, ..pb::Settings::default() }),
            ..pb::RigCard::default()
        };
        let before = pb::Plan {
            outfits: vec![outfit.clone()],
            assignments: ["L1", "L2", "L3"].map(|lure| fished(lure, "K1")).into(),
            ..pb::Plan::default()
        };
        let after = |lost: &[&str]| {
            let aboard = pb::AboardBasis {
                outfits: vec![outfit.clone()],
                carried: vec![pb::Rig {
                    outfit_id: "O1".to_owned(),
                    leader_stock_id: "K1".to_owned(),
                    ..pb::Rig::default()
                }],
                lost_item_ids: lost.iter().map(|id| (*id).to_owned()).collect(),
                ..pb::AboardBasis::default()
            };
            pb::Plan {
                outfits: vec![outfit.clone()],
                assignments: ["L1", "L2", "L3"].map(|lure| fished(lure, "")).into(),
                rig_cards: vec![card("L1", true), card("L2", true), card("L3", false)],
                basis: Some(pb::PlanBasis { aboard: Some(aboard), ..pb::PlanBasis::default() }),
                ..pb::Plan::default()
            }
        };
        let p = Model::builtin().parameters();
        let told = |after: &pb::Plan| -> Vec<(String, f64)> {
            let list = swaps(p, &["K1".to_owned()].into(), &before, after);
            list.into_iter().map(|swap| (swap.text, swap.duration_minutes)).collect()
        };
        assert_eq!(told(&after(&[])), []);
        let snap = p.rerig.trace_min + 2.0 * p.rerig.snap_min;
        let wanted = [
            ("Fish L1, L2 on R1 with E1: tie a snap to the line, then clip each on.", snap),
            ("Fish L3 on R1 with E1: tie it on.", p.rerig.trace_min),
        ];
        assert_eq!(told(&after(&["K1"])), wanted.map(|(text, takes)| (text.to_owned(), takes)));
        assert_eq!(left_bare(&before, &after(&["K1"])), [], "it fishes all the same");
    }
}
