//! What rounding to whole DN adds to a variance.
//!
//! Source: Widrow and Kollar, Quantization Noise, 2008 (Sheppard's correction and the series of what is left).

use std::f64::consts::PI;

use super::line_fit::Point;

/// Variance that it adds on average.
pub(crate) const ROUNDING: f64 = 1.0 / 12.0;

/// What it may be off by in the darkest tones at the least, DN squared.
const LEAST_OFF: f64 = 0.004;

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
    let term = |v: f64, square: f64| (4.0 * v + 1.0 / square) * (-2.0 * square * (v + spread)).exp();
    let off = |v: f64| term(v, PI.powi(2)) + term(v, (2.0 * PI).powi(2));
    // The least variance that may read as this one.
    let (mut least, mut most) = (0.0, variance.max(0.0));
    for _ in 0..30 {
        let middle = f64::midpoint(least, most);
        if middle + off(middle) < variance { least = middle } else { most = middle }
    }
    off(least).max(LEAST_OFF)
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
                let at = |mean: f64| Point { mean, variance: all, freedom: 61.0 };
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
    fn read_noise_that_rounding_hides_is_left_open() {
        // A third of a DN, and nine tenths of the frame without light: all of it at one level.
        let sensor = Sensor { width: 1_024, height: 768, gain: 11.3, read_noise: 4.0, ..Sensor::default() };
        let lit = |x: usize, y: usize| if y < 690 { 0.0 } else { 400.0 * (1 + x / 100) as f64 };
        let noise = measure(&sensor.shoot(|x, y, _| lit(x, y))).noise;
        let truth_dn = 4.0 / 11.3;
        assert!(noise.read_noise_dn.is_none_or(|dn| (dn / truth_dn - 1.0).abs() < 0.15), "{noise:?}");
    }
}
