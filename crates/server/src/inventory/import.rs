//! Files in: all rows or none, with a report, and safe to repeat under a request id.

use std::collections::BTreeMap;

use deepbend_contract::pb::FaultCode;
use deepbend_contract::{At, Faults, Reader, ToWire as _, limits, pb};
use deepbend_ledger::body::Body;
use deepbend_ledger::event::{Claim, Recorder, Sealed};
use deepbend_ledger::id::Id;
use deepbend_ledger::import::{FileKind, RowFault, columns, import as read_files};
use deepbend_ledger::item::{Item, ItemKind};
use deepbend_ledger::time::ObservedTime;
use deepbend_ledger::view::View;
use deepbend_store::StoreError;
use deepbend_store::inventory::{Draft, InventoryError, MAX_EVENTS_AT_ONCE, Present};
use prost::Message as _;
use prost_types::Timestamp;
use sha2::{Digest as _, Sha256};

use super::Holding;
use super::requests::{self, Done};
use super::words::LedgerWord as _;
use crate::error::ServiceError;
use crate::spelling;

/// Files that a request may have: one of each kind.
const FILES: usize = FileKind::ALL.len();

/// An import that is asked for.
#[derive(Debug)]
pub(super) struct Asked {
    request_id: Option<String>,
    /// SHA-256 of everything but the request id.
    content: [u8; 32],
    files: Vec<(FileKind, String)>,
    claim: Claim,
    validate_only: bool,
}

/// Reads the request; what is in the files is read later.
pub(super) fn read(request: pb::ImportItemsRequest) -> Result<Asked, Faults> {
    let without_id = pb::ImportItemsRequest { request_id: String::new(), ..request.clone() };
    let content = Sha256::digest(without_id.encode_to_vec()).into();
    let pb::ImportItemsRequest { request_id, files, claim, validate_only } = request;
    let mut faults = Faults::new();
    let mut reader = Reader::new(At::ROOT, &mut faults);
    let request_id = requests::read_id(&mut reader, &request_id);
    if files.is_empty() {
        reader.fault("files", FaultCode::Missing, "is empty", format!("1 to {FILES} files"));
    }
    let fits = reader.fits("files", files.len(), FILES);
    let files = if fits { files } else { Vec::new() };
    let files = reader.within("files", |list, faults| {
        let mut all: Vec<(FileKind, String)> = Vec::new();
        for (index, file) in files.into_iter().enumerate() {
            let pb::ImportFile { kind, csv_text } = file;
            let at = list.index(index);
            let mut reader = Reader::new(at, faults);
            let kind = reader.required_choice("kind", kind, FileKind::WIRE_NAME);
            let kind = kind.and_then(FileKind::from_wire);
            if csv_text.is_empty() {
                reader.fault("csv_text", FaultCode::Missing, "is empty", "the text of a file");
            } else if csv_text.len() > limits::FILE_BYTES {
                let wrong = format!("has {} bytes", csv_text.len());
                let right = format!("at most {} bytes", limits::FILE_BYTES);
                reader.fault("csv_text", FaultCode::TooLong, wrong, right);
            }
            let Some(kind) = kind else { continue };
            if all.iter().any(|(other, _)| *other == kind) {
                let wrong = format!("is that of {} once more", kind.file_name());
                reader.fault("kind", FaultCode::Duplicate, wrong, "each kind at most once");
            }
            all.push((kind, csv_text));
        }
        all
    });
    let claim = reader.required("claim", claim, "who says it, when, and how well he knows");
    let claim = claim.and_then(|claim| {
        reader.within("claim", |at, faults| read_claim(&mut Reader::new(at, faults), claim))
    });
    match claim {
        Some(claim) => faults.or(Asked { request_id, content, files, claim, validate_only }),
        // Without a claim there is a fault that says so.
        None => Err(faults),
    }
}

/// Years 1 to 9999, as RFC 3339 and `google.protobuf.Timestamp` have them, seconds since 1970.
const SECONDS: std::ops::RangeInclusive<i64> = -62_135_596_800..=253_402_300_799;

/// Who says it, when, and how well he knows.
pub(super) fn read_claim(reader: &mut Reader<'_>, claim: pb::Claim) -> Option<Claim> {
    let pb::Claim { observed_time, actor, certainty } = claim;
    let right = "a time of the years 1 to 9999";
    let observed_time = reader.required("observed_time", observed_time, right);
    let observed_time = observed_time.and_then(|time| {
        let Timestamp { seconds, nanos } = time;
        let fits = SECONDS.contains(&seconds) && (0..1_000_000_000).contains(&nanos);
        let time = fits.then(|| ObservedTime::new(time.to_string()).ok()).flatten();
        if time.is_none() {
            let wrong = format!("is {seconds} s and {nanos} ns");
            reader.fault("observed_time", FaultCode::Malformed, wrong, right);
        }
        time
    });
    let missing = actor.is_empty();
    let actor = reader.id("actor", actor).and_then(|actor| Id::new(actor).ok());
    if missing {
        reader.required("actor", None::<()>, "a role or a person's id");
    }
    let certainty = reader.required_choice("certainty", certainty, "Certainty");
    let certainty = certainty.and_then(deepbend_ledger::event::Certainty::from_wire);
    Some(Claim { observed_time: observed_time?, actor: actor?, certainty: certainty? })
}

/// Columns that nobody reads and that look like one that is missing: a retired rod under `statuss`
/// would be ready. Other columns of the fleet's own are kept as they are.
fn misspelt(file: FileKind, text: &str) -> Vec<RowFault> {
    let header = text.trim_start_matches('\u{feff}').lines().next().unwrap_or_default();
    let there: Vec<_> = header.split(',').map(|name| name.trim().trim_matches('"')).collect();
    let faults =
        spelling::misspelt(&there, &columns(file)).into_iter().map(|(name, right)| RowFault {
            file,
            row: 1,
            column: name.to_owned(),
            what: format!("not read, and there is no {right}"),
            right: format!("{right}, or a name that is less like it"),
        });
    faults.collect()
}

/// Imports, or only checks. Blocks until the events are on the disk.
pub(super) fn import(
    holding: &Holding,
    asked: &Asked,
) -> Result<pb::ImportItemsResponse, ServiceError> {
    let files: Vec<_> = asked.files.iter().map(|(kind, text)| (*kind, text.as_str())).collect();
    let drafted = |present: &Present<'_>, recorder: &mut Recorder| -> Result<_, Stopped> {
        let view = present.view();
        if let Some(id) = &asked.request_id
            && let Some(done) = holding.requests.done(present, id)?
        {
            if done.content != asked.content {
                return Err(ServiceError::RequestIdReused(id.clone()).into());
            }
            return Ok(answered(imported(view, &done)));
        }
        let misspelt: Vec<_> =
            files.iter().flat_map(|(kind, text)| misspelt(*kind, text)).collect();
        if !misspelt.is_empty() {
            return Ok(answered(refused(&misspelt)));
        }
        let events = match read_files(&files, view, recorder, &asked.claim) {
            Ok(events) => events,
            Err(faults) => return Ok(answered(refused(&faults))),
        };
        if events.len() > MAX_EVENTS_AT_ONCE {
            let (what, limit) = ("rows in one import", MAX_EVENTS_AT_ONCE);
            return Err(ServiceError::TooLarge { what, limit }.into());
        }
        let items = events.iter().filter_map(item_of);
        if asked.validate_only {
            return Ok(answered(report(pb::ImportOutcome::Valid, items)));
        }
        let answer = report(pb::ImportOutcome::Imported, items);
        let note = asked.request_id.as_ref().zip(Done::by(asked.content, &events));
        let beside = note.map(|(id, done)| holding.requests.note(id, &done)).into_iter().collect();
        Ok(Draft { events, beside, answer })
    };
    holding.inventory.record(&holding.device, drafted).map_err(|Stopped(error)| error)
}

/// Nothing is recorded.
fn answered(answer: pb::ImportItemsResponse) -> Draft<pb::ImportItemsResponse> {
    Draft { events: Vec::new(), beside: Vec::new(), answer }
}

/// Why an import stopped.
struct Stopped(ServiceError);

impl From<ServiceError> for Stopped {
    fn from(error: ServiceError) -> Self {
        Self(error)
    }
}

impl From<StoreError> for Stopped {
    fn from(error: StoreError) -> Self {
        Self(error.into())
    }
}

impl From<InventoryError> for Stopped {
    fn from(error: InventoryError) -> Self {
        Self(too_large(error))
    }
}

/// A commit has a greatest size, which only the store knows.
fn too_large(error: InventoryError) -> ServiceError {
    use InventoryError as Error;
    match error {
        Error::Store(StoreError::Malformed { .. }) => ServiceError::TooLarge {
            what: "bytes of events in one import",
            limit: deepbend_store::MAX_COMMIT_BYTES,
        },
        other @ (Error::Store(_) | Error::Chain(_) | Error::Event(_) | Error::Rows(_)) => {
            other.into()
        }
    }
}

/// The item of a first event; an import makes no other ones.
fn item_of(event: &Sealed) -> Option<&Item> {
    if let Body::Acquired { item } = &event.event().body { Some(item) } else { None }
}

/// The report of an import that was done before, from what it recorded.
fn imported(view: &View, done: &Done) -> pb::ImportItemsResponse {
    let mut items: Vec<_> = view
        .entries()
        .flat_map(|entry| entry.claims())
        .filter(|(event, _)| done.recorded(&event.id))
        .collect();
    items.sort_by_key(|(event, _)| event.id.sequence);
    report(pb::ImportOutcome::Imported, items.into_iter().filter_map(|(_, said)| said.item()))
}

fn report<'a>(
    outcome: pb::ImportOutcome,
    items: impl Iterator<Item = &'a Item>,
) -> pb::ImportItemsResponse {
    let mut counts: BTreeMap<ItemKind, i32> = BTreeMap::new();
    let mut findings = Vec::new();
    for item in items {
        *counts.entry(item.kind()).or_default() += 1;
        findings.extend(item.findings.iter().map(|finding| pb::ItemFinding {
            item_id: item.id.to_string(),
            finding: Some(finding.to_wire()),
        }));
    }
    let counts = counts
        .into_iter()
        .map(|(kind, item_count)| pb::ItemCount { kind: kind.wire().into(), item_count });
    pb::ImportItemsResponse {
        outcome: outcome.into(),
        faults: Vec::new(),
        counts: counts.collect(),
        findings,
    }
}

fn refused(faults: &[RowFault]) -> pb::ImportItemsResponse {
    let faults = faults.iter().map(|fault| {
        let RowFault { file, row, column, what, right } = fault.clone();
        pb::RowFault {
            file: file.wire().into(),
            row: i64::try_from(row).unwrap_or(i64::MAX),
            column,
            wrong: what,
            right,
        }
    });
    pb::ImportItemsResponse {
        outcome: pb::ImportOutcome::Refused.into(),
        faults: faults.collect(),
        counts: Vec::new(),
        findings: Vec::new(),
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use deepbend_store::inventory::Inventory;
    use deepbend_store::{Fault, FaultyStore, MemoryStore, Store};

    use tokio_util::sync::CancellationToken;

    use super::super::{Heads, PageKey};
    use super::*;

    fn asked() -> Asked {
        let file = |kind: pb::ImportFileKind, text: &str| pb::ImportFile {
            kind: kind.into(),
            csv_text: text.to_owned(),
        };
        let claim = pb::Claim {
            observed_time: Some("2031-09-15T17:00:00Z".parse().unwrap()),
            actor: "shed".to_owned(),
            certainty: pb::Certainty::Seen.into(),
        };
        let boats = "boat_id,name,home_berth,rod_holders,max_rods_aboard\nB1,Grebe,quay,8,9\n";
        let rods = "rod_id,handle,length_raw,lure_raw,line_raw,place\n\
                    R1,spinning,2.10 m,5-20 g,6-12 lb,B1\n";
        read(pb::ImportItemsRequest {
            request_id: "123E4567-E89B-42D3-A456-426614174000".to_owned(),
            files: vec![
                file(pb::ImportFileKind::Boats, boats),
                file(pb::ImportFileKind::Rods, rods),
            ],
            claim: Some(claim),
            validate_only: false,
        })
        .unwrap()
    }

    // Source: AIP-155; every call to the store fails once, in every way that it can.
    #[test]
    fn whatever_fails_once_the_second_call_has_all_of_it_once() {
        let mut failed = 0;
        for fault in [Fault::Refused, Fault::AnswerLost, Fault::Damaged] {
            for call in 1..=16 {
                let store: Arc<dyn Store> =
                    Arc::new(FaultyStore::new(MemoryStore::default(), call, fault));
                let Ok(inventory) = Inventory::open(Arc::clone(&store)) else { continue };
                let heads = Heads::of(&store, CancellationToken::new());
                let holding = Holding {
                    inventory: Arc::new(inventory),
                    store,
                    requests: Arc::default(),
                    page_key: PageKey::new(&[0; PageKey::BYTES]).unwrap(),
                    device: Id::new("service").unwrap(),
                    heads,
                };
                let asked = asked();
                let mut twice = || match import(&holding, &asked) {
                    Ok(report) => report,
                    Err(_) => {
                        failed += 1;
                        import(&holding, &asked).unwrap()
                    }
                };
                let report = twice();
                assert_eq!(report.outcome(), pb::ImportOutcome::Imported, "{fault:?} {call}");
                assert_eq!(report.counts.len(), 2);
                assert_eq!(holding.inventory.view().event_count(), 2);
                assert_eq!(twice(), report);
            }
        }
        // The look at the note, the note, the events, and the second look at the note.
        assert!(failed >= 12, "{failed}");
    }
}
