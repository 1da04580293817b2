//! Lengths in whole centimetres, as counts keep them.

use deepbend_core::quantity::Length;

/// A length in whole centimetres.
pub(crate) fn cm_of(length: Length) -> u64 {
    // A cast from float to integer stops at the ends; a length that is not finite gives 0.
    length.cm().round() as u64
}

/// A length from whole centimetres.
pub(crate) fn from_cm(cm: u32) -> Length {
    Length::from_m(f64::from(cm) / 100.0)
}
