//! Who said what, what is contested, what is due: page by page.

use deepbend_contract::pb::FaultCode;
use deepbend_contract::{At, Faults, Reader, limits, pb};
use deepbend_core::gear::Word as _;
use deepbend_ledger::due::due;
use deepbend_ledger::event::Hash;
use deepbend_ledger::id::Id;
use deepbend_ledger::item::{ItemKey, ItemKind};
use deepbend_ledger::time::Date;
use deepbend_ledger::view::{EventRef, View};

use super::fields::{date, event_id};
use super::page::{PageKey, key_of, place_of};
use super::told;
use super::words::LedgerWord;
use crate::error::{Missing, ServiceError};

/// A page that is asked for.
#[derive(Debug)]
pub(super) struct Paging {
    size: usize,
    token: String,
    /// What a page token is bound to.
    request: Vec<u8>,
}

/// Reads size and token of a page; `bound` is what the other fields say.
pub(super) fn paging(
    reader: &mut Reader<'_>,
    size: i32,
    token: String,
    bound: impl Into<Vec<u8>>,
) -> Paging {
    let size = match usize::try_from(size) {
        Ok(0) => limits::PAGE_DEFAULT,
        Ok(size) => size.min(limits::PAGE_MAX),
        Err(_) => {
            let wrong = format!("is {size}");
            reader.fault("page_size", FaultCode::TooSmall, wrong, "0 or more");
            0
        }
    };
    Paging { size, token, request: bound.into() }
}

impl Paging {
    /// Where the page begins: after this place.
    fn after(&self, key: &PageKey) -> Result<Option<Vec<u8>>, ServiceError> {
        match self.token.as_str() {
            "" => Ok(None),
            token => key.read(&self.request, token).map(Some),
        }
    }

    fn after_item(&self, key: &PageKey) -> Result<Option<ItemKey>, ServiceError> {
        let place = self.after(key)?;
        place.map(|place| key_of(&place).ok_or(ServiceError::PageToken)).transpose()
    }
}

/// An item whose events are asked for.
#[derive(Debug)]
pub(super) struct AskedEvents {
    id: String,
    kind: Option<ItemKind>,
    paging: Paging,
}

/// Reads the request.
pub(super) fn read_events(request: pb::ListItemEventsRequest) -> Result<AskedEvents, Faults> {
    let pb::ListItemEventsRequest { item_id, item_kind, page_size, page_token } = request;
    let mut faults = Faults::new();
    let mut reader = Reader::new(At::ROOT, &mut faults);
    let bound = format!("events {item_id} {item_kind}");
    let paging = paging(&mut reader, page_size, page_token, bound);
    if item_id.is_empty() {
        reader.required("item_id", None::<()>, "the id of an item");
    }
    let id = reader.id("item_id", item_id).unwrap_or_default();
    let kind: Option<pb::ItemKind> = reader.choice("item_kind", item_kind, "ItemKind");
    faults.or(AskedEvents { id, kind: kind.and_then(ItemKind::from_wire), paging })
}

/// A page of the events of an item.
pub(super) fn events(
    view: &View,
    key: &PageKey,
    asked: &AskedEvents,
) -> Result<pb::ListItemEventsResponse, ServiceError> {
    let AskedEvents { id, kind, paging } = asked;
    let after = paging.after(key)?;
    let missing = || Missing::new("item_id".to_owned(), *kind, id, view);
    let not_found = || ServiceError::NotFound(vec![missing()]);
    let id = Id::new(id.as_str()).map_err(|_| not_found())?;
    let found = view.find(&id).first().map(|entry| entry.item().kind());
    // Of an item that was taken back the events are still there.
    let history = match kind.or(found) {
        Some(kind) => view.history(&ItemKey { kind, id }),
        None => {
            let all = ItemKind::ALL.iter().map(|kind| ItemKey { kind: *kind, id: id.clone() });
            let mut all = all.map(|key| view.history(&key));
            all.find(|history| !history.is_empty()).unwrap_or_default()
        }
    };
    if history.is_empty() {
        return Err(not_found());
    }
    let from = match after {
        None => 0,
        Some(place) => {
            let last = read_reference(&place).ok_or(ServiceError::PageToken)?;
            let at = history.iter().position(|told| told.reference == last);
            at.map(|at| at + 1).ok_or(ServiceError::PageToken)?
        }
    };
    let page = history.get(from..).unwrap_or_default();
    let told = page.get(..paging.size).unwrap_or(page);
    let more = page.len() > paging.size;
    let last = told.last().filter(|_| more);
    let next = last.map(|last| key.issue(&paging.request, &reference(&last.reference)));
    Ok(pb::ListItemEventsResponse {
        events: told.iter().filter_map(|one| told::told(view, one)).collect(),
        next_page_token: next.unwrap_or_default(),
    })
}

fn reference(event: &EventRef) -> Vec<u8> {
    format!("{} {}", event.id, event.hash).into_bytes()
}

fn read_reference(place: &[u8]) -> Option<EventRef> {
    let (id, hash) = std::str::from_utf8(place).ok()?.split_once(' ')?;
    Some(EventRef { id: event_id(id)?, hash: Hash::try_from(hash.to_owned()).ok()? })
}

/// Reads the request.
pub(super) fn read_contested(request: pb::ListContestedRequest) -> Result<Paging, Faults> {
    let pb::ListContestedRequest { page_size, page_token } = request;
    let mut faults = Faults::new();
    let mut reader = Reader::new(At::ROOT, &mut faults);
    let paging = paging(&mut reader, page_size, page_token, "contested");
    faults.or(paging)
}

/// A page of what is contested.
pub(super) fn contested(
    view: &View,
    key: &PageKey,
    paging: &Paging,
) -> Result<pb::ListContestedResponse, ServiceError> {
    let after = paging.after_item(key)?;
    let mut rest = view
        .contested()
        .filter(|entry| after.as_ref().is_none_or(|after| entry.item().key() > *after));
    let page: Vec<_> = rest.by_ref().take(paging.size).collect();
    let more = rest.next().is_some();
    let last = page.last().filter(|_| more);
    let next = last.map(|last| key.issue(&paging.request, &place_of(&last.item().key())));
    Ok(pb::ListContestedResponse {
        items: page.iter().filter_map(|entry| told::contested(view, entry)).collect(),
        next_page_token: next.unwrap_or_default(),
        forks: if after.is_none() { told::forks(view) } else { Vec::new() },
    })
}

/// Reads the request; the day is the caller's, if he names one.
pub(super) fn read_due(request: pb::ListDueRequest) -> Result<(Option<Date>, Paging), Faults> {
    let pb::ListDueRequest { as_of_date, page_size, page_token } = request;
    let mut faults = Faults::new();
    let mut reader = Reader::new(At::ROOT, &mut faults);
    let day = date(&mut reader, "as_of_date", &as_of_date);
    let paging = paging(&mut reader, page_size, page_token, format!("due {as_of_date}"));
    faults.or((day, paging))
}

/// A page of what is due on a day.
pub(super) fn due_on(
    view: &View,
    key: &PageKey,
    paging: &Paging,
    day: Date,
) -> Result<pb::ListDueResponse, ServiceError> {
    let after = paging.after_item(key)?;
    let all = due(view, day);
    let mut page = Vec::new();
    let mut next_page_token = String::new();
    for due in all.iter().filter(|due| after.as_ref().is_none_or(|after| due.item > *after)) {
        // All work of an item stands on one page.
        if page.len() >= paging.size
            && let Some(last) =
                page.last().filter(|last: &&&deepbend_ledger::due::Due| last.item != due.item)
        {
            next_page_token = key.issue(&paging.request, &place_of(&last.item));
            break;
        }
        page.push(due);
    }
    let work = |due: &&deepbend_ledger::due::Due| {
        let place = view.get(&due.item).and_then(|entry| entry.item().place.clone());
        pb::DueWork {
            item_id: due.item.id.to_string(),
            kind: due.item.kind.wire().into(),
            place_id: place.map(String::from).unwrap_or_default(),
            work: due.work.to_string(),
        }
    };
    Ok(pb::ListDueResponse {
        due: page.iter().map(work).collect(),
        next_page_token,
        as_of_date: day.to_string(),
    })
}
