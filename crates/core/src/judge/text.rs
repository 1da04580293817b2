//! Plain words and numbers for sentences.

use super::case::Case;
use crate::gear::{LeaderMaterial, LineMaterial, Word};
use crate::quantity::words::{GRAMS, KILOGRAMS, METRES_A_SECOND, MILLIMETRES, NEWTONS};
use crate::water::{Cover, Platform};

/// "14 g (0.49 oz)".
pub(super) fn grams(g: f64) -> String {
    GRAMS.one(g).to_string()
}

/// "2.4 kg (5.3 lb)", of breaking force, drag or fish.
pub(super) fn kilograms(kg: f64) -> String {
    KILOGRAMS.one(kg).to_string()
}

/// "18 N (4.0 lb)".
pub(super) fn newtons(n: f64) -> String {
    NEWTONS.one(n).to_string()
}

/// "0.38 mm (0.015 in)".
pub(super) fn millimetres(mm: f64) -> String {
    MILLIMETRES.one(mm).to_string()
}

/// "9 m/s (17 kn)".
pub(super) fn metres_a_second(m_s: f64) -> String {
    METRES_A_SECOND.one(m_s).to_string()
}

/// An enum word with spaces.
pub(super) fn plain(word: impl Word) -> String {
    word.as_word().replace('_', " ")
}

/// What a person would call a field.
pub(super) fn field_plain(field: &str) -> &str {
    match field {
        "lure.rigged_mass" => "the lure as rigged on a scale",
        "rod.lure_rating.max" | "rod.lure_rating.min" => "what the rod really throws",
        "rod.line_rating.max" => "the rod's line rating",
        "rod.action" => "where the rod bends",
        "line.test" => "the strength of the line",
        "line.diameter" => "the line's diameter",
        "leader.test" => "the strength of the leader",
        "leader.diameter" => "the leader's diameter",
        "drag" => "the drag with a scale",
        "lure.hook.wire" => "the wire of the hook",
        "lure.punch" => "the force that frees the point",
        "lure.pull" => "the pull of the lure",
        "lure.air" => "how the lure flies",
        "water.wind_speed" => "the wind",
        "water.cover_distance" => "the distance to cover",
        "water.fish_mass" => "the size of the fish to expect",
        other => other,
    }
}

impl Case<'_> {
    pub(super) fn action_word_plain(&self) -> String {
        let action = self.action_word.as_word().replace('_', "-");
        match self.material {
            crate::gear::RodMaterial::Graphite => format!("a {action} tip").replace("a e", "an e"),
            crate::gear::RodMaterial::Composite | crate::gear::RodMaterial::Glass => {
                format!("a {action} {} blank", self.material.as_word()).replace("a e", "an e")
            }
        }
    }

    pub(super) fn lure_plain(&self) -> String {
        let article =
            if self.traits.plain.starts_with(['a', 'e', 'i', 'o', 'u']) { "an" } else { "a" };
        format!("{article} {}", self.traits.plain)
    }

    pub(super) fn fish_plain(&self) -> String {
        if self.fish.name == crate::water::SpeciesTable::UNKNOWN {
            "such fish".to_owned()
        } else {
            let name = self.fish.name.replace('_', " ");
            name.strip_prefix("juvenile ").map_or(name.clone(), str::to_owned)
        }
    }

    pub(super) fn line_plain(&self) -> &'static str {
        match self.line {
            LineMaterial::Braid => "braid",
            LineMaterial::Nylon => "nylon",
            LineMaterial::Fluorocarbon => "fluorocarbon",
        }
    }

    pub(super) fn leader_plain(&self) -> String {
        if self.leader == LeaderMaterial::None {
            return "no leader".to_owned();
        }
        format!(
            "{} {} of {}",
            plain(self.leader),
            millimetres(self.leader_mm),
            kilograms(self.leader_kgf)
        )
    }

    pub(super) fn air_plain(&self) -> String {
        self.lure_plain()
    }

    pub(super) fn platform_plain(&self) -> &'static str {
        match self.platform {
            Platform::Boat => "a boat",
            Platform::Kayak => "a kayak",
            Platform::Bank => "the bank",
            Platform::Coast => "an open coast",
            Platform::Wading => "wading",
            Platform::OverhungBank => "a bank under branches",
            Platform::BoatVertical => "fishing straight down",
            Platform::Bridge => "a bridge or pier",
        }
    }

    pub(super) fn cover_plain(&self) -> &'static str {
        match self.cover {
            Cover::Open => "open water",
            Cover::Weed => "weed",
            Cover::Heavy => "heavy vegetation",
            Cover::Oyster => "oyster shell",
            Cover::Mangrove => "mangrove roots",
            Cover::Dock => "piles",
            Cover::Rock => "rock",
            Cover::Timber => "sunken timber",
        }
    }
}
