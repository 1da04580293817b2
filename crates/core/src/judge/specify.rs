//! Which outfit would be right for given lures and water: a window of specs, never a product.
//!
//! A lattice of generic outfits is judged with every lure: power in half classes with the ratings
//! that are usual for it, every action, blank and handle, each main line in its usual strength.
//! Leader and drag are set for each lure as `settings` recommends. An outfit is as good as its
//! worst lure. What is kept is the connected set round the best outfit in which every lure is good;
//! two outfits are neighbours when one of their choices differs by one place.

use std::collections::BTreeSet;

use serde::Serialize;

use super::case::Case;
use super::cautions;
use super::factors::{FACTORS, reel};
use super::judgement::{Caution, FactorKind, Verdict};
use super::settings::{fitting_size, recommended_drag_kgf, recommended_leader};
use super::text::{kilograms, plain};
use super::{Score, resolve, score};
use crate::gear::{
    Action, Handle, LeaderMaterial, LineMaterial, Lure, Outfit, Power, RodMaterial, Word,
};
use crate::model::{Model, ModelId, Parameters};
use crate::quantity::words::{CENTIMETRES, GRAMS, ROD_METRES};
use crate::quantity::{Force, Length, Mass};
use crate::water::Water;

/// Most lures that one specification is asked for.
pub const MOST_LURES: usize = 20;

/// Least and greatest of a window.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd, Serialize)]
pub struct Between<T> {
    /// Least.
    pub least: T,
    /// Greatest.
    pub greatest: T,
}

impl Between<f64> {
    /// Over values; the wrong way round where there are none.
    fn over(values: impl Iterator<Item = f64>) -> Self {
        let none = Self { least: f64::INFINITY, greatest: f64::NEG_INFINITY };
        values.fold(none, |Self { least, greatest }, value| Self {
            least: least.min(value),
            greatest: greatest.max(value),
        })
    }
}

impl<T: Copy> Between<T> {
    fn map<U>(self, make: impl Fn(T) -> U) -> Between<U> {
        Between { least: make(self.least), greatest: make(self.greatest) }
    }
}

/// A material with the strengths that go with it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Strength<M> {
    /// Material.
    pub material: M,
    /// Breaking force; zero where there is no leader.
    pub test: Between<Force>,
}

/// A window of specs.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Spec {
    /// Power class, 1 to 8.
    pub power: Between<f64>,
    /// Where the blank bends, deepest first.
    pub actions: Vec<Action>,
    /// What the blank may be made of.
    pub materials: Vec<RodMaterial>,
    /// Kinds of rod and reel.
    pub handles: Vec<Handle>,
    /// Length of the rod, as the platform asks.
    pub length: Between<Length>,
    /// Lower end of the printed lure rating.
    pub lure_rating_min: Between<Mass>,
    /// Upper end of the printed lure rating.
    pub lure_rating_max: Between<Mass>,
    /// Greatest line of the printed rating, as nylon.
    pub line_rating_max: Between<Force>,
    /// Main lines.
    pub lines: Vec<Strength<LineMaterial>>,
    /// Leaders, over all lures.
    pub leaders: Vec<Strength<LeaderMaterial>>,
    /// Drag at the strike, over all lures.
    pub drag: Between<Force>,
    /// Reels in the words of the trade, lightest first.
    pub reels: Vec<String>,
    /// Line a turn of the handle: what suits all lures, or else from the slowest to the fastest, as
    /// far as reels of these sizes have such gears; the nearest gear where none has.
    pub retrieve: Between<Length>,
    /// The same in one plain line.
    pub text: String,
}

/// How one lure is judged with the centre.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LureScore {
    /// Index into the list that was given.
    pub index: usize,
    /// Its score.
    pub score: Score,
}

/// Which outfit would be right.
#[derive(Clone, Debug, PartialEq)]
pub struct Specification {
    /// Verdict of the worst lure with the centre: `good` or better, or the best that is reached.
    pub verdict: Verdict,
    /// Score of that lure.
    pub score: f64,
    /// The best outfit.
    pub centre: Spec,
    /// What may vary round it with every lure still good: the least and greatest of each field over
    /// the outfits that are kept, so that not every combination is one of them. The centre alone
    /// where that is not reached.
    pub window: Spec,
    /// Every lure with the centre, in the order given.
    pub lures: Vec<LureScore>,
    /// Where not every lure is good: the index of the lure that holds the best outfit down.
    pub obstacle: Option<usize>,
    /// Cautions of the best outfit with these lures in this water, each kind once.
    pub cautions: Vec<Caution>,
    /// One plain sentence.
    pub summary: String,
    /// Id and hash of model and parameters.
    pub model: ModelId,
}

/// A place in the lattice: indices of power, action, material, handle, line.
type Place = [usize; 5];

const LINES: [LineMaterial; 3] =
    [LineMaterial::Braid, LineMaterial::Nylon, LineMaterial::Fluorocarbon];

/// How an outfit fares with all lures: its worst lure first, then their mean.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Worth {
    worst: (f64, f64),
    good: bool,
    sum: f64,
}

/// What is set for one lure on one line, whatever the rest of the rod is like.
#[derive(Clone, Copy, Debug)]
struct Rig {
    leader: LeaderMaterial,
    leader_kgf: f64,
    drag_kgf: f64,
}

struct Lattice<'a> {
    model: &'a Model,
    lures: &'a [Lure],
    water: &'a Water,
    powers: Vec<f64>,
    sizes: Place,
    /// By handle, power and line, then by lure.
    rigs: Vec<Vec<Rig>>,
}

/// Specifies the outfit for lures in given water; `None` without a lure.
///
/// Lures beyond the first [`MOST_LURES`] are not looked at.
#[must_use]
pub fn specify(model: &Model, lures: &[Lure], water: &Water) -> Option<Specification> {
    let lures = &lures[..lures.len().min(MOST_LURES)];
    if lures.is_empty() {
        return None;
    }
    let lattice = Lattice::new(model, lures, water);
    let worths = lattice.worths();
    let best = lattice.best(&worths);
    let scores = lattice.scores(best);
    let kept = lattice.kept(&worths, best);
    let centre = lattice.spec(&[best]);
    let window = lattice.spec(&kept);
    let worst =
        scores.iter().copied().reduce(|a, b| if key(&b.score) < key(&a.score) { b } else { a })?;
    let good = is_good(&worst.score);
    let obstacle = (!good).then_some(worst.index);
    let verdict = worst.score.verdict;
    let summary = if good {
        format!("{}; best {}", window.text, centre.text)
    } else {
        let n = worst.index + 1;
        let word = verdict.as_word();
        let factor = plain(worst.score.limiting_factor);
        format!(
            "nothing suits every lure: the best is {word}, lure {n} by {factor}; {}",
            centre.text
        )
    };
    let cautions = cautions::merged(lattice.cautions(best));
    let model = model.id().clone();
    let score = worst.score.score;
    Some(Specification {
        verdict,
        score,
        centre,
        window,
        lures: scores,
        obstacle,
        cautions,
        summary,
        model,
    })
}

/// What goes with rods that are chosen already, for lures in given water: the window over all
/// places of the lattice for which `is_one` holds, by power class and bare outfit. Its text tells
/// what goes with the rods, not the rods. `None` without a lure or such a rod.
#[must_use]
pub fn rigging(
    model: &Model,
    lures: &[Lure],
    water: &Water,
    is_one: &dyn Fn(f64, &Outfit) -> bool,
) -> Option<Spec> {
    let lures = &lures[..lures.len().min(MOST_LURES)];
    if lures.is_empty() {
        return None;
    }
    let lattice = Lattice::new(model, lures, water);
    let mut places = lattice.places();
    places.retain(|place| is_one(lattice.powers[place[0]], &lattice.outfit(*place)));
    if places.is_empty() {
        return None;
    }
    let mut spec = lattice.spec(&places);
    spec.text = rig_text(&spec);
    Some(spec)
}

fn is_good(score: &Score) -> bool {
    matches!(score.verdict, Verdict::Excellent | Verdict::Good)
}

fn key(score: &Score) -> (f64, f64) {
    (score.score, score.score_without_limits)
}

impl<'a> Lattice<'a> {
    fn new(model: &'a Model, lures: &'a [Lure], water: &'a Water) -> Self {
        let p = &model.parameters().specify;
        let count = ((p.power_most - p.power_least) / p.power_step + 1e-9).floor() as u32;
        let powers: Vec<f64> =
            (0..=count).map(|i| p.power_least + f64::from(i) * p.power_step).collect();
        let sizes = [
            powers.len(),
            Action::ALL.len(),
            RodMaterial::ALL.len(),
            Handle::ALL.len(),
            LINES.len(),
        ];
        let mut lattice = Self { model, lures, water, powers, sizes, rigs: Vec::new() };
        for handle in 0..sizes[3] {
            for power in 0..sizes[0] {
                for line in 0..sizes[4] {
                    let fast = Action::Fast as usize;
                    let outfit = lattice.outfit([power, fast, 0, handle, line]);
                    let rigs = lures.iter().map(|lure| lattice.rig(&outfit, lure)).collect();
                    lattice.rigs.push(rigs);
                }
            }
        }
        lattice
    }

    /// The bare outfit of a place, without leader and drag.
    fn outfit(&self, [power, action, material, handle, line]: Place) -> Outfit {
        let p = self.model.parameters();
        let class = self.powers[power];
        let (min, max) = window_g(p, class);
        let mut outfit = Outfit::default();
        outfit.rod.handle = Some(Handle::ALL[handle]);
        outfit.rod.action = Some(Action::ALL[action]);
        outfit.rod.material = Some(RodMaterial::ALL[material]);
        outfit.rod.lure_rating.min = Some(Mass::from_g(min));
        outfit.rod.lure_rating.max = Some(Mass::from_g(max));
        outfit.rod.line_rating.max = Some(Force::from_kgf(p.rod.line_max_kgf.at(class)));
        outfit.reel.kind = Some(Handle::ALL[handle]);
        outfit.line.material = Some(LINES[line]);
        outfit.line.test = Some(Force::from_kgf(line_kgf(p, class, LINES[line])));
        outfit
    }

    /// What `settings` recommends for a lure on a bare outfit.
    fn rig(&self, outfit: &Outfit, lure: &Lure) -> Rig {
        let bare = resolve::resolve(self.model, outfit, lure, self.water);
        let (leader, leader_kgf) = recommended_leader(&bare.case);
        let rigged = with_leader(outfit.clone(), leader, leader_kgf);
        let rigged = resolve::resolve(self.model, &rigged, lure, self.water);
        Rig { leader, leader_kgf, drag_kgf: recommended_drag_kgf(&rigged.case) }
    }

    fn rigs_of(&self, [power, _, _, handle, line]: Place) -> &[Rig] {
        &self.rigs[(handle * self.sizes[0] + power) * self.sizes[4] + line]
    }

    /// The outfit of a place as set for one lure.
    fn set(&self, bare: &Outfit, rig: Rig) -> Outfit {
        let mut outfit = with_leader(bare.clone(), rig.leader, rig.leader_kgf);
        outfit.drag = Some(Force::from_kgf(rig.drag_kgf));
        outfit
    }

    /// Cautions of a place with each lure.
    fn cautions(&self, place: Place) -> impl Iterator<Item = Vec<Caution>> {
        let bare = self.outfit(place);
        self.lures.iter().zip(self.rigs_of(place)).map(move |(lure, rig)| {
            let outfit = self.set(&bare, *rig);
            cautions::at_hand(&resolve::resolve(self.model, &outfit, lure, self.water))
        })
    }

    fn index(&self, place: Place) -> usize {
        place.iter().zip(self.sizes).fold(0, |index, (i, size)| index * size + i)
    }

    fn places(&self) -> Vec<Place> {
        let total = self.sizes.iter().product();
        let place = |mut index: usize| {
            let mut place = [0; 5];
            for (i, size) in place.iter_mut().zip(self.sizes).rev() {
                *i = index % size;
                index /= size;
            }
            place
        };
        (0..total).map(place).collect()
    }

    /// How every outfit fares, in the order of the places; `None` where it is left behind: worse
    /// with one lure than the best so far with all of them, and not good.
    fn worths(&self) -> Vec<Option<Worth>> {
        let mut best = (0.0, 0.0);
        let judge = |place: Place| {
            let bare = self.outfit(place);
            let mut worth = Worth { worst: (1.0, 1.0), good: true, sum: 0.0 };
            for (lure, rig) in self.lures.iter().zip(self.rigs_of(place)) {
                let score = score(self.model, &self.set(&bare, *rig), lure, self.water);
                worth.good &= is_good(&score);
                worth.sum += score.score;
                if key(&score) < worth.worst {
                    worth.worst = key(&score);
                }
                if !worth.good && worth.worst < best {
                    return None;
                }
            }
            if worth.worst > best {
                best = worth.worst;
            }
            Some(worth)
        };
        self.places().into_iter().map(judge).collect()
    }

    /// The best place: the best worst lure, then the best mean; among equals the one whose
    /// neighbours fare best, then the first.
    fn best(&self, worths: &[Option<Worth>]) -> Place {
        let order = |worth: &Worth| (worth.worst.0, worth.worst.1, worth.sum);
        let mut found: Option<((f64, f64, f64), f64, Place)> = None;
        for (place, worth) in self.places().into_iter().zip(worths) {
            let Some(worth) = worth else { continue };
            let this = order(worth);
            if found.is_some_and(|(that, ..)| this < that) {
                continue;
            }
            let round = self.neighbours(place);
            let sum: f64 = round
                .iter()
                .filter_map(|place| worths[self.index(*place)])
                .map(|worth| worth.worst.0)
                .sum();
            let mean = sum / round.len() as f64;
            if found.is_none_or(|(that, old, _)| this > that || mean > old) {
                found = Some((this, mean, place));
            }
        }
        found.map_or([0; 5], |(_, _, place)| place)
    }

    /// Places that differ in one choice by one; every line is a neighbour of every other.
    fn neighbours(&self, place: Place) -> Vec<Place> {
        let mut round = Vec::with_capacity(12);
        for (axis, &at) in place.iter().enumerate() {
            for other in 0..self.sizes[axis] {
                if other != at && (axis == 4 || other.abs_diff(at) == 1) {
                    let mut next = place;
                    next[axis] = other;
                    round.push(next);
                }
            }
        }
        round
    }

    /// The connected set round the best place in which every lure is good, in order; the best
    /// place alone where it is not good itself.
    fn kept(&self, worths: &[Option<Worth>], best: Place) -> Vec<Place> {
        let good = |place: Place| worths[self.index(place)].is_some_and(|worth| worth.good);
        let mut seen = vec![false; worths.len()];
        let mut kept = Vec::new();
        let mut open = vec![best];
        seen[self.index(best)] = true;
        while let Some(place) = open.pop() {
            kept.push(place);
            if !good(place) {
                break;
            }
            for next in self.neighbours(place) {
                let index = self.index(next);
                if !seen[index] && good(next) {
                    seen[index] = true;
                    open.push(next);
                }
            }
        }
        kept.sort_unstable();
        kept
    }

    fn scores(&self, place: Place) -> Vec<LureScore> {
        let bare = self.outfit(place);
        let judge = |(index, (lure, rig)): (usize, (&Lure, &Rig))| LureScore {
            index,
            score: score(self.model, &self.set(&bare, *rig), lure, self.water),
        };
        self.lures.iter().zip(self.rigs_of(place)).enumerate().map(judge).collect()
    }

    /// The window over places; there is at least one, and at least one lure.
    fn spec(&self, places: &[Place]) -> Spec {
        let p = self.model.parameters();
        let cases: Vec<_> = self
            .lures
            .iter()
            .map(|lure| {
                resolve::resolve(self.model, &self.outfit(places[0]), lure, self.water).case
            })
            .collect();
        let over = |of: &dyn Fn(Place) -> f64| Between::over(places.iter().map(|place| of(*place)));
        let class = |place: Place| self.powers[place[0]];
        let has = |axis: usize, index: usize| places.iter().any(|place| place[axis] == index);
        let rigs = || places.iter().flat_map(|place| self.rigs_of(*place));
        let lines = LINES.iter().enumerate().filter(|(i, _)| has(4, *i)).map(|(i, material)| {
            let of = places.iter().filter(|place| place[4] == i);
            let test = Between::over(of.map(|place| line_kgf(p, class(*place), *material)));
            Strength { material: *material, test: test.map(Force::from_kgf) }
        });
        let leaders = LeaderMaterial::ALL.iter().filter_map(|material| {
            let of = rigs().filter(|rig| rig.leader == *material).map(|rig| rig.leader_kgf);
            let test = Between::over(of);
            let tied = test.least <= test.greatest;
            tied.then(|| Strength { material: *material, test: test.map(Force::from_kgf) })
        });
        let mut spec = Spec {
            power: over(&class),
            actions: chosen(|i| has(1, i)),
            materials: chosen(|i| has(2, i)),
            handles: chosen(|i| has(3, i)),
            length: usual_length(&cases[0]).map(Length::from_m),
            lure_rating_min: over(&|place| window_g(p, class(place)).0).map(Mass::from_g),
            lure_rating_max: over(&|place| window_g(p, class(place)).1).map(Mass::from_g),
            line_rating_max: over(&|place| p.rod.line_max_kgf.at(class(place)))
                .map(Force::from_kgf),
            lines: lines.collect(),
            leaders: leaders.collect(),
            drag: Between::over(rigs().map(|rig| rig.drag_kgf)).map(Force::from_kgf),
            reels: self.reels(places),
            retrieve: self.retrieve_cm(places, &cases).map(Length::from_cm),
            text: String::new(),
        };
        spec.text = text(&spec);
        spec
    }

    /// Line a turn that the lures want, as far as the reels of the places have such gears.
    fn retrieve_cm(&self, places: &[Place], cases: &[Case<'_>]) -> Between<f64> {
        let usual: Vec<_> = self.reel_cases(places).iter().map(reel::usual_retrieve_cm).collect();
        let least = Between::over(usual.iter().map(|usual| usual.0)).least;
        let greatest = Between::over(usual.iter().map(|usual| usual.1)).greatest;
        let wanted = shared(cases.iter().map(reel::wanted_retrieve_cm));
        let found = reel::within((wanted.least, wanted.greatest), (least, greatest));
        Between { least: found.0, greatest: found.1 }
    }

    /// A lure on a rod of each kind and power of the places, which is what its reel goes by.
    fn reel_cases(&self, places: &[Place]) -> Vec<Case<'_>> {
        let sizes: BTreeSet<_> = places.iter().map(|place| (place[3], place[0])).collect();
        let case = |(handle, power)| {
            let outfit = self.outfit([power, 0, 0, handle, 0]);
            resolve::resolve(self.model, &outfit, &self.lures[0], self.water).case
        };
        sizes.into_iter().map(case).collect()
    }

    fn reels(&self, places: &[Place]) -> Vec<String> {
        let mut reels = Vec::new();
        for words in self.reel_cases(places).iter().map(fitting_size) {
            if !reels.contains(&words) {
                reels.push(words);
            }
        }
        reels
    }
}

fn with_leader(mut outfit: Outfit, material: LeaderMaterial, kgf: f64) -> Outfit {
    outfit.leader.material = Some(material);
    outfit.leader.test = (material != LeaderMaterial::None).then(|| Force::from_kgf(kgf));
    outfit
}

/// Words of a list whose place is chosen.
fn chosen<W: Word>(has: impl Fn(usize) -> bool) -> Vec<W> {
    W::ALL.iter().enumerate().filter(|(i, _)| has(*i)).map(|(_, word)| *word).collect()
}

/// Printed window of a rod of this class, g: the usual maximum, and the minimum with which the
/// geometric mean tells the class.
fn window_g(p: &Parameters, class: f64) -> (f64, f64) {
    let max = p.rod.window_max_g.at(class);
    let mean = p.rod.class_by_window_g.x_at_log(class);
    (mean * mean / max, max)
}

/// Usual strength of a main line on a rod of this class, kgf.
fn line_kgf(p: &Parameters, class: f64, material: LineMaterial) -> f64 {
    match material {
        LineMaterial::Braid => p.line.braid_kgf.at(class),
        LineMaterial::Nylon | LineMaterial::Fluorocarbon => {
            p.rod.line_max_kgf.at(class) * p.fix.nylon_share
        }
    }
}

/// Usual length on the platform, m.
fn usual_length(case: &Case<'_>) -> Between<f64> {
    let factor = FACTORS.iter().find(|factor| factor.kind == FactorKind::Length);
    let ends = factor
        .and_then(|factor| (factor.score)(case))
        .map(|scored| [scored.get("usual_from"), scored.get("usual_to")]);
    match ends {
        Some([least, greatest]) if least <= greatest => Between { least, greatest },
        Some(_) | None => Between { least: case.rod_length_m, greatest: case.rod_length_m },
    }
}

/// What all ranges share; where they share nothing, from the least of the lower ends to the
/// greatest of the upper ones.
fn shared(ranges: impl Iterator<Item = (f64, f64)> + Clone) -> Between<f64> {
    let lower = Between::over(ranges.clone().map(|range| range.0));
    let upper = Between::over(ranges.map(|range| range.1));
    if lower.greatest <= upper.least {
        Between { least: lower.greatest, greatest: upper.least }
    } else {
        Between { least: lower.least, greatest: upper.greatest }
    }
}

/// A window in one plain line.
fn text(spec: &Spec) -> String {
    let hyphened = |action: &Action| plain(*action).replace(' ', "-");
    let actions: Vec<_> = spec.actions.iter().map(hyphened).collect();
    let action = match actions.as_slice() {
        [least, .., greatest] => format!("{least} to {greatest}"),
        other => other.concat(),
    };
    // Half a class is told by the words on both sides of it.
    let power = Between { least: spec.power.least.floor(), greatest: spec.power.greatest.ceil() };
    // Both ends of the rating rise with the power: the lightest rod's and the heaviest rod's.
    let rating = Between {
        least: (spec.lure_rating_min.least, spec.lure_rating_max.least),
        greatest: (spec.lure_rating_min.greatest, spec.lure_rating_max.greatest),
    };
    let printed = |(min, max): (Mass, Mass)| GRAMS.window(min.g(), max.g()).to_string();
    format!(
        "{}, {action}, {}, {}, {}, {}; {}",
        words(power, |class| Power::nearest(class).plain()),
        any_of(spec.materials.iter().copied().map(plain)),
        any_of(spec.handles.iter().copied().map(plain)),
        words(spec.length, |l| ROD_METRES.one(l.m()).to_string()),
        words(rating, printed),
        lines_and_reel(spec),
    )
}

/// What goes with a rod, in one plain line.
fn rig_text(spec: &Spec) -> String {
    let length = words(spec.length, |l| ROD_METRES.one(l.m()).to_string());
    format!("{length} long; {}", lines_and_reel(spec))
}

fn lines_and_reel(spec: &Spec) -> String {
    let kg = |force: Force| kilograms(force.kgf());
    let lines = spec.lines.iter().map(|l| format!("{} {}", plain(l.material), words(l.test, kg)));
    let leaders = spec.leaders.iter().map(|l| match l.material {
        LeaderMaterial::None => "no leader".to_owned(),
        LeaderMaterial::Nylon
        | LeaderMaterial::Fluorocarbon
        | LeaderMaterial::SteelWire
        | LeaderMaterial::Titanium => {
            format!("{} leader {}", plain(l.material), words(l.test, kg))
        }
    });
    format!(
        "{}; {}; drag {}; {}, {} a turn",
        any_of(lines),
        any_of(leaders),
        words(spec.drag, kg),
        any_of(spec.reels.iter().cloned()),
        CENTIMETRES.span(spec.retrieve.least.cm(), spec.retrieve.greatest.cm()),
    )
}

fn any_of(words: impl Iterator<Item = String>) -> String {
    words.collect::<Vec<_>>().join(" or ")
}

/// "2 kg to 4 kg", or one of them where they read alike.
fn words<T: Copy>(between: Between<T>, write: impl Fn(T) -> String) -> String {
    let Between { least, greatest } = between.map(write);
    if least == greatest { least } else { format!("{least} to {greatest}") }
}
