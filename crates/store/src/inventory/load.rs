//! All events of a store, read and folded.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::mpsc::{self, SyncSender};
use std::thread;

use deepbend_ledger::event::{Chain, EventId, Head, Sealed, follow};
use deepbend_ledger::view::View;

use super::layout::{BRANCHES, EVENTS, HEADS, chain_key, event_key, named, read_head};
use super::{Fleet, Heads, InventoryError, Settled, StoredHead};
use crate::api::{Condition, Store, StoreError, Tree};

/// Rows of one page.
const PAGE: usize = 500;
/// Events that are folded in one step: an item that many of them are about is folded once a step.
const FOLD_STEP: usize = 5_000;
/// Steps that are read ahead.
const PARTS_AHEAD: usize = 2;

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

type Part = Result<(Tree, Vec<Sealed>), InventoryError>;

/// Reads all events and sends them in parts, as long as anybody takes them.
fn read(store: &dyn Store, to: &SyncSender<Part>) {
    for tree in [EVENTS, BRANCHES] {
        let mut part = Vec::new();
        let walked = walk(store, tree, |row| {
            let event = Sealed::from_bytes(row.value)?;
            let EventId { chain, sequence } = &event.event().id;
            let place = if tree == EVENTS { event_key(chain, *sequence) } else { named(&event) };
            if row.key != place {
                let what = format!("event {} stands in another one's place", event.event().id);
                return Err(StoreError::Corrupt(what).into());
            }
            part.push(event);
            if part.len() == FOLD_STEP {
                // If nobody takes it the rest is of no use either.
                to.send(Ok((tree, std::mem::take(&mut part)))).map_err(|_| nobody())?;
            }
            Ok::<_, InventoryError>(())
        });
        let failed = walked.is_err();
        if to.send(walked.map(|()| (tree, part))).is_err() || failed {
            return;
        }
    }
}

fn nobody() -> StoreError {
    StoreError::Unavailable("nobody waits for the events".to_owned())
}

/// Follows every chain to its head, and folds all events while the next ones are read.
pub(super) fn load(store: &dyn Store, fleet: &Fleet) -> Result<(Heads, Settled), InventoryError> {
    let damaged = |what: String| InventoryError::Store(StoreError::Corrupt(what));
    let upto = match store.head() {
        Ok(head) => head,
        // A store that can only be read may have lost it; then nothing can be watched.
        Err(_) if matches!(store.condition(), Condition::ReadOnly(_)) => 0,
        Err(error) => return Err(error.into()),
    };
    let view = fleet.founder.clone().map_or_else(View::default, View::founded_by);
    let mut reached: BTreeMap<Chain, Head> = BTreeMap::new();
    let view = thread::scope(|scope| {
        let mut view = view;
        let (sender, parts) = mpsc::sync_channel(PARTS_AHEAD);
        let reader = thread::Builder::new().name("store-reader".to_owned());
        let unavailable = |error: std::io::Error| StoreError::Unavailable(error.to_string());
        reader.spawn_scoped(scope, move || read(store, &sender)).map_err(unavailable)?;
        for part in parts {
            let (tree, events): (Tree, Vec<Sealed>) = part?;
            for event in events.iter().filter(|_| tree == EVENTS) {
                let chain = &event.event().id.chain;
                let head = follow(reached.get(chain), event);
                let head = head.map_err(|broken| damaged(broken.to_string()))?;
                reached.insert(chain.clone(), head);
            }
            view.extend(&events);
        }
        Ok::<_, InventoryError>(view)
    })?;
    if let Some(lost) = view.waiting().next() {
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
    let settled = Settled { upto, view: Arc::new(view) };
    match stored.keys().next() {
        None => Ok((heads, settled)),
        Some(key) => Err(damaged(format!("all events of {} are missing", key.escape_ascii()))),
    }
}
