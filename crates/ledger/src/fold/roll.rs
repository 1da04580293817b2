//! The roll: which devices may write, as told by enrolments and revocations.
//!
//! A fleet has one founder, a device and a key that every node is configured with. The founder is
//! a keeper; a keeper may enrol devices, and may enrol keepers. A device stands one step below the
//! keeper that enrolled it, as near to the founder as any enrolment puts it. A revocation acts if
//! a keeper nearer to the founder wrote it, or the device itself: so two stolen tablets cannot
//! revoke everybody else, and no two revocations can contradict each other. What a device wrote
//! beyond the number that its revocation names is kept and counts for nothing. Several revocations
//! of a device leave what all of them leave. A revocation by mistake is corrected, like any event,
//! by a keeper that stands above the device; the device itself, or who stole it, cannot.
//!
//! Without a founder the fleet is open: every device counts, and no signature is asked for.

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;

use super::log::Log;
use super::standing::{Corrections, reach};
use crate::body::Body;
use crate::event::EventId;
use crate::exchange::PublicKey;
use crate::id::Id;
use crate::view::EventRef;

/// The first device of a fleet, which every node is told of.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Founder {
    /// The device.
    pub device: Id,
    /// Its key.
    pub key: PublicKey,
}

/// A device that may write, or might once.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Member {
    /// Keys that its events may be signed with.
    pub keys: BTreeSet<PublicKey>,
    /// Whether it may enrol and revoke.
    pub keeper: bool,
    /// Steps from the founder.
    pub level: u32,
    /// If it is revoked: by incarnation, the last number that still counts.
    pub revoked: Option<BTreeMap<u32, u64>>,
}

impl Member {
    fn new(level: u32) -> Self {
        Self { keys: BTreeSet::new(), keeper: false, level, revoked: None }
    }

    fn counts(&self, id: &EventId) -> bool {
        self.revoked.as_ref().is_none_or(|last| {
            last.get(&id.chain.incarnation).is_some_and(|&last| id.sequence <= last)
        })
    }

    fn revoke(&mut self, last: &BTreeMap<u32, u64>) {
        self.revoked = Some(match self.revoked.take() {
            None => last.clone(),
            Some(old) => {
                let both = old.into_iter().filter_map(|(incarnation, old)| {
                    Some((incarnation, old.min(*last.get(&incarnation)?)))
                });
                both.collect()
            }
        });
    }
}

/// The devices of a fleet.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Roll {
    founder: Option<Founder>,
    members: BTreeMap<Id, Member>,
}

impl Roll {
    /// Whether every device counts, because no founder is named.
    #[must_use]
    pub fn is_open(&self) -> bool {
        self.founder.is_none()
    }

    /// The founder.
    #[must_use]
    pub fn founder(&self) -> Option<&Founder> {
        self.founder.as_ref()
    }

    /// A device, if it is or was enrolled.
    #[must_use]
    pub fn member(&self, device: &Id) -> Option<&Member> {
        self.members.get(device)
    }

    /// All devices that are or were enrolled, by name.
    pub fn members(&self) -> impl ExactSizeIterator<Item = (&Id, &Member)> {
        self.members.iter()
    }

    /// Whether others take what a device signs with a key.
    #[must_use]
    pub fn knows(&self, device: &Id, key: &PublicKey) -> bool {
        let enrolled = self.member(device).is_some_and(|member| member.keys.contains(key));
        self.is_open() || enrolled
    }

    /// Whether what stands at this place of a chain counts.
    #[must_use]
    pub fn counts(&self, id: &EventId) -> bool {
        self.is_open() || self.member(&id.chain.device).is_some_and(|member| member.counts(id))
    }

    /// Whether an event about devices acts.
    pub(crate) fn acts(&self, id: &EventId, body: &Body) -> bool {
        let Some(by) = self.member(&id.chain.device).filter(|by| by.counts(id)) else {
            return false;
        };
        let below = |device: &Id| self.member(device).filter(|device| device.level > by.level);
        if let Body::Enrolled { device, key, .. } = body {
            return by.keeper && below(device).is_some_and(|device| device.keys.contains(key));
        }
        if let Body::Revoked { device, .. } = body {
            return *device == id.chain.device || (by.keeper && below(device).is_some());
        }
        false
    }

    /// Whether a device may correct a revocation of another.
    pub(crate) fn may_correct(&self, by: &Id, revoked: &Id) -> bool {
        let (by, revoked) = (self.member(by), self.member(revoked));
        by.zip(revoked).is_some_and(|(by, revoked)| by.keeper && by.level < revoked.level)
    }

    /// Folds the events about devices, from the founder outwards.
    pub(crate) fn fold(
        founder: Option<Founder>,
        log: &Log,
        corrections: &Corrections,
        events: &BTreeSet<EventRef>,
    ) -> Self {
        let Some(first) = founder else { return Self::default() };
        let mut start = Member::new(0);
        start.keeper = true;
        start.keys.insert(first.key);
        let mut roll = Self { members: BTreeMap::new(), founder: Some(first.clone()) };
        let mut level = BTreeMap::from([(first.device, start)]);
        // Each round settles the devices of one level: who may revoke them stands above.
        while !level.is_empty() {
            let mut next: BTreeMap<Id, Member> = BTreeMap::new();
            for (device, member) in &mut level {
                for (id, body) in bodies(log, events) {
                    if let Body::Revoked { device: whom, last, .. } = body
                        && whom == device
                        && (roll.may(id) || id.chain.device == *device)
                        && !roll.takes_back(log, corrections, id)
                    {
                        member.revoke(last);
                    }
                }
            }
            roll.members.append(&mut level);
            for (id, body) in bodies(log, events) {
                if let Body::Enrolled { device, key, keeper } = body
                    && !roll.members.contains_key(device)
                    && let Some(by) = roll.members.get(&id.chain.device)
                    && by.keeper
                    && by.counts(id)
                {
                    let new = next.entry(device.clone()).or_insert(Member::new(by.level + 1));
                    new.keys.insert(*key);
                    new.keeper |= keeper;
                }
            }
            level = next;
        }
        roll
    }

    /// Whether a keeper that is settled already corrects an event, and nobody such that again.
    fn takes_back(&self, log: &Log, corrections: &Corrections, id: &EventId) -> bool {
        corrections.of(id).any(|by| {
            self.may(&by.id)
                && !log.is_quarantined(&by.id)
                && reach(log, by).is_ok()
                && !self.takes_back(log, corrections, &by.id)
        })
    }

    /// Whether an event of a keeper that is settled already may revoke a device below.
    fn may(&self, id: &EventId) -> bool {
        self.members.get(&id.chain.device).is_some_and(|by| by.keeper && by.counts(id))
    }
}

fn bodies<'l>(
    log: &'l Log,
    events: &'l BTreeSet<EventRef>,
) -> impl Iterator<Item = (&'l EventId, &'l Body)> {
    let sound = events.iter().filter(|event| !log.is_quarantined(&event.id));
    sound.filter_map(|event| Some((&event.id, &log.get(event)?.event.body)))
}
