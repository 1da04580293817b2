//! Every outfit that can be put together from the pool, judged for every need.

use std::cmp::Reverse;
use std::sync::atomic::{AtomicUsize, Ordering};

use deepbend_contract::pb;
use deepbend_core::gear::{
    GuideCondition, Handle, Leader, LeaderMaterial, Line, LineMaterial, Outfit, Reel, Rod,
    infer_power,
};
use deepbend_core::judge::{FactorKind, Score, Verdict, score};
use deepbend_core::model::Model;
use deepbend_planner::problem::{Candidate, Hand, Offer};
use deepbend_planner::sketch::Sketch;
use deepbend_planner::weights::{Micros, Weights};
use tokio::time::Instant;

use super::ask::Asked;
use super::bench::{Bench, InHands, Kinds, Leaders, OnReel};
use super::case::{Case, Weighed, is_cranked};
use super::gauge::{Gauge, Stopped};
use super::lines::{FITTED, Spooled, stands_in};
use super::pool::{Pool, PoolLeader, PoolReel, PoolRod};
use super::supply::{Spool, Spools, Supply};

/// How many times stronger than the line a leader may be. From memory: beyond that no knot between
/// the two holds, and a light lure no longer flies.
const LEADER_OVER_LINE: f64 = 4.0;

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
#[derive(Clone, Copy, Debug)]
pub(super) struct Task<'p, 'v> {
    pub(super) at: usize,
    rod: &'p PoolRod<'v>,
    pub(super) own_reels: bool,
}

/// Whether a rod is a casting rod, its power class and its action: rods of one kind do much the same.
pub(super) type RodKind = (bool, u8, Option<u8>);

/// Positions of rod, reel and line, with what is put together of them.
pub(super) type Judged = Vec<([usize; 3], Candidate)>;

/// The leader on the line of a reel on the water, or none; `None`: nobody knows.
type Carried<'a> = Option<Option<&'a str>>;

/// A leader and what it does for one need; `None`: no leader.
type Tried = (Option<usize>, Score);

impl Judge<'_, '_> {
    /// All candidates, also of items that are not ready: the planner takes none of them, and says
    /// what they would have done. `gauge` is asked between lines of a rod, and
    /// told of each rod. From `enough` on nothing more is begun; then some are left out, and the
    /// second part says that it is not all.
    ///
    /// # Errors
    /// [`Stopped`] as soon as `gauge` says so.
    pub(super) fn candidates(
        &self,
        gauge: &Gauge,
        enough: Option<Instant>,
    ) -> Result<(Vec<Candidate>, bool), Stopped> {
        let (tasks, supply) = (self.tasks(), Supply::of(self));
        let (all, is_whole) =
            in_parallel(tasks.len(), enough, |at| self.of_task(&tasks[at], &supply, gauge))?;
        Ok((in_order(all.into_iter().flatten().collect()), is_whole))
    }

    /// What is to be judged: what lies on the boat is put together first, then the rest of the rods
    /// and of the reels.
    pub(super) fn tasks(&self) -> Vec<Task<'_, '_>> {
        let is_own = |place: &String| *place == self.pool.boat.place;
        let mut tasks: Vec<Task<'_, '_>> = Vec::new();
        for (at, rod) in self.pool.rods.iter().enumerate() {
            tasks.extend([true, false].map(|own_reels| Task { at, rod, own_reels }));
        }
        tasks.sort_by_key(|t| (!t.rod.ready, !t.own_reels, !is_own(&t.rod.place)));
        tasks
    }

    /// The kind of the rod of a task.
    pub(super) fn kind(&self, task: &Task<'_, '_>) -> RodKind {
        kind_of(self.model, task.rod)
    }

    /// How many judgements a task takes at most.
    pub(super) fn cost(&self, task: &Task<'_, '_>, supply: &Supply<'_, '_>) -> usize {
        supply.cost(task.rod, task.own_reels, self.cases.len())
    }

    /// Whether a pin names the rod of a task.
    pub(super) fn is_asked_for(&self, task: &Task<'_, '_>) -> bool {
        let (id, pins) = (task.rod.item.id.as_str(), &self.asked.pins);
        pins.take.iter().any(|taken| taken == id) || pins.pairs.iter().any(|(rod, _)| rod == id)
    }

    /// The most that the outfits of a rod can do for some needs, and anything for all others, with
    /// the reels of the boat and with all others, whatever the reel does to it; `None`: there are
    /// none that a plan may take.
    pub(super) fn sketch(
        &self,
        trip: usize,
        rod: &PoolRod<'_>,
        needs: &[usize],
        supply: &Supply<'_, '_>,
        gauge: &Gauge,
    ) -> Result<[Option<Sketch>; 2], Stopped> {
        let best = (self.weights.excellent, Verdict::Excellent);
        let none = || {
            let mut offers = vec![best; self.cases.len()];
            needs.iter().for_each(|need| offers[*need] = (0, Verdict::Unsafe));
            (offers, None::<(i64, &String)>)
        };
        let mut sides = [none(), none()];
        let lines = supply.sides(rod);
        let mut done: Vec<&Line> = Vec::new();
        for spools in lines.into_iter().flatten().filter(|_| rod.ready) {
            gauge.go_on_in_part()?;
            let kind = &spools.kind;
            if done.contains(&kind) {
                continue;
            }
            let nearest = lines.map(|side| {
                side.iter().find(|spools| spools.kind == *kind).and_then(|spools| spools.nearest)
            });
            let Some(first) = spools.spools.first() else { continue };
            let outfit = outfit(rod.rod, first.reel.reel, first.line);
            let fitting = self.fitting(&outfit.line);
            for &need in needs {
                let case = &self.cases[need];
                let open = sides.iter().zip(&nearest).filter(|(_, nearest)| nearest.is_some());
                let least = open
                    .map(|((offers, _), _)| offers[need])
                    .reduce(|a, b| (a.0.min(b.0), a.1.max(b.1)));
                let Some(least) = least.filter(|least| *least != best) else { continue };
                let mut bench = Bench::new(self.model, case, &outfit, &supply.leaders);
                let (worth, verdict) = bench.at_most(self.weights, &fitting, least);
                for ((offers, _), _) in
                    sides.iter_mut().zip(&nearest).filter(|(_, nearest)| nearest.is_some())
                {
                    let known = &mut offers[need];
                    *known = (known.0.max(worth), known.1.min(verdict));
                }
            }
            for ((_, known), near) in sides.iter_mut().zip(nearest) {
                *known = known.iter().copied().chain(near).min_by_key(|(cost, _)| *cost);
            }
            done.push(kind);
        }
        Ok(sides.map(|(offers, nearest)| {
            let rod = rod.item.id.to_string();
            nearest.map(|(_, place)| Sketch { trip, rod, reel_place: place.clone(), offers })
        }))
    }

    /// What can be put together of a task.
    pub(super) fn of_task(
        &self,
        task: &Task<'_, '_>,
        supply: &Supply<'_, '_>,
        gauge: &Gauge,
    ) -> Result<Judged, Stopped> {
        let mut judged = Vec::new();
        for Spools { spools, .. } in supply.sides(task.rod)[usize::from(!task.own_reels)] {
            gauge.go_on_in_part()?;
            let candidates = self.of_line(task.rod, spools, &supply.leaders);
            let at = spools.iter().map(|spool| [task.at, spool.at[0], spool.at[1]]);
            judged.extend(at.zip(candidates));
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

    /// Lines with which a rod and a reel are put together. What else cannot matter the planner
    /// prunes.
    pub(super) fn lines_for<'p>(
        &self,
        rod: &PoolRod<'_>,
        reel: &'p PoolReel<'_>,
    ) -> Vec<&'p Spooled> {
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
        lines.iter().copied().filter(|line| !again(line)).collect()
    }

    /// An outfit with the leader that suits it best for a need, which is left on it.
    pub(super) fn with_best_leader(
        &self,
        case: &Case<'_>,
        outfit: &mut Outfit,
    ) -> (Option<usize>, Weighed) {
        let leader = best(self.leaders_for(case, outfit)).flatten();
        outfit.leader = self.leader(leader);
        (leader, case.weigh(self.model, self.weights, outfit))
    }

    pub(super) fn leader(&self, leader: Option<usize>) -> Leader {
        leader.map_or_else(no_leader, |l| self.pool.leaders[l].leader.clone())
    }

    /// No leader, and every one of the pool that can be knotted to the line. Of those of one kind
    /// that lie at several places the others are left out where there are enough at the nearest one.
    pub(super) fn fitting(&self, line: &Line) -> Vec<Option<usize>> {
        let stocked = self.pool.leaders.iter().enumerate();
        let most = line.test.map_or(f64::INFINITY, |t| t.kgf() * LEADER_OVER_LINE);
        let fits = |l: &PoolLeader| {
            l.stock.quantity > 0 && l.leader.test.is_none_or(|test| test.kgf() <= most)
        };
        let far = |l: &PoolLeader| self.move_cost(&l.stock.place);
        let is_nearer = |(at, l): (usize, &PoolLeader)| {
            let mut all = self.pool.leaders.iter().enumerate();
            self.asked.aboard.is_none()
                && all.any(|(other, near)| {
                    near.stock.is_ample
                        && near.leader == l.leader
                        && (far(near), other) < (far(l), at)
                        && near.stock.minutes <= l.stock.minutes
                })
        };
        let choices = stocked.filter(|(i, l)| fits(l) && !is_nearer((*i, l)));
        let choices = choices.map(|(i, _)| Some(i));
        std::iter::once(None).chain(choices).collect()
    }

    /// What each leader that fits does, in the most frequent wind.
    fn leaders_for(&self, case: &Case<'_>, outfit: &mut Outfit) -> Vec<Tried> {
        let mut tried: Vec<Tried> = Vec::new();
        for choice in self.fitting(&outfit.line) {
            // Leaders of one kind that lie at two places score the same.
            let leader = |l: usize| &self.pool.leaders[l].leader;
            let same = |(other, _): &&Tried| choice.map(leader) == other.map(leader);
            let score = tried.iter().find(same).map(|(_, known)| *known).unwrap_or_else(|| {
                outfit.leader = self.leader(choice);
                score(self.model, outfit, case.lure, &case.waters()[0].0)
            });
            tried.push((choice, score));
        }
        tried
    }

    /// Candidates of a rod and a line on each of some reels.
    fn of_line(
        &self,
        rod: &PoolRod<'_>,
        spools: &[Spool<'_, '_>],
        leaders: &Leaders,
    ) -> Vec<Candidate> {
        let Some(first) = spools.first() else { return Vec::new() };
        let outfit = outfit(rod.rod, first.reel.reel, first.line);
        let fitting = self.fitting(&outfit.line);
        let mut benches: Vec<Bench<'_, '_>> =
            self.cases.iter().map(|case| Bench::new(self.model, case, &outfit, leaders)).collect();
        // Reels that are alike, with as much line on them and the same leader, are judged once.
        let mut known: Vec<(OnReel<'_>, Carried<'_>, Vec<String>, Vec<Offer>)> = Vec::new();
        let mut candidates = Vec::with_capacity(spools.len());
        for Spool { reel, line, .. } in spools {
            let on = OnReel { reel: reel.reel, length: line.line.length };
            let not_for: Vec<String> = self.wrong_side(reel).map(ToOwned::to_owned).collect();
            let alike = |other: &OnReel<'_>| benches.first().is_none_or(|b| b.is_alike(on, *other));
            let aboard = self.asked.aboard.as_ref();
            let carried = aboard.and_then(|aboard| aboard.carries(reel.item.id.as_str()));
            let same = |(other, leader, hands, _): &(_, Carried<'_>, Vec<String>, Vec<Offer>)| {
                *leader == carried && *hands == not_for && alike(other)
            };
            let at = known.iter().position(same).unwrap_or_else(|| {
                let offers = self.offers(&mut benches, (leaders, &fitting), carried, on);
                known.push((on, carried, not_for.clone(), offers));
                known.len() - 1
            });
            let (.., offers) = &known[at];
            candidates.push(Candidate {
                rod: rod.item.id.to_string(),
                reel: reel.item.id.to_string(),
                line: line.option.id.clone(),
                not_for,
                habit: reel.last_on.as_ref() == Some(&rod.item.id),
                offers: offers.clone(),
            });
        }
        candidates
    }

    /// What rod and line on a reel offer for each need, with the leaders that are worth tying.
    fn offers(
        &self,
        benches: &mut [Bench<'_, '_>],
        (leaders, fitting): (&Leaders, &[Option<usize>]),
        carried: Carried<'_>,
        on: OnReel<'_>,
    ) -> Vec<Offer> {
        let by_need = |(need, bench): (usize, &mut Bench<'_, '_>)| {
            let is_cranked = self.cases[need].is_cranked(on.reel);
            let open = if is_cranked { fitting } else { &[] };
            bench.weigh_each(self.weights, open, on)
        };
        let all: Vec<Kinds> = benches.iter_mut().enumerate().map(by_need).collect();
        let with = |need: usize, at: usize| all[need].with(leaders, fitting[at]);
        let first = self.few_leaders(fitting, carried, &with);
        let matters = self.matter(fitting, &first, &with);
        let mut offers = Vec::with_capacity(all.len());
        for (need, first) in first.into_iter().enumerate() {
            let wanted = &self.asked.trip.needs[need];
            let bare = with(need, 0);
            let helps = |at: usize| {
                with(need, at).is_some_and(|own| {
                    let serves = own.0.worth > 0 || wanted.met_by(own.0.verdict);
                    let is_more = at == 0 || !bare.is_some_and(|bare| does_all(bare, own));
                    serves && is_more
                })
            };
            let is_other = |at: &usize| matters[*at] && Some(*at) != first && helps(*at);
            let mut others: Vec<usize> = (0..fitting.len()).filter(is_other).collect();
            others.sort_by(|a, b| {
                let of = |at: usize| with(need, at).map(|(w, _)| (w.worth, w.score.to_bits()));
                of(*b).cmp(&of(*a))
            });
            offers.extend(first.into_iter().chain(others).filter_map(|at| {
                let (weighed, hands) = with(need, at)?;
                Some(Offer {
                    need,
                    leader: fitting[at].map(|l| self.pool.leaders[l].stock.id.clone()),
                    verdict: weighed.verdict,
                    worth: weighed.worth,
                    preferred: Some(at) == first,
                    score: weighed.score,
                    skill: weighed.skill,
                    hands: hands.clone(),
                    limiting: limiting_words(*weighed).into(),
                })
            }));
        }
        offers.shrink_to_fit();
        offers
    }

    /// The leader for each need, by position, that is used where there are enough of it: as few as
    /// give every need its best worth, so that little has to be tied.
    fn few_leaders<'w>(
        &self,
        fitting: &[Option<usize>],
        carried: Carried<'_>,
        with: &impl Fn(usize, usize) -> Option<&'w InHands>,
    ) -> Vec<Option<usize>> {
        let needs = self.cases.len();
        let rank = |need: usize, at: usize| {
            let (weighed, _) = with(need, at)?;
            let is_met = self.asked.trip.needs[need].met_by(weighed.verdict);
            Some((is_met, weighed.worth, Reverse(weighed.verdict)))
        };
        let all = 0..fitting.len();
        let tops: Vec<_> =
            (0..needs).map(|need| all.clone().filter_map(|at| rank(need, at)).max()).collect();
        let serves = |need: usize, at: usize| {
            let (weighed, _) = with(need, at)?;
            (rank(need, at) == tops[need]).then_some(weighed.score)
        };
        let bonus: Vec<f64> = fitting.iter().map(|leader| self.bonus(*leader, carried)).collect();
        let mut chosen: Vec<Option<usize>> = vec![None; needs];
        loop {
            let open: Vec<_> = (0..needs).filter(|n| chosen[*n].is_none()).collect();
            let mut top: Option<(usize, f64, usize)> = None;
            for (at, bonus) in bonus.iter().enumerate() {
                let (mut count, mut sum) = (0, *bonus);
                open.iter().filter_map(|n| serves(*n, at)).for_each(|score| {
                    count += 1;
                    sum += score;
                });
                if count > 0 && top.is_none_or(|(c, s, _)| (count, sum) > (c, s)) {
                    top = Some((count, sum, at));
                }
            }
            let Some((.., at)) = top else { break };
            for need in open {
                if serves(need, at).is_some() {
                    chosen[need] = Some(at);
                }
            }
        }
        chosen
    }

    /// By position, whether a leader can matter: no other one that lies on the boat, of which there are
    /// enough for all of its outfits, does all that it does in as little time.
    fn matter<'w>(
        &self,
        fitting: &[Option<usize>],
        first: &[Option<usize>],
        with: &impl Fn(usize, usize) -> Option<&'w InHands>,
    ) -> Vec<bool> {
        let stock = |at: usize| fitting[at].map(|l| &self.pool.leaders[l].stock);
        let is_plenty =
            |at: usize| stock(at).is_some_and(|s| s.is_ample && s.place == self.pool.boat.place);
        let does = |need: usize, better: usize, worse: usize| {
            with(need, worse).is_none_or(|worse| {
                let others = [better, 0].into_iter().filter_map(|at| with(need, at));
                others.into_iter().any(|better| does_all(better, worse))
            })
        };
        let covers = |better: usize, worse: usize| {
            is_plenty(better)
                && stock(better).map(|s| s.minutes) <= stock(worse).map(|s| s.minutes)
                && (0..first.len()).all(|need| does(need, better, worse))
        };
        // Of two that do the same the one stays that is preferred for more needs.
        let usual = |at: usize| {
            let preferred = first.iter().filter(|first| **first == Some(at)).count();
            (Reverse(preferred), at)
        };
        let all = 0..fitting.len();
        let matters = |at: usize| {
            let is_spare = |other: usize| {
                other != at && covers(other, at) && (usual(other) < usual(at) || !covers(at, other))
            };
            fitting[at].is_none() || !all.clone().any(is_spare)
        };
        all.clone().map(matters).collect()
    }

    /// Settles between leaders that serve as many needs: on the water what is on already, then none at
    /// all, then one that is aboard, then the one that is brought at the least cost.
    fn bonus(&self, leader: Option<usize>, carried: Carried<'_>) -> f64 {
        if carried == Some(leader.map(|l| self.pool.leaders[l].stock.id.as_str())) {
            return 1.0;
        }
        let Some(leader) = leader else { return 0.5 };
        let place = &self.pool.leaders[leader].stock.place;
        if *place == self.pool.boat.place {
            return 0.2;
        }
        0.1 / (1.0 + self.move_cost(place) as f64 / 1e6)
    }

    /// What it costs to bring something from a place.
    fn move_cost(&self, place: &str) -> Micros {
        if *place == self.pool.boat.place {
            return 0;
        }
        self.pool.places.iter().find(|p| p.id == *place).map_or(0, |p| p.move_cost)
    }

    /// Those who crank with the other hand than the reel asks for.
    fn wrong_side<'s>(&'s self, reel: &PoolReel<'_>) -> impl Iterator<Item = &'s str> {
        let sides = self.asked.trip.sides.iter();
        let wrong = sides.filter(move |(_, side)| !is_cranked(reel.reel, Some(**side)));
        wrong.map(|(angler, _)| angler.as_str())
    }

    /// Whether anybody of the trip can crank the reel.
    pub(super) fn suits_somebody(&self, reel: &PoolReel<'_>) -> bool {
        self.wrong_side(reel).count() < self.asked.trip.anglers.len()
    }
}

/// The kind of a rod.
pub(super) fn kind_of(model: &Model, rod: &PoolRod<'_>) -> RodKind {
    let class = infer_power(model, rod.rod).word() as u8;
    (rod.handle == Handle::Casting, class, rod.rod.action.map(|action| action as u8))
}

/// What was judged, in the order of rods, reels and lines.
pub(super) fn in_order(mut judged: Judged) -> Vec<Candidate> {
    judged.sort_unstable_by_key(|(at, _)| *at);
    judged.into_iter().map(|(_, candidate)| candidate).collect()
}

/// Does pieces of work on all cores, one after the other as they come, and gives back what was done
/// in their order. From `enough` on no more are begun, but for one on each core; whether all were
/// done.
pub(super) fn in_parallel<T: Send>(
    count: usize,
    enough: Option<Instant>,
    work: impl Fn(usize) -> Result<T, Stopped> + Sync,
) -> Result<(Vec<T>, bool), Stopped> {
    let cores = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    let next = AtomicUsize::new(0);
    // Each takes the next piece; what comes of it does not depend on who does it.
    let each = || -> Result<Vec<(usize, T)>, Stopped> {
        let mut done = Vec::new();
        loop {
            let is_enough = || enough.is_some_and(|enough| Instant::now() >= enough);
            if !done.is_empty() && is_enough() {
                return Ok(done);
            }
            let at = next.fetch_add(1, Ordering::Relaxed);
            if at >= count {
                return Ok(done);
            }
            done.push((at, work(at)?));
        }
    };
    let mut all = Vec::with_capacity(count);
    std::thread::scope(|scope| -> Result<(), Stopped> {
        let others: Vec<_> = (1..cores.min(count)).map(|_| scope.spawn(each)).collect();
        all.extend(each()?);
        for other in others {
            let done = other.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic));
            all.extend(done?);
        }
        Ok(())
    })?;
    let is_whole = all.len() == count;
    all.sort_unstable_by_key(|(at, _)| *at);
    Ok((all.into_iter().map(|(_, done)| done).collect(), is_whole))
}

/// The best verdict, then the best score, then the earlier one.
pub(super) fn best<T: Copy>(tried: impl IntoIterator<Item = (T, Score)>) -> Option<T> {
    let best = tried.into_iter().reduce(|top, next| {
        let better = next.1.verdict < top.1.verdict
            || (next.1.verdict == top.1.verdict && next.1.score > top.1.score);
        if better { next } else { top }
    });
    best.map(|(one, _)| one)
}

/// Whether one leader does all for a need that another one does, in all hands.
fn does_all((one, hands): &InHands, (other, others): &InHands) -> bool {
    let of = |own: &Weighed, hands: &[Hand], skill| {
        hands.iter().find(|hand| hand.skill == skill).map_or(own.verdict, |hand| hand.verdict)
    };
    let mut named = hands.iter().chain(others).map(|hand| hand.skill);
    one.worth >= other.worth
        && one.verdict <= other.verdict
        && named.all(|skill| of(one, hands, skill) <= of(other, others, skill))
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
