//! What events mean: who may do what, what corrections give back, how lines age, what is due.
//! Source, where none is named beside a test: the trade's rules, common practice, no source.
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

use deepbend_core::gear::Line;
use deepbend_core::quantity::Length;
use deepbend_ledger::body::{Body, Measure, Reason};
use deepbend_ledger::due::{Work, due};
use deepbend_ledger::event::{Claim, Event, EventId, Recorder, Remark, Sealed};
use deepbend_ledger::fold::{Disputed, Effect, Field, Why};
use deepbend_ledger::id::Id;
use deepbend_ledger::import::import;
use deepbend_ledger::item::{Condition, FittedLine, Item, ItemKey, ItemKind, Spec, Status};
use deepbend_ledger::time::{Date, ObservedTime};
use deepbend_ledger::view::{EventRef, View};
use std::sync::Arc;

mod fleet;
use fleet::{claim, files, recorder};

fn id(text: &str) -> Id {
    Id::new(text).unwrap()
}

/// A device with its own view.
struct Device {
    recorder: Recorder,
    view: View,
}

impl Device {
    fn new(name: &str) -> Self {
        let snapshot =
            import(&files(), &View::default(), &mut recorder("snapshot"), &claim()).unwrap();
        Self { recorder: recorder(name), view: View::fold(&snapshot) }
    }

    fn write(&mut self, body: Body) -> Sealed {
        let event = self.recorder.write(&self.view, &Remark::from(claim()), body).unwrap();
        self.view.apply(&event);
        event
    }

    /// Writes, and tells what became of it for the item.
    fn effect(&mut self, item: &ItemKey, body: Body) -> Effect {
        let event = self.write(body);
        self.view.tell(item).unwrap().effects[&EventRef::to(&event)].clone()
    }

    fn status(&self, item: &ItemKey) -> Status {
        self.view.get(item).unwrap().item().status
    }
}

fn rod() -> ItemKey {
    ItemKey { kind: ItemKind::Rod, id: id("R06") }
}

fn reel() -> ItemKey {
    ItemKey { kind: ItemKind::Reel, id: id("E12") }
}

fn lure() -> ItemKey {
    ItemKey { kind: ItemKind::Lure, id: id("L17") }
}

fn broke() -> Body {
    Body::Broke { item: rod(), what: "crack above the ferrule".to_owned() }
}

fn set(status: Status) -> Body {
    Body::StatusSet { item: rod(), status }
}

fn inspected(status: Status, reason: &str) -> Body {
    Body::Inspected { item: rod(), status, condition: None, reason: reason.to_owned() }
}

fn moved(to: &str) -> Body {
    Body::Moved { item: rod(), from: None, to: id(to), pieces: None }
}

fn correct(target: &EventId, instead: Option<Body>) -> Body {
    let instead = instead.map(Box::new);
    Body::Correction { target: target.clone(), instead, reason: "wrong".to_owned() }
}

#[test]
fn a_broken_rod_is_ready_only_after_an_inspection_that_knew_of_it() {
    let mut boat = Device::new("boat");
    let needs = Why::NeedsInspection { was: Status::Broken };
    boat.write(broke());
    assert_eq!(boat.effect(&rod(), set(Status::Ready)), Effect::Nothing(needs.clone()));
    let sent = Body::SentToService { item: rod(), to: None, back_by: None };
    boat.write(sent);
    assert_eq!(boat.status(&rod()), Status::InService);
    let done =
        Body::Serviced { item: rod(), what: "glued".to_owned(), finished: true, condition: None };
    assert_eq!(boat.effect(&rod(), done), Effect::InPart(needs.clone()));
    assert_eq!(boat.status(&rod()), Status::InService);
    // It was lent all the same: the loan is a fact, and it is broken.
    let lent = Body::Lent { item: rod(), to: id("client"), until: None };
    assert_eq!(boat.effect(&rod(), lent), Effect::InPart(needs));
    assert_eq!(boat.status(&rod()), Status::Broken);
    assert_eq!(boat.effect(&rod(), inspected(Status::Ready, " ")), Effect::Nothing(Why::NoReason));
    boat.write(inspected(Status::InService, "wait for the glue"));
    assert!(matches!(boat.effect(&rod(), set(Status::Ready)), Effect::Nothing(_)));
    boat.write(inspected(Status::Ready, "cut off, new tip, bent to 3 kg"));
    assert_eq!(boat.status(&rod()), Status::Ready);
    boat.write(Body::Lost { item: rod() });
    boat.write(Body::Found { item: rod(), at: Some(id("S0")) });
    assert_eq!(boat.status(&rod()), Status::Ready);
    boat.write(broke());
    assert!(matches!(boat.effect(&rod(), set(Status::Ready)), Effect::Nothing(_)));
}

#[test]
fn a_clock_that_was_set_back_a_year_changes_no_order() {
    let mut boat = Device::new("boat");
    let at = |boat: &mut Device, time: &str, body: Body| {
        let observed_time = ObservedTime::new(time).unwrap();
        let remark = Remark::from(Claim { observed_time, ..claim() });
        let event = boat.recorder.write(&boat.view, &remark, body).unwrap();
        boat.view.apply(&event);
        event
    };
    let braid = || Body::Respooled {
        reel: reel().id,
        fitted: Some(Box::default()),
        from: None,
        taken_cm: None,
    };
    let (now, back) = ("2031-09-15T17:00:00Z", "2030-09-15T17:00:00Z");
    let events = [
        at(&mut boat, now, moved("B1")),
        at(&mut boat, now, braid()),
        at(&mut boat, back, moved("B2")),
        at(&mut boat, back, Body::Reversed { reel: reel().id }),
    ];
    let entry = boat.view.get(&rod()).unwrap();
    assert_eq!((entry.item().place.clone(), entry.is_contested()), (Some(id("B2")), false));
    // A line that was put on a year from now is not old, and what is due can be told.
    let line_is_due = |boat: &Device, today| {
        let due = due(&boat.view, Date::read(today).unwrap());
        due.iter().any(|due| due.item == reel() && matches!(due.work, Work::Line(_)))
    };
    assert!(!line_is_due(&boat, "2030-09-16"));
    assert!(line_is_due(&boat, "2032-09-16"));
    let mut other = Device::new("other");
    other.view.extend(events.iter().rev());
    assert_eq!(other.view.get(&rod()).unwrap().item().place, Some(id("B2")));
}

#[test]
fn an_inspection_that_did_not_know_of_the_breakage_counts_for_nothing() {
    let (mut one, mut other) = (Device::new("one"), Device::new("other"));
    let crack = one.write(broke());
    let looked = other.write(inspected(Status::Ready, "all well"));
    one.view.apply(&looked);
    assert_eq!(one.status(&rod()), Status::Broken, "the more cautious of two");
    assert!(one.view.get(&rod()).unwrap().is_contested());
    assert!(matches!(one.effect(&rod(), set(Status::Ready)), Effect::Nothing(_)));
    other.view.apply(&crack);
    other.write(inspected(Status::Ready, "it is the varnish"));
    assert_eq!(other.status(&rod()), Status::Ready);
    assert!(!other.view.get(&rod()).unwrap().is_contested());
}

#[test]
fn the_more_cautious_status_counts() {
    let order = [
        (set(Status::Ready), Status::Ready),
        (Body::Lent { item: rod(), to: id("x"), until: None }, Status::OnLoan),
        (Body::SentToService { item: rod(), to: None, back_by: None }, Status::InService),
        (broke(), Status::Broken),
        (Body::Lost { item: rod() }, Status::Lost),
        (Body::Retired { item: rod(), reason: "old".to_owned() }, Status::Retired),
    ];
    for (i, (lesser, _)) in order.iter().enumerate() {
        for (greater, status) in &order[i + 1..] {
            let (mut one, mut other) = (Device::new("one"), Device::new("other"));
            one.write(lesser.clone());
            let event = other.write(greater.clone());
            one.view.apply(&event);
            assert_eq!(one.status(&rod()), *status);
            assert!(one.view.get(&rod()).unwrap().is_contested());
        }
    }
}

#[test]
fn who_saw_it_claims_its_place() {
    let mut boat = Device::new("boat");
    boat.write(moved("S0"));
    let remark = Remark { seen_at: Some(id("B1")), ..Remark::from(claim()) };
    let note = || Body::Note { item: rod(), text: "soft tip".to_owned() };
    // The claim of this test is typed: where the typist stood says nothing.
    let typed = boat.recorder.write(&boat.view, &remark, note()).unwrap();
    boat.view.apply(&typed);
    let place = |boat: &Device| boat.view.get(&rod()).unwrap().item().place.clone();
    assert_eq!(place(&boat), Some(id("S0")));
    let mut remark = remark;
    remark.claim.certainty = deepbend_ledger::event::Certainty::Seen;
    let seen = boat.recorder.write(&boat.view, &remark, note()).unwrap();
    boat.view.apply(&seen);
    assert_eq!(place(&boat), Some(id("B1")));
}

#[test]
fn a_correction_gives_back_what_was_before() {
    let mut boat = Device::new("boat");
    let place = |boat: &Device| boat.view.get(&rod()).unwrap().item().place.clone();
    let wrong = boat.write(moved("S0")).event().id.clone();
    let first = boat.write(correct(&wrong, None)).event().id.clone();
    assert_eq!(place(&boat), Some(id("B1")));
    assert!(!boat.view.get(&rod()).unwrap().is_contested());
    // The correction is corrected: the event stands again.
    let second = boat.write(correct(&first, None)).event().id.clone();
    assert_eq!(place(&boat), Some(id("S0")));
    boat.write(correct(&second, None));
    assert_eq!(place(&boat), Some(id("B1")));
    // A corrected breakage needs no inspection.
    let wrong = boat.write(broke()).event().id.clone();
    boat.write(correct(&wrong, Some(moved("S0"))));
    assert_eq!((boat.status(&rod()), place(&boat)), (Status::Ready, Some(id("S0"))));
    let key = rod();
    let told: Vec<_> = boat.view.history(&key).into_iter().map(|told| told.effect).collect();
    assert_eq!(told.len(), 7, "nothing is ever dropped: {told:?}");
    assert!(told.iter().any(|e| matches!(e, Effect::Nothing(Why::Corrected { .. }))));
}

#[test]
fn a_corrected_event_that_was_replaced_stays_replaced() {
    let mut boat = Device::new("boat");
    let wrong = boat.write(moved("S0")).event().id.clone();
    boat.write(moved("B1"));
    boat.write(correct(&wrong, Some(moved("S0"))));
    let entry = boat.view.get(&rod()).unwrap();
    assert_eq!(entry.item().place, Some(id("B1")));
    assert!(!entry.is_contested());
}

#[test]
fn two_corrections_of_one_event_contradict_each_other() {
    let (mut one, mut other) = (Device::new("one"), Device::new("other"));
    let wrong = one.write(moved("S0"));
    other.view.apply(&wrong);
    let target = wrong.event().id.clone();
    one.write(correct(&target, Some(moved("B1"))));
    let second = other.write(correct(&target, Some(moved("S0"))));
    one.view.apply(&second);
    let entry = one.view.get(&rod()).unwrap();
    assert_eq!(entry.disputes().iter().next(), Some(&Disputed::Field(Field::Place)));
}

#[test]
fn a_correction_of_what_was_never_seen_is_pending() {
    let (mut one, mut other) = (Device::new("one"), Device::new("other"));
    let unseen = one.write(moved("S0"));
    let target = unseen.event().id.clone();
    let early = other.write(correct(&target, None));
    one.view.apply(&early);
    let story = one.view.tell(&rod()).unwrap();
    let pending = Effect::Nothing(Why::TargetUnseen { target: target.clone() });
    assert_eq!(story.effects[&EventRef::to(&early)], pending);
    assert_eq!(one.view.get(&rod()).unwrap().item().place, Some(id("S0")));
    // A correction that arrives before its target waits for it.
    let mut third = Device::new("third");
    third.view.apply(&unseen);
    let late = third.write(correct(&target, None));
    let mut fourth = Device::new("fourth");
    fourth.view.apply(&late);
    assert!(fourth.view.tell(&rod()).unwrap().effects.len() == 1, "its item is not known yet");
    fourth.view.apply(&unseen);
    assert_eq!(fourth.view.get(&rod()).unwrap().item().place, Some(id("B1")));
}

// Source: own rule: no circle and no depth stops the fold.
#[test]
fn corrections_in_circles_and_towers_have_no_effect() {
    let mut boat = Device::new("boat");
    let future = EventId { chain: recorder("boat").chain().clone(), sequence: 1 };
    let circle = boat.write(correct(&future, None));
    let unseen = Why::TargetUnseen { target: future };
    assert_eq!(boat.view.effect(&EventRef::to(&circle)), Some(Effect::Nothing(unseen)));
    assert_eq!(boat.view.get(&rod()).unwrap().item().place, Some(id("B1")));
    let mut target = boat.write(moved("S0")).event().id.clone();
    for _ in 0..200 {
        target = boat.write(correct(&target, None)).event().id.clone();
    }
    let last = boat.write(correct(&target, None));
    let too_deep = Effect::Nothing(Why::TooDeep);
    assert_eq!(boat.view.effect(&EventRef::to(&last)), Some(too_deep));
}

#[test]
fn a_corrected_loss_is_not_taken_off_a_later_count() {
    let mut boat = Device::new("boat");
    let lost = |by| Body::Adjusted {
        item: lure(),
        measure: Measure::Pieces,
        place: None,
        by,
        why: Reason::Lost,
    };
    let count = |boat: &Device| boat.view.get(&lure()).unwrap().item().quantity;
    assert_eq!(count(&boat), Some(4));
    let wrong = boat.write(lost(-1)).event().id.clone();
    boat.write(correct(&wrong, Some(lost(-2))));
    assert_eq!(count(&boat), Some(2));
    let wrong = boat.write(lost(-1)).event().id.clone();
    let counted = Body::Counted { item: lure(), measure: Measure::Pieces, place: None, amount: 1 };
    boat.write(counted);
    boat.write(correct(&wrong, Some(lost(-2))));
    assert_eq!(count(&boat), Some(1), "the count was made after the loss");
    boat.write(lost(-3));
    let entry = boat.view.get(&lure()).unwrap();
    assert_eq!(entry.item().quantity, Some(0));
    assert!(entry.is_contested(), "more went than was there");
}

#[test]
fn pieces_are_moved_by_number() {
    let mut boat = Device::new("boat");
    let move_it = |pieces| Body::Moved { item: lure(), from: None, to: id("S0"), pieces };
    assert_eq!(boat.effect(&lure(), move_it(None)), Effect::Nothing(Why::SayHowMany));
    boat.write(move_it(Some(3)));
    let story = boat.view.tell(&lure()).unwrap();
    let counts: Vec<_> =
        story.counts.iter().map(|(key, count)| (key.to_string(), count.low)).collect();
    assert_eq!(counts, [("count at B1".to_owned(), 1), ("count at S0".to_owned(), 3)]);
    let item = boat.view.get(&lure()).unwrap().item();
    assert_eq!((item.quantity, &item.place), (Some(4), &Some(id("S0"))));
    let count = Body::Counted { item: rod(), measure: Measure::Pieces, place: None, amount: 1 };
    assert_eq!(boat.effect(&rod(), count), Effect::Nothing(Why::NotCounted));
}

#[test]
fn pieces_that_two_boats_took_are_nowhere_for_sure_until_they_are_counted_there() {
    let (mut one, mut other, mut third) =
        (Device::new("one"), Device::new("other"), Device::new("third"));
    // Of the four on B1 one takes three ashore and the other two to B2.
    let take = |to, pieces| Body::Moved {
        item: lure(),
        from: Some(id("B1")),
        to: id(to),
        pieces: Some(pieces),
    };
    let count = |place, amount| Body::Counted {
        item: lure(),
        measure: Measure::Pieces,
        place: Some(id(place)),
        amount,
    };
    let ranges = |device: &Device| -> Vec<_> {
        let story = device.view.tell(&lure()).unwrap();
        story.counts.iter().map(|(at, c)| (at.to_string(), c.low, c.high, c.recount)).collect()
    };
    let at = |place, low, high, recount| (format!("count at {place}"), low, high, recount);
    let ashore = one.write(take("S0", 3));
    let away = other.write(take("B2", 2));
    // Whoever took without a rival took for sure.
    let [b1, s0] = [at("B1", 1, 1, false), at("S0", 3, 3, false)];
    assert_eq!(ranges(&one), [b1, s0]);
    third.view.apply(&ashore);
    third.view.apply(&away);
    let [b2, s0] = [at("B2", 0, 2, true), at("S0", 0, 3, true)];
    assert_eq!(ranges(&third), [at("B1", 0, 0, true), b2.clone(), s0.clone()]);
    // A count where they were taken settles nothing of where they went.
    third.write(count("B1", 0));
    assert_eq!(ranges(&third), [at("B1", 0, 0, false), b2, s0]);
    assert_eq!(third.view.get(&lure()).unwrap().item().quantity, Some(0));
    third.write(count("S0", 2));
    third.write(count("B2", 2));
    let all = [at("B1", 0, 0, false), at("B2", 2, 2, false), at("S0", 2, 2, false)];
    assert_eq!(ranges(&third), all);
    assert!(!third.view.get(&lure()).unwrap().is_contested());

    // Where one of the two was wrong, the other took them for sure.
    one.view.apply(&away);
    one.write(correct(&away.event().id, None));
    assert_eq!(ranges(&one), [at("B1", 1, 1, false), at("S0", 3, 3, false)]);
}

#[test]
fn two_boats_may_each_take_of_what_is_enough_for_both() {
    let (mut one, mut other) = (Device::new("one"), Device::new("other"));
    let take = |to| Body::Moved { item: lure(), from: None, to: id(to), pieces: Some(2) };
    one.write(take("S0"));
    let away = other.write(take("B2"));
    one.view.apply(&away);
    let story = one.view.tell(&lure()).unwrap();
    let counts: Vec<_> = story.counts.values().map(|c| (c.low, c.high, c.recount)).collect();
    assert_eq!(counts, [(0, 0, false), (2, 2, false), (2, 2, false)]);
}

#[test]
fn lines_age_by_events() {
    let mut boat = Device::new("boat");
    let fitted = |boat: &Device| {
        let Spec::Reel(reel) = boat.view.get(&reel()).unwrap().item().spec.clone() else {
            panic!()
        };
        reel.fitted.unwrap()
    };
    let used = |minutes| Body::Used { item: reel(), minutes };
    // Acquired with 40 h on 100 m of nylon.
    boat.write(used(90));
    boat.write(Body::CutBack { reel: reel().id, cut_cm: 250 });
    boat.write(Body::Reversed { reel: reel().id });
    boat.write(used(30));
    let line = fitted(&boat);
    assert_eq!(line.hours, Some(42.0));
    assert!((line.line.length.unwrap().m() - 97.5).abs() < 1e-9);
    let turned = line.turned.unwrap();
    assert_eq!((turned.on.to_string().as_str(), turned.hours), ("2031-09-15", 41.5));
    assert_eq!(boat.view.get(&reel()).unwrap().wear().minutes, 120);
    // New line begins anew; what happened to the old one is gone with it.
    let fresh = Body::Respooled {
        reel: reel().id,
        fitted: Some(Box::new(FittedLine::default())),
        from: Some(id("K05")),
        taken_cm: Some(12_000),
    };
    boat.write(fresh);
    let line = fitted(&boat);
    assert_eq!((line.hours, line.turned), (Some(0.0), None));
    assert_eq!(line.spooled_on, Date::read("2031-09-15").ok());
    // What the stock gave is on the reel, and is cut as any other line.
    assert!((line.line.length.unwrap().m() - 120.0).abs() < 1e-9);
    boat.write(Body::CutBack { reel: reel().id, cut_cm: 2_000 });
    assert!((fitted(&boat).line.length.unwrap().m() - 100.0).abs() < 1e-9);
    boat.write(used(60));
    assert_eq!(fitted(&boat).hours, Some(1.0));
    let stock = ItemKey { kind: ItemKind::LineStock, id: id("K05") };
    let Spec::LineStock(left) = &boat.view.get(&stock).unwrap().item().spec else { panic!() };
    assert!((left.length.unwrap().m() - 180.0).abs() < 1e-9);
}

#[test]
fn what_was_fished_while_a_line_was_put_on_elsewhere_counts() {
    let (mut one, mut other) = (Device::new("one"), Device::new("other"));
    let fitted = |length| {
        let line = Line { length: Some(Length::from_m(length)), ..Line::default() };
        Some(Box::new(FittedLine { line, ..FittedLine::default() }))
    };
    let put = |length| Body::Respooled {
        reel: reel().id,
        fitted: fitted(length),
        from: None,
        taken_cm: None,
    };
    let first = one.write(put(150.0));
    let events = [
        one.write(Body::Used { item: reel(), minutes: 300 }),
        one.write(Body::CutBack { reel: reel().id, cut_cm: 1_000 }),
        one.write(Body::Reversed { reel: reel().id }),
    ];
    other.write(put(140.0));
    other.view.apply(&first);
    other.view.extend(&events);
    assert!(other.view.get(&reel()).unwrap().is_contested());
    other.write(correct(&first.event().id, None));
    let entry = other.view.get(&reel()).unwrap();
    let Spec::Reel(left) = &entry.item().spec else { panic!() };
    let line = left.fitted.clone().unwrap();
    assert!(!entry.is_contested());
    assert_eq!((line.hours, line.turned), (Some(5.0), None));
    assert!((line.line.length.unwrap().m() - 130.0).abs() < 1e-9);
}

#[test]
fn what_was_not_there_does_not_come_for_sure() {
    let mut boat = Device::new("boat");
    let place = boat.view.get(&lure()).unwrap().pieces()[0].place.clone();
    let all = boat.view.get(&lure()).unwrap().pieces()[0].low;
    let carry = |pieces, to: &str| Body::Moved {
        item: lure(),
        from: place.clone(),
        to: id(to),
        pieces: Some(pieces),
    };
    let there = |boat: &Device, at: &str| {
        let pieces = boat.view.get(&lure()).unwrap().pieces().to_vec();
        let here = pieces.into_iter().find(|there| there.place == Some(id(at)));
        here.map(|here| (here.low, here.high))
    };
    boat.write(carry(all, "S0"));
    assert_eq!(there(&boat, "S0"), Some((all, all)));
    boat.write(carry(200, "B3"));
    assert_eq!(there(&boat, "B3"), Some((0, 200)));
    assert!(boat.view.get(&lure()).unwrap().is_contested());
}

#[test]
fn what_is_due_follows_from_events() {
    let mut boat = Device::new("boat");
    let day = |text| Date::read(text).unwrap();
    let works = |boat: &Device, today| -> Vec<(String, Work)> {
        let due = due(&boat.view, day(today)).into_iter();
        let ours = due.filter(|due| due.item == rod() || due.item == reel());
        ours.map(|due| (due.item.id.to_string(), due.work)).collect()
    };
    assert_eq!(works(&boat, "2031-09-15"), []);
    let until = Some(day("2031-09-18"));
    boat.write(Body::Lent { item: rod(), to: id("client"), until });
    assert_eq!(works(&boat, "2031-09-18"), []);
    let [(_, Work::Return(loan))] = &works(&boat, "2031-09-19")[..] else { panic!() };
    assert_eq!(loan.to, id("client"));
    boat.write(Body::Returned { item: rod(), to: None });
    assert_eq!(works(&boat, "2031-09-19"), []);
    let sent = Body::SentToService { item: rod(), to: Some("bench".to_owned()), back_by: until };
    boat.write(sent);
    assert!(matches!(&works(&boat, "2031-09-19")[..], [(_, Work::Bench(_))]));
    let serviced = |item: ItemKey, finished| Body::Serviced {
        item,
        what: "cleaned".to_owned(),
        finished,
        condition: Some(Condition::B),
    };
    boat.write(serviced(rod(), false));
    assert!(matches!(&works(&boat, "2031-09-19")[..], [(_, Work::Bench(_))]));
    boat.write(serviced(rod(), true));
    assert_eq!(works(&boat, "2031-09-19"), []);
    let used = Body::Used { item: reel(), minutes: 6000 };
    boat.write(used);
    let due = works(&boat, "2031-09-19");
    assert!(due.iter().any(|(_, w)| *w == Work::ServiceByHours { hours: 100.0 }), "{due:?}");
    boat.write(serviced(reel(), true));
    let by_age = |today| {
        let works = works(&boat, today);
        works.iter().any(|(_, work)| matches!(work, Work::ServiceByAge { months: 12, .. }))
    };
    assert!(!by_age("2032-09-14"));
    assert!(by_age("2032-09-15"));
}

#[test]
fn edited_columns_are_read_anew() {
    let mut boat = Device::new("boat");
    let edit = |column: &str, cell: Option<&str>| Body::Edited {
        item: rod(),
        columns: [(column.to_owned(), cell.map(str::to_owned))].into(),
    };
    let max_g = |boat: &Device| {
        let Spec::Rod(rod) = &boat.view.get(&rod()).unwrap().item().spec else { panic!() };
        rod.lure_rating.max.unwrap().g()
    };
    boat.write(edit("lure_raw", Some("7-21 g")));
    assert!((max_g(&boat) - 21.0).abs() < 1e-9);
    boat.write(edit("note", None));
    assert_eq!(boat.view.get(&rod()).unwrap().item().note, None);
    let effect = boat.effect(&rod(), edit("lure_raw", Some("heavy")));
    let Effect::Nothing(Why::Unreadable { column, .. }) = effect else { panic!("{effect:?}") };
    assert_eq!(column, "lure_raw");
    assert!((max_g(&boat) - 35.0).abs() < 1e-9, "the first description");
    for told in ["place", "status", "rod_id"] {
        let effect = boat.effect(&rod(), edit(told, Some("B1")));
        assert_eq!(effect, Effect::Nothing(Why::NotEdited { column: told.to_owned() }));
    }
}

// Source: the project's rule for contested gear: the weaker counts until people settle it.
#[test]
fn of_contested_columns_the_weaker_counts_and_every_way_to_settle_is_told() {
    let edit = |cell: &str| Body::Edited {
        item: rod(),
        columns: [("lure_raw".to_owned(), Some(cell.to_owned()))].into(),
    };
    let moved = |to: &str| Body::Moved { item: rod(), from: None, to: id(to), pieces: None };
    let max_g = |item: &Item| {
        let Spec::Rod(rod) = &item.spec else { panic!() };
        rod.lure_rating.max.unwrap().g().round()
    };
    let (mut one, mut other) = (Device::new("one"), Device::new("other"));
    let written = [one.write(edit("12-40 g")), one.write(moved("B1"))];
    other.write(edit("7-21 g"));
    other.write(moved("B2"));
    let alone = other.view.get(&rod()).unwrap().item().clone();
    assert_eq!(other.view.settlements(&rod(), 9), [alone]);
    other.view.extend(&written);
    let entry = other.view.get(&rod()).unwrap();
    assert!(entry.is_contested());
    assert_eq!((max_g(entry.item()), &entry.item().place), (21.0, &None));
    let ways = other.view.settlements(&rod(), 9);
    let told: std::collections::BTreeSet<_> = ways
        .iter()
        .map(|way| (max_g(way) as u32, way.place.clone().unwrap().to_string()))
        .collect();
    let all = [(21, "B1"), (21, "B2"), (40, "B1"), (40, "B2")];
    assert_eq!(told, all.map(|(g, place)| (g, place.to_owned())).into());
    assert_eq!(other.view.settlements(&rod(), 3).len(), 3);
    let supposed = other.view.supposing(ways[0].clone());
    let entry = supposed.get(&rod()).unwrap();
    assert!(!entry.is_contested() && *entry.item() == ways[0]);
    assert!(supposed.contested().all(|entry| entry.item().key() != rod()));
}

#[test]
fn a_reel_that_was_taken_off_was_last_on_its_rod() {
    let mut boat = Device::new("boat");
    assert_eq!(boat.view.last_on(&reel().id), None);
    for on in ["R15", "R06"] {
        boat.write(Body::Rigged { rod: id(on), reel: reel().id, leader: None });
        boat.write(Body::Unrigged { rod: id(on), reel: reel().id });
    }
    assert_eq!(boat.view.last_on(&reel().id), Some(rod().id));
}

#[test]
fn an_item_that_nobody_acquired_waits_for_it() {
    let mut boat = Device::new("boat");
    let unknown = ItemKey { kind: ItemKind::Rod, id: id("R77") };
    let moved = Body::Moved { item: unknown.clone(), from: None, to: id("S0"), pieces: None };
    assert_eq!(boat.effect(&unknown, moved), Effect::Nothing(Why::UnknownItem));
    assert!(boat.view.get(&unknown).is_none());
    let item = boat.view.get(&rod()).unwrap().item().clone();
    let mut other = Device::new("other");
    let item = Arc::new(Item { id: id("R77"), ..item });
    boat.view.apply(&other.write(Body::Acquired { item }));
    let entry = boat.view.get(&unknown).unwrap();
    assert!(entry.is_contested(), "one says that it is at B1, the other that it went to S0");
}

// Source: own rule: format 1 keeps its bytes.
#[test]
fn an_event_of_the_first_version_keeps_its_bytes() {
    let mut boat = recorder("boat");
    let body = Body::Lost { item: rod() };
    let event = boat.record(&claim(), Default::default(), body).unwrap();
    let text = std::str::from_utf8(event.bytes()).unwrap();
    let right = "{\"format\":1,\"id\":{\"device\":\"boat\",\"incarnation\":1,\"sequence\":1},\
         \"previous\":null,\"observed_time\":\"2031-09-15T17:00:00Z\",\"actor\":\"shed\",\
         \"certainty\":\"typed\",\"supersedes\":[],\
         \"body\":{\"lost\":{\"item\":{\"kind\":\"rod\",\"id\":\"R06\"}}}}";
    assert_eq!(text, right);
    let newer = text.replace("\"supersedes\"", "\"mood\":\"good\",\"supersedes\"");
    let read = Sealed::from_bytes(newer.clone().into_bytes()).unwrap();
    assert_eq!(read.bytes(), newer.as_bytes(), "a newer field survives an older reader");
    let _: &Event = read.event();
}

// Source: the demo's K09, "40 cm x 20". Common practice, no source: who takes a trace takes its
// length with it.
#[test]
fn the_length_of_ready_made_traces_follows_from_their_number() {
    let mut desk = Device::new("desk");
    let traces = ItemKey { kind: ItemKind::LineStock, id: id("K09") };
    let length = |desk: &Device| {
        let Spec::LineStock(stock) = &desk.view.get(&traces).unwrap().item().spec else { panic!() };
        stock.length.unwrap().m()
    };
    assert_eq!(length(&desk), 8.0);
    let adjusted = |by| Body::Adjusted {
        item: traces.clone(),
        measure: Measure::Pieces,
        place: None,
        by,
        why: Reason::Used,
    };
    assert_eq!(desk.effect(&traces, adjusted(-5)), Effect::Acts);
    assert_eq!(length(&desk), 6.0);
    let in_length = Body::Adjusted {
        item: traces.clone(),
        measure: Measure::Centimetres,
        place: None,
        by: -40,
        why: Reason::Used,
    };
    assert_eq!(desk.effect(&traces, in_length), Effect::Nothing(Why::NotCounted));
    assert_eq!(length(&desk), 6.0);
}
