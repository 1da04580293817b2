//! Readers of p-median files as the OR-Library has them (Beasley 1990).

#![allow(clippy::unwrap_used, reason = "a broken file may stop at once")]
#![allow(dead_code, reason = "each user uses its part")]
#![allow(clippy::explicit_write, reason = "eprintln is caught while tests run")]
#![allow(clippy::disallowed_methods, reason = "the files and their folder come from outside")]

use std::collections::BTreeMap;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use deepbend_planner::median::{Capacity, MedianProblem};

/// A problem with the value that was published for it.
pub(crate) struct Published {
    pub(crate) name: String,
    pub(crate) problem: MedianProblem,
    pub(crate) value: Option<u64>,
}

fn numbers(text: &str) -> Vec<u64> {
    text.split_whitespace().map(|word| word.parse::<f64>().unwrap() as u64).collect()
}

/// All pairs of shortest paths in an undirected graph. Where an edge stands twice the last counts.
pub(crate) fn graph(text: &str) -> MedianProblem {
    let numbers = numbers(text);
    let (n, open) = (numbers[0] as usize, numbers[2] as usize);
    const FAR: u64 = u64::MAX / 4;
    let mut d = vec![vec![FAR; n]; n];
    for edge in numbers[3..].chunks_exact(3) {
        let (a, b) = (edge[0] as usize - 1, edge[1] as usize - 1);
        d[a][b] = edge[2];
        d[b][a] = edge[2];
    }
    for (i, row) in d.iter_mut().enumerate() {
        row[i] = 0;
    }
    for via in 0..n {
        let through = d[via].clone();
        for row in &mut d {
            let first = row[via];
            if first < FAR {
                row.iter_mut().zip(&through).for_each(|(d, t)| *d = (*d).min(first + t));
            }
        }
    }
    MedianProblem { costs: d, open, keep: Vec::new(), capacity: None }
}

/// Points with demands, all with the same room; distances are rounded down.
pub(crate) fn points(text: &str) -> (MedianProblem, u64) {
    let numbers = numbers(text);
    let (value, n, open, room) = (numbers[1], numbers[2] as usize, numbers[3] as usize, numbers[4]);
    let points: Vec<_> = numbers[5..].chunks_exact(4).take(n).collect();
    let distance = |a: &[u64], b: &[u64]| {
        let (x, y) = (a[1].abs_diff(b[1]), a[2].abs_diff(b[2]));
        (x * x + y * y).isqrt()
    };
    let problem = MedianProblem {
        costs: points.iter().map(|a| points.iter().map(|b| distance(a, b)).collect()).collect(),
        open,
        keep: Vec::new(),
        capacity: Some(Capacity {
            demand: points.iter().map(|p| p[3]).collect(),
            room: vec![room; n],
        }),
    };
    (problem, value)
}

/// The folder of a variable; its default lies beside the project. `None`: the default is absent,
/// and what was to be done with it is left out, which is said past the capture of test output.
pub(crate) fn folder(variable: &str, beside: &str) -> Option<PathBuf> {
    if let Some(folder) = std::env::var_os(variable) {
        return Some(folder.into());
    }
    let project = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let folder = project.join("../shared/reference").join(beside);
    if folder.is_dir() {
        return Some(folder);
    }
    let place = folder.display();
    writeln!(std::io::stderr(), "SKIPPED: there is no {place}; name the folder in {variable}")
        .unwrap();
    None
}

fn files(folder: &Path) -> Vec<(String, PathBuf)> {
    let mut files: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|e| e == "txt"))
        .map(|path| (path.file_stem().unwrap().to_string_lossy().into_owned(), path))
        .collect();
    files.sort_by_key(|(name, _)| (name.len(), name.clone()));
    files
}

/// Every graph of a folder, with the optimum of its table `pmedopt.txt`.
pub(crate) fn graphs(folder: &Path) -> Vec<Published> {
    let table = std::fs::read_to_string(folder.join("pmedopt.txt")).unwrap_or_default();
    let optima: BTreeMap<String, u64> = table
        .lines()
        .filter_map(|line| {
            let mut words = line.split_whitespace();
            Some((words.next()?.to_owned(), words.next()?.parse().ok()?))
        })
        .collect();
    let files = files(folder).into_iter().filter(|(name, _)| name != "pmedopt");
    files
        .map(|(name, path)| Published {
            problem: graph(&std::fs::read_to_string(path).unwrap()),
            value: optima.get(&name).copied(),
            name,
        })
        .collect()
}

/// Every set of points of a folder.
pub(crate) fn point_sets(folder: &Path) -> Vec<Published> {
    let read = |(name, path): (String, PathBuf)| {
        let (problem, value) = points(&std::fs::read_to_string(path).unwrap());
        Published { name, problem, value: Some(value) }
    };
    files(folder).into_iter().map(read).collect()
}
