//! Trips: which outfits to assemble from what is really there.
//!
//! A call goes through these in order:
//!
//! 1. `request`: the request is read with all its faults;
//! 2. `pool`: rods, reels, lines, leaders and lures of the places that it names;
//! 3. `offers`: every outfit that can be put together is judged for every need;
//! 4. `search`: the planner chooses, within a budget of work and the deadline, and the checker
//!    looks the plan over;
//! 5. `answer`, with `cards`, `cure` and `buy`: the plan is written with settings, cautions and cures.

use std::sync::Arc;

use deepbend_contract::pb;
use deepbend_contract::pb::trip_service_server::TripService;
use deepbend_contract::{ToWire as _, reason};
use deepbend_core::model::Model;
use deepbend_ledger::view::View;
use deepbend_planner::Weights;
use deepbend_store::inventory::Inventory;
use tokio::time::Instant;
use tokio_util::sync::CancellationToken;
use tonic::{Request, Response, Status};

mod answer;
mod buy;
mod cards;
mod cure;
mod deadline;
mod offers;
mod pool;
mod request;
mod search;

use offers::Judge;
use pool::Pool;
use request::Asked;
use search::NoAnswer;

/// Why work ended early.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Stopped {
    /// The deadline passed.
    Deadline,
    /// The caller gave up.
    Cancelled,
}

/// Answers `deepbend.v1.TripService`.
#[derive(Clone, Debug)]
pub struct TripServiceImpl {
    inventory: Option<Arc<Inventory>>,
}

impl TripServiceImpl {
    /// A service over an inventory; without one every call is answered `NO_INVENTORY`.
    #[must_use]
    pub fn new(inventory: Option<Arc<Inventory>>) -> Self {
        Self { inventory }
    }
}

#[tonic::async_trait]
impl TripService for TripServiceImpl {
    async fn plan_trip(
        &self,
        request: Request<pb::PlanTripRequest>,
    ) -> Result<Response<pb::PlanTripResponse>, Status> {
        let deadline = deadline::of(request.metadata());
        let asked = request::read(request.into_inner())?;
        let model = model(&asked)?;
        let inventory = self.inventory.as_ref().ok_or_else(|| {
            reason::NO_INVENTORY.status("this service runs without an inventory", &[])
        })?;
        let view = inventory.view();
        look_up(&view, &asked)?;
        if asked.validate_only {
            return Ok(Response::new(pb::PlanTripResponse {
                plan: None,
                request_label: asked.label,
            }));
        }
        // Dropped with this call: then the work below ends at its next look.
        let given_up = CancellationToken::new();
        let _guard = given_up.clone().drop_guard();
        let work =
            tokio::task::spawn_blocking(move || plan(&asked, &view, &model, deadline, &given_up));
        let done = match deadline {
            Some(deadline) => tokio::time::timeout_at(deadline, work).await.map_err(|_| late())?,
            None => work.await,
        };
        let response = done.map_err(|error| {
            tracing::error!(%error, "the planning of a trip ended in a panic");
            internal()
        })??;
        Ok(Response::new(response))
    }
}

/// The model with the numbers that the request replaces.
fn model(asked: &Asked) -> Result<Arc<Model>, Status> {
    use deepbend_contract::{At, Faults};
    Model::builtin().with_overrides(&asked.overrides).map(Arc::new).map_err(|faults| {
        let mut all = Faults::new();
        let at = At::ROOT.field("overrides");
        for fault in faults {
            let right = "a key and a value within the range that GetModel states";
            all.push(pb::FaultCode::UnknownValue, at.key(&fault.key), fault.text, right);
        }
        Status::from(all)
    })
}

/// Everything that is named must be in the inventory.
fn look_up(view: &View, asked: &Asked) -> Result<(), Status> {
    use deepbend_contract::{At, Faults};
    let missing = pool::missing(view, asked);
    if let Some(first) = missing.first() {
        let all: Vec<_> = missing.iter().map(|m| format!("{} {}", m.kind, m.id)).collect();
        let text = format!("not in the inventory: {}", all.join(", "));
        return Err(reason::ITEM_NOT_FOUND.status(text, &[("kind", first.kind), ("id", &first.id)]));
    }
    if !pool::goes_out(view, &asked.boat) {
        let mut faults = Faults::new();
        let trip = At::ROOT.field("trip");
        let wrong = format!("is {}, a place ashore", asked.boat);
        let right = "the inventory id of a boat with rod holders";
        faults.push(pb::FaultCode::Conflict, trip.field("boat_id"), wrong, right);
        return Err(faults.into());
    }
    Ok(())
}

/// Plans, on a thread that may block.
fn plan(
    asked: &Asked,
    view: &View,
    model: &Model,
    deadline: Option<Instant>,
    given_up: &CancellationToken,
) -> Result<pb::PlanTripResponse, Status> {
    let stop = || {
        if given_up.is_cancelled() {
            Some(Stopped::Cancelled)
        } else {
            let late = deadline.is_some_and(|deadline| Instant::now() >= deadline);
            late.then_some(Stopped::Deadline)
        }
    };
    let weights = Weights::default();
    let pool = Pool::gather(view, asked);
    let cases = offers::cases(asked, &pool);
    let judge = Judge { model, weights: &weights, asked, pool: &pool, cases: &cases };
    let mut problem = pool.problem(asked);
    problem.candidates = judge.candidates(&stop).map_err(stopped)?;
    let until = deadline.map(deadline::for_search);
    let found = search::search(&problem, &weights, asked.nodes, until, &stop);
    let found = found.map_err(|none| match none {
        NoAnswer::Stopped(why) => stopped(why),
        NoAnswer::Faults(faults) => {
            tracing::error!(%faults, "a good request became a bad problem");
            internal()
        }
        NoAnswer::Violations(violations) => {
            tracing::error!(?violations, "a plan breaks the rules");
            internal()
        }
    })?;
    let writer = answer::Writer { judge: &judge, problem: &problem, view };
    let mut plan = writer.write(found, &stop).map_err(stopped)?;
    plan.model = Some(model.id().to_wire());
    Ok(pb::PlanTripResponse { plan: Some(plan), request_label: asked.label.clone() })
}

fn stopped(why: Stopped) -> Status {
    match why {
        Stopped::Deadline => late(),
        Stopped::Cancelled => reason::CANCELLED.status("the caller gave up", &[]),
    }
}

fn late() -> Status {
    reason::DEADLINE_EXCEEDED.status("the deadline passed before the trip was planned", &[])
}

fn internal() -> Status {
    reason::INTERNAL.status("a defect of the service; its log has more", &[])
}
