//! Closed lists of the domain and the enums of the contract, word for word. Both matches name
//! every word, so that a new one breaks the build on either side.

use deepbend_core::{gear, judge, water};

use crate::pb;

/// A word of a closed list that the contract knows as an enum.
pub trait WireWord: Sized {
    /// The enum of the contract.
    type Wire: TryFrom<i32> + Into<i32>;

    /// Name of that enum.
    const WIRE_NAME: &'static str;

    /// The word as the contract has it.
    fn to_wire_word(self) -> Self::Wire;

    /// The word of the domain; `None` where it is not given.
    fn from_wire_word(wire: Self::Wire) -> Option<Self>;
}

/// A word, or 0 where it is not given.
pub(crate) fn word<W: WireWord>(word: Option<W>) -> i32 {
    word.map_or(0, |w| w.to_wire_word().into())
}

macro_rules! pairs {
    ($($module:ident::$name:ident { $($word:ident)* })*) => {
        $(impl WireWord for $module::$name {
            type Wire = pb::$name;

            const WIRE_NAME: &'static str = stringify!($name);

            fn to_wire_word(self) -> pb::$name {
                match self { $(Self::$word => pb::$name::$word,)* }
            }

            fn from_wire_word(wire: pb::$name) -> Option<Self> {
                match wire {
                    pb::$name::Unspecified => None,
                    $(pb::$name::$word => Some(Self::$word),)*
                }
            }
        })*
    };
}

pairs! {
    gear::Handle { Spinning Casting }
    gear::Power {
        Ultralight Light MediumLight Medium MediumHeavy Heavy ExtraHeavy DoubleExtraHeavy
    }
    gear::Action { Slow Moderate ModerateFast Fast ExtraFast }
    gear::RodMaterial { Graphite Composite Glass }
    gear::GuideCondition { Ceramic Plated Cracked }
    gear::LineBasis { Nylon Braid }
    gear::LineMaterial { Braid Nylon Fluorocarbon }
    gear::LeaderMaterial { None Nylon Fluorocarbon SteelWire Titanium }
    gear::HookStyle { Treble Single InlineSingle Weedless DoubleWeedless }
    gear::HookPoint { Sharp Used Dull }
    gear::AirClass { Compact Steady Wobbling Tumbling }
    gear::RetrieveSide { Left Right Reversible }
    gear::LureClass {
        PaddleTailJig FinesseJig DropShot InlineSpinner Minnow Crankbait LiplessCrankbait
        WobblingSpoon CoastSpoon Jerkbait WalkingTopwater Popper PropBait GlideBait JointedSwimbait
        LargeSoftShad Spinnerbait BladedJig Buzzbait TexasRig CarolinaRig WackyRig
        WeedlessSoftJerkbait HollowFrog SkirtedJig MetalJig BladeBait VerticalJig Tube BucktailJig
        ShrimpImitation PoppingCorkRig TailSpinner UmbrellaRig
    }
    gear::FindingCode {
        LabelDiffers LongRodLabel RangeTooWide BoundsSwapped RatingsDisagree UnitAssumed UnitSuspect
        DecimalComma MixedNumber LineNumberConverted RiggedMassComputed NearestWord UnknownSpecies
        DiameterSuspect LineDue TextIgnored
    }
    water::WindDirection { Calm Down Across Into }
    water::Platform { Boat Kayak Bank Coast Wading OverhungBank BoatVertical Bridge }
    water::Cover { Open Weed Heavy Oyster Mangrove Dock Rock Timber }
    water::Skill { Novice Intermediate Expert }
    water::Hookset { Sweep Snap ReelSet HandOnSpool StripSet }
    water::WaterKind { Fresh Brackish Salt }
    judge::Verdict { Excellent Good Workable Poor Unsafe }
    judge::FactorKind {
        Load Action HookSet Hold Pull Line Leader Drag Cover Reel Length Wind Contact Skill
    }
    judge::RuleKind { Limit Physics Practice Preference }
    judge::Protects { Person Gear Fish Law }
    judge::LimitCode { RodOverload CrackedRing BiteOff DragNearBreak SnapOff RodWeakest }
    judge::CautionCode {
        PowerLine Lightning Hooks CastOverload SnapOff HighDrag BraidOnHand StrongWind ColdWater
        WarmWaterFish Barotrauma BiteOff CheckGear DeadLift LocalRules Uncertain Wading LifeJacket
    }
    judge::CastLink { Rod Line Leader }
    judge::FixCode { Mass HookStyle HookPoint Drag Leader Line Hookset Combined }
}
