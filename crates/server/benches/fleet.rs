//! What a fleet of 100,000 events costs through the service, as ratios of one run on one machine.
//!
//! 1. Durable events through gRPC, 16 a call, against sled itself with a sync after each batch.
//! 2. What a page of 100,000 items costs: the first, one in the middle, the last, with a filter; of
//!    lures with many events each; and what an id costs that is not there, with those that look
//!    alike.
//! 3. How long a service takes to start on 100,000 events, in a process of its own.
//! 4. How long two services take to exchange them over loopback, against a bare copy of their bytes
//!    and against sled with a sync after each 500, whichever is slower.
//! 5. How many bytes two services send when they hold 100,000 events and one lacks a few.
//!
//! Services and clients share this process and its processors; memory is that of the process.
#![allow(clippy::unwrap_used, reason = "a bench may stop at once")]
#![allow(clippy::disallowed_types, reason = "a bench measures time")]
#![allow(clippy::disallowed_methods, reason = "a bench starts processes and reads its memory")]

use std::fs::{self, File};
use std::net::SocketAddr;
use std::path::Path;
use std::process::Command;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

use deepbend_contract::pb;
use deepbend_contract::pb::event_body::What;
use deepbend_contract::pb::inventory_service_client::InventoryServiceClient;
use deepbend_contract::pb::sync_service_client::SyncServiceClient;
use deepbend_server::{Config, Id, Server};
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::{TcpListener, TcpStream};
use tonic::transport::Channel;

/// As in `deepbendd`.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

const ITEMS: usize = 100_000;
/// Rows of one import.
const ROWS: usize = 9_000;
const CALL_EVENTS: usize = 16;
/// Lures that are counted in pieces, and how often each of them changes.
const LURES: usize = 1_000;
const CHANGES: usize = 20;
const SPAN: Duration = Duration::from_secs(3);
const ROUNDS: usize = 3;
/// Set for the process that only starts a service on this folder.
const START: &str = "DEEPBEND_BENCH_START";

fn main() {
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().unwrap();
    if let Some(folder) = std::env::var_os(START) {
        return runtime.block_on(time_start(Path::new(&folder)));
    }
    let wanted: Vec<String> =
        std::env::args().skip(1).filter(|arg| !arg.starts_with('-')).collect();
    let wants = |name: &str| wanted.is_empty() || wanted.iter().any(|arg| arg == name);
    if wants("record") {
        runtime.block_on(record());
    }
    if wants("exchange") {
        runtime.block_on(exchange());
    }
    if wants("wire") {
        runtime.block_on(wire());
    }
    if wants("pages") || wants("start") {
        let folder = tempfile::tempdir().unwrap();
        runtime.block_on(async {
            let service = start(folder.path()).await;
            fill(&service, 0..ITEMS).await;
            if wants("pages") {
                count_lures(&service).await;
                pages(&service).await;
                miss(&service).await;
            }
            service.end().await;
        });
        if wants("start") {
            for how in ["after the first writing", "again"] {
                println!("starting on 100,000 events in a process of its own, {how}:");
                let program = std::env::current_exe().unwrap();
                let status = Command::new(program).env(START, folder.path()).status();
                assert!(status.unwrap().success());
            }
        }
    }
}

/// A service with a client to it.
struct Running {
    address: SocketAddr,
    channel: Channel,
    end: tokio::sync::oneshot::Sender<()>,
    task: tokio::task::JoinHandle<()>,
}

async fn start(folder: &Path) -> Running {
    start_with(folder, None).await
}

async fn start_with(folder: &Path, peer: Option<SocketAddr>) -> Running {
    let (listen, data) = ("127.0.0.1:0".parse().unwrap(), Some(folder.to_owned()));
    let peers = peer.iter().map(|peer| format!("http://{peer}")).collect();
    let device = peer.map(|_| Id::new("boat").unwrap());
    let config = Config { listen, data, peers, device, ..Config::default() };
    let bound = Server::bind(config).await.unwrap();
    let address = bound.addr;
    let (end, told) = tokio::sync::oneshot::channel();
    let task = tokio::spawn(async {
        let ended = bound.serve(async {
            let _ = told.await;
        });
        ended.await.unwrap();
    });
    let url = format!("http://{address}");
    let channel = Channel::from_shared(url).unwrap().connect().await.unwrap();
    Running { address, channel, end, task }
}

impl Running {
    fn inventory(&self) -> InventoryServiceClient<Channel> {
        let client = InventoryServiceClient::new(self.channel.clone());
        client.max_decoding_message_size(64 << 20)
    }

    fn sync(&self) -> SyncServiceClient<Channel> {
        SyncServiceClient::new(self.channel.clone()).max_decoding_message_size(64 << 20)
    }

    /// Items that it holds.
    async fn items(&self) -> i32 {
        let asked = pb::ListItemsRequest { page_size: 1, ..Default::default() };
        self.inventory().list_items(asked).await.unwrap().into_inner().total_size
    }

    async fn end(self) {
        drop(self.channel);
        self.end.send(()).unwrap();
        self.task.await.unwrap();
    }
}

fn claim() -> pb::Claim {
    pb::Claim {
        observed_time: Some("2031-09-15T17:00:00Z".parse().unwrap()),
        actor: "shed".to_owned(),
        certainty: pb::Certainty::Seen.into(),
    }
}

/// Imports so many rods, and the boat on which they lie.
async fn fill(service: &Running, rods: std::ops::Range<usize>) {
    let boat = "boat_id,name,home_berth,rod_holders,max_rods_aboard\nB1,Grebe,quay,8,9\n";
    let file = |kind: pb::ImportFileKind, csv_text| pb::ImportFile { kind: kind.into(), csv_text };
    let mut files = vec![file(pb::ImportFileKind::Boats, boat.to_owned())];
    let all: Vec<_> = rods.collect();
    for rows in all.chunks(ROWS) {
        let mut text = "rod_id,handle,length_raw,lure_raw,line_raw,place\n".to_owned();
        for n in rows {
            text.push_str(&format!("R{n:06},spinning,2.10 m,5-20 g,6-12 lb,B1\n"));
        }
        files.push(file(pb::ImportFileKind::Rods, text));
        let files = std::mem::take(&mut files);
        let asked = pb::ImportItemsRequest { files, claim: Some(claim()), ..Default::default() };
        let answer = service.inventory().import_items(asked).await.unwrap().into_inner();
        assert_eq!(answer.outcome(), pb::ImportOutcome::Imported, "{:?}", answer.faults.first());
    }
}

fn median(mut numbers: Vec<f64>) -> f64 {
    numbers.sort_by(f64::total_cmp);
    numbers[numbers.len() / 2]
}

async fn record() {
    println!("durable events through gRPC, {CALL_EVENTS} a call; medians of {ROUNDS} rounds:");
    for clients in [1_usize, 4, 16, 64] {
        let (mut rates, mut calls, mut groups) = (Vec::new(), Vec::new(), Vec::new());
        for _ in 0..ROUNDS {
            let folder = tempfile::tempdir().unwrap();
            let service = start(folder.path()).await;
            fill(&service, 0..5_000).await;
            let before = exported(&service).await;
            let rate = record_from(&service, clients).await;
            let after = exported(&service).await;
            let bytes = (after.1 - before.1) / (after.0 - before.0);
            service.end().await;
            rates.push(rate);
            calls.push(rate / raw(CALL_EVENTS, bytes));
            groups.push(rate / raw(CALL_EVENTS * clients, bytes));
        }
        println!(
            "  {clients:2} clients: {:6.0}/s; ratio to raw sled batches of {CALL_EVENTS} events {:.2}, \
             of {} events {:.2}",
            median(rates),
            median(calls),
            CALL_EVENTS * clients,
            median(groups)
        );
    }
    println!("  memory {} MB", memory() / 1_000_000);
}

/// Events a second that so many clients record, each on a connection of its own.
async fn record_from(service: &Running, clients: usize) -> f64 {
    let started = Instant::now();
    let mut tasks = Vec::new();
    for client in 0..clients {
        let mut inventory = service.inventory();
        tasks.push(tokio::spawn(async move {
            let (mut count, mut n) = (0_usize, client * 7919);
            while started.elapsed() < SPAN {
                let events = (0..CALL_EVENTS).map(|_| {
                    n = (n + 101) % 5_000;
                    used(n)
                });
                let request_id = format!("00000000-0000-4000-8000-{:04x}{count:08x}", client);
                let asked = pb::RecordEventsRequest {
                    events: events.collect(),
                    request_id,
                    ..Default::default()
                };
                inventory.record_events(asked).await.unwrap();
                count += CALL_EVENTS;
            }
            count
        }));
    }
    let mut events = 0;
    for task in tasks {
        events += task.await.unwrap();
    }
    events as f64 / started.elapsed().as_secs_f64()
}

/// Incompressible bytes.
fn noise(length: usize) -> Vec<u8> {
    let mut state = 0x9e37_79b9_7f4a_7c15_u64;
    let mut next = || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        state as u8
    };
    (0..length).map(|_| next()).collect()
}

/// Events a second of so many bytes each that sled itself makes durable in batches: the bare
/// events, nothing beside.
fn raw(batch_events: usize, event_bytes: usize) -> f64 {
    let noise = noise(1 << 20);
    let folder = tempfile::tempdir().unwrap();
    let config = sled::Config::new().path(folder.path()).flush_every_ms(None);
    let db = config.cache_capacity(64 << 20).segment_size(4 << 20).open().unwrap();
    let file = File::open(folder.path().join("db")).unwrap();
    let (mut n, started) = (0_u64, Instant::now());
    while started.elapsed() < SPAN {
        let mut batch = sled::Batch::default();
        for _ in 0..batch_events {
            let start = (n * 331) as usize % (noise.len() - event_bytes);
            batch.insert(&n.to_be_bytes(), &noise[start..start + event_bytes]);
            n += 1;
        }
        db.apply_batch(batch).unwrap();
        db.flush().unwrap();
        file.sync_data().unwrap();
    }
    n as f64 / started.elapsed().as_secs_f64()
}

async fn pages(service: &Running) {
    const SIZE: i32 = 100;
    let none = pb::ItemFilter::default();
    let few = pb::ItemFilter { text: "R0999".to_owned(), ..Default::default() };
    let kind = pb::ItemFilter { kinds: vec![pb::ItemKind::Rod.into()], ..Default::default() };
    let lures = pb::ItemFilter { kinds: vec![pb::ItemKind::Lure.into()], ..Default::default() };
    let many = pb::ItemFilter { text: "20 g".to_owned(), ..Default::default() };
    println!("pages of {SIZE} of {ITEMS} items, milliseconds (first, middle, last):");
    let told = format!("{LURES} lures, {CHANGES} changes each");
    for (name, filter) in [
        ("all", none),
        ("one kind", kind),
        ("a text of 100 items", few),
        ("a text of all rods", many),
        (told.as_str(), lures),
    ] {
        let mut times = Vec::new();
        let mut token = String::new();
        loop {
            let asked = pb::ListItemsRequest {
                page_size: SIZE,
                page_token: token,
                filter: Some(filter.clone()),
                ..Default::default()
            };
            let began = Instant::now();
            let page = service.inventory().list_items(asked).await.unwrap().into_inner();
            times.push(began.elapsed().as_secs_f64() * 1e3);
            token = page.next_page_token;
            if token.is_empty() {
                break;
            }
        }
        let (first, last) = (times[0], times[times.len() - 1]);
        let typical = median(times.clone());
        let middle = times[times.len() / 2];
        println!(
            "  {name:27} {first:7.2} {middle:7.2} {last:7.2}; {} pages, median {typical:.2}",
            times.len()
        );
    }
    println!("  memory {} MB", memory() / 1_000_000);
}

/// Imports lures, and loses pieces of each again and again.
async fn count_lures(service: &Running) {
    let rows = (0..LURES).map(|n| format!("L{n:04},crankbait,18 g,50,B1\n"));
    let csv_text = format!("lure_id,class,mass_raw,qty,place\n{}", rows.collect::<String>());
    let files = vec![pb::ImportFile { kind: pb::ImportFileKind::Lures.into(), csv_text }];
    let asked = pb::ImportItemsRequest { files, claim: Some(claim()), ..Default::default() };
    let answer = service.inventory().import_items(asked).await.unwrap().into_inner();
    assert_eq!(answer.outcome(), pb::ImportOutcome::Imported, "{:?}", answer.faults.first());
    for _ in 0..CHANGES {
        let lost = |n: usize| {
            let what = Some(What::Adjusted(pb::Adjusted {
                measure: pb::Measure::Pieces.into(),
                change: Some(-1),
                reason: pb::AdjustmentReason::Lost.into(),
                ..Default::default()
            }));
            let body = Some(pb::EventBody { what });
            let item_id = format!("L{n:04}");
            pb::NewEvent { item_id, claim: Some(claim()), body, ..Default::default() }
        };
        for numbers in (0..LURES).collect::<Vec<_>>().chunks(100) {
            let events = numbers.iter().map(|n| lost(*n)).collect();
            let asked = pb::RecordEventsRequest { events, ..Default::default() };
            service.inventory().record_events(asked).await.unwrap();
        }
    }
}

/// Asks for an id that is not there.
async fn miss(service: &Running) {
    let mut times = Vec::new();
    for _ in 0..20 {
        let asked = pb::GetItemRequest { id: "R0500000".to_owned(), read_mask: None };
        let began = Instant::now();
        let status = service.inventory().get_item(asked).await.unwrap_err();
        times.push(began.elapsed().as_secs_f64() * 1e3);
        assert!(status.message().contains("R050000"), "{status}");
    }
    println!("an id that looks like others of {ITEMS}: {:.2} ms (median)", median(times));
}

async fn exchange() {
    println!("exchange of {ITEMS} events between two services; {ROUNDS} rounds:");
    let folder = tempfile::tempdir().unwrap();
    let shed = start(folder.path()).await;
    fill(&shed, 0..ITEMS).await;
    let all = shed.items().await;
    let (count, bytes) = exported(&shed).await;
    println!("  {count} events, {} bytes each", bytes / count);
    let mut ratios = Vec::new();
    for _ in 0..ROUNDS {
        let folder = tempfile::tempdir().unwrap();
        let began = Instant::now();
        let boat = start_with(folder.path(), Some(shed.address)).await;
        while boat.items().await < all {
            tokio::time::sleep(Duration::from_millis(10)).await;
        }
        let rate = count as f64 / began.elapsed().as_secs_f64();
        boat.end().await;
        let copied = count as f64 / copy(bytes).await;
        let raw = tokio::task::spawn_blocking(move || raw(500, bytes / count)).await.unwrap();
        println!("  {rate:7.0}/s; bare copy {copied:9.0}/s, raw synced batches of 500 {raw:7.0}/s");
        ratios.push(rate / copied.min(raw));
    }
    println!("  ratio to the slower of the two: {:.2} (median)", median(ratios));
    println!("  memory {} MB", memory() / 1_000_000);
    shed.end().await;
}

/// How many events a service holds, and their bytes.
async fn exported(service: &Running) -> (usize, usize) {
    let asked = pb::ExportEventsRequest {};
    let mut exported = service.sync().export_events(asked).await.unwrap().into_inner();
    let (mut count, mut bytes) = (0, 0);
    while let Some(answer) = exported.message().await.unwrap() {
        let events = answer.chunk.unwrap_or_default().events;
        count += events.len();
        bytes += events.iter().map(|event| event.event.len()).sum::<usize>();
    }
    (count, bytes)
}

/// Seconds that so many bytes take over a bare connection.
async fn copy(bytes: usize) -> f64 {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    let began = Instant::now();
    let sending = tokio::spawn(async move {
        let mut stream = TcpStream::connect(address).await.unwrap();
        let part = noise(64 << 10);
        let mut left = bytes;
        while left > 0 {
            let now = left.min(part.len());
            stream.write_all(&part[..now]).await.unwrap();
            left -= now;
        }
    });
    let (mut stream, _) = listener.accept().await.unwrap();
    let mut taken = vec![0; 64 << 10];
    while stream.read(&mut taken).await.unwrap() > 0 {}
    sending.await.unwrap();
    began.elapsed().as_secs_f64()
}

/// Passes on what comes, and counts it.
async fn counting(to: SocketAddr) -> (SocketAddr, Arc<AtomicU64>) {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    let count = Arc::new(AtomicU64::new(0));
    let counted = Arc::clone(&count);
    tokio::spawn(async move {
        while let Ok((mut client, _)) = listener.accept().await {
            let counted = Arc::clone(&counted);
            tokio::spawn(async move {
                let mut server = TcpStream::connect(to).await.unwrap();
                let copied = tokio::io::copy_bidirectional(&mut client, &mut server).await;
                let (there, back) = copied.unwrap_or_default();
                counted.fetch_add(there + back, Ordering::SeqCst);
            });
        }
    });
    (address, count)
}

async fn wire() {
    println!("bytes on the wire, both ways, where both hold {ITEMS} events and one lacks more:");
    let (a, b) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let shed = start(a.path()).await;
    fill(&shed, 0..ITEMS).await;
    for (missing, whole) in [(ITEMS, true), (0, false), (10, false), (1_000, false)] {
        if !whole && missing > 0 {
            record_some(&shed, missing).await;
        }
        let (address, count) = counting(shed.address).await;
        let boat = start_with(b.path(), Some(address)).await;
        let done = loop {
            let state = boat.sync().get_sync_state(pb::GetSyncStateRequest {}).await.unwrap();
            let peer = state.into_inner().peers.remove(0);
            if peer.last_success_time.is_some() {
                break peer;
            }
            tokio::time::sleep(Duration::from_millis(100)).await;
        };
        boat.end().await;
        while count.load(Ordering::SeqCst) == 0 {
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
        println!(
            "  {missing:6} missing: {:9} bytes, {} events",
            count.load(Ordering::SeqCst),
            done.received_count
        );
    }
    shed.end().await;
}

async fn record_some(service: &Running, count: usize) {
    for calls in (0..count).collect::<Vec<_>>().chunks(CALL_EVENTS) {
        let events = calls.iter().map(|n| used(n * 37 % ITEMS)).collect();
        let asked = pb::RecordEventsRequest { events, ..Default::default() };
        service.inventory().record_events(asked).await.unwrap();
    }
}

/// A rod was fished.
fn used(rod: usize) -> pb::NewEvent {
    let what = Some(What::Used(pb::Used { minutes: Some(30) }));
    pb::NewEvent {
        item_id: format!("R{rod:06}"),
        claim: Some(claim()),
        body: Some(pb::EventBody { what }),
        ..Default::default()
    }
}

async fn time_start(folder: &Path) {
    let began = Instant::now();
    let service = start(folder).await;
    let seconds = began.elapsed().as_secs_f64();
    println!("  {seconds:.2} s; memory {} MB", memory() / 1_000_000);
    service.end().await;
}

/// Bytes of this process in memory.
fn memory() -> u64 {
    let status = fs::read_to_string("/proc/self/statm").unwrap_or_default();
    let pages: u64 = status.split(' ').nth(1).and_then(|n| n.parse().ok()).unwrap_or(0);
    pages * 4096
}
