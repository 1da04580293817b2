//! Rods.

use super::{Scan, single, vocabulary};
use crate::gear::{Finding, LineBasis, LineMaterial, Rod, THIRD_DROP_ANGLE_DEG, Word};
use crate::quantity::read::text::{Amount, Shape, Unit, Weight};
use crate::quantity::read::{line_rating_of, mass_of, mass_range_of, rod_length_of};
use crate::quantity::{Length, Mass, Range};

/// What the next number belongs to, by the word before it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Label {
    Lure,
    Line,
    Mass,
}

/// A single value of this many grams and more beside a lure rating is the rod's own mass.
const ROD_MASS_G: f64 = 50.0;

pub(super) fn read(text: &str) -> (Rod, Vec<Finding>) {
    let mut scan = Scan::new(text, "rod");
    let mut rod = Rod::default();
    let mut label = None;
    while !scan.cursor.done() {
        if let Some(pieces) = pieces(&mut scan) {
            scan.set(&mut rod.pieces, Some(pieces), "pieces");
        } else if let Some(amount) = scan.cursor.amount() {
            place(&amount, label.take(), &mut rod, &mut scan);
        } else if scan.phrase(|word| (word == "third_drop").then_some(())).is_some() {
            bench_test(&mut rod, &mut scan);
        } else if let Some((found, _)) = scan.phrase(labels) {
            label = Some(found);
        } else if !words(&mut scan, &mut rod) {
            scan.pass();
        }
    }
    (rod, scan.finish())
}

fn labels(word: &str) -> Option<Label> {
    Some(match word {
        "lure" | "lures" | "lure_weight" | "casting_weight" | "cast_weight" | "cw" => Label::Lure,
        "line" | "lines" | "line_rating" => Label::Line,
        "weight" | "weighs" | "mass" => Label::Mass,
        _ => return None,
    })
}

/// "third drop 420 g at 68 degrees": the mass that drops the tip by a third, the angle of the tip.
fn bench_test(rod: &mut Rod, scan: &mut Scan) {
    let field = "rod.third_drop_mass";
    if let Some(amount) = scan.cursor.amount() {
        let mut findings = Vec::new();
        let read = single(&amount).and_then(|t| mass_of(t, field, &mut findings));
        scan.findings.append(&mut findings);
        let mass = scan.keep(read, field);
        scan.set(&mut rod.third_drop_mass, mass, &amount.term().number.text);
    }
    let at = usize::from(scan.cursor.word_at(0) == Some("at"));
    let Some(degrees) = scan.cursor.num_at(at).map(|number| number.value) else { return };
    let named = matches!(scan.cursor.word_at(at + 1), Some("deg" | "degree" | "degrees"));
    if named || scan.cursor.sign_at(at + 1) == Some('°') {
        scan.cursor.skip(at + 2);
        let (least, most) = THIRD_DROP_ANGLE_DEG;
        let angle = (least..=most).contains(&degrees).then_some(degrees);
        if angle.is_none() {
            scan.ignored.push(format!("{degrees} degrees"));
        }
        scan.set(&mut rod.third_drop_angle_deg, angle, "angle");
    }
}

/// "2 pc", "2-piece", "two-piece".
fn pieces(scan: &mut Scan) -> Option<u32> {
    if let Some(number) = scan.cursor.num_at(0) {
        let count: u32 = number.text.parse().ok().filter(|n| (1..=9).contains(n))?;
        let hyphen = usize::from(scan.cursor.sign_at(1) == Some('-'));
        let word = scan.cursor.word_at(1 + hyphen)?;
        if !matches!(word, "pc" | "pcs" | "piece" | "pieces" | "section" | "sections") {
            return None;
        }
        scan.cursor.skip(2 + hyphen);
        return Some(count);
    }
    scan.phrase(vocabulary::pieces).map(|found| found.0)
}

fn words(scan: &mut Scan, rod: &mut Rod) -> bool {
    let plain = |word: &str| word.replace('_', " ");
    if let Some(action) = scan.near("rod.action", vocabulary::action, |a| plain(a.as_word())) {
        scan.set(&mut rod.action, Some(action), action.as_word());
    } else if let Some((power, _)) = scan.phrase(vocabulary::power) {
        scan.set(&mut rod.power_label, Some(power), power.as_word());
    } else if let Some((handle, _)) = scan.phrase(vocabulary::handle) {
        scan.set(&mut rod.handle, Some(handle), handle.as_word());
    } else if let Some((material, _)) = scan.phrase(vocabulary::rod_material) {
        scan.set(&mut rod.material, Some(material), material.as_word());
    } else if let Some((guides, _)) = scan.phrase(vocabulary::guides) {
        scan.set(&mut rod.guides, Some(guides), guides.as_word());
        let _ = scan.cursor.eat_word(&["guides", "guide", "rings", "ring"]);
    } else if let Some((material, text)) = scan.phrase(vocabulary::line_material) {
        let basis = match material {
            LineMaterial::Braid => LineBasis::Braid,
            LineMaterial::Nylon | LineMaterial::Fluorocarbon => LineBasis::Nylon,
        };
        scan.set(&mut rod.line_rating_basis, Some(basis), &text);
    } else {
        return false;
    }
    true
}

fn place(amount: &Amount, label: Option<Label>, rod: &mut Rod, scan: &mut Scan) {
    let term = amount.term();
    let range = matches!(amount, Amount::Between(..));
    let fraction = |a: &Amount| match a {
        Amount::Between(a, b) => [a, b].iter().any(|t| t.number.shape == Shape::Fraction),
        Amount::One(t) | Amount::AtMost(t) | Amount::AtLeast(t) => {
            t.number.shape == Shape::Fraction
        }
    };
    match (term.unit, label) {
        (Some(Unit::Weight(_)), Some(Label::Mass)) => own_mass(amount, rod, scan),
        (Some(Unit::Weight(Weight::G | Weight::Oz)), _) => {
            let grams = match term.unit {
                Some(Unit::Weight(unit)) => unit.mass(term.number.value).g(),
                _ => 0.0,
            };
            let rated = rod.lure_rating != Range::default();
            let alone = matches!(amount, Amount::One(_));
            if rated && alone && label.is_none() && grams >= ROD_MASS_G {
                own_mass(amount, rod, scan);
            } else {
                lure_rating(amount, rod, scan);
            }
        }
        (Some(Unit::Weight(_) | Unit::Newton), _) => line_rating(amount, rod, scan),
        (Some(Unit::Span(_)), _) => {
            let mut findings = Vec::new();
            let read = single(amount).and_then(|t| rod_length_of(t, "rod.length", &mut findings));
            scan.findings.append(&mut findings);
            let length = scan.keep(read, "rod.length");
            // The same length in a second unit is no news.
            let near = |a: Length, b: Length| (a.m() - b.m()).abs() <= 0.05;
            if !matches!((rod.length, length), (Some(a), Some(b)) if near(a, b)) {
                scan.set(&mut rod.length, length, &term.number.text);
            }
        }
        (None, _) if term.pe => line_rating(amount, rod, scan),
        (None, Some(Label::Line)) => line_rating(amount, rod, scan),
        (None, Some(Label::Lure)) => lure_rating(amount, rod, scan),
        (None, None) if range && fraction(amount) => lure_rating(amount, rod, scan),
        (None, None) if range => line_rating(amount, rod, scan),
        (None | Some(Unit::Pace(_)), _) => scan.ignored.push(term.number.text.clone()),
    }
}

fn own_mass(amount: &Amount, rod: &mut Rod, scan: &mut Scan) {
    let mut findings = Vec::new();
    let read = single(amount).and_then(|t| mass_of(t, "rod.mass", &mut findings));
    scan.findings.append(&mut findings);
    let mass: Option<Mass> = scan.keep(read, "rod.mass");
    scan.set(&mut rod.mass, mass, &amount.term().number.text);
}

fn lure_rating(amount: &Amount, rod: &mut Rod, scan: &mut Scan) {
    let field = "rod.lure_rating";
    let mut findings = Vec::new();
    let read = mass_range_of(amount, field, &mut findings);
    let Some(range) = scan.keep(read, field) else { return };
    if rod.lure_rating == Range::default() {
        rod.lure_rating = range;
        scan.findings.append(&mut findings);
    } else if !same(rod.lure_rating.max.map(Mass::g), range.max.map(Mass::g)) {
        scan.ignored.push(amount.term().number.text.clone());
    }
}

/// Whether two printed ends are the same within a quarter: a label in two units.
fn same(a: Option<f64>, b: Option<f64>) -> bool {
    matches!((a, b), (Some(a), Some(b)) if a <= b * 1.25 && b <= a * 1.25)
}

fn line_rating(amount: &Amount, rod: &mut Rod, scan: &mut Scan) {
    let field = "rod.line_rating";
    let mut findings = Vec::new();
    let read = line_rating_of(amount, field, &mut findings);
    let Some(rating) = scan.keep(read, field) else { return };
    if rod.line_rating == Range::default() {
        rod.line_rating = rating.range;
        rod.line_rating_basis = rating.basis.or(rod.line_rating_basis);
        scan.findings.append(&mut findings);
    } else if !same(rod.line_rating.max.map(|f| f.kgf()), rating.range.max.map(|f| f.kgf())) {
        scan.ignored.push(amount.term().number.text.clone());
    }
}
