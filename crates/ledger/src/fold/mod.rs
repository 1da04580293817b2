//! The fold: from a set of events to the state of each item.
//!
//! | file | decides |
//! |---|---|
//! | `log` | which event follows which, forks, what a device held when it wrote |
//! | `roll` | whose events count |
//! | `standing` | which events were corrected |
//! | `deed` | what an event does to an item |
//! | `story` | one item's events together: the steps below, in order |
//! | `status` | who may make a broken item ready |
//! | `field` | the heads of a field, contested or not, and the cautious value |
//! | `count` | counts as ranges |
//! | `line` | age and length of the line on a reel |

mod count;
mod deed;
mod effect;
mod field;
mod line;
mod log;
mod roll;
mod standing;
mod status;
mod story;

pub use count::{Count, CountKey};
pub(crate) use deed::writes;
pub use deed::{Bench, Field, Loan, Value};
pub(crate) use effect::Standing;
pub use effect::{Effect, Told, Why};
pub(crate) use field::latest;
pub use field::{FieldClaim, Held};
pub(crate) use log::Log;
pub use roll::{Founder, Member, Roll};
pub use standing::MAX_CORRECTIONS;
pub(crate) use standing::{Corrections, about, reach};
pub use story::{Disputed, Story, Wear};
pub(crate) use story::{settlements, story};
