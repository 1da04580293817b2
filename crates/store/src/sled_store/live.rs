//! The engine in full service: sled, one writer, readers beside it.

use std::fs;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use std::sync::mpsc::{self, Sender};
use std::sync::{Arc, OnceLock, PoisonError, RwLock, RwLockReadGuard, RwLockWriteGuard};
use std::thread::{self, JoinHandle};
use std::time::Duration;

use super::audit::audit;
use super::disk::{Disk, unavailable};
use super::log;
use super::writer::{Job, Writer};
use super::{SEGMENT_BYTES, SledOptions};
use crate::api::{Commit, Condition, Row, Seq, Store, StoreError, Tree, Write};
use crate::memory::Bell;
use crate::record::{self, Place, Tally};

const LOCK_TRIES: u32 = 200;
const LOCK_PAUSE: Duration = Duration::from_millis(10);

/// An open engine.
pub(super) struct Live {
    pub(super) shared: Arc<Shared>,
    jobs: Option<Sender<Job>>,
    writer: Option<JoinHandle<()>>,
}

/// What readers and the writer share.
pub(super) struct Shared {
    pub(super) db: sled::Db,
    marks: RwLock<Marks>,
    pub(super) bell: Bell,
    /// Why nothing can be done any more.
    pub(super) failure: OnceLock<String>,
    /// The first damage that was met: from then on nothing is written.
    damage: OnceLock<String>,
}

/// First and last of the feed. Whoever holds the lock on them sees one point in time.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Marks {
    pub(super) head: Seq,
    pub(super) floor: Seq,
    pub(super) tally: Tally,
}

impl Shared {
    pub(super) fn read(&self) -> RwLockReadGuard<'_, Marks> {
        self.marks.read().unwrap_or_else(PoisonError::into_inner)
    }

    pub(super) fn write(&self) -> RwLockWriteGuard<'_, Marks> {
        self.marks.write().unwrap_or_else(PoisonError::into_inner)
    }

    /// Refuses everything after a failed flush.
    fn check_sound(&self) -> Result<(), StoreError> {
        match self.failure.get() {
            None => Ok(()),
            Some(why) => Err(StoreError::Unavailable(format!("{why}; open it again"))),
        }
    }

    /// Refuses writes after a failed flush, and once damage was met.
    pub(super) fn check_writable(&self) -> Result<(), StoreError> {
        self.check_sound()?;
        self.damage.get().map_or(Ok(()), |what| Err(StoreError::Corrupt(what.clone())))
    }

    /// Passes a result on and remembers damage.
    pub(super) fn heed<T>(&self, result: Result<T, StoreError>) -> Result<T, StoreError> {
        if let Err(StoreError::Corrupt(what)) = &result {
            self.damage.get_or_init(|| what.clone());
        }
        result
    }
}

impl Live {
    /// Opens the engine in `engine`, whose last acknowledged commit is `noted`.
    ///
    /// # Errors
    /// `Corrupt` if it is damaged or of another format, `Unavailable` if it cannot be used.
    pub(super) fn open(
        engine: &Path,
        options: SledOptions,
        disk: impl FnOnce(&Path) -> std::io::Result<Box<dyn Disk>>,
        noted: Seq,
    ) -> Result<Self, StoreError> {
        let db = open_engine(engine, options.cache_bytes)?;
        let mut disk = disk(engine).map_err(|error| unavailable(engine, &error))?;
        let marks = guarded(|| {
            let marks = read_marks(&db, &mut *disk, noted)?;
            audit(&db, marks)?;
            Ok(marks)
        })?;
        let shared = Arc::new(Shared {
            db,
            marks: RwLock::new(marks),
            bell: Bell::default(),
            failure: OnceLock::new(),
            damage: OnceLock::new(),
        });
        shared.bell.ring(marks.head);
        let (jobs, queue) = mpsc::channel();
        let writer = Writer::new(Arc::clone(&shared), disk, options.free_floor_bytes);
        let writer = thread::Builder::new()
            .name("store-writer".to_owned())
            .spawn(move || writer.run(&queue))
            .map_err(|error| unavailable(engine, &error))?;
        Ok(Self { shared, jobs: Some(jobs), writer: Some(writer) })
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
        self.shared.heed(guarded(|| read(&self.shared.db, *marks)))
    }
}

impl Drop for Live {
    fn drop(&mut self) {
        self.jobs = None;
        if let Some(writer) = self.writer.take() {
            // A writer that panicked has nothing left to close.
            let _ = writer.join();
        }
    }
}

impl Store for Live {
    fn commit(&self, writes: Vec<Write>) -> Result<Seq, StoreError> {
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

    fn wait_past(&self, seq: Seq, timeout: Duration) -> Result<Seq, StoreError> {
        self.shared.bell.wait_past(seq, timeout);
        self.head()
    }

    fn condition(&self) -> Condition {
        // A commit of nothing writes nothing and is refused as any other.
        match self.commit(Vec::new()) {
            Ok(_) => Condition::Sound,
            Err(error @ (StoreError::Full { .. } | StoreError::Corrupt(_))) => {
                Condition::ReadOnly(error)
            }
            Err(error) => Condition::Failed(error),
        }
    }
}

/// Runs what calls into sled, which answers some damage with a panic.
pub(super) fn guarded<T>(call: impl FnOnce() -> Result<T, StoreError>) -> Result<T, StoreError> {
    catch_unwind(AssertUnwindSafe(call)).unwrap_or_else(|panic| {
        let text = panic.downcast_ref::<String>().map(String::as_str);
        let text = text.or_else(|| panic.downcast_ref::<&str>().copied()).unwrap_or("no reason");
        Err(StoreError::Corrupt(format!("the engine gave up: {text}")))
    })
}

/// Opens sled. A store that this process dropped a moment ago may still hold sled's own lock: its
/// threads let go of it in their own time. Nobody else can, since the folder's lock is ours.
pub(super) fn open_engine(engine: &Path, cache_bytes: u64) -> Result<sled::Db, StoreError> {
    set_unfinished_aside(engine).map_err(|error| unavailable(engine, &error))?;
    let config = sled::Config::new()
        .path(engine)
        .cache_capacity(cache_bytes)
        .segment_size(SEGMENT_BYTES)
        .flush_every_ms(None);
    for _ in 0..LOCK_TRIES {
        match guarded(|| config.open().map_err(|error| engine_error(&error))) {
            Err(StoreError::Unavailable(why)) if why.contains("could not acquire lock") => {
                thread::sleep(LOCK_PAUSE);
            }
            Err(StoreError::Corrupt(why)) => {
                let beside = log::damaged_beside(engine).map_err(|e| unavailable(engine, &e))?;
                let named = beside.map(|path| format!("{} is damaged", path.display()));
                return Err(StoreError::Corrupt(named.unwrap_or(why)));
            }
            opened => return opened,
        }
    }
    guarded(|| config.open().map_err(|error| engine_error(&error)))
}

/// A snapshot that sled did not finish writing would be taken for the newest one.
fn set_unfinished_aside(engine: &Path) -> std::io::Result<()> {
    for entry in fs::read_dir(engine)? {
        let path = entry?.path();
        if path.extension().is_some_and(|extension| extension == "generating") {
            fs::rename(&path, engine.join("unfinished"))?;
        }
    }
    Ok(())
}

pub(super) fn engine_error(error: &sled::Error) -> StoreError {
    match error {
        sled::Error::Io(io) => StoreError::Unavailable(io.to_string()),
        sled::Error::Corruption { .. }
        | sled::Error::ReportableBug(_)
        | sled::Error::CollectionNotFound(_)
        | sled::Error::Unsupported(_) => {
            // What the engine says is for those who know it.
            let text = "the engine cannot make sense of its files";
            StoreError::Corrupt(text.to_owned())
        }
    }
}

pub(super) fn read_one(db: &sled::Db, full_key: &[u8]) -> Result<Option<Row>, StoreError> {
    let record = db.get(full_key).map_err(|error| engine_error(&error))?;
    record.map(|record| record::read_row(full_key, &record)).transpose()
}

/// The commit that wrote a row; `None` if it is not there.
pub(super) fn written_by(db: &sled::Db, full_key: &[u8]) -> Result<Option<Seq>, StoreError> {
    let record = db.get(full_key).map_err(|error| engine_error(&error))?;
    let place = record.map(|record| record::look_at_row(full_key, &record).map(|(_, p)| p.seq));
    place.transpose()
}

/// The marks of a store; `None` if it has none at all.
pub(super) fn stored_marks(db: &sled::Db) -> Result<Option<Marks>, StoreError> {
    let record = |key: &[u8]| db.get(key).map_err(|error| engine_error(&error));
    match (record(record::HEAD)?, record(record::FLOOR)?) {
        (Some(head), Some(floor)) => {
            let (head, tally) = record::read_head(&head)?;
            let floor = record::read_number(record::FLOOR, &floor)?;
            Ok(Some(Marks { head, floor, tally }))
        }
        (None, None) if db.is_empty() => Ok(None),
        _ => Err(StoreError::Corrupt("the number of the last commit is missing".to_owned())),
    }
}

/// Reads the marks of a store, or writes those of a new one.
fn read_marks(db: &sled::Db, disk: &mut dyn Disk, noted: Seq) -> Result<Marks, StoreError> {
    let marks = stored_marks(db)?.unwrap_or_default();
    let head = marks.head;
    if head < noted {
        return Err(StoreError::Corrupt(format!(
            "it ends at commit {head}, but commit {noted} was acknowledged"
        )));
    }
    if marks.floor > head {
        return Err(StoreError::Corrupt("its feed begins after its last commit".to_owned()));
    }
    if db.is_empty() {
        let mut batch = sled::Batch::default();
        batch.insert(record::HEAD, record::head_record(0, Tally::default()));
        batch.insert(record::FLOOR, record::number_record(record::FLOOR, 0));
        db.apply_batch(batch).map_err(|error| engine_error(&error))?;
        disk.flush(db).map_err(|error| StoreError::Unavailable(error.to_string()))?;
    }
    Ok(marks)
}

/// The commits after `since` up to `last`; every one of them must be there.
fn read_commits(db: &sled::Db, since: Seq, last: Seq) -> Result<Vec<Commit>, StoreError> {
    let missing = |seq| StoreError::Corrupt(format!("commit {seq} is missing from the feed"));
    let mut commits: Vec<Commit> = Vec::new();
    // Changes of the commit at hand that are still to come.
    let mut rest = 0_u16;
    for pair in db.range(record::log_key(since + 1, 0).as_slice()..record::LOG_END) {
        let (key, record) = pair.map_err(|error| engine_error(&error))?;
        let changes = record::look_at_changes(&key, &record)?;
        if changes.first().is_none_or(|(place, _)| place.seq > last) {
            break;
        }
        for (Place { seq, index, of }, change) in changes {
            if rest == 0 {
                commits.push(Commit { seq, changes: Vec::with_capacity(usize::from(of)) });
                rest = of;
            }
            let expected = since + commits.len() as u64;
            match commits.last_mut() {
                Some(commit) if seq == expected && usize::from(index) == commit.changes.len() => {
                    commit.changes.push(change.into());
                }
                _ => return Err(missing(expected)),
            }
            rest -= 1;
        }
    }
    let end = since + commits.len() as u64;
    if rest > 0 {
        return Err(missing(end));
    }
    if end == last { Ok(commits) } else { Err(missing(end + 1)) }
}
