//! kill -9 while several threads write: what was acknowledged is there, and nothing is half done.
//! This catches a torn commit and an answer that comes too early, not a missing sync: the kernel
//! keeps what a process wrote.
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]
#![allow(clippy::disallowed_methods, reason = "the test starts a process and tells it a folder")]

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Write as _};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use deepbend_store::{Expect, SledOptions, SledStore, Store, Tree, Write};

const FOLDER: &str = "DEEPBEND_KILL_TEST_FOLDER";
const CYCLES: u64 = 8;
const THREADS: u8 = 3;
const RECORDS: Tree = Tree(1);
const COPIES: Tree = Tree(2);

fn open(folder: &Path) -> SledStore {
    SledStore::open(folder, SledOptions { free_floor_bytes: 0, ..SledOptions::default() }).unwrap()
}

fn key(thread: u8, n: u64) -> Vec<u8> {
    [&[thread][..], &n.to_be_bytes()].concat()
}

fn value(thread: u8, n: u64) -> Vec<u8> {
    vec![thread ^ n as u8; 300]
}

/// The last record of a thread.
fn last(store: &SledStore, thread: u8) -> u64 {
    store.scan(RECORDS, &[thread], None, usize::MAX).unwrap().len() as u64
}

/// What the killed process runs.
fn write_until_killed(folder: &Path) {
    let store = open(folder);
    std::thread::scope(|scope| {
        for thread in 0..THREADS {
            let store = &store;
            scope.spawn(move || {
                for n in last(store, thread).. {
                    let write = |tree| Write {
                        tree,
                        key: key(thread, n),
                        expect: Expect::Absent,
                        value: Some(value(thread, n)),
                    };
                    store.commit(vec![write(RECORDS), write(COPIES)]).unwrap();
                    let mut out = std::io::stdout().lock();
                    writeln!(out, "ack {thread} {n}").unwrap();
                    out.flush().unwrap();
                }
            });
        }
    });
}

fn start(folder: &Path) -> Child {
    Command::new(std::env::current_exe().unwrap())
        .env(FOLDER, folder)
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap()
}

/// The process is its own child: without the harness it can be started again as the writer.
fn main() {
    match std::env::var_os(FOLDER) {
        Some(folder) => write_until_killed(Path::new(&folder)),
        None => {
            a_killed_writer_loses_nothing_that_it_acknowledged();
            println!("1 passed, 0 failed");
        }
    }
}

fn a_killed_writer_loses_nothing_that_it_acknowledged() {
    let folder = tempfile::tempdir().unwrap();
    let mut acknowledged: BTreeMap<u8, u64> = BTreeMap::new();
    for cycle in 0..CYCLES {
        let mut child = start(folder.path());
        let out = BufReader::new(child.stdout.take().unwrap());
        let reader = std::thread::spawn(move || {
            let acks = out.lines().map_while(Result::ok).filter_map(|line| {
                let mut parts = line.strip_prefix("ack ")?.split(' ');
                Some((parts.next()?.parse().ok()?, parts.next()?.parse().ok()?))
            });
            acks.collect::<Vec<(u8, u64)>>()
        });
        // From "while it opens" to "in full swing", in odd steps.
        std::thread::sleep(Duration::from_millis(5 + cycle * 53 % 331));
        child.kill().unwrap();
        child.wait().unwrap();
        acknowledged.extend(reader.join().unwrap());

        let store = open(folder.path());
        let mut records = 0;
        for thread in 0..THREADS {
            let rows = store.scan(RECORDS, &[thread], None, usize::MAX).unwrap();
            assert_eq!(rows, store.scan(COPIES, &[thread], None, usize::MAX).unwrap());
            for (n, row) in (0..).zip(&rows) {
                assert_eq!((&row.key, &row.value), (&key(thread, n), &value(thread, n)));
            }
            if let Some(n) = acknowledged.get(&thread) {
                assert!(rows.len() as u64 > *n, "thread {thread} lost record {n}");
            }
            records += rows.len() as u64;
        }
        assert_eq!(store.head(), Ok(records));
        assert_eq!(store.changes(0, usize::MAX).unwrap().len() as u64, records);
    }
    assert_eq!(acknowledged.len(), usize::from(THREADS), "nobody wrote: the test saw nothing");
}
