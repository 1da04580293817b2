//! The whole judgement, in words and numbers.

use super::case::{Assumed, Resolved};
use super::compose::Composition;
use super::factors::FACTORS;
use super::judgement::{Factor, Fix, Judgement, Limit, Verdict};
use super::{cautions, limits, settings, short};

/// Puts the judgement together.
pub(super) fn judgement(r: &Resolved<'_>, composition: &Composition, fixes: Vec<Fix>) -> Judgement {
    let c = &r.case;
    let short = short(r, composition);
    let (held, open) = limits::limits(r);
    let interval = super::interval(r, &short);
    let factors = factors(r, composition);
    let summary = summary(short.verdict, &held, &factors, composition);
    let mut judgement = Judgement {
        verdict: short.verdict,
        score: short.score,
        score_low: interval.low,
        score_high: interval.high,
        score_without_limits: short.score_without_limits,
        limits: held,
        cannot_rule_out: open,
        factors,
        limiting_factor: short.limiting_factor,
        summary,
        fixes,
        settings: settings::settings(c),
        assumptions: r.assumptions.iter().map(Assumed::told).collect(),
        narrowing_field: interval.narrowing_field,
        findings: r.findings.clone(),
        cautions: Vec::new(),
        power: r.power.clone(),
        model: r.model.id().clone(),
    };
    judgement.cautions = cautions::cautions(r, &judgement);
    judgement
}

fn factors(r: &Resolved<'_>, composition: &Composition) -> Vec<Factor> {
    let losses = composition.losses_nano(r.case.p.compose.score_floor);
    FACTORS
        .iter()
        .enumerate()
        .filter_map(|(i, def)| {
            let scored = composition.scored[i]?;
            Some(Factor {
                kind: def.kind,
                score: scored.score,
                weight: composition.weights[i],
                rule: def.rule,
                quantities: scored.quantities(),
                loss_nano: losses[i],
                text: (def.text)(&r.case, &scored),
            })
        })
        .collect()
}

fn summary(
    verdict: Verdict,
    held: &[Limit],
    factors: &[Factor],
    composition: &Composition,
) -> String {
    if let Some(limit) = held.iter().find(|limit| limit.broken) {
        return limit.text.clone();
    }
    let kind = FACTORS[composition.limiting].kind;
    let Some(limiting) = factors.iter().find(|f| f.kind == kind) else { return String::new() };
    let reason = &limiting.text;
    match verdict {
        Verdict::Excellent if limiting.score >= 1.0 => format!("everything fits: {reason}"),
        Verdict::Excellent => format!("a close match; at most: {reason}"),
        Verdict::Good | Verdict::Workable | Verdict::Poor | Verdict::Unsafe => reason.clone(),
    }
}
