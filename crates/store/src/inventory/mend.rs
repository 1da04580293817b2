//! What a damaged store leaves behind: chains with a gap are cut before it, and what stands behind
//! the gap is kept aside until the missing events come from elsewhere.

use std::collections::BTreeSet;

use deepbend_ledger::event::{EventId, Hash, Head, Sealed};
use deepbend_ledger::exchange::{Inbox, Raw};
use deepbend_ledger::view::EventRef;

use super::layout::{
    BRANCHES, EVENTS, HEADS, SIGNATURES, STRAY_SIGNATURES, STRAYS, branch_key, chain_key,
    event_key, head_value, remove,
};
use super::load::{find, walk};
use super::{Inventory, InventoryError, read_signature};
use crate::api::{Condition, Expect, Row, Store, StoreError, Tree, Write};

/// Events of one commit; each takes four writes and may be as long as an event can be.
const STEP: usize = 64;

/// What was cut off the chains that have a gap.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Mended {
    /// Events behind a gap: they are kept, and count once what is before them has come back.
    pub strays: Vec<EventId>,
}

/// Makes the events of a store that was put together again follow each other without a gap; where
/// they do nothing is written. Cut off half-way it can be done again.
///
/// # Errors
/// [`InventoryError`] if the store cannot be read or written.
pub fn mend(store: &dyn Store) -> Result<Mended, InventoryError> {
    let found = find(store, None)?;
    let strays: Vec<EventRef> = found.view.waiting().collect();
    for step in strays.chunks(STEP) {
        let mut writes = Vec::new();
        for EventRef { id, hash } in step {
            let key = branch_key(&id.chain, &Head { sequence: id.sequence, hash: *hash });
            for (tree, at) in [(EVENTS, &event_key(&id.chain, id.sequence)), (BRANCHES, &key)] {
                let row = store.get(tree, at)?.filter(|row| Hash::of(&row.value) == *hash);
                writes.extend(
                    row.into_iter().flat_map(|row| put_aside(tree, row, STRAYS, key.clone())),
                );
            }
            if let Some(row) = store.get(SIGNATURES, &key)? {
                writes.extend(put_aside(SIGNATURES, row, STRAY_SIGNATURES, key));
            }
        }
        store.commit(writes)?;
    }
    // A signature whose event is lost would stand in the way of the event when it comes back.
    let mut signed = BTreeSet::new();
    for tree in [EVENTS, BRANCHES] {
        walk(store, tree, &[], |row| {
            let end =
                if tree == EVENTS { Hash::of(&row.value).as_bytes().to_vec() } else { vec![] };
            signed.insert([row.key, end].concat());
            Ok::<_, StoreError>(())
        })?;
    }
    let mut rest = Vec::new();
    walk(store, SIGNATURES, &[], |row| {
        if !signed.contains(&row.key) {
            rest.push(remove(SIGNATURES, &row));
        }
        Ok::<_, StoreError>(())
    })?;
    let head =
        |chain, value| Write { tree: HEADS, key: chain_key(chain), expect: Expect::Any, value };
    let stands = |chain| found.heads.get(chain).map(|stored| stored.head);
    let reached = found.reached.iter().filter(|(chain, reached)| stands(chain) != Some(**reached));
    rest.extend(reached.map(|(chain, reached)| head(chain, Some(head_value(reached)))));
    let gone = found.heads.keys().filter(|chain| !found.reached.contains_key(*chain));
    rest.extend(gone.map(|chain| head(chain, None)));
    for step in rest.chunks(STEP) {
        store.commit(step.to_vec())?;
    }
    Ok(Mended { strays: strays.into_iter().map(|stray| stray.id).collect() })
}

fn put_aside(from: Tree, row: Row, to: Tree, key: Vec<u8>) -> [Write; 2] {
    let gone = remove(from, &row);
    [gone, Write { tree: to, key, expect: Expect::Any, value: Some(row.value) }]
}

impl Inventory {
    /// Takes back what was put aside and follows by now.
    pub(super) fn take_back(&self) -> Result<(), InventoryError> {
        let mut aside = Vec::new();
        if self.store.condition() == Condition::Sound {
            walk(&*self.store, STRAYS, &[], |row| {
                aside.push(row);
                Ok::<_, StoreError>(())
            })?;
        }
        let mut inbox = Inbox::default();
        let mut events = Vec::new();
        for row in &aside {
            let event = EventRef::to(&Sealed::from_bytes(row.value.clone())?);
            let signature = self.store.get(STRAY_SIGNATURES, &row.key)?.map(|row| row.value);
            let signature = signature.map(|value| read_signature(&event.id, &value)).transpose()?;
            events.push(event);
            self.accept(&mut inbox, vec![Raw { bytes: row.value.clone(), signature }])?;
        }
        let view = self.view();
        let back = aside.iter().zip(&events).filter(|(_, event)| view.is_placed(event));
        let back: Vec<_> = back.map(|(row, _)| row).collect();
        for step in back.chunks(STEP) {
            let gone = |tree| {
                let gone = move |row: &&Row| {
                    let key = row.key.clone();
                    Write { tree, key, expect: Expect::Any, value: None }
                };
                step.iter().map(gone)
            };
            let writes = gone(STRAYS).chain(gone(STRAY_SIGNATURES)).collect();
            self.store.commit(writes)?;
        }
        Ok(())
    }
}
