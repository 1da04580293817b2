//! What differs between plans.

use deepbend_contract::{pb, whole_day};

use super::gear::line_phrase;
use super::{Page, Table, model_id, plain, plan, plan_jobs, units, within};

/// What contested gear would change.
pub(super) fn if_sighted(page: &mut Page, list: &[pb::IfSighted]) {
    if list.is_empty() {
        return;
    }
    page.heading("Contested gear: worth a look before you go");
    for one in list {
        page.hanging("  - ", &one.text);
        let mut table = Table::new().left("    take").left("with").wrapped("line");
        if one.outfits.iter().any(|o| !o.boat_id.is_empty()) {
            table = table.left("on");
        }
        for o in &one.outfits {
            table.row(vec![
                format!("    {}", o.rod_id),
                o.reel_id.clone(),
                line_name(o.line.as_ref(), &o.line_stock_id),
                o.boat_id.clone(),
            ]);
        }
        page.table(&table);
        if let Some(difference) = &one.difference {
            work(page, difference, "    ");
        }
    }
}

/// The same in a line each.
pub(super) fn to_look_for(page: &mut Page, list: &[pb::IfSighted]) {
    if list.is_empty() {
        return;
    }
    page.heading("Contested gear: worth a look before you go");
    list.iter().for_each(|one| page.hanging("  - ", &one.text));
}

/// What differs between two plans.
#[must_use]
pub fn plan_difference(
    difference: &pb::PlanDifference,
    has_common_trip: bool,
    winds: &[String],
    width: usize,
) -> String {
    let mut page = Page::new(width);
    winds.iter().for_each(|wind| page.paragraph(wind));
    if has_common_trip {
        write(&mut page, difference, "The second plan");
    } else {
        page.paragraph("No trip is in both plans: there is nothing to compare.");
        changes(&mut page, difference);
    }
    page.finish()
}

/// What covers a trip from what is aboard; of what is fished, started with and set, what differs from
/// the plan that the boat went out with.
#[must_use]
pub fn recovered(
    answer: &pb::CheckCoverageResponse,
    before: Option<&pb::Plan>,
    width: usize,
) -> String {
    let mut page = Page::new(width);
    let Some(plan) = &answer.plan else { return page.finish() };
    if let Some(given_up) = &plan.given_up {
        page.paragraph(&given_up.text);
    }
    plan::added_wind(&mut page, plan);
    if let Some(counts) = &plan.counts {
        page.paragraph(&format!(
            "{} of {} lures are covered from what is aboard, with {}.",
            counts.covered_count,
            counts.need_count,
            units::counted(counts.outfit_count.into(), "outfit")
        ));
    }
    if answer.abridged {
        page.paragraph(
            "The deadline left no time for all of it: the plan was not looked over or what it was \
             worth not counted, or not all that is aboard was judged.",
        );
    }
    if let Some(first) = answer.outdated.first() {
        page.paragraph(&format!(
            "Something was recorded after this plan was made: {} of it would be written otherwise \
             now, the first {} ({}; now {}).",
            units::counted(answer.outdated.len() as i64, "field"),
            first.field,
            first.was,
            first.now
        ));
    }
    if let Some(difference) = &answer.difference {
        // Worth counts what is asked for alone, and what the plan leaves out is not asked of it.
        if !answer.abridged {
            let but = match plan.given_up {
                Some(_) => ", not counting what it leaves out",
                None => "",
            };
            worth(&mut page, difference, "What is left", but);
        }
        changes(&mut page, difference);
    }
    for pieces in &answer.left_pieces {
        let are = if pieces.quantity == 1 { "is" } else { "are" };
        page.paragraph(&format!(
            "{} of {} {are} left aboard, all that lies on the boat counted.",
            pieces.quantity, pieces.item_id
        ));
    }
    counted_as(&mut page, plan, before);
    answer.left_bare.iter().for_each(|outfit| page.paragraph(&outfit.text));
    if !answer.swaps.is_empty() {
        page.heading(&format!("Rig anew, {} min in all", answer.swap_minutes));
        for swap in &answer.swaps {
            page.hanging("  - ", &format!("{} ({} min)", swap.text, swap.duration_minutes));
        }
    }
    if before.is_some() {
        page.line("");
        page.paragraph(
            "Below stands what changes against the plan, who fishes and starts with what and the \
             rig cards for it; all else stays as it was.",
        );
    }
    let changed = changed(plan, before.map(whole_day).as_ref());
    plan::coverage(&mut page, &changed);
    plan_jobs::starts(&mut page, &changed);
    plan_jobs::rig_cards(&mut page, &changed, plan);
    if !plan.uncovered.is_empty() {
        page.heading("Open");
    }
    for need in &plan.uncovered {
        page.hanging(&format!("  {} {}  ", need.segment_id, need.lure_id), &need.text);
        if !need.cure.is_empty() {
            page.hanging("      cure: ", &need.cure);
        }
    }
    if let Some(worst) = plan.losses.first()
        && plan_jobs::has_effect(worst)
    {
        page.hanging("  the worst that could go next: ", &within(&worst.text));
    }
    if let Some(model) = &plan.model {
        page.heading(&format!("Model {}", model_id(model)));
    }
    page.finish()
}

/// What an answer takes for granted: of leaders that are lost what is tied is gone as well, and what
/// was to be changed for the segment that it begins with is changed.
fn counted_as(page: &mut Page, plan: &pb::Plan, before: Option<&pb::Plan>) {
    let Some(aboard) = plan.basis.as_ref().and_then(|basis| basis.aboard.as_ref()) else { return };
    let rod = |rig: &pb::Rig| {
        let outfit = aboard.outfits.iter().find(|outfit| outfit.id == rig.outfit_id)?;
        Some(outfit.rod_id.as_str())
    };
    for id in &aboard.lost_item_ids {
        let tied = aboard.carried.iter().filter(|rig| rig.leader_stock_id == *id);
        let rods: Vec<&str> = tied.filter_map(rod).collect();
        if !rods.is_empty() {
            page.paragraph(&format!(
                "All of {id} counts as lost, what was tied to {} too; of a part of it say how many are \
                 gone, as in --lost {id}=1.",
                rods.join(" and ")
            ));
        }
    }
    for pieces in &aboard.lost_pieces {
        let is_lost = |rig: &&pb::Rig| {
            let is_own = rig.leader_stock_id == pieces.item_id;
            is_own && aboard.lost_leader_outfit_ids.contains(&rig.outfit_id)
        };
        let rods: Vec<&str> = aboard.carried.iter().filter(is_lost).filter_map(rod).collect();
        if !rods.is_empty() {
            page.paragraph(&format!(
                "Of {} what is tied counts as lost first: {} {} none on the line.",
                pieces.item_id,
                rods.join(" and "),
                if rods.len() > 1 { "have" } else { "has" },
            ));
        }
    }
    let parts = plan.trip.iter().flat_map(|trip| &trip.segments);
    let first = parts.map(|part| &part.id).find(|id| aboard.segment_ids.contains(id));
    let is_changed = |job: &&pb::Job| !job.is_if_needed && Some(&job.segment_id) == first;
    if let Some(job) = before.and_then(|before| before.jobs.iter().find(is_changed)) {
        page.paragraph(&format!(
            "What the plan changes for the beginning of segment {} counts as changed.",
            job.segment_id
        ));
    }
}

/// Of a plan what another one does not have: who fishes what with which rig, who starts with what,
/// and the cards for these.
fn changed(plan: &pb::Plan, before: Option<&pb::Plan>) -> pb::Plan {
    let rig = |plan: &pb::Plan, id: &str| {
        let outfit = plan.outfits.iter().find(|outfit| outfit.id == id);
        outfit.map(|outfit| (outfit.rod_id.clone(), outfit.reel_id.clone()))
    };
    let fishes = |one: &pb::Assignment| one.role() == pb::AssignmentRole::Fishes;
    let same_use = |one: &pb::Assignment, was: &pb::Assignment, before: &pb::Plan| {
        fishes(was)
            && (&was.segment_id, &was.lure_id, &was.leader_stock_id)
                == (&one.segment_id, &one.lure_id, &one.leader_stock_id)
            && rig(before, &was.outfit_id) == rig(plan, &one.outfit_id)
    };
    let same_first = |one: &pb::Start, was: &pb::Start, before: &pb::Plan| {
        was.lure_id == one.lure_id && rig(before, &was.outfit_id) == rig(plan, &one.outfit_id)
    };
    let same_second = |one: &pb::Start, was: &pb::Start, before: &pb::Plan| {
        let rigs = [(before, was), (plan, one)].map(|(plan, of)| rig(plan, &of.second_outfit_id));
        was.second_lure_id == one.second_lure_id && rigs[0] == rigs[1]
    };
    type Same<'s> = &'s dyn Fn(&pb::Start, &pb::Start, &pb::Plan) -> bool;
    let stands = |one: &pb::Start, same: Same<'_>| {
        let is = |was: &pb::Start, before: &pb::Plan| {
            (&was.segment_id, &was.angler_id) == (&one.segment_id, &one.angler_id)
                && same(one, was, before)
        };
        before.is_some_and(|before| before.starts.iter().any(|was| is(was, before)))
    };
    let mut changed = plan.clone();
    changed.assignments.retain(|one| {
        let was = |before: &pb::Plan| before.assignments.iter().any(|w| same_use(one, w, before));
        fishes(one) && !before.is_some_and(was)
    });
    changed.starts.retain(|one| !(stands(one, &same_first) && stands(one, &same_second)));
    let (uses, starts) = (&changed.assignments, &changed.starts);
    changed.rig_cards.retain(|card| {
        let key = (&card.segment_id, &card.lure_id, &card.outfit_id);
        uses.iter().any(|one| (&one.segment_id, &one.lure_id, &one.outfit_id) == key)
            || starts.iter().any(|one| {
                let first = (&one.segment_id, &one.lure_id, &one.outfit_id) == key;
                let second = (&one.segment_id, &one.second_lure_id, &one.second_outfit_id) == key;
                (first && !stands(one, &same_first)) || (second && !stands(one, &same_second))
            })
    });
    changed
}

fn write(page: &mut Page, difference: &pb::PlanDifference, whose: &str) {
    worth(page, difference, whose, "");
    changes(page, difference);
}

/// Boat and trip, as far as they are named: "B1 (T1)".
fn trip_name(trip: &pb::ChangedTrip) -> String {
    match trip.trip_id.as_str() {
        "" => trip.boat_id.clone(),
        id => format!("{} ({id})", trip.boat_id),
    }
}

/// A line with the stock that it is wound from.
fn line_name(line: Option<&pb::Line>, stock: &str) -> String {
    let name = line.map(line_phrase).unwrap_or_default();
    if stock.is_empty() { name } else { format!("{name} from {stock}") }
}

fn worth(page: &mut Page, difference: &pb::PlanDifference, whose: &str, but: &str) {
    let gain = difference.gain_micros as f64 / 1e6;
    page.paragraph(&match difference.gain_micros {
        // It would read 0.00.
        -4_999..5_000 => format!("{whose} is worth as much{but}."),
        5_000.. => format!("{whose} is worth {gain:.2} more{but}."),
        _ => format!("{whose} is worth {:.2} less{but}.", -gain),
    });
}

fn changes(page: &mut Page, difference: &pb::PlanDifference) {
    for (list, which) in [(&difference.removed_trips, "first"), (&difference.added_trips, "second")]
    {
        for trip in list {
            let text =
                format!("Only the {which} plan has {}; it is not compared.", trip_name(trip));
            page.hanging("  ", &text);
        }
    }
    for change in &difference.changed_lines {
        let outfit = change.outfit.clone().unwrap_or_default();
        let boat = if outfit.boat_id.is_empty() { "" } else { " on " };
        let text = format!(
            "line of {} with {}{boat}{}: {} -> {}",
            outfit.rod_id,
            outfit.reel_id,
            outfit.boat_id,
            line_name(change.before.as_ref(), &change.stock_before_id),
            line_name(change.after.as_ref(), &change.stock_after_id)
        );
        page.hanging("  ", &text);
    }
    for (list, word) in [(&difference.added, "+"), (&difference.removed, "-")] {
        for outfit in list {
            let boat = if outfit.boat_id.is_empty() { "" } else { " on " };
            let (line, stock) = (outfit.line.as_ref(), &outfit.line_stock_id);
            let line = match line_name(line, stock) {
                none if none.is_empty() => none,
                line => format!(", {line}"),
            };
            let text =
                format!("{} with {}{boat}{}{line}", outfit.rod_id, outfit.reel_id, outfit.boat_id);
            page.hanging(&format!("  {word} "), &text);
        }
    }
    for need in &difference.needs {
        let verdict = |value: i32| match plain!(Verdict, value) {
            none if none.is_empty() => "nothing".to_owned(),
            word => word,
        };
        let change = match (need.covered_before, need.covered_after) {
            (true, false) => ", no longer covered",
            (false, true) => ", covered now",
            (true, true) | (false, false) => "",
        };
        let copies = match need.copy_count {
            0 => String::new(),
            all => format!(
                ", {} of {all} copies -> {} of {all}",
                need.copy_before_count, need.copy_after_count
            ),
        };
        let trip = if need.trip_id.is_empty() { "" } else { " " };
        page.hanging(
            &format!("  {}{trip}{} {}  ", need.trip_id, need.segment_id, need.lure_id),
            &format!("{} -> {}{copies}{change}", verdict(need.before), verdict(need.after)),
        );
    }
    work(page, difference, "  ");
}

/// Moves and jobs of one plan alone.
fn work(page: &mut Page, difference: &pb::PlanDifference, indent: &str) {
    for (steps, word) in [(&difference.added_moves, "+"), (&difference.removed_moves, "-")] {
        for step in steps {
            let by = match step.deadline.as_str() {
                "" => String::new(),
                time => format!(", by {time}"),
            };
            let text = format!(
                "move {} from {} to {}{by}",
                plan_jobs::quantity(step.kind, &step.item_id, step.quantity),
                step.from_place_id,
                step.to_place_id
            );
            page.hanging(&format!("{indent}{word} "), &text);
        }
    }
    for (jobs, word) in [(&difference.added_jobs, "+"), (&difference.removed_jobs, "-")] {
        for changed in jobs {
            let job = changed.job.clone().unwrap_or_default();
            let on = if changed.boat_id.is_empty() { "" } else { "on " };
            let gap = if changed.boat_id.is_empty() { "" } else { ": " };
            let boat = &changed.boat_id;
            let text = format!("{on}{boat}{gap}{} ({} min)", job.text, job.duration_minutes);
            page.hanging(&format!("{indent}{word} "), &text);
        }
    }
}
