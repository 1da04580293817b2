//! Action: does the depth of the bend suit these hooks? Practice, scaled by the computed share of the
//! tension that a head-shake takes. Why not physics alone: `EQUATIONS.md`, last section.

use super::{Case, Scored, scored};
use crate::gear::{HookStyle, LineMaterial};
use crate::judge::work::power;
use crate::model::Presentation;
use crate::water::Cover;

/// Score lost for a bend too near the tip (the hooks are torn out when the fish shakes) or too
/// deep (no force, no command of the lure). The wanted interval is the class's; hooks, line,
/// mouth and cover decide how much a stiff tip costs. Source: common practice, no source.
pub(in crate::judge) fn score(c: &Case<'_>) -> Option<Scored> {
    let p = &c.p.action;
    let [mut low, mut high] = c.traits.action;
    let mut slope = c.traits.too_fast * c.doubt.action_slope;
    let singles = c.hook != HookStyle::Treble;
    if c.traits.has_trebles() && singles {
        low += p.single_shift_low;
        high += p.single_shift_high;
        slope *= p.single_relief;
    }
    let mouth = mouth_scale(c);
    if !singles {
        high -= p.mouth_shift * (mouth - 1.0).max(0.0);
    }
    if c.traits.has_trebles() || !singles {
        slope *= line_scale(c) * wire_scale(c) * lever_scale(c);
    }
    slope *= mouth * shake_scale(c) * cover_scale(c);
    let too_fast = (c.action - high).max(0.0);
    let too_slow = (low - c.action).max(0.0);
    let mut score = 1.0 - slope * too_fast - c.traits.too_slow * too_slow;
    if c.has_moving_trebles() {
        // Even where the bend is right, a blank that recovers slowly and a line that stretches
        // hold trebles a little better.
        score -= p.swing_cost * c.work.swing;
    }
    Some(scored!(
        score.clamp(p.least, 1.0),
        [
            ("action", c.action, "1"),
            ("wanted_from", low, "1"),
            ("wanted_to", high, "1"),
            ("cost_too_fast", slope, "1"),
            ("shake_share", c.work.swing, "1"),
            ("loaded_frequency", c.work.loaded_frequency_hz(), "Hz"),
        ],
    ))
}

/// The more of the tension a head-shake takes, the more a stiff tip costs: braid passes every jerk
/// on to trebles, nylon gives. The share is computed, its price is practice.
fn line_scale(c: &Case<'_>) -> f64 {
    let p = &c.p.action;
    let scale = p.swing.at(c.work.swing);
    if c.traits.presentation == Presentation::SlackLine && !shakes(c) {
        scale.min(p.slack_line_most)
    } else {
        scale
    }
}

/// The finer the wire, the less it bears.
fn wire_scale(c: &Case<'_>) -> f64 {
    let p = &c.p.action;
    (p.wire_reference_mm / c.wire_mm).sqrt().clamp(p.wire_scale_least, p.wire_scale_most)
}

/// A heavy lure levers the hook out when the line slackens.
fn lever_scale(c: &Case<'_>) -> f64 {
    let p = &c.p.action;
    power(c.mass_g / p.lever_reference_g, p.lever_exponent)
        .clamp(p.wire_scale_least, p.wire_scale_most)
}

/// Papery mouths ask for more give.
fn mouth_scale(c: &Case<'_>) -> f64 {
    let p = &c.p.action;
    let mouth = (p.tear_reference_n / (c.fish.tear_n * c.doubt.hold)).sqrt();
    mouth.clamp(p.mouth_least, p.mouth_most)
}

fn shakes(c: &Case<'_>) -> bool {
    c.fish.habit.shakes || c.fish.habit.jumps
}

/// So do fish that shake or jump.
fn shake_scale(c: &Case<'_>) -> f64 {
    if shakes(c) { c.p.action.shake_cost } else { 1.0 }
}

/// A fish that must be stopped overrules the wish for give.
fn cover_scale(c: &Case<'_>) -> f64 {
    match c.cover {
        Cover::Open | Cover::Weed | Cover::Oyster | Cover::Rock => 1.0,
        Cover::Heavy | Cover::Mangrove | Cover::Dock | Cover::Timber => c.p.action.cover_relief,
    }
}

pub(in crate::judge) fn text(c: &Case<'_>, s: &Scored) -> String {
    let name = c.action_word_plain();
    let lure = c.lure_plain();
    if s.get("action") > s.get("wanted_to") {
        let line = match c.line {
            LineMaterial::Braid => " on braid",
            LineMaterial::Nylon | LineMaterial::Fluorocarbon => "",
        };
        format!("{name}{line} gives too little for {lure}: a head-shake lands on the hooks")
    } else if s.get("action") < s.get("wanted_from") {
        format!("{name} bends too deep to work and set {lure}")
    } else if s.score < c.p.text.right {
        format!("{name} bends where {lure} wants it; this line passes each head-shake on")
    } else {
        format!("{name} bends where {lure} wants it")
    }
}
