//! Two messages of one kind, held against each other field by field.

use prost::{Message, Name};
use prost_reflect::{DynamicMessage, FieldDescriptor, Kind, ReflectMessage as _, Value};

use crate::json::{JsonFault, reflect};

/// Numbers that differ by less than this share of themselves are the same: what a program loses
/// that writes twelve digits.
const SAME_NUMBER: f64 = 1e-12;
/// Longer texts are cut where they are shown, characters.
const SHOWN: usize = 80;

/// A field that two messages do not have in common.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Difference {
    /// Its path, as fields of faults are named: `moves[2].quantity`. An entry that the first list
    /// lacks is told of the list.
    pub field: String,
    /// What the first one says: "is 3", "is left out", "is given".
    pub is: String,
    /// What the second one says.
    pub right: String,
}

/// Everything in which one message differs from another, in the order of the fields.
///
/// # Errors
/// [`JsonFault`] for messages that are not of the contract.
pub fn differences<M: Message + Name>(one: &M, right: &M) -> Result<Vec<Difference>, JsonFault> {
    let mut found = Vec::new();
    fields(&reflect(one)?, &reflect(right)?, "", &mut found);
    Ok(found)
}

fn fields(one: &DynamicMessage, right: &DynamicMessage, within: &str, found: &mut Vec<Difference>) {
    for field in one.descriptor().fields() {
        let dot = if within.is_empty() { "" } else { "." };
        let path = format!("{within}{dot}{}", field.name());
        let given = |m: &DynamicMessage| {
            let there = !field.supports_presence() || m.has_field(&field);
            there.then(|| m.get_field(&field).into_owned())
        };
        match (given(one), given(right)) {
            (None, None) => {}
            (Some(is), None) => found.push(Difference {
                field: path,
                is: format!("is {}", shown(&is, &field.kind())),
                right: "nothing, left out".to_owned(),
            }),
            (None, Some(right)) => found.push(Difference {
                field: path,
                is: "is left out".to_owned(),
                right: shown(&right, &field.kind()),
            }),
            (Some(is), Some(right)) => values(&is, &right, &field, path, found),
        }
    }
}

fn values(
    is: &Value,
    right: &Value,
    field: &FieldDescriptor,
    path: String,
    found: &mut Vec<Difference>,
) {
    match (is, right) {
        (Value::Message(is), Value::Message(right)) => fields(is, right, &path, found),
        (Value::List(is), Value::List(right)) => lists(is, right, field, &path, found),
        _ if same(is, right) => {}
        _ => found.push(Difference {
            field: path,
            is: format!("is {}", shown(is, &field.kind())),
            right: shown(right, &field.kind()),
        }),
    }
}

/// Entries that both have in the same order at the beginning and at the end are left alone, so that one
/// that is missing or too much is told as such.
fn lists(
    is: &[Value],
    right: &[Value],
    field: &FieldDescriptor,
    path: &str,
    found: &mut Vec<Difference>,
) {
    let pairs = || is.iter().zip(right);
    let (mut first, mut last) = (0, 0);
    if is.len() != right.len() {
        first = pairs().take_while(|(a, b)| a == b).count();
        let ends = is[first..].iter().rev().zip(right[first..].iter().rev());
        last = ends.take_while(|(a, b)| a == b).count();
    }
    let (is, right) = (&is[first..is.len() - last], &right[first..right.len() - last]);
    for (i, (is, right)) in is.iter().zip(right).enumerate() {
        values(is, right, field, format!("{path}[{}]", first + i), found);
    }
    let both = is.len().min(right.len());
    for (i, more) in is.iter().enumerate().skip(both) {
        let is = format!("is one too many: {}", shown(more, &field.kind()));
        let right = "without it".to_owned();
        found.push(Difference { field: format!("{path}[{}]", first + i), is, right });
    }
    for (i, lacking) in right.iter().enumerate().skip(both) {
        found.push(Difference {
            field: path.to_owned(),
            is: format!("lacks one at {}", first + i),
            right: shown(lacking, &field.kind()),
        });
    }
}

fn same(one: &Value, other: &Value) -> bool {
    match (one, other) {
        (Value::F64(one), Value::F64(other)) => {
            (one - other).abs() <= SAME_NUMBER * one.abs().max(other.abs())
        }
        _ => one == other,
    }
}

/// A value in a few words: of a message the first that it says.
fn shown(value: &Value, kind: &Kind) -> String {
    const FEW: usize = 4;
    let text = match value {
        Value::Message(message) => {
            let said = message.fields().filter(|(_, value)| !matches!(value, Value::Message(_)));
            let said = said.filter(|(_, value)| !matches!(value, Value::List(_)));
            let words = said
                .take(FEW)
                .map(|(field, value)| format!("{} {}", field.name(), shown(value, &field.kind())));
            words.collect::<Vec<_>>().join(", ")
        }
        Value::List(list) => {
            let words: Vec<_> = list.iter().take(FEW).map(|value| shown(value, kind)).collect();
            format!("[{}]", words.join(", "))
        }
        Value::EnumNumber(number) => {
            let name = kind.as_enum().and_then(|words| words.get_value(*number));
            name.map_or_else(|| number.to_string(), |value| value.name().to_owned())
        }
        Value::String(text) => format!("{text:?}"),
        Value::Bool(yes) => yes.to_string(),
        Value::I32(number) => number.to_string(),
        Value::I64(number) => number.to_string(),
        Value::U32(number) => number.to_string(),
        Value::U64(number) => number.to_string(),
        Value::F32(number) => number.to_string(),
        Value::F64(number) => number.to_string(),
        Value::Bytes(bytes) => format!("{} bytes", bytes.len()),
        Value::Map(map) => format!("{} entries", map.len()),
    };
    if text.chars().count() <= SHOWN {
        return text;
    }
    text.chars().take(SHOWN).chain(['…']).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pb;

    fn load(id: &str, quantity: i32) -> pb::LoadLine {
        pb::LoadLine { item_id: id.to_owned(), quantity, ..Default::default() }
    }

    fn told(one: &pb::Plan, right: &pb::Plan) -> Vec<String> {
        let found = differences(one, right).unwrap();
        found.into_iter().map(|d| format!("{} {}; {}", d.field, d.is, d.right)).collect()
    }

    // Compared by hand.
    #[test]
    fn each_difference_is_told_where_it_stands() {
        let right = pb::Plan {
            load_list: vec![load("R01", 1), load("L01", 2), load("L02", 3)],
            gap: Some(0.25),
            value: Some(pb::PlanValue { move_micros: 5, ..Default::default() }),
            ..Default::default()
        };
        assert!(told(&right, &right).is_empty());
        let mut one = right.clone();
        one.status = pb::PlanStatus::Optimal.into();
        one.value.as_mut().unwrap().move_micros = 6;
        one.gap = None;
        one.load_list[1].quantity = 9;
        assert_eq!(
            told(&one, &right),
            [
                "status is PLAN_STATUS_OPTIMAL; PLAN_STATUS_UNSPECIFIED",
                "value.move_micros is 6; 5",
                "gap is left out; 0.25",
                "load_list[1].quantity is 9; 2",
            ]
        );
        let mut one = right.clone();
        one.load_list.remove(1);
        let lacks = "load_list lacks one at 1; item_id \"L01\", quantity 2";
        assert_eq!(told(&one, &right), [lacks]);
        let mut one = right.clone();
        one.load_list.insert(1, load("L09", 1));
        let more = "load_list[1] is one too many: item_id \"L09\", quantity 1; without it";
        assert_eq!(told(&one, &right), [more]);
        let mut one = right.clone();
        one.gap = Some(0.25 * (1.0 + f64::EPSILON));
        assert!(told(&one, &right).is_empty());
    }
}
