//! A store as a stream of bytes: backup while writes go on, and the way back.
//!
//! ```text
//! stream = "deepbend store 1\n" | item ...
//! item   = length of kind and payload (4) | kind (1) | payload | CRC-32 over kind and payload (4)
//!
//! kind  payload
//! 'R'   row: tree(1) | commit that wrote it (8) | length of key (2) | key | value
//! 'C'   change: commit (8) | place (2) | writes of the commit (2) | tree(1) | removed 0 or 1 (1)
//!       | length of key (2) | key | value
//! 'E'   the end: head(8) | floor(8) | changes(8) | CRC-32 over all bytes before it (4)
//! ```
//!
//! Numbers are big-endian. The rows are walked page by page while others write; the feed up to the
//! head read *after* the walk then follows, and what it says overrides the rows: so the stream is
//! the store as it was at that head. An engine that is not sled writes and reads the same stream.

use std::io::{self, Read, Write as Out};

use crate::api::{Change, Expect, Row, Seq, Store, StoreError, Tree, Write};
use crate::memory::{MemoryStore, State};

const MAGIC: &[u8] = b"deepbend store 1\n";
/// Rows or commits of one page.
const PAGE: usize = 500;
/// Greater than any item can be.
const MAX_ITEM: u32 = 64 * 1024;

/// Tree of what the store's own tools write. No service writes there.
const TOOLS: Tree = Tree(0xfe);
const RESTORED: &[u8] = b"restored";
const OWN_CHAIN: &[u8] = b"own chain";

/// Why a backup was not written or not read.
#[derive(Debug, thiserror::Error)]
pub enum BackupError {
    /// The stream could not be written or read.
    #[error("the backup cannot be written or read: {0}")]
    Stream(#[from] io::Error),
    /// The store; after `Trimmed`, back up again.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The stream is none of ours, damaged, or not whole.
    #[error("the backup is damaged at byte {offset}: {what}")]
    Damaged {
        /// Where.
        offset: u64,
        /// What was wrong.
        what: &'static str,
    },
}

/// What a backup holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Summary {
    /// The last commit in it.
    pub head: Seq,
    /// Its feed begins after this commit.
    pub floor: Seq,
    /// Entries of its feed.
    pub changes: u64,
    /// Bytes of the stream.
    pub bytes: u64,
}

/// The mark that a store is new, restored or repaired and has not been heeded yet: whoever records
/// events must begin a new incarnation, because events after the backup may be out in the world.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mark {
    /// How many incarnations to go on from the last one that is known: nobody else knows how many
    /// the device has begun since, here or from the same backup elsewhere, so this has chance in it.
    pub further: u32,
    written_by: Seq,
}

/// The mark of a store, if it has one.
///
/// # Errors
/// As [`Store::get`]; `Corrupt` if the mark cannot be read.
pub fn restored(store: &dyn Store) -> Result<Option<Mark>, StoreError> {
    let Some(row) = store.get(TOOLS, RESTORED)? else { return Ok(None) };
    let further = row.value.try_into().map(u32::from_be_bytes);
    let damaged = |_| StoreError::Corrupt("the mark of a restored store".to_owned());
    Ok(Some(Mark { further: further.map_err(damaged)?, written_by: row.written_by }))
}

/// The write that takes the mark away; put it into the commit that begins the new incarnation.
#[must_use]
pub fn heed(mark: &Mark) -> Write {
    let expect = Expect::WrittenBy(mark.written_by);
    Write { tree: TOOLS, key: RESTORED.to_vec(), expect, value: None }
}

/// Marks a store that nobody has written to yet: an earlier store may have recorded under the same
/// name, and what it wrote may still be out in the world.
///
/// # Errors
/// As [`Store::commit`]; `Unavailable` where the system gives no chance.
pub fn mark_new(store: &dyn Store) -> Result<(), StoreError> {
    if store.head()? > 0 {
        return Ok(());
    }
    let (key, value) = (RESTORED.to_vec(), Some(further(0)?));
    store.commit(vec![Write { tree: TOOLS, key, expect: Expect::Absent, value }])?;
    Ok(())
}

/// Marks a store of which nobody knows whether its last commits are there: they may be out in the
/// world, and their numbers are not to be used again.
///
/// # Errors
/// As [`mark_new`].
pub fn mark_unsure(store: &dyn Store) -> Result<(), StoreError> {
    let (key, value) = (RESTORED.to_vec(), Some(further(0)?));
    store.commit(vec![Write { tree: TOOLS, key, expect: Expect::Any, value }])?;
    Ok(())
}

/// The key of the chain that was recorded here last, as it stands in the store; `None`: nothing was,
/// or by a version that kept no note of it. Other chains of the same device are other stores'.
pub(crate) fn own_chain(store: &dyn Store) -> Result<Option<Vec<u8>>, StoreError> {
    Ok(store.get(TOOLS, OWN_CHAIN)?.map(|row| row.value))
}

/// Notes the chain that is recorded here.
pub(crate) fn note_own_chain(key: Vec<u8>) -> Write {
    Write { tree: TOOLS, key: OWN_CHAIN.to_vec(), expect: Expect::Any, value: Some(key) }
}

/// The value of a mark. Each of the `lost` commits may have begun an incarnation.
fn further(lost: usize) -> Result<Vec<u8>, StoreError> {
    let mut chance = [0; 2];
    getrandom::fill(&mut chance).map_err(|error| StoreError::Unavailable(error.to_string()))?;
    let lost = u32::try_from(lost).unwrap_or(u32::MAX);
    let further = lost.saturating_add(1 + u32::from(u16::from_be_bytes(chance)));
    Ok(further.to_be_bytes().to_vec())
}

/// Sets the mark as one more commit.
///
/// # Errors
/// `Unavailable` where the system gives no chance.
pub(crate) fn mark_restored(state: &mut State, lost: usize) -> Result<(), StoreError> {
    let value = further(lost)?;
    state.head += 1;
    state.rows.insert((TOOLS, RESTORED.to_vec()), (state.head, value.clone()));
    let change = Change { tree: TOOLS, key: RESTORED.to_vec(), value: Some(value) };
    state.log.insert(state.head, vec![change]);
    Ok(())
}

struct Writer<'a> {
    out: &'a mut dyn Out,
    sum: crc32fast::Hasher,
    bytes: u64,
}

impl Writer<'_> {
    fn raw(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.sum.update(bytes);
        self.bytes += bytes.len() as u64;
        self.out.write_all(bytes)
    }

    fn item(&mut self, kind: u8, parts: &[&[u8]]) -> io::Result<()> {
        let mut item = vec![0; 4];
        item.push(kind);
        parts.iter().for_each(|part| item.extend_from_slice(part));
        let length = u32::try_from(item.len() - 4).map_err(io::Error::other)?;
        item[..4].copy_from_slice(&length.to_be_bytes());
        let sum = crc32fast::hash(&item[4..]);
        item.extend_from_slice(&sum.to_be_bytes());
        self.raw(&item)
    }
}

fn key_length(key: &[u8]) -> io::Result<[u8; 2]> {
    u16::try_from(key.len()).map(u16::to_be_bytes).map_err(io::Error::other)
}

/// Writes a backup. Others may write to the store meanwhile; the backup is one point in time.
///
/// # Errors
/// [`BackupError`]: a stream without its end is no backup.
pub fn backup(store: &dyn Store, out: &mut dyn Out) -> Result<Summary, BackupError> {
    let mut out = Writer { out, sum: crc32fast::Hasher::new(), bytes: 0 };
    out.raw(MAGIC)?;
    let before = store.head()?;
    for tree in (0..=u8::MAX).map(Tree) {
        let mut after: Option<Vec<u8>> = None;
        loop {
            let rows = store.scan(tree, &[], after.as_deref(), PAGE)?;
            let Some(last) = rows.last() else { break };
            after = Some(last.key.clone());
            for Row { key, value, written_by } in &rows {
                let head = [&[tree.0][..], &written_by.to_be_bytes(), &key_length(key)?].concat();
                out.item(b'R', &[&head, key, value])?;
            }
        }
    }
    let head = store.head()?;
    let floor = match store.changes(0, 1) {
        Ok(_) => 0,
        Err(StoreError::Trimmed { floor }) => floor,
        Err(error) => return Err(error.into()),
    };
    // What was written during the walk must be in the feed, or the rows are no point in time.
    if floor > before {
        return Err(StoreError::Trimmed { floor }.into());
    }
    let (mut since, mut changes) = (floor, 0_u64);
    while since < head {
        let commits = store.changes(since, PAGE)?;
        let Some(last) = commits.last() else { break };
        since = last.seq;
        for commit in commits.iter().filter(|commit| commit.seq <= head) {
            let of = u16::try_from(commit.changes.len()).map_err(io::Error::other)?;
            for (index, change) in (0_u16..).zip(&commit.changes) {
                let (seq, place) = (commit.seq.to_be_bytes(), index.to_be_bytes());
                let kind = [change.tree.0, u8::from(change.value.is_none())];
                let length = key_length(&change.key)?;
                let head = [&seq[..], &place, &of.to_be_bytes(), &kind, &length].concat();
                let value = change.value.as_deref().unwrap_or_default();
                out.item(b'C', &[&head, &change.key, value])?;
                changes += 1;
            }
        }
    }
    let numbers = [head, floor, changes].map(u64::to_be_bytes).concat();
    let sum = out.sum.clone().finalize().to_be_bytes();
    out.item(b'E', &[&numbers, &sum])?;
    out.out.flush()?;
    Ok(Summary { head, floor, changes, bytes: out.bytes })
}

/// Reads a backup to its end and checks it.
///
/// # Errors
/// [`BackupError::Damaged`] with the place, or a stream that cannot be read.
pub fn verify(from: &mut dyn Read) -> Result<Summary, BackupError> {
    read(from).map(|(_, summary)| summary)
}

/// Takes a stream apart.
struct Reader<'a> {
    from: &'a mut dyn Read,
    sum: crc32fast::Hasher,
    offset: u64,
}

impl Reader<'_> {
    fn damaged<T>(&self, what: &'static str) -> Result<T, BackupError> {
        Err(BackupError::Damaged { offset: self.offset, what })
    }

    fn raw(&mut self, bytes: &mut [u8]) -> Result<(), BackupError> {
        match self.from.read_exact(bytes) {
            Ok(()) => Ok(()),
            Err(error) if error.kind() == io::ErrorKind::UnexpectedEof => {
                self.damaged("it ends too early")
            }
            Err(error) => Err(error.into()),
        }
    }

    /// The next item, and the checksum of everything before it.
    fn item(&mut self) -> Result<(Vec<u8>, u32), BackupError> {
        let before = self.sum.clone().finalize();
        let mut length = [0; 4];
        self.raw(&mut length)?;
        let size = u32::from_be_bytes(length);
        if !(1..=MAX_ITEM).contains(&size) {
            return self.damaged("an item has no such length");
        }
        let mut item = vec![0; size as usize + 4];
        self.raw(&mut item)?;
        self.sum.update(&length);
        self.sum.update(&item);
        let sum = item.split_off(size as usize);
        if crc32fast::hash(&item).to_be_bytes() != *sum {
            return self.damaged("an item does not match its checksum");
        }
        self.offset += 8 + u64::from(size);
        Ok((item, before))
    }
}

fn split<const N: usize>(bytes: &[u8]) -> Option<([u8; N], &[u8])> {
    bytes.split_first_chunk().map(|(first, rest)| (*first, rest))
}

fn key_and_value(bytes: &[u8]) -> Option<(Vec<u8>, Vec<u8>)> {
    let (length, rest) = split(bytes)?;
    let (key, value) = rest.split_at_checked(usize::from(u16::from_be_bytes(length)))?;
    Some((key.to_vec(), value.to_vec()))
}

/// Adds a row; `None` if the item is none.
fn take_row(state: &mut State, item: &[u8]) -> Option<()> {
    let ([tree], rest) = split(item)?;
    let (seq, rest) = split(rest)?;
    let (key, value) = key_and_value(rest)?;
    state.rows.insert((Tree(tree), key), (u64::from_be_bytes(seq), value));
    Some(())
}

/// Adds a change that follows the one before; `None` if it does not. Answers how many of its
/// commit are still to come.
fn take_change(state: &mut State, item: &[u8], open: u16) -> Option<u16> {
    let (seq, rest) = split(item)?;
    let (index, rest) = split(rest)?;
    let (of, rest) = split(rest)?;
    let ([tree, removed], rest) = split(rest)?;
    let (key, value) = key_and_value(rest)?;
    let (seq, index) = (u64::from_be_bytes(seq), u16::from_be_bytes(index));
    let of = u16::from_be_bytes(of);
    let last = state.log.keys().next_back().copied();
    let follows = last.is_none_or(|last| seq == if open > 0 { last } else { last + 1 });
    let changes = state.log.entry(seq).or_default();
    if !follows || changes.len() != usize::from(index) || index >= of {
        return None;
    }
    let value = (removed == 0).then_some(value);
    changes.push(Change { tree: Tree(tree), key: key.clone(), value: value.clone() });
    let place = (Tree(tree), key);
    if state.rows.get(&place).is_none_or(|row| row.0 <= seq) {
        match value {
            Some(value) => state.rows.insert(place, (seq, value)),
            None => state.rows.remove(&place),
        };
    }
    Some(of - index - 1)
}

/// Reads a whole backup.
pub(crate) fn read(from: &mut dyn Read) -> Result<(State, Summary), BackupError> {
    let mut from = io::BufReader::new(from);
    let mut reader = Reader { from: &mut from, sum: crc32fast::Hasher::new(), offset: 0 };
    let mut magic = [0; MAGIC.len()];
    reader.raw(&mut magic)?;
    if magic != MAGIC {
        return reader.damaged("this is no backup that this version reads");
    }
    reader.sum.update(&magic);
    reader.offset = magic.len() as u64;
    let mut state = State::default();
    let (mut open, mut changes) = (0, 0);
    let end = loop {
        let (item, before) = reader.item()?;
        match item.split_first() {
            Some((b'R', row)) if changes == 0 => {
                if take_row(&mut state, row).is_none() {
                    return reader.damaged("a row is cut short");
                }
            }
            Some((b'C', change)) => match take_change(&mut state, change, open) {
                Some(rest) => (open, changes) = (rest, changes + 1),
                None => return reader.damaged("a change does not follow the one before"),
            },
            Some((b'E', end)) => break [end, &before.to_be_bytes()].concat(),
            Some(_) | None => return reader.damaged("an item of an unknown kind"),
        }
    };
    let number = |at: usize| {
        end.get(at..at + 8).and_then(|bytes| bytes.try_into().ok()).map(u64::from_be_bytes)
    };
    let (Some(head), Some(floor), Some(told)) = (number(0), number(8), number(16)) else {
        return reader.damaged("its end is cut short");
    };
    let first = state.log.keys().next().copied().unwrap_or(head + 1);
    let last = state.log.keys().next_back().copied().unwrap_or(floor);
    let whole = end.len() == 32 && end[24..28] == end[28..32] && told == changes;
    if !whole || open > 0 || first != floor + 1 || last != head {
        return reader.damaged("it is not whole");
    }
    if state.rows.values().any(|row| row.0 > head) || reader.from.read(&mut [0])? != 0 {
        return reader.damaged("it goes on after its end");
    }
    (state.head, state.floor) = (head, floor);
    Ok((state, Summary { head, floor, changes, bytes: reader.offset }))
}

impl MemoryStore {
    /// A store from a backup, with the mark of [`restored`].
    ///
    /// # Errors
    /// [`BackupError`] if the backup is damaged.
    pub fn restore(from: &mut dyn Read) -> Result<Self, BackupError> {
        let (mut state, _) = read(from)?;
        mark_restored(&mut state, 0)?;
        Ok(Self::of(state))
    }
}
