//! A device's chain: what continues it, and writing the next event with its causal context.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use crate::body::Body;
use crate::causal::Vector;
use crate::event::{BadEvent, Chain, Claim, Event, EventId, FORMAT, Hash, Sealed};
use crate::fold::{Field, writes};
use crate::id::Id;
use crate::item::ItemKey;
use crate::view::{EventRef, View};

/// The last event of a chain.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Head {
    /// Its number.
    pub sequence: u64,
    /// Its hash.
    pub hash: Hash,
}

/// An event that does not continue its chain.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("event {id} does not continue its chain: {what}")]
pub struct BrokenChain {
    /// The event.
    pub id: EventId,
    /// What was wrong and what would be right.
    pub what: String,
}

/// Checks that an event follows `head` and gives the new head. A chain may begin at any number,
/// without a previous hash.
///
/// # Errors
/// [`BrokenChain`] if its number or its previous hash is not the one that must follow.
pub fn follow(head: Option<&Head>, next: &Sealed) -> Result<Head, BrokenChain> {
    let event = next.event();
    let broken = |what| BrokenChain { id: event.id.clone(), what };
    match head {
        Some(head) if event.id.sequence.checked_sub(1) != Some(head.sequence) => {
            let right = head.sequence.saturating_add(1);
            return Err(broken(format!("the next number is {right}")));
        }
        Some(head) if event.previous != Some(head.hash) => {
            return Err(broken(format!(
                "it does not name the hash of number {}, which is {}",
                head.sequence, head.hash
            )));
        }
        None if event.previous.is_some() => {
            return Err(broken("the event before it is missing".to_owned()));
        }
        Some(_) | None => {}
    }
    Ok(Head { sequence: event.id.sequence, hash: next.hash() })
}

/// Who says it, and what else is worth keeping of the moment.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Remark {
    /// Who says it, when, and how well he knows.
    pub claim: Claim,
    /// Where the actor had the item before his eyes.
    pub seen_at: Option<Id>,
    /// The trip during which it happened.
    pub trip: Option<Id>,
    /// Free text.
    pub text: Option<String>,
}

impl From<Claim> for Remark {
    fn from(claim: Claim) -> Self {
        Self { claim, seen_at: None, trip: None, text: None }
    }
}

/// Writes the events of one device, one after the other.
#[derive(Clone, Debug)]
pub struct Recorder {
    chain: Chain,
    next_sequence: u64,
    previous: Option<Hash>,
    /// What its events have told so far of what the device holds; `None`: look at its last event.
    told: Option<Vector>,
    /// The last event that it wrote on an item and field.
    latest: BTreeMap<(ItemKey, Field), EventId>,
}

impl Recorder {
    /// Begins a chain at a number of choice (1, unless numbers below are taken elsewhere).
    #[must_use]
    pub fn begin(chain: Chain, first_sequence: u64) -> Self {
        let (told, latest) = (Some(Vector::default()), BTreeMap::new());
        Self { chain, next_sequence: first_sequence, previous: None, told, latest }
    }

    /// Goes on after the last event of a chain.
    #[must_use]
    pub fn after(chain: Chain, head: &Head) -> Self {
        let next_sequence = head.sequence.saturating_add(1);
        let (told, latest) = (None, BTreeMap::new());
        Self { chain, next_sequence, previous: Some(head.hash), told, latest }
    }

    /// The chain.
    #[must_use]
    pub fn chain(&self) -> &Chain {
        &self.chain
    }

    /// Writes the next event with its causal context: it supersedes what `view` shows as latest
    /// on every item and field that it writes, and tells what the view holds. Events that this
    /// recorder wrote before need not be in the view yet.
    ///
    /// # Errors
    /// As [`Sealed::new`]; then the recorder has not moved on.
    pub fn write(&mut self, view: &View, remark: &Remark, body: Body) -> Result<Sealed, BadEvent> {
        let Remark { claim, seen_at, trip, text } = remark.clone();
        let held = view.vector();
        let told = self.told.clone().unwrap_or_else(|| self.told_before(view));
        let mut event = self.draft(&claim, BTreeSet::new(), body);
        event.seen = held
            .iter()
            .filter(|&(chain, last)| *chain != self.chain && told.last(chain) < Some(last))
            .map(|(chain, last)| (chain.clone(), last))
            .collect();
        (event.seen_at, event.trip, event.text) = (seen_at, trip, text);
        let fields = writes(&event);
        event.supersedes = self.superseded(view, &event.body, &fields);
        let sealed = self.seal(event)?;
        for field in fields {
            self.latest.insert(field, sealed.event().id.clone());
        }
        self.told = Some(held);
        Ok(sealed)
    }

    /// Writes the next event with a stated context.
    ///
    /// # Errors
    /// As [`Sealed::new`]; then the recorder has not moved on.
    pub fn record(
        &mut self,
        claim: &Claim,
        supersedes: BTreeSet<EventId>,
        body: Body,
    ) -> Result<Sealed, BadEvent> {
        self.seal(self.draft(claim, supersedes, body))
    }

    fn draft(&self, claim: &Claim, supersedes: BTreeSet<EventId>, body: Body) -> Event {
        Event {
            format: FORMAT,
            id: EventId { chain: self.chain.clone(), sequence: self.next_sequence },
            previous: self.previous,
            observed_time: claim.observed_time.clone(),
            actor: claim.actor.clone(),
            certainty: claim.certainty,
            supersedes,
            body,
            seen: Vector::default(),
            seen_at: None,
            trip: None,
            text: None,
        }
    }

    fn seal(&mut self, event: Event) -> Result<Sealed, BadEvent> {
        let sealed = Sealed::new(event)?;
        self.next_sequence = self.next_sequence.saturating_add(1);
        self.previous = Some(sealed.hash());
        Ok(sealed)
    }

    fn told_before(&self, view: &View) -> Vector {
        let sequence = self.next_sequence.saturating_sub(1);
        let id = EventId { chain: self.chain.clone(), sequence };
        let last = self.previous.map(|hash| EventRef { id, hash });
        last.and_then(|last| view.held_by(&last)).cloned().unwrap_or_default()
    }

    /// A correction acts at the place of the event that it corrects: there it replaces nothing
    /// but that event.
    fn superseded(
        &self,
        view: &View,
        body: &Body,
        fields: &BTreeSet<(ItemKey, Field)>,
    ) -> BTreeSet<EventId> {
        let mut superseded = BTreeSet::new();
        let mut there = BTreeSet::new();
        if let Some(target) = body.target()
            && let Some(wrong) = view.find_event(target)
        {
            superseded.insert(target.clone());
            there = writes(wrong);
        }
        for field in fields.difference(&there) {
            superseded.extend(view.latest(&field.0, &field.1));
            superseded.extend(self.latest.get(field).cloned());
        }
        superseded
    }
}
