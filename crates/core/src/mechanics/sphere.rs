//! Sphere: drag coefficient, and the speed at which a round head sinks or falls.

use super::air::GRAVITY_M_S2;
use super::domain::{OutsideDomain, positive, within};

/// Greatest Reynolds number of [`drag_coefficient`].
pub const GREATEST_REYNOLDS: f64 = 2.0e5;
/// Least Reynolds number of [`drag_coefficient`]; below it the first term alone is exact enough.
pub const LEAST_REYNOLDS: f64 = 1e-3;

/// Drag coefficient of a smooth sphere (Clift and Gauvin 1970):
/// `C_d = 24/Re (1 + 0.152 Re^0.677) + 0.417/(1 + 5070 Re^−0.94)`.
///
/// Re Reynolds number on the diameter, 1e-3 to 2e5 here. Source: Clift and Gauvin 1970, Proc.
/// Chemeca 70, 1:14-28 (from memory), with the constants of the `fluids` library 1.3.1. Accuracy:
/// no published accuracy at hand; our estimate 10 %, from the spread of such fits. Outside: an
/// error; somewhat above 2e5 the boundary layer turns and the drag falls.
///
/// # Errors
/// The Reynolds number lies outside 1e-3 to 2e5.
///
/// ```
/// let cd = deepbend_core::mechanics::sphere::drag_coefficient(1000.0)?;
/// assert!((cd - 0.46387).abs() < 5e-6);
/// # Ok::<(), deepbend_core::mechanics::domain::OutsideDomain>(())
/// ```
pub fn drag_coefficient(reynolds: f64) -> Result<f64, OutsideDomain> {
    Ok(clift_gauvin(within("reynolds", reynolds, LEAST_REYNOLDS, GREATEST_REYNOLDS)?))
}

fn clift_gauvin(re: f64) -> f64 {
    24.0 / re * (1.0 + 0.152 * libm::pow(re, 0.677)) + 0.417 / (1.0 + 5070.0 * libm::pow(re, -0.94))
}

/// Diameter of a solid sphere, m: `d = ∛(6 m/(π ρ))`.
///
/// m mass, kg; ρ density, kg/m³. Source: geometry. Accuracy: exact. Outside: carried on.
///
/// ```
/// let d = deepbend_core::mechanics::sphere::diameter_m(0.010, 11_340.0);
/// assert!((d - 11.8977e-3).abs() < 5e-8);
/// ```
#[must_use]
pub fn diameter_m(mass_kg: f64, density_kg_m3: f64) -> f64 {
    libm::cbrt(6.0 * mass_kg / (core::f64::consts::PI * density_kg_m3))
}

/// Steady speed of a sphere that sinks in water or falls in air, m/s:
/// `¾ C_d(Re) Re² = d³ ρ (ρ_s − ρ) g/μ²`, `v = Re μ/(ρ d)`.
///
/// m mass, kg, and ρ_s density, kg/m³, of the sphere; ρ density, kg/m³, and μ viscosity, Pa s, of
/// the fluid at rest; C_d of [`drag_coefficient`]; g = 9.80665 m/s². Source: balance of weight,
/// buoyancy and drag. Validity: a bare smooth sphere; hook, tail and line slow it, by a half and
/// more (our estimate), so that this is an upper bound. Accuracy: half of that of C_d. Solved by
/// halving to the last bit. Outside: an error, also for a sphere lighter than the fluid.
///
/// # Errors
/// A quantity that is not positive, a sphere that floats, or a Reynolds number outside the fit.
pub fn terminal_speed_m_s(
    mass_kg: f64,
    sphere_kg_m3: f64,
    fluid_kg_m3: f64,
    viscosity_pa_s: f64,
) -> Result<f64, OutsideDomain> {
    let mass = positive("mass_kg", mass_kg)?;
    let fluid = positive("fluid_kg_m3", fluid_kg_m3)?;
    let solid = within("sphere_kg_m3", sphere_kg_m3, fluid, f64::MAX)?;
    let viscosity = positive("viscosity_pa_s", viscosity_pa_s)?;
    let d = diameter_m(mass, solid);
    let drive = d * d * d * fluid * (solid - fluid) * GRAVITY_M_S2 / (viscosity * viscosity);
    let drag = |re: f64| 0.75 * clift_gauvin(re) * re * re;
    within("weight_over_drag", drive, drag(LEAST_REYNOLDS), drag(GREATEST_REYNOLDS))?;
    let (mut low, mut high) = (LEAST_REYNOLDS, GREATEST_REYNOLDS);
    loop {
        // The mean on a logarithmic scale: the range is eight decades.
        let middle = (low * high).sqrt();
        if middle <= low || middle >= high {
            return Ok(middle * viscosity / (fluid * d));
        }
        if drag(middle) < drive {
            low = middle;
        } else {
            high = middle;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: Clift and Gauvin's fit as the library `fluids` 1.3.1 computes it, five decimals.
    #[test]
    fn clift_and_gauvin() {
        for (re, cd) in [
            (1.0, 27.648_08),
            (10.0, 4.134_74),
            (100.0, 1.070_39),
            (1e3, 0.463_87),
            (1e4, 0.410_32),
            (1e5, 0.467_45),
        ] {
            assert!((drag_coefficient(re).unwrap() - cd).abs() < 6e-6, "{re}");
        }
    }

    // Source: Brown and Lawler 2003, J. Environ. Eng. 129:222, solved by hand for lead (11 340) in
    // water at 15 °C (999.1 kg/m³, 1.138e-3 Pa s): another fit to the same data, 4 % apart.
    #[test]
    fn lead_sinks_as_by_another_fit() {
        for (grams, speed) in [(5.0, 1.734_19), (10.0, 1.918_12), (20.0, 2.126_62)] {
            let sinks = terminal_speed_m_s(grams / 1e3, 11_340.0, 999.1, 1.138e-3).unwrap();
            assert!((sinks / speed - 1.0).abs() < 0.04, "{grams}: {sinks}");
        }
        let tungsten = terminal_speed_m_s(0.010, 19_300.0, 999.1, 1.138e-3).unwrap();
        assert!((tungsten / 2.333_51 - 1.0).abs() < 0.04);
    }

    // Source: Stokes 1851: v = d² (ρ_s − ρ) g/(18 μ) for slow spheres.
    #[test]
    fn slow_spheres_follow_stokes() {
        let d = diameter_m(4e-12, 2500.0);
        let stokes = d * d * (2500.0 - 1000.0) * GRAVITY_M_S2 / (18.0 * 1e-3);
        let sinks = terminal_speed_m_s(4e-12, 2500.0, 1000.0, 1e-3).unwrap();
        assert!((sinks / stokes - 1.0).abs() < 0.01, "{sinks} {stokes}");
    }

    // Source: the stated domain.
    #[test]
    fn outside_is_an_error() {
        assert!(drag_coefficient(3e5).is_err());
        assert!(terminal_speed_m_s(0.01, 900.0, 999.1, 1.138e-3).is_err());
        assert!(terminal_speed_m_s(f64::NAN, 9000.0, 999.1, 1.138e-3).is_err());
        assert!(terminal_speed_m_s(5.0, 11_340.0, 999.1, 1.138e-3).is_err());
    }
}
