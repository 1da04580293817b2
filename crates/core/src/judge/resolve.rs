//! From what the caller says to a case with every value known.

use super::case::{Assumed, AssumedValue, Case, ReelFacts, Resolved};
use super::factors::leader::asked_mm;
use super::factors::length;
use super::settings::{recommended_drag_kgf, recommended_leader};
use super::spread::{Dimension, Doubt, Spreads};
use super::text::grams;
use super::work::Work;
use crate::gear::power::nylon_equivalent_kgf;
use crate::gear::{
    Action, AirClass, Finding, FindingCode, Handle, HookStyle, Leader, LeaderMaterial,
    LineMaterial, Lure, LureClass, Outfit, Reel, RodMaterial, Word, infer_power,
};
use crate::mechanics::spool;
use crate::model::{ClassTraits, Model, Parameters, Presentation};
use crate::quantity::{Force, Length};
use crate::water::{Cover, Hookset, Platform, Skill, Species, Teeth, Water, WindDirection};

/// Collects assumptions and spreads while the case is put together.
struct Notes {
    assumptions: Vec<Assumed>,
    spreads: Spreads,
}

impl Notes {
    fn assume(&mut self, field: &'static str, word: &'static str, reason: &'static str) {
        self.assumptions.push(Assumed { field, value: AssumedValue::Word(word), reason });
    }

    /// A word: the given one, or an assumed one.
    fn word<W: Word>(
        &mut self,
        field: &'static str,
        given: Option<W>,
        or: W,
        why: &'static str,
    ) -> W {
        given.unwrap_or_else(|| {
            self.assume(field, or.as_word(), why);
            or
        })
    }

    /// A number with its spread: the given one, or an assumed one.
    fn number(&mut self, given: Option<f64>, or: Guess) -> f64 {
        let Guess { field, dimension, value, unit, why, sigma: [if_given, if_assumed] } = or;
        if let Some(value) = given {
            self.spreads.push(dimension, Some(field), if_given);
            return value;
        }
        let assumed = AssumedValue::Number(value, unit);
        self.assumptions.push(Assumed { field, value: assumed, reason: why });
        self.spreads.push(dimension, Some(field), if_assumed);
        value
    }
}

/// What to assume for a number that is not given, and the spreads in both cases.
struct Guess {
    field: &'static str,
    dimension: Dimension,
    value: f64,
    unit: &'static str,
    why: &'static str,
    sigma: [f64; 2],
}

struct RodPart {
    handle: Handle,
    length_m: f64,
    action_word: Action,
    action: f64,
    material: RodMaterial,
    window: (f64, f64),
    line_kgf: f64,
    power: f64,
}

/// Puts the case together.
#[must_use]
pub fn resolve<'m>(model: &'m Model, outfit: &Outfit, lure: &Lure, water: &Water) -> Resolved<'m> {
    let mut resolved = without_leader(model, outfit, lure, water);
    tie(&mut resolved, &outfit.leader, outfit.drag);
    let i = &resolved.case.p.interval;
    let measured = resolved.power.by_bench.is_some();
    for (dimension, sigma) in [
        (Dimension::RodForce, if measured { i.rod_force_measured } else { i.rod_force }),
        (Dimension::SeatForce, i.seat_force),
        (Dimension::ActionSlope, i.action_slope),
        (Dimension::WindLoss, i.wind_loss),
        (Dimension::Hold, i.hold),
        (Dimension::Knot, i.knot),
    ] {
        resolved.spreads.push(dimension, None, sigma);
    }
    resolved
}

/// Ties a leader on and sets the drag.
pub(super) fn tie(resolved: &mut Resolved<'_>, tied: &Leader, drag: Option<Force>) {
    let mut notes = Notes {
        assumptions: std::mem::take(&mut resolved.assumptions),
        spreads: std::mem::take(&mut resolved.spreads),
    };
    let case = &mut resolved.case;
    (case.leader, case.leader_kgf, case.leader_mm) = leader(case, tied, &mut notes);
    let recommended = recommended_drag_kgf(case);
    let i = &case.p.interval;
    case.drag_kgf = notes.number(
        drag.map(|d| d.kgf()),
        Guess {
            field: "drag",
            dimension: Dimension::Drag,
            value: recommended,
            unit: "kgf",
            why: "set as recommended",
            sigma: [i.drag_given, i.drag_assumed],
        },
    );
    (resolved.assumptions, resolved.spreads) = (notes.assumptions, notes.spreads);
}

/// Puts the case together but for leader and drag.
pub(super) fn without_leader<'m>(
    model: &'m Model,
    outfit: &Outfit,
    lure: &Lure,
    water: &Water,
) -> Resolved<'m> {
    let p = model.parameters();
    let mut notes = Notes { assumptions: Vec::new(), spreads: Spreads::default() };
    let mut findings = crate::gear::findings(model, &outfit.rod);

    let class = notes.word("lure.class", lure.class, LureClass::PaddleTailJig, "not given");
    let traits = model.class(class);
    let fish = species(model, water, &mut notes, &mut findings);
    let platform = notes.word("water.platform", water.platform, Platform::Boat, "most common");
    let power = infer_power(model, &outfit.rod);
    let rod = rod(model, outfit, platform, water, &power, &mut notes);
    let mass_g = rigged_mass(p, traits, lure, &mut notes, &mut findings);
    let (line, line_kgf, line_mm) = line(p, outfit, rod.power, &mut notes);
    let toothy = water.toothy_probability.unwrap_or_else(|| {
        if fish.teeth != Teeth::Cutting {
            notes.assume("water.toothy_probability", "0", "not given");
        }
        0.0
    });
    let hook =
        notes.word("lure.hook.style", lure.hook.style, traits.hook_style, "usual for the class");
    let cover = notes.word("water.cover", water.cover, Cover::Open, "not given");
    let loose_tail = loose_tail(p, traits, lure);
    let air = air(p, traits, lure, loose_tail, &mut notes);
    let (wind, wind_m_s) = wind(p, water, &mut notes);
    let hookset = water.hookset.unwrap_or_else(|| usual_hookset(traits, hook));

    let i = &p.interval;
    let mut case = Case {
        p,
        class,
        traits,
        fish,
        handle: rod.handle,
        rod_length_m: rod.length_m,
        action: rod.action,
        action_word: rod.action_word,
        material: rod.material,
        lure_min_g: rod.window.0,
        lure_max_g: rod.window.1,
        rod_line_kgf: rod.line_kgf,
        power: rod.power,
        guides: notes.word(
            "rod.guides",
            outfit.rod.guides,
            crate::gear::GuideCondition::Ceramic,
            "not given; look at the rings",
        ),
        reel: reel_facts(&outfit.reel, outfit.line.length, line_mm),
        line,
        line_kgf,
        line_mm,
        leader: LeaderMaterial::None,
        leader_kgf: 0.0,
        leader_mm: 0.0,
        drag_kgf: 0.0,
        mass_g,
        hook,
        wire_mm: notes.number(
            lure.hook.wire.map(|w| w.mm()),
            Guess {
                field: "lure.hook.wire",
                dimension: Dimension::Wire,
                value: traits.usual_wire_mm(mass_g),
                unit: "mm",
                why: "usual for the class and mass",
                sigma: [i.wire_given, i.wire_assumed],
            },
        ),
        hook_count: f64::from(lure.hook.count.unwrap_or(traits.hook_count)),
        barbed: lure.hook.barbed.unwrap_or(true),
        point: lure.hook.point,
        punch_n: 0.0,
        pull_n: 0.0,
        air,
        loose_tail,
        wind_m_s,
        wind,
        platform,
        cover,
        cover_m: cover_distance(p, cover, water, &mut notes),
        skill: notes.word("water.skill", water.skill, Skill::Intermediate, "not given"),
        toothy,
        fish_kg: fish_mass(p, fish, water, &mut notes),
        current_m_s: water.current.map_or(0.0, |c| c.m_s()),
        depth_m: water.depth.map(|d| d.m()),
        water_c: water.temperature.map(|t| t.c()),
        line_out_m: line_out(p, platform, water),
        hookset,
        doubt: Doubt::NONE,
        work: Work::default(),
    };
    case.set_to_work();
    case.punch_n = notes.number(
        lure.punch.map(|f| f.n()),
        Guess {
            field: "lure.punch",
            dimension: Dimension::Punch,
            value: usual_punch(traits, hook),
            unit: "N",
            why: "usual for the class and hook",
            sigma: [i.punch_given, i.punch_assumed],
        },
    );
    case.pull_n = notes.number(
        lure.pull.map(|f| f.n()),
        Guess {
            field: "lure.pull",
            dimension: Dimension::Pull,
            value: traits.usual_pull_n(mass_g),
            unit: "N",
            why: "usual for the class and mass",
            sigma: [i.pull_given, i.pull_assumed],
        },
    );
    let Notes { assumptions, spreads } = notes;
    Resolved { model, case, assumptions, findings, power, spreads }
}

fn species<'m>(
    model: &'m Model,
    water: &Water,
    notes: &mut Notes,
    findings: &mut Vec<Finding>,
) -> &'m Species {
    let table = model.species();
    let Some(name) = water.species.as_deref().filter(|name| !name.trim().is_empty()) else {
        notes.assume("water.species", "middling traits", "not given");
        return table.unknown();
    };
    table.find(name).unwrap_or_else(|| {
        let near =
            table.nearest(name).map_or_else(String::new, |n| format!(" (did you mean {n}?)"));
        let text = format!("`{name}` is not in the table{near}: judged with middling traits");
        findings.push(Finding::new(FindingCode::UnknownSpecies, "water.species", text));
        notes.assume("water.species", "middling traits", "not in the table");
        let i = &model.parameters().interval;
        notes.spreads.push(Dimension::SeatForce, Some("water.species"), i.unknown_fish_tissue);
        notes.spreads.push(Dimension::Hold, Some("water.species"), i.unknown_fish_mouth);
        notes.spreads.push(Dimension::FishMass, Some("water.species"), i.unknown_fish_mass);
        table.unknown()
    })
}

fn rod(
    model: &Model,
    outfit: &Outfit,
    platform: Platform,
    water: &Water,
    power: &crate::gear::InferredPower,
    notes: &mut Notes,
) -> RodPart {
    let p = model.parameters();
    let (rod, i) = (&outfit.rod, &p.interval);
    let kind = outfit.reel.kind.unwrap_or(Handle::Spinning);
    let handle = notes.word("rod.handle", rod.handle, kind, "as the reel, else most common");
    let rated = power.by_bench.or(power.by_window).or(power.by_line).is_some();
    let class = match (rated, rod.power_label) {
        (false, Some(label)) => label.class(),
        (true, _) | (false, None) => power.class,
    };
    let (sigma, field) = if power.by_bench.is_some() {
        (i.power_measured, "rod.third_drop_mass")
    } else if rated {
        (i.power_given + (power.high - power.low) / 2.0, "rod.lure_rating.max")
    } else {
        (i.power_assumed, "rod.lure_rating.max")
    };
    notes.spreads.push(Dimension::Power, Some(field), sigma);

    let max = notes.number(
        rod.lure_rating.max.map(|m| m.g()),
        Guess {
            field: "rod.lure_rating.max",
            dimension: Dimension::LureMax,
            value: p.rod.window_max_g.at(class),
            unit: "g",
            why: "from line rating or label",
            sigma: [i.window_given, i.window_assumed],
        },
    );
    let printed_min = notes.number(
        rod.lure_rating.min.map(|m| m.g()),
        Guess {
            field: "rod.lure_rating.min",
            dimension: Dimension::LureMin,
            value: max / p.rod.window_of_single_number,
            unit: "g",
            why: "a share of the maximum",
            sigma: [i.window_given, i.window_assumed],
        },
    );
    let min = printed_min.clamp(max / p.rod.widest_window, max / p.rod.narrowest_window);
    let line_kgf = notes.number(
        nylon_equivalent_kgf(model, rod),
        Guess {
            field: "rod.line_rating.max",
            dimension: Dimension::RodLine,
            value: p.rod.line_max_kgf.at(class),
            unit: "kgf",
            why: "usual for its power",
            sigma: [i.rod_line_given, i.rod_line_assumed],
        },
    );
    let measured = rod.third_drop_angle_deg.map(|angle| p.blank.action_by_angle.at(angle));
    let action_word = match (measured, rod.action) {
        (Some(place), None) => nearest_action(p, place),
        (_, given) => notes.word("rod.action", given, Action::Fast, "most common"),
    };
    let (sigma, field) = match (measured, rod.action) {
        (Some(_), _) => (i.action_measured, "rod.third_drop_angle_deg"),
        (None, Some(_)) => (i.action_given, "rod.action"),
        (None, None) => (i.action_assumed, "rod.action"),
    };
    notes.spreads.push(Dimension::Action, Some(field), sigma);
    let material = notes.word("rod.material", rod.material, RodMaterial::Graphite, "most common");
    let length_m = rod.length.map_or_else(
        || {
            let (low, high) = length::usual_m(p, platform);
            let usual = (low + high) / 2.0;
            let value = AssumedValue::Number(usual, "m");
            let reason = "usual for the platform";
            notes.assumptions.push(Assumed { field: "rod.length", value, reason });
            usual
        },
        |l| l.m(),
    );
    let printed = measured.unwrap_or_else(|| place_of(p, action_word));
    let action = action_value(p, printed, material, water);
    RodPart {
        handle,
        length_m,
        action_word,
        action,
        material,
        window: (min, max),
        line_kgf,
        power: class,
    }
}

fn place_of(p: &Parameters, word: Action) -> f64 {
    let r = &p.rod;
    match word {
        Action::Slow => r.action_slow,
        Action::Moderate => r.action_moderate,
        Action::ModerateFast => r.action_moderate_fast,
        Action::Fast => r.action_fast,
        Action::ExtraFast => r.action_extra_fast,
    }
}

fn nearest_action(p: &Parameters, place: f64) -> Action {
    let off = |word: &Action| (place_of(p, *word) - place).abs();
    let nearest = Action::ALL.iter().min_by(|a, b| off(a).total_cmp(&off(b)));
    nearest.copied().unwrap_or(Action::Fast)
}

fn action_value(p: &Parameters, printed: f64, material: RodMaterial, water: &Water) -> f64 {
    let r = &p.rod;
    let shift = match material {
        RodMaterial::Graphite => 0.0,
        RodMaterial::Composite => r.composite_shift,
        RodMaterial::Glass => r.glass_shift,
    };
    let cold = water.temperature.is_some_and(|t| t.c() < r.cold_below_c);
    let cold_shift = if cold { r.cold_shift } else { 0.0 };
    (printed - shift - cold_shift).clamp(0.0, 1.0)
}

/// What is known of a reel with a line of a length, if it is known, and a diameter.
pub(super) fn reel_facts(reel: &Reel, line: Option<Length>, line_mm: f64) -> ReelFacts {
    let capacity = match (reel.capacity_length, reel.capacity_diameter, line) {
        (_, _, Some(length)) => Some(length.m()),
        (Some(length), Some(diameter), None) => {
            Some(spool::capacity_m(length.m(), diameter.mm(), line_mm))
        }
        (Some(_), None, None) | (None, _, None) => None,
    };
    ReelFacts {
        kind: reel.kind,
        mass_g: reel.mass.map(|m| m.g()),
        drag_max_kgf: reel.drag_max.map(|d| d.kgf()),
        retrieve_cm: reel.retrieve.map(|r| r.cm()),
        start_up: reel.start_up_ratio,
        capacity_m: capacity,
    }
}

fn line(
    p: &Parameters,
    outfit: &Outfit,
    power: f64,
    notes: &mut Notes,
) -> (LineMaterial, f64, f64) {
    let (line, i) = (&outfit.line, &p.interval);
    let material = notes.word("line.material", line.material, LineMaterial::Braid, "most common");
    let diameter_of = match material {
        LineMaterial::Braid => &p.line.braid_mm,
        LineMaterial::Nylon => &p.line.nylon_mm,
        LineMaterial::Fluorocarbon => &p.line.fluorocarbon_mm,
    };
    let usual_kgf = match material {
        LineMaterial::Braid => p.line.braid_kgf.at(power),
        LineMaterial::Nylon | LineMaterial::Fluorocarbon => p.rod.line_max_kgf.at(power),
    };
    let kgf = notes.number(
        line.test.map(|t| t.kgf()),
        Guess {
            field: "line.test",
            dimension: Dimension::LineTest,
            value: usual_kgf,
            unit: "kgf",
            why: "usual for the rod's power",
            sigma: [i.test_given, i.test_assumed],
        },
    );
    let mm = notes.number(
        line.diameter.map(|d| d.mm()),
        Guess {
            field: "line.diameter",
            dimension: Dimension::LineDiameter,
            value: diameter_of.at(kgf),
            unit: "mm",
            why: "usual for its strength",
            sigma: [i.diameter_given, i.diameter_assumed],
        },
    );
    (material, kgf, mm)
}

/// As recommended; a bare line that stands against jaws and edges by itself needs none.
fn usual_leader(c: &Case<'_>) -> (LeaderMaterial, f64) {
    let bare = c.line != LineMaterial::Braid && c.line_mm >= asked_mm(c);
    match recommended_leader(c) {
        (LeaderMaterial::Fluorocarbon, _) if bare => (LeaderMaterial::None, 0.0),
        recommended => recommended,
    }
}

fn leader(c: &Case<'_>, leader: &Leader, notes: &mut Notes) -> (LeaderMaterial, f64, f64) {
    let (p, i) = (c.p, &c.p.interval);
    let told = leader.test.is_some() || leader.diameter.is_some() || leader.length.is_some();
    let (usual, usual_kgf) = match usual_leader(c) {
        // What somebody tied without saying of what is not taken for bite-proof.
        (LeaderMaterial::SteelWire | LeaderMaterial::Titanium | LeaderMaterial::None, _)
            if told =>
        {
            (LeaderMaterial::Fluorocarbon, c.rod_line_kgf)
        }
        usual => usual,
    };
    let material = notes.word("leader.material", leader.material, usual, "usual here");
    let diameter_of = match material {
        LeaderMaterial::None => return (material, 0.0, 0.0),
        LeaderMaterial::Nylon => &p.line.nylon_mm,
        LeaderMaterial::Fluorocarbon => &p.line.fluorocarbon_mm,
        LeaderMaterial::SteelWire | LeaderMaterial::Titanium => &p.line.wire_mm,
    };
    let by_diameter = leader.diameter.map(|d| diameter_of.x_at(d.mm()));
    let [least, most] = c.fish.leader_kgf;
    let middle = if material == usual {
        usual_kgf
    } else if c.fish.teeth == Teeth::Cutting {
        // As strong as the line: a trace is not meant to be the fuse.
        c.line_kgf.clamp(least, most.max(least))
    } else {
        ((least + most) / 2.0).max(p.leader.least_kgf)
    };
    let kgf = notes.number(
        leader.test.map(|t| t.kgf()).filter(|t| *t > 0.0),
        Guess {
            field: "leader.test",
            dimension: Dimension::LeaderTest,
            value: by_diameter.unwrap_or(middle),
            unit: "kgf",
            why: if by_diameter.is_some() { "usual for its diameter" } else { "usual here" },
            sigma: [i.test_given, i.test_assumed],
        },
    );
    let mm = notes.number(
        leader.diameter.map(|d| d.mm()).filter(|d| *d > 0.0),
        Guess {
            field: "leader.diameter",
            dimension: Dimension::LeaderDiameter,
            value: diameter_of.at(kgf),
            unit: "mm",
            why: "usual for its strength",
            sigma: [i.diameter_given, i.diameter_assumed],
        },
    );
    (material, kgf, mm)
}

fn rigged_mass(
    p: &Parameters,
    traits: &ClassTraits,
    lure: &Lure,
    notes: &mut Notes,
    findings: &mut Vec<Finding>,
) -> f64 {
    let i = &p.interval;
    let parts = match (lure.head_mass, lure.trailer_mass) {
        (Some(head), Some(tail)) => Some(head.g() + tail.g()),
        (Some(_) | None, _) => None,
    };
    if let (Some(rigged), Some(sum)) = (lure.rigged_mass, parts)
        && sum > rigged.g() * (1.0 + p.lure.rigged_tolerance)
    {
        let text = format!(
            "rigged mass {} is less than head and trailer together: judged as {}",
            grams(rigged.g()),
            grams(sum)
        );
        findings.push(Finding::new(FindingCode::RiggedMassComputed, "lure.rigged_mass", text));
        notes.spreads.push(Dimension::Mass, Some("lure.rigged_mass"), i.mass_given);
        return sum;
    }
    if lure.rigged_mass.is_none()
        && let Some(sum) = parts
    {
        let text = format!("head and trailer add up to {} rigged", grams(sum));
        findings.push(Finding::new(FindingCode::RiggedMassComputed, "lure.rigged_mass", text));
        notes.spreads.push(Dimension::Mass, Some("lure.rigged_mass"), i.mass_given);
        return sum;
    }
    let tail = lure.length.map(|l| {
        let mm = l.mm();
        p.lure.tail_g_per_mm3 * mm * mm * mm
    });
    let (guess, why) = match (lure.head_mass, tail) {
        (Some(head), _) if !traits.soft_tail => (head.g(), "the bare lure"),
        (Some(head), Some(tail)) => (head.g() + tail, "head and a tail of this length"),
        (Some(head), None) => (head.g() * (1.0 + p.lure.tail_share_of_head), "head and usual tail"),
        (None, _) => (traits.usual_mass_g(), "usual for the class"),
    };
    notes.number(
        lure.rigged_mass.map(|m| m.g()),
        Guess {
            field: "lure.rigged_mass",
            dimension: Dimension::Mass,
            value: guess,
            unit: "g",
            why,
            sigma: [i.mass_given, i.mass_assumed],
        },
    )
}

fn usual_punch(traits: &ClassTraits, hook: HookStyle) -> f64 {
    let hidden = matches!(hook, HookStyle::Weedless | HookStyle::DoubleWeedless);
    let same = hook == traits.hook_style;
    if same || hidden { traits.punch_n } else { 0.0 }
}

fn usual_hookset(traits: &ClassTraits, hook: HookStyle) -> Hookset {
    match (traits.presentation, hook) {
        (Presentation::Steady, HookStyle::Treble | HookStyle::InlineSingle) => Hookset::Sweep,
        _ => Hookset::Snap,
    }
}

/// Coefficient of the air class; a long soft tail on a light head flies a class worse.
fn air(
    p: &Parameters,
    traits: &ClassTraits,
    lure: &Lure,
    loose_tail: f64,
    notes: &mut Notes,
) -> f64 {
    let (w, i) = (&p.wind, &p.interval);
    let class = lure.air.unwrap_or(traits.air);
    if lure.air.is_none() {
        notes.assume("lure.air", class.as_word(), "usual for the class");
    }
    let sigma = if lure.air.is_some() { i.air_given } else { i.air_assumed };
    notes.spreads.push(Dimension::Air, Some("lure.air"), sigma);
    let (own, worse) = match class {
        AirClass::Compact => (w.air_compact, w.air_steady),
        AirClass::Steady => (w.air_steady, w.air_wobbling),
        AirClass::Wobbling => (w.air_wobbling, w.air_tumbling),
        AirClass::Tumbling => (w.air_tumbling, w.air_tumbling),
    };
    own + (worse - own) * loose_tail
}

/// How far a lure is a long soft tail on a light head, 0 to 1: by its measures, or since it is said
/// to tumble.
fn loose_tail(p: &Parameters, traits: &ClassTraits, lure: &Lure) -> f64 {
    let w = &p.wind;
    if traits.soft_tail && lure.air.unwrap_or(traits.air) == AirClass::Tumbling {
        return 1.0;
    }
    let (Some(length), true) = (lure.length, traits.soft_tail) else { return 0.0 };
    let long = (length.mm() - w.soft_tail_from_mm) / (w.soft_tail_to_mm - w.soft_tail_from_mm);
    let light_head = match (lure.head_mass, lure.rigged_mass) {
        (Some(head), Some(rigged)) => {
            let share = head.g() / rigged.g();
            (w.soft_tail_head_share - share) / w.soft_tail_head_ramp + 0.5
        }
        (Some(_) | None, _) => 0.0,
    };
    long.clamp(0.0, 1.0) * light_head.clamp(0.0, 1.0)
}

fn wind(p: &Parameters, water: &Water, notes: &mut Notes) -> (WindDirection, f64) {
    let speed = water.wind_speed.map(|s| s.m_s());
    let direction = water.wind_direction.unwrap_or_else(|| match speed {
        Some(speed) if speed > 0.0 => {
            notes.assume("water.wind_direction", WindDirection::Across.as_word(), "not given");
            WindDirection::Across
        }
        Some(_) | None => WindDirection::Calm,
    });
    let speed = speed.unwrap_or_else(|| {
        notes.assume("water.wind_speed", "0 m/s", "not given");
        0.0
    });
    // In still air there is nothing to be uncertain about.
    let sigma = if speed > 0.0 { p.interval.wind_given } else { 0.0 };
    notes.spreads.push(Dimension::Wind, Some("water.wind_speed"), sigma);
    (direction, speed)
}

fn cover_distance(p: &Parameters, cover: Cover, water: &Water, notes: &mut Notes) -> f64 {
    let k = &p.cover;
    let usual = match cover {
        Cover::Open => return water.cover_distance.map_or(k.distance_oyster_m, |d| d.m()),
        Cover::Weed => k.distance_weed_m,
        Cover::Heavy => k.distance_heavy_m,
        Cover::Oyster => k.distance_oyster_m,
        Cover::Mangrove => k.distance_mangrove_m,
        Cover::Dock => k.distance_dock_m,
        Cover::Rock => k.distance_rock_m,
        Cover::Timber => k.distance_timber_m,
    };
    notes.number(
        water.cover_distance.map(|d| d.m()),
        Guess {
            field: "water.cover_distance",
            dimension: Dimension::CoverDistance,
            value: usual,
            unit: "m",
            why: "usual for this cover",
            sigma: [p.interval.cover_given, p.interval.cover_assumed],
        },
    )
}

fn fish_mass(p: &Parameters, fish: &Species, water: &Water, notes: &mut Notes) -> f64 {
    notes.number(
        water.fish_mass.map(|m| m.kg()),
        Guess {
            field: "water.fish_mass",
            dimension: Dimension::FishMass,
            value: fish.usual_kg,
            unit: "kg",
            why: "usual for the species",
            sigma: [p.interval.fish_given, p.interval.fish_assumed],
        },
    )
}

fn line_out(p: &Parameters, platform: Platform, water: &Water) -> f64 {
    water.line_out.map_or_else(
        || match platform {
            Platform::BoatVertical => water.depth.map_or(p.line.vertical_out_m, |d| d.m()),
            Platform::Boat
            | Platform::Kayak
            | Platform::Bank
            | Platform::Coast
            | Platform::Wading
            | Platform::OverhungBank
            | Platform::Bridge => p.line.stretch_reference_m,
        },
        |l| l.m(),
    )
}
