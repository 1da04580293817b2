//! The one error of the formulas: an input outside the domain in which the equation holds.

use thiserror::Error;

/// An input lies outside the domain of an equation.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
#[error("{field}: {value}; the equation holds from {least} to {most}")]
pub struct OutsideDomain {
    /// Name of the input, with its unit.
    pub field: &'static str,
    /// What was given.
    pub value: f64,
    /// Least value for which the equation holds.
    pub least: f64,
    /// Greatest value for which the equation holds.
    pub most: f64,
}

/// The value, if it lies from `least` to `most`; no number lies nowhere.
pub(super) fn within(
    field: &'static str,
    value: f64,
    least: f64,
    most: f64,
) -> Result<f64, OutsideDomain> {
    if (least..=most).contains(&value) {
        Ok(value)
    } else {
        Err(OutsideDomain { field, value, least, most })
    }
}

/// The value, if it is finite and above zero.
pub(super) fn positive(field: &'static str, value: f64) -> Result<f64, OutsideDomain> {
    within(field, value, f64::MIN_POSITIVE, f64::MAX)
}

/// The value, if it is finite and not below zero.
pub(super) fn not_negative(field: &'static str, value: f64) -> Result<f64, OutsideDomain> {
    within(field, value, 0.0, f64::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: the rule of this project that an error names field, fault and what would be right.
    #[test]
    fn an_error_says_what_would_be_right() {
        let error = within("salinity", 50.0, 0.0, 42.0).unwrap_err();
        assert_eq!(error.to_string(), "salinity: 50; the equation holds from 0 to 42");
        assert!(positive("length_m", f64::NAN).is_err());
        assert!(positive("length_m", f64::INFINITY).is_err());
        assert!(positive("length_m", 0.0).is_err());
        assert_eq!(not_negative("slack_m", 0.0), Ok(0.0));
    }
}
