//! The inventory over each engine: what was recorded is there again, and damage is told.
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

use std::sync::Arc;

use deepbend_ledger::event::{Certainty, Chain, Claim, Hash, Recorder, Sealed};
use deepbend_ledger::exchange::{DeviceKey, Inbox, Raw, Tips};
use deepbend_ledger::fold::Founder;
use deepbend_ledger::id::Id;
use deepbend_ledger::import::{FileKind, import};
use deepbend_ledger::time::ObservedTime;
use deepbend_ledger::view::{EventRef, View};
use deepbend_store::backup::mark_new;
use deepbend_store::inventory::{Fleet, Inventory, InventoryError};
use deepbend_store::{
    Expect, Fault, FaultyStore, MemoryStore, SledOptions, SledStore, Store, StoreError, Tree, Write,
};

const BOATS: &str = "boat_id,name\nB1,Grebe\nB2,Turnstone\nS0,Shed\n";

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

fn lures(count: usize) -> String {
    let rows = (0..count).map(|n| format!("L{n},minnow,6 g,6,{n},B1\n"));
    "lure_id,class,mass_raw,rigged_g,qty,place\n"
        .chars()
        .chain(rows.collect::<String>().chars())
        .collect()
}

fn boats_by(device: &str) -> Vec<Sealed> {
    boats_told(device, BOATS)
}

fn boats_told(device: &str, boats: &str) -> Vec<Sealed> {
    let chain = Chain { device: Id::new(device).unwrap(), incarnation: 1 };
    let files = [(FileKind::Boats, boats)];
    import(&files, &View::default(), &mut Recorder::begin(chain, 1), &claim()).unwrap()
}

#[test]
fn what_was_imported_is_there_after_reopening() {
    let folder = tempfile::tempdir().unwrap();
    let options = SledOptions { free_floor_bytes: 0, ..SledOptions::default() };
    let open = || Inventory::open(Arc::new(SledStore::open(folder.path(), options).unwrap()));
    let inventory = open().unwrap();
    assert_eq!(inventory.import(&[(FileKind::Boats, BOATS)], &desk(), &claim()).unwrap(), 3);
    let text = lures(1200);
    assert_eq!(inventory.import(&[(FileKind::Lures, &text)], &desk(), &claim()).unwrap(), 1200);
    let (view, head) = (inventory.view(), inventory.head(&desk()));
    assert_eq!(head.as_ref().unwrap().1.sequence, 1203);
    drop(inventory);
    let again = open().unwrap();
    assert_eq!(*again.view(), *view);
    assert_eq!(again.head(&desk()), head);
    assert_eq!(again.view().entries().count(), 1203);
}

// Source: reading the same events one by one.
#[test]
fn events_that_are_read_together_are_those_that_are_read_one_by_one() {
    let fleet = Fleet { founder: None, key: Some(DeviceKey::from_secret(&[7; 32])) };
    let inventory = Inventory::open_for(Arc::new(MemoryStore::new()), fleet).unwrap();
    inventory.import(&[(FileKind::Boats, BOATS)], &desk(), &claim()).unwrap();
    let text = lures(200);
    inventory.import(&[(FileKind::Lures, &text)], &desk(), &claim()).unwrap();
    let mut inbox = Inbox::default();
    for (device, boats) in [("B1-tablet", BOATS), (desk().as_str(), "boat_id,name\nB9,Knot\n")] {
        let raw = |event: Sealed| Raw { bytes: event.bytes().to_vec(), signature: None };
        let chunk = boats_told(device, boats).into_iter().map(raw).collect();
        assert!(inventory.accept(&mut inbox, chunk).unwrap().accepted > 0);
    }
    let view = inventory.view();
    assert!(view.is_forked(&Chain { device: desk(), incarnation: 1 }));
    let all = view.lacking(&Tips::default(), &Tips::default());
    assert_eq!(all.len(), 207);
    let plain = |raw: Raw| (raw.bytes, raw.signature);
    let right: Vec<_> = all.iter().map(|e| plain(inventory.raw(e).unwrap().unwrap())).collect();
    // At 64, 128 and 192, and at the end of each import.
    assert_eq!(right.iter().filter(|(_, signature)| signature.is_some()).count(), 5);
    for from in [0, 1, 3, 66, 203, 206] {
        let together = inventory.raws(&all[from..], usize::MAX).unwrap();
        assert!(together.into_iter().map(plain).eq(right[from..].iter().cloned()), "from {from}");
    }
    let backwards: Vec<_> = all.iter().rev().cloned().collect();
    let together = inventory.raws(&backwards, usize::MAX).unwrap();
    assert!(together.into_iter().map(plain).eq(right.iter().rev().cloned()));
    let three = right[..3].iter().map(|(bytes, _)| bytes.len()).sum();
    for (most, count) in [(1, 1), (three - 1, 3), (three, 3), (three + 1, 4)] {
        assert_eq!(inventory.raws(&all, most).unwrap().len(), count);
    }
    let nowhere = EventRef { hash: Hash::of(b"nothing"), ..all[5].clone() };
    let asked = [all[4].clone(), nowhere, all[6].clone()];
    assert!(matches!(inventory.raws(&asked, usize::MAX), Err(StoreError::Corrupt(_))));
}

// Source: who restores a folder without its key and puts the key back later has lost nothing (own
// rule).
#[test]
fn what_was_recorded_without_the_right_key_is_taken_by_others_once_the_key_is_back() {
    let secret = |byte| DeviceKey::from_secret(&[byte; 32]);
    let founder = || Some(Founder { device: desk(), key: secret(7).public() });
    let store: Arc<dyn Store> = Arc::new(MemoryStore::new());
    let open = |byte| {
        let fleet = Fleet { founder: founder(), key: Some(secret(byte)) };
        Inventory::open_for(Arc::clone(&store), fleet).unwrap()
    };
    let boat = |n: usize| format!("boat_id,name\nB{n},Knot\n");
    for (n, byte) in [(0, 7), (1, 9), (2, 9)] {
        open(byte).import(&[(FileKind::Boats, &boat(n))], &desk(), &claim()).unwrap();
    }
    let away = Inventory::open_for(
        Arc::new(MemoryStore::new()),
        Fleet { founder: founder(), key: Some(secret(8)) },
    )
    .unwrap();
    let send = |from: &Inventory| {
        let (view, mut inbox) = (from.view(), Inbox::default());
        // One by one: no later event of a chunk vouches for an earlier one.
        for event in view.lacking(&Tips::default(), &Tips::default()) {
            away.accept(&mut inbox, vec![from.raw(&event).unwrap().unwrap()]).unwrap();
        }
        away.view().event_count()
    };
    assert_eq!(send(&open(9)), 1, "nobody takes what a stranger's key signed");
    let back = open(7);
    assert_eq!(send(&back), 3);
    assert_eq!(away.view().state().unwrap(), back.view().state().unwrap());
    // What is well signed is left as it is, also by who holds another key.
    let head = store.head().unwrap();
    drop((back, open(7), open(9)));
    assert_eq!(store.head().unwrap(), head);
}

// Source: two stores never use one number twice (own rule), also where one began empty under the
// name of the other and both live on.
#[test]
fn each_store_of_a_name_goes_on_with_the_chain_that_it_began() {
    let open = || {
        let store: Arc<dyn Store> = Arc::new(MemoryStore::new());
        mark_new(&*store).unwrap();
        (Inventory::open(Arc::clone(&store)).unwrap(), store)
    };
    let boat = |n: usize| format!("boat_id,name\nB{n},Knot\n");
    let record = |inventory: &Inventory, n| {
        inventory.import(&[(FileKind::Boats, &boat(n))], &desk(), &claim()).unwrap();
    };
    let send = |from: &Inventory, to: &Inventory| {
        let all = from.view().lacking(&Tips::default(), &Tips::default());
        let raws = all.iter().map(|event| from.raw(event).unwrap().unwrap()).collect();
        to.accept(&mut Inbox::default(), raws).unwrap();
    };
    // Whichever of the two has the higher number.
    for _ in 0..4 {
        let ((old, old_store), (new, new_store)) = (open(), open());
        record(&old, 1);
        send(&old, &new);
        record(&old, 2);
        record(&new, 3);
        send(&new, &old);
        record(&new, 4);
        record(&old, 5);
        // Also after a start.
        let again = |store| Inventory::open(store).unwrap();
        let (old, new) = (again(old_store), again(new_store));
        record(&new, 6);
        record(&old, 7);
        send(&old, &new);
        send(&new, &old);
        assert_eq!(old.view().conflicts(), []);
        assert_eq!(old.view().entries().count(), 7);
        assert_eq!(old.view().state().unwrap(), new.view().state().unwrap());
        assert_eq!(old.view().tips().iter().count(), 2, "each has its chain");
    }
}

#[test]
fn a_refused_import_records_nothing() {
    let store = Arc::new(MemoryStore::new());
    let inventory = Inventory::open(store.clone()).unwrap();
    inventory.import(&[(FileKind::Boats, BOATS)], &desk(), &claim()).unwrap();
    let text = lures(3).replace("L2,", "L1,");
    let error = inventory.import(&[(FileKind::Lures, &text)], &desk(), &claim()).unwrap_err();
    let InventoryError::Rows(faults) = error else { panic!("{error}") };
    assert_eq!((faults.len(), faults[0].row), (1, 4));
    assert_eq!(store.head(), Ok(1));
    assert_eq!(inventory.view().event_count(), 3);
}

#[test]
fn an_event_must_be_the_next_of_its_chain() {
    let inventory = Inventory::open(Arc::new(MemoryStore::new())).unwrap();
    let events = boats_by("B1-tablet");
    assert!(matches!(inventory.append(&events[1..]), Err(InventoryError::Chain(_))));
    inventory.append(&events[..2]).unwrap();
    assert!(matches!(inventory.append(&events[..2]), Err(InventoryError::Chain(_))));
    inventory.append(&events[2..]).unwrap();
    // Another device's events of the same items are kept beside them.
    inventory.append(&boats_by("B2-tablet")).unwrap();
    assert_eq!(inventory.view().event_count(), 6);
    assert_eq!(inventory.view().conflicts().len(), 3);
}

/// An answer that was lost: the inventory looks what happened and goes on from there.
#[test]
fn a_lost_answer_is_found_out_by_reading_again() {
    // Five calls to open, then the commit.
    let store = Arc::new(FaultyStore::new(MemoryStore::new(), 6, Fault::AnswerLost));
    let inventory = Inventory::open(store.clone()).unwrap();
    assert_eq!(store.calls(), 5);
    let events = boats_by("B1-tablet");
    let error = inventory.append(&events[..1]).unwrap_err();
    assert!(matches!(error, InventoryError::Store(StoreError::Unknown(_))), "{error}");
    assert_eq!(inventory.view().event_count(), 1, "it had been written");
    inventory.append(&events[1..]).unwrap();
    assert_eq!(inventory.view().event_count(), 3);
}

/// Fails each call in turn while a full store is opened: always an error, never a smaller fleet.
#[test]
fn no_read_error_is_swallowed() {
    let filled = || {
        let store = MemoryStore::new();
        let events = boats_by("B1-tablet");
        let store = Arc::new(FaultyStore::new(store, u64::MAX, Fault::Damaged));
        Inventory::open(store.clone()).unwrap().append(&events).unwrap();
        Arc::into_inner(store).unwrap()
    };
    let whole = FaultyStore::new(filled(), u64::MAX, Fault::Damaged);
    let whole = Arc::new(whole);
    Inventory::open(whole.clone()).unwrap();
    let calls = whole.calls();
    assert!(calls >= 4);
    for fault in [Fault::Refused, Fault::AnswerLost, Fault::Damaged] {
        for call in 1..=calls {
            let store = FaultyStore::new(filled(), call, fault);
            assert!(Inventory::open(Arc::new(store)).is_err(), "call {call}");
        }
    }
}

/// Takes away or changes what stands in the store, one row at a time.
#[test]
fn a_missing_or_changed_row_is_an_error() {
    let filled = || {
        let store = Arc::new(MemoryStore::new());
        let inventory = Inventory::open(store.clone()).unwrap();
        let events = boats_by("B1-tablet");
        inventory.append(&events[..1]).unwrap();
        inventory.append(&events[1..]).unwrap();
        store
    };
    let mut rows = Vec::new();
    for tree in [Tree(1), Tree(2)] {
        rows.extend(filled().scan(tree, b"", None, 99).unwrap().into_iter().map(|r| (tree, r)));
    }
    // One event alone, the others together, and the head of their chain.
    assert_eq!(rows.len(), 3);
    for (tree, row) in rows {
        let write = |value: Option<Vec<u8>>| {
            let store = filled();
            let key = row.key.clone();
            store.commit(vec![Write { tree, key, expect: Expect::Any, value }]).unwrap();
            Inventory::open(store)
        };
        assert!(write(Some(row.value.clone())).is_ok(), "the row itself");
        assert!(write(None).is_err(), "{} taken away", row.key.escape_ascii());
        let mut changed = row.value.clone();
        let place = changed.len() - 4;
        changed[place] ^= 1;
        assert!(write(Some(changed)).is_err(), "{} changed", row.key.escape_ascii());
        if row.value[0] != 0 || tree == Tree(2) {
            continue;
        }
        // As the layout says: an LZ4 block, in it a length of four bytes before each event.
        let mut events = Vec::new();
        let block = lz4_flex::decompress_size_prepended(&row.value[1..]).unwrap();
        let mut rest = &block[..];
        while let Some((length, after)) = rest.split_first_chunk::<4>() {
            let (event, after) = after.split_at(u32::from_be_bytes(*length) as usize);
            events.push([length, event].concat());
            rest = after;
        }
        assert_eq!(events.len(), boats_by("B1-tablet").len() - 1);
        let together = |events: &[Vec<u8>]| {
            [&[0], &lz4_flex::compress_prepend_size(&events.concat())[..]].concat()
        };
        assert!(write(Some(together(&events))).is_ok(), "the row itself");
        for out in 0..events.len() {
            let mut less = events.clone();
            less.remove(out);
            assert!(write(Some(together(&less))).is_err(), "without event {out}");
        }
        events.reverse();
        assert!(write(Some(together(&events))).is_err(), "in another order");
    }
}
