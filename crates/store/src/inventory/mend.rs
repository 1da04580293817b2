//! What a damaged store leaves behind: chains with a gap are cut before it, and what stands behind
//! the gap is kept aside until the missing events come from elsewhere.

use std::collections::BTreeSet;

use deepbend_ledger::event::{EventId, Hash, Head, Sealed};
use deepbend_ledger::exchange::{Inbox, Raw};
use deepbend_ledger::view::EventRef;

use super::layout::{
    BRANCHES, EVENTS, HEADS, Keyed, SIGNATURES, STRAY_SIGNATURES, STRAYS, branch_key, chain_key,
    event_key, head_value, keyed, remove, rows_of,
};
use super::load::{find, walk};
use super::{Inventory, InventoryError, read_signature};
use crate::api::{Condition, Expect, Row, Store, StoreError, Write};

/// Events of one commit, and those in a row with them; each takes four writes and may be as long
/// as an event can be.
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
        let mut taken = BTreeSet::new();
        for EventRef { id, hash } in step {
            let held = event_key(&id.chain, id.sequence);
            let is_it = |(key, event): &Keyed| *key == held && Hash::of(event) == *hash;
            for row in rows_of(store, &id.chain, id.sequence, id.sequence)? {
                let events = keyed(&row)?;
                // All events of a row follow each other: they stray together.
                if events.iter().any(is_it) && taken.insert(row.key.clone()) {
                    writes.push(remove(EVENTS, &row));
                    for (key, event) in events {
                        put_aside(store, with_hash(&key, &event), &event, &mut writes)?;
                    }
                }
            }
            let key = branch_key(&id.chain, &Head { sequence: id.sequence, hash: *hash });
            if let Some(row) = store.get(BRANCHES, &key)? {
                writes.push(remove(BRANCHES, &row));
                put_aside(store, key, &row.value, &mut writes)?;
            }
        }
        if writes.is_empty() {
            continue;
        }
        store.commit(writes)?;
    }
    // A signature whose event is lost would stand in the way of the event when it comes back.
    let mut signed = BTreeSet::new();
    for tree in [EVENTS, BRANCHES] {
        walk(store, tree, &[], |row| {
            if tree == BRANCHES {
                signed.insert(row.key);
                return Ok(());
            }
            signed.extend(keyed(&row)?.into_iter().map(|(key, event)| with_hash(&key, &event)));
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

/// The key of an event among strays, branches and signatures.
fn with_hash(key: &[u8], event: &[u8]) -> Vec<u8> {
    [key, Hash::of(event).as_bytes()].concat()
}

/// Puts an event aside, with the signature over it.
fn put_aside(
    store: &dyn Store,
    key: Vec<u8>,
    event: &[u8],
    writes: &mut Vec<Write>,
) -> Result<(), StoreError> {
    let mut put = |tree, key, value| {
        writes.push(Write { tree, key, expect: Expect::Any, value: Some(value) });
    };
    put(STRAYS, key.clone(), event.to_vec());
    if let Some(row) = store.get(SIGNATURES, &key)? {
        put(STRAY_SIGNATURES, key, row.value.clone());
        writes.push(remove(SIGNATURES, &row));
    }
    Ok(())
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
