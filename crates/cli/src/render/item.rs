//! Items of the inventory.

use deepbend_contract::pb;
use pb::field_value;
use pb::item::Spec;

use super::gear::{self, Pairs};
use super::judgement::findings;
use super::units;
use super::{Page, Table, capital, plain, second};

/// One item with everything that is known of it; `story` says what of it is contested.
#[must_use]
pub fn item(item: &pb::Item, story: &pb::ItemStory, width: usize) -> String {
    let mut page = Page::new(width);
    let name = if item.display_name.is_empty() {
        String::new()
    } else {
        format!(", {}", item.display_name)
    };
    page.paragraph(&format!("{} {}{name}", capital(&plain!(ItemKind, item.kind)), item.id));
    page.pairs(&state(item, story));
    page.heading("Description");
    page.pairs(&description(item));
    findings(&mut page, &item.findings);
    origins(&mut page, item);
    page.finish()
}

fn state(item: &pb::Item, story: &pb::ItemStory) -> Pairs {
    let mut pairs = Pairs::new();
    let mut put = |name: &str, value: String| {
        if !value.is_empty() {
            pairs.push((name.to_owned(), value));
        }
    };
    put("status", plain!(ItemStatus, item.status));
    put("place", if in_parts(item) { String::new() } else { item.place_id.clone() });
    put("pieces", item.quantity.map(|n| n.to_string()).unwrap_or_default());
    if in_parts(item) {
        put("counted", pieces_by_place(&item.place_counts));
    }
    for field in &story.fields {
        match field.value.as_ref().and_then(|value| value.value.as_ref()) {
            Some(field_value::Value::RigId(other)) => put("rigged with", other.clone()),
            Some(field_value::Value::Loan(loan)) if item.status() == pb::ItemStatus::OnLoan => {
                let until = match loan.until_date.as_str() {
                    "" => String::new(),
                    until => format!(", until {until}"),
                };
                put("lent to", format!("{}{until}", loan.to_id));
            }
            Some(_) | None => {}
        }
    }
    let disputed: Vec<_> = story.disputes.iter().map(|of| of.what.as_str()).collect();
    if item.contested {
        // Nothing of its own: its id is claimed by two kinds of item.
        let what = if disputed.is_empty() { "id".to_owned() } else { disputed.join(", ") };
        put("contested", format!("{what}; `deepbend contested` says how to settle it"));
    }
    let condition = item.condition;
    put("condition", plain!(ItemCondition, condition).to_uppercase());
    put("note", item.note.clone());
    put("serial", item.serial.clone());
    if let Some(cost) = &item.cost {
        put("cost", format!("{:.2} {}", cost.amount_cents as f64 / 100.0, cost.currency_code));
    }
    pairs
}

fn description(item: &pb::Item) -> Pairs {
    let mut pairs = match &item.spec {
        Some(Spec::Rod(rod)) => gear::rod(rod),
        Some(Spec::Reel(rigged)) => {
            let mut pairs = rigged.reel.as_ref().map(gear::reel).unwrap_or_default();
            pairs.extend(rigged.fitted.as_ref().map(fitted).unwrap_or_default());
            pairs
        }
        Some(Spec::Lure(lure)) => gear::lure(lure),
        Some(Spec::LineStock(stock)) => line_stock(stock),
        Some(Spec::Boat(boat)) => berth(boat),
        Some(Spec::Device(device)) => vec![("used by".to_owned(), device.role.clone())],
        None => Pairs::new(),
    };
    pairs.extend(item.power.as_ref().map(gear::power));
    pairs
}

fn fitted(fitted: &pb::FittedLine) -> Pairs {
    let mut pairs = Pairs::new();
    if let Some(line) = &fitted.line {
        let strands = fitted.strand_count.map(|n| format!(", {n} strands")).unwrap_or_default();
        pairs.push(("line on it".to_owned(), gear::line_phrase(line) + &strands));
        pairs.extend(line.length_m.map(|m| ("line left".to_owned(), units::metres(m))));
    }
    if !fitted.spooled_date.is_empty() {
        pairs.push(("spooled".to_owned(), fitted.spooled_date.clone()));
    }
    pairs.extend(fitted.fished_hours.map(|h| ("fished".to_owned(), units::hours(h))));
    if !fitted.due.is_empty() {
        pairs.push(("due".to_owned(), fitted.due.clone()));
    }
    pairs
}

const STRANDS: &str = "strands";
const PIECE_LENGTH: &str = "length of a piece";

fn line_stock(stock: &pb::LineStock) -> Pairs {
    use pb::line_stock::Stock;
    let mut pairs = match &stock.stock {
        Some(Stock::Line(line)) => gear::line(line),
        Some(Stock::Leader(leader)) => gear::leader(leader),
        None => Pairs::new(),
    };
    pairs.extend(stock.strand_count.map(|n| (STRANDS.to_owned(), n.to_string())));
    pairs.extend(stock.piece_length_m.map(|m| (PIECE_LENGTH.to_owned(), units::metres(m))));
    pairs
}

fn berth(boat: &pb::Boat) -> Pairs {
    let mut pairs = Pairs::new();
    let mut put = |name: &str, value: Option<String>| {
        pairs.extend(value.filter(|v| !v.is_empty()).map(|v| (name.to_owned(), v)));
    };
    put("berth", Some(boat.home_berth.clone()));
    put("rod holders", boat.rod_holder_count.map(|n| n.to_string()));
    put("rods at most", boat.max_rod_count.map(|n| n.to_string()));
    put("rod locker", boat.locker_length_m.map(units::metres));
    put("deck", Some(boat.deck_note.clone()));
    pairs
}

fn origins(page: &mut Page, item: &pb::Item) {
    if item.origins.is_empty() {
        return;
    }
    page.heading("First told by");
    for origin in &item.origins {
        let mut text = format!("{} number {}", origin.device_id, origin.sequence);
        if let Some(claim) = &origin.claim {
            let when = second(claim.observed_time);
            let certainty = plain!(Certainty, claim.certainty);
            text = format!("{} ({certainty}), {when}, recorded as {text}", claim.actor);
        }
        page.hanging("  - ", &text);
    }
}

/// Items, one a line.
#[must_use]
pub fn items(items: &[pb::Item], width: usize) -> String {
    let mut table = Table::new()
        .left("id")
        .left("kind")
        .left("status")
        .left("place")
        .right("pieces")
        .wrapped("what");
    for item in items {
        let status = plain!(ItemStatus, item.status);
        let contested = if item.contested { " ?" } else { "" };
        table.row(vec![
            format!("{}{contested}", item.id),
            plain!(ItemKind, item.kind),
            status,
            if in_parts(item) { places(item) } else { item.place_id.clone() },
            item.quantity.map(|n| n.to_string()).unwrap_or_default(),
            what(item),
        ]);
    }
    table.render(width)
}

/// Whether pieces of it are counted at more than one place.
fn in_parts(item: &pb::Item) -> bool {
    item.place_counts.iter().filter(|there| there.high > 0).count() > 1
}

/// The places of its pieces: `B1 B2`.
fn places(item: &pb::Item) -> String {
    let there = item.place_counts.iter().filter(|there| there.high > 0);
    there.map(|there| there.place_id.as_str()).collect::<Vec<_>>().join(" ")
}

/// Pieces, place by place: `B1 2 pieces, B2 0 to 1 piece`.
pub(crate) fn pieces_by_place(counts: &[pb::PlaceCount]) -> String {
    let told = counts.iter().map(|there| {
        let place = if there.place_id.is_empty() { "nowhere said" } else { &there.place_id };
        let most = units::counted(there.high.into(), "piece");
        if there.low == there.high {
            format!("{place} {most}")
        } else {
            format!("{place} {} to {most}", there.low)
        }
    });
    told.collect::<Vec<_>>().join(", ")
}

/// An item in one phrase.
#[must_use]
pub(crate) fn what(item: &pb::Item) -> String {
    let phrase = match &item.spec {
        Some(Spec::Rod(rod)) => [
            rod.length_m.map(|m| format!("{m:.2} m")),
            Some(plain!(Handle, rod.handle)),
            item.power.as_ref().map(|power| plain!(Power, power.word)),
            Some(plain!(Action, rod.action)),
            // A list has one line an item: the other unit stands where the item is shown.
            units::grams_range(rod.lure_rating_min_g, rod.lure_rating_max_g)
                .and_then(|both| both.split(" (").next().map(str::to_owned)),
        ]
        .into_iter()
        .flatten()
        .filter(|word| !word.is_empty())
        .collect::<Vec<_>>()
        .join(" "),
        Some(Spec::Reel(rigged)) => {
            let reel = rigged.reel.clone().unwrap_or_default();
            let line = rigged.fitted.as_ref().and_then(|fitted| fitted.line.as_ref());
            let line = line.map_or_else(|| "empty spool".to_owned(), gear::line_phrase);
            format!("{} {}, {line}", plain!(Handle, reel.kind), reel.size)
        }
        Some(Spec::Lure(lure)) => {
            let mass = lure.rigged_mass_g.map(units::grams).unwrap_or_default();
            format!("{} {mass}", plain!(LureClass, lure.lure_class))
        }
        Some(Spec::LineStock(stock)) => {
            let pairs = line_stock(stock).into_iter().map(|(name, value)| match name.as_str() {
                STRANDS => value.parse().map_or(value, |count| units::counted(count, "strand")),
                PIECE_LENGTH => format!("{value} each"),
                _ => value,
            });
            pairs.collect::<Vec<_>>().join(", ")
        }
        Some(Spec::Boat(boat)) => boat.home_berth.clone(),
        Some(Spec::Device(device)) => device.role.clone(),
        None => String::new(),
    };
    match (item.display_name.as_str(), phrase.as_str()) {
        ("", phrase) => phrase.to_owned(),
        (name, "") => name.to_owned(),
        (name, phrase) => format!("{name}: {phrase}"),
    }
}

/// What became of an import.
#[must_use]
pub fn import_report(response: &pb::ImportItemsResponse, width: usize) -> String {
    let mut page = Page::new(width);
    page.line(&format!("Import: {}", plain!(ImportOutcome, response.outcome)));
    let counts: Pairs = response
        .counts
        .iter()
        .map(|count| (plain!(ItemKind, count.kind), count.item_count.to_string()))
        .collect();
    page.pairs(&counts);
    if !response.findings.is_empty() {
        page.heading("Odd, but imported");
        for found in &response.findings {
            let finding = found.finding.clone().unwrap_or_default();
            page.hanging(&format!("  {}  ", found.item_id), &finding.text);
        }
    }
    page.finish()
}
