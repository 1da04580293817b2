//! The pool: what lies at the places of a request, ready or not, as the planner wants it.

use std::collections::BTreeMap;

use deepbend_core::gear::{Handle, Leader, LeaderMaterial, Line, Lure, Reel, Rod};
use deepbend_core::model::Model;
use deepbend_core::quantity::Length;
use deepbend_ledger::fold::Disputed;
use deepbend_ledger::id::Id;
use deepbend_ledger::item::{Item, ItemKind, Spec, Status, StockUse};
use deepbend_ledger::line_age::LineDue;
use deepbend_ledger::view::{Entry, View};
use deepbend_planner::plan::ItemKind as PartKind;
use deepbend_planner::problem as plan;

use super::ask::{Aboard, Asked};
use super::known::{boat_of, is_ashore, item};
use super::lines::{Spooled, lines_of};

/// Cost of bringing a rod or a reel from another boat, and from a place ashore, micros, as the
/// contract states.
const FROM_BOAT: i64 = 250_000;
const FROM_ASHORE: i64 = 100_000;

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

impl PoolRod<'_> {
    /// As the planner wants it.
    fn planned(&self) -> plan::Rod {
        plan::Rod {
            id: self.item.id.to_string(),
            place: self.place.clone(),
            pieces: self.rod.pieces.unwrap_or(1).max(1),
            length_m: self.rod.length.map_or(USUAL_ROD_M, Length::m),
            handle: self.handle,
            ready: self.item.status == Status::Ready,
        }
    }
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

/// A leader that can be tied on.
#[derive(Clone, Debug)]
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
    pub(super) lures_elsewhere: BTreeMap<String, (String, u32)>,
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
            rod_holders: holders,
            rod_limit: asked.trip.rod_limit,
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
                        let tied = leader_stock(model, item, place, leader, held.length, asked);
                        let most = pool.boat.most_rods();
                        pool.leaders.extend(tied.map(|mut leader| {
                            leader.stock.is_ample = leader.stock.quantity >= most;
                            leader
                        }));
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
            let quantity = if there { left(asked, item, item.quantity.unwrap_or(1)) } else { 0 };
            if near.is_none() {
                let there = if may_go(item) { item.quantity.unwrap_or(1) } else { 0 };
                self.lures_elsewhere.insert(need.lure.clone(), (place_of(item), there));
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
            rods: self.rods.iter().map(PoolRod::planned).collect(),
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
                .map(|p| plan::Segment {
                    id: p.id.clone(),
                    anglers: p.anglers.clone(),
                    turns: Vec::new(),
                })
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

    /// Whether a rod may come along: it is ready, not to stay ashore, and fits the locker.
    pub(super) fn takes(&self, rod: &PoolRod<'_>) -> bool {
        let locker = self.boat.locker_length_m;
        rod.ready && locker.is_none_or(|locker| rod.planned().packed_length_m() <= locker)
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

/// How many of an item are to be had where so many lie: on the water what is still aboard.
fn left(asked: &Asked, item: &Item, there: u32) -> u32 {
    asked.aboard.as_ref().map_or(there, |aboard| aboard.left(item.id.as_str(), there))
}

/// How many of a lure or of leaders are still aboard; `None`: it is neither, or not aboard at all.
pub(super) fn pieces_left(model: &Model, view: &View, asked: &Asked, id: &str) -> Option<u32> {
    let there = |item: &&Item| aboard(asked, asked.aboard.as_ref()?, item);
    let kinds = [ItemKind::Lure, ItemKind::LineStock];
    let item = kinds.into_iter().filter_map(|k| item(view, k, id)).find(|i| there(i).is_some())?;
    match &item.spec {
        Spec::Lure(_) => Some(left(asked, item, item.quantity.unwrap_or(1))),
        Spec::LineStock(held) => match &held.use_as {
            StockUse::Leader(leader) => {
                let place = asked.trip.boat.clone();
                let stock = leader_stock(model, item, place, leader, held.length, asked);
                stock.map(|leaders| leaders.stock.quantity)
            }
            StockUse::Line(_) => None,
        },
        Spec::Rod(_) | Spec::Reel(_) | Spec::Boat(_) | Spec::Device(_) => None,
    }
}

/// Leaders of a stock: pieces that are counted, or lengths that are cut from a spool.
fn leader_stock(
    model: &Model,
    item: &Item,
    place: String,
    leader: &Leader,
    length: Option<Length>,
    asked: &Asked,
) -> Option<PoolLeader> {
    let trace = is_trace(leader);
    // The longest that is fished, so that the stock is never counted too high.
    let p = model.parameters();
    let usual = if trace { USUAL_TRACE_M } else { p.setting.leader_open_m };
    let fished = leader.length.map_or(usual, Length::m).max(0.1);
    let cut = if trace { fished } else { fished + KNOTS_M };
    let from_length = || (length.map_or(0.0, Length::m) / cut + 1e-9).floor() as u32;
    let quantity = left(asked, item, item.quantity.unwrap_or_else(from_length));
    let mut leader = leader.clone();
    leader.length.get_or_insert(Length::from_m(fished));
    leader.material?;
    let minutes = whole(if trace { p.rerig.trace_min } else { p.rerig.leader_min });
    let id = item.id.to_string();
    let stock = plan::LeaderStock { id, place, quantity, minutes, is_ample: false };
    Some(PoolLeader { stock, leader })
}

/// Minutes as plans count them.
pub(super) fn whole(minutes: f64) -> u32 {
    minutes.ceil() as u32
}
