//! What became of an event in the fold, and why.

use serde::Serialize;

use crate::event::EventId;
use crate::item::Status;
use crate::view::EventRef;

/// What an event does to an item. Every event is kept, whatever becomes of it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Effect {
    /// It acts as written.
    Acts,
    /// It acts, but not in every way.
    InPart(Why),
    /// It has no effect.
    Nothing(Why),
}

impl Effect {
    /// The effect on two items together.
    pub(crate) fn and(self, other: Self) -> Self {
        match (self, other) {
            (Self::Acts, Self::Acts) => Self::Acts,
            (Self::Nothing(why), Self::Nothing(_)) => Self::Nothing(why),
            (Self::InPart(why) | Self::Nothing(why), _)
            | (_, Self::InPart(why) | Self::Nothing(why)) => Self::InPart(why),
        }
    }
}

/// Why an event does not act.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, thiserror::Error)]
#[serde(rename_all = "snake_case")]
pub enum Why {
    /// A later event says that it was wrong.
    #[error("corrected by {by}")]
    Corrected {
        /// The correction, the lowest of several.
        by: EventId,
    },
    /// Its chain forks: it casts doubt, but replaces nothing.
    #[error("in quarantine: its device wrote two different events under one number")]
    Quarantined,
    /// Its device is not enrolled, or revoked.
    #[error("its device may not write: it is not enrolled, or revoked")]
    NotEnrolled,
    /// It enrols or revokes without the right to.
    #[error("its device may not do that: only a keeper enrols and revokes, those below it")]
    NotKeeper,
    /// The event that it corrects has not arrived.
    #[error("pending: event {target} is not here yet")]
    TargetMissing {
        /// The event.
        target: EventId,
    },
    /// Its device did not hold the event that it corrects.
    #[error("pending: its device had not seen event {target}, which it corrects")]
    TargetUnseen {
        /// The event.
        target: EventId,
    },
    /// It corrects an event that cannot be corrected, or says something instead that cannot be.
    #[error(
        "an enrolment is not corrected: revoke the device; and no event about devices and no \
         correction can be put in another one's place"
    )]
    NotCorrectable,
    /// Corrections of corrections that lead too far, or in a circle.
    #[error("it corrects a correction of a correction too often, or itself")]
    TooDeep,
    /// The item is not known.
    #[error("pending: the item is not known yet")]
    UnknownItem,
    /// A broken or retired item cannot become usable without an inspection.
    #[error("it was {was}: it needs an inspection with a reason before it can be used again")]
    NeedsInspection {
        /// What it was found to be.
        was: Status,
    },
    /// An inspection must say what was looked at.
    #[error("an inspection needs a reason")]
    NoReason,
    /// The item is not counted that way.
    #[error("this item is not counted")]
    NotCounted,
    /// Pieces were moved without saying how many.
    #[error("the item is counted in pieces: say how many were moved")]
    SayHowMany,
    /// A column that events of their own tell of.
    #[error("column {column} is not edited: record what happened")]
    NotEdited {
        /// The column.
        column: String,
    },
    /// A column that cannot be read.
    #[error("column {column} cannot be read: {fault}")]
    Unreadable {
        /// The column.
        column: String,
        /// What was wrong and what would be right.
        fault: String,
    },
}

/// Whether an event may act at all, before anything is asked of its item.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Standing {
    /// It may.
    Acts,
    /// It is in quarantine: it is heard, but settles nothing.
    Doubtful,
    /// It may not.
    Out(Why),
}

/// One event of an item's history.
#[derive(Clone, Debug, PartialEq)]
pub struct Told<'v> {
    /// The event.
    pub reference: EventRef,
    /// What it says.
    pub event: &'v crate::event::Event,
    /// What became of it.
    pub effect: Effect,
}
