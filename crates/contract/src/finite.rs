//! Numbers that are none: a message that comes back from a caller is looked through for them.

use prost::{Message, Name};
use prost_reflect::{DynamicMessage, Value};

use crate::json::{JsonFault, reflect};

/// Paths of all numbers of a message, and of those within it, that are not finite, as fields of faults
/// are named: `windier.added_wind_m_s`, `assignments[2].score`.
///
/// # Errors
/// [`JsonFault`] for a message that is not of the contract.
pub fn not_finite<M: Message + Name>(message: &M) -> Result<Vec<String>, JsonFault> {
    let mut found = Vec::new();
    fields(&reflect(message)?, "", &mut found);
    Ok(found)
}

fn fields(message: &DynamicMessage, within: &str, found: &mut Vec<String>) {
    for (field, value) in message.fields() {
        let dot = if within.is_empty() { "" } else { "." };
        look(value, format!("{within}{dot}{}", field.name()), found);
    }
}

fn look(value: &Value, path: String, found: &mut Vec<String>) {
    match value {
        Value::F64(number) if !number.is_finite() => found.push(path),
        Value::F32(number) if !number.is_finite() => found.push(path),
        Value::Message(message) => fields(message, &path, found),
        Value::List(list) => {
            for (i, value) in list.iter().enumerate() {
                look(value, format!("{path}[{i}]"), found);
            }
        }
        Value::Map(map) => {
            for (key, value) in map {
                let key = key.as_str().unwrap_or_default();
                look(value, format!("{path}[{key:?}]"), found);
            }
        }
        Value::Bool(_)
        | Value::I32(_)
        | Value::I64(_)
        | Value::U32(_)
        | Value::U64(_)
        | Value::F32(_)
        | Value::F64(_)
        | Value::String(_)
        | Value::Bytes(_)
        | Value::EnumNumber(_) => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pb;

    // Source: the contract's names of fields.
    #[test]
    fn each_number_is_found_where_it_stands() {
        let score = |score| pb::Assignment { score, ..Default::default() };
        let plan = pb::Plan {
            gap: Some(f64::NAN),
            assignments: vec![score(0.5), score(f64::INFINITY)],
            windier: Some(pb::Windier { added_wind_m_s: f64::NEG_INFINITY, ..Default::default() }),
            ..Default::default()
        };
        let mut found = not_finite(&plan).unwrap();
        found.sort();
        assert_eq!(found, ["assignments[1].score", "gap", "windier.added_wind_m_s"]);
        assert!(not_finite(&pb::Plan::default()).unwrap().is_empty());
    }
}
