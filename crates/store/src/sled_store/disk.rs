//! The folder under the engine: who holds it, what is synced, how much space is left.

use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{self, Read, Seek, Write};
use std::os::unix::fs::FileExt;
use std::path::{Path, PathBuf};

use crate::api::{Seq, StoreError};
use crate::record;

/// What the writer asks of the disk; the tests have one that fails.
pub(super) trait Disk: Send {
    /// Tells the device to flush what the engine wrote.
    fn sync(&mut self) -> io::Result<()>;
    /// Bytes that are free for this process.
    fn free_bytes(&self) -> io::Result<u64>;
    /// Bytes of the engine's file.
    fn used_bytes(&self) -> io::Result<u64>;
    /// The last commit that was noted here as being on the disk.
    fn noted(&self) -> Result<Seq, StoreError>;
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

const NOTE: &str = "acknowledged";

impl DbFile {
    /// Syncs everything that opening an engine may have made in the folder.
    pub(super) fn open(folder: &Path) -> io::Result<Self> {
        let mut options = OpenOptions::new();
        options.read(true).write(true).create(true).truncate(false);
        let note = options.open(folder.join(NOTE))?;
        if note.metadata()?.len() == 0 {
            note.write_all_at(&record::number_record(NOTE.as_bytes(), 0), 0)?;
            note.sync_all()?;
        }
        let db = File::open(folder.join("db"))?;
        db.sync_all()?;
        File::open(folder.join("conf"))?.sync_all()?;
        File::open(folder)?.sync_all()?;
        if let Some(parent) = fs::canonicalize(folder)?.parent() {
            File::open(parent)?.sync_all()?;
        }
        Ok(Self { folder: folder.to_owned(), db, note })
    }
}

impl Disk for DbFile {
    fn sync(&mut self) -> io::Result<()> {
        self.db.sync_all()
    }

    fn free_bytes(&self) -> io::Result<u64> {
        let stat = rustix::fs::statvfs(&self.folder)?;
        Ok(stat.f_bavail.saturating_mul(stat.f_frsize))
    }

    fn used_bytes(&self) -> io::Result<u64> {
        Ok(self.db.metadata()?.len())
    }

    fn noted(&self) -> Result<Seq, StoreError> {
        let mut record = record::number_record(NOTE.as_bytes(), 0);
        let cut = |error| unavailable(&self.folder.join(NOTE), &error);
        self.note.read_exact_at(&mut record, 0).map_err(cut)?;
        record::read_number(NOTE.as_bytes(), &record)
    }

    fn note(&mut self, head: Seq) -> io::Result<()> {
        self.note.write_all_at(&record::number_record(NOTE.as_bytes(), head), 0)
    }
}

/// A lock on the folder; the system lets go of it when the process ends, however it ends.
#[derive(Debug)]
pub(super) struct FolderLock {
    _file: File,
}

const MOST_HOLDER_BYTES: u64 = 200;

impl FolderLock {
    /// Takes the lock and writes down who holds it.
    ///
    /// # Errors
    /// `Locked` with the name of the holder, or `Unavailable`.
    pub(super) fn take(folder: &Path) -> Result<Self, StoreError> {
        let path = folder.join("holder");
        let failed = |error: io::Error| unavailable(&path, &error);
        let mut options = OpenOptions::new();
        options.read(true).write(true).create(true).truncate(false);
        let mut file = options.open(&path).map_err(failed)?;
        match file.try_lock() {
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
            Err(TryLockError::Error(error)) => return Err(failed(error)),
        }
        let program = std::env::current_exe().ok();
        let program = program.as_deref().and_then(Path::file_name).unwrap_or_default();
        let holder = format!("process {} ({})\n", std::process::id(), program.display());
        file.set_len(0).map_err(failed)?;
        file.rewind().map_err(failed)?;
        file.write_all(holder.as_bytes()).map_err(failed)?;
        Ok(Self { _file: file })
    }
}

pub(super) fn unavailable(path: &Path, error: &io::Error) -> StoreError {
    StoreError::Unavailable(format!("{}: {error}", path.display()))
}
