//! Main lines and leaders.

use super::{Scan, single, vocabulary};
use crate::gear::{Finding, FindingCode, Leader, LeaderMaterial, Line, LineMaterial};
use crate::quantity::read::text::{Amount, Span, Unit};
use crate::quantity::read::{
    diameter_of, fluorocarbon_test, force_of, length_of, numbered, nylon_diameter, nylon_test,
    pe_diameter, pe_number, pe_test, pounds_or_number,
};
use crate::quantity::words::{KILOGRAMS, LINE_MILLIMETRES};
use crate::quantity::{Force, Length};

/// Words on spools that change nothing here.
const SPOOL_WORDS: [&str; 10] =
    ["strand", "strands", "single", "x", "ply", "main", "spool", "hollow", "sinking", "floating"];

pub(super) fn read_line(text: &str) -> (Line, Vec<Finding>) {
    let mut scan = Scan::new(text, "line");
    let mut line = Line::default();
    let mut number = None;
    while !scan.cursor.done() {
        if strands(&mut scan) {
        } else if let Some(found) = numbered(&mut scan.cursor) {
            number = number.or(Some((found, line.material == Some(LineMaterial::Braid))));
        } else if let Some(amount) = scan.cursor.amount() {
            if amount.term().pe {
                line.material = line.material.or(Some(LineMaterial::Braid));
            }
            if amount.term().pe && amount.term().unit.is_none() {
                number = number.or(Some((amount.term().number.value, true)));
            } else {
                let slots = Slots {
                    test: &mut line.test,
                    thick: &mut line.diameter,
                    long: &mut line.length,
                };
                measure(&amount, slots, 2.0, &mut scan);
            }
        } else if let Some((material, text)) = scan.phrase(vocabulary::line_material) {
            if line.material != Some(material) {
                scan.set(&mut line.material, Some(material), &text);
            }
        } else if !scan.cursor.eat_word(&SPOOL_WORDS) {
            scan.pass();
        }
    }
    if let Some((number, pe)) = number {
        by_number(number, pe, &mut line, &mut scan);
    }
    let suspect = match line.material {
        Some(LineMaterial::Braid) => mismatch(&line, |d| pe_number(d).and_then(pe_test), 2.8),
        Some(LineMaterial::Nylon) => mismatch(&line, nylon_test, 1.9),
        Some(LineMaterial::Fluorocarbon) => mismatch(&line, fluorocarbon_test, 1.9),
        None => None,
    };
    if let Some(text) = suspect {
        scan.odd(FindingCode::DiameterSuspect, "line.diameter", text);
    }
    (line, scan.finish())
}

/// The leader, and the number of pieces where one is given ("40 cm x 20").
pub(super) fn read_leader(text: &str) -> (Leader, Option<u32>, Vec<Finding>) {
    let mut scan = Scan::new(text, "leader");
    let mut leader = Leader::default();
    let mut pieces = None;
    while !scan.cursor.done() {
        if let Some(count) = times(&mut scan) {
            pieces = pieces.or(Some(count));
        } else if strands(&mut scan) {
            leader.material = leader.material.or(Some(LeaderMaterial::SteelWire));
        } else if let Some(amount) = scan.cursor.amount() {
            let slots = Slots {
                test: &mut leader.test,
                thick: &mut leader.diameter,
                long: &mut leader.length,
            };
            measure(&amount, slots, 0.02, &mut scan);
        } else if let Some((material, text)) = scan.phrase(vocabulary::leader_material) {
            if leader.material != Some(material) {
                scan.set(&mut leader.material, Some(material), &text);
            }
        } else if !scan.cursor.eat_word(&SPOOL_WORDS) {
            scan.pass();
        }
    }
    let as_line = Line { test: leader.test, diameter: leader.diameter, ..Line::default() };
    let suspect = match leader.material {
        Some(LeaderMaterial::Nylon) => mismatch(&as_line, nylon_test, 1.9),
        Some(LeaderMaterial::Fluorocarbon) => mismatch(&as_line, fluorocarbon_test, 1.9),
        Some(LeaderMaterial::None | LeaderMaterial::SteelWire | LeaderMaterial::Titanium)
        | None => None,
    };
    if let Some(text) = suspect {
        scan.odd(FindingCode::DiameterSuspect, "leader.diameter", text);
    }
    (leader, pieces, scan.finish())
}

/// "8-strand", "x8", "7x7": how a line or wire is laid.
fn strands(scan: &mut Scan) -> bool {
    let cursor = &scan.cursor;
    let laid = cursor.num_at(0).is_some()
        && cursor.word_at(1) == Some("x")
        && cursor.glued_at(1)
        && cursor.num_at(2).is_some();
    let hyphen = usize::from(cursor.sign_at(1) == Some('-'));
    let counted = cursor.num_at(0).is_some()
        && matches!(cursor.word_at(1 + hyphen), Some("strand" | "strands" | "ply"));
    let after = cursor.num_at(0).is_some() && cursor.word_at(1) == Some("x") && cursor.glued_at(1);
    let times = cursor.word_at(0) == Some("x") && cursor.num_at(1).is_some();
    let length = if laid {
        3
    } else if counted {
        2 + hyphen
    } else if times || after {
        2
    } else {
        return false;
    };
    scan.cursor.skip(length);
    true
}

/// "x 20": a number of pieces.
fn times(scan: &mut Scan) -> Option<u32> {
    if scan.cursor.word_at(0) != Some("x") {
        return None;
    }
    let count = scan.cursor.num_at(1)?.text.parse().ok()?;
    scan.cursor.skip(2);
    Some(count)
}

#[derive(Debug)]
struct Slots<'a> {
    test: &'a mut Option<Force>,
    thick: &'a mut Option<Length>,
    long: &'a mut Option<Length>,
}

/// Puts a strength, diameter or length where it belongs; lengths from `shortest` metres.
fn measure(amount: &Amount, slots: Slots<'_>, shortest: f64, scan: &mut Scan) {
    let thing = scan.thing;
    let term = match single(amount) {
        Ok(term) => term,
        Err(error) => return scan.findings.push(error.into_finding(thing)),
    };
    let written = &term.number.text;
    let mut findings = Vec::new();
    match term.unit {
        Some(Unit::Weight(_) | Unit::Newton) => {
            let field = format!("{thing}.test");
            let read = force_of(term, &field, &mut findings);
            let test = scan.keep(read, &field);
            findings.extend(test.and_then(|force| pounds_or_number(term, force, &field)));
            // A second unit for the same strength is no news.
            let near = |a: Force, b: Force| (a.n() / b.n() - 1.0).abs() <= 0.15;
            if !matches!((*slots.test, test), (Some(a), Some(b)) if near(a, b)) {
                scan.set(slots.test, test, written);
            }
        }
        Some(Unit::Span(unit)) => {
            let thin =
                matches!(unit, Span::Mm | Span::In) && unit.length(term.number.value).mm() < 3.0;
            let suffix = if thin { "diameter" } else { "length" };
            let field = format!("{thing}.{suffix}");
            if thin {
                let read = diameter_of(term, &field, &mut findings);
                let diameter = scan.keep(read, &field);
                scan.set(slots.thick, diameter, written);
            } else {
                let read = length_of(term, &field, &mut findings);
                let length = scan.keep(read, &field).filter(|l| l.m() >= shortest);
                if length.is_none() {
                    scan.ignored.push(written.clone());
                }
                scan.set(slots.long, length, written);
            }
        }
        None if term.number.value < 1.5 && slots.thick.is_none() => {
            let field = format!("{thing}.diameter");
            let read = diameter_of(term, &field, &mut findings);
            *slots.thick = scan.keep(read, &field);
        }
        None | Some(Unit::Pace(_)) => scan.ignored.push(written.clone()),
    }
    scan.findings.append(&mut findings);
}

/// Fills in what follows from a line number.
fn by_number(number: f64, pe: bool, line: &mut Line, scan: &mut Scan) {
    let (name, diameter, test) = if pe {
        (format!("PE {number}"), pe_diameter(number), pe_test(number))
    } else {
        let diameter = nylon_diameter(number);
        (format!("No. {number}"), diameter, diameter.and_then(nylon_test))
    };
    let (Some(diameter), Some(test)) = (diameter, test) else {
        scan.odd(
            FindingCode::UnitSuspect,
            "line.test",
            format!("{name} is no line number: was a strength in lb or kg meant?"),
        );
        return;
    };
    if !pe {
        line.material = line.material.or(Some(LineMaterial::Nylon));
    }
    let mut told = Vec::new();
    if line.diameter.is_none() {
        told.push(LINE_MILLIMETRES.one(diameter.mm()).to_string());
    }
    if line.test.is_none() {
        told.push(KILOGRAMS.one(test.kgf()).to_string());
    }
    if !told.is_empty() {
        let text = format!("{name} was taken as {}", told.join(" and "));
        scan.odd(FindingCode::LineNumberConverted, "line.test", text);
    }
    line.diameter = line.diameter.or(Some(diameter));
    line.test = line.test.or(Some(test));
}

/// Says so when strength and diameter differ by more than `factor` from what is usual.
fn mismatch(line: &Line, usual: impl Fn(Length) -> Option<Force>, factor: f64) -> Option<String> {
    let (test, diameter) = (line.test?, line.diameter?);
    let usual = usual(diameter)?;
    let ratio = test.n() / usual.n();
    (ratio > factor || ratio < 1.0 / factor).then(|| {
        format!(
            "{} usually breaks at about {}, but {} is given",
            LINE_MILLIMETRES.one(diameter.mm()),
            KILOGRAMS.one(usual.kgf()),
            KILOGRAMS.one(test.kgf())
        )
    })
}
