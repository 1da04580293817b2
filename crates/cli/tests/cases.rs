//! Case files: every row gets its line, in order, whatever is wrong with others.

#![allow(clippy::unwrap_used, clippy::disallowed_methods, missing_docs, reason = "a test")]

mod common;

use common::{run, run_with};

const CASES: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/cases.csv");
const HEADER: &str = "id,verdict,score,score_low,score_high,limiting_factor,model";
const SMALL: &str = "id,handle,lure_rating_min_g,lure_rating_max_g,lure_class,lure_rigged_g";

fn judge(text: &[u8]) -> common::Ended {
    run_with(&["judge", "--cases", "-", "-o", "csv"], text)
}

/// Verdicts by id, after a check of each line's form.
fn verdicts(out: &str) -> Vec<(String, String)> {
    let mut lines = out.lines();
    assert_eq!(lines.next(), Some(HEADER));
    lines
        .map(|line| {
            let cells: Vec<&str> = line.split(',').collect();
            assert_eq!(cells.len(), 7, "{line}");
            if cells[1] == "invalid" {
                assert!(cells[2..].iter().all(|cell| cell.is_empty()), "{line}");
            } else {
                for number in &cells[2..5] {
                    assert_eq!(number.split_once('.').unwrap().1.len(), 6, "{line}");
                    assert!((0.0..=1.0).contains(&number.parse::<f64>().unwrap()), "{line}");
                }
                assert!(cells[6].starts_with("deepbend-"), "{line}");
            }
            (cells[0].to_owned(), cells[1].to_owned())
        })
        .collect()
}

fn row_of(line: &str) -> Vec<u8> {
    format!("{SMALL}\n{line}\n").into_bytes()
}

// Source: the page on the columns of a case file (header, order, six decimals).
#[test]
fn every_row_is_judged_in_order() {
    let first = run(&["judge", "--cases", CASES, "-o", "csv"]).code(0).quiet();
    let found = verdicts(&first.out);
    let ids: Vec<&str> = found.iter().map(|(id, _)| id.as_str()).collect();
    assert_eq!(ids, ["home", "overload", "trebles", "sparse"]);
    assert_eq!(found[1].1, "unsafe");
    assert!(first.out.lines().nth(2).unwrap().starts_with("overload,unsafe,0.000000,"));
    // Same input, same model: same bytes.
    assert_eq!(run(&["judge", "--cases", CASES, "-o", "csv"]).out, first.out);
}

// Source: the page on the columns of a case file (unknown columns, empty cells).
#[test]
fn spreadsheets_are_read_as_they_are_saved() {
    let plain = judge(&row_of("a,casting,10,30,crankbait,18")).code(0).quiet().out;
    let text = String::from_utf8(row_of("a,casting,10,30,crankbait,18")).unwrap();
    let with_bom = [b"\xef\xbb\xbf", text.as_bytes()].concat();
    let crlf = text.replace('\n', "\r\n").into_bytes();
    let quoted = text.replace("casting", "\" casting \"").into_bytes();
    let more = format!("{SMALL},drag_kg,colour\na,casting,10,30,crankbait,18,,red\n").into_bytes();
    let turned = b"lure_rigged_g,lure_class,lure_rating_max_g,lure_rating_min_g,handle,id\n\
        18,crankbait,30,10,casting,a\n"
        .to_vec();
    let short = format!("{SMALL},drag_kg\na,casting,10,30,crankbait,18\n").into_bytes();
    let told = judge(&more).code(0);
    assert_eq!(told.out, plain);
    told.warns(&["note: columns that are not read: colour"]);
    for same in [with_bom, crlf, quoted, turned, short] {
        let ended = judge(&same).code(0).quiet();
        assert_eq!(ended.out, plain, "{}", String::from_utf8_lossy(&same));
    }
    assert_eq!(judge(format!("{SMALL}\n").as_bytes()).code(0).out, format!("{HEADER}\n"));
}

// Source: the page on the columns of a case file (invalid rows); the bounds are the contract's.
#[test]
fn a_faulty_row_is_named_and_spoils_no_other() {
    for (line, column) in [
        ("b,harpoon,10,30,crankbait,18", "handle"),
        ("b,casting,30,10,crankbait,18", "lure_rating_min_g"),
        ("b,casting,10,30,crankbait,NaN", "lure_rigged_g"),
        ("b,casting,10,30,crankbait,inf", "lure_rigged_g"),
        ("b,casting,10,30,crankbait,-18", "lure_rigged_g"),
        ("b,casting,10,30,crankbait,1e300", "lure_rigged_g"),
        ("b,casting,10,30,crankbait,18 g", "lure_rigged_g"),
        ("b,casting,10,30,crankbait,\"18,5\"", "lure_rigged_g"),
        ("b,casting,10,30,anchor,18", "lure_class"),
    ] {
        let good = "casting,10,30,crankbait,18";
        let text = format!("{SMALL}\na,{good}\n{line}\nc,{good}\n");
        let ended = judge(text.as_bytes()).code(65);
        let found = verdicts(&ended.out);
        let ids: Vec<&str> = found.iter().map(|(id, _)| id.as_str()).collect();
        assert_eq!(ids, ["a", "b", "c"]);
        assert_eq!(found[1].1, "invalid", "{line}");
        assert_eq!(found[0].1, found[2].1);
        assert_ne!(found[0].1, "invalid");
        ended.warns(&[&format!("row 2, column {column}: "), "1 of 3 rows are invalid"]);
    }
}

#[test]
fn all_faults_of_a_row_are_named() {
    let ended = judge(&row_of("a,harpoon,ten,30,anchor,18")).code(65);
    ended.warns(&["column handle", "column lure_rating_min_g", "column lure_class"]);
    let ended = judge(&row_of("a,casting,-1,1e9,crankbait,18")).code(65);
    ended.warns(&["column lure_rating_min_g", "column lure_rating_max_g"]);
    let enormous = format!("a,casting,10,30,crankbait,{}", "9".repeat(100_000));
    judge(&row_of(&enormous)).code(65).warns(&["row 1, column lure_rigged_g"]);
    let long = format!("{SMALL},species\na,casting,10,30,crankbait,18,{}\n", "x".repeat(500_000));
    judge(long.as_bytes()).code(65).warns(&["row 1"]);
    let not_text = [row_of("a,casting,10,30,crankbait,18"), b"\xff\xfe,,,,,\n".to_vec()].concat();
    let ended = judge(&not_text).code(65);
    assert_eq!(verdicts(&ended.out)[1].1, "invalid");
}

// Source: the page on the columns of a case file (nearest class, with a finding).
#[test]
fn a_near_word_is_judged_and_said() {
    let ended = judge(&row_of("a,casting,10,30,spinner,18")).code(0);
    assert_ne!(verdicts(&ended.out)[0].1, "invalid");
    ended.warns(&["row 1, column lure_class: `spinner` judged as inline_spinner"]);
}

// Common practice, no source: more rows than one message of the stream holds, faulty ones between.
#[test]
fn long_files_keep_their_order() {
    let mut text = format!("{SMALL}\n");
    for i in 0..2600 {
        let mass = if i % 512 == 0 { "heavy".to_owned() } else { format!("{}", 5 + i % 30) };
        text.push_str(&format!("r{i},casting,10,30,crankbait,{mass}\n"));
    }
    let ended = judge(text.as_bytes()).code(65);
    let found = verdicts(&ended.out);
    assert_eq!(found.len(), 2600);
    for (i, (id, verdict)) in found.iter().enumerate() {
        assert_eq!(*id, format!("r{i}"));
        assert_eq!(verdict == "invalid", i % 512 == 0);
    }
    // Same rows, same answers, wherever in the stream they stand.
    let scores: Vec<&str> =
        ended.out.lines().skip(1).map(|l| l.split_once(',').unwrap().1).collect();
    assert_eq!(scores[1], scores[1501]);
    ended.warns(&["6 of 2600 rows are invalid"]);
}

// Source: the contract's own JSON mapping (protobuf.dev, ProtoJSON format).
#[test]
fn other_formats_tell_the_same() {
    let file = row_of("a,casting,10,30,crankbait,18\nb,harpoon,10,30,crankbait,18");
    let csv = judge(&file).code(65);
    let score: f64 = csv.out.lines().nth(1).unwrap().split(',').nth(2).unwrap().parse().unwrap();
    let json = run_with(&["judge", "--cases", "-", "-o", "json"], &file).code(65);
    let json: serde_json::Value = serde_json::from_str(&json.out).unwrap();
    assert_eq!(json["model"]["name"], "deepbend");
    assert!((json["results"][0]["score"].as_f64().unwrap() - score).abs() < 1e-6);
    assert_eq!(json["results"][1]["faults"][0]["field"], "handle");
    let lines = run_with(&["judge", "--cases", "-", "-o", "jsonl"], &file).code(65);
    let second: serde_json::Value =
        serde_json::from_str(lines.out.lines().nth(1).unwrap()).unwrap();
    assert_eq!(second, json["results"][1]);
    let table = run_with(&["judge", "--cases", "-"], &file).code(65);
    table.says(&["id", "verdict", "a ", "invalid"]);
}

// Common practice, no source: what says nothing is no description.
#[test]
fn rows_that_say_nothing_are_invalid() {
    for (line, columns) in [
        (",,,,,", &["column outfit: says nothing", "column lure: says nothing"][..]),
        ("short,spinning", &["column lure: says nothing; right is at least class or rigged mass"]),
        ("c,,,,crankbait,18", &["column outfit: says nothing; right is at least one of the rod's"]),
    ] {
        let ended = judge(&row_of(line)).code(65);
        assert_eq!(verdicts(&ended.out)[0].1, "invalid", "{line}");
        ended.warns(columns);
    }
}

// Source: the contract, JudgeBatchResult.findings.
#[test]
fn an_unknown_species_does_not_pass_silently() {
    let text = format!("{SMALL},species\na,casting,10,30,crankbait,18,moonfish\n");
    judge(text.as_bytes()).code(0).warns(&["note: row 1 (a), column species: ", "moonfish"]);
}

// Source: the behaviour of other programs in a pipe (`head` closes it early).
#[test]
fn a_pipe_that_closes_early_is_no_panic() {
    use std::process::Stdio;
    let folder = tempfile::tempdir().unwrap();
    let rows = "a,casting,10,30,crankbait,18\n".repeat(20_000);
    let file = common::write(folder.path(), "big.csv", format!("{SMALL}\n{rows}").as_bytes());
    let mut command = common::program(&["judge", "--cases", &file, "-o", "csv"]);
    let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    drop(child.stdout.take());
    let ended = child.wait_with_output().unwrap();
    let err = String::from_utf8_lossy(&ended.stderr);
    assert!(!err.contains("panicked"), "{err}");
    assert_eq!(ended.status.code(), Some(0), "{err}");
}

// Common practice, no source: a misspelt column is told; a bench test is read.
#[test]
fn a_column_that_is_not_read_is_told_and_a_bench_test_counts() {
    let with = |column: &str, cell: &str| {
        let text = format!("{SMALL},{column}\na,casting,10,30,crankbait,18,{cell}\n");
        judge(text.as_bytes()).code(0)
    };
    let misspelt = with("third_drop_mas_g", "900");
    assert_ne!(with("third_drop_mass_g", "900").out, misspelt.out);
    misspelt.warns(&["note: columns that are not read: third_drop_mas_g"]);
    assert!(!with("reason", "a remark").err.contains("not read"));
}
