//! `SyncService`: how services of one fleet come to hold the same events.
//!
//! 1. [`identity`]: name, key and founder, in files beside the store;
//! 2. [`session`]: one exchange, the same on both sides;
//! 3. [`peers`]: exchanges with a list of services, again and again.

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::{Arc, Mutex, PoisonError};

use deepbend_contract::pb;
use deepbend_contract::pb::sync_service_server::SyncService;
use deepbend_ledger::body::Body;
use deepbend_ledger::event::Hash;
use deepbend_ledger::exchange::Tips;
use deepbend_ledger::view::View;
use deepbend_store::backup::{BackupError, backup};
use deepbend_store::{Condition, Seq, StoreError};
use tokio::sync::mpsc;
use tokio_stream::StreamExt as _;
use tokio_stream::wrappers::ReceiverStream;
use tokio_util::sync::CancellationToken;
use tonic::{Request, Response, Status, Streaming};

use crate::compute::Pool;
use crate::error::ServiceError;
use crate::gate::{CallDeadline, CallPlace, mended};
use crate::inventory::{Holding, forks};

pub(crate) mod identity;
mod peers;
mod session;

pub(crate) use peers::Peers;
use session::Arrivals;
pub(crate) use session::Side;

/// Bytes of one part of a backup.
const PART_BYTES: usize = 256 * 1024;

/// Takes the bytes of a backup and sends them to whoever asked.
struct Parts {
    answers: mpsc::Sender<Result<pb::BackUpResponse, Status>>,
    cut: CancellationToken,
}

impl std::io::Write for Parts {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        let part = pb::BackUpResponse { part: bytes.to_vec() };
        if self.cut.is_cancelled() || self.answers.blocking_send(Ok(part)).is_err() {
            return Err(std::io::ErrorKind::BrokenPipe.into());
        }
        Ok(bytes.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

/// Answers `deepbend.v1.SyncService`.
#[derive(Clone)]
pub(crate) struct SyncApi {
    pub(crate) holding: Option<Holding>,
    pub(crate) pool: Pool,
    pub(crate) peers: Peers,
    pub(crate) max_request_bytes: usize,
    /// The data folder.
    pub(crate) folder: PathBuf,
    /// The hash of the last state that was asked for, and the commit up to which it is: folding
    /// all of it takes long.
    pub(crate) state_hash: Arc<Mutex<Option<(Seq, String)>>>,
    /// Ends the streams.
    pub(crate) cut: CancellationToken,
}

impl SyncApi {
    fn holding(&self) -> Result<Holding, ServiceError> {
        self.holding.clone().ok_or(ServiceError::NoInventory)
    }

    /// SHA-256 over the whole state.
    fn state_hash(&self, upto: Seq, view: &View) -> Result<String, ServiceError> {
        let mut last = self.state_hash.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((_, hash)) = last.as_ref().filter(|(seq, _)| *seq == upto) {
            return Ok(hash.clone());
        }
        let state = view.state().map_err(|error| {
            tracing::error!(%error, "a state that cannot be written");
            ServiceError::Internal
        })?;
        let hash = Hash::of(&state).to_string();
        *last = Some((upto, hash.clone()));
        Ok(hash)
    }

    fn state(&self, holding: &Holding) -> Result<pb::GetSyncStateResponse, ServiceError> {
        // First: whoever sees that an exchange is over sees what it brought as well.
        let peers = self.peers.states();
        let (upto, view) = holding.inventory.settled();
        let roll = view.roll();
        let (mut enrolments, mut revocations) = (BTreeMap::new(), BTreeMap::new());
        for (event, body) in view.enrolments() {
            let (of, device) = if let Body::Enrolled { device, .. } = body {
                (&mut enrolments, device)
            } else if let Body::Revoked { device, .. } = body {
                (&mut revocations, device)
            } else {
                continue;
            };
            of.entry(device).or_insert_with(Vec::new).push(event.to_string());
        }
        let devices = roll.members().map(|(device, member)| pb::FleetDevice {
            device_id: device.to_string(),
            keys: member.keys.iter().map(ToString::to_string).collect(),
            keeper: member.keeper,
            revoked: member.revoked.is_some(),
            enrolment_event_ids: enrolments.remove(device).unwrap_or_default(),
            revocation_event_ids: revocations.remove(device).unwrap_or_default(),
        });
        Ok(pb::GetSyncStateResponse {
            device_id: holding.device.to_string(),
            key: session::own_key(holding),
            founder_id: roll.founder().map(|f| f.device.to_string()).unwrap_or_default(),
            event_count: i64::try_from(view.event_count()).unwrap_or(i64::MAX),
            uncounted_event_count: i64::try_from(view.uncounted_count()).unwrap_or(i64::MAX),
            tips: session::tips(&view.tips()),
            devices: devices.collect(),
            forks: forks(&view),
            state_hash: self.state_hash(upto, &view)?,
            peers,
            store_trouble: match holding.store.condition() {
                Condition::Sound => String::new(),
                Condition::ReadOnly(why @ StoreError::Corrupt(_)) => format!(
                    "{why}. While no service runs `deepbendd --data {} repair` puts it together \
                     again and keeps the damaged files",
                    self.folder.display()
                ),
                Condition::ReadOnly(why) | Condition::Failed(why) => why.to_string(),
            },
        })
    }
}

#[tonic::async_trait]
impl SyncService for SyncApi {
    type ExchangeStream = ReceiverStream<Result<pb::ExchangeResponse, Status>>;

    async fn exchange(
        &self,
        request: Request<Streaming<pb::ExchangeRequest>>,
    ) -> Result<Response<Self::ExchangeStream>, Status> {
        let side = Side { holding: self.holding()?, pool: self.pool.clone() };
        let deadline = request.extensions().get::<CallDeadline>().copied();
        let place = request.extensions().get::<CallPlace>().cloned();
        let most = self.max_request_bytes;
        let heard = request.into_inner().map(move |message| {
            message.map(|message| message.part).map_err(|status| mended(status, most))
        });
        let (answers, receiver) = mpsc::channel(1);
        let (to, mut parts) = mpsc::channel::<pb::ExchangePart>(1);
        let (told, cut) = (answers.clone(), self.cut.clone());
        let pass = async move {
            while let Some(part) = parts.recv().await {
                let part = pb::ExchangeResponse { part: Some(part) };
                if told.send(Ok(part)).await.is_err() {
                    return;
                }
            }
        };
        let passing = tokio::spawn(pass);
        tokio::spawn(async move {
            let _place = place;
            let held = tokio::select! {
                biased;
                () = answers.closed() => return,
                () = cut.cancelled() => Err(ServiceError::ShuttingDown.into()),
                () = CallDeadline::passed(deadline) => Err(ServiceError::Deadline.into()),
                held = session::hold(&side, heard, to) => held,
            };
            // All that was said goes out before the end.
            let _ = passing.await;
            match held {
                Ok((own, theirs)) => tracing::info!(
                    received = own.accepted_count,
                    sent = theirs.accepted_count,
                    "exchanged"
                ),
                Err(status) => {
                    tracing::warn!(code = ?status.code(), what = status.message(), "broke off");
                    // Nobody is left to be told if this fails.
                    let _ = answers.send(Err(status)).await;
                }
            }
        });
        Ok(Response::new(ReceiverStream::new(receiver)))
    }

    async fn get_sync_state(
        &self,
        _request: Request<pb::GetSyncStateRequest>,
    ) -> Result<Response<pb::GetSyncStateResponse>, Status> {
        let (holding, api) = (self.holding()?, self.clone());
        Ok(Response::new(self.pool.run(move || api.state(&holding)).await??))
    }

    type ExportEventsStream = ReceiverStream<Result<pb::ExportEventsResponse, Status>>;

    async fn export_events(
        &self,
        request: Request<pb::ExportEventsRequest>,
    ) -> Result<Response<Self::ExportEventsStream>, Status> {
        let (holding, pool, cut) = (self.holding()?, self.pool.clone(), self.cut.clone());
        let place = request.extensions().get::<CallPlace>().cloned();
        let (answers, receiver) = mpsc::channel(1);
        tokio::spawn(async move {
            let _place = place;
            let work = async {
                let view = holding.inventory.view();
                let all = move || view.lacking(&Tips::default(), &Tips::default()).into_iter();
                let mut rest = pool.run(all).await?;
                while !rest.as_slice().is_empty() {
                    let inventory = Arc::clone(&holding.inventory);
                    let read =
                        move || session::chunk(&inventory, &mut rest).map(|chunk| (chunk, rest));
                    let (chunk, left) = pool.run(read).await??;
                    rest = left;
                    let answer = pb::ExportEventsResponse { chunk: Some(chunk) };
                    if answers.send(Ok(answer)).await.is_err() {
                        break;
                    }
                }
                Ok::<_, ServiceError>(())
            };
            let done = tokio::select! {
                () = cut.cancelled() => Err(ServiceError::ShuttingDown),
                done = work => done,
            };
            if let Err(error) = done {
                // Nobody is left to be told if this fails.
                let _ = answers.send(Err(error.into())).await;
            }
        });
        Ok(Response::new(ReceiverStream::new(receiver)))
    }

    type BackUpStream = ReceiverStream<Result<pb::BackUpResponse, Status>>;

    async fn back_up(
        &self,
        request: Request<pb::BackUpRequest>,
    ) -> Result<Response<Self::BackUpStream>, Status> {
        let (holding, pool, cut) = (self.holding()?, self.pool.clone(), self.cut.clone());
        let place = request.extensions().get::<CallPlace>().cloned();
        let (answers, receiver) = mpsc::channel(1);
        tokio::spawn(async move {
            let _place = place;
            let parts = Parts { answers: answers.clone(), cut };
            let work = move || {
                // A part is as long as a message should be.
                let mut parts = std::io::BufWriter::with_capacity(PART_BYTES, parts);
                match backup(&*holding.store, &mut parts) {
                    Ok(_) => Ok(()),
                    Err(BackupError::Store(error)) => Err(ServiceError::from(error)),
                    Err(BackupError::Stream(_) | BackupError::Damaged { .. }) => {
                        Err(ServiceError::ShuttingDown)
                    }
                }
            };
            if let Err(error) = pool.run(work).await.flatten() {
                // Nobody is left to be told if this fails.
                let _ = answers.send(Err(error.into())).await;
            }
        });
        Ok(Response::new(ReceiverStream::new(receiver)))
    }

    async fn import_events(
        &self,
        request: Request<Streaming<pb::ImportEventsRequest>>,
    ) -> Result<Response<pb::ImportEventsResponse>, Status> {
        let holding = self.holding()?;
        let mut stream = request.into_inner();
        let mut arrivals = Arrivals::default();
        loop {
            let message = stream.message().await;
            let message = message.map_err(|error| mended(error, self.max_request_bytes))?;
            let Some(message) = message else { break };
            let Some(chunk) = message.chunk else { continue };
            let inventory = Arc::clone(&holding.inventory);
            let mut so_far = std::mem::take(&mut arrivals);
            let work = move || so_far.take(&inventory, chunk).map(|()| so_far);
            arrivals = self.pool.run(work).await??;
        }
        let receipt = arrivals.receipt(&holding.inventory.view());
        Ok(Response::new(pb::ImportEventsResponse { receipt: Some(receipt) }))
    }
}
