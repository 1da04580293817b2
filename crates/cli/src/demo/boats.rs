//! The evening as four devices tell it, out of reach of each other.

use clap::Parser as _;
use deepbend_contract::pb;
use deepbend_server::Id;

use super::chapter;
use crate::args::{Cli, Command};
use crate::commands::{event, pass_on};
use crate::failure::{Exit, Failure};
use crate::render;
use crate::service::Service;

/// Device, time of 15 September 2031 in UTC, and what its user types.
const EVENING: [(&str, &str, &[&str]); 9] = [
    ("B1-tablet", "17:55", &["moved", "R15", "B2"]),
    ("B3-tablet", "18:40", &["broke", "R15", "tip section", "--seen", "--at", "B3"]),
    ("B2-tablet", "18:41", &["moved", "R17", "B1"]),
    ("B3-tablet", "18:43", &["moved", "R17", "B3"]),
    ("B2-tablet", "19:10", &["respooled", "E08", "PE 2 (40 lb)", "--from", "K04", "--seen"]),
    ("B1-tablet", "19:30", &["respooled", "E08", "PE 1 (9 kg)", "--typed"]),
    ("B1-tablet", "19:32", &["lost", "L30", "1", "--seen", "--at", "B1"]),
    ("B3-tablet", "19:33", &["counted", "L30", "3", "--at", "B3"]),
    ("shed-desk", "20:15", &["status", "R23", "ready", "--typed"]),
];
const DEVICES: [&str; 4] = ["B1-tablet", "B2-tablet", "B3-tablet", "shed-desk"];

/// Who holds what: each device on a folder of its own.
pub(super) async fn evening(shore: &Service, width: usize) -> Result<String, Failure> {
    let failed =
        |error: std::io::Error| Failure::new(Exit::Failed, format!("temporary folder: {error}"));
    let mut boats = Vec::new();
    for device in DEVICES {
        let folder = tempfile::tempdir().map_err(failed)?;
        let name = Id::new(device).map_err(|e| Failure::new(Exit::Failed, e.to_string()))?;
        boats.push((device, Service::boat(folder.path(), name).await?, folder));
    }
    let told = tell(shore, &boats, width).await;
    let mut closed = Ok(());
    for (_, boat, folder) in boats {
        closed = closed.and(boat.close().await);
        drop(folder);
    }
    closed.and(told)
}

type Boat = (&'static str, Service, tempfile::TempDir);

async fn tell(shore: &Service, boats: &[Boat], width: usize) -> Result<String, Failure> {
    let mut page = chapter(width, "9. THE SAME EVENING, TOLD BY FOUR DEVICES");
    for (_, boat, _) in boats {
        pass_on(boat, shore, |_, _| {}).await?;
    }
    page.paragraph(
        "Each device has the inventory and is out of reach of the others. What their users type \
         (deepbend log ...):",
    );
    page.line("");
    for (device, time, words) in EVENING {
        let Some((_, boat, _)) = boats.iter().find(|(name, ..)| *name == device) else { continue };
        let observed = format!("2031-09-15T{time}:00Z");
        let line = ["deepbend", "log"].into_iter().chain(words.iter().copied());
        let line = line.chain(["--time", &observed]);
        let cli = Cli::try_parse_from(line).map_err(|e| Failure::usage(e.to_string()))?;
        let Command::Log(args) = cli.command else { continue };
        let events = vec![event(boat, *args).await?];
        let request = pb::RecordEventsRequest { events, ..Default::default() };
        boat.inventory().record_events(boat.request(request)).await?;
        page.hanging(&format!("  {time} {device}  "), &quoted(words));
    }
    page.line("");
    // Shore hears all, and what it heard goes back to everybody.
    for (_, boat, _) in boats.iter().chain(boats) {
        pass_on(boat, shore, |_, _| {}).await?;
    }
    let mut states = Vec::new();
    for service in boats.iter().map(|(_, boat, _)| boat).chain([shore]) {
        let asked = service.request(pb::GetSyncStateRequest {});
        let state = service.sync().get_sync_state(asked).await?.into_inner();
        states.push((state.state_hash, state.event_count));
    }
    states.dedup();
    let agree = match states.as_slice() {
        [(_, count)] => format!("all hold the same {count} events and the same state"),
        _ => "they do NOT agree".to_owned(),
    };
    page.paragraph(&format!(
        "Then they meet, in pairs: {agree}. Nothing was overwritten; what is contested:"
    ));
    page.line("");
    let asked = shore.request(pb::ListContestedRequest::default());
    let contested = shore.inventory().list_contested(asked).await?.into_inner();
    page.line(render::contested(&contested, width).trim_end());
    let asked = shore.request(pb::GetItemRequest { id: "R23".to_owned(), read_mask: None });
    let answer = shore.inventory().get_item(asked).await?.into_inner();
    let (item, story) = (answer.item.unwrap_or_default(), answer.story.unwrap_or_default());
    page.line("");
    for unheeded in &story.unheeded {
        page.hanging(
            &format!("{} ", item.id),
            &format!(
                "stays {}: event {} is kept and has no effect; {}.",
                render::plain!(ItemStatus, item.status),
                unheeded.event_id,
                unheeded.effect_reason
            ),
        );
    }
    Ok(page.finish())
}

fn quoted(words: &[&str]) -> String {
    let quote = |word: &&str| {
        if word.contains(' ') { format!("\"{word}\"") } else { (*word).to_owned() }
    };
    words.iter().map(quote).collect::<Vec<_>>().join(" ")
}
