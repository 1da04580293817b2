//! Head-shake: how far the line tension swings while a fish shakes its head.
//!
//! The fish moves its end of the line to and fro; the line is a spring, the bent tip of the rod a
//! mass on a spring with damping. A tip that recovers fast follows, and the tension hardly swings;
//! a slow one lags, and the line goes slack.
//!
//! ```text
//! fish x(t) = A sin ωt ──[ line k_l ]── tip y: m y″ + c y′ + k_r y = k_l (x − y)
//! tension T = T₀ + k_l (x − y),  c = 2 ζ √(k_r m),  ω = 2 π f
//! ```
//!
//! **Source.** The forced damped oscillator in its steady state, as in any textbook of vibration;
//! no source for the shake of a fish itself: amplitude 0.1 to 0.3 m and 2 to 4 Hz are scenarios
//! (no measurement was found). **Validity.** Small swing about one bend (tangent stiffness), light
//! line, still hands, a steady shake: the first beats of a shake swing otherwise. **Accuracy.**
//! Exact for the model while the line is tight; against a real rod no published accuracy, our
//! estimate a factor of 1.5.

use core::f64::consts::PI;

use super::domain::{OutsideDomain, not_negative, positive, within};
use super::line::in_series_n_per_m;

/// The rod's tip as a damped spring.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Tip {
    /// Tangent stiffness k_r of the bent rod along the line, N/m.
    pub stiffness_n_per_m: f64,
    /// Mass m that moves with the tip, kg; see [`effective_mass_kg`].
    pub mass_kg: f64,
    /// Damping ratio ζ of the tip by itself, 0.001 to 1: graphite 0.01 to 0.03, glass blends 0.03
    /// to 0.06 (from memory).
    pub damping_ratio: f64,
}

/// A shake, and the line it pulls on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shake {
    /// Amplitude A of the fish's end along the line, m: half of the whole travel.
    pub amplitude_m: f64,
    /// Shakes a second f, Hz.
    pub frequency_hz: f64,
    /// Tension T₀ about which it swings, N.
    pub mean_tension_n: f64,
    /// Stiffness k_l of the line out, N/m.
    pub line_stiffness_n_per_m: f64,
    /// Force at which the drag gives line, N.
    pub slip_n: f64,
}

/// Line tension over a cycle of a shake.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Swing {
    /// Least tension, N; zero when the line goes slack.
    pub least_n: f64,
    /// Greatest tension, N; never above the force at which the drag gives.
    pub greatest_n: f64,
    /// Half of the swing before slack and drag cut it, N.
    pub amplitude_n: f64,
    /// Share of the cycle in which the line is slack, 0 to 1; an estimate from the swing that a
    /// tight line would have.
    pub slack_share: f64,
    /// Line that the drag has given before the swing fits under it, m.
    pub line_given_m: f64,
}

/// Mass that moves with the tip, from stiffness and first frequency (Rayleigh 1877), kg:
/// `m = k/(2 π f)²`.
///
/// k stiffness at the tip, N/m; f first frequency, Hz, without added mass. Source: Rayleigh's
/// principle for one degree of freedom. Accuracy: 3 % in the frequency with a mass added (against
/// a tapered blank solved whole). Outside: a frequency of zero gives infinity.
///
/// ```
/// let m = deepbend_core::mechanics::head_shake::effective_mass_kg(2.2553160, 4.5703);
/// assert!((m - 2.7350e-3).abs() < 5e-8);
/// ```
#[must_use]
pub fn effective_mass_kg(stiffness_n_per_m: f64, frequency_hz: f64) -> f64 {
    let omega = 2.0 * PI * frequency_hz;
    stiffness_n_per_m / (omega * omega)
}

/// Force amplitude for a displacement amplitude of one metre at the fish's end, N/m:
/// `D = k_l √((a² + b²)/((a + k_l)² + b²))`, `a = k_r − m ω²`, `b = ω c`.
///
/// Symbols, source, validity: see the module. Slow shakes give the springs in a row,
/// k_r k_l/(k_r + k_l); at the tip's own frequency the line hardly feels the fish; at
/// √((k_r + k_l)/m) tip and line resonate. Outside: an error.
///
/// # Errors
/// A stiffness or mass that is not positive, a damping ratio outside 0.001 to 1, a negative
/// frequency.
pub fn dynamic_stiffness_n_per_m(
    tip: &Tip,
    line_stiffness_n_per_m: f64,
    frequency_hz: f64,
) -> Result<f64, OutsideDomain> {
    let k_r = positive("stiffness_n_per_m", tip.stiffness_n_per_m)?;
    let mass = positive("mass_kg", tip.mass_kg)?;
    let zeta = within("damping_ratio", tip.damping_ratio, 0.001, 1.0)?;
    let k_l = positive("line_stiffness_n_per_m", line_stiffness_n_per_m)?;
    let omega = 2.0 * PI * not_negative("frequency_hz", frequency_hz)?;
    let a = k_r - mass * omega * omega;
    let b = omega * 2.0 * zeta * (k_r * mass).sqrt();
    Ok(k_l * libm::hypot(a, b) / libm::hypot(a + k_l, b))
}

/// Frequency at which tip and line resonate, Hz: `f = √((k_r + k_l)/m)/(2 π)`.
///
/// Symbols, source: see the module. Accuracy: exact without damping; the peak lies ζ² or less away
/// (relative). Outside: a mass of zero gives infinity.
#[must_use]
pub fn resonance_hz(tip: &Tip, line_stiffness_n_per_m: f64) -> f64 {
    ((tip.stiffness_n_per_m + line_stiffness_n_per_m) / tip.mass_kg).sqrt() / (2.0 * PI)
}

/// Least and greatest line tension over a shake, N: `T₀ ± D A`, cut at zero and at the drag.
///
/// D of [`dynamic_stiffness_n_per_m`]; A amplitude, m. When `T₀ + D A` passes the drag F_s, line is
/// given until the swing fits under it: `F_s − 2 D A` to `F_s`, as the angler holds still and
/// winds nothing in. Slack: `T < 0` has no meaning; the least is zero and the share
/// `acos(T_mean/(D A))/π` of the cycle is reported. Source, validity: see the module. With slack
/// the swing of a tight line is an estimate only, on the low side: as the line comes tight with a
/// jerk the greatest tension was 0.95 to 3.5 times this in simulations, and the slack share no less.
///
/// # Errors
/// As [`dynamic_stiffness_n_per_m`]; a negative amplitude or drag, or a mean tension outside 0 to
/// the drag.
///
/// ```
/// use deepbend_core::mechanics::head_shake::{Shake, Tip, over_cycle};
/// let tip = Tip { stiffness_n_per_m: 20.0, mass_kg: 0.005, damping_ratio: 0.02 };
/// let shake = Shake {
///     amplitude_m: 0.125,
///     frequency_hz: 0.01, // slow: springs in a row, 16.67 N/m
///     mean_tension_n: 15.0,
///     line_stiffness_n_per_m: 100.0,
///     slip_n: 20.0,
/// };
/// let swing = over_cycle(&tip, &shake)?;
/// assert!((swing.greatest_n - (15.0 + 16.6667 * 0.125)).abs() < 1e-4);
/// # Ok::<(), deepbend_core::mechanics::domain::OutsideDomain>(())
/// ```
pub fn over_cycle(tip: &Tip, shake: &Shake) -> Result<Swing, OutsideDomain> {
    let stiffness =
        dynamic_stiffness_n_per_m(tip, shake.line_stiffness_n_per_m, shake.frequency_hz)?;
    let amplitude_n = stiffness * not_negative("amplitude_m", shake.amplitude_m)?;
    let slip = not_negative("slip_n", shake.slip_n)?;
    let mean = within("mean_tension_n", shake.mean_tension_n, 0.0, slip)?;
    let centre = mean.min(slip - amplitude_n);
    let slow = in_series_n_per_m(tip.stiffness_n_per_m, shake.line_stiffness_n_per_m);
    let least = centre - amplitude_n;
    let slack_share = if least < 0.0 { libm::acos(centre / amplitude_n) / PI } else { 0.0 };
    Ok(Swing {
        least_n: least.max(0.0),
        greatest_n: centre + amplitude_n,
        amplitude_n,
        slack_share,
        line_given_m: (mean - centre) / slow,
    })
}

/// The shake of the greatest swing in a band of frequencies: [`over_cycle`] at its worst.
///
/// The swing falls from slow shakes to the tip's own frequency, rises to the resonance of tip and
/// line and falls beyond it, so that the worst lies at an end of the band or at the resonance.
/// Source, validity: see the module. Accuracy: within 1 % of the worst for ζ up to 0.1.
///
/// # Errors
/// As [`over_cycle`]; a band that ends below its start.
pub fn worst_in_band(
    tip: &Tip,
    shake: &Shake,
    from_hz: f64,
    to_hz: f64,
) -> Result<Swing, OutsideDomain> {
    let from = not_negative("from_hz", from_hz)?;
    let to = within("to_hz", to_hz, from, f64::MAX)?;
    let at = |frequency_hz| over_cycle(tip, &Shake { frequency_hz, ..*shake });
    let mut worst = at(from)?;
    let peak = resonance_hz(tip, shake.line_stiffness_n_per_m);
    for frequency in [peak.clamp(from, to), to] {
        let swing = at(frequency)?;
        if swing.amplitude_n > worst.amplitude_n {
            worst = swing;
        }
    }
    Ok(worst)
}

#[cfg(test)]
mod tests {
    use super::*;

    const TIP: Tip = Tip { stiffness_n_per_m: 20.0, mass_kg: 0.02, damping_ratio: 0.02 };
    const SHAKE: Shake = Shake {
        amplitude_m: 0.15,
        frequency_hz: 3.0,
        mean_tension_n: 10.0,
        line_stiffness_n_per_m: 60.0,
        slip_n: 30.0,
    };

    // Source: statics (slow: springs in a row, 15 N/m); no-damping limits by hand: at the tip's own
    // frequency about nothing, far above it the line alone.
    #[test]
    fn limits_of_the_frequency() {
        let slow = dynamic_stiffness_n_per_m(&TIP, 60.0, 0.0).unwrap();
        assert!((slow - 15.0).abs() < 1e-12);
        let own = (20.0_f64 / 0.02).sqrt() / (2.0 * PI);
        assert!(dynamic_stiffness_n_per_m(&TIP, 60.0, own).unwrap() < 1.0);
        let quick = dynamic_stiffness_n_per_m(&TIP, 60.0, 1e4).unwrap();
        assert!((quick - 60.0).abs() < 1e-3);
    }

    // Source: by hand: at resonance and b = ω c the ratio is k_l √(k_l² + b²)/b.
    #[test]
    fn resonance_by_hand() {
        let f = resonance_hz(&TIP, 60.0);
        assert!((f - 63.245_553_203_367_59 / (2.0 * PI)).abs() < 1e-12);
        let b = 63.245_553_203_367_59 * 2.0 * 0.02 * 0.4_f64.sqrt();
        let by_hand = 60.0 * (3600.0 + b * b).sqrt() / b;
        let stiffness = dynamic_stiffness_n_per_m(&TIP, 60.0, f).unwrap();
        assert!((stiffness / by_hand - 1.0).abs() < 1e-9);
    }

    // Source: the law of the model: a drag that is passed lowers the whole swing under it.
    #[test]
    fn the_drag_cuts_the_top() {
        let free = over_cycle(&TIP, &SHAKE).unwrap();
        let top = free.greatest_n - 0.5 * free.amplitude_n;
        let cut = over_cycle(&TIP, &Shake { slip_n: top, ..SHAKE }).unwrap();
        assert!((cut.greatest_n - top).abs() < 1e-12);
        assert!((free.least_n - cut.least_n - 0.5 * free.amplitude_n).abs() < 1e-12);
        assert!((cut.line_given_m - 0.5 * free.amplitude_n / 15.0).abs() < 1e-12);
        assert_eq!(free.line_given_m, 0.0);
    }

    // Source: geometry of a sine: about a mean of zero a tight line would be below zero half of the
    // time; about half of its amplitude, a third.
    #[test]
    fn slack_is_reported_and_never_negative() {
        let amplitude = over_cycle(&TIP, &SHAKE).unwrap().amplitude_n;
        let about = |mean| over_cycle(&TIP, &Shake { mean_tension_n: mean, ..SHAKE }).unwrap();
        assert!((about(0.0).slack_share - 0.5).abs() < 1e-12);
        assert!((about(0.5 * amplitude).slack_share - 1.0 / 3.0).abs() < 1e-12);
        assert_eq!(about(0.5 * amplitude).least_n, 0.0);
        assert_eq!(about(amplitude * 1.01).slack_share, 0.0);
        assert!(about(amplitude * 1.01).least_n > 0.0);
    }

    // Source: from memory (the trade): give at 15 N with 20 m out 2.1 m (moderate, nylon) and 0.5 m
    // (extra-fast, braid): a turn of 0.25 m takes 12 % and 50 % of the tension.
    #[test]
    fn a_slow_turn_takes_what_the_trade_says() {
        for (rod_give, line_give, share) in [(0.7, 1.4, 0.12), (0.3, 0.2, 0.50)] {
            let tip = Tip { stiffness_n_per_m: 15.0 / rod_give, mass_kg: 0.01, ..TIP };
            let shake = Shake {
                amplitude_m: 0.25,
                frequency_hz: 0.0,
                mean_tension_n: 15.0,
                line_stiffness_n_per_m: 15.0 / line_give,
                slip_n: 100.0,
            };
            let lost = 1.0 - over_cycle(&tip, &shake).unwrap().least_n / 15.0;
            assert!((lost - share).abs() < 0.01, "{lost}");
        }
    }

    // Source: a dense scan of the same band.
    #[test]
    fn the_worst_of_a_band_is_found() {
        for (mass_kg, from, to) in [(0.005, 2.0, 4.0), (0.05, 2.0, 4.0), (0.2, 2.0, 4.0)] {
            let tip = Tip { mass_kg, damping_ratio: 0.06, ..TIP };
            let worst = worst_in_band(&tip, &SHAKE, from, to).unwrap().amplitude_n;
            let scanned = (0..=2000)
                .map(|i| from + (to - from) * f64::from(i) / 2000.0)
                .map(|frequency_hz| {
                    over_cycle(&tip, &Shake { frequency_hz, ..SHAKE }).unwrap().amplitude_n
                })
                .fold(0.0, f64::max);
            assert!((worst / scanned - 1.0).abs() < 0.01, "{mass_kg}: {worst} {scanned}");
        }
        assert!(worst_in_band(&TIP, &SHAKE, 4.0, 2.0).is_err());
    }

    // Source: the stated domain.
    #[test]
    fn outside_is_an_error() {
        assert!(over_cycle(&Tip { mass_kg: 0.0, ..TIP }, &SHAKE).is_err());
        assert!(over_cycle(&Tip { damping_ratio: 0.0, ..TIP }, &SHAKE).is_err());
        let error = over_cycle(&TIP, &Shake { mean_tension_n: 31.0, ..SHAKE }).unwrap_err();
        assert_eq!(error.to_string(), "mean_tension_n: 31; the equation holds from 0 to 30");
    }
}
