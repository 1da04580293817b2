//! What can still be read of a folder, held in memory.
//!
//! Every change is on disk twice: as a row and as an entry of the feed. What one of the two has
//! lost is put together again from the other, and what both have lost from what the file said of it
//! before a page was written anew.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use super::disk::{NOTE, unavailable};
use super::log::{self, Gap, Kind, Log, Page};
use crate::api::{Change, Row, Seq, StoreError, Tree};
use crate::record::{self, Place, Tally};

/// Most places or commits that a text lists.
const MOST_NAMED: usize = 5;

/// The last commit that was noted as acknowledged; `None` if there is no note yet.
pub(super) fn read_note(folder: &Path) -> Result<Option<Seq>, StoreError> {
    let path = folder.join(NOTE);
    match fs::read(&path) {
        Ok(bytes) if bytes.is_empty() => Ok(None),
        Ok(bytes) => match record::read_number(NOTE.as_bytes(), &bytes) {
            Ok(noted) => Ok(Some(noted)),
            Err(_) => Err(StoreError::Corrupt(format!("{} is damaged", path.display()))),
        },
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(None),
        Err(error) => Err(unavailable(&path, &error)),
    }
}

/// Looks whether sled may open its file. It may if everything that it would drop is newer than
/// the last acknowledged commit; where that was not noted, if nothing follows what it would drop.
///
/// # Errors
/// `Corrupt` with the place of the damage, `Unavailable` if the files cannot be read.
pub(super) fn check_tail(engine: &Path, noted: Option<Seq>) -> Result<(), StoreError> {
    let path = engine.join("db");
    let failed = |error| unavailable(&path, &error);
    if !path.try_exists().map_err(failed)? {
        return if noted.unwrap_or(0) == 0 { Ok(()) } else { Err(gone(&path)) };
    }
    let log = Log::open(&path).map_err(failed)?;
    let snapshot = log::snapshot_place(engine).map_err(failed)?;
    let mut start = snapshot;
    loop {
        // Place and number, and the place at which their batch is whole.
        let mut heads: Vec<(u64, Seq, u64)> = Vec::new();
        let mut batch_end = 0;
        let each = |message: log::Message<'_>| {
            batch_end = last_of_batch(&message).unwrap_or(batch_end);
            heads.extend(head_in(&message).map(|(head, _)| (message.place, head, batch_end)));
        };
        // One wrong bit was no power cut: what can be put right is not dropped.
        let gaps = match noted {
            Some(_) => log.walk(start, each),
            None => log.walk_corrected(each),
        };
        let gaps = gaps.map_err(failed)?;
        let Some(gap) = gaps.iter().find(|gap| gap.inside).or(gaps.last()) else { return Ok(()) };
        let whole = |(place, _, end): &&(u64, Seq, u64)| *place.max(end) < gap.place;
        let before = heads.iter().filter(whole).map(|(_, head, _)| *head).max();
        if before.is_none() && start > 0 {
            // No commit since the snapshot: the number of the last one stands further up.
            start = 0;
            continue;
        }
        let mut after: Vec<Seq> =
            heads.iter().filter(|head| !whole(head)).map(|(_, head, _)| *head).collect();
        // A page that is written anew may bring the last number again.
        after.retain(|head| before.is_none_or(|before| *head > before));
        after.dedup();
        // A group on its way when the power went may leave one number behind a gap, not two.
        let inside: Vec<Gap> = gaps.iter().filter(|gap| gap.inside).copied().collect();
        let is_newer = noted.map_or(inside.is_empty(), |noted| before.unwrap_or(0) >= noted);
        if is_newer && after.len() <= 1 {
            return Ok(());
        }
        let gaps = if inside.is_empty() { &gaps } else { &inside };
        return Err(StoreError::Corrupt(format!("{} is damaged {}", path.display(), places(gaps))));
    }
}

fn gone(path: &Path) -> StoreError {
    StoreError::Corrupt(format!("{} is missing", path.display()))
}

fn places(gaps: &[Gap]) -> String {
    let mut text = String::from("at byte ");
    for (index, gap) in gaps.iter().take(MOST_NAMED).enumerate() {
        // Writing to a string does not fail.
        let _ = write!(text, "{}{}", if index > 0 { ", " } else { "" }, gap.offset);
    }
    if gaps.len() > MOST_NAMED {
        let _ = write!(text, " and {} more places", gaps.len() - MOST_NAMED);
    }
    text
}

/// Place of the last byte of the batch that a message begins.
fn last_of_batch(message: &log::Message<'_>) -> Option<u64> {
    let begins = message.kind == Kind::Batch;
    begins.then(|| message.body.try_into().map(u64::from_le_bytes).unwrap_or(u64::MAX))
}

/// The number of the last commit as a message sets it, and the rows then. Its key has no common
/// prefix with others.
fn head_in(message: &log::Message<'_>) -> Option<(Seq, Tally)> {
    let found = match message.kind {
        Kind::Link => log::link(message.body).filter(|(key, _)| *key == record::HEAD)?.1?,
        Kind::Page => match log::page(message.body)? {
            Page::Leaf { prefix: [], records } => {
                records.into_iter().find(|(key, _)| *key == record::HEAD)?.1
            }
            Page::Leaf { .. } | Page::Index => return None,
        },
        Kind::Idle | Kind::Cap | Kind::Batch | Kind::Free => return None,
    };
    record::read_head(found).ok()
}

/// Everything that can be read.
#[derive(Debug, Default)]
pub(super) struct Image {
    pub(super) rows: BTreeMap<(Tree, Vec<u8>), (Seq, Vec<u8>)>,
    pub(super) log: BTreeMap<Seq, Vec<Change>>,
    pub(super) head: Seq,
    pub(super) floor: Seq,
    /// Commits of which a part is lost.
    pub(super) lost: Vec<Seq>,
    /// Whether rows that the feed has forgotten may be missing, or be older ones.
    pub(super) unsure: bool,
    /// Where the file could not be read.
    gaps: Vec<Gap>,
    /// Whether there is no file.
    missing: bool,
    path: PathBuf,
    /// The rows that there should be at the head.
    tally: Option<Tally>,
}

impl Image {
    /// Reads the folder of an engine; `noted` is the last acknowledged commit.
    ///
    /// # Errors
    /// `Unavailable` if the file cannot be read at all.
    pub(super) fn read(engine: &Path, noted: Seq) -> Result<Self, StoreError> {
        let path = engine.join("db");
        let failed = |error| unavailable(&path, &error);
        let log = match Log::open(&path) {
            Ok(log) => log,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
                let lost = (1..=noted).collect();
                return Ok(Self { head: noted, lost, missing: true, path, ..Self::default() });
            }
            Err(error) => return Err(failed(error)),
        };
        let torn = torn_batch(&log, noted).map_err(failed)?;
        let mut pages: BTreeMap<u64, Leaf> = BTreeMap::new();
        let mut once = Once::default();
        let gaps = log.walk_corrected(|message| replay(&mut pages, &mut once, &message, torn));
        let gaps = gaps.map_err(failed)?;
        let once = once.settled();
        let mut image = Self { gaps, path: path.clone(), ..Self::default() };
        let mut commits = BTreeMap::new();
        for Leaf { prefix, records } in pages.into_values() {
            for (key, record) in records {
                image.take(&[&prefix[..], &key].concat(), &record, &mut commits);
            }
        }
        image.mend(commits, once, noted);
        Ok(image)
    }

    /// Sorts in one record; one that does not match its checksum is left out.
    fn take(&mut self, key: &[u8], record: &[u8], commits: &mut BTreeMap<Seq, Pieces>) {
        tell(commits, key, record);
        let number = |key: &[u8]| record::read_number(key, record).unwrap_or(0);
        match key {
            [0, tree, ..] => {
                let Ok(Row { key, value, written_by }) = record::read_row(key, record) else {
                    return;
                };
                // A page that lost its last change may still show an older one.
                let row = self.rows.entry((Tree(*tree), key)).or_insert((0, Vec::new()));
                if row.0 < written_by {
                    *row = (written_by, value);
                }
            }
            record::HEAD => {
                if let Ok((head, tally)) = record::read_head(record) {
                    (self.head, self.tally) = (head, Some(tally));
                }
            }
            record::FLOOR => self.floor = self.floor.max(number(key)),
            _ => {}
        }
    }

    /// Completes the feed by rows and rows by the feed, both by what was `once` there, and lists
    /// what is nowhere.
    fn mend(
        &mut self,
        mut commits: BTreeMap<Seq, Pieces>,
        mut once: BTreeMap<Seq, Pieces>,
        noted: Seq,
    ) {
        let newest = commits.keys().next_back().copied().unwrap_or(0).max(noted);
        if newest > self.head {
            (self.head, self.tally) = (newest, None);
        }
        let had_all_rows = self.has_all_rows();
        for seq in self.floor + 1..=self.head {
            let mut pieces = commits.remove(&seq).unwrap_or_default();
            if !pieces.are_all() {
                pieces.complete(once.remove(&seq).unwrap_or_default());
            }
            let is_whole = pieces.are_all();
            let Pieces { changes, .. } = pieces;
            if !is_whole {
                self.lost.push(seq);
            } else {
                self.log.insert(seq, changes.values().cloned().collect());
            }
            // What the feed has not lost may tell of a row that went with what it has lost.
            for change in changes.into_values().filter(|_| !had_all_rows) {
                let place = (change.tree, change.key);
                if self.rows.get(&place).is_none_or(|row| row.0 <= seq) {
                    match change.value {
                        Some(value) => self.rows.insert(place, (seq, value)),
                        None => self.rows.remove(&place),
                    };
                }
            }
        }
        let has_all_rows = self.has_all_rows();
        // A feed from the first commit on tells every row.
        self.unsure = self.floor > 0 && !has_all_rows;
        if has_all_rows && let Some(last) = self.lost.last() {
            // Only the feed has a hole, where it told of a row that is gone: it begins behind it.
            self.floor = self.floor.max(*last);
            self.log = self.log.split_off(&(self.floor + 1));
            self.lost.clear();
        }
    }

    /// Whether the rows are those that there should be.
    fn has_all_rows(&self) -> bool {
        let mut tally = Tally::default();
        for ((tree, key), (seq, _)) in &self.rows {
            tally.add(&record::row_key(*tree, key), *seq);
        }
        self.tally == Some(tally)
    }

    /// Whether something is lost for good, or may be.
    pub(super) fn is_whole(&self) -> bool {
        self.lost.is_empty() && !self.unsure
    }

    /// Where the file of the engine is damaged; `None` if nothing shows that it is.
    fn place(&self) -> Option<String> {
        let path = self.path.display();
        let gaps: Vec<Gap> = self.gaps.iter().filter(|gap| gap.inside).copied().collect();
        match (gaps.is_empty(), self.gaps.first()) {
            _ if self.missing => Some(format!("{path} is missing")),
            (false, _) => Some(format!("{path} is damaged {}", places(&gaps))),
            // Every file ends in a gap.
            (true, _) if self.is_whole() => None,
            (true, Some(gap)) => Some(format!("{path} is damaged or ends at byte {}", gap.offset)),
            (true, None) => Some(format!("{path} is damaged or cut short")),
        }
    }

    /// What is damaged and what that cost, in words; `why` is what was found out before.
    pub(super) fn damage(&self, why: Option<&str>) -> String {
        let place = self.place();
        let mut text = match (why, place) {
            (Some(why), Some(place)) if place.starts_with(why) => place,
            (Some(why), Some(place)) => format!("{why}: {place}"),
            (Some(text), None) => text.to_owned(),
            (None, place) => place.unwrap_or_default(),
        };
        match self.lost.as_slice() {
            [] if self.unsure => {}
            [] if self.head == 0 => text.push_str("; nothing can be read"),
            [] => {
                let _ = write!(text, "; all commits up to {} can still be read", self.head);
            }
            [first, .., last] if self.rows.is_empty() && self.log.is_empty() => {
                let _ = write!(text, "; nothing can be read, commits {first} to {last} are lost");
            }
            [first, .., last] => {
                let count = self.lost.len();
                let _ =
                    write!(text, "; parts of {count} commits between {first} and {last} are lost");
            }
            [only] => {
                let _ = write!(text, "; a part of commit {only} is lost");
            }
        }
        if self.unsure {
            let _ = write!(text, "; rows from commits up to {} may be lost", self.floor);
        }
        text
    }
}

/// What is known of a commit.
#[derive(Debug, Default)]
struct Pieces {
    of: u16,
    changes: BTreeMap<u16, Change>,
}

impl Pieces {
    fn put(&mut self, place: Place, change: Change) {
        self.of = place.of;
        self.changes.insert(place.index, change);
    }

    fn are_all(&self) -> bool {
        !self.changes.is_empty() && self.changes.len() >= usize::from(self.of)
    }

    /// Adds what is missing, if it tells of the same commit.
    fn complete(&mut self, once: Self) {
        if self.changes.is_empty() {
            *self = once;
        } else if self.of == once.of {
            once.changes.into_iter().for_each(|(index, change)| {
                self.changes.entry(index).or_insert(change);
            });
        }
    }
}

/// The change that wrote a row.
fn written(tree: u8, row: &Row) -> Change {
    Change { tree: Tree(tree), key: row.key.clone(), value: Some(row.value.clone()) }
}

/// Notes what a record tells of its commit; `false` if it tells nothing, as one under another key:
/// it does not match its checksum.
fn tell(commits: &mut BTreeMap<Seq, Pieces>, key: &[u8], record: &[u8]) -> bool {
    let told = match key {
        [0, tree, ..] => {
            let read = record::read_placed_row(key, record);
            read.map(|(row, place)| vec![(place, written(*tree, &row))])
        }
        [1, ..] => record::look_at_changes(key, record).map(|changes| {
            changes.into_iter().map(|(place, change)| (place, change.into())).collect()
        }),
        _ => return false,
    };
    let told = told.unwrap_or_default();
    let tells = !told.is_empty();
    for (place, change) in told {
        commits.entry(place.seq).or_default().put(place, change);
    }
    tells
}

/// Prefixes of keys that are tried at most.
const MOST_PREFIXES: usize = 4_096;

/// What the file said at any time.
#[derive(Debug, Default)]
struct Once {
    commits: BTreeMap<Seq, Pieces>,
    /// What the known keys begin with.
    prefixes: BTreeSet<Vec<u8>>,
    /// Ends of keys with their records, on pages whose beginning is damaged.
    strays: Vec<(Vec<u8>, Vec<u8>)>,
}

impl Once {
    fn note(&mut self, key: &[u8], record: &[u8]) {
        tell(&mut self.commits, key, record);
        for length in 0..key.len() {
            if self.prefixes.len() < MOST_PREFIXES {
                self.prefixes.insert(key[..length].to_vec());
            }
        }
    }

    /// The commits, with the strays whose beginnings were found out.
    fn settled(mut self) -> BTreeMap<Seq, Pieces> {
        for (end, record) in &self.strays {
            let mut keys = self.prefixes.iter().map(|prefix| [&prefix[..], end].concat());
            // The first under which the checksum is right.
            let _ = keys.any(|key| tell(&mut self.commits, &key, record));
        }
        self.commits
    }
}

#[derive(Debug)]
struct Leaf {
    prefix: Vec<u8>,
    records: BTreeMap<Vec<u8>, Vec<u8>>,
}

/// Where the last batch begins, if it is neither whole nor acknowledged: then it never happened.
fn torn_batch(log: &Log, noted: Seq) -> std::io::Result<Option<u64>> {
    let (mut last_batch, mut end, mut head) = (None, 0, 0);
    log.walk_corrected(|message| {
        end = message.end;
        if let Some(last) = last_of_batch(&message) {
            last_batch = Some((message.place, last, head));
        }
        head = head_in(&message).map_or(head, |(found, _)| head.max(found));
    })?;
    let torn = last_batch.filter(|(_, last, before)| end < *last && noted <= *before);
    Ok(torn.map(|(place, ..)| place))
}

/// Does to the pages what a message says, and notes what it tells of commits.
fn replay(
    pages: &mut BTreeMap<u64, Leaf>,
    once: &mut Once,
    message: &log::Message<'_>,
    torn: Option<u64>,
) {
    if torn.is_some_and(|torn| message.place >= torn) {
        return;
    }
    match message.kind {
        Kind::Page => match log::page(message.body) {
            Some(Page::Leaf { prefix, records }) => {
                for (key, record) in &records {
                    once.note(&[prefix, key].concat(), record);
                }
                let owned = |(key, record): (&[u8], &[u8])| (key.to_vec(), record.to_vec());
                let records = records.into_iter().map(owned).collect();
                pages.insert(message.page, Leaf { prefix: prefix.to_vec(), records });
            }
            Some(Page::Index) | None => {
                pages.remove(&message.page);
            }
        },
        Kind::Link => {
            let Some((key, record)) = log::link(message.body) else { return };
            if let Some(leaf) = pages.get_mut(&message.page) {
                if let Some(record) = record {
                    once.note(&[&leaf.prefix, key].concat(), record);
                }
                match record {
                    Some(record) => leaf.records.insert(key.to_vec(), record.to_vec()),
                    None => leaf.records.remove(key),
                };
            } else if let Some(record) = record {
                once.strays.push((key.to_vec(), record.to_vec()));
            }
        }
        Kind::Free => {
            pages.remove(&message.page);
        }
        Kind::Idle | Kind::Cap | Kind::Batch => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: the checksum of a record is over its whole key (see `record`).
    #[test]
    fn a_record_on_a_page_without_a_beginning_is_placed_by_its_checksum() {
        let key = |n: u8| record::row_key(Tree(1), &[7, 7, 7, n]);
        let row = |n: u8| {
            let place = Place { seq: n.into(), index: 0, of: 1 };
            record::row_record(&key(n), place, &[n])
        };
        let mut once = Once::default();
        once.note(&key(1), &row(1));
        for (n, record) in [(2, row(2)), (3, row(4))] {
            once.strays.push((key(n)[3..].to_vec(), record));
        }
        let commits = once.settled();
        assert!(commits[&2].are_all());
        assert_eq!(commits.keys().copied().collect::<Vec<_>>(), [1, 2], "not under another key");
    }

    // Source: the head tells how many rows there are and which (see `record`).
    #[test]
    fn what_only_the_feed_told_of_rows_that_are_gone_costs_no_row() {
        let key = |n: u8| record::row_key(Tree(1), &[n]);
        let row = |n: u8, seq| {
            record::row_record(&key(n), Place { seq, index: u16::from(n - 1), of: 2 }, &[n])
        };
        let first: Vec<Change> =
            [1, 2].map(|n| Change { tree: Tree(1), key: vec![n], value: Some(vec![n]) }).to_vec();
        let feed = record::feed_records(1, 2, &first).unwrap();
        let read = |tally: &[(u8, Seq)]| {
            let mut sum = Tally::default();
            tally.iter().for_each(|(n, seq)| sum.add(&key(*n), *seq));
            let (mut image, mut commits) = (Image::default(), BTreeMap::new());
            // Row 2 went with commit 2, of which nothing is left.
            let head = (record::HEAD.to_vec(), record::head_record(2, sum));
            for (key, record) in [&feed[..], &[(key(1), row(1, 1)), head]].concat() {
                image.take(&key, &record, &mut commits);
            }
            image.mend(commits, BTreeMap::new(), 2);
            (image.rows.len(), image.lost, image.floor, image.log.len())
        };
        assert_eq!(read(&[(1, 1)]), (1, vec![], 2, 0));
        assert_eq!(read(&[(1, 2), (2, 2)]), (2, vec![2], 0, 1));
    }
}
