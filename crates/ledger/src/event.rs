//! Events: what a device says happened. Never edited, never deleted.
//!
//! An event is its bytes. They are the JSON of [`Event`] with fields in the order of the struct
//! and no spaces; the hash is SHA-256 over them. Each event holds the hash of the one that its
//! device wrote before, so that a missing, changed or forked event shows.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use crate::id::Id;
use crate::item::{Item, ItemKey, words};
use crate::time::ObservedTime;

/// Format of the events that this version writes and reads.
pub const FORMAT: u32 = 1;
/// Greatest length of an event in bytes.
pub const MAX_EVENT_BYTES: usize = 32 * 1024;

words! {
    /// How well its actor knows what an event says, the best first.
    Certainty {
        /// Saw it or held it.
        Seen = "seen",
        /// Heard it or remembers it.
        Said = "said",
        /// Typed it in, from a list or by habit.
        Typed = "typed",
    }
}

/// SHA-256 over the bytes of an event.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Hash([u8; 32]);

impl Hash {
    /// The hash of some bytes.
    #[must_use]
    pub fn of(bytes: &[u8]) -> Self {
        Self(Sha256::digest(bytes).into())
    }

    /// A hash that was kept as bytes.
    #[must_use]
    pub fn from_bytes(bytes: [u8; 32]) -> Self {
        Self(bytes)
    }

    /// Its 32 bytes.
    #[must_use]
    pub fn as_bytes(&self) -> &[u8; 32] {
        &self.0
    }
}

impl std::fmt::Display for Hash {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        self.0.iter().try_for_each(|b| write!(f, "{b:02x}"))
    }
}

impl std::fmt::Debug for Hash {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Hash({self})")
    }
}

impl From<Hash> for String {
    fn from(hash: Hash) -> Self {
        hash.to_string()
    }
}

impl TryFrom<String> for Hash {
    type Error = String;

    fn try_from(text: String) -> Result<Self, String> {
        let wrong = || "a hash is 64 digits 0-9 a-f".to_owned();
        let b = text.as_bytes();
        if b.len() != 64 {
            return Err(wrong());
        }
        let digit = |b: u8| match b {
            b'0'..=b'9' => Some(b - b'0'),
            b'a'..=b'f' => Some(b - b'a' + 10),
            _ => None,
        };
        let mut out = [0; 32];
        for (byte, pair) in out.iter_mut().zip(b.chunks_exact(2)) {
            let (Some(high), Some(low)) = (digit(pair[0]), digit(pair[1])) else {
                return Err(wrong());
            };
            *byte = high << 4 | low;
        }
        Ok(Self(out))
    }
}

/// One life of a device: a store that was restored or cloned begins another incarnation.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Chain {
    /// The device.
    pub device: Id,
    /// Its incarnation, from 1.
    pub incarnation: u32,
}

/// The place of an event in its chain.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(from = "FlatId", into = "FlatId")]
pub struct EventId {
    /// The chain.
    pub chain: Chain,
    /// Number in the chain; each event has the number after the one before it.
    pub sequence: u64,
}

/// How an [`EventId`] is written.
#[derive(Serialize, Deserialize)]
struct FlatId {
    device: Id,
    incarnation: u32,
    sequence: u64,
}

impl From<FlatId> for EventId {
    fn from(FlatId { device, incarnation, sequence }: FlatId) -> Self {
        Self { chain: Chain { device, incarnation }, sequence }
    }
}

impl From<EventId> for FlatId {
    fn from(EventId { chain: Chain { device, incarnation }, sequence }: EventId) -> Self {
        Self { device, incarnation, sequence }
    }
}

impl std::fmt::Display for EventId {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}.{}.{}", self.chain.device, self.chain.incarnation, self.sequence)
    }
}

/// What a device says happened.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Event {
    /// Format of this event: [`FORMAT`].
    pub format: u32,
    /// Where it stands in the chain of its device.
    pub id: EventId,
    /// Hash of the event before it in the chain; `None` for the first.
    pub previous: Option<Hash>,
    /// When it was observed, as the device claims it.
    pub observed_time: ObservedTime,
    /// Who says it (a role or a person's id).
    pub actor: Id,
    /// How well the actor knows it.
    pub certainty: Certainty,
    /// The events on this item and field that the device knew as the latest, and which this one
    /// replaces. Empty for the first event of an item.
    pub supersedes: BTreeSet<EventId>,
    /// What happened.
    pub body: Body,
}

impl Event {
    /// Who says it, when, and how well he knows.
    #[must_use]
    pub fn claim(&self) -> Claim {
        Claim {
            observed_time: self.observed_time.clone(),
            actor: self.actor.clone(),
            certainty: self.certainty,
        }
    }
}

/// What happened.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Body {
    /// The first event of an item: it joined the fleet, as described.
    Acquired {
        /// The item.
        item: Box<Item>,
    },
}

impl Body {
    /// The item that it is about.
    #[must_use]
    pub fn about(&self) -> ItemKey {
        match self {
            Self::Acquired { item } => item.key(),
        }
    }
}

/// An event with its bytes and their hash.
#[derive(Clone, Debug, PartialEq)]
pub struct Sealed {
    event: Event,
    bytes: Vec<u8>,
    hash: Hash,
}

/// Bytes that are no event of this format, or an event that cannot be written.
#[derive(Debug, thiserror::Error)]
pub enum BadEvent {
    /// The bytes are no event.
    #[error("not an event of format {FORMAT}: {0}")]
    Malformed(#[from] serde_json::Error),
    /// Longer than any event may be.
    #[error("it takes {0} bytes, an event has at most {MAX_EVENT_BYTES}: shorten the texts")]
    TooLong(usize),
    /// Written by a newer version.
    #[error("event {id} has format {format}, this version reads {FORMAT}: update it first")]
    Format {
        /// The event.
        id: EventId,
        /// Its format.
        format: u32,
    },
}

impl Sealed {
    /// Writes an event down.
    ///
    /// # Errors
    /// [`BadEvent`] if it has another format than [`FORMAT`], is longer than [`MAX_EVENT_BYTES`]
    /// or cannot be read back as it is (a number that is not finite has no JSON).
    pub fn new(event: Event) -> Result<Self, BadEvent> {
        let bytes = serde_json::to_vec(&event)?;
        let sealed = Self::from_bytes(bytes)?;
        if sealed.event == event {
            return Ok(sealed);
        }
        let lossy = "a number in it is not finite";
        Err(BadEvent::Malformed(<serde_json::Error as serde::ser::Error>::custom(lossy)))
    }

    /// Reads an event from the bytes that its device wrote, and keeps them.
    ///
    /// # Errors
    /// [`BadEvent`] if they are no event, too long or of another format.
    pub fn from_bytes(bytes: Vec<u8>) -> Result<Self, BadEvent> {
        if bytes.len() > MAX_EVENT_BYTES {
            return Err(BadEvent::TooLong(bytes.len()));
        }
        let event: Event = serde_json::from_slice(&bytes)?;
        if event.format != FORMAT {
            return Err(BadEvent::Format { id: event.id, format: event.format });
        }
        let hash = Hash::of(&bytes);
        Ok(Self { event, bytes, hash })
    }

    /// What it says.
    #[must_use]
    pub fn event(&self) -> &Event {
        &self.event
    }

    /// The bytes that are stored, sent and hashed.
    #[must_use]
    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }

    /// SHA-256 over [`Sealed::bytes`].
    #[must_use]
    pub fn hash(&self) -> Hash {
        self.hash
    }
}

/// The last event of a chain.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
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

/// Writes the events of one device, one after the other.
#[derive(Clone, Debug)]
pub struct Recorder {
    chain: Chain,
    next_sequence: u64,
    previous: Option<Hash>,
}

impl Recorder {
    /// Begins a chain at a number of choice (1, unless numbers below are taken elsewhere).
    #[must_use]
    pub fn begin(chain: Chain, first_sequence: u64) -> Self {
        Self { chain, next_sequence: first_sequence, previous: None }
    }

    /// Goes on after the last event of a chain.
    #[must_use]
    pub fn after(chain: Chain, head: &Head) -> Self {
        let next_sequence = head.sequence.saturating_add(1);
        Self { chain, next_sequence, previous: Some(head.hash) }
    }

    /// Writes the next event.
    ///
    /// # Errors
    /// As [`Sealed::new`].
    pub fn record(
        &mut self,
        claim: &Claim,
        supersedes: BTreeSet<EventId>,
        body: Body,
    ) -> Result<Sealed, BadEvent> {
        let sealed = Sealed::new(Event {
            format: FORMAT,
            id: EventId { chain: self.chain.clone(), sequence: self.next_sequence },
            previous: self.previous,
            observed_time: claim.observed_time.clone(),
            actor: claim.actor.clone(),
            certainty: claim.certainty,
            supersedes,
            body,
        })?;
        self.next_sequence = self.next_sequence.saturating_add(1);
        self.previous = Some(sealed.hash());
        Ok(sealed)
    }
}

/// Who says it, when, and how well he knows.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Claim {
    /// When it was observed, as the device claims it.
    pub observed_time: ObservedTime,
    /// Who says it.
    pub actor: Id,
    /// How well the actor knows it.
    pub certainty: Certainty,
}
