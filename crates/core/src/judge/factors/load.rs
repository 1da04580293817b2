//! Load: does the rod throw this mass? Practice; the window is a range, not a gate.

use super::{Case, Scored, scored};
use crate::judge::text::grams;
use crate::quantity::words::GRAMS;
use crate::water::Skill;

/// Score of a mass in the rod's window.
///
/// With x the place of the mass in the window on a logarithmic scale: full from 0.40 to 0.80,
/// falling to the printed ends and on beyond them. Into the wind a bulky lure loads the rod like
/// a heavier one; that may cost, never gain. Source: common practice, no source.
pub(in crate::judge) fn score(c: &Case<'_>) -> Option<Scored> {
    let in_wind = c.mass_g * (1.0 + c.p.load.wind_gain * c.wind_m_s * c.wind_share() * c.air);
    let (still, blown) = (of_mass(c, c.mass_g), of_mass(c, in_wind));
    let (score, counted) = if blown < still { (blown, in_wind) } else { (still, c.mass_g) };
    let of_cast = |value: f64| if c.is_vertical() { f64::NAN } else { value };
    Some(scored!(
        score,
        [
            ("rigged_mass", c.mass_g, "g"),
            ("window_min", c.lure_min_g, "g"),
            ("window_max", c.lure_max_g, "g"),
            ("share_of_maximum", c.mass_g / c.lure_max_g, "1"),
            ("window_place", c.window_place(c.mass_g), "1"),
            ("mass_that_counts", counted, "g"),
            ("cast_load", of_cast(c.work.cast.peak_load_n), "N"),
            ("cast_load_over_third_drop", of_cast(c.work.cast.load_ratio), "1"),
        ],
    ))
}

fn of_mass(c: &Case<'_>, mass_g: f64) -> f64 {
    let p = &c.p.load;
    if c.is_vertical() {
        let (low, high) = (mass_g / c.lure_min_g, mass_g / c.lure_max_g);
        return p.vertical_over.at(high).min(p.vertical_under.at(low));
    }
    let (min, max) = (c.lure_min_g, c.lure_max_g);
    let printed = in_window(c, mass_g, min, max);
    // Skill moves the ends; a beginner never gains by it, an expert never loses.
    match c.skill {
        Skill::Novice => printed.min(in_window(c, mass_g, min, max * p.novice_share)),
        Skill::Intermediate => printed,
        Skill::Expert => {
            let tolerance = p.expert_tolerance;
            let wide = in_window(c, mass_g, min * (1.0 - tolerance), max * (1.0 + tolerance));
            printed.max(wide)
        }
    }
}

/// The three curves meet at the ends.
fn in_window(c: &Case<'_>, mass_g: f64, least: f64, most: f64) -> f64 {
    let p = &c.p.load;
    if mass_g < least {
        p.under.at(mass_g / least)
    } else if mass_g > most {
        p.over.at(mass_g / most)
    } else {
        p.window.at(libm::log(mass_g / least) / libm::log(most / least))
    }
}

pub(in crate::judge) fn text(c: &Case<'_>, s: &Scored) -> String {
    let share = s.get("share_of_maximum") * 100.0;
    let counted = s.get("mass_that_counts");
    let mass = grams(c.mass_g);
    let window = GRAMS.two(c.lure_min_g, c.lure_max_g).listed();
    let light = s.get("window_place") < 0.0 && s.score < c.p.text.fine;
    let plain = if c.is_vertical() {
        if light {
            format!("{mass} is light to be felt on this rod ({window})")
        } else {
            format!("{mass} is fished straight down: the casting maximum does not bind")
        }
    } else if light {
        format!("{mass} is light for this rod (it throws {window})")
    } else if share > 100.0 {
        format!("{mass} is {:.0} % over the maximum ({window})", share - 100.0)
    } else {
        format!("{mass} is {share:.0} % of the maximum ({window})")
    };
    if counted > c.mass_g {
        format!("{plain}; into this wind it loads like {}", grams(counted))
    } else {
        plain
    }
}
