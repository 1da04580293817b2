//! Listing, page by page.

use std::collections::BTreeSet;
use std::sync::Arc;

use deepbend_contract::pb::FaultCode;
use deepbend_contract::{At, Faults, ReadMask, Reader, WireWord, limits, pb};
use deepbend_core::gear::Power;
use deepbend_ledger::filter::Filter;
use deepbend_ledger::id::Id;
use deepbend_ledger::time::Date;
use deepbend_ledger::view::View;
use deepbend_store::Seq;
use prost::Message as _;

use super::item;
use super::page::{PageKey, key_of, place_of};
use super::words::LedgerWord;
use crate::error::ServiceError;

/// Bytes of one page, about: clients take messages of 4 MiB unless told otherwise.
const PAGE_BYTES: usize = 3 * 1024 * 1024;

/// A listing that is asked for.
#[derive(Debug)]
pub(super) struct Asked {
    size: usize,
    token: String,
    filter: Filter,
    mask: ReadMask,
    /// What a page token is bound to: filter and mask as they were sent.
    request: Vec<u8>,
}

/// Reads the request.
pub(super) fn read(request: pb::ListItemsRequest) -> Result<Asked, Faults> {
    let pb::ListItemsRequest { page_size, page_token, filter, read_mask } = request;
    let bound = pb::ListItemsRequest {
        filter: filter.clone(),
        read_mask: read_mask.clone(),
        ..Default::default()
    };
    let mut faults = Faults::new();
    let mut reader = Reader::new(At::ROOT, &mut faults);
    let size = match usize::try_from(page_size) {
        Ok(0) => limits::PAGE_DEFAULT,
        Ok(size) => size.min(limits::PAGE_MAX),
        Err(_) => {
            let wrong = format!("is {page_size}");
            reader.fault("page_size", FaultCode::TooSmall, wrong, "0 or more");
            0
        }
    };
    let filter = reader.within("filter", |at, faults| {
        read_filter(&mut Reader::new(at, faults), filter.unwrap_or_default())
    });
    let mask = ReadMask::read::<pb::Item>(&mut reader, "read_mask", read_mask);
    let request = bound.encode_to_vec();
    faults.or(Asked { size, token: page_token, filter, mask, request })
}

fn read_filter(reader: &mut Reader<'_>, filter: pb::ItemFilter) -> Filter {
    let pb::ItemFilter { kinds, place_ids, statuses, powers, text } = filter;
    let mut places = BTreeSet::new();
    if reader.fits("place_ids", place_ids.len(), limits::PLACES) {
        reader.within("place_ids", |list, faults| {
            for (index, id) in place_ids.into_iter().enumerate() {
                let at = list.index(index);
                match Id::new(id) {
                    Ok(id) => drop(places.insert(id)),
                    Err(bad) => {
                        let right = "1 to 64 letters A-Z a-z, digits, \"_\" or \"-\"";
                        let wrong = format!("is {:?}", bad.text);
                        faults.push(FaultCode::Malformed, at, wrong, right);
                    }
                }
            }
        });
    }
    let kinds = words(reader, "kinds", kinds, LedgerWord::from_wire);
    let statuses = words(reader, "statuses", statuses, LedgerWord::from_wire);
    let powers = words::<Power, pb::Power>(reader, "powers", powers, WireWord::from_wire_word);
    Filter {
        kinds: kinds.into_iter().collect(),
        places,
        statuses: statuses.into_iter().collect(),
        powers,
        text: reader.text("text", text, limits::SEARCH_LENGTH).unwrap_or_default(),
    }
}

/// A list of words; one that is not given is a fault, since it would let everything through.
fn words<W, E: TryFrom<i32>>(
    reader: &mut Reader<'_>,
    name: &str,
    wire: Vec<i32>,
    read: impl Fn(E) -> Option<W>,
) -> Vec<W> {
    // Longer than any closed list; repeats add nothing.
    if !reader.fits(name, wire.len(), limits::PLACES) {
        return Vec::new();
    }
    reader.within(name, |list, faults| {
        let mut words = Vec::new();
        for (index, value) in wire.into_iter().enumerate() {
            match E::try_from(value).ok().and_then(&read) {
                Some(word) => words.push(word),
                None => {
                    let wrong = format!("is {value}");
                    let right = "a value of its list, not UNSPECIFIED";
                    faults.push(FaultCode::UnknownValue, list.index(index), wrong, right);
                }
            }
        }
        words
    })
}

/// A page of what is asked for, of a view that holds all changes up to `revision`.
pub(super) fn list(
    (revision, view): &(Seq, Arc<View>),
    key: &PageKey,
    asked: &Asked,
    today: Option<Date>,
) -> Result<pb::ListItemsResponse, ServiceError> {
    // All matches are counted for the first page only, so that the others cost what they show.
    let (total, after) = match asked.token.as_str() {
        "" => (u32::try_from(view.count(&asked.filter)).unwrap_or(u32::MAX), None),
        token => {
            let place = key.read(&asked.request, token)?;
            let (total, place) = place.split_first_chunk().ok_or(ServiceError::PageToken)?;
            let after = key_of(place).ok_or(ServiceError::PageToken)?;
            (u32::from_be_bytes(*total), Some(after))
        }
    };
    let page = view.page(&asked.filter, after.as_ref(), asked.size);
    let mut next_after = page.next_after;
    let mut items = Vec::with_capacity(page.entries.len());
    let mut bytes = 0;
    for (index, entry) in page.entries.iter().enumerate() {
        let item = item::masked(&asked.mask, item::item(entry, today))?;
        bytes += item.encoded_len();
        if bytes > PAGE_BYTES && index > 0 {
            next_after = Some(page.entries[index - 1].item().key());
            break;
        }
        items.push(item);
    }
    let place = next_after.map(|after| [&total.to_be_bytes()[..], &place_of(&after)].concat());
    Ok(pb::ListItemsResponse {
        items,
        next_page_token: place.map(|place| key.issue(&asked.request, &place)).unwrap_or_default(),
        total_size: i32::try_from(total).unwrap_or(i32::MAX),
        revision: i64::try_from(*revision).unwrap_or(i64::MAX),
    })
}
