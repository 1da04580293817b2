//! What is printed on reels: drag, retrieve, ratio, capacity.

use super::text::{Cursor, Kind, Shape, Span, Term, Unit, Weight};
use super::{
    ReadError, Reading, amount, diameter_of, force_of, length_of, number_findings, one,
    pe_diameter, quoted, short,
};
use crate::gear::{Finding, FindingCode};
use crate::quantity::{Force, Length};

const DRAG_EXAMPLE: &str = "5 kg, 11 lb or 300 g";
const CAPACITY_EXAMPLE: &str = "0.22 mm/150 m";

/// Line that fills a spool.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Capacity {
    /// Diameter of the line.
    pub diameter: Length,
    /// Its length.
    pub length: Length,
}

/// Reads a drag: `5 kg`, `24 lb`, `300 g`, `12 N`. `reel_size` is the maker's size number, which
/// tells what is too much.
///
/// # Errors
/// No unit (small reels print grams), or more than the reel can hold; both ask.
pub fn drag(text: &str, field: &str, reel_size: Option<&str>) -> Reading<Force> {
    let mut findings = Vec::new();
    let amount = amount(text, DRAG_EXAMPLE)?;
    let drag = drag_of(one(&amount)?, field, reel_size, &mut findings)?;
    Ok((drag, findings))
}

/// Greatest drag that is believed of a reel, kgf. From memory.
fn strongest(reel_size: Option<&str>) -> f64 {
    let digits: String =
        reel_size.unwrap_or_default().chars().filter(char::is_ascii_digit).collect();
    match digits.parse::<u32>() {
        // Fixed-spool sizes; casting reels up to 400 hold as much as large ones.
        Ok(500..=1500) => 8.0,
        Ok(1501..=3500) => 16.0,
        _ => 50.0,
    }
}

pub(crate) fn drag_of(
    term: &Term,
    field: &str,
    reel_size: Option<&str>,
    findings: &mut Vec<Finding>,
) -> Result<Force, ReadError> {
    let (written, value) = (&term.number.text, term.number.value);
    let limit = strongest(reel_size);
    let reel = reel_size.map_or_else(|| "reel".to_owned(), |s| format!("reel of size {s}"));
    if term.unit.is_none() {
        return Err(if value > limit {
            ReadError::suspect(format!(
                "`{written}` has no unit, and {written} kg is more than a {reel} holds: did you \
                 mean {written} g ({} kg)?",
                short(value / 1000.0)
            ))
        } else {
            ReadError::unread(format!(
                "`{written}` has no unit: write {written} kg or {written} lb"
            ))
        });
    }
    if let Some(Unit::Weight(unit @ (Weight::Kg | Weight::Lb))) = term.unit
        && unit.force(value).kgf() > limit
    {
        return Err(ReadError::suspect(format!(
            "`{written}` would be {} kg of drag, more than a {reel} holds: did you mean {written} \
             {}?",
            short(unit.force(value).kgf()),
            if unit == Weight::Kg && value < limit * 2.2 { "lb" } else { "g" }
        )));
    }
    force_of(term, field, findings)
}

/// Reads the line taken in by one turn of the handle: `68 cm`, `29 in`, `75 cm/turn`.
///
/// A number alone from 30 to 160 is taken as centimetres, with a finding.
///
/// # Errors
/// Any other number without a unit, and what is not between 20 cm and 2 m.
pub fn retrieve(text: &str, field: &str) -> Reading<Length> {
    const EXAMPLE: &str = "75 cm or 29 in";
    let mut findings = Vec::new();
    let mut cursor = super::start(text, EXAMPLE)?;
    let amount = cursor.amount().ok_or_else(|| super::no_number(text, EXAMPLE))?;
    let _ = cursor.eat_sign(&['/']) || cursor.eat_word(&["per", "a"]);
    cursor.eat_word(&["turn", "crank"]);
    super::finish(&cursor, text, EXAMPLE)?;
    let mut term = one(&amount)?.clone();
    if term.unit.is_none() && (30.0..=160.0).contains(&term.number.value) {
        term.unit = Some(Unit::Span(Span::Cm));
        findings.push(Finding::new(
            FindingCode::UnitAssumed,
            field,
            format!("`{}` has no unit: centimetres were assumed", term.number.text),
        ));
    }
    let length = length_of(&term, field, &mut findings)?;
    if !(0.2..=2.0).contains(&length.m()) {
        return Err(ReadError::suspect(format!(
            "{} would be {} m a turn: reels take in 0.2 to 2 m; write for example {EXAMPLE}",
            quoted(text),
            short(length.m())
        )));
    }
    Ok((length, findings))
}

/// Reads a gear ratio: `5.3:1`, `5.3 to 1` or `5.3`.
///
/// # Errors
/// Anything that is not a ratio between 1 and 15 to 1.
pub fn ratio(text: &str, field: &str) -> Reading<f64> {
    const EXAMPLE: &str = "5.3:1";
    let mut findings = Vec::new();
    let mut cursor = super::start(text, EXAMPLE)?;
    let number = match cursor.next_token().map(|t| t.kind) {
        Some(Kind::Number(number)) => number,
        Some(Kind::Word | Kind::Sign(_)) | None => return Err(super::no_number(text, EXAMPLE)),
    };
    if (cursor.eat_sign(&[':', '/']) || cursor.eat_word(&["to"]))
        && cursor.num_at(0).is_some_and(|n| n.value == 1.0)
    {
        cursor.skip(1);
    }
    super::finish(&cursor, text, EXAMPLE)?;
    number_findings(&number, field, &mut findings)?;
    super::within(number.value, 1.0, 15.0, &format!("{}, as a gear ratio,", quoted(text)))?;
    Ok((number.value, findings))
}

/// Reads a capacity: `0.22 mm/150 m`, `0.26/170`, `150 m/0.22 mm`, `PE 1.5-200 m`.
///
/// A PE number is turned into its usual diameter, with a finding.
///
/// # Errors
/// What is no pair of a diameter and a length. A strength in lb is refused: it tells no diameter.
pub fn capacity(text: &str, field: &str) -> Reading<Capacity> {
    let mut findings = Vec::new();
    let mut cursor = super::start(text, CAPACITY_EXAMPLE)?;
    let read = capacity_at(&mut cursor, field, &mut findings);
    let capacity = read.ok_or_else(|| {
        ReadError::unread(format!(
            "{} is no capacity: write diameter and length of the line, for example \
             {CAPACITY_EXAMPLE}",
            quoted(text)
        ))
    })?;
    super::finish(&cursor, text, CAPACITY_EXAMPLE)?;
    Ok((capacity, findings))
}

/// A capacity at this place, moving past it; otherwise stays.
pub(crate) fn capacity_at(
    cursor: &mut Cursor,
    field: &str,
    findings: &mut Vec<Finding>,
) -> Option<Capacity> {
    let mut ahead = cursor.clone();
    let mut odd = Vec::new();
    let first = plain_term(&mut ahead)?;
    if !ahead.eat_sign(&['/', '-', 'x']) && !ahead.eat_word(&["x"]) {
        return None;
    }
    let second = plain_term(&mut ahead)?;
    let capacity = pair(&first, &second, field, &mut odd)
        .or_else(|| pair(&second, &first, field, &mut odd))?;
    *cursor = ahead;
    findings.append(&mut odd);
    Some(capacity)
}

/// A number with its unit, no range: "0.22-150" is a pair.
fn plain_term(cursor: &mut Cursor) -> Option<Term> {
    let pe = cursor.eat_word(&["pe"]);
    let number = cursor.num_at(0)?.clone();
    cursor.skip(1);
    let next_is_pair = cursor.sign_at(0).is_some();
    let unit = if next_is_pair { None } else { cursor.unit() };
    Some(Term { number, unit, pe, inches_over: false })
}

fn pair(thin: &Term, long: &Term, field: &str, findings: &mut Vec<Finding>) -> Option<Capacity> {
    let mut odd = Vec::new();
    let metres = match long.unit {
        None => long.number.value,
        Some(Unit::Span(unit @ (Span::M | Span::Yd))) => unit.length(long.number.value).m(),
        Some(_) => return None,
    };
    if long.pe || long.number.shape == Shape::Fraction || !(10.0..=3000.0).contains(&metres) {
        return None;
    }
    let diameter = if thin.pe && thin.unit.is_none() {
        let number = thin.number.value;
        let diameter = pe_diameter(number)?;
        odd.push(Finding::new(
            FindingCode::LineNumberConverted,
            field,
            format!("PE {number} was taken as {:.3} mm", diameter.mm()),
        ));
        diameter
    } else {
        // Millimetres are understood in a pair; no finding for leaving them out.
        let unit = thin.unit.or(Some(Unit::Span(Span::Mm)));
        if thin.number.shape != Shape::Decimal && thin.unit.is_none() {
            return None;
        }
        diameter_of(&Term { unit, ..thin.clone() }, field, &mut odd).ok()?
    };
    findings.append(&mut odd);
    Some(Capacity { diameter, length: Length::from_m(metres) })
}
