//! No acknowledgement leaves before its data is on disk: the order of the system calls of a process
//! that writes from several threads, as `strace` saw them.
//!
//! A run without the sync must be found out. Where there is no `strace` the test is skipped and
//! says so; under `CI` that is a failure.
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]
#![allow(clippy::disallowed_methods, reason = "the test starts a process and tells it a folder")]

use std::io::Write as _;
use std::path::Path;
use std::process::{Command, Stdio};

use deepbend_store::{Broken, Expect, SledOptions, SledStore, Store, Tree, Write};

const FOLDER: &str = "DEEPBEND_SYNC_TEST_FOLDER";
const BROKEN: &str = "DEEPBEND_SYNC_TEST_BROKEN";
const OPTIONS: SledOptions = SledOptions { free_floor_bytes: 0, cache_bytes: 16 * 1024 * 1024 };
const THREADS: u8 = 3;
const COMMITS: u64 = 60;

/// What the traced process runs.
fn write_and_acknowledge(folder: &Path) {
    let store = match std::env::var_os(BROKEN) {
        None => SledStore::open(folder, OPTIONS),
        Some(_) => SledStore::open_broken(folder, OPTIONS, Broken::Sync),
    };
    let store = store.unwrap();
    std::thread::scope(|scope| {
        for thread in 0..THREADS {
            let store = &store;
            scope.spawn(move || {
                for n in 0..COMMITS {
                    let key = [&[thread][..], &n.to_be_bytes()].concat();
                    let value = Some(mark(thread, n).repeat(20).into_bytes());
                    let write = Write { tree: Tree(1), key, expect: Expect::Absent, value };
                    store.commit(vec![write]).unwrap();
                    let mut out = std::io::stdout().lock();
                    writeln!(out, "ack {thread} {n}.").unwrap();
                    out.flush().unwrap();
                }
            });
        }
    });
}

fn main() {
    if let Some(folder) = std::env::var_os(FOLDER) {
        return write_and_acknowledge(Path::new(&folder));
    }
    let Some(good) = trace(false) else {
        assert!(std::env::var_os("CI").is_none(), "CI must have strace");
        println!("SKIPPED: there is no strace that works here");
        return;
    };
    let syncs = check(&good).unwrap();
    let broken = check(&trace(true).unwrap()).expect_err("the check must see a missing sync");
    println!("{} acknowledgements, {syncs} syncs between", u64::from(THREADS) * COMMITS);
    println!("without the sync: {broken}");
    println!("2 passed, 0 failed");
}

/// The lines of strace, each with its process in front; `None` if it does not run here.
fn trace(broken: bool) -> Option<Vec<String>> {
    let folder = tempfile::tempdir().unwrap();
    let log = folder.path().join("trace");
    let mut command = Command::new("strace");
    command.args([
        "-f",
        "-y",
        "-s",
        "10000000",
        "-e",
        "trace=pwrite64,write,fsync,fdatasync",
        "-o",
    ]);
    command.arg(&log).arg(std::env::current_exe().unwrap());
    command.env(FOLDER, folder.path().join("store")).stdout(Stdio::null()).stderr(Stdio::null());
    if broken {
        command.env(BROKEN, "1");
    }
    let ran = command.status().is_ok_and(|status| status.success());
    let log = ran.then(|| std::fs::read_to_string(log).unwrap())?;
    Some(log.lines().map(str::to_owned).collect())
}

/// A system call on the engine's file or on the standard output, and the lines at which it began
/// and ended.
struct Call<'a> {
    kind: Kind,
    begun: usize,
    ended: usize,
    text: &'a str,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    Write,
    Sync,
    Answer,
}

/// Takes the lines apart; a call that another one interrupts has two.
fn calls(lines: &[String]) -> Vec<Call<'_>> {
    let mut calls: Vec<Call<'_>> = Vec::new();
    let mut unfinished = std::collections::BTreeMap::new();
    for (place, line) in lines.iter().enumerate() {
        let (process, text) = line.split_once(' ').unwrap_or((line, ""));
        let text = text.trim_start();
        if text.starts_with("<... ") {
            if let Some(call) = unfinished.remove(process) {
                let call: &mut Call<'_> = &mut calls[call];
                call.ended = place;
                assert!(!text.contains(" = -1"), "{text}");
            }
            continue;
        }
        let on_file = text.contains("/db>");
        let kind = match text.split('(').next().unwrap_or_default() {
            "pwrite64" if on_file => Kind::Write,
            "fsync" | "fdatasync" if on_file => Kind::Sync,
            "write" if text.starts_with("write(1<") => Kind::Answer,
            _ => continue,
        };
        let ended = if text.ends_with("<unfinished ...>") {
            unfinished.insert(process, calls.len());
            usize::MAX
        } else {
            place
        };
        calls.push(Call { kind, begun: place, ended, text });
    }
    calls
}

/// Checks that a sync lies between the write of each record and its acknowledgement: begun after
/// the one had ended, ended before the other began. Answers how many syncs there were.
fn check(lines: &[String]) -> Result<usize, String> {
    let calls = calls(lines);
    let of = |kind| calls.iter().filter(move |call| call.kind == kind);
    for thread in 0..THREADS {
        for n in 0..COMMITS {
            let ack = format!("\"ack {thread} {n}.");
            let Some(answer) = of(Kind::Answer).find(|call| call.text.contains(&ack)) else {
                return Err(format!("{ack} was not seen"));
            };
            let mark = mark(thread, n);
            let Some(write) = of(Kind::Write).find(|call| call.text.contains(&mark)) else {
                return Err(format!("{mark} was never written"));
            };
            let mut syncs = of(Kind::Sync);
            if !syncs.any(|sync| sync.begun > write.ended && sync.ended < answer.begun) {
                return Err(format!("{mark} was acknowledged before it was synced"));
            }
        }
    }
    Ok(of(Kind::Sync).count())
}

/// What a record is known by in the trace.
fn mark(thread: u8, n: u64) -> String {
    format!("<{thread}-{n}>")
}
