//! Judging, ranking, comparing and reading gear that is described in words.

#![allow(clippy::unwrap_used, clippy::disallowed_methods, missing_docs, reason = "a test")]

mod common;

use common::{Ended, program, run, write};

const ROD: &str = "7'2\" MH fast casting graphite 3/8-1 oz 12-20 lb";

fn judged(more: &[&str]) -> Ended {
    let words = [
        "judge",
        "--rod",
        ROD,
        "--line",
        "braid PE 1.5 (13 kg)",
        "--leader",
        "7x7 steel wire 14 kg 45 cm",
        "--drag",
        "2.2 kg",
        "--lure",
        "crankbait 18 g 2 trebles",
        "--wind",
        "9 m/s into",
        "--species",
        "pike",
        "--platform",
        "boat",
        "--cover",
        "weed",
        "--skill",
        "intermediate",
    ];
    run(&[&words[..], more].concat())
}

// Source: NIST SP 811 for the two unit systems; 80 columns: common practice, no source.
#[test]
fn one_judgement_is_told_in_eighty_columns() {
    let ended = judged(&[]).code(0);
    assert!(ended.out.lines().all(|line| line.chars().count() <= 80), "{}", ended.out);
    ended.says(&[
        "limited by",
        "Factors",
        "Settings",
        " kg (",
        " oz)",
        " ft)",
        "Assumed, since not given",
        "Cautions",
        "Wear life-jackets",
        "Model deepbend-",
    ]);
}

#[test]
fn no_inventory_is_opened_for_words() {
    let mut command = program(&["gear", "read", ROD, "--kind", "rod", "--data", "/nowhere/at/all"]);
    common::ended(&mut command).code(0).says(&["2.18 m (7'2\")", "10.6-28.3 g (0.38-1.00 oz)"]);
}

#[test]
fn explanations_are_as_long_as_asked_for() {
    let short = judged(&["--explain", "none"]).code(0).out;
    assert_eq!(short.lines().count(), 1, "{short}");
    let summary = judged(&["--explain", "summary"]).code(0).out;
    assert!(!summary.contains("Factors") && summary.contains("Cautions"), "{summary}");
    assert!(summary.starts_with(short.trim_end()));
}

// Source: the contract's own JSON mapping (protobuf.dev, ProtoJSON format).
#[test]
fn formats_tell_the_same() {
    let csv = judged(&["-o", "csv"]).code(0).out;
    let mut lines = csv.lines();
    assert_eq!(lines.next(), Some("id,verdict,score,score_low,score_high,limiting_factor,model"));
    let row: Vec<&str> = lines.next().unwrap().split(',').collect();
    let json = judged(&["-o", "json"]).code(0).out;
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    let judgement = &json["judgement"];
    assert_eq!(judgement["verdict"], format!("VERDICT_{}", row[1].to_uppercase()));
    assert!(judgement["factors"].as_array().unwrap().len() > 8);
    let line = judged(&["-o", "jsonl"]).code(0).out;
    assert_eq!(line.lines().count(), 1);
    assert_eq!(serde_json::from_str::<serde_json::Value>(&line).unwrap(), json);
}

#[test]
fn a_request_is_printed_with_its_words_read() {
    let out = judged(&["--print-request", "--set", "compose.tie=0.02"]).code(0).out;
    let json: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert_eq!(json["outfit"]["line"]["material"], "LINE_MATERIAL_BRAID");
    assert_eq!(json["outfit"]["rod"]["handle"], "HANDLE_CASTING");
    assert_eq!(json["water"]["windDirection"], "WIND_DIRECTION_INTO");
    assert_eq!(json["overrides"]["compose.tie"], 0.02);
}

#[test]
fn what_is_wrong_is_said_with_its_option() {
    judged(&["--hookset", "pray"]).code(65).warns(&["--hookset: `pray` is none of sweep"]);
    judged(&["--depth", "deep"]).code(65).warns(&["--depth: "]);
    judged(&["--temperature", "400"]).code(65).warns(&["water_temperature_c", "-3 to 45"]);
    judged(&["--fish", "-4"]).code(65).warns(&["fish"]);
    let windy = ["judge", "--rod", ROD, "--lure", "jig 14 g", "--wind", "-5"];
    run(&windy).code(65).warns(&["wind"]);
    judged(&["--depth", "-3 m"]).code(65).warns(&["depth"]);
    judged(&["--set", "tie"]).code(2).warns(&["KEY=NUMBER"]);
    judged(&["--set", "no.such.key=1"]).code(65).warns(&["no.such.key"]);
}

#[test]
fn gear_that_says_nothing_is_refused() {
    let ended = run(&["judge", "--rod", "so and so", "--lure", "jig 14 g"]).code(65);
    ended.warns(&["outfit says nothing; right is at least one of the rod's ratings"]);
    let ended = run(&["compare", "7 ft 10-30 g", "so and so", "--lure", "jig 14 g"]).code(65);
    ended.warns(&["second.outfit says nothing"]);
    let lures = ["--lure", "this and that", "--lure", "jig 14 g"];
    let ended = run(&[&["rank", "--rod", "7 ft 10-30 g"], &lures[..]].concat()).code(65);
    ended.warns(&["lures[0].lure says nothing"]);
}

#[test]
fn odd_texts_are_said_on_stderr() {
    let ended = run(&["judge", "--rod", "7 ft casting purple 10-30 g", "--lure", "minnow 12,5 g"]);
    ended.code(0).warns(&["note: --rod: ", "purple", "note: --lure: ", "12.5"]);
}

// Source: the trade's rule that a composite, slower rod keeps trebles (domain notes; practice).
#[test]
fn a_comparison_names_both_and_the_largest_difference_first() {
    let first = "7'2\" MH moderate casting composite 10-30 g 12-20 lb";
    let second = "7'2\" MH extra fast casting graphite 10-30 g 12-20 lb";
    let shared =
        ["--line", "braid 13 kg", "--lure", "crankbait 18 g 2 trebles", "--species", "pike"];
    let table = run(&[&["compare", first, second], &shared[..]].concat()).code(0);
    assert!(table.out.lines().all(|line| line.chars().count() <= 80), "{}", table.out);
    table.says(&["largest difference first", "first", "second", "action"]);
    let csv = run(&[&["compare", first, second, "-o", "csv"], &shared[..]].concat()).code(0).out;
    let rows: Vec<Vec<&str>> = csv.lines().skip(1).map(|l| l.split(',').collect()).collect();
    assert_eq!(rows[0][0], "action");
    let by =
        |row: &Vec<&str>| (row[1].parse::<f64>().unwrap() - row[2].parse::<f64>().unwrap()).abs();
    assert!(rows.windows(2).all(|pair| by(&pair[0]) >= by(&pair[1])), "{csv}");
}

#[test]
fn rows_of_a_case_file_can_be_ranked_and_compared() {
    let folder = tempfile::tempdir().unwrap();
    let text = "id,handle,rod_action,rod_material,lure_rating_min_g,lure_rating_max_g,lure_class,\
                lure_rigged_g,hook_style,species\n\
                slow,casting,moderate,composite,10,30,crankbait,18,treble,pike\n\
                quick,casting,extra_fast,graphite,10,30,crankbait,18,treble,pike\n\
                heavy,casting,fast,graphite,80,200,crankbait,18,treble,pike\n";
    let file = write(folder.path(), "rows.csv", text.as_bytes());
    let ranked = run(&["rank", "--cases", &file, "-o", "csv"]).code(0).out;
    let labels: Vec<&str> = ranked.lines().skip(1).map(|l| l.split(',').nth(2).unwrap()).collect();
    assert_eq!(labels[0], "slow");
    assert_eq!(labels.len(), 3);
    run(&["rank", "--cases", &file, "--top", "1"]).code(0).says(&["slow"]).warns(&["2 more"]);
    run(&["compare", "slow", "quick", "--cases", &file]).code(0).says(&["slow", "quick"]);
    run(&["compare", "slow", "none", "--cases", &file]).code(65).warns(&["no row `none`"]);
    let mixed = write(
        folder.path(),
        "mixed.csv",
        text.replace("18,treble", "9,treble")
            .replacen("9,treble", "18,single", 1)
            .replacen("moderate", "slow", 1)
            .as_bytes(),
    );
    run(&["rank", "--cases", &mixed]).code(65).warns(&["differ in both outfit and lure"]);
}

#[test]
fn lures_are_ranked_for_an_outfit() {
    let lures = ["--lure", "jig 14 g", "--lure", "crankbait 18 g 2 trebles", "--lure", "jig 90 g"];
    let ended = run(&[&["rank", "--rod", ROD], &lures[..]].concat()).code(0);
    ended.says(&["jig 14 g", "jig 90 g", "why not"]);
    let both = ["--rod", "7 ft casting 10-30 g"];
    run(&[&["rank", "--rod", ROD], &both[..], &lures[..]].concat()).code(2);
}

#[test]
fn the_model_is_told() {
    run(&["model"]).code(0).quiet().says(&["deepbend", "hash"]);
    run(&["model", "species", "--find", "pike"]).code(0).says(&["pike", "Esox lucius"]);
    run(&["model", "classes", "-o", "csv"]).code(0).says(&["crankbait", "umbrella_rig"]);
    for part in ["species", "parameters"] {
        let table = run(&["model", part]).code(0).out;
        let wide = table.lines().find(|line| line.chars().count() > 80);
        assert_eq!(wide, None, "{part}");
    }
    run(&["model", "species"]).code(0).says(&["sea_run_brown_trout", "european_perch"]);
    let csv = run(&["model", "parameters", "-o", "csv"]).code(0).out;
    assert!(csv.lines().count() > 50, "{csv}");
    let json = run(&["model", "parameters", "--find", "compose.tie", "-o", "json"]).code(0).out;
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!(json["parameters"].as_array().unwrap().len(), 1);
}

// Source: the behaviour of other programs in a pipe (`head` closes it early).
#[test]
fn a_reader_that_goes_away_is_no_failure() {
    let mut command = program(&["model", "parameters"]);
    command.stdout(std::process::Stdio::piped()).stderr(std::process::Stdio::piped());
    let mut child = command.spawn().unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(0));
    assert!(output.stderr.is_empty(), "{}", String::from_utf8_lossy(&output.stderr));
}
