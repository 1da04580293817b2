//! Partners for all, each at most once: rods and the reels that they keep.

use crate::weights::Micros;

/// For each row the column that it is paired with, no column twice, so that as much worth as can be
/// is paired; `None`: it stays alone. `worth` says what a pair brings, `None` that it cannot be; a
/// pair that brings nothing is still made.
///
/// Source: Kuhn (1955), "The Hungarian method for the assignment problem", Naval Research Logistics
/// Quarterly 2, in the form of shortest augmenting paths.
#[must_use]
pub fn pairing(worth: &[Vec<Option<Micros>>]) -> Vec<Option<usize>> {
    let columns = worth.first().map_or(0, Vec::len);
    // Behind the columns each row has one of its own, for staying alone. Position 0 is nobody.
    let width = columns + worth.len();
    let cost = |row: usize, column: usize| -> i128 {
        let alone = column >= columns;
        let brings =
            if alone { (column - columns == row).then_some(-1) } else { worth[row][column] };
        brings.map_or(i128::from(Micros::MAX), |brings| -i128::from(brings))
    };
    let mut of_row = vec![0_i128; worth.len() + 1];
    let mut of_column = vec![0_i128; width + 1];
    let mut taken_by = vec![0_usize; width + 1];
    for row in 1..=worth.len() {
        taken_by[0] = row;
        let mut here = 0;
        let mut least = vec![i128::MAX; width + 1];
        let mut before = vec![0_usize; width + 1];
        let mut done = vec![false; width + 1];
        while taken_by[here] != 0 {
            done[here] = true;
            let from = taken_by[here];
            for column in (1..=width).filter(|column| !done[*column]) {
                let reduced = cost(from - 1, column - 1) - of_row[from] - of_column[column];
                if reduced < least[column] {
                    least[column] = reduced;
                    before[column] = here;
                }
            }
            let open = (1..=width).filter(|column| !done[*column]);
            let Some(next) = open.min_by_key(|column| least[*column]) else { break };
            let step = least[next];
            for column in 0..=width {
                if done[column] {
                    of_row[taken_by[column]] += step;
                    of_column[column] -= step;
                } else if least[column] < i128::MAX {
                    least[column] -= step;
                }
            }
            here = next;
        }
        while here != 0 {
            taken_by[here] = taken_by[before[here]];
            here = before[here];
        }
    }
    let mut partners = vec![None; worth.len()];
    for (column, row) in taken_by[1..=columns].iter().enumerate() {
        if let Some(row) = row.checked_sub(1) {
            partners[row] = Some(column);
        }
    }
    partners
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Number of pairs times a large number, and worth: the best over all ways, one by one.
    fn best(worth: &[Vec<Option<Micros>>], taken: u32) -> Micros {
        let Some((first, rest)) = worth.split_first() else { return 0 };
        let paired = first.iter().enumerate().filter(|(column, _)| taken >> column & 1 == 0);
        let paired = paired.filter_map(|(column, brings)| {
            brings.map(|brings| brings + 1 + best(rest, taken | 1 << column))
        });
        paired.chain([best(rest, taken)]).max().unwrap_or(0)
    }

    proptest! {
        // Source: all ways, counted one by one.
        #[test]
        fn no_other_way_pairs_more(
            worth in (0_usize..5).prop_flat_map(|columns| proptest::collection::vec(
                proptest::collection::vec(proptest::option::of(0_i64..20), columns), 1..5)),
        ) {
            let partners = pairing(&worth);
            let mut columns: Vec<usize> = partners.iter().flatten().copied().collect();
            let total: Micros = partners.iter().zip(&worth)
                .filter_map(|(partner, row)| partner.map(|column| row[column].unwrap() + 1))
                .sum();
            prop_assert_eq!(total, best(&worth, 0));
            columns.sort_unstable();
            columns.dedup();
            prop_assert_eq!(columns.len(), partners.iter().flatten().count());
        }
    }
}
