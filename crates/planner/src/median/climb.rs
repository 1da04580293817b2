//! A good plan before the search, without capacities: add the best site, then exchange.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use super::case::Case;
use super::meter::Meter;

/// Exchanges at most; each one improves the plan, so few are ever needed.
const ROUNDS: usize = 1_000;

/// Adds the site that saves most until enough are open (lazily: what a site saves only falls).
pub(super) fn greedy(case: &Case, meter: &mut Meter<'_>) -> Vec<usize> {
    let mut nearest = vec![i64::MAX; case.clients];
    let mut open = Vec::new();
    let take = |site: usize, nearest: &mut [i64], open: &mut Vec<usize>| {
        for (near, cost) in nearest.iter_mut().zip(case.column(site)) {
            *near = (*near).min(*cost);
        }
        open.push(site);
    };
    for &site in &case.keep {
        take(site, &mut nearest, &mut open);
    }
    let mut heap: BinaryHeap<(i64, Reverse<usize>, usize)> = BinaryHeap::new();
    if open.is_empty() {
        let best = (0..case.sites).min_by_key(|j| (case.column(*j).iter().sum::<i64>(), *j));
        take(best.unwrap_or(0), &mut nearest, &mut open);
        meter.steps += (case.clients * case.sites) as u64;
    }
    for site in (0..case.sites).filter(|j| !open.contains(j)) {
        heap.push((i64::MAX, Reverse(site), 0));
    }
    while open.len() < case.open {
        let Some((_, Reverse(site), seen)) = heap.pop() else { break };
        if seen == open.len() {
            take(site, &mut nearest, &mut open);
            continue;
        }
        meter.steps += case.clients as u64;
        let saved =
            nearest.iter().zip(case.column(site)).map(|(near, cost)| (near - cost).max(0)).sum();
        heap.push((saved, Reverse(site), open.len()));
    }
    open.sort_unstable();
    open
}

/// The nearest and the second-nearest open site of each client.
pub(super) struct Nearest {
    pub(super) first: Vec<(i64, usize)>,
    pub(super) second: Vec<i64>,
}

impl Nearest {
    pub(super) fn new(case: &Case, open: &[usize]) -> Self {
        let mut first = vec![(i64::MAX, usize::MAX); case.clients];
        let mut second = vec![i64::MAX; case.clients];
        for &site in open {
            for (i, cost) in case.column(site).iter().enumerate() {
                if *cost < first[i].0 {
                    second[i] = first[i].0;
                    first[i] = (*cost, site);
                } else if *cost < second[i] {
                    second[i] = *cost;
                }
            }
        }
        Self { first, second }
    }

    pub(super) fn cost(&self) -> i64 {
        self.first.iter().map(|(cost, _)| cost).sum()
    }
}

/// Exchanges one open site for a closed one as long as that helps, the best exchange first.
/// Returns the cost.
pub(super) fn exchange(case: &Case, open: &mut Vec<usize>, meter: &mut Meter<'_>) -> i64 {
    let mut is_open = vec![false; case.sites];
    open.iter().for_each(|site| is_open[*site] = true);
    let may_close: Vec<bool> = (0..case.sites).map(|j| !case.keep.contains(&j)).collect();
    let mut near = Nearest::new(case, open);
    let mut loss = vec![0_i64; case.sites];
    for _ in 0..ROUNDS {
        if meter.is_over() {
            break;
        }
        meter.steps += (case.clients * (case.sites + open.len())) as u64;
        let mut best = (0, 0, 0);
        for enter in (0..case.sites).filter(|j| !is_open[*j]) {
            open.iter().for_each(|site| loss[*site] = 0);
            let mut gain = 0;
            for (i, cost) in case.column(enter).iter().enumerate() {
                let (nearest, site) = near.first[i];
                if *cost < nearest {
                    gain += nearest - cost;
                } else {
                    loss[site] += (*cost).min(near.second[i]) - nearest;
                }
            }
            let leave = open.iter().filter(|j| may_close[**j]).min_by_key(|j| (loss[**j], **j));
            let Some(&leave) = leave else { continue };
            if gain - loss[leave] > best.0 {
                best = (gain - loss[leave], enter, leave);
            }
        }
        let (gain, enter, leave) = best;
        if gain == 0 {
            break;
        }
        is_open[enter] = true;
        is_open[leave] = false;
        open.retain(|site| *site != leave);
        open.insert(open.partition_point(|site| *site < enter), enter);
        near = Nearest::new(case, open);
    }
    near.cost()
}
