//! The power that a rod really has, read from its ratings instead of its label.

use serde::Serialize;

use super::words::words;
use super::{Finding, FindingCode, LineBasis, Rod, Word};
use crate::model::Model;
use crate::quantity::words::GRAMS;

words! {
    /// Power: how much load the blank works with, class 1 to 8.
    Power {
        /// Class 1.
        Ultralight = "ultralight",
        /// Class 2.
        Light = "light",
        /// Class 3.
        MediumLight = "medium_light",
        /// Class 4.
        Medium = "medium",
        /// Class 5.
        MediumHeavy = "medium_heavy",
        /// Class 6.
        Heavy = "heavy",
        /// Class 7.
        ExtraHeavy = "extra_heavy",
        /// Class 8.
        DoubleExtraHeavy = "double_extra_heavy",
    }
}

impl Power {
    /// The class on the ladder from 1 to 8.
    #[must_use]
    pub fn class(self) -> f64 {
        match self {
            Self::Ultralight => 1.0,
            Self::Light => 2.0,
            Self::MediumLight => 3.0,
            Self::Medium => 4.0,
            Self::MediumHeavy => 5.0,
            Self::Heavy => 6.0,
            Self::ExtraHeavy => 7.0,
            Self::DoubleExtraHeavy => 8.0,
        }
    }

    /// The word nearest to a class.
    #[must_use]
    pub fn nearest(class: f64) -> Self {
        let index = class.round().clamp(1.0, Self::ALL.len() as f64) as usize - 1;
        Self::ALL[index]
    }

    /// The short form that is printed on rods ("MH").
    #[must_use]
    pub fn short(self) -> &'static str {
        match self {
            Self::Ultralight => "UL",
            Self::Light => "L",
            Self::MediumLight => "ML",
            Self::Medium => "M",
            Self::MediumHeavy => "MH",
            Self::Heavy => "H",
            Self::ExtraHeavy => "XH",
            Self::DoubleExtraHeavy => "XXH",
        }
    }

    /// The word in plain text ("medium-heavy").
    #[must_use]
    pub fn plain(self) -> String {
        self.as_word().replace('_', "-")
    }

    /// Reads a word or its short form; "extra heavy", "X-heavy", "XH" alike.
    #[must_use]
    pub fn read(text: &str) -> Option<Self> {
        let wanted = super::normalise(text);
        Self::ALL.iter().copied().find(|p| {
            p.as_word() == wanted
                || p.short().eq_ignore_ascii_case(&wanted)
                || p.as_word().replace("extra_", "x_") == wanted
        })
    }
}

/// The power of a rod as its ratings tell it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct InferredPower {
    /// Class on the ladder 1 to 8: the whole printed window, blended with the line rating.
    pub class: f64,
    /// Least and greatest class that the ways of reading the ratings give.
    pub low: f64,
    /// See `low`.
    pub high: f64,
    /// By the geometric mean of the printed window, where it is given.
    pub by_window: Option<f64>,
    /// By the printed maximum alone, blended with the line: the short way of practice.
    pub by_maximum: Option<f64>,
    /// By the line rating, where it is given.
    pub by_line: Option<f64>,
    /// By the bench test, where it was made: it outweighs all ratings.
    pub by_bench: Option<f64>,
}

impl InferredPower {
    /// The nearest power word.
    #[must_use]
    pub fn word(&self) -> Power {
        Power::nearest(self.class)
    }
}

/// Printed greatest line as nylon, kgf.
pub(crate) fn nylon_equivalent_kgf(model: &Model, rod: &Rod) -> Option<f64> {
    let most = rod.line_rating.max.or(rod.line_rating.min)?.kgf();
    Some(match rod.line_rating_basis {
        Some(LineBasis::Braid) => most * model.parameters().rod.braid_rating_share,
        Some(LineBasis::Nylon) | None => most,
    })
}

/// Printed lure window, lower end filled in where only one number is printed, g.
fn printed_window_g(model: &Model, rod: &Rod) -> Option<(f64, f64)> {
    let max = rod.lure_rating.max?.g();
    let single = model.parameters().rod.window_of_single_number;
    Some((rod.lure_rating.min.map_or(max / single, |m| m.g()), max))
}

/// Infers the power from the bench test, else from lure and line rating; the label is never looked
/// at. Practice.
///
/// With neither rating the class is the middle of the ladder and the spread is wide.
#[must_use]
pub fn infer_power(model: &Model, rod: &Rod) -> InferredPower {
    let p = &model.parameters().rod;
    let window = printed_window_g(model, rod);
    let by_window = window.map(|(min, max)| p.class_by_window_g.at_log((min * max).sqrt()));
    let maximum = window.map(|(_, max)| p.class_by_maximum_g.at_log(max));
    let by_line = nylon_equivalent_kgf(model, rod).map(|kgf| p.class_by_line_kgf.at_log(kgf));
    let blend = |lure: Option<f64>| match (lure, by_line) {
        (Some(lure), Some(line)) => Some(p.window_share * lure + (1.0 - p.window_share) * line),
        (one, None) | (None, one) => one,
    };
    let by_maximum = blend(maximum);
    let bench = &model.parameters().blank.third_drop_g;
    let by_bench = rod.third_drop_mass.map(|mass| bench.x_at_ratio(mass.g()));
    let class = by_bench.or(blend(by_window)).unwrap_or(p.unknown_class);
    let ways = if by_bench.is_some() { [by_bench, None] } else { [Some(class), by_maximum] };
    let low = ways.iter().flatten().copied().fold(f64::INFINITY, f64::min);
    let high = ways.iter().flatten().copied().fold(f64::NEG_INFINITY, f64::max);
    InferredPower { class, low, high, by_window, by_maximum, by_line, by_bench }
}

/// What is odd about a rod's label and ratings.
#[must_use]
pub fn findings(model: &Model, rod: &Rod) -> Vec<Finding> {
    let p = &model.parameters().rod;
    let power = infer_power(model, rod);
    let mut found = Vec::new();
    if let (Some(min), Some(max)) = (rod.lure_rating.min, rod.lure_rating.max) {
        let ratio = max.g() / min.g();
        if ratio > p.widest_window {
            let text = format!(
                "{} is wider than a blank can be: counted from {}",
                GRAMS.two(min.g(), max.g()),
                GRAMS.one(max.g() / p.widest_window)
            );
            found.push(Finding::new(FindingCode::RangeTooWide, "rod.lure_rating", text));
        }
    }
    if let (Some(lure), Some(line)) = (power.by_window, power.by_line)
        && (lure - line).abs() > p.ratings_disagree
    {
        let text = format!(
            "the lure rating says class {lure:.1}, the line rating {line:.1}: a unit error, or a \
             rod for one technique"
        );
        found.push(Finding::new(FindingCode::RatingsDisagree, "rod.line_rating", text));
    }
    if let (Some(bench), Some(printed)) = (power.by_bench, power.by_window.or(power.by_line))
        && (bench - printed).abs() > p.ratings_disagree
    {
        let text = format!(
            "the bench test says class {bench:.1}, the ratings {printed:.1}: judged by the bench \
             test; mind the printed maximum all the same"
        );
        found.push(Finding::new(FindingCode::RatingsDisagree, "rod.third_drop_mass", text));
    }
    found.extend(rod.power_label.and_then(|label| label_finding(model, rod, &power, label)));
    found
}

fn label_finding(model: &Model, rod: &Rod, power: &InferredPower, label: Power) -> Option<Finding> {
    let p = &model.parameters().rod;
    let (by, makes) = match power.by_bench {
        Some(_) => ("bench test", "makes"),
        None => power.by_window.or(power.by_line).map(|_| ("ratings", "make"))?,
    };
    // The label may be right by either reading of the ratings.
    let nearest = label.class().clamp(power.low, power.high);
    let off = nearest - label.class();
    let long = rod.length.is_some_and(|l| l.m() >= p.long_from_m);
    let alarm = if long { p.label_alarm_long } else { p.label_alarm };
    let word = power.word();
    if off.abs() >= alarm {
        let text = format!(
            "marked {}, but its {by} {makes} it {} (power {:.2} of 8): judged by the {by}",
            label.plain(),
            word.plain(),
            power.class
        );
        return Some(Finding::new(FindingCode::LabelDiffers, "rod.power_label", text));
    }
    (long && off >= p.long_note_from).then(|| {
        let text = format!(
            "marked {}, power {:.2} of 8: about one class low, as is usual for this length",
            label.plain(),
            power.class
        );
        Finding::new(FindingCode::LongRodLabel, "rod.power_label", text)
    })
}
