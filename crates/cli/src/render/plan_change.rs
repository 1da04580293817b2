//! What differs between plans.

use deepbend_contract::pb;

use super::{Page, model_id, plain};

/// What contested gear would change.
pub(super) fn if_sighted(page: &mut Page, list: &[pb::IfSighted]) {
    if list.is_empty() {
        return;
    }
    page.heading("Contested gear: worth a look before you go");
    for one in list {
        page.hanging("  - ", &one.text);
        let outfits: Vec<String> = one
            .outfits
            .iter()
            .map(|o| {
                let boat = if o.boat_id.is_empty() { "" } else { " on " };
                format!("{}+{}{boat}{}", o.rod_id, o.reel_id, o.boat_id)
            })
            .collect();
        page.hanging("    then take: ", &outfits.join(", "));
    }
}

/// What differs between two plans.
#[must_use]
pub fn plan_difference(difference: &pb::PlanDifference, width: usize) -> String {
    let mut page = Page::new(width);
    write(&mut page, difference, "The second plan");
    page.finish()
}

/// What covers a trip from what is aboard.
#[must_use]
pub fn recovered(answer: &pb::CheckCoverageResponse, width: usize) -> String {
    let mut page = Page::new(width);
    let Some(plan) = &answer.plan else { return page.finish() };
    if let Some(given_up) = &plan.given_up {
        page.paragraph(&given_up.text);
    }
    if let Some(counts) = &plan.counts {
        page.paragraph(&format!(
            "{} of {} lures are covered from what is aboard, with {} outfits.",
            counts.covered_count, counts.need_count, counts.outfit_count
        ));
    }
    if let Some(difference) = &answer.difference {
        write(&mut page, difference, "What is left");
    }
    if !answer.swaps.is_empty() {
        page.heading(&format!("Rig anew, {} min in all", answer.swap_minutes));
        for swap in &answer.swaps {
            page.hanging("  - ", &format!("{} ({} min)", swap.text, swap.duration_minutes));
        }
    }
    for need in &plan.uncovered {
        page.hanging(&format!("  {} {} open: ", need.segment_id, need.lure_id), &need.text);
    }
    if let Some(worst) = plan.losses.first()
        && !(worst.opens.is_empty() && worst.short_crews.is_empty())
    {
        page.hanging("  next: ", &worst.text);
    }
    if let Some(model) = &plan.model {
        page.heading(&format!("Model {}", model_id(model)));
    }
    page.finish()
}

fn write(page: &mut Page, difference: &pb::PlanDifference, whose: &str) {
    let gain = difference.gain_micros as f64 / 1e6;
    page.paragraph(&match difference.gain_micros {
        0 => format!("{whose} is worth as much."),
        1.. => format!("{whose} is worth {gain:.2} more."),
        _ => format!("{whose} is worth {:.2} less.", -gain),
    });
    for (list, word) in [(&difference.added, "+"), (&difference.removed, "-")] {
        for outfit in list {
            let boat = if outfit.boat_id.is_empty() { "" } else { " on " };
            let text = format!("{} with {}{boat}{}", outfit.rod_id, outfit.reel_id, outfit.boat_id);
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
        let trip = if need.trip_id.is_empty() { "" } else { " " };
        page.hanging(
            &format!("  {}{trip}{} {}  ", need.trip_id, need.segment_id, need.lure_id),
            &format!("{} -> {}{change}", verdict(need.before), verdict(need.after)),
        );
    }
    for (steps, word) in [(&difference.added_moves, "+"), (&difference.removed_moves, "-")] {
        for step in steps {
            let text = format!(
                "move {} {} from {} to {}",
                plain!(CargoKind, step.kind),
                step.item_id,
                step.from_place_id,
                step.to_place_id
            );
            page.hanging(&format!("  {word} "), &text);
        }
    }
}
