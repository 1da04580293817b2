//! Pull: does the rod carry the lure's pull with something left for the fish? Physics.

use super::{Case, Scored, scored};
use crate::judge::text::newtons;
use crate::model::Presentation;

/// Share of the rod's force that the lure alone takes, current included.
pub(in crate::judge) fn score(c: &Case<'_>) -> Option<Scored> {
    let p = &c.p.pull;
    let steady = c.traits.presentation == Presentation::Steady;
    let gain = if steady { 1.0 + p.current_gain * c.current_m_s } else { 1.0 };
    let pull = c.pull_n * gain;
    let share = pull / c.rod_force_n();
    Some(scored!(
        p.share.at(share),
        [
            ("pull", pull, "N"),
            ("rod_force", c.rod_force_n(), "N"),
            ("share_of_rod_force", share, "1"),
        ],
    ))
}

pub(in crate::judge) fn text(_: &Case<'_>, s: &Scored) -> String {
    let (pull, share) = (newtons(s.get("pull")), s.get("share_of_rod_force") * 100.0);
    format!("the lure pulls {pull}, {share:.0} % of what the rod carries")
}
