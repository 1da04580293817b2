//! Ordered maps and sets whose copies share what they have in common: a copy costs nothing, and
//! changing one of two copies costs a path to the place that changes.

pub(crate) type SharedMap<K, V> = rpds::RedBlackTreeMapSync<K, V>;
pub(crate) type SharedSet<T> = rpds::RedBlackTreeSetSync<T>;

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
            map.insert_mut(key.clone(), value);
            answer
        }
    }
}
