//! Two outfits side by side.

use deepbend_contract::pb::FaultCode;
use deepbend_contract::{At, Faults, Reader, ToWire as _, judgement, pb};
use deepbend_core::gear::{Outfit, Word as _};
use deepbend_core::judge::{self, Comparison, Judgement};

use super::gear::{Lookup, Named, caution_first};
use super::{Common, Matching, common, overrides};
use crate::error::ServiceError;

/// Answers a comparison.
pub(super) async fn compare(
    service: &Matching,
    request: pb::CompareRequest,
) -> Result<pb::CompareResponse, ServiceError> {
    let pb::CompareRequest {
        first,
        second,
        lure,
        water,
        overrides,
        explanation,
        validate_only,
        request_label,
    } = request;
    let mut faults = Faults::new();
    let mut reader = Reader::new(At::ROOT, &mut faults);
    let mut lookup = service.lookup();
    let first = side(&mut reader, &mut lookup, "first", first, "1");
    let second = side(&mut reader, &mut lookup, "second", second, "2");
    let lure = reader.required("lure", lure, "a lure").map(|candidate| {
        reader.within("lure", |at, faults| {
            lookup.lure_candidate(&mut Reader::new(at, faults), candidate)
        })
    });
    if first.label == second.label {
        let wrong = format!("has the label {:?}, as has first", second.label);
        reader.fault("second", FaultCode::Duplicate, wrong, "another label");
    }
    let lure = lure.unwrap_or_default();
    let Common { water, overrides, explanation, label } =
        common(&mut reader, water, overrides, explanation, request_label);
    lookup.finish(faults)?;
    if validate_only {
        return Ok(pb::CompareResponse { request_label: label, ..Default::default() });
    }
    let compared = service.pool.run(move || {
        let model = overrides::model(&overrides)?;
        let tie = model.parameters().compose.tie;
        let judged = [&first, &second].map(|side| {
            let mut judged = judge::judge(&model, &side.gear, &lure.gear, &water);
            caution_first(&mut judged, side.cautions.iter().chain(&lure.cautions).cloned());
            judged
        });
        let comparison = judge::compare(&judged[0], &judged[1], tie);
        Ok::<_, ServiceError>(answer(
            [&first.label, &second.label],
            &judged,
            &comparison,
            explanation,
        ))
    });
    Ok(pb::CompareResponse { request_label: label, ..compared.await?? })
}

fn side(
    reader: &mut Reader<'_>,
    lookup: &mut Lookup,
    name: &str,
    candidate: Option<pb::OutfitCandidate>,
    position: &str,
) -> Named<Outfit> {
    let candidate = reader.required(name, candidate, "an outfit");
    // One that is missing is at fault already: what it lacks need not be told besides.
    let named = candidate.map(|candidate| {
        reader.within(name, |at, faults| {
            lookup.outfit_candidate(&mut Reader::new(at, faults), candidate)
        })
    });
    let mut named = named.unwrap_or_default();
    if named.label.is_empty() {
        position.clone_into(&mut named.label);
    }
    named
}

fn answer(
    labels: [&str; 2],
    judged: &[Judgement; 2],
    comparison: &Comparison,
    explanation: pb::Explanation,
) -> pb::CompareResponse {
    let explanation = match explanation {
        pb::Explanation::Unspecified => pb::Explanation::Summary,
        given @ (pb::Explanation::Summary | pb::Explanation::Full) => given,
    };
    let [first, second] = judged;
    let broken = [first.score <= 0.0, second.score <= 0.0];
    let preferred = match broken {
        [false, true] => pb::Preference::First,
        [true, false] => pb::Preference::Second,
        _ if comparison.tie => pb::Preference::Tie,
        _ if comparison.difference > 0.0 => pb::Preference::First,
        _ => pb::Preference::Second,
    };
    pb::CompareResponse {
        summary: summary(labels, preferred, broken, comparison),
        first: Some(judgement(first, explanation)),
        second: Some(judgement(second, explanation)),
        preferred: preferred.into(),
        differences: comparison.factors.iter().map(|factor| factor.to_wire()).collect(),
        score_difference: comparison.difference,
        request_label: String::new(),
    }
}

fn summary(
    [first, second]: [&str; 2],
    preferred: pb::Preference,
    broken: [bool; 2],
    comparison: &Comparison,
) -> String {
    let (better, worse) = match preferred {
        pb::Preference::First => (first, second),
        pb::Preference::Second => (second, first),
        pb::Preference::Tie | pb::Preference::Unspecified => {
            return match broken {
                [true, true] => format!("{first} and {second} tie, and both break a limit."),
                _ => format!("{first} and {second} tie."),
            };
        }
    };
    if broken[0] != broken[1] {
        return format!("{better} is the one to use: {worse} breaks a limit.");
    }
    let by = comparison.difference.abs();
    let sign = if preferred == pb::Preference::First { 1 } else { -1 };
    let gain = |d: &&judge::FactorDifference| sign * (d.second_loss_nano - d.first_loss_nano);
    let mostly = comparison.factors.iter().max_by_key(gain).filter(|d| gain(d) > 0);
    let mostly = mostly.map(|d| format!(", mostly by {}", d.kind.as_word().replace('_', " ")));
    let both = if broken[0] { "; both break a limit" } else { "" };
    format!("{better} is ahead of {worse} by {by:.2}{}{both}.", mostly.unwrap_or_default())
}
