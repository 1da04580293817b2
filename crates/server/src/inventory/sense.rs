//! What cannot have happened as it is told, of an item that is known here: refused, since it could
//! have no effect or a wrong one. What other boats tell is never looked at here.

use deepbend_contract::pb::FaultCode;
use deepbend_contract::{At, Faults};
use deepbend_core::quantity::words::LINE_METRES;
use deepbend_ledger::body::{Body, Reason};
use deepbend_ledger::event::EventId;
use deepbend_ledger::fold::{Disputed, Effect, Field, Value, Why};
use deepbend_ledger::id::Id;
use deepbend_ledger::import::{may_edit, with_cell};
use deepbend_ledger::item::{Item, ItemKey, ItemKind, Spec, Status};
use deepbend_ledger::view::{Entry, EventRef};

use super::amounts::{CM, OR_ACCEPT};
use super::named::Known;

/// Words between a denial and what it denies, as "no sign of a crack". Common practice, no source.
const DENIED_WITHIN: usize = 4;

/// What is in such a state is not fished.
const UNFIT: &[Status] = &[Status::Broken, Status::Lost, Status::Retired];

/// Notes what makes no sense. `at` is the place of the body.
pub(super) fn check(at: &At<'_>, body: &Body, known: &Known, faults: &mut Faults) {
    if let Body::Correction { target, instead: None, .. } = body {
        return can_be_corrected(&at.field("correction"), target, known, faults);
    }
    if let Body::Correction { instead: Some(instead), .. } = body {
        // It acts at the place of the corrected event: what the item is now does not matter.
        let at = at.field("correction");
        return whenever(&at.field("instead"), instead, known, faults);
    }
    whenever(at, body, known, faults);
    // What another boat did to the item is not told yet.
    if known.accept_unknown {
        return;
    }
    if let Some(entry) = body.about().first().and_then(|item| known.view.get(item)) {
        now(at, body, entry, faults);
    }
    if let Body::Rigged { rod, reel, leader: _ } = body {
        rigged(&at.field("rigged"), rod, reel, known, faults);
    } else if let Body::Unrigged { rod, reel } = body {
        let at = at.field("unrigged");
        if let Some(other) = on_the(reel_key(reel), known).filter(|on| *on != Some(rod.clone())) {
            let other = other.map_or_else(|| "no rod".to_owned(), |other| other.to_string());
            let wrong = format!("is {reel}, which is on {other}");
            let right = format!("the reel that is on {rod}; {OR_ACCEPT}");
            faults.push(FaultCode::Conflict, at.field("reel_id"), wrong, right);
        }
    }
}

fn reel_key(id: &Id) -> ItemKey {
    ItemKey { kind: ItemKind::Reel, id: id.clone() }
}

/// What a rod or a reel is rigged with; the outer `None`: nobody ever said, or people do not agree.
fn on_the(item: ItemKey, known: &Known) -> Option<Option<Id>> {
    let held = known.view.tell(&item)?.fields.remove(&Field::Rig)?;
    match held.value {
        Some(Value::Rig(other)) if !held.contested => Some(other),
        _ => None,
    }
}

/// A reel is on one rod, a rod holds one reel, and both can be fished.
fn rigged(at: &At<'_>, rod: &Id, reel: &Id, known: &Known, faults: &mut Faults) {
    let rod_key = ItemKey { kind: ItemKind::Rod, id: rod.clone() };
    for key in [&rod_key, &reel_key(reel)] {
        if let Some(status) = known.view.get(key).and_then(surely)
            && UNFIT.contains(&status)
        {
            let wrong = format!("takes {}, which is {status}", key.id);
            let right = format!("first what became of it: inspected or found; {OR_ACCEPT}");
            faults.push(FaultCode::Conflict, *at, wrong, right);
        }
    }
    if let Some(Some(other)) = on_the(reel_key(reel), known).filter(|on| *on != Some(rod.clone())) {
        let wrong = format!("is {reel}, which is on {other}");
        let right = format!("first off that rod: unrigged {other} {reel}; {OR_ACCEPT}");
        faults.push(FaultCode::Conflict, at.field("reel_id"), wrong, right);
    } else if let Some(Some(other)) = on_the(rod_key, known).filter(|on| *on != Some(reel.clone()))
    {
        let wrong = format!("is {reel}, but {rod} holds {other}");
        let right = format!("first that one off the rod: unrigged {rod} {other}; {OR_ACCEPT}");
        faults.push(FaultCode::Conflict, at.field("reel_id"), wrong, right);
    }
}

/// What was taken back, or settles nothing, is not taken back.
fn can_be_corrected(at: &At<'_>, target: &EventId, known: &Known, faults: &mut Faults) {
    let hash = known.view.hash_at(target);
    let target = hash.map(|hash| EventRef { id: target.clone(), hash });
    let (wrong, right) = match target.and_then(|target| known.view.effect(&target)) {
        Some(Effect::Nothing(Why::Corrected { by })) => (
            format!("is corrected by {by} already"),
            format!("nothing more, or {by}: then it acts again"),
        ),
        Some(Effect::Nothing(Why::Quarantined)) => (
            "is from a cloned store: it settles nothing, and nothing takes it back".to_owned(),
            "a new event that says what is so".to_owned(),
        ),
        Some(_) | None => return,
    };
    faults.push(FaultCode::Conflict, at.field("event_id"), wrong, right);
}

/// What makes no sense at any time.
fn whenever(at: &At<'_>, body: &Body, known: &Known, faults: &mut Faults) {
    if let Body::FoundDefect { what, usable: true, .. } = body
        && tells_of_a_crack(what)
    {
        let at = at.field("found_defect");
        let wrong = "is true, but a crack is told of, and what is cracked counts as broken";
        let right = "false; if it was looked at and is no crack: inspected, with the reason";
        faults.push(FaultCode::Conflict, at.field("usable"), wrong, right);
    }
    if let Body::Moved { item, from, to, .. } = body {
        let first = || known.view.get(item).and_then(|entry| from_first(entry, body));
        let from = from.clone().or_else(first);
        let itself = item.kind == ItemKind::Boat && item.id == *to;
        if itself || from.as_ref() == Some(to) {
            let wrong = if itself { "the item itself" } else { "where it comes from" };
            let wrong = format!("is {to}, {wrong}");
            let at = at.field("moved");
            faults.push(FaultCode::Conflict, at.field("to_id"), wrong, "another place");
        }
    }
    if let Body::Adjusted { by, why, .. } = body {
        let (sign, told) = match why {
            Reason::Lost | Reason::Used | Reason::Discarded => (-1, "less than 0: it is gone"),
            Reason::Bought | Reason::Found => (1, "more than 0: it came"),
        };
        if by.signum() != sign {
            let wrong = format!("is {by}, with reason {why}");
            faults.push(FaultCode::Conflict, at.field("adjusted").field("change"), wrong, told);
        }
    }
    if let Body::Edited { item, columns } = body {
        let at = at.field("edited");
        for column in columns.keys().filter(|column| !may_edit(item.kind, column)) {
            let wrong = format!("has {column}, which is not edited: what happened tells it");
            faults.push(FaultCode::Conflict, at.field("columns"), wrong, told_by(column));
        }
    }
}

/// The place that pieces come from where none is named.
fn from_first(entry: &Entry, body: &Body) -> Option<Id> {
    let Body::Moved { pieces: Some(_), .. } = body else { return None };
    entry.claims().find_map(|(_, said)| said.item()).and_then(|first| first.place.clone())
}

/// Whether words tell of a crack, and not that there is none.
fn tells_of_a_crack(what: &str) -> bool {
    let what = what.to_lowercase();
    let words: Vec<_> = what.split(|c: char| !c.is_alphabetic()).collect();
    words.iter().enumerate().any(|(index, word)| {
        let before = &words[index.saturating_sub(DENIED_WITHIN)..index];
        let denied = before.iter().any(|word| matches!(*word, "no" | "not" | "without"));
        matches!(*word, "crack" | "cracks" | "cracked") && !denied
    })
}

/// The event that tells what stands in a column.
fn told_by(column: &str) -> &'static str {
    match column {
        "place" => "an event that tells where it is: moved",
        "status" => "an event that tells why: broke, lost, found, lent, inspected, retired ...",
        "condition" => "an event that tells it: inspected",
        "qty" | "length_m" => "an event that tells how much there is: counted",
        "line_type" | "strands" | "line_test_raw" | "line_dia_mm" | "line_length_m"
        | "spooled_on" | "hours_on_line" => "an event that tells it: respooled, cut_back or used",
        _ => "another item for another id: acquired, and this one retired",
    }
}

/// What makes no sense of the item as it is now.
fn now(at: &At<'_>, body: &Body, entry: &Entry, faults: &mut Faults) {
    let item = entry.item();
    if let Some((part, bars)) = with_it_in_hand(body)
        && let Some(status) = surely(entry).filter(|status| bars.contains(status))
    {
        let wrong = format!("takes {}, which is {status}", item.id);
        let right = format!("first what became of it: inspected or found; {OR_ACCEPT}");
        faults.push(FaultCode::Conflict, at.field(part), wrong, right);
        return;
    }
    if let Body::Reversed { .. } = body {
        on_the_spool(&at.field("reversed"), entry, None, faults);
    } else if let Body::CutBack { cut_cm, .. } = body {
        on_the_spool(&at.field("cut_back").field("cut_cm"), entry, Some(*cut_cm), faults);
    } else if let Body::Broke { .. } = body {
        let right = "how many broke: adjusted, with reason DISCARDED";
        in_pieces(&at.field("broke"), item, right, faults);
    } else if let Body::FoundDefect { usable: false, .. } = body {
        let right = "how many are thrown away: adjusted, with reason DISCARDED";
        in_pieces(&at.field("found_defect"), item, right, faults);
    } else if let Body::Found { .. } = body {
        // What was lost as a whole is found as a whole.
        if item.status != Status::Lost {
            let right = "how many turned up: adjusted, with reason FOUND";
            in_pieces(&at.field("found"), item, right, faults);
        }
    } else if let Body::Moved { to, pieces: None, .. } = body {
        if surely(entry) == Some(Status::Lost) {
            let wrong = format!("is {to}, but {} is lost", item.id);
            let right = format!("that it turned up there: found; {OR_ACCEPT}");
            faults.push(FaultCode::Conflict, at.field("moved").field("to_id"), wrong, right);
        }
    } else if let Body::Lost { .. } = body {
        let right = "how many are lost: adjusted, with reason LOST";
        in_pieces(&at.field("lost"), item, right, faults);
    } else if let Body::Edited { columns, .. } = body {
        for (column, cell) in columns.iter().filter(|(column, _)| may_edit(item.kind(), column)) {
            if let Err(fault) = with_cell(item, column, cell.as_ref()) {
                let wrong = format!("has {column}, which cannot be read: {fault}");
                let at = at.field("edited");
                let right = "a text as in the fleet's files";
                faults.push(FaultCode::Malformed, at.field("columns"), wrong, right);
            }
        }
    }
}

/// Message of a body that only tells of what was in somebody's hand, and the states in which nobody
/// can have had it there.
fn with_it_in_hand(body: &Body) -> Option<(&'static str, &'static [Status])> {
    const GONE: &[Status] = &[Status::Lost, Status::Retired];
    if let Body::Used { .. } = body {
        Some(("used", UNFIT))
    } else if let Body::Respooled { .. } = body {
        Some(("respooled", GONE))
    } else if let Body::CutBack { .. } = body {
        Some(("cut_back", GONE))
    } else if let Body::Reversed { .. } = body {
        Some(("reversed", GONE))
    } else if let Body::Lent { .. } = body {
        Some(("lent", GONE))
    } else if let Body::SentToService { .. } = body {
        Some(("sent_to_service", GONE))
    } else if let Body::Serviced { .. } = body {
        Some(("serviced", GONE))
    } else {
        None
    }
}

/// The status of an item, unless people do not agree on it.
fn surely(entry: &Entry) -> Option<Status> {
    let contested = entry.disputes().contains(&Disputed::Field(Field::Status));
    Some(entry.item().status).filter(|_| !contested)
}

/// Of what is counted pieces break or are lost, not the item: so its count tells what there is.
fn in_pieces(at: &At<'_>, item: &Item, right: &str, faults: &mut Faults) {
    if let Some(pieces) = item.quantity {
        let of = match pieces {
            0 => "no pieces".to_owned(),
            1 => "the 1 piece".to_owned(),
            pieces => format!("the {pieces} pieces"),
        };
        let wrong = format!("does not say how many of {of} of {}", item.id);
        faults.push(FaultCode::Conflict, *at, wrong, right);
    }
}

/// There must be line to be worked on, and enough of it to be cut.
fn on_the_spool(at: &At<'_>, entry: &Entry, cut_cm: Option<u32>, faults: &mut Faults) {
    let item = entry.item();
    let Spec::Reel(reel) = &item.spec else { return };
    // Which line is on it is not known: then one of them may be long enough.
    if entry.disputes().contains(&Disputed::Field(Field::Line)) {
        return;
    }
    let ItemKey { id, .. } = item.key();
    let Some(fitted) = &reel.fitted else {
        let wrong = format!("tells of line, but the spool of {id} is empty");
        let right = format!("first what is on it: respooled; {OR_ACCEPT}");
        return faults.push(FaultCode::Conflict, *at, wrong, right);
    };
    let left = fitted.line.length.map(|length| length.m());
    if let (Some(left), Some(cut)) = (left, cut_cm)
        && f64::from(cut) > (left * CM).ceil()
    {
        let told = LINE_METRES.one(f64::from(cut) / CM).listed();
        let holds = LINE_METRES.one(left);
        let wrong = format!("is {cut} cm ({told}), but {id} holds {holds} of line");
        let right = format!("0 to {:.0} cm; {OR_ACCEPT}", (left * CM).ceil());
        faults.push(FaultCode::TooLarge, *at, wrong, right);
    }
}
