//! A description by column, read as a row of an item file.

use std::collections::BTreeMap;
use std::sync::Arc;

use deepbend_contract::pb::FaultCode;
use deepbend_contract::{Reader, limits};
use deepbend_ledger::event::{Certainty, Chain, Claim, Recorder};
use deepbend_ledger::id::Id;
use deepbend_ledger::import::{self, FileKind, import};
use deepbend_ledger::item::{Item, ItemKind};
use deepbend_ledger::time::ObservedTime;
use deepbend_ledger::view::Entry;

use super::named::Known;
use crate::spelling::{SLIPS, slips};

/// The name of the column with the id.
fn id_column(kind: ItemKind) -> &'static str {
    match kind {
        ItemKind::Rod => "rod_id",
        ItemKind::Reel => "reel_id",
        ItemKind::Lure => "lure_id",
        ItemKind::LineStock => "stock_id",
        ItemKind::Boat => "boat_id",
        ItemKind::Device => "device",
    }
}

/// Columns with names and cells of a sane size.
pub(super) fn named(
    reader: &mut Reader<'_>,
    name: &str,
    columns: BTreeMap<String, String>,
) -> BTreeMap<String, String> {
    if columns.is_empty() {
        reader.required(name, None::<()>, "columns of the item files");
    }
    if !reader.fits(name, columns.len(), limits::COLUMNS) {
        return BTreeMap::new();
    }
    reader.within(name, |at, faults| {
        let mut reader = Reader::new(at, faults);
        for (column, cell) in &columns {
            reader.text(column, cell.clone(), limits::EVENT_TEXT_LENGTH);
        }
    });
    columns
}

/// Notes columns that neither the importer reads for this kind nor any item of it has.
pub(super) fn exist(
    reader: &mut Reader<'_>,
    name: &str,
    kind: ItemKind,
    columns: &BTreeMap<String, String>,
    known: &Known,
) {
    // Another boat's items may have columns of their own.
    if known.accept_unknown {
        return;
    }
    let read = import::columns(FileKind::of_kind(kind));
    let kept = |column: &str| {
        let mut items = known.view.of_kind(kind).map(Entry::item);
        items.any(|item| item.raw.get(column).is_some())
    };
    let unknown = columns.keys().filter(|column| !read.contains(&column.as_str()));
    for column in unknown.filter(|column| !kept(column)) {
        let alike = |there: &&&str| {
            there.contains(column.as_str())
                || slips(column, there).is_some_and(|slips| slips <= SLIPS)
        };
        let near: Vec<_> = read.iter().filter(alike).copied().collect();
        let right = if near.is_empty() { read.join(", ") } else { near.join(", ") };
        let wrong = format!("has {column:?}, which is no column of a {kind}");
        reader.fault(name, FaultCode::UnknownValue, wrong, format!("one of {right}"));
    }
}

/// The item that a row describes, as an import of that row would have it.
pub(super) fn item(
    reader: &mut Reader<'_>,
    kind: ItemKind,
    id: Id,
    columns: BTreeMap<String, String>,
    known: &mut Known,
) -> Option<Arc<Item>> {
    let before = reader.fault_count();
    let mut columns = named(reader, "columns", columns);
    if reader.fault_count() > before {
        return None;
    }
    columns.insert(id_column(kind).to_owned(), id.to_string());
    let row = |cells: Vec<&String>| {
        let quoted = |cell: &String| format!("\"{}\"", cell.replace('"', "\"\""));
        cells.into_iter().map(quoted).collect::<Vec<_>>().join(",")
    };
    let text = format!("{}\n{}\n", row(columns.keys().collect()), row(columns.values().collect()));
    let chain = Chain { device: id.clone(), incarnation: 1 };
    let claim = Claim {
        observed_time: ObservedTime::new("2000-01-01T00:00:00Z").ok()?,
        actor: id,
        certainty: Certainty::Typed,
    };
    // Only what it reads is wanted: the event is written by the device's own recorder.
    let mut scratch = Recorder::begin(chain, 1);
    let file = FileKind::of_kind(kind);
    match import(&[(file, &text)], &known.view, &mut scratch, &claim) {
        Ok(events) => events.first()?.event().body.acquired().cloned(),
        Err(rows) => {
            for fault in rows {
                let right =
                    if fault.right.is_empty() { "see the message".to_owned() } else { fault.right };
                let column = if fault.column.is_empty() { "columns" } else { &fault.column };
                reader.fault(column, FaultCode::Malformed, fault.what, right);
            }
            None
        }
    }
}
