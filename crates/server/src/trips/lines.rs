//! Lines that a reel may carry on a day: the one on it, and those of the stocks that fit.

use deepbend_core::gear::{Leader, Line, LineMaterial, Reel, Word as _};
use deepbend_core::mechanics::spool;
use deepbend_core::model::Model;
use deepbend_core::quantity::Length;
use deepbend_core::quantity::words::{KILOGRAMS, LINE_MILLIMETRES};
use deepbend_ledger::item::{FittedLine, Item, ItemKind, RiggedReel, Spec, StockUse};
use deepbend_ledger::line_age::{LineDue, line_due};
use deepbend_ledger::view::View;
use deepbend_planner::problem as plan;

use super::ask::Asked;
use super::known::item;
use super::pool::whole;

/// Name of the line option that stays on the reel.
pub(super) const FITTED: &str = "fitted";

/// Line that a re-spool puts on where the present one tells no length, m. From memory.
const USUAL_LINE_M: f64 = 150.0;
/// Line that must go onto a spool to be worth it, m. From memory.
const LEAST_LINE_M: f64 = 100.0;
/// How much weaker or stronger than a line that is due another one may be and take its place. From
/// memory: beyond that it makes another outfit.
const WEAKER: f64 = 0.6;
const STRONGER: f64 = 1.7;

/// A line on a reel, or one that can be put on.
#[derive(Clone, Debug)]
pub(super) struct Spooled {
    pub(super) option: plan::LineOption,
    pub(super) line: Line,
    /// Whether it is due, and comes off where another one can go on in its place.
    pub(super) due: bool,
    /// Metres of it that the reel holds, where it is wound on.
    pub(super) room_m: Option<f64>,
}

impl Spooled {
    /// What of the line is judged, wherever it is wound on.
    pub(super) fn kind(&self) -> Line {
        Line { length: None, ..self.line.clone() }
    }

    /// A line that is bought, of which nothing is known but its material.
    pub(super) fn usual(material: LineMaterial) -> Self {
        let option = plan::LineOption { id: FITTED.to_owned(), stock: None, minutes: 0 };
        let line = Line { material: Some(material), ..Line::default() };
        Self { option, line, due: false, room_m: None }
    }
}

/// Lines that a reel may carry on this day, and why the one on it is due.
pub(super) fn lines_of(
    model: &Model,
    view: &View,
    item: &Item,
    rigged: &RiggedReel,
    stock: &[(&Line, plan::LineStock)],
    asked: &Asked,
) -> (Vec<Spooled>, Option<LineDue>) {
    let wound = asked.aboard.as_ref().and_then(|aboard| aboard.wound.get(item.id.as_str()));
    if let Some(wound) = wound.and_then(|id| wound_on(model, view, rigged, id)) {
        return (vec![wound], None);
    }
    let due = rigged.fitted.as_ref().and_then(|fitted| line_due(fitted, asked.trip.date));
    let mut lines: Vec<Spooled> =
        stock.iter().filter_map(|(line, held)| respool(model, rigged, line, held)).collect();
    lines.extend(rigged.fitted.as_ref().map(|fitted| fitted_line(fitted, due.is_some())));
    (lines, due)
}

/// The line of a stock that was wound on before departure.
fn wound_on(model: &Model, view: &View, rigged: &RiggedReel, stock: &str) -> Option<Spooled> {
    let Spec::LineStock(held) = &item(view, ItemKind::LineStock, stock)?.spec else { return None };
    let StockUse::Line(line) = &held.use_as else { return None };
    let metres = held.length.map_or(0.0, Length::m).floor() as u32;
    let held = plan::LineStock { id: stock.to_owned(), place: String::new(), metres };
    let mut spooled = respool(model, rigged, line, &held)?;
    spooled.option = plan::LineOption { id: FITTED.to_owned(), stock: None, minutes: 0 };
    Some(spooled)
}

/// Whether one line does the work of another.
pub(super) fn stands_in(one: &Line, other: &Line) -> bool {
    match (as_nylon(one), as_nylon(other)) {
        (Some(one), Some(other)) => (WEAKER..=STRONGER).contains(&(one / other)),
        (None, _) | (_, None) => true,
    }
}

/// Strength of a nylon line that does the same work, kgf. Common practice, no source: braid is
/// taken about twice as strong as the nylon it replaces.
fn as_nylon(line: &Line) -> Option<f64> {
    let kgf = line.test?.kgf();
    Some(match line.material {
        Some(LineMaterial::Nylon | LineMaterial::Fluorocarbon) => kgf,
        Some(LineMaterial::Braid) | None => kgf / 2.0,
    })
}

fn fitted_line(fitted: &FittedLine, due: bool) -> Spooled {
    let option = plan::LineOption { id: FITTED.to_owned(), stock: None, minutes: 0 };
    Spooled { option, line: fitted.line.clone(), due, room_m: None }
}

/// The line of a stock on a reel, if enough of it fits. Whether it suits rod and lure is for the
/// judge to say.
fn respool(
    model: &Model,
    rigged: &RiggedReel,
    line: &Line,
    held: &plan::LineStock,
) -> Option<Spooled> {
    let on = rigged.fitted.as_ref().map(|fitted| &fitted.line);
    let wanted = on.and_then(|on| on.length).map_or(USUAL_LINE_M, Length::m);
    let capacity = capacity_m(&rigged.reel, on, line)?;
    let metres = wanted.min(capacity).min(f64::from(held.metres)).floor();
    if metres < LEAST_LINE_M.min(wanted) {
        return None;
    }
    let metres = metres as u32;
    let stock = Some(plan::StockUse { stock: held.id.clone(), metres });
    let option = plan::LineOption {
        id: held.id.clone(),
        stock,
        minutes: whole(model.parameters().rerig.respool_min),
    };
    let line = Line { length: Some(Length::from_m(f64::from(metres))), ..line.clone() };
    Some(Spooled { option, line, due: false, room_m: Some(capacity) })
}

/// Metres of a line that a reel holds, by its printed capacity, else by the line that is on it.
/// `None`: nothing is known.
fn capacity_m(reel: &Reel, on: Option<&Line>, line: &Line) -> Option<f64> {
    let thick = line.diameter?.mm();
    let printed = reel.capacity_length.zip(reel.capacity_diameter);
    let known = printed.or_else(|| on.and_then(|on| on.length.zip(on.diameter)));
    known.map(|(length, diameter)| spool::capacity_m(length.m(), diameter.mm(), thick))
}

/// A line in a few words: "braid of 7 kg (15 lb) and 0.148 mm (0.0058 in)".
pub(super) fn line_words(line: &Line) -> String {
    let material = line.material.map_or("line", |material| material.as_word());
    let test = line.test.map(|test| KILOGRAMS.one(test.kgf()).to_string());
    let thick = line.diameter.map(|diameter| LINE_MILLIMETRES.one(diameter.mm()).to_string());
    let figures: Vec<String> = test.into_iter().chain(thick).collect();
    if figures.is_empty() {
        return material.to_owned();
    }
    format!("{material} of {}", figures.join(" and "))
}

/// A leader in a few words: "steel wire of 14 kg (31 lb)".
pub(super) fn leader_words(leader: &Leader) -> String {
    let material = leader.material.map_or("leader", |material| material.as_word());
    let material = material.replace('_', " ");
    match leader.test {
        Some(test) => format!("{material} of {}", KILOGRAMS.one(test.kgf())),
        None => material,
    }
}

/// A number with at most one decimal.
pub(super) fn short(value: f64) -> String {
    short_to(value, 1)
}

/// A number with at most so many decimals.
pub(super) fn short_to(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

/// Things in groups whose lines are of one kind, in their order.
pub(super) fn by_kind<T>(
    things: impl IntoIterator<Item = T>,
    kind: impl Fn(&T) -> Line,
) -> Vec<Vec<T>> {
    let mut groups: Vec<(Line, Vec<T>)> = Vec::new();
    for thing in things {
        let kind = kind(&thing);
        match groups.iter_mut().find(|(known, _)| *known == kind) {
            Some((_, group)) => group.push(thing),
            None => groups.push((kind, vec![thing])),
        }
    }
    groups.into_iter().map(|(_, group)| group).collect()
}
