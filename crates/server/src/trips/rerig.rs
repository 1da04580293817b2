//! What it takes to get from one plan to another on the water.

use std::collections::BTreeSet;

use deepbend_contract::pb;
use deepbend_core::model::Parameters;

/// Reels that go onto other rods, leaders that are tied, lures that go onto another outfit,
/// in the order of the outfits. `traces` are the leaders that are traces of wire.
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
        let jobs = jobs.filter(|job| !job.is_if_needed && !is_planned(before, outfit, job));
        jobs.for_each(|job| add(f64::from(job.duration_minutes), job.text.clone()));
        let here = |plan: &pb::Plan, lure: &str| {
            let reel_of = |id: &str| plan.outfits.iter().find(|o| o.id == id).map(|o| &o.reel_id);
            plan.assignments.iter().filter(fishes).any(|one| {
                one.lure_id == lure && reel_of(&one.outfit_id).is_some_and(|id| id == reel)
            })
        };
        let mut lures: Vec<&str> = after
            .assignments
            .iter()
            .filter(|one| fishes(one) && one.outfit_id == outfit.id)
            .map(|one| one.lure_id.as_str())
            .filter(|lure| !here(before, lure))
            .collect();
        lures.sort_unstable();
        lures.dedup();
        let (clipped, tied): (Vec<&str>, Vec<&str>) =
            lures.into_iter().partition(|lure| is_clipped(after, &outfit.id, lure));
        // A knot at the lure takes as long as one at the swivel of a trace.
        for (lures, takes, how) in [(clipped, p.snap_min, "clip"), (tied, p.trace_min, "tie")] {
            if !lures.is_empty() {
                let what = if lures.len() > 1 { "each" } else { "it" };
                let (minutes, lures) = (hundredths(takes * lures.len() as f64), lures.join(", "));
                add(minutes, format!("Fish {lures} on {rod} with {reel}: {how} {what} on."));
            }
        }
    }
    list
}

/// Whether a lure hangs on a snap, as its rig card has it.
fn is_clipped(plan: &pb::Plan, outfit: &str, lure: &str) -> bool {
    let mut cards = plan.rig_cards.iter().filter(|c| c.outfit_id == outfit && c.lure_id == lure);
    let settings = cards.find_map(|card| card.settings.as_ref());
    settings.is_none_or(|settings| settings.has_snap)
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
    let aboard = after.basis.as_ref()?.aboard.as_ref()?;
    let was = aboard.outfits.iter().find(|outfit| outfit.reel_id == reel)?;
    let on = aboard.carried.iter().find(|rig| rig.outfit_id == was.id)?;
    let is_there = |id: &&String| traces.contains(*id) && !aboard.lost_item_ids.contains(id);
    let trace = Some(&on.leader_stock_id).filter(is_there)?.as_str();
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
}
