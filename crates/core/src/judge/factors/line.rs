//! Line: does it suit rod, cast and rings? Practice.

use super::{Case, Scored, scored};
use crate::gear::{GuideCondition, LeaderMaterial, LineMaterial, LureClass};
use crate::judge::text::{grams, kilograms, millimetres};
use crate::model::Presentation;
use crate::quantity::words::KILOGRAMS;
use crate::water::Cover;

/// What is thrown hangs on the weaker of line and leader, kgf.
pub(in crate::judge) fn cast_strength_kgf(c: &Case<'_>) -> f64 {
    match c.leader {
        LeaderMaterial::None => c.line_kgf,
        LeaderMaterial::Nylon
        | LeaderMaterial::Fluorocarbon
        | LeaderMaterial::SteelWire
        | LeaderMaterial::Titanium => c.line_kgf.min(c.leader_kgf),
    }
}

/// How far the strongest chain of line and leader outlasts the rod: its strength over the printed
/// greatest line.
pub(in crate::judge) fn outlasts(c: &Case<'_>) -> f64 {
    c.weakest_kgf() / c.rod_line_kgf
}

/// Drag over the printed greatest line.
pub(in crate::judge) fn drag_share_of_rod(c: &Case<'_>) -> f64 {
    c.drag_kgf / c.rod_line_kgf
}

fn against_rod(c: &Case<'_>) -> f64 {
    let p = &c.p.line;
    let allowed = match c.line {
        LineMaterial::Braid => p.braid_allowance * c.rod_line_kgf,
        LineMaterial::Nylon | LineMaterial::Fluorocarbon => c.rod_line_kgf,
    };
    let ratio = c.line_kgf / allowed;
    let matted = matches!(c.class, LureClass::HollowFrog)
        || (c.traits.presentation == Presentation::Weed && c.cover == Cover::Heavy);
    let with_fuse = if matted { p.over_rod_in_weed.at(ratio) } else { p.over_rod_fused.at(ratio) };
    let fuse = p.leader_fuse.at(outlasts(c)).max(p.drag_fuse.at(drag_share_of_rod(c)));
    let without = p.over_rod_bare.at(ratio).min(with_fuse);
    without + (with_fuse - without) * fuse
}

/// A line far below what the rod is made for wastes the rod and parts before it bends.
fn below_rod(c: &Case<'_>) -> f64 {
    c.p.line.below_rod.at(c.line_kgf / c.rod_line_kgf)
}

fn against_cast(c: &Case<'_>) -> f64 {
    if c.is_vertical() {
        1.0
    } else {
        c.p.line.cast.at(cast_strength_kgf(c) / c.work.cast_need_kgf)
    }
}

fn thickness(c: &Case<'_>) -> f64 {
    if c.is_vertical() {
        return 1.0;
    }
    let p = &c.p.line;
    let fitting = p.thickness_base_mm + p.thickness_gain_mm * c.throwable_g().sqrt();
    // Thick braid is the rule in cover, and distance is not what is asked for there.
    let relief = match c.cover {
        Cover::Heavy | Cover::Timber | Cover::Dock | Cover::Mangrove => p.thickness_relief_in_cover,
        Cover::Open | Cover::Weed | Cover::Oyster | Cover::Rock => 1.0,
    };
    p.thickness.at(c.line_mm / (fitting * relief))
}

fn rings(c: &Case<'_>) -> f64 {
    let p = &c.p.line;
    match (c.guides, c.line) {
        (GuideCondition::Ceramic, _) => 1.0,
        (GuideCondition::Plated, LineMaterial::Braid) => p.rings_plated_braid,
        (GuideCondition::Plated, LineMaterial::Nylon | LineMaterial::Fluorocarbon) => 1.0,
        (GuideCondition::Cracked, LineMaterial::Braid) => p.rings_cracked_braid,
        (GuideCondition::Cracked, LineMaterial::Nylon | LineMaterial::Fluorocarbon) => {
            p.rings_cracked_nylon
        }
    }
}

/// The worst of: strength against the rod and against the cast, thickness, rings.
pub(in crate::judge) fn score(c: &Case<'_>) -> Option<Scored> {
    let strength = against_rod(c).min(below_rod(c)).min(against_cast(c));
    let score = strength.min(thickness(c)).min(rings(c));
    Some(scored!(
        score,
        [
            ("line_test", c.line_kgf, "kgf"),
            ("rod_line_max", c.rod_line_kgf, "kgf"),
            ("test_for_cast", c.work.cast_need_kgf, "kgf"),
            ("line_diameter", c.line_mm, "mm"),
            ("chain_over_rod", outlasts(c), "1"),
        ],
    ))
}

pub(in crate::judge) fn text(c: &Case<'_>, s: &Scored) -> String {
    let line = format!("{} of {}", kilograms(c.line_kgf), c.line_plain());
    let worst = s.score + f64::EPSILON;
    if worst >= 1.0 {
        format!("{line} suits rod and cast")
    } else if rings(c) <= worst {
        match c.guides {
            GuideCondition::Cracked => "a cracked ring cuts the line".to_owned(),
            GuideCondition::Plated | GuideCondition::Ceramic => {
                "braid grooves plated rings".to_owned()
            }
        }
    } else if against_cast(c) <= worst {
        let need = KILOGRAMS.one(s.get("test_for_cast")).listed();
        let weaker = if c.line_kgf <= cast_strength_kgf(c) { line } else { c.leader_plain() };
        format!("{weaker} is weak for casting {} (about {need})", grams(c.mass_g))
    } else if below_rod(c) <= worst {
        let most = kilograms(c.rod_line_kgf);
        format!("{line} is weak for a rod made for {most} nylon")
    } else if against_rod(c) <= worst {
        let most = kilograms(c.rod_line_kgf);
        format!("{line} is strong for a rod made for {most} nylon")
    } else {
        let (thick, mass) = (millimetres(c.line_mm), grams(c.mass_g));
        format!("{thick} is thick for {mass}: it costs distance")
    }
}
