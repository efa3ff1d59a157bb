//! A few samples round a pixel: their mean and highest, one that is hot itself left out.

/// A sample stands alone above others: by so many of their differences, and so many standard deviations.
pub(super) const ALONE: (f64, f64) = (3.0, 6.0);

/// Sum, extremes and second highest of a few samples.
#[derive(Clone, Copy)]
pub(super) struct Sorted {
    pub(super) count: u32,
    sum: u32,
    low: u16,
    high: u16,
    second: u16,
}

impl Default for Sorted {
    fn default() -> Self {
        Self { count: 0, sum: 0, low: u16::MAX, high: 0, second: 0 }
    }
}

impl Sorted {
    pub(super) fn add(&mut self, v: u16) {
        self.count += 1;
        self.sum += u32::from(v);
        self.low = self.low.min(v);
        self.second = self.second.max(self.high.min(v));
        self.high = self.high.max(v);
    }

    /// The lowest.
    pub(super) fn low(&self) -> f64 {
        f64::from(self.low)
    }

    /// Mean without the lowest and the highest, where there are enough.
    pub(super) fn mean(&self) -> f64 {
        if self.count >= 4 {
            f64::from(self.sum - u32::from(self.low) - u32::from(self.high)) / f64::from(self.count - 2)
        } else {
            f64::from(self.sum) / f64::from(self.count.max(1))
        }
    }

    /// The highest; the second, where the highest stands out alone and so is hot itself.
    pub(super) fn highest(&self, noise: f64) -> f64 {
        let (high, second) = (f64::from(self.high), f64::from(self.second));
        let above = high - second;
        let alone = self.count >= 4 && above > ALONE.0 * (second - self.low()) && above > ALONE.1 * noise;
        if alone { second } else { high }
    }
}
