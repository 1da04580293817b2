//! Contact: does the lure keep to the bottom in this current and depth? Practice.

use super::{Case, Scored, scored};
use crate::judge::text::grams;
use crate::model::Presentation;

/// Mass against the mass that practice asks for: 17 g at 0.5 m/s and 4 m, half as much again for
/// every 0.3 m/s more and for every doubling of the depth; in a slow current less, in none nothing.
/// Source: common practice, no source.
pub(in crate::judge) fn score(c: &Case<'_>) -> Option<Scored> {
    let p = &c.p.contact;
    let near_bottom =
        matches!(c.traits.presentation, Presentation::Bottom | Presentation::Vertical);
    let depth = c.depth_m.filter(|_| near_bottom)?;
    let faster = (c.current_m_s - p.reference_m_s) / p.step_m_s;
    let deeper = libm::log2(depth.max(p.least_depth_m) / p.reference_depth_m);
    let flows = (c.current_m_s / p.full_from_m_s).min(1.0);
    let needed = p.reference_g * libm::pow(p.step_gain, faster + deeper) * flows;
    Some(scored!(
        p.ratio.at(c.throwable_g() / needed),
        [
            ("rigged_mass", c.mass_g, "g"),
            ("mass_for_contact", needed, "g"),
            ("current", c.current_m_s, "m/s"),
            ("depth", depth, "m"),
        ],
    ))
}

pub(in crate::judge) fn text(c: &Case<'_>, s: &Scored) -> String {
    if c.current_m_s <= 0.0 {
        return "no current to speak of".to_owned();
    }
    let needed = grams(s.get("mass_for_contact"));
    format!("{} in this current and depth, where about {needed} keeps contact", grams(c.mass_g))
}
