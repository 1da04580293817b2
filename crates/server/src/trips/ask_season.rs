//! What is asked about a season, read with all its faults.

use std::collections::{BTreeMap, BTreeSet};

use deepbend_contract::{At, Faults, Reader, WireWord as _, limits, overrides, pb};
use deepbend_core::gear::Handle;
use pb::FaultCode;

use super::ask::Terms;
use super::request::{Trip, read_trip};

/// Trips of a season and the terms of the request.
#[derive(Debug)]
pub(super) struct Season {
    /// Trips with the days on which they are made.
    pub(super) trips: Vec<(Trip, u32)>,
    pub(super) terms: Terms,
}

/// What to buy is asked.
#[derive(Debug)]
pub(super) struct Gaps {
    pub(super) season: Season,
    /// Places whose gear counts; empty: all.
    pub(super) places: BTreeSet<String>,
    pub(super) count: usize,
    pub(super) budget: Option<u64>,
    pub(super) prices: BTreeMap<Handle, u64>,
}

/// Which few outfits cover most is asked.
#[derive(Debug)]
pub(super) struct Set {
    pub(super) season: Season,
    pub(super) most: usize,
    pub(super) keep: Vec<String>,
    pub(super) tube_m: Option<f64>,
    pub(super) resupply_hours: f64,
}

/// Gaps that are named, and outfits of a set, where nothing is said; as the contract states.
const GAPS: usize = 5;
const OUTFITS: usize = 6;

/// Reads a request for gaps.
///
/// # Errors
/// All faults found in it.
pub(super) fn gaps(wire: pb::FindGapsRequest) -> Result<Gaps, Faults> {
    let pb::FindGapsRequest {
        trips,
        place_ids,
        gap_count,
        budget_cents,
        prices,
        overrides,
        validate_only,
        request_label,
    } = wire;
    let mut faults = Faults::new();
    let mut r = Reader::new(At::ROOT, &mut faults);
    let places = ids(&mut r, "place_ids", place_ids, limits::PLACES);
    let count = number(&mut r, "gap_count", gap_count, GAPS);
    let budget = budget_cents
        .and_then(|b| r.whole("budget_cents", b, limits::BUDGET_CENTS))
        .map(i64::unsigned_abs);
    let prices = read_prices(&mut r, prices);
    let season = season(trips, overrides, validate_only, request_label, faults)?;
    Ok(Gaps { season, places: places.into_iter().collect(), count, budget, prices })
}

/// Reads a request for a set.
///
/// # Errors
/// All faults found in it.
pub(super) fn set(wire: pb::DesignSetRequest) -> Result<Set, Faults> {
    let pb::DesignSetRequest {
        trips,
        outfit_count,
        keep_rod_ids,
        tube_length_m,
        resupply_hours,
        overrides,
        validate_only,
        request_label,
    } = wire;
    let mut faults = Faults::new();
    let mut r = Reader::new(At::ROOT, &mut faults);
    let most = number(&mut r, "outfit_count", outfit_count, OUTFITS);
    let mut keep = ids(&mut r, "keep_rod_ids", keep_rod_ids, limits::SET_OUTFITS);
    keep.sort();
    keep.dedup();
    if keep.len() > most {
        let wrong = format!("are {} rods", keep.len());
        let right = format!("at most as many as outfits are wanted, {most}");
        r.fault("keep_rod_ids", FaultCode::Conflict, wrong, right);
    }
    let tube_m = r.number("tube_length_m", tube_length_m, limits::TUBE_LENGTH_M);
    let resupply_hours = r.number("resupply_hours", resupply_hours, limits::RESUPPLY_HOURS);
    let season = season(trips, overrides, validate_only, request_label, faults)?;
    let resupply_hours = resupply_hours.unwrap_or(0.0);
    Ok(Set { season, most, keep, tube_m, resupply_hours })
}

/// A number of things that may be left out, at most as many as a set has outfits.
fn number(r: &mut Reader<'_>, name: &str, value: i32, usual: usize) -> usize {
    let wanted = if value == 0 { None } else { r.count(name, Some(value), limits::WANTED) };
    wanted.map_or(usual, |n| n as usize)
}

fn ids(r: &mut Reader<'_>, name: &str, list: Vec<String>, most: usize) -> Vec<String> {
    if !r.fits(name, list.len(), most) {
        return Vec::new();
    }
    let mut ids: Vec<String> = Vec::new();
    for id in list {
        let id = r.id(name, id);
        let Some(id) = r.required(name, id, "inventory ids") else { continue };
        if ids.contains(&id) {
            r.fault(name, FaultCode::Duplicate, format!("is {id} again"), "each id once");
        } else {
            ids.push(id);
        }
    }
    ids
}

fn read_prices(r: &mut Reader<'_>, list: Vec<pb::HandlePrice>) -> BTreeMap<Handle, u64> {
    r.within("prices", |at, faults| {
        let mut prices = BTreeMap::new();
        for (i, pb::HandlePrice { handle, price_cents }) in list.into_iter().enumerate() {
            let mut r = Reader::new(at.index(i), faults);
            let handle: Option<pb::Handle> = r.required_choice("handle", handle, "Handle");
            let price = r.whole("price_cents", price_cents, limits::PRICE_CENTS);
            let (Some(handle), Some(price)) = (handle.and_then(Handle::from_wire_word), price)
            else {
                continue;
            };
            if prices.insert(handle, price.unsigned_abs()).is_some() {
                r.fault("handle", FaultCode::Duplicate, "stands twice", "each kind once");
            }
        }
        prices
    })
}

fn season(
    list: Vec<pb::SeasonTrip>,
    replaced: BTreeMap<String, f64>,
    validate_only: bool,
    label: String,
    mut faults: Faults,
) -> Result<Season, Faults> {
    let mut r = Reader::new(At::ROOT, &mut faults);
    let label = r.text("request_label", label, limits::LABEL_LENGTH).unwrap_or_default();
    let overrides =
        r.within("overrides", |at, faults| overrides(replaced.into_iter().collect(), at, faults));
    if list.is_empty() {
        let right = format!("1 to {} trips", limits::SEASON_TRIPS);
        r.fault("trips", FaultCode::Missing, "is empty", right);
    }
    let mut trips = Vec::new();
    if r.fits("trips", list.len(), limits::SEASON_TRIPS) {
        r.within("trips", |at, faults| {
            for (i, pb::SeasonTrip { trip, day_count }) in list.into_iter().enumerate() {
                let at = at.index(i);
                let mut r = Reader::new(at, faults);
                let days = r.count("day_count", Some(day_count), limits::DAYS);
                let trip = r.required("trip", trip, "a trip");
                let trip = r.within("trip", |at, faults| trip.map(|t| read_trip(t, at, faults)));
                if let (Some(trip), Some(days)) = (trip, days) {
                    trips.push((trip, days.max(1)));
                }
            }
        });
    }
    let needs: usize = trips.iter().map(|(trip, _)| trip.needs.len()).sum();
    if needs > limits::SEASON_NEEDS {
        let right = format!("at most {} needs in all", limits::SEASON_NEEDS);
        r.fault("trips", FaultCode::TooMany, format!("has {needs} needs"), right);
    }
    let trips = faults.or(trips)?;
    let terms = Terms { nodes: 1, overrides, summary: false, validate_only, label };
    Ok(Season { trips, terms })
}
