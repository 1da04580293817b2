//! The flight of a lure against closed forms, a table and scipy.

#![allow(missing_docs, reason = "tests")]
#![allow(clippy::disallowed_methods, reason = "checks are apart from what they check")]
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

use std::f64::consts::FRAC_PI_2;

use deepbend_core::mechanics::flight::{Cast, GRAVITY_M_S2, Landing, fly, path};

const TABLE: &str =
    include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/reference/cast.json"));

/// A still-air throw with the drag parameter k (1/m) given as such.
fn throw(speed_m_s: f64, degrees: f64, k: f64, wind_along_m_s: f64, height_m: f64) -> Cast {
    Cast {
        speed_m_s,
        angle_rad: degrees.to_radians(),
        height_m,
        mass_kg: 0.5,
        drag_area_m2: k,
        wind_along_m_s,
        wind_across_m_s: 0.0,
        air_density_kg_m3: 1.0,
    }
}

fn near(what: &str, value: f64, expected: f64, tolerance: f64) {
    assert!(
        (value - expected).abs() <= tolerance,
        "{what}: {value} is not within {tolerance} of {expected}"
    );
}

fn numbers(landing: &Landing) -> [f64; 4] {
    [landing.range_m, landing.drift_m, landing.time_s, landing.impact_speed_m_s]
}

// Source: computed by scipy, method and versions in the head of tests/reference/cast.json.
#[test]
fn agrees_with_scipy_on_random_cases() {
    let table: serde_json::Value = serde_json::from_str(TABLE).unwrap();
    let cases = table["cases"].as_array().unwrap();
    assert!(cases.len() >= 300);
    let names = ["range_m", "drift_m", "time_s", "impact_speed_m_s"];
    let mut worst = [(0.0_f64, 0_usize); 4];
    for (index, case) in cases.iter().enumerate() {
        let field = |name: &str| case[name].as_f64().unwrap();
        let cast = Cast {
            speed_m_s: field("speed_m_s"),
            angle_rad: field("angle_deg").to_radians(),
            height_m: field("height_m"),
            mass_kg: field("mass_g") * 1e-3,
            drag_area_m2: field("drag_area_cm2") * 1e-4,
            wind_along_m_s: field("wind_along_m_s"),
            wind_across_m_s: field("wind_across_m_s"),
            air_density_kg_m3: field("air_density_kg_m3"),
        };
        let got = numbers(&fly(&cast).unwrap());
        let expected = names.map(|name| case["expected"][name].as_f64().unwrap());
        // Range and drift may be the small difference of two ways: measured by the whole way.
        let way = expected[0].hypot(expected[1]) + 0.01 * cast.speed_m_s * expected[2];
        for i in 0..4 {
            let scale = if i < 2 { way } else { expected[i] };
            let error = (got[i] - expected[i]).abs() / scale;
            if error.is_nan() || error > worst[i].0 {
                worst[i] = (error, index);
            }
        }
    }
    for (name, (error, index)) in names.iter().zip(worst) {
        println!("{name}: worst relative error {error:.1e}, case {index}");
    }
    for (name, (error, index)) in names.iter().zip(worst) {
        assert!(error <= 1e-9, "{name}: {error:e} in case {index}: {}", cases[index]);
    }
}

// Source: solve_ivp DOP853 of scipy at 1e-12, six decimals.
#[test]
fn agrees_with_the_table_of_trajectories() {
    let rows = [
        (30.0, 45.0, 0.005, 0.0, 0.0, 3.978172, 68.613325, 14.124950, -18.214883),
        (30.0, 45.0, 0.01, 0.0, 0.0, 3.724279, 55.794036, 10.777224, -16.372442),
        (30.0, 45.0, 0.01, -5.0, 0.0, 3.657060, 46.704973, 7.380107, -16.017342),
        (30.0, 45.0, 0.01, 5.0, 0.0, 3.790727, 64.270713, 13.909235, -16.737122),
        (30.0, 35.0, 0.01, -5.0, 0.0, 3.025054, 47.674535, 9.991107, -13.472299),
        (30.0, 45.0, 0.02, 0.0, 0.0, 3.366110, 41.560753, 7.472994, -14.054462),
        (30.0, 45.0, 0.01, 0.0, 2.0, 3.843601, 57.064950, 10.524833, -17.145357),
        (20.0, 40.0, 0.02, 0.0, 1.5, 2.444455, 27.116160, 8.113222, -11.252714),
        (50.0, 42.0, 0.002, 0.0, 2.0, 6.313168, 187.898962, 24.029539, -29.059172),
    ];
    for (speed, degrees, k, wind, height, time, range, vx, vy) in rows {
        let landing = fly(&throw(speed, degrees, k, wind, height)).unwrap();
        near("time", landing.time_s, time, 6e-7);
        near("range", landing.range_m, range, 6e-7);
        near("impact", landing.impact_speed_m_s, f64::hypot(vx, vy), 2e-6);
        near("drift", landing.drift_m, 0.0, 0.0);
    }
}

// Source: parabola, R = v² sin 2α/g, T = 2 v sin α/g; 30 m/s at 45 degrees: 91.774459 m.
#[test]
fn without_drag_it_is_a_parabola() {
    near("range", fly(&throw(30.0, 45.0, 0.0, 0.0, 0.0)).unwrap().range_m, 91.774459, 6e-7);
    near("range", fly(&throw(20.0, 40.0, 0.0, 0.0, 0.0)).unwrap().range_m, 40.168977, 6e-7);
    for degrees in [1e-6, 1.0, 30.0, 45.0, 80.0] {
        let angle = f64::to_radians(degrees);
        // Drag too small to matter takes the general way and must meet the closed form.
        for k in [0.0, 1e-14, 1e-13] {
            let landing = fly(&throw(25.0, degrees, k, 7.0, 0.0)).unwrap();
            let range = 625.0 * (2.0 * angle).sin() / GRAVITY_M_S2;
            near("range", landing.range_m / range, 1.0, 1e-10);
            near("time", landing.time_s / (50.0 * angle.sin() / GRAVITY_M_S2), 1.0, 1e-10);
            near("speed", landing.impact_speed_m_s, 25.0, 1e-9);
        }
    }
    let down = fly(&throw(10.0, -90.0, 0.0, 0.0, 20.0)).unwrap();
    near("speed", down.impact_speed_m_s, (100.0 + 40.0 * GRAVITY_M_S2).sqrt(), 1e-12);
}

// Source: closed forms of a vertical throw, H = ln(1 + k v²/g)/(2k), v_ret = v/√(1 + k v²/g),
// t_up = atan(v √(k/g))/√(kg), t_down = acosh(e^{kH})/√(kg); 30 m/s and k 0.01: 5.158135 s,
// back at 21.663363 m/s from 32.557490 m.
#[test]
fn straight_up_and_down() {
    let landing = fly(&throw(30.0, 90.0, 0.01, 0.0, 0.0)).unwrap();
    near("time", landing.time_s, 2.439508 + 2.718628, 1.1e-6);
    near("speed", landing.impact_speed_m_s, 21.663363, 6e-7);
    let points = path(&throw(30.0, 90.0, 0.01, 0.0, 0.0), 4001).unwrap();
    let top = points.iter().map(|p| p.height_m).fold(0.0, f64::max);
    near("top", top, 32.557490, 1e-5);
    // Nearly plumb, leaned by the wind or not: next to the closed form.
    for degrees in [90.0 - 1e-9, 90.0 - 1e-5] {
        let leaned = fly(&throw(30.0, degrees, 0.01, 0.0, 0.0)).unwrap();
        near("time", leaned.time_s, landing.time_s, 1e-9);
        near("speed", leaned.impact_speed_m_s, landing.impact_speed_m_s, 1e-8);
    }
    let (k, v): (f64, f64) = (0.03, 12.0);
    let gone = 1.0 + k * v * v / GRAVITY_M_S2;
    let rate = (k * GRAVITY_M_S2).sqrt();
    let time = (v * (k / GRAVITY_M_S2).sqrt()).atan() / rate + gone.sqrt().acosh() / rate;
    // A wind as fast as the throw is level: plumb in the air, carried over the ground.
    let mut carried = throw(v.hypot(9.0), 0.0, k, 9.0, 0.0);
    carried.angle_rad = (v / 9.0).atan();
    let landing = fly(&carried).unwrap();
    near("time", landing.time_s, time, 1e-12);
    near("range", landing.range_m, 9.0 * time, 1e-11);
    near("speed", landing.impact_speed_m_s, 9.0_f64.hypot(v / gone.sqrt()), 1e-11);
}

// Source: terminal speed √(g/k); 10 g lead sphere k = 0.00320051: 55.3542 m/s, 10 g at
// 1100 kg/m³ k = 0.0151600: 25.4338 m/s; fall time from rest acosh(e^{kH})/√(kg).
#[test]
fn long_falls_reach_terminal_speed() {
    for (k, speed) in [(0.003_200_51, 55.3542), (0.015_16, 25.4338)] {
        for degrees in [-90.0, -30.0, 0.0, 60.0] {
            let landing = fly(&throw(20.0, degrees, k, 0.0, 1000.0)).unwrap();
            // v_t² − v² falls as e^{−2 k h}.
            let slack = 55.0 * f64::exp(-2.0 * k * 1000.0) + 1e-3;
            near("speed", landing.impact_speed_m_s, speed, slack);
        }
    }
    let (k, height) = (5.0, 800.0);
    let rate = f64::sqrt(k * GRAVITY_M_S2);
    let time = (k * height + 2.0_f64.ln()) / rate;
    for level in [0.0, 1e-9] {
        let landing = fly(&throw(level, 0.0, k, 0.0, height)).unwrap();
        near("time", landing.time_s / time, 1.0, 1e-12);
        near("speed", landing.impact_speed_m_s, (GRAVITY_M_S2 / k).sqrt(), 1e-12);
    }
}

// Source: the law itself; each step of a fine path obeys it by central differences.
#[test]
fn a_path_obeys_the_law() {
    let mut cast = throw(35.0, 40.0, 0.012, -6.0, 1.8);
    cast.wind_across_m_s = 8.0;
    let count = 2001;
    let points = path(&cast, count).unwrap();
    let landing = fly(&cast).unwrap();
    assert_eq!(points.len(), count);
    let (first, last) = (points[0], points[count - 1]);
    assert_eq!((first.time_s, first.along_m, first.across_m, first.height_m), (0., 0., 0., 1.8));
    near("first speed", first.speed_m_s, 35.0, 1e-12);
    assert_eq!(
        (last.along_m, last.across_m, last.height_m),
        (landing.range_m, landing.drift_m, 0.0)
    );
    let step = landing.time_s / (count - 1) as f64;
    for p in points.windows(3) {
        let second = |f: fn(&deepbend_core::mechanics::flight::FlightPoint) -> f64| {
            let (a, b, c) = (f(&p[0]), f(&p[1]), f(&p[2]));
            ((c - a) / (2.0 * step), (a - 2.0 * b + c) / (step * step))
        };
        let (along, pull_along) = second(|p| p.along_m);
        let (across, pull_across) = second(|p| p.across_m);
        let (up, pull_up) = second(|p| p.height_m);
        let air = ((along + 6.0).powi(2) + (across - 8.0).powi(2) + up * up).sqrt();
        near("along", pull_along, -0.012 * air * (along + 6.0), 1e-3);
        near("across", pull_across, -0.012 * air * (across - 8.0), 1e-3);
        near("up", pull_up, -0.012 * air * up - GRAVITY_M_S2, 1e-3);
        near("speed", p[1].speed_m_s, (along * along + across * across + up * up).sqrt(), 1e-3);
    }
}

// Source: symmetry; and a head wind flattens the best throw (35 degrees beats 45).
#[test]
fn wind_does_what_it_must() {
    let mut left = throw(28.0, 38.0, 0.015, 4.0, 1.5);
    left.wind_across_m_s = -6.0;
    let right = Cast { wind_across_m_s: 6.0, ..left };
    let (left, right) = (fly(&left).unwrap(), fly(&right).unwrap());
    assert_eq!(left.range_m, right.range_m);
    assert_eq!(left.drift_m, -right.drift_m);
    assert!(left.drift_m < 0.0);
    let range = |degrees| fly(&throw(30.0, degrees, 0.01, -5.0, 0.0)).unwrap().range_m;
    assert!(range(35.0) > range(45.0));
}

// Source: the limits stated in the module.
#[test]
fn refuses_what_is_outside() {
    let good = throw(30.0, 45.0, 0.01, 0.0, 1.0);
    let wrong: [(&str, Cast); 10] = [
        ("speed_m_s", Cast { speed_m_s: -1.0, ..good }),
        ("speed_m_s", Cast { speed_m_s: f64::NAN, ..good }),
        ("angle_rad", Cast { angle_rad: 1.6, ..good }),
        ("height_m", Cast { height_m: -0.1, ..good }),
        ("mass_kg", Cast { mass_kg: 0.0, ..good }),
        ("drag_area_m2", Cast { drag_area_m2: -1e-4, ..good }),
        ("wind_along_m_s", Cast { wind_along_m_s: f64::INFINITY, ..good }),
        ("wind_across_m_s", Cast { wind_across_m_s: -101.0, ..good }),
        ("air_density_kg_m3", Cast { air_density_kg_m3: -1.0, ..good }),
        ("air_density_kg_m3", Cast { air_density_kg_m3: 11.0, ..good }),
    ];
    for (field, cast) in wrong {
        assert_eq!(fly(&cast).unwrap_err().field, field);
        assert_eq!(path(&cast, 3).unwrap_err().field, field);
    }
    let ground = fly(&throw(30.0, -10.0, 0.01, 3.0, 0.0)).unwrap();
    assert_eq!(numbers(&ground), [0.0, 0.0, 0.0, 30.0]);
    assert!(fly(&Cast { angle_rad: FRAC_PI_2, ..good }).is_ok());
    assert_eq!(path(&throw(0.0, 0.0, 0.01, 0.0, 0.0), 5).unwrap().len(), 5);
}
