//! Hold: does the hook stay, neither opened nor torn out? Physics; what wire and
//! mouth bear is from memory.

use super::{Case, Scored, hook_set, scored};
use crate::judge::text::{millimetres, newtons};
use crate::mechanics::hook;

/// The rod's pull, cut off by the drag and carried on by what of a head-shake comes through before
/// the drag gives, against the force that opens the wire or tears the mouth.
pub(in crate::judge) fn score(c: &Case<'_>) -> Option<Scored> {
    let p = &c.p.hold;
    let opening = hook::opening_n(p.opening, c.wire_mm) * c.doubt.hold;
    let tear = c.fish.tear_n * c.doubt.hold;
    let slip = hook_set::drag_slips_n(c, c.drag_kgf);
    let pull = hook_set::swung_n(c).min(slip) * (1.0 + p.jerk * c.work.swing);
    let ratio = pull / opening.min(tear);
    Some(scored!(
        p.over.at(ratio),
        [
            ("peak_pull", pull, "N"),
            ("drag_slips_at", slip, "N"),
            ("shake_share", c.work.swing, "1"),
            ("hook_opens_at", opening, "N"),
            ("mouth_tears_at", tear, "N"),
            ("pull_ratio", ratio, "1"),
        ],
    ))
}

pub(in crate::judge) fn text(c: &Case<'_>, s: &Scored) -> String {
    let pull = newtons(s.get("peak_pull"));
    let (opening, tear) = (s.get("hook_opens_at"), s.get("mouth_tears_at"));
    if opening < tear {
        let wire = millimetres(c.wire_mm);
        format!("peak pull {pull}; {wire} wire opens at {}", newtons(opening))
    } else {
        format!("peak pull {pull}; the mouth of {} tears at {}", c.fish_plain(), newtons(tear))
    }
}
