//! Rows of a CSV text, each cell taken under its column's name, each fault noted with its place.

use std::collections::{BTreeMap, BTreeSet};

use deepbend_core::gear::{Finding, Word};

use super::{FileKind, RowFault};
use crate::id::Id;

/// Longest cell in bytes.
pub(super) const MAX_CELL: usize = 2000;

/// One row, and the faults and findings that reading it turned up.
#[derive(Debug)]
pub(super) struct Row<'a> {
    file: FileKind,
    /// Line in the file, the header being line 1.
    line: u64,
    cells: BTreeMap<&'a str, String>,
    columns: &'a BTreeSet<String>,
    pub(super) faults: Vec<RowFault>,
    pub(super) findings: Vec<Finding>,
}

impl Row<'_> {
    /// Notes a fault in a column.
    pub(super) fn fault(
        &mut self,
        column: &str,
        what: impl Into<String>,
        right: impl Into<String>,
    ) {
        self.faults.push(RowFault {
            file: self.file,
            row: self.line,
            column: column.to_owned(),
            what: what.into(),
            right: right.into(),
        });
    }

    /// All cells that are not empty, as written.
    pub(super) fn raw(&self) -> BTreeMap<String, String> {
        self.cells.iter().map(|(column, cell)| ((*column).to_owned(), cell.clone())).collect()
    }

    /// A cell without the spaces around it; `None` if it is empty or the column is missing.
    pub(super) fn text(&self, column: &str) -> Option<String> {
        debug_assert!(super::columns(self.file).contains(&column), "{column} is not listed");
        let cell = self.cells.get(column)?.trim();
        (!cell.is_empty()).then(|| cell.to_owned())
    }

    /// A cell that must not be empty.
    pub(super) fn required(&mut self, column: &str, right: &str) -> Option<String> {
        let cell = self.text(column);
        if cell.is_none() && self.columns.contains(column) {
            self.fault(column, "empty", right);
        }
        cell
    }

    /// The id of the row's item.
    pub(super) fn id(&mut self, column: &str) -> Option<Id> {
        let text = self.required(column, "an id as on the sticker")?;
        self.keep(column, Id::new(text).map_err(|bad| (bad.to_string(), String::new())))
    }

    /// An id of something else.
    pub(super) fn other_id(&mut self, column: &str) -> Option<Id> {
        let text = self.text(column)?;
        self.keep(column, Id::new(text).map_err(|bad| (bad.to_string(), String::new())))
    }

    /// A decimal number between two bounds, in the unit that `unit` names.
    pub(super) fn number(&mut self, column: &str, unit: &str, from: f64, to: f64) -> Option<f64> {
        let text = self.text(column)?;
        let right = || format!("a number from {from} to {to} {unit}");
        let value = match text.parse::<f64>() {
            Ok(value) if (from..=to).contains(&value) => Ok(value),
            Ok(_) => Err((format!("{text} is impossible"), right())),
            Err(_) => Err((format!("{text:?} is no number"), right())),
        };
        self.keep(column, value)
    }

    /// A whole number between two bounds.
    pub(super) fn whole(&mut self, column: &str, from: u32, to: u32) -> Option<u32> {
        let text = self.text(column)?;
        let value = match text.parse::<u32>() {
            Ok(value) if (from..=to).contains(&value) => Ok(value),
            Ok(_) | Err(_) => Err((
                format!("{text:?} does not fit"),
                format!("a whole number from {from} to {to}"),
            )),
        };
        self.keep(column, value)
    }

    /// A word of a closed list, read by `read`.
    pub(super) fn word<W: Word>(
        &mut self,
        column: &str,
        read: impl Fn(&str) -> Option<W>,
    ) -> Option<W> {
        let text = self.text(column)?;
        let known = || W::ALL.iter().map(|w| w.as_word()).collect::<Vec<_>>().join(", ");
        let value = read(&text)
            .ok_or_else(|| (format!("{text:?} is not known here"), format!("one of: {}", known())));
        self.keep(column, value)
    }

    /// A cell read by `read`, which says what was wrong and what would be right.
    pub(super) fn read<T>(
        &mut self,
        column: &str,
        read: impl Fn(&str) -> Result<T, (String, String)>,
    ) -> Option<T> {
        let text = self.text(column)?;
        self.keep(column, read(&text))
    }

    fn keep<T>(&mut self, column: &str, value: Result<T, (String, String)>) -> Option<T> {
        value.map_err(|(what, right)| self.fault(column, what, right)).ok()
    }
}

/// Cuts a CSV text into rows and gives each to `each`, which returns what it made of it. All
/// faults of the text and of the rows are collected.
pub(super) fn read_rows<T>(
    file: FileKind,
    text: &str,
    required: &[&str],
    faults: &mut Vec<RowFault>,
    mut each: impl FnMut(&mut Row<'_>) -> Option<T>,
) -> Vec<(u64, T)> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut fault = |row: u64, column: &str, what: String, right: &str| {
        faults.push(RowFault {
            file,
            row,
            column: column.to_owned(),
            what,
            right: right.to_owned(),
        });
    };
    if let Some(line) = open_quote(text) {
        fault(line, "", "a quote is never closed".to_owned(), "a '\"' at the end of the cell");
        return Vec::new();
    }
    let mut reader = csv::ReaderBuilder::new().flexible(true).from_reader(text.as_bytes());
    let header: Vec<String> = match reader.headers() {
        Ok(header) => header.iter().map(|name| name.trim().to_owned()).collect(),
        Err(error) => {
            fault(1, "", error.to_string(), "a line with the names of the columns");
            return Vec::new();
        }
    };
    let mut columns = BTreeSet::new();
    for name in &header {
        if !columns.insert(name.clone()) {
            fault(1, name, "this column stands there twice".to_owned(), "each column once");
        }
    }
    let missing: Vec<_> = required.iter().filter(|name| !columns.contains(**name)).collect();
    for name in &missing {
        fault(1, name, "this column is missing".to_owned(), "a column of this name");
    }
    if columns.len() < header.len() || !missing.is_empty() {
        return Vec::new();
    }
    let mut rows = Vec::new();
    for record in reader.records() {
        let record = match record {
            Ok(record) => record,
            Err(error) => {
                let line = error.position().map_or(0, csv::Position::line);
                fault(line, "", error.to_string(), "a row of CSV");
                continue;
            }
        };
        let line = record.position().map_or(0, csv::Position::line);
        if record.len() != header.len() {
            let what = format!("{} cells", record.len());
            fault(line, "", what, &format!("{} cells, as in the header", header.len()));
            continue;
        }
        let mut row = Row {
            file,
            line,
            cells: BTreeMap::new(),
            columns: &columns,
            faults: Vec::new(),
            findings: Vec::new(),
        };
        for (name, cell) in header.iter().zip(&record) {
            if cell.len() > MAX_CELL {
                row.fault(name, format!("{} bytes long", cell.len()), "at most 2000 bytes");
            } else if cell.contains(|c: char| c.is_control() && !matches!(c, '\n' | '\r' | '\t')) {
                row.fault(name, "has control characters", "plain text");
            } else if !cell.is_empty() {
                row.cells.insert(name, cell.to_owned());
            }
        }
        let made = each(&mut row);
        if row.faults.is_empty() {
            rows.extend(made.map(|made| (line, made)));
        } else {
            for found in row.faults {
                fault(found.row, &found.column, found.what, &found.right);
            }
        }
    }
    rows
}

/// The line on which a quoted cell begins that is never closed; such a cell would swallow the
/// rest of the file without a word.
fn open_quote(text: &str) -> Option<u64> {
    let (mut line, mut opened, mut at_start) = (1, None, true);
    let mut chars = text.chars().peekable();
    while let Some(c) = chars.next() {
        line += u64::from(c == '\n');
        match (c, opened) {
            ('"', Some(_)) if chars.peek() == Some(&'"') => {
                chars.next();
            }
            ('"', Some(_)) => opened = None,
            ('"', None) if at_start => opened = Some(line),
            _ => {}
        }
        at_start = opened.is_none() && matches!(c, ',' | '\n' | '\r');
    }
    opened
}

/// A file of one row.
///
/// # Errors
/// None that is known: it is written to memory.
pub(super) fn write_row(cells: &BTreeMap<String, String>) -> Result<String, csv::Error> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(cells.keys())?;
    writer.write_record(cells.values())?;
    let bytes = writer.into_inner().map_err(csv::IntoInnerError::into_error)?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}
