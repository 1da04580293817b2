//! Line numbers: what the numbers of the PE and nylon scales stand for.

use crate::quantity::{Force, Length};

/// Nylon-equivalent breaking force for each number of a PE-rated rod, kilograms-force.
///
/// From memory: PE 1 is a rod of the 10 lb class; holds up to about PE 5.
pub const NYLON_KGF_PER_PE: f64 = 4.5;

/// Smallest and largest number of the PE scale that is sold. From memory.
pub const PE_NUMBERS: (f64, f64) = (0.1, 15.0);

/// PE number, diameter in mm.
///
/// From memory: 0.165 mm times the root of the number. There is no standard diameter of braid;
/// the scale is one of mass (number 1 is 200 denier).
const PE_DIAMETER_MM: [(f64, f64); 10] = [
    (0.3, 0.090),
    (0.6, 0.128),
    (0.8, 0.148),
    (1.0, 0.165),
    (1.5, 0.202),
    (2.0, 0.233),
    (3.0, 0.286),
    (4.0, 0.330),
    (5.0, 0.369),
    (8.0, 0.467),
];

/// PE number, honest breaking force of eight strands in kgf. From memory.
const PE_TEST_KGF: [(f64, f64); 10] = [
    (0.3, 2.7),
    (0.6, 5.0),
    (0.8, 7.0),
    (1.0, 9.0),
    (1.5, 13.0),
    (2.0, 18.0),
    (3.0, 25.0),
    (4.0, 31.0),
    (5.0, 36.0),
    (8.0, 55.0),
];

/// Number of nylon, fluorocarbon or polyester line, standard diameter in mm.
///
/// Source: Japan Fishing Tackle Manufacturers Association (JAFS), standard of 2010, read from a
/// page that reproduces its table.
const NYLON_DIAMETER_MM: [(f64, f64); 27] = [
    (0.1, 0.053),
    (0.15, 0.064),
    (0.2, 0.074),
    (0.25, 0.083),
    (0.3, 0.090),
    (0.35, 0.097),
    (0.4, 0.104),
    (0.5, 0.117),
    (0.6, 0.128),
    (0.8, 0.148),
    (1.0, 0.165),
    (1.2, 0.185),
    (1.5, 0.205),
    (1.75, 0.220),
    (2.0, 0.235),
    (2.25, 0.248),
    (2.5, 0.260),
    (2.75, 0.274),
    (3.0, 0.285),
    (3.5, 0.310),
    (4.0, 0.330),
    (5.0, 0.370),
    (6.0, 0.405),
    (7.0, 0.435),
    (8.0, 0.470),
    (10.0, 0.520),
    (12.0, 0.570),
];

/// Nylon diameter in mm, breaking force in kgf. From memory.
const NYLON_TEST_KGF: [(f64, f64); 5] =
    [(0.20, 3.2), (0.25, 4.8), (0.30, 6.8), (0.35, 9.0), (0.40, 11.5)];

/// Fluorocarbon diameter in mm, breaking force in kgf. From memory.
const FLUOROCARBON_TEST_KGF: [(f64, f64); 10] = [
    (0.20, 3.0),
    (0.25, 4.5),
    (0.30, 6.3),
    (0.33, 7.5),
    (0.40, 10.5),
    (0.45, 13.0),
    (0.60, 20.0),
    (0.70, 26.0),
    (0.80, 32.0),
    (0.90, 40.0),
];

/// Straight between knots on logarithmic scales; the end pieces are carried on. A value that
/// stands in the table comes back as it stands there.
fn between(knots: &[(f64, f64)], x: f64) -> Option<f64> {
    if let Some(&(_, y)) = knots.iter().find(|k| k.0 == x) {
        return Some(y);
    }
    let inner = knots.windows(2).find(|w| x < w[1].0).or_else(|| knots.windows(2).last())?;
    let ((x0, y0), (x1, y1)) = (inner[0], inner[1]);
    let slope = libm::log(y1 / y0) / libm::log(x1 / x0);
    let y = y0 * libm::pow(x / x0, slope);
    (x > 0.0 && y.is_finite()).then_some(y)
}

/// Usual diameter of braid of a PE number; `None` outside [`PE_NUMBERS`].
#[must_use]
pub fn pe_diameter(number: f64) -> Option<Length> {
    pe(number).and_then(|n| between(&PE_DIAMETER_MM, n)).map(Length::from_mm)
}

/// Honest breaking force of eight-strand braid of a PE number; `None` outside [`PE_NUMBERS`].
#[must_use]
pub fn pe_test(number: f64) -> Option<Force> {
    pe(number).and_then(|n| between(&PE_TEST_KGF, n)).map(Force::from_kgf)
}

/// Usual PE number of braid of a diameter: the scale of [`pe_diameter`] read the other way.
#[must_use]
pub fn pe_number(diameter: Length) -> Option<f64> {
    let ratio = diameter.mm() / 0.165;
    pe(ratio * ratio)
}

fn pe(number: f64) -> Option<f64> {
    (PE_NUMBERS.0..=PE_NUMBERS.1).contains(&number).then_some(number)
}

/// Standard diameter of nylon or fluorocarbon line of a number (JAFS 2010); `None` outside the
/// table, 0.1 to 12.
#[must_use]
pub fn nylon_diameter(number: f64) -> Option<Length> {
    (0.1..=12.0)
        .contains(&number)
        .then(|| between(&NYLON_DIAMETER_MM, number))
        .flatten()
        .map(Length::from_mm)
}

/// Usual breaking force of nylon of a diameter, 0.05 to 2 mm; otherwise `None`. From memory.
#[must_use]
pub fn nylon_test(diameter: Length) -> Option<Force> {
    thread(diameter).and_then(|mm| between(&NYLON_TEST_KGF, mm)).map(Force::from_kgf)
}

/// Usual breaking force of fluorocarbon of a diameter, 0.05 to 2 mm; otherwise `None`. From
/// memory.
#[must_use]
pub fn fluorocarbon_test(diameter: Length) -> Option<Force> {
    thread(diameter).and_then(|mm| between(&FLUOROCARBON_TEST_KGF, mm)).map(Force::from_kgf)
}

fn thread(diameter: Length) -> Option<f64> {
    let mm = diameter.mm();
    (0.05..=2.0).contains(&mm).then_some(mm)
}
