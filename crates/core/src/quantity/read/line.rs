//! Strength of lines, and the line rating of rods.

use super::mass::ordered;
use super::text::{Amount, Cursor, Shape, Span, Term, Unit, Weight};
use super::{
    NYLON_KGF_PER_PE, PE_NUMBERS, ReadError, Reading, diameter_of, number_findings, nylon_diameter,
    nylon_test, one, pe_diameter, pe_test, quoted, short, within,
};
use crate::gear::{Finding, FindingCode, LineBasis};
use crate::quantity::{Force, Length, Range};

const EXAMPLE: &str = "20 lb, 9 kg or PE 1.5 (13 kg)";
const RANGE_EXAMPLE: &str = "10-20 lb, 4.5-9 kg or PE 0.8-1.2";

/// Words on a label that add nothing to a strength.
const FILLERS: [&str; 16] = [
    "pe",
    "braid",
    "braided",
    "nylon",
    "mono",
    "monofilament",
    "fluorocarbon",
    "fluoro",
    "fc",
    "test",
    "class",
    "strength",
    "breaking",
    "about",
    "approx",
    "ca",
];

/// A number of one of the scales by which lines are sold.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum LineNumber {
    /// Braid, by mass ("PE 1.5").
    Pe(f64),
    /// Nylon or fluorocarbon, by diameter ("No. 3").
    Nylon(f64),
}

/// What the label of a line says about its strength.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct LineLabel {
    /// Breaking force: printed, or else from the line number.
    pub test: Option<Force>,
    /// Diameter: printed, or else from the line number.
    pub diameter: Option<Length>,
    /// The line number, where one is printed.
    pub number: Option<LineNumber>,
}

/// What a rod says about the line that it takes.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct LineRating {
    /// Breaking force.
    pub range: Range<Force>,
    /// What the force means, where the text says so. PE numbers are turned into nylon.
    pub basis: Option<LineBasis>,
}

/// Reads the strength of a line: `20 lb`, `9 kg`, `PE 1.5 (13 kg)`, `PE 1.5`, `No. 3`,
/// `0.25 mm / 4.5 kg`.
///
/// A line number fills in the diameter and, where none is printed, the breaking force, with a
/// finding.
///
/// # Errors
/// A number without unit, a range, a line number that is not sold, or other text.
pub fn line_label(text: &str, field: &str) -> Reading<LineLabel> {
    let mut findings = Vec::new();
    let mut label = LineLabel::default();
    let mut cursor = super::start(text, EXAMPLE)?;
    let mut pe = false;
    while !cursor.done() {
        if let Some(number) = numbered(&mut cursor) {
            label.number =
                Some(if pe { LineNumber::Pe(number) } else { LineNumber::Nylon(number) });
        } else if let Some(amount) = cursor.amount() {
            label_part(one(&amount)?, &mut label, field, &mut findings)?;
        } else if let Some(word) = cursor.word_at(0)
            && FILLERS.contains(&word)
        {
            pe |= matches!(word, "pe" | "braid" | "braided");
            cursor.skip(1);
        } else if !cursor.eat_sign(&['(', ')', '/', ',', ';', '=', '.', ':', '~']) {
            super::finish(&cursor, text, EXAMPLE)?;
        }
    }
    fill_in(&mut label, field, &mut findings)?;
    if label.test.is_none() && label.diameter.is_none() {
        return Err(super::no_number(text, EXAMPLE));
    }
    Ok((label, findings))
}

/// "No. 3", "#3": a line number without the letters PE.
pub(crate) fn numbered(cursor: &mut Cursor) -> Option<f64> {
    let sign = cursor.sign_at(0) == Some('#');
    let word = matches!(cursor.word_at(0), Some("no" | "nr" | "number"));
    if !sign && !word {
        return None;
    }
    let dot = usize::from(word && cursor.sign_at(1) == Some('.'));
    let value = cursor.num_at(1 + dot)?.value;
    cursor.skip(2 + dot);
    Some(value)
}

/// The breaking force that a term spells.
pub(crate) fn force_of(
    term: &Term,
    field: &str,
    findings: &mut Vec<Finding>,
) -> Result<Force, ReadError> {
    let written = &term.number.text;
    let force = match term.unit {
        Some(Unit::Weight(unit)) => unit.force(term.number.value),
        Some(Unit::Newton) => Force::from_n(term.number.value),
        Some(Unit::Span(_) | Unit::Pace(_)) => {
            return Err(ReadError::unread(format!(
                "`{written}` is followed by a unit that is no strength: write for example \
                 {EXAMPLE}"
            )));
        }
        None => {
            return Err(ReadError::unread(format!(
                "`{written}` has no unit: write {written} lb, {written} kg or PE {written}"
            )));
        }
    };
    number_findings(&term.number, field, findings)?;
    if force.n() <= 0.0 {
        return Err(ReadError::unread("a strength must be more than 0"));
    }
    within(force.kgf(), 0.05, 300.0, &format!("`{written}`, as a strength in kg,"))?;
    Ok(force)
}

fn label_part(
    term: &Term,
    label: &mut LineLabel,
    field: &str,
    findings: &mut Vec<Finding>,
) -> Result<(), ReadError> {
    let written = &term.number.text;
    if term.pe && term.unit.is_none() {
        number_findings(&term.number, field, findings)?;
        label.number = Some(LineNumber::Pe(term.number.value));
        return Ok(());
    }
    if let Some(Unit::Span(span)) = term.unit {
        if !matches!(span, Span::Mm | Span::In) {
            return Err(ReadError::unread(format!(
                "`{written}` is a length, but a strength is wanted: write for example {EXAMPLE}"
            )));
        }
        label.diameter = Some(diameter_of(term, field, findings)?);
        return Ok(());
    }
    let force = force_of(term, field, findings)?;
    if let Some(first) = label.test {
        if (force.n() / first.n() - 1.0).abs() > 0.15 {
            findings.push(Finding::new(
                FindingCode::UnitSuspect,
                field,
                format!(
                    "{} kg and {} kg are printed as the same strength: the first was used",
                    short(first.kgf()),
                    short(force.kgf())
                ),
            ));
        }
        return Ok(());
    }
    findings.extend(pounds_or_number(term, force, field));
    label.test = Some(force);
    Ok(())
}

/// "1.5 lb" where the line number PE 1.5 may have been meant.
pub(crate) fn pounds_or_number(term: &Term, force: Force, field: &str) -> Option<Finding> {
    let number = term.number.shape == Shape::Decimal && term.number.value < 5.0;
    let written = &term.number.text;
    (number && term.unit == Some(Unit::Weight(Weight::Lb)) && !term.pe).then(|| {
        let text = format!(
            "{written} lb is {} kg; if the line number PE {written} was meant, write PE {written}",
            short(force.kgf())
        );
        Finding::new(FindingCode::UnitSuspect, field, text)
    })
}

fn unknown_number(number: f64) -> ReadError {
    ReadError::suspect(format!(
        "PE {number} is no line number ({} to {}): did you mean a strength of {number} lb?",
        PE_NUMBERS.0, PE_NUMBERS.1
    ))
}

/// Fills in what follows from the line number.
fn fill_in(
    label: &mut LineLabel,
    field: &str,
    findings: &mut Vec<Finding>,
) -> Result<(), ReadError> {
    let (name, diameter, test) = match label.number {
        None => return Ok(()),
        Some(LineNumber::Pe(n)) => {
            let unknown = || unknown_number(n);
            let diameter = pe_diameter(n).ok_or_else(unknown)?;
            (format!("PE {n}"), diameter, pe_test(n).ok_or_else(unknown)?)
        }
        Some(LineNumber::Nylon(n)) => {
            let unknown =
                || ReadError::suspect(format!("No. {n} is no line number of nylon (0.1 to 12)"));
            let diameter = nylon_diameter(n).ok_or_else(unknown)?;
            (format!("No. {n}"), diameter, nylon_test(diameter).ok_or_else(unknown)?)
        }
    };
    if let Some(printed) = label.test
        && !(0.5..=2.0).contains(&(printed.n() / test.n()))
    {
        findings.push(Finding::new(
            FindingCode::UnitSuspect,
            field,
            format!(
                "{name} usually breaks at about {} kg, but {} kg is printed: are kg and lb mixed \
                 up?",
                short(test.kgf()),
                short(printed.kgf())
            ),
        ));
    }
    let mut told = Vec::new();
    if label.diameter.is_none() {
        told.push(format!("{:.3} mm", diameter.mm()));
    }
    if label.test.is_none() {
        told.push(format!("{} kg", short(test.kgf())));
    }
    if !told.is_empty() {
        findings.push(Finding::new(
            FindingCode::LineNumberConverted,
            field,
            format!("{name} was taken as {}", told.join(" and ")),
        ));
    }
    label.diameter = label.diameter.or(Some(diameter));
    label.test = label.test.or(Some(test));
    Ok(())
}

/// Reads the line rating of a rod: `10-20 lb`, `4.5-9 kg`, `max 20 lb`, `PE 3-5`, `6-10`.
///
/// PE numbers are turned into the nylon that such a rod takes ([`NYLON_KGF_PER_PE`]), with a
/// finding. Whole numbers without a unit are taken as pounds, with a finding. Where nylon and PE
/// are both printed (`8-14 lb / PE 0.8-1.2`), the strength counts.
///
/// # Errors
/// Other numbers without a unit (they may be PE numbers), or other text.
pub fn line_rating(text: &str, field: &str) -> Reading<LineRating> {
    let mut findings = Vec::new();
    let mut rating: Option<LineRating> = None;
    let mut basis = None;
    let mut cursor = super::start(text, RANGE_EXAMPLE)?;
    while !cursor.done() {
        if let Some(amount) = cursor.amount() {
            let mut odd = Vec::new();
            let next = line_rating_of(&amount, field, &mut odd)?;
            let nylon_after_pe = !is_pe(&amount) && rating.is_some_and(|r| r.basis.is_some());
            if rating.is_none() || nylon_after_pe {
                (rating, findings) = (Some(next), odd);
            }
        } else if cursor.eat_word(&["nylon", "mono", "monofilament"]) {
            basis = Some(LineBasis::Nylon);
        } else if cursor.eat_word(&["braid", "braided", "pe"]) {
            basis = Some(LineBasis::Braid);
        } else if !cursor.eat_word(&["test", "class", "line"])
            && !cursor.eat_sign(&['(', ')', '/', ',', ';', ':'])
        {
            super::finish(&cursor, text, RANGE_EXAMPLE)?;
        }
    }
    let mut rating = rating.ok_or_else(|| super::no_number(text, RANGE_EXAMPLE))?;
    rating.basis = rating.basis.or(basis);
    Ok((rating, findings))
}

fn is_pe(amount: &Amount) -> bool {
    amount.term().pe && amount.term().unit.is_none()
}

pub(crate) fn line_rating_of(
    amount: &Amount,
    field: &str,
    findings: &mut Vec<Finding>,
) -> Result<LineRating, ReadError> {
    let pe = is_pe(amount);
    let basis = match amount.term() {
        t if !t.pe => None,
        t if t.unit.is_some() => Some(LineBasis::Braid),
        _ => Some(LineBasis::Nylon),
    };
    let (mut assumed, mut assumed_one) = (None, None);
    let mut force = |term: &Term| {
        if pe {
            number_findings(&term.number, field, findings)?;
            let number = term.number.value;
            pe_test(number).ok_or_else(|| unknown_number(number))?;
            return Ok(Force::from_kgf(number * NYLON_KGF_PER_PE));
        }
        let mut term = term.clone();
        if term.unit.is_none() && term.number.shape == Shape::Integer {
            term.unit = Some(Unit::Weight(Weight::Lb));
            assumed_one = Some(term.number.text.clone());
        }
        force_of(&term, field, findings)
    };
    let range = match amount {
        Amount::One(t) | Amount::AtMost(t) => Range { min: None, max: Some(force(t)?) },
        Amount::AtLeast(t) => Range { min: Some(force(t)?), max: None },
        Amount::Between(a, b) => {
            if !pe && a.unit.is_none() && [a, b].iter().any(|t| t.number.shape != Shape::Integer) {
                return Err(ReadError::unread(format!(
                    "{} has no unit: write PE, lb or kg, for example {RANGE_EXAMPLE}",
                    quoted(&format!("{}-{}", a.number.text, b.number.text))
                )));
            }
            let (mut a, mut b) = (a.clone(), b.clone());
            if !pe && a.unit.is_none() {
                a.unit = Some(Unit::Weight(Weight::Lb));
                b.unit = a.unit;
                assumed = Some(format!("{}-{}", a.number.text, b.number.text));
            }
            let high = force(&b)?;
            let low = (a.number.value > 0.0).then(|| force(&a)).transpose()?;
            match low {
                None => Range { min: None, max: Some(high) },
                Some(low) => ordered(low, high, &a, &b, field, findings),
            }
        }
    };
    if pe && let Some(max) = range.max.or(range.min) {
        findings.push(Finding::new(
            FindingCode::LineNumberConverted,
            field,
            format!("the PE rating was taken as nylon, up to about {} kg", short(max.kgf())),
        ));
    }
    if let Some(written) = assumed.or(assumed_one) {
        findings.push(Finding::new(
            FindingCode::UnitAssumed,
            field,
            format!("`{written}` has no unit: pounds were assumed"),
        ));
    }
    Ok(LineRating { range, basis })
}
