//! A blank, measured.

use deepbend_contract::pb::FaultCode;
use deepbend_contract::{At, Faults, Reader, limits, mechanics, pb};
use deepbend_core::gear::Rod;
use deepbend_core::mechanics::infer::along;
use deepbend_core::mechanics::infer::measured::{Measurement, from_measurement};

use super::{Mechanics, family, read};
use crate::error::ServiceError;

/// Answers a measurement.
pub(super) async fn measure(
    service: &Mechanics,
    request: pb::MeasureBlankRequest,
) -> Result<pb::MeasureBlankResponse, ServiceError> {
    let pb::MeasureBlankRequest {
        length_m,
        third_drop_load_n: load,
        third_drop_tip_angle_deg: angle,
        depth,
        shape,
        rod,
        rod_id,
    } = request;
    let mut faults = Faults::new();
    let mut reader = Reader::new(At::ROOT, &mut faults);
    let mut lookup = service.lookup();
    let by_rod = rod.is_some() || !rod_id.is_empty();
    let rod = by_rod.then(|| lookup.rod(&mut reader, rod, rod_id));
    let length_m = length_m.or_else(|| Some(rod.as_ref()?.length?.m()));
    let length_m = reader.required("length_m", length_m, "the length that bends, m");
    let length_m = reader.number("length_m", length_m, limits::MEASURED_LENGTH_M);
    if load.is_none() && angle.is_none() && depth.is_none() && shape.is_none() {
        let right = "a measurement: this one, the tip angle with it, a bend depth, or a shape";
        reader.fault("third_drop_load_n", FaultCode::Missing, "is missing", right);
    }
    let measured = mechanics::measurement(&mut reader, load, angle, depth, shape);
    lookup.finish(faults)?;
    // A length that is missing or wrong was noted above.
    let length_m = length_m.ok_or(ServiceError::Internal)?;
    service.pool.run(move || answer(length_m, &measured, rod.as_ref())).await?
}

fn answer(
    length_m: f64,
    measured: &Measurement,
    rod: Option<&Rod>,
) -> Result<pb::MeasureBlankResponse, ServiceError> {
    let family = family()?;
    let rod = rod.map(|rod| read::rod(family, rod, Some(length_m))).transpose();
    let rod = rod.map_err(|error| read::outside(error, At::ROOT.field("rod")))?;
    let label = rod.as_ref().map(|rod| &rod.label);
    let found = from_measurement(family, length_m, measured, label).map_err(|error| {
        let mut faults = Faults::new();
        if mechanics::no_measurement(error, At::ROOT, &mut faults) {
            return faults.into();
        }
        tracing::error!(%error, "a blank was not found");
        ServiceError::Internal
    })?;
    let wrong = |error| read::outside(error, At::ROOT);
    let spreads = along::of_measured(&found).map_err(wrong)?;
    let blank = read::solved(&found.blank).map_err(|error| read::no_bend(error, At::ROOT))?;
    Ok(pb::MeasureBlankResponse {
        inferred: Some(pb::InferredBlank {
            blank: Some(mechanics::blank_to_wire(&blank, &spreads)),
            third_drop_load_n: found.third_drop_load_n,
            third_drop_load_spread: found.load_spread,
            bend_depth: found.depth,
            bend_depth_spread: found.depth_spread,
            misfit: Some(found.misfit),
        }),
        model: rod.as_ref().map(|_| read::model_id()),
        assumptions: rod.map(|rod| rod.assumptions).unwrap_or_default(),
    })
}
