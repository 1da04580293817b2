//! One item's events together.

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;

use super::count::{self, Count, CountKey};
use super::deed::{Barred, Deed, Field, Value, deeds};
use super::effect::{Effect, Standing, Why};
use super::field::{self, Held, Write};
use super::line;
use super::log::Log;
use super::roll::Roll;
use super::standing::{Corrections, below};
use super::status;
use crate::body::Measure;
use crate::event::{Event, EventId};
use crate::import;
use crate::item::{Item, ItemKey, Spec, StockUse};
use crate::quantity::{cm_of, from_cm};
use crate::shared::Few;
use crate::time::Date;
use crate::view::EventRef;

/// How much an item was used.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Wear {
    /// Minutes fished, as far as events tell.
    pub minutes: u64,
    /// Minutes fished since the last finished service.
    pub minutes_since_service: u64,
    /// The latest day of a finished service.
    pub serviced_on: Option<Date>,
}

/// What people must settle about an item.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Disputed {
    /// Its id: first events claim it for different things.
    Tag,
    /// A field.
    Field(Field),
    /// A count: it wants a recount.
    Count(CountKey),
}

impl std::fmt::Display for Disputed {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Tag => f.pad("tag"),
            Self::Field(field) => field.fmt(f),
            Self::Count(key) => key.fmt(f),
        }
    }
}

impl Disputed {
    /// How people settle it.
    #[must_use]
    pub fn cure(&self) -> &'static str {
        match self {
            Self::Tag => {
                "give one of the two a new tag: correct its first event, and import it again \
                 under the new one"
            }
            Self::Field(Field::Place) => "look where it is, and record it as seen there",
            Self::Field(Field::Status) => "look at it, and record the inspection with its reason",
            Self::Field(Field::Condition) => "look at it, and record its condition",
            Self::Field(Field::Line) => "measure the line, and take back what is wrong",
            Self::Field(Field::Rig) => {
                "look what is rigged, and record it; of what has nothing on it that it was rigged, \
                 and then unrigged"
            }
            Self::Field(Field::Bench) => "ask who services it, and record it as sent or serviced",
            Self::Field(Field::Loan) => "ask who has it, and record the loan or the return",
            Self::Field(Field::Column(_)) => "read it off the item, and edit the column",
            Self::Count(_) => "count again, and record it as counted",
        }
    }
}

/// All that follows from the events of one item.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Story {
    /// The item as it counts now; `None` until it is acquired.
    pub item: Option<Item>,
    /// Its fields with all that is claimed of them.
    #[serde(serialize_with = "pairs")]
    pub fields: BTreeMap<Field, Held>,
    /// Its counts.
    #[serde(serialize_with = "pairs")]
    pub counts: BTreeMap<CountKey, Count>,
    /// How much it was used.
    pub wear: Wear,
    /// What people must settle.
    pub disputes: BTreeSet<Disputed>,
    /// What became of each event.
    #[serde(serialize_with = "pairs")]
    pub effects: BTreeMap<EventRef, Effect>,
}

/// A map whose keys are no texts, for JSON.
fn pairs<K: Serialize, V: Serialize, S: serde::Serializer>(
    map: &BTreeMap<K, V>,
    to: S,
) -> Result<S::Ok, S::Error> {
    to.collect_seq(map)
}

/// An event of the item, ready to be folded.
#[derive(Debug)]
pub(super) struct Line<'l> {
    pub(super) reference: EventRef,
    pub(super) event: &'l Event,
    /// The ordinary event at whose place it acts: itself, unless it is a correction.
    pub(super) root: EventRef,
    /// The events that it replaces as a correction.
    pub(super) replaces: Vec<(EventId, &'l Event)>,
    pub(super) deeds: Vec<Deed<'l>>,
    pub(super) standing: Standing,
    pub(super) effect: Effect,
}

impl Line<'_> {
    pub(super) fn acts(&self) -> bool {
        self.standing == Standing::Acts
    }

    /// Whether it is heard: it acts, or it is in quarantine.
    pub(super) fn is_heard(&self) -> bool {
        matches!(self.standing, Standing::Acts | Standing::Doubtful)
    }

    /// Whether it is an ordinary event outside of quarantine.
    pub(super) fn is_plain(&self) -> bool {
        self.replaces.is_empty() && self.standing != Standing::Doubtful
    }

    /// Whether its device held another event when it wrote it.
    pub(super) fn knew(&self, log: &Log, other: &Self) -> bool {
        log.held(&self.root, &other.root.id)
    }

    /// It does something, but not what `why` says.
    pub(super) fn lame(&mut self, why: Why) {
        self.effect = match self.effect {
            Effect::Acts if self.deeds.len() > 1 => Effect::InPart(why),
            Effect::Acts => Effect::Nothing(why),
            Effect::InPart(_) | Effect::Nothing(_) => return,
        };
    }
}

fn line<'l>(
    key: &ItemKey,
    log: &'l Log,
    roll: &Roll,
    corrections: &Corrections,
    reference: &EventRef,
) -> Option<Line<'l>> {
    let event = &*log.get(reference)?.event;
    let standing = corrections.standing(log, roll, reference);
    let mut root = reference.clone();
    let mut replaces = Vec::new();
    if let Some(target) = event.body.target() {
        for (reference, placed) in below(log, target).unwrap_or_default() {
            replaces.push((reference.id.clone(), &*placed.event));
            root = reference;
        }
    }
    let deeds = event.body.says().map(|body| deeds(event, body)).unwrap_or_default();
    let deeds = deeds.into_iter().filter(|(item, _)| item == key).map(|(_, deed)| deed);
    let effect = match &standing {
        Standing::Acts => Effect::Acts,
        Standing::Doubtful => Effect::Nothing(Why::Quarantined),
        Standing::Out(why) => Effect::Nothing(why.clone()),
    };
    let (deeds, reference) = (deeds.collect(), reference.clone());
    Some(Line { reference, event, root, replaces, deeds, standing, effect })
}

/// What the events of one item say, before it is put together.
struct Gathered<'l> {
    first: &'l Item,
    lines: Vec<Line<'l>>,
    fields: BTreeMap<Field, Held>,
    counts: BTreeMap<CountKey, Count>,
}

/// Gathers what the events of one item say; without a first event the events alone.
fn gather<'l>(
    key: &ItemKey,
    log: &'l Log,
    roll: &Roll,
    corrections: &Corrections,
    events: &Few<EventRef>,
) -> Result<Gathered<'l>, Vec<Line<'l>>> {
    let lines = events.iter().filter_map(|event| line(key, log, roll, corrections, event));
    let mut lines: Vec<_> = lines.collect();
    let Some(first) = first(&lines) else { return Err(lines) };
    let mut writes = Vec::new();
    let judged = status::judge(log, &lines);
    for (index, line) in lines.iter_mut().enumerate() {
        collect(index, line, first, judged.get(&index), &mut writes);
    }
    let mut fields = field::held(&lines, &writes);
    let counts = count::counts(log, &lines, first);
    if let Some(held) = fields.get_mut(&Field::Line) {
        line::age(log, &lines, &writes, held);
    }
    fear_columns(first, &mut fields);
    Ok(Gathered { first, lines, fields, counts })
}

/// Folds the events of one item.
pub(crate) fn story(
    key: &ItemKey,
    log: &Log,
    roll: &Roll,
    corrections: &Corrections,
    events: &Few<EventRef>,
) -> Story {
    let Gathered { first, mut lines, fields, counts } =
        match gather(key, log, roll, corrections, events) {
            Ok(gathered) => gathered,
            Err(lines) => return unknown(lines),
        };
    let wear = wear(log, &lines);
    let mut disputes = BTreeSet::new();
    disputes.extend(
        fields.iter().filter(|(_, h)| h.contested).map(|(f, _)| Disputed::Field(f.clone())),
    );
    disputes
        .extend(counts.iter().filter(|(_, c)| c.recount).map(|(k, _)| Disputed::Count(k.clone())));
    let heard = lines.iter().filter(|line| line.is_heard());
    // The same list imported on two boats tells of one item twice, not of two.
    if heard.filter_map(acquired).any(|item| item != first) {
        disputes.insert(Disputed::Tag);
    }
    let item = compose(first, &fields, &counts, &mut lines);
    let effects = lines.into_iter().map(|line| (line.reference, line.effect)).collect();
    Story { item: Some(item), fields, counts, wear, disputes, effects }
}

/// What is claimed, each field and count settled in one way.
type Way = (BTreeMap<Field, Held>, BTreeMap<CountKey, Count>);

/// The item in every way in which its claims could be settled, at most so many: of each contested
/// field one claim, of each count the least or the most.
pub(crate) fn settlements(
    key: &ItemKey,
    log: &Log,
    roll: &Roll,
    corrections: &Corrections,
    events: &Few<EventRef>,
    most: usize,
) -> Vec<Item> {
    let Ok(gathered) = gather(key, log, roll, corrections, events) else { return Vec::new() };
    let Gathered { first, mut lines, fields, counts } = gathered;
    let mut ways = vec![(fields.clone(), counts.clone())];
    for (field, held) in fields.iter().filter(|(_, held)| held.contested) {
        if matches!(field, Field::Rig | Field::Loan | Field::Bench) {
            continue;
        }
        let mut values: Vec<&Value> = Vec::new();
        for claim in &held.claims {
            if !values.contains(&&claim.value) {
                values.push(&claim.value);
            }
        }
        let settle = |(fields, counts): &Way| {
            let settled = values.iter().map(|value| {
                let mut fields = fields.clone();
                if let Some(held) = fields.get_mut(field) {
                    held.value = Some((*value).clone());
                }
                (fields, counts.clone())
            });
            settled.collect::<Vec<_>>()
        };
        ways = ways.iter().flat_map(settle).take(most).collect();
    }
    for (key, count) in counts.iter().filter(|(_, count)| count.low < count.high) {
        let fuller = |(fields, counts): &Way| {
            let mut full = counts.clone();
            full.insert(key.clone(), Count { low: count.high, ..count.clone() });
            [(fields.clone(), counts.clone()), (fields.clone(), full)]
        };
        ways = ways.iter().flat_map(fuller).take(most).collect();
    }
    let mut items: Vec<Item> = Vec::new();
    for (fields, counts) in ways {
        let item = compose(first, &fields, &counts, &mut lines);
        if !items.contains(&item) {
            items.push(item);
        }
    }
    items
}

/// Lets the weaker claim count of each contested column that says how strong the item is.
fn fear_columns(first: &Item, fields: &mut BTreeMap<Field, Held>) {
    for (field, held) in fields.iter_mut().filter(|(_, held)| held.contested) {
        let Field::Column(column) = field else { continue };
        let read = held.claims.iter().filter(|claim| !claim.quarantined).filter_map(|claim| {
            let Value::Column(cell) = &claim.value else { return None };
            let item = import::with_cell(first, column, cell.as_ref()).ok()?;
            Some((strength(&item)?, claim))
        });
        let ranked = read.min_by(|(a, x), (b, y)| {
            a.total_cmp(b).then(x.certainty.cmp(&y.certainty)).then(x.event.cmp(&y.event))
        });
        if let Some((_, claim)) = ranked {
            held.value = Some(claim.value.clone());
        }
    }
}

/// How strong an item is, to be compared with another reading of the same item: the drag of a
/// reel, kgf; what a line or leader bears, kgf; the heaviest lure of a rod, g.
fn strength(item: &Item) -> Option<f64> {
    match &item.spec {
        Spec::Rod(rod) => rod.lure_rating.max.map(|mass| mass.g()),
        Spec::Reel(reel) => reel.reel.drag_max.map(|drag| drag.kgf()),
        Spec::LineStock(stock) => match &stock.use_as {
            StockUse::Line(line) => line.test.map(|test| test.kgf()),
            StockUse::Leader(leader) => leader.test.map(|test| test.kgf()),
        },
        Spec::Lure(_) | Spec::Boat(_) | Spec::Device(_) => None,
    }
}

/// What a first event says of the item.
fn acquired<'l>(line: &Line<'l>) -> Option<&'l Item> {
    line.deeds.iter().find_map(
        |deed| {
            if let Deed::Acquire(item) = deed { Some(*item) } else { None }
        },
    )
}

/// The first description of the item: that of the lowest chain and number.
fn first<'l>(lines: &[Line<'l>]) -> Option<&'l Item> {
    lines.iter().filter(|line| line.acts()).find_map(acquired)
}

fn unknown(lines: Vec<Line<'_>>) -> Story {
    let effects = lines.into_iter().map(|mut line| {
        if line.acts() && !line.deeds.is_empty() {
            line.effect = Effect::Nothing(Why::UnknownItem);
        }
        (line.reference, line.effect)
    });
    Story {
        item: None,
        effects: effects.collect(),
        fields: BTreeMap::new(),
        counts: BTreeMap::new(),
        wear: Wear::default(),
        disputes: BTreeSet::new(),
    }
}

/// What an event writes into fields, as far as the item and its status allow.
fn collect(
    index: usize,
    line: &mut Line<'_>,
    first: &Item,
    judged: Option<&status::Judged>,
    writes: &mut Vec<Write>,
) {
    let counted_in = first.counted_in();
    let in_pieces = counted_in == Some(Measure::Pieces);
    let acts = line.is_heard();
    let mut why = None;
    let mut write = |field: Field, value: Option<Value>| {
        let value = value.filter(|_| acts);
        writes.push(Write { line: index, field, value });
    };
    for deed in &line.deeds {
        match deed {
            Deed::Put(Field::Column(column), _) if !import::may_edit(first.kind(), column) => {
                why = Some(Why::NotEdited { column: column.clone() });
            }
            Deed::Put(Field::Place, value) if !in_pieces => {
                write(Field::Place, Some(value.clone()));
            }
            Deed::Put(Field::Place, _) => {}
            Deed::Put(field, value) => write(field.clone(), Some(value.clone())),
            Deed::Carry(_) if in_pieces => why = Some(Why::SayHowMany),
            Deed::Carry(to) => write(Field::Place, Some(Value::Place((*to).clone()))),
            Deed::Sight(_) if in_pieces => {}
            Deed::Sight(at) => write(Field::Place, Some(Value::Place((*at).clone()))),
            Deed::Inspect(_, false) => {
                write(Field::Status, None);
                why = Some(Why::NoReason);
            }
            Deed::Inspect(status, true) => write(Field::Status, Some(Value::Status(*status))),
            Deed::Status(status, barred) => match (judged, barred) {
                (None, _) => write(Field::Status, Some(Value::Status(*status))),
                (Some(judged), Barred::Relapses) => {
                    write(Field::Status, Some(Value::Status(judged.was)));
                    why = Some(Why::NeedsInspection { was: judged.was });
                }
                (Some(judged), Barred::Stays) => {
                    write(Field::Status, None);
                    why = Some(Why::NeedsInspection { was: judged.was });
                }
            },
            Deed::Count(measure, ..) | Deed::Delta(measure, ..) => {
                if counted_in != Some(*measure) {
                    why = Some(Why::NotCounted);
                }
            }
            Deed::Acquire(_)
            | Deed::Reverse(_)
            | Deed::Cut(_)
            | Deed::Use(_)
            | Deed::Service(_)
            | Deed::Tell => {}
        }
    }
    if let Some(why) = why {
        line.lame(why);
    }
}

fn wear(log: &Log, lines: &[Line<'_>]) -> Wear {
    let mut wear = Wear::default();
    let acting = || lines.iter().filter(|line| line.acts());
    let services: Vec<_> = acting()
        .filter(|line| line.deeds.iter().any(|deed| matches!(deed, Deed::Service(_))))
        .collect();
    for line in acting() {
        for deed in &line.deeds {
            if let Deed::Use(minutes) = deed {
                let minutes = u64::from(*minutes);
                wear.minutes += minutes;
                if !services.iter().any(|service| service.knew(log, line)) {
                    wear.minutes_since_service += minutes;
                }
            }
            if let Deed::Service(day) = deed {
                wear.serviced_on = wear.serviced_on.max(Some(*day));
            }
        }
    }
    wear
}

/// The item as it counts: the first description with everything that became of it.
fn compose(
    first: &Item,
    fields: &BTreeMap<Field, Held>,
    counts: &BTreeMap<CountKey, Count>,
    lines: &mut [Line<'_>],
) -> Item {
    let mut item = edited(first, fields, lines);
    if first.quantity.is_none() {
        item.place = fields.get(&Field::Place).and_then(|held| match &held.value {
            Some(Value::Place(place)) => Some(place.clone()),
            _ => None,
        });
    }
    if let Some(Value::Status(status)) = fields.get(&Field::Status).and_then(|h| h.value.clone()) {
        item.status = status;
    }
    if let Some(Value::Condition(state)) =
        fields.get(&Field::Condition).and_then(|h| h.value.clone())
    {
        item.condition = Some(state);
    }
    let held = fields.get(&Field::Line).and_then(|held| held.value.clone());
    match &mut item.spec {
        Spec::Reel(reel) => {
            if let Some(Value::Line(line)) = held {
                reel.fitted = line.map(|line| *line);
            }
        }
        Spec::LineStock(stock) => {
            let left = counts.iter().find(|(key, _)| key.measure == Measure::Centimetres);
            // As written, until something is taken: counts are whole centimetres.
            let written = stock.length.map(cm_of);
            if let Some((_, count)) = left
                && written != Some(u64::from(count.low))
            {
                stock.length = Some(from_cm(count.low));
            }
        }
        Spec::Rod(_) | Spec::Lure(_) | Spec::Boat(_) | Spec::Device(_) => {}
    }
    if let Some(all) = first.quantity {
        let pieces = counts.iter().filter(|(key, _)| key.measure == Measure::Pieces);
        let total: u64 = pieces.clone().map(|(_, count)| u64::from(count.low)).sum();
        item.quantity = Some(u32::try_from(total).unwrap_or(u32::MAX));
        if let Spec::LineStock(stock) = &mut item.spec
            && let Some(length) = stock.length.filter(|_| total != u64::from(all))
            && let Some(cm) = (cm_of(length) * total).checked_div(u64::from(all))
        {
            stock.length = Some(from_cm(u32::try_from(cm).unwrap_or(u32::MAX)));
        }
        // Where most are; of places with as many the first.
        let most = pieces.rev().max_by_key(|(_, count)| count.low).filter(|(_, c)| c.low > 0);
        if let Some((key, _)) = most {
            item.place.clone_from(&key.place);
        }
    }
    item
}

/// The description with the columns that were edited, read anew. A column that cannot be read
/// stays as it was.
fn edited(first: &Item, fields: &BTreeMap<Field, Held>, lines: &mut [Line<'_>]) -> Item {
    let mut item = first.clone();
    for (field, held) in fields {
        let (Field::Column(column), Some(Value::Column(cell))) = (field, &held.value) else {
            continue;
        };
        match import::with_cell(&item, column, cell.as_ref()) {
            Ok(read) => item = read,
            Err(fault) => {
                let writers: BTreeSet<_> = held.claims.iter().map(|claim| &claim.event).collect();
                for line in lines.iter_mut().filter(|line| writers.contains(&line.reference)) {
                    line.lame(Why::Unreadable { column: column.clone(), fault: fault.clone() });
                }
            }
        }
    }
    item
}
