//! What every call passes on its way in and out: origin, token, admission, deadline, panics, the
//! log line, and the form of errors.

use std::any::Any;
use std::convert::Infallible;
use std::future::{Future, poll_fn};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::pin::{Pin, pin};
use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::Duration;

use http::{HeaderValue, Request, Response, header};
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tokio::time::Instant;
use tokio_util::sync::CancellationToken;
use tonic::body::Body;
use tonic::{Code, Status};
use tower::{Layer, Service};
use tracing::Instrument as _;

use crate::config::Config;
use crate::error::ServiceError;

mod deadline;
mod mend;
pub(crate) mod token;

pub(crate) use deadline::CallDeadline;
pub(crate) use mend::mended;
use token::Token;

/// A place among the calls that are taken at once. A stream keeps it until its end.
#[derive(Clone, Debug)]
pub(crate) struct CallPlace {
    _place: Arc<OwnedSemaphorePermit>,
}

/// The gate, as a layer.
#[derive(Clone, Debug)]
pub(crate) struct Gate {
    rules: Arc<Rules>,
}

#[derive(Debug)]
struct Rules {
    token: Option<Token>,
    origins: Vec<HeaderValue>,
    places: Arc<Semaphore>,
    stop: CancellationToken,
    call_limit: Duration,
    max_request_bytes: usize,
}

impl Gate {
    /// A gate with the rules of the configuration, closed from `stop` on; all connections share
    /// `places`. Who comes through the socket in the data folder needs no token: the folder's
    /// permissions decide.
    pub(crate) fn new(
        config: &Config,
        places: Arc<Semaphore>,
        stop: CancellationToken,
        asks_token: bool,
    ) -> Self {
        let rules = Rules {
            token: config.token.clone().filter(|_| asks_token),
            origins: config.cors_origins.clone(),
            places,
            stop,
            call_limit: config.call_limit,
            max_request_bytes: config.max_request_bytes,
        };
        Self { rules: Arc::new(rules) }
    }
}

impl<S> Layer<S> for Gate {
    type Service = Gated<S>;

    fn layer(&self, inner: S) -> Gated<S> {
        Gated { inner, rules: Arc::clone(&self.rules) }
    }
}

/// A service behind the gate.
#[derive(Clone, Debug)]
pub(crate) struct Gated<S> {
    inner: S,
    rules: Arc<Rules>,
}

impl<S> Service<Request<Body>> for Gated<S>
where
    S: Service<Request<Body>, Response = Response<Body>, Error = Infallible>
        + Clone
        + Send
        + 'static,
    S::Future: Send,
{
    type Response = Response<Body>;
    type Error = Infallible;
    type Future = Pin<Box<dyn Future<Output = Result<Response<Body>, Infallible>> + Send>>;

    fn poll_ready(&mut self, cx: &mut Context<'_>) -> Poll<Result<(), Infallible>> {
        self.inner.poll_ready(cx)
    }

    fn call(&mut self, request: Request<Body>) -> Self::Future {
        // The one that was polled ready is used up; its clone waits for the next call.
        let clone = self.inner.clone();
        let inner = std::mem::replace(&mut self.inner, clone);
        let rules = Arc::clone(&self.rules);
        let method = request.uri().path().to_owned();
        let span = tracing::info_span!("call", method);
        let call = async move {
            let began = Instant::now();
            let response = pass(&rules, inner, request).await;
            let code = response
                .headers()
                .get(Status::GRPC_STATUS)
                .map_or(Code::Ok, |code| Code::from_bytes(code.as_bytes()));
            let micros = u64::try_from(began.elapsed().as_micros()).unwrap_or(u64::MAX);
            if is_health(&method) {
                tracing::debug!(?code, micros, "answered");
            } else {
                tracing::info!(?code, micros, "answered");
            }
            Ok(response)
        };
        Box::pin(call.instrument(span))
    }
}

fn is_health(method: &str) -> bool {
    method.starts_with("/grpc.health.v1.Health/")
}

async fn pass<S>(rules: &Rules, mut inner: S, mut request: Request<Body>) -> Response<Body>
where
    S: Service<Request<Body>, Response = Response<Body>, Error = Infallible>,
{
    let refused = |error: ServiceError| Status::from(error).into_http();
    let headers = request.headers();
    // A page that resolves its own name to this machine needs no leave of the browser.
    let origin = headers.get(header::ORIGIN);
    if origin.is_some_and(|origin| !rules.origins.contains(origin)) {
        return refused(ServiceError::ForeignOrigin);
    }
    let limit = deadline::asked(headers);
    if !is_health(request.uri().path()) {
        let shown = headers.get(header::AUTHORIZATION).map(HeaderValue::as_bytes);
        if rules.token.as_ref().is_some_and(|token| !token.is_shown_by(shown)) {
            return refused(ServiceError::Unauthenticated);
        }
        if rules.stop.is_cancelled() {
            return refused(ServiceError::ShuttingDown);
        }
        let Ok(place) = Arc::clone(&rules.places).try_acquire_owned() else {
            return refused(ServiceError::Overloaded);
        };
        request.extensions_mut().insert(CallPlace { _place: Arc::new(place) });
    }
    if let Some(limit) = limit {
        request.extensions_mut().insert(CallDeadline::after(limit));
    }
    let limit = limit.map_or(rules.call_limit, |asked| asked.min(rules.call_limit));
    let answer = guarded(inner.call(request));
    match tokio::time::timeout(limit, answer).await {
        Err(_) => refused(ServiceError::Deadline),
        Ok(Err(_panic)) => {
            tracing::error!("a call ended in a panic");
            refused(ServiceError::Internal)
        }
        Ok(Ok(Ok(response))) => mend::head(response, rules.max_request_bytes),
        Ok(Ok(Err(never))) => match never {},
    }
}

/// Runs a future; a panic in it becomes an error instead of the end of the connection.
async fn guarded<F: Future>(future: F) -> Result<F::Output, Box<dyn Any + Send>> {
    let mut future = pin!(future);
    poll_fn(|cx| match catch_unwind(AssertUnwindSafe(|| future.as_mut().poll(cx))) {
        Ok(poll) => poll.map(Ok),
        Err(panic) => Poll::Ready(Err(panic)),
    })
    .await
}
