//! Reading of the parameter file, and overrides by key.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use toml::{Table, Value};

use super::Parameters;
use crate::judge::RuleKind;

/// One parameter as it is documented.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ParameterRow {
    /// Key, `group.name`.
    pub key: String,
    /// Value in force; `None` for a curve.
    pub value: Option<f64>,
    /// Points (x, y) of a curve; empty for a plain number.
    pub points: Vec<(f64, f64)>,
    /// Unit; for a curve `x -> y`.
    pub unit: String,
    /// Plausible range; an override must lie within. `None` for a curve.
    pub range: Option<(f64, f64)>,
    /// What it rests on.
    pub kind: RuleKind,
    /// Where it comes from.
    pub source: String,
}

/// An override that cannot be applied.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("override `{key}`: {text}")]
pub struct OverrideFault {
    /// Key that was given.
    pub key: String,
    /// What is wrong and what would be right.
    pub text: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Entry {
    value: Option<f64>,
    #[serde(default)]
    points: Vec<(f64, f64)>,
    unit: String,
    range: Option<(f64, f64)>,
    kind: RuleKind,
    source: String,
}

pub(super) fn override_faults(
    rows: &[ParameterRow],
    overrides: &BTreeMap<String, f64>,
) -> Vec<OverrideFault> {
    let fault = |key: &String, text: String| OverrideFault { key: key.clone(), text };
    overrides
        .iter()
        .filter_map(|(key, value)| {
            let Some(row) = rows.iter().find(|row| row.key == *key) else {
                return Some(fault(key, "no such parameter; list them to see the keys".into()));
            };
            let Some((low, high)) = row.range else {
                return Some(fault(key, "is a curve; only plain numbers can be replaced".into()));
            };
            // Written so that NaN is refused too.
            let inside = (low..=high).contains(value);
            let unit = if row.unit == "1" { String::new() } else { format!(" {}", row.unit) };
            (!inside).then(|| fault(key, format!("{value} is outside {low} to {high}{unit}")))
        })
        .collect()
}

pub(super) fn read(
    text: &str,
    overrides: &BTreeMap<String, f64>,
) -> Result<(Parameters, Vec<ParameterRow>), String> {
    let file: BTreeMap<String, BTreeMap<String, Entry>> =
        toml::from_str(text).map_err(|e| format!("parameters: {e}"))?;
    let mut rows = Vec::new();
    let mut plain = Table::new();
    for (group, entries) in file {
        let mut values = Table::new();
        for (name, entry) in entries {
            let key = format!("{group}.{name}");
            let value = overrides.get(&key).copied().or(entry.value);
            values.insert(name, plain_value(&key, value, &entry)?);
            rows.push(ParameterRow {
                key,
                value,
                points: entry.points,
                unit: entry.unit,
                range: entry.range,
                kind: entry.kind,
                source: entry.source,
            });
        }
        plain.insert(group, Value::Table(values));
    }
    let parameters = Value::Table(plain).try_into().map_err(|e| format!("parameters: {e}"))?;
    Ok((parameters, rows))
}

fn plain_value(key: &str, value: Option<f64>, entry: &Entry) -> Result<Value, String> {
    match (value, entry.points.as_slice(), entry.range) {
        (Some(value), [], Some((low, high))) if (low..=high).contains(&value) => {
            Ok(Value::Float(value))
        }
        (None, points @ [_, _, ..], None) => {
            let pair = |&(x, y)| Value::Array(vec![Value::Float(x), Value::Float(y)]);
            Ok(Value::Array(points.iter().map(pair).collect()))
        }
        _ => Err(format!("{key}: either a value within its range, or points")),
    }
}
