//! Blanks, bends, casts, measurements; and the faults that laws find in them.
//!
//! Angles go over the wire in degrees where people set them and in radians where they are answered;
//! masses in grams, drag areas in cm².

use deepbend_core::mechanics::blank::{BendError, BendPoint, Blank, BlankError};
use deepbend_core::mechanics::carry::Carry;
use deepbend_core::mechanics::domain::OutsideDomain;
use deepbend_core::mechanics::flight::{Cast, FlightPoint};
use deepbend_core::mechanics::infer::along::SHAPE_SPREAD;
use deepbend_core::mechanics::infer::measured::{
    DepthSeen, Measurement, MeasurementError, PointsSeen,
};

use crate::convert::{FromWire, ToWire};
use crate::fault::{At, Faults};
use crate::limits;
use crate::pb::{self, FaultCode};
use crate::reader::Reader;

/// Square centimetres of a square metre.
const CM2_PER_M2: f64 = 1e4;

/// Reads a blank at `at`; `None` if anything is wrong with it, and then that is noted.
pub fn blank(wire: pb::Blank, at: At<'_>, faults: &mut Faults) -> Option<Blank> {
    let pb::Blank { length_m, stations } = wire;
    let mut reader = Reader::new(at, faults);
    let length = reader.required("length_m", length_m, "the length of the blank, m");
    let length = reader.number("length_m", length, limits::BLANK_LENGTH_M);
    let count = stations.len();
    if count < 2 {
        let right =
            format!("2 to {}, the first at the butt, the last at the tip", limits::STATIONS);
        reader.fault("stations", FaultCode::Missing, format!("has {count} entries"), right);
    }
    if !reader.fits("stations", count, limits::STATIONS) {
        return None;
    }
    // Whole first, then sorted: a station with a fault must not hide those after it.
    let stations: Vec<_> = reader.within("stations", |list, faults| {
        let stations = stations.into_iter().enumerate();
        stations.map(|(index, wire)| station(wire, list.index(index), faults)).collect()
    });
    let stations: Option<Vec<_>> = stations.into_iter().collect();
    match Blank::new(length?, stations.filter(|_| count >= 2)?) {
        Ok(blank) => Some(blank),
        Err(error) => {
            no_blank(error, at, count, faults);
            None
        }
    }
}

fn station(wire: pb::BlankStation, at: At<'_>, faults: &mut Faults) -> Option<(f64, f64)> {
    let pb::BlankStation { s_m, ei_n_m2, ei_spread: _ } = wire;
    let mut reader = Reader::new(at, faults);
    let s_m = reader.required("s_m", s_m, "a length along the blank, m");
    let place = limits::Bounds { low: 0.0, ..limits::BLANK_LENGTH_M };
    let s_m = reader.number("s_m", s_m, place);
    let ei_n_m2 = reader.required("ei_n_m2", ei_n_m2, "the stiffness there, N m^2");
    let ei_n_m2 = reader.number("ei_n_m2", ei_n_m2, limits::STIFFNESS_N_M2);
    Some((s_m?, ei_n_m2?))
}

/// Notes why stations are no blank; each field has its own fault.
fn no_blank(error: BlankError, at: At<'_>, count: usize, faults: &mut Faults) {
    let stations = at.field("stations");
    match error {
        BlankError::Length(length_m) => {
            let code = FaultCode::TooSmall;
            faults.push(code, at.field("length_m"), format!("is {length_m} m"), "a length, m");
        }
        BlankError::TooFew(count) => {
            faults.push(FaultCode::Missing, stations, format!("has {count} entries"), "2 or more");
        }
        BlankError::NotRising { index, s_m } => {
            let at = stations.index(index);
            let right = "beyond the station before it";
            faults.push(FaultCode::Conflict, at.field("s_m"), format!("is {s_m} m"), right);
        }
        BlankError::NotAtButt(s_m) => {
            let at = stations.index(0);
            faults.push(FaultCode::Conflict, at.field("s_m"), format!("is {s_m} m"), "0, the butt");
        }
        BlankError::NotAtTip { s_m, length_m } => {
            let at = stations.index(count.saturating_sub(1));
            let right = format!("length_m, {length_m} m: the last station is the tip");
            faults.push(FaultCode::Conflict, at.field("s_m"), format!("is {s_m} m"), right);
        }
        BlankError::Stiffness { index, ei_n_m2 } => {
            let at = stations.index(index);
            let wrong = format!("is {ei_n_m2} N m^2");
            let right = "a positive stiffness, N m^2";
            faults.push(FaultCode::TooSmall, at.field("ei_n_m2"), wrong, right);
        }
        BlankError::Ratio(ratio) => {
            let wrong = format!("have a stiffest that is {ratio:.1} times the softest");
            faults.push(FaultCode::Conflict, stations, wrong, "at most 1000 times");
        }
    }
}

/// Writes a blank; `spreads` has one share for each station where it is inferred, within the family;
/// the spread of other tapers is added.
#[must_use]
pub fn blank_to_wire(blank: &Blank, spreads: &[f64]) -> pb::Blank {
    let stations = blank.stations().iter().enumerate();
    let station = |(index, &(s_m, ei_n_m2)): (usize, &(f64, f64))| pb::BlankStation {
        s_m: Some(s_m),
        ei_n_m2: Some(ei_n_m2),
        ei_spread: spreads.get(index).map(|own| (own * own + SHAPE_SPREAD * SHAPE_SPREAD).sqrt()),
    };
    pb::Blank { length_m: Some(blank.length_m()), stations: stations.map(station).collect() }
}

/// What a request says of a cast; what is left out is for the service to assume.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct CastParts {
    /// Release speed, m/s.
    pub speed_m_s: Option<f64>,
    /// Angle above the level, rad.
    pub angle_rad: Option<f64>,
    /// Height of release, m.
    pub height_m: Option<f64>,
    /// Mass, kg.
    pub mass_kg: Option<f64>,
    /// Drag area, m².
    pub drag_area_m2: Option<f64>,
    /// Wind along the throw, m/s.
    pub wind_along_m_s: Option<f64>,
    /// Wind across the throw, m/s.
    pub wind_across_m_s: Option<f64>,
    /// Density of the air, kg/m³.
    pub air_density_kg_m3: Option<f64>,
}

impl FromWire for CastParts {
    type Wire = pb::Cast;

    fn from_wire(wire: pb::Cast, at: At<'_>, faults: &mut Faults) -> Self {
        let pb::Cast {
            speed_m_s,
            angle_deg,
            height_m,
            mass_g,
            drag_area_cm2,
            wind_along_m_s,
            wind_across_m_s,
            air_density_kg_m3,
        } = wire;
        let mut r = Reader::new(at, faults);
        Self {
            speed_m_s: r.number("speed_m_s", speed_m_s, limits::CAST_SPEED_M_S),
            angle_rad: r
                .number("angle_deg", angle_deg, limits::CAST_ANGLE_DEG)
                .map(f64::to_radians),
            height_m: r.number("height_m", height_m, limits::CAST_HEIGHT_M),
            mass_kg: r.number("mass_g", mass_g, limits::CAST_MASS_G).map(|g| g / 1e3),
            drag_area_m2: r
                .number("drag_area_cm2", drag_area_cm2, limits::DRAG_AREA_CM2)
                .map(|area| area / CM2_PER_M2),
            wind_along_m_s: r.number("wind_along_m_s", wind_along_m_s, limits::CAST_WIND_M_S),
            wind_across_m_s: r.number("wind_across_m_s", wind_across_m_s, limits::CAST_WIND_M_S),
            air_density_kg_m3: r.number(
                "air_density_kg_m3",
                air_density_kg_m3,
                limits::AIR_DENSITY_KG_M3,
            ),
        }
    }
}

impl ToWire for Cast {
    type Wire = pb::Cast;

    fn to_wire(&self) -> pb::Cast {
        let Self {
            speed_m_s,
            angle_rad,
            height_m,
            mass_kg,
            drag_area_m2,
            wind_along_m_s,
            wind_across_m_s,
            air_density_kg_m3,
        } = *self;
        pb::Cast {
            speed_m_s: Some(speed_m_s),
            angle_deg: Some(angle_rad.to_degrees()),
            height_m: Some(height_m),
            mass_g: Some(mass_kg * 1e3),
            drag_area_cm2: Some(drag_area_m2 * CM2_PER_M2),
            wind_along_m_s: Some(wind_along_m_s),
            wind_across_m_s: Some(wind_across_m_s),
            air_density_kg_m3: Some(air_density_kg_m3),
        }
    }
}

impl ToWire for BendPoint {
    type Wire = pb::BendPoint;

    fn to_wire(&self) -> pb::BendPoint {
        let Self { s_m, x_m, y_m, angle_rad, moment_n_m } = *self;
        pb::BendPoint { s_m, x_m, y_m, angle_rad, moment_n_m }
    }
}

impl ToWire for Carry {
    type Wire = pb::Carry;

    fn to_wire(&self) -> pb::Carry {
        let Self { range_m, drift_m, time_s, angle_rad } = *self;
        pb::Carry { range_m, drift_m, time_s, angle_deg: angle_rad.to_degrees() }
    }
}

impl ToWire for FlightPoint {
    type Wire = pb::FlightPoint;

    fn to_wire(&self) -> pb::FlightPoint {
        let Self { time_s, along_m, across_m, height_m, speed_m_s } = *self;
        pb::FlightPoint { t_s: time_s, along_m, across_m, height_m, speed_m_s }
    }
}

/// Reads the measurements of a request, which stand in the message itself.
pub fn measurement(
    reader: &mut Reader<'_>,
    third_drop_load_n: Option<f64>,
    third_drop_tip_angle_deg: Option<f64>,
    depth: Option<pb::SeenDepth>,
    shape: Option<pb::SeenShape>,
) -> Measurement {
    let load = limits::MEASURED_LOAD_N;
    Measurement {
        third_drop_load_n: reader.number("third_drop_load_n", third_drop_load_n, load),
        third_drop_tip_angle_rad: reader
            .number(
                "third_drop_tip_angle_deg",
                third_drop_tip_angle_deg,
                limits::THIRD_DROP_ANGLE_DEG,
            )
            .map(f64::to_radians),
        depth: depth
            .and_then(|wire| reader.within("depth", |at, faults| seen_depth(wire, at, faults))),
        points: shape
            .and_then(|wire| reader.within("shape", |at, faults| seen_shape(wire, at, faults))),
    }
}

fn seen_depth(wire: pb::SeenDepth, at: At<'_>, faults: &mut Faults) -> Option<DepthSeen> {
    let pb::SeenDepth { bend_depth, load_n } = wire;
    let mut reader = Reader::new(at, faults);
    let depth = reader.required("bend_depth", bend_depth, "the share of the blank that bends");
    let depth = reader.number("bend_depth", depth, limits::SEEN_DEPTH);
    let load_n = reader.required("load_n", load_n, "the load at which it was seen, N");
    let load_n = reader.number("load_n", load_n, limits::MEASURED_LOAD_N);
    Some(DepthSeen { depth: depth?, load_n: load_n? })
}

fn seen_shape(wire: pb::SeenShape, at: At<'_>, faults: &mut Faults) -> Option<PointsSeen> {
    let pb::SeenShape { load_n, angle_deg, points } = wire;
    let mut reader = Reader::new(at, faults);
    let load_n = reader.required("load_n", load_n, "the load at the tip, N");
    let load_n = reader.number("load_n", load_n, limits::MEASURED_LOAD_N);
    let angle = reader.number("angle_deg", angle_deg, limits::BEND_ANGLE_DEG);
    if points.is_empty() {
        let right = format!("1 to {} points", limits::SEEN_POINTS);
        reader.fault("points", FaultCode::Missing, "is empty", right);
    }
    if !reader.fits("points", points.len(), limits::SEEN_POINTS) {
        return None;
    }
    let points: Vec<_> = reader.within("points", |list, faults| {
        let points = points.into_iter().enumerate();
        points.map(|(index, wire)| seen_point(wire, list.index(index), faults)).collect()
    });
    let points_m: Option<Vec<_>> = points.into_iter().collect();
    let angle_rad = angle.unwrap_or(90.0).to_radians();
    Some(PointsSeen { load_n: load_n?, angle_rad, points_m: points_m? })
}

fn seen_point(wire: pb::SeenPoint, at: At<'_>, faults: &mut Faults) -> Option<(f64, f64)> {
    let pb::SeenPoint { x_m, y_m } = wire;
    let mut reader = Reader::new(at, faults);
    let x_m = reader.required("x_m", x_m, "a length along the unbent axis, m");
    let x_m = reader.number("x_m", x_m, limits::SEEN_POINT_M);
    let y_m = reader.required("y_m", y_m, "a length across the unbent axis, m");
    let y_m = reader.number("y_m", y_m, limits::SEEN_POINT_M);
    Some((x_m?, y_m?))
}

/// Notes why a bend cannot be told. Says whether it was the caller's fault: it is not where no
/// solution was found.
#[must_use]
pub fn no_bend(error: BendError, at: At<'_>, faults: &mut Faults) -> bool {
    let load = at.field("load_n");
    match error {
        BendError::Load(value) => {
            faults.push(FaultCode::TooSmall, load, format!("is {value} N"), "0 N or more");
        }
        BendError::LoadTooGreat(ratio) => {
            let wrong = format!("makes P L^2/EI(butt) {ratio:.2}");
            faults.push(FaultCode::TooLarge, load, wrong, "a load that makes it at most 50");
        }
        BendError::Angle(radians) => {
            let degrees = radians.to_degrees();
            let code = if degrees < 90.0 { FaultCode::TooSmall } else { FaultCode::TooLarge };
            let wrong = format!("is {degrees:.3} degrees");
            faults.push(code, at.field("angle_deg"), wrong, limits::BEND_ANGLE_DEG.to_string());
        }
        BendError::NotFound => return false,
    }
    true
}

/// The field of the contract that a law calls by another name and in another unit, with the factor
/// between them.
fn wire_field(law: &str) -> (&str, f64) {
    match law {
        "angle_rad" => ("angle_deg", 1.0_f64.to_degrees()),
        "third_drop_tip_angle_rad" => ("third_drop_tip_angle_deg", 1.0_f64.to_degrees()),
        "points.angle_rad" => ("shape.angle_deg", 1.0_f64.to_degrees()),
        "mass_kg" => ("mass_g", 1e3),
        "drag_area_m2" => ("drag_area_cm2", CM2_PER_M2),
        "depth.depth" => ("depth.bend_depth", 1.0),
        "points" | "points.points_m" | "points.points_m (number of points)" => {
            ("shape.points", 1.0)
        }
        "points.load_n" => ("shape.load_n", 1.0),
        same => (same, 1.0),
    }
}

/// Notes an input that lies outside the domain of a law.
pub fn outside(error: OutsideDomain, at: At<'_>, faults: &mut Faults) {
    let OutsideDomain { field, value, least, most } = error;
    note_outside(field, value, (least, most), at, faults);
}

fn note_outside(law: &str, value: f64, (least, most): (f64, f64), at: At<'_>, faults: &mut Faults) {
    let (field, factor) = wire_field(law);
    let code = if value.is_nan() {
        FaultCode::NotFinite
    } else if value < least {
        FaultCode::TooSmall
    } else {
        FaultCode::TooLarge
    };
    let wrong = format!("is {:.6}", value * factor);
    let right = format!("{:.6} to {:.6}", least * factor, most * factor);
    faults.push(code, at.field(field), wrong, right);
}

/// Notes why no blank can be told from measurements. Says whether it was the caller's fault.
#[must_use]
pub fn no_measurement(error: MeasurementError, at: At<'_>, faults: &mut Faults) -> bool {
    match error {
        MeasurementError::Impossible { field, value, least, most } => {
            note_outside(field, value, (least, most), at, faults);
        }
        MeasurementError::Contradicts { field, sigmas } => {
            let wrong = format!("misses the best blank by {sigmas:.1} times its uncertainty");
            let right = "a value that goes with the other ones; measure again";
            faults.push(FaultCode::Conflict, at.field(wire_field(field).0), wrong, right);
        }
        MeasurementError::Missing { field } => {
            let right = "needed, since the other measurements leave the blank open";
            let (field, _) = wire_field(field);
            faults.push(FaultCode::Missing, at.field(field), "is missing", right);
        }
        MeasurementError::Bend(error) => return no_bend(error, at, faults),
    }
    true
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wire(length_m: f64, stations: &[(f64, f64)]) -> pb::Blank {
        let station = |&(s, ei): &(f64, f64)| pb::BlankStation {
            s_m: Some(s),
            ei_n_m2: Some(ei),
            ei_spread: None,
        };
        pb::Blank { length_m: Some(length_m), stations: stations.iter().map(station).collect() }
    }

    fn wrong(wire: pb::Blank) -> Vec<(String, FaultCode)> {
        let mut faults = Faults::new();
        assert_eq!(blank(wire, At::ROOT.field("blank"), &mut faults), None);
        faults.as_slice().iter().map(|fault| (fault.field.clone(), fault.code)).collect()
    }

    // Source: the contract: what is sent is read back, and a spread is ignored.
    #[test]
    fn a_blank_goes_over_the_wire_and_back() {
        let mut faults = Faults::new();
        let sent = wire(2.1, &[(0.0, 31.6), (1.05, 4.5), (2.1, 0.05)]);
        let read = blank(sent.clone(), At::ROOT, &mut faults).unwrap();
        assert_eq!(blank_to_wire(&read, &[]), sent);
        let spread = blank_to_wire(&read, &[0.1, 0.2, 0.3]);
        // By hand: 0.3 within the family and 0.5 of it, √(0.09 + 0.25) = 0.5830952.
        assert!((spread.stations[2].ei_spread.unwrap() - 0.583_095_2).abs() < 1e-7);
        assert_eq!(blank(spread, At::ROOT, &mut faults), Some(read));
        assert!(faults.is_empty());
    }

    // Source: the contract: every fault is named, with its field.
    #[test]
    fn each_fault_of_a_blank_has_its_field() {
        use FaultCode::{Conflict, Missing, NotFinite, TooSmall};
        let named = |field: &str, code| (field.to_owned(), code);
        assert_eq!(
            wrong(pb::Blank::default()),
            [named("blank.length_m", Missing), named("blank.stations", Missing)]
        );
        let mut many = wire(-1.0, &[(f64::NAN, 1.0), (1.0, -2.0)]);
        many.stations.push(pb::BlankStation::default());
        assert_eq!(
            wrong(many),
            [
                named("blank.length_m", TooSmall),
                named("blank.stations[0].s_m", NotFinite),
                named("blank.stations[1].ei_n_m2", TooSmall),
                named("blank.stations[2].s_m", Missing),
                named("blank.stations[2].ei_n_m2", Missing),
            ]
        );
        for (stations, field) in [
            (vec![(0.1, 1.0), (1.0, 1.0)], "blank.stations[0].s_m"),
            (vec![(0.0, 1.0), (0.5, 1.0), (0.5, 1.0), (1.0, 1.0)], "blank.stations[2].s_m"),
            (vec![(0.0, 1.0), (0.9, 1.0)], "blank.stations[1].s_m"),
            (vec![(0.0, 1.0), (1.0, 0.0009)], "blank.stations"),
        ] {
            assert_eq!(wrong(wire(1.0, &stations)), [named(field, Conflict)]);
        }
    }

    // Source: the contract: a law's own limits are told in the contract's names and units.
    #[test]
    fn laws_are_quoted_in_the_units_of_the_contract() {
        let mut faults = Faults::new();
        let at = At::ROOT.field("cast");
        outside(
            OutsideDomain { field: "mass_kg", value: 2.0, least: 1e-4, most: 1.0 },
            at,
            &mut faults,
        );
        let angle = MeasurementError::Missing { field: "third_drop_tip_angle_rad" };
        assert!(no_measurement(angle, At::ROOT, &mut faults));
        assert!(!no_bend(BendError::NotFound, At::ROOT, &mut faults));
        let [mass, missing] = faults.as_slice() else { panic!("{faults:?}") };
        assert_eq!((mass.field.as_str(), mass.code), ("cast.mass_g", FaultCode::TooLarge));
        assert_eq!(mass.right, "0.100000 to 1000.000000");
        assert_eq!(missing.field, "third_drop_tip_angle_deg");
    }
}
