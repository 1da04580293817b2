//! What is contested, what is due, and who said what.

use deepbend_contract::pb;

use super::{finish, printed_only};
use crate::args::{DueArgs, Global};
use crate::failure::Failure;
use crate::output::{self, Format, note, put};
use crate::render::{self, Table};
use crate::service::{Needs, Service};

pub(super) async fn contested(global: &Global) -> Result<(), Failure> {
    let request = pb::ListContestedRequest { page_size: 1000, ..Default::default() };
    if printed_only(global, &request)? {
        return Ok(());
    }
    let service = Service::open(global, Needs::Inventory).await?;
    let done = async {
        let mut all = pb::ListContestedResponse::default();
        let mut request = request;
        loop {
            let asked = service.request(request.clone());
            let page = service.inventory().list_contested(asked).await?.into_inner();
            all.items.extend(page.items);
            all.forks.extend(page.forks);
            if page.next_page_token.is_empty() {
                break;
            }
            request.page_token = page.next_page_token;
        }
        put(&match global.output {
            Format::Table => render::contested(&all, output::width()),
            Format::Json => output::json_text(&all)?,
            Format::Jsonl => output::json_lines(&all.items)?,
            Format::Csv => {
                let rows: Vec<_> = all
                    .items
                    .iter()
                    .flat_map(|item| item.disputes.iter().map(move |dispute| (item, dispute)))
                    .map(|(item, dispute)| {
                        vec![item.item_id.clone(), dispute.what.clone(), dispute.cure.clone()]
                    })
                    .collect();
                output::csv_text(&["item_id", "what", "cure"], &rows)?
            }
        })?;
        if all.items.is_empty() && all.forks.is_empty() {
            note("note: nothing is contested");
        }
        Ok(())
    };
    let done = done.await;
    finish(service, done).await
}

pub(super) async fn due(global: &Global, args: &DueArgs) -> Result<(), Failure> {
    let mut request =
        pb::ListDueRequest { as_of_date: args.on.clone(), page_size: 1000, ..Default::default() };
    if printed_only(global, &request)? {
        return Ok(());
    }
    let service = Service::open(global, Needs::Inventory).await?;
    let done = async {
        let mut all = pb::ListDueResponse::default();
        loop {
            let asked = service.request(request.clone());
            let page = service.inventory().list_due(asked).await?.into_inner();
            all.due.extend(page.due);
            all.as_of_date = page.as_of_date;
            if page.next_page_token.is_empty() {
                break;
            }
            request.page_token = page.next_page_token;
        }
        let row =
            |due: &pb::DueWork| vec![due.item_id.clone(), due.place_id.clone(), due.work.clone()];
        put(&match global.output {
            Format::Table => {
                let mut table = Table::new().left("item").left("place").wrapped("what is due");
                all.due.iter().for_each(|due| table.row(row(due)));
                if table.is_empty() { String::new() } else { table.render(output::width()) }
            }
            Format::Json => output::json_text(&all)?,
            Format::Jsonl => output::json_lines(&all.due)?,
            Format::Csv => {
                let rows: Vec<_> = all.due.iter().map(row).collect();
                output::csv_text(&["item_id", "place_id", "work"], &rows)?
            }
        })?;
        if all.due.is_empty() {
            note(&format!("note: nothing is due on {}", all.as_of_date));
        }
        Ok(())
    };
    let done = done.await;
    finish(service, done).await
}

/// Who said what of an item.
pub(super) async fn history(global: &Global, id: &str) -> Result<(), Failure> {
    let mut request =
        pb::ListItemEventsRequest { item_id: id.to_owned(), page_size: 1000, ..Default::default() };
    if printed_only(global, &request)? {
        return Ok(());
    }
    let service = Service::open(global, Needs::Inventory).await?;
    let done = async {
        let mut events = Vec::new();
        loop {
            let asked = service.request(request.clone());
            let page = service.inventory().list_item_events(asked).await?.into_inner();
            events.extend(page.events);
            if page.next_page_token.is_empty() {
                break;
            }
            request.page_token = page.next_page_token;
        }
        let rows: Vec<_> = events.iter().map(|event| render::event_row(event, id)).collect();
        put(&match global.output {
            Format::Table => {
                let table = Table::new().left("event").left("when").left("who");
                let mut table = table.wrapped("what");
                rows.into_iter().for_each(|row| table.row(row));
                table.render(output::width())
            }
            Format::Json => output::json_text(&pb::ListItemEventsResponse {
                events,
                next_page_token: String::new(),
            })?,
            Format::Jsonl => output::json_lines(&events)?,
            Format::Csv => output::csv_text(&["event_id", "time", "actor", "what"], &rows)?,
        })
    };
    let done = done.await;
    finish(service, done).await
}
