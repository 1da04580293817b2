//! Judging, ranking, comparing.

use std::path::PathBuf;

use clap::Args;

/// An outfit, part by part: ids or words.
#[derive(Args, Clone, Debug, Default)]
#[command(next_help_heading = "Outfit")]
pub struct OutfitArgs {
    /// Reel: its id, which brings the line on it, or words ("3000 spinning 5.2:1 7 kg")
    #[arg(long, value_name = "ID|TEXT")]
    pub reel: Option<String>,
    /// Main line in words ("braid PE 1.5 (13 kg)")
    #[arg(long, value_name = "TEXT")]
    pub line: Option<String>,
    /// Leader in words ("fluorocarbon 0.90 mm 40 kg 60 cm"), or none
    #[arg(long, value_name = "TEXT")]
    pub leader: Option<String>,
    /// Drag set at the strike ("2.4 kg", "5 lb")
    #[arg(long, value_name = "TEXT", allow_hyphen_values = true)]
    pub drag: Option<String>,
}

/// The water and who fishes it. What is left out is assumed.
#[derive(Args, Clone, Debug, Default)]
#[command(next_help_heading = "Water")]
pub struct WaterArgs {
    /// Wind along the cast ("9 m/s into", "12 kn across", "calm")
    #[arg(long, value_name = "TEXT", allow_hyphen_values = true)]
    pub wind: Option<String>,
    /// Target species (`deepbend model species` lists them)
    #[arg(long, value_name = "NAME")]
    pub species: Option<String>,
    /// boat, kayak, bank, coast, wading, overhung_bank, boat_vertical or bridge
    #[arg(long, value_name = "WORD")]
    pub platform: Option<String>,
    /// open, weed, heavy, oyster, mangrove, dock, rock or timber
    #[arg(long, value_name = "WORD")]
    pub cover: Option<String>,
    /// novice, intermediate or expert
    #[arg(long, value_name = "WORD")]
    pub skill: Option<String>,
    /// Chance, 0 to 1, that other fish with cutting teeth are about; yes and no are 1 and 0
    #[arg(long, value_name = "CHANCE", allow_hyphen_values = true)]
    pub toothy: Option<String>,
    /// Mass of the fish to be reckoned with ("4 kg")
    #[arg(long, value_name = "TEXT", allow_hyphen_values = true)]
    pub fish: Option<String>,
    /// Current ("0.5 m/s")
    #[arg(long, value_name = "TEXT", allow_hyphen_values = true)]
    pub current: Option<String>,
    /// Depth of water ("3 m")
    #[arg(long, value_name = "TEXT", allow_hyphen_values = true)]
    pub depth: Option<String>,
    /// Temperature of the water, degrees Celsius
    #[arg(long, value_name = "NUMBER", allow_negative_numbers = true)]
    pub temperature: Option<f64>,
    /// Line between tip and lure at the strike ("20 m")
    #[arg(long, value_name = "TEXT", allow_hyphen_values = true)]
    pub line_out: Option<String>,
    /// Distance from hooked fish to cover ("4 m")
    #[arg(long, value_name = "TEXT", allow_hyphen_values = true)]
    pub cover_distance: Option<String>,
    /// sweep, snap, reel_set, hand_on_spool or strip_set
    #[arg(long, value_name = "WORD")]
    pub hookset: Option<String>,
}

/// One judgement, or one a row.
#[derive(Args, Debug)]
pub struct JudgeArgs {
    /// Case file, one judgement a row; - reads stdin
    #[arg(long, value_name = "FILE", conflicts_with_all = [
        "rod", "lure", "reel", "line", "leader", "drag", "wind", "species", "platform", "cover",
        "skill", "toothy", "fish", "current", "depth", "temperature", "line_out",
        "cover_distance", "hookset",
    ])]
    pub cases: Option<PathBuf>,
    /// Rod: its id, or words ("7'2\" MH fast casting 3/8-1 oz 12-20 lb")
    #[arg(long, value_name = "ID|TEXT")]
    pub rod: Option<String>,
    /// The rest of the outfit.
    #[command(flatten)]
    pub outfit: OutfitArgs,
    /// Lure: its id, or words ("crankbait 18 g 2 trebles")
    #[arg(long, value_name = "ID|TEXT")]
    pub lure: Option<String>,
    /// The water.
    #[command(flatten)]
    pub water: WaterArgs,
    /// Replaces a number of the model for this call (`deepbend model parameters`)
    #[arg(long = "set", value_name = "KEY=NUMBER")]
    pub overrides: Vec<String>,
}

/// A ranking: one side has one candidate, the other several.
#[derive(Args, Debug)]
pub struct RankArgs {
    /// Outfit: ids ("R14+E08") or a rod in words; again for each [default: all in the inventory]
    #[arg(long = "rod", visible_alias = "outfit", value_name = "ID|TEXT")]
    pub rods: Vec<String>,
    /// What all outfits share.
    #[command(flatten)]
    pub outfit: OutfitArgs,
    /// Lure: its id or words; again for each [default: all in the inventory]
    #[arg(long = "lure", value_name = "ID|TEXT")]
    pub lures: Vec<String>,
    /// Case file whose rows are the candidates: all of one lure, or all of one outfit
    #[arg(long, value_name = "FILE", conflicts_with_all = ["rods", "lures"])]
    pub cases: Option<PathBuf>,
    /// Only gear of the inventory that is at this place; again for each
    #[arg(long = "place", value_name = "ID")]
    pub places: Vec<String>,
    /// Every rod with every reel that fits, instead of each rod once with its best reel
    #[arg(long)]
    pub pairs: bool,
    /// Longest list to print
    #[arg(long, value_name = "NUMBER", default_value_t = 1000)]
    pub top: usize,
    /// The water.
    #[command(flatten)]
    pub water: WaterArgs,
    /// Replaces a number of the model for this call
    #[arg(long = "set", value_name = "KEY=NUMBER")]
    pub overrides: Vec<String>,
}

/// A comparison.
#[derive(Args, Debug)]
pub struct CompareArgs {
    /// First outfit: ids ("R14+E08"), a rod in words, or with --cases the id of a row
    pub first: String,
    /// Second outfit, in the same way
    pub second: String,
    /// What both outfits share.
    #[command(flatten)]
    pub outfit: OutfitArgs,
    /// Lure: its id or words
    #[arg(long, value_name = "ID|TEXT", required_unless_present = "cases")]
    pub lure: Option<String>,
    /// Case file with the two rows; they must have the same lure and water
    #[arg(long, value_name = "FILE", conflicts_with = "lure")]
    pub cases: Option<PathBuf>,
    /// The water.
    #[command(flatten)]
    pub water: WaterArgs,
    /// Replaces a number of the model for this call
    #[arg(long = "set", value_name = "KEY=NUMBER")]
    pub overrides: Vec<String>,
}
