//! How to rig and set an outfit for a lure.

use super::case::Case;
use super::factors::{leader, line, reel};
use super::judgement::{CastLink, Settings};
use crate::gear::{Handle, HookStyle, LeaderMaterial, LineMaterial};
use crate::quantity::words::CENTIMETRES;
use crate::quantity::{Force, Length, Mass, N_PER_KGF};
use crate::water::{Cover, Skill, Teeth};

/// Drag to set, kgf: a quarter of the weakest link, no more than the fish usually asks for, the
/// rod leans on or the mouth bears. Common practice, no source.
pub(super) fn recommended_drag_kgf(c: &Case<'_>) -> f64 {
    let p = &c.p.drag;
    let share = match c.skill {
        Skill::Novice => p.novice_share,
        Skill::Intermediate | Skill::Expert if c.is_hard_cover() => p.usable_share,
        Skill::Intermediate | Skill::Expert => p.recommended_share,
    };
    let [least, most] = c.fish_drag_kgf();
    let link = c.weakest_kgf() * share;
    let rod = c.rod_force_n() / N_PER_KGF / p.lift_share;
    let fish = match c.cover {
        Cover::Open => (least + most) / 2.0,
        Cover::Weed
        | Cover::Heavy
        | Cover::Oyster
        | Cover::Mangrove
        | Cover::Dock
        | Cover::Rock
        | Cover::Timber => most,
    };
    // Down to what a spring scale shows, never to nothing.
    let tenth = (link.min(rod).min(fish) * 10.0 + 1e-6).floor() / 10.0;
    tenth.max(0.1)
}

/// Material and strength of leader to tie, kgf.
pub(super) fn recommended_leader(c: &Case<'_>) -> (LeaderMaterial, f64) {
    let [least, most] = c.fish_leader_kgf();
    let teeth = c.fish.teeth == Teeth::Cutting || c.toothy >= c.p.leader.limit_risk;
    if teeth {
        let wire = if c.mass_g < c.p.leader.steel_full_g {
            LeaderMaterial::Titanium
        } else {
            LeaderMaterial::SteelWire
        };
        let (least, most) = match c.fish.teeth {
            Teeth::Cutting => (least, most.max(least)),
            Teeth::None | Teeth::Rasping | Teeth::Small => {
                (c.p.leader.bystander_kgf, c.p.leader.bystander_kgf)
            }
        };
        // As strong as the line: the trace is not meant to be the fuse.
        let fitting = c.line_kgf.clamp(least, most);
        return (wire, fitting.max(c.work.cast_need_kgf).round());
    }
    let asked_mm = leader::asked_mm(c);
    let by_fish = if most > 0.0 {
        // As strong as the line does: more would not be the weakest link.
        ((least + most) / 2.0).min(c.line_kgf.max(least))
    } else if asked_mm > 0.0 || leader::is_missed(c) {
        c.line_kgf.min(c.rod_line_kgf * c.p.fix.nylon_share)
    } else {
        return (LeaderMaterial::None, 0.0);
    };
    // Edges and jaws may ask for more than the fish pulls.
    let rubbed = if asked_mm > 0.0 { c.p.line.fluorocarbon_mm.x_at(asked_mm).ceil() } else { 0.0 };
    (LeaderMaterial::Fluorocarbon, by_fish.round().max(rubbed).max(1.0))
}

/// Whether a lure hangs on a snap: what swings does, and what hangs on wire. Common practice, no
/// source.
#[must_use]
pub fn has_snap(hook: HookStyle, leader: LeaderMaterial) -> bool {
    swings(hook) || is_wire(leader)
}

fn swings(hook: HookStyle) -> bool {
    matches!(hook, HookStyle::Treble | HookStyle::InlineSingle)
}

fn is_wire(leader: LeaderMaterial) -> bool {
    matches!(leader, LeaderMaterial::SteelWire | LeaderMaterial::Titanium)
}

/// Knot or clip at the lure. A knot in wire slips or breaks it: a sleeve is crimped on, or
/// single-strand wire twisted. Common practice, no source.
#[must_use]
pub fn lure_knot(hook: HookStyle, leader: LeaderMaterial) -> &'static str {
    match (swings(hook), is_wire(leader)) {
        (true, false) => {
            "round-bend snap, so that the lure swings, tied on with a palomar or uni knot, wetted"
        }
        (false, false) => "uni knot or non-slip loop, wetted",
        (true, true) => {
            "clip on with the trace's round-bend snap, so that the lure swings; on a trace of your \
             own crimp the snap on, or haywire-twist single strand: no knot in wire"
        }
        (false, true) => {
            "clip on with the trace's snap; on a trace of your own crimp the snap on, or \
             haywire-twist single strand: no knot in wire"
        }
    }
}

/// Knot between the main line and the leader. Common practice, no source.
#[must_use]
pub fn main_knot(line: LineMaterial, leader: LeaderMaterial, hook: HookStyle) -> &'static str {
    match (line, leader) {
        (_, LeaderMaterial::None) if has_snap(hook, leader) => "none: tied to the snap",
        (_, LeaderMaterial::None) => "none: tied to the lure",
        (_, LeaderMaterial::SteelWire | LeaderMaterial::Titanium) => {
            "double-turn clinch knot to the trace's swivel"
        }
        (LineMaterial::Braid, LeaderMaterial::Nylon | LeaderMaterial::Fluorocarbon) => {
            "FG knot or double uni knot"
        }
        (
            LineMaterial::Nylon | LineMaterial::Fluorocarbon,
            LeaderMaterial::Nylon | LeaderMaterial::Fluorocarbon,
        ) => "double uni knot",
    }
}

/// Settings for a case.
pub(super) fn settings(c: &Case<'_>) -> Settings {
    let p = &c.p.setting;
    let drag = recommended_drag_kgf(c);
    let (leader_material, leader_kgf) = recommended_leader(c);
    let length = match (is_wire(leader_material), c.cover) {
        (true, _) => p.leader_pike_m,
        (false, Cover::Open) => p.leader_open_m,
        (false, _) => p.leader_cover_m,
    };
    let (cast_limit_g, cast_link) = cast_limit(c);
    Settings {
        drag: Force::from_kgf(drag),
        line_out: Length::from_m(c.line_out_m),
        leader_material,
        leader_test: Force::from_kgf(leader_kgf),
        leader_length: Length::from_m(if leader_material == LeaderMaterial::None {
            0.0
        } else {
            length
        }),
        main_knot: main_knot(c.line, leader_material, c.hook),
        lure_knot: lure_knot(c.hook, leader_material),
        snap_test: Force::from_kgf((drag / c.p.drag.usable_share * p.snap_reserve).ceil()),
        cast_limit: Mass::from_g(cast_limit_g),
        cast_link,
        reel: fitting_reel(c),
        hook_style: c.hook,
        line_material: c.line,
    }
}

/// Greatest mass for a full cast, g, and what bears no more: the rod, or the weaker of line and
/// leader by the figures that set off the caution about a line that parts.
pub(super) fn cast_limit(c: &Case<'_>) -> (f64, CastLink) {
    let novice = if c.skill == Skill::Novice { c.p.load.novice_share } else { 1.0 };
    let most = c.lure_max_g * c.p.load.warn_cast * novice;
    // Whole grams, but never less than a lure that is borne.
    let at_least = |whole: f64, borne: bool| if borne { whole.max(c.mass_g) } else { whole };
    let rod = at_least(most.floor(), c.mass_g <= most);
    let strength = line::cast_strength_kgf(c);
    let borne = |mass_g: f64| c.work.need_of_kgf(c, mass_g) <= strength;
    if borne(rod) {
        return (rod, CastLink::Rod);
    }
    let (mut bears, mut parts) = (0, most.ceil() as u32);
    while parts - bears > 1 {
        let middle = bears.midpoint(parts);
        if borne(f64::from(middle)) {
            bears = middle;
        } else {
            parts = middle;
        }
    }
    let link = if c.line_kgf <= strength { CastLink::Line } else { CastLink::Leader };
    (at_least(f64::from(bears), c.mass_g <= rod && borne(c.mass_g)), link)
}

/// Size and line a turn, in the words of the trade.
fn fitting_reel(c: &Case<'_>) -> String {
    let (from, to) = reel::within(reel::wanted_retrieve_cm(c), reel::usual_retrieve_cm(c));
    format!("{}, {} a turn", fitting_size(c), CENTIMETRES.span(from, to))
}

/// Kind and size in the words of the trade; the numbers are families of size, no standard.
pub(super) fn fitting_size(c: &Case<'_>) -> String {
    let sizes = match c.handle {
        Handle::Spinning => {
            ["1000", "2000", "2500", "2500 to 3000", "3000 to 4000", "4000 to 5000", "6000", "8000"]
        }
        Handle::Casting => ["50 to 70", "70", "100", "100", "150", "200", "300", "400"],
    };
    let index = (c.power.round().clamp(1.0, 8.0) as usize) - 1;
    let kind = match c.handle {
        Handle::Spinning => "fixed-spool",
        Handle::Casting => "casting",
    };
    format!("{kind} {}", sizes[index])
}
