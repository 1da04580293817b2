//! The engine without a disk, for tests and for services that keep nothing.

use std::collections::BTreeMap;
use std::ops::Bound;
use std::sync::{Condvar, Mutex, PoisonError, RwLock};
use std::time::Duration;

use crate::api::{
    Change, Commit, Condition, Row, Seq, Store, StoreError, Tree, Write, check, check_expectations,
};

/// Keeps everything in memory and loses it at the end.
#[derive(Debug, Default)]
pub struct MemoryStore {
    state: RwLock<State>,
    bell: Bell,
}

/// Rows, feed and marks of a store.
#[derive(Debug, Default)]
pub(crate) struct State {
    pub(crate) rows: BTreeMap<(Tree, Vec<u8>), (Seq, Vec<u8>)>,
    pub(crate) log: BTreeMap<Seq, Vec<Change>>,
    pub(crate) head: Seq,
    pub(crate) floor: Seq,
}

/// Wakes who waits for the next commit.
#[derive(Debug, Default)]
pub(crate) struct Bell {
    head: Mutex<Seq>,
    rings: Condvar,
}

impl Bell {
    pub(crate) fn ring(&self, head: Seq) {
        let mut last = self.head.lock().unwrap_or_else(PoisonError::into_inner);
        *last = head;
        self.rings.notify_all();
    }

    /// Returns once a head past `seq` was rung in, or after `timeout`.
    pub(crate) fn wait_past(&self, seq: Seq, timeout: Duration) {
        let last = self.head.lock().unwrap_or_else(PoisonError::into_inner);
        // Poisoned or not, the caller looks at the head itself.
        let _ = self.rings.wait_timeout_while(last, timeout, |last| *last <= seq);
    }
}

impl MemoryStore {
    /// An empty store.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    pub(crate) fn of(state: State) -> Self {
        let bell = Bell::default();
        bell.ring(state.head);
        Self { state: RwLock::new(state), bell }
    }

    // No step of a change can panic half-way, so a poisoned lock still guards a whole state.
    fn read(&self) -> std::sync::RwLockReadGuard<'_, State> {
        self.state.read().unwrap_or_else(PoisonError::into_inner)
    }

    fn write(&self) -> std::sync::RwLockWriteGuard<'_, State> {
        self.state.write().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Store for MemoryStore {
    fn commit(&self, writes: Vec<Write>) -> Result<Seq, StoreError> {
        check(&writes)?;
        let mut state = self.write();
        check_expectations(&writes, |write| {
            state.rows.get(&(write.tree, write.key.clone())).map(|(seq, _)| *seq)
        })?;
        if writes.is_empty() {
            return Ok(state.head);
        }
        let seq = state.head + 1;
        let mut changes = Vec::with_capacity(writes.len());
        for Write { tree, key, value, .. } in writes {
            changes.push(Change { tree, key: key.clone(), value: value.clone() });
            match value {
                Some(value) => state.rows.insert((tree, key), (seq, value)),
                None => state.rows.remove(&(tree, key)),
            };
        }
        state.log.insert(seq, changes);
        state.head = seq;
        self.bell.ring(seq);
        Ok(seq)
    }

    fn get(&self, tree: Tree, key: &[u8]) -> Result<Option<Row>, StoreError> {
        let state = self.read();
        let found = state.rows.get(&(tree, key.to_vec()));
        Ok(found.map(|(seq, value)| Row {
            key: key.to_vec(),
            value: value.clone(),
            written_by: *seq,
        }))
    }

    fn scan(
        &self,
        tree: Tree,
        prefix: &[u8],
        after: Option<&[u8]>,
        limit: usize,
    ) -> Result<Vec<Row>, StoreError> {
        let state = self.read();
        let from = match after {
            Some(after) if after >= prefix => Bound::Excluded((tree, after.to_vec())),
            Some(_) | None => Bound::Included((tree, prefix.to_vec())),
        };
        let rows = state.rows.range((from, Bound::Unbounded));
        let rows = rows.take_while(|((t, key), _)| *t == tree && key.starts_with(prefix));
        Ok(rows
            .take(limit)
            .map(|((_, key), (seq, value))| Row {
                key: key.clone(),
                value: value.clone(),
                written_by: *seq,
            })
            .collect())
    }

    fn changes(&self, since: Seq, limit: usize) -> Result<Vec<Commit>, StoreError> {
        let state = self.read();
        if since < state.floor {
            return Err(StoreError::Trimmed { floor: state.floor });
        }
        let commits = state.log.range((Bound::Excluded(since), Bound::Unbounded)).take(limit);
        Ok(commits.map(|(&seq, changes)| Commit { seq, changes: changes.clone() }).collect())
    }

    fn trim(&self, upto: Seq) -> Result<(), StoreError> {
        let mut state = self.write();
        let floor = upto.min(state.head).max(state.floor);
        state.log = state.log.split_off(&(floor + 1));
        state.floor = floor;
        Ok(())
    }

    fn head(&self) -> Result<Seq, StoreError> {
        Ok(self.read().head)
    }

    fn wait_past(&self, seq: Seq, timeout: Duration) -> Result<Seq, StoreError> {
        self.bell.wait_past(seq, timeout);
        self.head()
    }

    fn condition(&self) -> Condition {
        Condition::Sound
    }
}
