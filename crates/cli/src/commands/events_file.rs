//! All events in a file, for boats that meet no network: messages `ExportEventsResponse`, each
//! behind its length as a varint, an empty one after the last, and the SHA-256 of all this. In an
//! open fleet nothing else tells damage from what somebody wrote.

use std::fs::{self, File};
use std::io::{self, BufWriter, Write as _};
use std::path::Path;

use deepbend_contract::pb;
use deepbend_server::upkeep::{put_in_place, unfinished};
use prost::Message as _;
use sha2::{Digest as _, Sha256};

use crate::failure::{Exit, Failure};
use crate::output::{note, put, wrapped_note};
use crate::service::Service;

/// Bytes of a SHA-256.
const SUM_BYTES: usize = 32;

/// Writes every event. Under its own name the file is whole and on the disk.
pub(super) async fn write(service: &Service, to: &Path) -> Result<(), Failure> {
    let failed = |error: io::Error| Failure::file(to, &error);
    if to.exists() {
        let what = format!("{} is there already; name another file", to.display());
        return Err(Failure::new(Exit::NoInput, what));
    }
    let unfinished = unfinished(to);
    let mut out = BufWriter::new(File::create(&unfinished).map_err(failed)?);
    let done = async {
        let asked = service.request(pb::ExportEventsRequest {});
        let mut events = service.sync().export_events(asked).await?.into_inner();
        let mut count: usize = 0;
        let mut sum = Sha256::new();
        while let Some(part) = events.message().await? {
            count += part.chunk.as_ref().map_or(0, |chunk| chunk.events.len());
            let bytes = part.encode_length_delimited_to_vec();
            sum.update(&bytes);
            out.write_all(&bytes).map_err(failed)?;
        }
        let end = pb::ExportEventsResponse::default().encode_length_delimited_to_vec();
        sum.update(&end);
        out.write_all(&end).map_err(failed)?;
        out.write_all(&sum.finalize()).map_err(failed)?;
        let file = out.into_inner().map_err(|error| failed(error.into_error()))?;
        file.sync_all().map_err(failed)?;
        put_in_place(&unfinished, to).map_err(failed)?;
        Ok::<_, Failure>(count)
    };
    let done = done.await;
    if done.is_err() {
        // Half a file is of no use to anybody; where it cannot be removed its name says so.
        let _ = fs::remove_file(&unfinished);
    }
    let count = done?;
    put(&format!("{} holds {count} events\n", to.display()))
}

/// Takes the events of a file; what is here already does no harm.
pub(super) async fn read(service: &Service, from: &Path) -> Result<(), Failure> {
    let bytes = fs::read(from).map_err(|error| Failure::file(from, &error))?;
    let parts = parts(&bytes).ok_or_else(|| {
        let what =
            format!("{} is damaged, or no file of events; nothing was taken", from.display());
        Failure::new(Exit::BadData, what)
            .hint("copy it once more; `deepbend sync --to-file FILE` writes one")
    })?;
    let asked = service.request(tokio_stream::iter(parts));
    let answer = service.sync().import_events(asked).await?.into_inner();
    let receipt = answer.receipt.unwrap_or_default();
    receipt.refused.iter().for_each(|refused| wrapped_note("refused: ", &refused.wrong));
    note(&format!(
        "{} known, {} waiting, {} refused",
        receipt.duplicate_count, receipt.waiting_count, receipt.refused_count
    ));
    if receipt.refused_count > 0 {
        return Err(Failure::new(Exit::BadData, "some events were refused"));
    }
    put(&format!("received {}\n", receipt.accepted_count))
}

/// The parts of a file; `None` if it is damaged or ends before its end.
fn parts(bytes: &[u8]) -> Option<Vec<pb::ImportEventsRequest>> {
    let (mut bytes, sum) = bytes.split_last_chunk::<SUM_BYTES>()?;
    if Sha256::digest(bytes)[..] != sum[..] {
        return None;
    }
    let mut parts = Vec::new();
    loop {
        let part = pb::ImportEventsRequest::decode_length_delimited(&mut bytes).ok()?;
        if part.chunk.is_none() {
            return bytes.is_empty().then_some(parts);
        }
        parts.push(part);
    }
}
