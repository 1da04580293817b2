//! Reels.

use super::{Scan, single, vocabulary};
use crate::gear::{Finding, Reel, Word};
use crate::quantity::read::text::{Amount, Kind, Span, Unit, Weight};
use crate::quantity::read::{capacity_at, drag_of, length_of, mass_of};

/// Grams from which a reel's own mass is meant; less is a drag.
const REEL_MASS_G: f64 = 100.0;

pub(super) fn read(text: &str) -> (Reel, Vec<Finding>) {
    let mut scan = Scan::new(text, "reel");
    let mut reel = Reel::default();
    let mut drag = false;
    while !scan.cursor.done() {
        if let Some(ratio) = gear_ratio(&mut scan) {
            scan.set(&mut reel.gear_ratio, Some(ratio), "ratio");
        } else if size(&mut scan, &mut reel, drag) || capacity(&mut scan, &mut reel) {
        } else if scan.cursor.word_at(0) == Some("max") && scan.cursor.word_at(1) == Some("drag") {
            scan.cursor.skip(2);
            drag = true;
        } else if let Some(amount) = scan.cursor.amount() {
            // "8.5 oz drag 20 lb": there the word belongs to what follows.
            let after = scan.cursor.word_at(0) == Some("drag") && scan.cursor.num_at(1).is_none();
            place(&amount, drag || after, &mut reel, &mut scan);
            drag = false;
            scan.cursor.skip(usize::from(after));
        } else if scan.cursor.eat_word(&["drag"]) {
            drag = true;
        } else if !words(&mut scan, &mut reel) {
            scan.pass();
        }
    }
    (reel, scan.finish())
}

/// "5.2:1".
fn gear_ratio(scan: &mut Scan) -> Option<f64> {
    let ratio = scan.cursor.num_at(0)?.value;
    let one = scan.cursor.num_at(2)?.value;
    if scan.cursor.sign_at(1) != Some(':') || one != 1.0 || !(1.0..=15.0).contains(&ratio) {
        return None;
    }
    scan.cursor.skip(3);
    Some(ratio)
}

/// "3000", "2500HG": a whole number without a unit.
fn size(scan: &mut Scan, reel: &mut Reel, drag: bool) -> bool {
    let Some(number) = scan.cursor.num_at(0) else { return false };
    let whole: Option<u32> = number.text.parse().ok();
    if drag || reel.size.is_some() || !whole.is_some_and(|n| (30..=30_000).contains(&n)) {
        return false;
    }
    let mut size = number.text.clone();
    let mut ahead = scan.cursor.clone();
    ahead.skip(1);
    if ahead.unit().is_some() || ahead.sign_at(0).is_some_and(|c| "/-:x".contains(c)) {
        return false;
    }
    if ahead.word_at(0) == Some("drag") || matches!(ahead.word_at(0), Some("x" | "to")) {
        return false;
    }
    scan.cursor.skip(1);
    if scan.cursor.glued_at(0)
        && let Some(letters) = scan.cursor.word_at(0)
    {
        size.push_str(&letters.to_uppercase());
        scan.cursor.skip(1);
    }
    reel.size = Some(size);
    true
}

fn capacity(scan: &mut Scan, reel: &mut Reel) -> bool {
    let mut findings = Vec::new();
    let read = capacity_at(&mut scan.cursor, "reel.capacity_length", &mut findings);
    let Some(capacity) = read else { return false };
    if reel.capacity_length.is_none() {
        reel.capacity_diameter = Some(capacity.diameter);
        reel.capacity_length = Some(capacity.length);
        scan.findings.append(&mut findings);
    } else {
        scan.ignored.push("second capacity".to_owned());
    }
    let _ = scan.cursor.eat_word(&["m"]);
    true
}

fn place(amount: &Amount, drag: bool, reel: &mut Reel, scan: &mut Scan) {
    let term = match single(amount) {
        Ok(term) => term,
        Err(error) => return scan.findings.push(error.into_finding("reel")),
    };
    let written = &term.number.text;
    let mut findings = Vec::new();
    let own_mass = match term.unit {
        Some(Unit::Weight(Weight::G)) => term.number.value >= REEL_MASS_G,
        Some(Unit::Weight(Weight::Oz)) => true,
        _ => false,
    };
    match term.unit {
        Some(Unit::Span(Span::Cm | Span::In)) => {
            let read = length_of(term, "reel.retrieve", &mut findings);
            let length = scan.keep(read, "reel.retrieve");
            scan.set(&mut reel.retrieve, length, written);
        }
        Some(Unit::Weight(_)) if own_mass && !drag => {
            let read = mass_of(term, "reel.mass", &mut findings);
            let mass = scan.keep(read, "reel.mass");
            scan.set(&mut reel.mass, mass, written);
        }
        Some(Unit::Weight(_) | Unit::Newton) => set_drag(amount, reel, scan),
        None if drag => set_drag(amount, reel, scan),
        None | Some(Unit::Span(_) | Unit::Pace(_)) => scan.ignored.push(written.clone()),
    }
    scan.findings.append(&mut findings);
}

fn set_drag(amount: &Amount, reel: &mut Reel, scan: &mut Scan) {
    let mut findings = Vec::new();
    let field = "reel.drag_max";
    let read = drag_of(amount.term(), field, reel.size.as_deref(), &mut findings);
    scan.findings.append(&mut findings);
    let drag = scan.keep(read, field);
    scan.set(&mut reel.drag_max, drag, &amount.term().number.text);
}

fn words(scan: &mut Scan, reel: &mut Reel) -> bool {
    if let Some((side, _)) = scan.phrase(vocabulary::side) {
        scan.set(&mut reel.retrieve_side, Some(side), side.as_word());
    } else if let Some((kind, _)) = scan.phrase(vocabulary::handle) {
        scan.set(&mut reel.kind, Some(kind), kind.as_word());
    } else if scan
        .phrase(|w| matches!(w, "start_up" | "startup" | "start_up_ratio").then_some(()))
        .is_some()
    {
        start_up(scan, reel);
    } else if scan.cursor.eat_word(&["sealed", "saltwater", "salt"]) {
        let _ = scan.cursor.eat_word(&["rated", "water", "proof"]);
        reel.salt_rated = Some(true);
    } else {
        return false;
    }
    true
}

/// "start-up 1.2": breakaway drag over running drag.
fn start_up(scan: &mut Scan, reel: &mut Reel) {
    let _ = scan.cursor.eat_word(&["ratio"]);
    let number = scan.cursor.peek(0).map(|t| t.kind.clone());
    if let Some(Kind::Number(number)) = number
        && (1.0..=5.0).contains(&number.value)
    {
        scan.cursor.skip(1);
        scan.set(&mut reel.start_up_ratio, Some(number.value), &number.text);
    }
}
