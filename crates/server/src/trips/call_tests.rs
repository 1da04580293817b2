//! Calls that are late, given up or watched.

use deepbend_contract::WireWord as _;
use deepbend_core::gear::{Action, RodMaterial, Word as _};
use deepbend_ledger::event::{Certainty, Claim};
use deepbend_ledger::id::Id;
use deepbend_ledger::import::FileKind;
use deepbend_ledger::time::ObservedTime;
use deepbend_store::MemoryStore;
use tokio::time::Instant;
use tokio_stream::StreamExt as _;
use tonic::Code;

use super::fleet_tests::trip_support::{Fleet, demo_trip};
use super::*;

fn service() -> TripServiceImpl {
    let inventory = Inventory::open(Arc::new(MemoryStore::new())).unwrap();
    let claim = Claim {
        observed_time: ObservedTime::new("2031-09-15T17:00:00Z").unwrap(),
        actor: Id::new("shed").unwrap(),
        certainty: Certainty::Typed,
    };
    let files = [
        (
            FileKind::LineStock,
            "stock_id,type,spec_raw,dia_mm,length_m,place\n\
             K1,fluorocarbon leader,8 kg,0.33,50,B1\n",
        ),
        (FileKind::Boats, "boat_id,name,rod_holders\nB1,Grebe,8\n"),
        (
            FileKind::Rods,
            "rod_id,handle,length_raw,lure_raw,line_raw,place\n\
             R1,spinning,2.1 m,7-21 g,8-14 lb,B1\n",
        ),
        (
            FileKind::Reels,
            "reel_id,type,place,line_type,line_test_raw\nE1,fixed-spool,B1,PE,7 kg\n",
        ),
        (FileKind::Lures, "lure_id,class,rigged_g,qty,place\nL1,paddle_tail_jig,14,2,B1\n"),
    ];
    inventory.import(&files, &Id::new("shed-desk").unwrap(), &claim).unwrap();
    TripServiceImpl::new(Some(Arc::new(inventory)))
}

fn request() -> Request<pb::PlanTripRequest> {
    Request::new(pb::PlanTripRequest {
        trip: Some(pb::Trip {
            boat_id: "B1".to_owned(),
            anglers: vec![pb::Angler {
                id: "A".to_owned(),
                skill: pb::Skill::Intermediate.into(),
                ..Default::default()
            }],
            segments: vec![pb::Segment {
                id: "a".to_owned(),
                water: Some(pb::Water { species: "zander".to_owned(), ..Default::default() }),
                ..Default::default()
            }],
            needs: vec![pb::Need {
                segment_id: "a".to_owned(),
                lure_id: "L1".to_owned(),
                importance: 3,
                ..Default::default()
            }],
            ..Default::default()
        }),
        ..Default::default()
    })
}

// From memory: a deadline that has passed before anything is judged ends the work.
#[tokio::test]
async fn a_deadline_ends_the_work() {
    let service = service();
    let plan = service.plan_trip(request()).await.unwrap().into_inner().plan.unwrap();
    assert_eq!(plan.status(), pb::PlanStatus::Optimal);
    assert_eq!(plan.outfits.len(), 1);
    let mut late = request();
    late.extensions_mut().insert(CallDeadline(Instant::now()));
    let status = service.plan_trip(late).await.unwrap_err();
    assert_eq!(status.code(), Code::DeadlineExceeded);
}

// Source: the contract of Plan.abridged: the best of what was judged, with a bound that holds for
// all.
#[tokio::test]
async fn who_is_in_a_hurry_gets_a_plan_of_what_was_judged() {
    let mut request = demo_trip("T1", &["B2", "B3", "S0"]);
    let trip = request.trip.as_mut().unwrap();
    trip.segments.iter_mut().for_each(|segment| segment.angler_ids.clear());
    let service = Fleet::demo().service();
    let best = service.plan_trip(Request::new(request.clone())).await.unwrap().into_inner();
    let best = best.plan.unwrap().value.unwrap().objective_micros;
    let asked = ask::trip(request).unwrap();
    let view = service.inventory.as_ref().unwrap().view();
    let gauge = Gauge::new(None, CancellationToken::new(), Sender::default()).hurried();
    let desk = Desk::new(&view, Model::builtin(), &asked.terms, None, &gauge);
    let plan = desk.trip(&asked.trips).unwrap();
    assert_eq!(plan.status(), pb::PlanStatus::Feasible);
    assert!(plan.abridged && !plan.reproducible && !plan.outfits.is_empty());
    assert!(plan.value.unwrap().objective_micros < best);
    assert!(plan.bound_micros.unwrap() >= best);
    // It is good when it comes back.
    let trip = plan.trip.clone();
    let check = pb::CheckCoverageRequest { trip, plan: Some(plan), ..Default::default() };
    service.check_coverage(Request::new(check)).await.unwrap();
}

// Source: the contract of PLAN_STATUS_NOT_FOUND: what is left out need not be the fewest.
#[test]
fn who_is_in_a_hurry_is_not_told_that_no_plan_leaves_out_less() {
    let asked = ask::trip(demo_trip("T1", &["B2", "B3", "S0"])).unwrap();
    let view = Fleet::demo().service().inventory.unwrap().view();
    let gauge = Gauge::new(None, CancellationToken::new(), Sender::default()).hurried();
    let desk = Desk::new(&view, Model::builtin(), &asked.terms, None, &gauge);
    let plan = desk.trip(&asked.trips).unwrap();
    assert_eq!(plan.status(), pb::PlanStatus::NotFound);
    let text = plan.given_up.unwrap().text;
    assert!(text.starts_with("The plan leaves out: "), "{text}");
}

// Source: the contract of Plan.abridged: rig cards and cautions are never missing, on no boat.
#[test]
fn who_is_late_gets_all_cards_and_cautions() {
    let boats = ["B1", "B2", "B3"];
    let trips = boats.map(|boat| {
        let mut trip = demo_trip("T1", &[]).trip.unwrap();
        (trip.id, trip.boat_id) = (boat.to_owned(), boat.to_owned());
        trip.anglers.truncate(1);
        trip.segments.iter_mut().for_each(|segment| segment.angler_ids.clear());
        trip
    });
    let places = ["B1", "B2", "B3", "S0"]
        .map(|id| pb::PoolPlace { place_id: id.to_owned(), ..Default::default() });
    let (trips, pool) = (trips.to_vec(), places.to_vec());
    let asked = ask::fleet(pb::PlanFleetRequest { trips, pool, ..Default::default() }).unwrap();
    let view = Fleet::demo().service().inventory.unwrap().view();
    let written = |is_late: bool| {
        let gauge = Gauge::new(None, CancellationToken::new(), Sender::default());
        let gauge = if is_late { gauge.at_last() } else { gauge };
        let desk = Desk::new(&view, Model::builtin(), &asked.terms, None, &gauge);
        desk.fleet(&asked.trips).unwrap().plans
    };
    let (whole, late) = (written(false), written(true));
    for (whole, late) in whole.iter().zip(&late) {
        assert!(!whole.abridged && !whole.losses.is_empty() && whole.windier.is_some());
        assert!(late.abridged && late.losses.is_empty() && late.windier.is_none());
        assert!(whole.moves.iter().all(|step| !step.if_missing.is_empty()));
        assert!(late.moves.iter().all(|step| step.if_missing.is_empty()));
        assert!(!late.rig_cards.is_empty() && late.rig_cards == whole.rig_cards);
        assert!(!late.cautions.is_empty() && late.cautions == whole.cautions);
        assert_eq!((&late.starts, &late.load_list), (&whole.starts, &whole.load_list));
    }
    assert!(whole.iter().any(|plan| !plan.moves.is_empty()));
}

// Source: the contract of CheckCoverageResponse.abridged: there is an answer, and it says so.
#[tokio::test]
async fn who_is_in_a_hurry_is_answered_without_a_review() {
    let service = Fleet::demo().service();
    let mut request = demo_trip("T1", &["B2", "B3", "S0"]);
    let trip = request.trip.as_mut().unwrap();
    trip.segments.iter_mut().for_each(|segment| segment.angler_ids.clear());
    let made = service.plan_trip(Request::new(request)).await.unwrap().into_inner();
    let mut plan = made.plan.unwrap();
    let trip = plan.trip.clone();
    // A fault that a review names.
    plan.counts.as_mut().unwrap().move_count += 1;
    let lost_item_ids = vec![plan.outfits[0].rod_id.clone()];
    let check =
        pb::CheckCoverageRequest { trip, plan: Some(plan), lost_item_ids, ..Default::default() };
    let named = service.check_coverage(Request::new(check.clone())).await.unwrap_err();
    assert_eq!(named.code(), Code::InvalidArgument);
    let view = service.inventory.as_ref().unwrap().view();
    let (asked, before) = ask::check(check, Some(&view)).unwrap();
    let before = before.unwrap();
    let gauge = |hurried: bool| {
        let gauge = Gauge::new(None, CancellationToken::new(), Sender::default());
        if hurried { gauge.hurried() } else { gauge }
    };
    let model = Model::builtin();
    let review = |gauge: &Gauge| {
        review::review(&Desk::new(&view, model, &asked.terms, None, gauge), &before)
    };
    assert!(review(&gauge(false)).is_err());
    assert_eq!(review(&gauge(true)).unwrap(), None);
    // No time is left to count what the plan was worth.
    let gauge = gauge(false);
    let desk = Desk::new(&view, model, &asked.terms, Some(Instant::now()), &gauge);
    let found = recover::plan(&desk, &asked.trips, Some(&before.plan)).unwrap();
    assert!(found.abridged && !found.plan.outfits.is_empty());
    let answer = recover::against(model.parameters(), before.plan, found, &[]);
    assert!(answer.abridged && answer.difference.unwrap().gain_micros == 0);
}

// Source: arithmetic: no plan is worth more than all needs at their best, and what the service wrote it
// takes back, also where the clock ended the search before it bounded anything.
#[tokio::test]
async fn a_plan_that_was_cut_comes_back() {
    let service = Fleet::demo().service();
    let view = service.inventory.as_ref().unwrap().view();
    let places = ["B1", "B2", "B3", "S0"];
    let mut clashing = demo_trip("T2", &places);
    clashing.trip.as_mut().unwrap().rod_limit = Some(2);
    let take = |id: &str| pb::Pin {
        rule: pb::PinRule::Take.into(),
        item_id: id.to_owned(),
        ..pb::Pin::default()
    };
    clashing.pins = vec![take("R19"), take("R20")];
    let kept = pb::PlanStatus::Feasible;
    let requests = [
        (demo_trip("T1", &places), kept),
        (demo_trip("T2", &places), kept),
        // Pins that clash with who fishes, of which nobody had time to prove it.
        (clashing, pb::PlanStatus::NotFound),
    ];
    for (request, status) in requests {
        let asked = ask::trip(request).unwrap();
        let gauge = Gauge::new(None, CancellationToken::new(), Sender::default());
        let now = Some(Instant::now());
        let desk = Desk::new(&view, Model::builtin(), &asked.terms, now, &gauge);
        let plan = desk.trip(&asked.trips).unwrap();
        assert_eq!((plan.reproducible, plan.status()), (false, status));
        let reached = plan.value.as_ref().unwrap().objective_micros;
        let all: i64 = (plan.trip.iter().flat_map(|trip| &trip.needs))
            .map(|need| i64::from(need.importance) * 1_000_000)
            .sum();
        let bound = plan.bound_micros.unwrap();
        assert!((reached..=all).contains(&bound), "{reached} {bound} {all}");
        let check = pb::CheckCoverageRequest {
            trip: plan.trip.clone(),
            plan: Some(plan),
            ..Default::default()
        };
        service.check_coverage(Request::new(check)).await.unwrap();
    }
}

// Source: the contract of FindGapsResponse.abridged and DesignSetResponse.abridged.
#[test]
fn who_is_in_a_hurry_is_told_of_the_rods_that_were_judged() {
    let trip = demo_trip("T1", &[]).trip;
    let trips = vec![pb::SeasonTrip { trip, day_count: 10 }];
    let asked = pb::FindGapsRequest { trips: trips.clone(), ..Default::default() };
    let asked = ask_season::gaps(asked).unwrap();
    let view = Fleet::demo().service().inventory.unwrap().view();
    let found = |gauge: &Gauge| {
        let desk = Desk::new(&view, Model::builtin(), &asked.season.terms, None, gauge);
        gaps::find(&desk, &asked).unwrap()
    };
    let gauge = || Gauge::new(None, CancellationToken::new(), Sender::default());
    let whole = found(&gauge());
    assert!(!whole.abridged && whole.unjudged_rod_count == 0);
    let part = found(&gauge().hurried());
    assert!(part.abridged && part.unjudged_rod_count > 0 && !part.gaps.is_empty());
    let rods = |found: &pb::FindGapsResponse| found.rack.len() as i32;
    assert_eq!(rods(&part) + part.unjudged_rod_count, rods(&whole));
    assert!(part.owned_micros <= whole.owned_micros);
}

// Source: the contract of FindGapsResponse: who owns a ready rod that nobody had time to judge is not
// told to buy one like it, and what adds next to nothing is no gap.
#[test]
fn nobody_is_told_to_buy_what_is_owned() {
    let trip = demo_trip("T1", &[]).trip;
    let trips = vec![pb::SeasonTrip { trip, day_count: 10 }];
    let budget_cents = Some(50_000);
    let asked = pb::FindGapsRequest { trips, budget_cents, gap_count: 20, ..Default::default() };
    let asked = ask_season::gaps(asked).unwrap();
    let found = |fleet: &Fleet, hurried: bool| {
        let view = fleet.service().inventory.unwrap().view();
        let gauge = Gauge::new(None, CancellationToken::new(), Sender::default());
        let gauge = if hurried { gauge.hurried() } else { gauge };
        let desk = Desk::new(&view, Model::builtin(), &asked.season.terms, None, &gauge);
        gaps::find(&desk, &asked).unwrap()
    };
    let whole = found(&Fleet::demo(), false);
    let least = whole.least_added_micros;
    assert_eq!(least, whole.full_micros / 200);
    assert!(!whole.gaps.is_empty() && whole.gaps.iter().all(|gap| gap.added_micros >= least));
    // Of one lure alone, where the first gap is small too.
    let mut trip = demo_trip("T1", &[]).trip;
    trip.as_mut().unwrap().needs.truncate(1);
    let trips = vec![pb::SeasonTrip { trip, day_count: 10 }];
    let small = pb::FindGapsRequest { trips, gap_count: 20, ..Default::default() };
    let small = ask_season::gaps(small).unwrap();
    let view = Fleet::demo().service().inventory.unwrap().view();
    let gauge = Gauge::new(None, CancellationToken::new(), Sender::default());
    let desk = Desk::new(&view, Model::builtin(), &small.season.terms, None, &gauge);
    let small = gaps::find(&desk, &small).unwrap();
    assert!(small.gaps.iter().all(|gap| gap.added_micros >= small.full_micros / 200));
    // What is advised first lies ready in the shed, but is not among the rods that are judged first.
    let advised = found(&Fleet::demo(), true).gaps.remove(0).window.unwrap();
    let action = Action::ALL.iter().find(|a| i32::from(a.to_wire_word()) == advised.actions[0]);
    let is_of = |m: &&RodMaterial| i32::from(m.to_wire_word()) == advised.materials[0];
    let material = RodMaterial::ALL.iter().find(is_of).unwrap().as_word();
    let handle =
        if advised.handle == i32::from(pb::Handle::Casting) { "casting" } else { "spinning" };
    let row = format!(
        "{handle},2.13 m,,{},{material},{:.1}-{:.1} g,{:.1} kg",
        action.unwrap().as_word(),
        advised.lure_rating_min_g,
        advised.lure_rating_max_g,
        advised.line_rating_max_kgf
    );
    let known = "casting,2.13 m,MH,moderate,composite,10-35 g,10-20 lb";
    let fleet = Fleet::demo().twin(FileKind::Rods, "R16", "R99");
    let fleet = fleet.edit(FileKind::Rods, "R99", known, &row);
    let part = found(&fleet, true);
    assert!(part.rack.iter().all(|rod| rod.rod_id != "R99"));
    let again = part.gaps.iter().filter_map(|gap| gap.window.as_ref());
    let again: Vec<&str> = again.map(|window| window.text.as_str()).collect();
    assert!(!again.contains(&advised.text.as_str()), "{row} is owned: {again:?}");
}

// Source: the contract of DesignSetResponse.abridged: what is known by then is the answer, with a
// bound for what was not looked at.
#[test]
fn a_season_is_answered_though_the_time_is_up() {
    let trip = demo_trip("T1", &[]).trip;
    let trips = vec![pb::SeasonTrip { trip, day_count: 10 }];
    let view = Fleet::demo().service().inventory.unwrap().view();
    let over = || {
        let now = Some(Instant::now());
        Gauge::new(now, CancellationToken::new(), Sender::default())
    };
    let keep_rod_ids = vec!["R16".to_owned()];
    let asked = pb::DesignSetRequest { trips: trips.clone(), keep_rod_ids, ..Default::default() };
    let asked = ask_season::set(asked).unwrap();
    let set = |gauge: &Gauge| {
        let desk = Desk::new(&view, Model::builtin(), &asked.season.terms, None, gauge);
        sets::design(&desk, &asked).unwrap()
    };
    let whole = set(&Gauge::new(None, CancellationToken::new(), Sender::default()));
    let part = set(&over());
    assert!(part.abridged && !whole.abridged);
    let first = |answer: &pb::DesignSetResponse| answer.sets[0].clone();
    assert_eq!(first(&part).outfits[0].rod_id, "R16");
    assert_eq!(first(&part).status(), pb::PlanStatus::Feasible);
    assert!(first(&part).bound_micros >= first(&whole).worth_micros);
    let asked = pb::FindGapsRequest { trips, budget_cents: Some(50_000), ..Default::default() };
    let asked = ask_season::gaps(asked).unwrap();
    let gauge = over();
    let desk = Desk::new(&view, Model::builtin(), &asked.season.terms, None, &gauge);
    let found = gaps::find(&desk, &asked).unwrap();
    assert!(found.abridged && found.unjudged_rod_count > 0 && found.owned_micros > 0);
}

// From memory: whoever gives up is not worked for.
#[test]
fn a_caller_who_gives_up_ends_the_work() {
    let asked = ask::trip(request().into_inner()).unwrap();
    let service = service();
    let view = service.inventory.unwrap().view();
    let given_up = CancellationToken::new();
    given_up.cancel();
    let gauge = Gauge::new(None, given_up, Sender::default());
    let desk = Desk::new(&view, Model::builtin(), &asked.terms, None, &gauge);
    let status = desk.trip(&asked.trips).unwrap_err();
    assert_eq!(status.code(), Code::Cancelled);
}

fn demo_fleet() -> (TripServiceImpl, pb::PlanFleetRequest) {
    let trip = |id: &str| demo_trip(id, &[]).trip.unwrap();
    let place = |id: &str| pb::PoolPlace { place_id: id.to_owned(), move_cost_micros: None };
    let request = pb::PlanFleetRequest {
        trips: vec![trip("T1"), trip("T2")],
        pool: vec![place("B2"), place("S0")],
        ..pb::PlanFleetRequest::default()
    };
    (Fleet::demo().service(), request)
}

// Source: the contract of WatchPlan.
#[tokio::test]
async fn a_watched_call_tells_how_it_stands_and_then_answers() {
    let (service, request) = demo_fleet();
    let plain = service.plan_fleet(Request::new(request.clone())).await.unwrap().into_inner();
    let watched = pb::WatchPlanRequest { work: Some(Work::PlanFleet(request)) };
    let mut told = service.watch_plan(Request::new(watched)).await.unwrap().into_inner();
    let mut last = pb::PlanProgress::default();
    let mut count = 0;
    let answer = loop {
        let part = told.next().await.unwrap().unwrap().part.unwrap();
        let Part::Progress(now) = part else { break part };
        assert!(count > 0 || now.stage() == pb::PlanStage::Waiting);
        assert!(now.stage >= last.stage, "{now:?} after {last:?}");
        if now.stage == last.stage {
            assert!(now.done_count >= last.done_count);
            assert!(now.incumbent_micros >= last.incumbent_micros);
        }
        (last, count) = (now, count + 1);
    };
    assert!(count > 0);
    assert_eq!(answer, Part::PlanFleet(plain));
    assert!(told.next().await.is_none());
}

// Source: the contract of WatchPlan: errors are those of the method.
#[tokio::test]
async fn a_watched_call_fails_like_the_method() {
    let (service, _) = demo_fleet();
    let nothing = Request::new(pb::WatchPlanRequest { work: None });
    let status = service.watch_plan(nothing).await.unwrap_err();
    assert_eq!(status.code(), Code::InvalidArgument);
    let empty = Work::DesignSet(pb::DesignSetRequest::default());
    let empty = Request::new(pb::WatchPlanRequest { work: Some(empty) });
    let mut told = service.watch_plan(empty).await.unwrap().into_inner();
    let failed = loop {
        match told.next().await.unwrap() {
            Ok(message) => assert!(matches!(message.part, Some(Part::Progress(_)))),
            Err(status) => break status,
        }
    };
    assert_eq!(failed.code(), Code::InvalidArgument);
}

// From memory: who goes away is not worked for, however far the work is.
#[tokio::test]
async fn who_goes_away_ends_the_work() {
    for stage in [pb::PlanStage::Judging, pb::PlanStage::Searching] {
        let (service, request) = demo_fleet();
        let progress = Sender::default();
        let mut told = progress.subscribe();
        let call = Call { deadline: None, progress };
        let running = tokio::spawn(async move { service.fleet(request, call).await });
        told.wait_for(|now| now.stage() == stage).await.unwrap();
        running.abort();
        // The work lets go of the sender when it ends.
        while told.changed().await.is_ok() {}
        let last = told.borrow().stage();
        assert!(last < pb::PlanStage::Comparing, "it went on to {last:?}");
    }
}

// Source: the contract of PLAN_STATUS_NOT_FOUND: who is in a hurry is never left without a plan; what
// was judged by then seats whom it can, and what that leaves out is said.
#[test]
fn whoever_is_in_a_hurry_gets_a_plan_though_it_seats_not_all() {
    let (service, request) = demo_fleet();
    let asked = ask::fleet(request).unwrap();
    let view = service.inventory.as_ref().unwrap().view();
    let now = Some(Instant::now());
    let gauge = Gauge::new(now, CancellationToken::new(), Sender::default());
    let desk = Desk::new(&view, Model::builtin(), &asked.terms, now, &gauge);
    let fleet = desk.fleet(&asked.trips).unwrap();
    assert!(!fleet.reproducible);
    let most: i64 = 53_000_000;
    assert!(fleet.bound_micros.unwrap() <= most, "{:?}", fleet.bound_micros);
    assert!(fleet.plans.iter().any(|plan| !plan.outfits.is_empty()));
    let given_up = fleet.given_up.as_ref().map(|given| given.short_crews.len());
    let is_kept = fleet.status() == pb::PlanStatus::Feasible;
    assert!(is_kept || fleet.status() == pb::PlanStatus::NotFound, "{:?}", fleet.status());
    assert_eq!(given_up.is_some_and(|crews| crews > 0), !is_kept);
}
