//! What the recording desk asks of ids, and what a correction takes back. Common practice, no
//! source: a slip of the finger is refused with what is there; another boat's word may come later.
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
