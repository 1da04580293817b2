//! The two directions of a conversion, and what several of them share.

use std::collections::BTreeMap;

use prost::Message;

use crate::fault::{At, Faults};
use crate::limits;
use crate::pb::FaultCode;
use crate::reader::Reader;

/// A domain value that is read from a message.
pub trait FromWire: Sized {
    /// The message.
    type Wire;

    /// Reads the message that stands at `at`. Every fault is noted in `faults`; a field with a
    /// fault is read as not given, so use the value only if there is none.
    fn from_wire(wire: Self::Wire, at: At<'_>, faults: &mut Faults) -> Self;
}

/// A domain value that is written as a message.
pub trait ToWire {
    /// The message.
    type Wire;

    /// Writes it.
    fn to_wire(&self) -> Self::Wire;
}

/// Reads a message that may be left out.
pub(crate) fn part<T: FromWire + Default>(
    reader: &mut Reader<'_>,
    name: &str,
    wire: Option<T::Wire>,
) -> T {
    let Some(wire) = wire else { return T::default() };
    reader.within(name, |at, faults| T::from_wire(wire, at, faults))
}

/// Writes a message unless everything in it is left out.
pub(crate) fn unless_empty<T: ToWire + Default + PartialEq>(value: &T) -> Option<T::Wire> {
    (*value != T::default()).then(|| value.to_wire())
}

/// The number to send for a quantity: the shortest one that is read back as the same quantity,
/// where there is one.
pub(crate) fn sent<Q: Copy + PartialEq>(
    quantity: Q,
    get: impl Fn(Q) -> f64,
    make: impl Fn(f64) -> Q,
) -> f64 {
    let raw = get(quantity);
    let short = format!("{raw:.14e}").parse().unwrap_or(raw);
    [short, raw, raw.next_up(), raw.next_down()]
        .into_iter()
        .find(|number| make(*number) == quantity)
        .unwrap_or(raw)
}

/// Reads the overrides of a request at `at`. Whether the model has such a parameter, and in
/// which range, only the model knows.
pub fn overrides(
    wire: BTreeMap<String, f64>,
    at: At<'_>,
    faults: &mut Faults,
) -> BTreeMap<String, f64> {
    if wire.len() > limits::OVERRIDES {
        let wrong = format!("has {} entries", wire.len());
        faults.push(FaultCode::TooMany, at, wrong, format!("at most {}", limits::OVERRIDES));
        return BTreeMap::new();
    }
    for (key, value) in &wire {
        if !value.is_finite() {
            let right = "a number within the range that GetModel states";
            faults.push(FaultCode::NotFinite, at.key(key), "is not a finite number", right);
        }
    }
    wire
}

/// `base` with every field replaced that `given` has, as protobuf merges messages: fields of the
/// request over those of the inventory item.
///
/// # Errors
/// Never for messages of this contract; a message that cannot be decoded from its own bytes.
pub fn overlay<M: Message>(mut base: M, given: &M) -> Result<M, prost::DecodeError> {
    base.merge(given.encode_to_vec().as_slice())?;
    Ok(base)
}
