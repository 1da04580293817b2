//! How records and keys look on disk. Numbers are big-endian, so that their order is the keys'.
//!
//! ```text
//! key                          record's payload
//! 00 | tree(1) | key           commit that wrote it (8) | place in it (2) | its writes (2) | value
//! 01 | seq(8) | place(4)       writes of the commit (2) | changes in a row from that place on, each
//!                              tree(1) | removed 0 or 1 (1) | length of key (2), of value (4)
//!                              | key | value
//! 02                           head: number of the last commit (8) | rows (8) | their sum (8)
//! 03                           floor: the feed begins after this commit (8)
//!
//! record = format(1) | CRC-32 over key and payload (4) | payload
//! ```
//!
//! The checksum covers the key as well: a record under a wrong key is damage too. The format of a
//! store is that of its records; an engine that finds another one stops. Row and feed tell the same
//! change and its place: so either can be put together again from the other. Changes stand several
//! to a record in the feed, since the engine's cost is by records more than by bytes. The sum is
//! over a CRC-32 of key and commit of every row: rows that the feed has forgotten are missed by it.

use crate::api::{Change, Row, Seq, StoreError, Tree, Write};

const FORMAT: u8 = 4;
const FRAME: usize = 5;
/// Bytes after which a record of the feed takes no further change: small enough for the engine's
/// pages, far more than most changes.
const RUN_BYTES: usize = 8 * 1024;

pub(crate) const HEAD: &[u8] = &[2];
pub(crate) const FLOOR: &[u8] = &[3];
/// Every key of the feed is below this one and not below `&[1]`.
pub(crate) const LOG_END: &[u8] = &[2];
pub(crate) const LOG_START: &[u8] = &[1];

pub(crate) fn row_key(tree: Tree, key: &[u8]) -> Vec<u8> {
    let mut full_key = Vec::with_capacity(2 + key.len());
    put_row_key(&mut full_key, tree, key);
    full_key
}

pub(crate) fn put_row_key(to: &mut Vec<u8>, tree: Tree, key: &[u8]) {
    to.extend_from_slice(&[0, tree.0]);
    to.extend_from_slice(key);
}

pub(crate) fn log_key(seq: Seq, index: u32) -> Vec<u8> {
    [&[1], &seq.to_be_bytes()[..], &index.to_be_bytes()].concat()
}

fn checksum(key: &[u8], payload: &[&[u8]]) -> [u8; 4] {
    let mut hasher = crc32fast::Hasher::new();
    hasher.update(key);
    payload.iter().for_each(|part| hasher.update(part));
    hasher.finalize().to_be_bytes()
}

fn frame(key: &[u8], payload: &[&[u8]]) -> Vec<u8> {
    let length = FRAME + payload.iter().map(|part| part.len()).sum::<usize>();
    let mut record = Vec::with_capacity(length);
    record.push(FORMAT);
    record.extend_from_slice(&checksum(key, payload));
    payload.iter().for_each(|part| record.extend_from_slice(part));
    record
}

/// The payload of a record.
fn unframe<'a>(key: &[u8], record: &'a [u8]) -> Result<&'a [u8], StoreError> {
    if record.len() < FRAME {
        return Err(damaged(key, "is cut short"));
    }
    let (head, payload) = record.split_at(FRAME);
    if head[1..] != checksum(key, &[payload]) {
        return Err(damaged(key, "does not match its checksum"));
    }
    if head[0] != FORMAT {
        let what = format!("has format {}, this version reads {FORMAT}", head[0]);
        return Err(damaged(key, &what));
    }
    Ok(payload)
}

pub(crate) fn damaged(key: &[u8], what: &str) -> StoreError {
    let place = match key {
        [0, tree, key @ ..] => format!("tree {tree}, key {}", key.escape_ascii()),
        [1, rest @ ..] if rest.len() == 12 => {
            let seq = rest[..8].iter().fold(0, |n: u64, b| n << 8 | u64::from(*b));
            format!("change of commit {seq}")
        }
        other => format!("record {}", other.escape_ascii()),
    };
    StoreError::Corrupt(format!("{place} {what}"))
}

pub(crate) fn number_record(key: &[u8], number: u64) -> Vec<u8> {
    frame(key, &[&number.to_be_bytes()])
}

pub(crate) fn read_number(key: &[u8], record: &[u8]) -> Result<u64, StoreError> {
    let payload = unframe(key, record)?;
    let bytes = payload.try_into().map_err(|_| damaged(key, "is no number"))?;
    Ok(u64::from_be_bytes(bytes))
}

/// How many rows there are and which: the sum of a checksum of each one's key and commit.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Tally {
    pub(crate) rows: u64,
    sum: u64,
}

impl Tally {
    pub(crate) fn add(&mut self, full_key: &[u8], seq: Seq) {
        self.rows = self.rows.wrapping_add(1);
        self.sum = self.sum.wrapping_add(Self::mark(full_key, seq));
    }

    pub(crate) fn take(&mut self, full_key: &[u8], seq: Seq) {
        self.rows = self.rows.wrapping_sub(1);
        self.sum = self.sum.wrapping_sub(Self::mark(full_key, seq));
    }

    fn mark(full_key: &[u8], seq: Seq) -> u64 {
        u64::from(u32::from_be_bytes(checksum(full_key, &[&seq.to_be_bytes()])))
    }
}

pub(crate) fn head_record(head: Seq, tally: Tally) -> Vec<u8> {
    let numbers = [head, tally.rows, tally.sum].map(u64::to_be_bytes);
    frame(HEAD, &numbers.each_ref().map(<[u8; 8]>::as_slice))
}

pub(crate) fn read_head(record: &[u8]) -> Result<(Seq, Tally), StoreError> {
    let (numbers, rest) = unframe(HEAD, record)?.as_chunks::<8>();
    match (numbers, rest) {
        ([head, rows, sum], []) => {
            let [head, rows, sum] = [head, rows, sum].map(|number| u64::from_be_bytes(*number));
            Ok((head, Tally { rows, sum }))
        }
        _ => Err(damaged(HEAD, "is cut short")),
    }
}

/// Where a write stands in its commit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Place {
    /// Number of the commit.
    pub(crate) seq: Seq,
    /// Place in its list, from 0.
    pub(crate) index: u16,
    /// Writes of the commit.
    pub(crate) of: u16,
}

/// The record of a value under its full key.
pub(crate) fn row_record(full_key: &[u8], place: Place, value: &[u8]) -> Vec<u8> {
    let Place { seq, index, of } = place;
    frame(full_key, &[&seq.to_be_bytes(), &index.to_be_bytes(), &of.to_be_bytes(), value])
}

pub(crate) fn read_row(full_key: &[u8], record: &[u8]) -> Result<Row, StoreError> {
    read_placed_row(full_key, record).map(|(row, _)| row)
}

/// A row with its place in the commit that wrote it.
pub(crate) fn read_placed_row(full_key: &[u8], record: &[u8]) -> Result<(Row, Place), StoreError> {
    let (value, place) = look_at_row(full_key, record)?;
    let key = full_key.get(2..).ok_or_else(|| damaged(full_key, "is cut short"))?.to_vec();
    Ok((Row { key, value: value.to_vec(), written_by: place.seq }, place))
}

/// The value of a row, and its place in the commit that wrote it.
pub(crate) fn look_at_row<'r>(
    full_key: &[u8],
    record: &'r [u8],
) -> Result<(&'r [u8], Place), StoreError> {
    let cut = || damaged(full_key, "is cut short");
    let payload = unframe(full_key, record)?;
    let (seq, rest) = payload.split_first_chunk().ok_or_else(cut)?;
    let (index, rest) = rest.split_first_chunk().ok_or_else(cut)?;
    let (of, value) = rest.split_first_chunk().ok_or_else(cut)?;
    let seq = u64::from_be_bytes(*seq);
    Ok((value, Place { seq, index: u16::from_be_bytes(*index), of: u16::from_be_bytes(*of) }))
}

/// A change, where it stands.
#[derive(Clone, Copy, Debug)]
pub(crate) struct ChangeView<'a> {
    pub(crate) tree: Tree,
    pub(crate) key: &'a [u8],
    pub(crate) value: Option<&'a [u8]>,
}

impl<'a> From<&'a Change> for ChangeView<'a> {
    fn from(change: &'a Change) -> Self {
        Self { tree: change.tree, key: &change.key, value: change.value.as_deref() }
    }
}

impl<'a> From<&'a Write> for ChangeView<'a> {
    fn from(write: &'a Write) -> Self {
        Self { tree: write.tree, key: &write.key, value: write.value.as_deref() }
    }
}

impl From<ChangeView<'_>> for Change {
    fn from(ChangeView { tree, key, value }: ChangeView<'_>) -> Self {
        Self { tree, key: key.to_vec(), value: value.map(<[u8]>::to_vec) }
    }
}

/// A key with its record.
pub(crate) type Keyed = (Vec<u8>, Vec<u8>);

/// The records by which the feed tells a commit of `of` changes.
pub(crate) fn feed_records<'a, C: 'a>(
    seq: Seq,
    of: u16,
    changes: &'a [C],
) -> Result<Vec<Keyed>, StoreError>
where
    ChangeView<'a>: From<&'a C>,
{
    let too = |what| damaged(&log_key(seq, 0), what);
    let mut records = Vec::new();
    let (mut first, mut run) = (0, of.to_be_bytes().to_vec());
    for (index, change) in (0..).zip(changes) {
        let ChangeView { tree, key, value } = change.into();
        let key_length = u16::try_from(key.len()).map_err(|_| too("has too long a key"))?;
        let removed = u8::from(value.is_none());
        let value = value.unwrap_or_default();
        let value_length = u32::try_from(value.len()).map_err(|_| too("has too long a value"))?;
        let head = ([tree.0, removed], key_length.to_be_bytes(), value_length.to_be_bytes());
        for part in [&head.0[..], &head.1, &head.2, key, value] {
            run.extend_from_slice(part);
        }
        if run.len() > RUN_BYTES || index + 1 == of {
            let key = log_key(seq, u32::from(first));
            let record = frame(&key, &[&run]);
            records.push((key, record));
            run.truncate(size_of_val(&of));
            first = index + 1;
        }
    }
    Ok(records)
}

/// The changes that a record of the feed tells, each with its place.
pub(crate) fn look_at_changes<'r>(
    log_key: &[u8],
    record: &'r [u8],
) -> Result<Vec<(Place, ChangeView<'r>)>, StoreError> {
    let payload = unframe(log_key, record)?;
    let cut = || damaged(log_key, "is cut short");
    let (seq, first) = log_key
        .get(1..)
        .and_then(<[u8]>::split_first_chunk)
        .and_then(|(seq, first)| Some((seq, <[u8; 4]>::try_from(first).ok()?)))
        .ok_or_else(cut)?;
    let (seq, first) = (u64::from_be_bytes(*seq), u32::from_be_bytes(first));
    let mut index = u16::try_from(first).map_err(|_| cut())?;
    let (of, mut rest) = payload.split_first_chunk().ok_or_else(cut)?;
    let of = u16::from_be_bytes(*of);
    let mut changes = Vec::new();
    while let Some(([tree, removed], after)) = rest.split_first_chunk() {
        let (key_length, after) = after.split_first_chunk().ok_or_else(cut)?;
        let (value_length, after) = after.split_first_chunk().ok_or_else(cut)?;
        let key_length = usize::from(u16::from_be_bytes(*key_length));
        let value_length = u32::from_be_bytes(*value_length);
        let value_length = usize::try_from(value_length).map_err(|_| cut())?;
        let (key, after) = after.split_at_checked(key_length).ok_or_else(cut)?;
        let (value, after) = after.split_at_checked(value_length).ok_or_else(cut)?;
        let value = (*removed == 0).then_some(value);
        changes.push((Place { seq, index, of }, ChangeView { tree: Tree(*tree), key, value }));
        index = index.checked_add(1).ok_or_else(cut)?;
        rest = after;
    }
    if rest.is_empty() { Ok(changes) } else { Err(cut()) }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: the check value of CRC-32/ISO-HDLC over "123456789", as catalogues give it.
    #[test]
    fn the_checksum_is_the_common_crc_32() {
        assert_eq!(checksum(b"1234", &[b"567", b"89"]), 0xcbf4_3926_u32.to_be_bytes());
    }

    // Source: CRC-32 finds every single flipped bit (Koopman and Chakravarty 2004).
    #[test]
    fn every_flipped_bit_and_every_cut_is_found() {
        let key = row_key(Tree(7), b"R14");
        let place = Place { seq: 42, index: 1, of: 3 };
        let record = row_record(&key, place, b"value");
        assert_eq!(read_placed_row(&key, &record).unwrap().1, place);
        let row = read_row(&key, &record).unwrap();
        assert_eq!((row.key, row.value, row.written_by), (b"R14".to_vec(), b"value".to_vec(), 42));
        for bit in 0..record.len() * 8 {
            let mut bad = record.clone();
            bad[bit / 8] ^= 1 << (bit % 8);
            assert!(read_row(&key, &bad).is_err(), "bit {bit}");
        }
        for length in 0..record.len() {
            assert!(read_row(&key, &record[..length]).is_err(), "cut to {length}");
        }
        assert!(read_row(&row_key(Tree(7), b"R15"), &record).is_err(), "under another key");
        assert!(read_row(&row_key(Tree(8), b"R14"), &record).is_err(), "in another tree");
    }

    #[test]
    fn another_format_is_refused_by_name() {
        let mut record = number_record(FLOOR, 5);
        record[0] = 9;
        let text = read_number(FLOOR, &record).unwrap_err().to_string();
        assert!(text.contains("format 9"), "{text}");
    }
}
