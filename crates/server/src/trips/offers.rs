//! Every outfit that can be put together from the pool, judged for every need.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicUsize, Ordering};

use deepbend_contract::pb;
use deepbend_core::gear::{
    GuideCondition, Handle, Leader, LeaderMaterial, LineMaterial, Lure, Outfit, Reel, RetrieveSide,
    Rod,
};
use deepbend_core::judge::{FactorKind, Score, Verdict, score};
use deepbend_core::model::Model;
use deepbend_core::water::{Skill, Water, WindDirection};
use deepbend_planner::problem::{Candidate, Offer};
use deepbend_planner::weights::{Micros, Weights};
use tokio::time::Instant;

use super::ask::Asked;
use super::gauge::{Gauge, Stopped};
use super::lines::{FITTED, Spooled, stands_in};
use super::pool::{Pool, PoolLeader, PoolReel, PoolRod};

/// A wind direction with a smaller share does not decide the verdict. From the demo's rules.
const DECIDING_SHARE: f64 = 0.3;

/// How many times stronger than the line a leader may be. From memory: beyond that no knot between
/// the two holds, and a light lure no longer flies.
const LEADER_OVER_LINE: f64 = 4.0;

/// A lure in a part of the day, ready to be judged.
#[derive(Clone, Debug)]
pub(super) struct Case<'a> {
    pub(super) lure: &'a Lure,
    /// The water by wind direction, with the share of each, the largest share first.
    pub(super) waters: Vec<(Water, f64)>,
    /// The same water at the skill of those who are less practised than the middle of the crew.
    pub(super) skills: Vec<(&'a str, Skill)>,
}

impl Case<'_> {
    /// The water that decides the verdict of an outfit.
    pub(super) fn deciding(&self, model: &Model, outfit: &Outfit) -> &Water {
        let least = self.least_share();
        let mut worst: Option<(Verdict, f64, &Water)> = None;
        for (water, share) in self.waters.iter().filter(|(_, share)| *share >= least) {
            let Score { verdict, score, .. } = score(model, outfit, self.lure, water);
            let worse = worst.is_none_or(|(v, s, _)| verdict > v || (verdict == v && score < s));
            if worse && *share > 0.0 {
                worst = Some((verdict, score, water));
            }
        }
        worst.map_or(&self.waters[0].0, |(_, _, water)| water)
    }

    fn least_share(&self) -> f64 {
        let most = self.waters.first().map_or(0.0, |(_, share)| *share);
        most.min(DECIDING_SHARE)
    }

    /// Value, verdict and score over all wind directions.
    pub(super) fn weigh(&self, model: &Model, weights: &Weights, outfit: &Outfit) -> Weighed {
        let least = self.least_share();
        let mut parts = Vec::with_capacity(self.waters.len());
        let mut weighed = Weighed {
            verdict: Verdict::Excellent,
            worth: 0,
            score: 0.0,
            limiting: FactorKind::Load,
        };
        let mut lowest = f64::INFINITY;
        let (mut sum, mut shares) = (0.0, 0.0);
        for (water, share) in &self.waters {
            let judged = score(model, outfit, self.lure, water);
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

/// How an outfit suits a need.
#[derive(Clone, Copy, Debug)]
pub(super) struct Weighed {
    pub(super) verdict: Verdict,
    pub(super) worth: Micros,
    pub(super) score: f64,
    pub(super) limiting: FactorKind,
}

/// The needs as cases, in their order. The skill that counts is the middle one of those who fish.
pub(super) fn cases<'a>(asked: &'a Asked, pool: &Pool<'a>) -> Vec<Case<'a>> {
    asked
        .trip
        .needs
        .iter()
        .filter_map(|need| {
            let part = asked.trip.parts.iter().find(|part| part.id == need.segment)?;
            let lure = *pool.lures.get(&need.lure)?;
            let fishing =
                |id: &str| part.anglers.is_empty() || part.anglers.iter().any(|a| a == id);
            let mut crew: Vec<_> =
                asked.trip.anglers.iter().filter(|a| fishing(&a.id)).map(|a| a.skill).collect();
            crew.sort_unstable();
            let middle = crew.get(crew.len().saturating_sub(1) / 2).copied();
            let water = |direction: Option<WindDirection>| {
                let wind_direction = direction.or(part.water.wind_direction);
                Water { wind_direction, skill: middle, ..part.water.clone() }
            };
            let mut waters: Vec<_> =
                part.winds.iter().map(|(direction, share)| (water(*direction), *share)).collect();
            waters.sort_by(|a, b| b.1.total_cmp(&a.1));
            let skills = asked
                .trip
                .anglers
                .iter()
                .filter(|a| part.anglers.contains(&a.id) && Some(a.skill) < middle)
                .map(|a| (a.id.as_str(), a.skill))
                .collect();
            Some(Case { lure, waters, skills })
        })
        .collect()
}

/// The outfit without a leader; the drag is left to the judge, which sets it as it recommends.
pub(super) fn outfit(rod: &Rod, reel: &Reel, line: &Spooled) -> Outfit {
    Outfit {
        rod: rod.clone(),
        reel: reel.clone(),
        line: line.line.clone(),
        leader: no_leader(),
        drag: None,
    }
}

/// The main line is tied to the lure.
pub(super) fn no_leader() -> Leader {
    Leader { material: Some(LeaderMaterial::None), ..Leader::default() }
}

/// Braid saws into plated rings: such an outfit is not put together.
pub(super) fn rings_allow(rod: &Rod, line: &Spooled) -> bool {
    let braid = line.line.material.is_none_or(|material| material == LineMaterial::Braid);
    !(braid && rod.guides == Some(GuideCondition::Plated))
}

/// Judges what can be put together.
#[derive(Debug)]
pub(super) struct Judge<'a, 'v> {
    pub(super) model: &'a Model,
    pub(super) weights: &'a Weights,
    pub(super) asked: &'a Asked,
    pub(super) pool: &'a Pool<'v>,
    pub(super) cases: &'a [Case<'a>],
}

/// A rod that is to be judged with the reels of the boat, or with all others.
struct Task<'p, 'v> {
    at: usize,
    rod: &'p PoolRod<'v>,
    own_reels: bool,
}

/// Positions of rods and reels, with what can be put together of them.
type Judged = Vec<(usize, usize, Vec<Candidate>)>;

/// A leader and what it does for one need; `None`: no leader.
type Tried = (Option<usize>, Score);

impl Judge<'_, '_> {
    /// All candidates, also of items that are not ready: the planner takes none of them, and says
    /// what they would have done. `gauge` is asked between pairs of rod and reel, and told of each
    /// rod. From `enough` on nothing more is begun; then some are left out, and the second part
    /// says that it is not all.
    ///
    /// # Errors
    /// [`Stopped`] as soon as `gauge` says so.
    pub(super) fn candidates(
        &self,
        gauge: &Gauge,
        enough: Option<Instant>,
    ) -> Result<(Vec<Candidate>, bool), Stopped> {
        // What lies on the boat is put together first, then the rest of the rods and of the reels.
        let is_own = |place: &String| *place == self.pool.boat.place;
        let mut tasks: Vec<Task<'_, '_>> = Vec::new();
        for (at, rod) in self.pool.rods.iter().enumerate() {
            tasks.extend([true, false].map(|own_reels| Task { at, rod, own_reels }));
        }
        tasks.sort_by_key(|t| (!t.rod.ready, !t.own_reels, !is_own(&t.rod.place)));
        let cores = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
        let next = AtomicUsize::new(0);
        // Each takes the next task; what is judged does not depend on who judges it.
        let work = || -> Result<Vec<Judged>, Stopped> {
            let mut judged = Vec::new();
            loop {
                let is_enough = || enough.is_some_and(|enough| Instant::now() >= enough);
                if !judged.is_empty() && is_enough() {
                    return Ok(judged);
                }
                let at = next.fetch_add(1, Ordering::Relaxed);
                let Some(task) = tasks.get(at) else { return Ok(judged) };
                judged.push(self.of_task(task, gauge)?);
            }
        };
        let mut all = Vec::with_capacity(tasks.len());
        std::thread::scope(|scope| -> Result<(), Stopped> {
            let others: Vec<_> = (1..cores.min(tasks.len())).map(|_| scope.spawn(work)).collect();
            all.extend(work()?);
            for other in others {
                let judged = other.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic));
                all.extend(judged?);
            }
            Ok(())
        })?;
        let is_whole = all.len() == tasks.len();
        let mut pairs: Vec<_> = all.into_iter().flatten().collect();
        pairs.sort_unstable_by_key(|(rod, reel, _)| (*rod, *reel));
        Ok((pairs.into_iter().flat_map(|(.., candidates)| candidates).collect(), is_whole))
    }

    fn of_task(&self, task: &Task<'_, '_>, gauge: &Gauge) -> Result<Judged, Stopped> {
        let mut judged = Vec::new();
        for (at, reel) in self.pool.reels.iter().enumerate() {
            let own = reel.place == self.pool.boat.place;
            // Pins are the planner's to keep: it names those that clash.
            let may = task.rod.handle == reel.kind && self.suits_somebody(reel);
            if own == task.own_reels && may {
                gauge.go_on()?;
                judged.push((task.at, at, self.of_pair(task.rod, reel)));
            }
        }
        if !task.own_reels {
            gauge.step(pb::PlanStage::Judging);
        }
        Ok(judged)
    }

    /// Whether kind and pins let the reel go on the rod.
    pub(super) fn may_pair(&self, rod: &PoolRod<'_>, reel: &PoolReel<'_>) -> bool {
        let pinned = self.asked.pins.pairs.iter().all(|(r, e)| {
            (rod.item.id.as_str() == r.as_str()) == (reel.item.id.as_str() == e.as_str())
        });
        rod.handle == reel.kind && pinned && self.suits_somebody(reel)
    }

    /// Candidates of a rod and a reel: one for each line. What else cannot matter the planner
    /// prunes.
    fn of_pair(&self, rod: &PoolRod<'_>, reel: &PoolReel<'_>) -> Vec<Candidate> {
        let usable = reel.lines.iter().filter(|line| rings_allow(rod.rod, line));
        let (due, mut lines): (Vec<&Spooled>, Vec<_>) = usable.partition(|line| line.due);
        // A line that is due comes off, if there is one to go on in its place.
        let stays = |old: &&Spooled| !lines.iter().any(|new| stands_in(&new.line, &old.line));
        let stays: Vec<_> = due.into_iter().filter(stays).collect();
        lines.extend(stays);
        if !(rod.ready && reel.ready) {
            // No plan takes it: one line, the one on the reel if it may stay, says what it would
            // do.
            lines.drain(..lines.len().saturating_sub(1));
        }
        // The same line from a stock does the same, and is work.
        let fitted = lines.iter().find(|line| line.option.id == FITTED).map(|line| &line.line);
        let again = |line: &Spooled| line.option.id != FITTED && fitted == Some(&line.line);
        let lines = lines.iter().filter(|line| !again(line));
        lines.map(|line| self.candidate(rod, reel, line)).collect()
    }

    /// An outfit with the leader that suits it best for a need, which is left on it.
    pub(super) fn with_best_leader(
        &self,
        case: &Case<'_>,
        outfit: &mut Outfit,
    ) -> (Option<usize>, Weighed) {
        let (leader, _) = best(&self.leaders_for(case, outfit));
        outfit.leader = self.leader(leader);
        (leader, case.weigh(self.model, self.weights, outfit))
    }

    fn leader(&self, leader: Option<usize>) -> Leader {
        leader.map_or_else(no_leader, |l| self.pool.leaders[l].leader.clone())
    }

    /// Every leader of the pool that can be knotted to the line, and none, in the most frequent
    /// wind.
    fn leaders_for(&self, case: &Case<'_>, outfit: &mut Outfit) -> Vec<Tried> {
        let stocked = self.pool.leaders.iter().enumerate();
        let most = outfit.line.test.map_or(f64::INFINITY, |t| t.kgf() * LEADER_OVER_LINE);
        let fits = |l: &PoolLeader| {
            l.stock.quantity > 0 && l.leader.test.is_none_or(|test| test.kgf() <= most)
        };
        let choices = stocked.filter(|(_, l)| fits(l)).map(|(i, _)| Some(i));
        let mut tried: Vec<Tried> = Vec::new();
        for choice in std::iter::once(None).chain(choices) {
            // Leaders of one kind that lie at two places score the same.
            let leader = |l: usize| &self.pool.leaders[l].leader;
            let same = |(other, _): &&Tried| choice.map(leader) == other.map(leader);
            let score = tried.iter().find(same).map(|(_, known)| *known).unwrap_or_else(|| {
                outfit.leader = self.leader(choice);
                score(self.model, outfit, case.lure, &case.waters[0].0)
            });
            tried.push((choice, score));
        }
        tried
    }

    fn candidate(&self, rod: &PoolRod<'_>, reel: &PoolReel<'_>, line: &Spooled) -> Candidate {
        let mut outfit = outfit(rod.rod, reel.reel, line);
        let tried: Vec<_> =
            self.cases.iter().map(|case| self.leaders_for(case, &mut outfit)).collect();
        let chosen = self.few_leaders(&tried);
        let mut offers = Vec::with_capacity(self.cases.len());
        for (need, case) in self.cases.iter().enumerate() {
            for &leader in &chosen[need] {
                outfit.leader = self.leader(leader);
                let weighed = case.weigh(self.model, self.weights, &outfit);
                offers.push(Offer {
                    need,
                    leader: leader.map(|l| self.pool.leaders[l].stock.id.clone()),
                    verdict: weighed.verdict,
                    worth: weighed.worth,
                    score: weighed.score,
                    limiting: limiting_words(weighed).to_owned(),
                });
            }
        }
        let mut not_for = self.not_for(&mut outfit, &offers);
        not_for.extend(self.wrong_side(reel).map(ToOwned::to_owned));
        not_for.sort_unstable();
        not_for.dedup();
        Candidate {
            rod: rod.item.id.to_string(),
            reel: reel.item.id.to_string(),
            line: line.option.id.clone(),
            not_for,
            habit: reel.last_on.as_ref() == Some(&rod.item.id),
            offers,
        }
    }

    /// Leaders for each need: as few as give every need its best verdict, so that little has to be
    /// tied. Where the stock of one is short, the next best is offered besides.
    fn few_leaders(&self, tried: &[Vec<Tried>]) -> Vec<Vec<Option<usize>>> {
        let mut chosen: Vec<Vec<Option<usize>>> = vec![Vec::new(); tried.len()];
        let serves = |need: &[Tried], leader: Option<usize>| {
            let top = best(need).1.verdict;
            need.iter().find(|(l, s)| *l == leader && s.verdict == top).map(|(_, s)| s.score)
        };
        loop {
            let open: Vec<_> = (0..tried.len()).filter(|n| chosen[*n].is_empty()).collect();
            let Some(first) = open.first() else { break };
            let mut top: Option<(usize, f64, Option<usize>)> = None;
            for &(leader, _) in &tried[*first] {
                let scores = open.iter().filter_map(|n| serves(&tried[*n], leader));
                let (mut count, mut sum) = (0, self.bonus(leader));
                scores.for_each(|score| {
                    count += 1;
                    sum += score;
                });
                if count > 0 && top.is_none_or(|(c, s, _)| (count, sum) > (c, s)) {
                    top = Some((count, sum, leader));
                }
            }
            let Some((_, _, leader)) = top else { break };
            for need in open {
                if serves(&tried[need], leader).is_some() {
                    chosen[need].push(leader);
                }
            }
        }
        let rods = self.pool.boat.most_rods();
        for (need, leaders) in chosen.iter_mut().enumerate() {
            let short =
                leaders.iter().flatten().any(|l| self.pool.leaders[*l].stock.quantity < rods);
            if short {
                let others: Vec<_> =
                    tried[need].iter().filter(|(l, _)| !leaders.contains(l)).copied().collect();
                if !others.is_empty() {
                    leaders.push(best(&others).0);
                }
            }
        }
        chosen
    }

    /// Settles between leaders that serve as many needs: none at all, then one that is aboard, then
    /// the one that is brought at the least cost.
    fn bonus(&self, leader: Option<usize>) -> f64 {
        let Some(leader) = leader else { return 0.5 };
        let place = &self.pool.leaders[leader].stock.place;
        if *place == self.pool.boat.place {
            return 0.2;
        }
        let cost = self.pool.places.iter().find(|p| p.id == *place).map_or(0, |p| p.move_cost);
        0.1 / (1.0 + cost as f64 / 1e6)
    }

    /// Those who crank with the other hand than the reel asks for.
    fn wrong_side<'s>(&'s self, reel: &PoolReel<'_>) -> impl Iterator<Item = &'s str> {
        use RetrieveSide::{Left, Right};
        // Who fishes with fixed-spool reels puts the crank where it belongs.
        let side = reel.reel.retrieve_side.filter(|_| reel.kind == Handle::Casting);
        let wrong = move |wanted: &RetrieveSide| {
            matches!((side, wanted), (Some(Left), Right) | (Some(Right), Left))
        };
        let sides = &self.asked.trip.sides;
        sides.iter().filter(move |(_, wanted)| wrong(wanted)).map(|(angler, _)| angler.as_str())
    }

    /// Whether anybody of the trip can crank the reel.
    pub(super) fn suits_somebody(&self, reel: &PoolReel<'_>) -> bool {
        self.wrong_side(reel).count() < self.asked.trip.anglers.len()
    }

    /// Those who fish at once and for whom the outfit is too hard: more than half of the lures
    /// that it covers fall below their verdict in their hands.
    fn not_for(&self, outfit: &mut Outfit, offers: &[Offer]) -> Vec<String> {
        let mut held: BTreeMap<&str, (u32, u32)> = BTreeMap::new();
        for offer in offers {
            let (case, need) = (&self.cases[offer.need], &self.asked.trip.needs[offer.need]);
            if case.skills.is_empty() || !need.met_by(offer.verdict) {
                continue;
            }
            let leader = offer.leader.as_ref();
            let at = leader.and_then(|id| self.pool.leaders.iter().position(|l| l.stock.id == *id));
            outfit.leader = self.leader(at);
            let water = case.deciding(self.model, outfit);
            for &(angler, skill) in &case.skills {
                let water = Water { skill: Some(skill), ..water.clone() };
                let verdict = score(self.model, outfit, case.lure, &water).verdict;
                let (met, all) = held.entry(angler).or_insert((0, 0));
                *met += u32::from(need.met_by(verdict));
                *all += 1;
            }
        }
        let hard = held.into_iter().filter(|(_, (met, all))| met * 2 < *all);
        hard.map(|(angler, _)| angler.to_owned()).collect()
    }
}

/// The best verdict, then the best score, then the earlier one.
fn best(tried: &[Tried]) -> Tried {
    let mut top = tried[0];
    for &next in &tried[1..] {
        let better = next.1.verdict < top.1.verdict
            || (next.1.verdict == top.1.verdict && next.1.score > top.1.score);
        if better {
            top = next;
        }
    }
    top
}

/// What holds an outfit back, in a few words. The rig cards and the uncovered list say it in full.
fn limiting_words(weighed: Weighed) -> &'static str {
    if weighed.verdict == Verdict::Unsafe {
        return "a hard limit is broken.";
    }
    match weighed.limiting {
        FactorKind::Load => "the mass does not suit the rod.",
        FactorKind::Action => "the bend does not suit the hooks.",
        FactorKind::HookSet => "there is little force at the hook.",
        FactorKind::Hold => "the hook may open or tear out.",
        FactorKind::Pull => "the lure pulls hard for the rod.",
        FactorKind::Line => "the line does not suit rod or cast.",
        FactorKind::Leader => "the leader does not suit fish or lure.",
        FactorKind::Drag => "the drag does not suit the chain or the fish.",
        FactorKind::Cover => "the fish cannot be stopped short of cover.",
        FactorKind::Reel => "the reel does not suit lure or line.",
        FactorKind::Length => "the length does not suit the place.",
        FactorKind::Wind => "the lure flies badly in this wind.",
        FactorKind::Contact => "the lure loses touch with the bottom.",
        FactorKind::Skill => "it is hard to handle.",
    }
}
