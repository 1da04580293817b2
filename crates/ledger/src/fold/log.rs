//! All events of all chains: which follow which, which wait for one that is missing, where a
//! chain forks, and what each device held when it wrote.

use std::sync::Arc;

use crate::causal::Vector;
use crate::event::{Chain, Event, EventId, Hash, Sealed};
use crate::exchange::Tips;
use crate::record::Head;
use crate::shared::{SharedMap, update};
use crate::view::EventRef;

/// The place of an event within its chain, forks included.
type Spot = (u64, Hash);

/// An event whose predecessors are all there.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Placed {
    pub(crate) event: Arc<Event>,
    /// What its device held of other chains when it wrote it.
    pub(crate) held: Arc<Vector>,
}

/// What adding an event did.
#[derive(Debug, Default)]
pub(crate) struct Added {
    /// The events that are placed now.
    pub(crate) placed: Vec<EventRef>,
    /// A chain that forks at a lower number than before.
    pub(crate) forked: Option<Chain>,
}

/// All events.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Log {
    placed: SharedMap<Chain, SharedMap<Spot, Placed>>,
    waiting: SharedMap<Chain, SharedMap<Spot, Arc<Event>>>,
    /// From which number on a chain is in quarantine.
    forks: SharedMap<Chain, u64>,
    count: usize,
}

const FIRST: Hash = Hash::from_bytes([0; 32]);
const LAST: Hash = Hash::from_bytes([0xff; 32]);

impl Log {
    /// Adds an event; `None` if it was there.
    pub(crate) fn add(&mut self, sealed: &Sealed) -> Option<Added> {
        let EventRef { id: EventId { chain, sequence }, hash } = EventRef::to(sealed);
        let spot = (sequence, hash);
        if self.placed.get(&chain).is_some_and(|placed| placed.contains_key(&spot))
            || self.waiting.get(&chain).is_some_and(|waiting| waiting.contains_key(&spot))
        {
            return None;
        }
        self.count += 1;
        let mut added = Added::default();
        let fork = self.forks.get(&chain).copied();
        let mut next = vec![(spot, sealed.share())];
        while let Some((spot, event)) = next.pop() {
            match self.before(&chain, &event) {
                Some(held) => {
                    self.place(&chain, spot, event, held);
                    let id = EventId { chain: chain.clone(), sequence: spot.0 };
                    added.placed.push(EventRef { id, hash: spot.1 });
                    next.extend(self.unblock(&chain, spot));
                }
                None => {
                    update(&mut self.waiting, &chain, |waiting| waiting.insert(spot, event));
                }
            }
        }
        if self.forks.get(&chain).copied() != fork {
            added.forked = Some(chain);
        }
        Some(added)
    }

    /// What the device held when it wrote the event before; `None` if that one is missing.
    fn before(&self, chain: &Chain, event: &Event) -> Option<Arc<Vector>> {
        let Some(previous) = event.previous else { return Some(Arc::default()) };
        let spot = (event.id.sequence.checked_sub(1)?, previous);
        self.placed.get(chain)?.get(&spot).map(|placed| Arc::clone(&placed.held))
    }

    fn place(&mut self, chain: &Chain, spot: Spot, event: Arc<Event>, mut held: Arc<Vector>) {
        let named = event.supersedes.iter().map(|id| (&id.chain, id.sequence));
        for (other, last) in event.seen.iter().chain(named) {
            if other != chain && held.last(other) < Some(last) {
                Arc::make_mut(&mut held).add(other, last);
            }
        }
        let root = event.previous.is_none();
        let (lowest, twice) = update(&mut self.placed, chain, |events| {
            let lowest = events.get_min().map(|((first, _), _)| *first);
            events.insert(spot, Placed { event, held });
            (lowest, events.range((spot.0, FIRST)..=(spot.0, LAST)).nth(1).is_some())
        });
        // A chain has one beginning: with two of them no part of it is beyond doubt.
        let fork = match lowest {
            Some(lowest) if root => Some(lowest.min(spot.0)),
            Some(_) | None => twice.then_some(spot.0),
        };
        if let Some(fork) = fork {
            let from = self.forks.get(chain).map_or(fork, |from| fork.min(*from));
            self.forks.insert(chain.clone(), from);
        }
    }

    /// Takes the events that wait for the one at `spot`.
    fn unblock(&mut self, chain: &Chain, (sequence, hash): Spot) -> Vec<(Spot, Arc<Event>)> {
        let Some(waiting) = self.waiting.get_mut(chain) else { return Vec::new() };
        let Some(next) = sequence.checked_add(1) else { return Vec::new() };
        let spots: Vec<Spot> = waiting
            .range((next, FIRST)..=(next, LAST))
            .filter(|(_, event)| event.previous == Some(hash))
            .map(|(spot, _)| *spot)
            .collect();
        let ready = spots.into_iter().filter_map(|spot| {
            let event = waiting.get(&spot).cloned()?;
            waiting.remove(&spot);
            Some((spot, event))
        });
        let ready = ready.collect();
        if waiting.is_empty() {
            self.waiting.remove(chain);
        }
        ready
    }

    /// How many events there are, waiting ones included.
    pub(crate) fn count(&self) -> usize {
        self.count
    }

    pub(crate) fn get(&self, event: &EventRef) -> Option<&Placed> {
        self.placed.get(&event.id.chain)?.get(&(event.id.sequence, event.hash))
    }

    /// Whether an event is there, waiting or not.
    pub(crate) fn contains(&self, event: &EventRef) -> bool {
        let spot = (event.id.sequence, event.hash);
        self.get(event).is_some()
            || self.waiting.get(&event.id.chain).is_some_and(|waiting| waiting.contains_key(&spot))
    }

    /// The placed events of a number: one, unless the chain forks.
    pub(crate) fn at(&self, id: &EventId) -> impl Iterator<Item = (EventRef, &Placed)> {
        let range = (id.sequence, FIRST)..=(id.sequence, LAST);
        let events =
            self.placed.get(&id.chain).into_iter().flat_map(move |c| c.range(range.clone()));
        let id = id.clone();
        events.map(move |(&(_, hash), placed)| (EventRef { id: id.clone(), hash }, placed))
    }

    /// The placed events of a chain from a number on, in order.
    pub(crate) fn from(
        &self,
        chain: &Chain,
        sequence: u64,
    ) -> impl DoubleEndedIterator<Item = (EventRef, &Placed)> {
        let events = self.placed.get(chain).into_iter();
        let chain = chain.clone();
        events.flat_map(move |c| c.range((sequence, FIRST)..)).map(move |(&(sequence, hash), p)| {
            (EventRef { id: EventId { chain: chain.clone(), sequence }, hash }, p)
        })
    }

    pub(crate) fn chains(&self) -> impl Iterator<Item = &Chain> {
        self.placed.keys()
    }

    /// The events that wait, with the chain and number of the one that is missing.
    pub(crate) fn waiting(&self) -> impl Iterator<Item = EventRef> {
        self.waiting.iter().flat_map(|(chain, waiting)| {
            waiting.keys().map(|&(sequence, hash)| EventRef {
                id: EventId { chain: chain.clone(), sequence },
                hash,
            })
        })
    }

    /// The number from which on a chain is in quarantine.
    pub(crate) fn fork(&self, chain: &Chain) -> Option<u64> {
        self.forks.get(chain).copied()
    }

    pub(crate) fn forks(&self) -> impl Iterator<Item = (&Chain, u64)> {
        self.forks.iter().map(|(chain, &from)| (chain, from))
    }

    pub(crate) fn is_quarantined(&self, id: &EventId) -> bool {
        self.fork(&id.chain).is_some_and(|from| id.sequence >= from)
    }

    /// Whether the device of one placed event held another when it wrote it.
    pub(crate) fn held(&self, later: &EventRef, earlier: &EventId) -> bool {
        let (id, chain) = (&later.id, &earlier.chain);
        if id.chain == *chain {
            return earlier.sequence < id.sequence;
        }
        self.get(later).is_some_and(|placed| placed.held.holds(earlier))
    }

    /// Everything that is placed.
    pub(crate) fn vector(&self) -> Vector {
        let last = |events: &SharedMap<Spot, Placed>| events.get_max().map(|((last, _), _)| *last);
        let chains = self.placed.iter();
        chains.filter_map(|(chain, events)| Some((chain.clone(), last(events)?))).collect()
    }

    /// The last events of each chain: one, unless the chain forks.
    pub(crate) fn tips(&self) -> Tips {
        let mut tips = Tips::default();
        for (chain, events) in &self.placed {
            let straight = !self.forks.contains_key(chain);
            for (&(sequence, hash), _) in events.iter().rev() {
                let next = sequence.saturating_add(1);
                let follows = |event: &Placed| event.event.previous == Some(hash);
                let after = events.range((next, FIRST)..=(next, LAST)).any(|(_, e)| follows(e));
                if !after {
                    tips.add(chain, Head { sequence, hash });
                }
                if straight {
                    break;
                }
            }
        }
        tips
    }
}
