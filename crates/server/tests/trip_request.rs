//! What is wrong with a request is named, all of it; what is not there is said.
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

mod trip_support;

use std::collections::BTreeSet;

use deepbend_contract::pb;
use deepbend_contract::pb::trip_service_server::TripService as _;
use deepbend_server::trips::TripServiceImpl;
use tonic::{Code, Request, Status};
use tonic_types::StatusExt as _;
use trip_support::{Fleet, demo_trip, leave, plan_on, t1, t2};

async fn refused(request: pb::PlanTripRequest) -> Status {
    plan_on(&Fleet::demo().service(), request).await.unwrap_err()
}

fn fields(status: &Status) -> BTreeSet<String> {
    let bad = status.get_details_bad_request().unwrap();
    bad.field_violations.into_iter().map(|v| format!("{} {}", v.field, v.reason)).collect()
}

fn reason(status: &Status) -> String {
    status.get_details_error_info().unwrap().reason
}

// Source: the contract's comments on PlanTripRequest and Trip.
#[tokio::test]
async fn every_fault_is_named_with_its_field() {
    let mut request = t1();
    let trip = request.trip.as_mut().unwrap();
    trip.date = "2031-02-30".to_owned();
    trip.boat_id = String::new();
    trip.anglers[1].id = "A1".to_owned();
    trip.anglers[2].skill = 0;
    trip.segments[0].start = "7:00".to_owned();
    trip.segments[0].wind_shares[0].share = f64::NAN;
    trip.segments[0].angler_ids = vec!["nobody".to_owned()];
    trip.segments[1].wind_shares[0].share = 0.9;
    let water = trip.segments[1].water.as_mut().unwrap();
    water.wind_direction = pb::WindDirection::Into.into();
    water.skill = pb::Skill::Novice.into();
    water.depth_m = Some(-1.0);
    trip.needs[0].importance = 4;
    trip.needs[1].copy_count = -2;
    trip.needs[2].lure_id = trip.needs[3].lure_id.clone();
    trip.needs[4].segment_id = "z".to_owned();
    trip.needs[5].min_verdict = pb::Verdict::Poor.into();
    trip.needs[6].lure_id = "L 17".to_owned();
    trip.rod_limit = Some(0);
    trip.job_budget_minutes = Some(5000);
    request.pool[0].move_cost_micros = Some(-1);
    request.pool[1].place_id = "B2".to_owned();
    request.pins = vec![
        pb::Pin { rule: 0, item_id: "R01".to_owned(), ..pb::Pin::default() },
        pb::Pin { rule: 2, item_id: "R01".to_owned(), ..pb::Pin::default() },
    ];
    request.work_budget_nodes = Some(0);
    request.explanation = 99;
    request.request_label = "x".repeat(201);
    request.overrides.insert("no.such".to_owned(), f64::INFINITY);
    let status = refused(request).await;
    assert_eq!(
        (status.code(), reason(&status).as_str()),
        (Code::InvalidArgument, "INVALID_REQUEST")
    );
    let wanted = [
        "trip.date MALFORMED",
        "trip.boat_id MISSING",
        "trip.anglers[1].id DUPLICATE",
        "trip.anglers[2].skill MISSING",
        "trip.segments[0].start MALFORMED",
        "trip.segments[0].wind_shares[0].share NOT_FINITE",
        "trip.segments[0].angler_ids[0] NOT_FOUND",
        "trip.segments[1].wind_shares CONFLICT",
        "trip.segments[1].water.wind_direction CONFLICT",
        "trip.segments[1].water.skill CONFLICT",
        "trip.segments[1].water.depth_m TOO_SMALL",
        "trip.segments[1].angler_ids[1] NOT_FOUND",
        "trip.segments[1].angler_ids[2] NOT_FOUND",
        "trip.needs[0].importance TOO_LARGE",
        "trip.needs[1].copy_count TOO_SMALL",
        "trip.needs[3].lure_id DUPLICATE",
        "trip.needs[4].segment_id NOT_FOUND",
        "trip.needs[5].min_verdict UNKNOWN_VALUE",
        "trip.needs[6].lure_id MALFORMED",
        "trip.needs[6].lure_id MISSING",
        "trip.rod_limit TOO_SMALL",
        "trip.job_budget_minutes TOO_LARGE",
        "pool[0].move_cost_micros TOO_SMALL",
        "pool[1].place_id DUPLICATE",
        "pins[0].rule MISSING",
        "pins[1].reel_id MISSING",
        "work_budget_nodes TOO_SMALL",
        "explanation UNKNOWN_VALUE",
        "request_label TOO_LONG",
        "overrides[\"no.such\"] NOT_FINITE",
    ];
    let wanted: BTreeSet<_> = wanted.into_iter().map(str::to_owned).collect();
    let found = fields(&status);
    let missing: Vec<_> = wanted.difference(&found).collect();
    let surplus: Vec<_> = found.difference(&wanted).collect();
    assert!(missing.is_empty() && surplus.is_empty(), "{missing:?} {surplus:?}");
}

// Source: the calendar: a part of the day ends after it begins, and a boat is at one place at a time.
#[tokio::test]
async fn parts_of_the_day_follow_each_other() {
    let mut request = t1();
    let segments = &mut request.trip.as_mut().unwrap().segments;
    let times = |part: &mut pb::Segment, start: &str, end: &str| {
        (part.start, part.end) = (start.to_owned(), end.to_owned());
    };
    times(&mut segments[0], "10:30", "07:00");
    times(&mut segments[1], "10:30", "10:30");
    let status = refused(request.clone()).await;
    let both = ["trip.segments[0].end CONFLICT", "trip.segments[1].end CONFLICT"];
    assert_eq!(fields(&status), both.map(str::to_owned).into());
    assert!(status.message().contains("07:00") && status.message().contains("10:30"));
    let segments = &mut request.trip.as_mut().unwrap().segments;
    times(&mut segments[0], "07:00", "10:30");
    times(&mut segments[1], "10:29", "15:00");
    let overlap = BTreeSet::from(["trip.segments[1].start CONFLICT".to_owned()]);
    assert_eq!(fields(&refused(request.clone()).await), overlap);
    // The other way round in the list it is the same overlap.
    request.trip.as_mut().unwrap().segments.reverse();
    assert_eq!(fields(&refused(request.clone()).await), overlap);
    let segments = &mut request.trip.as_mut().unwrap().segments;
    times(&mut segments[0], "10:30", "15:00");
    request.validate_only = true;
    Fleet::demo().service().plan_trip(Request::new(request)).await.unwrap();
}

#[tokio::test]
async fn trips_of_a_fleet_have_names_of_their_own() {
    let mut trips = vec![t1().trip.unwrap(), t2().trip.unwrap()];
    trips[1].id = "T1".to_owned();
    let request = pb::PlanFleetRequest { trips, ..pb::PlanFleetRequest::default() };
    let status = Fleet::demo().service().plan_fleet(Request::new(request)).await.unwrap_err();
    assert_eq!(fields(&status), BTreeSet::from(["trips[1].id DUPLICATE".to_owned()]));
}

#[tokio::test]
async fn an_empty_request_lacks_its_trip() {
    let status = refused(pb::PlanTripRequest::default()).await;
    assert_eq!(fields(&status), BTreeSet::from(["trip MISSING".to_owned()]));
    let request =
        pb::PlanTripRequest { trip: Some(pb::Trip::default()), ..pb::PlanTripRequest::default() };
    let named = fields(&refused(request).await);
    for field in ["boat_id", "anglers", "segments", "needs"] {
        assert!(named.contains(&format!("trip.{field} MISSING")), "{named:?}");
    }
}

#[tokio::test]
async fn unknown_items_are_named() {
    let mut request = t1();
    request.trip.as_mut().unwrap().needs[0].lure_id = "L99".to_owned();
    request.pool[0].place_id = "B9".to_owned();
    leave(&mut request, &["R99"]);
    let status = refused(request).await;
    assert_eq!((status.code(), reason(&status).as_str()), (Code::NotFound, "ITEM_NOT_FOUND"));
    for id in ["L99", "B9", "R99"] {
        assert!(status.message().contains(id), "{}", status.message());
    }
    let info = status.get_details_error_info().unwrap();
    assert_eq!((info.metadata["kind"].as_str(), info.metadata["id"].as_str()), ("lure", "L99"));
}

#[tokio::test]
async fn a_place_ashore_does_not_go_out() {
    let mut request = t1();
    request.trip.as_mut().unwrap().boat_id = "S0".to_owned();
    request.pool.clear();
    assert_eq!(
        fields(&refused(request).await),
        BTreeSet::from(["trip.boat_id CONFLICT".to_owned()])
    );
}

#[tokio::test]
async fn overrides_are_held_against_the_model() {
    let mut request = t2();
    request.overrides.insert("no.such".to_owned(), 1.0);
    let named = fields(&refused(request).await);
    assert_eq!(named, BTreeSet::from(["overrides[\"no.such\"] UNKNOWN_VALUE".to_owned()]));
    let mut request = t2();
    request.overrides.insert("setting.leader_open_m".to_owned(), 1.2);
    let service = Fleet::demo().service();
    let changed = plan_on(&service, request).await.unwrap();
    let usual = plan_on(&service, t2()).await.unwrap();
    assert_ne!(changed.model, usual.model);
}

#[tokio::test]
async fn without_an_inventory_nothing_is_planned() {
    let status = plan_on(&TripServiceImpl::new(None), t1()).await.unwrap_err();
    assert_eq!(status.code(), Code::FailedPrecondition);
    assert_eq!(reason(&status), "NO_INVENTORY");
}

#[tokio::test]
async fn validate_only_plans_nothing() {
    let mut request = t1();
    request.validate_only = true;
    request.request_label = "look first".to_owned();
    let answer = Fleet::demo().service().plan_trip(Request::new(request)).await.unwrap();
    let answer = answer.into_inner();
    assert!(answer.plan.is_none());
    assert_eq!(answer.request_label, "look first");
}

// From memory: a budget of one node ends with a plan, a bound and a gap, or with the proof.
#[tokio::test]
async fn a_small_budget_still_answers_with_a_bound() {
    let mut request = t1();
    request.work_budget_nodes = Some(1);
    let service = Fleet::demo().service();
    let cut = plan_on(&service, request).await.unwrap();
    let best = plan_on(&service, t1()).await.unwrap().value.unwrap().objective_micros;
    let worth = cut.value.unwrap().objective_micros;
    assert!(worth <= best && best <= cut.bound_micros.unwrap());
    assert!(cut.gap.unwrap() >= 0.0 && cut.reproducible);
}

// Source: the contract: several boats that go out on one day.
#[tokio::test]
async fn boats_of_a_fleet_go_out_on_one_day() {
    let service = Fleet::demo().service();
    let mut second = demo_trip("T2", &[]).trip.unwrap();
    second.date = "2031-09-17".to_owned();
    let trips = vec![demo_trip("T1", &[]).trip.unwrap(), second];
    let request = pb::PlanFleetRequest { trips, ..Default::default() };
    let status = service.plan_fleet(Request::new(request)).await.unwrap_err();
    let bad = status.get_details_bad_request().unwrap();
    let found: Vec<_> = bad.field_violations.iter().map(|v| (&*v.field, &*v.reason)).collect();
    assert_eq!(found, [("trips[1].date", "CONFLICT")]);
}
