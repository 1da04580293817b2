//! An item, written.

use deepbend_contract::{ReadMask, ToWire as _, pb};
use deepbend_core::gear;
use deepbend_core::model::Model;
use deepbend_core::quantity::Length;
use deepbend_ledger::event::Claim;
use deepbend_ledger::item::{
    Boat, Cost, Device, FittedLine, Item, LineStock, RiggedReel, Spec, StockUse,
};
use deepbend_ledger::line_age::line_due;
use deepbend_ledger::time::Date;
use deepbend_ledger::view::{Entry, EventRef};

use super::told;
use super::words::LedgerWord as _;
use crate::error::ServiceError;

/// An entry of the view. Whether its line is due is told for `today`.
pub(super) fn item(entry: &Entry, today: Option<Date>) -> pb::Item {
    let Item {
        id,
        raw,
        spec,
        name,
        quantity,
        place,
        status,
        condition,
        note,
        serial,
        cost,
        findings,
    } = entry.item().clone();
    // What a label says against the ratings depends on the model: it is found when it is read.
    let (power, of_label) = match &spec {
        Spec::Rod(rod) => {
            let model = Model::builtin();
            (Some(gear::infer_power(model, rod).to_wire()), gear::findings(model, rod))
        }
        Spec::Reel(_) | Spec::Lure(_) | Spec::LineStock(_) | Spec::Boat(_) | Spec::Device(_) => {
            (None, Vec::new())
        }
    };
    pb::Item {
        id: id.to_string(),
        kind: spec.kind().wire().into(),
        display_name: name.unwrap_or_default(),
        status: status.wire().into(),
        place_id: place.map(String::from).unwrap_or_default(),
        quantity: quantity.map(count),
        condition: condition.map_or(0, |condition| condition.wire().into()),
        note: note.unwrap_or_default(),
        serial: serial.unwrap_or_default(),
        cost: cost.map(|Cost { cents, currency }| pb::Cost {
            amount_cents: i64::try_from(cents).unwrap_or(i64::MAX),
            currency_code: currency,
        }),
        raw_columns: raw.to_map(),
        spec: Some(write(spec, quantity, today)),
        findings: findings.iter().chain(&of_label).map(|finding| finding.to_wire()).collect(),
        power,
        origins: entry.claims().map(|(event, said)| origin(event, &said.claim())).collect(),
        contested: entry.is_contested(),
        etag: format!("\"{}\"", entry.etag()),
        place_counts: place_counts(entry),
    }
}

/// Pieces by place.
pub(super) fn place_counts(entry: &Entry) -> Vec<pb::PlaceCount> {
    let at = entry.pieces().iter().map(|there| pb::PlaceCount {
        place_id: there.place.clone().map(String::from).unwrap_or_default(),
        low: count(there.low),
        high: count(there.high),
    });
    at.collect()
}

/// The wanted fields of an item.
pub(super) fn masked(mask: &ReadMask, item: pb::Item) -> Result<pb::Item, ServiceError> {
    mask.apply(item).map_err(|error| {
        tracing::error!(%error, "an item that the contract does not know");
        ServiceError::Internal
    })
}

fn origin(event: &EventRef, claim: &Claim) -> pb::EventOrigin {
    let EventRef { id, hash } = event;
    pb::EventOrigin {
        device_id: id.chain.device.to_string(),
        incarnation: count(id.chain.incarnation),
        sequence: i64::try_from(id.sequence).unwrap_or(i64::MAX),
        hash: hash.to_string(),
        claim: Some(told::claim(claim)),
    }
}

/// Counts of the ledger are small.
pub(super) fn count(value: u32) -> i32 {
    i32::try_from(value).unwrap_or(i32::MAX)
}

fn write(spec: Spec, quantity: Option<u32>, today: Option<Date>) -> pb::item::Spec {
    match spec {
        Spec::Rod(rod) => pb::item::Spec::Rod(rod.to_wire()),
        Spec::Reel(RiggedReel { reel, fitted }) => pb::item::Spec::Reel(pb::RiggedReel {
            reel: Some(reel.to_wire()),
            fitted: fitted.map(|fitted| fitted_line(&fitted, today)),
        }),
        Spec::Lure(lure) => pb::item::Spec::Lure(lure.to_wire()),
        Spec::LineStock(stock) => pb::item::Spec::LineStock(line_stock(stock, quantity)),
        Spec::Boat(boat) => {
            let Boat { home_berth, rod_holders, max_rods_aboard, locker_length, deck_note } = boat;
            pb::item::Spec::Boat(pb::Boat {
                home_berth: home_berth.unwrap_or_default(),
                rod_holder_count: rod_holders.map(count),
                max_rod_count: max_rods_aboard.map(count),
                locker_length_m: locker_length.map(Length::m),
                deck_note: deck_note.unwrap_or_default(),
            })
        }
        Spec::Device(Device { role }) => {
            pb::item::Spec::Device(pb::Device { role: role.unwrap_or_default() })
        }
    }
}

pub(super) fn fitted_line(fitted: &FittedLine, today: Option<Date>) -> pb::FittedLine {
    let due = today.and_then(|today| line_due(fitted, Some(today)));
    let FittedLine { line, strands, spooled_on, hours, turned: _ } = fitted;
    pb::FittedLine {
        line: Some(line.to_wire()),
        strand_count: strands.map(count),
        spooled_date: spooled_on.map(|day| day.to_string()).unwrap_or_default(),
        fished_hours: *hours,
        due: due.map(|due| due.to_string()).unwrap_or_default(),
    }
}

fn line_stock(stock: LineStock, quantity: Option<u32>) -> pb::LineStock {
    let LineStock { use_as, strands, length } = stock;
    let all = length.map(Length::m);
    // The ledger keeps the length of one piece there; the contract what is left of all.
    let cut = quantity.is_some();
    let (stock, piece_length_m) = match use_as {
        StockUse::Line(line) => {
            let wire = line.to_wire();
            let piece = wire.length_m.filter(|_| cut);
            let wire = pb::Line { length_m: all.or(wire.length_m), ..wire };
            (pb::line_stock::Stock::Line(wire), piece)
        }
        StockUse::Leader(leader) => {
            let wire = leader.to_wire();
            let piece = wire.length_m.filter(|_| cut);
            let wire = pb::Leader { length_m: all.or(wire.length_m), ..wire };
            (pb::line_stock::Stock::Leader(wire), piece)
        }
    };
    pb::LineStock { stock: Some(stock), strand_count: strands.map(count), piece_length_m }
}
