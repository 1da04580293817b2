//! What was wrong with a message: all of it, each with its field.

use std::fmt;

use tonic::Status;
use tonic_types::{FieldViolation, StatusExt as _};

use crate::{limits, pb, reason};

/// A path to a field, written out only when there is a fault to report.
#[derive(Clone, Copy, Debug)]
pub struct At<'a> {
    parent: Option<&'a At<'a>>,
    step: Step<'a>,
}

#[derive(Clone, Copy, Debug)]
enum Step<'a> {
    Root,
    Field(&'a str),
    Index(usize),
    Key(&'a str),
}

impl<'a> At<'a> {
    /// The message itself.
    pub const ROOT: At<'static> = At { parent: None, step: Step::Root };

    /// A field of it.
    #[must_use]
    pub fn field(&'a self, name: &'a str) -> At<'a> {
        At { parent: Some(self), step: Step::Field(name) }
    }

    /// An entry of a list.
    #[must_use]
    pub fn index(&'a self, index: usize) -> At<'a> {
        At { parent: Some(self), step: Step::Index(index) }
    }

    /// An entry of a map.
    #[must_use]
    pub fn key(&'a self, key: &'a str) -> At<'a> {
        At { parent: Some(self), step: Step::Key(key) }
    }
}

impl fmt::Display for At<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(parent) = self.parent {
            parent.fmt(f)?;
        }
        match self.step {
            Step::Root => Ok(()),
            Step::Field(name) => {
                let first = self.parent.is_none_or(|p| matches!(p.step, Step::Root));
                write!(f, "{}{name}", if first { "" } else { "." })
            }
            Step::Index(index) => write!(f, "[{index}]"),
            Step::Key(key) => write!(f, "[{}]", quoted(key)),
        }
    }
}

/// A text of the caller's, short enough and safe to be shown.
pub(crate) fn quoted(text: &str) -> String {
    let mut short: String = text.chars().take(40).collect();
    if short.len() < text.len() {
        short.push('…');
    }
    format!("{short:?}")
}

/// One thing that was wrong.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// Stable code.
    pub code: pb::FaultCode,
    /// Path of the field.
    pub field: String,
    /// What was wrong.
    pub wrong: String,
    /// What would be right.
    pub right: String,
}

impl Fault {
    /// The fault as a message.
    #[must_use]
    pub fn to_wire(&self) -> pb::Fault {
        let Self { code, field, wrong, right } = self.clone();
        pb::Fault { code: code.into(), field, wrong, right }
    }

    /// Name of the code without its prefix: `TOO_LARGE`.
    fn reason(&self) -> &'static str {
        self.code.as_str_name().trim_start_matches("FAULT_CODE_")
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}; right is {}", self.field, self.wrong, self.right)
    }
}

/// Everything that was wrong, in the order of the fields.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Faults {
    list: Vec<Fault>,
}

impl Faults {
    /// None so far.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds one. `wrong` and `right` continue the field's name: "is -3 g", "0.05 to 1000 g".
    pub fn push(
        &mut self,
        code: pb::FaultCode,
        at: At<'_>,
        wrong: impl Into<String>,
        right: impl Into<String>,
    ) {
        let (field, wrong, right) = (at.to_string(), wrong.into(), right.into());
        self.list.push(Fault { code, field, wrong, right });
    }

    /// Whether there is none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.list.is_empty()
    }

    /// All of them.
    #[must_use]
    pub fn as_slice(&self) -> &[Fault] {
        &self.list
    }

    /// The value, if nothing was wrong with it.
    ///
    /// # Errors
    /// All faults.
    pub fn or<T>(self, value: T) -> Result<T, Self> {
        if self.is_empty() { Ok(value) } else { Err(self) }
    }
}

impl fmt::Display for Faults {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.list.as_slice() {
            [] => f.write_str("no fault"),
            [one] => one.fmt(f),
            [first, rest @ ..] => write!(f, "{first} (and {} more)", rest.len()),
        }
    }
}

impl std::error::Error for Faults {}

impl From<Faults> for Status {
    /// `INVALID_REQUEST` with as many faults as go into the trailers, and the number of all.
    fn from(faults: Faults) -> Self {
        let count = faults.list.len().to_string();
        let first = faults.list.first().map_or("", |fault| fault.field.as_str());
        let metadata = [("fault_count", count.as_str()), ("first_field", first)];
        let mut details = reason::INVALID_REQUEST.details(&metadata);
        let mut room = limits::DETAIL_BYTES;
        let mut violations = Vec::new();
        for fault in &faults.list {
            let mut violation = FieldViolation::new(
                &fault.field,
                format!("{}; right is {}", fault.wrong, fault.right),
            );
            violation.reason = fault.reason().to_owned();
            let size = violation.field.len() + violation.description.len() + violation.reason.len();
            let Some(left) = room.checked_sub(size + VIOLATION_FRAME_BYTES) else { break };
            room = left;
            violations.push(violation);
        }
        details.set_bad_request(violations);
        Self::with_error_details(reason::INVALID_REQUEST.code, faults.to_string(), details)
    }
}

/// Tags and lengths of one violation on the wire.
const VIOLATION_FRAME_BYTES: usize = 12;

#[cfg(test)]
mod tests {
    use super::*;

    // Source: paths as `fault.proto` shows them.
    #[test]
    fn paths_read_like_the_contract() {
        let lures = At::ROOT.field("lures");
        let third = lures.index(3);
        assert_eq!(third.field("lure_id").to_string(), "lures[3].lure_id");
        let overrides = At::ROOT.field("overrides");
        let long = "x".repeat(5000);
        assert!(overrides.key(&long).to_string().len() < 80);
        assert_eq!(overrides.key("a\n").to_string(), "overrides[\"a\\n\"]");
    }

    // Source: 8 KiB is the least that gRPC clients are known to accept (gRPC core, soft limit).
    #[test]
    fn a_thousand_faults_fit_into_the_trailers_and_are_counted() {
        let mut faults = Faults::new();
        for i in 0..1000 {
            let rows = At::ROOT.field("rows");
            faults.push(pb::FaultCode::TooSmall, rows.index(i), "is -1 g", "0.05 to 1000 g");
        }
        let status = Status::from(faults);
        assert!(status.details().len() * 4 / 3 + status.message().len() < 8 * 1024);
        assert_eq!(status.get_details_error_info().unwrap().metadata["fault_count"], "1000");
        let bad = status.get_details_bad_request().unwrap();
        assert!(bad.field_violations.len() > 30);
        assert_eq!(bad.field_violations[1].field, "rows[1]");
        assert_eq!(bad.field_violations[1].reason, "TOO_SMALL");
    }
}
