//! A piece of gear as the ledger knows it: what its owner wrote and what was read of it.

use deepbend_core::gear::{Finding, Leader, Line, Lure, Power, Reel, Rod};
use deepbend_core::quantity::Length;
use serde::{Deserialize, Serialize};
use serde_with::skip_serializing_none;

use crate::body::Measure;
use crate::cells::Cells;
use crate::id::Id;
use crate::time::Date;

macro_rules! words {
    ($(#[$doc:meta])* $name:ident { $($(#[$vdoc:meta])* $variant:ident = $word:literal,)* }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
        pub enum $name {
            $($(#[$vdoc])* #[serde(rename = $word)] $variant,)*
        }

        impl deepbend_core::gear::Word for $name {
            const ALL: &'static [Self] = &[$(Self::$variant,)*];

            fn as_word(self) -> &'static str {
                match self { $(Self::$variant => $word,)* }
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.pad(deepbend_core::gear::Word::as_word(*self))
            }
        }
    };
}
pub(crate) use words;

words! {
    /// Kind of item, in the order in which lists show them.
    ItemKind {
        /// A rod.
        Rod = "rod",
        /// A reel with the line on it.
        Reel = "reel",
        /// A lure; several alike are one item with a quantity.
        Lure = "lure",
        /// Line or leader in store.
        LineStock = "line_stock",
        /// A boat, or a place ashore where gear is kept.
        Boat = "boat",
        /// A tablet or computer that records events.
        Device = "device",
    }
}

words! {
    /// Whether an item can be used, the most cautious last.
    Status {
        /// Can be used.
        Ready = "ready",
        /// Lent to somebody.
        OnLoan = "on_loan",
        /// On the bench or sent away.
        InService = "in_service",
        /// Broken.
        Broken = "broken",
        /// Nobody knows where.
        Lost = "lost",
        /// Out of use for good; the record is kept.
        Retired = "retired",
    }
}

words! {
    /// State of an item, best first.
    Condition {
        /// As new.
        A = "A",
        /// Used, sound.
        B = "B",
        /// Worn, wants work.
        C = "C",
        /// Defective.
        D = "D",
        /// Beyond repair.
        E = "E",
    }
}

/// The key of an item: its kind and its id.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct ItemKey {
    /// Kind.
    pub kind: ItemKind,
    /// Id.
    pub id: Id,
}

/// A piece of gear, or a number of pieces alike.
#[skip_serializing_none]
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Item {
    /// What stands on its sticker.
    pub id: Id,
    /// What its owner wrote, by column, empty cells left out.
    pub raw: Cells,
    /// What was read of it.
    pub spec: Spec,
    /// Short name, where it has one.
    pub name: Option<String>,
    /// Number of pieces; `None` for what is counted by its sticker.
    pub quantity: Option<u32>,
    /// Id of the boat or the place ashore where it is.
    pub place: Option<Id>,
    /// Whether it can be used.
    pub status: Status,
    /// State.
    pub condition: Option<Condition>,
    /// Free text.
    pub note: Option<String>,
    /// Number given by its maker. Private to the owner.
    pub serial: Option<String>,
    /// What it cost.
    pub cost: Option<Cost>,
    /// What was odd about the description.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub findings: Vec<Finding>,
}

impl Item {
    /// Its kind.
    #[must_use]
    pub fn kind(&self) -> ItemKind {
        self.spec.kind()
    }

    /// Its key.
    #[must_use]
    pub fn key(&self) -> ItemKey {
        ItemKey { kind: self.kind(), id: self.id.clone() }
    }

    /// What there is of it is counted in; `None`: it is one item, known by its sticker. Of stock
    /// that is cut to pieces the length follows from their number.
    #[must_use]
    pub fn counted_in(&self) -> Option<Measure> {
        match (&self.spec, self.quantity) {
            (_, Some(_)) => Some(Measure::Pieces),
            (Spec::LineStock(_), None) => Some(Measure::Centimetres),
            (
                Spec::Rod(_) | Spec::Reel(_) | Spec::Lure(_) | Spec::Boat(_) | Spec::Device(_),
                None,
            ) => None,
        }
    }

    /// The printed power of a rod; `None` for anything else.
    #[must_use]
    pub fn power(&self) -> Option<Power> {
        match &self.spec {
            Spec::Rod(rod) => rod.power_label,
            Spec::Reel(_)
            | Spec::Lure(_)
            | Spec::LineStock(_)
            | Spec::Boat(_)
            | Spec::Device(_) => None,
        }
    }
}

/// What was read of an item, by kind.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Spec {
    /// A rod.
    Rod(Rod),
    /// A reel and its line.
    Reel(RiggedReel),
    /// A lure as rigged.
    Lure(Lure),
    /// Line or leader in store.
    LineStock(LineStock),
    /// A boat or a place ashore.
    Boat(Boat),
    /// A recording device.
    Device(Device),
}

impl Spec {
    /// The kind of item that it describes.
    #[must_use]
    pub fn kind(&self) -> ItemKind {
        match self {
            Self::Rod(_) => ItemKind::Rod,
            Self::Reel(_) => ItemKind::Reel,
            Self::Lure(_) => ItemKind::Lure,
            Self::LineStock(_) => ItemKind::LineStock,
            Self::Boat(_) => ItemKind::Boat,
            Self::Device(_) => ItemKind::Device,
        }
    }
}

/// A reel and the line on it.
#[skip_serializing_none]
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct RiggedReel {
    /// The reel.
    pub reel: Reel,
    /// The line fitted; `None` for an empty spool.
    pub fitted: Option<FittedLine>,
}

/// The line on a reel.
#[skip_serializing_none]
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct FittedLine {
    /// The line.
    pub line: Line,
    /// Number of strands of a braid; 1 for a single filament.
    pub strands: Option<u32>,
    /// Day on which it was put on the spool.
    pub spooled_on: Option<Date>,
    /// Hours fished since then.
    pub hours: Option<f64>,
    /// When it was last turned round, if it was.
    pub turned: Option<Turned>,
}

/// The last turning round of a line.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Turned {
    /// The day.
    pub on: Date,
    /// Hours that it had fished by then.
    pub hours: f64,
}

/// Line or leader in store.
#[skip_serializing_none]
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LineStock {
    /// What it is used as. Where it is cut to pieces the length in there is that of one piece,
    /// and their number is the item's quantity.
    pub use_as: StockUse,
    /// Number of strands of a braid or wires of a cable; 1 for a single filament.
    pub strands: Option<u32>,
    /// Length of all there is.
    pub length: Option<Length>,
}

/// What line in store is used as.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum StockUse {
    /// Main line.
    Line(Line),
    /// Leader or trace.
    Leader(Leader),
}

/// A boat, or a place ashore where gear is kept.
#[skip_serializing_none]
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Boat {
    /// Where it lies.
    pub home_berth: Option<String>,
    /// Holders for rigged rods; 0 ashore.
    pub rod_holders: Option<u32>,
    /// Rods that it may carry in all.
    pub max_rods_aboard: Option<u32>,
    /// Length of the rod locker.
    pub locker_length: Option<Length>,
    /// Free text about the deck.
    pub deck_note: Option<String>,
}

/// A recording device.
#[skip_serializing_none]
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Device {
    /// Who uses it.
    pub role: Option<String>,
}

/// A price paid.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Cost {
    /// Hundredths of the currency.
    pub cents: u64,
    /// Three letters of ISO 4217.
    pub currency: String,
}
