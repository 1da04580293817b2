//! A season instead of a day: which outfit would add most, what a budget buys, what never leaves
//! the rack, and which few outfits cover all lures best.
//!
//! All of it works on a table of worths, by need and outfit, that the caller judged. A need counts
//! its best outfits with the shares of [`Weights::shares`]: the second one is a backup, or fishes
//! the second copy. So a duplicate of an outfit that is there is an outfit like any other, and
//! often the one that adds most.

use std::cell::Cell;
use std::cmp::Reverse;
use std::ops::ControlFlow;

use crate::faults::{Fault, ProblemFaults};
use crate::median::{MedianAnswer, MedianProblem, MedianProgress, Work, solve_median_watched};
use crate::plan::Status;
use crate::purchase;
use crate::weights::{Micros, ONE, Weights};

/// Why there is no answer.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SeasonError {
    /// All faults of the season, the weights or what is asked.
    #[error(transparent)]
    Faults(#[from] ProblemFaults),
    /// Whoever asked was asked in turn, and gave up.
    #[error("given up")]
    GivenUp,
}

/// Asked between steps; `Break` gives up.
pub type GoOn<'a> = &'a dyn Fn() -> ControlFlow<()>;

pub(crate) fn go_on(asked: GoOn<'_>) -> Result<(), SeasonError> {
    if asked().is_break() { Err(SeasonError::GivenUp) } else { Ok(()) }
}

/// Needs of a season, and outfits that are there or could be had.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Season {
    /// What is fished.
    pub needs: Vec<SeasonNeed>,
    /// Outfits that are there, and those that could be bought. The same spec twice is two outfits.
    pub outfits: Vec<SeasonOutfit>,
    /// By need, then outfit: what the outfit is worth for it, 0 to 1 000 000.
    pub worth: Vec<Vec<Micros>>,
}

/// A lure and how often it is fished.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SeasonNeed {
    /// Its id.
    pub id: String,
    /// Importance times days of the season, 1 to 10 000.
    pub weight: u32,
    /// Copies fished at the same time.
    pub copies_at_once: u32,
}

/// An outfit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SeasonOutfit {
    /// Its id.
    pub id: String,
    /// What it costs, in the smallest coin; none: it is there.
    pub price: Option<u64>,
}

/// An outfit and what it adds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Addition {
    /// Position in [`Season::outfits`].
    pub outfit: usize,
    /// What it adds to the season, in millionths.
    pub adds: Micros,
    /// Needs that it serves better than what was there, those that gain most first, each with
    /// what it gains, in millionths.
    pub lifts: Vec<(usize, Micros)>,
}

/// What a budget buys.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Purchases {
    /// What adds most first, each with what it adds to those before.
    pub buys: Vec<Addition>,
    /// What all of them cost.
    pub cost: u64,
    /// What all of them add, in millionths.
    pub adds: Micros,
    /// No purchases within the budget add more than this.
    pub bound: Micros,
}

/// Worth in 1e-12, before it is rounded.
pub(crate) type Fine = i128;

fn micros(fine: Fine) -> Micros {
    ((fine + Fine::from(ONE) / 2) / Fine::from(ONE)) as Micros
}

/// Counts seasons.
pub(crate) struct Count<'a> {
    pub(crate) season: &'a Season,
    pub(crate) shares: Vec<Vec<Micros>>,
}

impl<'a> Count<'a> {
    fn new(season: &'a Season, weights: &Weights) -> Self {
        let shares = season.needs.iter().map(|n| weights.shares(n.copies_at_once)).collect();
        Self { season, shares }
    }

    fn need(&self, need: usize, outfits: &[usize]) -> Fine {
        // As many of the best as have a share, and no more.
        let mut worths: Vec<Micros> = vec![0; self.shares[need].len()];
        for worth in outfits.iter().map(|o| self.season.worth[need][*o]) {
            let at = worths.partition_point(|known| *known >= worth);
            if at < worths.len() {
                worths[at..].rotate_right(1);
                worths[at] = worth;
            }
        }
        let weight = Fine::from(self.season.needs[need].weight);
        let pairs = self.shares[need].iter().zip(&worths);
        pairs.map(|(share, worth)| weight * Fine::from(*share) * Fine::from(*worth)).sum()
    }

    pub(crate) fn all(&self, outfits: &[usize]) -> Fine {
        (0..self.season.needs.len()).map(|need| self.need(need, outfits)).sum()
    }

    pub(crate) fn adds(&self, outfits: &[usize], new: usize) -> Fine {
        let mut more = outfits.to_vec();
        more.push(new);
        self.all(&more) - self.all(outfits)
    }

    /// What one more outfit adds, exactly, and in words of the answer.
    fn addition(&self, outfits: &[usize], new: usize) -> (Fine, Addition) {
        let mut more = outfits.to_vec();
        more.push(new);
        let gain = |need| self.need(need, &more) - self.need(need, outfits);
        let mut gains: Vec<_> = (0..self.season.needs.len()).map(|n| (n, gain(n))).collect();
        let exact = gains.iter().map(|(_, g)| g).sum();
        gains.sort_by_key(|(need, gain)| (Reverse(*gain), *need));
        let lifts = gains.iter().map(|(n, gain)| (*n, micros(*gain)));
        let lifts = lifts.filter(|(_, g)| *g > 0).collect();
        (exact, Addition { outfit: new, adds: micros(exact), lifts })
    }

    pub(crate) fn there(&self) -> Vec<usize> {
        let outfits = self.season.outfits.iter().enumerate();
        outfits.filter(|(_, o)| o.price.is_none()).map(|(i, _)| i).collect()
    }
}

impl Season {
    /// Looks the season over.
    ///
    /// # Errors
    ///
    /// All faults found: a table of the wrong size, numbers out of range.
    pub fn validate(&self) -> Result<(), ProblemFaults> {
        let mut faults = Vec::new();
        let mut unless = |right: bool, field: String, text: &str| {
            if !right {
                faults.push(Fault { field, text: text.into() });
            }
        };
        for (i, need) in self.needs.iter().enumerate() {
            let right = (1..=10_000).contains(&need.weight);
            unless(right, format!("needs[{i}].weight"), "must be 1 to 10000");
            let right = (1..=20).contains(&need.copies_at_once);
            unless(right, format!("needs[{i}].copies_at_once"), "must be 1 to 20");
        }
        unless(self.needs.len() <= 10_000, "needs".into(), "must be 10000 or fewer");
        let right = self.worth.len() == self.needs.len();
        unless(right, "worth".into(), "must have one row for each need");
        for (i, row) in self.worth.iter().enumerate() {
            let right = row.len() == self.outfits.len();
            unless(right, format!("worth[{i}]"), "must have one worth for each outfit");
            let right = row.iter().all(|worth| (0..=ONE).contains(worth));
            unless(right, format!("worth[{i}]"), "must lie between 0 and 1 000 000");
        }
        if faults.is_empty() { Ok(()) } else { Err(ProblemFaults(faults)) }
    }
}

/// Every outfit that could be had, that which adds most to what is there first; of equals the
/// cheaper one, then the earlier one.
///
/// # Errors
///
/// All faults of the season or the weights; [`SeasonError::GivenUp`].
pub fn gaps(
    season: &Season,
    weights: &Weights,
    asked: GoOn<'_>,
) -> Result<Vec<Addition>, SeasonError> {
    season.validate()?;
    weights.validate()?;
    let count = Count::new(season, weights);
    let there = count.there();
    let mut list = Vec::new();
    for (o, outfit) in season.outfits.iter().enumerate() {
        go_on(asked)?;
        list.extend(outfit.price.map(|price| (count.addition(&there, o), price)));
    }
    list.sort_by_key(|((exact, addition), price)| (Reverse(*exact), *price, addition.outfit));
    Ok(list.into_iter().map(|((_, addition), _)| addition).collect())
}

/// What each outfit that is there adds to the others, the least first: what adds nothing never
/// needs to leave the rack.
///
/// # Errors
///
/// All faults of the season or the weights; [`SeasonError::GivenUp`].
pub fn on_the_rack(
    season: &Season,
    weights: &Weights,
    asked: GoOn<'_>,
) -> Result<Vec<Addition>, SeasonError> {
    season.validate()?;
    weights.validate()?;
    let count = Count::new(season, weights);
    let there = count.there();
    let others = |o: usize| there.iter().copied().filter(|other| *other != o).collect::<Vec<_>>();
    let mut list = Vec::new();
    for o in &there {
        go_on(asked)?;
        list.push(count.addition(&others(*o), *o));
    }
    list.sort_by_key(|(exact, addition)| (*exact, addition.outfit));
    Ok(list.into_iter().map(|(_, addition)| addition).collect())
}

/// What to buy for a budget: by what it adds for its price or by what it adds, whichever comes
/// out better, then exchanged as long as that helps; with a bound, need by need. What adds less
/// than `least` to all else that is bought stays in the shop.
///
/// # Errors
///
/// All faults of the season or the weights; [`SeasonError::GivenUp`].
pub fn purchases(
    season: &Season,
    weights: &Weights,
    budget: u64,
    least: Micros,
    asked: GoOn<'_>,
) -> Result<Purchases, SeasonError> {
    season.validate()?;
    weights.validate()?;
    let count = Count::new(season, weights);
    let mut have = count.there();
    let owned = count.all(&have);
    let (had, bound) = purchase::best(&count, budget, asked)?;
    let mut rest: Vec<usize> =
        had.outfits.iter().copied().filter(|o| season.outfits[*o].price.is_some()).collect();
    rest.sort_unstable();
    let mut buys = Vec::new();
    while let Some(next) = rest.iter().copied().max_by_key(|o| (count.adds(&have, *o), Reverse(*o)))
    {
        let (_, addition) = count.addition(&have, next);
        // The rest adds no more than this one, alone or after it.
        if addition.adds < least {
            break;
        }
        buys.push(addition);
        have.push(next);
        rest.retain(|o| *o != next);
    }
    let cost = buys.iter().filter_map(|b| season.outfits[b.outfit].price).sum();
    let adds = micros(count.all(&have) - owned);
    Ok(Purchases { buys, cost, adds, bound: micros(bound - owned).max(adds) })
}

/// One point of the coverage curve.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SetPoint {
    /// The outfits of the set, by position.
    pub outfits: Vec<SetOutfit>,
    /// What the set is worth, in millionths: each need by its best outfit, times its weight.
    pub worth: Micros,
    /// No set of so many is worth more.
    pub bound: Micros,
    /// Whether that is proven to be the best.
    pub status: Status,
}

/// An outfit of a set, and its job.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SetOutfit {
    /// Position in [`Season::outfits`].
    pub outfit: usize,
    /// Needs that it serves best of all in the set.
    pub job: Vec<usize>,
    /// What the set would lose without it, in millionths.
    pub adds: Micros,
}

/// How the work on a coverage curve stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SetProgress {
    /// Outfits of the set that is looked for.
    pub outfits: usize,
    /// What the best set of so many is worth, in millionths; none: no set is known yet.
    pub worth: Option<Micros>,
    /// No set of so many is worth more.
    pub bound: Micros,
    /// Nodes of the search tree for it.
    pub nodes: u64,
}

/// The best sets of one outfit, of two, and so on up to `most`, with those of `keep` in each:
/// the coverage curve. Prices do not matter here. With `keep` it begins at as many as are kept.
/// `ask` is told how the work stands; when it says `Break` the curve ends with the best so far.
///
/// # Errors
///
/// All faults of the season; `keep` or `most` out of range.
pub fn design_set(
    season: &Season,
    keep: &[usize],
    most: usize,
    work: Work,
    ask: &dyn Fn(&SetProgress) -> ControlFlow<()>,
) -> Result<Vec<SetPoint>, SeasonError> {
    season.validate()?;
    let fault = |field: &str, text: String| {
        Err(ProblemFaults(vec![Fault { field: field.into(), text }]).into())
    };
    if season.needs.is_empty() || season.outfits.is_empty() {
        return fault("needs", "at least one need and one outfit are needed".into());
    }
    let most = most.min(season.outfits.len());
    let first = keep.len().max(1);
    if most < first {
        return fault("most", format!("is {most}; must be {first} or more"));
    }
    // Without a share for a backup: one outfit for each lure.
    let costs = season.needs.iter().zip(&season.worth).map(|(need, row)| {
        row.iter().map(|worth| u64::from(need.weight) * (ONE - worth) as u64).collect()
    });
    let mut problem =
        MedianProblem { costs: costs.collect(), open: first, keep: keep.to_vec(), capacity: None };
    let full: Micros = season.needs.iter().map(|n| Micros::from(n.weight) * ONE).sum();
    let mut curve = Vec::new();
    for open in first..=most {
        problem.open = open;
        let over = Cell::new(false);
        let tell = |now: &MedianProgress| {
            let (worth, bound) = (now.cost.map(|cost| full - cost as Micros), now.bound);
            let bound = full - bound as Micros;
            let said = ask(&SetProgress { outfits: open, worth, bound, nodes: now.spent.nodes });
            over.set(said.is_break());
            said
        };
        let answer = match solve_median_watched(&problem, work, &tell) {
            Ok(answer) => answer,
            Err(error) => return fault(&error.field, error.text),
        };
        // Without capacities there is always a plan.
        let MedianAnswer::Plan(plan) = answer else { continue };
        let outfits = plan
            .open
            .iter()
            .map(|outfit| SetOutfit {
                outfit: *outfit,
                job: (0..season.needs.len()).filter(|n| plan.serves[*n] == *outfit).collect(),
                adds: lost_without(season, &plan.open, *outfit),
            })
            .collect();
        curve.push(SetPoint {
            outfits,
            worth: full - plan.cost as Micros,
            bound: full - plan.bound as Micros,
            status: plan.status,
        });
        if over.get() {
            break;
        }
    }
    // One outfit more covers no less: what bounds a larger set bounds a smaller one.
    for at in (1..curve.len()).rev() {
        let bound = curve[at].bound;
        let smaller: &mut SetPoint = &mut curve[at - 1];
        smaller.bound = smaller.bound.min(bound);
        if smaller.bound == smaller.worth {
            smaller.status = Status::Optimal;
        }
    }
    Ok(curve)
}

fn lost_without(season: &Season, set: &[usize], outfit: usize) -> Micros {
    let best = |row: &[Micros], all: bool| {
        let rest = set.iter().filter(|o| all || **o != outfit);
        rest.map(|o| row[*o]).max().unwrap_or(0)
    };
    let needs = season.needs.iter().zip(&season.worth);
    needs.map(|(need, row)| Micros::from(need.weight) * (best(row, true) - best(row, false))).sum()
}
