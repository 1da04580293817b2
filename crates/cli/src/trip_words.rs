//! What a service says of the fields of a trip, in the words of the files and options that told it.

use deepbend_contract::pb;
use deepbend_contract::pb::watch_plan_request::Work;

use crate::failure::Failure;

/// Fields and what the command line calls them.
const OPTIONS: &[(&str, &str)] = &[
    ("pool", "the place of --from"),
    ("place_ids", "the place of --from"),
    ("keep_rod_ids", "the rods of --keep"),
    ("tube_length_m", "--tube"),
    ("resupply_hours", "--resupply"),
    ("outfit_count", "--most"),
    ("gap_count", "--count"),
    ("budget_cents", "--budget"),
    ("prices", "--price"),
    ("added_wind_m_s", "--more-wind"),
    ("work_budget_nodes", "--work"),
    ("lost_item_ids", "what --lost names"),
    ("lost_pieces", "what --lost names"),
    ("segment_ids", "what --segment names"),
    ("day_count", "--days"),
];

/// Columns of the files that the contract calls otherwise.
const COLUMNS: &[(&str, &str)] = &[
    ("boat_id", "boat"),
    ("importance", "importance_1_3"),
    ("copy_count", "copies_at_once"),
    ("segment_id", "segment"),
    ("skill", "angler_skill"),
    ("crank_side", "angler_crank"),
    ("wind_shares", "the shares of the wind"),
];

/// Words of the contract in the text of a fault, and what the files call them.
const IN_TEXTS: &[(&str, &str)] = &[
    ("VERDICT_EXCELLENT", "excellent"),
    ("VERDICT_GOOD", "good"),
    ("VERDICT_WORKABLE", "workable"),
    ("with copy_count", "with copies_at_once"),
];

/// What is asked for, as far as words need it.
#[derive(Debug, Default)]
pub(crate) struct Asked {
    trips: Vec<pb::Trip>,
    pins: Vec<pb::Pin>,
    lost: Vec<pb::PieceCount>,
}

impl Asked {
    pub(crate) fn of(work: &Work) -> Self {
        let (trips, pins) = match work {
            Work::PlanTrip(r) => (r.trip.iter().cloned().collect(), r.pins.clone()),
            Work::PlanFleet(r) => (r.trips.clone(), r.pins.clone()),
            Work::CheckCoverage(r) => (r.trip.iter().cloned().collect(), Vec::new()),
            Work::FindGaps(r) => (of_season(&r.trips), Vec::new()),
            Work::DesignSet(r) => (of_season(&r.trips), Vec::new()),
        };
        let lost = match work {
            Work::CheckCoverage(r) => r.lost_pieces.clone(),
            Work::PlanTrip(_) | Work::PlanFleet(_) | Work::FindGaps(_) | Work::DesignSet(_) => {
                Vec::new()
            }
        };
        Self { trips, pins, lost }
    }

    /// A failure as a person reads it who wrote files and options.
    pub(crate) fn told(&self, failure: Failure) -> Failure {
        let lines = failure.lines.iter().map(|line| self.in_words(line)).collect();
        Failure { lines, ..failure }
    }

    fn in_words(&self, line: &str) -> String {
        // An id that names nothing is named already: its field stands behind it in brackets.
        if line.starts_with("not in the inventory") {
            return without_fields(line);
        }
        let (field, rest) = line.split_once(' ').unwrap_or((line, ""));
        let parts: Vec<(&str, Option<usize>)> = field.split('.').map(part).collect();
        match self.words(&parts) {
            Some(words) if field.starts_with("lost_pieces") => {
                let id = rest.split(|c: char| !c.is_alphanumeric() && c != '-' && c != '_').nth(1);
                let whole = format!("without a count: --lost {}", id.unwrap_or("ID"));
                format!("{words} {}", rest.replace("in lost_item_ids", &whole))
            }
            Some(words) => {
                let all = format!("{words} {rest}");
                IN_TEXTS.iter().fold(all, |text, (wire, word)| text.replace(wire, word))
            }
            None => line.to_owned(),
        }
    }

    fn words(&self, parts: &[(&str, Option<usize>)]) -> Option<String> {
        let (first, at) = parts.first()?;
        if let [("lost_pieces", Some(at)), ("quantity", None)] = parts
            && let Some(piece) = self.lost.get(*at)
        {
            return Some(format!("the count of --lost {}", piece.item_id));
        }
        if let Some((_, words)) = OPTIONS.iter().find(|(field, _)| field == first) {
            return Some((*words).to_owned());
        }
        match *first {
            "pins" => Some(format!("what {} names", option(self.pins.get((*at)?)?.rule()))),
            "trip" | "trips" => self.of_trip(self.trips.get(at.unwrap_or(0))?, &parts[1..]),
            _ => None,
        }
    }

    fn of_trip(&self, trip: &pb::Trip, parts: &[(&str, Option<usize>)]) -> Option<String> {
        let mut words = format!("trip {}", trip.id);
        let mut named = None;
        let mut part = None;
        // What has no name is told by its place.
        let or_row = |id: &str, row: usize| match id {
            "" => format!("number {}", row + 1),
            id => id.to_owned(),
        };
        for (name, at) in parts {
            match (*name, *at) {
                ("trip" | "water", None) => {}
                ("segments", Some(at)) => {
                    part = Some(trip.segments.get(at)?);
                    words.push_str(&format!(", segment {}", or_row(&part?.id, at)));
                }
                ("wind_shares", Some(at)) => {
                    named = Some(share_column(part?.wind_shares.get(at)?.direction()));
                    break;
                }
                ("needs", Some(at)) => {
                    let need = trip.needs.get(at)?;
                    let lure = match need.lure_id.as_str() {
                        "" => format!(", need {}", or_row("", at)),
                        id => format!(" {id}"),
                    };
                    words.push_str(&format!(", segment {}{lure}", need.segment_id));
                }
                ("anglers", Some(at)) => {
                    words.push_str(&format!(", angler {}", trip.anglers.get(at)?.id));
                }
                ("day_count", None) => return Some("--days".to_owned()),
                ("id", None) if part.is_some() => named = Some("segment"),
                ("id", None) => named = Some("trip_id"),
                (name, _) => named = Some(name),
            }
        }
        if let Some(name) = named {
            let column = COLUMNS.iter().find(|(field, _)| *field == name);
            words.push_str(&format!(": {}", column.map_or(name, |(_, column)| column)));
        }
        Some(words)
    }
}

fn of_season(trips: &[pb::SeasonTrip]) -> Vec<pb::Trip> {
    trips.iter().filter_map(|one| one.trip.clone()).collect()
}

/// A text without the fields at the beginning of brackets.
fn without_fields(line: &str) -> String {
    let mut parts = line.split(" (");
    let mut out = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        let end = part.find([';', ')']).unwrap_or(part.len());
        let (field, rest) = part.split_at(end);
        let is_field = (field.contains('_') || field == "id") && !field.contains(' ');
        match (is_field, rest.strip_prefix("; ")) {
            (true, Some(near)) => out.push_str(&format!(" ({near}")),
            (true, None) => out.push_str(rest.strip_prefix(')').unwrap_or(rest)),
            (false, _) => out.push_str(&format!(" ({part}")),
        }
    }
    out
}

/// The column of a share of the wind.
fn share_column(direction: pb::WindDirection) -> &'static str {
    match direction {
        pb::WindDirection::Into => "wind_into_share",
        pb::WindDirection::Across => "wind_across_share",
        pb::WindDirection::Down => "wind_down_share",
        pb::WindDirection::Calm => "wind_calm_share",
        pb::WindDirection::Unspecified => "the shares of the wind",
    }
}

/// "needs[3]" as a name and a number.
fn part(text: &str) -> (&str, Option<usize>) {
    let Some((name, at)) = text.split_once('[') else { return (text, None) };
    (name, at.trim_end_matches(']').parse().ok())
}

fn option(rule: pb::PinRule) -> &'static str {
    match rule {
        pb::PinRule::Take => "--take",
        pb::PinRule::Leave => "--leave",
        pb::PinRule::Pair => "--pair",
        pb::PinRule::Hold => "--hold",
        pb::PinRule::Unspecified => "a pin",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Common practice, no source: a person is told of what he wrote.
    #[test]
    fn fields_are_named_as_they_were_written() {
        let pin = |rule: pb::PinRule| pb::Pin { rule: rule.into(), ..pb::Pin::default() };
        let need = pb::Need {
            segment_id: "b".to_owned(),
            lure_id: "L17".to_owned(),
            ..pb::Need::default()
        };
        let share = pb::WindShare { direction: pb::WindDirection::Across.into(), share: 5.0 };
        let nameless = pb::Segment { wind_shares: vec![share], ..pb::Segment::default() };
        let segment = pb::Segment { id: "b".to_owned(), ..nameless.clone() };
        let trip = pb::Trip {
            id: "T1".to_owned(),
            segments: vec![segment, nameless],
            needs: vec![need, pb::Need { segment_id: "b".to_owned(), ..pb::Need::default() }],
            ..pb::Trip::default()
        };
        let pins = vec![pin(pb::PinRule::Leave), pin(pb::PinRule::Take)];
        let lost = vec![pb::PieceCount { item_id: "L10".to_owned(), quantity: 0 }];
        let asked = Asked { trips: vec![trip], pins, lost };
        for (wire, words) in [
            (
                "pins[1].item_id is R22, which lies at B3",
                "what --take names is R22, which lies at B3",
            ),
            ("keep_rod_ids name R99", "the rods of --keep name R99"),
            (
                "lost_pieces[0].quantity is 0; right is 1",
                "the count of --lost L10 is 0; right is 1",
            ),
            ("lost_pieces[0].item_id is R16; right is", "what --lost names is R16; right is"),
            ("trip.needs[0].importance is 9", "trip T1, segment b L17: importance_1_3 is 9"),
            (
                "trips[0].trip.segments[0].water.wind_speed_m_s is -1",
                "trip T1, segment b: wind_speed_m_s is -1",
            ),
            ("trip.boat_id is missing", "trip T1: boat is missing"),
            (
                "trip.segments[0].wind_shares[0].share is 5; right is 0 to 1",
                "trip T1, segment b: wind_across_share is 5; right is 0 to 1",
            ),
            ("trip.segments[1].id is missing", "trip T1, segment number 2: segment is missing"),
            (
                "trip.needs[1].lure_id is missing",
                "trip T1, segment b, need number 2: lure_id is missing",
            ),
            (
                "trip.needs[0].min_verdict is poor; right is VERDICT_EXCELLENT or VERDICT_GOOD",
                "trip T1, segment b L17: min_verdict is poor; right is excellent or good",
            ),
            (
                "trip.needs[0].lure_id is L17 again; right is each once, with copy_count",
                "trip T1, segment b L17: lure_id is L17 again; right is each once, with \
                 copies_at_once",
            ),
            ("no service answered", "no service answered"),
            (
                "not in the inventory: rod R99 (keep_rod_ids; there are R09, R19), lure L99 \
                 (trip.needs[0].lure_id)",
                "not in the inventory: rod R99 (there are R09, R19), lure L99",
            ),
            (
                "not in the inventory: item R99 (id; there are R09, R19)",
                "not in the inventory: item R99 (there are R09, R19)",
            ),
        ] {
            assert_eq!(asked.in_words(wire), words);
        }
    }
}
