//! The model file as a whole, and overrides.

#![allow(missing_docs, reason = "tests")]

use std::collections::BTreeMap;

use deepbend_core::model::Model;

fn with(key: &str, value: f64) -> Result<Model, String> {
    let overrides = BTreeMap::from([(key.to_owned(), value)]);
    Model::builtin()
        .with_overrides(&overrides)
        .map_err(|faults| faults.iter().map(ToString::to_string).collect::<Vec<_>>().join("; "))
}

#[test]
fn every_number_has_a_unit_a_source_and_a_value_in_its_range() {
    for row in Model::builtin().rows() {
        assert!(!row.unit.trim().is_empty(), "{}: unit", row.key);
        let honest = [
            "published: ",
            "common practice, no source",
            "from memory",
            "assumption: ",
            "by choice: ",
        ];
        let labelled = honest.iter().any(|label| row.source.starts_with(label));
        assert!(labelled, "{}: source `{}`", row.key, row.source);
        match (row.value, row.range) {
            (Some(value), Some((low, high))) => {
                assert!((low..=high).contains(&value), "{}", row.key)
            }
            (None, None) => {
                let rising = row.points.windows(2).all(|w| w[0].0 < w[1].0);
                assert!(row.points.len() >= 2 && rising, "{}: points", row.key);
            }
            _ => panic!("{}: neither number nor curve", row.key),
        }
    }
}

#[test]
fn an_override_gives_another_model_and_says_so() {
    let builtin = Model::builtin();
    let other = with("action.shake_cost", 1.4).expect("within its range");
    assert_ne!(other.id().hash, builtin.id().hash);
    assert_eq!(other.id().overrides.get("action.shake_cost"), Some(&1.4));
    assert_eq!(other.parameters().action.shake_cost, 1.4);
    let same = with("action.shake_cost", builtin.parameters().action.shake_cost);
    assert_eq!(same.expect("within its range").id(), builtin.id());
}

#[test]
fn bad_overrides_are_named() {
    let refused = |key, value| with(key, value).expect_err("must be refused");
    assert!(refused("action.shake_cost", 9.0).contains("outside"));
    assert!(refused("action.shake_cost", f64::NAN).contains("outside"));
    // A share has no unit to be told.
    assert!(refused("load.novice_share", 9.0).ends_with("9 is outside 0.8 to 1"));
    assert!(refused("no.such_key", 1.0).contains("no such parameter"));
    assert!(refused("load.window", 1.0).contains("curve"));
}
