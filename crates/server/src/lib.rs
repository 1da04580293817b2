//! The service `deepbend.v1`: what the pure crates know, answered over gRPC.
//!
//! ```no_run
//! # async fn run() -> Result<(), Box<dyn std::error::Error>> {
//! use deepbend_server::{Config, Server};
//!
//! let config = Config { listen: "127.0.0.1:0".parse()?, ..Config::default() };
//! let bound = Server::bind(config).await?;
//! println!("listening on {}", bound.addr);
//! bound.serve(std::future::pending()).await?;
//! # Ok(())
//! # }
//! ```
//!
//! A call goes through these in order:
//!
//! 1. `listen`: a TCP address, or the socket in the data folder;
//! 2. `gate`: origin, token, admission, deadline, panics, the log line, the form of errors;
//! 3. `matching`, `inventory`, `sync`, [`trips`], `mechanics`: one module a service;
//! 4. `compute`: the work, on threads of its own.
//!
//! Around them: [`config`], `serve` (up and down again), `health`, [`log`], `error`, [`upkeep`] of the
//! data folder, [`text`] in lines, names as they are typed ([`spelling`]).
//!
//! # Architecture invariants
//!
//! - Judges, plans and folds nothing itself: that is the pure crates' work, and the same input
//!   gives the same answer here as there.
//! - Acknowledges a write only when it is on the disk.
//! - Never takes part of a request: it names every fault, or does the whole.
//! - Tells a caller no path but that of a damaged store, no panic, no other caller's data; and logs no request.
//! - Blocks no thread that answers the network.

#![cfg_attr(test, allow(clippy::unwrap_used, reason = "a test may stop at once"))]
#![allow(clippy::disallowed_methods, reason = "an outer crate: it reads files and environment")]

// Helpers of the tests beside the crate serve tests within it too.
#[cfg(test)]
extern crate self as deepbend_server;

mod compute;
pub mod config;
mod error;
pub mod exit;
mod gate;
mod health;
mod inventory;
mod listen;
pub mod log;
mod matching;
mod mechanics;
mod serve;
pub mod spelling;
mod sync;
pub mod text;
mod today;
pub mod trips;
pub mod upkeep;

pub use config::{Config, ConfigFault};
pub use deepbend_ledger::id::Id;
pub use deepbend_ledger::time::Date;
pub use gate::token::{PeerToken, Token};
pub use listen::{SOCKET_NAME, socket_path};
pub use serve::{Bound, Neighbours, ServeError, Server, StartError};
pub use sync::identity::kept_device;
