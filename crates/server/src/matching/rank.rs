//! Many outfits for one lure, or many lures for one outfit.

use std::collections::BTreeMap;

use deepbend_contract::pb::FaultCode;
use deepbend_contract::{At, Faults, Reader, WireWord as _, judgement, limits, pb};
use deepbend_core::gear::Word as _;
use deepbend_core::judge::{self, Caution, FactorKind, Judgement, Rank, Ranked};

use super::gear::{Named, caution_first};
use super::{Common, Matching, common, overrides};
use crate::error::ServiceError;

/// Answers a ranking.
pub(super) async fn rank(
    service: &Matching,
    request: pb::RankRequest,
) -> Result<pb::RankResponse, ServiceError> {
    let pb::RankRequest {
        outfits,
        lures,
        water,
        overrides,
        explanation,
        validate_only,
        request_label,
    } = request;
    let mut faults = Faults::new();
    let mut reader = Reader::new(At::ROOT, &mut faults);
    let mut lookup = service.lookup();
    if outfits.len() > 1 && lures.len() > 1 {
        let wrong = format!("has {} entries and lures has {}", outfits.len(), lures.len());
        let right = "several outfits with one lure, or one outfit with several lures";
        reader.fault("outfits", FaultCode::Conflict, wrong, right);
    }
    let most = limits::CANDIDATES;
    let outfits = candidates(&mut reader, "outfits", outfits, most, |reader, candidate| {
        lookup.outfit_candidate(reader, candidate)
    });
    let lures = candidates(&mut reader, "lures", lures, most, |reader, candidate| {
        lookup.lure_candidate(reader, candidate)
    });
    let Common { water, overrides, explanation, label } =
        common(&mut reader, water, overrides, explanation, request_label);
    lookup.finish(faults)?;
    if validate_only {
        return Ok(pb::RankResponse { request_label: label, ..pb::RankResponse::default() });
    }
    let (outfit_cautions, lure_cautions) = (cautions(&outfits), cautions(&lures));
    let (outfit_labels, outfits) = apart(outfits);
    let (lure_labels, lures) = apart(lures);
    let ranked = service.pool.run(move || {
        let model = overrides::model(&overrides)?;
        // Each list has an entry; only one of them has several.
        let (mut rank, labels) = match (outfits.as_slice(), lures.as_slice()) {
            (_, [lure]) => (judge::rank_outfits(&model, &outfits, lure, &water), outfit_labels),
            ([outfit], _) => (judge::rank_lures(&model, outfit, &lures, &water), lure_labels),
            _ => return Err(ServiceError::Internal),
        };
        for place in &mut rank.places {
            // A list of one is the side that all places share.
            let of = |list: &[Vec<Caution>]| match list {
                [one] => one.clone(),
                several => several.get(place.index).cloned().unwrap_or_default(),
            };
            let all = of(&outfit_cautions).into_iter().chain(of(&lure_cautions));
            caution_first(&mut place.judgement, all);
        }
        Ok(answer(&rank, &labels, explanation))
    });
    Ok(pb::RankResponse { request_label: label, ..ranked.await?? })
}

/// Reads the candidates of a list, `most` at most, and gives each a label that no other one has.
pub(super) fn candidates<W, G>(
    reader: &mut Reader<'_>,
    name: &str,
    wire: Vec<W>,
    most: usize,
    mut read: impl FnMut(&mut Reader<'_>, W) -> Named<G>,
) -> Vec<Named<G>> {
    if wire.is_empty() {
        let right = format!("1 to {most} entries");
        reader.fault(name, FaultCode::Missing, "is empty", right);
    }
    if !reader.fits(name, wire.len(), most) {
        return Vec::new();
    }
    reader.within(name, |list, faults| {
        let mut taken: BTreeMap<String, usize> = BTreeMap::new();
        let mut all = Vec::with_capacity(wire.len());
        for (index, candidate) in wire.into_iter().enumerate() {
            let at = list.index(index);
            let mut named = read(&mut Reader::new(at, faults), candidate);
            if named.label.is_empty() {
                named.label = (index + 1).to_string();
            }
            if let Some(first) = taken.insert(named.label.clone(), index) {
                let wrong = format!("is {:?}, as that of entry {first}", named.label);
                faults.push(
                    FaultCode::Duplicate,
                    at.field("label"),
                    wrong,
                    "a label that no other candidate has",
                );
            }
            all.push(named);
        }
        all
    })
}

/// What the inventory says against each.
fn cautions<G>(named: &[Named<G>]) -> Vec<Vec<Caution>> {
    named.iter().map(|named| named.cautions.clone()).collect()
}

/// Labels and gear, each in a list of its own.
pub(super) fn apart<G>(named: Vec<Named<G>>) -> (Vec<String>, Vec<G>) {
    named.into_iter().map(|named| (named.label, named.gear)).unzip()
}

fn answer(rank: &Rank, labels: &[String], explanation: pb::Explanation) -> pb::RankResponse {
    let explanation = match explanation {
        pb::Explanation::Unspecified => pb::Explanation::Summary,
        given @ (pb::Explanation::Summary | pb::Explanation::Full) => given,
    };
    let Some(first) = rank.places.first() else { return pb::RankResponse::default() };
    let label = |place: &Ranked| labels.get(place.index).cloned().unwrap_or_default();
    let choices = rank.places.iter().map(|place| pb::RankedChoice {
        label: label(place),
        candidate_index: i32::try_from(place.index).unwrap_or(i32::MAX),
        rank: i32::try_from(place.place).unwrap_or(i32::MAX),
        tied: place.tied,
        score_behind: first.judgement.score - place.judgement.score,
        judgement: Some(judgement(&place.judgement, explanation)),
        deciding_factor: (place.place > 1)
            .then(|| deciding(&first.judgement, &place.judgement))
            .flatten()
            .map_or(0, |kind| kind.to_wire_word().into()),
        why_not: place.why_not.clone(),
    });
    pb::RankResponse {
        choices: choices.collect(),
        summary: summary(rank, label),
        request_label: String::new(),
    }
}

/// The factor that takes most from a judgement in comparison with the first one.
fn deciding(first: &Judgement, other: &Judgement) -> Option<FactorKind> {
    let comparison = judge::compare(first, other, 0.0);
    let loss = |d: &judge::FactorDifference| d.second_loss_nano - d.first_loss_nano;
    let most = comparison.factors.iter().max_by_key(|d| loss(d))?;
    (loss(most) > 0).then_some(most.kind)
}

fn summary(rank: &Rank, label: impl Fn(&Ranked) -> String) -> String {
    let Some((first, rest)) = rank.places.split_first() else { return String::new() };
    let (name, judged) = (label(first), &first.judgement);
    if judged.score <= 0.0 {
        return match rest {
            [] => format!("{name} breaks a limit and must not be used so."),
            _ => "Every candidate breaks a limit; none may be used so.".to_owned(),
        };
    }
    let fits = format!("{name} is {} ({:.2})", judged.verdict.as_word(), judged.score);
    let tied: Vec<_> = rest.iter().take_while(|place| place.place == 1).map(&label).collect();
    if let Some(other) = tied.first() {
        return match tied.len() {
            1 => format!("{fits}; {other} ties with it."),
            n => format!("{fits}; {other} and {} more tie with it.", n - 1),
        };
    }
    match rest.first() {
        None => format!("{fits}."),
        Some(second) if second.judgement.score <= 0.0 => {
            format!("{fits}; all others break a limit.")
        }
        Some(second) => {
            let margin = judged.score - second.judgement.score;
            format!("{fits}, {margin:.2} ahead of {}.", label(second))
        }
    }
}
