//! One exchange, the same on both sides.

use std::sync::Arc;
use std::time::Duration;

use deepbend_contract::pb::exchange_part::Part;
use deepbend_contract::{limits, pb};
use deepbend_ledger::event::{BadEvent, Chain, Hash, Head};
use deepbend_ledger::exchange::{Inbox, Raw, Signature, Signed, Tips};
use deepbend_ledger::id::Id;
use deepbend_ledger::view::{EventRef, View};
use deepbend_store::inventory::{Arrival, Inventory, Underway};
use tokio::sync::mpsc;
use tokio::task::JoinHandle;
use tokio_stream::{Stream, StreamExt as _};
use tonic::Status;

use crate::compute::Pool;
use crate::error::ServiceError;
use crate::inventory::{Holding, forks};

/// Version of the exchange.
const VERSION: i32 = 1;
/// Bytes of events in a chunk, about: half of the least message that a service takes.
const CHUNK_BYTES: usize = 256 * 1024;
/// Chunks that are read while another one is taken in.
const CHUNKS_READ: usize = 2;
/// Chunks that are taken in while others are written.
const MOST_BEHIND: usize = 8;
/// Longest silence of the other side.
const SILENCE: Duration = Duration::from_secs(60);
/// Refused events that are told.
const TOLD: usize = 20;

/// What both sides of an exchange have.
#[derive(Clone)]
pub(crate) struct Side {
    pub(crate) holding: Holding,
    pub(crate) pool: Pool,
}

/// What arrived so far.
#[derive(Default)]
pub(super) struct Arrivals {
    inbox: Inbox,
    accepted: usize,
    duplicates: usize,
    refused: usize,
    told: Vec<pb::RefusedEvent>,
}

/// Events of a chunk, read.
type ReadChunk = Vec<Result<Signed, BadEvent>>;

/// Reads the events of a chunk.
fn read(chunk: pb::EventChunk) -> Result<ReadChunk, ServiceError> {
    if chunk.events.len() > limits::CHUNK_EVENTS {
        let what = "events in one chunk";
        return Err(ServiceError::TooLarge { what, limit: limits::CHUNK_EVENTS });
    }
    let read = chunk.events.into_iter().map(|event| {
        let pb::SignedEvent { event: bytes, signature } = event;
        Raw { bytes, signature: Signature::read(&signature) }.read()
    });
    Ok(read.collect())
}

impl Arrivals {
    /// Takes a chunk and puts it on the disk.
    pub(super) fn take(
        &mut self,
        inventory: &Inventory,
        chunk: pb::EventChunk,
    ) -> Result<(), ServiceError> {
        let underway = self.take_in(inventory, read(chunk)?)?;
        Ok(inventory.arrived(&underway)?)
    }

    /// Takes a chunk and lets it go to the disk.
    fn take_in(
        &mut self,
        inventory: &Inventory,
        chunk: ReadChunk,
    ) -> Result<Underway, ServiceError> {
        let (Arrival { accepted, duplicates, refused, forks }, underway) =
            inventory.take_in(&mut self.inbox, chunk)?;
        self.accepted += accepted;
        self.duplicates += duplicates;
        self.refused += refused.len();
        for fork in forks {
            tracing::error!(
                event = %fork.id,
                "a device wrote two events under this number: its store was cloned. From there on \
                 neither settles anything; give one of the two another name with --device"
            );
        }
        for refused in refused {
            tracing::warn!(fault = %refused.fault, "an event was refused");
            if self.told.len() < TOLD {
                self.told.push(pb::RefusedEvent { wrong: refused.fault.to_string() });
            }
        }
        Ok(underway)
    }

    /// What became of all.
    pub(super) fn receipt(&self, view: &View) -> pb::Receipt {
        let count = |n: usize| i64::try_from(n).unwrap_or(i64::MAX);
        pb::Receipt {
            accepted_count: count(self.accepted),
            duplicate_count: count(self.duplicates),
            waiting_count: count(self.inbox.waiting().count()),
            refused_count: count(self.refused),
            refused: self.told.clone(),
            forks: forks(view),
        }
    }
}

/// An event of a chain, written.
pub(super) fn tips(tips: &Tips) -> Vec<pb::ChainTip> {
    let tip = |(chain, head): (&Chain, &Head)| pb::ChainTip {
        device_id: chain.device.to_string(),
        incarnation: i32::try_from(chain.incarnation).unwrap_or(i32::MAX),
        sequence: i64::try_from(head.sequence).unwrap_or(i64::MAX),
        hash: head.hash.as_bytes().to_vec(),
    };
    tips.iter().map(tip).collect()
}

fn read_tips(wire: Vec<pb::ChainTip>) -> Result<Tips, ServiceError> {
    if wire.len() > limits::TIPS {
        return Err(ServiceError::TooLarge { what: "ends of chains", limit: limits::TIPS });
    }
    let mut tips = Tips::default();
    for pb::ChainTip { device_id, incarnation, sequence, hash } in wire {
        let read = || {
            let chain = Chain {
                device: Id::new(device_id.as_str()).ok()?,
                incarnation: u32::try_from(incarnation).ok()?,
            };
            let hash = Hash::from_bytes(hash.try_into().ok()?);
            Some((chain, Head { sequence: u64::try_from(sequence).ok()?, hash }))
        };
        let (chain, head) = read().ok_or_else(|| malformed("an end of a chain"))?;
        tips.add(&chain, head);
    }
    Ok(tips)
}

fn malformed(what: &str) -> ServiceError {
    ServiceError::Peer(format!("the other side sent {what} that cannot be read"))
}

/// Chunks of events, read from the store.
pub(super) fn chunk(
    inventory: &Inventory,
    events: &mut std::vec::IntoIter<EventRef>,
) -> Result<pb::EventChunk, ServiceError> {
    let next = events.as_slice();
    let next = next.get(..limits::CHUNK_EVENTS).unwrap_or(next);
    let raws = inventory.raws(next, CHUNK_BYTES)?;
    events.by_ref().take(raws.len()).for_each(drop);
    let signed = raws.into_iter().map(|Raw { bytes: event, signature }| {
        let signature = signature.map(|signature| signature.as_bytes().to_vec());
        pb::SignedEvent { event, signature: signature.unwrap_or_default() }
    });
    Ok(pb::EventChunk { events: signed.collect() })
}

/// What this side says first.
fn hello(holding: &Holding, view: &View) -> pb::Hello {
    let founder = view.roll().founder();
    pb::Hello {
        version: VERSION,
        device_id: holding.device.to_string(),
        founder_key: founder.map(|founder| founder.key.to_string()).unwrap_or_default(),
        tips: tips(&view.tips()),
        key: own_key(holding),
    }
}

/// The public key of this service.
pub(super) fn own_key(holding: &Holding) -> String {
    holding.inventory.key().map(|key| key.public().to_string()).unwrap_or_default()
}

fn check(own: &pb::Hello, peer: &pb::Hello) -> Result<(), ServiceError> {
    let wrong = if peer.version != VERSION {
        format!("the other side speaks version {}, this one {VERSION}", peer.version)
    } else if peer.founder_key != own.founder_key {
        founders(own, peer)
    } else if peer.device_id == own.device_id && peer.key != own.key {
        format!("both record as {}: give one of them another name with --device", own.device_id)
    } else {
        return Ok(());
    };
    Err(ServiceError::Peer(wrong))
}

/// Two sides that do not name the same founder, and what is to be done.
fn founders(own: &pb::Hello, peer: &pb::Hello) -> String {
    let theirs = Id::new(peer.device_id.as_str());
    let theirs = theirs.map_or_else(|_| "the other side".to_owned(), |id| id.to_string());
    let lone = |with: &str, without: &str| {
        format!(
            "{with} names a founder of its fleet, {without} names none: start the service of \
             {without} with the same --founder DEVICE:KEY"
        )
    };
    if peer.founder_key.is_empty() {
        lone(&own.device_id, &theirs)
    } else if own.founder_key.is_empty() {
        lone(&theirs, &own.device_id)
    } else {
        format!(
            "{} and {theirs} name different founders. Are they of one fleet? Then start both with \
             the same --founder DEVICE:KEY, as `deepbend sync` prints them on the founder",
            own.device_id
        )
    }
}

/// Holds an exchange to its end. Answers what arrived and what the other side says of what it was
/// sent.
pub(super) async fn hold(
    side: &Side,
    mut from: impl Stream<Item = Result<Option<pb::ExchangePart>, Status>> + Unpin,
    to: mpsc::Sender<pb::ExchangePart>,
) -> Result<(pb::Receipt, pb::Receipt), Status> {
    let inventory = &side.holding.inventory;
    let own = hello(&side.holding, &inventory.view());
    say(&to, Part::Hello(own.clone())).await?;
    let Part::Hello(peer) = hear(&mut from).await? else {
        return Err(malformed("something before its hello,").into());
    };
    check(&own, &peer)?;
    let theirs = Arc::new(read_tips(peer.tips)?);
    let (asked, known) = (Arc::clone(inventory), Arc::clone(&theirs));
    let marks = side.pool.run(move || tips(&asked.view().landmarks(&known))).await?;
    say(&to, Part::Landmarks(pb::Landmarks { tips: marks })).await?;
    let Part::Landmarks(marks) = hear(&mut from).await? else {
        return Err(malformed("something before its landmarks,").into());
    };
    let marks = read_tips(marks.tips)?;
    let asked = Arc::clone(inventory);
    let lacking = side.pool.run(move || asked.view().lacking(&theirs, &marks)).await?;
    let sending = send(side, lacking, &to);
    let taking = take(side, &mut from);
    let ((), arrivals) = tokio::try_join!(sending, taking)?;
    let own = arrivals.receipt(&inventory.view());
    say(&to, Part::Receipt(own.clone())).await?;
    match hear(&mut from).await? {
        Part::Receipt(theirs) => Ok((own, theirs)),
        Part::Hello(_) | Part::Landmarks(_) | Part::Events(_) | Part::Sent(_) => {
            Err(malformed("something else than its receipt,").into())
        }
    }
}

async fn send(
    side: &Side,
    lacking: Vec<EventRef>,
    to: &mpsc::Sender<pb::ExchangePart>,
) -> Result<(), Status> {
    let event_count = i64::try_from(lacking.len()).unwrap_or(i64::MAX);
    let mut rest = lacking.into_iter();
    while !rest.as_slice().is_empty() {
        let inventory = Arc::clone(&side.holding.inventory);
        let mut events = rest;
        let read = move || chunk(&inventory, &mut events).map(|chunk| (chunk, events));
        let (chunk, events) = side.pool.run(read).await??;
        rest = events;
        say(to, Part::Events(chunk)).await?;
    }
    say(to, Part::Sent(pb::Sent { event_count })).await
}

/// Takes what the other side sends, to the disk also where it breaks off.
async fn take(
    side: &Side,
    from: &mut (impl Stream<Item = Result<Option<pb::ExchangePart>, Status>> + Unpin),
) -> Result<Arrivals, Status> {
    let mut behind = Behind::default();
    let heard = take_all(side, from, &mut behind).await;
    let written = behind.end(side).await;
    let arrivals = heard?;
    written?;
    Ok(arrivals)
}

/// Reads the next chunks while one is taken in.
async fn take_all(
    side: &Side,
    from: &mut (impl Stream<Item = Result<Option<pb::ExchangePart>, Status>> + Unpin),
    behind: &mut Behind,
) -> Result<Arrivals, Status> {
    let (to, mut chunks) = mpsc::channel(CHUNKS_READ);
    let taking = async {
        let taken = take_each(side, &mut chunks, behind).await;
        // Who reads shall not go on for nobody.
        chunks.close();
        taken
    };
    let (heard, taken) = tokio::join!(hear_all(side, from, to), taking);
    let arrivals = taken?;
    heard?;
    Ok(arrivals)
}

async fn take_each(
    side: &Side,
    chunks: &mut mpsc::Receiver<ReadChunk>,
    behind: &mut Behind,
) -> Result<Arrivals, ServiceError> {
    let mut arrivals = Arrivals::default();
    while let Some(chunk) = chunks.recv().await {
        let inventory = Arc::clone(&side.holding.inventory);
        let work = move || arrivals.take_in(&inventory, chunk).map(|on| (arrivals, on));
        let underway;
        (arrivals, underway) = side.pool.run(work).await??;
        behind.add(side, underway).await?;
    }
    Ok(arrivals)
}

/// Reads chunks until the other side says that it has sent all, or nobody takes them any more.
async fn hear_all(
    side: &Side,
    from: &mut (impl Stream<Item = Result<Option<pb::ExchangePart>, Status>> + Unpin),
    to: mpsc::Sender<ReadChunk>,
) -> Result<(), Status> {
    let mut heard = 0;
    loop {
        let part = tokio::select! {
            () = to.closed() => return Ok(()),
            part = hear(from) => part?,
        };
        match part {
            Part::Events(chunk) => {
                heard += chunk.events.len();
                let chunk = side.pool.run(move || read(chunk)).await??;
                if to.send(chunk).await.is_err() {
                    return Ok(());
                }
            }
            Part::Sent(sent) if usize::try_from(sent.event_count) == Ok(heard) => return Ok(()),
            Part::Sent(sent) => {
                let told = sent.event_count;
                let what = format!("the other side says it sent {told} events, {heard} came");
                return Err(ServiceError::Peer(what).into());
            }
            Part::Hello(_) | Part::Landmarks(_) | Part::Receipt(_) => {
                return Err(malformed("something between its events").into());
            }
        }
    }
}

/// What was taken in and is not on the disk: it is written to while the next chunks are taken, and
/// what came meanwhile goes there together.
#[derive(Default)]
struct Behind {
    writing: Option<JoinHandle<Result<(), ServiceError>>>,
    last: Option<Underway>,
    chunks: usize,
}

impl Behind {
    async fn add(&mut self, side: &Side, underway: Underway) -> Result<(), ServiceError> {
        self.chunks += 1;
        self.last = Some(underway);
        let busy = self.writing.as_ref().is_some_and(|writing| !writing.is_finished());
        if busy && self.chunks < MOST_BEHIND {
            return Ok(());
        }
        on_disk(self.writing.take()).await?;
        self.chunks = 0;
        self.writing = self.last.take().map(|underway| write(side, underway));
        Ok(())
    }

    async fn end(self, side: &Side) -> Result<(), ServiceError> {
        let before = on_disk(self.writing).await;
        let last = on_disk(self.last.map(|underway| write(side, underway))).await;
        before.and(last)
    }
}

/// Brings what was taken in so far to the disk. It waits rather than works: it takes no place of
/// the pool from who reads the next chunks.
fn write(side: &Side, underway: Underway) -> JoinHandle<Result<(), ServiceError>> {
    let inventory = Arc::clone(&side.holding.inventory);
    tokio::task::spawn_blocking(move || Ok(inventory.arrived(&underway)?))
}

async fn on_disk(
    writing: Option<JoinHandle<Result<(), ServiceError>>>,
) -> Result<(), ServiceError> {
    match writing {
        Some(writing) => writing.await.map_err(|_| ServiceError::Internal)?,
        None => Ok(()),
    }
}

async fn say(to: &mpsc::Sender<pb::ExchangePart>, part: Part) -> Result<(), Status> {
    let sent = to.send(pb::ExchangePart { part: Some(part) }).await;
    sent.map_err(|_| ServiceError::Peer("the other side broke off".to_owned()).into())
}

async fn hear(
    from: &mut (impl Stream<Item = Result<Option<pb::ExchangePart>, Status>> + Unpin),
) -> Result<Part, Status> {
    let next = tokio::time::timeout(SILENCE, from.next()).await;
    match next.map_err(|_| ServiceError::Deadline)? {
        None => Err(ServiceError::Peer("the other side broke off".to_owned()).into()),
        Some(part) => {
            let part = part?.and_then(|part| part.part);
            Ok(part.ok_or_else(|| malformed("an empty message"))?)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Common practice, no source: who is out of reach says nothing, not even that.
    #[tokio::test(start_paused = true)]
    async fn a_side_that_falls_silent_is_not_waited_for() {
        let mut silent = tokio_stream::pending();
        let begun = tokio::time::Instant::now();
        let given_up = hear(&mut silent).await.unwrap_err();
        assert_eq!(given_up.code(), tonic::Code::DeadlineExceeded);
        // The clock of the test stands still unless everybody waits.
        assert_eq!(begun.elapsed(), SILENCE);
        let mut gone = tokio_stream::empty();
        assert_eq!(hear(&mut gone).await.unwrap_err().code(), tonic::Code::FailedPrecondition);
    }

    // Common practice, no source: an error says whose setting is to be changed, and how.
    #[test]
    fn who_lacks_the_founder_is_named() {
        let hello = |device: &str, key: &str| pb::Hello {
            device_id: device.to_owned(),
            founder_key: key.to_owned(),
            version: VERSION,
            ..Default::default()
        };
        let told = |own, peer| Status::from(check(&own, &peer).unwrap_err()).message().to_owned();
        let cure = "start the service of B2 with the same --founder DEVICE:KEY";
        for (own, peer) in [("B1", "B2"), ("B2", "B1")] {
            let key = |device| if device == "B1" { "k" } else { "" };
            let told = told(hello(own, key(own)), hello(peer, key(peer)));
            assert!(told.contains("B2 names none") && told.contains(cure), "{told}");
        }
        let told = told(hello("B1", "k"), hello("B2\n", "l"));
        assert!(told.contains("B1 and the other side name different founders"), "{told}");
        assert!(told.contains("--founder DEVICE:KEY"), "{told}");
    }
}
