//! Events: what a device says happened. Never edited, never deleted.
//!
//! An event is its bytes. They are the JSON of [`Event`] with fields in the order of the struct
//! and no spaces; the hash is SHA-256 over them. Each event holds the hash of the one that its
//! device wrote before, so that a missing, changed or forked event shows.

use std::collections::BTreeSet;
use std::sync::Arc;

use serde::{Deserialize, Deserializer, Serialize, Serializer};
use sha2::{Digest, Sha256};

use crate::body::Body;
use crate::causal::Vector;
use crate::id::Id;
use crate::item::words;
pub use crate::record::{BrokenChain, Head, Recorder, Remark, follow};
use crate::text::read_text;
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
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Hash([u8; 32]);

impl Hash {
    /// The hash of some bytes.
    #[must_use]
    pub fn of(bytes: &[u8]) -> Self {
        Self(Sha256::digest(bytes).into())
    }

    /// A hash that was kept as bytes.
    #[must_use]
    pub const fn from_bytes(bytes: [u8; 32]) -> Self {
        Self(bytes)
    }

    /// Its 32 bytes.
    #[must_use]
    pub fn as_bytes(&self) -> &[u8; 32] {
        &self.0
    }

    /// Lends it out as it is written.
    fn with_text<T>(&self, to: impl FnOnce(&str) -> T) -> T {
        const DIGITS: &[u8; 16] = b"0123456789abcdef";
        let mut digits = [0; 64];
        for (pair, byte) in digits.chunks_exact_mut(2).zip(self.0) {
            pair[0] = DIGITS[usize::from(byte >> 4)];
            pair[1] = DIGITS[usize::from(byte & 15)];
        }
        // Digits are UTF-8.
        to(str::from_utf8(&digits).unwrap_or_default())
    }

    fn read(text: &str) -> Result<Self, String> {
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

impl std::fmt::Display for Hash {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        self.with_text(|text| f.write_str(text))
    }
}

impl std::fmt::Debug for Hash {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Hash({self})")
    }
}

impl TryFrom<String> for Hash {
    type Error = String;

    fn try_from(text: String) -> Result<Self, String> {
        Self::read(&text)
    }
}

impl Serialize for Hash {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        self.with_text(|text| to.serialize_str(text))
    }
}

impl<'de> Deserialize<'de> for Hash {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        read_text(from, Self::read)
    }
}

/// One life of a device: a store that was restored or cloned begins another incarnation.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Chain {
    /// The device.
    pub device: Id,
    /// Its incarnation, from 1.
    pub incarnation: u32,
}

impl std::fmt::Display for Chain {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}.{}", self.device, self.incarnation)
    }
}

impl From<Chain> for String {
    fn from(chain: Chain) -> Self {
        chain.to_string()
    }
}

impl TryFrom<String> for Chain {
    type Error = String;

    fn try_from(text: String) -> Result<Self, String> {
        let wrong = || format!("{text:?} is no chain: write device.incarnation, as B1-tablet.1");
        let (device, number) = text.split_once('.').ok_or_else(wrong)?;
        let incarnation: u32 = number.parse().map_err(|_| wrong())?;
        if incarnation.to_string() != number {
            return Err(wrong());
        }
        Ok(Self { device: Id::new(device).map_err(|_| wrong())?, incarnation })
    }
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
    /// What the device held of other chains when it wrote this, as far as it held more than at
    /// its event before. Its own earlier events and those that it supersedes it held as well.
    #[serde(default, skip_serializing_if = "Vector::is_empty")]
    pub seen: Vector,
    /// Where the actor had the item before his eyes. A claim of its place, if he saw it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seen_at: Option<Id>,
    /// The trip during which it happened.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub trip: Option<Id>,
    /// Free text.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub text: Option<String>,
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

/// An event with its bytes and their hash.
#[derive(Clone, Debug, PartialEq)]
pub struct Sealed {
    event: Arc<Event>,
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
        if *sealed.event == event {
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
        // A text is read faster than bytes; whoever reads bytes tells where they are no text.
        let event: Event = match str::from_utf8(&bytes) {
            Ok(text) => serde_json::from_str(text)?,
            Err(_) => serde_json::from_slice(&bytes)?,
        };
        if event.format != FORMAT {
            return Err(BadEvent::Format { id: event.id, format: event.format });
        }
        if event.id.chain.incarnation == 0 || event.id.sequence == 0 {
            let low = "incarnation and sequence begin at 1";
            return Err(BadEvent::Malformed(<serde_json::Error as serde::de::Error>::custom(low)));
        }
        let hash = Hash::of(&bytes);
        Ok(Self { event: Arc::new(event), bytes, hash })
    }

    /// What it says.
    #[must_use]
    pub fn event(&self) -> &Event {
        &self.event
    }

    /// What it says, shared.
    #[must_use]
    pub fn share(&self) -> Arc<Event> {
        Arc::clone(&self.event)
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
