//! Which items change, from a revision on.

use std::collections::BTreeSet;
use std::sync::{Arc, OnceLock, Weak};
use std::time::Duration;

use deepbend_contract::pb::FaultCode;
use deepbend_contract::{At, Faults, ReadMask, Reader, pb};
use deepbend_ledger::body::Body;
use deepbend_ledger::fold::Told;
use deepbend_ledger::item::ItemKey;
use deepbend_store::inventory::{Inventory, events_of};
use deepbend_store::{Seq, Store, StoreError};
use tokio::sync::{mpsc, watch};
use tokio_stream::wrappers::ReceiverStream;
use tokio_util::sync::CancellationToken;
use tonic::Status;

use super::item;
use super::words::LedgerWord as _;
use super::{Holding, InventoryApi};
use crate::error::ServiceError;
use crate::gate::{CallDeadline, CallPlace};
use crate::today::today;

/// Commits that one message tells of at most.
const COMMITS: usize = 64;
/// Longest wait of the one thread that waits for commits before it looks whether to end.
const LOOK: Duration = Duration::from_millis(100);

type Answer = Result<pb::WatchItemsResponse, Status>;

/// The head of the store, told to everybody who waits for changes: one thread waits for all,
/// from the first watcher on.
#[derive(Clone)]
pub(crate) struct Heads {
    store: Weak<dyn Store>,
    stop: CancellationToken,
    followed: Arc<OnceLock<watch::Sender<Seq>>>,
}

impl Heads {
    /// The heads of a store, until `stop`.
    pub(crate) fn of(store: &Arc<dyn Store>, stop: CancellationToken) -> Self {
        Self { store: Arc::downgrade(store), stop, followed: Arc::default() }
    }

    fn subscribe(&self) -> watch::Receiver<Seq> {
        self.followed.get_or_init(|| self.follow()).subscribe()
    }

    fn follow(&self) -> watch::Sender<Seq> {
        let head = self.store.upgrade().and_then(|store| store.head().ok()).unwrap_or_default();
        let (sender, _) = watch::channel(head);
        let (heads, store, stop) = (sender.clone(), self.store.clone(), self.stop.clone());
        tokio::task::spawn_blocking(move || {
            let mut head = head;
            while let Some(store) = store.upgrade().filter(|_| !stop.is_cancelled()) {
                match store.wait_past(head, LOOK) {
                    Ok(now) if now != head => {
                        head = now;
                        heads.send_replace(now);
                    }
                    Ok(_) => {}
                    // Nothing will be committed any more.
                    Err(_) => return,
                }
            }
        });
        sender
    }
}

/// What is asked for.
#[derive(Debug)]
pub(super) struct Asked {
    after: Seq,
    mask: ReadMask,
}

/// Reads the request.
pub(super) fn read(request: pb::WatchItemsRequest) -> Result<Asked, Faults> {
    let pb::WatchItemsRequest { after_revision, read_mask } = request;
    let mut faults = Faults::new();
    let mut reader = Reader::new(At::ROOT, &mut faults);
    let after = Seq::try_from(after_revision);
    if after.is_err() {
        let wrong = format!("is {after_revision}");
        let right = "0, or the revision of an answer";
        reader.fault("after_revision", FaultCode::TooSmall, wrong, right);
    }
    let mask = ReadMask::read::<pb::Item>(&mut reader, "read_mask", read_mask);
    faults.or(Asked { after: after.unwrap_or_default(), mask })
}

/// Begins to tell changes.
pub(super) fn start(
    api: InventoryApi,
    holding: Holding,
    asked: Asked,
    deadline: Option<CallDeadline>,
    place: CallPlace,
) -> ReceiverStream<Answer> {
    let (answers, receiver) = mpsc::channel(1);
    tokio::spawn(async move {
        let _place = place;
        let ended = tokio::select! {
            biased;
            () = answers.closed() => return,
            () = api.cut.cancelled() => ServiceError::ShuttingDown.into(),
            () = CallDeadline::passed(deadline) => ServiceError::Deadline.into(),
            Err(status) = tell(&api, &holding, asked, &answers) => status,
        };
        // Nobody is left to be told if this fails.
        let _ = answers.send(Err(ended)).await;
    });
    ReceiverStream::new(receiver)
}

async fn tell(
    api: &InventoryApi,
    holding: &Holding,
    asked: Asked,
    answers: &mpsc::Sender<Answer>,
) -> Result<std::convert::Infallible, Status> {
    let mut heads = holding.heads.subscribe();
    let Asked { after, mask } = asked;
    let mut revision = if after == 0 { holding.inventory.settled().0 } else { after };
    let mask = Arc::new(mask);
    let mut first = true;
    loop {
        let head = *heads.borrow_and_update();
        if revision > head.max(holding.inventory.settled().0) {
            return Err(ServiceError::RevisionTooOld { revision, floor: head }.into());
        }
        let (inventory, store) = (Arc::clone(&holding.inventory), Arc::clone(&holding.store));
        let (mask, day) = (Arc::clone(&mask), today(api.today));
        let work = move || changed(&inventory, &*store, revision, &mask, day);
        let Changed { upto, items, removed } = api.pool.run(work).await??;
        let more = upto > revision;
        revision = upto;
        if first || !items.is_empty() || !removed.is_empty() {
            let revision = i64::try_from(revision).unwrap_or(i64::MAX);
            let message = pb::WatchItemsResponse { revision, items, removed };
            if answers.send(Ok(message)).await.is_err() {
                return Err(ServiceError::ShuttingDown.into());
            }
            first = false;
        }
        if !more && heads.changed().await.is_err() {
            return Err(ServiceError::ShuttingDown.into());
        }
    }
}

/// The items that commits are about, as they are now.
struct Changed {
    upto: Seq,
    items: Vec<pb::Item>,
    removed: Vec<pb::RemovedItem>,
}

/// What the next commits changed.
fn changed(
    inventory: &Inventory,
    store: &dyn Store,
    since: Seq,
    mask: &ReadMask,
    day: Option<deepbend_ledger::time::Date>,
) -> Result<Changed, ServiceError> {
    let commits = match store.changes(since, COMMITS) {
        Err(StoreError::Trimmed { floor }) => {
            return Err(ServiceError::RevisionTooOld { revision: since, floor });
        }
        read => read?,
    };
    let upto = commits.last().map_or(since, |last| last.seq);
    let mut changed = Changed { upto, items: Vec::new(), removed: Vec::new() };
    if commits.is_empty() {
        return Ok(changed);
    }
    let view = inventory.caught_up();
    let about: BTreeSet<ItemKey> =
        commits.iter().flat_map(events_of).flat_map(|event| view.about(&event)).collect();
    for key in about {
        match view.get(&key) {
            Some(entry) => {
                changed.items.push(item::masked(mask, item::item(entry, day))?);
            }
            // An event may come before the one that tells of its item: then it never was here.
            None if view.history(&key).iter().any(|told| is_first(told)) => {
                let kind = key.kind.wire().into();
                changed.removed.push(pb::RemovedItem { id: key.id.to_string(), kind });
            }
            None => {}
        }
    }
    Ok(changed)
}

fn is_first(told: &Told<'_>) -> bool {
    matches!(told.event.body, Body::Acquired { .. })
}
