//! Version vectors of number and hash, and what follows from two of them.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use crate::event::{Chain, EventId};
use crate::fold::Log;
use crate::record::Head;
use crate::view::EventRef;

/// Events that a node holds, with everything before them: the ends of its chains, one each,
/// unless a chain forks.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Tips(BTreeMap<Chain, BTreeSet<Head>>);

impl Tips {
    /// Adds an event.
    pub fn add(&mut self, chain: &Chain, head: Head) {
        self.0.entry(chain.clone()).or_default().insert(head);
    }

    /// The events of a chain.
    pub fn of<'t>(&'t self, chain: &Chain) -> impl Iterator<Item = &'t Head> + use<'t> {
        self.0.get(chain).into_iter().flatten()
    }

    /// Whether it says anything about a chain.
    #[must_use]
    pub fn names(&self, chain: &Chain) -> bool {
        self.0.contains_key(chain)
    }

    /// All chains and events.
    pub fn iter(&self) -> impl Iterator<Item = (&Chain, &Head)> {
        self.0.iter().flat_map(|(chain, heads)| heads.iter().map(move |head| (chain, head)))
    }
}

fn reference(chain: &Chain, head: &Head) -> EventRef {
    let id = EventId { chain: chain.clone(), sequence: head.sequence };
    EventRef { id, hash: head.hash }
}

/// For the chains with an end that `log` does not know: what it holds of them, the last events
/// and some before, at distances that grow by 16.
pub(crate) fn landmarks(log: &Log, peer: &Tips) -> Tips {
    let mut marks = Tips::default();
    let own = log.tips();
    for (chain, heads) in &peer.0 {
        if heads.iter().all(|head| log.get(&reference(chain, head)).is_some()) {
            continue;
        }
        for head in own.of(chain) {
            marks.add(chain, *head);
            let mut back = 1_u64;
            while let Some(sequence) = head.sequence.checked_sub(back) {
                let id = EventId { chain: chain.clone(), sequence };
                let mut there = log.at(&id).peekable();
                if there.peek().is_none() {
                    break;
                }
                there.for_each(|(e, _)| marks.add(chain, Head { sequence, hash: e.hash }));
                let Some(further) = back.checked_mul(16) else { break };
                back = further;
            }
        }
    }
    marks
}

/// What `log` holds and the peer does not, each event after the one before it. Chains that come
/// first in `order` are sent first.
pub(crate) fn lacking(
    log: &Log,
    peer: &Tips,
    landmarks: &Tips,
    order: impl Fn(&Chain) -> u32,
) -> Vec<EventRef> {
    let mut chains: Vec<_> = log.chains().collect();
    chains.sort_by_key(|chain| (order(chain), *chain));
    let mut all = Vec::new();
    for chain in chains {
        let heads = peer.of(chain).chain(landmarks.of(chain));
        let known: Vec<_> =
            heads.map(|h| reference(chain, h)).filter(|e| log.get(e).is_some()).collect();
        let ends = peer.of(chain).filter(|head| log.get(&reference(chain, head)).is_none());
        let ahead = ends.count() > 0;
        // The peer knows all of our ends there, or it would have sent landmarks: it is ahead.
        if ahead && !landmarks.names(chain) {
            continue;
        }
        let last = known.iter().map(|e| e.id.sequence).max();
        let Some(fork) = log.fork(chain) else {
            let from = last.map_or(0, |last| last.saturating_add(1));
            all.extend(log.from(chain, from).map(|(event, _)| event));
            continue;
        };
        // Below the fork all events stand in one line.
        let had = before(log, known, fork);
        let from = last.map_or(0, |last| last.saturating_add(1)).min(fork);
        all.extend(log.from(chain, from).map(|(event, _)| event).filter(|e| !had.contains(e)));
    }
    all
}

/// The events from which `known` follow, as far back as the fork.
fn before(log: &Log, known: Vec<EventRef>, fork: u64) -> BTreeSet<EventRef> {
    let mut had = BTreeSet::new();
    for mut event in known {
        while event.id.sequence >= fork && had.insert(event.clone()) {
            let previous = log.get(&event).and_then(|placed| placed.event.previous);
            let (Some(hash), Some(sequence)) = (previous, event.id.sequence.checked_sub(1)) else {
                break;
            };
            event = EventRef { id: EventId { sequence, ..event.id }, hash };
        }
    }
    had
}
