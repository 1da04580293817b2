//! What happened to gear, and what the boats of a fleet tell each other.

use std::path::PathBuf;

use clap::{Args, Subcommand};
use deepbend_contract::limits;

/// Most pieces or minutes of an event.
const MOST: i32 = limits::EVENT_AMOUNT.high as i32;

fn whole(text: &str, least: i32, unit: &str) -> Result<i32, String> {
    let number = text.trim().parse().ok().filter(|number| (least..=MOST).contains(number));
    number.ok_or_else(|| format!("right is a whole number of {unit}, {least} to {MOST}"))
}

/// Units in which fishing is told, in minutes.
const TIMES: [(&str, f64); 3] = [("min", 1.0), ("h", 60.0), ("", 1.0)];

fn minutes(text: &str) -> Result<i32, String> {
    let read = TIMES.iter().find_map(|(unit, minutes)| {
        let number = text.trim().strip_suffix(unit)?.trim().replace(',', ".");
        Some(number.parse::<f64>().ok()? * minutes)
    });
    // A part of a minute is meant as hours. A number that is not finite is in no range.
    let read = read.filter(|told| text.contains('h') || told.fract() == 0.0);
    let told = read.map(f64::round).filter(|told| (0.0..=f64::from(MOST)).contains(told));
    let right = || format!("right is minutes, 0 to {MOST}, or hours such as \"1.5 h\"");
    told.map(|told| told as i32).ok_or_else(right)
}

fn time(text: &str) -> Result<prost_types::Timestamp, String> {
    let right = "right is a day and a time in UTC, such as 2031-09-15T17:00:00Z";
    text.trim().parse().map_err(|_| right.to_owned())
}

fn pieces(text: &str) -> Result<i32, String> {
    whole(text, 1, "pieces")
}

/// What happened: one short line each.
#[derive(Debug, Subcommand)]
pub enum LogCommand {
    /// Carried to another place: log moved R17 B3 --seen
    Moved {
        /// The item.
        item: String,
        /// Boat or place ashore where it is now.
        place: String,
        /// How many pieces, of what is counted in pieces
        #[arg(long, value_name = "NUMBER", value_parser = pieces)]
        pieces: Option<i32>,
        /// Where they were [default: where the item was first]
        #[arg(long, default_value = "", hide_default_value = true, value_name = "ID")]
        from: String,
    },
    /// Lent to somebody: log lent R02 anna --until 2031-09-20
    Lent {
        /// The item.
        item: String,
        /// To whom: one word.
        to: String,
        /// The day on which it should be back
        #[arg(long, default_value = "", hide_default_value = true, value_name = "DATE")]
        until: String,
    },
    /// Back from a loan: log returned R02 B1
    Returned {
        /// The item.
        item: String,
        /// Where it was put.
        #[arg(default_value = "", hide_default_value = true)]
        place: String,
    },
    /// Counted: log counted L30 2, log counted K04 "150 yd"
    Counted {
        /// The item.
        item: String,
        /// How many there are, or how much line is left: "45 m", "150 yd", "30 ft".
        amount: String,
        /// Where, if not where it was first
        #[arg(long, default_value = "", hide_default_value = true, value_name = "ID")]
        place: String,
        /// A number alone is the length of line left, m
        #[arg(long)]
        metres: bool,
    },
    /// Lost: the item, so many pieces, or so much line: log lost L30 1, log lost K04 "20 m"
    Lost {
        /// The item.
        item: String,
        /// How many pieces, or how much line.
        amount: Option<String>,
        /// Where the pieces were [default: --at, or else where the item was first]
        #[arg(long, requires = "amount", value_name = "ID")]
        place: Option<String>,
    },
    /// Found again: log found R09 B1, log found L30 B2 --pieces 1
    Found {
        /// The item.
        item: String,
        /// Where.
        #[arg(default_value = "", hide_default_value = true)]
        place: String,
        /// How many pieces, of what is counted in pieces
        #[arg(long, value_name = "NUMBER", value_parser = pieces)]
        pieces: Option<i32>,
    },
    /// A reel put on a rod: log rigged R14 E08
    Rigged {
        /// The rod.
        rod: String,
        /// The reel.
        reel: String,
    },
    /// A reel taken off a rod: log unrigged R14 E08
    Unrigged {
        /// The rod.
        rod: String,
        /// The reel.
        reel: String,
    },
    /// New line on a reel: log respooled E08 --from K04 --length "150 yd"
    Respooled {
        /// The reel.
        reel: String,
        /// The line in words: "PE 2 (40 lb)"; left out: the line of --from, or the spool was stripped.
        line: Option<String>,
        /// The stock that it was taken from
        #[arg(long, default_value = "", hide_default_value = true, value_name = "ID")]
        from: String,
        /// How much of the stock it took: "150 yd", "45 m"; a number alone is metres
        #[arg(long, visible_alias = "metres", value_name = "LENGTH")]
        length: Option<String>,
    },
    /// The line on a reel turned round: log reversed E08
    Reversed {
        /// The reel.
        reel: String,
    },
    /// A worn end of line cut off: log cut E08 10, log cut E08 "30 ft"
    Cut {
        /// The reel.
        reel: String,
        /// How much: "30 ft", "10 m"; a number alone is metres.
        length: String,
    },
    /// Fished: log used E08 90, log used E08 "1.5 h"
    Used {
        /// The item.
        item: String,
        /// How long: minutes, or hours such as "1.5 h".
        #[arg(value_parser = minutes)]
        minutes: i32,
    },
    /// Broken: log broke R15 "tip section", log broke L30 "the lip" --pieces 1
    Broke {
        /// The item.
        item: String,
        /// What broke, and how.
        #[arg(default_value = "broke", hide_default_value = true)]
        what: String,
        /// How many pieces broke and are thrown away, of what is counted in pieces; --at says where
        #[arg(long, value_name = "NUMBER", value_parser = pieces)]
        pieces: Option<i32>,
    },
    /// A defect: log defect R21 "plating worn" --usable
    Defect {
        /// The item.
        item: String,
        /// What is wrong.
        what: String,
        /// It can be fished all the same
        #[arg(long)]
        usable: bool,
    },
    /// Looked at closely: log inspected R23 ready "no crack under the glass"
    Inspected {
        /// The item.
        item: String,
        /// ready, on_loan, in_service, broken, lost or retired.
        status: String,
        /// What was looked at.
        reason: String,
        /// State that it is in: A to E
        #[arg(long, value_name = "LETTER")]
        condition: Option<String>,
    },
    /// Gone to the bench or sent away: log service R12 "the shed" --until 2031-10-01
    Service {
        /// The item.
        item: String,
        /// To whom.
        #[arg(default_value = "", hide_default_value = true)]
        to: String,
        /// The day on which it should be back
        #[arg(long, default_value = "", hide_default_value = true, value_name = "DATE")]
        until: String,
    },
    /// Worked on: log serviced E10 "washers" --finished
    Serviced {
        /// The item.
        item: String,
        /// What was done.
        what: String,
        /// The work is finished
        #[arg(long)]
        finished: bool,
    },
    /// Out of use for good: log retired R23 "crack"
    Retired {
        /// The item.
        item: String,
        /// Why.
        reason: String,
    },
    /// The status set by one tap: log status R04 ready
    Status {
        /// The item.
        item: String,
        /// ready, on_loan, in_service, broken, lost or retired.
        status: String,
    },
    /// A remark: log note R14 "lost 4 of 6"
    Note {
        /// The item.
        item: String,
        /// The remark.
        remark: String,
    },
    /// A column of the description written anew: log edited R06 power_label=MH
    Edited {
        /// The item.
        item: String,
        /// COLUMN=TEXT; an empty text empties the column.
        #[arg(required = true)]
        cells: Vec<String>,
    },
    /// An earlier event was wrong: log wrong B1-tablet.1.102 "it was E06"
    Wrong {
        /// The event, as `deepbend history` names it.
        event: String,
        /// Why.
        reason: String,
        /// Also where the item leaves the inventory with it: the event is all that tells what it is
        #[arg(long)]
        yes: bool,
    },
    /// A device may write for the fleet: log enrolled B1-tablet KEY
    Enrolled {
        /// The device.
        #[arg(value_name = "DEVICE")]
        other_device: String,
        /// Its key, as `deepbend sync` prints it there.
        key: String,
        /// It may itself enrol and revoke others
        #[arg(long)]
        keeper: bool,
    },
    /// What a device writes from now on counts for nothing: log revoked B1-tablet "stolen"
    Revoked {
        /// The device.
        #[arg(value_name = "DEVICE")]
        other_device: String,
        /// Why.
        reason: String,
        /// Nothing that it ever wrote counts
        #[arg(long)]
        from_the_start: bool,
        /// Also where that takes away what it ever told
        #[arg(long, requires = "from_the_start")]
        yes: bool,
    },
}

/// Something that happened, and who says so.
#[derive(Args, Debug)]
pub struct LogArgs {
    /// What happened.
    #[command(subcommand)]
    pub what: LogCommand,
    /// You saw it or held it [default: you heard it or remember it]
    #[arg(long, global = true, conflicts_with = "typed")]
    pub seen: bool,
    /// You type it in from a list
    #[arg(long, global = true)]
    pub typed: bool,
    /// Where you had it before your eyes
    #[arg(long, global = true, default_value = "", hide_default_value = true, value_name = "ID")]
    pub at: String,
    /// Who says it: a role or a person's id
    #[arg(
        long,
        global = true,
        env = "DEEPBEND_ACTOR",
        hide_env_values = true,
        default_value = "guide",
        value_name = "NAME"
    )]
    pub by: String,
    /// When it was observed, in UTC: 2031-09-15T17:00:00Z [default: now]
    #[arg(long, global = true, value_name = "TIME", value_parser = time)]
    pub time: Option<prost_types::Timestamp>,
    /// A few words more
    #[arg(long, global = true, default_value = "", hide_default_value = true, value_name = "TEXT")]
    pub text: String,
    /// Makes all checks, records nothing
    #[arg(long, global = true)]
    pub dry_run: bool,
    /// Also takes ids that nobody here knows: another boat's events may not have come yet
    #[arg(long, global = true)]
    pub unknown_ok: bool,
    /// Kind of the item, where its id is not known or two items bear it: rod, reel, lure ...
    #[arg(long, global = true, value_name = "KIND")]
    pub kind: Option<String>,
}

/// The day for which work is due.
#[derive(Args, Debug)]
pub struct DueArgs {
    /// The day [default: today]
    #[arg(long, default_value = "", hide_default_value = true, value_name = "DATE")]
    pub on: String,
}

/// What was found at a place.
#[derive(Args, Debug)]
pub struct StocktakeArgs {
    /// Boat or place ashore.
    pub place: String,
    /// Tags that were found there; L30=2 for two pieces.
    pub found: Vec<String>,
    /// File with such tags, one a line, `-` for stdin
    #[arg(long, value_name = "FILE")]
    pub file: Option<PathBuf>,
    /// Records what was seen: misplaced items as moved here, pieces as counted
    #[arg(long)]
    pub record: bool,
    /// Who says it: a role or a person's id
    #[arg(
        long,
        env = "DEEPBEND_ACTOR",
        hide_env_values = true,
        default_value = "guide",
        value_name = "NAME"
    )]
    pub by: String,
}

/// With whom to exchange.
#[derive(Args, Debug)]
pub struct SyncArgs {
    /// Address of the other service, for example http://b2:50551; left out: says who this one is
    pub peer: Option<String>,
    /// File with the token that the other service asks for in its first line
    #[arg(long, value_name = "FILE")]
    pub peer_token_file: Option<PathBuf>,
    /// Write all events to a file instead, to be carried to where no network reaches
    #[arg(long, value_name = "FILE", conflicts_with_all = ["peer", "from_file"])]
    pub to_file: Option<PathBuf>,
    /// Take the events of such a file; what is here already does no harm
    #[arg(long, value_name = "FILE", conflicts_with = "peer")]
    pub from_file: Option<PathBuf>,
}
