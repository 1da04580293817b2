//! The problem as the search wants it: costs without a common factor, and lists by radius.

use super::MedianProblem;
use crate::scale::gcd;

/// Parts of a cost unit in which radii are counted.
pub(super) const SCALE: i64 = 1 << 16;

/// The problem, ready for counting.
#[derive(Clone, Debug)]
pub(super) struct Case {
    pub(super) clients: usize,
    pub(super) sites: usize,
    pub(super) open: usize,
    /// Common factor that was taken out of the costs.
    pub(super) factor: u64,
    /// By client, then site.
    costs: Vec<i64>,
    /// By site, then client.
    columns: Vec<i64>,
    pub(super) keep: Vec<usize>,
    pub(super) room: Option<Room>,
}

/// Limits of the sites, without a common factor.
#[derive(Clone, Debug)]
pub(super) struct Room {
    pub(super) demand: Vec<u64>,
    pub(super) room: Vec<u64>,
}

impl Case {
    /// The case of a problem that has been validated.
    pub(super) fn new(problem: &MedianProblem) -> Self {
        let clients = problem.costs.len();
        let sites = problem.costs[0].len();
        let factor = problem.costs.iter().flatten().fold(0, |g, c| gcd(g, *c)).max(1);
        // Sums were validated to be small.
        let costs: Vec<i64> = problem.costs.iter().flatten().map(|c| (c / factor) as i64).collect();
        let mut columns = vec![0; costs.len()];
        for i in 0..clients {
            for j in 0..sites {
                columns[j * clients + i] = costs[i * sites + j];
            }
        }
        let room = problem.capacity.as_ref().map(|capacity| {
            let part = capacity.demand.iter().fold(0, |g, d| gcd(g, *d)).max(1);
            Room {
                demand: capacity.demand.iter().map(|d| d / part).collect(),
                room: capacity.room.iter().map(|r| r / part).collect(),
            }
        });
        Self {
            clients,
            sites,
            open: problem.open,
            factor,
            costs,
            columns,
            keep: problem.keep.clone(),
            room,
        }
    }

    /// Cost of a client at a site.
    pub(super) fn cost(&self, client: usize, site: usize) -> i64 {
        self.costs[client * self.sites + site]
    }

    /// Costs of all clients at a site.
    pub(super) fn column(&self, site: usize) -> &[i64] {
        &self.columns[site * self.clients..][..self.clients]
    }

    /// Sum over clients of the dearest cost: no plan costs more.
    pub(super) fn dearest(&self) -> i64 {
        self.costs.chunks(self.sites).map(|row| row.iter().copied().max().unwrap_or(0)).sum()
    }
}

/// What is decided about a site.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Mark {
    Free,
    Open,
    Closed,
}

/// By client, the sites that may serve it by growing cost, up to the first that is surely open.
/// Costs are scaled.
#[derive(Clone, Debug, Default)]
pub(super) struct Reach {
    starts: Vec<usize>,
    entries: Vec<(i64, u32)>,
}

impl Reach {
    /// Lists of a whole case.
    pub(super) fn new(case: &Case, marks: &[Mark]) -> Self {
        let mut reach = Self { starts: vec![0], entries: Vec::new() };
        let mut row: Vec<(i64, u32)> = Vec::new();
        // Of the sites, all but so many are open: the nearest open one is among the rest.
        let most = case.sites - case.open + 1;
        for i in 0..case.clients {
            row.clear();
            row.extend((0..case.sites).map(|j| (case.cost(i, j) * SCALE, j as u32)));
            row.sort_unstable();
            row.truncate(most);
            reach.push(row.iter().copied(), marks);
        }
        reach
    }

    fn push(&mut self, row: impl Iterator<Item = (i64, u32)>, marks: &[Mark]) {
        for (cost, site) in row {
            let mark = marks[site as usize];
            if mark != Mark::Closed {
                self.entries.push((cost, site));
            }
            if mark == Mark::Open {
                break;
            }
        }
        self.starts.push(self.entries.len());
    }

    /// The same without what marks exclude.
    pub(super) fn narrowed(&self, marks: &[Mark]) -> Self {
        let mut reach = Self { starts: vec![0], entries: Vec::new() };
        for i in 0..self.starts.len() - 1 {
            reach.push(self.row(i).iter().copied(), marks);
        }
        reach
    }

    /// Sites of a client.
    pub(super) fn row(&self, client: usize) -> &[(i64, u32)] {
        &self.entries[self.starts[client]..self.starts[client + 1]]
    }

    /// Entries in all lists.
    pub(super) fn len(&self) -> u64 {
        self.entries.len() as u64
    }
}
