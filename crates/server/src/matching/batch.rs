//! Millions of rows: messages in, one message of answers out for each, in the same order.
//!
//! A message is judged only when the answer before it was taken, so that a slow reader slows the
//! work down instead of filling the memory.

use std::borrow::Cow;
use std::sync::Arc;

use deepbend_contract::{
    At, Faults, FromWire as _, Reader, ToWire as _, WireWord as _, limits, pb,
};
use deepbend_core::gear::{Lure, Outfit};
use deepbend_core::judge;
use deepbend_core::model::Model;
use deepbend_core::water::Water;
use tokio::sync::mpsc;
use tokio::time::Instant;
use tokio_stream::wrappers::ReceiverStream;
use tonic::{Status, Streaming};
use tracing::Instrument as _;

use super::Matching;
use super::gear::{LEAST_LURE, LEAST_OUTFIT};
use super::overrides::{self, Overrides};
use crate::error::ServiceError;
use crate::gate::{CallDeadline, CallPlace, mended};

/// Rows that one worker judges before the deadline and the caller are looked at again.
const CHUNK_ROWS: usize = 64;

type Answer = Result<pb::JudgeBatchResponse, Status>;

/// Begins to answer a stream of rows.
pub(super) fn start(
    service: Matching,
    rows: Streaming<pb::JudgeBatchRequest>,
    deadline: Option<CallDeadline>,
    place: Option<CallPlace>,
) -> ReceiverStream<Answer> {
    let (answers, receiver) = mpsc::channel(1);
    let work = async move {
        let _place = place;
        let began = Instant::now();
        let mut count = 0;
        let ended = tokio::select! {
            biased;
            () = answers.closed() => return,
            () = service.cut.cancelled() => Err(ServiceError::ShuttingDown.into()),
            () = CallDeadline::passed(deadline) => Err(ServiceError::Deadline.into()),
            ended = answer_all(&service, rows, &answers, &mut count) => ended,
        };
        let code = ended.as_ref().err().map_or(tonic::Code::Ok, Status::code);
        let micros = u64::try_from(began.elapsed().as_micros()).unwrap_or(u64::MAX);
        tracing::info!(?code, rows = count, micros, "ended");
        if let Err(status) = ended {
            // Nobody is left to be told if this fails.
            let _ = answers.send(Err(status)).await;
        }
    };
    tokio::spawn(work.in_current_span());
    ReceiverStream::new(receiver)
}

async fn answer_all(
    service: &Matching,
    mut rows: Streaming<pb::JudgeBatchRequest>,
    answers: &mpsc::Sender<Answer>,
    count: &mut usize,
) -> Result<(), Status> {
    let mut last = (Overrides::new(), Arc::new(Cow::Borrowed(Model::builtin())));
    loop {
        let message = rows.message().await;
        let Some(message) = message.map_err(|e| mended(e, service.max_request_bytes))? else {
            return Ok(());
        };
        let Ok(free) = answers.reserve().await else { return Ok(()) };
        let pb::JudgeBatchRequest { rows, overrides } = message;
        let mut faults = Faults::new();
        let mut reader = Reader::new(At::ROOT, &mut faults);
        reader.fits("rows", rows.len(), limits::BATCH_ROWS);
        let overrides =
            reader.within("overrides", |at, faults| overrides::read(overrides, at, faults));
        faults.or(())?;
        if overrides != last.0 {
            let asked = overrides.clone();
            let model = service.pool.run(move || overrides::model(&asked)).await??;
            last = (overrides, Arc::new(model));
        }
        *count += rows.len();
        let results = judge_all(service, &last.1, rows).await?;
        free.send(Ok(pb::JudgeBatchResponse { results, model: Some(last.1.id().to_wire()) }));
    }
}

/// Judges the rows of a message on all workers, and puts the answers in the order of the rows.
async fn judge_all(
    service: &Matching,
    model: &Arc<Cow<'static, Model>>,
    rows: Vec<pb::JudgeBatchRow>,
) -> Result<Vec<pb::JudgeBatchResult>, ServiceError> {
    let mut results = Vec::with_capacity(rows.len());
    let mut rows = rows.into_iter().peekable();
    while rows.peek().is_some() {
        let mut wave = tokio::task::JoinSet::new();
        for part in 0..service.pool.width() {
            let chunk: Vec<_> = rows.by_ref().take(CHUNK_ROWS).collect();
            if chunk.is_empty() {
                break;
            }
            let (model, pool) = (Arc::clone(model), service.pool.clone());
            wave.spawn(
                async move {
                    let judged = move || -> Vec<_> {
                        chunk.into_iter().map(|row| judge_row(&model, row)).collect()
                    };
                    (part, pool.run(judged).await)
                }
                .in_current_span(),
            );
        }
        let mut parts = Vec::with_capacity(service.pool.width());
        while let Some(done) = wave.join_next().await {
            parts.push(done.map_err(stopped)?);
        }
        parts.sort_by_key(|(part, _)| *part);
        for (_, part) in parts {
            results.extend(part?);
        }
    }
    Ok(results)
}

/// Work is cancelled when the service ends before anybody reads the answer, as in a closed pipe.
fn stopped(error: tokio::task::JoinError) -> ServiceError {
    if error.is_cancelled() { ServiceError::ShuttingDown } else { ServiceError::Internal }
}

fn judge_row(model: &Model, row: pb::JudgeBatchRow) -> pb::JudgeBatchResult {
    let pb::JudgeBatchRow { id, outfit, lure, water } = row;
    let mut faults = Faults::new();
    let mut reader = Reader::new(At::ROOT, &mut faults);
    let id = reader.text("id", id, limits::NAME_LENGTH).unwrap_or_default();
    let outfit = reader.required("outfit", outfit, "an outfit").unwrap_or_default();
    let outfit = reader.within("outfit", |at, faults| Outfit::from_wire(outfit, at, faults));
    let lure = reader.required("lure", lure, "a lure").unwrap_or_default();
    let lure = reader.within("lure", |at, faults| Lure::from_wire(lure, at, faults));
    if reader.fault_count() == 0 {
        reader.says_something("outfit", &outfit, LEAST_OUTFIT);
        reader.says_something("lure", &lure, LEAST_LURE);
    }
    let water = water.unwrap_or_default();
    let water = reader.within("water", |at, faults| Water::from_wire(water, at, faults));
    if !faults.is_empty() {
        let faults = faults.as_slice().iter().map(|fault| fault.to_wire()).collect();
        return pb::JudgeBatchResult { id, faults, ..Default::default() };
    }
    let (judged, interval, findings) = judge::score_with_interval(model, &outfit, &lure, &water);
    pb::JudgeBatchResult {
        id,
        verdict: judged.verdict.to_wire_word().into(),
        score: judged.score,
        score_low: interval.low,
        score_high: interval.high,
        limiting_factor: judged.limiting_factor.to_wire_word().into(),
        faults: Vec::new(),
        findings: findings.iter().map(|finding| finding.to_wire()).collect(),
    }
}
