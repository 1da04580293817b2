//! Which limits make a trip impossible: lift them one by one, keep those that matter.

use std::collections::BTreeSet;

use deepbend_core::gear::Word as _;

use crate::grid::{Grid, Lift};
use crate::plan::{Clash, Constraint};
use crate::problem::{Pin, TripProblem};
use crate::seating::{self, Seating};
use crate::short::{self, Short};
use crate::watch::Watch;
use crate::weights::Weights;

type Switch = fn(&mut Lift) -> &mut bool;

/// All limits that can be lifted, the most easily changed last, so that these remain named.
fn switches() -> Vec<(Constraint, Switch)> {
    vec![
        (Constraint::LineStock, |l| &mut l.line_stock),
        (Constraint::LeaderStock, |l| &mut l.leader_stock),
        (Constraint::Locker, |l| &mut l.locker),
        (Constraint::ReadyItems, |l| &mut l.ready),
        (Constraint::NoUnsafe, |l| &mut l.no_unsafe),
        (Constraint::LureStock, |l| &mut l.lure_stock),
        (Constraint::AnglerSuits, |l| &mut l.angler_suits),
        (Constraint::OneReelPerRod, |l| &mut l.one_reel),
        (Constraint::MinVerdict, |l| &mut l.min_verdict),
        (Constraint::RodLimit, |l| &mut l.rod_limit),
    ]
}

/// What is asked: whether a plan exists with some limits lifted.
#[derive(Clone)]
struct Question<'a> {
    trips: Vec<TripProblem>,
    weights: &'a Weights,
    lift: Lift,
    /// Trip and segment.
    segments: BTreeSet<(usize, usize)>,
    watch: &'a Watch<'a>,
}

impl Question<'_> {
    /// When the search is to end the answer is yes: then what is asked about stays named.
    fn possible(&self) -> bool {
        if self.watch.is_over() {
            return true;
        }
        let trips: Vec<_> = self.trips.iter().collect();
        let mut grid = Grid::of(&trips, self.weights, self.lift);
        let all = self.trips.iter().enumerate();
        let all = all.flat_map(|(t, trip)| (0..trip.segments.len()).map(move |s| (t, s)));
        for (crew, segment) in grid.crews.iter_mut().zip(all) {
            if !self.segments.contains(&segment) {
                crew.clear();
            }
        }
        match seating::find(&grid, self.watch) {
            Seating::Found(_) | Seating::Unknown => true,
            Seating::Impossible => false,
        }
    }
}

/// A limit that a plan leaves out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Asked {
    /// Trip and segment: all who are to fish at once.
    Crew(usize, usize),
    /// Trip and position of the pin.
    Pin(usize, usize),
}

/// Small sets that are named at most.
const SETS: usize = 6;

/// Names small sets of limits that clash: one for each of those that the best plan leaves out,
/// which are few; the first of all where it is not known. What can be counted is said in numbers.
pub(crate) fn explain(
    grid: &Grid<'_>,
    trips: &[&TripProblem],
    left_out: &[Asked],
    short: &[Short],
    watch: &Watch<'_>,
) -> Clash {
    let sets = sets(trips, &grid.weights, left_out, watch);
    // Of what pins strike out a count does not know.
    let free = trips.iter().all(|trip| trip.pins.is_empty());
    if !short.is_empty() && free {
        let counted = short::clash(grid, trips, short);
        if watch.is_over() {
            return counted;
        }
        let is_counted = |(one, _): &(Constraint, String)| {
            !matches!(one, Constraint::AnglersAtOnce { .. }) || counted.constraints.contains(one)
        };
        let more = sets.iter().filter(|set| !set.iter().all(is_counted));
        let more: String = more.map(|set| in_words(" Nor can these all be kept", set)).collect();
        Clash { constraints: constraints(&sets), text: counted.text + &more }
    } else if watch.is_over() {
        unclear(trips, left_out)
    } else {
        told(&sets)
    }
}

fn constraint(trips: &[&TripProblem], asked: &Asked) -> Constraint {
    match *asked {
        Asked::Crew(t, s) => Constraint::AnglersAtOnce {
            boat: trips[t].boat.place.clone(),
            segment: trips[t].segments[s].id.clone(),
        },
        Asked::Pin(t, p) => {
            Constraint::Pinned { boat: trips[t].boat.place.clone(), pin: trips[t].pins[p].clone() }
        }
    }
}

/// What is left out, where there was no time to find out why.
fn unclear(trips: &[&TripProblem], left_out: &[Asked]) -> Clash {
    let owned: Vec<TripProblem> = trips.iter().map(|trip| (*trip).clone()).collect();
    let constraints: Vec<Constraint> =
        left_out.iter().map(|asked| constraint(trips, asked)).collect();
    let words: Vec<String> = constraints.iter().map(|one| word(one, &owned)).collect();
    let text = format!(
        "Not all limits can be kept, and the time was up before it was clear which others stand in \
         the way of these: {}.",
        words.join("; ")
    );
    Clash { constraints, text }
}

/// The same by asking whether there is a plan without each of the limits.
pub(crate) fn by_questions(
    trips: &[&TripProblem],
    weights: &Weights,
    left_out: &[Asked],
    watch: &Watch<'_>,
) -> Clash {
    told(&sets(trips, weights, left_out, watch))
}

/// Limits that clash, each with its words.
type Set = Vec<(Constraint, String)>;

/// Small sets of limits that clash.
fn sets(
    trips: &[&TripProblem],
    weights: &Weights,
    left_out: &[Asked],
    watch: &Watch<'_>,
) -> Vec<Set> {
    // Bounds of questions are not bounds of the plan.
    let asked = watch.only_asked();
    let watch = &Watch::new(&asked);
    let all = trips.iter().enumerate();
    let all: BTreeSet<_> =
        all.flat_map(|(t, trip)| (0..trip.segments.len()).map(move |s| (t, s))).collect();
    let question = Question {
        trips: trips.iter().map(|trip| (*trip).clone()).collect(),
        weights,
        lift: Lift::default(),
        segments: all,
        watch,
    };
    let mut sets: Vec<Set> = Vec::new();
    if left_out.len() > 1 {
        for asked in left_out.iter().take(SETS) {
            let others: Vec<_> = left_out.iter().filter(|other| *other != asked).collect();
            let alone = question.without(&others);
            if !alone.possible() {
                let set = alone.smallest();
                if !sets.contains(&set) {
                    sets.push(set);
                }
            }
        }
    }
    if sets.is_empty() {
        // It is one limit, or any of them could be kept without the others.
        sets.push(question.smallest());
    }
    // What could be kept without all others may clash with the rest of its like.
    let is_named = |asked: &&Asked| constraints(&sets).contains(&constraint(trips, asked));
    let named: Vec<&Asked> = left_out.iter().filter(is_named).collect();
    if named.len() < left_out.len() && sets.len() < SETS {
        let rest = question.without(&named);
        if !rest.possible() {
            sets.push(rest.smallest());
        }
    }
    sets
}

fn in_words(lead: &str, set: &Set) -> String {
    let words: Vec<&str> = set.iter().map(|(_, words)| words.as_str()).collect();
    format!("{lead}: {}.", words.join("; "))
}

/// All limits of some sets, each once.
fn constraints(sets: &[Set]) -> Vec<Constraint> {
    let mut list: Vec<Constraint> = Vec::new();
    for (one, _) in sets.iter().flatten() {
        if !list.contains(one) {
            list.push(one.clone());
        }
    }
    list
}

/// Sets of limits, and what helps.
fn told(sets: &[Set]) -> Clash {
    let mut text = String::new();
    for (i, set) in sets.iter().enumerate() {
        let lead = if i == 0 { "These cannot all be kept" } else { " Nor can these" };
        text.push_str(&in_words(lead, set));
    }
    let crews =
        |set: &Set| set.iter().any(|(one, _)| matches!(one, Constraint::AnglersAtOnce { .. }));
    text.push_str(match sets.iter().any(crews) {
        true => " Let people take turns, take other gear along, or give one of these up.",
        false => " Take other gear along, or give one of these up.",
    });
    Clash { constraints: constraints(sets), text }
}

impl Question<'_> {
    /// The same question when some limits are not asked for.
    fn without(&self, left_out: &[&Asked]) -> Self {
        let mut fewer = self.clone();
        for (t, trip) in fewer.trips.iter_mut().enumerate() {
            let mut position = 0;
            trip.pins.retain(|_| {
                position += 1;
                !left_out.contains(&&Asked::Pin(t, position - 1))
            });
        }
        fewer.segments.retain(|(t, s)| !left_out.contains(&&Asked::Crew(*t, *s)));
        fewer
    }

    /// A small set of limits that clash: each is lifted in turn, and stays lifted unless that makes
    /// a plan possible.
    fn smallest(&self) -> Set {
        let mut question = self.clone();
        for segment in &self.segments {
            question.segments.remove(segment);
            if question.possible() {
                question.segments.insert(*segment);
            }
        }
        let mut named = Vec::new();
        for (constraint, switch) in switches() {
            *switch(&mut question.lift) = true;
            if question.possible() {
                *switch(&mut question.lift) = false;
                named.push(constraint);
            }
        }
        for (t, trip) in self.trips.iter().enumerate() {
            // From the back, so that the positions of those before stay.
            for p in (0..trip.pins.len()).rev() {
                let pin = question.trips[t].pins.remove(p);
                if question.possible() {
                    let boat = trip.boat.place.clone();
                    named.push(Constraint::Pinned { boat, pin: pin.clone() });
                    question.trips[t].pins.insert(p, pin);
                }
            }
        }
        let several = self.trips.len() > 1;
        let crews = question.segments.iter().map(|(t, s)| {
            let (boat, s) = (&self.trips[*t].boat.place, &self.trips[*t].segments[*s]);
            let on = if several { format!(" on {boat}") } else { String::new() };
            let words = match s.anglers.len() {
                1 => format!("1 angler fishes in segment {}{on}", s.id),
                people => format!("{people} anglers fish at once in segment {}{on}", s.id),
            };
            let (boat, segment) = (boat.clone(), s.id.clone());
            (Constraint::AnglersAtOnce { boat, segment }, words)
        });
        let named = named.into_iter().map(|one| {
            let words = word(&one, &self.trips);
            (one, words)
        });
        crews.chain(named).collect()
    }
}

fn word(constraint: &Constraint, trips: &[TripProblem]) -> String {
    match constraint {
        Constraint::AnglersAtOnce { boat, segment } => {
            format!("anglers at once in segment {segment} on {boat}")
        }
        Constraint::RodLimit => "the number of rods that may be taken".into(),
        Constraint::Locker => "the length of the rod locker".into(),
        Constraint::OneReelPerRod => "each rod and each reel goes out once, one on one".into(),
        Constraint::ReadyItems => "only ready items may be taken".into(),
        Constraint::MinVerdict => "the verdict that the lures ask for".into(),
        Constraint::NoUnsafe => "no unsafe outfit is used".into(),
        Constraint::AnglerSuits => "outfits that the anglers can use".into(),
        Constraint::LureStock => "the number of lures".into(),
        Constraint::LeaderStock => "the number of leaders".into(),
        Constraint::LineStock => "the metres of line in stock".into(),
        Constraint::Pinned { boat, pin } => match pin {
            Pin::Take { id, .. } => format!("{boat} takes {id}, as you ask"),
            Pin::Leave { id, .. } => format!("{boat} leaves {id}, as you ask"),
            Pin::Pair { rod, reel } => {
                let but = misfit(boat, rod, reel, trips);
                format!("{rod} carries {reel} on {boat}, as you ask{but}")
            }
            Pin::Hold { segment, lure } => {
                format!("{boat} covers {lure} in segment {segment}, as you ask")
            }
        },
    }
}

/// Why a rod and a reel cannot be one outfit of a boat, if they cannot.
fn misfit(boat: &str, rod: &str, reel: &str, trips: &[TripProblem]) -> String {
    let Some(trip) = trips.iter().find(|trip| trip.boat.place == boat) else {
        return String::new();
    };
    let handle = trip.rods.iter().find(|r| r.id == rod).map(|r| r.handle);
    let kind = trip.reels.iter().find(|r| r.id == reel).map(|r| r.kind);
    let (Some(handle), Some(kind)) = (handle, kind) else { return String::new() };
    if handle != kind {
        let (handle, kind) = (handle.as_word(), kind.as_word());
        return format!(", but {rod} is a {handle} rod and {reel} a {kind} reel");
    }
    match trip.candidates.iter().any(|c| c.rod == rod && c.reel == reel) {
        true => String::new(),
        false => ", but the two make no outfit that can be used".to_owned(),
    }
}
