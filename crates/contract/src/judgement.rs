//! The judgement, written.

use deepbend_core::judge::{
    Assumption, Caution, Factor, FactorDifference, Fix, Judgement, Limit, Quantity, Settings,
    has_snap,
};
use deepbend_core::model::ModelId;
use deepbend_core::quantity::{Force, Length, Mass};

use crate::convert::{ToWire, sent};
use crate::pb;
use crate::words::WireWord as _;

fn all<T: ToWire>(list: &[T]) -> Vec<T::Wire> {
    list.iter().map(ToWire::to_wire).collect()
}

/// Writes a judgement, whole or as a summary. `UNSPECIFIED` is taken as `FULL`.
#[must_use]
pub fn judgement(judgement: &Judgement, explanation: pb::Explanation) -> pb::Judgement {
    let full = judgement.to_wire();
    match explanation {
        pb::Explanation::Unspecified | pb::Explanation::Full => full,
        pb::Explanation::Summary => pb::Judgement {
            factors: Vec::new(),
            fixes: Vec::new(),
            settings: None,
            assumptions: Vec::new(),
            narrowing_field: String::new(),
            findings: Vec::new(),
            power: None,
            ..full
        },
    }
}

impl ToWire for Judgement {
    type Wire = pb::Judgement;

    fn to_wire(&self) -> pb::Judgement {
        let Self {
            verdict,
            score,
            score_low,
            score_high,
            score_without_limits,
            limits,
            cannot_rule_out,
            factors,
            limiting_factor,
            summary,
            fixes,
            settings,
            assumptions,
            narrowing_field,
            findings,
            cautions,
            power,
            model,
        } = self;
        pb::Judgement {
            verdict: verdict.to_wire_word().into(),
            score: *score,
            score_low: *score_low,
            score_high: *score_high,
            score_without_limits: *score_without_limits,
            limits: all(limits),
            cannot_rule_out: all(cannot_rule_out),
            factors: all(factors),
            limiting_factor: limiting_factor.to_wire_word().into(),
            summary: summary.clone(),
            fixes: all(fixes),
            settings: Some(settings.to_wire()),
            assumptions: all(assumptions),
            narrowing_field: narrowing_field.unwrap_or_default().to_owned(),
            findings: all(findings),
            cautions: all(cautions),
            power: Some(power.to_wire()),
            model: Some(model.to_wire()),
        }
    }
}

impl ToWire for ModelId {
    type Wire = pb::ModelId;

    fn to_wire(&self) -> pb::ModelId {
        let Self { name, version, hash, overrides } = self.clone();
        pb::ModelId { name, version, hash, overrides }
    }
}

impl ToWire for Quantity {
    type Wire = pb::Quantity;

    fn to_wire(&self) -> pb::Quantity {
        let Self { name, value, unit } = self;
        pb::Quantity { name: (*name).to_owned(), value: *value, unit: (*unit).to_owned() }
    }
}

impl ToWire for Factor {
    type Wire = pb::Factor;

    fn to_wire(&self) -> pb::Factor {
        let Self { kind, score, weight, rule, quantities, loss_nano, text } = self;
        pb::Factor {
            kind: kind.to_wire_word().into(),
            score: *score,
            weight: *weight,
            rule: rule.to_wire_word().into(),
            quantities: all(quantities),
            loss_nano: *loss_nano,
            text: text.clone(),
        }
    }
}

impl ToWire for Limit {
    type Wire = pb::Limit;

    fn to_wire(&self) -> pb::Limit {
        let Self { code, protects, quantity, bound, slack, broken, text } = self;
        pb::Limit {
            code: code.to_wire_word().into(),
            protects: protects.to_wire_word().into(),
            quantity: Some(quantity.to_wire()),
            bound: *bound,
            slack: *slack,
            broken: *broken,
            text: text.clone(),
        }
    }
}

impl ToWire for Fix {
    type Wire = pb::Fix;

    fn to_wire(&self) -> pb::Fix {
        let Self { code, text, verdict, score, minutes } = self;
        pb::Fix {
            code: code.to_wire_word().into(),
            text: text.clone(),
            verdict: verdict.to_wire_word().into(),
            score: *score,
            duration_minutes: *minutes,
        }
    }
}

impl ToWire for Settings {
    type Wire = pb::Settings;

    fn to_wire(&self) -> pb::Settings {
        let Self {
            drag,
            line_out,
            leader_material,
            leader_test,
            leader_length,
            main_knot,
            lure_knot,
            snap_test,
            cast_limit,
            cast_link,
            reel,
            hook_style,
            line_material,
        } = self;
        let kgf = |force: Force| sent(force, Force::kgf, Force::from_kgf);
        let lbf = |force: Force| sent(force, Force::lbf, Force::from_lbf);
        let m = |length: Length| sent(length, Length::m, Length::from_m);
        pb::Settings {
            drag_kgf: kgf(*drag),
            drag_lbf: lbf(*drag),
            line_out_m: m(*line_out),
            leader_material: leader_material.to_wire_word().into(),
            leader_test_kgf: kgf(*leader_test),
            leader_test_lbf: lbf(*leader_test),
            leader_length_m: m(*leader_length),
            main_knot: (*main_knot).to_owned(),
            lure_knot: (*lure_knot).to_owned(),
            snap_test_kgf: kgf(*snap_test),
            snap_test_lbf: lbf(*snap_test),
            cast_limit_g: sent(*cast_limit, Mass::g, Mass::from_g),
            cast_limit_oz: sent(*cast_limit, Mass::oz, Mass::from_oz),
            reel: reel.clone(),
            hook_style: hook_style.to_wire_word().into(),
            line_material: line_material.to_wire_word().into(),
            cast_link: cast_link.to_wire_word().into(),
            has_snap: has_snap(*hook_style, *leader_material),
        }
    }
}

impl ToWire for Assumption {
    type Wire = pb::Assumption;

    fn to_wire(&self) -> pb::Assumption {
        let Self { field, value, reason } = self;
        pb::Assumption { field: (*field).to_owned(), value: value.clone(), reason: reason.clone() }
    }
}

impl ToWire for Caution {
    type Wire = pb::Caution;

    fn to_wire(&self) -> pb::Caution {
        let Self { code, text, because } = self;
        pb::Caution {
            code: code.to_wire_word().into(),
            text: text.clone(),
            because: because.clone(),
        }
    }
}

impl ToWire for FactorDifference {
    type Wire = pb::FactorDifference;

    fn to_wire(&self) -> pb::FactorDifference {
        let Self { kind, first_loss_nano, second_loss_nano, first_text, second_text } = self;
        pb::FactorDifference {
            kind: kind.to_wire_word().into(),
            first_loss_nano: *first_loss_nano,
            second_loss_nano: *second_loss_nano,
            first_text: first_text.clone(),
            second_text: second_text.clone(),
        }
    }
}

#[cfg(test)]
mod tests {
    use deepbend_core::gear::{Lure, Outfit};
    use deepbend_core::judge::judge;
    use deepbend_core::model::Model;
    use deepbend_core::water::Water;

    use super::*;

    // Source: the contract: the losses add up exactly, and a summary keeps what protects people.
    #[test]
    fn a_judgement_is_written_whole_or_as_a_summary() {
        let (outfit, lure, water) = (Outfit::default(), Lure::default(), Water::default());
        let judged = judge(Model::builtin(), &outfit, &lure, &water);
        let full = judgement(&judged, pb::Explanation::Full);
        let loss: i64 = full.factors.iter().map(|factor| factor.loss_nano).sum();
        assert!((1.0 - loss as f64 / 1e9 - full.score_without_limits).abs() < 1e-9);
        assert!(!full.assumptions.is_empty() && !full.cautions.is_empty());
        let settings = full.settings.clone().unwrap();
        assert!((settings.drag_kgf - settings.drag_lbf * 0.453_592_37).abs() < 1e-12);
        let summary = judgement(&judged, pb::Explanation::Summary);
        assert!(summary.factors.is_empty() && summary.assumptions.is_empty());
        assert_eq!(
            (summary.verdict, summary.score, summary.cautions, summary.limits, summary.model),
            (full.verdict, full.score, full.cautions, full.limits, full.model)
        );
    }
}
