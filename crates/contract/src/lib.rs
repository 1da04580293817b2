//! The contract `deepbend.v1`: generated wire types and hand-written conversions.
//!
//! - [`pb`] is generated from `proto/deepbend/v1`; nothing there is a domain type.
//! - [`FromWire`] turns a message into a domain value and collects *every* fault on the way;
//!   [`ToWire`] goes back. Both take their argument apart field by field, so that a field that is
//!   added on either side breaks the build until someone decides about it.
//! - [`Faults`] become a [`tonic::Status`] with all details that the contract promises.
//! - [`limits`] has every bound that the contract states, [`reason`] every stable reason.
//! - [`json`] is proto JSON, both ways.
//!
//! # Architecture invariants
//!
//! Nothing that comes over the wire makes this crate panic. It judges and plans nothing: it only
//! says what was meant, or everything that was wrong.

#![cfg_attr(test, allow(clippy::unwrap_used, reason = "a test may stop at once"))]

mod answer;
mod convert;
mod differ;
mod fault;
mod finite;
mod fitting;
mod gear;
pub mod json;
mod judgement;
pub mod limits;
mod mask;
pub mod mechanics;
mod plan;
mod reader;
pub mod reason;
mod water;
mod words;

pub use convert::{FromWire, ToWire, overlay, overrides};
pub use differ::{Difference, differences};
pub use fault::{At, Fault, Faults};
pub use finite::not_finite;
pub use fitting::specification;
pub use judgement::judgement;
pub use mask::ReadMask;
pub use plan::{changed_outfit, plan_difference, whole_day};
pub use reader::Reader;
pub use words::WireWord;

/// Wire types, clients and servers, generated from `proto/deepbend/v1`.
#[allow(
    missing_docs,
    missing_debug_implementations,
    unreachable_pub,
    clippy::all,
    clippy::wildcard_enum_match_arm,
    clippy::unwrap_used,
    reason = "generated; the contract itself is documented and linted"
)]
pub mod pb {
    tonic::include_proto!("deepbend.v1");
}

/// The contract as a file descriptor set with all imports and comments, for reflection.
pub const FILE_DESCRIPTOR_SET: &[u8] = tonic::include_file_descriptor_set!("descriptor");
