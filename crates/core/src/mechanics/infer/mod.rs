//! The blank behind a label or a bench test.
//!
//! A label tells power and action, a bench test a load, an angle, a bend. Both are turned into two
//! numbers: where the blank softens (its taper) and how stiff it is at the butt.
//!
//! - [`family`]: the shapes that are considered, with a table of their bends;
//! - [`label`]: from power class and action;
//! - [`measured`]: from measurements, by least squares;
//! - [`along`]: how far the stiffness may be off at each place.

pub mod along;
pub mod family;
pub mod label;
pub mod measured;

/// One table for all tests.
#[cfg(test)]
pub(crate) fn family() -> &'static family::BlankFamily {
    static FAMILY: std::sync::OnceLock<family::BlankFamily> = std::sync::OnceLock::new();
    FAMILY.get_or_init(|| family::BlankFamily::new().unwrap())
}
