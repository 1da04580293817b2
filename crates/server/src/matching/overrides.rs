//! The model, with the numbers that a request replaces.

use std::borrow::Cow;
use std::collections::BTreeMap;

use deepbend_contract::pb::FaultCode;
use deepbend_contract::{At, Faults};
use deepbend_core::model::Model;

use crate::error::ServiceError;

/// Replaced numbers, by key.
pub(super) type Overrides = BTreeMap<String, f64>;

/// Reads the overrides at `at`: their form, and whether the model has such numbers.
pub(super) fn read(wire: Overrides, at: At<'_>, faults: &mut Faults) -> Overrides {
    let overrides = deepbend_contract::overrides(wire, at, faults);
    let rows = Model::builtin().rows();
    for (key, value) in overrides.iter().filter(|(_, value)| value.is_finite()) {
        let at = at.key(key);
        let Some(row) = rows.iter().find(|row| row.key == *key) else {
            let right = "a key that GetModel lists";
            faults.push(FaultCode::NotFound, at, "names no number of the model", right);
            continue;
        };
        let Some((low, high)) = row.range else {
            let right = "the key of a plain number";
            faults.push(FaultCode::Conflict, at, "names a curve, which cannot be replaced", right);
            continue;
        };
        // A plain ratio has the unit 1.
        let right = match row.unit.as_str() {
            "1" => format!("{low} to {high}"),
            unit => format!("{low} to {high} {unit}"),
        };
        if *value < low {
            faults.push(FaultCode::TooSmall, at, format!("is {value}"), right);
        } else if *value > high {
            faults.push(FaultCode::TooLarge, at, format!("is {value}"), right);
        }
    }
    overrides
}

/// The model with checked overrides.
pub(super) fn model(overrides: &Overrides) -> Result<Cow<'static, Model>, ServiceError> {
    if overrides.is_empty() {
        return Ok(Cow::Borrowed(Model::builtin()));
    }
    // Each number was checked; what is left is a set of numbers that do not go together.
    Model::builtin().with_overrides(overrides).map(Cow::Owned).map_err(|wrong| {
        let mut faults = Faults::new();
        let at = At::ROOT.field("overrides");
        for fault in wrong {
            let right = "numbers that go together";
            faults.push(FaultCode::Conflict, at.key(&fault.key), fault.text, right);
        }
        ServiceError::Faults(faults)
    })
}
