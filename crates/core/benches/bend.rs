//! One bend with stiffness on 20 named cases, against plain Runge-Kutta shooting beside it.
//!
//! Both solve the same cases to the same measured error: the baseline gets the least number of
//! steps, doubling, with which all five results lie within 1e-9 of the values of scipy in
//! `bend_cases.json`. Medians of several runs; ratios are what may be compared between machines.
//! `tests/reference/time_bend.py` times scipy on the same cases, given what this prints.

#![allow(clippy::disallowed_types, reason = "a benchmark reads the clock")]
#![allow(clippy::disallowed_methods, reason = "the baseline is plain code")]
#![allow(clippy::unwrap_used, reason = "a benchmark may stop at once")]

use std::hint::black_box;
use std::time::Instant;

use deepbend_core::mechanics::blank::{Bend, Blank, bend};

const CASES: &str = include_str!("bend_cases.json");
/// Greatest relative error of any of the five results.
const TARGET: f64 = 1e-9;
const NAMES: [&str; 5] = [
    "tip_deflection_m",
    "tip_shortening_m",
    "tip_angle_rad",
    "root_moment_n_m",
    "stiffness_n_per_m",
];

struct Case {
    name: String,
    blank: Blank,
    load_n: f64,
    angle_rad: f64,
    expected: [f64; 5],
}

fn cases() -> Vec<Case> {
    let table: serde_json::Value = serde_json::from_str(CASES).unwrap();
    let number = |v: &serde_json::Value| v.as_f64().unwrap();
    let read = |case: &serde_json::Value| {
        let stations = case["stations"].as_array().unwrap();
        let stations = stations.iter().map(|s| (number(&s[0]), number(&s[1]))).collect();
        Case {
            name: case["name"].as_str().unwrap().to_owned(),
            blank: Blank::new(number(&case["length_m"]), stations).unwrap(),
            load_n: number(&case["load_n"]),
            angle_rad: number(&case["angle_deg"]).to_radians(),
            expected: NAMES.map(|name| number(&case["expected"][name])),
        }
    };
    table["cases"].as_array().unwrap().iter().map(read).collect()
}

fn numbers(bend: &Bend) -> [f64; 5] {
    [
        bend.tip_deflection_m,
        bend.tip_shortening_m,
        bend.tip_angle_rad,
        bend.root_moment_n_m,
        bend.stiffness_n_per_m,
    ]
}

fn error(got: [f64; 5], expected: [f64; 5]) -> f64 {
    got.iter().zip(expected).map(|(g, e)| (g / e - 1.0).abs()).fold(0.0, f64::max)
}

/// Median over nine runs of the time of one call, microseconds.
fn micros<T>(mut call: impl FnMut() -> T) -> f64 {
    let began = Instant::now();
    let mut count = 0;
    while began.elapsed().as_micros() < 2_000 || count < 2 {
        black_box(call());
        count += 1;
    }
    let mut runs: Vec<f64> = (0..9)
        .map(|_| {
            let began = Instant::now();
            for _ in 0..count {
                black_box(call());
            }
            began.elapsed().as_secs_f64() * 1e6 / f64::from(count)
        })
        .collect();
    median(&mut runs)
}

fn median(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    let half = values.len() / 2;
    if values.len() % 2 == 1 { values[half] } else { 0.5 * (values[half - 1] + values[half]) }
}

/// The classical method: fixed steps of the fourth order from the tip, ending at every station,
/// and Newton's method on the angle at the tip by the equation of variation, fenced in.
mod baseline {
    use super::Case;

    /// A piece between stations: length, EI at the tip's end, slope; shares of L and EI(butt).
    struct Piece {
        length: f64,
        tip: f64,
        slope: f64,
    }

    /// The baseline's problem, put together beforehand.
    pub(super) struct Problem {
        pieces: Vec<Piece>,
        load: f64,
        beta: f64,
        load_n: f64,
        length_m: f64,
        unit_n: f64,
    }

    impl Problem {
        pub(super) fn new(case: &Case) -> Self {
            let length_m = case.blank.length_m();
            let stations = case.blank.stations();
            let butt = stations[0].1;
            let piece = |pair: &[(f64, f64)]| {
                let length = (pair[1].0 - pair[0].0) / length_m;
                let tip = pair[1].1 / butt;
                Piece { length, tip, slope: (pair[0].1 / butt - tip) / length }
            };
            let unit_n = butt / (length_m * length_m);
            Self {
                pieces: stations.windows(2).rev().map(piece).collect(),
                load: case.load_n / unit_n,
                beta: case.angle_rad,
                load_n: case.load_n,
                length_m,
                unit_n,
            }
        }

        /// Angle and arm with their variations by the start; in a full pass those by the load,
        /// the place in the load's frame and the variations of the way along the load as well.
        fn march<const N: usize>(&self, tip: f64, steps: usize) -> [f64; N] {
            let p = self.load;
            let rhs = |y: &[f64; N], b: f64| {
                let (sin, cos) = y[0].sin_cos();
                let mut out = [0.0; N];
                out[..4].copy_from_slice(&[p * y[1] / b, sin, p * y[3] / b, cos * y[2]]);
                if N > 4 {
                    let more =
                        [(y[1] + p * y[5]) / b, cos * y[4], cos, sin, sin * y[2], sin * y[4]];
                    out[4..].copy_from_slice(&more);
                }
                out
            };
            let moved = |y: &[f64; N], k: &[f64; N], h: f64| {
                let mut out = *y;
                out.iter_mut().zip(k).for_each(|(out, k)| *out += h * k);
                out
            };
            let mut y = [0.0; N];
            (y[0], y[2]) = (tip, tip.sin());
            for piece in &self.pieces {
                let count = (steps as f64 * piece.length).ceil().max(1.0);
                let h = piece.length / count;
                for i in 0..count as usize {
                    let at = |share: f64| piece.tip + piece.slope * h * (i as f64 + share);
                    let a = rhs(&y, at(0.0));
                    let b = rhs(&moved(&y, &a, 0.5 * h), at(0.5));
                    let c = rhs(&moved(&y, &b, 0.5 * h), at(0.5));
                    let d = rhs(&moved(&y, &c, h), at(1.0));
                    for j in 0..N {
                        y[j] += h / 6.0 * (a[j] + 2.0 * b[j] + 2.0 * c[j] + d[j]);
                    }
                    // Past the column on the way: the start was too great.
                    if y[0] >= core::f64::consts::PI {
                        return y;
                    }
                }
            }
            y
        }

        /// The five results with `steps` steps over the blank, if Newton's method ends.
        pub(super) fn solve(&self, steps: usize) -> Option<[f64; 5]> {
            let goal = (0.5 * self.beta).tan().ln();
            let (mut low, mut high, mut u) = (f64::NEG_INFINITY, goal, goal);
            for _ in 0..80 {
                let [psi, _, eta, _] = self.march::<4>(2.0 * u.exp().atan(), steps);
                let mut next = f64::NEG_INFINITY;
                if (0.0..core::f64::consts::PI).contains(&psi) {
                    let rest = (0.5 * psi).tan().ln() - goal;
                    if rest > 0.0 {
                        (low, high) = (low.max(u - rest), u);
                    } else {
                        (low, high) = (u, high);
                    }
                    let step = rest * psi.sin() / eta;
                    next = u - step;
                    // The next error is of the order of the square of this step.
                    if step.abs() <= 1e-7 {
                        return Some(self.finish(next, steps));
                    }
                } else {
                    high = u;
                }
                let inside = low < next && next < high;
                u = match (inside, low.is_finite()) {
                    (true, _) => next,
                    (false, true) => 0.5 * (low + high),
                    (false, false) => u - 2.0,
                };
            }
            None
        }

        fn finish(&self, u: f64, steps: usize) -> [f64; 5] {
            let tip = 2.0 * u.exp().atan();
            let y = self.march::<10>(tip, steps);
            let (sin, cos) = self.beta.sin_cos();
            let across = sin * y[6] - cos * y[7];
            let along = cos * y[6] + sin * y[7];
            let compliance = y[4] / y[2] * y[8] - y[9];
            [
                across * self.length_m,
                (1.0 - along) * self.length_m,
                self.beta - tip,
                self.load_n * y[1] * self.length_m,
                self.unit_n / (compliance * self.length_m),
            ]
        }
    }
}

fn main() {
    println!("one bend with stiffness; µs a call; errors are the greatest of five, relative");
    println!("bend {:17} {:>7} {:>6} {:>8} {:>9} ratio", "case", "µs", "error", "steps", "RK4 µs");
    let (mut own, mut plain, mut ratios) = (Vec::new(), Vec::new(), Vec::new());
    for case in cases() {
        let call = || bend(black_box(&case.blank), black_box(case.load_n), case.angle_rad);
        let off = error(numbers(&call().unwrap()), case.expected);
        let problem = baseline::Problem::new(&case);
        let ladder = (3..20).map(|power| 1_usize << power);
        let good = |&steps: &usize| {
            problem.solve(steps).is_some_and(|got| error(got, case.expected) <= TARGET)
        };
        let mine = micros(call);
        own.push(mine);
        print!("bend {:17} {mine:7.2} {off:6.0e}", case.name);
        if let Some(steps) = ladder.clone().find(good) {
            let theirs = micros(|| black_box(&problem).solve(steps));
            plain.push(theirs);
            ratios.push(theirs / mine);
            println!(" {steps:8} {theirs:9.1} {:5.1}", theirs / mine);
        } else {
            println!(" not reached");
        }
    }
    println!(
        "median: {:.2} µs, RK4 {:.1} µs; median of the ratios {:.1}",
        median(&mut own),
        median(&mut plain),
        median(&mut ratios)
    );
}
