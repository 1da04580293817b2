//! What the labels say, and what may not be issued.

use deepbend_contract::pb;

use super::ask::{Ask, Outfit};
use super::{chapter, water};
use crate::failure::Failure;
use crate::render::{capital, plain, verdict_line};

/// Class and word of an item's power, with the two ways of reading it.
fn power(item: &pb::Item) -> String {
    let Some(power) = &item.power else { return "its power is not known".to_owned() };
    let word = plain!(Power, power.word).replace(' ', "-");
    let by_maximum = power
        .by_maximum
        .map(|class| format!(", {class:.2} by the printed maximum alone"))
        .unwrap_or_default();
    format!("a {word}: power {:.2} of 8 by the whole window{by_maximum}", power.class_index)
}

fn raw<'i>(item: &'i pb::Item, column: &str) -> &'i str {
    item.raw_columns.get(column).map_or("?", String::as_str)
}

fn about_power(item: &pb::Item) -> Vec<&str> {
    let codes = [pb::FindingCode::LabelDiffers as i32, pb::FindingCode::LongRodLabel as i32];
    item.findings.iter().filter(|f| codes.contains(&f.code)).map(|f| f.text.as_str()).collect()
}

/// A label that lies, and two that only look as if they did.
pub(super) async fn labels(ask: &Ask<'_>, width: usize) -> Result<String, Failure> {
    let mut page = chapter(width, "1. A LABEL THAT MISLEADS, AND TWO THAT DO NOT");
    let rod = ask.item("R06").await?;
    page.paragraph(&format!(
        "R06 is marked {}, but rated {} and {}. By its ratings it is {}.",
        raw(&rod, "power_label"),
        raw(&rod, "lure_raw"),
        raw(&rod, "line_raw"),
        power(&rod)
    ));
    for text in about_power(&rod) {
        page.hanging("  finding: ", text);
    }
    page.line("");
    page.paragraph("Somebody put it on the perch list. With the lures of both lists:");
    for (reel, lure, fish) in [("E04", "L02", "perch"), ("E08", "L09", "zander")] {
        let outfit = Outfit::new("R06", reel);
        let judged = ask.judge(&outfit, lure, None, water(fish, pb::Platform::Boat)).await?;
        let name = ask.item(lure).await?.display_name;
        page.hanging(&format!("  {lure} "), &format!("{name}, for {fish}"));
        page.line(&format!("      {}", verdict_line(&judged)));
        page.hanging("      ", &format!("{}.", capital(&judged.summary)));
    }
    page.line("");
    for id in ["R11", "R12"] {
        let rod = ask.item(id).await?;
        let findings = about_power(&rod);
        let said = match findings.first() {
            Some(text) => format!("noted, no alarm: {text}"),
            None => "no alarm".to_owned(),
        };
        page.hanging(
            &format!("{id} "),
            &format!(
                "is marked {} and {} long; its ratings make it {}. {}.",
                raw(&rod, "power_label"),
                raw(&rod, "length_raw"),
                power(&rod),
                capital(&said)
            ),
        );
    }
    Ok(page.finish())
}

/// Items that stay ashore whatever the plan, rings that eat braid, and lines that are due.
pub(super) async fn not_issued(ask: &Ask<'_>, width: usize) -> Result<String, Failure> {
    let mut page = chapter(width, "5. WHAT MAY NOT BE ISSUED, AND WHAT WANTS WORK FIRST");
    let not_ready = pb::ItemFilter {
        kinds: vec![pb::ItemKind::Rod.into(), pb::ItemKind::Reel.into()],
        statuses: vec![
            pb::ItemStatus::OnLoan.into(),
            pb::ItemStatus::InService.into(),
            pb::ItemStatus::Broken.into(),
            pb::ItemStatus::Lost.into(),
            pb::ItemStatus::Retired.into(),
        ],
        ..pb::ItemFilter::default()
    };
    for item in ask.items(not_ready).await? {
        let status = plain!(ItemStatus, item.status);
        page.hanging(&format!("  {} ", item.id), &format!("{status}: {}", item.note));
    }
    page.line("");
    let all_reels =
        pb::ItemFilter { kinds: vec![pb::ItemKind::Reel.into()], ..pb::ItemFilter::default() };
    for item in ask.items(all_reels).await? {
        let Some(pb::item::Spec::Reel(reel)) = &item.spec else { continue };
        let Some(fitted) = reel.fitted.as_ref().filter(|fitted| !fitted.due.is_empty()) else {
            continue;
        };
        page.hanging(&format!("  {} ", item.id), &format!("line due: {}", fitted.due));
    }
    page.line("");
    let judged = ask
        .judge(&Outfit::new("R21", "E13"), "L29", None, water("pike", pb::Platform::Boat))
        .await?;
    let rings = judged
        .cautions
        .iter()
        .filter(|caution| caution.code == pb::CautionCode::CheckGear as i32)
        .map(|caution| format!("{} ({})", caution.text, caution.because));
    for text in rings {
        page.hanging(
            "  R21 ",
            &format!("{text}; with braid it is {}", plain!(Verdict, judged.verdict)),
        );
    }
    Ok(page.finish())
}
