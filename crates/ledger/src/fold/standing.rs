//! Corrections: which events stand, and which were taken back.
//!
//! A correction acts if it names an event that is there, that its device held, and that is no
//! event about devices. An event is taken back if a correction of it acts. So a correction that is
//! itself corrected gives back what it took.

use std::collections::BTreeSet;

use super::effect::{Standing, Why};
use super::log::{Log, Placed};
use super::roll::Roll;
use crate::body::Body;
use crate::event::EventId;
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

    fn of(&self, event: &EventId) -> impl Iterator<Item = &EventRef> {
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
        let Some(placed) = log.get(event) else { return Standing::Out(Why::UnknownItem) };
        if !roll.counts(&event.id) {
            return Standing::Out(Why::NotEnrolled);
        }
        if let Body::Correction { target, instead, .. } = &placed.event.body
            && let Err(why) = reach(log, event, target, instead.as_deref())
        {
            return Standing::Out(why);
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

/// Whether a correction leads to an ordinary event that its device held.
fn reach(log: &Log, event: &EventRef, target: &EventId, instead: Option<&Body>) -> Result<(), Why> {
    let forbidden =
        |body: &Body| body.is_about_devices() || matches!(body, Body::Correction { .. });
    if instead.is_some_and(forbidden) {
        return Err(Why::NotCorrectable);
    }
    if log.at(target).next().is_none() {
        return Err(Why::TargetMissing { target: target.clone() });
    }
    if !log.held(event, target) {
        return Err(Why::TargetUnseen { target: target.clone() });
    }
    match below(log, target) {
        Err(below) => Err(below),
        Ok(below) => match below.last() {
            Some((_, placed)) if placed.event.body.is_about_devices() => Err(Why::NotCorrectable),
            Some(_) | None => Ok(()),
        },
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
