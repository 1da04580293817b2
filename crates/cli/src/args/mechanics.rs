//! Bends, casts, bench tests.

use std::path::PathBuf;

use clap::{Args, Subcommand};

/// What to trace. Units are in the names; -o json has the names of the contract.
#[derive(Debug, Subcommand)]
pub enum TraceCommand {
    /// Bends a blank by a load at its tip that keeps its direction.
    Bend(BendArgs),
    /// Flies a lure without line, down to height 0; with gear also how far it carries with its line.
    Cast(CastArgs),
}

/// A bend.
#[derive(Args, Debug)]
pub struct BendArgs {
    /// Blank as JSON, - reads stdin:
    /// {"length_m":2.1,"stations":[{"s_m":0,"ei_n_m2":31.6},{"s_m":2.1,"ei_n_m2":0.05}]};
    /// EI is linear between stations
    #[arg(long, value_name = "FILE", conflicts_with = "rod", required_unless_present = "rod")]
    pub blank: Option<PathBuf>,
    /// Rod instead of a blank: its id or words; the blank is inferred from what is printed on it
    #[arg(long, value_name = "ID|TEXT")]
    pub rod: Option<String>,
    /// Load at the tip, N
    #[arg(long, value_name = "NUMBER", allow_negative_numbers = true)]
    pub load_n: f64,
    /// Angle of the load from the unbent axis, degrees, 5 to 170; 90 is across, more pulls back
    #[arg(long, value_name = "NUMBER", default_value_t = 90.0, allow_negative_numbers = true)]
    pub angle_deg: f64,
    /// Number of points along the blank
    #[arg(long, value_name = "NUMBER", default_value_t = 41, allow_negative_numbers = true)]
    pub points: i32,
}

/// A cast. Without gear speed, mass and drag area must be given.
#[derive(Args, Debug)]
pub struct CastArgs {
    /// Speed over ground at release, m/s
    #[arg(long, value_name = "NUMBER", allow_negative_numbers = true)]
    pub speed_m_s: Option<f64>,
    /// Angle of release above the level, degrees [default: the one that carries farthest]
    #[arg(long, value_name = "NUMBER", allow_negative_numbers = true)]
    pub angle_deg: Option<f64>,
    /// Height of release above the water, m [default: 2]
    #[arg(long, value_name = "NUMBER", allow_negative_numbers = true)]
    pub height_m: Option<f64>,
    /// Mass, g
    #[arg(long, value_name = "NUMBER", allow_negative_numbers = true)]
    pub mass_g: Option<f64>,
    /// Drag coefficient times frontal area, cm²
    #[arg(long, value_name = "NUMBER", allow_negative_numbers = true)]
    pub drag_area_cm2: Option<f64>,
    /// Wind along the throw, m/s, a tail wind positive [default: 0]
    #[arg(long, value_name = "NUMBER", allow_negative_numbers = true)]
    pub wind_along_m_s: Option<f64>,
    /// Wind across the throw, m/s; drift has its sign [default: 0]
    #[arg(long, value_name = "NUMBER", allow_negative_numbers = true)]
    pub wind_across_m_s: Option<f64>,
    /// Density of the air, kg/m³ [default: 1.225]
    #[arg(long, value_name = "NUMBER", allow_negative_numbers = true)]
    pub air_density_kg_m3: Option<f64>,
    /// Rod: its id, a pair with a reel ("R14+E08"), or words; goes with --lure
    #[arg(long, value_name = "ID|TEXT", requires = "lure")]
    pub rod: Option<String>,
    /// Reel: its id, which brings the line on it, or words; does not change the cast
    #[arg(long, value_name = "ID|TEXT", requires = "rod")]
    pub reel: Option<String>,
    /// Main line in words ("braid PE 1.5 (13 kg)"), for how far it carries with its line
    #[arg(long, value_name = "TEXT", requires = "rod")]
    pub line: Option<String>,
    /// Lure: its id, or words; goes with --rod
    #[arg(long, value_name = "ID|TEXT", requires = "rod")]
    pub lure: Option<String>,
    /// Number of points of the flight
    #[arg(long, value_name = "NUMBER", default_value_t = 41, allow_negative_numbers = true)]
    pub points: i32,
}

/// A bench test. The butt is held level, the load hangs from the tip.
#[derive(Args, Debug)]
pub struct MeasureArgs {
    /// Length that bends, m; with the grip if it was held at its end [default: that of the rod]
    #[arg(long, value_name = "NUMBER", allow_negative_numbers = true)]
    pub length_m: Option<f64>,
    /// Mass that drops the tip by a third of that length, g
    #[arg(
        long,
        value_name = "NUMBER",
        conflicts_with = "third_drop_load_n",
        allow_negative_numbers = true
    )]
    pub third_drop_mass_g: Option<f64>,
    /// The same as a load, N (a kilogram is 9.80665 N)
    #[arg(long, value_name = "NUMBER", allow_negative_numbers = true)]
    pub third_drop_load_n: Option<f64>,
    /// Angle of the tip below the level at that load, degrees
    #[arg(long, value_name = "NUMBER", allow_negative_numbers = true)]
    pub third_drop_tip_angle_deg: Option<f64>,
    /// Share of the length, from the tip, that holds 80 % of the bend
    #[arg(
        long,
        value_name = "SHARE",
        requires = "bend_depth_load_n",
        allow_negative_numbers = true
    )]
    pub bend_depth: Option<f64>,
    /// Load across the blank at which that was seen, N
    #[arg(long, value_name = "NUMBER", requires = "bend_depth", allow_negative_numbers = true)]
    pub bend_depth_load_n: Option<f64>,
    /// Points along a bent blank as JSON, - reads stdin:
    /// {"load_n":2.0,"angle_deg":90,"points":[{"x_m":1.0,"y_m":0.1},{"x_m":1.8,"y_m":0.6}]}
    #[arg(long, value_name = "FILE")]
    pub shape: Option<PathBuf>,
    /// Rod whose label counts as another measurement: its id, or words
    #[arg(long, value_name = "ID|TEXT")]
    pub rod: Option<String>,
}
