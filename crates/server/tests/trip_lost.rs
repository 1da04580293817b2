//! What is said after a loss on the water holds for what is aboard by then: what has to be tied,
//! what was covered before, where more would come from. Source of the rules: the contract's
//! comments on CheckCoverageResponse and Settings.has_snap; common practice, no source, where
//! stated.
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

mod trip_support;

use deepbend_contract::pb;
use deepbend_contract::pb::trip_service_server::TripService as _;
use deepbend_server::trips::TripServiceImpl;
use tonic::{Request, Status};
use trip_support::{Fleet, plan_on, t1};

async fn check(
    service: &TripServiceImpl,
    plan: &pb::Plan,
    lost: &[&str],
    segments: &[&str],
) -> Result<pb::CheckCoverageResponse, Status> {
    let own = |list: &[&str]| list.iter().map(|id| (*id).to_owned()).collect();
    let request = pb::CheckCoverageRequest {
        trip: plan.trip.clone(),
        plan: Some(plan.clone()),
        lost_item_ids: own(lost),
        segment_ids: own(segments),
        ..pb::CheckCoverageRequest::default()
    };
    service.check_coverage(Request::new(request)).await.map(tonic::Response::into_inner)
}

// By hand, with the minutes of the model: 8 for the leader, 3 for the snap, 0.5 for each lure. Common
// practice, no source: a trace has its snap, a leader of fluorocarbon has none until one is tied on.
#[tokio::test]
async fn a_snap_that_went_with_its_trace_is_tied_again() {
    let service = Fleet::demo().service();
    let plan = plan_on(&service, t1()).await.unwrap();
    let answer = check(&service, &plan, &["K11"], &[]).await.unwrap();
    let told: Vec<_> = answer.swaps.iter().map(|s| (s.text.as_str(), s.duration_minutes)).collect();
    let [(tie, 8.0), (snap, 4.0)] = told[..] else { panic!("{told:?}") };
    assert!(tie.starts_with("Tie K08 "), "{tie}");
    assert_eq!(snap, "Fish L28, L29 on R19 with E13: tie a snap to K08, then clip each on.");
    assert_eq!(answer.swap_minutes, 12);
    assert_eq!(answer.left_bare, []);
    // What is wire has a snap of its own.
    let answer = check(&service, &plan, &["K10"], &[]).await.unwrap();
    assert!(answer.swaps.iter().all(|swap| !swap.text.contains("tie a snap")));
}

// Source: the contract of left_bare.
#[tokio::test]
async fn an_outfit_that_is_left_bare_is_named_once() {
    let service = Fleet::demo().service();
    let plan = plan_on(&service, t1()).await.unwrap();
    let answer = check(&service, &plan, &["K09"], &[]).await.unwrap();
    let bare = |answer: &pb::CheckCoverageResponse| -> Vec<String> {
        answer.left_bare.iter().map(|outfit| outfit.text.clone()).collect()
    };
    let said = "R01 with E01 is left bare: all of K09 is lost, and no other leader is tied to it.";
    assert_eq!(bare(&answer), [said]);
    let left = answer.plan.unwrap();
    assert!(left.outfits.iter().all(|outfit| outfit.rod_id != "R01"));
    let again = check(&service, &left, &["L05"], &[]).await.unwrap();
    assert_eq!(bare(&again), [""; 0]);
    // A rod that is gone is not bare but gone.
    let answer = check(&service, &plan, &["K09", "R01"], &[]).await.unwrap();
    assert_eq!(bare(&answer), [""; 0]);
}
