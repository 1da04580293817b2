//! Corrections: which events stand, and which were taken back.
//!
//! A correction acts if it names an event that is there, that its device held, and that is no
//! enrolment; a revocation is corrected only by a keeper above the device that it revokes. An event
//! is taken back if a correction of it acts. So a correction that is itself corrected gives back
//! what it took.

use std::collections::BTreeSet;

use super::effect::{Standing, Why};
use super::log::{Log, Placed};
use super::roll::Roll;
use crate::body::Body;
use crate::event::EventId;
use crate::id::Id;
use crate::item::ItemKey;
use crate::shared::{SharedMap, update};
use crate::view::EventRef;

/// How many corrections may stand on each other.
pub const MAX_CORRECTIONS: usize = 32;

/// Which corrections name which event.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Corrections(SharedMap<EventId, BTreeSet<EventRef>>);

impl Corrections {
    pub(crate) fn add(&mut self, reference: &EventRef, body: &Body) {
        if let Body::Correction { target, .. } = body {
            update(&mut self.0, target, |by| by.insert(reference.clone()));
        }
    }

    pub(crate) fn of(&self, event: &EventId) -> impl Iterator<Item = &EventRef> {
        self.0.get(event).into_iter().flatten()
    }

    /// Whether any correction names an event.
    pub(crate) fn name(&self, event: &EventId) -> bool {
        self.0.contains_key(event)
    }

    /// The event with every correction of it, and of those, as far as they can matter.
    pub(crate) fn above(&self, event: &EventRef) -> BTreeSet<EventRef> {
        let mut all = BTreeSet::from([event.clone()]);
        let mut level = vec![event.clone()];
        for _ in 0..=MAX_CORRECTIONS {
            let next: Vec<_> = level.iter().flat_map(|e| self.of(&e.id)).cloned().collect();
            level = next.into_iter().filter(|e| all.insert(e.clone())).collect();
            if level.is_empty() {
                break;
            }
        }
        all
    }

    /// Whether an event may act.
    pub(crate) fn standing(&self, log: &Log, roll: &Roll, event: &EventRef) -> Standing {
        if log.get(event).is_none() {
            return Standing::Out(Why::UnknownItem);
        }
        if !roll.counts(&event.id) {
            return Standing::Out(Why::NotEnrolled);
        }
        match reach(log, event) {
            Err(why) => return Standing::Out(why),
            Ok(Some(revoked)) if !roll.may_correct(&event.id.chain.device, revoked) => {
                return Standing::Out(Why::NotKeeper);
            }
            Ok(_) => {}
        }
        if log.is_quarantined(&event.id) {
            return Standing::Doubtful;
        }
        // Recursion climbs from correction to correction; `reach` lets none stand higher than
        // MAX_CORRECTIONS, and cuts every circle.
        let acts = |by: &&EventRef| self.standing(log, roll, by) == Standing::Acts;
        match self.of(&event.id).find(acts) {
            Some(by) => Standing::Out(Why::Corrected { by: by.id.clone() }),
            None => Standing::Acts,
        }
    }
}

/// Whether an event, if it is a correction, leads to one that its device held and that can be
/// corrected. Answers the device if that is a revocation.
pub(crate) fn reach<'l>(log: &'l Log, event: &EventRef) -> Result<Option<&'l Id>, Why> {
    let body = log.get(event).map(|placed| &placed.event.body);
    let Some(Body::Correction { target, instead, .. }) = body else { return Ok(None) };
    let forbidden =
        |body: &Body| body.is_about_devices() || matches!(body, Body::Correction { .. });
    if instead.as_deref().is_some_and(forbidden) {
        return Err(Why::NotCorrectable);
    }
    if log.at(target).next().is_none() {
        return Err(Why::TargetMissing { target: target.clone() });
    }
    if !log.held(event, target) {
        return Err(Why::TargetUnseen { target: target.clone() });
    }
    let below = below(log, target)?;
    match below.last().map(|(_, placed)| &placed.event.body) {
        Some(Body::Enrolled { .. }) => Err(Why::NotCorrectable),
        Some(Body::Revoked { .. }) if instead.is_some() => Err(Why::NotCorrectable),
        Some(Body::Revoked { device, .. }) => Ok(Some(device)),
        Some(_) | None => Ok(None),
    }
}

/// The events from `target` down to the ordinary one that all of them are about.
pub(crate) fn below<'l>(
    log: &'l Log,
    target: &EventId,
) -> Result<Vec<(EventRef, &'l Placed)>, Why> {
    let mut all = Vec::new();
    let mut next = Some(target.clone());
    while let Some(id) = next {
        if all.len() >= MAX_CORRECTIONS {
            return Err(Why::TooDeep);
        }
        let Some((reference, placed)) = log.at(&id).next() else {
            return Err(Why::TargetMissing { target: id });
        };
        next = placed.event.body.target().cloned();
        all.push((reference, placed));
    }
    Ok(all)
}

/// The items that an event is about; a correction is about those of its target as well, and of
/// every branch of it, should its chain fork there. Each once, in their order.
pub(crate) fn about(log: &Log, placed: &Placed) -> Vec<ItemKey> {
    let mut items = placed.event.body.about();
    let mut targets: BTreeSet<&EventId> = placed.event.body.target().into_iter().collect();
    for _ in 0..MAX_CORRECTIONS {
        let below: Vec<_> = targets.iter().flat_map(|id| log.at(id)).collect();
        if below.is_empty() {
            break;
        }
        items.extend(below.iter().flat_map(|(_, placed)| placed.event.body.about()));
        targets = below.iter().filter_map(|(_, placed)| placed.event.body.target()).collect();
    }
    items.sort();
    items.dedup();
    items
}
