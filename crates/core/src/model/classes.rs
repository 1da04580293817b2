//! Lure classes as rows of traits.

use std::collections::BTreeMap;

use serde::Deserialize;

use crate::gear::{AirClass, HookStyle, LureClass, Word, words};

words! {
    /// How a class of lure is presented.
    Presentation {
        /// Wound steadily: the fish hooks itself on a moving lure.
        Steady = "steady",
        /// Worked on slack line by the tip.
        SlackLine = "slack_line",
        /// Kept near the bottom and felt.
        Bottom = "bottom",
        /// Worked in or on weed.
        Weed = "weed",
        /// Straight down.
        Vertical = "vertical",
    }
}

words! {
    /// Line to be taken in by a turn of the handle.
    RetrieveSpeed {
        /// 55 to 70 cm.
        Slow = "slow",
        /// 70 to 85 cm.
        Mid = "mid",
        /// 85 to 105 cm.
        Quick = "quick",
    }
}

/// One row of traits.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ClassTraits {
    /// Words for a sentence ("crankbait").
    pub plain: String,
    /// Wanted action, 0 slow to 1 extra-fast, least and greatest.
    pub action: [f64; 2],
    /// Penalty for a unit of action too fast.
    pub too_fast: f64,
    /// Penalty for a unit of action too slow.
    pub too_slow: f64,
    /// How it is presented.
    pub presentation: Presentation,
    /// Usual hooks.
    pub hook_style: HookStyle,
    /// Usual number of hooks.
    pub hook_count: u32,
    /// Usual wire, mm, at the masses of `mass_g`.
    pub wire_mm: [f64; 2],
    /// Usual rigged mass, g, least and greatest.
    pub mass_g: [f64; 2],
    /// Usual force to free the point, N.
    pub punch_n: f64,
    /// Usual pull, N, at the masses of `mass_g`.
    pub pull_n: [f64; 2],
    /// How it flies.
    pub air: AirClass,
    /// A soft tail whose length and head decide how it flies.
    pub soft_tail: bool,
    /// Wanted speed of the reel.
    pub retrieve: RetrieveSpeed,
    /// Where the row comes from.
    pub source: String,
}

impl ClassTraits {
    /// Usual value at a mass, log-linear between the ends of `mass_g`.
    fn at_mass(&self, ends: [f64; 2], mass_g: f64) -> f64 {
        let [light, heavy] = self.mass_g;
        let share = libm::log(mass_g / light) / libm::log(heavy / light);
        ends[0] + (ends[1] - ends[0]) * share.clamp(0.0, 1.0)
    }

    /// Usual wire diameter at a rigged mass, mm.
    #[must_use]
    pub fn usual_wire_mm(&self, mass_g: f64) -> f64 {
        self.at_mass(self.wire_mm, mass_g)
    }

    /// Usual pull at a rigged mass, N.
    #[must_use]
    pub fn usual_pull_n(&self, mass_g: f64) -> f64 {
        self.at_mass(self.pull_n, mass_g)
    }

    /// Usual rigged mass, g: the geometric mean of the range.
    #[must_use]
    pub fn usual_mass_g(&self) -> f64 {
        (self.mass_g[0] * self.mass_g[1]).sqrt()
    }

    /// Whether trebles on a moving lure are the rule.
    #[must_use]
    pub fn has_trebles(&self) -> bool {
        self.hook_style == HookStyle::Treble
    }
}

/// The traits of every class.
#[derive(Clone, Debug)]
pub struct ClassTable {
    rows: Vec<ClassTraits>,
}

impl ClassTable {
    /// Reads the table.
    ///
    /// # Errors
    /// Says what is wrong: no such table, an unknown class, or a class without a row.
    pub(super) fn parse(text: &str) -> Result<Self, String> {
        let mut file: BTreeMap<String, ClassTraits> =
            toml::from_str(text).map_err(|e| format!("lure classes: {e}"))?;
        let mut rows = Vec::new();
        for class in LureClass::ALL {
            let word = class.as_word();
            rows.push(file.remove(word).ok_or_else(|| format!("lure class `{word}` has no row"))?);
        }
        match file.keys().next() {
            Some(word) => Err(format!("lure class `{word}` is unknown")),
            None => Ok(Self { rows }),
        }
    }

    /// The row of a class.
    #[must_use]
    pub fn get(&self, class: LureClass) -> &ClassTraits {
        &self.rows[class as usize]
    }
}
