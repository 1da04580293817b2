//! The one writer: takes what waits in the queue as one group, checks it, writes it, syncs it,
//! and only then answers.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, SyncSender};

use super::disk::Disk;
use super::live::{Marks, Shared, engine_error, guarded, written_by};
use crate::api::{MAX_WRITES, Seq, StoreError, Write, check_expectations};
use crate::record::{self, Place};

/// Bytes after which a group takes no further commit.
const GROUP_BYTES: usize = 4 * 1024 * 1024;
/// Removals in one batch of a trim.
const TRIM_BATCH: usize = 10_000;

type Reply<T> = SyncSender<Result<T, StoreError>>;

pub(super) enum Job {
    Commit { writes: Vec<Write>, reply: Reply<Seq> },
    Trim { upto: Seq, reply: Reply<()> },
}

pub(super) struct Writer {
    shared: Arc<Shared>,
    disk: Box<dyn Disk>,
    free_floor_bytes: u64,
}

/// A group of commits on its way to the disk.
struct Group {
    batch: sled::Batch,
    /// The marks after it.
    marks: Marks,
    /// What the group did to each key: the commit that wrote it, or `None` if it was removed.
    overlay: BTreeMap<Vec<u8>, Option<Seq>>,
    outcomes: Vec<(Reply<Seq>, Result<Seq, StoreError>)>,
}

impl Writer {
    pub(super) fn new(shared: Arc<Shared>, disk: Box<dyn Disk>, free_floor_bytes: u64) -> Self {
        Self { shared, disk, free_floor_bytes }
    }

    /// Works until the store is dropped.
    pub(super) fn run(mut self, queue: &Receiver<Job>) {
        let mut next = queue.recv().ok();
        while let Some(job) = next.take() {
            match job {
                Job::Trim { upto, reply } => {
                    // Whoever asked may have stopped waiting.
                    let _ = reply.send(self.trim(upto));
                }
                Job::Commit { writes, reply } => {
                    let mut bytes = size(&writes);
                    let mut group = vec![(writes, reply)];
                    while bytes < GROUP_BYTES {
                        match queue.try_recv() {
                            Ok(Job::Commit { writes, reply }) => {
                                bytes += size(&writes);
                                group.push((writes, reply));
                            }
                            Ok(trim @ Job::Trim { .. }) => {
                                next = Some(trim);
                                break;
                            }
                            Err(_) => break,
                        }
                    }
                    self.commit(group);
                }
            }
            if next.is_none() {
                next = queue.recv().ok();
            }
        }
    }

    fn commit(&mut self, jobs: Vec<(Vec<Write>, Reply<Seq>)>) {
        if let Err(error) = self.check_ready() {
            for (_, reply) in jobs {
                let _ = reply.send(Err(error.clone()));
            }
            return;
        }
        let before = *self.shared.read();
        let mut group = Group {
            batch: sled::Batch::default(),
            marks: before,
            overlay: BTreeMap::new(),
            outcomes: Vec::with_capacity(jobs.len()),
        };
        for (writes, reply) in jobs {
            let prepared = guarded(|| self.prepare(&mut group, &writes));
            group.outcomes.push((reply, self.shared.heed(prepared)));
        }
        let Group { mut batch, marks, outcomes, .. } = group;
        let mut result = Ok(());
        if marks.head > before.head {
            batch.insert(record::HEAD, record::head_record(marks.head, marks.tally));
            result = self.write(batch, marks);
        }
        for (reply, outcome) in outcomes {
            let answer = match (&result, outcome) {
                (Ok(()), outcome) => outcome,
                (Err(why), Ok(_)) => Err(StoreError::Unknown(why.clone())),
                (Err(_), refused) => refused,
            };
            let _ = reply.send(answer);
        }
    }

    /// Adds one commit to the group, or nothing of it; answers the head after it.
    fn prepare(&self, group: &mut Group, writes: &[Write]) -> Result<Seq, StoreError> {
        if writes.is_empty() {
            return Ok(group.marks.head);
        }
        let mut rows = Vec::with_capacity(writes.len());
        for write in writes {
            let key = record::row_key(write.tree, &write.key);
            let written_by = match group.overlay.get(&key) {
                Some(written_by) => *written_by,
                None => written_by(&self.shared.db, &key)?,
            };
            rows.push((key, written_by));
        }
        let mut states = rows.iter().map(|(_, written_by)| *written_by);
        check_expectations(writes, |_| states.next().flatten())?;
        let seq = group.marks.head + 1;
        let of = u16::try_from(writes.len()).map_err(|_| too_many())?;
        for (key, record) in record::feed_records(seq, of, writes)? {
            group.batch.insert(key, record);
        }
        for (index, (write, (key, written_by))) in (0..).zip(writes.iter().zip(rows)) {
            if let Some(old) = written_by {
                group.marks.tally.take(&key, old);
            }
            match &write.value {
                Some(value) => {
                    group.marks.tally.add(&key, seq);
                    let record = record::row_record(&key, Place { seq, index, of }, value);
                    group.batch.insert(key.as_slice(), record);
                }
                None => group.batch.remove(key.as_slice()),
            }
            group.overlay.insert(key, write.value.as_ref().map(|_| seq));
        }
        group.marks.head = seq;
        Ok(seq)
    }

    fn trim(&mut self, upto: Seq) -> Result<(), StoreError> {
        self.check_ready()?;
        let marks = *self.shared.read();
        let floor = upto.min(marks.head).max(marks.floor);
        // From the very start: a trim that a crash cut off may have left entries behind.
        let end = record::log_key(floor + 1, 0);
        let mut batch = sled::Batch::default();
        batch.insert(record::FLOOR, record::number_record(record::FLOOR, floor));
        let mut size = 0;
        let entries = self.shared.db.range(record::LOG_START..end.as_slice()).keys();
        for key in entries {
            batch.remove(key.map_err(|error| engine_error(&error))?);
            size += 1;
            if size == TRIM_BATCH {
                let full = std::mem::take(&mut batch);
                self.write(full, Marks { floor, ..marks }).map_err(StoreError::Unknown)?;
                size = 0;
            }
        }
        self.write(batch, Marks { floor, ..marks }).map_err(StoreError::Unknown)
    }

    /// Puts a batch on the disk. Readers wait meanwhile, so that they never see what could still
    /// be lost. A failure ends the life of this store.
    fn write(&mut self, batch: sled::Batch, after: Marks) -> Result<(), String> {
        let mut marks = self.shared.write();
        let written = guarded(|| {
            let db = &self.shared.db;
            db.apply_batch(batch).map_err(|error| engine_error(&error))?;
            let synced = self.disk.flush(db).and_then(|()| self.disk.note(after.head));
            synced.map_err(|error| StoreError::Unavailable(error.to_string()))
        });
        match written {
            Ok(()) => {
                *marks = after;
                drop(marks);
                self.shared.bell.ring(after.head);
                Ok(())
            }
            Err(error) => {
                let why = format!("writing failed ({error})");
                let why = self.shared.failure.get_or_init(|| why).clone();
                drop(marks);
                // Whoever waits shall not wait for what never comes.
                self.shared.bell.ring(Seq::MAX);
                Err(why)
            }
        }
    }

    fn check_ready(&self) -> Result<(), StoreError> {
        self.shared.check_writable()?;
        let unknown = |error: std::io::Error| StoreError::Unavailable(error.to_string());
        let free_bytes = self.disk.free_bytes().map_err(unknown)?;
        let tenth = self.disk.used_bytes().map_err(unknown)? / 10;
        let floor_bytes = self.free_floor_bytes.max(tenth);
        if free_bytes < floor_bytes {
            return Err(StoreError::Full { free_bytes, floor_bytes });
        }
        Ok(())
    }
}

fn too_many() -> StoreError {
    StoreError::Malformed { index: MAX_WRITES, what: format!("at most {MAX_WRITES} writes") }
}

fn size(writes: &[Write]) -> usize {
    writes.iter().map(|w| w.key.len() + w.value.as_ref().map_or(0, Vec::len)).sum()
}
