//! Rod, reel, line, leader, hook, lure, outfit.

use deepbend_core::gear::{Finding, Hook, InferredPower, Leader, LeaderMaterial, Line};
use deepbend_core::gear::{Lure, Outfit, Reel, Rod};
use deepbend_core::quantity::{Force, Length, Mass, Range};

use crate::convert::{FromWire, ToWire, part, sent, unless_empty};
use crate::fault::{At, Faults};
use crate::limits;
use crate::pb;
use crate::reader::Reader;
use crate::words::{WireWord as _, word};

fn g(mass: Option<Mass>) -> Option<f64> {
    mass.map(|m| sent(m, Mass::g, Mass::from_g))
}

fn kgf(force: Option<Force>) -> Option<f64> {
    force.map(|f| sent(f, Force::kgf, Force::from_kgf))
}

fn n(force: Option<Force>) -> Option<f64> {
    force.map(|f| sent(f, Force::n, Force::from_n))
}

fn m(length: Option<Length>) -> Option<f64> {
    length.map(|l| sent(l, Length::m, Length::from_m))
}

fn cm(length: Option<Length>) -> Option<f64> {
    length.map(|l| sent(l, Length::cm, Length::from_cm))
}

fn mm(length: Option<Length>) -> Option<f64> {
    length.map(|l| sent(l, Length::mm, Length::from_mm))
}

/// Counts of the domain are small; one that is not would be refused when it is read back.
fn count(value: Option<u32>) -> Option<i32> {
    value.map(|v| i32::try_from(v).unwrap_or(i32::MAX))
}

impl FromWire for Rod {
    type Wire = pb::Rod;

    fn from_wire(wire: pb::Rod, at: At<'_>, faults: &mut Faults) -> Self {
        let pb::Rod {
            handle,
            length_m,
            power_label,
            action,
            material,
            lure_rating_min_g,
            lure_rating_max_g,
            line_rating_min_kgf,
            line_rating_max_kgf,
            line_rating_basis,
            guides,
            piece_count,
            mass_g,
            third_drop_mass_g,
            third_drop_angle_deg,
        } = wire;
        let mut r = Reader::new(at, faults);
        Self {
            handle: r.word("handle", handle),
            length: r.number("length_m", length_m, limits::ROD_LENGTH_M).map(Length::from_m),
            power_label: r.word("power_label", power_label),
            action: r.word("action", action),
            material: r.word("material", material),
            lure_rating: {
                let min = ("lure_rating_min_g", lure_rating_min_g);
                let max = ("lure_rating_max_g", lure_rating_max_g);
                let (min, max) = r.range(min, max, limits::LURE_MASS_G);
                Range { min: min.map(Mass::from_g), max: max.map(Mass::from_g) }
            },
            line_rating: {
                let min = ("line_rating_min_kgf", line_rating_min_kgf);
                let max = ("line_rating_max_kgf", line_rating_max_kgf);
                let (min, max) = r.range(min, max, limits::TEST_KGF);
                Range { min: min.map(Force::from_kgf), max: max.map(Force::from_kgf) }
            },
            line_rating_basis: r.word("line_rating_basis", line_rating_basis),
            guides: r.word("guides", guides),
            pieces: r.count("piece_count", piece_count, limits::ROD_PIECES),
            mass: r.number("mass_g", mass_g, limits::TACKLE_MASS_G).map(Mass::from_g),
            third_drop_mass: r
                .number("third_drop_mass_g", third_drop_mass_g, limits::THIRD_DROP_G)
                .map(Mass::from_g),
            third_drop_angle_deg: r.number(
                "third_drop_angle_deg",
                third_drop_angle_deg,
                limits::THIRD_DROP_ANGLE_DEG,
            ),
        }
    }
}

impl ToWire for Rod {
    type Wire = pb::Rod;

    fn to_wire(&self) -> pb::Rod {
        let Self {
            handle,
            length,
            power_label,
            action,
            material,
            lure_rating,
            line_rating,
            line_rating_basis,
            guides,
            pieces,
            mass,
            third_drop_mass,
            third_drop_angle_deg,
        } = self;
        pb::Rod {
            handle: word(*handle),
            length_m: m(*length),
            power_label: word(*power_label),
            action: word(*action),
            material: word(*material),
            lure_rating_min_g: g(lure_rating.min),
            lure_rating_max_g: g(lure_rating.max),
            line_rating_min_kgf: kgf(line_rating.min),
            line_rating_max_kgf: kgf(line_rating.max),
            line_rating_basis: word(*line_rating_basis),
            guides: word(*guides),
            piece_count: count(*pieces),
            mass_g: g(*mass),
            third_drop_mass_g: g(*third_drop_mass),
            third_drop_angle_deg: *third_drop_angle_deg,
        }
    }
}

impl FromWire for Reel {
    type Wire = pb::Reel;

    fn from_wire(wire: pb::Reel, at: At<'_>, faults: &mut Faults) -> Self {
        let pb::Reel {
            kind,
            size,
            mass_g,
            drag_max_kgf,
            gear_ratio,
            retrieve_cm,
            capacity_diameter_mm,
            capacity_length_m,
            start_up_ratio,
            retrieve_side,
            salt_rated,
        } = wire;
        let mut r = Reader::new(at, faults);
        Self {
            kind: r.word("kind", kind),
            size: r.text("size", size, limits::NAME_LENGTH),
            mass: r.number("mass_g", mass_g, limits::TACKLE_MASS_G).map(Mass::from_g),
            drag_max: r.number("drag_max_kgf", drag_max_kgf, limits::DRAG_KGF).map(Force::from_kgf),
            gear_ratio: r.number("gear_ratio", gear_ratio, limits::GEAR_RATIO),
            retrieve: r
                .number("retrieve_cm", retrieve_cm, limits::RETRIEVE_CM)
                .map(Length::from_cm),
            capacity_diameter: r
                .number("capacity_diameter_mm", capacity_diameter_mm, limits::DIAMETER_MM)
                .map(Length::from_mm),
            capacity_length: r
                .number("capacity_length_m", capacity_length_m, limits::LINE_LENGTH_M)
                .map(Length::from_m),
            start_up_ratio: r.number("start_up_ratio", start_up_ratio, limits::START_UP_RATIO),
            retrieve_side: r.word("retrieve_side", retrieve_side),
            salt_rated,
        }
    }
}

impl ToWire for Reel {
    type Wire = pb::Reel;

    fn to_wire(&self) -> pb::Reel {
        let Self {
            kind,
            size,
            mass,
            drag_max,
            gear_ratio,
            retrieve,
            capacity_diameter,
            capacity_length,
            start_up_ratio,
            retrieve_side,
            salt_rated,
        } = self;
        pb::Reel {
            kind: word(*kind),
            size: size.clone().unwrap_or_default(),
            mass_g: g(*mass),
            drag_max_kgf: kgf(*drag_max),
            gear_ratio: *gear_ratio,
            retrieve_cm: cm(*retrieve),
            capacity_diameter_mm: mm(*capacity_diameter),
            capacity_length_m: m(*capacity_length),
            start_up_ratio: *start_up_ratio,
            retrieve_side: word(*retrieve_side),
            salt_rated: *salt_rated,
        }
    }
}

impl FromWire for Line {
    type Wire = pb::Line;

    fn from_wire(wire: pb::Line, at: At<'_>, faults: &mut Faults) -> Self {
        let pb::Line { material, test_kgf, diameter_mm, length_m } = wire;
        let mut r = Reader::new(at, faults);
        Self {
            material: r.word("material", material),
            test: r.number("test_kgf", test_kgf, limits::TEST_KGF).map(Force::from_kgf),
            diameter: r
                .number("diameter_mm", diameter_mm, limits::DIAMETER_MM)
                .map(Length::from_mm),
            length: r.number("length_m", length_m, limits::LINE_LENGTH_M).map(Length::from_m),
        }
    }
}

impl ToWire for Line {
    type Wire = pb::Line;

    fn to_wire(&self) -> pb::Line {
        let Self { material, test, diameter, length } = self;
        pb::Line {
            material: word(*material),
            test_kgf: kgf(*test),
            diameter_mm: mm(*diameter),
            length_m: m(*length),
        }
    }
}

impl FromWire for Leader {
    type Wire = pb::Leader;

    fn from_wire(wire: pb::Leader, at: At<'_>, faults: &mut Faults) -> Self {
        let pb::Leader { material, test_kgf, diameter_mm, length_m } = wire;
        let mut r = Reader::new(at, faults);
        let material = r.word("material", material);
        let none = material == Some(LeaderMaterial::None);
        let bounds = |bounds: limits::Bounds| if none { bounds.or_zero() } else { bounds };
        Self {
            material,
            test: r.number("test_kgf", test_kgf, bounds(limits::TEST_KGF)).map(Force::from_kgf),
            diameter: r
                .number("diameter_mm", diameter_mm, bounds(limits::DIAMETER_MM))
                .map(Length::from_mm),
            length: r
                .number("length_m", length_m, bounds(limits::LEADER_LENGTH_M))
                .map(Length::from_m),
        }
    }
}

impl ToWire for Leader {
    type Wire = pb::Leader;

    fn to_wire(&self) -> pb::Leader {
        let Self { material, test, diameter, length } = self;
        pb::Leader {
            material: word(*material),
            test_kgf: kgf(*test),
            diameter_mm: mm(*diameter),
            length_m: m(*length),
        }
    }
}

impl FromWire for Hook {
    type Wire = pb::Hook;

    fn from_wire(wire: pb::Hook, at: At<'_>, faults: &mut Faults) -> Self {
        let pb::Hook { style, size, wire_mm, hook_count, barbed, point } = wire;
        let mut r = Reader::new(at, faults);
        Self {
            style: r.word("style", style),
            size: r.text("size", size, limits::NAME_LENGTH),
            wire: r.number("wire_mm", wire_mm, limits::HOOK_WIRE_MM).map(Length::from_mm),
            count: r.count("hook_count", hook_count, limits::HOOK_COUNT),
            barbed,
            point: r.word("point", point),
        }
    }
}

impl ToWire for Hook {
    type Wire = pb::Hook;

    fn to_wire(&self) -> pb::Hook {
        let Self { style, size, wire, count: hooks, barbed, point } = self;
        pb::Hook {
            style: word(*style),
            size: size.clone().unwrap_or_default(),
            wire_mm: mm(*wire),
            hook_count: count(*hooks),
            barbed: *barbed,
            point: word(*point),
        }
    }
}

impl FromWire for Lure {
    type Wire = pb::Lure;

    fn from_wire(wire: pb::Lure, at: At<'_>, faults: &mut Faults) -> Self {
        let pb::Lure {
            lure_class,
            rigged_mass_g,
            head_mass_g,
            trailer_mass_g,
            length_mm,
            hook,
            punch_n,
            pull_n,
            air_class,
        } = wire;
        let mut r = Reader::new(at, faults);
        let mass = limits::LURE_MASS_G;
        Self {
            class: r.word("lure_class", lure_class),
            rigged_mass: r.number("rigged_mass_g", rigged_mass_g, mass).map(Mass::from_g),
            head_mass: r.number("head_mass_g", head_mass_g, mass).map(Mass::from_g),
            trailer_mass: r
                .number("trailer_mass_g", trailer_mass_g, mass.or_zero())
                .map(Mass::from_g),
            length: r.number("length_mm", length_mm, limits::LURE_LENGTH_MM).map(Length::from_mm),
            hook: part(&mut r, "hook", hook),
            punch: r.number("punch_n", punch_n, limits::LURE_FORCE_N).map(Force::from_n),
            pull: r.number("pull_n", pull_n, limits::LURE_FORCE_N).map(Force::from_n),
            air: r.word("air_class", air_class),
        }
    }
}

impl ToWire for Lure {
    type Wire = pb::Lure;

    fn to_wire(&self) -> pb::Lure {
        let Self { class, rigged_mass, head_mass, trailer_mass, length, hook, punch, pull, air } =
            self;
        pb::Lure {
            lure_class: word(*class),
            rigged_mass_g: g(*rigged_mass),
            head_mass_g: g(*head_mass),
            trailer_mass_g: g(*trailer_mass),
            length_mm: mm(*length),
            hook: unless_empty(hook),
            punch_n: n(*punch),
            pull_n: n(*pull),
            air_class: word(*air),
        }
    }
}

impl FromWire for Outfit {
    type Wire = pb::Outfit;

    fn from_wire(wire: pb::Outfit, at: At<'_>, faults: &mut Faults) -> Self {
        let pb::Outfit { rod, reel, line, leader, drag_kgf } = wire;
        let mut r = Reader::new(at, faults);
        Self {
            rod: part(&mut r, "rod", rod),
            reel: part(&mut r, "reel", reel),
            line: part(&mut r, "line", line),
            leader: part(&mut r, "leader", leader),
            drag: r.number("drag_kgf", drag_kgf, limits::DRAG_KGF).map(Force::from_kgf),
        }
    }
}

impl ToWire for Outfit {
    type Wire = pb::Outfit;

    fn to_wire(&self) -> pb::Outfit {
        let Self { rod, reel, line, leader, drag } = self;
        pb::Outfit {
            rod: unless_empty(rod),
            reel: unless_empty(reel),
            line: unless_empty(line),
            leader: unless_empty(leader),
            drag_kgf: kgf(*drag),
        }
    }
}

impl ToWire for Finding {
    type Wire = pb::Finding;

    fn to_wire(&self) -> pb::Finding {
        let Self { code, field, text } = self;
        pb::Finding { code: code.to_wire_word().into(), field: field.clone(), text: text.clone() }
    }
}

impl ToWire for InferredPower {
    type Wire = pb::InferredPower;

    fn to_wire(&self) -> pb::InferredPower {
        let Self { class, low, high, by_window, by_maximum, by_line, by_bench } = self;
        pb::InferredPower {
            class_index: *class,
            low: *low,
            high: *high,
            by_window: *by_window,
            by_maximum: *by_maximum,
            by_bench: *by_bench,
            by_line: *by_line,
            word: self.word().to_wire_word().into(),
        }
    }
}
