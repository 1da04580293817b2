//! The demo fleet on disk: import, list, show, judging by id, trips, and who holds the folder.

#![allow(clippy::unwrap_used, clippy::disallowed_methods, missing_docs, reason = "a test")]

mod common;

use std::fs;

use common::{DEMO, data_of, demo, fleet, program, run, write};

// Source: the demo fleet's files, counted by hand (wc -l less the header).
#[test]
fn a_fleet_is_imported_once_and_listed() {
    let folder = tempfile::tempdir().unwrap();
    let data = data_of(&folder);
    let dry = run(&["gear", "import", DEMO, "--data", &data, "--dry-run"]).code(0);
    dry.says(&["Import: valid", "24"]);
    run(&["gear", "list", "--data", &data]).code(0).warns(&["no items yet"]);
    let done = run(&["gear", "import", DEMO, "--data", &data]).code(0);
    done.says(&["Import: imported", "24", "14", "30"]);
    let again = run(&["gear", "import", DEMO, "--data", &data]).code(65);
    again.says(&["refused"]).warns(&[
        "rods.csv, line 2, column rod_id",
        "nothing was imported",
        "hint: items that are known already",
    ]);
    let rods =
        run(&["gear", "list", "--kind", "rod", "-o", "csv", "--data", &data]).code(0).quiet();
    assert_eq!(rods.out.lines().count(), 25);
    let here =
        run(&["gear", "list", "--kind", "rod", "--place", "B1", "--data", &data, "-o", "jsonl"]);
    let here = here.code(0).out;
    assert!(here.lines().all(|line| line.contains("\"placeId\":\"B1\"")) && !here.is_empty());
}

#[test]
fn lists_come_in_pages() {
    let folder = fleet();
    let data = data_of(&folder);
    let list =
        ["gear", "list", "--kind", "lure", "--data", &data, "-o", "csv", "--page-size", "20"];
    let first = run(&list).code(0).warns(&["20 of 30 items", "--page-token "]);
    let token = first.err.rsplit("--page-token ").next().unwrap().trim().to_owned();
    let second = run(&[&list[..], &["--page-token", &token]].concat()).code(0).quiet();
    let all = run(&["gear", "list", "--kind", "lure", "--data", &data, "-o", "csv"]).code(0).out;
    let rest = second.out.split_once('\n').unwrap().1;
    assert_eq!(first.out + rest, all);
    run(&[&list[..], &["--page-token", "forged"]].concat()).code(65);
}

#[test]
fn an_item_is_shown_or_said_to_be_unknown() {
    let folder = fleet();
    let data = data_of(&folder);
    let shown = run(&["gear", "show", "R06", "--data", &data]).code(0).quiet();
    shown.says(&["Rod R06", "implied power", "Findings", "label differs", "First told by"]);
    run(&["gear", "show", "E08", "--data", &data]).code(0).says(&["Reel E08", "line on it"]);
    let json = run(&["gear", "show", "R06", "--data", &data, "-o", "json"]).code(0).out;
    assert_eq!(serde_json::from_str::<serde_json::Value>(&json).unwrap()["id"], "R06");
    run(&["gear", "show", "R99", "--data", &data]).code(65).warns(&["R99", "hint:", "gear list"]);
}

// Source: the demo story, S03: R14 with L17 is poor and limited by action.
#[test]
fn gear_is_judged_by_its_ids() {
    let folder = fleet();
    let data = data_of(&folder);
    let judged = [
        "judge",
        "--rod",
        "R14",
        "--reel",
        "E08",
        "--lure",
        "L17",
        "--wind",
        "9 m/s into",
        "--leader",
        "7x7 steel wire 14 kg 45 cm",
        "--species",
        "pike",
        "--data",
        &data,
    ];
    run(&judged).code(0).says(&["limited by action", "inline singles"]);
    let unknown = run(&["judge", "--rod", "R98", "--lure", "L17", "--data", &data]).code(65);
    unknown.warns(&["R98"]);
    let ranked = run(&["rank", "--lure", "L17", "--species", "pike", "--data", &data, "-o", "csv"]);
    let ranked = ranked.code(0).out;
    let rods: Vec<&str> = ranked
        .lines()
        .skip(1)
        .map(|line| line.split(',').nth(2).unwrap().split_once('+').unwrap().0)
        .collect();
    let place = |rod: &str| rods.iter().position(|found| *found == rod).unwrap();
    assert!(place("R16") < place("R14"), "{ranked}");
    let mut once = rods.clone();
    once.sort_unstable();
    once.dedup();
    assert_eq!(once.len(), rods.len());
    let compared = run(&["compare", "R14+E08", "R16+E08", "--lure", "L17", "--data", &data]);
    compared.code(0).says(&["R14+E08", "R16+E08", "action"]);
    let lures = run(&["rank", "--rod", "R14+E08", "--data", &data, "--place", "B2"]).code(0);
    lures.says(&["L17"]);
}

// Source: the demo fleet: R23 is retired, R24 on loan, R14 ready.
#[test]
fn gear_that_is_not_ready_is_said_first() {
    let folder = fleet();
    let data = data_of(&folder);
    let judged = |rod: &str, more: &[&str]| {
        let ids = ["judge", "--rod", rod, "--lure", "L17", "--data", &data];
        run(&[&ids[..], more].concat()).code(0)
    };
    let retired = judged("R23", &[]).out;
    assert!(retired.starts_with("! Do not fish it: R23 is retired (because: "), "{retired}");
    assert!(judged("R24", &[]).out.starts_with("! Ask first: R24 is on loan (because: "));
    assert!(!judged("R14", &[]).out.contains("R14 is "));
    judged("R23", &["-o", "csv"]).warns(&["caution: Do not fish it: R23 is retired"]);
    let json = judged("R23", &["-o", "json"]).out;
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    let first = &json["judgement"]["cautions"][0];
    assert_eq!(first["code"], "CAUTION_CODE_CHECK_GEAR");
    assert_eq!(first["text"], "do not fish it: R23 is retired");
    let both = ["compare", "R23", "R24", "--lure", "L17", "--data", &data];
    run(&both).code(0).says(&["! Do not fish it: R23 is retired", "! Ask first: R24 is on loan"]);
    let ranked = ["rank", "--rod", "R14", "--rod", "R24", "--lure", "L17", "--data", &data];
    let ranked = run(&ranked).code(0).says(&["! Ask first: R24 is on loan"]).out;
    assert!(!ranked.contains("R14 is on"), "{ranked}");
}

#[test]
fn an_id_with_other_capitals_is_pointed_at() {
    let folder = fleet();
    let data = data_of(&folder);
    let wrong = ["judge", "--rod", "r14", "--lure", "L17", "--data", &data];
    run(&wrong).code(65).warns(&["r14", "R14 is there: mind the capitals"]);
    run(&["gear", "show", "l17", "--data", &data]).code(65).warns(&["L17 is there"]);
}

// Source: the demo's trip T1; its plan is checked by the tests of planner and server.
#[test]
fn a_trip_is_planned_from_files() {
    let folder = fleet();
    let data = data_of(&folder);
    let (trips, segments, needs) =
        (demo("trips.csv"), demo("segments.csv"), demo("trip_needs.csv"));
    let files = ["--trips", &trips, "--segments", &segments, "--needs", &needs, "--data", &data];
    let plan = ["trip", "plan", "--trip", "T1", "--from", "S0", "--from", "B2"];
    let table = run(&[&plan[..], &files[..]].concat()).code(0);
    assert!(table.out.lines().all(|line| line.chars().count() <= 80), "{}", table.out);
    // A beginner, a middling and a practised hand: what the beginner cannot do as well is told.
    table.says(&["OPTIMAL", "Outfits to take", "Segment a", "Segment b", "Rig card"]).says(&[
        "by: those in whose hands it does that well",
        "A2 A3",
        "  a        A1      O2 R04+E04  L02 excellent",
        "In novice hands (A1): ",
    ]);
    let csv = run(&[&plan[..], &files[..], &["-o", "csv"]].concat()).code(0).out;
    assert!(csv.starts_with("segment_id,lure_id,outfit_id,rod_id,reel_id,"));
    // Common practice, no source: progress goes to stderr, data alone to stdout.
    let told = run(&[&plan[..], &files[..], &["-o", "csv", "--progress"]].concat()).code(0);
    assert_eq!(told.out, csv);
    told.warns(&["waiting"]);
    let unknown = run(&[&["trip", "plan", "--trip", "T9"], &files[..]].concat()).code(65);
    unknown.warns(&["no trip `T9`", "T1, T2"]);
    let bad = fs::read_to_string(&segments).unwrap().replace("perch,boat,5", "perch,boat,five");
    let bad = write(folder.path(), "segments.csv", bad.as_bytes());
    let files = ["--trips", &trips, "--segments", &bad, "--needs", &needs, "--data", &data];
    run(&[&plan[..], &files[..]].concat()).code(65).warns(&["row 1, column depth_m: `five`"]);
}

// Common practice, no source: a guide has guests who think in ounces and others who think in grams.
#[test]
fn plans_and_seasons_speak_of_both_systems() {
    let folder = fleet();
    let data = data_of(&folder);
    let (trips, segments, needs) =
        (demo("trips.csv"), demo("segments.csv"), demo("trip_needs.csv"));
    let files = ["--trips", &trips, "--segments", &segments, "--needs", &needs];
    for (command, has) in [
        (vec!["plan", "--trip", "T1", "--from", "S0", "--from", "B2"], "cure: "),
        (vec!["fleet", "--from", "S0", "--from", "B2"], "Backing goes under it"),
        (vec!["gaps", "--budget", "500", "--price", "casting=180"], "What the budget buys"),
        (vec!["set", "--keep", "R16"], "kept: R16"),
    ] {
        let told = run(&[&["trip"], &command[..], &files, &["--data", &data]].concat()).code(0);
        told.says(&[has]).says_both_systems();
    }
    let lost = run(&["trip", "check", "--boat", "B1", "--lost", "R16", "--data", &data]).code(0);
    lost.says(&["Rig anew", "Rig card"]).says_both_systems();
}

// Source: the demo's trips; their plans are checked by the tests of planner and server.
#[test]
fn boats_are_planned_together_and_a_loss_is_covered() {
    let folder = fleet();
    let data = data_of(&folder);
    let none = run(&["trip", "check", "--lost", "R16", "--data", &data]).code(66);
    none.warns(&["no plan was made"]);
    let (trips, segments, needs) =
        (demo("trips.csv"), demo("segments.csv"), demo("trip_needs.csv"));
    let files = ["--trips", &trips, "--segments", &segments, "--needs", &needs, "--data", &data];
    let plan = [&["trip", "fleet", "--from", "S0", "--from", "B2"], &files[..]].concat();
    let table = run(&plan).code(0);
    assert!(table.out.lines().all(|line| line.chars().count() <= 80), "{}", table.out);
    let table = table.says(&["OPTIMAL", "Tonight's moves", "05:10", "==== T1 B1", "==== T2 B3"]);
    let table = table.says(&[
        "Load list",
        "Starts with",
        "Rig card",
        "the worst single loss",
        "more wind",
        "Return check-list",
    ]);
    // By hand: one pair of hands begins as long before departure as all jobs take.
    for (boat, departs) in [("==== T1 B1", 7 * 60), ("==== T2 B3", 5 * 60 + 30)] {
        let (_, own) = table.out.split_once(boat).unwrap();
        let mut jobs = own.lines().skip_while(|line| !line.starts_with("Do before departure"));
        let heading = jobs.next().unwrap();
        let minutes: i32 = heading.split(' ').find_map(|word| word.parse().ok()).unwrap();
        let begins = departs - minutes;
        let begins = format!("  {:02}:{:02}  O", begins / 60, begins % 60);
        let first = jobs.next().unwrap();
        assert!(first.starts_with(&begins), "{boat}: {heading}: {first}");
    }
    // What the quay needs, and nothing else.
    let brief = run(&[&plan[..], &["--brief"]].concat()).code(0);
    assert!(brief.out.lines().all(|line| line.chars().count() <= 80), "{}", brief.out);
    assert!(brief.out.lines().count() * 2 < table.out.lines().count(), "{}", brief.out);
    let brief =
        brief.says(&["OPTIMAL", "==== T1 B1", "==== T2 B3", "Load, the lightest rod first"]);
    let brief = brief.says(&[
        "R16 with",
        "Starts with",
        "Open",
        "b L30",
        "Bring to the boat",
        "05:10",
        "Do before departure",
        "Cautions",
    ]);
    for left_out in ["Rig card", "Return check-list", "What if", "Not taken", "Segment a"] {
        assert!(!brief.out.contains(left_out), "{left_out}: {}", brief.out);
    }
    let csv = run(&[&plan[..], &["-o", "csv"]].concat()).code(0).out;
    let rows = write(folder.path(), "plan.csv", csv.as_bytes());
    let check = ["trip", "check", "--plan", &rows, "--data", &data];
    run(&check).code(65).warns(&["plan.csv: it is not the JSON of a plan", "-o json"]);
    assert!(csv.contains(",T1,B1") && csv.contains(",T2,B3"));
    // R16 goes to Grebe in this plan: the boat is found by what is lost.
    let lost = run(&["trip", "check", "--lost", "R16", "--data", &data]).code(0);
    lost.says(&["of 15 lures are covered from what is aboard", "- R16 with", "all else stays"]);
    // Fewer outfits are left than people were to fish at once: the trip goes on.
    let fewer = run(&["trip", "check", "--boat", "B3", "--lost", "R22", "--data", &data]).code(0);
    fewer.says(&["1 of 2 fish at once", "takes turns", "7 of 8 lures are covered"]);
    run(&["trip", "check", "--data", &data]).code(2).warns(&["which boat", "B1, B3"]);
    // What nobody has, and what is on two boats.
    let lost = |ids: &[&str]| {
        let ids: Vec<_> = ids.iter().flat_map(|id| ["--lost", id]).collect();
        run(&[&["trip", "check", "--data", &data][..], &ids].concat())
    };
    let nowhere = lost(&["R99"]).code(65).warns(&["--lost R99: not in the inventory"]);
    assert!(!nowhere.err.contains("(id"), "{}", nowhere.err);
    let nowhere = run(&["trip", "check", "--boat", "B1", "--lost", "R99", "--data", &data]);
    nowhere.code(65).warns(&["--lost R99: not in the inventory"]);
    lost(&["r16"]).code(65).warns(&["not in the inventory", "r16", "R16 is there: mind the"]);
    lost(&["R12"]).code(2).warns(&["--lost R12: no plan has it aboard", "B1, B3"]);
    let counted = lost(&["R16=1"]).code(65).warns(&["what --lost names is R16"]);
    let said = counted.err.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains("without a count: --lost R16"), "{said}");
    assert!(!counted.err.contains("lost_item_ids"), "{}", counted.err);
    lost(&["R16", "R22"]).code(2).warns(&["R16 is aboard B1, but R22 aboard B3"]);
    // What this boat has not aboard: where it is; what was wound on: on which reel.
    let of = |boat: &str, id: &str| {
        run(&["trip", "check", "--boat", boat, "--lost", id, "--data", &data])
    };
    of("B1", "R12").code(2).warns(&["--lost R12: it is not aboard B1; it lies at S0"]);
    of("B3", "R16").code(2).warns(&["--lost R16: it is aboard B1, not B3"]);
    for empty in ["", " ", "=1"] {
        of("B1", empty).code(2).warns(&["names nothing", "L10=1"]);
    }
    let wound = of("B3", "K05").code(65).warns(&["what --lost names is K05, which was wound on E"]);
    assert!(wound.err.contains("the reel whose line is lost, E"), "{}", wound.err);
    let tied = of("B1", "K09").code(0).says(&["All of K09 counts as lost", "--lost K09=1"]);
    assert!(!tied.out.contains("place of K09") && !tied.out.contains("Take K09"), "{}", tied.out);
    run(&["trip", "check", "--boat", "B7", "--data", &data]).code(2).warns(&["no plan of it"]);
    let first = run(&[&plan[..], &["-o", "json"]].concat()).code(0).out;
    let first = write(folder.path(), "first.json", first.as_bytes());
    let less = [&plan[..], &["--leave", "B1:R16", "-o", "json"]].concat();
    let second = write(folder.path(), "second.json", run(&less).code(0).out.as_bytes());
    let compared = run(&["trip", "compare", &first, &second]).code(0);
    let compared = compared.says(&["The second plan is worth", "less", "- R16 with"]);
    assert!(!compared.out.contains("another wind"), "{}", compared.out);
    let windier = [&plan[..], &["--more-wind", "2", "-o", "json"]].concat();
    let windier = write(folder.path(), "windier.json", run(&windier).code(0).out.as_bytes());
    let other = run(&["trip", "compare", &first, &windier]).code(0);
    other.says(&["plans of B1 were made for another wind", "plans of B3", "2 m/s"]);
    let same = run(&["trip", "compare", &first, &first]).code(0);
    same.says(&["The second plan is worth as much."]);
    let nothing = write(folder.path(), "nothing.json", b"{}");
    for verb in [vec!["compare", &first, &nothing], vec!["check", "--plan", &nothing]] {
        let said = run(&[&["trip"][..], &verb, &["--data", &data]].concat()).code(65);
        said.warns(&["nothing.json: it holds no plan"]);
    }
    let mut both: serde_json::Value =
        serde_json::from_str(&std::fs::read_to_string(&first).unwrap()).unwrap();
    let line = both["plan"]["plans"][0]["loadList"][0].clone();
    both["plan"]["plans"][1]["loadList"].as_array_mut().unwrap().push(line.clone());
    let both = write(folder.path(), "both.json", both.to_string().as_bytes());
    let id = line["itemId"].as_str().unwrap();
    run(&["trip", "check", "--plan", &both, "--lost", id, "--data", &data])
        .code(2)
        .warns(&[&format!("--lost {id}: it is aboard B1 and B3"), "--boat with one of"]);
    // What one command writes the other reads.
    let again = run(&["trip", "check", "--plan", &first, "--lost", "R16", "--data", &data]).code(0);
    again.says(&["of 15 lures are covered from what is aboard", "Rig card", "Segment b"]);
    let alone = [&["trip", "plan", "--trip", "T1", "-o", "json"], &files[..]].concat();
    let alone = run(&alone).code(3);
    let alone = write(folder.path(), "alone.json", alone.out.as_bytes());
    run(&["trip", "compare", &first, &alone]).code(0).says(&["The second plan is worth"]);
    let check = ["trip", "check", "--plan", &alone, "--lost", "R13", "--data", &data];
    run(&check).code(0).says(&["takes turns", "lures are covered from what is aboard"]);
    let none = br#"{"plan":{"status":"PLAN_STATUS_NOT_FOUND","boatId":"B1"}}"#;
    let none = write(folder.path(), "none.json", none);
    let said = run(&["trip", "compare", &none, &first]).code(65);
    said.warns(&["none.json: it says that there is no plan"]);
    let clash = [&plan[..], &["--take", "B1:R16", "--leave", "B1:R16"]].concat();
    let told = run(&clash).code(3).says(&["INFEASIBLE", "B1 takes R16", "B1 leaves R16"]);
    assert!(!told.err.contains("keeps all limits"), "said twice: {}", told.err);
    let whose = run(&[&plan[..], &["--hold", "B7:b/L17"]].concat()).code(2);
    whose.warns(&["B7 is none of the boats", "B1, B3"]);
    for (option, what) in [("--take", "R14"), ("--hold", "b/L17")] {
        let whose = run(&[&plan[..], &[option, what]].concat()).code(2);
        whose.warns(&["which of the boats, B1, B3?", &format!("{option} B1:{what}")]);
    }
    let hold = ["trip", "plan", "--trip", "T1", "--hold", "b/L17", "--print-request"];
    let asked = run(&[&hold[..], &files[..]].concat()).code(0).out;
    let asked: serde_json::Value = serde_json::from_str(&asked).unwrap();
    assert_eq!(asked["pins"][0]["boatId"], "B1", "{asked}");
}

// Source: the demo's trips; what is found is checked by the tests of the server.
#[test]
fn a_season_says_what_to_buy_and_what_to_own() {
    let folder = fleet();
    let data = data_of(&folder);
    let (trips, segments, needs) =
        (demo("trips.csv"), demo("segments.csv"), demo("trip_needs.csv"));
    let files = ["--trips", &trips, "--segments", &segments, "--needs", &needs, "--data", &data];
    let gaps = ["trip", "gaps", "--days", "T1=12", "--budget", "500", "--price", "casting=180"];
    let found = run(&[&gaps[..], &files[..]].concat()).code(0);
    assert!(found.out.lines().all(|line| line.chars().count() <= 80), "{}", found.out);
    found.says(&["What is owned is worth", "1. adds", "What the budget buys", "On the rack"]);
    let set = ["trip", "set", "--most", "3", "--keep", "R07"];
    let curve = run(&[&set[..], &files[..]].concat()).code(0);
    assert!(curve.out.lines().all(|line| line.chars().count() <= 80), "{}", curve.out);
    curve.says(&["covers", "optimal", "3 outfits", "kept: R07"]);
    let gaps = |more: &[&str]| run(&[&["trip", "gaps"][..], more, &files[..]].concat()).code(0);
    gaps(&["--budget", "1"]).says(&["What the budget buys", "costs so little"]);
    // In an expert's hands such a rod would be good for L30; for a middling crew it is workable.
    let middling = fs::read_to_string(&trips).unwrap().replace(";advanced", ";intermediate");
    let middling = write(folder.path(), "middling.csv", middling.as_bytes());
    let rest = ["--segments", &segments, "--needs", &needs, "--data", &data, "--count", "3"];
    let three = run(&[&["trip", "gaps", "--trips", &middling][..], &rest].concat()).code(0);
    three.says(&["1. adds", "2. adds", "3. adds", "L30 (to workable)"]);
    let bench = run(&[&["trip", "set", "--keep", "R12"], &files[..]].concat()).code(65);
    bench.warns(&["R12, which is in service"]);
    let few =
        run(&[&["trip", "set", "--most", "1", "--keep", "R07", "--keep", "R16"], &files[..]]
            .concat());
    assert!(!few.code(65).err.contains("outfit_count"));
    let wrong = run(&[&["trip", "gaps", "--days", "T9=3"], &files[..]].concat()).code(2);
    wrong.warns(&["no such trip", "T1, T2"]);
}

#[test]
fn a_bad_row_refuses_the_whole_import() {
    let folder = tempfile::tempdir().unwrap();
    let data = data_of(&folder);
    fs::copy(demo("boats.csv"), folder.path().join("boats.csv")).unwrap();
    let rods = fs::read_to_string(demo("rods.csv")).unwrap().replacen("1-5 g", "heavy", 1);
    write(folder.path(), "rods.csv", rods.as_bytes());
    let here = folder.path().display().to_string();
    let refused = run(&["gear", "import", &here, "--data", &data]).code(65);
    refused.says(&["refused"]).warns(&["error: rods.csv, line 2, column lure_raw"]);
    run(&["gear", "list", "--data", &data]).code(0).warns(&["no items yet"]);
    // Under another name a retired rod would be ready; a column of the fleet's own is kept.
    let rods = fs::read_to_string(demo("rods.csv")).unwrap();
    let misspelt = rods.replacen("status", "statuss", 1);
    write(folder.path(), "rods.csv", misspelt.as_bytes());
    let refused = run(&["gear", "import", &here, "--data", &data]).code(65);
    refused.warns(&["rods.csv, line 1, column statuss", "there is no status"]);
    let own = rods.replacen("rod_id", "shelf,rod_id", 1).replace("\nR", "\n3,R");
    write(folder.path(), "rods.csv", own.as_bytes());
    run(&["gear", "import", &here, "--data", &data]).code(0);
    let none = run(&["gear", "list", "--status", "lost", "--data", &data]).code(0);
    let none = none.warns(&["no such item"]);
    assert!(!none.err.contains("import"), "{}", none.err);
}

// Source: sysexits.h, EX_TEMPFAIL 75.
#[test]
fn a_folder_that_another_process_holds_is_named() {
    let folder = fleet();
    let data = data_of(&folder);
    let lock = fs::OpenOptions::new().write(true).open(format!("{data}/holder"));
    let lock = lock.unwrap();
    lock.lock().unwrap();
    let held = run(&["gear", "list", "--data", &data]).code(75);
    held.warns(&["process", "hint:"]);
    // What needs no inventory does not ask for it.
    run(&["model", "--data", &data]).code(0);
    drop(lock);
    run(&["gear", "list", "--data", &data]).code(0);
}

#[test]
fn the_data_folder_has_a_usual_place() {
    let folder = tempfile::tempdir().unwrap();
    let mut command = program(&["gear", "import", DEMO]);
    common::ended(command.env("XDG_DATA_HOME", folder.path())).code(0);
    assert!(folder.path().join("deepbend").is_dir());
}

/// Serves the folder (or nothing) in this process while `work` runs.
fn while_served(data: Option<&str>, token: Option<&str>, work: impl FnOnce(&str)) {
    let runtime = tokio::runtime::Runtime::new().unwrap();
    let config = deepbend_server::Config {
        listen: "127.0.0.1:0".parse().unwrap(),
        data: data.map(Into::into),
        token: token.map(|token| deepbend_server::Token::new(token).unwrap()),
        ..deepbend_server::Config::default()
    };
    let bound = runtime.block_on(deepbend_server::Server::bind(config)).unwrap();
    let address = bound.addr.to_string();
    let (stop, stopped) = tokio::sync::oneshot::channel::<()>();
    let served = runtime.spawn(bound.serve(async { drop(stopped.await) }));
    work(&address);
    drop(stop);
    runtime.block_on(served).unwrap().unwrap();
}

// Common practice, no source: a service that holds the folder is asked, not fought.
#[test]
fn a_service_that_holds_the_folder_is_asked() {
    let folder = fleet();
    let data = data_of(&folder);
    while_served(Some(&data), None, |address| {
        let by_socket = run(&["gear", "list", "-o", "csv", "--data", &data]).code(0).quiet();
        let by_name = run(&["gear", "list", "-o", "csv", "--server", address]).code(0).quiet();
        assert_eq!(by_socket.out, by_name.out);
        let mut command = program(&["gear", "list", "-o", "csv"]);
        let by_environment = common::ended(command.env("DEEPBEND_SERVER", address)).code(0);
        assert_eq!(by_environment.out, by_name.out);
    });
    // What it left behind does not stand in the way.
    write(folder.path(), "data/deepbendd.sock", b"");
    run(&["gear", "list", "--data", &data]).code(0).quiet();
}

// Source: sysexits.h, EX_NOPERM 77.
#[test]
fn a_service_may_ask_for_a_token_or_have_no_inventory() {
    let folder = tempfile::tempdir().unwrap();
    let token = write(folder.path(), "token", b"0123456789abcdef0123\n");
    while_served(None, Some("0123456789abcdef0123"), |address| {
        run(&["model", "--server", address]).code(77);
        run(&["model", "--server", address, "--token-file", &token]).code(0);
        let none = ["gear", "list", "--server", address, "--token-file", &token];
        run(&none).code(1).warns(&["no inventory", "hint:", "gear import"]);
    });
}

// Source: timeout(1) of coreutils, 124.
#[test]
fn a_deadline_that_passes_has_its_own_code() {
    let folder = tempfile::tempdir().unwrap();
    let rows = "casting,10,30,crankbait,18\n".repeat(20_000);
    let text =
        format!("handle,lure_rating_min_g,lure_rating_max_g,lure_class,lure_rigged_g\n{rows}");
    let file = write(folder.path(), "rows.csv", text.as_bytes());
    let ended = run(&["judge", "--cases", &file, "-o", "csv", "--deadline", "1ms"]).code(124);
    ended.warns(&["hint:", "--deadline"]);
}
