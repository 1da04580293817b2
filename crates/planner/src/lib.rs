//! Which outfits to put together and take, so that a day's lures are covered?
//!
//! A plan is made in this order:
//!
//! 1. [`problem`]: the caller states the pool, the boat, the lures to be covered, and what each
//!    outfit that can be put together offers for each lure, as judged; [`faults`] names whatever
//!    is wrong with it;
//! 2. [`weights`]: every number of the objective;
//! 3. [`plan_trip`], and [`plan_fleet`] for several boats over one pool: prune, bound, climb to a
//!    good plan, and search for a provably best one;
//! 4. [`plan`] and [`fleet`]: the answer, with what stays uncovered and why;
//! 5. [`check`](mod@check) and [`check_fleet`]: look every plan over without the solver.
//!
//! Where more can be put together than can be judged, [`sketch`] says before that what is not worth
//! it.
//!
//! Beside it, [`season`] says what to buy and which few outfits cover most, and [`median`] is the
//! core of that: the p-median problem, with and without capacities. [`pairing`] gives each rod that
//! is kept a reel of its own.
//!
//! Sets, variables, constraints, objective and units are written down in `FORMULATION.md`.
//!
//! # Architecture invariants
//!
//! This crate knows no I/O, no clock, no random source, no async and no wire format. It judges
//! nothing: it plans over values that the caller computed. The work is bounded by nodes of the
//! search tree and by counted steps, so that the same problem gives the same plan on every
//! machine. Time is a cap only, handed to the solver, and a plan that it ended says so.

#![cfg_attr(test, allow(clippy::unwrap_used, reason = "a test may stop at once"))]

mod ashore;
mod bound;
pub mod check;
mod check_fleet;
mod clash;
mod concede;
mod crew;
mod deflect;
pub mod departure;
mod exchange;
pub mod faults;
pub mod fleet;
mod grid;
pub mod hands;
mod incumbent;
mod left;
pub mod median;
mod model;
mod order;
pub mod pairing;
mod part;
pub mod plan;
pub mod problem;
mod prune;
mod purchase;
mod report;
pub mod rewrite;
pub mod rigging;
mod scale;
mod search;
pub mod season;
mod seating;
mod short;
pub mod sketch;
mod solve;
mod spare;
mod ties;
mod uncovered;
pub mod watch;
pub mod weights;
mod worth;

pub use check::check;
pub use check_fleet::check_fleet;
pub use faults::{Fault, ProblemFaults};
pub use fleet::{
    Decided, FleetAnswer, FleetPlan, FleetProblem, decide_fleet, plan_fleet, plan_fleet_from,
    plan_fleet_watched,
};
pub use left::{Crew, Left, crews};
pub use plan::{Answer, Status, TripPlan, Value};
pub use problem::TripProblem;
pub use prune::matters;
pub use rewrite::rewrite;
pub use solve::{Budget, plan_trip, plan_trip_watched};
pub use watch::{Ask, Go, Progress, gap};
pub use weights::{Micros, Weights};
