//! The judgement, in the order in which it is made:
//!
//! 1. [`resolve`](mod@resolve) turns what the caller says into a [`case`] with every value known;
//! 2. `factors` score it, `limits` hold it against what must not be;
//! 3. `compose` makes one score of them, `spread` its interval;
//! 4. `explain`, `settings`, `fixes` and `cautions` say why and what to do.

use crate::gear::{Finding, Lure, Outfit};
use crate::model::Model;
use crate::water::Water;

mod bare;
pub mod case;
mod cautions;
mod compare;
mod compose;
mod envelope;
mod explain;
mod factors;
mod fixes;
mod judgement;
mod limits;
mod rank;
pub mod resolve;
mod settings;
mod specify;
pub mod spread;
mod text;
mod work;

pub use bare::{Bare, Tied};
pub use compare::{Comparison, FactorDifference, compare};
pub use envelope::{End, Envelope, EnvelopeField, Span, envelope};
pub use judgement::*;
pub use rank::{Rank, Ranked, rank_lures, rank_outfits};
pub use settings::{has_snap, lure_knot, main_knot};
pub use specify::{
    Between, LureScore, MOST_LURES, Spec, Specification, Strength, rigging, specify,
};
pub use spread::Interval;

/// The short answer, for those who score millions.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Score {
    /// The answer in one word.
    pub verdict: Verdict,
    /// 0 to 1; 0 when a limit is broken.
    pub score: f64,
    /// The score as if no limit were broken.
    pub score_without_limits: f64,
    /// The factor that holds the score down.
    pub limiting_factor: FactorKind,
}

/// Judges one outfit with one lure in one water, with reasons.
#[must_use]
pub fn judge(model: &Model, outfit: &Outfit, lure: &Lure, water: &Water) -> Judgement {
    let resolved = resolve::resolve(model, outfit, lure, water);
    let composition = compose::compose(&resolved.case);
    let fixes = fixes::fixes(&resolved, outfit, lure, water);
    explain::judgement(&resolved, &composition, fixes)
}

/// The cautions of an outfit with a lure in given water, whatever the score: what can hurt people
/// first, then gear and fish.
#[must_use]
pub fn cautions(model: &Model, outfit: &Outfit, lure: &Lure, water: &Water) -> Vec<Caution> {
    cautions::at_hand(&resolve::resolve(model, outfit, lure, water))
}

/// Judges without interval and reasons.
#[must_use]
pub fn score(model: &Model, outfit: &Outfit, lure: &Lure, water: &Water) -> Score {
    let resolved = resolve::resolve(model, outfit, lure, water);
    let composition = compose::compose(&resolved.case);
    short(&resolved, &composition)
}

/// Judges with the interval and what is odd, without reasons: for batches.
#[must_use]
pub fn score_with_interval(
    model: &Model,
    outfit: &Outfit,
    lure: &Lure,
    water: &Water,
) -> (Score, Interval, Vec<Finding>) {
    let resolved = resolve::resolve(model, outfit, lure, water);
    let composition = compose::compose(&resolved.case);
    let score = short(&resolved, &composition);
    let interval = interval(&resolved, &score);
    (score, interval, resolved.findings)
}

fn interval(resolved: &case::Resolved<'_>, score: &Score) -> Interval {
    // A limit that only an assumption breaks stays out of the score; so it does out of its interval.
    let excused = score.verdict != Verdict::Unsafe && limits::any_broken(&resolved.case);
    spread::interval(&resolved.case, &resolved.spreads, score.score, |moved| {
        !excused && limits::any_broken(moved)
    })
}

fn short(resolved: &case::Resolved<'_>, composition: &compose::Composition) -> Score {
    let broken = limits::any_broken_for_sure(resolved);
    let score = if broken { 0.0 } else { composition.score };
    let verdict =
        if broken { Verdict::Unsafe } else { compose::verdict(resolved.case.p, composition.score) };
    Score {
        verdict,
        score,
        score_without_limits: composition.score,
        limiting_factor: factors::FACTORS[composition.limiting].kind,
    }
}
