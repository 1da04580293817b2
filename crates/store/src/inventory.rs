//! Events in, the folded view out.
//!
//! ```text
//! tree 1, events: device | 00 | incarnation(4) | sequence(8) -> the event's bytes
//! tree 2, heads:  device | 00 | incarnation(4)               -> sequence(8) | hash(32)
//! ```
//!
//! Numbers are big-endian, an id holds no zero byte: so the events of a chain stand in their
//! order. Loading follows every chain by its hashes up to its head; an event that is missing,
//! changed or too many is an error, never a smaller fleet.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, RwLock};

use deepbend_ledger::event::{
    BadEvent, BrokenChain, Chain, Claim, Hash, Head, MAX_EVENT_BYTES, Recorder, Sealed, follow,
};
use deepbend_ledger::id::Id;
use deepbend_ledger::import::{FileKind, RowFault, import};
use deepbend_ledger::view::View;

use crate::api::{Expect, MAX_VALUE, Seq, Store, StoreError, Tree, Write};

const EVENTS: Tree = Tree(1);
const HEADS: Tree = Tree(2);
/// Rows of one page while loading.
const PAGE: usize = 500;
const _: () = assert!(MAX_EVENT_BYTES <= MAX_VALUE);

/// Why the inventory did not do as asked. Nothing was recorded, unless a store error says that
/// the outcome is unknown.
#[derive(Debug, thiserror::Error)]
pub enum InventoryError {
    /// The store.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// An event does not continue the chain that is stored.
    #[error(transparent)]
    Chain(#[from] BrokenChain),
    /// What is stored is no event of this format.
    #[error("stored event: {0}")]
    Event(#[from] BadEvent),
    /// Rows that an import refused.
    #[error("{} faults, the first: {}", .0.len(), .0.first().map(ToString::to_string).unwrap_or_default())]
    Rows(Vec<RowFault>),
}

/// The events of a store and the view that follows from them, kept in memory.
pub struct Inventory {
    store: Arc<dyn Store>,
    /// Held by whoever records; the heads are those of the view.
    heads: Mutex<Heads>,
    view: RwLock<Arc<View>>,
}

type Heads = BTreeMap<Chain, StoredHead>;

#[derive(Clone, Copy, Debug)]
struct StoredHead {
    head: Head,
    written_by: Seq,
}

impl std::fmt::Debug for Inventory {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Inventory")
            .field("events", &self.view().event_count())
            .finish_non_exhaustive()
    }
}

impl Inventory {
    /// Loads and folds all events of a store.
    ///
    /// # Errors
    /// [`InventoryError`] if the store cannot be read, or if an event is damaged or missing.
    pub fn open(store: Arc<dyn Store>) -> Result<Self, InventoryError> {
        let (heads, view) = load(&*store)?;
        Ok(Self { store, heads: Mutex::new(heads), view: RwLock::new(Arc::new(view)) })
    }

    /// The view as it is now. It does not change any more: ask again for a newer one.
    #[must_use]
    pub fn view(&self) -> Arc<View> {
        Arc::clone(&self.view.read().unwrap_or_else(PoisonError::into_inner))
    }

    /// The last event of a device in its latest incarnation.
    #[must_use]
    pub fn head(&self, device: &Id) -> Option<(Chain, Head)> {
        latest(&self.lock(), device)
    }

    /// Appends events, all or none, each the next of its chain. `Ok` means that they are on disk.
    ///
    /// # Errors
    /// [`InventoryError::Chain`] if one does not follow, or an error of the store.
    pub fn append(&self, events: &[Sealed]) -> Result<Seq, InventoryError> {
        self.append_locked(&mut self.lock(), events)
    }

    /// Records files as first events of `device`, all rows or none. Answers how many items.
    ///
    /// # Errors
    /// [`InventoryError::Rows`] with every row that was refused, or an error of the store.
    pub fn import(
        &self,
        files: &[(FileKind, &str)],
        device: &Id,
        claim: &Claim,
    ) -> Result<usize, InventoryError> {
        let mut heads = self.lock();
        let mut recorder = match latest(&heads, device) {
            Some((chain, head)) => Recorder::after(chain, &head),
            None => Recorder::begin(Chain { device: device.clone(), incarnation: 1 }, 1),
        };
        let events = import(files, &self.view(), &mut recorder, claim);
        let events = events.map_err(InventoryError::Rows)?;
        self.append_locked(&mut heads, &events)?;
        Ok(events.len())
    }

    // The heads change in one step at the end of an append, so a poisoned lock guards a whole map.
    fn lock(&self) -> MutexGuard<'_, Heads> {
        self.heads.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn append_locked(&self, heads: &mut Heads, events: &[Sealed]) -> Result<Seq, InventoryError> {
        let mut ahead: BTreeMap<&Chain, Head> = BTreeMap::new();
        let mut writes = Vec::with_capacity(events.len() + 1);
        for event in events {
            let id = &event.event().id;
            let stored = heads.get(&id.chain).map(|stored| stored.head);
            let head = follow(ahead.get(&id.chain).or(stored.as_ref()), event)?;
            ahead.insert(&id.chain, head);
            writes.push(Write {
                tree: EVENTS,
                key: event_key(&id.chain, id.sequence),
                expect: Expect::Absent,
                value: Some(event.bytes().to_vec()),
            });
        }
        for (chain, head) in &ahead {
            let stored = heads.get(*chain).map(|stored| stored.written_by);
            writes.push(Write {
                tree: HEADS,
                key: chain_key(chain),
                expect: stored.map_or(Expect::Absent, Expect::WrittenBy),
                value: Some(head_value(head)),
            });
        }
        let written_by = match self.store.commit(writes) {
            Ok(seq) => seq,
            Err(error) => {
                // Somebody else wrote, or it is not known whether this was written: look.
                if matches!(error, StoreError::Conflict { .. } | StoreError::Unknown(_)) {
                    self.reload(heads)?;
                }
                return Err(error.into());
            }
        };
        let mut view = self.view.write().unwrap_or_else(PoisonError::into_inner);
        let changed = Arc::make_mut(&mut view);
        for event in events {
            changed.apply(event);
        }
        for (chain, head) in ahead {
            heads.insert(chain.clone(), StoredHead { head, written_by });
        }
        Ok(written_by)
    }

    fn reload(&self, heads: &mut Heads) -> Result<(), InventoryError> {
        let (new_heads, new_view) = load(&*self.store)?;
        *heads = new_heads;
        *self.view.write().unwrap_or_else(PoisonError::into_inner) = Arc::new(new_view);
        Ok(())
    }
}

fn latest(heads: &Heads, device: &Id) -> Option<(Chain, Head)> {
    let chain = |incarnation| Chain { device: device.clone(), incarnation };
    let (chain, stored) = heads.range(chain(0)..=chain(u32::MAX)).next_back()?;
    Some((chain.clone(), stored.head))
}

fn chain_key(chain: &Chain) -> Vec<u8> {
    let device = chain.device.as_str().as_bytes();
    [device, &[0], &chain.incarnation.to_be_bytes()].concat()
}

fn event_key(chain: &Chain, sequence: u64) -> Vec<u8> {
    [chain_key(chain), sequence.to_be_bytes().to_vec()].concat()
}

fn head_value(head: &Head) -> Vec<u8> {
    [&head.sequence.to_be_bytes()[..], head.hash.as_bytes()].concat()
}

fn read_head(value: &[u8]) -> Option<Head> {
    let (sequence, hash) = value.split_first_chunk()?;
    let sequence = u64::from_be_bytes(*sequence);
    Some(Head { sequence, hash: Hash::from_bytes(hash.try_into().ok()?) })
}

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

fn load(store: &dyn Store) -> Result<(Heads, View), InventoryError> {
    let damaged = |what: String| InventoryError::Store(StoreError::Corrupt(what));
    let mut view = View::default();
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
        view.apply(&event);
        Ok(())
    })?;
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
    match stored.keys().next() {
        None => Ok((heads, view)),
        Some(key) => Err(damaged(format!("all events of {} are missing", key.escape_ascii()))),
    }
}
