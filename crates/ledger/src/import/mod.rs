//! A fleet's files, turned into the first event of each item: all rows or none.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use crate::body::Body;
use crate::event::{BadEvent, Claim, Recorder, Sealed};
use crate::id::Id;
use crate::item::{Item, ItemKind};
use crate::view::View;

mod columns;
mod table;

pub use columns::columns;

/// What a file lists. Places come first, so that a file read alone shows what it lacks.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum FileKind {
    /// Boats and places ashore.
    Boats,
    /// Recording devices.
    Devices,
    /// Line and leader in store.
    LineStock,
    /// Rods.
    Rods,
    /// Reels and the line on them.
    Reels,
    /// Lures.
    Lures,
}

impl FileKind {
    /// All kinds of file, in the order in which their items are recorded.
    pub const ALL: [Self; 6] =
        [Self::Boats, Self::Devices, Self::LineStock, Self::Rods, Self::Reels, Self::Lures];

    /// The usual name of such a file.
    #[must_use]
    pub fn file_name(self) -> &'static str {
        match self {
            Self::Boats => "boats.csv",
            Self::Devices => "devices.csv",
            Self::LineStock => "line_stock.csv",
            Self::Rods => "rods.csv",
            Self::Reels => "reels.csv",
            Self::Lures => "lures.csv",
        }
    }

    /// The kind of file with this name (without its folder); `None` for any other file.
    #[must_use]
    pub fn from_file_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.file_name() == name)
    }

    /// The kind of file that lists a kind of item.
    #[must_use]
    pub fn of_kind(kind: ItemKind) -> Self {
        match kind {
            ItemKind::Rod => Self::Rods,
            ItemKind::Reel => Self::Reels,
            ItemKind::Lure => Self::Lures,
            ItemKind::LineStock => Self::LineStock,
            ItemKind::Boat => Self::Boats,
            ItemKind::Device => Self::Devices,
        }
    }

    /// The kind of item that it lists.
    #[must_use]
    pub fn item_kind(self) -> ItemKind {
        match self {
            Self::Boats => ItemKind::Boat,
            Self::Devices => ItemKind::Device,
            Self::LineStock => ItemKind::LineStock,
            Self::Rods => ItemKind::Rod,
            Self::Reels => ItemKind::Reel,
            Self::Lures => ItemKind::Lure,
        }
    }
}

/// A row that was refused.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub struct RowFault {
    /// The file.
    pub file: FileKind,
    /// The line in the file on which the row begins; the header is line 1.
    pub row: u64,
    /// The column; empty if the row as a whole is wrong.
    pub column: String,
    /// What was wrong.
    pub what: String,
    /// What would be right; empty if `what` says it.
    pub right: String,
}

impl std::fmt::Display for RowFault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} row {}", self.file.file_name(), self.row)?;
        if !self.column.is_empty() {
            write!(f, ", column {}", self.column)?;
        }
        write!(f, ": {}", self.what)?;
        if !self.right.is_empty() {
            write!(f, "; right is {}", self.right)?;
        }
        Ok(())
    }
}

/// Whether a column of a kind's file is a description that may be written anew. The others tell
/// of what happens: events of their own do that.
#[must_use]
pub fn may_edit(kind: ItemKind, column: &str) -> bool {
    const TOLD: [&str; 12] = [
        "place",
        "status",
        "qty",
        "condition",
        "line_type",
        "strands",
        "line_test_raw",
        "line_dia_mm",
        "line_length_m",
        "spooled_on",
        "hours_on_line",
        "length_m",
    ];
    let file = FileKind::of_kind(kind);
    column != columns::id_column(file) && !TOLD.contains(&column)
}

/// An item read anew with another cell in one column; `None` empties it.
///
/// # Errors
/// What was wrong with the first column that cannot be read, and what would be right.
pub fn with_cell(item: &Item, column: &str, cell: Option<&String>) -> Result<Item, String> {
    let mut raw = item.raw.to_map();
    match cell {
        Some(cell) => raw.insert(column.to_owned(), cell.clone()),
        None => raw.remove(column),
    };
    read_again(item, raw)
}

fn read_again(item: &Item, raw: BTreeMap<String, String>) -> Result<Item, String> {
    let file = FileKind::of_kind(item.kind());
    let mut faults = Vec::new();
    let text = table::write_row(&raw).map_err(|error| error.to_string())?;
    let read = columns::read_items(file, &text, &mut faults).pop();
    match (faults.first(), read) {
        (None, Some((_, read))) if read.id == item.id => Ok(read),
        (Some(RowFault { what, right, .. }), _) if right.is_empty() => Err(what.clone()),
        (Some(RowFault { what, right, .. }), _) => Err(format!("{what}; right is {right}")),
        (None, _) => Err("the description has no columns of the fleet's files".to_owned()),
    }
}

/// Turns files into first events, one an item, in the order of [`FileKind::ALL`] and then of the
/// rows. `known` is what the ledger holds already; `recorder` writes the events of the device
/// that imports, and is moved on only if all rows are good.
///
/// # Errors
/// Every row that is refused, with row and column; then no event is made.
pub fn import(
    files: &[(FileKind, &str)],
    known: &View,
    recorder: &mut Recorder,
    claim: &Claim,
) -> Result<Vec<Sealed>, Vec<RowFault>> {
    let mut faults = Vec::new();
    let mut files = files.to_vec();
    files.sort_by_key(|(kind, _)| *kind);
    let mut rows = Vec::new();
    for (kind, text) in files {
        let read = columns::read_items(kind, text, &mut faults);
        rows.extend(read.into_iter().map(|(row, item)| ImportRow { file: kind, row, item }));
    }
    check_ids(&rows, known, &mut faults);
    // A boat whose own row is wrong would make every row that names it look wrong too.
    if faults.iter().all(|fault| fault.file != FileKind::Boats) {
        check_places(&rows, known, &mut faults);
    }
    if !faults.is_empty() {
        faults.sort_by_key(|fault| (fault.file, fault.row));
        return Err(faults);
    }
    let mut ahead = recorder.clone();
    let mut events = Vec::with_capacity(rows.len());
    for ImportRow { file, row, item } in rows {
        let body = Body::Acquired { item: Arc::new(item) };
        match ahead.record(claim, BTreeSet::new(), body) {
            Ok(event) => events.push(event),
            Err(bad) => faults.push(unwritable(file, row, &bad)),
        }
    }
    if !faults.is_empty() {
        return Err(faults);
    }
    *recorder = ahead;
    Ok(events)
}

struct ImportRow {
    file: FileKind,
    row: u64,
    item: Item,
}

impl ImportRow {
    fn fault(&self, column: &str, what: String, right: &str) -> RowFault {
        RowFault {
            file: self.file,
            row: self.row,
            column: column.to_owned(),
            what,
            right: right.to_owned(),
        }
    }
}

fn unwritable(file: FileKind, row: u64, bad: &BadEvent) -> RowFault {
    RowFault { file, row, column: String::new(), what: bad.to_string(), right: String::new() }
}

/// An id stands on one sticker, whatever the kind of item.
fn check_ids(rows: &[ImportRow], known: &View, faults: &mut Vec<RowFault>) {
    let mut first: BTreeMap<&Id, &ImportRow> = BTreeMap::new();
    for row in rows {
        let id = &row.item.id;
        let column = columns::id_column(row.file);
        let right = "an id that no other item has";
        if let Some(there) = known.find(id).first() {
            let what = format!("{id} is already known, as a {}", there.item().kind());
            faults.push(row.fault(column, what, right));
        } else if let Some(other) = first.get(id) {
            let what =
                format!("{id} is already used in {} row {}", other.file.file_name(), other.row);
            faults.push(row.fault(column, what, right));
        } else {
            first.insert(id, row);
        }
    }
}

/// Gear is where a boat or a place ashore is, of these files or known before.
fn check_places(rows: &[ImportRow], known: &View, faults: &mut Vec<RowFault>) {
    let boats = rows.iter().filter(|row| row.file == FileKind::Boats).map(|row| &row.item.id);
    let places: BTreeSet<_> = boats.collect();
    for row in rows {
        if let Some(place) = &row.item.place
            && !places.contains(place)
            && !known.is_place(place)
        {
            let what = format!("there is no boat or place {place}");
            faults.push(row.fault("place", what, "an id of boats.csv or a place known before"));
        }
    }
}
