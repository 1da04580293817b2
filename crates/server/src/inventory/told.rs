//! Events, claims, counts and disputes, written.

use deepbend_contract::pb;
use deepbend_contract::pb::event_body::What;
use deepbend_contract::pb::field_value::Value as Wire;
use deepbend_ledger::body::{Body, Measure};
use deepbend_ledger::event::Claim;
use deepbend_ledger::fold::{
    Bench, Count, CountKey, Disputed, Effect, FieldClaim, Held, Loan, Story, Told, Value, Why,
};
use deepbend_ledger::id::Id;
use deepbend_ledger::item::{Cost, Item, ItemKey, ItemKind};
use deepbend_ledger::time::Date;
use deepbend_ledger::view::{Conflict, Entry, EventRef, View};

use super::item::{count, fitted_line, place_counts};
use super::words::LedgerWord as _;

/// Who says it, when, and how well he knows.
pub(super) fn claim(claim: &Claim) -> pb::Claim {
    pb::Claim {
        observed_time: claim.observed_time.as_str().parse().ok(),
        actor: claim.actor.to_string(),
        certainty: claim.certainty.wire().into(),
    }
}

fn id(id: Option<Id>) -> String {
    id.map(String::from).unwrap_or_default()
}

fn date(day: Option<Date>) -> String {
    day.map(|day| day.to_string()).unwrap_or_default()
}

fn cost(cost: Cost) -> pb::Cost {
    let Cost { cents, currency } = cost;
    pb::Cost { amount_cents: i64::try_from(cents).unwrap_or(i64::MAX), currency_code: currency }
}

/// What happened, as the contract has it.
pub(super) fn body(body: Body) -> pb::EventBody {
    let condition = |state: Option<deepbend_ledger::item::Condition>| {
        state.map_or(0, |state| state.wire().into())
    };
    let what = match body {
        Body::Acquired { item } => {
            let Item { raw, .. } = &*item;
            What::Acquired(pb::Acquired { kind: item.kind().wire().into(), columns: raw.to_map() })
        }
        Body::Moved { item: _, from, to, pieces } => What::Moved(pb::Moved {
            to_id: to.into(),
            from_id: id(from),
            piece_count: pieces.map(count),
        }),
        Body::Lent { item: _, to, until } => {
            What::Lent(pb::Lent { to_id: to.into(), until_date: date(until) })
        }
        Body::Returned { item: _, to } => What::Returned(pb::Returned { to_id: id(to) }),
        Body::Counted { item: _, measure, place, amount } => What::Counted(pb::Counted {
            measure: measure.wire().into(),
            place_id: id(place),
            amount: Some(count(amount)),
        }),
        Body::Adjusted { item: _, measure, place, by, why } => What::Adjusted(pb::Adjusted {
            measure: measure.wire().into(),
            place_id: id(place),
            change: Some(by),
            reason: why.wire().into(),
        }),
        Body::Rigged { rod: _, reel, leader } => {
            What::Rigged(pb::Rigged { reel_id: reel.into(), leader_id: id(leader) })
        }
        Body::Unrigged { rod: _, reel } => What::Unrigged(pb::Unrigged { reel_id: reel.into() }),
        Body::Respooled { reel: _, fitted, from, taken_cm } => What::Respooled(pb::Respooled {
            fitted: fitted.map(|fitted| fitted_line(&fitted, None)),
            from_id: id(from),
            taken_cm: taken_cm.map(count),
        }),
        Body::Reversed { reel: _ } => What::Reversed(pb::Reversed {}),
        Body::CutBack { reel: _, cut_cm } => {
            What::CutBack(pb::CutBack { cut_cm: Some(count(cut_cm)) })
        }
        Body::Used { item: _, minutes } => What::Used(pb::Used { minutes: Some(count(minutes)) }),
        Body::Broke { item: _, what } => What::Broke(pb::Broke { what }),
        Body::FoundDefect { item: _, what, usable, condition: state } => {
            What::FoundDefect(pb::FoundDefect { what, usable, condition: condition(state) })
        }
        Body::Inspected { item: _, status, condition: state, reason } => {
            What::Inspected(pb::Inspected {
                status: status.wire().into(),
                condition: condition(state),
                reason,
            })
        }
        Body::SentToService { item: _, to, back_by } => What::SentToService(pb::SentToService {
            to: to.unwrap_or_default(),
            back_by_date: date(back_by),
        }),
        Body::Serviced { item: _, what, finished, condition: state } => {
            What::Serviced(pb::Serviced { what, finished, condition: condition(state) })
        }
        Body::Lost { item: _ } => What::Lost(pb::Lost {}),
        Body::Found { item: _, at } => What::Found(pb::Found { at_id: id(at) }),
        Body::Retired { item: _, reason } => What::Retired(pb::Retired { reason }),
        Body::StatusSet { item: _, status } => {
            What::StatusSet(pb::StatusSet { status: status.wire().into() })
        }
        Body::Cost { item: _, cost: paid, what } => {
            What::Spent(pb::Spent { cost: Some(cost(paid)), what })
        }
        Body::Note { item: _, text } => What::Note(pb::Note { text }),
        Body::Edited { item: _, columns } => {
            let cells = columns.into_iter().map(|(name, cell)| (name, cell.unwrap_or_default()));
            What::Edited(pb::Edited { columns: cells.collect() })
        }
        Body::Correction { target, instead, reason } => {
            What::Correction(Box::new(pb::Correction {
                event_id: target.to_string(),
                instead: instead.map(|instead| Box::new(self::body(*instead))),
                reason,
            }))
        }
        Body::Enrolled { device, key, keeper } => {
            What::Enrolled(pb::Enrolled { device_id: device.into(), key: key.to_string(), keeper })
        }
        Body::Revoked { device, last, reason } => What::Revoked(pb::Revoked {
            device_id: device.into(),
            from_the_start: last.is_empty(),
            last_sequences: last
                .into_iter()
                .map(|(incarnation, last)| (count(incarnation), number(last)))
                .collect(),
            reason,
        }),
    };
    pb::EventBody { what: Some(what) }
}

fn number(value: u64) -> i64 {
    i64::try_from(value).unwrap_or(i64::MAX)
}

/// The item that an event is told of: the rod for rigging, the reel for line work, for a correction
/// what it says instead is about, or else what it corrects.
pub(super) fn main_item(view: &View, reference: &EventRef) -> Option<ItemKey> {
    let said = view.event(reference)?.body.says().and_then(|body| body.about().first().cloned());
    said.or_else(|| view.about(reference).first().cloned())
}

/// An event that was recorded, without what became of it; `None` if it is not here.
pub(super) fn event(view: &View, reference: &EventRef) -> Option<pb::RecordedEvent> {
    let event = view.event(reference)?;
    let item = main_item(view, reference);
    Some(pb::RecordedEvent {
        event_id: reference.id.to_string(),
        hash: reference.hash.to_string(),
        item_id: item.as_ref().map(|key| key.id.to_string()).unwrap_or_default(),
        item_kind: item.map_or(0, |key| key.kind.wire().into()),
        claim: Some(claim(&event.claim())),
        seen_at_id: id(event.seen_at.clone()),
        trip_id: id(event.trip.clone()),
        text: event.text.clone().unwrap_or_default(),
        body: Some(body(event.body.clone())),
        superseded_event_ids: event.supersedes.iter().map(ToString::to_string).collect(),
        effect: 0,
        effect_reason: String::new(),
    })
}

fn events<'e>(
    view: &View,
    references: impl IntoIterator<Item = &'e EventRef>,
) -> Vec<pb::RecordedEvent> {
    references.into_iter().filter_map(|reference| event(view, reference)).collect()
}

/// What a correction takes back; `None` if it is none, or has no effect.
pub(super) fn taken_back(view: &View, correction: &EventRef) -> Option<pb::TakenBack> {
    let target = view.event(correction)?.body.target()?;
    if matches!(view.effect(correction)?, Effect::Nothing(_)) {
        return None;
    }
    let wrong = EventRef { id: target.clone(), hash: view.hash_at(target)? };
    let item = view.event(&wrong)?.body.acquired().map(|item| item.key());
    let removed = item.filter(|key| view.get(key).is_none());
    let idle = |key: &ItemKey| {
        let history = view.history(key);
        history.iter().filter(|told| told.effect == Effect::Nothing(Why::UnknownItem)).count()
    };
    let lying = |place: &ItemKey| {
        let there = view.entries().filter(|entry| lies_at(entry, &place.id));
        if place.kind == ItemKind::Boat { there.count() } else { 0 }
    };
    let number = |count: usize| i32::try_from(count).unwrap_or(i32::MAX);
    Some(pb::TakenBack {
        correction_event_id: correction.id.to_string(),
        event: event(view, &wrong),
        item_removed: removed.is_some(),
        idle_event_count: removed.as_ref().map_or(0, |key| number(idle(key))),
        lying_item_count: removed.as_ref().map_or(0, |key| number(lying(key))),
    })
}

/// Whether an item, or a piece of it, lies at a place.
fn lies_at(entry: &Entry, place: &Id) -> bool {
    if entry.item().quantity.is_none() {
        return entry.item().place.as_ref() == Some(place);
    }
    entry.pieces().iter().any(|there| there.place.as_ref() == Some(place) && there.high > 0)
}

/// The same with what became of it.
pub(super) fn with_effect(told: pb::RecordedEvent, effect: &Effect) -> pb::RecordedEvent {
    let (kind, why) = match effect {
        Effect::Acts => (pb::EventEffect::Acts, None),
        Effect::InPart(why) => (pb::EventEffect::InPart, Some(why)),
        Effect::Nothing(why) => (pb::EventEffect::Nothing, Some(why)),
    };
    let effect_reason = why.map(ToString::to_string).unwrap_or_default();
    pb::RecordedEvent { effect: kind.into(), effect_reason, ..told }
}

/// An event about no item here, with what it does.
pub(super) fn of_no_item(view: &View, reference: &EventRef) -> Option<pb::RecordedEvent> {
    let told = event(view, reference)?;
    if view.roll().is_open() && view.event(reference)?.body.is_about_devices() {
        let effect_reason = "the fleet has no founder: every device counts".to_owned();
        return Some(pb::RecordedEvent {
            effect: pb::EventEffect::Nothing.into(),
            effect_reason,
            ..told
        });
    }
    let effect = view.effect(reference)?;
    let told = with_effect(told, &effect);
    // Who may not do it is told who may.
    let founder = view.roll().founder().filter(|_| effect == Effect::Nothing(Why::NotKeeper));
    let Some(founder) = founder.map(|founder| &founder.device) else { return Some(told) };
    let itself = if let Body::Revoked { device, .. } = &view.event(reference)?.body {
        format!(", or at {device} itself")
    } else {
        String::new()
    };
    let why = &told.effect_reason;
    let effect_reason = format!("{why}. Record it at {founder}, the founder{itself}");
    Some(pb::RecordedEvent { effect_reason, ..told })
}

/// One event of an item's history, with what it does to that item.
pub(super) fn told(view: &View, told: &Told<'_>) -> Option<pb::RecordedEvent> {
    Some(with_effect(event(view, &told.reference)?, &told.effect))
}

fn value(value: &Value) -> pb::FieldValue {
    let value = match value {
        Value::Place(place) => Some(Wire::PlaceId(place.to_string())),
        Value::Status(status) => Some(Wire::Status(status.wire().into())),
        Value::Condition(condition) => Some(Wire::Condition(condition.wire().into())),
        Value::Line(line) => line.as_ref().map(|line| Wire::Line(fitted_line(line, None))),
        Value::Rig(other) => other.as_ref().map(|id| Wire::RigId(id.to_string())),
        Value::Loan(loan) => loan.as_ref().map(|Loan { to, until }| {
            Wire::Loan(pb::Loan { to_id: to.to_string(), until_date: date(*until) })
        }),
        Value::Bench(bench) => bench.as_ref().map(|Bench { to, back_by }| {
            let to = to.clone().unwrap_or_default();
            Wire::Bench(pb::BenchStay { to, back_by_date: date(*back_by) })
        }),
        Value::Column(cell) => cell.clone().map(Wire::Column),
    };
    pb::FieldValue { value }
}

fn field(view: &View, name: String, held: &Held) -> pb::ItemField {
    let claims = held.claims.iter().map(|one| {
        let FieldClaim { event: reference, actor: _, certainty: _, value: said, quarantined } = one;
        let event = view.event(reference);
        pb::FieldClaim {
            event_id: reference.id.to_string(),
            claim: event.map(|event| claim(&event.claim())),
            value: Some(value(said)),
            quarantined: *quarantined,
            advised: held.advice.as_ref() == Some(reference),
            text: event.and_then(|event| event.text.clone()).unwrap_or_default(),
        }
    });
    pb::ItemField {
        name,
        contested: held.contested,
        value: held.value.as_ref().map(value),
        claims: claims.collect(),
    }
}

fn counted(view: &View, key: &CountKey, held: &Count) -> pb::ItemCountState {
    pb::ItemCountState {
        measure: key.measure.wire().into(),
        place_id: id(key.place.clone()),
        low: count(held.low),
        high: count(held.high),
        recount: held.recount,
        counted: events(view, &held.counted),
        concurrent: events(view, &held.concurrent),
        since: Vec::new(),
    }
}

/// The changes of a count that act, but are neither in what was counted nor in doubt.
fn since(view: &View, item: &ItemKey, of: &CountKey, held: &Count) -> Vec<pb::RecordedEvent> {
    // A place that is left out is the one of the first description.
    let first = view.get(item).and_then(|entry| entry.claims().find_map(|(_, said)| said.item()));
    let usual = first.and_then(|item| item.place.as_ref());
    let here = |place: Option<&Id>| place.or(usual) == of.place.as_ref();
    let changes = |body: &Body| {
        if let Body::Adjusted { measure, place, .. } = body {
            return *measure == of.measure
                && (of.measure == Measure::Centimetres || here(place.as_ref()));
        }
        if let Body::Moved { from, to, pieces: Some(_), .. } = body {
            return of.measure == Measure::Pieces && (here(from.as_ref()) || here(Some(to)));
        }
        matches!(body, Body::Respooled { from: Some(stock), .. } if *stock == item.id)
            && of.measure == Measure::Centimetres
    };
    let counted_in = |change: &EventRef| {
        held.counted.iter().any(|count| {
            let same_chain = count.id.chain == change.id.chain;
            let earlier = same_chain && change.id.sequence < count.id.sequence;
            earlier || view.held_by(count).is_some_and(|held| held.holds(&change.id))
        })
    };
    let history = view.history(item);
    let told = history.iter().filter(|told| {
        !matches!(told.effect, Effect::Nothing(_))
            && told.event.body.says().is_some_and(changes)
            && !held.concurrent.contains(&told.reference)
            && !counted_in(&told.reference)
    });
    events(view, told.map(|told| &told.reference))
}

fn disputes(view: &View, key: &ItemKey, story: &Story) -> Vec<pb::Dispute> {
    let dispute = |disputed: &Disputed| pb::Dispute {
        what: disputed.to_string(),
        field: match disputed {
            Disputed::Field(name) => {
                story.fields.get(name).map(|held| field(view, name.to_string(), held))
            }
            Disputed::Tag | Disputed::Count(_) => None,
        },
        count: match disputed {
            Disputed::Count(of) => story.counts.get(of).map(|held| pb::ItemCountState {
                since: since(view, key, of, held),
                ..counted(view, of, held)
            }),
            Disputed::Tag | Disputed::Field(_) => None,
        },
        first_events: match disputed {
            Disputed::Tag => {
                let entries = view.find(&key.id);
                let claims = entries.iter().flat_map(|entry| entry.claims());
                events(view, claims.map(|(reference, _)| reference))
            }
            Disputed::Field(_) | Disputed::Count(_) => Vec::new(),
        },
        cure: disputed.cure().to_owned(),
    };
    story.disputes.iter().map(dispute).collect()
}

/// What people must settle about an item; `None` if there is nothing.
pub(super) fn contested(view: &View, entry: &Entry) -> Option<pb::ContestedItem> {
    let key = entry.item().key();
    let disputes = disputes(view, &key, &view.tell(&key)?);
    (!disputes.is_empty()).then(|| pb::ContestedItem {
        item_id: key.id.to_string(),
        kind: key.kind.wire().into(),
        display_name: entry.item().name.clone().unwrap_or_default(),
        disputes,
        place_counts: place_counts(entry),
    })
}

/// All that follows from the events of an item.
pub(super) fn story(view: &View, key: &ItemKey) -> Option<pb::ItemStory> {
    let story = view.tell(key)?;
    let history = view.history(key);
    let unheeded = history.iter().filter(|told| told.effect != Effect::Acts);
    Some(pb::ItemStory {
        fields: story
            .fields
            .iter()
            .map(|(name, held)| field(view, name.to_string(), held))
            .collect(),
        counts: story.counts.iter().map(|(of, held)| counted(view, of, held)).collect(),
        disputes: disputes(view, key, &story),
        unheeded: unheeded.filter_map(|one| told(view, one)).collect(),
        fished_minutes: number(story.wear.minutes),
        fished_minutes_since_service: number(story.wear.minutes_since_service),
        serviced_date: date(story.wear.serviced_on),
    })
}

/// The devices that forked.
pub(crate) fn forks(view: &View) -> Vec<pb::DeviceFork> {
    let forks = view.conflicts().into_iter().filter_map(|conflict| match conflict {
        Conflict::Fork { id, hashes } => Some(pb::DeviceFork {
            left_behind: view.is_left_behind(&id.chain),
            event_id: id.to_string(),
            hashes: hashes.iter().map(ToString::to_string).collect(),
        }),
        Conflict::SharedId { .. } => None,
    });
    forks.collect()
}
