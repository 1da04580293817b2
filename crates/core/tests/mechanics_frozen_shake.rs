//! Frozen result: how much of the tension a head-shake takes, by action and by line.
//!
//! No outside value: what the mechanics said when the register of equations recorded that the give
//! of the tip at a fighting load does not explain the rule of practice about actions and trebles. A
//! change here means that the section of `EQUATIONS.md` on that disagreement must be read again.

#![allow(missing_docs, reason = "tests")]
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

use deepbend_core::gear::RodMaterial;
use deepbend_core::mechanics::head_shake::{Shake, Tip, over_cycle};
use deepbend_core::mechanics::infer::family::{BlankFamily, Lift};
use deepbend_core::mechanics::infer::label::{BlankLabel, from_label};
use deepbend_core::mechanics::line::{axial_stiffness_of_strain_n, stiffness_n_per_m};
use deepbend_core::mechanics::vibration::{MassAlong, effective_mass_kg};
use deepbend_core::model::Model;

const MEAN_N: f64 = 15.0;

/// The tip of a medium graphite blank of 2.1 m, loaded at 60 degrees.
fn tip(family: &BlankFamily, action: f64) -> Tip {
    let label = BlankLabel { power_class: 4.0, action, length_m: 2.1 };
    let own = from_label(family, &label, &Model::builtin().label_model()).unwrap().blank;
    let blank = own.to_blank().unwrap();
    let mass = MassAlong::assumed(&blank, RodMaterial::Graphite);
    let angle = Lift::Deg60.angle_rad();
    Tip {
        stiffness_n_per_m: family.respond(&own, MEAN_N, Lift::Deg60).unwrap().stiffness_n_per_m,
        mass_kg: effective_mass_kg(&blank, &mass, MEAN_N, angle).unwrap(),
        damping_ratio: 0.02,
    }
}

/// Share of the mean tension that the shake takes at 2 and at 4 Hz.
fn shares(tip: &Tip, test_kgf: f64, strain: f64) -> [f64; 2] {
    let line = axial_stiffness_of_strain_n(test_kgf * 9.806_65, 0.28, strain);
    [2.0, 4.0].map(|frequency_hz| {
        let shake = Shake {
            amplitude_m: 0.125,
            frequency_hz,
            mean_tension_n: MEAN_N,
            line_stiffness_n_per_m: stiffness_n_per_m(line, 20.0),
            slip_n: 1e3,
        };
        over_cycle(tip, &shake).unwrap().amplitude_n / MEAN_N
    })
}

// Frozen: see the head of this file.
#[test]
fn the_line_decides_and_not_the_action() {
    let family = BlankFamily::new().unwrap();
    let frozen = [
        (1.0, [0.317, 0.246], [0.061, 0.058]),
        (0.75, [0.325, 0.262], [0.062, 0.059]),
        (0.5, [0.338, 0.274], [0.062, 0.060]),
        (0.25, [0.345, 0.276], [0.062, 0.060]),
    ];
    for (action, braid, nylon) in frozen {
        let tip = tip(&family, action);
        let lines = [(shares(&tip, 9.0, 0.015), braid), (shares(&tip, 6.0, 0.1), nylon)];
        for (got, was) in lines {
            for (got, was) in got.iter().zip(was) {
                assert!((got - was).abs() < 2e-3, "action {action}: {got}, was {was}");
            }
        }
    }
}
