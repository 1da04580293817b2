//! Trips: which outfits to assemble from what is really there.
//!
//! A call goes through these in order:
//!
//! 1. `ask`, `request` and `ask_plan`: the request is read with all its faults;
//! 2. `known`: whether the inventory has what it names; `pool` and `lines`: rods, reels, lines,
//!    leaders and lures of its places;
//! 3. `judging`, `offers`, `case` and `bench`: every outfit that can be put together is judged for
//!    every need, in the hands of whoever can use it, or where there are too many of them those that
//!    promise most, and after a search those that promise more than its plan;
//! 4. `search`: the planner chooses for all boats together, within a budget of work and the
//!    deadline, and the checker looks the plan over;
//! 5. `answer`, with `cards`, `clash`, `hands`, `jobs`, `cure` and `buy`: the plan is written with
//!    settings, cautions, lists, losses and cures;
//! 6. `review`: a plan that comes back, with its `basis`, is written again and compared; `recover`
//!    and `rerig`: what a loss changes, and what is done with the hands on the water;
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
use tokio::time::{Duration, Instant};
use tokio_stream::wrappers::ReceiverStream;
use tokio_util::sync::CancellationToken;
use tonic::{Request, Response, Status};

use crate::compute;
use crate::error::ServiceError;
use crate::gate::{CallDeadline, CallPlace};

mod answer;
mod ask;
mod ask_plan;
mod ask_season;
mod basis;
mod bench;
mod buy;
#[cfg(test)]
mod call_tests;
mod cards;
mod case;
mod clash;
mod cure;
mod desk;
mod draft;
#[cfg(test)]
mod fleet_tests;
mod gaps;
mod gauge;
mod hands;
mod implied;
mod jobs;
mod judging;
mod known;
mod lines;
mod offers;
mod opens;
mod pool;
mod recover;
mod request;
mod rerig;
mod review;
mod search;
mod season;
mod sets;
mod sighted;
mod specs;
mod supply;
mod watch;

use ask::Asked;
use desk::Desk;
use gauge::{Gauge, Stopped};

/// How long work goes on for a call without a deadline, as the contract states: then the best so
/// far is the answer.
const PATIENCE: Duration = Duration::from_secs(60);

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
            let end = call.deadline.map_or_else(|| Instant::now() + PATIENCE, |end| end.0);
            let deadline = Some(end);
            let gauge = Gauge::new(deadline, given_up, call.progress);
            // From here on whatever is known by then is an answer.
            gauge.go_on().map_err(stopped)?;
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
        let known = |view: &View, trips: &Vec<Asked>| known::look_up(view, trips);
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
        let work = move |desk: &Desk<'_>, trips: &[Asked]| {
            let outdated = match &rigged {
                Some(before) => review::review(desk, before)?,
                None => Some(Vec::new()),
            };
            let found = recover::plan(desk, trips, rigged.as_ref().map(|before| &before.plan))?;
            Ok((found, outdated))
        };
        let (found, request_label) = self.plan(asked, call, work).await?;
        let (found, outdated) = found.unzip();
        let is_reviewed = outdated != Some(None);
        let answer = match (before, found) {
            (Some(before), Some(found)) => {
                recover::against(model.parameters(), before.plan, found, &segments)
            }
            (_, Some(found)) => pb::CheckCoverageResponse {
                plan: Some(found.plan),
                left_pieces: found.left_pieces,
                abridged: found.abridged,
                ..pb::CheckCoverageResponse::default()
            },
            (_, None) => pb::CheckCoverageResponse::default(),
        };
        let outdated = outdated.flatten().unwrap_or_default();
        let abridged = answer.abridged || !is_reviewed;
        Ok(pb::CheckCoverageResponse { request_label, outdated, abridged, ..answer })
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
            known::look_up_season(view, &asked.season, places.collect())
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
            known::look_up_season(view, &asked.season, rods.collect())
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
        Box::pin(self.check(request.into_inner(), call)).await.map(Response::new)
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
                    Box::pin(service.check(asked, call)).await.map(Part::CheckCoverage)
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

fn stopped(why: Stopped) -> Status {
    match why {
        Stopped::Deadline => ServiceError::Deadline.into(),
        Stopped::Cancelled => reason::CANCELLED.status("the caller gave up", &[]),
    }
}
