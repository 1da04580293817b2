//! Every line that a person reads of the fleet keeps to 80 columns, whatever ids are like.
//!
//! Source: common practice, no source (80 columns); the contract allows ids of 64 characters.

#![allow(clippy::unwrap_used, clippy::disallowed_methods, missing_docs, reason = "a test")]

mod common;

use std::path::Path;
use std::sync::Mutex;

use common::{Ended, demo, ended, program, write};

fn on(folder: &Path, args: &[&str]) -> Ended {
    let told = ended(program(args).env("DEEPBEND_DATA", folder).env("DEEPBEND_DEVICE", LONG));
    for line in told.out.lines().chain(told.err.lines()) {
        if line.chars().count() > 80 {
            WIDE.lock().unwrap().push(format!("{args:?}: {line}"));
        }
    }
    told
}

/// Lines that are wider.
static WIDE: Mutex<Vec<String>> = Mutex::new(Vec::new());
/// As long as an id can be.
const LONG: &str = "tablet-of-the-second-boat-which-lies-at-the-northern-pontoon-abc";

#[test]
fn lines_keep_to_eighty_columns() {
    assert_eq!(LONG.len(), 64);
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("data");
    let types = |args: &[&str]| on(&data, args);
    types(&["gear", "import", demo("").as_str()]).code(0);
    let long = |letter: &str| format!("{letter}-{}", "x".repeat(62));
    let (rod, place) = (long("R"), long("B"));
    let rods = format!(
        "rod_id,handle,length_raw,lure_raw,line_raw,place\n{rod},spinning,2.10 m,5-20 g,6-12 lb,{place}\n"
    );
    let boats = format!("boat_id,name,home_berth\n{place},{},quay\n", "Long name ".repeat(11));
    let import = folder.path().join("more");
    std::fs::create_dir(&import).unwrap();
    write(&import, "rods.csv", rods.as_bytes());
    write(&import, "boats.csv", boats.as_bytes());
    types(&["gear", "import", import.to_str().unwrap()]).code(0);
    // Refused: known already, and a folder of nonsense.
    types(&["gear", "import", demo("").as_str()]).code(65);
    let odd = folder.path().join("odd");
    std::fs::create_dir(&odd).unwrap();
    let bad = "rod_id,handle,length_raw,lure_raw,line_raw,place\n\
               R 1,sideways,very long indeed,from here to there,much,nowhere at all\n";
    write(&odd, "rods.csv", bad.as_bytes());
    types(&["gear", "import", odd.to_str().unwrap()]).code(65);
    types(&["log", "broke", &rod, "the tip section, in the lid of the locker, at night"]).code(0);
    types(&["log", "moved", &rod, "B2", "--by", &long("p")]).code(0);
    types(&["log", "moved", &rod, &long("C")]).code(65);
    types(&["log", "moved", &rod, "B3", "--from", &long("C"), "--unknown-ok"]).code(0);
    types(&["log", "lost", "L30", "9"]).code(65);
    types(&["log", "lost", "L30", "9", "--unknown-ok"]).code(0);
    types(&["log", "moved", "L30", "B2", "--pieces", "1.5"]).code(2);
    types(&["log", "edited", "R06", "status=ready"]).code(65);
    // Data for programs has no width.
    let csv = ["history", rod.as_str(), "-o", "csv"];
    let event = ended(program(&csv).env("DEEPBEND_DATA", &data)).code(0).out;
    let event = event.lines().nth(2).unwrap().split(',').next().unwrap().to_owned();
    types(&["log", "wrong", &event, "it was another one, as I see now"]).code(0);
    for args in [
        ["history", rod.as_str()].as_slice(),
        &["gear", "show", &rod],
        &["gear", "show", &place],
        &["gear", "list"],
        &["gear", "list", "--page-size", "3"],
        &["gear", "show", "E08"],
        &["gear", "show", "L30"],
        &["gear", "show", "K04"],
        &["contested"],
        &["due", "--on", "2031-09-16"],
        &["sync"],
        &["stocktake", "B1", "R01", "L30=2", &rod],
        &["stocktake", "B1", "R01", "L30=2", &rod, "--record"],
        &["help"],
        &["help", "log"],
        &["help", "gear", "list"],
        &["help", "exit-codes"],
    ] {
        types(args).code(0);
    }
    types(&["gear", "show", &long("Q")]).code(65);
    types(&["stocktake", &long("Q"), "R01"]).code(65);
    let wide = WIDE.lock().unwrap();
    assert!(wide.is_empty(), "{}", wide.join("\n"));
}
