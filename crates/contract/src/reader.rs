//! Checks the fields of one message and notes every fault.

use crate::fault::{At, Faults, quoted};
use crate::json::enum_values;
use crate::limits::{self, Bounds};
use crate::pb::FaultCode;
use crate::words::WireWord;

/// Reads the fields of one message. Each method gives the value if it is right; what is wrong is
/// noted, and reading goes on.
#[derive(Debug)]
pub struct Reader<'a> {
    at: At<'a>,
    faults: &'a mut Faults,
}

impl<'a> Reader<'a> {
    /// Reads the message at `at`.
    pub fn new(at: At<'a>, faults: &'a mut Faults) -> Self {
        Self { at, faults }
    }

    /// Notes a fault of a field.
    pub fn fault(
        &mut self,
        name: &str,
        code: FaultCode,
        wrong: impl Into<String>,
        right: impl Into<String>,
    ) {
        self.faults.push(code, self.at.field(name), wrong, right);
    }

    /// How many faults are noted so far, those of other messages included.
    #[must_use]
    pub fn fault_count(&self) -> usize {
        self.faults.as_slice().len()
    }

    /// Notes a fault where a description says nothing at all.
    pub fn says_something<G: Default + PartialEq>(&mut self, name: &str, gear: &G, right: &str) {
        if *gear == G::default() {
            self.fault(name, FaultCode::Missing, "says nothing", right);
        }
    }

    /// Reads a message within this one; `read` is told where it is.
    pub fn within<T>(&mut self, name: &str, read: impl FnOnce(At<'_>, &mut Faults) -> T) -> T {
        read(self.at.field(name), self.faults)
    }

    /// A number within bounds.
    pub fn number(&mut self, name: &str, value: Option<f64>, bounds: Bounds) -> Option<f64> {
        let value = value?;
        let fault = if !value.is_finite() {
            FaultCode::NotFinite
        } else if value < bounds.low && !(bounds.or_zero && value == 0.0) {
            FaultCode::TooSmall
        } else if value > bounds.high {
            FaultCode::TooLarge
        } else {
            // Minus zero is zero.
            return Some(value + 0.0);
        };
        self.fault(name, fault, is_number(value, bounds.unit), bounds.to_string());
        None
    }

    /// Two numbers within bounds, the lower one first.
    pub fn range(
        &mut self,
        min: (&str, Option<f64>),
        max: (&str, Option<f64>),
        bounds: Bounds,
    ) -> (Option<f64>, Option<f64>) {
        let low = self.number(min.0, min.1, bounds);
        let high = self.number(max.0, max.1, bounds);
        if let (Some(low), Some(high)) = (low, high)
            && low > high
        {
            let wrong = format!("{} and {} is {high}", is_number(low, bounds.unit), max.0);
            let right = format!("not above {}: swap them", max.0);
            self.fault(min.0, FaultCode::Swapped, wrong, right);
        }
        (low, high)
    }

    /// A whole number within bounds.
    pub fn whole(&mut self, name: &str, value: i64, bounds: Bounds) -> Option<i64> {
        // Bounds are small, so that a value beyond 2^53 is out of them whatever it rounds to.
        self.number(name, Some(value as f64), bounds).map(|_| value)
    }

    /// A count within bounds.
    pub fn count(&mut self, name: &str, value: Option<i32>, bounds: Bounds) -> Option<u32> {
        let value = self.whole(name, i64::from(value?), bounds)?;
        u32::try_from(value).ok()
    }

    /// A word of a closed list of the domain; `None` also where it is not given.
    pub fn word<W: WireWord>(&mut self, name: &str, value: i32) -> Option<W> {
        self.choice(name, value, W::WIRE_NAME).and_then(W::from_wire_word)
    }

    /// A value of an enum of the contract. A number that the enum does not have is a fault.
    pub fn choice<E: TryFrom<i32>>(
        &mut self,
        name: &str,
        value: i32,
        enum_name: &str,
    ) -> Option<E> {
        let known = E::try_from(value).ok();
        if known.is_none() {
            let right = format!("one of {}", enum_values(enum_name).join(", "));
            self.fault(name, FaultCode::UnknownValue, format!("is {value}"), right);
        }
        known
    }

    /// A value of an enum of the contract that must be given.
    pub fn required_choice<E: TryFrom<i32>>(
        &mut self,
        name: &str,
        value: i32,
        enum_name: &str,
    ) -> Option<E> {
        if value == 0 {
            let right = format!("one of {}", enum_values(enum_name).join(", "));
            self.fault(name, FaultCode::Missing, "is missing", right);
            return None;
        }
        self.choice(name, value, enum_name)
    }

    /// A text of at most `max` characters; `None` also where it is empty.
    pub fn text(&mut self, name: &str, value: String, max: usize) -> Option<String> {
        let count = value.chars().count();
        if count > max {
            let right = format!("at most {max} characters");
            self.fault(name, FaultCode::TooLong, format!("has {count} characters"), right);
            return None;
        }
        if value.chars().any(char::is_control) {
            let wrong = format!("is {}", quoted(&value));
            self.fault(name, FaultCode::Malformed, wrong, "one line without control characters");
            return None;
        }
        (!value.is_empty()).then_some(value)
    }

    /// An id of an item; `None` also where it is empty.
    pub fn id(&mut self, name: &str, value: String) -> Option<String> {
        let fits = value.len() <= limits::NAME_LENGTH
            && value.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'_' || b == b'-');
        if !fits {
            let right = "1 to 64 letters A-Z a-z, digits, \"_\" or \"-\"";
            self.fault(name, FaultCode::Malformed, format!("is {}", quoted(&value)), right);
            return None;
        }
        (!value.is_empty()).then_some(value)
    }

    /// What must be given; `right` says what it should be.
    pub fn required<T>(&mut self, name: &str, value: Option<T>, right: &str) -> Option<T> {
        if value.is_none() {
            self.fault(name, FaultCode::Missing, "is missing", right);
        }
        value
    }

    /// Whether a list has at most `max` entries.
    pub fn fits(&mut self, name: &str, count: usize, max: usize) -> bool {
        if count > max {
            let right = format!("at most {max}");
            self.fault(name, FaultCode::TooMany, format!("has {count} entries"), right);
        }
        count <= max
    }
}

/// "is -3 g", in digits that stay short.
fn is_number(value: f64, unit: &str) -> String {
    let space = if unit.is_empty() { "" } else { " " };
    let plain = value == 0.0 || (1e-6..1e9).contains(&value.abs());
    if !value.is_finite() {
        "is not a finite number".to_owned()
    } else if plain {
        format!("is {value}{space}{unit}")
    } else {
        format!("is {value:e}{space}{unit}")
    }
}
