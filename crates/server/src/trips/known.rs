//! What a request names: whether the inventory has it, and whether it is what it is named for.

use deepbend_contract::{At, Faults, pb};
use deepbend_core::gear::Handle;
use deepbend_ledger::id::Id;
use deepbend_ledger::item::{Boat, Item, ItemKey, ItemKind, Spec, StockUse};
use deepbend_ledger::view::View;

use super::ask::Asked;
use super::ask_season;
use super::pool::in_pool;
use crate::error::{Missing, ServiceError};

pub(super) fn item<'v>(view: &'v View, kind: ItemKind, id: &str) -> Option<&'v Item> {
    let id = Id::new(id).ok()?;
    view.get(&ItemKey { kind, id }).map(|entry| entry.item())
}

pub(super) fn boat_of<'v>(view: &'v View, id: &str) -> Option<&'v Boat> {
    match &item(view, ItemKind::Boat, id)?.spec {
        Spec::Boat(boat) => Some(boat),
        Spec::Rod(_) | Spec::Reel(_) | Spec::Lure(_) | Spec::LineStock(_) | Spec::Device(_) => None,
    }
}

/// Whether it is a place ashore: it has no rod holders.
pub(super) fn is_ashore(boat: &Boat) -> bool {
    boat.rod_holders == Some(0)
}

/// Whether the inventory has an item of this kind, or of any.
pub(super) fn is_known(view: &View, kind: Option<ItemKind>, id: &str) -> bool {
    Id::new(id).is_ok_and(|id| match kind {
        Some(kind) => view.get(&ItemKey { kind, id }).is_some(),
        None => !view.find(&id).is_empty(),
    })
}

/// Everything that the request names and the inventory does not have.
fn lacking(view: &View, asked: &Asked, trip: &str) -> Vec<Missing> {
    let mut missing: Vec<Missing> = Vec::new();
    let mut want = |field: String, kind: Option<ItemKind>, id: &str| {
        let known = is_known(view, kind, id);
        if !known && missing.iter().all(|m| (m.kind, m.id.as_str()) != (kind, id)) {
            missing.push(Missing::new(field, kind, id, view));
        }
    };
    want(format!("{trip}.boat_id"), Some(ItemKind::Boat), &asked.trip.boat);
    for (i, need) in asked.trip.needs.iter().enumerate() {
        want(format!("{trip}.needs[{i}].lure_id"), Some(ItemKind::Lure), &need.lure);
    }
    for place in asked.places.keys() {
        want("pool.place_id".to_owned(), Some(ItemKind::Boat), place);
    }
    for id in asked.pins.leave.iter().chain(&asked.pins.take) {
        want(asked.pins.field(id, "item_id"), None, id);
    }
    for id in asked.aboard.iter().flat_map(|aboard| &aboard.lost) {
        want("lost_item_ids".to_owned(), None, id);
    }
    for (i, (id, _)) in asked.aboard.iter().flat_map(|aboard| &aboard.lost_pieces).enumerate() {
        want(format!("lost_pieces[{i}].item_id"), None, id);
    }
    for (rod, reel) in &asked.pins.pairs {
        want(asked.pins.field(rod, "item_id"), Some(ItemKind::Rod), rod);
        want(asked.pins.field(reel, "reel_id"), Some(ItemKind::Reel), reel);
    }
    missing
}

/// Whether something can be left ashore or lost: gear, and not the boat that it lies on.
pub(super) fn is_gear(view: &View, id: &str) -> bool {
    let kinds = [ItemKind::Rod, ItemKind::Reel, ItemKind::Lure, ItemKind::LineStock];
    kinds.into_iter().any(|kind| item(view, kind, id).is_some())
}

/// Whether some of it can be lost: lures and leaders.
fn comes_in_pieces(view: &View, id: &str) -> bool {
    let stock = item(view, ItemKind::LineStock, id).map(|item| &item.spec);
    let leaders =
        matches!(stock, Some(Spec::LineStock(s)) if matches!(s.use_as, StockUse::Leader(_)));
    leaders || item(view, ItemKind::Lure, id).is_some()
}

/// Pins that cannot be kept since the item is not in the pool, or is none to be pinned so: the
/// item, what is wrong, and what is right.
fn out_of_reach(view: &View, asked: &Asked, all: &[Asked]) -> Vec<(String, String, String)> {
    let mut faults = Vec::new();
    for id in &asked.pins.leave {
        let alone =
            [ItemKind::Rod, ItemKind::Reel].into_iter().any(|k| item(view, k, id).is_some());
        if !is_gear(view, id) {
            let right = "a rod, a reel, a lure or a stock with PIN_RULE_LEAVE";
            faults.push((id.clone(), format!("is {id}"), right.to_owned()));
        } else if !alone && all.iter().any(|other| !other.pins.leave.contains(id)) {
            let right = "a rod or a reel where boat_id is given; left out, all boats leave it";
            faults.push((id.clone(), format!("is {id}, which one boat leaves"), right.to_owned()));
        }
    }
    for id in &asked.pins.take {
        let found = [ItemKind::Rod, ItemKind::Reel].into_iter().find_map(|k| item(view, k, id));
        match found {
            None => {
                let right = "a rod or a reel with PIN_RULE_TAKE".to_owned();
                faults.push((id.clone(), format!("is {id}"), right));
            }
            Some(item) if in_pool(view, asked, item).is_none() => {
                let place = match &item.place {
                    Some(place) => format!("at {place}"),
                    None => "where nobody knows for sure".to_owned(),
                };
                faults.push((
                    id.clone(),
                    format!("is {id}, which lies {place}"),
                    "an item of the pool: name its place, or settle where it is".to_owned(),
                ));
            }
            Some(_) => {}
        }
    }
    faults
}

/// The kind of a rod's handle, or of a reel. Where nobody stated it, it counts as spinning.
fn handle(view: &View, kind: ItemKind, id: &str) -> Option<Handle> {
    let stated = match &item(view, kind, id)?.spec {
        Spec::Rod(rod) => rod.handle,
        Spec::Reel(rigged) => rigged.reel.kind,
        Spec::Lure(_) | Spec::LineStock(_) | Spec::Boat(_) | Spec::Device(_) => return None,
    };
    Some(stated.unwrap_or(Handle::Spinning))
}

/// Pairs of which the reel does not go on the rod: the position of the pin, what is wrong, and what
/// is right.
fn unlike(view: &View, asked: &Asked) -> Vec<(usize, String, String)> {
    let words = |handle: Handle| match handle {
        Handle::Spinning => ("spinning", "fixed-spool"),
        Handle::Casting => ("casting", "casting"),
    };
    let mut faults = Vec::new();
    for (pair @ (rod, reel), at) in &asked.pins.paired {
        let kinds = handle(view, ItemKind::Rod, rod).zip(handle(view, ItemKind::Reel, reel));
        let Some((of_rod, of_reel)) = kinds.filter(|(rod, reel)| rod != reel) else { continue };
        if !asked.pins.pairs.contains(pair) {
            continue;
        }
        let ((rods, takes), (suits, is)) = (words(of_rod), words(of_reel));
        let wrong = format!("is {reel}, a {is} reel, but {rod} is a {rods} rod");
        let right = format!("a {takes} reel for {rod}, or a {suits} rod for {reel}");
        faults.push((*at, wrong, right));
    }
    faults
}

/// Whether the boat of the trip is one that goes out.
pub(super) fn goes_out(view: &View, boat: &str) -> bool {
    boat_of(view, boat).is_some_and(|boat| !is_ashore(boat))
}

/// Everything that is named must be in the inventory, and the boats must be boats.
pub(super) fn look_up(view: &View, trips: &[Asked]) -> Result<(), ServiceError> {
    let mut missing = Vec::new();
    for (i, asked) in trips.iter().enumerate() {
        let trip = if trips.len() == 1 { "trip".to_owned() } else { format!("trips[{i}]") };
        for one in lacking(view, asked, &trip) {
            let known = |m: &Missing| (m.kind, &m.id) == (one.kind, &one.id);
            if !missing.iter().any(known) {
                missing.push(one);
            }
        }
    }
    if !missing.is_empty() {
        return Err(ServiceError::NotFound(missing));
    }
    let mut faults = Faults::new();
    for (i, asked) in trips.iter().enumerate() {
        let at = At::ROOT.field("trips");
        let at = at.index(i);
        let alone = At::ROOT.field("trip");
        let at = if trips.len() == 1 { alone } else { at };
        if !goes_out(view, &asked.trip.boat) {
            let wrong = format!("is {}, a place ashore", asked.trip.boat);
            let right = "the inventory id of a boat with rod holders";
            faults.push(pb::FaultCode::Conflict, at.field("boat_id"), wrong, right);
        }
        for (id, wrong, right) in out_of_reach(view, asked, trips) {
            let field = asked.pins.field(&id, "item_id");
            faults.push(pb::FaultCode::Conflict, At::ROOT.field(&field), wrong, right);
        }
        for (pin, wrong, right) in unlike(view, asked) {
            let list = At::ROOT.field("pins");
            let at = list.index(pin);
            if faults.as_slice().iter().all(|known| known.wrong != wrong) {
                faults.push(pb::FaultCode::Conflict, at.field("reel_id"), wrong, right);
            }
        }
        let pieces = asked.aboard.iter().flat_map(|aboard| &aboard.lost_pieces);
        for (p, (id, _)) in pieces.enumerate().filter(|(_, (id, _))| !comes_in_pieces(view, id)) {
            let right = "a lure or a stock of leaders; what is there once, in lost_item_ids";
            let at = At::ROOT.field("lost_pieces");
            let at = at.index(p);
            faults.push(pb::FaultCode::Conflict, at.field("item_id"), format!("is {id}"), right);
        }
        let lost = asked.aboard.iter().flat_map(|aboard| &aboard.lost);
        for id in lost.filter(|id| !is_gear(view, id)) {
            let right = "a rod, a reel, a lure or a stock";
            let at = At::ROOT.field("lost_item_ids");
            faults.push(pb::FaultCode::Conflict, at, format!("is {id}"), right);
        }
        // What is wound on is the reel's own line by now.
        let aboard = asked.aboard.iter();
        for (reel, stock) in aboard.flat_map(|a| a.wound.iter().filter(|w| a.lost.contains(w.1))) {
            let wrong = format!("is {stock}, which was wound on {reel} for this trip");
            let right = format!("the reel whose line is lost, {reel}");
            let at = At::ROOT.field("lost_item_ids");
            faults.push(pb::FaultCode::Conflict, at, wrong, right);
        }
    }
    faults.or(())?;
    Ok(())
}

/// Lures of a season, and what else a request names, must be in the inventory.
pub(super) fn look_up_season(
    view: &View,
    season: &ask_season::Season,
    named: Vec<(&str, Option<ItemKind>, &String)>,
) -> Result<(), ServiceError> {
    let mut missing: Vec<Missing> = Vec::new();
    let mut want = |field: String, kind: Option<ItemKind>, id: &str| {
        if !is_known(view, kind, id) && missing.iter().all(|m| m.id != id) {
            missing.push(Missing::new(field, kind, id, view));
        }
    };
    for (t, (trip, _)) in season.trips.iter().enumerate() {
        for (n, need) in trip.needs.iter().enumerate() {
            let field = format!("trips[{t}].trip.needs[{n}].lure_id");
            want(field, Some(ItemKind::Lure), &need.lure);
        }
    }
    for (field, kind, id) in named {
        want(field.to_owned(), kind, id);
    }
    if missing.is_empty() { Ok(()) } else { Err(ServiceError::NotFound(missing)) }
}
