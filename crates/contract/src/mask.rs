//! Read masks: which fields of an answer are wanted.

use std::collections::BTreeSet;

use prost::{Message, Name};
use prost_types::FieldMask;

use crate::fault::quoted;
use crate::json::{JsonFault, descriptor, reflect};
use crate::pb::FaultCode;
use crate::reader::Reader;

/// The fields of a message that are wanted, top level only.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ReadMask {
    /// Numbers of the fields; `None`: all.
    numbers: Option<BTreeSet<u32>>,
}

impl ReadMask {
    /// Reads the mask of messages `M`. No mask, an empty one and `*` mean all fields.
    pub fn read<M: Name>(reader: &mut Reader<'_>, name: &str, mask: Option<FieldMask>) -> Self {
        let paths = mask.map(|mask| mask.paths).unwrap_or_default();
        let Ok(message) = descriptor::<M>() else { return Self::default() };
        if paths.is_empty() || paths == ["*"] {
            return Self::default();
        }
        let mut numbers = BTreeSet::new();
        for path in &paths {
            match message.get_field_by_name(path) {
                Some(field) => {
                    numbers.insert(field.number());
                }
                None => reader.fault(
                    name,
                    FaultCode::NotFound,
                    format!("has the path {}", quoted(path)),
                    format!("names of top-level fields of {}", M::NAME),
                ),
            }
        }
        Self { numbers: Some(numbers) }
    }

    /// The message with the wanted fields only.
    ///
    /// # Errors
    /// [`JsonFault`] for a message that is not of the contract.
    pub fn apply<M: Message + Name + Default>(&self, message: M) -> Result<M, JsonFault> {
        let Some(numbers) = &self.numbers else { return Ok(message) };
        let mut dynamic = reflect(&message)?;
        for field in descriptor::<M>()?.fields() {
            if !numbers.contains(&field.number()) {
                dynamic.clear_field(&field);
            }
        }
        dynamic.transcode_to().map_err(|e| JsonFault::new(&e))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fault::{At, Faults};
    use crate::pb;

    fn read(paths: &[&str]) -> (ReadMask, Faults) {
        let mut faults = Faults::new();
        let mask = FieldMask { paths: paths.iter().map(|p| (*p).to_owned()).collect() };
        let mask = ReadMask::read::<pb::Item>(
            &mut Reader::new(At::ROOT, &mut faults),
            "read_mask",
            Some(mask),
        );
        (mask, faults)
    }

    // Source: AIP-157 (partial responses).
    #[test]
    fn a_mask_keeps_what_it_names() {
        let item = pb::Item {
            id: "R14".into(),
            note: "n".into(),
            spec: Some(pb::item::Spec::Rod(pb::Rod::default())),
            ..Default::default()
        };
        let (mask, faults) = read(&["id", "rod"]);
        assert!(faults.is_empty());
        let kept = mask.apply(item.clone()).unwrap();
        assert_eq!(kept, pb::Item { note: String::new(), ..item.clone() });
        assert_eq!(read(&["*"]).0.apply(item.clone()).unwrap(), item);
        assert_eq!(read(&[]).0.apply(item.clone()).unwrap(), item);
    }

    // Source: AIP-161 (an invalid path is INVALID_ARGUMENT).
    #[test]
    fn an_unknown_path_is_named() {
        let (_, faults) = read(&["id", "rod.length_m", "colour"]);
        assert_eq!(faults.as_slice().len(), 2);
        assert!(faults.as_slice()[1].wrong.contains("colour"));
    }
}
