//! The factors, one file each: a score from 0 to 1 and the quantities behind it.
//!
//! A new factor is a file here, a line in [`FACTORS`], a word in
//! [`FactorKind`](super::FactorKind) and its numbers in the parameter file; composition,
//! explanation, interval and wire follow by themselves.

use super::case::Case;
use super::judgement::{FactorKind, Quantity, RuleKind};

pub(super) mod action;
pub(super) mod contact;
pub(super) mod cover;
pub(super) mod drag;
pub(super) mod hold;
pub(super) mod hook_set;
pub(super) mod leader;
pub(super) mod length;
pub(super) mod line;
pub(super) mod load;
pub(super) mod pull;
pub(super) mod reel;
pub(super) mod skill;
pub(super) mod wind;

/// Most quantities that one factor names.
const MEASURES: usize = 8;

/// A score with the quantities behind it, kept without allocation and small: millions are computed.
#[derive(Clone, Copy, Debug)]
pub(super) struct Scored {
    /// 0 to 1.
    pub(super) score: f64,
    values: [f64; MEASURES],
    /// Name and unit of each value that is there.
    names: &'static [(&'static str, &'static str)],
}

/// A score and the quantities that it follows from, each with name, value and unit.
macro_rules! scored {
    ($score:expr, [$(($name:literal, $value:expr, $unit:literal)),* $(,)?] $(,)?) => {
        $crate::judge::factors::Scored::new($score, const { &[$(($name, $unit)),*] }, [$($value),*])
    };
}
pub(super) use scored;

impl Scored {
    pub(super) fn new<const N: usize>(
        score: f64,
        names: &'static [(&'static str, &'static str); N],
        given: [f64; N],
    ) -> Self {
        const { assert!(N <= MEASURES) };
        let mut values = [0.0; MEASURES];
        values[..N].copy_from_slice(&given);
        Self { score: score.clamp(0.0, 1.0), values, names }
    }

    /// The quantities in the order in which they were given; those not known (NaN) are left out.
    pub(super) fn quantities(&self) -> Vec<Quantity> {
        let given = self.names.iter().zip(self.values).filter(|(_, value)| !value.is_nan());
        given.map(|(&(name, unit), value)| Quantity { name, value, unit }).collect()
    }

    /// The value of a quantity by name; NaN if it has none of that name.
    pub(super) fn get(&self, name: &str) -> f64 {
        self.names.iter().position(|n| n.0 == name).map_or(f64::NAN, |i| self.values[i])
    }
}

/// What a factor asks about beyond rod, line, lure and water.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Asks {
    Nothing,
    /// The leader, or the drag, which hangs on it.
    Leader,
    /// The reel, whatever else.
    Reel,
}

/// How a factor is found, weighed and explained.
pub(super) struct FactorDef {
    pub(super) kind: FactorKind,
    pub(super) asks: Asks,
    pub(super) rule: RuleKind,
    /// Its weight in the parameter file; weights are made to add up to 1 over those that apply.
    pub(super) weight: fn(&Case<'_>) -> f64,
    /// `None` where it does not apply.
    pub(super) score: fn(&Case<'_>) -> Option<Scored>,
    /// What the worst-factor cap sees of its score.
    pub(super) cap_view: fn(&Case<'_>, f64) -> f64,
    /// One plain sentence.
    pub(super) text: fn(&Case<'_>, &Scored) -> String,
}

fn as_it_is(_: &Case<'_>, score: f64) -> f64 {
    score
}

macro_rules! factor {
    ($kind:ident, $rule:ident, $module:ident, $asks:ident) => {
        factor!($kind, $rule, $module, $asks, as_it_is)
    };
    ($kind:ident, $rule:ident, $module:ident, $asks:ident, $cap:path) => {
        FactorDef {
            kind: FactorKind::$kind,
            asks: Asks::$asks,
            rule: RuleKind::$rule,
            weight: |c| c.p.weight.$module,
            score: $module::score,
            cap_view: $cap,
            text: $module::text,
        }
    };
}

/// Number of factors.
pub(super) const COUNT: usize = 14;

/// All factors in the order in which a guide thinks.
pub(super) static FACTORS: [FactorDef; COUNT] = [
    factor!(Load, Practice, load, Nothing),
    factor!(Action, Practice, action, Nothing),
    factor!(HookSet, Physics, hook_set, Leader),
    factor!(Hold, Physics, hold, Leader),
    factor!(Pull, Physics, pull, Nothing),
    factor!(Line, Practice, line, Leader),
    factor!(Leader, Practice, leader, Leader),
    factor!(Drag, Physics, drag, Leader),
    factor!(Cover, Practice, cover, Leader),
    factor!(Reel, Practice, reel, Reel),
    factor!(Length, Preference, length, Nothing, length::cap_view),
    factor!(Wind, Physics, wind, Nothing, wind::cap_view),
    factor!(Contact, Practice, contact, Nothing),
    factor!(Skill, Practice, skill, Nothing),
];
