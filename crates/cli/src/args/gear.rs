//! Gear.

use std::path::PathBuf;

use clap::{Args, Subcommand, ValueEnum};
use deepbend_contract::pb;

use super::MeasureArgs;

/// What to do with gear.
#[derive(Debug, Subcommand)]
pub enum GearCommand {
    /// Imports item files: all rows, or none and a report of what is wrong.
    Import(ImportArgs),
    /// Lists the inventory.
    List(ListArgs),
    /// Shows one item.
    Show(ShowArgs),
    /// Reads a line of free text and says what is odd about it.
    Read(ReadArgs),
    /// Infers the stiffness along a blank from a bench test.
    Measure(MeasureArgs),
}

/// Files to import.
#[derive(Args, Debug)]
pub struct ImportArgs {
    /// A folder, or files named boats.csv, devices.csv, line_stock.csv, rods.csv, reels.csv,
    /// lures.csv
    #[arg(required = true, value_name = "FOLDER|FILE")]
    pub paths: Vec<PathBuf>,
    /// Makes all checks, imports nothing
    #[arg(long)]
    pub dry_run: bool,
    /// Who says it: a role or a person's id
    #[arg(long, default_value = "owner", value_name = "NAME")]
    pub actor: String,
    /// How well the actor knows it
    #[arg(long, value_enum, default_value = "typed")]
    pub certainty: CertaintyArg,
    /// When it was observed, RFC 3339 in UTC ("2031-09-15T17:00:00Z") [default: now]
    #[arg(long, value_name = "TIME")]
    pub observed: Option<prost_types::Timestamp>,
    /// UUID that makes the call safe to repeat
    #[arg(long, default_value = "", hide_default_value = true, value_name = "UUID")]
    pub request_id: String,
}

/// How well the actor knows what he says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum CertaintyArg {
    /// Saw it or held it.
    Seen,
    /// Heard it or remembers it.
    Said,
    /// Typed it in, from a list or by habit.
    Typed,
}

impl CertaintyArg {
    /// As the contract has it.
    #[must_use]
    pub fn to_wire(self) -> pb::Certainty {
        match self {
            Self::Seen => pb::Certainty::Seen,
            Self::Said => pb::Certainty::Said,
            Self::Typed => pb::Certainty::Typed,
        }
    }
}

/// Which items to list.
#[derive(Args, Debug)]
pub struct ListArgs {
    /// rod, reel, lure, line_stock, boat or device; again for each
    #[arg(long = "kind", value_name = "WORD")]
    pub kinds: Vec<String>,
    /// Id of a boat or a place ashore; again for each
    #[arg(long = "place", value_name = "ID")]
    pub places: Vec<String>,
    /// ready, on_loan, in_service, broken, lost or retired; again for each
    #[arg(long = "status", value_name = "WORD")]
    pub statuses: Vec<String>,
    /// Printed power of a rod (medium_heavy); again for each
    #[arg(long = "power", value_name = "WORD")]
    pub powers: Vec<String>,
    /// Words that must all occur
    #[arg(long, default_value = "", hide_default_value = true, value_name = "WORDS")]
    pub text: String,
    /// One page of this many items, its next token on stderr [default: all items]
    #[arg(long, value_name = "NUMBER", value_parser = clap::value_parser!(i32).range(1..=1000))]
    pub page_size: Option<i32>,
    /// Token of the page, as the page before gave it
    #[arg(long, default_value = "", hide_default_value = true, value_name = "TOKEN")]
    pub page_token: String,
}

/// Which item to show.
#[derive(Args, Debug)]
pub struct ShowArgs {
    /// Its id
    pub id: String,
}

/// A text to read.
#[derive(Args, Debug)]
pub struct ReadArgs {
    /// The text ("7'2\" MH fast 3/8-1 oz")
    pub text: String,
    /// What it describes
    #[arg(long, value_enum)]
    pub kind: KindArg,
}

/// Kind of gear that a text describes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum KindArg {
    /// A rod.
    Rod,
    /// A reel.
    Reel,
    /// A main line.
    Line,
    /// A leader.
    Leader,
    /// A lure.
    Lure,
}

impl KindArg {
    /// As the contract has it.
    #[must_use]
    pub fn to_wire(self) -> pb::GearKind {
        match self {
            Self::Rod => pb::GearKind::Rod,
            Self::Reel => pb::GearKind::Reel,
            Self::Line => pb::GearKind::Line,
            Self::Leader => pb::GearKind::Leader,
            Self::Lure => pb::GearKind::Lure,
        }
    }
}
