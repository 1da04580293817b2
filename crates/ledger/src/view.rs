//! The present state: the fold of a set of events.
//!
//! Every event is put under the item that it is about, in an ordered map keyed by the event's
//! place and hash. State is read off that map, never off the order of arrival, and an event that
//! comes twice finds itself already there.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Bound;

use crate::event::{Body, Claim, EventId, Hash, Sealed};
use crate::filter::Filter;
use crate::id::Id;
use crate::item::{Item, ItemKey, ItemKind, Status};

/// One event among all, forks included: its place in its chain and its hash.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct EventRef {
    /// Its place.
    pub id: EventId,
    /// Its hash.
    pub hash: Hash,
}

impl EventRef {
    /// The reference to an event.
    #[must_use]
    pub fn to(event: &Sealed) -> Self {
        Self { id: event.event().id.clone(), hash: event.hash() }
    }
}

/// What one event says of an item, and who says it.
#[derive(Clone, Debug, PartialEq)]
pub struct Said {
    /// Who says it, when, and how well he knows.
    pub claim: Claim,
    /// What the item is.
    pub item: Item,
}

/// An item with the claims that it rests on.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    claims: BTreeMap<EventRef, Said>,
    item: Item,
}

impl Entry {
    /// The item as it counts now. Where first events contradict each other it is the one of the
    /// lowest chain and number, with the most cautious status that any of them claims.
    #[must_use]
    pub fn item(&self) -> &Item {
        &self.item
    }

    /// All first events of this item, with what each says it is.
    pub fn claims(&self) -> impl ExactSizeIterator<Item = (&EventRef, &Said)> {
        self.claims.iter()
    }

    /// Whether more than one first event claims this item.
    #[must_use]
    pub fn is_contested(&self) -> bool {
        self.claims.len() > 1
    }

    /// A text that changes whenever anything about this item changes.
    #[must_use]
    pub fn etag(&self) -> String {
        let mut bytes = Vec::with_capacity(32 * self.claims.len());
        for claim in self.claims.keys() {
            bytes.extend_from_slice(claim.hash.as_bytes());
        }
        let mut text = Hash::of(&bytes).to_string();
        text.truncate(16);
        text
    }
}

/// Events that contradict each other in a way that only a person can settle.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Conflict {
    /// One id was given to more than one item: two first events, of one kind or of several.
    SharedId {
        /// The id.
        id: Id,
        /// The first events, with the kind that each claims.
        claims: Vec<(ItemKind, EventRef)>,
    },
    /// A device wrote two different events under one number: its store was cloned or restored
    /// without a new incarnation.
    Fork {
        /// The number that was used twice.
        id: EventId,
        /// The hashes of the events that claim it.
        hashes: Vec<Hash>,
    },
}

/// The state that follows from a set of events.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct View {
    entries: BTreeMap<ItemKey, Entry>,
    by_id: BTreeMap<Id, BTreeSet<ItemKind>>,
    seen: BTreeSet<EventRef>,
    forks: BTreeSet<EventId>,
}

/// One page of a listing.
#[derive(Clone, Debug, PartialEq)]
pub struct Page<'a> {
    /// The entries, in the order of the listing.
    pub entries: Vec<&'a Entry>,
    /// Where the next page begins (after this key); `None` at the end.
    pub next_after: Option<ItemKey>,
}

impl View {
    /// Folds a set of events. The order in which they come does not matter.
    #[must_use]
    pub fn fold<'a>(events: impl IntoIterator<Item = &'a Sealed>) -> Self {
        let mut view = Self::default();
        for event in events {
            view.apply(event);
        }
        view
    }

    /// Adds one event. `false` if it was there already.
    pub fn apply(&mut self, event: &Sealed) -> bool {
        let reference = EventRef::to(event);
        if !self.seen.insert(reference.clone()) {
            return false;
        }
        if self.hashes_of(&reference.id).nth(1).is_some() {
            self.forks.insert(reference.id.clone());
        }
        match &event.event().body {
            Body::Acquired { item } => {
                let claim = event.event().claim();
                self.acquire(reference, Said { claim, item: (**item).clone() });
            }
        }
        true
    }

    fn acquire(&mut self, reference: EventRef, said: Said) {
        let key = said.item.key();
        self.by_id.entry(key.id.clone()).or_default().insert(key.kind);
        match self.entries.get_mut(&key) {
            Some(entry) => {
                entry.claims.insert(reference, said);
                if let Some(settled) = settle(&entry.claims) {
                    entry.item = settled;
                }
            }
            None => {
                let item = said.item.clone();
                let claims = BTreeMap::from([(reference, said)]);
                self.entries.insert(key, Entry { claims, item });
            }
        }
    }

    fn hashes_of<'a>(&'a self, id: &'a EventId) -> impl Iterator<Item = Hash> + 'a {
        let least = EventRef { id: id.clone(), hash: Hash::from_bytes([0; 32]) };
        self.seen.range(least..).take_while(move |r| r.id == *id).map(|r| r.hash)
    }

    /// How many events it was folded from.
    #[must_use]
    pub fn event_count(&self) -> usize {
        self.seen.len()
    }

    /// The entry of a kind and id.
    #[must_use]
    pub fn get(&self, key: &ItemKey) -> Option<&Entry> {
        self.entries.get(key)
    }

    /// All entries with an id: one, unless two kinds claim it.
    #[must_use]
    pub fn find(&self, id: &Id) -> Vec<&Entry> {
        let kinds = self.by_id.get(id).into_iter().flatten();
        kinds.filter_map(|&kind| self.get(&ItemKey { kind, id: id.clone() })).collect()
    }

    /// All entries, ordered by kind and then by the bytes of the id.
    pub fn entries(&self) -> impl Iterator<Item = &Entry> {
        self.entries.values()
    }

    /// The entries of one kind, ordered by the bytes of the id.
    pub fn of_kind(&self, kind: ItemKind) -> impl Iterator<Item = &Entry> {
        self.entries.iter().filter(move |(key, _)| key.kind == kind).map(|(_, entry)| entry)
    }

    /// Whether a boat or a place ashore with this id is known.
    #[must_use]
    pub fn is_place(&self, id: &Id) -> bool {
        self.by_id.get(id).is_some_and(|kinds| kinds.contains(&ItemKind::Boat))
    }

    /// How many entries match, on all pages together. It looks at every entry.
    #[must_use]
    pub fn count(&self, filter: &Filter) -> usize {
        self.entries.values().filter(|entry| filter.matches(entry.item())).count()
    }

    /// A page of the entries that match, at most `limit` of them, after `after`.
    #[must_use]
    pub fn page(&self, filter: &Filter, after: Option<&ItemKey>, limit: usize) -> Page<'_> {
        let from = after.map_or(Bound::Unbounded, Bound::Excluded);
        let mut matching = self
            .entries
            .range::<ItemKey, _>((from, Bound::Unbounded))
            .map(|(_, entry)| entry)
            .filter(|entry| filter.matches(entry.item()));
        let entries: Vec<_> = matching.by_ref().take(limit).collect();
        let more = matching.next().is_some();
        let next_after = entries.last().filter(|_| more).map(|entry| entry.item().key());
        Page { entries, next_after }
    }

    /// Everything that only a person can settle.
    #[must_use]
    pub fn conflicts(&self) -> Vec<Conflict> {
        let mut conflicts = Vec::new();
        for (id, kinds) in &self.by_id {
            let mut claims = Vec::new();
            for &kind in kinds {
                let entry = self.entries.get(&ItemKey { kind, id: id.clone() });
                let events = entry.into_iter().flat_map(|e| e.claims.keys());
                claims.extend(events.map(|event| (kind, event.clone())));
            }
            if claims.len() > 1 {
                conflicts.push(Conflict::SharedId { id: id.clone(), claims });
            }
        }
        for id in &self.forks {
            let hashes = self.hashes_of(id).collect();
            conflicts.push(Conflict::Fork { id: id.clone(), hashes });
        }
        conflicts
    }
}

/// The item that counts among contradicting claims; `None` without any.
fn settle(claims: &BTreeMap<EventRef, Said>) -> Option<Item> {
    let mut item = claims.values().next()?.item.clone();
    item.status = claims.values().map(|said| said.item.status).max().unwrap_or(Status::Ready);
    Some(item)
}
