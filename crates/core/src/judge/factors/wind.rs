//! Wind: does the lure fly in it? Physics shortened to practice's coefficients.

use super::{Case, Scored};
use crate::water::WindDirection;

/// Loss in proportion to wind, drag coefficient of the air class, direction and lightness; a
/// bulky lure on a tip that it bends far begins to tumble, and its drag area grows.
pub(in crate::judge) fn score(c: &Case<'_>) -> Option<Scored> {
    if c.is_vertical() {
        return None;
    }
    let p = &c.p.wind;
    // A long soft tail on a light head tumbles at a bulk at which a plug still flies straight.
    let (bulk_to, growth) = if c.traits.soft_tail {
        (p.soft_tail_bulk_to, p.soft_tail_growth)
    } else {
        (p.bulk_to, p.tumble_growth)
    };
    let bulk = ((c.air - p.bulk_from) / (bulk_to - p.bulk_from)).clamp(0.0, 1.0);
    let place = c.window_place(c.mass_g);
    let soft = ((place - p.tumble_from) / (p.tumble_to - p.tumble_from)).clamp(0.0, 1.0);
    let tumbling = bulk * soft;
    let air = c.air * (1.0 + growth * tumbling) * c.doubt.wind;
    let lightness = p.lightness.at_log(c.throwable_g());
    let loss = c.wind_m_s / p.reference_m_s * air * c.wind_share() * lightness;
    Some(Scored::new(
        (1.0 - loss).max(p.least),
        [
            ("wind", c.wind_m_s, "m/s"),
            ("share_along_cast", c.wind_share(), "1"),
            ("air_coefficient", air, "1"),
            ("tumbling", tumbling, "1"),
        ],
    ))
}

/// Distance is only one part of fishing: the cap sees wind late.
pub(in crate::judge) fn cap_view(c: &Case<'_>, score: f64) -> f64 {
    (score * c.p.wind.cap_relief).min(1.0)
}

pub(in crate::judge) fn text(c: &Case<'_>, s: &Scored) -> String {
    let way = match c.wind {
        WindDirection::Calm => return "no wind to speak of".to_owned(),
        WindDirection::Down => "behind the cast",
        WindDirection::Across => "across the cast",
        WindDirection::Into => "against the cast",
    };
    let how = match s.score {
        good if good >= c.p.text.fine => "costs little",
        fair if fair >= c.p.text.fair => "costs distance and feel",
        _ => "blows it back",
    };
    let tumbles =
        if s.get("tumbling") > c.p.text.fair { ", and it tumbles off this tip" } else { "" };
    format!("{:.0} m/s {way} {how} with {}{tumbles}", c.wind_m_s, c.air_plain())
}
