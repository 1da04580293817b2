//! What is contested and due, taking stock, and exchanging with other boats.

use std::collections::{BTreeMap, BTreeSet};

use deepbend_contract::pb;
use deepbend_contract::pb::event_body::What;
use deepbend_contract::pb::exchange_part::Part;
use tokio::sync::mpsc;
use tokio_stream::StreamExt as _;
use tokio_stream::wrappers::ReceiverStream;

use super::{candidates, finish, log, printed_only, text_of};
use crate::args::{DueArgs, Global, StocktakeArgs, SyncArgs};
use crate::failure::{Exit, Failure};
use crate::output::{self, Format, note, progress, put};
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

/// Tags that were found, each with how often, and how many pieces were counted.
fn found(args: &StocktakeArgs) -> Result<BTreeMap<String, (usize, Option<i32>)>, Failure> {
    let mut tags = args.found.clone();
    if let Some(file) = &args.file {
        let text = text_of(file)?;
        let lines = text.lines().map(|line| line.split('#').next().unwrap_or_default().trim());
        tags.extend(lines.filter(|line| !line.is_empty()).map(str::to_owned));
    }
    if tags.is_empty() {
        return Err(Failure::usage("stocktake needs the tags that were found, or --file FILE")
            .hint("deepbend stocktake B1 R01 R04 E08 L30=2"));
    }
    let mut found: BTreeMap<String, (usize, Option<i32>)> = BTreeMap::new();
    for tag in tags {
        let (id, count) = match tag.split_once('=') {
            None => (tag.as_str(), None),
            Some((id, count)) => {
                let count = count.parse().ok().filter(|count| *count >= 0).ok_or_else(|| {
                    Failure::usage(format!("`{tag}`: write a whole number, as in L30=2"))
                })?;
                (id, Some(count))
            }
        };
        let there = found.entry(id.to_owned()).or_default();
        there.0 += 1;
        there.1 = count.or(there.1);
    }
    Ok(found)
}

pub(super) async fn stocktake(global: &Global, args: &StocktakeArgs) -> Result<(), Failure> {
    let found = found(args)?;
    let service = Service::open(global, Needs::Inventory).await?;
    let done = async {
        let all = candidates::items(&service, pb::ItemFilter::default()).await?;
        let place = &args.place;
        let is_place = |item: &pb::Item| item.kind() == pb::ItemKind::Boat && item.id == *place;
        if !all.iter().any(is_place) {
            return Err(Failure::new(Exit::BadData, format!("there is no place {place}"))
                .hint("`deepbend gear list --kind boat` lists the boats and places ashore"));
        }
        let (rows, events) = differences(&all, place, &found, &args.by);
        let header = ["difference", "item", "what"];
        put(&match global.output {
            Format::Table => {
                let mut table = Table::new().left("difference").left("item").wrapped("what");
                rows.iter().for_each(|row| table.row(row.clone()));
                if table.is_empty() { String::new() } else { table.render(output::width()) }
            }
            Format::Csv => output::csv_text(&header, &rows)?,
            Format::Json | Format::Jsonl => {
                return Err(Failure::usage("stocktake prints a table or csv"));
            }
        })?;
        if rows.is_empty() {
            note(&format!("note: {place} has what it should have"));
        }
        if args.record && !events.is_empty() {
            let count = events.len();
            let request = pb::RecordEventsRequest { events, ..Default::default() };
            let answer = service.inventory().record_events(service.request(request)).await?;
            let left = answer.into_inner().contested.len();
            note(&format!("note: {count} events recorded; {left} of these items are contested"));
        } else if !events.is_empty() {
            note("note: nothing is recorded; --record does");
        }
        Ok(())
    };
    let done = done.await;
    finish(service, done).await
}

/// What differs, and the events that say what was seen.
fn differences(
    all: &[pb::Item],
    place: &str,
    found: &BTreeMap<String, (usize, Option<i32>)>,
    by: &str,
) -> (Vec<Vec<String>>, Vec<pb::NewEvent>) {
    let mut by_id: BTreeMap<&str, Vec<&pb::Item>> = BTreeMap::new();
    for item in all {
        by_id.entry(&item.id).or_default().push(item);
    }
    let row = |kind: &str, id: &str, what: String| vec![kind.to_owned(), id.to_owned(), what];
    let seen = |item: &pb::Item, what: What| pb::NewEvent {
        item_id: item.id.clone(),
        item_kind: item.kind,
        claim: Some(log::claim(by, pb::Certainty::Seen, None)),
        seen_at_id: place.to_owned(),
        body: Some(pb::EventBody { what: Some(what) }),
        ..Default::default()
    };
    let (mut rows, mut events) = (Vec::new(), Vec::new());
    for (id, (times, count)) in found {
        let items = by_id.get(id.as_str()).map(Vec::as_slice).unwrap_or_default();
        let [item] = items else {
            rows.push(match items.len() {
                0 => row("extra", id, "nobody knows this tag".to_owned()),
                n => row("double tag", id, format!("{n} items bear it")),
            });
            continue;
        };
        if item.quantity.is_none() && *times > 1 {
            rows.push(row("double tag", id, format!("found {times} times; it is one item")));
        }
        if item.quantity.is_none() && item.place_id != place {
            let was = match item.place_id.as_str() {
                "" if item.contested => "its place is contested".to_owned(),
                "" => "nobody said where it is".to_owned(),
                other => format!("it should be at {other}"),
            };
            rows.push(row("misplaced", id, was));
            let to_id = place.to_owned();
            events.push(seen(item, What::Moved(pb::Moved { to_id, ..Default::default() })));
        }
        if let (Some(count), Some(known)) = (count, item.quantity) {
            if *count != known {
                let kind = if *count < known { "missing" } else { "extra" };
                rows.push(row(kind, id, format!("{count} found, {known} in the inventory")));
            }
            let counted = pb::Counted {
                measure: pb::Measure::Pieces.into(),
                place_id: place.to_owned(),
                amount: Some(*count),
            };
            events.push(seen(item, What::Counted(counted)));
        }
    }
    let away: BTreeSet<i32> = [
        pb::ItemStatus::OnLoan,
        pb::ItemStatus::InService,
        pb::ItemStatus::Lost,
        pb::ItemStatus::Retired,
    ]
    .map(Into::into)
    .into();
    for item in all.iter().filter(|item| item.place_id == place) {
        let gear = !matches!(item.kind(), pb::ItemKind::Boat | pb::ItemKind::Device);
        if gear && !away.contains(&item.status) && !found.contains_key(&item.id) {
            rows.push(row("missing", &item.id, item.display_name.clone()));
        }
    }
    (rows, events)
}

pub(super) async fn sync(global: &Global, args: &SyncArgs) -> Result<(), Failure> {
    let service = Service::open(global, Needs::Inventory).await?;
    let done = async {
        match &args.peer {
            None => tell_state(global, &service).await,
            Some(peer) => {
                let peer = Service::at(peer, args.peer_token_file.as_deref()).await?;
                exchange(&service, &peer).await
            }
        }
    };
    let done = done.await;
    finish(service, done).await
}

async fn tell_state(global: &Global, service: &Service) -> Result<(), Failure> {
    let asked = service.request(pb::GetSyncStateRequest {});
    let state = service.sync().get_sync_state(asked).await?.into_inner();
    put(&match global.output {
        Format::Json => output::json_text(&state)?,
        Format::Jsonl => output::json_line(&state)?,
        Format::Table | Format::Csv => {
            let founder = match state.founder_id.as_str() {
                "" => "none: every device counts".to_owned(),
                founder => founder.to_owned(),
            };
            let mut rows = vec![
                ("device", state.device_id.clone()),
                ("key", state.key.clone()),
                ("founder", founder),
                ("events", state.event_count.to_string()),
                ("state", state.state_hash.clone()),
            ];
            rows.extend(state.peers.iter().map(|peer| ("peer", tell_peer(peer))));
            rows.extend(state.forks.iter().map(|fork| ("fork", tell_fork(fork))));
            if global.output == Format::Csv {
                let rows: Vec<_> =
                    rows.into_iter().map(|(name, value)| vec![name.to_owned(), value]).collect();
                output::csv_text(&["name", "value"], &rows)?
            } else {
                rows.iter().map(|(name, value)| format!("{name:8} {value}\n")).collect()
            }
        }
    })
}

/// What a fork is, and the way out.
fn tell_fork(fork: &pb::DeviceFork) -> String {
    format!(
        "the device of {} wrote two events under that number: its store was cloned. From there on \
         neither settles anything; give one of the two another name",
        fork.event_id
    )
}

/// How exchanging with a peer goes.
fn tell_peer(peer: &pb::PeerState) -> String {
    let at = |time: &Option<prost_types::Timestamp>| time.map(|time| time.to_string());
    let mut told = peer.url.clone();
    told += &match at(&peer.last_success_time) {
        Some(time) => format!(", last exchange {time}"),
        None => ", no exchange yet".to_owned(),
    };
    if peer.failure_count > 0 {
        told += &format!(", failed {} times: {}", peer.failure_count, peer.last_error);
    }
    if let Some(time) = at(&peer.next_attempt_time) {
        told += &format!(", next attempt {time}");
    }
    told
}

/// Lets two services exchange, and tells how it went.
async fn exchange(own: &Service, peer: &Service) -> Result<(), Failure> {
    let tell = |sent: usize, received: usize| {
        progress(&format!("sent {sent}, received {received} events"));
    };
    let Exchanged { sent, received, here, there } = pass_on(own, peer, tell).await?;
    progress("\n");
    for (who, receipt) in [("here", &here), ("there", &there)] {
        note(&format!(
            "received {who}: {} new, {} known, {} waiting, {} refused",
            receipt.accepted_count,
            receipt.duplicate_count,
            receipt.waiting_count,
            receipt.refused_count
        ));
        receipt.refused.iter().for_each(|refused| note(&format!("refused: {}", refused.wrong)));
    }
    for fork in &here.forks {
        note(&format!("note: {}", tell_fork(fork)));
    }
    if here.refused_count + there.refused_count > 0 {
        return Err(Failure::new(Exit::BadData, "some events were refused"));
    }
    put(&format!("sent {sent}, received {received}\n"))
}

/// How an exchange went.
#[derive(Debug, Default)]
pub(crate) struct Exchanged {
    pub(crate) sent: usize,
    pub(crate) received: usize,
    pub(crate) here: pb::Receipt,
    pub(crate) there: pb::Receipt,
}

/// Lets two services exchange, passing on what each says to the other.
pub(crate) async fn pass_on(
    own: &Service,
    peer: &Service,
    tell: impl Fn(usize, usize),
) -> Result<Exchanged, Failure> {
    let (to_own, for_own) = mpsc::channel(1);
    let (to_peer, for_peer) = mpsc::channel(1);
    let asked = own.request(ReceiverStream::new(for_own));
    let mut from_own = own.sync().exchange(asked).await?.into_inner();
    let asked = peer.request(ReceiverStream::new(for_peer));
    let mut from_peer = peer.sync().exchange(asked).await?.into_inner();
    let mut done = Exchanged::default();
    let (mut own_ended, mut peer_ended) = (false, false);
    while !(own_ended && peer_ended) {
        let (message, to, is_own) = tokio::select! {
            message = from_own.next(), if !own_ended => (message, &to_peer, true),
            message = from_peer.next(), if !peer_ended => (message, &to_own, false),
        };
        let Some(message) = message else {
            if is_own {
                own_ended = true
            } else {
                peer_ended = true
            }
            continue;
        };
        let Some(part) = message?.part else { continue };
        match &part.part {
            Some(Part::Events(chunk)) => {
                let count = if is_own { &mut done.sent } else { &mut done.received };
                *count += chunk.events.len();
                tell(done.sent, done.received);
            }
            Some(Part::Receipt(receipt)) if is_own => done.here = receipt.clone(),
            Some(Part::Receipt(receipt)) => done.there = receipt.clone(),
            Some(Part::Hello(_) | Part::Landmarks(_) | Part::Sent(_)) | None => {}
        }
        // Who has heard everything has ended already.
        let _ = to.send(pb::ExchangeRequest { part: Some(part) }).await;
    }
    Ok(done)
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
        let rows: Vec<_> = events.iter().map(render::event_row).collect();
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
