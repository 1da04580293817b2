//! The core of coverage: which few sites serve all clients at the least cost?
//!
//! The p-median problem (Hakimi 1964) and the capacitated p-median problem in one: outfits as
//! sites, lures as clients, what a lure loses on an outfit as the cost. It is stated in the radius
//! form of Elloumi (2010), see `FORMULATION.md`, and solved by
//!
//! 1. greedy addition and fast interchange (Whitaker 1983) for a first plan;
//! 2. a Lagrangian bound: each client has a radius, pays it, and takes part in every open site
//!    within it; moved by a subgradient rule with a fixed number of iterations (Held, Wolfe and
//!    Crowder 1974, direction of Camerini, Fratta and Maffioli 1975);
//! 3. reduced-cost fixing, which closes or opens sites that no better plan can have otherwise;
//! 4. a tree over sites, and with capacities over who serves whom, within a budget of work.
//!
//! All bounds are sums of whole numbers: no rounding can make a bound too high, so nothing is
//! called optimal that is not.

mod capacity;
mod case;
mod check;
mod climb;
mod dual;
mod meter;
mod tree;

pub use check::{MedianFault, check_median};

use std::ops::ControlFlow;

use crate::plan::Status;

/// Sites, clients, costs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MedianProblem {
    /// By client and site, the cost of serving the client from the site, its weight included.
    pub costs: Vec<Vec<u64>>,
    /// Sites to be opened: exactly so many.
    pub open: usize,
    /// Sites that have to be among them.
    pub keep: Vec<usize>,
    /// Limits of the sites; none: a site serves any number of clients.
    pub capacity: Option<Capacity>,
}

/// How much a site can serve. Each client is served whole by one site.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Capacity {
    /// By client, what it takes.
    pub demand: Vec<u64>,
    /// By site, what it has room for.
    pub room: Vec<u64>,
}

/// Largest sum over clients of the dearest cost, so that scaled sums fit 64 bits.
pub const LARGEST_TOTAL: u64 = 1 << 42;

/// Why a problem cannot be solved as stated.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{field}: {text}")]
pub struct MedianError {
    /// Path of the field.
    pub field: String,
    /// What is wrong and what would be right.
    pub text: String,
}

/// How much the search may do. The answer depends on it, never on the clock.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Work {
    /// Looks at a pair of client and site, in the bound, the climbing and the tree.
    pub steps: u64,
}

impl Default for Work {
    fn default() -> Self {
        Self { steps: 10_000_000_000 }
    }
}

/// What the search answers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum MedianAnswer {
    /// A plan.
    Plan(MedianPlan),
    /// No choice of sites has room for all clients.
    Infeasible,
    /// The work ended before a plan with room for all was found.
    NotFound {
        /// No plan costs less than this.
        bound: u64,
        /// Work done.
        spent: Spent,
    },
}

/// Open sites and who serves whom.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MedianPlan {
    /// How good it is known to be.
    pub status: Status,
    /// Sites that are open, ascending.
    pub open: Vec<usize>,
    /// By client, the site that serves it.
    pub serves: Vec<usize>,
    /// Sum of the costs.
    pub cost: u64,
    /// No plan costs less than this.
    pub bound: u64,
    /// Work done.
    pub spent: Spent,
}

impl MedianPlan {
    /// Distance to the bound as a share of the cost, 0 or more.
    #[must_use]
    pub fn gap(&self) -> f64 {
        (self.cost - self.bound.min(self.cost)) as f64 / self.cost.max(1) as f64
    }
}

/// Work done.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Spent {
    /// Looks at a pair of client and site.
    pub steps: u64,
    /// Nodes of the tree.
    pub nodes: u64,
}

impl MedianProblem {
    /// Looks the problem over.
    ///
    /// # Errors
    ///
    /// The first fault: lists of unequal length, unknown sites, sums too large.
    pub fn validate(&self) -> Result<(), MedianError> {
        let fault = |field: String, text: String| Err(MedianError { field, text });
        let Some(first) = self.costs.first() else {
            return fault("costs".into(), "is empty; at least one client is needed".into());
        };
        let sites = first.len();
        if sites == 0 {
            return fault("costs[0]".into(), "is empty; at least one site is needed".into());
        }
        let mut total: u64 = 0;
        for (i, row) in self.costs.iter().enumerate() {
            if row.len() != sites {
                let text = format!("has {} costs; every client has {sites}", row.len());
                return fault(format!("costs[{i}]"), text);
            }
            total = total.saturating_add(row.iter().copied().max().unwrap_or(0));
        }
        if total > LARGEST_TOTAL {
            let text = format!("the dearest costs add up to {total}; at most {LARGEST_TOTAL}");
            return fault("costs".into(), text);
        }
        if self.open == 0 || self.open > sites {
            return fault("open".into(), format!("is {}; must be 1 to {sites}", self.open));
        }
        for (i, site) in self.keep.iter().enumerate() {
            if *site >= sites || self.keep[..i].contains(site) {
                let text = format!("is {site}; must be below {sites} and stand once");
                return fault(format!("keep[{i}]"), text);
            }
        }
        if self.keep.len() > self.open {
            let text = format!("names {} sites; at most {} are opened", self.keep.len(), self.open);
            return fault("keep".into(), text);
        }
        let Some(capacity) = &self.capacity else { return Ok(()) };
        if capacity.demand.len() != self.costs.len() {
            let text = format!("has {} entries; one for each client", capacity.demand.len());
            return fault("capacity.demand".into(), text);
        }
        if capacity.room.len() != sites {
            let text = format!("has {} entries; one for each site", capacity.room.len());
            return fault("capacity.room".into(), text);
        }
        let sum = |list: &[u64]| list.iter().fold(0_u64, |sum, x| sum.saturating_add(*x));
        for (name, list) in [("demand", &capacity.demand), ("room", &capacity.room)] {
            if sum(list) > LARGEST_TOTAL {
                let text = format!("adds up to more than {LARGEST_TOTAL}");
                return fault(format!("capacity.{name}"), text);
            }
        }
        Ok(())
    }
}

/// Solves.
///
/// The same problem and budget give the same answer on every machine. Costs that are all
/// multiplied by the same number lead to the same choice.
///
/// # Errors
///
/// The first fault of the problem.
pub fn solve_median(problem: &MedianProblem, work: Work) -> Result<MedianAnswer, MedianError> {
    solve_median_watched(problem, work, &|_| ControlFlow::Continue(()))
}

/// How the search for a median stands.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct MedianProgress {
    /// What the best plan so far costs; none: no plan is known yet. Never rises.
    pub cost: Option<u64>,
    /// No plan costs less than this. Never falls.
    pub bound: u64,
    /// Work done.
    pub spent: Spent,
}

/// Told how the search stands, between steps of it; `Break` ends it with the best so far.
pub type AskMedian<'a> = &'a dyn Fn(&MedianProgress) -> ControlFlow<()>;

/// Solves, and tells `ask` how the search stands; when that says `Break` the search ends as if the
/// work were used up. Between two looks lies one round of the bound or of exchanges.
///
/// # Errors
///
/// The first fault of the problem.
pub fn solve_median_watched(
    problem: &MedianProblem,
    work: Work,
    ask: AskMedian<'_>,
) -> Result<MedianAnswer, MedianError> {
    problem.validate()?;
    let case = case::Case::new(problem);
    Ok(tree::solve(&case, meter::Meter::new(work.steps, case.factor, ask)))
}
