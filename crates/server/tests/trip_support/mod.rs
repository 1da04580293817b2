//! The demo fleet in memory, its trips as requests, and how to ask for a plan.
#![allow(dead_code, reason = "each test file uses its part")]
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

use std::sync::Arc;

use deepbend_contract::WireWord as _;
use deepbend_contract::pb;
use deepbend_contract::pb::trip_service_server::TripService as _;
use deepbend_core::water::{Cover, Platform, Skill};
use deepbend_ledger::body::Body;
use deepbend_ledger::event::{Certainty, Chain, Claim, Recorder, Remark};
use deepbend_ledger::id::Id;
use deepbend_ledger::import::FileKind;
use deepbend_ledger::time::ObservedTime;
use deepbend_ledger::view::View;
use deepbend_server::trips::TripServiceImpl;
use deepbend_store::MemoryStore;
use deepbend_store::inventory::Inventory;
use tonic::{Request, Status};

/// Files of the demo, each as it is or edited.
#[derive(Clone, Debug)]
pub(crate) struct Fleet {
    files: Vec<(FileKind, String)>,
}

pub(crate) const TRIPS: &str = include_str!("../../../cli/demo/trips.csv");
pub(crate) const SEGMENTS: &str = include_str!("../../../cli/demo/segments.csv");
pub(crate) const NEEDS: &str = include_str!("../../../cli/demo/trip_needs.csv");

impl Fleet {
    pub(crate) fn demo() -> Self {
        let files = [
            (FileKind::Boats, include_str!("../../../cli/demo/boats.csv")),
            (FileKind::Devices, include_str!("../../../cli/demo/devices.csv")),
            (FileKind::LineStock, include_str!("../../../cli/demo/line_stock.csv")),
            (FileKind::Rods, include_str!("../../../cli/demo/rods.csv")),
            (FileKind::Reels, include_str!("../../../cli/demo/reels.csv")),
            (FileKind::Lures, include_str!("../../../cli/demo/lures.csv")),
        ];
        Self { files: files.map(|(kind, text)| (kind, text.to_owned())).to_vec() }
    }

    /// Changes the row of an item; the text to be replaced must be in it.
    pub(crate) fn edit(mut self, kind: FileKind, id: &str, from: &str, to: &str) -> Self {
        let (_, text) = self.files.iter_mut().find(|(k, _)| *k == kind).unwrap();
        let begin = format!("{id},");
        let edit = |line: &str| {
            if line.starts_with(&begin) {
                assert!(line.contains(from), "{from} is not in {line}");
                line.replacen(from, to, 1)
            } else {
                line.to_owned()
            }
        };
        *text = text.lines().map(edit).collect::<Vec<_>>().join("\n");
        self
    }

    /// Adds a second item like another one.
    pub(crate) fn twin(mut self, kind: FileKind, id: &str, twin: &str) -> Self {
        let (_, text) = self.files.iter_mut().find(|(k, _)| *k == kind).unwrap();
        let begin = format!("{id},");
        let row = text.lines().find(|line| line.starts_with(&begin)).unwrap();
        let row = row.replacen(id, twin, 1);
        *text = format!("{}\n{row}\n", text.trim_end());
        self
    }

    pub(crate) fn service(&self) -> TripServiceImpl {
        TripServiceImpl::new(Some(self.inventory()))
    }

    pub(crate) fn inventory(&self) -> Arc<Inventory> {
        let inventory = Inventory::open(Arc::new(MemoryStore::new())).unwrap();
        let files: Vec<_> = self.files.iter().map(|(kind, text)| (*kind, text.as_str())).collect();
        let claim = Claim {
            observed_time: ObservedTime::new("2031-09-15T17:00:00Z").unwrap(),
            actor: Id::new("shed").unwrap(),
            certainty: Certainty::Typed,
        };
        inventory.import(&files, &Id::new("shed-desk").unwrap(), &claim).unwrap();
        Arc::new(inventory)
    }
}

/// Has devices say what happened, none of which heard of another.
pub(crate) fn tell(inventory: &Inventory, told: Vec<(&str, Certainty, Body)>) {
    let snapshot = inventory.view();
    told.into_iter().for_each(|told| record(inventory, &snapshot, told));
}

/// Has a device that heard no more than `view` say what happened.
pub(crate) fn record(inventory: &Inventory, view: &View, told: (&str, Certainty, Body)) {
    let (device, certainty, body) = told;
    let chain = Chain { device: Id::new(device).unwrap(), incarnation: 7 };
    let claim = Claim {
        observed_time: ObservedTime::new("2031-09-15T18:00:00Z").unwrap(),
        actor: Id::new("guide").unwrap(),
        certainty,
    };
    let event = Recorder::begin(chain, 1).write(view, &Remark::from(claim), body).unwrap();
    inventory.append(&[event]).unwrap();
}

pub(crate) async fn plan_on(
    service: &TripServiceImpl,
    request: pb::PlanTripRequest,
) -> Result<pb::Plan, Status> {
    let answer = service.plan_trip(Request::new(request)).await?;
    Ok(answer.into_inner().plan.unwrap())
}

pub(crate) async fn plan(fleet: &Fleet, request: pb::PlanTripRequest) -> pb::Plan {
    plan_on(&fleet.service(), request).await.unwrap()
}

/// Covers a plan again without what is lost, for some segments or, with none, for all.
pub(crate) async fn check(
    service: &TripServiceImpl,
    plan: &pb::Plan,
    lost: &[&str],
    segments: &[&str],
) -> Result<pb::CheckCoverageResponse, Status> {
    let own = |list: &[&str]| list.iter().map(|id| (*id).to_owned()).collect();
    let request = pb::CheckCoverageRequest {
        trip: plan.trip.clone(),
        plan: Some(plan.clone()),
        lost_item_ids: own(lost),
        segment_ids: own(segments),
        ..pb::CheckCoverageRequest::default()
    };
    service.check_coverage(Request::new(request)).await.map(tonic::Response::into_inner)
}

/// Rows of a file as columns by name. Cells may be quoted.
pub(crate) fn rows(text: &str) -> Vec<std::collections::BTreeMap<String, String>> {
    let cells = |line: &str| {
        let (mut list, mut cell, mut quoted) = (Vec::new(), String::new(), false);
        for c in line.chars() {
            match c {
                '"' => quoted = !quoted,
                ',' if !quoted => list.push(std::mem::take(&mut cell)),
                _ => cell.push(c),
            }
        }
        list.push(cell);
        list
    };
    let mut lines = text.lines();
    let head = cells(lines.next().unwrap());
    lines.map(|line| head.iter().cloned().zip(cells(line)).collect()).collect()
}

fn word<W: deepbend_core::gear::Word + deepbend_contract::WireWord>(text: &str) -> i32 {
    W::from_word(text).unwrap_or_else(|| panic!("{text}")).to_wire_word().into()
}

/// A trip of the demo with gear from its boat and from `places`.
pub(crate) fn demo_trip(id: &str, places: &[&str]) -> pb::PlanTripRequest {
    let trip = rows(TRIPS).into_iter().find(|row| row["trip_id"] == id).unwrap();
    let anglers: Vec<_> = trip["angler_skill"]
        .split(';')
        .enumerate()
        .map(|(i, skill)| pb::Angler {
            id: format!("A{}", i + 1),
            skill: Skill::from_word_or_nearest(skill).unwrap().to_wire_word().into(),
            ..pb::Angler::default()
        })
        .collect();
    let angler_ids: Vec<_> = anglers.iter().map(|a| a.id.clone()).collect();
    let temperature = trip["water_temp_C"].parse().unwrap();
    let segments = rows(SEGMENTS)
        .into_iter()
        .filter(|row| row["trip_id"] == id)
        .map(|row| {
            let number = |column: &str| row[column].parse::<f64>().unwrap();
            let share = |direction: pb::WindDirection, column: &str| pb::WindShare {
                direction: direction.into(),
                share: number(column),
            };
            pb::Segment {
                id: row["segment"].clone(),
                start: row["start"].clone(),
                end: row["end"].clone(),
                water: Some(pb::Water {
                    wind_speed_m_s: Some(number("wind_speed_m_s")),
                    platform: word::<Platform>(&row["platform"]),
                    cover: word::<Cover>(&row["cover"]),
                    species: row["species"].clone(),
                    toothy_probability: Some(number("toothy_probability")),
                    depth_m: Some(number("depth_m")),
                    water_temperature_c: Some(temperature),
                    ..pb::Water::default()
                }),
                wind_shares: vec![
                    share(pb::WindDirection::Into, "wind_into_share"),
                    share(pb::WindDirection::Across, "wind_across_share"),
                    share(pb::WindDirection::Down, "wind_down_share"),
                ],
                angler_ids: angler_ids.clone(),
            }
        })
        .collect();
    let needs = rows(NEEDS)
        .into_iter()
        .filter(|row| row["trip_id"] == id)
        .map(|row| pb::Need {
            segment_id: row["segment"].clone(),
            lure_id: row["lure_id"].clone(),
            importance: row["importance_1_3"].parse().unwrap(),
            copy_count: row["copies_at_once"].parse().unwrap(),
            min_verdict: word::<deepbend_core::judge::Verdict>(&row["min_verdict"]),
        })
        .collect();
    pb::PlanTripRequest {
        trip: Some(pb::Trip {
            id: id.to_owned(),
            date: trip["date"].clone(),
            boat_id: trip["boat"].clone(),
            anglers,
            segments,
            needs,
            rod_limit: Some(trip["rod_limit"].parse().unwrap()),
            job_budget_minutes: None,
        }),
        pool: places
            .iter()
            .map(|id| pb::PoolPlace { place_id: (*id).to_owned(), move_cost_micros: None })
            .collect(),
        ..pb::PlanTripRequest::default()
    }
}

/// Grebe's trip; Turnstone stays in and lends.
pub(crate) fn t1() -> pb::PlanTripRequest {
    demo_trip("T1", &["B2", "S0"])
}

/// Merganser's trip; Turnstone lends likewise.
pub(crate) fn t2() -> pb::PlanTripRequest {
    demo_trip("T2", &["B2", "S0"])
}

pub(crate) fn leave(request: &mut pb::PlanTripRequest, ids: &[&str]) {
    request.pins.extend(ids.iter().map(|id| pb::Pin {
        rule: pb::PinRule::Leave.into(),
        item_id: (*id).to_owned(),
        ..pb::Pin::default()
    }));
}

/// A plan in a few lines.
pub(crate) fn show(plan: &pb::Plan) -> String {
    use std::fmt::Write as _;
    let mut text = String::new();
    let _ = writeln!(text, "{:?} gap {:?} {:?}", plan.status(), plan.gap, plan.counts);
    let _ = writeln!(text, "{:?} bound {:?}", plan.value, plan.bound_micros);
    for o in &plan.outfits {
        let _ = writeln!(
            text,
            "{} {}+{} [{}] {:?}",
            o.id, o.rod_id, o.reel_id, o.line_stock_id, o.leader_stock_ids
        );
    }
    for a in &plan.assignments {
        let _ = writeln!(
            text,
            "  {} {} {} {} {:?} {:?} {:.2}",
            a.segment_id,
            a.lure_id,
            a.outfit_id,
            a.leader_stock_id,
            a.role(),
            a.verdict(),
            a.score
        );
    }
    for s in &plan.starts {
        let _ =
            writeln!(text, "start {} {} {} {}", s.segment_id, s.angler_id, s.outfit_id, s.lure_id);
    }
    for u in &plan.uncovered {
        let _ = writeln!(
            text,
            "uncovered {} {} {:?} {:?}: {}\n    cure: {}\n    {:?}",
            u.segment_id,
            u.lure_id,
            u.reached(),
            u.reason(),
            u.text,
            u.cure,
            u.best_in_pool
        );
    }
    for m in &plan.moves {
        let _ = writeln!(
            text,
            "move {:?} {} x{} {}->{}",
            m.kind(),
            m.item_id,
            m.quantity,
            m.from_place_id,
            m.to_place_id
        );
    }
    for j in &plan.jobs {
        let _ = writeln!(text, "job {} {} min: {}", j.outfit_id, j.duration_minutes, j.text);
    }
    for l in &plan.left_ashore {
        let _ = writeln!(text, "ashore {} {:?}: {}", l.item_id, l.reason(), l.text);
    }
    for c in &plan.cautions {
        let _ = writeln!(text, "caution {:?}: {} ({})", c.code(), c.text, c.because);
    }
    for f in &plan.findings {
        let _ = writeln!(text, "finding {:?} {}: {}", f.code(), f.field, f.text);
    }
    for c in plan.rig_cards.iter().take(3) {
        let _ =
            writeln!(text, "card {} {} {:?}\n   {}", c.lure_id, c.outfit_id, c.settings, c.summary);
    }
    text
}
