//! Leader: does it survive teeth, jaws and edges, without spoiling the lure? Practice.

use super::{Case, Scored, scored};
use crate::gear::{LeaderMaterial, LineMaterial};
use crate::judge::text::millimetres;
use crate::judge::work::power;
use crate::quantity::words::KILOGRAMS;
use crate::water::{Cover, Teeth};

/// Whether the trace is of wire.
fn is_wire(c: &Case<'_>) -> bool {
    matches!(c.leader, LeaderMaterial::SteelWire | LeaderMaterial::Titanium)
}

/// Probability that teeth which cut meet the leader.
pub(in crate::judge) fn cutting_probability(c: &Case<'_>) -> f64 {
    if c.fish.teeth == Teeth::Cutting { 1.0 } else { c.toothy }
}

/// Thickness over the thickness of fluorocarbon that survives the teeth; wire counts as plenty.
pub(in crate::judge) fn bite_ratio(c: &Case<'_>) -> f64 {
    let p = &c.p.leader;
    if is_wire(c) {
        return p.wire_ratio;
    }
    let asked = if c.fish.teeth == Teeth::Cutting { c.fish.leader_mm } else { p.bystander_mm };
    let thick = match c.leader {
        LeaderMaterial::None => 0.0,
        // Nylon is softer: it counts as thinner fluorocarbon.
        LeaderMaterial::Nylon => c.leader_mm * p.nylon_share,
        LeaderMaterial::Fluorocarbon | LeaderMaterial::SteelWire | LeaderMaterial::Titanium => {
            c.leader_mm
        }
    };
    thick / asked
}

fn teeth(c: &Case<'_>) -> f64 {
    let risk = cutting_probability(c);
    1.0 - risk * (1.0 - c.p.leader.bite.at(bite_ratio(c)))
}

/// Thickness that jaws and edges ask for, mm.
pub(in crate::judge) fn asked_mm(c: &Case<'_>) -> f64 {
    let p = &c.p.leader;
    let jaws = match c.fish.teeth {
        Teeth::Rasping | Teeth::Small => c.fish.leader_mm * c.fish_scale().sqrt(),
        Teeth::None | Teeth::Cutting => 0.0,
    };
    let edges = match c.cover {
        Cover::Open | Cover::Weed | Cover::Heavy => 0.0,
        Cover::Oyster => p.edge_oyster_mm,
        Cover::Mangrove => p.edge_mangrove_mm,
        Cover::Dock => p.edge_dock_mm,
        Cover::Rock => p.edge_rock_mm,
        Cover::Timber => p.edge_timber_mm,
    };
    let size = power(c.fish_kg / c.p.cover.fish_reference_kg, p.edge_fish_exponent)
        .clamp(p.edge_fish_least, p.edge_fish_most);
    jaws.max(edges * size)
}

/// Thickness that stands against jaws and edges, mm: a bare nylon or fluorocarbon line counts.
fn standing_mm(c: &Case<'_>) -> f64 {
    match (c.leader, c.line) {
        (LeaderMaterial::None, LineMaterial::Braid) => c.line_mm * c.p.leader.braid_abrasion_share,
        (LeaderMaterial::None, LineMaterial::Nylon | LineMaterial::Fluorocarbon) => c.line_mm,
        (
            LeaderMaterial::Nylon
            | LeaderMaterial::Fluorocarbon
            | LeaderMaterial::SteelWire
            | LeaderMaterial::Titanium,
            _,
        ) => c.leader_mm,
    }
}

fn abrasion(c: &Case<'_>) -> f64 {
    let asked = asked_mm(c);
    if asked <= 0.0 {
        return 1.0;
    }
    let p = &c.p.leader;
    match (is_wire(c), c.fish.teeth) {
        // Small teeth do nothing to wire.
        (true, Teeth::Small) => 1.0,
        (true, Teeth::None | Teeth::Rasping | Teeth::Cutting) => p.wire_against_edges,
        (false, _) => p.abrasion.at(standing_mm(c) / asked),
    }
}

fn strength(c: &Case<'_>) -> f64 {
    let p = &c.p.leader;
    let [least, most] = c.fish_leader_kgf();
    if c.leader == LeaderMaterial::None || most <= 0.0 {
        return 1.0;
    }
    let weak = p.weak.at(c.leader_kgf / least.max(p.least_kgf));
    let stout = p.stout.at(c.leader_kgf / most);
    // Bystanders with teeth, and cover, excuse a stout leader.
    let excused = cutting_probability(c).max(if c.cover == Cover::Open { 0.0 } else { 1.0 });
    weak.min(stout + (1.0 - stout) * excused)
}

fn stiffness(c: &Case<'_>) -> f64 {
    let p = &c.p.leader;
    let hampers = match c.leader {
        LeaderMaterial::SteelWire => p.steel_light_lure.at_log(c.throwable_g()),
        LeaderMaterial::Titanium => p.titanium_light_lure.at_log(c.throwable_g()),
        LeaderMaterial::Nylon | LeaderMaterial::Fluorocarbon => {
            let fitting = p.thickness_base_mm + p.thickness_gain_mm * c.throwable_g().sqrt();
            p.thickness.at(c.leader_mm / fitting)
        }
        LeaderMaterial::None => 1.0,
    };
    let uncalled = match (is_wire(c), c.fish.teeth) {
        (false, _) | (true, Teeth::Cutting) => return hampers,
        (true, Teeth::Small) => p.wire_on_small_teeth,
        (true, Teeth::None | Teeth::Rasping) => p.wire_uncalled,
    };
    hampers * (uncalled + (1.0 - uncalled) * c.toothy)
}

/// Whether braid alone would be missing a leader here, whatever the fish.
pub(in crate::judge) fn is_missed(c: &Case<'_>) -> bool {
    c.line == LineMaterial::Braid && on_braid(c) < 1.0
}

fn missing(c: &Case<'_>) -> f64 {
    if c.leader == LeaderMaterial::None && c.line == LineMaterial::Braid {
        on_braid(c)
    } else {
        1.0
    }
}

/// Braid tied to the lure.
fn on_braid(c: &Case<'_>) -> f64 {
    let p = &c.p.leader;
    match c.cover {
        Cover::Heavy => 1.0,
        Cover::Weed => p.none_in_weed,
        Cover::Open
        | Cover::Oyster
        | Cover::Mangrove
        | Cover::Dock
        | Cover::Rock
        | Cover::Timber => p.none_on_braid,
    }
}

/// The worst of: teeth, abrasion, strength, stiffness, none at all on braid.
pub(in crate::judge) fn score(c: &Case<'_>) -> Option<Scored> {
    let score = teeth(c).min(abrasion(c)).min(strength(c)).min(stiffness(c)).min(missing(c));
    Some(scored!(
        score,
        [
            ("leader_test", c.leader_kgf, "kgf"),
            ("leader_diameter", c.leader_mm, "mm"),
            ("cutting_teeth_probability", cutting_probability(c), "1"),
            ("bite_ratio", bite_ratio(c), "1"),
            ("thickness_for_edges", asked_mm(c), "mm"),
        ],
    ))
}

pub(in crate::judge) fn text(c: &Case<'_>, s: &Scored) -> String {
    let worst = s.score + f64::EPSILON;
    let leader = c.leader_plain();
    if worst >= 1.0 {
        format!("{leader} suits fish and water")
    } else if teeth(c) <= worst {
        if s.score >= c.p.text.fair {
            format!("{leader} is a compromise against cutting teeth: look it over after each fish")
        } else {
            format!("{leader} is no match for cutting teeth")
        }
    } else if abrasion(c) <= worst {
        let asked = millimetres(s.get("thickness_for_edges"));
        format!("{leader} against rough jaws or edges that ask for about {asked}")
    } else if missing(c) <= worst {
        "braid tied to the lure: seen in clear water and soon rubbed through".to_owned()
    } else if strength(c) <= worst {
        let [least, most] = c.fish_leader_kgf();
        let usual = KILOGRAMS.two(least, most);
        format!("{leader}; usual for {} is {usual}", c.fish_plain())
    } else {
        format!("{leader} is stiff for this lure and fish")
    }
}
