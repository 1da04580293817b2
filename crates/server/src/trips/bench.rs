//! Rod and line on the bench, for one need: what leaders and reels are judged on one after the
//! other.

use deepbend_core::gear::{Leader, Lure, Outfit, Reel};
use deepbend_core::judge::{Bare, Score, Tied, Verdict};
use deepbend_core::model::Model;
use deepbend_core::quantity::Length;
use deepbend_core::water::{Skill, Water};
use deepbend_planner::problem::Hand;
use deepbend_planner::weights::{Micros, Weights};

use super::case::{Case, Weighed};
use super::offers::{best, no_leader};
use super::pool::Pool;

/// Kinds of leaders of a pool: those of one kind score the same, wherever they lie.
#[derive(Debug)]
pub(super) struct Leaders {
    /// The first is none at all.
    kinds: Vec<Leader>,
    /// By leader of the pool.
    of: Vec<usize>,
}

impl Leaders {
    pub(super) fn of(pool: &Pool<'_>) -> Self {
        let mut kinds = vec![no_leader()];
        let mut of = Vec::with_capacity(pool.leaders.len());
        for leader in pool.leaders.iter().map(|l| &l.leader) {
            of.push(kinds.iter().position(|kind| kind == leader).unwrap_or_else(|| {
                kinds.push(leader.clone());
                kinds.len() - 1
            }));
        }
        Self { kinds, of }
    }

    /// How many kinds there are, none at all among them.
    pub(super) fn count(&self) -> usize {
        self.kinds.len()
    }

    fn kind(&self, leader: Option<usize>) -> usize {
        leader.map_or(0, |l| self.of[l])
    }
}

/// A reel and the length of line on it, where that is known.
#[derive(Clone, Copy, Debug)]
pub(super) struct OnReel<'r> {
    pub(super) reel: &'r Reel,
    pub(super) length: Option<Length>,
}

/// Value, verdict and score over all wind directions, and what it is in other hands.
pub(super) type InHands = (Weighed, Vec<Hand>);

/// What the kinds of leaders do for a need.
#[derive(Debug)]
pub(super) struct Kinds(Vec<Option<InHands>>);

impl Kinds {
    /// What a leader of the pool does, or none at all.
    pub(super) fn with(&self, leaders: &Leaders, leader: Option<usize>) -> Option<&InHands> {
        self.0[leaders.kind(leader)].as_ref()
    }
}

/// Rod, line, lure and one water, with the leaders that were tied.
#[derive(Debug)]
struct Rack<'m> {
    bare: Bare<'m>,
    tied: Vec<Option<Tied>>,
}

impl<'m> Rack<'m> {
    fn new(model: &'m Model, outfit: &Outfit, lure: &Lure, water: &Water, kinds: usize) -> Self {
        Self { bare: Bare::new(model, outfit, lure, water), tied: vec![None; kinds] }
    }

    /// The same in the hands of somebody as practised as this.
    fn in_hands(&self, skill: Skill) -> Self {
        Self { bare: self.bare.in_hands(skill), tied: vec![None; self.tied.len()] }
    }

    /// `None`: the best that any reel can make of it.
    fn score(&mut self, leaders: &Leaders, kind: usize, on: Option<OnReel<'_>>) -> Score {
        let Self { bare, tied } = self;
        let tied = tied[kind].get_or_insert_with(|| bare.tie(&leaders.kinds[kind]));
        match on {
            Some(on) => bare.on(tied, on.reel, on.length),
            None => bare.at_most(Some(tied)),
        }
    }
}

/// Rod and line on the bench, for a need.
#[derive(Debug)]
pub(super) struct Bench<'b, 'm> {
    case: &'b Case<'b>,
    leaders: &'b Leaders,
    /// By hands of the case, then by water; those of other hands than the first are put up when
    /// they are asked for.
    hands: Vec<Vec<Rack<'m>>>,
    /// Whether any leader may be worth something, where that is known.
    any: Option<bool>,
    /// The same by kind of leader.
    serve: Vec<Option<bool>>,
}

impl<'b, 'm> Bench<'b, 'm> {
    /// Leader and reel of `outfit` do not count.
    pub(super) fn new(
        model: &'m Model,
        case: &'b Case<'b>,
        outfit: &'b Outfit,
        leaders: &'b Leaders,
    ) -> Self {
        let rack = |water: &Water| Rack::new(model, outfit, case.lure, water, leaders.kinds.len());
        let waters = case.waters().iter().map(|(water, _)| rack(water)).collect();
        let mut hands = vec![waters];
        hands.resize_with(case.all_waters().len(), Vec::new);
        let serve = vec![None; leaders.kinds.len()];
        Self { case, leaders, hands, any: None, serve }
    }

    /// Whether two reels cannot be told apart by what is judged.
    pub(super) fn is_alike(&self, one: OnReel<'_>, other: OnReel<'_>) -> bool {
        let bare = self.hands[0].first().map(|rack| &rack.bare);
        bare.is_some_and(|b| b.is_alike((one.reel, one.length), (other.reel, other.length)))
    }

    /// The score in the most frequent wind with each of some leaders.
    pub(super) fn with_each(&mut self, fitting: &[Option<usize>], on: OnReel<'_>) -> Vec<Score> {
        let Some(rack) = self.hands[0].first_mut() else { return Vec::new() };
        let mut known: Vec<Option<Score>> = vec![None; self.leaders.kinds.len()];
        let scores = fitting.iter().map(|leader| {
            let kind = self.leaders.kind(*leader);
            *known[kind].get_or_insert_with(|| rack.score(self.leaders, kind, Some(on)))
        });
        scores.collect()
    }

    /// The leader that suits best in the most frequent wind.
    pub(super) fn best_leader(
        &mut self,
        fitting: &[Option<usize>],
        on: OnReel<'_>,
    ) -> Option<Option<usize>> {
        let scores = self.with_each(fitting, on);
        best(fitting.iter().copied().zip(scores))
    }

    /// Value, verdict and score over all wind directions.
    pub(super) fn weigh(
        &mut self,
        weights: &Weights,
        leader: Option<usize>,
        on: OnReel<'_>,
    ) -> Weighed {
        self.weigh_all(weights, leader, on).0
    }

    /// The same, and what it is in other hands.
    pub(super) fn weigh_all(
        &mut self,
        weights: &Weights,
        leader: Option<usize>,
        on: OnReel<'_>,
    ) -> (Weighed, Vec<Hand>) {
        self.put_up();
        let kind = self.leaders.kind(leader);
        let (case, leaders) = (self.case, self.leaders);
        let score = |hands: usize, at: usize| self.hands[hands][at].score(leaders, kind, Some(on));
        case.weigh_by(weights, on.reel, score)
    }

    /// The same with each of some leaders that may be worth something; of those that are not, only
    /// the best.
    pub(super) fn weigh_each(
        &mut self,
        weights: &Weights,
        fitting: &[Option<usize>],
        on: OnReel<'_>,
    ) -> Kinds {
        let mut kinds = vec![None; self.leaders.kinds.len()];
        for leader in fitting {
            let kind = self.leaders.kind(*leader);
            if kinds[kind].is_none() && self.may_serve(weights, kind) {
                kinds[kind] = Some(self.weigh_all(weights, *leader, on));
            }
        }
        if kinds.iter().all(Option::is_none)
            && let Some(best) = self.best_leader(fitting, on)
        {
            kinds[self.leaders.kind(best)] = Some(self.weigh_all(weights, best, on));
        }
        Kinds(kinds)
    }

    /// Whether a kind of leader is worth something on any reel, in any hands.
    fn may_serve(&mut self, weights: &Weights, kind: usize) -> bool {
        if let Some(known) = self.serve[kind] {
            return known;
        }
        self.put_up();
        let (case, leaders) = (self.case, self.leaders);
        let hands = &mut self.hands;
        let mut any = |score: &mut dyn FnMut(&mut Rack<'_>) -> Score| {
            (0..hands.len()).any(|at| {
                let racks = &mut hands[at];
                case.weigh_in(weights, at, |water| score(&mut racks[water])).worth > 0
            })
        };
        let bare = *self.any.get_or_insert_with(|| any(&mut |rack| rack.bare.at_most(None)));
        let may = bare && any(&mut |rack| rack.score(leaders, kind, None));
        self.serve[kind] = Some(may);
        may
    }

    /// Puts up what is judged in other hands than the first.
    fn put_up(&mut self) {
        for at in 1..self.hands.len() {
            if self.hands[at].is_empty() {
                let skill = self.case.all_waters()[at].first().and_then(|(water, _)| water.skill);
                let Some(skill) = skill else { continue };
                self.hands[at] = self.hands[0].iter().map(|rack| rack.in_hands(skill)).collect();
            }
        }
    }

    /// What no reel and none of some leaders make it worth more than in any hands, and the verdict
    /// that none is better than; `known` where that is more already.
    pub(super) fn at_most(
        &mut self,
        weights: &Weights,
        fitting: &[Option<usize>],
        known: (Micros, Verdict),
    ) -> (Micros, Verdict) {
        self.put_up();
        (0..self.hands.len())
            .fold(known, |known, hands| self.at_most_in(weights, hands, fitting, known))
    }

    fn at_most_in(
        &mut self,
        weights: &Weights,
        hands: usize,
        fitting: &[Option<usize>],
        known: (Micros, Verdict),
    ) -> (Micros, Verdict) {
        let better = |(worth, verdict): (Micros, Verdict), most: Weighed| {
            (most.worth.max(worth), most.verdict.min(verdict))
        };
        let (case, leaders) = (self.case, self.leaders);
        let racks = &mut self.hands[hands];
        let bare = case.weigh_in(weights, hands, |at| racks[at].bare.at_most(None));
        let most = better(known, bare);
        let mut now = known;
        let mut kinds: Vec<usize> = fitting.iter().map(|l| leaders.kind(*l)).collect();
        kinds.sort_unstable();
        kinds.dedup();
        for kind in kinds {
            if now == most {
                break;
            }
            let tied = case.weigh_in(weights, hands, |at| racks[at].score(leaders, kind, None));
            now = better(now, tied);
        }
        now
    }
}
