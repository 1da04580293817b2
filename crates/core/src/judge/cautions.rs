//! Cautions: what to be careful about, with what set each off. The tool informs; it certifies
//! neither safety nor legality.

use super::case::Resolved;
use super::envelope::EnvelopeField;
use super::factors::{drag, leader, line};
use super::judgement::{Caution, CautionCode, Judgement};
use super::settings::cast_limit;
use super::text::{field_plain, grams, kilograms, metres_a_second};
use crate::gear::{GuideCondition, Handle, HookStyle, LineMaterial, RodMaterial};
use crate::quantity::Speed;
use crate::quantity::words::{DEGREES, METRES, ROD_METRES};
use crate::water::{Cover, Platform, Skill, Teeth, WaterKind, WindDirection, beaufort};

fn caution(code: CautionCode, text: &str, because: String) -> Caution {
    Caution { code, text: text.to_owned(), because }
}

/// All cautions of a judgement, gravest for people first.
pub(super) fn cautions(r: &Resolved<'_>, judgement: &Judgement) -> Vec<Caution> {
    let mut all = at_hand(r);
    if r.assumed("lure.class") {
        all.push(caution(
            CautionCode::Uncertain,
            "say what kind of lure it is: another kind is judged quite differently",
            format!("judged as {}", r.case.lure_plain()),
        ));
    }
    let width = judgement.score_high - judgement.score_low;
    if width > r.case.p.caution.uncertain_width {
        let text = match judgement.narrowing_field {
            Some(field) => format!("check {} first: the answer is uncertain", field_plain(field)),
            None => "take the answer with care: it is uncertain".to_owned(),
        };
        let because = format!("score {:.2} to {:.2}", judgement.score_low, judgement.score_high);
        all.push(Caution { code: CautionCode::Uncertain, text, because });
    }
    all
}

/// The cautions of outfit, lure and water, whatever the score.
pub(super) fn at_hand(r: &Resolved<'_>) -> Vec<Caution> {
    let mut all = Vec::new();
    people(r, &mut all);
    gear(r, &mut all);
    fish(r, &mut all);
    all
}

/// The cautions at hand and those of the good ends of an envelope: what gear bears is more than what
/// a boat, a full cast or a hand on the drag may.
pub(super) fn of_envelope(
    r: &Resolved<'_>,
    most: impl Fn(EnvelopeField) -> Option<f64>,
) -> Vec<Caution> {
    let (c, p) = (&r.case, &r.case.p.caution);
    let mut all = Vec::new();
    people(r, &mut all);
    let winds = [EnvelopeField::WindInto, EnvelopeField::WindAcross].into_iter();
    let wind = winds.filter_map(&most).fold(0.0, f64::max);
    if wind >= p.wind_strong_m_s {
        let force = beaufort::force(Speed::from_m_s(p.wind_strong_m_s));
        add(
            &mut all,
            caution(
                CautionCode::StrongWind,
                "what the gear bears is not what people bear: in strong wind wear life-jackets, think of \
             staying ashore; the skipper decides",
                format!(
                    "good in up to {}; strong from {}, Beaufort {force}",
                    metres_a_second(wind),
                    metres_a_second(p.wind_strong_m_s)
                ),
            ),
        );
    }
    let full = c.lure_max_g * c.p.load.warn_cast;
    if let Some(mass) =
        most(EnvelopeField::RiggedMass).filter(|mass| !c.is_vertical() && *mass > full)
    {
        add(
            &mut all,
            caution(
                CautionCode::CastOverload,
                "above the rod's maximum lob it with a long drop, no full cast",
                match cast_limit(c).0.min(full) {
                    borne if borne > 0.0 => {
                        format!("good up to {}, full casts up to {}", grams(mass), grams(borne))
                    }
                    _ => format!("good up to {}, no full casts", grams(mass)),
                },
            ),
        );
    }
    if let Some(fish) = most(EnvelopeField::FishMass).filter(|fish| *fish > c.fish_kg) {
        add(
            &mut all,
            caution(
                CautionCode::HighDrag,
                "a large fish takes line: set the drag with a scale, never fight it on a locked drag",
                format!("good for fish up to {}", kilograms(fish)),
            ),
        );
    }
    gear(r, &mut all);
    fish(r, &mut all);
    all
}

/// Adds a caution of a kind that is not there yet.
fn add(all: &mut Vec<Caution>, caution: Caution) {
    if all.iter().all(|other| other.code != caution.code) {
        all.push(caution);
    }
}

/// The cautions of one outfit with several lures, each kind once.
pub(super) fn merged(lists: impl IntoIterator<Item = Vec<Caution>>) -> Vec<Caution> {
    let mut all = Vec::new();
    for caution in lists.into_iter().flatten() {
        add(&mut all, caution);
    }
    all
}

fn people(r: &Resolved<'_>, all: &mut Vec<Caution>) {
    let (c, p) = (&r.case, &r.case.p.caution);
    let ashore = matches!(
        c.platform,
        Platform::Bank
            | Platform::Coast
            | Platform::Wading
            | Platform::OverhungBank
            | Platform::Bridge
    );
    if ashore && c.rod_length_m >= p.power_line_rod_m && c.material != RodMaterial::Glass {
        all.push(caution(
            CautionCode::PowerLine,
            "keep 30 m (100 ft) from overhead power lines, carry the rod level; stop in thunder",
            format!("{} rod used from land; carbon conducts", ROD_METRES.one(c.rod_length_m)),
        ));
    }
    let windy = c.wind_m_s >= p.wind_strong_m_s;
    let small_craft =
        matches!(c.platform, Platform::Boat | Platform::Kayak | Platform::BoatVertical);
    if windy {
        let very = c.wind_m_s >= p.wind_very_strong_m_s;
        let text = match (small_craft, very) {
            (true, true) => "think of staying ashore; the skipper decides, life-jackets worn",
            (true, false) => "wear life-jackets; the skipper decides whether to go",
            (false, _) => "mind footing and back-casts; wear eye protection",
        };
        let force = beaufort::force(Speed::from_m_s(c.wind_m_s));
        let wind = metres_a_second(c.wind_m_s);
        let because = format!("wind {wind}, Beaufort {force}");
        all.push(caution(CautionCode::StrongWind, text, because));
    }
    let fast = c.current_m_s >= p.current_fast_m_s;
    let current = || format!("current {}", metres_a_second(c.current_m_s));
    if c.platform == Platform::Kayak || (small_craft && fast) {
        let text = if fast {
            "wear a life-jacket: fast water sweeps a boat onto what lies below, anchor by the bow only"
        } else {
            "wear a life-jacket and tell somebody ashore when you will be back"
        };
        let because = if fast { current() } else { "a kayak".to_owned() };
        all.push(caution(CautionCode::LifeJacket, text, because));
    }
    if c.water_c.is_some_and(|t| t <= p.cold_water_c)
        && (small_craft || c.platform == Platform::Wading)
    {
        let t = c.water_c.unwrap_or_default();
        all.push(caution(
            CautionCode::ColdWater,
            "wear a life-jacket: cold shock comes in the first minute",
            format!("water {}", DEGREES.one(t)),
        ));
    }
    if c.platform == Platform::Wading || (c.platform == Platform::Coast && c.cover == Cover::Oyster)
    {
        let (text, because) = if c.current_m_s >= p.current_wading_m_s {
            ("do not wade in it: above the knee it takes your feet", current())
        } else {
            (
                "shuffle your feet, know tide and exits, never wade alone in a current",
                format!("{} in {}", c.platform_plain(), c.cover_plain()),
            )
        };
        all.push(caution(CautionCode::Wading, text, because));
    }
    let trebles = c.hook == HookStyle::Treble && c.hook_count >= 2.0;
    if (trebles && (c.skill == Skill::Novice || windy)) || c.mass_g > p.hooks_mass_g {
        all.push(caution(
            CautionCode::Hooks,
            "wear eye protection and call before each cast; keep cutters at hand",
            format!(
                "{:.0} hook{} on {}",
                c.hook_count,
                if c.hook_count < 1.5 { "" } else { "s" },
                grams(c.mass_g)
            ),
        ));
    }
    let strength = line::cast_strength_kgf(c);
    let share = c.mass_g / c.lure_max_g;
    let cast_at_all = c.is_vertical() || share <= c.p.load.limit_cast;
    if !c.is_vertical() && cast_at_all && strength < c.work.cast_need_kgf {
        all.push(caution(
            CautionCode::SnapOff,
            "cast softly and clear of people: the line may part and the lure fly on",
            format!("{} of line or leader with {}", kilograms(strength), grams(c.mass_g)),
        ));
    } else if c.handle == Handle::Casting
        && c.skill == Skill::Novice
        && c.wind == WindDirection::Into
    {
        all.push(caution(
            CautionCode::SnapOff,
            "set more brake: an overrun can part the line",
            "a beginner with a casting reel into the wind".to_owned(),
        ));
    }
    if !c.is_vertical() && share > c.p.load.warn_cast {
        all.push(caution(
            CautionCode::CastOverload,
            if cast_at_all {
                "lob it with a long drop, no full cast"
            } else {
                "do not cast it: the tip may break and the lure fly on"
            },
            format!("{:.0} % of the rod's maximum", share * 100.0),
        ));
    }
    if c.line == LineMaterial::Braid && c.line_kgf > p.braid_hand_kgf && c.cover != Cover::Open {
        all.push(caution(
            CautionCode::BraidOnHand,
            "never wrap braid on the hand to free a snag: use a stick or glove",
            format!("{} braid in {}", kilograms(c.line_kgf), c.cover_plain()),
        ));
    }
}

fn gear(r: &Resolved<'_>, all: &mut Vec<Caution>) {
    let c = &r.case;
    let share = drag::share_of_weakest(c);
    if share >= c.p.drag.warn_share {
        all.push(caution(
            CautionCode::HighDrag,
            "set the drag again with a scale through the tip; never fight on a locked drag",
            format!("{:.0} % of the weakest link", share * 100.0),
        ));
    }
    match c.guides {
        GuideCondition::Cracked => all.push(caution(
            CautionCode::CheckGear,
            "take the rod out of service until the ring is replaced",
            "cracked ring".to_owned(),
        )),
        GuideCondition::Plated if c.line == LineMaterial::Braid => all.push(caution(
            CautionCode::CheckGear,
            "fish nylon on plated rings: braid grooves them",
            "plated rings with braid".to_owned(),
        )),
        GuideCondition::Plated | GuideCondition::Ceramic => {}
    }
    if c.reel.start_up.is_some_and(|ratio| ratio >= c.p.caution.sticky_ratio) {
        all.push(caution(
            CautionCode::CheckGear,
            "service the drag before it meets a light leader",
            "sticky start-up".to_owned(),
        ));
    }
    let weight = c.fish_kg * c.p.lift.peak;
    if c.platform == Platform::Bridge && weight > c.weakest_kgf() * c.p.lift.share {
        all.push(caution(
            CautionCode::DeadLift,
            "bring a drop net: do not lift the fish on the line",
            format!(
                "a fish of {} above {} at the knot",
                kilograms(c.fish_kg),
                kilograms(c.weakest_kgf())
            ),
        ));
    }
}

fn fish(r: &Resolved<'_>, all: &mut Vec<Caution>) {
    let c = &r.case;
    let risk = leader::cutting_probability(c);
    let bystander = risk > 0.0 && c.fish.teeth != Teeth::Cutting;
    if risk > 0.0 && leader::bite_ratio(c) < 1.0 {
        let who = if bystander { "toothy fish may be about" } else { "the fish has cutting teeth" };
        // Where they are rare the leader that is recommended is none against teeth.
        let text = match risk < c.p.leader.limit_risk {
            true => {
                "have wire or titanium at hand and fit it when a toothy fish shows: a bite-off \
                 leaves hooks in a fish"
            }
            false => "fit wire, titanium or thick fluorocarbon: a bite-off leaves hooks in a fish",
        };
        all.push(caution(CautionCode::BiteOff, text, who.to_owned()));
    }
    if let (Some(limit), Some(t)) = (c.fish.stress_c, c.water_c)
        && t > limit
    {
        all.push(caution(
            CautionCode::WarmWaterFish,
            "stop or fish very short: the fish is under stress",
            format!("water {}, stress above {}", DEGREES.one(t), DEGREES.one(limit)),
        ));
    }
    if let (Some(limit), Some(depth)) = (c.fish.barotrauma_m, c.depth_m)
        && depth > limit
    {
        all.push(caution(
            CautionCode::Barotrauma,
            "avoid releasing fish from this depth: choose shallower water",
            format!(
                "depth {}; swim bladders suffer below about {}",
                METRES.one(depth),
                METRES.one(limit)
            ),
        ));
    }
    let salt = c.fish.waters.contains(&WaterKind::Salt);
    let where_ = if salt { "sea and inshore rules" } else { "season, size, licence" };
    all.push(caution(
        CautionCode::LocalRules,
        "ask the local authority: season, size, licence, hooks and lead are its to say",
        format!("{} ({where_})", c.fish_plain()),
    ));
}
