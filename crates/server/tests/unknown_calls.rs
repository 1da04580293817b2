//! What the recording desk asks of ids, counts and columns, and what a correction takes back. Common
//! practice, no source: a slip of the finger is refused with what is there; another boat's word may
//! come later.
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

mod service_support;

use deepbend_contract::pb;
use deepbend_contract::pb::event_body::What;
use service_support::{Running, demo_files, import_of, reason, start_on};
use tonic::Status;

fn event(item: &str, what: What) -> pb::NewEvent {
    pb::NewEvent {
        item_id: item.to_owned(),
        claim: Some(pb::Claim {
            observed_time: Some("2031-09-15T18:00:00Z".parse().unwrap()),
            actor: "guide".to_owned(),
            certainty: pb::Certainty::Seen.into(),
        }),
        body: Some(pb::EventBody { what: Some(what) }),
        ..Default::default()
    }
}

fn moved(to: &str) -> What {
    What::Moved(pb::Moved { to_id: to.to_owned(), ..Default::default() })
}

fn wrong(event: &str) -> What {
    let reason = "it was another one".to_owned();
    let event_id = event.to_owned();
    What::Correction(Box::new(pb::Correction { event_id, instead: None, reason }))
}

async fn send(
    at: &Running,
    request: pb::RecordEventsRequest,
) -> Result<pb::RecordEventsResponse, Status> {
    Ok(at.inventory().record_events(request).await?.into_inner())
}

async fn record(at: &Running, event: pb::NewEvent) -> Result<pb::RecordEventsResponse, Status> {
    send(at, pb::RecordEventsRequest { events: vec![event], ..Default::default() }).await
}

async fn demo(folder: &std::path::Path) -> Running {
    let at = start_on(folder).await;
    at.inventory().import_items(import_of(demo_files())).await.unwrap();
    at
}

async fn count(at: &Running) -> i64 {
    let state = at.sync().get_sync_state(pb::GetSyncStateRequest {}).await.unwrap();
    state.into_inner().event_count
}

async fn history(at: &Running, item: &str) -> Vec<pb::RecordedEvent> {
    let request = pb::ListItemEventsRequest { item_id: item.to_owned(), ..Default::default() };
    at.inventory().list_item_events(request).await.unwrap().into_inner().events
}

#[tokio::test]
async fn an_id_that_names_nothing_is_refused_with_what_is_there_unless_it_is_accepted() {
    let folder = tempfile::tempdir().unwrap();
    let at = demo(folder.path()).await;
    let before = count(&at).await;
    let seen_at = |place: &str| pb::NewEvent {
        seen_at_id: place.to_owned(),
        ..event("R15", What::Lost(pb::Lost {}))
    };
    let id = str::to_owned;
    let pieces = pb::Measure::Pieces.into();
    let counted = pb::Counted { measure: pieces, place_id: id("B9"), amount: Some(2) };
    let respooled = pb::Respooled { from_id: id("K99"), ..Default::default() };
    let adjusted = pb::Adjusted {
        measure: pieces,
        place_id: id("b1"),
        change: Some(-1),
        reason: pb::AdjustmentReason::Lost.into(),
    };
    let rigged = |reel: &str, leader: &str| pb::Rigged { reel_id: id(reel), leader_id: id(leader) };
    let instead = pb::EventBody { what: Some(moved("B8")) };
    let first = history(&at, "R17").await[0].event_id.clone();
    let corrected = pb::Correction {
        event_id: first,
        instead: Some(Box::new(instead)),
        reason: id("another boat"),
    };
    let cases = [
        (event("R17", moved("B9")), "body.moved.to_id; there are B1, B2, B3, S0"),
        (seen_at("B9"), "seen_at_id; there are B1"),
        (event("L30", What::Counted(counted)), "body.counted.place_id; there are B1"),
        (event("L30", What::Adjusted(adjusted)), "body.adjusted.place_id; B1 is there: mind"),
        (event("R02", What::Returned(pb::Returned { to_id: id("X") })), "body.returned.to_id; "),
        (event("R09", What::Found(pb::Found { at_id: id("X") })), "body.found.at_id; "),
        (
            event("R14", What::Rigged(rigged("E8", ""))),
            "reel E8 (events[0].body.rigged.reel_id; there are E08",
        ),
        (event("R14", What::Rigged(rigged("E08", "K99"))), "body.rigged.leader_id"),
        (
            event("R14", What::Unrigged(pb::Unrigged { reel_id: id("R14") })),
            "body.unrigged.reel_id",
        ),
        (event("E08", What::Respooled(respooled)), "body.respooled.from_id"),
        (event("", What::Correction(Box::new(corrected))), "body.correction.instead.moved.to_id"),
        (event("", wrong("B2-tablet.1.9")), "event B2-tablet.1.9 (events[0].body.correction."),
        (
            pb::NewEvent { item_kind: pb::ItemKind::Rod.into(), ..event("R99", moved("B1")) },
            "rod R99 (events[0].item_id; there are R09, R19",
        ),
    ];
    for (event, told) in cases {
        let refused = record(&at, event.clone()).await.unwrap_err();
        assert_eq!(reason(&refused), "NotFound ITEM_NOT_FOUND", "{refused:?}");
        assert!(refused.message().contains(told), "{told} not in {}", refused.message());
        assert_eq!(count(&at).await, before);
        let request = pb::RecordEventsRequest {
            events: vec![event],
            accept_unknown_ids: true,
            validate_only: true,
            ..Default::default()
        };
        send(&at, request).await.unwrap();
    }
    // What one event of a request acquires the next one may name.
    let columns = [("boat_id", "B4"), ("name", "Dunlin"), ("home_berth", "quay")];
    let columns = columns.map(|(name, cell)| (id(name), id(cell))).into_iter().collect();
    let boat = pb::Acquired { kind: pb::ItemKind::Boat.into(), columns };
    let events = vec![event("B4", What::Acquired(boat)), event("R17", moved("B4"))];
    send(&at, pb::RecordEventsRequest { events, ..Default::default() }).await.unwrap();
    // Whom something is lent to is a word of its own.
    let lent = pb::Lent { to_id: id("anybody"), ..Default::default() };
    record(&at, event("R02", What::Lent(lent))).await.unwrap();
    // Without its kind an unknown item is no item.
    let request = |event| pb::RecordEventsRequest {
        events: vec![event],
        accept_unknown_ids: true,
        ..Default::default()
    };
    let refused = send(&at, request(event("R99", moved("B1")))).await.unwrap_err();
    assert_eq!(service_support::faults(&refused)[0].0, "events[0].item_kind");
    let waits = send(&at, request(event("E99", What::Reversed(pb::Reversed {})))).await.unwrap();
    assert_eq!(waits.events[0].effect_reason, "pending: the item is not known yet");
    let waits = send(&at, request(event("", wrong("B2-tablet.1.9")))).await.unwrap();
    assert_eq!(waits.events[0].effect(), pb::EventEffect::Nothing);
    assert!(waits.events[0].effect_reason.contains("B2-tablet.1.9 is not here yet"));
    assert!(waits.taken_back.is_empty());
    at.end().await;
}

/// What the desk refuses of one event: the field and what is said of it.
async fn refused(at: &Running, event: pb::NewEvent) -> (String, String) {
    let status = record(at, event).await.unwrap_err();
    let mut fields = service_support::faults(&status);
    assert_eq!(fields.len(), 1, "{status:?}");
    (fields.remove(0).0.replace("events[0].body.", ""), status.message().to_owned())
}

// Source: ledger's fold, which gives no effect to a count that the item does not have.
#[tokio::test]
async fn a_count_that_could_have_no_effect_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let at = demo(folder.path()).await;
    let before = count(&at).await;
    let counted = |measure: pb::Measure, amount| {
        let (measure, amount) = (measure.into(), Some(amount));
        What::Counted(pb::Counted { measure, amount, ..Default::default() })
    };
    let lost = |measure: pb::Measure| {
        What::Adjusted(pb::Adjusted {
            measure: measure.into(),
            place_id: String::new(),
            change: Some(-1),
            reason: pb::AdjustmentReason::Lost.into(),
        })
    };
    let carried = |from: &str, to: &str, pieces| {
        What::Moved(pb::Moved { to_id: to.into(), from_id: from.into(), piece_count: pieces })
    };
    let lost_there = |place: &str, pieces: i32| {
        What::Adjusted(pb::Adjusted {
            measure: pb::Measure::Pieces.into(),
            place_id: place.to_owned(),
            change: Some(-pieces),
            reason: pb::AdjustmentReason::Lost.into(),
        })
    };
    let taken = |taken_cm| {
        let (from_id, taken_cm) = ("K04".to_owned(), Some(taken_cm));
        What::Respooled(pb::Respooled { from_id, taken_cm, ..Default::default() })
    };
    let (pieces, line) = (pb::Measure::Pieces, pb::Measure::Centimetres);
    for (item, what, field, told) in [
        ("L30", counted(line, 150), "counted.measure", "L30 is counted in pieces"),
        ("L30", lost(line), "adjusted.measure", "right is a whole number of pieces"),
        ("K04", counted(pieces, 3), "counted.measure", "K04 is measured in metres of line"),
        ("K04", lost(pieces), "adjusted.measure", "right is a length"),
        ("K04", carried("", "B1", Some(1)), "moved.piece_count", "in metres of line"),
        ("R17", counted(pieces, 1), "counted.measure", "R17 is one item"),
        ("L30", carried("", "B2", None), "moved.piece_count", "is missing"),
        ("L30", carried("", "B2", Some(4)), "moved.piece_count", "up to 3 can be at B1"),
        (
            "L30",
            carried("B2", "B3", Some(1)),
            "moved.piece_count",
            "another from_id (up to 3 at B1)",
        ),
        ("L30", lost_there("", 4), "adjusted.change", "takes 4 of L30, but up to 3 can be at B1"),
        ("L30", lost_there("B3", 1), "adjusted.change", "another place_id (up to 3 at B1)"),
        (
            "E08",
            taken(30_100),
            "respooled.taken_cm",
            "takes 301 m (329 yd) of K04, but up to 300 m",
        ),
    ] {
        let (at_field, message) = refused(&at, event(item, what)).await;
        assert_eq!(at_field, field, "{message}");
        assert!(message.contains(told), "{told} not in {message}");
    }
    let first = history(&at, "K04").await[0].event_id.clone();
    let instead = pb::EventBody { what: Some(counted(pieces, 3)) };
    let (instead, reason) = (Some(Box::new(instead)), "a slip".to_owned());
    let corrected = pb::Correction { event_id: first, instead, reason };
    let corrected = event("", What::Correction(Box::new(corrected)));
    assert_eq!(refused(&at, corrected).await.0, "correction.instead.counted.measure");
    assert_eq!(count(&at).await, before);
    // Once the wrong event is taken back all that it took is there again, and no more.
    let carry = event("L30", carried("B1", "B2", Some(2)));
    let moved = record(&at, carry).await.unwrap().events[0].event_id.clone();
    let instead = |pieces| {
        let instead = pb::EventBody { what: Some(carried("B1", "B3", Some(pieces))) };
        let (instead, reason) = (Some(Box::new(instead)), "a slip".to_owned());
        let event_id = moved.clone();
        event("", What::Correction(Box::new(pb::Correction { event_id, instead, reason })))
    };
    let (field, message) = refused(&at, instead(4)).await;
    assert_eq!(field, "correction.instead.moved.piece_count");
    assert!(message.contains("up to 3 can be at B1"), "{message}");
    let corrected = record(&at, instead(3)).await.unwrap();
    let back = history(&at, "L30").await.last().unwrap().event_id.clone();
    assert_eq!(back, corrected.events[0].event_id);
    let undone = event("", wrong(&back));
    record(&at, undone).await.unwrap();
    let undone = event("", wrong(&moved));
    record(&at, undone).await.unwrap();
    // More may have been brought than is known here, and an earlier event may say so.
    let brought = pb::RecordEventsRequest {
        events: vec![event("L30", carried("B2", "B3", Some(1)))],
        accept_unknown_ids: true,
        validate_only: true,
        ..Default::default()
    };
    send(&at, brought).await.unwrap();
    let events =
        vec![event("L30", carried("", "B2", Some(3))), event("L30", carried("B2", "B3", Some(3)))];
    send(&at, pb::RecordEventsRequest { events, ..Default::default() }).await.unwrap();
    // Ready-made traces are line in store and counted in pieces.
    record(&at, event("K09", counted(pieces, 18))).await.unwrap();
    at.end().await;
}

// Source: domain.md 6: a crack is never usable by one tap; what cannot be is asked about at once.
#[tokio::test]
async fn what_cannot_have_happened_so_is_refused_with_what_would_be_right() {
    let folder = tempfile::tempdir().unwrap();
    let at = demo(folder.path()).await;
    record(&at, event("E08", What::Respooled(pb::Respooled::default()))).await.unwrap();
    let line = pb::Line { test_kgf: Some(10.0), length_m: Some(200.0), ..Default::default() };
    let fitted = Some(pb::FittedLine { line: Some(line), ..Default::default() });
    let filled = pb::Respooled { fitted, ..Default::default() };
    record(&at, event("E09", What::Respooled(filled))).await.unwrap();
    let cut = |cut_cm| What::CutBack(pb::CutBack { cut_cm: Some(cut_cm) });
    let defect = |what: &str| {
        let (what, usable) = (what.to_owned(), true);
        What::FoundDefect(pb::FoundDefect { what, usable, ..Default::default() })
    };
    let bent = || {
        let what = "hooks bent".to_owned();
        What::FoundDefect(pb::FoundDefect { what, ..Default::default() })
    };
    let edited = |column: &str, cell: &str| {
        let columns = [(column.to_owned(), cell.to_owned())].into();
        What::Edited(pb::Edited { columns })
    };
    let broke = || What::Broke(pb::Broke { what: "the lip".to_owned() });
    let carried = |from: &str, to: &str, piece_count| {
        What::Moved(pb::Moved { to_id: to.into(), from_id: from.into(), piece_count })
    };
    // The last piece is counted like any other.
    let last = pb::Adjusted {
        measure: pb::Measure::Pieces.into(),
        place_id: String::new(),
        change: Some(-1),
        reason: pb::AdjustmentReason::Lost.into(),
    };
    record(&at, event("L27", What::Adjusted(last))).await.unwrap();
    let before = count(&at).await;
    for (item, what, field, told) in [
        ("E08", cut(100), "cut_back.cut_cm", "the spool of E08 is empty"),
        ("E08", What::Reversed(pb::Reversed {}), "reversed", "right is first what is on it"),
        ("E09", cut(99_900), "cut_back.cut_cm", "E09 holds 200 m"),
        ("R21", defect("Hairline crack, ring 3"), "found_defect.usable", "counts as broken"),
        ("L30", broke(), "broke", "how many of the 3 pieces of L30"),
        ("L30", What::Lost(pb::Lost {}), "lost", "right is how many are lost"),
        ("L27", What::Lost(pb::Lost {}), "lost", "how many of the 1 piece of L27"),
        ("L30", bent(), "found_defect", "right is how many are thrown away"),
        ("S0", moved("S0"), "moved.to_id", "the item itself"),
        ("R17", carried("B1", "B1", None), "moved.to_id", "where it comes from"),
        ("L30", carried("", "B1", Some(1)), "moved.to_id", "where it comes from"),
        ("R06", edited("power_label", "XX"), "edited.columns", "cannot be read"),
        ("R06", edited("status", "ready"), "edited.columns", "inspected"),
        ("R06", edited("place", "B1"), "edited.columns", "moved"),
        ("L30", edited("qty", "9"), "edited.columns", "counted"),
        ("E08", edited("line_test_raw", "9 kg"), "edited.columns", "respooled"),
    ] {
        let (at_field, message) = refused(&at, event(item, what)).await;
        assert_eq!(at_field, field, "{message}");
        assert!(message.contains(told), "{told} not in {message}");
    }
    assert_eq!(count(&at).await, before);
    for (item, what) in [
        ("E09", cut(20_000)),
        ("R21", defect("plating worn, no crack")),
        ("R21", defect("no sign of a crack, tip top loose")),
        ("R15", broke()),
        ("R15", What::Lost(pb::Lost {})),
        ("R17", moved("B1")),
        ("R06", edited("power_label", "MH")),
    ] {
        record(&at, event(item, what)).await.unwrap();
    }
    // Another boat may know of line that went on.
    let events = vec![event("E08", cut(100))];
    let request =
        pb::RecordEventsRequest { events, accept_unknown_ids: true, ..Default::default() };
    send(&at, request).await.unwrap();
    at.end().await;
}

// Common practice, no source: events told together are told one after the other.
#[tokio::test]
async fn each_event_of_a_request_is_read_after_those_before_it() {
    let folder = tempfile::tempdir().unwrap();
    let at = demo(folder.path()).await;
    let carried = |from: &str, to: &str, pieces| {
        let piece_count = Some(pieces);
        let moved = pb::Moved { to_id: to.into(), from_id: from.into(), piece_count };
        event("L30", What::Moved(moved))
    };
    let line = pb::Line { test_kgf: Some(10.0), length_m: Some(120.0), ..Default::default() };
    let fitted = Some(pb::FittedLine { line: Some(line), ..Default::default() });
    let filled = || {
        let filled = pb::Respooled { fitted: fitted.clone(), ..Default::default() };
        event("E08", What::Respooled(filled))
    };
    let cut = |cut_cm| event("E08", What::CutBack(pb::CutBack { cut_cm: Some(cut_cm) }));
    let stripped = || event("E08", What::Respooled(pb::Respooled::default()));
    let before = count(&at).await;
    for (events, field, told) in [
        (vec![carried("", "B2", 2), carried("", "B3", 2)], "moved.piece_count", "up to 1 can be"),
        (vec![carried("", "B2", 2), carried("B2", "B3", 3)], "moved.piece_count", "up to 2 can be"),
        (vec![filled(), cut(12_100)], "cut_back.cut_cm", "E08 holds 120 m"),
        (vec![stripped(), cut(100)], "cut_back.cut_cm", "the spool of E08 is empty"),
    ] {
        let request = pb::RecordEventsRequest { events, ..Default::default() };
        let status = send(&at, request).await.unwrap_err();
        let message = status.message();
        assert!(message.contains(&format!("events[1].body.{field}")), "{message}");
        assert!(message.contains(told), "{told} not in {message}");
    }
    assert_eq!(count(&at).await, before);
    let earlier = record(&at, carried("", "B2", 3)).await.unwrap().events.remove(0).event_id;
    for events in [
        // Taken back first, the pieces lie where they lay.
        vec![event("", wrong(&earlier)), carried("", "B3", 3)],
        vec![stripped(), filled(), cut(12_000)],
    ] {
        send(&at, pb::RecordEventsRequest { events, ..Default::default() }).await.unwrap();
    }
    let twice = record(&at, event("", wrong(&earlier))).await.unwrap_err();
    assert!(twice.message().contains("already"), "{}", twice.message());
    at.end().await;
}

// Common practice, no source: a reel is on one rod, and what is lost turns up before it is moved.
#[tokio::test]
async fn what_contradicts_the_state_of_the_gear_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let at = demo(folder.path()).await;
    let rigged = |reel: &str| {
        let reel_id = reel.to_owned();
        What::Rigged(pb::Rigged { reel_id, ..Default::default() })
    };
    let unrigged = |reel: &str| What::Unrigged(pb::Unrigged { reel_id: reel.to_owned() });
    let found = || What::Found(pb::Found { at_id: "B2".to_owned() });
    let used = || What::Used(pb::Used { minutes: Some(90) });
    let cut = || What::CutBack(pb::CutBack { cut_cm: Some(10) });
    let adjusted = |change, reason: pb::AdjustmentReason| {
        What::Adjusted(pb::Adjusted {
            measure: pb::Measure::Pieces.into(),
            place_id: String::new(),
            change: Some(change),
            reason: reason.into(),
        })
    };
    let respooled = |from: &str, material: pb::LineMaterial| {
        let line = pb::Line { material: material.into(), ..Default::default() };
        let fitted = Some(pb::FittedLine { line: Some(line), ..Default::default() });
        let from_id = from.to_owned();
        What::Respooled(pb::Respooled { fitted, from_id, ..Default::default() })
    };
    let from_stock = |from: &str| {
        What::Respooled(pb::Respooled { from_id: from.to_owned(), ..Default::default() })
    };
    record(&at, event("R14", rigged("E08"))).await.unwrap();
    for lost in ["R16", "E09"] {
        record(&at, event(lost, What::Lost(pb::Lost {}))).await.unwrap();
    }
    let before = count(&at).await;
    for (item, what, field, told) in [
        ("R13", rigged("E08"), "rigged.reel_id", "unrigged R14 E08"),
        ("R14", rigged("E05"), "rigged.reel_id", "but R14 holds E08"),
        ("R13", unrigged("E08"), "unrigged.reel_id", "which is on R14"),
        ("R23", rigged("E05"), "rigged", "R23, which is retired"),
        ("R16", moved("B2"), "moved.to_id", "but R16 is lost"),
        ("R16", used(), "used", "takes R16, which is lost"),
        ("R23", used(), "used", "takes R23, which is retired"),
        ("E09", cut(), "cut_back", "takes E09, which is lost"),
        ("L18", found(), "found", "how many of the 4 pieces of L18"),
        ("L18", adjusted(2, pb::AdjustmentReason::Lost), "adjusted.change", "less than 0"),
        ("L18", adjusted(-1, pb::AdjustmentReason::Bought), "adjusted.change", "more than 0"),
        ("L18", adjusted(0, pb::AdjustmentReason::Used), "adjusted.change", "less than 0"),
        ("E02", from_stock("K10"), "respooled.from_id", "no line but leaders"),
        ("E02", respooled("K05", pb::LineMaterial::Braid), "respooled.from_id", "is nylon"),
    ] {
        let (at_field, message) = refused(&at, event(item, what)).await;
        assert_eq!(at_field, field, "{message}");
        assert!(message.contains(told), "{told} not in {message}");
    }
    assert_eq!(count(&at).await, before);
    for (item, what) in [
        ("R14", unrigged("E08")),
        ("R13", rigged("E08")),
        ("R16", found()),
        ("R16", used()),
        ("R16", moved("B3")),
        ("E02", respooled("K05", pb::LineMaterial::Nylon)),
    ] {
        record(&at, event(item, what)).await.unwrap();
    }
    // The stock says what goes on the reel.
    let answer = record(&at, event("E05", from_stock("K05"))).await.unwrap();
    let Some(pb::EventBody { what: Some(What::Respooled(on)) }) = answer.events[0].body.clone()
    else {
        panic!("{answer:?}")
    };
    let line = on.fitted.unwrap().line.unwrap();
    assert_eq!((line.material(), line.length_m), (pb::LineMaterial::Nylon, None));
    at.end().await;
}

#[tokio::test]
async fn a_column_that_no_such_item_has_is_refused_with_those_that_look_alike() {
    let folder = tempfile::tempdir().unwrap();
    let at = demo(folder.path()).await;
    let edited = |column: &str| {
        let columns = [(column.to_owned(), "1".to_owned())].into();
        What::Edited(pb::Edited { columns })
    };
    let (field, told) = refused(&at, event("R02", edited("nope"))).await;
    assert_eq!(field, "edited.columns");
    assert!(told.contains("\"nope\"") && told.contains("of a rod"), "{told}");
    assert!(told.ends_with("right is one of name, note"), "{told}");
    let (_, told) = refused(&at, event("R02", edited("wobbling"))).await;
    assert!(told.contains("handle") && told.contains("power_label"), "{told}");
    assert!(!told.contains("gear_ratio"), "{told}");
    let (_, told) = refused(&at, event("R02", edited("power"))).await;
    assert!(told.ends_with("right is one of power_label"), "{told}");
    let (_, told) = refused(&at, event("R02", edited("handel"))).await;
    assert!(told.ends_with("right is one of handle"), "{told}");
    // A column that the importer keeps as the owner wrote it.
    let own = include_str!("../../cli/demo/lures.csv").lines().next().unwrap();
    let own = own.split(',').find(|column| *column == "depth_m").unwrap();
    record(&at, event("L30", edited(own))).await.unwrap();
    record(&at, event("R02", edited("note"))).await.unwrap();
    let request = pb::RecordEventsRequest {
        events: vec![event("R02", edited("nope"))],
        accept_unknown_ids: true,
        ..Default::default()
    };
    send(&at, request).await.unwrap();
    at.end().await;
}

#[tokio::test]
async fn a_correction_tells_what_goes_with_it_before_and_after() {
    let folder = tempfile::tempdir().unwrap();
    let at = demo(folder.path()).await;
    let told = record(&at, event("R17", moved("B1"))).await.unwrap();
    let later = told.events[0].event_id.clone();
    let first = history(&at, "R17").await[0].event_id.clone();
    let check = |target: &str| pb::RecordEventsRequest {
        events: vec![event("", wrong(target))],
        validate_only: true,
        ..Default::default()
    };
    let looked = send(&at, check(&later)).await.unwrap().taken_back;
    assert_eq!(looked[0].event.as_ref().unwrap().event_id, later);
    assert!(!looked[0].item_removed && looked[0].idle_event_count == 0);
    let looked = send(&at, check(&first)).await.unwrap();
    let done = record(&at, event("", wrong(&first))).await.unwrap();
    for answer in [&looked, &done] {
        let back = &answer.taken_back[0];
        assert_eq!(back.event.as_ref().unwrap().item_id, "R17");
        assert!(back.item_removed && back.idle_event_count == 1, "{back:?}");
    }
    // Its events can be read all the same, and correcting the correction brings it back.
    assert_eq!(history(&at, "R17").await.len(), 3);
    let correction = done.events[0].event_id.clone();
    let again = record(&at, event("", wrong(&correction))).await.unwrap();
    assert!(!again.taken_back[0].item_removed);
    let get = pb::GetItemRequest { id: "R17".to_owned(), read_mask: None };
    assert_eq!(
        at.inventory().get_item(get).await.unwrap().into_inner().item.unwrap().place_id,
        "B1"
    );
    at.end().await;
}

#[tokio::test]
async fn in_an_open_fleet_a_revocation_says_that_it_does_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let at = demo(folder.path()).await;
    let (device_id, reason) = ("B1-tablet".to_owned(), "stolen".to_owned());
    let revoked = pb::Revoked { device_id, reason, from_the_start: true, ..Default::default() };
    let told = record(&at, event("", What::Revoked(revoked))).await.unwrap();
    assert_eq!(told.events[0].effect(), pb::EventEffect::Nothing);
    assert!(told.events[0].effect_reason.contains("every device counts"));
    at.end().await;
}

#[tokio::test]
async fn the_history_of_a_reel_names_the_rod() {
    let folder = tempfile::tempdir().unwrap();
    let at = demo(folder.path()).await;
    let rigged = pb::Rigged { reel_id: "E08".to_owned(), leader_id: String::new() };
    record(&at, event("R14", What::Rigged(rigged))).await.unwrap();
    for item in ["R14", "E08"] {
        assert_eq!(history(&at, item).await.last().unwrap().item_id, "R14");
    }
    at.end().await;
}

// Source: NIST SP 811 (1 yd = 0.9144 m, 1 ft = 0.3048 m).
#[tokio::test]
async fn lengths_of_line_are_read_in_both_systems() {
    let folder = tempfile::tempdir().unwrap();
    let at = start_on(folder.path()).await;
    let read = |text: &str| pb::ReadGearRequest {
        text: text.to_owned(),
        kind: pb::GearKind::LineLength.into(),
    };
    for (text, metres) in
        [("150 yd", 137.16), ("30 ft", 9.144), ("45 m", 45.0), ("50 cm", 0.5), ("18 in", 0.4572)]
    {
        let answer = at.matching().read_gear(read(text)).await.unwrap().into_inner();
        let Some(pb::read_gear_response::Spec::LineLengthM(m)) = answer.spec else {
            panic!("{text}")
        };
        assert!((m - metres).abs() < 1e-9, "{text}: {m}");
    }
    for text in ["45", "12 lb", "long", "-3 m"] {
        let refused = at.matching().read_gear(read(text)).await.unwrap_err();
        assert_eq!(service_support::faults(&refused)[0].0, "text", "{text}");
    }
    at.end().await;
}
