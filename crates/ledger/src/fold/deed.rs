//! What an event does to one item, in the few ways in which state can change.

use std::collections::BTreeSet;

use deepbend_core::gear::Line;
use serde::Serialize;

use crate::body::{Body, Measure};
use crate::event::{Certainty, Event};
use crate::id::Id;
use crate::item::{Condition, FittedLine, Item, ItemKey, ItemKind, Spec, Status};
use crate::quantity::from_cm;
use crate::time::Date;

/// A field of an item that holds the last word on something.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Field {
    /// Where it is.
    Place,
    /// Whether it can be used.
    Status,
    /// Its state.
    Condition,
    /// The line on a reel.
    Line,
    /// The reel on a rod, and the rod under a reel.
    Rig,
    /// To whom it is lent.
    Loan,
    /// Where it is serviced.
    Bench,
    /// A column of its description.
    Column(String),
}

impl std::fmt::Display for Field {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.pad(match self {
            Self::Place => "place",
            Self::Status => "status",
            Self::Condition => "condition",
            Self::Line => "line",
            Self::Rig => "rig",
            Self::Loan => "loan",
            Self::Bench => "service",
            Self::Column(name) => name,
        })
    }
}

/// A loan.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Loan {
    /// To whom.
    pub to: Id,
    /// The day on which it should be back.
    pub until: Option<Date>,
}

/// A stay at the bench.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Bench {
    /// Whose.
    pub to: Option<String>,
    /// The day on which it should be back.
    pub back_by: Option<Date>,
}

/// What an event says that a field holds.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Value {
    /// The place.
    Place(Id),
    /// The status.
    Status(Status),
    /// The condition.
    Condition(Condition),
    /// The line; `None` for a stripped spool.
    Line(Option<Box<FittedLine>>),
    /// The counterpart; `None` for none.
    Rig(Option<Id>),
    /// The loan; `None` for none.
    Loan(Option<Loan>),
    /// The stay at the bench; `None` for none.
    Bench(Option<Bench>),
    /// The cell; `None` for an empty one.
    Column(Option<String>),
}

/// What happens when an item may not become usable.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Barred {
    /// Its status stays as it was.
    Stays,
    /// It is again what it was found to be: broken or retired.
    Relapses,
}

/// One thing that an event does to one item.
#[derive(Clone, Debug)]
pub(super) enum Deed<'e> {
    /// The item exists.
    Acquire(&'e Item),
    /// A field gets a value.
    Put(Field, Value),
    /// It was carried as a whole.
    Carry(&'e Id),
    /// It was seen at a place.
    Sight(&'e Id),
    /// Its status changes.
    Status(Status, Barred),
    /// It was inspected; whether a reason was given.
    Inspect(Status, bool),
    /// There is so much of it at a place.
    Count(Measure, Option<&'e Id>, i64),
    /// There is so much more of it at a place.
    Delta(Measure, Option<&'e Id>, i64),
    /// Its line was turned round.
    Reverse(Date),
    /// Its line was shortened, cm.
    Cut(u32),
    /// It was fished, minutes.
    Use(u32),
    /// It was serviced.
    Service(Date),
    /// Nothing but a word about it.
    Tell,
}

impl Deed<'_> {
    /// The field that it writes.
    pub(super) fn field(&self) -> Option<Field> {
        match self {
            Self::Put(field, _) => Some(field.clone()),
            Self::Carry(_) | Self::Sight(_) => Some(Field::Place),
            Self::Status(..) | Self::Inspect(..) => Some(Field::Status),
            Self::Acquire(_)
            | Self::Count(..)
            | Self::Delta(..)
            | Self::Reverse(_)
            | Self::Cut(_)
            | Self::Use(_)
            | Self::Service(_)
            | Self::Tell => None,
        }
    }
}

/// Every item and field that an event writes.
pub(crate) fn writes(event: &Event) -> BTreeSet<(ItemKey, Field)> {
    let all = event.body.says().map(|body| deeds(event, body)).unwrap_or_default().into_iter();
    all.filter_map(|(item, deed)| Some((item, deed.field()?))).collect()
}

/// What an event does when it says `body`: its own, or the one that a correction puts instead.
pub(super) fn deeds<'e>(event: &'e Event, body: &'e Body) -> Vec<(ItemKey, Deed<'e>)> {
    let mut all: Vec<(ItemKey, Deed<'e>)> = Vec::new();
    let day = event.observed_time.date();
    let rod = |id: &Id| ItemKey { kind: ItemKind::Rod, id: id.clone() };
    let reel = |id: &Id| ItemKey { kind: ItemKind::Reel, id: id.clone() };
    let condition = |condition: &Option<Condition>| {
        condition.map(|condition| Deed::Put(Field::Condition, Value::Condition(condition)))
    };
    let put_loan = |loan| Deed::Put(Field::Loan, Value::Loan(loan));
    let put_rig = |id: Option<&Id>| Deed::Put(Field::Rig, Value::Rig(id.cloned()));
    let mut put = |key: &ItemKey, deed: Deed<'e>| all.push((key.clone(), deed));
    match body {
        Body::Acquired { item } => {
            let key = item.key();
            acquire(item).into_iter().for_each(|deed| put(&key, deed));
        }
        Body::Moved { item, from, to, pieces } => match pieces {
            None => put(item, Deed::Carry(to)),
            Some(pieces) => {
                let pieces = i64::from(*pieces);
                put(item, Deed::Delta(Measure::Pieces, from.as_ref(), -pieces));
                put(item, Deed::Delta(Measure::Pieces, Some(to), pieces));
            }
        },
        Body::Lent { item, to, until } => {
            put(item, Deed::Status(Status::OnLoan, Barred::Relapses));
            put(item, put_loan(Some(Loan { to: to.clone(), until: *until })));
        }
        Body::Returned { item, to } => {
            put(item, Deed::Status(Status::Ready, Barred::Relapses));
            put(item, put_loan(None));
            to.iter().for_each(|to| put(item, Deed::Carry(to)));
        }
        Body::Counted { item, measure, place, amount } => {
            put(item, Deed::Count(*measure, place.as_ref(), i64::from(*amount)));
        }
        Body::Adjusted { item, measure, place, by, why: _ } => {
            put(item, Deed::Delta(*measure, place.as_ref(), i64::from(*by)));
        }
        Body::Rigged { rod: of, reel: on, leader: _ } => {
            put(&rod(of), put_rig(Some(on)));
            put(&reel(on), put_rig(Some(of)));
        }
        Body::Unrigged { rod: of, reel: on } => {
            put(&rod(of), put_rig(None));
            put(&reel(on), put_rig(None));
        }
        Body::Respooled { reel: on, fitted, from, taken_cm } => {
            // What was taken from the stock is on the reel, unless somebody measured it there.
            let length = |line: &FittedLine| line.line.length.or(taken_cm.map(from_cm));
            let fresh = |line: &FittedLine| FittedLine {
                line: Line { length: length(line), ..line.line.clone() },
                spooled_on: line.spooled_on.or(Some(day)),
                hours: line.hours.or(Some(0.0)),
                ..line.clone()
            };
            let line = fitted.as_ref().map(|line| Box::new(fresh(line)));
            put(&reel(on), Deed::Put(Field::Line, Value::Line(line)));
            if let Some(from) = from {
                let stock = ItemKey { kind: ItemKind::LineStock, id: from.clone() };
                let taken = i64::from(taken_cm.unwrap_or(0));
                put(&stock, Deed::Delta(Measure::Centimetres, None, -taken));
            }
        }
        Body::Reversed { reel: on } => put(&reel(on), Deed::Reverse(day)),
        Body::CutBack { reel: on, cut_cm } => put(&reel(on), Deed::Cut(*cut_cm)),
        Body::Used { item, minutes } => put(item, Deed::Use(*minutes)),
        Body::Broke { item, what: _ } => {
            put(item, Deed::Status(Status::Broken, Barred::Stays));
        }
        Body::FoundDefect { item, what: _, usable, condition: state } => {
            if !usable {
                put(item, Deed::Status(Status::Broken, Barred::Stays));
            }
            put(item, condition(state).unwrap_or(Deed::Tell));
        }
        Body::Inspected { item, status, condition: state, reason } => {
            put(item, Deed::Inspect(*status, !reason.trim().is_empty()));
            condition(state).into_iter().for_each(|deed| put(item, deed));
        }
        Body::SentToService { item, to, back_by } => {
            let bench = Bench { to: to.clone(), back_by: *back_by };
            put(item, Deed::Put(Field::Bench, Value::Bench(Some(bench))));
            put(item, Deed::Status(Status::InService, Barred::Stays));
        }
        Body::Serviced { item, what: _, finished, condition: state } => {
            if *finished {
                put(item, Deed::Service(day));
                put(item, Deed::Put(Field::Bench, Value::Bench(None)));
                put(item, Deed::Status(Status::Ready, Barred::Stays));
            }
            put(item, condition(state).unwrap_or(Deed::Tell));
        }
        Body::Lost { item } => put(item, Deed::Status(Status::Lost, Barred::Stays)),
        Body::Found { item, at } => {
            put(item, Deed::Status(Status::Ready, Barred::Relapses));
            at.iter().for_each(|at| put(item, Deed::Carry(at)));
        }
        Body::Retired { item, reason: _ } => {
            put(item, Deed::Status(Status::Retired, Barred::Stays));
        }
        Body::StatusSet { item, status } => put(item, Deed::Status(*status, Barred::Stays)),
        Body::Cost { item, .. } | Body::Note { item, .. } => put(item, Deed::Tell),
        Body::Edited { item, columns } => {
            for (column, cell) in columns {
                let value = Value::Column(cell.clone());
                put(item, Deed::Put(Field::Column(column.clone()), value));
            }
        }
        Body::Correction { .. } | Body::Enrolled { .. } | Body::Revoked { .. } => {}
    }
    sight(event, &mut all);
    all
}

/// Who saw an item says where it is, unless he says that it went elsewhere.
fn sight<'e>(event: &'e Event, all: &mut Vec<(ItemKey, Deed<'e>)>) {
    let Some(place) = event.seen_at.as_ref().filter(|_| event.certainty == Certainty::Seen) else {
        return;
    };
    let told = |deed: &Deed<'_>| matches!(deed, Deed::Carry(_) | Deed::Acquire(_));
    let Some((item, _)) = all.first() else { return };
    if all.iter().all(|(_, deed)| !told(deed)) {
        all.push((item.clone(), Deed::Sight(place)));
    }
}

fn acquire(item: &Item) -> Vec<Deed<'_>> {
    let put = |field, value| Some(Deed::Put(field, value));
    let (fitted, length) = match &item.spec {
        Spec::Reel(reel) => (Some(reel.fitted.clone().map(Box::new)), None),
        Spec::LineStock(stock) => (None, stock.length.filter(|_| item.quantity.is_none())),
        Spec::Rod(_) | Spec::Lure(_) | Spec::Boat(_) | Spec::Device(_) => (None, None),
    };
    let place = item.place.clone().map(Value::Place);
    let pieces = item.quantity.map(|n| Deed::Count(Measure::Pieces, None, i64::from(n)));
    let length = length.map(|all| {
        // A finite length that a file may state is far below the greatest i64.
        Deed::Count(Measure::Centimetres, None, all.cm().round() as i64)
    });
    [
        Some(Deed::Acquire(item)),
        put(Field::Status, Value::Status(item.status)),
        place.and_then(|place| put(Field::Place, place)),
        item.condition.and_then(|state| put(Field::Condition, Value::Condition(state))),
        fitted.and_then(|line| put(Field::Line, Value::Line(line))),
        pieces,
        length,
    ]
    .into_iter()
    .flatten()
    .collect()
}
