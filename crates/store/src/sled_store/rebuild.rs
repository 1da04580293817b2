//! A new engine beside the old one, and the step from the one to the other.
//!
//! The new engine is written into a folder of its own, synced and looked through; then one rename
//! of the file that names the engine makes it count. Until then the old one counts, whole.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::{self, Read};
use std::os::unix::fs::FileExt;
use std::path::{Path, PathBuf};

use super::audit::audit;
use super::disk::{DbFile, Disk, FolderLock, NOTE, Taken, free_bytes, sync_engine, unavailable};
use super::image::{Image, check_tail, read_note};
use super::live::{Marks, engine_error, guarded, open_engine, stored_marks};
use super::{Engine, SledOptions, SledStore};
use crate::api::{Seq, StoreError};
use crate::backup::{self, BackupError, Summary};
use crate::memory::State;
use crate::record::{self, Keyed, Place, Tally};

/// Names the folder of the engine; without it the engine stands in the store's own folder.
const NAME: &str = "engine";
const PREFIX: &str = "engine-";
const UNFINISHED: &str = "unfinished";
/// Records of one batch while an engine is filled.
const BATCH: usize = 1_000;

/// What a compaction did.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Compaction {
    /// Bytes of the engine's file before.
    pub before_bytes: u64,
    /// Bytes of the fresh one.
    pub after_bytes: u64,
}

impl Compaction {
    /// Whether the store stayed as it was, because the fresh file was not smaller.
    #[must_use]
    pub fn left_as_it_was(&self) -> bool {
        self.after_bytes >= self.before_bytes
    }
}

/// What could be put together again of a damaged store.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Repair {
    /// The damaged files; they are kept.
    pub kept: PathBuf,
    /// Commits of which a part is lost for good; empty if nothing is.
    pub lost: Vec<Seq>,
    /// Whether rows that the feed has forgotten may be lost too.
    pub unsure: bool,
    /// Whether nothing at all could be read: the store begins anew.
    pub empty: bool,
}

impl SledStore {
    /// Whether there is a store in a folder, sound or not; in one that does not exist there is none.
    ///
    /// # Errors
    /// `Unavailable` if the folder cannot be read.
    pub fn is_in(folder: &Path) -> Result<bool, StoreError> {
        if !folder.is_dir() {
            return Ok(false);
        }
        let engines = newest(folder).map_err(|error| unavailable(folder, &error))?;
        let there = |file: &str| folder.join(file).exists();
        Ok(engines.is_some() || there(NAME) || there("db") || in_use(folder))
    }

    /// Whether there is a store in a folder whose note of the last acknowledged commit is missing or
    /// empty: then nothing shows whether the end of its file was cut off.
    ///
    /// # Errors
    /// `Unavailable` if the folder cannot be read.
    pub fn lacks_note(folder: &Path) -> Result<bool, StoreError> {
        Ok(Self::is_in(folder)? && matches!(read_note(folder), Ok(None)))
    }

    /// Copies what counts into a fresh engine and removes the old one, or the fresh one if that is
    /// not smaller. Nobody may hold the store.
    ///
    /// # Errors
    /// `Locked`; `Full` if the copy has no space; `Corrupt` if the store is damaged, and then it
    /// stays as it is; `Unavailable`.
    pub fn compact(folder: &Path, options: SledOptions) -> Result<Compaction, StoreError> {
        let (_lock, noted, old) = take(folder)?;
        check_tail(&old, noted)?;
        let failed = |error: io::Error| unavailable(folder, &error);
        let before_bytes = fs::metadata(old.join("db")).map_err(failed)?.len();
        leave_floor(folder, options, before_bytes)?;
        let source = open_engine(&old, options.cache_bytes)?;
        let marks = guarded(|| {
            let marks = stored_marks(&source)?.unwrap_or_default();
            audit(&source, marks)?;
            Ok(marks)
        })?;
        let records = source.iter().map(|pair| {
            let (key, record) = pair.map_err(|error| engine_error(&error))?;
            Ok((key.to_vec(), record.to_vec()))
        });
        let new = build(folder, options, marks, records)?;
        drop(source);
        let after_bytes = fs::metadata(new.join("db")).map_err(failed)?.len();
        let done = Compaction { before_bytes, after_bytes };
        if done.left_as_it_was() {
            fs::remove_dir_all(&new).map_err(failed)?;
        } else {
            publish(folder, &new)?;
            remove_engine(folder, &old).map_err(failed)?;
        }
        Ok(done)
    }

    /// Builds a new store from a backup in `folder`, which must be empty or not there. The new
    /// store carries the mark of [`backup::restored`].
    ///
    /// # Errors
    /// [`BackupError`] if the backup is damaged or the folder cannot be used; nothing counts then.
    pub fn restore(
        folder: &Path,
        options: SledOptions,
        from: &mut dyn Read,
    ) -> Result<Summary, BackupError> {
        let failed = |error: io::Error| unavailable(folder, &error);
        fs::create_dir_all(folder).map_err(failed)?;
        if fs::read_dir(folder).map_err(failed)?.next().is_some() {
            let text = format!("{} is not empty; name an empty folder", folder.display());
            return Err(StoreError::Unavailable(text).into());
        }
        let (mut state, summary) = backup::read(from)?;
        backup::mark_restored(&mut state, 0)?;
        let (_lock, ..) = take(folder)?;
        leave_floor(folder, options, summary.bytes)?;
        fill(folder, options, &state)?;
        Ok(summary)
    }

    /// Puts a damaged store together again from what can be read of it. The damaged files are
    /// kept. The store then carries the mark of [`backup::restored`]. `None`: nothing is wrong with
    /// it, and it stays as it is.
    ///
    /// # Errors
    /// `Locked`, `Full` or `Unavailable`; `Corrupt` if a restore did not end: it must be done anew.
    /// The store then is as it was.
    pub fn repair(folder: &Path, options: SledOptions) -> Result<Option<Repair>, StoreError> {
        let Taken::Lock(_lock) = FolderLock::take(folder)? else {
            return Err(StoreError::Unavailable(format!("{} is read-only", folder.display())));
        };
        let noted = read_note(folder).ok().flatten().unwrap_or(0);
        let kept = match engine_folder(folder) {
            // Nothing of a restore that did not end is a store yet.
            Err(error) if !in_use(folder) && finished(folder).ok().flatten().is_none() => {
                return Err(error);
            }
            Ok(kept) if kept == folder && !in_use(folder) && !kept.join("db").exists() => {
                let text = format!("{} holds no store; nothing was repaired", folder.display());
                return Err(StoreError::Unavailable(text));
            }
            Ok(_) | Err(_) => likely_engine(folder),
        };
        if is_sound(folder, options) {
            return Ok(None);
        }
        let Image { rows, log, head, floor, lost, unsure, .. } = Image::read(&kept, noted)?;
        let empty = rows.is_empty() && log.is_empty();
        // What was lost leaves a hole in the feed; the feed begins behind it.
        let floor = lost.last().copied().unwrap_or(0).max(floor);
        let log = log.into_iter().filter(|(seq, _)| *seq > floor).collect();
        let mut state = State { rows, log, head, floor };
        backup::mark_restored(&mut state, lost.len())?;
        let size = fs::metadata(kept.join("db")).map_or(0, |meta| meta.len());
        leave_floor(folder, options, size)?;
        fill(folder, options, &state)?;
        Ok(Some(Repair { kept, lost, unsure, empty }))
    }
}

/// Whether a store opens for writing.
fn is_sound(folder: &Path, options: SledOptions) -> bool {
    let disk = |engine: &Path| -> io::Result<Box<dyn Disk>> {
        Ok(Box::new(DbFile::open(folder, engine)?))
    };
    matches!(super::open_engine(folder, options, disk), Ok(Engine::Live(_)))
}

/// The folder of the engine that counts.
///
/// # Errors
/// `Corrupt` if its name cannot be read or a restore did not end, `Unavailable`.
pub(super) fn engine_folder(folder: &Path) -> Result<PathBuf, StoreError> {
    let path = folder.join(NAME);
    let failed = |error: io::Error| unavailable(&path, &error);
    let record = match fs::read(&path) {
        Ok(record) => record,
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            let here = folder.join("db").try_exists().map_err(failed)?;
            let finished = finished(folder).map_err(failed)?;
            let is_behind = match finished {
                Some(number) if here => is_behind(folder, number)?,
                _ => !here,
            };
            if !is_behind || newest(folder).map_err(failed)?.is_none() {
                return Ok(folder.to_owned());
            }
            let text = match finished {
                Some(number) => format!(
                    "its file `{NAME}` is missing, which says that {PREFIX}{number} is the store"
                ),
                None if in_use(folder) => "its file `db` is missing".to_owned(),
                None => "a restore did not end: restore again, into an empty folder".to_owned(),
            };
            return Err(StoreError::Corrupt(format!("{}: {text}", folder.display())));
        }
        Err(error) => return Err(failed(error)),
    };
    let damaged = |_| StoreError::Corrupt(format!("{} is damaged", path.display()));
    let number = record::read_number(NAME.as_bytes(), &record).map_err(damaged)?;
    Ok(folder.join(format!("{PREFIX}{number}")))
}

/// Whether the engine in the folder itself has less than a finished one: one that does not count yet
/// has nothing newer.
fn is_behind(folder: &Path, number: u64) -> Result<bool, StoreError> {
    let head = |engine: &Path| Image::read(engine, 0).map(|image| image.head);
    Ok(head(folder)? < head(&folder.join(format!("{PREFIX}{number}")))?)
}

/// The folder of the engine that counts, or, where its name cannot be read, of the newest one.
pub(super) fn likely_engine(folder: &Path) -> PathBuf {
    engine_folder(folder).unwrap_or_else(|_| {
        let newest = finished(folder).ok().flatten();
        newest.map_or_else(|| folder.to_owned(), |n| folder.join(format!("{PREFIX}{n}")))
    })
}

/// Whether a store was ever opened in a folder.
pub(super) fn in_use(folder: &Path) -> bool {
    !matches!(read_note(folder), Ok(None))
}

/// The greatest number of an engine in a folder, finished or not.
fn newest(folder: &Path) -> io::Result<Option<u64>> {
    greatest(folder, |name| name.split('.').next().unwrap_or(name).parse().ok())
}

/// The greatest number of an engine in a folder that was written to its end.
fn finished(folder: &Path) -> io::Result<Option<u64>> {
    greatest(folder, |name| name.parse().ok())
}

fn greatest(folder: &Path, number: impl Fn(&str) -> Option<u64>) -> io::Result<Option<u64>> {
    let mut greatest = None;
    for entry in fs::read_dir(folder)? {
        let name = entry?.file_name();
        let name = name.to_str().and_then(|name| name.strip_prefix(PREFIX));
        greatest = greatest.max(name.and_then(&number));
    }
    Ok(greatest)
}

fn take(folder: &Path) -> Result<(FolderLock, Option<Seq>, PathBuf), StoreError> {
    match FolderLock::take(folder)? {
        Taken::Lock(lock) => Ok((lock, read_note(folder)?, engine_folder(folder)?)),
        Taken::ReadOnly(_, why) => Err(StoreError::Unavailable(why)),
    }
}

/// Refuses to fill a disk up to the floor.
fn leave_floor(folder: &Path, options: SledOptions, bytes: u64) -> Result<(), StoreError> {
    let free_bytes = free_bytes(folder).map_err(|error| unavailable(folder, &error))?;
    let floor_bytes = options.free_floor_bytes.saturating_add(bytes);
    if free_bytes < floor_bytes {
        Err(StoreError::Full { free_bytes, floor_bytes })
    } else {
        Ok(())
    }
}

/// Builds a new engine from a state and lets it count.
fn fill(folder: &Path, options: SledOptions, state: &State) -> Result<(), StoreError> {
    let mut places = BTreeMap::new();
    let mut records = Vec::new();
    for (&seq, changes) in &state.log {
        let of = u16::try_from(changes.len());
        let of =
            of.map_err(|_| record::damaged(&record::log_key(seq, 0), "has too many writes"))?;
        for (index, change) in (0..).zip(changes) {
            places.insert((change.tree, &change.key), Place { seq, index, of });
        }
        records.extend(record::feed_records(seq, of, changes)?);
    }
    let rows = state.rows.iter().map(|((tree, key), (seq, value))| {
        // The place of a row whose feed was trimmed is told by nobody, and needed by nobody.
        let unknown = Place { seq: *seq, index: 0, of: 0 };
        let place = places.get(&(*tree, key)).filter(|place| place.seq == *seq);
        let key = record::row_key(*tree, key);
        let record = record::row_record(&key, *place.unwrap_or(&unknown), value);
        (key, record)
    });
    let mut tally = Tally::default();
    for ((tree, key), (seq, _)) in &state.rows {
        tally.add(&record::row_key(*tree, key), *seq);
    }
    let marks = Marks { head: state.head, floor: state.floor, tally };
    let heads = [
        (record::HEAD.to_vec(), record::head_record(state.head, tally)),
        (record::FLOOR.to_vec(), record::number_record(record::FLOOR, state.floor)),
    ];
    let all = rows.chain(records).chain(heads).map(Ok);
    let new = build(folder, options, marks, all)?;
    let failed = |error: io::Error| unavailable(folder, &error);
    publish(folder, &new)?;
    let note = File::options().write(true).create(true).truncate(true).open(folder.join(NOTE));
    let note = note.map_err(failed)?;
    let record = record::number_record(NOTE.as_bytes(), state.head);
    note.write_all_at(&record, 0).and_then(|()| note.sync_all()).map_err(failed)
}

/// Writes a new engine that does not count yet; answers its folder.
fn build(
    folder: &Path,
    options: SledOptions,
    marks: Marks,
    records: impl Iterator<Item = Result<Keyed, StoreError>>,
) -> Result<PathBuf, StoreError> {
    let failed = |error: io::Error| unavailable(folder, &error);
    for entry in fs::read_dir(folder).map_err(failed)? {
        let path = entry.map_err(failed)?.path();
        if path.extension().is_some_and(|extension| extension == UNFINISHED) {
            fs::remove_dir_all(&path).map_err(failed)?;
        }
    }
    let number = newest(folder).map_err(failed)?.unwrap_or(0) + 1;
    let unfinished = folder.join(format!("{PREFIX}{number}.{UNFINISHED}"));
    fs::create_dir(&unfinished).map_err(failed)?;
    let db = open_engine(&unfinished, options.cache_bytes)?;
    let mut records = records.peekable();
    guarded(|| {
        while records.peek().is_some() {
            let mut batch = sled::Batch::default();
            for pair in records.by_ref().take(BATCH) {
                let (key, record) = pair?;
                batch.insert(key, record);
            }
            db.apply_batch(batch).map_err(|error| engine_error(&error))?;
        }
        db.flush().map_err(|error| engine_error(&error))?;
        audit(&db, marks)
    })?;
    drop(db);
    sync_engine(&unfinished).map_err(failed)?;
    let finished = folder.join(format!("{PREFIX}{number}"));
    fs::rename(&unfinished, &finished).map_err(failed)?;
    sync_folder(folder).map_err(failed)?;
    Ok(finished)
}

/// The one step that makes a new engine count.
fn publish(folder: &Path, engine: &Path) -> Result<(), StoreError> {
    let failed = |error: io::Error| unavailable(folder, &error);
    let name = engine.file_name().and_then(|name| name.to_str()).unwrap_or_default();
    let number = name.strip_prefix(PREFIX).and_then(|number| number.parse().ok()).unwrap_or(0);
    let new = folder.join("engine.new");
    let file = File::create(&new).map_err(failed)?;
    let record = record::number_record(NAME.as_bytes(), number);
    file.write_all_at(&record, 0).and_then(|()| file.sync_all()).map_err(failed)?;
    fs::rename(&new, folder.join(NAME)).map_err(failed)?;
    sync_folder(folder).map_err(failed)
}

fn sync_folder(folder: &Path) -> io::Result<()> {
    File::open(folder)?.sync_all()
}

/// Removes an engine that counts no more.
fn remove_engine(folder: &Path, engine: &Path) -> io::Result<()> {
    if engine != folder {
        return fs::remove_dir_all(engine);
    }
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        match path.file_name().and_then(|name| name.to_str()) {
            Some("blobs") => fs::remove_dir_all(&path)?,
            Some(name) if name == "db" || name == "conf" || name.starts_with("snap.") => {
                fs::remove_file(&path)?;
            }
            _ => {}
        }
    }
    Ok(())
}
