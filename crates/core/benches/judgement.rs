//! A judgement without interval, with interval, with reasons and fixes, and what each part costs.
//!
//! On a few fixed outfits, lures and waters, warm, on one core; medians of several runs of the mean
//! over all cases. The baseline that the ratios refer to is the judgement without interval.

#![allow(clippy::disallowed_types, reason = "a benchmark reads the clock")]
#![allow(clippy::field_reassign_with_default, reason = "a list of settings reads better")]

use std::hint::black_box;
use std::time::Instant;

use deepbend_core::gear::{
    Action, HookPoint, HookStyle, LeaderMaterial, LineMaterial, Lure, LureClass, Outfit,
    RodMaterial,
};
use deepbend_core::judge::{Verdict, judge, resolve, score, score_with_interval};
use deepbend_core::model::Model;
use deepbend_core::quantity::{Force, Length, Mass, Range, Speed};
use deepbend_core::water::{Cover, Water, WindDirection};

struct Case {
    outfit: Outfit,
    lure: Lure,
    water: Water,
}

/// Window in g, length in m, action, line and test in kgf, drag in kgf; test 0 leaves out line,
/// leader and drag.
fn outfit(
    window: (f64, f64),
    length: f64,
    action: Action,
    line: LineMaterial,
    test: f64,
) -> Outfit {
    let mut outfit = Outfit::default();
    outfit.rod.length = Some(Length::from_m(length));
    outfit.rod.action = Some(action);
    outfit.rod.material = Some(RodMaterial::Graphite);
    outfit.rod.lure_rating =
        Range { min: Some(Mass::from_g(window.0)), max: Some(Mass::from_g(window.1)) };
    if test > 0.0 {
        outfit.line.material = Some(line);
        outfit.line.test = Some(Force::from_kgf(test));
        outfit.leader.material = Some(LeaderMaterial::Fluorocarbon);
        outfit.leader.test = Some(Force::from_kgf(1.1 * test));
        outfit.drag = Some(Force::from_kgf(0.2 * test));
    }
    outfit
}

fn lure(class: LureClass, grams: f64, hook: HookStyle, point: HookPoint) -> Lure {
    let mut lure = Lure::default();
    lure.class = Some(class);
    lure.rigged_mass = Some(Mass::from_g(grams));
    lure.hook.style = Some(hook);
    lure.hook.point = Some(point);
    lure
}

/// Four outfits with four lures in three waters.
fn cases() -> Vec<Case> {
    let outfits = [
        outfit((2.0, 8.0), 1.9, Action::Fast, LineMaterial::Nylon, 2.7),
        outfit((7.0, 21.0), 2.2, Action::Fast, LineMaterial::Braid, 9.0),
        outfit((15.0, 45.0), 2.3, Action::ModerateFast, LineMaterial::Braid, 15.0),
        outfit((20.0, 80.0), 2.4, Action::ExtraFast, LineMaterial::Nylon, 0.0),
    ];
    let lures = [
        lure(LureClass::PaddleTailJig, 12.0, HookStyle::Single, HookPoint::Sharp),
        lure(LureClass::Crankbait, 18.0, HookStyle::Treble, HookPoint::Used),
        lure(LureClass::Crankbait, 45.0, HookStyle::Treble, HookPoint::Sharp),
        Lure { class: Some(LureClass::PaddleTailJig), ..Lure::default() },
    ];
    let water = |species: &str, wind: f64, cover: Cover| Water {
        species: Some(species.to_owned()),
        wind_speed: Some(Speed::from_m_s(wind)),
        wind_direction: Some(WindDirection::Across),
        cover: Some(cover),
        ..Water::default()
    };
    let waters =
        [water("zander", 2.0, Cover::Open), water("pike", 8.0, Cover::Weed), Water::default()];
    let mut cases = Vec::new();
    for outfit in &outfits {
        for lure in &lures {
            for water in &waters {
                let (outfit, lure, water) = (outfit.clone(), lure.clone(), water.clone());
                cases.push(Case { outfit, lure, water });
            }
        }
    }
    cases
}

/// Median over eleven runs of the mean time of a call, microseconds.
fn micros<T>(cases: &[Case], mut call: impl FnMut(&Case) -> T) -> f64 {
    if cases.is_empty() {
        return f64::NAN;
    }
    let mut run = |rounds: u32| {
        let began = Instant::now();
        for _ in 0..rounds {
            for case in cases {
                black_box(call(black_box(case)));
            }
        }
        began.elapsed().as_secs_f64() * 1e6 / (f64::from(rounds) * cases.len() as f64)
    };
    let once = run(1).max(run(1)) * cases.len() as f64;
    let rounds = (2e5 / once).clamp(1.0, 1e5) as u32;
    let mut runs: Vec<f64> = (0..11).map(|_| run(rounds)).collect();
    runs.sort_by(f64::total_cmp);
    runs[runs.len() / 2]
}

fn main() {
    let model = Model::builtin();
    let all = cases();
    let judged = |c: &Case| judge(model, &c.outfit, &c.lure, &c.water);
    let short = |c: &Case| score(model, &c.outfit, &c.lure, &c.water);
    let banded = |c: &Case| score_with_interval(model, &c.outfit, &c.lure, &c.water);
    let resolved = |c: &Case| resolve::resolve(model, &c.outfit, &c.lure, &c.water);

    let (without, with, whole) = (micros(&all, short), micros(&all, banded), micros(&all, judged));
    let found = micros(&all, resolved);
    // Nothing is tried on what is excellent: there the reasons can be seen alone.
    let (sound, poor): (Vec<Case>, Vec<Case>) =
        all.into_iter().partition(|c| judged(c).verdict == Verdict::Excellent);
    let offered: usize = poor.iter().map(|c| judged(c).fixes.len()).sum();

    println!("judgement, mean of {} cases, µs", sound.len() + poor.len());
    let line = |name: &str, value: f64, bound: &str| {
        println!("{name:34} {value:9.2} {:8.1} {bound}", value / without);
    };
    println!("{:34} {:>9} {:>8}", "", "µs", "ratio");
    line("without interval", without, "aim 20 µs");
    line("with interval", with, "aim 300 µs");
    line("with interval, reasons and fixes", whole, "aim 2000 µs");
    println!("parts");
    line("  resolve", found, "");
    line("  factors and limits", without - found, "by difference; limits are private");
    line("  interval", with - without, "by difference");
    line("  reasons and fixes", whole - with, "by difference");
    println!("of which");
    let reasons = |cases: &[Case]| micros(cases, judged) - micros(cases, banded);
    line("  reasons, where all is excellent", reasons(&sound), &format!("{} cases", sound.len()));
    let counts = format!("{} cases, {offered} fixes offered", poor.len());
    line("  reasons and fixes, elsewhere", reasons(&poor), &counts);
}
