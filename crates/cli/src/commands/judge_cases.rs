//! Case files: one judgement a row, over one stream.

use std::path::Path;

use deepbend_contract::{ToWire as _, pb};
use prost::Message as _;
use tokio_stream::StreamExt as _;
use tokio_stream::wrappers::ReceiverStream;

use super::judge::HEADER;
use super::{bytes_of, finish};
use crate::args::Global;
use crate::cases::{self, CellFault, RowResult};
use crate::describe;
use crate::failure::{Exit, Failure};
use crate::output::{self, Format, note, progress, put};
use crate::render::{self, Table, bar};
use crate::service::{Needs, Service};

/// Rows a message: far below the 4096 and the 4 MiB that a message may have.
const ROWS_A_MESSAGE: usize = 1024;
const BYTES_A_MESSAGE: usize = 1024 * 1024;
/// A row that is longer holds text that no column asks for.
const BYTES_A_ROW: usize = 64 * 1024;
const MESSAGES_AHEAD: usize = 4;
const PROGRESS_FROM: usize = 20_000;

/// A row of the file on its way.
struct Pending {
    id: String,
    /// Why it is not sent.
    faults: Vec<CellFault>,
}

pub(super) async fn run(global: &Global, path: &Path, overrides: &[String]) -> Result<(), Failure> {
    let overrides = describe::overrides(overrides)?;
    let rows = read(path)?;
    let (pending, messages) = messages(rows, &overrides);
    if global.print_request {
        for message in &messages {
            put(&output::json_line(message)?)?;
        }
        return Ok(());
    }
    let service = Service::open(global, Needs::Nothing).await?;
    let done = judge(global, &service, pending, messages).await;
    finish(service, done).await
}

/// Reads a case file; at least one column must be known.
pub(super) fn read(path: &Path) -> Result<Vec<RowResult>, Failure> {
    let bytes = bytes_of(path)?;
    let bad = |what: String| {
        Failure::new(Exit::BadData, format!("{}: {what}", path.display()))
            .hint("the first line names the columns: id,handle,rod_length_m,lure_class,...")
    };
    let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).from_reader(bytes.as_slice());
    let header = reader.headers().map_err(|e| bad(format!("the header cannot be read: {e}")))?;
    let known = |name: &str| {
        let name = name.trim_start_matches('\u{feff}');
        cases::COLUMNS.iter().any(|column| column.name == name)
    };
    if !header.iter().any(known) {
        return Err(bad("no column of a case file is in its header".to_owned()));
    }
    let unread: Vec<&str> =
        header.iter().filter(|name| !known(name) && !cases::REMARKS.contains(name)).collect();
    if !unread.is_empty() {
        note(&format!("note: columns that are not read: {}", unread.join(", ")));
    }
    cases::read(&bytes).map_err(|e| bad(e.to_string()))
}

/// The rows as messages of the stream, in order.
fn messages(
    rows: Vec<RowResult>,
    overrides: &std::collections::BTreeMap<String, f64>,
) -> (Vec<Pending>, Vec<pb::JudgeBatchRequest>) {
    let mut pending = Vec::with_capacity(rows.len());
    let mut messages: Vec<pb::JudgeBatchRequest> = Vec::new();
    let mut room = 0;
    for (index, row) in rows.into_iter().enumerate() {
        let row = match row {
            Ok(row) => row,
            Err((id, faults)) => {
                pending.push(Pending { id, faults });
                continue;
            }
        };
        for finding in &row.findings {
            let column = cases::column_of(&finding.field).unwrap_or(&finding.field);
            note(&format!("note: row {}, column {column}: {}", index + 1, finding.text));
        }
        let wire = pb::JudgeBatchRow {
            id: String::new(),
            outfit: Some(row.outfit.to_wire()),
            lure: Some(row.lure.to_wire()),
            water: Some(row.water.to_wire()),
        };
        let bytes = wire.encoded_len();
        if bytes > BYTES_A_ROW {
            let text = format!("the row has {bytes} bytes; at most {BYTES_A_ROW} are allowed");
            let fault = CellFault { row: index + 1, column: "-".to_owned(), text };
            pending.push(Pending { id: row.id, faults: vec![fault] });
            continue;
        }
        pending.push(Pending { id: row.id, faults: Vec::new() });
        match messages.last_mut() {
            Some(last) if last.rows.len() < ROWS_A_MESSAGE && bytes < room => {
                last.rows.push(wire);
                room -= bytes;
            }
            Some(_) | None => {
                let overrides = overrides.clone();
                messages.push(pb::JudgeBatchRequest { rows: vec![wire], overrides });
                room = BYTES_A_MESSAGE - bytes;
            }
        }
    }
    (pending, messages)
}

async fn judge(
    global: &Global,
    service: &Service,
    pending: Vec<Pending>,
    messages: Vec<pb::JudgeBatchRequest>,
) -> Result<(), Failure> {
    let (sender, receiver) = tokio::sync::mpsc::channel(MESSAGES_AHEAD);
    // Ends by itself when the stream ends, since then nobody receives any more.
    tokio::spawn(async move {
        for message in messages {
            if sender.send(message).await.is_err() {
                break;
            }
        }
    });
    let request = service.request(ReceiverStream::new(receiver));
    let mut answers = service.matching().judge_batch(request).await?.into_inner();
    let mut printer = Printer::new(global.output, pending.len());
    let mut rows = pending.into_iter();
    while let Some(answer) = answers.next().await {
        let pb::JudgeBatchResponse { results, model } = answer?;
        printer.model = model.or(printer.model);
        for result in results {
            // Rows that were not sent stand between those that were.
            for row in rows.by_ref() {
                let sent = row.faults.is_empty();
                printer.take(row, sent.then_some(&result))?;
                if sent {
                    break;
                }
            }
        }
        printer.flush()?;
    }
    for row in rows {
        if row.faults.is_empty() {
            let what = format!("the service left out row {}", printer.done + 1);
            return Err(Failure::new(Exit::Failed, what));
        }
        printer.take(row, None)?;
    }
    printer.finish()
}

struct Printer {
    format: Format,
    all: usize,
    done: usize,
    invalid: usize,
    model: Option<pb::ModelId>,
    lines: Vec<Vec<String>>,
    /// Rows of this many have their header out.
    started: bool,
    results: Vec<pb::JudgeBatchResult>,
}

impl Printer {
    fn new(format: Format, all: usize) -> Self {
        Self {
            format,
            all,
            done: 0,
            invalid: 0,
            model: None,
            lines: Vec::new(),
            started: false,
            results: Vec::new(),
        }
    }

    /// One row, with its answer if it was sent.
    fn take(&mut self, row: Pending, answer: Option<&pb::JudgeBatchResult>) -> Result<(), Failure> {
        self.done += 1;
        let faults = match answer {
            Some(answer) => {
                answer.faults.iter().map(|fault| cell_fault(self.done, fault)).collect()
            }
            None => row.faults,
        };
        self.invalid += usize::from(!faults.is_empty());
        for fault in &faults {
            note(&format!("error: {fault}"));
        }
        for finding in answer.into_iter().flat_map(|answer| &answer.findings) {
            self.note(&row.id, finding);
        }
        match self.format {
            Format::Csv => self.lines.push(self.csv_row(&row.id, answer)),
            Format::Table => self.lines.push(table_row(&row.id, answer)),
            Format::Json | Format::Jsonl => self.results.push(match answer {
                Some(answer) => pb::JudgeBatchResult { id: row.id, ..answer.clone() },
                None => pb::JudgeBatchResult {
                    id: row.id,
                    faults: faults.iter().map(wire_fault).collect(),
                    ..pb::JudgeBatchResult::default()
                },
            }),
        }
        Ok(())
    }

    /// What is odd about a row that was judged.
    fn note(&self, id: &str, finding: &pb::Finding) {
        let field = finding.field.as_str();
        let whole = [field.to_owned(), format!("outfit.{field}")];
        let column = whole.iter().find_map(|field| cases::column_of(field)).unwrap_or(field);
        let id = if id.is_empty() { String::new() } else { format!(" ({id})") };
        note(&format!("note: row {}{id}, column {column}: {}", self.done, finding.text));
    }

    fn csv_row(&self, id: &str, answer: Option<&pb::JudgeBatchResult>) -> Vec<String> {
        let model = self.model.as_ref().map(render::model_id).unwrap_or_default();
        match answer.filter(|answer| answer.faults.is_empty()) {
            Some(answer) => vec![
                id.to_owned(),
                render::word!(Verdict, answer.verdict),
                format!("{:.6}", answer.score),
                format!("{:.6}", answer.score_low),
                format!("{:.6}", answer.score_high),
                render::word!(FactorKind, answer.limiting_factor),
                model,
            ],
            None => {
                let mut row = vec![String::new(); HEADER.len()];
                id.clone_into(&mut row[0]);
                "invalid".clone_into(&mut row[1]);
                row
            }
        }
    }

    /// Prints what can be printed so far.
    fn flush(&mut self) -> Result<(), Failure> {
        if self.all >= PROGRESS_FROM {
            progress(&format!("judged {} of {} rows ", self.done, self.all));
        }
        match self.format {
            Format::Csv => {
                let text = output::csv_text(&HEADER, &std::mem::take(&mut self.lines))?;
                let body = if self.started { without_first_line(&text) } else { &text };
                self.started = true;
                put(body)
            }
            Format::Jsonl => put(&output::json_lines(&std::mem::take(&mut self.results))?),
            Format::Json | Format::Table => Ok(()),
        }
    }

    fn finish(mut self) -> Result<(), Failure> {
        self.flush()?;
        match self.format {
            Format::Json => {
                let results = std::mem::take(&mut self.results);
                let whole = pb::JudgeBatchResponse { results, model: self.model.take() };
                put(&output::json_text(&whole)?)?;
            }
            Format::Table => {
                let mut table = Table::new()
                    .left("id")
                    .left("verdict")
                    .left("score")
                    .left("likely")
                    .left("limited by");
                self.lines.drain(..).for_each(|line| table.row(line));
                put(&table.render(output::width()))?;
            }
            Format::Csv | Format::Jsonl => {}
        }
        if self.all >= PROGRESS_FROM {
            progress("\n");
        }
        if self.invalid == 0 {
            return Ok(());
        }
        let what = format!("{} of {} rows are invalid", self.invalid, self.all);
        Err(Failure::new(Exit::BadData, what))
    }
}

fn table_row(id: &str, answer: Option<&pb::JudgeBatchResult>) -> Vec<String> {
    match answer.filter(|answer| answer.faults.is_empty()) {
        Some(answer) => vec![
            id.to_owned(),
            render::plain!(Verdict, answer.verdict),
            format!("{:.2} {}", answer.score, bar(answer.score)),
            format!("{:.2} to {:.2}", answer.score_low, answer.score_high),
            render::plain!(FactorKind, answer.limiting_factor),
        ],
        None => vec![id.to_owned(), "invalid".to_owned()],
    }
}

fn without_first_line(text: &str) -> &str {
    text.split_once('\n').map_or("", |(_, rest)| rest)
}

/// A fault of the service, said of the column that the field came from.
fn cell_fault(row: usize, fault: &pb::Fault) -> CellFault {
    let field = match fault.field.split_once("].") {
        Some((list, rest)) if list.starts_with("rows[") => rest,
        Some(_) | None => fault.field.as_str(),
    };
    let column = cases::column_of(field).unwrap_or(field).to_owned();
    let text = if fault.right.is_empty() {
        fault.wrong.clone()
    } else {
        format!("{}; right is {}", fault.wrong, fault.right)
    };
    CellFault { row, column, text }
}

fn wire_fault(fault: &CellFault) -> pb::Fault {
    pb::Fault {
        code: pb::FaultCode::Malformed.into(),
        field: fault.column.clone(),
        wrong: fault.text.clone(),
        right: String::new(),
    }
}
