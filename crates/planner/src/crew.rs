//! Who fishes what at once: a flow from anglers over outfits to lures, and, where it does not
//! come through, the cut that says why.

use std::collections::VecDeque;

use crate::grid::Grid;
use crate::worth::Selection;

/// One angler's start in a segment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Seat {
    pub(crate) segment: usize,
    pub(crate) angler: usize,
    pub(crate) cand: usize,
    pub(crate) need: usize,
}

/// Why not everybody can fish: these anglers, outside these needs, lack outfits. Every plan must
/// keep: anglers <= sum over `needs` of lures taken + outfits of use to the anglers elsewhere.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Cut {
    pub(crate) segment: usize,
    pub(crate) anglers: Vec<usize>,
    pub(crate) needs: Vec<usize>,
}

/// Seats for as many as can be, and the cuts of the segments where somebody has none.
#[derive(Debug)]
pub(crate) struct Crew {
    pub(crate) seats: Vec<Seat>,
    pub(crate) cuts: Vec<Cut>,
    /// Anglers without an outfit, over all segments.
    pub(crate) unseated: u32,
}

struct Network {
    capacity: Vec<Vec<u32>>,
    /// Nodes in the order in which they are tried.
    order: Vec<Vec<usize>>,
}

impl Network {
    fn new(nodes: usize) -> Self {
        Self { capacity: vec![vec![0; nodes]; nodes], order: vec![Vec::new(); nodes] }
    }

    fn arc(&mut self, from: usize, to: usize, capacity: u32) {
        self.capacity[from][to] += capacity;
        self.order[from].push(to);
        self.order[to].push(from);
    }

    /// Predecessors of all nodes that can still be reached from node 0.
    fn reach(&self) -> Vec<Option<usize>> {
        let mut from = vec![None; self.capacity.len()];
        from[0] = Some(0);
        let mut queue = VecDeque::from([0]);
        while let Some(node) = queue.pop_front() {
            for &next in &self.order[node] {
                if from[next].is_none() && self.capacity[node][next] > 0 {
                    from[next] = Some(node);
                    queue.push_back(next);
                }
            }
        }
        from
    }

    /// Sends units from node 0 to node 1 until no more pass; returns how many passed.
    fn fill(&mut self) -> u32 {
        let mut sent = 0;
        loop {
            let from = self.reach();
            if from[1].is_none() {
                return sent;
            }
            let mut node = 1;
            while let Some(previous) = from[node].filter(|_| node != 0) {
                self.capacity[previous][node] -= 1;
                self.capacity[node][previous] += 1;
                node = previous;
            }
            sent += 1;
        }
    }
}

/// Seats the anglers of all segments.
pub(crate) fn seat(grid: &Grid<'_>, selection: &Selection) -> Crew {
    let mut crew = Crew { seats: Vec::new(), cuts: Vec::new(), unseated: 0 };
    for segment in 0..grid.crews.len() {
        if !grid.crews[segment].is_empty() {
            seat_segment(grid, selection, segment, &mut crew);
        }
    }
    crew
}

fn seat_segment(grid: &Grid<'_>, selection: &Selection, segment: usize, crew: &mut Crew) {
    let anglers = &grid.crews[segment];
    let needs: Vec<_> =
        (0..grid.needs.len()).filter(|n| grid.needs[*n].segment == segment).collect();
    let outfits = &selection.outfits;
    let angler_at = 2;
    let in_at = angler_at + anglers.len();
    let out_at = in_at + outfits.len();
    let need_at = out_at + outfits.len();
    let mut net = Network::new(need_at + needs.len());

    // Best offers first: an early path takes them.
    let mut usable = Vec::new();
    for (o, &cand) in outfits.iter().enumerate() {
        for (n, &need) in needs.iter().enumerate() {
            let offers = grid.cands[cand].offers.iter().filter(|offer| {
                offer.need == need
                    && offer.meets
                    && offer.leader.is_none_or(|l| selection.leaders.contains(&(cand, l)))
            });
            if let Some(best) = offers.max_by(|a, b| a.score.total_cmp(&b.score)) {
                usable.push((o, n, best.worth, best.score));
            }
        }
    }
    usable
        .sort_by(|a, b| b.2.cmp(&a.2).then(b.3.total_cmp(&a.3)).then((a.0, a.1).cmp(&(b.0, b.1))));
    for (a, _) in anglers.iter().enumerate() {
        net.arc(0, angler_at + a, 1);
    }
    let mut by_rank: Vec<usize> = Vec::new();
    for (o, ..) in &usable {
        if !by_rank.contains(o) {
            by_rank.push(*o);
        }
    }
    for (a, &angler) in anglers.iter().enumerate() {
        for &o in &by_rank {
            if grid.cands[outfits[o]].suits[angler] {
                net.arc(angler_at + a, in_at + o, 1);
            }
        }
    }
    for &o in &by_rank {
        net.arc(in_at + o, out_at + o, 1);
    }
    let many = anglers.len() as u32;
    for (o, n, ..) in &usable {
        net.arc(out_at + o, need_at + n, many);
    }
    // The most important lures are begun with, as often as they are asked for at once; then
    // whatever seats somebody. What is sent stays sent, so the later rounds take nothing away.
    let mut seated = 0;
    for (n, _) in needs.iter().enumerate() {
        net.arc(need_at + n, 1, 0);
    }
    let mut importances: Vec<u32> = needs.iter().map(|&n| grid.needs[n].importance).collect();
    importances.sort_unstable_by(|a, b| b.cmp(a));
    importances.dedup();
    for importance in importances.into_iter().map(Some).chain([None]) {
        for (n, &need) in needs.iter().enumerate() {
            let need = &grid.needs[need];
            if !selection.lures[need.lure] {
                continue;
            }
            let most = grid.lures[need.lure].quantity.min(many);
            let asked = need.copies.min(most);
            if importance.is_none() {
                net.capacity[need_at + n][1] += most - asked;
            } else if importance == Some(need.importance) {
                net.capacity[need_at + n][1] += asked;
            }
        }
        seated += net.fill();
    }
    if seated < many {
        crew.unseated += many - seated;
        let from = net.reach();
        crew.cuts.push(Cut {
            segment,
            anglers: (0..anglers.len())
                .filter(|a| from[angler_at + a].is_some())
                .map(|a| anglers[a])
                .collect(),
            needs: (0..needs.len())
                .filter(|n| from[need_at + n].is_some())
                .map(|n| needs[n])
                .collect(),
        });
    }
    for (a, &angler) in anglers.iter().enumerate() {
        let outfit = by_rank.iter().find(|o| net.capacity[in_at + **o][angler_at + a] > 0);
        let need = outfit
            .and_then(|o| (0..needs.len()).find(|n| net.capacity[need_at + n][out_at + o] > 0));
        if let (Some(&o), Some(n)) = (outfit, need) {
            crew.seats.push(Seat { segment, angler, cand: outfits[o], need: needs[n] });
        }
    }
}
