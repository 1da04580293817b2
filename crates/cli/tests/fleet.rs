//! What a guide types on two boats that are out of reach of each other.

#![allow(clippy::unwrap_used, clippy::disallowed_methods, missing_docs, reason = "a test")]

mod common;

use std::path::Path;

use common::{Ended, demo, ended, program};

fn on(folder: &Path, device: &str, args: &[&str]) -> Ended {
    let mut command = program(args);
    command.env("DEEPBEND_DATA", folder).env("DEEPBEND_DEVICE", device);
    ended(command.env_remove("DEEPBEND_ACTOR"))
}

// Source: the demo's expected_story.csv, S06 and S08, one short line each.
#[test]
fn two_boats_record_and_settle() {
    let (a, b) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let b1 = |args: &[&str]| on(a.path(), "B1-tablet", args);
    let b2 = |args: &[&str]| on(b.path(), "B2-tablet", args);
    b1(&["gear", "import", demo("").as_str()]).code(0);
    // The other boat's service runs; this boat's program opens its own folder.
    let peer = Peer::start(b.path());
    b1(&["sync", &peer.address]).code(0).says(&["sent "]);
    let there = |args: &[&str]| {
        let args: Vec<_> = args.iter().copied().chain(["--server", &peer.address]).collect();
        b2(&args)
    };
    b1(&["log", "moved", "R17", "B1"]).code(0).quiet().says(&["recorded B1-tablet."]);
    let said = there(&["log", "moved", "R17", "B3"]).code(0).says(&["recorded B2-tablet."]).out;
    let moved = said.split(' ').nth(1).unwrap();
    assert!(moved.ends_with(".1") && said.ends_with("R17\n"), "{said}");
    b1(&["log", "lost", "L30", "1", "--seen"]).code(0);
    there(&["log", "counted", "L30", "3"]).code(0);
    b1(&["log", "broke", "R15"]).code(0);
    there(&["log", "respooled", "E08", "PE 2 (40 lb)", "--from", "K04", "--metres", "150"]).code(0);
    b1(&["sync", &peer.address]).code(0).says(&["sent 3, received 3"]);
    b1(&["sync", &peer.address]).code(0).says(&["sent 0, received 0"]);
    let told = b1(&["contested"]).code(0).says(&[
        "R17 rod",
        "deepbend log moved R17 B1 --seen",
        "deepbend log moved R17 B3 --seen",
        "deepbend log counted L30 2",
    ]);
    assert_eq!(there(&["contested"]).code(0).out, told.out);
    b1(&["log", "moved", "R17", "B1", "--seen"]).code(0).quiet();
    b1(&["log", "counted", "L30", "2", "--seen"]).code(0).quiet();
    b1(&["contested"]).code(0).warns(&["nothing is contested"]);
    // A line that is settled on stays as old as it was.
    let first = ["log", "respooled", "E09", "PE 2 (40 lb)", "--length", "120"];
    b1(&[&first[..], &["--time", "2029-05-01T08:00:00Z"]].concat()).code(0);
    let typed = there(&["log", "respooled", "E09", "PE 1 (9 kg)", "--typed"]).code(0).out;
    b1(&["log", "used", "E09", "190 h"]).code(0);
    b1(&["sync", &peer.address]).code(0);
    let wrong = ["log", "wrong", typed.split(' ').nth(1).unwrap(), "measured"];
    let told = b1(&["contested"]).code(0);
    told.says(&["E09 reel: line", &format!("deepbend {} \"measured\"", wrong[..3].join(" "))]);
    b1(&wrong).code(0);
    b1(&["contested"]).code(0).warns(&["nothing is contested"]);
    let shown = flat(&b1(&["gear", "show", "E09"]).code(0).out);
    for part in ["line left 120 m", "spooled 2029-05-01", "fished 190 h"] {
        assert!(shown.contains(part), "no `{part}` in {shown}");
    }
    b1(&["history", "R17"]).code(0).says(&["moved to B3", moved]);
    b1(&["due", "--on", "2031-09-16"]).code(0).says(&["E03", "E10"]);
    b1(&["stocktake", "B1", "R17", "R17", "R11", "X99"]).code(0).says(&[
        "double tag",
        "misplaced",
        "extra",
        "missing",
    ]);
    b1(&["log", "inspected", "R23", "excellent", "looked"]).code(2);
    b1(&["log", "moved", "R99", "B1"]).code(65).warns(&["R99"]);
}

/// A service of another boat, on a thread of its own.
struct Peer {
    address: String,
    end: Option<tokio::sync::oneshot::Sender<()>>,
    thread: Option<std::thread::JoinHandle<()>>,
}

impl Peer {
    fn start(folder: &Path) -> Self {
        Self::set(folder, "B2-tablet", &[])
    }

    /// With settings as `deepbendd` takes them.
    fn set(folder: &Path, device: &str, settings: &[&str]) -> Self {
        let folder = folder.display().to_string();
        let own = ["deepbendd", "--data", &folder, "--device", device, "--listen", "127.0.0.1:0"];
        let args = own.iter().chain(settings).map(Into::into);
        let loaded = deepbend_server::config::load(args, |_| None).unwrap();
        let deepbend_server::config::Loaded::Run(config) = loaded else { panic!("{loaded:?}") };
        let (tell, told) = std::sync::mpsc::channel();
        let (end, ended) = tokio::sync::oneshot::channel();
        let thread = std::thread::spawn(move || {
            let runtime = tokio::runtime::Runtime::new().unwrap();
            runtime.block_on(async {
                let bound = deepbend_server::Server::bind(*config).await.unwrap();
                tell.send(format!("http://{}", bound.addr)).unwrap();
                bound.serve(async { drop(ended.await) }).await.unwrap();
            });
        });
        Self { address: told.recv().unwrap(), end: Some(end), thread: Some(thread) }
    }
}

impl Drop for Peer {
    fn drop(&mut self) {
        drop(self.end.take());
        drop(self.thread.take().map(std::thread::JoinHandle::join));
    }
}

/// A boat with the demo's inventory.
struct Boat(tempfile::TempDir);

impl Boat {
    fn new() -> Self {
        let boat = Self(tempfile::tempdir().unwrap());
        boat.types(&["gear", "import", demo("").as_str()]).code(0);
        boat
    }

    fn types(&self, args: &[&str]) -> Ended {
        on(self.0.path(), "B1-tablet", args)
    }

    /// The id of the event that a line records.
    fn records(&self, args: &[&str]) -> String {
        let told = self.types(args).code(0).says(&["recorded "]);
        told.out.split_whitespace().nth(1).unwrap().to_owned()
    }
}

/// Words as they follow each other, wherever lines break.
fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn keeps_to_eighty(text: &str) {
    for line in text.lines() {
        assert!(line.chars().count() <= 80, "wider than 80: {line}");
    }
}

// Common practice, no source: a slip is refused with what is there, and may be meant all the same.
#[test]
fn an_id_that_nobody_knows_is_asked_about() {
    let boat = Boat::new();
    let asked = |args: &[&str]| {
        let told = boat.types(args).code(65);
        keeps_to_eighty(&told.err);
        flat(&told.err)
    };
    let told = asked(&["log", "moved", "R17", "B9"]);
    assert!(told.contains("place B9") && told.contains("there are B1, B2, B3, S0"), "{told}");
    assert!(told.contains("--unknown-ok"), "{told}");
    assert!(asked(&["log", "moved", "R17", "shed"]).contains("there are S0"));
    assert!(asked(&["log", "broke", "R15", "--at", "B9"]).contains("place B9"));
    assert!(asked(&["log", "counted", "L30", "2", "--place", "B9"]).contains("place B9"));
    assert!(asked(&["log", "rigged", "R14", "E8"]).contains("there are E08"));
    assert!(asked(&["log", "respooled", "E08", "PE 2", "--from", "K99"]).contains("K99"));
    assert!(asked(&["log", "wrong", "B2-tablet.1.7", "typo"]).contains("event B2-tablet.1.7"));
    boat.types(&["history", "R17"]).code(0).says(&["joined the fleet"]);
    boat.types(&["log", "moved", "R17", "B9", "--unknown-ok"]).code(0).says(&["recorded"]);
    let waits = boat.types(&["log", "wrong", "B2-tablet.1.7", "typo", "--unknown-ok"]).code(0);
    assert!(flat(&waits.out).contains("pending: event B2-tablet.1.7 is not here yet"));
    assert!(waits.err.contains("when the other event has come"), "{}", waits.err);
    boat.types(&["log", "moved", "R99", "B1", "--unknown-ok"])
        .code(65)
        .warns(&["--kind is missing"]);
    boat.types(&["log", "moved", "R99", "B1", "--unknown-ok", "--kind", "rod"]).code(0);
    boat.types(&["log", "moved", "R99", "B1", "--kind", "rood"]).code(2).warns(&["line_stock"]);
}

#[test]
fn a_correction_shows_what_goes_before_it_goes() {
    let boat = Boat::new();
    let event = boat.records(&["log", "moved", "R17", "B1", "--seen"]);
    let told = boat.types(&["log", "wrong", &event, "it was R16"]).code(0);
    assert!(flat(&told.out).contains(&format!("takes back {event}: R17 moved to B1 (guide seen")));
    let listed = boat.types(&["history", "R17"]).code(0).out;
    let first = listed.lines().nth(1).unwrap().split_whitespace().next().unwrap().to_owned();
    boat.records(&["log", "moved", "R17", "B3"]);
    let wrong = ["log", "wrong", &first, "never ours"];
    let told = boat.types(&wrong).code(2).warns(&["--yes"]);
    assert!(
        flat(&told.out).contains("R17 leaves the inventory; 1 other event of it"),
        "{}",
        told.out
    );
    boat.types(&["gear", "show", "R17"]).code(0);
    let dry = boat.types(&[&wrong[..], &["--dry-run"]].concat()).code(0);
    assert!(flat(&dry.out).contains("R17 leaves the inventory"), "{}", dry.out);
    boat.types(&["gear", "show", "R17"]).code(0);
    boat.types(&[&wrong[..], &["--yes"]].concat()).code(0).says(&["recorded"]);
    boat.types(&["gear", "show", "R17"]).code(65);
    boat.types(&["history", "R17"]).code(0).says(&["never ours"]);
    // What lies at a place that goes is told, pieces and all.
    boat.records(&["log", "moved", "L30", "B3", "--pieces", "1"]);
    let there = boat.types(&["gear", "list", "--place", "B3", "-o", "csv"]).code(0).out;
    // The head of the table stands for that piece: a list shows an item where most of it lies.
    let count = there.lines().count();
    let listed = boat.types(&["history", "B3"]).code(0).out;
    let first = listed.lines().nth(1).unwrap().split_whitespace().next().unwrap().to_owned();
    let told = flat(&boat.types(&["log", "wrong", &first, "never ours"]).code(2).out);
    let lie = format!("B3 leaves the inventory; {count} items lie there and keep that place until");
    assert!(told.contains(&lie), "{told}");
}

// Source: NIST SP 811 (1 yd = 0.9144 m, 1 ft = 0.3048 m, 1 lb = 0.45359237 kg), rounded by hand.
#[test]
fn lengths_are_typed_and_told_in_both_systems() {
    let boat = Boat::new();
    boat.records(&["log", "cut", "E08", "30 ft"]);
    boat.records(&["log", "cut", "E08", "10"]);
    boat.records(&["log", "cut", "E08", "18 in"]);
    let line = ["log", "respooled", "E08", "braid 10 kg 0.20 mm", "--from", "K04"];
    boat.records(&[&line[..], &["--length", "150 yd", "--seen", "--at", "B1"]].concat());
    boat.records(&["log", "rigged", "R14", "E08"]);
    let told = boat.types(&["history", "E08"]).code(0);
    keeps_to_eighty(&told.out);
    let told = flat(&told.out);
    for part in [
        "9.14 m (10 yd) cut off",
        "10 m (10.9 yd) cut off",
        "46 cm (18.1 in) cut off",
        "re-spooled with",
        "10 kg (22 lb)",
        "(0.0079 in)",
        "from K04",
        "seen at B1",
        "R14 rigged with E08",
    ] {
        let part = part.to_owned();
        assert!(told.contains(&part), "no `{part}` in {told}");
    }
    boat.records(&["log", "counted", "K04", "150 yd"]);
    boat.records(&["log", "lost", "K04", "20 m"]);
    boat.records(&["log", "counted", "K04", "0", "--metres"]);
    boat.records(&["log", "counted", "K04", "150 yd"]);
    boat.records(&["log", "counted", "K04", "0 m"]);
    let csv = boat.types(&["history", "K04", "-o", "csv"]).code(0);
    csv.says(&["counted 137.16 m (150 yd)", "-20 m (-21.9 yd), lost", "counted 0 m (0 yd)"]);
    let too_long = boat.types(&["log", "cut", "E08", "15000"]).code(65);
    assert!(flat(&too_long.err).contains("right is 0 to 10000 m"), "{}", too_long.err);
    boat.types(&["log", "cut", "E08", "12 lb"]).code(65).warns(&["the length is no length"]);
    let many = boat.types(&["log", "counted", "L30", "99999999999"]).code(2);
    assert!(flat(&many.err).contains("is 99999999999; right is 0 to 1000000"), "{}", many.err);
    boat.types(&["log", "counted", "L30", "2000000"]).code(65).warns(&["the amount is 2000000"]);
    boat.types(&["log", "lost", "L30", "0"]).code(2);
    boat.types(&["log", "used", "E08", "99999999999"]).code(2).warns(&["minutes, 0 to"]);
    boat.types(&["log", "moved", "L30", "B2", "--pieces", "0"])
        .code(2)
        .warns(&["pieces, 1 to 1000000"]);
    boat.types(&["stocktake", "B1", "L30=99999999999"]).code(2).warns(&["0 to 1000000"]);
}

// Common practice, no source: what is shown says its unit and what is contested. Inches from NIST
// SP 811 (1 in = 25.4 mm).
#[test]
fn an_item_is_shown_with_its_units_and_what_is_contested() {
    let boat = Boat::new();
    let listed = boat.types(&["gear", "list", "--kind", "line-stock"]).code(0).out;
    assert!(flat(&listed).contains("8 strands"), "{listed}");
    assert!(listed.lines().all(|line| !line.ends_with(", 8")), "{listed}");
    boat.records(&["log", "respooled", "E08", "braid 10 kg 0.20 mm"]);
    boat.records(&["log", "used", "E08", "90"]);
    let shown = flat(&boat.types(&["gear", "show", "E08"]).code(0).out);
    assert!(shown.contains("fished 1 h 30 min"), "{shown}");
    assert!(shown.contains("0.2 mm (0.0079 in)"), "{shown}");
    boat.records(&["log", "lost", "L30", "9", "--unknown-ok"]);
    let shown = flat(&boat.types(&["gear", "show", "L30"]).code(0).out);
    assert!(shown.contains("status ready place"), "{shown}");
    assert!(shown.contains("contested count at B1"), "{shown}");
}

// Common practice, no source: people who count again need both stories.
#[test]
fn a_disputed_count_shows_what_was_counted_and_what_went() {
    let boat = Boat::new();
    boat.records(&["log", "lost", "L30", "9", "--unknown-ok"]);
    boat.records(&["log", "lost", "K04", "1000 m", "--seen", "--unknown-ok"]);
    let told = boat.types(&["contested"]).code(0);
    keeps_to_eighty(&told.out);
    let told = flat(&told.out);
    for part in [
        "3 pieces",
        "-9 pieces, lost",
        "until then: 0 pieces",
        "300 m",
        "(328 yd)",
        "-1000 m (-1094 yd), lost",
    ] {
        assert!(told.contains(part), "no `{part}` in {told}");
    }
    assert!(told.contains("deepbend log counted K04 \"0 m\" --seen"), "{told}");
}

#[test]
fn a_peer_out_of_reach_is_looked_for_there() {
    let boat = Boat::new();
    let told = boat.types(&["sync", "http://127.0.0.1:1"]).code(69);
    keeps_to_eighty(&told.err);
    assert!(!told.err.contains("--server"), "{}", told.err);
    told.warns(&["hint: is deepbendd running at http://127.0.0.1:1"]);
}

// Source: the contract's words on enrolled, revoked and their devices.
#[test]
fn devices_are_enrolled_and_revoked_in_plain_words() {
    let folder = tempfile::tempdir().unwrap();
    let says = |peer: &Peer, args: &[&str]| {
        let args: Vec<_> = args.iter().copied().chain(["--server", &peer.address]).collect();
        flat(&on(folder.path(), "shed-desk", &args).code(0).out)
    };
    let open = Peer::set(folder.path(), "shed-desk", &[]);
    let state = says(&open, &["sync", "-o", "csv"]);
    let key = state.split("key,").nth(1).unwrap().split_whitespace().next().unwrap().to_owned();
    // Each folder has a key of its own.
    let key_of = |device: &str| {
        let folder = tempfile::tempdir().unwrap();
        let state = flat(&on(folder.path(), device, &["sync", "-o", "csv"]).code(0).out);
        state.split("key,").nth(1).unwrap().split_whitespace().next().unwrap().to_owned()
    };
    let [first, second] = ["B1-tablet", "B2-tablet"].map(key_of);
    let told = says(&open, &["log", "enrolled", "B1-tablet", &first]);
    assert!(told.contains("no effect: the fleet has no founder: every device counts"), "{told}");
    drop(open);
    let founded =
        Peer::set(folder.path(), "shed-desk", &["--founder", &format!("shed-desk:{key}")]);
    let told = says(&founded, &["log", "enrolled", "B2-tablet", &second, "--keeper"]);
    assert!(told.contains("what B2-tablet writes counts, and it may enrol and revoke"), "{told}");
    let told = says(&founded, &["log", "revoked", "B1-tablet", "lost in the mud"]);
    assert!(told.contains("nothing that B1-tablet ever wrote counts"), "{told}");
    let refused = |args: &[&str]| {
        let args: Vec<_> = args.iter().copied().chain(["--server", &founded.address]).collect();
        flat(&on(folder.path(), "shed-desk", &args).code(65).err)
    };
    let told = refused(&["log", "enrolled", "B1-tablet", &first]);
    assert!(told.contains("the device is revoked; right is another name"), "{told}");
    let event = told.split("a correction of ").nth(1).unwrap().to_owned();
    let told = refused(&["log", "enrolled", "B3-tablet", &"0".repeat(64)]);
    assert!(told.contains("key is a key that anybody can sign for"), "{told}");
    let told = says(&founded, &["sync"]);
    for device in [
        "member shed-desk, keeper: may enrol and revoke",
        "member B2-tablet, keeper: may enrol and revoke",
        "member B1-tablet, revoked",
    ] {
        assert!(told.contains(device), "no `{device}` in {told}");
    }
    says(&founded, &["log", "wrong", event.trim(), "it lay in the boat"]);
    let told = says(&founded, &["log", "enrolled", "B1-tablet", &first.to_uppercase()]);
    assert!(told.contains("what B1-tablet writes counts"), "{told}");
    // One key under two names: either could write as the other.
    for (key, owner) in [(&key, "shed-desk"), (&second, "B2-tablet")] {
        let told = refused(&["log", "enrolled", "B4-tablet", key]);
        assert!(told.contains(&format!("key is that of {owner}, which could write as")), "{told}");
        assert!(told.contains(&format!("or first a revocation of {owner}")), "{told}");
        assert!(told.contains("or --unknown-ok, if this is a name under which"), "{told}");
    }
    // What the founder's folder recorded before it had its name.
    let told = says(&founded, &["log", "enrolled", "service", &key, "--unknown-ok"]);
    assert!(told.contains("what service writes counts"), "{told}");

    // Others take nothing that a key signed which nobody enrolled.
    let warned = |peer: &Peer, of: &str| {
        let lines: [&[&str]; 2] = [&["sync"], &["log", "revoked", "B2-tablet", "lent"]];
        lines.map(|line| {
            let args = [line, &["--server", &peer.address]].concat();
            let told = on(folder.path(), "shed-desk", &args).code(0);
            flat(&told.err).contains(&format!("the key of this service is not {of}"))
        })
    };
    assert_eq!(warned(&founded, ""), [false, false]);
    drop(founded);
    // Nobody can enrol the founder anew: that would lead in a circle.
    std::fs::remove_file(folder.path().join("device.key")).unwrap();
    let keyless = Peer::set(folder.path(), "shed-desk", &[]);
    assert_eq!(warned(&keyless, "the founder's"), [true, true]);
    assert_eq!(warned(&keyless, "enrolled"), [false, false]);
    let new = tempfile::tempdir().unwrap();
    let founder = format!("shed-desk:{key}");
    let stranger = Peer::set(new.path(), "B5-tablet", &["--founder", &founder]);
    let at = |args: &[&str]| {
        let args = [args, &["--server", &stranger.address]].concat();
        flat(&on(new.path(), "B5-tablet", &args).code(0).err)
    };
    at(&["gear", "import", &demo("")]);
    let told = at(&["sync"]);
    let events = told.split("events count for nothing").next().unwrap();
    assert!(told.contains("B5-tablet was never enrolled in the fleet of shed-desk"), "{told}");
    let [all, "of", some] = events.split_whitespace().rev().take(3).collect::<Vec<_>>()[..] else {
        panic!("{told}")
    };
    assert_eq!(all, some, "{told}");
    let told = at(&["log", "note", "R14", "x", "--unknown-ok", "--kind", "rod"]);
    assert!(told.contains("the key of this service is not enrolled for B5-tablet"), "{told}");
}

// Common practice, no source: what lies at one place is counted there.
#[test]
fn stock_is_taken_place_by_place() {
    let boat = Boat::new();
    let taken = |args: &[&str]| {
        let told = boat.types(&[&["stocktake"], args, &["-o", "csv"]].concat()).code(0).out;
        let of_lure = told.lines().filter(|line| line.contains(",L30,")).collect::<Vec<_>>();
        of_lure.join("\n")
    };
    assert_eq!(taken(&["B1", "L30=3"]), "");
    boat.records(&["log", "moved", "L30", "B2", "--pieces", "1"]);
    assert_eq!(taken(&["B1", "L30=2"]), "");
    assert_eq!(taken(&["B2", "L30=1"]), "");
    assert_eq!(taken(&["B1", "L30=3"]), "extra,L30,\"3 found, 2 counted here; B2 1 piece\"");
    assert_eq!(taken(&["B2", "L30=0"]), "missing,L30,\"0 found, 1 counted here; B1 2 pieces\"");
    assert_eq!(taken(&["B2", "R17"]), "missing,L30,1 piece of giant shad 250 mm");
    let nowhere = "misplaced,L30,\"none is counted here; B1 2 pieces, B2 1 piece\"";
    assert_eq!(taken(&["B3", "L30"]), nowhere);
    let listed = boat.types(&["gear", "list", "--kind", "lure"]).code(0);
    let line = listed.out.lines().find(|line| line.starts_with("L30")).unwrap();
    assert!(line.contains("B1 B2") && line.contains(" 3 "), "{line}");
    let shown = flat(&boat.types(&["gear", "show", "L30"]).code(0).out);
    assert!(shown.contains("counted B1 2 pieces, B2 1 piece"), "{shown}");
    boat.types(&["stocktake", "B2", "L30=0", "--record"]).code(0);
    assert_eq!(taken(&["B2", "L30=0"]), "");
    assert_eq!(taken(&["B1", "L30=2"]), "");
    boat.records(&["log", "lost", "L30", "5", "--unknown-ok"]);
    let told = flat(&boat.types(&["contested"]).code(0).out);
    let apart = "each place is counted by itself: B1 0 pieces, B2 0 pieces";
    assert!(told.contains(apart), "{told}");
}

// Common practice, no source: an answer from a store of which a part is lost says so.
#[test]
fn a_damaged_store_is_told_with_every_answer() {
    let folder = tempfile::tempdir().unwrap();
    let boat = |args: &[&str]| on(folder.path(), "B1-tablet", args);
    boat(&["gear", "import", demo("").as_str()]).code(0);
    boat(&["log", "note", "R01", "x"]).code(0).quiet();
    let db = folder.path().join("db");
    let bytes = std::fs::read(&db).unwrap();
    let written = bytes.iter().rposition(|byte| *byte != 0).unwrap();
    std::fs::write(&db, &bytes[..written * 9 / 10]).unwrap();
    for args in [["gear", "list"].as_slice(), &["contested"], &["due"], &["sync"]] {
        boat(args).code(0).warns(&["can only be read", "damaged"]);
    }
    boat(&["sync"]).says(&["store", "can only be read"]);
}

// Common practice, no source: what is found is looked at before it is issued.
#[test]
fn a_stocktake_says_what_is_not_ready_and_finds_what_was_lost() {
    let boat = Boat::new();
    boat.records(&["log", "lost", "R16"]);
    let taken = boat.types(&["stocktake", "B3", "R16", "R23", "R24", "--record"]).code(0).out;
    let told = flat(&taken);
    for part in ["lost R16 --record says", "retired R23 do not", "on loan R24 if it is back"] {
        assert!(told.contains(part), "no `{part}` in {told}");
    }
    let shown = flat(&boat.types(&["gear", "show", "R16"]).code(0).out);
    assert!(shown.contains("status ready place B3"), "{shown}");
    let shown = flat(&boat.types(&["gear", "show", "R23"]).code(0).out);
    assert!(shown.contains("status retired"), "{shown}");
}

// Common practice, no source: nobody loses a fleet by one line.
#[test]
fn a_device_is_not_forgotten_whole_without_a_second_word() {
    let boat = Boat::new();
    let line = ["log", "revoked", "B1-tablet", "stolen", "--from-the-start"];
    let told = boat.types(&line).code(2);
    assert!(flat(&told.err).contains("B1-tablet wrote 89 events"), "{}", told.err);
    boat.types(&["log", "respooled", "E02", "--from", "K01"]).code(0).warns(&["holds as much as"]);
}

// Common practice, no source: a name that changes for good, and one that does nothing, are told.
#[test]
fn another_name_is_told_once_and_where_it_is_ignored() {
    let folder = tempfile::tempdir().unwrap();
    let told = |device: &str| flat(&on(folder.path(), device, &["sync"]).code(0).err);
    assert_eq!(told("B1-tablet"), "");
    let renamed = "recorded as B1-tablet until now, from now on as B2-tablet";
    let note = told("B2-tablet");
    assert!(note.contains(renamed), "{note}");
    assert_eq!(told("B2-tablet"), "");
    let peer = Peer::start(folder.path());
    assert_eq!(told("B2-tablet"), "");
    let ignored = told("B3-tablet");
    assert!(ignored.contains("the name B3-tablet (--device or DEEPBEND_DEVICE) is ignored"));
    assert!(ignored.contains("records as B2-tablet"), "{ignored}");
    drop(peer);
}

// Common practice, no source: pieces are lost, found and carried where they lie.
#[test]
fn pieces_go_and_come_where_they_lie() {
    let boat = Boat::new();
    let lies = |expected: &str| {
        let shown = flat(&boat.types(&["gear", "show", "L20"]).code(0).out);
        assert!(shown.contains(&format!("counted {expected}")), "{shown}");
    };
    boat.records(&["log", "moved", "L20", "B2", "--pieces", "3"]);
    lies("B1 2 pieces, B2 3 pieces");
    boat.records(&["log", "lost", "L20", "1", "--place", "B2"]);
    lies("B1 2 pieces, B2 2 pieces");
    boat.records(&["log", "lost", "L20", "1", "--seen", "--at", "B2"]);
    lies("B1 2 pieces, B2 1 piece");
    boat.records(&["log", "moved", "L20", "B3", "--from", "B2", "--pieces", "1"]);
    lies("B1 2 pieces, B2 0 pieces, B3 1 piece");
    boat.records(&["log", "found", "L20", "B2", "--pieces", "2"]);
    lies("B1 2 pieces, B2 2 pieces, B3 1 piece");
    boat.records(&["log", "counted", "L20", "4", "--place", "B3"]);
    lies("B1 2 pieces, B2 2 pieces, B3 4 pieces");
    boat.types(&["history", "L20"]).code(0).says(&["+2 pieces, found at B2"]);
    boat.types(&["log", "lost", "L20", "--place", "B2"]).code(2).warns(&["AMOUNT"]);
}

// Common practice, no source: what could have no effect is asked about at once.
#[test]
fn an_amount_that_does_not_go_with_the_item_is_asked_about() {
    let boat = Boat::new();
    let asked = |args: &[&str]| {
        let told = boat.types(args).code(65);
        keeps_to_eighty(&told.err);
        flat(&told.err)
    };
    assert!(asked(&["log", "counted", "L30", "1.5"]).contains("L30 is counted in pieces"));
    assert!(asked(&["log", "lost", "L30", "two"]).contains("a whole number of pieces"));
    assert!(asked(&["log", "lost", "K04", "2"]).contains("K04 is measured in metres of line"));
    let carried = ["log", "moved", "L30", "B2", "--pieces", "4"];
    let told = asked(&carried);
    assert!(told.contains("takes 4 of L30, but up to 3 can be at B1"), "{told}");
    assert!(told.contains("or --unknown-ok: another boat may know more"), "{told}");
    let told = asked(&["log", "lost", "L30", "1", "--place", "B3"]);
    assert!(told.contains("none can be at B3; right is another place (up to 3 at B1)"), "{told}");
    let told = asked(&["log", "broke", "L30", "--pieces", "4"]);
    assert!(told.contains("takes 4 of L30, but up to 3 can be at B1"), "{told}");
    let told =
        asked(&["log", "respooled", "E08", "PE 2 (40 lb)", "--from", "K04", "--length", "301"]);
    assert!(
        told.contains("--length takes 301 m (329 yd) of K04, but up to 300 m (328 yd) can be left"),
        "{told}"
    );
    boat.records(&[&carried[..], &["--unknown-ok"]].concat());
    assert!(asked(&["log", "edited", "R02", "power=MH"]).contains("one of power_label"));
}

// Common practice, no source: a person reads of what he typed, a program of the contract's fields.
#[test]
fn a_refusal_is_told_in_the_words_of_the_line() {
    let boat = Boat::new();
    let asked = |args: &[&str]| {
        let told = boat.types(args).code(65);
        keeps_to_eighty(&told.err);
        assert!(!told.err.contains("events[") && !told.err.contains("_id"), "{}", told.err);
        flat(&told.err)
    };
    assert!(asked(&["log", "moved", "S0", "S0"]).contains("the place is S0, the item itself"));
    assert!(asked(&["log", "moved", "R17", "B1", "--from", "B1"]).contains("where it comes from"));
    let told = asked(&["log", "cut", "E08", "999 m"]);
    assert!(
        told.contains("the length is 99900 cm (999 m, 1093 yd), but E08 holds 150 m (164 yd)"),
        "{told}"
    );
    let told = asked(&["log", "defect", "R06", "a crack", "--usable"]);
    assert!(told.contains("--usable says that it can be fished, but a crack is told of"), "{told}");
    let told = asked(&["log", "edited", "R06", "place=B1"]);
    assert!(told.contains("right is `deepbend log` with what tells where it is: moved"), "{told}");
    let told = asked(&["log", "broke", "L30"]);
    assert!(told.contains("3 pieces of L30; right is how many broke, with --pieces"), "{told}");
    boat.records(&["log", "broke", "L30", "the lip", "--pieces", "1"]);
    let told = flat(&boat.types(&["history", "L30"]).code(0).out);
    assert!(told.contains("-1 piece, discarded; the lip"), "{told}");
    boat.records(&["log", "respooled", "E08"]);
    assert!(asked(&["log", "reversed", "E08"]).contains("the spool of E08 is empty"));
    let told = boat.types(&["log", "moved", "S0", "S0", "-o", "json"]).code(65);
    assert!(flat(&told.err).contains("events[0].body.moved.to_id is S0"), "{}", told.err);
}

// Common practice, no source: advice stands where it helps.
#[test]
fn only_a_correction_that_waits_is_to_be_recorded_again() {
    let boat = Boat::new();
    let recorded = |told: &Ended| {
        let line = told.out.lines().find_map(|line| line.strip_prefix("recorded ")).unwrap();
        line.split_whitespace().next().unwrap().to_owned()
    };
    let mut told = boat.types(&["log", "note", "R14", "x"]).code(0);
    // Corrections of corrections lead too far at some time: nothing is to come then.
    for _ in 0..40 {
        told = boat.types(&["log", "wrong", &recorded(&told), "a slip"]).code(0);
        if told.out.contains("no effect") {
            break;
        }
    }
    assert!(flat(&told.out).contains("too often"), "{}", told.out);
    assert!(!told.err.contains("when the other event has come"), "{}", told.err);
}

// Common practice, no source.
#[test]
fn what_is_typed_is_told_once_and_in_plain_words() {
    let boat = Boat::new();
    boat.records(&["log", "note", "R14", "hello"]);
    boat.records(&["log", "note", "R14", "hello", "--text", "before dawn"]);
    let told = boat.types(&["history", "R14", "-o", "csv"]).code(0).out;
    assert!(told.contains("note: hello\n") && !told.contains("hello; hello"), "{told}");
    assert!(told.contains("note: hello; before dawn"), "{told}");
    boat.records(&["log", "used", "E08", "1.5 h"]);
    let told = flat(&boat.types(&["history", "E08"]).code(0).out);
    assert!(told.contains("fished 90 min"), "{told}");
    for (args, right) in [
        (&["used", "E08", "two hours"][..], "minutes, 0 to 1000000, or hours such as \"1.5 h\""),
        (&["used", "E08", "1.5"], "minutes, 0 to 1000000, or hours"),
        (&["used", "E08", "1.5 m"], "minutes, 0 to 1000000, or hours"),
        (&["used", "E08", "inf"], "minutes, 0 to 1000000, or hours"),
        (&["moved", "L30", "B2", "--pieces", "two"], "a whole number of pieces, 1 to 1000000"),
        (&["note", "R14", "x", "--time", "yesterday"], "such as 2031-09-15T17:00:00Z"),
    ] {
        let told = boat.types(&[&["log"], args].concat()).code(2);
        keeps_to_eighty(&told.err);
        assert!(flat(&told.err).contains(right), "no `{right}` in {}", told.err);
    }
    let taken = boat.types(&["stocktake", "B1", "L30=1", "L30=2", "-o", "csv"]).code(0).out;
    assert!(!taken.contains("L30"), "{taken}");
    let trace = taken.lines().find(|line| line.contains(",K09,")).unwrap();
    assert!(trace.contains("20 pieces of ") && !trace.ends_with("of "), "{trace}");
    let many = boat.types(&["stocktake", "B1", "L30=1000000", "L30=1"]).code(2);
    assert!(flat(&many.err).contains("0 to 1000000"), "{}", many.err);
}

// Common practice, no source: what is carried on a stick arrives whole, or is not taken.
#[test]
fn events_are_carried_in_a_file() {
    let (from, to) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let b1 = |args: &[&str]| on(from.path(), "B1-tablet", args);
    let b2 = |args: &[&str]| on(to.path(), "B2-tablet", args);
    let state =
        |told: &Ended| told.out.lines().find(|line| line.starts_with("state ")).unwrap().to_owned();
    b1(&["gear", "import", &demo("")]).code(0);
    b1(&["log", "broke", "R15", "--seen"]).code(0);
    let path = from.path().join("evening.events");
    let file = path.to_str().unwrap();
    let told = b1(&["sync", "--to-file", file]).code(0).out;
    let count = flat(&told).rsplit(' ').nth(1).unwrap().to_owned();
    assert!(b1(&["sync", "--to-file", file]).code(66).err.contains("is there already"));
    let bytes = std::fs::read(&path).unwrap();
    for length in [0, 1, bytes.len() / 2, bytes.len() - 1] {
        let part = from.path().join("part");
        std::fs::write(&part, &bytes[..length]).unwrap();
        let told = b2(&["sync", "--from-file", part.to_str().unwrap()]).code(65);
        assert!(flat(&told.err).contains("is damaged, or no file of events"), "{}", told.err);
    }
    // One bit, in what somebody counted as elsewhere.
    for at in (0..bytes.len()).step_by(bytes.len() / 7) {
        let mut flipped = bytes.clone();
        flipped[at] ^= 1;
        let part = from.path().join("flipped");
        std::fs::write(&part, flipped).unwrap();
        b2(&["sync", "--from-file", part.to_str().unwrap()]).code(65);
    }
    b2(&["sync"]).code(0).says(&["events   0\n"]);
    b2(&["sync", "--from-file", file]).code(0).says(&[&format!("received {count}\n")]);
    b2(&["sync", "--from-file", file]).code(0).says(&["received 0\n"]);
    assert_eq!(state(&b1(&["sync"])), state(&b2(&["sync"])));
}

// Common practice, no source: what goes with a rod is not forgotten, and what is not understood is
// said.
#[test]
fn a_rig_goes_together_and_words_that_are_no_line_are_told() {
    let boat = Boat::new();
    boat.records(&["log", "rigged", "R13", "E06"]);
    let shown = flat(&boat.types(&["gear", "show", "R13"]).code(0).out);
    assert!(shown.contains("rigged with E06"), "{shown}");
    let told = flat(&boat.types(&["log", "moved", "R13", "B3"]).code(0).err);
    let cure = "deepbend log moved E06 B3";
    assert!(told.contains("E06, which is rigged with it") && told.ends_with(cure), "{told}");
    let told = boat.types(&["log", "moved", "E06", "B3"]).code(0).err;
    assert!(!told.contains("rigged with it"), "{told}");
    let told = boat.types(&["log", "respooled", "E09", "PE 2 banana"]).code(0).err;
    assert!(flat(&told).contains("banana"), "{told}");
    let told = flat(&boat.types(&["log", "lost", "R13"]).code(0).err);
    assert!(told.ends_with("if it went too: deepbend log lost E06"), "{told}");
    let told = boat.types(&["log", "moved", "E06", "B1"]).code(0).err;
    assert!(!told.contains("R13"), "what is lost is not moved: {told}");
    let shown = boat.records(&["log", "lost", "R22"]);
    let told = flat(&boat.types(&["log", "lent", "R22", "anna"]).code(65).err);
    assert!(told.contains("this takes R22, which is lost"), "{told}{shown:?}");
}
