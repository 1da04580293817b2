//! The plans for the next morning.

use deepbend_contract::pb;

use super::ask::Ask;
use super::{Fleet, chapter};
use crate::failure::Failure;
use crate::render::{capital, fleet_moves, plan, recovered, units, within};
use crate::trip_files;

/// Trip, and the places from which its gear may come.
const TRIPS: [(&str, &[&str]); 2] = [("T1", &["B1", "B2", "S0"]), ("T2", &["B3", "B2", "S0"])];

/// Both trips, each planned by itself from its boat, the boat that stays in, and the shed.
pub(super) async fn both(ask: &Ask<'_>, fleet: &Fleet, width: usize) -> Result<String, Failure> {
    let mut text = String::new();
    for (number, (id, places)) in TRIPS.into_iter().enumerate() {
        let mut page = chapter(width, &format!("{}. TOMORROW: TRIP {id}", number + 6));
        let request = pb::PlanTripRequest {
            trip: Some(trip_files::trip(&fleet.trips, Some(id), false)?),
            pool: places.iter().map(|place| pool(place)).collect(),
            ..pb::PlanTripRequest::default()
        };
        let planned = ask.plan(request).await?;
        page.line(plan(&short(&planned), width).trim_end());
        reels(&mut page, &planned);
        page.line("");
        page.paragraph(&format!(
            "One rig card of {}, and without backups and what stays ashore: deepbend trip plan \
             prints them all.",
            planned.outfits.len()
        ));
        text.push_str(&page.finish());
    }
    text.push_str(&together(ask, fleet, width).await?);
    Ok(text)
}

/// Both boats over one pool: what is moved tonight, the worst loss, and a loss that is covered.
async fn together(ask: &Ask<'_>, fleet: &Fleet, width: usize) -> Result<String, Failure> {
    let mut page = chapter(width, "8. BOTH BOATS AT ONCE");
    let trips: Vec<pb::Trip> = TRIPS
        .iter()
        .map(|(id, _)| trip_files::trip(&fleet.trips, Some(id), false))
        .collect::<Result<_, _>>()?;
    let request = pb::PlanFleetRequest {
        trips: trips.clone(),
        pool: vec![pool("B2"), pool("S0")],
        ..pb::PlanFleetRequest::default()
    };
    let planned = ask.fleet(request).await?;
    page.line(fleet_moves(&planned, width).trim_end());
    page.line("");
    for plan in &planned.plans {
        let counts = plan.counts.unwrap_or_default();
        page.paragraph(&format!(
            "{} ({}): {} of {} lures covered with {}.",
            plan.trip_id,
            plan.boat_id,
            counts.covered_count,
            counts.need_count,
            units::counted(counts.outfit_count.into(), "outfit")
        ));
        if let Some(worst) = plan.losses.first() {
            page.hanging("  the worst single loss: ", &within(&worst.text));
        }
        if let Some(windier) = &plan.windier {
            page.hanging("  ", &windier.text);
        }
    }
    let worst = planned.plans.first().and_then(|plan| Some((plan, plan.losses.first()?)));
    if let Some((plan, loss)) = worst {
        let request = pb::CheckCoverageRequest {
            trip: trips.into_iter().next(),
            plan: Some(plan.clone()),
            lost_item_ids: vec![loss.rod_id.clone()],
            ..pb::CheckCoverageRequest::default()
        };
        let answer = ask.recover(request).await?;
        page.line("");
        page.paragraph(&format!(
            "At ten {} breaks, out of reach of everybody. deepbend trip check --lost {} rigs what \
             is aboard anew:",
            loss.rod_id, loss.rod_id
        ));
        page.line(recovered(&answer, Some(plan), width).trim_end());
    }
    Ok(page.finish())
}

/// A plan as the story shows it: who fishes what, and the rig card of the first outfit.
fn short(planned: &pb::Plan) -> pb::Plan {
    let mut short = planned.clone();
    let first = short.outfits.first().map(|outfit| outfit.id.clone()).unwrap_or_default();
    short.rig_cards.retain(|card| card.outfit_id == first);
    short.assignments.retain(|a| a.role == pb::AssignmentRole::Fishes as i32);
    short.left_ashore.clear();
    short
}

fn pool(place: &str) -> pb::PoolPlace {
    pb::PoolPlace { place_id: place.to_owned(), move_cost_micros: None }
}

/// Where reels, not rods, are what is short.
fn reels(page: &mut crate::render::Page, planned: &pb::Plan) {
    let short: Vec<&pb::LeftAshore> = planned
        .left_ashore
        .iter()
        .filter(|left| {
            left.kind == pb::CargoKind::Rod as i32
                && left.reason == pb::AshoreReason::PartnerUsed as i32
        })
        .collect();
    if short.is_empty() {
        return;
    }
    page.line("");
    page.paragraph(
        "Reels bind, not rods: these stay ashore only because every reel that fits is on another rod.",
    );
    for left in short {
        page.hanging(&format!("  {} ", left.item_id), &capital(&left.text));
    }
}
