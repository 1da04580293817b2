//! Hook-set: is there force enough at the point to seat the hook? Physics with practice's numbers.

use super::{Case, Scored};
use crate::gear::{HookPoint, HookStyle};
use crate::judge::text::newtons;
use crate::quantity::N_PER_KGF;
use crate::water::Hookset;

/// Force to seat the hook, N: `k d^1.5 barb tissue points + punch`, d the wire in mm.
///
/// The exponent lies between area (2) and friction (1). No published data set of hook
/// penetration was found; k is from memory and its spread is part of the interval.
pub(in crate::judge) fn needed_n(c: &Case<'_>) -> f64 {
    let p = &c.p.hook;
    let k = match c.point {
        Some(HookPoint::Sharp) => p.seat_sharp,
        Some(HookPoint::Used) => p.seat_used,
        Some(HookPoint::Dull) => p.seat_dull,
        None => p.seat_unspecified,
    };
    let barb = if c.barbed { p.barb } else { 1.0 };
    let points = match c.hook {
        HookStyle::DoubleWeedless => p.double_points,
        HookStyle::Treble if c.has_moving_trebles() => p.self_hooking,
        HookStyle::Treble | HookStyle::Single | HookStyle::InlineSingle | HookStyle::Weedless => {
            1.0
        }
    };
    let wire = c.wire_mm * c.wire_mm.sqrt();
    let stiff = match c.water_c {
        Some(t) => p.cold_punch.at(t),
        None => 1.0,
    };
    k * c.doubt.seat_force * wire * barb * c.fish.tissue * points + c.punch_n * stiff
}

/// Force that rod and line bring to the lure when the hook is set, N, before the drag slips.
pub(in crate::judge) fn swung_n(c: &Case<'_>) -> f64 {
    let p = &c.p.hook;
    let way = match c.hookset {
        Hookset::Sweep => p.way_sweep,
        Hookset::Snap | Hookset::HandOnSpool => p.way_snap,
        Hookset::ReelSet => p.way_reel,
        Hookset::StripSet => p.way_strip,
    };
    let tip = p.tip_base + p.tip_gain * c.action;
    c.rod_force_n() * tip * c.line_share() * way
}

/// Force at which line is given, N: the drag at start-up, or the line itself under a thumb.
pub(in crate::judge) fn slip_n(c: &Case<'_>) -> f64 {
    match c.hookset {
        Hookset::HandOnSpool | Hookset::StripSet => c.weakest_kgf() * N_PER_KGF,
        Hookset::Sweep | Hookset::Snap | Hookset::ReelSet => {
            c.usable_drag_kgf() * N_PER_KGF * c.p.hook.start_up
        }
    }
}

pub(in crate::judge) fn score(c: &Case<'_>) -> Option<Scored> {
    let needed = needed_n(c);
    let (swung, slip) = (swung_n(c), slip_n(c));
    let ratio = swung.min(slip) / needed;
    Some(Scored::new(
        c.p.hook.set.at(ratio),
        [
            ("force_needed", needed, "N"),
            ("force_of_rod_and_line", swung, "N"),
            ("force_before_drag_slips", slip, "N"),
            ("force_ratio", ratio, "1"),
        ],
    ))
}

pub(in crate::judge) fn text(c: &Case<'_>, s: &Scored) -> String {
    let needed = newtons(s.get("force_needed"));
    let swung = s.get("force_of_rod_and_line");
    let slip = s.get("force_before_drag_slips");
    let wire = format!("{:.2} mm wire", c.wire_mm);
    if s.get("force_ratio") >= 1.0 {
        format!("{} at the point seats {wire} (needs {needed})", newtons(swung.min(slip)))
    } else if slip < swung {
        format!("the drag slips at {} before {wire} is seated (needs {needed})", newtons(slip))
    } else {
        format!("rod and line bring {} to {wire} that needs {needed}", newtons(swung))
    }
}
