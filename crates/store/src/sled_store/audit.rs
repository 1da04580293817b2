//! Looks through a whole engine when it is opened: whatever sled dropped in silence shows here.

use std::collections::BTreeMap;

use super::live::{Marks, engine_error};
use crate::api::{Seq, StoreError};
use crate::record::{self, Tally};

/// Checks that every record is whole, that the feed has no gap, and that rows and feed tell the
/// same.
///
/// # Errors
/// `Corrupt` with the first place that is not as it should be.
pub(super) fn audit(db: &sled::Db, marks: Marks) -> Result<(), StoreError> {
    let missing = |seq: Seq| StoreError::Corrupt(format!("commit {seq} is missing from the feed"));
    // Full key -> the commit that wrote its row, if it has one, and whether the feed's last word on
    // it agrees.
    let mut rows: BTreeMap<Vec<u8>, (Option<Seq>, bool)> = BTreeMap::new();
    let mut tally = Tally::default();
    let (mut seq, mut index, mut of) = (marks.floor, 0, 0);
    for pair in db.iter() {
        let (key, record) = pair.map_err(|error| engine_error(&error))?;
        match &*key {
            [0, _, ..] => {
                let row = record::read_row(&key, &record)?;
                tally.add(&key, row.written_by);
                let told = row.written_by <= marks.floor;
                rows.insert(key.to_vec(), (Some(row.written_by), told));
            }
            [1, ..] => {
                let (place, change) = record::read_change(&key, &record)?;
                // A trim that a crash cut off leaves entries below its floor.
                if place.seq <= marks.floor {
                    continue;
                }
                if index == of {
                    (seq, index, of) = (seq + 1, 0, place.of);
                }
                if (place.seq, place.index, place.of) != (seq, index, of) {
                    return Err(missing(seq));
                }
                index += 1;
                let full_key = record::row_key(change.tree, &change.key);
                let (written_by, told) = rows.entry(full_key).or_insert((None, true));
                *told = match written_by {
                    Some(by) => change.value.is_some() && *by == seq,
                    None => change.value.is_none(),
                };
            }
            record::HEAD | record::FLOOR => {}
            other => return Err(record::damaged(other, "is none of this store's")),
        }
    }
    if seq != marks.head || index != of {
        return Err(missing(if index == of { seq + 1 } else { seq }));
    }
    if tally != marks.tally {
        let (found, right) = (tally.rows, marks.tally.rows);
        return Err(StoreError::Corrupt(format!(
            "of {right} rows {found} are there, or older ones"
        )));
    }
    match rows.into_iter().find(|(_, (_, told))| !told) {
        Some((key, _)) => Err(record::damaged(&key, "is not as the feed tells it")),
        None => Ok(()),
    }
}
