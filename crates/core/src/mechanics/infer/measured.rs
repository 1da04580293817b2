//! The blank behind measurements, by least squares.
//!
//! Sought: taper t and ln EI₀ of [`super::family`] that make
//!
//! ```text
//! Φ = Σ [(computed − measured)/σ]²
//! ```
//!
//! least, every computed value from the solved elastica of [`super::super::blank`], not from the
//! table. Gauss and Newton's steps with Levenberg's damping (Levenberg, Quart. Appl. Math. 2 (1944)
//! 164-168, from memory) within 0 ≤ t ≤ 1, from the best of a grid of tapers. The spread follows
//! from (JᵀJ)⁻¹, times Φ over the degrees of freedom where that is above 1.
//!
//! **σ**, from memory: load 3 %, tip angle 3 degrees, bend depth 0.05, points 1.5 % of the length.
//! **Validity.** Blanks near the family; a measurement of the whole rod counts the grip as part of
//! the length only if the caller does. **Accuracy.** The spread that is returned. **Outside.** A
//! typed error names the field: one that no bent blank can have, one that misses by more than 4 σ
//! though the rest fits best, or what is missing; a bend depth seen under a great load can be that
//! of two blanks, and then the tip angle is missing.

use core::f64::consts::FRAC_PI_2;

use thiserror::Error;

use super::super::blank::{
    BendError, Blank, DEPTH_SHARE, MAX_ANGLE_RAD, MIN_ANGLE_RAD, bend, load_for_third_drop, shape,
};
use super::family::{BlankFamily, FamilyBlank};
use super::label::LabelInference;

const LOAD_SIGMA: f64 = 0.03;
const ANGLE_SIGMA: f64 = 3.0 * core::f64::consts::PI / 180.0;
const DEPTH_SIGMA: f64 = 0.05;
const POINT_SIGMA: f64 = 0.015;
/// Misfit of one measurement, in σ, that counts as a contradiction.
const CONTRADICTION: f64 = 4.0;
/// Tapers that are two answers and not one.
const APART: f64 = 0.1;
/// Tip angle of a uniform blank whose tip has dropped by a third (Bisshopp and Drucker 1945), less
/// rounding: blanks that soften toward the tip turn more.
const LEAST_ANGLE: f64 = 0.5119;

/// A bend that was seen: the share of the length from the tip that holds 80 % of the turning.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DepthSeen {
    /// Share of the length from the tip, 0 to 1.
    pub depth: f64,
    /// Load across the unbent blank, N.
    pub load_n: f64,
}

/// Points that were taken along a bent blank.
#[derive(Debug, Clone, PartialEq)]
pub struct PointsSeen {
    /// Load at the tip, N.
    pub load_n: f64,
    /// Angle of the load from the unbent axis, rad, 5 to 170 degrees.
    pub angle_rad: f64,
    /// Along and across the unbent axis from the butt, m; across is toward the load.
    pub points_m: Vec<(f64, f64)>,
}

/// What was measured of a blank; at least one field.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Measurement {
    /// Load across the blank that drops the tip by a third of the length, N.
    pub third_drop_load_n: Option<f64>,
    /// Angle of the tip from the unbent axis at that load, rad.
    pub third_drop_tip_angle_rad: Option<f64>,
    /// A bend depth seen at a load.
    pub depth: Option<DepthSeen>,
    /// Points along a bent blank.
    pub points: Option<PointsSeen>,
}

/// The blank that fits measurements best.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeasuredInference {
    /// The blank.
    pub blank: FamilyBlank,
    /// Its load that drops the tip by a third of the length, N.
    pub third_drop_load_n: f64,
    /// Its bend depth, share of the length.
    pub depth: f64,
    /// Root mean square of the misfits in σ, label included when there is one.
    pub misfit: f64,
    /// One standard deviation of the stiffness at the butt, relative.
    pub butt_spread: f64,
    /// One standard deviation of the taper.
    pub taper_spread: f64,
    /// Correlation of the errors of ln EI₀ and taper, -1 to 1.
    pub correlation: f64,
    /// One standard deviation of the third-drop load, relative.
    pub load_spread: f64,
    /// One standard deviation of the bend depth.
    pub depth_spread: f64,
}

/// Why no blank can be told from measurements.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum MeasurementError {
    /// A value that no measurement of a bent blank can give.
    #[error("{field}: {value}; a bent blank gives {least:.4} to {most:.4}")]
    Impossible {
        /// The field.
        field: &'static str,
        /// What it holds.
        value: f64,
        /// The least that is possible.
        least: f64,
        /// The most that is possible.
        most: f64,
    },
    /// A value that fits no blank of the family, or not together with the others.
    #[error("{field}: misses the best blank by {sigmas:.1} times its uncertainty; measure again")]
    Contradicts {
        /// The field that misses most.
        field: &'static str,
        /// How far it misses, in standard deviations.
        sigmas: f64,
    },
    /// The measurements leave stiffness or taper open and there is no label.
    #[error("{field}: needed, since the other measurements leave the blank open")]
    Missing {
        /// What would close it.
        field: &'static str,
    },
    /// The bend could not be solved.
    #[error(transparent)]
    Bend(#[from] BendError),
}

const THIRD: &str = "third_drop_load_n";
const ANGLE: &str = "third_drop_tip_angle_rad";
const DEPTH: &str = "depth";
const POINTS: &str = "points";

/// The blank behind measurements, and behind its label where there is one.
///
/// With a label its blank and spreads count like measurements, so that one number is enough.
/// Method, accuracy, errors: module.
///
/// # Errors
/// [`MeasurementError`].
pub fn from_measurement(
    family: &BlankFamily,
    length_m: f64,
    measured: &Measurement,
    label: Option<&LabelInference>,
) -> Result<MeasuredInference, MeasurementError> {
    check(length_m, measured)?;
    if label.is_none() {
        complete(measured)?;
    }
    let fit = Fit { family, length_m, measured, label };
    let mut fitted = Vec::new();
    for start in fit.starts()? {
        fitted.push(fit.descend(start)?);
    }
    fitted.sort_by(|a, b| a.sum.total_cmp(&b.sum));
    let Some(best) = fitted.first() else {
        return Err(MeasurementError::Bend(BendError::NotFound));
    };
    for &(field, miss) in &best.misses {
        let sigmas = libm::fabs(miss);
        let worst = best.misses.iter().all(|other| libm::fabs(other.1) <= sigmas);
        if worst && sigmas > CONTRADICTION && field != "label" {
            return Err(MeasurementError::Contradicts { field, sigmas });
        }
    }
    let rival =
        |other: &Try| libm::fabs(other.taper - best.taper) > APART && other.sum < best.sum + 1.0;
    if fitted.iter().any(rival) {
        return Err(MeasurementError::Missing { field: ANGLE });
    }
    fit.finish(best)
}

fn possible(
    field: &'static str,
    value: f64,
    least: f64,
    most: f64,
) -> Result<(), MeasurementError> {
    if (least..=most).contains(&value) {
        Ok(())
    } else {
        Err(MeasurementError::Impossible { field, value, least, most })
    }
}

fn check(length_m: f64, measured: &Measurement) -> Result<(), MeasurementError> {
    possible("length_m", length_m, 0.1, 20.0)?;
    if let Some(load) = measured.third_drop_load_n {
        possible(THIRD, load, 1e-3, 1e4)?;
    }
    if let Some(angle) = measured.third_drop_tip_angle_rad {
        possible(ANGLE, angle, LEAST_ANGLE, FRAC_PI_2)?;
    }
    if let Some(seen) = measured.depth {
        possible("depth.depth", seen.depth, 0.02, 0.98)?;
        possible("depth.load_n", seen.load_n, 1e-3, 1e4)?;
    }
    if let Some(seen) = &measured.points {
        possible("points.load_n", seen.load_n, 1e-3, 1e4)?;
        possible("points.angle_rad", seen.angle_rad, MIN_ANGLE_RAD, MAX_ANGLE_RAD)?;
        possible("points.points_m (number of points)", seen.points_m.len() as f64, 1.0, 1e3)?;
        for &(x, y) in &seen.points_m {
            possible("points.points_m", libm::hypot(x, y), 0.0, length_m * 1.02)?;
        }
    }
    Ok(())
}

/// Without a label something must tell the stiffness and something the taper.
fn complete(measured: &Measurement) -> Result<(), MeasurementError> {
    let many = measured.points.as_ref().is_some_and(|seen| seen.points_m.len() >= 2);
    let load = measured.third_drop_load_n.is_some() || measured.points.is_some();
    let taper = measured.third_drop_tip_angle_rad.is_some() || measured.depth.is_some() || many;
    if !load {
        Err(MeasurementError::Missing { field: THIRD })
    } else if !taper {
        Err(MeasurementError::Missing { field: ANGLE })
    } else {
        Ok(())
    }
}

struct Fit<'a> {
    family: &'a BlankFamily,
    length_m: f64,
    measured: &'a Measurement,
    label: Option<&'a LabelInference>,
}

#[derive(Debug, Clone)]
struct Try {
    taper: f64,
    log_butt: f64,
    misses: Vec<(&'static str, f64)>,
    sum: f64,
}

/// JᵀJ as (tt, tb, bb) and Jᵀr as (t, b).
type Normal = ((f64, f64, f64), (f64, f64));

impl Try {
    fn at(taper: f64, log_butt: f64) -> Self {
        Self { taper: taper.clamp(0.0, 1.0), log_butt, misses: Vec::new(), sum: f64::INFINITY }
    }

    /// The next try; a taper at its bound that would leave it stays and only the stiffness moves.
    fn moved(&self, matrix: &(f64, f64, f64), slope: (f64, f64), damping: f64) -> Self {
        let (tt, tb, bb) = *matrix;
        let grown = 1.0 + damping;
        let (a, d) = (tt * grown + 1e-12, bb * grown + 1e-12);
        let determinant = a * d - tb * tb;
        let step_t = -(d * slope.0 - tb * slope.1) / determinant;
        let step_b = -(a * slope.1 - tb * slope.0) / determinant;
        let wanted = self.taper + step_t;
        if (self.taper <= 0.0 && wanted < 0.0) || (self.taper >= 1.0 && wanted > 1.0) {
            return Self::at(self.taper, self.log_butt - (slope.1 / d).clamp(-1.0, 1.0));
        }
        let taper = self.taper + step_t.clamp(-0.3, 0.3);
        Self::at(taper, self.log_butt + step_b.clamp(-1.0, 1.0))
    }
}

impl Fit<'_> {
    fn blank(&self, taper: f64, log_butt: f64) -> FamilyBlank {
        FamilyBlank { taper, butt_n_m2: libm::exp(log_butt), length_m: self.length_m }
    }

    /// Where to start: the tapers of a grid that fit better than their neighbours, each with the
    /// stiffness that the load or the label tells.
    fn starts(&self) -> Result<Vec<Try>, MeasurementError> {
        let known = self.measured.third_drop_load_n.or(self.label.map(|l| l.third_drop_load_n));
        let loads: Vec<f64> = match (known, &self.measured.points) {
            (Some(load), _) => vec![load],
            (None, Some(seen)) => [0.15, 0.4, 1.0, 2.5, 6.0].map(|f| f * seen.load_n).to_vec(),
            (None, None) => return Err(MeasurementError::Missing { field: THIRD }),
        };
        let mut grid: Vec<Try> = Vec::new();
        for i in 0..=10 {
            let taper = f64::from(i) / 10.0;
            let one = self.family.third_drop_load_n(&self.blank(taper, 0.0));
            let one = one.map_err(|_| BendError::NotFound)?;
            let mut best = Try::at(taper, libm::log(loads[0] / one));
            self.fill(&mut best)?;
            for load in &loads[1..] {
                let mut at = Try::at(taper, libm::log(load / one));
                self.fill(&mut at)?;
                if at.sum < best.sum {
                    best = at;
                }
            }
            grid.push(best);
        }
        let low = |i: usize| {
            (i == 0 || grid[i].sum <= grid[i - 1].sum)
                && grid.get(i + 1).is_none_or(|next| grid[i].sum < next.sum)
        };
        Ok((0..grid.len()).filter(|&i| low(i)).map(|i| grid[i].clone()).collect())
    }

    /// Steps to the least sum near a start.
    fn descend(&self, start: Try) -> Result<Try, MeasurementError> {
        let mut best = start;
        let mut damping = 1e-3;
        for _ in 0..60 {
            let (matrix, slope) = self.normal(&best)?;
            let mut next = best.moved(&matrix, slope, damping);
            self.fill(&mut next)?;
            let gain = best.sum - next.sum;
            if gain >= 0.0 {
                let settled = gain <= 1e-10 * (1.0 + best.sum);
                best = next;
                damping *= 0.2;
                if settled {
                    break;
                }
            } else {
                damping *= 6.0;
                if damping > 1e9 {
                    break;
                }
            }
        }
        Ok(best)
    }

    /// Misfits of a try, in σ.
    fn fill(&self, at: &mut Try) -> Result<(), MeasurementError> {
        let own = self.blank(at.taper, at.log_butt);
        let blank = own.to_blank().map_err(|_| BendError::NotFound)?;
        let measured = self.measured;
        at.misses.clear();
        let third = load_for_third_drop(&blank)?;
        if let Some(load) = measured.third_drop_load_n {
            at.misses.push((THIRD, libm::log(third / load) / LOAD_SIGMA));
        }
        if let Some(angle) = measured.third_drop_tip_angle_rad {
            let bent = bend(&blank, third, FRAC_PI_2)?;
            at.misses.push((ANGLE, (bent.tip_angle_rad - angle) / ANGLE_SIGMA));
        }
        // A load beyond the solved domain is a try that is far too soft: its misfit is large.
        if let Some(seen) = &measured.depth {
            let miss = depth_at(&blank, seen.load_n).map(|d| (d - seen.depth) / DEPTH_SIGMA);
            at.misses.push((DEPTH, far(miss)?));
        }
        if let Some(seen) = &measured.points {
            let curve = shape(&blank, seen.load_n, seen.angle_rad, 81);
            let curve = curve.map(|c| c.iter().map(|p| (p.x_m, p.y_m)).collect::<Vec<_>>());
            for &point in &seen.points_m {
                let miss = match &curve {
                    Ok(curve) => distance(curve, point) / (POINT_SIGMA * self.length_m),
                    Err(error) => far(Err(*error))?,
                };
                at.misses.push((POINTS, miss));
            }
        }
        if let Some(label) = self.label {
            let depth = self.family.depth(at.taper).map_err(|_| BendError::NotFound)?;
            at.misses.push(("label", (depth - label.depth) / label.depth_spread));
            let load = libm::log(third / label.third_drop_load_n);
            at.misses.push(("label", load / label.load_spread));
        }
        at.sum = at.misses.iter().map(|(_, miss)| miss * miss).sum();
        Ok(())
    }

    /// JᵀJ and Jᵀr by differences.
    fn normal(&self, at: &Try) -> Result<Normal, MeasurementError> {
        let (dt, db) = (if at.taper > 0.5 { -1e-4 } else { 1e-4 }, 1e-4);
        let mut by_t = Try::at(at.taper + dt, at.log_butt);
        let mut by_b = Try::at(at.taper, at.log_butt + db);
        self.fill(&mut by_t)?;
        self.fill(&mut by_b)?;
        let (mut tt, mut tb, mut bb, mut rt, mut rb) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for ((base, t), b) in at.misses.iter().zip(&by_t.misses).zip(&by_b.misses) {
            let (t, b) = ((t.1 - base.1) / dt, (b.1 - base.1) / db);
            tt += t * t;
            tb += t * b;
            bb += b * b;
            rt += t * base.1;
            rb += b * base.1;
        }
        Ok(((tt, tb, bb), (rt, rb)))
    }

    fn finish(&self, at: &Try) -> Result<MeasuredInference, MeasurementError> {
        let ((tt, tb, bb), _) = self.normal(at)?;
        let count = at.misses.len() as f64;
        let excess = if count > 2.0 { (at.sum / (count - 2.0)).max(1.0) } else { 1.0 };
        let determinant = tt * bb - tb * tb;
        if determinant <= 1e-9 * tt * bb {
            return Err(MeasurementError::Missing { field: if bb > 0.0 { ANGLE } else { THIRD } });
        }
        let (var_t, cov, var_b) =
            (excess * bb / determinant, -excess * tb / determinant, excess * tt / determinant);
        let blank = self.blank(at.taper, at.log_butt);
        let outside = |_| MeasurementError::Bend(BendError::NotFound);
        let depth = |taper| self.family.depth(taper).map_err(outside);
        let load = |taper| {
            let near = FamilyBlank { taper, ..blank };
            self.family.third_drop_load_n(&near).map_err(outside)
        };
        let (low, high) = ((at.taper - 0.01).max(0.0), (at.taper + 0.01).min(1.0));
        let depth_t = (depth(high)? - depth(low)?) / (high - low);
        let load_t = libm::log(load(high)? / load(low)?) / (high - low);
        Ok(MeasuredInference {
            blank,
            third_drop_load_n: load(at.taper)?,
            depth: depth(at.taper)?,
            misfit: libm::sqrt(at.sum / count),
            butt_spread: libm::sqrt(var_b),
            taper_spread: libm::sqrt(var_t),
            correlation: (cov / libm::sqrt(var_t * var_b)).clamp(-1.0, 1.0),
            load_spread: libm::sqrt(
                (var_b + 2.0 * load_t * cov + load_t * load_t * var_t).max(0.0),
            ),
            depth_spread: libm::fabs(depth_t) * libm::sqrt(var_t),
        })
    }
}

/// A misfit, or a great one for a load that is not solved.
fn far(miss: Result<f64, BendError>) -> Result<f64, BendError> {
    match miss {
        Err(BendError::LoadTooGreat(load)) => Ok(100.0 * load),
        other => other,
    }
}

/// Length from the tip, as a share, that holds 80 % of the turning at a load across the blank.
///
/// By linear interpolation of the angle between 241 points of the solved [`shape`]; accuracy 1e-4.
///
/// # Errors
/// [`BendError`] as for [`bend`].
pub fn depth_at(blank: &Blank, load_n: f64) -> Result<f64, BendError> {
    let points = shape(blank, load_n, FRAC_PI_2, 241)?;
    let tip = points[points.len() - 1].angle_rad;
    let sought = (1.0 - DEPTH_SHARE) * tip;
    let past = points.partition_point(|p| p.angle_rad < sought).clamp(1, points.len() - 1);
    let (before, after) = (&points[past - 1], &points[past]);
    let turn = after.angle_rad - before.angle_rad;
    let share = if turn > 0.0 { (sought - before.angle_rad) / turn } else { 0.0 };
    Ok(1.0 - (before.s_m + share * (after.s_m - before.s_m)) / blank.length_m())
}

/// Signed distance of a point from a curve, positive on the side toward the load.
fn distance(curve: &[(f64, f64)], (x, y): (f64, f64)) -> f64 {
    let mut best = f64::INFINITY;
    for pair in curve.windows(2) {
        let ((x0, y0), (x1, y1)) = (pair[0], pair[1]);
        let (dx, dy) = (x1 - x0, y1 - y0);
        let square = dx * dx + dy * dy;
        let share = (((x - x0) * dx + (y - y0) * dy) / square).clamp(0.0, 1.0);
        let (rx, ry) = (x - x0 - share * dx, y - y0 - share * dy);
        let size = libm::hypot(rx, ry);
        if size < libm::fabs(best) {
            best = if dx * ry - dy * rx < 0.0 { -size } else { size };
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::super::super::blank::bend_depth;
    use super::super::family;
    use super::super::label::{BlankLabel, from_label};
    use super::*;
    use crate::model::Model;

    fn truth() -> (FamilyBlank, Blank) {
        let own = FamilyBlank { taper: 0.62, butt_n_m2: 17.0, length_m: 2.2 };
        let blank = own.to_blank().unwrap();
        (own, blank)
    }

    fn near(found: &MeasuredInference, own: &FamilyBlank, share: f64) {
        assert!((found.blank.butt_n_m2 / own.butt_n_m2 - 1.0).abs() < share, "{found:?}");
        assert!((found.blank.taper - own.taper).abs() < share, "{found:?}");
    }

    // Source: the solved elastica of a known blank: each way of measuring must find it again.
    #[test]
    fn a_known_blank_is_found_again() {
        let (own, blank) = truth();
        let family = family();
        let third = load_for_third_drop(&blank).unwrap();
        let angle = bend(&blank, third, FRAC_PI_2).unwrap().tip_angle_rad;
        let bench = Measurement {
            third_drop_load_n: Some(third),
            third_drop_tip_angle_rad: Some(angle),
            ..Measurement::default()
        };
        let found = from_measurement(family, 2.2, &bench, None).unwrap();
        near(&found, &own, 1e-4);
        assert!(found.misfit < 1e-3 && found.butt_spread < 0.1, "{found:?}");
        assert!((found.load_spread - LOAD_SIGMA).abs() < 0.003, "{found:?}");

        let by_depth = |load_n: f64| Measurement {
            third_drop_load_n: Some(third),
            depth: Some(DepthSeen { depth: depth_at(&blank, load_n).unwrap(), load_n }),
            ..Measurement::default()
        };
        near(&from_measurement(family, 2.2, &by_depth(0.8 * third), None).unwrap(), &own, 1e-3);
        // Under twice the load a softer tip hangs straight and shows the same depth: two answers.
        let open = from_measurement(family, 2.2, &by_depth(2.0 * third), None).unwrap_err();
        assert_eq!(open, MeasurementError::Missing { field: ANGLE });

        for beta in [1.1, 2.0] {
            let curve = shape(&blank, 5.0, beta, 12).unwrap();
            let points_m = curve[2..].iter().map(|p| (p.x_m, p.y_m)).collect();
            let points = PointsSeen { load_n: 5.0, angle_rad: beta, points_m };
            let by_points = Measurement { points: Some(points), ..Measurement::default() };
            near(&from_measurement(family, 2.2, &by_points, None).unwrap(), &own, 1e-2);
        }
    }

    // Source: physics reference, case B (a tube 12 to 2 mm, 60 GPa): a third at 2.3243 N with 63.08
    // degrees. It is no blank of the family, yet load and angle come back, and so does its bend.
    #[test]
    fn a_blank_outside_the_family_is_told_by_its_load_and_angle() {
        let family = family();
        let bench = Measurement {
            third_drop_load_n: Some(2.324_315_2),
            third_drop_tip_angle_rad: Some(63.0832_f64.to_radians()),
            ..Measurement::default()
        };
        let found = from_measurement(family, 2.1, &bench, None).unwrap();
        assert!(found.misfit < 1e-3, "{found:?}");
        let blank = found.blank.to_blank().unwrap();
        for (load, drop) in [(1.0, 0.394_067), (2.0, 0.642_083), (5.0, 0.991_240)] {
            let got = bend(&blank, load, FRAC_PI_2).unwrap().tip_deflection_m;
            assert!((got / drop - 1.0).abs() < 0.06, "{load} N: {got} {drop}");
        }
    }

    // Source: statistics: a label adds what is missing, and a measurement narrows a label.
    #[test]
    fn one_load_narrows_a_label() {
        let family = family();
        let printed = BlankLabel { power_class: 4.0, action: 0.75, length_m: 2.2 };
        let label = from_label(family, &printed, &Model::builtin().label_model()).unwrap();
        let measured = Measurement { third_drop_load_n: Some(3.5), ..Measurement::default() };
        let found = from_measurement(family, 2.2, &measured, Some(&label)).unwrap();
        assert!((found.third_drop_load_n / 3.5 - 1.0).abs() < 0.01, "{found:?}");
        assert!(found.load_spread < 0.2 * label.load_spread, "{found:?}");
        assert!((found.depth_spread - label.depth_spread).abs() < 0.01, "{found:?}");
        let none = from_measurement(family, 2.2, &measured, None).unwrap_err();
        assert_eq!(none, MeasurementError::Missing { field: ANGLE });
    }

    // Source: closed form (uniform blank turns by 29.33 degrees, Bisshopp and Drucker 1945) and
    // geometry (no point lies farther from the butt than the blank is long, nor behind the axis).
    #[test]
    fn the_impossible_and_the_contradictory_are_named() {
        let family = family();
        let (_, blank) = truth();
        let third = load_for_third_drop(&blank).unwrap();
        let bench = |angle: f64, depth: Option<DepthSeen>| Measurement {
            third_drop_load_n: Some(third),
            third_drop_tip_angle_rad: Some(angle.to_radians()),
            depth,
            ..Measurement::default()
        };
        let field = |measured: &Measurement| match from_measurement(family, 2.2, measured, None) {
            Err(
                MeasurementError::Impossible { field, .. }
                | MeasurementError::Contradicts { field, .. },
            ) => field,
            other => panic!("{other:?}"),
        };
        assert_eq!(field(&bench(20.0, None)), ANGLE);
        assert_eq!(field(&bench(95.0, None)), ANGLE);
        // Soft only at the tip by its angle, even by the bend seen.
        let even = DepthSeen { depth: 0.85, load_n: third };
        assert_eq!(field(&bench(86.0, Some(even))), DEPTH);
        let points = PointsSeen { load_n: 2.0, angle_rad: 1.5, points_m: vec![(2.0, 1.5)] };
        let far = Measurement { points: Some(points), ..Measurement::default() };
        assert_eq!(field(&far), "points.points_m");
        let points = PointsSeen {
            load_n: third,
            angle_rad: FRAC_PI_2,
            points_m: vec![(1.0, -0.2), (1.5, -0.4), (1.9, -0.7)],
        };
        let wrong = Measurement { points: Some(points), ..Measurement::default() };
        assert_eq!(field(&wrong), POINTS);
    }

    // Source: bend depth of `blank`, found on its own way.
    #[test]
    fn a_depth_at_the_third_drop_is_the_bend_depth() {
        let (_, blank) = truth();
        let third = load_for_third_drop(&blank).unwrap();
        let got = depth_at(&blank, third).unwrap();
        assert!((got - bend_depth(&blank).unwrap()).abs() < 1e-4);
    }
}
