//! All events of a store, read and folded.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::mpsc::{self, SyncSender};
use std::thread;

use deepbend_ledger::event::{Chain, EventId, Head, Sealed, follow};
use deepbend_ledger::fold::Founder;
use deepbend_ledger::view::View;

use super::layout::{BRANCHES, EVENTS, HEADS, event_key, keyed, named, read_chain, read_head};
use super::{Fleet, Heads, InventoryError, Settled, StoredHead};
use crate::api::{Condition, Seq, Store, StoreError, Tree};

/// Rows of one page.
const PAGE: usize = 500;
/// Events that are folded in one step: an item that many of them are about is folded once a step.
const FOLD_STEP: usize = 5_000;
/// Steps that are read ahead.
const PARTS_AHEAD: usize = 2;

/// Every row of a tree whose key begins with `prefix`, page by page.
pub(super) fn walk<E: From<StoreError>>(
    store: &dyn Store,
    tree: Tree,
    prefix: &[u8],
    mut each: impl FnMut(crate::Row) -> Result<(), E>,
) -> Result<(), E> {
    let mut after = None;
    loop {
        let rows = store.scan(tree, prefix, after.as_deref(), PAGE)?;
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
        let walked = walk(store, tree, &[], |row| {
            let events = if tree == EVENTS { keyed(&row)? } else { vec![(row.key, row.value)] };
            for (key, bytes) in events {
                let event = Sealed::from_bytes(bytes)?;
                let EventId { chain, sequence } = &event.event().id;
                let place =
                    if tree == EVENTS { event_key(chain, *sequence) } else { named(&event) };
                if key != place {
                    let what = format!("event {} stands in another one's place", event.event().id);
                    return Err(StoreError::Corrupt(what).into());
                }
                part.push(event);
            }
            if part.len() >= FOLD_STEP {
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

/// Everything that is stored, and the first thing about it that does not hold together.
pub(super) struct Found {
    pub(super) view: View,
    /// How far each chain can be followed.
    pub(super) reached: BTreeMap<Chain, Head>,
    pub(super) heads: Heads,
    upto: Seq,
    broken: Option<String>,
}

/// Follows every chain to its head, and folds all events while the next ones are read.
///
/// Of a store that can only be read, what holds together is served; elsewhere whatever is missing
/// is an error.
pub(super) fn load(store: &dyn Store, fleet: &Fleet) -> Result<(Heads, Settled), InventoryError> {
    let Found { view, heads, upto, broken, .. } = find(store, fleet.founder.clone())?;
    match broken {
        Some(what) if !matches!(store.condition(), Condition::ReadOnly(_)) => {
            Err(StoreError::Corrupt(what).into())
        }
        Some(_) | None => Ok((heads, Settled { upto, view: Arc::new(view) })),
    }
}

/// Reads everything that is stored.
pub(super) fn find(store: &dyn Store, founder: Option<Founder>) -> Result<Found, InventoryError> {
    let upto = match store.head() {
        Ok(head) => head,
        // A store that can only be read may have lost it; then nothing can be watched.
        Err(_) if matches!(store.condition(), Condition::ReadOnly(_)) => 0,
        Err(error) => return Err(error.into()),
    };
    let mut view = founder.map_or_else(View::default, View::founded_by);
    let mut reached: BTreeMap<Chain, Head> = BTreeMap::new();
    let mut broken: Option<String> = None;
    thread::scope(|scope| {
        let (sender, parts) = mpsc::sync_channel(PARTS_AHEAD);
        let reader = thread::Builder::new().name("store-reader".to_owned());
        let unavailable = |error: std::io::Error| StoreError::Unavailable(error.to_string());
        reader.spawn_scoped(scope, move || read(store, &sender)).map_err(unavailable)?;
        for part in parts {
            let (tree, events): (Tree, Vec<Sealed>) = part?;
            for event in events.iter().filter(|_| tree == EVENTS) {
                let chain = &event.event().id.chain;
                match follow(reached.get(chain), event) {
                    Ok(head) => {
                        reached.insert(chain.clone(), head);
                    }
                    Err(gap) => {
                        broken.get_or_insert_with(|| gap.to_string());
                    }
                }
            }
            view.extend(&events);
        }
        Ok::<_, InventoryError>(())
    })?;
    if let Some(lost) = view.waiting().next() {
        broken.get_or_insert_with(|| format!("the event before {} is missing", lost.id));
    }
    let mut heads = Heads::new();
    walk(store, HEADS, &[], |row| {
        let told = read_chain(&row.key).zip(read_head(&row.value));
        let Some((chain, head)) = told else {
            broken.get_or_insert_with(|| "the head of a chain is cut short".to_owned());
            return Ok::<_, InventoryError>(());
        };
        heads.insert(chain, StoredHead { head, written_by: row.written_by });
        Ok(())
    })?;
    let ends = heads.iter().map(|(chain, stored)| (chain, Some(stored.head)));
    let mut ends =
        ends.chain(reached.keys().map(|chain| (chain, heads.get(chain).map(|h| h.head))));
    let astray = ends.find(|(chain, head)| reached.get(*chain).copied() != *head);
    if let Some((Chain { device, incarnation }, _)) = astray {
        broken.get_or_insert_with(|| {
            format!("the events of {device} (incarnation {incarnation}) do not end at their head")
        });
    }
    Ok(Found { view, reached, heads, upto, broken })
}
