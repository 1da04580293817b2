//! Several services of one fleet: events recorded apart, exchanged, and settled.
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

mod service_support;

use std::path::Path;

use deepbend_contract::pb;
use deepbend_contract::pb::event_body::What;
use deepbend_contract::pb::exchange_part::Part;
use deepbend_server::Config;
use deepbend_store::{SledOptions, SledStore, Store as _};
use service_support::{Running, demo_files, faults, import_of, reason, small_fleet, start};
use tokio::sync::mpsc;
use tokio_stream::StreamExt as _;
use tokio_stream::wrappers::ReceiverStream;

async fn start_as(device: &str, folder: &Path) -> Running {
    let device = Some(device.parse_id());
    start(Config { data: Some(folder.to_owned()), device, ..Config::default() }).await
}

trait ParseId {
    fn parse_id(&self) -> deepbend_ledger::id::Id;
}

impl ParseId for str {
    fn parse_id(&self) -> deepbend_ledger::id::Id {
        deepbend_ledger::id::Id::new(self).unwrap()
    }
}

/// Lets two services exchange; after `cut` chunks of events, in both directions together, the
/// line goes dead. Answers the receipts, if it came to them.
async fn exchange(a: &Running, b: &Running, cut: Option<usize>) -> Vec<pb::Receipt> {
    let (to_a, for_a) = mpsc::channel(1);
    let (to_b, for_b) = mpsc::channel(1);
    let mut from_a = a.sync().exchange(ReceiverStream::new(for_a)).await.unwrap().into_inner();
    let mut from_b = b.sync().exchange(ReceiverStream::new(for_b)).await.unwrap().into_inner();
    let mut receipts = Vec::new();
    let mut chunks = 0;
    let (mut a_ended, mut b_ended) = (false, false);
    while !(a_ended && b_ended) {
        let (message, to, ended) = tokio::select! {
            message = from_a.next(), if !a_ended => (message, &to_b, &mut a_ended),
            message = from_b.next(), if !b_ended => (message, &to_a, &mut b_ended),
        };
        let Some(message) = message else {
            *ended = true;
            continue;
        };
        let part = message.unwrap().part.unwrap();
        match &part.part {
            Some(Part::Events(_)) => {
                chunks += 1;
                if cut.is_some_and(|cut| chunks > cut) {
                    return receipts;
                }
            }
            Some(Part::Receipt(receipt)) => receipts.push(receipt.clone()),
            _ => {}
        }
        // Who has heard all has ended.
        let _ = to.send(pb::ExchangeRequest { part: Some(part) }).await;
    }
    receipts
}

async fn state(running: &Running) -> (i64, String) {
    let state = running.sync().get_sync_state(pb::GetSyncStateRequest {}).await.unwrap();
    let state = state.into_inner();
    (state.event_count, state.state_hash)
}

fn event(
    item: &str,
    time: &str,
    certainty: pb::Certainty,
    seen_at: &str,
    what: What,
) -> pb::NewEvent {
    pb::NewEvent {
        item_id: item.to_owned(),
        claim: Some(pb::Claim {
            observed_time: Some(time.parse().unwrap()),
            actor: "guide".to_owned(),
            certainty: certainty.into(),
        }),
        seen_at_id: seen_at.to_owned(),
        body: Some(pb::EventBody { what: Some(what) }),
        ..Default::default()
    }
}

async fn record(running: &Running, events: Vec<pb::NewEvent>) -> pb::RecordEventsResponse {
    let request = pb::RecordEventsRequest { events, ..Default::default() };
    running.inventory().record_events(request).await.unwrap().into_inner()
}

fn moved(to: &str) -> What {
    What::Moved(pb::Moved { to_id: to.to_owned(), ..Default::default() })
}

async fn get(running: &Running, id: &str) -> (pb::Item, pb::ItemStory) {
    let request = pb::GetItemRequest { id: id.to_owned(), read_mask: None };
    let answer = running.inventory().get_item(request).await.unwrap().into_inner();
    (answer.item.unwrap(), answer.story.unwrap())
}

fn line(material: pb::LineMaterial, test_kgf: f64, diameter_mm: f64) -> pb::FittedLine {
    let line = pb::Line {
        material: material.into(),
        test_kgf: Some(test_kgf),
        diameter_mm: Some(diameter_mm),
        ..Default::default()
    };
    pb::FittedLine { line: Some(line), ..Default::default() }
}

/// What the demo's four devices recorded, by device, in the order of their chains.
fn evening() -> [(&'static str, Vec<pb::NewEvent>); 4] {
    use pb::Certainty::{Said, Seen, Typed};
    let braid = pb::LineMaterial::Braid;
    let lost = What::Adjusted(pb::Adjusted {
        measure: pb::Measure::Pieces.into(),
        place_id: String::new(),
        change: Some(-1),
        reason: pb::AdjustmentReason::Lost.into(),
    });
    let counted = What::Counted(pb::Counted {
        measure: pb::Measure::Pieces.into(),
        place_id: String::new(),
        amount: Some(3),
    });
    let respooled = |fitted, from: &str, taken_cm| {
        What::Respooled(pb::Respooled { fitted: Some(fitted), from_id: from.to_owned(), taken_cm })
    };
    let broke = What::Broke(pb::Broke { what: "tip section, closed in the lid".to_owned() });
    let ready = What::StatusSet(pb::StatusSet { status: pb::ItemStatus::Ready.into() });
    [
        (
            "B1-tablet",
            vec![
                event("R15", "2031-09-15T17:55:00Z", Said, "", moved("B2")),
                event(
                    "E08",
                    "2031-09-15T19:30:00Z",
                    Typed,
                    "",
                    respooled(line(braid, 9.0, 0.165), "", None),
                ),
                event("L30", "2031-09-15T19:32:00Z", Seen, "B1", lost),
            ],
        ),
        (
            "B2-tablet",
            vec![
                event("R05", "2031-09-15T18:05:00Z", Said, "", moved("B1")),
                event("R17", "2031-09-15T18:41:00Z", Said, "", moved("B1")),
                event(
                    "E08",
                    "2031-09-15T19:10:00Z",
                    Seen,
                    "B2",
                    respooled(line(braid, 18.0, 0.233), "K04", Some(15_000)),
                ),
            ],
        ),
        (
            "B3-tablet",
            vec![
                event("R15", "2031-09-15T18:40:00Z", Seen, "B3", broke),
                event("R17", "2031-09-15T18:43:00Z", Said, "", moved("B3")),
                event("L30", "2031-09-15T19:33:00Z", Said, "B3", counted),
            ],
        ),
        ("shed-desk", vec![event("R23", "2031-09-15T20:15:00Z", Typed, "", ready)]),
    ]
}

// Source: the demo's events.csv and expected_story.csv, rows S04 and S06 to S09.
#[tokio::test]
async fn four_boats_tell_the_evening_and_agree() {
    let folders: Vec<_> = (0..4).map(|_| tempfile::tempdir().unwrap()).collect();
    let mut boats = Vec::new();
    for (folder, (device, _)) in folders.iter().zip(evening()) {
        boats.push(start_as(device, folder.path()).await);
    }
    boats[3].inventory().import_items(import_of(demo_files())).await.unwrap();
    for boat in &boats[..3] {
        exchange(&boats[3], boat, None).await;
        assert_eq!(state(boat).await, state(&boats[3]).await);
    }
    for (boat, (_, events)) in boats.iter().zip(evening()) {
        record(boat, events).await;
    }
    // They meet in a row; what one tells of another is passed on. The second way brings it back.
    for (a, b) in [(0, 1), (1, 2), (2, 3), (3, 2), (2, 1), (1, 0)] {
        exchange(&boats[a], &boats[b], None).await;
    }
    let told = state(&boats[0]).await;
    for boat in &boats {
        assert_eq!(state(boat).await, told);
        let (item, story) = get(boat, "R15").await;
        assert_eq!(item.status(), pb::ItemStatus::Broken);
        assert_eq!((item.place_id.as_str(), item.contested), ("", true));
        let place = story.disputes.iter().find(|d| d.what == "place").unwrap();
        assert_eq!(place.field.as_ref().unwrap().claims.len(), 2);

        let (_, story) = get(boat, "R17").await;
        let field = story.disputes[0].field.clone().unwrap();
        let mut places: Vec<_> = field.claims.iter().map(|claim| claim.value.clone()).collect();
        places.sort_by_key(|value| format!("{value:?}"));
        let place = |id: &str| {
            let value = Some(pb::field_value::Value::PlaceId(id.to_owned()));
            Some(pb::FieldValue { value })
        };
        assert_eq!(places, [place("B1"), place("B3")]);
        assert_eq!(field.value, None);

        let (item, _) = get(boat, "E08").await;
        let Some(pb::item::Spec::Reel(reel)) = item.spec else { panic!("no reel") };
        let fitted = reel.fitted.unwrap().line.unwrap();
        assert!(item.contested);
        assert_eq!((fitted.test_kgf, fitted.diameter_mm), (Some(9.0), Some(0.233)));

        let (item, story) = get(boat, "L30").await;
        let count = story.disputes[0].count.clone().unwrap();
        assert_eq!((item.quantity, count.low, count.high, count.recount), (Some(2), 2, 3, true));

        let (item, story) = get(boat, "R23").await;
        assert_eq!(item.status(), pb::ItemStatus::Retired);
        assert_eq!(story.unheeded[0].effect(), pb::EventEffect::Nothing);
        assert!(story.unheeded[0].effect_reason.contains("inspection"), "{story:?}");
    }
    let contested = boats[2].inventory().list_contested(pb::ListContestedRequest::default()).await;
    let ids: Vec<_> =
        contested.unwrap().into_inner().items.into_iter().map(|i| i.item_id).collect();
    assert_eq!(ids, ["R15", "R17", "E08", "L30"]);
    // Settled by sight, and the others hear of it.
    let seen = event("R17", "2031-09-16T04:00:00Z", pb::Certainty::Seen, "B1", moved("B1"));
    assert!(record(&boats[0], vec![seen]).await.contested.is_empty());
    exchange(&boats[0], &boats[2], None).await;
    assert_eq!(get(&boats[2], "R17").await.0.place_id, "B1");
    for boat in boats {
        boat.end().await;
    }
}

// Source: the contract of SyncService: breaking off loses nothing, twice does no harm, and a peer
// that is gone leaves what arrived.
#[tokio::test]
async fn a_cut_exchange_is_resumed() {
    let (a, b) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let one = start_as("B1-tablet", a.path()).await;
    let two = start_as("B2-tablet", b.path()).await;
    let ids: Vec<_> = (0..1200).map(|n| format!("R{n:04}")).collect();
    let ids: Vec<_> = ids.iter().map(String::as_str).collect();
    one.inventory().import_items(import_of(small_fleet(&ids))).await.unwrap();
    exchange(&one, &two, Some(1)).await;
    // What the first chunk brought is stored once the service has seen that the line is dead.
    two.end().await;
    let two = start_as("B2-tablet", b.path()).await;
    let before = state(&two).await.0;
    assert!(before < 1201, "{before}");
    let receipts = exchange(&one, &two, None).await;
    let accepted: i64 = receipts.iter().map(|receipt| receipt.accepted_count).sum();
    assert_eq!(accepted, 1201 - before);
    assert_eq!(state(&two).await, state(&one).await);
    let receipts = exchange(&two, &one, None).await;
    assert!(receipts.iter().all(|r| r.accepted_count + r.duplicate_count + r.refused_count == 0));
    one.end().await;
    two.end().await;
}

fn copy(from: &Path, to: &Path) {
    for entry in std::fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let target = to.join(entry.file_name());
        if entry.file_type().unwrap().is_dir() {
            std::fs::create_dir_all(&target).unwrap();
            copy(&entry.path(), &target);
        } else if entry.file_type().unwrap().is_file() {
            std::fs::copy(entry.path(), target).unwrap();
        }
    }
}

// Source: design.md 4: a fork of one device shows in the hash; both branches are quarantined and
// reported, and the two stores agree all the same.
#[tokio::test]
async fn a_clone_is_found_out() {
    let (a, b) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let one = start_as("B1-tablet", a.path()).await;
    one.inventory().import_items(import_of(small_fleet(&["R1"]))).await.unwrap();
    one.end().await;
    copy(a.path(), b.path());
    let one = start_as("B1-tablet", a.path()).await;
    let two = start_as("B1-tablet", b.path()).await;
    let said = |what| event("R1", "2031-09-15T18:00:00Z", pb::Certainty::Said, "", what);
    record(&one, vec![said(moved("B1"))]).await;
    record(&two, vec![said(What::Lost(pb::Lost {}))]).await;
    let receipts = exchange(&one, &two, None).await;
    let alarms = |receipts: &[pb::Receipt], left_behind: bool| {
        let is_one =
            |forks: &[pb::DeviceFork]| matches!(forks, [f] if f.left_behind == left_behind);
        assert!(receipts.iter().all(|receipt| is_one(&receipt.forks)), "{receipts:?}");
    };
    alarms(&receipts, false);
    assert_eq!(state(&one).await, state(&two).await);
    let listed = one.inventory().list_contested(pb::ListContestedRequest::default()).await;
    let chain = one.sync().get_sync_state(pb::GetSyncStateRequest {}).await.unwrap().into_inner();
    let forked = format!("B1-tablet.{}.3", chain.tips[0].incarnation);
    assert_eq!(listed.unwrap().into_inner().forks[0].event_id, forked);
    let reason = "cloned".to_owned();
    let wrong = pb::Correction { event_id: forked, reason, ..Default::default() };
    let wrong = What::Correction(Box::new(wrong));
    let events = vec![pb::NewEvent { item_id: String::new(), ..said(wrong) }];
    let asked = pb::RecordEventsRequest { events, ..Default::default() };
    let refused = one.inventory().record_events(asked).await.unwrap_err();
    assert!(refused.message().contains("nothing takes it back"), "{refused:?}");
    // What they write from now on counts again, and does not fork once more.
    record(&one, vec![said(moved("B1"))]).await;
    record(&two, vec![said(moved("B1"))]).await;
    alarms(&exchange(&one, &two, None).await, true);
    assert_eq!(state(&one).await, state(&two).await);
    one.end().await;
    two.end().await;
    let one = start_as("B1-tablet", a.path()).await;
    assert_eq!(state(&one).await.0, 6);
    one.end().await;
}

// Source: ledger's roll: with a founder only enrolled devices count, and signatures are asked for.
#[tokio::test]
async fn a_stranger_is_not_heard_until_he_is_enrolled() {
    let (a, b) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let one = start_as("shed-desk", a.path()).await;
    let key = one.sync().get_sync_state(pb::GetSyncStateRequest {}).await.unwrap().into_inner().key;
    one.end().await;
    let founder = deepbend_ledger::fold::Founder {
        device: "shed-desk".parse_id(),
        key: deepbend_ledger::exchange::PublicKey::try_from(key).unwrap(),
    };
    let config = |device: &str, folder: &Path| Config {
        data: Some(folder.to_owned()),
        device: Some(device.parse_id()),
        founder: Some(founder.clone()),
        ..Config::default()
    };
    let shed = start(config("shed-desk", a.path())).await;
    let boat = start(config("B1-tablet", b.path())).await;
    shed.inventory().import_items(import_of(small_fleet(&["R1"]))).await.unwrap();
    exchange(&shed, &boat, None).await;
    let lost =
        event("R1", "2031-09-15T18:00:00Z", pb::Certainty::Seen, "", What::Lost(pb::Lost {}));
    record(&boat, vec![lost]).await;
    let receipts = exchange(&shed, &boat, None).await;
    assert!(receipts.iter().any(|receipt| receipt.waiting_count == 1), "{receipts:?}");
    assert_eq!(get(&shed, "R1").await.0.status(), pb::ItemStatus::Ready);
    let asked = pb::GetSyncStateRequest {};
    let of_boat = boat.sync().get_sync_state(asked).await.unwrap().into_inner();
    let key = of_boat.key;
    let mut tips = of_boat.tips.iter();
    let tip = tips.find(|tip| tip.device_id == "B1-tablet").unwrap();
    let enrolled =
        What::Enrolled(pb::Enrolled { device_id: "B1-tablet".to_owned(), key, keeper: false });
    let enrolled = event("", "2031-09-15T19:00:00Z", pb::Certainty::Seen, "", enrolled);
    let enrolment = record(&shed, vec![enrolled]).await.events[0].event_id.clone();
    exchange(&shed, &boat, None).await;
    assert_eq!(get(&shed, "R1").await.0.status(), pb::ItemStatus::Lost);
    assert_eq!(state(&boat).await, state(&shed).await);
    // What the boat had told by then stays; what it tells later counts for nothing.
    let revoked = What::Revoked(pb::Revoked {
        device_id: "B1-tablet".to_owned(),
        reason: "left on the bus".to_owned(),
        ..Default::default()
    });
    let gone = event("", "2031-09-15T19:30:00Z", pb::Certainty::Said, "", revoked);
    let told = record(&shed, vec![gone]).await;
    assert_eq!(told.events[0].effect(), pb::EventEffect::Acts);
    let revocation = told.events[0].event_id.clone();
    let Some(What::Revoked(told)) = told.events[0].body.as_ref().and_then(|b| b.what.as_ref())
    else {
        panic!("{told:?}")
    };
    assert_eq!(told.last_sequences, [(tip.incarnation, 1)].into());
    assert!(!told.from_the_start);
    let found = event(
        "R1",
        "2031-09-15T20:00:00Z",
        pb::Certainty::Seen,
        "",
        What::Found(pb::Found::default()),
    );
    record(&boat, vec![found]).await;
    exchange(&shed, &boat, None).await;
    let of_shed = shed.sync().get_sync_state(pb::GetSyncStateRequest {}).await.unwrap();
    let of_shed = of_shed.into_inner();
    assert_eq!(of_shed.uncounted_event_count, 1);
    let boats = of_shed.devices.iter().find(|d| d.device_id == "B1-tablet").unwrap();
    assert_eq!(boats.enrolment_event_ids, [enrolment]);
    assert_eq!(boats.revocation_event_ids, [revocation]);
    assert_eq!(get(&shed, "R1").await.0.status(), pb::ItemStatus::Lost);
    assert_eq!(state(&boat).await, state(&shed).await);
    // A keeper may not revoke another as near to the founder: it is told where that is done.
    let enrolled = |device: &str, key: String| {
        let device_id = device.to_owned();
        let body = What::Enrolled(pb::Enrolled { device_id, key, keeper: true });
        event("", "2031-09-15T21:00:00Z", pb::Certainty::Seen, "", body)
    };
    let c = tempfile::tempdir().unwrap();
    let keeper = start(config("B2-tablet", c.path())).await;
    let asked = pb::GetSyncStateRequest {};
    let key = keeper.sync().get_sync_state(asked).await.unwrap().into_inner().key;
    let other = deepbend_ledger::exchange::DeviceKey::from_secret(&[9; 32]).public().to_string();
    record(&shed, vec![enrolled("B2-tablet", key), enrolled("B3-tablet", other)]).await;
    exchange(&shed, &keeper, None).await;
    let peer = What::Revoked(pb::Revoked {
        device_id: "B3-tablet".to_owned(),
        reason: "lost".to_owned(),
        ..Default::default()
    });
    let peer = event("", "2031-09-15T22:00:00Z", pb::Certainty::Said, "", peer);
    let told = record(&keeper, vec![peer]).await;
    assert_eq!(told.events[0].effect(), pb::EventEffect::Nothing);
    let where_to = "Record it at shed-desk, the founder, or at B3-tablet itself";
    assert!(told.events[0].effect_reason.ends_with(where_to), "{told:?}");
    keeper.end().await;
    // Without its founder nobody would count.
    let revoked = What::Revoked(pb::Revoked {
        device_id: "shed-desk".to_owned(),
        reason: "a slip".to_owned(),
        ..Default::default()
    });
    let slip = event("", "2031-09-15T20:00:00Z", pb::Certainty::Seen, "", revoked);
    let request = pb::RecordEventsRequest { events: vec![slip], ..Default::default() };
    let refused = shed.inventory().record_events(request).await.unwrap_err();
    assert!(refused.message().contains("founder"), "{refused}");
    shed.end().await;
    boat.end().await;
}

// Source: README, "A lost key". Common practice, no source: what was told under the old key counts.
#[tokio::test]
async fn a_fleet_whose_founder_lost_its_key_is_founded_anew() {
    let folders = [tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap()];
    let (shed, boat) = ("shed-desk", "B1-tablet");
    let key_of = async |running: &Running| {
        let state = running.sync().get_sync_state(pb::GetSyncStateRequest {}).await.unwrap();
        state.into_inner().key
    };
    let start_in = async |folder: usize, device: &str, founder: Option<(&str, &str)>| {
        let founder = founder.map(|(device, key)| deepbend_ledger::fold::Founder {
            device: device.parse_id(),
            key: deepbend_ledger::exchange::PublicKey::try_from(key.to_owned()).unwrap(),
        });
        let (data, device) = (Some(folders[folder].path().to_owned()), Some(device.parse_id()));
        start(Config { data, device, founder, ..Config::default() }).await
    };
    let enrolled = |device: &str, key: &str| {
        let (device_id, key) = (device.to_owned(), key.to_owned());
        let body = What::Enrolled(pb::Enrolled { device_id, key, keeper: true });
        event("", "2031-09-15T21:00:00Z", pb::Certainty::Seen, "", body)
    };
    let one = start_in(0, shed, None).await;
    let old = key_of(&one).await;
    one.end().await;
    let one = start_in(0, shed, Some((shed, &old))).await;
    let two = start_in(1, boat, Some((shed, &old))).await;
    let boats = key_of(&two).await;
    one.inventory().import_items(import_of(small_fleet(&["R1"]))).await.unwrap();
    record(&one, vec![enrolled(boat, &boats)]).await;
    exchange(&one, &two, None).await;
    one.end().await;
    two.end().await;
    std::fs::remove_file(folders[0].path().join("device.key")).unwrap();
    let one = start_in(0, shed, Some((boat, &boats))).await;
    let two = start_in(1, boat, Some((boat, &boats))).await;
    let new = key_of(&one).await;
    let lost =
        event("R1", "2031-09-15T22:00:00Z", pb::Certainty::Seen, "", What::Lost(pb::Lost {}));
    let request = pb::RecordEventsRequest {
        events: vec![pb::NewEvent { item_kind: pb::ItemKind::Rod.into(), ..lost }],
        accept_unknown_ids: true,
        ..Default::default()
    };
    one.inventory().record_events(request).await.unwrap();
    let items = async |running: &Running| {
        let listed = running.inventory().list_items(pb::ListItemsRequest::default()).await;
        listed.unwrap().into_inner().items.len()
    };
    assert_eq!(items(&two).await, 0, "nobody enrolled the old founder");
    record(&two, vec![enrolled(shed, &old), enrolled(shed, &new)]).await;
    exchange(&one, &two, None).await;
    assert_eq!(state(&one).await, state(&two).await);
    assert_ne!(items(&two).await, 0);
    assert_eq!(get(&two, "R1").await.0.status(), pb::ItemStatus::Lost);
    one.end().await;
    two.end().await;
}

// Source: AIP-155, AIP-154, AIP-163 and the contract: all faults at once.
#[tokio::test]
async fn events_are_checked_whole_and_repeated_safely() {
    let folder = tempfile::tempdir().unwrap();
    let one = start_as("B1-tablet", folder.path()).await;
    one.inventory().import_items(import_of(small_fleet(&["R1", "R2"]))).await.unwrap();
    let seen = |what| event("R1", "2031-09-15T18:00:00Z", pb::Certainty::Seen, "", what);
    let request = pb::RecordEventsRequest {
        events: vec![
            seen(What::Broke(pb::Broke::default())),
            seen(What::Counted(pb::Counted { amount: Some(-1), ..Default::default() })),
            pb::NewEvent { claim: None, ..seen(moved("B1")) },
        ],
        ..Default::default()
    };
    let status = one.inventory().record_events(request).await.unwrap_err();
    let fields: Vec<_> = faults(&status).into_iter().map(|(field, _)| field).collect();
    let expected = [
        "events[0].body.broke.what",
        "events[1].body.counted.measure",
        "events[1].body.counted.amount",
        "events[2].claim",
    ];
    assert_eq!(fields, expected);
    let request = pb::RecordEventsRequest {
        events: vec![pb::NewEvent { item_id: "R9".to_owned(), ..seen(moved("B1")) }],
        ..Default::default()
    };
    let status = one.inventory().record_events(request).await.unwrap_err();
    assert_eq!(reason(&status), "NotFound ITEM_NOT_FOUND");

    let etag = get(&one, "R1").await.0.etag;
    let request = pb::RecordEventsRequest {
        request_id: "123e4567-e89b-42d3-a456-426614174000".to_owned(),
        events: vec![seen(What::Broke(pb::Broke { what: "tip".to_owned() }))],
        etag: etag.clone(),
        ..Default::default()
    };
    let checked = pb::RecordEventsRequest { validate_only: true, ..request.clone() };
    let checked = one.inventory().record_events(checked).await.unwrap().into_inner();
    assert_eq!(checked.events[0].effect(), pb::EventEffect::Acts);
    assert_eq!(get(&one, "R1").await.0.etag, etag);
    let first = one.inventory().record_events(request.clone()).await.unwrap().into_inner();
    assert_ne!(get(&one, "R1").await.0.etag, etag);
    let again = one.inventory().record_events(request.clone()).await.unwrap().into_inner();
    assert_eq!(again, first);
    let stale = pb::RecordEventsRequest { request_id: String::new(), ..request };
    let status = one.inventory().record_events(stale).await.unwrap_err();
    assert_eq!(reason(&status), "Aborted ETAG_MISMATCH");
    one.end().await;
}

// Source: the contract of ListItemEvents, ListDue, WatchItems and the round trip of all events.
#[tokio::test]
async fn history_due_watch_and_export() {
    let (a, b) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let one = start_as("shed-desk", a.path()).await;
    one.inventory().import_items(import_of(demo_files())).await.unwrap();
    let list = pb::ListItemsRequest { page_size: 1, ..Default::default() };
    let revision = one.inventory().list_items(list).await.unwrap().into_inner().revision;
    let watch = pb::WatchItemsRequest { after_revision: revision, ..Default::default() };
    let mut changes = one.inventory().watch_items(watch.clone()).await.unwrap().into_inner();
    assert!(changes.next().await.unwrap().unwrap().items.is_empty());
    let seen = |what| event("R17", "2031-09-15T18:00:00Z", pb::Certainty::Seen, "", what);
    for to in ["B1", "B3", "B2"] {
        record(&one, vec![seen(moved(to))]).await;
        let change = changes.next().await.unwrap().unwrap();
        assert_eq!(change.items[0].id, "R17");
    }
    // Who watches is told what goes away as well.
    let list = pb::ListItemEventsRequest { item_id: "R24".to_owned(), ..Default::default() };
    let first = one.inventory().list_item_events(list).await.unwrap().into_inner().events;
    let wrong = What::Correction(Box::new(pb::Correction {
        event_id: first[0].event_id.clone(),
        reason: "it was sold".to_owned(),
        ..Default::default()
    }));
    let out = pb::NewEvent { item_id: String::new(), ..seen(wrong) };
    let out = record(&one, vec![out]).await.events[0].event_id.clone();
    let change = changes.next().await.unwrap().unwrap();
    assert!(change.items.is_empty(), "{change:?}");
    assert_eq!(change.removed[0].id, "R24");
    assert_eq!(change.removed[0].kind(), pb::ItemKind::Rod);
    let back = What::Correction(Box::new(pb::Correction {
        event_id: out,
        reason: "it was not".to_owned(),
        ..Default::default()
    }));
    record(&one, vec![pb::NewEvent { item_id: String::new(), ..seen(back) }]).await;
    let change = changes.next().await.unwrap().unwrap();
    assert_eq!(change.items[0].id, "R24");
    assert!(change.removed.is_empty());
    drop(changes);
    // A second watcher resumes and is told what it missed.
    let mut changes = one.inventory().watch_items(watch).await.unwrap().into_inner();
    let missed = changes.next().await.unwrap().unwrap();
    assert_eq!(missed.items[0].id, "R17");
    assert_eq!(missed.items[0].place_id, "B2");
    drop(changes);
    let future = pb::WatchItemsRequest { after_revision: 1 << 40, ..Default::default() };
    let mut refused = one.inventory().watch_items(future).await.unwrap().into_inner();
    let status = refused.next().await.unwrap().unwrap_err();
    assert_eq!(reason(&status), "OutOfRange REVISION_TOO_OLD");

    let mut request =
        pb::ListItemEventsRequest { item_id: "R17".to_owned(), page_size: 3, ..Default::default() };
    let page = one.inventory().list_item_events(request.clone()).await.unwrap().into_inner();
    assert_eq!(page.events.len(), 3);
    request.page_token = page.next_page_token;
    let rest = one.inventory().list_item_events(request).await.unwrap().into_inner();
    assert_eq!((rest.events.len(), rest.next_page_token.as_str()), (1, ""));
    assert_eq!(rest.events[0].body.clone().unwrap().what.unwrap(), moved("B2"));

    // S12 of the demo's story: the lines of E03 and E10 are due.
    let due = pb::ListDueRequest { as_of_date: "2031-09-16".to_owned(), ..Default::default() };
    let due = one.inventory().list_due(due).await.unwrap().into_inner().due;
    for id in ["E03", "E10"] {
        assert!(due.iter().any(|work| work.item_id == id), "{due:?}");
    }

    let two = start_as("B1-tablet", b.path()).await;
    let chunks = one.sync().export_events(pb::ExportEventsRequest {}).await.unwrap().into_inner();
    let chunks: Vec<_> = chunks.map(|answer| answer.unwrap().chunk).collect().await;
    for duplicates in [false, true] {
        let chunks = chunks.clone().into_iter().map(|chunk| pb::ImportEventsRequest { chunk });
        let taken = two.sync().import_events(tokio_stream::iter(chunks)).await.unwrap();
        let receipt = taken.into_inner().receipt.unwrap();
        assert_eq!(receipt.duplicate_count > 0, duplicates);
    }
    assert_eq!(state(&two).await, state(&one).await);
    one.end().await;
    two.end().await;
}

/// Says the parts of an exchange, and answers what the service says to its end.
async fn say(to: &Running, parts: Vec<Part>) -> Vec<Result<Part, tonic::Status>> {
    let parts = parts
        .into_iter()
        .map(|part| pb::ExchangeRequest { part: Some(pb::ExchangePart { part: Some(part) }) });
    let answers = to.sync().exchange(tokio_stream::iter(parts)).await.unwrap().into_inner();
    answers.map(|answer| answer.map(|a| a.part.unwrap().part.unwrap())).collect().await
}

// Source: the contract of SyncService: nobody is believed.
#[tokio::test]
async fn a_peer_that_lies_about_what_it_holds_harms_itself_only() {
    let (a, b) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let one = start_as("B1-tablet", a.path()).await;
    one.inventory().import_items(import_of(small_fleet(&["R1"]))).await.unwrap();
    let before = state(&one).await;
    let asked = pb::GetSyncStateRequest {};
    let known = one.sync().get_sync_state(asked).await.unwrap().into_inner().tips;
    let false_end = |device: &str, sequence| pb::ChainTip {
        device_id: device.to_owned(),
        incarnation: known[0].incarnation,
        sequence,
        hash: vec![7; 32],
    };
    let ahead =
        vec![false_end("B1-tablet", 900), false_end("B9-tablet", 5), false_end("B9-tablet", 5)];
    let least = vec![false_end("B1-tablet", 0)];
    for tips in [ahead, least, known.clone()] {
        let hello =
            pb::Hello { version: 1, device_id: "B9-tablet".to_owned(), tips, ..Default::default() };
        let said = vec![
            Part::Hello(hello),
            Part::Landmarks(pb::Landmarks::default()),
            Part::Sent(pb::Sent { event_count: 0 }),
            Part::Receipt(pb::Receipt::default()),
        ];
        let heard = say(&one, said).await;
        let Some(Ok(Part::Receipt(receipt))) = heard.last() else { panic!("{heard:?}") };
        assert_eq!((receipt.accepted_count, receipt.refused_count), (0, 0));
        assert!(receipt.forks.is_empty(), "a claim without events is no fork: {receipt:?}");
        assert_eq!(state(&one).await, before);
    }
    // It says that it sent more than it did.
    let hello = pb::Hello { version: 1, device_id: "B9-tablet".to_owned(), ..Default::default() };
    let said = vec![
        Part::Hello(hello),
        Part::Landmarks(pb::Landmarks::default()),
        Part::Sent(pb::Sent { event_count: 12 }),
    ];
    let heard = say(&one, said).await;
    let Some(Err(status)) = heard.last() else { panic!("{heard:?}") };
    assert!(reason(status).ends_with("PEER_REFUSED"), "{status:?}");
    assert!(status.message().contains("12 events, 0 came"), "{status:?}");
    // Who is honest hears everything all the same.
    let two = start_as("B2-tablet", b.path()).await;
    exchange(&one, &two, None).await;
    assert_eq!(state(&two).await, before);
    one.end().await;
    two.end().await;
}

// Source: the contract of WatchItems: what cannot be told any more is told as that.
#[tokio::test]
async fn a_feed_that_was_trimmed_says_list_again() {
    let folder = tempfile::tempdir().unwrap();
    let one = start_as("B1-tablet", folder.path()).await;
    one.inventory().import_items(import_of(small_fleet(&["R1"]))).await.unwrap();
    one.end().await;
    let store = SledStore::open(folder.path(), SledOptions::default()).unwrap();
    store.trim(store.head().unwrap()).unwrap();
    drop(store);
    let one = start_as("B1-tablet", folder.path()).await;
    let watch = |after_revision| pb::WatchItemsRequest { after_revision, ..Default::default() };
    let mut changes = one.inventory().watch_items(watch(1)).await.unwrap().into_inner();
    let status = changes.next().await.unwrap().unwrap_err();
    assert_eq!(reason(&status), "OutOfRange REVISION_TOO_OLD");
    assert!(status.message().contains("list again"), "{status:?}");
    // Listing again gives a revision from which it goes on.
    let list = one.inventory().list_items(pb::ListItemsRequest::default()).await.unwrap();
    let revision = list.into_inner().revision;
    let mut changes = one.inventory().watch_items(watch(revision)).await.unwrap().into_inner();
    assert!(changes.next().await.unwrap().unwrap().items.is_empty());
    let seen =
        event("R1", "2031-09-15T18:00:00Z", pb::Certainty::Seen, "", What::Lost(pb::Lost {}));
    record(&one, vec![seen]).await;
    assert_eq!(changes.next().await.unwrap().unwrap().items[0].id, "R1");
    drop(changes);
    one.end().await;
}
