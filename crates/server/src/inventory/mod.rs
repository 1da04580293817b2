//! `InventoryService`: what there is, where, in what state.
//!
//! 1. [`item`]: an item, written;
//! 2. [`list`] and [`page`]: filters, pages and their tokens;
//! 3. [`import`] and [`requests`]: files in, all rows or none, safe to repeat;
//! 4. [`record`], [`event`], [`fields`], [`named`], [`amounts`], [`sense`] and [`columns`]: what
//!    happened, read, held against what is known, and recorded;
//! 5. [`told`] and [`history`]: claims, disputes, who said what, what is due;
//! 6. [`watch`]: changes from a revision on.

use std::sync::Arc;

use deepbend_contract::pb::inventory_service_server::InventoryService;
use deepbend_contract::{At, Faults, ReadMask, Reader, pb};
use deepbend_ledger::id::Id;
use deepbend_ledger::time::Date;
use deepbend_store::inventory::{Inventory, InventoryError};
use deepbend_store::{Condition, Store, StoreError};
use tokio_stream::wrappers::ReceiverStream;
use tokio_util::sync::CancellationToken;
use tonic::{Request, Response, Status};

use crate::compute::Pool;
use crate::error::{Missing, ServiceError};
use crate::gate::{CallDeadline, Places};
use crate::today::today;

mod amounts;
mod columns;
mod event;
mod fields;
mod history;
mod import;
mod item;
mod list;
mod named;
mod page;
mod record;
mod requests;
mod sense;
mod told;
mod watch;
mod words;

pub(crate) use page::PageKey;
pub(crate) use requests::{
    Requests, forget_old, note_device, note_founder, noted_device, noted_founder,
};
pub(crate) use told::forks;
pub(crate) use watch::Heads;

/// The inventory of a folder, with what the service keeps beside it.
#[derive(Clone)]
pub(crate) struct Holding {
    /// The events and their view.
    pub(crate) inventory: Arc<Inventory>,
    /// The store below.
    pub(crate) store: Arc<dyn Store>,
    /// Requests that were done.
    pub(crate) requests: Arc<Requests>,
    /// Key of the page tokens.
    pub(crate) page_key: PageKey,
    /// Name under which this service records.
    pub(crate) device: Id,
    /// Tells when something was committed.
    pub(crate) heads: Heads,
}

impl Holding {
    /// What is not found in a damaged store may have been lost: then the damage is the answer. And
    /// what is refused because the folder is read-only says that. Waits for the writer.
    fn heed(&self, error: ServiceError) -> ServiceError {
        use ServiceError::{Inventory, NotFound};
        let refused = matches!(error, Inventory(InventoryError::Store(StoreError::Unavailable(_))));
        if !refused && !matches!(error, NotFound(_)) {
            return error;
        }
        match self.store.condition() {
            Condition::ReadOnly(damage @ StoreError::Corrupt(_)) if !refused => damage.into(),
            Condition::ReadOnly(StoreError::Unavailable(_)) if refused => {
                ServiceError::ReadOnlyFolder
            }
            Condition::Sound | Condition::ReadOnly(_) | Condition::Failed(_) => error,
        }
    }
}

/// Answers `deepbend.v1.InventoryService`.
#[derive(Clone)]
pub(crate) struct InventoryApi {
    pub(crate) holding: Option<Holding>,
    pub(crate) pool: Pool,
    /// For what waits for the disk.
    pub(crate) recorders: Pool,
    pub(crate) today: Option<Date>,
    /// Ends the streams.
    pub(crate) cut: CancellationToken,
    /// Who watches at once: apart from other calls, since nobody knows when he ends.
    pub(crate) watchers: Places,
}

impl InventoryApi {
    fn holding(&self) -> Result<Holding, ServiceError> {
        self.holding.clone().ok_or(ServiceError::NoInventory)
    }

    fn get(&self, request: pb::GetItemRequest) -> Result<pb::GetItemResponse, ServiceError> {
        let pb::GetItemRequest { id, read_mask } = request;
        let mut faults = Faults::new();
        let mut reader = Reader::new(At::ROOT, &mut faults);
        if id.is_empty() {
            reader.required("id", None::<()>, "the id of an item");
        }
        let id = reader.id("id", id);
        let mask = ReadMask::read::<pb::Item>(&mut reader, "read_mask", read_mask);
        faults.or(())?;
        let view = self.holding()?.inventory.view();
        let id = id.unwrap_or_default();
        let found = Id::new(id.as_str()).map(|id| view.find(&id)).unwrap_or_default();
        // Where two kinds claim an id the first one is shown; it says that it is contested.
        let Some(entry) = found.first() else {
            let missing = Missing::new("id".to_owned(), None, &id, &view);
            return Err(ServiceError::NotFound(vec![missing]));
        };
        let mut item = item::item(entry, today(self.today));
        item.contested |= found.len() > 1;
        let story = told::story(&view, &entry.item().key());
        Ok(pb::GetItemResponse { item: Some(item::masked(&mask, item)?), story })
    }
}

#[tonic::async_trait]
impl InventoryService for InventoryApi {
    async fn import_items(
        &self,
        request: Request<pb::ImportItemsRequest>,
    ) -> Result<Response<pb::ImportItemsResponse>, Status> {
        let asked = import::read(request.into_inner()).map_err(ServiceError::from)?;
        let holding = self.holding()?;
        let work = move || import::import(&holding, &asked).map_err(|error| holding.heed(error));
        Ok(Response::new(self.recorders.run(work).await??))
    }

    async fn get_item(
        &self,
        request: Request<pb::GetItemRequest>,
    ) -> Result<Response<pb::GetItemResponse>, Status> {
        match self.get(request.into_inner()) {
            Ok(answer) => Ok(Response::new(answer)),
            Err(error) => {
                let holding = self.holding()?;
                Err(self.pool.run(move || holding.heed(error)).await?.into())
            }
        }
    }

    async fn list_items(
        &self,
        request: Request<pb::ListItemsRequest>,
    ) -> Result<Response<pb::ListItemsResponse>, Status> {
        let asked = list::read(request.into_inner()).map_err(ServiceError::from)?;
        let holding = self.holding()?;
        let today = today(self.today);
        let work =
            move || list::list(&holding.inventory.settled(), &holding.page_key, &asked, today);
        Ok(Response::new(self.pool.run(work).await??))
    }

    async fn record_events(
        &self,
        request: Request<pb::RecordEventsRequest>,
    ) -> Result<Response<pb::RecordEventsResponse>, Status> {
        let asked = record::read(request.into_inner()).map_err(ServiceError::from)?;
        let holding = self.holding()?;
        let work = move || record::record(&holding, asked).map_err(|error| holding.heed(error));
        Ok(Response::new(self.recorders.run(work).await??))
    }

    async fn list_item_events(
        &self,
        request: Request<pb::ListItemEventsRequest>,
    ) -> Result<Response<pb::ListItemEventsResponse>, Status> {
        let asked = history::read_events(request.into_inner()).map_err(ServiceError::from)?;
        let holding = self.holding()?;
        let work = move || {
            let view = holding.inventory.view();
            history::events(&view, &holding.page_key, &asked).map_err(|error| holding.heed(error))
        };
        Ok(Response::new(self.pool.run(work).await??))
    }

    async fn list_contested(
        &self,
        request: Request<pb::ListContestedRequest>,
    ) -> Result<Response<pb::ListContestedResponse>, Status> {
        let paging = history::read_contested(request.into_inner()).map_err(ServiceError::from)?;
        let holding = self.holding()?;
        let work =
            move || history::contested(&holding.inventory.view(), &holding.page_key, &paging);
        Ok(Response::new(self.pool.run(work).await??))
    }

    async fn list_due(
        &self,
        request: Request<pb::ListDueRequest>,
    ) -> Result<Response<pb::ListDueResponse>, Status> {
        let (day, paging) = history::read_due(request.into_inner()).map_err(ServiceError::from)?;
        let holding = self.holding()?;
        let day = day.or_else(|| today(self.today)).ok_or(ServiceError::Internal)?;
        let work =
            move || history::due_on(&holding.inventory.view(), &holding.page_key, &paging, day);
        Ok(Response::new(self.pool.run(work).await??))
    }

    type WatchItemsStream = ReceiverStream<Result<pb::WatchItemsResponse, Status>>;

    async fn watch_items(
        &self,
        request: Request<pb::WatchItemsRequest>,
    ) -> Result<Response<Self::WatchItemsStream>, Status> {
        let deadline = request.extensions().get::<CallDeadline>().copied();
        let asked = watch::read(request.into_inner()).map_err(ServiceError::from)?;
        let holding = self.holding()?;
        let limit = self.watchers.all();
        let place = self.watchers.take();
        let place = place.ok_or(ServiceError::TooLarge { what: "watchers (max_calls)", limit })?;
        Ok(Response::new(watch::start(self.clone(), holding, asked, deadline, place)))
    }
}
