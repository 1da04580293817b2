//! Reading of quantities as people write them.
//!
//! Every function takes the text and the path of the field that it is meant for (used in the
//! findings) and answers the value with what was odd about it, or a [`ReadError`] that says what
//! was wrong and what would be right. Decimal commas, printed fractions (`1 1/2`, `½`), curly
//! quotes and long dashes are read; a number that could mean two things is asked about.

use thiserror::Error;

use crate::gear::{Finding, FindingCode};

mod length;
mod line;
mod mass;
mod reel;
mod tables;
pub(crate) mod text;
mod wind;

pub use length::{diameter, length, rod_length};
pub(crate) use length::{diameter_of, length_of, rod_length_of};
pub use line::{LineLabel, LineNumber, LineRating, line_label, line_rating};
pub(crate) use line::{force_of, line_rating_of, numbered, pounds_or_number};
pub use mass::{lure_mass, mass, mass_range};
pub(crate) use mass::{lure_mass_of, mass_of, mass_range_of};
pub use reel::{Capacity, capacity, drag, ratio, retrieve};
pub(crate) use reel::{capacity_at, drag_of};
pub use tables::{
    NYLON_KGF_PER_PE, PE_NUMBERS, fluorocarbon_test, nylon_diameter, nylon_test, pe_diameter,
    pe_number, pe_test,
};
use text::{Amount, Cursor, LONGEST, Num, Term};
pub use wind::{Wind, speed, wind};

/// A value with what was odd about its text.
pub type Reading<T> = Result<(T, Vec<Finding>), ReadError>;

/// A text that could not be read: what was wrong and what would be right. It names no field; the
/// caller knows which one it read.
#[derive(Clone, Debug, PartialEq, Error)]
#[error("{message}")]
pub struct ReadError {
    code: FindingCode,
    message: String,
}

impl ReadError {
    pub(crate) fn new(code: FindingCode, message: impl Into<String>) -> Self {
        Self { code, message: message.into() }
    }

    pub(crate) fn unread(message: impl Into<String>) -> Self {
        Self::new(FindingCode::TextIgnored, message)
    }

    pub(crate) fn suspect(message: impl Into<String>) -> Self {
        Self::new(FindingCode::UnitSuspect, message)
    }

    /// What kind of trouble it is: a unit that looks wrong, or text that could not be read.
    #[must_use]
    pub fn code(&self) -> FindingCode {
        self.code
    }

    /// The same as a finding, where the text is left out instead of refused.
    #[must_use]
    pub fn into_finding(self, field: &str) -> Finding {
        Finding::new(self.code, field, self.message)
    }
}

/// The text in quotes, shortened.
pub(crate) fn quoted(text: &str) -> String {
    let text = text.trim();
    if text.chars().count() <= 40 {
        return format!("`{text}`");
    }
    let start: String = text.chars().take(37).collect();
    format!("`{start}...`")
}

/// A value as short as it can be said: 14.17, 0.3, 20.
pub(crate) fn short(value: f64) -> String {
    let digits = if value.abs() < 1.0 {
        3
    } else if value.abs() < 100.0 {
        2
    } else {
        0
    };
    let text = format!("{value:.digits$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

/// Reads the whole text as one amount; `example` says what would be right.
fn amount(text: &str, example: &str) -> Result<Amount, ReadError> {
    let mut cursor = start(text, example)?;
    let amount = cursor.amount().ok_or_else(|| no_number(text, example))?;
    finish(&cursor, text, example)?;
    Ok(amount)
}

/// Begins to read; refuses what is empty or negative.
fn start(text: &str, example: &str) -> Result<Cursor, ReadError> {
    let cursor = Cursor::new(text);
    if text.chars().count() > LONGEST {
        return Err(ReadError::unread(format!(
            "the text is longer than {LONGEST} characters: write for example {example}"
        )));
    }
    if cursor.done() {
        return Err(ReadError::unread(format!("nothing is written: write for example {example}")));
    }
    if cursor.sign_at(0) == Some('-') && cursor.num_at(1).is_some() {
        return Err(ReadError::unread(format!(
            "{} is negative: write for example {example}",
            quoted(text)
        )));
    }
    Ok(cursor)
}

fn no_number(text: &str, example: &str) -> ReadError {
    ReadError::unread(format!(
        "{} does not start with a number: write for example {example}",
        quoted(text)
    ))
}

fn finish(cursor: &Cursor, text: &str, example: &str) -> Result<(), ReadError> {
    if cursor.done() {
        return Ok(());
    }
    let rest = cursor.rest();
    Err(ReadError::unread(format!(
        "{}: {} cannot be read: write for example {example}",
        quoted(text),
        quoted(&rest)
    )))
}

/// The one value of an amount.
fn one(amount: &Amount) -> Result<&Term, ReadError> {
    match amount {
        Amount::One(term) => Ok(term),
        Amount::AtMost(t) | Amount::AtLeast(t) => Err(ReadError::unread(format!(
            "`{}` is given as a bound, but one value is wanted here",
            t.number.text
        ))),
        Amount::Between(a, b) => Err(ReadError::unread(format!(
            "`{}-{}` is a range, but one value is wanted here",
            a.number.text, b.number.text
        ))),
    }
}

/// Findings about the way in which a number is written.
fn number_findings(number: &Num, field: &str, out: &mut Vec<Finding>) -> Result<(), ReadError> {
    if number.thousands() {
        return Err(ReadError::suspect(format!(
            "`{}` can be read two ways: write {} or {}",
            number.text,
            number.text.replace(',', "."),
            number.text.replace(',', "")
        )));
    }
    if number.comma {
        out.push(Finding::new(
            FindingCode::DecimalComma,
            field,
            format!("`{}` was read as {}", number.text, number.text.replace(',', ".")),
        ));
    }
    if number.mixed {
        out.push(Finding::new(
            FindingCode::MixedNumber,
            field,
            format!("`{}` was read as {}", number.text, number.value),
        ));
    }
    Ok(())
}

/// Refuses what lies outside `low..=high` (same unit as `value`).
fn within(value: f64, low: f64, high: f64, what: &str) -> Result<(), ReadError> {
    if value >= low && value <= high {
        return Ok(());
    }
    Err(ReadError::suspect(format!("{what} must lie between {low} and {high}")))
}
