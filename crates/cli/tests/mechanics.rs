//! Traces and bench tests through the built program.

#![allow(clippy::unwrap_used, clippy::disallowed_methods, missing_docs, reason = "a test")]

mod common;

use std::f64::consts::PI;

use common::{data_of, fleet, run, run_with};
use serde_json::Value;

fn json(text: &str) -> Value {
    serde_json::from_str(text).unwrap()
}

fn blank(length: f64, pieces: usize, ei: impl Fn(f64) -> f64) -> String {
    let station = |i: usize| {
        let share = i as f64 / pieces as f64;
        serde_json::json!({"s_m": share * length, "ei_n_m2": ei(share)})
    };
    let stations: Vec<_> = (0..=pieces).map(station).collect();
    serde_json::json!({"length_m": length, "stations": stations}).to_string()
}

fn bent(blank: &str, load: f64, angle: f64) -> Value {
    let (load, angle) = (load.to_string(), angle.to_string());
    let args = ["trace", "bend", "--blank", "-", "--load-n", &load, "--angle-deg", &angle];
    json(&run_with(&[&args[..], &["-o", "json"]].concat(), blank.as_bytes()).code(0).quiet().out)
}

#[track_caller]
fn near(answer: &Value, field: &str, expected: f64, tolerance: f64) {
    let value = answer[field].as_f64().unwrap();
    assert!((value - expected).abs() <= tolerance, "{field}: {value}, not {expected}");
}

const BEND: [&str; 3] = ["tip_deflection_m", "tip_shortening_m", "tip_angle_rad"];

// Source: Bisshopp and Drucker 1945, evaluated with elliptic integrals of scipy and mpmath (table
// A of the physics reference, 1.2); root moment P x_tip.
#[test]
fn an_even_blank_bends_as_bisshopp_and_drucker_say() {
    let even = blank(1.0, 1, |_| 1.0);
    for (load, row) in [
        (0.25, [0.082746, 0.004118, 0.124292]),
        (1.0, [0.301721, 0.056433, 0.461352]),
        (2.0, [0.493457, 0.160642, 0.781750]),
        (5.0, [0.713792, 0.387628, 1.215368]),
        (10.0, [0.810609, 0.554996, 1.430286]),
    ] {
        let answer = bent(&even, load, 90.0);
        for (field, expected) in BEND.iter().zip(row) {
            near(&answer, field, expected, 6e-7);
        }
        near(&answer, "root_moment_n_m", load * (1.0 - row[1]), 1e-5);
    }
    // No load: no bend, and the stiffness of small loads, 3 EI/L³.
    let answer = bent(&even, 0.0, 90.0);
    assert_eq!(answer["tip_deflection_m"], 0.0);
    near(&answer, "stiffness_n_per_m", 3.0, 1e-9);
}

// Source: solve_bvp and shooting of scipy (table C of the physics reference, 1.4).
#[test]
fn a_line_that_pulls_back_bends_it_as_scipy_says() {
    let even = blank(1.0, 1, |_| 1.0);
    for (load, angle, row, moment) in [
        (1.0, 45.0, [0.178274, 0.019153, 0.266040], 0.567505),
        (1.0, 135.0, [0.295574, 0.054506, 0.457510], 0.877568),
        (2.0, 120.0, [0.571660, 0.227808, 0.947369], 1.909136),
        (4.0, 150.0, [0.809014, 0.670870, 1.730153], 3.460768),
    ] {
        let answer = bent(&even, load, angle);
        for (field, expected) in BEND.iter().zip(row) {
            near(&answer, field, expected, 6e-7);
        }
        near(&answer, "root_moment_n_m", moment, 6e-7);
    }
}

// Source: solve_bvp and shooting of scipy (worked cases A and B of the physics reference, 1.5); EI
// is linear between 1000 stations here, which costs some 1e-6.
#[test]
fn tapered_blanks_bend_as_the_worked_cases() {
    let a = blank(1.0, 1000, |s| (1.0 - 0.8 * s).powi(3));
    let answer = bent(&a, 1.0, 90.0);
    for (field, expected) in BEND.iter().zip([0.501671, 0.222274, 1.266678]) {
        near(&answer, field, expected, 5e-6);
    }
    near(&answer, "root_moment_n_m", 0.777726, 5e-6);
    for (index, y) in [(10, 0.026655), (20, 0.116142), (30, 0.278418)] {
        near(&answer["points"][index], "y_m", y, 5e-6);
    }
    let b = blank(2.1, 1000, |s| {
        let outer = 12.0e-3 - 10.0e-3 * s;
        let inner = outer - 2.0 * (1.0e-3 - 0.4e-3 * s);
        60e9 * PI / 64.0 * (outer.powi(4) - inner.powi(4))
    });
    let answer = bent(&b, 5.0, 90.0);
    near(&answer, "tip_deflection_m", 0.991240, 1e-5);
    near(&answer, "tip_angle_rad", 1.411457, 1e-5);
    near(&answer, "root_moment_n_m", 8.165178, 5e-5);
    let answer = bent(&b, 5.0, 135.0);
    near(&answer, "tip_deflection_m", 2.1 * 0.527903, 1e-5);
    near(&answer, "tip_angle_rad", 2.076553, 1e-5);
    near(&answer, "root_moment_n_m", 8.518972, 5e-5);
}

// Source: the contract; the shortest digits that are read back as the same number.
#[test]
fn a_bend_has_the_names_of_the_contract() {
    let answer = bent(&blank(2.1, 2, |s| 31.6 - 31.5 * s), 2.0, 90.0);
    let mut names: Vec<_> = answer.as_object().unwrap().keys().map(String::as_str).collect();
    names.sort_unstable();
    assert_eq!(
        names,
        [
            "bend_depth",
            "points",
            "root_moment_n_m",
            "stiffness_n_per_m",
            "tip_angle_rad",
            "tip_deflection_m",
            "tip_shortening_m",
        ]
    );
    let points = answer["points"].as_array().unwrap();
    assert_eq!(points.len(), 41);
    for name in ["s_m", "x_m", "y_m", "angle_rad", "moment_n_m"] {
        assert!(points.iter().all(|point| point[name].is_f64()), "{name}");
    }
    assert_eq!(points[40]["y_m"], answer["tip_deflection_m"]);
    assert_eq!(points[0]["moment_n_m"], answer["root_moment_n_m"]);
}

const CAST: [&str; 8] = [
    "--speed-m-s",
    "--angle-deg",
    "--height-m",
    "--mass-g",
    "--drag-area-cm2",
    "--wind-along-m-s",
    "--wind-across-m-s",
    "--air-density-kg-m3",
];

fn flown(values: [f64; 8]) -> Value {
    let values = values.map(|value| value.to_string());
    let mut args = vec!["trace", "cast", "-o", "json"];
    args.extend(CAST.iter().zip(&values).flat_map(|(name, value)| [*name, value.as_str()]));
    json(&run(&args).code(0).quiet().out)
}

// Source: solve_ivp of scipy, DOP853, 1e-12 (physics reference, 3.2); k = ρ C_d A/(2 m).
#[test]
fn a_lure_flies_as_scipy_says() {
    for (speed, angle, k, wind, height, time, range, vx, vy) in [
        (30.0, 45.0, 0.005, 0.0, 0.0, 3.978172, 68.613325, 14.124950, -18.214883),
        (30.0, 45.0, 0.01, 0.0, 0.0, 3.724279, 55.794036, 10.777224, -16.372442),
        (30.0, 45.0, 0.01, -5.0, 0.0, 3.657060, 46.704973, 7.380107, -16.017342),
        (30.0, 45.0, 0.01, 5.0, 0.0, 3.790727, 64.270713, 13.909235, -16.737122),
        (30.0, 35.0, 0.01, -5.0, 0.0, 3.025054, 47.674535, 9.991107, -13.472299),
        (30.0, 45.0, 0.02, 0.0, 0.0, 3.366110, 41.560753, 7.472994, -14.054462),
        (30.0, 45.0, 0.01, 0.0, 2.0, 3.843601, 57.064950, 10.524833, -17.145357),
        (20.0, 40.0, 0.02, 0.0, 1.5, 2.444455, 27.116160, 8.113222, -11.252714),
        (50.0, 42.0, 0.002, 0.0, 2.0, 6.313168, 187.898962, 24.029539, -29.059172),
    ] {
        // 10 g in air of 1.225 kg/m³.
        let area_cm2 = 2.0 * 0.010 * k / 1.225 * 1e4;
        let answer = flown([speed, angle, height, 10.0, area_cm2, wind, 0.0, 1.225]);
        near(&answer, "range_m", range, 1e-6);
        near(&answer, "time_s", time, 1e-6);
        near(&answer, "impact_speed_m_s", f64::hypot(vx, vy), 2e-6);
        assert_eq!(answer["drift_m"], 0.0);
        let points = answer["points"].as_array().unwrap();
        assert_eq!(points[40]["along_m"], answer["range_m"]);
        assert_eq!(points[0]["height_m"], height);
        for name in ["t_s", "along_m", "across_m", "height_m"] {
            assert!(points.iter().all(|point| point[name].is_f64()), "{name}");
        }
        let names: Vec<_> = answer.as_object().unwrap().keys().collect();
        assert_eq!(names, ["drift_m", "impact_speed_m_s", "points", "range_m", "time_s"]);
    }
}

// Source: closed form without drag, v² sin 2a/g; mirror of the wind across.
#[test]
fn drift_has_the_sign_of_the_wind() {
    let free = flown([20.0, 40.0, 0.0, 10.0, 0.0, 8.0, -8.0, 1.225]);
    near(&free, "range_m", 40.168977, 1e-6);
    let left = flown([25.0, 30.0, 2.0, 12.0, 6.0, 1.0, -7.5, 1.2]);
    let right = flown([25.0, 30.0, 2.0, 12.0, 6.0, 1.0, 7.5, 1.2]);
    let drift = |answer: &Value| answer["drift_m"].as_f64().unwrap();
    assert!(drift(&right) > 1.0 && drift(&left) == -drift(&right), "{left} {right}");
}

// Source: the contract, fault.proto: every fault with its field; exit 65 for input with faults.
#[test]
fn what_is_wrong_is_said_with_its_field() {
    let bend = ["trace", "bend", "--blank", "-", "--load-n"];
    let even = blank(1.0, 1, |_| 1.0);
    let wrong = |more: &[&str], text: &str, field: &str| {
        run_with(&[&bend[..], more].concat(), text.as_bytes()).code(65).warns(&[field]);
    };
    wrong(&["51"], &even, "load_n makes P L^2/EI(butt) 51.00; right is a load that makes it");
    wrong(&["-1"], &even, "load_n is -1 N; right is 0 to");
    wrong(&["1", "--angle-deg", "175"], &even, "angle_deg is 175 degrees; right is 5 to 170");
    wrong(&["1", "--points", "1"], &even, "point_count is 1; right is 2 to 10001");
    wrong(&["1"], &even.replace("\"s_m\":0.0", "\"s_m\":0.2"), "blank.stations[0].s_m is 0.2 m");
    wrong(&["1"], r#"{"length":1}"#, "length");
    run(&["trace", "bend", "--load-n", "1"]).code(2).warns(&["--blank"]);
    run(&["trace", "cast", "--angle-deg", "95", "--mass-g", "10", "--wind-along-m-s", "-300"])
        .code(65)
        .warns(&[
            "cast.speed_m_s is missing",
            "cast.drag_area_cm2 is missing",
            "cast.angle_deg is 95 degrees",
            "cast.wind_along_m_s is -300 m/s; right is -100 to 100 m/s",
        ]);
    run(&["gear", "measure", "--length-m", "2.1"])
        .code(65)
        .warns(&["third_drop_load_n is missing"]);
    run(&["gear", "measure", "--length-m", "2.1", "--third-drop-load-n", "3"])
        .code(65)
        .warns(&["third_drop_tip_angle_deg is missing"]);
}

// Source: the contract: ids name gear of the inventory, words describe it; what is assumed is said.
#[test]
fn gear_is_traced_with_what_was_assumed() {
    let folder = fleet();
    let data = data_of(&folder);
    let bend = run(&["trace", "bend", "--rod", "R14", "--load-n", "5", "--data", &data]).code(0);
    bend.says(&["tip across", "Blank, inferred", "spread %", "Assumed", "Model deepbend-"]);
    let args = ["trace", "cast", "--rod", "R14+E08", "--lure", "L17", "--data", &data];
    let cast = run(&args).code(0).says(&["distance", "cast.speed_m_s", "cast.angle_deg"]);
    assert!(cast.out.lines().all(|line| line.chars().count() <= 80), "{}", cast.out);
    let words = ["--rod", "7'2\" MH fast casting 10-30 g", "--lure", "crankbait 18 g"];
    let cast = |more: &[&str]| {
        let args = [&["trace", "cast", "-o", "json"][..], &words, more].concat();
        json(&run(&args).code(0).out)
    };
    let (calm, into) = (cast(&[]), cast(&["--wind-along-m-s", "-8"]));
    let range = |answer: &Value| answer["range_m"].as_f64().unwrap();
    assert!(range(&into) < range(&calm) && range(&calm) < 80.0, "{calm}");
    // Still air only without wind; else four winds, each with and without the line.
    assert_eq!(calm["carries"].as_array().unwrap().len(), 1, "{calm}");
    let carries = into["carries"].as_array().unwrap();
    let names = ["CALM", "INTO", "ACROSS", "DOWN"];
    assert_eq!(carries.len(), 4, "{into}");
    for (carry, name) in carries.iter().zip(names) {
        assert_eq!(carry["wind_direction"], format!("WIND_DIRECTION_{name}"), "{carry}");
        let of = |line: &str, field: &str| carry[line][field].as_f64().unwrap();
        let (free, paid) = (of("without_line", "range_m"), of("with_line", "range_m"));
        assert!((0.8..1.0).contains(&(paid / free)), "{carry}");
    }
    near(&carries[1]["without_line"], "range_m", range(&into), 1e-3);
    let nylon = cast(&["--line", "nylon 0.35 mm"]);
    let paid = |answer: &Value| answer["carries"][0]["with_line"]["range_m"].as_f64().unwrap();
    assert!(paid(&nylon) < paid(&calm), "{nylon} {calm}");
    let args = [&["trace", "cast", "--wind-along-m-s", "-8"][..], &words].concat();
    let page = run(&args).code(0).says(&["Farthest casts", "paid out", "across", "angle deg"]);
    assert!(page.out.lines().all(|line| line.chars().count() <= 80), "{}", page.out);
    // What is given is taken as it is.
    let own = cast(&["--speed-m-s", "20", "--mass-g", "18"]);
    assert_eq!((&own["cast"]["speed_m_s"], &own["cast"]["mass_g"]), (&20.0.into(), &18.0.into()));
    run(&["trace", "bend", "--rod", "R99", "--load-n", "5", "--data", &data]).code(65);
}

// Source: worked case B of the physics reference, 1.5: L/3 at 2.3243152 N, tip angle 63.0832
// degrees; what is measured of a blank bends like it.
#[test]
fn a_measured_blank_bends_like_the_one_on_the_bench() {
    let bench = [
        "gear",
        "measure",
        "--length-m",
        "2.1",
        "--third-drop-load-n",
        "2.3243152",
        "--third-drop-tip-angle-deg",
        "63.0832",
        "-o",
        "json",
    ];
    let answer = json(&run(&bench).code(0).quiet().out);
    let inferred = &answer["inferred"];
    near(inferred, "third_drop_load_n", 2.3243152, 2e-3);
    assert!(inferred["misfit"].as_f64().unwrap() < 0.2, "{inferred}");
    let blank = &inferred["blank"];
    let stations = blank["stations"].as_array().unwrap();
    assert!(stations.iter().all(|station| station["ei_spread"].as_f64().unwrap() > 0.01));
    let bent = bent(&blank.to_string(), 2.0, 90.0);
    near(&bent, "tip_deflection_m", 0.642083, 0.01);
    near(&bent, "tip_angle_rad", 1.022269, 0.03);
    run(&bench[..8]).code(0).says(&["Blank, inferred", "give or take", "misfit"]);
    // With a label one number is enough, and it narrows what the label leaves open.
    let rod = ["--rod", "2.10 m medium fast 10-30 g"];
    let load = ["gear", "measure", "--third-drop-load-n", "2.9", "-o", "json"];
    let measured = json(&run(&[&load[..], &rod].concat()).code(0).out);
    let bend = ["trace", "bend", "--load-n", "1", "-o", "json"];
    let label = json(&run(&[&bend[..], &rod].concat()).code(0).out);
    let spread = |answer: &Value| answer["inferred"]["third_drop_load_spread"].as_f64().unwrap();
    assert!(spread(&measured) < 0.5 * spread(&label), "{measured} {label}");
}
