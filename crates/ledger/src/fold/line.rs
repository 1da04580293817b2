//! The line on a reel: what wore it since it was put on, and the weaker of two.

use deepbend_core::gear::Line as GearLine;

use super::deed::{Deed, Field, Value};
use super::field::{Held, Write};
use super::log::Log;
use super::story::Line;
use crate::item::{FittedLine, Turned};
use crate::quantity::{cm_of, from_cm};

/// Minutes to an hour.
const HOUR: f64 = 60.0;

/// Adds to each claim of a line what happened to that line: hours, turning, cutting. An event
/// happens to the lines that its device knew as the last ones; what was fished and cut while a
/// line was put on elsewhere may have been that one as well, and counts.
pub(super) fn age(log: &Log, lines: &[Line<'_>], writes: &[Write], held: &mut Held) {
    let of_line = |write: &&Write| write.field == Field::Line && write.value.is_some();
    let puts: Vec<_> = writes.iter().filter(of_line).map(|write| &lines[write.line]).collect();
    let works = |line: &&Line<'_>| {
        let work = |deed: &Deed<'_>| matches!(deed, Deed::Reverse(_) | Deed::Cut(_) | Deed::Use(_));
        line.acts() && line.deeds.iter().any(work)
    };
    for claim in &mut held.claims {
        let Value::Line(Some(fitted)) = &mut claim.value else { continue };
        let Some(put) = lines.iter().find(|line| line.reference == claim.event) else { continue };
        let concerns = |line: &&Line<'_>| {
            let later = |other: &&Line<'_>| other.knew(log, put) && line.knew(log, other);
            !put.knew(log, line) && !puts.iter().any(later)
        };
        let works: Vec<_> = lines.iter().filter(works).filter(concerns).collect();
        wear(log, put, &works, fitted);
    }
    held.settle();
}

fn wear(log: &Log, put: &Line<'_>, works: &[&Line<'_>], fitted: &mut FittedLine) {
    let mut used = 0_u64;
    let mut cut = 0_u64;
    let mut turned: Option<(&Line<'_>, Turned)> = None;
    let before = fitted.hours.unwrap_or(0.0);
    let minutes = |line: &Line<'_>| -> u64 {
        let used = line
            .deeds
            .iter()
            .map(|deed| if let Deed::Use(minutes) = deed { u64::from(*minutes) } else { 0 });
        used.sum()
    };
    for work in works {
        used += minutes(work);
        for deed in &work.deeds {
            if let Deed::Cut(cm) = deed {
                cut += u64::from(*cm);
            }
            if let Deed::Reverse(on) = deed
                && work.knew(log, put)
                && turned.as_ref().is_none_or(|(last, _)| work.knew(log, last))
            {
                let had = works.iter().filter(|other| work.knew(log, other));
                let had: u64 = had.map(|other| minutes(other)).sum();
                let hours = before + had as f64 / HOUR;
                turned = Some((work, Turned { on: *on, hours }));
            }
        }
    }
    if used > 0 {
        fitted.hours = Some(before + used as f64 / HOUR);
    }
    if let Some((_, turned)) = turned {
        fitted.turned = Some(turned);
    }
    if let Some(length) = fitted.line.length.filter(|_| cut > 0) {
        let left = cm_of(length).saturating_sub(cut);
        fitted.line.length = Some(from_cm(u32::try_from(left).unwrap_or(u32::MAX)));
    }
}

/// The line that counts while several are claimed: the weakest for the drag, the thickest for
/// casting, the shortest, the oldest and the most fished. Of an empty spool nothing counts.
pub(super) fn weakest<'v>(values: impl Iterator<Item = &'v Value>) -> Option<Value> {
    let mut worst: Option<FittedLine> = None;
    for value in values {
        let Value::Line(Some(fitted)) = value else { continue };
        worst = Some(match worst {
            None => (**fitted).clone(),
            Some(worst) => weaker(&worst, fitted),
        });
    }
    worst.map(|worst| Value::Line(Some(Box::new(worst))))
}

fn weaker(a: &FittedLine, b: &FittedLine) -> FittedLine {
    FittedLine {
        line: GearLine {
            material: a.line.material.filter(|_| a.line.material == b.line.material),
            test: pick(a.line.test, b.line.test, |a, b| a.kgf() <= b.kgf()),
            diameter: pick(a.line.diameter, b.line.diameter, |a, b| a.mm() >= b.mm()),
            length: pick(a.line.length, b.line.length, |a, b| a.m() <= b.m()),
        },
        strands: a.strands.filter(|_| a.strands == b.strands),
        spooled_on: pick(a.spooled_on, b.spooled_on, |a, b| a <= b),
        hours: pick(a.hours, b.hours, |a, b| a >= b),
        turned: a.turned.clone().filter(|_| a.turned == b.turned),
    }
}

/// The first if it is the one to fear, or if the other is not known.
fn pick<T>(a: Option<T>, b: Option<T>, first: impl Fn(&T, &T) -> bool) -> Option<T> {
    match (a, b) {
        (Some(a), Some(b)) => Some(if first(&a, &b) { a } else { b }),
        (a, b) => a.or(b),
    }
}
