//! Cheap changes that lift a judgement, each judged again by the same model.

use super::case::{Case, Resolved};
use super::judgement::{Fix, FixCode};
use super::settings::{recommended_drag_kgf, recommended_leader};
use super::text::{grams, kilograms, plain};
use super::{Score, compose, score, short};
use crate::gear::{HookPoint, HookStyle, LeaderMaterial, LineMaterial, Lure, Outfit};
use crate::quantity::{Force, Mass};
use crate::water::Water;

/// One change, not yet judged.
struct Change {
    code: FixCode,
    text: String,
    minutes: f64,
    outfit: Outfit,
    lure: Lure,
}

/// Changes that lift the score, cheapest first; the best pair of them where no single one is
/// enough for `good`.
pub(super) fn fixes(r: &Resolved<'_>, outfit: &Outfit, lure: &Lure, water: &Water) -> Vec<Fix> {
    let p = &r.case.p.compose;
    let before = short(r, &compose::compose(&r.case));
    if before.score >= p.excellent {
        return Vec::new();
    }
    let changes = changes(&r.case, outfit, lure);
    let mut fixes: Vec<Fix> =
        changes.iter().filter_map(|change| judged(r, change, water, &before)).collect();
    if fixes.iter().all(|fix| fix.score < p.good) {
        fixes.extend(best_pair(r, &changes, water, &before));
    }
    fixes.sort_by(|a, b| a.minutes.total_cmp(&b.minutes).then(b.score.total_cmp(&a.score)));
    // What takes longer must bring more.
    let mut best = before.score;
    fixes.retain(|fix| {
        let more = fix.score >= best + r.case.p.fix.least_gain;
        best = best.max(fix.score);
        more
    });
    fixes
}

fn judged(r: &Resolved<'_>, change: &Change, water: &Water, before: &Score) -> Option<Fix> {
    let after = score(r.model, &change.outfit, &change.lure, water);
    let gain = after.score - before.score;
    (gain >= r.case.p.fix.least_gain).then(|| Fix {
        code: change.code,
        text: change.text.clone(),
        verdict: after.verdict,
        score: after.score,
        minutes: change.minutes,
    })
}

/// The best two changes together, if they beat each alone.
fn best_pair(r: &Resolved<'_>, changes: &[Change], water: &Water, before: &Score) -> Option<Fix> {
    let mut best: Option<Fix> = None;
    for (i, first) in changes.iter().enumerate() {
        for second in changes.iter().skip(i + 1).filter(|second| second.code != first.code) {
            let both = Change {
                code: FixCode::Combined,
                text: format!("{}, and {}", first.text, second.text),
                minutes: first.minutes + second.minutes,
                outfit: merged(first, second),
                lure: merged_lure(first, second),
            };
            let fix = judged(r, &both, water, before);
            if let Some(fix) = fix
                && best.as_ref().is_none_or(|b| fix.score > b.score)
            {
                best = Some(fix);
            }
        }
    }
    best.filter(|fix| fix.score >= r.case.p.compose.workable)
}

/// Takes from each change the part that it changes.
fn merged(first: &Change, second: &Change) -> Outfit {
    let mut outfit = first.outfit.clone();
    match second.code {
        FixCode::Drag => outfit.drag = second.outfit.drag,
        FixCode::Leader => outfit.leader = second.outfit.leader.clone(),
        FixCode::Line => outfit.line = second.outfit.line.clone(),
        FixCode::Mass
        | FixCode::HookStyle
        | FixCode::HookPoint
        | FixCode::Hookset
        | FixCode::Combined => {}
    }
    outfit
}

fn merged_lure(first: &Change, second: &Change) -> Lure {
    let mut lure = first.lure.clone();
    match second.code {
        FixCode::Mass => {
            lure.rigged_mass = second.lure.rigged_mass;
            lure.head_mass = second.lure.head_mass;
        }
        FixCode::HookStyle | FixCode::HookPoint => lure.hook = second.lure.hook.clone(),
        FixCode::Drag | FixCode::Leader | FixCode::Line | FixCode::Hookset | FixCode::Combined => {}
    }
    lure
}

fn changes(c: &Case<'_>, outfit: &Outfit, lure: &Lure) -> Vec<Change> {
    let mut changes = Vec::new();
    changes.extend(other_drag(c, outfit, lure));
    changes.extend(sharper(c, outfit, lure));
    changes.extend(other_mass(c, outfit, lure));
    changes.extend(inline_singles(c, outfit, lure));
    changes.extend(other_leader(c, outfit, lure));
    changes.extend(other_line(c, outfit, lure));
    changes
}

fn other_drag(c: &Case<'_>, outfit: &Outfit, lure: &Lure) -> Option<Change> {
    let drag = recommended_drag_kgf(c);
    let same = (drag - c.drag_kgf).abs() < 0.05 * c.drag_kgf;
    let text = format!("set the drag to {}", kilograms(drag));
    let outfit = Outfit { drag: Some(Force::from_kgf(drag)), ..outfit.clone() };
    let minutes = c.p.fix.drag_min;
    (!same).then(|| Change { code: FixCode::Drag, text, minutes, outfit, lure: lure.clone() })
}

fn sharper(c: &Case<'_>, outfit: &Outfit, lure: &Lure) -> Option<Change> {
    (matches!(c.point, Some(HookPoint::Used | HookPoint::Dull))).then(|| {
        let mut lure = lure.clone();
        lure.hook.point = Some(HookPoint::Sharp);
        Change {
            code: FixCode::HookPoint,
            text: "sharpen or replace the hook".to_owned(),
            minutes: c.p.fix.sharpen_min,
            outfit: outfit.clone(),
            lure,
        }
    })
}

/// A mass inside the sweet part of the window, as near to the present one as will do.
fn other_mass(c: &Case<'_>, outfit: &Outfit, lure: &Lure) -> Option<Change> {
    let place = c.window_place(c.mass_g);
    let wanted = if place > c.p.fix.sweet_to {
        c.p.fix.sweet_to
    } else if place < c.p.fix.sweet_from {
        c.p.fix.sweet_from
    } else {
        return None;
    };
    let mass = (c.lure_min_g * libm::pow(c.lure_max_g / c.lure_min_g, wanted)).round();
    // Beyond this it would be another lure, not this one heavier or lighter.
    let [light, heavy] = c.traits.mass_g;
    let most = c.p.fix.mass_change_most;
    let same_lure = (mass / c.mass_g).max(c.mass_g / mass) <= most;
    if !same_lure || mass < light || mass > heavy {
        return None;
    }
    let change = mass - c.mass_g;
    let head = lure.head_mass.map(|head| head.g() + change).filter(|head| *head >= 1.0);
    let text = match head {
        Some(head) if c.traits.soft_tail => format!("take a head of {}", grams(head)),
        Some(_) | None => format!("take a lure of about {} as rigged", grams(mass)),
    };
    let mut lure = lure.clone();
    lure.rigged_mass = Some(Mass::from_g(mass));
    lure.head_mass = head.map(Mass::from_g);
    Some(Change {
        code: FixCode::Mass,
        text,
        minutes: c.p.fix.mass_min,
        outfit: outfit.clone(),
        lure,
    })
}

fn inline_singles(c: &Case<'_>, outfit: &Outfit, lure: &Lure) -> Option<Change> {
    (c.hook == HookStyle::Treble).then(|| {
        let mut lure = lure.clone();
        lure.hook.style = Some(HookStyle::InlineSingle);
        Change {
            code: FixCode::HookStyle,
            text: "hang inline singles instead of the trebles".to_owned(),
            minutes: c.p.fix.hook_min * c.hook_count,
            outfit: outfit.clone(),
            lure,
        }
    })
}

fn other_leader(c: &Case<'_>, outfit: &Outfit, lure: &Lure) -> Option<Change> {
    let (material, kgf) = recommended_leader(c);
    let same = material == c.leader && (kgf - c.leader_kgf).abs() < 0.2 * kgf.max(1.0);
    let text = match material {
        LeaderMaterial::None => "tie straight to the lure".to_owned(),
        LeaderMaterial::Nylon
        | LeaderMaterial::Fluorocarbon
        | LeaderMaterial::SteelWire
        | LeaderMaterial::Titanium => {
            format!("fit a leader of {} {}", kilograms(kgf), plain(material))
        }
    };
    let mut outfit = outfit.clone();
    outfit.leader.material = Some(material);
    outfit.leader.test = Some(Force::from_kgf(kgf));
    outfit.leader.diameter = None;
    let minutes = c.p.fix.leader_min;
    (!same).then(|| Change { code: FixCode::Leader, text, minutes, outfit, lure: lure.clone() })
}

/// Nylon for trebles on braid; braid that suits the rod for everything else.
fn other_line(c: &Case<'_>, outfit: &Outfit, lure: &Lure) -> Option<Change> {
    let nylon = c.hook == HookStyle::Treble && c.line == LineMaterial::Braid;
    let (material, kgf) = if nylon {
        (LineMaterial::Nylon, c.rod_line_kgf * c.p.fix.nylon_share)
    } else {
        (LineMaterial::Braid, c.p.line.braid_kgf.at(c.power))
    };
    let kgf = kgf.round().max(1.0);
    let same = material == c.line && (kgf - c.line_kgf).abs() < 0.2 * c.line_kgf;
    let text = format!("spool {} of {}", kilograms(kgf), plain(material));
    let mut outfit = outfit.clone();
    outfit.line.material = Some(material);
    outfit.line.test = Some(Force::from_kgf(kgf));
    outfit.line.diameter = None;
    let minutes = c.p.fix.line_min;
    (!same).then(|| Change { code: FixCode::Line, text, minutes, outfit, lure: lure.clone() })
}
