//! A store that is only read: an image in memory, and why.

use std::collections::BTreeSet;
use std::path::Path;
use std::time::Duration;

use super::image::{Image, read_note};
use super::rebuild::{in_use, likely_engine};
use crate::api::{Commit, Condition, Row, Seq, Store, StoreError, Tree, Write};
use crate::memory::{MemoryStore, State};

#[derive(Debug)]
pub(super) struct Still {
    memory: MemoryStore,
    lost: BTreeSet<Seq>,
    whole: bool,
    why: StoreError,
}

impl Still {
    /// Reads the store in `folder`; `why` it is not opened in earnest.
    ///
    /// # Errors
    /// `why`, if there is nothing to read; `Unavailable` if it cannot be read.
    pub(super) fn open(folder: &Path, why: StoreError) -> Result<Self, StoreError> {
        // Without a readable note or name the damage is told by `why`.
        let noted = read_note(folder).ok().flatten().unwrap_or(0);
        let engine = likely_engine(folder);
        let image = Image::read(&engine, noted)?;
        // Nothing of a restore that did not end is a store yet.
        let damaged = matches!(why, StoreError::Corrupt(_)) && in_use(folder);
        if image.head == 0 && image.rows.is_empty() && !damaged {
            return Err(why);
        }
        let why = if let StoreError::Corrupt(what) = why {
            StoreError::Corrupt(image.damage(Some(&what)))
        } else if image.is_whole() {
            why
        } else {
            StoreError::Corrupt(image.damage(None))
        };
        let whole = image.is_whole();
        let Image { rows, log, head, floor, lost, .. } = image;
        let memory = MemoryStore::of(State { rows, log, head, floor });
        Ok(Self { memory, lost: lost.into_iter().collect(), whole, why })
    }

    pub(super) fn why(&self) -> &StoreError {
        &self.why
    }
}

impl Store for Still {
    fn commit(&self, _: Vec<Write>) -> Result<Seq, StoreError> {
        Err(self.why.clone())
    }

    fn get(&self, tree: Tree, key: &[u8]) -> Result<Option<Row>, StoreError> {
        match self.memory.get(tree, key)? {
            // Nobody can tell whether it was there.
            None if !self.whole => Err(self.why.clone()),
            found => Ok(found),
        }
    }

    fn scan(
        &self,
        tree: Tree,
        prefix: &[u8],
        after: Option<&[u8]>,
        limit: usize,
    ) -> Result<Vec<Row>, StoreError> {
        self.memory.scan(tree, prefix, after, limit)
    }

    fn changes(&self, since: Seq, limit: usize) -> Result<Vec<Commit>, StoreError> {
        let last = since.saturating_add(limit as u64);
        match self.lost.range(since.saturating_add(1)..=last.max(since.saturating_add(1))).next() {
            Some(_) if limit > 0 => Err(self.why.clone()),
            _ => self.memory.changes(since, limit),
        }
    }

    fn trim(&self, _: Seq) -> Result<(), StoreError> {
        Err(self.why.clone())
    }

    fn head(&self) -> Result<Seq, StoreError> {
        self.memory.head()
    }

    fn wait_past(&self, seq: Seq, timeout: Duration) -> Result<Seq, StoreError> {
        self.memory.wait_past(seq, timeout)
    }

    fn condition(&self) -> Condition {
        Condition::ReadOnly(self.why.clone())
    }
}
