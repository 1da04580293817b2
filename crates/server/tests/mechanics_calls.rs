//! `MechanicsService` over a real connection.
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

mod service_support;

use deepbend_contract::pb;
use deepbend_core::mechanics::carry::{Carry, Throw, farthest};
use deepbend_core::mechanics::payout::{self, PaidLine};
use deepbend_server::Config;
use service_support::{demo_files, faults, import_of, reason, start, start_on};

fn blank(stations: &[(f64, f64)]) -> pb::Blank {
    let station = |&(s, ei): &(f64, f64)| pb::BlankStation {
        s_m: Some(s),
        ei_n_m2: Some(ei),
        ei_spread: None,
    };
    pb::Blank { length_m: Some(1.0), stations: stations.iter().map(station).collect() }
}

fn rod(max_g: f64) -> pb::Rod {
    pb::Rod {
        lure_rating_min_g: Some(max_g / 3.0),
        lure_rating_max_g: Some(max_g),
        ..Default::default()
    }
}

fn lure() -> pb::Lure {
    pb::Lure { rigged_mass_g: Some(14.0), ..Default::default() }
}

fn named(list: &[(&str, &str)]) -> Vec<(String, String)> {
    list.iter().map(|&(field, code)| (field.to_owned(), code.to_owned())).collect()
}

// Source: the contract, fault.proto: every fault is named, with its field; a law's own limit too.
#[tokio::test]
async fn faults_of_a_bend_are_named() {
    let running = start(Config::default()).await;
    let mut client = running.mechanics();
    let mut ask = async |request| client.trace_bend(request).await.unwrap_err();
    let status = ask(pb::TraceBendRequest {
        blank: Some(blank(&[(0.0, f64::NAN), (1.0, -1.0)])),
        load_n: Some(f64::INFINITY),
        angle_deg: Some(4.0),
        point_count: Some(-1),
        ..Default::default()
    })
    .await;
    assert_eq!(reason(&status), "InvalidArgument INVALID_REQUEST");
    let expected = [
        ("blank.stations[0].ei_n_m2", "NOT_FINITE"),
        ("blank.stations[1].ei_n_m2", "TOO_SMALL"),
        ("load_n", "NOT_FINITE"),
        ("angle_deg", "TOO_SMALL"),
        ("point_count", "TOO_SMALL"),
    ];
    assert_eq!(faults(&status), named(&expected));
    let status = ask(pb::TraceBendRequest::default()).await;
    assert_eq!(faults(&status), named(&[("blank", "MISSING"), ("load_n", "MISSING")]));
    let sound = pb::TraceBendRequest {
        blank: Some(blank(&[(0.0, 1.0), (1.0, 1.0)])),
        load_n: Some(1.0),
        ..Default::default()
    };
    let both = pb::TraceBendRequest { rod: Some(rod(30.0)), ..sound.clone() };
    let status = ask(both).await;
    assert_eq!(faults(&status), named(&[("blank", "CONFLICT")]));
    let status = ask(pb::TraceBendRequest { load_n: Some(50.1), ..sound }).await;
    assert_eq!(faults(&status), named(&[("load_n", "TOO_LARGE")]));
    let id =
        pb::TraceBendRequest { rod_id: "R1".to_owned(), load_n: Some(1.0), ..Default::default() };
    assert_eq!(reason(&ask(id).await), "FailedPrecondition NO_INVENTORY");
    running.end().await;
}

// Source: as above.
#[tokio::test]
async fn faults_of_a_cast_and_a_measurement_are_named() {
    let running = start(Config::default()).await;
    let mut client = running.mechanics();
    let cast = pb::Cast {
        angle_deg: Some(-91.0),
        mass_g: Some(0.0),
        wind_across_m_s: Some(f64::NAN),
        ..Default::default()
    };
    let request = pb::TraceCastRequest { cast: Some(cast), ..Default::default() };
    let expected = [
        ("cast.speed_m_s", "MISSING"),
        ("cast.drag_area_cm2", "MISSING"),
        ("cast.angle_deg", "TOO_SMALL"),
        ("cast.mass_g", "TOO_SMALL"),
        ("cast.wind_across_m_s", "NOT_FINITE"),
    ];
    assert_eq!(faults(&client.trace_cast(request).await.unwrap_err()), named(&expected));
    let request = pb::TraceCastRequest { lure: Some(lure()), ..Default::default() };
    let expected = [("outfit", "MISSING")];
    assert_eq!(faults(&client.trace_cast(request).await.unwrap_err()), named(&expected));
    // The launch holds from 0.1 g on.
    let request = pb::TraceCastRequest {
        cast: Some(pb::Cast { mass_g: Some(0.05), ..Default::default() }),
        outfit: Some(pb::Outfit { rod: Some(rod(30.0)), ..Default::default() }),
        lure: Some(lure()),
        ..Default::default()
    };
    let expected = [("cast.mass_g", "TOO_SMALL")];
    assert_eq!(faults(&client.trace_cast(request).await.unwrap_err()), named(&expected));
    let mut measure = async |request| client.measure_blank(request).await.unwrap_err();
    let status = measure(pb::MeasureBlankRequest {
        third_drop_tip_angle_deg: Some(20.0),
        depth: Some(pb::SeenDepth { bend_depth: Some(1.5), load_n: None }),
        shape: Some(pb::SeenShape { load_n: Some(1.0), ..Default::default() }),
        ..Default::default()
    })
    .await;
    let expected = [
        ("length_m", "MISSING"),
        ("third_drop_tip_angle_deg", "TOO_SMALL"),
        ("depth.bend_depth", "TOO_LARGE"),
        ("depth.load_n", "MISSING"),
        ("shape.points", "MISSING"),
    ];
    assert_eq!(faults(&status), named(&expected));
    // A tip that turns so little goes with a bend far deeper than that.
    let status = measure(pb::MeasureBlankRequest {
        length_m: Some(2.1),
        third_drop_load_n: Some(3.0),
        third_drop_tip_angle_deg: Some(30.0),
        depth: Some(pb::SeenDepth { bend_depth: Some(0.05), load_n: Some(3.0) }),
        ..Default::default()
    })
    .await;
    assert_eq!(faults(&status)[0].1, "CONFLICT");
    running.end().await;
}

// Source: the contract: an answer that rests on a label says so, with its spread; common practice,
// no source, that a heavier rod bends less.
#[tokio::test]
async fn a_rod_is_bent_by_what_is_printed_on_it() {
    let folder = tempfile::tempdir().unwrap();
    let running = start_on(folder.path()).await;
    running.inventory().import_items(import_of(demo_files())).await.unwrap();
    let mut client = running.mechanics();
    let mut ask = async |max_g: f64| {
        let request = pb::TraceBendRequest {
            rod: Some(rod(max_g)),
            rod_id: "R14".to_owned(),
            load_n: Some(4.0),
            point_count: Some(5),
            ..Default::default()
        };
        client.trace_bend(request).await.unwrap().into_inner()
    };
    let (light, heavy) = (ask(15.0).await, ask(80.0).await);
    assert!(light.tip_deflection_m > 1.2 * heavy.tip_deflection_m);
    assert_eq!(light.points.len(), 5);
    let inferred = light.inferred.unwrap();
    assert!((0.1..0.5).contains(&inferred.third_drop_load_spread), "{inferred:?}");
    let stations = inferred.blank.unwrap().stations;
    assert!(stations.iter().all(|station| station.ei_spread.unwrap() > 0.1));
    assert!(light.assumptions.iter().any(|assumed| assumed.field == "blank"));
    assert!(light.model.is_some() && inferred.misfit.is_none());
    running.end().await;
}

// Source: the contract; `carry` and `payout` of core, checked against scipy there: the answer is
// the cast that the request and the assumptions name. Plain numbers have no line.
#[tokio::test]
async fn a_cast_by_gear_tells_the_carries_in_each_wind() {
    let running = start(Config::default()).await;
    let mut client = running.mechanics();
    let outfit = pb::Outfit {
        rod: Some(rod(30.0)),
        line: Some(pb::Line {
            material: pb::LineMaterial::Nylon.into(),
            diameter_mm: Some(0.285),
            ..Default::default()
        }),
        ..Default::default()
    };
    let mut ask = async |cast, gear: bool| {
        let request = pb::TraceCastRequest {
            cast: Some(cast),
            outfit: gear.then(|| outfit.clone()),
            lure: gear.then(lure),
            ..Default::default()
        };
        client.trace_cast(request).await.unwrap().into_inner()
    };
    let wind = |along, across| pb::Cast {
        wind_along_m_s: Some(along),
        wind_across_m_s: Some(across),
        ..Default::default()
    };
    let answer = ask(wind(-3.0, 4.0), true).await;
    let cast = answer.cast.unwrap();
    let throw = Throw {
        speed_m_s: cast.speed_m_s.unwrap(),
        height_m: 2.0,
        mass_kg: 0.014,
        drag_area_m2: cast.drag_area_cm2.unwrap() * 1e-4,
        air_density_kg_m3: cast.air_density_kg_m3.unwrap(),
    };
    let line = PaidLine { kg_per_m: 72.725e-6, diameter_m: 0.285e-3 };
    let near = |got: &Option<pb::Carry>, wanted: Carry| {
        let got = got.unwrap();
        assert!((got.range_m - wanted.range_m).abs() < 1e-3, "{got:?} {wanted:?}");
        assert!((got.drift_m - wanted.drift_m).abs() < 1e-3, "{got:?} {wanted:?}");
        assert!((got.time_s - wanted.time_s).abs() < 1e-4, "{got:?} {wanted:?}");
        assert!((got.angle_deg - wanted.angle_rad.to_degrees()).abs() < 1e-3, "{got:?}");
    };
    let winds = [(0.0, 0.0), (-5.0, 0.0), (0.0, 5.0), (5.0, 0.0)];
    assert_eq!(answer.carries.len(), 4);
    for (carry, (along, across)) in answer.carries.iter().zip(winds) {
        near(&carry.without_line, farthest(&throw, along, across).unwrap());
        near(&carry.with_line, payout::farthest(&throw, &line, along, across).unwrap());
    }
    use pb::WindDirection::{Across, Calm, Down, Into};
    let named: Vec<_> = answer.carries.iter().map(pb::WindCarry::wind_direction).collect();
    assert_eq!(named, [Calm, Into, Across, Down]);
    let line = answer.assumptions.iter().find(|assumed| assumed.field == "line").unwrap();
    assert_eq!(line.value, "72.7 mg/m");
    // Beyond the law of the line, and beyond that of the flight: what is left is left out.
    let fast = pb::Cast { speed_m_s: Some(150.0), ..Default::default() };
    let carries = ask(fast, true).await.carries;
    assert_eq!(carries.len(), 1);
    assert!(carries[0].without_line.is_some() && carries[0].with_line.is_none());
    assert!(ask(wind(-90.0, 90.0), true).await.carries.is_empty());
    let numbers = pb::Cast {
        speed_m_s: Some(25.0),
        mass_g: Some(14.0),
        drag_area_cm2: Some(4.0),
        ..wind(-5.0, 0.0)
    };
    assert!(ask(numbers, false).await.carries.is_empty());
    running.end().await;
}
