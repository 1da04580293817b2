//! The tree: sites open or closed, and with capacities who serves whom.

use std::collections::BTreeMap;
use std::rc::Rc;

use super::capacity::{self, Served};
use super::case::{Case, Mark, Reach, SCALE};
use super::climb::{self, Nearest};
use super::dual::{self, Eval, Pace, Place, Relaxed};
use super::meter::Meter;
use super::{MedianAnswer, MedianPlan};
use crate::plan::Status;

/// Runs of the bound at the root; each begins with what the last one fixed.
const ROOT_RUNS: u32 = 6;
const ROOT_ITERATIONS: u32 = 400;
const NODE_ITERATIONS: u32 = 60;
/// Bytes that open nodes may take together before the search goes deep first.
const OPEN_BYTES: usize = 200_000_000;

/// The best plan known.
#[derive(Clone, Debug)]
pub(super) struct Best {
    /// Its cost; none is known: one more than any plan costs.
    cost: i64,
    open: Vec<usize>,
    serves: Vec<usize>,
}

impl Best {
    fn new(case: &Case) -> Self {
        Self { cost: case.dearest() + 1, open: Vec::new(), serves: Vec::new() }
    }

    fn known(&self) -> bool {
        !self.open.is_empty()
    }

    /// A better plan costs no more than this, in parts of a unit.
    pub(super) fn limit(&self) -> i64 {
        (self.cost - 1) * SCALE
    }

    /// What the bound is moved towards.
    pub(super) fn target(&self, case: &Case) -> i64 {
        if self.known() { self.cost * SCALE } else { (case.dearest() + 1) * SCALE }
    }

    fn set(&mut self, case: &Case, cost: i64, open: Vec<usize>, meter: &mut Meter<'_>) {
        if cost < self.cost {
            meter.reached(cost);
            self.cost = cost;
            self.serves = Nearest::new(case, &open).first.iter().map(|(_, site)| *site).collect();
            self.open = open;
        }
    }

    /// Takes the plan behind a relaxed one if it is better.
    pub(super) fn offer(&mut self, case: &Case, eval: &Eval, meter: &mut Meter<'_>) {
        if case.room.is_some() {
            let plan =
                capacity::plan(case, &eval.chosen, &eval.count, &eval.taker, &mut meter.steps);
            if let Some((cost, open, serves)) = plan
                && cost < self.cost
            {
                meter.reached(cost);
                *self = Self { cost, open, serves };
            }
        } else if eval.primal.is_some_and(|cost| cost < self.cost) {
            self.climb(case, &eval.chosen, meter);
        }
    }

    /// Improves a choice by exchanges and takes it if it is better; without capacities only.
    pub(super) fn climb(&mut self, case: &Case, chosen: &[usize], meter: &mut Meter<'_>) {
        if case.room.is_none() {
            let mut open = chosen.to_vec();
            let cost = climb::exchange(case, &mut open, meter);
            self.set(case, cost, open, meter);
        }
    }
}

/// A part of the plans that is still to be searched.
#[derive(Clone, Debug)]
struct Node {
    bound: i64,
    marks: Vec<Mark>,
    served: Rc<Served>,
    radius: Rc<Vec<i64>>,
}

impl Node {
    fn bytes(case: &Case) -> usize {
        case.sites + 8 * case.clients + 64 + if case.room.is_some() { 16 * case.clients } else { 0 }
    }
}

struct Tree<'a, 'm> {
    case: &'a Case,
    reach: Reach,
    best: Best,
    meter: Meter<'m>,
}

/// Solves a case.
pub(super) fn solve(case: &Case, mut meter: Meter<'_>) -> MedianAnswer {
    let mut marks = vec![Mark::Free; case.sites];
    case.keep.iter().for_each(|site| marks[*site] = Mark::Open);
    meter.steps = (case.clients * case.sites) as u64;
    let mut best = Best::new(case);
    let mut radius: Vec<i64> = Vec::new();
    if case.room.is_none() {
        let mut open = climb::greedy(case, &mut meter);
        let cost = climb::exchange(case, &mut open, &mut meter);
        let near = Nearest::new(case, &open);
        best.set(case, cost, open, &mut meter);
        // Between the nearest and the second: there the radius of a best plan lies.
        for ((first, _), second) in near.first.iter().zip(&near.second) {
            let second = if *second == i64::MAX { *first } else { *second };
            radius.push((first + second) * (SCALE / 2));
        }
    } else {
        for i in 0..case.clients {
            let mut row: Vec<_> = (0..case.sites).map(|j| case.cost(i, j)).collect();
            row.sort_unstable();
            radius.push(row[(case.sites / case.open).min(case.sites - 1)] * SCALE);
        }
    }
    let reach = Reach::new(case, &marks);
    let mut tree = Tree { case, reach, best, meter };
    let served: Rc<Served> = Rc::new(vec![None; case.clients]);
    let root = Node { bound: 0, marks, served, radius: Rc::new(radius) };
    let left = tree.root(root).map_or(i64::MAX, |node| tree.search(node));
    tree.answer(left)
}

impl Tree<'_, '_> {
    /// Bounds the whole; `None`: nothing better than the best known.
    fn root(&mut self, mut node: Node) -> Option<Node> {
        let mut stride = 1.0;
        for _ in 0..ROOT_RUNS {
            let (before, free) = (node.bound, open_left(&node.marks));
            let pace = Pace { iterations: ROOT_ITERATIONS, stride, patience: 12, climb_every: 25 };
            let relaxed = self.relax(&mut node, pace)?;
            node.bound = node.bound.max(relaxed.bound);
            node.radius = Rc::new(relaxed.radius);
            self.reach = self.reach.narrowed(&node.marks);
            self.meter.steps += self.reach.len();
            self.meter.bound(node.bound);
            stride = 0.3;
            let gained = node.bound - before > SCALE / 4 || open_left(&node.marks) < free;
            if !gained || self.meter.is_over() {
                break;
            }
        }
        Some(node)
    }

    fn relax(&mut self, node: &mut Node, pace: Pace) -> Option<Relaxed> {
        let place = Place { case: self.case, reach: &self.reach, served: &node.served };
        dual::relax(&place, &mut node.marks, &node.radius, &mut self.best, pace, &mut self.meter)
    }

    /// Searches below a node, the least bound first; returns the least bound that is left open.
    fn search(&mut self, root: Node) -> i64 {
        let most = (OPEN_BYTES / Node::bytes(self.case)).max(16);
        let mut order = 0_u64;
        let mut heap: BTreeMap<(i64, u64), Node> = BTreeMap::new();
        let mut deep: Vec<Node> = Vec::new();
        heap.insert((root.bound, order), root);
        loop {
            let next = match deep.pop() {
                Some(node) => node,
                None => match heap.pop_first() {
                    Some((_, node)) => node,
                    None => return i64::MAX,
                },
            };
            if next.bound > self.best.limit() {
                continue;
            }
            let least = heap.keys().next().map_or(i64::MAX, |(bound, _)| *bound);
            let least = deep.iter().map(|node| node.bound).fold(least, i64::min).min(next.bound);
            self.meter.bound(least);
            if self.meter.is_over() {
                return least;
            }
            for child in self.expand(next) {
                if deep.is_empty() && heap.len() < most {
                    order += 1;
                    // Of equal bounds the youngest goes first.
                    heap.insert((child.bound, u64::MAX - order), child);
                } else {
                    deep.push(child);
                }
            }
        }
    }

    /// Bounds a node; the parts that it falls into.
    fn expand(&mut self, mut node: Node) -> Vec<Node> {
        self.meter.nodes += 1;
        let whole = std::mem::take(&mut self.reach);
        self.reach = whole.narrowed(&node.marks);
        self.meter.steps += whole.len();
        let pace = Pace { iterations: NODE_ITERATIONS, stride: 0.4, patience: 6, climb_every: 0 };
        let relaxed = self.relax(&mut node, pace);
        self.reach = whole;
        let Some(relaxed) = relaxed else { return Vec::new() };
        node.bound = node.bound.max(relaxed.bound);
        node.radius = Rc::new(relaxed.radius);
        if node.bound > self.best.limit() {
            return Vec::new();
        }
        let doubt = |share: f64| (share - 0.5).abs();
        let site = (0..self.case.sites)
            .filter(|j| node.marks[*j] == Mark::Free)
            .min_by(|a, b| doubt(relaxed.share[*a]).total_cmp(&doubt(relaxed.share[*b])));
        match site {
            Some(site) => {
                let mut children = Vec::new();
                for mark in [Mark::Closed, Mark::Open] {
                    let mut child = node.clone();
                    child.marks[site] = mark;
                    children.extend(self.settled(child));
                }
                children
            }
            None if self.case.room.is_some() => self.split_clients(&node, &relaxed.surplus),
            // All is decided: the plan of these sites was offered.
            None => Vec::new(),
        }
    }

    /// A child with what follows from its marks; `None` if they contradict each other.
    fn settled(&self, mut node: Node) -> Option<Node> {
        let open = node.marks.iter().filter(|m| **m == Mark::Open).count();
        let free = open_left(&node.marks);
        if open > self.case.open || open + free < self.case.open {
            return None;
        }
        let rest = match (open == self.case.open, open + free == self.case.open) {
            (true, _) => Mark::Closed,
            (_, true) => Mark::Open,
            _ => return Some(node),
        };
        node.marks.iter_mut().filter(|m| **m == Mark::Free).for_each(|m| *m = rest);
        Some(node)
    }

    /// Parts by the site that serves one client: the one about whom the sites disagree most.
    fn split_clients(&self, node: &Node, surplus: &[f64]) -> Vec<Node> {
        let Some(room) = &self.case.room else { return Vec::new() };
        let client = (0..self.case.clients).filter(|i| node.served[*i].is_none()).max_by(|a, b| {
            let weight = |i: usize| surplus[i].abs() * (1.0 + room.demand[i] as f64);
            weight(*a).total_cmp(&weight(*b)).then(b.cmp(a))
        });
        let Some(client) = client else { return Vec::new() };
        let mut sites: Vec<_> =
            (0..self.case.sites).filter(|j| node.marks[*j] == Mark::Open).collect();
        // Last in, first out: the nearest site last.
        sites.sort_by_key(|j| std::cmp::Reverse((self.case.cost(client, *j), *j)));
        sites
            .into_iter()
            .map(|site| {
                let mut served = (*node.served).clone();
                served[client] = Some(site);
                Node { served: Rc::new(served), ..node.clone() }
            })
            .collect()
    }

    fn answer(self, left: i64) -> MedianAnswer {
        let spent = self.meter.spent();
        let whole = |bound: i64| self.meter.whole(bound);
        if !self.best.known() {
            return match left {
                i64::MAX => MedianAnswer::Infeasible,
                left => MedianAnswer::NotFound { bound: whole(left), spent },
            };
        }
        let cost = self.best.cost as u64 * self.case.factor;
        let bound = if left == i64::MAX { cost } else { whole(left).min(cost) };
        MedianAnswer::Plan(MedianPlan {
            status: if bound == cost { Status::Optimal } else { Status::Feasible },
            open: self.best.open,
            serves: self.best.serves,
            cost,
            bound,
            spent,
        })
    }
}

fn open_left(marks: &[Mark]) -> usize {
    marks.iter().filter(|m| **m == Mark::Free).count()
}
