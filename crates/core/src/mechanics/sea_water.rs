//! Water: density of fresh and sea water at the surface, weight of a body under water.

use super::domain::{OutsideDomain, within};

/// Density of water at the surface (EOS-80, one atmosphere: Millero and Poisson 1981), kg/m³.
///
/// ```text
/// ρ = ρ_w(t) + A(t) S + B(t) S^1.5 + 4.8314e-4 S²
/// ρ_w = 999.842594 + 6.793952e-2 t − 9.095290e-3 t² + 1.001685e-4 t³
///       − 1.120083e-6 t⁴ + 6.536332e-9 t⁵
/// A = 0.824493 − 4.0899e-3 t + 7.6438e-5 t² − 8.2467e-7 t³ + 5.3875e-9 t⁴
/// B = −5.72466e-3 + 1.0227e-4 t − 1.6546e-6 t²
/// ```
///
/// S practical salinity (PSS-78), 0 to 42; t temperature, °C (IPTS-68; today's scale differs by
/// 0.01 °C at most, which is 0.003 kg/m³), −2 to 40.
/// Source: UNESCO technical papers in marine science 44 (1983), algorithm 3, equation numbers not
/// at hand; the same polynomial: Millero and Poisson 1981, Deep-Sea Res. 28A:625-629.
/// Accuracy: 0.0036 kg/m³ (standard error of the fit, from memory); the Baltic's own salts add up
/// to 0.1 kg/m³ (from memory). Outside: an error.
///
/// # Errors
/// Salinity or temperature lies outside the range of the fit.
///
/// ```
/// let rho = deepbend_core::mechanics::sea_water::density_kg_m3(35.0, 5.0)?;
/// assert!((rho - 1027.67547).abs() < 5e-6);
/// # Ok::<(), deepbend_core::mechanics::domain::OutsideDomain>(())
/// ```
pub fn density_kg_m3(salinity: f64, temperature_c: f64) -> Result<f64, OutsideDomain> {
    let s = within("salinity", salinity, 0.0, 42.0)?;
    let t = within("temperature_c", temperature_c, -2.0, 40.0)?;
    let fresh = 999.842_594
        + t * (6.793_952e-2
            + t * (-9.095_290e-3 + t * (1.001_685e-4 + t * (-1.120_083e-6 + t * 6.536_332e-9))));
    let first =
        0.824_493 + t * (-4.089_9e-3 + t * (7.643_8e-5 + t * (-8.246_7e-7 + t * 5.387_5e-9)));
    let three_halves = -5.724_66e-3 + t * (1.022_7e-4 + t * -1.654_6e-6);
    Ok(fresh + s * (first + three_halves * s.sqrt() + 4.831_4e-4 * s))
}

/// Share of its weight that a body keeps under water (Archimedes): `1 − ρ_w/ρ_b`.
///
/// ρ_w density of the water, ρ_b of the body, kg/m³. Validity: any solid body; below zero it
/// floats. Accuracy: exact for the densities given; those of cast lead and of sintered tungsten
/// (16 to 18.5 t/m³, from memory) are the doubt.
///
/// ```
/// let lead = deepbend_core::mechanics::sea_water::submerged_share(999.1, 11_340.0);
/// assert!((lead - 0.91190).abs() < 5e-6);
/// ```
#[must_use]
pub fn submerged_share(water_kg_m3: f64, body_kg_m3: f64) -> f64 {
    1.0 - water_kg_m3 / body_kg_m3
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: check values printed in UNESCO technical papers in marine science 44.
    #[test]
    fn the_printed_check_values_are_met() {
        for (s, t, rho) in [
            (0.0, 5.0, 999.966_75),
            (0.0, 25.0, 997.047_96),
            (35.0, 5.0, 1_027.675_47),
            (35.0, 25.0, 1_023.343_06),
        ] {
            let density = density_kg_m3(s, t).unwrap();
            assert!((density - rho).abs() < 6e-6, "S {s}, t {t}: {density}");
        }
    }

    // Source: submerged shares worked by hand: lead 11 340 kg/m³, water 999.1 and 1025.97; the
    // usual 0.910 and 0.941 of lead and of sintered tungsten (17 500) in sea water.
    #[test]
    fn lead_and_tungsten_under_water() {
        let sea = density_kg_m3(35.0, 15.0).unwrap();
        assert!((submerged_share(sea, 11_340.0) - 0.909_53).abs() < 1e-5);
        assert!((submerged_share(sea, 11_340.0) - 0.910).abs() < 1e-3);
        assert!((submerged_share(sea, 17_500.0) - 0.941).abs() < 1e-3);
        assert!((submerged_share(999.1, 8500.0) - 0.882_46).abs() < 1e-5);
        assert!(submerged_share(sea, 970.0) < 0.0);
    }

    // Source: the stated domain.
    #[test]
    fn outside_is_an_error() {
        assert!(density_kg_m3(43.0, 10.0).is_err());
        assert!(density_kg_m3(35.0, -2.1).is_err());
        assert!(density_kg_m3(f64::NAN, 10.0).is_err());
    }
}
