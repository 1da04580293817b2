//! A blank, bent.

use deepbend_contract::pb::FaultCode;
use deepbend_contract::{At, Faults, Reader, ToWire as _, limits, mechanics, pb};
use deepbend_core::gear::Rod;
use deepbend_core::mechanics::blank::{Blank, bend, bend_depth, shape};

use super::{Mechanics, family, plain, point_count, read};
use crate::error::ServiceError;

/// What is bent.
enum Bent {
    Blank(Blank),
    Rod(Box<Rod>),
}

/// Answers a bend.
pub(super) async fn trace(
    service: &Mechanics,
    request: pb::TraceBendRequest,
) -> Result<pb::TraceBendResponse, ServiceError> {
    let pb::TraceBendRequest { blank, rod, rod_id, load_n, angle_deg, point_count: points } =
        request;
    let mut faults = Faults::new();
    let mut reader = Reader::new(At::ROOT, &mut faults);
    let mut lookup = service.lookup();
    let by_rod = rod.is_some() || !rod_id.is_empty();
    let bent = match (blank, by_rod) {
        (Some(_), true) => {
            let right = "a blank, or a rod";
            reader.fault("blank", FaultCode::Conflict, "stands beside a rod", right);
            None
        }
        (Some(wire), false) => {
            reader.within("blank", |at, faults| mechanics::blank(wire, at, faults)).map(Bent::Blank)
        }
        (None, true) => Some(Bent::Rod(Box::new(lookup.rod(&mut reader, rod, rod_id)))),
        (None, false) => {
            let right = "a blank with its stations, a rod, or an inventory id in rod_id";
            reader.required("blank", None, right)
        }
    };
    let load_n = reader.required("load_n", load_n, "the load at the tip, N");
    let load_n = reader.number("load_n", load_n, limits::BEND_LOAD_N).unwrap_or_default();
    let angle = reader.number("angle_deg", angle_deg, limits::BEND_ANGLE_DEG).unwrap_or(90.0);
    let points = point_count(&mut reader, points);
    lookup.finish(faults)?;
    // What is wrong with the blank was noted above.
    let bent = bent.ok_or(ServiceError::Internal)?;
    service.pool.run(move || answer(bent, load_n, angle.to_radians(), points)).await?
}

fn answer(
    bent: Bent,
    load_n: f64,
    angle_rad: f64,
    points: usize,
) -> Result<pb::TraceBendResponse, ServiceError> {
    let mut response = pb::TraceBendResponse::default();
    let blank = match bent {
        Bent::Blank(blank) => blank,
        Bent::Rod(rod) => {
            let wrong = |error| read::no_release(error, At::ROOT.field("rod"));
            let family = family()?;
            let rod = read::rod(family, &rod, None).map_err(|error| wrong(error.into()))?;
            response.inferred = Some(read::inferred(family, &rod.label).map_err(wrong)?);
            response.assumptions = rod.assumptions;
            response.model = Some(read::model_id());
            read::solved(&rod.label.blank).map_err(|error| wrong(error.into()))?
        }
    };
    let wrong = |error| read::no_bend(error, At::ROOT);
    let bent = bend(&blank, load_n, angle_rad).map_err(wrong)?;
    let curve = shape(&blank, load_n, angle_rad, points).map_err(wrong)?;
    Ok(pb::TraceBendResponse {
        tip_deflection_m: plain(bent.tip_deflection_m),
        tip_shortening_m: plain(bent.tip_shortening_m),
        tip_angle_rad: plain(bent.tip_angle_rad),
        root_moment_n_m: plain(bent.root_moment_n_m),
        stiffness_n_per_m: bent.stiffness_n_per_m,
        points: curve.iter().map(|point| point.to_wire()).collect(),
        bend_depth: bend_depth(&blank).ok(),
        ..response
    })
}
