//! Exchanges among all candidates: what each brings in the place of one that is aboard, and what is
//! brought to the boat that loses a rod or a reel to it. Most of them are only reckoned by the needs
//! that they change; the most promising ones are counted in full.

use std::cmp::Reverse;

use crate::grid::Grid;
use crate::incumbent::{self, Ranked};
use crate::watch::Watch;
use crate::weights::{Micros, ONE};
use crate::worth;

/// Exchanges that are counted in full at a time; of those that help the best is made.
const COUNTED: usize = 12;
/// How many times so many are counted before the rest is given up.
const TIMES: usize = 5;
/// Exchanges that take from another boat, for which what that boat gets instead is looked for.
const TAKEN: usize = 24;
/// A leader is reckoned with where a third of what it adds is more than the time to tie it costs:
/// others do a part of it as well. From memory.
const LEADER_PART: f64 = 0.33;

/// What a candidate does for a need.
#[derive(Clone, Copy)]
struct Serves {
    need: usize,
    worth: f64,
    meets: bool,
}

/// A candidate as it is reckoned.
struct Entry {
    cand: usize,
    cost: f64,
    minutes: f64,
    serves: Vec<Serves>,
}

/// What a boat's needs come to without some of its outfits.
struct Left {
    /// By need, the worths of those that serve it, the best first, as many as count.
    tops: Vec<Vec<f64>>,
    value: Vec<f64>,
    met: Vec<usize>,
    minutes: f64,
    /// What is lost against all of them.
    lost: f64,
}

/// An exchange, and what it is reckoned to bring.
struct Step {
    gain: f64,
    outfits: Vec<usize>,
}

pub(crate) struct Exchanges<'a, 'b> {
    grid: &'a Grid<'b>,
    entries: Vec<Entry>,
    /// The same without leaders: there may be none left.
    bare: Vec<Entry>,
    /// By candidate of the grid.
    at: Vec<Option<usize>>,
    by_boat: Vec<Vec<usize>>,
    needs_of: Vec<Vec<usize>>,
    /// By need and share, what a unit of worth brings.
    shares: Vec<Vec<f64>>,
    hold: Vec<f64>,
}

impl<'a, 'b> Exchanges<'a, 'b> {
    /// Exchanges among candidates.
    pub(crate) fn among(grid: &'a Grid<'b>, kept: &[usize]) -> Self {
        let mut at = vec![None; grid.cands.len()];
        let mut by_boat = vec![Vec::new(); grid.boats.len()];
        for (entry, c) in kept.iter().enumerate() {
            at[*c] = Some(entry);
            by_boat[grid.cands[*c].boat].push(entry);
        }
        let mut needs_of = vec![Vec::new(); grid.boats.len()];
        for (n, need) in grid.needs.iter().enumerate() {
            needs_of[grid.lures[need.lure].boat].push(n);
        }
        let unit =
            |importance: u32, share: &Micros| f64::from(importance) * *share as f64 / ONE as f64;
        let needs = grid.needs.iter();
        let shares = needs.map(|n| n.shares.iter().map(|s| unit(n.importance, s)).collect());
        let hold = |n: &crate::grid::Demand| if n.holdable { n.shortfall as f64 } else { 0.0 };
        let mut new = Self {
            grid,
            entries: Vec::new(),
            bare: Vec::new(),
            at,
            by_boat,
            needs_of,
            shares: shares.collect(),
            hold: grid.needs.iter().map(hold).collect(),
        };
        new.entries = kept.iter().map(|c| new.entry(*c, true)).collect();
        if !grid.leaders.is_empty() {
            new.bare = kept.iter().map(|c| new.entry(*c, false)).collect();
        }
        new
    }

    fn entry(&self, c: usize, tied: bool) -> Entry {
        let grid = self.grid;
        let cand = &grid.cands[c];
        let first = |need: usize| self.shares[need].first().copied().unwrap_or(0.0);
        // What each leader adds to what the outfit does without.
        let mut adds: Vec<(usize, f64)> = Vec::new();
        let bare = |need: usize| {
            let start = cand.offers.partition_point(|o| o.need < need);
            let own = cand.offers[start..].iter().take_while(|o| o.need == need);
            own.filter(|o| o.leader.is_none()).map(|o| (o.worth, o.meets)).max()
        };
        let asked: Vec<usize> = worth::best_leaders(cand, |_| tied).collect();
        for offer in &cand.offers {
            let Some(leader) = offer.leader.filter(|l| asked.contains(l)) else { continue };
            let (worth, met) = bare(offer.need).unwrap_or((0, false));
            let hold = if offer.meets && !met { self.hold[offer.need] } else { 0.0 };
            let more = first(offer.need) * (offer.worth - worth).max(0) as f64 + hold;
            match adds.iter_mut().find(|(known, _)| *known == leader) {
                Some((_, sum)) => *sum += more,
                None => adds.push((leader, more)),
            }
        }
        let price = grid.weights.job_minute as f64;
        let minutes = |leader: usize| f64::from(grid.leaders[leader].minutes);
        adds.retain(|(leader, more)| more * LEADER_PART > minutes(*leader) * price);
        let mut serves: Vec<Serves> = Vec::new();
        for offer in &cand.offers {
            if offer.leader.is_some_and(|l| !adds.iter().any(|(known, _)| *known == l)) {
                continue;
            }
            let (worth, meets) = (offer.worth as f64, offer.meets);
            match serves.last_mut().filter(|last| last.need == offer.need) {
                Some(last) => {
                    last.worth = last.worth.max(worth);
                    last.meets |= meets;
                }
                None => serves.push(Serves { need: offer.need, worth, meets }),
            }
        }
        let weights = &grid.weights;
        let cost =
            cand.move_cost + weights.outfit_tie + Micros::from(cand.moves) * weights.move_tie;
        let tied: f64 = adds.iter().map(|(leader, _)| minutes(*leader)).sum();
        let minutes = f64::from(cand.minutes) + tied;
        Entry { cand: c, cost: cost as f64, minutes, serves }
    }

    fn late(&self, boat: usize, minutes: f64) -> f64 {
        let budget = f64::from(self.grid.boats[boat].job_minutes);
        (minutes - budget).max(0.0) * self.grid.weights.job_minute as f64
    }

    /// What a boat is left with of its outfits, without some of them.
    fn without(&self, boat: usize, outfits: &[usize], gone: &[usize]) -> Left {
        let count = self.grid.needs.len();
        let mut left = Left {
            tops: vec![Vec::new(); count],
            value: vec![0.0; count],
            met: vec![0; count],
            minutes: 0.0,
            lost: 0.0,
        };
        let stay = outfits.iter().filter(|c| !gone.contains(c));
        for entry in stay.filter_map(|c| self.at[*c]).map(|at| &self.entries[at]) {
            left.minutes += entry.minutes;
            for s in &entry.serves {
                left.tops[s.need].push(s.worth);
                left.met[s.need] += usize::from(s.meets);
            }
        }
        for &n in &self.needs_of[boat] {
            let (tops, shares) = (&mut left.tops[n], &self.shares[n]);
            tops.sort_by(|a, b| b.total_cmp(a));
            tops.resize(shares.len(), 0.0);
            let worth: f64 = tops.iter().zip(shares).map(|(worth, share)| worth * share).sum();
            let met = left.met[n] >= self.grid.needs[n].copies as usize;
            left.value[n] = worth + if met { self.hold[n] } else { 0.0 };
        }
        left
    }

    fn total(&self, boat: usize, left: &Left) -> f64 {
        self.needs_of[boat].iter().map(|n| left.value[*n]).sum::<f64>()
            - self.late(boat, left.minutes)
    }

    /// What a candidate brings to what is left.
    fn gain(&self, boat: usize, left: &Left, entry: &Entry) -> f64 {
        let mut gain = -entry.cost + self.late(boat, left.minutes)
            - self.late(boat, left.minutes + entry.minutes);
        for s in &entry.serves {
            let (mut worth, mut sum) = (s.worth, 0.0);
            for (top, share) in left.tops[s.need].iter().zip(&self.shares[s.need]) {
                sum += share * top.max(worth);
                worth = top.min(worth);
            }
            let copies = self.grid.needs[s.need].copies as usize;
            if left.met[s.need] + usize::from(s.meets) >= copies {
                sum += self.hold[s.need];
            }
            gain += sum - left.value[s.need];
        }
        gain
    }

    fn cost(&self, c: usize) -> f64 {
        self.at[c].map_or(0.0, |at| self.entries[at].cost)
    }

    /// The best that a boat can add to outfits of all boats; `None`: it has no room, or nothing
    /// helps.
    fn filler(&self, boat: usize, outfits: &[usize], barred: usize) -> Option<(f64, usize)> {
        let grid = self.grid;
        let own: Vec<usize> =
            outfits.iter().copied().filter(|c| grid.cands[*c].boat == boat).collect();
        if own.len() >= grid.boats[boat].outfits {
            return None;
        }
        let left = self.without(boat, &own, &[]);
        let mut best: Option<(f64, usize)> = None;
        for entry in self.by_boat[boat].iter().map(|at| &self.entries[*at]) {
            let taken = outfits.iter().any(|o| grid.exclusive(*o, entry.cand));
            if taken || entry.cand == barred {
                continue;
            }
            let gain = self.gain(boat, &left, entry);
            if gain > best.map_or(0.0, |(most, _)| most) {
                best = Some((gain, entry.cand));
            }
        }
        best
    }

    /// The most promising exchanges, the best first; what is new is reckoned by these entries.
    fn steps(&self, outfits: &[usize], entries: &[Entry]) -> Vec<Step> {
        let grid = self.grid;
        let mut rod_of: Vec<Option<usize>> = vec![None; grid.rods.len()];
        let mut reel_of: Vec<Option<usize>> = vec![None; grid.reels.len()];
        for &c in outfits {
            rod_of[grid.cands[c].rod] = Some(c);
            reel_of[grid.cands[c].reel] = Some(c);
        }
        // What a boat loses with one of its outfits, by outfit.
        let own: Vec<Vec<usize>> = (0..grid.boats.len())
            .map(|b| outfits.iter().copied().filter(|c| grid.cands[*c].boat == b).collect())
            .collect();
        let all: Vec<f64> =
            (0..own.len()).map(|b| self.total(b, &self.without(b, &own[b], &[]))).collect();
        let lefts = |b: usize, gone: &[usize]| {
            let mut left = self.without(b, &own[b], gone);
            let saved: f64 = gone.iter().map(|c| self.cost(*c)).sum();
            left.lost = all[b] - self.total(b, &left) - saved;
            left
        };
        let singles: Vec<Vec<Left>> =
            (0..own.len()).map(|b| own[b].iter().map(|c| lefts(b, &[*c])).collect()).collect();
        let lost = |c: usize| {
            let boat = grid.cands[c].boat;
            own[boat].iter().position(|o| *o == c).map_or(0.0, |at| singles[boat][at].lost)
        };
        // Gain, the new one, what goes with it.
        let mut found: Vec<(f64, usize, Vec<usize>)> = Vec::new();
        let mut taking: Vec<(f64, usize, Vec<usize>)> = Vec::new();
        for (boat, aboard) in own.iter().enumerate() {
            let full = aboard.len() >= grid.boats[boat].outfits;
            let whole = lefts(boat, &[]);
            let mut pairs: Vec<((usize, usize), Left)> = Vec::new();
            for (at, gone) in singles[boat].iter().zip(aboard) {
                if at.lost < 0.0 {
                    found.push((-at.lost, *gone, vec![*gone]));
                }
            }
            for entry in self.by_boat[boat].iter().map(|at| &entries[*at]) {
                let cand = &grid.cands[entry.cand];
                if aboard.contains(&entry.cand) {
                    continue;
                }
                let mut gone: Vec<usize> =
                    [rod_of[cand.rod], reel_of[cand.reel]].into_iter().flatten().collect();
                gone.sort_unstable();
                gone.dedup();
                let (mine, others): (Vec<usize>, Vec<usize>) =
                    gone.into_iter().partition(|c| grid.cands[*c].boat == boat);
                let best = match mine[..] {
                    [] => {
                        let none = (!full).then(|| (self.gain(boat, &whole, entry), None));
                        let one = singles[boat]
                            .iter()
                            .zip(aboard)
                            .map(|(left, c)| (self.gain(boat, left, entry) - left.lost, Some(*c)));
                        let each = none.into_iter().chain(one);
                        each.reduce(|a, b| if b.0 > a.0 { b } else { a })
                    }
                    [only] => {
                        let at = aboard.iter().position(|c| *c == only).unwrap_or(0);
                        let left = &singles[boat][at];
                        Some((self.gain(boat, left, entry) - left.lost, None))
                    }
                    [a, b, ..] => {
                        if !pairs.iter().any(|(known, _)| *known == (a, b)) {
                            pairs.push(((a, b), lefts(boat, &[a, b])));
                        }
                        let left = pairs.iter().find(|(known, _)| *known == (a, b));
                        left.map(|(_, left)| (self.gain(boat, left, entry) - left.lost, None))
                    }
                };
                let Some((gain, dropped)) = best else { continue };
                let gone: Vec<usize> = mine.into_iter().chain(dropped).collect();
                match others.is_empty() {
                    true => found.push((gain, entry.cand, gone)),
                    false => {
                        let gone = gone.into_iter().chain(others).collect();
                        taking.push((gain, entry.cand, gone));
                    }
                }
            }
        }
        let rank = |list: &mut Vec<(f64, usize, Vec<usize>)>, most: usize| {
            list.sort_by(|a, b| b.0.total_cmp(&a.0).then((a.1, &a.2).cmp(&(b.1, &b.2))));
            list.truncate(most);
        };
        rank(&mut found, COUNTED * TIMES);
        // What is taken from others is made good as far as it can be.
        rank(&mut taking, TAKEN);
        let mut steps: Vec<Step> = Vec::new();
        for (gain, new, gone) in found {
            let mut next: Vec<usize> =
                outfits.iter().copied().filter(|c| !gone.contains(c)).collect();
            if !gone.contains(&new) {
                next.push(new);
            }
            next.sort_unstable();
            steps.push(Step { gain, outfits: next });
        }
        for (mut gain, new, gone) in taking {
            let mut next: Vec<usize> =
                outfits.iter().copied().filter(|c| !gone.contains(c)).chain([new]).collect();
            for &c in gone.iter().filter(|c| grid.cands[**c].boat != grid.cands[new].boat) {
                gain -= lost(c);
                if let Some((more, filler)) = self.filler(grid.cands[c].boat, &next, c) {
                    gain += more;
                    next.push(filler);
                }
            }
            next.sort_unstable();
            steps.push(Step { gain, outfits: next });
        }
        steps.sort_by(|a, b| b.gain.total_cmp(&a.gain).then(a.outfits.cmp(&b.outfits)));
        steps.truncate(COUNTED * TIMES);
        steps
    }

    /// Exchanges until none of those that are counted in full helps.
    pub(crate) fn climb(&self, start: Ranked, watch: &Watch<'_>) -> Ranked {
        self.climb_by(&[&self.entries], start, watch)
    }

    /// The same, and then with what is new as it is without leaders, where others took them all.
    pub(crate) fn climb_on(&self, start: Ranked, watch: &Watch<'_>) -> Ranked {
        self.climb_by(&[&self.entries, &self.bare], start, watch)
    }

    fn climb_by(&self, ways: &[&Vec<Entry>], start: Ranked, watch: &Watch<'_>) -> Ranked {
        let mut best = start;
        while !watch.is_over() {
            let mut ways = ways.iter().filter(|entries| !entries.is_empty());
            let better = ways.find_map(|entries| {
                let steps = self.steps(&best.outfits, entries);
                steps.chunks(COUNTED).find_map(|some| {
                    let each = some.iter().map(|step| step.outfits.clone());
                    let ranked = each.filter_map(|outfits| incumbent::rank(self.grid, outfits));
                    let top = ranked.min_by_key(|next| Reverse(next.rank))?;
                    (top.rank > best.rank).then_some(top)
                })
            });
            match better {
                Some(next) => best = next,
                None => break,
            }
        }
        best
    }

    /// Of candidates of one boat as many as are wanted, those that are reckoned to add most to its
    /// outfits.
    pub(crate) fn most_adding(&self, outfits: &[usize], of: &[usize], wanted: usize) -> Vec<usize> {
        let Some(first) = of.first().filter(|_| of.len() > wanted) else { return of.to_vec() };
        let boat = self.grid.cands[*first].boat;
        let left = self.without(boat, outfits, &[]);
        let entries = of.iter().filter_map(|c| self.at[*c]).map(|at| &self.entries[at]);
        let mut gains: Vec<(f64, usize)> =
            entries.map(|entry| (self.gain(boat, &left, entry), entry.cand)).collect();
        gains.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        gains.into_iter().take(wanted).map(|(_, cand)| cand).collect()
    }

    /// Outfits that seat everybody and keep the pins, filled up with those that are reckoned to add
    /// most; `None` if one at a time does not lead there.
    pub(crate) fn greedy(&self) -> Option<Ranked> {
        let boats = 0..self.grid.boats.len();
        let nothing: Vec<Left> = boats.clone().map(|b| self.without(b, &[], &[])).collect();
        let gain = |entry: &Entry| {
            let boat = self.grid.cands[entry.cand].boat;
            self.gain(boat, &nothing[boat], entry)
        };
        let mut gains: Vec<(f64, usize)> =
            self.entries.iter().map(|entry| (gain(entry), entry.cand)).collect();
        gains.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        let order: Vec<usize> = gains.into_iter().map(|(_, cand)| cand).collect();
        let mut best = incumbent::rank(self.grid, incumbent::seated(self.grid, &order)?)?;
        for boat in boats {
            let more = self.fillers(boat, &best.outfits);
            let mut take = |new: &[usize]| {
                let mut next = best.outfits.clone();
                next.extend(new);
                next.sort_unstable();
                let next = incumbent::rank(self.grid, next).filter(|next| next.rank > best.rank);
                let is_better = next.is_some();
                next.into_iter().for_each(|next| best = next);
                is_better
            };
            // All of them may use up what somebody's outfit cannot do without.
            if !take(&more) {
                more.iter().for_each(|new| {
                    take(&[*new]);
                });
            }
        }
        Some(best)
    }

    /// What a boat can add to outfits of all boats, one after the other.
    fn fillers(&self, boat: usize, outfits: &[usize]) -> Vec<usize> {
        let mut next = outfits.to_vec();
        while let Some((_, new)) = self.filler(boat, &next, usize::MAX) {
            next.push(new);
        }
        next.split_off(outfits.len())
    }

    /// Outfits without some of them, filled up again.
    pub(crate) fn refill(&self, outfits: &[usize], gone: &[usize]) -> Vec<usize> {
        let mut next: Vec<usize> = outfits.iter().copied().filter(|c| !gone.contains(c)).collect();
        for boat in 0..self.grid.boats.len() {
            next.extend(self.fillers(boat, &next));
        }
        next.sort_unstable();
        next
    }
}
