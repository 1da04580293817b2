//! What needs no service: help, exit codes, completions, and what is refused at once.

#![allow(clippy::unwrap_used, clippy::disallowed_methods, missing_docs, reason = "a test")]

mod common;

use common::{demo, program, run, run_with, write};

// Source: sysexits.h for 65, 66, 69, 75 and 77; timeout(1) of coreutils for 124.
#[test]
fn exit_codes_are_told() {
    let codes = "\
How commands end:
   0  done; also when the reader of the output has gone away
   1  failed
   2  the command line is wrong
   3  the answer is printed, but the trip has no plan
  65  the input has faults; what could be judged is printed
  66  a file cannot be read
  69  the service does not answer
  75  the data folder is held by another process
  77  the service refuses this caller
 124  the deadline passed

How deepbendd ends:
   0  it was told to end, or its work on the data folder is done
  64  a setting or the command line cannot be used
  65  a backup is damaged
  69  the address cannot be used, or the network failed
  74  the data folder or a file cannot be used, or the disk is full
  75  the data folder is held by another process
";
    assert_eq!(run(&["help", "exit-codes"]).code(0).quiet().out, codes);
}

// Common practice, no source: help on stdout with 0, a wrong command line on stderr with 2.
#[test]
fn help_is_data_and_mistakes_are_not() {
    run(&["--help"]).code(0).quiet().says(&["judge", "rank", "compare", "gear", "trip", "model"]);
    run(&["help", "trip", "plan"]).code(0).quiet().says(&["--segments", "--from"]);
    for wrong in [
        vec![],
        vec!["help", "nonsense"],
        vec!["judge"],
        vec!["judge", "--rod", "R14"],
        vec!["rank"],
        vec!["judge", "--cases", "x.csv", "--rod", "R14"],
        vec!["trip", "plan"],
        vec!["trip", "plan", "--trips", "x.csv"],
        vec!["judge", "--deadline", "soon", "--rod", "R14", "--lure", "L1"],
        vec!["gear", "list", "--kind", "boot"],
        vec!["gear", "list", "--page-size", "0"],
        vec!["model", "--output", "xml"],
        vec!["demo", "-o", "json"],
    ] {
        let ended = run(&wrong).code(2);
        assert_eq!(ended.out, "", "{wrong:?}");
        assert!(!ended.err.is_empty(), "{wrong:?}");
    }
}

// Source: no-color.org (any value switches colour off). Nothing of ours is coloured at all.
#[test]
fn nothing_is_coloured() {
    let mut command = program(&["judge", "--nonsense"]);
    for ended in [run(&["--help"]), common::ended(command.env("NO_COLOR", "1"))] {
        assert!(!ended.out.contains('\u{1b}') && !ended.err.contains('\u{1b}'));
    }
}

#[test]
fn completions_name_the_commands() {
    for shell in ["bash", "zsh", "fish"] {
        run(&["completions", shell]).code(0).quiet().says(&["judge", "completions"]);
    }
}

// Source: the form of a case file; faults name the file and what would be right.
#[test]
fn files_that_cannot_be_used_are_named() {
    let folder = tempfile::tempdir().unwrap();
    run(&["judge", "--cases", "no-such-file.csv"]).code(66).warns(&["no-such-file.csv"]);
    let semicolons = write(folder.path(), "s.csv", b"id;handle;lure_class\n1;casting;minnow\n");
    let ended = run(&["judge", "--cases", &semicolons, "-o", "csv"]).code(65);
    assert!(ended.err.contains("no column of a case file") && ended.err.contains("hint:"));
    assert_eq!(ended.out, "");
    let notes = write(folder.path(), "notes.csv", b"rod_id\nR1\n");
    run(&["gear", "import", &notes]).code(2).warns(&["notes.csv", "rods.csv"]);
    run(&["gear", "import", &folder.path().display().to_string()]).code(66);
    run(&["trip", "plan", "--request", &notes]).code(65).warns(&["notes.csv", "PlanTripRequest"]);
}

// Source: the contract's own JSON mapping (protobuf.dev, ProtoJSON format).
#[test]
fn requests_can_be_printed_instead_of_sent() {
    let plan = ["trip", "plan", "--print-request", "--trip", "T1", "--from", "S0=90000"];
    let (trips, segments, needs) =
        (demo("trips.csv"), demo("segments.csv"), demo("trip_needs.csv"));
    let files = ["--trips", &trips, "--segments", &segments, "--needs", &needs];
    let ended = run(&[&plan[..], &files[..]].concat()).code(0).quiet();
    let json: serde_json::Value = serde_json::from_str(&ended.out).unwrap();
    assert_eq!(json["trip"]["boatId"], "B1");
    assert_eq!(json["trip"]["needs"].as_array().unwrap().len(), 15);
    assert_eq!(json["pool"][0]["moveCostMicros"], "90000");
    // What was printed is taken back as a request.
    let again =
        run_with(&["trip", "plan", "--request", "-", "--print-request"], ended.out.as_bytes());
    assert_eq!(again.code(0).out, ended.out);
    let list = run(&["gear", "list", "--kind", "rod", "--status", "on-loan", "--print-request"]);
    let json: serde_json::Value = serde_json::from_str(&list.code(0).out).unwrap();
    assert_eq!(json["filter"]["statuses"][0], "ITEM_STATUS_ON_LOAN");
}

// Common practice, no source: port 9 (discard) is closed on a machine of today.
#[test]
fn a_server_that_is_not_there_is_unavailable() {
    let ended = run(&["model", "--server", "127.0.0.1:9"]).code(69);
    assert!(ended.err.contains("127.0.0.1:9 does not answer") && ended.err.contains("hint:"));
    assert_eq!(ended.out, "");
}

// Common practice, no source: who asks for TLS is not answered in plain text.
#[test]
fn an_address_with_tls_is_refused() {
    for address in ["https://127.0.0.1:9", "HTTPS://127.0.0.1:9"] {
        let what = "this build speaks plain HTTP/2, without TLS: use";
        run(&["model", "--server", address]).code(2).warns(&[what]);
        let folder = tempfile::tempdir().unwrap();
        run(&["sync", address, "--data", folder.path().to_str().unwrap()]).code(2).warns(&[what]);
    }
}

// Common practice, no source: a variable that is set to nothing is not set.
#[test]
fn an_empty_variable_is_none() {
    let mut asked = program(&["model", "--server", "127.0.0.1:9", "--data", "there"]);
    for name in ["DEEPBEND_DATA", "DEEPBEND_SERVER", "DEEPBEND_DEVICE", "DEEPBEND_TOKEN_FILE"] {
        asked.env(name, "");
    }
    // It comes as far as asking.
    assert_eq!(asked.output().unwrap().status.code(), Some(69));
}

// Common practice, no source: what is missing is told with all that would do.
#[test]
fn three_files_would_do_as_well_as_a_request() {
    for command in ["plan", "fleet", "gaps", "set"] {
        run(&["trip", command]).code(2).warns(&["--trips <FILE>|--request <FILE>"]);
    }
}
