//! What rods of a pool are put together with: reels with their lines, and leaders. The same for all
//! rods of a sort, so it is looked up once.

use std::collections::BTreeMap;

use deepbend_core::gear::{GuideCondition, Handle, Line};

use super::bench::Leaders;
use super::lines::{Spooled, by_kind};
use super::offers::Judge;
use super::pool::{PoolReel, PoolRod};

/// A reel with one of its lines, by their positions.
#[derive(Debug)]
pub(super) struct Spool<'p, 'v> {
    pub(super) at: [usize; 2],
    pub(super) reel: &'p PoolReel<'v>,
    pub(super) line: &'p Spooled,
}

/// Reels with the same line: most of a judgement asks about neither reel nor leader.
#[derive(Debug)]
pub(super) struct Spools<'p, 'v> {
    pub(super) kind: Line,
    pub(super) spools: Vec<Spool<'p, 'v>>,
    /// The place of a reel that is ready from which it costs least to bring it, with that cost.
    pub(super) nearest: Option<(i64, &'p String)>,
    /// How many of them may be judged differently.
    kinds: usize,
}

/// Which rods go with the same reels and lines: the handle, whether the rings are plated, whether it
/// is ready.
type Sort = (bool, bool, bool);

/// Reels with lines of the boat, and all others.
type Sides<'p, 'v> = [Vec<Spools<'p, 'v>>; 2];

/// What the rods of a pool are put together with.
#[derive(Debug)]
pub(super) struct Supply<'p, 'v> {
    pub(super) leaders: Leaders,
    by_sort: BTreeMap<Sort, Sides<'p, 'v>>,
}

fn sort(rod: &PoolRod<'_>) -> Sort {
    let plated = rod.rod.guides == Some(GuideCondition::Plated);
    (rod.handle == Handle::Casting, plated, rod.ready)
}

impl<'p, 'v> Supply<'p, 'v> {
    pub(super) fn of(judge: &Judge<'p, 'v>) -> Self {
        let mut by_sort: BTreeMap<Sort, Sides<'p, 'v>> = BTreeMap::new();
        for rod in &judge.pool.rods {
            by_sort
                .entry(sort(rod))
                .or_insert_with(|| [true, false].map(|own| side(judge, rod, own)));
        }
        Self { leaders: Leaders::of(judge.pool), by_sort }
    }

    /// Reels with lines for a rod, of the boat and all others.
    pub(super) fn sides(&self, rod: &PoolRod<'_>) -> [&[Spools<'p, 'v>]; 2] {
        let sides = self.by_sort.get(&sort(rod));
        [0, 1].map(|at| sides.map_or(&[][..], |sides| &sides[at]))
    }

    /// How many judgements a rod takes at most for so many needs, with the reels of the boat or with
    /// all others.
    pub(super) fn cost(&self, rod: &PoolRod<'_>, own_reels: bool, needs: usize) -> usize {
        let spools = self.sides(rod)[usize::from(!own_reels)];
        spools.iter().map(|spools| spools.kinds).sum::<usize>() * needs * (self.leaders.count() + 1)
    }
}

fn side<'p, 'v>(judge: &Judge<'p, 'v>, rod: &PoolRod<'_>, own_reels: bool) -> Vec<Spools<'p, 'v>> {
    let pool = judge.pool;
    let cost = |id: &str| pool.places.iter().find(|p| p.id == id).map_or(0, |p| p.move_cost);
    let mut all = Vec::new();
    for (at, reel) in pool.reels.iter().enumerate() {
        let own = reel.place == pool.boat.place;
        // Pins are the planner's to keep: it names those that clash.
        if own != own_reels || rod.handle != reel.kind || !judge.suits_somebody(reel) {
            continue;
        }
        for (position, line) in judge.lines_for(rod, reel).into_iter().enumerate() {
            all.push(Spool { at: [at, position], reel, line });
        }
    }
    let group = |spools: Vec<Spool<'p, 'v>>| {
        let ready = spools.iter().map(|spool| spool.reel).filter(|reel| reel.ready);
        let nearest =
            ready.map(|reel| (cost(&reel.place), &reel.place)).min_by_key(|(cost, _)| *cost);
        // A reel holds as much of the same line from wherever it is wound.
        let mut reels: Vec<usize> = spools.iter().map(|spool| spool.at[0]).collect();
        reels.dedup();
        Some(Spools { kind: spools.first()?.line.kind(), kinds: reels.len(), nearest, spools })
    };
    by_kind(all, |spool| spool.line.kind()).into_iter().filter_map(group).collect()
}
