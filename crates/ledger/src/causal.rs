//! What a device held when it wrote: per chain, the greatest number.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::event::{Chain, EventId};

/// A version vector: for each chain the number up to which every event is held.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Vector(BTreeMap<Chain, u64>);

impl Vector {
    /// Whether it holds nothing.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Whether it holds an event, that is the event or a later one of its chain.
    #[must_use]
    pub fn holds(&self, event: &EventId) -> bool {
        self.0.get(&event.chain).is_some_and(|&last| event.sequence <= last)
    }

    /// The greatest number of a chain; `None` if it holds nothing of it.
    #[must_use]
    pub fn last(&self, chain: &Chain) -> Option<u64> {
        self.0.get(chain).copied()
    }

    /// Adds a chain up to a number. `false` if it held as much already.
    pub fn add(&mut self, chain: &Chain, sequence: u64) -> bool {
        match self.0.get_mut(chain) {
            Some(last) if *last >= sequence => false,
            Some(last) => {
                *last = sequence;
                true
            }
            None => {
                self.0.insert(chain.clone(), sequence);
                true
            }
        }
    }

    /// The chains and their greatest numbers.
    pub fn iter(&self) -> impl ExactSizeIterator<Item = (&Chain, u64)> {
        self.0.iter().map(|(chain, &last)| (chain, last))
    }
}

impl FromIterator<(Chain, u64)> for Vector {
    fn from_iter<T: IntoIterator<Item = (Chain, u64)>>(pairs: T) -> Self {
        let mut vector = Self::default();
        for (chain, last) in pairs {
            vector.add(&chain, last);
        }
        vector
    }
}
