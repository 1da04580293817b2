//! One family of blanks, from evenly tapered to soft only at the tip, and a table of its bends.
//!
//! ```text
//! EI(s) = EI₀ (1 − s/2L) R^(−S(s))      S = [l(s/L) − l(0)] / [l(1) − l(0)]
//! l(z) = 1/(1 + e^(−(z − h)/w))         R = 5·60^t   h = 0.48 + 0.24 t   w = 0.4·0.075^t
//! ```
//!
//! taken at 61 even stations, EI linear between them. EI₀ stiffness at the butt, N m²; L length, m;
//! t the **taper**, 0 to 1: the greater it is, the later and the more suddenly the blank softens.
//! EI(butt)/EI(tip) = 2 R: 10 to 600.
//!
//! **Source.** The form is an assumption of this project (no source for EI along real blanks was
//! found). Why not `EI₀ (1 − c s/L)^n`: within 1000:1 such a blank holds 80 % of its turning in no
//! less than its last 0.48, over the c and n that were tried (0.7 to 0.99, and the exponential that
//! small c and great n tend to), and labels from moderate-fast on would be out of reach. Even here the
//! bend depth ends at 0.27: at a load that drops the tip by a third of the length, a last fifth
//! alone cannot carry the drop.
//!
//! **Table.** The bend depends on t, β and P L²/EI₀ only. P is scaled by the load that drops the
//! tip by a third, q = P/P⅓. At β = 45°, 60° and 90° the logarithms of
//! `v (1+q)/(q L)`, `Δ (1+q)²/(q² L)`, `θ (1+q)/q`, `dP/dδ L/P⅓` (v across, Δ along the axis, θ the
//! tip's angle, δ along the load) and of `U (1+q)/(q² P⅓ L)` (U stored energy) are tabled in t and
//! ln(1 + 4q), and interpolated by cubics (Lagrange, four points each way).
//! **Accuracy.** Within 0.5 % of the solved blank (tested; the bound of the tests is 1 %).
//! **Outside** t 0 to 1, q 0 to 24: a typed error.

use core::f64::consts::{FRAC_PI_2, FRAC_PI_3, FRAC_PI_4};

use super::super::blank::{
    Bend, BendError, Blank, BlankError, bend, bend_depth, load_for_third_drop,
};
use super::super::domain::{OutsideDomain, positive, within};

/// Stations of a blank of the family, less one.
const PIECES: usize = 60;
/// Tapers that are tabled, less one.
const TAPERS: usize = 18;
/// Loads that are tabled, less one.
const LOADS: usize = 24;
/// Quantities that are tabled for each angle.
const QUANTITIES: usize = 5;
/// Load that stands for no load, as a share of P⅓.
const FAINT: f64 = 1e-5;
/// Greatest load of the table as a multiple of the load that drops the tip by a third.
pub const MAX_LOAD_RATIO: f64 = 24.0;

/// A blank of the family.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FamilyBlank {
    /// The taper t, 0 (even) to 1 (soft only at the tip).
    pub taper: f64,
    /// Stiffness at the butt EI₀, N m².
    pub butt_n_m2: f64,
    /// Length L, m.
    pub length_m: f64,
}

/// Angle of the load from the unbent axis for which the table holds.
///
/// A rod raised by as much from a level line has its load there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lift {
    /// 45 degrees: a high stick of ordinary fighting.
    Deg45,
    /// 60 degrees.
    Deg60,
    /// 90 degrees: straight across the unbent blank.
    Deg90,
}

impl Lift {
    /// All angles of the table.
    pub const ALL: [Self; 3] = [Self::Deg45, Self::Deg60, Self::Deg90];

    /// The angle in radians.
    #[must_use]
    pub fn angle_rad(self) -> f64 {
        match self {
            Self::Deg45 => FRAC_PI_4,
            Self::Deg60 => FRAC_PI_3,
            Self::Deg90 => FRAC_PI_2,
        }
    }
}

/// What the table tells about a bent blank.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Response {
    /// How far the tip moved across the unbent axis, m.
    pub tip_deflection_m: f64,
    /// How far the tip moved back along the unbent axis, m.
    pub tip_shortening_m: f64,
    /// Angle of the tip from the unbent axis, rad.
    pub tip_angle_rad: f64,
    /// Tangent stiffness along the load, N/m.
    pub stiffness_n_per_m: f64,
    /// Energy stored in the bend, J.
    pub energy_j: f64,
}

impl Response {
    /// How far the tip moved along the load, `Δ (−cos β) + v sin β` with β of the load, m.
    #[must_use]
    pub fn give_m(&self, lift: Lift) -> f64 {
        let angle = lift.angle_rad();
        self.tip_deflection_m * libm::sin(angle) - self.tip_shortening_m * libm::cos(angle)
    }
}

/// The table. Build it once and keep it: some thousand bends are solved for it.
#[derive(Debug, Clone, PartialEq)]
pub struct BlankFamily {
    /// P⅓ L²/EI₀ by taper.
    third: [f64; TAPERS + 1],
    /// Bend depth by taper, falling.
    depth: [f64; TAPERS + 1],
    /// By angle, taper, load.
    rows: Vec<[f64; QUANTITIES]>,
}

impl FamilyBlank {
    /// The blank with its stations.
    ///
    /// # Errors
    /// [`BlankError`] for a length or stiffness that is not positive, or a taper outside 0 to 1.
    pub fn to_blank(&self) -> Result<Blank, BlankError> {
        let t = self.taper;
        let h = 0.48 + 0.24 * t;
        let w = 0.4 * libm::pow(0.075, t);
        let log_r = libm::log(5.0) + t * libm::log(60.0);
        let l = |z: f64| 1.0 / (1.0 + libm::exp((h - z) / w));
        let (first, last) = (l(0.0), l(1.0));
        let stations = (0..=PIECES).map(|i| {
            let z = i as f64 / PIECES as f64;
            let step = (l(z) - first) / (last - first);
            (z * self.length_m, self.butt_n_m2 * (1.0 - 0.5 * z) * libm::exp(-log_r * step))
        });
        Blank::new(self.length_m, stations.collect())
    }
}

/// The blank of unit length and butt stiffness.
fn unit(taper: f64) -> Result<Blank, BendError> {
    // Every taper of the table gives a sound blank; the error names what would be wrong.
    FamilyBlank { taper, butt_n_m2: 1.0, length_m: 1.0 }.to_blank().map_err(|_| BendError::NotFound)
}

impl BlankFamily {
    /// Solves the blanks of the table.
    ///
    /// # Errors
    /// [`BendError`], not seen.
    pub fn new() -> Result<Self, BendError> {
        let mut family = Self {
            third: [0.0; TAPERS + 1],
            depth: [0.0; TAPERS + 1],
            rows: Vec::with_capacity(3 * (TAPERS + 1) * (LOADS + 1)),
        };
        for lift in Lift::ALL {
            for i in 0..=TAPERS {
                let blank = unit(i as f64 / TAPERS as f64)?;
                if lift == Lift::Deg45 {
                    family.third[i] = load_for_third_drop(&blank)?;
                    family.depth[i] = bend_depth(&blank)?;
                }
                family.tabulate(&blank, family.third[i], lift)?;
            }
        }
        Ok(family)
    }

    fn tabulate(&mut self, blank: &Blank, third: f64, lift: Lift) -> Result<(), BendError> {
        let angle = lift.angle_rad();
        // Complementary energy ∫ δ dP by Hermite's rule, since δ and dδ/dP are known at each load.
        let give = |b: &Bend| {
            b.tip_deflection_m * libm::sin(angle) - b.tip_shortening_m * libm::cos(angle)
        };
        let (mut load, mut state) = (0.0, bend(blank, 0.0, angle)?);
        let mut complement = 0.0;
        for j in 0..=LOADS {
            let q = load_ratio(j as f64).max(FAINT);
            let next = bend(blank, q * third, angle)?;
            let step = q * third - load;
            let slopes = 1.0 / state.stiffness_n_per_m - 1.0 / next.stiffness_n_per_m;
            complement += 0.5 * step * (give(&state) + give(&next)) + step * step * slopes / 12.0;
            (load, state) = (q * third, next);
            let energy = load * give(&state) - complement;
            let grown = (1.0 + q) / q;
            self.rows.push([
                libm::log(state.tip_deflection_m * grown),
                libm::log(state.tip_shortening_m * grown * grown),
                libm::log(state.tip_angle_rad * grown),
                libm::log(state.stiffness_n_per_m / third),
                libm::log(energy * grown / (q * third)),
            ]);
        }
        Ok(())
    }

    /// The load across the blank that drops its tip by a third of the length, N.
    ///
    /// `P⅓ = p(t) EI₀/L²`, p tabled. Accuracy 1e-4. Outside: an error.
    ///
    /// # Errors
    /// A taper outside 0 to 1, a length or stiffness that is not positive.
    pub fn third_drop_load_n(&self, blank: &FamilyBlank) -> Result<f64, OutsideDomain> {
        let place = taper_place(blank.taper)?;
        let length = positive("length_m", blank.length_m)?;
        let butt = positive("butt_n_m2", blank.butt_n_m2)?;
        Ok(along(&self.third, place) * butt / (length * length))
    }

    /// Bend depth of a taper, as a share of the length: 0.79 at taper 0 to 0.27 at taper 1.
    ///
    /// Definition: [`bend_depth`]. Accuracy 5e-4 (absolute). Outside: an error.
    ///
    /// # Errors
    /// A taper outside 0 to 1.
    pub fn depth(&self, taper: f64) -> Result<f64, OutsideDomain> {
        Ok(along(&self.depth, taper_place(taper)?))
    }

    /// The taper whose bend depth is `depth`; the inverse of [`BlankFamily::depth`].
    ///
    /// By regula falsi on the tabled depth, which falls with the taper. Accuracy: as `depth`.
    ///
    /// # Errors
    /// A depth that no blank of the family has.
    pub fn taper_for_depth(&self, depth: f64) -> Result<f64, OutsideDomain> {
        let depth = within("depth", depth, self.depth[TAPERS], self.depth[0])?;
        let above = self.depth.partition_point(|&d| d > depth).clamp(1, TAPERS);
        let (mut low, mut high) = ((above - 1) as f64, above as f64);
        let (mut over, mut under) = (self.depth[above - 1] - depth, self.depth[above] - depth);
        let mut place = low;
        for _ in 0..40 {
            place = if over > under { low + (high - low) * over / (over - under) } else { low };
            let miss = along(&self.depth, place) - depth;
            if libm::fabs(miss) <= 1e-12 {
                break;
            }
            // Illinois rule: the end that stays counts half.
            if miss > 0.0 {
                (low, over, under) = (place, miss, 0.5 * under);
            } else {
                (high, under, over) = (place, miss, 0.5 * over);
            }
        }
        Ok(place / TAPERS as f64)
    }

    /// The blank of a length whose third-drop load and bend depth are given.
    ///
    /// # Errors
    /// A length or load that is not positive, a depth that no blank of the family has.
    pub fn blank(
        &self,
        length_m: f64,
        third_drop_load_n: f64,
        depth: f64,
    ) -> Result<FamilyBlank, OutsideDomain> {
        let length_m = positive("length_m", length_m)?;
        let load = positive("third_drop_load_n", third_drop_load_n)?;
        let taper = self.taper_for_depth(depth)?;
        let third = along(&self.third, taper * TAPERS as f64);
        Ok(FamilyBlank { taper, butt_n_m2: load * length_m * length_m / third, length_m })
    }

    /// The bend under a load, from the table.
    ///
    /// Definitions: module. Accuracy 0.5 % of each value (tested to 1 %). A load of 0 gives the
    /// limit: no bend, the stiffness of small loads.
    ///
    /// # Errors
    /// A blank outside the family, or a load outside 0 to [`MAX_LOAD_RATIO`] times its third-drop
    /// load.
    pub fn respond(
        &self,
        blank: &FamilyBlank,
        load_n: f64,
        lift: Lift,
    ) -> Result<Response, OutsideDomain> {
        let third = self.third_drop_load_n(blank)?;
        let load_n = within("load_n", load_n, 0.0, MAX_LOAD_RATIO * third)?;
        let q = load_n / third;
        let (row, across) = cubic(taper_place(blank.taper)?, TAPERS);
        let (column, weights) = cubic(load_place(q), LOADS);
        let table = &self.rows[lift as usize * (TAPERS + 1) * (LOADS + 1)..];
        let mut sums = [0.0; QUANTITIES];
        for (i, outer) in across.into_iter().enumerate() {
            let begin = (row + i) * (LOADS + 1) + column;
            for (values, inner) in table[begin..begin + 4].iter().zip(weights) {
                let weight = outer * inner;
                for (sum, value) in sums.iter_mut().zip(values) {
                    *sum += weight * value;
                }
            }
        }
        let share = q / (1.0 + q);
        let length = blank.length_m;
        Ok(Response {
            tip_deflection_m: libm::exp(sums[0]) * share * length,
            tip_shortening_m: libm::exp(sums[1]) * share * share * length,
            tip_angle_rad: libm::exp(sums[2]) * share,
            stiffness_n_per_m: libm::exp(sums[3]) * third / length,
            energy_j: libm::exp(sums[4]) * share * q * third * length,
        })
    }
}

fn taper_place(taper: f64) -> Result<f64, OutsideDomain> {
    Ok(within("taper", taper, 0.0, 1.0)? * TAPERS as f64)
}

/// Place of a load in the table, even in ln(1 + 4q).
fn load_place(q: f64) -> f64 {
    libm::log1p(4.0 * q) * (LOADS as f64 / libm::log1p(4.0 * MAX_LOAD_RATIO))
}

/// The load at a place of the table.
fn load_ratio(place: f64) -> f64 {
    0.25 * libm::expm1(place * libm::log1p(4.0 * MAX_LOAD_RATIO) / LOADS as f64)
}

/// First of four points for a place within 0 to `last`, and their weights (Lagrange).
pub(in super::super) fn cubic(place: f64, last: usize) -> (usize, [f64; 4]) {
    let first = (place.max(1.0) as usize - 1).min(last - 3);
    let x = place - first as f64;
    let (a, b, c, d) = (x, x - 1.0, x - 2.0, x - 3.0);
    (first, [-b * c * d / 6.0, 0.5 * a * c * d, -0.5 * a * b * d, a * b * c / 6.0])
}

fn along(values: &[f64; TAPERS + 1], place: f64) -> f64 {
    let (first, weights) = cubic(place, TAPERS);
    weights.iter().zip(&values[first..first + 4]).map(|(w, v)| w * v).sum()
}

#[cfg(test)]
mod tests {
    use super::super::family;
    use super::*;

    fn close(what: &str, got: f64, want: f64, share: f64) {
        assert!((got / want - 1.0).abs() <= share, "{what}: {got}, solved {want}");
    }

    // Source: the solved elastica of `blank`, between the points of the table. The stored energy
    // is checked by 40-point midpoint integration of P dδ.
    #[test]
    fn the_table_is_within_its_bound_of_the_solved_blank() {
        let family = family();
        for i in 0..40 {
            let taper = (f64::from(i) + 0.37) / 40.0;
            let blank = FamilyBlank { taper, butt_n_m2: 22.0, length_m: 2.3 };
            let solved = blank.to_blank().unwrap();
            let third = load_for_third_drop(&solved).unwrap();
            close("third", family.third_drop_load_n(&blank).unwrap(), third, 1e-4);
            let depth = bend_depth(&solved).unwrap();
            assert!((family.depth(taper).unwrap() - depth).abs() < 5e-4);
            for (j, lift) in Lift::ALL.into_iter().enumerate() {
                for k in 0..9 {
                    let q = 0.01 * libm::pow(2300.0, (f64::from(k) + 0.3 * j as f64) / 8.7);
                    let got = family.respond(&blank, q * third, lift).unwrap();
                    let want = bend(&solved, q * third, lift.angle_rad()).unwrap();
                    let tag = format!("t {taper:.3} q {q:.3} {lift:?}");
                    close(&tag, got.tip_deflection_m, want.tip_deflection_m, 5e-3);
                    close(&tag, got.tip_shortening_m, want.tip_shortening_m, 5e-3);
                    close(&tag, got.tip_angle_rad, want.tip_angle_rad, 5e-3);
                    close(&tag, got.stiffness_n_per_m, want.stiffness_n_per_m, 5e-3);
                    if i % 8 == 0 {
                        let give = |b: &Bend| {
                            b.tip_deflection_m * libm::sin(lift.angle_rad())
                                - b.tip_shortening_m * libm::cos(lift.angle_rad())
                        };
                        let at =
                            |m: f64| bend(&solved, q * third * m / 40.0, lift.angle_rad()).unwrap();
                        let complement: f64 =
                            (0..40).map(|m| give(&at(f64::from(m) + 0.5)) * q * third / 40.0).sum();
                        close(&tag, got.energy_j, q * third * give(&want) - complement, 1e-2);
                        close(&tag, got.give_m(lift), give(&want), 5e-3);
                    }
                }
            }
        }
    }

    // Source: the definition of the family (EI from butt to tip 10:1 to 600:1) and of its depth.
    #[test]
    fn the_family_softens_from_butt_to_tip_and_depth_falls_with_taper() {
        let family = family();
        assert!(family.depth.windows(2).all(|pair| pair[1] < pair[0]));
        for taper in [0.0, 0.3, 0.7, 1.0] {
            let blank = FamilyBlank { taper, butt_n_m2: 20.0, length_m: 2.0 }.to_blank().unwrap();
            let stations = blank.stations();
            assert!(stations.windows(2).all(|pair| pair[1].1 < pair[0].1));
            let ratio = stations[0].1 / stations[PIECES].1;
            close("ratio", ratio, 10.0 * libm::pow(60.0, taper), 1e-12);
            let back = family.taper_for_depth(family.depth(taper).unwrap()).unwrap();
            assert!((back - taper).abs() < 1e-9);
        }
    }

    // Source: P⅓ scales as EI/L² for one shape (physics of the elastica: dimensionless load).
    #[test]
    fn a_blank_is_made_for_load_and_depth() {
        let family = family();
        let blank = family.blank(2.4, 3.1, 0.43).unwrap();
        let solved = blank.to_blank().unwrap();
        close("load", load_for_third_drop(&solved).unwrap(), 3.1, 1e-4);
        assert!((bend_depth(&solved).unwrap() - 0.43).abs() < 5e-4);
        let error = family.blank(2.4, 3.1, 0.1).unwrap_err();
        assert_eq!(error.field, "depth");
        let third = family.third_drop_load_n(&blank).unwrap();
        assert_eq!(family.respond(&blank, 25.0 * third, Lift::Deg90).unwrap_err().field, "load_n");
        let none = family.respond(&blank, 0.0, Lift::Deg90).unwrap();
        assert_eq!((none.tip_deflection_m, none.tip_angle_rad, none.energy_j), (0.0, 0.0, 0.0));
        let limit = bend(&solved, 0.0, FRAC_PI_2).unwrap().stiffness_n_per_m;
        close("small loads", none.stiffness_n_per_m, limit, 5e-3);
    }
}
