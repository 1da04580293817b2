//! Where events are prepared in their order, and wait in batches for the disk.
//!
//! The desk is ahead of the disk: its view has all events of the batches that wait and of the one
//! that is being written. Nobody is answered from it before the last of them is on the disk. When
//! a batch cannot be written, all that was prepared after it is given up with it, since it follows
//! from it, and the desk begins anew from what is on the disk.

use std::collections::{BTreeMap, VecDeque};
use std::sync::{Arc, OnceLock};

use deepbend_ledger::event::{Chain, Head, Recorder, Sealed, follow};
use deepbend_ledger::exchange::{DeviceKey, Signed};
use deepbend_ledger::id::Id;
use deepbend_ledger::view::View;

use super::layout::{
    BRANCHES, HEADS, Rows, SIGNATURES, branch_key, chain_key, head_value, named, put, read_chain,
};
use super::{Heads, InventoryError, latest};
use crate::api::{
    Expect, MAX_COMMIT_BYTES, MAX_WRITES, Seq, Store, StoreError, Tree, Write, check,
};
use crate::backup::{self, Mark};

/// Every so many events of a chain, and the last one of a batch, are signed.
pub(super) const SIGN_EVERY: u64 = 64;
/// Writes and bytes that a chain takes in a batch beside its events: its head and the signature.
const CHAIN_WRITES: usize = 2;
const CHAIN_BYTES: usize = 512;

/// What became of a batch; empty until it is known.
pub(super) type Outcome = Arc<OnceLock<Result<Seq, StoreError>>>;

/// What holds when events are composed: what is on the disk, and what will be there before them.
pub struct Present<'a> {
    view: &'a View,
    beside: &'a Beside,
    store: &'a dyn Store,
}

impl std::fmt::Debug for Present<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Present").field("view", self.view).finish_non_exhaustive()
    }
}

impl Present<'_> {
    /// The events, folded.
    #[must_use]
    pub fn view(&self) -> &View {
        self.view
    }

    /// The value of a key beside the events.
    ///
    /// # Errors
    /// As [`Store::get`].
    pub fn get(&self, tree: Tree, key: &[u8]) -> Result<Option<Vec<u8>>, StoreError> {
        match self.beside.get(&(tree, key.to_vec())) {
            Some((outcome, value)) if outcome.get().is_none() => Ok(value.clone()),
            Some(_) | None => Ok(self.store.get(tree, key)?.map(|row| row.value)),
        }
    }
}

/// What is written beside the events and may not be on the disk yet.
type Beside = BTreeMap<(Tree, Vec<u8>), (Outcome, Option<Vec<u8>>)>;

/// Writes that go to the disk together.
#[derive(Debug, Default)]
pub(super) struct Batch {
    pub(super) outcome: Outcome,
    writes: Vec<Write>,
    bytes: usize,
    /// The new ends of the chains that it lengthens.
    pub(super) heads: BTreeMap<Chain, Head>,
    /// Chains of this device that it lengthens.
    recorded: BTreeMap<Chain, Head>,
    /// Everything up to and with it.
    pub(super) view: View,
}

impl Drop for Batch {
    fn drop(&mut self) {
        // Whoever waits shall not wait for what never comes.
        let lost = StoreError::Unknown("writing ended in a panic".to_owned());
        self.outcome.get_or_init(|| Err(lost));
    }
}

impl Batch {
    /// All writes, with the heads of its chains and the signatures over them.
    pub(super) fn finish(&mut self, on_disk: &Heads, key: Option<&DeviceKey>) -> Vec<Write> {
        let mut writes = std::mem::take(&mut self.writes);
        for (chain, head) in &self.heads {
            let stored = on_disk.get(chain).map(|stored| stored.written_by);
            writes.push(Write {
                tree: HEADS,
                key: chain_key(chain),
                expect: stored.map_or(Expect::Absent, Expect::WrittenBy),
                value: Some(head_value(head)),
            });
        }
        if let Some(key) = key {
            let last = self.recorded.iter();
            for (chain, head) in last.filter(|(_, head)| !head.sequence.is_multiple_of(SIGN_EVERY))
            {
                let signature = key.sign(&head.hash);
                writes.push(put(SIGNATURES, branch_key(chain, head), signature.as_bytes()));
            }
        }
        writes
    }
}

/// Events that are prepared together, with what is written beside them: all or none.
#[derive(Debug, Default)]
struct Part {
    writes: Vec<Write>,
    rows: Rows,
    heads: BTreeMap<Chain, Head>,
}

#[derive(Debug)]
pub(super) struct Desk {
    /// Everything that is on the disk or goes there.
    view: View,
    heads: BTreeMap<Chain, Head>,
    beside: Beside,
    /// The mark of a restored store that nobody heeded; `None`: look.
    mark: Option<Option<Mark>>,
    /// The chain that was recorded here last; `None`: look.
    own: Option<Option<Chain>>,
    /// Batches that wait, the next one first. More is added to the last one.
    waiting: VecDeque<Batch>,
    /// What becomes of the batch that was begun last, written or not.
    last: Outcome,
}

impl Desk {
    /// A desk that begins from what is on the disk.
    pub(super) fn new(heads: &Heads, view: View, upto: Seq) -> Self {
        Self {
            view,
            heads: heads.iter().map(|(chain, stored)| (chain.clone(), stored.head)).collect(),
            beside: Beside::new(),
            mark: None,
            own: None,
            waiting: VecDeque::new(),
            last: Arc::new(OnceLock::from(Ok(upto))),
        }
    }

    /// Gives up all that waits, because `error` befell what it follows from.
    pub(super) fn give_up(&mut self, error: &StoreError) {
        let why = if let StoreError::Unknown(why) = error {
            StoreError::Unavailable(format!(
                "not written, because what came before it may be lost ({why}); try again"
            ))
        } else {
            error.clone()
        };
        for batch in self.waiting.drain(..) {
            batch.outcome.get_or_init(|| Err(why.clone()));
        }
    }

    /// What must be on the disk before anybody may hear of what the desk shows.
    pub(super) fn last(&self) -> Outcome {
        Arc::clone(&self.last)
    }

    pub(super) fn view(&self) -> &View {
        &self.view
    }

    pub(super) fn present<'a>(&'a self, store: &'a dyn Store) -> Present<'a> {
        Present { view: &self.view, beside: &self.beside, store }
    }

    /// The batch that is to be written next.
    pub(super) fn take(&mut self) -> Option<Batch> {
        let mut batch = self.waiting.pop_front()?;
        if self.waiting.is_empty() {
            batch.view = self.view.clone();
        }
        self.beside.retain(|_, (outcome, _)| outcome.get().is_none());
        Some(batch)
    }

    /// Who goes on with the chain of a device, or begins another one.
    pub(super) fn recorder(
        &mut self,
        store: &dyn Store,
        device: &Id,
    ) -> Result<Recorder, StoreError> {
        let further = self.mark(store)?.map(|mark| mark.further);
        let own = self.own(store)?.filter(|chain| chain.device == *device);
        let latest = latest(&self.heads, device).map(|(chain, _)| chain.clone());
        let last = latest.as_ref().map_or(0, |chain| chain.incarnation);
        let begin = |further: u32| {
            let incarnation = last.saturating_add(further);
            Recorder::begin(Chain { device: device.clone(), incarnation }, 1)
        };
        if let Some(further) = further {
            return Ok(begin(further));
        }
        let chain = own.or(latest);
        let head = chain.as_ref().and_then(|chain| self.heads.get(chain));
        let Some((chain, head)) = chain.as_ref().zip(head) else { return Ok(begin(1)) };
        Ok(if self.view.is_forked(chain) {
            // Both stores of a fork come here; each goes on from an event that the other did not
            // write, so that its hash sets them apart.
            let [a, b, ..] = *head.hash.as_bytes();
            begin(1 + u32::from(u16::from_be_bytes([a, b])))
        } else {
            Recorder::after(chain.clone(), head)
        })
    }

    fn own(&mut self, store: &dyn Store) -> Result<Option<Chain>, StoreError> {
        if let Some(own) = &self.own {
            return Ok(own.clone());
        }
        let damaged = || StoreError::Corrupt("the note of the chain recorded here".to_owned());
        let own = backup::own_chain(store)?;
        let own = own.map(|key| read_chain(&key).ok_or_else(damaged)).transpose()?;
        self.own = Some(own.clone());
        Ok(own)
    }

    fn mark(&mut self, store: &dyn Store) -> Result<Option<Mark>, StoreError> {
        if let Some(mark) = &self.mark {
            return Ok(mark.clone());
        }
        let mark = backup::restored(store)?;
        self.mark = Some(mark.clone());
        Ok(mark)
    }

    /// Prepares events of this device, all or none, each the next of its chain.
    pub(super) fn record(
        &mut self,
        events: &[Sealed],
        beside: Vec<Write>,
        key: Option<&DeviceKey>,
    ) -> Result<Outcome, InventoryError> {
        let mut part = Part { writes: beside, ..Part::default() };
        let noted: Vec<_> =
            part.writes.iter().map(|w| ((w.tree, w.key.clone()), w.value.clone())).collect();
        for event in events {
            let id = &event.event().id;
            let head = follow(part.heads.get(&id.chain).or(self.heads.get(&id.chain)), event)?;
            part.heads.insert(id.chain.clone(), head);
            part.rows.put(&mut part.writes, event);
            if let Some(key) = key
                && id.sequence.is_multiple_of(SIGN_EVERY)
            {
                let signature = key.sign(&event.hash());
                part.writes.push(put(SIGNATURES, named(event), signature.as_bytes()));
            }
        }
        let mark = self.mark.clone().flatten().filter(|_| !events.is_empty());
        part.writes.extend(mark.as_ref().map(backup::heed));
        let own = events.last().map(|event| event.event().id.chain.clone());
        let own = own.filter(|own| self.own != Some(Some(own.clone())));
        part.writes.extend(own.iter().map(|own| backup::note_own_chain(chain_key(own))));
        let recorded = part.heads.clone();
        let outcome = self.stage(part, recorded, events)?;
        for (key, value) in noted {
            self.beside.insert(key, (Arc::clone(&outcome), value));
        }
        if mark.is_some() {
            self.mark = Some(None);
        }
        if own.is_some() {
            self.own = Some(own);
        }
        Ok(outcome)
    }

    /// Prepares events that arrived, all or none.
    pub(super) fn accept(&mut self, new: &[Signed]) -> Result<Outcome, InventoryError> {
        let mut part = Part::default();
        for Signed { event, signature } in new {
            let id = &event.event().id;
            match follow(part.heads.get(&id.chain).or(self.heads.get(&id.chain)), event) {
                Ok(head) => {
                    part.heads.insert(id.chain.clone(), head);
                    part.rows.put(&mut part.writes, event);
                }
                // It was let through, so the event before it is here: this is another branch.
                Err(_) => part.writes.push(put(BRANCHES, named(event), event.bytes())),
            }
            if let Some(signature) = signature {
                part.writes.push(put(SIGNATURES, named(event), signature.as_bytes()));
            }
        }
        self.stage(part, BTreeMap::new(), new.iter().map(|signed| &signed.event))
    }

    /// Puts a part into the last batch, or into another one if it has no room left.
    fn stage<'e>(
        &mut self,
        mut part: Part,
        recorded: BTreeMap<Chain, Head>,
        events: impl IntoIterator<Item = &'e Sealed>,
    ) -> Result<Outcome, InventoryError> {
        part.rows.close(&mut part.writes);
        check(&part.writes)?;
        let bytes = part.writes.iter().map(|w| w.key.len() + w.value.as_ref().map_or(0, Vec::len));
        let bytes: usize = bytes.sum();
        let fits = |batch: &Batch| {
            let chains = batch.heads.len() + part.heads.len();
            batch.writes.len() + part.writes.len() + CHAIN_WRITES * chains <= MAX_WRITES
                && batch.bytes + bytes + CHAIN_BYTES * chains <= MAX_COMMIT_BYTES
        };
        if !self.waiting.back().is_some_and(fits) {
            let batch = Batch::default();
            if !fits(&batch) {
                let what = format!(
                    "a commit has at most {MAX_WRITES} writes and {MAX_COMMIT_BYTES} bytes, with \
                     {CHAIN_WRITES} writes and {CHAIN_BYTES} bytes for each chain"
                );
                return Err(StoreError::Malformed { index: part.writes.len(), what }.into());
            }
            if let Some(full) = self.waiting.back_mut() {
                full.view = self.view.clone();
            }
            self.last = Arc::clone(&batch.outcome);
            self.waiting.push_back(batch);
        }
        let Some(batch) = self.waiting.back_mut() else {
            return Err(StoreError::Unavailable("no batch was begun".to_owned()).into());
        };
        batch.writes.extend(part.writes);
        batch.bytes += bytes;
        batch.heads.extend(part.heads.clone());
        batch.recorded.extend(recorded);
        self.view.extend(events);
        self.heads.extend(part.heads);
        Ok(Arc::clone(&batch.outcome))
    }
}
