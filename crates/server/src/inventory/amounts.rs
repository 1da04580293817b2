//! Counts that an event tells of an item that is known here: refused where they could have no
//! effect.

use deepbend_contract::pb::FaultCode;
use deepbend_contract::{At, Faults};
use deepbend_ledger::body::{Body, Measure};
use deepbend_ledger::fold::CountKey;
use deepbend_ledger::id::Id;
use deepbend_ledger::item::{Item, ItemKey, ItemKind, Spec};

use super::named::Known;

/// Notes what is counted in a measure that its item does not have, and pieces that cannot be where
/// they come from. `at` is the place of the body.
pub(super) fn check(at: &At<'_>, body: &Body, known: &Known<'_>, faults: &mut Faults) {
    if let Body::Correction { instead: Some(instead), .. } = body {
        // It acts at the place of the corrected event, whose own pieces the count still holds.
        let at = at.field("correction");
        return measured(&at.field("instead"), instead, known, faults);
    }
    measured(at, body, known, faults);
    if let Body::Moved { item, from, to: _, pieces: Some(pieces) } = body {
        carried(&at.field("moved"), item, from.as_ref(), *pieces, known, faults);
    }
}

/// The first description of an item, which says in what it is counted.
fn described<'v>(item: &ItemKey, known: &Known<'v>) -> Option<&'v Item> {
    known.view.get(item)?.claims().find_map(|(_, said)| said.item())
}

fn measured(at: &At<'_>, body: &Body, known: &Known<'_>, faults: &mut Faults) {
    let (part, field, item, measure) = if let Body::Counted { item, measure, .. } = body {
        ("counted", "measure", item, Some(*measure))
    } else if let Body::Adjusted { item, measure, .. } = body {
        ("adjusted", "measure", item, Some(*measure))
    } else if let Body::Moved { item, pieces, .. } = body {
        ("moved", "piece_count", item, pieces.map(|_| Measure::Pieces))
    } else {
        return;
    };
    let Some(first) = described(item, known) else { return };
    let in_pieces = first.quantity.is_some();
    let in_length = matches!(first.spec, Spec::LineStock(_));
    let fits = match measure {
        None => !in_pieces,
        Some(Measure::Pieces) => in_pieces,
        Some(Measure::Centimetres) => in_length,
    };
    if fits {
        return;
    }
    let (counted, right) = match (in_pieces, in_length) {
        (true, _) => ("is counted in pieces", "a whole number of pieces"),
        (false, true) => ("is measured in metres of line", "a length, and no pieces"),
        (false, false) => ("is a single item", "an event that counts nothing"),
    };
    let at = at.field(part);
    let (code, lead) = match measure {
        None => (FaultCode::Missing, "is missing"),
        Some(_) => (FaultCode::Conflict, "does not go with the item"),
    };
    faults.push(code, at.field(field), format!("{lead}: {} {counted}", item.id), right);
}

fn carried(
    at: &At<'_>,
    item: &ItemKey,
    from: Option<&Id>,
    pieces: u32,
    known: &Known<'_>,
    faults: &mut Faults,
) {
    // What an earlier event of the same request leaves there is not told yet.
    if known.accept_unknown || known.told.contains(item) {
        return;
    }
    let Some(first) = described(item, known).filter(|first| first.quantity.is_some()) else {
        return;
    };
    if from.is_some_and(|from| !known.has(ItemKind::Boat, from)) {
        return;
    }
    let counts = known.view.tell(item).map(|story| story.counts).unwrap_or_default();
    let place = from.or(first.place.as_ref()).cloned();
    let most_at = |key: &CountKey| counts.get(key).map_or(0, |count| count.high);
    let here = CountKey { measure: Measure::Pieces, place };
    let most = most_at(&here);
    if pieces <= most {
        return;
    }
    let others = counts
        .iter()
        .filter(|(key, count)| key.measure == Measure::Pieces && **key != here && count.high > 0);
    let others: Vec<_> = others
        .filter_map(|(key, count)| Some(format!("{} at {}", count.high, key.place.as_ref()?)))
        .collect();
    let others = if others.is_empty() {
        String::new()
    } else {
        format!(", or another from_id (there are up to {})", others.join(", "))
    };
    let place = here.place.map_or_else(|| "a place that nobody said".to_owned(), String::from);
    let wrong = format!("is {pieces}, but of {} up to {most} can be at {place}", item.id);
    let right = format!("0 to {most}{others}, or accept_unknown_ids: more may have been brought");
    faults.push(FaultCode::TooLarge, at.field("piece_count"), wrong, right);
}
