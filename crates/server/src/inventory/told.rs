//! Events, claims, counts and disputes, written.

use deepbend_contract::pb;
use deepbend_contract::pb::event_body::What;
use deepbend_contract::pb::field_value::Value as Wire;
use deepbend_ledger::body::Body;
use deepbend_ledger::event::{Claim, Event};
use deepbend_ledger::fold::{
    Bench, Count, CountKey, Disputed, Effect, FieldClaim, Held, Loan, Story, Told, Value,
};
use deepbend_ledger::id::Id;
use deepbend_ledger::item::{Cost, Item, ItemKey};
use deepbend_ledger::time::Date;
use deepbend_ledger::view::{Conflict, Entry, EventRef, View};

use super::item::{count, fitted_line};
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

/// An event that was recorded, without what became of it.
pub(super) fn event(
    reference: &EventRef,
    event: &Event,
    item: Option<&ItemKey>,
) -> pb::RecordedEvent {
    pb::RecordedEvent {
        event_id: reference.id.to_string(),
        hash: reference.hash.to_string(),
        item_id: item.map(|key| key.id.to_string()).unwrap_or_default(),
        item_kind: item.map_or(0, |key| key.kind.wire().into()),
        claim: Some(claim(&event.claim())),
        seen_at_id: id(event.seen_at.clone()),
        trip_id: id(event.trip.clone()),
        text: event.text.clone().unwrap_or_default(),
        body: Some(body(event.body.clone())),
        superseded_event_ids: event.supersedes.iter().map(ToString::to_string).collect(),
        effect: 0,
        effect_reason: String::new(),
    }
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

/// One event of an item's history.
pub(super) fn told(told: &Told<'_>, item: &ItemKey) -> pb::RecordedEvent {
    with_effect(event(&told.reference, told.event, Some(item)), &told.effect)
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

fn counted(view: &View, item: &ItemKey, key: &CountKey, held: &Count) -> pb::ItemCountState {
    let tell = |events: &[EventRef]| {
        let events = events.iter();
        events.filter_map(|e| Some(event(e, view.event(e)?, Some(item)))).collect()
    };
    pb::ItemCountState {
        measure: key.measure.wire().into(),
        place_id: id(key.place.clone()),
        low: count(held.low),
        high: count(held.high),
        recount: held.recount,
        counted: tell(&held.counted),
        concurrent: tell(&held.concurrent),
    }
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
            Disputed::Count(of) => story.counts.get(of).map(|held| counted(view, key, of, held)),
            Disputed::Tag | Disputed::Field(_) => None,
        },
        first_events: match disputed {
            Disputed::Tag => {
                let entries = view.find(&key.id);
                let claims = entries.iter().flat_map(|entry| {
                    let of = entry.item().key();
                    entry.claims().map(move |(reference, _)| (of.clone(), reference))
                });
                claims.filter_map(|(of, e)| Some(event(e, view.event(e)?, Some(&of)))).collect()
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
        counts: story.counts.iter().map(|(of, held)| counted(view, key, of, held)).collect(),
        disputes: disputes(view, key, &story),
        unheeded: unheeded.map(|one| told(one, key)).collect(),
        fished_minutes: number(story.wear.minutes),
        fished_minutes_since_service: number(story.wear.minutes_since_service),
        serviced_date: date(story.wear.serviced_on),
    })
}

/// The devices that forked.
pub(crate) fn forks(view: &View) -> Vec<pb::DeviceFork> {
    let forks = view.conflicts().into_iter().filter_map(|conflict| match conflict {
        Conflict::Fork { id, hashes } => Some(pb::DeviceFork {
            event_id: id.to_string(),
            hashes: hashes.iter().map(ToString::to_string).collect(),
        }),
        Conflict::SharedId { .. } => None,
    });
    forks.collect()
}
