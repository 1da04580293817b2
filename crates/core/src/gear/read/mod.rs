//! Reading of a line of free text into a spec.
//!
//! Nothing here fails: what cannot be read becomes a finding, and the field stays empty. The
//! [`columns`] of an inventory file are stricter: a cell that cannot be read is a fault.

use super::{Finding, FindingCode, Leader, LeaderMaterial, Line, Lure, Reel, Rod};
use crate::quantity::read::ReadError;
use crate::quantity::read::text::{Amount, Cursor, Kind, LONGEST, Term};

pub mod columns;
mod hook;
mod line;
mod lure;
mod reel;
mod rod;
mod vocabulary;

pub use hook::{WireClass, hook_wire};

/// Reads a rod: `7'2" MH fast casting graphite 3/8-1 oz 12-20 lb`.
#[must_use]
pub fn read_rod(text: &str) -> (Rod, Vec<Finding>) {
    rod::read(text)
}

/// Reads a reel: `3000 spinning 5.2:1 78 cm 7 kg 0.26/170`.
#[must_use]
pub fn read_reel(text: &str) -> (Reel, Vec<Finding>) {
    reel::read(text)
}

/// Reads a main line: `braid PE 1.5 (13 kg)`, `nylon 0.33 mm 16 lb`.
#[must_use]
pub fn read_line(text: &str) -> (Line, Vec<Finding>) {
    line::read_line(text)
}

/// Reads a leader: `fluorocarbon 0.90 mm 40 kg 60 cm`, `7x7 steel wire 14 kg 45 cm`, `none`.
#[must_use]
pub fn read_leader(text: &str) -> (Leader, Vec<Finding>) {
    let (mut leader, _, mut findings) = line::read_leader(text);
    if leader.material.is_none() && !text.trim().is_empty() {
        // Never bite-proof by mistake.
        leader.material = Some(LeaderMaterial::Fluorocarbon);
        let text = "no material was read: taken as fluorocarbon, which teeth cut";
        findings.push(Finding::new(FindingCode::NearestWord, "leader.material", text));
    }
    (leader, findings)
}

/// Reads a lure: `crankbait 18 g 2 trebles size 4 0.8 mm`, `paddle tail jig 14 g head 9 g tail`.
#[must_use]
pub fn read_lure(text: &str) -> (Lure, Vec<Finding>) {
    lure::read(text)
}

/// Longest phrase of the vocabularies, in words.
const LONGEST_PHRASE: usize = 4;

/// Words that say nothing about the gear.
const FILLERS: [&str; 29] = [
    "a", "an", "and", "the", "with", "of", "for", "on", "at", "rod", "reel", "line", "lure",
    "leader", "action", "power", "taper", "blank", "test", "rated", "rating", "class", "x",
    "about", "approx", "ca", "turn", "per", "crank",
];

/// A text that is being read, with what was found odd so far.
#[derive(Debug)]
struct Scan {
    cursor: Cursor,
    /// Name of the thing, for example `rod`.
    thing: &'static str,
    findings: Vec<Finding>,
    ignored: Vec<String>,
}

impl Scan {
    fn new(text: &str, thing: &'static str) -> Self {
        let mut scan =
            Self { cursor: Cursor::new(text), thing, findings: Vec::new(), ignored: Vec::new() };
        if text.chars().count() > LONGEST {
            scan.odd(
                FindingCode::TextIgnored,
                thing,
                format!("only the first {LONGEST} characters were read"),
            );
        }
        if let Some(number) = scan.cursor.signed() {
            let text = format!("`-{number}` was read as {number}: gear has no negative numbers");
            scan.odd(FindingCode::TextIgnored, thing, text);
        }
        scan
    }

    fn odd(&mut self, code: FindingCode, field: &str, text: String) {
        self.findings.push(Finding::new(code, field, text));
    }

    /// The value, or a finding about why there is none.
    fn keep<T>(&mut self, read: Result<T, ReadError>, field: &str) -> Option<T> {
        read.map_err(|error| self.findings.push(error.into_finding(field))).ok()
    }

    /// Fills an empty slot; another value for the same field is left out.
    fn set<T: PartialEq>(&mut self, slot: &mut Option<T>, value: Option<T>, written: &str) {
        match (&slot, value) {
            (None, value) => *slot = value,
            (Some(old), Some(new)) if *old != new => self.ignored.push(written.to_owned()),
            (Some(_), _) => {}
        }
    }

    /// The longest phrase at this place that `lookup` knows, moving past it. Words are joined by
    /// underscores.
    fn phrase<T>(&mut self, lookup: impl Fn(&str) -> Option<T>) -> Option<(T, String)> {
        let mut words = Vec::new();
        let mut ahead = 0;
        while words.len() < LONGEST_PHRASE
            && let Some(word) = self.cursor.word_at(ahead)
        {
            ahead += 1;
            words.push((word.to_owned(), ahead));
            let joined = matches!(self.cursor.sign_at(ahead), Some('-' | '_'));
            ahead += usize::from(joined);
        }
        while let Some((_, length)) = words.last() {
            let length = *length;
            let text = words.iter().map(|w| w.0.as_str()).collect::<Vec<_>>().join("_");
            if let Some(found) = lookup(&text) {
                self.cursor.skip(length);
                return Some((found, text));
            }
            words.pop();
        }
        None
    }

    /// A phrase of a vocabulary that also knows words near to its own.
    fn near<T>(
        &mut self,
        field: &str,
        lookup: impl Fn(&str) -> Option<(T, bool)>,
        name: impl Fn(&T) -> String,
    ) -> Option<T> {
        let ((value, near), text) = self.phrase(lookup)?;
        if near {
            let text = format!("`{}` was read as {}", text.replace('_', " "), name(&value));
            self.odd(FindingCode::NearestWord, field, text);
        }
        Some(value)
    }

    /// Moves past one token; a word or number that says something is noted as not read.
    fn pass(&mut self) {
        if let Some(token) = self.cursor.next_token() {
            let filler = FILLERS.contains(&token.text.as_str());
            match token.kind {
                Kind::Word | Kind::Number(_) if !filler => self.ignored.push(token.text),
                Kind::Word | Kind::Number(_) | Kind::Sign(_) => {}
            }
        }
    }

    fn finish(mut self) -> Vec<Finding> {
        if !self.ignored.is_empty() {
            let words = crate::quantity::read::quoted(&self.ignored.join(" "));
            let thing = self.thing;
            self.odd(FindingCode::TextIgnored, thing, format!("{words} was not understood"));
        }
        self.findings
    }
}

/// The value of an amount that is no range.
fn single(amount: &Amount) -> Result<&Term, ReadError> {
    match amount {
        Amount::One(term) | Amount::AtMost(term) | Amount::AtLeast(term) => Ok(term),
        Amount::Between(a, b) => Err(ReadError::unread(format!(
            "`{}-{}` is a range, but one value is wanted here",
            a.number.text, b.number.text
        ))),
    }
}
