//! A trip as it is asked for, read with all its faults.

use std::collections::{BTreeMap, BTreeSet};

use deepbend_contract::{At, Faults, FromWire as _, Reader, limits, pb};
use deepbend_core::gear::{RetrieveSide, Word as _};
use deepbend_core::judge::Verdict;
use deepbend_core::water::{Skill, Water, WindDirection};
use deepbend_ledger::time::Date;
use deepbend_planner::problem::{Angler, Need};
use pb::FaultCode;

/// A trip without faults. Whether the inventory has its items is not known yet.
#[derive(Clone, Debug, Default)]
pub(super) struct Trip {
    /// As it was asked for.
    pub(super) wire: pb::Trip,
    pub(super) id: String,
    pub(super) date: Option<Date>,
    pub(super) boat: String,
    pub(super) anglers: Vec<Angler>,
    /// Anglers who want the crank on one side, and on which.
    pub(super) sides: BTreeMap<String, RetrieveSide>,
    pub(super) parts: Vec<Part>,
    pub(super) needs: Vec<Need>,
    pub(super) rod_limit: Option<u32>,
    pub(super) job_minutes: u32,
}

impl Trip {
    /// Minute of the day at which the first segment starts; `None`: nobody said.
    pub(super) fn departs(&self) -> Option<u32> {
        self.parts.iter().filter_map(|part| part.start).min()
    }
}

/// A part of the day.
#[derive(Clone, Debug)]
pub(super) struct Part {
    pub(super) id: String,
    /// Minute of the day at which it starts.
    pub(super) start: Option<u32>,
    /// Minute of the day at which it ends.
    pub(super) end: Option<u32>,
    /// The water, without wind direction and skill where these vary.
    pub(super) water: Water,
    /// Wind directions with their share of the casts, each above 0.
    pub(super) winds: Vec<(Option<WindDirection>, f64)>,
    /// Ids of those who fish at once.
    pub(super) anglers: Vec<String>,
}

/// Minutes of jobs that cost nothing, as the contract states.
const JOB_MINUTES: u32 = 60;

/// Reads a trip.
pub(super) fn read_trip(asked: pb::Trip, at: At<'_>, faults: &mut Faults) -> Trip {
    let wire = asked.clone();
    let pb::Trip { id, date, boat_id, anglers, segments, needs, rod_limit, job_budget_minutes } =
        asked;
    let mut r = Reader::new(at, faults);
    // The id is the caller's own; it changes nothing.
    let id = r.text("id", id, limits::NAME_LENGTH).unwrap_or_default();
    let date = r.text("date", date, limits::NAME_LENGTH).and_then(|text| {
        Date::read(&text)
            .map_err(|bad| {
                let wrong = format!("is {:?}", bad.text);
                r.fault("date", FaultCode::Malformed, wrong, "a date as YYYY-MM-DD");
            })
            .ok()
    });
    let boat = r.id("boat_id", boat_id);
    let boat = r.required("boat_id", boat, "the inventory id of a boat");
    let rod_limit = r.count("rod_limit", rod_limit, limits::ROD_LIMIT);
    let job_minutes = r.count("job_budget_minutes", job_budget_minutes, limits::JOB_BUDGET_MINUTES);
    let some_anglers = some(&mut r, "anglers", anglers.len(), limits::ANGLERS);
    let some_parts = some(&mut r, "segments", segments.len(), limits::ANGLERS);
    let some_needs = some(&mut r, "needs", needs.len(), limits::NEEDS);
    let (anglers, sides) = if some_anglers {
        r.within("anglers", |at, faults| read_anglers(anglers, at, faults))
    } else {
        (Vec::new(), BTreeMap::new())
    };
    let crew: BTreeSet<String> = anglers.iter().map(|a| a.id.clone()).collect();
    let parts = if some_parts {
        r.within("segments", |at, faults| read_parts(segments, &crew, at, faults))
    } else {
        Vec::new()
    };
    let named: BTreeSet<&str> = parts.iter().map(|p| p.id.as_str()).collect();
    let needs = if some_needs {
        r.within("needs", |at, faults| read_needs(needs, &named, at, faults))
    } else {
        Vec::new()
    };
    Trip {
        wire,
        id,
        date,
        boat: boat.unwrap_or_default(),
        anglers,
        sides,
        parts,
        needs,
        rod_limit,
        job_minutes: job_minutes.unwrap_or(JOB_MINUTES),
    }
}

/// Whether a list has 1 to `max` entries.
fn some(r: &mut Reader<'_>, name: &str, count: usize, max: usize) -> bool {
    if count == 0 {
        r.fault(name, FaultCode::Missing, "is empty", format!("1 to {max} entries"));
    }
    r.fits(name, count, max) && count > 0
}

/// A text that names an entry: it must be there, and once.
fn own_name(
    r: &mut Reader<'_>,
    name: &str,
    value: String,
    seen: &mut BTreeSet<String>,
) -> Option<String> {
    let text = r.text(name, value, limits::NAME_LENGTH);
    let text = r.required(name, text, "a name that is unique in this list")?;
    if !seen.insert(text.clone()) {
        let wrong = format!("is {text:?} again");
        r.fault(name, FaultCode::Duplicate, wrong, "a name that is unique in this list");
        return None;
    }
    Some(text)
}

fn read_anglers(
    list: Vec<pb::Angler>,
    at: At<'_>,
    faults: &mut Faults,
) -> (Vec<Angler>, BTreeMap<String, RetrieveSide>) {
    let mut seen = BTreeSet::new();
    let mut anglers = Vec::new();
    let mut sides = BTreeMap::new();
    for (i, pb::Angler { id, skill, crank_side }) in list.into_iter().enumerate() {
        let mut r = Reader::new(at.index(i), faults);
        let id = own_name(&mut r, "id", id, &mut seen);
        let skill: Option<pb::Skill> = r.required_choice("skill", skill, "Skill");
        let skill = skill.and_then(<Skill as deepbend_contract::WireWord>::from_wire_word);
        let side: Option<RetrieveSide> = r.word("crank_side", crank_side);
        if let (Some(id), Some(skill)) = (id, skill) {
            sides.extend(side.map(|side| (id.clone(), side)));
            anglers.push(Angler { id, skill });
        }
    }
    (anglers, sides)
}

fn read_parts(
    list: Vec<pb::Segment>,
    crew: &BTreeSet<String>,
    at: At<'_>,
    faults: &mut Faults,
) -> Vec<Part> {
    let mut seen = BTreeSet::new();
    let mut parts: Vec<Part> = Vec::new();
    for (i, wire) in list.into_iter().enumerate() {
        let pb::Segment { id, start, end, water, wind_shares, angler_ids } = wire;
        let mut r = Reader::new(at.index(i), faults);
        let id = own_name(&mut r, "id", id, &mut seen).unwrap_or_default();
        let start = clock(&mut r, "start", start);
        let end = clock(&mut r, "end", end);
        check_times(&mut r, start, end, &parts);
        let water = r.required("water", water, "the water of this part of the day");
        let water = r.within("water", |at, faults| {
            water.map_or_else(Water::default, |w| Water::from_wire(w, at, faults))
        });
        if water.skill.is_some() {
            let right = "left out: the skill is that of the anglers";
            r.fault("water.skill", FaultCode::Conflict, "is given", right);
        }
        if water.wind_direction.is_some() && !wind_shares.is_empty() {
            let right = "left out where wind_shares are given";
            r.fault("water.wind_direction", FaultCode::Conflict, "is given", right);
        }
        let winds = read_winds(&mut r, wind_shares);
        let winds = if winds.is_empty() { vec![(water.wind_direction, 1.0)] } else { winds };
        let mut anglers = Vec::new();
        if r.fits("angler_ids", angler_ids.len(), limits::ANGLERS) {
            r.within("angler_ids", |at, faults| {
                for (i, id) in angler_ids.into_iter().enumerate() {
                    let shown: String = id.chars().take(40).collect();
                    if !crew.contains(&id) {
                        let wrong = format!("is {shown:?}");
                        let right = "the id of one of the trip's anglers";
                        faults.push(FaultCode::NotFound, at.index(i), wrong, right);
                    } else if anglers.contains(&id) {
                        let wrong = format!("is {shown:?} again");
                        faults.push(FaultCode::Duplicate, at.index(i), wrong, "each angler once");
                    } else {
                        anglers.push(id);
                    }
                }
            });
        }
        parts.push(Part { id, start, end, water, winds, anglers });
    }
    // A day goes by its hours, in whatever order it was written down.
    if parts.iter().all(|part| part.start.is_some()) {
        parts.sort_by_key(|part| part.start);
    }
    parts
}

/// A part of the day ends after it begins, and a boat is in one of them at a time.
fn check_times(r: &mut Reader<'_>, start: Option<u32>, end: Option<u32>, before: &[Part]) {
    let Some(start) = start else { return };
    if let Some(end) = end.filter(|end| *end <= start) {
        let wrong = format!("is {}, not after the start {}", hour(end), hour(start));
        r.fault("end", FaultCode::Conflict, wrong, "a later time of the same day");
        return;
    }
    let until = |start: u32, end: Option<u32>| end.unwrap_or(start + 1);
    let meets = |part: &&Part| {
        part.start.is_some_and(|other| {
            other < until(start, end) && start < until(other, part.end).max(other + 1)
        })
    };
    if let Some((other, from)) = before.iter().find(meets).and_then(|p| Some((p, p.start?))) {
        let to = other.end.map(|end| format!(" to {}", hour(end))).unwrap_or_default();
        let wrong =
            format!("is {}, but segment {} is from {}{to}", hour(start), other.id, hour(from));
        r.fault("start", FaultCode::Conflict, wrong, "one segment at a time for one boat");
    }
}

fn hour(minute: u32) -> String {
    format!("{:02}:{:02}", minute / 60, minute % 60)
}

/// The minute of the day that a local time "HH:MM" means.
pub(super) fn minute(text: &str) -> Option<u32> {
    let within = |part: &str, most: u32| {
        let digits = part.len() == 2 && part.bytes().all(|b| b.is_ascii_digit());
        part.parse::<u32>().ok().filter(|n| digits && *n <= most)
    };
    let (hours, minutes) = text.split_once(':')?;
    Some(within(hours, 23)? * 60 + within(minutes, 59)?)
}

/// A local time, "HH:MM", as a minute of the day.
fn clock(r: &mut Reader<'_>, name: &str, value: String) -> Option<u32> {
    let text = r.text(name, value, limits::NAME_LENGTH)?;
    let minute = minute(&text);
    if minute.is_none() {
        let shown: String = text.chars().take(40).collect();
        let wrong = format!("is {shown:?}");
        r.fault(name, FaultCode::Malformed, wrong, "a local time as HH:MM, 00:00 to 23:59");
    }
    minute
}

/// How far the shares of the wind may be from 1 in all.
const SHARE_SLACK: f64 = 0.001;

fn read_winds(r: &mut Reader<'_>, list: Vec<pb::WindShare>) -> Vec<(Option<WindDirection>, f64)> {
    const MOST: usize = 4;
    if list.is_empty() || !r.fits("wind_shares", list.len(), MOST) {
        return Vec::new();
    }
    let (winds, whole) = r.within("wind_shares", |at, faults| {
        let mut winds: Vec<(Option<WindDirection>, f64)> = Vec::new();
        let mut whole = true;
        for (i, pb::WindShare { direction, share }) in list.into_iter().enumerate() {
            let mut r = Reader::new(at.index(i), faults);
            let wire: Option<pb::WindDirection> =
                r.required_choice("direction", direction, "WindDirection");
            let read = <WindDirection as deepbend_contract::WireWord>::from_wire_word;
            let direction = wire.and_then(read);
            let share = r.number("share", Some(share), limits::SHARE);
            let (Some(direction), Some(share)) = (direction, share) else {
                whole = false;
                continue;
            };
            if winds.iter().any(|(known, _)| *known == Some(direction)) {
                r.fault("direction", FaultCode::Duplicate, "stands twice", "each direction once");
                whole = false;
            }
            winds.push((Some(direction), share));
        }
        (winds, whole)
    });
    let sum: f64 = winds.iter().map(|(_, share)| share).sum();
    if whole && (sum - 1.0).abs() > SHARE_SLACK {
        let wrong = format!("add up to {sum}");
        r.fault("wind_shares", FaultCode::Conflict, wrong, "shares that add up to 1");
    }
    winds.into_iter().filter(|(_, share)| *share > 0.0).collect()
}

fn read_needs(
    list: Vec<pb::Need>,
    parts: &BTreeSet<&str>,
    at: At<'_>,
    faults: &mut Faults,
) -> Vec<Need> {
    let mut seen = BTreeSet::new();
    let mut needs = Vec::new();
    for (i, wire) in list.into_iter().enumerate() {
        let pb::Need { segment_id, lure_id, importance, copy_count, min_verdict } = wire;
        let mut r = Reader::new(at.index(i), faults);
        let part = r.text("segment_id", segment_id, limits::NAME_LENGTH);
        let part = r.required("segment_id", part, "the id of one of the trip's segments");
        if let Some(id) = &part
            && !parts.contains(id.as_str())
        {
            let right = "the id of one of the trip's segments";
            r.fault("segment_id", FaultCode::NotFound, format!("is {id:?}"), right);
        }
        let lure = r.id("lure_id", lure_id);
        let lure = r.required("lure_id", lure, "the inventory id of a lure");
        let importance = r.count("importance", Some(importance), limits::IMPORTANCE);
        let copies = r.count("copy_count", Some(copy_count), limits::COPIES);
        let min_verdict: Option<Verdict> = r.word("min_verdict", min_verdict);
        if let Some(verdict) = min_verdict.filter(|v| *v > Verdict::Workable) {
            let right = "VERDICT_EXCELLENT, VERDICT_GOOD or VERDICT_WORKABLE";
            let wrong = format!("is {}, which covers nothing", verdict.as_word());
            r.fault("min_verdict", FaultCode::UnknownValue, wrong, right);
        }
        if let (Some(part), Some(lure)) = (&part, &lure)
            && !seen.insert((part.clone(), lure.clone()))
        {
            let right = "each lure once in a segment, with copy_count";
            r.fault("lure_id", FaultCode::Duplicate, format!("is {lure} again"), right);
        }
        if let (Some(segment), Some(lure), Some(importance), Some(copies)) =
            (part, lure, importance, copies)
        {
            needs.push(Need {
                segment,
                lure,
                importance,
                copies_at_once: copies.max(1),
                min_verdict: min_verdict.unwrap_or(Verdict::Good),
            });
        }
    }
    needs
}
