//! What a disk can do to the engine: fail to sync, run full, hold damaged records.

use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex};

use super::*;
use crate::api::Expect;
use crate::record;

const TREE: Tree = Tree(1);

/// A disk that fails when told to.
struct TrickDisk {
    real: DbFile,
    syncs_left: Arc<AtomicU64>,
    free: Arc<AtomicU64>,
}

impl Disk for TrickDisk {
    fn flush(&mut self, db: &sled::Db) -> std::io::Result<()> {
        if self.syncs_left.fetch_sub(1, Ordering::SeqCst) == 0 {
            return Err(std::io::Error::other("the device is gone"));
        }
        self.real.flush(db)
    }

    fn free_bytes(&self) -> std::io::Result<u64> {
        Ok(self.free.load(Ordering::SeqCst))
    }

    fn used_bytes(&self) -> std::io::Result<u64> {
        self.real.used_bytes()
    }

    fn note(&mut self, head: Seq) -> std::io::Result<()> {
        self.real.note(head)
    }
}

fn open_tricked(folder: &Path, syncs: u64, free: u64) -> (SledStore, Arc<AtomicU64>) {
    let free = Arc::new(AtomicU64::new(free));
    let disk_free = Arc::clone(&free);
    let store = SledStore::open_on(folder, SledOptions::default(), |engine| {
        let syncs_left = Arc::new(AtomicU64::new(syncs));
        let real = DbFile::open(folder, engine)?;
        Ok(Box::new(TrickDisk { real, syncs_left, free: disk_free }))
    });
    (store.unwrap(), free)
}

fn live(store: &SledStore) -> Arc<Live> {
    match store.engine() {
        Engine::Live(live) => live,
        Engine::Still(still) => panic!("{}", still.why()),
    }
}

fn put(key: &str) -> Vec<Write> {
    let value = Some(b"value".to_vec());
    vec![Write { tree: TREE, key: key.into(), expect: Expect::Any, value }]
}

// Source: the rule that an acknowledged commit was synced (semantics 2 and 7 of the trait).
#[test]
fn a_failed_sync_answers_unknown_and_ends_the_store() {
    let folder = tempfile::tempdir().unwrap();
    // One sync for the marks of a new store, one for the first commit.
    let (store, _) = open_tricked(folder.path(), 2, u64::MAX);
    assert_eq!(store.commit(put("a")), Ok(1));
    assert!(matches!(store.commit(put("b")), Err(StoreError::Unknown(_))));
    assert!(matches!(store.commit(put("c")), Err(StoreError::Unavailable(_))));
    assert!(matches!(store.get(TREE, b"a"), Err(StoreError::Unavailable(_))));
    assert!(matches!(store.scan(TREE, b"", None, 9), Err(StoreError::Unavailable(_))));
    assert!(matches!(store.changes(0, 9), Err(StoreError::Unavailable(_))));
    assert!(matches!(store.trim(1), Err(StoreError::Unavailable(_))));
    assert!(matches!(store.head(), Err(StoreError::Unavailable(_))));
    drop(store);
    let store = SledStore::open(folder.path(), SledOptions::default()).unwrap();
    assert!(store.get(TREE, b"a").unwrap().is_some());
    assert!(store.get(TREE, b"c").unwrap().is_none());
}

// Source: measured: an engine that met a full disk spun while closing, so it must not meet one.
#[test]
fn below_the_floor_nothing_is_written_and_reading_goes_on() {
    let folder = tempfile::tempdir().unwrap();
    let floor_bytes = SledOptions::default().free_floor_bytes;
    let (store, free) = open_tricked(folder.path(), u64::MAX, floor_bytes);
    assert_eq!(store.commit(put("a")), Ok(1));
    free.store(floor_bytes - 1, Ordering::SeqCst);
    let full = StoreError::Full { free_bytes: floor_bytes - 1, floor_bytes };
    assert_eq!(store.commit(put("b")), Err(full.clone()));
    assert_eq!(store.trim(1), Err(full));
    assert!(store.get(TREE, b"a").unwrap().is_some());
    free.store(floor_bytes, Ordering::SeqCst);
    assert_eq!(store.commit(put("b")), Ok(2));
}

// Source: semantics: a damaged record is an error, never a missing row (own rule).
#[test]
fn a_damaged_record_is_an_error_and_never_a_missing_row() {
    let folder = tempfile::tempdir().unwrap();
    let store = SledStore::open(folder.path(), SledOptions::default()).unwrap();
    for key in ["a", "b", "c"] {
        store.commit(put(key)).unwrap();
    }
    let key = record::row_key(TREE, b"b");
    let good = live(&store).shared.db.get(&key).unwrap().unwrap();
    let mut bad = good.to_vec();
    bad[9] ^= 1;
    live(&store).shared.db.insert(&key, bad).unwrap();
    let damaged = |error: StoreError| {
        assert!(error.to_string().contains("tree 1, key b"), "{error}");
    };
    damaged(store.get(TREE, b"b").unwrap_err());
    damaged(store.scan(TREE, b"", None, 9).unwrap_err());
    let expect_absent = Write { expect: Expect::Absent, ..put("b").remove(0) };
    damaged(store.commit(vec![expect_absent]).unwrap_err());
    assert!(store.get(TREE, b"a").unwrap().is_some());
    assert_eq!(store.scan(TREE, b"", Some(b"b"), 9).unwrap().len(), 1);

    live(&store).shared.db.insert(&key, good).unwrap();
    live(&store).shared.db.remove(record::log_key(2, 0)).unwrap();
    let error = store.changes(0, 9).unwrap_err();
    assert!(matches!(&error, StoreError::Corrupt(text) if text.contains("commit 2")), "{error}");
    assert_eq!(store.changes(2, 9).unwrap().len(), 1);
}

fn refused(store: &SledStore) -> String {
    let Condition::ReadOnly(StoreError::Corrupt(text)) = store.condition() else {
        panic!("{:?}", store.condition())
    };
    assert_eq!(store.commit(put("z")), Err(StoreError::Corrupt(text.clone())));
    assert_eq!(store.trim(1), Err(StoreError::Corrupt(text.clone())));
    text
}

#[test]
fn a_store_without_its_marks_is_read_only() {
    let folder = tempfile::tempdir().unwrap();
    let store = SledStore::open(folder.path(), SledOptions::default()).unwrap();
    store.commit(put("a")).unwrap();
    live(&store).shared.db.remove(record::HEAD).unwrap();
    drop(store);
    let store = SledStore::open(folder.path(), SledOptions::default()).unwrap();
    assert!(refused(&store).contains("the number of the last commit is missing"));
    assert_eq!(store.head(), Ok(1));
    assert!(store.get(TREE, b"a").unwrap().is_some());
}

/// What sled would drop without a word: a row or an entry of the feed that is gone, whole. Each is
/// found when the store is opened, and is there again from the other. Of the feed that is one
/// change, several, and some of a commit that takes more than one record.
#[test]
fn a_record_that_vanished_is_missed_and_put_together_again() {
    let log_keys = [(2, 0), (4, 0), (5, 1)].map(|(seq, index)| record::log_key(seq, index));
    let gone = [record::row_key(TREE, b"b")].into_iter().chain(log_keys);
    for key in gone {
        let folder = tempfile::tempdir().unwrap();
        let store = SledStore::open(folder.path(), SledOptions::default()).unwrap();
        for key in ["a", "b", "c"] {
            store.commit(put(key)).unwrap();
        }
        store.commit([put("d"), put("e")].concat()).unwrap();
        let large = |key| Write { value: Some(vec![7; 20_000]), ..put(key).remove(0) };
        store.commit(["f", "g", "h"].map(large).to_vec()).unwrap();
        let feed = store.changes(0, 9).unwrap();
        let rows = store.scan(TREE, b"", None, 9).unwrap();
        live(&store).shared.db.remove(&key).unwrap().unwrap();
        drop(store);
        let store = SledStore::open(folder.path(), SledOptions::default()).unwrap();
        let text = refused(&store);
        assert!(text.ends_with("; all commits up to 5 can still be read"), "{text}");
        assert_eq!(store.changes(0, 9).unwrap(), feed);
        assert_eq!(store.scan(TREE, b"", None, 9).unwrap(), rows);
        drop(store);
        let repair = SledStore::repair(folder.path(), SledOptions::default()).unwrap();
        assert_eq!(
            repair,
            Some(Repair {
                kept: folder.path().to_owned(),
                lost: Vec::new(),
                unsure: false,
                empty: false
            })
        );
        let store = SledStore::open(folder.path(), SledOptions::default()).unwrap();
        assert_eq!(store.condition(), Condition::Sound);
        assert_eq!(store.changes(0, 5).unwrap(), feed);
        assert_eq!(store.scan(TREE, b"", None, 9).unwrap(), rows);
        assert!(folder.path().join("db").exists(), "the damaged file is kept");
    }
}

// Source: measured: cut within its first segment, sled opens with what is left and says nothing;
// cut elsewhere it panics inside its own opening.
#[test]
fn a_file_that_was_cut_is_read_only_and_stays_as_it_is() {
    for (commits, parts) in [(200, 2), (200, 4), (3000, 2)] {
        let folder = tempfile::tempdir().unwrap();
        let store = SledStore::open(folder.path(), SledOptions::default()).unwrap();
        for n in 0..commits {
            store.commit(put(&format!("key {n} {}", "x".repeat(900)))).unwrap();
        }
        drop(store);
        let db = folder.path().join("db");
        let length = fs::metadata(&db).unwrap().len() / parts;
        fs::OpenOptions::new().write(true).open(&db).unwrap().set_len(length).unwrap();
        let bytes = fs::read(&db).unwrap();
        let store = SledStore::open(folder.path(), SledOptions::default()).unwrap();
        let text = refused(&store);
        assert!(text.contains("are lost"), "{text}");
        assert_eq!(store.head(), Ok(commits));
        assert!(!store.scan(TREE, b"", None, 9).unwrap().is_empty());
        assert!(matches!(store.get(TREE, b"unheard of"), Err(StoreError::Corrupt(_))));
        assert!(matches!(store.changes(0, usize::MAX), Err(StoreError::Corrupt(_))));
        drop(store);
        assert_eq!(fs::read(&db).unwrap(), bytes);
        let repair = SledStore::repair(folder.path(), SledOptions::default()).unwrap();
        assert!(!repair.unwrap().lost.is_empty());
        let store = SledStore::open(folder.path(), SledOptions::default()).unwrap();
        assert_eq!(store.condition(), Condition::Sound);
        assert_eq!(store.head(), Ok(commits + 1));
        assert!(crate::backup::restored(&store).unwrap().is_some());
    }
}

#[test]
fn a_second_opener_is_told_who_holds_the_folder() {
    let folder = tempfile::tempdir().unwrap();
    let store = SledStore::open(folder.path(), SledOptions::default()).unwrap();
    let error = SledStore::open(folder.path(), SledOptions::default()).unwrap_err();
    let StoreError::Locked { holder, .. } = error else { panic!("{error}") };
    assert!(holder.starts_with(&format!("process {} (", std::process::id())), "{holder}");
    drop(store);
    SledStore::open(folder.path(), SledOptions::default()).unwrap();
}

/// The largest records, written, overwritten, split and merged, stay in the one file that is
/// synced: sled would put a page that is too large into a file of its own.
#[test]
fn the_largest_records_make_no_files_of_their_own() {
    let folder = tempfile::tempdir().unwrap();
    let store = SledStore::open(folder.path(), SledOptions::default()).unwrap();
    let write = |n: u8, value: Option<Vec<u8>>| {
        let key = vec![n.wrapping_mul(37); MAX_KEY];
        Write { tree: TREE, key, expect: Expect::Any, value }
    };
    for round in 0..3 {
        for n in 0..60 {
            store.commit(vec![write(n, Some(vec![round; MAX_VALUE]))]).unwrap();
        }
        for n in (0..60).filter(|n| n % 3 != 0) {
            store.commit(vec![write(n, None)]).unwrap();
        }
    }
    let blobs = || fs::read_dir(folder.path().join("blobs")).unwrap().count();
    assert_eq!(blobs(), 0);
    drop(store);
    let store = SledStore::open(folder.path(), SledOptions::default()).unwrap();
    assert_eq!(store.scan(TREE, b"", None, 99).unwrap().len(), 20);
    assert_eq!(blobs(), 0);
}

/// A disk whose power can be cut: it remembers what its last sync covered, and nothing else is left.
struct CutDisk {
    real: DbFile,
    db: PathBuf,
    synced: Arc<Mutex<Vec<u8>>>,
    broken: bool,
}

impl Disk for CutDisk {
    fn flush(&mut self, db: &sled::Db) -> std::io::Result<()> {
        self.real.flush(db)?;
        if !self.broken {
            *self.synced.lock().unwrap() = fs::read(&self.db)?;
        }
        Ok(())
    }

    fn free_bytes(&self) -> std::io::Result<u64> {
        self.real.free_bytes()
    }

    fn used_bytes(&self) -> std::io::Result<u64> {
        self.real.used_bytes()
    }

    fn note(&mut self, head: Seq) -> std::io::Result<()> {
        self.real.note(head)
    }
}

/// Cuts the power after each acknowledgement; answers the first commit that was lost.
fn cut_power(broken: bool) -> Option<Seq> {
    let folder = tempfile::tempdir().unwrap();
    let synced = Arc::new(Mutex::new(Vec::new()));
    let store = SledStore::open_on(folder.path(), SledOptions::default(), |engine| {
        let real = DbFile::open(folder.path(), engine)?;
        let (db, synced) = (engine.join("db"), Arc::clone(&synced));
        Ok(Box::new(CutDisk { real, db, synced, broken }))
    });
    let store = store.unwrap();
    for seq in 1..=60 {
        // Some fill a segment, so that the cut falls on its edge as well.
        let value = Some(vec![1; if seq % 3 == 0 { MAX_VALUE } else { 100 }]);
        let key = format!("key {}", seq % 20).into_bytes();
        let write = Write { tree: TREE, key, expect: Expect::Any, value };
        assert_eq!(store.commit(vec![write; 1]), Ok(seq));
        // The note has no sync of its own: it may be there or not.
        for noted in [true, false] {
            let after = tempfile::tempdir().unwrap();
            fs::copy(folder.path().join("conf"), after.path().join("conf")).unwrap();
            fs::write(after.path().join("db"), &*synced.lock().unwrap()).unwrap();
            if noted {
                let note = folder.path().join("acknowledged");
                fs::copy(note, after.path().join("acknowledged")).unwrap();
            }
            let after = SledStore::open(after.path(), SledOptions::default()).unwrap();
            if after.condition() != Condition::Sound || after.head() != Ok(seq) {
                return Some(seq);
            }
            assert_eq!(after.changes(0, 99).unwrap(), store.changes(0, 99).unwrap());
        }
    }
    None
}

// Source: the method of discarding what was not synced is common in tests of file systems and
// stores (Pillai et al. 2014, "All file systems are not created equal").
#[test]
fn a_power_cut_loses_nothing_that_was_acknowledged_and_a_missing_sync_shows() {
    assert_eq!(cut_power(false), None);
    assert_eq!(cut_power(true), Some(1), "the harness must see a missing sync");
}
