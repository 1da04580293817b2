//! A season: what is owned and what could be had, worth by worth.

use std::collections::BTreeMap;
use std::ops::ControlFlow;

use deepbend_contract::{WireWord as _, pb};
use deepbend_core::gear::{
    Action, Handle, LineMaterial, Outfit, Power, Reel, Rod, RodMaterial, Word as _,
};
use deepbend_core::judge::{Verdict, score_with_interval};
use deepbend_core::quantity::words::{GRAMS, KILOGRAMS};
use deepbend_core::quantity::{Force, Mass};
use deepbend_ledger::item::Item;
use deepbend_planner::pairing::pairing;
use deepbend_planner::season::{Season, SeasonError, SeasonNeed, SeasonOutfit};
use deepbend_planner::weights::Micros;
use tonic::Status;

use super::ask::Asked;
use super::desk::Desk;
use super::gauge::Stopped;
use super::lines::Spooled;
use super::offers::{self, Case, Judge, outfit, rings_allow};
use super::pool::Pool;
use super::request::Trip;
use super::specs::{Spec, lattice};
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
}

/// Which reel a rod is judged with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Reels {
    /// Whichever ready one suits each lure best.
    Any,
    /// One of its own, so that all rods can be fished side by side.
    Own,
}

/// Weights of a need beyond this are cut: that is a must on more days than a year has.
const MOST_WEIGHT: u32 = 10_000;
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
            asked.iter().zip(&pools).map(|(asked, pool)| offers::cases(asked, pool)).collect();
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
        // In a set of one for each lure another one like a rod that is in it adds nothing.
        let twins = reels == Reels::Any;
        let reels = match reels {
            Reels::Any => BTreeMap::new(),
            Reels::Own => self.own_reels(&season, &needs, judges, &rods)?,
        };
        let mut owned: Vec<Vec<Micros>> = Vec::new();
        for id in &rods {
            let worth = |(t, n): &(usize, usize)| {
                self.go_on()?;
                Ok(best_with(&judges[*t], *n, id, reels.get(*id)).map_or(0, |(worth, _)| worth))
            };
            owned.push(needs.iter().map(worth).collect::<Result<_, Status>>()?);
            self.gauge.step(stage);
        }
        let mut add = |season: &mut Season, thing: Thing, price: Option<u64>, row: &[Micros]| {
            season.outfits.push(SeasonOutfit { id: format!("{:05}", things.len()), price });
            season.worth.iter_mut().zip(row).for_each(|(worth, value)| worth.push(*value));
            things.push(thing);
        };
        for (id, row) in rods.iter().zip(&owned) {
            add(&mut season, Thing::Owned((*id).to_owned()), None, row);
        }
        let handle_of = |id: &str| {
            let rod = judges.first().and_then(|judge| judge.pool.rod(id));
            rod.map_or(Handle::Spinning, |rod| rod.handle)
        };
        let price = |handle: Handle| {
            prices.get(&handle).copied().unwrap_or_else(|| median_price(judges, handle))
        };
        for (id, row) in rods.iter().zip(&owned).filter(|_| twins) {
            let price = Some(price(handle_of(id)));
            add(&mut season, Thing::Like((*id).to_owned()), price, row);
        }
        for (s, spec) in specs.iter().enumerate() {
            self.go_on()?;
            let outfit = spec.outfit();
            let worth = |(t, n): &(usize, usize)| {
                judges[*t].cases[*n].weigh(self.model, &self.weights, &outfit).worth
            };
            let row: Vec<Micros> = needs.iter().map(worth).collect();
            self.gauge.step(stage);
            add(&mut season, Thing::New(s), Some(price(spec.handle())), &row);
        }
        Ok(Table { season, things, specs, needs, reels, judges })
    }

    /// A reel for each rod, no reel twice, so that they are worth most together.
    fn own_reels(
        &self,
        season: &Season,
        needs: &[(usize, usize)],
        judges: &[Judge<'_, '_>],
        rods: &[&str],
    ) -> Result<BTreeMap<String, Option<String>>, Status> {
        let Some(pool) = judges.first().map(|judge| judge.pool) else { return Ok(BTreeMap::new()) };
        let reels: Vec<String> = pool.reels.iter().map(|reel| reel.item.id.to_string()).collect();
        let mut worth = Vec::new();
        for id in rods {
            let mut row = Vec::new();
            for reel in &reels {
                self.go_on()?;
                let of_need = |(need, (t, n)): (&SeasonNeed, &(usize, usize))| {
                    let best = best_with(&judges[*t], *n, id, Some(&Some(reel.clone())))?;
                    Some(Micros::from(need.weight) * best.0)
                };
                row.push(season.needs.iter().zip(needs).map(of_need).sum());
            }
            worth.push(row);
        }
        let partners = pairing(&worth).into_iter().map(|at| at.map(|at| reels[at].clone()));
        Ok(rods.iter().map(|id| (*id).to_owned()).zip(partners).collect())
    }

    /// Goes on, unless the deadline passed or the caller gave up.
    pub(super) fn go_on(&self) -> Result<(), Status> {
        self.gauge.go_on().map_err(stopped)
    }

    /// The same, as the planner asks it.
    pub(super) fn asked(&self) -> ControlFlow<()> {
        if self.gauge.stopped().is_some() {
            ControlFlow::Break(())
        } else {
            ControlFlow::Continue(())
        }
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

/// What a rod is worth for a need with the line and leader that suit it best, and that outfit: on
/// its own reel, or the usual one if that is to be bought, else on any ready reel. `None`: none
/// goes with it.
fn best_with(
    judge: &Judge<'_, '_>,
    need: usize,
    id: &str,
    own: Option<&Option<String>>,
) -> Option<(Micros, Outfit)> {
    let rod = judge.pool.rod(id)?;
    let may = |reel: &str| own.is_none_or(|own| own.as_deref() == Some(reel));
    let reels = judge.pool.reels.iter().filter(|reel| reel.ready && reel.kind == rod.handle);
    let reels = reels.filter(|reel| may(reel.item.id.as_str()));
    let lines = reels.flat_map(|reel| reel.lines.iter().map(move |line| (reel.reel.clone(), line)));
    let usual = Reel { kind: Some(rod.handle), ..Reel::default() };
    let bought: Vec<Spooled> = LineMaterial::ALL.iter().copied().map(Spooled::usual).collect();
    let bought = bought.iter().filter(|_| own == Some(&None)).map(|line| (usual.clone(), line));
    let fitting = lines.chain(bought).filter(|(_, line)| rings_allow(rod.rod, line));
    let worth = fitting.map(|(reel, line)| {
        let mut outfit = outfit(rod.rod, &reel, line);
        (judge.with_best_leader(&judge.cases[need], &mut outfit).1.worth, outfit)
    });
    worth.reduce(|best, next| if next.0 > best.0 { next } else { best })
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
        let (t, n) = self.needs[need];
        let best = match &self.things[outfit] {
            Thing::New(spec) => Some(self.specs[*spec].outfit()),
            Thing::Owned(id) | Thing::Like(id) => {
                best_with(&self.judges[t], n, id, self.reels.get(id)).map(|(_, outfit)| outfit)
            }
        };
        best.map_or(0, |best| self.low_worth_of(&best, need))
    }

    /// What an outfit is worth for a need at the low end of its interval.
    pub(super) fn low_worth_of(&self, outfit: &Outfit, need: usize) -> Micros {
        let (t, n) = self.needs[need];
        let judge = &self.judges[t];
        let case = &judge.cases[n];
        let water = case.deciding(judge.model, outfit);
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
