//! The blank that a label promises: power class and action.
//!
//! `P⅓ = g m(power) (L/L₀)^e`: the mass m that drops the tip by a third of the length, from a
//! ladder by power class (logarithmic between classes), at the reference length L₀. The bend depth
//! follows from the action (linear between labels). Both give the blank of [`super::family`].
//!
//! **Source.** Ladder and depths: common practice, no source; spreads: from memory. **Validity.**
//! Spinning and casting rods with printed power and action. **Accuracy.** The spreads that are
//! returned; labels vary by a class between makers. **Outside** classes 1 to 8, action 0 to 1: a
//! typed error.

use super::super::domain::{OutsideDomain, positive, within};
use super::super::flight::GRAVITY_M_S2;
use super::family::{BlankFamily, FamilyBlank};

/// What is printed on a rod, or read from its ratings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BlankLabel {
    /// Power class, 1 (ultralight) to 8 (double extra-heavy); parts of a class are allowed.
    pub power_class: f64,
    /// Action, 0 slow, 0.25 moderate, 0.5 moderate-fast, 0.75 fast, 1 extra-fast.
    pub action: f64,
    /// Length, m.
    pub length_m: f64,
}

/// Numbers of the model by which a label is read; the values stand in the parameter file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LabelModel {
    /// Mass that drops the tip by a third of the length, by power class 1 to 8, g.
    pub third_drop_g: [f64; 8],
    /// Length for which the ladder holds, m.
    pub reference_length_m: f64,
    /// Exponent of length over reference length.
    pub length_exponent: f64,
    /// Bend depth for slow, moderate, moderate-fast, fast, extra-fast.
    pub depths: [f64; 5],
    /// One standard deviation of a printed power, in classes.
    pub class_spread: f64,
    /// One standard deviation of the third-drop load within a class, relative.
    pub ladder_spread: f64,
    /// One standard deviation of the bend depth.
    pub depth_spread: f64,
}

/// The blank behind a label, and how far it may be off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LabelInference {
    /// The blank.
    pub blank: FamilyBlank,
    /// Load that drops the tip by a third of the length, N.
    pub third_drop_load_n: f64,
    /// Bend depth, share of the length.
    pub depth: f64,
    /// One standard deviation of the third-drop load, relative. From memory.
    pub load_spread: f64,
    /// One standard deviation of the stiffness at the butt, relative: from load and depth, which
    /// are taken as independent. From memory.
    pub butt_spread: f64,
    /// One standard deviation of the bend depth. From memory.
    pub depth_spread: f64,
}

/// The blank that a label promises.
///
/// Equations, source and accuracy: module.
///
/// # Errors
/// The first field of label or model that is out of its range.
pub fn from_label(
    family: &BlankFamily,
    label: &BlankLabel,
    model: &LabelModel,
) -> Result<LabelInference, OutsideDomain> {
    let power = within("power_class", label.power_class, 1.0, 8.0)? - 1.0;
    let action = within("action", label.action, 0.0, 1.0)? * 4.0;
    let length_m = positive("length_m", label.length_m)?;
    let reference = positive("reference_length_m", model.reference_length_m)?;
    for mass in model.third_drop_g {
        positive("third_drop_g", mass)?;
    }
    let below = (power as usize).min(6);
    let [light, heavy] = [model.third_drop_g[below], model.third_drop_g[below + 1]];
    let step = libm::log(heavy / light);
    let grams = light * libm::exp(step * (power - below as f64));
    let stretch = libm::pow(length_m / reference, model.length_exponent);
    let load = grams * 1e-3 * GRAVITY_M_S2 * stretch;

    let slower = (action as usize).min(3);
    let [deep, shallow] = [model.depths[slower], model.depths[slower + 1]];
    let depth = deep + (shallow - deep) * (action - slower as f64);
    let blank = family.blank(length_m, load, depth)?;

    let load_spread = libm::hypot(model.class_spread * libm::fabs(step), model.ladder_spread);
    // ∂ ln EI₀/∂ depth at one load, over the depths that the spread covers.
    let shallowest = family.depth(1.0)?;
    let deepest = family.depth(0.0)?;
    let low = (depth - model.depth_spread).max(shallowest);
    let high = (depth + model.depth_spread).min(deepest);
    let ends = [family.blank(length_m, load, low)?, family.blank(length_m, load, high)?];
    let turn = 0.5 * libm::fabs(libm::log(ends[1].butt_n_m2 / ends[0].butt_n_m2));
    Ok(LabelInference {
        blank,
        third_drop_load_n: load,
        depth,
        load_spread,
        butt_spread: libm::hypot(load_spread, turn),
        depth_spread: model.depth_spread,
    })
}

#[cfg(test)]
mod tests {
    use super::super::super::blank::{bend_depth, load_for_third_drop};
    use super::super::family;
    use super::*;
    use crate::model::Model;

    fn read(power_class: f64, action: f64) -> LabelInference {
        let family = family();
        let label = BlankLabel { power_class, action, length_m: 2.1 };
        from_label(family, &label, &Model::builtin().label_model()).unwrap()
    }

    // Source: common practice, no source: where each action bends; about a third 0.28 to 0.37, two
    // fifths to nearly half 0.38 to 0.48, half 0.45 to 0.55. The last fifth is not reached (family).
    #[test]
    fn actions_bend_where_practice_says() {
        for (action, low, high) in [
            (0.0, 0.6, 1.0),
            (0.25, 0.45, 0.55),
            (0.5, 0.38, 0.48),
            (0.75, 0.28, 0.37),
            (1.0, 0.18, 0.29),
        ] {
            let depth = bend_depth(&read(4.0, action).blank.to_blank().unwrap()).unwrap();
            assert!((low..=high).contains(&depth), "action {action}: {depth}");
        }
    }

    // Source: from memory: bands of the bench test, UL 60-120 g up to XXH over 1000 g.
    #[test]
    fn powers_carry_what_the_bench_says() {
        let bands = [60.0, 120.0, 180.0, 250.0, 340.0, 450.0, 650.0, 1000.0, 1500.0];
        for (class, band) in (1..).zip(bands.windows(2)) {
            let blank = read(f64::from(class), 0.6).blank.to_blank().unwrap();
            let grams = load_for_third_drop(&blank).unwrap() / GRAVITY_M_S2 * 1e3;
            assert!((band[0]..=band[1]).contains(&grams), "class {class}: {grams}");
        }
    }

    // Source: the definition: half-way between two classes lies their geometric mean.
    #[test]
    fn classes_are_logarithmic_between_and_length_scales_by_its_exponent() {
        let half = read(4.5, 0.5).third_drop_load_n / GRAVITY_M_S2 * 1e3;
        assert!((half - (295.0_f64 * 413.0).sqrt()).abs() < 1e-9);
        let family = family();
        let label = BlankLabel { power_class: 4.0, action: 0.5, length_m: 4.2 };
        let model = LabelModel { length_exponent: -0.5, ..Model::builtin().label_model() };
        let long = from_label(family, &label, &model).unwrap().third_drop_load_n;
        assert!((long * 2.0_f64.sqrt() / (0.295 * GRAVITY_M_S2) - 1.0).abs() < 1e-12);
    }

    // Source: from memory: labels vary by a class; the spread must hold the next class within two
    // standard deviations and must not be nothing.
    #[test]
    fn the_spread_holds_a_class() {
        let label = read(4.0, 0.75);
        let class = libm::log(413.0 / 295.0);
        assert!(2.0 * label.load_spread > class && label.load_spread < class);
        assert!(label.butt_spread > label.load_spread);
        let family = family();
        let bad = BlankLabel { power_class: 9.0, action: 0.5, length_m: 2.1 };
        let error = from_label(family, &bad, &Model::builtin().label_model()).unwrap_err();
        assert_eq!(error.field, "power_class");
    }
}
