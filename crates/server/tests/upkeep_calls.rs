//! `deepbendd backup`, `verify`, `restore`, `repair` and `compact`, each as an operator runs it.
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]
#![allow(clippy::disallowed_methods, reason = "the test starts processes")]

mod service_support;

use std::ffi::OsStr;
use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use deepbend_contract::pb;
use deepbend_server::Config;
use service_support::{Running, demo_files, import_of, small_fleet, start, start_on};

/// Runs `deepbendd` on a data folder; answers its exit code and what it said.
fn deepbendd(folder: &Path, args: &[&OsStr]) -> (Option<i32>, String) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_deepbendd"));
    let Output { status, stdout, stderr } =
        command.arg("--data").arg(folder).args(args).output().unwrap();
    let said = String::from_utf8([stdout, stderr].concat()).unwrap();
    for line in said.lines() {
        assert!(line.chars().count() <= 80, "wider than 80: {line}");
    }
    // Words as they follow each other, wherever lines break.
    (status.code(), said.split_whitespace().collect::<Vec<_>>().join(" "))
}

async fn on_thread(folder: &Path, args: &[&OsStr]) -> (Option<i32>, String) {
    let folder = folder.to_owned();
    let args: Vec<_> = args.iter().map(|arg| (*arg).to_owned()).collect();
    let work = move || {
        let args: Vec<_> = args.iter().map(AsRef::as_ref).collect();
        deepbendd(&folder, &args)
    };
    tokio::task::spawn_blocking(work).await.unwrap()
}

async fn state(running: &Running) -> pb::GetSyncStateResponse {
    let asked = pb::GetSyncStateRequest {};
    running.sync().get_sync_state(asked).await.unwrap().into_inner()
}

/// Imports a rod; the first one with the boat that it lies on.
async fn import(running: &Running, id: &str, first: bool) {
    let files = small_fleet(&[id]).split_off(usize::from(!first));
    let done = running.inventory().import_items(import_of(files)).await.unwrap().into_inner();
    assert_eq!(done.outcome(), pb::ImportOutcome::Imported, "{done:?}");
}

// Source: design.md 4: a restored store gets a new incarnation.
#[tokio::test]
async fn a_backup_of_a_running_service_is_verified_and_restored() {
    let (data, other) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let file = other.path().join("evening.backup");
    let (backup, verify, restore) = ("backup".as_ref(), "verify".as_ref(), "restore".as_ref());
    let running = start(Config {
        data: Some(data.path().to_owned()),
        device: deepbend_ledger::id::Id::new("B1-tablet").ok(),
        ..Config::default()
    })
    .await;
    import(&running, "R1", true).await;
    let before = state(&running).await;
    let (code, said) = on_thread(data.path(), &[backup, file.as_ref()]).await;
    assert_eq!(code, Some(0), "{said}");
    let (code, said) = on_thread(data.path(), &[backup, file.as_ref()]).await;
    assert_eq!(code, Some(74), "it is there already: {said}");
    assert!(said.contains("is there already; name another file"), "{said}");
    let (code, said) = on_thread(data.path(), &["compact".as_ref()]).await;
    assert_eq!(code, Some(75), "somebody holds the folder: {said}");
    import(&running, "R3", false).await;
    running.end().await;

    assert_eq!(deepbendd(data.path(), &[verify, file.as_ref()]).0, Some(0));
    let fresh = other.path().join("restored");
    let (code, said) = deepbendd(&fresh, &[restore, file.as_ref()]);
    assert_eq!(code, Some(0), "{said}");
    assert!(said.contains("as the store of B1-tablet"), "{said}");
    let running = start_on(&fresh).await;
    assert_eq!(state(&running).await.state_hash, before.state_hash);
    assert_eq!(state(&running).await.device_id, before.device_id);
    import(&running, "R4", false).await;
    let tips = state(&running).await.tips;
    let tips: Vec<_> = tips.iter().map(|tip| (tip.incarnation, tip.sequence)).collect();
    assert_eq!(tips[0], (before.tips[0].incarnation, before.event_count));
    assert!(tips[1].0 > tips[0].0 && tips[1].1 == 1, "{tips:?}");
    running.end().await;
    let (code, said) = deepbendd(&fresh, &[restore, file.as_ref()]);
    assert_eq!(code, Some(74), "a store is there: {said}");

    let whole = fs::read(&file).unwrap();
    for damaged in [whole[..whole.len() - 1].to_vec(), {
        let mut bytes = whole.clone();
        bytes[whole.len() / 2] ^= 1;
        bytes
    }] {
        let file = other.path().join("damaged");
        fs::write(&file, damaged).unwrap();
        let (code, said) = deepbendd(data.path(), &[verify, file.as_ref()]);
        assert_eq!(code, Some(65), "{said}");
        let nowhere = other.path().join("nowhere");
        let (code, said) = deepbendd(&nowhere, &[restore, file.as_ref()]);
        assert_eq!(code, Some(65), "{said}");
    }
}

// Source: design.md 4: a chain is a device and an incarnation. Who begins anew under an old name,
// with an empty folder, must not take the numbers of the old store.
#[tokio::test]
async fn an_empty_folder_under_an_old_name_begins_numbers_of_its_own() {
    let mut used = std::collections::BTreeSet::new();
    for _ in 0..4 {
        let data = tempfile::tempdir().unwrap();
        let running = start_on(data.path()).await;
        import(&running, "R1", true).await;
        let tips = state(&running).await.tips;
        assert_eq!(tips.len(), 1, "{tips:?}");
        used.insert(tips[0].incarnation);
        running.end().await;
        let running = start_on(data.path()).await;
        import(&running, "R2", false).await;
        assert_eq!(state(&running).await.tips.len(), 1, "it goes on as it began");
        running.end().await;
    }
    // Four of 65,536: that two are the same happens once in ten thousand runs.
    assert!(used.len() == 4, "{used:?}");
}

// Common practice, no source: without the note of the last commit a cut file looks whole; numbers
// that may have been used must not be used again.
#[tokio::test]
async fn a_store_without_its_note_goes_on_under_new_numbers() {
    let data = tempfile::tempdir().unwrap();
    let running = start_on(data.path()).await;
    import(&running, "R1", true).await;
    let first = state(&running).await.tips[0].incarnation;
    running.end().await;
    for (n, empty) in [true, false].into_iter().enumerate() {
        let note = data.path().join("acknowledged");
        if empty {
            fs::write(&note, "").unwrap()
        } else {
            fs::remove_file(&note).unwrap()
        }
        let running = start_on(data.path()).await;
        import(&running, &format!("R1{n}"), false).await;
        let tips = state(&running).await.tips;
        assert_eq!(tips.len(), n + 2, "{tips:?}");
        assert!(tips.iter().all(|tip| tip.incarnation >= first), "{tips:?}");
        running.end().await;
    }
}

// Common practice, no source: what is sound is left alone, and that is said.
#[tokio::test]
async fn a_sound_store_is_neither_repaired_nor_made_larger() {
    let data = tempfile::tempdir().unwrap();
    let running = start_on(data.path()).await;
    import(&running, "R1", true).await;
    let before = state(&running).await;
    running.end().await;
    let files = || {
        let all = fs::read_dir(data.path()).unwrap().map(|entry| entry.unwrap().file_name());
        let all = all.map(|name| name.into_string().unwrap());
        // The engine writes its own snapshot whenever it is opened.
        all.filter(|name| !name.starts_with("snap.")).collect::<std::collections::BTreeSet<_>>()
    };
    let there = files();
    let (code, said) = deepbendd(data.path(), &["repair".as_ref()]);
    assert_eq!(code, Some(0), "{said}");
    assert!(said.contains("nothing was wrong"), "{said}");
    assert_eq!(files(), there);
    // Each time the file becomes smaller, or all stays as it was.
    loop {
        let there = files();
        let (code, said) = deepbendd(data.path(), &["compact".as_ref()]);
        assert_eq!(code, Some(0), "{said}");
        if said.contains("the store is as it was") {
            assert_eq!(files(), there);
            break;
        }
        let sizes: Vec<u64> = said.split(' ').filter_map(|word| word.parse().ok()).collect();
        assert!(sizes[0] > sizes[1], "{said}");
    }
    let running = start_on(data.path()).await;
    assert_eq!(state(&running).await.state_hash, before.state_hash);
    import(&running, "R2", false).await;
    let tips = state(&running).await.tips;
    assert_eq!(tips.len(), 1, "the same chain goes on: {tips:?}");
    running.end().await;
}

// Common practice, no source: what an operator does to a store that no service holds.
#[tokio::test]
async fn a_store_is_backed_up_compacted_and_repaired_while_no_service_runs() {
    let (data, other) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let running = start_on(data.path()).await;
    running.inventory().import_items(import_of(demo_files())).await.unwrap();
    let before = state(&running).await;
    running.end().await;
    let file = other.path().join("evening.backup");
    let (code, said) = deepbendd(data.path(), &["backup".as_ref(), file.as_ref()]);
    assert_eq!(code, Some(0), "{said}");
    let db = data.path().join("db");
    let mut bytes = fs::read(&db).unwrap();
    let place = bytes.iter().rposition(|byte| *byte != 0).unwrap() / 4;
    bytes[place] ^= 1;
    fs::write(&db, &bytes).unwrap();
    let (code, said) = deepbendd(data.path(), &["compact".as_ref()]);
    assert_eq!(code, Some(74), "a damaged store stays as it is: {said}");
    for work in ["repair", "compact"] {
        let (code, said) = deepbendd(data.path(), &[work.as_ref()]);
        assert_eq!(code, Some(0), "{said}");
        assert!(!said.contains("xchange"), "nothing was lost: {said}");
        let running = start_on(data.path()).await;
        assert_eq!(state(&running).await.state_hash, before.state_hash, "after {work}");
        running.end().await;
    }
    let nowhere = other.path().join("nowhere");
    let (code, said) = deepbendd(&nowhere, &["backup".as_ref(), file.as_ref()]);
    assert_ne!(code, Some(0), "{said}");
    assert!(!nowhere.exists(), "a backup makes no store");
    // A restore that was cut off, and a folder with nothing in it, are no stores to be repaired.
    let cut = other.path().join("cut");
    fs::create_dir_all(cut.join("engine-1.unfinished")).unwrap();
    let (code, said) = deepbendd(&cut, &["repair".as_ref()]);
    assert_eq!(code, Some(74), "{said}");
    assert!(said.contains("restore again"), "{said}");
    let empty = other.path().join("empty");
    fs::create_dir(&empty).unwrap();
    let none = other.path().join("none.backup");
    for work in
        [vec!["repair".as_ref()], vec!["compact".as_ref()], vec!["backup".as_ref(), none.as_ref()]]
    {
        for folder in [&empty, &nowhere] {
            let (code, said) = deepbendd(folder, &work);
            assert_eq!(code, Some(74), "{said}");
            assert!(said.contains("holds no store"), "{said}");
        }
    }
    assert!(!nowhere.exists());
    let left: Vec<_> = fs::read_dir(&empty).unwrap().map(|e| e.unwrap().file_name()).collect();
    assert_eq!(left.len(), 0, "an empty folder stays empty: {left:?}");
}

// Common practice, no source: a lost file ends in a store that works, and in a cure.
#[tokio::test]
async fn a_store_that_lost_its_file_is_told_with_its_cure_and_begins_anew() {
    let data = tempfile::tempdir().unwrap();
    let running = start_on(data.path()).await;
    import(&running, "R1", true).await;
    let before = state(&running).await;
    running.end().await;
    fs::remove_file(data.path().join("db")).unwrap();
    let running = start_on(data.path()).await;
    let trouble = state(&running).await.store_trouble;
    assert!(trouble.contains("db is missing; nothing can be read"), "{trouble}");
    let cure = format!("`deepbendd --data {} repair`", data.path().display());
    assert!(trouble.contains(&cure), "{trouble}");
    running.end().await;
    let (code, said) = deepbendd(data.path(), &["repair".as_ref()]);
    assert_eq!(code, Some(0), "{said}");
    for part in ["nothing could be read", "Leave device.key", "deepbend sync", "restore a backup"] {
        assert!(said.contains(part), "{part}: {said}");
    }
    let running = start_on(data.path()).await;
    let after = state(&running).await;
    assert_eq!((after.event_count, after.store_trouble.as_str()), (0, ""));
    assert_eq!(after.key, before.key, "the key stays");
    import(&running, "R2", true).await;
    assert_ne!(state(&running).await.tips[0].incarnation, before.tips[0].incarnation);
    running.end().await;
}

// Common practice, no source: neither a lost file nor a restore opens a fleet to everybody.
#[tokio::test]
async fn a_founder_outlives_its_file_and_a_restore() {
    let (data, other) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let running = start_on(data.path()).await;
    let own = state(&running).await;
    running.end().await;
    let file = other.path().join("evening.backup");
    let (open, fresh) = (other.path().join("open.backup"), other.path().join("restored"));
    let (code, said) = deepbendd(data.path(), &["backup".as_ref(), open.as_ref()]);
    assert_eq!(code, Some(0), "{said}");
    let key = own.key.clone().try_into().unwrap();
    let device = deepbend_ledger::id::Id::new(own.device_id.as_str()).unwrap();
    let founder = deepbend_ledger::fold::Founder { device, key };
    let config = Config { data: Some(data.path().to_owned()), ..Config::default() };
    start(Config { founder: Some(founder), ..config }).await.end().await;
    fs::remove_file(data.path().join("founder")).unwrap();
    let running = start_on(data.path()).await;
    assert_eq!(state(&running).await.founder_id, own.device_id);
    running.end().await;

    let (code, said) = deepbendd(data.path(), &["backup".as_ref(), file.as_ref()]);
    assert_eq!(code, Some(0), "{said}");
    let (code, said) = deepbendd(&fresh, &["restore".as_ref(), file.as_ref()]);
    assert_eq!(code, Some(0), "{said}");
    assert!(said.contains(&format!("founder of its fleet is {}", own.device_id)), "{said}");
    let running = start_on(&fresh).await;
    assert_eq!(state(&running).await.founder_id, own.device_id);
    running.end().await;
    let (code, said) =
        deepbendd(&other.path().join("second"), &["restore".as_ref(), open.as_ref()]);
    assert_eq!(code, Some(0), "{said}");
    assert!(said.contains("names no founder") && said.contains("--founder"), "{said}");
}
