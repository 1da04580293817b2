//! How far each quantity may move before an outfit is no longer good.

#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

mod common;

use common::{calm, crankbait, paddle_tail, zander_outfit};
use deepbend_core::gear::{Lure, LureClass, Outfit, Word as _};
use deepbend_core::judge::{Envelope, EnvelopeField, Span, Verdict, envelope, score};
use deepbend_core::model::Model;
use deepbend_core::quantity::{Force, Length, Mass, Speed};
use deepbend_core::water::{Platform, Water, WindDirection};
use proptest::prelude::*;

fn asked(outfit: &Outfit, lure: &Lure, water: &Water) -> Envelope {
    envelope(Model::builtin(), outfit, lure, water)
}

fn span(envelope: &Envelope, field: EnvelopeField) -> Span {
    *envelope.spans.iter().find(|span| span.field == field).unwrap()
}

/// Whether the outfit is good with one quantity moved, all others given.
fn good(outfit: &Outfit, lure: &Lure, water: &Water, field: EnvelopeField, value: f64) -> bool {
    let (mut lure, mut water) = (lure.clone(), water.clone());
    match field {
        EnvelopeField::RiggedMass => lure.rigged_mass = Some(Mass::from_g(value)),
        EnvelopeField::HookWire => lure.hook.wire = Some(Length::from_mm(value)),
        EnvelopeField::GuardForce => lure.punch = Some(Force::from_n(value)),
        EnvelopeField::WindInto | EnvelopeField::WindAcross => {
            let into = field == EnvelopeField::WindInto;
            water.wind_speed = Some(Speed::from_m_s(value));
            water.wind_direction =
                Some(if into { WindDirection::Into } else { WindDirection::Across });
        }
        EnvelopeField::FishMass => water.fish_mass = Some(Mass::from_kg(value)),
        EnvelopeField::Current => water.current = Some(Speed::from_m_s(value)),
    }
    let verdict = score(Model::builtin(), outfit, &lure, &water).verdict;
    matches!(verdict, Verdict::Excellent | Verdict::Good)
}

/// The last good value between a good and a bad one, by plain halving.
fn halved(mut inside: f64, mut outside: f64, good: impl Fn(f64) -> bool) -> f64 {
    assert!(good(inside) && !good(outside));
    for _ in 0..60 {
        let middle = (inside + outside) / 2.0;
        if good(middle) { inside = middle } else { outside = middle }
    }
    inside
}

// Source: bisection by hand on the judgement itself; the tolerances are those of the parameters
// (0.001 of a mass, 0.0001 of 30 m/s).
#[test]
fn monotone_ends_are_found() {
    let (outfit, lure, water) = (zander_outfit(), paddle_tail(), calm("zander"));
    let found = asked(&outfit, &lure, &water);
    let [least, greatest] = span(&found, EnvelopeField::RiggedMass).good.unwrap();
    let mass = |value| good(&outfit, &lure, &water, EnvelopeField::RiggedMass, value);
    for (end, outside) in [(least, 0.5), (greatest, 100.0)] {
        let by_hand = halved(12.0, outside, mass);
        assert!((end.value / by_hand - 1.0).abs() <= 0.001, "{} {by_hand}", end.value);
        assert!(!end.open && end.beyond.is_some() && end.limiting_factor.is_some());
    }
    // Common practice, no source: a window of 7 to 21 g is good for what stands well inside it,
    // and not for half or twice of it.
    assert!((3.5..10.0).contains(&least.value) && (14.0..42.0).contains(&greatest.value));

    let plug = crankbait();
    let found = asked(&outfit, &plug, &water);
    let wind = span(&found, EnvelopeField::WindInto);
    let into = |value| good(&outfit, &plug, &water, EnvelopeField::WindInto, value);
    match wind.good {
        Some([_, end]) => {
            let by_hand = halved(0.0, 30.0, into);
            assert!((end.value - by_hand).abs() <= 0.003, "{} {by_hand}", end.value);
        }
        None => assert!(!into(0.0)),
    }
}

// Common practice, no source: wind against the cast costs more than wind across it, and nothing
// that hangs under the boat cares.
#[test]
fn wind_ends_sooner_against_the_cast() {
    let (outfit, lure) = (zander_outfit(), paddle_tail());
    let found = asked(&outfit, &lure, &calm("zander"));
    let most = |field| span(&found, field).good.unwrap()[1].value;
    assert!(most(EnvelopeField::WindInto) < most(EnvelopeField::WindAcross));

    let below = Water { platform: Some(Platform::BoatVertical), ..calm("zander") };
    let found = asked(&outfit, &lure, &below);
    for field in [EnvelopeField::WindInto, EnvelopeField::WindAcross] {
        let [least, greatest] = span(&found, field).good.unwrap();
        assert!(least.open && greatest.open, "{field:?}");
        assert_eq!((least.value, greatest.value), (0.0, 30.0));
    }
}

// Follows from the definition: a mass outside has its nearest good mass at the end of the window.
#[test]
fn what_is_not_good_is_told_the_nearest_that_is() {
    let (outfit, lure, water) = (zander_outfit(), paddle_tail(), calm("zander"));
    let window = span(&asked(&outfit, &lure, &water), EnvelopeField::RiggedMass).good.unwrap();
    for (mass, end) in [(2.0, window[0].value), (60.0, window[1].value)] {
        let heavy = Lure { rigged_mass: Some(Mass::from_g(mass)), ..lure.clone() };
        let found = asked(&outfit, &heavy, &water);
        assert!(!matches!(found.verdict, Verdict::Excellent | Verdict::Good));
        let span = span(&found, EnvelopeField::RiggedMass);
        assert_eq!(span.good, None);
        let nearest = span.nearest_good.unwrap();
        assert!((nearest / end - 1.0).abs() <= 0.002, "{nearest} {end}");
        assert!(found.summary.contains("good from a rigged mass of"), "{}", found.summary);
    }
}

// Follows from the definition: what is assumed is held, so that saying it changes no interval.
#[test]
fn what_is_assumed_is_held() {
    let mass = Some(Mass::from_g(14.0));
    let class = Some(LureClass::Crankbait);
    let bare = Lure { class, rigged_mass: mass, ..Lure::default() };
    let outfit = Outfit { drag: None, ..zander_outfit() };
    let water = calm("zander");
    let resolved =
        deepbend_core::judge::resolve::resolve(Model::builtin(), &outfit, &bare, &water).case;
    let mut said = bare.clone();
    said.hook.wire = Some(Length::from_mm(resolved.wire_mm));
    said.punch = Some(Force::from_n(resolved.punch_n));
    said.pull = Some(Force::from_n(resolved.pull_n));
    let set = Outfit { drag: Some(Force::from_kgf(resolved.drag_kgf)), ..outfit.clone() };
    assert_eq!(asked(&outfit, &bare, &water).spans, asked(&set, &said, &water).spans);
}

// Follows from the definition: the tail is held, so that no lure is lighter than its tail.
#[test]
fn a_soft_tail_is_held() {
    let lure = Lure {
        rigged_mass: None,
        head_mass: Some(Mass::from_g(7.0)),
        trailer_mass: Some(Mass::from_g(5.0)),
        ..paddle_tail()
    };
    let found = asked(&zander_outfit(), &lure, &calm("zander"));
    let span = span(&found, EnvelopeField::RiggedMass);
    assert!((span.present - 12.0).abs() < 1e-9);
    assert!(span.searched[0] > 5.0 && span.searched[0] < 6.0, "{:?}", span.searched);
    assert_eq!(span.verdict, found.verdict);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    // Follows from the definition.
    #[test]
    fn ends_are_good_and_beyond_them_is_not(
        outfit in common::outfit(),
        lure in common::lure(),
        water in common::water(),
        fish in 0.3..8.0_f64,
    ) {
        let water = Water { fish_mass: Some(Mass::from_kg(fish)), ..water };
        let found = asked(&outfit, &lure, &water);
        prop_assert_eq!(found.spans.len(), EnvelopeField::ALL.len());
        for span in &found.spans {
            let good = |value| good(&outfit, &lure, &water, span.field, value);
            let [searched_least, searched_most] = span.searched;
            prop_assert_eq!(span.good.is_some(), good(span.present));
            if let Some(near) = span.nearest_good {
                prop_assert!(good(near), "{:?} {}", span.field, near);
            }
            let Some([least, greatest]) = span.good else { continue };
            prop_assert!(least.value <= span.present && span.present <= greatest.value);
            for (end, bound) in
                [(least, searched_least), (greatest, searched_most)]
            {
                prop_assert!(good(end.value), "{:?} {}", span.field, end.value);
                prop_assert_eq!(end.open, end.value == bound);
            }
            // Where it is found by ratio: within a thousandth, by share: of the whole search.
            let by_ratio = matches!(
                span.field,
                EnvelopeField::RiggedMass | EnvelopeField::HookWire | EnvelopeField::FishMass
            );
            let step = |end: f64| {
                if by_ratio { end * 0.001 } else { 0.0001 * searched_most }
            };
            if !greatest.open {
                // Somewhere within the tolerance the verdict falls.
                let beyond = greatest.value + step(greatest.value) * 1.01;
                let fell = (1..=8).any(|k| {
                    let share = f64::from(k) / 8.0;
                    !good(greatest.value + (beyond - greatest.value) * share)
                });
                prop_assert!(fell, "{:?} {}", span.field, greatest.value);
            }
            if !least.open {
                let beyond = least.value - step(least.value) * 1.01;
                let fell = (1..=8)
                    .any(|k| !good(least.value + (beyond - least.value) * f64::from(k) / 8.0));
                prop_assert!(fell, "{:?} {}", span.field, least.value);
            }
        }
    }
}
