//! Lures.

use super::{Scan, WireClass, hook_wire, single, vocabulary};
use crate::gear::{AirClass, Finding, FindingCode, HookStyle, Lure, LureClass, Word};
use crate::quantity::Mass;
use crate::quantity::read::text::{Amount, Shape, Span, Unit};
use crate::quantity::read::{diameter_of, force_of, length_of, lure_mass_of};
use crate::quantity::words::GRAMS;

/// What a mass or force belongs to, by the word before or after it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Label {
    Head,
    Trailer,
    Rigged,
    Punch,
    Pull,
}

fn label(word: &str) -> Option<Label> {
    Some(match word {
        "head" | "jighead" | "jig_head" | "body" => Label::Head,
        "trailer" | "tail" | "soft_tail" | "plastic" => Label::Trailer,
        "rigged" | "total" | "all_up" | "all_in" | "overall" => Label::Rigged,
        "punch" => Label::Punch,
        "pull" => Label::Pull,
        _ => return None,
    })
}

pub(super) fn read(text: &str) -> (Lure, Vec<Finding>) {
    let mut scan = Scan::new(text, "lure");
    let mut lure = Lure::default();
    let mut before = None;
    let mut wire = None;
    while !scan.cursor.done() {
        if class(&mut scan, &mut lure)
            || hook_size(&mut scan, &mut lure)
            || hooks(&mut scan, &mut lure)
        {
        } else if let Some(amount) = scan.cursor.amount() {
            let found = before.take().or_else(|| scan.phrase(label).map(|(label, _)| label));
            place(&amount, found, &mut lure, &mut scan);
        } else if let Some((class, _)) = scan.phrase(wire_class) {
            wire = wire.or(Some(class));
        } else if let Some((found, _)) = scan.phrase(label) {
            before = Some(found);
        } else if !words(&mut scan, &mut lure) {
            scan.pass();
        }
    }
    if let (None, Some(size), Some(class)) = (lure.hook.wire, &lure.hook.size, wire) {
        lure.hook.wire = hook_wire(size, class);
    }
    add_up(&mut lure, &mut scan.findings);
    (lure, scan.finish())
}

/// Works out the rigged mass from head and trailer; says so, also when the two do not fit it.
pub(super) fn add_up(lure: &mut Lure, findings: &mut Vec<Finding>) {
    let Some(trailer) = lure.trailer_mass else { return };
    if lure.head_mass.is_none() {
        // One mass and a trailer: the mass is the head's unless it is clearly all of it.
        lure.head_mass = lure.rigged_mass.take();
    }
    let Some(head) = lure.head_mass else { return };
    let sum = head.g() + trailer.g();
    // Printed masses are rounded: a few percent are no contradiction.
    let text = match lure.rigged_mass {
        None => format!(
            "a head of {} and a trailer of {} make {}",
            GRAMS.one(head.g()),
            GRAMS.one(trailer.g()),
            GRAMS.one(sum)
        ),
        Some(rigged) if rigged.g() < sum * 0.97 => format!(
            "{} rigged is less than a head of {} and a trailer of {}: {} was used",
            GRAMS.one(rigged.g()),
            GRAMS.one(head.g()),
            GRAMS.one(trailer.g()),
            GRAMS.one(sum)
        ),
        Some(_) => return,
    };
    lure.rigged_mass = Some(Mass::from_g(sum));
    findings.push(Finding::new(FindingCode::RiggedMassComputed, "lure.rigged_mass", text));
}

/// "size 4", "#4", "3/0".
fn hook_size(scan: &mut Scan, lure: &mut Lure) -> bool {
    let cursor = &scan.cursor;
    // The number of an inline spinner is that of its blade.
    if lure.class == Some(LureClass::InlineSpinner)
        && matches!(cursor.word_at(0), Some("no" | "nr"))
    {
        return false;
    }
    let mut ahead = match (cursor.word_at(0), cursor.word_at(1), cursor.sign_at(0)) {
        (Some("hook" | "hooks"), Some("size"), _) => 2,
        (Some("size" | "no" | "nr"), _, _) | (_, _, Some('#')) => 1,
        _ => 0,
    };
    if ahead == 1 && cursor.sign_at(1) == Some('.') {
        ahead = 2;
    }
    let large = cursor.sign_at(ahead + 1) == Some('/')
        && cursor.num_at(ahead + 2).is_some_and(|n| n.text == "0");
    let Some(number) = cursor.num_at(ahead) else { return false };
    if number.shape != Shape::Integer || number.value > 30.0 || (ahead == 0 && !large) {
        return false;
    }
    let size = if large { format!("{}/0", number.text) } else { number.text.clone() };
    scan.cursor.skip(ahead + if large { 3 } else { 1 });
    scan.set(&mut lure.hook.size, Some(size), "size");
    true
}

/// "2 trebles", "treble 4", "3 hooks".
fn hooks(scan: &mut Scan, lure: &mut Lure) -> bool {
    let start = scan.cursor.clone();
    let count: Option<u32> =
        scan.cursor.num_at(0).and_then(|n| n.text.parse().ok()).filter(|n| (1..=9).contains(n));
    let count = count.or_else(|| match scan.cursor.word_at(0)? {
        "one" => Some(1),
        "two" => Some(2),
        "three" => Some(3),
        _ => None,
    });
    if count.is_some() {
        scan.cursor.skip(1);
        let _ = scan.cursor.eat_word(&["x"]);
        if scan.cursor.eat_word(&["hooks", "hook"]) {
            scan.set(&mut lure.hook.count, count, "hooks");
            return true;
        }
    }
    let name = |s: &HookStyle| s.as_word().replace('_', " ");
    let Some(style) = scan.near("lure.hook.style", vocabulary::hook_style, name) else {
        scan.cursor = start;
        return false;
    };
    scan.set(&mut lure.hook.style, Some(style), style.as_word());
    if count.is_some() {
        scan.set(&mut lure.hook.count, count, "count");
    }
    let _ = scan.cursor.eat_word(&["hooks", "hook"]);
    bare_size(scan, lure);
    true
}

/// The size right after the style: "treble 4".
fn bare_size(scan: &mut Scan, lure: &mut Lure) {
    let mut ahead = scan.cursor.clone();
    let Some(number) = ahead.num_at(0).cloned() else { return };
    ahead.skip(1);
    let more = ahead.unit().is_some() || ahead.sign_at(0).is_some_and(|c| "/-~:".contains(c));
    let size = number.shape == Shape::Integer && (1.0..=20.0).contains(&number.value);
    if size && !more && lure.hook.size.is_none() && ahead.word_at(0) != Some("x") {
        lure.hook.size = Some(number.text);
        scan.cursor = ahead;
    }
}

fn wire_class(word: &str) -> Option<WireClass> {
    Some(match word {
        "fine_wire" | "light_wire" => WireClass::Fine,
        "medium_wire" | "regular_wire" => WireClass::Medium,
        "heavy_wire" | "strong_wire" => WireClass::Heavy,
        _ => return None,
    })
}

fn class(scan: &mut Scan, lure: &mut Lure) -> bool {
    if lure.class.is_some() {
        return false;
    }
    let name = |c: &LureClass| c.as_word().replace('_', " ");
    lure.class = scan.near("lure.class", vocabulary::lure_class, name);
    lure.class.is_some()
}

fn words(scan: &mut Scan, lure: &mut Lure) -> bool {
    if scan.phrase(|w| matches!(w, "barbless" | "crushed_barb").then_some(())).is_some() {
        scan.set(&mut lure.hook.barbed, Some(false), "barbless");
    } else if scan.cursor.eat_word(&["barbed"]) {
        scan.set(&mut lure.hook.barbed, Some(true), "barbed");
    } else if let Some((point, text)) = scan.phrase(vocabulary::hook_point) {
        scan.set(&mut lure.hook.point, Some(point), &text);
    } else if let Some((air, text)) = scan.phrase(AirClass::from_word) {
        scan.set(&mut lure.air, Some(air), &text);
    } else {
        return scan.cursor.eat_word(&["hook", "hooks", "wire", "rig"]);
    }
    true
}

fn place(amount: &Amount, label: Option<Label>, lure: &mut Lure, scan: &mut Scan) {
    let term = match single(amount) {
        Ok(term) => term,
        Err(error) => return scan.findings.push(error.into_finding("lure")),
    };
    let written = &term.number.text;
    let mut findings = Vec::new();
    match (term.unit, label) {
        (Some(Unit::Newton), Some(Label::Punch | Label::Pull)) => {
            let punch = label == Some(Label::Punch);
            let field = if punch { "lure.punch" } else { "lure.pull" };
            let read = force_of(term, field, &mut findings);
            let force = scan.keep(read, field);
            scan.set(if punch { &mut lure.punch } else { &mut lure.pull }, force, written);
        }
        (Some(Unit::Weight(_)), _) => {
            let (slot, field) = match label {
                Some(Label::Head) => (&mut lure.head_mass, "lure.head_mass"),
                Some(Label::Trailer) => (&mut lure.trailer_mass, "lure.trailer_mass"),
                _ => (&mut lure.rigged_mass, "lure.rigged_mass"),
            };
            let read = lure_mass_of(term, field, &mut findings);
            let mass = scan.keep(read, field);
            scan.set(slot, mass, written);
        }
        (Some(Unit::Span(unit)), _) if unit == Span::Mm && term.number.value < 3.0 => {
            let read = diameter_of(term, "lure.hook.wire", &mut findings);
            let wire = scan.keep(read, "lure.hook.wire");
            scan.set(&mut lure.hook.wire, wire, written);
        }
        (Some(Unit::Span(_)), _) => {
            let read = length_of(term, "lure.length", &mut findings);
            let length = scan.keep(read, "lure.length");
            scan.set(&mut lure.length, length, written);
        }
        (None | Some(Unit::Newton | Unit::Pace(_)), _) => scan.ignored.push(written.clone()),
    }
    scan.findings.append(&mut findings);
}
