//! Line, shake, stop, air and sea water against values from general libraries.
//!
//! Source of every expected value: `mechanics_line_reference.py` beside this file, which integrates
//! the equations of motion (scipy), searches the balance of forces (scipy), evaluates Lamb's
//! integral (scipy) or asks other libraries (fluids, gsw); versions stand in the JSON file.

#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

use deepbend_core::mechanics::head_shake::{Shake, Tip, over_cycle};
use deepbend_core::mechanics::hook::{Chain, Gives, Limit, at_point};
use deepbend_core::mechanics::stopping::{
    Brake, Run, axial_added_mass_share, drag_to_stop_n, stop,
};
use deepbend_core::mechanics::{air, sea_water, sphere};
use serde_json::Value;

fn cases(name: &str) -> Vec<Value> {
    let all: Value = serde_json::from_str(include_str!("mechanics_line_reference.json")).unwrap();
    let list = all[name].as_array().unwrap().clone();
    assert!(list.len() > 4, "{name} has too few cases to check anything");
    list
}

fn number(of: &Value, field: &str) -> f64 {
    of[field].as_f64().unwrap_or_else(|| panic!("{field} is missing in {of}"))
}

fn near(got: f64, wanted: f64, relative: f64, what: &Value) {
    assert!((got - wanted).abs() <= relative * wanted.abs(), "{got}, not {wanted}: {what}");
}

fn tip(case: &Value) -> Tip {
    Tip {
        stiffness_n_per_m: number(case, "stiffness_n_per_m"),
        mass_kg: number(case, "mass_kg"),
        damping_ratio: number(case, "damping_ratio"),
    }
}

fn shake(case: &Value, mean_tension_n: f64, slip_n: f64) -> Shake {
    Shake {
        amplitude_m: number(case, "amplitude_m"),
        frequency_hz: number(case, "frequency_hz"),
        mean_tension_n,
        line_stiffness_n_per_m: number(case, "line_stiffness_n_per_m"),
        slip_n,
    }
}

#[test]
fn a_tight_line_swings_as_integrated() {
    for case in cases("tight_swing") {
        let swing = over_cycle(&tip(&case), &shake(&case, 500.0, 1e4)).unwrap();
        let wanted = number(&case["expected"], "amplitude_n");
        near(swing.amplitude_n, wanted, 2e-6, &case);
        near(500.0 - swing.least_n, wanted, 2e-6, &case);
        near(swing.greatest_n - 500.0, wanted, 2e-6, &case);
    }
}

#[test]
fn a_drag_lowers_the_swing_as_integrated() {
    for case in cases("slip_swing") {
        let shake = shake(&case, number(&case, "mean_tension_n"), number(&case, "slip_n"));
        let swing = over_cycle(&tip(&case), &shake).unwrap();
        let wanted = &case["expected"];
        // The shake is brought up over a minute; what it overshoots stays given.
        near(swing.least_n, number(wanted, "least_n"), 2e-3, &case);
        near(swing.greatest_n, number(wanted, "greatest_n"), 2e-3, &case);
        near(swing.line_given_m, number(wanted, "line_given_m"), 1e-2, &case);
    }
}

#[test]
fn slack_is_foretold_and_the_jerk_is_as_stated() {
    for case in cases("slack_swing") {
        let shake = shake(&case, number(&case, "mean_tension_n"), number(&case, "slip_n"));
        let swing = over_cycle(&tip(&case), &shake).unwrap();
        let wanted = &case["expected"];
        assert_eq!(swing.least_n, 0.0, "{case}");
        assert_eq!(number(wanted, "least_n"), 0.0, "{case}");
        let share = number(wanted, "slack_share");
        assert!(swing.slack_share > 0.0 && share > swing.slack_share - 1e-3, "{case}");
        let jerk = number(wanted, "greatest_n") / swing.greatest_n;
        assert!((0.95..3.5).contains(&jerk), "{jerk}: {case}");
    }
}

#[test]
fn a_fish_stops_where_integrated() {
    for case in cases("stop") {
        let run = Run {
            mass_kg: number(&case, "mass_kg"),
            added_mass_share: number(&case, "added_mass_share"),
            speed_m_s: number(&case, "speed_m_s"),
            thrust_n: number(&case, "thrust_n"),
            current_n: number(&case, "current_n"),
        };
        let brake = Brake {
            start_n: number(&case, "start_n"),
            stiffness_n_per_m: number(&case, "stiffness_n_per_m"),
            slip_n: number(&case, "slip_n"),
        };
        let wanted = &case["expected"];
        let stopped = stop(&run, &brake).unwrap().unwrap();
        let distance = number(wanted, "distance_m");
        near(stopped.distance_m, distance, 1e-6, &case);
        near(stopped.greatest_n, number(wanted, "greatest_n"), 1e-6, &case);
        assert!((stopped.line_given_m - number(wanted, "line_given_m")).abs() < 1e-5 * distance);
        if stopped.line_given_m > 0.0 {
            let drag = drag_to_stop_n(&run, brake.start_n, brake.stiffness_n_per_m, distance);
            near(drag.unwrap().unwrap(), brake.slip_n, 1e-5, &case);
        }
    }
}

#[test]
fn the_chain_gives_the_force_that_uses_up_the_sweep() {
    let mut seen = [false; 4];
    for case in cases("chain") {
        let gives = number(&case, "gives_n");
        let hand = case["hand"].as_bool().unwrap();
        let chain = Chain {
            rod_stiffness_n_per_m: number(&case, "rod_stiffness_n_per_m"),
            rod_force_n: number(&case, "rod_force_n"),
            sweep_m: number(&case, "sweep_m"),
            slack_m: number(&case, "slack_m"),
            line_stiffness_n_per_m: number(&case, "line_stiffness_n_per_m"),
            gives: if hand { Gives::Line(gives) } else { Gives::Drag(gives) },
        };
        let point = at_point(&chain).unwrap();
        let wanted = &case["expected"];
        near(point.force_n, number(wanted, "force_n"), 1e-10, &case);
        let (place, name) = match point.limit {
            Limit::Sweep => (0, "Sweep"),
            Limit::Rod => (1, "Rod"),
            Limit::Drag => (2, "Drag"),
            Limit::Line => (3, "Line"),
        };
        assert_eq!(wanted["limit"].as_str(), Some(name), "{case}");
        seen[place] = true;
    }
    assert_eq!(seen, [true; 4], "every link limits somewhere");
}

#[test]
fn added_mass_is_lambs_integral() {
    for case in cases("added_mass") {
        let share = axial_added_mass_share(number(&case, "fineness")).unwrap();
        near(share, number(&case, "share"), 1e-9, &case);
    }
}

// The library's atmosphere (1976) has the same constants in the troposphere, but for the gas
// constant's last digits and the viscosity's.
#[test]
fn air_is_the_other_librarys_air() {
    for case in cases("air") {
        let height = number(&case, "geometric_m");
        let geopotential = air::geopotential_m(height);
        let kelvin = air::standard_temperature_k(geopotential).unwrap();
        near(kelvin, number(&case, "temperature_k"), 1e-6, &case);
        let pressure = air::standard_pressure_pa(geopotential).unwrap();
        near(pressure, number(&case, "pressure_pa"), 1e-5, &case);
        let air = air::air_at(height, kelvin - air::ZERO_CELSIUS_K).unwrap();
        near(air.density_kg_m3, number(&case, "density_kg_m3"), 1e-5, &case);
        near(air.viscosity_pa_s, number(&case, "viscosity_pa_s"), 1e-4, &case);
    }
}

#[test]
fn spheres_fall_as_the_other_library_says() {
    for case in cases("sphere") {
        let cd = sphere::drag_coefficient(number(&case, "reynolds")).unwrap();
        near(cd, number(&case, "drag_coefficient"), 1e-12, &case);
        let speed = sphere::terminal_speed_m_s(
            number(&case, "mass_kg"),
            number(&case, "sphere_kg_m3"),
            number(&case, "fluid_kg_m3"),
            number(&case, "viscosity_pa_s"),
        );
        // The library takes a gravity of 9.80665 as well; its solver stops at about 1e-7.
        near(speed.unwrap(), number(&case, "speed_m_s"), 1e-6, &case);
    }
}

// TEOS-10 is a newer fit to other data: the two agree within 0.01 kg/m³ at the surface.
#[test]
fn sea_water_is_near_teos_10() {
    for case in cases("sea_water") {
        let density =
            sea_water::density_kg_m3(number(&case, "salinity"), number(&case, "temperature_c"));
        let wanted = number(&case, "density_kg_m3");
        assert!((density.unwrap() - wanted).abs() < 0.01, "{case}");
    }
}
