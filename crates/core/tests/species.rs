//! The species table against published equations.

#![allow(missing_docs, reason = "tests")]

use deepbend_core::model::Model;
use deepbend_core::water::{Teeth, WaterKind};

/// Published standard weights, worked out from each paper's equation with more digits.
/// Sources: Anderson and Neumann 1996 (pike), Murphy et al. 1990 (walleye), Willis et al. 1991
/// (yellow perch), Henson 1991 (largemouth bass), Kolander et al. 1993 (smallmouth bass), Brown and
/// Murphy 1991 (striped bass), Piccolo et al. 1993 (lake trout), Giannetto et al. 2012 (European
/// perch, quadratic).
const WEIGHTS: [(&str, f64, f64); 13] = [
    ("pike", 300.0, 170.67),
    ("pike", 500.0, 829.87),
    ("pike", 1000.0, 7095.78),
    ("walleye", 500.0, 1348.11),
    ("yellow perch", 300.0, 412.19),
    ("largemouth bass", 500.0, 2021.76),
    ("smallmouth bass", 300.0, 396.08),
    ("striped bass", 700.0, 4277.69),
    ("lake trout", 500.0, 1201.87),
    ("muskellunge", 700.0, 2477.14),
    ("perch", 150.0, 43.575),
    ("perch", 250.0, 226.770),
    ("perch", 400.0, 1127.205),
];

#[test]
fn standard_weights_are_as_published() {
    let table = Model::builtin().species();
    for (name, length_mm, expected_g) in WEIGHTS {
        let equation = table.find(name).and_then(|s| s.length_weight.as_ref());
        let got = equation.and_then(|e| e.mass_g(length_mm)).unwrap_or(f64::NAN);
        let error = (got - expected_g).abs() / expected_g;
        assert!(error < 5e-5, "{name} {length_mm} mm: {got} g, published {expected_g} g");
    }
}

// Source: the papers' least lengths; below them there is no answer.
#[test]
fn below_the_range_there_is_no_weight() {
    let pike =
        Model::builtin().species().find("northern pike").and_then(|s| s.length_weight.clone());
    let pike = pike.expect("pike has a published equation");
    assert_eq!(pike.mass_g(99.0), None);
    assert_eq!(pike.mass_g(f64::NAN), None);
}

// Zander and red drum have no published standard weight: none may be made up.
#[test]
fn no_equation_is_made_up() {
    let table = Model::builtin().species();
    for name in ["zander", "red drum"] {
        assert!(table.find(name).is_some_and(|s| s.length_weight.is_none()), "{name}");
    }
}

#[test]
fn the_table_covers_the_waters_with_sane_traits() {
    let table = Model::builtin().species();
    for kind in [WaterKind::Fresh, WaterKind::Brackish, WaterKind::Salt] {
        let rows = table.rows().iter().filter(|s| s.waters.contains(&kind)).count();
        assert!(rows >= 10, "{kind:?}: {rows} rows");
    }
    assert!(table.rows().len() >= 42);
    for s in table.rows() {
        assert!(s.tear_n > 5.0 && s.tear_n < 200.0, "{}: tear", s.name);
        assert!(s.tissue > 0.5 && s.tissue < 2.0, "{}: tissue", s.name);
        assert!(0.0 < s.usual_kg && s.usual_kg <= s.large_kg, "{}: mass", s.name);
        assert!(0.0 < s.drag_kgf[0] && s.drag_kgf[0] <= s.drag_kgf[1], "{}: drag", s.name);
        assert!(s.leader_kgf[0] <= s.leader_kgf[1], "{}: leader", s.name);
        assert!(s.teeth == Teeth::None || s.leader_mm > 0.0, "{}: leader for teeth", s.name);
        assert!(!s.source.trim().is_empty(), "{}: source", s.name);
    }
}

// Names are read whatever the case and the joints.
#[test]
fn names_are_read_as_people_write_them() {
    let table = Model::builtin().species();
    let bass = table.find("Largemouth_Bass").map(|s| &s.name);
    assert_eq!(bass, table.find("largemouth bass").map(|s| &s.name));
    assert!(table.find("no such fish").is_none());
}
