//! Wire of hooks by their printed size.

use crate::gear::words::words;
use crate::quantity::Length;

words! {
    /// How stout the wire of a hook is, for its size.
    WireClass {
        /// Light wire.
        Fine = "fine",
        /// Regular wire.
        Medium = "medium",
        /// Stout wire.
        Heavy = "heavy",
    }
}

/// Place on the ladder of sizes (10 is 0, 1 is 5, 1/0 is 6), diameters in mm: fine, medium,
/// heavy. From memory; sizes are no standard, measured wire is better.
const WIRE_MM: [(f64, f64, f64, f64); 10] = [
    (0.0, 0.45, 0.52, 0.60),
    (1.0, 0.50, 0.60, 0.68),
    (2.0, 0.60, 0.70, 0.80),
    (3.0, 0.65, 0.80, 0.90),
    (4.0, 0.70, 0.85, 1.00),
    (5.0, 0.72, 0.90, 1.05),
    (6.0, 0.78, 0.95, 1.15),
    (7.0, 0.85, 1.02, 1.25),
    (8.0, 0.90, 1.10, 1.30),
    (10.0, 1.00, 1.20, 1.45),
];

/// The heavy wire of sizes 6/0, 7/0, 8/0 and 10/0, mm. From memory.
const HEAVY_MM: [(f64, f64); 4] = [(11.0, 1.55), (12.0, 1.65), (13.0, 1.80), (15.0, 2.00)];

/// Usual diameter of the wire of a hook of a printed size (`4`, `#4`, `3/0`).
///
/// Sizes between those of the table are interpolated. `None` for what is no size, below size 10,
/// above 10/0, and for fine and medium wire above 5/0.
#[must_use]
pub fn hook_wire(size: &str, class: WireClass) -> Option<Length> {
    let place = ladder(size)?;
    let mut knots: Vec<(f64, f64)> = WIRE_MM
        .iter()
        .map(|&(place, fine, medium, heavy)| match class {
            WireClass::Fine => (place, fine),
            WireClass::Medium => (place, medium),
            WireClass::Heavy => (place, heavy),
        })
        .collect();
    if class == WireClass::Heavy {
        knots.extend(HEAVY_MM);
    }
    if let Some(knot) = knots.iter().find(|k| k.0 == place) {
        return Some(Length::from_mm(knot.1));
    }
    let pair = knots.windows(2).find(|w| w[0].0 < place && place < w[1].0)?;
    let share = (place - pair[0].0) / (pair[1].0 - pair[0].0);
    Some(Length::from_mm(pair[0].1 + share * (pair[1].1 - pair[0].1)))
}

/// Place of a printed size on the ladder.
fn ladder(size: &str) -> Option<f64> {
    let size = size.trim().trim_start_matches(['#', ' ']);
    let number = |text: &str| text.trim().parse::<u8>().ok().filter(|n| *n >= 1).map(f64::from);
    match size.split_once('/') {
        Some((big, zero)) if zero.trim() == "0" => number(big).map(|n| 5.0 + n),
        Some(_) => None,
        None => number(size).map(|n| if n < 2.0 { 5.0 } else { (10.0 - n) / 2.0 }),
    }
}
