//! The heads of a field: what is claimed of it, whether that is contested, and what counts.

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;

use super::deed::{Field, Value, writes};
use super::line;
use super::story::Line;
use crate::event::{Certainty, Event, EventId};
use crate::id::Id;
use crate::item::ItemKey;
use crate::view::EventRef;

/// What one event claims of a field.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FieldClaim {
    /// The event.
    pub event: EventRef,
    /// Who says it.
    pub actor: Id,
    /// How well the actor knows it.
    pub certainty: Certainty,
    /// What it says.
    pub value: Value,
    /// Whether it is in quarantine: then it is heard, but replaces nothing.
    pub quarantined: bool,
}

/// A field with all that is claimed of it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Held {
    /// The claims that no later one replaced, by event.
    pub claims: Vec<FieldClaim>,
    /// Whether they contradict each other, or one is in quarantine.
    pub contested: bool,
    /// What counts until people settle it: the cautious value. `None`: nothing counts, as of a
    /// contested place.
    pub value: Option<Value>,
    /// The claim that is best known, where one is: seen over said over typed. Advice only.
    pub advice: Option<EventRef>,
}

/// An event's word on a field; without a value it has none, but stands between two that have.
#[derive(Debug)]
pub(super) struct Write {
    pub(super) line: usize,
    pub(super) field: Field,
    pub(super) value: Option<Value>,
}

/// The last writes of each field that a later write leads to, through superseded ones.
struct Reach<'w> {
    by_id: BTreeMap<&'w EventId, Vec<usize>>,
}

impl<'w> Reach<'w> {
    fn new(lines: &'w [Line<'_>], writes: &[&'w Write]) -> Self {
        let mut by_id: BTreeMap<&EventId, Vec<usize>> = BTreeMap::new();
        for write in writes {
            by_id.entry(&lines[write.line].reference.id).or_default().push(write.line);
        }
        Self { by_id }
    }

    /// Every event on this field that `from` replace, through events that they replaced.
    fn replaced(
        &self,
        lines: &'w [Line<'_>],
        from: impl IntoIterator<Item = usize>,
    ) -> BTreeSet<&'w EventId> {
        let before = |line: usize| {
            let Line { event, reference, .. } = &lines[line];
            event.supersedes.iter().filter(|id| **id != reference.id)
        };
        let mut reached = BTreeSet::new();
        let mut next: Vec<&EventId> = from.into_iter().flat_map(before).collect();
        while let Some(id) = next.pop() {
            let Some(there) = self.by_id.get(id) else { continue };
            if reached.insert(id) {
                next.extend(there.iter().flat_map(|&line| before(line)));
            }
        }
        reached
    }
}

/// Whether one event replaces another on a field, given what the first one reaches. A correction
/// stands at the place of what it corrects: who replaced that replaced the correction as well.
fn replaces(by: &Line<'_>, reached: &BTreeSet<&EventId>, other: &Line<'_>) -> bool {
    if reached.contains(&other.reference.id) {
        return true;
    }
    let same = |id: &EventId| by.replaces.iter().any(|(own, _)| own == id);
    other.replaces.iter().any(|(id, _)| reached.contains(id) && !same(id))
}

fn by_field(writes: &[Write]) -> BTreeMap<&Field, Vec<&Write>> {
    let mut fields: BTreeMap<&Field, Vec<&Write>> = BTreeMap::new();
    for write in writes {
        fields.entry(&write.field).or_default().push(write);
    }
    fields
}

/// The writes that no other one replaces. Only an event with a say, `counts`, replaces; one in
/// quarantine only its like.
fn heads<'w>(
    lines: &[Line<'_>],
    writes: &[&'w Write],
    counts: impl Fn(&Write) -> bool,
) -> Vec<&'w Write> {
    // With one write, which is by far the most usual, there is nothing to replace.
    if writes.len() < 2 {
        return writes.to_vec();
    }
    let reach = Reach::new(lines, writes);
    let mut left: Vec<_> = writes.to_vec();
    if writes.iter().all(|write| lines[write.line].is_plain()) {
        let counting = writes.iter().filter(|write| counts(write)).map(|write| write.line);
        let replaced = reach.replaced(lines, counting);
        left.retain(|write| !replaced.contains(&lines[write.line].reference.id));
    } else {
        for write in writes.iter().filter(|write| counts(write)) {
            let by = &lines[write.line];
            let replaced = reach.replaced(lines, [write.line]);
            left.retain(|other| {
                let line = &lines[other.line];
                let may = by.acts() || !line.acts();
                other.line == write.line || !(may && replaces(by, &replaced, line))
            });
        }
    }
    // Events that claim to replace each other in a circle replace nothing.
    if left.iter().any(|write| counts(write)) { left } else { writes.to_vec() }
}

/// What the next event on a field of an item supersedes, given the item's events: those that no
/// other one does, those without effect among them.
pub(crate) fn latest<'l>(
    key: &ItemKey,
    field: &Field,
    events: impl Iterator<Item = &'l Event>,
) -> BTreeSet<EventId> {
    let writes = |event: &&Event| writes(event).iter().any(|(item, f)| item == key && f == field);
    let on: Vec<_> = events.filter(writes).collect();
    let before: BTreeSet<_> =
        on.iter().flat_map(|event| event.supersedes.iter().filter(|id| **id != event.id)).collect();
    on.iter().map(|event| &event.id).filter(|id| !before.contains(id)).cloned().collect()
}

/// The fields of an item.
pub(super) fn held(lines: &[Line<'_>], writes: &[Write]) -> BTreeMap<Field, Held> {
    let mut fields = BTreeMap::new();
    for (field, writes) in by_field(writes) {
        let heads = heads(lines, &writes, |write| write.value.is_some());
        let mut claims: Vec<_> = heads
            .into_iter()
            .filter_map(|write| {
                let line = &lines[write.line];
                Some(FieldClaim {
                    event: line.reference.clone(),
                    actor: line.event.actor.clone(),
                    certainty: line.event.certainty,
                    value: write.value.clone()?,
                    quarantined: !line.acts(),
                })
            })
            .collect();
        claims.sort_by(|a, b| a.event.cmp(&b.event));
        claims.dedup_by(|a, b| a.event == b.event && a.value == b.value);
        if claims.is_empty() {
            continue;
        }
        let mut held = Held { contested: false, value: None, advice: advice(&claims), claims };
        held.settle();
        fields.insert(field.clone(), held);
    }
    fields
}

impl Held {
    /// Finds out whether its claims agree, and which value counts.
    pub(super) fn settle(&mut self) {
        let Some(first) = self.claims.first() else { return };
        let agree = self.claims.iter().all(|claim| claim.value == first.value);
        self.contested = !agree || self.claims.iter().any(|claim| claim.quarantined);
        self.value = if agree { Some(first.value.clone()) } else { self.cautious() };
    }

    /// What counts while claims contradict each other.
    fn cautious(&self) -> Option<Value> {
        let first = self.claims.first()?;
        let values = self.claims.iter().map(|claim| &claim.value);
        match &first.value {
            Value::Place(_) | Value::Rig(_) => None,
            Value::Status(_) => values
                .filter_map(|value| if let Value::Status(s) = value { Some(*s) } else { None })
                .max()
                .map(Value::Status),
            Value::Condition(_) => values
                .filter_map(|value| if let Value::Condition(c) = value { Some(*c) } else { None })
                .max()
                .map(Value::Condition),
            Value::Line(_) => line::weakest(values),
            // Somebody may have it: no loan is dropped before people agree.
            Value::Loan(_) => {
                let is_lent = |value: &&Value| matches!(value, Value::Loan(Some(_)));
                let mut values = values;
                values.find(is_lent).cloned()
            }
            // The stay that should be over first.
            Value::Bench(_) => {
                let stays = values.filter_map(|value| {
                    if let Value::Bench(Some(bench)) = value { Some(bench) } else { None }
                });
                stays.min_by_key(|bench| bench.back_by).map(|b| Value::Bench(Some(b.clone())))
            }
            Value::Column(_) => {
                let acting = self.claims.iter().filter(|claim| !claim.quarantined);
                acting.min_by_key(|claim| claim.certainty).map(|claim| claim.value.clone())
            }
        }
    }
}

/// The best known claim, if no other is as good.
fn advice(claims: &[FieldClaim]) -> Option<EventRef> {
    let acting = || claims.iter().filter(|claim| !claim.quarantined);
    let best = acting().map(|claim| claim.certainty).min()?;
    let mut best = acting().filter(|claim| claim.certainty == best);
    match (best.next(), best.next()) {
        (Some(one), None) => Some(one.event.clone()),
        _ => None,
    }
}
