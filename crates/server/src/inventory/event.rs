//! Events as callers tell them: read, with every fault.

use std::collections::BTreeMap;

use deepbend_contract::pb::FaultCode;
use deepbend_contract::pb::event_body::What;
use deepbend_contract::{At, Faults, Reader, limits, pb};
use deepbend_core::gear::{Line, Word as _};
use deepbend_ledger::body::Body;
use deepbend_ledger::event::Remark;
use deepbend_ledger::exchange::PublicKey;
use deepbend_ledger::id::Id;
use deepbend_ledger::item::{FittedLine, ItemKey, ItemKind, Spec, StockUse};
use deepbend_ledger::view::{Entry, View};

use super::amounts;
use super::columns;
use super::fields::{
    condition, cost, date, event_id, fitted, id, required_count, required_id, status, words,
};
use super::import::read_claim;
use super::named::{self, Known};
use super::sense;
use super::words::LedgerWord;
use crate::error::Missing;

/// An event that is to be written.
#[derive(Debug)]
pub(super) struct Asked {
    pub(super) remark: Remark,
    pub(super) body: Body,
    /// Item and kind that it is told of; `None` for events about devices.
    pub(super) item: Option<ItemKey>,
}

/// Reads an event. `None` only if a fault was noted or an id names nothing.
pub(super) fn read(
    new: pb::NewEvent,
    at: At<'_>,
    faults: &mut Faults,
    known: &mut Known,
) -> Option<Asked> {
    let pb::NewEvent { item_id, item_kind, claim, seen_at_id, trip_id, text, body } = new;
    let mut reader = Reader::new(at, faults);
    let claim = reader.required("claim", claim, "who says it, when, and how well he knows");
    let claim = claim.and_then(|claim| {
        reader.within("claim", |at, faults| read_claim(&mut Reader::new(at, faults), claim))
    });
    let remark = Remark {
        seen_at: id(&mut reader, "seen_at_id", seen_at_id),
        trip: id(&mut reader, "trip_id", trip_id),
        text: reader.text("text", text, limits::EVENT_TEXT_LENGTH),
        claim: claim?,
    };
    let given = id(&mut reader, "item_id", item_id);
    let kind: Option<pb::ItemKind> = reader.choice("item_kind", item_kind, "ItemKind");
    let kind = kind.and_then(ItemKind::from_wire);
    let what = body.and_then(|body| body.what);
    let what = reader.required("body", what, "what happened")?;
    let mut item = Wanted { at, id: given, kind, key: None };
    let body = item.body(&mut reader, "body", what, known)?;
    named::check(&at, &remark, &body, known);
    known.look_at(&body.about());
    amounts::check(&at.field("body"), &body, known, faults);
    sense::check(&at.field("body"), &body, known, faults);
    Some(Asked { remark, body, item: item.key })
}

/// The item that an event is told of.
struct Wanted<'a> {
    at: At<'a>,
    id: Option<Id>,
    kind: Option<ItemKind>,
    key: Option<ItemKey>,
}

impl Wanted<'_> {
    fn id(&self, reader: &mut Reader<'_>) -> Option<Id> {
        reader.required("item_id", self.id.clone(), "the id of an item")
    }

    /// `usual` is the kind that such an event is about, if it is about one only.
    fn key(
        &mut self,
        reader: &mut Reader<'_>,
        known: &mut Known,
        usual: Option<ItemKind>,
    ) -> Option<ItemKey> {
        let id = self.id(reader)?;
        let found = match self.kind {
            Some(kind) => Some(kind).filter(|kind| known.has(*kind, &id)),
            None => known.kind(&id),
        };
        let kind = match found {
            Some(kind) => kind,
            None if known.accept_unknown => {
                let right = format!("the kind of {id}, which is not known here");
                reader.required("item_kind", self.kind.or(usual), &right)?
            }
            None => {
                let field = self.at.field("item_id").to_string();
                known.missing.push(Missing::new(field, self.kind, id.as_str(), &known.view));
                return None;
            }
        };
        let key = ItemKey { kind, id };
        self.key = Some(key.clone());
        Some(key)
    }

    fn of_kind(
        &mut self,
        reader: &mut Reader<'_>,
        known: &mut Known,
        kind: ItemKind,
    ) -> Option<Id> {
        let key = self.key(reader, known, Some(kind))?;
        if key.kind != kind {
            let wrong = format!("is a {}", key.kind);
            reader.fault("item_id", FaultCode::Conflict, wrong, format!("the id of a {kind}"));
        }
        Some(key.id)
    }

    /// What happened, at the field `name` of the reader's message.
    fn body(
        &mut self,
        outer: &mut Reader<'_>,
        name: &str,
        what: What,
        known: &mut Known,
    ) -> Option<Body> {
        // The item stands beside the body, so it is read from there.
        let whole = |wanted: &mut Self, outer: &mut Reader<'_>, known: &mut Known| {
            wanted.key(outer, known, None)
        };
        match what {
            What::Acquired(pb::Acquired { kind, columns }) => {
                let id = self.id(outer);
                let item = within(outer, name, "acquired", |reader| {
                    let kind = reader.required_choice("kind", kind, "ItemKind");
                    let kind = kind.and_then(ItemKind::from_wire)?;
                    columns::item(reader, kind, id?, columns, known)
                })?;
                self.key = Some(item.key());
                Some(Body::Acquired { item })
            }
            What::Moved(pb::Moved { to_id, from_id, piece_count }) => {
                let item = whole(self, outer, known);
                let (from, to, pieces) = within(outer, name, "moved", |reader| {
                    let bounds = limits::Bounds { low: 1.0, ..limits::EVENT_AMOUNT };
                    (
                        id(reader, "from_id", from_id),
                        required_id(reader, "to_id", to_id),
                        reader.count("piece_count", piece_count, bounds),
                    )
                });
                Some(Body::Moved { item: item?, from, to: to?, pieces })
            }
            What::Lent(pb::Lent { to_id, until_date }) => {
                let item = whole(self, outer, known);
                let (to, until) = within(outer, name, "lent", |reader| {
                    (required_id(reader, "to_id", to_id), date(reader, "until_date", &until_date))
                });
                Some(Body::Lent { item: item?, to: to?, until })
            }
            What::Returned(pb::Returned { to_id }) => {
                let item = whole(self, outer, known);
                let to = within(outer, name, "returned", |reader| id(reader, "to_id", to_id));
                Some(Body::Returned { item: item?, to })
            }
            What::Counted(pb::Counted { measure, place_id, amount }) => {
                let item = whole(self, outer, known);
                let (measure, place, amount) = within(outer, name, "counted", |reader| {
                    let amount = reader.required("amount", amount, "a whole number, 0 or more");
                    (
                        reader
                            .required_choice("measure", measure, "Measure")
                            .and_then(LedgerWord::from_wire),
                        id(reader, "place_id", place_id),
                        reader.count("amount", amount, limits::EVENT_AMOUNT),
                    )
                });
                Some(Body::Counted { item: item?, measure: measure?, place, amount: amount? })
            }
            What::Adjusted(pb::Adjusted { measure, place_id, change, reason }) => {
                let item = whole(self, outer, known);
                let (measure, place, by, why) = within(outer, name, "adjusted", |reader| {
                    let change = reader.required("change", change, "a whole number");
                    let bounds = limits::EVENT_CHANGE;
                    (
                        reader
                            .required_choice("measure", measure, "Measure")
                            .and_then(LedgerWord::from_wire),
                        id(reader, "place_id", place_id),
                        change.filter(|&c| reader.whole("change", i64::from(c), bounds).is_some()),
                        reader
                            .required_choice("reason", reason, "AdjustmentReason")
                            .and_then(LedgerWord::from_wire),
                    )
                });
                Some(Body::Adjusted { item: item?, measure: measure?, place, by: by?, why: why? })
            }
            What::Rigged(pb::Rigged { reel_id, leader_id }) => {
                let rod = self.of_kind(outer, known, ItemKind::Rod);
                let (reel, leader) = within(outer, name, "rigged", |reader| {
                    (required_id(reader, "reel_id", reel_id), id(reader, "leader_id", leader_id))
                });
                Some(Body::Rigged { rod: rod?, reel: reel?, leader })
            }
            What::Unrigged(pb::Unrigged { reel_id }) => {
                let rod = self.of_kind(outer, known, ItemKind::Rod);
                let reel = within(outer, name, "unrigged", |reader| {
                    required_id(reader, "reel_id", reel_id)
                });
                Some(Body::Unrigged { rod: rod?, reel: reel? })
            }
            What::Respooled(pb::Respooled { fitted: line, from_id, taken_cm }) => {
                let reel = self.of_kind(outer, known, ItemKind::Reel);
                let (fitted, from, taken_cm) = within(outer, name, "respooled", |reader| {
                    let fitted = line
                        .map(|line| reader.within("fitted", |at, faults| fitted(line, at, faults)));
                    (
                        fitted,
                        id(reader, "from_id", from_id),
                        reader.count("taken_cm", taken_cm, limits::EVENT_AMOUNT),
                    )
                });
                let fitted = within(outer, name, "respooled", |reader| {
                    line_of_stock(reader, fitted, from.as_ref(), known)
                });
                let fitted = fitted.map(Box::new);
                Some(Body::Respooled { reel: reel?, fitted, from, taken_cm })
            }
            What::Reversed(pb::Reversed {}) => {
                Some(Body::Reversed { reel: self.of_kind(outer, known, ItemKind::Reel)? })
            }
            What::CutBack(pb::CutBack { cut_cm }) => {
                let reel = self.of_kind(outer, known, ItemKind::Reel);
                let cut_cm = within(outer, name, "cut_back", |reader| {
                    required_count(reader, "cut_cm", cut_cm)
                });
                Some(Body::CutBack { reel: reel?, cut_cm: cut_cm? })
            }
            What::Used(pb::Used { minutes }) => {
                let item = whole(self, outer, known);
                let minutes = within(outer, name, "used", |reader| {
                    required_count(reader, "minutes", minutes)
                });
                Some(Body::Used { item: item?, minutes: minutes? })
            }
            What::Broke(pb::Broke { what }) => {
                let item = whole(self, outer, known);
                let what = within(outer, name, "broke", |r| words(r, "what", what));
                Some(Body::Broke { item: item?, what: what? })
            }
            What::FoundDefect(pb::FoundDefect { what, usable, condition: state }) => {
                let item = whole(self, outer, known);
                let (what, condition) = within(outer, name, "found_defect", |reader| {
                    (words(reader, "what", what), condition(reader, state))
                });
                Some(Body::FoundDefect { item: item?, what: what?, usable, condition })
            }
            What::Inspected(pb::Inspected { status: found, condition: state, reason }) => {
                let item = whole(self, outer, known);
                let (status, condition, reason) = within(outer, name, "inspected", |reader| {
                    (
                        status(reader, found),
                        condition(reader, state),
                        words(reader, "reason", reason),
                    )
                });
                Some(Body::Inspected { item: item?, status: status?, condition, reason: reason? })
            }
            What::SentToService(pb::SentToService { to, back_by_date }) => {
                let item = whole(self, outer, known);
                let (to, back_by) = within(outer, name, "sent_to_service", |reader| {
                    (
                        reader.text("to", to, limits::EVENT_TEXT_LENGTH),
                        date(reader, "back_by_date", &back_by_date),
                    )
                });
                Some(Body::SentToService { item: item?, to, back_by })
            }
            What::Serviced(pb::Serviced { what, finished, condition: state }) => {
                let item = whole(self, outer, known);
                let (what, condition) = within(outer, name, "serviced", |reader| {
                    (words(reader, "what", what), condition(reader, state))
                });
                Some(Body::Serviced { item: item?, what: what?, finished, condition })
            }
            What::Lost(pb::Lost {}) => Some(Body::Lost { item: whole(self, outer, known)? }),
            What::Found(pb::Found { at_id }) => {
                let item = whole(self, outer, known);
                let at = within(outer, name, "found", |reader| id(reader, "at_id", at_id));
                Some(Body::Found { item: item?, at })
            }
            What::Retired(pb::Retired { reason }) => {
                let item = whole(self, outer, known);
                let reason = within(outer, name, "retired", |r| words(r, "reason", reason));
                Some(Body::Retired { item: item?, reason: reason? })
            }
            What::StatusSet(pb::StatusSet { status: set }) => {
                let item = whole(self, outer, known);
                let status = within(outer, name, "status_set", |reader| status(reader, set));
                Some(Body::StatusSet { item: item?, status: status? })
            }
            What::Spent(pb::Spent { cost: paid, what }) => {
                let item = whole(self, outer, known);
                let (cost, what) = within(outer, name, "spent", |reader| {
                    (cost(reader, paid), words(reader, "what", what))
                });
                Some(Body::Cost { item: item?, cost: cost?, what: what? })
            }
            What::Note(pb::Note { text }) => {
                let item = whole(self, outer, known);
                let text = within(outer, name, "note", |reader| words(reader, "text", text));
                Some(Body::Note { item: item?, text: text? })
            }
            What::Edited(pb::Edited { columns }) => {
                let item = whole(self, outer, known);
                let columns = within(outer, name, "edited", |reader| {
                    if let Some(key) = &item {
                        columns::exist(reader, "columns", key.kind, &columns, known);
                    }
                    columns::named(reader, "columns", columns)
                });
                let cell =
                    |(name, text): (String, String)| (name, (!text.is_empty()).then_some(text));
                Some(Body::Edited { item: item?, columns: columns.into_iter().map(cell).collect() })
            }
            What::Correction(correction) => self.correction(outer, name, *correction, known),
            What::Enrolled(pb::Enrolled { device_id, key, keeper }) => {
                within(outer, name, "enrolled", |reader| {
                    let device = required_id(reader, "device_id", device_id);
                    if let Some(device) = &device {
                        not_revoked(reader, device, &known.view);
                    }
                    let read = PublicKey::try_from(key);
                    let right = "64 hexadecimal digits, as `deepbend sync` prints them";
                    match &read {
                        Err(wrong) => {
                            reader.fault("key", FaultCode::Malformed, wrong.clone(), right);
                        }
                        // A folder that changed its name has one key for two of them.
                        Ok(_) if known.accept_unknown => {}
                        Ok(key) => not_anothers(reader, device.as_ref(), key, &known.view),
                    }
                    Some(Body::Enrolled { device: device?, key: read.ok()?, keeper })
                })
            }
            What::Revoked(revoked) => {
                let pb::Revoked { device_id, last_sequences, reason, from_the_start } = revoked;
                within(outer, name, "revoked", |reader| {
                    let device = required_id(reader, "device_id", device_id);
                    let founder = known.view.roll().founder().map(|founder| &founder.device);
                    if device.is_some() && device.as_ref() == founder {
                        let wrong = "is the founder: without it no device of the fleet counts";
                        let right = "another device; for a new founder set it on every boat";
                        reader.fault("device_id", FaultCode::Conflict, wrong, right);
                    }
                    let member = |device| known.view.roll().member(device).is_some();
                    if founder.is_some()
                        && !from_the_start
                        && device.as_ref().is_some_and(|device| !member(device))
                    {
                        let wrong = "is no device that is enrolled as far as this service knows";
                        let right = "a device of `deepbend sync`, or from_the_start";
                        reader.fault("device_id", FaultCode::NotFound, wrong, right);
                    }
                    let reason = words(reader, "reason", reason);
                    let mut last = BTreeMap::new();
                    if from_the_start && !last_sequences.is_empty() {
                        let wrong = "is set beside last_sequences";
                        let right = "one of the two";
                        reader.fault("from_the_start", FaultCode::Conflict, wrong, right);
                    } else if !from_the_start && last_sequences.is_empty() {
                        let held = known.view.vector();
                        let held =
                            held.iter().filter(|(chain, _)| Some(&chain.device) == device.as_ref());
                        last = held.map(|(chain, last)| (chain.incarnation, last)).collect();
                    }
                    for (incarnation, sequence) in last_sequences {
                        match (u32::try_from(incarnation), u64::try_from(sequence)) {
                            (Ok(incarnation), Ok(sequence)) => {
                                last.insert(incarnation, sequence);
                            }
                            (Ok(_) | Err(_), Ok(_) | Err(_)) => {
                                let wrong = format!("has {incarnation}: {sequence}");
                                let right = "numbers that are 0 or more";
                                reader.fault("last_sequences", FaultCode::TooSmall, wrong, right);
                            }
                        }
                    }
                    Some(Body::Revoked { device: device?, last, reason: reason? })
                })
            }
        }
    }

    fn correction(
        &mut self,
        outer: &mut Reader<'_>,
        name: &str,
        correction: pb::Correction,
        known: &mut Known,
    ) -> Option<Body> {
        let pb::Correction { event_id: target, instead, reason } = correction;
        within(outer, name, "correction", |reader| {
            let right = "an event as device.incarnation.sequence, for example B1-tablet.1.102";
            let id = event_id(&target);
            if id.is_none() {
                reader.fault("event_id", FaultCode::Malformed, format!("is {target:?}"), right);
            }
            let reason = words(reader, "reason", reason);
            // It is told of the corrected event's item, if no other is named.
            let event = id.as_ref().and_then(|id| known.view.find_event(id));
            let about = event.and_then(|event| event.body.says()?.about().first().cloned());
            match (&self.id, about) {
                (Some(_), _) => drop(self.key(reader, known, None)),
                (None, Some(key)) => {
                    (self.id, self.kind) = (Some(key.id.clone()), Some(key.kind));
                    self.key = Some(key);
                }
                (None, None) => {}
            }
            let instead = match instead {
                None => None,
                Some(instead) => {
                    let what = instead.what;
                    let what = reader.required("instead", what, "what happened, or nothing");
                    let plain = what.filter(|what| {
                        let nested = matches!(
                            what,
                            What::Correction(_) | What::Enrolled(_) | What::Revoked(_)
                        );
                        if nested {
                            let wrong = "is a correction or about devices";
                            let right = "an event about an item";
                            reader.fault("instead", FaultCode::Conflict, wrong, right);
                        }
                        !nested
                    })?;
                    Some(Box::new(self.body(reader, "instead", plain, known)?))
                }
            };
            Some(Body::Correction { target: id?, instead, reason: reason? })
        })
    }
}

/// The line that goes on a reel: what is told of it, or else what its stock is known to be.
fn line_of_stock(
    reader: &mut Reader<'_>,
    told: Option<FittedLine>,
    from: Option<&Id>,
    known: &Known,
) -> Option<FittedLine> {
    let Some(from) = from else { return told };
    let stock = ItemKey { kind: ItemKind::LineStock, id: from.clone() };
    let stock = known.view.get(&stock).map(Entry::item);
    let stock = stock
        .and_then(|item| if let Spec::LineStock(stock) = &item.spec { Some(stock) } else { None });
    match (stock.map(|stock| (&stock.use_as, stock.strands)), told) {
        (Some((StockUse::Leader(_), _)), told) => {
            let wrong = format!("is {from}, which is no line but leaders");
            reader.fault("from_id", FaultCode::Conflict, wrong, "stock of line");
            told
        }
        (Some((StockUse::Line(line), _)), Some(told)) => {
            if let (Some(on), Some(of)) = (told.line.material, line.material)
                && on != of
            {
                let wrong = format!("is {from}, which is {}", of.as_word());
                let right = format!("stock of {}, as the line is told to be", on.as_word());
                reader.fault("from_id", FaultCode::Conflict, wrong, right);
            }
            Some(told)
        }
        (Some((StockUse::Line(line), strands)), None) => {
            let line = Line { length: None, ..line.clone() };
            Some(FittedLine { line, strands, ..FittedLine::default() })
        }
        (None, told) => told,
    }
}

/// What a device writes stays out, however often it is enrolled, while a revocation of it acts.
fn not_revoked(reader: &mut Reader<'_>, device: &Id, view: &View) {
    let member = view.roll().member(device);
    if member.is_none_or(|member| member.revoked.is_none()) {
        return;
    }
    let events: Vec<_> = view.revocations(device).map(ToString::to_string).collect();
    let events = events.join(" and ");
    let right = format!("another name for the device, or first a correction of {events}");
    reader.fault("device_id", FaultCode::Conflict, "is revoked", right);
}

/// Who signs with the key of another device writes as that one.
fn not_anothers(reader: &mut Reader<'_>, device: Option<&Id>, key: &PublicKey, view: &View) {
    let mut members = view.roll().members();
    let other = members.find(|(other, member)| {
        Some(*other) != device && member.revoked.is_none() && member.keys.contains(key)
    });
    if let Some((other, _)) = other {
        let wrong = format!("is that of {other}, which could write as this device then");
        let right = format!(
            "a key of its own, or first a revocation of {other}; or accept_unknown_ids, if this \
             is a name under which {other} itself recorded before"
        );
        reader.fault("key", FaultCode::Conflict, wrong, right);
    }
}

/// Reads the message of a body, at its own place.
fn within<T>(
    outer: &mut Reader<'_>,
    name: &str,
    part: &str,
    read: impl FnOnce(&mut Reader<'_>) -> T,
) -> T {
    outer.within(name, |at, faults| read(&mut Reader::new(at.field(part), faults)))
}
