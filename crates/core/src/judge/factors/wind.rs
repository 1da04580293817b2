//! Wind: does the lure fly in it? Physics; what wind across or behind costs is practice.

use super::{Case, Scored, scored};
use crate::judge::text::metres_a_second;
use crate::mechanics::carry::into_wind_share;
use crate::mechanics::flight::GRAVITY_M_S2;
use crate::water::WindDirection;

/// What the cast carries into this wind over what it carries in still air, and of that loss the
/// share that the direction leaves; a bulky lure on a tip that it bends far begins to tumble, and
/// its drag area grows. Across, the loss stands for line that bows, down for what is left of it:
/// both shares are practice.
pub(in crate::judge) fn score(c: &Case<'_>) -> Option<Scored> {
    if c.is_vertical() {
        return None;
    }
    let p = &c.p.wind;
    let cast = &c.work.credited;
    let bulk = c.bulk_cm2_per_g(c.throwable_g()) * c.doubt.wind;
    let tumbling = c.p.tumbling(c.loose_tail);
    let chance = tumbling.chance(bulk, c.work.cast.load_ratio).unwrap_or(1.0);
    let flying = bulk * (1.0 + tumbling.growth * chance);
    // 1 cm²/g is 0.1 m²/kg.
    let k = 0.5 * c.p.cast.air_density_kg_m3 * 0.1 * flying;
    let drag_number = k * cast.speed_m_s * cast.speed_m_s / GRAVITY_M_S2;
    let carried = into_wind_share(drag_number, c.wind_m_s / cast.speed_m_s);
    // What tumbles sails off: the side counts as much as the front.
    let share = match c.wind {
        WindDirection::Across => c.wind_share() + (1.0 - c.wind_share()) * chance,
        WindDirection::Calm | WindDirection::Down | WindDirection::Into => c.wind_share(),
    };
    let loss = (1.0 - p.carry.at(carried)) * share;
    Some(scored!(
        (1.0 - loss).max(p.least),
        [
            ("wind", c.wind_m_s, "m/s"),
            ("share_that_counts", share, "1"),
            ("release_speed", cast.speed_m_s, "m/s"),
            ("drag_area_over_mass", flying, "cm^2/g"),
            ("tumbling", chance, "1"),
            ("carry_into_wind_over_calm", carried, "1"),
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
        _ if c.wind == WindDirection::Across => "bows the line and blows it aside",
        _ => "blows it back",
    };
    let tumbles =
        if s.get("tumbling") > c.p.text.fair { ", and it tumbles off this tip" } else { "" };
    let wind = metres_a_second(c.wind_m_s);
    format!("{wind} {way} {how} with {}{tumbles}", c.air_plain())
}
