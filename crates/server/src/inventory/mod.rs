//! `InventoryService`: what there is, where, in what state.
//!
//! 1. [`item`]: an item, written;
//! 2. [`list`] and [`page`]: filters, pages and their tokens;
//! 3. [`import`] and [`requests`]: files in, all rows or none, safe to repeat.

use std::sync::Arc;

use deepbend_contract::pb::inventory_service_server::InventoryService;
use deepbend_contract::{At, Faults, ReadMask, Reader, pb};
use deepbend_ledger::id::Id;
use deepbend_ledger::time::Date;
use deepbend_store::Store;
use deepbend_store::inventory::Inventory;
use tonic::{Request, Response, Status};

use crate::compute::Pool;
use crate::error::{Missing, ServiceError};
use crate::today::today;

mod import;
mod item;
mod list;
mod page;
mod requests;
mod words;

pub(crate) use page::PageKey;
pub(crate) use requests::forget_old;

/// The inventory of a folder, with what the service keeps beside it.
#[derive(Clone)]
pub(crate) struct Holding {
    /// The events and their view.
    pub(crate) inventory: Arc<Inventory>,
    /// The store below.
    pub(crate) store: Arc<dyn Store>,
    /// Key of the page tokens.
    pub(crate) page_key: PageKey,
    /// Name under which this service records.
    pub(crate) device: Id,
    /// Held by whoever imports, so that a request id is looked up and noted in one step.
    pub(crate) importing: Arc<std::sync::Mutex<()>>,
}

/// Answers `deepbend.v1.InventoryService`.
#[derive(Clone)]
pub(crate) struct InventoryApi {
    pub(crate) holding: Option<Holding>,
    pub(crate) pool: Pool,
    pub(crate) today: Option<Date>,
}

impl InventoryApi {
    fn holding(&self) -> Result<Holding, ServiceError> {
        self.holding.clone().ok_or(ServiceError::NoInventory)
    }

    fn get(&self, request: pb::GetItemRequest) -> Result<pb::Item, ServiceError> {
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
        item::masked(&mask, item)
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
        let report = self.pool.run(move || import::import(&holding, &asked)).await??;
        Ok(Response::new(report))
    }

    async fn get_item(
        &self,
        request: Request<pb::GetItemRequest>,
    ) -> Result<Response<pb::GetItemResponse>, Status> {
        let item = self.get(request.into_inner())?;
        Ok(Response::new(pb::GetItemResponse { item: Some(item) }))
    }

    async fn list_items(
        &self,
        request: Request<pb::ListItemsRequest>,
    ) -> Result<Response<pb::ListItemsResponse>, Status> {
        let asked = list::read(request.into_inner()).map_err(ServiceError::from)?;
        let holding = self.holding()?;
        let today = today(self.today);
        let work = move || list::list(&holding.inventory.view(), &holding.page_key, &asked, today);
        Ok(Response::new(self.pool.run(work).await??))
    }
}
