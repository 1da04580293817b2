//! Skill: can this angler handle it? Practice.

use super::{Case, Scored, scored};
use crate::gear::{Handle, HookStyle};
use crate::judge::text::grams;
use crate::water::Skill;

/// A casting reel tangles for a beginner, the more the lighter the lure and the stronger the
/// wind against it; heavy lures and many trebles are no beginner's gear. A practised hand
/// suffers from the wind alone.
pub(in crate::judge) fn score(c: &Case<'_>) -> Option<Scored> {
    let p = &c.p.skill;
    let cast = c.handle == Handle::Casting && !c.is_vertical();
    let against = c.wind_m_s * c.wind_share();
    let tangle = match (c.skill, cast) {
        (_, false) | (Skill::Expert, true) => 1.0,
        (Skill::Novice, true) => {
            p.novice_casting_mass.at_log(c.throwable_g()).min(p.novice_casting_wind.at(against))
        }
        (Skill::Intermediate, true) => {
            let light = p.light_in_wind.at_log(c.throwable_g());
            1.0 - light * (1.0 - p.casting_wind.at(against * c.air))
        }
    };
    let handling = match c.skill {
        Skill::Novice => {
            let trebles = if c.hook == HookStyle::Treble { c.hook_count } else { 0.0 };
            p.novice_mass.at_log(c.mass_g).min(p.novice_trebles.at(trebles))
        }
        Skill::Intermediate | Skill::Expert => 1.0,
    };
    Some(scored!(
        tangle.min(handling),
        [("rigged_mass", c.mass_g, "g"), ("wind_against", against, "m/s")],
    ))
}

pub(in crate::judge) fn text(c: &Case<'_>, s: &Scored) -> String {
    let who = match c.skill {
        Skill::Novice => "a beginner",
        Skill::Intermediate => "an intermediate angler",
        Skill::Expert => "an expert",
    };
    if s.score >= c.p.text.fine {
        format!("{who} handles this")
    } else if c.handle == Handle::Casting {
        let wind = if s.get("wind_against") > 1.0 { " in this wind" } else { "" };
        format!("a casting reel with {}{wind} tangles for {who}", grams(c.mass_g))
    } else {
        format!("{who} does better with fewer trebles and a lighter lure")
    }
}
