//! Hook-set and hold: force at the point against the force to seat, to open, to tear.
//!
//! **What is not known.** No citable data set of the force that seats a hook in a fish's mouth was
//! found. The forms here follow from dimensions; their constants are from memory and are arguments
//! of the functions, with their spread kept by the caller.

use super::domain::{OutsideDomain, not_negative, positive};
use super::line::in_series_n_per_m;
use super::spool::capstan;

/// What decides the force that seats a hook.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Seat {
    /// Constant k of the point, N/mm^1.5: 7 to 8 sharp, 11 used (from memory).
    pub k_n_per_mm1_5: f64,
    /// Diameter of the wire, mm.
    pub wire_mm: f64,
    /// Factor of the barb: 1 without, about 1.3 with (from memory).
    pub barb: f64,
    /// Factor of the mouth's tissue: 1 for a bass (from memory).
    pub tissue: f64,
    /// Factor of the points that go in together.
    pub points: f64,
    /// Force that plastic, guard or hollow body takes first, N.
    pub punch_n: f64,
}

/// Force to seat a hook, N: `F = k d^1.5 b t p + F_p`.
///
/// k constant of the point, N/mm^1.5; d wire, mm; b barb, t tissue, p points, factors; F_p punch,
/// N. Source: **none**; from memory. The exponent lies between that of an area (2) and that of
/// friction on the wire (1). Validity: wire 0.4 to 2 mm, a point that has caught. Accuracy: no
/// published accuracy; our estimate a factor of 1.6 either way. Outside: carried on.
///
/// ```
/// use deepbend_core::mechanics::hook::{Seat, seat_n};
/// let seat = Seat {
///     k_n_per_mm1_5: 11.0,
///     wire_mm: 1.0,
///     barb: 1.3,
///     tissue: 1.0,
///     points: 1.0,
///     punch_n: 0.0,
/// };
/// assert!((seat_n(&seat) - 14.3).abs() < 1e-9);
/// ```
#[must_use]
pub fn seat_n(seat: &Seat) -> f64 {
    let wire = seat.wire_mm * seat.wire_mm.sqrt();
    seat.k_n_per_mm1_5 * wire * seat.barb * seat.tissue * seat.points + seat.punch_n
}

/// Force that opens a hook, N: `F = c d²`.
///
/// c constant, about 60 N/mm² (from memory); d wire, mm. Source: dimensions: the moment at which
/// round wire yields goes with d³, its arm, the gap, about with d in hooks of one pattern.
/// Validity: one pattern and temper. Accuracy: no published accuracy; our estimate a factor of 1.5
/// either way: a long gap opens sooner. Outside: carried on.
///
/// ```
/// assert!((deepbend_core::mechanics::hook::opening_n(60.0, 0.8) - 38.4).abs() < 1e-9);
/// ```
#[must_use]
pub fn opening_n(constant_n_per_mm2: f64, wire_mm: f64) -> f64 {
    constant_n_per_mm2 * wire_mm * wire_mm
}

/// Force at the lure at which the drag slips, N: `F = F_d s exp(μ φ)`.
///
/// F_d drag as set, pulled straight off the spool, N; s start-up ratio, breaking away over running,
/// 1 or more; μ friction of line on rings; φ angle through which the rod turns the line, rad.
/// Source: the capstan equation; s by definition. Validity: line going out. Accuracy: no published
/// accuracy; our estimate 15 %, from μ. Outside: carried on.
#[must_use]
pub fn drag_slips_at_n(setting_n: f64, start_up: f64, friction: f64, turn_rad: f64) -> f64 {
    capstan(setting_n * start_up, friction, turn_rad)
}

/// What gives first at the reel's end when the line comes tight; forces as felt at the lure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Gives {
    /// The drag slips at this force, N; see [`drag_slips_at_n`].
    Drag(f64),
    /// A hand holds the spool: the weakest link breaks at this force, N.
    Line(f64),
}

/// The chain from the angler's hands to the hook when it is set.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Chain {
    /// Stiffness of the rod along the line, N/m: force over the travel of its tip.
    pub rod_stiffness_n_per_m: f64,
    /// Greatest force that rod and angler bring to the line, N.
    pub rod_force_n: f64,
    /// Length by which the sweep moves the tip of an unbent rod along the line, m.
    pub sweep_m: f64,
    /// Slack to be taken up first, m.
    pub slack_m: f64,
    /// Stiffness of the line out, N/m.
    pub line_stiffness_n_per_m: f64,
    /// Drag or hand.
    pub gives: Gives,
}

/// The link that limits the force at the point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Limit {
    /// The sweep is used up in slack, bend and stretch.
    Sweep,
    /// Rod and angler bring no more.
    Rod,
    /// The drag slips.
    Drag,
    /// The weakest link would break.
    Line,
}

/// Force at the point and where the sweep went.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AtPoint {
    /// Force at the point, N.
    pub force_n: f64,
    /// The link that limits it.
    pub limit: Limit,
    /// Travel spent in the bend of the rod, m.
    pub bend_m: f64,
    /// Travel spent in the stretch of the line, m.
    pub stretch_m: f64,
}

/// Force at the point of the hook through rod, line and drag, N:
/// `F = min(k_r k_l/(k_r + k_l) (s − s₀), F_r, F_g)`, not below zero.
///
/// k_r, k_l stiffness of rod and line, N/m; s sweep, s₀ slack, m; F_r greatest force of rod and
/// angler, F_g force at which drag or line gives, N. Source: statics of two springs in a row.
/// Validity: a steady set against a fish that holds still. Inertia is left out: a snap adds some,
/// a fish that comes along takes some. Accuracy: that of the stiffnesses and of s, our estimate
/// 30 %. Outside: an error.
/// Of equal limits the first in the order of the formula is named.
///
/// # Errors
/// A stiffness that is not positive, or a length or force below zero.
///
/// ```
/// use deepbend_core::mechanics::hook::{Chain, Gives, Limit, at_point};
/// let mut chain = Chain {
///     rod_stiffness_n_per_m: 20.0,
///     rod_force_n: 25.0,
///     sweep_m: 1.5,
///     slack_m: 0.3,
///     line_stiffness_n_per_m: 20.0,
///     gives: Gives::Drag(18.0),
/// };
/// // Soft line: half of the 1.2 m goes into stretch.
/// assert_eq!(at_point(&chain)?.limit, Limit::Sweep);
/// assert!((at_point(&chain)?.force_n - 12.0).abs() < 1e-12);
/// // Stiff line: the drag slips first.
/// chain.line_stiffness_n_per_m = 200.0;
/// assert_eq!(at_point(&chain)?.limit, Limit::Drag);
/// # Ok::<(), deepbend_core::mechanics::domain::OutsideDomain>(())
/// ```
pub fn at_point(chain: &Chain) -> Result<AtPoint, OutsideDomain> {
    let rod = positive("rod_stiffness_n_per_m", chain.rod_stiffness_n_per_m)?;
    let line = positive("line_stiffness_n_per_m", chain.line_stiffness_n_per_m)?;
    let sweep = not_negative("sweep_m", chain.sweep_m)?;
    let slack = not_negative("slack_m", chain.slack_m)?;
    let rod_force = not_negative("rod_force_n", chain.rod_force_n)?;
    let (gives, end) = match chain.gives {
        Gives::Drag(force) => (not_negative("drag_slips_at_n", force)?, Limit::Drag),
        Gives::Line(force) => (not_negative("line_breaks_at_n", force)?, Limit::Line),
    };
    let mut force_n = in_series_n_per_m(rod, line) * (sweep - slack).max(0.0);
    let mut limit = Limit::Sweep;
    for (most, link) in [(rod_force, Limit::Rod), (gives, end)] {
        if most < force_n {
            (force_n, limit) = (most, link);
        }
    }
    Ok(AtPoint { force_n, limit, bend_m: force_n / rod, stretch_m: force_n / line })
}

/// Over-power ratio: `r = F/min(F_o, F_t)`.
///
/// F peak pull, F_o force that opens the hook, F_t force that tears the mouth, N. Above 1 the hook
/// opens or tears out. Source: definition; F_t of a mouth is from memory, order of magnitude.
/// Accuracy: that of the forces. Outside: a strength of zero gives infinity.
///
/// ```
/// assert_eq!(deepbend_core::mechanics::hook::over_power(30.0, 60.0, 20.0), 1.5);
/// ```
#[must_use]
pub fn over_power(pull_n: f64, opening_n: f64, tear_n: f64) -> f64 {
    pull_n / opening_n.min(tear_n)
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: from memory (the trade), rounded there: seat of barbed hooks at k 11, opening at 60.
    #[test]
    fn the_trades_table_of_wire() {
        for (wire_mm, seat, opening) in [
            (0.6, 6.6, Some(22.0)),
            (0.8, 10.0, Some(38.0)),
            (1.0, 14.0, Some(60.0)),
            (1.2, 19.0, Some(86.0)),
            (1.5, 26.0, None),
        ] {
            let made = seat_n(&Seat {
                k_n_per_mm1_5: 11.0,
                wire_mm,
                barb: 1.3,
                tissue: 1.0,
                points: 1.0,
                punch_n: 0.0,
            });
            assert!((made - seat).abs() < 0.5, "{wire_mm}: {made}");
            if let Some(opening) = opening {
                assert!((opening_n(60.0, wire_mm) - opening).abs() < 0.5);
            }
        }
    }

    // Source: the law of the equation: factors multiply, the punch adds.
    #[test]
    fn punch_adds_and_tissue_multiplies() {
        let bare = Seat {
            k_n_per_mm1_5: 8.0,
            wire_mm: 1.44,
            barb: 1.0,
            tissue: 1.0,
            points: 1.0,
            punch_n: 0.0,
        };
        let hard = seat_n(&Seat { tissue: 1.4, points: 2.0, punch_n: 4.0, ..bare });
        assert!((seat_n(&bare) - 8.0 * 1.728).abs() < 1e-12);
        assert!((hard - (2.8 * 8.0 * 1.728 + 4.0)).abs() < 1e-12);
    }

    // Source: printed capstan values: 1.17 over 90° at friction 0.1.
    #[test]
    fn drag_over_the_rings() {
        let slips = drag_slips_at_n(10.0, 1.3, 0.1, core::f64::consts::FRAC_PI_2);
        assert!((slips - 13.0 * 1.17).abs() < 0.05);
    }

    fn chain() -> Chain {
        Chain {
            rod_stiffness_n_per_m: 15.0,
            rod_force_n: 18.0,
            sweep_m: 1.6,
            slack_m: 0.1,
            line_stiffness_n_per_m: 75.0,
            gives: Gives::Drag(25.0),
        }
    }

    // Source: statics: the travel is spent whole in bend and stretch while the sweep limits; the
    // force is the least of what each link bears.
    #[test]
    fn the_limiting_link_is_named() {
        let rod = at_point(&chain()).unwrap();
        assert_eq!((rod.force_n, rod.limit), (18.0, Limit::Rod));
        let swept = at_point(&Chain { rod_force_n: 40.0, ..chain() }).unwrap();
        assert_eq!(swept.limit, Limit::Sweep);
        assert!((swept.force_n - 18.75).abs() < 1e-12);
        assert!((swept.bend_m + swept.stretch_m - 1.5).abs() < 1e-12);
        let drag = at_point(&Chain { gives: Gives::Drag(9.0), ..chain() }).unwrap();
        assert_eq!((drag.force_n, drag.limit), (9.0, Limit::Drag));
        let hand = at_point(&Chain { gives: Gives::Line(12.0), ..chain() }).unwrap();
        assert_eq!((hand.force_n, hand.limit), (12.0, Limit::Line));
        let slack = at_point(&Chain { slack_m: 2.0, ..chain() }).unwrap();
        assert_eq!((slack.force_n, slack.limit), (0.0, Limit::Sweep));
    }

    // Source: from memory (the trade): 20 m of nylon stretch by about 1 m at 10 N and eat a rod's
    // stroke of 1.5 to 2 m; braid does not.
    #[test]
    fn nylon_eats_the_stroke() {
        let with = |k| Chain { line_stiffness_n_per_m: k, rod_force_n: 100.0, ..chain() };
        let nylon = at_point(&with(10.0)).unwrap();
        let braid = at_point(&with(100.0)).unwrap();
        assert!(nylon.stretch_m > nylon.bend_m);
        assert!(braid.force_n > 2.0 * nylon.force_n);
    }

    // Source: the stated domain.
    #[test]
    fn outside_is_an_error() {
        assert!(at_point(&Chain { rod_stiffness_n_per_m: 0.0, ..chain() }).is_err());
        assert!(at_point(&Chain { sweep_m: f64::NAN, ..chain() }).is_err());
        assert!(at_point(&Chain { gives: Gives::Line(-1.0), ..chain() }).is_err());
    }
}
