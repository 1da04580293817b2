//! What happened, recorded: all events or none, and safe to repeat under a request id.

use deepbend_contract::pb::FaultCode;
use deepbend_contract::{At, Faults, Reader, limits, pb};
use deepbend_ledger::body::Body;
use deepbend_ledger::event::{BadEvent, Recorder, Sealed};
use deepbend_ledger::exchange::DeviceKey;
use deepbend_ledger::item::ItemKey;
use deepbend_ledger::view::{EventRef, View};
use deepbend_store::inventory::{Draft, Present};
use prost::Message as _;
use sha2::{Digest as _, Sha256};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use super::amounts;
use super::event;
use super::named::Known;
use super::requests::{self, Done};
use super::{Holding, told};
use crate::error::ServiceError;

/// Events that are to be recorded.
#[derive(Debug)]
pub(super) struct Asked {
    request_id: Option<String>,
    /// SHA-256 of everything but the request id.
    content: [u8; 32],
    events: Vec<pb::NewEvent>,
    validate_only: bool,
    etag: Option<String>,
    accept_unknown: bool,
}

/// Reads what does not depend on the inventory.
pub(super) fn read(request: pb::RecordEventsRequest) -> Result<Asked, Faults> {
    let without_id = pb::RecordEventsRequest { request_id: String::new(), ..request.clone() };
    let content = Sha256::digest(without_id.encode_to_vec()).into();
    let pb::RecordEventsRequest { request_id, events, validate_only, etag, accept_unknown_ids } =
        request;
    let mut faults = Faults::new();
    let mut reader = Reader::new(At::ROOT, &mut faults);
    let request_id = requests::read_id(&mut reader, &request_id);
    if events.is_empty() {
        let right = format!("1 to {} events", limits::EVENTS);
        reader.fault("events", FaultCode::Missing, "is empty", right);
    }
    // A request that is too long is read no further.
    if !reader.fits("events", events.len(), limits::EVENTS) {
        return Err(faults);
    }
    let etag = Some(etag).filter(|etag| !etag.is_empty());
    // Faults of the events are told together with these.
    if !faults.as_slice().is_empty() {
        let mut known = Known::new(View::default(), false);
        for (index, event) in events.into_iter().enumerate() {
            let at = At::ROOT.field("events");
            event::read(event, at.index(index), &mut faults, &mut known);
        }
        return Err(faults);
    }
    let accept_unknown = accept_unknown_ids;
    Ok(Asked { request_id, content, events, validate_only, etag, accept_unknown })
}

/// Records, or only checks. Blocks until the events are on the disk.
pub(super) fn record(
    holding: &Holding,
    asked: Asked,
) -> Result<pb::RecordEventsResponse, ServiceError> {
    let Asked { request_id, content, events, validate_only, etag, accept_unknown } = asked;
    let drafted = |present: &Present<'_>, recorder: &mut Recorder| -> Result<_, ServiceError> {
        let view = present.view();
        if let Some(id) = &request_id
            && let Some(done) = holding.requests.done(present, id)?
        {
            if done.content != content {
                return Err(ServiceError::RequestIdReused(id.clone()));
            }
            let answer = Outcome { recorded: done.events(view), what_if: None };
            return Ok(Draft { events: Vec::new(), beside: Vec::new(), answer });
        }
        let mut faults = Faults::new();
        let mut known = Known::new(view.clone(), accept_unknown);
        let Written { events: sealed, items } =
            write(events, view, recorder, &mut known, &mut faults);
        check_etag(view, etag.as_deref(), &items, &mut faults)?;
        let missing = std::mem::take(&mut known.missing);
        faults.or(())?;
        if !missing.is_empty() {
            return Err(ServiceError::NotFound(missing));
        }
        let recorded = sealed.iter().map(EventRef::to).collect();
        if validate_only {
            let answer = Outcome { recorded, what_if: Some(known.whole()) };
            return Ok(Draft { events: Vec::new(), beside: Vec::new(), answer });
        }
        let note = request_id.as_ref().zip(Done::by(content, &sealed));
        let beside = note.map(|(id, done)| holding.requests.note(id, &done)).into_iter().collect();
        Ok(Draft { events: sealed, beside, answer: Outcome { recorded, what_if: None } })
    };
    let Outcome { recorded, what_if } = holding.inventory.record(&holding.device, drafted)?;
    let view = what_if.map_or_else(|| holding.inventory.view(), Arc::new);
    let key = holding.inventory.key().map(DeviceKey::public);
    let unknown_key = key.filter(|key| !view.roll().knows(&holding.device, key));
    let unknown_key = unknown_key.map(|key| key.to_string()).unwrap_or_default();
    Ok(pb::RecordEventsResponse { unknown_key, ..answer(&view, &recorded) })
}

struct Outcome {
    recorded: Vec<EventRef>,
    /// The view as it would be, if only the checks were asked for.
    what_if: Option<View>,
}

/// Events that were written down, and the items that they are told of.
struct Written {
    events: Vec<Sealed>,
    items: BTreeSet<Option<ItemKey>>,
}

/// Writes the events down, each as far as it has no fault in the light of those before it.
fn write(
    events: Vec<pb::NewEvent>,
    view: &View,
    recorder: &mut Recorder,
    known: &mut Known,
    faults: &mut Faults,
) -> Written {
    let (mut written, mut items) = (Vec::with_capacity(events.len()), BTreeSet::new());
    for (index, new) in events.into_iter().enumerate() {
        let list = At::ROOT.field("events");
        let at = list.index(index);
        let Some(event::Asked { remark, body, item }) = event::read(new, at, faults, known) else {
            continue;
        };
        items.insert(item);
        if let Body::Correction { target, instead: Some(instead), reason } = &body {
            let (target, reason) = (target.clone(), reason.clone());
            let only_out = Body::Correction { target, instead: None, reason };
            if let Ok(event) = recorder.clone().write(view, &remark, only_out) {
                let at = at.field("body");
                let at = at.field("correction");
                amounts::taken(&at.field("instead"), instead, &known.after(&event), faults);
            }
        }
        match recorder.write(view, &remark, body) {
            Ok(event) => {
                known.tell(&event);
                written.push(event);
            }
            Err(bad) => {
                let right = match bad {
                    BadEvent::TooLong(_) => "shorter texts",
                    BadEvent::Malformed(_) | BadEvent::Format { .. } => "finite numbers",
                };
                faults.push(FaultCode::TooLong, at, bad.to_string(), right);
            }
        }
    }
    Written { events: written, items }
}

fn check_etag(
    view: &View,
    etag: Option<&str>,
    items: &BTreeSet<Option<ItemKey>>,
    faults: &mut Faults,
) -> Result<(), ServiceError> {
    let Some(etag) = etag else { return Ok(()) };
    let [Some(key)] = items.iter().collect::<Vec<_>>()[..] else {
        let right = "empty, or all events about one item";
        let mut reader = Reader::new(At::ROOT, faults);
        reader.fault("etag", FaultCode::Conflict, "goes with events about several items", right);
        return Ok(());
    };
    let now = view.get(key).map(|entry| format!("\"{}\"", entry.etag())).unwrap_or_default();
    if now == etag {
        return Ok(());
    }
    let (kind, id) = (key.kind.to_string(), key.id.to_string());
    Err(ServiceError::EtagMismatch { kind, id, etag: now })
}

fn answer(view: &View, recorded: &[EventRef]) -> pb::RecordEventsResponse {
    let mut items = BTreeSet::new();
    let mut events = Vec::with_capacity(recorded.len());
    let mut taken_back = Vec::new();
    let mut stories = BTreeMap::new();
    for reference in recorded {
        items.extend(view.about(reference));
        taken_back.extend(told::taken_back(view, reference));
        let Some(key) = told::main_item(view, reference) else {
            events.extend(told::of_no_item(view, reference));
            continue;
        };
        let Some(told) = told::event(view, reference) else { continue };
        let story = stories.entry(key.clone()).or_insert_with(|| view.tell(&key));
        let effect = story.as_ref().and_then(|story| story.effects.get(reference));
        events.push(match effect {
            Some(effect) => told::with_effect(told, effect),
            None => told,
        });
    }
    let contested = items.iter().filter_map(|key| told::contested(view, view.get(key)?));
    let contested = contested.collect();
    pb::RecordEventsResponse { contested, events, taken_back, ..Default::default() }
}
