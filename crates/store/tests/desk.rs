//! Many who record at once: in order, with few syncs, and nobody is answered before the disk is.
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]
#![allow(clippy::disallowed_methods, reason = "many record at once, on threads")]

use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::sync::{Arc, Mutex};
use std::thread::{self, JoinHandle};
use std::time::Duration;

use deepbend_ledger::body::Body;
use deepbend_ledger::event::{Certainty, Claim, Recorder, Remark};
use deepbend_ledger::id::Id;
use deepbend_ledger::import::FileKind;
use deepbend_ledger::item::ItemKind;
use deepbend_ledger::time::ObservedTime;
use deepbend_ledger::view::View;
use deepbend_store::inventory::{Draft, Inventory, InventoryError, Present};
use deepbend_store::{
    Commit, Condition, Expect, MemoryStore, Row, Seq, Store, StoreError, Tree, Write,
};

const NOTES: Tree = Tree(3);

/// What becomes of the next commit.
enum Fate {
    Done,
    Refused,
    /// Done, but the answer is lost.
    Lost,
}

/// A store in memory whose commits wait until the test says what becomes of them.
struct Gate {
    inner: MemoryStore,
    fates: Mutex<Receiver<Fate>>,
    commits: AtomicUsize,
}

impl Gate {
    fn new() -> (Arc<Self>, SyncSender<Fate>) {
        let (sender, fates) = sync_channel(64);
        let inner = MemoryStore::new();
        (Arc::new(Self { inner, fates: Mutex::new(fates), commits: AtomicUsize::new(0) }), sender)
    }

    fn commits(&self) -> usize {
        self.commits.load(Ordering::SeqCst)
    }

    /// Waits until so many commits have begun.
    fn begun(&self, commits: usize) {
        while self.commits() < commits {
            thread::yield_now();
        }
    }
}

impl Store for Gate {
    fn commit(&self, writes: Vec<Write>) -> Result<Seq, StoreError> {
        self.commits.fetch_add(1, Ordering::SeqCst);
        match self.fates.lock().unwrap().recv().unwrap() {
            Fate::Done => self.inner.commit(writes),
            Fate::Refused => Err(StoreError::Full { free_bytes: 1, floor_bytes: 2 }),
            Fate::Lost => {
                self.inner.commit(writes)?;
                Err(StoreError::Unknown("the answer was lost".to_owned()))
            }
        }
    }

    fn get(&self, tree: Tree, key: &[u8]) -> Result<Option<Row>, StoreError> {
        self.inner.get(tree, key)
    }

    fn scan(
        &self,
        tree: Tree,
        prefix: &[u8],
        after: Option<&[u8]>,
        limit: usize,
    ) -> Result<Vec<Row>, StoreError> {
        self.inner.scan(tree, prefix, after, limit)
    }

    fn changes(&self, since: Seq, limit: usize) -> Result<Vec<Commit>, StoreError> {
        self.inner.changes(since, limit)
    }

    fn trim(&self, upto: Seq) -> Result<(), StoreError> {
        self.inner.trim(upto)
    }

    fn head(&self) -> Result<Seq, StoreError> {
        self.inner.head()
    }

    fn wait_past(&self, seq: Seq, timeout: Duration) -> Result<Seq, StoreError> {
        self.inner.wait_past(seq, timeout)
    }

    fn condition(&self) -> Condition {
        self.inner.condition()
    }
}

fn id(text: &str) -> Id {
    Id::new(text).unwrap()
}

fn claim() -> Claim {
    Claim {
        observed_time: ObservedTime::new("2031-09-15T17:00:00Z").unwrap(),
        actor: id("shed"),
        certainty: Certainty::Typed,
    }
}

fn moved(to: &str) -> Body {
    let item = deepbend_ledger::item::ItemKey { kind: ItemKind::Boat, id: id("B1") };
    Body::Moved { item, from: None, to: id(to), pieces: None }
}

/// Drafts two events and a note, under the number of the first event.
fn two(present: &Present<'_>, recorder: &mut Recorder) -> Result<Draft<u64>, InventoryError> {
    let remark = Remark::from(claim());
    let events: Vec<_> = ["quay", "shed"]
        .map(|to| recorder.write(present.view(), &remark, moved(to)).unwrap())
        .into_iter()
        .collect();
    let answer = events[0].event().id.sequence;
    let (key, value) = (answer.to_be_bytes().to_vec(), Some(b"note".to_vec()));
    let beside = vec![Write { tree: NOTES, key, expect: Expect::Any, value }];
    Ok(Draft { events, beside, answer })
}

/// An inventory with one boat, and the gate before its store.
fn begun() -> (Arc<Inventory>, Arc<Gate>, SyncSender<Fate>) {
    let (gate, fates) = Gate::new();
    let inventory = Arc::new(Inventory::open(gate.clone()).unwrap());
    fates.send(Fate::Done).unwrap();
    let boat = "boat_id,name\nB1,Grebe\n";
    inventory.import(&[(FileKind::Boats, boat)], &id("desk"), &claim()).unwrap();
    (inventory, gate, fates)
}

type Recording<T> = JoinHandle<Result<T, InventoryError>>;

/// Lets `count` record on threads of their own; returns once all have begun to prepare. Nobody
/// else comes to the desk until each is done with that.
fn record<T: Send + 'static>(
    inventory: &Arc<Inventory>,
    count: usize,
    compose: fn(&Present<'_>, &mut Recorder) -> Result<Draft<T>, InventoryError>,
) -> Vec<Recording<T>> {
    let begun = Arc::new(AtomicUsize::new(0));
    let threads = (0..count)
        .map(|_| {
            let (inventory, begun) = (Arc::clone(inventory), Arc::clone(&begun));
            thread::spawn(move || {
                inventory.record(&id("desk"), |present, recorder| {
                    begun.fetch_add(1, Ordering::SeqCst);
                    compose(present, recorder)
                })
            })
        })
        .collect();
    while begun.load(Ordering::SeqCst) < count {
        thread::yield_now();
    }
    threads
}

/// Records nothing, but answers from what is not on the disk.
fn ask(present: &Present<'_>, _: &mut Recorder) -> Result<Draft<bool>, InventoryError> {
    let answer = present.get(NOTES, &2_u64.to_be_bytes())?.is_some();
    Ok(Draft { events: Vec::new(), beside: Vec::new(), answer })
}

/// Drafts a write that no store takes.
fn too_much(present: &Present<'_>, of: &mut Recorder) -> Result<Draft<u64>, InventoryError> {
    let mut draft = two(present, of)?;
    draft.beside[0].key = vec![0; 5000];
    Ok(draft)
}

fn folded_anew(gate: &Arc<Gate>) -> View {
    View::clone(&Inventory::open(gate.clone()).unwrap().view())
}

// Common practice, no source: group commit.
#[test]
fn whoever_waits_shares_one_commit_and_readers_see_none_of_it_before() {
    let (inventory, gate, fates) = begun();
    let first = record(&inventory, 1, two);
    gate.begun(2);
    let others = record(&inventory, 8, two);
    let heard = record(&inventory, 1, ask);
    assert_eq!(gate.commits(), 2, "all others wait for the first");
    assert_eq!(inventory.view().event_count(), 1, "readers see what is on the disk");
    (0..3).for_each(|_| fates.send(Fate::Done).unwrap());
    let answers = first.into_iter().chain(others).map(|thread| thread.join().unwrap().unwrap());
    let mut answers: Vec<_> = answers.collect();
    answers.sort_unstable();
    assert_eq!(answers, (0..9).map(|n| 2 + 2 * n).collect::<Vec<_>>());
    assert!(heard.into_iter().all(|thread| thread.join().unwrap().unwrap()), "what was prepared");
    assert_eq!(gate.commits(), 3);
    assert_eq!(*inventory.view(), folded_anew(&gate));
    assert_eq!(inventory.view().event_count(), 19);
    assert_eq!(gate.scan(NOTES, b"", None, 99).unwrap().len(), 9);
}

// Source: semantics 1 and 2 of the store's trait; a failed commit is nobody's success.
#[test]
fn a_failed_commit_takes_with_it_what_follows_from_it_and_nothing_else() {
    for lost in [false, true] {
        let (inventory, gate, fates) = begun();
        let first = record(&inventory, 1, two);
        gate.begun(2);
        let others = record(&inventory, 4, two);
        let heard = record(&inventory, 1, ask);
        fates.send(if lost { Fate::Lost } else { Fate::Refused }).unwrap();
        let unknown =
            |error: &InventoryError| matches!(error, InventoryError::Store(StoreError::Unknown(_)));
        for thread in first {
            let error = thread.join().unwrap().unwrap_err();
            assert_eq!(unknown(&error), lost, "{error}");
        }
        for thread in others {
            let error = thread.join().unwrap().unwrap_err();
            assert!(!unknown(&error), "{error}");
        }
        assert!(heard.into_iter().all(|thread| thread.join().unwrap().is_err()));
        fates.send(Fate::Done).unwrap();
        let kept = if lost { 3 } else { 1 };
        assert_eq!(inventory.view().event_count(), kept);
        assert_eq!(*inventory.view(), folded_anew(&gate));
        let next = inventory.record(&id("desk"), two).unwrap();
        assert_eq!(next, kept as u64 + 1, "the chain goes on from what is on the disk");
        assert_eq!(*inventory.view(), folded_anew(&gate));
    }
}

// Common practice, no source: what cannot be written is refused alone.
#[test]
fn who_asks_too_much_fails_alone() {
    let (inventory, gate, fates) = begun();
    let first = record(&inventory, 1, two);
    gate.begun(2);
    let answer = record(&inventory, 1, too_much).pop().unwrap();
    fates.send(Fate::Done).unwrap();
    let error = answer.join().unwrap().unwrap_err();
    assert!(matches!(error, InventoryError::Store(StoreError::Malformed { .. })), "{error}");
    assert!(first.into_iter().all(|thread| thread.join().unwrap().is_ok()));
    assert_eq!(inventory.view().event_count(), 3);
}

// Common practice, no source: a panic of one caller harms no other.
#[test]
fn a_panic_while_drafting_leaves_the_desk_in_order() {
    let (inventory, gate, fates) = begun();
    let panicking = Arc::clone(&inventory);
    let thread = thread::spawn(move || {
        panicking.record(&id("desk"), |_, _| -> Result<Draft<()>, InventoryError> {
            panic!("as the test asks")
        })
    });
    assert!(thread.join().is_err());
    fates.send(Fate::Done).unwrap();
    assert_eq!(inventory.record(&id("desk"), two).unwrap(), 2);
    assert_eq!(*inventory.view(), folded_anew(&gate));
}
