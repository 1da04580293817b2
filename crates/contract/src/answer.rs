//! The model, written: its parameters and species.

use deepbend_core::model::ParameterRow;
use deepbend_core::water::Species;

use crate::convert::ToWire;
use crate::pb;
use crate::words::WireWord as _;

impl ToWire for ParameterRow {
    type Wire = pb::Parameter;

    fn to_wire(&self) -> pb::Parameter {
        let Self { key, value, points, unit, range, kind, source } = self;
        pb::Parameter {
            key: key.clone(),
            value: *value,
            points: points.iter().map(|&(x, y)| pb::CurvePoint { x, y }).collect(),
            unit: unit.clone(),
            range_min: range.map(|(min, _)| min),
            range_max: range.map(|(_, max)| max),
            kind: kind.to_wire_word().into(),
            source: source.clone(),
        }
    }
}

impl ToWire for Species {
    type Wire = pb::Species;

    /// Names and waters; the traits are the model's own.
    fn to_wire(&self) -> pb::Species {
        let Self {
            name,
            also,
            scientific,
            waters,
            tear_n: _,
            tissue: _,
            teeth: _,
            cutting_gill_plate: _,
            habit: _,
            usual_kg: _,
            large_kg: _,
            drag_kgf: _,
            leader_kgf: _,
            leader_mm: _,
            length_weight: _,
            stress_c: _,
            barotrauma_m: _,
            source: _,
        } = self;
        pb::Species {
            name: name.clone(),
            other_names: also.clone(),
            scientific_name: scientific.clone(),
            waters: waters.iter().map(|water| water.to_wire_word().into()).collect(),
        }
    }
}
