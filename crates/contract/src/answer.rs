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
        pb::Species {
            name: self.name.clone(),
            other_names: self.also.clone(),
            scientific_name: self.scientific.clone(),
            waters: self.waters.iter().map(|water| water.to_wire_word().into()).collect(),
        }
    }
}
