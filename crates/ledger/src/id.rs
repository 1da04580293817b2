//! Names of items, devices and actors.

use std::sync::Arc;

use serde::{Deserialize, Deserializer, Serialize, Serializer};

use crate::text::read_text;

/// Greatest length of an [`Id`] in characters.
pub const MAX_ID_LENGTH: usize = 64;

/// The name of an item, a device or an actor: 1 to 64 of the letters A to Z and a to z, digits,
/// `_` and `-`. It is what stands on the sticker, so case matters and order is by bytes.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Id(Arc<str>);

/// A text that is no [`Id`].
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{text:?} is no id: use 1 to 64 letters A-Z a-z, digits, '_' or '-'")]
pub struct BadId {
    /// What was given, cut after 80 characters.
    pub text: String,
}

impl Id {
    /// Checks a text.
    ///
    /// # Errors
    /// [`BadId`] if it is empty, too long or has another character.
    pub fn new(text: impl AsRef<str>) -> Result<Self, BadId> {
        let text = text.as_ref();
        let fits = (1..=MAX_ID_LENGTH).contains(&text.len())
            && text.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'_' || b == b'-');
        if fits {
            Ok(Self(text.into()))
        } else {
            Err(BadId { text: text.chars().take(80).collect() })
        }
    }

    /// The id that comes before all others.
    pub(crate) fn lowest() -> Self {
        Self("-".into())
    }

    /// The id as text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl std::fmt::Display for Id {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.pad(&self.0)
    }
}

impl From<Id> for String {
    fn from(id: Id) -> Self {
        id.as_str().to_owned()
    }
}

impl Serialize for Id {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(self.as_str())
    }
}

impl<'de> Deserialize<'de> for Id {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        read_text(from, |text| Self::new(text))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: the rule stated on `Id` (own convention).
    #[test]
    fn accepts_stickers_and_refuses_the_rest() {
        for good in ["R14", "B1-tablet", "a", "_", &"x".repeat(64)] {
            assert_eq!(Id::new(good).unwrap().as_str(), good);
        }
        for bad in ["", " R1", "R 1", "R/1", "Rö", "R1\n", &"x".repeat(65)] {
            assert!(Id::new(bad).is_err(), "{bad:?}");
        }
        assert!(serde_json::from_str::<Id>("\"a b\"").is_err());
    }
}
