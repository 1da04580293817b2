//! The engine on disk: sled, one tree, one writer.
//!
//! Why so: sled 0.34 promises less than it says. Its flush is made durable here by a sync of its
//! file; its scans are no snapshots, so a lock stands between readers and the writer; damage can
//! make it panic, so each call is guarded; after a failed flush it shows what the disk lacks, so
//! nothing is served any more until the store is opened anew; when it opens a damaged file it
//! destroys what stands behind the damage, so its file is looked at first, without it. Nothing is
//! ever deleted or reset because it is damaged.
//!
//! ```text
//! folder/holder        locked by the process that holds the store, and names it
//! folder/acknowledged  a record: the last commit that was acknowledged
//! folder/engine        name of the folder with the engine's files; not there: they stand here
//! folder/db conf snap.* blobs/     the engine's files
//! ```

use std::fmt;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::{Arc, PoisonError, RwLock};
use std::time::Duration;

use crate::api::{
    Commit, Condition, MAX_KEY, MAX_VALUE, Row, Seq, Store, StoreError, Tree, Write, check,
};

mod audit;
mod disk;
mod image;
mod live;
mod log;
mod rebuild;
mod still;
#[cfg(test)]
mod tests;
mod writer;

#[cfg(feature = "broken")]
pub use disk::Broken;
use disk::{DbFile, Disk, FolderLock, Taken, free_bytes, unavailable};
use live::Live;
use rebuild::engine_folder;
pub use rebuild::{Compaction, Repair};
use still::Still;

/// Size of sled's segments. A page that takes more than a quarter of one is written to a file of
/// its own, which no sync reaches and which is deleted without waiting for one. A page holds up
/// to 17 records, 20 while two are merged: so a record may have a 20th of that quarter.
const SEGMENT_BYTES: usize = 4 * 1024 * 1024;
const _: () = assert!(20 * (2 * MAX_KEY + MAX_VALUE + 64) < SEGMENT_BYTES / 4);

/// Free bytes without which sled is not even opened: opening fills up a segment and writes its
/// snapshot.
const OPENING_BYTES: u64 = 4 * SEGMENT_BYTES as u64;

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
///
/// Where it cannot be written — no free space, a read-only folder, damage — it is read once, whole,
/// into memory and served from there, see [`Condition::ReadOnly`]. After a full disk it goes back
/// to work by itself; otherwise it must be opened again.
pub struct SledStore {
    folder: PathBuf,
    options: SledOptions,
    engine: RwLock<Engine>,
    _lock: FolderLock,
}

#[derive(Clone)]
enum Engine {
    Live(Arc<Live>),
    Still(Arc<Still>),
}

impl Engine {
    fn store(&self) -> &dyn Store {
        match self {
            Self::Live(live) => &**live,
            Self::Still(still) => &**still,
        }
    }
}

impl fmt::Debug for SledStore {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("SledStore").field("folder", &self.folder).finish_non_exhaustive()
    }
}

impl SledStore {
    /// Opens the store in `folder`, which is made if it is not there.
    ///
    /// A damaged store opens, read-only: [`Store::condition`] tells where the damage is.
    ///
    /// # Errors
    /// `Locked` if another process holds it, `Full` if there is no space for a new one,
    /// `Unavailable` if the folder cannot be used.
    pub fn open(folder: &Path, options: SledOptions) -> Result<Self, StoreError> {
        Self::open_on(folder, options, |engine| Ok(Box::new(DbFile::open(folder, engine)?)))
    }

    /// Opens the store in `folder` for reading only; `why` is what every write is told.
    ///
    /// # Errors
    /// `Locked` if another process holds it, `why` if there is nothing to read, `Unavailable` if
    /// the folder cannot be used.
    pub fn open_to_read(
        folder: &Path,
        options: SledOptions,
        why: StoreError,
    ) -> Result<Self, StoreError> {
        let (Taken::Lock(lock) | Taken::ReadOnly(lock, _)) = FolderLock::take(folder)?;
        let engine = RwLock::new(Engine::Still(Arc::new(Still::open(folder, why)?)));
        Ok(Self { folder: folder.to_owned(), options, engine, _lock: lock })
    }

    /// Opens a store that breaks a promise: for tests that must see it broken.
    ///
    /// # Errors
    /// As [`SledStore::open`].
    #[cfg(feature = "broken")]
    pub fn open_broken(
        folder: &Path,
        options: SledOptions,
        broken: Broken,
    ) -> Result<Self, StoreError> {
        Self::open_on(folder, options, |engine| {
            Ok(Box::new(disk::BrokenDisk { real: DbFile::open(folder, engine)?, broken }))
        })
    }

    fn open_on(
        folder: &Path,
        options: SledOptions,
        disk: impl FnOnce(&Path) -> std::io::Result<Box<dyn Disk>>,
    ) -> Result<Self, StoreError> {
        if let Err(error) = fs::create_dir_all(folder) {
            return Err(unavailable(folder, &error));
        }
        let (engine, lock) = match FolderLock::take(folder)? {
            Taken::Lock(lock) => (open_engine(folder, options, disk)?, lock),
            Taken::ReadOnly(lock, why) => {
                let why = StoreError::Unavailable(format!("only reading is possible: {why}"));
                (Engine::Still(Arc::new(Still::open(folder, why)?)), lock)
            }
        };
        let folder = folder.to_owned();
        Ok(Self { folder, options, engine: RwLock::new(engine), _lock: lock })
    }

    // An engine is replaced in one step, so a poisoned lock guards a whole one.
    fn engine(&self) -> Engine {
        self.engine.read().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Goes back to work if only space was lacking, and there is some now.
    fn revive(&self) -> Result<(), StoreError> {
        let Engine::Still(still) = self.engine() else { return Ok(()) };
        let StoreError::Full { .. } = still.why() else { return Ok(()) };
        let mut engine = self.engine.write().unwrap_or_else(PoisonError::into_inner);
        if !matches!(&*engine, Engine::Still(now) if Arc::ptr_eq(now, &still)) {
            return Ok(());
        }
        let folder = &self.folder;
        let disk = |engine: &Path| -> std::io::Result<Box<dyn Disk>> {
            Ok(Box::new(DbFile::open(folder, engine)?))
        };
        *engine = open_engine(folder, self.options, disk)?;
        Ok(())
    }
}

/// Opens the engine of a folder, or, where that is not possible, an image of what it holds.
fn open_engine(
    folder: &Path,
    options: SledOptions,
    disk: impl FnOnce(&Path) -> std::io::Result<Box<dyn Disk>>,
) -> Result<Engine, StoreError> {
    let still = |why| Ok(Engine::Still(Arc::new(Still::open(folder, why)?)));
    let sound = engine_folder(folder).and_then(|engine| {
        let noted = image::read_note(folder)?;
        Ok((engine, noted))
    });
    let (engine, noted) = match sound {
        Ok(sound) => sound,
        Err(why @ StoreError::Corrupt(_)) => return still(why),
        Err(error) => return Err(error),
    };
    let free = free_bytes(folder).map_err(|error| unavailable(folder, &error))?;
    if free < OPENING_BYTES {
        // It could be opened with less than it takes to write.
        let floor_bytes = options.free_floor_bytes.max(OPENING_BYTES);
        return still(StoreError::Full { free_bytes: free, floor_bytes });
    }
    let opened = image::check_tail(&engine, noted)
        .and_then(|()| Live::open(&engine, options, disk, noted.unwrap_or(0)));
    match opened {
        Ok(live) => Ok(Engine::Live(Arc::new(live))),
        Err(why @ StoreError::Corrupt(_)) => still(why),
        Err(error) => Err(error),
    }
}

impl Store for SledStore {
    fn commit(&self, writes: Vec<Write>) -> Result<Seq, StoreError> {
        check(&writes)?;
        self.revive()?;
        self.engine().store().commit(writes)
    }

    fn get(&self, tree: Tree, key: &[u8]) -> Result<Option<Row>, StoreError> {
        self.engine().store().get(tree, key)
    }

    fn scan(
        &self,
        tree: Tree,
        prefix: &[u8],
        after: Option<&[u8]>,
        limit: usize,
    ) -> Result<Vec<Row>, StoreError> {
        self.engine().store().scan(tree, prefix, after, limit)
    }

    fn changes(&self, since: Seq, limit: usize) -> Result<Vec<Commit>, StoreError> {
        self.engine().store().changes(since, limit)
    }

    fn trim(&self, upto: Seq) -> Result<(), StoreError> {
        self.revive()?;
        self.engine().store().trim(upto)
    }

    fn head(&self) -> Result<Seq, StoreError> {
        self.engine().store().head()
    }

    fn wait_past(&self, seq: Seq, timeout: Duration) -> Result<Seq, StoreError> {
        self.engine().store().wait_past(seq, timeout)
    }

    fn condition(&self) -> Condition {
        match self.revive() {
            Ok(()) => self.engine().store().condition(),
            Err(error) => Condition::Failed(error),
        }
    }
}
