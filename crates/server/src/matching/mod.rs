//! `MatchingService`: judging outfits against lures.
//!
//! 1. [`gear`]: what the request describes, laid over what it names in the inventory;
//! 2. [`overrides`]: the model, with the numbers that the request replaces;
//! 3. [`rank`], [`compare`], [`batch`], [`fitting`]: the answers that need more than one judgement.

use std::sync::Arc;

use deepbend_contract::pb::matching_service_server::MatchingService;
use deepbend_contract::{At, Faults, FromWire as _, Reader, judgement, limits, pb};
use deepbend_core::judge;
use deepbend_core::water::Water;
use deepbend_store::inventory::Inventory;
use prost::Message;
use tokio_stream::wrappers::ReceiverStream;
use tokio_util::sync::CancellationToken;
use tonic::{Request, Response, Status, Streaming};

use crate::compute::Pool;
use crate::error::ServiceError;
use crate::gate::{CallDeadline, CallPlace};

mod batch;
mod compare;
mod fitting;
pub(crate) mod gear;
mod model;
mod overrides;
mod rank;
mod read;

use gear::Lookup;

/// Answers `deepbend.v1.MatchingService`.
#[derive(Clone, Debug)]
pub(crate) struct Matching {
    pub(crate) inventory: Option<Arc<Inventory>>,
    pub(crate) pool: Pool,
    pub(crate) max_request_bytes: usize,
    pub(crate) max_response_bytes: usize,
    /// Cancelled when running streams must end.
    pub(crate) cut: CancellationToken,
}

/// What is common to the requests about one water.
struct Common {
    water: Water,
    overrides: overrides::Overrides,
    explanation: pb::Explanation,
    label: String,
}

/// Reads the parts that all requests share.
fn common(
    reader: &mut Reader<'_>,
    water: Option<pb::Water>,
    overrides: overrides::Overrides,
    explanation: i32,
    label: String,
) -> Common {
    let water = water.unwrap_or_default();
    let water = reader.within("water", |at, faults| Water::from_wire(water, at, faults));
    let overrides = reader.within("overrides", |at, faults| overrides::read(overrides, at, faults));
    let explanation = reader.choice("explanation", explanation, "Explanation");
    let label = reader.text("request_label", label, limits::LABEL_LENGTH);
    Common {
        water,
        overrides,
        explanation: explanation.unwrap_or_default(),
        label: label.unwrap_or_default(),
    }
}

impl Matching {
    fn lookup(&self) -> Lookup {
        Lookup::new(self.inventory.as_ref().map(|inventory| inventory.view()))
    }

    fn sized<M: Message>(&self, message: M) -> Result<Response<M>, Status> {
        if message.encoded_len() > self.max_response_bytes {
            let limit = self.max_response_bytes;
            return Err(ServiceError::TooLarge { what: "bytes of one answer", limit }.into());
        }
        Ok(Response::new(message))
    }

    async fn judge_one(
        &self,
        request: pb::JudgeRequest,
    ) -> Result<pb::JudgeResponse, ServiceError> {
        let pb::JudgeRequest {
            outfit,
            lure,
            water,
            rod_id,
            reel_id,
            lure_id,
            overrides,
            explanation,
            validate_only,
            request_label,
        } = request;
        let mut faults = Faults::new();
        let mut reader = Reader::new(At::ROOT, &mut faults);
        let mut lookup = self.lookup();
        let outfit = lookup.outfit(&mut reader, outfit, rod_id, reel_id);
        let lure = lookup.lure(&mut reader, lure, lure_id);
        let Common { water, overrides, explanation, label } =
            common(&mut reader, water, overrides, explanation, request_label);
        lookup.finish(faults)?;
        if validate_only {
            return Ok(pb::JudgeResponse { judgement: None, request_label: label });
        }
        let judged = self.pool.run(move || {
            let model = overrides::model(&overrides)?;
            let mut judged = judge::judge(&model, &outfit.gear, &lure.gear, &water);
            gear::caution_first(&mut judged, outfit.cautions.into_iter().chain(lure.cautions));
            Ok::<_, ServiceError>(judgement(&judged, explanation))
        });
        Ok(pb::JudgeResponse { judgement: Some(judged.await??), request_label: label })
    }
}

#[tonic::async_trait]
impl MatchingService for Matching {
    async fn judge(
        &self,
        request: Request<pb::JudgeRequest>,
    ) -> Result<Response<pb::JudgeResponse>, Status> {
        self.sized(self.judge_one(request.into_inner()).await?)
    }

    async fn rank(
        &self,
        request: Request<pb::RankRequest>,
    ) -> Result<Response<pb::RankResponse>, Status> {
        self.sized(rank::rank(self, request.into_inner()).await?)
    }

    async fn compare(
        &self,
        request: Request<pb::CompareRequest>,
    ) -> Result<Response<pb::CompareResponse>, Status> {
        self.sized(compare::compare(self, request.into_inner()).await?)
    }

    async fn envelope(
        &self,
        request: Request<pb::EnvelopeRequest>,
    ) -> Result<Response<pb::EnvelopeResponse>, Status> {
        self.sized(fitting::envelope(self, request.into_inner()).await?)
    }

    async fn specify(
        &self,
        request: Request<pb::SpecifyRequest>,
    ) -> Result<Response<pb::SpecifyResponse>, Status> {
        self.sized(fitting::specify(self, request.into_inner()).await?)
    }

    async fn read_gear(
        &self,
        request: Request<pb::ReadGearRequest>,
    ) -> Result<Response<pb::ReadGearResponse>, Status> {
        self.sized(read::read_gear(request.into_inner())?)
    }

    type JudgeBatchStream = ReceiverStream<Result<pb::JudgeBatchResponse, Status>>;

    async fn judge_batch(
        &self,
        mut request: Request<Streaming<pb::JudgeBatchRequest>>,
    ) -> Result<Response<Self::JudgeBatchStream>, Status> {
        let deadline = request.extensions_mut().remove::<CallDeadline>();
        let place = request.extensions_mut().remove::<CallPlace>();
        let rows = request.into_inner();
        Ok(Response::new(batch::start(self.clone(), rows, deadline, place)))
    }

    async fn get_model(
        &self,
        request: Request<pb::GetModelRequest>,
    ) -> Result<Response<pb::GetModelResponse>, Status> {
        let pb::GetModelRequest {} = request.into_inner();
        self.sized(model::get_model())
    }
}
