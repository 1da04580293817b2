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

use http::{HeaderValue, Request, Response, Version, header};
use http_body_util::{BodyExt as _, Limited};
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

/// Most of a refused request that is read before the answer.
const MOST_UNREAD_BYTES: usize = 1024 * 1024;
/// Longest wait for it.
const UNREAD_WAIT: Duration = Duration::from_secs(1);

/// A place among the calls that are taken at once. A stream keeps it until its end.
#[derive(Clone, Debug)]
pub(crate) struct CallPlace {
    _place: Arc<OwnedSemaphorePermit>,
}

/// So many places, and no more.
#[derive(Clone, Debug)]
pub(crate) struct Places {
    free: Arc<Semaphore>,
    all: usize,
}

impl Places {
    /// All of them, free.
    pub(crate) fn of(all: usize) -> Self {
        Self { free: Arc::new(Semaphore::new(all)), all }
    }

    /// How many there are, taken or free.
    pub(crate) fn all(&self) -> usize {
        self.all
    }

    /// A place; `None` if all are taken.
    pub(crate) fn take(&self) -> Option<CallPlace> {
        let place = Arc::clone(&self.free).try_acquire_owned().ok()?;
        Some(CallPlace { _place: Arc::new(place) })
    }

    /// Waits until nobody has one: whoever holds all places knows that no call runs.
    pub(crate) async fn all_free(&self) {
        let all = u32::try_from(self.all).unwrap_or(u32::MAX);
        // They are never closed.
        let _ = self.free.acquire_many(all).await;
    }
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
    places: Places,
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
        places: Places,
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
        return turned_away(request, ServiceError::ForeignOrigin).await;
    }
    let limit = deadline::asked(headers);
    // Kept here too: a handler drops what came with the request when it begins.
    let mut held = None;
    if !is_health(request.uri().path()) {
        let shown = headers.get(header::AUTHORIZATION).map(HeaderValue::as_bytes);
        if rules.token.as_ref().is_some_and(|token| !token.is_shown_by(shown)) {
            return turned_away(request, ServiceError::Unauthenticated).await;
        }
        if rules.stop.is_cancelled() {
            return turned_away(request, ServiceError::ShuttingDown).await;
        }
        let Some(place) = rules.places.take() else {
            return turned_away(request, ServiceError::Overloaded).await;
        };
        held = Some(place.clone());
        request.extensions_mut().insert(place);
    }
    if let Some(limit) = limit {
        request.extensions_mut().insert(CallDeadline::after(limit));
    }
    let limit = limit.map_or(rules.call_limit, |asked| asked.min(rules.call_limit));
    let answer = guarded(inner.call(request));
    let answer = tokio::time::timeout(limit, answer).await;
    drop(held);
    match answer {
        Err(_) => refused(ServiceError::Deadline),
        Ok(Err(_panic)) => {
            tracing::error!("a call ended in a panic");
            refused(ServiceError::Internal)
        }
        Ok(Ok(Ok(response))) => mend::head(response, rules.max_request_bytes),
        Ok(Ok(Err(never))) => match never {},
    }
}

/// Refuses a call before its body is read. Over HTTP/1.1 the body is read out first, within bounds:
/// a connection that closes on unread bytes loses the answer.
async fn turned_away(request: Request<Body>, error: ServiceError) -> Response<Body> {
    if request.version() <= Version::HTTP_11 {
        let rest = Limited::new(request.into_body(), MOST_UNREAD_BYTES).collect();
        // Whether it came whole does not matter: nobody looks at it.
        let _ = tokio::time::timeout(UNREAD_WAIT, rest).await;
    }
    Status::from(error).into_http()
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

#[cfg(test)]
mod tests {
    use deepbend_contract::reason;
    use tokio::sync::Notify;
    use tonic_types::StatusExt as _;
    use tower::{ServiceExt as _, service_fn};

    use super::*;

    const PATH: &str = "/deepbend.v1.MatchingService/Judge";

    struct Doors {
        gate: Gate,
        places: Places,
        stop: CancellationToken,
    }

    fn doors(config: &Config) -> Doors {
        let (places, stop) = (Places::of(config.max_calls), CancellationToken::new());
        let gate = Gate::new(config, places.clone(), stop.clone(), true);
        Doors { gate, places, stop }
    }

    fn request(path: &str) -> Request<Body> {
        Request::builder().uri(path).body(Body::empty()).unwrap()
    }

    fn status(response: &Response<Body>) -> Status {
        Status::from_header_map(response.headers()).unwrap()
    }

    // Source: AIP-193: every error has its reason; what a panic says is nobody else's business.
    #[tokio::test]
    async fn a_panic_ends_its_own_call_only() {
        let doors = doors(&Config::default());
        let inner = service_fn(|_: Request<Body>| async {
            let secret = "in /home/somebody";
            if Instant::now().elapsed() < Duration::MAX {
                panic!("{secret}");
            }
            Ok::<_, Infallible>(Response::new(Body::empty()))
        });
        let response = doors.gate.layer(inner).oneshot(request(PATH)).await.unwrap();
        let status = status(&response);
        assert_eq!(status.code(), Code::Internal);
        assert_eq!(status.get_details_error_info().unwrap().reason, reason::INTERNAL.name);
        assert!(!format!("{response:?}").contains("somebody"));
        assert_eq!(doors.places.free.available_permits(), Config::default().max_calls);
    }

    // Source: the contract, reasons OVERLOADED and SHUTTING_DOWN; health is always answered.
    #[tokio::test]
    async fn a_call_keeps_its_place_until_it_is_answered() {
        let doors = doors(&Config { max_calls: 1, ..Config::default() });
        let (begun, go) = (Arc::new(Notify::new()), Arc::new(Notify::new()));
        let (tell, wait) = (Arc::clone(&begun), Arc::clone(&go));
        // Drops the request at once, as handlers do.
        let inner = service_fn(move |request: Request<Body>| {
            let (tell, wait) = (Arc::clone(&tell), Arc::clone(&wait));
            let health = is_health(request.uri().path());
            drop(request);
            async move {
                if !health {
                    tell.notify_one();
                    wait.notified().await;
                }
                Ok::<_, Infallible>(Response::new(Body::empty()))
            }
        });
        let service = doors.gate.layer(inner);
        let first = tokio::spawn(service.clone().oneshot(request(PATH)));
        begun.notified().await;
        assert_eq!(doors.places.free.available_permits(), 0);
        let second = service.clone().oneshot(request(PATH)).await.unwrap();
        assert_eq!(status(&second).get_details_error_info().unwrap().reason, "OVERLOADED");
        doors.stop.cancel();
        let third = service.clone().oneshot(request(PATH)).await.unwrap();
        assert_eq!(status(&third).get_details_error_info().unwrap().reason, "SHUTTING_DOWN");
        let health = service.clone().oneshot(request("/grpc.health.v1.Health/Check")).await;
        assert!(Status::from_header_map(health.unwrap().headers()).is_none());
        go.notify_one();
        let first = first.await.unwrap().unwrap();
        assert!(Status::from_header_map(first.headers()).is_none());
        assert_eq!(doors.places.free.available_permits(), 1);
    }
}
