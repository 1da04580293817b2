//! What differs between plans, from the messages alone: the service and its clients say the same.

use std::collections::{BTreeMap, BTreeSet};

use crate::pb;

/// Segment and lure of a need.
type NeedKey<'p> = (&'p str, &'p str);

/// What differs between plans; those of the same boat and trip stand side by side.
#[must_use]
pub fn plan_difference(before: &[pb::Plan], after: &[pb::Plan]) -> pb::PlanDifference {
    let mut difference = pb::PlanDifference::default();
    let trips: BTreeSet<(&str, &str)> = before.iter().chain(after).map(trip).collect();
    let several = trips.len() > 1;
    let (mut old_worth, mut new_worth) = (0_i64, 0_i64);
    for key in trips {
        let of = |plans: &'_ [pb::Plan]| plans.iter().position(|plan| trip(plan) == key);
        let (old, new) = match (of(before), of(after)) {
            (Some(old), Some(new)) => (&before[old], &after[new]),
            (old, _) => {
                let (trip_id, boat_id) = (key.1.to_owned(), key.0.to_owned());
                let alone = pb::ChangedTrip { trip_id, boat_id };
                match old {
                    None => difference.added_trips.push(alone),
                    Some(_) => difference.removed_trips.push(alone),
                }
                continue;
            }
        };
        old_worth = old_worth.saturating_add(objective(before, key));
        new_worth = new_worth.saturating_add(objective(after, key));
        difference.added.extend(only(new, old, several));
        difference.removed.extend(only(old, new, several));
        difference.changed_lines.extend(lines(old, new, several));
        difference.needs.extend(needs(old, new, several));
        difference.added_moves.extend(moves(new, old));
        difference.removed_moves.extend(moves(old, new));
        difference.added_jobs.extend(jobs(new, old, several));
        difference.removed_jobs.extend(jobs(old, new, several));
    }
    difference.gain_micros = new_worth.saturating_sub(old_worth);
    difference
}

/// Boat and trip.
fn trip(plan: &pb::Plan) -> (&str, &str) {
    (plan.boat_id.as_str(), plan.trip_id.as_str())
}

fn objective(plans: &[pb::Plan], key: (&str, &str)) -> i64 {
    let values = plans.iter().filter(|plan| trip(plan) == key).filter_map(|plan| plan.value);
    values.map(|value| value.objective_micros).fold(0, i64::saturating_add)
}

/// The same rod and reel in another plan.
fn same<'p>(plan: &'p pb::Plan, outfit: &pb::PlannedOutfit) -> Option<&'p pb::PlannedOutfit> {
    let pair = (&outfit.rod_id, &outfit.reel_id);
    plan.outfits.iter().find(|other| (&other.rod_id, &other.reel_id) == pair)
}

/// Outfits that the other plan does not have.
fn only<'p>(
    plan: &'p pb::Plan,
    other: &'p pb::Plan,
    several: bool,
) -> impl Iterator<Item = pb::ChangedOutfit> + 'p {
    let missing = plan.outfits.iter().filter(|outfit| same(other, outfit).is_none());
    missing.map(move |outfit| changed_outfit(plan, outfit, several))
}

/// Outfits of both plans that carry another line.
fn lines<'p>(
    old: &'p pb::Plan,
    new: &'p pb::Plan,
    several: bool,
) -> impl Iterator<Item = pb::ChangedLine> + 'p {
    new.outfits.iter().filter_map(move |after| {
        let before = same(old, after).filter(|was| was.line_stock_id != after.line_stock_id)?;
        Some(pb::ChangedLine {
            outfit: Some(changed_outfit(new, after, several)),
            before: before.line,
            after: after.line,
            stock_before_id: before.line_stock_id.clone(),
            stock_after_id: after.line_stock_id.clone(),
        })
    })
}

/// A plan made on the water with what was planned before for the segments that it is not about, and
/// with the outfits for it.
#[must_use]
pub fn whole_day(plan: &pb::Plan) -> pb::Plan {
    let mut whole = plan.clone();
    if let Some(aboard) = plan.basis.as_ref().and_then(|basis| basis.aboard.as_ref()) {
        let known = |id: &String| plan.outfits.iter().any(|outfit| outfit.id == *id);
        whole.outfits.extend(aboard.outfits.iter().filter(|o| !known(&o.id)).cloned());
        whole.assignments.extend(aboard.planned_assignments.iter().cloned());
        whole.starts.extend(aboard.planned_starts.iter().cloned());
        whole.uncovered.extend(aboard.planned_uncovered.iter().cloned());
    }
    whole
}

/// An outfit of a plan, with its trip and boat where there are several.
#[must_use]
pub fn changed_outfit(
    plan: &pb::Plan,
    outfit: &pb::PlannedOutfit,
    several: bool,
) -> pb::ChangedOutfit {
    let named = |id: &String| if several { id.clone() } else { String::new() };
    pb::ChangedOutfit {
        trip_id: named(&plan.trip_id),
        boat_id: named(&plan.boat_id),
        rod_id: outfit.rod_id.clone(),
        reel_id: outfit.reel_id.clone(),
        line: outfit.line,
        line_stock_id: outfit.line_stock_id.clone(),
    }
}

/// Work that the other plan does not have.
fn jobs<'p>(
    plan: &'p pb::Plan,
    other: &'p pb::Plan,
    several: bool,
) -> impl Iterator<Item = pb::ChangedJob> + 'p {
    // Each plan names its outfits anew.
    fn key<'p>(plan: &'p pb::Plan, job: &'p pb::Job) -> impl PartialEq + use<'p> {
        let outfit = plan.outfits.iter().find(|outfit| outfit.id == job.outfit_id);
        let parts = outfit.map(|outfit| (&outfit.rod_id, &outfit.reel_id));
        let rod = parts.map(|(rod, _)| rod).filter(|_| job.kind() == pb::JobKind::Leader);
        let reel = parts.map(|(_, reel)| reel);
        (rod, reel, job.kind, &job.stock_id, job.duration_minutes, &job.segment_id)
    }
    let named = move |id: &String| if several { id.clone() } else { String::new() };
    let missing = |job: &&pb::Job| !other.jobs.iter().any(|o| key(other, o) == key(plan, job));
    plan.jobs.iter().filter(missing).map(move |job| pb::ChangedJob {
        trip_id: named(&plan.trip_id),
        boat_id: named(&plan.boat_id),
        job: Some(job.clone()),
    })
}

fn moves<'p>(plan: &'p pb::Plan, other: &'p pb::Plan) -> impl Iterator<Item = pb::Move> + 'p {
    let missing = |step: &&pb::Move| {
        let same = |o: &pb::Move| {
            (&o.item_id, &o.from_place_id, o.quantity)
                == (&step.item_id, &step.from_place_id, step.quantity)
        };
        !other.moves.iter().any(same)
    };
    plan.moves.iter().filter(missing).cloned()
}

/// Of a need that is fished several times at once: how often, and with how many outfits that reach
/// its verdict. Else 0.
fn copies(plan: &pb::Plan, key: NeedKey<'_>) -> (i32, i32) {
    let needs = plan.trip.iter().flat_map(|trip| &trip.needs);
    let of = |need: &&pb::Need| (need.segment_id.as_str(), need.lure_id.as_str()) == key;
    let Some(need) = needs.into_iter().find(of).filter(|need| need.copy_count > 1) else {
        return (0, 0);
    };
    let least = if need.min_verdict == 0 { pb::Verdict::Good } else { need.min_verdict() };
    let meets = |one: &&pb::Assignment| {
        one.role() == pb::AssignmentRole::Fishes
            && (one.segment_id.as_str(), one.lure_id.as_str()) == key
            && one.verdict != 0
            && one.verdict <= i32::from(least)
    };
    let met = plan.assignments.iter().filter(meets).count();
    (need.copy_count, i32::try_from(met).unwrap_or(i32::MAX))
}

/// The worst verdict of those that fish each need.
fn fished(plan: &pb::Plan) -> BTreeMap<NeedKey<'_>, i32> {
    let mut worst = BTreeMap::new();
    let fishes = pb::AssignmentRole::Fishes as i32;
    for one in plan.assignments.iter().filter(|one| one.role == fishes) {
        let verdict =
            worst.entry((one.segment_id.as_str(), one.lure_id.as_str())).or_insert(one.verdict);
        *verdict = one.verdict.max(*verdict);
    }
    worst
}

fn needs(old: &pb::Plan, new: &pb::Plan, several: bool) -> Vec<pb::NeedChange> {
    let (was, is) = (fished(old), fished(new));
    let open = |plan: &'_ pb::Plan, key: NeedKey<'_>| {
        let same = |u: &&pb::Uncovered| (u.segment_id.as_str(), u.lure_id.as_str()) == key;
        plan.uncovered.iter().find(same).map(|u| u.importance)
    };
    let listed = |plan: &'_ pb::Plan| -> Vec<(String, String)> {
        let key = |u: &pb::Uncovered| (u.segment_id.clone(), u.lure_id.clone());
        plan.uncovered.iter().map(key).collect()
    };
    let mut keys: BTreeSet<(String, String)> =
        was.keys().chain(is.keys()).map(|(s, l)| ((*s).to_owned(), (*l).to_owned())).collect();
    keys.extend(listed(old));
    keys.extend(listed(new));
    let mut changes = Vec::new();
    for (segment, lure) in &keys {
        let key = (segment.as_str(), lure.as_str());
        let (open_before, open_after) = (open(old, key), open(new, key));
        let before = was.get(&key).copied().unwrap_or_default();
        let after = is.get(&key).copied().unwrap_or_default();
        let (covered_before, covered_after) =
            (before != 0 && open_before.is_none(), after != 0 && open_after.is_none());
        let ((copies_before, met_before), (copies_after, met_after)) =
            (copies(old, key), copies(new, key));
        if before != after || covered_before != covered_after || met_before != met_after {
            changes.push(pb::NeedChange {
                trip_id: if several { new.trip_id.clone() } else { String::new() },
                segment_id: segment.clone(),
                lure_id: lure.clone(),
                before,
                after,
                importance: open_before.or(open_after).unwrap_or_default(),
                covered_before,
                covered_after,
                copy_count: copies_before.max(copies_after),
                copy_before_count: met_before,
                copy_after_count: met_after,
            });
        }
    }
    changes
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plan(outfits: &[(&str, &str)], fished: &[(&str, pb::Verdict)], worth: i64) -> pb::Plan {
        pb::Plan {
            boat_id: "B1".to_owned(),
            value: Some(pb::PlanValue { objective_micros: worth, ..Default::default() }),
            outfits: outfits
                .iter()
                .map(|(rod, reel)| pb::PlannedOutfit {
                    rod_id: (*rod).to_owned(),
                    reel_id: (*reel).to_owned(),
                    ..Default::default()
                })
                .collect(),
            assignments: fished
                .iter()
                .map(|(lure, verdict)| pb::Assignment {
                    segment_id: "a".to_owned(),
                    lure_id: (*lure).to_owned(),
                    role: pb::AssignmentRole::Fishes.into(),
                    verdict: (*verdict).into(),
                    ..Default::default()
                })
                .collect(),
            ..Default::default()
        }
    }

    // Counted by hand.
    #[test]
    fn plans_differ_by_outfits_and_verdicts() {
        let good = [("L1", pb::Verdict::Good), ("L2", pb::Verdict::Excellent)];
        let first = plan(&[("R1", "E1"), ("R2", "E2")], &good, 5);
        let mut second = plan(&[("R1", "E1"), ("R3", "E2")], &good[..1], 3);
        second.uncovered.push(pb::Uncovered {
            segment_id: "a".to_owned(),
            lure_id: "L2".to_owned(),
            importance: 3,
            ..Default::default()
        });
        let found = plan_difference(std::slice::from_ref(&first), &[second]);
        assert_eq!(found.gain_micros, -2);
        assert_eq!((found.added.len(), found.removed.len()), (1, 1));
        assert_eq!(found.removed[0].rod_id, "R2");
        let [lost] = found.needs.as_slice() else { panic!("{:?}", found.needs) };
        assert_eq!((lost.lure_id.as_str(), lost.importance), ("L2", 3));
        assert!(lost.covered_before && !lost.covered_after && lost.after == 0);
        let same = plan_difference(std::slice::from_ref(&first), std::slice::from_ref(&first));
        assert_eq!(same, pb::PlanDifference::default());
    }

    // Counted by hand.
    #[test]
    fn copies_and_work_are_told() {
        let good = [("L1", pb::Verdict::Good), ("L1", pb::Verdict::Excellent)];
        let need = pb::Need {
            segment_id: "a".to_owned(),
            lure_id: "L1".to_owned(),
            copy_count: 2,
            ..Default::default()
        };
        let trip = Some(pb::Trip { needs: vec![need], ..Default::default() });
        let of = |fished: &[(&str, pb::Verdict)]| pb::Plan {
            trip: trip.clone(),
            ..plan(&[("R1", "E1"), ("R2", "E2")], fished, 0)
        };
        let (first, mut second) = (of(&good), of(&good[..1]));
        let job = |outfit: &str, stock: &str| pb::Job {
            kind: pb::JobKind::Respool.into(),
            outfit_id: outfit.to_owned(),
            stock_id: stock.to_owned(),
            duration_minutes: 12,
            ..Default::default()
        };
        second.outfits[0].id = "O1".to_owned();
        second.jobs = vec![job("O1", "K2")];
        let found = plan_difference(std::slice::from_ref(&first), std::slice::from_ref(&second));
        let [need] = &found.needs[..] else { panic!("{found:?}") };
        let copies = (need.copy_count, need.copy_before_count, need.copy_after_count);
        assert_eq!(copies, (2, 2, 1));
        let [added] = &found.added_jobs[..] else { panic!("{found:?}") };
        assert_eq!(added.job.as_ref().map(|job| job.stock_id.as_str()), Some("K2"));
        // Another name of the same outfit is no other work.
        let mut third = second.clone();
        third.outfits[0].id = "O7".to_owned();
        third.jobs[0].outfit_id = "O7".to_owned();
        let found = plan_difference(&[second], &[third]);
        assert!(found.added_jobs.is_empty() && found.removed_jobs.is_empty(), "{found:?}");
    }

    // Counted by hand.
    #[test]
    fn another_line_is_a_change_of_the_same_outfit() {
        let first = plan(&[("R1", "E1"), ("R2", "E2")], &[], 0);
        let mut second = first.clone();
        second.outfits[1].line_stock_id = "K5".to_owned();
        let found = plan_difference(&[first], &[second]);
        assert!(found.added.is_empty() && found.removed.is_empty());
        let [line] = &found.changed_lines[..] else { panic!("{found:?}") };
        let outfit = line.outfit.as_ref().unwrap();
        assert_eq!((outfit.rod_id.as_str(), line.stock_after_id.as_str()), ("R2", "K5"));
        assert!(line.stock_before_id.is_empty() && outfit.boat_id.is_empty());
    }

    // Counted by hand.
    #[test]
    fn a_trip_of_one_plan_alone_is_named_and_counts_nothing() {
        let first = plan(&[("R1", "E1")], &[("L1", pb::Verdict::Good)], 5);
        let more = pb::Plan {
            boat_id: "B2".to_owned(),
            trip_id: "T2".to_owned(),
            ..plan(&[("R2", "E2")], &[("L2", pb::Verdict::Good)], 7)
        };
        let found = plan_difference(std::slice::from_ref(&first), &[first.clone(), more.clone()]);
        let alone = pb::ChangedTrip { trip_id: "T2".to_owned(), boat_id: "B2".to_owned() };
        let added_trips = vec![alone.clone()];
        assert_eq!(found, pb::PlanDifference { added_trips, ..Default::default() });
        let found = plan_difference(std::slice::from_ref(&first), &[more]);
        assert_eq!(found.added_trips, [alone]);
        assert_eq!((found.removed_trips[0].boat_id.as_str(), found.gain_micros), ("B1", 0));
    }

    // Source: the contract: a plan of a request may hold any value.
    #[test]
    fn no_value_is_too_large() {
        let (least, most) = (plan(&[], &[], i64::MIN), plan(&[], &[], i64::MAX));
        assert_eq!(plan_difference(&[least], &[most.clone(), most]).gain_micros, i64::MAX);
    }
}
