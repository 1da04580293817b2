//! How far an outfit may be stretched, and which outfit would be right.

use clap::Args;

use super::{OutfitArgs, WaterArgs};

/// An envelope.
#[derive(Args, Debug)]
pub struct EnvelopeArgs {
    /// Rod: its id, or words ("7'2\" MH fast casting 3/8-1 oz 12-20 lb")
    #[arg(long, value_name = "ID|TEXT")]
    pub rod: String,
    /// The rest of the outfit.
    #[command(flatten)]
    pub outfit: OutfitArgs,
    /// Lure: its id, or words ("crankbait 18 g 2 trebles")
    #[arg(long, value_name = "ID|TEXT")]
    pub lure: String,
    /// The water.
    #[command(flatten)]
    pub water: WaterArgs,
    /// Replaces a number of the model for this call (`deepbend model parameters`)
    #[arg(long = "set", value_name = "KEY=NUMBER")]
    pub overrides: Vec<String>,
}

/// A specification.
#[derive(Args, Debug)]
pub struct SpecifyArgs {
    /// Lure that the outfit is to serve: its id or words; again for each, up to 20
    #[arg(long = "lure", value_name = "ID|TEXT", required = true)]
    pub lures: Vec<String>,
    /// The water.
    #[command(flatten)]
    pub water: WaterArgs,
    /// Replaces a number of the model for this call (`deepbend model parameters`)
    #[arg(long = "set", value_name = "KEY=NUMBER")]
    pub overrides: Vec<String>,
}
