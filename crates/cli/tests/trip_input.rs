//! What is said of a trip that is asked for wrongly: the option or the column, what is wrong with it
//! and what would be right. Common practice, no source.

#![allow(clippy::unwrap_used, clippy::disallowed_methods, missing_docs, reason = "a test")]

mod common;

use common::{data_of, demo, fleet, run, write};

fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn every_option_says_what_would_be_right() {
    let folder = fleet();
    let data = data_of(&folder);
    let (trips, segments, needs) =
        (demo("trips.csv"), demo("segments.csv"), demo("trip_needs.csv"));
    let files = ["--trips", &trips, "--segments", &segments, "--needs", &needs];
    let plan = &["plan", "--trip", "T1"][..];
    for (command, option, value, right) in [
        (plan, "--more-wind", "-3", "--more-wind is -3 m/s; right is 0 to 30 m/s"),
        (plan, "--more-wind", "x", "right is a number such as 2.5"),
        (plan, "--work", "-5", "--work is -5 nodes; right is 1 to"),
        (plan, "--work", "some", "right is a whole number such as 20000"),
        (plan, "--pair", "R14", "like R14+E08"),
        (plan, "--hold", "b", "like b/L17"),
        (plan, "--from", "B2=x", "B2=300000"),
        (&["gaps"], "--count", "0", "right is a whole number, 1 or more"),
        (&["gaps"], "--count", "-1", "right is a whole number, 1 or more"),
        (&["gaps"], "--budget", "-5", "right is an amount from 0.01 to 10000000"),
        (&["gaps"], "--price", "casting=-5", "right is an amount from 0.01 to 1000000"),
        (&["gaps"], "--days", "T1", "like T1=12"),
        (&["set"], "--most", "0", "right is a whole number, 1 or more"),
        (&["set"], "--tube", "-1", "--tube is -1 m; right is 0.2 to 6 m"),
        (&["set"], "--resupply", "-2", "--resupply is -2 hours; right is 0 to 1000 hours"),
    ] {
        let asked = [&["trip"], command, &files, &[option, value, "--data", &data]].concat();
        let told = run(&asked);
        assert_ne!(told.code, 0, "{option} {value}");
        let told = flat(&told.err);
        assert!(told.contains(option) && told.contains(right), "{option} {value}: {told}");
    }
}

#[test]
fn every_cell_says_what_would_be_right() {
    let folder = fleet();
    let data = data_of(&folder);
    let (segments, needs) = (demo("segments.csv"), demo("trip_needs.csv"));
    let head = "trip_id,boat,angler_skill,job_budget_minutes";
    for (minutes, wrong) in [
        ("99999999999", "column job_budget_minutes: `99999999999` is out of all range"),
        ("1.5", "column job_budget_minutes: `1.5` is no whole number; write one like 8"),
        ("9999", "job_budget_minutes is 9999 minutes; right is 0 to 1440 minutes"),
    ] {
        let row = format!("{head}\nT1,B1,expert,{minutes}\n");
        let long = write(folder.path(), "long.csv", row.as_bytes());
        let files = ["--trips", &long, "--segments", &segments, "--needs", &needs, "--data", &data];
        let told = flat(&run(&[&["trip", "plan"], &files[..]].concat()).code(65).err);
        assert!(told.contains(wrong), "{told}");
    }
}
