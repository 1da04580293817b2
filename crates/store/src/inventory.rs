//! Events in, the folded view out.
//!
//! ```text
//! tree 1, events:     device | 00 | incarnation(4) | sequence(8)            -> the event's bytes
//! tree 2, heads:      device | 00 | incarnation(4)                          -> sequence(8) | hash(32)
//! tree 4, signatures: device | 00 | incarnation(4) | sequence(8) | hash(32) -> signature(64)
//! tree 5, branches:   device | 00 | incarnation(4) | sequence(8) | hash(32) -> the event's bytes
//! ```
//!
//! Numbers are big-endian, an id holds no zero byte: so the events of a chain stand in their
//! order. Loading follows every chain by its hashes up to its head; an event that is missing,
//! changed or too many is an error, never a smaller fleet. Where a chain forks, the branch that
//! came first is in tree 1 and the others are in tree 5.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, RwLock};

use deepbend_ledger::event::{
    BadEvent, BrokenChain, Chain, Claim, Hash, Head, MAX_EVENT_BYTES, Recorder, Sealed, follow,
};
use deepbend_ledger::exchange::{DeviceKey, Fork, Inbox, Raw, Refused, Signature, Signed, Taken};
use deepbend_ledger::fold::Founder;
use deepbend_ledger::id::Id;
use deepbend_ledger::import::{FileKind, RowFault, import};
use deepbend_ledger::view::{Conflict, EventRef, View};

use crate::api::{
    Commit, Condition, Expect, MAX_VALUE, MAX_WRITES, Seq, Store, StoreError, Tree, Write,
};
use crate::backup;

const EVENTS: Tree = Tree(1);
const HEADS: Tree = Tree(2);
const SIGNATURES: Tree = Tree(4);
const BRANCHES: Tree = Tree(5);
/// Rows of one page while loading.
const PAGE: usize = 500;
/// Events that are folded in one step while loading.
const FOLD_STEP: usize = 10_000;
/// Every so many events of a chain, and the last one of a commit, are signed.
const SIGN_EVERY: u64 = 64;
/// Most events that a device records at once: with their signatures, the head of the chain and a
/// little beside they fit into one commit.
pub const MAX_EVENTS_AT_ONCE: usize = 9_800;
/// Events that arrived are stored in commits of at most so many; each may have a signature.
const ACCEPT_STEP: usize = 1_000;
const _: () = assert!(MAX_EVENT_BYTES <= MAX_VALUE);
const _: () =
    assert!(MAX_EVENTS_AT_ONCE + MAX_EVENTS_AT_ONCE / SIGN_EVERY as usize + 16 < MAX_WRITES);

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

/// Who counts, and who signs.
#[derive(Debug, Default)]
pub struct Fleet {
    /// The first device of the fleet; `None`: every device counts, and no signature is asked for.
    pub founder: Option<Founder>,
    /// The key that events recorded here are signed with; `None`: they are not signed.
    pub key: Option<DeviceKey>,
}

/// What a device is about to record in one commit.
#[derive(Debug)]
pub struct Draft<T> {
    /// The events, written by the recorder; none: nothing is recorded.
    pub events: Vec<Sealed>,
    /// Writes to other trees, done in the same commit.
    pub beside: Vec<Write>,
    /// What to answer once it is on disk.
    pub answer: T,
}

/// What became of events that arrived.
#[derive(Debug, Default)]
pub struct Arrival {
    /// New events; they are on disk.
    pub accepted: usize,
    /// How many were known or waiting already.
    pub duplicates: usize,
    /// What was refused.
    pub refused: Vec<Refused>,
    /// Forks that came to light.
    pub forks: Vec<Fork>,
}

/// The events of a store and the view that follows from them, kept in memory.
pub struct Inventory {
    store: Arc<dyn Store>,
    fleet: Fleet,
    /// Held by whoever records; the heads are those of the view.
    heads: Mutex<Heads>,
    view: RwLock<Settled>,
}

/// A view with the number of a commit up to which it has all events.
#[derive(Clone)]
struct Settled {
    upto: Seq,
    view: Arc<View>,
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
    /// Loads and folds all events of a store, of an open fleet and without a key.
    ///
    /// # Errors
    /// [`InventoryError`] if the store cannot be read, or if an event is damaged or missing.
    pub fn open(store: Arc<dyn Store>) -> Result<Self, InventoryError> {
        Self::open_for(store, Fleet::default())
    }

    /// Loads and folds all events of a store.
    ///
    /// # Errors
    /// [`InventoryError`] if the store cannot be read, or if an event is damaged or missing.
    pub fn open_for(store: Arc<dyn Store>, fleet: Fleet) -> Result<Self, InventoryError> {
        let (heads, settled) = load(&*store, &fleet)?;
        Ok(Self { store, fleet, heads: Mutex::new(heads), view: RwLock::new(settled) })
    }

    /// The view as it is now. It does not change any more: ask again for a newer one.
    #[must_use]
    pub fn view(&self) -> Arc<View> {
        self.settled().1
    }

    /// The view as it is now, with the number of a commit up to which it has all events.
    #[must_use]
    pub fn settled(&self) -> (Seq, Arc<View>) {
        let settled = self.view.read().unwrap_or_else(PoisonError::into_inner).clone();
        (settled.upto, settled.view)
    }

    /// The view with at least the events of every commit that the store shows by now: it waits
    /// for whoever is recording.
    #[must_use]
    pub fn caught_up(&self) -> Arc<View> {
        let _nobody_records = self.lock();
        self.view()
    }

    /// The key that events are signed with here.
    #[must_use]
    pub fn key(&self) -> Option<&DeviceKey> {
        self.fleet.key.as_ref()
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
        self.append_locked(&mut self.lock(), events, Vec::new())
    }

    /// Records what `compose` drafts from the view and with the recorder of `device`; nobody else
    /// records in between. `Ok` means that it is on disk.
    ///
    /// A store that was restored, and a device whose chain forks, begin a new incarnation.
    ///
    /// # Errors
    /// What `compose` fails with, or an error of the store.
    pub fn record<T, E: From<InventoryError>>(
        &self,
        device: &Id,
        compose: impl FnOnce(&View, &mut Recorder) -> Result<Draft<T>, E>,
    ) -> Result<T, E> {
        let mut heads = self.lock();
        let view = self.view();
        let mark = backup::restored(&*self.store).map_err(InventoryError::from)?;
        let mut recorder = recorder(&heads, &view, device, mark.is_some());
        let Draft { events, mut beside, answer } = compose(&view, &mut recorder)?;
        drop(view);
        if events.is_empty() && beside.is_empty() {
            return Ok(answer);
        }
        if let Some(mark) = mark.filter(|_| !events.is_empty()) {
            beside.push(backup::heed(&mark));
        }
        self.append_locked(&mut heads, &events, beside)?;
        Ok(answer)
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
        self.record(device, |view, recorder| {
            let events = import(files, view, recorder, claim).map_err(InventoryError::Rows)?;
            let answer = events.len();
            Ok(Draft { events, beside: Vec::new(), answer })
        })
    }

    /// Takes events that arrived, and puts those that may count on the disk.
    ///
    /// # Errors
    /// An error of the store; what was stored before stays, the rest must be sent again.
    pub fn accept(&self, inbox: &mut Inbox, chunk: Vec<Raw>) -> Result<Arrival, InventoryError> {
        let mut heads = self.lock();
        let mut arrival = Arrival::default();
        let mut chunk = chunk;
        loop {
            let taken = inbox.take(&self.view(), std::mem::take(&mut chunk));
            let Taken { accepted, duplicates, refused, forks } = taken;
            arrival.duplicates += duplicates;
            arrival.refused.extend(refused);
            arrival.forks.extend(forks);
            // An enrolment may let others through.
            let enrols = |signed: &Signed| signed.event.event().body.is_about_devices();
            let again = accepted.iter().any(enrols);
            for step in accepted.chunks(ACCEPT_STEP) {
                self.accept_locked(&mut heads, step)?;
                arrival.accepted += step.len();
            }
            if !again {
                return Ok(arrival);
            }
        }
    }

    /// An event as it is sent to others; `None` if it is not here.
    ///
    /// # Errors
    /// An error of the store.
    pub fn raw(&self, event: &EventRef) -> Result<Option<Raw>, StoreError> {
        let EventRef { id, hash } = event;
        let key = event_key(&id.chain, id.sequence);
        let named = [&key[..], hash.as_bytes()].concat();
        let of_hash = |row: &crate::Row| Hash::of(&row.value) == *hash;
        let mut row = self.store.get(EVENTS, &key)?.filter(of_hash);
        if row.is_none() {
            row = self.store.get(BRANCHES, &named)?.filter(of_hash);
        }
        let Some(row) = row else { return Ok(None) };
        let signature = match self.store.get(SIGNATURES, &named)? {
            None => None,
            Some(signature) => Some(
                <[u8; 64]>::try_from(signature.value)
                    .map(Signature::from_bytes)
                    .map_err(|_| StoreError::Corrupt(format!("the signature of event {id}")))?,
            ),
        };
        Ok(Some(Raw { bytes: row.value, signature }))
    }

    // The heads change in one step at the end of an append, so a poisoned lock guards a whole map.
    fn lock(&self) -> MutexGuard<'_, Heads> {
        self.heads.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn append_locked(
        &self,
        heads: &mut Heads,
        events: &[Sealed],
        beside: Vec<Write>,
    ) -> Result<Seq, InventoryError> {
        let mut ahead: BTreeMap<Chain, Head> = BTreeMap::new();
        let mut writes = beside;
        let last = events.last().map(Sealed::hash);
        for event in events {
            let id = &event.event().id;
            let stored = heads.get(&id.chain).map(|stored| stored.head);
            let head = follow(ahead.get(&id.chain).or(stored.as_ref()), event)?;
            ahead.insert(id.chain.clone(), head);
            writes.push(put(EVENTS, event_key(&id.chain, id.sequence), event.bytes()));
            if let Some(key) = &self.fleet.key
                && (id.sequence.is_multiple_of(SIGN_EVERY) || Some(event.hash()) == last)
            {
                writes.push(put(SIGNATURES, named(event), key.sign(&event.hash()).as_bytes()));
            }
        }
        self.commit(heads, ahead, writes, events)
    }

    fn accept_locked(&self, heads: &mut Heads, new: &[Signed]) -> Result<Seq, InventoryError> {
        let mut ahead: BTreeMap<Chain, Head> = BTreeMap::new();
        let mut writes = Vec::with_capacity(2 * new.len() + 1);
        for Signed { event, signature } in new {
            let id = &event.event().id;
            let stored = heads.get(&id.chain).map(|stored| stored.head);
            match follow(ahead.get(&id.chain).or(stored.as_ref()), event) {
                Ok(head) => {
                    ahead.insert(id.chain.clone(), head);
                    writes.push(put(EVENTS, event_key(&id.chain, id.sequence), event.bytes()));
                }
                // It was let through, so the event before it is here: this is another branch.
                Err(_) => writes.push(put(BRANCHES, named(event), event.bytes())),
            }
            if let Some(signature) = signature {
                writes.push(put(SIGNATURES, named(event), signature.as_bytes()));
            }
        }
        let events: Vec<_> = new.iter().map(|signed| signed.event.clone()).collect();
        self.commit(heads, ahead, writes, &events)
    }

    fn commit(
        &self,
        heads: &mut Heads,
        ahead: BTreeMap<Chain, Head>,
        mut writes: Vec<Write>,
        events: &[Sealed],
    ) -> Result<Seq, InventoryError> {
        for (chain, head) in &ahead {
            let stored = heads.get(chain).map(|stored| stored.written_by);
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
        let mut settled = self.view.write().unwrap_or_else(PoisonError::into_inner);
        Arc::make_mut(&mut settled.view).extend(events);
        settled.upto = written_by;
        for (chain, head) in ahead {
            heads.insert(chain, StoredHead { head, written_by });
        }
        Ok(written_by)
    }

    fn reload(&self, heads: &mut Heads) -> Result<(), InventoryError> {
        let (new_heads, settled) = load(&*self.store, &self.fleet)?;
        *heads = new_heads;
        *self.view.write().unwrap_or_else(PoisonError::into_inner) = settled;
        Ok(())
    }
}

/// The events that a commit of the feed wrote.
pub fn events_of(commit: &Commit) -> impl Iterator<Item = EventRef> + '_ {
    let written = commit.changes.iter().filter(|change| matches!(change.tree, EVENTS | BRANCHES));
    // What cannot be read fails where it is loaded; here it is about nothing.
    written.filter_map(|change| {
        let event = Sealed::from_bytes(change.value.clone()?).ok()?;
        Some(EventRef::to(&event))
    })
}

/// A row that is not there yet.
fn put(tree: Tree, key: Vec<u8>, value: &[u8]) -> Write {
    Write { tree, key, expect: Expect::Absent, value: Some(value.to_vec()) }
}

/// Who goes on with the chain of a device, or begins another one.
fn recorder(heads: &Heads, view: &View, device: &Id, restored: bool) -> Recorder {
    let Some((chain, head)) = latest(heads, device) else {
        return Recorder::begin(Chain { device: device.clone(), incarnation: 1 }, 1);
    };
    let forked = |conflict: Conflict| match conflict {
        Conflict::Fork { id, .. } => id.chain == chain,
        Conflict::SharedId { .. } => false,
    };
    let begin = |further: u32| {
        let incarnation = chain.incarnation.saturating_add(further);
        Recorder::begin(Chain { device: device.clone(), incarnation }, 1)
    };
    if restored {
        begin(1)
    } else if view.conflicts().into_iter().any(forked) {
        // Both stores of a fork come here; each goes on from an event that the other did not
        // write, so that its hash sets them apart.
        let [a, b, ..] = *head.hash.as_bytes();
        begin(1 + u32::from(u16::from_be_bytes([a, b])))
    } else {
        Recorder::after(chain, &head)
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

fn named(event: &Sealed) -> Vec<u8> {
    let id = &event.event().id;
    [&event_key(&id.chain, id.sequence)[..], event.hash().as_bytes()].concat()
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

fn load(store: &dyn Store, fleet: &Fleet) -> Result<(Heads, Settled), InventoryError> {
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
