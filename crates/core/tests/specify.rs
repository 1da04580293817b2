//! Which outfit would be right. Expected windows: common practice, no source.

#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

mod common;

use common::calm;
use deepbend_core::gear::{
    Action, Handle, LineMaterial, Lure, LureClass, Outfit, Power, Rod, RodMaterial,
};
use deepbend_core::judge::{Specification, Verdict, judge, score, specify};
use deepbend_core::model::Model;
use deepbend_core::quantity::{Force, Mass, Range};
use deepbend_core::water::{Cover, Water};

fn lure(class: LureClass, mass_g: f64) -> Lure {
    Lure { class: Some(class), rigged_mass: Some(Mass::from_g(mass_g)), ..Lure::default() }
}

fn asked(lures: &[Lure], water: &Water) -> Specification {
    specify(Model::builtin(), lures, water).unwrap()
}

fn is_good(verdict: Verdict) -> bool {
    matches!(verdict, Verdict::Excellent | Verdict::Good)
}

// Common practice, no source: plugs with trebles of 14 to 18 g belong on a composite blank of
// medium-heavy power that bends deep.
#[test]
fn crankbaits_ask_for_a_deep_bend() {
    let lures = [lure(LureClass::Crankbait, 14.0), lure(LureClass::Crankbait, 18.0)];
    let found = asked(&lures, &calm("largemouth bass"));
    let best = &found.centre;
    assert!(is_good(found.verdict) && found.obstacle.is_none(), "{}", found.summary);
    assert!(matches!(best.actions[..], [Action::Moderate | Action::ModerateFast]), "{}", best.text);
    assert!(matches!(best.materials[..], [RodMaterial::Composite | RodMaterial::Glass]));
    assert!((4.5..=5.5).contains(&best.power.least), "{}", best.text);
    assert!(found.window.materials.contains(&RodMaterial::Composite));
}

// Common practice, no source: frogs in matted weed are fished on a heavy, fast casting rod and
// braid of 18 kg and more, tied straight to it.
#[test]
fn frogs_ask_for_a_heavy_fast_casting_rod() {
    let water = Water { cover: Some(Cover::Heavy), ..calm("largemouth bass") };
    let found = asked(&[lure(LureClass::HollowFrog, 18.0)], &water);
    let best = &found.centre;
    assert!(is_good(found.verdict), "{}", found.summary);
    assert!(best.power.least >= 5.0 && found.window.power.greatest >= 5.5, "{}", best.text);
    assert!(matches!(best.actions[..], [Action::Fast | Action::ExtraFast]), "{}", best.text);
    assert!(best.handles == [Handle::Casting], "{}", best.text);
    assert_eq!(best.lines[0].material, LineMaterial::Braid);
    assert!(best.lines[0].test.least.kgf() >= 13.0);
    assert_eq!(found.window.lines.len(), 1, "{}", found.window.text);
}

// Common practice, no source: a drop shot of 7 g is fished on a light to medium-light spinning rod
// with a fast or extra-fast tip.
#[test]
fn drop_shots_ask_for_a_light_quick_tip() {
    let found = asked(&[lure(LureClass::DropShot, 7.0)], &calm("perch"));
    let best = &found.centre;
    assert!((2.0..=3.5).contains(&best.power.least), "{}", best.text);
    assert_eq!(best.handles, [Handle::Spinning]);
    assert!(matches!(best.actions[..], [Action::Fast | Action::ExtraFast]), "{}", best.text);
    assert!(found.window.actions.contains(&Action::ExtraFast));
    assert!(found.window.power.least <= 2.5 && found.window.power.greatest < 5.0);
}

// Common practice, no source: no rod throws 7 g and 90 g.
#[test]
fn what_cannot_be_had_names_its_obstacle() {
    let lures = [lure(LureClass::DropShot, 7.0), lure(LureClass::GlideBait, 90.0)];
    let found = asked(&lures, &calm("largemouth bass"));
    assert!(!is_good(found.verdict));
    let obstacle = found.obstacle.unwrap();
    let worst = found.lures.iter().map(|lure| lure.score.score).fold(1.0, f64::min);
    assert_eq!((found.lures[obstacle].score.score, found.score), (worst, worst));
    assert_eq!(found.window, found.centre);
    assert!(found.summary.starts_with("nothing suits every lure"), "{}", found.summary);
}

// Follows from the definition: the best outfit lies in the window, its scores are those of the
// judgement, and one more lure never helps.
#[test]
fn the_best_lies_in_the_window_and_is_judged_as_ever() {
    let (first, second) = (lure(LureClass::WalkingTopwater, 14.0), lure(LureClass::TexasRig, 12.0));
    let water = calm("largemouth bass");
    let both = asked(&[first.clone(), second], &water);
    let (best, window) = (&both.centre, &both.window);
    assert!(window.power.least <= best.power.least && best.power.greatest <= window.power.greatest);
    assert!(best.actions.iter().all(|action| window.actions.contains(action)));
    assert!(best.reels.iter().all(|reel| window.reels.contains(reel)));
    assert!(window.drag.least <= best.drag.least && best.drag.greatest <= window.drag.greatest);
    let alone = asked(std::slice::from_ref(&first), &water);
    assert!(alone.score >= both.score);

    let best = &alone.centre;
    let mut outfit = Outfit::default();
    outfit.rod.handle = best.handles.first().copied();
    outfit.rod.action = best.actions.first().copied();
    outfit.rod.material = best.materials.first().copied();
    outfit.rod.lure_rating.min = Some(best.lure_rating_min.least);
    outfit.rod.lure_rating.max = Some(best.lure_rating_max.least);
    outfit.rod.line_rating.max = Some(best.line_rating_max.least);
    outfit.line.material = Some(best.lines[0].material);
    outfit.line.test = Some(best.lines[0].test.least);
    outfit.leader.material = Some(best.leaders[0].material);
    outfit.leader.test = Some(best.leaders[0].test.least);
    outfit.drag = Some(best.drag.least);
    let judged = score(Model::builtin(), &outfit, &first, &water);
    assert_eq!((judged.verdict, judged.score), (alone.verdict, alone.score));
    assert_eq!(asked(&[first], &water), alone);
    assert_eq!(specify(Model::builtin(), &[], &water), None);
}

// Common practice, no source; from memory: a turn takes in 60 to 75 cm on a fixed-spool reel of size
// 1000, 70 to 90 cm at 2500, 80 to 100 cm at 4000 and 85 to 110 cm at 8000. A crankbait wants 50 to
// 75 cm, a topwater 72 to 108 cm.
#[test]
fn no_reel_is_advised_that_takes_in_what_its_size_does_not() {
    let said = |power: Power, class: LureClass| {
        let p = &Model::builtin().parameters().rod;
        let max = p.window_max_g.at(power.class());
        let lure_rating = Range {
            min: Some(Mass::from_g(max / p.window_of_single_number)),
            max: Some(Mass::from_g(max)),
        };
        let test = Some(Force::from_kgf(p.line_max_kgf.at(power.class())));
        let line_rating = Range { min: None, max: test };
        let handle = Some(Handle::Spinning);
        let rod = Rod { handle, lure_rating, line_rating, ..Rod::default() };
        let outfit = Outfit { rod, ..Outfit::default() };
        judge(Model::builtin(), &outfit, &lure(class, 20.0), &calm("pike")).settings.reel
    };
    let slow = |power| said(power, LureClass::Crankbait);
    assert_eq!(slow(Power::Ultralight), "fixed-spool 1000, 60 to 75 cm (24 to 30 in) a turn");
    assert_eq!(slow(Power::MediumLight), "fixed-spool 2500, 70 to 75 cm (28 to 30 in) a turn");
    assert_eq!(slow(Power::DoubleExtraHeavy), "fixed-spool 8000, 85 cm (33 in) a turn");
    let quick = |power| said(power, LureClass::WalkingTopwater);
    assert_eq!(
        quick(Power::DoubleExtraHeavy),
        "fixed-spool 8000, 85 to 108 cm (33 to 43 in) a turn"
    );
}
