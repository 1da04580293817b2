//! What to buy, and which few outfits to own. Source of what must be found: the project's purchase
//! cases B01x to B06x, common practice, their numbers from memory; S10 of the demo's story.
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

mod trip_support;

use std::sync::Arc;

use deepbend_contract::pb;
use deepbend_contract::pb::trip_service_server::TripService as _;
use deepbend_ledger::event::{Certainty, Claim};
use deepbend_ledger::id::Id;
use deepbend_ledger::import::FileKind;
use deepbend_ledger::time::ObservedTime;
use deepbend_server::trips::TripServiceImpl;
use deepbend_store::MemoryStore;
use deepbend_store::inventory::Inventory;
use tonic::{Code, Request};
use tonic_types::StatusExt as _;
use trip_support::{Fleet, demo_trip};

/// A fleet of these rods and lures, with a reel of either kind.
fn service(rods: &str, lures: &str) -> TripServiceImpl {
    let inventory = Inventory::open(Arc::new(MemoryStore::new())).unwrap();
    let claim = Claim {
        observed_time: ObservedTime::new("2031-09-15T17:00:00Z").unwrap(),
        actor: Id::new("shed").unwrap(),
        certainty: Certainty::Typed,
    };
    let rods = format!("rod_id,handle,length_raw,action,material,lure_raw,line_raw,place\n{rods}");
    let lures = format!(
        "lure_id,class,rigged_g,hook_style,hook_count,hook_size,wire_mm,punch_N,pull_N,qty,place\n\
         {lures}"
    );
    let files = [
        (FileKind::Boats, "boat_id,name,rod_holders\nB1,Grebe,8\n"),
        (
            FileKind::Reels,
            "reel_id,type,size,place,line_type,line_test_raw\n\
             E1,fixed-spool,3000,B1,PE,9 kg\nE2,casting,200,B1,PE,20 kg\n",
        ),
        (
            FileKind::LineStock,
            "stock_id,type,spec_raw,dia_mm,length_m,place\n\
             K1,fluorocarbon leader,8 kg,0.33,50,B1\n\
             K2,titanium single strand,\"9 kg, 40 cm x 20\",0.30,8,B1\n\
             K3,7x7 steel wire,\"25 kg, 45 cm x 10\",0.55,5,B1\n",
        ),
        (FileKind::Rods, rods.as_str()),
        (FileKind::Lures, lures.as_str()),
    ];
    inventory.import(&files, &Id::new("shed-desk").unwrap(), &claim).unwrap();
    TripServiceImpl::new(Some(Arc::new(inventory)))
}

/// A trip in open water without wind: each lure with its importance and copies.
fn trip(species: &str, skill: pb::Skill, needs: &[(&str, i32, i32)]) -> pb::SeasonTrip {
    let trip = pb::Trip {
        boat_id: "B1".to_owned(),
        anglers: vec![pb::Angler { id: "A".to_owned(), skill: skill.into(), ..Default::default() }],
        segments: vec![pb::Segment {
            id: "a".to_owned(),
            water: Some(pb::Water {
                species: species.to_owned(),
                platform: pb::Platform::Boat.into(),
                ..Default::default()
            }),
            ..Default::default()
        }],
        needs: needs
            .iter()
            .map(|(lure, importance, copies)| pb::Need {
                segment_id: "a".to_owned(),
                lure_id: (*lure).to_owned(),
                importance: *importance,
                copy_count: *copies,
                ..Default::default()
            })
            .collect(),
        ..Default::default()
    };
    pb::SeasonTrip { trip: Some(trip), day_count: 10 }
}

async fn gaps(service: &TripServiceImpl, trips: Vec<pb::SeasonTrip>) -> pb::FindGapsResponse {
    let request = pb::FindGapsRequest { trips, ..Default::default() };
    service.find_gaps(Request::new(request)).await.unwrap().into_inner()
}

/// What goes with the rods of a gap is for rods of its window, and no gap is told twice. Source:
/// common practice, no source: one answer does not say two things.
fn window_and_detail_agree(found: &pb::FindGapsResponse) {
    for gap in &found.gaps {
        let (window, detail) = (gap.window.as_ref().unwrap(), gap.detail.as_ref().unwrap());
        assert_eq!(detail.handles, [window.handle], "{gap:?}");
        assert_eq!(detail.actions, window.actions, "{gap:?}");
        assert!(detail.materials.iter().all(|m| window.materials.contains(m)), "{gap:?}");
        let lines: Vec<i32> = detail.lines.iter().map(|line| line.material).collect();
        assert_eq!(lines, window.lines, "{gap:?}");
        let power = (window.power_class_min, window.power_class_max);
        assert_eq!((detail.power_class_min, detail.power_class_max), power, "{gap:?}");
        let rating = (window.lure_rating_min_g, window.lure_rating_max_g);
        let of_detail = (detail.lure_rating_min_from_g, detail.lure_rating_max_to_g);
        assert_eq!(of_detail, rating, "{gap:?}");
        let is_casting = window.handle() == pb::Handle::Casting;
        let other = if is_casting { "fixed-spool" } else { "casting" };
        assert!(!detail.text.contains(other), "{}", detail.text);
    }
    let key = |gap: &pb::Gap| {
        let lures: Vec<String> = gap.lifts.iter().map(|lift| lift.lure_id.clone()).collect();
        (gap.window.as_ref().unwrap().handle, lures)
    };
    let new = found.gaps.iter().filter(|gap| gap.like_rod_id.is_empty());
    let mut told: Vec<_> = new.map(key).collect();
    let all = told.len();
    told.sort();
    told.dedup();
    assert_eq!(told.len(), all, "{:?}", found.gaps);
}

const M_FAST: &str = "R1,spinning,2.28 m,fast,graphite,7-21 g,8-14 lb,B1\n";
const H_FAST: &str = "R2,casting,2.2 m,fast,graphite,20-57 g,14-30 lb,B1\n";
const XH: &str = "R3,casting,2.4 m,moderate fast,graphite,40-120 g,30-60 lb,B1\n";
const PLUGS: &str = "L1,crankbait,38,treble,2,1,1.0,0,8,3,B1\n\
                     L2,crankbait,48,treble,2,1,1.0,0,9,3,B1\n";

// B01x: not another fast H, but a deeper bend in the same class.
#[tokio::test]
async fn treble_plugs_want_a_deeper_bend() {
    let service = service(&[M_FAST, H_FAST, XH].concat(), PLUGS);
    let found =
        gaps(&service, vec![trip("pike", pb::Skill::Intermediate, &[("L1", 3, 1), ("L2", 3, 1)])])
            .await;
    let best = &found.gaps[0];
    let window = best.window.as_ref().unwrap();
    println!("{}", best.text);
    let actions: Vec<_> = window.actions().collect();
    assert!(!actions.contains(&pb::Action::Fast) && !actions.contains(&pb::Action::ExtraFast));
    assert!(window.lure_rating_max_g >= 48.0 && window.lure_rating_min_g <= 38.0);
    assert_eq!(window.handle(), pb::Handle::Casting);
    assert!(best.like_rod_id.is_empty(), "{}", best.like_rod_id);
    assert!(best.added_low_micros <= best.added_micros && best.detail.is_some());
    window_and_detail_agree(&found);
}

// B02x: a heavier class for 170 g; at importance 1 on two days it is worth little.
#[tokio::test]
async fn a_lure_that_is_too_heavy_wants_the_next_class() {
    let shad = "L1,paddle_tail_jig,170,single,1,8/0,1.6,6,1,2,B1\nL2,paddle_tail_jig,70,single,1,6/0,1.4,5,1,2,B1\n";
    let service = service(XH, shad);
    let trips = vec![trip("pike", pb::Skill::Intermediate, &[("L1", 1, 1), ("L2", 3, 1)])];
    let found = gaps(&service, trips).await;
    let heavy = found.gaps.iter().find(|gap| gap.lifts.iter().any(|l| l.lure_id == "L1"));
    let heavy = heavy.unwrap();
    println!("{}", heavy.text);
    assert!(heavy.window.as_ref().unwrap().lure_rating_max_g >= 170.0);
    window_and_detail_agree(&found);
    // Importance 1, beside a must.
    let gain = heavy.lifts.iter().find(|l| l.lure_id == "L1").unwrap().gain_micros;
    assert!(gain > 0 && gain * 3 < found.full_micros);
}

// B03x: the third outfit for a third client is another one of the same.
#[tokio::test]
async fn a_duplicate_is_a_legitimate_answer() {
    let two = [M_FAST, &M_FAST.replacen("R1", "R4", 1)].concat();
    let shad = "L1,paddle_tail_jig,14,single,1,4/0,1.0,3,0.5,9,B1\nL2,crankbait,38,treble,2,1,1.0,0,8,3,B1\n";
    let service = service(&two, shad);
    let trips = vec![trip("zander", pb::Skill::Intermediate, &[("L1", 3, 3)])];
    let found = gaps(&service, trips).await;
    let best = &found.gaps[0];
    println!("{}", best.text);
    assert!(["R1", "R4"].contains(&best.like_rod_id.as_str()), "{}", best.text);
    assert!(best.text.contains("Another one like"));
}

// B04x: casting only, and a beginner at 7 g for perch: a light fixed-spool outfit.
#[tokio::test]
async fn a_beginner_wants_a_light_spinning_outfit() {
    let service = service(H_FAST, "L1,paddle_tail_jig,7,single,1,1/0,0.7,1,0.3,9,B1\n");
    let found = gaps(&service, vec![trip("perch", pb::Skill::Novice, &[("L1", 3, 1)])]).await;
    let window = found.gaps[0].window.as_ref().unwrap();
    println!("{}", found.gaps[0].text);
    assert_eq!(window.handle(), pb::Handle::Spinning);
    assert!(window.power_class_max <= 4.0 && window.lure_rating_min_g <= 7.0);
}

// B05x: among fast rods one deep bend adds most, and the fast ones hardly miss each other.
#[tokio::test]
async fn one_moderate_outfit_adds_more_than_fast_ones() {
    let fast = [
        M_FAST,
        "R4,casting,2.2 m,extra fast,graphite,10-35 g,10-20 lb,B1\n",
        "R5,casting,2.2 m,fast,graphite,10-35 g,10-20 lb,B1\n",
    ]
    .concat();
    let plugs = "L1,crankbait,18,treble,2,4,0.8,0,6,3,B1\nL2,jerkbait,20,treble,2,4,0.8,0,3,3,B1\n";
    let service = service(&fast, plugs);
    let needs = [("L1", 3, 1), ("L2", 3, 1)];
    let found = gaps(&service, vec![trip("pike", pb::Skill::Intermediate, &needs)]).await;
    let window = found.gaps[0].window.as_ref().unwrap();
    println!("{}", found.gaps[0].text);
    let actions: Vec<_> = window.actions().collect();
    assert!(actions.contains(&pb::Action::Moderate) || actions.contains(&pb::Action::ModerateFast));
    assert!(!actions.contains(&pb::Action::ExtraFast));
}

// B06x: one rod does nearly all the days; its double comes before a specialist.
#[tokio::test]
async fn the_rod_of_most_days_is_doubled_first() {
    let lures = "L1,paddle_tail_jig,14,single,1,4/0,1.0,3,0.5,9,B1\n\
                 L2,paddle_tail_jig,12,single,1,3/0,1.0,3,0.5,9,B1\n\
                 L3,paddle_tail_jig,90,single,1,8/0,1.6,6,1,2,B1\n";
    let service = service(M_FAST, lures);
    let mut often = trip("zander", pb::Skill::Intermediate, &[("L1", 3, 2), ("L2", 3, 2)]);
    often.day_count = 70;
    let mut seldom = trip("pike", pb::Skill::Intermediate, &[("L3", 1, 1)]);
    seldom.day_count = 30;
    let found = gaps(&service, vec![often, seldom]).await;
    println!("{}", found.gaps[0].text);
    assert_eq!(found.gaps[0].like_rod_id, "R1");
}

fn demo_season() -> Vec<pb::SeasonTrip> {
    let days =
        |id: &str, day_count: i32| pb::SeasonTrip { trip: demo_trip(id, &[]).trip, day_count };
    vec![days("T1", 12), days("T2", 8)]
}

// S10 and the shape of the answer: purchases within the budget, the bound, what is idle.
#[tokio::test]
async fn the_demo_season_has_gaps_and_idle_rods() {
    let service = Fleet::demo().service();
    let request = pb::FindGapsRequest {
        trips: demo_season(),
        budget_cents: Some(50_000),
        ..Default::default()
    };
    let found = service.find_gaps(Request::new(request)).await.unwrap().into_inner();
    assert!(found.owned_micros <= found.full_micros && found.owned_micros > 0);
    assert!(found.gaps.windows(2).all(|pair| pair[0].added_micros >= pair[1].added_micros));
    let spent: i64 = found.purchases.iter().map(|buy| buy.price_cents).sum();
    let adds: i64 = found.purchases.iter().map(|buy| buy.added_micros).sum();
    assert!(!found.purchases.is_empty() && spent <= 50_000);
    assert!(adds <= found.bound_micros.unwrap() + 10);
    // One reckoning: nothing that is bought adds more than the best gap, nor more than the gap it is in.
    for buy in &found.purchases {
        assert!(buy.added_micros <= found.gaps[0].added_micros, "{buy:?}");
        let mut gaps = found.gaps.iter().filter(|gap| !gap.like_rod_id.is_empty());
        let its = gaps.find(|gap| gap.like_rod_id == buy.like_rod_id);
        assert!(its.is_none_or(|gap| gap.added_micros >= buy.added_micros), "{buy:?} {its:?}");
    }
    // What lies in one window is not named again.
    for (i, gap) in found.gaps.iter().enumerate() {
        let of = |gap: &pb::Gap| gap.window.clone().unwrap();
        let (a, own) = (of(gap), gap.like_rod_id.is_empty());
        for other in found.gaps[..i].iter().filter(|g| own && g.like_rod_id.is_empty()).map(of) {
            let apart = a.handle != other.handle
                || a.power_class_max < other.power_class_min
                || other.power_class_max < a.power_class_min
                || !a.actions().any(|one| other.actions().any(|two| one == two))
                || !a.materials().any(|one| other.materials().any(|two| one == two))
                || !a.lines().any(|one| other.lines().any(|two| one == two));
            assert!(apart, "{a:?} {other:?}");
        }
    }
    let shared: i64 = found.shares.iter().map(|share| share.spent_cents).sum();
    assert_eq!(shared, spent);
    // What is too little for a gap is too little to be paid for.
    let trips = ["T1", "T2"].map(|id| demo_trip(id, &[]).trip);
    let trips = trips.into_iter().map(|trip| pb::SeasonTrip { trip, day_count: 1 }).collect();
    let more = pb::FindGapsRequest { trips, budget_cents: Some(60_000), ..Default::default() };
    let more = service.find_gaps(Request::new(more)).await.unwrap().into_inner();
    assert!(!more.purchases.is_empty());
    let enough = |buy: &pb::Purchase| buy.added_micros >= more.least_added_micros;
    assert!(more.purchases.iter().all(enough), "{:?}", more.purchases);
    // R23 is cracked, R12 in service, R24 on loan: they are no rods of the rack.
    assert!(found.rack.iter().all(|r| !["R12", "R23", "R24"].contains(&r.rod_id.as_str())));
    assert!(found.rack.windows(2).all(|pair| pair[0].added_micros <= pair[1].added_micros));
}

// By hand: what one purchase adds most is the first gap, of the same handle, blank and worth.
#[tokio::test]
async fn the_best_purchase_is_the_first_gap() {
    const PRICE: i64 = 10_000;
    let service = Fleet::demo().service();
    let price = |handle: pb::Handle| pb::HandlePrice { handle: handle.into(), price_cents: PRICE };
    for places in [&[][..], &["B1"], &["B2"], &["B3"], &["S0"], &["B1", "S0"]] {
        let request = pb::FindGapsRequest {
            trips: demo_season(),
            place_ids: places.iter().map(|id| (*id).to_owned()).collect(),
            gap_count: 20,
            budget_cents: Some(PRICE),
            prices: vec![price(pb::Handle::Spinning), price(pb::Handle::Casting)],
            ..Default::default()
        };
        let found = service.find_gaps(Request::new(request)).await.unwrap().into_inner();
        let [buy] = found.purchases.as_slice() else { panic!("{:?}", found.purchases) };
        let first = &found.gaps[0];
        assert_eq!(buy.added_micros, first.added_micros, "{places:?} {buy:?} {first:?}");
        let window = first.window.as_ref().unwrap();
        assert_eq!(buy.handle, window.handle, "{places:?} {buy:?} {window:?}");
        if buy.like_rod_id.is_empty() && first.like_rod_id.is_empty() {
            let words = |one: pb::RodMaterial| {
                one.as_str_name().trim_start_matches("ROD_MATERIAL_").to_lowercase()
            };
            let has = window.materials().any(|one| buy.text.contains(&words(one)));
            assert!(has, "{places:?} {} {}", buy.text, window.text);
        }
    }
}

#[tokio::test]
async fn the_coverage_curve_rises_and_keeps_what_is_kept() {
    let service = Fleet::demo().service();
    let request = pb::DesignSetRequest {
        trips: demo_season(),
        outfit_count: 4,
        keep_rod_ids: vec!["R07".to_owned()],
        tube_length_m: Some(1.5),
        resupply_hours: Some(48.0),
        ..Default::default()
    };
    let sets = service.design_set(Request::new(request.clone())).await.unwrap().into_inner().sets;
    assert_eq!(sets.iter().map(|set| set.outfits.len()).collect::<Vec<_>>(), [1, 2, 3, 4]);
    assert!(sets.windows(2).all(|pair| pair[0].coverage < pair[1].coverage));
    // A set with anything added is one of one more, so that at least as much is covered for sure.
    let trips = ["T1", "T2"].map(|id| demo_trip(id, &[]).trip);
    let trips = trips.into_iter().map(|trip| pb::SeasonTrip { trip, day_count: 1 }).collect();
    let anew = pb::DesignSetRequest { trips, outfit_count: 6, ..Default::default() };
    let free = service.design_set(Request::new(anew)).await.unwrap().into_inner().sets;
    for sets in [&sets, &free] {
        let lows: Vec<i64> = sets.iter().map(|set| set.worth_low_micros).collect();
        assert!(lows.is_sorted(), "{lows:?}");
    }
    for set in &sets {
        assert_eq!(set.status(), pb::PlanStatus::Optimal);
        assert_eq!(set.worth_micros, set.bound_micros);
        assert!(set.outfits.iter().any(|outfit| outfit.rod_id == "R07"));
        assert!(set.outfits.iter().all(|outfit| !outfit.job.is_empty()));
        // One spare for each four rods begun, and the judgements' intervals count.
        assert_eq!(set.spare_text.matches("; and ").count(), 0, "{}", set.spare_text);
        assert!(!set.spare_text.is_empty());
        assert!(0 < set.worth_low_micros && set.worth_low_micros < set.worth_micros);
        let served: usize = set.outfits.iter().map(|outfit| outfit.needs.len()).sum();
        assert!((1..=23).contains(&served));
        let worth: i64 = set.outfits.iter().flat_map(|o| &o.needs).map(|n| n.gain_micros).sum();
        assert_eq!(worth, set.worth_micros);
    }
    // Each rod that is kept has a reel of its own: the one casting reel of this fleet serves one.
    let kept: Vec<&str> = vec!["R18", "R19", "R20"];
    let mut short = Fleet::demo();
    for reel in ["E11", "E12", "E14"] {
        short = short.edit(FileKind::Reels, reel, ",ready,", ",broken,");
    }
    let both = pb::DesignSetRequest {
        keep_rod_ids: kept.iter().map(|id| (*id).to_owned()).collect(),
        tube_length_m: None,
        ..request.clone()
    };
    for (fleet, free) in [(Fleet::demo(), 3), (short, 1)] {
        let sets = fleet.service().design_set(Request::new(both.clone())).await.unwrap();
        for set in sets.into_inner().sets {
            let of_kept = set.outfits.iter().filter(|o| !o.rod_id.is_empty());
            let reels: Vec<_> = of_kept.filter(|o| !o.reel_id.is_empty()).collect();
            let own: std::collections::BTreeSet<_> = reels.iter().map(|o| &o.reel_id).collect();
            assert_eq!((reels.len(), own.len()), (free, free), "{set:?}");
            let bought = set.outfits.iter().filter(|o| o.job.contains("a reel that is to be had"));
            assert_eq!(bought.count(), 3 - free);
        }
    }
    // A rod in one piece of 2.13 m does not fit the tube.
    let long = pb::DesignSetRequest { keep_rod_ids: vec!["R04".to_owned()], ..request };
    let status = service.design_set(Request::new(long)).await.unwrap_err();
    assert_eq!(status.code(), Code::InvalidArgument);
    let nothing = pb::DesignSetRequest::default();
    let status = service.design_set(Request::new(nothing)).await.unwrap_err();
    assert_eq!(status.code(), Code::InvalidArgument);
}

// Source: the contract: the places whose gear is owned, each once.
#[tokio::test]
async fn a_place_that_stands_twice_is_refused() {
    let place_ids = vec!["B1".to_owned(), "S0".to_owned(), "B1".to_owned()];
    let request = pb::FindGapsRequest { trips: demo_season(), place_ids, ..Default::default() };
    let status = Fleet::demo().service().find_gaps(Request::new(request)).await.unwrap_err();
    let bad = status.get_details_bad_request().unwrap();
    let found: Vec<_> = bad.field_violations.iter().map(|v| (&*v.field, &*v.reason)).collect();
    assert_eq!(found, [("place_ids", "DUPLICATE")]);
}

// By hand: one rod is kept once; another one like it would add nothing to a set of one for each
// lure.
#[tokio::test]
async fn a_kept_rod_stands_once_in_a_set() {
    let service = service(M_FAST, "L1,paddle_tail_jig,14,single,1,4/0,1.0,3,0.5,9,B1\n");
    let request = pb::DesignSetRequest {
        trips: vec![trip("zander", pb::Skill::Intermediate, &[("L1", 3, 1)])],
        keep_rod_ids: vec!["R1".to_owned()],
        outfit_count: 4,
        ..Default::default()
    };
    let sets = service.design_set(Request::new(request)).await.unwrap().into_inner().sets;
    assert_eq!(sets.len(), 4);
    for set in sets {
        assert_eq!(set.outfits.iter().filter(|o| o.rod_id == "R1").count(), 1, "{set:?}");
        assert!(set.outfits.iter().all(|o| ["R1", ""].contains(&o.rod_id.as_str())));
    }
}
