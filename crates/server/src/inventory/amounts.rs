//! Counts that an event tells of an item that is known here: refused where they could have no
//! effect, or take more than there can be.

use deepbend_contract::pb::FaultCode;
use deepbend_contract::{At, Faults};
use deepbend_core::quantity::words::LINE_METRES;
use deepbend_ledger::body::{Body, Measure};
use deepbend_ledger::id::Id;
use deepbend_ledger::item::{Item, ItemKey, ItemKind};

use super::named::Known;

pub(super) const OR_ACCEPT: &str = "or accept_unknown_ids: another boat may know more";
/// Centimetres to a metre.
pub(super) const CM: f64 = 100.0;

/// Notes what is counted in a measure that its item does not have, and pieces or line that cannot
/// be where they come from. `at` is the place of the body.
pub(super) fn check(at: &At<'_>, body: &Body, known: &Known, faults: &mut Faults) {
    if let Body::Correction { instead: Some(instead), .. } = body {
        // What it takes is looked at once the corrected event is out of the way.
        let at = at.field("correction");
        return measured(&at.field("instead"), instead, known, faults);
    }
    measured(at, body, known, faults);
    taken(at, body, known, faults);
}

/// Notes pieces or line that cannot be where they come from.
pub(super) fn taken(at: &At<'_>, body: &Body, known: &Known, faults: &mut Faults) {
    if known.accept_unknown {
        return;
    }
    if let Some(taken) = Taken::by(body) {
        taken.check(at, known, faults);
    }
}

/// So much of an item that an event takes from a place.
struct Taken<'b> {
    item: ItemKey,
    measure: Measure,
    /// `None`: where the item was first.
    from: Option<&'b Id>,
    amount: u32,
    /// Message of the body.
    part: &'static str,
    /// Its field of the amount.
    field: &'static str,
    /// Field of the place; empty: it has none.
    place_field: &'static str,
}

impl<'b> Taken<'b> {
    /// What an event takes.
    fn by(body: &'b Body) -> Option<Self> {
        if let Body::Moved { item, from, to: _, pieces: Some(pieces) } = body {
            Some(Self {
                item: item.clone(),
                measure: Measure::Pieces,
                from: from.as_ref(),
                amount: *pieces,
                part: "moved",
                field: "piece_count",
                place_field: "from_id",
            })
        } else if let Body::Adjusted { item, measure, place, by, why: _ } = body {
            Some(Self {
                item: item.clone(),
                measure: *measure,
                from: place.as_ref(),
                amount: by.checked_neg().and_then(|less| u32::try_from(less).ok())?,
                part: "adjusted",
                field: "change",
                place_field: "place_id",
            })
        } else if let Body::Respooled { reel: _, fitted: _, from: Some(from), taken_cm } = body {
            Some(Self {
                item: ItemKey { kind: ItemKind::LineStock, id: from.clone() },
                measure: Measure::Centimetres,
                from: None,
                amount: (*taken_cm)?,
                part: "respooled",
                field: "taken_cm",
                place_field: "",
            })
        } else {
            None
        }
    }

    /// Notes that more is taken than can be there. `at` is the place of the body.
    fn check(self, at: &At<'_>, known: &Known, faults: &mut Faults) {
        let Self { item, measure, from, amount, part, field, place_field } = self;
        let Some(first) = described(&item, known) else { return };
        let counts = known.view.tell(&item).map(|story| story.counts).unwrap_or_default();
        let counts: Vec<_> = counts.iter().filter(|(key, _)| key.measure == measure).collect();
        // Of what was never counted any amount may be there.
        let named = from.is_none_or(|from| known.has(ItemKind::Boat, from));
        if counts.is_empty() || !named {
            return;
        }
        let place = match measure {
            Measure::Pieces => from.or(first.place.as_ref()),
            Measure::Centimetres => None,
        };
        let (here, others): (Vec<_>, Vec<_>) =
            counts.into_iter().partition(|(key, _)| key.place.as_ref() == place);
        let most = here.first().map_or(0, |(_, count)| count.high);
        if amount <= most {
            return;
        }
        let of = |most: u32| match (measure, most) {
            (_, 0) => "none".to_owned(),
            (Measure::Pieces, most) => format!("up to {most}"),
            (Measure::Centimetres, most) => format!("up to {}", length(most)),
        };
        let takes = match measure {
            Measure::Pieces => amount.to_string(),
            Measure::Centimetres => length(amount),
        };
        let place = place.map_or_else(|| "left".to_owned(), |place| format!("at {place}"));
        let there = of(most);
        let wrong = format!("takes {takes} of {}, but {there} can be {place}", item.id);
        let others = others.iter().filter(|(_, count)| count.high > 0);
        let others: Vec<_> = others
            .filter_map(|(key, count)| {
                Some(format!("{} at {}", of(count.high), key.place.as_ref()?))
            })
            .collect();
        let mut right = Vec::new();
        if most > 0 {
            right.push(there);
        }
        if !others.is_empty() && !place_field.is_empty() {
            right.push(format!("another {place_field} ({})", others.join(", ")));
        }
        right.push("more once it is counted".to_owned());
        let right = format!("{}; {OR_ACCEPT}", right.join(", "));
        let at = at.field(part);
        faults.push(FaultCode::TooLarge, at.field(field), wrong, right);
    }
}

/// A length of line in words.
fn length(cm: u32) -> String {
    LINE_METRES.one(f64::from(cm) / CM).to_string()
}

/// The first description of an item, which says in what it is counted.
fn described<'k>(item: &ItemKey, known: &'k Known) -> Option<&'k Item> {
    known.view.get(item)?.claims().find_map(|(_, said)| said.item())
}

fn measured(at: &At<'_>, body: &Body, known: &Known, faults: &mut Faults) {
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
    let counted_in = first.counted_in();
    let fits = match measure {
        None => counted_in != Some(Measure::Pieces),
        measure => counted_in == measure,
    };
    if fits {
        return;
    }
    let (counted, right) = match counted_in {
        Some(Measure::Pieces) => ("is counted in pieces", "a whole number of pieces"),
        Some(Measure::Centimetres) => {
            ("is measured in metres of line", "a length as \"100 m\", and no pieces")
        }
        None => ("is one item", "no number of pieces"),
    };
    let at = at.field(part);
    let (code, lead) = match measure {
        None => (FaultCode::Missing, "is missing"),
        Some(_) => (FaultCode::Conflict, "does not go with the item"),
    };
    faults.push(code, at.field(field), format!("{lead}: {} {counted}", item.id), right);
}
