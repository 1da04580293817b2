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

/// Whether a caution is about this outfit; weather, water and law stand at the end of the plan.
fn of_gear(caution: &pb::Caution) -> bool {
    use pb::CautionCode as Code;
    match Code::try_from(caution.code) {
        Ok(
            Code::Hooks
            | Code::CastOverload
            | Code::SnapOff
            | Code::HighDrag
            | Code::BraidOnHand
            | Code::CheckGear
            | Code::BiteOff
            | Code::DeadLift,
        ) => true,
        Ok(
            Code::Unspecified
            | Code::PowerLine
            | Code::Lightning
            | Code::StrongWind
            | Code::ColdWater
            | Code::WarmWaterFish
            | Code::Barotrauma
            | Code::LocalRules
            | Code::Uncertain
            | Code::Wading,
        )
        | Err(_) => false,
    }
}

/// One card for each outfit in each segment: what holds for all its lures once, what differs beside
/// the lure.
pub(super) fn rig_cards(page: &mut Page, plan: &pb::Plan) {
    let mut segments: Vec<&str> = plan.rig_cards.iter().map(|c| c.segment_id.as_str()).collect();
    segments.sort_unstable();
    segments.dedup();
    let pairs = plan.outfits.iter().flat_map(|o| segments.iter().map(move |s| (o, *s)));
    for (outfit, segment) in pairs {
        let here = |card: &&pb::RigCard| card.outfit_id == outfit.id && card.segment_id == segment;
        let cards: Vec<&pb::RigCard> = plan.rig_cards.iter().filter(here).collect();
        let Some(first) = cards.first() else { continue };
        let (rod, reel) = (&outfit.rod_id, &outfit.reel_id);
        page.heading(&format!("Rig card {}, segment {segment}: {rod} with {reel}", outfit.id));
        let set = |card: &pb::RigCard| card.settings.as_ref().map(settings).unwrap_or_default();
        // The reel and the line are those of the outfit.
        let mut common = set(first);
        common.retain(|(name, _)| name != "reel" && name != "holds for");
        common.retain(|pair| cards.iter().all(|card| set(card).contains(pair)));
        page.pairs(&common);
        for card in &cards {
            page.hanging(&format!("  {}  ", card.lure_id), &own(card, &common));
        }
        let mut cautions: Vec<&pb::Caution> = Vec::new();
        for caution in cards.iter().flat_map(|card| &card.cautions).filter(|c| of_gear(c)) {
            if !cautions.iter().any(|known| known.text == caution.text) {
                cautions.push(caution);
            }
        }
        for caution in cautions {
            page.hanging("  ! ", &capital(&caution.text));
        }
    }
}

/// What a card says beyond its outfit's common settings.
fn own(card: &pb::RigCard, common: &[(String, String)]) -> String {
    let mut pairs = card.settings.as_ref().map(settings).unwrap_or_default();
    pairs.retain(|(name, _)| name != "reel" && name != "holds for");
    pairs.retain(|pair| !common.contains(pair));
    let own = pairs.iter().map(|(name, value)| format!(" {}: {value}.", capital(name)));
    format!("{}.{}", capital(&card.summary), own.collect::<String>())
}
