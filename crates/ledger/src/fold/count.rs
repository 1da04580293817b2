//! Counts: the last absolute count and every change that it did not know of, as a range.

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;

use super::deed::Deed;
use super::log::Log;
use super::story::Line;
use crate::body::Measure;
use crate::event::Chain;
use crate::id::Id;
use crate::item::Item;
use crate::view::EventRef;

/// What is counted, and where.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct CountKey {
    /// What.
    pub measure: Measure,
    /// Where; `None` if nobody ever said.
    pub place: Option<Id>,
}

impl std::fmt::Display for CountKey {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let what = match self.measure {
            Measure::Pieces => "count",
            Measure::Centimetres => "length",
        };
        match &self.place {
            Some(place) => write!(f, "{what} at {place}"),
            None => f.write_str(what),
        }
    }
}

/// A count.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Count {
    /// The least that can be there. This counts.
    pub low: u32,
    /// The most that can be there.
    pub high: u32,
    /// Whether people should count again: the ends differ, or more went than was there.
    pub recount: bool,
    /// The absolute counts that it rests on: one, unless they did not know of each other.
    pub counted: Vec<EventRef>,
    /// The changes that none of them knew of, nor knew of all of them, and those that brought what
    /// others had taken as well.
    pub concurrent: Vec<EventRef>,
}

/// One absolute count.
struct Base<'l, 'e> {
    line: &'l Line<'e>,
    amount: i64,
}

/// One change.
struct Change<'l, 'e> {
    line: &'l Line<'e>,
    by: i64,
}

impl Change<'_, '_> {
    /// Whether it happened beyond doubt: it acts, and what it brought was there to be taken.
    fn is_sure(&self, too_many: &BTreeSet<&EventRef>) -> bool {
        self.line.acts() && (self.by < 0 || !too_many.contains(&self.line.reference))
    }
}

#[derive(Default)]
struct Told<'l, 'e> {
    bases: Vec<Base<'l, 'e>>,
    changes: Vec<Change<'l, 'e>>,
}

/// The counts of an item. A place that is left out is the one of its first description.
pub(super) fn counts(log: &Log, lines: &[Line<'_>], first: &Item) -> BTreeMap<CountKey, Count> {
    let mut told: BTreeMap<CountKey, Told<'_, '_>> = BTreeMap::new();
    let counted_in = first.counted_in();
    let key = |measure: Measure, place: Option<&Id>| {
        let place = match measure {
            Measure::Pieces => place.cloned().or_else(|| first.place.clone()),
            // Line on a spool goes where the spool goes.
            Measure::Centimetres => None,
        };
        (counted_in == Some(measure)).then_some(CountKey { measure, place })
    };
    for line in lines.iter().filter(|line| line.is_heard()) {
        for deed in &line.deeds {
            if let Deed::Count(measure, place, amount) = deed {
                let Some(key) = key(*measure, *place) else { continue };
                told.entry(key).or_default().bases.push(Base { line, amount: *amount });
            } else if let Deed::Delta(measure, place, by) = deed {
                let Some(key) = key(*measure, *place) else { continue };
                told.entry(key).or_default().changes.push(Change { line, by: *by });
            }
        }
    }
    let too_many = told.values().flat_map(|told| told.too_many(log)).collect();
    told.into_iter().map(|(key, told)| (key, told.count(log, &too_many))).collect()
}

impl<'l> Told<'l, '_> {
    /// The events that took away more than was there, as far as their device knew, or together with
    /// others that they did not know of. Whatever they brought elsewhere may not have come, whoever
    /// counts here.
    fn too_many(&self, log: &Log) -> Vec<&'l EventRef> {
        let mut chains: BTreeMap<&Chain, Vec<&Change<'l, '_>>> = BTreeMap::new();
        for change in self.changes.iter().filter(|change| change.line.acts()) {
            chains.entry(&change.line.root.id.chain).or_default().push(change);
        }
        for changes in chains.values_mut() {
            changes.sort_by_key(|change| change.line.root.id.sequence);
        }
        // What a device knows only grows along its chain, so those that two changes do not know
        // of each other stand together.
        let rivals = |one: &Change<'_, '_>| {
            let others = chains.iter().filter(|(chain, _)| **chain != &one.line.root.id.chain);
            let apart = others.flat_map(|(_, changes)| {
                let known = changes.partition_point(|other| one.line.knew(log, other.line));
                let later = changes.iter().skip(known);
                later.take_while(|other| !other.line.knew(log, one.line))
            });
            apart.fold(0_i64, |sum, rival| sum.saturating_add(rival.by))
        };
        let taken = chains.values().flatten().filter(|change| change.by < 0);
        let short =
            taken.filter(|one| self.left_after(log, one).saturating_add(rivals(one).min(0)) < 0);
        short.map(|change| &change.line.reference).collect()
    }

    /// What was left when a change was told, as far as its device knew.
    fn left_after(&self, log: &Log, change: &Change<'_, '_>) -> i64 {
        let known = |line: &Line<'_>| {
            line.acts() && (line.reference == change.line.reference || change.line.knew(log, line))
        };
        let bases = self.bases.iter().filter(|base| known(base.line));
        let bases: Vec<_> = bases.collect();
        let newest =
            bases.iter().filter(|base| !bases.iter().any(|other| other.line.knew(log, base.line)));
        // Of several counts the most: nothing is called in doubt that may well be.
        let sums = newest.map(|base| {
            let since =
                self.changes.iter().filter(|c| known(c.line) && !base.line.knew(log, c.line));
            since.fold(base.amount, |sum, c| sum.saturating_add(c.by))
        });
        sums.max().unwrap_or_else(|| {
            let all = self.changes.iter().filter(|c| known(c.line));
            all.fold(0, |sum, c| sum.saturating_add(c.by))
        })
    }

    fn count(&self, log: &Log, too_many: &BTreeSet<&EventRef>) -> Count {
        let last: Vec<_> = self
            .bases
            .iter()
            .filter(|base| {
                let newer = |other: &&Base<'_, '_>| {
                    let may = other.line.acts() || !base.line.acts();
                    may && other.line.knew(log, base.line)
                };
                !self.bases.iter().any(|other| newer(&other))
            })
            .collect();
        let mut ends: Option<(i64, i64)> = None;
        let mut concurrent = Vec::new();
        let mut doubt = false;
        for base in &last {
            doubt |= !base.line.acts();
            let (low, high) = self.range(log, Some(base), too_many, &mut concurrent);
            let (least, most) = ends.unwrap_or((low, high));
            ends = Some((least.min(low), most.max(high)));
        }
        let (low, high) = ends.unwrap_or_else(|| self.range(log, None, too_many, &mut concurrent));
        concurrent.sort();
        concurrent.dedup();
        let end = |value: i64| u32::try_from(value.max(0)).unwrap_or(u32::MAX);
        Count {
            low: end(low),
            high: end(high),
            recount: low != high || low < 0 || doubt || !concurrent.is_empty(),
            counted: last.iter().map(|base| base.line.reference.clone()).collect(),
            concurrent,
        }
    }

    /// What there is after `base`; `None`: nothing was ever counted, so there was nothing.
    fn range(
        &self,
        log: &Log,
        base: Option<&Base<'_, '_>>,
        too_many: &BTreeSet<&EventRef>,
        concurrent: &mut Vec<EventRef>,
    ) -> (i64, i64) {
        let amount = base.map_or(0, |base| base.amount);
        let (mut low, mut high) = (amount, amount);
        let since = |c: &&Change<'_, '_>| base.is_none_or(|base| !base.line.knew(log, c.line));
        for change in self.changes.iter().filter(since) {
            let after = base.is_none_or(|base| change.line.knew(log, base.line));
            if change.is_sure(too_many) && after {
                low = low.saturating_add(change.by);
                high = high.saturating_add(change.by);
            } else {
                low = low.saturating_add(change.by.min(0));
                high = high.saturating_add(change.by.max(0));
                concurrent.push(change.line.reference.clone());
            }
        }
        (low, high)
    }
}
