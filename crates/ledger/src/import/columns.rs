//! Columns of a fleet's files, by kind of file. What describes gear is read by the core; what
//! makes it an item (id, place, state, number) is read here. Other columns are kept as written.

use deepbend_core::gear::read::columns::{
    self as core, LureColumns, ReelColumns, RodColumns, StockColumns, StockItem,
};
use deepbend_core::gear::{Line, Lure, Rod, Word};
use deepbend_core::quantity::Length;

use super::table::{Row, read_rows};
use super::{FileKind, RowFault};
use crate::item::{
    Boat, Condition, Cost, Device, FittedLine, Item, LineStock, RiggedReel, Spec, Status, StockUse,
};
use crate::time::Date;

/// Column of the item's id.
pub(super) fn id_column(file: FileKind) -> &'static str {
    match file {
        FileKind::Boats => "boat_id",
        FileKind::Devices => "device",
        FileKind::LineStock => "stock_id",
        FileKind::Rods => "rod_id",
        FileKind::Reels => "reel_id",
        FileKind::Lures => "lure_id",
    }
}

/// Columns that are read of a kind of file; what else stands there is kept as written.
#[must_use]
pub fn columns(file: FileKind) -> Vec<&'static str> {
    let own: &[_] = match file {
        FileKind::Boats => {
            &["home_berth", "rod_holders", "max_rods_aboard", "locker_length_m", "deck_note"]
        }
        FileKind::Devices => &["role"],
        FileKind::LineStock => &["type", "spec_raw", "dia_mm", "length_m"],
        FileKind::Rods => &[
            "handle",
            "length_raw",
            "power_label",
            "action",
            "material",
            "lure_raw",
            "line_raw",
            "line_basis",
            "pieces",
            "guides",
            "mass_g",
            "third_drop_g",
            "third_drop_angle_deg",
        ],
        FileKind::Reels => &[
            "type",
            "size",
            "gear_ratio",
            "retrieve_raw",
            "drag_max_raw",
            "capacity_raw",
            "mass_g",
            "retrieve_side",
            "line_type",
            "line_test_raw",
            "line_dia_mm",
            "line_length_m",
            "strands",
            "spooled_on",
            "hours_on_line",
        ],
        FileKind::Lures => &[
            "class",
            "qty",
            "mass_raw",
            "trailer_g",
            "rigged_g",
            "length_mm",
            "hook_style",
            "hook_count",
            "hook_size",
            "wire_class",
            "wire_mm",
            "barbed",
            "punch_N",
            "pull_N",
            "air_class",
        ],
    };
    let all = ["name", "place", "status", "condition", "cost_eur", "note", "serial"];
    [&[id_column(file)], own, &all].concat()
}

/// Columns that a file must have; their cells may be empty where nothing else is said.
fn required_columns(file: FileKind) -> &'static [&'static str] {
    match file {
        FileKind::Boats => &["boat_id", "name"],
        FileKind::Devices => &["device", "place"],
        FileKind::LineStock => &["stock_id", "type", "spec_raw", "place"],
        FileKind::Rods => &["rod_id", "handle", "length_raw", "lure_raw", "line_raw", "place"],
        FileKind::Reels => &["reel_id", "type", "place"],
        FileKind::Lures => &["lure_id", "class", "qty", "place"],
    }
}

/// Reads a file into items, each with the line of its row.
pub(super) fn read_items(
    file: FileKind,
    text: &str,
    faults: &mut Vec<RowFault>,
) -> Vec<(u64, Item)> {
    read_rows(file, text, required_columns(file), faults, |row| {
        let id = row.id(id_column(file));
        let mut quantity = None;
        let spec = match file {
            FileKind::Boats => Some(Spec::Boat(boat(row))),
            FileKind::Devices => Some(Spec::Device(Device { role: row.text("role") })),
            FileKind::LineStock => line_stock(row).map(|(stock, pieces)| {
                quantity = pieces;
                Spec::LineStock(stock)
            }),
            FileKind::Rods => rod(row).map(Spec::Rod),
            FileKind::Reels => rigged_reel(row).map(Spec::Reel),
            FileKind::Lures => {
                let lure = lure(row);
                row.required("qty", "how many there are");
                quantity = row.whole("qty", 0, 1_000_000);
                lure.map(Spec::Lure)
            }
        };
        if file != FileKind::Boats {
            row.required("place", "the id of a boat or a place ashore");
        }
        let place = row.other_id("place");
        let status = row.word("status", Status::from_word);
        let condition = row.word("condition", read_condition);
        let cost = row.number("cost_eur", "EUR", 0.0, 1e6);
        Some(Item {
            id: id?,
            raw: row.raw().into(),
            spec: spec?,
            name: row.text("name"),
            quantity,
            place,
            status: status.unwrap_or(Status::Ready),
            condition,
            note: row.text("note"),
            serial: row.text("serial"),
            cost: cost.map(|eur| Cost {
                // At most 1e8 by the bound above.
                cents: (eur * 100.0).round() as u64,
                currency: "EUR".to_owned(),
            }),
            findings: std::mem::take(&mut row.findings),
        })
    })
}

fn read_condition(text: &str) -> Option<Condition> {
    Condition::ALL.iter().copied().find(|c| c.as_word().eq_ignore_ascii_case(text))
}

impl Row<'_> {
    /// A cell, empty if it is not given.
    fn cell(&self, column: &str) -> String {
        self.text(column).unwrap_or_default()
    }

    /// What the core read of this row, its findings and faults taken over.
    fn take<T>(&mut self, read: core::Row<T>) -> Option<T> {
        match read {
            Ok((value, findings)) => {
                self.findings.extend(findings);
                Some(value)
            }
            Err(faults) => {
                for fault in faults {
                    self.fault(fault.column, fault.error.to_string(), "");
                }
                None
            }
        }
    }
}

fn boat(row: &mut Row<'_>) -> Boat {
    Boat {
        home_berth: row.text("home_berth"),
        rod_holders: row.whole("rod_holders", 0, 1000),
        max_rods_aboard: row.whole("max_rods_aboard", 0, 10_000),
        locker_length: row.number("locker_length_m", "m", 0.1, 20.0).map(Length::from_m),
        deck_note: row.text("deck_note"),
    }
}

fn rod(row: &mut Row<'_>) -> Option<Rod> {
    let read = RodColumns {
        handle: &row.cell("handle"),
        length: &row.cell("length_raw"),
        power_label: &row.cell("power_label"),
        action: &row.cell("action"),
        material: &row.cell("material"),
        lure: &row.cell("lure_raw"),
        line: &row.cell("line_raw"),
        line_basis: &row.cell("line_basis"),
        pieces: &row.cell("pieces"),
        guides: &row.cell("guides"),
        mass_g: &row.cell("mass_g"),
        third_drop_g: &row.cell("third_drop_g"),
        third_drop_angle_deg: &row.cell("third_drop_angle_deg"),
    }
    .read();
    row.take(read)
}

fn rigged_reel(row: &mut Row<'_>) -> Option<RiggedReel> {
    let read = ReelColumns {
        kind: &row.cell("type"),
        size: &row.cell("size"),
        gear_ratio: &row.cell("gear_ratio"),
        retrieve: &row.cell("retrieve_raw"),
        drag_max: &row.cell("drag_max_raw"),
        capacity: &row.cell("capacity_raw"),
        mass_g: &row.cell("mass_g"),
        retrieve_side: &row.cell("retrieve_side"),
        note: &row.cell("note"),
        line_type: &row.cell("line_type"),
        line_test: &row.cell("line_test_raw"),
        line_dia_mm: &row.cell("line_dia_mm"),
        line_length_m: &row.cell("line_length_m"),
    }
    .read();
    let mut fitted = FittedLine {
        line: Line::default(),
        strands: row.whole("strands", 1, 100),
        spooled_on: row.read("spooled_on", |text| {
            Date::read(text).map_err(|bad| (bad.to_string(), String::new()))
        }),
        hours: row.number("hours_on_line", "h", 0.0, 100_000.0),
        turned: None,
    };
    let (reel, line) = row.take(read)?;
    fitted.line = line;
    let fitted = (fitted != FittedLine::default()).then_some(fitted);
    Some(RiggedReel { reel, fitted })
}

fn lure(row: &mut Row<'_>) -> Option<Lure> {
    row.required("class", "a class of lure");
    let read = LureColumns {
        class: &row.cell("class"),
        mass: &row.cell("mass_raw"),
        trailer_g: &row.cell("trailer_g"),
        rigged_g: &row.cell("rigged_g"),
        length_mm: &row.cell("length_mm"),
        hook_style: &row.cell("hook_style"),
        hook_count: &row.cell("hook_count"),
        hook_size: &row.cell("hook_size"),
        wire_class: &row.cell("wire_class"),
        wire_mm: &row.cell("wire_mm"),
        barbed: &row.cell("barbed"),
        punch_n: &row.cell("punch_N"),
        pull_n: &row.cell("pull_N"),
        air_class: &row.cell("air_class"),
    }
    .read();
    row.take(read)
}

/// Line in store and the number of its pieces.
fn line_stock(row: &mut Row<'_>) -> Option<(LineStock, Option<u32>)> {
    let kind = row.required("type", "what the line is made of")?;
    let spec = row.required("spec_raw", "the strength of the line")?;
    let read = StockColumns {
        kind: &kind,
        spec: &spec,
        dia_mm: &row.cell("dia_mm"),
        length_m: &row.cell("length_m"),
    }
    .read();
    let stock = row.take(read)?;
    let use_as = match stock.item {
        StockItem::Line(line) => StockUse::Line(line),
        StockItem::Leader(leader) => StockUse::Leader(leader),
    };
    let strands = strands(&kind.to_lowercase());
    Some((LineStock { use_as, strands, length: stock.length }, stock.pieces))
}

/// Strands of "PE 8-strand" (8), "titanium single strand" (1) or the cable "7x7" (49).
fn strands(kind: &str) -> Option<u32> {
    if kind.contains("single strand") {
        return Some(1);
    }
    kind.split_whitespace().find_map(|word| match word.strip_suffix("-strand") {
        Some(count) => count.parse().ok(),
        None => {
            let (bundles, wires) = word.split_once('x')?;
            bundles.parse::<u32>().ok()?.checked_mul(wires.parse().ok()?)
        }
    })
}
