//! How far an inferred stiffness may be off, place by place.
//!
//! ```text
//! σ²(s) = Σₖ [aₖ + bₖ ∂ ln EI(s)/∂t]²
//! ```
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | σ(s) | one standard deviation of EI at s, relative | – |
//! | t | taper of [`super::family`] | – |
//! | aₖ, bₖ | what one standard deviation of an independent error k does to ln EI₀ and to t | – |
//!
//! A label has two such errors, its third-drop load (a = σ of the load, b = 0) and its bend depth
//! (half the change over the depths that its spread covers). A measurement has a covariance, split
//! by Cholesky. **Source.** Propagation of errors to first order (GUM, JCGM 100:2008, 5.1).
//! **Validity.** Blanks of the family; spreads small against the range of tapers. **Accuracy.** First
//! order: within 12 % of a label's change, 15 % of a measurement's (tested). **Outside.** A typed
//! error.

use super::super::blank::Blank;
use super::super::domain::OutsideDomain;
use super::family::{BlankFamily, FamilyBlank};
use super::label::LabelInference;
use super::measured::MeasuredInference;

/// One standard deviation of ln EI by which a blank whose taper is none of the family may differ from
/// the blank that is inferred for it, anywhere along it.
///
/// No stiffness of real blanks was found. Estimate: 14 other tapers, inferred from third-drop load and
/// tip angle, had 0.32 to 1.13 of the inferred blank's stiffness at the butt and up to 3.4 at the tip.
/// [`of_label`] and [`of_measured`] hold within the family and do not contain it.
pub const SHAPE_SPREAD: f64 = 0.5;

/// An independent error: what one standard deviation of it does to ln EI₀ and to the taper.
type Error = (f64, f64);

/// Half step of the difference quotient in the taper.
const STEP: f64 = 1e-3;

/// Spread of the stiffness at each station of a blank that a label promises, relative.
///
/// Equation, source: module. In the order of the stations of [`FamilyBlank::to_blank`].
///
/// # Errors
/// [`OutsideDomain`] for a blank outside the family.
pub fn of_label(family: &BlankFamily, label: &LabelInference) -> Result<Vec<f64>, OutsideDomain> {
    let length_m = label.blank.length_m;
    let low = (label.depth - label.depth_spread).max(family.depth(1.0)?);
    let high = (label.depth + label.depth_spread).min(family.depth(0.0)?);
    let [low, high] = [
        family.blank(length_m, label.third_drop_load_n, low)?,
        family.blank(length_m, label.third_drop_load_n, high)?,
    ];
    let by_depth =
        (0.5 * libm::log(high.butt_n_m2 / low.butt_n_m2), 0.5 * (high.taper - low.taper));
    spreads(&label.blank, [(label.load_spread, 0.0), by_depth])
}

/// Spread of the stiffness at each station of a blank that was measured, relative.
///
/// Equation, source: module. In the order of the stations of [`FamilyBlank::to_blank`].
///
/// # Errors
/// [`OutsideDomain`] for a blank outside the family.
pub fn of_measured(measured: &MeasuredInference) -> Result<Vec<f64>, OutsideDomain> {
    let (r, taper) = (measured.correlation, measured.taper_spread);
    let own = taper * libm::sqrt((1.0 - r * r).max(0.0));
    spreads(&measured.blank, [(measured.butt_spread, r * taper), (0.0, own)])
}

fn spreads(blank: &FamilyBlank, errors: [Error; 2]) -> Result<Vec<f64>, OutsideDomain> {
    let (low, high) = ((blank.taper - STEP).max(0.0), (blank.taper + STEP).min(1.0));
    let at = |taper: f64| solved(FamilyBlank { taper, ..*blank });
    let (softer, stiffer) = (at(low)?, at(high)?);
    let pairs = softer.stations().iter().zip(stiffer.stations());
    Ok(pairs
        .map(|(a, b)| {
            let slope = libm::log(b.1 / a.1) / (high - low);
            let [first, second] = errors.map(|(butt, taper)| butt + taper * slope);
            libm::hypot(first, second)
        })
        .collect())
}

fn solved(blank: FamilyBlank) -> Result<Blank, OutsideDomain> {
    let FamilyBlank { taper, .. } = blank;
    let outside = OutsideDomain { field: "taper", value: taper, least: 0.0, most: 1.0 };
    blank.to_blank().map_err(|_| outside)
}

#[cfg(test)]
mod tests {
    use core::f64::consts::FRAC_PI_2;

    use super::super::super::blank::{bend, load_for_third_drop};
    use super::super::family;
    use super::super::label::{BlankLabel, from_label};
    use super::super::measured::{Measurement, from_measurement};
    use super::*;
    use crate::model::Model;

    fn label() -> LabelInference {
        let label = BlankLabel { power_class: 4.0, action: 0.6, length_m: 2.1 };
        from_label(family(), &label, &Model::builtin().label_model()).unwrap()
    }

    // Source: the blanks themselves: root sum of squares of the changes that a standard deviation
    // of load and of depth makes, each blank inferred anew.
    #[test]
    fn a_labels_spread_is_that_of_its_load_and_depth() {
        let label = label();
        let spreads = of_label(family(), &label).unwrap();
        let blank = |load: f64, depth: f64| {
            let blank = family().blank(2.1, label.third_drop_load_n * load, label.depth + depth);
            blank.unwrap().to_blank().unwrap()
        };
        let (up, down) = (blank(1.0, label.depth_spread), blank(1.0, -label.depth_spread));
        for (i, spread) in spreads.iter().enumerate() {
            let by_depth = 0.5 * libm::log(up.stations()[i].1 / down.stations()[i].1);
            let want = label.load_spread.hypot(by_depth);
            assert!((spread / want - 1.0).abs() < 0.12, "{i}: {spread} {want}");
        }
        assert!((spreads[0] / label.butt_spread - 1.0).abs() < 1e-9);
    }

    // Source: the fit itself, repeated with each measurement off by its uncertainty (3 %, 3 degrees).
    #[test]
    fn a_measured_spread_is_that_of_repeated_measurements() {
        let blank = label().blank.to_blank().unwrap();
        let load = load_for_third_drop(&blank).unwrap();
        let angle = bend(&blank, load, FRAC_PI_2).unwrap().tip_angle_rad;
        let fit = |by_load: f64, by_angle: f64| {
            let measured = Measurement {
                third_drop_load_n: Some(load * (1.0 + 0.03 * by_load)),
                third_drop_tip_angle_rad: Some(angle + 3.0_f64.to_radians() * by_angle),
                ..Measurement::default()
            };
            from_measurement(family(), 2.1, &measured, None).unwrap()
        };
        let spreads = of_measured(&fit(0.0, 0.0)).unwrap();
        let log = |by_load: f64, by_angle: f64, i: usize| {
            libm::log(fit(by_load, by_angle).blank.to_blank().unwrap().stations()[i].1)
        };
        for i in [0, 20, 40, 60] {
            let by_load = 0.5 * (log(1.0, 0.0, i) - log(-1.0, 0.0, i));
            let by_angle = 0.5 * (log(0.0, 1.0, i) - log(0.0, -1.0, i));
            let want = by_load.hypot(by_angle);
            assert!((spreads[i] / want - 1.0).abs() < 0.15, "{i}: {} {want}", spreads[i]);
        }
    }
}
