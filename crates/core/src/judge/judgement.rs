//! What a caller gets: one judgement, whole.

use serde::Serialize;

use crate::gear::{Finding, HookStyle, InferredPower, LeaderMaterial, LineMaterial, words};
use crate::model::ModelId;
use crate::quantity::{Force, Length, Mass};

words! {
    /// The answer in one word, best first.
    Verdict {
        /// The gear was made for this.
        Excellent = "excellent",
        /// Nothing to complain of.
        Good = "good",
        /// It can be done, at a price.
        Workable = "workable",
        /// Leave it.
        Poor = "poor",
        /// A limit is broken: someone, something or a fish gets hurt.
        Unsafe = "unsafe",
    }
}

words! {
    /// The factors of a judgement, in the order in which a guide thinks.
    FactorKind {
        /// Does the rod throw this mass?
        Load = "load",
        /// Does the depth of the bend suit these hooks?
        Action = "action",
        /// Is there force enough at the point?
        HookSet = "hook_set",
        /// Does the hook stay, neither opened nor torn out?
        Hold = "hold",
        /// Does the rod carry the pull of the lure?
        Pull = "pull",
        /// Does the line suit rod, cast and cover?
        Line = "line",
        /// Does the leader survive teeth, jaws and edges?
        Leader = "leader",
        /// Does the set drag suit the weakest link, the rod and the fish?
        Drag = "drag",
        /// Can the fish be stopped short of cover?
        Cover = "cover",
        /// Does the reel suit lure, drag and line?
        Reel = "reel",
        /// Does the length suit the platform?
        Length = "length",
        /// Does the lure fly in this wind?
        Wind = "wind",
        /// Does the lure keep contact with the bottom in this current and depth?
        Contact = "contact",
        /// Can this angler handle it?
        Skill = "skill",
    }
}

words! {
    /// What a rule rests on.
    RuleKind {
        /// A hard limit.
        Limit = "limit",
        /// Follows from mechanics.
        Physics = "physics",
        /// Common practice.
        Practice = "practice",
        /// A matter of taste.
        Preference = "preference",
    }
}

words! {
    /// Whom a limit protects.
    Protects {
        /// People aboard and ashore.
        Person = "person",
        /// Rod, reel, line.
        Gear = "gear",
        /// The fish.
        Fish = "fish",
        /// The law.
        Law = "law",
    }
}

words! {
    /// Hard limits.
    LimitCode {
        /// The mass is more than the blank bears in a full cast.
        RodOverload = "rod_overload",
        /// Braid runs through a cracked ring.
        CrackedRing = "cracked_ring",
        /// Fish with cutting teeth and no bite-proof leader.
        BiteOff = "bite_off",
        /// The drag is set close to the strength of the weakest link.
        DragNearBreak = "drag_near_break",
        /// The line is too weak for the mass that is thrown.
        SnapOff = "snap_off",
        /// Line, leader and drag all outlast the rod.
        RodWeakest = "rod_weakest",
    }
}

words! {
    /// Cautions.
    CautionCode {
        /// Overhead power lines.
        PowerLine = "power_line",
        /// Lightning.
        Lightning = "lightning",
        /// Hooks in people.
        Hooks = "hooks",
        /// The rod is overloaded in a full cast.
        CastOverload = "cast_overload",
        /// The lure may fly off as a projectile.
        SnapOff = "snap_off",
        /// The drag is high for the line.
        HighDrag = "high_drag",
        /// Thick braid and bare hands.
        BraidOnHand = "braid_on_hand",
        /// Strong wind on the water.
        StrongWind = "strong_wind",
        /// Cold water.
        ColdWater = "cold_water",
        /// Fish under stress from warmth.
        WarmWaterFish = "warm_water_fish",
        /// Fish drawn up from depth.
        Barotrauma = "barotrauma",
        /// Teeth and leader.
        BiteOff = "bite_off",
        /// Rings or line to be looked at before use.
        CheckGear = "check_gear",
        /// The fish must be lifted and the line cannot bear its weight.
        DeadLift = "dead_lift",
        /// Seasons, sizes, licences, hook and lead rules.
        LocalRules = "local_rules",
        /// The answer is uncertain.
        Uncertain = "uncertain",
        /// Sharp oyster and slippery rock under foot, currents when wading.
        Wading = "wading",
        /// Life-jackets, and water that is fast or seen from a kayak.
        LifeJacket = "life_jacket",
    }
}

words! {
    /// What bears no heavier full cast.
    CastLink {
        /// The rod.
        Rod = "rod",
        /// The main line.
        Line = "line",
        /// The leader.
        Leader = "leader",
    }
}

/// A physical quantity behind a score or a limit.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Quantity {
    /// What it is, lower case, words joined by underscores.
    pub name: &'static str,
    /// Its value in `unit`.
    pub value: f64,
    /// Its unit; `1` for a plain ratio.
    pub unit: &'static str,
}

/// One factor of the score.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Factor {
    /// Which factor.
    pub kind: FactorKind,
    /// 0 to 1.
    pub score: f64,
    /// Share of the weighted geometric mean; the weights of all factors add up to 1.
    pub weight: f64,
    /// What it rests on.
    pub rule: RuleKind,
    /// The quantities that it follows from.
    pub quantities: Vec<Quantity>,
    /// What it takes from a perfect score, in billionths; all factors together take exactly
    /// 1 - `score_without_limits`.
    pub loss_nano: i64,
    /// One plain sentence.
    pub text: String,
}

/// A hard limit that is broken, or nearly so.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Limit {
    /// Which limit.
    pub code: LimitCode,
    /// Whom it protects.
    pub protects: Protects,
    /// The quantity that is held against the bound.
    pub quantity: Quantity,
    /// The bound, in the unit of the quantity.
    pub bound: f64,
    /// Distance to the bound in the unit of the quantity; negative when broken.
    pub slack: f64,
    /// Whether it is broken.
    pub broken: bool,
    /// One plain sentence.
    pub text: String,
}

words! {
    /// What a fix changes.
    FixCode {
        /// Another mass of head or lure.
        Mass = "mass",
        /// Another style of hook.
        HookStyle = "hook_style",
        /// A finer or sharper hook.
        HookPoint = "hook_point",
        /// Another drag setting.
        Drag = "drag",
        /// Another leader.
        Leader = "leader",
        /// Another main line.
        Line = "line",
        /// Another way to set the hook.
        Hookset = "hookset",
        /// Several of the above together.
        Combined = "combined",
    }
}

/// A cheap change, judged by the same model.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Fix {
    /// What it changes.
    pub code: FixCode,
    /// One plain sentence in the imperative.
    pub text: String,
    /// Verdict after the change.
    pub verdict: Verdict,
    /// Score after the change.
    pub score: f64,
    /// Minutes that it takes on the water.
    pub minutes: f64,
}

/// How to rig and set the outfit for this lure.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Settings {
    /// Drag at the strike, measured with a scale through the rod tip.
    pub drag: Force,
    /// Line between tip and lure for which the drag holds.
    pub line_out: Length,
    /// Material of the leader.
    pub leader_material: LeaderMaterial,
    /// Strength of the leader; zero where none is needed.
    pub leader_test: Force,
    /// Length of the leader.
    pub leader_length: Length,
    /// Knot between main line and leader.
    pub main_knot: &'static str,
    /// Knot or clip at the lure.
    pub lure_knot: &'static str,
    /// Strength of snap or clip at least.
    pub snap_test: Force,
    /// Greatest mass for a full cast; zero where the line bears none.
    pub cast_limit: Mass,
    /// What bears no more than that.
    pub cast_link: CastLink,
    /// Fitting reel, in the words of the trade.
    pub reel: String,
    /// Hook style that the numbers above assume.
    pub hook_style: HookStyle,
    /// Main line that the numbers above assume.
    pub line_material: LineMaterial,
}

/// A value that the caller left out.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Assumption {
    /// Path of the field, for example `rod.action`.
    pub field: &'static str,
    /// What was assumed, with its unit.
    pub value: String,
    /// Why that value.
    pub reason: String,
}

/// Something to be careful about, with what set it off.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Caution {
    /// Which caution.
    pub code: CautionCode,
    /// Short text; its first words say what to do.
    pub text: String,
    /// The data that set it off.
    pub because: String,
}

/// How well an outfit suits a lure in given water, and why.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Judgement {
    /// The answer in one word.
    pub verdict: Verdict,
    /// 0 to 1; 0 when a limit is broken.
    pub score: f64,
    /// Lower end of the interval, at which about one case in ten lies below.
    pub score_low: f64,
    /// Upper end of the interval, at which about one case in ten lies above.
    pub score_high: f64,
    /// The score as if no limit were broken.
    pub score_without_limits: f64,
    /// Limits that are broken, or nearly so.
    pub limits: Vec<Limit>,
    /// Limits that only an assumption breaks: not counted, not ruled out.
    pub cannot_rule_out: Vec<Limit>,
    /// All factors that apply.
    pub factors: Vec<Factor>,
    /// The factor that holds the score down.
    pub limiting_factor: FactorKind,
    /// The first reason for the verdict, one plain sentence.
    pub summary: String,
    /// Cheapest changes first.
    pub fixes: Vec<Fix>,
    /// How to rig and set it.
    pub settings: Settings,
    /// What was assumed.
    pub assumptions: Vec<Assumption>,
    /// The field whose measurement would narrow the interval most.
    pub narrowing_field: Option<&'static str>,
    /// What is odd about the description.
    pub findings: Vec<Finding>,
    /// What to be careful about.
    pub cautions: Vec<Caution>,
    /// Power that the ratings imply.
    pub power: InferredPower,
    /// Id and hash of model and parameters.
    pub model: ModelId,
}
