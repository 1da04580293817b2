//! A twin that fails when told to, for the tests of whoever uses a store.

use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use crate::api::{Commit, Condition, Row, Seq, Store, StoreError, Tree, Write};

/// How a call fails.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    /// Nothing is done, and the answer says so.
    Refused,
    /// It is done, but the answer is lost: `Unknown` for commits, `Unavailable` for reads.
    AnswerLost,
    /// What was read turned out damaged; commits are not done.
    Damaged,
}

/// Passes every call on to another store but the one with the given number.
#[derive(Debug)]
pub struct FaultyStore<S> {
    inner: S,
    calls: AtomicU64,
    failing_call: u64,
    fault: Fault,
}

impl<S: Store> FaultyStore<S> {
    /// Fails the call with this number, counted from 1 over all methods.
    pub fn new(inner: S, failing_call: u64, fault: Fault) -> Self {
        Self { inner, calls: AtomicU64::new(0), failing_call, fault }
    }

    /// How many calls came so far.
    pub fn calls(&self) -> u64 {
        self.calls.load(Ordering::SeqCst)
    }

    fn pass<T>(
        &self,
        lost: fn(String) -> StoreError,
        call: impl FnOnce(&S) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        let number = self.calls.fetch_add(1, Ordering::SeqCst) + 1;
        if number != self.failing_call {
            return call(&self.inner);
        }
        let why = format!("call {number} fails as asked");
        match self.fault {
            Fault::Refused => Err(StoreError::Unavailable(why)),
            Fault::Damaged => Err(StoreError::Corrupt(why)),
            Fault::AnswerLost => {
                call(&self.inner)?;
                Err(lost(why))
            }
        }
    }
}

impl<S: Store> Store for FaultyStore<S> {
    fn commit(&self, writes: Vec<Write>) -> Result<Seq, StoreError> {
        self.pass(StoreError::Unknown, |inner| inner.commit(writes))
    }

    fn get(&self, tree: Tree, key: &[u8]) -> Result<Option<Row>, StoreError> {
        self.pass(StoreError::Unavailable, |inner| inner.get(tree, key))
    }

    fn scan(
        &self,
        tree: Tree,
        prefix: &[u8],
        after: Option<&[u8]>,
        limit: usize,
    ) -> Result<Vec<Row>, StoreError> {
        self.pass(StoreError::Unavailable, |inner| inner.scan(tree, prefix, after, limit))
    }

    fn changes(&self, since: Seq, limit: usize) -> Result<Vec<Commit>, StoreError> {
        self.pass(StoreError::Unavailable, |inner| inner.changes(since, limit))
    }

    fn trim(&self, upto: Seq) -> Result<(), StoreError> {
        self.pass(StoreError::Unknown, |inner| inner.trim(upto))
    }

    fn head(&self) -> Result<Seq, StoreError> {
        self.pass(StoreError::Unavailable, Store::head)
    }

    fn wait_past(&self, seq: Seq, timeout: Duration) -> Result<Seq, StoreError> {
        self.pass(StoreError::Unavailable, |inner| inner.wait_past(seq, timeout))
    }

    fn condition(&self) -> Condition {
        self.inner.condition()
    }
}
