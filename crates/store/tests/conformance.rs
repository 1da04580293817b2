//! One suite for every engine: random calls against a plain model, reopening in between.
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

use deepbend_store::{
    Change, Commit, Condition, Expect, Fault, FaultyStore, MAX_KEY, MAX_VALUE, MAX_WRITES,
    MemoryStore, Row, Seq, SledOptions, SledStore, Store, StoreError, Tree, Write,
};
use proptest::prelude::*;

/// An engine under test, and how to close and open it again.
trait Engine {
    fn store(&self) -> Arc<dyn Store>;
    fn reopen(&mut self);
}

struct Memory(Arc<MemoryStore>);

impl Engine for Memory {
    fn store(&self) -> Arc<dyn Store> {
        self.0.clone()
    }

    fn reopen(&mut self) {}
}

struct Sled {
    folder: tempfile::TempDir,
    store: Option<Arc<SledStore>>,
}

impl Sled {
    fn new() -> Self {
        let mut engine = Self { folder: tempfile::tempdir().unwrap(), store: None };
        engine.reopen();
        engine
    }
}

impl Engine for Sled {
    fn store(&self) -> Arc<dyn Store> {
        self.store.clone().unwrap()
    }

    fn reopen(&mut self) {
        self.store = None;
        let options = SledOptions { free_floor_bytes: 0, ..SledOptions::default() };
        self.store = Some(Arc::new(SledStore::open(self.folder.path(), options).unwrap()));
    }
}

/// The twin, which passes everything on until it is told to fail.
struct Faulty(Arc<FaultyStore<MemoryStore>>);

impl Engine for Faulty {
    fn store(&self) -> Arc<dyn Store> {
        self.0.clone()
    }

    fn reopen(&mut self) {}
}

fn engines() -> Vec<(&'static str, Box<dyn Engine>)> {
    vec![
        ("memory", Box::new(Memory(Arc::new(MemoryStore::new())))),
        ("sled", Box::new(Sled::new())),
        (
            "faulty",
            Box::new(Faulty(Arc::new(FaultyStore::new(MemoryStore::new(), 0, Fault::Refused)))),
        ),
    ]
}

/// What the trait promises, written as plainly as can be.
#[derive(Default)]
struct Model {
    rows: BTreeMap<(u8, Vec<u8>), (Seq, Vec<u8>)>,
    commits: Vec<Vec<Change>>,
    floor: Seq,
}

impl Model {
    fn commit(&mut self, writes: &[Write]) -> Result<Seq, StoreError> {
        for (index, write) in writes.iter().enumerate() {
            if writes[..index].iter().any(|w| (w.tree, &w.key) == (write.tree, &write.key)) {
                let what = "a key is written once in a commit".to_owned();
                return Err(StoreError::Malformed { index, what });
            }
        }
        for (index, write) in writes.iter().enumerate() {
            let row = self.rows.get(&(write.tree.0, write.key.clone()));
            let holds = match write.expect {
                Expect::Any => true,
                Expect::Absent => row.is_none(),
                Expect::WrittenBy(seq) => row.is_some_and(|(s, _)| *s == seq),
            };
            if !holds {
                return Err(StoreError::Conflict { index });
            }
        }
        if !writes.is_empty() {
            let seq = self.commits.len() as u64 + 1;
            let mut changes = Vec::new();
            for write in writes.iter().cloned() {
                let key = (write.tree.0, write.key.clone());
                self.rows.remove(&key);
                if let Some(value) = &write.value {
                    self.rows.insert(key, (seq, value.clone()));
                }
                changes.push(Change { tree: write.tree, key: write.key, value: write.value });
            }
            self.commits.push(changes);
        }
        Ok(self.commits.len() as u64)
    }

    fn scan(&self, tree: u8, prefix: &[u8], after: Option<&[u8]>, limit: usize) -> Vec<Row> {
        let rows = self.rows.iter().filter(|((t, key), _)| {
            *t == tree && key.starts_with(prefix) && after.is_none_or(|after| &key[..] > after)
        });
        rows.take(limit)
            .map(|((_, key), (seq, value))| Row {
                key: key.clone(),
                value: value.clone(),
                written_by: *seq,
            })
            .collect()
    }

    fn changes(&self, since: Seq, limit: usize) -> Result<Vec<Commit>, StoreError> {
        if since < self.floor {
            return Err(StoreError::Trimmed { floor: self.floor });
        }
        let commits = (1..).zip(&self.commits).filter(|(seq, _)| *seq > since).take(limit);
        Ok(commits.map(|(seq, changes)| Commit { seq, changes: changes.clone() }).collect())
    }
}

/// Tree, key, which expectation, value.
type RandomWrite = (u8, Vec<u8>, u8, Option<Vec<u8>>);

#[derive(Clone, Debug)]
enum Call {
    Commit(Vec<RandomWrite>),
    Scan(u8, Vec<u8>, Option<Vec<u8>>, usize),
    Changes(u64, usize),
    Trim(u64),
    Reopen,
}

/// Keys with the bytes at which orders and prefixes go wrong, tree numbers among them.
fn key() -> impl Strategy<Value = Vec<u8>> {
    let byte = prop::sample::select(vec![0, 1, 2, b'a', b'b', 0xff]);
    prop::collection::vec(byte, 0..4)
}

fn tree() -> impl Strategy<Value = u8> {
    prop::sample::select(vec![0, 1, 2, 0xff])
}

fn call() -> impl Strategy<Value = Call> {
    let value = prop::option::weighted(0.8, prop::collection::vec(any::<u8>(), 0..3));
    let write = (tree(), key(), 0_u8..5, value);
    prop_oneof![
        8 => prop::collection::vec(write, 0..5).prop_map(Call::Commit),
        4 => (tree(), key(), prop::option::of(key()), 0_usize..6)
            .prop_map(|(tree, prefix, after, limit)| Call::Scan(tree, prefix, after, limit)),
        2 => (0_u64..40, 0_usize..6).prop_map(|(since, limit)| Call::Changes(since, limit)),
        1 => (0_u64..40).prop_map(Call::Trim),
        1 => Just(Call::Reopen),
    ]
}

fn play(engine: &mut dyn Engine, calls: &[Call]) -> Result<(), TestCaseError> {
    let mut model = Model::default();
    for call in calls {
        let store = engine.store();
        match call {
            Call::Commit(writes) => {
                let writes: Vec<_> = writes
                    .iter()
                    .map(|(tree, key, expect, value)| {
                        let there = model.rows.get(&(*tree, key.clone())).map(|row| row.0);
                        let expect = match expect {
                            0 => Expect::Absent,
                            1 => Expect::WrittenBy(there.unwrap_or(3)),
                            2 => Expect::WrittenBy(there.map_or(0, |seq| seq + 1)),
                            _ => Expect::Any,
                        };
                        Write { tree: Tree(*tree), key: key.clone(), expect, value: value.clone() }
                    })
                    .collect();
                prop_assert_eq!(store.commit(writes.clone()), model.commit(&writes));
                for write in &writes {
                    let row = store.get(write.tree, &write.key).unwrap();
                    let right = model.rows.get(&(write.tree.0, write.key.clone()));
                    let row = row.map(|row| (row.written_by, row.value));
                    prop_assert_eq!(row.as_ref(), right);
                }
            }
            Call::Scan(tree, prefix, after, limit) => prop_assert_eq!(
                store.scan(Tree(*tree), prefix, after.as_deref(), *limit).unwrap(),
                model.scan(*tree, prefix, after.as_deref(), *limit)
            ),
            Call::Changes(since, limit) => {
                prop_assert_eq!(store.changes(*since, *limit), model.changes(*since, *limit));
            }
            Call::Trim(upto) => {
                store.trim(*upto).unwrap();
                model.floor = model.floor.max((*upto).min(model.commits.len() as u64));
            }
            Call::Reopen => {
                drop(store);
                engine.reopen();
                continue;
            }
        }
        prop_assert_eq!(store.head().unwrap(), model.commits.len() as u64);
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(96) })]

    // Source: the semantics stated on `Store` (own rules).
    #[test]
    fn engines_do_what_the_model_does(calls in prop::collection::vec(call(), 1..40)) {
        for (name, mut engine) in engines() {
            play(&mut *engine, &calls).map_err(|error| {
                TestCaseError::fail(format!("{name}: {error}"))
            })?;
        }
    }
}

fn put(tree: u8, key: &[u8], expect: Expect, value: &[u8]) -> Write {
    Write { tree: Tree(tree), key: key.to_vec(), expect, value: Some(value.to_vec()) }
}

#[test]
fn too_large_is_refused_and_the_largest_is_taken() {
    for (name, engine) in engines() {
        let store = engine.store();
        let malformed = |writes: Vec<Write>| {
            assert!(matches!(store.commit(writes), Err(StoreError::Malformed { .. })), "{name}");
        };
        malformed(vec![put(1, &[1; MAX_KEY + 1], Expect::Any, b"")]);
        malformed(vec![put(1, b"k", Expect::Any, &vec![1; MAX_VALUE + 1])]);
        let many = |count: usize| -> Vec<Write> {
            (0..count).map(|n| put(1, &n.to_be_bytes(), Expect::Absent, b"v")).collect()
        };
        malformed(many(MAX_WRITES + 1));
        assert_eq!(store.head(), Ok(0), "{name}");
        assert_eq!(store.commit(many(MAX_WRITES)), Ok(1), "{name}");
        store.commit(vec![put(2, &[1; MAX_KEY], Expect::Any, &vec![1; MAX_VALUE])]).unwrap();
        assert_eq!(store.scan(Tree(1), b"", None, usize::MAX).unwrap().len(), MAX_WRITES);
        assert_eq!(store.changes(0, 1).unwrap()[0].changes.len(), MAX_WRITES, "{name}");
    }
}

/// Counters raised from several threads, half of them through one key: no raise is lost, and the
/// feed replayed gives the final state.
#[test]
fn concurrent_writers_lose_nothing() {
    const THREADS: u64 = 6;
    const RAISES: u64 = 40;
    for (name, engine) in engines() {
        let store = engine.store();
        std::thread::scope(|scope| {
            for thread in 0..THREADS {
                let store = &store;
                scope.spawn(move || {
                    for n in 1..=RAISES {
                        let own = put(2, &[thread as u8], Expect::Any, &n.to_be_bytes());
                        loop {
                            let row = store.get(Tree(1), b"sum").unwrap();
                            let old = row.as_ref().map_or(0, |row| number(&row.value));
                            let expect =
                                row.map_or(Expect::Absent, |row| Expect::WrittenBy(row.written_by));
                            let sum = put(1, b"sum", expect, &(old + 1).to_be_bytes());
                            match store.commit(vec![sum, own.clone()]) {
                                Ok(_) => break,
                                Err(StoreError::Conflict { index: 0 }) => {}
                                Err(error) => panic!("{name}: {error}"),
                            }
                        }
                    }
                });
            }
        });
        let sum = store.get(Tree(1), b"sum").unwrap().unwrap();
        assert_eq!(number(&sum.value), THREADS * RAISES, "{name}");
        assert_eq!(store.head(), Ok(THREADS * RAISES), "{name}");
        let mut replayed = BTreeMap::new();
        for commit in store.changes(0, usize::MAX).unwrap() {
            assert_eq!(commit.changes.len(), 2, "{name}: whole commits");
            for change in commit.changes {
                replayed.insert((change.tree, change.key), (commit.seq, change.value.unwrap()));
            }
        }
        let rows = [Tree(1), Tree(2)].map(|tree| (tree, store.scan(tree, b"", None, 99).unwrap()));
        let mut state = BTreeMap::new();
        for (tree, rows) in rows {
            state.extend(rows.into_iter().map(|r| ((tree, r.key), (r.written_by, r.value))));
        }
        assert_eq!(replayed, state, "{name}");
    }
}

// Source: the semantics stated on `Store`: waiting is a wake-up, and ends in time.
#[test]
fn waiting_ends_with_a_commit_or_in_time() {
    for (name, engine) in engines() {
        let store = engine.store();
        assert_eq!(store.condition(), Condition::Sound, "{name}");
        assert_eq!(store.wait_past(0, Duration::ZERO), Ok(0), "{name}");
        std::thread::scope(|scope| {
            let waiter = scope.spawn(|| {
                let mut head = 0;
                // Longer than any test may take: only a commit can end it.
                while head < 3 {
                    head = store.wait_past(head, Duration::from_secs(600)).unwrap();
                }
                head
            });
            for n in 1..=3 {
                store.commit(vec![put(1, &[n], Expect::Absent, b"")]).unwrap();
            }
            assert_eq!(waiter.join().unwrap(), 3, "{name}");
        });
        assert_eq!(store.wait_past(1, Duration::from_secs(600)), Ok(3), "{name}: it is past");
    }
}

/// A reader that saw a commit in the feed sees it by `get`, and no page shows half a commit.
#[test]
fn readers_see_whole_commits_and_never_less_than_the_feed_told() {
    for (name, engine) in engines() {
        let store = engine.store();
        std::thread::scope(|scope| {
            scope.spawn(|| {
                for n in 1_u64..=150 {
                    let value = n.to_be_bytes();
                    let pair = [b"", &b"\xff"[..]];
                    let writes = pair.map(|key| put(7, key, Expect::Any, &value)).to_vec();
                    store.commit(writes).unwrap();
                }
            });
            let mut seen = 0;
            while seen < 150 {
                for commit in store.changes(seen, usize::MAX).unwrap() {
                    seen = commit.seq;
                }
                let rows = store.scan(Tree(7), b"", None, 9).unwrap();
                if seen > 0 {
                    assert_eq!(rows.len(), 2, "{name}");
                    assert_eq!(rows[0].value, rows[1].value, "{name}: half a commit");
                    assert!(rows[0].written_by >= seen, "{name}: older than the feed");
                }
            }
        });
    }
}

fn number(bytes: &[u8]) -> u64 {
    u64::from_be_bytes(bytes.try_into().unwrap())
}
