//! How well does an outfit (rod, reel, line, leader) suit a lure as rigged, in the water at hand,
//! and why?
//!
//! A judgement is read in this order:
//!
//! 1. [`quantity`]: masses, lengths, forces, and how people write them;
//! 2. [`gear`] and [`water`]: what the caller says, every field optional;
//! 3. [`model`]: every number of the model, with its unit, range, kind and source;
//! 4. [`mechanics`]: what follows from laws: pure functions with equation, units and source;
//! 5. [`judge`]: the missing is assumed, limits and factors are computed, composed and explained.
//!
//! # Architecture invariants
//!
//! This crate knows no I/O, no clock, no random source, no async and no wire format. It cannot
//! fail except on input that is no outfit at all; whatever is merely doubtful becomes a
//! [`gear::Finding`]. The same input and the same model give the same bits on every machine.

#![cfg_attr(test, allow(clippy::unwrap_used, reason = "a test may stop at once"))]

pub mod gear;
pub mod judge;
pub mod mechanics;
pub mod model;
pub mod quantity;
pub mod water;
