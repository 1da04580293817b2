//! Closed lists of trade words. Each list knows how a word is written and reads it back.

/// A word of a closed list: how it is written, what else is accepted, which words there are.
pub trait Word: Sized + Copy + 'static {
    /// All words of the list, in their natural order.
    const ALL: &'static [Self];

    /// The word as it is written in files and answers: lower case, underscores.
    fn as_word(self) -> &'static str;

    /// Reads a word; case, spaces, hyphens and underscores do not matter. `None` if unknown.
    fn from_word(text: &str) -> Option<Self> {
        let wanted = normalise(text);
        Self::ALL.iter().copied().find(|w| w.as_word() == wanted)
    }
}

/// Lower case, with runs of spaces, hyphens and underscores as one underscore.
pub(crate) fn normalise(text: &str) -> String {
    let lower = text.trim().to_lowercase();
    lower
        .split(|c: char| c.is_whitespace() || c == '-' || c == '_')
        .filter(|part| !part.is_empty())
        .collect::<Vec<_>>()
        .join("_")
}

macro_rules! words {
    ($(#[$doc:meta])* $name:ident { $($(#[$vdoc:meta])* $variant:ident = $word:literal,)* }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize)]
        pub enum $name {
            $($(#[$vdoc])* #[serde(rename = $word)] $variant,)*
        }

        impl $crate::gear::Word for $name {
            const ALL: &'static [Self] = &[$(Self::$variant,)*];

            fn as_word(self) -> &'static str {
                match self { $(Self::$variant => $word,)* }
            }
        }
    };
}
pub(crate) use words;

words! {
    /// How the rod holds its reel, and the kind of reel that fits.
    Handle {
        /// Fixed-spool reel below the rod.
        Spinning = "spinning",
        /// Revolving-spool reel above the rod, trigger grip.
        Casting = "casting",
    }
}

words! {
    /// Where a blank bends under a moderate load, deepest first.
    Action {
        /// The whole blank, into the grip.
        Slow = "slow",
        /// About the upper half.
        Moderate = "moderate",
        /// About two fifths.
        ModerateFast = "moderate_fast",
        /// About a third.
        Fast = "fast",
        /// About the last fifth.
        ExtraFast = "extra_fast",
    }
}

words! {
    /// What the blank is made of.
    RodMaterial {
        /// Carbon fibre: light, quick, brittle to knocks, conducts electricity.
        Graphite = "graphite",
        /// Carbon and glass.
        Composite = "composite",
        /// Glass fibre: heavy, slow to recover, tough.
        Glass = "glass",
    }
}

words! {
    /// State of the rings.
    GuideCondition {
        /// Sound ceramic inserts.
        Ceramic = "ceramic",
        /// Plated wire: braid grooves it.
        Plated = "plated",
        /// A cracked or chipped insert: cuts line under load.
        Cracked = "cracked",
    }
}

words! {
    /// What a printed line rating means.
    LineBasis {
        /// Nylon test.
        Nylon = "nylon",
        /// Braid test.
        Braid = "braid",
    }
}

words! {
    /// Main line.
    LineMaterial {
        /// Braided ultra-high-molecular-weight polyethylene.
        Braid = "braid",
        /// Nylon monofilament.
        Nylon = "nylon",
        /// Fluorocarbon (polyvinylidene fluoride).
        Fluorocarbon = "fluorocarbon",
    }
}

words! {
    /// Leader or trace.
    LeaderMaterial {
        /// No leader: the main line is tied to the lure.
        None = "none",
        /// Nylon monofilament.
        Nylon = "nylon",
        /// Fluorocarbon.
        Fluorocarbon = "fluorocarbon",
        /// Stranded or single steel wire.
        SteelWire = "steel_wire",
        /// Titanium wire.
        Titanium = "titanium",
    }
}

words! {
    /// How a lure is armed.
    HookStyle {
        /// Treble hooks.
        Treble = "treble",
        /// A single hook moulded into or tied to the lure.
        Single = "single",
        /// A single on the ring where a treble hung.
        InlineSingle = "inline_single",
        /// A single whose point lies in plastic or behind a guard.
        Weedless = "weedless",
        /// A double whose points lie against a soft body.
        DoubleWeedless = "double_weedless",
    }
}

words! {
    /// How sharp a hook is.
    HookPoint {
        /// New or well sharpened.
        Sharp = "sharp",
        /// Fished for a while.
        Used = "used",
        /// Rolled or rusted.
        Dull = "dull",
    }
}

words! {
    /// How a lure flies, by drag area over mass.
    AirClass {
        /// Metal: flies like a stone.
        Compact = "compact",
        /// A tail on a head: steady.
        Steady = "steady",
        /// Plugs and spinners: wobble.
        Wobbling = "wobbling",
        /// Bulky: tumbles.
        Tumbling = "tumbling",
    }
}

words! {
    /// Side of the crank.
    RetrieveSide {
        /// Left hand winds.
        Left = "left",
        /// Right hand winds.
        Right = "right",
        /// The crank can be put on either side (fixed-spool reels).
        Reversible = "reversible",
    }
}

words! {
    /// Class of lure.
    LureClass {
        /// Jig head with a paddle tail.
        PaddleTailJig = "paddle_tail_jig",
        /// Mushroom-head finesse jig with a small plastic.
        FinesseJig = "finesse_jig",
        /// Hook on the line above the weight.
        DropShot = "drop_shot",
        /// Blade turning round a straight wire.
        InlineSpinner = "inline_spinner",
        /// Slim plug with a lip.
        Minnow = "minnow",
        /// Stout plug with a lip, wound steadily.
        Crankbait = "crankbait",
        /// Sinking plug without a lip.
        LiplessCrankbait = "lipless_crankbait",
        /// Wide spoon.
        WobblingSpoon = "wobbling_spoon",
        /// Slim spoon or through-line lure for distance.
        CoastSpoon = "coast_spoon",
        /// Plug worked by jerks on slack line.
        Jerkbait = "jerkbait",
        /// Floating pencil that walks from side to side.
        WalkingTopwater = "walking_topwater",
        /// Floating plug with a cupped face.
        Popper = "popper",
        /// Floating plug with propellers, or a wake bait.
        PropBait = "prop_bait",
        /// Large plug that glides from side to side.
        GlideBait = "glide_bait",
        /// Hard swimbait in sections.
        JointedSwimbait = "jointed_swimbait",
        /// Soft shad of 15 cm and more with trebles.
        LargeSoftShad = "large_soft_shad",
        /// Blades on a bent wire arm above a skirted head.
        Spinnerbait = "spinnerbait",
        /// Skirted jig with a blade on its nose.
        BladedJig = "bladed_jig",
        /// Surface wire bait with a large propeller blade.
        Buzzbait = "buzzbait",
        /// Sliding bullet weight and offset hook.
        TexasRig = "texas_rig",
        /// Weight, long leader, offset hook.
        CarolinaRig = "carolina_rig",
        /// Worm hooked in the middle.
        WackyRig = "wacky_rig",
        /// Unweighted soft jerkbait on an offset hook.
        WeedlessSoftJerkbait = "weedless_soft_jerkbait",
        /// Hollow soft frog.
        HollowFrog = "hollow_frog",
        /// Skirted jig with a brush guard.
        SkirtedJig = "skirted_jig",
        /// Slim metal, cast or dropped.
        MetalJig = "metal_jig",
        /// Thin vibrating metal plate.
        BladeBait = "blade_bait",
        /// Soft bait or spoon under the boat.
        VerticalJig = "vertical_jig",
        /// Hollow soft tube or creature on a head.
        Tube = "tube",
        /// Jig tied with hair.
        BucktailJig = "bucktail_jig",
        /// Soft shrimp.
        ShrimpImitation = "shrimp_imitation",
        /// Jig or shrimp under a popping float.
        PoppingCorkRig = "popping_cork_rig",
        /// Lead body with a small blade behind.
        TailSpinner = "tail_spinner",
        /// Several baits on a wire frame.
        UmbrellaRig = "umbrella_rig",
    }
}

impl LureClass {
    /// Reads a class, knowing a few words that mean a class of the list. The flag says that the
    /// word was such a near one.
    #[must_use]
    pub fn from_word_or_nearest(text: &str) -> Option<(Self, bool)> {
        if let Some(class) = Self::from_word(text) {
            return Some((class, false));
        }
        let class = match normalise(text).as_str() {
            "weighted_weedless_swimbait" | "weedless_swimbait" => Self::WeedlessSoftJerkbait,
            "slow_sinking_plug" | "sinking_plug" => Self::Minnow,
            "punch_rig" => Self::TexasRig,
            "mushroom_head_finesse_jig" => Self::FinesseJig,
            "spoon" => Self::WobblingSpoon,
            "frog" => Self::HollowFrog,
            "swimbait" | "hard_swimbait" => Self::JointedSwimbait,
            "creature" => Self::Tube,
            "plug" | "twitchbait" => Self::Minnow,
            "pencil" | "walker" | "stickbait" => Self::WalkingTopwater,
            "wake_bait" => Self::PropBait,
            "jig" | "jighead" => Self::PaddleTailJig,
            "bucktail" => Self::BucktailJig,
            "spinner" => Self::InlineSpinner,
            "lipless" => Self::LiplessCrankbait,
            "topwater" | "surface_lure" | "surface_plug" => Self::WalkingTopwater,
            "glidebait" => Self::GlideBait,
            "soft_stick" | "stick_worm" => Self::WackyRig,
            "pilk" | "pilker" => Self::MetalJig,
            _ => return None,
        };
        Some((class, true))
    }
}
