//! Envelopes and specifications, written.

use deepbend_core::judge::{
    Between, End, Envelope, EnvelopeField, LureScore, Score, Span, Spec, Specification, Strength,
};
use deepbend_core::quantity::{Force, Length, Mass};

use crate::convert::{ToWire, sent};
use crate::pb;
use crate::words::{WireWord, word};

fn wire_words<W: WireWord + Copy>(words: &[W]) -> Vec<i32> {
    words.iter().map(|word| word.to_wire_word().into()).collect()
}

fn kgf(force: Force) -> f64 {
    sent(force, Force::kgf, Force::from_kgf)
}

fn g(mass: Mass) -> f64 {
    sent(mass, Mass::g, Mass::from_g)
}

impl ToWire for End {
    type Wire = pb::EnvelopeEnd;

    fn to_wire(&self) -> pb::EnvelopeEnd {
        let Self { value, open, beyond, limiting_factor } = *self;
        pb::EnvelopeEnd {
            value,
            open,
            beyond: word(beyond),
            limiting_factor: word(limiting_factor),
        }
    }
}

impl ToWire for Span {
    type Wire = pb::EnvelopeSpan;

    fn to_wire(&self) -> pb::EnvelopeSpan {
        let Self { field: _, present, verdict, good, nearest_good, searched } = self;
        let [searched_least, searched_greatest] = *searched;
        pb::EnvelopeSpan {
            present: *present,
            verdict: verdict.to_wire_word().into(),
            least: good.map(|[least, _]| least.to_wire()),
            greatest: good.map(|[_, greatest]| greatest.to_wire()),
            nearest_good: *nearest_good,
            searched_least,
            searched_greatest,
        }
    }
}

impl ToWire for Envelope {
    type Wire = pb::EnvelopeResponse;

    /// Writes it without the label of the request.
    fn to_wire(&self) -> pb::EnvelopeResponse {
        let Self { verdict, score, spans, assumptions, cautions, summary, model } = self;
        let mut wire = pb::EnvelopeResponse {
            verdict: verdict.to_wire_word().into(),
            score: *score,
            summary: summary.clone(),
            model: Some(model.to_wire()),
            assumptions: assumptions.iter().map(ToWire::to_wire).collect(),
            cautions: cautions.iter().map(ToWire::to_wire).collect(),
            ..pb::EnvelopeResponse::default()
        };
        for span in spans {
            let field = match span.field {
                EnvelopeField::RiggedMass => &mut wire.rigged_mass_g,
                EnvelopeField::HookWire => &mut wire.hook_wire_mm,
                EnvelopeField::GuardForce => &mut wire.guard_force_n,
                EnvelopeField::WindInto => &mut wire.wind_into_m_s,
                EnvelopeField::WindAcross => &mut wire.wind_across_m_s,
                EnvelopeField::FishMass => &mut wire.fish_mass_kg,
                EnvelopeField::Current => &mut wire.current_m_s,
            };
            *field = Some(span.to_wire());
        }
        wire
    }
}

/// Least and greatest of a window.
fn ends<T: Copy>(between: Between<T>, get: impl Fn(T) -> f64) -> (f64, f64) {
    let Between { least, greatest } = between;
    (get(least), get(greatest))
}

impl ToWire for Strength<deepbend_core::gear::LineMaterial> {
    type Wire = pb::LineSpec;

    fn to_wire(&self) -> pb::LineSpec {
        let Self { material, test } = *self;
        let (test_min_kgf, test_max_kgf) = ends(test, kgf);
        pb::LineSpec { material: material.to_wire_word().into(), test_min_kgf, test_max_kgf }
    }
}

impl ToWire for Strength<deepbend_core::gear::LeaderMaterial> {
    type Wire = pb::LeaderSpec;

    fn to_wire(&self) -> pb::LeaderSpec {
        let Self { material, test } = *self;
        let (test_min_kgf, test_max_kgf) = ends(test, kgf);
        pb::LeaderSpec { material: material.to_wire_word().into(), test_min_kgf, test_max_kgf }
    }
}

impl ToWire for Spec {
    type Wire = pb::OutfitSpec;

    fn to_wire(&self) -> pb::OutfitSpec {
        let Self {
            power,
            actions,
            materials,
            handles,
            length,
            lure_rating_min,
            lure_rating_max,
            line_rating_max,
            lines,
            leaders,
            drag,
            reels,
            retrieve,
            text,
        } = self;
        let (power_class_min, power_class_max) = ends(*power, |class| class);
        let (length_min_m, length_max_m) =
            ends(*length, |length| sent(length, Length::m, Length::from_m));
        let (lure_rating_min_from_g, lure_rating_min_to_g) = ends(*lure_rating_min, g);
        let (lure_rating_max_from_g, lure_rating_max_to_g) = ends(*lure_rating_max, g);
        let (line_rating_max_from_kgf, line_rating_max_to_kgf) = ends(*line_rating_max, kgf);
        let (drag_min_kgf, drag_max_kgf) = ends(*drag, kgf);
        let (retrieve_min_cm, retrieve_max_cm) =
            ends(*retrieve, |length| sent(length, Length::cm, Length::from_cm));
        pb::OutfitSpec {
            power_class_min,
            power_class_max,
            actions: wire_words(actions),
            materials: wire_words(materials),
            handles: wire_words(handles),
            length_min_m,
            length_max_m,
            lure_rating_min_from_g,
            lure_rating_min_to_g,
            lure_rating_max_from_g,
            lure_rating_max_to_g,
            line_rating_max_from_kgf,
            line_rating_max_to_kgf,
            lines: lines.iter().map(ToWire::to_wire).collect(),
            leaders: leaders.iter().map(ToWire::to_wire).collect(),
            drag_min_kgf,
            drag_max_kgf,
            reels: reels.clone(),
            retrieve_min_cm,
            retrieve_max_cm,
            text: text.clone(),
        }
    }
}

/// Writes a specification; `labels` are those of the lures, in their order.
#[must_use]
pub fn specification(specification: &Specification, labels: &[String]) -> pb::SpecifyResponse {
    let Specification { verdict, score, centre, window, lures, obstacle, cautions, summary, model } =
        specification;
    let label = |index: usize| labels.get(index).cloned().unwrap_or_default();
    let lures = lures.iter().map(|LureScore { index, score }| {
        let Score { verdict, score, score_without_limits: _, limiting_factor } = *score;
        pb::SpecifiedLure {
            label: label(*index),
            verdict: verdict.to_wire_word().into(),
            score,
            limiting_factor: limiting_factor.to_wire_word().into(),
        }
    });
    pb::SpecifyResponse {
        verdict: verdict.to_wire_word().into(),
        score: *score,
        best: Some(centre.to_wire()),
        window: Some(window.to_wire()),
        lures: lures.collect(),
        obstacle: obstacle.map(label).unwrap_or_default(),
        summary: summary.clone(),
        model: Some(model.to_wire()),
        request_label: String::new(),
        cautions: cautions.iter().map(ToWire::to_wire).collect(),
    }
}

#[cfg(test)]
mod tests {
    use deepbend_core::gear::{Lure, Outfit};
    use deepbend_core::judge::{envelope, specify};
    use deepbend_core::model::Model;
    use deepbend_core::water::Water;

    use super::*;

    // Source: the contract: every span is set, in the unit that its field names.
    #[test]
    fn an_envelope_fills_every_field() {
        let (outfit, lure, water) = (Outfit::default(), Lure::default(), Water::default());
        let wire = envelope(Model::builtin(), &outfit, &lure, &water).to_wire();
        assert!(wire.assumptions.iter().any(|a| a.field == "water.species"));
        assert!(!wire.cautions.is_empty());
        let spans = [
            (wire.rigged_mass_g, 500.0),
            (wire.hook_wire_mm, 3.0),
            (wire.guard_force_n, 60.0),
            (wire.wind_into_m_s, 30.0),
            (wire.wind_across_m_s, 30.0),
            (wire.fish_mass_kg, 100.0),
            (wire.current_m_s, 4.0),
        ];
        for (span, most) in spans {
            let span = span.unwrap();
            assert_eq!(span.searched_greatest, most);
            assert!((span.searched_least..=most).contains(&span.present));
        }
    }

    // Source: the contract.
    #[test]
    fn a_specification_names_its_lures() {
        let lures = [Lure::default()];
        let found = specify(Model::builtin(), &lures, &Water::default()).unwrap();
        let wire = specification(&found, &["mine".to_owned()]);
        assert_eq!(wire.lures[0].label, "mine");
        let window = wire.window.unwrap();
        assert!(window.lure_rating_min_from_g < window.lure_rating_max_from_g);
        assert!(!window.lines.is_empty() && !window.leaders.is_empty());
    }
}
