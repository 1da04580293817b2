//! Gear as its owner describes it: every field optional, since labels wear off and people forget.

use serde::{Deserialize, Serialize};
use serde_with::skip_serializing_none;

use crate::quantity::{Force, Length, Mass, Range};

mod finding;
pub(crate) mod power;
pub mod read;
mod words;

pub use finding::{Finding, FindingCode};
pub use power::{InferredPower, Power, findings, infer_power};
pub(crate) use words::normalise;
pub(crate) use words::words;
pub use words::{
    Action, AirClass, GuideCondition, Handle, HookPoint, HookStyle, LeaderMaterial, LineBasis,
    LineMaterial, LureClass, RetrieveSide, RodMaterial, Word,
};

/// A rod.
#[skip_serializing_none]
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Rod {
    /// Spinning (fixed-spool reel below) or casting (revolving-spool reel above).
    pub handle: Option<Handle>,
    /// Overall length.
    pub length: Option<Length>,
    /// The printed power word. It never changes a score, only the findings.
    pub power_label: Option<Power>,
    /// Where the blank bends.
    pub action: Option<Action>,
    /// What the blank is made of.
    pub material: Option<RodMaterial>,
    /// Printed lure (casting) rating.
    pub lure_rating: Range<Mass>,
    /// Printed line rating, as breaking force; where `line_rating_basis` is braid, of braid.
    pub line_rating: Range<Force>,
    /// What the printed line rating means.
    pub line_rating_basis: Option<LineBasis>,
    /// State of the rings.
    pub guides: Option<GuideCondition>,
    /// Number of pieces it travels in.
    pub pieces: Option<u32>,
    /// Mass of the rod.
    pub mass: Option<Mass>,
    /// Bench test: mass that, hung from the tip of the level rod, drops it by a third of the length.
    pub third_drop_mass: Option<Mass>,
    /// Bench test: angle of the tip below the level at that mass, degrees.
    pub third_drop_angle_deg: Option<f64>,
}

/// Angles of the tip at the third drop that a blank can have, degrees: a uniform one turns by 29.33
/// (Bisshopp and Drucker 1945), none hangs beyond the plumb line.
pub const THIRD_DROP_ANGLE_DEG: (f64, f64) = (29.33, 90.0);

/// A reel, without its line.
#[skip_serializing_none]
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Reel {
    /// Fixed-spool (`Spinning`) or revolving-spool (`Casting`).
    pub kind: Option<Handle>,
    /// The maker's size number as text: it is no standard.
    pub size: Option<String>,
    /// Mass of the reel.
    pub mass: Option<Mass>,
    /// Advertised greatest drag.
    pub drag_max: Option<Force>,
    /// Turns of the spool or rotor a turn of the handle.
    pub gear_ratio: Option<f64>,
    /// Line taken in by one turn of the handle, spool full.
    pub retrieve: Option<Length>,
    /// Diameter of line at which `capacity_length` was printed.
    pub capacity_diameter: Option<Length>,
    /// Length of line of `capacity_diameter` that fills the spool.
    pub capacity_length: Option<Length>,
    /// Breakaway drag over running drag; 1 is perfect, 1.5 and more is sticky.
    pub start_up_ratio: Option<f64>,
    /// Side of the crank; casting reels cannot be reversed.
    pub retrieve_side: Option<RetrieveSide>,
    /// Sealed against salt water.
    pub salt_rated: Option<bool>,
}

/// The main line.
#[skip_serializing_none]
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Line {
    /// Material.
    pub material: Option<LineMaterial>,
    /// Breaking force, as printed.
    pub test: Option<Force>,
    /// Diameter.
    pub diameter: Option<Length>,
    /// Length on the spool.
    pub length: Option<Length>,
}

/// The leader or trace between main line and lure.
#[skip_serializing_none]
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Leader {
    /// Material; `LeaderMaterial::None` says that there is no leader.
    pub material: Option<LeaderMaterial>,
    /// Breaking force, as printed.
    pub test: Option<Force>,
    /// Diameter.
    pub diameter: Option<Length>,
    /// Length.
    pub length: Option<Length>,
}

/// The hooks of a lure.
#[skip_serializing_none]
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Hook {
    /// Treble, single and so on.
    pub style: Option<HookStyle>,
    /// Size as printed ("4", "3/0"): no standard, so the wire decides.
    pub size: Option<String>,
    /// Diameter of the wire.
    pub wire: Option<Length>,
    /// Number of hooks; a double counts its points.
    pub count: Option<u32>,
    /// Whether it has a barb.
    pub barbed: Option<bool>,
    /// How sharp it is.
    pub point: Option<HookPoint>,
}

/// A lure as rigged.
#[skip_serializing_none]
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Lure {
    /// Class of lure.
    pub class: Option<LureClass>,
    /// Everything that is cast: body, head, trailer, snap.
    pub rigged_mass: Option<Mass>,
    /// Head or bare lure alone.
    pub head_mass: Option<Mass>,
    /// Trailer (soft tail) alone.
    pub trailer_mass: Option<Mass>,
    /// Length of the body.
    pub length: Option<Length>,
    /// Its hooks.
    pub hook: Hook,
    /// Extra force that frees the point from plastic or guard.
    pub punch: Option<Force>,
    /// Steady force at the usual speed of retrieve.
    pub pull: Option<Force>,
    /// How it flies.
    pub air: Option<AirClass>,
}

/// A rod with its reel, line and leader, and the drag as set.
#[skip_serializing_none]
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Outfit {
    /// The rod.
    pub rod: Rod,
    /// The reel.
    pub reel: Reel,
    /// The main line.
    pub line: Line,
    /// The leader.
    pub leader: Leader,
    /// Drag set at the strike.
    pub drag: Option<Force>,
}
