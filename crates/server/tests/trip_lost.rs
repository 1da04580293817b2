//! What is said after a loss on the water holds for what is aboard by then: what has to be tied,
//! what was covered before, where more would come from. Source of the rules: the contract's
//! comments on CheckCoverageResponse and Settings.has_snap; common practice, no source, where
//! stated.
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

mod trip_support;

use deepbend_contract::pb;
use deepbend_contract::pb::trip_service_server::TripService as _;
use deepbend_ledger::import::FileKind;
use tonic::{Request, Status};
use tonic_types::StatusExt as _;
use trip_support::{Fleet, check, plan_on, t1, t2};

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

// By hand: in segment b nothing is done otherwise, whatever happens in segment a. Source: the
// contract of AboardBasis.planned_assignments.
#[tokio::test]
async fn what_was_covered_all_along_is_no_news() {
    let service = Fleet::demo().service();
    let plan = plan_on(&service, t1()).await.unwrap();
    let first = check(&service, &plan, &["R01"], &["a"]).await.unwrap();
    assert!(!first.difference.unwrap().needs.is_empty());
    let left = first.plan.unwrap();
    let aboard = left.basis.clone().unwrap().aboard.unwrap();
    assert!(aboard.planned_assignments.iter().all(|one| one.segment_id == "b"));
    let second = check(&service, &left, &[], &["b"]).await.unwrap();
    let difference = second.difference.unwrap();
    assert_eq!((&difference.needs[..], &second.swaps[..]), (&[][..], &[][..]));
    assert_eq!(difference.gain_micros, 0);
    let of_b = |list: &[pb::Assignment]| -> Vec<pb::Assignment> {
        let role = pb::AssignmentRole::Fishes;
        list.iter().filter(|a| a.segment_id == "b" && a.role() == role).cloned().collect()
    };
    let next = second.plan.unwrap();
    assert_eq!(of_b(&next.assignments), of_b(&plan.assignments));
    // And back again.
    let third = check(&service, &next, &[], &["a"]).await.unwrap();
    assert_eq!(third.difference.unwrap().needs, []);
    // What is missing in b since segment a is told in b, with what it costs.
    let first = check(&service, &plan, &["R17"], &["a"]).await.unwrap();
    let left = first.plan.unwrap();
    let second = check(&service, &left, &[], &["b"]).await.unwrap();
    let at_once = check(&service, &plan, &["R17"], &["b"]).await.unwrap();
    let (second, at_once) = (second.difference.unwrap(), at_once.difference.unwrap());
    assert!(!second.needs.is_empty());
    assert_eq!(second.needs, at_once.needs);
    assert_eq!(second.gain_micros, at_once.gain_micros);
}

// Source: the contract: ids of the plan's outfits and of the trip's segments.
#[tokio::test]
async fn what_was_planned_is_of_the_trip() {
    let service = Fleet::demo().service();
    let plan = plan_on(&service, t1()).await.unwrap();
    let mut left = check(&service, &plan, &[], &["a"]).await.unwrap().plan.unwrap();
    let aboard = left.basis.as_mut().unwrap().aboard.as_mut().unwrap();
    aboard.planned_assignments[0].outfit_id = "O99".to_owned();
    aboard.planned_starts[1].lure_id = "L99".to_owned();
    aboard.planned_uncovered[0].segment_id = "z".to_owned();
    aboard.lost_leader_outfit_ids = vec!["O99".to_owned()];
    let status = check(&service, &left, &[], &["b"]).await.unwrap_err();
    let bad = status.get_details_bad_request().unwrap();
    let fields: Vec<_> = bad.field_violations.iter().map(|v| v.field.as_str()).collect();
    let wanted = [
        "lost_leader_outfit_ids[0]",
        "planned_assignments[0].outfit_id",
        "planned_starts[1].lure_id",
        "planned_uncovered[0].segment_id",
    ];
    assert_eq!(fields, wanted.map(|field| format!("plan.basis.aboard.{field}")));
}

// By hand: two are asked for, and all that there are go out on the other boat.
#[tokio::test]
async fn what_another_boat_takes_is_missing_and_not_brought() {
    for there in ["1", "2"] {
        let row = format!(",sea trout,{there},B3");
        let fleet = Fleet::demo().edit(FileKind::Lures, "L12", ",sea trout,6,B3", &row);
        let service = fleet.service();
        let (first, second) = (t1(), t2());
        let (mut trip, mut other) = (first.trip.unwrap(), second.trip.unwrap());
        let need = other.needs.iter_mut().find(|need| need.lure_id == "L12").unwrap();
        need.copy_count = 1;
        need.importance = 3;
        let segment_id = "b".to_owned();
        trip.needs.push(pb::Need { copy_count: 2, importance: 1, segment_id, ..need.clone() });
        let trips = vec![trip, other];
        let request = pb::PlanFleetRequest { trips, pool: first.pool, ..Default::default() };
        let plans = service.plan_fleet(Request::new(request)).await.unwrap().into_inner().plan;
        let plan = plans.unwrap().plans.swap_remove(0);
        let left = check(&service, &plan, &[], &[]).await.unwrap().plan.unwrap();
        for (plan, ahead) in [(plan, ""), (left, "Nothing else aboard helps. For another day: ")] {
            let open = plan.uncovered.iter().find(|open| open.lure_id == "L12").unwrap();
            assert!(open.text.contains("2 of L12 asked for at once, 0 there."), "{}", open.text);
            assert_eq!(open.cure, format!("{ahead}Get more of L12: 2 are missing."), "{there}");
        }
    }
}

// Counted by hand: of two that are left nobody loses three, though ten were there.
#[tokio::test]
async fn a_count_is_held_against_what_is_left() {
    let service = Fleet::demo().service();
    let plan = plan_on(&service, t1()).await.unwrap();
    let lose = |plan: &pb::Plan, quantity: i32| {
        let request = pb::CheckCoverageRequest {
            trip: plan.trip.clone(),
            plan: Some(plan.clone()),
            lost_pieces: vec![pb::PieceCount { item_id: "K11".to_owned(), quantity }],
            ..pb::CheckCoverageRequest::default()
        };
        service.check_coverage(Request::new(request))
    };
    let wrong = |status: &Status| -> String {
        let bad = status.get_details_bad_request().unwrap();
        let all = bad.field_violations.iter().map(|v| format!("{} {}", v.field, v.description));
        all.collect::<Vec<_>>().join("; ")
    };
    let field = "lost_pieces[0].quantity is";
    let told = wrong(&lose(&plan, 11).await.unwrap_err());
    assert!(told.starts_with(&format!("{field} 11, more than are aboard")), "{told}");
    assert!(told.contains("at most 10"), "{told}");
    let left = lose(&plan, 8).await.unwrap().into_inner().plan.unwrap();
    let told = wrong(&lose(&left, 3).await.unwrap_err());
    let wanted = format!("{field} 3, more than are left aboard: 8 of 10 lost before");
    assert!(told.starts_with(&wanted) && told.contains("at most 2"), "{told}");
    // What is gone to the last piece is gone from the outfits too.
    let counted = lose(&left, 2).await.unwrap().into_inner();
    let whole = check(&service, &plan, &["K11"], &[]).await.unwrap();
    assert_eq!(counted.left_pieces[0].quantity, 0);
    assert!(!whole.swaps.is_empty());
    assert_eq!((&counted.swaps, &counted.left_bare), (&whole.swaps, &whole.left_bare));
    let lost = |answer: pb::CheckCoverageResponse| {
        let aboard = answer.plan.unwrap().basis.unwrap().aboard.unwrap();
        (aboard.lost_item_ids, aboard.lost_pieces, aboard.lost_leader_outfit_ids)
    };
    assert_eq!(lost(counted), lost(whole));
    let all = lose(&plan, 10).await.unwrap().into_inner();
    let told: Vec<_> = all.swaps.iter().map(|swap| swap.text.as_str()).collect();
    assert!(told.iter().any(|text| text.contains("tie a snap to K08")), "{told:?}");
    assert_eq!(lost_from(&all), [""; 0]);
}

// Source: the contract of CheckCoverageRequest.segment_ids.
#[tokio::test]
async fn a_segment_is_named_once() {
    let service = Fleet::demo().service();
    let plan = plan_on(&service, t1()).await.unwrap();
    let status = check(&service, &plan, &[], &["b", "b"]).await.unwrap_err();
    let bad = status.get_details_bad_request().unwrap();
    let [wrong] = &bad.field_violations[..] else { panic!("{bad:?}") };
    assert_eq!(wrong.field, "segment_ids");
    assert!(wrong.description.starts_with("is \"b\" again"), "{wrong:?}");
}

type Pieces<'a> = &'a [(&'a str, i32)];
type Ids<'a> = &'a [&'a str];

fn by_count(
    plan: &pb::Plan,
    lost: Pieces<'_>,
    segments: Ids<'_>,
) -> Request<pb::CheckCoverageRequest> {
    let piece = |(id, quantity): &(&str, i32)| pb::PieceCount {
        item_id: (*id).to_owned(),
        quantity: *quantity,
    };
    Request::new(pb::CheckCoverageRequest {
        trip: plan.trip.clone(),
        plan: Some(plan.clone()),
        lost_pieces: lost.iter().map(piece).collect(),
        segment_ids: segments.iter().map(|id| (*id).to_owned()).collect(),
        ..pb::CheckCoverageRequest::default()
    })
}

fn swaps(answer: &pb::CheckCoverageResponse) -> Vec<(&str, f64)> {
    answer.swaps.iter().map(|swap| (swap.text.as_str(), swap.duration_minutes)).collect()
}

fn lost_from(answer: &pb::CheckCoverageResponse) -> Vec<String> {
    let basis = answer.plan.as_ref().and_then(|plan| plan.basis.as_ref());
    basis.and_then(|basis| basis.aboard.as_ref()).unwrap().lost_leader_outfit_ids.clone()
}

// Common practice, no source: it is the trace on the line that a fish or a snag takes. By hand, with
// the minutes of the model: 3 for a trace.
#[tokio::test]
async fn a_piece_that_is_lost_is_one_that_was_tied() {
    let service = Fleet::demo().service();
    let plan = plan_on(&service, t1()).await.unwrap();
    let first = service.check_coverage(by_count(&plan, &[("K09", 1)], &[])).await;
    let first = first.unwrap().into_inner();
    let tie = "Tie K09 (titanium of 9 kg (20 lb)) to R01 with E01 for segment a; until then it has \
               none.";
    assert_eq!((swaps(&first), first.swap_minutes), (vec![(tie, 3.0)], 3));
    assert_eq!((first.left_pieces[0].quantity, &first.left_bare[..]), (19, &[][..]));
    // The one that was tied instead is lost as well.
    let left = first.plan.unwrap();
    let again = service.check_coverage(by_count(&left, &[("K09", 1)], &[])).await;
    let again = again.unwrap().into_inner();
    assert_eq!((swaps(&again), again.left_pieces[0].quantity), (vec![(tie, 3.0)], 18));
    // What nobody has tied is missing from the rest.
    let spare = service.check_coverage(by_count(&plan, &[("K10", 2)], &[])).await;
    let spare = spare.unwrap().into_inner();
    assert_eq!((swaps(&spare), spare.left_pieces[0].quantity), (Vec::new(), 13));
}

// Source: the order that the contract of CheckCoverageRequest.lost_pieces states. O1 to O3 begin
// segment a, O4 to O6 segment b; K11 is on O6 alone.
#[tokio::test]
async fn pieces_are_lost_in_a_known_order() {
    let service = Fleet::demo().service();
    let plan = plan_on(&service, t1()).await.unwrap();
    let on: Vec<&str> = plan.rigs.iter().map(|rig| rig.leader_stock_id.as_str()).collect();
    assert_eq!(on, ["K09", "K09", "K09", "K09", "K09", "K11"]);
    let cases: [(Pieces<'_>, Ids<'_>, Ids<'_>, Ids<'_>); 6] = [
        (&[("K09", 2)], &[], &[], &["O1", "O2"]),
        (&[("K09", 4)], &[], &[], &["O1", "O2", "O3", "O4"]),
        (&[("K09", 3)], &["b"], &[], &["O4", "O5", "O1"]),
        (&[("K09", 9), ("K11", 1)], &[], &[], &["O1", "O2", "O3", "O4", "O5", "O6"]),
        (&[("K09", 2)], &[], &["R05"], &["O3", "O1"]),
        (&[("K09", 2)], &[], &["E14"], &["O5", "O1"]),
    ];
    for (pieces, segments, lost, wanted) in cases {
        let mut request = by_count(&plan, pieces, segments);
        request.get_mut().lost_item_ids = lost.iter().map(|id| (*id).to_owned()).collect();
        let answer = service.check_coverage(request).await.unwrap().into_inner();
        assert_eq!(lost_from(&answer), wanted, "{pieces:?} {segments:?} {lost:?}");
    }
}

// Source: the contract of left_bare. O4 has no work in segment a, where it loses its trace.
#[tokio::test]
async fn an_outfit_whose_piece_is_lost_is_bare_until_it_has_work() {
    let service = Fleet::demo().service();
    let plan = plan_on(&service, t1()).await.unwrap();
    let first = service.check_coverage(by_count(&plan, &[("K09", 4)], &["a"])).await;
    let first = first.unwrap().into_inner();
    assert_eq!(first.swaps.len(), 3);
    let [bare] = &first.left_bare[..] else { panic!("{:?}", first.left_bare) };
    let said = "R13 with E06 is left bare: its K09 is lost, and no leader is tied to it.";
    assert_eq!((bare.outfit_id.as_str(), bare.text.as_str()), ("O4", said));
    let left = first.plan.unwrap();
    let again = check(&service, &left, &[], &["a"]).await.unwrap();
    assert_eq!((swaps(&again), &again.left_bare[..]), (Vec::new(), &[][..]));
    let second = check(&service, &left, &[], &["b"]).await.unwrap();
    let [(tie, 3.0)] = swaps(&second)[..] else { panic!("{:?}", second.swaps) };
    assert!(tie.ends_with("to R13 with E06 for segment b; until then it has none."), "{tie}");
}
