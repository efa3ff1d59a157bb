//! What rounding to whole DN adds to a variance.
//!
//! Source: Widrow and Kollar, Quantization Noise, 2008 (Sheppard's correction and the series of what is left).

use std::f64::consts::PI;

use super::line_fit::Point;

/// Variance that it adds on average.
pub(crate) const ROUNDING: f64 = 1.0 / 12.0;

/// What it may be off by in the darkest tones at the least, DN squared.
const LEAST_OFF: f64 = 0.004;

/// Terms of the series where noise may be as small as it likes: the rest adds 1/400 DN squared at the most.
const ALL: u32 = 40;

/// What rounding may do to the variance of the darkest tenth of the patches, DN squared, where `variance` is left without it.
/// It adds 1/12 on average over tones; to samples at one level, with noise of variance V, up to the sum over k of
/// (4 V + 1 / (pi k)^2) exp(-2 (pi k)^2 V) more or less (two terms are taken); tones that spread by a variance S leave
/// exp(-2 (pi k)^2 S) of each.
pub(super) fn rounding_off(variance: f64, points: &[Point]) -> f64 {
    let mut means: Vec<f64> = points.iter().map(|p| p.mean).collect();
    let dark = (means.len() / 10).max(means.len().min(8));
    if dark == 0 {
        return LEAST_OFF;
    }
    means.select_nth_unstable_by(dark - 1, f64::total_cmp);
    let mean = means[..dark].iter().sum::<f64>() / dark as f64;
    let spread = means[..dark].iter().map(|m| (m - mean).powi(2)).sum::<f64>() / dark as f64;
    let off = |v: f64| off(v, spread, 2);
    let least = root(0.0, variance.max(0.0), |v| v + off(v) < variance);
    off(least).max(LEAST_OFF)
}

/// The sum above, up to so many terms: noise of variance `v` about tones that spread by a variance `spread`.
fn off(v: f64, spread: f64, terms: u32) -> f64 {
    let term = |square: f64| (4.0 * v + 1.0 / square) * (-2.0 * square * (v + spread)).exp();
    (1..=terms).map(|k| term((PI * f64::from(k)).powi(2))).sum()
}

/// Where `below` ceases to hold.
fn root(mut low: f64, mut high: f64, below: impl Fn(f64) -> bool) -> f64 {
    for _ in 0..30 {
        let middle = f64::midpoint(low, high);
        if below(middle) { low = middle } else { high = middle }
    }
    low
}

/// The least and the greatest variance, DN squared, that may read as `variance` (left without `ROUNDING`) where all samples have
/// one level, as in dark frames.
pub(crate) fn at_one_level(variance: f64) -> (f64, f64) {
    // Half-way between two codes any noise below 0.2 DN reads as 1/4 DN squared in all: the least is none.
    let slack = if variance < 0.25 { 0.001 } else { 0.0 };
    let least = root(0.0, variance.max(0.0), |v| v + off(v, 0.0, ALL) < variance - slack);
    let most = root(variance.max(0.0), variance.max(0.0) + 1.0, |v| v - off(v, 0.0, ALL) < variance);
    (least, most)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure;
    use crate::test_frames::{Noise, Sensor};

    #[test]
    fn rounding_does_no_more_than_is_reckoned_with() {
        let mut rng = Noise::new(31);
        for sigma in [0.25_f64, 0.35, 0.45, 0.6, 1.0] {
            for level in [0.0, 0.25, 0.5] {
                let values: Vec<f64> = (0..200_000).map(|_| (level + sigma * rng.normal()).round()).collect();
                let mean = values.iter().sum::<f64>() / values.len() as f64;
                let all = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / values.len() as f64;
                let variance = all - ROUNDING;
                let at = |mean: f64| Point { mean, variance: all, samples: 64.0, freedom: 61.0, spread: 0.0 };
                let off = rounding_off(variance, &[at(level); 100]);
                assert!((variance - sigma * sigma).abs() < 1.05 * off, "{sigma} at {level}: {variance}, off {off}");
                // A ramp holds all levels alike.
                let ramp: Vec<Point> = (0..1_000).map(|i| at(0.03 * f64::from(i))).collect();
                assert_eq!(rounding_off(sigma * sigma, &ramp), LEAST_OFF);
            }
        }
        assert_eq!(rounding_off(9.0, &[]), LEAST_OFF);
    }

    #[test]
    fn one_level_reads_within_what_is_told() {
        let mut rng = Noise::new(77);
        for sigma in [0.1_f64, 0.2, 0.3, 0.4, 0.5, 0.7, 1.5] {
            for level in [0.0, 0.1, 0.25, 0.4, 0.5] {
                let values: Vec<f64> = (0..200_000).map(|_| (level + sigma * rng.normal()).round()).collect();
                let mean = values.iter().sum::<f64>() / values.len() as f64;
                let all = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / values.len() as f64;
                let (least, most) = at_one_level(all - ROUNDING);
                let chance = 0.02 * sigma * sigma;
                assert!(sigma * sigma > least - chance, "{sigma} at {level}: {least}");
                assert!(sigma * sigma < most + chance, "{sigma} at {level}: {most}");
            }
        }
        let (least, most) = at_one_level(2.25);
        assert!((most - least) < 1e-6, "{least} {most}");
    }

    #[test]
    fn read_noise_that_rounding_hides_is_left_open() {
        // A third of a DN, and nine tenths of the frame without light: all of it at one level.
        let sensor = Sensor { width: 1_024, height: 768, gain: 11.3, read_noise: 4.0, ..Sensor::default() };
        let lit = |x: usize, y: usize| if y < 690 { 0.0 } else { 400.0 * (1 + x / 100) as f64 };
        let noise = measure(&sensor.shoot(|x, y, _| lit(x, y))).noise;
        let truth_dn = 4.0 / 11.3;
        assert!(noise.read_noise_dn.is_none_or(|dn| (dn / truth_dn - 1.0).abs() < 0.15), "{noise:?}");
    }
}
