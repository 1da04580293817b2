//! Piecewise curves.

use serde::Deserialize;

/// A curve through points, constant beyond its ends.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(transparent)]
pub struct Ladder {
    points: Vec<(f64, f64)>,
}

impl Ladder {
    /// Whether the points stand in rising order of x and there are at least two.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        self.points.len() >= 2
            && self.points.windows(2).all(|w| w[0].0 < w[1].0)
            && self.points.iter().all(|p| p.0.is_finite() && p.1.is_finite())
    }

    /// Value at `x`, linear between the points.
    #[must_use]
    pub fn at(&self, x: f64) -> f64 {
        self.interpolate(x, |v| v)
    }

    /// Value at `x`, linear in ln x between the points; all x must be positive.
    #[must_use]
    pub fn at_log(&self, x: f64) -> f64 {
        self.interpolate(x, libm::log)
    }

    /// Value at `x`, linear in ln y between the points; all y must be positive.
    #[must_use]
    pub fn at_ratio(&self, x: f64) -> f64 {
        let points = &self.points;
        let above = points.partition_point(|p| p.0 <= x).clamp(1, points.len() - 1);
        let ((x0, y0), (x1, y1)) = (points[above - 1], points[above]);
        y0 * libm::exp(libm::log(y1 / y0) * ((x - x0) / (x1 - x0)).clamp(0.0, 1.0))
    }

    /// The x at which [`Ladder::at`] is `y`, held within the ends; y must rise with x.
    #[must_use]
    pub fn x_at(&self, y: f64) -> f64 {
        let ((x0, y0), (x1, y1)) = self.round_y(y);
        x0 + (x1 - x0) * ((y - y0) / (y1 - y0)).clamp(0.0, 1.0)
    }

    /// The x at which [`Ladder::at_log`] is `y`, held within the ends; y must rise with x.
    #[must_use]
    pub fn x_at_log(&self, y: f64) -> f64 {
        let ((x0, y0), (x1, y1)) = self.round_y(y);
        x0 * libm::pow(x1 / x0, ((y - y0) / (y1 - y0)).clamp(0.0, 1.0))
    }

    /// The x at which [`Ladder::at_ratio`] is `y`, held within the ends; y must rise with x.
    #[must_use]
    pub fn x_at_ratio(&self, y: f64) -> f64 {
        let ((x0, y0), (x1, y1)) = self.round_y(y);
        x0 + (x1 - x0) * (libm::log(y / y0) / libm::log(y1 / y0)).clamp(0.0, 1.0)
    }

    /// The points between which `y` lies, or those nearest to it.
    fn round_y(&self, y: f64) -> ((f64, f64), (f64, f64)) {
        let points = &self.points;
        let above = points.partition_point(|p| p.1 <= y).clamp(1, points.len() - 1);
        (points[above - 1], points[above])
    }

    fn interpolate(&self, x: f64, scale: impl Fn(f64) -> f64) -> f64 {
        let points = &self.points;
        // A handful of points: a scan is quicker than a search.
        let Some(above) = points.iter().position(|p| p.0 > x) else {
            return points[points.len() - 1].1;
        };
        if above == 0 {
            return points[0].1;
        }
        let ((x0, y0), (x1, y1)) = (points[above - 1], points[above]);
        y0 + (y1 - y0) * (scale(x) - scale(x0)) / (scale(x1) - scale(x0))
    }

    /// The points.
    #[must_use]
    pub fn points(&self) -> &[(f64, f64)] {
        &self.points
    }
}
