//! The present state: the fold of a set of events, kept up to date event by event.
//!
//! Every event is put into the log and under the items that it is about. An item is folded anew
//! from its own events whenever one of them comes, or stands otherwise than before. So state is
//! read off the set of events, never off the order of their arrival.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Bound;
use std::sync::Arc;

use serde::Serialize;

use crate::body::{Body, Measure};
use crate::causal::Vector;
use crate::event::{Chain, Claim, Event, EventId, Hash, Sealed};
use crate::exchange::{self, Tips};
use crate::filter::Filter;
use crate::fold::{
    Corrections, Disputed, Effect, Field, Founder, Log, Roll, Standing, Story, Told, Wear, Why,
    about, latest, reach, settlements, story,
};
use crate::id::Id;
use crate::item::{Item, ItemKey, ItemKind};
use crate::shared::{Few, SharedMap, SharedSet, update};

/// One event among all, forks included: its place in its chain and its hash.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
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

/// What one first event says of an item, and who says it.
#[derive(Clone, Debug, PartialEq)]
pub struct Said(Arc<Event>);

impl Said {
    /// Who says it, when, and how well he knows.
    #[must_use]
    pub fn claim(&self) -> Claim {
        self.0.claim()
    }

    /// What the item is.
    #[must_use]
    pub fn item(&self) -> Option<&Item> {
        self.0.body.acquired().map(|item| &**item)
    }
}

/// An item with the first events that it rests on.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    claims: Vec<(EventRef, Said)>,
    item: Arc<Item>,
    disputes: BTreeSet<Disputed>,
    wear: Wear,
    pieces: Box<[PiecesAt]>,
    state: Hash,
}

/// How many pieces of an item are counted at a place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PiecesAt {
    /// The place; `None`: nobody said where.
    pub place: Option<Id>,
    /// The least that can be there. This counts.
    pub low: u32,
    /// The most that can be there.
    pub high: u32,
}

impl Entry {
    /// The item as it counts now: where its story is contested, the cautious value of each field.
    /// A contested place is no place.
    #[must_use]
    pub fn item(&self) -> &Item {
        &self.item
    }

    /// All first events of this item that were not corrected, with what each says it is.
    pub fn claims(&self) -> impl ExactSizeIterator<Item = (&EventRef, &Said)> {
        self.claims.iter().map(|(event, said)| (event, said))
    }

    /// What people must settle about it.
    #[must_use]
    pub fn disputes(&self) -> &BTreeSet<Disputed> {
        &self.disputes
    }

    /// Whether there is anything to settle.
    #[must_use]
    pub fn is_contested(&self) -> bool {
        !self.disputes.is_empty()
    }

    /// How much it was used.
    #[must_use]
    pub fn wear(&self) -> &Wear {
        &self.wear
    }

    /// Its pieces, place by place; none of what is counted by its sticker.
    #[must_use]
    pub fn pieces(&self) -> &[PiecesAt] {
        &self.pieces
    }

    /// A text that changes whenever anything about this item changes.
    #[must_use]
    pub fn etag(&self) -> String {
        let mut text = self.state.to_string();
        text.truncate(16);
        text
    }
}

/// Events that contradict each other in a way that spoils more than a field.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Conflict {
    /// One id was given to more than one item: two first events, of one kind or of several.
    SharedId {
        /// The id.
        id: Id,
        /// The first events, with the kind that each claims.
        claims: Vec<(ItemKind, EventRef)>,
    },
    /// A device wrote two different events under one number: its store was cloned or restored
    /// without a new incarnation. From there on its chain is in quarantine.
    Fork {
        /// The number that was used twice.
        id: EventId,
        /// The hashes of the events that claim it.
        hashes: Vec<Hash>,
    },
}

/// The state that follows from a set of events. Copies share what they have in common: one costs
/// next to nothing.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct View {
    log: Log,
    corrections: Corrections,
    founder: Option<Founder>,
    /// The events about devices.
    enrolments: BTreeSet<EventRef>,
    roll: Arc<Roll>,
    about: SharedMap<ItemKey, Few<EventRef>>,
    entries: SharedMap<ItemKey, Arc<Entry>>,
    /// How many entries each kind has.
    sizes: BTreeMap<ItemKind, usize>,
    by_id: SharedMap<Id, Few<ItemKind>>,
    contested: SharedSet<ItemKey>,
}

/// One page of a listing.
#[derive(Clone, Debug, PartialEq)]
pub struct Page<'a> {
    /// The entries, in the order of the listing.
    pub entries: Vec<&'a Entry>,
    /// Where the next page begins (after this key); `None` at the end.
    pub next_after: Option<ItemKey>,
}

/// Folding.
impl View {
    /// An empty fleet in which only enrolled devices count.
    #[must_use]
    pub fn founded_by(founder: Founder) -> Self {
        let mut view = Self { founder: Some(founder), ..Self::default() };
        view.enrol();
        view
    }

    /// Folds a set of events of an open fleet. The order in which they come does not matter.
    #[must_use]
    pub fn fold<'a>(events: impl IntoIterator<Item = &'a Sealed>) -> Self {
        let mut view = Self::default();
        view.extend(events);
        view
    }

    /// Adds one event. `false` if it was there already.
    pub fn apply(&mut self, event: &Sealed) -> bool {
        self.extend([event]) > 0
    }

    /// Adds events, and folds each item that they touch once. Answers how many were new.
    pub fn extend<'a>(&mut self, events: impl IntoIterator<Item = &'a Sealed>) -> usize {
        let mut touched = Vec::new();
        let mut stale = BTreeSet::new();
        let (mut new, mut enrolled) = (0, false);
        for event in events {
            let Some(added) = self.log.add(event) else { continue };
            new += 1;
            for reference in added.placed {
                let Some(placed) = self.log.get(&reference) else { continue };
                self.corrections.add(&reference, &placed.event.body);
                if placed.event.body.is_about_devices() {
                    self.enrolments.insert(reference.clone());
                    enrolled = true;
                }
                let corrects = placed.event.body.target().is_some();
                enrolled |= corrects && matches!(reach(&self.log, &reference), Ok(Some(_)));
                touched.push(reference);
            }
            // Every event from the fork on stands otherwise than before.
            if let Some(chain) = added.forked {
                let from = self.log.fork(&chain).unwrap_or(0);
                touched.extend(self.log.from(&chain, from).map(|(event, _)| event));
                enrolled = true;
            }
        }
        for event in touched {
            self.note(&event, &mut stale);
        }
        if enrolled && self.enrol() {
            stale.extend(self.about.keys().cloned());
        }
        for key in stale {
            self.settle(&key);
        }
        new
    }

    /// Files an event, and the corrections that lead to it, under their items.
    fn note(&mut self, event: &EventRef, stale: &mut BTreeSet<ItemKey>) {
        let mut file = |event: &EventRef| {
            let Some(placed) = self.log.get(event) else { return };
            for key in about(&self.log, placed) {
                update(&mut self.about, &key, |about| about.insert(event.clone()));
                stale.insert(key);
            }
        };
        if self.corrections.name(&event.id) {
            self.corrections.above(event).iter().for_each(file);
        } else {
            file(event);
        }
    }

    /// Whether the roll is another one than before.
    fn enrol(&mut self) -> bool {
        let founder = self.founder.clone();
        let roll = Roll::fold(founder, &self.log, &self.corrections, &self.enrolments);
        let changed = roll != *self.roll;
        self.roll = Arc::new(roll);
        changed
    }

    fn settle(&mut self, key: &ItemKey) {
        let entry = self.fresh(key).or_else(|| self.folded(key));
        match entry {
            Some(entry) => {
                let contested = entry.is_contested();
                let before = self.entries.insert(key.clone(), Arc::new(entry));
                if before.is_none() {
                    *self.sizes.entry(key.kind).or_default() += 1;
                    update(&mut self.by_id, &key.id, |kinds| kinds.insert(key.kind));
                }
                match (before.is_some_and(|before| before.is_contested()), contested) {
                    (false, true) => {
                        self.contested.insert(key.clone());
                    }
                    (true, false) => {
                        self.contested.remove(key);
                    }
                    (true, true) | (false, false) => {}
                }
            }
            None => {
                if self.entries.remove(key).is_none() {
                    return;
                }
                if let Some(size) = self.sizes.get_mut(&key.kind) {
                    *size -= 1;
                }
                self.contested.remove(key);
                if let Some(kinds) = self.by_id.get_mut(&key.id) {
                    kinds.remove(&key.kind);
                    if kinds.is_empty() {
                        self.by_id.remove(&key.id);
                    }
                }
            }
        }
    }

    /// The entry of an item of which nothing is known but that it was acquired: by far the most
    /// usual one in a large fleet, and the same as [`Self::folded`] finds.
    fn fresh(&self, key: &ItemKey) -> Option<Entry> {
        let mut events = self.about.get(key)?.iter();
        let (event, None) = (events.next()?, events.next()) else { return None };
        let placed = self.log.get(event)?;
        let Body::Acquired { item } = &placed.event.body else { return None };
        if self.corrections.standing(&self.log, &self.roll, event) != Standing::Acts {
            return None;
        }
        let claims = vec![(event.clone(), Said(placed.event.clone()))];
        let (item, state) = (Arc::clone(item), Hash::of(event.hash.as_bytes()));
        let whole = |all: u32| PiecesAt { place: item.place.clone(), low: all, high: all };
        let pieces = item.quantity.map(whole).into_iter().collect();
        let (disputes, wear) = (BTreeSet::new(), Wear::default());
        Some(Entry { claims, item, disputes, wear, pieces, state })
    }

    fn folded(&self, key: &ItemKey) -> Option<Entry> {
        let story = self.tell(key)?;
        let item = Arc::new(story.item?);
        let events = self.about.get(key)?;
        let mut state = Vec::new();
        let mut claims = Vec::new();
        for event in events {
            state.extend_from_slice(event.hash.as_bytes());
            let effect = story.effects.get(event)?;
            if *effect != Effect::Acts {
                state.extend_from_slice(format!("{effect:?}").as_bytes());
            }
            let heard = match effect {
                Effect::Nothing(why) => *why == Why::Quarantined,
                Effect::Acts | Effect::InPart(_) => true,
            };
            let said = Said(Arc::clone(&self.log.get(event)?.event));
            if heard && said.item().is_some_and(|item| item.key() == *key) {
                claims.push((event.clone(), said));
            }
        }
        let (disputes, wear, state) = (story.disputes, story.wear, Hash::of(&state));
        let counts = story.counts.iter().filter(|(key, _)| key.measure == Measure::Pieces);
        let pieces = counts.filter(|_| item.quantity.is_some()).map(|(key, count)| PiecesAt {
            place: key.place.clone(),
            low: count.low,
            high: count.high,
        });
        let pieces = pieces.collect();
        Some(Entry { claims, item, disputes, wear, pieces, state })
    }
}

/// Events.
impl View {
    /// How many events it was folded from.
    #[must_use]
    pub fn event_count(&self) -> usize {
        self.log.count()
    }

    /// Whether an event is there, even if it waits for the one before it.
    #[must_use]
    pub fn contains(&self, event: &EventRef) -> bool {
        self.log.contains(event)
    }

    /// Whether an event and all before it are there.
    #[must_use]
    pub fn is_placed(&self, event: &EventRef) -> bool {
        self.log.get(event).is_some()
    }

    /// What an event says; `None` if it is not here, or waits for the one before it.
    #[must_use]
    pub fn event(&self, event: &EventRef) -> Option<&Event> {
        self.log.get(event).map(|placed| &*placed.event)
    }

    /// The event at a place of a chain; of a fork the one with the lowest hash.
    #[must_use]
    pub fn find_event(&self, id: &EventId) -> Option<&Event> {
        self.log.at(id).next().map(|(_, placed)| &*placed.event)
    }

    /// The hash of the event at a place of a chain; of a fork the lowest one.
    #[must_use]
    pub fn hash_at(&self, id: &EventId) -> Option<Hash> {
        self.log.at(id).next().map(|(event, _)| event.hash)
    }

    /// The events that wait for the one before them: they have no effect yet.
    pub fn waiting(&self) -> impl Iterator<Item = EventRef> {
        self.log.waiting()
    }

    /// What became of an event, over all items that it is about; `None` if it is not here, or
    /// waits for the one before it.
    #[must_use]
    pub fn effect(&self, event: &EventRef) -> Option<Effect> {
        let body = &self.log.get(event)?.event.body;
        match self.corrections.standing(&self.log, &self.roll, event) {
            Standing::Out(why) => return Some(Effect::Nothing(why)),
            Standing::Doubtful => return Some(Effect::Nothing(Why::Quarantined)),
            Standing::Acts if body.is_about_devices() => {
                let acts = self.roll.acts(&event.id, body);
                return Some(if acts { Effect::Acts } else { Effect::Nothing(Why::NotKeeper) });
            }
            Standing::Acts => {}
        }
        let stories = self.about(event).into_iter().filter_map(|key| self.tell(&key));
        let mut effects = stories.filter_map(|mut story| story.effects.remove(event));
        let first = effects.next().unwrap_or(Effect::Acts);
        Some(effects.fold(first, Effect::and))
    }

    /// The items that an event is about, for a correction those of its target as well.
    #[must_use]
    pub fn about(&self, event: &EventRef) -> BTreeSet<ItemKey> {
        let about = self.log.get(event).map(|placed| about(&self.log, placed));
        about.unwrap_or_default().into_iter().collect()
    }

    /// The events about devices, whether they act or not.
    pub fn enrolments(&self) -> impl Iterator<Item = (&EventId, &Body)> {
        let placed = |event: &'_ EventRef| self.log.get(event).map(|placed| &placed.event.body);
        self.enrolments.iter().filter_map(move |event| Some((&event.id, placed(event)?)))
    }

    /// How many events count for nothing because of who wrote them: nobody enrolled the device, or
    /// it was revoked before them.
    #[must_use]
    pub fn uncounted_count(&self) -> usize {
        let chains = self.log.chains().filter(|chain| {
            let member = self.roll.member(&chain.device);
            !self.roll.is_open() && member.is_none_or(|member| member.revoked.is_some())
        });
        let out = |chain: &Chain| {
            let events = self.log.from(chain, 0);
            events.filter(|(event, _)| !self.roll.counts(&event.id)).count()
        };
        chains.map(out).sum()
    }

    /// Whether the device of a chain goes on under a later incarnation.
    #[must_use]
    pub fn is_left_behind(&self, chain: &Chain) -> bool {
        let mut chains = self.log.chains();
        chains.any(|c| c.device == chain.device && c.incarnation > chain.incarnation)
    }

    /// Whether a chain forks.
    #[must_use]
    pub fn is_forked(&self, chain: &Chain) -> bool {
        self.log.fork(chain).is_some()
    }

    /// What is held of every chain.
    #[must_use]
    pub fn vector(&self) -> Vector {
        self.log.vector()
    }

    /// What its device held of other chains when it wrote an event.
    #[must_use]
    pub fn held_by(&self, event: &EventRef) -> Option<&Vector> {
        self.log.get(event).map(|placed| &*placed.held)
    }

    /// What the next event on a field of an item supersedes.
    #[must_use]
    pub fn latest(&self, key: &ItemKey, field: &Field) -> BTreeSet<EventId> {
        let events = self.about.get(key).into_iter().flatten();
        latest(key, field, events.filter_map(|event| self.event(event)))
    }

    /// Which devices may write.
    #[must_use]
    pub fn roll(&self) -> &Roll {
        &self.roll
    }

    /// The revocations of a device that act.
    pub fn revocations(&self, device: &Id) -> impl Iterator<Item = &EventId> {
        let acting = self.enrolments.iter().filter(move |reference| {
            let event = self.event(reference);
            let of_device = event.is_some_and(
                |event| matches!(&event.body, Body::Revoked { device: whom, .. } if whom == device),
            );
            of_device && self.effect(reference) == Some(Effect::Acts)
        });
        acting.map(|reference| &reference.id)
    }
}

/// Exchange: see [`exchange`].
impl View {
    /// The last events of each chain.
    #[must_use]
    pub fn tips(&self) -> Tips {
        self.log.tips()
    }

    /// What is held of the chains whose ends, as the peer tells them, are not known here.
    #[must_use]
    pub fn landmarks(&self, peer: &Tips) -> Tips {
        exchange::landmarks(&self.log, peer)
    }

    /// What is here and not with a peer that told its tips and landmarks, in the order in which
    /// to send it: keepers first, each event after the one before it.
    #[must_use]
    pub fn lacking(&self, peer: &Tips, landmarks: &Tips) -> Vec<EventRef> {
        let level = |chain: &Chain| {
            let member = self.roll.member(&chain.device);
            member.map_or(u32::MAX, |member| member.level)
        };
        exchange::lacking(&self.log, peer, landmarks, level)
    }
}

/// Items.
impl View {
    /// The entry of a kind and id.
    #[must_use]
    pub fn get(&self, key: &ItemKey) -> Option<&Entry> {
        self.entries.get(key).map(|entry| &**entry)
    }

    /// All entries with an id: one, unless two kinds claim it.
    #[must_use]
    pub fn find(&self, id: &Id) -> Vec<&Entry> {
        let kinds = self.by_id.get(id).into_iter().flatten();
        kinds.filter_map(|&kind| self.get(&ItemKey { kind, id: id.clone() })).collect()
    }

    /// All entries, ordered by kind and then by the bytes of the id.
    pub fn entries(&self) -> impl Iterator<Item = &Entry> {
        self.entries.values().map(|entry| &**entry)
    }

    /// The entries of one kind, ordered by the bytes of the id.
    pub fn of_kind(&self, kind: ItemKind) -> impl Iterator<Item = &Entry> {
        self.after(kind, None)
    }

    /// The entries about which there is something to settle.
    pub fn contested(&self) -> impl Iterator<Item = &Entry> {
        self.contested.iter().filter_map(|key| self.get(key))
    }

    /// Whether a boat or a place ashore with this id is known.
    #[must_use]
    pub fn is_place(&self, id: &Id) -> bool {
        self.by_id.get(id).is_some_and(|kinds| kinds.contains(&ItemKind::Boat))
    }

    /// Everything about one item: every claim, every count, what became of each event. `None` if
    /// no event is about it. It is folded when asked for.
    #[must_use]
    pub fn tell(&self, key: &ItemKey) -> Option<Story> {
        let events = self.about.get(key)?;
        Some(story(key, &self.log, &self.roll, &self.corrections, events))
    }

    /// The rod that a reel is on, or was on last, as far as events tell.
    #[must_use]
    pub fn last_on(&self, reel: &Id) -> Option<Id> {
        let history = self.history(&ItemKey { kind: ItemKind::Reel, id: reel.clone() });
        history.iter().rev().filter(|told| told.effect == Effect::Acts).find_map(|told| {
            let Body::Rigged { rod, reel: on, leader: _ } = &told.event.body else { return None };
            (on == reel).then(|| rod.clone())
        })
    }

    /// An item in every way in which people could settle what is contested about it, at most
    /// `most`; where nothing is, as it is.
    #[must_use]
    pub fn settlements(&self, key: &ItemKey, most: usize) -> Vec<Item> {
        let Some(events) = self.about.get(key) else { return Vec::new() };
        settlements(key, &self.log, &self.roll, &self.corrections, events, most)
    }

    /// The same state, supposing that an item is as told and nobody disputes it. Of events it
    /// knows no more than before.
    #[must_use]
    pub fn supposing(&self, item: Item) -> Self {
        let mut view = self.clone();
        let key = item.key();
        if let Some(entry) = self.entries.get(&key) {
            let (item, disputes) = (Arc::new(item), BTreeSet::new());
            let entry = Entry { item, disputes, ..Entry::clone(entry) };
            view.entries.insert(key.clone(), Arc::new(entry));
            view.contested.remove(&key);
        }
        view
    }

    /// The events of an item with what became of each, causes before what they caused where that
    /// is known; what devices wrote without knowing of each other stands in the order of chains.
    #[must_use]
    pub fn history(&self, key: &ItemKey) -> Vec<Told<'_>> {
        let Some(mut story) = self.tell(key) else { return Vec::new() };
        let mut told: Vec<_> = story
            .effects
            .iter_mut()
            .filter_map(|(reference, effect)| {
                let placed = self.log.get(reference)?;
                let others = placed.held.iter().map(|(_, last)| u128::from(last)).sum::<u128>();
                let depth = others + u128::from(reference.id.sequence);
                let effect = effect.clone();
                let reference = reference.clone();
                Some((depth, Told { reference, event: &placed.event, effect }))
            })
            .collect();
        told.sort_by(|(a, x), (b, y)| (a, &x.reference).cmp(&(b, &y.reference)));
        told.into_iter().map(|(_, told)| told).collect()
    }

    /// How many entries match, on all pages together. It looks at every entry, unless kinds are
    /// all that the filter asks for.
    #[must_use]
    pub fn count(&self, filter: &Filter) -> usize {
        let sizes = self.sizes.iter().filter(|(kind, _)| filter.may_be(**kind));
        if filter.asks_for_kinds_only() {
            return sizes.map(|(_, size)| size).sum();
        }
        let entries = sizes.flat_map(|(kind, _)| self.of_kind(*kind));
        entries.filter(|entry| filter.matches(entry.item())).count()
    }

    /// The entries of a kind that come after a key.
    fn after(&self, kind: ItemKind, after: Option<&ItemKey>) -> impl Iterator<Item = &Entry> {
        let from = match after {
            Some(key) if key.kind == kind => Bound::Excluded(key.clone()),
            Some(_) | None => Bound::Included(ItemKey { kind, id: Id::lowest() }),
        };
        let entries = self.entries.range::<_, ItemKey>((from, Bound::Unbounded));
        entries.take_while(move |(key, _)| key.kind == kind).map(|(_, entry)| &**entry)
    }

    /// A page of the entries that match, at most `limit` of them, after `after`.
    #[must_use]
    pub fn page(&self, filter: &Filter, after: Option<&ItemKey>, limit: usize) -> Page<'_> {
        let kinds = self.sizes.keys().copied();
        let mut matching = kinds
            .filter(|kind| filter.may_be(*kind) && after.is_none_or(|after| *kind >= after.kind))
            .flat_map(|kind| self.after(kind, after))
            .filter(|entry| filter.matches(entry.item()));
        let entries: Vec<_> = matching.by_ref().take(limit).collect();
        let more = matching.next().is_some();
        let next_after = entries.last().filter(|_| more).map(|entry| entry.item().key());
        Page { entries, next_after }
    }

    /// The ids that more than one item bears, and the chains that fork.
    #[must_use]
    pub fn conflicts(&self) -> Vec<Conflict> {
        let mut conflicts = Vec::new();
        for (id, kinds) in &self.by_id {
            let mut claims = Vec::new();
            for &kind in kinds {
                let entry = self.entries.get(&ItemKey { kind, id: id.clone() });
                let events = entry.into_iter().flat_map(|e| &e.claims).map(|(event, _)| event);
                claims.extend(events.map(|event| (kind, event.clone())));
            }
            if claims.len() > 1 {
                conflicts.push(Conflict::SharedId { id: id.clone(), claims });
            }
        }
        for (chain, sequence) in self.log.forks() {
            let id = EventId { chain: chain.clone(), sequence };
            let hashes = self.log.at(&id).map(|(event, _)| event.hash).collect();
            conflicts.push(Conflict::Fork { id, hashes });
        }
        conflicts
    }

    /// The whole state as bytes: the same set of events and the same founder give the same ones.
    /// They are for comparing, not for keeping.
    ///
    /// # Errors
    /// None that is known: everything in a state has a JSON.
    pub fn state(&self) -> Result<Vec<u8>, serde_json::Error> {
        let items: Vec<_> = self.about.keys().map(|key| (key, self.tell(key))).collect();
        let disputes: Vec<_> = self.contested.iter().collect();
        let waiting: Vec<_> = self.waiting().collect();
        serde_json::to_vec(&(
            self.event_count(),
            items,
            disputes,
            waiting,
            self.conflicts(),
            &self.roll,
        ))
    }
}
