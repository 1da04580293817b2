//! The engine on disk: sled, one tree, one writer.
//!
//! Why so: sled 0.34 promises less than it says. Its flush is made durable here by a sync of its
//! file; its scans are no snapshots, so a lock stands between readers and the writer; damage can
//! make it panic, so each call is guarded; after a failed flush it shows what the disk lacks, so
//! nothing is served any more until the store is opened anew. Nothing is ever deleted or reset
//! because it is damaged.

use std::fmt;
use std::fs;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use std::sync::mpsc::{self, Sender};
use std::sync::{Arc, OnceLock, PoisonError, RwLock, RwLockReadGuard, RwLockWriteGuard};
use std::thread::{self, JoinHandle};
use std::time::Duration;

use crate::api::{Commit, MAX_KEY, MAX_VALUE, Row, Seq, Store, StoreError, Tree, Write, check};
use crate::record;

mod disk;
#[cfg(test)]
mod tests;
mod writer;

use disk::{DbFile, Disk, FolderLock, unavailable};
use writer::{Job, Writer};

/// Size of sled's segments. A page that takes more than a quarter of one is written to a file of
/// its own, which no sync reaches and which is deleted without waiting for one. A page holds up
/// to 17 records, 20 while two are merged: so a record may have a 20th of that quarter.
const SEGMENT_BYTES: usize = 4 * 1024 * 1024;
const _: () = assert!(20 * (2 * MAX_KEY + MAX_VALUE + 64) < SEGMENT_BYTES / 4);

const LOCK_TRIES: u32 = 200;
const LOCK_PAUSE: Duration = Duration::from_millis(10);

/// How to open a store.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SledOptions {
    /// Free bytes below which no commit is taken; a tenth of the store's size, if that is more.
    pub free_floor_bytes: u64,
    /// Bytes of memory for the engine's cache.
    pub cache_bytes: u64,
}

impl Default for SledOptions {
    fn default() -> Self {
        Self { free_floor_bytes: 64 * 1024 * 1024, cache_bytes: 64 * 1024 * 1024 }
    }
}

/// A store in a folder. One process may hold it at a time.
pub struct SledStore {
    shared: Arc<Shared>,
    jobs: Option<Sender<Job>>,
    writer: Option<JoinHandle<()>>,
    _lock: FolderLock,
}

impl fmt::Debug for SledStore {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("SledStore").field("marks", &*self.shared.read()).finish_non_exhaustive()
    }
}

/// What readers and the writer share.
pub(super) struct Shared {
    db: sled::Db,
    marks: RwLock<Marks>,
    failure: OnceLock<String>,
}

/// First and last of the feed. Whoever holds the lock on them sees one point in time.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Marks {
    head: Seq,
    floor: Seq,
}

impl Shared {
    fn read(&self) -> RwLockReadGuard<'_, Marks> {
        self.marks.read().unwrap_or_else(PoisonError::into_inner)
    }

    fn write(&self) -> RwLockWriteGuard<'_, Marks> {
        self.marks.write().unwrap_or_else(PoisonError::into_inner)
    }

    /// Refuses everything after a failed flush.
    fn check_sound(&self) -> Result<(), StoreError> {
        match self.failure.get() {
            None => Ok(()),
            Some(why) => Err(StoreError::Unavailable(format!("{why}; open it again"))),
        }
    }
}

impl SledStore {
    /// Opens the store in `folder`, which is made if it is not there.
    ///
    /// # Errors
    /// `Locked` if another process holds it, `Corrupt` if it is damaged or of another format,
    /// `Unavailable` if the folder cannot be used.
    pub fn open(folder: &Path, options: SledOptions) -> Result<Self, StoreError> {
        Self::open_on(folder, options, |folder| Ok(Box::new(DbFile::open(folder)?)))
    }

    fn open_on(
        folder: &Path,
        options: SledOptions,
        disk: impl FnOnce(&Path) -> std::io::Result<Box<dyn Disk>>,
    ) -> Result<Self, StoreError> {
        fs::create_dir_all(folder).map_err(|error| unavailable(folder, &error))?;
        let lock = FolderLock::take(folder)?;
        let config = sled::Config::new()
            .path(folder)
            .cache_capacity(options.cache_bytes)
            .segment_size(SEGMENT_BYTES)
            .flush_every_ms(None);
        let db = open_engine(&config)?;
        let mut disk = disk(folder).map_err(|error| unavailable(folder, &error))?;
        let marks = guarded(|| read_marks(&db, &mut *disk))?;
        let shared = Arc::new(Shared { db, marks: RwLock::new(marks), failure: OnceLock::new() });
        let (jobs, queue) = mpsc::channel();
        let writer = Writer::new(Arc::clone(&shared), disk, options.free_floor_bytes);
        let writer = thread::Builder::new()
            .name("store-writer".to_owned())
            .spawn(move || writer.run(&queue))
            .map_err(|error| unavailable(folder, &error))?;
        Ok(Self { shared, jobs: Some(jobs), writer: Some(writer), _lock: lock })
    }

    fn send<T>(
        &self,
        job: impl FnOnce(mpsc::SyncSender<Result<T, StoreError>>) -> Job,
    ) -> Result<T, StoreError> {
        self.shared.check_sound()?;
        let (reply, answer) = mpsc::sync_channel(1);
        let gone = || StoreError::Unavailable("the writer has stopped; open it again".to_owned());
        self.jobs.as_ref().ok_or_else(gone)?.send(job(reply)).map_err(|_| gone())?;
        let lost = |_| StoreError::Unknown("the writer stopped before it answered".to_owned());
        answer.recv().map_err(lost)?
    }

    fn reading<T>(
        &self,
        read: impl FnOnce(&sled::Db, Marks) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        let marks = self.shared.read();
        // Checked under the lock: the writer notes a failure before it lets go of it.
        self.shared.check_sound()?;
        guarded(|| read(&self.shared.db, *marks))
    }
}

impl Drop for SledStore {
    fn drop(&mut self) {
        self.jobs = None;
        if let Some(writer) = self.writer.take() {
            // A writer that panicked has nothing left to close.
            let _ = writer.join();
        }
    }
}

impl Store for SledStore {
    fn commit(&self, writes: Vec<Write>) -> Result<Seq, StoreError> {
        check(&writes)?;
        self.send(|reply| Job::Commit { writes, reply })
    }

    fn get(&self, tree: Tree, key: &[u8]) -> Result<Option<Row>, StoreError> {
        self.reading(|db, _| read_one(db, &record::row_key(tree, key)))
    }

    fn scan(
        &self,
        tree: Tree,
        prefix: &[u8],
        after: Option<&[u8]>,
        limit: usize,
    ) -> Result<Vec<Row>, StoreError> {
        let prefix_key = record::row_key(tree, prefix);
        let after = after.map(|key| record::row_key(tree, key));
        let from = after.as_ref().filter(|after| **after > prefix_key).unwrap_or(&prefix_key);
        self.reading(|db, _| {
            let mut rows = Vec::new();
            for pair in db.range(from.as_slice()..) {
                let (key, record) = pair.map_err(|error| engine_error(&error))?;
                if rows.len() == limit || !key.starts_with(&prefix_key) {
                    break;
                }
                if after.as_deref() != Some(&*key) {
                    rows.push(record::read_row(&key, &record)?);
                }
            }
            Ok(rows)
        })
    }

    fn changes(&self, since: Seq, limit: usize) -> Result<Vec<Commit>, StoreError> {
        self.reading(|db, marks| {
            if since < marks.floor {
                return Err(StoreError::Trimmed { floor: marks.floor });
            }
            let last = marks.head.min(since.saturating_add(limit as u64));
            if since >= last {
                return Ok(Vec::new());
            }
            read_commits(db, since, last)
        })
    }

    fn trim(&self, upto: Seq) -> Result<(), StoreError> {
        self.send(|reply| Job::Trim { upto, reply })
    }

    fn head(&self) -> Result<Seq, StoreError> {
        self.reading(|_, marks| Ok(marks.head))
    }
}

/// Runs what calls into sled, which answers some damage with a panic.
fn guarded<T>(call: impl FnOnce() -> Result<T, StoreError>) -> Result<T, StoreError> {
    catch_unwind(AssertUnwindSafe(call)).unwrap_or_else(|panic| {
        let text = panic.downcast_ref::<String>().map(String::as_str);
        let text = text.or_else(|| panic.downcast_ref::<&str>().copied()).unwrap_or("no reason");
        Err(StoreError::Corrupt(format!("the engine gave up: {text}")))
    })
}

/// Opens sled. A store that this process dropped a moment ago may still hold sled's own lock: its
/// threads let go of it in their own time. Nobody else can, since the folder's lock is ours.
fn open_engine(config: &sled::Config) -> Result<sled::Db, StoreError> {
    for _ in 0..LOCK_TRIES {
        match guarded(|| config.open().map_err(|error| engine_error(&error))) {
            Err(StoreError::Unavailable(why)) if why.contains("could not acquire lock") => {
                thread::sleep(LOCK_PAUSE);
            }
            opened => return opened,
        }
    }
    guarded(|| config.open().map_err(|error| engine_error(&error)))
}

fn engine_error(error: &sled::Error) -> StoreError {
    match error {
        sled::Error::Io(io) => StoreError::Unavailable(io.to_string()),
        sled::Error::Corruption { .. }
        | sled::Error::ReportableBug(_)
        | sled::Error::CollectionNotFound(_)
        | sled::Error::Unsupported(_) => StoreError::Corrupt(error.to_string()),
    }
}

fn read_one(db: &sled::Db, full_key: &[u8]) -> Result<Option<Row>, StoreError> {
    let record = db.get(full_key).map_err(|error| engine_error(&error))?;
    record.map(|record| record::read_row(full_key, &record)).transpose()
}

/// Reads the marks of a store, or writes those of a new one.
fn read_marks(db: &sled::Db, disk: &mut dyn Disk) -> Result<Marks, StoreError> {
    let number = |key: &[u8]| {
        let record = db.get(key).map_err(|error| engine_error(&error))?;
        record.map(|record| record::read_number(key, &record)).transpose()
    };
    let noted = disk.noted()?;
    match (number(record::HEAD)?, number(record::FLOOR)?) {
        (Some(head), Some(floor)) if floor <= head && noted <= head => Ok(Marks { head, floor }),
        (Some(head), _) if head < noted => Err(StoreError::Corrupt(format!(
            "it ends at commit {head}, but commit {noted} was acknowledged"
        ))),
        (None, None) if db.is_empty() && noted == 0 => {
            let mut batch = sled::Batch::default();
            for key in [record::HEAD, record::FLOOR] {
                batch.insert(key, record::number_record(key, 0));
            }
            db.apply_batch(batch).map_err(|error| engine_error(&error))?;
            db.flush().map_err(|error| engine_error(&error))?;
            disk.sync().map_err(|error| StoreError::Unavailable(error.to_string()))?;
            Ok(Marks::default())
        }
        _ => Err(StoreError::Corrupt("the number of the last commit is missing".to_owned())),
    }
}

/// The commits after `since` up to `last`; every one of them must be there.
fn read_commits(db: &sled::Db, since: Seq, last: Seq) -> Result<Vec<Commit>, StoreError> {
    let missing = |seq| StoreError::Corrupt(format!("commit {seq} is missing from the feed"));
    let mut commits: Vec<Commit> = Vec::new();
    for pair in db.range(record::log_key(since + 1, 0).as_slice()..record::LOG_END) {
        let (key, record) = pair.map_err(|error| engine_error(&error))?;
        let (seq, change) = record::read_change(&key, &record)?;
        if seq > last {
            break;
        }
        let expected = since + 1 + commits.len() as u64;
        match commits.last_mut() {
            Some(commit) if commit.seq == seq => commit.changes.push(change),
            _ if seq == expected => commits.push(Commit { seq, changes: vec![change] }),
            _ => return Err(missing(expected)),
        }
        let changes = commits.last().map_or(0, |commit| commit.changes.len());
        if record::log_index(&key) != changes.checked_sub(1) {
            return Err(missing(seq));
        }
    }
    let end = since + commits.len() as u64;
    if end == last { Ok(commits) } else { Err(missing(end + 1)) }
}
