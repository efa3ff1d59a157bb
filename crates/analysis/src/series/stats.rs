//! Medians with intervals, for few frames.
//!
//! From five values on, the interval of a median is that of its order statistics (sign test; exact for any
//! distribution, at least 90 %). From two to four values it is Student's t on the mean's scale, widened by the
//! median's efficiency for a normal distribution: wide, as it should be. One value has no interval.

/// Two-sided 90 % point of the normal distribution.
const Z90: f64 = 1.644_853_626_951_472_7;

/// 95 % points of Student's t for 1, 2 and 3 degrees of freedom (tables; checked against scipy in the tests).
const T95: [f64; 3] = [6.313_751_515, 2.919_985_580, 2.353_363_435];

/// Standard error of the median over that of the mean, normal values, for 2, 3 and 4 values: 1 / sqrt(efficiency),
/// efficiencies 1, 0.743 and 0.838 (order statistics of the normal distribution).
const MEDIAN_OVER_MEAN: [f64; 3] = [1.0, 1.160, 1.092];

/// A median and its 90 % interval.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Estimate {
    /// Median; `None` where no frame has the value.
    pub value: Option<f64>,
    /// Lower end of the 90 % interval; `None` where there are too few frames.
    pub low: Option<f64>,
    /// Upper end.
    pub high: Option<f64>,
    /// Frames that have the value.
    pub frames: usize,
}

impl Estimate {
    /// A value without an interval.
    #[must_use]
    pub fn plain(value: Option<f64>, frames: usize) -> Self {
        Self { value: value.filter(|v| v.is_finite()), low: None, high: None, frames }
    }

    /// The same of lengths and frequencies: few and scattered values widen the interval, but never to below nothing.
    #[must_use]
    pub fn not_negative(self) -> Self {
        Self { low: self.low.map(|low| low.max(0.0)), ..self }
    }

    /// Lower end, or the value itself where there is no interval.
    #[must_use]
    pub fn low_or_value(&self) -> Option<f64> {
        self.low.or(self.value)
    }

    /// Upper end, or the value itself where there is no interval.
    #[must_use]
    pub fn high_or_value(&self) -> Option<f64> {
        self.high.or(self.value)
    }
}

/// Median of the values that are known, with its 90 % interval.
#[must_use]
pub fn estimate(values: impl IntoIterator<Item = Option<f64>>) -> Estimate {
    let mut known: Vec<f64> = values.into_iter().flatten().filter(|v| v.is_finite()).collect();
    known.sort_by(f64::total_cmp);
    let frames = known.len();
    let Some(value) = median(&known) else { return Estimate::default() };
    let (low, high) = match frames {
        0 | 1 => (None, None),
        2..=4 => {
            let n = frames as f64;
            let mean = known.iter().sum::<f64>() / n;
            let variance = known.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0);
            let half = T95[frames - 2] * MEDIAN_OVER_MEAN[frames - 2] * (variance / n).sqrt();
            (Some(value - half), Some(value + half))
        }
        _ => {
            let rank = order_rank(frames);
            (Some(known[rank - 1]), Some(known[frames - rank]))
        }
    };
    Estimate { value: Some(value), low, high, frames }
}

/// Median of sorted values.
#[must_use]
pub(super) fn median(sorted: &[f64]) -> Option<f64> {
    let n = sorted.len();
    match n {
        0 => None,
        _ if n % 2 == 1 => Some(sorted[n / 2]),
        _ => Some(0.5 * (sorted[n / 2 - 1] + sorted[n / 2])),
    }
}

/// Median of values in any order.
#[must_use]
pub(super) fn median_of(values: impl IntoIterator<Item = f64>) -> Option<f64> {
    let mut values: Vec<f64> = values.into_iter().filter(|v| v.is_finite()).collect();
    values.sort_by(f64::total_cmp);
    median(&values)
}

/// The rank r (from 1) for which the r-th smallest and r-th largest of `n` values hold the median with at least 90 %:
/// the largest r with 2 P(Binomial(n, 1/2) < r) <= 0.1.
fn order_rank(n: usize) -> usize {
    if n > 300 {
        return ((n as f64 - Z90 * (n as f64).sqrt()) / 2.0).floor() as usize;
    }
    let mut term = 0.5_f64.powi(n as i32);
    let mut below = 0.0;
    let mut rank = 0;
    while rank < n / 2 && 2.0 * (below + term) <= 0.1 {
        below += term;
        term *= (n - rank) as f64 / (rank + 1) as f64;
        rank += 1;
    }
    rank.max(1)
}

/// 90 % interval of a share of `hits` in `n` (Wilson 1927, score interval).
#[must_use]
pub fn share_interval(hits: usize, n: usize) -> (f64, f64) {
    if n == 0 {
        return (0.0, 1.0);
    }
    let (n, p, z2) = (n as f64, hits as f64 / n as f64, Z90 * Z90);
    let centre = (p + z2 / (2.0 * n)) / (1.0 + z2 / n);
    let half = Z90 / (1.0 + z2 / n) * (p * (1.0 - p) / n + z2 / (4.0 * n * n)).sqrt();
    ((centre - half).max(0.0), (centre + half).min(1.0))
}

/// Value at the share `at` (0..1) of a weighted sample, by ascending value.
#[must_use]
pub(super) fn weighted_quantile(sample: &mut [(f64, f64)], at: f64) -> Option<f64> {
    sample.sort_by(|a, b| a.0.total_cmp(&b.0));
    let total: f64 = sample.iter().map(|s| s.1).sum();
    if !(total > 0.0 && total.is_finite()) {
        return None;
    }
    let mut sum = 0.0;
    for &(value, weight) in sample.iter() {
        sum += weight;
        if sum >= at * total {
            return Some(value);
        }
    }
    sample.last().map(|s| s.0)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn a_length_is_never_below_nothing() {
        // Student's t of 1.5 and 5 px reaches to 3.25 - 6.31 x 1.75 = -7.8 px.
        let scattered = estimate([Some(1.5), Some(5.0)]);
        assert!((scattered.low.unwrap() + 7.799).abs() < 1e-3);
        let length = scattered.not_negative();
        assert_eq!((length.low, length.value, length.high), (Some(0.0), scattered.value, scattered.high));
        assert_eq!(Estimate::plain(Some(1.0), 1).not_negative().low, None);
    }

    /// Ranks of the 90 % sign-test interval: n = 5 gives the extremes (coverage 93.75 %), n = 8 rank 2 (92.97 %), n = 20
    /// rank 6 (95.9 %), n = 100 rank 42; computed with scipy.stats.binom.
    #[test]
    fn ranks_are_those_of_the_sign_test() {
        for (n, rank) in [(5, 1), (6, 1), (8, 2), (10, 2), (20, 6), (100, 42), (300, 136)] {
            assert_eq!(order_rank(n), rank, "n = {n}");
        }
    }

    #[test]
    fn few_values_give_wide_intervals_and_one_gives_none() {
        assert_eq!(estimate([Some(3.0), None]).low, None);
        // Two values 1 apart: mean +- 6.3138 * 0.5.
        let two = estimate([Some(3.0), Some(4.0)]);
        assert!((two.low.unwrap() - (3.5 - 3.156_875_8)).abs() < 1e-6);
        let many = estimate((0..101).map(|i| Some(f64::from(i))));
        assert_eq!(many.value, Some(50.0));
        assert_eq!((many.low, many.high), (Some(41.0), Some(59.0)));
    }

    /// Coverage over many normal samples of 2, 3, 4 and 7 values: near or above 90 %.
    #[test]
    fn intervals_hold_the_truth_as_often_as_they_say() {
        let mut state = 7_u64;
        let mut uniform = move || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            ((state >> 11) as f64 + 0.5) / (1_u64 << 53) as f64
        };
        for n in [2, 3, 4, 7] {
            let held = (0..4000)
                .filter(|_| {
                    let sample: Vec<Option<f64>> = (0..n)
                        .map(|_| Some((-2.0 * uniform().ln()).sqrt() * (std::f64::consts::TAU * uniform()).cos()))
                        .collect();
                    let e = estimate(sample);
                    e.low.unwrap() <= 0.0 && e.high.unwrap() >= 0.0
                })
                .count();
            assert!((3500..=3960).contains(&held), "n = {n}: {held} of 4000");
        }
    }

    /// 9 of 10 and 10 of 10, from the formula in Wilson 1927 with z = 1.6449.
    #[test]
    fn shares_near_one_keep_an_interval() {
        let (low, high) = share_interval(9, 10);
        assert!((low - 0.652).abs() < 0.002 && (high - 0.978).abs() < 0.002, "{low} {high}");
        let (low, high) = share_interval(10, 10);
        assert!((low - 0.787).abs() < 0.002 && high > 0.999_9, "{low} {high}");
    }
}
