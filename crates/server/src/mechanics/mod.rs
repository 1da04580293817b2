//! `MechanicsService`: bends and casts as points, blanks from a bench test.
//!
//! 1. [`read`]: the blank and the launch that gear promises, with what was assumed;
//! 2. [`bend`], [`cast`], [`measure`]: one method each.

use std::sync::{Arc, OnceLock};

use deepbend_contract::pb::mechanics_service_server::MechanicsService;
use deepbend_contract::{Reader, limits, pb};
use deepbend_core::mechanics::infer::family::BlankFamily;
use deepbend_store::inventory::Inventory;
use tonic::{Request, Response, Status};

use crate::compute::Pool;
use crate::error::ServiceError;
use crate::matching::gear::Lookup;

mod bend;
mod cast;
mod measure;
mod read;

/// Answers `deepbend.v1.MechanicsService`.
#[derive(Clone, Debug)]
pub(crate) struct Mechanics {
    pub(crate) inventory: Option<Arc<Inventory>>,
    pub(crate) pool: Pool,
}

impl Mechanics {
    fn lookup(&self) -> Lookup {
        Lookup::new(self.inventory.as_ref().map(|inventory| inventory.view()))
    }
}

/// The family of blanks, solved at the first call that needs it. For the pool only.
fn family() -> Result<&'static BlankFamily, ServiceError> {
    static FAMILY: OnceLock<Option<BlankFamily>> = OnceLock::new();
    FAMILY.get_or_init(|| BlankFamily::new().ok()).as_ref().ok_or(ServiceError::Internal)
}

/// The number of points that are asked for.
fn point_count(reader: &mut Reader<'_>, wire: Option<i32>) -> usize {
    let count = reader.count("point_count", wire, limits::POINTS);
    count.and_then(|count| usize::try_from(count).ok()).unwrap_or(limits::POINTS_DEFAULT)
}

/// Writes a result: minus zero is zero.
fn plain(value: f64) -> f64 {
    value + 0.0
}

#[tonic::async_trait]
impl MechanicsService for Mechanics {
    async fn trace_bend(
        &self,
        request: Request<pb::TraceBendRequest>,
    ) -> Result<Response<pb::TraceBendResponse>, Status> {
        Ok(Response::new(bend::trace(self, request.into_inner()).await?))
    }

    async fn trace_cast(
        &self,
        request: Request<pb::TraceCastRequest>,
    ) -> Result<Response<pb::TraceCastResponse>, Status> {
        Ok(Response::new(cast::trace(self, request.into_inner()).await?))
    }

    async fn measure_blank(
        &self,
        request: Request<pb::MeasureBlankRequest>,
    ) -> Result<Response<pb::MeasureBlankResponse>, Status> {
        Ok(Response::new(measure::measure(self, request.into_inner()).await?))
    }
}
