//! The command line: verb first, words of the trade.

use std::path::PathBuf;
use std::time::Duration;

use clap::builder::{OsStr, Resettable};
use clap::{Args, CommandFactory as _, FromArgMatches as _, Parser, Subcommand, ValueEnum};

mod fitting;
mod fleet;
mod gear;
mod matching;
mod mechanics;
mod trip;

pub use fitting::{EnvelopeArgs, SpecifyArgs};
pub use fleet::{DueArgs, LogArgs, LogCommand, StocktakeArgs, SyncArgs};
pub use gear::{CertaintyArg, GearCommand, ImportArgs, KindArg, ListArgs, ReadArgs, ShowArgs};
pub use matching::{CompareArgs, JudgeArgs, OutfitArgs, RankArgs, WaterArgs};
pub use mechanics::{BendArgs, CastArgs, MeasureArgs, TraceCommand};
pub(crate) use trip::amount;
pub use trip::{
    CheckArgs, ComparePlansArgs, FleetArgs, GapsArgs, PlanArgs, SeasonArgs, SetArgs, TermsArgs,
    TripCommand,
};

use crate::output::{self, Format};
use crate::render::Page;

/// Says how well a rod, reel, line and leader suit a lure in given water, and why.
#[derive(Debug, Parser)]
#[command(
    name = "deepbend",
    version,
    disable_help_subcommand = true,
    max_term_width = deepbend_server::text::WIDTH,
    after_help = "Gear is named by its inventory id (R14) or described in words. \
                  `deepbend help exit-codes` lists how commands end."
)]
pub struct Cli {
    /// Options of all commands.
    #[command(flatten)]
    pub global: Global,
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// The command line of this process. What a variable sets to nothing is not set.
#[must_use]
pub fn parsed() -> Cli {
    let matches = without_empty_variables(Cli::command()).try_get_matches();
    let read = matches.and_then(|matches| Cli::from_arg_matches(&matches));
    read.unwrap_or_else(|error| refuse(&error))
}

/// Ends the process with what is wrong with its command line, or with the help that was asked for.
fn refuse(error: &clap::Error) -> ! {
    let text = error.render().to_string();
    let width = output::width();
    if !error.use_stderr() || text.lines().all(|line| line.chars().count() <= width) {
        error.exit();
    }
    output::note(in_width(&text, width).trim_end());
    std::process::exit(error.exit_code());
}

/// Breaks the lines of a message that are too long for the width.
fn in_width(text: &str, width: usize) -> String {
    const LEAD: &str = "error: ";
    let mut page = Page::new(width);
    for line in text.lines() {
        let rest = line.strip_prefix(LEAD).unwrap_or_else(|| line.trim_start());
        let (lead, rest) = line.split_at(line.len() - rest.len());
        if rest.is_empty() { page.line("") } else { page.hanging(lead, rest) }
    }
    page.finish()
}

fn without_empty_variables(command: clap::Command) -> clap::Command {
    let command = command.mut_args(|arg| {
        let value = arg.get_env().and_then(std::env::var_os);
        let is_empty = value.is_some_and(|value| value.is_empty());
        if is_empty { arg.env(Resettable::<OsStr>::Reset) } else { arg }
    });
    command.mut_subcommands(without_empty_variables)
}

/// Options of all commands.
#[derive(Args, Clone, Debug)]
#[command(next_help_heading = "Options of all commands")]
pub struct Global {
    /// Service to ask, for example http://localhost:50551 [default: one on this machine]
    #[arg(
        long,
        global = true,
        env = "DEEPBEND_SERVER",
        hide_env_values = true,
        value_name = "ADDR"
    )]
    pub server: Option<String>,
    /// Folder of the inventory on this machine [default: deepbend in the user's data folder]
    #[arg(
        long,
        global = true,
        env = "DEEPBEND_DATA",
        hide_env_values = true,
        value_name = "FOLDER"
    )]
    pub data: Option<PathBuf>,
    /// Name under which this machine records events; kept in the folder [default: service]
    #[arg(
        long,
        global = true,
        env = "DEEPBEND_DEVICE",
        hide_env_values = true,
        value_name = "NAME"
    )]
    pub device: Option<String>,
    /// File with the token that the service asks for in its first line
    #[arg(
        long,
        global = true,
        env = "DEEPBEND_TOKEN_FILE",
        hide_env_values = true,
        value_name = "FILE"
    )]
    pub token_file: Option<PathBuf>,
    /// Format of the data on stdout
    #[arg(short, long, global = true, value_enum, default_value = "table", value_name = "FORMAT")]
    pub output: Format,
    /// How much of a judgement [default: full for one, summary for many]; no effect on
    /// `judge --cases`, which prints one line a row
    #[arg(long, global = true, value_enum, value_name = "HOW_MUCH")]
    pub explain: Option<Explain>,
    /// Longest time to wait for the answer, for example 2s or 500ms; without it work on trips ends
    /// after 60s with the best that is known by then
    #[arg(long, global = true, value_parser = duration, value_name = "TIME")]
    pub deadline: Option<Duration>,
    /// Shows on stderr how the work on a plan stands, at once and also where nobody looks on; else
    /// only on a terminal, from a second on
    #[arg(long, global = true)]
    pub progress: bool,
    /// Prints the request as JSON and does not send it
    #[arg(long, global = true)]
    pub print_request: bool,
}

/// How much of a judgement is wanted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Explain {
    /// Verdict and score alone.
    None,
    /// Verdict, score, first reason, limits, cautions.
    Summary,
    /// Everything.
    Full,
}

/// What to do.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Judges an outfit with a lure, or every row of a case file.
    Judge(Box<JudgeArgs>),
    /// Ranks outfits for a lure, or lures for an outfit.
    Rank(Box<RankArgs>),
    /// Compares two outfits with one lure, largest difference first.
    Compare(Box<CompareArgs>),
    /// Says how far mass, wire, guard, wind, fish and current may move while an outfit stays good.
    Envelope(Box<EnvelopeArgs>),
    /// Says which outfit would be right for lures and water: a window of specs, never a product.
    Specify(Box<SpecifyArgs>),
    /// Imports, lists, shows and reads gear.
    #[command(subcommand)]
    Gear(GearCommand),
    /// Records what happened to gear, one short line each.
    Log(Box<LogArgs>),
    /// Shows what people must settle: both stories side by side, and the command that settles it.
    Contested,
    /// Shows who said what of an item.
    History(ShowArgs),
    /// Shows what is due: line work, service, loans, bench work.
    Due(DueArgs),
    /// Compares what was found at a place with the inventory.
    Stocktake(StocktakeArgs),
    /// Exchanges events with another boat's service, or says who this one is.
    Sync(SyncArgs),
    /// Plans trips.
    #[command(subcommand)]
    Trip(TripCommand),
    /// Traces a bend or a cast: numbers and points.
    #[command(subcommand)]
    Trace(TraceCommand),
    /// Says which model answers, and with which numbers.
    Model(ModelArgs),
    /// Tells the story of a small fleet, from the inventory to the plan of a trip.
    Demo,
    /// Prints completions for a shell.
    Completions {
        /// The shell.
        shell: clap_complete::Shell,
    },
    /// Explains a command, or the exit codes.
    Help {
        /// A command, or exit-codes.
        topic: Vec<String>,
    },
}

/// What to tell of the model.
#[derive(Args, Debug)]
pub struct ModelArgs {
    /// What to tell.
    #[arg(value_enum, default_value = "id")]
    pub part: ModelPart,
    /// Only what contains this word.
    #[arg(long, value_name = "WORD")]
    pub find: Option<String>,
}

/// A part of the model.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum ModelPart {
    /// Name, version and hash.
    Id,
    /// Every number with unit, range and source.
    Parameters,
    /// The fish that it knows.
    Species,
    /// The classes of lure that it knows.
    Classes,
}

fn duration(text: &str) -> Result<Duration, String> {
    let wrong = || format!("`{text}` is no time: write it like 2s, 500ms or 1m");
    let split = text.find(|c: char| c.is_alphabetic()).unwrap_or(text.len());
    let (number, unit) = text.split_at(split);
    let number: f64 = number.trim().parse().map_err(|_| wrong())?;
    let seconds = match unit {
        "ms" => number / 1000.0,
        "s" | "" => number,
        "m" | "min" => number * 60.0,
        _ => return Err(wrong()),
    };
    let time = Duration::try_from_secs_f64(seconds).map_err(|_| wrong())?;
    let sane = time >= Duration::from_millis(1) && time <= Duration::from_secs(86_400);
    if sane { Ok(time) } else { Err(format!("`{text}` is not between 1 ms and a day")) }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: clap's own consistency check.
    #[test]
    fn the_command_line_is_consistent() {
        <Cli as clap::CommandFactory>::command().debug_assert();
    }

    // Common practice, no source: clap fills arguments of one id from each other, without a word.
    #[test]
    fn no_argument_of_a_command_bears_the_id_of_an_option_of_all() {
        fn own<'a>(command: &'a clap::Command, found: &mut Vec<(&'a str, &'a str)>) {
            for sub in command.get_subcommands() {
                found.extend(sub.get_arguments().map(|a| (sub.get_name(), a.get_id().as_str())));
                own(sub, found);
            }
        }
        let command = <Cli as clap::CommandFactory>::command();
        let of_all = command.get_arguments().filter(|arg| arg.is_global_set());
        let of_all: Vec<_> = of_all.map(|arg| arg.get_id().as_str()).collect();
        let mut found = Vec::new();
        own(&command, &mut found);
        assert!(of_all.contains(&"device") && found.contains(&("enrolled", "key")));
        let twice: Vec<_> = found.iter().filter(|(_, id)| of_all.contains(id)).collect();
        assert!(twice.is_empty(), "{twice:?}");
    }

    // Common practice, no source.
    #[test]
    fn times_are_read() {
        assert_eq!(duration("2s"), Ok(Duration::from_secs(2)));
        assert_eq!(duration("500ms"), Ok(Duration::from_millis(500)));
        for bad in ["", "s", "-1s", "NaN", "inf", "1e99", "0", "2 days"] {
            assert!(duration(bad).is_err(), "{bad}");
        }
    }
}
