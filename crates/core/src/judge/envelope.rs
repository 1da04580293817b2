//! The envelope: how far each quantity may move, the others held, before the verdict falls below
//! `good`. So a practitioner answers: "good from 9 to 19 g, in up to 7 m/s of wind".
//!
//! Each quantity is walked outward from where it stands, in even steps, until the verdict is no
//! longer good; the end is then found between the last two steps by bisection. A case that is not
//! monotone is thereby answered with the connected interval round the present value. Steps, bounds
//! and tolerances stand in the group `envelope` of the parameters.

use serde::Serialize;

use super::case::{Assumed, Case};
use super::cautions;
use super::judgement::{Assumption, Caution, FactorKind, Verdict};
use super::text::{grams, kilograms, metres_a_second, millimetres, newtons, plain};
use super::{Score, resolve, score};
use crate::gear::{Lure, Outfit, Word as _, words};
use crate::model::{Model, ModelId, Parameters};
use crate::quantity::{Force, Length, Mass, Speed};
use crate::water::{Water, WindDirection};

words! {
    /// The quantities of an envelope.
    EnvelopeField {
        /// Everything that is cast, g. The soft tail is held, the head is changed.
        RiggedMass = "rigged_mass",
        /// Diameter of the hook's wire, mm.
        HookWire = "hook_wire",
        /// Force that frees the point from guard or plastic, N.
        GuardForce = "guard_force",
        /// Wind against the cast, m/s: from the present wind where it blows so, else from calm.
        WindInto = "wind_into",
        /// Wind across the cast, m/s: from the present wind where it blows so, else from calm.
        WindAcross = "wind_across",
        /// Mass of the fish to be reckoned with, kg.
        FishMass = "fish_mass",
        /// Speed of the current, m/s.
        Current = "current",
    }
}

impl EnvelopeField {
    /// The unit of its values.
    #[must_use]
    pub fn unit(self) -> &'static str {
        match self {
            Self::RiggedMass => "g",
            Self::HookWire => "mm",
            Self::GuardForce => "N",
            Self::WindInto | Self::WindAcross | Self::Current => "m/s",
            Self::FishMass => "kg",
        }
    }
}

/// One end of an interval.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct End {
    /// The last value that is good, in the unit of the field.
    pub value: f64,
    /// Whether the search ended there, with the verdict still good.
    pub open: bool,
    /// The verdict just beyond; `None` where the end is open.
    pub beyond: Option<Verdict>,
    /// The factor that holds the score down just beyond; `None` where the end is open.
    pub limiting_factor: Option<FactorKind>,
}

/// One quantity, the others held.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Span {
    /// Which quantity.
    pub field: EnvelopeField,
    /// Where it stands, given or assumed, in the unit of the field.
    pub present: f64,
    /// The verdict there.
    pub verdict: Verdict,
    /// Least and greatest value of the connected interval that is good; `None` where the present
    /// value is not good.
    pub good: Option<[End; 2]>,
    /// Where the present value is not good: the nearest value that is, as far as the search goes.
    pub nearest_good: Option<f64>,
    /// Where the search ends, least and greatest.
    pub searched: [f64; 2],
}

/// How far each quantity may move, the others held.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Envelope {
    /// The verdict as things stand.
    pub verdict: Verdict,
    /// The score as things stand.
    pub score: f64,
    /// One entry a field, in the order of [`EnvelopeField`].
    pub spans: Vec<Span>,
    /// What was assumed since it was not given, and then held.
    pub assumptions: Vec<Assumption>,
    /// Cautions of the present values, and of the good ends where people bear less than gear.
    pub cautions: Vec<Caution>,
    /// One plain sentence.
    pub summary: String,
    /// Id and hash of model and parameters.
    pub model: ModelId,
}

/// Answers the envelope of an outfit with a lure in given water.
///
/// What the caller left out is assumed once, for the present values, and then held: a heavier lure
/// is not given a thicker hook, nor a larger fish a tighter drag.
#[must_use]
pub fn envelope(model: &Model, outfit: &Outfit, lure: &Lure, water: &Water) -> Envelope {
    let resolved = resolve::resolve(model, outfit, lure, water);
    let present = score(model, outfit, lure, water);
    let held = Held::new(model, &resolved.case, outfit, lure, water);
    let spans = EnvelopeField::ALL.iter().map(|field| held.span(*field)).collect::<Vec<_>>();
    let summary = summary(&present, &spans);
    let model = model.id().clone();
    let most = |field: EnvelopeField| {
        let span = spans.iter().find(|span| span.field == field);
        span.and_then(|span| Some(span.good?[1].value))
    };
    let cautions = cautions::of_envelope(&resolved, most);
    let assumptions = resolved.assumptions.iter().map(Assumed::told).collect();
    Envelope {
        verdict: present.verdict,
        score: present.score,
        spans,
        assumptions,
        cautions,
        summary,
        model,
    }
}

fn is_good(score: &Score) -> bool {
    matches!(score.verdict, Verdict::Excellent | Verdict::Good)
}

/// Where one quantity is searched.
#[derive(Clone, Copy, Debug)]
struct Scale {
    least: f64,
    most: f64,
    /// Whether equal steps are equal ratios.
    by_ratio: bool,
    /// A step; ln of a ratio or in the unit of the field.
    step: f64,
    /// How near an end is found; in the same unit as the step.
    tolerance: f64,
}

impl Scale {
    fn ratio(p: &Parameters, least: f64, most: f64) -> Self {
        let (step, tolerance) = (p.envelope.ratio_step, p.envelope.ratio_tolerance);
        Self { least, most, by_ratio: true, step, tolerance }
    }

    fn linear(p: &Parameters, most: f64) -> Self {
        let step = p.envelope.linear_step * most;
        let tolerance = p.envelope.linear_tolerance * most;
        Self { least: 0.0, most, by_ratio: false, step, tolerance }
    }

    /// The value `steps` from `start`, upward or downward, no further than the bound.
    fn at(&self, start: f64, steps: f64, up: bool) -> f64 {
        let by = if up { self.step * steps } else { -self.step * steps };
        let value = if self.by_ratio { start * libm::exp(by) } else { start + by };
        value.clamp(self.least, self.most)
    }

    fn bound(&self, up: bool) -> f64 {
        if up { self.most } else { self.least }
    }

    fn distance(&self, a: f64, b: f64) -> f64 {
        libm::fabs(if self.by_ratio { libm::log(b / a) } else { b - a })
    }

    fn middle(&self, a: f64, b: f64) -> f64 {
        if self.by_ratio { (a * b).sqrt() } else { (a + b) / 2.0 }
    }
}

/// The request, with what depends on the quantities pinned where it stands.
struct Held<'a> {
    model: &'a Model,
    outfit: Outfit,
    lure: Lure,
    water: &'a Water,
    mass_g: f64,
    /// What of the rigged mass is not head, g; 0 where no head is given.
    tail_g: f64,
    wire_mm: f64,
    punch_n: f64,
    wind_m_s: f64,
    wind: WindDirection,
    fish_kg: f64,
    current_m_s: f64,
}

impl<'a> Held<'a> {
    fn new(
        model: &'a Model,
        case: &Case<'_>,
        outfit: &Outfit,
        lure: &Lure,
        water: &'a Water,
    ) -> Self {
        let mut outfit = outfit.clone();
        outfit.drag = outfit.drag.or(Some(Force::from_kgf(case.drag_kgf)));
        let mut lure = lure.clone();
        lure.hook.wire = lure.hook.wire.or(Some(Length::from_mm(case.wire_mm)));
        lure.punch = lure.punch.or(Some(Force::from_n(case.punch_n)));
        lure.pull = lure.pull.or(Some(Force::from_n(case.pull_n)));
        let tail_g = lure.head_mass.map_or(0.0, |head| (case.mass_g - head.g()).max(0.0));
        Self {
            model,
            outfit,
            lure,
            water,
            mass_g: case.mass_g,
            tail_g,
            wire_mm: case.wire_mm,
            punch_n: case.punch_n,
            wind_m_s: case.wind_m_s,
            wind: case.wind,
            fish_kg: case.fish_kg,
            current_m_s: case.current_m_s,
        }
    }

    /// Where a quantity stands.
    fn present(&self, field: EnvelopeField) -> f64 {
        let wind = |direction| if self.wind == direction { self.wind_m_s } else { 0.0 };
        match field {
            EnvelopeField::RiggedMass => self.mass_g,
            EnvelopeField::HookWire => self.wire_mm,
            EnvelopeField::GuardForce => self.punch_n,
            EnvelopeField::WindInto => wind(WindDirection::Into),
            EnvelopeField::WindAcross => wind(WindDirection::Across),
            EnvelopeField::FishMass => self.fish_kg,
            EnvelopeField::Current => self.current_m_s,
        }
    }

    fn scale(&self, field: EnvelopeField) -> Scale {
        let p = self.model.parameters();
        let e = &p.envelope;
        let mut scale = match field {
            EnvelopeField::RiggedMass => {
                // The soft tail is held, and some head there must be.
                let least = e.mass_least_g.max(self.tail_g * (1.0 + p.lure.rigged_tolerance));
                Scale::ratio(p, least, e.mass_most_g)
            }
            EnvelopeField::HookWire => Scale::ratio(p, e.wire_least_mm, e.wire_most_mm),
            EnvelopeField::GuardForce => Scale::linear(p, e.guard_most_n),
            EnvelopeField::WindInto | EnvelopeField::WindAcross => {
                Scale::linear(p, e.wind_most_m_s)
            }
            EnvelopeField::FishMass => Scale::ratio(p, e.fish_least_kg, e.fish_most_kg),
            EnvelopeField::Current => Scale::linear(p, e.current_most_m_s),
        };
        let present = self.present(field);
        scale.least = scale.least.min(present);
        scale.most = scale.most.max(present);
        scale
    }

    /// The score with one quantity moved.
    fn score_at(&self, field: EnvelopeField, value: f64) -> Score {
        let mut lure = self.lure.clone();
        let mut water = self.water.clone();
        match field {
            EnvelopeField::RiggedMass => {
                if lure.head_mass.is_some() {
                    lure.head_mass = Some(Mass::from_g(value - self.tail_g));
                    lure.trailer_mass = Some(Mass::from_g(self.tail_g));
                }
                // Without it head and tail add up; with it their share decides how it flies.
                if lure.rigged_mass.is_some() || lure.head_mass.is_none() {
                    lure.rigged_mass = Some(Mass::from_g(value));
                }
            }
            EnvelopeField::HookWire => lure.hook.wire = Some(Length::from_mm(value)),
            EnvelopeField::GuardForce => lure.punch = Some(Force::from_n(value)),
            EnvelopeField::WindInto => blow(&mut water, value, WindDirection::Into),
            EnvelopeField::WindAcross => blow(&mut water, value, WindDirection::Across),
            EnvelopeField::FishMass => water.fish_mass = Some(Mass::from_kg(value)),
            EnvelopeField::Current => water.current = Some(Speed::from_m_s(value)),
        }
        score(self.model, &self.outfit, &lure, &water)
    }

    fn span(&self, field: EnvelopeField) -> Span {
        let present = self.present(field);
        let scale = self.scale(field);
        let at = |value: f64| self.score_at(field, value);
        let now = at(present);
        let good = is_good(&now);
        let ends = good.then(|| [false, true].map(|up| end(&scale, present, up, &at)));
        let nearest_good = if good { None } else { nearest(&scale, present, &at) };
        Span {
            field,
            present,
            verdict: now.verdict,
            good: ends,
            nearest_good,
            searched: [scale.least, scale.most],
        }
    }
}

fn blow(water: &mut Water, speed_m_s: f64, direction: WindDirection) {
    water.wind_speed = Some(Speed::from_m_s(speed_m_s));
    water.wind_direction = Some(direction);
}

/// Walks from a good value to the end of what is good.
fn end(scale: &Scale, start: f64, up: bool, at: &impl Fn(f64) -> Score) -> End {
    let mut last = start;
    for steps in 1_u32.. {
        if last == scale.bound(up) {
            break;
        }
        let next = scale.at(start, f64::from(steps), up);
        let there = at(next);
        if !is_good(&there) {
            let (value, beyond) = bisect(scale, last, (next, there), at);
            return End {
                value,
                open: false,
                beyond: Some(beyond.verdict),
                limiting_factor: Some(beyond.limiting_factor),
            };
        }
        last = next;
    }
    End { value: last, open: true, beyond: None, limiting_factor: None }
}

/// The last good value between a good and a bad one, and the score just beyond it.
fn bisect(
    scale: &Scale,
    mut good: f64,
    bad: (f64, Score),
    at: &impl Fn(f64) -> Score,
) -> (f64, Score) {
    let (mut bad, mut beyond) = bad;
    while scale.distance(good, bad) > scale.tolerance {
        let middle = scale.middle(good, bad);
        let there = at(middle);
        if is_good(&there) {
            good = middle;
        } else {
            (bad, beyond) = (middle, there);
        }
    }
    (good, beyond)
}

/// The good value nearest to one that is not; both ways are walked side by side.
fn nearest(scale: &Scale, start: f64, at: &impl Fn(f64) -> Score) -> Option<f64> {
    let mut last = [start, start];
    for steps in 1_u32.. {
        let mut found: Option<f64> = None;
        let mut moved = false;
        for (up, last) in [false, true].into_iter().zip(&mut last) {
            if *last == scale.bound(up) {
                continue;
            }
            moved = true;
            let next = scale.at(start, f64::from(steps), up);
            let there = at(next);
            if is_good(&there) {
                let bad = (*last, there);
                let (value, _) = bisect(scale, next, bad, at);
                let nearer = |old: f64| scale.distance(start, value) < scale.distance(start, old);
                if found.is_none_or(nearer) {
                    found = Some(value);
                }
            }
            *last = next;
        }
        if found.is_some() || !moved {
            return found;
        }
    }
    None
}

fn summary(present: &Score, spans: &[Span]) -> String {
    let verdict = present.verdict.as_word();
    let by = plain(present.limiting_factor);
    if is_good(present) {
        let parts: Vec<_> = spans.iter().filter_map(|s| Some(said(s.field, &s.good?))).collect();
        return format!("{verdict}; stays good with {}", parts.join(", "));
    }
    let cures: Vec<_> = spans
        .iter()
        .filter_map(|s| Some(format!("{} {}", name(s.field), number(s.field, s.nearest_good?))))
        .collect();
    if cures.is_empty() {
        return format!("{verdict} by {by}; no single one of these quantities makes it good");
    }
    format!("{verdict} by {by}; good from {}", cures.join(", or from "))
}

fn name(field: EnvelopeField) -> &'static str {
    match field {
        EnvelopeField::RiggedMass => "a rigged mass of",
        EnvelopeField::HookWire => "wire of",
        EnvelopeField::GuardForce => "a guard of",
        EnvelopeField::WindInto => "wind against the cast of",
        EnvelopeField::WindAcross => "wind across of",
        EnvelopeField::FishMass => "a fish of",
        EnvelopeField::Current => "a current of",
    }
}

fn said(field: EnvelopeField, [least, greatest]: &[End; 2]) -> String {
    let value = |end: &End| number(field, end.value);
    let name = name(field);
    match (least.open, greatest.open) {
        (true, true) => format!("any {}", bare(field)),
        (true, false) => format!("{name} up to {}", value(greatest)),
        (false, true) => format!("{name} {} and more", value(least)),
        (false, false) => format!("{name} {} to {}", value(least), value(greatest)),
    }
}

fn bare(field: EnvelopeField) -> &'static str {
    match field {
        EnvelopeField::RiggedMass => "rigged mass",
        EnvelopeField::HookWire => "wire",
        EnvelopeField::GuardForce => "guard",
        EnvelopeField::WindInto => "wind against the cast",
        EnvelopeField::WindAcross => "wind across",
        EnvelopeField::FishMass => "fish",
        EnvelopeField::Current => "current",
    }
}

fn number(field: EnvelopeField, value: f64) -> String {
    match field {
        EnvelopeField::RiggedMass => grams(value),
        EnvelopeField::HookWire => millimetres(value),
        EnvelopeField::GuardForce => newtons(value),
        EnvelopeField::WindInto | EnvelopeField::WindAcross | EnvelopeField::Current => {
            metres_a_second(value)
        }
        EnvelopeField::FishMass => kilograms(value),
    }
}
