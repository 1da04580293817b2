//! Species as rows of traits: the model judges by mouth, teeth and habit, never by a name.

use std::collections::BTreeMap;

use serde::Deserialize;

use crate::gear::{normalise, words};

words! {
    /// What a fish does to a line with its mouth.
    Teeth {
        /// No teeth that matter.
        None = "none",
        /// Rough jaws or cutting gill plates: ask for thickness, not wire.
        Rasping = "rasping",
        /// Small teeth: a little thickness.
        Small = "small",
        /// Teeth that cut: ask for a bite-proof leader.
        Cutting = "cutting",
    }
}

words! {
    /// Where a species is fished for.
    WaterKind {
        /// Lakes and rivers.
        Fresh = "fresh",
        /// Brackish water.
        Brackish = "brackish",
        /// Sea.
        Salt = "salt",
    }
}

/// How a species fights.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
pub struct Habit {
    /// Leaps clear of the water.
    pub jumps: bool,
    /// Shakes its head, at the surface or below.
    pub shakes: bool,
    /// Dives for cover.
    pub dives: bool,
    /// Length of the first run of a usual fish, m.
    pub run_m: f64,
}

/// One row of traits.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Species {
    /// Name, lower case, words joined by underscores.
    pub name: String,
    /// Other names for the same row of traits.
    #[serde(default)]
    pub also: Vec<String>,
    /// Scientific name, for those who cite.
    pub scientific: String,
    /// Waters it is fished in.
    pub waters: Vec<WaterKind>,
    /// Force that tears a hook out of the mouth, N.
    pub tear_n: f64,
    /// Factor on the force to seat a hook; 1 is a bass's lip.
    pub tissue: f64,
    /// Teeth.
    pub teeth: Teeth,
    /// Gill plates that cut.
    pub cutting_gill_plate: bool,
    /// Habits.
    pub habit: Habit,
    /// Mass of a usual fish, kg.
    pub usual_kg: f64,
    /// Mass of a large fish, kg.
    pub large_kg: f64,
    /// Usual drag at the strike, kg-force, least and greatest.
    pub drag_kgf: [f64; 2],
    /// Usual leader strength in open water, kg-force, least and greatest; 0 means none needed.
    pub leader_kgf: [f64; 2],
    /// Diameter of fluorocarbon that survives its teeth or jaws, mm; 0 where no thickness is asked.
    pub leader_mm: f64,
    /// Standard or length-weight equation log10(W/g) = a + b log10(L/mm), where one is published.
    #[serde(default)]
    pub length_weight: Option<LengthWeight>,
    /// Water temperature above which the fish is under stress, degrees Celsius, where known.
    #[serde(default)]
    pub stress_c: Option<f64>,
    /// Depth below which the swim bladder is at risk, m, where known.
    #[serde(default)]
    pub barotrauma_m: Option<f64>,
    /// Where the numbers come from.
    pub source: String,
}

/// A name that differs by more letters is another name.
const MOST_LETTERS_OFF: usize = 2;

/// Letters to insert, delete or replace (Levenshtein 1966).
fn letters_off(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, x) in a.chars().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, y) in b.iter().enumerate() {
            let replaced = diagonal + usize::from(x != *y);
            diagonal = row[j + 1];
            row[j + 1] = replaced.min(diagonal + 1).min(row[j] + 1);
        }
    }
    row[b.len()]
}

/// A published length-weight equation: log10(W/g) = a + b x + c x^2, x = log10(total length/mm).
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LengthWeight {
    /// Intercept.
    pub a: f64,
    /// Slope.
    pub b: f64,
    /// Quadratic term.
    #[serde(default)]
    pub c: f64,
    /// Least length of validity, mm.
    pub min_mm: f64,
    /// Source.
    pub source: String,
}

impl LengthWeight {
    /// Mass in grams at a total length in millimetres; `None` below the range of validity.
    #[must_use]
    pub fn mass_g(&self, length_mm: f64) -> Option<f64> {
        if length_mm.is_nan() || length_mm < self.min_mm {
            return None;
        }
        let x = libm::log10(length_mm);
        Some(libm::exp10(self.a + self.b * x + self.c * x * x))
    }
}

/// All species, found by name.
#[derive(Clone, Debug)]
pub struct SpeciesTable {
    rows: Vec<Species>,
    by_name: BTreeMap<String, usize>,
    unknown: usize,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SpeciesFile {
    species: Vec<Species>,
}

impl SpeciesTable {
    /// Name of the row for a species that is not in the table: middling traits.
    pub const UNKNOWN: &'static str = "unknown";

    /// Reads the table.
    ///
    /// # Errors
    /// Says what is wrong with the text: it is no such table, a name stands twice, or the row
    /// `unknown` is missing.
    pub fn parse(text: &str) -> Result<Self, String> {
        let file: SpeciesFile = toml::from_str(text).map_err(|e| e.to_string())?;
        let mut by_name = BTreeMap::new();
        for (index, row) in file.species.iter().enumerate() {
            for name in std::iter::once(&row.name).chain(&row.also) {
                if by_name.insert(normalise(name), index).is_some() {
                    return Err(format!("species `{name}` stands twice"));
                }
            }
        }
        let unknown = *by_name.get(Self::UNKNOWN).ok_or("the row `unknown` is missing")?;
        Ok(Self { rows: file.species, by_name, unknown })
    }

    /// The row of a name; spaces and underscores are alike.
    #[must_use]
    pub fn find(&self, name: &str) -> Option<&Species> {
        self.by_name.get(&normalise(name)).map(|&i| &self.rows[i])
    }

    /// The name nearest to a misspelt one: at most two letters off.
    #[must_use]
    pub fn nearest(&self, name: &str) -> Option<String> {
        let wanted = normalise(name);
        let distance = |known: &str| letters_off(&wanted, known);
        let best = self.by_name.keys().min_by_key(|known| distance(known))?;
        let near = distance(best) <= MOST_LETTERS_OFF && wanted.len() > MOST_LETTERS_OFF;
        near.then(|| best.replace('_', " "))
    }

    /// The row with middling traits.
    #[must_use]
    pub fn unknown(&self) -> &Species {
        &self.rows[self.unknown]
    }

    /// All rows in the order of the file.
    #[must_use]
    pub fn rows(&self) -> &[Species] {
        &self.rows
    }
}
