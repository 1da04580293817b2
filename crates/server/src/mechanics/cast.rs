//! A lure, flown.

use deepbend_contract::mechanics::CastParts;
use deepbend_contract::pb::FaultCode;
use deepbend_contract::{At, Faults, FromWire as _, Reader, ToWire, pb};
use deepbend_core::gear::{Lure, Outfit};
use deepbend_core::judge::{self, CautionCode};
use deepbend_core::mechanics::air::{SEA_LEVEL_K, SEA_LEVEL_PA, density_kg_m3};
use deepbend_core::mechanics::carry::{Carry, Throw, WindSide, farthest};
use deepbend_core::mechanics::domain::OutsideDomain;
use deepbend_core::mechanics::flight::{Cast, fly, path};
use deepbend_core::mechanics::payout::{self, PaidLine};
use deepbend_core::model::Model;
use deepbend_core::quantity::{Mass, Speed};
use deepbend_core::water::Water;

use super::{Mechanics, family, plain, point_count, read};
use crate::error::ServiceError;

/// Height of release where it is not given, m. From memory: the tip of a rod held overhead.
const USUAL_HEIGHT_M: f64 = 2.0;

/// Answers a flight.
pub(super) async fn trace(
    service: &Mechanics,
    request: pb::TraceCastRequest,
) -> Result<pb::TraceCastResponse, ServiceError> {
    let pb::TraceCastRequest { cast, outfit, lure, rod_id, reel_id, lure_id, point_count: points } =
        request;
    let mut faults = Faults::new();
    let mut reader = Reader::new(At::ROOT, &mut faults);
    let mut lookup = service.lookup();
    let by_outfit = outfit.is_some() || !rod_id.is_empty() || !reel_id.is_empty();
    let by_gear = by_outfit || lure.is_some() || !lure_id.is_empty();
    let gear = by_gear.then(|| {
        let outfit = lookup.outfit(&mut reader, outfit, rod_id, reel_id).gear;
        Gear { outfit, lure: lookup.lure(&mut reader, lure, lure_id).gear }
    });
    let cast = cast.unwrap_or_default();
    let needed = [
        ("speed_m_s", cast.speed_m_s, "the release speed, m/s, or an outfit and a lure"),
        ("mass_g", cast.mass_g, "the mass, g, or an outfit and a lure"),
        ("drag_area_cm2", cast.drag_area_cm2, "the drag area, cm^2, or an outfit and a lure"),
    ];
    let parts = reader.within("cast", |at, faults| {
        for (field, value, right) in needed {
            if !by_gear && value.is_none() {
                faults.push(FaultCode::Missing, at.field(field), "is missing", right);
            }
        }
        CastParts::from_wire(cast, at, faults)
    });
    let points = point_count(&mut reader, points);
    lookup.finish(faults)?;
    service.pool.run(move || answer(parts, gear, points)).await?
}

struct Gear {
    outfit: Outfit,
    lure: Lure,
}

/// Fills in what is not given, and notes it.
struct Filling {
    assumptions: Vec<pb::Assumption>,
}

impl Filling {
    fn or(&mut self, given: Option<f64>, field: &str, value: f64, unit: &str, why: &str) -> f64 {
        given.unwrap_or_else(|| {
            let text = format!("{value:.3} {unit}");
            self.assumptions.push(read::assumed(&format!("cast.{field}"), text, why));
            value
        })
    }
}

fn answer(
    parts: CastParts,
    gear: Option<Gear>,
    points: usize,
) -> Result<pb::TraceCastResponse, ServiceError> {
    let mut response = pb::TraceCastResponse::default();
    let mut filling = Filling { assumptions: Vec::new() };
    // Without gear all three are given.
    let mut mass_kg = parts.mass_kg.unwrap_or_default();
    let mut speed_m_s = parts.speed_m_s.unwrap_or_default();
    let mut drag_area_m2 = parts.drag_area_m2.unwrap_or_default();
    let mut paid = None;
    if let Some(Gear { outfit, lure }) = gear {
        let family = family()?;
        let of_rod = |error| read::no_release(error, At::ROOT.field("outfit").field("rod"));
        let rod = read::rod(family, &outfit.rod, None).map_err(|error| of_rod(error.into()))?;
        response.inferred = Some(read::inferred(family, &rod.label).map_err(of_rod)?);
        let given = lure;
        let lure = read::lure(&given);
        mass_kg = parts.mass_kg.unwrap_or(lure.mass_kg);
        let left = read::release(family, &rod, &lure, mass_kg)
            .map_err(|error| read::no_release(error, At::ROOT.field("cast")))?;
        filling.assumptions.extend(rod.assumptions);
        filling.assumptions.extend(lure.assumptions);
        let why = "an ordinary angler with this rod and mass; no measured release speed is known";
        speed_m_s = filling.or(parts.speed_m_s, "speed_m_s", left.launch.speed_m_s, "m/s", why);
        let why = format!(
            "usual for how it flies ({:.2} cm^2/g), with a chance of {:.2} that it tumbles",
            left.bulk_cm2_per_g, left.launch.tumbling_chance
        );
        drag_area_m2 = match parts.drag_area_m2 {
            Some(given) => given,
            None => filling.or(None, "drag_area_cm2", left.drag_area_m2 * 1e4, "cm^2", &why) * 1e-4,
        };
        // A line beyond the limits has no carries, as any other cast outside them.
        if let Ok((line, assumptions)) = read::line(&outfit) {
            filling.assumptions.extend(assumptions);
            paid = Some(line);
        }
        response.cautions = of_the_cast(&outfit, &given, &parts);
        response.launch = Some(left.launch);
        response.model = Some(read::model_id());
    }
    let standard = density_kg_m3(SEA_LEVEL_PA, SEA_LEVEL_K);
    let mut cast = Cast {
        speed_m_s,
        angle_rad: parts.angle_rad.unwrap_or_default(),
        height_m: filling.or(parts.height_m, "height_m", USUAL_HEIGHT_M, "m", "usual"),
        mass_kg,
        drag_area_m2,
        wind_along_m_s: filling.or(parts.wind_along_m_s, "wind_along_m_s", 0.0, "m/s", "no wind"),
        wind_across_m_s: filling.or(
            parts.wind_across_m_s,
            "wind_across_m_s",
            0.0,
            "m/s",
            "no wind",
        ),
        air_density_kg_m3: filling.or(
            parts.air_density_kg_m3,
            "air_density_kg_m3",
            standard,
            "kg/m^3",
            "ISO 2533, sea level",
        ),
    };
    let wrong = |error| read::outside(error, At::ROOT.field("cast"));
    let throw = Throw {
        speed_m_s,
        height_m: cast.height_m,
        mass_kg,
        drag_area_m2,
        air_density_kg_m3: cast.air_density_kg_m3,
    };
    if parts.angle_rad.is_none() {
        let best = farthest(&throw, cast.wind_along_m_s, cast.wind_across_m_s).map_err(wrong)?;
        let degrees = best.angle_rad.to_degrees();
        filling.or(None, "angle_deg", degrees, "degrees", "carries farthest");
        cast.angle_rad = best.angle_rad;
    }
    let landing = fly(&cast).map_err(wrong)?;
    let points = path(&cast, points).map_err(wrong)?;
    if response.launch.is_some() {
        let wind_m_s = cast.wind_along_m_s.hypot(cast.wind_across_m_s);
        response.carries = carries(&throw, wind_m_s, paid.as_ref());
    }
    Ok(pb::TraceCastResponse {
        range_m: plain(landing.range_m),
        drift_m: plain(landing.drift_m),
        time_s: plain(landing.time_s),
        impact_speed_m_s: plain(landing.impact_speed_m_s),
        points: points.iter().map(|point| point.to_wire()).collect(),
        cast: (!filling.assumptions.is_empty()).then(|| cast.to_wire()),
        assumptions: filling.assumptions,
        ..response
    })
}

/// The farthest casts in still air and about a wind; none where the wind is outside the limits.
fn carries(throw: &Throw, wind_m_s: f64, line: Option<&PaidLine>) -> Vec<pb::WindCarry> {
    let sides = WindSide::ALL.map(|side| {
        let direction = match side {
            WindSide::Into => pb::WindDirection::Into,
            WindSide::Across => pb::WindDirection::Across,
            WindSide::Down => pb::WindDirection::Down,
        };
        (direction, side.wind(wind_m_s))
    });
    let sides = sides.into_iter().filter(|_| wind_m_s > 0.0);
    let winds = std::iter::once((pb::WindDirection::Calm, (0.0, 0.0))).chain(sides);
    let carry = |(direction, (along, across)): (pb::WindDirection, (f64, f64))| {
        let without_line = farthest(throw, along, across)?;
        let with_line = line.and_then(|line| payout::farthest(throw, line, along, across).ok());
        Ok::<_, OutsideDomain>(pb::WindCarry {
            wind_direction: direction.into(),
            without_line: Some(sent(without_line)),
            with_line: with_line.map(sent),
        })
    };
    winds.map(carry).collect::<Result<_, _>>().unwrap_or_default()
}

fn sent(carry: Carry) -> pb::Carry {
    Carry { range_m: plain(carry.range_m), drift_m: plain(carry.drift_m), ..carry }.to_wire()
}

/// What can hurt people when this lure is cast in this wind.
fn of_the_cast(outfit: &Outfit, lure: &Lure, parts: &CastParts) -> Vec<pb::Caution> {
    let [along, across] =
        [parts.wind_along_m_s, parts.wind_across_m_s].map(Option::unwrap_or_default);
    let water =
        Water { wind_speed: Some(Speed::from_m_s(along.hypot(across))), ..Water::default() };
    let lure =
        Lure { rigged_mass: parts.mass_kg.map(Mass::from_kg).or(lure.rigged_mass), ..lure.clone() };
    let all = judge::cautions(Model::builtin(), outfit, &lure, &water);
    let of_the_cast = |code| {
        use CautionCode::{CastOverload, Hooks, SnapOff, StrongWind};
        matches!(code, CastOverload | Hooks | SnapOff | StrongWind)
    };
    all.iter().filter(|caution| of_the_cast(caution.code)).map(ToWire::to_wire).collect()
}
