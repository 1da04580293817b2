//! Columns of a fleet's files, by kind of file. Columns that are not named here are kept as
//! written and read by nobody.

use deepbend_core::gear::{
    Action, Finding, FindingCode, GuideCondition, Handle, Hook, HookPoint, Leader, LeaderMaterial,
    Line, LineBasis, LineMaterial, Lure, LureClass, Power, Reel, RetrieveSide, Rod, RodMaterial,
    Word,
};
use deepbend_core::quantity::read::{self, Reading};
use deepbend_core::quantity::{Force, Length, Mass, Range};

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
        let spec = match file {
            FileKind::Boats => Some(Spec::Boat(boat(row))),
            FileKind::Devices => Some(Spec::Device(Device { role: row.text("role") })),
            FileKind::LineStock => line_stock(row).map(Spec::LineStock),
            FileKind::Rods => Some(Spec::Rod(rod(row))),
            FileKind::Reels => Some(Spec::Reel(rigged_reel(row))),
            FileKind::Lures => Some(Spec::Lure(lure(row))),
        };
        let quantity = quantity(row, file);
        if file != FileKind::Boats {
            row.required("place", "the id of a boat or a place ashore");
        }
        let place = row.other_id("place");
        let status = row.word("status", Status::from_word);
        let condition = row.word("condition", read_condition);
        let cost = row.number("cost_eur", "EUR", 0.0, 1e6);
        Some(Item {
            id: id?,
            raw: row.raw(),
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
    /// A quantity as people write it, with its findings.
    fn quantity<T>(
        &mut self,
        column: &str,
        field: &str,
        reader: impl Fn(&str, &str) -> Reading<T>,
    ) -> Option<T> {
        let read = self.read(column, |text| {
            reader(text, field).map_err(|error| (error.to_string(), String::new()))
        });
        let (value, findings) = read?;
        self.findings.extend(findings);
        Some(value)
    }

    fn millimetres(&mut self, column: &str, from: f64, to: f64) -> Option<Length> {
        self.number(column, "mm", from, to).map(Length::from_mm)
    }

    fn metres(&mut self, column: &str, from: f64, to: f64) -> Option<Length> {
        self.number(column, "m", from, to).map(Length::from_m)
    }

    fn grams(&mut self, column: &str, from: f64, to: f64) -> Option<Mass> {
        self.number(column, "g", from, to).map(Mass::from_g)
    }

    fn newtons(&mut self, column: &str, to: f64) -> Option<Force> {
        self.number(column, "N", 0.0, to).map(Force::from_n)
    }
}

/// Pieces alike: lures are counted, wire is cut to pieces, all else is single.
fn quantity(row: &mut Row<'_>, file: FileKind) -> Option<u32> {
    match file {
        FileKind::Lures => {
            row.required("qty", "how many there are");
            row.whole("qty", 0, 1_000_000)
        }
        FileKind::LineStock => row.text("spec_raw").and_then(|spec| pieces(&spec)).map(|p| p.1),
        FileKind::Boats | FileKind::Devices | FileKind::Rods | FileKind::Reels => None,
    }
}

fn boat(row: &mut Row<'_>) -> Boat {
    Boat {
        home_berth: row.text("home_berth"),
        rod_holders: row.whole("rod_holders", 0, 1000),
        max_rods_aboard: row.whole("max_rods_aboard", 0, 10_000),
        locker_length: row.metres("locker_length_m", 0.1, 20.0),
        deck_note: row.text("deck_note"),
    }
}

fn rod(row: &mut Row<'_>) -> Rod {
    let line = row.quantity("line_raw", "rod.line_rating", read::line_rating).unwrap_or_default();
    let written_basis = row.word("line_basis", read_line_basis);
    // A line number was turned into nylon while it was read, whatever the basis column says.
    let basis = line.basis.or(written_basis);
    Rod {
        handle: row.word("handle", read_handle),
        length: row.quantity("length_raw", "rod.length", read::rod_length),
        power_label: row.word("power_label", Power::read),
        action: row.word("action", Action::from_word),
        material: row.word("material", RodMaterial::from_word),
        lure_rating: row
            .quantity("lure_raw", "rod.lure_rating", read::mass_range)
            .unwrap_or(Range { min: None, max: None }),
        line_rating: line.range,
        line_rating_basis: basis,
        guides: row.word("guides", GuideCondition::from_word),
        pieces: row.whole("pieces", 1, 20),
        mass: row.grams("mass_g", 10.0, 3000.0),
    }
}

fn read_handle(text: &str) -> Option<Handle> {
    Handle::from_word(text).or_else(|| match text.to_lowercase().as_str() {
        "fixed-spool" | "fixed spool" => Some(Handle::Spinning),
        "baitcasting" | "multiplier" | "revolving-spool" => Some(Handle::Casting),
        _ => None,
    })
}

fn read_line_basis(text: &str) -> Option<LineBasis> {
    LineBasis::from_word(text).or_else(|| match text.to_lowercase().as_str() {
        "mono" => Some(LineBasis::Nylon),
        "pe" => Some(LineBasis::Braid),
        _ => None,
    })
}

fn read_line_material(text: &str) -> Option<LineMaterial> {
    LineMaterial::from_word(text).or_else(|| match text.to_lowercase().as_str() {
        "pe" => Some(LineMaterial::Braid),
        "mono" => Some(LineMaterial::Nylon),
        _ => None,
    })
}

fn rigged_reel(row: &mut Row<'_>) -> RiggedReel {
    let size = row.text("size");
    let drag = |text: &str, field: &str| read::drag(text, field, size.as_deref());
    let capacity = row.quantity("capacity_raw", "reel.capacity", read::capacity);
    let reel = Reel {
        kind: row.word("type", read_handle),
        mass: row.grams("mass_g", 20.0, 5000.0),
        drag_max: row.quantity("drag_max_raw", "reel.drag_max", drag),
        gear_ratio: row.quantity("gear_ratio", "reel.gear_ratio", read::ratio),
        retrieve: row.quantity("retrieve_raw", "reel.retrieve", read::retrieve),
        capacity_diameter: capacity.as_ref().map(|c| c.diameter),
        capacity_length: capacity.as_ref().map(|c| c.length),
        start_up_ratio: row.number("start_up_ratio", "", 1.0, 5.0),
        retrieve_side: row.word("retrieve_side", RetrieveSide::from_word),
        salt_rated: yes_or_no(row, "salt_rated"),
        size,
    };
    RiggedReel { reel, fitted: fitted_line(row) }
}

fn fitted_line(row: &mut Row<'_>) -> Option<FittedLine> {
    let label = row.quantity("line_test_raw", "line.test", read::line_label);
    let printed = row.millimetres("line_dia_mm", 0.02, 4.0);
    let fitted = FittedLine {
        line: Line {
            material: row.word("line_type", read_line_material),
            test: label.as_ref().and_then(|label| label.test),
            diameter: printed.or(label.and_then(|label| label.diameter)),
            length: row.metres("line_length_m", 0.0, 5000.0),
        },
        strands: row.whole("strands", 1, 100),
        spooled_on: row.read("spooled_on", |text| {
            Date::read(text).map_err(|bad| (bad.to_string(), String::new()))
        }),
        hours: row.number("hours_on_line", "h", 0.0, 100_000.0),
    };
    (fitted != FittedLine::default()).then_some(fitted)
}

fn lure(row: &mut Row<'_>) -> Lure {
    row.required("class", "a class of lure");
    let class = row.read("class", |text| {
        LureClass::from_word_or_nearest(text).ok_or_else(|| {
            let words: Vec<_> = LureClass::ALL.iter().map(|class| class.as_word()).collect();
            (format!("{text:?} is no class of lure"), format!("one of: {}", words.join(", ")))
        })
    });
    if let (Some((class, true)), Some(text)) = (class, row.text("class")) {
        let said = format!("`{text}` was taken as {}", class.as_word());
        row.findings.push(Finding::new(FindingCode::NearestWord, "lure.class", said));
    }
    let head_mass = row.quantity("mass_raw", "lure.head_mass", read::lure_mass);
    let trailer_mass = row.grams("trailer_g", 0.0, 1500.0);
    let rigged_mass = rigged_mass(row, head_mass, trailer_mass);
    Lure {
        class: class.map(|(class, _)| class),
        rigged_mass,
        head_mass,
        trailer_mass,
        length: row.millimetres("length_mm", 5.0, 1000.0),
        hook: Hook {
            style: row.word("hook_style", deepbend_core::gear::HookStyle::from_word),
            size: row.text("hook_size"),
            wire: row.millimetres("wire_mm", 0.1, 5.0),
            count: row.whole("hook_count", 0, 30),
            barbed: yes_or_no(row, "barbed"),
            point: row.word("hook_point", HookPoint::from_word),
        },
        punch: row.newtons("punch_N", 200.0),
        pull: row.newtons("pull_N", 200.0),
        air: row.word("air_class", deepbend_core::gear::AirClass::from_word),
    }
}

/// Everything that is cast; added up where only the parts are written.
fn rigged_mass(row: &mut Row<'_>, head: Option<Mass>, trailer: Option<Mass>) -> Option<Mass> {
    let written = row.grams("rigged_g", 0.1, 3000.0);
    let head = head?;
    let sum = Mass::from_g(head.g() + trailer.unwrap_or_default().g());
    match written {
        // A label in ounces is rounded: the parts may come out a little above the whole.
        Some(rigged) if rigged.g() < 0.95 * sum.g() => {
            let right = format!("at least what its parts weigh, {:.1} g", sum.g());
            row.fault("rigged_g", format!("{} g is impossible", rigged.g()), right);
            None
        }
        Some(rigged) => Some(rigged),
        None => {
            let said = format!("head and trailer add up to {:.1} g", sum.g());
            let code = FindingCode::RiggedMassComputed;
            row.findings.push(Finding::new(code, "lure.rigged_mass", said));
            Some(sum)
        }
    }
}

fn yes_or_no(row: &mut Row<'_>, column: &str) -> Option<bool> {
    row.read(column, |text| match text.to_lowercase().as_str() {
        "yes" => Ok(true),
        "no" => Ok(false),
        _ => Err((format!("{text:?} is not known here"), "yes or no".to_owned())),
    })
}

fn line_stock(row: &mut Row<'_>) -> Option<LineStock> {
    row.required("type", "what the line is made of");
    row.required("spec_raw", "the strength of the line");
    let (kind, strands) = row.read("type", |text| {
        stock_kind(text).ok_or_else(|| {
            let right = "PE, nylon, fluorocarbon, steel wire or titanium, with \"leader\" behind \
                         if it is one";
            (format!("{text:?} is not known here"), right.to_owned())
        })
    })?;
    // "9 kg, 40 cm x 20": the strength, then the pieces.
    let spec = row.text("spec_raw")?;
    let cut = pieces(&spec);
    let label = row.quantity("spec_raw", "line.test", |text, field| {
        let strength = if cut.is_some() { text.rsplit_once(',').map(|(s, _)| s) } else { None };
        read::line_label(strength.unwrap_or(text), field)
    })?;
    let diameter = row.millimetres("dia_mm", 0.02, 4.0).or(label.diameter);
    let (test, length) = (label.test, row.metres("length_m", 0.0, 100_000.0));
    let use_as = match kind {
        StockKind::Line(material) => {
            StockUse::Line(Line { material: Some(material), test, diameter, length })
        }
        StockKind::Leader(material) => {
            StockUse::Leader(Leader { material: Some(material), test, diameter, length })
        }
    };
    Some(LineStock { use_as, strands, piece_length: cut.map(|(length, _)| length) })
}

/// Length and number of the pieces of "9 kg, 40 cm x 20".
fn pieces(spec: &str) -> Option<(Length, u32)> {
    let (length, count) = spec.rsplit_once(',')?.1.rsplit_once(['x', '×'])?;
    let (length, _) = read::length(length, "line.length").ok()?;
    Some((length, count.trim().parse().ok()?))
}

enum StockKind {
    Line(LineMaterial),
    Leader(LeaderMaterial),
}

/// What "PE 8-strand", "fluorocarbon leader" or "7x7 steel wire" is, and its strands.
fn stock_kind(text: &str) -> Option<(StockKind, Option<u32>)> {
    let text = text.to_lowercase();
    let has = |word: &str| text.split_whitespace().any(|w| w == word);
    let leader = has("leader") || has("trace");
    let kind = if has("titanium") {
        StockKind::Leader(LeaderMaterial::Titanium)
    } else if has("steel") || has("wire") {
        StockKind::Leader(LeaderMaterial::SteelWire)
    } else if has("fluorocarbon") && leader {
        StockKind::Leader(LeaderMaterial::Fluorocarbon)
    } else if has("fluorocarbon") {
        StockKind::Line(LineMaterial::Fluorocarbon)
    } else if (has("nylon") || has("mono")) && leader {
        StockKind::Leader(LeaderMaterial::Nylon)
    } else if has("nylon") || has("mono") {
        StockKind::Line(LineMaterial::Nylon)
    } else if has("pe") || has("braid") {
        StockKind::Line(LineMaterial::Braid)
    } else {
        return None;
    };
    let strands = if text.contains("single strand") {
        Some(1)
    } else {
        text.split_whitespace().find_map(strand_count)
    };
    Some((kind, strands))
}

/// Strands of "8-strand" (8) or of a cable "7x7" (49).
fn strand_count(word: &str) -> Option<u32> {
    if let Some(count) = word.strip_suffix("-strand") {
        return count.parse().ok();
    }
    let (bundles, wires) = word.split_once('x')?;
    bundles.parse::<u32>().ok()?.checked_mul(wires.parse().ok()?)
}
