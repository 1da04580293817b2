//! The words that stand on gear, beside those of the closed lists. The flag says that a word is
//! only near to the one of the list.

use crate::gear::{
    Action, GuideCondition, Handle, HookPoint, HookStyle, LeaderMaterial, LineMaterial, LureClass,
    Power, RetrieveSide, RodMaterial, Word,
};

pub(super) fn handle(word: &str) -> Option<Handle> {
    Some(match word {
        "spinning" | "spin" | "fixed_spool" => Handle::Spinning,
        "casting" | "cast" | "baitcasting" | "baitcast" | "baitcaster" | "bait_casting"
        | "multiplier" | "low_profile" | "revolving_spool" | "trigger" => Handle::Casting,
        _ => return None,
    })
}

pub(super) fn power(word: &str) -> Option<Power> {
    Power::read(word).or_else(|| {
        Some(match word {
            "ultra_light" => Power::Ultralight,
            "med" => Power::Medium,
            "med_light" => Power::MediumLight,
            "med_heavy" => Power::MediumHeavy,
            "xx_heavy" => Power::DoubleExtraHeavy,
            _ => return None,
        })
    })
}

pub(super) fn action(word: &str) -> Option<(Action, bool)> {
    if let Some(action) = Action::from_word(word) {
        return Some((action, false));
    }
    Some(match word {
        "mod" => (Action::Moderate, false),
        "mod_fast" | "mf" => (Action::ModerateFast, false),
        "f" => (Action::Fast, false),
        "xf" | "x_fast" | "ex_fast" => (Action::ExtraFast, false),
        "parabolic" => (Action::Slow, true),
        "regular" => (Action::Moderate, true),
        "regular_fast" => (Action::ModerateFast, true),
        "ultra_fast" => (Action::ExtraFast, true),
        _ => return None,
    })
}

pub(super) fn rod_material(word: &str) -> Option<RodMaterial> {
    RodMaterial::from_word(word).or_else(|| {
        Some(match word {
            "carbon" | "carbon_fibre" | "carbon_fiber" => RodMaterial::Graphite,
            "fibreglass" | "fiberglass" | "glass_fibre" => RodMaterial::Glass,
            _ => return None,
        })
    })
}

pub(super) fn guides(word: &str) -> Option<GuideCondition> {
    GuideCondition::from_word(word).or_else(|| {
        Some(match word {
            "chrome" | "chromed" => GuideCondition::Plated,
            "chipped" => GuideCondition::Cracked,
            _ => return None,
        })
    })
}

pub(super) fn pieces(word: &str) -> Option<u32> {
    Some(match word {
        "one_piece" | "single_piece" => 1,
        "two_piece" => 2,
        "three_piece" => 3,
        "four_piece" => 4,
        "five_piece" => 5,
        _ => return None,
    })
}

pub(super) fn side(word: &str) -> Option<RetrieveSide> {
    Some(match word {
        "left" | "left_hand" | "left_handed" | "lh" => RetrieveSide::Left,
        "right" | "right_hand" | "right_handed" | "rh" => RetrieveSide::Right,
        "reversible" | "ambidextrous" => RetrieveSide::Reversible,
        _ => return None,
    })
}

pub(super) fn line_material(word: &str) -> Option<LineMaterial> {
    LineMaterial::from_word(word).or_else(|| {
        Some(match word {
            "pe" | "braided" | "multifilament" => LineMaterial::Braid,
            "mono" | "monofilament" => LineMaterial::Nylon,
            "fluoro" | "fc" | "pvdf" => LineMaterial::Fluorocarbon,
            _ => return None,
        })
    })
}

pub(super) fn leader_material(word: &str) -> Option<LeaderMaterial> {
    LeaderMaterial::from_word(word).or_else(|| {
        Some(match word {
            "no_leader" | "no" => LeaderMaterial::None,
            "mono" | "monofilament" => LeaderMaterial::Nylon,
            "fluoro" | "fc" | "pvdf" => LeaderMaterial::Fluorocarbon,
            "wire" | "steel" | "stainless" | "stainless_steel" => LeaderMaterial::SteelWire,
            "ti" | "titanium_wire" => LeaderMaterial::Titanium,
            _ => return None,
        })
    })
}

pub(super) fn lure_class(word: &str) -> Option<(LureClass, bool)> {
    LureClass::from_word_or_nearest(word)
        .or_else(|| LureClass::from_word_or_nearest(word.strip_suffix('s')?))
        .or_else(|| {
            Some(match word {
                "paddle_tail" | "shad" => (LureClass::PaddleTailJig, true),
                "crank" => (LureClass::Crankbait, true),
                "deep_diver" | "diver" => (LureClass::Crankbait, true),
                "cork_rig" => (LureClass::PoppingCorkRig, true),
                "chatter_jig" => (LureClass::BladedJig, true),
                _ => return None,
            })
        })
}

pub(super) fn hook_style(word: &str) -> Option<(HookStyle, bool)> {
    let one = word.strip_suffix('s').unwrap_or(word);
    if let Some(style) = HookStyle::from_word(word).or_else(|| HookStyle::from_word(one)) {
        return Some((style, false));
    }
    Some(match one {
        "treble_hook" => (HookStyle::Treble, false),
        "single_hook" | "jig_hook" => (HookStyle::Single, false),
        "inline_single_hook" | "inline" => (HookStyle::InlineSingle, false),
        "weedless_hook" => (HookStyle::Weedless, false),
        "offset" | "offset_hook" | "wide_gap" | "wide_gap_hook" => (HookStyle::Weedless, true),
        "double" | "double_hook" => (HookStyle::DoubleWeedless, true),
        _ => return None,
    })
}

pub(super) fn hook_point(word: &str) -> Option<HookPoint> {
    HookPoint::from_word(word).or_else(|| (word == "new").then_some(HookPoint::Sharp))
}
