//! The fold: a function of the set of events, whatever the order and however often they come.
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

use std::collections::BTreeSet;
use std::sync::Arc;

use deepbend_core::gear::Power;
use deepbend_ledger::body::Body;
use deepbend_ledger::event::{BadEvent, Sealed, follow};
use deepbend_ledger::filter::Filter;
use deepbend_ledger::fold::Disputed;
use deepbend_ledger::id::Id;
use deepbend_ledger::import::import;
use deepbend_ledger::item::{Item, ItemKey, ItemKind, Status};
use deepbend_ledger::view::{Conflict, Entry, View};
use proptest::prelude::*;

mod fleet;
use fleet::{claim, files, recorder};

fn events(device: &str) -> Vec<Sealed> {
    import(&files(), &View::default(), &mut recorder(device), &claim()).unwrap()
}

fn acquired(item: &Item) -> Body {
    Body::Acquired { item: Arc::new(item.clone()) }
}

/// The fleet told by two devices, a rod changed in between, and a fork of the second device.
fn troubled() -> Vec<Sealed> {
    let mut all = events("shed-desk");
    let item = all.last().unwrap().event().body.acquired().unwrap().as_ref().clone();
    all.extend(events("B1-tablet"));
    let mut other = recorder("B1-tablet");
    let lost = Item { status: Status::Lost, note: Some("fork".to_owned()), ..item };
    all.push(other.record(&claim(), BTreeSet::new(), acquired(&lost)).unwrap());
    all
}

proptest! {
    // Source: design rule: state is a function of the set of events.
    #[test]
    fn order_and_repetition_change_nothing(
        picks in prop::collection::vec(any::<prop::sample::Index>(), 0..120),
        order in Just((0..troubled().len()).collect::<Vec<_>>()).prop_shuffle(),
    ) {
        let all = troubled();
        let some: Vec<_> = picks.iter().map(|pick| pick.get(&all)).collect();
        let expected = View::fold(&all);
        let shuffled = order.iter().map(|&i| &all[i]);
        let view = View::fold(some.iter().copied().chain(shuffled));
        prop_assert_eq!(&view, &expected);
        prop_assert_eq!(view.conflicts(), expected.conflicts());

        let mut set: Vec<_> = some.clone();
        set.sort_by_key(|event| event.hash());
        set.dedup_by_key(|event| event.hash());
        prop_assert_eq!(View::fold(some), View::fold(set));
    }

    // Source: walking pages gives the whole list once (own rule).
    #[test]
    fn pages_give_every_match_once(limit in 1_usize..30, lures in any::<bool>()) {
        let view = View::fold(&events("shed-desk"));
        let mut filter = Filter::default();
        if lures {
            filter.kinds.insert(ItemKind::Lure);
        }
        let matching = view.entries().filter(|e| filter.matches(e.item()));
        let all: Vec<_> = matching.map(|e| e.item().key()).collect();
        let (mut walked, mut after) = (Vec::new(), None);
        loop {
            let page = view.page(&filter, after.as_ref(), limit);
            prop_assert_eq!(view.count(&filter), all.len());
            prop_assert!(page.entries.len() <= limit);
            walked.extend(page.entries.iter().map(|e| e.item().key()));
            after = page.next_after;
            if after.is_none() {
                break;
            }
        }
        prop_assert_eq!(walked, all);
    }

    #[test]
    fn no_bytes_panic_the_reader(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        prop_assert!(Sealed::from_bytes(bytes).is_err());
    }
}

#[test]
fn two_first_events_of_one_id_are_kept_and_reported() {
    let all = troubled();
    let view = View::fold(&all);
    let fleet = events("shed-desk").len();
    assert_eq!(view.entries().count(), fleet);
    let conflicts = view.conflicts();
    let shared = conflicts.iter().filter(|c| matches!(c, Conflict::SharedId { .. })).count();
    assert_eq!(shared, fleet);
    let forked = conflicts.iter().find_map(|c| match c {
        Conflict::Fork { id, hashes } => Some((id.to_string(), hashes.len())),
        Conflict::SharedId { .. } => None,
    });
    assert_eq!(forked, Some(("B1-tablet.1.1".to_owned(), 2)));
    // The cautious status counts until a person looks.
    let entry = view.find(&Id::new("L17").unwrap())[0];
    assert_eq!(entry.item().status, Status::Lost);
    assert_eq!(entry.claims().len(), 3);
    assert!(entry.is_contested());
}

// Source: own rule: two boats that read the same list mean the same things.
#[test]
fn the_same_list_imported_twice_is_one_fleet() {
    let (one, two) = (events("shed-desk"), events("B3-tablet"));
    let view = View::fold(one.iter().chain(&two));
    assert_eq!(view.entries().count(), one.len());
    assert_eq!(view.contested().count(), 0);
    let alone = View::fold(&one);
    for entry in view.entries() {
        assert_eq!(Some(entry.item()), alone.get(&entry.item().key()).map(Entry::item));
        assert_eq!(entry.claims().len(), 2);
    }
    // Where one list says something else of a thing, people are asked.
    let mut other = two.last().unwrap().event().body.acquired().unwrap().as_ref().clone();
    other.note = Some("another one".to_owned());
    let other = recorder("x").record(&claim(), BTreeSet::new(), acquired(&other)).unwrap();
    let view = View::fold(one.iter().chain([&other]));
    let contested: Vec<_> = view.contested().map(Entry::disputes).collect();
    assert!(contested.len() == 1 && contested[0].contains(&Disputed::Tag), "{contested:?}");
}

#[test]
fn one_id_on_two_kinds_of_item_is_reported() {
    let all = events("shed-desk");
    let item = all.last().unwrap().event().body.acquired().unwrap().as_ref().clone();
    let twin = Item { id: Id::new("R06").unwrap(), ..item };
    let twin = recorder("x").record(&claim(), BTreeSet::new(), acquired(&twin)).unwrap();
    let view = View::fold(all.iter().chain([&twin]));
    let conflicts = view.conflicts();
    let [Conflict::SharedId { id, claims }] = &conflicts[..] else { panic!("{conflicts:?}") };
    assert_eq!(id.as_str(), "R06");
    let kinds: Vec<_> = claims.iter().map(|(kind, _)| *kind).collect();
    assert_eq!(kinds, [ItemKind::Rod, ItemKind::Lure]);
    assert_eq!(view.find(id).len(), 2);
}

// Source: NIST FIPS 180-4 gives SHA-256; the example "abc" is from its published examples.
#[test]
fn the_hash_is_sha_256_over_the_bytes() {
    let hash = deepbend_ledger::event::Hash::of(b"abc").to_string();
    assert_eq!(hash, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
}

#[test]
fn an_event_is_its_bytes() {
    let all = events("shed-desk");
    let again = Sealed::from_bytes(all[3].bytes().to_vec()).unwrap();
    assert_eq!(again, all[3]);
    // A field of a newer version is kept, and counts in the hash.
    let text = String::from_utf8(all[3].bytes().to_vec()).unwrap();
    let newer = text.replacen("{\"format\":1,", "{\"format\":1,\"mood\":\"fine\",", 1);
    let newer = Sealed::from_bytes(newer.into_bytes()).unwrap();
    assert_eq!(newer.event(), all[3].event());
    assert_ne!(newer.hash(), all[3].hash());
    assert!(follow(None, &newer).is_err());
    let future = text.replacen("{\"format\":1,", "{\"format\":2,", 1).into_bytes();
    assert!(matches!(Sealed::from_bytes(future), Err(BadEvent::Format { format: 2, .. })));
}

/// The order of fields is part of the format: it may not change by a refactoring.
#[test]
fn the_first_fields_stand_in_their_order() {
    let text = String::from_utf8(events("shed-desk")[0].bytes().to_vec()).unwrap();
    let start = "{\"format\":1,\"id\":{\"device\":\"shed-desk\",\"incarnation\":1,\"sequence\":1},\
                 \"previous\":null,\"observed_time\":\"2031-09-15T17:00:00Z\",\"actor\":\"shed\",\
                 \"certainty\":\"typed\",\"supersedes\":[],\"body\":{\"acquired\":{\"item\":\
                 {\"id\":\"B1\",\"raw\":{\"boat_id\":\"B1\",";
    assert!(text.starts_with(start), "{text}");
}

#[test]
fn a_number_that_is_not_finite_is_refused() {
    let all = events("shed-desk");
    let item = all.last().unwrap().event().body.acquired().unwrap().as_ref().clone();
    let mut item = item;
    let deepbend_ledger::item::Spec::Lure(lure) = &mut item.spec else { panic!() };
    lure.pull = Some(deepbend_core::quantity::Force::from_n(f64::NAN));
    assert!(recorder("x").record(&claim(), BTreeSet::new(), acquired(&item)).is_err());
}

#[test]
fn a_chain_that_skips_repeats_or_names_another_hash_is_broken() {
    let all = events("shed-desk");
    let head = follow(None, &all[0]).unwrap();
    assert!(follow(Some(&head), &all[1]).is_ok());
    assert!(follow(Some(&head), &all[2]).is_err());
    assert!(follow(Some(&head), &all[0]).is_err());
    assert!(follow(None, &all[1]).is_err());
    let other = deepbend_ledger::event::Head { hash: all[5].hash(), ..head };
    assert!(follow(Some(&other), &all[1]).is_err());
}

#[test]
fn filters_narrow_the_list() {
    let view = View::fold(&events("shed-desk"));
    let ids = |filter: &Filter| -> Vec<String> {
        view.page(filter, None, 99).entries.iter().map(|e| e.item().id.to_string()).collect()
    };
    let base = Filter::default();
    assert_eq!(ids(&base).len(), 17);
    let rods = Filter { kinds: [ItemKind::Rod].into(), ..base.clone() };
    assert_eq!(ids(&rods), ["R02", "R06", "R12"]);
    let out = Filter { statuses: [Status::InService].into(), ..base.clone() };
    assert_eq!(ids(&out), ["R12"]);
    let shed = Filter { places: [Id::new("S0").unwrap()].into(), ..rods.clone() };
    assert_eq!(ids(&shed), ["R12"]);
    let power = Filter { powers: vec![Power::MediumLight, Power::Light], ..base.clone() };
    assert_eq!(ids(&power), ["R02", "R06"]);
    let words = |text: &str| ids(&Filter { text: text.to_owned(), ..base.clone() });
    assert_eq!(words("DIVER medium"), ["L17"]);
    assert_eq!(words("r06"), ["R06"]);
    assert!(words("HG-1003").is_empty(), "serial numbers are private");
    let key = ItemKey { kind: ItemKind::Rod, id: Id::new("R06").unwrap() };
    assert_eq!(view.get(&key).unwrap().etag().len(), 16);
}
