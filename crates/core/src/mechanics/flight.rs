//! The flight of a lure: a point mass with quadratic drag in a steady wind.
//!
//! ```text
//! dv/dt = −k |v − w| (v − w) − g ĵ        k = ρ C_d A / (2 m)
//! ```
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | v, w | velocity of the lure, of the air (level) | m/s |
//! | k | drag parameter | 1/m |
//! | ρ, C_d A, m | air density, drag area, mass | kg/m³, m², kg |
//! | g | 9.80665, standard gravity | m/s² |
//!
//! **Source.** The law of quadratic (Newton's) drag; the first integral in the slope is the
//! classical hodograph (Johann Bernoulli 1719; textbook exterior ballistics, from memory, no
//! equation number at hand). **Method.** In the frame of the air the path is plane. With the slope
//! as λ (vertical over level airspeed = sinh λ; λ = a at release, then falling) and s the airspeed,
//! dλ/dt = −g/s and
//!
//! ```text
//! 1/s² = { cosh²a/s₀² + (k/g) [ (a − λ) + (sinh 2a − sinh 2λ)/2 ] } / cosh²λ
//! t = ∫ s/g dδ    level = ∫ s² sech λ /g dδ    height = ∫ s² tanh λ /g dδ     δ = a − λ
//! ```
//!
//! so the flight is three integrals of analytic functions and one root. Their nearest
//! singularities are the place δ = −d where 1/s² would vanish, which lies at least ln(1 + g/(k s₀²))/2
//! behind the release, and the line |Im λ| ≥ π/2 (1/s² has no complex zero nearer). Pieces no wider
//! than 2 and twice the distance to the first make 16-point Gauss-Legendre exact to rounding.
//! Straight up or down in still air, and no drag, are taken in closed form.
//!
//! **Validity.** Constant C_d A (no tumbling told apart from flying straight), no line, no lift,
//! wind and density the same everywhere, lands at height 0. **Accuracy.** 1e-10 of range, drift,
//! time and speed (our estimate, from some hundreds of random cases against an integrator; range
//! and drift of the whole path where they nearly cancel). **Outside** the limits of [`Cast`]: a
//! typed error.

use super::domain::{OutsideDomain, within};

pub use super::air::GRAVITY_M_S2;

/// Positive nodes and weights of the 16-point Gauss-Legendre rule on −1 to 1.
const GAUSS: [(f64, f64); 8] = [
    (0.095_012_509_837_637_44, 0.189_450_610_455_068_5),
    (0.281_603_550_779_258_9, 0.182_603_415_044_923_58),
    (0.458_016_777_657_227_4, 0.169_156_519_395_002_54),
    (0.617_876_244_402_643_8, 0.149_595_988_816_576_74),
    (0.755_404_408_355_003, 0.124_628_971_255_533_88),
    (0.865_631_202_387_831_8, 0.095_158_511_682_492_79),
    (0.944_575_023_073_232_6, 0.062_253_523_938_647_894),
    (0.989_400_934_991_649_9, 0.027_152_459_411_754_096),
];

/// A throw. Angles in radians, all else as the names say.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cast {
    /// Speed over ground at release, 0 to 300.
    pub speed_m_s: f64,
    /// Angle of release above the level, −π/2 to π/2.
    pub angle_rad: f64,
    /// Height of release above the water, 0 to 1000.
    pub height_m: f64,
    /// Mass, 1e-6 to 100.
    pub mass_kg: f64,
    /// Drag coefficient times frontal area, 0 to 10.
    pub drag_area_m2: f64,
    /// Wind along the throw, a tail wind positive, −100 to 100.
    pub wind_along_m_s: f64,
    /// Wind across the throw, −100 to 100; drift has its sign.
    pub wind_across_m_s: f64,
    /// Density of the air, 0 to 10.
    pub air_density_kg_m3: f64,
}

/// Where and how a throw lands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Landing {
    /// Distance along the throw, metres.
    pub range_m: f64,
    /// Distance across the throw, metres.
    pub drift_m: f64,
    /// Time in the air, seconds.
    pub time_s: f64,
    /// Speed over ground on landing, m/s.
    pub impact_speed_m_s: f64,
}

/// A point of a flight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FlightPoint {
    /// Time since release, seconds.
    pub time_s: f64,
    /// Along the throw, metres.
    pub along_m: f64,
    /// Across the throw, metres.
    pub across_m: f64,
    /// Height above the water, metres.
    pub height_m: f64,
    /// Speed over ground, m/s.
    pub speed_m_s: f64,
}

/// Where a throw lands.
///
/// Equations, source, validity and accuracy: head of this module.
///
/// # Errors
///
/// [`OutsideDomain`] names the first field outside its limits.
///
/// ```
/// use core::f64::consts::FRAC_PI_4;
/// use deepbend_core::mechanics::flight::{Cast, fly};
///
/// let landing = fly(&Cast {
///     speed_m_s: 30.0,
///     angle_rad: FRAC_PI_4,
///     height_m: 0.0,
///     mass_kg: 0.01,
///     drag_area_m2: 0.0,
///     wind_along_m_s: 0.0,
///     wind_across_m_s: 0.0,
///     air_density_kg_m3: 1.225,
/// })?;
/// assert!((landing.range_m - 900.0 / 9.80665).abs() < 1e-9); // v² sin 2α / g
/// # Ok::<(), deepbend_core::mechanics::domain::OutsideDomain>(())
/// ```
pub fn fly(cast: &Cast) -> Result<Landing, OutsideDomain> {
    let flight = Flight::new(cast)?;
    let end = flight.landing();
    let point = flight.over_ground(&end);
    Ok(Landing {
        range_m: point.along_m,
        drift_m: point.across_m,
        time_s: point.time_s,
        impact_speed_m_s: point.speed_m_s,
    })
}

/// `count` points (at least two) of a flight at even times from release to landing.
///
/// Source, validity and accuracy as for [`fly`].
///
/// # Errors
///
/// [`OutsideDomain`] names the first field outside its limits.
pub fn path(cast: &Cast, count: usize) -> Result<Vec<FlightPoint>, OutsideDomain> {
    let flight = Flight::new(cast)?;
    let end = flight.landing();
    let count = count.max(2);
    let mut now = flight.release();
    let mut points = Vec::with_capacity(count);
    points.push(flight.over_ground(&now));
    for index in 1..count - 1 {
        now = flight.at_time(now, end.time * index as f64 / (count - 1) as f64);
        points.push(flight.over_ground(&now));
    }
    points.push(FlightPoint { height_m: 0.0, ..flight.over_ground(&end) });
    Ok(points)
}

/// How the flight is solved.
#[derive(Debug, Clone, Copy)]
enum Law {
    /// No drag: parabola.
    Free,
    /// Straight up or down through still air.
    Plumb,
    /// By the slope.
    Sloped(Slope),
}

/// What the first integral needs.
#[derive(Debug, Clone, Copy)]
struct Slope {
    /// k/g.
    drag: f64,
    /// λ at release.
    start: f64,
    /// e^λ at release.
    grown: f64,
    /// cosh²a/s₀².
    energy: f64,
    /// At most the distance behind the release at which the speed would have no bound.
    behind: f64,
}

#[derive(Debug, Clone, Copy)]
struct Flight<'a> {
    cast: &'a Cast,
    /// Level airspeed and its direction along and across.
    level: f64,
    along: f64,
    across: f64,
    /// Upward speed at release.
    rise: f64,
    /// k.
    drag: f64,
    law: Law,
}

/// In the frame of the air, from the release.
#[derive(Debug, Clone, Copy)]
struct Place {
    /// δ, for [`Law::Sloped`] only.
    slope: f64,
    time: f64,
    level: f64,
    height: f64,
    level_speed: f64,
    rise: f64,
}

impl<'a> Flight<'a> {
    fn new(cast: &'a Cast) -> Result<Self, OutsideDomain> {
        let right = core::f64::consts::FRAC_PI_2;
        let checks = [
            ("speed_m_s", cast.speed_m_s, 0.0, 300.0),
            ("angle_rad", cast.angle_rad, -right, right),
            ("height_m", cast.height_m, 0.0, 1000.0),
            ("mass_kg", cast.mass_kg, 1e-6, 100.0),
            ("drag_area_m2", cast.drag_area_m2, 0.0, 10.0),
            ("wind_along_m_s", cast.wind_along_m_s, -100.0, 100.0),
            ("wind_across_m_s", cast.wind_across_m_s, -100.0, 100.0),
            ("air_density_kg_m3", cast.air_density_kg_m3, 0.0, 10.0),
        ];
        for (field, value, low, high) in checks {
            within(field, value, low, high)?;
        }
        let along = cast.speed_m_s * libm::cos(cast.angle_rad) - cast.wind_along_m_s;
        let across = -cast.wind_across_m_s;
        let level = libm::hypot(along, across);
        let rise = cast.speed_m_s * libm::sin(cast.angle_rad);
        let speed = libm::hypot(level, rise);
        let drag = cast.air_density_kg_m3 * cast.drag_area_m2 / (2.0 * cast.mass_kg);
        let law = if drag <= 1e-15 {
            Law::Free
        } else if level <= 1e-60 * speed || speed <= 1e-60 {
            Law::Plumb
        } else {
            let start = libm::asinh(rise / level);
            let energy = 1.0 / (level * level);
            let behind = 0.5 * libm::log1p(GRAVITY_M_S2 / (drag * speed * speed));
            let drag = drag / GRAVITY_M_S2;
            Law::Sloped(Slope { drag, start, grown: libm::exp(start), energy, behind })
        };
        let (along, across) =
            if level > 0.0 { (along / level, across / level) } else { (0.0, 0.0) };
        Ok(Self { cast, level, along, across, rise, drag, law })
    }

    fn release(&self) -> Place {
        Place {
            slope: 0.0,
            time: 0.0,
            level: 0.0,
            height: 0.0,
            level_speed: self.level,
            rise: self.rise,
        }
    }

    fn over_ground(&self, place: &Place) -> FlightPoint {
        let cast = self.cast;
        let along = cast.wind_along_m_s + self.along * place.level_speed;
        let across = cast.wind_across_m_s + self.across * place.level_speed;
        FlightPoint {
            time_s: place.time,
            along_m: cast.wind_along_m_s * place.time + self.along * place.level,
            across_m: cast.wind_across_m_s * place.time + self.across * place.level,
            height_m: cast.height_m + place.height,
            speed_m_s: libm::hypot(libm::hypot(along, across), place.rise),
        }
    }

    fn landing(&self) -> Place {
        let fall = self.cast.height_m;
        if fall <= 0.0 && self.rise <= 0.0 {
            return self.release();
        }
        match &self.law {
            Law::Free => {
                let (rise, gravity) = (self.rise, GRAVITY_M_S2);
                let root = libm::sqrt(rise * rise + 2.0 * gravity * fall);
                // Two forms of one root, each where it does not cancel.
                let time =
                    if rise > 0.0 { (rise + root) / gravity } else { 2.0 * fall / (root - rise) };
                self.free(time)
            }
            Law::Plumb => self.plumb_landing(),
            Law::Sloped(slope) => slope.landing(self.release(), fall),
        }
    }

    /// The place at `time`, not before `from`.
    fn at_time(&self, from: Place, time: f64) -> Place {
        match &self.law {
            Law::Free => self.free(time),
            Law::Plumb => self.plumb(time),
            Law::Sloped(slope) => slope.find(from, |p| p.time - time, |p| p.speed() / GRAVITY_M_S2),
        }
    }

    /// Parabola.
    fn free(&self, time: f64) -> Place {
        Place {
            slope: 0.0,
            time,
            level: self.level * time,
            height: (self.rise - 0.5 * GRAVITY_M_S2 * time) * time,
            level_speed: self.level,
            rise: self.rise - GRAVITY_M_S2 * time,
        }
    }

    /// Terminal speed √(g/k) and the rate √(g k) at which it is neared.
    fn terminal(&self) -> (f64, f64) {
        (libm::sqrt(GRAVITY_M_S2 / self.drag), libm::sqrt(GRAVITY_M_S2 * self.drag))
    }

    /// Straight up or down: closed forms with tangents, circular up and hyperbolic down.
    fn plumb(&self, time: f64) -> Place {
        let (terminal, rate) = self.terminal();
        let k = self.drag;
        let ratio = self.rise / terminal;
        let top = if ratio > 0.0 { libm::atan(ratio) / rate } else { 0.0 };
        let summit = 0.5 * libm::log1p(ratio * ratio) / k;
        let (height, rise) = if time < top {
            let share = libm::tan(rate * (top - time));
            (summit - 0.5 * libm::log1p(share * share) / k, terminal * share)
        } else if ratio > 0.0 {
            let now = rate * (time - top);
            (summit - log_cosh(now) / k, -terminal * libm::tanh(now))
        } else {
            // From a downward speed, which may be above the terminal one.
            let now = rate * time;
            let sinh = -0.5 * libm::expm1(-2.0 * now);
            let cosh = 1.0 - sinh;
            let gain = cosh - ratio * sinh;
            let fall = if now < 0.5 {
                let half = libm::sinh(0.5 * now);
                libm::log1p(2.0 * half * half - ratio * libm::sinh(now))
            } else {
                now + libm::log(gain)
            };
            (-fall / k, -terminal * (sinh - ratio * cosh) / gain)
        };
        Place { slope: 0.0, time, level: 0.0, height, level_speed: 0.0, rise }
    }

    fn plumb_landing(&self) -> Place {
        let (terminal, rate) = self.terminal();
        let (k, fall) = (self.drag, self.cast.height_m);
        let ratio = self.rise / terminal;
        // v² = v_t² − (v_t² − v₀²) e^(−2 k h) over a fall of h from the summit or the hand.
        let (begin, top, height) = if ratio > 0.0 {
            let summit = 0.5 * libm::log1p(ratio * ratio) / k;
            (0.0, libm::atan(ratio) / rate, fall + summit)
        } else {
            (-ratio, 0.0, fall)
        };
        let share = -libm::expm1(-2.0 * k * height);
        let end = libm::sqrt(begin * begin + (1.0 - begin * begin) * share);
        // Time: atanh u₁ − atanh u₀ (or arcoth); with (1 + u₁)²/(1 + u₀)² e^(2kh) under one log.
        let time = (libm::log1p((end - begin) / (1.0 + begin)) + k * height) / rate;
        let place =
            Place { slope: 0.0, time: top + time, level: 0.0, height: -fall, ..self.release() };
        Place { level_speed: 0.0, rise: -terminal * end, ..place }
    }
}

impl Place {
    fn speed(&self) -> f64 {
        libm::hypot(self.level_speed, self.rise)
    }
}

/// ln cosh x without overflow.
fn log_cosh(x: f64) -> f64 {
    if x < 0.5 {
        let half = libm::sinh(0.5 * x);
        libm::log1p(2.0 * half * half)
    } else {
        x + libm::log1p(libm::expm1(-2.0 * x) * 0.5)
    }
}

/// Speed, sech λ and tanh λ at a δ.
struct Heading {
    speed: f64,
    sech: f64,
    tanh: f64,
}

impl Slope {
    fn heading(&self, delta: f64) -> Heading {
        let left = libm::exp(-delta);
        let grown = self.grown * left;
        let square = grown * grown;
        let share = 1.0 / (1.0 + square);
        let sech = 2.0 * grown * share;
        let lambda = self.start - delta;
        let level = libm::fabs(lambda) < 0.5;
        let tanh = if level { libm::tanh(lambda) } else { (square - 1.0) * share };
        // [δ + (sinh 2a − sinh 2λ)/2] sech²λ; below 1 in a form that does not cancel.
        let spent = if delta < 1.0 {
            let mean = self.grown * grown;
            let cosh = 0.5 * (mean + 1.0 / mean);
            (delta + cosh * libm::sinh(delta)) * sech * sech
        } else {
            let first = 0.25 * (self.grown * self.grown - 1.0 / (self.grown * self.grown));
            (delta + first) * sech * sech - tanh
        };
        let inverse = self.energy * sech * sech + self.drag * spent;
        Heading { speed: 1.0 / libm::sqrt(inverse), sech, tanh }
    }

    /// From a place on to a δ beyond it, at most one piece wide.
    fn walk(&self, from: &Place, delta: f64) -> Place {
        let half = 0.5 * (delta - from.slope);
        let middle = from.slope + half;
        let (mut time, mut level, mut height) = (0.0, 0.0, 0.0);
        for (node, weight) in GAUSS {
            for at in [middle - half * node, middle + half * node] {
                let h = self.heading(at);
                time += weight * h.speed;
                level += weight * h.speed * h.speed * h.sech;
                height += weight * h.speed * h.speed * h.tanh;
            }
        }
        let scale = half / GRAVITY_M_S2;
        let end = self.heading(delta);
        Place {
            slope: delta,
            time: from.time + scale * time,
            level: from.level + scale * level,
            height: from.height + scale * height,
            level_speed: end.speed * end.sech,
            rise: end.speed * end.tanh,
        }
    }

    /// The δ at which the piece after a place ends.
    fn piece_end(&self, from: &Place) -> f64 {
        from.slope + (2.0 * (from.slope + self.behind)).min(2.0)
    }

    fn landing(&self, release: Place, fall: f64) -> Place {
        // Nothing lands before the summit.
        let mut from = release;
        while from.slope < self.start {
            from = self.walk(&from, self.piece_end(&from).min(self.start));
        }
        self.find(from, |p| -fall - p.height, |p| p.speed() * -p.rise / GRAVITY_M_S2)
    }

    /// The place at or after `from` where `miss`, rising with δ from 0 or less, is 0; `slope` is
    /// its derivative by δ.
    fn find(
        &self,
        mut from: Place,
        miss: impl Fn(&Place) -> f64,
        slope: impl Fn(&Place) -> f64,
    ) -> Place {
        let mut ahead = self.walk(&from, self.piece_end(&from));
        while miss(&ahead) < 0.0 {
            if let Some(place) = self.settled(&ahead, &miss, &slope) {
                return place;
            }
            from = ahead;
            ahead = self.walk(&from, self.piece_end(&from));
        }
        let (mut low, mut high) = (from.slope, ahead.slope);
        let mut place = ahead;
        for _ in 0..60 {
            let error = miss(&place);
            if error < 0.0 {
                low = place.slope;
            } else {
                high = place.slope;
            }
            let mut next = place.slope - error / slope(&place);
            if !(next >= low && next <= high) {
                next = 0.5 * (low + high);
            }
            let step = libm::fabs(next - place.slope);
            place = self.walk(&from, next);
            if step <= 1e-8 * (next - from.slope) {
                break;
            }
        }
        place
    }

    /// The sought place in closed form once the lure falls straight at terminal speed.
    fn settled(
        &self,
        from: &Place,
        miss: impl Fn(&Place) -> f64,
        slope: impl Fn(&Place) -> f64,
    ) -> Option<Place> {
        let terminal = 1.0 / libm::sqrt(self.drag);
        let still = libm::fabs(from.rise + terminal) <= 1e-15 * terminal
            && from.level_speed <= 1e-13 * terminal;
        still.then(|| {
            let more = -miss(from) / slope(from);
            let time = more * terminal / GRAVITY_M_S2;
            let left = libm::exp(-more);
            Place {
                slope: from.slope + more,
                time: from.time + time,
                level: from.level + from.level_speed * (1.0 - left) * terminal / GRAVITY_M_S2,
                height: from.height - terminal * time,
                level_speed: from.level_speed * left,
                rise: -terminal,
            }
        })
    }
}
