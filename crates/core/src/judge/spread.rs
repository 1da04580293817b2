//! How doubtful each value is, and the interval of the score that follows from it.
//!
//! Values are independent: lognormal with a relative spread, action and power normal with an
//! absolute one. `interval` draws the score under all of them at once.

use super::case::{Case, Resolved};
use super::{compose, limits};

mod interval;
mod normal;
mod points;

pub(super) use interval::interval;

/// Scales of the model's most doubtful numbers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Doubt {
    /// On the rod's pull.
    pub rod_force: f64,
    /// On the force to seat a hook.
    pub seat_force: f64,
    /// On the penalty for a bend in the wrong place.
    pub action_slope: f64,
    /// On the loss in wind.
    pub wind: f64,
    /// On tear-out and opening of hooks.
    pub hold: f64,
    /// On the strength left at knots.
    pub knot: f64,
}

impl Doubt {
    /// No doubt: every scale is 1.
    pub const NONE: Self = Self {
        rod_force: 1.0,
        seat_force: 1.0,
        action_slope: 1.0,
        wind: 1.0,
        hold: 1.0,
        knot: 1.0,
    };
}

/// A value that may be moved.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Dimension {
    /// Rigged mass.
    Mass,
    /// Lower end of the window.
    LureMin,
    /// Upper end of the window.
    LureMax,
    /// Greatest line of the rod.
    RodLine,
    /// Place of the bend (absolute spread).
    Action,
    /// Power class (absolute spread).
    Power,
    /// Length of the rod.
    RodLength,
    /// Test of the line.
    LineTest,
    /// Diameter of the line.
    LineDiameter,
    /// Test of the leader.
    LeaderTest,
    /// Diameter of the leader.
    LeaderDiameter,
    /// Set drag.
    Drag,
    /// Wire of the hook.
    Wire,
    /// Force to free the point.
    Punch,
    /// Pull of the lure.
    Pull,
    /// Air coefficient.
    Air,
    /// Wind speed.
    Wind,
    /// Distance to cover.
    CoverDistance,
    /// Mass of the fish.
    FishMass,
    /// Model: rod's pull.
    RodForce,
    /// Model: force to seat.
    SeatForce,
    /// Model: action slope.
    ActionSlope,
    /// Model: wind loss.
    WindLoss,
    /// Model: hold of hooks.
    Hold,
    /// Model: knots.
    Knot,
}

/// One doubtful value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread {
    /// Which value.
    pub dimension: Dimension,
    /// Field of the request that would settle it; `None` for numbers of the model.
    pub field: Option<&'static str>,
    /// Standard deviation: relative, or absolute for action and power.
    pub sigma: f64,
}

/// All doubtful values of a case.
#[derive(Clone, Debug, Default)]
pub struct Spreads {
    /// In the order in which they were met.
    pub all: Vec<Spread>,
}

impl Spreads {
    /// Adds a value; no spread is no entry.
    pub fn push(&mut self, dimension: Dimension, field: Option<&'static str>, sigma: f64) {
        if sigma > 0.0 {
            self.all.push(Spread { dimension, field, sigma });
        }
    }
}

/// e to the power x, within 5e-8 for |x| up to 1 and 3e-5 up to 2: a Padé approximant, cheaper than
/// `libm::exp` where a draw moves twenty values.
fn grown(x: f64) -> f64 {
    let even = 1.0 + x * x * (3.0 / 28.0 + x * x / 1680.0);
    let odd = x * (0.5 + x * x / 84.0);
    (even + odd) / (even - odd)
}

/// Moves one value of a case by `step` standard deviations.
fn moved(c: &mut Case<'_>, spread: &Spread, step: f64) {
    let by = spread.sigma * step;
    let factor = grown(by);
    match spread.dimension {
        Dimension::Mass => c.mass_g *= factor,
        Dimension::LureMin => c.lure_min_g = (c.lure_min_g * factor).min(c.lure_max_g * 0.9),
        Dimension::LureMax => c.lure_max_g = (c.lure_max_g * factor).max(c.lure_min_g * 1.1),
        Dimension::RodLine => c.rod_line_kgf *= factor,
        Dimension::Action => c.action = (c.action + by).clamp(0.0, 1.0),
        Dimension::Power => c.power += by,
        Dimension::RodLength => c.rod_length_m *= factor,
        Dimension::LineTest => c.line_kgf *= factor,
        Dimension::LineDiameter => c.line_mm *= factor,
        Dimension::LeaderTest => c.leader_kgf *= factor,
        Dimension::LeaderDiameter => c.leader_mm *= factor,
        Dimension::Drag => c.drag_kgf *= factor,
        Dimension::Wire => c.wire_mm *= factor,
        Dimension::Punch => c.punch_n *= factor,
        Dimension::Pull => c.pull_n *= factor,
        Dimension::Air => c.air *= factor,
        Dimension::Wind => c.wind_m_s *= factor,
        Dimension::CoverDistance => c.cover_m *= factor,
        Dimension::FishMass => c.fish_kg *= factor,
        Dimension::RodForce => c.doubt.rod_force *= factor,
        Dimension::SeatForce => c.doubt.seat_force *= factor,
        Dimension::ActionSlope => c.doubt.action_slope *= factor,
        Dimension::WindLoss => c.doubt.wind *= factor,
        Dimension::Hold => c.doubt.hold *= factor,
        Dimension::Knot => c.doubt.knot *= factor,
    }
}

/// The score of a case with every doubtful value moved at once, each by its number of standard
/// deviations, in the order of [`Spreads::all`]; values without a number stay where they are.
///
/// One draw of the distribution whose ends the interval gives.
#[must_use]
pub fn score_moved(resolved: &Resolved<'_>, steps: &[f64]) -> f64 {
    let excused = limits::any_broken(&resolved.case) && !limits::any_broken_for_sure(resolved);
    let mut case = resolved.case.clone();
    for (spread, step) in resolved.spreads.all.iter().zip(steps) {
        moved(&mut case, spread, *step);
    }
    case.set_to_work();
    if !excused && limits::any_broken(&case) { 0.0 } else { compose::score_without_limits(&case) }
}

/// The interval of a score.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// The field whose measurement would narrow it most.
    pub narrowing_field: Option<&'static str>,
}

#[cfg(test)]
mod tests {
    use super::grown;

    // Source: the exponential function of the crate libm.
    #[test]
    fn growth_is_the_exponential() {
        for i in -200_i32..=200 {
            let x = f64::from(i) / 100.0;
            let bound = if x.abs() <= 1.0 { 5e-8 } else { 3e-5 };
            assert!((grown(x) / libm::exp(x) - 1.0).abs() < bound, "{x}");
        }
    }
}
