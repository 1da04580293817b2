//! The inventory over each engine: what was recorded is there again, and damage is told.
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

use std::sync::Arc;

use deepbend_ledger::event::{Certainty, Chain, Claim, Recorder, Sealed};
use deepbend_ledger::id::Id;
use deepbend_ledger::import::{FileKind, import};
use deepbend_ledger::time::ObservedTime;
use deepbend_ledger::view::View;
use deepbend_store::inventory::{Inventory, InventoryError};
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
    let chain = Chain { device: Id::new(device).unwrap(), incarnation: 1 };
    let files = [(FileKind::Boats, BOATS)];
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
    // Four calls to open, then the commit.
    let store = Arc::new(FaultyStore::new(MemoryStore::new(), 5, Fault::AnswerLost));
    let inventory = Inventory::open(store.clone()).unwrap();
    assert_eq!(store.calls(), 4);
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
        Inventory::open(store.clone()).unwrap().append(&boats_by("B1-tablet")).unwrap();
        store
    };
    let mut rows = Vec::new();
    for tree in [Tree(1), Tree(2)] {
        rows.extend(filled().scan(tree, b"", None, 99).unwrap().into_iter().map(|r| (tree, r)));
    }
    assert_eq!(rows.len(), 4);
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
    }
}
