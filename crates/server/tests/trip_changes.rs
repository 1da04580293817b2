//! Leaders that are changed on the water, and lures that the fleet shares. Source of the rules: the
//! contract's comments on JobKind, Rig and AboardBasis.
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

mod trip_support;

use deepbend_contract::pb;
use deepbend_contract::pb::trip_service_server::TripService as _;
use deepbend_ledger::import::FileKind;
use tonic::Request;
use trip_support::{Fleet, plan_on, show, t1, t2};

/// The channel of T2, where pike bite, before the open shore, where they do not.
fn channel_first() -> pb::PlanTripRequest {
    let mut request = t2();
    let parts = &mut request.trip.as_mut().unwrap().segments;
    parts.reverse();
    for (part, (start, end)) in parts.iter_mut().zip([("05:30", "08:30"), ("10:00", "14:00")]) {
        (part.start, part.end) = (start.to_owned(), end.to_owned());
    }
    request
}

// Source: the contract of JOB_KIND_LEADER_OFF.
#[tokio::test]
async fn a_trace_comes_off_where_the_lure_is_tied_to_the_line() {
    let service = Fleet::demo().service();
    let plan = plan_on(&service, channel_first()).await.unwrap();
    let told = show(&plan);
    let off: Vec<&pb::Job> =
        plan.jobs.iter().filter(|job| job.kind() == pb::JobKind::LeaderOff).collect();
    assert!(!off.is_empty(), "{told}");
    for job in off {
        let outfit = plan.outfits.iter().find(|o| o.id == job.outfit_id).unwrap();
        assert_eq!(job.segment_id, "a", "nothing comes off before departure\n{told}");
        assert!(!job.is_if_needed && job.duration_minutes > 0, "{told}");
        assert!(outfit.leader_stock_ids.contains(&job.stock_id), "{told}");
        let wanted = format!("Take {} off {} with {}", job.stock_id, outfit.rod_id, outfit.reel_id);
        assert!(
            job.text.starts_with(&wanted) && job.text.contains("for segment a"),
            "{}",
            job.text
        );
        // It was on before, and nothing is on after.
        let rigs: Vec<_> = plan.rigs.iter().filter(|r| r.outfit_id == outfit.id).collect();
        let at = |segment: &str| rigs.iter().find(|r| r.segment_id == segment).unwrap();
        assert_eq!(at("b").leader_stock_id, job.stock_id, "{told}");
        assert_eq!(at("a").leader_stock_id, "", "{told}");
    }
}

// Source: the contract of AboardBasis.shares: what another boat took of a lure is not aboard, though
// all of it lies there by the inventory.
#[tokio::test]
async fn what_another_boat_took_of_a_lure_is_not_aboard() {
    let there = |count: &str| {
        let fleet = Fleet::demo();
        fleet.edit(FileKind::Lures, "L12", ",sea trout,6,B3", &format!(",sea trout,{count},B3"))
    };
    let service = there("3").service();
    let (first, second) = (t1(), t2());
    let mut trip = first.trip.unwrap();
    let need = second.trip.as_ref().unwrap().needs.iter().find(|need| need.lure_id == "L12");
    let need = pb::Need { copy_count: 1, segment_id: "b".to_owned(), ..need.unwrap().clone() };
    trip.needs.push(need);
    let request = pb::PlanFleetRequest {
        trips: vec![trip, second.trip.unwrap()],
        pool: first.pool,
        ..pb::PlanFleetRequest::default()
    };
    let fleet = service.plan_fleet(Request::new(request)).await.unwrap().into_inner().plan.unwrap();
    let taken = |plan: &pb::Plan| -> i32 {
        let lines = plan.load_list.iter().filter(|line| line.item_id == "L12");
        lines.map(|line| line.quantity).sum()
    };
    let [grebe, osprey] = &fleet.plans[..] else { panic!("two boats") };
    assert!(taken(grebe) > 0 && taken(osprey) > 0, "{}\n{}", show(grebe), show(osprey));
    let left = 3 - taken(grebe);
    let lose = |quantity: i32| pb::CheckCoverageRequest {
        trip: osprey.trip.clone(),
        plan: Some(osprey.clone()),
        lost_pieces: vec![pb::PieceCount { item_id: "L12".to_owned(), quantity }],
        ..pb::CheckCoverageRequest::default()
    };
    let answer = service.check_coverage(Request::new(lose(1))).await.unwrap().into_inner();
    assert_eq!(answer.left_pieces[0].quantity, left - 1);
    let after = answer.plan.unwrap();
    let aboard = after.basis.as_ref().unwrap().aboard.as_ref().unwrap();
    let share = aboard.shares.iter().find(|share| share.item_id == "L12").unwrap();
    assert_eq!(share.quantity, left);
    // Nobody loses what the other boat has.
    let status = service.check_coverage(Request::new(lose(left + 1))).await.unwrap_err();
    assert!(status.message().contains("lost_pieces"), "{status:?}");
    // Covered again, and again: the share is still the same.
    let request = pb::CheckCoverageRequest { plan: Some(after), lost_pieces: vec![], ..lose(1) };
    let again = service.check_coverage(Request::new(request)).await.unwrap().into_inner();
    let aboard = again.plan.unwrap().basis.unwrap().aboard.unwrap();
    assert!(aboard.shares.iter().any(|share| (&*share.item_id, share.quantity) == ("L12", left)));
}

// Common practice, no source: a trace with swivel and snap does not go through the rings, whether the
// plan has rig cards or not; what is lost is not cut off.
#[tokio::test]
async fn a_plan_without_cards_cuts_traces_off_too() {
    let service = Fleet::demo().service();
    let summary = pb::Explanation::Summary.into();
    let plan = plan_on(&service, pb::PlanTripRequest { explanation: summary, ..t1() }).await;
    let plan = plan.unwrap();
    assert!(plan.rig_cards.is_empty());
    let (mut cut, mut bare) = (0, 0);
    for outfit in &plan.outfits {
        let on = |reel: &str| {
            let was = plan.outfits.iter().find(|o| o.reel_id == reel).unwrap();
            let rig = plan.rigs.iter().find(|rig| rig.outfit_id == was.id).unwrap();
            rig.leader_stock_id.clone()
        };
        for trace in [None, Some("K09"), Some("K10"), Some("K11")] {
            let lost = [Some(outfit.reel_id.as_str()), trace];
            let request = pb::CheckCoverageRequest {
                trip: plan.trip.clone(),
                plan: Some(plan.clone()),
                lost_item_ids: lost.into_iter().flatten().map(str::to_owned).collect(),
                ..pb::CheckCoverageRequest::default()
            };
            let answer = service.check_coverage(Request::new(request)).await.unwrap().into_inner();
            let after = answer.plan.unwrap();
            for swap in answer.swaps.iter().filter(|swap| swap.text.contains("thread it")) {
                let now = after.outfits.iter().find(|o| o.id == swap.outfit_id).unwrap();
                let on = on(&now.reel_id);
                // All leaders of this plan are of wire.
                let is_cut = swap.text.starts_with(&format!("Cut {on} off"));
                assert_eq!(is_cut, !on.is_empty() && trace != Some(&*on), "{}", swap.text);
                cut += usize::from(is_cut);
                bare += usize::from(!on.is_empty() && !is_cut);
            }
            for text in
                answer.swaps.iter().map(|s| &s.text).chain(after.jobs.iter().map(|j| &j.text))
            {
                let is_lost =
                    |verb: &str| trace.is_some_and(|id| text.contains(&format!("{verb} {id}")));
                assert!(!is_lost("Take") && !is_lost("place of") && !is_lost("Cut"), "{text}");
            }
        }
    }
    assert!(cut > 0 && bare > 0, "{cut} {bare}");
}

// Common practice, no source: what happens to a lure in two segments is read once, with both of them.
#[tokio::test]
async fn a_loss_names_a_lure_once_with_its_segments() {
    let mut request = t1();
    let trip = request.trip.as_mut().unwrap();
    // All lures in the same water, first and last.
    let (water, shares) = (trip.segments[1].water.clone(), trip.segments[1].wind_shares.clone());
    (trip.segments[0].water, trip.segments[0].wind_shares) = (water, shares);
    trip.needs.retain(|need| need.segment_id == "b");
    let first = trip.needs.iter().map(|n| pb::Need { segment_id: "a".to_owned(), ..n.clone() });
    trip.needs = first.chain(trip.needs.clone()).collect();
    let plan = plan_on(&Fleet::demo().service(), request).await.unwrap();
    let mut in_both = 0;
    for loss in &plan.losses {
        for one in loss.opens.iter().filter(|one| one.segment_id == "a") {
            let same = |o: &&pb::NeedChange| o.segment_id == "b" && o.lure_id == one.lure_id;
            let other = loss.opens.iter().find(same);
            if other.is_some_and(|other| other.after == one.after) {
                assert_eq!(loss.text.matches(&one.lure_id).count(), 1, "{}", loss.text);
                assert!(loss.text.contains("in segment a and b"), "{}", loss.text);
                in_both += 1;
            }
        }
    }
    assert!(in_both > 0, "{}", show(&plan));
}
