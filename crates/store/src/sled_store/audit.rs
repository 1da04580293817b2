//! Looks through a whole engine when it is opened: whatever sled dropped in silence shows here.

use std::collections::HashMap;

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
    let mut rows: HashMap<sled::IVec, (Option<Seq>, bool)> = HashMap::new();
    let mut tally = Tally::default();
    let (mut seq, mut index, mut of) = (marks.floor, 0, 0);
    let mut full_key = Vec::new();
    for pair in db.iter() {
        let (key, record) = pair.map_err(|error| engine_error(&error))?;
        match &*key {
            [0, _, ..] => {
                let (_, written_by) = record::look_at_row(&key, &record)?;
                tally.add(&key, written_by.seq);
                let told = written_by.seq <= marks.floor;
                rows.insert(key, (Some(written_by.seq), told));
            }
            [1, ..] => {
                let (place, change) = record::look_at_change(&key, &record)?;
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
                full_key.clear();
                record::put_row_key(&mut full_key, change.tree, change.key);
                match rows.get_mut(&full_key[..]) {
                    Some((Some(by), told)) => *told = change.value.is_some() && *by == seq,
                    Some((None, told)) => *told = change.value.is_none(),
                    None => {
                        rows.insert((&full_key[..]).into(), (None, change.value.is_none()));
                    }
                }
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
    match rows.into_iter().filter(|(_, (_, told))| !told).map(|(key, _)| key).min() {
        Some(key) => Err(record::damaged(&key, "is not as the feed tells it")),
        None => Ok(()),
    }
}
