//! The part of a plan that is done with the hands: moves, jobs, rig cards.

use deepbend_contract::pb;

use super::judgement::settings;
use super::{Page, Table, capital, plain};

/// What must be moved and done before departure.
pub(super) fn before_departure(page: &mut Page, plan: &pb::Plan) {
    if !plan.moves.is_empty() {
        page.heading("Bring to the boat");
        for step in &plan.moves {
            let unit = if pb::CargoKind::try_from(step.kind) == Ok(pb::CargoKind::Line) {
                " m"
            } else {
                ""
            };
            let text = format!(
                "{} {} ({}{unit}) from {} to {}",
                plain!(CargoKind, step.kind),
                step.item_id,
                step.quantity,
                step.from_place_id,
                step.to_place_id,
            );
            page.hanging("  - ", &text);
        }
    }
    if !plan.jobs.is_empty() {
        page.heading("Do before departure");
        for job in &plan.jobs {
            let text = format!("{} ({} min)", job.text, job.duration_minutes);
            page.hanging(&format!("  {}  ", job.outfit_id), &text);
        }
    }
}

/// Who starts with what.
pub(super) fn starts(page: &mut Page, plan: &pb::Plan) {
    if plan.starts.is_empty() {
        return;
    }
    page.heading("Starts with");
    let mut table = Table::new().left("  segment").left("angler").left("outfit").left("lure");
    for start in &plan.starts {
        table.row(vec![
            format!("  {}", start.segment_id),
            start.angler_id.clone(),
            start.outfit_id.clone(),
            start.lure_id.clone(),
        ]);
    }
    page.table(&table);
}

/// How to rig and set each outfit for each lure. What holds for the whole trip is left to the
/// cautions of the plan.
pub(super) fn rig_cards(page: &mut Page, plan: &pb::Plan) {
    let of_all = |caution: &pb::Caution| {
        plan.rig_cards.iter().all(|card| card.cautions.iter().any(|c| c.text == caution.text))
    };
    for card in &plan.rig_cards {
        page.heading(&format!(
            "Rig card: outfit {}, lure {}, segment {}",
            card.outfit_id, card.lure_id, card.segment_id
        ));
        page.hanging("  ", &format!("{}.", capital(&card.summary)));
        if let Some(found) = &card.settings {
            // The reel and the line are those of the outfit.
            let mut pairs = settings(found);
            pairs.retain(|(name, _)| name != "reel" && name != "holds for");
            page.pairs(&pairs);
        }
        for caution in card.cautions.iter().filter(|caution| !of_all(caution)) {
            page.hanging("  ! ", &capital(&caution.text));
        }
    }
}
