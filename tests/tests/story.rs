//! The demo's story, item by item, and that it follows its data.

#![allow(missing_docs, reason = "tests")]

use deepbend_cli::demo::{Fleet, tell, today};
use deepbend_cli::service::Service;

const WIDTH: usize = 80;

async fn story(fleet: &Fleet) -> String {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let service =
        Service::embedded(Some(folder.path()), today()).await.expect("the service starts");
    let mut text = String::new();
    let told = tell(&service, fleet, WIDTH, |chapter| {
        text.push_str(chapter);
        Ok(())
    });
    told.await.expect("the story is told");
    service.close().await.expect("the service ends");
    text
}

/// A fleet in which the only place of `from` in the file that has it reads `to`.
fn edited(from: &str, to: &str) -> Fleet {
    let mut fleet = Fleet::default();
    let holders = fleet.items.iter().filter(|(_, text)| text.contains(from)).count();
    assert_eq!(holders, 1, "`{from}` stands in {holders} files");
    for (_, text) in &mut fleet.items {
        *text = text.replace(from, to);
    }
    fleet
}

/// Text with every run of white space as one space, so that line ends do not matter.
fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn chapter<'t>(text: &'t str, from: &str, to: &str) -> &'t str {
    let start = text.find(from).unwrap_or_else(|| panic!("no chapter `{from}`"));
    let end = text[start..].find(to).map_or(text.len(), |end| start + end);
    &text[start..end]
}

#[tokio::test]
async fn the_story_is_told_item_by_item() {
    let text = story(&Fleet::default()).await;
    assert!(text.lines().all(|line| line.chars().count() <= WIDTH), "wider than 80 columns");
    let text = flat(&text);

    // S01, S02: the label that misleads, and the two that do not.
    let labels = chapter(&text, "1. ", "2. THE");
    assert!(labels.contains("medium-heavy: power 5.13 of 8 by the whole window, 5.19"));
    assert!(labels.contains("marked medium-light, but its ratings make it medium-heavy"));
    assert!(chapter(labels, "L02", "L09").contains("POOR"));
    assert!(chapter(labels, "L09", "R11").contains("EXCELLENT"));
    assert!(
        chapter(labels, "R11", "2. THE").matches("no alarm").count()
            + labels.matches("No alarm").count()
            >= 2
    );

    // S03: too fast for plugs with trebles; inline singles cure it.
    let plugs = chapter(&text, "2. THE", "3. WHAT");
    assert!(plugs.contains("POOR") && plugs.contains("limited by action"));
    assert!(chapter(plugs, "inline singles", "spool").contains("good"));
    assert!(plugs.contains("R14 landed 8 and lost 11 to head-shakes; R16 landed 11 and lost 2"));

    // S10, S11: two holes.
    let gaps = chapter(&text, "4. TWO", "5. WHAT");
    assert!(chapter(gaps, "R17+E14", "A spec").contains("WORKABLE"));
    assert!(chapter(gaps, "L27 deep diver 110 mm workable", "L26").contains("excellent"));
    assert!(gaps.contains("unsafe on R19") && gaps.contains("workable on R20"));

    // S12, S16, S17: due lines, what may not be issued, plated rings.
    let ashore = chapter(&text, "5. WHAT", "6. TOMORROW");
    for id in ["R12 in service", "R23 retired", "R24 on loan", "E03 line due", "E10 line due"] {
        assert!(ashore.contains(id), "{id}");
    }
    assert!(ashore.contains("R21 fish nylon on plated rings"));

    // S13 and the plans: proven best, reels are what binds, all of the second trip covered.
    let first = chapter(&text, "6. TOMORROW", "7. TOMORROW");
    assert!(first.contains("OPTIMAL") && first.contains("of 15 lures covered"));
    assert!(first.contains("Reels bind, not rods"));
    let second = chapter(&text, "7. TOMORROW", "8. BOTH");
    assert!(second.contains("OPTIMAL") && second.contains("8 of 8 lures covered"));
    // S05, S14, S15, S18: both boats over one pool; plugs get R16 from Merganser, moves carry all.
    let both = chapter(&text, "8. BOTH", "9. THE SAME");
    assert!(both.contains("OPTIMAL") && both.contains("8 of 8 lures covered"));
    for part in ["rod R16 B3 B1 05:10", "lure L17", "lure L28", "lure L08", "lure L11", "lure L14"]
    {
        assert!(both.contains(part), "{part} not in {both}");
    }
    assert!(both.contains("the worst single loss") && both.contains("At 3 m/s (5.8 kn) more wind"));
    assert!(both.contains("are covered from what is aboard"));
    for never in ["R12 ", "R23 ", "R24 "] {
        assert!(!chapter(first, "Outfits to take", "Segment a").contains(never), "{never} planned");
    }

    // S04, S06 to S09: two stories each, and what counts until people settle them.
    let evening = chapter(&text, "9. THE SAME", "AND BEFORE");
    assert!(evening.contains("all hold the same 98 events and the same state"));
    assert!(chapter(evening, "R15 rod: place", "R17 rod").contains("moved R15 B2 --seen"));
    let twice = chapter(evening, "R17 rod: place", "E08 reel");
    assert!(twice.contains("moved R17 B1 --seen") && twice.contains("moved R17 B3 --seen"));
    assert!(evening.contains("until then: braid, 9 kg (19.8 lb), 0.233 mm (0.0092 in)"));
    assert!(evening.contains("until then: 2 pieces; at most 3 pieces"));
    assert!(evening.contains("R23 stays retired") && evening.contains("needs an inspection"));
}

// Another rating, another story: the sentences hang on the data.
#[tokio::test]
async fn an_edited_row_changes_the_story() {
    let honest = "R06,spinning,2.13 m,ML,fast,graphite,10-35 g,10-20 lb";
    let lighter = "R06,spinning,2.13 m,ML,fast,graphite,4-14 g,6-10 lb";
    let text = flat(&story(&edited(honest, lighter)).await);
    let labels = chapter(&text, "1. ", "2. THE");
    assert!(!labels.contains("medium-heavy: power 5.13"));
    assert!(!chapter(labels, "L02", "L09").contains("POOR"));
    assert!(!chapter(labels, "L09", "R11").contains("EXCELLENT"));

    let moderate = "R14,spinning,2.40 m,MH,moderate,";
    let text = flat(&story(&edited("R14,spinning,2.40 m,MH,extra fast,", moderate)).await);
    assert!(!chapter(&text, "2. THE", "What can").contains("POOR"));
}
