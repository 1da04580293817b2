//! Reading what is written as a text, without a copy of the text.

use std::fmt;

use serde::Deserializer;
use serde::de::{Error, Visitor};

struct Reading<R>(R);

impl<T, E: fmt::Display, R: FnOnce(&str) -> Result<T, E>> Visitor<'_> for Reading<R> {
    type Value = T;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a string")
    }

    fn visit_str<F: Error>(self, text: &str) -> Result<T, F> {
        (self.0)(text).map_err(F::custom)
    }
}

/// Reads a text by `read`.
pub(crate) fn read_text<'de, D: Deserializer<'de>, T, E: fmt::Display>(
    from: D,
    read: impl FnOnce(&str) -> Result<T, E>,
) -> Result<T, D::Error> {
    from.deserialize_str(Reading(read))
}
