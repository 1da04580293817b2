//! Hold: does the hook stay, neither opened nor torn out? Physics with practice's numbers.

use super::{Case, Scored, hook_set};
use crate::judge::text::newtons;
use crate::quantity::N_PER_KGF;

/// The rod's pull, cut off by the drag, against the force that opens the wire or tears the mouth.
/// Opening force `60 d^2` N, d in mm: from memory.
pub(in crate::judge) fn score(c: &Case<'_>) -> Option<Scored> {
    let p = &c.p.hold;
    let opening = p.opening * c.wire_mm * c.wire_mm * c.doubt.hold;
    let tear = c.fish.tear_n * c.doubt.hold;
    let slip = c.drag_kgf * N_PER_KGF * p.start_up;
    let pull = hook_set::swung_n(c).min(slip) * p.peak;
    let ratio = pull / opening.min(tear);
    Some(Scored::new(
        p.over.at(ratio),
        [
            ("peak_pull", pull, "N"),
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
        format!("peak pull {pull}; {:.2} mm wire opens at {}", c.wire_mm, newtons(opening))
    } else {
        format!("peak pull {pull}; the mouth of {} tears at {}", c.fish_plain(), newtons(tear))
    }
}
