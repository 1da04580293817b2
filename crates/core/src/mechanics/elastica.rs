//! Solves the dimensionless elastica of [`super::blank`] by shooting from the tip.
//!
//! Lengths are shares of L, stiffness b = EI/EI(butt), load p = P L²/EI(butt). From the tip,
//! σ = 1 − s/L, with ψ = β − θ the angle between blank and load, ϑ = ψ − ψ(tip) the turning since
//! the tip and q = M/(P L) the arm of the load:
//!
//! ```text
//! ϑ' = p q / b      q' = sin ψ      ϑ(0) = q(0) = 0      sought: ψ(tip) so that ψ(1) = β
//! ```
//!
//! **One solution on the branch from no load.** On it 0 < ψ < π throughout. Let φ = π − ψ and
//! η = ∂ψ/∂ψ(tip): (bφ')' = −p (sin φ/φ) φ and (bη')' = −p cos φ η, both with zero slope at the
//! tip. As cos φ < sin φ/φ, η has no zero before φ has one (Sturm and Picone). So ψ(1) rises
//! strictly with ψ(tip) until ψ first meets π: exactly one start gives β, and there η(1) ≠ 0, so
//! it continues the unloaded blank without a fork (implicit functions).
//!
//! **Unknown.** u = ln tan(ψ(tip)/2), residual r = ln tan(ψ(1)/2) − ln tan(β/2). Then dr/du ≥ 1
//! (w = ln tan(ψ/2) and m = pq/sin ψ obey w' = m/b, m' = p + tanh(w) m²/b, whose variation grows
//! from 1), so |r| bounds the distance to the root and Newton's method can be fenced in. A start
//! of 10⁻²⁶, as a long soft tip under a great load has it, is an ordinary number of this scale.
//!
//! **Integration.** Taylor series by recurrence, order and step chosen from the last terms (Jorba
//! and Zou, Experimental Mathematics 14 (2005) 99-117, from memory), ending at every station. The
//! variations by ψ(tip) and p ride along, so derivatives are exact. Where more than
//! ∫√(p/b) dσ = 60 lies between a place and the butt, the blank beyond hangs along the load within
//! e⁻⁶⁰ and is taken as straight.

/// Greatest order of a Taylor series.
const ORDER: usize = 24;
const TERMS: usize = ORDER + 1;
/// Share of a sum below which terms are dropped in the last passes.
const FINE: f64 = 1e-14;
/// The same in the first pass.
const COARSE: f64 = 1e-3;
/// ∫√(p/b) from the butt beyond which a blank hangs along the load.
const REACH: f64 = 60.0;

/// Longest step in u.
const STRIDE: f64 = 8.0;

const fn reciprocals() -> [f64; TERMS + 1] {
    let mut table = [0.0; TERMS + 1];
    let mut k = 1;
    while k <= TERMS {
        table[k] = 1.0 / k as f64;
        k += 1;
    }
    table
}
static RECIPROCAL: [f64; TERMS + 1] = reciprocals();

/// A piece between two stations.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Segment {
    /// Share of the length.
    pub(super) length: f64,
    /// b at its end toward the tip.
    pub(super) tip: f64,
    /// b at its end toward the butt.
    pub(super) butt: f64,
}

/// A dimensionless problem.
#[derive(Debug, Clone, Copy)]
pub(super) struct Problem<'a> {
    segments: &'a [Segment],
    load: f64,
    angle: f64,
    /// ln tan(β/2).
    goal: f64,
}

/// A solved problem, lengths as shares of L.
#[derive(Debug, Clone, Copy)]
pub(super) struct State {
    /// u of the solution.
    start: f64,
    /// y(L).
    pub(super) deflection: f64,
    /// 1 − x(L).
    pub(super) shortening: f64,
    /// θ(L).
    pub(super) turn: f64,
    /// M(0)/(P L).
    pub(super) arm: f64,
    /// Derivative by p of the tip's displacement along the load.
    pub(super) compliance: f64,
}

/// A point of the bent blank, lengths as shares of L.
#[derive(Debug, Clone, Copy)]
pub(super) struct Point {
    pub(super) s: f64,
    pub(super) x: f64,
    pub(super) y: f64,
    pub(super) angle: f64,
    pub(super) arm: f64,
}

/// What is integrated.
#[derive(Debug, Clone, Copy, Default)]
struct Values {
    /// ϑ.
    turn: f64,
    /// sin ϑ.
    sine: f64,
    /// 1 − cos ϑ.
    versine: f64,
    /// q.
    arm: f64,
    /// ∫ sin ϑ.
    aside: f64,
    /// ∫ (1 − cos ϑ).
    short: f64,
    /// ∂ψ/∂u.
    turn_u: f64,
    /// ∂q/∂u.
    arm_u: f64,
    /// ∂ψ/∂p at fixed u.
    turn_p: f64,
    /// ∂q/∂p at fixed u.
    arm_p: f64,
    /// ∫ q ∂ψ'/∂p at fixed u.
    work: f64,
}

/// Coefficients of one step in t, 0 to 1 over its length.
#[derive(Debug)]
struct Series {
    turn: [f64; TERMS],
    sine: [f64; TERMS],
    versine: [f64; TERMS],
    arm: [f64; TERMS],
    turn_u: [f64; TERMS],
    arm_u: [f64; TERMS],
    turn_p: [f64; TERMS],
    arm_p: [f64; TERMS],
    work: [f64; TERMS],
    /// q/b.
    bend: [f64; TERMS],
    /// dϑ/dt.
    rate: [f64; TERMS],
    /// cos ψ.
    cosine: [f64; TERMS],
    /// ∂ψ'/∂p.
    rate_p: [f64; TERMS],
    /// The last term that counts.
    order: usize,
    /// The length that t = 1 stands for.
    length: f64,
    /// The t up to which the series is good.
    good: f64,
}

/// Where a pass ended: at the butt, or before it well past the goal.
struct End {
    values: Values,
    /// Length to the butt.
    left: f64,
    /// b there.
    stiffness: f64,
}

impl<'a> Problem<'a> {
    /// Segments run from tip to butt; `load` ≥ 0, `angle` within 0 to π.
    pub(super) fn new(segments: &'a [Segment], load: f64, angle: f64) -> Self {
        Self { segments, load, angle, goal: log_half_tangent(angle) }
    }

    /// The solution on the branch from no load; `None` if the passes run out.
    pub(super) fn solve(&self) -> Option<State> {
        let mut start = self.goal - self.guess();
        let (mut low, mut high) = (f64::NEG_INFINITY, f64::INFINITY);
        let (mut before, mut last) = (f64::INFINITY, f64::INFINITY);
        let (mut tolerance, mut coarsest) = (COARSE, COARSE);
        for _ in 0..100 {
            let fine = tolerance <= FINE;
            let end = if fine {
                self.pass::<true>(start, tolerance, |_, _, _| ())
            } else {
                self.pass::<false>(start, tolerance, |_, _, _| ())
            };
            let psi = half_tangent_angle(start) + end.values.turn;
            let (residual, slope) = if psi < core::f64::consts::PI {
                let inverse_sine = 1.0 / libm::sin(psi);
                // Short of the butt the last slope is drawn on.
                let rate = self.load * end.values.arm / end.stiffness;
                let residual = log_half_tangent(psi) - self.goal + rate * inverse_sine * end.left;
                (residual, end.values.turn_u * inverse_sine)
            } else {
                (f64::INFINITY, 1.0)
            };
            let floor = 1e-15 * (1.0 + libm::fabs(start));
            let met = libm::fabs(residual) <= 1e-12 || libm::fabs(residual) <= floor * slope;
            if fine && end.left <= 0.0 && met {
                return Some(self.state(start, &end.values));
            }
            // Coarse passes may err about the side of a root close by.
            if residual > 0.1 {
                high = high.min(start);
            } else if residual < -0.1 {
                low = low.max(start);
            }
            // A fence this narrow without convergence was set by passes too coarse to trust.
            if high - low < 0.05 && coarsest > 1e-10 {
                (low, high) = (f64::NEG_INFINITY, f64::INFINITY);
                coarsest *= 1e-4;
            }
            // What is drawn on from short of the butt can be far off: no long strides.
            let mut step = (-residual / slope.max(1.0)).clamp(-STRIDE, STRIDE);
            let inside = start + step > low && start + step < high;
            let shrinks = libm::fabs(step) <= 0.5 * libm::fabs(before);
            if !fine && low.is_finite() && high.is_finite() && !(inside && shrinks) {
                step = 0.5 * (low + high) - start;
            }
            (before, last) = (last, step);
            // The next error is of the order of the square of this step.
            let error = step * step;
            tolerance = if error < 1e-11 { FINE } else { (1e-2 * error).min(coarsest) };
            start += step;
        }
        None
    }

    /// About ln tan(β/2) − u: exact for no load, right in kind for great ones.
    fn guess(&self) -> f64 {
        let (mut sum, mut reach, mut sigma) = (0.0, 0.0, 0.0);
        for segment in self.segments {
            let middle = 0.5 * (segment.tip + segment.butt);
            sum += segment.length * (sigma + 0.5 * segment.length) / middle;
            reach += 2.0 * segment.length / (libm::sqrt(segment.tip) + libm::sqrt(segment.butt));
            sigma += segment.length;
        }
        let small = self.load * sum;
        let great = (libm::sqrt(self.load) * reach).min(REACH);
        if small > 0.0 { small * great / libm::hypot(small, great) } else { 0.0 }
    }

    fn state(&self, start: f64, values: &Values) -> State {
        let (sin, cos) = (libm::sin(values.turn), libm::cos(values.turn));
        let half = libm::sin(0.5 * values.turn);
        // Displacement of the tip in the tip's own frame, turned into that of the butt.
        let along = 1.0 - values.short;
        // p-derivative at fixed ψ(1) = β: ∫ q χ' with χ = ∂ψ/∂p − (ratio) ∂ψ/∂u.
        let ratio = values.turn_p / values.turn_u;
        let compliance =
            values.work + self.load * values.turn_p * (values.arm_p - ratio * values.arm_u);
        State {
            start,
            deflection: sin * along - cos * values.aside,
            shortening: 2.0 * half * half + cos * values.short - sin * values.aside,
            // Rounding may lead beyond the load's direction.
            turn: values.turn.min(self.angle),
            arm: values.arm,
            compliance,
        }
    }

    /// Integrates from the tip with u = `start`; `see` gets every step with the σ and values
    /// where it began. `FULL` carries the variation by p as well.
    fn pass<const FULL: bool>(
        &self,
        start: f64,
        tolerance: f64,
        mut see: impl FnMut(f64, &Values, &Series),
    ) -> End {
        let tangent = libm::exp(start);
        let scale = 1.0 / (1.0 + tangent * tangent);
        let (sin_tip, cos_tip) = (2.0 * tangent * scale, (1.0 - tangent * tangent) * scale);
        let psi_tip = 2.0 * libm::atan(tangent);
        let past = 0.5 * (self.angle + core::f64::consts::PI);
        let mut values = Values { turn_u: sin_tip, ..Values::default() };
        let mut series = Series::new();
        let (first, mut sigma) = self.first();
        for (index, segment) in self.segments.iter().enumerate().skip(first) {
            let (mut left, mut b) = (segment.length, segment.tip);
            if index == first {
                let skipped = sigma - self.place(first);
                b += (segment.butt - segment.tip) * (skipped / segment.length);
                left -= skipped;
            }
            while left > 0.0 {
                let rise = segment.butt - b;
                let wide = 0.5 * b / libm::fabs(rise);
                let high = 2.0 * libm::sqrt(b / self.load) / left;
                let share = 1.0_f64.min(wide).min(high);
                series.length = left * share;
                series.good = series.fill::<FULL>(
                    &values,
                    (b, rise * share),
                    self.load,
                    (sin_tip, cos_tip),
                    tolerance,
                );
                see(sigma, &values, &series);
                let reached = series.good;
                values = series.at::<FULL>(reached, &values);
                if share >= 1.0 && reached >= 1.0 {
                    sigma += left;
                    left = 0.0;
                } else {
                    let done = share * reached;
                    sigma += done * left;
                    left -= done * left;
                    b += done * rise;
                }
                let last = left <= 0.0 && index + 1 == self.segments.len();
                if psi_tip + values.turn > past && !last {
                    return End { values, left: (1.0 - sigma).max(1e-16), stiffness: b };
                }
            }
        }
        End { values, left: 0.0, stiffness: 1.0 }
    }

    /// σ where a segment begins.
    fn place(&self, index: usize) -> f64 {
        self.segments[..index].iter().map(|s| s.length).sum()
    }

    /// The segment and σ where integration begins.
    fn first(&self) -> (usize, f64) {
        let mut room = REACH / libm::sqrt(self.load);
        for (index, segment) in self.segments.iter().enumerate().rev() {
            let (tip, butt) = (libm::sqrt(segment.tip), libm::sqrt(segment.butt));
            let reach = 2.0 * segment.length / (tip + butt);
            if reach > room {
                // ∫ b^(−1/2) over a share f from the butt end is 2 f length/(√b + √butt).
                let root = butt + (segment.tip - segment.butt) * room / (2.0 * segment.length);
                let share = 0.5 * room * (root + butt) / segment.length;
                let skipped = segment.length * (1.0 - share).clamp(0.0, 1.0);
                return (index, self.place(index) + skipped);
            }
            room -= reach;
        }
        (0, 0.0)
    }
}

impl Series {
    fn new() -> Self {
        let none = [0.0; TERMS];
        Self {
            turn: none,
            sine: none,
            versine: none,
            arm: none,
            turn_u: none,
            arm_u: none,
            turn_p: none,
            arm_p: none,
            work: none,
            bend: none,
            rate: none,
            cosine: none,
            rate_p: none,
            order: 0,
            length: 0.0,
            good: 1.0,
        }
    }

    /// Coefficients from the values at t = 0; b = b₀ + Δ t. Gives the t up to which the series
    /// is good, 1 or less.
    fn fill<const FULL: bool>(
        &mut self,
        values: &Values,
        (b, delta): (f64, f64),
        load: f64,
        (sin_tip, cos_tip): (f64, f64),
        tolerance: f64,
    ) -> f64 {
        let (inverse, length) = (1.0 / b, self.length);
        self.turn[0] = values.turn;
        self.sine[0] = values.sine;
        self.versine[0] = values.versine;
        self.arm[0] = values.arm;
        self.turn_u[0] = values.turn_u;
        self.arm_u[0] = values.arm_u;
        self.turn_p[0] = values.turn_p;
        self.arm_p[0] = values.arm_p;
        self.work[0] = values.work;
        let (mut bend, mut bend_u, mut bend_p) = (0.0, 0.0, 0.0);
        let (mut sum_bend, mut sum_arm, mut sum_p) = (0.0, values.arm, 0.0);
        let mut calm = false;
        for k in 0..ORDER {
            let next = RECIPROCAL[k + 1];
            let (own, own_c) = if k == 0 { (1.0, 1.0) } else { (0.0, 0.0) };
            let cos_turn = own_c - self.versine[k];
            let sin_psi = sin_tip * (own - self.versine[k]) + cos_tip * self.sine[k];
            self.cosine[k] = cos_tip * cos_turn - sin_tip * self.sine[k];
            bend = (self.arm[k] - delta * bend) * inverse;
            bend_u = (self.arm_u[k] - delta * bend_u) * inverse;
            self.bend[k] = bend;
            self.rate[k] = load * length * bend;
            self.turn[k + 1] = self.rate[k] * next;
            self.arm[k + 1] = length * sin_psi * next;
            self.turn_u[k + 1] = load * length * bend_u * next;
            let (mut sine, mut versine, mut arm_u) = (self.rate[k], 0.0, 0.0);
            for j in 0..=k {
                sine -= self.rate[j] * self.versine[k - j];
                versine += self.rate[j] * self.sine[k - j];
                arm_u += self.cosine[j] * self.turn_u[k - j];
            }
            self.sine[k + 1] = sine * next;
            self.versine[k + 1] = versine * next;
            self.arm_u[k + 1] = length * arm_u * next;
            if FULL {
                bend_p = (self.arm_p[k] - delta * bend_p) * inverse;
                self.rate_p[k] = bend + load * bend_p;
                self.turn_p[k + 1] = length * self.rate_p[k] * next;
                let (mut arm_p, mut work) = (0.0, 0.0);
                for j in 0..=k {
                    arm_p += self.cosine[j] * self.turn_p[k - j];
                    work += self.arm[j] * self.rate_p[k - j];
                }
                self.arm_p[k + 1] = length * arm_p * next;
                self.work[k + 1] = length * work * next;
                sum_p += libm::fabs(self.rate_p[k]);
            }
            sum_bend += bend;
            sum_arm += self.arm[k + 1];
            let small = k > 0
                && libm::fabs(bend) <= tolerance * sum_bend
                && libm::fabs(self.arm[k + 1]) <= tolerance * sum_arm
                && (!FULL || libm::fabs(self.rate_p[k]) <= tolerance * sum_p);
            if small && calm {
                self.order = k + 1;
                return 1.0;
            }
            calm = small;
        }
        self.order = ORDER;
        // Shrink until the last two terms of each series are small.
        let mut share = 1.0_f64;
        let mut fit = |last: f64, sum: f64, order: usize| {
            let size = libm::fabs(last);
            if size > tolerance * sum {
                let log = libm::log(tolerance * sum / size) * RECIPROCAL[order];
                share = share.min(0.9 * libm::exp(log));
            }
        };
        let full = libm::fabs(sum_bend).max(self.bend[0]);
        let whole = libm::fabs(sum_arm).max(self.arm[0]);
        for k in [ORDER - 2, ORDER - 1] {
            fit(self.bend[k], full, k);
            fit(self.arm[k + 1], whole, k + 1);
            if FULL {
                fit(self.rate_p[k], sum_p, k);
            }
        }
        share
    }

    /// The values at t.
    fn at<const FULL: bool>(&self, t: f64, before: &Values) -> Values {
        let order = self.order;
        let sum = |terms: &[f64; TERMS]| {
            terms[..=order].iter().rev().fold(0.0, |value, term| value * t + term)
        };
        let integral = |terms: &[f64; TERMS]| {
            let value =
                (0..=order).rev().fold(0.0, |value, k| value * t + terms[k] * RECIPROCAL[k + 1]);
            value * t * self.length
        };
        Values {
            turn: sum(&self.turn),
            sine: sum(&self.sine),
            versine: sum(&self.versine),
            arm: sum(&self.arm),
            aside: before.aside + integral(&self.sine),
            short: before.short + integral(&self.versine),
            turn_u: sum(&self.turn_u),
            arm_u: sum(&self.arm_u),
            turn_p: if FULL { sum(&self.turn_p) } else { 0.0 },
            arm_p: if FULL { sum(&self.arm_p) } else { 0.0 },
            work: if FULL { sum(&self.work) } else { 0.0 },
        }
    }
}

/// `count` points at even lengths, from tip to butt.
pub(super) fn points(problem: &Problem<'_>, state: &State, count: usize) -> Vec<Point> {
    let mut points = Vec::with_capacity(count);
    let gap = 1.0 / (count - 1) as f64;
    let (sin, cos) = (libm::sin(state.turn), libm::cos(state.turn));
    let place = |sigma: f64, values: &Values| {
        let along = sigma - values.short;
        Point {
            s: 1.0 - sigma,
            x: 1.0 - state.shortening - (cos * along + sin * values.aside),
            y: state.deflection - (sin * along - cos * values.aside),
            angle: state.turn - values.turn,
            arm: values.arm,
        }
    };
    let end = problem.pass::<false>(state.start, FINE, |begin, values, series| {
        while points.len() + 1 < count {
            let sigma = points.len() as f64 * gap;
            if sigma >= begin + series.good * series.length {
                break;
            }
            // Before the first step the blank hangs along the load.
            let t = ((sigma - begin) / series.length).max(0.0);
            points.push(place(sigma, &series.at::<false>(t, values)));
        }
    });
    // Rounding may leave an inner point behind the end of the last step.
    while points.len() + 1 < count {
        points.push(place(1.0, &end.values));
    }
    points.push(Point { s: 0.0, x: 0.0, y: 0.0, angle: 0.0, arm: end.values.arm });
    points
}

/// The length from the tip within which the blank turns by `turn`, at most the whole turning.
pub(super) fn length_for_turn(problem: &Problem<'_>, state: &State, turn: f64) -> f64 {
    let mut found = None;
    problem.pass::<false>(state.start, FINE, |begin, values, series| {
        if found.is_none() && series.at::<false>(series.good, values).turn >= turn {
            let (mut low, mut high) = (0.0, series.good);
            for _ in 0..60 {
                let t = 0.5 * (low + high);
                if series.at::<false>(t, values).turn < turn {
                    low = t;
                } else {
                    high = t;
                }
            }
            found = Some(begin + high * series.length);
        }
    });
    found.unwrap_or(1.0)
}

/// ln tan(ψ/2).
fn log_half_tangent(psi: f64) -> f64 {
    libm::log(libm::tan(0.5 * psi))
}

/// ψ for ln tan(ψ/2).
fn half_tangent_angle(log: f64) -> f64 {
    2.0 * libm::atan(libm::exp(log))
}
