//! Every way in which a call can fail, and the one place where it becomes a status.
//!
//! What a caller is told never has a path, a panic's text or a stored value of others in it; that
//! goes to the log.

use deepbend_contract::{Faults, reason};
use deepbend_ledger::item::ItemKind;
use deepbend_ledger::view::{Entry, View};
use deepbend_store::StoreError;
use deepbend_store::inventory::InventoryError;
use tonic::Status;

use crate::spelling::{SLIPS, TYPED_LENGTH, slips};

/// An id that names nothing in the inventory.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Missing {
    /// Path of the field.
    pub(crate) field: String,
    /// Kind of item that was looked for; `None`: any, or an event.
    pub(crate) kind: Option<ItemKind>,
    /// The id.
    pub(crate) id: String,
    /// What people call that which was looked for.
    noun: String,
    /// Ids that are there and look alike, the likest first.
    near: Vec<String>,
}

/// Ids that name nothing, told at most.
const MISSING_TOLD: usize = 20;
/// Ids that look alike, told at most.
const NEAR: usize = 6;
impl Missing {
    /// An id that is not in the view.
    pub(crate) fn new(field: String, kind: Option<ItemKind>, id: &str, view: &View) -> Self {
        let items = view.entries().map(Entry::item);
        let same = items.filter(|item| kind.is_none_or(|kind| item.kind() == kind));
        let noun = match kind {
            None => "item".to_owned(),
            Some(ItemKind::Boat) => "boat or place".to_owned(),
            Some(kind) => kind.to_string(),
        };
        // Of places there are few: any of them may be meant.
        let most = if kind == Some(ItemKind::Boat) { TYPED_LENGTH } else { SLIPS };
        let mut near: Vec<(usize, String)> = Vec::new();
        for item in same {
            let called = item.name.as_ref().is_some_and(|name| name.eq_ignore_ascii_case(id));
            let slips = if called { Some(0) } else { slips(id, item.id.as_str()) };
            let Some(slips) = slips.filter(|slips| *slips <= most) else { continue };
            let at = near.partition_point(|(other, _)| *other <= slips);
            if at < NEAR {
                near.insert(at, (slips, item.id.to_string()));
                near.truncate(NEAR);
            }
        }
        let near = near.into_iter().map(|(_, id)| id).collect();
        Self { field, kind, id: id.to_owned(), noun, near }
    }

    /// An event that is not here.
    pub(crate) fn event(field: String, id: String) -> Self {
        Self { field, kind: None, id, noun: "event".to_owned(), near: Vec::new() }
    }

    /// What of it is there; empty if nothing looks alike.
    pub(crate) fn near(&self) -> String {
        match self.near.as_slice() {
            [] => String::new(),
            [one, ..] if one.eq_ignore_ascii_case(&self.id) => {
                format!("{one} is there: mind the capitals")
            }
            near => format!("there are {}", near.join(", ")),
        }
    }
}

/// Why a call fails.
#[derive(Debug)]
pub(crate) enum ServiceError {
    /// The request has faults.
    Faults(Faults),
    /// The page token is not ours, or of another request.
    PageToken,
    /// The request id was used before with other content.
    RequestIdReused(String),
    /// More than a stated limit.
    TooLarge {
        /// What is too large, with its unit.
        what: &'static str,
        /// How much is allowed.
        limit: usize,
    },
    /// The changes after a revision are forgotten.
    RevisionTooOld {
        /// The revision.
        revision: u64,
        /// The oldest that can be gone on from.
        floor: u64,
    },
    /// An item has changed since it was read.
    EtagMismatch {
        /// Its kind.
        kind: String,
        /// Its id.
        id: String,
        /// Its entity tag now; empty if it is not there.
        etag: String,
    },
    /// An exchange that cannot be held; what is wrong.
    Peer(String),
    /// Ids that name nothing.
    NotFound(Vec<Missing>),
    /// The deadline passed.
    Deadline,
    /// Too many calls at once.
    Overloaded,
    /// The service is about to end.
    ShuttingDown,
    /// There is no inventory.
    NoInventory,
    /// The data folder cannot be written.
    ReadOnlyFolder,
    /// No token, or a wrong one.
    Unauthenticated,
    /// A web page of a foreign origin.
    ForeignOrigin,
    /// The inventory failed.
    Inventory(InventoryError),
    /// A defect; the log has more.
    Internal,
}

impl From<Faults> for ServiceError {
    fn from(faults: Faults) -> Self {
        Self::Faults(faults)
    }
}

impl From<InventoryError> for ServiceError {
    fn from(error: InventoryError) -> Self {
        Self::Inventory(error)
    }
}

impl From<StoreError> for ServiceError {
    fn from(error: StoreError) -> Self {
        Self::Inventory(error.into())
    }
}

impl From<ServiceError> for Status {
    fn from(error: ServiceError) -> Self {
        match error {
            ServiceError::Faults(faults) => faults.into(),
            ServiceError::PageToken => reason::PAGE_TOKEN_INVALID.status(
                "page_token is not one of this listing; right is next_page_token of the page \
                 before, with the same filter and read_mask",
                &[("field", "page_token")],
            ),
            ServiceError::RequestIdReused(id) => reason::REQUEST_ID_REUSED.status(
                "request_id was used before with other content; take a new one for a new request",
                &[("request_id", &id)],
            ),
            ServiceError::TooLarge { what, limit } => {
                let limit = limit.to_string();
                let text = format!("too many {what}: at most {limit}");
                reason::TOO_LARGE.status(text, &[("what", what), ("limit", &limit)])
            }
            ServiceError::RevisionTooOld { revision, floor } => {
                let (revision, floor) = (revision.to_string(), floor.to_string());
                reason::REVISION_TOO_OLD.status(
                    format!(
                        "changes after revision {revision} cannot be told (kept: after {floor}); \
                             list again, and go on from the revision of the listing"
                    ),
                    &[("revision", &revision), ("floor", &floor)],
                )
            }
            ServiceError::EtagMismatch { kind, id, etag } => reason::ETAG_MISMATCH.status(
                format!("{kind} {id} has changed since it was read; read it again (etag {etag})"),
                &[("kind", &kind), ("id", &id), ("etag", &etag)],
            ),
            ServiceError::Peer(what) => {
                reason::PEER_REFUSED.status(format!("no exchange: {what}"), &[("what", &what)])
            }
            ServiceError::NotFound(missing) => not_found(&missing),
            ServiceError::Deadline => reason::DEADLINE_EXCEEDED
                .status("the deadline passed before the work was done", &[]),
            ServiceError::Overloaded => {
                reason::OVERLOADED.status("more calls than are taken at once; try again", &[])
            }
            ServiceError::ShuttingDown => {
                reason::SHUTTING_DOWN.status("the service is about to end; try again", &[])
            }
            ServiceError::NoInventory => reason::NO_INVENTORY
                .status("this service runs without a data folder, so it has no inventory", &[]),
            ServiceError::ReadOnlyFolder => reason::STORE_UNAVAILABLE.status(
                "the data folder can only be read: nothing was recorded. `deepbend sync` says why; \
                 where whoever runs the service may not write to it, mend owner, permissions or \
                 mount, and start the service again",
                &[],
            ),
            ServiceError::Unauthenticated => reason::UNAUTHENTICATED
                .status("metadata \"authorization\" must be \"Bearer\" and the token", &[]),
            ServiceError::ForeignOrigin => reason::PERMISSION_DENIED
                .status("this origin is not among cors_origins of the service", &[]),
            ServiceError::Inventory(error) => inventory(&error),
            ServiceError::Internal => {
                reason::INTERNAL.status("a defect of the service; its log has more", &[])
            }
        }
    }
}

fn not_found(missing: &[Missing]) -> Status {
    let one = |m: &Missing| {
        let near = m.near();
        let near = if near.is_empty() { near } else { format!("; {near}") };
        format!("{} {} ({}{near})", m.noun, m.id, m.field)
    };
    let all: Vec<_> = missing.iter().take(MISSING_TOLD).map(one).collect();
    let more = if missing.len() > all.len() { " and more" } else { "" };
    let text = format!("not in the inventory: {}{more}", all.join(", "));
    let kind = |m: &Missing| m.kind.map_or_else(|| m.noun.clone(), |kind| kind.to_string());
    let (kind, id) = missing.first().map(|m| (kind(m), m.id.clone())).unwrap_or_default();
    reason::ITEM_NOT_FOUND.status(text, &[("kind", &kind), ("id", &id)])
}

const MEBIBYTE: u64 = 1 << 20;

fn inventory(error: &InventoryError) -> Status {
    let internal = || Status::from(ServiceError::Internal);
    tracing::error!(%error, "the inventory failed");
    match error {
        InventoryError::Store(error) => match error {
            StoreError::Full { free_bytes, floor_bytes } => {
                let megabytes = |bytes: &u64| bytes / MEBIBYTE;
                let text = format!(
                    "the disk of the service is nearly full ({} MiB free): nothing is written \
                     before {} MiB are free",
                    megabytes(free_bytes),
                    megabytes(floor_bytes)
                );
                reason::STORE_UNAVAILABLE.status(text, &[])
            }
            StoreError::Unavailable(_) | StoreError::Locked { .. } => reason::STORE_UNAVAILABLE
                .status("the store does not answer; the service must be restarted", &[]),
            StoreError::Conflict { .. } => {
                reason::STORE_UNAVAILABLE.status("another write came between; try again", &[])
            }
            StoreError::Unknown(_) => reason::STORE_UNAVAILABLE.status(
                "it is not known whether this was written; call again with the same request_id",
                &[],
            ),
            StoreError::Corrupt(_) => reason::STORE_DAMAGED.status(
                "the store is damaged: it can only be read, as far as it goes. `deepbend sync` says \
                 what is damaged and what puts it right",
                &[],
            ),
            StoreError::Malformed { .. } | StoreError::Trimmed { .. } => internal(),
        },
        InventoryError::Event(_) => {
            reason::STORE_DAMAGED.status("the store holds an event that cannot be read", &[])
        }
        InventoryError::Chain(_) | InventoryError::Rows(_) => internal(),
    }
}

#[cfg(test)]
mod tests {
    use deepbend_ledger::event::{Chain, EventId};
    use deepbend_ledger::id::Id;
    use tonic_types::StatusExt as _;

    use super::*;

    // Source: AIP-193 (every error has an ErrorInfo); common practice, no source (no inner text).
    #[test]
    fn every_error_has_its_reason_and_keeps_secrets() {
        let secret = || "/home/somebody/data".to_owned();
        let store = |error| ServiceError::from(InventoryError::Store(error));
        let chain = Chain { device: Id::new("d").unwrap(), incarnation: 1 };
        let broken = deepbend_ledger::event::BrokenChain {
            id: EventId { chain, sequence: 1 },
            what: secret(),
        };
        let missing = Missing::new("rod_id".to_owned(), None, "R1", &View::default());
        for (error, reason) in [
            (Faults::new().into(), reason::INVALID_REQUEST),
            (ServiceError::PageToken, reason::PAGE_TOKEN_INVALID),
            (ServiceError::RequestIdReused("x".to_owned()), reason::REQUEST_ID_REUSED),
            (ServiceError::TooLarge { what: "rows", limit: 1 }, reason::TOO_LARGE),
            (ServiceError::NotFound(vec![missing]), reason::ITEM_NOT_FOUND),
            (ServiceError::Deadline, reason::DEADLINE_EXCEEDED),
            (ServiceError::Overloaded, reason::OVERLOADED),
            (ServiceError::ShuttingDown, reason::SHUTTING_DOWN),
            (ServiceError::NoInventory, reason::NO_INVENTORY),
            (ServiceError::ReadOnlyFolder, reason::STORE_UNAVAILABLE),
            (ServiceError::Unauthenticated, reason::UNAUTHENTICATED),
            (ServiceError::ForeignOrigin, reason::PERMISSION_DENIED),
            (ServiceError::Internal, reason::INTERNAL),
            (InventoryError::Chain(broken).into(), reason::INTERNAL),
            (store(StoreError::Conflict { index: 0 }), reason::STORE_UNAVAILABLE),
            (store(StoreError::Malformed { index: 0, what: secret() }), reason::INTERNAL),
            (store(StoreError::Full { free_bytes: 1, floor_bytes: 2 }), reason::STORE_UNAVAILABLE),
            (store(StoreError::Unavailable(secret())), reason::STORE_UNAVAILABLE),
            (store(StoreError::Unknown(secret())), reason::STORE_UNAVAILABLE),
            (store(StoreError::Corrupt(secret())), reason::STORE_DAMAGED),
        ] {
            let status = Status::from(error);
            assert_eq!(status.get_details_error_info().unwrap().reason, reason.name);
            assert_eq!(status.code(), reason.code);
            assert!(!format!("{status:?}").contains("somebody"), "{status:?}");
        }
    }
}
