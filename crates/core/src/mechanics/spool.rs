//! Line on a spool and through rings: capacity, tension, retrieve, friction.

/// Length of line of diameter `d_mm` on a spool that holds `known_m` of `known_mm`, metres.
///
/// `l = l₀ (d₀/d)²`: the volume on the spool is kept at equal packing.
/// Source: geometry. Validity: lines of like packing; braid packs looser than its solid fibre.
#[must_use]
pub fn capacity_m(known_m: f64, known_mm: f64, d_mm: f64) -> f64 {
    let ratio = known_mm / d_mm;
    known_m * ratio * ratio
}

/// Line tension at a spool radius, for a drag that gives `tension` at the full radius.
///
/// `F = F₀ r₀/r`: the brake gives a constant torque. Any unit of force, any unit of length.
/// Source: statics.
#[must_use]
pub fn tension_at_radius(tension: f64, full_radius: f64, radius: f64) -> f64 {
    tension * full_radius / radius
}

/// Line taken in by one turn of the handle, metres: `s = i π d`, with the gear ratio i and the
/// diameter d of the line on the spool in metres. Source: geometry.
#[must_use]
pub fn retrieve_per_turn_m(gear_ratio: f64, line_diameter_m: f64) -> f64 {
    gear_ratio * core::f64::consts::PI * line_diameter_m
}

/// Tension behind a bend over rings: `T₂ = T₁ exp(μ φ)`, friction coefficient μ, angle φ in
/// radians. Source: the capstan equation (Euler 1769; Eytelwein 1808), from memory.
#[must_use]
pub fn capstan(tension: f64, friction: f64, angle_rad: f64) -> f64 {
    tension * libm::exp(friction * angle_rad)
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: worked values of the capstan equation, exp(0.1 pi/2) and exp(0.2 pi/2), two decimals
    // as handbooks print them.
    #[test]
    fn capstan_over_a_quarter_turn() {
        let quarter = core::f64::consts::FRAC_PI_2;
        assert!((capstan(1.0, 0.1, quarter) - 1.17).abs() < 0.005);
        assert!((capstan(1.0, 0.2, quarter) - 1.37).abs() < 0.005);
    }

    // Source: 1/d^2 worked by hand: 170 m of 0.26 mm is 128 m of 0.30 mm; 150 m of 0.285 mm is
    // 220.620 m of 0.235 mm and 111.880 m of 0.330 mm.
    #[test]
    fn capacity_goes_with_the_square() {
        assert!((capacity_m(170.0, 0.26, 0.30) - 127.69).abs() < 0.01);
        assert!((capacity_m(150.0, 0.285, 0.235) - 220.620).abs() < 0.001);
        assert!((capacity_m(150.0, 0.285, 0.330) - 111.880).abs() < 0.001);
    }

    // Source: torque over radius worked by hand: 0.8 of the radius is 1.25 times the tension;
    // 25 mm to 18 mm is 1.388889 times.
    #[test]
    fn tension_rises_as_the_spool_empties() {
        assert!((tension_at_radius(2.0, 1.0, 0.8) - 2.5).abs() < 1e-12);
        assert!((tension_at_radius(1.0, 25.0, 18.0) - 1.388_889).abs() < 1e-6);
    }

    // Source: geometry: 87 cm a turn at 6.2:1 is a line diameter of 44.7 mm.
    #[test]
    fn retrieve_follows_the_line_diameter() {
        assert!((retrieve_per_turn_m(6.2, 0.0447) - 0.87).abs() < 0.001);
    }
}
