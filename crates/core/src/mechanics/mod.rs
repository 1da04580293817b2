//! Mechanics: quantities that follow from laws, each with its equation and source.

pub mod air;
pub mod blank;
pub mod carry;
pub mod domain;
mod elastica;
pub mod flight;
pub mod head_shake;
pub mod hook;
pub mod infer;
pub mod launch;
pub mod line;
pub mod payout;
pub mod sea_water;
pub mod sphere;
pub mod spool;
pub mod stopping;
pub mod vibration;
pub mod wind_on_line;
