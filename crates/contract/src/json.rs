//! Proto JSON, both ways.

use std::sync::LazyLock;

use prost::{Message, Name};
use prost_reflect::{DescriptorPool, DynamicMessage, MessageDescriptor, SerializeOptions};
use serde_json::Value;

/// Descriptors of the contract.
static POOL: LazyLock<DescriptorPool> = LazyLock::new(|| {
    // Bytes that the build wrote; a test reads them.
    DescriptorPool::decode(crate::FILE_DESCRIPTOR_SET).unwrap_or_default()
});

/// A text that is no JSON of the message, or a message that has no JSON.
#[derive(Debug)]
pub struct JsonFault {
    text: String,
}

impl JsonFault {
    pub(crate) fn new(fault: &impl ToString) -> Self {
        Self { text: fault.to_string() }
    }
}

impl std::fmt::Display for JsonFault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.text)
    }
}

impl std::error::Error for JsonFault {}

pub(crate) fn descriptor<M: Name>() -> Result<MessageDescriptor, JsonFault> {
    let name = M::full_name();
    let missing = || JsonFault { text: format!("{name} is no message of the contract") };
    POOL.get_message_by_name(&name).ok_or_else(missing)
}

/// Names of the values of an enum of the contract, without the one for "not given".
pub(crate) fn enum_values(name: &str) -> Vec<String> {
    let found = POOL.get_enum_by_name(&format!("deepbend.v1.{name}"));
    let values = found.iter().flat_map(|e| e.values().collect::<Vec<_>>());
    values.filter(|v| v.number() != 0).map(|v| v.name().to_owned()).collect()
}

pub(crate) fn reflect<M: Message + Name>(message: &M) -> Result<DynamicMessage, JsonFault> {
    let mut dynamic = DynamicMessage::new(descriptor::<M>()?);
    dynamic.transcode_from(message).map_err(|e| JsonFault::new(&e))?;
    Ok(dynamic)
}

/// The message as proto JSON. Zeros and `false` are written out where they mean something; what
/// is empty or not given is left out.
///
/// # Errors
/// [`JsonFault`] for a message that is not of the contract.
pub fn to_json<M: Message + Name>(message: &M) -> Result<Value, JsonFault> {
    written(message, SerializeOptions::new())
}

/// The same with the names of the fields as the contract has them (`tip_angle_rad`), which every
/// reader of proto JSON takes too.
///
/// # Errors
/// [`JsonFault`] for a message that is not of the contract.
pub fn to_json_with_proto_names<M: Message + Name>(message: &M) -> Result<Value, JsonFault> {
    written(message, SerializeOptions::new().use_proto_field_name(true))
}

fn written<M: Message + Name>(message: &M, options: SerializeOptions) -> Result<Value, JsonFault> {
    let options = options.skip_default_fields(false);
    let json = reflect(message)?
        .serialize_with_options(serde_json::value::Serializer, &options)
        .map_err(|e| JsonFault::new(&e))?;
    Ok(without_empty(json))
}

fn without_empty(json: Value) -> Value {
    let empty = |value: &Value| match value {
        Value::Null => true,
        Value::String(text) => text.is_empty() || text.ends_with("_UNSPECIFIED"),
        Value::Array(list) => list.is_empty(),
        // A message without fields says that it is there.
        Value::Object(_) | Value::Bool(_) | Value::Number(_) => false,
    };
    match json {
        Value::Object(fields) => Value::Object(
            fields
                .into_iter()
                .filter(|(_, value)| !empty(value))
                .map(|(name, value)| (name, without_empty(value)))
                .collect(),
        ),
        Value::Array(list) => Value::Array(list.into_iter().map(without_empty).collect()),
        other @ (Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_)) => other,
    }
}

/// Reads proto JSON.
///
/// # Errors
/// [`JsonFault`] with the place in the text: no JSON, an unknown field, a value of another type.
pub fn from_json<M: Message + Name + Default>(text: &str) -> Result<M, JsonFault> {
    let mut reader = serde_json::Deserializer::from_str(text);
    let dynamic = DynamicMessage::deserialize(descriptor::<M>()?, &mut reader)
        .map_err(|e| JsonFault::new(&e))?;
    reader.end().map_err(|e| JsonFault::new(&e))?;
    dynamic.transcode_to().map_err(|e| JsonFault::new(&e))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pb;

    // Source: proto JSON mapping (protobuf.dev, ProtoJSON format): lowerCamelCase names, enums by
    // name, 64-bit integers as strings.
    #[test]
    fn json_follows_the_mapping() {
        let factor = pb::Factor {
            kind: pb::FactorKind::HookSet.into(),
            loss_nano: 250_000_000,
            ..Default::default()
        };
        let json = to_json(&factor).unwrap();
        assert_eq!(json["kind"], "FACTOR_KIND_HOOK_SET");
        assert_eq!(json["lossNano"], "250000000");
        assert_eq!(json["score"], 0.0);
        assert!(json.get("rule").is_none() && json.get("quantities").is_none());
        assert_eq!(from_json::<pb::Factor>(&json.to_string()).unwrap(), factor);
        let named = to_json_with_proto_names(&factor).unwrap();
        assert_eq!(named["loss_nano"], "250000000");
        assert!(named.get("lossNano").is_none());
        assert_eq!(from_json::<pb::Factor>(&named.to_string()).unwrap(), factor);
    }

    // Source: proto JSON mapping: fields with presence are left out when not set.
    #[test]
    fn what_is_not_given_is_left_out() {
        let rod = pb::Rod { length_m: Some(2.13), ..Default::default() };
        assert_eq!(to_json(&rod).unwrap().to_string(), r#"{"lengthM":2.13}"#);
        let outfit = pb::Outfit { rod: Some(pb::Rod::default()), ..Default::default() };
        assert_eq!(to_json(&outfit).unwrap().to_string(), r#"{"rod":{}}"#);
    }

    // Source: the contract itself.
    #[test]
    fn nonsense_is_refused_with_its_place() {
        for bad in ["", "[]", "{", r#"{"lengthM":"long"}"#, r#"{"length":2}"#, "{} {}"] {
            assert!(from_json::<pb::Rod>(bad).is_err(), "{bad}");
        }
        let deep = "[".repeat(100_000);
        assert!(from_json::<pb::Rod>(&deep).is_err());
        assert_eq!(enum_values("Handle"), ["HANDLE_SPINNING", "HANDLE_CASTING"]);
    }
}
