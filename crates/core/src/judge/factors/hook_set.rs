//! Hook-set: is there force enough at the point to seat the hook? Physics: springs in a row, cut
//! off by the drag; how much a quick tip adds is practice.

use super::{Case, Scored, scored};
use crate::gear::{HookPoint, HookStyle};
use crate::judge::text::{millimetres, newtons};
use crate::mechanics::hook::{self, Seat};
use crate::mechanics::line::in_series_n_per_m;
use crate::quantity::N_PER_KGF;
use crate::quantity::words::NEWTONS;
use crate::water::Hookset;

/// Force to seat the hook, N ([`hook::seat_n`]).
///
/// No published data set of hook penetration was found; k is from memory and its spread is part
/// of the interval.
pub(in crate::judge) fn needed_n(c: &Case<'_>) -> f64 {
    let p = &c.p.hook;
    let k = match c.point {
        Some(HookPoint::Sharp) => p.seat_sharp,
        Some(HookPoint::Used) => p.seat_used,
        Some(HookPoint::Dull) => p.seat_dull,
        None => p.seat_unspecified,
    };
    let points = match c.hook {
        HookStyle::DoubleWeedless => p.double_points,
        HookStyle::Treble if c.has_moving_trebles() => p.self_hooking,
        HookStyle::Treble | HookStyle::Single | HookStyle::InlineSingle | HookStyle::Weedless => {
            1.0
        }
    };
    let stiff = match c.water_c {
        Some(t) => p.cold_punch.at(t),
        None => 1.0,
    };
    hook::seat_n(&Seat {
        k_n_per_mm1_5: k * c.doubt.seat_force,
        wire_mm: c.wire_mm,
        barb: if c.barbed { p.barb } else { 1.0 },
        tissue: c.fish.tissue,
        points,
        punch_n: c.punch_n * stiff,
    })
}

/// What the rod can bring when the hook is set, N, whatever the line: its pull, more with a tip
/// that answers at once (practice) and with a harder strike.
pub(in crate::judge) fn rod_n(c: &Case<'_>) -> f64 {
    let p = &c.p.hook;
    c.rod_force_n() * (p.tip_base + p.tip_gain * c.action) * way(c)
}

/// What the sweep of the tip draws from rod and line, springs in a row, N.
pub(in crate::judge) fn sweep_n(c: &Case<'_>) -> f64 {
    let stiffness = in_series_n_per_m(c.work.rod_n_per_m, c.work.line_n_per_m);
    stiffness * c.p.hook.sweep_m * way(c)
}

fn way(c: &Case<'_>) -> f64 {
    let p = &c.p.hook;
    match c.hookset {
        Hookset::Sweep => p.way_sweep,
        Hookset::Snap | Hookset::HandOnSpool => p.way_snap,
        Hookset::ReelSet => p.way_reel,
        Hookset::StripSet => p.way_strip,
    }
}

/// Force that rod and line bring to the lure when the hook is set, N, before the drag slips.
///
/// The lesser of [`rod_n`] and [`sweep_n`], their squares added as inverses: a rod stiffens as it
/// bends, so that one limit passes into the other without a kink.
pub(in crate::judge) fn swung_n(c: &Case<'_>) -> f64 {
    let (rod, sweep) = (rod_n(c), sweep_n(c));
    rod * sweep / libm::hypot(rod, sweep)
}

/// Drag as felt at the lure when it begins to slip, N: start-up and rings included.
pub(in crate::judge) fn drag_slips_n(c: &Case<'_>, drag_kgf: f64) -> f64 {
    drag_kgf * N_PER_KGF * c.work.slip_ratio
}

/// Force at which line is given, N: the drag at start-up, or the line itself under a thumb.
pub(in crate::judge) fn slip_n(c: &Case<'_>) -> f64 {
    match c.hookset {
        Hookset::HandOnSpool | Hookset::StripSet => c.weakest_kgf() * N_PER_KGF,
        Hookset::Sweep | Hookset::Snap | Hookset::ReelSet => drag_slips_n(c, c.usable_drag_kgf()),
    }
}

pub(in crate::judge) fn score(c: &Case<'_>) -> Option<Scored> {
    let needed = needed_n(c);
    let (swung, slip) = (swung_n(c), slip_n(c));
    let ratio = swung.min(slip) / needed;
    Some(scored!(
        c.p.hook.set.at(ratio),
        [
            ("force_needed", needed, "N"),
            ("force_of_rod", rod_n(c), "N"),
            ("force_of_sweep", sweep_n(c), "N"),
            ("force_of_rod_and_line", swung, "N"),
            ("force_before_drag_slips", slip, "N"),
            ("force_ratio", ratio, "1"),
        ],
    ))
}

pub(in crate::judge) fn text(c: &Case<'_>, s: &Scored) -> String {
    let needed = NEWTONS.one(s.get("force_needed"));
    let swung = s.get("force_of_rod_and_line");
    let slip = s.get("force_before_drag_slips");
    let wire = format!("{} wire", millimetres(c.wire_mm));
    if s.get("force_ratio") >= 1.0 {
        let (force, needed) = (newtons(swung.min(slip)), needed.listed());
        format!("{force} at the point seats {wire} (needs {needed})")
    } else if slip < swung {
        let (slip, needed) = (newtons(slip), needed.listed());
        format!("the drag slips at {slip} before {wire} is seated (needs {needed})")
    } else {
        format!("rod and line bring {} to {wire} that needs {needed}", newtons(swung))
    }
}
