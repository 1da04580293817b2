//! What the health service says: the state of each service as it really is.

use std::sync::Arc;
use std::time::Duration;

use deepbend_contract::pb::inventory_service_server::InventoryServiceServer;
use deepbend_contract::pb::matching_service_server::MatchingServiceServer;
use deepbend_contract::pb::mechanics_service_server::MechanicsServiceServer;
use deepbend_contract::pb::sync_service_server::SyncServiceServer;
use deepbend_contract::pb::trip_service_server::TripServiceServer;
use deepbend_store::{Condition, Store, StoreError};
use tokio_util::sync::CancellationToken;
use tonic::server::NamedService;
use tonic_health::ServingStatus;
use tonic_health::server::HealthReporter;

use crate::inventory::InventoryApi;
use crate::matching::Matching;
use crate::mechanics::Mechanics;
use crate::sync::SyncApi;
use crate::trips::TripServiceImpl;

/// Time between two looks at the store.
const LOOK: Duration = Duration::from_secs(2);

const MATCHING: &str = MatchingServiceServer::<Matching>::NAME;
const INVENTORY: &str = InventoryServiceServer::<InventoryApi>::NAME;
const SYNC: &str = SyncServiceServer::<SyncApi>::NAME;
const TRIPS: &str = TripServiceServer::<TripServiceImpl>::NAME;
const MECHANICS: &str = MechanicsServiceServer::<Mechanics>::NAME;
/// The service as a whole.
const ALL: &str = "";

/// What the store can do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum StoreState {
    Missing,
    Sound,
    ReadOnly,
    Failed,
}

/// Asks the store with a commit of nothing: that writes nothing and is refused as any other.
fn look(store: &dyn Store) -> StoreState {
    match store.commit(Vec::new()) {
        Ok(_) | Err(StoreError::Conflict { .. }) => StoreState::Sound,
        Err(StoreError::Full { .. }) => StoreState::ReadOnly,
        Err(_) if matches!(store.condition(), Condition::ReadOnly(_)) => StoreState::ReadOnly,
        Err(_) => StoreState::Failed,
    }
}

/// Which services serve in a state, and whether the whole does.
fn serving(state: StoreState) -> [(&'static str, bool); 6] {
    let (inventory, trips, all) = match state {
        StoreState::Missing => (false, false, true),
        StoreState::Sound => (true, true, true),
        StoreState::ReadOnly => (false, true, true),
        StoreState::Failed => (false, false, false),
    };
    [
        (MATCHING, true),
        (INVENTORY, inventory),
        (SYNC, inventory),
        (TRIPS, trips),
        (MECHANICS, true),
        (ALL, all),
    ]
}

async fn tell(reporter: &HealthReporter, states: [(&'static str, bool); 6]) {
    for (name, serves) in states {
        let status = if serves { ServingStatus::Serving } else { ServingStatus::NotServing };
        reporter.set_service_status(name, status).await;
    }
}

/// Looks at the store and tells the state of everything, if it is another than `last`.
async fn look_and_tell(
    reporter: &HealthReporter,
    store: Option<&Arc<dyn Store>>,
    last: Option<StoreState>,
) -> StoreState {
    let state = match store.cloned() {
        None => StoreState::Missing,
        Some(store) => {
            let looked = tokio::task::spawn_blocking(move || look(&*store)).await;
            looked.unwrap_or(StoreState::Failed)
        }
    };
    if last != Some(state) {
        if matches!(state, StoreState::ReadOnly | StoreState::Failed) {
            tracing::error!(?state, "the store is not as it should be");
        }
        tell(reporter, serving(state)).await;
    }
    state
}

/// Keeps the health service true until `stop`; from then on nothing serves.
#[derive(Debug)]
pub(crate) struct HealthWatch {
    reporter: HealthReporter,
    last: StoreState,
}

impl HealthWatch {
    /// Tells the first state, so that no caller finds none.
    pub(crate) async fn begin(reporter: HealthReporter, store: Option<&Arc<dyn Store>>) -> Self {
        let last = look_and_tell(&reporter, store, None).await;
        Self { reporter, last }
    }

    /// Looks again and again until `stop`.
    pub(crate) async fn run(self, store: Option<Arc<dyn Store>>, stop: CancellationToken) {
        let Self { reporter, mut last } = self;
        loop {
            tokio::select! {
                biased;
                () = stop.cancelled() => break,
                () = tokio::time::sleep(LOOK) => {}
            }
            last = look_and_tell(&reporter, store.as_ref(), Some(last)).await;
        }
        let all = [MATCHING, INVENTORY, SYNC, TRIPS, MECHANICS, ALL];
        tell(&reporter, all.map(|name| (name, false))).await;
    }
}

#[cfg(test)]
mod tests {
    use deepbend_store::{Fault, FaultyStore, MemoryStore};

    use super::*;

    // Source: common practice, no source (real state per service, not a constant).
    #[test]
    fn the_state_is_that_of_the_store() {
        assert_eq!(look(&MemoryStore::default()), StoreState::Sound);
        for fault in [Fault::Refused, Fault::Damaged, Fault::AnswerLost] {
            let store = FaultyStore::new(MemoryStore::default(), 1, fault);
            assert_eq!(look(&store), StoreState::Failed, "{fault:?}");
        }
        let serves = |state| serving(state).map(|(_, serves)| serves);
        assert_eq!(serves(StoreState::Missing), [true, false, false, false, true, true]);
        assert_eq!(serves(StoreState::ReadOnly), [true, false, false, true, true, true]);
        assert_eq!(serves(StoreState::Failed), [true, false, false, false, true, false]);
    }
}
