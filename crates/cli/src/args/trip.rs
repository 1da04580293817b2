//! Trips.

use std::path::PathBuf;

use clap::{Args, Subcommand};

/// What to do with trips.
#[derive(Debug, Subcommand)]
pub enum TripCommand {
    /// Plans which outfits to assemble from the gear that is really there.
    Plan(Box<PlanArgs>),
}

/// A trip and the pool that its gear comes from.
#[derive(Args, Debug)]
pub struct PlanArgs {
    /// Trips, one a row
    #[arg(long, value_name = "FILE", requires_all = ["segments", "needs"])]
    pub trips: Option<PathBuf>,
    /// Parts of the trips
    #[arg(long, value_name = "FILE")]
    pub segments: Option<PathBuf>,
    /// Lures to be fished
    #[arg(long, value_name = "FILE")]
    pub needs: Option<PathBuf>,
    /// Id of the trip [default: the only one of the file]
    #[arg(long, value_name = "ID")]
    pub trip: Option<String>,
    /// Whole request as proto JSON instead of the three files; - reads stdin
    #[arg(long, value_name = "FILE", required_unless_present = "trips", conflicts_with_all = [
        "trips", "segments", "needs", "trip", "pool", "leave", "pair", "take_turns", "work",
    ])]
    pub request: Option<PathBuf>,
    /// Place that gear may be taken from, with the cost of a move in millionths ("S0", "B2=300000");
    /// again for each; the boat itself always counts
    #[arg(long = "from", value_name = "PLACE[=COST]")]
    pub pool: Vec<String>,
    /// Item that stays ashore; again for each
    #[arg(long, value_name = "ID")]
    pub leave: Vec<String>,
    /// Rod that carries this reel ("R14+E08"); again for each
    #[arg(long, value_name = "ROD+REEL")]
    pub pair: Vec<String>,
    /// Anglers take turns, instead of fishing all at once
    #[arg(long)]
    pub take_turns: bool,
    /// Nodes of the search tree after which the search stops
    #[arg(long, value_name = "NUMBER")]
    pub work: Option<i64>,
}
