//! Seven rods and twelve lures, through the service: verdicts of the model, plans of the planner.
//! Source of rods, lures and expected plans: the trade, from memory.
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

use std::collections::BTreeSet;
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
use tonic::Request;

/// A ultra-light to G extra-heavy, each with the reel of the same letter.
const RODS: [&str; 7] = [
    "A,spinning,1.9 m,fast,graphite,1-5 g,1-4 lb,B1",
    "B,spinning,2.0 m,extra fast,graphite,2-9 g,3-6 lb,B1",
    "C,spinning,2.1 m,moderate fast,graphite,4-14 g,5-10 lb,B1",
    "D,spinning,2.2 m,fast,graphite,7-21 g,8-14 lb,B1",
    "E,casting,2.1 m,moderate,composite,10-30 g,10-20 lb,B1",
    "F,casting,2.2 m,fast,graphite,14-42 g,14-30 lb,B1",
    "G,casting,2.4 m,moderate fast,graphite,40-120 g,30-60 lb,B1",
];
const REELS: &str = "reel_id,type,size,place,line_type,line_test_raw\n\
    EA,fixed-spool,1000,B1,PE,PE 0.3 (2.7 kg)\n\
    EB,fixed-spool,2000,B1,PE,PE 0.6 (5.4 kg)\n\
    EC,fixed-spool,2500,B1,PE,PE 0.8 (7 kg)\n\
    ED,fixed-spool,3000,B1,PE,PE 1.0 (9 kg)\n\
    EE,casting,150,B1,PE,PE 1.5 (13 kg)\n\
    EF,casting,200,B1,PE,PE 3 (25 kg)\n\
    EG,casting,300,B1,PE,PE 4 (31 kg)\n";
const LEADERS: &str = "stock_id,type,spec_raw,dia_mm,length_m,place\n\
    K1,titanium single strand,\"9 kg, 40 cm x 20\",0.30,8,B1\n\
    K2,titanium single strand,\"12 kg, 40 cm x 20\",0.35,8,B1\n\
    K3,7x7 steel wire,\"14 kg, 40 cm x 20\",0.38,8,B1\n\
    K4,7x7 steel wire,\"25 kg, 40 cm x 20\",0.55,8,B1\n\
    K5,fluorocarbon leader,40 kg,0.90,50,B1\n";
const LURES: &str = "lure_id,class,rigged_g,hook_style,hook_count,hook_size,wire_mm,punch_N,pull_N,qty,place\n\
    L01,paddle_tail_jig,10,single,1,1/0,0.8,0,0.6,3,B1\n\
    L02,paddle_tail_jig,14,single,1,2/0,0.9,0,0.8,3,B1\n\
    L03,paddle_tail_jig,18,single,1,3/0,0.95,0,1.0,3,B1\n\
    L04,jerkbait,18,treble,2,4,0.8,0,2,3,B1\n\
    L05,weedless_soft_jerkbait,12,weedless,1,3/0,0.9,2,0.8,3,B1\n\
    L06,crankbait,18,treble,2,4,0.8,0,6,3,B1\n\
    L07,lipless_crankbait,21,treble,2,4,0.8,0,3,3,B1\n\
    L08,wobbling_spoon,22,treble,1,2,1.0,0,2,3,B1\n\
    L09,inline_spinner,14,treble,1,4,0.8,0,2.5,3,B1\n\
    L10,large_soft_shad,60,treble,2,2/0,1.2,0,3,3,B1\n\
    L11,glide_bait,90,treble,2,2/0,1.2,0,4,3,B1\n\
    L12,large_soft_shad,100,treble,2,3/0,1.3,0,4,3,B1\n";

/// Lure 5 of T01, in the table above.
const LIGHT_WEEDLESS: &str = "L05,weedless_soft_jerkbait,12,weedless,1,3/0,0.9,2,0.8,3,B1\n";

fn service(rods: &str) -> TripServiceImpl {
    service_of(rods, LURES)
}

/// All rods are there; those that are not named are broken.
fn service_of(rods: &str, lures: &str) -> TripServiceImpl {
    service_with(rods, lures, REELS, LEADERS)
}

fn service_with(rods: &str, lures: &str, reels: &str, stock: &str) -> TripServiceImpl {
    let inventory = Inventory::open(Arc::new(MemoryStore::new())).unwrap();
    let claim = Claim {
        observed_time: ObservedTime::new("2031-09-15T17:00:00Z").unwrap(),
        actor: Id::new("shed").unwrap(),
        certainty: Certainty::Typed,
    };
    let state = |row: &str| if rods.contains(&row[..1]) { "ready" } else { "broken" };
    let of_fleet: Vec<String> = RODS.iter().map(|row| format!("{row},{}", state(row))).collect();
    let rods = format!(
        "rod_id,handle,length_raw,action,material,lure_raw,line_raw,place,status\n{}\n",
        of_fleet.join("\n")
    );
    let files = [
        (FileKind::Boats, "boat_id,name,rod_holders\nB1,Grebe,8\n"),
        (FileKind::Reels, reels),
        (FileKind::LineStock, stock),
        (FileKind::Rods, rods.as_str()),
        (FileKind::Lures, lures),
    ];
    inventory.import(&files, &Id::new("shed-desk").unwrap(), &claim).unwrap();
    TripServiceImpl::new(Some(Arc::new(inventory)))
}

fn species(lure: usize) -> &'static str {
    match lure {
        1 => "perch",
        2 | 3 => "zander",
        _ => "pike",
    }
}

/// The lures of the table in three parts of the day by fish, each as important as `lures` says.
fn request(limit: i32, lures: &dyn Fn(usize) -> Option<i32>) -> pb::PlanTripRequest {
    let water = |species: &str| pb::Water {
        species: species.to_owned(),
        platform: pb::Platform::Boat.into(),
        cover: pb::Cover::Open.into(),
        toothy_probability: Some(1.0),
        wind_speed_m_s: Some(0.0),
        ..Default::default()
    };
    let needs = (1..=12).filter_map(|lure| {
        Some(pb::Need {
            segment_id: species(lure).to_owned(),
            lure_id: format!("L{lure:02}"),
            importance: lures(lure)?,
            ..Default::default()
        })
    });
    let needs: Vec<pb::Need> = needs.collect();
    let segments = ["perch", "zander", "pike"].map(|id| pb::Segment {
        id: id.to_owned(),
        water: Some(water(id)),
        ..Default::default()
    });
    let pair = |letter: char| pb::Pin {
        rule: pb::PinRule::Pair.into(),
        item_id: letter.to_string(),
        reel_id: format!("E{letter}"),
        ..Default::default()
    };
    pb::PlanTripRequest {
        trip: Some(pb::Trip {
            boat_id: "B1".to_owned(),
            anglers: vec![pb::Angler {
                id: "A1".to_owned(),
                skill: pb::Skill::Intermediate.into(),
                ..Default::default()
            }],
            segments: segments.to_vec(),
            needs,
            rod_limit: Some(limit),
            job_budget_minutes: Some(1_000),
            ..Default::default()
        }),
        pins: "ABCDEFG".chars().map(pair).collect(),
        ..Default::default()
    }
}

async fn plan(service: &TripServiceImpl, request: pb::PlanTripRequest) -> pb::Plan {
    service.plan_trip(Request::new(request)).await.unwrap().into_inner().plan.unwrap()
}

fn rods(plan: &pb::Plan) -> String {
    let rods: BTreeSet<&str> = plan.outfits.iter().map(|o| o.rod_id.as_str()).collect();
    rods.into_iter().collect()
}

fn missing(plan: &pb::Plan) -> Vec<&str> {
    plan.uncovered.iter().map(|u| u.lure_id.as_str()).collect()
}

fn covered(plan: &pb::Plan) -> i32 {
    assert_eq!(plan.status(), pb::PlanStatus::Optimal);
    let counts = plan.counts.unwrap();
    // Nothing is rounded up: what is not covered stands in the list.
    assert_eq!(counts.covered_count + plan.uncovered.len() as i32, counts.need_count);
    counts.covered_count
}

/// Every choice of three rods, with the lures that it leaves open.
async fn triples(
    lures: &str,
    ask: &dyn Fn(pb::PlanTripRequest) -> pb::PlanTripRequest,
) -> Vec<(String, Vec<String>)> {
    let all = ["A", "B", "C", "D", "E", "F", "G"];
    let mut list = Vec::new();
    for i in 0..7 {
        for j in i + 1..7 {
            for k in j + 1..7 {
                let rods = [all[i], all[j], all[k]].concat();
                let plan = plan(&service_of(&rods, lures), ask(request(3, &|_| Some(2)))).await;
                covered(&plan);
                list.push((rods, missing(&plan).into_iter().map(str::to_owned).collect()));
            }
        }
    }
    list
}

// T01: of all triples only D, E and G cover twelve of twelve.
#[tokio::test]
async fn the_only_triple_that_covers_all() {
    let plan = plan(&service("ABCDEFG"), request(3, &|_| Some(2))).await;
    assert_eq!((rods(&plan).as_str(), covered(&plan)), ("DEG", 12));
    let all = triples(LURES, &|asked| asked).await;
    let full = all.into_iter().filter(|(_, open)| open.is_empty());
    assert_eq!(full.map(|(rods, _)| rods).collect::<Vec<_>>(), ["DEG"]);
}

/// Lure 5 of T02 to T04.
fn creature() -> String {
    LURES.replace(LIGHT_WEEDLESS, "L05,texas_rig,16,weedless,1,4/0,1.0,3,1,3,B1\n")
}

/// The trade seats a hook with 11 N/mm^1.5, which the model takes for one that was fished; of one of
/// which nobody says how sharp it is it thinks better, 8.5.
fn as_fished(mut request: pb::PlanTripRequest) -> pb::PlanTripRequest {
    request.overrides = [("hook.seat_unspecified".to_owned(), 11.0)].into();
    request
}

/// Pairs of lure and rod that the trade calls good and the model, by 0.02 to 0.04 of score, only
/// workable. Why, and which of the two is followed, stands in the planner's formulation.
const NEARLY_GOOD: [(&str, &str); 3] = [("L02", "F"), ("L07", "D"), ("L07", "F")];

// T02: no triple covers all; the best ones by the trade lack one lure each, which is named. Which of
// them is taken importance decides.
#[tokio::test]
async fn the_missing_lure_is_named() {
    let lures = creature();
    let all = triples(&lures, &as_fished).await;
    for (rods, lacks) in [("DEG", "L05"), ("EFG", "L01"), ("DFG", "L06"), ("CFG", "L06")] {
        let (_, open) = all.iter().find(|(other, _)| other == rods).unwrap();
        assert!(open.iter().any(|lure| lure == lacks), "{rods} {open:?}");
        for lure in open.iter().filter(|lure| *lure != lacks) {
            let nearly = NEARLY_GOOD.iter().any(|(l, rod)| l == lure && rods.contains(rod));
            assert!(nearly, "{rods} lacks {lure}");
        }
    }
    let fewest = all.iter().map(|(_, open)| open.len()).min();
    let best: Vec<_> = all.iter().filter(|(_, open)| Some(open.len()) == fewest).collect();
    assert_eq!(best, [&("DEG".to_owned(), vec!["L05".to_owned()])]);
    let service = service_of("ABCDEFG", &lures);
    let asked = |of_lure_5: i32, of_others: i32| {
        as_fished(request(3, &|lure| Some(if lure == 5 { of_lure_5 } else { of_others })))
    };
    let without = plan(&service, asked(1, 3)).await;
    assert_eq!((rods(&without).as_str(), covered(&without)), ("DEG", 11));
    assert_eq!(missing(&without), ["L05"]);
    assert_eq!(without.uncovered[0].reason(), pb::UncoveredReason::NoHolder);
    let with = plan(&service, asked(3, 1)).await;
    assert!(!missing(&with).contains(&"L05") && !missing(&with).is_empty());
}

// T03: a fourth rod covers all; D goes before C, since the rods back each other up.
#[tokio::test]
async fn four_rods_cover_all() {
    let plan = plan(&service_of("ABCDEFG", &creature()), as_fished(request(4, &|_| Some(2)))).await;
    assert_eq!((rods(&plan).as_str(), covered(&plan)), ("DEFG", 12));
}

// T04: E and F alone. The trade covers lures 2 to 9, the model all of these but lure 2, which is
// nearly good on F. Neither rounds it up.
#[tokio::test]
async fn what_two_rods_leave_open_is_named() {
    let plan = plan(&service_of("EF", &creature()), as_fished(request(4, &|_| Some(2)))).await;
    assert_eq!(covered(&plan), 7);
    let nearly = plan.uncovered.iter().find(|u| u.lure_id == "L02").unwrap();
    let best = nearly.best_in_pool.as_ref().unwrap();
    assert_eq!((nearly.reached(), best.rod_id.as_str()), (pb::Verdict::Workable, "F"));
    assert!((0.70..0.74).contains(&best.score), "{}", best.score);
    // Segment by segment: perch, pike, zander.
    assert_eq!(missing(&plan), ["L01", "L10", "L11", "L12", "L02"]);
    let perch = &plan.uncovered[0];
    let on = &perch.best_in_pool.as_ref().unwrap().rod_id;
    assert_eq!((perch.reached(), on.as_str()), (pb::Verdict::Workable, "E"));
    for heavy in &plan.uncovered[1..4] {
        assert_eq!(heavy.reason(), pb::UncoveredReason::NoOffer);
        assert_eq!(heavy.reached(), pb::Verdict::Unspecified);
    }
}

/// Three anglers who fish these lures at once.
fn at_once(lures: [usize; 3]) -> pb::PlanTripRequest {
    let mut request = request(4, &|lure| lures.contains(&lure).then_some(3));
    let trip = request.trip.as_mut().unwrap();
    trip.anglers = ["A1", "A2", "A3"]
        .map(|id| pb::Angler {
            id: id.to_owned(),
            skill: pb::Skill::Intermediate.into(),
            ..Default::default()
        })
        .into();
    trip.segments.retain(|segment| segment.id == "pike");
    trip.segments[0].angler_ids = trip.anglers.iter().map(|angler| angler.id.clone()).collect();
    trip.needs.iter_mut().for_each(|need| "pike".clone_into(&mut need.segment_id));
    request
}

// T05: three anglers on three outfits.
#[tokio::test]
async fn everybody_has_an_outfit_of_his_own() {
    let plan = plan(&service("DEG"), at_once([2, 6, 11])).await;
    let outfit = |id: &str| plan.outfits.iter().find(|o| o.id == id).unwrap();
    let starts: BTreeSet<_> = plan
        .starts
        .iter()
        .map(|start| (start.lure_id.as_str(), outfit(&start.outfit_id).rod_id.as_str()))
        .collect();
    assert_eq!(starts, BTreeSet::from([("L02", "D"), ("L06", "E"), ("L11", "G")]));
}

// T06: only D is good for the three small shads; C and F as second outfits cure it.
#[tokio::test]
async fn three_anglers_and_one_good_outfit_clash() {
    let clash = plan(&service("DEG"), at_once([1, 2, 3])).await;
    assert_eq!(clash.status(), pb::PlanStatus::Infeasible);
    let named: Vec<_> = clash.clash.unwrap().constraints;
    let named: BTreeSet<_> = named.iter().map(pb::ClashingConstraint::constraint).collect();
    // With the broken rods ready, or with less asked for, there would be a plan.
    for expected in [
        pb::PlanConstraint::AnglersAtOnce,
        pb::PlanConstraint::MinVerdict,
        pb::PlanConstraint::ReadyItems,
    ] {
        assert!(named.contains(&expected), "{named:?}");
    }
    assert_eq!(covered(&plan(&service("CDEFG"), at_once([1, 2, 3])).await), 3);
}

// T07: ten minutes to rig anew on the water. Another lure on the snap is allowed, half a minute
// each; another main line takes longer, is not wound, and another outfit is used. Minutes: common
// practice, no source.
#[tokio::test]
async fn on_the_water_the_snap_is_changed_and_not_the_line() {
    // The line on ED is more than a year old, and there is nylon aboard.
    let stock = format!("{LEADERS}K6,nylon,16 lb,0.33,300,B1\n");
    let spooled = |row: &str| match &row[..2] {
        "re" => format!("{row},spooled_on,capacity_raw\n"),
        "ED" => format!("{row},2030-01-01,0.30 mm/200 m\n"),
        _ => format!("{row},2031-05-01,\n"),
    };
    let reels: String = REELS.lines().map(spooled).collect();
    let service = service_with("DE", LURES, &reels, &stock);
    let mut request = request(2, &|lure| [3, 4, 6].contains(&lure).then_some(3));
    let taken = |plan: &pb::Plan| -> Vec<String> {
        let parts = |o: &pb::PlannedOutfit| [&*o.rod_id, &o.reel_id, &o.line_stock_id].join("+");
        plan.outfits.iter().map(parts).collect()
    };
    let whole = plan(&service, request.clone()).await;
    assert_eq!(taken(&whole), ["D+ED+", "E+EE+"]);
    request.trip.as_mut().unwrap().date = "2031-09-16".to_owned();
    // On the quay there is time to wind the nylon on.
    assert_eq!(taken(&plan(&service, request.clone()).await)[0], "D+ED+K6");
    // It went out with the old line, for the nylon was to stay ashore.
    let leave = pb::PinRule::Leave.into();
    let nylon = pb::Pin { rule: leave, item_id: "K6".to_owned(), ..Default::default() };
    request.pins.push(nylon);
    let out = plan(&service, request.clone()).await;
    assert_eq!(taken(&out), ["D+ED+", "E+EE+"]);
    let check = pb::CheckCoverageRequest {
        trip: request.trip,
        plan: Some(out),
        lost_item_ids: vec!["E".to_owned()],
        ..Default::default()
    };
    let answer = service.check_coverage(Request::new(check)).await.unwrap().into_inner();
    let left = answer.plan.unwrap();
    assert_eq!(taken(&left), ["D+ED+"]);
    let [snap] = answer.swaps.as_slice() else { panic!("{:?}", answer.swaps) };
    assert!(snap.text.contains("L06 on D with ED"), "{}", snap.text);
    assert_eq!((snap.duration_minutes, answer.swap_minutes), (0.5, 1));
}

// T08: G is broken. F may lob lure 10 at most, over its limit: declared uncovered.
#[tokio::test]
async fn nothing_replaces_the_heaviest_rod() {
    let service = service("ABCDEF");
    let plan = plan(&service, request(4, &|lure| Some(if lure > 9 { 3 } else { 2 }))).await;
    assert_eq!((covered(&plan), missing(&plan)), (9, vec!["L10", "L11", "L12"]));
    for heavy in &plan.uncovered {
        assert_eq!((heavy.reason(), heavy.importance), (pb::UncoveredReason::NoOffer, 3));
        let best = heavy.best_in_pool.as_ref().map(pb::PoolOffer::verdict);
        assert!(best.is_none_or(|verdict| verdict >= pb::Verdict::Poor), "{best:?}");
    }
    // By the rules of the plan: half a value for each step of importance of a must, three times.
    assert_eq!(plan.value.unwrap().shortfall_micros, 4_500_000);
}
