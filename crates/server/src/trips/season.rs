//! A season: what is owned and what could be had, worth by worth.

use std::borrow::Cow;
use std::cmp::Reverse;
use std::collections::BTreeMap;
use std::ops::ControlFlow;

use deepbend_contract::{WireWord as _, pb};
use deepbend_core::gear::{
    Action, Handle, LineMaterial, Outfit, Power, Reel, Rod, RodMaterial, Word as _, infer_power,
};
use deepbend_core::judge::{Verdict, score_with_interval};
use deepbend_core::model::Model;
use deepbend_core::quantity::words::{GRAMS, KILOGRAMS};
use deepbend_core::quantity::{Force, Mass};
use deepbend_ledger::item::Item;
use deepbend_planner::pairing::pairing;
use deepbend_planner::season::{Season, SeasonError, SeasonNeed, SeasonOutfit};
use deepbend_planner::weights::Micros;
use tonic::Status;

use super::ask::Asked;
use super::bench::{Bench, Leaders, OnReel};
use super::case::{self, Case};
use super::desk::Desk;
use super::gauge::Stopped;
use super::lines::{Spooled, by_kind};
use super::offers::{Judge, RodKind, in_parallel, kind_of, outfit, rings_allow};
use super::pool::{Pool, PoolRod};
use super::request::Trip;
use super::specs::{Spec, are_alike, lattice};
use super::stopped;
use crate::error::ServiceError;

/// What an outfit of the table is.
#[derive(Clone, Debug)]
pub(super) enum Thing {
    /// A ready rod, with whichever ready reel suits each lure best.
    Owned(String),
    /// Another one like a ready rod.
    Like(String),
    /// A spec of the lattice, by its position.
    New(usize),
}

/// Needs, outfits and worths of a season.
pub(super) struct Table<'t> {
    pub(super) season: Season,
    /// By outfit.
    pub(super) things: Vec<Thing>,
    pub(super) specs: Vec<Spec>,
    /// By need: the trip and the position in it.
    pub(super) needs: Vec<(usize, usize)>,
    /// The reel that each rod goes with, where it has one of its own; `None`: one that is bought.
    pub(super) reels: BTreeMap<String, Option<String>>,
    pub(super) judges: &'t [Judge<'t, 't>],
    /// By rod, what it is fished with for each need.
    chosen: BTreeMap<String, Vec<Option<Chosen>>>,
    /// Ready rods that the deadline left no time to judge; they are left out.
    pub(super) unjudged: u32,
    /// Whether there was time for all kinds of the lattice, and for all reels of the rods; those that
    /// are missing are left out.
    pub(super) is_whole: bool,
}

/// Reel, line and leader that suit a rod best for a need.
#[derive(Clone, Copy, Debug)]
struct Chosen {
    worth: Micros,
    /// Position in what [`spools`] lists.
    spool: usize,
    leader: Option<usize>,
}

/// Which reel a rod is judged with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Reels {
    /// Whichever ready one suits each lure best.
    Any,
    /// One of its own, so that all rods can be fished side by side.
    Own,
}

/// A rod by its id, and what it is fished with by need.
type Row<'r> = (&'r str, Vec<Option<Chosen>>);

/// A kind of the lattice by its position, and what it is worth by need.
type SpecRow = (usize, Vec<Micros>);

/// Weights of a need beyond this are cut: that is a must on more days than a year has.
const MOST_WEIGHT: u32 = 10_000;
/// How far apart kinds of the lattice lie that are judged one after the other.
const STRIDE: usize = 89;
/// What an outfit costs if nobody knows, cents; as the contract states.
const USUAL_PRICE: u64 = 20_000;

impl Desk<'_> {
    /// Judges a season and hands the table to `then`. Gear counts where `owned` says so.
    pub(super) fn season<T>(
        &self,
        trips: &[(Trip, u32)],
        owned: &dyn Fn(&Item) -> bool,
        reels: Reels,
        prices: &BTreeMap<Handle, u64>,
        then: &mut dyn FnMut(&Table<'_>) -> Result<T, Status>,
    ) -> Result<T, Status> {
        let asked: Vec<Asked> = trips
            .iter()
            .map(|(trip, _)| Asked { trip: trip.clone(), ..Asked::default() })
            .collect();
        let reach = |item: &Item| {
            let place = item.place.as_ref().map(ToString::to_string).unwrap_or_default();
            owned(item).then_some(place)
        };
        let pools: Vec<Pool<'_>> =
            asked.iter().map(|asked| Pool::gather(self.model, self.view, asked, &reach)).collect();
        let cases: Vec<Vec<Case<'_>>> =
            asked.iter().zip(&pools).map(|(asked, pool)| case::cases(asked, pool)).collect();
        let judges: Vec<Judge<'_, '_>> = asked
            .iter()
            .zip(&pools)
            .zip(&cases)
            .map(|((asked, pool), cases)| Judge {
                model: self.model,
                weights: &self.weights,
                asked,
                pool,
                cases,
            })
            .collect();
        let table = self.table(trips, &judges, reels, prices)?;
        then(&table)
    }

    fn table<'t>(
        &self,
        trips: &[(Trip, u32)],
        judges: &'t [Judge<'t, 't>],
        reels: Reels,
        prices: &BTreeMap<Handle, u64>,
    ) -> Result<Table<'t>, Status> {
        let mut needs = Vec::new();
        let mut season = Season { needs: Vec::new(), outfits: Vec::new(), worth: Vec::new() };
        for (t, (trip, days)) in trips.iter().enumerate() {
            for (n, need) in trip.needs.iter().enumerate() {
                needs.push((t, n));
                season.needs.push(SeasonNeed {
                    id: format!("{t}/{}/{}", need.segment, need.lure),
                    weight: (need.importance * days).clamp(1, MOST_WEIGHT),
                    copies_at_once: need.copies_at_once,
                });
            }
        }
        season.worth = vec![Vec::new(); needs.len()];
        let mut things = Vec::new();
        let rods: Vec<&str> = judges.first().map_or_else(Vec::new, |judge| {
            let ready = judge.pool.rods.iter().filter(|rod| rod.ready);
            ready.map(|rod| rod.item.id.as_str()).collect()
        });
        let specs = lattice(self.model);
        let stage = pb::PlanStage::Judging;
        self.gauge.begin(stage, rods.len() + specs.len());
        let (of_specs, all_specs) = self.judge_specs(judges, &needs, &specs)?;
        // In a set of one for each lure another one like a rod that is in it adds nothing.
        let twins = reels == Reels::Any;
        let (reels, all_reels) = match reels {
            Reels::Any => (BTreeMap::new(), true),
            Reels::Own => self.own_reels(&season, judges, &rods)?,
        };
        let chosen = self.judge_rods(judges, &rods, &reels)?;
        let unjudged = self.unjudged(judges, &rods, &chosen);
        let is_owned = |s: usize| unjudged.iter().any(|(rod, class)| specs[s].is_like(rod, *class));
        let of_specs: Vec<SpecRow> = of_specs.into_iter().filter(|(s, _)| !is_owned(*s)).collect();
        let worth = |chosen: &Option<Chosen>| chosen.map_or(0, |chosen| chosen.worth);
        let rows = chosen.iter().map(|(id, row)| (*id, row.iter().map(worth).collect()));
        let owned: Vec<(&str, Vec<Micros>)> = rows.collect();
        let mut add = |season: &mut Season, thing: Thing, price: Option<u64>, row: &[Micros]| {
            season.outfits.push(SeasonOutfit { id: format!("{:05}", things.len()), price });
            season.worth.iter_mut().zip(row).for_each(|(worth, value)| worth.push(*value));
            things.push(thing);
        };
        for (id, row) in &owned {
            add(&mut season, Thing::Owned((*id).to_owned()), None, row);
        }
        let handle_of = |id: &str| {
            let rod = judges.first().and_then(|judge| judge.pool.rod(id));
            rod.map_or(Handle::Spinning, |rod| rod.handle)
        };
        let price = |handle: Handle| {
            prices.get(&handle).copied().unwrap_or_else(|| median_price(judges, handle))
        };
        let is_double = |id: &str| {
            let rod = judges.first().and_then(|judge| judge.pool.rod(id));
            let class = rod.map_or(0.0, |rod| infer_power(self.model, rod.rod).class);
            rod.is_some_and(|rod| unjudged.iter().any(|other| are_alike((rod.rod, class), *other)))
        };
        for (id, row) in owned.iter().filter(|(id, _)| twins && !is_double(id)) {
            let price = Some(price(handle_of(id)));
            add(&mut season, Thing::Like((*id).to_owned()), price, row);
        }
        for (s, row) in &of_specs {
            add(&mut season, Thing::New(*s), Some(price(specs[*s].handle())), row);
        }
        let chosen = chosen.into_iter().map(|(id, row)| (id.to_owned(), row)).collect();
        let is_whole = all_specs && all_reels;
        let unjudged = unjudged.len() as u32;
        Ok(Table { season, things, specs, needs, reels, judges, chosen, unjudged, is_whole })
    }

    /// What each kind of the lattice is worth, by need, in the order of the lattice; and whether
    /// there was time for all. Those that are judged first lie far apart.
    fn judge_specs(
        &self,
        judges: &[Judge<'_, '_>],
        needs: &[(usize, usize)],
        specs: &[Spec],
    ) -> Result<(Vec<SpecRow>, bool), Status> {
        let mut order: Vec<usize> = (0..specs.len()).collect();
        order.sort_by_key(|s| (s * STRIDE % specs.len().max(1), *s));
        let judged = in_parallel(order.len(), self.gauge.enough(2), |at| {
            self.gauge.wanted()?;
            let outfit = specs[order[at]].outfit();
            let worth = |(t, n): &(usize, usize)| {
                judges[*t].cases[*n].weigh(self.model, &self.weights, &outfit).worth
            };
            let row: Vec<Micros> = needs.iter().map(worth).collect();
            self.gauge.step(pb::PlanStage::Judging);
            Ok((order[at], row))
        });
        let (mut rows, is_whole) = judged.map_err(stopped)?;
        rows.sort_unstable_by_key(|(s, _)| *s);
        Ok((rows, is_whole))
    }

    /// Rods that are ready and were not judged, with their power classes: who owns one need not buy
    /// it.
    fn unjudged<'j>(
        &self,
        judges: &'j [Judge<'_, '_>],
        rods: &[&str],
        chosen: &[Row<'_>],
    ) -> Vec<(&'j Rod, f64)> {
        let pool = judges.first().map(|judge| judge.pool);
        let is_judged = |id: &str| chosen.iter().any(|(known, _)| *known == id);
        let unjudged = rods.iter().filter(|id| !is_judged(id));
        let unjudged = unjudged.filter_map(|id| pool?.rod(id));
        unjudged.map(|rod| (rod.rod, infer_power(self.model, rod.rod).class)).collect()
    }

    /// What each rod is fished with, by need, in the order of the rods; those for which the
    /// deadline leaves no time are left out.
    fn judge_rods<'r>(
        &self,
        judges: &[Judge<'_, '_>],
        rods: &[&'r str],
        reels: &BTreeMap<String, Option<String>>,
    ) -> Result<Vec<Row<'r>>, Status> {
        let leaders: Vec<Leaders> = judges.iter().map(|judge| Leaders::of(judge.pool)).collect();
        // Rods of all kinds take turns, so that what there is no time for is like something judged.
        let order = of_each_kind(self.model, judges, rods);
        let judged = in_parallel(rods.len(), self.gauge.enough_alone(), |at| {
            self.gauge.wanted()?;
            let (id, mut row) = (order[at], Vec::new());
            for (judge, leaders) in judges.iter().zip(&leaders) {
                row.extend(best_of(judge, leaders, id, reels.get(id)));
            }
            self.gauge.step(pb::PlanStage::Judging);
            Ok((id, row))
        });
        let (mut judged, _) = judged.map_err(stopped)?;
        judged.sort_unstable_by_key(|(id, _)| *id);
        Ok(judged)
    }

    /// A reel for each rod, no reel twice, so that they are worth most together; and whether there
    /// was time for all reels. A rod whose reels there was no time for gets one that is bought.
    fn own_reels(
        &self,
        season: &Season,
        judges: &[Judge<'_, '_>],
        rods: &[&str],
    ) -> Result<(BTreeMap<String, Option<String>>, bool), Status> {
        let Some(pool) = judges.first().map(|judge| judge.pool) else {
            return Ok((BTreeMap::new(), true));
        };
        let reels: Vec<String> = pool.reels.iter().map(|reel| reel.item.id.to_string()).collect();
        let leaders: Vec<Leaders> = judges.iter().map(|judge| Leaders::of(judge.pool)).collect();
        // The first reel for all rods, then the next.
        let pairs = reels.len() * rods.len();
        let judged = in_parallel(pairs, self.gauge.enough(2), |at| {
            self.gauge.wanted()?;
            let (reel, rod) = (at / rods.len(), at % rods.len());
            let own = Some(reels[reel].clone());
            let each = judges.iter().zip(&leaders);
            let best =
                each.flat_map(|(judge, leaders)| best_of(judge, leaders, rods[rod], Some(&own)));
            let of_need = |(need, best): (&SeasonNeed, Option<Chosen>)| {
                Some(Micros::from(need.weight) * best?.worth)
            };
            let worth: Option<Micros> = season.needs.iter().zip(best).map(of_need).sum();
            Ok((rod, reel, worth))
        });
        let (judged, is_whole) = judged.map_err(stopped)?;
        let mut worth = vec![vec![None; reels.len()]; rods.len()];
        judged.into_iter().for_each(|(rod, reel, sum)| worth[rod][reel] = sum);
        let partners = pairing(&worth).into_iter().map(|at| at.map(|at| reels[at].clone()));
        Ok((rods.iter().map(|id| (*id).to_owned()).zip(partners).collect(), is_whole))
    }

    /// Goes on, as the planner asks it, as long as somebody waits.
    pub(super) fn wanted(&self) -> ControlFlow<()> {
        if self.gauge.wanted().is_ok() { ControlFlow::Continue(()) } else { ControlFlow::Break(()) }
    }

    /// The same, as long as there is time to write the answer besides.
    pub(super) fn in_time(&self) -> ControlFlow<()> {
        if self.gauge.is_late() { ControlFlow::Break(()) } else { self.wanted() }
    }

    /// Why the planner has no answer for a season.
    pub(super) fn no_season(&self, error: SeasonError) -> Status {
        match (error, self.gauge.stopped()) {
            (SeasonError::GivenUp, why) => stopped(why.unwrap_or(Stopped::Cancelled)),
            (SeasonError::Faults(faults), _) => {
                tracing::error!(%faults, "a good request became a bad season");
                ServiceError::Internal.into()
            }
        }
    }
}

/// Rods in an order in which those of all handles, powers and actions take turns.
fn of_each_kind<'r>(model: &Model, judges: &[Judge<'_, '_>], rods: &[&'r str]) -> Vec<&'r str> {
    let pool = judges.first().map(|judge| judge.pool);
    let mut begun: BTreeMap<Option<RodKind>, usize> = BTreeMap::new();
    let mut turns: Vec<(usize, &str)> = Vec::with_capacity(rods.len());
    for id in rods {
        let kind = pool.and_then(|pool| pool.rod(id)).map(|rod| kind_of(model, rod));
        let turn = begun.entry(kind).or_default();
        turns.push((*turn, id));
        *turn += 1;
    }
    turns.sort_by_key(|(turn, _)| *turn);
    turns.into_iter().map(|(_, id)| id).collect()
}

/// Reels with lines that a rod may be fished with: on its own reel, or the usual one if that is to
/// be bought, else on any ready reel.
fn spools<'j>(
    judge: &'j Judge<'_, '_>,
    rod: &PoolRod<'_>,
    own: Option<&Option<String>>,
) -> Vec<(Cow<'j, Reel>, Cow<'j, Spooled>)> {
    let may = |reel: &str| own.is_none_or(|own| own.as_deref() == Some(reel));
    let reels = judge.pool.reels.iter().filter(|reel| reel.ready && reel.kind == rod.handle);
    let reels = reels.filter(|reel| may(reel.item.id.as_str()));
    let lines = reels.flat_map(|reel| {
        reel.lines.iter().map(|line| (Cow::Borrowed(reel.reel), Cow::Borrowed(line)))
    });
    let usual = Reel { kind: Some(rod.handle), ..Reel::default() };
    let bought = LineMaterial::ALL.iter().filter(|_| own == Some(&None));
    let bought =
        bought.map(|material| (Cow::Owned(usual.clone()), Cow::Owned(Spooled::usual(*material))));
    lines.chain(bought).filter(|(_, line)| rings_allow(rod.rod, line)).collect()
}

/// What a rod is best fished with, by need of a trip; of equals the first. `None`: nothing goes
/// with it.
fn best_of(
    judge: &Judge<'_, '_>,
    leaders: &Leaders,
    id: &str,
    own: Option<&Option<String>>,
) -> Vec<Option<Chosen>> {
    let mut best: Vec<Option<Chosen>> = vec![None; judge.cases.len()];
    let Some(rod) = judge.pool.rod(id) else { return best };
    let spools = spools(judge, rod, own);
    for list in by_kind(0..spools.len(), |at| spools[*at].1.kind()) {
        let (reel, line) = &spools[list[0]];
        let outfit = outfit(rod.rod, reel, line);
        let fitting = judge.fitting(&outfit.line);
        for (case, best) in judge.cases.iter().zip(&mut best) {
            let mut bench: Option<Bench<'_, '_>> = None;
            let mut known: Vec<OnReel<'_>> = Vec::new();
            for &at in &list {
                // Nothing is worth more than the best verdict.
                let most = judge.weights.excellent;
                if best.is_some_and(|best| best.worth >= most && best.spool < at) {
                    break;
                }
                let bench =
                    bench.get_or_insert_with(|| Bench::new(judge.model, case, &outfit, leaders));
                let (reel, line) = &spools[at];
                let on = OnReel { reel, length: line.line.length };
                if known.iter().any(|other| bench.is_alike(on, *other)) {
                    continue;
                }
                known.push(on);
                let Some(leader) = bench.best_leader(&fitting, on) else { continue };
                let worth = bench.weigh(judge.weights, leader, on).worth;
                let better =
                    |best: &Chosen| (best.worth, Reverse(best.spool)) < (worth, Reverse(at));
                if best.as_ref().is_none_or(better) {
                    *best = Some(Chosen { worth, spool: at, leader });
                }
            }
        }
    }
    best
}

/// What the rods of a kind cost in the middle, cents.
fn median_price(judges: &[Judge<'_, '_>], handle: Handle) -> u64 {
    let rods = judges.first().into_iter().flat_map(|judge| &judge.pool.rods);
    let of_kind = rods.filter(|rod| rod.handle == handle);
    let mut prices: Vec<u64> =
        of_kind.filter_map(|rod| rod.item.cost.as_ref()).map(|cost| cost.cents.max(1)).collect();
    prices.sort_unstable();
    prices.get(prices.len() / 2).copied().unwrap_or(USUAL_PRICE)
}

impl Table<'_> {
    /// Kind of rod and reel of an outfit.
    pub(super) fn handle(&self, outfit: usize) -> Handle {
        match &self.things[outfit] {
            Thing::New(s) => self.specs[*s].handle(),
            Thing::Owned(id) | Thing::Like(id) => {
                let rod = self.judges.first().and_then(|judge| judge.pool.rod(id));
                rod.map_or(Handle::Spinning, |rod| rod.handle)
            }
        }
    }

    /// A rod of the pool.
    pub(super) fn rod(&self, id: &str) -> Option<&Rod> {
        self.judges.first()?.pool.rod(id).map(|rod| rod.rod)
    }

    /// A need that gains something.
    pub(super) fn lift(&self, need: usize, gain_micros: Micros) -> pb::Lift {
        let (t, n) = self.needs[need];
        let trip = &self.judges[t].asked.trip;
        pb::Lift {
            trip_id: trip.id.clone(),
            segment_id: trip.needs[n].segment.clone(),
            lure_id: trip.needs[n].lure.clone(),
            gain_micros,
        }
    }

    /// What an outfit of the table is worth for a need at the low end of its interval.
    pub(super) fn low_worth(&self, outfit: usize, need: usize) -> Micros {
        let (t, _) = self.needs[need];
        let best = match &self.things[outfit] {
            Thing::New(spec) => Some(self.specs[*spec].outfit()),
            Thing::Owned(id) | Thing::Like(id) => self.best_outfit(&self.judges[t], id, need),
        };
        best.map_or(0, |best| self.low_worth_of(&best, need))
    }

    /// The verdict of an outfit of the table for a need, with what suits it best.
    pub(super) fn verdict(&self, outfit: usize, need: usize) -> Option<Verdict> {
        let (t, n) = self.needs[need];
        let judge = &self.judges[t];
        let best = match &self.things[outfit] {
            Thing::New(spec) => self.specs[*spec].outfit(),
            Thing::Owned(id) | Thing::Like(id) => self.best_outfit(judge, id, need)?,
        };
        Some(judge.cases[n].weigh(judge.model, judge.weights, &best).verdict)
    }

    /// A rod with what it is best fished with for a need.
    fn best_outfit(&self, judge: &Judge<'_, '_>, id: &str, need: usize) -> Option<Outfit> {
        let chosen = self.chosen.get(id)?[need]?;
        let rod = judge.pool.rod(id)?;
        let spools = spools(judge, rod, self.reels.get(id));
        let (reel, line) = spools.get(chosen.spool)?;
        let mut outfit = outfit(rod.rod, reel, line);
        outfit.leader = judge.leader(chosen.leader);
        Some(outfit)
    }

    /// What an outfit is worth for a need at the low end of its interval.
    pub(super) fn low_worth_of(&self, outfit: &Outfit, need: usize) -> Micros {
        let (t, n) = self.needs[need];
        let judge = &self.judges[t];
        let case = &judge.cases[n];
        let water = case.deciding(judge.model, judge.weights, outfit);
        let (_, interval, _) = score_with_interval(judge.model, outfit, case.lure, water);
        let p = &judge.model.parameters().compose;
        let verdict = match interval.low {
            low if low >= p.excellent => Verdict::Excellent,
            low if low >= p.good => Verdict::Good,
            low if low >= p.workable => Verdict::Workable,
            _ => Verdict::Poor,
        };
        judge.weights.of(verdict)
    }

    /// Whether two places of the lattice are worth as much for each need, and cost as much.
    pub(super) fn is_worth_as_much(&self, one: usize, other: usize) -> bool {
        let of = |spec: usize| {
            self.things.iter().position(|thing| matches!(thing, Thing::New(s) if *s == spec))
        };
        let (Some(a), Some(b)) = (of(one), of(other)) else { return false };
        self.season.outfits[a].price == self.season.outfits[b].price
            && self.season.worth.iter().all(|row| row[a] == row[b])
    }

    /// Whether a place of the lattice is among what could be bought.
    pub(super) fn offers(&self, spec: usize) -> bool {
        self.things.iter().any(|thing| matches!(thing, Thing::New(s) if *s == spec))
    }

    /// A window of specs over some places of the lattice.
    pub(super) fn window(&self, specs: &[usize]) -> Option<pb::SpecWindow> {
        let of: Vec<&Spec> = specs.iter().map(|s| &self.specs[*s]).collect();
        let first = of.first()?;
        let light = of.iter().min_by(|a, b| a.class.total_cmp(&b.class))?;
        let heavy = of.iter().max_by(|a, b| a.class.total_cmp(&b.class))?;
        let actions: Vec<Action> = (Action::ALL.iter().copied())
            .filter(|a| of.iter().any(|s| s.rod.action == Some(*a)))
            .collect();
        let materials: Vec<RodMaterial> = (RodMaterial::ALL.iter().copied())
            .filter(|m| of.iter().any(|s| s.rod.material == Some(*m)))
            .collect();
        let lines: Vec<LineMaterial> = (LineMaterial::ALL.iter().copied())
            .filter(|l| of.iter().any(|s| s.line == *l))
            .collect();
        let grams = |mass: Option<Mass>| mass.map_or(0.0, Mass::g);
        let test = |s: &Spec| s.rod.line_rating.max.unwrap_or(Force::from_kgf(0.0));
        let (min_g, max_g) = (grams(light.rod.lure_rating.min), grams(heavy.rod.lure_rating.max));
        let powers = if light.class == heavy.class {
            Power::nearest(light.class).plain()
        } else {
            let names = [light, heavy].map(|s| Power::nearest(s.class).plain());
            names.join(" to ")
        };
        let or = |words: Vec<&str>| words.join(" or ").replace('_', "-");
        let text = format!(
            "{powers}, {}, {}, {}, {}, rated to {} nylon, with {}",
            or(actions.iter().map(|a| a.as_word()).collect()),
            or(materials.iter().map(|m| m.as_word()).collect()),
            first.handle().as_word(),
            GRAMS.window(min_g, max_g),
            KILOGRAMS.one(test(heavy).kgf()),
            or(lines.iter().map(|l| l.as_word()).collect()),
        );
        Some(pb::SpecWindow {
            handle: first.handle().to_wire_word().into(),
            power_class_min: light.class,
            power_class_max: heavy.class,
            actions: actions.iter().map(|a| a.to_wire_word().into()).collect(),
            materials: materials.iter().map(|m| m.to_wire_word().into()).collect(),
            lines: lines.iter().map(|l| l.to_wire_word().into()).collect(),
            lure_rating_min_g: min_g,
            lure_rating_max_g: max_g,
            line_rating_min_kgf: test(light).kgf(),
            line_rating_max_kgf: test(heavy).kgf(),
            text,
        })
    }
}
