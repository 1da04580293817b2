//! The register of equations and the mechanics that it lists cannot drift apart.
//!
//! Source: the rule of this project that every law has a row with its source and a check. The
//! sources are read as text: what counts as public, and which tests exist, follows from them.

#![allow(missing_docs, reason = "tests")]
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

use std::collections::{BTreeMap, BTreeSet};

const REGISTER: &str = include_str!("../EQUATIONS.md");

macro_rules! texts {
    ($root:literal, [$($path:literal),+ $(,)?]) => {
        &[$(($path, include_str!(concat!($root, $path, ".rs")))),+]
    };
}

/// Modules by their path below `mechanics`; `every_module_is_read` finds one left out.
const MODULES: &[(&str, &str)] = texts!(
    "../src/mechanics/",
    [
        "mod",
        "air",
        "blank",
        "carry",
        "domain",
        "flight",
        "head_shake",
        "hook",
        "infer/mod",
        "infer/along",
        "infer/family",
        "infer/label",
        "infer/measured",
        "launch",
        "line",
        "payout",
        "sea_water",
        "sphere",
        "spool",
        "stopping",
        "vibration",
        "wind_on_line",
    ]
);

/// Tests beside the modules' own.
const TESTS: &[(&str, &str)] = texts!(
    "",
    [
        "mechanics_bend",
        "mechanics_by_hand",
        "mechanics_flight",
        "mechanics_line_reference",
        "mechanics_payout",
    ]
);

/// How a check starts: what the value comes from. The first six lie outside this project.
const OUTSIDE: [&str; 6] =
    ["published: ", "library: ", "closed form: ", "by hand: ", "from memory: ", "practice: "];
/// A check of this project against itself; allowed where the row says that there is none outside.
const INSIDE: &str = "none from outside: ";

/// Module path as in Rust, without `mod`.
fn module(path: &str) -> String {
    path.trim_end_matches("mod").trim_end_matches('/').replace('/', "::")
}

fn joined(module: &str, name: &str) -> String {
    if module.is_empty() { name.to_owned() } else { format!("{module}::{name}") }
}

/// A text before its tests, and from there on.
fn halves(text: &str) -> (&str, &str) {
    text.split_at(text.find("\nmod tests {").unwrap_or(text.len()))
}

/// The identifier at the start of a text.
fn identifier(text: &str) -> &str {
    text.split(|c: char| !(c.is_alphanumeric() || c == '_')).next().unwrap_or("")
}

/// What follows `fn ` in a line that declares a public function.
fn public_function(line: &str) -> Option<&str> {
    let mut rest = line.trim_start().strip_prefix("pub ")?;
    for word in ["const ", "async ", "unsafe ", "extern \"C\" "] {
        rest = rest.strip_prefix(word).unwrap_or(rest);
    }
    rest.strip_prefix("fn ").map(identifier)
}

/// `Type` of a line `impl Type {` or `impl<…> Type<…> {`.
fn implemented(line: &str) -> Option<&str> {
    let rest = line.strip_prefix("impl")?;
    let rest = if rest.starts_with('<') { rest.split_once('>')?.1 } else { rest };
    let name = rest.split(" for ").last()?;
    Some(identifier(name.trim_start()))
}

/// Public functions of the modules: key and module.
fn functions() -> BTreeMap<String, &'static str> {
    let mut found = BTreeMap::new();
    for (path, text) in MODULES {
        let module = module(path);
        let mut owner = "";
        for line in halves(text).0.lines() {
            if let Some(name) = implemented(line) {
                owner = name;
            } else if line == "}" {
                owner = "";
            }
            if let Some(name) = public_function(line) {
                let name = joined(owner, name);
                found.insert(joined(&module, &name), *path);
            }
        }
    }
    found
}

/// Every test by `module::name` or `file::name`, with the text of the tests it stands in.
fn tests() -> BTreeMap<String, &'static str> {
    let mut found = BTreeMap::new();
    let own = MODULES.iter().map(|(path, text)| (module(path), halves(text).1));
    let beside = TESTS.iter().map(|(path, text)| ((*path).to_owned(), *text));
    for (place, text) in own.chain(beside) {
        let mut marked = false;
        for line in text.lines().map(str::trim_start) {
            if let Some(name) = line.strip_prefix("fn ")
                && marked
            {
                found.insert(format!("{place}::{}", identifier(name)), text);
            }
            marked = line == "#[test]" || (marked && line.starts_with("#["));
        }
    }
    found
}

/// Rows of the table below a heading, cells trimmed; without head and rule.
fn rows(heading: &str) -> Vec<Vec<&'static str>> {
    let start = REGISTER.find(heading).unwrap();
    let section = &REGISTER[start + heading.len()..];
    let section = &section[..section.find("\n## ").unwrap_or(section.len())];
    let cells = |line: &'static str| {
        line.trim().trim_matches('|').split('|').map(str::trim).collect::<Vec<_>>()
    };
    let lines = section.lines().filter(|line| line.starts_with('|'));
    lines.map(cells).filter(|row| row[0].starts_with('`')).collect()
}

fn laws() -> Vec<Vec<&'static str>> {
    rows("\n## Laws and numbers\n")
}

fn plumbing() -> Vec<Vec<&'static str>> {
    rows("\n## Plumbing\n")
}

fn key(row: &[&'static str]) -> &'static str {
    row[0].trim_matches('`')
}

#[test]
fn every_module_is_read() {
    let read: BTreeSet<String> = MODULES.iter().map(|(path, _)| module(path)).collect();
    for (path, text) in MODULES {
        for line in halves(text).0.lines() {
            if let Some(name) = line.strip_prefix("pub mod ") {
                let name = joined(&module(path), identifier(name));
                assert!(read.contains(&name), "{name} is public and not in MODULES");
            }
        }
    }
}

#[test]
fn every_public_function_has_one_row() {
    let mut listed = BTreeMap::new();
    for row in laws().iter().chain(&plumbing()) {
        *listed.entry(key(row)).or_insert(0) += 1;
    }
    let functions = functions();
    assert!(functions.len() > 50, "the scan found {} functions", functions.len());
    let missing: Vec<_> =
        functions.keys().filter(|name| !listed.contains_key(name.as_str())).collect();
    assert!(missing.is_empty(), "no row in EQUATIONS.md: {missing:#?}");
    let unknown: Vec<_> = listed.keys().filter(|name| !functions.contains_key(**name)).collect();
    assert!(unknown.is_empty(), "rows of EQUATIONS.md that name no function: {unknown:#?}");
    let twice: Vec<_> = listed.iter().filter(|(_, count)| **count > 1).collect();
    assert!(twice.is_empty(), "more than one row in EQUATIONS.md: {twice:#?}");
}

#[test]
fn every_law_has_source_and_check() {
    let (functions, tests) = (functions(), tests());
    assert!(tests.len() > 50, "the scan found {} tests", tests.len());
    for row in laws() {
        let name = key(&row);
        assert_eq!(row.len(), 6, "{name}: six columns are wanted");
        for (cell, what) in
            row[1..].iter().zip(["equation", "source", "range", "accuracy", "check"])
        {
            assert!(!cell.is_empty(), "{name}: no {what}");
        }
        let check = row[5];
        let known = OUTSIDE.iter().chain([&INSIDE]).any(|word| check.starts_with(word));
        assert!(known, "{name}: the check starts with none of {OUTSIDE:?}, {INSIDE:?}: {check}");
        let named: Vec<_> = check.split('`').skip(1).step_by(2).collect();
        assert!(!named.is_empty(), "{name}: names no test");
        let called = format!("{}(", name.rsplit("::").next().unwrap());
        assert!(functions.contains_key(name), "{name} is no function");
        let mut calls = false;
        for test in named {
            let text = tests.get(test);
            assert!(text.is_some(), "{name}: no test {test} in the sources");
            calls |= text.is_some_and(|text| text.contains(&called));
        }
        assert!(calls, "{name}: no named test stands in a text that calls {called}…)");
    }
}

#[test]
fn all_plumbing_has_a_reason() {
    for row in plumbing() {
        assert_eq!(row.len(), 2, "{}: function and reason are wanted", key(&row));
        assert!(!row[1].is_empty(), "{}: no reason", key(&row));
    }
}

// Source: the language: what a declaration looks like.
#[test]
fn declarations_are_told_apart() {
    assert_eq!(public_function("    pub const fn half(x: f64) -> f64 {"), Some("half"));
    assert_eq!(public_function("pub fn weakest<'a>(links: &[Link<'a>]) {"), Some("weakest"));
    assert_eq!(public_function("pub(super) fn within("), None);
    assert_eq!(public_function("/// pub fn in a comment"), None);
    assert_eq!(implemented("impl<'a> Flight<'a> {"), Some("Flight"));
    assert_eq!(implemented("impl Default for Angler {"), Some("Angler"));
    assert_eq!(module("infer/mod"), "infer");
    assert_eq!(module("mod"), "");
    assert_eq!(halves("a\nmod tests {\nb").1, "\nmod tests {\nb");
}
