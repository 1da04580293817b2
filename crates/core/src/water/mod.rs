//! The water: wind, cover, depth, fish, platform and the person who fishes.

use serde::{Deserialize, Serialize};

use crate::gear::Word;
use crate::gear::words;
use crate::quantity::{Length, Mass, Speed, Temperature};

pub mod beaufort;
pub mod species;

pub use species::{Habit, Species, SpeciesTable, Teeth, WaterKind};

words! {
    /// Where the wind blows, seen along the cast.
    WindDirection {
        /// No wind worth naming.
        Calm = "calm",
        /// With the cast.
        Down = "down",
        /// From the side.
        Across = "across",
        /// Against the cast.
        Into = "into",
    }
}

words! {
    /// Where the angler stands and how he fishes from there.
    Platform {
        /// Casting from a boat.
        Boat = "boat",
        /// Seated in a kayak.
        Kayak = "kayak",
        /// Open bank of a lake or river.
        Bank = "bank",
        /// Open sea shore.
        Coast = "coast",
        /// Wading.
        Wading = "wading",
        /// Bank under trees.
        OverhungBank = "overhung_bank",
        /// Straight down from a boat: nothing is cast.
        BoatVertical = "boat_vertical",
        /// Bridge, pier or jetty, high above the water.
        Bridge = "bridge",
    }
}

words! {
    /// What the fish can run into.
    Cover {
        /// Nothing to speak of.
        Open = "open",
        /// Soft weed.
        Weed = "weed",
        /// Thick weed, reed, lily, matted vegetation.
        Heavy = "heavy",
        /// Oyster or mussel shell.
        Oyster = "oyster",
        /// Mangrove roots.
        Mangrove = "mangrove",
        /// Piles of a dock, pier or bridge.
        Dock = "dock",
        /// Boulders, reef.
        Rock = "rock",
        /// Sunken wood.
        Timber = "timber",
    }
}

words! {
    /// How practised the angler is.
    Skill {
        /// A beginner.
        Novice = "novice",
        /// Fishes regularly.
        Intermediate = "intermediate",
        /// A practised caster with every reel.
        Expert = "expert",
    }
}

words! {
    /// How the hook is set.
    Hookset {
        /// A long sideways pull.
        Sweep = "sweep",
        /// A sharp lift of the rod.
        Snap = "snap",
        /// Winding until the rod loads.
        ReelSet = "reel_set",
        /// The hand stops the spool: the drag does not slip.
        HandOnSpool = "hand_on_spool",
        /// Pulling the line by hand.
        StripSet = "strip_set",
    }
}

/// The conditions of a judgement; what is left out is assumed.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Water {
    /// Wind speed.
    pub wind_speed: Option<Speed>,
    /// Wind direction along the cast.
    pub wind_direction: Option<WindDirection>,
    /// Platform.
    pub platform: Option<Platform>,
    /// Cover.
    pub cover: Option<Cover>,
    /// Distance from hooked fish to cover.
    pub cover_distance: Option<Length>,
    /// Skill of the angler.
    pub skill: Option<Skill>,
    /// Target species, by a name of the species table.
    pub species: Option<String>,
    /// Probability, 0 to 1, that fish with cutting teeth other than the target are about.
    pub toothy_probability: Option<f64>,
    /// Mass of the fish to be reckoned with.
    pub fish_mass: Option<Mass>,
    /// Speed of the current.
    pub current: Option<Speed>,
    /// Depth of water.
    pub depth: Option<Length>,
    /// Temperature of the water.
    pub temperature: Option<Temperature>,
    /// Length of line between rod tip and lure at the strike.
    pub line_out: Option<Length>,
    /// How the hook is set.
    pub hookset: Option<Hookset>,
}

impl WindDirection {
    /// Reads a direction; `cross` means `across`.
    #[must_use]
    pub fn from_word_or_nearest(text: &str) -> Option<Self> {
        if text.trim().eq_ignore_ascii_case("cross") {
            return Some(Self::Across);
        }
        Self::from_word(text)
    }
}

impl Skill {
    /// Reads a skill; `advanced` means `expert`.
    #[must_use]
    pub fn from_word_or_nearest(text: &str) -> Option<Self> {
        if text.trim().eq_ignore_ascii_case("advanced") {
            return Some(Self::Expert);
        }
        Self::from_word(text)
    }
}
