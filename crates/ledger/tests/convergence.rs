//! Nodes that write alone, meet, are cut off, restarted, restored and cloned: in the end the same
//! events give the same state, byte for byte.
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

use deepbend_ledger::body::{Body, Measure, Reason};
use deepbend_ledger::event::{Certainty, Chain, EventId, Head, Recorder, Remark, Sealed};
use deepbend_ledger::exchange::{Inbox, Raw};
use deepbend_ledger::fold::CountKey;
use deepbend_ledger::id::Id;
use deepbend_ledger::import::import;
use deepbend_ledger::item::{Condition, FittedLine, Item, ItemKey, ItemKind, Status};
use deepbend_ledger::view::{Conflict, EventRef, View};
use proptest::prelude::*;
use std::sync::Arc;

mod fleet;
use fleet::{claim, files, recorder};

fn id(text: &str) -> Id {
    Id::new(text).unwrap()
}

/// A node: what is on its disk, in the order in which it got there, and what follows from it.
#[derive(Debug)]
struct Node {
    chain: Chain,
    disk: Vec<Sealed>,
    view: View,
    inbox: Inbox,
}

impl Node {
    fn new(index: usize, disk: &[Sealed]) -> Self {
        let chain = Chain { device: id(&format!("boat-{index}")), incarnation: 1 };
        let view = View::fold(disk);
        Self { chain, disk: disk.to_vec(), view, inbox: Inbox::default() }
    }

    fn recorder(&self) -> Recorder {
        let own = self.disk.iter().rev().find(|e| e.event().id.chain == self.chain);
        match own {
            Some(last) => {
                let head = Head { sequence: last.event().id.sequence, hash: last.hash() };
                Recorder::after(self.chain.clone(), &head)
            }
            None => Recorder::begin(self.chain.clone(), 1),
        }
    }

    fn write(&mut self, seen_at: Option<Id>, body: Body) {
        let mut remark = Remark { seen_at, ..Remark::from(claim()) };
        remark.claim.certainty = Certainty::Seen;
        let event = self.recorder().write(&self.view, &remark, body).unwrap();
        self.store(event);
    }

    fn store(&mut self, event: Sealed) {
        assert!(self.view.apply(&event));
        self.disk.push(event);
    }

    fn restart(&mut self) {
        self.view = View::fold(&self.disk);
        self.inbox = Inbox::default();
    }

    /// Goes back to an older copy of the disk, as a new incarnation.
    fn restore(&mut self, keep: usize) {
        self.disk.truncate(keep);
        self.chain.incarnation += 1;
        self.restart();
    }

    fn get(&self, event: &EventRef) -> Raw {
        let sealed = self.disk.iter().find(|e| EventRef::to(e) == *event).unwrap();
        Raw { bytes: sealed.bytes().to_vec(), signature: None }
    }

    fn take(&mut self, chunk: Vec<Raw>) {
        let taken = self.inbox.take(&self.view, chunk);
        for signed in taken.accepted {
            self.store(signed.event);
        }
    }
}

/// How an exchange goes wrong.
#[derive(Clone, Debug)]
struct Trouble {
    chunk: usize,
    chunks: usize,
    reverse: bool,
    twice: bool,
}

fn send(from: &Node, to: &mut Node, trouble: &Trouble) {
    let (tips, marks) = (to.view.tips(), to.view.landmarks(&from.view.tips()));
    let lacking = from.view.lacking(&tips, &marks);
    let mut chunks: Vec<_> =
        lacking.chunks(trouble.chunk.max(1)).take(trouble.chunks).map(<[_]>::to_vec).collect();
    if trouble.reverse {
        chunks.reverse();
        chunks.iter_mut().for_each(|chunk| chunk.reverse());
    }
    for chunk in chunks {
        for _ in 0..=usize::from(trouble.twice) {
            to.take(chunk.iter().map(|event| from.get(event)).collect());
        }
    }
}

fn pair(nodes: &mut [Node], a: usize, b: usize, trouble: &Trouble) {
    if a == b {
        return;
    }
    let (low, high) = (a.min(b), a.max(b));
    let (left, right) = nodes.split_at_mut(high);
    let (one, other) = (&mut left[low], &mut right[0]);
    send(one, other, trouble);
    send(other, one, trouble);
}

/// Everybody meets everybody, until nobody lacks anything.
fn meet(nodes: &mut [Node]) {
    let sound = Trouble { chunk: 7, chunks: usize::MAX, reverse: false, twice: false };
    for _ in 0..4 {
        for a in 0..nodes.len() {
            for b in 0..a {
                pair(nodes, a, b, &sound);
            }
        }
    }
    for node in nodes.iter() {
        assert_eq!(node.view.waiting().count(), 0);
        let marks = node.view.landmarks(&nodes[0].view.tips());
        assert!(nodes[0].view.lacking(&node.view.tips(), &marks).is_empty());
    }
}

#[derive(Clone, Debug)]
enum Step {
    Write { node: usize, what: u8, which: usize, amount: u8 },
    Exchange { a: usize, b: usize, trouble: Trouble },
    Restart(usize),
    Restore { node: usize, keep: usize },
    Clone { from: usize, to: usize },
}

fn steps() -> impl Strategy<Value = Vec<Step>> {
    let trouble = (1..5_usize, 0..6_usize, any::<bool>(), any::<bool>())
        .prop_map(|(chunk, chunks, reverse, twice)| Trouble { chunk, chunks, reverse, twice });
    let step = prop_oneof![
        8 => (0..5_usize, any::<u8>(), 0..4_usize, any::<u8>())
            .prop_map(|(node, what, which, amount)| Step::Write { node, what, which, amount }),
        4 => (0..5_usize, 0..5_usize, trouble)
            .prop_map(|(a, b, trouble)| Step::Exchange { a, b, trouble }),
        1 => (0..5_usize).prop_map(Step::Restart),
        1 => (0..5_usize, 17..60_usize).prop_map(|(node, keep)| Step::Restore { node, keep }),
        1 => (0..5_usize, 0..5_usize).prop_map(|(from, to)| Step::Clone { from, to }),
    ];
    prop::collection::vec(step, 0..40)
}

fn snapshot() -> Vec<Sealed> {
    import(&files(), &View::default(), &mut recorder("snapshot"), &claim()).unwrap()
}

fn any_event(view: &View, amount: u8) -> Option<EventId> {
    let all = view.history(&ItemKey { kind: ItemKind::Rod, id: id("R06") });
    let pick = usize::from(amount) % all.len().max(1);
    all.get(pick).map(|told| told.reference.id.clone())
}

fn rod_body(item: ItemKey, what: u8, amount: u8) -> Option<Body> {
    let place = id(if amount.is_multiple_of(2) { "B1" } else { "S0" });
    let status = if amount.is_multiple_of(3) { Status::Ready } else { Status::Lost };
    let what = what % 16;
    Some(match what {
        0 => Body::Moved { item, from: None, to: place, pieces: None },
        1 => Body::Lent { item, to: id("client"), until: None },
        2 => Body::Returned { item, to: Some(place) },
        3 => Body::Rigged { rod: item.id, reel: id("E03"), leader: None },
        4 => Body::Unrigged { rod: item.id, reel: id("E03") },
        5 => Body::Used { item, minutes: u32::from(amount) },
        6 => Body::Broke { item, what: "tip".to_owned() },
        7 => Body::FoundDefect {
            item,
            what: "ring".to_owned(),
            usable: amount.is_multiple_of(2),
            condition: Some(Condition::C),
        },
        8 => {
            let reason = if amount < 40 { "" } else { "looked" }.to_owned();
            Body::Inspected { item, status: Status::Ready, condition: None, reason }
        }
        9 => Body::SentToService { item, to: None, back_by: None },
        10 => Body::Serviced { item, what: "ring".to_owned(), finished: true, condition: None },
        11 => Body::Found { item, at: Some(place) },
        12 => Body::Retired { item, reason: "old".to_owned() },
        13 => Body::StatusSet { item, status },
        14 => {
            let column = if amount.is_multiple_of(2) { "note" } else { "lure_raw" };
            let cell = Some(format!("{amount} g"));
            Body::Edited { item, columns: [(column.to_owned(), cell)].into() }
        }
        _ => return None,
    })
}

fn body(view: &View, what: u8, which: usize, amount: u8) -> Option<Body> {
    let lure = ItemKey { kind: ItemKind::Lure, id: id("L17") };
    let (measure, place) = (Measure::Pieces, Some(id("B1")));
    let reel = id("E03");
    Some(match which {
        0 | 1 => return rod_body(ItemKey { kind: ItemKind::Rod, id: id("R06") }, what, amount),
        2 if what < 60 => {
            Body::Counted { item: lure, measure, place, amount: u32::from(amount % 9) }
        }
        2 if what < 100 => {
            let pieces = Some(u32::from(amount % 3));
            Body::Moved { item: lure, from: place, to: id("S0"), pieces }
        }
        2 => Body::Adjusted { item: lure, measure, place, by: -1, why: Reason::Lost },
        _ if what < 50 => {
            let fitted = FittedLine { hours: Some(f64::from(amount)), ..FittedLine::default() };
            let (fitted, from) = (Some(Box::new(fitted)), Some(id("K02")));
            Body::Respooled { reel, fitted, from, taken_cm: Some(u32::from(amount)) }
        }
        _ if what < 80 => Body::Reversed { reel },
        _ if what < 110 => Body::CutBack { reel, cut_cm: u32::from(amount) },
        _ if what < 140 => {
            Body::Used { item: ItemKey { kind: ItemKind::Reel, id: reel }, minutes: 90 }
        }
        _ if what < 150 => {
            let item = view.find(&id("R06")).first()?.item().clone();
            Body::Acquired { item: Arc::new(Item { id: id("R99"), ..item }) }
        }
        _ => {
            let move_it = Body::Moved {
                item: ItemKey { kind: ItemKind::Rod, id: id("R06") },
                from: None,
                to: id("S0"),
                pieces: None,
            };
            let instead = (what > 200).then(|| Box::new(move_it));
            let target = any_event(view, amount)?;
            Body::Correction { target, instead, reason: "wrong".to_owned() }
        }
    })
}

fn run(nodes: &mut [Node], steps: Vec<Step>) -> usize {
    let count = nodes.len();
    let mut clones = 0;
    for step in steps {
        match step {
            Step::Write { node, what, which, amount } => {
                let node = &mut nodes[node % count];
                let Some(body) = body(&node.view, what, which, amount) else { continue };
                node.write(amount.is_multiple_of(5).then(|| id("B1")), body);
            }
            Step::Exchange { a, b, trouble } => pair(nodes, a % count, b % count, &trouble),
            Step::Restart(node) => nodes[node % count].restart(),
            Step::Restore { node, keep } => nodes[node % count].restore(keep),
            Step::Clone { from, to } => {
                // A copied disk that goes on as if it were the first one.
                let (disk, chain) =
                    (nodes[from % count].disk.clone(), nodes[from % count].chain.clone());
                let to = &mut nodes[to % count];
                if to.chain.device != chain.device {
                    clones += 1;
                    (to.disk, to.chain) = (disk, chain);
                    to.restart();
                }
            }
        }
    }
    clones
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    // Source: design rule: the same set of events gives the same state, whatever happened.
    #[test]
    fn nodes_agree_to_the_byte(count in 2..=5_usize, steps in steps(), seed in any::<u64>()) {
        let snapshot = snapshot();
        let mut nodes: Vec<_> = (0..count).map(|n| Node::new(n, &snapshot)).collect();
        let clones = run(&mut nodes, steps);
        meet(&mut nodes);
        let state = nodes[0].view.state().unwrap();
        let mut events = nodes[0].disk.clone();
        for node in &nodes {
            prop_assert!(node.view.state().unwrap() == state);
            prop_assert_eq!(&node.view, &nodes[0].view);
            prop_assert_eq!(node.disk.len(), events.len());
        }
        if clones == 0 {
            let is_fork = |c: &Conflict| matches!(c, Conflict::Fork { .. });
            let forked = nodes[0].view.conflicts().iter().any(is_fork);
            prop_assert!(!forked);
        }
        // From scratch, in another order.
        let mut random = seed;
        for i in (1..events.len()).rev() {
            random = random.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            events.swap(i, (random >> 33) as usize % (i + 1));
        }
        let scratch = View::fold(&events);
        prop_assert!(scratch.state().unwrap() == state);
        let mut one_by_one = View::default();
        for event in &events {
            one_by_one.apply(event);
        }
        prop_assert_eq!(&one_by_one, &scratch);
        prop_assert_eq!(&one_by_one, &nodes[0].view);
    }

    // Source: a box of lures whose true number the test knows (own invention).
    #[test]
    fn a_count_never_excludes_the_truth(
        count in 2..=5_usize,
        steps in prop::collection::vec((0..5_usize, 0..5_usize, 0..8_u8), 0..60),
    ) {
        let snapshot = snapshot();
        let mut nodes: Vec<_> = (0..count).map(|n| Node::new(n, &snapshot)).collect();
        let item = ItemKey { kind: ItemKind::Lure, id: id("L17") };
        let (measure, place) = (Measure::Pieces, Some(id("B1")));
        let key = CountKey { measure, place: place.clone() };
        let mut truth = 4_i32;
        for (a, b, what) in steps {
            let node = &mut nodes[a % count];
            let item = item.clone();
            let place = place.clone();
            match what {
                0..=2 if truth > 0 => {
                    truth -= 1;
                    let why = Reason::Lost;
                    node.write(None, Body::Adjusted { item, measure, place, by: -1, why });
                }
                3 => {
                    truth += 2;
                    let why = Reason::Bought;
                    node.write(None, Body::Adjusted { item, measure, place, by: 2, why });
                }
                4 => {
                    let amount = truth.unsigned_abs();
                    node.write(None, Body::Counted { item, measure, place, amount });
                }
                _ => {
                    let sound =
                        Trouble { chunk: 3, chunks: usize::from(what), reverse: false, twice: true };
                    pair(&mut nodes, a % count, b % count, &sound);
                }
            }
        }
        meet(&mut nodes);
        let told = |node: &Node| node.view.tell(&item).unwrap().counts[&key].clone();
        let range = told(&nodes[0]);
        let truth = truth.unsigned_abs();
        prop_assert!((range.low..=range.high).contains(&truth), "{truth} not in {range:?}");
        nodes[0].write(None, Body::Counted { item: item.clone(), measure, place, amount: truth });
        let sure = told(&nodes[0]);
        prop_assert_eq!((sure.low, sure.high, sure.recount), (truth, truth, false));
    }
}

// Source: a clone that writes on makes two events of one number (design rule).
#[test]
fn a_clone_is_found_out_and_replaces_nothing() {
    let snapshot = snapshot();
    let mut nodes: Vec<_> = (0..3).map(|n| Node::new(n, &snapshot)).collect();
    let rod = || ItemKey { kind: ItemKind::Rod, id: id("R06") };
    nodes[0].write(None, Body::Note { item: rod(), text: "sound".to_owned() });
    nodes[1] = Node { chain: nodes[0].chain.clone(), ..Node::new(0, &nodes[0].disk) };
    nodes[0].write(None, Body::Moved { item: rod(), from: None, to: id("S0"), pieces: None });
    nodes[1].write(None, Body::Broke { item: rod(), what: "tip".to_owned() });
    meet(&mut nodes);
    let view = &nodes[2].view;
    let fork = EventId { chain: nodes[0].chain.clone(), sequence: 2 };
    let [Conflict::Fork { id: at, hashes }] = &view.conflicts()[..] else { panic!() };
    assert_eq!((at, hashes.len()), (&fork, 2));
    // Neither branch replaces what was there, but both are heard: nobody counts on the rod.
    let entry = view.get(&rod()).unwrap();
    assert!(entry.is_contested());
    assert_eq!((entry.item().status, &entry.item().place), (Status::Broken, &None));
    // A person who looked settles it.
    let body = Body::Inspected {
        item: rod(),
        status: Status::Ready,
        condition: None,
        reason: "the other rod broke".to_owned(),
    };
    nodes[2].write(Some(id("S0")), body);
    let entry = nodes[2].view.get(&rod()).unwrap();
    assert!(!entry.is_contested());
    assert_eq!((entry.item().status, &entry.item().place), (Status::Ready, &Some(id("S0"))));
}
