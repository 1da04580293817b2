//! Rod, line, lure and water judged once, then one leader and one reel after the other: what these
//! do not touch is not reckoned again.

use super::Score;
use super::case::Resolved;
use super::compose::{self, Parts};
use super::factors::{Asks, FACTORS};
use super::judgement::{FactorKind, Verdict};
use super::limits;
use super::resolve::{reel_facts, tie, without_leader};
use crate::gear::{Leader, LeaderMaterial, Lure, Outfit, Reel};
use crate::model::Model;
use crate::quantity::{Force, Length};
use crate::water::{Skill, Water};

/// An outfit that lacks leader and reel, with a lure in given water.
#[derive(Clone, Debug)]
pub struct Bare<'m> {
    resolved: Resolved<'m>,
    drag: Option<Force>,
    /// How many assumptions and spreads stand without a leader.
    noted: (usize, usize),
    parts: Parts,
}

/// The same with a leader: it lacks the reel.
#[derive(Clone, Copy, Debug)]
pub struct Tied {
    material: LeaderMaterial,
    kgf: f64,
    mm: f64,
    drag_kgf: f64,
    parts: Parts,
    /// Whether a limit is broken; no limit asks about the reel.
    broken: bool,
}

impl<'m> Bare<'m> {
    /// Judges what hangs on neither leader nor reel; those of `outfit` do not count, but for the
    /// kind of the reel where that of the rod is not known.
    #[must_use]
    pub fn new(model: &'m Model, outfit: &Outfit, lure: &Lure, water: &Water) -> Self {
        let resolved = without_leader(model, outfit, lure, water);
        let parts = parts(&resolved, Asks::Nothing, &[None; FACTORS.len()]);
        let noted = (resolved.assumptions.len(), resolved.spreads.all.len());
        Self { resolved, drag: outfit.drag, noted, parts }
    }

    /// The same for somebody as practised as this: what does not ask who fishes is not reckoned
    /// again. Of the water the skill was given.
    #[must_use]
    pub fn in_hands(&self, skill: Skill) -> Self {
        let mut other = self.clone();
        other.resolved.case.skill = skill;
        for (i, factor) in FACTORS.iter().enumerate() {
            if matches!(factor.kind, FactorKind::Load | FactorKind::Skill) {
                other.parts[i] = compose::part_of(&other.resolved.case, i);
            }
        }
        other
    }

    /// Judges what hangs on the leader.
    pub fn tie(&mut self, leader: &Leader) -> Tied {
        tie(&mut self.resolved, leader, self.drag);
        let case = &self.resolved.case;
        let tied = Tied {
            material: case.leader,
            kgf: case.leader_kgf,
            mm: case.leader_mm,
            drag_kgf: case.drag_kgf,
            parts: parts(&self.resolved, Asks::Leader, &self.parts),
            broken: limits::any_broken_for_sure(&self.resolved),
        };
        self.resolved.assumptions.truncate(self.noted.0);
        self.resolved.spreads.all.truncate(self.noted.1);
        tied
    }

    /// The score on a reel that carries a line of a length: that of
    /// [`score`](super::score), to the last digit.
    pub fn on(&mut self, tied: &Tied, reel: &Reel, line: Option<Length>) -> Score {
        let case = &mut self.resolved.case;
        (case.leader, case.leader_kgf, case.leader_mm) = (tied.material, tied.kgf, tied.mm);
        case.drag_kgf = tied.drag_kgf;
        case.reel = reel_facts(reel, line, case.line_mm);
        let parts = parts(&self.resolved, Asks::Reel, &tied.parts);
        self.short(tied.broken, &parts)
    }

    /// Whether two reels with their lengths of line score the same, whatever the leader.
    #[must_use]
    pub fn is_alike(&self, one: (&Reel, Option<Length>), other: (&Reel, Option<Length>)) -> bool {
        let facts = |(reel, line)| reel_facts(reel, line, self.resolved.case.line_mm);
        facts(one) == facts(other)
    }

    /// No reel makes the score with a leader better than this; without one, no leader and no reel.
    #[must_use]
    pub fn at_most(&self, tied: Option<&Tied>) -> Score {
        let known = tied.map_or(&self.parts, |tied| &tied.parts);
        let perfect = |i| Some(compose::part(&self.resolved.case, i, 1.0));
        let parts = std::array::from_fn(|i| match (FACTORS[i].asks, tied) {
            (Asks::Reel, _) | (Asks::Leader, None) => perfect(i),
            (Asks::Nothing, _) | (Asks::Leader, Some(_)) => known[i],
        });
        self.short(tied.is_some_and(|tied| tied.broken), &parts)
    }

    fn short(&self, broken: bool, parts: &Parts) -> Score {
        let p = self.resolved.case.p;
        let reckoned = compose::reckon(p, parts);
        Score {
            verdict: if broken { Verdict::Unsafe } else { compose::verdict(p, reckoned.score) },
            score: if broken { 0.0 } else { reckoned.score },
            score_without_limits: reckoned.score,
            limiting_factor: FACTORS[reckoned.limiting].kind,
        }
    }
}

/// What the factors that ask about `asks` bring, and what is known of the others.
fn parts(r: &Resolved<'_>, asks: Asks, known: &Parts) -> Parts {
    std::array::from_fn(|i| match FACTORS[i].asks == asks {
        true => compose::part_of(&r.case, i),
        false => known[i],
    })
}
