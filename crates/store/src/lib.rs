//! Keeps the ledger on disk and says so only when it is there.
//!
//! 1. [`Store`]: the narrow trait that an engine must meet, with its semantics;
//! 2. [`MemoryStore`] and [`SledStore`]: the engines; [`FaultyStore`]: a twin that fails on call;
//! 3. [`backup`]: a store as a stream of bytes, and back;
//! 4. [`inventory`]: events in, the folded view out.
//!
//! An engine knows bytes only; the inventory knows events only. Nothing here decodes what the
//! other layer wrote.
//!
//! # What is promised, and how it is known
//!
//! | promise | kept by | seen in |
//! |---|---|---|
//! | what was acknowledged survives the process | one writer: apply, flush, answer | `tests/kill.rs` |
//! | and the loss of power | `fdatasync` before the answer | `tests/sync_order.rs`, the twin in `sled_store` that keeps only what was synced |
//! | no commit is half there | one batch of the engine for a group of commits | both, and `tests/conformance.rs` |
//! | damage is told, with its place, and changes nothing | a checksum in every record; the log is looked at before the engine opens it; an audit after | `tests/faults.rs` |
//! | a damaged, full or read-only store is still read | an image in memory; row and feed complete each other | `tests/faults.rs` |
//! | what stands behind a lost event is kept until that one comes back | a repair puts it aside | `tests/repair.rs` |
//! | a backup is one point in time | rows, then the feed up to a head read after them | `tests/backup.rs` |
//!
//! `tests/kill.rs`, `tests/sync_order.rs` and the twin are also run on a store that breaks the
//! promise (feature `broken`) and must find it out.
//!
//! # Keys on disk
//!
//! One ordered set of keys holds everything (numbers big-endian; every record begins with its format
//! and the CRC-32 of key and payload):
//!
//! ```text
//! 00 | tree(1) | key      a row        01 | commit(8) | place(4)   changes in the feed
//! 02                      the head     03                          the floor of the feed
//! ```
//!
//! Trees: 1, 2 and 4 to 7 events and what belongs to them (see [`inventory`]), 3 notes of the service, 254 marks of
//! the store's own tools (see [`backup`]).
//!
//! # What it costs
//!
//! `cargo bench -p deepbend-store` prints ratios. An image of a damaged or full store takes memory
//! for all rows and the whole feed. Opening reads every record once. The free-space floor is looked
//! at before each group; a group is at most a few MiB.

#![cfg_attr(test, allow(clippy::unwrap_used, reason = "a test may stop at once"))]

mod api;
pub mod backup;
mod faulty;
pub mod inventory;
mod memory;
mod record;
mod sled_store;

pub use api::{
    Change, Commit, Condition, Expect, MAX_COMMIT_BYTES, MAX_KEY, MAX_VALUE, MAX_WRITES, Row, Seq,
    Store, StoreError, Tree, Write,
};
pub use faulty::{Fault, FaultyStore};
pub use memory::MemoryStore;
#[cfg(feature = "broken")]
pub use sled_store::Broken;
pub use sled_store::{Compaction, Repair, SledOptions, SledStore};
