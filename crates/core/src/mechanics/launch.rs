//! The speed at which a lure leaves the rod.
//!
//! The angler swings the rod and the bent rod gives back what it stored:
//!
//! ```text
//! v = (v_h + v_s) √(m/(m + m_l))                          release speed
//! v_h = v₀ [1 + a (L − L₀)] √(F/F_w)                      tip of a stiff rod
//! F_w = 2 m v_w²/(2 d),   1/F² = 1/F_w² + 1/F_c²,   F_c = c P⅓      peak load of the swing
//! ½ (m + m_e) v_s² = η U(F)                               spring
//! ```
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | v₀, L₀, a | speed of the tip of a stiff rod of the reference length, gain per metre | m/s, m, 1/m |
//! | v_w | the speed that would be if the rod carried any load: v₀ [1 + a (L − L₀)] | m/s |
//! | d | path of the tip while it speeds up | m |
//! | F_w, F_c, F | peak load wanted (twice the mean), that the rod can carry, that comes | N |
//! | P⅓, U, m_e | third-drop load, stored energy at F, effective mass of the tip | N, J, kg |
//! | η | share of the stored energy that reaches the lure in time | – |
//! | m, m_l | mass cast; mass that stands for line, rings and hand, which hold a light lure back | kg |
//!
//! **Source.** Spring: conservation of energy with the nonlinear load curve (Rayleigh's effective
//! mass). Rotation: ω r, geometry. That the spring's share is small (a fifth of the energy or less)
//! is from memory of the literature on fly casting. **No measured release speed of lures was
//! found**: v₀, d, c, η and m_l are assumptions, chosen so that ordinary distances come out
//! (`carry`). **Validity.** Overhead casts, mass 1 g to 300 g. **Accuracy.** The spring relation is
//! exact; the speed is known to some 15 % (our estimate), ratios between outfits better.
//! **Outside.** A typed error.

use super::blank::{BendError, Blank, bend};
use super::domain::{OutsideDomain, not_negative, positive, within};
use super::infer::family::{BlankFamily, FamilyBlank, Lift, MAX_LOAD_RATIO};

/// What is assumed of the angler: an ordinary one who casts overhead at ease. All from memory or
/// chosen for ordinary distances; the values stand in the parameter file. Skill multiplies the tip
/// speed: 0.85 for a novice, 1.1 for an expert (from memory).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Angler {
    /// Speed v₀ of the tip of a stiff rod of the reference length, m/s.
    pub tip_speed_m_s: f64,
    /// Reference length L₀, m.
    pub reference_length_m: f64,
    /// Gain of speed a per metre of rod.
    pub gain_per_m: f64,
    /// Path d of the tip while it speeds up, m.
    pub path_m: f64,
    /// Load c that the rod carries in a cast, as a multiple of its third-drop load.
    pub carried_ratio: f64,
    /// Share η of the stored energy that reaches the lure.
    pub spring_share: f64,
    /// Mass m_l that stands for line, rings and hand, kg.
    pub drag_mass_kg: f64,
}

/// A cast at its release.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Launch {
    /// Release speed v, m/s.
    pub speed_m_s: f64,
    /// Part of the hand v_h, before line and rings take theirs, m/s.
    pub hand_m_s: f64,
    /// Part of the spring v_s, before line and rings take theirs, m/s.
    pub spring_m_s: f64,
    /// Peak load F on the tip, N.
    pub peak_load_n: f64,
    /// Peak load over the third-drop load: how hard the rod works.
    pub load_ratio: f64,
    /// Energy U stored at the peak, J.
    pub energy_j: f64,
}

/// Speed that a spring gives: `v = √(2 η U/(m + m_e))`, m/s.
///
/// Energy U in J, η from 0 to 1, masses in kg. Conservation of energy; exact. Outside: an error.
///
/// # Errors
/// A negative energy or effective mass, a mass that is not positive, a share outside 0 to 1.
///
/// ```
/// // 20 N/m bent by 0.8 m throws 10 g and a tip of 5 g.
/// let v = deepbend_core::mechanics::launch::spring_speed_m_s(6.4, 0.5, 0.010, 0.005)?;
/// assert!((v - 20.6559).abs() < 1e-4);
/// # Ok::<(), deepbend_core::mechanics::domain::OutsideDomain>(())
/// ```
pub fn spring_speed_m_s(
    energy_j: f64,
    share: f64,
    mass_kg: f64,
    effective_mass_kg: f64,
) -> Result<f64, OutsideDomain> {
    let energy = not_negative("energy_j", energy_j)? * within("share", share, 0.0, 1.0)?;
    let mass =
        positive("mass_kg", mass_kg)? + not_negative("effective_mass_kg", effective_mass_kg)?;
    Ok(libm::sqrt(2.0 * energy / mass))
}

/// Speed of the tip of a stiff rod that turns: `v = ω r`, m/s.
///
/// ω in rad/s, r from the centre of the turn to the tip in m. Geometry; exact.
#[must_use]
pub fn turning_speed_m_s(turn_rad_s: f64, radius_m: f64) -> f64 {
    turn_rad_s * radius_m
}

/// Energy that a bent blank holds, J: `U = P δ − ∫₀ᴾ δ dP`, δ the tip's way along the load.
///
/// Work of the load (conservation of energy) by Hermite's rule over 48 loads that crowd toward
/// zero, from the solved bend of [`super::blank`] and its stiffness. Relative accuracy 1e-4; the
/// table of [`BlankFamily`] gives the same faster.
///
/// # Errors
/// [`BendError`] for a load or an angle outside the domain of the bend.
pub fn stored_energy_j(blank: &Blank, load_n: f64, angle_rad: f64) -> Result<f64, BendError> {
    let (sin, cos) = (libm::sin(angle_rad), libm::cos(angle_rad));
    let at = |load: f64| {
        bend(blank, load, angle_rad).map(|b| {
            let give = b.tip_deflection_m * sin - b.tip_shortening_m * cos;
            (load, give, 1.0 / b.stiffness_n_per_m)
        })
    };
    let mut last = at(0.0)?;
    let mut complement = 0.0;
    for i in 1..=48 {
        let share = f64::from(i) / 48.0;
        let next = at(load_n * share * share)?;
        let step = next.0 - last.0;
        complement += 0.5 * step * (last.1 + next.1) + step * step * (last.2 - next.2) / 12.0;
        last = next;
    }
    Ok(load_n * last.1 - complement)
}

/// The release speed of a mass cast with a blank of the family.
///
/// Equations, sources, accuracy: module. `effective_mass_kg` is that of the tip
/// ([`super::vibration::effective_mass_kg`]).
///
/// # Errors
/// A mass outside 1e-4 to 1 kg, a blank outside the family, an angler whose numbers are not
/// positive, a load ratio beyond the table.
pub fn launch(
    family: &BlankFamily,
    blank: &FamilyBlank,
    effective_mass_kg: f64,
    mass_kg: f64,
    angler: &Angler,
) -> Result<Launch, OutsideDomain> {
    let third = family.third_drop_load_n(blank)?;
    let rod = Thrower { third_drop_load_n: third, length_m: blank.length_m, effective_mass_kg };
    released(&rod, mass_kg, angler, |peak| Ok(family.respond(blank, peak, Lift::Deg90)?.energy_j))
}

/// What of a rod decides a release.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Thrower {
    /// Load P⅓ that drops the tip by a third of the length, N.
    pub third_drop_load_n: f64,
    /// Length L, m.
    pub length_m: f64,
    /// Effective mass m_e of the tip, kg.
    pub effective_mass_kg: f64,
}

/// Load over third-drop load, and stored energy over P⅓ L of a fast blank, loaded across.
const ENERGY: [(f64, f64); 10] = [
    (0.0, 0.0),
    (0.2, 0.0132),
    (0.3, 0.0244),
    (0.5, 0.0477),
    (0.7, 0.0715),
    (1.0, 0.1089),
    (1.5, 0.1780),
    (2.0, 0.2555),
    (2.5, 0.3396),
    (3.0, 0.4285),
];

/// [`launch`] with the energy of a fast blank whatever the taper: a stand-in without a table of
/// bends.
///
/// Accuracy: 3 % of the speed that [`launch`] gives, since the spring's share is small (tested).
/// Beyond three times the third-drop load the energy stays.
///
/// # Errors
/// As [`launch`]; a third-drop load or a length that is not positive.
pub fn launch_by_load(
    rod: &Thrower,
    mass_kg: f64,
    angler: &Angler,
) -> Result<Launch, OutsideDomain> {
    let third = positive("third_drop_load_n", rod.third_drop_load_n)?;
    let whole = third * positive("length_m", rod.length_m)?;
    released(rod, mass_kg, angler, |peak| {
        let q = peak / third;
        let above = ENERGY.partition_point(|p| p.0 <= q).clamp(1, ENERGY.len() - 1);
        let ((q0, u0), (q1, u1)) = (ENERGY[above - 1], ENERGY[above]);
        Ok(whole * (u0 + (u1 - u0) * ((q - q0) / (q1 - q0)).min(1.0)))
    })
}

fn released(
    rod: &Thrower,
    mass_kg: f64,
    angler: &Angler,
    energy_j: impl Fn(f64) -> Result<f64, OutsideDomain>,
) -> Result<Launch, OutsideDomain> {
    let mass = within("mass_kg", mass_kg, 1e-4, 1.0)?;
    let grown = 1.0 + angler.gain_per_m * (rod.length_m - angler.reference_length_m);
    let wanted_speed = positive("tip_speed_m_s", angler.tip_speed_m_s * grown)?;
    let path = positive("path_m", angler.path_m)?;
    let ratio = within("carried_ratio", angler.carried_ratio, 0.01, MAX_LOAD_RATIO)?;
    let wanted = mass * wanted_speed * wanted_speed / path;
    let carried = ratio * rod.third_drop_load_n;
    let peak = wanted * carried / libm::hypot(wanted, carried);
    let hand = wanted_speed * libm::sqrt(peak / wanted);
    let energy = energy_j(peak)?;
    let spring = spring_speed_m_s(energy, angler.spring_share, mass, rod.effective_mass_kg)?;
    let kept = libm::sqrt(mass / (mass + not_negative("drag_mass_kg", angler.drag_mass_kg)?));
    Ok(Launch {
        speed_m_s: (hand + spring) * kept,
        hand_m_s: hand,
        spring_m_s: spring,
        peak_load_n: peak,
        load_ratio: peak / rod.third_drop_load_n,
        energy_j: energy,
    })
}

#[cfg(test)]
mod tests {
    use core::f64::consts::FRAC_PI_2;

    use super::super::infer::family;
    use super::super::infer::label::{BlankLabel, from_label};
    use super::*;
    use crate::model::Model;

    fn rod(power_class: f64, length_m: f64) -> FamilyBlank {
        let label = BlankLabel { power_class, action: 0.6, length_m };
        from_label(family(), &label, &Model::builtin().label_model()).unwrap().blank
    }

    fn cast(power: f64, grams: f64) -> Launch {
        launch(family(), &rod(power, 2.1), 4e-3, grams * 1e-3, &Model::builtin().angler()).unwrap()
    }

    // Source: physics reference 3.1, computed: 20.6559, 29.2119, 28.2843 m/s; 20 rad/s at 2.7 m.
    #[test]
    fn energy_and_rotation_give_their_speeds() {
        for (k, x, m, tip, share, speed) in [
            (20.0, 0.8, 0.010, 0.005, 0.5, 20.6559),
            (20.0, 0.8, 0.010, 0.005, 1.0, 29.2119),
            (40.0, 1.0, 0.020, 0.010, 0.6, 28.2843),
        ] {
            let got = spring_speed_m_s(0.5 * k * x * x, share, m, tip).unwrap();
            assert!((got - speed).abs() < 5e-5, "{got} {speed}");
        }
        assert_eq!(turning_speed_m_s(20.0, 2.7), 54.0);
    }

    // Source: small loads, U = P²/2k; and the bending energy ∫ M²/2EI ds of the solved shape.
    #[test]
    fn stored_energy_is_bending_energy() {
        let blank = rod(4.0, 2.1).to_blank().unwrap();
        let stiffness = bend(&blank, 0.0, FRAC_PI_2).unwrap().stiffness_n_per_m;
        let small = stored_energy_j(&blank, 1e-3, FRAC_PI_2).unwrap();
        assert!((small * 2.0 * stiffness / 1e-6 - 1.0).abs() < 1e-4, "{small}");
        for (load, angle) in [(3.0, FRAC_PI_2), (12.0, 0.9), (12.0, 2.2)] {
            let points = super::super::blank::shape(&blank, load, angle, 2401).unwrap();
            // ½ ∫ M dθ
            let energy: f64 = points
                .windows(2)
                .map(|p| {
                    0.25 * (p[0].moment_n_m + p[1].moment_n_m) * (p[1].angle_rad - p[0].angle_rad)
                })
                .sum();
            let got = stored_energy_j(&blank, load, angle).unwrap();
            assert!((got / energy - 1.0).abs() < 3e-4, "{load} {angle}: {got} {energy}");
        }
        let own = rod(4.0, 2.1);
        let table = family().respond(&own, 3.0, Lift::Deg90).unwrap().energy_j;
        let solved = stored_energy_j(&blank, 3.0, FRAC_PI_2).unwrap();
        assert!((table / solved - 1.0).abs() < 1e-2);
    }

    // Source: from memory (the trade): release at 22 to 32 m/s for a lure that suits the rod; the
    // spring's share of the energy a fifth or less (from memory of the literature).
    #[test]
    fn lures_that_suit_the_rod_leave_at_ordinary_speeds() {
        for (power, grams) in [(3.0, 10.0), (4.0, 14.0), (5.0, 20.0), (6.0, 35.0), (7.0, 60.0)] {
            let got = cast(power, grams);
            assert!((22.0..32.0).contains(&got.speed_m_s), "{power} {grams}: {got:?}");
            let moving = got.hand_m_s + got.spring_m_s;
            let share = 0.25 * got.energy_j / (0.5 * grams * 1e-3 * moving * moving);
            assert!((0.01..0.2).contains(&share), "{share} {got:?}");
        }
    }

    // Source: common practice, no source: too light does not load, too heavy must be lobbed; a
    // longer rod throws farther (about 4 % a decimetre of the trade is from memory).
    #[test]
    fn a_rod_has_masses_that_suit_it() {
        let (light, right, heavy) = (cast(5.0, 2.0), cast(5.0, 20.0), cast(5.0, 120.0));
        assert!(light.speed_m_s < 0.8 * right.speed_m_s, "{light:?} {right:?}");
        assert!(heavy.speed_m_s < 0.9 * right.speed_m_s, "{heavy:?} {right:?}");
        assert!(cast(7.0, 120.0).speed_m_s > 1.1 * heavy.speed_m_s);
        let at = |length| {
            launch(family(), &rod(5.0, length), 4e-3, 0.02, &Model::builtin().angler())
                .unwrap()
                .speed_m_s
        };
        let gain = at(2.6) / at(2.5) - 1.0;
        assert!((0.015..0.05).contains(&gain), "{gain}");
        let wrong = Angler { spring_share: 1.5, ..Model::builtin().angler() };
        let error = launch(family(), &rod(5.0, 2.1), 4e-3, 0.02, &wrong).unwrap_err();
        assert_eq!(error.field, "share");
    }

    // Source: the release with the energy of each blank.
    #[test]
    fn the_stand_in_is_within_its_bound() {
        let angler = Model::builtin().angler();
        let mut worst: f64 = 0.0;
        for (power, action, length) in [
            (1.0, 1.0, 1.8),
            (3.0, 0.0, 2.1),
            (4.0, 0.75, 2.1),
            (5.0, 0.5, 2.7),
            (6.0, 1.0, 2.2),
            (8.0, 0.25, 2.4),
        ] {
            let label = BlankLabel { power_class: power, action, length_m: length };
            let own = from_label(family(), &label, &Model::builtin().label_model()).unwrap();
            for share in [0.2, 0.5, 1.0, 2.0] {
                let mass = share * own.third_drop_load_n / 9.81 / 20.0;
                let whole = launch(family(), &own.blank, 8e-3, mass, &angler).unwrap();
                let rod = Thrower {
                    third_drop_load_n: own.third_drop_load_n,
                    length_m: length,
                    effective_mass_kg: 8e-3,
                };
                let quick = launch_by_load(&rod, mass, &angler).unwrap();
                worst = worst.max((quick.speed_m_s / whole.speed_m_s - 1.0).abs());
            }
        }
        assert!((1e-5..0.03).contains(&worst), "{worst}");
    }
}
