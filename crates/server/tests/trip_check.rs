//! A loss on the water: what comes back from the boat is looked over, and what is left is said in
//! words that hold. Source of the rules: the contract's comments on CheckCoverageRequest and Plan;
//! common practice, no source, where stated.
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

mod trip_support;

use std::collections::BTreeSet;

use deepbend_contract::pb;
use deepbend_contract::pb::trip_service_server::TripService as _;
use deepbend_ledger::import::FileKind;
use deepbend_server::trips::TripServiceImpl;
use tonic::{Code, Request, Status};
use tonic_types::StatusExt as _;
use trip_support::{Fleet, leave, plan_on, t1, t2};

async fn check(
    service: &TripServiceImpl,
    request: pb::CheckCoverageRequest,
) -> Result<pb::CheckCoverageResponse, Status> {
    service.check_coverage(Request::new(request)).await.map(tonic::Response::into_inner)
}

/// Grebe's trip and its plan.
async fn out(service: &TripServiceImpl) -> pb::CheckCoverageRequest {
    let plan = plan_on(service, t1()).await.unwrap();
    // The plan says itself for which trip it is.
    assert_eq!(plan.trip, t1().trip);
    let trip = plan.trip.clone();
    pb::CheckCoverageRequest { trip, plan: Some(plan), ..Default::default() }
}

#[tokio::test]
async fn every_fault_of_a_plan_is_named() {
    let service = Fleet::demo().service();
    let good = out(&service).await;
    let mut request = good.clone();
    let plan = request.plan.as_mut().unwrap();
    plan.boat_id = "B3".to_owned();
    plan.gap = Some(f64::NAN);
    plan.outfits[0].rod_id = "R99".to_owned();
    plan.outfits[1].reel_id = "E99".to_owned();
    plan.outfits[2].id = plan.outfits[1].id.clone();
    plan.outfits[3].rod_id = plan.outfits[2].rod_id.clone();
    plan.outfits[4].leader_stock_ids = vec!["K99".to_owned(), "K09".to_owned(), "K09".to_owned()];
    plan.outfits[5].line.as_mut().unwrap().test_kgf = Some(-1.0);
    plan.outfits[5].line_stock_id = "L01".to_owned();
    plan.assignments[0].lure_id = "L99".to_owned();
    plan.assignments[1].score = f64::INFINITY;
    plan.assignments[2].score = 1.5;
    plan.assignments[3].outfit_id = "O99".to_owned();
    plan.assignments[4].segment_id = "z".to_owned();
    plan.assignments[5].role = 9;
    plan.moves[0].quantity = 0;
    plan.moves[1].from_place_id = "B99".to_owned();
    plan.moves[2].item_id = "Z99".to_owned();
    plan.windier.as_mut().unwrap().added_wind_m_s = f64::NEG_INFINITY;
    let told = plan.assignments.clone();
    let status = check(&service, request).await.unwrap_err();
    assert_eq!(status.code(), Code::InvalidArgument);
    let bad = status.get_details_bad_request().unwrap();
    let found: BTreeSet<String> =
        bad.field_violations.iter().map(|v| format!("{} {}", v.field, v.reason)).collect();
    let mut wanted: BTreeSet<String> = [
        "plan.boat_id CONFLICT",
        "plan.gap NOT_FINITE",
        "plan.outfits[0].rod_id NOT_FOUND",
        "plan.outfits[1].reel_id NOT_FOUND",
        "plan.outfits[1].id DUPLICATE",
        "plan.outfits[2].id DUPLICATE",
        "plan.outfits[2].rod_id DUPLICATE",
        "plan.outfits[3].rod_id DUPLICATE",
        "plan.outfits[4].leader_stock_ids[0] NOT_FOUND",
        "plan.outfits[4].leader_stock_ids[1] DUPLICATE",
        "plan.outfits[4].leader_stock_ids[2] DUPLICATE",
        "plan.outfits[5].line.test_kgf TOO_SMALL",
        "plan.outfits[5].line_stock_id NOT_FOUND",
        "plan.assignments[0].lure_id NOT_FOUND",
        "plan.assignments[1].score NOT_FINITE",
        "plan.assignments[2].score TOO_LARGE",
        "plan.assignments[3].outfit_id NOT_FOUND",
        "plan.assignments[4].segment_id NOT_FOUND",
        "plan.assignments[5].role UNKNOWN_VALUE",
        "plan.moves[0].quantity TOO_SMALL",
        "plan.moves[1].from_place_id NOT_FOUND",
        "plan.moves[2].item_id NOT_FOUND",
        "plan.windier.added_wind_m_s NOT_FINITE",
    ]
    .map(str::to_owned)
    .into();
    // All moves of the plan lead to its boat, and it says that it is another one.
    let moves = 0..good.plan.as_ref().unwrap().moves.len();
    wanted.extend(moves.map(|i| format!("plan.moves[{i}].to_place_id CONFLICT")));
    // What is called by the id that an outfit lost is nobody's.
    let lost = &good.plan.as_ref().unwrap().outfits[2].id;
    let uses = told.iter().enumerate().filter(|(_, a)| a.outfit_id == *lost);
    wanted.extend(uses.map(|(i, _)| format!("plan.assignments[{i}].outfit_id NOT_FOUND")));
    let plan = good.plan.as_ref().unwrap();
    for (i, start) in plan.starts.iter().enumerate() {
        for (name, id) in
            [("outfit_id", &start.outfit_id), ("second_outfit_id", &start.second_outfit_id)]
        {
            wanted.extend((id == lost).then(|| format!("plan.starts[{i}].{name} NOT_FOUND")));
        }
    }
    for (name, list) in [("load_list", &plan.load_list), ("return_list", &plan.return_list)] {
        let parts = list.iter().enumerate().filter(|(_, line)| line.outfit_id == *lost);
        wanted.extend(parts.map(|(i, _)| format!("plan.{name}[{i}].outfit_id NOT_FOUND")));
    }
    let missing: Vec<_> = wanted.difference(&found).collect();
    let surplus: Vec<_> = found.difference(&wanted).collect();
    assert!(missing.is_empty() && surplus.is_empty(), "{missing:?} {surplus:?}");
    for right in ["B1, the boat of the trip", "the inventory id of a rod", "a finite number"] {
        let said = |v: &tonic_types::FieldViolation| v.description.contains(right);
        assert!(bad.field_violations.iter().any(said), "{right}");
    }
    // The plan as it was is good.
    check(&service, good).await.unwrap();
}

fn faults_of(status: &Status) -> BTreeSet<String> {
    let bad = status.get_details_bad_request().unwrap();
    bad.field_violations.iter().map(|v| format!("{} {}", v.field, v.reason)).collect()
}

type Damage = fn(&mut pb::Plan);

// Source: the contract: the plan is the one that the boat went out with.
#[tokio::test]
async fn every_part_of_a_plan_agrees_with_the_others() {
    let service = Fleet::demo().service();
    let good = out(&service).await;
    let damages: [(Damage, &[&str]); 20] = [
        (|p| p.assignments.insert(8, p.assignments[7].clone()), &["plan.assignments[8] CONFLICT"]),
        (|p| p.moves.insert(2, p.moves[1].clone()), &["plan.moves[2] CONFLICT"]),
        (|p| p.load_list.clear(), &["plan.load_list MISSING"]),
        (|p| p.load_list[0].quantity = 0, &["plan.load_list[0].quantity TOO_SMALL"]),
        (|p| p.load_list[0].quantity = 2, &["plan.load_list[0].quantity TOO_LARGE"]),
        (|p| p.load_list[0].item_id = "R99".into(), &["plan.load_list[0].item_id NOT_FOUND"]),
        (|p| p.load_list[0].place_id = "B99".into(), &["plan.load_list[0].place_id NOT_FOUND"]),
        (|p| p.load_list[0].outfit_id = "O99".into(), &["plan.load_list[0].outfit_id NOT_FOUND"]),
        (
            |p| p.load_list[2] = p.load_list[0].clone(),
            &[
                "plan.load_list MISSING",
                "plan.load_list[0].item_id DUPLICATE",
                "plan.load_list[2].item_id DUPLICATE",
                "plan.outfits[1].rod_id NOT_FOUND",
            ],
        ),
        (
            |p| p.load_list[0].outfit_id = p.load_list[2].outfit_id.clone(),
            &["plan.load_list[0].outfit_id CONFLICT"],
        ),
        (
            |p| p.outfits[0].line_stock_id = "K10".into(),
            &["plan.outfits[0].line_stock_id CONFLICT"],
        ),
        (
            |p| p.outfits[0].leader_stock_ids = vec!["K05".into()],
            &["plan.outfits[0].leader_stock_ids[0] CONFLICT"],
        ),
        (|p| p.starts[0].outfit_id = "O99".into(), &["plan.starts[0].outfit_id NOT_FOUND"]),
        (|p| p.starts[0].angler_id = "nobody".into(), &["plan.starts[0].angler_id NOT_FOUND"]),
        (|p| p.starts[0].lure_id = "L99".into(), &["plan.starts[0].lure_id NOT_FOUND"]),
        (|p| p.starts[0].segment_id = "z".into(), &["plan.starts[0].segment_id NOT_FOUND"]),
        (|p| p.trip.as_mut().unwrap().boat_id = "B3".into(), &["plan.trip.boat_id CONFLICT"]),
        (|p| p.moves[1].item_id = p.moves[0].item_id.clone(), &["plan.moves[1].item_id CONFLICT"]),
        (
            |p| p.assignments[1].outfit_id = p.assignments[0].outfit_id.clone(),
            &["plan.assignments[1].outfit_id CONFLICT"],
        ),
        (|p| p.moves[0].quantity = 99, &["plan.moves[0].quantity CONFLICT"]),
    ];
    for (damage, wanted) in damages {
        let mut request = good.clone();
        damage(request.plan.as_mut().unwrap());
        let found = faults_of(&check(&service, request).await.unwrap_err());
        assert_eq!(found, wanted.iter().map(|one| (*one).to_owned()).collect());
    }
    // What an outfit carries has to be loaded, and what is loaded has to be of use.
    let mut request = good.clone();
    let plan = request.plan.as_mut().unwrap();
    let (rod, outfit) = (plan.load_list[0].item_id.clone(), plan.load_list[0].outfit_id.clone());
    plan.load_list.remove(0);
    let at = plan.outfits.iter().position(|o| o.id == outfit).unwrap();
    let found = faults_of(&check(&service, request).await.unwrap_err());
    assert!(found.contains(&format!("plan.outfits[{at}].rod_id NOT_FOUND")), "{rod} {found:?}");
    let mut request = good;
    let plan = request.plan.as_mut().unwrap();
    let lure = plan.load_list.iter().find(|l| l.kind() == pb::CargoKind::Lure).unwrap();
    let id = lure.item_id.clone();
    plan.assignments.retain(|a| a.lure_id != id);
    plan.starts.retain(|s| s.lure_id != id && s.second_lure_id != id);
    let found = faults_of(&check(&service, request).await.unwrap_err());
    let wanted = ["plan.assignments CONFLICT", "plan.starts CONFLICT"].map(str::to_owned);
    assert_eq!(found, wanted.into());
}

#[tokio::test]
async fn a_plan_without_outfits_is_none() {
    let service = Fleet::demo().service();
    let plan = Some(pb::Plan { boat_id: "B1".to_owned(), ..pb::Plan::default() });
    let request = pb::CheckCoverageRequest { trip: t1().trip, plan, ..Default::default() };
    let status = check(&service, request).await.unwrap_err();
    let bad = status.get_details_bad_request().unwrap();
    let fields: Vec<_> = bad.field_violations.iter().map(|v| v.field.as_str()).collect();
    assert_eq!(fields, ["plan.outfits"]);
}

// By hand: what is left after a loss is worth no more than all of it; nothing lost, nothing less.
#[tokio::test]
async fn a_loss_is_no_gain() {
    let service = Fleet::demo().service();
    let out = out(&service).await;
    let plan = out.plan.clone().unwrap();
    let gain = |answer: &pb::CheckCoverageResponse| answer.difference.as_ref().unwrap().gain_micros;
    let nothing = check(&service, out.clone()).await.unwrap();
    assert_eq!(gain(&nothing), 0, "{:?}", nothing.difference);
    for outfit in &plan.outfits {
        for segments in [vec![], vec!["b".to_owned()]] {
            let request = pb::CheckCoverageRequest {
                lost_item_ids: vec![outfit.rod_id.clone()],
                segment_ids: segments.clone(),
                ..out.clone()
            };
            let answer = check(&service, request).await.unwrap();
            let left = answer.plan.as_ref().unwrap();
            if left.given_up.is_none() {
                assert!(gain(&answer) <= 0, "{} {segments:?} {}", outfit.rod_id, gain(&answer));
            }
            // What is tied already takes no time, and is no job.
            for job in left.jobs.iter().filter(|j| j.kind() == pb::JobKind::Leader) {
                let now = left.outfits.iter().find(|o| o.id == job.outfit_id).unwrap();
                let was = plan.outfits.iter().find(|o| o.reel_id == now.reel_id);
                assert!(was.is_none_or(|was| !was.leader_stock_ids.contains(&job.stock_id)));
            }
            let minutes: i32 = left.jobs.iter().map(|j| j.duration_minutes).sum();
            assert_eq!(left.counts.unwrap().job_minutes, minutes);
            let ties: f64 = answer
                .swaps
                .iter()
                .filter(|swap| swap.text.starts_with("Tie "))
                .map(|swap| swap.duration_minutes)
                .sum();
            assert_eq!(f64::from(minutes), ties);
        }
    }
}

// Source: the contract: only these segments.
#[tokio::test]
async fn only_the_segments_asked_for_are_told_about() {
    let service = Fleet::demo().service();
    let out = out(&service).await;
    let plan = out.plan.clone().unwrap();
    let of_b = |id: &str| plan.assignments.iter().any(|a| a.segment_id == "b" && a.outfit_id == id);
    let early = plan.outfits.iter().filter(|o| !of_b(&o.id)).map(|o| o.rod_id.as_str());
    let early: BTreeSet<_> = early.collect();
    assert!(!early.is_empty());
    for lost in plan.outfits.iter().filter(|o| of_b(&o.id)) {
        let request = pb::CheckCoverageRequest {
            lost_item_ids: vec![lost.rod_id.clone()],
            segment_ids: vec!["b".to_owned()],
            ..out.clone()
        };
        let answer = check(&service, request).await.unwrap();
        let left = answer.plan.as_ref().unwrap();
        let difference = answer.difference.as_ref().unwrap();
        assert!(difference.needs.iter().all(|n| n.segment_id == "b"), "{difference:?}");
        assert!(difference.removed.iter().all(|o| !early.contains(o.rod_id.as_str())));
        assert!(left.assignments.iter().all(|a| a.segment_id == "b"));
        assert!(left.starts.iter().all(|s| s.segment_id == "b"));
        assert!(left.rig_cards.iter().all(|c| c.segment_id == "b"));
        assert!(left.uncovered.iter().all(|u| u.segment_id == "b"));
        assert!(answer.swaps.iter().all(|s| !s.text.contains("segment a")));
    }
}

// By hand: two of what lies at B2 were brought. Where there were four, two more could have been
// loaded; on the water no place is added to a pool.
#[tokio::test]
async fn what_is_lost_of_what_was_brought_is_loaded_again() {
    for (there, cure) in [
        ("4", "Load more of L17: 2 more lie at B2, out of reach on the water."),
        ("3", "Load more of L17: 1 more lies at B2, out of reach on the water."),
        ("2", "Get more of L17: 1 is missing."),
    ] {
        let fleet = Fleet::demo().edit(FileKind::Lures, "L17", "4,B2", &format!("{there},B2"));
        let service = fleet.service();
        let out = out(&service).await;
        let brought = out.plan.as_ref().unwrap().moves.iter().find(|m| m.item_id == "L17");
        assert_eq!(brought.unwrap().quantity, 2);
        let pieces = vec![pb::PieceCount { item_id: "L17".to_owned(), quantity: 2 }];
        let all = pb::CheckCoverageRequest { lost_item_ids: vec!["L17".to_owned()], ..out.clone() };
        for lost in [all, pb::CheckCoverageRequest { lost_pieces: pieces, ..out.clone() }] {
            let left = check(&service, lost).await.unwrap().plan.unwrap();
            let open = left.uncovered.iter().find(|open| open.lure_id == "L17").unwrap();
            let says = format!("Nothing else aboard helps. For another day: {cure}");
            assert_eq!(open.cure, says);
        }
    }
}

// Counted by hand: of a lure that is on the boat one piece is lost, the others stay.
#[tokio::test]
async fn one_piece_of_several_can_be_lost() {
    let service = Fleet::demo().service();
    let out = out(&service).await;
    let plan = out.plan.as_ref().unwrap();
    let loaded = |plan: &pb::Plan, id: &str| {
        plan.load_list.iter().find(|l| l.item_id == id).map_or(0, |l| l.quantity)
    };
    let lures = plan.load_list.iter().filter(|l| l.kind() == pb::CargoKind::Lure);
    // What was brought is aboard in the number in which it was brought.
    let brought = |id: &str| plan.moves.iter().find(|m| m.item_id == id).map(|m| m.quantity);
    let (id, count) = lures
        .filter_map(|l| Some((l.item_id.clone(), brought(&l.item_id)?)))
        .find(|(_, count)| *count > 1)
        .unwrap();
    let lost = |quantity: i32| {
        let lost_pieces = vec![pb::PieceCount { item_id: id.clone(), quantity }];
        pb::CheckCoverageRequest { lost_pieces, ..out.clone() }
    };
    let answer = check(&service, lost(1)).await.unwrap();
    let left = pb::PieceCount { item_id: id.clone(), quantity: count - 1 };
    assert_eq!(answer.left_pieces, [left]);
    assert!((1..count).contains(&loaded(answer.plan.as_ref().unwrap(), &id)));
    let answer = check(&service, lost(count)).await.unwrap();
    assert_eq!(answer.left_pieces[0].quantity, 0);
    assert_eq!(loaded(answer.plan.as_ref().unwrap(), &id), 0);
    let found = faults_of(&check(&service, lost(0)).await.unwrap_err());
    assert_eq!(found, ["lost_pieces[0].quantity TOO_SMALL".to_owned()].into());
    let mut rod = lost(1);
    rod.lost_pieces[0].item_id = plan.outfits[0].rod_id.clone();
    let found = faults_of(&check(&service, rod).await.unwrap_err());
    assert_eq!(found, ["lost_pieces[0].item_id CONFLICT".to_owned()].into());
}

// By hand: what is aboard is worth what it was, in the wind that the plan was made for.
#[tokio::test]
async fn a_plan_for_more_wind_is_checked_in_that_wind() {
    let service = Fleet::demo().service();
    let request = pb::PlanTripRequest { added_wind_m_s: Some(6.0), ..t1() };
    let windy = plan_on(&service, request).await.unwrap();
    let calm = plan_on(&service, t1()).await.unwrap();
    let covered = |plan: &pb::Plan| plan.counts.unwrap().covered_count;
    assert!(covered(&windy) < covered(&calm));
    let request = pb::CheckCoverageRequest {
        trip: windy.trip.clone(),
        plan: Some(windy.clone()),
        ..Default::default()
    };
    let answer = check(&service, request).await.unwrap();
    let again = answer.plan.unwrap();
    assert_eq!(again.basis.as_ref().unwrap().added_wind_m_s, Some(6.0));
    assert_eq!(covered(&again), covered(&windy));
}

// Common practice, no source: afloat nothing is fetched, what is whole stays, and a lure goes on as its
// rig card says.
#[tokio::test]
async fn what_is_said_on_the_water_can_be_done_there() {
    let service = Fleet::demo().service();
    let out = out(&service).await;
    let plan = out.plan.clone().unwrap();
    let rods = plan.outfits.iter().map(|outfit| outfit.rod_id.clone());
    let lures = plan.load_list.iter().filter(|line| line.kind() == pb::CargoKind::Lure);
    let lures = lures.map(|line| line.item_id.clone());
    let lost: Vec<(String, Vec<String>)> = rods
        .map(|rod| (rod, Vec::new()))
        .chain(lures.map(|lure| (lure, vec!["a".to_owned()])))
        .collect();
    let (mut later, mut put_on) = (0, 0);
    for (id, segment_ids) in lost {
        let lost_item_ids = vec![id.clone()];
        let request = pb::CheckCoverageRequest { lost_item_ids, segment_ids, ..out.clone() };
        let answer = check(&service, request).await.unwrap();
        let left = answer.plan.unwrap();
        for open in &left.uncovered {
            let (now, another) = match open.cure.split_once("For another day") {
                Some((now, _)) => (now, true),
                None => (open.cure.as_str(), false),
            };
            for ashore in ["Bring", "Get ", " from B"] {
                assert!(!now.contains(ashore), "{id}: {}", open.cure);
            }
            assert!(!now.is_empty() && !open.text.contains("pool"), "{id}: {open:?}");
            later += usize::from(another);
        }
        for outfit in &answer.difference.unwrap().removed {
            let mut now = left.outfits.iter();
            let apart = now.any(|o| o.rod_id == outfit.rod_id || o.reel_id == outfit.reel_id);
            assert!(apart || outfit.rod_id == id, "{id}: {outfit:?}");
        }
        for swap in answer.swaps.iter().filter(|swap| swap.text.starts_with("Fish ")) {
            let lures = swap.text["Fish ".len()..].split(" on ").next().unwrap();
            let clips = swap.text.contains(": clip ");
            assert!(clips || swap.text.contains(": tie "), "{}", swap.text);
            for lure in lures.split(", ") {
                let of = |c: &&pb::RigCard| c.outfit_id == swap.outfit_id && c.lure_id == lure;
                let card = left.rig_cards.iter().find(of).unwrap();
                let knot = &card.settings.as_ref().unwrap().lure_knot;
                assert_eq!(knot.contains("snap"), clips, "{} {knot}", swap.text);
            }
            put_on += 1;
        }
    }
    assert!(later > 0 && put_on > 0, "{later} {put_on}");
}

/// Merganser's trip and its plan.
async fn merganser(service: &TripServiceImpl, ashore: &[&str]) -> pb::CheckCoverageRequest {
    let mut request = t2();
    leave(&mut request, ashore);
    let plan = plan_on(service, request).await.unwrap();
    let trip = plan.trip.clone();
    pb::CheckCoverageRequest { trip, plan: Some(plan), ..Default::default() }
}

// Source: the contract of CheckCoverageRequest.lost_item_ids: what was lost stays lost.
#[tokio::test]
async fn a_second_loss_brings_nothing_back() {
    let service = Fleet::demo().service();
    let mut request = merganser(&service, &[]).await;
    let leader =
        request.plan.as_ref().unwrap().outfits.iter().find_map(|o| o.leader_stock_ids.first());
    let leader = leader.unwrap().clone();
    let piece = |id: &str, quantity| pb::PieceCount { item_id: id.to_owned(), quantity };
    request.lost_item_ids = vec![leader.clone()];
    request.lost_pieces = vec![piece("L10", 2)];
    let first = check(&service, request.clone()).await.unwrap();
    let there = first.left_pieces[0].quantity;
    assert!(there > 0);
    let tied = |plan: &pb::Plan| plan.rigs.iter().any(|rig| rig.leader_stock_id == leader);
    assert!(tied(request.plan.as_ref().unwrap()) && !tied(first.plan.as_ref().unwrap()));
    request.plan = first.plan;
    request.lost_item_ids = vec!["L14".to_owned()];
    request.lost_pieces = vec![piece("L10", 1)];
    let second = check(&service, request).await.unwrap();
    assert_eq!(second.left_pieces, [piece("L10", there - 1)]);
    let plan = second.plan.unwrap();
    assert!(!tied(&plan) && plan.assignments.iter().all(|a| a.lure_id != "L14"));
    let lost = plan.basis.unwrap().aboard.unwrap().lost_item_ids;
    assert!(lost.contains(&leader) && lost.contains(&"L14".to_owned()));
}

// By hand: what is told one after the other leaves at least what it leaves when told together, and
// what was set aside in between is still aboard.
#[tokio::test]
async fn losses_one_after_the_other_are_losses() {
    let service = Fleet::demo().service();
    let out = out(&service).await;
    let plan = out.plan.clone().unwrap();
    let told = |plan: &pb::Plan, lost: &[&String]| pb::CheckCoverageRequest {
        plan: Some(plan.clone()),
        lost_item_ids: lost.iter().map(|id| (*id).clone()).collect(),
        ..out.clone()
    };
    let all = |plan: &pb::Plan| {
        let aboard = plan.basis.as_ref().unwrap().aboard.clone().unwrap();
        let parts = aboard.outfits.into_iter().flat_map(|o| [o.rod_id, o.reel_id]);
        parts.collect::<BTreeSet<_>>()
    };
    let others = plan.outfits.iter().cycle().skip(1);
    for (first, second) in plan.outfits.iter().zip(others) {
        let (reel, rod) = (&first.reel_id, &second.rod_id);
        let both = check(&service, told(&plan, &[reel, rod])).await.unwrap().plan.unwrap();
        let one = check(&service, told(&plan, &[reel])).await.unwrap().plan.unwrap();
        let chained = check(&service, told(&one, &[rod])).await.unwrap().plan.unwrap();
        assert_eq!(all(&chained), all(&both), "{reel} {rod}");
        let covered = |plan: &pb::Plan| plan.counts.unwrap().covered_count;
        assert!(covered(&chained) >= covered(&both), "{reel} {rod}");
        assert_eq!(chained.given_up.is_some(), both.given_up.is_some(), "{reel} {rod}");
    }
    let brought = plan.moves.iter().find(|m| m.kind() == pb::CargoKind::Lure && m.quantity == 2);
    let id = brought.unwrap().item_id.clone();
    let mut request = out.clone();
    request.lost_pieces = vec![pb::PieceCount { item_id: id.clone(), quantity: 1 }];
    for left in [1, 0] {
        let answer = check(&service, request.clone()).await.unwrap();
        let pieces = pb::PieceCount { item_id: id.clone(), quantity: left };
        assert_eq!(answer.left_pieces, [pieces]);
        request.plan = answer.plan;
    }
    request.lost_pieces.clear();
    let plan = check(&service, request).await.unwrap().plan.unwrap();
    assert!(plan.assignments.iter().all(|a| a.lure_id != id));
}

// By hand: what was rigged for the afternoon still is after a loss in the morning.
#[tokio::test]
async fn another_segment_is_rigged_as_it_was() {
    let service = Fleet::demo().service();
    let out = out(&service).await;
    let plan = out.plan.clone().unwrap();
    let of = |segment: &str, plan: &pb::Plan, lost: &[&String]| pb::CheckCoverageRequest {
        plan: Some(plan.clone()),
        segment_ids: vec![segment.to_owned()],
        lost_item_ids: lost.iter().map(|id| (*id).clone()).collect(),
        ..out.clone()
    };
    let morning = check(&service, of("a", &plan, &[])).await.unwrap().plan.unwrap();
    let after = check(&service, of("b", &morning, &[])).await.unwrap();
    let direct = check(&service, of("b", &plan, &[])).await.unwrap().plan.unwrap();
    let after_plan = after.plan.unwrap();
    assert_eq!(after_plan.value, direct.value);
    assert!(!after_plan.outfits.is_empty());
    for swap in &after.swaps {
        assert!(swap.text.starts_with("Fish "), "{}", swap.text);
    }
    assert!(after.difference.unwrap().added.is_empty());
    // Where nothing aboard is left to fish, it can still be gone on from.
    let reels: Vec<&String> = plan.outfits.iter().map(|outfit| &outfit.reel_id).collect();
    let nothing = check(&service, of("b", &plan, &reels)).await.unwrap().plan.unwrap();
    assert!(nothing.outfits.is_empty());
    check(&service, of("a", &nothing, &[])).await.unwrap();
}

// Common practice, no source: what stayed in the shed is not tied on the water, and nobody rigs anew
// where nothing was lost.
#[tokio::test]
async fn nothing_is_rigged_anew_for_nothing() {
    let service = Fleet::demo().service();
    for ashore in [&[][..], &["K12"], &["K12", "K07"], &["K13"]] {
        let request = merganser(&service, ashore).await;
        let answer = check(&service, request).await.unwrap();
        assert_eq!(answer.swaps, [], "{ashore:?}");
        let plan = answer.plan.unwrap();
        for rig in &plan.rigs {
            assert!(!ashore.contains(&rig.leader_stock_id.as_str()), "{}", rig.leader_stock_id);
        }
    }
}

// Common practice, no source: a trace with swivel and snap does not go through the rings.
#[tokio::test]
async fn a_trace_is_cut_off_before_the_line_is_threaded() {
    let service = Fleet::demo().service();
    let request = out(&service).await;
    let plan = request.plan.clone().unwrap();
    let mut cut = 0;
    for outfit in &plan.outfits {
        let lost_item_ids = vec![outfit.reel_id.clone()];
        let request = pb::CheckCoverageRequest { lost_item_ids, ..request.clone() };
        let answer = check(&service, request).await.unwrap();
        for swap in answer.swaps.iter().filter(|swap| swap.text.contains(" and thread it")) {
            let now = answer.plan.as_ref().unwrap().outfits.iter().find(|o| o.id == swap.outfit_id);
            let was = plan.outfits.iter().find(|o| o.reel_id == now.unwrap().reel_id).unwrap();
            let on = plan.rigs.iter().find(|rig| rig.outfit_id == was.id).unwrap();
            // All leaders of this plan are of wire.
            assert!(on.leader_stock_id.is_empty(), "{}", swap.text);
        }
        for swap in answer.swaps.iter().filter(|swap| swap.text.starts_with("Cut ")) {
            let again = swap.text.contains("on again");
            assert_eq!(swap.duration_minutes, if again { 8.0 } else { 5.0 }, "{}", swap.text);
            cut += 1;
        }
    }
    assert!(cut > 0);
}
