//! A bound before the tree: what no plan can be worth, and which outfits no better plan can have.
//!
//! Rows that link outfits to levels of worth, one reel a rod, holders, leaders in stock and minutes
//! are paid for instead of kept (Lagrangian relaxation); what remains falls apart into one choice
//! for each reel and one for each lure, together for boats that contend for it. The prices are
//! moved by a subgradient rule with a fixed number of rounds. All sums are whole millionths, so that
//! the bound holds to the last digit.

use std::collections::{BTreeMap, BTreeSet};

use crate::deflect::deflect;
use crate::grid::{Cand, Grid, Stock};
use crate::watch::Watch;
use crate::weights::Micros;
use crate::worth;

/// What the relaxation found.
#[derive(Clone, Debug)]
pub(crate) struct Bound {
    /// No plan is worth more.
    pub(crate) best: Micros,
    /// By candidate, what no plan that takes it can be worth more than; those that were left out
    /// have the least number.
    pub(crate) with: Vec<Micros>,
    /// Where the prices ended, for the next bound to go on from.
    at: Option<State>,
}

/// Prices, and the levels that they belong to.
#[derive(Clone, Debug)]
struct State {
    levels: Vec<Levels>,
    prices: Prices,
}

impl Bound {
    /// Takes the lower of two bounds of the same plans.
    pub(crate) fn tighten(&mut self, other: Self) {
        self.best = self.best.min(other.best);
        self.with.iter_mut().zip(&other.with).for_each(|(a, b)| *a = (*a).min(*b));
        self.at = other.at.or(self.at.take());
    }

    /// Takes the lower bounds of `kept`, from a bound of the plans made from these alone.
    pub(crate) fn tighten_those(&mut self, kept: &[usize], other: Self) {
        for c in kept {
            self.with[*c] = self.with[*c].min(other.with[*c]);
        }
        self.at = other.at.or(self.at.take());
    }
}

/// Rounds of the subgradient rule.
const ROUNDS: u32 = 400;
/// Rounds without a better bound before the stride is halved.
const PATIENCE: u32 = 12;
/// Minutes count in parts of this, so that a price of time moves as fast as a price of worth.
const MINUTES: f64 = 30.0;

/// Levels of worth of a need.
#[derive(Clone, Debug)]
struct Levels {
    worths: Vec<Micros>,
    /// Position of the first level among all.
    first: usize,
    /// By level and share, what reaching the level brings.
    gains: Vec<Vec<Micros>>,
    copies: Micros,
    shortfall: Micros,
}

/// What an outfit does for a need, beyond some level.
#[derive(Clone, Copy, Default)]
struct Serves {
    need: usize,
    from: usize,
    to: usize,
    meets: bool,
}

/// A candidate as the relaxation counts it.
struct Outfit {
    index: usize,
    cost: Micros,
    bare: Vec<Serves>,
    leaders: Vec<Tied>,
    /// How many needs there are for which some leader does more than none.
    needs: usize,
    /// By leader and such a need, what it does beyond what the outfit does without.
    tied: Vec<Serves>,
}

/// A leader of a candidate.
struct Tied {
    /// Its part of what it costs to bring the leader.
    cost: Micros,
    minutes: Micros,
    pool: usize,
}

/// Prices.
#[derive(Clone, Debug)]
struct Prices {
    level: Vec<Micros>,
    hold: Vec<Micros>,
    rod: Vec<Micros>,
    boat: Vec<Micros>,
    leader: Vec<Micros>,
    minute: Vec<Micros>,
}

/// One evaluation.
struct Round {
    value: Micros,
    /// All that bring something, the most first.
    order: Vec<usize>,
    with: Vec<Micros>,
    slope: Vec<f64>,
}

struct Relaxation<'a, 'b> {
    grid: &'a Grid<'b>,
    levels: Vec<Levels>,
    outfits: Vec<Outfit>,
    by_lure: BTreeMap<usize, Vec<usize>>,
    /// By lure, whether others leave too little of it for all.
    is_scarce: Vec<bool>,
    count: usize,
}

/// Of things with a size and a worth those that fit and are worth most together, by position
/// (Martello and Toth 1990, "Knapsack problems", section 2.6).
fn packed(items: &[(u32, Micros)], room: u32) -> Vec<usize> {
    let all: usize = items.iter().map(|(size, _)| *size as usize).sum();
    let room = all.min(room as usize);
    // By item and room, what those up to it are worth at most.
    let mut rows = vec![vec![0; room + 1]];
    for &(size, worth) in items {
        let size = size as usize;
        let before = &rows[rows.len() - 1];
        let with = |left: usize| left.checked_sub(size).map_or(0, |left| before[left] + worth);
        let row = (0..=room).map(|left| before[left].max(with(left))).collect();
        rows.push(row);
    }
    let mut left = room;
    let mut taken = Vec::new();
    for (at, (size, _)) in items.iter().enumerate().rev() {
        if rows[at + 1][left] > rows[at][left] {
            taken.push(at);
            left -= *size as usize;
        }
    }
    taken
}

fn levels(grid: &Grid<'_>, kept: &[usize]) -> Vec<Levels> {
    let mut worths = vec![Vec::new(); grid.needs.len()];
    for offer in kept.iter().flat_map(|c| &grid.cands[*c].offers).filter(|o| o.worth > 0) {
        worths[offer.need].push(offer.worth);
    }
    let mut first = 0;
    grid.needs
        .iter()
        .zip(worths)
        .map(|(need, mut worths)| {
            worths.sort_unstable();
            worths.dedup();
            let term = |share, worth| grid.weights.term(need.importance, share, worth);
            let below = [0].iter().chain(&worths);
            let gains = below
                .zip(&worths)
                .map(|(low, high)| {
                    need.shares.iter().map(|s| term(*s, *high) - term(*s, *low)).collect()
                })
                .collect();
            let levels = Levels {
                first,
                gains,
                copies: Micros::from(need.copies),
                shortfall: if need.holdable { need.shortfall } else { 0 },
                worths,
            };
            first += levels.worths.len();
            levels
        })
        .collect()
}

/// What each of so many uses of a stock pays at least of what it costs to bring it.
fn part_of_bringing(grid: &Grid<'_>, stock: &Stock, most: usize) -> Micros {
    if stock.aboard {
        return 0;
    }
    let uses = most.min(grid.boats[stock.boat].outfits).max(1);
    (stock.move_cost + grid.weights.move_tie) / uses as Micros
}

fn outfit(grid: &Grid<'_>, levels: &[Levels], least_metres: &[u32], index: usize) -> Outfit {
    let cand = &grid.cands[index];
    let reach = |offer: &crate::grid::Off| {
        levels[offer.need].worths.partition_point(|worth| *worth <= offer.worth)
    };
    let mut bare: BTreeMap<usize, Serves> = BTreeMap::new();
    for offer in cand.offers.iter().filter(|o| o.leader.is_none()) {
        let (need, to) = (offer.need, reach(offer));
        bare.insert(need, Serves { need, from: 0, to, meets: offer.meets });
    }
    let mut more: Vec<(usize, Serves)> = Vec::new();
    for offer in &cand.offers {
        let Some(leader) = offer.leader else { continue };
        let (from, met) = bare.get(&offer.need).map_or((0, false), |b| (b.to, b.meets));
        let (to, meets) = (reach(offer).max(from), offer.meets && !met);
        if to > from || meets {
            more.push((leader, Serves { need: offer.need, from, to, meets }));
        }
    }
    let needs: BTreeSet<usize> = more.iter().map(|(_, s)| s.need).collect();
    let leaders: BTreeSet<usize> = more.iter().map(|(l, _)| *l).collect();
    let nothing = |need: &usize| {
        let from = bare.get(need).map_or(0, |b| b.to);
        Serves { need: *need, from, to: from, meets: false }
    };
    let does = |leader: usize, need: &usize| {
        let own = more.iter().find(|(l, s)| *l == leader && s.need == *need);
        own.map_or_else(|| nothing(need), |(_, s)| *s)
    };
    let tied = leaders.iter().flat_map(|l| needs.iter().map(move |need| does(*l, need))).collect();
    let weights = &grid.weights;
    let leaders = leaders.iter().map(|l| {
        let stock = &grid.leaders[*l];
        let is_ample = grid.ample[stock.pool];
        let most = if is_ample { usize::MAX } else { grid.leader_pools[stock.pool] as usize };
        let cost = part_of_bringing(grid, stock, most);
        Tied { cost, minutes: Micros::from(stock.minutes), pool: stock.pool }
    });
    let line = cand.stock.map(|(s, _)| {
        let stock = &grid.lines[s];
        let most = grid.line_pools[stock.pool] / least_metres[s].max(1);
        part_of_bringing(grid, stock, most as usize)
    });
    Outfit {
        index,
        cost: cand.move_cost
            + weights.outfit_tie
            + Micros::from(cand.moves) * weights.move_tie
            + line.unwrap_or(0),
        leaders: leaders.collect(),
        needs: needs.len(),
        tied,
        bare: bare.into_values().collect(),
    }
}

impl<'a, 'b> Relaxation<'a, 'b> {
    fn new(grid: &'a Grid<'b>, kept: &[usize], levels: Vec<Levels>) -> Self {
        let mut least_metres = vec![u32::MAX; grid.lines.len()];
        for (s, metres) in kept.iter().filter_map(|c| grid.cands[*c].stock) {
            least_metres[s] = least_metres[s].min(metres);
        }
        let outfits = kept.iter().map(|c| outfit(grid, &levels, &least_metres, *c)).collect();
        let mut by_lure: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
        for (n, need) in grid.needs.iter().enumerate() {
            by_lure.entry(need.lure).or_default().push(n);
        }
        let count = levels.iter().map(|l| l.worths.len()).sum();
        let is_scarce = (0..grid.lures.len()).map(|lure| worth::is_scarce(grid, lure)).collect();
        Self { grid, levels, outfits, by_lure, is_scarce, count }
    }

    /// Half of what the first copy brings: near where prices end.
    fn start(&self) -> Prices {
        let level = self.levels.iter().flat_map(|l| &l.gains);
        Prices {
            level: level.map(|gains| gains.first().copied().unwrap_or(0) / 2).collect(),
            hold: self.levels.iter().map(|l| l.shortfall / l.copies.max(1) / 2).collect(),
            rod: vec![0; self.grid.rods.len()],
            boat: vec![0; self.grid.boats.len()],
            leader: vec![0; self.grid.leader_pools.len()],
            minute: vec![0; self.grid.boats.len()],
        }
    }

    /// By need and level, what all levels up to it cost.
    fn sums(&self, prices: &Prices) -> Vec<Vec<Micros>> {
        let sums = self.levels.iter().map(|l| {
            let mut sum = 0;
            let prices = &prices.level[l.first..l.first + l.worths.len()];
            let steps = prices.iter().map(|price| {
                sum += price;
                sum
            });
            [0].into_iter().chain(steps).collect()
        });
        sums.collect()
    }

    /// What the offers of a list bring at the prices.
    fn sum(prices: &Prices, sums: &[Vec<Micros>], list: &[Serves]) -> Micros {
        list.iter()
            .map(|s| {
                let hold = if s.meets { prices.hold[s.need] } else { 0 };
                sums[s.need][s.to] - sums[s.need][s.from] + hold
            })
            .sum()
    }

    fn evaluate(&self, prices: &Prices) -> Round {
        let grid = self.grid;
        let mut slope = Slope::new(self, grid);
        let mut value: Micros = -grid.needs.iter().map(|n| n.shortfall).sum::<Micros>();
        value += prices.rod.iter().sum::<Micros>();
        for (boat, limits) in grid.boats.iter().enumerate() {
            let holders = limits.outfits.min(self.outfits.len()) as Micros;
            value += prices.boat[boat] * holders;
            value += prices.minute[boat] * Micros::from(limits.job_minutes);
            slope.boat[boat] += holders as f64;
            slope.minute[boat] += f64::from(limits.job_minutes);
        }
        for (pool, quantity) in grid.leader_pools.iter().enumerate() {
            value += prices.leader[pool] * Micros::from(*quantity);
            slope.leader[pool] += f64::from(*quantity);
        }
        let sums = self.sums(prices);
        let brings = self.by_lure.iter();
        let brings: Vec<(usize, Micros)> =
            brings.map(|(lure, needs)| (*lure, self.lure(*lure, needs, prices))).collect();
        for lure in self.given(&brings) {
            let at = brings.partition_point(|(other, _)| *other < lure);
            value += brings[at].1;
            self.want(&self.by_lure[&lure], prices, &mut slope);
        }
        let reduced: Vec<Micros> =
            self.outfits.iter().map(|o| self.reduced(o, prices, &sums)).collect();
        let mut by_reel: Vec<Option<usize>> = vec![None; grid.reels.len()];
        for (o, worth) in reduced.iter().enumerate() {
            let best = &mut by_reel[self.cand(o).reel];
            if best.is_none_or(|b| reduced[b] < *worth) {
                *best = Some(o);
            }
        }
        let mut chosen: Vec<usize> =
            by_reel.iter().flatten().copied().filter(|o| reduced[*o] > 0).collect();
        chosen.sort_by_key(|o| (std::cmp::Reverse(reduced[*o]), *o));
        let most = grid.boats.iter().map(|b| b.outfits).sum::<usize>();
        chosen.truncate(most);
        let full = chosen.len() == most;
        let least = if full { chosen.last().map_or(0, |o| reduced[*o]) } else { 0 };
        value += chosen.iter().map(|o| reduced[*o]).sum::<Micros>();
        for &o in &chosen {
            self.count(o, prices, &sums, &mut slope);
        }
        let with = (0..self.outfits.len())
            .map(|o| {
                let now = by_reel[self.cand(o).reel].filter(|b| chosen.contains(b));
                value - now.map_or(least, |b| reduced[b]) + reduced[o]
            })
            .collect();
        let mut order: Vec<usize> = (0..reduced.len()).filter(|o| reduced[*o] > 0).collect();
        order.sort_by_key(|o| (std::cmp::Reverse(reduced[*o]), *o));
        Round { value, order, with, slope: slope.list(prices, &grid.ample) }
    }

    fn cand(&self, o: usize) -> &Cand {
        &self.grid.cands[self.outfits[o].index]
    }

    fn reduced(&self, outfit: &Outfit, prices: &Prices, sums: &[Vec<Micros>]) -> Micros {
        let cand = &self.grid.cands[outfit.index];
        let minute = prices.minute[cand.boat];
        Self::sum(prices, sums, &outfit.bare) + outfit.best_ties(minute, prices, sums).worth
            - outfit.cost
            - minute * Micros::from(cand.minutes)
            - prices.rod[cand.rod]
            - prices.boat[cand.boat]
    }

    /// What the needs of a lure bring beyond the prices, if it is taken along.
    fn lure(&self, lure: usize, needs: &[usize], prices: &Prices) -> Micros {
        let stock = &self.grid.lures[lure];
        let mut sum = 0;
        for &n in needs {
            let l = &self.levels[n];
            let prices_of = &prices.level[l.first..l.first + l.worths.len()];
            for (gains, price) in l.gains.iter().zip(prices_of) {
                sum += gains.iter().map(|gain| (gain - price).max(0)).sum::<Micros>();
            }
            sum += (l.shortfall - l.copies * prices.hold[n]).max(0);
        }
        let bring = if stock.aboard { 0 } else { stock.move_cost + self.grid.weights.move_tie };
        sum - bring
    }

    /// The lures that are taken along, by what they bring: of those that boats contend for as many
    /// as there are.
    fn given(&self, brings: &[(usize, Micros)]) -> Vec<usize> {
        let mut given: Vec<usize> = Vec::new();
        let mut contended: BTreeMap<usize, Vec<(usize, Micros)>> = BTreeMap::new();
        for &(lure, sum) in brings.iter().filter(|(_, sum)| *sum > 0) {
            match self.is_scarce[lure] {
                true => contended.entry(self.grid.lures[lure].pool).or_default().push((lure, sum)),
                false => given.push(lure),
            }
        }
        for (pool, asked) in contended {
            let weigh = |(lure, sum): &(usize, Micros)| (self.grid.lures[*lure].quantity, *sum);
            let items: Vec<_> = asked.iter().map(weigh).collect();
            let packed = packed(&items, self.grid.lure_pools[pool]);
            given.extend(packed.into_iter().map(|at| asked[at].0));
        }
        given
    }

    /// Adds a lure that is taken along to the slope.
    fn want(&self, needs: &[usize], prices: &Prices, slope: &mut Slope) {
        for &n in needs {
            let l = &self.levels[n];
            for (k, gains) in l.gains.iter().enumerate() {
                let price = prices.level[l.first + k];
                let wanted = gains.iter().filter(|gain| **gain > price).count();
                slope.level[l.first + k] -= wanted as f64;
            }
            if l.shortfall > l.copies * prices.hold[n] {
                slope.hold[n] -= l.copies as f64;
            }
        }
    }

    /// Adds a chosen outfit to the slope.
    fn count(&self, o: usize, prices: &Prices, sums: &[Vec<Micros>], slope: &mut Slope) {
        let outfit = &self.outfits[o];
        let cand = &self.grid.cands[outfit.index];
        slope.rod[cand.rod] -= 1.0;
        slope.boat[cand.boat] -= 1.0;
        slope.minute[cand.boat] -= f64::from(cand.minutes);
        let minute = prices.minute[cand.boat];
        let taken = outfit.best_ties(minute, prices, sums).taken;
        for tied in taken.paid().iter().map(|at| &outfit.leaders[*at]) {
            slope.leader[tied.pool] -= 1.0;
            slope.minute[cand.boat] -= tied.minutes as f64;
        }
        let all = 0..outfit.leaders.len();
        let is_taken = |at: &usize| matches!(taken, Taken::All(_)) || taken.paid().contains(at);
        let tied = (0..outfit.needs).map(|n| outfit.together(all.clone().filter(is_taken), n));
        for s in outfit.bare.iter().copied().chain(tied) {
            let first = self.levels[s.need].first;
            for level in &mut slope.level[first + s.from..first + s.to] {
                *level += 1.0;
            }
            slope.hold[s.need] += f64::from(u8::from(s.meets));
        }
    }
}

/// Leaders of an outfit, and what they bring at the prices.
struct Ties {
    worth: Micros,
    taken: Taken,
}

/// Leaders of an outfit, by position.
#[derive(Clone, Copy)]
enum Taken {
    None,
    One(usize),
    Two([usize; 2]),
    /// All, of which these are paid for.
    All([usize; 3]),
}

impl Taken {
    fn paid(&self) -> &[usize] {
        match self {
            Self::None => &[],
            Self::One(at) => std::slice::from_ref(at),
            Self::Two(both) => both,
            Self::All(three) => three,
        }
    }
}

impl Ties {
    fn improve(&mut self, worth: Micros, taken: Taken) {
        if worth > self.worth {
            *self = Self { worth, taken };
        }
    }
}

impl Outfit {
    /// The leaders that bring most at the prices, where a minute costs so much. What two of them do
    /// for a need counts once. Up to two this is exact; of more all count, and the three that cost
    /// least are paid for.
    fn best_ties(&self, minute: Micros, prices: &Prices, sums: &[Vec<Micros>]) -> Ties {
        let mut best = Ties { worth: 0, taken: Taken::None };
        // What is worth nothing alone is worth nothing beside others.
        let mut open: Vec<(usize, Micros, Micros)> = Vec::new();
        for (at, leader) in self.leaders.iter().enumerate() {
            let cost = leader.cost + leader.minutes * minute + prices.leader[leader.pool];
            let worth = Relaxation::sum(prices, sums, self.of(at)) - cost;
            if worth > 0 {
                open.push((at, cost, worth));
                best.improve(worth, Taken::One(at));
            }
        }
        if open.len() < 2 {
            return best;
        }
        open.sort_unstable_by_key(|(at, cost, _)| (*cost, *at));
        let paid = |many: usize| open.iter().take(many).map(|(_, cost, _)| cost).sum::<Micros>();
        let all: Micros = (0..self.needs)
            .map(|n| Relaxation::sum(prices, sums, &[self.together(open.iter().map(|o| o.0), n)]))
            .sum();
        if all - paid(2) <= best.worth {
            return best;
        }
        if let [first, second, third, ..] = open[..] {
            best.improve(all - paid(3), Taken::All([first.0, second.0, third.0]));
        }
        for (i, (a, cost, worth)) in open.iter().enumerate() {
            for (b, more, other) in &open[i + 1..] {
                if worth + other > best.worth {
                    let both = (0..self.needs)
                        .map(|n| Relaxation::sum(prices, sums, &[self.together([*a, *b], n)]))
                        .sum::<Micros>();
                    best.improve(both - cost - more, Taken::Two([*a, *b]));
                }
            }
        }
        best
    }

    /// What a leader does for each need.
    fn of(&self, at: usize) -> &[Serves] {
        &self.tied[at * self.needs..(at + 1) * self.needs]
    }

    /// What some of its leaders do together for one of the needs.
    fn together(&self, some: impl IntoIterator<Item = usize>, need: usize) -> Serves {
        let all = some.into_iter().map(|at| self.of(at)[need]);
        let both =
            |a: Serves, b: Serves| Serves { to: a.to.max(b.to), meets: a.meets || b.meets, ..a };
        all.reduce(both).unwrap_or_default()
    }
}

/// How the bound changes with each price.
struct Slope {
    level: Vec<f64>,
    hold: Vec<f64>,
    rod: Vec<f64>,
    boat: Vec<f64>,
    leader: Vec<f64>,
    minute: Vec<f64>,
}

impl Slope {
    fn new(relaxation: &Relaxation<'_, '_>, grid: &Grid<'_>) -> Self {
        Self {
            level: vec![0.0; relaxation.count],
            hold: vec![0.0; grid.needs.len()],
            rod: vec![1.0; grid.rods.len()],
            boat: vec![0.0; grid.boats.len()],
            leader: vec![0.0; grid.leader_pools.len()],
            minute: vec![0.0; grid.boats.len()],
        }
    }

    /// All in one list; what would only push a price below 0 is 0, and so is the slope of what is
    /// ample, the price of which stays 0.
    fn list(mut self, prices: &Prices, ample: &[bool]) -> Vec<f64> {
        self.leader.iter_mut().zip(ample).filter(|(_, ample)| **ample).for_each(|(s, _)| *s = 0.0);
        let minute = self.minute.into_iter().map(|slope| slope / MINUTES);
        let worths = self.level.into_iter().chain(self.hold).chain(self.rod).chain(self.boat);
        let slopes = worths.chain(self.leader).chain(minute);
        slopes
            .zip(prices.all())
            .map(|(slope, price)| if *price == 0 && slope > 0.0 { 0.0 } else { slope })
            .collect()
    }
}

impl Prices {
    fn all(&self) -> impl Iterator<Item = &Micros> {
        let worths = self.level.iter().chain(&self.hold).chain(&self.rod);
        worths.chain(&self.boat).chain(&self.leader).chain(&self.minute)
    }

    /// Moves against the slope; a minute never costs more than one over the budget.
    fn step(&mut self, direction: &[f64], step: f64, minute: Micros) {
        let minutes = direction.len() - self.minute.len();
        let worths = self.level.iter_mut().chain(&mut self.hold).chain(&mut self.rod);
        let worths = worths.chain(&mut self.boat).chain(&mut self.leader);
        let all = worths.chain(&mut self.minute);
        for (i, (price, slope)) in all.zip(direction).enumerate() {
            let (unit, most) = if i >= minutes { (MINUTES, minute) } else { (1.0, MOST) };
            let next = *price as f64 - step * slope / unit;
            *price = (next.round() as Micros).clamp(0, most);
        }
    }
}

/// No price is above this: more than anything is worth.
const MOST: Micros = 1 << 40;

/// Bounds the plans made from `kept`. `reached` is what a known plan is worth. The outfits of each
/// round, those that bring most first, are shown to `offer`, which may know a better plan. `from` is
/// a bound of these plans, or of more, to go on from.
pub(crate) fn relax(
    grid: &Grid<'_>,
    kept: &[usize],
    mut reached: Option<Micros>,
    from: Option<&Bound>,
    offer: &mut dyn FnMut(&[usize]) -> Option<Micros>,
    watch: &Watch<'_>,
) -> Bound {
    let begun = from.and_then(|bound| bound.at.clone());
    let is_begun = begun.is_some();
    let (levels, prices) = begun.map(|state| (state.levels, state.prices)).unzip();
    let relaxation =
        Relaxation::new(grid, kept, levels.unwrap_or_else(|| self::levels(grid, kept)));
    let mut prices = prices.unwrap_or_else(|| relaxation.start());
    let mut least = prices.clone();
    let mut best: Option<Round> = None;
    let mut stride = if is_begun { 0.5 } else { 1.0 };
    let mut waited = 0;
    let mut direction: Vec<f64> = Vec::new();
    for _ in 0..ROUNDS {
        let round = relaxation.evaluate(&prices);
        let order: Vec<_> = round.order.iter().map(|o| relaxation.outfits[*o].index).collect();
        reached = reached.max(offer(&order));
        let value = round.value;
        let slope = round.slope.clone();
        if best.as_ref().is_none_or(|b| value < b.value) {
            watch.bound(value);
            best = Some(round);
            least = prices.clone();
            waited = 0;
        } else {
            waited += 1;
            if waited >= PATIENCE {
                stride /= 2.0;
                waited = 0;
                prices = least.clone();
                direction.clear();
            }
        }
        let top = best.as_ref().map_or(value, |b| b.value);
        if stride < 0.01 || reached.is_some_and(|reached| top <= reached) || watch.is_over() {
            break;
        }
        direction.resize(slope.len(), 0.0);
        let square = deflect(&mut direction, slope.iter().copied());
        if square <= 0.0 {
            break;
        }
        // Without a plan the way to go is a guess: a twentieth.
        let target = reached.unwrap_or(top - (top.abs() / 20).max(1_000));
        let step = stride * (value - target).max(1_000) as f64 / square;
        prices.step(&direction, step, grid.weights.job_minute);
    }
    let mut with = vec![Micros::MIN; grid.cands.len()];
    let Some(best) = best else { return Bound { best: Micros::MAX, with, at: None } };
    for (outfit, value) in relaxation.outfits.iter().zip(&best.with) {
        with[outfit.index] = *value;
    }
    let at = Some(State { levels: relaxation.levels, prices: least });
    Bound { best: best.value, with, at }
}

#[cfg(test)]
mod tests {
    use super::{Micros, Outfit, Prices, Serves, Tied, packed};

    // Source: all subsets, counted one by one.
    #[test]
    fn what_is_packed_is_worth_most() {
        let items = [(2, 30), (3, 50), (1, 9), (4, 70), (2, 31)];
        let sum = |taken: &[usize]| -> (u32, i64) {
            taken
                .iter()
                .fold((0, 0), |(size, worth), at| (size + items[*at].0, worth + items[*at].1))
        };
        for room in 0..=13 {
            let subsets = (0..1_u32 << items.len()).map(|set| -> Vec<usize> {
                (0..items.len()).filter(|at| set >> at & 1 == 1).collect()
            });
            let fitting = subsets.map(|set| sum(&set)).filter(|(size, _)| *size <= room);
            let (size, worth) = sum(&packed(&items, room));
            assert!(size <= room);
            assert_eq!(Some(worth), fitting.map(|(_, worth)| worth).max(), "room {room}");
        }
    }

    /// Numbers that look random (Knuth's MMIX generator).
    fn roll(state: &mut u64, below: u64) -> i64 {
        *state =
            state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((*state >> 33) % below) as i64
    }

    // Source: brute force over all sets of leaders, by hand of what a set does.
    #[test]
    fn no_set_of_leaders_brings_more_than_the_bound() {
        const NEEDS: usize = 5;
        let mut state = 7;
        let mut many = 0;
        for _ in 0..2_000 {
            let count = 1 + roll(&mut state, 5) as usize;
            let sums: Vec<Vec<Micros>> = (0..NEEDS)
                .map(|_| {
                    let steps = [0; 4].map(|_: i32| roll(&mut state, 90));
                    (0..=4).map(|k| steps[..k].iter().sum()).collect()
                })
                .collect();
            let prices = Prices {
                level: Vec::new(),
                hold: (0..NEEDS).map(|_| roll(&mut state, 60)).collect(),
                rod: Vec::new(),
                boat: Vec::new(),
                leader: (0..count).map(|_| roll(&mut state, 80)).collect(),
                minute: Vec::new(),
            };
            let froms: Vec<usize> = (0..NEEDS).map(|_| roll(&mut state, 3) as usize).collect();
            let mut serves = |need: usize| Serves {
                need,
                from: froms[need],
                to: froms[need] + roll(&mut state, 5 - froms[need] as u64) as usize,
                meets: roll(&mut state, 3) == 0,
            };
            let tied = (0..count).flat_map(|_| (0..NEEDS).map(&mut serves).collect::<Vec<_>>());
            let tied = tied.collect();
            let leaders: Vec<Tied> = (0..count)
                .map(|pool| Tied {
                    cost: roll(&mut state, 40),
                    minutes: roll(&mut state, 3) * 4,
                    pool,
                })
                .collect();
            let outfit =
                Outfit { index: 0, cost: 0, bare: Vec::new(), leaders, needs: NEEDS, tied };
            let minute = roll(&mut state, 8);
            let worth = |set: u32| -> Micros {
                let own: Vec<usize> = (0..count).filter(|l| set >> l & 1 == 1).collect();
                let cost = own.iter().map(|l| {
                    let leader = &outfit.leaders[*l];
                    leader.cost + leader.minutes * minute + prices.leader[leader.pool]
                });
                let gain = (0..NEEDS).map(|need| {
                    let does = own.iter().map(|l| &outfit.tied[l * NEEDS + need]);
                    let to = does.clone().map(|s| s.to).max().unwrap_or(froms[need]);
                    let hold = if does.clone().any(|s| s.meets) { prices.hold[need] } else { 0 };
                    sums[need][to] - sums[need][froms[need]] + hold
                });
                gain.sum::<Micros>() - cost.sum::<Micros>()
            };
            let best = (0..1_u32 << count).max_by_key(|set| worth(*set)).unwrap_or(0);
            let bound = outfit.best_ties(minute, &prices, &sums).worth;
            assert!(bound >= worth(best), "{bound} is below {}", worth(best));
            if best.count_ones() <= 2 && count <= 2 {
                assert_eq!(bound, worth(best));
            }
            many += u32::from(best.count_ones() > 2);
        }
        assert!(many > 100, "sets of three and more decide {many} times");
    }
}
