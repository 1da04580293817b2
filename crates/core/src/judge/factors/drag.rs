//! Drag: does the setting suit the weakest link, the fish and the rod? Physics and practice.

use super::{Case, Scored, scored};
use crate::judge::settings;
use crate::judge::text::kilograms;
use crate::mechanics::spool;
use crate::quantity::N_PER_KGF;
use crate::quantity::words::KILOGRAMS;

/// Drag over the strength of the weakest link.
pub(in crate::judge) fn share_of_weakest(c: &Case<'_>) -> f64 {
    c.drag_kgf / c.weakest_kgf()
}

fn against_link(c: &Case<'_>) -> f64 {
    c.p.drag.share.at(share_of_weakest(c))
}

fn against_fish(c: &Case<'_>) -> f64 {
    let p = &c.p.drag;
    let [least, most] = c.fish_drag_kgf();
    p.too_low.at(c.usable_drag_kgf() / least).min(p.too_high.at(c.drag_kgf / most))
}

fn against_rod(c: &Case<'_>) -> f64 {
    let lifted = c.drag_kgf * N_PER_KGF * c.p.drag.lift_share;
    c.p.drag.lift.at(c.rod_force_n() / lifted)
}

/// The worst of: share of the weakest link, what the fish asks for, what the rod can lift.
pub(in crate::judge) fn score(c: &Case<'_>) -> Option<Scored> {
    let score = against_link(c).min(against_fish(c)).min(against_rod(c));
    let [least, most] = c.fish_drag_kgf();
    let p = &c.p.drag;
    let with_rod_bent = spool::capstan(c.drag_kgf, p.ring_friction, core::f64::consts::FRAC_PI_2);
    let on_low_spool = spool::tension_at_radius(c.drag_kgf, 1.0, p.low_spool);
    Some(scored!(
        score,
        [
            ("drag", c.drag_kgf, "kgf"),
            ("weakest_link", c.weakest_kgf(), "kgf"),
            ("share_of_weakest_link", share_of_weakest(c), "1"),
            ("fish_asks_from", least, "kgf"),
            ("fish_asks_to", most, "kgf"),
            ("drag_with_rod_bent", with_rod_bent, "kgf"),
            ("drag_on_low_spool", on_low_spool, "kgf"),
        ],
    ))
}

pub(in crate::judge) fn text(c: &Case<'_>, s: &Scored) -> String {
    let worst = s.score + f64::EPSILON;
    let drag = kilograms(c.drag_kgf);
    let share = s.get("share_of_weakest_link") * 100.0;
    if s.score >= c.p.text.right {
        format!("{drag} of drag is {share:.0} % of the weakest link")
    } else if against_link(c) <= worst {
        let link = KILOGRAMS.one(s.get("weakest_link")).listed();
        format!("{drag} of drag is {share:.0} % of the weakest link ({link} at the knot)")
    } else if against_rod(c) <= worst {
        format!("{drag} of drag is more than this rod can lean on")
    } else {
        let (from, to) = (s.get("fish_asks_from"), s.get("fish_asks_to"));
        let usual = KILOGRAMS.two(from, to);
        let fish = c.fish_plain();
        if c.drag_kgf < from && settings::recommended_drag_kgf(c) < from {
            format!("{fish} here: {usual} of drag, more than this line or rod bears")
        } else {
            format!("{drag} of drag; usual for {fish} here is {usual}")
        }
    }
}
