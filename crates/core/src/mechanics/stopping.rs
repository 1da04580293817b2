//! Stopping a fish short of cover: speed and size of the fish, work of the line over a distance.
//!
//! **What is not known.** No measurement of line tension against a fish's weight was found. The
//! thrust of a running fish is a scenario, 0.3 to 1.5 of its body weight, an assumption that the
//! caller passes and names as such.

use super::air::GRAVITY_M_S2;
use super::domain::{OutsideDomain, not_negative, positive, within};

/// Burst speed of a fish (Videler and Wardle 1991), m/s: `v = min(n L, v_max)`.
///
/// n body lengths a second, 10 on average over 27 species; L length, m; v_max absolute limit, m/s.
/// Source: Videler and Wardle 1991, Rev. Fish Biol. Fish. 1:23-40 (abstract). The limit: from the
/// twitch time of their muscle sailfish reach 8.3 ± 1.4, barracuda 6.2 ± 1.0, little tunny 5.6,
/// dorado 4.0 m/s (Svendsen and others, Biol. Open, doi 10.1242/bio.019919, abstract). Validity:
/// an upper end in water of usual warmth; tail beats slow with length and cold. Accuracy: our
/// estimate a factor of 1.5. Outside: clamped at v_max by the equation itself.
///
/// ```
/// use deepbend_core::mechanics::stopping::burst_speed_m_s;
/// assert_eq!(burst_speed_m_s(0.5, 10.0, 8.3), 5.0);
/// assert_eq!(burst_speed_m_s(1.2, 10.0, 8.3), 8.3);
/// ```
#[must_use]
pub fn burst_speed_m_s(length_m: f64, lengths_per_s: f64, limit_m_s: f64) -> f64 {
    (lengths_per_s * length_m).min(limit_m_s)
}

/// Length of a fish from its species' standard weight, m: `log₁₀ W = a + b log₁₀ L`, turned round.
///
/// W mass, kg here, g in the published equation; L total length, m here, mm there; a, b intercept
/// and slope of the species. Source: Wege and Anderson 1978 (form, from memory); a, b from each
/// species' paper, such as Anderson and Neumann 1996 for northern pike. Validity: from the least
/// length of the species' equation. Accuracy: the equation is the 75th percentile of mass; a usual
/// fish is 2 to 5 % longer than this (our estimate). Outside: an error below the least length.
///
/// # Errors
/// A mass or slope that is not positive, or a length below the least of the equation.
///
/// ```
/// // Northern pike of 7.096 kg: 1 m.
/// let l = deepbend_core::mechanics::stopping::length_of_standard_weight_m(
///     7.09578, -5.437, 3.096, 0.1)?;
/// assert!((l - 1.0).abs() < 1e-6);
/// # Ok::<(), deepbend_core::mechanics::domain::OutsideDomain>(())
/// ```
pub fn length_of_standard_weight_m(
    mass_kg: f64,
    intercept: f64,
    slope: f64,
    least_length_m: f64,
) -> Result<f64, OutsideDomain> {
    let grams = positive("mass_kg", mass_kg)? * 1e3;
    let slope = positive("slope", slope)?;
    let length = libm::pow(10.0, (libm::log10(grams) - intercept) / slope) / 1e3;
    within("length_m", length, least_length_m, f64::MAX)
}

/// Length of a fish from its condition (Fulton 1904), m: `K = 100 W/L³`, turned round.
///
/// W mass, kg here, g in the definition; L length, m here, cm there; K condition, about 0.7 to 0.8
/// for a pike, 1 to 1.2 for trout, 1.3 to 1.6 for deep-bodied fish (from memory). Source: Fulton's
/// condition factor (from memory). Validity: where no standard weight is at hand. Accuracy: a third
/// of the doubt in K, about 7 % (our estimate). Outside: carried on.
///
/// ```
/// let l = deepbend_core::mechanics::stopping::length_of_condition_m(1.0, 0.8);
/// assert!((l - 0.5).abs() < 1e-12);
/// ```
#[must_use]
pub fn length_of_condition_m(mass_kg: f64, condition: f64) -> f64 {
    libm::cbrt(mass_kg * 1e5 / condition) / 100.0
}

/// Frontal area of a fish taken as a prolate spheroid, m²: `A = 3 m/(2 ρ L)`.
///
/// m mass, kg; ρ density of fish (about that of water), kg/m³; L length, m. Source: geometry:
/// volume π L D²/6, section π D²/4. Accuracy: our estimate 20 %. Outside: a length of zero gives
/// infinity.
#[must_use]
pub fn frontal_area_m2(mass_kg: f64, density_kg_m3: f64, length_m: f64) -> f64 {
    1.5 * mass_kg / (density_kg_m3 * length_m)
}

/// Water that goes along with a fish that runs straight (Lamb's prolate spheroid), as a share of
/// its mass: `k = α/(2 − α)`, `α = 2 (1 − e²)/e³ (½ ln((1 + e)/(1 − e)) − e)`, `e² = 1 − 1/φ²`.
///
/// φ length over greatest thickness, 1.05 to 100. Source: Lamb, "Hydrodynamics", articles 114
/// and 115 (from memory), ideal fluid. Validity: straight along the axis, body as dense as water. A
/// start from rest with the body bent takes far more: 1.2 of the mass in a trout of 0.268 kg
/// (J. Exp. Biol. 96:93, abstract). Accuracy: exact for the spheroid to 1e-9. Outside: an error.
///
/// # Errors
/// The fineness lies outside 1.05 to 100.
///
/// ```
/// let k = deepbend_core::mechanics::stopping::axial_added_mass_share(5.0)?;
/// assert!((k - 0.0591).abs() < 5e-5);
/// # Ok::<(), deepbend_core::mechanics::domain::OutsideDomain>(())
/// ```
pub fn axial_added_mass_share(fineness: f64) -> Result<f64, OutsideDomain> {
    let fineness = within("fineness", fineness, 1.05, 100.0)?;
    let rest = 1.0 / (fineness * fineness);
    let e = (1.0 - rest).sqrt();
    let alpha = 2.0 * rest / (e * e * e) * (libm::atanh(e) - e);
    Ok(alpha / (2.0 - alpha))
}

/// Drag of the water on a body, N: `F = ½ ρ C_d A v²`.
///
/// ρ density, kg/m³; C_d drag coefficient on A; A area, m²; v speed of the water past it, m/s.
/// Source: definition of C_d. Accuracy: that of C_d A. A fish across the current shows its side.
#[must_use]
pub fn water_drag_n(
    density_kg_m3: f64,
    drag_coefficient: f64,
    area_m2: f64,
    speed_m_s: f64,
) -> f64 {
    0.5 * density_kg_m3 * drag_coefficient * area_m2 * speed_m_s * speed_m_s
}

/// Thrust of a running fish, N: `F = s m g`.
///
/// s share of the body weight, 0.3 to 1.5; m mass, kg; g = 9.80665 m/s². Source: none; the share
/// is a labelled assumption. Accuracy: none known. For scale: the muscle of a trout of 0.0605 kg
/// pulled 2.2 N sideways at the tail, 3.7 body weights (J. Exp. Biol. 119:71, abstract).
#[must_use]
pub fn thrust_n(mass_kg: f64, body_weights: f64) -> f64 {
    body_weights * mass_kg * GRAVITY_M_S2
}

/// A fish on its run to cover.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Run {
    /// Mass m of the fish, kg.
    pub mass_kg: f64,
    /// Water that goes along with it, as a share of its mass.
    pub added_mass_share: f64,
    /// Speed v when the line comes to bear, m/s.
    pub speed_m_s: f64,
    /// Thrust, N; see [`thrust_n`].
    pub thrust_n: f64,
    /// Drag of the current that carries it on, N; see [`water_drag_n`].
    pub current_n: f64,
}

/// Rod, line and drag as a brake: the tension rises with the run until the drag slips.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Brake {
    /// Tension when the run begins, N.
    pub start_n: f64,
    /// Stiffness of rod and line in a row, N/m.
    pub stiffness_n_per_m: f64,
    /// Force at which the drag gives line, N.
    pub slip_n: f64,
}

/// Where a fish was stopped.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stop {
    /// Distance that it ran, m.
    pub distance_m: f64,
    /// Greatest tension on the way, N.
    pub greatest_n: f64,
    /// Line that the drag gave, m.
    pub line_given_m: f64,
}

/// The run's energy, J, and its steady push towards cover, N.
fn demand(run: &Run) -> Result<(f64, f64), OutsideDomain> {
    let mass = positive("mass_kg", run.mass_kg)?;
    let added = not_negative("added_mass_share", run.added_mass_share)?;
    let speed = not_negative("speed_m_s", run.speed_m_s)?;
    let thrust = not_negative("thrust_n", run.thrust_n)?;
    let current = not_negative("current_n", run.current_n)?;
    Ok((0.5 * mass * (1.0 + added) * speed * speed, thrust + current))
}

/// Mean pull that stops a fish within a distance, N: `F = T + C + ½ (1 + k) m v²/s`.
///
/// T thrust, C current, N; k added mass as a share; m mass, kg; v speed, m/s; s distance, m.
/// Source: work and energy. Validity: pull straight back along the run; the fish's own water drag
/// is left out, which errs on the side of more pull. Accuracy: that of T and v, a factor of 2 (our
/// estimate). Outside: an error.
///
/// # Errors
/// A mass or distance that is not positive, or another quantity below zero.
///
/// ```
/// use deepbend_core::mechanics::stopping::{Run, mean_pull_n};
/// let run =
///     Run { mass_kg: 2.0, added_mass_share: 0.0, speed_m_s: 3.0, thrust_n: 10.0, current_n: 1.0 };
/// assert_eq!(mean_pull_n(&run, 3.0)?, 14.0);
/// # Ok::<(), deepbend_core::mechanics::domain::OutsideDomain>(())
/// ```
pub fn mean_pull_n(run: &Run, distance_m: f64) -> Result<f64, OutsideDomain> {
    let (energy, push) = demand(run)?;
    Ok(push + energy / positive("distance_m", distance_m)?)
}

/// Where rod, line and drag stop a fish: `½ (1 + k) m v² + (T + C) s = ∫₀ˢ min(F₀ + K x, F_s) dx`,
/// solved for s. `None`: the drag is under the fish's push, and it is never stopped.
///
/// F₀ tension at the start, F_s force at which the drag slips, N; K stiffness of rod and line in a
/// row, N/m; else as [`mean_pull_n`]. While the tension rises, rod and line take up work; then the
/// drag turns it into heat. Source: work and energy. Validity, accuracy: as [`mean_pull_n`].
///
/// # Errors
/// As [`mean_pull_n`]; a stiffness that is not positive, a drag below zero, a start outside 0 to
/// the drag.
pub fn stop(run: &Run, brake: &Brake) -> Result<Option<Stop>, OutsideDomain> {
    let (energy, push) = demand(run)?;
    let stiffness = positive("stiffness_n_per_m", brake.stiffness_n_per_m)?;
    let slip = not_negative("slip_n", brake.slip_n)?;
    let start = within("start_n", brake.start_n, 0.0, slip)?;
    let net = push - start;
    let root = (net * net + 2.0 * stiffness * energy).sqrt();
    // The form of the root that does not cancel.
    let rising = if net > 0.0 {
        (net + root) / stiffness
    } else if energy > 0.0 {
        2.0 * energy / (root - net)
    } else {
        0.0
    };
    let stretch = (slip - start) / stiffness;
    if rising <= stretch {
        let greatest_n = start + stiffness * rising;
        return Ok(Some(Stop { distance_m: rising, greatest_n, line_given_m: 0.0 }));
    }
    if slip <= push {
        return Ok(None);
    }
    let left = energy + push * stretch - 0.5 * (start + slip) * stretch;
    let given = left / (slip - push);
    Ok(Some(Stop { distance_m: stretch + given, greatest_n: slip, line_given_m: given }))
}

/// The least drag that stops a fish within a distance, N: [`stop`] turned round,
/// `F_s = F₀ + K s − √(K² s² − 2 K (E + (T + C − F₀) s))`.
///
/// `None`: rod and line give too much; even a locked drag does not stop it there.
/// E = ½ (1 + k) m v², J; else as [`stop`]. Source, validity, accuracy: as [`stop`].
///
/// # Errors
/// As [`mean_pull_n`]; a stiffness that is not positive, a start below zero.
pub fn drag_to_stop_n(
    run: &Run,
    start_n: f64,
    stiffness_n_per_m: f64,
    distance_m: f64,
) -> Result<Option<f64>, OutsideDomain> {
    let (energy, push) = demand(run)?;
    let start = not_negative("start_n", start_n)?;
    let stiffness = positive("stiffness_n_per_m", stiffness_n_per_m)?;
    let distance = positive("distance_m", distance_m)?;
    let work = energy + (push - start) * distance;
    if work <= 0.0 {
        return Ok(Some(start));
    }
    let locked = stiffness * distance;
    let under = locked * locked - 2.0 * stiffness * work;
    if under < 0.0 {
        return Ok(None);
    }
    Ok(Some(start + 2.0 * stiffness * work / (locked + under.sqrt())))
}

#[cfg(test)]
mod tests {
    use super::*;

    const RUN: Run = Run {
        mass_kg: 3.0,
        added_mass_share: 0.06,
        speed_m_s: 4.0,
        thrust_n: 20.0,
        current_n: 5.0,
    };

    // Source: standard weights: Anderson and Neumann 1996 (pike), Murphy and others 1990 (walleye),
    // Kolander and others 1993 (smallmouth bass), Brown and Murphy 1991 (striped bass).
    #[test]
    fn lengths_of_standard_weights() {
        for (a, b, grams, mm) in [
            (-5.437, 3.096, 829.87, 500.0),
            (-5.437, 3.096, 7095.78, 1000.0),
            (-5.453, 3.180, 3930.17, 700.0),
            (-5.329, 3.200, 396.08, 300.0),
            (-4.924, 3.007, 4277.69, 700.0),
        ] {
            let length = length_of_standard_weight_m(grams / 1e3, a, b, 0.15).unwrap();
            assert!((length * 1e3 - mm).abs() < 0.01, "{grams}: {length}");
        }
        assert!(length_of_standard_weight_m(0.001, -5.437, 3.096, 0.1).is_err());
    }

    // Source: 10 L/s of Videler and Wardle 1991 for 0.3, 0.5 and 1 m; the sailfish's 8.3 m/s.
    #[test]
    fn bursts() {
        for (length, speed) in [(0.3, 3.0), (0.5, 5.0), (1.0, 8.3)] {
            assert!((burst_speed_m_s(length, 10.0, 8.3) - speed).abs() < 1e-12);
        }
    }

    // Source: Lamb's table of the prolate spheroid (from memory), three decimals; his 0.209 at 2 is
    // 0.210 by his own integral.
    #[test]
    fn added_mass_of_the_spheroid() {
        for (fineness, share) in
            [(2.0, 0.209), (2.99, 0.122), (3.99, 0.082), (4.99, 0.059), (9.97, 0.021)]
        {
            let made = axial_added_mass_share(fineness).unwrap();
            assert!((made - share).abs() < 1.1e-3, "{fineness}: {made}");
        }
        assert!(axial_added_mass_share(1.0).is_err());
    }

    // Source: J. Exp. Biol. 119:71 (abstract): 2.2 N at 0.0605 kg is 3.708 body weights; own area
    // and drag by hand.
    #[test]
    fn forces_by_hand() {
        assert!((thrust_n(0.0605, 3.708) - 2.2).abs() < 1e-4);
        assert!((frontal_area_m2(2.0, 1000.0, 0.6) - 0.005).abs() < 1e-15);
        assert!((water_drag_n(1000.0, 0.4, 0.005, 1.0) - 1.0).abs() < 1e-15);
    }

    // Source: work and energy: without stretch the pull over the distance is the energy.
    #[test]
    fn a_stiff_brake_is_the_mean_pull() {
        let pull = mean_pull_n(&RUN, 2.0).unwrap();
        assert!((pull - (25.0 + 0.5 * 3.0 * 1.06 * 16.0 / 2.0)).abs() < 1e-12);
        let brake = Brake { start_n: pull, stiffness_n_per_m: 30.0, slip_n: pull };
        let stopped = stop(&RUN, &brake).unwrap().unwrap();
        assert!((stopped.distance_m - 2.0).abs() < 1e-12);
        assert!((stopped.line_given_m - 2.0).abs() < 1e-12);
    }

    // Source: the two functions are each other's inverse; a soft rod asks for more drag.
    #[test]
    fn drag_and_distance_agree() {
        for (start, stiffness, distance) in [(5.0, 40.0, 4.0), (0.0, 15.0, 8.0), (25.0, 200.0, 1.5)]
        {
            let slip = drag_to_stop_n(&RUN, start, stiffness, distance).unwrap().unwrap();
            assert!(slip > mean_pull_n(&RUN, distance).unwrap());
            let brake = Brake { start_n: start, stiffness_n_per_m: stiffness, slip_n: slip };
            let stopped = stop(&RUN, &brake).unwrap().unwrap();
            assert!((stopped.distance_m - distance).abs() < 1e-9);
        }
    }

    // Source: the law of the model: a drag under the push stops nothing; a soft rod over a short
    // distance cannot; a fish at rest under the start tension stays.
    #[test]
    fn what_cannot_be_stopped() {
        let brake = Brake { start_n: 5.0, stiffness_n_per_m: 20.0, slip_n: 25.0 };
        assert_eq!(stop(&RUN, &brake), Ok(None));
        assert_eq!(drag_to_stop_n(&RUN, 5.0, 10.0, 1.0), Ok(None));
        let resting = Run { speed_m_s: 0.0, ..RUN };
        let held = Brake { start_n: 26.0, stiffness_n_per_m: 20.0, slip_n: 30.0 };
        assert_eq!(stop(&resting, &held).unwrap().unwrap().distance_m, 0.0);
        assert_eq!(drag_to_stop_n(&resting, 26.0, 20.0, 3.0), Ok(Some(26.0)));
    }

    // Source: the stated domain.
    #[test]
    fn outside_is_an_error() {
        assert!(mean_pull_n(&RUN, 0.0).is_err());
        assert!(mean_pull_n(&Run { mass_kg: -1.0, ..RUN }, 1.0).is_err());
        let brake = Brake { start_n: 31.0, stiffness_n_per_m: 20.0, slip_n: 30.0 };
        assert!(stop(&RUN, &brake).is_err());
    }
}
