//! A plan that comes back from the boat: what one part of it implies for another.

use std::collections::{BTreeMap, BTreeSet};

use deepbend_contract::{At, Faults, Reader, pb};
use pb::{CargoKind, FaultCode};

/// Notes what does not go together in a plan whose parts are right in themselves.
pub(super) fn read(plan: &pb::Plan, at: At<'_>, faults: &mut Faults) {
    let mut r = Reader::new(at, faults);
    let other = plan.trip.iter().map(|trip| &trip.boat_id).find(|boat| **boat != plan.boat_id);
    if let Some(boat) = other {
        let right = format!("{}, the boat of the plan", plan.boat_id);
        r.fault("trip.boat_id", FaultCode::Conflict, format!("is {boat:?}"), right);
    }
    if plan.load_list.is_empty() {
        let right = "what the boat went out with, outfits and lures";
        r.fault("load_list", FaultCode::Missing, "is empty", right);
        return;
    }
    let outfits: BTreeMap<&str, &pb::PlannedOutfit> =
        plan.outfits.iter().map(|outfit| (outfit.id.as_str(), outfit)).collect();
    let loaded: BTreeMap<(CargoKind, &str), i32> =
        plan.load_list.iter().map(|l| ((l.kind(), l.item_id.as_str()), l.quantity)).collect();
    let is_loaded = |kind: CargoKind, id: &str| loaded.contains_key(&(kind, id));
    let unloaded = |id: &str| format!("is {id}, which the load list lacks");
    let right = "an item of the load list";
    r.within("outfits", |at, faults| {
        for (i, outfit) in plan.outfits.iter().enumerate() {
            let mut r = Reader::new(at.index(i), faults);
            let parts = [
                ("rod_id", CargoKind::Rod, &outfit.rod_id),
                ("reel_id", CargoKind::Reel, &outfit.reel_id),
            ];
            for (name, kind, id) in parts {
                if !is_loaded(kind, id) {
                    r.fault(name, FaultCode::NotFound, unloaded(id), right);
                }
            }
            for (j, id) in outfit.leader_stock_ids.iter().enumerate() {
                if !is_loaded(CargoKind::Leader, id) {
                    let name = format!("leader_stock_ids[{j}]");
                    r.fault(&name, FaultCode::NotFound, unloaded(id), right);
                }
            }
        }
    });
    r.within("assignments", |at, faults| {
        for (i, one) in plan.assignments.iter().enumerate() {
            let mut r = Reader::new(at.index(i), faults);
            if !is_loaded(CargoKind::Lure, &one.lure_id) {
                r.fault("lure_id", FaultCode::NotFound, unloaded(&one.lure_id), right);
            }
            let leader = &one.leader_stock_id;
            let outfit = outfits.get(one.outfit_id.as_str());
            let carries = outfit.is_some_and(|o| o.leader_stock_ids.contains(leader));
            if !leader.is_empty() && !carries {
                let wrong = format!("is {leader}, which {} does not carry", one.outfit_id);
                r.fault("leader_stock_id", FaultCode::NotFound, wrong, "a leader of the outfit");
            }
        }
    });
    r.within("starts", |at, faults| {
        for (i, start) in plan.starts.iter().enumerate() {
            let mut r = Reader::new(at.index(i), faults);
            let pairs = [
                ("outfit_id", &start.outfit_id, &start.lure_id),
                ("second_outfit_id", &start.second_outfit_id, &start.second_lure_id),
            ];
            for (name, outfit, lure) in pairs.into_iter().filter(|(_, id, _)| !id.is_empty()) {
                let fishes = |a: &pb::Assignment| {
                    (&a.segment_id, &a.outfit_id, &a.lure_id) == (&start.segment_id, outfit, lure)
                };
                // A summary leaves out what is only a spare.
                let known = plan.assignments.iter().any(fishes) || name != "outfit_id";
                if !known {
                    let wrong = format!("is {outfit}, which fishes {lure} in no assignment");
                    r.fault(name, FaultCode::Conflict, wrong, "an outfit that fishes the lure");
                }
            }
        }
    });
    let fished: BTreeSet<&str> = plan.assignments.iter().map(|a| a.lure_id.as_str()).collect();
    r.within("load_list", |at, faults| {
        for (i, line) in plan.load_list.iter().enumerate() {
            let mut r = Reader::new(at.index(i), faults);
            let (id, outfit) = (&line.item_id, outfits.get(line.outfit_id.as_str()));
            let part = match line.kind() {
                CargoKind::Rod => outfit.is_some_and(|o| o.rod_id == *id),
                CargoKind::Reel => outfit.is_some_and(|o| o.reel_id == *id),
                CargoKind::Leader => plan.outfits.iter().any(|o| o.leader_stock_ids.contains(id)),
                CargoKind::Lure => fished.contains(id.as_str()),
                CargoKind::Line | CargoKind::Unspecified => false,
            };
            if !part {
                let wrong = match line.outfit_id.as_str() {
                    "" => format!("is {id}, which no outfit of the plan uses"),
                    outfit => format!("is {id}, which is no part of {outfit}"),
                };
                r.fault("item_id", FaultCode::Conflict, wrong, "what the plan uses");
            }
        }
    });
    r.within("moves", |at, faults| {
        for (i, step) in plan.moves.iter().enumerate() {
            let mut r = Reader::new(at.index(i), faults);
            // Line is wound on before, and is not loaded.
            let Some(loaded) = loaded.get(&(step.kind(), step.item_id.as_str())) else {
                if step.kind() != CargoKind::Line {
                    r.fault("item_id", FaultCode::NotFound, unloaded(&step.item_id), right);
                }
                continue;
            };
            if step.quantity > *loaded {
                let wrong = format!("is {}", step.quantity);
                let right = format!("at most {loaded}, which are loaded");
                r.fault("quantity", FaultCode::TooLarge, wrong, right);
            }
        }
    });
}
