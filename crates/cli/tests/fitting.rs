//! How far an outfit may be stretched, and which outfit would be right.

#![allow(clippy::unwrap_used, clippy::disallowed_methods, missing_docs, reason = "a test")]

mod common;

use common::{Ended, run};

fn stretched(more: &[&str]) -> Ended {
    let words = [
        "envelope",
        "--rod",
        "7'2\" M fast spinning graphite 7-21 g 8-14 lb",
        "--line",
        "braid 9 kg",
        "--leader",
        "fluorocarbon 0.40 mm 10.5 kg",
        "--drag",
        "1.5 kg",
        "--lure",
        "jig 12 g",
        "--species",
        "zander",
    ];
    run(&[&words[..], more].concat())
}

fn specified(more: &[&str]) -> Ended {
    let words = ["specify", "--lure", "crankbait 14 g 2 trebles", "--species", "largemouth bass"];
    run(&[&words[..], more].concat())
}

// 80 columns: common practice, no source.
#[test]
fn an_envelope_is_told_in_eighty_columns() {
    let ended = stretched(&[]).code(0);
    assert!(ended.out.lines().all(|line| line.chars().count() <= 80), "{}", ended.out);
    ended.says(&["stays good with", "rigged mass", "g (", " oz)", "kn)", "below ", "above "]);
    let heavy = stretched(&["--lure", "jig 80 g"]);
    // One lure alone may be given.
    heavy.code(2);
}

// Follows from the contract: all formats tell the same.
#[test]
fn an_envelope_has_one_row_a_quantity() {
    let csv = stretched(&["-o", "csv"]).code(0).out;
    let rows: Vec<Vec<&str>> = csv.lines().map(|line| line.split(',').collect()).collect();
    assert_eq!(rows.len(), 8);
    assert_eq!(rows[0][..4], ["quantity", "present", "verdict", "least"]);
    assert_eq!((rows[1][0], rows[1][1]), ("rigged_mass_g", "12"));
    let json = stretched(&["-o", "json"]).code(0).out;
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    let least = json["riggedMassG"]["least"]["value"].as_f64().unwrap();
    assert!((least - rows[1][3].parse::<f64>().unwrap()).abs() <= 0.0005);
    stretched(&["--print-request"]).code(0).says(&["\"rod\"", "\"zander\""]);
}

// Common practice, no source: plugs with trebles ask for a rod that yields.
#[test]
fn a_specification_is_a_window_of_specs() {
    let ended = specified(&[]).code(0);
    assert!(ended.out.lines().all(|line| line.chars().count() <= 80), "{}", ended.out);
    ended.says(&["Best", "What may vary round it", "moderate", "crankbait 14 g"]);
    let csv = specified(&["-o", "csv"]).code(0).out;
    assert!(csv.lines().any(|line| line.starts_with("power_class,")), "{csv}");
    let json = specified(&["-o", "json", "--lure", "crankbait 14 g 2 trebles"]).code(0).out;
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!(json["lures"][1]["label"], "crankbait 14 g 2 trebles (2)");
    let apart = ["specify", "--lure", "minnow 3 g", "--lure", "minnow 150 g"];
    run(&apart).code(0).says(&["No outfit is good with every lure; in the way is minnow"]);
}

#[test]
fn what_is_missing_is_said() {
    run(&["specify"]).code(2).warns(&["--lure"]);
    run(&["envelope", "--lure", "jig 12 g"]).code(2).warns(&["--rod"]);
    specified(&["--set", "specify.power_step=9"]).code(65).warns(&["specify.power_step"]);
}
