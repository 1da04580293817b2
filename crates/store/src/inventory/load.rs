//! All events of a store, read and folded.

use std::collections::BTreeMap;
use std::sync::Arc;

use deepbend_ledger::event::{Chain, Head, Sealed, follow};
use deepbend_ledger::view::View;

use super::layout::{BRANCHES, EVENTS, HEADS, chain_key, event_key, named, read_head};
use super::{Fleet, Heads, InventoryError, Settled, StoredHead};
use crate::api::{Condition, Store, StoreError, Tree};

/// Rows of one page.
const PAGE: usize = 500;
/// Events that are folded in one step.
const FOLD_STEP: usize = 10_000;

/// Every row of a tree, page by page.
fn walk<E: From<StoreError>>(
    store: &dyn Store,
    tree: Tree,
    mut each: impl FnMut(crate::Row) -> Result<(), E>,
) -> Result<(), E> {
    let mut after = None;
    loop {
        let rows = store.scan(tree, &[], after.as_deref(), PAGE)?;
        let Some(last) = rows.last() else { return Ok(()) };
        after = Some(last.key.clone());
        rows.into_iter().try_for_each(&mut each)?;
    }
}

/// Folds events in large steps: an item that many of them are about is folded once a step.
struct Folder {
    view: View,
    waiting: Vec<Sealed>,
}

impl Folder {
    fn take(&mut self, event: Sealed) {
        self.waiting.push(event);
        if self.waiting.len() >= FOLD_STEP {
            self.fold();
        }
    }

    fn fold(&mut self) {
        self.view.extend(&self.waiting);
        self.waiting.clear();
    }
}

/// Follows every chain to its head, and folds all events.
pub(super) fn load(store: &dyn Store, fleet: &Fleet) -> Result<(Heads, Settled), InventoryError> {
    let damaged = |what: String| InventoryError::Store(StoreError::Corrupt(what));
    let upto = match store.head() {
        Ok(head) => head,
        // A store that can only be read may have lost it; then nothing can be watched.
        Err(_) if matches!(store.condition(), Condition::ReadOnly(_)) => 0,
        Err(error) => return Err(error.into()),
    };
    let view = fleet.founder.clone().map_or_else(View::default, View::founded_by);
    let mut folder = Folder { view, waiting: Vec::new() };
    let mut reached: BTreeMap<Chain, Head> = BTreeMap::new();
    walk(store, EVENTS, |row| {
        let event = Sealed::from_bytes(row.value)?;
        let id = &event.event().id;
        if row.key != event_key(&id.chain, id.sequence) {
            return Err(damaged(format!("event {id} stands in another one's place")));
        }
        let head =
            follow(reached.get(&id.chain), &event).map_err(|broken| damaged(broken.to_string()))?;
        reached.insert(id.chain.clone(), head);
        folder.take(event);
        Ok(())
    })?;
    walk(store, BRANCHES, |row| {
        let event = Sealed::from_bytes(row.value)?;
        if row.key != named(&event) {
            let id = &event.event().id;
            return Err(damaged(format!("event {id} stands in another one's place")));
        }
        folder.take(event);
        Ok::<_, InventoryError>(())
    })?;
    folder.fold();
    if let Some(lost) = folder.view.waiting().next() {
        return Err(damaged(format!("the event before {} is missing", lost.id)));
    }
    let mut stored = BTreeMap::new();
    walk(store, HEADS, |row| {
        let head = read_head(&row.value);
        let head = head.ok_or_else(|| damaged("the head of a chain is cut short".to_owned()))?;
        stored.insert(row.key, StoredHead { head, written_by: row.written_by });
        Ok::<_, InventoryError>(())
    })?;
    let mut heads = Heads::new();
    for (chain, head) in reached {
        match stored.remove(&chain_key(&chain)) {
            Some(stored) if stored.head == head => {
                heads.insert(chain, stored);
            }
            Some(_) | None => {
                let Chain { device, incarnation } = &chain;
                return Err(damaged(format!(
                    "the events of {device} (incarnation {incarnation}) end at number {} and \
                     not at their head",
                    head.sequence
                )));
            }
        }
    }
    let settled = Settled { upto, view: Arc::new(folder.view) };
    match stored.keys().next() {
        None => Ok((heads, settled)),
        Some(key) => Err(damaged(format!("all events of {} are missing", key.escape_ascii()))),
    }
}
