//! Quantities in sentences, in both unit systems: `18 g (0.63 oz)`.
//!
//! Rounded as people read them off a scale or a rule. Factors: see [`crate::quantity`].

use std::fmt;

use super::{G_PER_OZ, KG_PER_LB, M_PER_FT, M_PER_IN, M_S_PER_KN, N_PER_KGF};

/// A quantity in the two systems.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Both {
    metric: String,
    other: String,
}

impl Both {
    /// Without brackets, to be put into some: `12 to 35 g, 0.42 to 1.23 oz`.
    #[must_use]
    pub fn listed(&self) -> String {
        format!("{}, {}", self.metric, self.other)
    }
}

impl fmt::Display for Both {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} ({})", self.metric, self.other)
    }
}

/// How a kind of quantity is written.
#[derive(Clone, Copy, Debug)]
pub struct Style {
    /// The metric number, and its unit.
    metric: (fn(f64) -> String, &'static str),
    /// The same in the other system; the unit is empty where the number has it.
    other: (fn(f64) -> String, &'static str),
}

impl Style {
    /// One quantity, in the metric unit of the style.
    #[must_use]
    pub fn one(self, value: f64) -> Both {
        self.write(|number| number(value))
    }

    /// From one to another: `12 to 35 g (0.42 to 1.23 oz)`.
    #[must_use]
    pub fn two(self, from: f64, to: f64) -> Both {
        self.write(|number| format!("{} to {}", number(from), number(to)))
    }

    /// The same, or one quantity where both ends read alike.
    #[must_use]
    pub fn span(self, from: f64, to: f64) -> Both {
        self.write(|number| match (number(from), number(to)) {
            (from, to) if from == to => from,
            (from, to) => format!("{from} to {to}"),
        })
    }

    /// As it is printed: `12-35 g (0.42-1.23 oz)`.
    #[must_use]
    pub fn window(self, from: f64, to: f64) -> Both {
        self.write(|number| format!("{}-{}", number(from), number(to)))
    }

    fn write(self, words: impl Fn(fn(f64) -> String) -> String) -> Both {
        let side = |(number, unit): (fn(f64) -> String, &str)| {
            format!("{} {unit}", words(number)).trim_end().to_owned()
        };
        Both { metric: side(self.metric), other: side(self.other) }
    }
}

/// Masses of lures, g.
pub const GRAMS: Style = Style { metric: (tenth_below_10, "g"), other: (ounces, "oz") };
/// Breaking forces and drags, kgf, and masses of fish, kg.
pub const KILOGRAMS: Style = Style { metric: (tenth_below_10, "kg"), other: (pounds, "lb") };
/// Other forces, N.
pub const NEWTONS: Style =
    Style { metric: (|n| decimals_below_10(n, 1), "N"), other: (|n| pounds(n / N_PER_KGF), "lb") };
/// Diameters of wire and leaders, mm.
pub const MILLIMETRES: Style = Style {
    metric: (|mm| format!("{mm:.2}"), "mm"),
    other: (|mm| format!("{:.3}", mm / (1000.0 * M_PER_IN)), "in"),
};
/// Diameters of line, mm.
pub const LINE_MILLIMETRES: Style = Style {
    metric: (|mm| trimmed(format!("{mm:.3}")), "mm"),
    other: (|mm| format!("{:.4}", mm / (1000.0 * M_PER_IN)), "in"),
};
/// Distances, m.
pub const METRES: Style = Style { metric: (hundredths, "m"), other: (feet, "ft") };
/// Lengths of rods, m.
pub const ROD_METRES: Style =
    Style { metric: (|m| format!("{m:.2}"), "m"), other: (feet_inches, "") };
/// Lengths of line, m.
pub const LINE_METRES: Style = Style {
    metric: (|m| format!("{m:.0}"), "m"),
    other: (|m| format!("{:.0}", m / (3.0 * M_PER_FT)), "yd"),
};
/// Wind and current, m/s.
pub const METRES_A_SECOND: Style = Style {
    metric: (tenth_below_10, "m/s"),
    other: (|m_s| decimals_below_10(m_s / M_S_PER_KN, 1), "kn"),
};
/// Line taken in, cm.
pub const CENTIMETRES: Style = Style {
    metric: (|cm| format!("{cm:.0}"), "cm"),
    other: (|cm| format!("{:.0}", cm / (100.0 * M_PER_IN)), "in"),
};
/// Temperatures of water, degrees C.
pub const DEGREES: Style = Style {
    metric: (|c| format!("{c:.0}"), "degrees C"),
    other: (|c| format!("{:.0}", c * 1.8 + 32.0), "F"),
};

fn decimals_below_10(value: f64, decimals: usize) -> String {
    if value < 9.95 { format!("{value:.decimals$}") } else { format!("{value:.0}") }
}

/// A tenth only where there is one.
fn tenth_below_10(value: f64) -> String {
    let whole = value > 9.95 || (value - value.round()).abs() < 0.05;
    if whole { format!("{value:.0}") } else { format!("{value:.1}") }
}

fn hundredths(m: f64) -> String {
    if (m - m.round()).abs() < 0.005 { format!("{m:.0}") } else { format!("{m:.2}") }
}

fn ounces(g: f64) -> String {
    let oz = g / G_PER_OZ;
    if oz < 9.95 { format!("{oz:.2}") } else { format!("{oz:.1}") }
}

fn pounds(kg: f64) -> String {
    decimals_below_10(kg / KG_PER_LB, 1)
}

fn feet(m: f64) -> String {
    tenth_below_10(m / M_PER_FT)
}

fn feet_inches(m: f64) -> String {
    let inches = (m / M_PER_IN).round();
    format!("{:.0}'{:.0}\"", (inches / 12.0).floor(), inches % 12.0)
}

fn trimmed(text: String) -> String {
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: NIST SP 811, appendix B (ounce 28.349523 g, pound 0.45359237 kg, pound-force
    // 4.448222 N, foot 0.3048 m, inch 25.4 mm, knot 0.5144444 m/s, F = 1.8 C + 32), rounded by
    // hand.
    #[test]
    fn both_systems_say_the_same() {
        let one = |style: Style, value| style.one(value).to_string();
        assert_eq!(one(GRAMS, 18.0), "18 g (0.63 oz)");
        assert_eq!(
            [3.5, 9.96, 420.0].map(|g| one(GRAMS, g)),
            ["3.5 g (0.12 oz)", "10 g (0.35 oz)", "420 g (14.8 oz)"]
        );
        assert_eq!(one(KILOGRAMS, 2.5), "2.5 kg (5.5 lb)");
        assert_eq!(one(KILOGRAMS, 13.2), "13 kg (29 lb)");
        assert_eq!(one(NEWTONS, 22.0), "22 N (4.9 lb)");
        assert_eq!(one(MILLIMETRES, 0.8), "0.80 mm (0.031 in)");
        assert_eq!(one(LINE_MILLIMETRES, 0.148), "0.148 mm (0.0058 in)");
        assert_eq!([20.0, 1.5].map(|m| one(METRES, m)), ["20 m (66 ft)", "1.50 m (4.9 ft)"]);
        assert_eq!(one(ROD_METRES, 2.4), "2.40 m (7'10\")");
        assert_eq!(one(LINE_METRES, 150.0), "150 m (164 yd)");
        assert_eq!(
            [9.0, 2.5].map(|v| one(METRES_A_SECOND, v)),
            ["9 m/s (17 kn)", "2.5 m/s (4.9 kn)"]
        );
        assert_eq!(one(CENTIMETRES, 101.0), "101 cm (40 in)");
        assert_eq!(one(DEGREES, 12.0), "12 degrees C (54 F)");
        assert_eq!(GRAMS.two(12.0, 35.0).listed(), "12 to 35 g, 0.42 to 1.23 oz");
        assert_eq!(GRAMS.window(12.0, 35.0).to_string(), "12-35 g (0.42-1.23 oz)");
        assert_eq!(ROD_METRES.two(1.95, 2.45).to_string(), "1.95 to 2.45 m (6'5\" to 8'0\")");
    }
}
