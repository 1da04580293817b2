//! The folder under the engine: who holds it, what is synced, how much space is left.

use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{self, Read, Seek, Write};
use std::os::unix::fs::FileExt;
use std::path::{Path, PathBuf};

use crate::api::{Seq, StoreError};
use crate::record;

/// What the writer asks of the disk; the tests have one that fails.
pub(super) trait Disk: Send {
    /// Lets the engine write what it holds, and tells the device to flush it.
    fn flush(&mut self, db: &sled::Db) -> io::Result<()>;
    /// Bytes that are free for this process.
    fn free_bytes(&self) -> io::Result<u64>;
    /// Bytes of the engine's file.
    fn used_bytes(&self) -> io::Result<u64>;
    /// Notes a commit that is on the disk.
    fn note(&mut self, head: Seq) -> io::Result<()>;
}

/// The real one. sled 0.34 flushes with `sync_file_range`, which leaves the drive's cache and the
/// file's size behind: so its file is synced once more.
///
/// Where its file was cut or its end damaged, sled goes on from what is left as if no more had
/// ever been written. So the last commit is noted in a file beside it, after the sync and without
/// one of its own: the note may be behind what is on the disk, never ahead.
#[derive(Debug)]
pub(super) struct DbFile {
    folder: PathBuf,
    db: File,
    note: File,
}

pub(super) const NOTE: &str = "acknowledged";

impl DbFile {
    /// Syncs everything that opening an engine may have made in its folder and in the store's.
    pub(super) fn open(folder: &Path, engine: &Path) -> io::Result<Self> {
        let mut options = OpenOptions::new();
        options.read(true).write(true).create(true).truncate(false);
        let note = options.open(folder.join(NOTE))?;
        if note.metadata()?.len() == 0 {
            note.write_all_at(&record::number_record(NOTE.as_bytes(), 0), 0)?;
            note.sync_all()?;
        }
        let db = sync_engine(engine)?;
        File::open(folder)?.sync_all()?;
        if let Some(parent) = fs::canonicalize(folder)?.parent() {
            File::open(parent)?.sync_all()?;
        }
        Ok(Self { folder: folder.to_owned(), db, note })
    }
}

/// Syncs the files of an engine; answers the one that it writes to.
pub(super) fn sync_engine(engine: &Path) -> io::Result<File> {
    let db = File::open(engine.join("db"))?;
    db.sync_all()?;
    File::open(engine.join("conf"))?.sync_all()?;
    File::open(engine)?.sync_all()?;
    Ok(db)
}

/// Bytes that are free for this process where `folder` is.
pub(super) fn free_bytes(folder: &Path) -> io::Result<u64> {
    let stat = rustix::fs::statvfs(folder)?;
    Ok(stat.f_bavail.saturating_mul(stat.f_frsize))
}

impl Disk for DbFile {
    fn flush(&mut self, db: &sled::Db) -> io::Result<()> {
        db.flush()?;
        self.db.sync_data()
    }

    fn free_bytes(&self) -> io::Result<u64> {
        free_bytes(&self.folder)
    }

    fn used_bytes(&self) -> io::Result<u64> {
        Ok(self.db.metadata()?.len())
    }

    fn note(&mut self, head: Seq) -> io::Result<()> {
        self.note.write_all_at(&record::number_record(NOTE.as_bytes(), head), 0)
    }
}

/// Which promise a store breaks, for tests that must see it broken.
#[cfg(feature = "broken")]
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Broken {
    /// Commits are acknowledged while the engine still holds them in memory.
    Flush,
    /// Commits are acknowledged while the device may still hold them in its cache.
    Sync,
}

#[cfg(feature = "broken")]
#[derive(Debug)]
pub(super) struct BrokenDisk {
    pub(super) real: DbFile,
    pub(super) broken: Broken,
}

#[cfg(feature = "broken")]
impl Disk for BrokenDisk {
    fn flush(&mut self, db: &sled::Db) -> io::Result<()> {
        if self.broken == Broken::Sync {
            db.flush()?;
        }
        Ok(())
    }

    fn free_bytes(&self) -> io::Result<u64> {
        self.real.free_bytes()
    }

    fn used_bytes(&self) -> io::Result<u64> {
        self.real.used_bytes()
    }

    // Without a note: what is lost shall be found by its absence.
    fn note(&mut self, _: Seq) -> io::Result<()> {
        Ok(())
    }
}

/// A lock on the folder; the system lets go of it when the process ends, however it ends.
#[derive(Debug)]
pub(super) struct FolderLock {
    file: File,
}

impl Drop for FolderLock {
    fn drop(&mut self) {
        // A program that this process is just starting has the open file for a moment, too: without
        // a word it would hold the lock until it has become that program.
        let _ = self.file.unlock();
    }
}

const MOST_HOLDER_BYTES: u64 = 200;

/// What became of asking for the lock.
pub(super) enum Taken {
    /// It is ours, for reading and writing.
    Lock(FolderLock),
    /// It cannot be written, as the text says; nobody else writes to it while this is held.
    ReadOnly(FolderLock, String),
}

impl FolderLock {
    /// Takes the lock and writes down who holds it.
    ///
    /// # Errors
    /// `Locked` with the name of the holder, or `Unavailable`.
    pub(super) fn take(folder: &Path) -> Result<Taken, StoreError> {
        let path = folder.join("holder");
        let mut options = OpenOptions::new();
        options.read(true).write(true).create(true).truncate(false);
        let opened = options.open(&path);
        let (mut file, refused) = match opened {
            Ok(file) => (file, None),
            Err(error) => {
                // A folder that cannot be written can still be read, if there is something in it.
                let file = File::open(&path).map_err(|_| unavailable(&path, &error))?;
                (file, Some(format!("{}: {error}", folder.display())))
            }
        };
        let locked = if refused.is_some() { file.try_lock_shared() } else { file.try_lock() };
        match locked {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                let mut holder = String::new();
                // Who holds it is a courtesy: that it is held is known without it.
                let read = file.take(MOST_HOLDER_BYTES).read_to_string(&mut holder);
                if read.is_err() || holder.trim().is_empty() {
                    "another process".clone_into(&mut holder);
                }
                let folder = folder.display().to_string();
                return Err(StoreError::Locked { folder, holder: holder.trim().to_owned() });
            }
            Err(TryLockError::Error(error)) => return Err(unavailable(&path, &error)),
        }
        if let Some(why) = refused {
            return Ok(Taken::ReadOnly(Self { file }, why));
        }
        let program = std::env::current_exe().ok();
        let program = program.as_deref().and_then(Path::file_name).unwrap_or_default();
        let holder = format!("process {} ({})\n", std::process::id(), program.display());
        let told = file.set_len(0).and_then(|()| file.rewind());
        match told.and_then(|()| file.write_all(holder.as_bytes())) {
            // On a full disk nobody is told, but the lock holds.
            Err(error) if error.kind() != io::ErrorKind::StorageFull => {
                Err(unavailable(&path, &error))
            }
            Ok(()) | Err(_) => Ok(Taken::Lock(Self { file })),
        }
    }
}

pub(super) fn unavailable(path: &Path, error: &io::Error) -> StoreError {
    StoreError::Unavailable(format!("{}: {error}", path.display()))
}
