//! Masses: lures, rods, reels, fish, and the printed lure rating.

use super::text::{Amount, Shape, Term, Unit, Weight};
use super::{ReadError, Reading, amount, number_findings, one, short, within};
use crate::gear::{Finding, FindingCode};
use crate::quantity::{Mass, Range};

const EXAMPLE: &str = "14 g or 1/2 oz";
const RANGE_EXAMPLE: &str = "7-21 g, 1/4-3/4 oz or max 80 g";

/// Heaviest thing that is weighed here, g.
const HEAVIEST_G: f64 = 500_000.0;
/// Heaviest lure that is believed, g.
const HEAVIEST_LURE_G: f64 = 1500.0;
/// A single printed maximum above this may be a range that lost its hyphen ("1040 g").
const HIGHEST_RATING_G: f64 = 400.0;
/// Above this a lure in ounces may be one in grams.
const HEAVY_LURE_G: f64 = 250.0;

/// Reads a mass of any thing that is weighed: `215 g`, `1.2 kg`, `8 1/2 oz`.
///
/// # Errors
/// No number, no unit or one that is no mass, a fraction of a gram, or a value that no tackle and
/// no fish has.
pub fn mass(text: &str, field: &str) -> Reading<Mass> {
    let mut findings = Vec::new();
    let amount = amount(text, EXAMPLE)?;
    let mass = mass_of(one(&amount)?, field, &mut findings)?;
    Ok((mass, findings))
}

/// Reads the mass of a lure, head or trailer: `3/8 oz`, `1 1/2 oz`, `14g`, `7,5 g`.
///
/// A number alone is taken as grams from 5 up, a fraction alone as ounces, both with a finding.
///
/// # Errors
/// As [`mass`]; besides, a number below 5 without a unit, and more than 1.5 kg.
pub fn lure_mass(text: &str, field: &str) -> Reading<Mass> {
    let mut findings = Vec::new();
    let amount = amount(text, EXAMPLE)?;
    let mass = lure_mass_of(one(&amount)?, field, &mut findings)?;
    Ok((mass, findings))
}

/// Reads a printed lure rating: `1/8-1/2 oz`, `7 - 21 g`, `max 80 g`, `up to 2 oz`.
///
/// One value alone is the upper end; so is the upper end of a range that starts at 0. Swapped
/// ends are put right with a finding. A second unit (`7-21 g (1/4-3/4 oz)`) is compared.
///
/// # Errors
/// As [`lure_mass`].
pub fn mass_range(text: &str, field: &str) -> Reading<Range<Mass>> {
    let mut findings = Vec::new();
    let mut cursor = super::start(text, RANGE_EXAMPLE)?;
    let first = cursor.amount().ok_or_else(|| super::no_number(text, RANGE_EXAMPLE))?;
    let range = mass_range_of(&first, field, &mut findings)?;
    if !cursor.done() && cursor.eat_sign(&['(', '/', ',', '=']) {
        let again = cursor.amount().ok_or_else(|| super::no_number(text, RANGE_EXAMPLE))?;
        let other = mass_range_of(&again, field, &mut findings)?;
        cursor.eat_sign(&[')']);
        if let (Some(a), Some(b)) = (range.max, other.max)
            && (a.g() > b.g() * 1.25 || b.g() > a.g() * 1.25)
        {
            findings.push(Finding::new(
                FindingCode::UnitSuspect,
                field,
                format!(
                    "{} g and {} g are printed as the same maximum: the first was used",
                    short(a.g()),
                    short(b.g())
                ),
            ));
        }
    }
    super::finish(&cursor, text, RANGE_EXAMPLE)?;
    Ok((range, findings))
}

pub(crate) fn mass_of(
    term: &Term,
    field: &str,
    findings: &mut Vec<Finding>,
) -> Result<Mass, ReadError> {
    let written = &term.number.text;
    let Some(unit) = term.unit else {
        return Err(ReadError::unread(format!(
            "`{written}` has no unit: write {written} g or {written} oz"
        )));
    };
    let Unit::Weight(unit) = unit else {
        return Err(ReadError::unread(format!(
            "`{written}` is followed by a unit that is no mass: write for example {EXAMPLE}"
        )));
    };
    let number = &term.number;
    if (number.shape == Shape::Fraction || number.mixed) && matches!(unit, Weight::G | Weight::Kg) {
        return Err(ReadError::suspect(format!(
            "`{written} g`: grams are not printed as fractions: did you mean {written} oz ({} g)? \
             If not, write {} g",
            short(Mass::from_oz(number.value).g()),
            number.value
        )));
    }
    number_findings(number, field, findings)?;
    let mass = unit.mass(number.value);
    if mass.g() <= 0.0 {
        return Err(ReadError::unread("a mass must be more than 0"));
    }
    within(mass.g(), 0.01, HEAVIEST_G, &format!("`{written}`, as a mass in grams,"))?;
    Ok(mass)
}

pub(crate) fn lure_mass_of(
    term: &Term,
    field: &str,
    findings: &mut Vec<Finding>,
) -> Result<Mass, ReadError> {
    let number = &term.number;
    let written = &number.text;
    let mut term = term.clone();
    if term.unit.is_none() {
        let (unit, word) = if number.shape == Shape::Fraction || number.mixed {
            (Weight::Oz, "ounces")
        } else if number.value >= 5.0 {
            (Weight::G, "grams")
        } else {
            return Err(ReadError::unread(format!(
                "`{written}` has no unit: write {written} g or {written} oz"
            )));
        };
        term.unit = Some(Unit::Weight(unit));
        findings.push(Finding::new(
            FindingCode::UnitAssumed,
            field,
            format!("`{written}` has no unit: {word} were assumed"),
        ));
    }
    let mass = mass_of(&term, field, findings)?;
    if mass.g() > HEAVIEST_LURE_G {
        return Err(ReadError::suspect(format!(
            "`{written}` would be {} kg: no lure is that heavy; write grams or ounces, for a range \
             both ends, for example {RANGE_EXAMPLE}",
            short(mass.kg())
        )));
    }
    if term.unit == Some(Unit::Weight(Weight::Oz)) {
        if let Some(fraction) = mistyped_fraction(written) {
            findings.push(Finding::new(
                FindingCode::UnitSuspect,
                field,
                format!(
                    "{written} oz is {} g; if {} oz was meant, that is {} g",
                    short(mass.g()),
                    fraction.0,
                    short(Mass::from_oz(fraction.1).g())
                ),
            ));
        } else if mass.g() > HEAVY_LURE_G {
            findings.push(Finding::new(
                FindingCode::UnitSuspect,
                field,
                format!("{written} oz is {} g; was {written} g meant?", short(mass.g())),
            ));
        }
    }
    Ok(mass)
}

/// "1.2" where "1/2" may have been meant.
fn mistyped_fraction(written: &str) -> Option<(String, f64)> {
    const LIKELY: [(&str, f64); 6] = [
        ("1.2", 1.0 / 2.0),
        ("1.4", 1.0 / 4.0),
        ("3.4", 3.0 / 4.0),
        ("1.8", 1.0 / 8.0),
        ("3.8", 3.0 / 8.0),
        ("5.8", 5.0 / 8.0),
    ];
    let written = written.replace(',', ".");
    LIKELY.iter().find(|(text, _)| *text == written).map(|(_, v)| (written.replace('.', "/"), *v))
}

pub(crate) fn mass_range_of(
    amount: &Amount,
    field: &str,
    findings: &mut Vec<Finding>,
) -> Result<Range<Mass>, ReadError> {
    match amount {
        Amount::One(t) | Amount::AtMost(t) => {
            let max = lure_mass_of(t, field, findings)?;
            if max.g() > HIGHEST_RATING_G && matches!(amount, Amount::One(_)) {
                findings.push(Finding::new(
                    FindingCode::UnitSuspect,
                    field,
                    format!(
                        "`{}` was taken as a maximum of {} g; is it a range without its hyphen?",
                        t.number.text,
                        short(max.g())
                    ),
                ));
            }
            Ok(Range { min: None, max: Some(max) })
        }
        Amount::AtLeast(t) => Ok(Range { min: Some(lure_mass_of(t, field, findings)?), max: None }),
        Amount::Between(a, b) => {
            let mut b = b.clone();
            let mut a = a.clone();
            if a.unit.is_none() {
                // One unit for both ends, told by the larger of them.
                let fraction = |t: &Term| t.number.shape == Shape::Fraction || t.number.mixed;
                if !fraction(&a) && !fraction(&b) && a.number.value.max(b.number.value) < 5.0 {
                    lure_mass_of(&b, field, findings)?;
                }
                let ounces = fraction(&a) || fraction(&b);
                let (unit, word) =
                    if ounces { (Weight::Oz, "ounces") } else { (Weight::G, "grams") };
                a.unit = Some(Unit::Weight(unit));
                b.unit = a.unit;
                findings.push(Finding::new(
                    FindingCode::UnitAssumed,
                    field,
                    format!(
                        "`{}-{}` has no unit: {word} were assumed",
                        a.number.text, b.number.text
                    ),
                ));
            }
            let high = lure_mass_of(&b, field, findings)?;
            if a.number.value == 0.0 {
                return Ok(Range { min: None, max: Some(high) });
            }
            let low = lure_mass_of(&a, field, findings)?;
            Ok(ordered(low, high, &a, &b, field, findings))
        }
    }
}

/// A range with its lower end first; swapped ends are named.
pub(crate) fn ordered<T: PartialOrd>(
    low: T,
    high: T,
    a: &Term,
    b: &Term,
    field: &str,
    findings: &mut Vec<Finding>,
) -> Range<T> {
    if low <= high {
        return Range { min: Some(low), max: Some(high) };
    }
    findings.push(Finding::new(
        FindingCode::BoundsSwapped,
        field,
        format!("`{}-{}` was read the other way round", a.number.text, b.number.text),
    ));
    Range { min: Some(high), max: Some(low) }
}
