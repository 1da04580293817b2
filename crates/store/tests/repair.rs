//! A store whose file was cut: it is read, it can be put together again, it opens, and with what
//! another node has nothing is missing that either of them had.
//!
//! Source of the cases: `truncate(1)` and a changed byte at places all over the file.
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::sync::Arc;

use deepbend_ledger::event::{Certainty, Claim, Hash};
use deepbend_ledger::exchange::{DeviceKey, Inbox, Tips};
use deepbend_ledger::fold::Founder;
use deepbend_ledger::id::Id;
use deepbend_ledger::import::FileKind;
use deepbend_ledger::time::ObservedTime;
use deepbend_ledger::view::EventRef;
use deepbend_store::backup::backup;
use deepbend_store::inventory::{Fleet, Inventory, mend};
use deepbend_store::{Condition, MemoryStore, SledOptions, SledStore, Store, StoreError};

const OPTIONS: SledOptions = SledOptions { free_floor_bytes: 0, cache_bytes: 16 * 1024 * 1024 };
/// Events of each commit.
const SIZES: [usize; 12] = [1, 2, 40, 1, 130, 3, 70, 1, 15, 60, 2, 80];
/// Commits that the other node has seen.
const SEEN: usize = 10;
const BLOCK: usize = 4096;
/// Bytes of a hole: more than one commit and what is written anew of it.
const HOLE: usize = 24 * BLOCK;

fn claim() -> Claim {
    Claim {
        observed_time: ObservedTime::new("2031-09-15T17:00:00Z").unwrap(),
        actor: Id::new("shed").unwrap(),
        certainty: Certainty::Typed,
    }
}

fn desk() -> Id {
    Id::new("shed-desk").unwrap()
}

fn fleet(device: u8) -> Fleet {
    let key = DeviceKey::from_secret(&[7; 32]);
    let founder = Some(Founder { device: desk(), key: key.public() });
    Fleet { founder, key: Some(DeviceKey::from_secret(&[device; 32])) }
}

fn open(folder: &Path) -> Inventory {
    Inventory::open_for(Arc::new(SledStore::open(folder, OPTIONS).unwrap()), fleet(7)).unwrap()
}

/// Records boats as one commit.
fn record(inventory: &Inventory, name: &str, count: usize) {
    // Names that cannot be compressed to nothing: the file must be large enough for the holes.
    let noise = |n: usize, part: &str| Hash::of(format!("{name} {n} {part}").as_bytes());
    let rows = (0..count).map(|n| format!("B-{name}-{n},{}{}\n", noise(n, "a"), noise(n, "b")));
    let text = format!("boat_id,name\n{}", rows.collect::<String>());
    inventory.import(&[(FileKind::Boats, &text)], &desk(), &claim()).unwrap();
}

fn events(inventory: &Inventory) -> BTreeSet<(String, u64)> {
    let all = inventory.view().lacking(&Tips::default(), &Tips::default());
    all.into_iter().map(|EventRef { id, .. }| (id.chain.to_string(), id.sequence)).collect()
}

/// All that `from` has goes to `to`.
fn pass(from: &Inventory, to: &Inventory) {
    let lacking = from.view().lacking(&Tips::default(), &Tips::default());
    let raws = from.raws(&lacking, usize::MAX).unwrap();
    let arrival = to.accept(&mut Inbox::default(), raws).unwrap();
    assert!(arrival.refused.is_empty() && arrival.forks.is_empty(), "{arrival:?}");
}

fn copy(from: &Path, db: &[u8]) -> tempfile::TempDir {
    let to = tempfile::tempdir().unwrap();
    for entry in fs::read_dir(from).unwrap() {
        let path = entry.unwrap().path();
        if path.is_file() {
            fs::copy(&path, to.path().join(path.file_name().unwrap())).unwrap();
        }
    }
    fs::write(to.path().join("db"), db).unwrap();
    to
}

#[test]
fn a_cut_or_holed_store_is_read_put_together_and_opens_with_all_that_anybody_has() {
    let folder = tempfile::tempdir().unwrap();
    let other = Inventory::open_for(Arc::new(MemoryStore::new()), fleet(8)).unwrap();
    let whole = open(folder.path());
    for (n, count) in SIZES.into_iter().enumerate() {
        record(&whole, &n.to_string(), count);
        if n + 1 == SEEN {
            pass(&whole, &other);
        }
    }
    let (all, seen) = (events(&whole), events(&other));
    let lacking = whole.view().lacking(&Tips::default(), &Tips::default());
    let raws = whole.raws(&lacking, usize::MAX).unwrap();
    drop(whole);
    let good = fs::read(folder.path().join("db")).unwrap();
    let end =
        good.len() - good.rchunks(BLOCK).take_while(|b| b.iter().all(|b| *b == 0)).count() * BLOCK;
    let cuts = (1..16).map(|n| good[..end * n / 16].to_vec());
    let hole = |n: usize| {
        let mut bad = good.clone();
        bad[end * n / 32..].iter_mut().take(HOLE).for_each(|byte| *byte = 0);
        bad
    };
    let holes = (1..16).map(|n| hole(2 * n));
    // Where a store lays its pages differs from run to run: more holes, where these lead to no end.
    let more = (0..16).map(|n| hole(2 * n + 1));
    let enough = cuts.len() + holes.len();
    let (mut aside, mut back) = (0, 0);
    for (n, bad) in cuts.chain(holes).chain(more).enumerate() {
        if n >= enough && aside > 0 && back > 0 {
            break;
        }
        let copy = copy(folder.path(), &bad);
        let store = Arc::new(SledStore::open(copy.path(), OPTIONS).unwrap());
        let damaged = matches!(store.condition(), Condition::ReadOnly(StoreError::Corrupt(_)));
        let read = Inventory::open_for(Arc::clone(&store) as Arc<dyn Store>, fleet(7)).unwrap();
        let before = events(&read);
        assert!(damaged || before == all, "{n}: sound, but not whole");
        assert!(before.is_subset(&all), "{n}");
        drop((read, store));
        if !damaged {
            continue;
        }
        assert!(SledStore::repair(copy.path(), OPTIONS).unwrap().is_some(), "{n}");
        let mended = mend(&SledStore::open(copy.path(), OPTIONS).unwrap()).unwrap();
        aside += mended.strays.len();
        let again = open(copy.path());
        assert!(events(&again).is_superset(&before), "{n}: less than could be read");
        pass(&other, &again);
        drop(again);
        let again = open(copy.path());
        let now = events(&again);
        assert!(now.is_superset(&before) && now.is_superset(&seen), "{n}");
        for stray in mended.strays {
            let follows = (1..stray.sequence).all(|s| now.contains(&(stray.chain.to_string(), s)));
            let there = now.contains(&(stray.chain.to_string(), stray.sequence));
            assert_eq!(there, follows, "{n}: {stray}");
            back += usize::from(there);
        }
        // What it says from now on is new to everybody.
        record(&again, "after", 2);
        let witness = Inventory::open_for(Arc::new(MemoryStore::new()), fleet(9)).unwrap();
        witness.accept(&mut Inbox::default(), raws.clone()).unwrap();
        pass(&again, &witness);
        assert_eq!(events(&witness).len(), all.len() + 2, "{n}");
    }
    assert!(aside > 0 && back > 0, "{aside} put aside, {back} taken back");
}

/// What is recorded after a restore must not take the numbers of what was recorded after the
/// backup; also where the device had nothing of its own in it, and where it is restored twice.
#[test]
fn a_restored_store_goes_on_under_numbers_of_its_own() {
    let device = Id::new("B1-tablet").unwrap();
    let record = |inventory: &Inventory| {
        let files = [(FileKind::Boats, "boat_id,name\nB1,Grebe\n")];
        inventory.import(&files, &device, &claim()).unwrap();
        inventory.head(&device).unwrap().0.incarnation
    };
    for own in [false, true] {
        let store = Arc::new(MemoryStore::new());
        let inventory = Inventory::open(Arc::clone(&store) as Arc<dyn Store>).unwrap();
        if own {
            let files = [(FileKind::Boats, "boat_id,name\nB2,Turnstone\n")];
            inventory.import(&files, &device, &claim()).unwrap();
        }
        let mut copy = Vec::new();
        backup(&*store, &mut copy).unwrap();
        let mut used = BTreeSet::from([record(&inventory)]);
        for _ in 0..4 {
            let again = Arc::new(MemoryStore::restore(&mut copy.as_slice()).unwrap());
            used.insert(record(&Inventory::open(again).unwrap()));
        }
        // Four of 65,536: that two are the same happens once in ten thousand runs.
        assert!(used.len() >= 4, "{used:?}");
    }
}

// Common practice, no source: what says which of two files counts may be lost, and so may the note of
// the last acknowledged commit; what is there then still counts.
#[test]
fn nothing_is_dropped_where_a_small_file_beside_a_damaged_store_is_lost() {
    let folder = tempfile::tempdir().unwrap();
    let whole = open(folder.path());
    record(&whole, "one", 40);
    let one = events(&whole);
    drop(whole);
    let db = folder.path().join("db");
    let good = fs::read(&db).unwrap();
    let mut bad = good.clone();
    bad[5_000] ^= 4;
    fs::write(&db, &bad).unwrap();
    for note in [None, Some("")] {
        let copy = copy(folder.path(), &bad);
        let path = copy.path().join("acknowledged");
        match note {
            None => fs::remove_file(&path).unwrap(),
            Some(text) => fs::write(&path, text).unwrap(),
        }
        let store = SledStore::open(copy.path(), OPTIONS).unwrap();
        assert!(matches!(store.condition(), Condition::ReadOnly(StoreError::Corrupt(_))));
        drop(store);
        let repair = SledStore::repair(copy.path(), OPTIONS).unwrap().unwrap();
        assert!(repair.lost.is_empty(), "{note:?}: {repair:?}");
        assert_eq!(events(&open(copy.path())), one, "{note:?}");
    }
    // One bit of the last message that the file holds.
    let mut bad = good.clone();
    let last = bad.iter().rposition(|byte| *byte != 0).unwrap();
    bad[last - 4] ^= 4;
    let copy = copy(folder.path(), &bad);
    fs::remove_file(copy.path().join("acknowledged")).unwrap();
    let store = SledStore::open(copy.path(), OPTIONS).unwrap();
    assert!(matches!(store.condition(), Condition::ReadOnly(StoreError::Corrupt(_))));
    drop(store);
    assert!(SledStore::repair(copy.path(), OPTIONS).unwrap().unwrap().lost.is_empty());
    assert_eq!(events(&open(copy.path())), one);
    // The damaged file is kept beside the one that counts from now on.
    assert!(SledStore::repair(folder.path(), OPTIONS).unwrap().unwrap().lost.is_empty());
    let again = open(folder.path());
    record(&again, "two", 3);
    let two = events(&again);
    drop(again);
    for acknowledged in [true, false] {
        fs::remove_file(folder.path().join("engine")).unwrap();
        if !acknowledged {
            fs::remove_file(folder.path().join("acknowledged")).unwrap();
        }
        let store = SledStore::open(folder.path(), OPTIONS).unwrap();
        let Condition::ReadOnly(StoreError::Corrupt(why)) = store.condition() else {
            panic!("{:?}", store.condition())
        };
        assert!(why.contains("`engine` is missing"), "{why}");
        drop(store);
        assert!(SledStore::repair(folder.path(), OPTIONS).unwrap().unwrap().lost.is_empty());
        assert_eq!(events(&open(folder.path())), two, "{acknowledged}");
    }
}
