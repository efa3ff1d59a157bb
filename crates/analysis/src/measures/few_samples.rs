//! A few samples round a pixel: their mean and highest, one that is hot itself left out.

/// A sample stands alone above others: by so many of their differences, and so many standard deviations.
pub(super) const ALONE: (f64, f64) = (3.0, 6.0);

/// Sum, extremes and second highest of a few samples.
#[derive(Clone, Copy)]
pub(super) struct Sorted {
    pub(super) count: f64,
    sum: f64,
    pub(super) low: f64,
    high: f64,
    second: f64,
}

impl Default for Sorted {
    fn default() -> Self {
        Self { count: 0.0, sum: 0.0, low: f64::INFINITY, high: f64::NEG_INFINITY, second: f64::NEG_INFINITY }
    }
}

impl Sorted {
    pub(super) fn add(&mut self, v: f64) {
        self.count += 1.0;
        self.sum += v;
        self.low = self.low.min(v);
        if v > self.high {
            self.second = self.high;
            self.high = v;
        } else {
            self.second = self.second.max(v);
        }
    }

    /// Mean without the lowest and the highest, where there are enough.
    pub(super) fn mean(&self) -> f64 {
        if self.count >= 4.0 {
            (self.sum - self.low - self.high) / (self.count - 2.0)
        } else {
            self.sum / self.count.max(1.0)
        }
    }

    /// The highest; the second, where the highest stands out alone and so is hot itself.
    pub(super) fn highest(&self, noise: f64) -> f64 {
        let above = self.high - self.second;
        let alone = self.count >= 4.0 && above > ALONE.0 * (self.second - self.low) && above > ALONE.1 * noise;
        if alone { self.second } else { self.high }
    }
}
