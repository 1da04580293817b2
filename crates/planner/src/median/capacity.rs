//! Sites with room for so much: a knapsack for each, and plans that keep to the room.

use super::case::{Case, Mark, Room, SCALE};
use super::dual::Place;

/// By client, the site that has to serve it.
pub(super) type Served = Vec<Option<usize>>;

/// Cells of a knapsack table; more room is counted in coarser parts, rounded so that the bound
/// holds.
const CELLS: u64 = 2_000;

/// Rounds of improvement at most.
const ROUNDS: usize = 200;

/// A client that a site may take.
struct Item {
    client: usize,
    gain: i64,
    cells: usize,
}

/// A site with what it must take and what it may take.
struct Sack {
    /// Reduced cost of what it must take.
    forced: i64,
    items: Vec<Item>,
    cells: usize,
}

fn sack(place: &Place<'_>, room: &Room, radius: &[i64], site: usize) -> Option<Sack> {
    let mut left = room.room[site];
    let mut forced = 0;
    for (client, to) in place.served.iter().enumerate() {
        if *to == Some(site) {
            left = left.checked_sub(room.demand[client])?;
            forced += place.case.cost(client, site) * SCALE - radius[client];
        }
    }
    let part = left.div_ceil(CELLS).max(1);
    let items = place
        .case
        .column(site)
        .iter()
        .enumerate()
        .filter(|(client, _)| place.served[*client].is_none() && room.demand[*client] <= left)
        .map(|(client, cost)| Item {
            client,
            gain: radius[client] - cost * SCALE,
            cells: (room.demand[client] / part) as usize,
        })
        .filter(|item| item.gain > 0)
        .collect();
    Some(Sack { forced, items, cells: (left / part) as usize })
}

impl Sack {
    /// The best gain by cells used, and, if asked for, which items take part.
    fn fill(&self, taken: Option<&mut Vec<usize>>, steps: &mut u64) -> i64 {
        let width = self.cells + 1;
        let mut best = vec![0_i64; width];
        let mut took =
            if taken.is_some() { vec![false; width * self.items.len()] } else { Vec::new() };
        for (k, item) in self.items.iter().enumerate() {
            *steps += (width - item.cells.min(width)) as u64;
            for used in (item.cells..width).rev() {
                let with = best[used - item.cells] + item.gain;
                if with > best[used] {
                    best[used] = with;
                    if let Some(mark) = took.get_mut(k * width + used) {
                        *mark = true;
                    }
                }
            }
        }
        if let Some(taken) = taken {
            let mut used = self.cells;
            for (k, item) in self.items.iter().enumerate().rev() {
                if took[k * width + used] {
                    taken.push(item.client);
                    used -= item.cells;
                }
            }
        }
        best[self.cells]
    }
}

/// Reduced costs of the sites that are not closed; `false` if one cannot hold what it must.
pub(super) fn reduce(
    place: &Place<'_>,
    marks: &[Mark],
    radius: &[i64],
    reduced: &mut [i64],
    steps: &mut u64,
) -> bool {
    let Some(room) = &place.case.room else { return true };
    for site in (0..place.case.sites).filter(|j| marks[*j] != Mark::Closed) {
        let Some(sack) = sack(place, room, radius, site) else { return false };
        *steps += place.case.clients as u64;
        reduced[site] = sack.forced - sack.fill(None, steps);
    }
    true
}

/// Who is taken by the chosen sites.
pub(super) fn count(
    place: &Place<'_>,
    radius: &[i64],
    chosen: &[usize],
    count: &mut [i32],
    taker: &mut [usize],
    steps: &mut u64,
) {
    let Some(room) = &place.case.room else { return };
    for &site in chosen {
        let Some(sack) = sack(place, room, radius, site) else { continue };
        let mut taken = Vec::new();
        sack.fill(Some(&mut taken), steps);
        for client in taken {
            count[client] += 1;
            let before = taker[client];
            let nearer = before == usize::MAX
                || place.case.cost(client, site) < place.case.cost(client, before);
            if nearer {
                taker[client] = site;
            }
        }
    }
    for (client, to) in place.served.iter().enumerate() {
        if let Some(site) = to {
            count[client] = 1;
            taker[client] = *site;
        }
    }
}

/// A plan that is being put together.
struct Draft<'a> {
    case: &'a Case,
    room: &'a Room,
    open: Vec<usize>,
    serves: Vec<usize>,
    left: Vec<u64>,
}

impl Draft<'_> {
    fn cost(&self) -> i64 {
        self.serves.iter().enumerate().map(|(i, j)| self.case.cost(i, *j)).sum()
    }

    fn put(&mut self, client: usize, site: usize) {
        self.serves[client] = site;
        self.left[site] -= self.room.demand[client];
    }

    fn shift(&mut self, client: usize, site: usize) {
        self.left[self.serves[client]] += self.room.demand[client];
        self.put(client, site);
    }

    /// Seats those who have no site, in an order; `false` if somebody finds no room.
    fn seat(&mut self, order: &[usize]) -> bool {
        for &client in order.iter() {
            if self.serves[client] != usize::MAX {
                continue;
            }
            let fits = self
                .open
                .iter()
                .copied()
                .filter(|j| self.left[*j] >= self.room.demand[client])
                .min_by_key(|j| (self.case.cost(client, *j), *j));
            let Some(site) = fits else { return false };
            self.put(client, site);
        }
        true
    }

    /// Moves clients, and exchanges pairs, as long as that helps.
    fn improve(&mut self, steps: &mut u64) {
        for _ in 0..ROUNDS {
            let mut better = false;
            for a in 0..self.case.clients {
                *steps += self.open.len() as u64;
                let now = self.case.cost(a, self.serves[a]);
                let to = self
                    .open
                    .iter()
                    .copied()
                    .filter(|j| *j != self.serves[a] && self.left[*j] >= self.room.demand[a])
                    .min_by_key(|j| (self.case.cost(a, *j), *j));
                if let Some(to) = to.filter(|to| self.case.cost(a, *to) < now) {
                    self.shift(a, to);
                    better = true;
                }
                *steps += (self.case.clients - a) as u64;
                for b in a + 1..self.case.clients {
                    better |= self.exchange(a, b);
                }
            }
            if !better {
                break;
            }
        }
    }

    fn exchange(&mut self, a: usize, b: usize) -> bool {
        let (at, bt) = (self.serves[a], self.serves[b]);
        let cost = |client, site| self.case.cost(client, site);
        if at == bt || cost(a, bt) + cost(b, at) >= cost(a, at) + cost(b, bt) {
            return false;
        }
        let (da, db) = (self.room.demand[a], self.room.demand[b]);
        if self.left[at] + da < db || self.left[bt] + db < da {
            return false;
        }
        self.left[at] = self.left[at] + da - db;
        self.left[bt] = self.left[bt] + db - da;
        self.serves[a] = bt;
        self.serves[b] = at;
        true
    }

    /// Moves each group to the site that serves it at the least cost; says whether one moved.
    fn recentre(&mut self, steps: &mut u64) -> bool {
        let mut moved = false;
        for k in 0..self.open.len() {
            let site = self.open[k];
            if self.case.keep.contains(&site) {
                continue;
            }
            let group: Vec<_> =
                (0..self.case.clients).filter(|i| self.serves[*i] == site).collect();
            let load: u64 = group.iter().map(|i| self.room.demand[*i]).sum();
            *steps += (group.len() * self.case.sites) as u64;
            let sum = |j: usize| group.iter().map(|i| self.case.cost(*i, j)).sum::<i64>();
            let to = (0..self.case.sites)
                .filter(|j| !self.open.contains(j) && self.room.room[*j] >= load)
                .min_by_key(|j| (sum(*j), *j));
            if let Some(to) = to.filter(|to| sum(*to) < sum(site)) {
                self.open[k] = to;
                self.left[site] = self.room.room[site];
                self.left[to] = self.room.room[to] - load;
                group.iter().for_each(|i| self.serves[*i] = to);
                moved = true;
            }
        }
        moved
    }
}

/// A plan for open sites that keeps to their room, starting from who was taken once by a site;
/// `None` if none was found.
pub(super) fn plan(
    case: &Case,
    chosen: &[usize],
    count: &[i32],
    taker: &[usize],
    steps: &mut u64,
) -> Option<(i64, Vec<usize>, Vec<usize>)> {
    let room = case.room.as_ref()?;
    let mut by_demand: Vec<_> = (0..case.clients).collect();
    by_demand.sort_by_key(|i| (std::cmp::Reverse(room.demand[*i]), *i));
    let mut by_regret: Vec<_> = (0..case.clients).collect();
    by_regret.sort_by_key(|i| {
        let mut costs: Vec<_> = chosen.iter().map(|j| case.cost(*i, *j)).collect();
        costs.sort_unstable();
        let regret = costs.get(1).map_or(0, |second| second - costs[0]);
        (std::cmp::Reverse(regret * room.demand[*i] as i64), *i)
    });
    *steps += (case.clients * chosen.len() * 2) as u64;
    let mut best: Option<(i64, Vec<usize>, Vec<usize>)> = None;
    for (order, from_takers) in [(&by_demand, true), (&by_regret, false), (&by_demand, false)] {
        let mut draft = Draft {
            case,
            room,
            open: chosen.to_vec(),
            serves: vec![usize::MAX; case.clients],
            left: room.room.clone(),
        };
        if from_takers {
            for client in (0..case.clients).filter(|i| count[*i] >= 1) {
                if draft.left[taker[client]] >= room.demand[client] {
                    draft.put(client, taker[client]);
                }
            }
        }
        if !draft.seat(order) {
            continue;
        }
        draft.improve(steps);
        for _ in 0..ROUNDS {
            if !draft.recentre(steps) {
                break;
            }
            draft.improve(steps);
        }
        let cost = draft.cost();
        if best.as_ref().is_none_or(|(least, ..)| cost < *least) {
            draft.open.sort_unstable();
            best = Some((cost, draft.open, draft.serves));
        }
    }
    best
}
