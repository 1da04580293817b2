//! Wind on a line: the side force, and the weight that keeps contact against it.

use super::air::Air;
use super::domain::{OutsideDomain, not_negative, positive, within};

/// Least Reynolds number of the fit of [`cylinder_drag_coefficient`].
pub const LEAST_REYNOLDS: f64 = 1.0;
/// Greatest Reynolds number of the fit of [`cylinder_drag_coefficient`].
pub const GREATEST_REYNOLDS: f64 = 2.0e5;

/// Reynolds number of a line across a stream: `Re = ρ w d/μ`.
///
/// ρ density, kg/m³, and μ dynamic viscosity, Pa s, of the stream; w speed, m/s; d diameter, m.
/// Source: definition (Reynolds 1883). Accuracy: exact.
///
/// ```
/// let air = deepbend_core::mechanics::air::air_at(0.0, 15.0)?;
/// let re = deepbend_core::mechanics::wind_on_line::reynolds(&air, 10.0, 0.165e-3);
/// assert_eq!(re.round(), 113.0);
/// # Ok::<(), deepbend_core::mechanics::domain::OutsideDomain>(())
/// ```
#[must_use]
pub fn reynolds(stream: &Air, speed_m_s: f64, diameter_m: f64) -> f64 {
    stream.density_kg_m3 * speed_m_s * diameter_m / stream.viscosity_pa_s
}

/// Drag coefficient of a long smooth cylinder across a stream (White's fit):
/// `C_d = 1 + 10 Re^(−2/3)`.
///
/// Re Reynolds number, 1 to 2e5. Source: White, "Viscous Fluid Flow" (equation number not at hand;
/// from memory). Accuracy: no published accuracy at hand; our estimate −10 % to +25 %: up to 25 %
/// above the computed values of Dennis and Chang (1970) for Re 5 to 40 (from memory), about 10 %
/// above the usual 1.33 at Re 100 (from memory). Outside: an error.
///
/// # Errors
/// The Reynolds number lies outside 1 to 2e5.
///
/// ```
/// let cd = deepbend_core::mechanics::wind_on_line::cylinder_drag_coefficient(100.0)?;
/// assert!((cd - 1.464159).abs() < 5e-7);
/// # Ok::<(), deepbend_core::mechanics::domain::OutsideDomain>(())
/// ```
pub fn cylinder_drag_coefficient(reynolds: f64) -> Result<f64, OutsideDomain> {
    let re = within("reynolds", reynolds, LEAST_REYNOLDS, GREATEST_REYNOLDS)?;
    let root = libm::cbrt(re);
    Ok(1.0 + 10.0 / (root * root))
}

/// Side force of a stream on a straight line across it, N: `F = ½ ρ C_d d L w²`.
///
/// ρ density of the stream, kg/m³; C_d drag coefficient on the area d L; d diameter, m; L length
/// in the stream, m; w speed, m/s. Source: definition of C_d. Validity: the line full across the
/// stream, an upper bound: a line at an angle, or bowed, takes less. Accuracy: that of C_d and d.
///
/// ```
/// let f = deepbend_core::mechanics::wind_on_line::side_force_n(1.225, 1.2, 0.165e-3, 30.0, 10.0);
/// assert!((f - 0.363825).abs() < 5e-7);
/// ```
#[must_use]
pub fn side_force_n(
    density_kg_m3: f64,
    drag_coefficient: f64,
    diameter_m: f64,
    length_m: f64,
    speed_m_s: f64,
) -> f64 {
    0.5 * density_kg_m3 * drag_coefficient * diameter_m * length_m * speed_m_s * speed_m_s
}

/// Side force of wind on a straight line across it, N: [`side_force_n`] with White's fit.
///
/// Air; d diameter, m; L length in the wind, m; w wind, m/s. Source, validity, accuracy: as the
/// parts. Outside: below Re 1 (0.09 m/s on 0.165 mm) C_d is held at its value there, so that a
/// calm has no force; above 2e5 an error.
///
/// # Errors
/// A negative length or speed, a diameter that is not positive, or a Reynolds number above 2e5.
pub fn side_force_of_wind_n(
    air: &Air,
    diameter_m: f64,
    length_m: f64,
    wind_m_s: f64,
) -> Result<f64, OutsideDomain> {
    let d = positive("diameter_m", diameter_m)?;
    let l = not_negative("length_m", length_m)?;
    let w = not_negative("wind_m_s", wind_m_s)?;
    let cd = cylinder_drag_coefficient(reynolds(air, w, d).max(LEAST_REYNOLDS))?;
    Ok(side_force_n(air.density_kg_m3, cd, d, l, w))
}

/// Weight under water that keeps contact with a jig, N: `W = c F`.
///
/// c share of the side force, 1.5 by practice; F side force, N. Source: common practice, no
/// source. Accuracy: no published accuracy; our estimate a factor of 1.5 either way.
#[must_use]
pub fn weight_for_contact_n(side_force_n: f64, factor: f64) -> f64 {
    factor * side_force_n
}

/// Mass of a head that keeps contact, kg: `m = c F/(σ g)`.
///
/// c as in [`weight_for_contact_n`]; F side force, N; σ share of its weight that the head keeps
/// under water, of [`submerged_share`](super::sea_water::submerged_share); g = 9.80665 m/s².
/// Source: common practice (c), Archimedes (σ). Accuracy: as [`weight_for_contact_n`].
#[must_use]
pub fn head_mass_for_contact_kg(side_force_n: f64, factor: f64, submerged_share: f64) -> f64 {
    weight_for_contact_n(side_force_n, factor) / (submerged_share * super::air::GRAVITY_M_S2)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mechanics::air::{GRAVITY_M_S2, air_at};

    fn grams_force(n: f64) -> f64 {
        n / GRAVITY_M_S2 * 1e3
    }

    // Source: White's fit worked by hand.
    #[test]
    fn whites_fit() {
        for (re, cd) in [(10.0, 3.154_435), (50.0, 1.736_806), (100.0, 1.464_159), (1000.0, 1.1)] {
            assert!((cylinder_drag_coefficient(re).unwrap() - cd).abs() < 5e-7, "{re}");
        }
        assert!(cylinder_drag_coefficient(0.99).is_err());
        assert!(cylinder_drag_coefficient(2.1e5).is_err());
    }

    // Source: drag of the steady flow computed by Dennis and Chang 1970, J. Fluid Mech. 42:471
    // (Re 5, 10, 20, 40), and the mean 1.33 of the shedding wake at Re 100, all from memory.
    #[test]
    fn whites_fit_is_near_computed_flows() {
        for (re, cd) in [(5.0, 4.116), (10.0, 2.846), (20.0, 2.045), (40.0, 1.522), (100.0, 1.33)] {
            let ratio = cylinder_drag_coefficient(re).unwrap() / cd;
            assert!((0.9..1.25).contains(&ratio), "{re}: {ratio}");
        }
    }

    // Source: from memory (the trade): 25 m at 8 m/s give 18, 10 and 27 gf on 0.165, 0.09 and
    // 0.25 mm, C_d 1.1.
    #[test]
    fn the_trades_side_forces() {
        for (mm, gf) in [(0.165, 18.0), (0.09, 10.0), (0.25, 27.0)] {
            let force = grams_force(side_force_n(1.225, 1.1, mm * 1e-3, 25.0, 8.0));
            assert!((force - gf).abs() < 0.6, "{mm}: {force}");
        }
    }

    // Source: from memory (the trade): 8 m/s across 25 m of 0.165 mm ask for about 30 g of lead.
    #[test]
    fn mass_for_contact() {
        let force = side_force_n(1.225, 1.1, 0.165e-3, 25.0, 8.0);
        let mass = head_mass_for_contact_kg(force, 1.5, 0.91);
        assert!((mass * 1e3 - 30.0).abs() < 1.0, "{mass}");
    }

    // Source: own force with C_d at Re 90 by hand: 1 + 10/90.37^(2/3) = 1.4965.
    #[test]
    fn wind_with_the_fit() {
        let air = air_at(0.0, 15.0).unwrap();
        let force = side_force_of_wind_n(&air, 0.165e-3, 25.0, 8.0).unwrap();
        let by_hand = side_force_n(1.225, 1.496_5, 0.165e-3, 25.0, 8.0);
        assert!((force / by_hand - 1.0).abs() < 1e-4, "{force} {by_hand}");
        assert_eq!(side_force_of_wind_n(&air, 0.165e-3, 25.0, 0.0), Ok(0.0));
        assert!(side_force_of_wind_n(&air, 0.0, 25.0, 8.0).is_err());
        assert!(side_force_of_wind_n(&air, 0.165e-3, 25.0, f64::NAN).is_err());
    }
}
