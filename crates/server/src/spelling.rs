//! Names as they are typed, and those that they may have been meant for.

/// Slips of the finger by which a name may differ from the one that is meant.
pub(crate) const SLIPS: usize = 2;
/// Longer names are not compared: nobody types them.
pub(crate) const TYPED_LENGTH: usize = 24;

/// How many letters must be put in, left out or changed to turn one name into the other, capitals
/// aside (Levenshtein distance); `None` if one of them is too long.
pub(crate) fn slips(a: &str, b: &str) -> Option<usize> {
    if a.len().max(b.len()) > TYPED_LENGTH {
        return None;
    }
    let mut row: [usize; TYPED_LENGTH + 1] = std::array::from_fn(|n| n);
    for (i, x) in a.bytes().enumerate() {
        let mut before = i;
        let mut left = i + 1;
        for (cell, y) in row.iter_mut().skip(1).zip(b.bytes()) {
            let changed = before + usize::from(!x.eq_ignore_ascii_case(&y));
            before = *cell;
            left = changed.min(left + 1).min(before + 1);
            *cell = left;
        }
        if let Some(first) = row.first_mut() {
            *first = i + 1;
        }
    }
    row.get(b.len()).copied()
}

/// Columns that nobody reads and that look like one that is missing, each with that one. Other
/// columns are their owner's own.
#[must_use]
pub fn misspelt<'t, 'r>(there: &[&'t str], read: &[&'r str]) -> Vec<(&'t str, &'r str)> {
    let missing: Vec<&'r str> = read.iter().copied().filter(|name| !there.contains(name)).collect();
    let looks_like = |name: &str| {
        let close = |right: &&&str| slips(name, right).is_some_and(|slips| slips <= SLIPS);
        missing.iter().find(close).copied()
    };
    let unread = there.iter().filter(|name| name.len() > SLIPS + 1 && !read.contains(name));
    unread.filter_map(|name| Some((*name, looks_like(name)?))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: the published worked example of the Levenshtein distance (kitten to sitting: 3);
    // the others counted by hand.
    #[test]
    fn slips_of_the_finger_are_counted() {
        let pairs = [
            ("kitten", "sitting", 3),
            ("E8", "E08", 1),
            ("e99", "E09", 1),
            ("", "B1", 2),
            ("R17", "R17", 0),
        ];
        for (a, b, count) in pairs {
            assert_eq!(slips(a, b), Some(count), "{a} {b}");
            assert_eq!(slips(b, a), Some(count), "{b} {a}");
        }
        assert_eq!(slips(&"x".repeat(TYPED_LENGTH + 1), "x"), None);
    }
}
