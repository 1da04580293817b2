//! What a client writes is what the service reads, to the last bit.

#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

use deepbend_contract::{At, Faults, FromWire, ToWire, json, limits, overlay, pb};
use deepbend_core::gear::{
    Action, AirClass, GuideCondition, Handle, Hook, HookPoint, HookStyle, Leader, LeaderMaterial,
    Line, LineBasis, LineMaterial, Lure, LureClass, Outfit, Power, Reel, RetrieveSide, Rod,
    RodMaterial, Word,
};
use deepbend_core::quantity::{Force, Length, Mass, Range, Speed, Temperature};
use deepbend_core::water::{Cover, Hookset, Platform, Skill, Water, WindDirection};
use proptest::option::of;
use proptest::prelude::*;
use proptest::sample::select;

// Strategies are boxed: nested by value they overflow the stack of an unoptimised test.
fn any_of<W: Word + std::fmt::Debug>() -> BoxedStrategy<Option<W>> {
    of(select(W::ALL)).boxed()
}

/// A number within bounds, as people write them: a few digits.
fn written(bounds: limits::Bounds) -> BoxedStrategy<f64> {
    let decimals = prop_oneof![Just(1.0), Just(10.0), Just(100.0), Just(1000.0)];
    (0.0..=1.0, decimals)
        .prop_map(move |(share, scale): (f64, f64)| {
            let value = bounds.low + share * (bounds.high - bounds.low);
            ((value * scale).round() / scale).clamp(bounds.low, bounds.high)
        })
        .boxed()
}

fn given_as<Q: std::fmt::Debug + 'static>(
    bounds: limits::Bounds,
    make: fn(f64) -> Q,
) -> BoxedStrategy<Option<Q>> {
    of(written(bounds).prop_map(make)).boxed()
}

fn range<Q: std::fmt::Debug + 'static>(
    bounds: limits::Bounds,
    make: fn(f64) -> Q,
) -> BoxedStrategy<Range<Q>> {
    (of(written(bounds)), of(written(bounds)))
        .prop_map(move |(a, b)| {
            let (min, max) = match (a, b) {
                (Some(a), Some(b)) => (Some(a.min(b)), Some(a.max(b))),
                other => other,
            };
            Range { min: min.map(make), max: max.map(make) }
        })
        .boxed()
}

fn size() -> BoxedStrategy<Option<String>> {
    of("[0-9]{1,5}(/0)?[A-Z]{0,2}").boxed()
}

prop_compose! {
    fn rod()(
        words in (any_of::<Handle>(), any_of::<Power>(), any_of::<Action>()),
        more in (any_of::<RodMaterial>(), any_of::<LineBasis>(), any_of::<GuideCondition>()),
        length in given_as(limits::ROD_LENGTH_M, Length::from_m),
        lure_rating in range(limits::LURE_MASS_G, Mass::from_g),
        line_rating in range(limits::TEST_KGF, Force::from_kgf),
        pieces in of(1u32..=12),
        mass in given_as(limits::TACKLE_MASS_G, Mass::from_g),
        third_drop_mass in given_as(limits::THIRD_DROP_G, Mass::from_g),
        third_drop_angle_deg in of(written(limits::THIRD_DROP_ANGLE_DEG)),
    ) -> Rod {
        let (handle, power_label, action) = words;
        let (material, line_rating_basis, guides) = more;
        Rod {
            handle, length, power_label, action, material, lure_rating, line_rating,
            line_rating_basis, guides, pieces, mass, third_drop_mass, third_drop_angle_deg,
        }
    }
}

prop_compose! {
    fn reel()(
        words in (any_of::<Handle>(), any_of::<RetrieveSide>(), of(any::<bool>()), size()),
        mass in given_as(limits::TACKLE_MASS_G, Mass::from_g),
        drag_max in given_as(limits::DRAG_KGF, Force::from_kgf),
        gear_ratio in given_as(limits::GEAR_RATIO, |v| v),
        retrieve in given_as(limits::RETRIEVE_CM, Length::from_cm),
        capacity_diameter in given_as(limits::DIAMETER_MM, Length::from_mm),
        capacity_length in given_as(limits::LINE_LENGTH_M, Length::from_m),
        start_up_ratio in given_as(limits::START_UP_RATIO, |v| v),
    ) -> Reel {
        let (kind, retrieve_side, salt_rated, size) = words;
        Reel {
            kind, size, mass, drag_max, gear_ratio, retrieve, capacity_diameter, capacity_length,
            start_up_ratio, retrieve_side, salt_rated,
        }
    }
}

prop_compose! {
    fn line()(
        material in any_of::<LineMaterial>(),
        test in given_as(limits::TEST_KGF, Force::from_kgf),
        diameter in given_as(limits::DIAMETER_MM, Length::from_mm),
        length in given_as(limits::LINE_LENGTH_M, Length::from_m),
    ) -> Line {
        Line { material, test, diameter, length }
    }
}

prop_compose! {
    fn leader()(
        material in any_of::<LeaderMaterial>(),
        test in given_as(limits::TEST_KGF, Force::from_kgf),
        diameter in given_as(limits::DIAMETER_MM, Length::from_mm),
        length in given_as(limits::LEADER_LENGTH_M, Length::from_m),
    ) -> Leader {
        Leader { material, test, diameter, length }
    }
}

prop_compose! {
    fn hook()(
        style in any_of::<HookStyle>(),
        size in size(),
        wire in given_as(limits::HOOK_WIRE_MM, Length::from_mm),
        count in of(1u32..=30),
        barbed in of(any::<bool>()),
        point in any_of::<HookPoint>(),
    ) -> Hook {
        Hook { style, size, wire, count, barbed, point }
    }
}

prop_compose! {
    fn lure()(
        class in any_of::<LureClass>(),
        rigged_mass in given_as(limits::LURE_MASS_G, Mass::from_g),
        head_mass in given_as(limits::LURE_MASS_G, Mass::from_g),
        trailer_mass in given_as(limits::LURE_MASS_G.or_zero(), Mass::from_g),
        length in given_as(limits::LURE_LENGTH_MM, Length::from_mm),
        hook in hook().boxed(),
        punch in given_as(limits::LURE_FORCE_N, Force::from_n),
        pull in given_as(limits::LURE_FORCE_N, Force::from_n),
        air in any_of::<AirClass>(),
    ) -> Lure {
        Lure { class, rigged_mass, head_mass, trailer_mass, length, hook, punch, pull, air }
    }
}

prop_compose! {
    fn outfit()(
        rod in rod().boxed(),
        reel in reel().boxed(),
        line in line().boxed(),
        leader in leader().boxed(),
        drag in given_as(limits::DRAG_KGF, Force::from_kgf),
    ) -> Outfit {
        Outfit { rod, reel, line, leader, drag }
    }
}

prop_compose! {
    fn water()(
        words in (any_of::<WindDirection>(), any_of::<Platform>(), any_of::<Cover>()),
        more in (any_of::<Skill>(), any_of::<Hookset>(), of("[a-z]{1,12}( [a-z]{1,12})?")),
        wind_speed in given_as(limits::WIND_M_S, Speed::from_m_s),
        cover_distance in given_as(limits::COVER_DISTANCE_M, Length::from_m),
        toothy_probability in given_as(limits::SHARE, |v| v),
        fish_mass in given_as(limits::FISH_MASS_KG, Mass::from_kg),
        current in given_as(limits::CURRENT_M_S, Speed::from_m_s),
        depth in given_as(limits::DEPTH_M, Length::from_m),
        temperature in given_as(limits::WATER_TEMPERATURE_C, Temperature::from_c),
        line_out in given_as(limits::LINE_OUT_M, Length::from_m),
    ) -> Water {
        let (wind_direction, platform, cover) = words;
        let (skill, hookset, species) = more;
        Water {
            wind_speed, wind_direction, platform, cover, cover_distance, skill, species,
            toothy_probability, fish_mass, current, depth, temperature, line_out, hookset,
        }
    }
}

fn read<T: FromWire>(wire: T::Wire) -> T {
    let mut faults = Faults::new();
    let value = T::from_wire(wire, At::ROOT, &mut faults);
    faults.or(value).unwrap()
}

proptest! {
    // Source: the contract itself.
    #[test]
    fn gear_and_water_come_back_as_they_were(
        outfit in outfit().boxed(), lure in lure().boxed(), water in water().boxed(),
    ) {
        prop_assert_eq!(&read::<Outfit>(outfit.to_wire()), &outfit);
        prop_assert_eq!(&read::<Lure>(lure.to_wire()), &lure);
        prop_assert_eq!(&read::<Water>(water.to_wire()), &water);
    }

    // Source: proto JSON mapping (protobuf.dev, ProtoJSON format).
    #[test]
    fn json_comes_back_as_it_was(
        outfit in outfit().boxed(), lure in lure().boxed(), water in water().boxed(),
    ) {
        let request = pb::JudgeRequest {
            outfit: Some(outfit.to_wire()),
            lure: Some(lure.to_wire()),
            water: Some(water.to_wire()),
            overrides: [("load.sweet_low".to_owned(), 0.5)].into(),
            ..Default::default()
        };
        let text = json::to_json(&request).unwrap().to_string();
        prop_assert_eq!(json::from_json::<pb::JudgeRequest>(&text).unwrap(), request);
    }

    // Source: protobuf encoding guide, merging of messages.
    #[test]
    fn what_the_request_gives_replaces_what_the_item_has(
        item in lure().boxed(), given in lure().boxed(),
    ) {
        let merged: Lure = read(overlay(item.to_wire(), &given.to_wire()).unwrap());
        prop_assert_eq!(merged.rigged_mass, given.rigged_mass.or(item.rigged_mass));
        prop_assert_eq!(merged.hook.style, given.hook.style.or(item.hook.style));
        prop_assert_eq!(merged.hook.wire, given.hook.wire.or(item.hook.wire));
        prop_assert_eq!(merged.class, given.class.or(item.class));
    }
}

// Source: NIST SP 811, B.8 (0.453 592 37 kg, 28.349 523 125 g, exact).
#[test]
fn numbers_on_the_wire_are_the_ones_that_people_write() {
    let line = Line {
        test: Some(Force::from_kgf(13.0)),
        diameter: Some(Length::from_mm(0.202)),
        ..Line::default()
    };
    let wire = line.to_wire();
    assert_eq!((wire.test_kgf, wire.diameter_mm), (Some(13.0), Some(0.202)));
    let line = Line { test: Some(Force::from_lbf(20.0)), ..Line::default() };
    let sent = line.to_wire().test_kgf.unwrap();
    assert!((sent - 9.071_847_4).abs() < 1e-12, "{sent}");
    let lure = Lure { rigged_mass: Some(Mass::from_oz(0.375)), ..Lure::default() };
    let sent = lure.to_wire().rigged_mass_g.unwrap();
    assert!((sent - 10.631_071_171_875).abs() < 1e-12, "{sent}");
    assert_eq!(read::<Lure>(lure.to_wire()), lure);
}
