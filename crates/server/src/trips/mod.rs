//! Trips: which outfits to assemble from what is really there.
//!
//! A call goes through these in order:
//!
//! 1. `ask`, `request` and `ask_plan`: the request is read with all its faults;
//! 2. `pool`: rods, reels, lines, leaders and lures of the places that it names;
//! 3. `offers`: every outfit that can be put together is judged for every need;
//! 4. `search`: the planner chooses for all boats together, within a budget of work and the
//!    deadline, and the checker looks the plan over;
//! 5. `answer`, with `cards`, `clash`, `hands`, `jobs`, `cure` and `buy`: the plan is written with settings,
//!    cautions, lists, losses and cures;
//! 6. `recover` and `rerig`: what a loss changes, and what is done with the hands on the water;
//! 7. `sighted`: what contested gear would change if somebody saw how it is.
//!
//! What is asked about a season goes through `ask_season`, is judged by `season` over the lattice
//! of `specs`, and answered by `gaps` and `sets`.
//!
//! All of it tells `gauge` how it stands, and asks there whether to go on; `watch` passes that on.

use std::sync::Arc;

use deepbend_contract::pb;
use deepbend_contract::pb::trip_service_server::TripService;
use deepbend_contract::pb::watch_plan_request::Work;
use deepbend_contract::pb::watch_plan_response::Part;
use deepbend_contract::{At, Faults, reason};
use deepbend_core::model::Model;
use deepbend_ledger::item::ItemKind;
use deepbend_ledger::view::View;
use deepbend_store::inventory::Inventory;
use tokio::sync::watch::Sender;
use tokio_stream::wrappers::ReceiverStream;
use tokio_util::sync::CancellationToken;
use tonic::{Request, Response, Status};

use crate::compute;
use crate::error::{Missing, ServiceError};
use crate::gate::{CallDeadline, CallPlace};

mod answer;
mod ask;
mod ask_plan;
mod ask_season;
mod buy;
mod cards;
mod clash;
mod cure;
mod desk;
#[cfg(test)]
mod fleet_tests;
mod gaps;
mod gauge;
mod hands;
mod jobs;
mod offers;
mod pool;
mod recover;
mod request;
mod rerig;
mod search;
mod season;
mod sets;
mod sighted;
mod specs;
mod watch;

use ask::Asked;
use desk::Desk;
use gauge::{Gauge, Stopped};

/// Answers `deepbend.v1.TripService`.
#[derive(Clone, Debug)]
pub struct TripServiceImpl {
    inventory: Option<Arc<Inventory>>,
    compute: compute::Pool,
    cut: CancellationToken,
}

/// What work has to know of its call.
struct Call {
    deadline: Option<CallDeadline>,
    progress: Sender<pb::PlanProgress>,
}

impl Call {
    /// A call that nobody watches.
    fn of<T>(request: &Request<T>) -> Self {
        Self { deadline: deadline(request), progress: Sender::default() }
    }
}

fn deadline<T>(request: &Request<T>) -> Option<CallDeadline> {
    request.extensions().get::<CallDeadline>().copied()
}

impl TripServiceImpl {
    /// A service over an inventory; without one every call is answered `NO_INVENTORY`. As many
    /// trips are planned at once as the machine has cores; the others wait.
    #[must_use]
    pub fn new(inventory: Option<Arc<Inventory>>) -> Self {
        let cores = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
        Self { inventory, compute: compute::Pool::new(cores), cut: CancellationToken::new() }
    }

    /// The same service, whose watched calls end at `cut`.
    pub(crate) fn until(self, cut: CancellationToken) -> Self {
        Self { cut, ..self }
    }

    /// Looks a request up, and does the work on a thread that may block; `None` where it is only
    /// to be checked.
    async fn work<A: Send + 'static, T: Send + 'static>(
        &self,
        asked: A,
        terms: ask::Terms,
        call: Call,
        look_up: impl FnOnce(&View, &A) -> Result<(), ServiceError>,
        work: impl FnOnce(&A, &Desk<'_>) -> Result<T, Status> + Send + 'static,
    ) -> Result<Option<T>, Status> {
        let model = model(&terms)?;
        let inventory = self.inventory.as_ref().ok_or(ServiceError::NoInventory)?;
        let view = inventory.view();
        look_up(&view, &asked)?;
        if terms.validate_only {
            return Ok(None);
        }
        // Dropped with this call: then the work below ends at its next look.
        let given_up = CancellationToken::new();
        let _guard = given_up.clone().drop_guard();
        let work = move || {
            let deadline = call.deadline.map(|deadline| deadline.0);
            let gauge = Gauge::new(deadline, given_up, call.progress);
            work(&asked, &Desk::new(&view, &model, &terms, deadline, &gauge))
        };
        Ok(Some(self.compute.run(work).await??))
    }

    /// Plans what was asked for; the plan, and the label of the request.
    async fn plan<T: Send + 'static>(
        &self,
        asked: ask::Request,
        call: Call,
        plan: impl FnOnce(&Desk<'_>, &[Asked]) -> Result<T, Status> + Send + 'static,
    ) -> Result<(Option<T>, String), Status> {
        let ask::Request { trips, terms } = asked;
        let label = terms.label.clone();
        let known = |view: &View, trips: &Vec<Asked>| look_up(view, trips);
        let plan = self.work(trips, terms, call, known, |trips, desk| plan(desk, trips)).await?;
        Ok((plan, label))
    }

    async fn trip(
        &self,
        request: pb::PlanTripRequest,
        call: Call,
    ) -> Result<pb::PlanTripResponse, Status> {
        let (plan, request_label) =
            self.plan(ask::trip(request)?, call, |desk, trips| desk.trip(trips)).await?;
        Ok(pb::PlanTripResponse { plan, request_label })
    }

    async fn fleet(
        &self,
        request: pb::PlanFleetRequest,
        call: Call,
    ) -> Result<pb::PlanFleetResponse, Status> {
        let (plan, request_label) =
            self.plan(ask::fleet(request)?, call, |desk, trips| desk.fleet(trips)).await?;
        Ok(pb::PlanFleetResponse { plan, request_label })
    }

    async fn check(
        &self,
        request: pb::CheckCoverageRequest,
        call: Call,
    ) -> Result<pb::CheckCoverageResponse, Status> {
        let segments = request.segment_ids.clone();
        let view = self.inventory.as_ref().map(|inventory| inventory.view());
        let (asked, before) = ask::check(request, view.as_deref())?;
        let model = model(&asked.terms)?;
        let rigged = before.clone();
        let work =
            move |desk: &Desk<'_>, trips: &[Asked]| recover::plan(desk, trips, rigged.as_ref());
        let (found, request_label) = self.plan(asked, call, work).await?;
        let answer = match (before, found) {
            (Some(before), Some(found)) => {
                recover::against(model.parameters(), before, found, &segments)
            }
            (_, found) => pb::CheckCoverageResponse {
                plan: found.map(|found| found.plan),
                ..pb::CheckCoverageResponse::default()
            },
        };
        Ok(pb::CheckCoverageResponse { request_label, ..answer })
    }

    async fn gaps(
        &self,
        request: pb::FindGapsRequest,
        call: Call,
    ) -> Result<pb::FindGapsResponse, Status> {
        let mut asked = ask_season::gaps(request)?;
        let terms = std::mem::take(&mut asked.season.terms);
        let request_label = terms.label.clone();
        let known = |view: &View, asked: &ask_season::Gaps| {
            let places = asked.places.iter().map(|id| ("place_ids", Some(ItemKind::Boat), id));
            look_up_season(view, &asked.season, places.collect())
        };
        let found = self.work(asked, terms, call, known, |asked, desk| gaps::find(desk, asked));
        let found = found.await?.unwrap_or_default();
        Ok(pb::FindGapsResponse { request_label, ..found })
    }

    async fn set(
        &self,
        request: pb::DesignSetRequest,
        call: Call,
    ) -> Result<pb::DesignSetResponse, Status> {
        let mut asked = ask_season::set(request)?;
        let terms = std::mem::take(&mut asked.season.terms);
        let request_label = terms.label.clone();
        let known = |view: &View, asked: &ask_season::Set| {
            let rods = asked.keep.iter().map(|id| ("keep_rod_ids", Some(ItemKind::Rod), id));
            look_up_season(view, &asked.season, rods.collect())
        };
        let found = self.work(asked, terms, call, known, |asked, desk| sets::design(desk, asked));
        let found = found.await?.unwrap_or_default();
        Ok(pb::DesignSetResponse { request_label, ..found })
    }
}

#[tonic::async_trait]
impl TripService for TripServiceImpl {
    async fn plan_trip(
        &self,
        request: Request<pb::PlanTripRequest>,
    ) -> Result<Response<pb::PlanTripResponse>, Status> {
        let call = Call::of(&request);
        self.trip(request.into_inner(), call).await.map(Response::new)
    }

    async fn plan_fleet(
        &self,
        request: Request<pb::PlanFleetRequest>,
    ) -> Result<Response<pb::PlanFleetResponse>, Status> {
        let call = Call::of(&request);
        self.fleet(request.into_inner(), call).await.map(Response::new)
    }

    async fn check_coverage(
        &self,
        request: Request<pb::CheckCoverageRequest>,
    ) -> Result<Response<pb::CheckCoverageResponse>, Status> {
        let call = Call::of(&request);
        self.check(request.into_inner(), call).await.map(Response::new)
    }

    async fn find_gaps(
        &self,
        request: Request<pb::FindGapsRequest>,
    ) -> Result<Response<pb::FindGapsResponse>, Status> {
        let call = Call::of(&request);
        self.gaps(request.into_inner(), call).await.map(Response::new)
    }

    async fn design_set(
        &self,
        request: Request<pb::DesignSetRequest>,
    ) -> Result<Response<pb::DesignSetResponse>, Status> {
        let call = Call::of(&request);
        self.set(request.into_inner(), call).await.map(Response::new)
    }

    type WatchPlanStream = ReceiverStream<watch::Answer>;

    async fn watch_plan(
        &self,
        request: Request<pb::WatchPlanRequest>,
    ) -> Result<Response<Self::WatchPlanStream>, Status> {
        let deadline = deadline(&request);
        let place = request.extensions().get::<CallPlace>().cloned();
        let Some(asked) = request.into_inner().work else {
            let mut faults = Faults::new();
            let (at, right) = (At::ROOT.field("work"), "a request of another method");
            faults.push(pb::FaultCode::Missing, at, "is left out", right);
            return Err(ServiceError::Faults(faults).into());
        };
        let waiting =
            pb::PlanProgress { stage: pb::PlanStage::Waiting.into(), ..Default::default() };
        let progress = Sender::new(waiting);
        let told = progress.subscribe();
        let (service, call) = (self.clone(), Call { deadline, progress });
        let work = async move {
            match asked {
                Work::PlanTrip(asked) => service.trip(asked, call).await.map(Part::PlanTrip),
                Work::PlanFleet(asked) => service.fleet(asked, call).await.map(Part::PlanFleet),
                Work::CheckCoverage(asked) => {
                    service.check(asked, call).await.map(Part::CheckCoverage)
                }
                Work::FindGaps(asked) => service.gaps(asked, call).await.map(Part::FindGaps),
                Work::DesignSet(asked) => service.set(asked, call).await.map(Part::DesignSet),
            }
        };
        let ends = watch::Ends { deadline, cut: self.cut.clone(), place };
        Ok(Response::new(watch::start(work, told, ends)))
    }
}

/// The model with the numbers that the request replaces.
fn model(terms: &ask::Terms) -> Result<Arc<Model>, ServiceError> {
    Model::builtin().with_overrides(&terms.overrides).map(Arc::new).map_err(|faults| {
        let mut all = Faults::new();
        let at = At::ROOT.field("overrides");
        for fault in faults {
            let right = "a key and a value within the range that GetModel states";
            all.push(pb::FaultCode::UnknownValue, at.key(&fault.key), fault.text, right);
        }
        ServiceError::Faults(all)
    })
}

/// Everything that is named must be in the inventory, and the boats must be boats.
fn look_up(view: &View, trips: &[Asked]) -> Result<(), ServiceError> {
    let mut missing = Vec::new();
    for (i, asked) in trips.iter().enumerate() {
        let trip = if trips.len() == 1 { "trip".to_owned() } else { format!("trips[{i}]") };
        for one in pool::missing(view, asked, &trip) {
            let known = |m: &Missing| (m.kind, &m.id) == (one.kind, &one.id);
            if !missing.iter().any(known) {
                missing.push(one);
            }
        }
    }
    if !missing.is_empty() {
        return Err(ServiceError::NotFound(missing));
    }
    let mut faults = Faults::new();
    for (i, asked) in trips.iter().enumerate() {
        let at = At::ROOT.field("trips");
        let at = at.index(i);
        let alone = At::ROOT.field("trip");
        let at = if trips.len() == 1 { alone } else { at };
        if !pool::goes_out(view, &asked.trip.boat) {
            let wrong = format!("is {}, a place ashore", asked.trip.boat);
            let right = "the inventory id of a boat with rod holders";
            faults.push(pb::FaultCode::Conflict, at.field("boat_id"), wrong, right);
        }
        for (wrong, right) in pool::out_of_reach(view, asked, trips) {
            let at = At::ROOT.field("pins");
            faults.push(pb::FaultCode::Conflict, at.field("item_id"), wrong, right);
        }
        let lost = asked.aboard.iter().flat_map(|aboard| &aboard.lost);
        for id in lost.filter(|id| !pool::is_gear(view, id)) {
            let right = "a rod, a reel, a lure or a stock";
            let at = At::ROOT.field("lost_item_ids");
            faults.push(pb::FaultCode::Conflict, at, format!("is {id}"), right);
        }
    }
    faults.or(())?;
    Ok(())
}

/// Lures of a season, and what else a request names, must be in the inventory.
fn look_up_season(
    view: &View,
    season: &ask_season::Season,
    named: Vec<(&str, Option<ItemKind>, &String)>,
) -> Result<(), ServiceError> {
    let mut missing: Vec<Missing> = Vec::new();
    let mut want = |field: String, kind: Option<ItemKind>, id: &str| {
        if !pool::is_known(view, kind, id) && missing.iter().all(|m| m.id != id) {
            missing.push(Missing::new(field, kind, id, view));
        }
    };
    for (t, (trip, _)) in season.trips.iter().enumerate() {
        for (n, need) in trip.needs.iter().enumerate() {
            let field = format!("trips[{t}].trip.needs[{n}].lure_id");
            want(field, Some(ItemKind::Lure), &need.lure);
        }
    }
    for (field, kind, id) in named {
        want(field.to_owned(), kind, id);
    }
    if missing.is_empty() { Ok(()) } else { Err(ServiceError::NotFound(missing)) }
}

fn stopped(why: Stopped) -> Status {
    match why {
        Stopped::Deadline => ServiceError::Deadline.into(),
        Stopped::Cancelled => reason::CANCELLED.status("the caller gave up", &[]),
    }
}

#[cfg(test)]
mod tests {
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
}
