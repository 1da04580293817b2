//! A call whose work is watched: how it stands, now and then, and at last the answer.

use std::future::Future;
use std::pin::pin;
use std::time::Duration;

use deepbend_contract::pb;
use deepbend_contract::pb::watch_plan_response::Part;
use tokio::sync::{mpsc, watch};
use tokio_stream::wrappers::ReceiverStream;
use tokio_util::sync::CancellationToken;
use tonic::Status;
use tracing::Instrument as _;

use crate::error::ServiceError;
use crate::gate::{CallDeadline, CallPlace};

/// Pause between two messages, as the contract states.
const PACE: Duration = Duration::from_millis(200);

pub(super) type Answer = Result<pb::WatchPlanResponse, Status>;

/// What ends a watched call before its answer.
pub(super) struct Ends {
    pub(super) deadline: Option<CallDeadline>,
    pub(super) cut: CancellationToken,
    pub(super) place: Option<CallPlace>,
}

/// Begins to tell how `work` stands. When the call ends `work` is dropped.
pub(super) fn start(
    work: impl Future<Output = Result<Part, Status>> + Send + 'static,
    told: watch::Receiver<pb::PlanProgress>,
    ends: Ends,
) -> ReceiverStream<Answer> {
    let (answers, receiver) = mpsc::channel(1);
    let telling = async move {
        let _place = ends.place;
        let ended = tokio::select! {
            biased;
            () = answers.closed() => return,
            () = ends.cut.cancelled() => Err(ServiceError::ShuttingDown.into()),
            () = CallDeadline::passed(ends.deadline) => Err(ServiceError::Deadline.into()),
            ended = tell(work, told, &answers) => ended,
        };
        // Nobody is left to be told if this fails.
        let _ = answers.send(ended.map(message)).await;
    };
    tokio::spawn(telling.in_current_span());
    ReceiverStream::new(receiver)
}

fn message(part: Part) -> pb::WatchPlanResponse {
    pb::WatchPlanResponse { part: Some(part) }
}

async fn tell(
    work: impl Future<Output = Result<Part, Status>>,
    mut told: watch::Receiver<pb::PlanProgress>,
    answers: &mpsc::Sender<Answer>,
) -> Result<Part, Status> {
    let mut work = pin!(work);
    loop {
        // Who reads slowly is told the latest when there is room again.
        let progress = *told.borrow_and_update();
        if answers.try_send(Ok(message(Part::Progress(progress)))).is_err() {
            told.mark_changed();
        }
        let news = async {
            tokio::time::sleep(PACE).await;
            if told.changed().await.is_err() {
                // Nothing more is told: only the answer is still to come.
                std::future::pending::<()>().await;
            }
        };
        tokio::select! {
            biased;
            done = &mut work => return done,
            () = news => {}
        }
    }
}
