//! Answers of the service as text for people, at most as wide as asked for.
//!
//! Everything here is plain text made from the messages of the contract alone; quantities that a
//! person reads off a scale stand in both unit systems.

mod comparison;
mod contested;
mod event;
mod fitting;
mod gear;
mod item;
mod judgement;
mod mechanics;
mod plan;
mod plan_change;
mod plan_jobs;
mod ranking;
mod season;
mod table;
mod text;
pub mod units;

pub use comparison::comparison;
pub use contested::contested;
pub use deepbend_server::text::wrap;
pub(crate) use event::{event_row, for_device, no_full_effect, second, taken_back};
pub(crate) use fitting::{NUMBERS, WORDS, spans};
pub use fitting::{envelope, specification};
pub use gear::{read_gear, read_pairs};
pub use item::{import_report, item, items};
pub(crate) use item::{pieces_by_place, what};
use judgement::{assumed, cautions};
pub(crate) use judgement::{caution_text, leading};
pub use judgement::{judgement, verdict_line};
pub use mechanics::{bend, cast, measured};
pub use plan::{brief, brief_fleet, fleet_moves, fleet_plan, plan};
pub use plan_change::{plan_difference, recovered};
pub use ranking::ranking;
pub use season::{gaps, outfit_sets};
pub use table::Table;
pub use text::{LEAST_WIDTH, Page};
pub(crate) use units::speed;

/// The word of an enum of the contract: lower case, underscores, without the name of the enum;
/// empty where it is not given.
macro_rules! word {
    ($kind:ident, $value:expr) => {
        match deepbend_contract::pb::$kind::try_from($value) {
            Ok(deepbend_contract::pb::$kind::Unspecified) | Err(_) => String::new(),
            Ok(found) => crate::render::bare(found.as_str_name(), stringify!($kind)),
        }
    };
}
pub(crate) use word;

/// The same with spaces.
macro_rules! plain {
    ($kind:ident, $value:expr) => {
        crate::render::word!($kind, $value).replace('_', " ")
    };
}
pub(crate) use plain;

/// `FACTOR_KIND_HOOK_SET` of `FactorKind` is `hook_set`.
pub(crate) fn bare(name: &str, kind: &str) -> String {
    let prefix = 1 + kind.len() + kind.chars().skip(1).filter(char::is_ascii_uppercase).count();
    name.get(prefix..).unwrap_or_default().to_ascii_lowercase()
}

/// A text that begins with a capital.
pub(crate) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// A sentence that stands within another one.
pub(crate) fn within(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_lowercase().chain(letters).collect())
}

/// A score as a bar of ten.
pub(crate) fn bar(score: f64) -> String {
    let full = (score.clamp(0.0, 1.0) * 10.0).round() as usize;
    format!("{}{}", "#".repeat(full), ".".repeat(10 - full))
}

/// Name and hash of the model on one line.
#[must_use]
pub fn model_id(model: &deepbend_contract::pb::ModelId) -> String {
    format!("{}-{}+{}", model.name, model.version, model.hash)
}
