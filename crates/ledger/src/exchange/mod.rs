//! How two nodes come to hold the same events. Pure: the wire and the disk are elsewhere.
//!
//! 1. Each says what it holds: [`View::tips`](crate::view::View::tips), the last number and hash
//!    of every chain.
//! 2. Each answers with [`View::landmarks`](crate::view::View::landmarks) for the chains whose
//!    tips it does not know: either it is behind there, or the chain forks.
//! 3. Each sends what [`View::lacking`](crate::view::View::lacking) names, in that order, in
//!    chunks of any size. Breaking off loses nothing: the next exchange begins at 1.
//! 4. Each puts what arrives through an [`Inbox`], stores what comes out of it, and only then adds
//!    it to its view. What is twice or out of order does no harm; what lacks a predecessor, a
//!    signature or an enrolment waits in the inbox.
//!
//! No clock is compared and nobody is believed: a peer that lies about its tips gets too much or
//! too little and changes nothing here. Refused is what cannot be read ([`Fault::Malformed`]),
//! what does not continue its chain ([`Fault::Broken`]) and what is signed wrongly
//! ([`Fault::BadSignature`]). A fork is told with its proof ([`Fork`]); both branches are taken
//! in, since quarantine needs them on every node, and the fold lets neither replace anything.

mod inbox;
mod key;
mod tips;

pub use inbox::{Fault, Fork, Inbox, MAX_WAITING, Raw, Refused, Signed, Taken, Waits};
pub use key::{BadSignature, DeviceKey, PublicKey, Signature, verify};
pub use tips::Tips;
pub(crate) use tips::{lacking, landmarks};
