//! Backups while others write, verified, restored; compaction and what a crash in it leaves.
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};

use deepbend_store::backup::{self, BackupError};
use deepbend_store::{
    Condition, Expect, MemoryStore, Row, SledOptions, SledStore, Store, StoreError, Tree, Write,
};

const OPTIONS: SledOptions = SledOptions { free_floor_bytes: 0, cache_bytes: 16 * 1024 * 1024 };
const TREES: [Tree; 3] = [Tree(0), Tree(1), Tree(0xff)];

fn open(folder: &Path) -> SledStore {
    SledStore::open(folder, OPTIONS).unwrap()
}

fn write(tree: Tree, key: &[u8], value: Option<&[u8]>) -> Write {
    let value = value.map(<[u8]>::to_vec);
    Write { tree, key: key.to_vec(), expect: Expect::Any, value }
}

/// Sets, overwrites and removes, with keys of every awkward kind.
fn step(store: &dyn Store, n: u64) {
    let keys: [&[u8]; 5] = [b"", b"\x00", b"\xff", b"a", &(n % 50).to_be_bytes()];
    let value = n.to_be_bytes();
    let writes = TREES
        .iter()
        .zip(keys.iter().cycle().skip(n as usize % 5))
        .map(|(tree, key)| write(*tree, key, (n % 7 != 3).then_some(&value)));
    store.commit(writes.collect()).unwrap();
}

/// The rows as the feed says that they were after a commit; the feed must begin at 1.
fn rows_at(store: &dyn Store, head: u64) -> BTreeMap<(Tree, Vec<u8>), (u64, Vec<u8>)> {
    let mut rows = BTreeMap::new();
    for commit in store.changes(0, head as usize).unwrap() {
        for change in commit.changes {
            match change.value {
                Some(value) => rows.insert((change.tree, change.key), (commit.seq, value)),
                None => rows.remove(&(change.tree, change.key)),
            };
        }
    }
    rows
}

fn rows(store: &dyn Store) -> BTreeMap<(Tree, Vec<u8>), (u64, Vec<u8>)> {
    let mut all = BTreeMap::new();
    for tree in TREES {
        let rows = store.scan(tree, b"", None, usize::MAX).unwrap();
        all.extend(
            rows.into_iter()
                .map(|Row { key, value, written_by }| ((tree, key), (written_by, value))),
        );
    }
    all
}

#[test]
fn a_backup_while_others_write_is_one_point_in_time_and_comes_back() {
    let folder = tempfile::tempdir().unwrap();
    let store = open(folder.path());
    (1..=200).for_each(|n| step(&store, n));
    let done = AtomicBool::new(false);
    let mut backups = Vec::new();
    std::thread::scope(|scope| {
        scope.spawn(|| {
            let mut n = 200;
            while !done.load(Ordering::SeqCst) {
                n += 1;
                step(&store, n);
            }
        });
        for _ in 0..5 {
            // On a busy machine the other thread may not have come to write yet.
            let before = backups.last().map_or(200, |(_, last): &(_, backup::Summary)| last.head);
            while store.head().unwrap() <= before {
                std::thread::yield_now();
            }
            let mut stream = Vec::new();
            let summary = backup::backup(&store, &mut stream).unwrap();
            backups.push((stream, summary));
        }
        done.store(true, Ordering::SeqCst);
    });
    assert!(backups[4].1.head > backups[0].1.head, "nobody wrote meanwhile");
    for (stream, summary) in &backups {
        assert_eq!(backup::verify(&mut stream.as_slice()).unwrap(), *summary);
        assert_eq!(summary.bytes, stream.len() as u64);
        let target = tempfile::tempdir().unwrap();
        SledStore::restore(target.path(), OPTIONS, &mut stream.as_slice()).unwrap();
        let memory = MemoryStore::restore(&mut stream.as_slice()).unwrap();
        let sled = open(target.path());
        for restored in [&sled as &dyn Store, &memory] {
            assert_eq!(restored.condition(), Condition::Sound);
            assert_eq!(restored.head(), Ok(summary.head + 1), "the mark is a commit");
            assert_eq!(rows(restored), rows_at(&store, summary.head));
            let feed = restored.changes(0, summary.head as usize).unwrap();
            assert_eq!(feed, store.changes(0, summary.head as usize).unwrap());
            let mark = backup::restored(restored).unwrap().unwrap();
            assert!(mark.further > 0, "it begins another incarnation");
            restored.commit(vec![backup::heed(&mark)]).unwrap();
            assert_eq!(backup::restored(restored).unwrap(), None);
        }
    }
}

#[test]
fn a_trimmed_store_comes_back_trimmed() {
    let store = MemoryStore::new();
    (1..=60).for_each(|n| step(&store, n));
    store.trim(40).unwrap();
    let mut stream = Vec::new();
    let summary = backup::backup(&store, &mut stream).unwrap();
    assert_eq!((summary.head, summary.floor), (60, 40));
    let target = tempfile::tempdir().unwrap();
    SledStore::restore(target.path(), OPTIONS, &mut stream.as_slice()).unwrap();
    let restored = open(target.path());
    assert_eq!(rows(&restored), rows(&store));
    assert_eq!(restored.changes(39, 1), Err(StoreError::Trimmed { floor: 40 }));
    assert_eq!(restored.changes(40, 20), store.changes(40, 20));
}

// Source: CRC-32 finds every single flipped bit (Koopman and Chakravarty 2004).
#[test]
fn a_damaged_or_cut_backup_is_refused_with_the_place() {
    let store = MemoryStore::new();
    (1..=9).for_each(|n| step(&store, n));
    let mut stream = Vec::new();
    backup::backup(&store, &mut stream).unwrap();
    let refused = |stream: &[u8]| {
        let error = backup::verify(&mut &*stream).unwrap_err();
        assert!(matches!(error, BackupError::Damaged { .. }), "{error}");
    };
    for at in 0..stream.len() {
        refused(&stream[..at]);
        stream[at] ^= 1 << (at % 8);
        refused(&stream);
        stream[at] ^= 1 << (at % 8);
    }
    refused(&[&stream[..], b"more"].concat());
    let target = tempfile::tempdir().unwrap();
    let cut = SledStore::restore(target.path(), OPTIONS, &mut &stream[..99]).unwrap_err();
    assert!(cut.to_string().contains("ends too early"), "{cut}");
    assert_eq!(fs::read_dir(target.path()).unwrap().count(), 0, "nothing was begun");
}

#[test]
fn a_restore_wants_an_empty_folder_and_a_broken_off_one_is_told() {
    let store = MemoryStore::new();
    step(&store, 1);
    let mut stream = Vec::new();
    backup::backup(&store, &mut stream).unwrap();
    let folder = tempfile::tempdir().unwrap();
    step(&open(folder.path()), 1);
    let error = SledStore::restore(folder.path(), OPTIONS, &mut stream.as_slice()).unwrap_err();
    assert!(error.to_string().contains("not empty"), "{error}");
    let half = tempfile::tempdir().unwrap();
    fs::create_dir(half.path().join("engine-1.unfinished")).unwrap();
    let error = SledStore::open(half.path(), OPTIONS).unwrap_err();
    assert!(error.to_string().contains("restore did not end"), "{error}");
}

/// A folder that lost the small file beside its engine is no broken-off restore, and nobody is
/// told to empty it.
///
/// Common practice, no source: files are lost one by one.
#[test]
fn a_store_that_lost_the_name_of_its_engine_is_read_and_put_together_again() {
    let folder = tempfile::tempdir().unwrap();
    let store = open(folder.path());
    for n in 0..40 {
        step(&store, n);
    }
    let mut stream = Vec::new();
    backup::backup(&store, &mut stream).unwrap();
    let restored = tempfile::tempdir().unwrap();
    SledStore::restore(restored.path(), OPTIONS, &mut stream.as_slice()).unwrap();
    let all = rows(&open(restored.path()));
    fs::remove_file(restored.path().join("engine")).unwrap();
    // A compaction that was cut off is no newer store.
    fs::create_dir(restored.path().join("engine-9.unfinished")).unwrap();
    let store = open(restored.path());
    let Condition::ReadOnly(error) = store.condition() else { panic!("it is taken for sound") };
    assert!(error.to_string().contains("engine-1"), "{error}");
    assert_eq!(rows(&store), all);
    drop(store);
    let repair = SledStore::repair(restored.path(), OPTIONS).unwrap().unwrap();
    assert_eq!((repair.lost, repair.unsure), (Vec::new(), false));
    let store = open(restored.path());
    assert_eq!(store.condition(), Condition::Sound);
    assert_eq!(rows(&store), all);
    drop(store);

    fs::remove_file(restored.path().join("engine")).unwrap();
    for engine in ["engine-1", "engine-2"] {
        fs::remove_dir_all(restored.path().join(engine)).unwrap();
    }
    fs::create_dir(restored.path().join("engine-11.unfinished")).unwrap();
    let store = open(restored.path());
    let Condition::ReadOnly(error) = store.condition() else { panic!("it is taken for new") };
    assert!(error.to_string().contains("`db` is missing"), "{error}");
}

#[test]
fn compaction_keeps_everything_and_gives_space_back() {
    let folder = tempfile::tempdir().unwrap();
    let store = open(folder.path());
    let large = vec![7; 8000];
    for n in 0_u64..1500 {
        let key = (n % 20).to_be_bytes();
        store.commit(vec![write(Tree(1), &key, Some(&large))]).unwrap();
    }
    store.trim(1400).unwrap();
    let (all, feed) = (rows(&store), store.changes(1400, 100).unwrap());
    drop(store);
    for round in 0..2 {
        let done = SledStore::compact(folder.path(), OPTIONS).unwrap();
        if round == 0 {
            assert!(done.after_bytes < done.before_bytes / 2, "{done:?}");
        }
        let store = open(folder.path());
        assert_eq!(store.condition(), Condition::Sound);
        assert_eq!(store.head(), Ok(1500));
        assert_eq!(rows(&store), all);
        assert_eq!(store.changes(1400, 100).unwrap(), feed);
        assert_eq!(backup::restored(&store).unwrap(), None, "it is the same store");
    }
    assert!(!folder.path().join("db").exists());
    let engines = fs::read_dir(folder.path()).unwrap().filter(|entry| {
        entry.as_ref().unwrap().file_name().to_str().unwrap().starts_with("engine-")
    });
    assert_eq!(engines.count(), 1, "the old ones are gone");
    let store = open(folder.path());
    let held = SledStore::compact(folder.path(), OPTIONS).unwrap_err();
    assert!(matches!(held, StoreError::Locked { .. }), "{held}");
    step(&store, 1);
}

/// What a crash in a compaction can leave: a copy that is not whole, or one that does not count
/// yet. The old engine counts, and the next compaction clears up.
#[test]
fn a_compaction_that_broke_off_changes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let store = open(folder.path());
    (1..=30).for_each(|n| step(&store, n));
    let all = rows(&store);
    drop(store);
    fs::create_dir(folder.path().join("engine-1.unfinished")).unwrap();
    fs::write(folder.path().join("engine-1.unfinished/db"), b"half").unwrap();
    fs::create_dir(folder.path().join("engine-2")).unwrap();
    fs::write(folder.path().join("engine.new"), b"half").unwrap();
    assert_eq!(rows(&open(folder.path())), all);
    SledStore::compact(folder.path(), OPTIONS).unwrap();
    assert_eq!(rows(&open(folder.path())), all);
    assert!(!folder.path().join("engine-1.unfinished").exists());
    // A name that cannot be read is damage, not a new store.
    fs::write(folder.path().join("engine"), b"nonsense").unwrap();
    let store = open(folder.path());
    assert!(matches!(store.condition(), Condition::ReadOnly(StoreError::Corrupt(_))));
    assert_eq!(rows(&store), all);
}
