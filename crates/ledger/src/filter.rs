//! Which items to list.

use std::collections::BTreeSet;

use deepbend_core::gear::Power;

use crate::id::Id;
use crate::item::{Item, ItemKind, Status};

/// Which items to list. Each part that is empty lets everything through; the parts must all match.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Filter {
    /// Kinds.
    pub kinds: BTreeSet<ItemKind>,
    /// Places.
    pub places: BTreeSet<Id>,
    /// States.
    pub statuses: BTreeSet<Status>,
    /// Printed powers; only rods have one.
    pub powers: Vec<Power>,
    /// Words that must all occur in the id, the name, the note or a column; case does not matter.
    pub text: String,
}

impl Filter {
    /// Whether an item is to be listed.
    #[must_use]
    pub fn matches(&self, item: &Item) -> bool {
        let kind = self.may_be(item.kind());
        let place = self.places.is_empty()
            || item.place.as_ref().is_some_and(|place| self.places.contains(place));
        let status = self.statuses.is_empty() || self.statuses.contains(&item.status);
        let power =
            self.powers.is_empty() || item.power().is_some_and(|p| self.powers.contains(&p));
        kind && place && status && power && has_words(item, &self.text)
    }
}

impl Filter {
    /// Whether items of a kind may be listed.
    pub(crate) fn may_be(&self, kind: ItemKind) -> bool {
        self.kinds.is_empty() || self.kinds.contains(&kind)
    }

    pub(crate) fn asks_for_kinds_only(&self) -> bool {
        let Self { kinds: _, places, statuses, powers, text } = self;
        places.is_empty() && statuses.is_empty() && powers.is_empty() && text.is_empty()
    }
}

/// Serial numbers are private: they are not searched.
fn has_words(item: &Item, words: &str) -> bool {
    let parts = || {
        let own = item.name.iter().chain(&item.note).map(String::as_str);
        let columns = item.raw.iter().filter(|(column, _)| *column != "serial");
        std::iter::once(item.id.as_str()).chain(own).chain(columns.map(|(_, cell)| cell))
    };
    // A word has no space, so none goes over from one part to the next.
    words.split_whitespace().all(|word| parts().any(|part| has_word(part, word)))
}

/// Whether a text has a word in it, capitals aside.
fn has_word(text: &str, word: &str) -> bool {
    if text.is_ascii() && word.is_ascii() {
        let mut places = text.as_bytes().windows(word.len());
        return places.any(|place| place.eq_ignore_ascii_case(word.as_bytes()));
    }
    text.to_lowercase().contains(&word.to_lowercase())
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::has_word;

    proptest! {
        // Source: the standard library's lower case of all of Unicode.
        #[test]
        fn words_are_found_whatever_their_capitals(
            text in "[a-cA-C0-9 éÉİK]{0,12}",
            word in "[a-cA-C0-9éi̇k]{1,3}",
        ) {
            let right = text.to_lowercase().contains(&word.to_lowercase());
            prop_assert_eq!(has_word(&text, &word), right);
        }
    }
}
