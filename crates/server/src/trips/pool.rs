//! The pool: what lies at the places of a request, ready or not, as the planner wants it.

use std::collections::BTreeMap;

use deepbend_core::gear::{
    Handle, Leader, LeaderMaterial, Line, LineMaterial, Lure, Reel, Rod, Word as _,
};
use deepbend_core::mechanics::spool;
use deepbend_core::model::Model;
use deepbend_core::quantity::Length;
use deepbend_ledger::fold::Disputed;
use deepbend_ledger::id::Id;
use deepbend_ledger::item::{
    Boat, FittedLine, Item, ItemKey, ItemKind, RiggedReel, Spec, Status, StockUse,
};
use deepbend_ledger::line_age::{LineDue, line_due};
use deepbend_ledger::view::{Entry, View};
use deepbend_planner::plan::ItemKind as PartKind;
use deepbend_planner::problem as plan;

use super::ask::{Aboard, Asked};
use crate::error::Missing;

/// Name of the line option that stays on the reel.
pub(super) const FITTED: &str = "fitted";

/// Cost of bringing a rod or a reel from another boat, and from a place ashore, micros, as the
/// contract states.
const FROM_BOAT: i64 = 250_000;
const FROM_ASHORE: i64 = 100_000;

/// Line that a re-spool puts on where the present one tells no length, m. From memory.
const USUAL_LINE_M: f64 = 150.0;
/// Line that must go onto a spool to be worth it, m. From memory.
const LEAST_LINE_M: f64 = 100.0;
/// How much weaker or stronger than the line on the reel a new one may be. From memory: beyond
/// that it is another outfit.
const WEAKER: f64 = 0.6;
const STRONGER: f64 = 1.7;
/// Leader that is cut from a spool beyond its fishing length, for knots, m. From memory.
const KNOTS_M: f64 = 0.2;
/// Lengths that stand in for those that are not known, m.
const USUAL_ROD_M: f64 = 2.1;
const USUAL_TRACE_M: f64 = 0.45;

/// Where an item counts as lying; `None`: it is out of reach.
pub(super) type Reach<'r> = &'r dyn Fn(&Item) -> Option<String>;

/// A rod of the pool.
#[derive(Debug)]
pub(super) struct PoolRod<'v> {
    pub(super) item: &'v Item,
    /// Where it lies.
    pub(super) place: String,
    pub(super) rod: &'v Rod,
    pub(super) handle: Handle,
    /// Whether it may be issued, and is not to stay ashore.
    pub(super) ready: bool,
}

/// A reel of the pool.
#[derive(Debug)]
pub(super) struct PoolReel<'v> {
    pub(super) item: &'v Item,
    /// Where it lies.
    pub(super) place: String,
    pub(super) reel: &'v Reel,
    pub(super) kind: Handle,
    /// Whether it may be issued, and is not to stay ashore.
    pub(super) ready: bool,
    /// Lines that it may carry on this day.
    pub(super) lines: Vec<Spooled>,
    /// Why the line on it is due.
    pub(super) due: Option<LineDue>,
    /// The rod that it is on, or was on last, as far as events tell.
    pub(super) last_on: Option<Id>,
}

/// A line on a reel, or one that can be put on.
#[derive(Clone, Debug)]
pub(super) struct Spooled {
    pub(super) option: plan::LineOption,
    pub(super) line: Line,
}

impl Spooled {
    /// A line that is bought, of which nothing is known but its material.
    pub(super) fn usual(material: LineMaterial) -> Self {
        let option = plan::LineOption { id: FITTED.to_owned(), stock: None, minutes: 0 };
        Self { option, line: Line { material: Some(material), ..Line::default() } }
    }
}

/// A leader that can be tied on.
#[derive(Debug)]
pub(super) struct PoolLeader {
    pub(super) stock: plan::LeaderStock,
    pub(super) leader: Leader,
}

/// What may be taken.
#[derive(Debug)]
pub(super) struct Pool<'v> {
    pub(super) boat: plan::Boat,
    pub(super) places: Vec<plan::Place>,
    pub(super) rods: Vec<PoolRod<'v>>,
    pub(super) reels: Vec<PoolReel<'v>>,
    pub(super) leaders: Vec<PoolLeader>,
    pub(super) line_stock: Vec<plan::LineStock>,
    /// Lures that are needed.
    pub(super) lures: BTreeMap<String, &'v Lure>,
    pub(super) lure_stock: Vec<plan::LureStock>,
    /// Lures that lie at a place which is not of the pool, with that place.
    pub(super) lures_elsewhere: BTreeMap<String, String>,
}

fn item<'v>(view: &'v View, kind: ItemKind, id: &str) -> Option<&'v Item> {
    let id = Id::new(id).ok()?;
    view.get(&ItemKey { kind, id }).map(|entry| entry.item())
}

fn boat_of<'v>(view: &'v View, id: &str) -> Option<&'v Boat> {
    match &item(view, ItemKind::Boat, id)?.spec {
        Spec::Boat(boat) => Some(boat),
        Spec::Rod(_) | Spec::Reel(_) | Spec::Lure(_) | Spec::LineStock(_) | Spec::Device(_) => None,
    }
}

/// Whether it is a place ashore: it has no rod holders.
fn is_ashore(boat: &Boat) -> bool {
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
pub(super) fn missing(view: &View, asked: &Asked, trip: &str) -> Vec<Missing> {
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
        want("pins.item_id".to_owned(), None, id);
    }
    for id in asked.aboard.iter().flat_map(|aboard| &aboard.lost) {
        want("lost_item_ids".to_owned(), None, id);
    }
    for (rod, reel) in &asked.pins.pairs {
        want("pins.item_id".to_owned(), Some(ItemKind::Rod), rod);
        want("pins.reel_id".to_owned(), Some(ItemKind::Reel), reel);
    }
    missing
}

/// Where an item lies for certain. Of what bears the tag of another item nobody knows which of the
/// two is meant.
pub(super) fn lies(view: &View, item: &Item) -> Option<String> {
    let shared = |entry: &Entry| entry.disputes().contains(&Disputed::Tag);
    let place = item.place.as_ref()?.to_string();
    (!view.get(&item.key()).is_some_and(shared)).then_some(place)
}

/// Where an item of the pool lies: for certain, and at one of the request's places.
pub(super) fn in_pool(view: &View, asked: &Asked, item: &Item) -> Option<String> {
    let known = |place: &String| *place == asked.trip.boat || asked.places.contains_key(place);
    lies(view, item).filter(known)
}

/// What counts as aboard on the water: with a plan, its rods and reels and no others, and besides
/// its leaders and lures what always lies on the boat.
pub(super) fn aboard(asked: &Asked, aboard: &Aboard, item: &Item) -> Option<String> {
    let id = item.id.as_str();
    if aboard.lost.contains(id) {
        return None;
    }
    let own = item.place.as_ref().is_some_and(|place| place.as_str() == asked.trip.boat);
    let gear = matches!(item.kind(), ItemKind::Rod | ItemKind::Reel);
    let planned = aboard.items.contains_key(id);
    let there = planned || (own && !(gear && aboard.has_plan));
    there.then(|| asked.trip.boat.clone())
}

/// Whether something can be left ashore or lost: gear, and not the boat that it lies on.
pub(super) fn is_gear(view: &View, id: &str) -> bool {
    let kinds = [ItemKind::Rod, ItemKind::Reel, ItemKind::Lure, ItemKind::LineStock];
    kinds.into_iter().any(|kind| item(view, kind, id).is_some())
}

/// Pins that cannot be kept since the item is not in the pool, or is none to be pinned so: what is
/// wrong, and what is right.
pub(super) fn out_of_reach(view: &View, asked: &Asked, all: &[Asked]) -> Vec<(String, String)> {
    let mut faults = Vec::new();
    for id in &asked.pins.leave {
        let alone =
            [ItemKind::Rod, ItemKind::Reel].into_iter().any(|k| item(view, k, id).is_some());
        if !is_gear(view, id) {
            let right = "a rod, a reel, a lure or a stock with PIN_RULE_LEAVE";
            faults.push((format!("is {id}"), right.to_owned()));
        } else if !alone && all.iter().any(|other| !other.pins.leave.contains(id)) {
            let right = "a rod or a reel where boat_id is given; left out, all boats leave it";
            faults.push((format!("is {id}, which one boat leaves"), right.to_owned()));
        }
    }
    for id in &asked.pins.take {
        let found = [ItemKind::Rod, ItemKind::Reel].into_iter().find_map(|k| item(view, k, id));
        match found {
            None => {
                faults.push((format!("is {id}"), "a rod or a reel with PIN_RULE_TAKE".to_owned()))
            }
            Some(item) if in_pool(view, asked, item).is_none() => {
                let place = match &item.place {
                    Some(place) => format!("at {place}"),
                    None => "where nobody knows for sure".to_owned(),
                };
                faults.push((
                    format!("is {id}, which lies {place}"),
                    "an item of the pool: name its place, or settle where it is".to_owned(),
                ));
            }
            Some(_) => {}
        }
    }
    faults
}

/// Whether the boat of the trip is one that goes out.
pub(super) fn goes_out(view: &View, boat: &str) -> bool {
    boat_of(view, boat).is_some_and(|boat| !is_ashore(boat))
}

impl<'v> Pool<'v> {
    /// Gathers the pool: whatever `reach` knows a place for. The request names nothing that is
    /// missing.
    pub(super) fn gather(model: &Model, view: &'v View, asked: &Asked, reach: Reach<'_>) -> Self {
        let may_go = |item: &Item| {
            item.status == Status::Ready && !asked.pins.leave.contains(item.id.as_str())
        };
        let own = boat_of(view, &asked.trip.boat).cloned().unwrap_or_default();
        let holders = own.rod_holders.or(own.max_rods_aboard).unwrap_or(u32::MAX);
        let boat = plan::Boat {
            place: asked.trip.boat.clone(),
            rod_holders: asked.trip.rod_limit.map_or(holders, |limit| limit.min(holders)),
            max_rods_aboard: own.max_rods_aboard.unwrap_or(u32::MAX),
            locker_length_m: own.locker_length.map(|l| l.m()),
        };
        let mut pool = Self {
            boat,
            places: Vec::new(),
            rods: Vec::new(),
            reels: Vec::new(),
            leaders: Vec::new(),
            line_stock: Vec::new(),
            lures: BTreeMap::new(),
            lure_stock: Vec::new(),
            lures_elsewhere: BTreeMap::new(),
        };
        let mut stock: Vec<(&Line, plan::LineStock)> = Vec::new();
        for item in view.entries().map(|entry| entry.item()) {
            let Some(place) = reach(item) else { continue };
            match &item.spec {
                Spec::Rod(rod) => pool.rods.push(PoolRod {
                    item,
                    place,
                    rod,
                    handle: rod.handle.unwrap_or(Handle::Spinning),
                    ready: may_go(item),
                }),
                Spec::LineStock(held) if may_go(item) => match &held.use_as {
                    // Nobody winds a line on while the boat drifts.
                    StockUse::Line(_) if asked.aboard.is_some() => {}
                    StockUse::Line(line) => {
                        let metres = held.length.map_or(0.0, Length::m).floor() as u32;
                        let id = item.id.to_string();
                        stock.push((line, plan::LineStock { id, place, metres }));
                    }
                    StockUse::Leader(leader) => {
                        let most = asked.aboard.as_ref().and_then(|a| a.most(item.id.as_str()));
                        let tied = leader_stock(model, item, place, leader, held.length, most);
                        pool.leaders.extend(tied);
                    }
                },
                Spec::Reel(_) | Spec::LineStock(_) | Spec::Lure(_) => {}
                Spec::Boat(_) | Spec::Device(_) => {}
            }
        }
        for item in view.of_kind(ItemKind::Reel).map(|entry| entry.item()) {
            if let (Some(place), Spec::Reel(rigged)) = (reach(item), &item.spec) {
                let (lines, due) = lines_of(model, view, item, rigged, &stock, asked);
                let planned = asked.aboard.as_ref().and_then(|a| a.rigged.get(item.id.as_str()));
                let planned = planned.and_then(|rod| Id::new(rod).ok());
                pool.reels.push(PoolReel {
                    item,
                    place,
                    reel: &rigged.reel,
                    kind: rigged.reel.kind.unwrap_or(Handle::Spinning),
                    ready: may_go(item),
                    lines,
                    due,
                    last_on: planned.or_else(|| view.last_on(&item.id)),
                });
            }
        }
        pool.line_stock = stock.into_iter().map(|(_, held)| held).collect();
        pool.take_lures(view, asked, reach, &may_go);
        pool.take_places(view, asked);
        pool
    }

    fn take_lures(
        &mut self,
        view: &'v View,
        asked: &Asked,
        reach: Reach<'_>,
        may_go: &impl Fn(&Item) -> bool,
    ) {
        for need in &asked.trip.needs {
            let Some(item) = item(view, ItemKind::Lure, &need.lure) else { continue };
            let Spec::Lure(lure) = &item.spec else { continue };
            if self.lures.insert(need.lure.clone(), lure).is_some() {
                continue;
            }
            let near = reach(item);
            let there = near.is_some() && may_go(item);
            let most = asked.aboard.as_ref().and_then(|a| a.most(item.id.as_str()));
            let quantity = if there { item.quantity.unwrap_or(1) } else { 0 };
            let quantity = quantity.min(most.unwrap_or(u32::MAX));
            if near.is_none() {
                self.lures_elsewhere.insert(need.lure.clone(), place_of(item));
            }
            // Where it is not in reach any place will do, as long as all trips name the same one.
            let any = asked.places.keys().chain([&asked.trip.boat]).min();
            let place = near.or(any.cloned()).unwrap_or_default();
            self.lure_stock.push(plan::LureStock { id: need.lure.clone(), place, quantity });
        }
    }

    /// All places that gear of the pool lies at, and those of the request.
    fn take_places(&mut self, view: &View, asked: &Asked) {
        let mut ids: std::collections::BTreeSet<String> = asked.places.keys().cloned().collect();
        ids.insert(asked.trip.boat.clone());
        ids.extend(self.rods.iter().map(|rod| rod.place.clone()));
        ids.extend(self.reels.iter().map(|reel| reel.place.clone()));
        ids.extend(self.leaders.iter().map(|leader| leader.stock.place.clone()));
        ids.extend(self.line_stock.iter().map(|held| held.place.clone()));
        ids.extend(self.lure_stock.iter().map(|held| held.place.clone()));
        self.places = ids
            .into_iter()
            .map(|id| {
                let ashore = boat_of(view, &id).is_some_and(is_ashore);
                let usual = if ashore { FROM_ASHORE } else { FROM_BOAT };
                let stated = asked.places.get(&id).copied().flatten();
                let move_cost = if id == asked.trip.boat { 0 } else { stated.unwrap_or(usual) };
                plan::Place { id, move_cost }
            })
            .collect();
    }

    /// The problem without candidates.
    pub(super) fn problem(&self, asked: &Asked) -> plan::TripProblem {
        plan::TripProblem {
            boat: self.boat.clone(),
            places: self.places.clone(),
            rods: self
                .rods
                .iter()
                .map(|r| plan::Rod {
                    id: r.item.id.to_string(),
                    place: r.place.clone(),
                    pieces: r.rod.pieces.unwrap_or(1).max(1),
                    length_m: r.rod.length.map_or(USUAL_ROD_M, Length::m),
                    handle: r.handle,
                    ready: r.item.status == Status::Ready,
                })
                .collect(),
            reels: self
                .reels
                .iter()
                .map(|r| plan::Reel {
                    id: r.item.id.to_string(),
                    place: r.place.clone(),
                    kind: r.kind,
                    ready: r.item.status == Status::Ready,
                    lines: r.lines.iter().map(|l| l.option.clone()).collect(),
                })
                .collect(),
            leaders: self.leaders.iter().map(|l| l.stock.clone()).collect(),
            line_stock: self.line_stock.clone(),
            lures: self.lure_stock.clone(),
            anglers: asked.trip.anglers.clone(),
            segments: asked
                .trip
                .parts
                .iter()
                .map(|p| plan::Segment { id: p.id.clone(), anglers: p.anglers.clone() })
                .collect(),
            needs: asked.trip.needs.clone(),
            candidates: Vec::new(),
            job_minutes_budget: asked.trip.job_minutes,
            pins: self.pins(asked),
        }
    }

    /// What is settled beforehand, as far as it is about the pool.
    fn pins(&self, asked: &Asked) -> Vec<plan::Pin> {
        let kind_of = |id: &str| match (self.rod(id), self.reel(id)) {
            (Some(_), _) => Some(PartKind::Rod),
            (None, Some(_)) => Some(PartKind::Reel),
            (None, None) => None,
        };
        let mut pins = Vec::new();
        let leave = |id: &String| kind_of(id).map(|kind| plan::Pin::Leave { kind, id: id.clone() });
        pins.extend(asked.pins.leave.iter().filter_map(leave));
        for (rod, reel) in &asked.pins.pairs {
            match (self.rod(rod), self.reel(reel)) {
                (Some(_), Some(_)) => {
                    pins.push(plan::Pin::Pair { rod: rod.clone(), reel: reel.clone() });
                }
                // Without its partner it is not taken.
                (Some(_), None) => pins.extend(leave(rod)),
                (None, Some(_)) => pins.extend(leave(reel)),
                (None, None) => {}
            }
        }
        let take = |id: &String| kind_of(id).map(|kind| plan::Pin::Take { kind, id: id.clone() });
        pins.extend(asked.pins.take.iter().filter_map(take));
        pins.extend(asked.pins.hold.iter().map(|(segment, lure)| plan::Pin::Hold {
            segment: segment.clone(),
            lure: lure.clone(),
        }));
        pins.sort();
        pins.dedup();
        pins
    }

    /// A rod by its id.
    pub(super) fn rod(&self, id: &str) -> Option<&PoolRod<'v>> {
        self.rods.iter().find(|rod| rod.item.id.as_str() == id)
    }

    /// A reel by its id.
    pub(super) fn reel(&self, id: &str) -> Option<&PoolReel<'v>> {
        self.reels.iter().find(|reel| reel.item.id.as_str() == id)
    }

    /// A leader by the id of its stock.
    pub(super) fn leader(&self, id: &str) -> Option<&PoolLeader> {
        self.leaders.iter().find(|leader| leader.stock.id == id)
    }
}

/// Where an item lies; empty if nobody knows.
pub(super) fn place_of(item: &Item) -> String {
    item.place.as_ref().map(ToString::to_string).unwrap_or_default()
}

/// Whether a leader is a trace of wire, ready-made with a swivel.
pub(super) fn is_trace(leader: &Leader) -> bool {
    matches!(leader.material, Some(LeaderMaterial::SteelWire | LeaderMaterial::Titanium))
}

/// Leaders of a stock: pieces that are counted, or lengths that are cut from a spool.
fn leader_stock(
    model: &Model,
    item: &Item,
    place: String,
    leader: &Leader,
    length: Option<Length>,
    most: Option<u32>,
) -> Option<PoolLeader> {
    let trace = is_trace(leader);
    // The longest that is fished, so that the stock is never counted too high.
    let p = model.parameters();
    let usual = if trace { USUAL_TRACE_M } else { p.setting.leader_open_m };
    let fished = leader.length.map_or(usual, Length::m).max(0.1);
    let cut = if trace { fished } else { fished + KNOTS_M };
    let from_length = || (length.map_or(0.0, Length::m) / cut + 1e-9).floor() as u32;
    let quantity = item.quantity.unwrap_or_else(from_length).min(most.unwrap_or(u32::MAX));
    let mut leader = leader.clone();
    leader.length.get_or_insert(Length::from_m(fished));
    leader.material?;
    let minutes = whole(if trace { p.rerig.trace_min } else { p.rerig.leader_min });
    let stock = plan::LeaderStock { id: item.id.to_string(), place, quantity, minutes };
    Some(PoolLeader { stock, leader })
}

/// Minutes as plans count them.
fn whole(minutes: f64) -> u32 {
    minutes.ceil() as u32
}

/// Lines that a reel may carry on this day, and why the one on it is due.
fn lines_of(
    model: &Model,
    view: &View,
    item: &Item,
    rigged: &RiggedReel,
    stock: &[(&Line, plan::LineStock)],
    asked: &Asked,
) -> (Vec<Spooled>, Option<LineDue>) {
    let wound = asked.aboard.as_ref().and_then(|aboard| aboard.wound.get(item.id.as_str()));
    if let Some(wound) = wound.and_then(|id| wound_on(model, view, rigged, id)) {
        return (vec![wound], None);
    }
    let due = match (&rigged.fitted, asked.trip.date) {
        (Some(fitted), Some(today)) => line_due(fitted, today),
        (None, _) | (Some(_), None) => None,
    };
    let mut lines: Vec<Spooled> =
        stock.iter().filter_map(|(line, held)| respool(model, rigged, line, held)).collect();
    // A line that is due comes off, if there is another one to go on.
    if due.is_none() || lines.is_empty() {
        lines.extend(rigged.fitted.as_ref().map(fitted_line));
    }
    (lines, due)
}

/// The line of a stock that was wound on before departure.
fn wound_on(model: &Model, view: &View, rigged: &RiggedReel, stock: &str) -> Option<Spooled> {
    let Spec::LineStock(held) = &item(view, ItemKind::LineStock, stock)?.spec else { return None };
    let StockUse::Line(line) = &held.use_as else { return None };
    let metres = held.length.map_or(0.0, Length::m).floor() as u32;
    let held = plan::LineStock { id: stock.to_owned(), place: String::new(), metres };
    let mut spooled = respool(model, rigged, line, &held)?;
    spooled.option = plan::LineOption { id: FITTED.to_owned(), stock: None, minutes: 0 };
    Some(spooled)
}

fn fitted_line(fitted: &FittedLine) -> Spooled {
    let option = plan::LineOption { id: FITTED.to_owned(), stock: None, minutes: 0 };
    Spooled { option, line: fitted.line.clone() }
}

/// The line of a stock on a reel, if it fits: enough of it, and about as strong as what is on.
fn respool(
    model: &Model,
    rigged: &RiggedReel,
    line: &Line,
    held: &plan::LineStock,
) -> Option<Spooled> {
    let on = rigged.fitted.as_ref().map(|fitted| &fitted.line);
    let wanted = on.and_then(|on| on.length).map_or(USUAL_LINE_M, Length::m);
    let capacity = capacity_m(&rigged.reel, on, line)?;
    let metres = wanted.min(capacity).min(f64::from(held.metres)).floor();
    if metres < LEAST_LINE_M.min(wanted) {
        return None;
    }
    if let (Some(old), Some(new)) = (on.and_then(|on| on.test), line.test) {
        let ratio = as_nylon(on, old.kgf()).recip() * as_nylon(Some(line), new.kgf());
        if !(WEAKER..=STRONGER).contains(&ratio) {
            return None;
        }
    }
    let metres = metres as u32;
    let stock = Some(plan::StockUse { stock: held.id.clone(), metres });
    let option = plan::LineOption {
        id: held.id.clone(),
        stock,
        minutes: whole(model.parameters().rerig.respool_min),
    };
    let line = Line { length: Some(Length::from_m(f64::from(metres))), ..line.clone() };
    Some(Spooled { option, line })
}

/// Strength of a nylon line that does the same work, kgf. Common practice, no source: braid is
/// taken about twice as strong as the nylon it replaces.
fn as_nylon(line: Option<&Line>, kgf: f64) -> f64 {
    match line.and_then(|line| line.material) {
        Some(LineMaterial::Nylon | LineMaterial::Fluorocarbon) => kgf,
        Some(LineMaterial::Braid) | None => kgf / 2.0,
    }
}

/// Metres of a line that a reel holds, by its printed capacity, else by the line that is on it.
/// `None`: nothing is known.
fn capacity_m(reel: &Reel, on: Option<&Line>, line: &Line) -> Option<f64> {
    let thick = line.diameter?.mm();
    let printed = reel.capacity_length.zip(reel.capacity_diameter);
    let known = printed.or_else(|| on.and_then(|on| on.length.zip(on.diameter)));
    known.map(|(length, diameter)| spool::capacity_m(length.m(), diameter.mm(), thick))
}

/// A line in a few words: "braid of 7 kg, 0.148 mm".
pub(super) fn line_words(line: &Line) -> String {
    let material = line.material.map_or("line", |material| material.as_word());
    let mut words = material.to_owned();
    if let Some(test) = line.test {
        words.push_str(&format!(" of {} kg", short(test.kgf())));
    }
    if let Some(diameter) = line.diameter {
        words.push_str(&format!(", {} mm", short_to(diameter.mm(), 3)));
    }
    words
}

/// A leader in a few words: "steel wire of 14 kg".
pub(super) fn leader_words(leader: &Leader) -> String {
    let material = leader.material.map_or("leader", |material| material.as_word());
    let material = material.replace('_', " ");
    match leader.test {
        Some(test) => format!("{material} of {} kg", short(test.kgf())),
        None => material,
    }
}

/// A number with at most one decimal.
pub(super) fn short(value: f64) -> String {
    short_to(value, 1)
}

fn short_to(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}
