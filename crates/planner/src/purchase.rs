//! What a budget buys for a season: greedy, then exchanges, against a bound.
//!
//! Rows that link outfits to levels of worth are paid for instead of kept (Lagrangian
//! relaxation): then each need decides by itself, trip by trip, and the outfits are a knapsack.
//! The prices are moved by a subgradient rule with a fixed number of rounds. All sums are whole,
//! so that the bound holds to the last digit.

use crate::deflect::deflect;
use crate::season::{Count, Fine, GoOn, SeasonError, go_on};

/// Rounds of the subgradient rule.
const ROUNDS: u32 = 3_000;
/// Rounds without a better bound before the stride is halved.
const PATIENCE: u32 = 30;
/// The stride at which the rule ends.
const LEAST_STRIDE: f64 = 0.000_5;

/// What is had, what was bought for the budget included, and its worth.
#[derive(Clone, Debug)]
pub(crate) struct Had {
    pub(crate) outfits: Vec<usize>,
    pub(crate) worth: Fine,
}

/// What a budget buys, and what nothing within it is worth more than.
pub(crate) fn best(
    count: &Count<'_>,
    budget: u64,
    asked: GoOn<'_>,
) -> Result<(Had, Fine), SeasonError> {
    let mut best = greedy(count, budget, true, asked)?;
    let by_worth = greedy(count, budget, false, asked)?;
    if by_worth.worth > best.worth {
        best = by_worth;
    }
    best = exchange(count, budget, best, asked)?;
    let bound = Relaxation::new(count, budget).bound(&mut best, asked)?;
    Ok((best, bound))
}

fn price(count: &Count<'_>, outfit: usize) -> Option<u64> {
    count.season.outfits[outfit].price
}

fn spent(count: &Count<'_>, outfits: &[usize]) -> u64 {
    outfits.iter().filter_map(|o| price(count, *o)).sum()
}

/// Buys what adds most, or most for its price, until nothing more can be bought.
fn greedy(
    count: &Count<'_>,
    budget: u64,
    for_price: bool,
    asked: GoOn<'_>,
) -> Result<Had, SeasonError> {
    let there = count.there();
    let mut had = Had { worth: count.all(&there), outfits: there };
    loop {
        let left = budget - spent(count, &had.outfits);
        let mut best: Option<(Fine, u64, usize)> = None;
        for o in 0..count.season.outfits.len() {
            let Some(price) = price(count, o).filter(|p| *p <= left && !had.outfits.contains(&o))
            else {
                continue;
            };
            go_on(asked)?;
            let adds = count.adds(&had.outfits, o);
            let better = best.is_none_or(|(most, at, _)| {
                if for_price {
                    adds * Fine::from(at.max(1)) > most * Fine::from(price.max(1))
                } else {
                    adds > most
                }
            });
            if adds > 0 && better {
                best = Some((adds, price, o));
            }
        }
        let Some((adds, _, o)) = best else { return Ok(had) };
        had.outfits.push(o);
        had.worth += adds;
    }
}

/// Buys one thing instead of another, or besides, as long as that helps, the best exchange first.
fn exchange(
    count: &Count<'_>,
    budget: u64,
    mut best: Had,
    asked: GoOn<'_>,
) -> Result<Had, SeasonError> {
    loop {
        let mut next: Option<Had> = None;
        let bought = best.outfits.iter().copied().filter(|o| price(count, *o).is_some());
        for gone in bought.map(Some).chain([None]) {
            let fewer: Vec<usize> =
                best.outfits.iter().copied().filter(|o| Some(*o) != gone).collect();
            let (left, worth) = (budget - spent(count, &fewer), count.all(&fewer));
            for new in (0..count.season.outfits.len()).filter(|o| !best.outfits.contains(o)) {
                if price(count, new).is_none_or(|price| price > left) {
                    continue;
                }
                go_on(asked)?;
                let worth = worth + count.adds(&fewer, new);
                if worth > next.as_ref().map_or(best.worth, |next| next.worth) {
                    let outfits = fewer.iter().copied().chain([new]).collect();
                    next = Some(Had { outfits, worth });
                }
            }
        }
        match next {
            Some(next) => best = next,
            None => return Ok(best),
        }
    }
}

struct Relaxation<'a, 'b> {
    count: &'a Count<'b>,
    budget: u64,
    /// By need, the position of its first level among all.
    first: Vec<usize>,
    /// By level, what it brings for each share.
    gains: Vec<Vec<Fine>>,
    /// By outfit and need, how many levels it reaches.
    reach: Vec<Vec<usize>>,
}

/// One evaluation.
struct Round {
    value: Fine,
    /// What is had whole.
    outfits: Vec<usize>,
    slope: Vec<f64>,
}

impl<'a, 'b> Relaxation<'a, 'b> {
    fn new(count: &'a Count<'b>, budget: u64) -> Self {
        let season = count.season;
        let (mut first, mut gains) = (Vec::new(), Vec::new());
        let mut reach = vec![Vec::new(); season.outfits.len()];
        for (n, row) in season.worth.iter().enumerate() {
            let mut worths: Vec<_> = row.iter().copied().filter(|worth| *worth > 0).collect();
            worths.sort_unstable();
            worths.dedup();
            first.push(gains.len());
            let weight = Fine::from(season.needs[n].weight);
            let mut below = 0;
            for worth in &worths {
                let step = weight * Fine::from(worth - below);
                gains.push(count.shares[n].iter().map(|s| step * Fine::from(*s)).collect());
                below = *worth;
            }
            for (outfit, worth) in row.iter().enumerate() {
                reach[outfit].push(worths.partition_point(|w| w <= worth));
            }
        }
        Self { count, budget, first, gains, reach }
    }

    /// Levels that an outfit reaches.
    fn levels(&self, outfit: usize) -> impl Iterator<Item = std::ops::Range<usize>> {
        self.first.iter().zip(&self.reach[outfit]).map(|(first, reach)| *first..first + reach)
    }

    /// Between what the last outfit brings that is had for a level and what the next would bring:
    /// there the prices of a best choice lie.
    fn start(&self, had: &Had) -> Vec<Fine> {
        let mut there = vec![0_usize; self.gains.len()];
        let levels = had.outfits.iter().flat_map(|o| self.levels(*o)).flatten();
        levels.for_each(|level| there[level] += 1);
        let price = |(gains, there): (&Vec<Fine>, &usize)| {
            let at = |j: usize| gains.get(j).copied().unwrap_or(0);
            (at(there.saturating_sub(1)) + at(*there)) / 2
        };
        self.gains.iter().zip(&there).map(price).collect()
    }

    fn evaluate(&self, prices: &[Fine]) -> Round {
        let mut slope = vec![0.0; self.gains.len()];
        let mut value = 0;
        for ((gains, price), slope) in self.gains.iter().zip(prices).zip(&mut slope) {
            value += gains.iter().map(|gain| (gain - price).max(0)).sum::<Fine>();
            *slope -= gains.iter().filter(|gain| *gain > price).count() as f64;
        }
        // Sums of the prices up to each level, over all needs: what a need reaches is a difference.
        let sums: Vec<Fine> = [0]
            .into_iter()
            .chain(prices.iter().scan(0, |sum, price| {
                *sum += price;
                Some(*sum)
            }))
            .collect();
        let brings = |o: usize| -> Fine {
            self.levels(o).map(|levels| sums[levels.end] - sums[levels.start]).sum()
        };
        let mut outfits = self.count.there();
        value += outfits.iter().map(|o| brings(*o)).sum::<Fine>();
        let all = 0..self.count.season.outfits.len();
        let mut list: Vec<(Fine, u64, usize)> = all
            .filter_map(|o| Some((brings(o), price(self.count, o)?, o)))
            .filter(|(brings, price, _)| *brings > 0 && *price <= self.budget)
            .collect();
        list.sort_by(|(a, p, i), (b, q, j)| {
            (b * Fine::from(*p)).cmp(&(a * Fine::from(*q))).then(i.cmp(j))
        });
        let mut left = self.budget;
        let mut count = |outfit: usize, part: f64| {
            self.levels(outfit).flatten().for_each(|level| slope[level] += part);
        };
        outfits.iter().for_each(|o| count(*o, 1.0));
        for (brings, price, o) in list {
            if price > left {
                let part = brings * Fine::from(left);
                value += (part + Fine::from(price) - 1) / Fine::from(price);
                count(o, left as f64 / price as f64);
                break;
            }
            left -= price;
            value += brings;
            count(o, 1.0);
            outfits.push(o);
        }
        Round { value, outfits, slope }
    }

    /// Moves the prices. Each relaxed choice may be better than the best known.
    fn bound(&self, best: &mut Had, asked: GoOn<'_>) -> Result<Fine, SeasonError> {
        let mut prices = self.start(best);
        let mut least = prices.clone();
        let mut bound: Option<Fine> = None;
        let (mut stride, mut waited) = (1.0, 0);
        let mut direction = vec![0.0; prices.len()];
        for _ in 0..ROUNDS {
            go_on(asked)?;
            let Round { value, outfits, slope } = self.evaluate(&prices);
            let worth = self.count.all(&outfits);
            if worth > best.worth {
                *best = exchange(self.count, self.budget, Had { outfits, worth }, asked)?;
            }
            if bound.is_none_or(|bound| value < bound) {
                bound = Some(value);
                least.clone_from(&prices);
                waited = 0;
            } else {
                waited += 1;
                if waited >= PATIENCE {
                    stride /= 2.0;
                    waited = 0;
                    prices.clone_from(&least);
                    direction.fill(0.0);
                    continue;
                }
            }
            let square = deflect(&mut direction, slope.iter().copied());
            if stride < LEAST_STRIDE || square <= 0.0 || value <= best.worth {
                break;
            }
            let step = stride * (value - best.worth) as f64 / square;
            for (price, slope) in prices.iter_mut().zip(&direction) {
                *price = (*price - (step * slope).round() as Fine).max(0);
            }
        }
        Ok(bound.unwrap_or(best.worth).max(best.worth))
    }
}
