//! A plan that comes back from the boat: whether its outfits and its load list are of the same
//! things. What follows from these is written again and compared by `review`.

use std::collections::BTreeSet;

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
    let went_out = plan.basis.iter().flat_map(|basis| &basis.aboard);
    let has_gone = went_out.flat_map(|aboard| &aboard.outfits).next().is_some();
    if plan.load_list.is_empty() && !has_gone {
        let right = "what the boat went out with, outfits and lures";
        r.fault("load_list", FaultCode::Missing, "is empty", right);
        return;
    }
    let loaded: BTreeSet<(CargoKind, &str)> =
        plan.load_list.iter().map(|l| (l.kind(), l.item_id.as_str())).collect();
    let is_loaded = |kind: CargoKind, id: &str| loaded.contains(&(kind, id));
    let unloaded = |id: &str| format!("is {id}, which the load list lacks");
    let right = "an item of the load list";
    let before = r.fault_count();
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
        }
    });
    if r.fault_count() > before {
        let right = "all that outfits carry and that is fished";
        r.fault("load_list", FaultCode::Missing, "lacks what the plan uses", right);
    }
    r.within("load_list", |at, faults| {
        for (i, line) in plan.load_list.iter().enumerate() {
            let mut r = Reader::new(at.index(i), faults);
            let (id, kind) = (&line.item_id, line.kind());
            let same = |l: &&pb::LoadLine| (l.kind(), &l.item_id) == (kind, id);
            if plan.load_list.iter().filter(same).count() > 1 {
                let wrong = format!("is {id}, which stands twice");
                r.fault("item_id", FaultCode::Duplicate, wrong, "each item once");
            }
            let of_outfit = |o: &&pb::PlannedOutfit| match kind {
                CargoKind::Rod => o.rod_id == *id,
                CargoKind::Reel => o.reel_id == *id,
                CargoKind::Leader | CargoKind::Lure | CargoKind::Line | CargoKind::Unspecified => {
                    false
                }
            };
            let alone = matches!(kind, CargoKind::Rod | CargoKind::Reel);
            match plan.outfits.iter().find(of_outfit) {
                Some(owner) if owner.id != line.outfit_id => {
                    let (is, right) = (&line.outfit_id, format!("{}, which has {id}", owner.id));
                    r.fault("outfit_id", FaultCode::Conflict, format!("is {is}"), right);
                }
                None if alone => {
                    let wrong = format!("is {id}, which no outfit of the plan uses");
                    r.fault("item_id", FaultCode::Conflict, wrong, "what the plan uses");
                }
                Some(_) | None => {}
            }
        }
    });
}
