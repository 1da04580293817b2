//! What happened to each rod, reel, line, lure, boat and device, told by events that are never
//! edited or deleted.
//!
//! Read in this order:
//!
//! 1. [`item`]: a piece of gear as the ledger knows it;
//! 2. [`event`]: who says what, chained by hashes;
//! 3. [`view`]: the fold of a set of events into the present state;
//! 4. [`filter`] and [`line_age`]: questions to that state;
//! 5. [`import`]: a fleet's files, turned into first events.
//!
//! # Architecture invariants
//!
//! This crate knows no I/O, no clock, no random source, no async and no wire format. The state is
//! a function of the *set* of events: the order in which they arrive, and how often, changes
//! nothing. An event is its bytes: the hash is taken over what its device wrote, never over a
//! re-encoding, so that a newer field survives an older reader.

#![cfg_attr(test, allow(clippy::unwrap_used, reason = "a test may stop at once"))]

pub mod body;
pub mod causal;
pub mod due;
pub mod event;
pub mod exchange;
pub mod filter;
pub mod fold;
pub mod id;
pub mod import;
pub mod item;
pub mod line_age;
mod quantity;
mod record;
pub mod time;
pub mod view;
