//! Rows of an inventory file, cell by cell.
//!
//! An empty cell means *not given*. A cell that cannot be read is a fault; all faults of a row are
//! collected, so that its owner mends them at once.

use super::{WireClass, hook_wire, lure, vocabulary};
use crate::gear::{
    AirClass, Finding, FindingCode, GuideCondition, Handle, Hook, HookStyle, Leader, Line,
    LineBasis, Lure, Reel, Rod, THIRD_DROP_ANGLE_DEG, Word,
};
use crate::quantity::read::{self, LineLabel, ReadError, Reading};
use crate::quantity::{Force, Length, Mass};

/// Breakaway over running drag of a reel whose note says that it is sticky. From memory.
const STICKY: f64 = 1.5;

/// A cell that could not be read.
#[derive(Clone, Debug, PartialEq)]
pub struct ColumnFault {
    /// Name of the column.
    pub column: &'static str,
    /// What was wrong and what would be right.
    pub error: ReadError,
}

impl std::fmt::Display for ColumnFault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}: {}", self.column, self.error)
    }
}

/// A row's value with its findings, or every fault of the row.
pub type Row<T> = Result<(T, Vec<Finding>), Vec<ColumnFault>>;

#[derive(Debug, Default)]
struct Cells {
    findings: Vec<Finding>,
    faults: Vec<ColumnFault>,
}

impl Cells {
    fn fault(&mut self, column: &'static str, error: ReadError) {
        self.faults.push(ColumnFault { column, error });
    }

    /// A cell that `reader` understands.
    fn read<T>(
        &mut self,
        column: &'static str,
        text: &str,
        reader: impl FnOnce(&str) -> Reading<T>,
    ) -> Option<T> {
        if text.trim().is_empty() {
            return None;
        }
        match reader(text) {
            Ok((value, mut findings)) => {
                self.findings.append(&mut findings);
                Some(value)
            }
            Err(error) => {
                self.fault(column, error);
                None
            }
        }
    }

    /// A word of a vocabulary; `words` lists what would be right.
    fn word<T>(
        &mut self,
        column: &'static str,
        text: &str,
        words: &str,
        lookup: impl FnOnce(&str) -> Option<T>,
    ) -> Option<T> {
        if text.trim().is_empty() {
            return None;
        }
        let found = lookup(&crate::gear::normalise(text));
        if found.is_none() {
            let error = ReadError::unread(format!("{} is none of {words}", read::quoted(text)));
            self.fault(column, error);
        }
        found
    }

    /// A word that may be only near to one of the closed list.
    fn near<T: Word>(
        &mut self,
        column: &'static str,
        field: &str,
        text: &str,
        lookup: impl FnOnce(&str) -> Option<(T, bool)>,
    ) -> Option<T> {
        let (value, near) = self.word(column, text, &all::<T>(), lookup)?;
        if near {
            let read_as =
                format!("{} was read as {}", read::quoted(text), value.as_word().replace('_', " "));
            self.findings.push(Finding::new(FindingCode::NearestWord, field, read_as));
        }
        Some(value)
    }

    /// A plain number between `low` and `high`; a decimal comma is a fault here, since the column
    /// says what stands in it.
    fn number(&mut self, column: &'static str, text: &str, low: f64, high: f64) -> Option<f64> {
        if text.trim().is_empty() {
            return None;
        }
        let value = text.trim().parse::<f64>().ok().filter(|v| (low..=high).contains(v));
        if value.is_none() {
            let error = ReadError::unread(format!(
                "{} is no number from {low} to {high}",
                read::quoted(text)
            ));
            self.fault(column, error);
        }
        value
    }

    fn count(&mut self, column: &'static str, text: &str) -> Option<u32> {
        if text.trim().is_empty() {
            return None;
        }
        let value = text.trim().parse::<u32>().ok().filter(|v| *v <= 1000);
        if value.is_none() {
            let error = ReadError::unread(format!(
                "{} is no whole number from 0 to 1000",
                read::quoted(text)
            ));
            self.fault(column, error);
        }
        value
    }

    fn finish<T>(self, value: T) -> Row<T> {
        if self.faults.is_empty() { Ok((value, self.findings)) } else { Err(self.faults) }
    }
}

fn all<T: Word>() -> String {
    T::ALL.iter().map(|w| w.as_word()).collect::<Vec<_>>().join(", ")
}

fn yes_no(text: &str) -> Option<bool> {
    match text {
        "yes" | "true" => Some(true),
        "no" | "false" => Some(false),
        _ => None,
    }
}

/// Cells of a rod.
#[derive(Clone, Copy, Debug, Default)]
pub struct RodColumns<'a> {
    /// `handle`: spinning or casting.
    pub handle: &'a str,
    /// `length_raw`, as written.
    pub length: &'a str,
    /// `power_label`: the printed word.
    pub power_label: &'a str,
    /// `action`.
    pub action: &'a str,
    /// `material`.
    pub material: &'a str,
    /// `lure_raw`: printed lure rating, as written.
    pub lure: &'a str,
    /// `line_raw`: printed line rating, as written.
    pub line: &'a str,
    /// `line_basis`: mono, PE or unknown.
    pub line_basis: &'a str,
    /// `pieces`.
    pub pieces: &'a str,
    /// `guides`.
    pub guides: &'a str,
    /// `mass_g`.
    pub mass_g: &'a str,
    /// `third_drop_g`: bench test, mass that drops the tip by a third of the length.
    pub third_drop_g: &'a str,
    /// `third_drop_angle_deg`: bench test, angle of the tip at that mass.
    pub third_drop_angle_deg: &'a str,
}

impl RodColumns<'_> {
    /// Reads the row. PE ratings are turned into nylon, with a finding.
    ///
    /// # Errors
    /// Every cell that could not be read.
    pub fn read(&self) -> Row<Rod> {
        let mut cells = Cells::default();
        let basis = cells.word("line_basis", self.line_basis, "mono, PE, unknown", line_basis);
        let numbers = basis == Some(Basis::Pe) && !self.line.to_lowercase().contains("pe");
        let line = if numbers && !self.line.trim().is_empty() {
            format!("PE {}", self.line)
        } else {
            self.line.to_owned()
        };
        let rating = cells
            .read("line_raw", &line, |t| read::line_rating(t, "rod.line_rating"))
            .unwrap_or_default();
        let rod = Rod {
            handle: cells.word("handle", self.handle, &all::<Handle>(), vocabulary::handle),
            length: cells.read("length_raw", self.length, |t| read::rod_length(t, "rod.length")),
            power_label: cells.word(
                "power_label",
                self.power_label,
                "UL, L, ML, M, MH, H, XH, XXH",
                vocabulary::power,
            ),
            action: cells.near("action", "rod.action", self.action, vocabulary::action),
            material: cells.word(
                "material",
                self.material,
                "graphite, composite, glass",
                vocabulary::rod_material,
            ),
            lure_rating: cells
                .read("lure_raw", self.lure, |t| read::mass_range(t, "rod.lure_rating"))
                .unwrap_or_default(),
            line_rating: rating.range,
            line_rating_basis: rating.basis.or(match basis {
                Some(Basis::Nylon) => Some(LineBasis::Nylon),
                Some(Basis::Braid) => Some(LineBasis::Braid),
                Some(Basis::Pe | Basis::Unknown) | None => None,
            }),
            guides: cells.word("guides", self.guides, &all::<GuideCondition>(), vocabulary::guides),
            pieces: cells.count("pieces", self.pieces),
            mass: cells.number("mass_g", self.mass_g, 1.0, 5000.0).map(Mass::from_g),
            third_drop_mass: cells
                .number("third_drop_g", self.third_drop_g, 5.0, 20_000.0)
                .map(Mass::from_g),
            third_drop_angle_deg: cells.number(
                "third_drop_angle_deg",
                self.third_drop_angle_deg,
                THIRD_DROP_ANGLE_DEG.0,
                THIRD_DROP_ANGLE_DEG.1,
            ),
        };
        cells.finish(rod)
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Basis {
    Nylon,
    Braid,
    Pe,
    Unknown,
}

fn line_basis(word: &str) -> Option<Basis> {
    Some(match word {
        "mono" | "nylon" => Basis::Nylon,
        "braid" => Basis::Braid,
        "pe" => Basis::Pe,
        "unknown" => Basis::Unknown,
        _ => return None,
    })
}

/// Cells of a reel and the line on it.
#[derive(Clone, Copy, Debug, Default)]
pub struct ReelColumns<'a> {
    /// `type`: fixed-spool or casting.
    pub kind: &'a str,
    /// `size`: the maker's size number, kept as text.
    pub size: &'a str,
    /// `gear_ratio`, as written.
    pub gear_ratio: &'a str,
    /// `retrieve_raw`: line taken in by one turn, as written.
    pub retrieve: &'a str,
    /// `drag_max_raw`, as written.
    pub drag_max: &'a str,
    /// `capacity_raw`, as written.
    pub capacity: &'a str,
    /// `mass_g`.
    pub mass_g: &'a str,
    /// `retrieve_side`: left, right or reversible.
    pub retrieve_side: &'a str,
    /// `note`: only "sticky" is looked for.
    pub note: &'a str,
    /// `line_type`: PE, nylon or fluorocarbon.
    pub line_type: &'a str,
    /// `line_test_raw`, as written.
    pub line_test: &'a str,
    /// `line_dia_mm`.
    pub line_dia_mm: &'a str,
    /// `line_length_m`.
    pub line_length_m: &'a str,
}

impl ReelColumns<'_> {
    /// Reads the row into the reel and its line. A printed diameter goes before that of the line
    /// number.
    ///
    /// # Errors
    /// Every cell that could not be read.
    pub fn read(&self) -> Row<(Reel, Line)> {
        let mut cells = Cells::default();
        let size = self.size.trim();
        let capacity =
            cells.read("capacity_raw", self.capacity, |t| read::capacity(t, "reel.capacity"));
        let sticky = self.note.to_lowercase().contains("sticky");
        if sticky {
            cells.findings.push(Finding::new(
                FindingCode::NearestWord,
                "reel.start_up_ratio",
                format!("a sticky start-up was taken as a ratio of {STICKY}"),
            ));
        }
        let reel = Reel {
            kind: cells.word("type", self.kind, "fixed-spool, casting", vocabulary::handle),
            size: (!size.is_empty()).then(|| size.to_owned()),
            mass: cells.number("mass_g", self.mass_g, 1.0, 5000.0).map(Mass::from_g),
            drag_max: cells.read("drag_max_raw", self.drag_max, |t| {
                read::drag(t, "reel.drag_max", (!size.is_empty()).then_some(size))
            }),
            gear_ratio: cells
                .read("gear_ratio", self.gear_ratio, |t| read::ratio(t, "reel.gear_ratio")),
            retrieve: cells
                .read("retrieve_raw", self.retrieve, |t| read::retrieve(t, "reel.retrieve")),
            capacity_diameter: capacity.map(|c| c.diameter),
            capacity_length: capacity.map(|c| c.length),
            start_up_ratio: sticky.then_some(STICKY),
            retrieve_side: cells.word(
                "retrieve_side",
                self.retrieve_side,
                "left, right, reversible",
                vocabulary::side,
            ),
            salt_rated: None,
        };
        let line = self.line(&mut cells);
        cells.finish((reel, line))
    }

    fn line(&self, cells: &mut Cells) -> Line {
        let material = cells.word(
            "line_type",
            self.line_type,
            "PE, braid, nylon, fluorocarbon",
            vocabulary::line_material,
        );
        let diameter = thread(cells, "line_dia_mm", self.line_dia_mm);
        let label = strength(cells, "line_test_raw", self.line_test, diameter);
        Line {
            material,
            test: label.test,
            diameter: label.diameter,
            length: cells
                .number("line_length_m", self.line_length_m, 1.0, 5000.0)
                .map(Length::from_m),
        }
    }
}

fn thread(cells: &mut Cells, column: &'static str, text: &str) -> Option<Length> {
    cells.number(column, text, 0.02, 3.0).map(Length::from_mm)
}

/// A label whose diameter column, where filled, goes before the line number.
fn strength(
    cells: &mut Cells,
    column: &'static str,
    text: &str,
    diameter: Option<Length>,
) -> LineLabel {
    let found = cells.findings.len();
    let mut label =
        cells.read(column, text, |t| read::line_label(t, "line.test")).unwrap_or_default();
    let printed = text.contains('(') || text.contains('/');
    if diameter.is_some() {
        label.diameter = diameter;
        if printed {
            // Strength and diameter are both given: nothing was converted.
            let mut at = 0;
            cells.findings.retain(|f| {
                at += 1;
                at <= found || f.code != FindingCode::LineNumberConverted
            });
        }
    }
    label
}

/// Cells of a lure.
#[derive(Clone, Copy, Debug, Default)]
pub struct LureColumns<'a> {
    /// `class`.
    pub class: &'a str,
    /// `mass_raw`: head or bare lure, as written.
    pub mass: &'a str,
    /// `trailer_g`.
    pub trailer_g: &'a str,
    /// `rigged_g`: everything that is cast.
    pub rigged_g: &'a str,
    /// `length_mm`.
    pub length_mm: &'a str,
    /// `hook_style`.
    pub hook_style: &'a str,
    /// `hook_count`.
    pub hook_count: &'a str,
    /// `hook_size`, as printed.
    pub hook_size: &'a str,
    /// `wire_class`: fine, medium or heavy.
    pub wire_class: &'a str,
    /// `wire_mm`; where it is empty, size and class tell the wire.
    pub wire_mm: &'a str,
    /// `barbed`: yes or no.
    pub barbed: &'a str,
    /// `punch_N`.
    pub punch_n: &'a str,
    /// `pull_N`.
    pub pull_n: &'a str,
    /// `air_class`.
    pub air_class: &'a str,
}

impl LureColumns<'_> {
    /// Reads the row. A rigged mass that is missing, or less than head and trailer, is computed,
    /// with a finding.
    ///
    /// # Errors
    /// Every cell that could not be read.
    pub fn read(&self) -> Row<Lure> {
        let mut cells = Cells::default();
        let class = cells.near("class", "lure.class", self.class, vocabulary::lure_class);
        let mass = cells.read("mass_raw", self.mass, |t| read::lure_mass(t, "lure.head_mass"));
        let trailer = cells.number("trailer_g", self.trailer_g, 0.0, 1500.0);
        let rigged = cells.number("rigged_g", self.rigged_g, 0.01, 1500.0).map(Mass::from_g);
        let trailer = trailer.filter(|g| *g > 0.0).map(Mass::from_g);
        let style =
            cells.word("hook_style", self.hook_style, &all::<HookStyle>(), HookStyle::from_word);
        let wire_class =
            cells.word("wire_class", self.wire_class, &all::<WireClass>(), |t| match t {
                "regular" => Some(WireClass::Medium),
                _ => WireClass::from_word(t),
            });
        let size = self.hook_size.trim();
        let wire =
            thread(&mut cells, "wire_mm", self.wire_mm).or_else(|| hook_wire(size, wire_class?));
        let count = cells.count("hook_count", self.hook_count).map(|count| {
            // A double counts its points, and has two of them.
            if style == Some(HookStyle::DoubleWeedless) { count.max(2) } else { count }
        });
        let force = |cells: &mut Cells, column, text| {
            cells.number(column, text, 0.0, 200.0).map(Force::from_n)
        };
        let mut lure = Lure {
            class,
            rigged_mass: if trailer.is_some() { rigged } else { rigged.or(mass) },
            head_mass: if trailer.is_some() { mass } else { None },
            trailer_mass: trailer,
            length: cells.number("length_mm", self.length_mm, 1.0, 2000.0).map(Length::from_mm),
            hook: Hook {
                style,
                size: (!size.is_empty()).then(|| size.to_owned()),
                wire,
                count,
                barbed: cells.word("barbed", self.barbed, "yes, no", yes_no),
                point: None,
            },
            punch: force(&mut cells, "punch_N", self.punch_n),
            pull: force(&mut cells, "pull_N", self.pull_n),
            air: cells.word("air_class", self.air_class, &all::<AirClass>(), AirClass::from_word),
        };
        if trailer.is_none() || mass.is_some() {
            lure::add_up(&mut lure, &mut cells.findings);
        }
        cells.finish(lure)
    }
}

/// Cells of a line or leader in stock.
#[derive(Clone, Copy, Debug, Default)]
pub struct StockColumns<'a> {
    /// `type`: "PE 8-strand", "nylon", "fluorocarbon leader", "7x7 steel wire".
    pub kind: &'a str,
    /// `spec_raw`: strength, diameter, length and number of pieces, as written.
    pub spec: &'a str,
    /// `dia_mm`.
    pub dia_mm: &'a str,
    /// `length_m`: all there is.
    pub length_m: &'a str,
}

/// A line or a leader.
#[derive(Clone, Debug, PartialEq)]
pub enum StockItem {
    /// Main line in bulk.
    Line(Line),
    /// Leader material in bulk, or ready-made leaders.
    Leader(Leader),
}

/// A line or leader in stock.
#[derive(Clone, Debug, PartialEq)]
pub struct Stock {
    /// What it is.
    pub item: StockItem,
    /// Length of all there is.
    pub length: Option<Length>,
    /// Number of ready-made pieces.
    pub pieces: Option<u32>,
}

impl StockColumns<'_> {
    /// Reads the row.
    ///
    /// # Errors
    /// Every cell that could not be read.
    pub fn read(&self) -> Row<Stock> {
        let mut cells = Cells::default();
        let length = cells.number("length_m", self.length_m, 0.1, 10_000.0).map(Length::from_m);
        let diameter = thread(&mut cells, "dia_mm", self.dia_mm);
        let kind = self.kind.to_lowercase();
        let (line, _) = super::read_line(&self.kind.replace("leader", ""));
        let (made, _, _) = super::line::read_leader(&kind.replace("leader", ""));
        let leader = kind.contains("leader") || line.material.is_none();
        if line.material.is_none() && made.material.is_none() {
            let error = ReadError::unread(format!(
                "{} is none of PE, braid, nylon, fluorocarbon, steel wire, titanium",
                read::quoted(self.kind)
            ));
            cells.fault("type", error);
        }
        if !leader {
            let label = strength(&mut cells, "spec_raw", self.spec, diameter);
            let line = Line { test: label.test, diameter: label.diameter, length: None, ..line };
            return cells.finish(Stock { item: StockItem::Line(line), length, pieces: None });
        }
        let (spec, pieces, mut findings) = super::line::read_leader(self.spec);
        cells.findings.append(&mut findings);
        if spec.test.is_none() && !self.spec.trim().is_empty() {
            let error = ReadError::unread(format!(
                "{} names no strength: write for example 9 kg, 40 cm x 20",
                read::quoted(self.spec)
            ));
            cells.fault("spec_raw", error);
        }
        let leader =
            Leader { material: made.material, diameter: diameter.or(spec.diameter), ..spec };
        cells.finish(Stock { item: StockItem::Leader(leader), length, pieces })
    }
}
