//! Ordered maps and sets whose copies share what they have in common: a copy costs nothing, and
//! changing one of two copies costs a path to the place that changes.

use std::collections::{BTreeSet, btree_set};
use std::sync::Arc;

pub(crate) type SharedMap<K, V> = imbl::OrdMap<K, V>;
pub(crate) type SharedSet<T> = imbl::OrdSet<T>;

/// Changes the value of a key, from the default one if there is none.
pub(crate) fn update<K: Clone + Ord, V: Clone + Default, R>(
    map: &mut SharedMap<K, V>,
    key: &K,
    change: impl FnOnce(&mut V) -> R,
) -> R {
    match map.get_mut(key) {
        Some(value) => change(value),
        None => {
            let mut value = V::default();
            let answer = change(&mut value);
            map.insert(key.clone(), value);
            answer
        }
    }
}

/// An ordered set that nearly always has one element: that one stands in place.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) enum Few<T> {
    #[default]
    None,
    One(T),
    Many(Arc<BTreeSet<T>>),
}

/// The elements of a [`Few`] in their order.
#[derive(Clone, Debug)]
pub(crate) enum Each<'f, T> {
    One(std::option::IntoIter<&'f T>),
    Many(btree_set::Iter<'f, T>),
}

impl<'f, T> Iterator for Each<'f, T> {
    type Item = &'f T;

    fn next(&mut self) -> Option<&'f T> {
        match self {
            Self::One(one) => one.next(),
            Self::Many(many) => many.next(),
        }
    }
}

impl<T: Clone + Ord> Few<T> {
    pub(crate) fn insert(&mut self, element: T) {
        match self {
            Self::None => *self = Self::One(element),
            Self::One(one) if *one == element => {}
            Self::One(one) => *self = Self::Many(Arc::new(BTreeSet::from([one.clone(), element]))),
            Self::Many(many) => {
                Arc::make_mut(many).insert(element);
            }
        }
    }

    pub(crate) fn remove(&mut self, element: &T) {
        match self {
            Self::One(one) if one == element => *self = Self::None,
            Self::None | Self::One(_) => {}
            Self::Many(many) => {
                let many = Arc::make_mut(many);
                many.remove(element);
                if many.len() == 1 {
                    *self = many.pop_first().map_or(Self::None, Self::One);
                }
            }
        }
    }

    pub(crate) fn is_empty(&self) -> bool {
        matches!(self, Self::None)
    }

    pub(crate) fn contains(&self, element: &T) -> bool {
        match self {
            Self::None => false,
            Self::One(one) => one == element,
            Self::Many(many) => many.contains(element),
        }
    }

    pub(crate) fn iter(&self) -> Each<'_, T> {
        match self {
            Self::None => Each::One(None.into_iter()),
            Self::One(one) => Each::One(Some(one).into_iter()),
            Self::Many(many) => Each::Many(many.iter()),
        }
    }
}

impl<'f, T: Clone + Ord> IntoIterator for &'f Few<T> {
    type Item = &'f T;
    type IntoIter = Each<'f, T>;

    fn into_iter(self) -> Each<'f, T> {
        self.iter()
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        // Source: the standard library's ordered set, which it stands for.
        #[test]
        fn few_is_a_set(steps in prop::collection::vec((any::<bool>(), 0_u8..5), 0..30)) {
            let (mut few, mut set) = (Few::None, BTreeSet::new());
            for (insert, element) in steps {
                if insert {
                    few.insert(element);
                    set.insert(element);
                } else {
                    few.remove(&element);
                    set.remove(&element);
                }
                prop_assert!(few.iter().eq(&set));
                prop_assert_eq!(few.is_empty(), set.is_empty());
                prop_assert!((0..5).all(|n| few.contains(&n) == set.contains(&n)));
                let mut again = Few::None;
                set.iter().for_each(|n| again.insert(*n));
                prop_assert_eq!(&few, &again);
            }
        }
    }
}
