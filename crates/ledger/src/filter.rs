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
    let mut words = words.split_whitespace().map(str::to_lowercase).peekable();
    if words.peek().is_none() {
        return true;
    }
    let mut text = item.id.as_str().to_lowercase();
    let own = item.name.iter().chain(&item.note).map(String::as_str);
    let columns = item.raw.iter().filter(|(column, _)| *column != "serial").map(|(_, cell)| cell);
    for part in own.chain(columns) {
        text.push('\n');
        text.push_str(&part.to_lowercase());
    }
    words.all(|word| text.contains(&word))
}
