//! Outfits against lures: trebles on a stiff tip, wind, and lures that nothing fits.

use deepbend_contract::pb;

use super::ask::{Ask, Outfit};
use super::{Fleet, chapter, water};
use crate::failure::{Exit, Failure};
use crate::render::{Table, capital, comparison, plain, verdict_line};

/// Strikes of a rod in the season's log: landed and lost to head-shakes, on trebles.
fn log_of(fleet: &Fleet, rod: &str) -> Result<(u32, u32), Failure> {
    let unreadable = |error: &dyn std::fmt::Display| {
        Failure::new(Exit::BadData, format!("catch_log.csv: {error}"))
    };
    let mut reader = csv::Reader::from_reader(fleet.catch_log.as_bytes());
    let headers = reader.headers().map_err(|error| unreadable(&error))?.clone();
    let (mut landed, mut lost) = (0, 0);
    for record in reader.records() {
        let record = record.map_err(|error| unreadable(&error))?;
        let cell = |name: &str| {
            headers.iter().position(|h| h == name).and_then(|i| record.get(i)).unwrap_or_default()
        };
        if cell("rod_id") == rod && cell("hook_style") == "treble" {
            landed += cell("landed").parse::<u32>().map_err(|error| unreadable(&error))?;
            lost += cell("lost_headshake").parse::<u32>().map_err(|error| unreadable(&error))?;
        }
    }
    Ok((landed, lost))
}

/// A rod that is too fast for plugs with trebles, and what can be done about it.
pub(super) async fn treble_plugs(
    ask: &Ask<'_>,
    fleet: &Fleet,
    width: usize,
) -> Result<String, Failure> {
    let mut page = chapter(width, "2. THE ROD THAT LOSES PIKE");
    let stiff = Outfit::new("R14", "E08").wired(14.0);
    let deep = Outfit::new("R16", "E12").wired(14.0);
    let plug = "L17";
    let pike = || water("pike", pb::Platform::Boat);
    let judged = ask.judge(&stiff, plug, None, pike()).await?;
    let name = ask.item(plug).await?.display_name;
    page.paragraph(&format!(
        "{} with {plug} ({name}), two trebles, wound steadily on braid:",
        stiff.name()
    ));
    page.line(&format!("  {}", verdict_line(&judged)));
    page.hanging("  ", &format!("{}.", capital(&judged.summary)));
    page.line("");
    page.line("What can be done about it, cheapest first, each judged again:");
    let mut fixes = Table::new().wrapped("").left("verdict").right("score").right("minutes");
    for fix in &judged.fixes {
        fixes.row(vec![
            fix.text.clone(),
            plain!(Verdict, fix.verdict),
            format!("{:.2}", fix.score),
            format!("{:.0}", fix.duration_minutes),
        ]);
    }
    page.table(&fixes);
    let hidden = ask.judge(&stiff, "L23", None, pike()).await?;
    page.line("");
    page.paragraph(&format!(
        "The rod itself is {} for a weedless hook (L23): stiffness is what drives that one home.",
        plain!(Verdict, hidden.verdict)
    ));
    page.line("");
    let compared = ask.compare(&stiff, &deep, plug, pike()).await?;
    page.paragraph(&format!("Beside {} on nylon, the same plug:", deep.name()));
    page.line("");
    page.line(comparison(&compared, &stiff.name(), &deep.name(), width).trim_end());
    let ((landed_stiff, lost_stiff), (landed_deep, lost_deep)) =
        (log_of(fleet, stiff.rod)?, log_of(fleet, deep.rod)?);
    page.line("");
    page.paragraph(&format!(
        "The season's log of trebles (invented, a small sample, boats and dates differ): {} landed \
         {landed_stiff} and lost {lost_stiff} to head-shakes; {} landed {landed_deep} and lost \
         {lost_deep}.",
        stiff.rod, deep.rod
    ));
    Ok(page.finish())
}

/// The same lures in a light and in a strong headwind.
pub(super) async fn wind(ask: &Ask<'_>, width: usize) -> Result<String, Failure> {
    let mut page = chapter(width, "3. WHAT THE WIND TURNS ROUND");
    page.paragraph("The same outfits, wind against the cast:");
    let mut table = Table::new()
        .left("outfit")
        .left("lure")
        .right("5 m/s")
        .right("12 m/s")
        .wrapped("at 12 m/s");
    for (outfit, lure, fish) in [
        (Outfit::new("R05", "E05"), "L05", "perch"),
        (Outfit::new("R17", "E14").wired(25.0), "L21", "pike"),
        (Outfit::new("R17", "E14").wired(25.0), "L20", "pike"),
    ] {
        let mut judged = Vec::new();
        for speed in [5.0, 12.0] {
            let water = pb::Water {
                wind_speed_m_s: Some(speed),
                wind_direction: pb::WindDirection::Into.into(),
                ..water(fish, pb::Platform::Boat)
            };
            judged.push(ask.judge(&outfit, lure, None, water).await?);
        }
        let name = ask.item(lure).await?.display_name;
        let score =
            |i: usize| judged.get(i).map_or_else(String::new, |j| format!("{:.2}", j.score));
        let verdict = judged.last().map_or_else(String::new, |j| plain!(Verdict, j.verdict));
        table.row(vec![outfit.name(), format!("{lure} {name}"), score(0), score(1), verdict]);
    }
    page.table(&table);
    page.line("");
    page.paragraph("Bulky lures fall behind, compact metal hardly notices: the order turns round.");
    Ok(page.finish())
}

/// Lures for which the fleet has nothing good, and what would be.
pub(super) async fn gaps(ask: &Ask<'_>, width: usize) -> Result<String, Failure> {
    let mut page = chapter(width, "4. TWO HOLES IN THE FLEET");
    let pike = || water("pike", pb::Platform::Boat);
    page.paragraph(&format!(
        "L27, {}: the best with the lines that are on the reels now (the plans below may wind on \
         another).",
        ask.item("L27").await?.display_name
    ));
    let outfits = [
        Outfit::new("R17", "E14").wired(25.0),
        Outfit::new("R18", "E14").wired(25.0),
        Outfit::new("R19", "E13").wired(25.0),
        Outfit::new("R16", "E12").wired(14.0),
        Outfit::new("R15", "E12").wired(14.0),
    ];
    let ranked = ask.rank(&outfits, "L27", pike()).await?;
    for choice in ranked.choices.iter().take(3) {
        let Some(judged) = &choice.judgement else { continue };
        page.line(&format!("  {}  {}", choice.label, verdict_line(judged)));
    }
    let wanted = "7'4\" H moderate-fast composite casting 20-60 g 15-30 lb";
    page.line("");
    page.paragraph(&format!(
        "A spec that would close it, never a product: {wanted}, with 18 kg braid. It would serve:"
    ));
    let mut table = Table::new().left("lure").left("now, at best").left("with it");
    for lure in ["L27", "L26", "L20"] {
        let now = ask.rank(&outfits, lure, pike()).await?;
        let best = now.choices.first().and_then(|choice| choice.judgement.as_ref());
        let with = ask.judge_request(bought(ask, wanted, 18.0, 25.0, lure).await?).await?;
        let cell = |j: &pb::Judgement| format!("{:9} {:.2}", plain!(Verdict, j.verdict), j.score);
        let name = ask.item(lure).await?.display_name;
        table.row(vec![format!("{lure} {name}"), best.map_or_else(String::new, cell), cell(&with)]);
    }
    page.table(&table);
    page.line("");
    let big = ask.item("L30").await?;
    let lob = ask.judge(&Outfit::new("R20", "E13").wired(25.0), "L30", None, pike()).await?;
    let gated = ask.judge(&Outfit::new("R19", "E13").wired(25.0), "L30", None, pike()).await?;
    let wanted = "8'0\" XXH moderate-fast casting 80-220 g 40-80 lb";
    let with = ask.judge_request(bought(ask, wanted, 36.0, 40.0, "L30").await?).await?;
    page.paragraph(&format!(
        "L30, {}: {} on R19 ({}); {} on R20, where {}. {wanted} would be {}, but for a lure of \
         importance 1 that is money left on the rack.",
        big.display_name,
        plain!(Verdict, gated.verdict),
        gated.summary,
        plain!(Verdict, lob.verdict),
        lob.summary,
        plain!(Verdict, with.verdict),
    ));
    Ok(page.finish())
}

/// A lure of the inventory on a rod that is only described.
async fn bought(
    ask: &Ask<'_>,
    rod: &str,
    braid_kgf: f64,
    trace_kgf: f64,
    lure: &str,
) -> Result<pb::JudgeRequest, Failure> {
    let outfit = pb::Outfit {
        rod: Some(ask.read_rod(rod).await?),
        line: Some(pb::Line {
            material: pb::LineMaterial::Braid.into(),
            test_kgf: Some(braid_kgf),
            ..pb::Line::default()
        }),
        leader: Some(pb::Leader {
            material: pb::LeaderMaterial::SteelWire.into(),
            test_kgf: Some(trace_kgf),
            ..pb::Leader::default()
        }),
        ..pb::Outfit::default()
    };
    Ok(pb::JudgeRequest {
        outfit: Some(outfit),
        lure_id: lure.to_owned(),
        water: Some(water("pike", pb::Platform::Boat)),
        ..pb::JudgeRequest::default()
    })
}
