//! Looks through a whole engine when it is opened: whatever sled dropped in silence shows here.

use std::collections::BTreeMap;
use std::panic::resume_unwind;
use std::thread;

use super::live::{Marks, engine_error};
use crate::api::{Seq, StoreError};
use crate::record::{self, Place, Tally};

/// Checks that every record is whole, that the feed has no gap, and that rows and feed tell the
/// same.
///
/// # Errors
/// `Corrupt` with the first place that is not as it should be.
pub(super) fn audit(db: &sled::Db, marks: Marks) -> Result<(), StoreError> {
    let (rows, feed) = thread::scope(|scope| {
        let rows = scope.spawn(|| Rows::read(db));
        let feed = read_feed(db, marks);
        (rows.join().unwrap_or_else(|panic| resume_unwind(panic)), feed)
    });
    let (rows, feed) = (rows?, feed?);
    if rows.tally != marks.tally {
        let (found, right) = (rows.tally.rows, marks.tally.rows);
        return Err(StoreError::Corrupt(format!(
            "of {right} rows {found} are there, or older ones"
        )));
    }
    match rows.unlike(&feed, marks.floor) {
        Some(key) => Err(record::damaged(key, "is not as the feed tells it")),
        None => Ok(()),
    }
}

/// An entry of the feed.
struct Told {
    seq: Seq,
    index: u16,
    full_key: sled::IVec,
    removed: bool,
}

fn read_feed(db: &sled::Db, marks: Marks) -> Result<Vec<Told>, StoreError> {
    let missing = |seq: Seq| StoreError::Corrupt(format!("commit {seq} is missing from the feed"));
    let mut feed = Vec::new();
    let (mut seq, mut index, mut of) = (marks.floor, 0, 0);
    let mut full_key = Vec::new();
    for pair in db.range(record::LOG_START..) {
        let (key, record) = pair.map_err(|error| engine_error(&error))?;
        match &*key {
            [1, ..] => {}
            record::HEAD | record::FLOOR => continue,
            other => return Err(record::damaged(other, "is none of this store's")),
        }
        for (place, change) in record::look_at_changes(&key, &record)? {
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
            full_key.clear();
            record::put_row_key(&mut full_key, change.tree, change.key);
            let removed = change.value.is_none();
            feed.push(Told { seq, index, full_key: full_key.as_slice().into(), removed });
            index += 1;
        }
    }
    if seq != marks.head || index != of {
        return Err(missing(if index == of { seq + 1 } else { seq }));
    }
    Ok(feed)
}

/// Every row: its full key, and the place of the change that wrote it. In the order of the keys.
struct Rows {
    rows: Vec<(sled::IVec, Place)>,
    tally: Tally,
}

impl Rows {
    fn read(db: &sled::Db) -> Result<Self, StoreError> {
        let (mut rows, mut tally) = (Vec::new(), Tally::default());
        for pair in db.range(..record::LOG_START) {
            let (key, record) = pair.map_err(|error| engine_error(&error))?;
            if key.len() < 2 {
                return Err(record::damaged(&key, "is none of this store's"));
            }
            let (_, place) = record::look_at_row(&key, &record)?;
            tally.add(&key, place.seq);
            rows.push((key, place));
        }
        Ok(Self { rows, tally })
    }

    fn place(&self, full_key: &[u8]) -> Option<Place> {
        let found = self.rows.binary_search_by(|(key, _)| (**key).cmp(full_key)).ok()?;
        self.rows.get(found).map(|(_, place)| *place)
    }

    /// The full key of a row that is not as the feed tells it.
    fn unlike<'f>(&'f self, feed: &'f [Told], floor: Seq) -> Option<&'f [u8]> {
        let told = self.rows.iter().filter(|(_, place)| place.seq > floor);
        let mut told: Vec<_> = told.map(|(key, place)| (place.seq, place.index, key)).collect();
        told.sort_unstable();
        // The rows in the order in which the feed must tell them.
        let mut told = told.into_iter().peekable();
        // Keys without a row, and whether the last word on them is that there is none.
        let mut gone: BTreeMap<&[u8], bool> = BTreeMap::new();
        for Told { seq, index, full_key, removed } in feed {
            let here = (*seq, *index, full_key);
            if !removed && told.next_if_eq(&here).is_some() {
                continue;
            }
            // Not its last word, then.
            match self.place(full_key) {
                Some(later) if later.seq > *seq => {}
                Some(_) => return Some(full_key),
                None => {
                    gone.insert(full_key, *removed);
                }
            }
        }
        let lost = gone.into_iter().find(|(_, removed)| !removed).map(|(key, _)| key);
        lost.or_else(|| told.next().map(|(_, _, key)| &**key))
    }
}
