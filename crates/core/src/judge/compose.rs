//! From factors to one score: weighted geometric mean, then the cap by the worst factor.
//!
//! Desirability functions: Derringer and Suich, Journal of Quality Technology 12 (1980) 214-219.
//! The cap is practice: a mean alone hides a killer, a minimum alone hides the rest.

use super::case::Case;
use super::factors::{COUNT, FACTORS, Scored};
use super::judgement::Verdict;
use crate::model::Parameters;

/// Billionths in one.
pub(super) const NANO: f64 = 1e9;

/// All factors of a case, scored.
#[derive(Clone, Copy, Debug)]
pub(super) struct Composition {
    /// One entry a factor, in the order of [`FACTORS`]; `None` where it does not apply.
    pub(super) scored: [Option<Scored>; COUNT],
    /// Weights, adding up to 1 over the factors that apply.
    pub(super) weights: [f64; COUNT],
    /// Index of the factor that holds the score down.
    pub(super) limiting: usize,
    /// Weighted geometric mean.
    mean: f64,
    /// Score: mean under cap, in whole billionths.
    pub(super) score: f64,
}

/// What the mean and the cap make of the scores.
pub(super) struct Reckoned {
    /// All weights together.
    total: f64,
    /// Index of the factor that holds the score down.
    pub(super) limiting: usize,
    mean: f64,
    pub(super) score: f64,
}

/// What a factor brings into the score.
#[derive(Clone, Copy, Debug)]
pub(super) struct Part {
    weight: f64,
    /// Weight times the logarithm of the score, 0 or more.
    loss: f64,
    /// What the cap sees of it.
    seen: f64,
}

/// What each factor brings; `None` where it does not apply.
pub(super) type Parts = [Option<Part>; COUNT];

/// What one factor brings at a score.
pub(super) fn part(c: &Case<'_>, factor: usize, score: f64) -> Part {
    let def = &FACTORS[factor];
    let weight = (def.weight)(c);
    let loss =
        if score < 1.0 { -weight * libm::log(score.max(c.p.compose.score_floor)) } else { 0.0 };
    Part { weight, loss, seen: (def.cap_view)(c, score) }
}

/// What one factor brings to a case.
pub(super) fn part_of(c: &Case<'_>, factor: usize) -> Option<Part> {
    (FACTORS[factor].score)(c).map(|scored| part(c, factor, scored.score))
}

/// Composes the factors of a case.
pub(super) fn compose(c: &Case<'_>) -> Composition {
    let scored: [Option<Scored>; COUNT] = std::array::from_fn(|i| (FACTORS[i].score)(c));
    let parts: Parts = std::array::from_fn(|i| scored[i].as_ref().map(|s| part(c, i, s.score)));
    let Reckoned { total, limiting, mean, score } = reckon(c.p, &parts);
    let weights = parts.map(|part| part.map_or(0.0, |part| part.weight) / total);
    Composition { scored, weights, limiting, mean, score }
}

/// Mean under cap of what the factors bring.
pub(super) fn reckon(p: &Parameters, parts: &Parts) -> Reckoned {
    let loss_of = |i: usize| parts[i].map_or(0.0, |part| part.loss);
    let (mut total, mut loss) = (0.0, 0.0);
    let (mut limiting, mut dearest) = (0, 0);
    let mut worst = (f64::INFINITY, 0.0);
    for (i, part) in parts.iter().enumerate() {
        let Some(part) = part else { continue };
        total += part.weight;
        loss += part.loss;
        // Under the cap the factor that it sees lowest holds the score down, else the one that costs
        // the mean most.
        if part.seen < worst.0 || (part.seen <= worst.0 && part.loss > worst.1) {
            worst = (part.seen, part.loss);
            limiting = i;
        }
        if part.loss > loss_of(dearest) {
            dearest = i;
        }
    }
    let log_mean = -loss / total;
    let mean = libm::exp(log_mean);
    // The cap rises with what it sees, so the worst factor decides it.
    let cap = p.compose.cap.at(worst.0);
    // Under the cap the rest still counts, damped, so that two capped outfits can be told apart.
    let capped = cap * libm::exp(log_mean * p.compose.mean_share_of_cap);
    if mean < capped && loss_of(dearest) > 0.0 {
        limiting = dearest;
    }
    let score = (mean.min(capped) * NANO).round() / NANO;
    Reckoned { total, limiting, mean, score }
}

impl Composition {
    /// What each factor takes from a perfect score, in billionths; adds up exactly.
    ///
    /// The loss of the mean is split in proportion to w (-ln s); what the cap takes, and the
    /// remainder of the rounding, go to the limiting factor.
    pub(super) fn losses_nano(&self, floor: f64) -> [i64; COUNT] {
        let mut parts = [0.0; COUNT];
        let mut sum = 0.0;
        for (i, part) in parts.iter_mut().enumerate() {
            if let Some(s) = self.scored[i] {
                *part = -self.weights[i] * libm::log(s.score.max(floor));
                sum += *part;
            }
        }
        let total = ((1.0 - self.score) * NANO).round() as i64;
        let of_mean = 1.0 - self.mean;
        let mut losses = [0; COUNT];
        if sum > 0.0 {
            for (loss, part) in losses.iter_mut().zip(parts) {
                *loss = (of_mean * part / sum * NANO).floor() as i64;
            }
        }
        losses[self.limiting] += total - losses.iter().sum::<i64>();
        losses
    }
}

/// The score as if no limit were broken.
pub(super) fn score_without_limits(c: &Case<'_>) -> f64 {
    reckon(c.p, &std::array::from_fn(|i| part_of(c, i))).score
}

/// The verdict of a score.
pub(super) fn verdict(p: &Parameters, score: f64) -> Verdict {
    let p = &p.compose;
    if score >= p.excellent {
        Verdict::Excellent
    } else if score >= p.good {
        Verdict::Good
    } else if score >= p.workable {
        Verdict::Workable
    } else {
        Verdict::Poor
    }
}
