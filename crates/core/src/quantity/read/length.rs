//! Lengths: rods, depths, lures, diameters.

use super::text::{Amount, Cursor, Shape, Span, Term, Unit};
use super::{ReadError, Reading, amount, number_findings, one, quoted, short, within};
use crate::gear::{Finding, FindingCode};
use crate::quantity::Length;

const EXAMPLE: &str = "2.13 m, 213 cm or 7'0\"";
const THREAD_EXAMPLE: &str = "0.30 mm";

/// Reads a length: `2.13 m`, `213 cm`, `7'2"`, `7 ft 2 in`, `7ft2`, `29 in`, `150 yd`.
///
/// # Errors
/// No number, no unit or one that is no length, 12 or more inches after feet, more than 20 km.
pub fn length(text: &str, field: &str) -> Reading<Length> {
    let mut findings = Vec::new();
    let amount = amount(text, EXAMPLE)?;
    let length = length_of(one(&amount)?, field, &mut findings)?;
    Ok((length, findings))
}

/// Reads the length of a rod, as [`length`]; a second unit (`2.13 m (7'0")`) is compared.
///
/// A number alone is taken as metres from 1.2 to 4.5 and as centimetres from 120 to 450, with a
/// finding.
///
/// # Errors
/// As [`length`]; besides, any other number without a unit and a rod that is not between 0.6 and
/// 6 m long.
pub fn rod_length(text: &str, field: &str) -> Reading<Length> {
    let mut findings = Vec::new();
    let mut cursor = super::start(text, EXAMPLE)?;
    let first = next(&mut cursor, text)?;
    let rod = rod_length_of(one(&first)?, field, &mut findings)?;
    if cursor.eat_sign(&['(', '/', '=']) {
        let again = next(&mut cursor, text)?;
        let other = rod_length_of(one(&again)?, field, &mut findings)?;
        cursor.eat_sign(&[')']);
        if (rod.m() - other.m()).abs() > 0.05 {
            findings.push(Finding::new(
                FindingCode::UnitSuspect,
                field,
                format!(
                    "{} m and {} m are printed as the same length: the first was used",
                    short(rod.m()),
                    short(other.m())
                ),
            ));
        }
    }
    super::finish(&cursor, text, EXAMPLE)?;
    Ok((rod, findings))
}

fn next(cursor: &mut Cursor, text: &str) -> Result<Amount, ReadError> {
    cursor.amount().ok_or_else(|| super::no_number(text, EXAMPLE))
}

/// Reads the diameter of a line or wire: `0.30 mm`, `0,30 mm`, `.012 in`, `.30`.
///
/// A number alone below 2.5 is taken as millimetres, with a finding.
///
/// # Errors
/// No number, a unit that is no length, or what is no line: outside 0.02 to 3 mm.
pub fn diameter(text: &str, field: &str) -> Reading<Length> {
    let mut findings = Vec::new();
    let amount = amount(text, THREAD_EXAMPLE)?;
    let diameter = diameter_of(one(&amount)?, field, &mut findings)?;
    Ok((diameter, findings))
}

pub(crate) fn length_of(
    term: &Term,
    field: &str,
    findings: &mut Vec<Finding>,
) -> Result<Length, ReadError> {
    let number = &term.number;
    let written = &number.text;
    let Some(unit) = term.unit else {
        return Err(ReadError::unread(format!(
            "`{written}` has no unit: write a length, for example {EXAMPLE}"
        )));
    };
    let Unit::Span(unit) = unit else {
        return Err(ReadError::unread(format!(
            "`{written}` is followed by a unit that is no length: write for example {EXAMPLE}"
        )));
    };
    if term.inches_over {
        return Err(ReadError::unread(format!(
            "{}: a foot has 12 inches; write fewer than 12 inches after the feet",
            quoted(written)
        )));
    }
    number_findings(number, field, findings)?;
    let length = unit.length(number.value);
    if unit == Span::Ft && number.shape == Shape::Decimal {
        let feet = number.value.floor();
        findings.push(Finding::new(
            FindingCode::UnitSuspect,
            field,
            format!(
                "{written} ft was read as {feet} ft {} in; if inches stand after the point, \
                 write {} in",
                short((number.value - feet) * 12.0),
                written.replace(['.', ','], " ft ")
            ),
        ));
    }
    if length.m() <= 0.0 {
        return Err(ReadError::unread("a length must be more than 0"));
    }
    within(length.m(), 1e-6, 20_000.0, &format!("`{written}`, as a length in metres,"))?;
    Ok(length)
}

pub(crate) fn rod_length_of(
    term: &Term,
    field: &str,
    findings: &mut Vec<Finding>,
) -> Result<Length, ReadError> {
    let mut term = term.clone();
    let value = term.number.value;
    if term.unit.is_none() {
        let (unit, word) = if (1.2..=4.5).contains(&value) {
            (Span::M, "metres")
        } else if (120.0..=450.0).contains(&value) {
            (Span::Cm, "centimetres")
        } else {
            return Err(ReadError::unread(format!(
                "`{}` has no unit: write a length, for example {EXAMPLE}",
                term.number.text
            )));
        };
        term.unit = Some(Unit::Span(unit));
        findings.push(Finding::new(
            FindingCode::UnitAssumed,
            field,
            format!("`{}` has no unit: {word} were assumed", term.number.text),
        ));
    }
    let length = length_of(&term, field, findings)?;
    if !(0.6..=6.0).contains(&length.m()) {
        return Err(ReadError::suspect(format!(
            "`{}` would be a rod of {} m: rods are 0.6 to 6 m long; write for example {EXAMPLE}",
            term.number.text,
            short(length.m())
        )));
    }
    Ok(length)
}

pub(crate) fn diameter_of(
    term: &Term,
    field: &str,
    findings: &mut Vec<Finding>,
) -> Result<Length, ReadError> {
    let mut term = term.clone();
    if term.unit.is_none() && term.number.value <= 2.5 {
        term.unit = Some(Unit::Span(Span::Mm));
        findings.push(Finding::new(
            FindingCode::UnitAssumed,
            field,
            format!("`{}` has no unit: millimetres were assumed", term.number.text),
        ));
    }
    let written = &term.number.text;
    let thread = |mm: f64| (0.02..=3.0).contains(&mm);
    let length = if term.unit.is_some() { Some(length_of(&term, field, findings)?) } else { None };
    match length {
        Some(d) if thread(d.mm()) => Ok(d),
        _ if thread(term.number.value / 100.0) => Err(ReadError::suspect(format!(
            "`{written}` is no diameter of a line: did you mean {:.2} mm?",
            term.number.value / 100.0
        ))),
        _ => Err(ReadError::suspect(format!(
            "`{written}` is no diameter of a line (0.02 to 3 mm): write for example \
             {THREAD_EXAMPLE}"
        ))),
    }
}
