//! Mechanics: quantities that follow from laws, each with its equation and source.

pub mod spool;
