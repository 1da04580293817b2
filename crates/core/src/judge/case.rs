//! A case: outfit, lure and water with every value known. What the caller left out is assumed
//! here, and here only; each assumption is named and widens the interval.

use super::judgement::Assumption;
use super::spread::{Doubt, Spreads};
use super::work::Work;
use crate::gear::{
    Action, Finding, GuideCondition, Handle, HookPoint, HookStyle, InferredPower, LeaderMaterial,
    LineMaterial, LureClass, RodMaterial,
};
use crate::model::{ClassTraits, Model, Parameters, Presentation};
use crate::water::{Cover, Hookset, Platform, Skill, Species, WindDirection};

/// Every value known, in the units that the names say.
#[derive(Clone, Debug)]
pub struct Case<'m> {
    /// Numbers of the model.
    pub p: &'m Parameters,
    /// Class of lure.
    pub class: LureClass,
    /// Traits of the class.
    pub traits: &'m ClassTraits,
    /// Traits of the target species.
    pub fish: &'m Species,

    /// Kind of rod and reel.
    pub handle: Handle,
    /// Length of the rod, m.
    pub rod_length_m: f64,
    /// Place of the bend, 0 slow to 1 extra-fast, material included.
    pub action: f64,
    /// The action as printed or assumed.
    pub action_word: Action,
    /// What the blank is made of.
    pub material: RodMaterial,
    /// Lower end of the window the rod really throws, g.
    pub lure_min_g: f64,
    /// Upper end of the window, g.
    pub lure_max_g: f64,
    /// Greatest line, nylon equivalent, kgf.
    pub rod_line_kgf: f64,
    /// Power class, 1 to 8.
    pub power: f64,
    /// State of the rings.
    pub guides: GuideCondition,

    /// What is known of the reel.
    pub reel: ReelFacts,

    /// Material of the main line.
    pub line: LineMaterial,
    /// Its test, kgf.
    pub line_kgf: f64,
    /// Its diameter, mm.
    pub line_mm: f64,
    /// Material of the leader.
    pub leader: LeaderMaterial,
    /// Its test, kgf; 0 without a leader.
    pub leader_kgf: f64,
    /// Its diameter, mm; 0 without a leader.
    pub leader_mm: f64,
    /// Drag as set, kgf.
    pub drag_kgf: f64,

    /// Everything that is cast, g.
    pub mass_g: f64,
    /// Style of hook.
    pub hook: HookStyle,
    /// Wire, mm.
    pub wire_mm: f64,
    /// Number of hooks.
    pub hook_count: f64,
    /// Whether barbed.
    pub barbed: bool,
    /// How sharp, where known.
    pub point: Option<HookPoint>,
    /// Extra force to free the point, N.
    pub punch_n: f64,
    /// Steady pull, N.
    pub pull_n: f64,
    /// Loss of flight in wind: the coefficient of the air class.
    pub air: f64,
    /// How far it is a long soft tail on a light head, 0 to 1.
    pub loose_tail: f64,

    /// Wind, m/s.
    pub wind_m_s: f64,
    /// Its direction.
    pub wind: WindDirection,
    /// Platform.
    pub platform: Platform,
    /// Cover.
    pub cover: Cover,
    /// Distance to cover, m.
    pub cover_m: f64,
    /// Skill.
    pub skill: Skill,
    /// Probability that fish with cutting teeth other than the target are about.
    pub toothy: f64,
    /// Mass of the fish, kg.
    pub fish_kg: f64,
    /// Current, m/s.
    pub current_m_s: f64,
    /// Depth, m, where known.
    pub depth_m: Option<f64>,
    /// Temperature of the water, degrees Celsius, where known.
    pub water_c: Option<f64>,
    /// Line out at the strike, m.
    pub line_out_m: f64,
    /// How the hook is set.
    pub hookset: Hookset,

    /// Scales of the model's most doubtful numbers; 1 unless the interval is explored.
    pub doubt: Doubt,
    /// What mechanics says of the values above; see [`Case::set_to_work`].
    pub(super) work: Work,
}

/// What is known of the reel; what is not known is not judged.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ReelFacts {
    /// Fixed-spool or revolving-spool.
    pub kind: Option<Handle>,
    /// Mass, g.
    pub mass_g: Option<f64>,
    /// Advertised greatest drag, kgf.
    pub drag_max_kgf: Option<f64>,
    /// Line a turn, cm.
    pub retrieve_cm: Option<f64>,
    /// Breakaway over running drag.
    pub start_up: Option<f64>,
    /// Length of this line that the spool holds, m.
    pub capacity_m: Option<f64>,
}

/// A value that was assumed; it is put into words only where it is told.
#[derive(Clone, Copy, Debug)]
pub struct Assumed {
    /// Path of the field.
    pub field: &'static str,
    /// What was assumed.
    pub value: AssumedValue,
    /// Why that value.
    pub reason: &'static str,
}

/// What was assumed.
#[derive(Clone, Copy, Debug)]
pub enum AssumedValue {
    /// A number, and its unit.
    Number(f64, &'static str),
    /// A word.
    Word(&'static str),
}

impl Assumed {
    /// The same in words.
    #[must_use]
    pub fn told(&self) -> Assumption {
        let value = match self.value {
            AssumedValue::Number(value, unit) => format!("{} {unit}", round3(value)),
            AssumedValue::Word(word) => word.to_owned(),
        };
        Assumption { field: self.field, value, reason: self.reason.to_owned() }
    }
}

/// Three significant digits are plenty for an assumption.
fn round3(x: f64) -> f64 {
    if x == 0.0 || !x.is_finite() {
        return x;
    }
    let scale = libm::exp10(2.0 - libm::floor(libm::log10(x.abs())));
    (x * scale).round() / scale
}

/// A case with what was assumed, found odd and inferred on the way.
#[derive(Clone, Debug)]
pub struct Resolved<'m> {
    /// The model.
    pub model: &'m Model,
    /// Every value known.
    pub case: Case<'m>,
    /// What was assumed.
    pub assumptions: Vec<Assumed>,
    /// What is odd.
    pub findings: Vec<Finding>,
    /// Power that the ratings imply.
    pub power: InferredPower,
    /// How doubtful each value is.
    pub spreads: Spreads,
}

impl Resolved<'_> {
    /// Whether the value of a field was assumed.
    #[must_use]
    pub fn assumed(&self, field: &str) -> bool {
        self.assumptions.iter().any(|a| a.field == field)
    }
}

impl Case<'_> {
    /// Whether nothing is thrown: straight down, or a vertical bait used so.
    #[must_use]
    pub fn is_vertical(&self) -> bool {
        self.platform == Platform::BoatVertical
    }

    /// Whether the lure carries trebles that move with it.
    #[must_use]
    pub fn has_moving_trebles(&self) -> bool {
        self.hook == HookStyle::Treble && self.traits.presentation == Presentation::Steady
    }

    /// Works out anew what follows from rod, line, lure and fish: to be called after a value was changed.
    pub(super) fn set_to_work(&mut self) {
        self.work = Work::of(self);
    }

    /// Pull that the rod can hold with the butt raised, N.
    #[must_use]
    pub fn rod_force_n(&self) -> f64 {
        self.work.rod_force_n
    }

    /// Strength of the line at its knot, kgf.
    #[must_use]
    pub fn line_at_knot_kgf(&self) -> f64 {
        let knot = match self.line {
            LineMaterial::Braid => self.p.line.knot_braid,
            LineMaterial::Nylon | LineMaterial::Fluorocarbon => self.p.line.knot_nylon,
        };
        self.line_kgf * (knot * self.doubt.knot).min(1.0)
    }

    /// Strength of the leader at its knot, kgf; the line's where there is no leader.
    #[must_use]
    pub fn leader_at_knot_kgf(&self) -> f64 {
        if self.leader == LeaderMaterial::None {
            return self.line_at_knot_kgf();
        }
        self.leader_kgf * (self.p.line.knot_leader * self.doubt.knot).min(1.0)
    }

    /// The weakest link between reel and hook, kgf.
    #[must_use]
    pub fn weakest_kgf(&self) -> f64 {
        self.line_at_knot_kgf().min(self.leader_at_knot_kgf())
    }

    /// Drag that counts as an advantage: never more than a third of the weakest link.
    #[must_use]
    pub fn usable_drag_kgf(&self) -> f64 {
        self.drag_kgf.min(self.weakest_kgf() * self.p.drag.usable_share)
    }

    /// Whether the cover is such that a fish must be stopped at once.
    #[must_use]
    pub fn is_hard_cover(&self) -> bool {
        match self.cover {
            Cover::Heavy | Cover::Mangrove | Cover::Dock | Cover::Timber => true,
            Cover::Open | Cover::Weed | Cover::Oyster | Cover::Rock => false,
        }
    }

    /// Drag that this fish usually asks for here, least and greatest, kgf.
    #[must_use]
    pub fn fish_drag_kgf(&self) -> [f64; 2] {
        let [least, most] = self.fish.drag_kgf;
        let scale = self.fish_scale();
        let gain = match self.cover {
            Cover::Open => 1.0,
            Cover::Weed | Cover::Oyster | Cover::Rock => self.p.drag.soft_cover_gain,
            Cover::Heavy | Cover::Mangrove | Cover::Dock | Cover::Timber => {
                self.p.drag.hard_cover_gain
            }
        };
        [least * scale, most * scale * gain]
    }

    /// Leader that this fish usually asks for, least and greatest, kgf.
    #[must_use]
    pub fn fish_leader_kgf(&self) -> [f64; 2] {
        let scale = self.fish_scale();
        self.fish.leader_kgf.map(|kgf| kgf * scale)
    }

    /// How much larger than usual the fish is, damped: a scale for drag, leader and cover.
    #[must_use]
    pub fn fish_scale(&self) -> f64 {
        self.work.fish_scale
    }

    /// Place of a mass in the window of the rod: 0 at its lower end, 1 at its upper end.
    #[must_use]
    pub fn window_place(&self, mass_g: f64) -> f64 {
        libm::log(mass_g / self.lure_min_g) / libm::log(self.lure_max_g / self.lure_min_g)
    }

    /// Mass that counts where a heavier lure would help (wind, thickness, a casting reel): what
    /// the rod cannot throw well is no advantage.
    #[must_use]
    pub fn throwable_g(&self) -> f64 {
        self.work.throwable_g
    }

    /// Drag area over mass of the lure flying steadily with a mass, cm²/g: that of its class, and by
    /// the third root less for a lure heavier than usual, as area and mass of like shapes grow.
    #[must_use]
    pub fn bulk_cm2_per_g(&self, mass_g: f64) -> f64 {
        let w = &self.p.wind;
        let [light, heavy] = self.traits.mass_g;
        let heavier = mass_g / (light * heavy).sqrt();
        let like = libm::cbrt(heavier.clamp(w.like_least, w.like_most));
        // What makes a long tail on a light head bulky is the tail, whatever the whole weighs.
        w.bulk_cm2_per_g.at(self.air) / (like + (1.0 - like) * self.loose_tail)
    }

    /// Share of the wind that counts, by direction.
    #[must_use]
    pub fn wind_share(&self) -> f64 {
        match self.wind {
            WindDirection::Calm => 0.0,
            WindDirection::Down => self.p.wind.share_down,
            WindDirection::Across => self.p.wind.share_across,
            WindDirection::Into => 1.0,
        }
    }
}
