//! What durability and the store's promises cost, as ratios of one run.
//!
//! 1. Commits of one event from 64 writers, against sled itself: a batch of 64 events, `flush`,
//!    `fdatasync`, again and again. A group of the store is never larger, so sled has the edge.
//! 2. Opening a store with 100,000 events: reading the tail of the log, sled's own opening, and the
//!    audit of all records.
//! 3. What many updates leave on the disk, and what compaction gives back.
#![allow(clippy::unwrap_used, reason = "a bench may stop at once")]
#![allow(clippy::disallowed_types, reason = "a bench measures time")]
#![allow(clippy::disallowed_methods, reason = "a bench reads how much memory it has")]

use std::fs::{self, File};
use std::path::Path;
use std::process::Command;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

use deepbend_store::{Expect, SledOptions, SledStore, Store, Tree, Write, backup};

const WRITERS: u64 = 64;
const EVENT_BYTES: usize = 300;
const SPAN: Duration = Duration::from_secs(2);
const ROUNDS: usize = 7;
/// Set for the process that only opens the store in this folder.
const OPEN: &str = "DEEPBEND_BENCH_OPEN";
const OPTIONS: SledOptions = SledOptions { free_floor_bytes: 0, cache_bytes: 64 * 1024 * 1024 };

fn main() {
    if let Some(folder) = std::env::var_os(OPEN) {
        return open(Path::new(&folder));
    }
    let noise = noise(1, 1 << 20);
    let rounds: Vec<_> = (0..ROUNDS).map(|_| round(&noise)).collect();
    let [rate, whole, events] = [0, 1, 2].map(|column| {
        let mut column: Vec<f64> = rounds.iter().map(|round| round[column]).collect();
        column.sort_by(f64::total_cmp);
        column[ROUNDS / 2]
    });
    println!("durable events, {WRITERS} writers: {rate:.0}/s; medians of {ROUNDS} rounds:");
    println!("  ratio to raw sled batches of the same records (row, feed, mark): {whole:.2}");
    println!("  ratio to raw sled batches of the events alone: {events:.2}");
    open_100_000();
    compact();
}

/// Incompressible bytes.
fn noise(seed: u64, length: usize) -> Vec<u8> {
    let mut state = seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1;
    let mut next = || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        state as u8
    };
    (0..length).map(|_| next()).collect()
}

/// A piece of it, so that making bytes costs nobody time.
fn piece(noise: &[u8], n: u64, length: usize) -> Vec<u8> {
    let start = (n * 331) as usize % (noise.len() - length);
    noise[start..start + length].to_vec()
}

/// Rate of the store, and its ratios to sled with the same records and with the events alone.
fn round(noise: &[u8]) -> [f64; 3] {
    let folder = tempfile::tempdir().unwrap();
    let store = SledStore::open(folder.path(), OPTIONS).unwrap();
    let (counter, started) = (AtomicU64::new(0), Instant::now());
    std::thread::scope(|scope| {
        for writer in 0..WRITERS {
            let (store, counter) = (&store, &counter);
            scope.spawn(move || {
                let mut n = 0_u64;
                while started.elapsed() < SPAN {
                    let key = [writer.to_be_bytes(), n.to_be_bytes()].concat();
                    let value = Some(piece(noise, writer * 77 + n, EVENT_BYTES));
                    let write = Write { tree: Tree(1), key, expect: Expect::Absent, value };
                    store.commit(vec![write]).unwrap();
                    counter.fetch_add(1, Ordering::Relaxed);
                    n += 1;
                }
            });
        }
    });
    let commits = counter.load(Ordering::Relaxed);
    let rate = commits as f64 / started.elapsed().as_secs_f64();
    let (whole, events) = (raw(noise, true), raw(noise, false));
    println!(
        "  a round: store {rate:.0}/s, sled {whole:.0}/s with the same records, {events:.0}/s with the events"
    );
    [rate, rate / whole, rate / events]
}

/// Events a second that sled itself makes durable in batches; `whole` with the entry of the feed and the mark that the store writes too.
fn raw(noise: &[u8], whole: bool) -> f64 {
    let folder = tempfile::tempdir().unwrap();
    let config = sled::Config::new().path(folder.path()).flush_every_ms(None);
    let db = config.cache_capacity(OPTIONS.cache_bytes).segment_size(4 << 20).open().unwrap();
    let file = File::open(folder.path().join("db")).unwrap();
    let (mut n, started) = (0_u64, Instant::now());
    while started.elapsed() < SPAN {
        let mut batch = sled::Batch::default();
        for _ in 0..WRITERS {
            let key = [(n % WRITERS).to_be_bytes(), (n / WRITERS).to_be_bytes()].concat();
            let value = piece(noise, n, EVENT_BYTES + 17);
            if whole {
                batch.insert([&[1], &n.to_be_bytes()[..]].concat(), [&key[..], &value].concat());
            }
            batch.insert([&[0], &key[..]].concat(), value);
            n += 1;
        }
        if whole {
            batch.insert(&[2], &n.to_be_bytes());
        }
        db.apply_batch(batch).unwrap();
        db.flush().unwrap();
        file.sync_data().unwrap();
    }
    n as f64 / started.elapsed().as_secs_f64()
}

fn open_100_000() {
    let folder = tempfile::tempdir().unwrap();
    let store = SledStore::open(folder.path(), OPTIONS).unwrap();
    for batch in 0..200_u64 {
        let writes = (0..500).map(|n| Write {
            tree: Tree(1),
            key: (batch * 500 + n).to_be_bytes().to_vec(),
            expect: Expect::Absent,
            value: Some(noise(batch * 500 + n, EVENT_BYTES)),
        });
        store.commit(writes.collect()).unwrap();
    }
    let mut stream = Vec::new();
    let started = Instant::now();
    let summary = backup::backup(&store, &mut stream).unwrap();
    println!(
        "backup of 100,000 events: {:.2} s, {} MB",
        started.elapsed().as_secs_f64(),
        summary.bytes / 1_000_000
    );
    drop((store, stream));
    for how in ["after the first writing", "with a snapshot of sled's"] {
        println!("opening 100,000 events in a process of its own, {how}:");
        let program = std::env::current_exe().unwrap();
        let status = Command::new(program).env(OPEN, folder.path()).status();
        assert!(status.unwrap().success());
    }
}

fn open(folder: &Path) {
    let started = Instant::now();
    let store = SledStore::open(folder, OPTIONS).unwrap();
    let seconds = started.elapsed().as_secs_f64();
    let size = fs::metadata(folder.join("db")).unwrap().len() / 1_000_000;
    println!("  {seconds:.2} s; file {size} MB, memory {} MB", memory() / 1_000_000);
    drop(store);
}

fn compact() {
    let folder = tempfile::tempdir().unwrap();
    let store = SledStore::open(folder.path(), OPTIONS).unwrap();
    let (keys, updates) = (20_000_u64, 400_000_u64);
    let mut n = 0;
    while n < updates {
        let writes = (0..500).map(|step| Write {
            tree: Tree(1),
            key: ((n + step) * 7919 % keys).to_be_bytes().to_vec(),
            expect: Expect::Any,
            value: Some(noise(n + step, EVENT_BYTES)),
        });
        let head = store.commit(writes.collect()).unwrap();
        store.trim(head.saturating_sub(20)).unwrap();
        n += 500;
    }
    drop(store);
    let (raw, started) = (keys * (EVENT_BYTES as u64 + 8), Instant::now());
    let done = SledStore::compact(folder.path(), OPTIONS).unwrap();
    println!(
        "compaction after {updates} updates of {keys} keys: {:.1} -> {:.1} times the bare data, \
         {:.1} s",
        done.before_bytes as f64 / raw as f64,
        done.after_bytes as f64 / raw as f64,
        started.elapsed().as_secs_f64()
    );
    println!("memory at the end: {} MB", memory() / 1_000_000);
}

/// Bytes of this process in memory.
fn memory() -> u64 {
    let status = fs::read_to_string(Path::new("/proc/self/statm")).unwrap_or_default();
    let pages: u64 = status.split(' ').nth(1).and_then(|n| n.parse().ok()).unwrap_or(0);
    pages * 4096
}
