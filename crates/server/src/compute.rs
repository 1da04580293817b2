//! Work that must not run on the threads that answer the network.

use std::sync::Arc;

use tokio::sync::Semaphore;
use tracing::Span;

use crate::error::ServiceError;

/// At most so many pieces of work at once, each on a thread that may block. Who waits for a place
/// and is dropped (deadline, caller gone) gives up the place too.
#[derive(Clone, Debug)]
pub(crate) struct Pool {
    places: Arc<Semaphore>,
    width: usize,
}

impl Pool {
    /// A pool of `width` places.
    pub(crate) fn new(width: usize) -> Self {
        Self { places: Arc::new(Semaphore::new(width)), width }
    }

    /// Number of places.
    pub(crate) fn width(&self) -> usize {
        self.width
    }

    /// Runs a piece of work. Once begun it runs to its end, even if nobody waits any more.
    pub(crate) async fn run<T: Send + 'static>(
        &self,
        work: impl FnOnce() -> T + Send + 'static,
    ) -> Result<T, ServiceError> {
        let place = Arc::clone(&self.places).acquire_owned().await;
        let place = place.map_err(|_| ServiceError::ShuttingDown)?;
        let span = Span::current();
        let done = tokio::task::spawn_blocking(move || {
            let _place = place;
            span.in_scope(work)
        });
        done.await.map_err(|error| {
            tracing::error!(%error, "work ended in a panic");
            ServiceError::Internal
        })
    }
}
