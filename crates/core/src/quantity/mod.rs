//! Quantities that carry their unit in the type, and the reading of what people write.
//!
//! Each type stores one unit (named in its definition) and converts at its edges. Factors are
//! exact by definition: NIST Special Publication 811 (2008), appendix B.

use serde::{Deserialize, Serialize};
use serde_with::skip_serializing_none;

pub mod read;
pub mod words;

/// Kilograms in a pound (avoirdupois), exact. Source: NIST SP 811, B.8.
pub const KG_PER_LB: f64 = 0.453_592_37;
/// Grams in an ounce (avoirdupois), exact. Source: NIST SP 811, B.8 (pound / 16).
pub const G_PER_OZ: f64 = KG_PER_LB * 1000.0 / 16.0;
/// Newtons in a kilogram-force, exact (standard gravity). Source: NIST SP 811, B.8.
pub const N_PER_KGF: f64 = 9.806_65;
/// Metres in a foot, exact. Source: NIST SP 811, B.8.
pub const M_PER_FT: f64 = 0.304_8;
/// Metres in an inch, exact. Source: NIST SP 811, B.8.
pub const M_PER_IN: f64 = 0.025_4;
/// Metres per second in a knot, exact (1852 m an hour). Source: NIST SP 811, B.8.
pub const M_S_PER_KN: f64 = 1852.0 / 3600.0;
/// Metres per second in a mile an hour, exact. Source: NIST SP 811, B.8.
pub const M_S_PER_MPH: f64 = 0.447_04;

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident { $unit:ident } $($from:ident, $get:ident = $factor:expr;)*) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd, Serialize, Deserialize)]
        pub struct $name {
            $unit: f64,
        }

        impl $name {
            $(
                #[doc = concat!("From a value in the unit that `", stringify!($get), "` names.")]
                #[must_use]
                pub const fn $from(value: f64) -> Self {
                    Self { $unit: value * $factor }
                }

                #[doc = concat!("The value in the unit that `", stringify!($get), "` names.")]
                #[must_use]
                pub const fn $get(self) -> f64 {
                    self.$unit / $factor
                }
            )*
        }
    };
}

quantity! {
    /// A mass, stored in grams: lures, rods, reels, fish. Never the strength of a line.
    Mass { g }
    from_g, g = 1.0;
    from_kg, kg = 1000.0;
    from_oz, oz = G_PER_OZ;
    from_lb, lb = KG_PER_LB * 1000.0;
}

quantity! {
    /// A force, stored in newtons: breaking force of a line ("kg test", "lb test"), drag, pull.
    Force { n }
    from_n, n = 1.0;
    from_kgf, kgf = N_PER_KGF;
    from_lbf, lbf = KG_PER_LB * N_PER_KGF;
}

quantity! {
    /// A length, stored in metres: rods, depths, diameters.
    Length { m }
    from_m, m = 1.0;
    from_cm, cm = 0.01;
    from_mm, mm = 0.001;
    from_ft, ft = M_PER_FT;
    from_in, inches = M_PER_IN;
}

quantity! {
    /// A speed, stored in metres per second: wind and current.
    Speed { m_s }
    from_m_s, m_s = 1.0;
    from_km_h, km_h = 1.0 / 3.6;
    from_kn, kn = M_S_PER_KN;
    from_mph, mph = M_S_PER_MPH;
}

quantity! {
    /// A temperature, stored in degrees Celsius.
    Temperature { c }
    from_c, c = 1.0;
}

/// A printed range, lower end first. One end alone is common on labels ("max 80 g").
#[skip_serializing_none]
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Range<T> {
    /// Lower end, where it is given.
    pub min: Option<T>,
    /// Upper end, where it is given.
    pub max: Option<T>,
}
