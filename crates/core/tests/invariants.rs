//! What must hold of every judgement, whatever the numbers of the model.

#![allow(clippy::disallowed_methods, reason = "test inputs need no bit-exact powers")]
#![allow(missing_docs, reason = "tests")]

mod common;

use common::{calm, crankbait, lure, outfit, paddle_tail, water, zander_outfit};
use deepbend_core::gear::{
    Action, GuideCondition, HookStyle, Leader, LeaderMaterial, LineMaterial, Lure, LureClass,
    Outfit, Power, Reel, RodMaterial, Word,
};
use deepbend_core::judge::{
    Bare, CastLink, CautionCode, FactorKind, Judgement, Verdict, cautions, judge, score,
};
use deepbend_core::model::Model;
use deepbend_core::quantity::{Force, Length, Mass, Speed};
use deepbend_core::water::{Cover, Platform, Skill, Water, WindDirection};
use proptest::prelude::*;

fn model() -> &'static Model {
    Model::builtin()
}

fn whole(outfit: &Outfit, lure: &Lure, water: &Water) -> Judgement {
    judge(model(), outfit, lure, water)
}

fn factor(judgement: &Judgement, kind: FactorKind) -> f64 {
    judgement.factors.iter().find(|f| f.kind == kind).map_or(1.0, |f| f.score)
}

/// The score as if no limit were broken.
fn open(outfit: &Outfit, lure: &Lure, water: &Water) -> f64 {
    score(model(), outfit, lure, water).score_without_limits
}

fn scaled(field: &mut Option<Force>, by: f64) {
    *field = field.map(|f| Force::from_n(f.n() * by));
}

/// A reel of which much is known, or little.
fn reel() -> impl Strategy<Value = Reel> {
    use proptest::option::of;
    let drag = (of(1.0..15.0_f64), of(1.0..2.0_f64));
    let body = (of(common::word()), of(150.0..600.0_f64), of(40.0..120.0_f64));
    (body, drag, of((80.0..300.0_f64, 0.1..0.5_f64))).prop_map(
        |((kind, mass, turn), (most, start_up), spool)| Reel {
            kind,
            mass: mass.map(Mass::from_g),
            drag_max: most.map(Force::from_kgf),
            start_up_ratio: start_up,
            retrieve: turn.map(Length::from_cm),
            capacity_length: spool.map(|(length, _)| Length::from_m(length)),
            capacity_diameter: spool.map(|(_, thick)| Length::from_mm(thick)),
            ..Reel::default()
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn contributions_add_up_exactly(o in outfit(), l in lure(), w in water()) {
        let j = whole(&o, &l, &w);
        let lost: i64 = j.factors.iter().map(|f| f.loss_nano).sum();
        let total = ((1.0 - j.score_without_limits) * 1e9).round() as i64;
        prop_assert_eq!(lost, total);
        let weights: f64 = j.factors.iter().map(|f| f.weight).sum();
        prop_assert!((weights - 1.0).abs() < 1e-12);
        prop_assert!(j.factors.iter().all(|f| (0.0..=1.0).contains(&f.score) && f.loss_nano >= 0));
    }

    #[test]
    fn the_interval_holds_the_score_and_the_verdict_fits_it(o in outfit(), l in lure(), w in water()) {
        let j = whole(&o, &l, &w);
        prop_assert!(0.0 <= j.score_low && j.score_low <= j.score);
        prop_assert!(j.score <= j.score_high && j.score_high <= 1.0);
        let broken = j.limits.iter().any(|limit| limit.broken);
        prop_assert_eq!(broken, j.verdict == Verdict::Unsafe);
        prop_assert_eq!(broken, j.score == 0.0);
        prop_assert!(j.limits.iter().all(|limit| !limit.broken || limit.slack < 0.0));
    }

    // Source: the judgement itself, made in one go.
    #[test]
    fn what_is_judged_part_by_part_is_the_same(
        o in outfit(), leaders in [outfit(), outfit()], reels in [reel(), reel()], l in lure(),
        w in water(), set in any::<bool>(),
    ) {
        let mut o = o;
        o.drag = o.drag.filter(|_| set);
        let mut bare = Bare::new(model(), &o, &l, &w);
        let known = leaders.map(|other| other.leader);
        for leader in known.iter().chain([&o.leader, &Leader::default()]) {
            let tied = bare.tie(leader);
            for (reel, length) in reels.iter().zip([Some(Length::from_m(90.0)), None]) {
                let mut whole = o.clone();
                (whole.leader, whole.reel, whole.line.length) =
                    (leader.clone(), reel.clone(), length);
                let now = bare.on(&tied, reel, length);
                prop_assert_eq!(now, score(model(), &whole, &l, &w));
                for most in [bare.at_most(Some(&tied)), bare.at_most(None)] {
                    prop_assert!(most.score >= now.score && most.verdict <= now.verdict);
                }
            }
        }
    }

    // Source: the judgement itself, made in one go.
    #[test]
    fn what_is_judged_in_other_hands_is_the_same(
        o in outfit(), l in lure(), w in water(), set in any::<bool>(),
    ) {
        let mut o = o;
        o.drag = o.drag.filter(|_| set);
        let skills = [Skill::Novice, Skill::Intermediate, Skill::Expert];
        let with = |skill: Skill| Water { skill: Some(skill), ..w.clone() };
        for first in skills {
            let bare = Bare::new(model(), &o, &l, &with(first));
            for skill in skills {
                let mut other = bare.in_hands(skill);
                let tied = other.tie(&o.leader);
                let now = other.on(&tied, &o.reel, o.line.length);
                prop_assert_eq!(now, score(model(), &o, &l, &with(skill)));
            }
        }
    }

    #[test]
    fn same_input_same_answer(o in outfit(), l in lure(), w in water()) {
        let first = serde_json::to_string(&whole(&o, &l, &w)).unwrap();
        let again = serde_json::to_string(&whole(&o.clone(), &l.clone(), &w.clone())).unwrap();
        prop_assert_eq!(first, again);
    }

    // Source: the contract: the caution about a line that parts begins just above the cast limit.
    #[test]
    fn cast_limit_and_cautions_say_the_same(
        o in outfit(), mut l in lure(), w in water(), near in 0.9..1.1_f64, is_near in any::<bool>(),
    ) {
        if is_near {
            let limit = whole(&o, &l, &w).settings.cast_limit.g();
            l.rigged_mass = Some(Mass::from_g((limit * near).max(1.0)));
        }
        let j = whole(&o, &l, &w);
        let cast = w.platform != Some(Platform::BoatVertical);
        let says = |code, start: &str| {
            j.cautions.iter().any(|c| c.code == code && c.text.starts_with(start))
        };
        let parts = says(CautionCode::SnapOff, "cast softly");
        let overload = says(CautionCode::CastOverload, "");
        let above = l.rigged_mass.unwrap().g() > j.settings.cast_limit.g();
        prop_assert!(!(parts || overload) || above, "{:?}", j.settings);
        if cast && above && j.settings.cast_link != CastLink::Rod {
            prop_assert!(parts || overload, "{:?}", j.settings);
        }
    }

    // domain rule, common practice, no source: every class threshold is a ramp.
    #[test]
    fn one_percent_moves_little(o in outfit(), l in lure(), w in water(), which in 0..13_usize, up in any::<bool>()) {
        let by = if up { 1.01 } else { 1.0 / 1.01 };
        let (mut o2, mut l2, mut w2) = (o.clone(), l.clone(), w.clone());
        let mass = |m: &mut Option<Mass>| *m = m.map(|m| Mass::from_g(m.g() * by));
        let length = |m: &mut Option<Length>| *m = m.map(|m| Length::from_m(m.m() * by));
        match which {
            0 => mass(&mut o2.rod.lure_rating.min),
            1 => mass(&mut o2.rod.lure_rating.max),
            2 => scaled(&mut o2.rod.line_rating.max, by),
            3 => length(&mut o2.rod.length),
            4 => scaled(&mut o2.line.test, by),
            5 => scaled(&mut o2.leader.test, by),
            6 => scaled(&mut o2.drag, by),
            7 => mass(&mut l2.rigged_mass),
            8 => length(&mut l2.hook.wire),
            9 => scaled(&mut l2.punch, by),
            10 => scaled(&mut l2.pull, by),
            11 => w2.wind_speed = w2.wind_speed.map(|s| Speed::from_m_s(s.m_s() * by)),
            _ => length(&mut w2.cover_distance),
        }
        let moved = (open(&o2, &l2, &w2) - open(&o, &l, &w)).abs();
        prop_assert!(moved < 0.05, "field {which} moved the score by {moved}");
    }

    // I1: above 0.8 of the log range more mass never raises load factor or score.
    #[test]
    fn more_mass_never_helps_a_loaded_rod(o in outfit(), l in lure(), mut w in water(), place in 0.8..1.6_f64, more in 1.001..1.3_f64) {
        w.platform = Some(deepbend_core::water::Platform::Boat);
        let (min, max) = (o.rod.lure_rating.min.unwrap().g(), o.rod.lure_rating.max.unwrap().g());
        let mass = min * (max / min).powf(place);
        let with = |g: f64| Lure { rigged_mass: Some(Mass::from_g(g)), ..l.clone() };
        let (light, heavy) = (whole(&o, &with(mass), &w), whole(&o, &with(mass * more), &w));
        let load = |j: &Judgement| factor(j, FactorKind::Load);
        prop_assert!(load(&heavy) <= load(&light));
        prop_assert!(heavy.score_without_limits <= light.score_without_limits + 1e-9);
    }

    // I2: more headwind never raises the score.
    #[test]
    fn more_headwind_never_helps(o in outfit(), l in lure(), mut w in water(), more in 0.1..6.0_f64) {
        w.wind_direction = Some(WindDirection::Into);
        let before = open(&o, &l, &w);
        let wind = w.wind_speed.unwrap().m_s();
        w.wind_speed = Some(Speed::from_m_s(wind + more));
        prop_assert!(open(&o, &l, &w) <= before + 1e-9);
    }

    // Source: common practice, no source.
    #[test]
    fn more_current_never_helps(o in outfit(), l in lure(), mut w in water(), depth in 0.5..15.0_f64, from in 0.0..2.0_f64, more in 0.01..1.0_f64) {
        w.depth = Some(Length::from_m(depth));
        w.current = Some(Speed::from_m_s(from));
        let before = open(&o, &l, &w);
        w.current = Some(Speed::from_m_s(from + more));
        prop_assert!(open(&o, &l, &w) <= before + 1e-9);
    }

    // Source: common practice, no source.
    #[test]
    fn skill_never_hurts(o in outfit(), l in lure(), mut w in water()) {
        let mut last = 0.0;
        for skill in [Skill::Novice, Skill::Intermediate, Skill::Expert] {
            w.skill = Some(skill);
            let score = open(&o, &l, &w);
            prop_assert!(score >= last - 1e-9, "{skill:?}: {score} after {last}");
            last = score;
        }
    }

    // I3: drag beyond a third of the weakest link never helps.
    #[test]
    fn more_drag_never_helps_beyond_a_third(o in outfit(), l in lure(), w in water(), share in 0.334..0.9_f64, more in 1.001..1.5_f64) {
        let mut o = o;
        let knot = model().parameters().line.knot_braid.max(model().parameters().line.knot_nylon);
        let line = o.line.test.unwrap().kgf() * knot;
        let leader = o.leader.test.map_or(line, |t| t.kgf() * knot);
        let weakest = line.min(leader);
        o.drag = Some(Force::from_kgf(weakest * share));
        let before = open(&o, &l, &w);
        o.drag = Some(Force::from_kgf(weakest * share * more));
        prop_assert!(open(&o, &l, &w) <= before + 1e-9);
    }

    // I4: a stiffer action never lowers the hook-set of weedless hooks.
    #[test]
    fn stiffer_drives_weedless_hooks_better(o in outfit(), l in lure(), w in water(), i in 0..4_usize) {
        let mut l = l;
        l.hook.style = Some(HookStyle::Weedless);
        let with = |action: Action| {
            let mut o = o.clone();
            o.rod.action = Some(action);
            factor(&whole(&o, &l, &w), FactorKind::HookSet)
        };
        prop_assert!(with(Action::ALL[i + 1]) >= with(Action::ALL[i]));
    }

    // I4: from fast to extra-fast never helps moving trebles on braid.
    #[test]
    fn extra_fast_never_helps_moving_trebles(o in outfit(), l in lure(), w in water(), class in 0..4_usize) {
        let classes =
            [LureClass::Crankbait, LureClass::Minnow, LureClass::LiplessCrankbait, LureClass::InlineSpinner];
        let (mut o, mut l) = (o, l);
        o.line.material = Some(LineMaterial::Braid);
        l.class = Some(classes[class]);
        l.hook.style = Some(HookStyle::Treble);
        let with = |action: Action| {
            let mut o = o.clone();
            o.rod.action = Some(action);
            factor(&whole(&o, &l, &w), FactorKind::Action)
        };
        prop_assert!(with(Action::ExtraFast) <= with(Action::Fast));
    }

    // I6: the label alone never changes the score.
    #[test]
    fn the_label_never_changes_the_score(o in outfit(), l in lure(), w in water(), i in 0..8_usize) {
        let mut named = o.clone();
        named.rod.power_label = Some(Power::ALL[i]);
        let (a, b) = (whole(&o, &l, &w), whole(&named, &l, &w));
        prop_assert_eq!(a.score, b.score);
        prop_assert_eq!(a.factors, b.factors);
    }

    // Wild but finite numbers: an answer, never a panic.
    #[test]
    fn extremes_do_not_panic(o in outfit(), l in lure(), w in water(), exponent in -9..9_i32, which in 0..6_usize) {
        let by = 10_f64.powi(exponent);
        let (mut o, mut l) = (o, l);
        match which {
            0 => o.rod.lure_rating.max = Some(Mass::from_g(by)),
            1 => o.line.test = Some(Force::from_kgf(by)),
            2 => o.drag = Some(Force::from_kgf(by)),
            3 => l.rigged_mass = Some(Mass::from_g(by)),
            4 => l.hook.wire = Some(Length::from_mm(by)),
            _ => o.rod.lure_rating.min = Some(Mass::from_g(by)),
        }
        let j = whole(&o, &l, &w);
        prop_assert!(j.score.is_finite() && j.score_low.is_finite() && j.score_high.is_finite());
    }
}

// I5: units make no difference. NIST SP 811: 1/2 oz = 14.174761 g, 7 ft = 2.1336 m.
#[test]
fn units_make_no_difference() {
    let water = calm("zander");
    let (mut a, mut b) = (zander_outfit(), zander_outfit());
    let (mut la, mut lb) = (paddle_tail(), paddle_tail());
    a.rod.length = Some(Length::from_ft(7.0));
    b.rod.length = Some(Length::from_m(2.1336));
    a.line.test = Some(Force::from_lbf(20.0));
    b.line.test = Some(Force::from_kgf(9.071_847_4));
    la.rigged_mass = Some(Mass::from_oz(0.5));
    lb.rigged_mass = Some(Mass::from_g(14.174_761_562_5));
    let (x, y) = (whole(&a, &la, &water), whole(&b, &lb, &water));
    assert!((x.score - y.score).abs() < 2e-9, "{} against {}", x.score, y.score);
}

// I7: a broken limit cannot be averaged away, and removing its cause is enough.
#[test]
fn a_broken_limit_outweighs_everything_else() {
    let (outfit, lure, water) = (zander_outfit(), paddle_tail(), calm("zander"));
    assert!(whole(&outfit, &lure, &water).score > 0.88);
    type Break = fn(&mut Outfit, &mut Lure, &mut Water);
    let breaks: [Break; 5] = [
        |_, l, _| l.rigged_mass = Some(Mass::from_g(40.0)),
        |o, _, _| o.rod.guides = Some(GuideCondition::Cracked),
        |_, _, w| w.toothy_probability = Some(1.0),
        |o, _, _| o.drag = Some(Force::from_kgf(6.5)),
        |o, l, _| {
            o.rod.lure_rating.max = Some(Mass::from_g(60.0));
            o.line.test = Some(Force::from_kgf(3.0));
            l.rigged_mass = Some(Mass::from_g(45.0));
        },
    ];
    for (i, broken) in breaks.into_iter().enumerate() {
        let (mut o, mut l, mut w) = (outfit.clone(), lure.clone(), water.clone());
        broken(&mut o, &mut l, &mut w);
        let j = whole(&o, &l, &w);
        assert_eq!(j.verdict, Verdict::Unsafe, "case {i}: {}", j.summary);
        assert_eq!(j.score, 0.0);
    }
}

// Never an `unsafe` lifted by a guess, never one raised by it alone.
#[test]
fn a_guess_alone_is_not_unsafe() {
    let (mut outfit, lure, water) = (zander_outfit(), paddle_tail(), calm("zander"));
    outfit.leader.test = None;
    outfit.leader.diameter = None;
    outfit.drag = Some(Force::from_kgf(5.2));
    let j = whole(&outfit, &lure, &water);
    assert_ne!(j.verdict, Verdict::Unsafe);
    assert!(!j.cannot_rule_out.is_empty());
    assert!(j.assumptions.iter().any(|a| a.field == "leader.test"));
}

// A limit is approached by its factor: at most 0.2 where it breaks.
#[test]
fn factors_are_low_where_limits_break() {
    let (outfit, lure, water) = (zander_outfit(), paddle_tail(), calm("zander"));
    let p = model().parameters();
    let heavy = Lure { rigged_mass: Some(Mass::from_g(21.0 * p.load.limit_cast)), ..lure.clone() };
    assert!(factor(&whole(&outfit, &heavy, &water), FactorKind::Load) <= 0.2);
    let weakest = 9.0 * p.line.knot_braid;
    let mut locked = outfit.clone();
    locked.drag = Some(Force::from_kgf(weakest * p.drag.limit_share));
    assert!(factor(&whole(&locked, &lure, &water), FactorKind::Drag) <= 0.2 + 1e-9);
    let mut bitten = outfit.clone();
    bitten.leader.diameter = Some(Length::from_mm(p.leader.bystander_mm * p.leader.limit_bite));
    let mut toothy = water.clone();
    toothy.toothy_probability = Some(1.0);
    assert!(factor(&whole(&bitten, &lure, &toothy), FactorKind::Leader) <= 0.2 + 1e-9);
    let thin = |kgf: f64| {
        let mut o = outfit.clone();
        o.rod.lure_rating.max = Some(Mass::from_g(60.0));
        o.line.test = Some(Force::from_kgf(kgf));
        o
    };
    let cast = Lure { rigged_mass: Some(Mass::from_g(40.0)), ..lure };
    let asked = |j: &Judgement| {
        let line = j.factors.iter().find(|f| f.kind == FactorKind::Line).unwrap();
        line.quantities.iter().find(|q| q.name == "test_for_cast").unwrap().value
    };
    let need = asked(&whole(&thin(20.0), &cast, &water));
    let broken = whole(&thin(need * p.line.limit_cast), &cast, &water);
    assert!(factor(&broken, FactorKind::Line) <= 0.2 + 1e-9);
}

// Fixes are judged by the same model: carrying one out gives the promised score.
#[test]
fn a_fix_keeps_its_promise() {
    let (mut outfit, lure, water) = (zander_outfit(), crankbait(), calm("pike"));
    outfit.rod.action = Some(Action::ExtraFast);
    outfit.leader.material = Some(LeaderMaterial::SteelWire);
    outfit.leader.test = Some(Force::from_kgf(14.0));
    outfit.leader.diameter = None;
    let before = whole(&outfit, &lure, &water);
    let fix = before.fixes.iter().find(|f| f.text.contains("inline singles")).unwrap();
    let mut singles = lure;
    singles.hook.style = Some(HookStyle::InlineSingle);
    let after = whole(&outfit, &singles, &water);
    assert_eq!(fix.score, after.score);
    assert_eq!(fix.verdict, after.verdict);
    assert!(after.score > before.score);
}

// The composite blank yields, graphite of the same rating less so.
#[test]
fn material_moves_the_bend() {
    let with = |material| {
        let mut o = zander_outfit();
        o.rod.material = Some(material);
        factor(&whole(&o, &crankbait(), &calm("perch")), FactorKind::Action)
    };
    assert!(with(RodMaterial::Composite) > with(RodMaterial::Graphite));
    assert!(with(RodMaterial::Glass) > with(RodMaterial::Composite));
}

// Common practice, no source: edges are met by a leader; what is assumed where nothing is said is
// what is recommended, and no reason to be marked down.
#[test]
fn the_assumed_leader_knows_the_cover() {
    let (mut outfit, lure) = (zander_outfit(), paddle_tail());
    outfit.leader = Leader::default();
    for cover in
        [Cover::Open, Cover::Dock, Cover::Timber, Cover::Rock, Cover::Oyster, Cover::Mangrove]
    {
        for species in ["largemouth bass", "zander", "red drum"] {
            let water = Water { cover: Some(cover), ..calm(species) };
            let judgement = whole(&outfit, &lure, &water);
            let leader = factor(&judgement, FactorKind::Leader);
            assert!(leader > 0.85, "{cover:?} {species}: {leader}");
            assert_ne!(judgement.settings.leader_material, LeaderMaterial::None);
        }
    }
    let bare = Leader { material: Some(LeaderMaterial::None), ..Leader::default() };
    let tied = Outfit { leader: bare, ..outfit };
    let docks = Water { cover: Some(Cover::Dock), ..calm("largemouth bass") };
    assert!(factor(&whole(&tied, &lure, &docks), FactorKind::Leader) < 0.85);
}

// Common practice, no source: strength and diameter tell each other, so that either of them given
// makes a bite-off certain.
#[test]
fn a_thin_leader_is_unsafe_however_it_is_told() {
    let (outfit, lure, water) = (zander_outfit(), paddle_tail(), calm("pike"));
    let material = Some(LeaderMaterial::Fluorocarbon);
    let by_test = Leader { material, test: Some(Force::from_kgf(3.0)), ..Leader::default() };
    let diameter = Some(Length::from_mm(0.2));
    let by_diameter = Leader { material, diameter, ..Leader::default() };
    for leader in [by_test, by_diameter] {
        let outfit = Outfit { leader, ..outfit.clone() };
        assert_eq!(whole(&outfit, &lure, &water).verdict, Verdict::Unsafe);
    }
}

// Common practice, no source: into the wind more head carries a tail at least as well; the load of
// the tip may take a hundredth.
#[test]
fn a_heavier_head_never_flies_worse() {
    let water = Water {
        wind_speed: Some(Speed::from_m_s(10.0)),
        wind_direction: Some(WindDirection::Into),
        ..calm("zander")
    };
    let mut outfit = zander_outfit();
    outfit.rod.lure_rating.max = Some(Mass::from_g(40.0));
    let wind = |mass: f64| {
        let lure = Lure { rigged_mass: Some(Mass::from_g(mass)), ..paddle_tail() };
        factor(&whole(&outfit, &lure, &water), FactorKind::Wind)
    };
    for mass in [8.0, 12.0, 16.0, 20.0] {
        assert!(wind(mass + 4.0) >= wind(mass) - 0.01, "{mass}");
    }
}

// Common practice, no source.
#[test]
fn what_can_hurt_is_said_first() {
    let (outfit, water) = (zander_outfit(), calm("zander"));
    let heavy = Lure { rigged_mass: Some(Mass::from_g(200.0)), ..paddle_tail() };
    let said = cautions(Model::builtin(), &outfit, &heavy, &water);
    let cast = said.iter().find(|caution| caution.code == CautionCode::CastOverload).unwrap();
    assert!(cast.text.contains("do not cast"), "{}", cast.text);
    let envelope =
        deepbend_core::judge::envelope(Model::builtin(), &outfit, &paddle_tail(), &water);
    let codes: Vec<_> = envelope.cautions.iter().map(|caution| caution.code).collect();
    assert_eq!(codes[0], CautionCode::StrongWind);
    assert!(codes.contains(&CautionCode::HighDrag), "{codes:?}");
}

// Common practice, no source.
#[test]
fn an_unnamed_lure_is_asked_for() {
    let lure = Lure { class: None, ..paddle_tail() };
    let judgement = whole(&zander_outfit(), &lure, &calm("zander"));
    let asked = |j: &Judgement| j.cautions.iter().any(|c| c.text.contains("what kind of lure"));
    assert!(asked(&judgement));
    assert!(!asked(&whole(&zander_outfit(), &paddle_tail(), &calm("zander"))));
}
