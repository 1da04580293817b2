//! Damage in every record of a store, cut files, foreign holders, disks that are full or read-only:
//! each is told, nothing that can still be read is lost, and no file is changed.
//!
//! Source of the cases: measured behaviour of sled 0.34.7, which drops, zeroes or panics on them.
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]
#![allow(clippy::disallowed_methods, reason = "the test mounts file systems")]

use std::fs;
use std::os::unix::fs::FileExt;
use std::path::Path;
use std::process::Command;
use std::thread;
use std::time::Duration;

use deepbend_store::{
    Change, Commit, Condition, Expect, Row, SledOptions, SledStore, Store, StoreError, Tree, Write,
};

const TREE: Tree = Tree(1);
const RECORDS: u64 = 200;
const OPTIONS: SledOptions = SledOptions { free_floor_bytes: 0, cache_bytes: 16 * 1024 * 1024 };

fn key(n: u64) -> Vec<u8> {
    format!("key {n}").into_bytes()
}

/// Found in the file by what it begins with.
fn value(n: u64) -> Vec<u8> {
    format!("<value {n:04}> {}", "x".repeat(n as usize % 90)).into_bytes()
}

fn open(folder: &Path) -> SledStore {
    SledStore::open(folder, OPTIONS).unwrap()
}

fn fill(store: &dyn Store, records: u64) {
    for n in 1..=records {
        let write =
            Write { tree: TREE, key: key(n), expect: Expect::Absent, value: Some(value(n)) };
        assert_eq!(store.commit(vec![write]), Ok(n));
    }
}

fn filled() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    fill(&open(folder.path()), RECORDS);
    folder
}

fn row(n: u64) -> Row {
    Row { key: key(n), value: value(n), written_by: n }
}

fn commit(seq: u64) -> Commit {
    let change = Change { tree: TREE, key: key(seq), value: Some(value(seq)) };
    Commit { seq, changes: vec![change] }
}

/// All rows, in the order of their commits.
fn rows(store: &dyn Store) -> Vec<Row> {
    let mut rows = store.scan(TREE, b"", None, usize::MAX).unwrap();
    rows.sort_by_key(|row| row.written_by);
    rows
}

/// Where the records of a value stand in a file.
fn places(bytes: &[u8], n: u64) -> Vec<usize> {
    let begin = format!("<value {n:04}>").into_bytes();
    (0..bytes.len() - begin.len()).filter(|at| bytes[*at..].starts_with(&begin)).collect()
}

/// A copy of a folder with another file of the engine.
fn with_db(folder: &Path, db: &[u8]) -> tempfile::TempDir {
    let copy = tempfile::tempdir().unwrap();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_file() {
            fs::copy(&path, copy.path().join(path.file_name().unwrap())).unwrap();
        }
    }
    fs::write(copy.path().join("db"), db).unwrap();
    copy
}

fn damage(store: &SledStore) -> String {
    let condition = store.condition();
    let Condition::ReadOnly(StoreError::Corrupt(text)) = condition else { panic!("{condition:?}") };
    text
}

#[test]
fn a_flipped_bit_in_any_record_costs_nothing_and_is_told() {
    let folder = filled();
    let good = fs::read(folder.path().join("db")).unwrap();
    let all: Vec<_> = (1..=RECORDS).map(row).collect();
    let feed: Vec<_> = (1..=RECORDS).map(commit).collect();
    let mut told = 0;
    for n in 1..=RECORDS {
        let places = places(&good, n);
        assert!(places.len() >= 2, "row and feed");
        for at in [places[0], places[places.len() - 1]] {
            let mut bad = good.clone();
            bad[at + 3] ^= 1 << (n % 8);
            let copy = with_db(folder.path(), &bad);
            let store = open(copy.path());
            // A flip in a copy that was replaced since, or in the last group, may be harmless; the
            // engine must then still have everything.
            if store.condition() != Condition::Sound {
                told += 1;
                let text = damage(&store);
                assert!(text.ends_with("; all commits up to 200 can still be read"), "{n}: {text}");
                let write = Write { tree: TREE, key: key(n), expect: Expect::Any, value: None };
                assert_eq!(store.commit(vec![write]), Err(StoreError::Corrupt(text)));
                assert_eq!(fs::read(copy.path().join("db")).unwrap(), bad, "it stays as it is");
            }
            assert!(rows(&store) == all, "{n} at {at}");
            assert!(store.changes(0, usize::MAX).unwrap() == feed, "{n} at {at}");
        }
    }
    assert!(told >= 2 * RECORDS - 4, "only {told} flips were told");
}

/// Only a small file beside the engine's own is damaged: that one is named, and not the other.
#[test]
fn the_file_that_is_damaged_is_named() {
    let folder = filled();
    drop(open(folder.path()));
    // A store that was compacted has a file that names its engine.
    let compacted = filled();
    SledStore::compact(compacted.path(), OPTIONS).unwrap();
    let beside: Vec<_> = fs::read_dir(folder.path()).unwrap().map(|e| e.unwrap().path()).collect();
    let snapshot = beside.iter().find(|path| path.to_str().unwrap().contains("/snap.")).unwrap();
    let [note, conf, name] = ["acknowledged", "conf", "engine"];
    let cases = [
        (folder.path().join(note), RECORDS),
        (folder.path().join(conf), RECORDS),
        (snapshot.clone(), RECORDS),
        (compacted.path().join(name), RECORDS),
    ];
    for (path, head) in cases {
        let good = fs::read(&path).unwrap();
        let mut bad = good.clone();
        bad[good.len() / 2] ^= 0x55;
        fs::write(&path, bad).unwrap();
        let text = damage(&open(path.parent().unwrap()));
        let place = format!("{} is damaged;", path.display());
        assert!(text.starts_with(&place), "{text}");
        assert!(text.ends_with(&format!("all commits up to {head} can still be read")), "{text}");
        fs::write(&path, good).unwrap();
    }
}

/// The file of the engine is gone, or its whole folder: nothing can be read, and that is told. A
/// repair keeps what is there and ends in a store that goes on under numbers of its own.
#[test]
fn a_store_whose_engine_is_gone_begins_anew() {
    for (compacted, whole) in [(false, false), (true, false), (true, true)] {
        let folder = filled();
        if compacted {
            SledStore::compact(folder.path(), OPTIONS).unwrap();
        }
        let engine = if compacted { folder.path().join("engine-1") } else { folder.path().into() };
        if whole {
            fs::remove_dir_all(&engine).unwrap();
        } else {
            fs::remove_file(engine.join("db")).unwrap();
        }
        let store = open(folder.path());
        let text = damage(&store);
        let missing = format!("{} is missing; nothing can be read", engine.join("db").display());
        assert!(text.starts_with(&missing), "{text}");
        drop(store);
        let before: Vec<_> =
            fs::read_dir(folder.path()).unwrap().map(|e| e.unwrap().file_name()).collect();
        let repair = SledStore::repair(folder.path(), OPTIONS).unwrap().unwrap();
        assert!(repair.empty && repair.lost.len() as u64 == RECORDS, "{repair:?}");
        assert!(before.iter().all(|name| folder.path().join(name).exists()), "{before:?}");
        let store = open(folder.path());
        assert_eq!(store.condition(), Condition::Sound);
        assert_eq!(store.head(), Ok(RECORDS + 1), "its commits go on where the lost ones ended");
        assert!(store.scan(TREE, b"", None, 9).unwrap().is_empty());
        assert!(deepbend_store::backup::restored(&store).unwrap().is_some());
        drop(store);
        assert_eq!(SledStore::repair(folder.path(), OPTIONS), Ok(None), "it is sound now");
    }
}

#[test]
fn a_file_cut_in_any_record_keeps_what_is_before_the_cut() {
    let folder = filled();
    let good = fs::read(folder.path().join("db")).unwrap();
    for n in 1..=RECORDS {
        let at = places(&good, n)[0] + 5;
        let copy = with_db(folder.path(), &good[..at]);
        let store = open(copy.path());
        let text = damage(&store);
        assert!(text.contains("lost"), "{text}");
        assert_eq!(store.head(), Ok(RECORDS), "the last acknowledged one is known");
        let (left, right): (Vec<_>, Vec<_>) = (rows(&store), (1..n).map(row).collect());
        assert!(left == right, "cut in {n}: {} rows, {:?}", left.len(), left.last());
        let before = usize::try_from(n - 1).unwrap();
        assert_eq!(store.changes(0, before).unwrap(), (1..n).map(commit).collect::<Vec<_>>());
        assert!(matches!(store.changes(n - 1, 1), Err(StoreError::Corrupt(_))));
        assert!(matches!(store.get(TREE, &key(n)), Err(StoreError::Corrupt(_))));
        assert_eq!(fs::read(copy.path().join("db")).unwrap(), &good[..at]);
    }
}

/// A power cut leaves a prefix of what was written, and the note of the last commit behind it:
/// every prefix opens, and holds the first commits, whole.
#[test]
fn every_prefix_of_the_log_opens() {
    let folder = filled();
    let good = fs::read(folder.path().join("db")).unwrap();
    fs::remove_file(folder.path().join("acknowledged")).unwrap();
    let mut reached = 0;
    for length in (0..good.len()).step_by(331).chain([good.len()]) {
        let copy = with_db(folder.path(), &good[..length]);
        let store = open(copy.path());
        assert_eq!(store.condition(), Condition::Sound, "{length} bytes");
        let head = store.head().unwrap();
        assert_eq!(rows(&store), (1..=head).map(row).collect::<Vec<_>>(), "{length} bytes");
        assert!(head >= reached, "{length} bytes");
        reached = head;
    }
    assert_eq!(reached, RECORDS);
}

#[test]
fn damage_anywhere_in_the_folder_is_harmless_or_told() {
    let folder = filled();
    // Opened again, so that there is a snapshot; and a little more written.
    let store = open(folder.path());
    store.trim(5).unwrap();
    drop(store);
    let mut files = Vec::new();
    for name in fs::read_dir(folder.path()).unwrap() {
        let path = name.unwrap().path();
        let name = path.file_name().unwrap().to_str().unwrap().to_owned();
        if name != "holder" && path.is_file() {
            files.push((name, fs::read(path).unwrap()));
        }
    }
    assert!(files.iter().any(|(name, _)| name.starts_with("snap.")));
    let db = &files.iter().find(|(name, _)| name == "db").unwrap().1;
    for (name, good) in &files {
        let steps = if name == "db" { 101 } else { 61 };
        for step in 0..steps {
            let at = if name == "db" { step * 997 } else { step % good.len() };
            if at >= good.len() {
                continue;
            }
            let copy = with_db(folder.path(), db);
            let file = fs::File::options().write(true).open(copy.path().join(name)).unwrap();
            file.write_all_at(&[good[at] ^ (1 << (step % 8))], at as u64).unwrap();
            let store = open(copy.path());
            let all: Vec<_> = (1..=RECORDS).map(row).collect();
            if store.condition() == Condition::Sound {
                assert!(rows(&store) == all, "{name} at {at}: sound, but not whole");
                continue;
            }
            // Rows that the feed has forgotten stand on the disk once; whatever else is hit is told
            // twice.
            let text = damage(&store);
            let left = rows(&store);
            assert!(left.iter().all(|row| all.contains(row)), "{name} at {at}: {text}");
            assert!(left.ends_with(&all[5..]), "{name} at {at}: {text}");
            let told = text.contains("up to 5 may be lost");
            assert!(left == all || told, "{name} at {at}: {text}");
        }
    }
}

/// A row that the feed has forgotten may stand on the disk once: one bit that is flipped there is
/// found out by the engine's checksum; if more is wrong, the row is missed and told.
#[test]
fn a_row_that_the_feed_has_forgotten_is_missed() {
    let folder = filled();
    let store = open(folder.path());
    store.trim(RECORDS).unwrap();
    drop(store);
    // A fresh engine has hardly any older pages in its file.
    SledStore::compact(folder.path(), OPTIONS).unwrap();
    let db = folder.path().join("engine-1/db");
    let mut bytes = fs::read(&db).unwrap();
    let once = (1..=RECORDS).map(|n| (n, places(&bytes, n)));
    let (n, at) = once.into_iter().find(|(_, at)| at.len() == 1).unwrap();
    bytes[at[0]] ^= 1;
    fs::write(&db, &bytes).unwrap();
    let store = open(folder.path());
    assert!(damage(&store).contains("up to 200 can still be read"), "{}", damage(&store));
    assert_eq!(store.get(TREE, &key(n)), Ok(Some(row(n))));
    drop(store);
    bytes[at[0]] ^= 2;
    fs::write(&db, &bytes).unwrap();
    let store = open(folder.path());
    assert!(damage(&store).contains("up to 200 may be lost"), "{}", damage(&store));
    assert!(matches!(store.get(TREE, &key(n)), Err(StoreError::Corrupt(_))));
    let other = if n == 3 { 4 } else { 3 };
    assert_eq!(store.get(TREE, &key(other)), Ok(Some(row(other))));
    assert_eq!(rows(&store).len() as u64, RECORDS - 1);
    assert_eq!(fs::read(&db).unwrap(), bytes);
}

#[test]
fn missing_files_are_told() {
    for (name, told) in [("db", "is missing"), ("acknowledged", "")] {
        let folder = filled();
        fs::remove_file(folder.path().join(name)).unwrap();
        let store = open(folder.path());
        match told {
            "" => assert_eq!(rows(&store).len() as u64, RECORDS),
            told => assert!(damage(&store).contains(told), "{}", damage(&store)),
        }
    }
}

/// Mounts a file system of its own; `None`, loudly, where that is not allowed.
struct Mount(tempfile::TempDir);

impl Mount {
    fn new(megabytes: u32) -> Option<Self> {
        let place = tempfile::tempdir().unwrap();
        let size = format!("size={megabytes}m");
        let mounted = Command::new("mount")
            .args(["-t", "tmpfs", "-o", &size, "tmpfs"])
            .arg(place.path())
            .status();
        if mounted.is_ok_and(|status| status.success()) {
            return Some(Self(place));
        }
        // The twin in the engine's own tests tells free space as it likes; it needs no rights.
        eprintln!("SKIPPED: no file system can be mounted here");
        None
    }

    fn remount(&self, how: &str) {
        let how = format!("remount,{how}");
        let mut remount = Command::new("mount");
        remount.args(["-o", &how]).arg(self.0.path());
        // While sled's threads hold its file for a moment longer the place is busy.
        let mut tries = 0;
        while !remount.status().unwrap().success() {
            tries += 1;
            assert!(tries < 100, "{how}");
            thread::sleep(Duration::from_millis(100));
        }
    }
}

impl Drop for Mount {
    fn drop(&mut self) {
        // Lazily: sled's threads may hold its file for a moment longer.
        let _ = Command::new("umount").arg("-l").arg(self.0.path()).status();
    }
}

#[test]
fn a_full_disk_is_read_also_when_it_is_opened_and_goes_on_when_there_is_space() {
    let Some(mount) = Mount::new(64) else { return };
    let folder = mount.0.path().join("store");
    let options = SledOptions { free_floor_bytes: 8 * 1024 * 1024, ..OPTIONS };
    let store = SledStore::open(&folder, options).unwrap();
    fill(&store, 50);
    let all: Vec<_> = (1..=50).map(row).collect();
    // Somebody else fills the disk.
    let ballast = mount.0.path().join("ballast");
    let mut megabytes = 0;
    let piece = vec![1; 1024 * 1024];
    let file = fs::File::create(&ballast).unwrap();
    while file.write_all_at(&piece, megabytes * 1024 * 1024).is_ok() {
        megabytes += 1;
    }
    let write = Write { tree: TREE, key: key(51), expect: Expect::Absent, value: Some(value(51)) };
    assert!(matches!(store.commit(vec![write.clone()]), Err(StoreError::Full { .. })));
    assert!(matches!(store.condition(), Condition::ReadOnly(StoreError::Full { .. })));
    assert_eq!(rows(&store), all);
    drop(store);
    let store = SledStore::open(&folder, options).unwrap();
    assert!(matches!(store.condition(), Condition::ReadOnly(StoreError::Full { .. })));
    assert!(matches!(store.commit(vec![write.clone()]), Err(StoreError::Full { .. })));
    assert_eq!(rows(&store), all);
    assert_eq!(store.changes(0, 50).unwrap().len(), 50);
    drop(file);
    fs::remove_file(&ballast).unwrap();
    assert_eq!(store.commit(vec![write]), Ok(51));
    assert_eq!(store.condition(), Condition::Sound);
    assert_eq!(rows(&store).len(), 51);
}

#[test]
fn a_read_only_folder_is_read() {
    let Some(mount) = Mount::new(64) else { return };
    let folder = mount.0.path().join("store");
    fill(&open(&folder), 50);
    mount.remount("ro");
    let store = open(&folder);
    let Condition::ReadOnly(StoreError::Unavailable(text)) = store.condition() else {
        panic!("{:?}", store.condition())
    };
    assert!(text.contains("only reading is possible"), "{text}");
    assert_eq!(rows(&store), (1..=50).map(row).collect::<Vec<_>>());
    let empty = SledStore::open(&mount.0.path().join("other"), OPTIONS).unwrap_err();
    assert!(matches!(empty, StoreError::Unavailable(_)), "{empty}");
    drop(store);
    mount.remount("rw");
    assert_eq!(open(&folder).condition(), Condition::Sound);
}
