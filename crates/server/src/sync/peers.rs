//! Exchanges with a list of services, again and again, each by itself and one at a time.
//!
//! A peer is asked at once, then again after half of the interval or more. One that is out of
//! reach is asked after a second first, then after twice as long each time, up to the interval.
//! Every wait is cut short by chance, by up to a half, so that boats that meet do not all call at
//! one moment.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use deepbend_contract::pb;
use deepbend_contract::pb::sync_service_client::SyncServiceClient;
use prost_types::Timestamp;
use tokio::sync::mpsc;
use tokio_stream::StreamExt as _;
use tokio_stream::wrappers::ReceiverStream;
use tokio_util::sync::CancellationToken;
use tonic::codec::CompressionEncoding;
use tonic::transport::Endpoint;
use tonic::{Request, Status};

use super::session::{self, Side};
use crate::config::Config;
use crate::gate::token::PeerToken;
use crate::today::now;

/// Wait after a first failure.
const FIRST_WAIT: Duration = Duration::from_secs(1);
const CONNECT_WAIT: Duration = Duration::from_secs(5);
/// Silence after which the line is tried, and then given up.
const ALIVE_EVERY: Duration = Duration::from_secs(20);
const ALIVE_WAIT: Duration = Duration::from_secs(10);
/// Longest wait for the other side to end its part.
const LAST_WORDS: Duration = Duration::from_secs(5);

/// The services to exchange with.
#[derive(Clone, Debug, Default)]
pub(crate) struct Peers(Arc<[Peer]>);

#[derive(Debug)]
struct Peer {
    url: String,
    token: Option<PeerToken>,
    state: Mutex<State>,
}

#[derive(Clone, Debug, Default)]
struct State {
    last_success: Option<Timestamp>,
    last_error: Option<(Timestamp, String)>,
    failures: u32,
    /// `None` while an exchange goes on.
    next: Option<Timestamp>,
    received: i64,
    sent: i64,
}

impl Peers {
    /// Begins to exchange with the peers of a configuration, until `cut`.
    pub(crate) fn begin(config: &Config, side: &Side, cut: &CancellationToken) -> Self {
        let peers = config.peers.iter().map(|url| Peer {
            url: url.clone(),
            token: config.peer_token.clone(),
            state: Mutex::default(),
        });
        let all = Self(peers.collect());
        for index in 0..all.0.len() {
            let (all, side, cut) = (all.clone(), side.clone(), cut.clone());
            let interval = config.peer_interval;
            tokio::spawn(async move {
                let Some(peer) = all.0.get(index) else { return };
                tokio::select! {
                    () = cut.cancelled() => {}
                    () = peer.follow(&side, interval) => {}
                }
            });
        }
        all
    }

    /// How it goes with each.
    pub(crate) fn states(&self) -> Vec<pb::PeerState> {
        self.0.iter().map(Peer::tell).collect()
    }
}

impl Peer {
    // A state changes in one step, so a poisoned lock guards a whole one.
    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn tell(&self) -> pb::PeerState {
        let State { last_success, last_error, failures, next, received, sent } =
            self.state().clone();
        let (last_error_time, last_error) = last_error.unzip();
        pb::PeerState {
            url: self.url.clone(),
            last_success_time: last_success,
            last_error_time,
            last_error: last_error.unwrap_or_default(),
            failure_count: i32::try_from(failures).unwrap_or(i32::MAX),
            next_attempt_time: next,
            received_count: received,
            sent_count: sent,
        }
    }

    /// Exchanges again and again.
    async fn follow(&self, side: &Side, interval: Duration) {
        loop {
            let done = self.exchange(side).await;
            let wait = {
                let mut state = self.state();
                let longest = match done {
                    Ok((received, sent)) => {
                        tracing::info!(peer = self.url, received, sent, "exchanged");
                        state.received += received;
                        state.sent += sent;
                        state.last_success = Some(now());
                        state.failures = 0;
                        interval
                    }
                    Err(status) => {
                        let what = status.message().to_owned();
                        tracing::warn!(peer = self.url, what, "no exchange");
                        let longest = FIRST_WAIT.saturating_mul(1 << state.failures.min(16));
                        state.last_error = Some((now(), what));
                        state.failures = state.failures.saturating_add(1);
                        longest.min(interval)
                    }
                };
                let wait = shortened(longest);
                state.next = Some(after(now(), wait));
                wait
            };
            tokio::time::sleep(wait).await;
            self.state().next = None;
        }
    }

    /// One exchange; answers how many new events came here and went there.
    async fn exchange(&self, side: &Side) -> Result<(i64, i64), Status> {
        let unreachable = |error: tonic::transport::Error| {
            let mut inner: &dyn std::error::Error = &error;
            while let Some(next) = inner.source() {
                inner = next;
            }
            Status::unavailable(format!("does not answer: {inner}"))
        };
        let endpoint = Endpoint::from_shared(self.url.clone()).map_err(unreachable)?;
        let endpoint = endpoint
            .connect_timeout(CONNECT_WAIT)
            .http2_keep_alive_interval(ALIVE_EVERY)
            .keep_alive_timeout(ALIVE_WAIT);
        let channel = endpoint.connect().await.map_err(unreachable)?;
        let mut client = SyncServiceClient::new(channel)
            .send_compressed(CompressionEncoding::Gzip)
            .accept_compressed(CompressionEncoding::Gzip);
        let (to, parts) = mpsc::channel(1);
        let said = ReceiverStream::new(parts).map(|part| pb::ExchangeRequest { part: Some(part) });
        let mut request = Request::new(said);
        if let Some(token) = &self.token {
            request.metadata_mut().insert("authorization", token.header());
        }
        let answers = client.exchange(request).await?.into_inner();
        let mut heard = answers.map(|answer| answer.map(|answer| answer.part));
        let (here, there) = session::hold(side, &mut heard, to).await?;
        // What was said last must arrive before the line is dropped.
        let rest = async { while heard.next().await.is_some() {} };
        let _ = tokio::time::timeout(LAST_WORDS, rest).await;
        Ok((here.accepted_count, there.accepted_count))
    }
}

/// A wait cut short by chance, by up to a half.
fn shortened(wait: Duration) -> Duration {
    let mut chance = [0; 4];
    // Without chance all waits are as long as they may be.
    let _ = getrandom::fill(&mut chance);
    let share = f64::from(u32::from_le_bytes(chance)) / f64::from(u32::MAX);
    wait.mul_f64(1.0 - share / 2.0)
}

fn after(time: Timestamp, wait: Duration) -> Timestamp {
    let nanos = i64::from(time.nanos) + i64::from(wait.subsec_nanos());
    let seconds = i64::try_from(wait.as_secs()).unwrap_or(i64::MAX);
    let mut later = Timestamp { seconds: time.seconds.saturating_add(seconds), nanos: 0 };
    later.seconds = later.seconds.saturating_add(nanos / 1_000_000_000);
    // Less than a second.
    later.nanos = (nanos % 1_000_000_000) as i32;
    later
}
