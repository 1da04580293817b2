//! Leaders that no plan needs: another one, of which there are enough for all outfits, does all that
//! they do at no higher cost. Of what is ample the bound counts as if there were enough.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};

use crate::grid::{Cand, Grid, Off};
use crate::worth::Selection;

/// Leaves the offers of such leaders out, but for those that a known plan ties.
pub(crate) fn leave_out(grid: &mut Grid<'_>, known: Option<&Selection>) {
    let most: usize = grid.boats.iter().map(|boat| boat.outfits).sum();
    let is_plenty: Vec<bool> = grid
        .leaders
        .iter()
        .map(|l| {
            let there = l.quantity.min(grid.leader_pools[l.pool]) as usize;
            grid.ample[l.pool] || there >= most
        })
        .collect();
    if !is_plenty.contains(&true) {
        return;
    }
    let far = brought_in_vain(grid, &is_plenty);
    let spare: Vec<Vec<usize>> =
        grid.cands.iter().map(|cand| spare(grid, cand, &is_plenty, &far)).collect();
    for (c, (cand, spare)) in grid.cands.iter_mut().zip(spare).enumerate() {
        let is_tied = |leader: usize| known.is_some_and(|s| s.leaders.contains(&(c, leader)));
        let is_spare = |leader: usize| spare.contains(&leader) && !is_tied(leader);
        cand.offers.retain(|offer| !offer.leader.is_some_and(is_spare));
    }
}

/// Offers of a candidate with a leader.
fn of(cand: &Cand, leader: usize) -> impl Iterator<Item = &Off> {
    cand.offers.iter().filter(move |offer| offer.leader == Some(leader))
}

/// Whether a candidate does with one leader, or without any, all that it does with another one.
fn does_all(cand: &Cand, better: usize, worse: usize) -> bool {
    of(cand, worse).all(|w| {
        let first = cand.offers.partition_point(|o| o.need < w.need);
        let same = cand.offers[first..].iter().take_while(|o| o.need == w.need);
        let mut others = same.filter(|o| o.leader.is_none_or(|l| l == better));
        others.any(|b| b.worth >= w.worth && (b.meets || !w.meets) && b.hands.hold(&w.hands))
    })
}

/// Leaders that are brought to a boat though another one that is brought at no higher cost does the
/// same on all of its outfits.
fn brought_in_vain(grid: &Grid<'_>, is_plenty: &[bool]) -> BTreeSet<usize> {
    let mut users: BTreeMap<usize, Vec<&Cand>> = BTreeMap::new();
    for cand in &grid.cands {
        let leaders: BTreeSet<usize> = cand.offers.iter().filter_map(|o| o.leader).collect();
        leaders.into_iter().for_each(|l| users.entry(l).or_default().push(cand));
    }
    let covers = |better: usize, worse: usize| {
        let (b, w) = (&grid.leaders[better], &grid.leaders[worse]);
        is_plenty[better]
            && (b.boat, b.aboard, w.aboard) == (w.boat, false, false)
            && b.move_cost <= w.move_cost
            && b.minutes <= w.minutes
            && users.get(&worse).is_some_and(|all| all.iter().all(|c| does_all(c, better, worse)))
    };
    let all = 0..grid.leaders.len();
    let is_vain = |worse: &usize| {
        all.clone().any(|better| {
            better != *worse
                && covers(better, *worse)
                && (better < *worse || !covers(*worse, better))
        })
    };
    all.clone().filter(is_vain).collect()
}

/// Leaders that a candidate does not need.
fn spare(grid: &Grid<'_>, cand: &Cand, is_plenty: &[bool], far: &BTreeSet<usize>) -> Vec<usize> {
    let mut leaders: Vec<usize> = cand.offers.iter().filter_map(|offer| offer.leader).collect();
    leaders.sort_unstable();
    leaders.dedup();
    let covers = |better: usize, worse: usize| {
        is_plenty[better]
            && grid.leaders[better].aboard
            && grid.leaders[better].minutes <= grid.leaders[worse].minutes
            && does_all(cand, better, worse)
    };
    // Of two that do the same the one stays that is preferred for more needs.
    let preferred = |leader: usize| of(cand, leader).filter(|offer| offer.preferred).count();
    let usual = |leader: usize| (Reverse(preferred(leader)), leader);
    let is_spare = |worse: &usize| {
        far.contains(worse)
            || leaders.iter().any(|better| {
                better != worse
                    && covers(*better, *worse)
                    && (usual(*better) < usual(*worse) || !covers(*worse, *better))
            })
    };
    leaders.iter().copied().filter(is_spare).collect()
}
