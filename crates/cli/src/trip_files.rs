//! Trips, their segments and needs, as three files of comma-separated values.
//!
//! | file | columns |
//! |---|---|
//! | trips | trip_id, date, boat, anglers (their number), angler_skill (a word each, with semicolons), angler_crank (left, right or reversible, likewise), water_temp_C, rod_limit, job_budget_minutes |
//! | segments | trip_id, segment, start, end, species, platform, depth_m, cover, cover_distance_m, toothy_probability, fish_mass_kg, current_m_s, water_temperature_c, line_out_m, wind_speed_m_s, wind_into_share, wind_across_share, wind_down_share, wind_calm_share |
//! | needs | trip_id, segment, lure_id, importance_1_3, copies_at_once, min_verdict |
//!
//! Columns are found by name; one that looks like a name of these misspelt is refused, others are
//! the guide's own. An empty cell means "not given". Whether the numbers make sense is the service's
//! to say.

use std::collections::BTreeMap;

use deepbend_contract::{WireWord, pb};
use deepbend_core::gear::{RetrieveSide, Word};
use deepbend_core::water::{Cover, Platform, Skill};
use deepbend_server::spelling::misspelt;

use crate::failure::{Exit, Failure};

/// Columns of a file.
struct Columns {
    /// Without these nothing can be planned.
    needed: &'static [&'static str],
    /// All that are read.
    read: &'static [&'static str],
}

const TRIPS: Columns = Columns {
    needed: &["trip_id", "boat", "angler_skill"],
    read: &[
        "trip_id",
        "date",
        "boat",
        "anglers",
        "angler_skill",
        "angler_crank",
        "water_temp_C",
        "rod_limit",
        "job_budget_minutes",
    ],
};

const SEGMENTS: Columns = Columns {
    needed: &["trip_id", "segment"],
    read: &[
        "trip_id",
        "segment",
        "start",
        "end",
        "species",
        "platform",
        "depth_m",
        "cover",
        "cover_distance_m",
        "toothy_probability",
        "fish_mass_kg",
        "current_m_s",
        "water_temperature_c",
        "line_out_m",
        "wind_speed_m_s",
        "wind_into_share",
        "wind_across_share",
        "wind_down_share",
        "wind_calm_share",
    ],
};

const NEEDS: Columns = Columns {
    needed: &["trip_id", "segment", "lure_id", "importance_1_3"],
    read: &["trip_id", "segment", "lure_id", "importance_1_3", "copies_at_once", "min_verdict"],
};

/// Name and text of each file.
#[derive(Clone, Debug)]
pub struct TripFiles {
    /// Trips.
    pub trips: (String, String),
    /// Parts of the trips.
    pub segments: (String, String),
    /// Lures to be fished.
    pub needs: (String, String),
}

/// Looks the headers over: a misspelt column would be left out without a word.
///
/// # Errors
/// Every column that is missing, or looks like one that is.
pub fn check_columns(files: &TripFiles) -> Result<(), Failure> {
    let mut faults = Vec::new();
    for (file, columns) in
        [(&files.trips, &TRIPS), (&files.segments, &SEGMENTS), (&files.needs, &NEEDS)]
    {
        let (name, header) = (&file.0, header(file)?);
        let there: Vec<&str> = header.iter().collect();
        let mut meant = misspelt(&there, columns.read);
        // A name without its unit or what it counts.
        let has = |start: &str| there.iter().any(|name| name.starts_with(start));
        for column in there.iter().filter(|name| !columns.read.contains(name)) {
            let start = format!("{column}_");
            let whole = columns.read.iter().find(|known| known.starts_with(&start));
            let told = meant.iter().any(|(known, _)| known == column);
            meant.extend(whole.filter(|_| !told && !has(&start)).map(|whole| (*column, *whole)));
        }
        faults.extend(meant.iter().map(|(column, right)| {
            format!("{name}: column {column} is not read; write {right}, or a name less like it")
        }));
        let is_meant = |column: &&&str| meant.iter().any(|(_, right)| right == *column);
        let missing = columns.needed.iter().filter(|column| !there.contains(column));
        let missing = missing.filter(|column| !is_meant(column));
        faults.extend(missing.map(|column| format!("{name}: there is no column {column}")));
        let shares = there.iter().any(|column| column.ends_with("_share"));
        let blows = there.contains(&"wind_speed_m_s") || is_meant(&&"wind_speed_m_s");
        if shares && !blows && columns.read.contains(&"wind_speed_m_s") {
            faults.push(format!("{name}: there are shares of the wind, but no wind_speed_m_s"));
        }
    }
    match faults.is_empty() {
        true => Ok(()),
        false => Err(Failure { lines: faults, ..Failure::silent(Exit::BadData) }),
    }
}

/// Ids of all trips.
///
/// # Errors
/// A file that cannot be read.
pub fn ids(files: &TripFiles) -> Result<Vec<String>, Failure> {
    Ok(rows(&files.trips)?.iter().map(|row| row.text("trip_id").to_owned()).collect())
}

/// Rows of no trip of the file, in words: nobody fishes what they ask for.
///
/// # Errors
/// A file that is no table with trips.
pub fn of_no_trip(files: &TripFiles) -> Result<Vec<String>, Failure> {
    let known = ids(files)?;
    let mut all = Vec::new();
    for file in [&files.segments, &files.needs] {
        let rows = rows(file)?;
        let lost = rows.iter().filter(|row| !known.iter().any(|id| id == row.text("trip_id")));
        all.extend(lost.map(|row| {
            let text =
                format!("`{}` is none of {}: left out", row.text("trip_id"), known.join(", "));
            row.fault("trip_id", &text)
        }));
    }
    Ok(all)
}

/// The trip with this id, or the only one. Its anglers fish all at once unless they take turns.
///
/// # Errors
/// Every cell that cannot be read, with file, row and column.
pub fn trip(files: &TripFiles, id: Option<&str>, take_turns: bool) -> Result<pb::Trip, Failure> {
    let trips = rows(&files.trips)?;
    let known: Vec<&str> = trips.iter().map(|row| row.text("trip_id")).collect();
    let row = match id {
        Some(id) => trips.iter().find(|row| row.text("trip_id") == id),
        None if trips.len() == 1 => trips.first(),
        None => None,
    };
    let row = row.ok_or_else(|| {
        let what = match id {
            Some(id) => format!("{}: no trip `{id}`", files.trips.0),
            None => format!("{}: which trip?", files.trips.0),
        };
        Failure::new(Exit::BadData, what).hint(format!("--trip with one of {}", known.join(", ")))
    })?;
    let id = row.text("trip_id");
    let mut faults = Vec::new();
    let anglers = anglers(row, &mut faults);
    let at_once: Vec<String> =
        if take_turns { Vec::new() } else { anglers.iter().map(|a| a.id.clone()).collect() };
    let temperature = row.number("water_temp_C", &mut faults);
    let of_trip = |rows: Vec<Row>| rows.into_iter().filter(|r| r.text("trip_id") == id);
    let segments = of_trip(rows(&files.segments)?)
        .map(|row| segment(&row, temperature, &at_once, &mut faults))
        .collect();
    let needs = of_trip(rows(&files.needs)?).map(|row| need(&row, &mut faults)).collect();
    let trip = pb::Trip {
        id: id.to_owned(),
        date: row.text("date").to_owned(),
        boat_id: row.text("boat").to_owned(),
        anglers,
        segments,
        needs,
        rod_limit: row.whole("rod_limit", &mut faults),
        job_budget_minutes: row.whole("job_budget_minutes", &mut faults),
    };
    if faults.is_empty() {
        Ok(trip)
    } else {
        Err(Failure { lines: faults, ..Failure::silent(Exit::BadData) })
    }
}

/// Anglers are told apart by their number, in the order of their skills.
fn anglers(row: &Row, faults: &mut Vec<String>) -> Vec<pb::Angler> {
    let words: Vec<&str> =
        row.text("angler_skill").split(';').map(str::trim).filter(|w| !w.is_empty()).collect();
    let count = row.whole("anglers", faults);
    if let Some(count) = count
        && usize::try_from(count) != Ok(words.len())
    {
        faults.push(row.fault(
            "angler_skill",
            &format!("{} skills for {count} anglers; write one for each, with semicolons", {
                words.len()
            }),
        ));
    }
    let skill = |word: &&str| Skill::from_word_or_nearest(word);
    let cranks: Vec<&str> = match row.text("angler_crank") {
        "" => Vec::new(),
        cranks => cranks.split(';').map(str::trim).collect(),
    };
    if !cranks.is_empty() && cranks.len() != words.len() {
        let (sides, skills) = (cranks.len(), words.len());
        let wrong = format!("{sides} sides for {skills} skills; write one for each, or none");
        faults.push(row.fault("angler_crank", &wrong));
    }
    for crank in cranks.iter().filter(|crank| RetrieveSide::from_word(crank).is_none()) {
        faults.push(row.fault("angler_crank", &none_of::<RetrieveSide>(crank)));
    }
    let side = |i: usize| cranks.get(i).and_then(|crank| RetrieveSide::from_word(crank));
    words
        .iter()
        .enumerate()
        .map(|(i, word)| {
            if skill(word).is_none() {
                let said = format!("{} (advanced)", none_of::<Skill>(word));
                faults.push(row.fault("angler_skill", &said));
            }
            let (skill, crank_side) = (wire(skill(word)), wire(side(i)));
            pb::Angler { id: format!("A{}", i + 1), skill, crank_side }
        })
        .collect()
}

fn segment(
    row: &Row,
    temperature: Option<f64>,
    at_once: &[String],
    faults: &mut Vec<String>,
) -> pb::Segment {
    let shares = [
        ("wind_into_share", pb::WindDirection::Into),
        ("wind_across_share", pb::WindDirection::Across),
        ("wind_down_share", pb::WindDirection::Down),
        ("wind_calm_share", pb::WindDirection::Calm),
    ];
    let wind_shares = shares
        .into_iter()
        .filter_map(|(column, direction)| {
            let share = row.number(column, faults).filter(|share| *share != 0.0)?;
            Some(pb::WindShare { direction: direction.into(), share })
        })
        .collect();
    pb::Segment {
        id: row.text("segment").to_owned(),
        start: row.text("start").to_owned(),
        end: row.text("end").to_owned(),
        water: Some(pb::Water {
            wind_speed_m_s: row.number("wind_speed_m_s", faults),
            platform: row.word::<Platform>("platform", faults),
            cover: row.word::<Cover>("cover", faults),
            cover_distance_m: row.number("cover_distance_m", faults),
            species: row.text("species").to_owned(),
            toothy_probability: row.number("toothy_probability", faults),
            fish_mass_kg: row.number("fish_mass_kg", faults),
            current_m_s: row.number("current_m_s", faults),
            depth_m: row.number("depth_m", faults),
            water_temperature_c: row.number("water_temperature_c", faults).or(temperature),
            line_out_m: row.number("line_out_m", faults),
            ..pb::Water::default()
        }),
        wind_shares,
        angler_ids: at_once.to_vec(),
    }
}

fn need(row: &Row, faults: &mut Vec<String>) -> pb::Need {
    let verdict = row.text("min_verdict");
    let name = format!("VERDICT_{}", verdict.to_uppercase());
    let min_verdict = pb::Verdict::from_str_name(&name);
    if !verdict.is_empty() && min_verdict.is_none() {
        let text = format!("`{verdict}` is no verdict; write excellent, good or workable");
        faults.push(row.fault("min_verdict", &text));
    }
    pb::Need {
        segment_id: row.text("segment").to_owned(),
        lure_id: row.text("lure_id").to_owned(),
        importance: row.whole("importance_1_3", faults).unwrap_or_default(),
        copy_count: row.whole("copies_at_once", faults).unwrap_or_default(),
        min_verdict: min_verdict.unwrap_or_default().into(),
    }
}

fn wire<W: WireWord>(word: Option<W>) -> i32 {
    word.map_or(0, |word| word.to_wire_word().into())
}

fn none_of<W: Word>(text: &str) -> String {
    let known: Vec<_> = W::ALL.iter().map(|word| word.as_word()).collect();
    format!("`{text}` is none of {}", known.join(", "))
}

struct Row {
    file: String,
    number: usize,
    cells: BTreeMap<String, String>,
}

fn reader(text: &str) -> csv::Reader<&[u8]> {
    let text = text.trim_start_matches('\u{feff}');
    csv::ReaderBuilder::new().flexible(true).trim(csv::Trim::All).from_reader(text.as_bytes())
}

fn no_table(file: &str, error: &csv::Error) -> Failure {
    Failure::new(Exit::BadData, format!("{file}: {error}"))
}

fn header((file, text): &(String, String)) -> Result<csv::StringRecord, Failure> {
    reader(text).headers().cloned().map_err(|error| no_table(file, &error))
}

fn rows(table: &(String, String)) -> Result<Vec<Row>, Failure> {
    let (file, text) = table;
    let header = header(table)?;
    if !header.iter().any(|name| name == "trip_id") {
        return Err(Failure::new(Exit::BadData, format!("{file}: there is no column trip_id")));
    }
    let bad = |error: csv::Error| no_table(file, &error);
    let mut reader = reader(text);
    let mut rows = Vec::new();
    for (index, record) in reader.records().enumerate() {
        let record = record.map_err(bad)?;
        let cells = header.iter().map(str::to_owned).zip(record.iter().map(str::to_owned));
        rows.push(Row { file: file.clone(), number: index + 1, cells: cells.collect() });
    }
    Ok(rows)
}

impl Row {
    fn text(&self, column: &str) -> &str {
        self.cells.get(column).map_or("", String::as_str)
    }

    fn fault(&self, column: &str, text: &str) -> String {
        format!("{}: row {}, column {column}: {text}", self.file, self.number)
    }

    fn number(&self, column: &str, faults: &mut Vec<String>) -> Option<f64> {
        let cell = self.text(column);
        if cell.is_empty() {
            return None;
        }
        let read = cell.parse::<f64>().ok().filter(|value| value.is_finite());
        if read.is_none() {
            faults.push(self.fault(column, &format!("`{cell}` is no number; write it like 12.5")));
        }
        read
    }

    fn whole(&self, column: &str, faults: &mut Vec<String>) -> Option<i32> {
        let cell = self.text(column);
        if cell.is_empty() {
            return None;
        }
        let read = cell.parse::<i64>();
        let whole = read.as_ref().ok().and_then(|number| i32::try_from(*number).ok());
        let wrong = match (&read, whole) {
            (_, Some(_)) => return whole,
            (Ok(_), None) => "is out of all range",
            (Err(error), None) if *error.kind() == std::num::IntErrorKind::PosOverflow => {
                "is out of all range"
            }
            (Err(_), None) => "is no whole number",
        };
        faults.push(self.fault(column, &format!("`{cell}` {wrong}; write one like 8")));
        None
    }

    fn word<W: Word + WireWord>(&self, column: &str, faults: &mut Vec<String>) -> i32 {
        let cell = self.text(column);
        if cell.is_empty() {
            return 0;
        }
        let found = W::from_word(cell);
        if found.is_none() {
            faults.push(self.fault(column, &none_of::<W>(cell)));
        }
        wire(found)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fleet;

    fn files() -> TripFiles {
        let file = |name: &str, text: &str| (name.to_owned(), text.to_owned());
        TripFiles {
            trips: file("trips.csv", fleet::TRIPS),
            segments: file("segments.csv", fleet::SEGMENTS),
            needs: file("needs.csv", fleet::NEEDS),
        }
    }

    // Source: the demo fleet's own files, counted by hand.
    #[test]
    fn the_first_trip_of_the_demo_is_read() {
        let trip = trip(&files(), Some("T1"), false).unwrap();
        assert_eq!((trip.anglers.len(), trip.segments.len(), trip.needs.len()), (3, 2, 15));
        assert_eq!(trip.anglers[2].skill, i32::from(pb::Skill::Expert));
        assert_eq!(trip.rod_limit, Some(8));
        let second = &trip.segments[1];
        assert_eq!(second.angler_ids, ["A1", "A2", "A3"]);
        assert_eq!(second.wind_shares.len(), 3);
        assert_eq!(second.water.as_ref().unwrap().water_temperature_c, Some(13.0));
        assert!(trip.needs.iter().all(|need| need.min_verdict == i32::from(pb::Verdict::Good)));
    }

    // Source: the table of columns above.
    #[test]
    fn anglers_say_on_which_side_they_crank() {
        let mut files = files();
        let sides = |cell: &str| {
            let mut lines = fleet::TRIPS.lines();
            let head = lines.next().unwrap();
            format!("{head},angler_crank\n{},{cell}\n", lines.next().unwrap())
        };
        files.trips.1 = sides("left;reversible;right");
        let anglers = trip(&files, Some("T1"), false).unwrap().anglers;
        let said: Vec<_> = anglers.iter().map(pb::Angler::crank_side).collect();
        use pb::RetrieveSide::{Left, Reversible, Right};
        assert_eq!(said, [Left, Reversible, Right]);
        files.trips.1 = sides("left;up");
        let said = trip(&files, Some("T1"), false).unwrap_err().lines.join("\n");
        assert!(said.contains("column angler_crank: 2 sides for 3 skills"), "{said}");
        assert!(said.contains("`up` is none of left, right"), "{said}");
    }

    // Common practice, no source: a file that is not understood is refused, not planned in a calm.
    #[test]
    fn a_misspelt_column_is_refused_with_the_right_name() {
        assert_eq!(check_columns(&files()), Ok(()));
        let mut files = files();
        files.trips.1 = files.trips.1.replacen("rod_limit", "rod_limits", 1);
        files.segments.1 = files.segments.1.replacen("wind_speed_m_s", "wind_sped_m_s", 1);
        files.segments.1 = files.segments.1.replacen("toothy_probability", "toothy_probabilty", 1);
        files.segments.1 = files.segments.1.replacen("depth_m", "depth", 1);
        files.needs.1 = files.needs.1.replacen("importance_1_3", "weight", 1);
        files.needs.1 = files.needs.1.replacen("copies_at_once", "Copies_at_once", 1);
        let right = "or a name less like it";
        let said = check_columns(&files).unwrap_err().lines;
        assert_eq!(
            said,
            [
                format!("trips.csv: column rod_limits is not read; write rod_limit, {right}"),
                format!("segments.csv: column depth is not read; write depth_m, {right}"),
                format!(
                    "segments.csv: column toothy_probabilty is not read; write \
                     toothy_probability, {right}"
                ),
                format!(
                    "segments.csv: column wind_sped_m_s is not read; write wind_speed_m_s, {right}"
                ),
                format!(
                    "needs.csv: column Copies_at_once is not read; write copies_at_once, {right}"
                ),
                "needs.csv: there is no column importance_1_3".to_owned(),
            ]
        );
        files.segments.1 = fleet::SEGMENTS.replacen("wind_speed_m_s", "breeze", 1);
        let said = check_columns(&files).unwrap_err().lines.join("\n");
        assert!(said.contains("shares of the wind, but no wind_speed_m_s"), "{said}");
    }

    // Common practice, no source.
    #[test]
    fn every_bad_cell_is_named() {
        let mut files = files();
        files.trips.1 = files.trips.1.replace("novice;intermediate;advanced", "novice;wizard");
        files.segments.1 = files.segments.1.replace("perch,boat,5", "perch,balloon,deep");
        let failure = trip(&files, Some("T1"), true).unwrap_err();
        assert_eq!(failure.exit, Exit::BadData);
        let said = failure.lines.join("\n");
        for part in [
            "trips.csv: row 1, column angler_skill: 2 skills for 3 anglers",
            "`wizard` is none of novice, intermediate, expert (advanced)",
            "segments.csv: row 1, column platform: `balloon` is none of boat",
            "segments.csv: row 1, column depth_m: `deep` is no number",
        ] {
            assert!(said.contains(part), "{part} not in\n{said}");
        }
        files.needs.1 = files.needs.1.replacen("T1,a,", "T9,a,", 1);
        let said = of_no_trip(&files).unwrap();
        assert_eq!(said, ["needs.csv: row 1, column trip_id: `T9` is none of T1, T2: left out"]);
        let failure = trip(&files, None, true).unwrap_err();
        assert_eq!(failure.hint.as_deref(), Some("--trip with one of T1, T2"));
    }
}
