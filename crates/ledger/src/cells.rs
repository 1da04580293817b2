//! What stands in the columns of a row, in one piece of memory: a fleet has many rows.

use std::collections::BTreeMap;
use std::fmt;

use serde::de::{DeserializeSeed, Error, MapAccess, Visitor};
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// Texts by column, ordered by the bytes of the column's name, each name once.
#[derive(Clone, Default, PartialEq, Eq)]
pub struct Cells {
    /// Name, cell, name, cell and so on, with nothing in between.
    text: Box<str>,
    /// Where each of them ends.
    ends: Box<[usize]>,
}

impl Cells {
    /// The columns and their cells.
    pub fn iter(&self) -> impl Iterator<Item = (&str, &str)> {
        let mut start = 0;
        let mut next = move |end: &usize| {
            // Written by this module alone: the ends are in order and within the text.
            let piece = self.text.get(start..*end).unwrap_or_default();
            start = *end;
            piece
        };
        let (pairs, _) = self.ends.as_chunks::<2>();
        pairs.iter().map(move |[name, cell]| (next(name), next(cell)))
    }

    /// The cell of a column; `None` if it is not there.
    #[must_use]
    pub fn get(&self, column: &str) -> Option<&str> {
        self.iter().find(|(name, _)| *name == column).map(|(_, cell)| cell)
    }

    /// The same as a map.
    #[must_use]
    pub fn to_map(&self) -> BTreeMap<String, String> {
        self.iter().map(|(name, cell)| (name.to_owned(), cell.to_owned())).collect()
    }
}

impl From<BTreeMap<String, String>> for Cells {
    fn from(map: BTreeMap<String, String>) -> Self {
        let mut pieces = Pieces::default();
        map.iter().flat_map(|(name, cell)| [name, cell]).for_each(|piece| pieces.add(piece));
        pieces.done()
    }
}

impl fmt::Debug for Cells {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_map().entries(self.iter()).finish()
    }
}

impl Serialize for Cells {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_map(self.iter())
    }
}

impl<'de> Deserialize<'de> for Cells {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        from.deserialize_map(Row)
    }
}

#[derive(Debug, Default)]
struct Pieces {
    text: String,
    ends: Vec<usize>,
}

impl Pieces {
    fn add(&mut self, piece: &str) {
        self.text.push_str(piece);
        self.ends.push(self.text.len());
    }

    fn done(self) -> Cells {
        Cells { text: self.text.into(), ends: self.ends.into() }
    }
}

/// Reads one more piece.
impl<'de> DeserializeSeed<'de> for &mut Pieces {
    type Value = ();

    fn deserialize<D: Deserializer<'de>>(self, from: D) -> Result<(), D::Error> {
        from.deserialize_str(self)
    }
}

impl Visitor<'_> for &mut Pieces {
    type Value = ();

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a string")
    }

    fn visit_str<E: Error>(self, piece: &str) -> Result<(), E> {
        self.add(piece);
        Ok(())
    }
}

struct Row;

impl<'de> Visitor<'de> for Row {
    type Value = Cells;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a map")
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Cells, A::Error> {
        /// What the row of a rod takes, about.
        const USUAL: (usize, usize) = (160, 16);
        let (text, ends) = USUAL;
        let mut all = Pieces { text: String::with_capacity(text), ends: Vec::with_capacity(ends) };
        while map.next_key_seed(&mut all)?.is_some() {
            map.next_value_seed(&mut all)?;
        }
        let cells = all.done();
        if cells.iter().map(|(name, _)| name).is_sorted_by(|a, b| a < b) {
            return Ok(cells);
        }
        // Another hand wrote them in another order; of a name that stands there twice the last.
        Ok(cells.to_map().into())
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        // Source: the standard library's ordered map, as it is written and read as JSON.
        #[test]
        fn cells_are_written_and_read_as_a_map(
            rows in prop::collection::vec(("[a-c\\\\\"é]{0,2}", ".{0,6}"), 0..8),
        ) {
            let map: BTreeMap<String, String> = rows.iter().cloned().collect();
            let cells = Cells::from(map.clone());
            prop_assert_eq!(cells.to_map(), map.clone());
            for name in ["", "a", "b", "cc"] {
                prop_assert_eq!(cells.get(name), map.get(name).map(String::as_str));
            }
            let text = serde_json::to_string(&map).unwrap();
            prop_assert_eq!(serde_json::to_string(&cells).unwrap(), text.clone());
            prop_assert_eq!(&serde_json::from_str::<Cells>(&text).unwrap(), &cells);
            // As they came: in any order, a name more than once.
            let pairs = rows.iter().map(|(name, cell)| {
                serde_json::to_string(name).unwrap() + ":" + &serde_json::to_string(cell).unwrap()
            });
            let text = format!("{{{}}}", pairs.collect::<Vec<_>>().join(","));
            let right: BTreeMap<String, String> = serde_json::from_str(&text).unwrap();
            prop_assert_eq!(serde_json::from_str::<Cells>(&text).unwrap().to_map(), right);
        }
    }

    #[test]
    fn what_is_no_text_is_refused() {
        for bad in ["[]", "{\"a\":1}", "{\"a\":null}", "\"a\""] {
            assert!(serde_json::from_str::<Cells>(bad).is_err(), "{bad}");
        }
    }
}
