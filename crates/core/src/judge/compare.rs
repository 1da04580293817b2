//! Two outfits side by side, largest difference first.

use serde::Serialize;

use super::judgement::{FactorKind, Judgement};

/// How one factor differs.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FactorDifference {
    /// Which factor.
    pub kind: FactorKind,
    /// What it takes from the first, in billionths; 0 where it does not apply.
    pub first_loss_nano: i64,
    /// What it takes from the second, in billionths.
    pub second_loss_nano: i64,
    /// What it says of the first.
    pub first_text: String,
    /// What it says of the second.
    pub second_text: String,
}

/// Two judgements of the same lure in the same water.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Comparison {
    /// Score of the first less score of the second, without limits.
    pub difference: f64,
    /// Whether the difference is too small to be called one.
    pub tie: bool,
    /// Factor by factor; they add up exactly to the difference.
    pub factors: Vec<FactorDifference>,
}

/// Compares two judgements; scores nearer than `tie` are called a tie.
#[must_use]
pub fn compare(first: &Judgement, second: &Judgement, tie: f64) -> Comparison {
    let side = |judgement: &Judgement, kind: FactorKind| {
        let factor = judgement.factors.iter().find(|f| f.kind == kind);
        factor.map_or((0, String::new()), |f| (f.loss_nano, f.text.clone()))
    };
    let mut factors: Vec<_> = super::factors::FACTORS
        .iter()
        .filter_map(|def| {
            let (first_loss_nano, first_text) = side(first, def.kind);
            let (second_loss_nano, second_text) = side(second, def.kind);
            let applies = !(first_text.is_empty() && second_text.is_empty());
            applies.then_some(FactorDifference {
                kind: def.kind,
                first_loss_nano,
                second_loss_nano,
                first_text,
                second_text,
            })
        })
        .collect();
    // A stable sort keeps the guide's order among equals.
    factors.sort_by_key(|f| -(f.first_loss_nano - f.second_loss_nano).abs());
    let difference = first.score_without_limits - second.score_without_limits;
    let same_side = (first.score > 0.0) == (second.score > 0.0);
    Comparison { difference, tie: same_side && difference.abs() < tie, factors }
}
