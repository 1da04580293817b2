//! The flight of a lure that pays out its line against closed forms, scipy and the plain flight.

#![allow(missing_docs, reason = "tests")]
#![allow(clippy::disallowed_methods, reason = "checks are apart from what they check")]
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

use deepbend_core::gear::LineMaterial;
use deepbend_core::mechanics::carry::{self, Throw};
use deepbend_core::mechanics::flight::{self, Cast, GRAVITY_M_S2};
use deepbend_core::mechanics::payout::{PaidLine, farthest, fly};

const TABLE: &str =
    include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/reference/payout.json"));
const NO_LINE: PaidLine = PaidLine { kg_per_m: 0.0, diameter_m: 0.0 };
const BRAID_1: PaidLine = PaidLine { kg_per_m: 22.2222e-6, diameter_m: 0.165e-3 };

fn cases() -> Vec<(Cast, PaidLine, [f64; 5])> {
    let table: serde_json::Value = serde_json::from_str(TABLE).unwrap();
    let read = |case: &serde_json::Value| {
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
        let line = PaidLine {
            kg_per_m: field("line_mg_per_m") * 1e-6,
            diameter_m: field("line_mm") * 1e-3,
        };
        let names = ["range_m", "drift_m", "time_s", "impact_speed_m_s", "line_out_m"];
        (cast, line, names.map(|name| case["expected"][name].as_f64().unwrap()))
    };
    table["cases"].as_array().unwrap().iter().map(read).collect()
}

fn flown(cast: &Cast, line: &PaidLine) -> [f64; 5] {
    let end = fly(cast, line).unwrap();
    let l = end.landing;
    [l.range_m, l.drift_m, l.time_s, l.impact_speed_m_s, end.line_out_m]
}

// Source: computed by scipy, method and versions in the head of tests/reference/payout.json.
#[test]
fn agrees_with_scipy_on_random_cases() {
    let cases = cases();
    assert_eq!(cases.len(), 60);
    let mut worst = (0.0_f64, 0);
    for (index, (cast, line, expected)) in cases.iter().enumerate() {
        let got = flown(cast, line);
        // Range and drift may nearly cancel: measured by the way.
        let way = expected[4].max(0.1);
        let scales = [way, way, expected[2], expected[3], expected[4]];
        for i in 0..5 {
            let error = (got[i] - expected[i]).abs() / scales[i];
            if error.is_nan() || error > worst.0 {
                worst = (error, index);
            }
        }
    }
    println!("worst relative error {:.1e}, case {}", worst.0, worst.1);
    assert!(worst.0 <= 1e-7, "{worst:?}: {:?}", cases[worst.1]);
}

// Source: closed form without air: (m + μ s) v = m (v₀ − g t ĵ), whatever the way.
#[test]
fn without_air_momentum_is_that_of_the_fall() {
    for (cast, line, _) in cases() {
        let cast = Cast { air_density_kg_m3: 0.0, ..cast };
        let [range, drift, time, speed, out] = flown(&cast, &line);
        let level = cast.speed_m_s * cast.angle_rad.cos();
        let rise = cast.speed_m_s * cast.angle_rad.sin() - GRAVITY_M_S2 * time;
        let kept = cast.mass_kg / (cast.mass_kg + line.kg_per_m * out);
        assert!((speed / (kept * level.hypot(rise)) - 1.0).abs() < 1e-8, "{cast:?} {line:?}");
        assert!(drift == 0.0 && out >= range.hypot(cast.height_m) - 1e-9, "{cast:?} {line:?}");
    }
}

// Source: flight::fly, itself checked against scipy and closed forms.
#[test]
fn without_a_line_it_is_the_plain_flight() {
    for (cast, ..) in cases() {
        let plain = flight::fly(&cast).unwrap();
        let [range, drift, time, speed, out] = flown(&cast, &NO_LINE);
        assert!((range - plain.range_m).abs() <= 1e-8 * out, "{range} {plain:?}");
        assert!((drift - plain.drift_m).abs() <= 1e-8 * out, "{drift} {plain:?}");
        assert!((time / plain.time_s - 1.0).abs() <= 1e-8, "{time} {plain:?}");
        assert!((speed / plain.impact_speed_m_s - 1.0).abs() <= 1e-8, "{speed} {plain:?}");
    }
}

fn throw() -> Throw {
    Throw {
        speed_m_s: 26.0,
        height_m: 2.0,
        mass_kg: 0.014,
        drag_area_m2: 4.5e-4,
        air_density_kg_m3: 1.225,
    }
}

// Source: carry::farthest without a line; with one, no angle of a scan goes farther.
#[test]
fn the_farthest_is_the_best_of_all_angles() {
    for (along, across) in [(0.0, 0.0), (-8.0, 0.0), (0.0, 8.0), (8.0, 0.0)] {
        let plain = carry::farthest(&throw(), along, across).unwrap();
        let none = farthest(&throw(), &NO_LINE, along, across).unwrap();
        assert!((none.range_m - plain.range_m).abs() < 1e-6, "{none:?} {plain:?}");
        assert!((none.angle_rad - plain.angle_rad).abs() < 1e-6, "{none:?} {plain:?}");
        let best = farthest(&throw(), &BRAID_1, along, across).unwrap();
        assert!(best.range_m < plain.range_m && best.drift_m >= plain.drift_m, "{best:?}");
        let t = throw();
        for degrees in -15..=60 {
            let cast = Cast {
                speed_m_s: t.speed_m_s,
                angle_rad: f64::from(degrees).to_radians(),
                height_m: t.height_m,
                mass_kg: t.mass_kg,
                drag_area_m2: t.drag_area_m2,
                wind_along_m_s: along,
                wind_across_m_s: across,
                air_density_kg_m3: t.air_density_kg_m3,
            };
            let range = fly(&cast, &BRAID_1).unwrap().landing.range_m;
            assert!(range <= best.range_m * (1.0 + 1e-4), "{degrees}: {range} {best:?}");
        }
    }
}

// Source: by hand: 22.222 mg/m of braid number 1 and 44.444 of number 2 (0.165 √2 mm), 72.725 and
// 113.553 mg/m of 0.285 mm of nylon and fluorocarbon.
#[test]
fn a_line_has_the_mass_of_its_material() {
    for (material, mm, mg_m) in [
        (LineMaterial::Braid, 0.165, 22.2222),
        (LineMaterial::Braid, 0.233_345, 44.4444),
        (LineMaterial::Nylon, 0.285, 72.725),
        (LineMaterial::Fluorocarbon, 0.285, 113.553),
    ] {
        let line = PaidLine::of(material, mm * 1e-3).unwrap();
        assert!((line.kg_per_m * 1e6 - mg_m).abs() < 6e-4, "{line:?}");
    }
    assert_eq!(PaidLine::of(LineMaterial::Nylon, f64::NAN).unwrap_err().field, "diameter_m");
}

// Source: the limits stated in the module; symmetry of the wind across.
#[test]
fn refuses_what_is_outside() {
    let (good, line, _) = cases()[2];
    for (field, cast) in [
        ("speed_m_s", Cast { speed_m_s: f64::NAN, ..good }),
        ("angle_rad", Cast { angle_rad: 1.6, ..good }),
        ("height_m", Cast { height_m: 51.0, ..good }),
        ("mass_kg", Cast { mass_kg: 4e-4, ..good }),
        ("drag_area_m2", Cast { drag_area_m2: -1.0, ..good }),
        ("drag parameter, 1/m", Cast { drag_area_m2: 9.0, ..good }),
    ] {
        assert_eq!(fly(&cast, &line).unwrap_err().field, field);
    }
    let heavy = PaidLine { kg_per_m: 2e-3, ..line };
    assert_eq!(fly(&good, &heavy).unwrap_err().field, "line kg_per_m");
    let thick = PaidLine { diameter_m: 2.1e-3, ..line };
    assert_eq!(fly(&good, &thick).unwrap_err().field, "line diameter_m");
    let mirrored = Cast { wind_across_m_s: -good.wind_across_m_s, ..good };
    assert_eq!(flown(&mirrored, &line)[1], -flown(&good, &line)[1]);
    let ground = Cast { height_m: 0.0, angle_rad: -0.1, ..good };
    assert_eq!(flown(&ground, &line), [0.0, 0.0, 0.0, good.speed_m_s, 0.0]);
}

// Source: the limits themselves: at their corners numbers come out, or the error that it names.
#[test]
fn the_corners_of_the_limits_are_flown_or_refused() {
    let rope = PaidLine { kg_per_m: 1e-3, diameter_m: 1.5e-3 };
    let mut lines = vec![NO_LINE, BRAID_1, rope];
    lines.push(PaidLine { kg_per_m: 0.0, ..rope });
    lines.push(PaidLine { diameter_m: 0.0, ..rope });
    let mut casts = Vec::new();
    for speed_m_s in [0.0, 1.0, 30.0, 100.0] {
        for angle in [-90.0, 0.0, 45.0, 90.0_f64] {
            for (mass_kg, drag_area_m2) in [(5e-4, 1.5e-3), (5e-4, 0.0), (2e-3, 1e-4), (10.0, 9.0)]
            {
                for (wind_along_m_s, height_m) in
                    [(-40.0, 0.0), (-9.0, 50.0), (0.0, 1.0), (3.0, 50.0), (40.0, 50.0)]
                {
                    casts.push(Cast {
                        speed_m_s,
                        angle_rad: angle.to_radians(),
                        height_m,
                        mass_kg,
                        drag_area_m2,
                        wind_along_m_s,
                        wind_across_m_s: -wind_along_m_s,
                        air_density_kg_m3: 1.225,
                    });
                }
            }
        }
    }
    for cast in &casts {
        for line in &lines {
            match fly(cast, line) {
                Ok(end) => {
                    let l = end.landing;
                    let got = l.range_m + l.drift_m + l.time_s + l.impact_speed_m_s;
                    assert!((got + end.line_out_m).is_finite(), "{cast:?} {line:?}");
                }
                // The line rules the lure.
                Err(error) => {
                    assert_eq!(error.field, "steps");
                    assert!(cast.wind_along_m_s.abs() > 30.0, "{cast:?} {line:?}");
                    assert!(cast.drag_area_m2 == 0.0 || *line == rope, "{cast:?} {line:?}");
                }
            }
        }
    }
}
