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
struct Reckoned {
    weights: [f64; COUNT],
    limiting: usize,
    mean: f64,
    score: f64,
}

/// Composes the factors of a case.
pub(super) fn compose(c: &Case<'_>) -> Composition {
    let scored: [Option<Scored>; COUNT] = std::array::from_fn(|i| (FACTORS[i].score)(c));
    let Reckoned { weights, limiting, mean, score } =
        reckon(c, |i| scored[i].as_ref().map(|s| s.score));
    Composition { scored, weights, limiting, mean, score }
}

fn reckon(c: &Case<'_>, score_of: impl Fn(usize) -> Option<f64>) -> Reckoned {
    let floor = c.p.compose.score_floor;
    let mut weights = [0.0; COUNT];
    let mut losses = [0.0; COUNT];
    let (mut total, mut loss) = (0.0, 0.0);
    let (mut limiting, mut dearest) = (0, 0);
    let mut worst = (f64::INFINITY, 0.0);
    for (i, factor) in FACTORS.iter().enumerate() {
        let Some(score) = score_of(i) else { continue };
        weights[i] = (factor.weight)(c);
        total += weights[i];
        if score < 1.0 {
            losses[i] = -weights[i] * libm::log(score.max(floor));
            loss += losses[i];
        }
        // Under the cap the factor that it sees lowest holds the score down, else the one that costs
        // the mean most.
        let seen = (factor.cap_view)(c, score);
        if seen < worst.0 || (seen <= worst.0 && losses[i] > worst.1) {
            worst = (seen, losses[i]);
            limiting = i;
        }
        if losses[i] > losses[dearest] {
            dearest = i;
        }
    }
    for weight in &mut weights {
        *weight /= total;
    }
    let log_mean = -loss / total;
    let mean = libm::exp(log_mean);
    // The cap rises with what it sees, so the worst factor decides it.
    let cap = c.p.compose.cap.at(worst.0);
    // Under the cap the rest still counts, damped, so that two capped outfits can be told apart.
    let capped = cap * libm::exp(log_mean * c.p.compose.mean_share_of_cap);
    if mean < capped && losses[dearest] > 0.0 {
        limiting = dearest;
    }
    let score = (mean.min(capped) * NANO).round() / NANO;
    Reckoned { weights, limiting, mean, score }
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
    reckon(c, |i| (FACTORS[i].score)(c).map(|s| s.score)).score
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
