//! Many outfits for one lure, or many lures for one outfit.

use super::{Judgement, judge};
use crate::gear::{Lure, Outfit};
use crate::model::Model;
use crate::water::Water;

/// One place in a ranking.
#[derive(Clone, Debug, PartialEq)]
pub struct Ranked {
    /// Index into the list that was given.
    pub index: usize,
    /// 1 for the best; those that tie with the place above share its number.
    pub place: usize,
    /// Whether it ties with a neighbour.
    pub tied: bool,
    /// Its judgement.
    pub judgement: Judgement,
    /// Why it is not the first choice; empty for the first and for those that tie with it.
    pub why_not: String,
}

/// A ranking, best first.
#[derive(Clone, Debug, PartialEq)]
pub struct Rank {
    /// Places, best first.
    pub places: Vec<Ranked>,
    /// Scores nearer than this are ties.
    pub tie: f64,
}

/// Ranks outfits for one lure.
#[must_use]
pub fn rank_outfits(model: &Model, outfits: &[Outfit], lure: &Lure, water: &Water) -> Rank {
    rank(model, outfits.iter().map(|outfit| judge(model, outfit, lure, water)).collect())
}

/// Ranks lures for one outfit.
#[must_use]
pub fn rank_lures(model: &Model, outfit: &Outfit, lures: &[Lure], water: &Water) -> Rank {
    rank(model, lures.iter().map(|lure| judge(model, outfit, lure, water)).collect())
}

fn rank(model: &Model, judgements: Vec<Judgement>) -> Rank {
    let tie = model.parameters().compose.tie;
    let mut order: Vec<(usize, Judgement)> = judgements.into_iter().enumerate().collect();
    // Below every outfit without a broken limit stand those with one; equal scores keep their order.
    order.sort_by(|(i, a), (j, b)| {
        let key = |j: &Judgement| (j.score, j.score_without_limits);
        let (a, b) = (key(a), key(b));
        b.0.total_cmp(&a.0).then(b.1.total_cmp(&a.1)).then(i.cmp(j))
    });
    let ties = |a: &Judgement, b: &Judgement| a.score > 0.0 && (a.score - b.score).abs() < tie;
    let mut places: Vec<Ranked> = Vec::with_capacity(order.len());
    for (index, judgement) in order {
        let with_above = places.last().is_some_and(|above| ties(&above.judgement, &judgement));
        let place = match places.last() {
            Some(above) if with_above => above.place,
            _ => places.len() + 1,
        };
        if with_above && let Some(above) = places.last_mut() {
            above.tied = true;
        }
        let why_not = if place == 1 { String::new() } else { judgement.summary.clone() };
        places.push(Ranked { index, place, tied: with_above, judgement, why_not });
    }
    Rank { places, tie }
}
