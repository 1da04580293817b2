//! A plan that comes back from the boat: whether it can be what the boat went out with.

use std::collections::BTreeSet;

use deepbend_contract::{At, Faults, FromWire as _, Reader, limits, not_finite, pb};
use deepbend_core::gear::{Line, Word as _};
use deepbend_ledger::item::{ItemKind, Spec, StockUse};
use deepbend_ledger::view::View;
use pb::FaultCode;

use super::{implied, known};

/// Notes what is wrong with the plan of a trip; without an inventory its items are not looked up.
pub(super) fn read(
    plan: &pb::Plan,
    trip: Option<&pb::Trip>,
    view: Option<&View>,
    at: At<'_>,
    faults: &mut Faults,
) {
    let before = faults.as_slice().len();
    // Every message that the service decoded is of the contract.
    for path in not_finite(plan).unwrap_or_default() {
        faults.push(FaultCode::NotFinite, at.field(&path), "is not finite", "a finite number");
    }
    let mut r = Reader::new(at, faults);
    let boat = known(&mut r, view, "boat_id", &plan.boat_id, ItemKind::Boat, true);
    let own = trip.map(|trip| trip.boat_id.as_str()).filter(|own| !own.is_empty());
    if let (Some(boat), Some(own)) = (boat, own.filter(|own| *own != plan.boat_id)) {
        let right = format!("the plan of {own}, the boat of the trip");
        r.fault("boat_id", FaultCode::Conflict, format!("is {boat}"), right);
    }
    let went_out = plan.basis.iter().flat_map(|basis| &basis.aboard);
    if plan.outfits.is_empty() && went_out.flat_map(|aboard| &aboard.outfits).next().is_none() {
        let right = "the outfits that the boat went out with";
        r.fault("outfits", FaultCode::Missing, "is empty", right);
    }
    r.within("outfits", |at, faults| outfits(&plan.outfits, view, at, faults));
    let names: BTreeSet<&str> = plan.outfits.iter().map(|o| o.id.as_str()).collect();
    let within = Within { names, trip, view };
    r.within("assignments", |at, faults| {
        for (i, one) in plan.assignments.iter().enumerate() {
            within.assignment(&mut Reader::new(at.index(i), faults), one);
        }
    });
    r.within("moves", |at, faults| {
        for (i, step) in plan.moves.iter().enumerate() {
            within.step(&mut Reader::new(at.index(i), faults), step, &plan.boat_id);
        }
    });
    for (name, list) in [("load_list", &plan.load_list), ("return_list", &plan.return_list)] {
        r.within(name, |at, faults| {
            for (i, line) in list.iter().enumerate() {
                within.load(&mut Reader::new(at.index(i), faults), line);
            }
        });
    }
    r.within("starts", |at, faults| {
        for (i, start) in plan.starts.iter().enumerate() {
            within.start(&mut Reader::new(at.index(i), faults), start);
        }
    });
    if let Some(aboard) = plan.basis.as_ref().and_then(|basis| basis.aboard.as_ref()) {
        let outfits = plan.outfits.iter().chain(&aboard.outfits);
        let day = Within { names: outfits.map(|o| o.id.as_str()).collect(), trip, view };
        r.within("basis", |at, faults| day.planned(aboard, at.field("aboard"), faults));
    }
    if let Some(basis) = &plan.basis {
        r.within("basis", |at, faults| within.basis(basis, at, faults));
    }
    // What is wrong in itself implies nothing for the rest.
    if faults.as_slice().len() == before {
        implied::read(plan, at, faults);
    }
}

/// An id of an item, if it is in the inventory.
fn known<'p>(
    r: &mut Reader<'_>,
    view: Option<&View>,
    name: &str,
    id: &'p str,
    kind: ItemKind,
    needed: bool,
) -> Option<&'p str> {
    let right = match kind {
        ItemKind::Rod => "the inventory id of a rod",
        ItemKind::Reel => "the inventory id of a reel",
        ItemKind::Lure => "the inventory id of a lure",
        ItemKind::LineStock => "the inventory id of line or leader",
        ItemKind::Boat => "the inventory id of a boat or a place ashore",
        ItemKind::Device => "the inventory id of a device",
    };
    if id.is_empty() {
        if needed {
            r.fault(name, FaultCode::Missing, "is left out", right);
        }
        return None;
    }
    r.id(name, id.to_owned())?;
    if view.is_some_and(|view| !known::is_known(view, Some(kind), id)) {
        r.fault(name, FaultCode::NotFound, format!("is {id}"), right);
        return None;
    }
    Some(id)
}

/// An id of a stock of line, or of leaders.
fn stock(
    r: &mut Reader<'_>,
    view: Option<&View>,
    name: &str,
    id: &str,
    leaders: bool,
    needed: bool,
) {
    let Some(id) = known(r, view, name, id, ItemKind::LineStock, needed) else { return };
    let item = view.and_then(|view| known::item(view, ItemKind::LineStock, id));
    let Some(Spec::LineStock(held)) = item.map(|item| &item.spec) else { return };
    if matches!(held.use_as, StockUse::Leader(_)) != leaders {
        let (is, right) = match leaders {
            true => ("line", "the inventory id of leaders"),
            false => ("leaders", "the inventory id of line"),
        };
        r.fault(name, FaultCode::Conflict, format!("is {id}, a stock of {is}"), right);
    }
}

/// A text that may stand once in its list. Where it stands twice nobody knows which one is wrong.
fn once<'p>(r: &mut Reader<'_>, name: &str, id: &str, mut all: impl Iterator<Item = &'p String>) {
    let again =
        |all: &mut dyn Iterator<Item = &'p String>| all.filter(|one| *one == id).count() > 1;
    if !id.is_empty() && again(&mut all) {
        let wrong = format!("is {id}, which stands twice");
        r.fault(name, FaultCode::Duplicate, wrong, "each once in a plan");
    }
}

fn outfits(list: &[pb::PlannedOutfit], view: Option<&View>, at: At<'_>, faults: &mut Faults) {
    for (i, outfit) in list.iter().enumerate() {
        let pb::PlannedOutfit { id, rod_id, reel_id, line_stock_id, line, leader_stock_ids } =
            outfit;
        let mut r = Reader::new(at.index(i), faults);
        if id.is_empty() {
            r.fault("id", FaultCode::Missing, "is left out", "its id in the plan, like O1");
        }
        once(&mut r, "id", id, list.iter().map(|o| &o.id));
        known(&mut r, view, "rod_id", rod_id, ItemKind::Rod, true);
        once(&mut r, "rod_id", rod_id, list.iter().map(|o| &o.rod_id));
        known(&mut r, view, "reel_id", reel_id, ItemKind::Reel, true);
        once(&mut r, "reel_id", reel_id, list.iter().map(|o| &o.reel_id));
        stock(&mut r, view, "line_stock_id", line_stock_id, false, false);
        for (j, leader) in leader_stock_ids.iter().enumerate() {
            let name = format!("leader_stock_ids[{j}]");
            stock(&mut r, view, &name, leader, true, true);
            once(&mut r, &name, leader, leader_stock_ids.iter());
        }
        // What is not finite is noted already.
        if let Some(line) = line.filter(|line| not_finite(line).is_ok_and(|bad| bad.is_empty())) {
            r.within("line", |at, faults| Line::from_wire(line, at, faults));
        }
    }
}

/// What entries of a plan refer to.
struct Within<'p> {
    names: BTreeSet<&'p str>,
    trip: Option<&'p pb::Trip>,
    view: Option<&'p View>,
}

impl Within<'_> {
    fn assignment(&self, r: &mut Reader<'_>, one: &pb::Assignment) {
        self.outfit(r, "outfit_id", &one.outfit_id, true);
        self.segment(r, &one.segment_id);
        known(r, self.view, "lure_id", &one.lure_id, ItemKind::Lure, true);
        stock(r, self.view, "leader_stock_id", &one.leader_stock_id, true, false);
        let _: Option<pb::AssignmentRole> = r.required_choice("role", one.role, "AssignmentRole");
        let _: Option<pb::Verdict> = r.required_choice("verdict", one.verdict, "Verdict");
        r.number("score", Some(one.score).filter(|score| score.is_finite()), limits::SHARE);
    }

    /// Kind and id of a thing.
    fn cargo(&self, r: &mut Reader<'_>, kind: i32, id: &str) {
        let kind: Option<pb::CargoKind> = r.required_choice("kind", kind, "CargoKind");
        let item = match kind {
            Some(pb::CargoKind::Rod) => ItemKind::Rod,
            Some(pb::CargoKind::Reel) => ItemKind::Reel,
            Some(pb::CargoKind::Lure) => ItemKind::Lure,
            Some(kind @ (pb::CargoKind::Line | pb::CargoKind::Leader)) => {
                let leaders = kind == pb::CargoKind::Leader;
                return stock(r, self.view, "item_id", id, leaders, true);
            }
            Some(pb::CargoKind::Unspecified) | None => return,
        };
        let is = |kind: ItemKind| self.view.is_some_and(|v| known::is_known(v, Some(kind), id));
        let others = [ItemKind::Rod, ItemKind::Reel, ItemKind::Lure, ItemKind::LineStock];
        if !is(item)
            && let Some(other) = others.into_iter().find(|kind| is(*kind))
        {
            let wrong = format!(
                "is {}, but {id} is a {}",
                item.as_word(),
                other.as_word().replace('_', " ")
            );
            r.fault("kind", FaultCode::Conflict, wrong, "the kind of the item");
        }
        known(r, self.view, "item_id", id, item, true);
    }

    /// The name of one of the plan's outfits; left out only where it is not needed.
    fn outfit(&self, r: &mut Reader<'_>, name: &str, id: &str, needed: bool) {
        if (needed || !id.is_empty()) && !self.names.contains(id) {
            let wrong = format!("is {:?}", short(id));
            r.fault(name, FaultCode::NotFound, wrong, "the id of one of the plan's outfits");
        }
    }

    fn segment(&self, r: &mut Reader<'_>, id: &str) {
        let segments = self.trip.map(|trip| &trip.segments);
        if segments.is_some_and(|list| list.iter().all(|s| s.id != id)) {
            let wrong = format!("is {:?}", short(id));
            r.fault("segment_id", FaultCode::NotFound, wrong, "the id of a segment of the trip");
        }
    }

    fn load(&self, r: &mut Reader<'_>, line: &pb::LoadLine) {
        self.cargo(r, line.kind, &line.item_id);
        let alone = matches!(line.kind(), pb::CargoKind::Rod | pb::CargoKind::Reel);
        let wrong = format!("is {}", line.quantity);
        match line.quantity {
            ..=0 => r.fault("quantity", FaultCode::TooSmall, wrong, "1 or more pieces"),
            2.. if alone => r.fault("quantity", FaultCode::TooLarge, wrong, "1 rod or reel"),
            _ => {}
        }
        known(r, self.view, "place_id", &line.place_id, ItemKind::Boat, false);
        self.outfit(r, "outfit_id", &line.outfit_id, alone);
    }

    fn start(&self, r: &mut Reader<'_>, start: &pb::Start) {
        self.segment(r, &start.segment_id);
        let anglers = self.trip.map(|trip| &trip.anglers);
        if anglers.is_some_and(|list| list.iter().all(|a| a.id != start.angler_id)) {
            let wrong = format!("is {:?}", short(&start.angler_id));
            r.fault("angler_id", FaultCode::NotFound, wrong, "the id of an angler of the trip");
        }
        self.outfit(r, "outfit_id", &start.outfit_id, true);
        known(r, self.view, "lure_id", &start.lure_id, ItemKind::Lure, true);
        let second = !start.second_outfit_id.is_empty() || !start.second_lure_id.is_empty();
        self.outfit(r, "second_outfit_id", &start.second_outfit_id, second);
        known(r, self.view, "second_lure_id", &start.second_lure_id, ItemKind::Lure, second);
    }

    /// What was lost, and what was planned for the segments that the plan is not about.
    fn planned(&self, aboard: &pb::AboardBasis, at: At<'_>, faults: &mut Faults) {
        let mut r = Reader::new(at, faults);
        for (i, id) in aboard.lost_leader_outfit_ids.iter().enumerate() {
            self.outfit(&mut r, &format!("lost_leader_outfit_ids[{i}]"), id, true);
        }
        r.within("planned_assignments", |at, faults| {
            for (i, one) in aboard.planned_assignments.iter().enumerate() {
                self.assignment(&mut Reader::new(at.index(i), faults), one);
            }
        });
        r.within("planned_starts", |at, faults| {
            for (i, start) in aboard.planned_starts.iter().enumerate() {
                self.start(&mut Reader::new(at.index(i), faults), start);
            }
        });
        r.within("planned_uncovered", |at, faults| {
            for (i, need) in aboard.planned_uncovered.iter().enumerate() {
                let mut r = Reader::new(at.index(i), faults);
                self.segment(&mut r, &need.segment_id);
                known(&mut r, self.view, "lure_id", &need.lure_id, ItemKind::Lure, true);
            }
        });
    }

    /// What was asked for; its numbers are read with the request's own.
    fn basis(&self, basis: &pb::PlanBasis, at: At<'_>, faults: &mut Faults) {
        let mut r = Reader::new(at, faults);
        r.within("pool", |at, faults| {
            for (i, place) in basis.pool.iter().enumerate() {
                let mut r = Reader::new(at.index(i), faults);
                known(&mut r, self.view, "place_id", &place.place_id, ItemKind::Boat, true);
            }
        });
        r.within("others", |at, faults| {
            for (i, other) in basis.others.iter().enumerate() {
                let mut r = Reader::new(at.index(i), faults);
                known(&mut r, self.view, "boat_id", &other.boat_id, ItemKind::Boat, true);
                for (name, ids, kind) in [
                    ("rod_ids", &other.rod_ids, ItemKind::Rod),
                    ("reel_ids", &other.reel_ids, ItemKind::Reel),
                ] {
                    for (j, id) in ids.iter().enumerate() {
                        known(&mut r, self.view, &format!("{name}[{j}]"), id, kind, true);
                    }
                }
            }
        });
        r.within("shares", |at, faults| {
            for (i, line) in basis.shares.iter().enumerate() {
                let mut r = Reader::new(at.index(i), faults);
                self.cargo(&mut r, line.kind, &line.item_id);
                if line.quantity < 0 {
                    let wrong = format!("is {}", line.quantity);
                    r.fault("quantity", FaultCode::TooSmall, wrong, "0 or more pieces or metres");
                }
            }
        });
    }

    fn step(&self, r: &mut Reader<'_>, step: &pb::Move, boat: &str) {
        self.cargo(r, step.kind, &step.item_id);
        if step.quantity < 1 {
            let wrong = format!("is {}", step.quantity);
            r.fault("quantity", FaultCode::TooSmall, wrong, "1 or more pieces or metres");
        }
        known(r, self.view, "from_place_id", &step.from_place_id, ItemKind::Boat, true);
        let to = known(r, self.view, "to_place_id", &step.to_place_id, ItemKind::Boat, true);
        if let Some(to) = to.filter(|to| !boat.is_empty() && *to != boat) {
            let right = format!("{boat}, the boat of the plan");
            r.fault("to_place_id", FaultCode::Conflict, format!("is {to}"), right);
        }
    }
}

fn short(text: &str) -> String {
    text.chars().take(40).collect()
}
