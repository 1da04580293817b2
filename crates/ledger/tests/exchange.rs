//! What an exchange lets through, what it refuses, and what it sends.
//! Source: own rules, as the module states them; RFC 8032 for the signatures.
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

use std::collections::BTreeMap;

use deepbend_ledger::body::Body;
use deepbend_ledger::event::{Certainty, Chain, Claim, Hash, Head, Recorder, Remark, Sealed};
use deepbend_ledger::exchange::{DeviceKey, Fault, Fork, Inbox, Raw, Signature, Tips, Waits};
use deepbend_ledger::fold::{Effect, Founder, Why};
use deepbend_ledger::id::Id;
use deepbend_ledger::item::{ItemKey, ItemKind};
use deepbend_ledger::time::ObservedTime;
use deepbend_ledger::view::{EventRef, View};
use proptest::prelude::*;

fn id(text: &str) -> Id {
    Id::new(text).unwrap()
}

fn claim() -> Claim {
    let observed_time = ObservedTime::new("2031-09-15T17:00:00Z").unwrap();
    Claim { observed_time, actor: id("guide"), certainty: Certainty::Seen }
}

fn recorder(device: &str) -> Recorder {
    Recorder::begin(Chain { device: id(device), incarnation: 1 }, 1)
}

fn note(text: &str) -> Body {
    let item = ItemKey { kind: ItemKind::Rod, id: id("R06") };
    Body::Note { item, text: text.to_owned() }
}

/// `count` events of one device, from its first one.
fn chain(device: &str, count: usize) -> Vec<Sealed> {
    let mut recorder = recorder(device);
    let events = (0..count).map(|n| {
        let remark = Remark::from(claim());
        recorder.write(&View::default(), &remark, note(&n.to_string())).unwrap()
    });
    events.collect()
}

fn key(n: u8) -> DeviceKey {
    DeviceKey::from_secret(&[n; 32])
}

fn raw(event: &Sealed) -> Raw {
    Raw { bytes: event.bytes().to_vec(), signature: None }
}

fn signed(event: &Sealed, key: &DeviceKey) -> Raw {
    Raw { bytes: event.bytes().to_vec(), signature: Some(key.sign(&event.hash())) }
}

/// A fleet that the device `shed` founded with key 1.
fn founded() -> View {
    View::founded_by(Founder { device: id("shed"), key: key(1).public() })
}

fn take(inbox: &mut Inbox, view: &mut View, chunk: Vec<Raw>) -> (usize, Vec<String>) {
    let taken = inbox.take(view, chunk);
    for signed in &taken.accepted {
        assert!(view.apply(&signed.event));
    }
    let refused = taken.refused.iter().map(|refused| refused.fault.to_string()).collect();
    (taken.accepted.len(), refused)
}

fn enrol(device: &str, key: &DeviceKey, keeper: bool) -> Body {
    Body::Enrolled { device: id(device), key: key.public(), keeper }
}

#[test]
fn gaps_wait_and_what_is_twice_is_told() {
    let (mut inbox, mut view) = (Inbox::default(), View::default());
    let events = chain("a", 4);
    assert_eq!(take(&mut inbox, &mut view, vec![raw(&events[2]), raw(&events[0])]).0, 1);
    let waiting: Vec<_> = inbox.waiting().collect();
    assert_eq!(waiting, [(EventRef::to(&events[2]), Waits::Predecessor)]);
    let again = inbox.take(&view, vec![raw(&events[0]), raw(&events[2])]);
    assert_eq!((again.duplicates, again.accepted.len()), (2, 0));
    assert_eq!(take(&mut inbox, &mut view, vec![raw(&events[3]), raw(&events[1])]).0, 3);
    assert_eq!(inbox.waiting().count(), 0);
    assert_eq!(view, View::fold(&events));
}

#[test]
fn what_is_malformed_or_broken_is_refused_and_the_rest_goes_on() {
    let (mut inbox, mut view) = (Inbox::default(), View::default());
    let events = chain("a", 3);
    let mut junk = raw(&events[1]);
    junk.bytes.truncate(30);
    let taken = inbox.take(&view, vec![junk, raw(&events[0])]);
    assert_eq!(taken.accepted.len(), 1);
    assert!(matches!(taken.refused[0].fault, Fault::Malformed(_)));
    assert_eq!(taken.refused[0].index, Some(0));
    view.apply(&events[0]);
    // Its text changed on the way: it is another event, and names one that nobody has next.
    let text = String::from_utf8(events[1].bytes().to_vec()).unwrap();
    let changed = text.replace("\"text\":\"1\"", "\"text\":\"7\"");
    assert_ne!(text, changed);
    view.apply(&events[1]);
    let mut other = recorder("a");
    other.write(&View::default(), &Remark::from(claim()), note("x")).unwrap();
    let odd = other.write(&View::default(), &Remark::from(claim()), note("y")).unwrap();
    let taken = inbox.take(&view, vec![raw(&odd), raw(&events[2])]);
    assert_eq!(taken.accepted.len(), 1);
    assert!(matches!(taken.refused[0].fault, Fault::Broken { .. }));
}

#[test]
fn a_fork_is_told_with_its_proof() {
    let (mut inbox, mut view) = (Inbox::default(), View::default());
    let events = chain("a", 2);
    events.iter().for_each(|event| assert!(view.apply(event)));
    let head = Head { sequence: 1, hash: events[0].hash() };
    let mut clone = Recorder::after(recorder("a").chain().clone(), &head);
    let other = clone.write(&view, &Remark::from(claim()), note("clone")).unwrap();
    let taken = inbox.take(&view, vec![raw(&other)]);
    let id = events[1].event().id.clone();
    let proof = Fork { id, known: events[1].hash(), arrived: other.hash() };
    assert_eq!(taken.forks, [proof]);
    assert_eq!(taken.accepted.len(), 1, "both branches are wanted for quarantine");
}

#[test]
fn nobody_writes_under_another_name() {
    let (mut inbox, mut view) = (Inbox::default(), founded());
    let (founder, boat, thief) = (key(1), key(2), key(3));
    let mut shed = recorder("shed");
    let remark = Remark::from(claim());
    let events = chain("boat", 3);
    let good: Vec<_> = events.iter().map(|event| signed(event, &boat)).collect();
    // Nobody knows the device yet: it waits.
    assert_eq!(take(&mut inbox, &mut view, good).0, 0);
    assert!(inbox.waiting().all(|(_, waits)| waits == Waits::Enrolment));
    let enrolment = shed.write(&view, &remark, enrol("boat", &boat, false)).unwrap();
    // Not even the founder's name without the founder's key.
    let (accepted, refused) = take(&mut inbox, &mut view, vec![signed(&enrolment, &thief)]);
    assert_eq!((accepted, refused.len()), (0, 1));
    assert_eq!(take(&mut inbox, &mut view, vec![signed(&enrolment, &founder)]).0, 1);
    assert_eq!(take(&mut inbox, &mut view, Vec::new()).0, 3);
    // A device without a keeper's right enrols nobody.
    let mut own = Recorder::after(
        events[2].event().id.chain.clone(),
        &Head { sequence: 3, hash: events[2].hash() },
    );
    let friend = own.write(&view, &remark, enrol("friend", &thief, true)).unwrap();
    assert_eq!(take(&mut inbox, &mut view, vec![signed(&friend, &boat)]).0, 1);
    assert!(view.roll().member(&id("friend")).is_none());
    let effect = |event: &Sealed| view.effect(&EventRef::to(event)).unwrap();
    assert_eq!(effect(&friend), Effect::Nothing(Why::NotKeeper));
    assert_eq!(effect(&enrolment), Effect::Acts);
    let forged = chain("boat", 5).remove(4);
    let (accepted, _) = take(&mut inbox, &mut view, vec![signed(&forged, &thief)]);
    assert_eq!(accepted, 0);
}

// Common practice, no source: a device that lost its key is enrolled anew, and what it wrote since
// may come together with that.
#[test]
fn a_new_key_may_come_with_what_it_signed() {
    let (mut inbox, mut view) = (Inbox::default(), founded());
    let (old, new, thief) = (key(2), key(3), key(4));
    let (mut shed, remark) = (recorder("shed"), Remark::from(claim()));
    let first = shed.write(&view, &remark, enrol("boat", &old, false)).unwrap();
    let again = shed.write(&view, &remark, enrol("boat", &new, false)).unwrap();
    let events = chain("boat", 3);
    let begun = vec![signed(&first, &key(1)), signed(&events[0], &old)];
    assert_eq!(take(&mut inbox, &mut view, begun), (1, Vec::new()));
    assert_eq!(take(&mut inbox, &mut view, Vec::new()), (1, Vec::new()));
    // The chain of the boat is looked at before that of the shed.
    let chunk = vec![signed(&events[1], &new), signed(&events[2], &thief), signed(&again, &key(1))];
    assert_eq!(take(&mut inbox, &mut view, chunk), (1, Vec::new()));
    let (accepted, refused) = take(&mut inbox, &mut view, Vec::new());
    assert_eq!((accepted, refused.len()), (1, 1), "the thief's is refused then");
    assert_eq!(inbox.waiting().count(), 0);
}

#[test]
fn one_good_signature_vouches_for_what_is_before_it() {
    let (mut inbox, mut view) = (Inbox::default(), founded());
    let events = chain("shed", 6);
    let founder = key(1);
    // Nothing vouches for the first four yet: they wait.
    let unsigned = events[..4].iter().map(raw).collect();
    assert_eq!(take(&mut inbox, &mut view, unsigned).0, 0);
    assert!(inbox.waiting().all(|(_, waits)| waits == Waits::Signature));
    let taken = inbox.take(&view, vec![signed(&events[4], &founder), raw(&events[5])]);
    assert_eq!(taken.accepted.len(), 5);
    let kept: Vec<_> = taken.accepted.iter().map(|s| s.signature.is_some()).collect();
    assert_eq!(kept, [false, false, false, false, true]);
    // A signature that is wrong takes only its own event with it.
    let mut inbox = Inbox::default();
    let mut chunk: Vec<_> = events[..5].iter().map(|e| signed(e, &founder)).collect();
    chunk.push(signed(&events[5], &key(9)));
    let taken = inbox.take(&view, chunk);
    assert_eq!(taken.accepted.len(), 5);
    assert!(matches!(taken.refused[0].fault, Fault::BadSignature { .. }));
}

#[test]
fn a_long_run_keeps_a_signature_here_and_there() {
    let (mut inbox, view) = (Inbox::default(), founded());
    let events = chain("shed", 1000);
    let chunk = events.iter().map(|event| signed(event, &key(1))).collect();
    let taken = inbox.take(&view, chunk);
    assert_eq!(taken.accepted.len(), 1000);
    let signed: Vec<_> = (0..1000).filter(|&n| taken.accepted[n].signature.is_some()).collect();
    assert_eq!(signed, [231, 487, 743, 999]);
}

#[test]
fn what_a_revoked_device_wrote_later_counts_for_nothing() {
    let mut view = founded();
    let (boat, mate) = (key(2), key(3));
    let mut shed = recorder("shed");
    let remark = Remark::from(claim());
    for (name, key, keeper) in [("boat", &boat, true), ("mate", &mate, false)] {
        let event = shed.write(&view, &remark, enrol(name, key, keeper)).unwrap();
        view.apply(&event);
    }
    let events = chain("boat", 3);
    events.iter().for_each(|event| assert!(view.apply(event)));
    let last = BTreeMap::from([(1, 2)]);
    let body = Body::Revoked { device: id("boat"), last, reason: "left on the bus".to_owned() };
    let revocation = shed.write(&view, &remark, body).unwrap();
    view.apply(&revocation);
    let item = ItemKey { kind: ItemKind::Rod, id: id("R06") };
    let story = view.tell(&item).unwrap();
    let effect = |event: &Sealed| story.effects[&EventRef::to(event)].clone();
    assert_eq!(effect(&events[2]), Effect::Nothing(Why::NotEnrolled));
    assert_ne!(effect(&events[1]), Effect::Nothing(Why::NotEnrolled));
    // The thief of the tablet, a keeper's, revokes the founder and the other boat in vain, and
    // enrols in vain.
    let head = Head { sequence: 3, hash: events[2].hash() };
    let mut thief = Recorder::after(events[2].event().id.chain.clone(), &head);
    for device in ["shed", "mate"] {
        let last = BTreeMap::new();
        let body = Body::Revoked { device: id(device), last, reason: "x".to_owned() };
        let event = thief.write(&view, &remark, body).unwrap();
        view.apply(&event);
        let effect = view.effect(&EventRef::to(&event));
        assert_eq!(effect, Some(Effect::Nothing(Why::NotEnrolled)));
    }
    let event = thief.write(&view, &remark, enrol("thief", &key(4), true)).unwrap();
    view.apply(&event);
    let roll = view.roll();
    assert!(roll.member(&id("thief")).is_none());
    assert!(roll.member(&id("mate")).unwrap().revoked.is_none());
    assert!(roll.member(&id("shed")).unwrap().revoked.is_none());
    assert!(roll.member(&id("boat")).unwrap().revoked.is_some());
}

/// Source: own rule: a slip of a keeper can be put right, and no thief puts a revocation right.
#[test]
fn a_revocation_is_taken_back_by_a_keeper_above_alone() {
    let mut view = founded();
    let mut shed = recorder("shed");
    let remark = Remark::from(claim());
    let mut all = Vec::new();
    for (name, key, keeper) in [("boat", &key(2), true), ("mate", &key(3), true)] {
        let event = shed.write(&view, &remark, enrol(name, key, keeper)).unwrap();
        view.apply(&event);
        all.push(event);
    }
    let boat_events = chain("boat", 3);
    all.extend(boat_events.iter().cloned());
    boat_events.iter().for_each(|event| assert!(view.apply(event)));
    let last = BTreeMap::from([(1, 2)]);
    let body = Body::Revoked { device: id("boat"), last, reason: "a slip".to_owned() };
    let revocation = shed.write(&view, &remark, body).unwrap();
    view.apply(&revocation);
    all.push(revocation.clone());
    let is_revoked = |view: &View| view.roll().member(&id("boat")).unwrap().revoked.is_some();
    let correct = |target: &Sealed, instead: Option<Body>| Body::Correction {
        target: target.event().id.clone(),
        instead: instead.map(Box::new),
        reason: "it was in the locker".to_owned(),
    };
    let effect = |view: &View, event: &Sealed| view.effect(&EventRef::to(event)).unwrap();
    // The device itself, a keeper beside it, and something else instead.
    let head = Head { sequence: 3, hash: boat_events[2].hash() };
    let mut boat = Recorder::after(boat_events[2].event().id.chain.clone(), &head);
    let by_itself = boat.write(&view, &remark, correct(&revocation, None)).unwrap();
    let by_mate = recorder("mate").write(&view, &remark, correct(&revocation, None)).unwrap();
    let instead = Some(enrol("boat", &key(9), true));
    let by_other = shed.write(&view, &remark, correct(&revocation, instead)).unwrap();
    for (event, why) in [
        (&by_itself, Why::NotEnrolled),
        (&by_mate, Why::NotKeeper),
        (&by_other, Why::NotCorrectable),
    ] {
        view.apply(event);
        all.push(event.clone());
        assert_eq!(effect(&view, event), Effect::Nothing(why));
        assert!(is_revoked(&view));
    }
    let by_founder = shed.write(&view, &remark, correct(&revocation, None)).unwrap();
    view.apply(&by_founder);
    all.push(by_founder.clone());
    assert_eq!(effect(&view, &by_founder), Effect::Acts);
    assert!(!is_revoked(&view));
    assert_ne!(effect(&view, &boat_events[2]), Effect::Nothing(Why::NotEnrolled));
    // In any order: the correction may come before what it corrects.
    for turn in 0..all.len() {
        let mut other = founded();
        let (late, early) = all.split_at(turn);
        other.extend(early.iter().rev());
        late.iter().rev().for_each(|event| assert!(other.apply(event)));
        assert_eq!(other.state().unwrap(), view.state().unwrap(), "{turn}");
    }
    let again = shed.write(&view, &remark, correct(&by_founder, None)).unwrap();
    view.apply(&again);
    assert!(is_revoked(&view));
}

#[test]
fn only_what_is_missing_is_sent() {
    let (one, two) = (chain("a", 40), chain("b", 30));
    let all = View::fold(one.iter().chain(&two));
    let some = View::fold(one[..25].iter().chain(&two));
    let none = Tips::default();
    assert_eq!(all.lacking(&Tips::default(), &none).len(), 70);
    assert_eq!(all.lacking(&some.tips(), &some.landmarks(&all.tips())).len(), 15);
    // Who is behind has nothing to send, though it does not know the other's last event.
    let marks = all.landmarks(&some.tips());
    assert!(marks.iter().next().is_none());
    assert!(some.lacking(&all.tips(), &marks).is_empty());
    // A fork sends about its branch, not the chain: landmarks are 16 times further back each.
    let mut clone = Recorder::after(
        recorder("a").chain().clone(),
        &Head { sequence: 38, hash: one[37].hash() },
    );
    let mut forked = View::fold(one[..38].iter().chain(&two));
    for text in ["x", "y", "z"] {
        let event = clone.write(&forked, &Remark::from(claim()), note(text)).unwrap();
        forked.apply(&event);
    }
    let sent = all.lacking(&forked.tips(), &forked.landmarks(&all.tips()));
    assert!(sent.len() >= 2 && sent.len() <= 16, "{}", sent.len());
    let sent = forked.lacking(&all.tips(), &all.landmarks(&forked.tips()));
    assert!(sent.len() >= 3 && sent.len() <= 17, "{}", sent.len());
}

proptest! {
    // Source: own rule: a peer that lies changes nothing here, and nothing panics or spins.
    #[test]
    fn lies_about_tips_do_no_harm(
        lies in prop::collection::vec((0..3_usize, any::<u64>(), any::<[u8; 32]>()), 0..8),
        true_too in any::<bool>(),
    ) {
        let events = chain("a", 20);
        let view = View::fold(&events);
        let mut tips = if true_too { view.tips() } else { Tips::default() };
        for (chain, sequence, hash) in lies {
            let head = Head { sequence, hash: Hash::from_bytes(hash) };
            tips.add(recorder(["a", "b", "c"][chain]).chain(), head);
        }
        let marks = view.landmarks(&tips);
        prop_assert!(view.lacking(&tips, &tips).len() <= 20);
        prop_assert!(view.lacking(&tips, &marks).len() <= 20);
    }

    #[test]
    fn no_bytes_panic_the_inbox(
        chunk in prop::collection::vec(
            (prop::collection::vec(any::<u8>(), 0..60), prop::option::of(any::<u8>())), 0..6),
    ) {
        let (mut inbox, view) = (Inbox::default(), founded());
        let chunk: Vec<_> = chunk.into_iter().map(|(bytes, signature)| Raw {
            bytes,
            signature: signature.and_then(|b| Signature::read(&[b; 64])),
        }).collect();
        let count = chunk.len();
        prop_assert_eq!(inbox.take(&view, chunk).refused.len(), count);
    }
}
