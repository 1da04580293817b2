//! What it takes to get from one plan to another on the water.

use deepbend_contract::pb;
use deepbend_core::model::Parameters;

/// Reels that go onto other rods, leaders that are tied, lures that are clipped to another outfit,
/// in the order of the outfits.
pub(super) fn swaps(p: &Parameters, before: &pb::Plan, after: &pb::Plan) -> Vec<pb::Swap> {
    let p = &p.rerig;
    let mut list = Vec::new();
    for outfit in &after.outfits {
        let mut add = |duration_minutes: f64, text: String| {
            list.push(pb::Swap { outfit_id: outfit.id.clone(), duration_minutes, text });
        };
        let (rod, reel) = (&outfit.rod_id, &outfit.reel_id);
        let was = before.outfits.iter().find(|o| o.reel_id == *reel);
        if was.is_none_or(|was| was.rod_id != *rod) {
            add(p.reel_min, format!("Put {reel} onto {rod} and thread it."));
        }
        let jobs = after.jobs.iter().filter(|job| job.outfit_id == outfit.id);
        let jobs = jobs.filter(|job| !is_tied(&before.outfits, &after.outfits, job));
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
        if !lures.is_empty() {
            let minutes = hundredths(p.snap_min * lures.len() as f64);
            let each = if lures.len() > 1 { " for each" } else { "" };
            let lures = lures.join(", ");
            add(minutes, format!("Fish {lures} on {rod} with {reel}: change the snap{each}."));
        }
    }
    list
}

/// Minutes without the noise of binary fractions.
fn hundredths(minutes: f64) -> f64 {
    (minutes * 100.0).round() / 100.0
}

/// Whether a job is done already: a leader stays on its line when the reel goes onto another rod.
pub(super) fn is_tied(
    before: &[pb::PlannedOutfit],
    after: &[pb::PlannedOutfit],
    job: &pb::Job,
) -> bool {
    let outfit = after.iter().find(|outfit| outfit.id == job.outfit_id);
    let was = outfit.and_then(|o| before.iter().find(|was| was.reel_id == o.reel_id));
    job.kind() == pb::JobKind::Leader
        && was.is_some_and(|was| was.leader_stock_ids.contains(&job.stock_id))
}

fn fishes(one: &&pb::Assignment) -> bool {
    one.role() == pb::AssignmentRole::Fishes
}

/// All of them one after the other, in whole minutes.
pub(super) fn minutes(swaps: &[pb::Swap]) -> i32 {
    swaps.iter().map(|swap| swap.duration_minutes).sum::<f64>().ceil() as i32
}
