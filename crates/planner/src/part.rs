//! A part of a search: some boats plan anew over some candidates, while the others keep what they
//! have.

use crate::grid::{Grid, Wanted};
use crate::worth::Selection;

/// The boats that plan anew, as a grid of its own, with all positions but those of candidates.
pub(crate) struct Part<'a> {
    pub(crate) grid: Grid<'a>,
    /// By candidate of the part, its position in the whole.
    cands: Vec<usize>,
    boats: Vec<bool>,
}

impl<'a> Part<'a> {
    /// The boats that are named, over those of `kept` that nothing of the others is in the way of,
    /// in the order in which they promise most, and not more than `most` besides what they have.
    pub(crate) fn of(
        grid: &Grid<'a>,
        boats: &[usize],
        kept: impl Iterator<Item = usize>,
        most: usize,
        known: &Selection,
    ) -> Self {
        let is_open: Vec<bool> = (0..grid.boats.len()).map(|b| boats.contains(&b)).collect();
        let of_open = |c: usize| is_open[grid.cands[c].boat];
        let (own, others): (Vec<usize>, Vec<usize>) =
            known.outfits.iter().copied().partition(|c| of_open(*c));
        let (mut rods, mut reels) = (vec![false; grid.rods.len()], vec![false; grid.reels.len()]);
        for c in &others {
            (rods[grid.cands[*c].rod], reels[grid.cands[*c].reel]) = (true, true);
        }
        let is_free = |c: &usize| {
            let cand = &grid.cands[*c];
            of_open(*c) && !rods[cand.rod] && !reels[cand.reel]
        };
        let mut cands: Vec<usize> =
            kept.filter(is_free).filter(|c| !own.contains(c)).take(most).collect();
        cands.extend(&own);
        cands.sort_unstable();
        let of_boat = |wanted: &&Wanted| is_open[wanted.boat];
        let boat_of = |need: usize| grid.lures[grid.needs[need].lure].boat;
        let mut part = Grid {
            candidates: grid.candidates,
            problem: grid.problem,
            weights: grid.weights.clone(),
            boats: grid.boats.clone(),
            one_reel: grid.one_reel,
            rods: grid.rods.clone(),
            reels: grid.reels.clone(),
            leaders: grid.leaders.clone(),
            lines: grid.lines.clone(),
            lures: grid.lures.clone(),
            leader_pools: grid.leader_pools.clone(),
            // What a part is worth bounds no plan.
            ample: vec![false; grid.leader_pools.len()],
            line_pools: grid.line_pools.clone(),
            lure_pools: grid.lure_pools.clone(),
            leader_ids: grid.leader_ids.clone(),
            line_ids: grid.line_ids.clone(),
            lure_ids: grid.lure_ids.clone(),
            crews: grid.crews.clone(),
            skills: grid.skills.clone(),
            needs: grid.needs.clone(),
            cands: cands.iter().map(|c| grid.cands[*c].clone()).collect(),
            wanted: grid.wanted.iter().filter(of_boat).copied().collect(),
            held: grid.held.iter().copied().filter(|need| is_open[boat_of(*need)]).collect(),
            elsewhere: std::collections::BTreeMap::new(),
        };
        for (segment, crew) in part.crews.iter_mut().enumerate() {
            let mut of_segment =
                (0..grid.needs.len()).filter(|n| grid.needs[*n].segment == segment);
            if of_segment.next().is_none_or(|need| !is_open[boat_of(need)]) {
                crew.clear();
            }
        }
        // What the others use is gone.
        for (c, leader) in &known.leaders {
            if !of_open(*c) {
                let left = &mut part.leader_pools[grid.leaders[*leader].pool];
                *left = left.saturating_sub(1);
            }
        }
        for (stock, metres) in others.iter().filter_map(|c| grid.cands[*c].stock) {
            let left = &mut part.line_pools[grid.lines[stock].pool];
            *left = left.saturating_sub(metres);
        }
        for (at, lure) in grid.lures.iter().enumerate().filter(|(_, l)| !is_open[l.boat]) {
            if known.lures[at] {
                let left = &mut part.lure_pools[lure.pool];
                *left = left.saturating_sub(lure.quantity);
            }
            part.lures[at].quantity = 0;
        }
        Self { grid: part, cands, boats: is_open }
    }

    /// What the boats of the part have of a selection.
    pub(crate) fn of_whole(&self, known: &Selection) -> Selection {
        let at = |c: &usize| self.cands.binary_search(c).ok();
        let ties = known.leaders.iter().filter_map(|(c, l)| Some((at(c)?, *l)));
        let lures = self.grid.lures.iter().zip(&known.lures);
        Selection {
            outfits: known.outfits.iter().filter_map(at).collect(),
            leaders: ties.collect(),
            lures: lures.map(|(lure, taken)| self.boats[lure.boat] && *taken).collect(),
        }
    }

    /// A selection in which the boats of the part take another one.
    pub(crate) fn in_whole(
        &self,
        grid: &Grid<'_>,
        known: &Selection,
        new: &Selection,
    ) -> Selection {
        let stays = |c: &usize| !self.boats[grid.cands[*c].boat];
        let mut outfits: Vec<usize> = known.outfits.iter().copied().filter(stays).collect();
        outfits.extend(new.outfits.iter().map(|c| self.cands[*c]));
        outfits.sort_unstable();
        let others = known.leaders.iter().copied().filter(|(c, _)| stays(c));
        let leaders = others.chain(new.leaders.iter().map(|(c, l)| (self.cands[*c], *l))).collect();
        let lures = grid.lures.iter().enumerate();
        let lures = lures.map(|(at, lure)| {
            let of = if self.boats[lure.boat] { new } else { known };
            of.lures[at]
        });
        Selection { outfits, leaders, lures: lures.collect() }
    }
}
