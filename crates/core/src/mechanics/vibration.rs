//! How fast a blank swings and comes to rest.
//!
//! A blank with its mass along it and a lure at its tip is a clamped beam of varying stiffness:
//!
//! ```text
//! (EI y″)″ = ω² μ y      y(0) = y′(0) = 0      (EI y″)(L) = 0      (EI y″)′(L) = −ω² m y(L)
//! f = ω/2π               m_e = ∫ μ (u/u_tip)² ds               t = ln 10/(ζ ω)
//! ```
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | μ, m | mass of the blank per length, mass at the tip | kg/m, kg |
//! | ω, f | first natural frequency, circular and in cycles | rad/s, Hz |
//! | u, m_e | movement of each place and of the tip along the load; mass that moves with the tip | m, kg |
//! | ζ, t | damping ratio; **recovery**, time in which a swing falls to a tenth | –, s |
//!
//! **Source.** Euler and Bernoulli's beam; m_e by Rayleigh, The Theory of Sound (1877), §88-89 (from
//! memory). **Method.** The first mode is the limit of y ← deflection under the load μ y (Stodola),
//! by double integration with parabolas over even pieces between stations; ω² from Rayleigh's
//! quotient. **Validity.** Small swings, light damping, no air, no line, rigid hand; guides only as
//! mass. About a bent state: the swing has the shape of a small further pull. **Accuracy.** Frequency
//! 2e-5 for given EI and μ (tested); about 10 % for a μ inferred from EI, and a factor of two for a
//! damping ratio from the material (our estimates). **Outside.** A typed error.

use core::f64::consts::{LN_10, PI};

use super::blank::{BendError, Blank, load_for_third_drop, shape};
use super::domain::{OutsideDomain, not_negative, positive, within};
use super::infer::family::{FamilyBlank, Lift, cubic};
use crate::gear::RodMaterial;

/// Even pieces into which the whole blank is cut at least.
const PIECES: usize = 120;
/// Places at which the swing of a bent blank is weighed, less one.
const PLACES: usize = 60;

/// Range of the damping ratio of a material: least, likely, greatest.
///
/// From memory: graphite 0.01 to 0.03, glass and its blends 0.03 to 0.06; measured in air without
/// line, small swings. No source was found.
#[must_use]
pub fn damping_ratio(material: RodMaterial) -> (f64, f64, f64) {
    match material {
        RodMaterial::Graphite => (0.01, 0.02, 0.03),
        RodMaterial::Composite => (0.03, 0.04, 0.05),
        RodMaterial::Glass => (0.04, 0.05, 0.06),
    }
}

/// Time in which a swing falls to a tenth, s: `t = ln 10/(2 π ζ f)`.
///
/// Envelope e^(−ζ ω t) of a lightly damped oscillator; exact for one degree of freedom. ζ from
/// 0.001 to 0.3.
///
/// # Errors
/// A frequency that is not positive, a damping ratio outside its range.
///
/// ```
/// let t = deepbend_core::mechanics::vibration::recovery_s(2.0, 0.05)?;
/// assert!((t - 2.302_585_093 / (2.0 * 3.141_592_654 * 2.0 * 0.05)).abs() < 1e-8);
/// # Ok::<(), deepbend_core::mechanics::domain::OutsideDomain>(())
/// ```
pub fn recovery_s(frequency_hz: f64, damping_ratio: f64) -> Result<f64, OutsideDomain> {
    let zeta = within("damping_ratio", damping_ratio, 0.001, 0.3)?;
    Ok(LN_10 / (2.0 * PI * zeta * positive("frequency_hz", frequency_hz)?))
}

/// First frequency of a mass on a spring, Hz: `f = √(k/(m_e + m))/2π`.
///
/// k tangent stiffness at the bend, N/m. 3 % low against a blank solved whole (case of the tests).
///
/// # Errors
/// A stiffness or an effective mass that is not positive, a negative mass.
pub fn frequency_hz(
    stiffness_n_per_m: f64,
    effective_mass_kg: f64,
    tip_mass_kg: f64,
) -> Result<f64, OutsideDomain> {
    let mass = positive("effective_mass_kg", effective_mass_kg)?
        + not_negative("tip_mass_kg", tip_mass_kg)?;
    Ok(libm::sqrt(positive("stiffness_n_per_m", stiffness_n_per_m)? / mass) / (2.0 * PI))
}

/// Mass of a blank per length, linear between the stations of the blank.
#[derive(Debug, Clone, PartialEq)]
pub struct MassAlong {
    kg_per_m: Vec<f64>,
}

impl MassAlong {
    /// Mass per length at each station of a blank, kg/m.
    ///
    /// # Errors
    /// A number of values other than that of the stations, or one that is not positive.
    pub fn new(blank: &Blank, kg_per_m: Vec<f64>) -> Result<Self, OutsideDomain> {
        let wanted = blank.stations().len() as f64;
        within("kg_per_m (number of stations)", kg_per_m.len() as f64, wanted, wanted)?;
        for &value in &kg_per_m {
            positive("kg_per_m", value)?;
        }
        Ok(Self { kg_per_m })
    }

    /// An assumption for a blank of which only the material is known.
    ///
    /// A thin tube of even wall w: `EI = π E r³ w`, `μ = 2 π ρ r w (1 + g)`, hence
    /// `μ = 2 π ρ w (1 + g) (EI/(π E w))^(1/3)`. From memory: w = 0.8 mm, guides and binding g = 0.3
    /// of the blank; E and ρ graphite 70 GPa and 1550 kg/m³, composite 45 and 1750, glass 25 and
    /// 1950. Accuracy: a factor of 1.4 (our estimate).
    #[must_use]
    pub fn assumed(blank: &Blank, material: RodMaterial) -> Self {
        let (modulus, density) = match material {
            RodMaterial::Graphite => (70e9, 1550.0),
            RodMaterial::Composite => (45e9, 1750.0),
            RodMaterial::Glass => (25e9, 1950.0),
        };
        let wall = 0.8e-3;
        let factor = 2.0 * PI * density * wall * 1.3;
        let radius = |ei: f64| libm::cbrt(ei / (PI * modulus * wall));
        Self { kg_per_m: blank.stations().iter().map(|s| factor * radius(s.1)).collect() }
    }

    /// The same distribution with another whole mass, kg: for a blank whose mass is known.
    ///
    /// Of a whole rod about 0.4 is blank and guides, the rest grip and reel seat (from memory).
    ///
    /// # Errors
    /// A mass that is not positive.
    pub fn scaled_to(self, blank: &Blank, mass_kg: f64) -> Result<Self, OutsideDomain> {
        let factor = positive("mass_kg", mass_kg)? / self.mass_kg(blank);
        Ok(Self { kg_per_m: self.kg_per_m.iter().map(|value| value * factor).collect() })
    }

    /// The whole mass, kg.
    #[must_use]
    pub fn mass_kg(&self, blank: &Blank) -> f64 {
        let lengths = blank.stations().windows(2).map(|pair| pair[1].0 - pair[0].0);
        lengths.zip(self.kg_per_m.windows(2)).map(|(l, m)| 0.5 * l * (m[0] + m[1])).sum()
    }

    /// Mass per length at a place, kg/m.
    fn at(&self, blank: &Blank, s_m: f64) -> f64 {
        let stations = blank.stations();
        let next = stations.partition_point(|s| s.0 <= s_m).clamp(1, stations.len() - 1);
        let (from, to) = (stations[next - 1].0, stations[next].0);
        let share = (s_m - from) / (to - from);
        self.kg_per_m[next - 1] + share * (self.kg_per_m[next] - self.kg_per_m[next - 1])
    }
}

/// A piece between two places of the mesh: EI and μ at both ends and the middle.
struct Piece {
    length: f64,
    ei: [f64; 3],
    mass: [f64; 3],
}

/// First natural frequency of an unbent blank with a mass at its tip, Hz.
///
/// Equations, source, accuracy: module.
///
/// # Errors
/// A negative tip mass.
pub fn first_frequency_hz(
    blank: &Blank,
    mass: &MassAlong,
    tip_mass_kg: f64,
) -> Result<f64, OutsideDomain> {
    let tip = not_negative("tip_mass_kg", tip_mass_kg)?;
    let pieces = mesh(blank, mass);
    // Deflection at the ends and the middle of each piece, from a first guess s².
    let mut y: Vec<[f64; 3]> = Vec::with_capacity(pieces.len());
    let mut s = 0.0;
    for piece in &pieces {
        y.push([s, s + 0.5 * piece.length, s + piece.length].map(|s| s * s));
        s += piece.length;
    }
    let mut square = 0.0;
    for _ in 0..60 {
        let next = deflection(&pieces, &y, tip);
        let end = next[next.len() - 1][2];
        // Rayleigh's quotient of the deflection under μ y: ∫ μ y·z over ∫ μ z·z.
        let found = inertia(&pieces, &y, &next, tip) / inertia(&pieces, &next, &next, tip);
        let settled = libm::fabs(found - square) <= 1e-13 * found;
        square = found;
        y = next.into_iter().map(|piece| piece.map(|value| value / end)).collect();
        if settled {
            break;
        }
    }
    Ok(libm::sqrt(square) / (2.0 * PI))
}

fn mesh(blank: &Blank, mass: &MassAlong) -> Vec<Piece> {
    let mut pieces = Vec::new();
    let stations = blank.stations();
    for (pair, kg) in stations.windows(2).zip(mass.kg_per_m.windows(2)) {
        let whole = pair[1].0 - pair[0].0;
        let share = whole / blank.length_m();
        // A soft end needs finer pieces: EI may fall by a fifth in one.
        let fall = libm::fabs(libm::log(pair[1].1 / pair[0].1)) / 0.2;
        let count = libm::ceil(share * PIECES as f64).max(libm::ceil(fall)).max(1.0);
        let at = |ends: [f64; 2], z: f64| ends[0] + (ends[1] - ends[0]) * z / count;
        for i in 0..count as usize {
            let places = [i as f64, i as f64 + 0.5, i as f64 + 1.0];
            pieces.push(Piece {
                length: whole / count,
                ei: places.map(|z| at([pair[0].1, pair[1].1], z)),
                mass: places.map(|z| at([kg[0], kg[1]], z)),
            });
        }
    }
    pieces
}

fn inertia(pieces: &[Piece], a: &[[f64; 3]], b: &[[f64; 3]], tip: f64) -> f64 {
    let mut sum = 0.0;
    for ((piece, a), b) in pieces.iter().zip(a).zip(b) {
        let at = |i: usize| piece.mass[i] * a[i] * b[i];
        sum += piece.length / 6.0 * (at(0) + 4.0 * at(1) + at(2));
    }
    let last = pieces.len() - 1;
    sum + tip * a[last][2] * b[last][2]
}

/// Deflection under the load μ y along the blank and m y at the tip.
fn deflection(pieces: &[Piece], y: &[[f64; 3]], tip: f64) -> Vec<[f64; 3]> {
    // From the tip: shear V and moment M, loads as parabolas.
    let (mut shear, mut moment) = (tip * y[y.len() - 1][2], 0.0);
    let mut curvature = vec![[0.0; 3]; pieces.len()];
    for ((piece, y), out) in pieces.iter().zip(y).zip(&mut curvature).rev() {
        let h = piece.length;
        let [a, b, c] = [piece.mass[2] * y[2], piece.mass[1] * y[1], piece.mass[0] * y[0]];
        let (half, whole) = (integrals(a, b, c, h), full_integrals(a, b, c, h));
        let middle = moment + 0.5 * h * shear + half.1;
        let butt = moment + h * shear + whole.1;
        *out = [butt / piece.ei[0], middle / piece.ei[1], moment / piece.ei[2]];
        moment = butt;
        shear += whole.0;
    }
    // From the butt: slope and deflection, curvature as parabolas.
    let (mut slope, mut place) = (0.0, 0.0);
    let mut out = Vec::with_capacity(pieces.len());
    for (piece, k) in pieces.iter().zip(&curvature) {
        let h = piece.length;
        let (half, whole) = (integrals(k[0], k[1], k[2], h), full_integrals(k[0], k[1], k[2], h));
        let end = place + h * slope + whole.1;
        out.push([place, place + 0.5 * h * slope + half.1, end]);
        place = end;
        slope += whole.0;
    }
    out
}

/// First and second integral over the first half of a piece, of the parabola through a, b, c.
fn integrals(a: f64, b: f64, c: f64, h: f64) -> (f64, f64) {
    (h * (5.0 * a + 8.0 * b - c) / 24.0, h * h * (7.0 * a + 6.0 * b - c) / 96.0)
}

/// The same over the whole piece.
fn full_integrals(a: f64, b: f64, c: f64, h: f64) -> (f64, f64) {
    (h * (a + 4.0 * b + c) / 6.0, h * h * (a + 2.0 * b) / 6.0)
}

/// Mass that moves with the tip of a bent blank, kg: `m_e = ∫ μ |du/dP|² ds/(dδ/dP)²`.
///
/// u movement of each place under a small further pull (difference of two solved shapes), δ that of
/// the tip along the load. Accuracy 1 % against the frequency of the whole unbent blank when there
/// is a mass of some m_e at the tip; see the tests. With no load the limit of a small one.
///
/// # Errors
/// [`BendError`] for a load or an angle outside the domain of the bend.
pub fn effective_mass_kg(
    blank: &Blank,
    mass: &MassAlong,
    load_n: f64,
    angle_rad: f64,
) -> Result<f64, BendError> {
    if load_n.is_nan() || load_n < 0.0 {
        return Err(BendError::Load(load_n));
    }
    let length = blank.length_m();
    let unit = blank.stations()[0].1 / (length * length);
    let step = (1e-3 * load_n).max(3e-4 * unit);
    let low = shape(blank, (load_n - step).max(0.0), angle_rad, PLACES + 1)?;
    let high = shape(blank, load_n, angle_rad, PLACES + 1);
    let high = if load_n < step { shape(blank, step, angle_rad, PLACES + 1)? } else { high? };
    let (sin, cos) = (libm::sin(angle_rad), libm::cos(angle_rad));
    let mut sum = 0.0;
    let mut tip = 0.0;
    for (i, (a, b)) in low.iter().zip(&high).enumerate() {
        let (dx, dy) = (b.x_m - a.x_m, b.y_m - a.y_m);
        let weight = match i {
            0 | PLACES => 1.0,
            _ if i % 2 == 1 => 4.0,
            _ => 2.0,
        };
        sum += weight * mass.at(blank, a.s_m) * (dx * dx + dy * dy);
        tip = dx * cos + dy * sin;
    }
    Ok(sum * length / (3.0 * PLACES as f64) / (tip * tip))
}

/// Tapers and loads of [`SwingTable`], less one.
const TAPERS: usize = 9;
const LOADS: usize = 9;
/// Greatest load of [`SwingTable`] as a multiple of the third-drop load.
const MAX_RATIO: f64 = 12.0;

/// The mass that moves with the tip of a blank of the family, by table.
///
/// As a share of the mass of the blank, for a mass along it that goes with EI^(1/3)
/// ([`MassAlong::assumed`]); a share depends on taper, load over third-drop load and angle only.
/// Cubics (Lagrange, four points) in taper and ln(1 + 4q) of the logarithm. Build it once and keep
/// it. Accuracy 4 % of the solved value (tested), 2 % in the frequency.
#[derive(Debug, Clone, PartialEq)]
pub struct SwingTable {
    logs: Vec<f64>,
}

impl SwingTable {
    /// Solves the bends of the table.
    ///
    /// # Errors
    /// [`BendError`], not seen.
    pub fn new() -> Result<Self, BendError> {
        let mut logs = Vec::with_capacity(3 * (TAPERS + 1) * (LOADS + 1));
        for lift in Lift::ALL {
            for i in 0..=TAPERS {
                let taper = i as f64 / TAPERS as f64;
                let blank = FamilyBlank { taper, butt_n_m2: 1.0, length_m: 1.0 };
                let blank = blank.to_blank().map_err(|_| BendError::NotFound)?;
                let third = load_for_third_drop(&blank)?;
                let mass = MassAlong::assumed(&blank, RodMaterial::Graphite);
                let whole = mass.mass_kg(&blank);
                for j in 0..=LOADS {
                    let q = libm::expm1(j as f64 / LOADS as f64 * libm::log1p(4.0 * MAX_RATIO));
                    let load = 0.25 * q * third;
                    let moved = effective_mass_kg(&blank, &mass, load, lift.angle_rad())?;
                    logs.push(libm::log(moved / whole));
                }
            }
        }
        Ok(Self { logs })
    }

    /// Effective mass at the tip, kg, under a load of `load_ratio` times the third-drop load.
    ///
    /// # Errors
    /// A taper outside 0 to 1, a load ratio outside 0 to 12, a mass that is not positive.
    pub fn effective_mass_kg(
        &self,
        taper: f64,
        load_ratio: f64,
        lift: Lift,
        blank_mass_kg: f64,
    ) -> Result<f64, OutsideDomain> {
        let mass = positive("blank_mass_kg", blank_mass_kg)?;
        let q = within("load_ratio", load_ratio, 0.0, MAX_RATIO)?;
        let place = LOADS as f64 * libm::log1p(4.0 * q) / libm::log1p(4.0 * MAX_RATIO);
        let (i, by_taper) = cubic(TAPERS as f64 * within("taper", taper, 0.0, 1.0)?, TAPERS);
        let (j, by_load) = cubic(place, LOADS);
        let first = (lift as usize * (TAPERS + 1) + i) * (LOADS + 1) + j;
        let mut sum = 0.0;
        for (a, outer) in by_taper.into_iter().enumerate() {
            let begin = first + a * (LOADS + 1);
            for (value, inner) in self.logs[begin..begin + 4].iter().zip(by_load) {
                sum += outer * inner * value;
            }
        }
        Ok(mass * libm::exp(sum))
    }
}

#[cfg(test)]
mod tests {
    use core::f64::consts::FRAC_PI_2;

    use super::super::blank::bend;
    use super::*;

    /// Physics reference, case B: OD 12 to 2 mm, wall 1.0 to 0.6 mm, 60 GPa, 1500 kg/m³.
    fn case_b(count: usize) -> (Blank, MassAlong) {
        let at = |z: f64| {
            let outer = 12e-3 - 10e-3 * z;
            let inner = outer - 2.0 * (1e-3 - 0.4e-3 * z);
            (outer, inner)
        };
        let zs: Vec<f64> = (0..=count).map(|i| i as f64 / count as f64).collect();
        let ei = |z: f64| {
            let (o, i) = at(z);
            60e9 * PI / 64.0 * (o.powi(4) - i.powi(4))
        };
        let kg = |z: f64| {
            let (o, i) = at(z);
            1500.0 * PI / 4.0 * (o * o - i * i)
        };
        let blank = Blank::new(2.1, zs.iter().map(|&z| (2.1 * z, ei(z))).collect()).unwrap();
        let mass = MassAlong::new(&blank, zs.iter().map(|&z| kg(z)).collect()).unwrap();
        (blank, mass)
    }

    // Source: textbook root 1.875104069 of cos x cosh x = −1: ω √(m L⁴/EI) = 3.5160152685.
    #[test]
    fn a_uniform_beam_has_its_textbook_frequency() {
        let blank = Blank::new(1.0, vec![(0.0, 1.0), (1.0, 1.0)]).unwrap();
        let mass = MassAlong::new(&blank, vec![1.0, 1.0]).unwrap();
        let omega = 2.0 * PI * first_frequency_hz(&blank, &mass, 0.0).unwrap();
        assert!((omega - 3.516_015_268_5).abs() < 1e-7, "{omega}");
        // A great mass on a light beam: ω² = 3/m (1 - small).
        let light = MassAlong::new(&blank, vec![1e-9, 1e-9]).unwrap();
        let omega = 2.0 * PI * first_frequency_hz(&blank, &light, 2.0).unwrap();
        assert!((omega - 1.5_f64.sqrt()).abs() < 1e-7, "{omega}");
    }

    // Source: physics reference 1.5 (Ritz with nine terms, which comes from above): 4.5703, 2.7916,
    // 2.1591, 1.6039 Hz; and 300 cubic beam elements solved with scipy's eigsh (1.17): the rest.
    #[test]
    fn case_b_has_its_frequencies() {
        let (blank, mass) = case_b(800);
        assert!((mass.mass_kg(&blank) - 0.052_251).abs() < 1e-6);
        for (tip, ritz, elements) in [
            (0.0, 4.5703, 4.570_296),
            (5e-3, 2.7916, 2.791_418),
            (10e-3, 2.1591, 2.158_808),
            (20e-3, 1.6039, 1.603_706),
        ] {
            let got = first_frequency_hz(&blank, &mass, tip).unwrap();
            assert!((got / elements - 1.0).abs() < 5e-6, "{tip}: {got} {elements}");
            assert!((got / ritz - 1.0).abs() < 2e-4, "{tip}: {got} {ritz}");
        }
    }

    // Source: statics of a uniform beam under a tip load: u/u_tip = (3z² − z³)/2, m_e = 33/140 m.
    #[test]
    fn the_effective_mass_is_rayleighs() {
        let blank = Blank::new(1.0, vec![(0.0, 1.0), (1.0, 1.0)]).unwrap();
        let mass = MassAlong::new(&blank, vec![1.0, 1.0]).unwrap();
        let got = effective_mass_kg(&blank, &mass, 0.0, FRAC_PI_2).unwrap();
        assert!((got - 33.0 / 140.0).abs() < 1e-5, "{got}");
    }

    // Source: physics reference 1.5: whole blank 2.7916 and 1.6039 Hz with 5 and 20 g.
    #[test]
    fn a_mass_on_a_spring_comes_near_the_whole_blank() {
        let (blank, mass) = case_b(200);
        let own = effective_mass_kg(&blank, &mass, 0.0, FRAC_PI_2).unwrap();
        let stiffness = bend(&blank, 0.0, FRAC_PI_2).unwrap().stiffness_n_per_m;
        for (tip, hz, share) in [(5e-3, 2.7916, 0.03), (20e-3, 1.6039, 0.01)] {
            let got = frequency_hz(stiffness, own, tip).unwrap();
            assert!((got / hz - 1.0).abs() < share, "{tip}: {got} {hz}");
        }
    }

    // Source: common practice, no source: glass that bends alike is heavier and swings more slowly.
    #[test]
    fn glass_is_heavier_and_swings_more_slowly() {
        let (blank, _) = case_b(60);
        let hz = |material| {
            let mass = MassAlong::assumed(&blank, material);
            (mass.mass_kg(&blank), first_frequency_hz(&blank, &mass, 0.0).unwrap())
        };
        let (graphite, glass) = (hz(RodMaterial::Graphite), hz(RodMaterial::Glass));
        assert!(
            glass.0 > 1.5 * graphite.0 && glass.1 < 0.85 * graphite.1,
            "{graphite:?} {glass:?}"
        );
        // Case B is a tube of such walls: 52 g of blank, 68 g with guides.
        assert!((graphite.0 / 0.068 - 1.0).abs() < 0.3, "{graphite:?}");
        let set = MassAlong::assumed(&blank, RodMaterial::Glass).scaled_to(&blank, 0.08).unwrap();
        assert!((set.mass_kg(&blank) - 0.08).abs() < 1e-15);
    }

    // Source: the definition: e^(−ζ ω t) = 1/10; the stated domain.
    #[test]
    fn recovery_is_the_time_to_a_tenth() {
        let t = recovery_s(3.0, 0.02).unwrap();
        assert!((libm::exp(-0.02 * 2.0 * PI * 3.0 * t) - 0.1).abs() < 1e-12);
        assert_eq!(recovery_s(3.0, 0.0).unwrap_err().field, "damping_ratio");
        for material in [RodMaterial::Graphite, RodMaterial::Composite, RodMaterial::Glass] {
            let (low, likely, high) = damping_ratio(material);
            assert!(low < likely && likely < high);
        }
    }

    // Source: physics of a bent blank: the soft tip hangs, the stiffer and heavier part swings.
    #[test]
    fn a_bent_blank_moves_more_mass() {
        let (blank, mass) = case_b(100);
        let at = |load| effective_mass_kg(&blank, &mass, load, 1.0).unwrap();
        assert!(at(6.0) > at(3.0) && at(3.0) > at(0.5), "{} {} {}", at(0.5), at(3.0), at(6.0));
        assert!(effective_mass_kg(&blank, &mass, f64::NAN, 1.0).is_err());
    }

    // Source: the solved shapes, between the points of the table; glass, for another EI and mass.
    #[test]
    fn the_table_is_within_its_bound() {
        let table = SwingTable::new().unwrap();
        for i in 0..12 {
            let taper = (f64::from(i) + 0.41) / 12.0;
            let own = FamilyBlank { taper, butt_n_m2: 25.0, length_m: 2.4 };
            let blank = own.to_blank().unwrap();
            let third = load_for_third_drop(&blank).unwrap();
            let mass = MassAlong::assumed(&blank, RodMaterial::Glass);
            for lift in Lift::ALL {
                for q in [0.05, 0.4, 1.1, 2.3, 5.2, 10.5] {
                    let want =
                        effective_mass_kg(&blank, &mass, q * third, lift.angle_rad()).unwrap();
                    let whole = mass.mass_kg(&blank);
                    let got = table.effective_mass_kg(taper, q, lift, whole).unwrap();
                    assert!((got / want - 1.0).abs() < 0.04, "{taper} {lift:?} {q}: {got} {want}");
                }
            }
        }
        let error = table.effective_mass_kg(0.5, 13.0, Lift::Deg45, 0.05).unwrap_err();
        assert_eq!(error.field, "load_ratio");
    }
}
