//! A plan that the service wrote is good when it comes back, whatever it was asked for. Source: the
//! contract's comments on Plan.basis and CheckCoverageRequest.plan.
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

mod trip_support;

use std::collections::{BTreeMap, BTreeSet};

use deepbend_contract::pb;
use deepbend_contract::pb::trip_service_server::TripService as _;
use deepbend_ledger::body::Body;
use deepbend_ledger::event::Certainty;
use deepbend_ledger::id::Id;
use deepbend_ledger::item::{ItemKey, ItemKind};
use deepbend_server::trips::TripServiceImpl;
use tonic::Request;
use trip_support::{Fleet, check, demo_trip, plan_on, t1, tell};

async fn again(service: &TripServiceImpl, plan: &pb::Plan) -> pb::CheckCoverageResponse {
    losing(service, plan, &[], &[]).await
}

async fn losing(
    service: &TripServiceImpl,
    plan: &pb::Plan,
    lost: &[&str],
    segments: &[&str],
) -> pb::CheckCoverageResponse {
    let answer = check(service, plan, lost, segments).await.unwrap();
    assert_eq!(answer.outdated, []);
    answer
}

fn pin(rule: pb::PinRule, id: &str) -> pb::Pin {
    pb::Pin { rule: rule.into(), item_id: id.to_owned(), ..pb::Pin::default() }
}

#[tokio::test]
async fn a_plan_of_one_boat_comes_back() {
    let service = Fleet::demo().service();
    let pair = pb::Pin { reel_id: "E01".to_owned(), ..pin(pb::PinRule::Pair, "R04") };
    let leave = pin(pb::PinRule::Leave, "R16");
    let costs = |cost: i64| {
        let pool = t1().pool.into_iter();
        let dear = move |place| pb::PoolPlace { move_cost_micros: Some(cost), ..place };
        pool.map(dear).collect()
    };
    let requests = [
        pb::PlanTripRequest { explanation: pb::Explanation::Summary.into(), ..t1() },
        pb::PlanTripRequest { pins: vec![pin(pb::PinRule::Take, "R20"), pair, leave], ..t1() },
        pb::PlanTripRequest { added_wind_m_s: Some(4.0), pool: costs(400_000), ..t1() },
        pb::PlanTripRequest { work_budget_nodes: Some(1), ..demo_trip("T2", &["S0"]) },
    ];
    for request in requests {
        let plan = plan_on(&service, request).await.unwrap();
        assert!(!plan.outfits.is_empty());
        again(&service, &plan).await;
    }
    // What was left after a loss comes back too, and what is left of that.
    let plan = plan_on(&service, t1()).await.unwrap();
    let left = losing(&service, &plan, &["R17", "E04"], &[]).await.plan.unwrap();
    again(&service, &left).await;
    let rest = losing(&service, &left, &["R01"], &["b"]).await.plan.unwrap();
    again(&service, &rest).await;
}

/// Every name of an outfit that a plan writes in fields of its own, with the place that it stands
/// at.
fn names(plan: &pb::Plan) -> BTreeSet<(&'static str, String)> {
    let mut names = BTreeSet::new();
    let mut add = |at: &'static str, id: &String| {
        if !id.is_empty() {
            names.insert((at, id.clone()));
        }
    };
    plan.outfits.iter().for_each(|o| add("outfits", &o.id));
    plan.assignments.iter().for_each(|a| add("assignments", &a.outfit_id));
    plan.starts.iter().for_each(|s| add("starts", &s.outfit_id));
    plan.starts.iter().for_each(|s| add("seconds", &s.second_outfit_id));
    plan.load_list.iter().for_each(|l| add("load_list", &l.outfit_id));
    plan.return_list.iter().for_each(|l| add("return_list", &l.outfit_id));
    plan.jobs.iter().for_each(|j| add("jobs", &j.outfit_id));
    plan.rig_cards.iter().for_each(|c| add("rig_cards", &c.outfit_id));
    plan.losses.iter().for_each(|l| add("losses", &l.outfit_id));
    names
}

// By hand: whoever holds O7 holds O7 after O6 went over board.
#[tokio::test]
async fn what_stays_aboard_keeps_its_name() {
    let service = Fleet::demo().service();
    let plan = plan_on(&service, t1()).await.unwrap();
    let rig = |o: &pb::PlannedOutfit| (o.rod_id.clone(), o.reel_id.clone());
    let went_out: BTreeMap<_, _> = plan.outfits.iter().map(|o| (rig(o), o.id.clone())).collect();
    let highest = plan.outfits.len();
    let (mut kept, mut moved, mut new) = (0, 0, 0);
    for gone in &plan.outfits {
        let (rod, reel) = (gone.rod_id.as_str(), gone.reel_id.as_str());
        for (lost, segments) in [(rod, &[][..]), (rod, &["b"]), (reel, &[])] {
            let answer = losing(&service, &plan, &[lost], segments).await;
            let left = answer.plan.unwrap();
            let mut ids: BTreeSet<String> = BTreeSet::new();
            for (position, outfit) in left.outfits.iter().enumerate() {
                assert!(ids.insert(outfit.id.clone()), "{} stands twice", outfit.id);
                match went_out.get(&rig(outfit)) {
                    Some(name) => {
                        assert_eq!(outfit.id, *name, "without {lost}");
                        kept += 1;
                        moved += usize::from(*name != format!("O{}", position + 1));
                    }
                    None => {
                        new += 1;
                        let number: usize = outfit.id[1..].parse().unwrap();
                        assert!((highest + 1..=highest + left.outfits.len()).contains(&number));
                    }
                }
            }
            // All lists speak of these, and of what serves in them it is the same rod.
            let unknown = |(at, id): &(&str, String)| {
                let gone = *at != "outfits" && !ids.contains(id);
                assert!(!gone, "without {lost}, {at} names {id}");
            };
            names(&left).iter().for_each(unknown);
            for loss in &left.losses {
                let own = left.outfits.iter().find(|o| o.id == loss.outfit_id).unwrap();
                assert_eq!(own.rod_id, loss.rod_id);
            }
            for line in left.load_list.iter().filter(|l| l.kind() == pb::CargoKind::Rod) {
                let own = left.outfits.iter().find(|o| o.id == line.outfit_id).unwrap();
                assert_eq!(own.rod_id, line.item_id);
            }
            assert!(answer.swaps.iter().all(|swap| ids.contains(&swap.outfit_id)));
            again(&service, &left).await;
        }
    }
    assert!(kept > 0 && moved > 0 && new > 0, "{kept} {moved} {new}");
}

#[tokio::test]
async fn plans_of_several_boats_come_back() {
    let service = Fleet::demo().service();
    let trips = [("T1", ["B2", "B3", "S0"]), ("T2", ["B1", "B2", "S0"])];
    let trips = trips.map(|(id, places)| demo_trip(id, &places).trip.unwrap());
    let pool = t1().pool;
    let request = pb::PlanFleetRequest { trips: trips.to_vec(), pool, ..Default::default() };
    let fleet = service.plan_fleet(Request::new(request)).await.unwrap().into_inner();
    for plan in fleet.plan.unwrap().plans {
        again(&service, &plan).await;
        let lost = plan.outfits[0].rod_id.as_str();
        let left = losing(&service, &plan, &[lost], &[]).await.plan.unwrap();
        again(&service, &left).await;
    }
}

#[tokio::test]
async fn a_plan_that_leaves_out_limits_comes_back() {
    let service = Fleet::demo().service();
    let pins = vec![pin(pb::PinRule::Take, "R20")];
    let mut request = pb::PlanTripRequest { pins, ..t1() };
    request.trip.as_mut().unwrap().rod_limit = Some(2);
    let plan = plan_on(&service, request).await.unwrap();
    assert_eq!(plan.status(), pb::PlanStatus::Infeasible);
    assert!(plan.given_up.is_some());
    again(&service, &plan).await;
}

// What was recorded after the plan was made is no fault of it; what it changes is said.
#[tokio::test]
async fn what_changed_since_is_told() {
    let inventory = Fleet::demo().inventory();
    let service = TripServiceImpl::new(Some(inventory.clone()));
    let plan = plan_on(&service, t1()).await.unwrap();
    let step = plan.moves.iter().find(|m| m.kind() == pb::CargoKind::Rod).unwrap();
    let boat = Id::new(&plan.boat_id).unwrap();
    let item = ItemKey { kind: ItemKind::Rod, id: Id::new(&step.item_id).unwrap() };
    let moved = Body::Moved { item, from: None, to: boat, pieces: None };
    tell(&inventory, vec![("B1-tablet", Certainty::Seen, moved)]);
    let request = |plan: &pb::Plan| pb::CheckCoverageRequest {
        trip: plan.trip.clone(),
        plan: Some(plan.clone()),
        ..pb::CheckCoverageRequest::default()
    };
    let answer = service.check_coverage(Request::new(request(&plan))).await.unwrap().into_inner();
    let at = plan.load_list.iter().position(|l| l.item_id == step.item_id).unwrap();
    let place = format!("plan.load_list[{at}].place_id");
    let told = answer.outdated.iter().find(|one| one.field == place).unwrap();
    assert!(told.was.contains(&step.from_place_id) && told.now.contains("B1"), "{told:?}");
}
