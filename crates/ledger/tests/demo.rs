//! The demo's evening: three devices out of reach of each other, and what must follow from it.
//! Source: the demo's own story (invented), rows S04 and S06 to S09, S12 and S16.
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

use std::collections::{BTreeMap, BTreeSet};

use deepbend_core::gear::read::columns::{StockColumns, StockItem};
use deepbend_core::quantity::Length;
use deepbend_ledger::body::{Body, Measure, Reason};
use deepbend_ledger::due::{Work, due};
use deepbend_ledger::event::{Certainty, Chain, Claim, Recorder, Remark, Sealed};
use deepbend_ledger::fold::{CountKey, Disputed, Effect, Field, Told, Value, Why};
use deepbend_ledger::id::Id;
use deepbend_ledger::import::{FileKind, import};
use deepbend_ledger::item::{FittedLine, Item, ItemKey, ItemKind, Spec, Status, StockUse};
use deepbend_ledger::line_age::LineWork;
use deepbend_ledger::time::{Date, ObservedTime};
use deepbend_ledger::view::View;

const EVENTS: &str = include_str!("../../cli/demo/events.csv");

fn id(text: &str) -> Id {
    Id::new(text).unwrap()
}

fn recorder(device: &str, first: u64) -> Recorder {
    Recorder::begin(Chain { device: id(device), incarnation: 1 }, first)
}

fn claim(time: &str, actor: &str, certainty: Certainty) -> Claim {
    Claim { observed_time: ObservedTime::new(time).unwrap(), actor: id(actor), certainty }
}

/// The fleet at 17:00, which all devices know.
fn snapshot() -> Vec<Sealed> {
    let files = [
        (FileKind::Boats, include_str!("../../cli/demo/boats.csv")),
        (FileKind::Devices, include_str!("../../cli/demo/devices.csv")),
        (FileKind::LineStock, include_str!("../../cli/demo/line_stock.csv")),
        (FileKind::Rods, include_str!("../../cli/demo/rods.csv")),
        (FileKind::Reels, include_str!("../../cli/demo/reels.csv")),
        (FileKind::Lures, include_str!("../../cli/demo/lures.csv")),
    ];
    let claim = claim("2031-09-15T17:00:00Z", "shed", Certainty::Typed);
    import(&files, &View::default(), &mut recorder("snapshot", 1), &claim).unwrap()
}

fn item(view: &View, id_text: &str) -> Item {
    view.find(&id(id_text))[0].item().clone()
}

/// A line as an event's text names it; its diameter from the stock, if it came from one.
fn line(view: &View, spec: &str, note: &str) -> (FittedLine, Option<Id>) {
    let stock = note.strip_prefix("from ").and_then(|rest| rest.get(..3)).map(id);
    let mut fitted = FittedLine::default();
    if let Some(stock) = &stock {
        let Spec::LineStock(held) = item(view, stock.as_str()).spec else { panic!() };
        let StockUse::Line(line) = held.use_as else { panic!() };
        fitted.line = line;
        fitted.line.length = Some(Length::from_m(150.0));
    } else {
        let columns = StockColumns { kind: "PE 8-strand", spec, dia_mm: "", length_m: "" };
        let StockItem::Line(line) = columns.read().unwrap().0.item else { panic!() };
        fitted.line = line;
    }
    (fitted, stock)
}

fn body(view: &View, row: &BTreeMap<String, String>) -> Body {
    let key = |kind| ItemKey { kind, id: id(&row["item_id"]) };
    let item = match row["item_kind"].as_str() {
        "rod" => key(ItemKind::Rod),
        "reel" => key(ItemKind::Reel),
        "lure" => key(ItemKind::Lure),
        other => panic!("{other}"),
    };
    let new = row["new"].as_str();
    let note = row["note"].clone();
    match (row["event"].as_str(), new) {
        ("moved", _) => {
            Body::Moved { item, from: Some(id(&row["old"])), to: id(new), pieces: None }
        }
        ("broke", _) => Body::Broke { item, what: note },
        ("re-spooled", _) => {
            let (fitted, from) = line(view, new, &note);
            let taken_cm = from.as_ref().map(|_| 15_000);
            Body::Respooled { reel: item.id, fitted: Some(Box::new(fitted)), from, taken_cm }
        }
        ("lost", _) => {
            let by = new.parse::<i32>().unwrap() - row["old"].parse::<i32>().unwrap();
            let (measure, why) = (Measure::Pieces, Reason::Lost);
            Body::Adjusted { item, measure, place: None, by, why }
        }
        ("counted", _) => {
            let (measure, amount) = (Measure::Pieces, new.parse().unwrap());
            Body::Counted { item, measure, place: None, amount }
        }
        ("serviced", _) => Body::Serviced { item, what: note, finished: false, condition: None },
        ("status", "ready") => Body::StatusSet { item, status: Status::Ready },
        ("note", _) => Body::Note { item, text: new.to_owned() },
        other => panic!("{other:?}"),
    }
}

/// The events of the evening, as the devices write them: each knows the snapshot and itself.
fn evening() -> BTreeMap<String, Sealed> {
    let snapshot = View::fold(&snapshot());
    let mut devices: BTreeMap<String, (Recorder, View)> = BTreeMap::new();
    let mut events = BTreeMap::new();
    let mut reader = csv::Reader::from_reader(EVENTS.as_bytes());
    for row in reader.deserialize() {
        let row: BTreeMap<String, String> = row.unwrap();
        assert!(row["had_seen"].is_empty(), "nobody was in reach of anybody");
        let device = &row["device"];
        let sequence: u64 = row["device_seq"].parse().unwrap();
        let (recorder, view) = devices
            .entry(device.clone())
            .or_insert_with(|| (recorder(device, sequence), snapshot.clone()));
        let certainty = match row["certainty"].as_str() {
            "seen" => Certainty::Seen,
            "said" => Certainty::Said,
            _ => Certainty::Typed,
        };
        let remark = Remark {
            claim: claim(&row["time_utc"], &row["actor"], certainty),
            seen_at: Some(row["seen_place"].as_str()).filter(|p| !p.is_empty()).map(id),
            trip: None,
            text: Some(row["note"].clone()).filter(|note| !note.is_empty()),
        };
        let event = recorder.write(view, &remark, body(view, &row)).unwrap();
        assert_eq!(event.event().id.sequence, sequence);
        view.apply(&event);
        events.insert(row["event_id"].clone(), event);
    }
    events
}

fn fleet() -> View {
    let (snapshot, evening) = (snapshot(), evening());
    assert_eq!(evening.len(), 12);
    View::fold(snapshot.iter().chain(evening.values()))
}

fn disputes(view: &View, kind: ItemKind, item: &str) -> Vec<Disputed> {
    let key = ItemKey { kind, id: id(item) };
    view.get(&key).unwrap().disputes().iter().cloned().collect()
}

fn places(view: &View, item: &str) -> BTreeSet<String> {
    let story = view.tell(&ItemKey { kind: ItemKind::Rod, id: id(item) }).unwrap();
    let claims = &story.fields[&Field::Place].claims;
    let place = |value: &Value| if let Value::Place(p) = value { p.to_string() } else { panic!() };
    claims.iter().map(|claim| place(&claim.value)).collect()
}

#[test]
fn only_what_two_devices_told_differently_is_contested() {
    let view = fleet();
    let contested: Vec<_> = view.contested().map(|e| e.item().id.to_string()).collect();
    assert_eq!(contested, ["R15", "R17", "E08", "L30"]);
    assert!(view.conflicts().is_empty());
    // What one device alone told has simply happened.
    assert_eq!(item(&view, "R05").place, Some(id("B1")));
}

#[test]
fn s04_moved_and_broke() {
    let view = fleet();
    let rod = item(&view, "R15");
    assert_eq!((rod.status, rod.place), (Status::Broken, None));
    assert_eq!(disputes(&view, ItemKind::Rod, "R15"), [Disputed::Field(Field::Place)]);
    assert_eq!(places(&view, "R15"), BTreeSet::from(["B2".to_owned(), "B3".to_owned()]));
    // Who saw it outranks who said it, as advice.
    let story = view.tell(&ItemKey { kind: ItemKind::Rod, id: id("R15") }).unwrap();
    let advice = story.fields[&Field::Place].advice.clone().unwrap();
    assert_eq!(advice.id.to_string(), "B3-tablet.1.54");
}

#[test]
fn s06_moved_twice() {
    let view = fleet();
    let rod = item(&view, "R17");
    assert_eq!((rod.status, rod.place), (Status::Ready, None));
    assert_eq!(places(&view, "R17"), BTreeSet::from(["B1".to_owned(), "B3".to_owned()]));
    let story = view.tell(&ItemKey { kind: ItemKind::Rod, id: id("R17") }).unwrap();
    assert_eq!(story.fields[&Field::Place].advice, None, "both only said so");
}

#[test]
fn s07_re_spooled_twice() {
    let view = fleet();
    let Spec::Reel(reel) = item(&view, "E08").spec else { panic!() };
    let line = reel.fitted.unwrap().line;
    assert!((line.test.unwrap().kgf() - 9.0).abs() < 0.01);
    assert!((line.diameter.unwrap().mm() - 0.233).abs() < 0.0005);
    assert_eq!(disputes(&view, ItemKind::Reel, "E08"), [Disputed::Field(Field::Line)]);
    let Spec::LineStock(stock) = item(&view, "K04").spec else { panic!() };
    assert!((stock.length.unwrap().m() - 150.0).abs() < 0.01, "150 of 300 m are on the reel");
}

#[test]
fn s08_lost_and_counted() {
    let view = fleet();
    assert_eq!(item(&view, "L30").quantity, Some(2));
    let key = CountKey { measure: Measure::Pieces, place: Some(id("B1")) };
    assert_eq!(disputes(&view, ItemKind::Lure, "L30"), [Disputed::Count(key.clone())]);
    let story = view.tell(&ItemKey { kind: ItemKind::Lure, id: id("L30") }).unwrap();
    let count = &story.counts[&key];
    assert_eq!((count.low, count.high, count.recount), (2, 3, true));
}

#[test]
fn s09_a_cracked_rod_is_not_ready_by_one_tap() {
    let view = fleet();
    assert_eq!(item(&view, "R23").status, Status::Retired);
    let key = ItemKey { kind: ItemKind::Rod, id: id("R23") };
    let history = view.history(&key);
    let [_, Told { effect, event, .. }] = &history[..] else { panic!("{history:?}") };
    assert_eq!(event.id.to_string(), "shed-desk.1.12");
    assert_eq!(*effect, Effect::Nothing(Why::NeedsInspection { was: Status::Retired }));
    assert!(!view.get(&key).unwrap().is_contested());
}

#[test]
fn s12_two_lines_are_due() {
    let view = fleet();
    let due = due(&view, Date::read("2031-09-15").unwrap());
    let lines = due.iter().map(|due| {
        let Work::Line(line) = &due.work else { panic!("{}", due.work) };
        (due.item.id.as_str(), line.work)
    });
    let right = [("E03", LineWork::Replace), ("E10", LineWork::Replace)];
    assert_eq!(lines.collect::<Vec<_>>(), right);
}

#[test]
fn s16_what_is_not_issuable() {
    let view = fleet();
    let out = view.of_kind(ItemKind::Rod).map(|entry| entry.item());
    let out = out.filter(|rod| rod.status != Status::Ready);
    let out: Vec<_> = out.map(|rod| (rod.id.as_str(), rod.status)).collect();
    let right = [
        ("R12", Status::InService),
        ("R15", Status::Broken),
        ("R23", Status::Retired),
        ("R24", Status::OnLoan),
    ];
    assert_eq!(out, right);
}

/// What people do next morning settles it all.
#[test]
fn people_settle_it() {
    let mut view = fleet();
    let mut shed = recorder("shed-laptop", 1);
    let mut tell = |view: &mut View, at: Option<&str>, body: Body| {
        let claim = claim("2031-09-16T04:30:00Z", "skipper", Certainty::Seen);
        let remark = Remark { seen_at: at.map(id), ..Remark::from(claim) };
        let event = shed.write(view, &remark, body).unwrap();
        view.apply(&event);
        event
    };
    let rod = |text: &str| ItemKey { kind: ItemKind::Rod, id: id(text) };
    let note = |text: &str| Body::Note { item: rod(text), text: "here it is".to_owned() };
    tell(&mut view, Some("B3"), note("R15"));
    tell(&mut view, Some("B1"), note("R17"));
    let count = Body::Counted {
        item: ItemKey { kind: ItemKind::Lure, id: id("L30") },
        measure: Measure::Pieces,
        place: Some(id("B1")),
        amount: 2,
    };
    tell(&mut view, None, count);
    // The line was typed on the wrong reel.
    let wrong = evening()["v07"].clone();
    let Body::Respooled { fitted, from, taken_cm, .. } = wrong.event().body.clone() else {
        panic!()
    };
    let right = Body::Respooled { reel: id("E06"), fitted, from, taken_cm };
    let correction = Body::Correction {
        target: wrong.event().id.clone(),
        instead: Some(Box::new(right)),
        reason: "it is on E06".to_owned(),
    };
    tell(&mut view, None, correction);
    assert_eq!(view.contested().count(), 0);
    assert_eq!(item(&view, "R15").place, Some(id("B3")));
    assert_eq!(item(&view, "R15").status, Status::Broken);
    assert_eq!(item(&view, "R17").place, Some(id("B1")));
    assert_eq!(item(&view, "L30").quantity, Some(2));
    let kgf = |text: &str| {
        let Spec::Reel(reel) = item(&view, text).spec else { panic!() };
        reel.fitted.unwrap().line.test.unwrap().kgf()
    };
    assert!((kgf("E08") - 18.14).abs() < 0.01, "40 lb");
    assert!((kgf("E06") - 9.0).abs() < 0.01);
}
