//! The water.

use deepbend_core::quantity::{Length, Mass, Speed, Temperature};
use deepbend_core::water::Water;

use crate::convert::{FromWire, ToWire, sent};
use crate::fault::{At, Faults};
use crate::limits;
use crate::pb;
use crate::reader::Reader;
use crate::words::word;

impl FromWire for Water {
    type Wire = pb::Water;

    fn from_wire(wire: pb::Water, at: At<'_>, faults: &mut Faults) -> Self {
        let pb::Water {
            wind_speed_m_s,
            wind_direction,
            platform,
            cover,
            cover_distance_m,
            skill,
            species,
            toothy_probability,
            fish_mass_kg,
            current_m_s,
            depth_m,
            water_temperature_c,
            line_out_m,
            hookset,
        } = wire;
        let mut r = Reader::new(at, faults);
        Self {
            wind_speed: r
                .number("wind_speed_m_s", wind_speed_m_s, limits::WIND_M_S)
                .map(Speed::from_m_s),
            wind_direction: r.word("wind_direction", wind_direction),
            platform: r.word("platform", platform),
            cover: r.word("cover", cover),
            cover_distance: r
                .number("cover_distance_m", cover_distance_m, limits::COVER_DISTANCE_M)
                .map(Length::from_m),
            skill: r.word("skill", skill),
            species: r.text("species", species, limits::NAME_LENGTH),
            toothy_probability: r.number("toothy_probability", toothy_probability, limits::SHARE),
            fish_mass: r
                .number("fish_mass_kg", fish_mass_kg, limits::FISH_MASS_KG)
                .map(Mass::from_kg),
            current: r.number("current_m_s", current_m_s, limits::CURRENT_M_S).map(Speed::from_m_s),
            depth: r.number("depth_m", depth_m, limits::DEPTH_M).map(Length::from_m),
            temperature: r
                .number("water_temperature_c", water_temperature_c, limits::WATER_TEMPERATURE_C)
                .map(Temperature::from_c),
            line_out: r.number("line_out_m", line_out_m, limits::LINE_OUT_M).map(Length::from_m),
            hookset: r.word("hookset", hookset),
        }
    }
}

impl ToWire for Water {
    type Wire = pb::Water;

    fn to_wire(&self) -> pb::Water {
        let Self {
            wind_speed,
            wind_direction,
            platform,
            cover,
            cover_distance,
            skill,
            species,
            toothy_probability,
            fish_mass,
            current,
            depth,
            temperature,
            line_out,
            hookset,
        } = self;
        let m_s = |speed: Option<Speed>| speed.map(|s| sent(s, Speed::m_s, Speed::from_m_s));
        let m = |length: Option<Length>| length.map(|l| sent(l, Length::m, Length::from_m));
        pb::Water {
            wind_speed_m_s: m_s(*wind_speed),
            wind_direction: word(*wind_direction),
            platform: word(*platform),
            cover: word(*cover),
            cover_distance_m: m(*cover_distance),
            skill: word(*skill),
            species: species.clone().unwrap_or_default(),
            toothy_probability: *toothy_probability,
            fish_mass_kg: fish_mass.map(|mass| sent(mass, Mass::kg, Mass::from_kg)),
            current_m_s: m_s(*current),
            depth_m: m(*depth),
            water_temperature_c: temperature.map(|t| sent(t, Temperature::c, Temperature::from_c)),
            line_out_m: m(*line_out),
            hookset: word(*hookset),
        }
    }
}
