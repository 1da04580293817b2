//! How far an outfit may be stretched, and which outfit would be right.

use deepbend_contract::{At, Faults, Reader, ToWire as _, limits, pb, specification};
use deepbend_core::judge;

use super::rank::{apart, candidates};
use super::{Common, Matching, common, overrides};
use crate::error::ServiceError;

/// Answers an envelope.
pub(super) async fn envelope(
    service: &Matching,
    request: pb::EnvelopeRequest,
) -> Result<pb::EnvelopeResponse, ServiceError> {
    let pb::EnvelopeRequest {
        outfit,
        lure,
        water,
        rod_id,
        reel_id,
        lure_id,
        overrides,
        validate_only,
        request_label,
    } = request;
    let mut faults = Faults::new();
    let mut reader = Reader::new(At::ROOT, &mut faults);
    let mut lookup = service.lookup();
    let outfit = lookup.outfit(&mut reader, outfit, rod_id, reel_id);
    let lure = lookup.lure(&mut reader, lure, lure_id);
    let Common { water, overrides, explanation: _, label } =
        common(&mut reader, water, overrides, 0, request_label);
    lookup.finish(faults)?;
    if validate_only {
        return Ok(pb::EnvelopeResponse { request_label: label, ..Default::default() });
    }
    let found = service.pool.run(move || {
        let model = overrides::model(&overrides)?;
        let found = judge::envelope(&model, &outfit.gear, &lure.gear, &water);
        Ok::<_, ServiceError>(found.to_wire())
    });
    Ok(pb::EnvelopeResponse { request_label: label, ..found.await?? })
}

/// Answers a specification.
pub(super) async fn specify(
    service: &Matching,
    request: pb::SpecifyRequest,
) -> Result<pb::SpecifyResponse, ServiceError> {
    let pb::SpecifyRequest { lures, water, overrides, validate_only, request_label } = request;
    let mut faults = Faults::new();
    let mut reader = Reader::new(At::ROOT, &mut faults);
    let mut lookup = service.lookup();
    let most = limits::SPECIFIED_LURES;
    let lures = candidates(&mut reader, "lures", lures, most, |reader, candidate| {
        lookup.lure_candidate(reader, candidate)
    });
    let Common { water, overrides, explanation: _, label } =
        common(&mut reader, water, overrides, 0, request_label);
    lookup.finish(faults)?;
    if validate_only {
        return Ok(pb::SpecifyResponse { request_label: label, ..Default::default() });
    }
    let (labels, lures) = apart(lures);
    let found = service.pool.run(move || {
        let model = overrides::model(&overrides)?;
        // There is a lure, or it would have been a fault.
        let found = judge::specify(&model, &lures, &water).ok_or(ServiceError::Internal)?;
        Ok::<_, ServiceError>(specification(&found, &labels))
    });
    Ok(pb::SpecifyResponse { request_label: label, ..found.await?? })
}
