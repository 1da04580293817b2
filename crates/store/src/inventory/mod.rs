//! Events in, the folded view out.
//!
//! ```text
//! tree 1, events:     device | 00 | incarnation(4) | sequence(8)            -> the event's bytes, or
//!                     00 | an LZ4 block: for this event and each after it length(4) | bytes
//! tree 2, heads:      device | 00 | incarnation(4)                          -> sequence(8) | hash(32)
//! tree 4, signatures: device | 00 | incarnation(4) | sequence(8) | hash(32) -> signature(64)
//! tree 5, branches:   device | 00 | incarnation(4) | sequence(8) | hash(32) -> the event's bytes
//! tree 6, strays:     device | 00 | incarnation(4) | sequence(8) | hash(32) -> the event's bytes
//! tree 7, signatures of strays: as tree 4
//! ```
//!
//! Events that are written together and follow each other stand in one row, up to 16 KiB before they
//! are compressed, that begins anew at every 32nd number: a row for each would cost more than all
//! the rest.
//!
//! Numbers are big-endian, an id holds no zero byte: so the events of a chain stand in their
//! order. Loading follows every chain by its hashes up to its head; an event that is missing,
//! changed or too many is an error, never a smaller fleet. Where a chain forks, the branch that
//! came first is in tree 1 and the others are in tree 5. Strays are what a damaged store had behind a
//! gap; they are offered again whenever the inventory is opened.
//!
//! Who records prepares his events at the `desk`, one after the other, and then waits for the
//! disk: whoever comes first writes all that was prepared by then as one commit, with one sync, and
//! the others find it done. Readers see what is on the disk and never wait for a writer.
//!
//! 1. `desk`: events prepared in order, in batches that wait;
//! 2. `layout`: the keys above;
//! 3. `load`: all events of a store, read and folded;
//! 4. `mend`: a store that lost some of them;
//! 5. `vouch`: signatures over what was recorded while the key was away.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, RwLock};

use deepbend_ledger::event::{
    BadEvent, BrokenChain, Chain, Claim, EventId, Hash, Head, MAX_EVENT_BYTES, Recorder, Sealed,
};
use deepbend_ledger::exchange::{DeviceKey, Fork, Inbox, Raw, Refused, Signature, Signed, Taken};
use deepbend_ledger::fold::Founder;
use deepbend_ledger::id::Id;
use deepbend_ledger::import::{FileKind, RowFault, import};
use deepbend_ledger::view::{EventRef, View};

use crate::api::{Commit, MAX_VALUE, MAX_WRITES, Seq, Store, StoreError, Write};

mod desk;
mod layout;
mod load;
mod mend;
mod vouch;

pub use desk::Present;
use desk::{Desk, Outcome, SIGN_EVERY};
use layout::{
    BRANCHES, EVENTS, Keyed, SIGNATURES, branch_key, chain_key, event_key, events_in, keyed,
    rows_of,
};
use load::load;
pub use mend::{Mended, mend};

/// Most events that a device records at once: with their signatures, the head of the chain and a
/// little beside they fit into one commit.
pub const MAX_EVENTS_AT_ONCE: usize = 9_800;
/// Events that arrived are stored in parts of at most so many; each may have a signature.
const ACCEPT_STEP: usize = 1_000;
/// Events that are read together at most, and their signatures: few events have one.
const READ_STEP: usize = 128;
const SIGNATURES_STEP: usize = 8;
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
    /// New events.
    pub accepted: usize,
    /// How many were known or waiting already.
    pub duplicates: usize,
    /// What was refused.
    pub refused: Vec<Refused>,
    /// Forks that came to light.
    pub forks: Vec<Fork>,
}

/// Events on their way to the disk.
#[derive(Debug)]
#[must_use = "they are not on the disk yet"]
pub struct Underway(Outcome);

/// The events of a store and the view that follows from them, kept in memory.
pub struct Inventory {
    store: Arc<dyn Store>,
    fleet: Fleet,
    desk: Mutex<Desk>,
    /// Held by whoever writes a batch; taken before the desk where both are held.
    heads: Mutex<Heads>,
    view: RwLock<Settled>,
}

/// A view with the number of a commit up to which it has all events.
#[derive(Clone)]
struct Settled {
    upto: Seq,
    view: Arc<View>,
}

/// The heads that are on the disk.
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

    /// Loads and folds all events of a store. Of a store that can only be read, what follows without
    /// a gap counts.
    ///
    /// # Errors
    /// [`InventoryError`] if the store cannot be read, or if an event is damaged or missing.
    pub fn open_for(store: Arc<dyn Store>, fleet: Fleet) -> Result<Self, InventoryError> {
        let (heads, settled) = load(&*store, &fleet)?;
        let desk = Mutex::new(Desk::new(&heads, View::clone(&settled.view), settled.upto));
        let (heads, view) = (Mutex::new(heads), RwLock::new(settled));
        let inventory = Self { store, fleet, desk, heads, view };
        inventory.take_back()?;
        inventory.vouch()?;
        Ok(inventory)
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
    /// for whoever is writing.
    #[must_use]
    pub fn caught_up(&self) -> Arc<View> {
        let _nobody_writes = self.heads();
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
        let heads = self.heads();
        let (chain, stored) = latest(&heads, device)?;
        Some((chain.clone(), stored.head))
    }

    /// Appends events, all or none, each the next of its chain. `Ok` means that they are on disk.
    ///
    /// # Errors
    /// [`InventoryError::Chain`] if one does not follow, or an error of the store.
    pub fn append(&self, events: &[Sealed]) -> Result<Seq, InventoryError> {
        let outcome = self.desk().record(events, Vec::new(), self.key())?;
        Ok(self.settle(&outcome)?)
    }

    /// Records what `compose` drafts from what holds and with the recorder of `device`; nobody
    /// else records in between. What it answers, faults included, is answered once all is on the
    /// disk that it was drafted from.
    ///
    /// A store that was restored, and a device whose chain forks, begin a new incarnation.
    ///
    /// # Errors
    /// What `compose` fails with, or an error of the store.
    pub fn record<T, E: From<InventoryError>>(
        &self,
        device: &Id,
        compose: impl FnOnce(&Present<'_>, &mut Recorder) -> Result<Draft<T>, E>,
    ) -> Result<T, E> {
        let (answer, outcome) = {
            let mut desk = self.desk();
            match self.draft(&mut desk, device, compose) {
                Ok((answer, outcome)) => (Ok(answer), outcome),
                Err(error) => (Err(error), desk.last()),
            }
        };
        self.settle(&outcome).map_err(InventoryError::from)?;
        answer
    }

    fn draft<T, E: From<InventoryError>>(
        &self,
        desk: &mut Desk,
        device: &Id,
        compose: impl FnOnce(&Present<'_>, &mut Recorder) -> Result<Draft<T>, E>,
    ) -> Result<(T, Outcome), E> {
        let recorder = desk.recorder(&*self.store, device);
        let mut recorder = recorder.map_err(InventoryError::from)?;
        let Draft { events, beside, answer } = compose(&desk.present(&*self.store), &mut recorder)?;
        let outcome = if events.is_empty() && beside.is_empty() {
            desk.last()
        } else {
            desk.record(&events, beside, self.key())?
        };
        Ok((answer, outcome))
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
        self.record(device, |present, recorder| {
            let events = import(files, present.view(), recorder, claim);
            let events = events.map_err(InventoryError::Rows)?;
            let answer = events.len();
            Ok(Draft { events, beside: Vec::new(), answer })
        })
    }

    /// Takes events that arrived, and puts those that may count on the disk.
    ///
    /// # Errors
    /// An error of the store; what was stored before stays, the rest must be sent again.
    pub fn accept(&self, inbox: &mut Inbox, chunk: Vec<Raw>) -> Result<Arrival, InventoryError> {
        let read = chunk.into_iter().map(Raw::read).collect();
        let (arrival, underway) = self.take_in(inbox, read)?;
        self.arrived(&underway)?;
        Ok(arrival)
    }

    /// Takes events that arrived and were read, and lets those that may count go to the disk: they
    /// are there once [`Inventory::arrived`] says so. What is taken later goes there later.
    ///
    /// # Errors
    /// An error of the store; what was stored before stays, the rest must be sent again.
    pub fn take_in(
        &self,
        inbox: &mut Inbox,
        chunk: Vec<Result<Signed, BadEvent>>,
    ) -> Result<(Arrival, Underway), InventoryError> {
        let mut arrival = Arrival::default();
        let mut chunk = chunk;
        let mut desk = self.desk();
        loop {
            let taken = inbox.take_read(desk.view(), std::mem::take(&mut chunk));
            let Taken { accepted, duplicates, refused, forks } = taken;
            arrival.accepted += accepted.len();
            arrival.duplicates += duplicates;
            arrival.refused.extend(refused);
            arrival.forks.extend(forks);
            for step in accepted.chunks(ACCEPT_STEP) {
                desk.accept(step)?;
            }
            // An enrolment may let others through.
            let enrols = |signed: &Signed| signed.event.event().body.is_about_devices();
            if !accepted.iter().any(enrols) {
                break;
            }
        }
        Ok((arrival, Underway(desk.last())))
    }

    /// Waits until what was taken in is on the disk.
    ///
    /// # Errors
    /// An error of the store; what was stored before stays, the rest must be sent again.
    pub fn arrived(&self, underway: &Underway) -> Result<(), InventoryError> {
        self.settle(&underway.0)?;
        Ok(())
    }

    /// An event as it is sent to others; `None` if it is not here.
    ///
    /// # Errors
    /// An error of the store.
    pub fn raw(&self, event: &EventRef) -> Result<Option<Raw>, StoreError> {
        let EventRef { id, hash } = event;
        let key = event_key(&id.chain, id.sequence);
        let named = branch_key(&id.chain, &Head { sequence: id.sequence, hash: *hash });
        let mut bytes = None;
        for row in rows_of(&*self.store, &id.chain, id.sequence, id.sequence)? {
            let mut events = keyed(&row)?.into_iter();
            let is_it = |(at, event): &Keyed| *at == key && Hash::of(event) == *hash;
            bytes = bytes.or(events.find(is_it).map(|(_, event)| event));
        }
        if bytes.is_none() {
            let row = self.store.get(BRANCHES, &named)?;
            bytes = row.map(|row| row.value).filter(|event| Hash::of(event) == *hash);
        }
        let Some(bytes) = bytes else { return Ok(None) };
        let signature = self.store.get(SIGNATURES, &named)?;
        let signature = signature.map(|row| read_signature(id, &row.value)).transpose()?;
        Ok(Some(Raw { bytes, signature }))
    }

    /// Events as they are sent to others, from the first on until they take `most_bytes`, at least
    /// one. Those that follow each other in a chain are read together.
    ///
    /// # Errors
    /// `Corrupt` if one is not here; else an error of the store.
    pub fn raws(&self, events: &[EventRef], most_bytes: usize) -> Result<Vec<Raw>, StoreError> {
        let mut raws = Vec::new();
        let mut bytes = 0;
        while bytes < most_bytes
            && let Some(rest) = events.get(raws.len()..)
            && !rest.is_empty()
        {
            let follows = |pair: &[EventRef]| match pair {
                [a, b] => {
                    a.id.chain == b.id.chain && a.id.sequence.checked_add(1) == Some(b.id.sequence)
                }
                _ => false,
            };
            let run = 1 + rest.windows(2).take(READ_STEP - 1).take_while(|p| follows(p)).count();
            for raw in self.read_run(&rest[..run])? {
                bytes += raw.bytes.len();
                raws.push(raw);
                if bytes >= most_bytes {
                    break;
                }
            }
        }
        Ok(raws)
    }

    /// Events of one chain that follow each other.
    fn read_run(&self, run: &[EventRef]) -> Result<Vec<Raw>, StoreError> {
        let [EventRef { id: first, .. }, ..] = run else { return Ok(Vec::new()) };
        let last = first.sequence.saturating_add(run.len() as u64 - 1);
        let rows = rows_of(&*self.store, &first.chain, first.sequence, last)?;
        let mut signatures = self.signatures(run)?;
        let events: Vec<_> = rows.iter().map(keyed).collect::<Result<_, _>>()?;
        let mut events = events.into_iter().flatten().peekable();
        let mut raws = Vec::with_capacity(run.len());
        for event in run {
            let EventRef { id, hash } = event;
            let key = event_key(&id.chain, id.sequence);
            while events.next_if(|(at, _)| *at < key).is_some() {}
            let here = |(at, event): &Keyed| *at == key && Hash::of(event) == *hash;
            let raw = match events.next_if(here) {
                Some((_, event)) => {
                    let named = branch_key(&id.chain, &Head { sequence: id.sequence, hash: *hash });
                    let signature = signatures.remove(&named);
                    let signature =
                        signature.map(|value| read_signature(id, &value)).transpose()?;
                    Some(Raw { bytes: event, signature })
                }
                // It stands on another branch.
                None => self.raw(event)?,
            };
            let lost = || StoreError::Corrupt(format!("event {id} is not here"));
            raws.push(raw.ok_or_else(lost)?);
        }
        Ok(raws)
    }

    /// The signatures over events of one chain that follow each other, by key.
    fn signatures(&self, run: &[EventRef]) -> Result<BTreeMap<Vec<u8>, Vec<u8>>, StoreError> {
        let mut all = BTreeMap::new();
        let [EventRef { id: first, .. }, ..] = run else { return Ok(all) };
        let chain = chain_key(&first.chain);
        // Every signature over an event has a longer key than the event.
        let mut after = event_key(&first.chain, first.sequence);
        let end = (first.sequence + (run.len() as u64 - 1)).checked_add(1);
        let end = end.map(|end| event_key(&first.chain, end));
        loop {
            let rows = self.store.scan(SIGNATURES, &chain, Some(&after), SIGNATURES_STEP)?;
            let full = rows.len() == SIGNATURES_STEP;
            for row in rows {
                if end.as_ref().is_some_and(|end| row.key >= *end) {
                    return Ok(all);
                }
                after.clone_from(&row.key);
                all.insert(row.key, row.value);
            }
            if !full {
                return Ok(all);
            }
        }
    }

    /// Waits until a batch is on the disk, and writes those up to it if nobody else does.
    fn settle(&self, outcome: &Outcome) -> Result<Seq, StoreError> {
        loop {
            if let Some(known) = outcome.get() {
                return known.clone();
            }
            let mut heads = self.heads();
            if outcome.get().is_none() {
                self.write_next(&mut heads);
            }
        }
    }

    /// Writes the next batch, shows it to readers, and lets go whoever waits for it.
    fn write_next(&self, heads: &mut Heads) {
        let Some(mut batch) = self.desk_beside(heads).take() else { return };
        match self.store.commit(batch.finish(heads, self.key())) {
            Ok(seq) => {
                for (chain, head) in std::mem::take(&mut batch.heads) {
                    heads.insert(chain, StoredHead { head, written_by: seq });
                }
                let view = Arc::new(std::mem::take(&mut batch.view));
                *self.view.write().unwrap_or_else(PoisonError::into_inner) =
                    Settled { upto: seq, view };
                batch.outcome.get_or_init(|| Ok(seq));
            }
            Err(error) => {
                let mut desk = self.desk_beside(heads);
                self.begin_anew(&mut desk, heads, &error);
                batch.outcome.get_or_init(|| Err(error));
            }
        }
    }

    /// Gives up what waits at the desk, and begins from what is on the disk.
    fn begin_anew(&self, desk: &mut Desk, heads: &mut Heads, error: &StoreError) {
        desk.give_up(error);
        // Somebody else wrote, or it is not known whether this was written: look. What cannot be
        // read stays as it was, and then the next write finds that its head is another one.
        if matches!(error, StoreError::Conflict { .. } | StoreError::Unknown(_))
            && let Ok((new_heads, settled)) = load(&*self.store, &self.fleet)
        {
            *heads = new_heads;
            *self.view.write().unwrap_or_else(PoisonError::into_inner) = settled;
        }
        let (upto, view) = self.settled();
        *desk = Desk::new(heads, View::clone(&view), upto);
    }

    fn heads(&self) -> MutexGuard<'_, Heads> {
        self.heads.lock().unwrap_or_else(|poisoned| {
            // Whoever wrote ended in a panic: what became of his batch is not known.
            let mut heads = poisoned.into_inner();
            let mut desk = self.desk.lock().unwrap_or_else(PoisonError::into_inner);
            self.begin_anew(&mut desk, &mut heads, &panicked());
            self.heads.clear_poison();
            self.desk.clear_poison();
            drop(desk);
            heads
        })
    }

    fn desk(&self) -> MutexGuard<'_, Desk> {
        loop {
            if let Ok(desk) = self.desk.lock() {
                return desk;
            }
            drop(self.desk_beside(&mut self.heads()));
        }
    }

    fn desk_beside(&self, heads: &mut Heads) -> MutexGuard<'_, Desk> {
        self.desk.lock().unwrap_or_else(|poisoned| {
            // Whoever prepared events ended in a panic: the view may have a part of them.
            let mut desk = poisoned.into_inner();
            self.begin_anew(&mut desk, heads, &panicked());
            self.desk.clear_poison();
            desk
        })
    }
}

fn read_signature(id: &EventId, value: &[u8]) -> Result<Signature, StoreError> {
    let damaged = || StoreError::Corrupt(format!("the signature of event {id}"));
    Signature::read(value).ok_or_else(damaged)
}

fn panicked() -> StoreError {
    StoreError::Unknown("recording ended in a panic".to_owned())
}

fn latest<'h, H>(heads: &'h BTreeMap<Chain, H>, device: &Id) -> Option<(&'h Chain, &'h H)> {
    let chain = |incarnation| Chain { device: device.clone(), incarnation };
    heads.range(chain(0)..=chain(u32::MAX)).next_back()
}

/// The events that a commit of the feed wrote.
pub fn events_of(commit: &Commit) -> impl Iterator<Item = EventRef> + '_ {
    let written = commit.changes.iter().filter(|change| matches!(change.tree, EVENTS | BRANCHES));
    // What cannot be read fails where it is loaded; here it is about nothing.
    written.flat_map(|change| {
        let value = change.value.as_deref().unwrap_or_default();
        let events = events_in(value).unwrap_or_default().into_iter();
        let read = events.filter_map(|event| Sealed::from_bytes(event).ok());
        read.map(|event| EventRef::to(&event)).collect::<Vec<_>>()
    })
}
