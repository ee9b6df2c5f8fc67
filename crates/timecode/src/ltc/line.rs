//! Points in, the least-squares line through them out.

/// A line.
pub(super) struct Line {
    count: f64,
    middle: f64,
    mean: f64,
    pub slope: f64,
    /// The sum of the squares of all first coordinates about their middle.
    square: f64,
}

impl Line {
    /// The line through at least two points, given as where and how much.
    pub(super) fn through(points: impl Iterator<Item = (f64, f64)> + Clone) -> Self {
        let sum = |(count, x, y): (f64, f64, f64), point: (f64, f64)| {
            (count + 1.0, x + point.0, y + point.1)
        };
        let (count, x, y) = points.clone().fold((0.0, 0.0, 0.0), sum);
        let (middle, mean) = (x / count, y / count);
        let (square, across) = points.fold((0.0, 0.0), |(square, across), (x, y)| {
            let x = x - middle;
            (square + x * x, across + x * (y - mean))
        });
        Self {
            count,
            middle,
            mean,
            slope: across / square,
            square,
        }
    }

    /// The variance of the slope for points of variance 1.
    pub(super) fn slope_variance(&self) -> f64 {
        1.0 / self.square
    }

    pub(super) fn at(&self, place: f64) -> f64 {
        self.mean + self.slope * (place - self.middle)
    }

    /// The variance of the line at a place for points of variance 1.
    pub(super) fn variance(&self, place: f64) -> f64 {
        1.0 / self.count + (place - self.middle).powi(2) / self.square
    }
}
