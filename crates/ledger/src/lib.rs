//! What happened to each rod, reel, line, lure, boat and device, told by events that are never
//! edited or deleted.
//!
//! # The way of an event
//!
//! ```text
//! a guide's word ── Recorder::write ──> Sealed: bytes, hash, chain, what the device held
//!                        ^                 │
//!            View::latest, View::vector    ├── the store keeps the bytes, the signature beside them
//!                        │                 v
//!  a peer's chunk ── Inbox::take ──> View::extend ──> log ──> standing ──> story of each item
//!                                                 who follows   corrected?   fields, counts, line
//!                                                 whom, forks   enrolled?          │
//!                                                                                  v
//!                    lists, disputes, history, what is due, tips <── View: entries and roll
//! ```
//!
//! Read in this order: [`item`], what gear is; [`body`], what can happen to it; [`event`], who
//! says so, chained by hashes; [`fold`] and [`view`], what follows; [`exchange`], how two nodes
//! come to hold the same; [`due`], [`line_age`] and [`filter`], questions to the state;
//! [`import`], a fleet's files turned into first events.
//!
//! # What it means
//!
//! **Causes, not clocks.** An event names the event before it in its chain, those that it
//! supersedes on each item and field, and what its device held of other chains
//! ([`event::Event::seen`], as far as that grew). "Knew of" below always means: its device held
//! it. Times are claims, shown to people and used for dates on the spool; nothing is ordered by
//! them.
//!
//! **Fields** keep every claim that no later one supersedes. Claims that differ make the field
//! contested, and until people settle it the cautious value counts: retired > lost > broken >
//! in_service > on_loan > ready; the worse condition; the weaker and the thicker line; no place.
//! Of a column of the description the best known claim counts. Seen outranks said, and said
//! typed: as [`fold::Held::advice`]. Claims that agree are not contested.
//!
//! **Counts** stand by place: the last absolute count and every change that it did not know of. A
//! change that in turn did not know of the count gives a range; so do two counts that did not know
//! of each other. The lower end counts, and a recount is asked.
//!
//! **What may not act** is kept, has no effect and says why ([`fold::Why`]). Nothing makes a broken
//! or retired item ready but an inspection with a reason that knew of the breakage, or an event
//! that knew of such an inspection. A loan or a find of such an item is a fact all the same: it
//! counts, and the item stays broken.
//!
//! **Corrections** name an event that their device held; else they are pending. The event then has
//! no effect, and what the correction says instead acts at that event's place among the others. A
//! correction can be corrected: then the event stands again. Towers of more than
//! [`fold::MAX_CORRECTIONS`] have no effect, and circles neither.
//!
//! **Forks.** Two events under one number put their chain in quarantine from there on, both
//! branches. What stands there is heard, so that no breakage is missed, and replaces nothing: it
//! makes its fields contested until an event outside of quarantine supersedes it. Events name
//! each other by number, so who knew of one branch is taken to have known of the other. A store
//! that was restored or copied writes under a new incarnation.
//!
//! **Tags.** Two first events for one id make the item contested, and [`view::View::conflicts`]
//! tells both, also when they claim two kinds of item. It ends when one of them is corrected.
//!
//! **Devices.** In a fleet with a founder only enrolled devices count; see [`fold::Roll`]. Whether
//! a signature is good is asked when an event arrives; whether its device may write is part of the
//! fold, so that all nodes agree in whatever order they learn of a revocation.
//!
//! # Architecture invariants
//!
//! This crate knows no I/O, no clock, no random source, no async and no wire format. The state is
//! a function of the *set* of events and the founder: the order in which they arrive, and how
//! often, changes nothing, and folding one by one ends where folding from scratch does. An event
//! is its bytes: the hash is taken over what its device wrote, never over a re-encoding, so that a
//! newer field survives an older reader. No event is dropped, whatever becomes of it. No text of
//! a peer makes it panic, recurse without bound, or spin.

#![cfg_attr(test, allow(clippy::unwrap_used, reason = "a test may stop at once"))]

pub mod body;
pub mod causal;
pub mod cells;
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
mod shared;
mod text;
pub mod time;
pub mod view;
