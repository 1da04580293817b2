//! Outfits, lures and waters at random, and a few fixed ones to start from.

#![allow(clippy::field_reassign_with_default, reason = "a list of settings reads better")]
#![allow(dead_code, unreachable_pub, missing_docs, reason = "each test file uses its part")]
#![allow(clippy::disallowed_methods, reason = "test inputs need no bit-exact powers")]

use deepbend_core::gear::{
    Action, AirClass, GuideCondition, Handle, HookPoint, HookStyle, LeaderMaterial, LineMaterial,
    Lure, LureClass, Outfit, RodMaterial, Word,
};
use deepbend_core::quantity::{Force, Length, Mass, Range, Speed};
use deepbend_core::water::{Cover, Platform, Skill, Water, WindDirection};
use proptest::prelude::*;

pub const SPECIES: [&str; 12] = [
    "pike",
    "perch",
    "zander",
    "sea trout",
    "largemouth bass",
    "red drum",
    "spotted seatrout",
    "snook",
    "striped bass",
    "bluefish",
    "cobia",
    "unknown",
];

pub fn word<W: Word + std::fmt::Debug>() -> impl Strategy<Value = W> {
    proptest::sample::select(W::ALL)
}

/// A rod whose rating fits a power class from 1 to 8, with everything on it in proportion.
pub fn outfit() -> impl Strategy<Value = Outfit> {
    let rod = (
        word::<Handle>(),
        1.6..3.1_f64,
        word::<Action>(),
        word::<RodMaterial>(),
        4.0..150.0_f64,
        2.2..3.9_f64,
        0.8..1.25_f64,
    );
    let line = (word::<LineMaterial>(), 0.6..1.6_f64, word::<LeaderMaterial>(), 0.6..1.8_f64);
    (rod, line, 0.12..0.4_f64).prop_map(|(rod, line, drag_share)| {
        let (handle, length, action, material, max, ratio, stout) = rod;
        let (line_material, line_share, leader_material, leader_share) = line;
        let nylon_kgf = 1.5 * max.powf(0.55) * stout;
        let test = nylon_kgf * line_share;
        let leader = nylon_kgf * leader_share;
        let mut outfit = Outfit::default();
        outfit.rod.handle = Some(handle);
        outfit.rod.length = Some(Length::from_m(length));
        outfit.rod.action = Some(action);
        outfit.rod.material = Some(material);
        outfit.rod.guides = Some(GuideCondition::Ceramic);
        outfit.rod.lure_rating =
            Range { min: Some(Mass::from_g(max / ratio)), max: Some(Mass::from_g(max)) };
        outfit.rod.line_rating.max = Some(Force::from_kgf(nylon_kgf));
        outfit.line.material = Some(line_material);
        outfit.line.test = Some(Force::from_kgf(test));
        outfit.leader.material = Some(leader_material);
        if leader_material != LeaderMaterial::None {
            outfit.leader.test = Some(Force::from_kgf(leader));
        }
        outfit.drag = Some(Force::from_kgf(test.min(leader) * drag_share));
        outfit
    })
}

pub fn lure() -> impl Strategy<Value = Lure> {
    let hook = (word::<HookStyle>(), 0.5..1.5_f64, 1..4_u32, any::<bool>(), word::<HookPoint>());
    (word::<LureClass>(), 3.0..120.0_f64, hook, 0.0..5.0_f64, 0.2..8.0_f64, word::<AirClass>())
        .prop_map(|(class, mass, hook, punch, pull, air)| {
            let mut lure = Lure::default();
            lure.class = Some(class);
            lure.rigged_mass = Some(Mass::from_g(mass));
            lure.hook.style = Some(hook.0);
            lure.hook.wire = Some(Length::from_mm(hook.1));
            lure.hook.count = Some(hook.2);
            lure.hook.barbed = Some(hook.3);
            lure.hook.point = Some(hook.4);
            lure.punch = Some(Force::from_n(punch));
            lure.pull = Some(Force::from_n(pull));
            lure.air = Some(air);
            lure
        })
}

pub fn water() -> impl Strategy<Value = Water> {
    let place = (word::<Platform>(), word::<Cover>(), word::<Skill>());
    let species = proptest::sample::select(SPECIES.as_slice());
    (place, species, 0.0..14.0_f64, word::<WindDirection>(), any::<bool>(), 1.0..15.0_f64).prop_map(
        |((platform, cover, skill), species, wind, direction, toothy, distance)| Water {
            platform: Some(platform),
            cover: Some(cover),
            cover_distance: Some(Length::from_m(distance)),
            skill: Some(skill),
            species: Some(species.to_owned()),
            wind_speed: Some(Speed::from_m_s(wind)),
            wind_direction: Some(direction),
            toothy_probability: Some(f64::from(u8::from(toothy))),
            ..Water::default()
        },
    )
}

/// A medium spinning rod for zander: everything in its place.
pub fn zander_outfit() -> Outfit {
    let mut outfit = Outfit::default();
    outfit.rod.handle = Some(Handle::Spinning);
    outfit.rod.length = Some(Length::from_m(2.2));
    outfit.rod.action = Some(Action::Fast);
    outfit.rod.material = Some(RodMaterial::Graphite);
    outfit.rod.lure_rating = Range { min: Some(Mass::from_g(7.0)), max: Some(Mass::from_g(21.0)) };
    outfit.rod.line_rating.max = Some(Force::from_kgf(6.35));
    outfit.rod.guides = Some(GuideCondition::Ceramic);
    outfit.line.material = Some(LineMaterial::Braid);
    outfit.line.test = Some(Force::from_kgf(9.0));
    outfit.line.diameter = Some(Length::from_mm(0.165));
    outfit.leader.material = Some(LeaderMaterial::Fluorocarbon);
    outfit.leader.test = Some(Force::from_kgf(10.5));
    outfit.leader.diameter = Some(Length::from_mm(0.4));
    outfit.drag = Some(Force::from_kgf(1.5));
    outfit
}

/// A 12 g paddle tail on a jig head.
pub fn paddle_tail() -> Lure {
    let mut lure = Lure::default();
    lure.class = Some(LureClass::PaddleTailJig);
    lure.rigged_mass = Some(Mass::from_g(12.0));
    lure.hook.style = Some(HookStyle::Single);
    lure.hook.wire = Some(Length::from_mm(0.85));
    lure.hook.barbed = Some(true);
    lure.punch = Some(Force::from_n(0.0));
    lure.pull = Some(Force::from_n(0.8));
    lure.air = Some(AirClass::Steady);
    lure
}

/// An 18 g crankbait with two trebles.
pub fn crankbait() -> Lure {
    let mut lure = Lure::default();
    lure.class = Some(LureClass::Crankbait);
    lure.rigged_mass = Some(Mass::from_g(18.0));
    lure.hook.style = Some(HookStyle::Treble);
    lure.hook.wire = Some(Length::from_mm(0.8));
    lure.hook.count = Some(2);
    lure.hook.barbed = Some(true);
    lure.punch = Some(Force::from_n(0.0));
    lure.pull = Some(Force::from_n(4.0));
    lure.air = Some(AirClass::Wobbling);
    lure
}

/// Calm open water from a boat.
pub fn calm(species: &str) -> Water {
    Water {
        species: Some(species.to_owned()),
        wind_speed: Some(Speed::from_m_s(0.0)),
        wind_direction: Some(WindDirection::Calm),
        platform: Some(Platform::Boat),
        cover: Some(Cover::Open),
        skill: Some(Skill::Intermediate),
        toothy_probability: Some(0.0),
        ..Water::default()
    }
}
