//! Short formulas of the mechanics worked by hand, apart from the code.

#![allow(missing_docs, reason = "tests")]
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

use deepbend_core::mechanics::air::air_at;
use deepbend_core::mechanics::{head_shake, hook, line, stopping, wind_on_line};
use deepbend_core::model::Model;

fn near(value: f64, expected: f64, relative: f64) {
    assert!((value / expected - 1.0).abs() <= relative, "{value} is not near {expected}");
}

// Source: by hand: π/4 × 0.285² = 0.0637940 mm²; 9 kgf of braid, 1.5 % at 0.28 of its test, has
// 88.25985 N × 0.28/0.015 = 1647.517 N, over 20 m 82.3759 N/m.
#[test]
fn line_as_a_spring() {
    near(line::section_m2(0.285e-3), 6.379_40e-8, 1e-6);
    let ea = line::axial_stiffness_of_strain_n(9.0 * 9.806_65, 0.28, 0.015);
    near(line::stiffness_n_per_m(ea, 20.0), 82.375_9, 1e-6);
    near(15.0 / line::stiffness_n_per_m(ea, 20.0), line::stretch_m(15.0, 20.0, ea), 1e-12);
}

// Source: common practice, no source, for the share 1.5; by hand 1.5 × 0.2 N = 0.3 N, and
// 0.3/(0.91 × 9.80665) kg = 33.6169 g.
#[test]
fn weight_for_contact() {
    near(wind_on_line::weight_for_contact_n(0.2, 1.5), 0.3, 1e-12);
    near(wind_on_line::head_mass_for_contact_kg(0.2, 1.5, 0.91), 0.033_616_9, 1e-5);
}

// Source: by hand: 1.225 × 10 × 0.165e-3/1.78938e-5 = 112.958, ISO 2533 air at sea level.
#[test]
fn reynolds_of_a_line() {
    let air = air_at(0.0, 15.0).unwrap();
    near(wind_on_line::reynolds(&air, 10.0, 0.165e-3), 112.958, 1e-4);
}

// Source: the definition: the weaker of hook and mouth decides.
#[test]
fn over_power_by_the_weaker() {
    near(hook::over_power(30.0, 60.0, 20.0), 1.5, 1e-12);
    near(hook::over_power(30.0, 60.0, 80.0), 0.5, 1e-12);
}

// Source: 1/0.4433968522 N/m and 4.5703 Hz of the worked tube (scipy); k/(2πf)² = 2.7350 g.
#[test]
fn mass_of_a_tip() {
    near(head_shake::effective_mass_kg(2.255_316, 4.570_3), 2.735_0e-3, 5e-5);
}

// Source: the definition of Fulton's factor: 100 × 1000 g/(50 cm)³ = 0.8.
#[test]
fn lengths_of_condition() {
    near(stopping::length_of_condition_m(1.0, 0.8), 0.5, 1e-12);
    near(stopping::length_of_condition_m(8.0, 0.8), 1.0, 1e-12);
}

// Source: from memory (inshore notes): metal below 0.2 cm²/g, tails on a head to 0.45, plugs and
// spinners to 0.8, bulky above.
#[test]
fn bulk_of_the_classes() {
    let wind = &Model::builtin().parameters().wind;
    let bulk = |air: f64| wind.bulk_cm2_per_g.at(air);
    assert!((0.05..=0.2).contains(&bulk(wind.air_compact)));
    assert!((0.2..=0.45).contains(&bulk(wind.air_steady)));
    assert!((0.45..=0.8).contains(&bulk(wind.air_wobbling)));
    assert!((0.8..=2.0).contains(&bulk(wind.air_tumbling)));
}

// Source: by hand: 60 × 0.02 kg × 9.80665 = 11.76798 N; 0.02 × 25²/(0.04 × 20) = 15.625 N.
#[test]
fn strength_against_snap_off() {
    let caught = line::Caught {
        mass_kg: 0.02,
        speed_m_s: 25.0,
        run_m: 20.0,
        break_strain: 0.04,
        weights: 60.0,
    };
    near(line::snap_off_n(&caught), 27.392_98, 1e-9);
}
