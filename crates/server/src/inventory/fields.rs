//! Fields of events, each read with what would be right.

use deepbend_contract::pb::FaultCode;
use deepbend_contract::{At, Faults, FromWire as _, Reader, limits, pb};
use deepbend_core::gear::Line;
use deepbend_ledger::event::{Chain, EventId};
use deepbend_ledger::id::Id;
use deepbend_ledger::item::{Condition, Cost, FittedLine, Status};
use deepbend_ledger::time::Date;

use super::words::LedgerWord;

const DATE: &str = "a date as YYYY-MM-DD";

/// An event's place, as it is written.
pub(super) fn event_id(text: &str) -> Option<EventId> {
    let (chain, sequence) = text.rsplit_once('.')?;
    let number = sequence.parse::<u64>().ok().filter(|n| n.to_string() == sequence)?;
    Some(EventId { chain: Chain::try_from(chain.to_owned()).ok()?, sequence: number })
}

pub(super) fn id(reader: &mut Reader<'_>, name: &str, value: String) -> Option<Id> {
    reader.id(name, value).and_then(|id| Id::new(id).ok())
}

pub(super) fn required_id(reader: &mut Reader<'_>, name: &str, value: String) -> Option<Id> {
    if value.is_empty() {
        return reader.required(name, None, "1 to 64 letters A-Z a-z, digits, \"_\" or \"-\"");
    }
    id(reader, name, value)
}

pub(super) fn required_count(
    reader: &mut Reader<'_>,
    name: &str,
    value: Option<i32>,
) -> Option<u32> {
    let value = reader.required(name, value, "a whole number, 0 or more");
    reader.count(name, value, limits::EVENT_AMOUNT)
}

pub(super) fn words(reader: &mut Reader<'_>, name: &str, value: String) -> Option<String> {
    if value.trim().is_empty() {
        return reader.required(name, None, "some words");
    }
    reader.text(name, value, limits::EVENT_TEXT_LENGTH)
}

/// A date that may be left out.
pub(super) fn date(reader: &mut Reader<'_>, name: &str, text: &str) -> Option<Date> {
    if text.is_empty() {
        return None;
    }
    let read = Date::read(text).ok();
    if read.is_none() {
        reader.fault(name, FaultCode::Malformed, format!("is {text:?}"), DATE);
    }
    read
}

pub(super) fn status(reader: &mut Reader<'_>, value: i32) -> Option<Status> {
    reader.required_choice("status", value, "ItemStatus").and_then(Status::from_wire)
}

pub(super) fn condition(reader: &mut Reader<'_>, value: i32) -> Option<Condition> {
    reader.choice("condition", value, "ItemCondition").and_then(Condition::from_wire)
}

pub(super) fn cost(reader: &mut Reader<'_>, paid: Option<pb::Cost>) -> Option<Cost> {
    let paid = reader.required("cost", paid, "an amount and a currency")?;
    let pb::Cost { amount_cents, currency_code } = paid;
    reader.within("cost", |at, faults| {
        let mut reader = Reader::new(at, faults);
        let cents = reader.whole("amount_cents", amount_cents, limits::COST_CENTS);
        let plain =
            currency_code.len() == 3 && currency_code.bytes().all(|byte| byte.is_ascii_uppercase());
        if !plain {
            let wrong = format!("is {currency_code:?}");
            let right = "three capitals of ISO 4217, for example EUR";
            reader.fault("currency_code", FaultCode::Malformed, wrong, right);
        }
        let cents = u64::try_from(cents?).ok()?;
        plain.then_some(Cost { cents, currency: currency_code })
    })
}

pub(super) fn fitted(line: pb::FittedLine, at: At<'_>, faults: &mut Faults) -> FittedLine {
    let pb::FittedLine { line, strand_count, spooled_date, fished_hours, due: _ } = line;
    let mut reader = Reader::new(at, faults);
    let line = reader.required("line", line, "what is on the spool");
    let line =
        line.map(|line| reader.within("line", |at, faults| Line::from_wire(line, at, faults)));
    if let Some(line) = &line {
        reader.says_something("line", line, "a material, a test or a diameter");
    }
    FittedLine {
        line: line.unwrap_or_default(),
        strands: reader.count("strand_count", strand_count, limits::STRANDS),
        spooled_on: date(&mut reader, "spooled_date", &spooled_date),
        hours: reader.number("fished_hours", fished_hours, limits::FISHED_HOURS),
        turned: None,
    }
}
