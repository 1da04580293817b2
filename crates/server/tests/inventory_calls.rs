//! `InventoryService` over a real connection, on a real folder.
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

mod service_support;

use deepbend_contract::pb;
use deepbend_server::{Config, Server, StartError};
use service_support::{Running, demo_files, faults, import_of, reason, small_fleet, start_on};

async fn ids(running: &Running, filter: pb::ItemFilter) -> Vec<String> {
    let request = pb::ListItemsRequest { filter: Some(filter), ..Default::default() };
    let page = running.inventory().list_items(request).await.unwrap().into_inner();
    assert_eq!(page.total_size as usize, page.items.len());
    page.items.into_iter().map(|item| item.id).collect()
}

// Source: the demo's files, counted by hand (`wc -l` less the header).
#[tokio::test]
async fn the_demo_fleet_is_imported_and_is_there_after_a_restart() {
    let folder = tempfile::tempdir().unwrap();
    let running = start_on(folder.path()).await;
    let mut client = running.inventory();
    let checked = pb::ImportItemsRequest { validate_only: true, ..import_of(demo_files()) };
    let report = client.import_items(checked).await.unwrap().into_inner();
    assert_eq!(report.outcome(), pb::ImportOutcome::Valid);
    let report = client.import_items(import_of(demo_files())).await.unwrap().into_inner();
    assert_eq!(report.outcome(), pb::ImportOutcome::Imported, "{report:?}");
    let rows: usize =
        demo_files().iter().map(|file| file.csv_text.trim_end().lines().count() - 1).sum();
    let items: i32 = report.counts.iter().map(|count| count.item_count).sum();
    assert_eq!(usize::try_from(items).unwrap(), rows);
    let get = pb::GetItemRequest { id: "R14".to_owned(), read_mask: None };
    let before = client.get_item(get.clone()).await.unwrap().into_inner().item.unwrap();
    assert_eq!(before.origins.len(), 1);
    assert!(before.etag.starts_with('"') && before.power.is_some());
    drop(client);
    running.end().await;

    let running = start_on(folder.path()).await;
    let after = running.inventory().get_item(get).await.unwrap().into_inner().item.unwrap();
    assert_eq!(after, before);
    let mask = prost_types::FieldMask { paths: vec!["id".to_owned(), "rod".to_owned()] };
    let get = pb::GetItemRequest { id: "R14".to_owned(), read_mask: Some(mask) };
    let part = running.inventory().get_item(get).await.unwrap().into_inner().item.unwrap();
    assert_eq!(part, pb::Item { id: before.id, spec: before.spec, ..Default::default() });
    let filter = pb::ItemFilter {
        kinds: vec![pb::ItemKind::Rod.into()],
        statuses: vec![pb::ItemStatus::InService.into(), pb::ItemStatus::Retired.into()],
        ..Default::default()
    };
    // S16 of the demo's story: R12 is in service and R23 retired.
    assert_eq!(ids(&running, filter).await, ["R12", "R23"]);
    running.end().await;
}

// Source: design.md 4 and the contract: all rows or none, every refused row named.
#[tokio::test]
async fn nothing_is_half_imported() {
    let folder = tempfile::tempdir().unwrap();
    let running = start_on(folder.path()).await;
    let mut files = small_fleet(&["R1", "R2", "R2"]);
    files[1].csv_text.push_str("R3,spinning,2.10 m,5-20 g,6-12 lb,nowhere\n");
    let report = running.inventory().import_items(import_of(files)).await.unwrap().into_inner();
    assert_eq!(report.outcome(), pb::ImportOutcome::Refused);
    let rows: Vec<_> = report.faults.iter().map(|f| (f.row, f.column.as_str())).collect();
    assert_eq!(rows, [(4, "rod_id"), (5, "place")]);
    assert!(ids(&running, pb::ItemFilter::default()).await.is_empty());

    let twice = [small_fleet(&["R1"]), small_fleet(&["R2"])].concat();
    let request = pb::ImportItemsRequest {
        request_id: "no uuid".to_owned(),
        claim: Some(pb::Claim { actor: "a b".to_owned(), certainty: 99, ..Default::default() }),
        ..import_of(twice)
    };
    let status = running.inventory().import_items(request).await.unwrap_err();
    let fields: Vec<_> = faults(&status).into_iter().map(|(field, _)| field).collect();
    let expected = [
        "request_id",
        "files[2].kind",
        "files[3].kind",
        "claim.observed_time",
        "claim.actor",
        "claim.certainty",
    ];
    assert_eq!(fields, expected);
    running.end().await;
}

// Source: AIP-155 (a repeated request gives the earlier success).
#[tokio::test]
async fn a_repeated_import_gets_the_first_answer() {
    let folder = tempfile::tempdir().unwrap();
    let running = start_on(folder.path()).await;
    let id = "123e4567-e89b-42d3-a456-426614174000";
    let request = pb::ImportItemsRequest {
        request_id: id.to_owned(),
        ..import_of(small_fleet(&["R1", "R2"]))
    };
    let first = running.inventory().import_items(request.clone()).await.unwrap().into_inner();
    assert_eq!(first.outcome(), pb::ImportOutcome::Imported);
    running.end().await;
    let running = start_on(folder.path()).await;
    let again = running.inventory().import_items(request.clone()).await.unwrap().into_inner();
    assert_eq!(again, first);
    let other = pb::ImportItemsRequest { files: small_fleet(&["R3"]), ..request };
    let status = running.inventory().import_items(other).await.unwrap_err();
    assert_eq!(reason(&status), "InvalidArgument REQUEST_ID_REUSED");
    // Without an id a repeated call is refused, since its items are known.
    let known = import_of(small_fleet(&["R1", "R2"]));
    let report = running.inventory().import_items(known).await.unwrap().into_inner();
    assert_eq!(report.outcome(), pb::ImportOutcome::Refused);
    running.end().await;
}

// Source: AIP-158 (paging): every item that was there all along is listed exactly once.
#[tokio::test]
async fn pages_stay_whole_when_something_comes_between() {
    let folder = tempfile::tempdir().unwrap();
    let running = start_on(folder.path()).await;
    let rods = ["R02", "R04", "R06", "R08", "R10"];
    running.inventory().import_items(import_of(small_fleet(&rods))).await.unwrap();
    let mut client = running.inventory();
    let rods_only = pb::ItemFilter { kinds: vec![1], ..Default::default() };
    let mut request =
        pb::ListItemsRequest { page_size: 2, filter: Some(rods_only), ..Default::default() };
    let mut listed = Vec::new();
    loop {
        let page = client.list_items(request.clone()).await.unwrap().into_inner();
        assert!(page.items.len() <= 2);
        listed.extend(page.items.into_iter().map(|item| item.id));
        if request.page_token.is_empty() {
            let between = [small_fleet(&["R01", "R05"]).remove(1)].to_vec();
            client.import_items(import_of(between)).await.unwrap();
        }
        if page.next_page_token.is_empty() {
            assert_eq!(page.total_size, 5, "counted for the first page");
            break;
        }
        request.page_token = page.next_page_token;
    }
    assert_eq!(listed, ["R02", "R04", "R05", "R06", "R08", "R10"]);

    let mut other = request.clone();
    other.filter = None;
    let status = client.list_items(other).await.unwrap_err();
    assert_eq!(reason(&status), "InvalidArgument PAGE_TOKEN_INVALID");
    for token in ["00", "made up", &"f".repeat(100_000)] {
        let made_up = pb::ListItemsRequest { page_token: token.to_owned(), ..request.clone() };
        let status = client.list_items(made_up).await.unwrap_err();
        assert_eq!(reason(&status), "InvalidArgument PAGE_TOKEN_INVALID");
    }
    let bad = pb::ListItemsRequest {
        page_size: -1,
        filter: Some(pb::ItemFilter {
            kinds: vec![0, 99],
            place_ids: vec!["B1".to_owned(), "B 2".to_owned()],
            ..Default::default()
        }),
        read_mask: Some(prost_types::FieldMask { paths: vec!["colour".to_owned()] }),
        ..Default::default()
    };
    let fields: Vec<_> = faults(&client.list_items(bad).await.unwrap_err());
    let fields: Vec<_> = fields.iter().map(|(field, _)| field.as_str()).collect();
    let expected =
        ["page_size", "filter.place_ids[1]", "filter.kinds[0]", "filter.kinds[1]", "read_mask"];
    assert_eq!(fields, expected);
    drop(client);
    running.end().await;
}

// Source: the contract, reason ITEM_NOT_FOUND.
#[tokio::test]
async fn what_is_not_there_is_not_found() {
    let folder = tempfile::tempdir().unwrap();
    let running = start_on(folder.path()).await;
    let get = |id: &str| pb::GetItemRequest { id: id.to_owned(), read_mask: None };
    let status = running.inventory().get_item(get("R1")).await.unwrap_err();
    assert_eq!(reason(&status), "NotFound ITEM_NOT_FOUND");
    for id in ["", "R 1", &"x".repeat(65)] {
        let status = running.inventory().get_item(get(id)).await.unwrap_err();
        assert_eq!(faults(&status)[0].0, "id");
    }
    running.end().await;
}

// Common practice, no source: one folder, one holder; the other is told who it is.
#[tokio::test]
async fn two_services_on_one_folder_do_not_go() {
    let folder = tempfile::tempdir().unwrap();
    let running = start_on(folder.path()).await;
    let config = Config {
        listen: "127.0.0.1:0".parse().unwrap(),
        data: Some(folder.path().to_owned()),
        ..Config::default()
    };
    let error = Server::bind(config).await.unwrap_err();
    let StartError::Locked { holder, .. } = &error else { panic!("{error:?}") };
    assert!(holder.contains(&std::process::id().to_string()), "{error}");
    assert!(error.to_string().contains(holder.as_str()));
    running.end().await;
}

// Source: the store's promise: what is damaged is read as far as it can be, and never written to.
#[tokio::test]
async fn a_damaged_store_is_served_for_reading() {
    let folder = tempfile::tempdir().unwrap();
    let running = start_on(folder.path()).await;
    let get = pb::GetItemRequest { id: "R14".to_owned(), read_mask: None };
    running.inventory().import_items(import_of(demo_files())).await.unwrap();
    let before = running.inventory().get_item(get.clone()).await.unwrap().into_inner();
    running.end().await;
    let db = folder.path().join("db");
    let mut bytes = std::fs::read(&db).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle] ^= 1;
    std::fs::write(&db, &bytes).unwrap();

    let running = start_on(folder.path()).await;
    let after = running.inventory().get_item(get.clone()).await.unwrap().into_inner();
    assert_eq!(after, before);
    let mut fleet = small_fleet(&["Q1"]);
    fleet.iter_mut().for_each(|file| file.csv_text = file.csv_text.replace("B1", "B77"));
    let refused = running.inventory().import_items(import_of(fleet)).await.unwrap_err();
    assert!(reason(&refused).ends_with("STORE_DAMAGED"), "{refused:?}");
    assert!(refused.message().contains("`deepbend sync` says"), "{refused:?}");
    let asked = pb::GetSyncStateRequest {};
    let trouble = running.sync().get_sync_state(asked).await.unwrap().into_inner().store_trouble;
    let cure = format!("deepbendd --data {} repair", folder.path().display());
    assert!(trouble.contains(&cure), "{trouble}");
    running.end().await;
    assert_eq!(std::fs::read(&db).unwrap(), bytes, "it stays as it is");

    // Cut before the first of the rods it is lost, and nobody says that it never was.
    std::fs::write(&db, &bytes[..1024]).unwrap();
    let running = start_on(folder.path()).await;
    let refused = running.inventory().get_item(get).await.unwrap_err();
    assert!(reason(&refused).ends_with("STORE_DAMAGED"), "{refused:?}");
    let events = pb::ListItemEventsRequest { item_id: "R14".to_owned(), ..Default::default() };
    let refused = running.inventory().list_item_events(events).await.unwrap_err();
    assert!(reason(&refused).ends_with("STORE_DAMAGED"), "{refused:?}");
    running.end().await;
}

// Common practice, no source: who lost his pen can still read.
#[tokio::test]
async fn a_folder_whose_key_is_damaged_is_served_for_reading() {
    let folder = tempfile::tempdir().unwrap();
    let running = start_on(folder.path()).await;
    running.inventory().import_items(import_of(demo_files())).await.unwrap();
    let get = pb::GetItemRequest { id: "R14".to_owned(), read_mask: None };
    let before = running.inventory().get_item(get.clone()).await.unwrap().into_inner();
    running.end().await;
    let key = folder.path().join("device.key");
    let good = std::fs::read(&key).unwrap();
    std::fs::write(&key, "nonsense").unwrap();
    let running = start_on(folder.path()).await;
    assert_eq!(running.inventory().get_item(get).await.unwrap().into_inner(), before);
    let more = || import_of(small_fleet(&["Q1"]).split_off(1));
    let refused = running.inventory().import_items(more()).await.unwrap_err();
    assert_eq!(reason(&refused), "Unavailable STORE_UNAVAILABLE");
    let asked = pb::GetSyncStateRequest {};
    let trouble = running.sync().get_sync_state(asked).await.unwrap().into_inner().store_trouble;
    assert!(trouble.contains("device.key is damaged: put it back"), "{trouble}");
    running.end().await;
    assert_eq!(std::fs::read(&key).unwrap(), b"nonsense", "it stays as it is");
    std::fs::write(&key, good).unwrap();
    let running = start_on(folder.path()).await;
    running.inventory().import_items(more()).await.unwrap();
    running.end().await;
}

// Common practice, no source: who cannot record is told what to do about it.
#[tokio::test]
async fn a_folder_that_cannot_be_written_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let running = start_on(folder.path()).await;
    running.inventory().import_items(import_of(small_fleet(&["R1"]))).await.unwrap();
    running.end().await;
    // A program that runs cannot be opened for writing, not even by root (execve(2), ETXTBSY).
    let holder = folder.path().join("holder");
    std::fs::remove_file(&holder).unwrap();
    std::os::unix::fs::symlink(std::env::current_exe().unwrap(), &holder).unwrap();
    let running = start_on(folder.path()).await;
    let get = pb::GetItemRequest { id: "R1".to_owned(), read_mask: None };
    running.inventory().get_item(get).await.unwrap();
    let fleet = import_of(small_fleet(&["R2"]).split_off(1));
    let refused = running.inventory().import_items(fleet).await.unwrap_err();
    assert_eq!(reason(&refused), "Unavailable STORE_UNAVAILABLE");
    assert!(refused.message().contains("can only be read"), "{refused:?}");
    assert!(refused.message().contains("permissions"), "{refused:?}");
    running.end().await;
}
