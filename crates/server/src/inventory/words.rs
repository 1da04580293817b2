//! Closed lists of the ledger and the enums of the contract, word for word.

use deepbend_contract::pb;
use deepbend_ledger::body::{Measure, Reason};
use deepbend_ledger::event::Certainty;
use deepbend_ledger::import::FileKind;
use deepbend_ledger::item::{Condition, ItemKind, Status};

/// A word of the ledger that the contract knows as an enum.
pub(super) trait LedgerWord: Sized {
    /// The enum of the contract.
    type Wire: TryFrom<i32> + Into<i32>;

    /// Name of that enum.
    const WIRE_NAME: &'static str;

    /// The word as the contract has it.
    fn wire(self) -> Self::Wire;

    /// The word of the ledger; `None` where it is not given.
    fn from_wire(wire: Self::Wire) -> Option<Self>;
}

macro_rules! pairs {
    ($($name:ident = $wire:ident { $($word:ident)* })*) => {
        $(impl LedgerWord for $name {
            type Wire = pb::$wire;

            const WIRE_NAME: &'static str = stringify!($wire);

            fn wire(self) -> pb::$wire {
                match self { $(Self::$word => pb::$wire::$word,)* }
            }

            fn from_wire(wire: pb::$wire) -> Option<Self> {
                match wire {
                    pb::$wire::Unspecified => None,
                    $(pb::$wire::$word => Some(Self::$word),)*
                }
            }
        })*
    };
}

pairs! {
    ItemKind = ItemKind { Rod Reel Lure LineStock Boat Device }
    Status = ItemStatus { Ready OnLoan InService Broken Lost Retired }
    Condition = ItemCondition { A B C D E }
    Measure = Measure { Pieces Centimetres }
    Reason = AdjustmentReason { Lost Used Discarded Bought Found }
    Certainty = Certainty { Seen Said Typed }
    FileKind = ImportFileKind { Boats Devices LineStock Rods Reels Lures }
}
