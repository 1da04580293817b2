//! Data on stdout, in the format asked for; everything else on stderr.

use std::io::{ErrorKind, IsTerminal as _, Write as _};

use deepbend_contract::json;
use deepbend_server::text::{WIDTH, hanging};
use prost::{Message, Name};

use crate::failure::{Exit, Failure};

/// Format of the data.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum Format {
    /// Text for people.
    Table,
    /// Canonical proto JSON of the whole answer, indented (traces: names as in the contract).
    Json,
    /// The same, one row or answer a line.
    Jsonl,
    /// Comma-separated values with a header line.
    Csv,
}

const GREATEST_WIDTH: usize = 120;

/// Width of text for people: 80 columns; what COLUMNS says where that is set.
#[must_use]
pub fn width() -> usize {
    let columns = std::env::var_os("COLUMNS").and_then(|v| v.to_str()?.parse::<usize>().ok());
    columns.unwrap_or(WIDTH).clamp(crate::render::LEAST_WIDTH, GREATEST_WIDTH)
}

/// Writes data. A reader that has gone away ends the command quietly.
///
/// # Errors
/// [`Exit::Ok`] for a broken pipe, [`Exit::Failed`] for any other trouble with stdout.
pub fn put(text: &str) -> Result<(), Failure> {
    let mut out = std::io::stdout().lock();
    out.write_all(text.as_bytes()).and_then(|()| out.flush()).map_err(|error| {
        if error.kind() == ErrorKind::BrokenPipe {
            Failure::silent(Exit::Ok)
        } else {
            Failure::new(Exit::Failed, format!("stdout: {error}"))
        }
    })
}

/// What a note begins with; the lines that follow stand below what is behind it.
const LEADS: [&str; 6] = ["error: ", "warning: ", "caution: ", "refused: ", "note: ", "hint: "];

/// Prints a command on stderr in one line, however long: it is to be copied.
pub fn whole_line(text: &str) {
    // Nobody can be told that stderr is gone.
    let _ = writeln!(std::io::stderr().lock(), "{text}");
}

/// Writes a note to stderr, where a person may read it, no line wider than he sees.
pub fn note(text: &str) {
    let mut out = std::io::stderr().lock();
    for line in text.split('\n') {
        let fits = line.chars().count() <= width();
        let lead = LEADS.iter().find(|lead| line.starts_with(**lead)).unwrap_or(&"");
        let lines = match line.strip_prefix(lead) {
            Some(rest) if !fits => hanging(lead, rest, width()),
            Some(_) | None => vec![line.to_owned()],
        };
        // Nobody is left to be told that stderr is gone.
        let _ = lines.iter().try_for_each(|line| writeln!(out, "{line}"));
    }
}

/// Writes a note behind its lead.
pub fn wrapped_note(lead: &str, text: &str) {
    note(&format!("{lead}{text}"));
}

/// Shows how far long work is, where a person looks on.
pub fn progress(text: &str) {
    let mut stderr = std::io::stderr().lock();
    if stderr.is_terminal() {
        // As above.
        let _ = write!(stderr, "\r{text}").and_then(|()| stderr.flush());
    }
}

/// A message as indented JSON with a line end.
///
/// # Errors
/// A message that is not of the contract.
pub fn json_text<M: Message + Name>(message: &M) -> Result<String, Failure> {
    let value = json::to_json(message).map_err(|e| Failure::new(Exit::Failed, e.to_string()))?;
    Ok(format!("{value:#}\n"))
}

/// A message as JSON with the names of the contract, on one line or indented, with a line end.
///
/// # Errors
/// A message that is not of the contract.
pub fn json_with_proto_names<M: Message + Name>(
    message: &M,
    indented: bool,
) -> Result<String, Failure> {
    let value = json::to_json_with_proto_names(message)
        .map_err(|e| Failure::new(Exit::Failed, e.to_string()))?;
    Ok(if indented { format!("{value:#}\n") } else { format!("{value}\n") })
}

/// A message as one line of JSON.
///
/// # Errors
/// A message that is not of the contract.
pub fn json_line<M: Message + Name>(message: &M) -> Result<String, Failure> {
    let value = json::to_json(message).map_err(|e| Failure::new(Exit::Failed, e.to_string()))?;
    Ok(format!("{value}\n"))
}

/// Messages, one line of JSON each.
///
/// # Errors
/// A message that is not of the contract.
pub fn json_lines<M: Message + Name>(messages: &[M]) -> Result<String, Failure> {
    messages.iter().map(json_line).collect()
}

/// Rows as comma-separated values with a header.
///
/// # Errors
/// Never in practice: memory takes every row.
pub fn csv_text(header: &[&str], rows: &[Vec<String>]) -> Result<String, Failure> {
    let failed = |error: String| Failure::new(Exit::Failed, error);
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(header).map_err(|e| failed(e.to_string()))?;
    for row in rows {
        writer.write_record(row).map_err(|e| failed(e.to_string()))?;
    }
    let bytes = writer.into_inner().map_err(|e| failed(e.to_string()))?;
    String::from_utf8(bytes).map_err(|e| failed(e.to_string()))
}
