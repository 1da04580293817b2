//! Line: mass, stretch and strength.
//!
//! The equations here hold for every positive input; what is no number, or a length of zero under
//! a division, comes out as no number or as infinity and never stops the program.

use super::flight::GRAVITY_M_S2;

/// Mass per length of a line of given denier, kg/m: `μ = D/9 000 000`.
///
/// D denier, g per 9000 m. Source: NIST SP 811, B.8 (definition). Accuracy: exact.
///
/// ```
/// let mu = deepbend_core::mechanics::line::kg_per_m_of_denier(200.0);
/// assert!((mu * 1e6 - 22.2222).abs() < 1e-4);
/// ```
#[must_use]
pub fn kg_per_m_of_denier(denier: f64) -> f64 {
    denier / 9.0e6
}

/// Denier of braid of a PE number: `D = 200 N`.
///
/// N PE number. Source: Japanese fishing tackle manufacturers' standard for braid (2010), read in
/// secondary pages: number 1 is 200 denier, coating included. Validity: numbers 0.4 to 6.
/// Accuracy: the standard lets a line reach up to the next number; our estimate −0, +20 %.
/// Outside: carried on.
#[must_use]
pub fn denier_of_pe(number: f64) -> f64 {
    200.0 * number
}

/// Cross-section of a round line, m²: `A = π d²/4`, d in m. Source: geometry.
#[must_use]
pub fn section_m2(diameter_m: f64) -> f64 {
    core::f64::consts::FRAC_PI_4 * diameter_m * diameter_m
}

/// Mass per length of a solid round line, kg/m: `μ = ρ π d²/4`.
///
/// ρ density, kg/m³ (nylon 1140, fluorocarbon 1780, polyethylene fibre 970: handbooks, from
/// memory); d diameter, m. Source: geometry. Accuracy: that of d, twice; braid holds voids and
/// weighs less than this: use its denier.
#[must_use]
pub fn kg_per_m_of_solid(density_kg_m3: f64, diameter_m: f64) -> f64 {
    density_kg_m3 * section_m2(diameter_m)
}

/// Diameter of a solid round line of given mass per length, m: `d = √(4 μ/(π ρ))`.
///
/// μ kg/m; ρ kg/m³. Source: geometry. For braid a lower bound: it holds voids.
#[must_use]
pub fn solid_diameter_m(kg_per_m: f64, density_kg_m3: f64) -> f64 {
    (kg_per_m / (core::f64::consts::FRAC_PI_4 * density_kg_m3)).sqrt()
}

/// Axial stiffness of a line from the modulus of its material, N: `EA = E π d²/4`.
///
/// E Young's modulus, Pa (nylon 2 to 2.5 GPa, polyethylene fibre 80 GPa: from memory); d diameter,
/// m. Source: Hooke's law. Validity: small strain, solid line: braid is several times softer than
/// its fibre until the weave is drawn tight. Accuracy: no published accuracy; our estimate
/// a factor of 1.5 for nylon, since E falls with water, speed and strain.
#[must_use]
pub fn axial_stiffness_of_modulus_n(modulus_pa: f64, diameter_m: f64) -> f64 {
    modulus_pa * section_m2(diameter_m)
}

/// Axial stiffness of a line from its strain at a share of its test, N: `EA = φ F_t/ε`.
///
/// φ share of the test at which it was seen, F_t test, N; ε strain there, as a share of the length
/// (braid 0.01 to 0.02, nylon 0.08 to 0.12, fluorocarbon 0.05 to 0.08 at φ 0.25 to 0.30: from
/// memory). The secant: right at φ, too stiff below it for braid, too soft for nylon. Source:
/// Hooke's law. Accuracy: no published accuracy; our estimate ±30 %, from the spread of ε.
///
/// ```
/// use deepbend_core::mechanics::line;
/// // Nylon of 60 N test, 10 % at 30 % of test: 20 m at 18 N stretch by 2 m.
/// let ea = line::axial_stiffness_of_strain_n(60.0, 0.3, 0.1);
/// assert!((line::stretch_m(18.0, 20.0, ea) - 2.0).abs() < 1e-12);
/// ```
#[must_use]
pub fn axial_stiffness_of_strain_n(test_n: f64, share_of_test: f64, strain: f64) -> f64 {
    share_of_test * test_n / strain
}

/// Stretch of a line under load (Hooke 1678), m: `ΔL = F L/(E A)`.
///
/// F tension, N; L length out, m; EA axial stiffness, N, of [`axial_stiffness_of_modulus_n`] or
/// [`axial_stiffness_of_strain_n`]. Source: Hooke's law. Validity: strain to about 0.1, steady
/// load. Accuracy: that of EA.
///
/// ```
/// use deepbend_core::mechanics::line;
/// let ea = line::axial_stiffness_of_modulus_n(2.0e9, 0.285e-3);
/// assert!((line::stretch_m(10.0, 30.0, ea) - 2.35132).abs() < 5e-6);
/// ```
#[must_use]
pub fn stretch_m(tension_n: f64, length_m: f64, axial_stiffness_n: f64) -> f64 {
    tension_n * length_m / axial_stiffness_n
}

/// Stiffness of a length of line as a spring, N/m: `k = E A/L`.
///
/// EA axial stiffness, N; L length out, m. Source: Hooke's law. Validity, accuracy: as
/// [`stretch_m`]. Outside: a length of zero is infinitely stiff.
#[must_use]
pub fn stiffness_n_per_m(axial_stiffness_n: f64, length_m: f64) -> f64 {
    axial_stiffness_n / length_m
}

/// Stiffness of two springs in a row, N/m: `k = k₁ k₂/(k₁ + k₂)`.
///
/// Source: statics (the same force through both, displacements add). Accuracy: exact. Outside: both
/// zero gives no number.
#[must_use]
pub fn in_series_n_per_m(first_n_per_m: f64, second_n_per_m: f64) -> f64 {
    // Written with the share first, so that large values do not overflow.
    first_n_per_m * (second_n_per_m / (first_n_per_m + second_n_per_m))
}

/// Strength of a line at its knot, N: `F = F_t η c`.
///
/// F_t test, N; η share that the knot keeps, 0.5 to 0.9; c share that the condition keeps (nylon
/// soaked 0.85 to 0.90, from memory). Source: definition; common practice, no source for η: no
/// reviewed table of knots was found. Accuracy: that of η, and of the label, which often
/// understates the line.
#[must_use]
pub fn knotted_strength_n(test_n: f64, knot_keeps: f64, condition_keeps: f64) -> f64 {
    test_n * knot_keeps * condition_keeps
}

/// A cast whose line is caught while the lure flies.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Caught {
    /// Mass cast m, kg.
    pub mass_kg: f64,
    /// Its speed v when the line is caught, m/s.
    pub speed_m_s: f64,
    /// Line out L when it is caught, m.
    pub run_m: f64,
    /// Strain ε of the line at its break, as a share of its length.
    pub break_strain: f64,
    /// Peak load of the cast itself n, as a multiple of the lure's weight, with its reserve.
    pub weights: f64,
}

/// Strength that keeps a lure on its line when the line is caught in flight, N:
/// `F = n m g + m v²/(ε L)`.
///
/// Symbols: [`Caught`]; g standard gravity. The second part is the energy ½ m v² that a line
/// takes up to its break, ½ F ε L (straight load curve). Source: work and energy; n, and the sum
/// of both parts for a margin: common practice, no source. Validity: overrun or coil round a
/// ring in full flight, rod and angler give nothing. Accuracy: no published accuracy; our estimate a
/// factor of 1.5, from ε and L. Outside: a run or a strain of zero asks for an infinite strength.
///
/// ```
/// use deepbend_core::mechanics::line::{Caught, snap_off_n};
/// let cast = Caught {
///     mass_kg: 0.02, speed_m_s: 25.0, run_m: 20.0, break_strain: 0.04, weights: 60.0,
/// };
/// assert!((snap_off_n(&cast) - 27.39298).abs() < 1e-9); // 11.767980 + 15.625
/// ```
#[must_use]
pub fn snap_off_n(cast: &Caught) -> f64 {
    let held = cast.weights * cast.mass_kg * GRAVITY_M_S2;
    held + cast.mass_kg * cast.speed_m_s * cast.speed_m_s / (cast.break_strain * cast.run_m)
}

/// A link of the chain from reel to hook.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Link<'a> {
    /// What it is, in words: line at the knot, leader, snap, hook.
    pub name: &'a str,
    /// Force at which it gives, N.
    pub strength_n: f64,
}

/// The weakest link of a chain: `min F_i`, the first of equals; `None` for no links.
///
/// Source: statics (one tension through all). A strength that is no number counts as strongest.
///
/// ```
/// use deepbend_core::mechanics::line::{Link, weakest};
/// let chain = [
///     Link { name: "line", strength_n: 70.0 },
///     Link { name: "snap", strength_n: 60.0 },
/// ];
/// assert_eq!(weakest(&chain).map(|l| l.name), Some("snap"));
/// ```
#[must_use]
pub fn weakest<'a>(links: &[Link<'a>]) -> Option<Link<'a>> {
    let order = |l: &Link<'_>| if l.strength_n.is_nan() { f64::INFINITY } else { l.strength_n };
    links.iter().copied().min_by(|a, b| order(a).total_cmp(&order(b)))
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: F L/(E A) worked by hand (30 m, 10 N); moduli from memory.
    #[test]
    fn stretch_by_modulus() {
        let stretch = |e, d| stretch_m(10.0, 30.0, axial_stiffness_of_modulus_n(e, d));
        assert!((stretch(2.0e9, 0.285e-3) - 2.351_32).abs() < 5e-6);
        assert!((stretch(2.5e9, 0.285e-3) - 1.881_06).abs() < 5e-6);
        assert!((stretch(80.0e9, 0.17e-3) - 0.165_213).abs() < 5e-7);
    }

    // Source: from memory (the trade): 20 m under 15 N give about 1.4 m of nylon of 4 to 7 kg test
    // and 0.2 m of braid.
    #[test]
    fn stretch_by_strain_is_what_practice_sees() {
        let nylon = axial_stiffness_of_strain_n(6.0 * 9.806_65, 0.28, 0.10);
        let braid = axial_stiffness_of_strain_n(9.0 * 9.806_65, 0.28, 0.015);
        assert!((stretch_m(15.0, 20.0, nylon) - 1.4).abs() < 0.5);
        assert!((stretch_m(15.0, 20.0, braid) - 0.2).abs() < 0.05);
    }

    // Source: the definition of denier and the rule 200 N; solid fibre of 970 kg/m³ by hand.
    #[test]
    fn mass_of_braid_by_number() {
        for (number, mg_m, mm) in [
            (0.4, 8.889, 0.108_02),
            (0.8, 17.778, 0.152_76),
            (1.0, 22.222, 0.170_79),
            (1.5, 33.333, 0.209_17),
            (2.0, 44.444, 0.241_53),
            (6.0, 133.333, 0.418_35),
        ] {
            let mass = kg_per_m_of_denier(denier_of_pe(number));
            assert!((mass * 1e6 - mg_m).abs() < 5e-4, "{number}");
            assert!((solid_diameter_m(mass, 970.0) * 1e3 - mm).abs() < 5e-6, "{number}");
        }
    }

    // Source: density times section worked by hand for 0.285 mm; handbook densities.
    #[test]
    fn mass_of_solid_line() {
        for (density, mg_m) in [(1140.0, 72.725), (1780.0, 113.553), (970.0, 61.880)] {
            assert!((kg_per_m_of_solid(density, 0.285e-3) * 1e6 - mg_m).abs() < 5e-4);
        }
    }

    // Source: statics: equal springs in a row are half as stiff; a rigid one changes nothing.
    #[test]
    fn springs_in_a_row() {
        assert!((in_series_n_per_m(20.0, 20.0) - 10.0).abs() < 1e-12);
        assert!((in_series_n_per_m(20.0, 1e300) - 20.0).abs() < 1e-12);
        assert!((in_series_n_per_m(30.0, 60.0) - 20.0).abs() < 1e-12);
    }

    // Source: common practice, no source: 0.15 kgf of braid and 0.08 of nylon a gram on a fixed spool,
    // 0.20 and 0.09 on a casting reel, from one energy and the strains of the materials.
    #[test]
    fn two_rules_of_thumb_are_one_energy() {
        for (break_strain, run_m, kgf_a_gram) in
            [(0.04, 19.0, 0.15), (0.25, 19.0, 0.08), (0.04, 13.0, 0.20), (0.25, 13.0, 0.09)]
        {
            let cast =
                Caught { mass_kg: 1e-3, speed_m_s: 26.0, run_m, break_strain, weights: 67.0 };
            let got = snap_off_n(&cast) / 9.806_65;
            assert!((got / kgf_a_gram - 1.0).abs() < 0.06, "{got} {kgf_a_gram}");
        }
    }

    // Source: by hand: 9 kgf of braid at 0.8 is 7.2 kgf, under a leader of 10 kgf at 0.85.
    #[test]
    fn the_knot_is_the_weakest_link() {
        let line = knotted_strength_n(9.0, 0.8, 1.0);
        let leader = knotted_strength_n(10.0, 0.85, 1.0);
        let chain = [
            Link { name: "leader", strength_n: leader },
            Link { name: "hook", strength_n: f64::NAN },
            Link { name: "line", strength_n: line },
            Link { name: "ring", strength_n: line },
        ];
        let weak = weakest(&chain).unwrap();
        assert_eq!(weak.name, "line");
        assert!((weak.strength_n - 7.2).abs() < 1e-12);
        assert_eq!(weakest(&[]), None);
    }
}
