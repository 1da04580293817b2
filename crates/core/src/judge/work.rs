//! Rod, line and lure at work: what mechanics says of a case, once for all factors.
//!
//! Stand-ins take the place of solved bends, so that a judgement stays cheap; each names the error
//! bound that its test holds against the solved blank. Equations: `EQUATIONS.md`.

use super::case::Case;
use crate::gear::{Handle, LineMaterial, RodMaterial};
use crate::mechanics::flight::GRAVITY_M_S2;
use crate::mechanics::head_shake::Tip;
use crate::mechanics::launch::{Launch, Thrower, launch_by_load};
use crate::mechanics::{hook, line, vibration};
use crate::quantity::N_PER_KGF;

/// Actions of the stand-ins, less one: slow, moderate, moderate-fast, fast, extra-fast.
const STEPS: usize = 4;
/// Tangent stiffness along the line over P⅓/L, at 4.5 times the third-drop load P⅓, rod raised by
/// 60 degrees, by action. Within 3 % of the solved blank.
const STIFFNESS: [f64; STEPS + 1] = [60.97, 57.02, 54.67, 50.60, 48.25];
/// Mass that moves with the tip at the same load, over the mass of the blank. Within 4 %.
const MOVED: [f64; STEPS + 1] = [1.002, 0.752, 0.679, 0.619, 0.654];
/// Give of the tip along the line over the length at 4.5 times the third-drop load, rod raised by
/// 45 degrees: the same for every action within 4 %.
const GIVE: f64 = 0.187;
/// Mass of a graphite blank over L (P⅓ L²)^(1/3), kg, N, m. Within 2 %.
const BLANK_MASS: f64 = 0.0144;

/// Mass of a blank that bends alike, over that of a graphite one.
fn heaviness(material: RodMaterial) -> f64 {
    match material {
        RodMaterial::Graphite => 1.0,
        RodMaterial::Composite => 1.31,
        RodMaterial::Glass => 1.77,
    }
}

fn by_action(table: &[f64; STEPS + 1], action: f64) -> f64 {
    let place = action.clamp(0.0, 1.0) * STEPS as f64;
    let below = (place as usize).min(STEPS - 1);
    table[below] + (table[below + 1] - table[below]) * (place - below as f64)
}

/// What mechanics says of a case.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Work {
    /// Load that drops the tip by a third of the length, N.
    pub(super) third_drop_n: f64,
    /// Pull that the rod can hold with the butt raised by 45 degrees, N.
    pub(super) rod_force_n: f64,
    /// Stiffness of the rod up to that pull, N/m.
    pub(super) rod_n_per_m: f64,
    /// Stiffness of the line that is out, N/m.
    pub(super) line_n_per_m: f64,
    /// Share of the tension that a head-shake takes, 0 to 1.
    pub(super) swing: f64,
    /// The tip as the fish's head feels it.
    tip: Tip,
    /// The lure leaving the rod; all zero where nothing is cast.
    pub(super) cast: Launch,
    /// The same of no more than the rod throws well.
    pub(super) credited: Launch,
    /// Strength that a full cast asks of the line, kgf; 0 where nothing is cast.
    pub(super) cast_need_kgf: f64,
    /// Drag as it slips at the lure, over its setting: start-up and rings included.
    pub(super) slip_ratio: f64,
    /// Mass that the rod throws well, at most that of the lure, g.
    pub(super) throwable_g: f64,
    /// How much larger than usual the fish is, damped.
    pub(super) fish_scale: f64,
}

impl Work {
    /// Sets rod, line and fish of a case to work.
    pub(super) fn of(c: &Case<'_>) -> Self {
        let p = c.p;
        let grown = power(c.rod_length_m / p.blank.reference_length_m, p.blank.length_exponent);
        let third_drop_n = p.blank.third_drop_g.at_ratio(c.power)
            * 1e-3
            * GRAVITY_M_S2
            * grown
            * c.doubt.rod_force;
        let rod_force_n = p.blank.pull_ratio * third_drop_n;
        let strain = match c.line {
            LineMaterial::Braid => p.line.strain_braid,
            LineMaterial::Nylon => p.line.strain_nylon,
            LineMaterial::Fluorocarbon => p.line.strain_fluorocarbon,
        };
        let test_n = c.line_kgf * N_PER_KGF;
        let axial_n = line::axial_stiffness_of_strain_n(test_n, p.line.strain_share, strain);
        let line_n_per_m = line::stiffness_n_per_m(axial_n, c.line_out_m);
        let blank_kg = blank_mass_kg(c, third_drop_n);
        let tip = Tip {
            stiffness_n_per_m: by_action(&STIFFNESS, c.action) * third_drop_n / c.rod_length_m,
            mass_kg: by_action(&MOVED, c.action) * blank_kg,
            damping_ratio: vibration::damping_ratio(c.material).1,
        };
        // A shake may come at any pace of the band: the mean of its ends.
        let swung =
            [p.shake.slow_hz, p.shake.quick_hz].map(|hz| swung_n_per_m(&tip, line_n_per_m, hz));
        let swing_n = 0.5 * (swung[0] + swung[1]) * p.shake.amplitude_m;
        let thrower = thrower(c, third_drop_n, blank_kg);
        let is_cast = !c.is_vertical();
        let thrown =
            |mass_g: f64| if is_cast { release(c, &thrower, mass_g) } else { Launch::default() };
        let cast = thrown(c.mass_g);
        let throwable_g = throwable_g(c);
        let credited = if throwable_g < c.mass_g { thrown(throwable_g) } else { cast };
        Self {
            third_drop_n,
            rod_force_n,
            rod_n_per_m: rod_force_n / (GIVE * c.rod_length_m),
            line_n_per_m,
            swing: (swing_n / rod_force_n).min(1.0),
            tip,
            cast,
            credited,
            cast_need_kgf: if is_cast { cast_need_kgf(c, c.mass_g, &cast) } else { 0.0 },
            slip_ratio: hook::drag_slips_at_n(
                1.0,
                p.hook.start_up,
                p.drag.ring_friction,
                p.hook.rod_turn_rad,
            ),
            throwable_g,
            fish_scale: fish_scale(c),
        }
    }

    /// Strength that a full cast of some mass would ask of the line, kgf, also where nothing is
    /// cast: more, the heavier it is.
    pub(super) fn need_of_kgf(&self, c: &Case<'_>, mass_g: f64) -> f64 {
        let thrower = thrower(c, self.third_drop_n, blank_mass_kg(c, self.third_drop_n));
        cast_need_kgf(c, mass_g, &release(c, &thrower, mass_g))
    }

    /// First frequency of the bent rod, Hz: the higher, the quicker it recovers. NaN for a tip
    /// without mass.
    pub(super) fn loaded_frequency_hz(&self) -> f64 {
        vibration::frequency_hz(self.tip.stiffness_n_per_m, self.tip.mass_kg, 0.0)
            .unwrap_or(f64::NAN)
    }
}

/// x to the power y for x above 0: a third of the cost of `libm::pow`, within a few parts in 1e15.
pub(super) fn power(x: f64, y: f64) -> f64 {
    libm::exp(y * libm::log(x))
}

fn thrower(c: &Case<'_>, third_drop_n: f64, blank_kg: f64) -> Thrower {
    Thrower {
        third_drop_load_n: third_drop_n,
        length_m: c.rod_length_m,
        effective_mass_kg: c.p.cast.tip_mass_share * blank_kg,
    }
}

fn blank_mass_kg(c: &Case<'_>, third_drop_n: f64) -> f64 {
    let stiff = third_drop_n * c.rod_length_m * c.rod_length_m;
    BLANK_MASS * heaviness(c.material) * c.rod_length_m * libm::cbrt(stiff)
}

/// Force amplitude for a metre of the fish's end: tip, mass and line in a row, N/m.
///
/// Below the resonance of tip and line it is `head_shake::dynamic_stiffness_n_per_m`. The resonance
/// itself is left out: hands and water damp it by an amount that nobody measured, and a sharp peak
/// at one length of line would be no advice.
fn swung_n_per_m(tip: &Tip, line_n_per_m: f64, hz: f64) -> f64 {
    let omega = 2.0 * core::f64::consts::PI * hz;
    let spring = tip.stiffness_n_per_m - tip.mass_kg * omega * omega;
    let damper =
        2.0 * tip.damping_ratio * omega * (tip.stiffness_n_per_m * tip.mass_kg).max(0.0).sqrt();
    line::in_series_n_per_m(libm::hypot(spring, damper), line_n_per_m)
}

fn throwable_g(c: &Case<'_>) -> f64 {
    if c.is_vertical() {
        return c.mass_g;
    }
    let span = c.lure_max_g / c.lure_min_g;
    c.mass_g.min(c.lure_min_g * power(span, c.p.load.credit_to))
}

fn fish_scale(c: &Case<'_>) -> f64 {
    let p = &c.p.fish;
    let ratio = c.fish_kg / c.fish.usual_kg;
    power(ratio, p.mass_exponent).clamp(p.scale_least, p.scale_most)
}

fn release(c: &Case<'_>, rod: &Thrower, mass_g: f64) -> Launch {
    // What is lighter or heavier than anything cast leaves as the end of the range does.
    let mass_kg = (mass_g * 1e-3).clamp(1e-4, 1.0);
    launch_by_load(rod, mass_kg, &c.p.angler()).unwrap_or_default()
}

/// What keeps the lure when the line is caught in flight ([`line::snap_off_n`]).
fn cast_need_kgf(c: &Case<'_>, mass_g: f64, cast: &Launch) -> f64 {
    let p = &c.p.line;
    let (break_strain, floor) = match c.line {
        LineMaterial::Braid => (p.break_braid, p.cast_floor_braid),
        LineMaterial::Nylon => (p.break_nylon, p.cast_floor_nylon),
        LineMaterial::Fluorocarbon => (p.break_fluorocarbon, p.cast_floor_nylon),
    };
    let run_m = match c.handle {
        Handle::Spinning => p.run_spinning_m,
        Handle::Casting => p.run_casting_m,
    };
    let caught = line::Caught {
        mass_kg: mass_g * 1e-3,
        speed_m_s: cast.speed_m_s,
        run_m,
        break_strain,
        weights: p.cast_weights,
    };
    (line::snap_off_n(&caught) / N_PER_KGF).max(floor)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mechanics::head_shake::dynamic_stiffness_n_per_m;
    use crate::mechanics::infer::family;
    use crate::mechanics::infer::family::Lift;
    use crate::mechanics::infer::label::{BlankLabel, from_label};
    use crate::mechanics::vibration::{MassAlong, effective_mass_kg};
    use crate::model::Model;

    // Source: common practice, no source: more line gives more, and never less; and the forced
    // oscillator of `head_shake` where no resonance is near.
    #[test]
    fn more_line_never_sharpens_a_shake() {
        for mass_kg in [0.02, 0.05, 0.15, 0.4] {
            let tip = Tip { stiffness_n_per_m: 60.0, mass_kg, damping_ratio: 0.02 };
            for hz in [2.0, 4.0] {
                let at = |metres: i32| swung_n_per_m(&tip, 1600.0 / f64::from(metres), hz);
                for metres in 2..80 {
                    assert!(at(metres + 1) < at(metres), "{mass_kg} {hz} {metres}");
                }
            }
        }
        let light = Tip { stiffness_n_per_m: 60.0, mass_kg: 0.02, damping_ratio: 0.02 };
        let exact = dynamic_stiffness_n_per_m(&light, 80.0, 2.0).unwrap();
        assert!((swung_n_per_m(&light, 80.0, 2.0) / exact - 1.0).abs() < 0.01);
    }

    // Source: the blank of each action, solved.
    #[test]
    fn the_stand_ins_are_within_their_bounds() {
        let ratio = Model::builtin().parameters().blank.pull_ratio;
        let near = |got: f64, want: f64, bound: f64| (got / want - 1.0).abs() < bound;
        for (power, length_m) in [(2.0, 1.8), (4.0, 2.1), (6.5, 2.7)] {
            for action in [0.0, 0.1, 0.25, 0.4, 0.5, 0.6, 0.75, 0.9, 1.0] {
                let label = BlankLabel { power_class: power, action, length_m };
                let read = from_label(family(), &label, &Model::builtin().label_model()).unwrap();
                let (own, third) = (read.blank, read.third_drop_load_n);
                let load = ratio * third;
                let tag = format!("{power} {action} {length_m}");

                let high = family().respond(&own, load, Lift::Deg60).unwrap();
                let stiffness = by_action(&STIFFNESS, action) * third / length_m;
                assert!(near(stiffness, high.stiffness_n_per_m, 0.03), "{tag} {stiffness}");
                let lifted = family().respond(&own, load, Lift::Deg45).unwrap();
                let give = lifted.give_m(Lift::Deg45);
                assert!(near(GIVE * length_m, give, 0.04), "{tag} {give}");

                let blank = own.to_blank().unwrap();
                for material in [RodMaterial::Graphite, RodMaterial::Composite, RodMaterial::Glass]
                {
                    let mass = MassAlong::assumed(&blank, material);
                    let whole = mass.mass_kg(&blank);
                    let stiff = libm::cbrt(third * length_m * length_m);
                    let got = BLANK_MASS * heaviness(material) * length_m * stiff;
                    assert!(near(got, whole, 0.02), "{tag} {material:?} {got} {whole}");
                    let moved =
                        effective_mass_kg(&blank, &mass, load, Lift::Deg60.angle_rad()).unwrap();
                    let got = by_action(&MOVED, action) * whole;
                    assert!(near(got, moved, 0.04), "{tag} {material:?} {got} {moved}");
                }
            }
        }
    }
}
