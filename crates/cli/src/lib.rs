//! `deepbend`, the reference client of the contract `deepbend.v1`.
//!
//! - [`args`] is the command line, [`commands`] does what it asks for;
//! - [`service`] finds somebody to ask: a server by name, the one that holds the data folder, or
//!   one in this process; all of them are asked over gRPC;
//! - [`cases`] reads case files, [`describe`] turns words into messages, [`trip_files`] reads trips;
//! - [`render`] makes text for people of answers, [`output`] everything else that is printed;
//! - [`demo`] tells the story of the demo fleet.
//!
//! # Architecture invariants
//!
//! Nothing is judged, ranked or planned here: every number that is printed comes out of an answer
//! of the service. Data goes to stdout, everything else to stderr.

#![allow(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    reason = "a command line touches the world: files, environment and clock"
)]
#![cfg_attr(test, allow(clippy::unwrap_used, reason = "a test may stop at once"))]

pub mod args;
pub mod cases;
pub mod commands;
pub mod demo;
pub mod describe;
pub mod failure;
pub mod output;
pub mod render;
pub mod service;
mod trade;
pub mod trip_files;
mod trip_words;

/// Files of the demo fleet.
pub mod fleet {
    use deepbend_contract::pb::ImportFileKind;

    /// Item files: what each lists, and its text.
    pub const ITEM_FILES: [(ImportFileKind, &str); 6] = [
        (ImportFileKind::Boats, include_str!("../demo/boats.csv")),
        (ImportFileKind::Devices, include_str!("../demo/devices.csv")),
        (ImportFileKind::LineStock, include_str!("../demo/line_stock.csv")),
        (ImportFileKind::Rods, include_str!("../demo/rods.csv")),
        (ImportFileKind::Reels, include_str!("../demo/reels.csv")),
        (ImportFileKind::Lures, include_str!("../demo/lures.csv")),
    ];
    /// The trips of the next morning.
    pub const TRIPS: &str = include_str!("../demo/trips.csv");
    /// Their parts.
    pub const SEGMENTS: &str = include_str!("../demo/segments.csv");
    /// What is to be fished.
    pub const NEEDS: &str = include_str!("../demo/trip_needs.csv");
    /// Strikes and losses of the season.
    pub const CATCH_LOG: &str = include_str!("../demo/catch_log.csv");
}
