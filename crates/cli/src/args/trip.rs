//! Trips.

use std::path::PathBuf;

use clap::{ArgGroup, Args, Subcommand};
use deepbend_contract::limits;

fn number(text: &str) -> Result<f64, String> {
    let read = text.trim().parse().ok().filter(|number: &f64| number.is_finite());
    read.ok_or_else(|| "right is a number such as 2.5".to_owned())
}

fn whole(text: &str) -> Result<i64, String> {
    text.trim().parse().map_err(|_| "right is a whole number such as 20000".to_owned())
}

/// Zero would read as if nothing had been said.
fn one_or_more(text: &str) -> Result<i32, String> {
    let read = text.trim().parse().ok().filter(|number| *number > 0);
    read.ok_or_else(|| "right is a whole number, 1 or more".to_owned())
}

fn budget(text: &str) -> Result<f64, String> {
    amount(text, limits::BUDGET_CENTS)
}

/// An amount of money, of which the contract bounds the hundredths.
pub(crate) fn amount(text: &str, cents: limits::Bounds) -> Result<f64, String> {
    let (least, most) = (cents.low / 100.0, cents.high / 100.0);
    let read = number(text).ok().filter(|amount| (least..=most).contains(amount));
    read.ok_or_else(|| format!("right is an amount from {least} to {most}"))
}

/// What to do with trips.
#[derive(Debug, Subcommand)]
pub enum TripCommand {
    /// Plans which outfits to assemble from the gear that is really there.
    Plan(Box<PlanArgs>),
    /// Plans several boats that go out on one day, over one pool.
    Fleet(Box<FleetArgs>),
    /// Covers a trip again from what is aboard, for example after a breakage.
    Check(Box<CheckArgs>),
    /// Says what to buy for a season, and what never leaves the rack.
    Gaps(Box<GapsArgs>),
    /// Says which few outfits cover a season best.
    Set(Box<SetArgs>),
    /// Compares two plans that were written with -o json.
    Compare(ComparePlansArgs),
}

/// A trip and the pool that its gear comes from.
#[derive(Args, Debug)]
pub struct PlanArgs {
    /// Id of the trip [default: the only one of the file]
    #[arg(long, value_name = "ID", conflicts_with = "request")]
    pub trip: Option<String>,
    /// The files and the pool.
    #[command(flatten)]
    pub terms: TermsArgs,
}

/// Trips and the pool that their gear comes from.
#[derive(Args, Debug)]
pub struct FleetArgs {
    /// Id of a trip; again for each [default: all of the file]
    #[arg(long = "trip", value_name = "ID", conflicts_with = "request")]
    pub trip_ids: Vec<String>,
    /// The files and the pool.
    #[command(flatten)]
    pub terms: TermsArgs,
}

/// What plans have in common.
#[derive(Args, Debug)]
#[command(group(ArgGroup::new("source").args(["trips", "request"]).required(true)))]
pub struct TermsArgs {
    /// Trips, one a row
    #[arg(long, value_name = "FILE", requires_all = ["segments", "needs"])]
    pub trips: Option<PathBuf>,
    /// Parts of the trips
    #[arg(long, value_name = "FILE")]
    pub segments: Option<PathBuf>,
    /// Lures to be fished
    #[arg(long, value_name = "FILE")]
    pub needs: Option<PathBuf>,
    /// Whole request as proto JSON instead of the three files; - reads stdin
    #[arg(long, value_name = "FILE", conflicts_with_all = [
        "trips", "segments", "needs", "pool", "leave", "pair", "take", "hold", "take_turns",
        "work", "more_wind",
    ])]
    pub request: Option<PathBuf>,
    /// Place that gear may be taken from, with the cost of a move in millionths ("S0", "B2=300000");
    /// again for each; the boats themselves always count
    #[arg(long = "from", value_name = "PLACE[=COST]")]
    pub pool: Vec<String>,
    /// Item that stays ashore ("R14"), or that one boat leaves ("B1:R14"); again for each
    #[arg(long, value_name = "[BOAT:]ID")]
    pub leave: Vec<String>,
    /// Rod that carries this reel ("R14+E08"); again for each
    #[arg(long, value_name = "ROD+REEL")]
    pub pair: Vec<String>,
    /// Rod or reel that is taken, with several boats by which ("B1:R14"); again for each
    #[arg(long, value_name = "[BOAT:]ID")]
    pub take: Vec<String>,
    /// Lure of a segment that must reach its verdict ("b/L17", "B1:b/L17"); again for each
    #[arg(long, value_name = "[BOAT:]SEGMENT/LURE")]
    pub hold: Vec<String>,
    /// Anglers take turns, instead of fishing all at once
    #[arg(long)]
    pub take_turns: bool,
    /// Work after which the search stops: nodes of its trees, and new beginnings of exchanges
    #[arg(long, value_name = "NUMBER", value_parser = whole, allow_negative_numbers = true)]
    pub work: Option<i64>,
    /// Wind that is added in each segment, m/s
    #[arg(long, value_name = "M/S", value_parser = number, allow_negative_numbers = true)]
    pub more_wind: Option<f64>,
    /// Only what the quay needs: by boat what to load, who starts with what, what stays open with its
    /// cure, moves and jobs, cautions
    #[arg(long)]
    pub brief: bool,
}

/// What is lost, and which plan the boat went out with.
#[derive(Args, Debug)]
pub struct CheckArgs {
    /// Item that is lost or broken, or how many of a lure or of leaders ("L10=1"); again for each
    #[arg(long, value_name = "ID[=COUNT]")]
    pub lost: Vec<String>,
    /// Boat that went out [default: the one that has what is lost, or the only one]
    #[arg(long, value_name = "ID")]
    pub boat: Option<String>,
    /// Only this segment; again for each
    #[arg(long, value_name = "ID")]
    pub segment: Vec<String>,
    /// Plan as `trip plan`, `trip fleet` or `trip check` writes it with -o json [default: the last one
    /// on this machine]
    #[arg(long, value_name = "FILE")]
    pub plan: Option<PathBuf>,
}

/// Two plans.
#[derive(Args, Debug)]
pub struct ComparePlansArgs {
    /// The first plan, as `trip plan` or `trip fleet` wrote it with -o json
    #[arg(value_name = "FIRST")]
    pub first: PathBuf,
    /// The second plan
    #[arg(value_name = "SECOND")]
    pub second: PathBuf,
}

/// Trips of a season.
#[derive(Args, Debug)]
#[command(group(ArgGroup::new("source").args(["trips", "request"]).required(true)))]
pub struct SeasonArgs {
    /// Trips, one a row
    #[arg(long, value_name = "FILE", requires_all = ["segments", "needs"])]
    pub trips: Option<PathBuf>,
    /// Parts of the trips
    #[arg(long, value_name = "FILE")]
    pub segments: Option<PathBuf>,
    /// Lures to be fished
    #[arg(long, value_name = "FILE")]
    pub needs: Option<PathBuf>,
    /// Whole request as proto JSON instead of the three files; - reads stdin
    #[arg(long, value_name = "FILE", conflicts_with_all = [
        "trips", "segments", "needs", "days",
    ])]
    pub request: Option<PathBuf>,
    /// Days of the season on which a trip is made ("T1=12"); again for each [default: 1]
    #[arg(long, value_name = "TRIP=DAYS")]
    pub days: Vec<String>,
}

/// What to buy for a season.
#[derive(Args, Debug)]
pub struct GapsArgs {
    /// The season.
    #[command(flatten)]
    pub season: SeasonArgs,
    /// Place whose gear counts as owned; again for each [default: all]
    #[arg(long = "from", value_name = "PLACE", conflicts_with = "request")]
    pub place: Vec<String>,
    /// Gaps that are wanted
    #[arg(
        long, value_name = "NUMBER", value_parser = one_or_more, allow_negative_numbers = true,
        conflicts_with = "request",
    )]
    pub count: Option<i32>,
    /// What may be spent, in the currency of the inventory
    #[arg(
        long, value_name = "AMOUNT", value_parser = budget, allow_negative_numbers = true,
        conflicts_with = "request",
    )]
    pub budget: Option<f64>,
    /// What an outfit costs ("casting=180"); again for each kind
    #[arg(long, value_name = "HANDLE=AMOUNT", conflicts_with = "request")]
    pub price: Vec<String>,
}

/// Which few outfits cover a season best.
#[derive(Args, Debug)]
pub struct SetArgs {
    /// The season.
    #[command(flatten)]
    pub season: SeasonArgs,
    /// Most outfits
    #[arg(
        long, value_name = "NUMBER", value_parser = one_or_more, allow_negative_numbers = true,
        conflicts_with = "request",
    )]
    pub most: Option<i32>,
    /// Rod that is kept; again for each
    #[arg(long, value_name = "ID", conflicts_with = "request")]
    pub keep: Vec<String>,
    /// Longest thing that travels, m
    #[arg(
        long, value_name = "M", value_parser = number, allow_negative_numbers = true,
        conflicts_with = "request",
    )]
    pub tube: Option<f64>,
    /// Hours until something that broke can be replaced
    #[arg(
        long, value_name = "HOURS", value_parser = number, allow_negative_numbers = true,
        conflicts_with = "request",
    )]
    pub resupply: Option<f64>,
}
