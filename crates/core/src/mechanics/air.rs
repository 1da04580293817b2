//! Air: density and viscosity at an altitude and a temperature.
//!
//! **Source.** ISO 2533:1975, "Standard Atmosphere" (equation numbers not at hand); constants
//! below.
//! **Validity.** Troposphere, −2 to 11 km of geopotential altitude; dry air. **Accuracy.** The
//! standard is a convention, met to its printed digits. Real pressure at an altitude departs by
//! 3 % or less on most days, damp air is up to 1.5 % lighter (our estimates, from the range of
//! pressure at sea level and the vapour pressure at 30 °C). **Outside:** [`OutsideDomain`].

use super::domain::{OutsideDomain, within};

/// Standard gravity g₀, m/s². Source: ISO 2533:1975; NIST SP 811.
pub const GRAVITY_M_S2: f64 = 9.806_65;
/// Specific gas constant of dry air R, J/(kg K). Source: ISO 2533:1975.
pub const GAS_CONSTANT_J_KG_K: f64 = 287.052_87;
/// Standard temperature at sea level T₀, K. Source: ISO 2533:1975.
pub const SEA_LEVEL_K: f64 = 288.15;
/// Standard pressure at sea level p₀, Pa. Source: ISO 2533:1975.
pub const SEA_LEVEL_PA: f64 = 101_325.0;
/// Change of standard temperature with geopotential altitude β, K/m. Source: ISO 2533:1975.
pub const LAPSE_K_PER_M: f64 = -0.006_5;
/// Nominal radius of the earth r, m. Source: ISO 2533:1975.
pub const EARTH_RADIUS_M: f64 = 6_356_766.0;
/// Kelvin of 0 °C.
pub const ZERO_CELSIUS_K: f64 = 273.15;

/// Air as a stream past a line or a lure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Air {
    /// Density, kg/m³.
    pub density_kg_m3: f64,
    /// Dynamic viscosity, Pa s.
    pub viscosity_pa_s: f64,
}

/// Geopotential altitude of a geometric altitude (ISO 2533:1975), m: `H = r h/(r + h)`.
///
/// h geometric altitude, m; r = 6 356 766 m. Validity: every h above −r. Accuracy: exact for a
/// gravity that falls with the square of the distance.
///
/// ```
/// let h = deepbend_core::mechanics::air::geopotential_m(1000.0);
/// assert!((h - 999.8427).abs() < 1e-4);
/// ```
#[must_use]
pub fn geopotential_m(geometric_m: f64) -> f64 {
    EARTH_RADIUS_M * geometric_m / (EARTH_RADIUS_M + geometric_m)
}

/// Standard temperature (ISO 2533:1975), K: `T = T₀ + β H`.
///
/// H geopotential altitude, m, −2000 to 11 000; outside an error.
///
/// # Errors
/// The altitude lies outside −2000 to 11 000 m.
pub fn standard_temperature_k(geopotential_m: f64) -> Result<f64, OutsideDomain> {
    let h = within("geopotential_m", geopotential_m, -2000.0, 11_000.0)?;
    Ok(SEA_LEVEL_K + LAPSE_K_PER_M * h)
}

/// Standard pressure (ISO 2533:1975), Pa: `p = p₀ (T/T₀)^(−g₀/(β R))`, `T = T₀ + β H`.
///
/// H geopotential altitude, m, −2000 to 11 000; outside an error.
///
/// # Errors
/// The altitude lies outside −2000 to 11 000 m.
pub fn standard_pressure_pa(geopotential_m: f64) -> Result<f64, OutsideDomain> {
    let t = standard_temperature_k(geopotential_m)?;
    let exponent = -GRAVITY_M_S2 / (LAPSE_K_PER_M * GAS_CONSTANT_J_KG_K);
    Ok(SEA_LEVEL_PA * libm::pow(t / SEA_LEVEL_K, exponent))
}

/// Density of dry air as a perfect gas (ISO 2533:1975), kg/m³: `ρ = p/(R T)`.
///
/// p pressure, Pa; T temperature, K. Validity: weather at the ground. Accuracy: within 0.1 % of
/// a real gas there (from memory).
///
/// ```
/// let rho = deepbend_core::mechanics::air::density_kg_m3(101_325.0, 288.15);
/// assert!((rho - 1.225).abs() < 5e-7);
/// ```
#[must_use]
pub fn density_kg_m3(pressure_pa: f64, temperature_k: f64) -> f64 {
    pressure_pa / (GAS_CONSTANT_J_KG_K * temperature_k)
}

/// Dynamic viscosity of air (Sutherland 1893, constants of ISO 2533:1975), Pa s:
/// `μ = 1.458e-6 T^1.5/(T + 110.4)`.
///
/// T temperature, K, 200 to 400 here. Accuracy: no published accuracy at hand; our estimate 1 %.
/// Outside: an error.
///
/// # Errors
/// The temperature lies outside 200 to 400 K.
pub fn viscosity_pa_s(temperature_k: f64) -> Result<f64, OutsideDomain> {
    let t = within("temperature_k", temperature_k, 200.0, 400.0)?;
    Ok(1.458e-6 * t * t.sqrt() / (t + 110.4))
}

/// Air of a given temperature at a place: standard pressure of its altitude, density and viscosity
/// of its own temperature.
///
/// `p` of [`standard_pressure_pa`], `ρ = p/(R T)`, `μ` of [`viscosity_pa_s`]. Altitude geometric,
/// m; temperature, °C, −73 to 126. Source, accuracy: as the parts.
///
/// # Errors
/// Altitude or temperature lies outside the domain of the parts.
///
/// ```
/// let air = deepbend_core::mechanics::air::air_at(0.0, 20.0)?;
/// assert!((air.density_kg_m3 - 1.204106).abs() < 1e-6);
/// # Ok::<(), deepbend_core::mechanics::domain::OutsideDomain>(())
/// ```
pub fn air_at(altitude_m: f64, temperature_c: f64) -> Result<Air, OutsideDomain> {
    let pressure = standard_pressure_pa(geopotential_m(altitude_m))?;
    let t = temperature_c + ZERO_CELSIUS_K;
    let viscosity_pa_s = viscosity_pa_s(t)?;
    Ok(Air { density_kg_m3: density_kg_m3(pressure, t), viscosity_pa_s })
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: ISO 2533:1975, table of the standard atmosphere (geopotential 0 to 3000 m).
    #[test]
    fn the_standard_atmosphere_is_met() {
        for (h, t, rho) in [
            (0.0, 288.15, 1.225_000),
            (1000.0, 281.65, 1.111_643),
            (2000.0, 275.15, 1.006_490),
            (3000.0, 268.65, 0.909_122),
        ] {
            let standard = standard_temperature_k(h).unwrap();
            assert!((standard - t).abs() < 1e-9, "{h}");
            let density = density_kg_m3(standard_pressure_pa(h).unwrap(), standard);
            assert!((density - rho).abs() < 1e-6, "{h}: {density}");
        }
        assert!((viscosity_pa_s(288.15).unwrap() - 1.789_380e-5).abs() < 1e-11);
        let geometric = geopotential_m(1000.0);
        let (p, t) = (standard_pressure_pa(geometric), standard_temperature_k(geometric));
        assert!((density_kg_m3(p.unwrap(), t.unwrap()) - 1.111_659).abs() < 1e-6);
    }

    // Source: p0/(R T) worked by hand for dry air at sea level.
    #[test]
    fn cold_air_is_dense() {
        for (celsius, rho) in [
            (-10.0, 1.341_379),
            (0.0, 1.292_271),
            (10.0, 1.246_632),
            (15.0, 1.225_000),
            (20.0, 1.204_106),
            (30.0, 1.164_386),
        ] {
            assert!((air_at(0.0, celsius).unwrap().density_kg_m3 - rho).abs() < 1e-6);
        }
    }

    // Source: the stated domain.
    #[test]
    fn outside_is_an_error() {
        assert!(standard_pressure_pa(11_001.0).is_err());
        assert!(air_at(0.0, 128.0).is_err());
        assert!(air_at(f64::NAN, 10.0).is_err());
    }
}
