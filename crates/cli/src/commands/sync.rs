//! Exchanging with other boats, and who this one is.

use std::collections::BTreeSet;
use std::time::Duration;

use deepbend_contract::pb;
use deepbend_contract::pb::exchange_part::Part;
use tokio::sync::mpsc;
use tokio_stream::StreamExt as _;
use tokio_stream::wrappers::ReceiverStream;

use super::{events_file, finish};
use crate::args::{Global, SyncArgs};
use crate::failure::{Exit, Failure};
use crate::output::{self, Format, note, progress, put, whole_line, wrapped_note};
use crate::render::{Page, second};
use crate::service::{Needs, Service};

pub(super) async fn run(global: &Global, args: &SyncArgs) -> Result<(), Failure> {
    let service = Service::open(global, Needs::Inventory).await?;
    let done = async {
        match (&args.peer, &args.to_file, &args.from_file) {
            (None, Some(file), _) => events_file::write(&service, file).await,
            (None, None, Some(file)) => {
                warn_of_key(&state_of(&service).await?);
                events_file::read(&service, file).await
            }
            (None, None, None) => tell_state(global, &service).await,
            (Some(address), ..) => {
                let peer = Service::at(address, args.peer_token_file.as_deref()).await;
                let peer = peer.map_err(|failure| of_peer(failure, address))?;
                warn_of_key(&state_of(&service).await?);
                exchange(&service, &peer, address).await
            }
        }
    };
    let done = match global.deadline {
        // Also where the other side takes the call and says nothing.
        Some(deadline) => tokio::time::timeout(deadline, done).await.unwrap_or_else(|_| {
            Err(Failure::new(Exit::Deadline, "the exchange did not end in time"))
        }),
        None => done.await,
    };
    finish(service, done).await
}

/// A failure of the other service: what is to be looked after is there, not here.
fn of_peer(failure: Failure, address: &str) -> Failure {
    let hint = if failure.exit == Exit::Unavailable {
        Some(format!(
            "is deepbendd running at {address}, and in reach? What is recorded here stays here \
             and goes out with the next exchange"
        ))
    } else if failure.exit == Exit::Refused {
        Some("the other service asks for its token: --peer-token-file FILE".to_owned())
    } else {
        failure.hint.clone()
    };
    Failure { hint, ..failure }
}

pub(super) async fn state_of(service: &Service) -> Result<pb::GetSyncStateResponse, Failure> {
    let asked = service.request(pb::GetSyncStateRequest {});
    Ok(service.sync().get_sync_state(asked).await?.into_inner())
}

/// Says where others would not take what is recorded here.
pub(super) fn warn_of_key(state: &pb::GetSyncStateResponse) {
    let device = &state.device_id;
    let enrolled = |d: &pb::FleetDevice| d.device_id == *device && d.keys.contains(&state.key);
    // Without a key nothing is recorded: then the store's trouble says so.
    let has_key = !state.key.is_empty();
    if has_key && !state.founder_id.is_empty() && !state.devices.iter().any(enrolled) {
        if *device == state.founder_id {
            wrapped_note("warning: ", FOUNDERS_KEY);
        } else {
            let text = format!(
                "the key of this service is not enrolled for {device}: what is recorded here \
                 counts nowhere else. Put the old device.key back into the data folder, if there \
                 was one, or have the founder {} (or another keeper above this device) record:",
                state.founder_id
            );
            wrapped_note("warning: ", &text);
            // In one line, however long: it is to be copied.
            whole_line(&format!("deepbend log enrolled {device} {}", state.key));
        }
    }
}

/// Says where what is here counts for nothing.
fn tell_uncounted(state: &pb::GetSyncStateResponse) {
    if state.uncounted_event_count > 0 {
        let known = |device: &String| state.devices.iter().any(|d| d.device_id == *device);
        let strangers = state.tips.iter().map(|tip| &tip.device_id).filter(|id| !known(id));
        let strangers: BTreeSet<&str> = strangers.map(String::as_str).collect();
        let strangers: Vec<_> = strangers.into_iter().collect();
        let whose = if strangers.is_empty() {
            "their devices were revoked before them".to_owned()
        } else {
            format!(
                "{} was never enrolled in the fleet of {}",
                strangers.join(", "),
                state.founder_id
            )
        };
        let text = format!(
            "{} of {} events count for nothing: {whose}. They are kept, and count once that is \
             mended",
            state.uncounted_event_count, state.event_count
        );
        wrapped_note("note: ", &text);
    }
}

/// The founder is known by its key alone.
const FOUNDERS_KEY: &str = "the key of this service is not the founder's: what is recorded here counts nowhere, and \
     nobody can enrol another key for the founder. Put its old device.key back into the data \
     folder. If that is lost for good, found the fleet anew: README, \"A lost key\"";

async fn tell_state(global: &Global, service: &Service) -> Result<(), Failure> {
    let state = state_of(service).await?;
    warn_of_key(&state);
    tell_uncounted(&state);
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
            if !state.store_trouble.is_empty() {
                rows.push(("store", format!("can only be read: {}", state.store_trouble)));
            }
            rows.extend(state.devices.iter().map(|device| ("member", tell_device(device))));
            rows.extend(state.peers.iter().map(|peer| ("peer", tell_peer(peer))));
            rows.extend(state.forks.iter().map(|fork| ("fork", tell_fork(fork))));
            if global.output == Format::Csv {
                let rows: Vec<_> =
                    rows.into_iter().map(|(name, value)| vec![name.to_owned(), value]).collect();
                output::csv_text(&["name", "value"], &rows)?
            } else {
                let mut page = Page::new(output::width());
                rows.iter().for_each(|(name, value)| page.hanging(&format!("{name:8} "), value));
                page.finish()
            }
        }
    })
}

/// What a fork is, and the way out.
fn tell_fork(fork: &pb::DeviceFork) -> String {
    if fork.left_behind {
        return format!(
            "the device of {} wrote two events under that number, and goes on under new ones \
             since: settle what `deepbend contested` shows of it",
            fork.event_id
        );
    }
    format!(
        "the device of {} wrote two events under that number: its store was cloned. From there on \
         neither settles anything; give one of the two another name",
        fork.event_id
    )
}

/// What a device may do.
pub(super) fn tell_device(device: &pb::FleetDevice) -> String {
    let may = match (device.revoked, device.keeper) {
        (true, _) => "revoked",
        (false, true) => "keeper: may enrol and revoke",
        (false, false) => "may write",
    };
    let told = |what: &str, events: &[String]| match events {
        [] => String::new(),
        events => format!("; {what} by {}", events.join(", ")),
    };
    let enrolled = told("enrolled", &device.enrolment_event_ids);
    let revoked = told("revoked", &device.revocation_event_ids);
    format!("{}, {may}{enrolled}{revoked}", device.device_id)
}

/// How exchanging with a peer goes.
fn tell_peer(peer: &pb::PeerState) -> String {
    let mut told = peer.url.clone();
    told += &match peer.last_success_time {
        Some(time) => format!(", last exchange {}", second(Some(time))),
        None => ", no exchange yet".to_owned(),
    };
    match peer.failure_count {
        0 => {}
        1 => told += &format!(", failed once: {}", peer.last_error),
        count => told += &format!(", failed {count} times: {}", peer.last_error),
    }
    if let Some(time) = peer.next_attempt_time {
        told += &format!(", next attempt {}", second(Some(time)));
    }
    told
}

/// Lets two services exchange, and tells how it went.
async fn exchange(own: &Service, peer: &Service, address: &str) -> Result<(), Failure> {
    let tell = |sent: usize, received: usize| {
        progress(&format!("sent {sent}, received {received} events"));
    };
    let exchanged = pass_on(own, peer, tell).await;
    let Exchanged { sent, received, here, there } = exchanged.map_err(|broken| match broken {
        Broken::Here(failure) => failure,
        Broken::There(failure) => of_peer(failure, address),
    })?;
    progress("\n");
    for (who, receipt) in [("here", &here), ("there", &there)] {
        note(&format!(
            "received {who}: {} new, {} known, {} waiting, {} refused",
            receipt.accepted_count,
            receipt.duplicate_count,
            receipt.waiting_count,
            receipt.refused_count
        ));
        receipt.refused.iter().for_each(|refused| wrapped_note("refused: ", &refused.wrong));
    }
    for fork in here.forks.iter().filter(|fork| !fork.left_behind) {
        wrapped_note("note: ", &tell_fork(fork));
    }
    if here.refused_count + there.refused_count > 0 {
        return Err(Failure::new(Exit::BadData, "some events were refused"));
    }
    put(&format!("sent {sent}, received {received}\n"))
}

/// Longest silence in an exchange; a service breaks it off after a minute.
const SILENCE: Duration = Duration::from_secs(75);

/// Which side of an exchange broke it off.
#[derive(Debug)]
pub(crate) enum Broken {
    /// The own service.
    Here(Failure),
    /// The other one.
    There(Failure),
}

impl From<Broken> for Failure {
    fn from(broken: Broken) -> Self {
        match broken {
            Broken::Here(failure) | Broken::There(failure) => failure,
        }
    }
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
) -> Result<Exchanged, Broken> {
    let here = |status: tonic::Status| Broken::Here(status.into());
    let there = |status: tonic::Status| Broken::There(status.into());
    let (to_own, for_own) = mpsc::channel(1);
    let (to_peer, for_peer) = mpsc::channel(1);
    let asked = own.request(ReceiverStream::new(for_own));
    let mut from_own = own.sync().exchange(asked).await.map_err(here)?.into_inner();
    let asked = peer.request(ReceiverStream::new(for_peer));
    let answer = tokio::time::timeout(SILENCE, peer.sync().exchange(asked)).await;
    let silent = || Broken::There(Failure::new(Exit::Unavailable, "the service does not answer"));
    let mut from_peer = answer.map_err(|_| silent())?.map_err(there)?.into_inner();
    let mut done = Exchanged::default();
    let (mut own_ended, mut peer_ended) = (false, false);
    while !(own_ended && peer_ended) {
        let (message, to, is_own) = tokio::select! {
            () = tokio::time::sleep(SILENCE) => return Err(silent()),
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
        let message = if is_own { message.map_err(here) } else { message.map_err(there) };
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
