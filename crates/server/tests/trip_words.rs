//! What a plan says in words is so, and leads somewhere. Source: common practice, no source, where
//! nothing else is stated.
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

mod trip_support;

use std::collections::BTreeMap;

use deepbend_contract::pb;
use deepbend_contract::pb::trip_service_server::TripService as _;
use deepbend_ledger::import::FileKind;
use tonic::{Request, Status};
use tonic_types::StatusExt as _;
use trip_support::{Fleet, demo_trip, leave, plan, plan_on, rows, show, t1, t2};

fn pin(rule: pb::PinRule, id: &str, reel: &str) -> pb::Pin {
    let (item_id, reel_id) = (id.to_owned(), reel.to_owned());
    pb::Pin { rule: rule.into(), item_id, reel_id, ..pb::Pin::default() }
}

/// A line is due.
const DUE: i32 = pb::FindingCode::LineDue as i32;

fn fields(status: &Status) -> Vec<String> {
    let bad = status.get_details_bad_request().unwrap();
    bad.field_violations.into_iter().map(|v| v.field).collect()
}

// Source: the demo's files: R17 is a casting rod, E01 a fixed-spool reel.
#[tokio::test]
async fn a_reel_that_does_not_go_on_its_rod_is_refused() {
    let pair = |rod: &str, reel: &str| pin(pb::PinRule::Pair, rod, reel);
    let pins = vec![pin(pb::PinRule::Leave, "E01", ""), pair("R17", "E01"), pair("R01", "E02")];
    let service = Fleet::demo().service();
    let asked = plan_on(&service, pb::PlanTripRequest { pins, ..t1() }).await;
    let bad = asked.unwrap_err().get_details_bad_request().unwrap();
    let told: Vec<_> = bad.field_violations.iter().map(|v| (&*v.field, &*v.description)).collect();
    let wanted = "is E01, a fixed-spool reel, but R17 is a casting rod; right is a casting reel for \
                  R17, or a spinning rod for E01";
    assert_eq!(told, [("pins[1].reel_id", wanted)]);
}

// By hand: two boats cannot have the same rod.
#[tokio::test]
async fn a_rod_that_two_boats_are_to_take_goes_out_once() {
    let trips = [("T1", ["B2", "S0"]), ("T2", ["B2", "S0"])];
    let trips = trips.map(|(id, places)| demo_trip(id, &places).trip.unwrap()).to_vec();
    let take =
        |boat: &str| pb::Pin { boat_id: boat.to_owned(), ..pin(pb::PinRule::Take, "R17", "") };
    let pins = vec![take("B1"), take("B3")];
    let request = pb::PlanFleetRequest { trips, pins, pool: t1().pool, ..Default::default() };
    let fleet = Fleet::demo().service().plan_fleet(Request::new(request)).await.unwrap();
    let text = fleet.into_inner().plan.unwrap().clash.unwrap().text;
    for part in ["goes out once", "B1 takes R17, as you ask", "B3 takes R17, as you ask"] {
        assert!(text.contains(part), "{text}");
    }
    assert!(!text.contains("take turns"), "{text}");
}

// By hand: of nine rods that are to be taken one goes where there is one holder.
#[tokio::test]
async fn a_long_list_of_what_is_left_out_says_how_long() {
    let rods = ["R01", "R04", "R05", "R07", "R13", "R14", "R18", "R19", "R20"];
    let pins = rods.map(|id| pin(pb::PinRule::Take, id, "")).to_vec();
    let mut request = pb::PlanTripRequest { pins, ..t1() };
    let trip = request.trip.as_mut().unwrap();
    trip.rod_limit = Some(1);
    trip.segments.iter_mut().for_each(|segment| segment.angler_ids.truncate(1));
    let given = plan(&Fleet::demo(), request).await.given_up.unwrap();
    assert_eq!((given.pins.len(), given.short_crews.len()), (8, 0), "{}", given.text);
    assert_eq!(given.text.matches("B1 does not take").count(), 6, "{}", given.text);
    assert!(given.text.ends_with("; and 2 more.") && given.is_least, "{}", given.text);
}

// By hand: of a lure that two fish at once one outfit less leaves one copy, not a better verdict.
#[tokio::test]
async fn copies_that_are_lost_are_counted() {
    let plan = plan(&Fleet::demo(), t2()).await;
    let mut counted = 0;
    for loss in &plan.losses {
        for open in loss.opens.iter().filter(|open| ["L10", "L12", "L13"].contains(&&*open.lure_id))
        {
            let all = (open.copy_count, open.copy_before_count, open.copy_after_count);
            assert_eq!(all, (2, 2, 1), "{loss:?}");
            let said = format!("{} (a must): 1 of 2 copies left", open.lure_id);
            assert!(loss.text.contains(&said), "{}", loss.text);
            counted += 1;
        }
        for worse in ["falls to excellent", "falls to nothing"] {
            assert!(!loss.text.contains(worse), "{}", loss.text);
        }
    }
    assert!(counted > 0, "{:?}", plan.losses);
}

// By hand: one outfit more is no cure of several copies.
#[tokio::test]
async fn a_cure_says_of_how_many_copies() {
    let mut request = t2();
    for need in &mut request.trip.as_mut().unwrap().needs {
        need.copy_count = if need.lure_id == "L12" { 6 } else { 1 };
    }
    let fleet = Fleet::demo().edit(FileKind::Lures, "L12", ",6,B3", ",9,B3");
    let plan = plan(&fleet, request).await;
    println!("{}", show(&plan));
    let open = plan.uncovered.iter().find(|open| open.lure_id == "L12").unwrap();
    let missing = open.copy_count - open.met_count;
    assert!(open.copy_count == 6 && missing > 1, "{open:?}");
    let covered = format!("{} of 6 copies covered. ", open.met_count);
    assert!(open.text.starts_with(&covered), "{}", open.text);
    let of = format!("1 of the {missing} copies that are missing");
    let more = format!("{missing} more outfits");
    assert!(open.cure.contains(&of) || open.cure.contains(&more), "{}", open.cure);
}

// By hand: Grebe has eight holders; the trip allows four rods.
#[tokio::test]
async fn the_limit_that_binds_is_named() {
    let mut request = t1();
    request.trip.as_mut().unwrap().rod_limit = Some(4);
    let plan = plan(&Fleet::demo(), request).await;
    let full = plan.uncovered.iter().filter(|open| open.reason() == pb::UncoveredReason::NoHolder);
    let full: Vec<_> = full.collect();
    assert!(!full.is_empty(), "{:?}", plan.uncovered);
    for open in full {
        assert!(open.text.contains("the 4 rods that this trip may take"), "{}", open.text);
        assert!(open.cure.starts_with("Let the trip take one rod more"), "{}", open.cure);
    }
    let ashore = plan.left_ashore.iter().filter(|l| l.reason() == pb::AshoreReason::NoHolder);
    assert!(ashore.clone().count() > 0);
    ashore.for_each(|left| assert!(left.text.contains("the trip may take 4"), "{}", left.text));
}

// Source: the demo's files: on the coast a toothy fish is rare, in the channel it is not.
#[tokio::test]
async fn a_card_does_not_ask_for_the_wire_that_it_leaves_off() {
    let plan = plan(&Fleet::demo(), t2()).await;
    let bite = |card: &pb::RigCard| -> Option<String> {
        let of = |c: &&pb::Caution| c.code() == pb::CautionCode::BiteOff;
        card.cautions.iter().find(of).map(|caution| caution.text.clone())
    };
    let told: Vec<String> = plan
        .rig_cards
        .iter()
        .filter(|card| card.segment_id == "a")
        .filter(|card| {
            let settings = card.settings.as_ref().unwrap();
            settings.leader_material() == pb::LeaderMaterial::None
        })
        .filter_map(bite)
        .collect();
    assert!(!told.is_empty(), "{:?}", plan.rig_cards);
    for text in told {
        assert!(text.starts_with("have wire or titanium at hand"), "{text}");
    }
}

// Source: the demo's files: E10 has 212 h on it and a braid; nothing else is that worn.
#[tokio::test]
async fn hours_make_a_line_due_without_a_date() {
    let mut request = t1();
    request.trip.as_mut().unwrap().date.clear();
    let plan = plan(&Fleet::demo(), request).await;
    let due: Vec<_> = plan.findings.iter().filter(|f| f.code == DUE).collect();
    assert!(due.iter().any(|f| f.field == "date" && f.text.contains("hours")), "{due:?}");
    let worn = due.iter().find(|f| f.field == "E10.line").unwrap();
    assert!(worn.text.contains("212 h") && !worn.text.contains("on since"), "{}", worn.text);
}

#[tokio::test]
async fn a_fault_of_a_pin_says_which() {
    let pins = vec![pin(pb::PinRule::Take, "R01", ""), pin(pb::PinRule::Take, "L01", "")];
    let request = pb::PlanTripRequest { pins, ..t1() };
    let status = plan_on(&Fleet::demo().service(), request).await.unwrap_err();
    assert_eq!(fields(&status), ["pins[1].item_id"]);
}

// Counted by hand: nobody loses more than there was.
#[tokio::test]
async fn no_more_is_lost_than_there_was() {
    let service = Fleet::demo().service();
    let plan = plan_on(&service, t1()).await.unwrap();
    let lures = plan.load_list.iter().filter(|l| l.kind() == pb::CargoKind::Lure);
    let id = lures.map(|l| l.item_id.clone()).next().unwrap();
    let lost = |item_id: String, quantity: i32| pb::CheckCoverageRequest {
        trip: plan.trip.clone(),
        plan: Some(plan.clone()),
        lost_pieces: vec![pb::PieceCount { item_id, quantity }],
        ..pb::CheckCoverageRequest::default()
    };
    let status = service.check_coverage(Request::new(lost(id.clone(), 99))).await.unwrap_err();
    assert_eq!(fields(&status), ["lost_pieces[0].quantity"]);
    let answer = service.check_coverage(Request::new(lost(id, 1))).await.unwrap().into_inner();
    // One lure goes onto one snap.
    for swap in answer.swaps.iter().filter(|swap| swap.text.starts_with("Fish ")) {
        let several = swap.text.split(" on ").next().unwrap().contains(", ");
        assert_eq!(swap.text.contains("for each"), several, "{}", swap.text);
    }
}

// By hand: a spool that holds much more of a thin line than is wound on wants backing.
#[tokio::test]
async fn a_spool_that_is_not_filled_gets_backing() {
    let plan = plan(&Fleet::demo(), t1()).await;
    let respool = plan.jobs.iter().find(|job| job.kind() == pb::JobKind::Respool).unwrap();
    let number = |after: &str, until: &str| -> f64 {
        let rest = respool.text.split(after).nth(1).unwrap();
        rest.split(until).next().unwrap().parse().unwrap()
    };
    assert!(respool.text.contains("Backing goes under it"), "{}", respool.text);
    assert!(number("Wind ", " m") < number("holds ", " m"), "{}", respool.text);
}

/// Merganser's trip with every lure of the demo wanted at its best in the first part of the day.
fn everything(wind_m_s: f64) -> pb::PlanTripRequest {
    let mut request = demo_trip("T2", &["S0"]);
    let trip = request.trip.as_mut().unwrap();
    trip.segments.truncate(1);
    let water = trip.segments[0].water.as_mut().unwrap();
    water.wind_speed_m_s = Some(wind_m_s);
    let lures = rows(include_str!("../../cli/demo/lures.csv"));
    let need = |lure: &BTreeMap<String, String>| pb::Need {
        segment_id: trip.segments[0].id.clone(),
        lure_id: lure["lure_id"].clone(),
        importance: 1,
        copy_count: 1,
        min_verdict: pb::Verdict::Excellent.into(),
    };
    trip.needs = lures.iter().map(need).collect();
    request.pool.push(pb::PoolPlace { place_id: "B1".to_owned(), move_cost_micros: None });
    request
}

/// Rods that a text names.
fn rods_in(text: &str) -> Vec<&str> {
    let words = text.split(|c: char| !c.is_ascii_alphanumeric());
    words.filter(|w| w.len() == 3 && w.starts_with('R') && w[1..].parse::<u8>().is_ok()).collect()
}

// Source: the demo's files: in one piece and longer than Merganser's locker of 1.95 m are R04, R13,
// R15 to R19 and R23; R08 is to stay ashore here.
#[tokio::test]
async fn no_cure_names_what_the_boat_cannot_take() {
    let long = ["R04", "R13", "R15", "R16", "R17", "R18", "R19", "R23"];
    let mut request = everything(5.0);
    leave(&mut request, &["R08"]);
    let plan = plan(&Fleet::demo(), request).await;
    println!("{}", show(&plan));
    let mut named = 0;
    for open in &plan.uncovered {
        let best = open.best_in_pool.iter().map(|best| best.rod_id.as_str());
        for rod in best.chain(rods_in(&open.cure)) {
            named += 1;
            assert!(rod != "R08" && !long.contains(&rod), "{rod}: {} {}", open.text, open.cure);
        }
        let vague = open.text.contains("is not ready, does not fit the locker, or lacks");
        assert!(!vague, "{}", open.text);
    }
    assert!(named > 5, "{named}");
}

fn cures(plan: &pb::Plan) -> Vec<(&str, &str)> {
    plan.uncovered.iter().map(|open| (open.lure_id.as_str(), open.cure.as_str())).collect()
}

// By hand: in a calm no calmer day helps. Where one is said to, the lure is covered in a calm by
// what is named; where nothing is said to cover a lure, nothing does in any wind.
#[tokio::test]
async fn a_calmer_day_is_advised_where_it_helps() {
    let calm = "calmer day";
    let still = plan(&Fleet::demo(), everything(0.0)).await;
    assert!(cures(&still).iter().all(|(_, cure)| !cure.contains(calm)), "{:?}", cures(&still));
    let storm = plan(&Fleet::demo(), everything(14.0)).await;
    println!("{}", show(&storm));
    let mut helped = 0;
    for (lure, cure) in cures(&storm) {
        assert!(!cure.contains("No rod covers"), "{lure}: {cure}");
        let open_in_a_calm = cures(&still).iter().find(|(other, _)| *other == lure).copied();
        if cure.contains(calm) {
            helped += 1;
            assert!(cure.contains("in a calm"), "{lure}: {cure}");
            let none = open_in_a_calm.is_some_and(|(_, cure)| cure.starts_with("Nothing"));
            assert!(!none, "{lure}: {cure}");
        } else if cure.starts_with("Nothing") {
            let (_, cure) = open_in_a_calm.unwrap();
            assert!(cure.starts_with("Nothing"), "{lure}: {cure}");
        }
    }
    assert!(helped > 0);
}

// By hand: more of a lure helps where an outfit suits it, and nobody where none does.
#[tokio::test]
async fn more_of_a_lure_is_advised_where_an_outfit_suits_it() {
    let mut request = everything(5.0);
    for need in &mut request.trip.as_mut().unwrap().needs {
        (need.copy_count, need.min_verdict) = (10, pb::Verdict::Good.into());
    }
    let plan = plan(&Fleet::demo(), request).await;
    println!("{}", show(&plan));
    let (mut more, mut other) = (0, 0);
    let missing = |open: &&pb::Uncovered| open.reason() == pb::UncoveredReason::LureMissing;
    for open in plan.uncovered.iter().filter(missing) {
        let best = open.best_in_pool.as_ref().map(pb::PoolOffer::verdict);
        let reached = [best.unwrap_or_default(), open.reached()];
        let good = [pb::Verdict::Good, pb::Verdict::Excellent];
        let suits = reached.iter().any(|verdict| good.contains(verdict));
        let told = open.cure.as_str();
        match suits {
            true => {
                assert!(told.starts_with("Get more of") || told.starts_with("Bring L"), "{told}")
            }
            // What suits it comes first.
            false => assert!(!told.starts_with("Get more of"), "{}: {told}", open.lure_id),
        }
        *(if suits { &mut more } else { &mut other }) += 1;
    }
    assert!(more > 0 && other > 0, "{more} {other}");
}

// By hand: what fishes without a leader first has none tied before departure.
#[tokio::test]
async fn a_leader_is_tied_when_it_is_fished() {
    let plan = plan(&Fleet::demo(), t2()).await;
    println!("{}", show(&plan));
    let uses = |outfit: &str, leader: &str| -> Vec<&str> {
        let fished = plan.assignments.iter().filter(|a| a.role() == pb::AssignmentRole::Fishes);
        let own = fished
            .filter(|a| (a.outfit_id.as_str(), a.leader_stock_id.as_str()) == (outfit, leader));
        own.map(|a| a.segment_id.as_str()).collect()
    };
    let mut late = 0;
    for job in plan.jobs.iter().filter(|job| job.kind() == pb::JobKind::Leader) {
        let (bare, tied) = (uses(&job.outfit_id, ""), uses(&job.outfit_id, &job.stock_id));
        let is_late = bare.contains(&"a") && !tied.contains(&"a");
        assert_eq!(
            is_late,
            job.segment_id == "b" && job.text.contains("until then"),
            "{}",
            job.text
        );
        late += u32::from(is_late);
    }
    assert!(late > 0);
}

// By hand: the order of rows says in what order needs are listed, and nothing else.
#[tokio::test]
async fn rows_in_another_order_change_no_word() {
    for asked in [t1(), everything(6.0)] {
        let service = Fleet::demo().service();
        let mut turned = asked.clone();
        turned.trip.as_mut().unwrap().needs.reverse();
        let (one, other) =
            (plan_on(&service, asked).await.unwrap(), plan_on(&service, turned).await.unwrap());
        assert!(one.cautions.iter().any(|c| c.because.contains("; and ")), "{:?}", one.cautions);
        assert_eq!(in_order(one), in_order(other));
    }
}

/// A plan with what is listed in the order of its needs in another, fixed one.
fn in_order(mut plan: pb::Plan) -> pb::Plan {
    plan.trip.iter_mut().for_each(|trip| trip.needs.clear());
    plan.assignments.sort_by_key(|a| (a.segment_id.clone(), a.lure_id.clone()));
    plan.uncovered.sort_by_key(|u| (u.segment_id.clone(), u.lure_id.clone()));
    plan.rig_cards.sort_by_key(|c| (c.segment_id.clone(), c.lure_id.clone(), c.outfit_id.clone()));
    plan
}
