//! kill -9 while several threads write: what was acknowledged is there, and nothing is half done.
//! This catches a torn commit and an answer that comes too early, not a missing sync: the kernel
//! keeps what a process wrote. `sync_order` looks for that.
//!
//! `DEEPBEND_KILLS` sets the number of kills. The last ones are of a store that acknowledges before
//! it flushes: the harness must find the loss.
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]
#![allow(clippy::disallowed_methods, reason = "the test starts a process and tells it a folder")]

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Write as _};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use deepbend_store::{
    Broken, Condition, Expect, Row, SledOptions, SledStore, Store, StoreError, Tree, Write,
};

const FOLDER: &str = "DEEPBEND_KILL_TEST_FOLDER";
const BROKEN: &str = "DEEPBEND_KILL_TEST_BROKEN";
const KILLS: &str = "DEEPBEND_KILLS";
const USUAL_KILLS: u64 = 8;
/// Kills of a broken store, of which one at least must show.
const BROKEN_KILLS: u64 = 10;
const THREADS: u8 = 4;
const RECORDS: Tree = Tree(1);
const COPIES: Tree = Tree(2);
const COUNTERS: Tree = Tree(3);
const OPTIONS: SledOptions = SledOptions { free_floor_bytes: 0, cache_bytes: 32 * 1024 * 1024 };
/// A store begins anew after so many kills, so that looking at it stays cheap.
const KILLS_PER_STORE: u64 = 10;

fn key(thread: u8, n: u64) -> Vec<u8> {
    [&[thread][..], &n.to_be_bytes()].concat()
}

/// Of many lengths, so that commits end anywhere in the engine's pages and segments.
fn value(thread: u8, n: u64) -> Vec<u8> {
    let length = if n.is_multiple_of(97) { 20_000 } else { 100 + n as usize * 37 % 500 };
    vec![thread ^ n as u8; length]
}

/// How many records a thread has written.
fn count(store: &SledStore, thread: u8) -> u64 {
    let counter = store.get(COUNTERS, &[thread]).unwrap();
    counter.map_or(0, |row| u64::from_be_bytes(row.value.try_into().unwrap()))
}

/// What the killed process runs.
fn write_until_killed(folder: &Path) {
    let store = match std::env::var_os(BROKEN) {
        None => SledStore::open(folder, OPTIONS),
        Some(_) => SledStore::open_broken(folder, OPTIONS, Broken::Flush),
    };
    let store = store.unwrap();
    std::thread::scope(|scope| {
        for thread in 0..THREADS {
            let store = &store;
            scope.spawn(move || {
                for n in count(store, thread).. {
                    let write =
                        |tree, key, expect, value| Write { tree, key, expect, value: Some(value) };
                    let mut writes = vec![
                        write(RECORDS, key(thread, n), Expect::Absent, value(thread, n)),
                        write(COPIES, key(thread, n), Expect::Absent, value(thread, n)),
                        write(COUNTERS, vec![thread], Expect::Any, (n + 1).to_be_bytes().into()),
                    ];
                    if let Some(old) = n.checked_sub(500) {
                        let key = key(thread, old);
                        writes.push(Write { tree: COPIES, key, expect: Expect::Any, value: None });
                    }
                    store.commit(writes).unwrap();
                    let mut out = std::io::stdout().lock();
                    writeln!(out, "ack {thread} {n}").unwrap();
                    out.flush().unwrap();
                }
            });
        }
    });
}

fn start(folder: &Path, broken: bool) -> Child {
    let mut command = Command::new(std::env::current_exe().unwrap());
    command.env(FOLDER, folder).stdout(Stdio::piped()).stderr(Stdio::null());
    if broken {
        command.env(BROKEN, "1");
    }
    command.spawn().unwrap()
}

/// The process is its own child: without the harness it can be started again as the writer.
fn main() {
    if let Some(folder) = std::env::var_os(FOLDER) {
        return write_until_killed(Path::new(&folder));
    }
    a_second_process_is_told_who_holds_the_folder();
    let kills = std::env::var(KILLS).map_or(USUAL_KILLS, |kills| kills.parse().unwrap());
    let acknowledged = kill(kills, false).unwrap();
    let loss = kill(BROKEN_KILLS, true).expect_err("the harness must see a broken flush");
    println!("{kills} kills, {acknowledged} acknowledged commits, all there");
    println!("with a broken flush: {loss}");
    println!("3 passed, 0 failed");
}

fn a_second_process_is_told_who_holds_the_folder() {
    let folder = tempfile::tempdir().unwrap();
    let mut child = start(folder.path(), false);
    let mut out = BufReader::new(child.stdout.take().unwrap());
    out.read_line(&mut String::new()).unwrap();
    let error = SledStore::open(folder.path(), OPTIONS).unwrap_err();
    let StoreError::Locked { holder, .. } = error else { panic!("{error}") };
    assert!(holder.starts_with(&format!("process {} (", child.id())), "{holder}");
    child.kill().unwrap();
    child.wait().unwrap();
    assert_eq!(SledStore::open(folder.path(), OPTIONS).unwrap().condition(), Condition::Sound);
}

/// Kills writers so many times; answers how many commits they acknowledged, or what was lost.
fn kill(kills: u64, broken: bool) -> Result<u64, String> {
    let mut folder = tempfile::tempdir().unwrap();
    let mut acknowledged: BTreeMap<u8, u64> = BTreeMap::new();
    let mut all = 0;
    for cycle in 0..kills {
        if cycle > 0 && cycle % KILLS_PER_STORE == 0 {
            folder = tempfile::tempdir().unwrap();
            acknowledged.clear();
        }
        let mut child = start(folder.path(), broken);
        let out = BufReader::new(child.stdout.take().unwrap());
        let (first, writes) = std::sync::mpsc::channel();
        let reader = std::thread::spawn(move || {
            let acks = out.lines().map_while(Result::ok).filter_map(|line| {
                let mut parts = line.strip_prefix("ack ")?.split(' ');
                let ack = Some((parts.next()?.parse().ok()?, parts.next()?.parse().ok()?));
                // After the first one nobody listens.
                let _ = first.send(());
                ack
            });
            acks.collect::<Vec<(u8, u64)>>()
        });
        // Every other time the clock starts with the first answer, however slow the machine is.
        if cycle % 2 == 1 {
            writes.recv_timeout(Duration::from_secs(60)).unwrap();
        }
        // From "while it opens" to "in full swing", in odd steps.
        std::thread::sleep(Duration::from_millis(5 + cycle * 53 % 331));
        child.kill().unwrap();
        child.wait().unwrap();
        let acks = reader.join().unwrap();
        all += acks.len() as u64;
        acknowledged.extend(acks);
        look(folder.path(), &acknowledged).map_err(|loss| format!("after kill {cycle}: {loss}"))?;
    }
    assert!(all > 0, "nobody wrote: the test saw nothing");
    Ok(all)
}

/// Opens the store and checks that every acknowledged commit is there and none is torn.
fn look(folder: &Path, acknowledged: &BTreeMap<u8, u64>) -> Result<(), String> {
    let store = SledStore::open(folder, OPTIONS).map_err(|error| error.to_string())?;
    if store.condition() != Condition::Sound {
        return Err(format!("{:?}", store.condition()));
    }
    let mut records = 0;
    for thread in 0..THREADS {
        let count = count(&store, thread);
        if acknowledged.get(&thread).is_some_and(|n| count <= *n) {
            let lost = acknowledged[&thread] + 1 - count;
            return Err(format!("thread {thread} lost {lost} acknowledged commits"));
        }
        let rows = |tree| store.scan(tree, &[thread], None, usize::MAX).unwrap();
        let right = |rows: &[Row], from: u64| {
            let mut numbers = (from..count).zip(rows);
            rows.len() as u64 == count - from
                && numbers
                    .all(|(n, row)| row.key == key(thread, n) && row.value == value(thread, n))
        };
        if !right(&rows(RECORDS), 0) || !right(&rows(COPIES), count.saturating_sub(500)) {
            return Err(format!("thread {thread} has a torn commit"));
        }
        records += count;
    }
    let feed = store.changes(0, usize::MAX).unwrap();
    if store.head() != Ok(records) || feed.len() as u64 != records {
        return Err(format!("{records} records, but {} commits", feed.len()));
    }
    let torn = feed.iter().find(|commit| !(3..=4).contains(&commit.changes.len()));
    torn.map_or(Ok(()), |commit| Err(format!("commit {} is torn", commit.seq)))
}
