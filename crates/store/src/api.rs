//! What an engine must do.

use std::time::Duration;

/// Number of a commit: 1 for the first, one more for each, no gaps. 0 means "before all".
pub type Seq = u64;

/// Greatest length of a key in bytes.
pub const MAX_KEY: usize = 1024;
/// Greatest length of a value in bytes: an event is far shorter. The engines count on it; see
/// `SEGMENT_BYTES` of the one on sled.
pub const MAX_VALUE: usize = 32 * 1024;
/// Most writes in one commit: a whole fleet's import.
pub const MAX_WRITES: usize = 10_000;
/// Most bytes of keys and values in one commit.
pub const MAX_COMMIT_BYTES: usize = 32 * 1024 * 1024;

/// A named, ordered set of keys. The number goes into every key on disk, so it is never reused.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Tree(pub u8);

/// What must be true of a key for its write, and the whole commit with it, to be done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Expect {
    /// Anything.
    Any,
    /// The key is not there.
    Absent,
    /// The key was last written by this commit.
    WrittenBy(Seq),
}

/// One write of a commit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Write {
    /// Tree.
    pub tree: Tree,
    /// Key.
    pub key: Vec<u8>,
    /// What must be true of the key.
    pub expect: Expect,
    /// The new value; `None` removes the key.
    pub value: Option<Vec<u8>>,
}

/// A key with its value.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Row {
    /// Key.
    pub key: Vec<u8>,
    /// Value.
    pub value: Vec<u8>,
    /// The commit that wrote it.
    pub written_by: Seq,
}

/// One key as a commit left it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Change {
    /// Tree.
    pub tree: Tree,
    /// Key.
    pub key: Vec<u8>,
    /// The new value; `None` if the key was removed.
    pub value: Option<Vec<u8>>,
}

/// A commit as the feed tells it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Commit {
    /// Its number.
    pub seq: Seq,
    /// Its writes, in their order.
    pub changes: Vec<Change>,
}

/// Why an engine did not do as asked.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum StoreError {
    /// What a write expected is not so; nothing was written.
    #[error("write {index} expected its key in another state; read it again and retry")]
    Conflict {
        /// Place of the first such write in the list.
        index: usize,
    },
    /// A write breaks a rule of the trait; nothing was written.
    #[error("write {index}: {what}")]
    Malformed {
        /// Place of the write in the list.
        index: usize,
        /// What was wrong and what would be right.
        what: String,
    },
    /// Too little free space; nothing was written, reading goes on.
    #[error(
        "only {} MiB are free and {} MiB must stay: free some space",
        free_bytes / MIB,
        floor_bytes.div_ceil(MIB)
    )]
    Full {
        /// Free bytes on the disk.
        free_bytes: u64,
        /// Bytes that must stay free.
        floor_bytes: u64,
    },
    /// The feed was trimmed: list again and go on from the head read before the listing.
    #[error("the changes up to {floor} were trimmed: list again")]
    Trimmed {
        /// The feed begins after this commit.
        floor: Seq,
    },
    /// Another process holds the folder.
    #[error("the folder {folder} is in use by {holder}")]
    Locked {
        /// The folder.
        folder: String,
        /// The process that holds it.
        holder: String,
    },
    /// Nothing was done, and the store must be reopened first.
    #[error("the store is not available: {0}")]
    Unavailable(String),
    /// The commit may or may not have been done: read again to find out.
    #[error("the outcome is unknown: {0}")]
    Unknown(String),
    /// Something stored is damaged. Nothing is dropped in silence.
    #[error("the store is damaged: {0}")]
    Corrupt(String),
}

/// Bytes to a mebibyte.
const MIB: u64 = 1024 * 1024;

/// What a store can do now.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Condition {
    /// Read and write.
    Sound,
    /// Read. This is the error that every write gets: `Full`, `Corrupt` with the place of the
    /// damage, or `Unavailable` for a folder that cannot be written.
    ReadOnly(StoreError),
    /// Nothing, until it is opened again.
    Failed(StoreError),
}

/// An engine: trees of ordered byte keys, atomic commits with preconditions, and a feed of them.
///
/// All calls block. Semantics:
///
/// 1. *Atomic*: all writes of a commit and its entry in the feed are done, or none, across trees
///    and across crashes. Keys in one commit are distinct.
/// 2. *Durable*: `Ok` comes only after the device was told to flush. What cannot be lost any more
///    is what readers see; they never see more.
/// 3. *Preconditions* are checked against the state just before the commit, in the order of the
///    list; the first that fails is named and nothing is written.
/// 4. *Order*: a commit that is not empty gets the next number; an empty one gets none. Commits
///    are linearizable.
/// 5. *Reading*: one page of a scan is one point in time, a walk over pages is not. Keys are
///    ordered by unsigned bytes.
/// 6. *Feed*: whole commits, in order, exactly as written. A reader that saw a commit in the feed
///    sees at least that state by `get` and `scan`.
/// 7. *Waiting* is a wake-up only: what happened is told by the feed.
/// 8. *Read-only* ([`Condition::ReadOnly`]): every write is refused with the same error, reads go
///    on. Where a damaged store has lost something for good, the error says so; a scan then gives
///    what is left, `get` of a key that is not there and the lost part of the feed are `Corrupt`.
pub trait Store: Send + Sync {
    /// Does all writes or none; answers the number of the commit, or the head if there are none.
    ///
    /// # Errors
    /// [`StoreError`]: all kinds but `Trimmed` and `Locked`.
    fn commit(&self, writes: Vec<Write>) -> Result<Seq, StoreError>;

    /// The value of a key.
    ///
    /// # Errors
    /// `Unavailable` or `Corrupt`.
    fn get(&self, tree: Tree, key: &[u8]) -> Result<Option<Row>, StoreError>;

    /// The keys of a tree that begin with `prefix` and come after `after`, at most `limit`.
    ///
    /// # Errors
    /// `Unavailable` or `Corrupt`; a damaged row fails the page that it is on.
    fn scan(
        &self,
        tree: Tree,
        prefix: &[u8],
        after: Option<&[u8]>,
        limit: usize,
    ) -> Result<Vec<Row>, StoreError>;

    /// The commits after `since`, at most `limit`.
    ///
    /// # Errors
    /// `Trimmed` if some of them are gone, `Unavailable` or `Corrupt`.
    fn changes(&self, since: Seq, limit: usize) -> Result<Vec<Commit>, StoreError>;

    /// Forgets the feed up to and with `upto` (at most up to the head).
    ///
    /// # Errors
    /// `Full`, `Unavailable`, `Unknown` or `Corrupt`.
    fn trim(&self, upto: Seq) -> Result<(), StoreError>;

    /// The number of the last commit.
    ///
    /// # Errors
    /// `Unavailable`.
    fn head(&self) -> Result<Seq, StoreError>;

    /// Waits until the head is past `seq`, or `timeout` is over, or the store ends; answers the
    /// head. It may return early: look again.
    ///
    /// # Errors
    /// `Unavailable`.
    fn wait_past(&self, seq: Seq, timeout: Duration) -> Result<Seq, StoreError>;

    /// What the store can do now, without touching the disk beyond its free space.
    fn condition(&self) -> Condition;
}

/// Checks what holds for every engine: sizes, and distinct keys.
pub(crate) fn check(writes: &[Write]) -> Result<(), StoreError> {
    let malformed = |index, what: String| Err(StoreError::Malformed { index, what });
    if writes.len() > MAX_WRITES {
        return malformed(MAX_WRITES, format!("a commit has at most {MAX_WRITES} writes"));
    }
    let twice = written_twice(writes);
    let mut bytes = 0;
    for (index, write) in writes.iter().enumerate() {
        let value = write.value.as_ref().map_or(0, Vec::len);
        bytes += write.key.len() + value;
        if write.key.len() > MAX_KEY {
            return malformed(index, format!("a key has at most {MAX_KEY} bytes"));
        }
        if value > MAX_VALUE {
            return malformed(index, format!("a value has at most {MAX_VALUE} bytes"));
        }
        if bytes > MAX_COMMIT_BYTES {
            return malformed(index, format!("a commit has at most {MAX_COMMIT_BYTES} bytes"));
        }
        if twice == Some(index) {
            return malformed(index, "a key is written once in a commit".to_owned());
        }
    }
    Ok(())
}

/// The first write whose key was written before.
fn written_twice(writes: &[Write]) -> Option<usize> {
    let mut keys: Vec<_> =
        writes.iter().enumerate().map(|(index, w)| (w.tree, &w.key, index)).collect();
    // Most lists are in order nearly, which this makes use of.
    keys.sort();
    let again = keys.windows(2).filter(|pair| (pair[0].0, pair[0].1) == (pair[1].0, pair[1].1));
    again.map(|pair| pair[1].2).min()
}

/// Checks preconditions in the order of the list; `written_by` is asked once for each write, in
/// that order, and tells the state before the commit.
pub(crate) fn check_expectations(
    writes: &[Write],
    mut written_by: impl FnMut(&Write) -> Option<Seq>,
) -> Result<(), StoreError> {
    for (index, write) in writes.iter().enumerate() {
        let written_by = written_by(write);
        let holds = match write.expect {
            Expect::Any => true,
            Expect::Absent => written_by.is_none(),
            Expect::WrittenBy(seq) => written_by == Some(seq),
        };
        if !holds {
            return Err(StoreError::Conflict { index });
        }
    }
    Ok(())
}
