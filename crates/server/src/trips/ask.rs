//! What is asked: requests, read with all their faults.

use std::collections::{BTreeMap, BTreeSet};

use deepbend_contract::{At, Faults, Reader, limits, overrides, pb};
use deepbend_core::quantity::Speed;
use deepbend_ledger::view::View;
use deepbend_planner::weights::Micros;
use pb::FaultCode;

use super::request::{Trip, read_trip};
use super::{ask_plan, basis};

/// One trip with what its plan must respect.
#[derive(Clone, Debug, Default)]
pub(super) struct Asked {
    pub(super) trip: Trip,
    /// Places besides the boat, with the cost of bringing an item from there.
    pub(super) places: BTreeMap<String, Option<Micros>>,
    pub(super) pins: Pins,
    /// What is aboard alone counts, wherever the inventory has it.
    pub(super) aboard: Option<Aboard>,
    pub(super) summary: bool,
    /// Wind that was added in each part of the day.
    pub(super) added_wind_m_s: Option<f64>,
}

/// What was taken along.
#[derive(Clone, Debug, Default)]
pub(super) struct Aboard {
    /// Whether a plan says what was taken along.
    pub(super) has_plan: bool,
    /// Items of the plan, with how many of them where they were brought.
    pub(super) items: BTreeMap<String, Option<u32>>,
    /// Reels with the stock whose line the plan wound on them.
    pub(super) wound: BTreeMap<String, String>,
    /// Reels with the rods that the plan put them on.
    pub(super) rigged: BTreeMap<String, String>,
    /// What is lost or broken.
    pub(super) lost: BTreeSet<String>,
    /// Lures and leaders of which some are lost, and how many.
    pub(super) lost_pieces: Vec<(String, u32)>,
    /// How many the fleet leaves the boat of what other boats took some of.
    pub(super) shares: BTreeMap<String, u32>,
    /// All of it as the basis of a plan has it.
    pub(super) wire: pb::AboardBasis,
}

impl Aboard {
    fn of(plan: Option<&pb::Plan>) -> Self {
        let Some(plan) = plan else { return Self::default() };
        let outfits = basis::outfits_aboard(plan);
        let lures = basis::lures_aboard(plan);
        let mut aboard = Self::taken(&outfits, lures, basis::brought(plan));
        let of_water = plan.basis.iter().flat_map(|b| &b.aboard).flat_map(|aboard| &aboard.shares);
        let shares = plan.basis.iter().flat_map(|basis| &basis.shares).chain(of_water);
        let pieces = |quantity| u32::try_from(quantity).unwrap_or(0);
        aboard.shares = shares.map(|s| (s.item_id.clone(), pieces(s.quantity))).collect();
        // What was wound on before the boat went out is on its reel, however often it was covered
        // again.
        let went_out = plan.basis.iter().filter_map(|basis| basis.aboard.as_ref());
        for outfit in went_out.flat_map(|aboard| &aboard.outfits) {
            if !outfit.line_stock_id.is_empty() && aboard.rigged.contains_key(&outfit.reel_id) {
                let stock = outfit.line_stock_id.clone();
                aboard.wound.entry(outfit.reel_id.clone()).or_insert(stock);
            }
        }
        aboard
    }

    /// What a plan takes along: outfits, as they are by now first, lures, and what is brought, each
    /// with how many.
    pub(super) fn taken<'p>(
        outfits: &[pb::PlannedOutfit],
        lures: impl Iterator<Item = &'p String>,
        brought: impl Iterator<Item = (&'p String, i32)>,
    ) -> Self {
        let mut aboard = Self { has_plan: true, ..Self::default() };
        for outfit in outfits {
            let parts = [&outfit.rod_id, &outfit.reel_id];
            for id in parts.into_iter().chain(&outfit.leader_stock_ids) {
                aboard.items.insert(id.clone(), None);
            }
            let (rod, reel) = (outfit.rod_id.clone(), outfit.reel_id.clone());
            aboard.rigged.entry(reel.clone()).or_insert(rod);
            if !outfit.line_stock_id.is_empty() {
                aboard.wound.entry(reel).or_insert_with(|| outfit.line_stock_id.clone());
            }
        }
        aboard.items.extend(lures.map(|id| (id.clone(), None)));
        let pieces = |quantity| Some(u32::try_from(quantity).unwrap_or(0));
        aboard.items.extend(brought.map(|(id, quantity)| (id.clone(), pieces(quantity))));
        aboard
    }

    /// The same, with its basis written.
    /// `since` are those of its lost pieces that are lost since the plan was made.
    fn told(
        mut self,
        segments: &[String],
        plan: Option<&pb::Plan>,
        since: &[(String, u32)],
    ) -> Self {
        self.wire = basis::write_aboard(plan, &self, segments);
        self.wire.lost_leader_outfit_ids = basis::lost_from_lines(plan, &self.wire, since);
        for outfit in &mut self.wire.outfits {
            outfit.line_stock_id = self.wound.get(&outfit.reel_id).cloned().unwrap_or_default();
        }
        self
    }

    /// Counts as lost whole what is lost in pieces and is gone.
    pub(super) fn lose_all(&mut self, is_gone: impl Fn(&String) -> bool) {
        let gone = self.lost_pieces.extract_if(.., |(id, _)| is_gone(id));
        self.lost.extend(gone.map(|(id, _)| id));
        self.wire.lost_pieces.retain(|line| !self.lost.contains(&line.item_id));
        self.wire.lost_item_ids = self.lost.iter().cloned().collect();
        let carried = &self.wire.carried;
        let is_counted = |outfit: &String| {
            let mut own = carried.iter().filter(|rig| rig.outfit_id == *outfit);
            own.any(|rig| !self.lost.contains(&rig.leader_stock_id))
        };
        self.wire.lost_leader_outfit_ids.retain(is_counted);
    }

    /// What is on a reel's line: a leader or none, as after a loss of all of them; `None`: nobody
    /// knows.
    pub(super) fn carries(&self, reel: &str) -> Option<Option<&str>> {
        let (leader, is_lost) = basis::on_line(&self.wire, reel)?;
        Some(Some(leader).filter(|id| !id.is_empty() && !is_lost))
    }

    /// How many of an item are still aboard, of which so many are there without the plan.
    pub(super) fn left(&self, id: &str, there: u32) -> u32 {
        let brought = self.items.get(id).copied().flatten().unwrap_or(u32::MAX);
        let there = self.shares.get(id).map_or(there, |share| there.min(*share));
        let lost = self.lost_pieces.iter().find(|(lost, _)| lost == id).map_or(0, |(_, n)| *n);
        there.min(brought).saturating_sub(lost)
    }
}

/// Decisions that a plan must respect.
#[derive(Clone, Debug, Default)]
pub(super) struct Pins {
    /// Items that stay ashore.
    pub(super) leave: BTreeSet<String>,
    /// Rods and the reels that they carry, if either is taken.
    pub(super) pairs: Vec<(String, String)>,
    /// Rods and reels that are taken.
    pub(super) take: BTreeSet<String>,
    /// Segments and lures that reach their verdict.
    pub(super) hold: BTreeSet<(String, String)>,
    /// Which pin of the request names an item first.
    pub(super) named: BTreeMap<String, usize>,
    /// Which pin of the request pairs a rod and a reel first.
    pub(super) paired: BTreeMap<(String, String), usize>,
}

impl Pins {
    /// The field of the request that names an item: "pins[2].item_id".
    pub(super) fn field(&self, id: &str, name: &str) -> String {
        match self.named.get(id) {
            Some(at) => format!("pins[{at}].{name}"),
            None => format!("pins.{name}"),
        }
    }
}

/// What a request says beside its trips.
#[derive(Debug, Default)]
pub(super) struct Terms {
    pub(super) nodes: u64,
    pub(super) overrides: BTreeMap<String, f64>,
    pub(super) summary: bool,
    pub(super) validate_only: bool,
    pub(super) label: String,
}

/// Trips and terms of a request.
#[derive(Debug)]
pub(super) struct Request {
    /// One or more.
    pub(super) trips: Vec<Asked>,
    pub(super) terms: Terms,
}

/// A plan that comes back, with what it was asked for.
#[derive(Clone, Debug)]
pub(super) struct Before {
    pub(super) plan: pb::Plan,
    pub(super) asked: Asked,
}

/// Nodes of the search, as the contract states.
const NODES: u64 = 20_000;

/// Reads a request for one trip.
///
/// # Errors
/// All faults found in it.
pub(super) fn trip(wire: pb::PlanTripRequest) -> Result<Request, Faults> {
    let pb::PlanTripRequest {
        trip,
        pool,
        pins,
        work_budget_nodes,
        overrides,
        explanation,
        validate_only,
        request_label,
        added_wind_m_s,
    } = wire;
    let common = pb::PlanFleetRequest {
        trips: Vec::new(),
        pool,
        pins,
        work_budget_nodes,
        overrides,
        explanation,
        validate_only,
        request_label,
        added_wind_m_s,
    };
    let mut faults = Faults::new();
    let mut r = Reader::new(At::ROOT, &mut faults);
    let trip = r.required("trip", trip, "the trip to be planned");
    let trip = r.within("trip", |at, faults| trip.map(|t| read_trip(t, at, faults)));
    finish(trip.into_iter().collect(), common, false, At::ROOT, faults)
}

/// Reads a request for several boats.
///
/// # Errors
/// All faults found in it.
pub(super) fn fleet(mut wire: pb::PlanFleetRequest) -> Result<Request, Faults> {
    let trips = std::mem::take(&mut wire.trips);
    let mut faults = Faults::new();
    let mut r = Reader::new(At::ROOT, &mut faults);
    let right = format!("1 to {} trips", limits::TRIPS);
    if trips.is_empty() {
        r.fault("trips", FaultCode::Missing, "is empty", right);
    }
    let mut read: Vec<Trip> = Vec::new();
    if r.fits("trips", trips.len(), limits::TRIPS) {
        r.within("trips", |at, faults| {
            for (i, trip) in trips.into_iter().enumerate() {
                let trip = read_trip(trip, at.index(i), faults);
                let known = |t: &Trip| !t.boat.is_empty() && t.boat == trip.boat;
                if read.iter().any(known) {
                    let wrong = format!("is {} again", trip.boat);
                    let right = "another boat for each trip";
                    let at = at.index(i);
                    faults.push(FaultCode::Duplicate, at.field("boat_id"), wrong, right);
                }
                let day = read.iter().find_map(|t| t.date.as_ref().map(|day| (&t.boat, day)));
                if let (Some((boat, day)), Some(date)) = (day, &trip.date)
                    && day != date
                {
                    let wrong = format!("is {date}, but {boat} goes out on {day}");
                    let right = "one day for all boats of a fleet";
                    let at = at.index(i);
                    faults.push(FaultCode::Conflict, at.field("date"), wrong, right);
                }
                if !trip.id.is_empty() && read.iter().any(|t: &Trip| t.id == trip.id) {
                    let wrong = format!("is {:?} again", trip.id);
                    let right = "another id for each trip, or none";
                    let at = at.index(i);
                    faults.push(FaultCode::Duplicate, at.field("id"), wrong, right);
                }
                read.push(trip);
            }
        });
    }
    finish(read, wire, true, At::ROOT, faults)
}

/// Reads what covers a trip from what is aboard.
///
/// # Errors
/// All faults found in it.
pub(super) fn check(
    wire: pb::CheckCoverageRequest,
    view: Option<&View>,
) -> Result<(Request, Option<Before>), Faults> {
    let pb::CheckCoverageRequest {
        trip,
        plan,
        lost_item_ids,
        segment_ids,
        overrides,
        validate_only,
        request_label,
        lost_pieces,
    } = wire;
    let mut faults = Faults::new();
    let mut r = Reader::new(At::ROOT, &mut faults);
    if let Some(plan) = &plan {
        r.within("plan", |at, faults| ask_plan::read(plan, trip.as_ref(), view, at, faults));
    }
    // What is aboard is fished in the wind that the plan was made for.
    let added = plan.as_ref().and_then(|plan| plan.basis.as_ref()?.added_wind_m_s);
    let added = added.filter(|wind| wind.is_finite());
    let added_wind_m_s = r.within("plan", |at, faults| {
        let mut r = Reader::new(at.field("basis"), faults);
        r.number("added_wind_m_s", added, limits::ADDED_WIND_M_S)
    });
    let trip = r.required("trip", trip, "the trip to be covered");
    let mut trip = r.within("trip", |at, faults| trip.map(|t| read_trip(t, at, faults)));
    let mut lost = BTreeSet::new();
    if r.fits("lost_item_ids", lost_item_ids.len(), limits::LOST_ITEMS) {
        for id in lost_item_ids {
            let id = r.id("lost_item_ids", id);
            lost.extend(r.required("lost_item_ids", id, "inventory ids"));
        }
    }
    let mut lost_pieces = if r.fits("lost_pieces", lost_pieces.len(), limits::LOST_ITEMS) {
        r.within("lost_pieces", |at, faults| read_pieces(lost_pieces, &lost, at, faults))
    } else {
        Vec::new()
    };
    let since = lost_pieces.clone();
    if let Some(earlier) = plan.as_ref().and_then(|plan| plan.basis.as_ref()?.aboard.as_ref()) {
        also_lost(earlier, &mut lost, &mut lost_pieces);
    }
    let whole = trip.clone();
    if let Some(trip) = &mut trip
        && !segment_ids.is_empty()
    {
        for (at, id) in segment_ids.iter().enumerate() {
            let shown: String = id.chars().take(40).collect();
            if segment_ids[..at].contains(id) {
                let wrong = format!("is {shown:?} again");
                r.fault("segment_ids", FaultCode::Duplicate, wrong, "each segment once");
            }
            if !trip.parts.iter().any(|part| part.id == *id) {
                let right = "ids of the trip's segments";
                r.fault("segment_ids", FaultCode::NotFound, format!("is {shown:?}"), right);
            }
        }
        trip.parts.retain(|part| segment_ids.contains(&part.id));
        trip.needs.retain(|need| segment_ids.contains(&need.segment));
    }
    // What was to stay ashore is not aboard, though it lies on the boat by the inventory.
    let pins = plan.iter().flat_map(|plan| &plan.basis).flat_map(|basis| &basis.pins);
    let common = pb::PlanFleetRequest {
        overrides,
        validate_only,
        request_label,
        added_wind_m_s,
        pins: pins.filter(|pin| pin.rule() == pb::PinRule::Leave).cloned().collect(),
        ..pb::PlanFleetRequest::default()
    };
    let mut request = finish(trip.into_iter().collect(), common, false, At::ROOT, faults)?;
    for asked in &mut request.trips {
        let (lost, lost_pieces) = (lost.clone(), lost_pieces.clone());
        asked.aboard = Some(Aboard { lost, lost_pieces, ..Aboard::of(plan.as_ref()) }.told(
            &segment_ids,
            plan.as_ref(),
            &since,
        ));
    }
    let before = plan.zip(whole).map(|(plan, trip)| asked_before(plan, trip)).transpose()?;
    Ok((request, before))
}

/// What was lost before a plan was made on the water stays lost.
fn also_lost(
    earlier: &pb::AboardBasis,
    lost: &mut BTreeSet<String>,
    pieces: &mut Vec<(String, u32)>,
) {
    lost.extend(earlier.lost_item_ids.iter().cloned());
    for line in &earlier.lost_pieces {
        let more = u32::try_from(line.quantity).unwrap_or(0);
        match pieces.iter_mut().find(|(id, _)| *id == line.item_id) {
            Some((_, quantity)) => *quantity = quantity.saturating_add(more),
            None => pieces.push((line.item_id.clone(), more)),
        }
    }
    pieces.retain(|(id, _)| !lost.contains(id));
}

/// What a plan that comes back was asked for, by its own basis.
fn asked_before(plan: pb::Plan, mut trip: Trip) -> Result<Before, Faults> {
    let basis = plan.basis.clone().unwrap_or_default();
    let aboard = basis.aboard.as_ref().map(basis::aboard);
    if let Some(aboard) = &basis.aboard {
        let within = |id: &String| aboard.segment_ids.is_empty() || aboard.segment_ids.contains(id);
        trip.parts.retain(|part| within(&part.id));
        trip.needs.retain(|need| within(&need.segment));
    }
    let pb::PlanBasis { pool, pins, added_wind_m_s, summary, .. } = basis;
    let explanation = if summary { pb::Explanation::Summary } else { pb::Explanation::Full };
    let common = pb::PlanFleetRequest {
        pool,
        pins,
        added_wind_m_s,
        explanation: explanation.into(),
        ..pb::PlanFleetRequest::default()
    };
    let at = At::ROOT.field("plan");
    let request = finish(vec![trip], common, false, at.field("basis"), Faults::new())?;
    let asked = request.trips.into_iter().next().unwrap_or_default();
    Ok(Before { plan, asked: Asked { aboard, ..asked } })
}

/// Items of which some are lost; `gone` are those that are lost altogether.
fn read_pieces(
    list: Vec<pb::PieceCount>,
    gone: &BTreeSet<String>,
    at: At<'_>,
    faults: &mut Faults,
) -> Vec<(String, u32)> {
    let mut pieces: Vec<(String, u32)> = Vec::new();
    for (i, pb::PieceCount { item_id, quantity }) in list.into_iter().enumerate() {
        let mut r = Reader::new(at.index(i), faults);
        let id = r.id("item_id", item_id);
        let id = r.required("item_id", id, "the inventory id of a lure or of leaders");
        let count = u32::try_from(quantity).ok().filter(|count| *count > 0);
        if count.is_none() {
            let right = "1 or more pieces";
            r.fault("quantity", FaultCode::TooSmall, format!("is {quantity}"), right);
        }
        let (Some(id), Some(count)) = (id, count) else { continue };
        if gone.contains(&id) || pieces.iter().any(|(known, _)| *known == id) {
            let wrong = format!("is {id} again");
            r.fault("item_id", FaultCode::Duplicate, wrong, "each lost item once");
        } else {
            pieces.push((id, count));
        }
    }
    pieces
}

/// Reads what requests have in common, which is all of a fleet's but its trips.
fn finish(
    trips: Vec<Trip>,
    common: pb::PlanFleetRequest,
    several: bool,
    at: At<'_>,
    mut faults: Faults,
) -> Result<Request, Faults> {
    let pb::PlanFleetRequest {
        trips: _,
        pool,
        pins,
        work_budget_nodes,
        overrides: replaced,
        explanation,
        validate_only,
        request_label,
        added_wind_m_s,
    } = common;
    let mut r = Reader::new(at, &mut faults);
    let label = r.text("request_label", request_label, limits::LABEL_LENGTH).unwrap_or_default();
    let explanation: Option<pb::Explanation> = r.choice("explanation", explanation, "Explanation");
    let summary = explanation == Some(pb::Explanation::Summary);
    let nodes = work_budget_nodes
        .and_then(|n| r.whole("work_budget_nodes", n, limits::WORK_BUDGET_NODES))
        .map_or(NODES, i64::unsigned_abs);
    let wind = r.number("added_wind_m_s", added_wind_m_s, limits::ADDED_WIND_M_S);
    let overrides =
        r.within("overrides", |at, faults| overrides(replaced.into_iter().collect(), at, faults));
    let boats: Vec<&str> = trips.iter().map(|trip| trip.boat.as_str()).collect();
    let alone = if several { None } else { boats.first().copied() };
    let places = r.within("pool", |at, faults| read_pool(pool, alone, at, faults));
    let pins = r.within("pins", |at, faults| read_pins(pins, &trips, several, at, faults));
    let trips = faults.or(trips)?;
    let all: BTreeSet<String> = trips.iter().map(|trip| trip.boat.clone()).collect();
    let trips = trips
        .into_iter()
        .zip(pins)
        .map(|(mut trip, pins)| {
            let mut places = places.clone();
            all.iter().for_each(|boat| {
                places.entry(boat.clone()).or_insert(None);
            });
            places.remove(&trip.boat);
            if let Some(wind) = wind {
                for part in &mut trip.parts {
                    let now = part.water.wind_speed.map_or(0.0, Speed::m_s);
                    part.water.wind_speed = Some(Speed::from_m_s(now + wind));
                }
            }
            let added_wind_m_s = wind;
            Asked { trip, places, pins, aboard: None, summary, added_wind_m_s }
        })
        .collect();
    Ok(Request { trips, terms: Terms { nodes, overrides, summary, validate_only, label } })
}

fn read_pool(
    list: Vec<pb::PoolPlace>,
    boat: Option<&str>,
    at: At<'_>,
    faults: &mut Faults,
) -> BTreeMap<String, Option<Micros>> {
    let mut places = BTreeMap::new();
    if list.len() > limits::PLACES {
        let wrong = format!("has {} entries", list.len());
        faults.push(FaultCode::TooMany, at, wrong, format!("at most {}", limits::PLACES));
        return places;
    }
    for (i, pb::PoolPlace { place_id, move_cost_micros }) in list.into_iter().enumerate() {
        let mut r = Reader::new(at.index(i), faults);
        let id = r.id("place_id", place_id);
        let id = r.required("place_id", id, "the inventory id of a boat or a place ashore");
        let cost = move_cost_micros
            .and_then(|cost| r.whole("move_cost_micros", cost, limits::MOVE_COST_MICROS));
        let Some(id) = id else { continue };
        if Some(id.as_str()) == boat && cost.is_some_and(|c| c != 0) {
            let right = "left out or 0 for the boat of the trip";
            r.fault("move_cost_micros", FaultCode::Conflict, "is given", right);
        }
        if places.contains_key(&id) {
            r.fault("place_id", FaultCode::Duplicate, format!("is {id} again"), "each place once");
        }
        if Some(id.as_str()) != boat {
            places.insert(id, cost);
        }
    }
    places
}

/// Pins of each trip.
fn read_pins(
    list: Vec<pb::Pin>,
    trips: &[Trip],
    several: bool,
    at: At<'_>,
    faults: &mut Faults,
) -> Vec<Pins> {
    let mut pins = vec![Pins::default(); trips.len()];
    if list.len() > limits::PINS {
        let wrong = format!("has {} entries", list.len());
        faults.push(FaultCode::TooMany, at, wrong, format!("at most {}", limits::PINS));
        return pins;
    }
    for (i, pin) in list.into_iter().enumerate() {
        let mut r = Reader::new(at.index(i), faults);
        for id in [&pin.item_id, &pin.reel_id].into_iter().filter(|id| !id.is_empty()) {
            pins.iter_mut().for_each(|pins| {
                pins.named.entry(id.clone()).or_insert(i);
            });
        }
        if pin.rule() == pb::PinRule::Pair {
            let pair = (pin.item_id.clone(), pin.reel_id.clone());
            pins.iter_mut().for_each(|pins| {
                pins.paired.entry(pair.clone()).or_insert(i);
            });
        }
        read_pin(&mut r, pin, trips, several, &mut pins);
    }
    pins
}

fn read_pin(r: &mut Reader<'_>, pin: pb::Pin, trips: &[Trip], several: bool, pins: &mut [Pins]) {
    let pb::Pin { rule, item_id, reel_id, segment_id, boat_id } = pin;
    let rule: Option<pb::PinRule> = r.required_choice("rule", rule, "PinRule");
    let item = r.id("item_id", item_id);
    let item = r.required("item_id", item, "the inventory id of an item");
    let reel = r.id("reel_id", reel_id);
    let segment = r.text("segment_id", segment_id, limits::NAME_LENGTH);
    let boat = r.id("boat_id", boat_id);
    if let Some(boat) = &boat
        && !trips.iter().any(|trip| trip.boat == *boat)
    {
        let right = "the boat of a trip";
        r.fault("boat_id", FaultCode::NotFound, format!("is {boat}"), right);
    }
    let Some(rule) = rule.filter(|rule| *rule != pb::PinRule::Unspecified) else { return };
    let name = rule.as_str_name();
    if reel.is_some() && rule != pb::PinRule::Pair {
        let right = format!("left out with {name}");
        r.fault("reel_id", FaultCode::Conflict, "is given", right);
    }
    if segment.is_some() && rule != pb::PinRule::Hold {
        let right = format!("left out with {name}");
        r.fault("segment_id", FaultCode::Conflict, "is given", right);
    }
    let of_one = matches!(rule, pb::PinRule::Take | pb::PinRule::Hold);
    if several && of_one && boat.is_none() {
        let right = "the boat that it holds for";
        r.fault("boat_id", FaultCode::Missing, "is left out", right);
        return;
    }
    let here = |trip: &Trip| boat.as_ref().is_none_or(|boat| trip.boat == *boat);
    let places: Vec<usize> = (0..trips.len()).filter(|t| here(&trips[*t])).collect();
    let Some(item) = item else { return };
    match rule {
        pb::PinRule::Leave => places.iter().for_each(|t| {
            pins[*t].leave.insert(item.clone());
        }),
        pb::PinRule::Take => places.iter().for_each(|t| {
            pins[*t].take.insert(item.clone());
        }),
        pb::PinRule::Hold => {
            let right = "the id of the segment";
            let Some(segment) = r.required("segment_id", segment, right) else { return };
            for t in places {
                let known = |n: &deepbend_planner::problem::Need| {
                    (n.segment.as_str(), n.lure.as_str()) == (segment.as_str(), item.as_str())
                };
                if trips[t].needs.iter().any(known) {
                    pins[t].hold.insert((segment.clone(), item.clone()));
                } else {
                    let wrong = format!("is {item} in segment {segment}");
                    let right = "the lure and the segment of one of the trip's needs";
                    r.fault("item_id", FaultCode::NotFound, wrong, right);
                }
            }
        }
        pb::PinRule::Pair => {
            let reel = r.required("reel_id", reel, "the inventory id of a reel");
            let Some(reel) = reel else { return };
            let other = |(a, b): &(String, String)| (*a == item) != (*b == reel);
            if places.iter().any(|t| pins[*t].pairs.iter().any(other)) {
                let wrong = format!("pairs {item} with {reel}, one of which is paired already");
                r.fault("item_id", FaultCode::Conflict, wrong, "one reel for one rod");
            }
            for t in places {
                pins[t].pairs.push((item.clone(), reel.clone()));
            }
        }
        pb::PinRule::Unspecified => {}
    }
}
