//! Importing, listing, showing and reading gear.

use std::path::{Path, PathBuf};
use std::time::SystemTime;

use deepbend_contract::pb;

use super::{candidates, finish, printed_only, text_of};
use crate::args::{Global, ImportArgs, ListArgs, ReadArgs, ShowArgs};
use crate::failure::{Exit, Failure};
use crate::output::{self, Format, note, put};
use crate::render;
use crate::service::{Needs, Service};

const FILES: [(&str, pb::ImportFileKind); 6] = [
    ("boats.csv", pb::ImportFileKind::Boats),
    ("devices.csv", pb::ImportFileKind::Devices),
    ("line_stock.csv", pb::ImportFileKind::LineStock),
    ("rods.csv", pb::ImportFileKind::Rods),
    ("reels.csv", pb::ImportFileKind::Reels),
    ("lures.csv", pb::ImportFileKind::Lures),
];
const KNOWN: &str =
    "items that are known already are not imported again; name another folder with --data";
const ITEM_HEADER: [&str; 9] =
    ["id", "kind", "status", "place", "quantity", "condition", "contested", "name", "what"];

pub(super) async fn import(global: &Global, args: &ImportArgs) -> Result<(), Failure> {
    let mut files = Vec::new();
    for path in item_files(&args.paths)? {
        let kind = kind_of(&path)?;
        files.push(pb::ImportFile { kind: kind.into(), csv_text: text_of(&path)? });
    }
    let observed = args.observed.unwrap_or_else(|| SystemTime::now().into());
    let request = pb::ImportItemsRequest {
        request_id: args.request_id.clone(),
        files,
        claim: Some(pb::Claim {
            observed_time: Some(observed),
            actor: args.actor.clone(),
            certainty: args.certainty.to_wire().into(),
        }),
        validate_only: args.dry_run,
    };
    if printed_only(global, &request)? {
        return Ok(());
    }
    let service = Service::open(global, Needs::Inventory).await?;
    let done = async {
        let answer = service.inventory().import_items(service.request(request)).await?.into_inner();
        print_import(global, &answer)
    };
    let done = done.await;
    finish(service, done).await
}

/// The item files of a folder, or the files as they are.
fn item_files(paths: &[PathBuf]) -> Result<Vec<PathBuf>, Failure> {
    let mut files = Vec::new();
    for path in paths {
        if path.is_dir() {
            let there = FILES.iter().map(|(name, _)| path.join(name)).filter(|f| f.is_file());
            files.extend(there);
        } else {
            files.push(path.clone());
        }
    }
    if files.is_empty() {
        let names: Vec<_> = FILES.iter().map(|(name, _)| *name).collect();
        return Err(Failure::new(Exit::NoInput, "there is no item file in that folder")
            .hint(format!("item files are named {}", names.join(", "))));
    }
    Ok(files)
}

fn kind_of(path: &Path) -> Result<pb::ImportFileKind, Failure> {
    let name = path.file_name().and_then(|name| name.to_str()).unwrap_or_default();
    FILES.iter().find(|(known, _)| *known == name).map(|(_, kind)| *kind).ok_or_else(|| {
        let names: Vec<_> = FILES.iter().map(|(name, _)| *name).collect();
        Failure::usage(format!("{}: what does it list?", path.display()))
            .hint(format!("item files are named {}", names.join(", ")))
    })
}

fn print_import(global: &Global, answer: &pb::ImportItemsResponse) -> Result<(), Failure> {
    for fault in &answer.faults {
        let column = if fault.column.is_empty() { "-" } else { &fault.column };
        let right = if fault.right.is_empty() {
            String::new()
        } else {
            format!("; right is {}", fault.right)
        };
        note(&format!(
            "error: {}.csv, line {}, column {column}: {}{right}",
            render::word!(ImportFileKind, fault.file),
            fault.row,
            fault.wrong,
        ));
    }
    put(&match global.output {
        Format::Table => render::import_report(answer, output::width()),
        Format::Json => output::json_text(answer)?,
        Format::Jsonl => output::json_line(answer)?,
        Format::Csv => {
            let count = |count: &pb::ItemCount| {
                vec![render::word!(ItemKind, count.kind), count.item_count.to_string()]
            };
            let rows: Vec<_> = answer.counts.iter().map(count).collect();
            output::csv_text(&["kind", "item_count"], &rows)?
        }
    })?;
    if pb::ImportOutcome::try_from(answer.outcome) == Ok(pb::ImportOutcome::Refused) {
        let what = format!("{} faults; nothing was imported", answer.faults.len());
        let failure = Failure::new(Exit::BadData, what);
        let known = answer.faults.iter().any(|fault| fault.wrong.contains("is already known"));
        return Err(if known { failure.hint(KNOWN) } else { failure });
    }
    Ok(())
}

pub(super) async fn list(global: &Global, args: &ListArgs) -> Result<(), Failure> {
    let filter = filter(args)?;
    let filtered = filter != pb::ItemFilter::default();
    let paged = args.page_size.is_some() || !args.page_token.is_empty();
    let request = pb::ListItemsRequest {
        page_size: args.page_size.unwrap_or_default(),
        page_token: args.page_token.clone(),
        filter: Some(filter.clone()),
        read_mask: None,
    };
    if printed_only(global, &request)? {
        return Ok(());
    }
    let service = Service::open(global, Needs::Inventory).await?;
    let done = async {
        let page = if paged {
            service.inventory().list_items(service.request(request)).await?.into_inner()
        } else {
            let items = candidates::items(&service, filter).await?;
            let total_size = i32::try_from(items.len()).unwrap_or(i32::MAX);
            pb::ListItemsResponse { items, total_size, ..Default::default() }
        };
        print_items(global, &page)?;
        if page.items.is_empty() && filtered {
            note("note: no such item; without options `deepbend gear list` lists all");
        } else if page.items.is_empty() {
            note("note: no items yet; `deepbend gear import FOLDER` brings some in");
        }
        Ok(())
    };
    let done = done.await;
    finish(service, done).await
}

fn filter(args: &ListArgs) -> Result<pb::ItemFilter, Failure> {
    Ok(pb::ItemFilter {
        kinds: words("--kind", "ITEM_KIND", &args.kinds, |name| {
            pb::ItemKind::from_str_name(name).map(Into::into)
        })?,
        place_ids: args.places.clone(),
        statuses: words("--status", "ITEM_STATUS", &args.statuses, |name| {
            pb::ItemStatus::from_str_name(name).map(Into::into)
        })?,
        powers: words("--power", "POWER", &args.powers, |name| {
            pb::Power::from_str_name(name).map(Into::into)
        })?,
        text: args.text.clone(),
    })
}

fn words(
    option: &str,
    prefix: &str,
    texts: &[String],
    find: impl Fn(&str) -> Option<i32>,
) -> Result<Vec<i32>, Failure> {
    texts
        .iter()
        .map(|text| {
            let name = text.trim().to_uppercase().replace([' ', '-'], "_");
            find(&format!("{prefix}_{name}")).filter(|value| *value != 0).ok_or_else(|| {
                Failure::usage(format!("{option}: `{text}` is no such word"))
                    .hint("`deepbend gear list --help` lists the words")
            })
        })
        .collect()
}

fn print_items(global: &Global, page: &pb::ListItemsResponse) -> Result<(), Failure> {
    put(&match global.output {
        Format::Table => render::items(&page.items, output::width()),
        Format::Json => output::json_text(page)?,
        Format::Jsonl => output::json_lines(&page.items)?,
        Format::Csv => {
            let rows: Vec<_> = page.items.iter().map(item_row).collect();
            output::csv_text(&ITEM_HEADER, &rows)?
        }
    })?;
    if !page.next_page_token.is_empty() {
        note(&format!("note: {} of {} items; the next page:", page.items.len(), page.total_size));
        note(&format!("--page-token {}", page.next_page_token));
    }
    Ok(())
}

fn item_row(item: &pb::Item) -> Vec<String> {
    let condition = item.condition;
    vec![
        item.id.clone(),
        render::word!(ItemKind, item.kind),
        render::word!(ItemStatus, item.status),
        item.place_id.clone(),
        item.quantity.map(|n| n.to_string()).unwrap_or_default(),
        render::word!(ItemCondition, condition).to_uppercase(),
        if item.contested { "yes" } else { "no" }.to_owned(),
        item.display_name.clone(),
        render::what(item),
    ]
}

pub(super) async fn show(global: &Global, args: &ShowArgs) -> Result<(), Failure> {
    let request = pb::GetItemRequest { id: args.id.clone(), read_mask: None };
    if printed_only(global, &request)? {
        return Ok(());
    }
    let service = Service::open(global, Needs::Inventory).await?;
    let done = async {
        let answer = service.inventory().get_item(service.request(request)).await?.into_inner();
        let item = answer.item.unwrap_or_default();
        put(&match global.output {
            Format::Table => {
                render::item(&item, &answer.story.unwrap_or_default(), output::width())
            }
            Format::Json => output::json_text(&item)?,
            Format::Jsonl => output::json_line(&item)?,
            Format::Csv => output::csv_text(&ITEM_HEADER, &[item_row(&item)])?,
        })
    };
    let done = done.await;
    finish(service, done).await
}

pub(super) async fn read(global: &Global, args: &ReadArgs) -> Result<(), Failure> {
    let request = pb::ReadGearRequest { text: args.text.clone(), kind: args.kind.to_wire().into() };
    if printed_only(global, &request)? {
        return Ok(());
    }
    let service = Service::open(global, Needs::Nothing).await?;
    let done = async {
        let answer = service.matching().read_gear(service.request(request)).await?.into_inner();
        put(&match global.output {
            Format::Table => render::read_gear(&answer, output::width()),
            Format::Json => output::json_text(&answer)?,
            Format::Jsonl => output::json_line(&answer)?,
            Format::Csv => {
                let rows: Vec<_> = render::read_pairs(&answer)
                    .into_iter()
                    .map(|(name, value)| vec![name, value])
                    .collect();
                output::csv_text(&["field", "value"], &rows)?
            }
        })
    };
    let done = done.await;
    finish(service, done).await
}
