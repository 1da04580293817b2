//! Services that exchange by themselves: a peer that is down, one that is killed in the middle.
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]
#![allow(clippy::disallowed_methods, reason = "the test starts a process and kills it")]

mod service_support;

use std::net::SocketAddr;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

use deepbend_contract::pb;
use deepbend_contract::pb::sync_service_client::SyncServiceClient;
use deepbend_server::{Config, Id, PeerToken, Token};
use service_support::{Running, import_of, small_fleet, start, start_on_port};
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::{TcpListener, TcpStream};

const TOKEN: &str = "a-token-of-the-shed";

/// A port that nobody listens on.
async fn free_address() -> SocketAddr {
    TcpListener::bind("127.0.0.1:0").await.unwrap().local_addr().unwrap()
}

fn config(device: &str, folder: &Path, peers: &[SocketAddr]) -> Config {
    Config {
        data: Some(folder.to_owned()),
        device: Some(Id::new(device).unwrap()),
        peers: peers.iter().map(|peer| format!("http://{peer}")).collect(),
        peer_interval: Duration::from_millis(50),
        ..Config::default()
    }
}

async fn state(running: &Running) -> pb::GetSyncStateResponse {
    let asked = pb::GetSyncStateRequest {};
    running.sync().get_sync_state(asked).await.unwrap().into_inner()
}

/// Waits until the state is as wished.
async fn until(
    running: &Running,
    wished: impl Fn(&pb::GetSyncStateResponse) -> bool,
) -> pb::GetSyncStateResponse {
    loop {
        let state = state(running).await;
        if wished(&state) {
            return state;
        }
        tokio::time::sleep(Duration::from_millis(5)).await;
    }
}

async fn import(running: &Running, rods: usize) {
    let ids: Vec<_> = (0..rods).map(|n| format!("R{n:04}")).collect();
    let ids: Vec<_> = ids.iter().map(String::as_str).collect();
    running.inventory().import_items(import_of(small_fleet(&ids))).await.unwrap();
}

// Source: the contract of PeerState.
#[tokio::test]
async fn a_peer_that_is_down_is_asked_again_and_caught_up_with() {
    let (a, b) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let address = free_address().await;
    let boat = start(config("B1-tablet", b.path(), &[address])).await;
    import(&boat, 3).await;
    let told = until(&boat, |state| state.peers[0].failure_count >= 2).await;
    let peer = &told.peers[0];
    assert_eq!((peer.url.as_str(), peer.last_success_time), (&*format!("http://{address}"), None));
    assert!(peer.last_error_time.is_some() && !peer.last_error.is_empty(), "{peer:?}");
    until(&boat, |state| state.peers[0].next_attempt_time.is_some()).await;
    // Without the token it is kept out, and told why.
    let shed = Config { token: Token::new(TOKEN), ..config("shed", a.path(), &[]) };
    let shed = start_on_port(shed, address).await;
    let told = until(&boat, |state| state.peers[0].last_error.contains("token")).await;
    assert_eq!(told.peers[0].last_success_time, None);
    boat.end().await;
    let peer_token = PeerToken::new(TOKEN);
    let boat = Config { peer_token, ..config("B1-tablet", b.path(), &[address]) };
    let boat = start(boat).await;
    let told = until(&boat, |state| state.peers[0].last_success_time.is_some()).await;
    assert_eq!((told.peers[0].failure_count, told.peers[0].sent_count), (0, 4));
    // What is recorded later arrives as well.
    let late = small_fleet(&["R9"]).split_off(1);
    boat.inventory().import_items(import_of(late)).await.unwrap();
    until(&boat, |state| state.peers[0].sent_count == 5).await;
    boat.end().await;
    shed.end().await;
    let shed = start(config("shed", a.path(), &[])).await;
    assert_eq!(state(&shed).await.event_count, 5);
    shed.end().await;
}

/// Passes on to `to` what comes to an address of its own. Once no more bytes of answers are allowed
/// the line stalls, and goes dead when some are allowed again.
async fn stalling(to: SocketAddr) -> (SocketAddr, Arc<AtomicUsize>) {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    let left = Arc::new(AtomicUsize::new(0));
    let allowed = Arc::clone(&left);
    tokio::spawn(async move {
        loop {
            let (client, _) = listener.accept().await.unwrap();
            let allowed = Arc::clone(&allowed);
            tokio::spawn(async move {
                let Ok(server) = TcpStream::connect(to).await else { return };
                let (mut from_client, mut to_client) = client.into_split();
                let (mut from_server, mut to_server) = server.into_split();
                let there = tokio::io::copy(&mut from_client, &mut to_server);
                let back = async {
                    let mut buffer = [0; 1024];
                    loop {
                        let mut stalled = false;
                        while allowed.load(Ordering::SeqCst) == 0 {
                            stalled = true;
                            tokio::time::sleep(Duration::from_millis(1)).await;
                        }
                        // What stood on the line is lost.
                        if stalled {
                            return Ok(());
                        }
                        let most = buffer.len().min(allowed.load(Ordering::SeqCst));
                        let read = from_server.read(&mut buffer[..most]).await?;
                        if read == 0 {
                            return Ok::<_, std::io::Error>(());
                        }
                        to_client.write_all(&buffer[..read]).await?;
                        if allowed.load(Ordering::SeqCst) != usize::MAX {
                            allowed.fetch_sub(read, Ordering::SeqCst);
                        }
                    }
                };
                tokio::select! {
                    _ = there => {}
                    _ = back => {}
                }
            });
        }
    });
    (address, left)
}

/// A service in a process of its own.
async fn process(folder: &Path, address: SocketAddr) -> Child {
    let child = Command::new(env!("CARGO_BIN_EXE_deepbendd"))
        .args(["--listen", &address.to_string(), "--device", "shed", "--data"])
        .arg(folder)
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    while SyncServiceClient::connect(format!("http://{address}")).await.is_err() {
        tokio::time::sleep(Duration::from_millis(5)).await;
    }
    child
}

// Source: the contract of SyncService: breaking off loses nothing, and the next exchange begins
// where this one ended.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_peer_killed_in_mid_stream_loses_nothing() {
    let (a, b) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let shed = start(config("shed", a.path(), &[])).await;
    import(&shed, 5_000).await;
    let whole = state(&shed).await;
    shed.end().await;
    let address = free_address().await;
    let mut child = process(a.path(), address).await;
    let (between, left) = stalling(address).await;
    left.store(60_000, Ordering::SeqCst);
    let boat = start(config("B1-tablet", b.path(), &[between])).await;
    until(&boat, |state| state.event_count > 0).await;
    while left.load(Ordering::SeqCst) > 0 {
        tokio::time::sleep(Duration::from_millis(1)).await;
    }
    child.kill().unwrap();
    child.wait().unwrap();
    left.store(usize::MAX, Ordering::SeqCst);
    let cut = until(&boat, |state| state.peers[0].failure_count > 0).await;
    assert!((1..whole.event_count).contains(&cut.event_count), "{}", cut.event_count);
    let mut child = process(a.path(), address).await;
    let done = until(&boat, |state| state.peers[0].last_success_time.is_some()).await;
    assert_eq!((done.event_count, done.state_hash), (whole.event_count, whole.state_hash));
    assert_eq!(done.peers[0].received_count, whole.event_count - cut.event_count);
    boat.end().await;
    child.kill().unwrap();
    child.wait().unwrap();
}
