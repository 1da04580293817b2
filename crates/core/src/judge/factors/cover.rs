//! Cover: can the fish be stopped short of it? Practice, read as a stopping distance.

use super::{Case, Scored, scored};
use crate::gear::LineMaterial;
use crate::judge::text::kilograms;
use crate::judge::work::power;
use crate::quantity::N_PER_KGF;
use crate::quantity::words::METRES;
use crate::water::Cover;

/// Line that stops the usual fish over the distance to cover, kgf of braid.
pub(in crate::judge) fn line_need_kgf(c: &Case<'_>) -> f64 {
    let p = &c.p.cover;
    let kind = match c.cover {
        Cover::Open => return 0.0,
        Cover::Weed => p.weed,
        Cover::Heavy => p.heavy,
        Cover::Oyster => p.oyster,
        Cover::Mangrove => p.mangrove,
        Cover::Dock => p.dock,
        Cover::Rock => p.rock,
        Cover::Timber => p.timber,
    };
    let current = 1.0 + p.current_gain * c.current_m_s * c.current_m_s;
    let dives = if c.fish.habit.dives { p.dive_gain } else { 1.0 };
    // A mat of weed is to be torn whatever hangs in it; elsewhere a small fish asks for little.
    let least = if c.cover == Cover::Heavy { 1.0 } else { p.fish_least };
    let ratio = c.fish_kg / p.fish_reference_kg;
    let exponent = if ratio < 1.0 { p.fish_exponent } else { p.large_fish_exponent };
    let size = power(ratio, exponent).clamp(least, p.fish_most);
    p.line_by_distance.at_log(c.cover_m) * kind * current * dives * size
}

/// The worse of: line strength, and the pull that drag and rod can bring to bear.
pub(in crate::judge) fn score(c: &Case<'_>) -> Option<Scored> {
    if c.cover == Cover::Open {
        return None;
    }
    let p = &c.p.cover;
    let need = line_need_kgf(c);
    let worth = match c.line {
        LineMaterial::Braid => 1.0,
        LineMaterial::Nylon => p.nylon_worth,
        LineMaterial::Fluorocarbon => p.fluorocarbon_worth,
    };
    let line = p.line.at(c.line_kgf * worth / need);
    let rod = c.rod_force_n() / N_PER_KGF * p.rod_share;
    let pull = c.usable_drag_kgf().min(rod);
    let stop = need * p.pull_share;
    Some(scored!(
        line.min(p.pull.at(pull / stop)),
        [
            ("line_test", c.line_kgf, "kgf"),
            ("line_for_cover", need, "kgf"),
            ("stopping_pull", pull, "kgf"),
            ("pull_for_cover", stop, "kgf"),
            ("distance_to_cover", c.cover_m, "m"),
        ],
    ))
}

pub(in crate::judge) fn text(c: &Case<'_>, s: &Scored) -> String {
    let need = kilograms(s.get("line_for_cover"));
    let place = format!("{} within {}", c.cover_plain(), METRES.one(c.cover_m));
    if s.score >= 1.0 {
        format!("{} stops a fish short of {place}", kilograms(c.line_kgf))
    } else {
        let pull = kilograms(s.get("stopping_pull"));
        format!("{place} asks for about {need} of braid; {pull} of pull can be brought to bear")
    }
}
