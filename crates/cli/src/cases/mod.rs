//! Case files: one judgement a row. Columns are found by name; unknown columns are not read; an
//! empty cell means "not given".

mod columns;

pub use columns::{COLUMNS, CaseRow};

/// Columns that a case file carries for its reader; they judge nothing.
pub const REMARKS: [&str; 2] = ["expected", "reason"];

/// What is wrong with a cell.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("row {row}, column {column}: {text}")]
pub struct CellFault {
    /// Row of the file, counted from 1 after the header line.
    pub row: usize,
    /// Column name; `-` where the row as a whole cannot be read.
    pub column: String,
    /// What is wrong and what would be right.
    pub text: String,
}

/// A row, or everything that is wrong with it.
pub type RowResult = Result<CaseRow, (String, Vec<CellFault>)>;

/// Reads a case file.
///
/// # Errors
/// Only if the header line cannot be read; a faulty row does not spoil the others.
pub fn read(text: &[u8]) -> Result<Vec<RowResult>, csv::Error> {
    let mut reader =
        csv::ReaderBuilder::new().flexible(true).trim(csv::Trim::All).from_reader(text);
    let headers = reader.headers()?.clone();
    let wanted: Vec<Option<&columns::Column>> = headers
        .iter()
        .map(|name| {
            let name = name.trim_start_matches('\u{feff}');
            COLUMNS.iter().find(|column| column.name == name)
        })
        .collect();
    Ok(reader
        .records()
        .enumerate()
        .map(|(index, record)| match record {
            Ok(record) => row(index + 1, &wanted, &record),
            Err(error) => {
                let fault =
                    CellFault { row: index + 1, column: "-".into(), text: error.to_string() };
                Err((String::new(), vec![fault]))
            }
        })
        .collect())
}

fn row(
    number: usize,
    wanted: &[Option<&columns::Column>],
    record: &csv::StringRecord,
) -> RowResult {
    let mut row = CaseRow::default();
    let mut faults = Vec::new();
    for (column, cell) in wanted.iter().zip(record) {
        let Some(column) = column else { continue };
        if cell.is_empty() {
            continue;
        }
        if let Err(text) = (column.read)(&mut row, cell) {
            faults.push(CellFault { row: number, column: column.name.to_owned(), text });
        }
    }
    if faults.is_empty() { Ok(row) } else { Err((row.id, faults)) }
}

/// The column that fills a field of the judge request.
#[must_use]
pub fn column_of(field: &str) -> Option<&'static str> {
    COLUMNS.iter().find(|column| column.field == field).map(|column| column.name)
}
