//! Request ids: what each one did, so that a repeated call gets the first answer again.
//!
//! A note is written in the same commit as the events that it tells of. Notes are kept for two
//! days and dropped when the service starts. Beside them stand the name under which the service
//! records and the founder of its fleet, so that a backup knows them.

use std::collections::BTreeSet;
use std::sync::{Mutex, MutexGuard, PoisonError};

use deepbend_contract::Reader;
use deepbend_contract::pb::FaultCode;
use deepbend_ledger::event::{EventId, Hash, Sealed};
use deepbend_ledger::fold::Founder;
use deepbend_ledger::id::Id;
use deepbend_ledger::view::{EventRef, View};
use deepbend_store::inventory::Present;
use deepbend_store::{Condition, Expect, Store, StoreError, Tree, Write};

use super::PageKey;
use crate::sync::identity::{read_founder, write_founder};
use crate::today::unix_seconds;

/// What the service keeps beside the ledger: notes of requests, and the key of page tokens.
const SERVICE: Tree = Tree(3);
const PAGE_KEY: &[u8] = b"page key";
const DEVICE: &[u8] = b"device";
const FOUNDER: &[u8] = b"founder";
const REQUEST: &[u8] = b"request ";
/// The contract promises 24 hours.
const KEEP_SECONDS: u64 = 48 * 3600;
const NOTES_PAGE: usize = 500;

/// What a request did.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Done {
    /// SHA-256 of the request without its id.
    pub(super) content: [u8; 32],
    /// Number of its first event.
    first: u64,
    /// Its last event.
    last: EventId,
    /// Hash of the last event.
    last_hash: Hash,
}

impl Done {
    /// What these events do; `None` for none.
    pub(super) fn by(content: [u8; 32], events: &[Sealed]) -> Option<Self> {
        let (first, last) = (events.first()?, events.last()?);
        let (first, last_hash) = (first.event().id.sequence, last.hash());
        Some(Self { content, first, last: last.event().id.clone(), last_hash })
    }

    /// Whether an event is one of them.
    pub(super) fn recorded(&self, event: &EventId) -> bool {
        event.chain == self.last.chain
            && (self.first..=self.last.sequence).contains(&event.sequence)
    }

    /// They, in their order, as far as the view has them.
    pub(super) fn events(&self, view: &View) -> Vec<EventRef> {
        let chain = &self.last.chain;
        let all = (self.first..=self.last.sequence).map(|sequence| {
            let id = EventId { chain: chain.clone(), sequence };
            let hash = if id == self.last { Some(self.last_hash) } else { view.hash_at(&id) };
            Some(EventRef { id, hash: hash? })
        });
        all.flatten().collect()
    }

    fn is_in(&self, view: &View) -> bool {
        view.contains(&EventRef { id: self.last.clone(), hash: self.last_hash })
    }

    /// content(32) | time(8) | first(8) | last(8) | incarnation(4) | hash(32) | device
    fn write(&self, time: u64) -> Vec<u8> {
        let mut bytes = self.content.to_vec();
        bytes.extend(time.to_be_bytes());
        bytes.extend(self.first.to_be_bytes());
        bytes.extend(self.last.sequence.to_be_bytes());
        bytes.extend(self.last.chain.incarnation.to_be_bytes());
        bytes.extend(self.last_hash.as_bytes());
        bytes.extend(self.last.chain.device.as_str().as_bytes());
        bytes
    }

    fn read(bytes: &[u8]) -> Option<(Self, u64)> {
        let (content, rest) = bytes.split_first_chunk::<32>()?;
        let (time, rest) = rest.split_first_chunk::<8>()?;
        let (first, rest) = rest.split_first_chunk::<8>()?;
        let (last, rest) = rest.split_first_chunk::<8>()?;
        let (incarnation, rest) = rest.split_first_chunk::<4>()?;
        let (hash, device) = rest.split_first_chunk::<32>()?;
        let device = Id::new(std::str::from_utf8(device).ok()?).ok()?;
        let incarnation = u32::from_be_bytes(*incarnation);
        let chain = deepbend_ledger::event::Chain { device, incarnation };
        let done = Self {
            content: *content,
            first: u64::from_be_bytes(*first),
            last: EventId { chain, sequence: u64::from_be_bytes(*last) },
            last_hash: Hash::from_bytes(*hash),
        };
        Some((done, u64::from_be_bytes(*time)))
    }
}

fn key(request_id: &str) -> Vec<u8> {
    [REQUEST, request_id.as_bytes()].concat()
}

fn damaged() -> StoreError {
    StoreError::Corrupt("a note of a request cannot be read".to_owned())
}

/// The request ids that a store has a note of. Who looks into the store waits for its writer; nearly
/// all requests are new, and are recorded while others are written.
#[derive(Debug, Default)]
pub(crate) struct Requests {
    /// `None`: look for every one.
    noted: Option<Mutex<BTreeSet<String>>>,
}

impl Requests {
    /// What a request id did, if it did anything.
    pub(super) fn done(
        &self,
        present: &Present<'_>,
        request_id: &str,
    ) -> Result<Option<Done>, StoreError> {
        if self.noted().is_some_and(|noted| !noted.contains(request_id)) {
            return Ok(None);
        }
        let Some(note) = present.get(SERVICE, &key(request_id))? else { return Ok(None) };
        let (done, _) = Done::read(&note).ok_or_else(damaged)?;
        Ok(done.is_in(present.view()).then_some(done))
    }

    /// The note of what a request id does, for the commit that does it.
    pub(super) fn note(&self, request_id: &str, done: &Done) -> Write {
        if let Some(mut noted) = self.noted() {
            noted.insert(request_id.to_owned());
        }
        let value = Some(done.write(unix_seconds()));
        Write { tree: SERVICE, key: key(request_id), expect: Expect::Any, value }
    }

    fn noted(&self) -> Option<MutexGuard<'_, BTreeSet<String>>> {
        self.noted.as_ref().map(|noted| noted.lock().unwrap_or_else(PoisonError::into_inner))
    }
}

/// Reads a request id; `None` also where there is none.
pub(super) fn read_id(reader: &mut Reader<'_>, request_id: &str) -> Option<String> {
    if request_id.is_empty() {
        return None;
    }
    let groups: Vec<_> = request_id.split('-').collect();
    let uuid = groups.iter().map(|group| group.len()).eq([8, 4, 4, 4, 12])
        && groups.iter().all(|group| group.bytes().all(|b| b.is_ascii_hexdigit()));
    if !uuid {
        let right = "a UUID, for example 123e4567-e89b-42d3-a456-426614174000";
        reader.fault("request_id", FaultCode::Malformed, "is no UUID", right);
    }
    Some(request_id.to_ascii_lowercase())
}

/// Keeps the name under which the service records.
pub(crate) fn note_device(store: &dyn Store, device: &Id) -> Result<(), StoreError> {
    keep(store, DEVICE, device.as_str())
}

/// Keeps the founder of the fleet: without it every device counts.
pub(crate) fn note_founder(store: &dyn Store, founder: &Founder) -> Result<(), StoreError> {
    keep(store, FOUNDER, &write_founder(founder))
}

fn keep(store: &dyn Store, key: &[u8], text: &str) -> Result<(), StoreError> {
    if store.get(SERVICE, key)?.is_some_and(|row| row.value == text.as_bytes()) {
        return Ok(());
    }
    let (key, value) = (key.to_vec(), Some(text.as_bytes().to_vec()));
    store.commit(vec![Write { tree: SERVICE, key, expect: Expect::Any, value }])?;
    Ok(())
}

/// The founder that the service that wrote a store was told of; `None` in an open fleet, and in a
/// store from before founders were kept.
pub(crate) fn noted_founder(store: &dyn Store) -> Result<Option<Founder>, StoreError> {
    let Some(row) = store.get(SERVICE, FOUNDER)? else { return Ok(None) };
    let text = std::str::from_utf8(&row.value).ok();
    let founder = text.and_then(|text| read_founder(text).ok());
    let unread = || StoreError::Corrupt("the founder of the fleet cannot be read".to_owned());
    founder.map(Some).ok_or_else(unread)
}

/// The name under which the service that wrote a store recorded; `None` in a store from before
/// names were kept.
pub(crate) fn noted_device(store: &dyn Store) -> Result<Option<Id>, StoreError> {
    let Some(row) = store.get(SERVICE, DEVICE)? else { return Ok(None) };
    let name = std::str::from_utf8(&row.value).ok().and_then(|name| Id::new(name).ok());
    let unread = || StoreError::Corrupt("the name of the device cannot be read".to_owned());
    name.map(Some).ok_or_else(unread)
}

/// Drops notes that are older than anybody was promised, and answers the others.
pub(crate) fn forget_old(store: &dyn Store) -> Result<Requests, StoreError> {
    let mut noted = BTreeSet::new();
    let old = unix_seconds().saturating_sub(KEEP_SECONDS);
    let mut after: Option<Vec<u8>> = None;
    loop {
        let rows = store.scan(SERVICE, REQUEST, after.as_deref(), NOTES_PAGE)?;
        let Some(last) = rows.last() else {
            return Ok(Requests { noted: Some(Mutex::new(noted)) });
        };
        after = Some(last.key.clone());
        let mut writes = Vec::new();
        for row in rows {
            let (_, time) = Done::read(&row.value).ok_or_else(damaged)?;
            if time < old {
                let (key, expect) = (row.key, Expect::WrittenBy(row.written_by));
                writes.push(Write { tree: SERVICE, key, expect, value: None });
            } else if let Some(id) = row.key.strip_prefix(REQUEST) {
                noted.insert(String::from_utf8_lossy(id).into_owned());
            }
        }
        if !writes.is_empty() {
            store.commit(writes)?;
        }
    }
}

impl PageKey {
    /// The key of a store, made when it is first asked for; of a store that can only be read, a
    /// passing one if it has none.
    pub(crate) fn of(store: &dyn Store) -> Result<Self, StoreError> {
        let unusable = || StoreError::Corrupt("the key of the page tokens is cut short".to_owned());
        let read_only = matches!(store.condition(), Condition::ReadOnly(_));
        match store.get(SERVICE, PAGE_KEY) {
            Ok(Some(row)) => {
                let whole = row.value.len() == Self::BYTES;
                return whole.then(|| Self::new(&row.value)).flatten().ok_or_else(unusable);
            }
            Err(error) if !read_only => return Err(error),
            Ok(None) | Err(_) => {}
        }
        let mut bytes = [0; Self::BYTES];
        getrandom::fill(&mut bytes)
            .map_err(|error| StoreError::Unavailable(format!("no random bytes: {error}")))?;
        if !read_only {
            let (key, value) = (PAGE_KEY.to_vec(), Some(bytes.to_vec()));
            store.commit(vec![Write { tree: SERVICE, key, expect: Expect::Absent, value }])?;
        }
        Self::new(&bytes).ok_or_else(unusable)
    }
}

#[cfg(test)]
mod tests {
    use deepbend_ledger::event::Chain;
    use std::sync::Arc;

    use deepbend_store::MemoryStore;
    use deepbend_store::inventory::{Draft, Inventory, InventoryError};

    use super::*;

    // Source: the contract: the same id gives the first answer for at least 24 hours.
    #[test]
    fn a_note_without_its_events_says_nothing_and_old_ones_go() {
        let store = Arc::new(MemoryStore::default());
        let chain = Chain { device: Id::new("service").unwrap(), incarnation: 2 };
        let last = EventId { chain, sequence: 9 };
        let done = Done { content: [3; 32], first: 4, last, last_hash: Hash::of(b"x") };
        assert_eq!(Done::read(&done.write(77)), Some((done.clone(), 77)));
        store.commit(vec![Requests::default().note("new", &done)]).unwrap();
        let inventory = Inventory::open(store.clone()).unwrap();
        let asked = inventory.record(&done.last.chain.device, |present, _| {
            let answer = Requests::default().done(present, "new")?;
            Ok::<_, InventoryError>(Draft { events: Vec::new(), beside: Vec::new(), answer })
        });
        assert_eq!(asked.unwrap(), None);
        let old = Some(done.write(unix_seconds() - 49 * 3600));
        let write = Write { tree: SERVICE, key: key("old"), expect: Expect::Any, value: old };
        store.commit(vec![write]).unwrap();
        let requests = forget_old(&*store).unwrap();
        let known: Vec<_> = requests.noted().unwrap().iter().cloned().collect();
        assert_eq!(known, ["new"]);
        assert!(store.get(SERVICE, &key("old")).unwrap().is_none());
        assert!(store.get(SERVICE, &key("new")).unwrap().is_some());
        PageKey::of(&*store).unwrap();
        let kept = store.get(SERVICE, PAGE_KEY).unwrap();
        PageKey::of(&*store).unwrap();
        assert_eq!(store.get(SERVICE, PAGE_KEY).unwrap(), kept);
    }
}
