//! The wind force scale.

use crate::quantity::Speed;

/// Lower bounds of forces 1 to 12, m/s.
///
/// Source: World Meteorological Organization, Beaufort scale in metres per second, from memory;
/// the bounds in knots (1, 4, 7, 11, 17, 22, 28, 34, 41, 48, 56, 64) agree.
const LOWER_M_S: [f64; 12] = [0.3, 1.6, 3.4, 5.5, 8.0, 10.8, 13.9, 17.2, 20.8, 24.5, 28.5, 32.7];

/// Force 0 to 12 of a mean wind at 10 m height.
#[must_use]
pub fn force(wind: Speed) -> usize {
    // Speeds are read to a tenth, as the scale prints them.
    let tenths = (wind.m_s() * 10.0).round() / 10.0;
    LOWER_M_S.iter().filter(|bound| tenths >= **bound).count()
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: WMO Beaufort scale in knots: mid-points of each force's range.
    #[test]
    fn agrees_with_the_scale_in_knots() {
        let knots = [0.3, 2.0, 5.0, 8.5, 13.5, 19.0, 24.5, 30.5, 37.0, 44.0, 51.5, 59.5, 70.0];
        for (expected, kn) in knots.into_iter().enumerate() {
            assert_eq!(force(Speed::from_kn(kn)), expected, "{kn} kn");
        }
    }

    // Source: WMO Beaufort scale: force 5 is 8.0 to 10.7 m/s.
    #[test]
    fn bounds_belong_to_the_upper_force() {
        assert_eq!(force(Speed::from_m_s(7.9)), 4);
        assert_eq!(force(Speed::from_m_s(8.0)), 5);
        assert_eq!(force(Speed::from_m_s(10.7)), 5);
        assert_eq!(force(Speed::from_m_s(10.8)), 6);
    }
}
