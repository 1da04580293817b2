//! What a plan was made from, so that the plan alone can be checked again: written and read.

use deepbend_contract::{pb, whole_day};
use deepbend_ledger::event::{Chain, Hash, Head};
use deepbend_ledger::view::View;
use deepbend_planner::plan::{ItemKind, Load};
use deepbend_planner::problem::Pin;
use deepbend_planner::rewrite::{Elsewhere, Share};
use deepbend_planner::rigging::{self, Rig};

use super::answer::{cargo, count};
use super::ask::{Aboard, Asked};
use super::clash::write_pin;

/// A minute of the day as the contract writes it; a negative one is of the day before.
pub(super) fn clock(minute: impl Into<i64>) -> String {
    let minute = minute.into().rem_euclid(DAY_MINUTES);
    format!("{:02}:{:02}", minute / 60, minute % 60)
}

/// Minutes of a day.
pub(super) const DAY_MINUTES: i64 = 24 * 60;

/// The state of an inventory in a short text, which is another one as soon as something is recorded,
/// or another version of the service writes plans in other words.
pub(super) fn state(view: &View) -> String {
    state_by(view, env!("CARGO_PKG_VERSION"))
}

fn state_by(view: &View, version: &str) -> String {
    let mut text = format!("{version} {}", view.event_count());
    for (Chain { device, incarnation }, Head { sequence, hash }) in view.tips().iter() {
        text.push_str(&format!(" {device} {incarnation} {sequence} {hash}"));
    }
    Hash::of(text.as_bytes()).to_string()
}

/// The basis of one trip of a request.
pub(super) fn write(view: &View, asked: &Asked, all: &[Asked], share: &Share) -> pb::PlanBasis {
    let pool = asked.places.iter().map(|(place_id, cost)| pb::PoolPlace {
        place_id: place_id.clone(),
        move_cost_micros: *cost,
    });
    let others = all.iter().filter(|other| other.trip.boat != asked.trip.boat);
    let out = |boat: &str, kind: ItemKind| -> Vec<String> {
        let gone = share.elsewhere.iter().filter(|e| (e.boat.as_str(), e.kind) == (boat, kind));
        gone.map(|e| e.id.clone()).collect()
    };
    let others = others.map(|other| pb::OtherBoat {
        boat_id: other.trip.boat.clone(),
        departure: other.trip.departs().map(clock).unwrap_or_default(),
        rod_ids: out(&other.trip.boat, ItemKind::Rod),
        reel_ids: out(&other.trip.boat, ItemKind::Reel),
    });
    let shares = share.stocks.iter().map(|stock| pb::LoadLine {
        kind: cargo(stock.kind).into(),
        item_id: stock.id.clone(),
        quantity: count(stock.quantity),
        ..pb::LoadLine::default()
    });
    pb::PlanBasis {
        pool: pool.collect(),
        pins: pins(asked),
        added_wind_m_s: asked.added_wind_m_s,
        summary: asked.summary,
        others: others.collect(),
        shares: shares.collect(),
        aboard: asked.aboard.as_ref().map(|aboard| aboard.wire.clone()),
        inventory_state: state(view),
    }
}

fn pins(asked: &Asked) -> Vec<pb::Pin> {
    let boat = &asked.trip.boat;
    let pins = &asked.pins;
    let of = |rule: pb::PinRule, id: &String| pb::Pin {
        rule: rule.into(),
        item_id: id.clone(),
        boat_id: boat.clone(),
        ..pb::Pin::default()
    };
    let leave = pins.leave.iter().map(|id| of(pb::PinRule::Leave, id));
    let pairs = pins.pairs.iter().map(|(rod, reel)| {
        write_pin(boat.clone(), Pin::Pair { rod: rod.clone(), reel: reel.clone() })
    });
    let take = pins.take.iter().map(|id| of(pb::PinRule::Take, id));
    let hold = pins.hold.iter().map(|(segment, lure)| {
        write_pin(boat.clone(), Pin::Hold { segment: segment.clone(), lure: lure.clone() })
    });
    leave.chain(pairs).chain(take).chain(hold).collect()
}

/// What the fleet leaves a boat.
pub(super) fn share(basis: &pb::PlanBasis) -> Share {
    let gone = |other: &pb::OtherBoat| {
        let of = |kind: ItemKind, ids: &[String]| -> Vec<Elsewhere> {
            let one = |id: &String| Elsewhere { kind, id: id.clone(), boat: other.boat_id.clone() };
            ids.iter().map(one).collect()
        };
        let rods = of(ItemKind::Rod, &other.rod_ids);
        rods.into_iter().chain(of(ItemKind::Reel, &other.reel_ids))
    };
    let stock = |line: &pb::LoadLine| {
        let kind = match line.kind() {
            pb::CargoKind::Line => ItemKind::Line,
            pb::CargoKind::Leader => ItemKind::Leader,
            pb::CargoKind::Lure => ItemKind::Lure,
            pb::CargoKind::Rod | pb::CargoKind::Reel | pb::CargoKind::Unspecified => return None,
        };
        let quantity = u32::try_from(line.quantity).unwrap_or(0);
        Some(Load { kind, id: line.item_id.clone(), quantity })
    };
    Share {
        stocks: basis.shares.iter().filter_map(stock).collect(),
        elsewhere: basis.others.iter().flat_map(gone).collect(),
    }
}

/// What was aboard on the water.
pub(super) fn aboard(basis: &pb::AboardBasis) -> Aboard {
    let pieces =
        |line: &pb::LoadLine| (line.item_id.clone(), u32::try_from(line.quantity).unwrap_or(0));
    let brought = basis.brought.iter().map(|line| (&line.item_id, line.quantity));
    let taken = match basis.outfits.is_empty() {
        true => Aboard::default(),
        false => Aboard::taken(&basis.outfits, basis.lure_ids.iter(), brought),
    };
    Aboard {
        lost: basis.lost_item_ids.iter().cloned().collect(),
        lost_pieces: basis.lost_pieces.iter().map(pieces).collect(),
        shares: basis.shares.iter().map(pieces).collect(),
        wire: basis.clone(),
        ..taken
    }
}

/// What a boat had aboard when its plan was made on the water.
fn went_out(plan: &pb::Plan) -> Option<&pb::AboardBasis> {
    plan.basis.as_ref().and_then(|basis| basis.aboard.as_ref())
}

/// Outfits aboard: those of the plan, then those that the boat went out with, however they were taken
/// apart or set aside since.
pub(super) fn outfits_aboard(plan: &pb::Plan) -> Vec<pb::PlannedOutfit> {
    let same = |one: &pb::PlannedOutfit, other: &pb::PlannedOutfit| {
        (&one.rod_id, &one.reel_id) == (&other.rod_id, &other.reel_id)
    };
    let earlier = went_out(plan).into_iter().flat_map(|aboard| &aboard.outfits);
    let set_aside = earlier.filter(|was| !plan.outfits.iter().any(|now| same(now, was)));
    plan.outfits.iter().chain(set_aside).cloned().collect()
}

/// Outfits that are put together aboard: those of the plan, and those that it has nothing to do for,
/// neither part of which is lost or on another one.
pub(super) fn outfits_rigged(plan: &pb::Plan) -> Vec<pb::PlannedOutfit> {
    let mut outfits = outfits_aboard(plan);
    let apart = |was: &pb::PlannedOutfit| {
        let mut now = plan.outfits.iter();
        now.any(|now| now.id != was.id && (now.rod_id == was.rod_id || now.reel_id == was.reel_id))
    };
    let lost = |id: &String| went_out(plan).is_some_and(|a| a.lost_item_ids.contains(id));
    outfits.retain(|outfit| !apart(outfit) && !lost(&outfit.rod_id) && !lost(&outfit.reel_id));
    outfits
}

/// Lures aboard, by inventory id: those that the plan fishes, and those that the boat went out with.
pub(super) fn lures_aboard(plan: &pb::Plan) -> impl Iterator<Item = &String> {
    let earlier = went_out(plan).into_iter().flat_map(|aboard| &aboard.lure_ids);
    plan.assignments.iter().map(|assignment| &assignment.lure_id).chain(earlier)
}

/// What was brought before the boat went out, with how many.
pub(super) fn brought(plan: &pb::Plan) -> impl Iterator<Item = (&String, i32)> {
    let earlier = went_out(plan).into_iter().flat_map(|aboard| &aboard.brought);
    let moved = plan.moves.iter().map(|step| (&step.item_id, step.quantity));
    moved.chain(earlier.map(|line| (&line.item_id, line.quantity)))
}

/// What was aboard, as it is written.
pub(super) fn write_aboard(
    plan: Option<&pb::Plan>,
    aboard: &Aboard,
    segments: &[String],
) -> pb::AboardBasis {
    let line = |id: &str, quantity: i32| pb::LoadLine {
        item_id: id.to_owned(),
        quantity,
        ..pb::LoadLine::default()
    };
    let plan = plan.cloned().unwrap_or_default();
    let mut lure_ids: Vec<String> = lures_aboard(&plan).cloned().collect();
    lure_ids.sort_unstable();
    lure_ids.dedup();
    let is_other = |segment: &String| !segments.is_empty() && !segments.contains(segment);
    let mut others = whole_day(&plan);
    others.assignments.retain(|one| is_other(&one.segment_id));
    others.assignments.retain(|one| one.role() != pb::AssignmentRole::Spare);
    others.starts.retain(|start| is_other(&start.segment_id));
    others.uncovered.retain(|need| is_other(&need.segment_id));
    pb::AboardBasis {
        outfits: outfits_aboard(&plan),
        lure_ids,
        brought: brought(&plan).map(|(id, quantity)| line(id, quantity)).collect(),
        lost_item_ids: aboard.lost.iter().cloned().collect(),
        lost_pieces: aboard.lost_pieces.iter().map(|(id, n)| line(id, count(*n))).collect(),
        segment_ids: segments.to_vec(),
        carried: carried(&plan, segments),
        shares: aboard.shares.iter().map(|(id, n)| line(id, count(*n))).collect(),
        planned_assignments: others.assignments,
        planned_starts: others.starts,
        planned_uncovered: others.uncovered,
        lost_leader_outfit_ids: Vec::new(),
    }
}

/// The leader that was on a reel's line, empty for none, and whether it is lost; `None`: nobody knows.
pub(super) fn on_line<'a>(aboard: &'a pb::AboardBasis, reel: &str) -> Option<(&'a str, bool)> {
    let outfit = aboard.outfits.iter().find(|outfit| outfit.reel_id == reel)?;
    let rig = aboard.carried.iter().find(|rig| rig.outfit_id == outfit.id);
    let leader = rig.map_or("", |rig| rig.leader_stock_id.as_str());
    let is_piece = aboard.lost_leader_outfit_ids.contains(&outfit.id);
    Some((leader, is_piece || aboard.lost_item_ids.iter().any(|gone| gone == leader)))
}

/// Outfits from whose lines pieces are lost: as many as there are pieces, in the order that the
/// contract states.
pub(super) fn lost_from_lines(
    plan: Option<&pb::Plan>,
    aboard: &pb::AboardBasis,
    pieces: &[(String, u32)],
) -> Vec<String> {
    let Some(plan) = plan else { return Vec::new() };
    let parts = plan.trip.iter().flat_map(|trip| &trip.segments).map(|part| &part.id);
    let mut asked =
        parts.filter(|id| aboard.segment_ids.is_empty() || aboard.segment_ids.contains(id));
    let first = asked.next();
    let starts = whole_day(plan).starts;
    let is_gone = |rig: &pb::Rig| {
        let mut outfits = aboard.outfits.iter().filter(|outfit| outfit.id == rig.outfit_id);
        outfits.any(|o| [&o.rod_id, &o.reel_id].iter().any(|id| aboard.lost_item_ids.contains(id)))
    };
    let begins = |rig: &pb::Rig| {
        let mut here = starts.iter().filter(|start| Some(&start.segment_id) == first);
        here.any(|start| start.outfit_id == rig.outfit_id)
    };
    let mut order: Vec<&pb::Rig> = aboard.carried.iter().collect();
    order.sort_by_key(|rig| (!is_gone(rig), !begins(rig)));
    let of_stock = |(id, quantity): &(String, u32)| {
        let tied = order.iter().filter(|rig| rig.leader_stock_id == *id);
        tied.take(*quantity as usize).map(|rig| rig.outfit_id.clone()).collect::<Vec<_>>()
    };
    pieces.iter().flat_map(of_stock).collect()
}

/// What each outfit of a plan carries when the first of these segments begins; none named: when the
/// boat departs. A plan that does not say it has the first leader of each outfit tied.
fn carried(plan: &pb::Plan, segments: &[String]) -> Vec<pb::Rig> {
    let parts = plan.trip.iter().flat_map(|trip| &trip.segments);
    let order: Vec<&str> = parts.map(|part| part.id.as_str()).collect();
    let position = |id: &String| order.iter().position(|part| part == id);
    let first = segments.iter().filter_map(position).min().unwrap_or(0);
    let earlier = went_out(plan);
    let went_out = earlier.map(aboard);
    let carries = |outfit: &pb::PlannedOutfit| {
        let own = plan.rigs.iter().filter(|rig| rig.outfit_id == outfit.id);
        let rigs: Vec<Rig<'_>> = own
            .filter_map(|rig| {
                Some(Rig {
                    segment: position(&rig.segment_id)?,
                    leader: Some(rig.leader_stock_id.as_str()).filter(|id| !id.is_empty()),
                    lures: Vec::new(),
                    is_kept_ready: rig.is_kept_ready,
                })
            })
            .collect();
        let on = went_out.as_ref().and_then(|aboard| aboard.carries(&outfit.reel_id));
        let told = rigging::carried(&rigs, first, on);
        let leader = match plan.rigs.is_empty() {
            true => outfit.leader_stock_ids.first().map(|id| Some(id.as_str())),
            false => told,
        };
        leader.map(|leader| pb::Rig {
            outfit_id: outfit.id.clone(),
            leader_stock_id: leader.unwrap_or_default().to_owned(),
            ..pb::Rig::default()
        })
    };
    // What was set aside has on it what it had, unless that piece was lost.
    let is_in_use = |reel: &String| plan.outfits.iter().any(|outfit| outfit.reel_id == *reel);
    let set_aside = |rig: &&pb::Rig| {
        let mut outfits = earlier.iter().flat_map(|aboard| &aboard.outfits);
        outfits.any(|was| was.id == rig.outfit_id && !is_in_use(&was.reel_id))
    };
    let others = earlier.iter().flat_map(|aboard| &aboard.carried).filter(set_aside);
    let others = others.cloned().map(|mut rig| {
        if earlier.is_some_and(|aboard| aboard.lost_leader_outfit_ids.contains(&rig.outfit_id)) {
            rig.leader_stock_id.clear();
        }
        rig
    });
    plan.outfits.iter().filter_map(carries).chain(others).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    // By hand.
    #[test]
    fn before_midnight_is_the_day_before() {
        assert_eq!(
            (clock(385_u32), clock(0), clock(-35)),
            ("06:25".into(), "00:00".into(), "23:25".into())
        );
    }

    // Source: the contract of PlanBasis.inventory_state.
    #[test]
    fn another_version_is_another_state() {
        let view = View::default();
        assert_eq!(state_by(&view, "0.1.0"), state_by(&view, "0.1.0"));
        assert_ne!(state_by(&view, "0.1.0"), state_by(&view, "0.2.0"));
    }
}
