//! Crews that cannot all fish at once whatever is taken: counted, without a search.
//!
//! Each count leaves out something that a plan has to keep besides, so what it finds is proven, and
//! what it does not find is not: then the search decides.

use std::collections::{BTreeMap, BTreeSet};

use crate::grid::{Cand, Grid, Off};
use crate::plan::{Clash, Constraint};
use crate::problem::TripProblem;

/// Ids that are named in a sentence.
const NAMED: usize = 6;

/// A crew that lacks something.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Short {
    boat: usize,
    /// Segments of the grid: one, or two that lack it together.
    segments: Vec<usize>,
    /// How many of each segment it is about; they are the least practised.
    anglers: Vec<usize>,
    lack: Lack,
}

#[derive(Clone, Debug, PartialEq, Eq)]
enum Lack {
    /// More people than rods may be taken.
    Room,
    /// So few outfits can be put together that suit somebody, of these rods.
    Outfits(usize, Vec<usize>),
    /// The lures that anything fishes as asked, with how many there are.
    Lures(Vec<(usize, u32)>),
    /// So few rods may be taken that more than these would have to serve in both segments.
    Both(Vec<usize>),
}

/// What of a segment serves some of its crew.
struct Serving {
    /// By rod, the reels that it does so on.
    rods: BTreeMap<usize, BTreeSet<usize>>,
    needs: BTreeSet<usize>,
}

impl Serving {
    fn of(grid: &Grid<'_>, segment: usize, anglers: &[usize]) -> Self {
        let mut serving = Self { rods: BTreeMap::new(), needs: BTreeSet::new() };
        for cand in &grid.cands {
            for offer in serving_offers(grid, cand, segment, anglers) {
                serving.rods.entry(cand.rod).or_default().insert(cand.reel);
                serving.needs.insert(offer.need);
            }
        }
        serving
    }

    /// How many outfits can be put together at once, but no more than are asked for.
    fn outfits(&self, asked: usize) -> usize {
        let mut on: BTreeMap<usize, usize> = BTreeMap::new();
        let mut count = 0;
        for rod in self.rods.keys() {
            if count >= asked {
                break;
            }
            count += usize::from(self.place(*rod, &mut on, &mut BTreeSet::new()));
        }
        count
    }

    /// Finds a reel for a rod, moving others to other reels.
    fn place(
        &self,
        rod: usize,
        on: &mut BTreeMap<usize, usize>,
        seen: &mut BTreeSet<usize>,
    ) -> bool {
        for &reel in &self.rods[&rod] {
            if !seen.insert(reel) {
                continue;
            }
            let free = match on.get(&reel) {
                Some(&other) => self.place(other, on, seen),
                None => true,
            };
            if free {
                on.insert(reel, rod);
                return true;
            }
        }
        false
    }
}

/// Offers of an outfit that serve some of the crew of a segment.
fn serving_offers<'c>(
    grid: &'c Grid<'_>,
    cand: &'c Cand,
    segment: usize,
    anglers: &'c [usize],
) -> impl Iterator<Item = &'c Off> {
    let of_segment = cand.offers.iter().filter(move |o| grid.needs[o.need].segment == segment);
    of_segment.filter(|o| anglers.iter().any(|a| grid.in_hands(cand, o, *a).is_some()))
}

/// Whether each of these people finds a rod with a reel and a lure at a first look, which is short:
/// then there is nothing to count.
fn is_ample(grid: &Grid<'_>, boat: usize, segment: usize, anglers: &[usize]) -> bool {
    let (mut rods, mut reels, mut lures) = (BTreeSet::new(), BTreeSet::new(), BTreeSet::new());
    let mut there = 0;
    grid.of_boat(boat).iter().any(|cand| {
        for offer in serving_offers(grid, cand, segment, anglers) {
            let lure = grid.needs[offer.need].lure;
            if lures.insert(lure) {
                there += grid.lures[lure].quantity as usize;
            }
            if !rods.contains(&cand.rod) && !reels.contains(&cand.reel) {
                rods.insert(cand.rod);
                reels.insert(cand.reel);
            }
        }
        rods.len().min(there) >= anglers.len()
    })
}

/// Whether at least so many rods serve somebody in both segments.
fn serve_both(grid: &Grid<'_>, boat: usize, segments: [usize; 2], asked: usize) -> bool {
    let by_rod = grid.of_boat(boat).chunk_by(|a, b| a.rod == b.rod);
    let serves = |cand: &Cand, segment: usize| {
        serving_offers(grid, cand, segment, &grid.crews[segment]).next().is_some()
    };
    let both = |of_rod: &&[Cand]| segments.iter().all(|s| of_rod.iter().any(|c| serves(c, *s)));
    by_rod.filter(both).take(asked).count() >= asked
}

/// All that is found.
pub(crate) fn all(grid: &Grid<'_>, trips: &[&TripProblem]) -> Vec<Short> {
    let mut found = Vec::new();
    let mut first = 0;
    for (boat, trip) in trips.iter().enumerate() {
        let segments = first..first + trip.segments.len();
        first = segments.end;
        of_boat(grid, boat, &segments.collect::<Vec<_>>(), &mut found);
    }
    found
}

fn of_boat(grid: &Grid<'_>, boat: usize, segments: &[usize], found: &mut Vec<Short>) {
    let limit = grid.boats[boat].outfits;
    let before = found.len();
    for &segment in segments {
        let crew = &grid.crews[segment];
        let short =
            |lack, people| Short { boat, segments: vec![segment], anglers: vec![people], lack };
        if crew.len() > limit {
            found.push(short(Lack::Room, crew.len()));
            continue;
        }
        for people in heads(grid, crew) {
            if is_ample(grid, boat, segment, &crew[..people]) {
                continue;
            }
            let serving = Serving::of(grid, segment, &crew[..people]);
            let outfits = serving.outfits(people);
            if outfits < people {
                let rods = serving.rods.keys().copied().collect();
                found.push(short(Lack::Outfits(outfits, rods), people));
                break;
            }
            let lures = lures(grid, &serving);
            let there: u64 = lures.iter().map(|(_, there)| u64::from(*there)).sum();
            if there < people as u64 {
                found.push(short(Lack::Lures(lures), people));
                break;
            }
        }
    }
    if found.len() > before {
        return;
    }
    for (at, &one) in segments.iter().enumerate() {
        for &other in &segments[at + 1..] {
            let people = [grid.crews[one].len(), grid.crews[other].len()];
            // Only whole crews: of a part of them the rods of the others would have to be left out.
            if people.contains(&0)
                || people[0] + people[1] <= limit
                || serve_both(grid, boat, [one, other], people[0] + people[1] - limit)
            {
                continue;
            }
            let serving = [one, other].map(|s| Serving::of(grid, s, &grid.crews[s]));
            let mut both: Vec<usize> = serving[0].rods.keys().copied().collect();
            both.retain(|rod| serving[1].rods.contains_key(rod));
            if people[0] + people[1] > limit + both.len() {
                let (segments, anglers) = (vec![one, other], people.to_vec());
                found.push(Short { boat, segments, anglers, lack: Lack::Both(both) });
                return;
            }
        }
    }
}

/// How many of a crew there are up to each skill, the least practised first.
fn heads(grid: &Grid<'_>, crew: &[usize]) -> Vec<usize> {
    let skill = |at: usize| grid.skills[crew[at]];
    (1..=crew.len()).filter(|n| *n == crew.len() || skill(n - 1) < skill(*n)).collect()
}

/// Lures of needs, each once, with how many of it somebody could start with.
fn lures(grid: &Grid<'_>, serving: &Serving) -> Vec<(usize, u32)> {
    let lures: BTreeSet<usize> = serving.needs.iter().map(|n| grid.needs[*n].lure).collect();
    lures.into_iter().map(|lure| (lure, grid.lures[lure].quantity)).collect()
}

/// What is found, in words that name people, gear and what would cure it.
pub(crate) fn clash(grid: &Grid<'_>, trips: &[&TripProblem], found: &[Short]) -> Clash {
    let mut constraints: BTreeSet<Constraint> = BTreeSet::new();
    let mut texts = Vec::new();
    let several = trips.len() > 1;
    for short in found {
        let trip = trips[short.boat];
        let first: usize = trips[..short.boat].iter().map(|t| t.segments.len()).sum();
        let id = |segment: usize| trip.segments[segment - first].id.as_str();
        let boat = &trip.boat.place;
        let on = if several { format!(" on {boat}") } else { String::new() };
        for segment in &short.segments {
            let (boat, segment) = (boat.clone(), id(*segment).to_owned());
            constraints.insert(Constraint::AnglersAtOnce { boat, segment });
        }
        let limit = grid.boats[short.boat].outfits;
        let segment = id(short.segments[0]);
        let people = short.anglers[0];
        let whole = people == grid.crews[short.segments[0]].len();
        let who = match (people, whole) {
            (1, true) => "1 angler is to fish".to_owned(),
            (_, true) => format!("{people} are to fish at once"),
            (1, false) => "the least practised one is to fish".to_owned(),
            (_, false) => format!("the {people} least practised are to fish at once"),
        };
        let lead = format!("In segment {segment}{on} {who}");
        texts.push(match &short.lack {
            Lack::Room => {
                constraints.insert(Constraint::RodLimit);
                format!(
                    "{lead}, but {} may be taken: room for {}, or {}",
                    rods_in_words(limit),
                    at_least(people - limit, "more", "more"),
                    who_take_turns(people - limit),
                )
            }
            Lack::Outfits(outfits, rods) => {
                constraints.extend([Constraint::ReadyItems, Constraint::MinVerdict]);
                constraints.insert(Constraint::OneReelPerRod);
                if !whole {
                    constraints.insert(Constraint::AnglerSuits);
                }
                let of = match rods.is_empty() {
                    true => String::new(),
                    false => format!(" (of {})", named(rods.iter().map(|rod| grid.rods[*rod]))),
                };
                format!(
                    "{lead}, but what is ready makes {}{of} that {} one of its lures as well \
                     as asked: {}, lures that ask for less, or {}",
                    count(*outfits, "outfit"),
                    if *outfits > 1 { "fish" } else { "fishes" },
                    at_least(people - outfits, "more rod with its reel", "more rods with reels"),
                    who_take_turns(people - outfits),
                )
            }
            Lack::Lures(lures) => {
                constraints.extend([Constraint::LureStock, Constraint::MinVerdict]);
                let there: u32 = lures.iter().map(|(_, there)| there).sum();
                let each = lures.iter().map(|(l, n)| format!("{} ({n})", grid.lure_ids[*l]));
                let each: Vec<String> = each.collect();
                let lacking = people - there as usize;
                let more = match lures.first() {
                    Some((l, _)) => {
                        let more = format!("more of {}", grid.lure_ids[*l]);
                        at_least(lacking, &more, &more)
                    }
                    None => "other lures".to_owned(),
                };
                let there = match there {
                    0 => "there is none".to_owned(),
                    1 => "there is 1".to_owned(),
                    some => format!("there are {some}"),
                };
                format!(
                    "{lead}, but of lures that something fishes as well as asked {there}{}: \
                     {more}, lures that ask for less, or {}",
                    match each.is_empty() {
                        true => String::new(),
                        false => format!(", {}", named(each.iter().map(String::as_str))),
                    },
                    who_take_turns(lacking),
                )
            }
            Lack::Both(both) => {
                constraints.extend([Constraint::RodLimit, Constraint::MinVerdict]);
                constraints.insert(Constraint::ReadyItems);
                let (one, other) = (short.anglers[0], short.anglers[1]);
                let asked = one + other - limit;
                let lacking = asked - both.len();
                let rods = match both.is_empty() {
                    true => String::new(),
                    false => format!(" ({})", named(both.iter().map(|rod| grid.rods[*rod]))),
                };
                let fish = if one == 1 { "fishes" } else { "fish at once" };
                format!(
                    "{one} {fish} in segment {segment} and {other} in segment {}{on} with \
                     {} at most, so at least {asked} of them must do for both, but {}{rods} can: \
                     room for {}, {} in both, or {} in one",
                    id(short.segments[1]),
                    rods_in_words(limit),
                    if both.is_empty() {
                        "none".to_owned()
                    } else {
                        format!("only {}", both.len())
                    },
                    at_least(lacking, "more", "more"),
                    at_least(lacking, "rod that serves", "rods that serve"),
                    who_take_turns(lacking),
                )
            }
        });
    }
    let text = texts.join(". ") + ".";
    Clash { constraints: constraints.into_iter().collect(), text }
}

/// What would do only if nothing else lacks.
fn at_least(number: usize, one: &str, many: &str) -> String {
    format!("at least {number} {}", if number == 1 { one } else { many })
}

fn who_take_turns(number: usize) -> String {
    at_least(number, "who takes turns", "who take turns")
}

fn rods_in_words(limit: usize) -> String {
    count(limit, "rod")
}

fn count(number: usize, what: &str) -> String {
    match number {
        0 => format!("no {what}"),
        1 => format!("1 {what}"),
        _ => format!("{number} {what}s"),
    }
}

/// Some of a list, and how many more there are.
fn named<'a>(ids: impl Iterator<Item = &'a str>) -> String {
    let all: Vec<&str> = ids.collect();
    let more = all.len().saturating_sub(NAMED);
    let list = all[..all.len() - more].join(", ");
    if more > 0 { format!("{list} and {more} more") } else { list }
}
