//! A lure in a part of the day, and in whose hands an outfit is judged for it.

use deepbend_core::gear::{Handle, Lure, Outfit, Reel, RetrieveSide};
use deepbend_core::judge::{FactorKind, Score, Verdict, score};
use deepbend_core::model::Model;
use deepbend_core::quantity::Speed;
use deepbend_core::water::{Skill, Water, WindDirection};
use deepbend_planner::hands::judged_for;
use deepbend_planner::problem::{Hand, Need};
use deepbend_planner::weights::{Micros, Weights};

use super::ask::Asked;
use super::pool::Pool;

/// A wind direction with a smaller share does not decide the verdict. From the demo's rules.
const DECIDING_SHARE: f64 = 0.3;

/// The water by wind direction, with the share of each, the largest share first.
type Waters = Vec<(Water, f64)>;

/// A lure in a part of the day, ready to be judged.
#[derive(Clone, Debug)]
pub(super) struct Case<'a> {
    pub(super) lure: &'a Lure,
    need: &'a Need,
    /// Who fishes: the skill, and the side on which the crank has to be.
    crew: Vec<(Skill, Option<RetrieveSide>)>,
    /// The water for each skill of the crew; the first is that of the least practised of as many as
    /// fish with the lure at once.
    hands: Vec<Waters>,
}

/// How an outfit suits a need.
#[derive(Clone, Copy, Debug)]
pub(super) struct Weighed {
    pub(super) verdict: Verdict,
    pub(super) worth: Micros,
    pub(super) score: f64,
    pub(super) limiting: FactorKind,
    /// In whose hands.
    pub(super) skill: Option<Skill>,
}

/// The needs as cases, in their order.
pub(super) fn cases<'a>(asked: &'a Asked, pool: &Pool<'a>) -> Vec<Case<'a>> {
    let trip = &asked.trip;
    let of_need = |need: &'a Need| {
        let part = trip.parts.iter().find(|part| part.id == need.segment)?;
        let lure = *pool.lures.get(&need.lure)?;
        let fishes = |id: &String| part.anglers.is_empty() || part.anglers.contains(id);
        let fishing = trip.anglers.iter().filter(|angler| fishes(&angler.id));
        let crew: Vec<_> =
            fishing.map(|angler| (angler.skill, trip.sides.get(&angler.id).copied())).collect();
        let mut skills: Vec<Skill> = crew.iter().map(|(skill, _)| *skill).collect();
        skills.sort_unstable_by(|a, b| b.cmp(a));
        let last = skills.len().min(need.copies_at_once as usize).saturating_sub(1);
        let first = skills.get(last).copied();
        skills.dedup();
        let others = skills.into_iter().map(Some).filter(|skill| *skill != first);
        let hands = std::iter::once(first).chain(others).map(|skill| {
            let water = |direction: Option<WindDirection>| {
                let wind_direction = direction.or(part.water.wind_direction);
                Water { wind_direction, skill, ..part.water.clone() }
            };
            let mut waters: Waters =
                part.winds.iter().map(|(direction, share)| (water(*direction), *share)).collect();
            waters.sort_by(|a, b| b.1.total_cmp(&a.1));
            waters
        });
        Some(Case { lure, need, crew, hands: hands.collect() })
    };
    trip.needs.iter().filter_map(of_need).collect()
}

/// Whether somebody who wants the crank on one side fishes with a reel.
pub(super) fn is_cranked(reel: &Reel, wanted: Option<RetrieveSide>) -> bool {
    use RetrieveSide::{Left, Right};
    // Who fishes with fixed-spool reels puts the crank where it belongs.
    let side = reel.retrieve_side.filter(|_| reel.kind == Some(Handle::Casting));
    !matches!((side, wanted), (Some(Left), Some(Right)) | (Some(Right), Some(Left)))
}

impl Case<'_> {
    /// The water in the first hands.
    pub(super) fn waters(&self) -> &[(Water, f64)] {
        &self.hands[0]
    }

    /// The water in each of the hands.
    pub(super) fn all_waters(&self) -> &[Waters] {
        &self.hands
    }

    /// The same in another wind.
    pub(super) fn in_wind(&self, wind: impl Fn(f64) -> f64) -> Self {
        let mut case = self.clone();
        for (water, _) in case.hands.iter_mut().flatten() {
            let now = water.wind_speed.map_or(0.0, Speed::m_s);
            water.wind_speed = Some(Speed::from_m_s(wind(now)));
        }
        case
    }

    fn skill(&self, hands: usize) -> Option<Skill> {
        self.hands[hands].first().and_then(|(water, _)| water.skill)
    }

    /// The least practised of the crew, where it is of several skills.
    pub(super) fn least_practised(&self) -> Option<Skill> {
        let skills = (0..self.hands.len()).filter(|_| self.hands.len() > 1);
        skills.filter_map(|hands| self.skill(hands)).min()
    }

    /// Whether somebody who fishes here can crank a reel.
    pub(super) fn is_cranked(&self, reel: &Reel) -> bool {
        self.crew.is_empty() || self.crew.iter().any(|(_, side)| is_cranked(reel, *side))
    }

    /// The water that decides the verdict of an outfit, in the hands in which it counts.
    pub(super) fn deciding(&self, model: &Model, weights: &Weights, outfit: &Outfit) -> &Water {
        let skill = match self.hands.len() {
            1 => self.skill(0),
            _ => self.weigh(model, weights, outfit).skill,
        };
        self.deciding_for(model, outfit, skill)
    }

    /// The same in the hands of somebody as practised as this.
    pub(super) fn deciding_for(
        &self,
        model: &Model,
        outfit: &Outfit,
        skill: Option<Skill>,
    ) -> &Water {
        let hands = (0..self.hands.len()).find(|at| self.skill(*at) == skill).unwrap_or(0);
        let least = self.least_share();
        let mut worst: Option<(Verdict, f64, usize)> = None;
        for (at, (water, share)) in self.hands[hands].iter().enumerate() {
            if *share < least || *share <= 0.0 {
                continue;
            }
            let Score { verdict, score, .. } = score(model, outfit, self.lure, water);
            if worst.is_none_or(|(v, s, _)| verdict > v || (verdict == v && score < s)) {
                worst = Some((verdict, score, at));
            }
        }
        &self.hands[hands][worst.map_or(0, |(.., at)| at)].0
    }

    fn least_share(&self) -> f64 {
        let most = self.waters().first().map_or(0.0, |(_, share)| *share);
        most.min(DECIDING_SHARE)
    }

    /// Value, verdict and score over all wind directions.
    pub(super) fn weigh(&self, model: &Model, weights: &Weights, outfit: &Outfit) -> Weighed {
        self.weigh_all(model, weights, outfit).0
    }

    /// The same, and what it is in other hands.
    pub(super) fn weigh_all(
        &self,
        model: &Model,
        weights: &Weights,
        outfit: &Outfit,
    ) -> (Weighed, Vec<Hand>) {
        self.weigh_by(weights, &outfit.reel, |hands, at| {
            score(model, outfit, self.lure, &self.hands[hands][at].0)
        })
    }

    /// The same by the score in each of the hands and each water.
    pub(super) fn weigh_by(
        &self,
        weights: &Weights,
        reel: &Reel,
        mut score: impl FnMut(usize, usize) -> Score,
    ) -> (Weighed, Vec<Hand>) {
        if self.hands.len() == 1 {
            return (self.weigh_in(weights, 0, |at| score(0, at)), Vec::new());
        }
        let all: Vec<Weighed> = (0..self.hands.len())
            .map(|hands| self.weigh_in(weights, hands, |at| score(hands, at)))
            .collect();
        let of = |skill: Skill| all.iter().find(|one| one.skill == Some(skill)).unwrap_or(&all[0]);
        let crew: Vec<_> =
            self.crew.iter().map(|(skill, side)| (*skill, is_cranked(reel, *side))).collect();
        let rank = |skill: Skill| {
            let Weighed { verdict, worth, score, .. } = of(skill);
            // Bits of scores, which are never negative, are in the order of the scores.
            (self.need.met_by(*verdict), *worth, std::cmp::Reverse(*verdict), score.to_bits())
        };
        let judged = judged_for(&crew, self.need.copies_at_once, rank).map_or(&all[0], of);
        let others = all.iter().filter(|one| one.skill != judged.skill);
        let hand = |one: &Weighed| {
            Some(Hand { skill: one.skill?, verdict: one.verdict, score: one.score })
        };
        (*judged, others.filter_map(hand).collect())
    }

    /// The same in one pair of hands by the score in each water.
    pub(super) fn weigh_in(
        &self,
        weights: &Weights,
        hands: usize,
        mut score: impl FnMut(usize) -> Score,
    ) -> Weighed {
        let least = self.least_share();
        let waters = &self.hands[hands];
        let mut parts = Vec::with_capacity(waters.len());
        let mut weighed = Weighed {
            verdict: Verdict::Excellent,
            worth: 0,
            score: 0.0,
            limiting: FactorKind::Load,
            skill: self.skill(hands),
        };
        let mut lowest = f64::INFINITY;
        let (mut sum, mut shares) = (0.0, 0.0);
        for (at, (_, share)) in waters.iter().enumerate() {
            let judged = score(at);
            parts.push((*share, judged.verdict));
            sum += share * judged.score;
            shares += share;
            // A broken limit counts however seldom the wind blows so.
            if *share >= least || judged.verdict == Verdict::Unsafe {
                weighed.verdict = weighed.verdict.max(judged.verdict);
                if judged.score < lowest {
                    lowest = judged.score;
                    weighed.limiting = judged.limiting_factor;
                }
            }
        }
        let useful = weighed.verdict <= Verdict::Workable;
        weighed.worth = if useful { weights.mean(&parts) } else { 0 };
        weighed.score = (sum / shares).clamp(0.0, 1.0);
        weighed
    }
}
