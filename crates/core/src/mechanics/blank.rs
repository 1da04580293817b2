//! The bend of a blank under a load at the tip.
//!
//! A blank is clamped at the butt and pulled at the tip by a load of fixed size and direction
//! (line to a far fish, weight in a bag): the planar elastica with a falling stiffness.
//!
//! ```text
//! EI(s) dθ/ds = M      dM/ds = −P sin(β − θ)      dx/ds = cos θ      dy/ds = sin θ
//! θ(0) = x(0) = y(0) = 0                          M(L) = 0
//! ```
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | s, L | length along the blank from the butt, whole length | m |
//! | EI | bending stiffness, linear between stations | N m² |
//! | θ | angle of the tangent from the unbent axis | rad |
//! | M | bending moment | N m |
//! | P, β | load, its angle from the unbent axis | N, rad |
//! | x, y | along and across the unbent axis | m |
//!
//! **Source.** Euler's elastica; for uniform EI and β = 90° the closed form of Bisshopp and
//! Drucker, "Large deflection of cantilever beams", Quart. Appl. Math. 3 (1945) 272-275 (equation
//! numbers not at hand), which the tests evaluate. **Method** and proof that the branch is the one
//! that grows from no load: `elastica`.
//!
//! **Validity.** Thin, linear elastic, inextensible; no friction at guides, no ovalisation, no own
//! weight; load constant in size and direction (not one that follows the tip).
//! β 5° to 170°, P L²/EI(butt) up to 50, greatest EI at most 1000 times the least, any stations.
//! **Accuracy.** Every result within 1e-9 of its value (our estimate, from some hundreds of random
//! cases against an independent integrator; they agree to about 1e-10). **Outside** the domain: a
//! typed error.

use core::f64::consts::{FRAC_PI_2, PI};

use thiserror::Error;

use super::elastica::{self, Problem, Segment};

/// Greatest EI over least EI of a blank.
pub const MAX_EI_RATIO: f64 = 1000.0;
/// Greatest dimensionless load, P L²/EI(butt).
pub const MAX_LOAD: f64 = 50.0;
/// Least angle of the load from the unbent axis, radians (5 degrees).
pub const MIN_ANGLE_RAD: f64 = 5.0 * PI / 180.0;
/// Greatest angle of the load from the unbent axis, radians (170 degrees).
pub const MAX_ANGLE_RAD: f64 = 170.0 * PI / 180.0;
/// The share of all turning that the bend depth holds.
pub const DEPTH_SHARE: f64 = 0.8;

/// Limits are met within this share, so that 170 degrees turned into radians is inside.
const SLACK: f64 = 1e-9;

/// Why a list of stations is no blank.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum BlankError {
    /// The length is no positive finite number.
    #[error("length_m: {0} is not a positive length in metres")]
    Length(f64),
    /// Fewer than two stations.
    #[error("stations: {0} given; at least two are needed, one at the butt and one at the tip")]
    TooFew(usize),
    /// A place that is not beyond the one before it, or no number.
    #[error("stations[{index}].s_m: {s_m} does not lie beyond the station before it")]
    NotRising {
        /// Index of the station, from 0.
        index: usize,
        /// Its place in metres.
        s_m: f64,
    },
    /// The first station is not at the butt.
    #[error("stations[0].s_m: {0}; the first station must lie at the butt, 0")]
    NotAtButt(f64),
    /// The last station is not at the tip.
    #[error("stations: the last lies at {s_m} m; it must lie at the tip, length_m = {length_m}")]
    NotAtTip {
        /// Place of the last station in metres.
        s_m: f64,
        /// Length of the blank in metres.
        length_m: f64,
    },
    /// A stiffness that is no positive finite number.
    #[error("stations[{index}].ei_n_m2: {ei_n_m2} is not a positive stiffness in N m²")]
    Stiffness {
        /// Index of the station, from 0.
        index: usize,
        /// Its stiffness.
        ei_n_m2: f64,
    },
    /// The stiffness varies by more than [`MAX_EI_RATIO`].
    #[error("stations: the stiffest is {0:.1} times the softest; at most 1000 is solved")]
    Ratio(f64),
}

/// Why a bend cannot be told.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum BendError {
    /// The load is negative or no number.
    #[error("load_n: {0} is not a load of 0 N or more")]
    Load(f64),
    /// The load is beyond the domain.
    #[error("load_n: P L²/EI(butt) is {0:.2}; at most 50 is solved")]
    LoadTooGreat(f64),
    /// The angle is outside 5 to 170 degrees.
    #[error("angle: {:.3} degrees from the unbent axis; 5 to 170 are solved", .0.to_degrees())]
    Angle(f64),
    /// Newton's method found no solution. Not seen for any blank that was accepted.
    #[error("the bend was not found within the allowed number of passes")]
    NotFound,
}

/// Bending stiffness along a blank, linear between stations. Checked when built.
#[derive(Debug, Clone, PartialEq)]
pub struct Blank {
    length_m: f64,
    butt_n_m2: f64,
    stations: Vec<(f64, f64)>,
    /// From tip to butt; lengths as shares of L, stiffness as shares of EI(butt).
    segments: Vec<Segment>,
}

/// The state of a bent blank.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bend {
    /// How far the tip moved across the unbent axis, y(L), metres.
    pub tip_deflection_m: f64,
    /// How far the tip moved back along the unbent axis, L − x(L), metres.
    pub tip_shortening_m: f64,
    /// Angle of the tip's tangent from the unbent axis, θ(L), radians.
    pub tip_angle_rad: f64,
    /// Bending moment at the butt, M(0) = P (x(L) sin β − y(L) cos β), N m.
    pub root_moment_n_m: f64,
    /// dP/dδ at fixed angle, δ the tip's displacement along the load, N/m. At no load the limit.
    pub stiffness_n_per_m: f64,
}

/// A point of a bent blank.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BendPoint {
    /// Length along the blank from the butt, metres.
    pub s_m: f64,
    /// Along the unbent axis, metres.
    pub x_m: f64,
    /// Across the unbent axis, metres.
    pub y_m: f64,
    /// Angle of the tangent from the unbent axis, radians.
    pub angle_rad: f64,
    /// Bending moment, N m.
    pub moment_n_m: f64,
}

impl Blank {
    /// A blank of `length_m` metres with stations of (metres from the butt, EI in N m²).
    ///
    /// # Errors
    ///
    /// [`BlankError`] names the first field that is wrong and what would be right.
    pub fn new(length_m: f64, stations: Vec<(f64, f64)>) -> Result<Self, BlankError> {
        if !(length_m.is_finite() && length_m > 0.0) {
            return Err(BlankError::Length(length_m));
        }
        let [(first_m, butt_n_m2), .., (last_m, _)] = stations[..] else {
            return Err(BlankError::TooFew(stations.len()));
        };
        if first_m != 0.0 {
            return Err(BlankError::NotAtButt(first_m));
        }
        let (mut least, mut greatest) = (f64::INFINITY, 0.0_f64);
        let mut before = f64::NEG_INFINITY;
        for (index, &(s_m, ei_n_m2)) in stations.iter().enumerate() {
            if !(s_m.is_finite() && s_m > before) {
                return Err(BlankError::NotRising { index, s_m });
            }
            if !(ei_n_m2.is_finite() && ei_n_m2 > 0.0) {
                return Err(BlankError::Stiffness { index, ei_n_m2 });
            }
            before = s_m;
            least = least.min(ei_n_m2);
            greatest = greatest.max(ei_n_m2);
        }
        if libm::fabs(last_m - length_m) > SLACK * length_m {
            return Err(BlankError::NotAtTip { s_m: last_m, length_m });
        }
        let ratio = greatest / least;
        if ratio > MAX_EI_RATIO * (1.0 + SLACK) {
            return Err(BlankError::Ratio(ratio));
        }
        let segments = stations
            .windows(2)
            .rev()
            .map(|pair| Segment {
                length: (pair[1].0 - pair[0].0) / last_m,
                tip: pair[1].1 / butt_n_m2,
                butt: pair[0].1 / butt_n_m2,
            })
            .collect();
        Ok(Self { length_m: last_m, butt_n_m2, stations, segments })
    }

    /// Length, metres.
    #[must_use]
    pub fn length_m(&self) -> f64 {
        self.length_m
    }

    /// The stations: metres from the butt, EI in N m².
    #[must_use]
    pub fn stations(&self) -> &[(f64, f64)] {
        &self.stations
    }

    /// The load whose P L²/EI(butt) is 1, newtons.
    fn unit_n(&self) -> f64 {
        self.butt_n_m2 / (self.length_m * self.length_m)
    }

    /// The dimensionless problem for a load that has been checked.
    fn problem(&self, load_n: f64, angle_rad: f64) -> Result<Problem<'_>, BendError> {
        if !(load_n.is_finite() && load_n >= 0.0) {
            return Err(BendError::Load(load_n));
        }
        let load = load_n / self.unit_n();
        if !load.is_finite() || load > MAX_LOAD * (1.0 + SLACK) {
            return Err(BendError::LoadTooGreat(load));
        }
        let low = MIN_ANGLE_RAD * (1.0 - SLACK);
        let high = MAX_ANGLE_RAD * (1.0 + SLACK);
        if !(low..=high).contains(&angle_rad) {
            return Err(BendError::Angle(angle_rad));
        }
        Ok(Problem::new(&self.segments, load, angle_rad))
    }
}

/// The bend of a blank under a load of `load_n` newtons at `angle_rad` from the unbent axis.
///
/// Equations, source, validity and accuracy: head of this module. 90 degrees is a load across
/// the blank; beyond that the load pulls back toward the butt.
///
/// # Errors
///
/// [`BendError`] for a load or an angle outside the domain.
///
/// ```
/// use deepbend_core::mechanics::blank::{Blank, bend};
///
/// let blank = Blank::new(1.0, vec![(0.0, 1.0), (1.0, 1.0)])?;
/// let bend = bend(&blank, 1.0, core::f64::consts::FRAC_PI_2)?;
/// assert!((bend.tip_deflection_m - 0.301_721).abs() < 1e-6); // Bisshopp and Drucker 1945
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn bend(blank: &Blank, load_n: f64, angle_rad: f64) -> Result<Bend, BendError> {
    let problem = blank.problem(load_n, angle_rad)?;
    let state = problem.solve().ok_or(BendError::NotFound)?;
    let length_m = blank.length_m;
    Ok(Bend {
        tip_deflection_m: state.deflection * length_m,
        tip_shortening_m: state.shortening * length_m,
        tip_angle_rad: state.turn,
        root_moment_n_m: load_n * state.arm * length_m,
        stiffness_n_per_m: blank.unit_n() / (state.compliance * length_m),
    })
}

/// The shape of a bent blank: `count` points (at least two) at even lengths from butt to tip.
///
/// Source, validity and accuracy as for [`bend`].
///
/// # Errors
///
/// [`BendError`] for a load or an angle outside the domain.
pub fn shape(
    blank: &Blank,
    load_n: f64,
    angle_rad: f64,
    count: usize,
) -> Result<Vec<BendPoint>, BendError> {
    let problem = blank.problem(load_n, angle_rad)?;
    let state = problem.solve().ok_or(BendError::NotFound)?;
    let length_m = blank.length_m;
    let mut points: Vec<BendPoint> = elastica::points(&problem, &state, count.max(2))
        .into_iter()
        .map(|p| BendPoint {
            s_m: p.s * length_m,
            x_m: p.x * length_m,
            y_m: p.y * length_m,
            angle_rad: p.angle,
            moment_n_m: load_n * p.arm * length_m,
        })
        .collect();
    points.reverse();
    Ok(points)
}

/// The load across the blank (β = 90°) that drops the tip by a third of the length, newtons.
///
/// Solves y(L; P) = L/3 for the elastica of [`bend`] by Newton's method from the linear load;
/// the deflection is concave in the load, so the steps rise to the root. For uniform EI
/// P L²/EI = 1.131342756 (Bisshopp and Drucker 1945). Relative accuracy 1e-9 (our estimate).
/// Holds for every [`Blank`], also where EI rises from the butt and P L²/EI(butt) passes 50.
///
/// # Errors
///
/// [`BendError::NotFound`], not seen for any blank that was accepted.
pub fn load_for_third_drop(blank: &Blank) -> Result<f64, BendError> {
    Ok(third_drop(blank)? * blank.unit_n())
}

/// Dimensionless load that drops the tip by a third of the length.
fn third_drop(blank: &Blank) -> Result<f64, BendError> {
    let mut load = 0.0;
    for _ in 0..60 {
        let problem = Problem::new(&blank.segments, load, FRAC_PI_2);
        let state = problem.solve().ok_or(BendError::NotFound)?;
        let step = (1.0 / 3.0 - state.deflection) / state.compliance;
        load += step;
        // The next error is of the order of the square of this step.
        if libm::fabs(step) <= 1e-7 * load {
            return Ok(load);
        }
    }
    Err(BendError::NotFound)
}

/// Bend depth: the length from the tip, as a share of the blank, that holds 80 % of all turning
/// at the load across the blank that drops the tip by a third of the length.
///
/// θ(L) − θ(L(1 − d)) = 0.8 θ(L) at P of [`load_for_third_drop`]. Source: definition of this
/// project (common practice speaks of where a blank bends without a measure). Relative accuracy
/// 1e-8 (our estimate). Uniform EI gives 0.56.
///
/// # Errors
///
/// [`BendError::NotFound`], not seen for any blank that was accepted.
pub fn bend_depth(blank: &Blank) -> Result<f64, BendError> {
    let load = third_drop(blank)?;
    let problem = Problem::new(&blank.segments, load, FRAC_PI_2);
    let state = problem.solve().ok_or(BendError::NotFound)?;
    Ok(elastica::length_for_turn(&problem, &state, DEPTH_SHARE * state.turn))
}
