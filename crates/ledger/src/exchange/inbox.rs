//! What arrives from another node: checked, put in order, and let through when it may count.

use std::collections::{BTreeMap, BTreeSet};

use super::key::{Signature, verify};
use crate::event::{BadEvent, Chain, EventId, Hash, Sealed};
use crate::view::{EventRef, View};

/// How many events an inbox keeps waiting.
pub const MAX_WAITING: usize = 10_000;
/// At least every so many events of a run a signature is checked and kept, so that who passes the
/// run on can cut it there.
const CHECK_EVERY: u64 = 256;

/// An event as it arrives.
#[derive(Clone, Debug)]
pub struct Raw {
    /// The bytes that its device wrote.
    pub bytes: Vec<u8>,
    /// The signature over their hash, if it has one of its own.
    pub signature: Option<Signature>,
}

impl Raw {
    /// Reads the event; its signature is not checked. It looks at nothing else, so that many can be
    /// read at once.
    ///
    /// # Errors
    /// [`BadEvent`] if the bytes are no event.
    pub fn read(self) -> Result<Signed, BadEvent> {
        Ok(Signed { event: Sealed::from_bytes(self.bytes)?, signature: self.signature })
    }
}

/// An event with its signature. Where an [`Inbox`] let it through the signature was checked, or
/// there is none: then a later event vouches for it, or the fleet is open.
#[derive(Clone, Debug, PartialEq)]
pub struct Signed {
    /// The event.
    pub event: Sealed,
    /// The signature.
    pub signature: Option<Signature>,
}

/// Why an event was refused.
#[derive(Debug, thiserror::Error)]
pub enum Fault {
    /// It is no event.
    #[error(transparent)]
    Malformed(#[from] BadEvent),
    /// It does not continue its chain: another event stands where the one before it should.
    #[error("event {id} names {previous} as the one before it, which nobody has")]
    Broken {
        /// The event.
        id: EventId,
        /// The hash that it names.
        previous: Hash,
    },
    /// No key of its device made the signature.
    #[error("event {id}: the signature was not made with a key enrolled for this device")]
    BadSignature {
        /// The event.
        id: EventId,
    },
    /// Too many events wait already.
    #[error("event {id}: {MAX_WAITING} events wait already; send it again later")]
    Full {
        /// The event.
        id: EventId,
    },
}

/// An event that was refused.
#[derive(Debug)]
pub struct Refused {
    /// Its place in the chunk, from 0; `None` if it came earlier and waited.
    pub index: Option<usize>,
    /// Why.
    pub fault: Fault,
}

/// The proof that a chain forks: two different events under one number, both of its device.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fork {
    /// The number that was used twice.
    pub id: EventId,
    /// An event that was known.
    pub known: Hash,
    /// The one that arrived.
    pub arrived: Hash,
}

/// What became of a chunk.
#[derive(Debug, Default)]
pub struct Taken {
    /// New events, each after the one before it: store them, then add them to the view.
    pub accepted: Vec<Signed>,
    /// How many were known or waiting already.
    pub duplicates: usize,
    /// What was refused.
    pub refused: Vec<Refused>,
    /// Forks that came to light.
    pub forks: Vec<Fork>,
}

/// What an event waits for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Waits {
    /// The event before it.
    Predecessor,
    /// The enrolment of its device.
    Enrolment,
    /// A signature, its own or that of a later event.
    Signature,
}

type Spot = (u64, Hash);

#[derive(Debug)]
struct Pending {
    signed: Signed,
    index: Option<usize>,
    waits: Waits,
}

/// Holds what cannot be let through yet. It lives in memory: what it loses is sent again.
#[derive(Debug, Default)]
pub struct Inbox {
    waiting: BTreeMap<Chain, BTreeMap<Spot, Pending>>,
    count: usize,
}

impl Inbox {
    /// What waits, and for what.
    pub fn waiting(&self) -> impl Iterator<Item = (EventRef, Waits)> {
        self.waiting.iter().flat_map(|(chain, waiting)| {
            waiting.iter().map(|(&(sequence, hash), pending)| {
                let id = EventId { chain: chain.clone(), sequence };
                (EventRef { id, hash }, pending.waits)
            })
        })
    }

    /// Takes a chunk of events. Call it again with an empty one after `accepted` was added to the
    /// view and an enrolment was among it: that may let others through, and only then is refused
    /// what no key signed that is enrolled.
    pub fn take(&mut self, view: &View, chunk: Vec<Raw>) -> Taken {
        self.take_read(view, chunk.into_iter().map(Raw::read).collect())
    }

    /// As [`Inbox::take`], of events that were read before.
    pub fn take_read(&mut self, view: &View, chunk: Vec<Result<Signed, BadEvent>>) -> Taken {
        let mut taken = Taken::default();
        for (index, read) in chunk.into_iter().enumerate() {
            if let Err(fault) = self.receive(view, index, read, &mut taken) {
                taken.refused.push(Refused { index: Some(index), fault });
            }
        }
        let open = view.roll().is_open();
        let mut wrong = Vec::new();
        let chains = std::mem::take(&mut self.waiting);
        for (chain, mut waiting) in chains {
            let connected = connect(view, &chain, &mut waiting, &mut taken);
            let passed = if open {
                connected
            } else {
                vouched(view, &chain, &mut waiting, connected, &mut wrong)
            };
            for spot in passed {
                if let Some(pending) = waiting.remove(&spot) {
                    note_fork(view, &chain, spot, &mut taken);
                    taken.accepted.push(pending.signed);
                }
            }
            if !waiting.is_empty() {
                waiting.values_mut().for_each(|pending| pending.index = None);
                self.waiting.insert(chain, waiting);
            }
        }
        let enrols = |signed: &Signed| signed.event.event().body.is_about_devices();
        let other_keys = taken.accepted.iter().any(enrols);
        for Pending { signed, index, .. } in wrong {
            let EventRef { id, hash } = EventRef::to(&signed.event);
            if other_keys {
                let pending = Pending { signed, index: None, waits: Waits::Signature };
                let chain = self.waiting.entry(id.chain.clone()).or_default();
                chain.insert((id.sequence, hash), pending);
            } else {
                taken.refused.push(Refused { index, fault: Fault::BadSignature { id } });
            }
        }
        self.count = self.waiting.values().map(BTreeMap::len).sum();
        taken
    }

    fn receive(
        &mut self,
        view: &View,
        index: usize,
        read: Result<Signed, BadEvent>,
        taken: &mut Taken,
    ) -> Result<(), Fault> {
        let Signed { event, signature } = read?;
        let EventRef { id, hash } = EventRef::to(&event);
        if view.contains(&EventRef { id: id.clone(), hash }) {
            taken.duplicates += 1;
            return Ok(());
        }
        let waiting = self.waiting.entry(id.chain.clone()).or_default();
        if let Some(there) = waiting.get_mut(&(id.sequence, hash)) {
            taken.duplicates += 1;
            there.signed.signature = there.signed.signature.or(signature);
            return Ok(());
        }
        if self.count >= MAX_WAITING {
            return Err(Fault::Full { id });
        }
        self.count += 1;
        let signed = Signed { event, signature };
        let pending = Pending { signed, index: Some(index), waits: Waits::Predecessor };
        waiting.insert((id.sequence, hash), pending);
        Ok(())
    }
}

/// The events of a chain whose predecessors are all there, in order. Refuses what cannot connect.
fn connect(
    view: &View,
    chain: &Chain,
    waiting: &mut BTreeMap<Spot, Pending>,
    taken: &mut Taken,
) -> Vec<Spot> {
    let mut connected: BTreeSet<Spot> = BTreeSet::new();
    let mut broken = Vec::new();
    for (&spot, pending) in waiting.iter() {
        let event = pending.signed.event.event();
        let Some(previous) = event.previous else {
            connected.insert(spot);
            continue;
        };
        let Some(before) = spot.0.checked_sub(1) else {
            broken.push((spot, previous));
            continue;
        };
        let id = EventId { chain: chain.clone(), sequence: before };
        let there = EventRef { id: id.clone(), hash: previous };
        if connected.contains(&(before, previous)) || view.is_placed(&there) {
            connected.insert(spot);
        } else if view.find_event(&id).is_some() && !waiting.contains_key(&(before, previous)) {
            broken.push((spot, previous));
        }
    }
    for (spot, previous) in broken {
        if let Some(pending) = waiting.remove(&spot) {
            let id = pending.signed.event.event().id.clone();
            let fault = Fault::Broken { id, previous };
            taken.refused.push(Refused { index: pending.index, fault });
        }
    }
    connected.into_iter().collect()
}

/// Of connected events those that a good signature vouches for, their own or that of a later one.
/// What is signed with no key that is enrolled so far goes to `wrong`.
fn vouched(
    view: &View,
    chain: &Chain,
    waiting: &mut BTreeMap<Spot, Pending>,
    connected: Vec<Spot>,
    wrong: &mut Vec<Pending>,
) -> Vec<Spot> {
    let Some(member) = view.roll().member(&chain.device) else {
        for spot in connected {
            waiting.entry(spot).and_modify(|pending| pending.waits = Waits::Enrolment);
        }
        return Vec::new();
    };
    // Covered events, with the distance to the last signature that was checked and is kept.
    let mut covered: BTreeMap<Spot, u64> = BTreeMap::new();
    let mut passed = Vec::new();
    for spot in connected.into_iter().rev() {
        let Some(pending) = waiting.get_mut(&spot) else { continue };
        let distance = covered.get(&spot).copied();
        let wanted = distance.is_none_or(|distance| distance >= CHECK_EVERY);
        let signature = pending.signed.signature.filter(|_| wanted);
        let good = signature.is_some_and(|signature| {
            member.keys.iter().any(|key| verify(key, &spot.1, &signature).is_ok())
        });
        let distance = match (good, distance) {
            (true, _) => 0,
            (false, Some(distance)) => {
                pending.signed.signature = None;
                distance
            }
            (false, None) => {
                pending.waits = Waits::Signature;
                if signature.is_some() {
                    wrong.extend(waiting.remove(&spot));
                }
                continue;
            }
        };
        if let (Some(previous), Some(before)) =
            (pending.signed.event.event().previous, spot.0.checked_sub(1))
        {
            let nearest = covered.entry((before, previous)).or_insert(distance + 1);
            *nearest = (distance + 1).min(*nearest);
        }
        passed.push(spot);
    }
    passed.reverse();
    passed
}

fn note_fork(view: &View, chain: &Chain, (sequence, arrived): Spot, taken: &mut Taken) {
    let id = EventId { chain: chain.clone(), sequence };
    // Events are accepted in the order of their numbers.
    let here = taken.accepted.last().map(|signed| &signed.event);
    let here = here.filter(|event| event.event().id == id).map(Sealed::hash);
    if let Some(known) = view.hash_at(&id).or(here) {
        taken.forks.push(Fork { id, known, arrived });
    }
}
