//! The demo's trips with crews of several skills. Source of the numbers: the core's own judgement of
//! each outfit in the hands of each angler, made again here from the inventory, apart from the plan;
//! that nobody is given what is too much for him: common practice, no source.
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

mod trip_support;

use deepbend_contract::WireWord as _;
use deepbend_contract::{At, Faults, FromWire as _, pb};
use deepbend_core::gear::{HookStyle, Leader, LeaderMaterial, Line, Lure, Outfit};
use deepbend_core::judge::{Verdict, score};
use deepbend_core::model::Model;
use deepbend_core::quantity::Length;
use deepbend_core::water::{Skill, Water, WindDirection};
use deepbend_ledger::item::{Item, ItemKind, Spec, StockUse};
use deepbend_ledger::view::View;
use trip_support::{Fleet, plan, show, t1, t2};

fn item<'v>(view: &'v View, kind: ItemKind, id: &str) -> &'v Item {
    view.of_kind(kind).map(|entry| entry.item()).find(|item| item.id.as_str() == id).unwrap()
}

fn read<T>(read: impl FnOnce(At<'_>, &mut Faults) -> T) -> T {
    read(At::ROOT, &mut Faults::new())
}

/// What an outfit of a plan is for a lure in the hands of somebody as practised as this, judged by
/// the core: the worst wind of a share of 0.3 or more, and the mean of all.
fn in_hands(
    view: &View,
    plan: &pb::Plan,
    (segment, lure, outfit): (&str, &str, &str),
    leader: &str,
    skill: pb::Skill,
) -> (Verdict, f64) {
    let model = Model::builtin();
    let planned = plan.outfits.iter().find(|o| o.id == outfit).unwrap();
    let Spec::Rod(rod) = &item(view, ItemKind::Rod, &planned.rod_id).spec else { panic!() };
    let Spec::Reel(reel) = &item(view, ItemKind::Reel, &planned.reel_id).spec else { panic!() };
    let leader = match leader {
        "" => Leader { material: Some(LeaderMaterial::None), ..Leader::default() },
        id => {
            let Spec::LineStock(held) = &item(view, ItemKind::LineStock, id).spec else { panic!() };
            let StockUse::Leader(leader) = &held.use_as else { panic!() };
            // As long as it is fished where nobody stated it, as the contract has it.
            let wire = [LeaderMaterial::SteelWire, LeaderMaterial::Titanium];
            let is_wire = leader.material.is_some_and(|material| wire.contains(&material));
            let usual = if is_wire { 0.45 } else { model.parameters().setting.leader_open_m };
            let length = leader.length.unwrap_or(Length::from_m(usual));
            Leader { length: Some(length), ..leader.clone() }
        }
    };
    let line: Line = read(|at, faults| Line::from_wire(planned.line.unwrap(), at, faults));
    let outfit = Outfit { rod: rod.clone(), reel: reel.reel.clone(), line, leader, drag: None };
    let Spec::Lure(lure) = &item(view, ItemKind::Lure, lure).spec else { panic!() };
    let lure: &Lure = lure;
    let part = plan.trip.as_ref().unwrap().segments.iter().find(|s| s.id == segment).unwrap();
    let water: Water = read(|at, faults| Water::from_wire(part.water.clone().unwrap(), at, faults));
    let (mut worst, mut sum) = (Verdict::Excellent, 0.0);
    for share in part.wind_shares.iter().filter(|wind| wind.share > 0.0) {
        let water = Water {
            wind_direction: WindDirection::from_wire_word(share.direction()),
            skill: Skill::from_wire_word(skill),
            ..water.clone()
        };
        let judged = score(model, &outfit, lure, &water);
        sum += share.share * judged.score;
        if share.share >= 0.3 || judged.verdict == Verdict::Unsafe {
            worst = worst.max(judged.verdict);
        }
    }
    (worst, sum)
}

fn verdict(word: pb::Verdict) -> Verdict {
    Verdict::from_wire_word(word).unwrap()
}

/// Judges everything that a plan says of somebody's hands anew.
fn holds_in_every_hand(view: &View, plan: &pb::Plan) {
    let trip = plan.trip.as_ref().unwrap();
    let skill = |id: &String| trip.anglers.iter().find(|a| a.id == *id).unwrap().skill();
    let least = |segment: &String, lure: &String| {
        let named = |n: &&pb::Need| (&n.segment_id, &n.lure_id) == (segment, lure);
        verdict(trip.needs.iter().find(named).unwrap().min_verdict())
    };
    let close = |one: (Verdict, f64), other: (Verdict, f64)| {
        one.0 == other.0 && (one.1 - other.1).abs() < 1e-9
    };
    for start in &plan.starts {
        let tied = &plan.outfits.iter().find(|o| o.id == start.outfit_id).unwrap().leader_stock_ids;
        let leaders = || tied.iter().map(String::as_str).chain([""]);
        let own = |outfit: &String, lure: &String, leader: &str| {
            let of = (start.segment_id.as_str(), lure.as_str(), outfit.as_str());
            in_hands(view, plan, of, leader, skill(&start.angler_id))
        };
        let stated = (verdict(start.verdict()), start.score);
        let with = |leader: &str| own(&start.outfit_id, &start.lure_id, leader);
        assert!(leaders().any(|leader| close(with(leader), stated)), "{start:?}\n{}", show(plan));
        assert!(stated.0 <= least(&start.segment_id, &start.lure_id), "{start:?}");
        if !start.second_outfit_id.is_empty() {
            let second = plan.assignments.iter().find(|a| {
                (&a.segment_id, &a.lure_id, &a.outfit_id)
                    == (&start.segment_id, &start.second_lure_id, &start.second_outfit_id)
            });
            let leader = &second.unwrap().leader_stock_id;
            let (is, _) = own(&start.second_outfit_id, &start.second_lure_id, leader);
            assert_eq!(is, verdict(start.second_verdict()), "{start:?}");
            assert!(is <= least(&start.segment_id, &start.second_lure_id), "{start:?}");
            assert!(start.second_meets);
        }
    }
    for one in &plan.assignments {
        let part = trip.segments.iter().find(|s| s.id == one.segment_id).unwrap();
        let fishes =
            |a: &&pb::Angler| part.angler_ids.is_empty() || part.angler_ids.contains(&a.id);
        let crew: Vec<&pb::Angler> = trip.anglers.iter().filter(fishes).collect();
        let mixed = crew.iter().any(|a| a.skill != crew[0].skill);
        assert_eq!(mixed, one.skill() != pb::Skill::Unspecified, "{one:?}");
        assert_eq!(mixed, !one.angler_ids.is_empty(), "{one:?}");
        let counted = if mixed { one.skill() } else { crew[0].skill() };
        let of = (one.segment_id.as_str(), one.lure_id.as_str(), one.outfit_id.as_str());
        let own = |skill| in_hands(view, plan, of, &one.leader_stock_id, skill);
        let stated = (verdict(one.verdict()), one.score);
        assert!(close(own(counted), stated), "{one:?} {:?}", own(counted));
        for angler in crew.iter().filter(|_| mixed) {
            let does = own(angler.skill()).0 <= stated.0;
            assert_eq!(does, one.angler_ids.contains(&angler.id), "{one:?} {}", angler.id);
        }
    }
}

/// A trip with another crew.
fn with_crew(mut request: pb::PlanTripRequest, skills: &[pb::Skill]) -> pb::PlanTripRequest {
    let trip = request.trip.as_mut().unwrap();
    let angler = |(i, skill): (usize, &pb::Skill)| pb::Angler {
        id: format!("A{}", i + 1),
        skill: (*skill).into(),
        ..pb::Angler::default()
    };
    trip.anglers = skills.iter().enumerate().map(angler).collect();
    for segment in &mut trip.segments {
        segment.angler_ids = trip.anglers.iter().map(|a| a.id.clone()).collect();
    }
    request
}

// Two fish at once. What a beginner covers a more practised one covers as well; and whoever does best
// with an outfit gets it.
#[tokio::test]
async fn a_practised_angler_beside_a_beginner_counts() {
    use pb::Skill::{Expert, Intermediate, Novice};
    let fleet = Fleet::demo();
    let view = fleet.inventory().view();
    for request in [t1, t2] {
        let mut covered = Vec::new();
        for crew in [[Novice, Novice], [Novice, Intermediate], [Novice, Expert], [Expert, Expert]] {
            let plan = plan(&fleet, with_crew(request(), &crew)).await;
            holds_in_every_hand(&view, &plan);
            covered
                .push((plan.counts.unwrap().covered_count, plan.value.unwrap().objective_micros));
        }
        // Whoever is more practised takes nothing away.
        assert!(covered.is_sorted(), "{covered:?}");
        if request().trip.unwrap().id == "T1" {
            // Two beginners cover 9 of 15; one of them with an expert what two experts cover.
            assert!(covered[0].0 < covered[2].0 && covered[2].0 == covered[3].0, "{covered:?}");
        }
    }
}

// Common practice, no source: beside a beginner trebles are what they are, whoever casts them.
#[tokio::test]
async fn a_beginner_aboard_is_warned_of() {
    use pb::Skill::{Expert, Novice};
    let fleet = Fleet::demo();
    let view = fleet.inventory().view();
    let trebles = |card: &&pb::RigCard| {
        let Spec::Lure(lure) = &item(&view, ItemKind::Lure, &card.lure_id).spec else { panic!() };
        lure.hook.style == Some(HookStyle::Treble) && lure.hook.count.is_some_and(|n| n >= 2)
    };
    let plan = plan(&fleet, with_crew(t1(), &[Novice, Expert])).await;
    let cards: Vec<&pb::RigCard> = plan.rig_cards.iter().filter(trebles).collect();
    assert!(cards.iter().any(|card| card.skill() == Expert && card.segment_id == "a"));
    for card in cards {
        let codes: Vec<_> = card.cautions.iter().map(pb::Caution::code).collect();
        assert!(codes.contains(&pb::CautionCode::Hooks), "{card:?}");
    }
}

// Three of the demo, and others: everything that is said of hands is judged again.
#[tokio::test]
async fn what_a_plan_says_of_hands_is_so() {
    use pb::Skill::{Expert, Intermediate, Novice};
    let fleet = Fleet::demo();
    let view = fleet.inventory().view();
    let crews: [&[pb::Skill]; 4] = [
        &[Novice, Intermediate, Expert],
        &[Expert, Novice, Novice],
        &[Intermediate, Intermediate],
        &[Novice, Novice, Intermediate, Expert],
    ];
    for crew in crews {
        for turns in [false, true] {
            let mut request = with_crew(t1(), crew);
            if turns {
                let trip = request.trip.as_mut().unwrap();
                trip.segments.iter_mut().for_each(|segment| segment.angler_ids.clear());
            }
            let plan = plan(&fleet, request).await;
            holds_in_every_hand(&view, &plan);
        }
    }
}

// From the contract: whoever takes turns with the others is named where it does well in his hands.
#[tokio::test]
async fn whoever_takes_turns_is_named_as_well() {
    use pb::Skill::{Expert, Intermediate, Novice};
    let fleet = Fleet::demo();
    let view = fleet.inventory().view();
    let mut request = with_crew(t1(), &[Novice, Intermediate, Expert]);
    request.trip.as_mut().unwrap().rod_limit = Some(2);
    let plan = plan(&fleet, request).await;
    assert!(!plan.given_up.as_ref().unwrap().short_crews.is_empty(), "{}", show(&plan));
    holds_in_every_hand(&view, &plan);
}
