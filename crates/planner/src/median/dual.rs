//! The Lagrangian bound: radii of the clients, and what open sites earn within them.

use super::capacity::{self, Served};
use super::case::{Case, Mark, Reach, SCALE};
use super::meter::Meter;
use super::tree::Best;
use crate::deflect::deflect;

/// Where the search stands when a bound is asked for.
pub(super) struct Place<'a> {
    pub(super) case: &'a Case,
    pub(super) reach: &'a Reach,
    /// By client, the site that has to serve it; only with capacities.
    pub(super) served: &'a Served,
}

/// The best bound found, and what the tree needs of it.
#[derive(Clone, Debug)]
pub(super) struct Relaxed {
    /// No plan of this place costs less, in parts of a unit.
    pub(super) bound: i64,
    pub(super) radius: Vec<i64>,
    /// By site, in what share of the late iterations it was open.
    pub(super) share: Vec<f64>,
    /// By client, how many of its open sites wanted it, on the average, over 1: signed.
    pub(super) surplus: Vec<f64>,
}

/// One relaxed plan.
#[derive(Clone, Debug, Default)]
pub(super) struct Eval {
    pub(super) value: i64,
    /// What a site adds; negative.
    pub(super) reduced: Vec<i64>,
    pub(super) chosen: Vec<usize>,
    /// By client, how many open sites take it.
    pub(super) count: Vec<i32>,
    /// By client, one open site that takes it; with capacities only.
    pub(super) taker: Vec<usize>,
    /// Cost of the chosen sites when each client goes to the nearest; without capacities only.
    pub(super) primal: Option<i64>,
    /// Reduced costs of the dearest chosen and the cheapest other free site.
    edge: (i64, Option<i64>),
}

impl Eval {
    /// Evaluates radii; `false` if fewer sites than needed are left.
    fn run(&mut self, place: &Place<'_>, marks: &[Mark], radius: &[i64], steps: &mut u64) -> bool {
        let case = place.case;
        self.reduced.clear();
        self.reduced.resize(case.sites, 0);
        if case.room.is_some() {
            if !capacity::reduce(place, marks, radius, &mut self.reduced, steps) {
                return false;
            }
        } else {
            for (i, radius) in radius.iter().enumerate() {
                for (cost, site) in place.reach.row(i).iter().take_while(|(c, _)| c < radius) {
                    self.reduced[*site as usize] += cost - radius;
                    *steps += 1;
                }
            }
        }
        if !self.choose(case, marks) {
            return false;
        }
        let sum: i128 = radius.iter().map(|r| i128::from(*r)).sum::<i128>()
            + self.chosen.iter().map(|j| i128::from(self.reduced[*j])).sum::<i128>();
        self.value = sum.clamp(i128::from(i64::MIN / 4), i128::from(i64::MAX / 4)) as i64;
        self.count.clear();
        self.count.resize(case.clients, 0);
        if case.room.is_some() {
            self.taker.clear();
            self.taker.resize(case.clients, usize::MAX);
            capacity::count(place, radius, &self.chosen, &mut self.count, &mut self.taker, steps);
        } else {
            self.count_near(place, radius, steps);
        }
        true
    }

    /// The sites that are surely open and the cheapest of the free ones.
    fn choose(&mut self, case: &Case, marks: &[Mark]) -> bool {
        self.chosen.clear();
        self.chosen.extend((0..case.sites).filter(|j| marks[*j] == Mark::Open));
        let mut free: Vec<_> = (0..case.sites)
            .filter(|j| marks[*j] == Mark::Free)
            .map(|j| (self.reduced[j], j))
            .collect();
        let Some(slots) = case.open.checked_sub(self.chosen.len()) else { return false };
        if free.len() < slots {
            return false;
        }
        self.edge = (i64::MIN, None);
        if slots < free.len() {
            let (_, next, _) = free.select_nth_unstable(slots);
            self.edge.1 = Some(next.0);
        }
        free.truncate(slots);
        self.edge.0 = free.iter().map(|(r, _)| *r).max().unwrap_or(i64::MIN);
        self.chosen.extend(free.iter().map(|(_, j)| *j));
        self.chosen.sort_unstable();
        true
    }

    fn count_near(&mut self, place: &Place<'_>, radius: &[i64], steps: &mut u64) {
        let mut is_chosen = vec![false; place.case.sites];
        self.chosen.iter().for_each(|j| is_chosen[*j] = true);
        let mut primal = 0;
        for (i, radius) in radius.iter().enumerate() {
            let mut nearest = None;
            for (cost, site) in place.reach.row(i) {
                if cost >= radius && nearest.is_some() {
                    break;
                }
                *steps += 1;
                if is_chosen[*site as usize] {
                    nearest = nearest.or(Some(*cost));
                    self.count[i] += i32::from(cost < radius);
                }
            }
            primal += nearest.unwrap_or(0);
        }
        self.primal = Some(primal / SCALE);
    }

    /// Opens and closes what no plan below `limit` can have otherwise; returns how many.
    fn fix(&self, marks: &mut [Mark], limit: i64) -> usize {
        let mut fixed = 0;
        let (dearest, next) = self.edge;
        for (j, mark) in marks.iter_mut().enumerate().filter(|(_, m)| **m == Mark::Free) {
            let reduced = self.reduced[j];
            if self.chosen.binary_search(&j).is_ok() {
                if next.is_none_or(|next| self.value - reduced + next > limit) {
                    *mark = Mark::Open;
                    fixed += 1;
                }
            } else if dearest == i64::MIN || self.value + reduced - dearest > limit {
                *mark = Mark::Closed;
                fixed += 1;
            }
        }
        fixed
    }
}

/// How a run goes.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pace {
    pub(super) iterations: u32,
    /// First share of the way to the target.
    pub(super) stride: f64,
    /// Iterations without a better bound before the stride is halved.
    pub(super) patience: u32,
    /// Every so many iterations the chosen sites are improved by exchanges; 0: never.
    pub(super) climb_every: u32,
}

/// Moves the radii; fixes sites; offers plans. `None`: no plan of this place is better than the
/// best known.
pub(super) fn relax(
    place: &Place<'_>,
    marks: &mut [Mark],
    start: &[i64],
    best: &mut Best,
    pace: Pace,
    meter: &mut Meter<'_>,
) -> Option<Relaxed> {
    let case = place.case;
    let most: Vec<i64> = (0..case.clients)
        .map(|i| {
            let dearest = (0..case.sites).map(|j| case.cost(i, j)).max().unwrap_or(0);
            (dearest + 1) * SCALE * if case.room.is_some() { 4 } else { 1 }
        })
        .collect();
    let least = if case.room.is_some() { -1 } else { 0 };
    let mut radius = start.to_vec();
    let mut relaxed = Relaxed {
        bound: i64::MIN,
        radius: radius.clone(),
        share: vec![0.0; case.sites],
        surplus: vec![0.0; case.clients],
    };
    let mut direction = vec![0.0_f64; case.clients];
    let mut stride = pace.stride;
    let mut waited = 0;
    let mut eval = Eval::default();
    for iteration in 0..pace.iterations {
        if !eval.run(place, marks, &radius, &mut meter.steps) {
            return None;
        }
        best.offer(case, &eval, meter);
        if pace.climb_every > 0 && iteration % pace.climb_every == pace.climb_every - 1 {
            best.climb(case, &eval.chosen, meter);
        }
        let limit = best.limit();
        if eval.value > limit {
            return None;
        }
        if eval.value > relaxed.bound {
            relaxed.bound = eval.value;
            relaxed.radius.copy_from_slice(&radius);
            waited = 0;
            eval.fix(marks, limit);
        } else {
            waited += 1;
            if waited >= pace.patience {
                stride /= 2.0;
                waited = 0;
                radius.copy_from_slice(&relaxed.radius);
                direction.fill(0.0);
            }
        }
        for share in &mut relaxed.share {
            *share *= 0.9;
        }
        for site in &eval.chosen {
            relaxed.share[*site] += 0.1;
        }
        for (surplus, count) in relaxed.surplus.iter_mut().zip(&eval.count) {
            *surplus = *surplus * 0.9 + 0.1 * f64::from(*count - 1);
        }
        let settled = stride < 0.002 || eval.count.iter().all(|c| *c == 1);
        if settled || meter.is_over() {
            break;
        }
        let square = deflect(&mut direction, eval.count.iter().map(|count| f64::from(1 - count)));
        if square <= 0.0 {
            break;
        }
        let target = best.target(case);
        let step = stride * (target.saturating_sub(eval.value)).max(SCALE) as f64 / square;
        for (i, d) in direction.iter().enumerate() {
            let next = radius[i].saturating_add((step * d).round() as i64);
            radius[i] = next.clamp(least * most[i], most[i]);
        }
    }
    Some(relaxed)
}
