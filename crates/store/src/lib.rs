//! Keeps the ledger on disk and says so only when it is there.
//!
//! 1. [`Store`]: the narrow trait that an engine must meet, with its semantics;
//! 2. [`MemoryStore`] and [`SledStore`]: the engines; [`FaultyStore`]: a twin that fails on call;
//! 3. [`backup`]: a store as a stream of bytes, and back;
//! 4. [`inventory`]: events in, the folded view out.
//!
//! An engine knows bytes only; the inventory knows events only. Nothing here decodes what the
//! other layer wrote.

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
