//! Length: does it suit the platform? Preference, but for branches overhead.

use super::{Case, Scored, scored};
use crate::model::Parameters;
use crate::quantity::words::ROD_METRES;
use crate::water::Platform;

/// Lengths that are usual on a platform, least and greatest, m.
pub(in crate::judge) fn usual_m(p: &Parameters, platform: Platform) -> (f64, f64) {
    let p = &p.length;
    match platform {
        Platform::Boat => (p.boat_min, p.boat_max),
        Platform::Kayak => (p.kayak_min, p.kayak_max),
        Platform::Bank => (p.bank_min, p.bank_max),
        Platform::Coast => (p.coast_min, p.coast_max),
        Platform::Wading => (p.wading_min, p.wading_max),
        Platform::OverhungBank => (p.overhung_min, p.overhung_max),
        Platform::BoatVertical => (p.vertical_min, p.vertical_max),
        Platform::Bridge => (p.bridge_min, p.bridge_max),
    }
}

/// Score lost for each metre outside the usual interval of the platform.
pub(in crate::judge) fn score(c: &Case<'_>) -> Option<Scored> {
    let p = &c.p.length;
    let (low, high) = usual_m(c.p, c.platform);
    let outside = (low - c.rod_length_m).max(c.rod_length_m - high).max(0.0);
    let in_branches = c.platform == Platform::OverhungBank && c.rod_length_m > high;
    let slope = if in_branches { p.branch_loss } else { p.loss };
    Some(scored!(
        (1.0 - slope * outside).max(p.least),
        [("rod_length", c.rod_length_m, "m"), ("usual_from", low, "m"), ("usual_to", high, "m")],
    ))
}

/// A wrong length alone hardly spoils an outfit, unless there is no room to swing it.
pub(in crate::judge) fn cap_view(c: &Case<'_>, score: f64) -> f64 {
    match c.platform {
        Platform::OverhungBank => score,
        Platform::Boat
        | Platform::Kayak
        | Platform::Bank
        | Platform::Coast
        | Platform::Wading
        | Platform::BoatVertical
        | Platform::Bridge => (score * c.p.length.cap_relief).min(1.0),
    }
}

pub(in crate::judge) fn text(c: &Case<'_>, s: &Scored) -> String {
    let usual = ROD_METRES.two(s.get("usual_from"), s.get("usual_to")).listed();
    let fits = s.score >= 1.0;
    let word = if fits { "suits" } else { "is outside what suits" };
    format!("{} {word} {} ({usual})", ROD_METRES.one(c.rod_length_m), c.platform_plain())
}
