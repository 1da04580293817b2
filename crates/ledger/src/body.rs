//! What can happen to gear, and to the fleet's devices. One [`Body`] is one event's content.
//!
//! An event says what was seen or done, never what follows from it: that is the fold's work.

use std::collections::BTreeMap;
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use crate::event::EventId;
use crate::exchange::PublicKey;
use crate::id::Id;
use crate::item::{Condition, Cost, FittedLine, Item, ItemKey, ItemKind, Status, words};
use crate::time::Date;

words! {
    /// What is counted of an item.
    Measure {
        /// Pieces: lures, leaders, ready-made traces.
        Pieces = "pieces",
        /// Line left in store, cm.
        Centimetres = "centimetres",
    }
}

words! {
    /// Why a count went up or down.
    Reason {
        /// Lost: snagged, bitten off, dropped.
        Lost = "lost",
        /// Used up.
        Used = "used",
        /// Worn or broken and thrown away.
        Discarded = "discarded",
        /// Bought.
        Bought = "bought",
        /// Found again.
        Found = "found",
    }
}

/// What happened.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Body {
    /// The first event of an item: it joined the fleet, as described.
    Acquired {
        /// The item.
        item: Arc<Item>,
    },
    /// It was carried to another place.
    Moved {
        /// The item.
        item: ItemKey,
        /// Where from, as the actor believes.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        from: Option<Id>,
        /// Where to.
        to: Id,
        /// How many pieces, for what is counted in pieces; nothing else has pieces.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pieces: Option<u32>,
    },
    /// It was lent to somebody.
    Lent {
        /// The item.
        item: ItemKey,
        /// To whom.
        to: Id,
        /// The day on which it should be back.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        until: Option<Date>,
    },
    /// It came back from a loan.
    Returned {
        /// The item.
        item: ItemKey,
        /// Where it was put.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        to: Option<Id>,
    },
    /// It was counted: so much there is, whatever was written before.
    Counted {
        /// The item.
        item: ItemKey,
        /// What was counted.
        measure: Measure,
        /// Where; left out: where the item was first acquired.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        place: Option<Id>,
        /// How many, or how long.
        amount: u32,
    },
    /// There is more or less of it than before, by so much.
    Adjusted {
        /// The item.
        item: ItemKey,
        /// Of what.
        measure: Measure,
        /// Where; left out: where the item was first acquired.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        place: Option<Id>,
        /// By how much; less than 0 for a loss.
        by: i32,
        /// Why.
        why: Reason,
    },
    /// A reel was put on a rod.
    Rigged {
        /// The rod.
        rod: Id,
        /// The reel.
        reel: Id,
        /// The leader tied on, by its stock.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        leader: Option<Id>,
    },
    /// A reel was taken off a rod.
    Unrigged {
        /// The rod.
        rod: Id,
        /// The reel.
        reel: Id,
    },
    /// New line was put on a reel.
    Respooled {
        /// The reel.
        reel: Id,
        /// The line; left out: the spool was stripped.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        fitted: Option<Box<FittedLine>>,
        /// The stock that it was taken from.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        from: Option<Id>,
        /// How much of the stock it took, cm; so much is on the reel, unless the line says its length.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        taken_cm: Option<u32>,
    },
    /// The line on a reel was turned round.
    Reversed {
        /// The reel.
        reel: Id,
    },
    /// A worn end of line was cut off.
    CutBack {
        /// The reel.
        reel: Id,
        /// How much, cm.
        cut_cm: u32,
    },
    /// It was fished.
    Used {
        /// The item; what a reel fishes counts for its line as well.
        item: ItemKey,
        /// How long, minutes.
        minutes: u32,
    },
    /// It broke.
    Broke {
        /// The item.
        item: ItemKey,
        /// What broke, and how.
        what: String,
    },
    /// A defect was found.
    FoundDefect {
        /// The item.
        item: ItemKey,
        /// What is wrong.
        what: String,
        /// Whether it can be fished all the same; a crack cannot: it counts as broken.
        usable: bool,
        /// State that it is in now.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        condition: Option<Condition>,
    },
    /// Somebody looked at it closely. Only after that can a broken or retired item be ready again.
    Inspected {
        /// The item.
        item: ItemKey,
        /// What it was found to be.
        status: Status,
        /// State that it is in.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        condition: Option<Condition>,
        /// Why it is so: what was looked at. Must not be empty.
        reason: String,
    },
    /// It went to the bench or was sent away.
    SentToService {
        /// The item.
        item: ItemKey,
        /// To whom.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        to: Option<String>,
        /// The day on which it should be back.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        back_by: Option<Date>,
    },
    /// Work was done on it.
    Serviced {
        /// The item.
        item: ItemKey,
        /// What was done.
        what: String,
        /// Whether the work is finished. If not, nothing but the note follows from it.
        finished: bool,
        /// State that it is in now.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        condition: Option<Condition>,
    },
    /// Nobody knows where it is.
    Lost {
        /// The item.
        item: ItemKey,
    },
    /// A lost item turned up.
    Found {
        /// The item.
        item: ItemKey,
        /// Where.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        at: Option<Id>,
    },
    /// Out of use for good.
    Retired {
        /// The item.
        item: ItemKey,
        /// Why.
        reason: String,
    },
    /// Its status was set, by one tap and without a word.
    StatusSet {
        /// The item.
        item: ItemKey,
        /// The status.
        status: Status,
    },
    /// Money was spent on it.
    Cost {
        /// The item.
        item: ItemKey,
        /// How much.
        cost: Cost,
        /// What for.
        what: String,
    },
    /// A remark, which changes nothing.
    Note {
        /// The item.
        item: ItemKey,
        /// The remark.
        text: String,
    },
    /// Columns of its description were written anew.
    Edited {
        /// The item.
        item: ItemKey,
        /// The columns of the fleet's files, with what stands there now; `None` empties one.
        columns: BTreeMap<String, Option<String>>,
    },
    /// An earlier event was wrong. It stays in the record and has no effect any more.
    Correction {
        /// The event that was wrong: any but one about devices.
        target: EventId,
        /// What should have been written instead, acting at the place of the wrong event.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        instead: Option<Box<Body>>,
        /// Why.
        reason: String,
    },
    /// A device may write for the fleet. Acts only if a keeper wrote it.
    Enrolled {
        /// The device.
        device: Id,
        /// The key that its events are signed with.
        key: PublicKey,
        /// Whether it may itself enrol and revoke others.
        keeper: bool,
    },
    /// What a device writes counts no more. Acts only if a keeper wrote it that stands nearer to
    /// the founder than the device does, or the device itself.
    Revoked {
        /// The device.
        device: Id,
        /// By incarnation, the last number that still counts; no other incarnation does.
        last: BTreeMap<u32, u64>,
        /// Why.
        reason: String,
    },
}

impl Body {
    /// The items that it is about: none for an event about devices, and for a correction only
    /// those of what it says instead; [`View::about`](crate::view::View::about) follows it to
    /// the event that it corrects.
    #[must_use]
    pub fn about(&self) -> Vec<ItemKey> {
        let reel = |id: &Id| ItemKey { kind: ItemKind::Reel, id: id.clone() };
        let rod = |id: &Id| ItemKey { kind: ItemKind::Rod, id: id.clone() };
        match self {
            Self::Acquired { item } => vec![item.key()],
            Self::Moved { item, .. }
            | Self::Lent { item, .. }
            | Self::Returned { item, .. }
            | Self::Counted { item, .. }
            | Self::Adjusted { item, .. }
            | Self::Used { item, .. }
            | Self::Broke { item, .. }
            | Self::FoundDefect { item, .. }
            | Self::Inspected { item, .. }
            | Self::SentToService { item, .. }
            | Self::Serviced { item, .. }
            | Self::Lost { item }
            | Self::Found { item, .. }
            | Self::Retired { item, .. }
            | Self::StatusSet { item, .. }
            | Self::Cost { item, .. }
            | Self::Note { item, .. }
            | Self::Edited { item, .. } => vec![item.clone()],
            Self::Rigged { rod: of, reel: on, .. } | Self::Unrigged { rod: of, reel: on } => {
                vec![rod(of), reel(on)]
            }
            Self::Respooled { reel: on, from, .. } => {
                let stock = |id: &Id| ItemKey { kind: ItemKind::LineStock, id: id.clone() };
                std::iter::once(reel(on)).chain(from.as_ref().map(stock)).collect()
            }
            Self::Reversed { reel: on } | Self::CutBack { reel: on, .. } => vec![reel(on)],
            Self::Correction { instead, .. } => {
                instead.as_ref().map(|body| body.about()).unwrap_or_default()
            }
            Self::Enrolled { .. } | Self::Revoked { .. } => Vec::new(),
        }
    }

    /// The event that it corrects, if it is a correction.
    #[must_use]
    pub fn target(&self) -> Option<&EventId> {
        if let Self::Correction { target, .. } = self { Some(target) } else { None }
    }

    /// What it says of items: itself, or what a correction says instead, if anything.
    #[must_use]
    pub fn says(&self) -> Option<&Self> {
        if let Self::Correction { instead, .. } = self { instead.as_deref() } else { Some(self) }
    }

    /// The item that it says was acquired.
    #[must_use]
    pub fn acquired(&self) -> Option<&Arc<Item>> {
        if let Some(Self::Acquired { item }) = self.says() { Some(item) } else { None }
    }

    /// Whether it is about devices: such an event cannot be corrected, only revoked.
    #[must_use]
    pub fn is_about_devices(&self) -> bool {
        matches!(self, Self::Enrolled { .. } | Self::Revoked { .. })
    }
}
