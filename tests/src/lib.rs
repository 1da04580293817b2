//! Case files with what an experienced guide would say, for the checks in this crate.
//!
//! Sources of the cases: common practice, no source; their numbers are from memory.

#![cfg_attr(test, allow(clippy::unwrap_used, reason = "a test may stop at once"))]

use std::collections::BTreeMap;

use deepbend_cli::cases::{self, CaseRow};
use deepbend_core::gear::Word;
use deepbend_core::judge::Verdict;

/// One row of a case file, with what is expected of it.
#[derive(Clone, Debug)]
pub struct Case {
    /// The row as the reference client reads it.
    pub row: CaseRow,
    /// The cells as they stand, by column.
    pub cells: BTreeMap<String, String>,
    /// Verdicts that are accepted; empty in a file of orderings.
    pub accepted: Vec<Verdict>,
    /// Why.
    pub reason: String,
}

/// Reads a case file.
///
/// # Panics
/// If the file is not well formed: it stands beside the tests.
#[must_use]
pub fn read(text: &str) -> Vec<Case> {
    let rows = cases::read(text.as_bytes()).expect("the header line is well formed");
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let headers = reader.headers().expect("the header line is well formed").clone();
    let cells = reader.records().map(|record| {
        let record = record.expect("the row is well formed");
        headers.iter().zip(&record).map(|(k, v)| (k.to_owned(), v.to_owned())).collect()
    });
    rows.into_iter()
        .zip(cells)
        .map(|(row, cells): (_, BTreeMap<String, String>)| {
            let accepted = cells.get("expected").map_or("", String::as_str);
            Case {
                row: row.expect("the row is well formed"),
                accepted: accepted.split('|').filter_map(Verdict::from_word).collect(),
                reason: cells.get("reason").cloned().unwrap_or_default(),
                cells,
            }
        })
        .collect()
}

/// A case with some cells replaced.
///
/// # Panics
/// If the new cells cannot be read.
#[must_use]
pub fn with_cells(case: &Case, changes: &[(&str, &str)]) -> CaseRow {
    let mut cells = case.cells.clone();
    for (column, value) in changes {
        cells.insert((*column).to_owned(), (*value).to_owned());
    }
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(cells.keys()).expect("memory takes it");
    writer.write_record(cells.values()).expect("memory takes it");
    let text = writer.into_inner().expect("memory takes it");
    let mut rows = cases::read(&text).expect("the header line is well formed");
    rows.remove(0).expect("the row is well formed")
}

/// Place of a verdict, best first.
///
/// # Panics
/// Never: every verdict is in its own list.
#[must_use]
pub fn place(verdict: Verdict) -> usize {
    Verdict::ALL.iter().position(|v| *v == verdict).expect("a verdict is in the list of verdicts")
}

/// Orders two answers as a case file does: by score, broken limits last.
#[must_use]
pub fn rank_key(verdict: Verdict, score: f64, score_without_limits: f64) -> (bool, f64) {
    let whole = verdict != Verdict::Unsafe;
    (whole, if whole { score } else { score_without_limits })
}
