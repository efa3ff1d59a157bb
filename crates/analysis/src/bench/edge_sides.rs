//! The plain sides of an edge: levels, fall of light across, tail of the spread, noise.

use super::edge_bins::{BINS_PER_PX, Sample};
use super::edge_profile::FLAT;
use crate::linear::Factors;

/// A slope or a tail of the sides counts from here on, standard errors.
const SIGNIFICANT: f64 = 3.0;

/// The plain sides of an edge.
pub(super) struct Sides {
    /// Levels far from the edge.
    pub(super) low: f64,
    pub(super) high: f64,
    /// Relative fall of the light across the edge, per px; 0 where none is seen.
    pub(super) slope: f64,
    /// What of the step lies beyond the window; 0 where none is seen.
    pub(super) tail: f64,
    /// Its standard error, where it can be told.
    pub(super) tail_error: Option<f64>,
}

impl Sides {
    /// Fits level, fall of light and tail to the sides. The edge spread of every lens ends in a tail that falls as 1/x
    /// (that of any aperture's diffraction); light falls by the same share on both sides.
    pub(super) fn of(esf: &[f64], half: f64, sigma_px: f64) -> Self {
        let place = |k: usize| (k as f64 + 0.5) / BINS_PER_PX - half;
        let mean = |from: f64, to: f64| {
            let values = || esf.iter().enumerate().filter(|(k, _)| (from..to).contains(&place(*k))).map(|(_, v)| v);
            values().sum::<f64>() / values().count().max(1) as f64
        };
        let third = 2.0 / 3.0 * half;
        let (low, high) = (mean(-half, -third), mean(third, half));
        let plain = Self { low, high, slope: 0.0, tail: 0.0, tail_error: None };
        let from = 6.0 * sigma_px + 3.0;
        if half < 3.0 * from || high <= low {
            return plain;
        }
        let outer = || esf.iter().enumerate().map(|(k, v)| (place(k), *v)).filter(|(t, _)| t.abs() > from);
        // Dark level, bright level, tail, fall.
        let terms = |t: f64| {
            let (side, level) = if t < 0.0 { ([1.0, 0.0], low) } else { ([0.0, 1.0], high) };
            [side[0], side[1], -1.0 / t, level * t]
        };
        let Some((fit, error)) = fitted(outer().map(|(t, v)| (terms(t), v))) else { return plain };
        let fall = (fit[3] / error[3]).abs() > SIGNIFICANT;
        let fit_and_error = if fall {
            Some((fit, error))
        } else {
            let first_three = |t: f64| {
                let [a, b, c, _] = terms(t);
                [a, b, c]
            };
            fitted(outer().map(|(t, v)| (first_three(t), v)))
                .map(|(f, e)| ([f[0], f[1], f[2], 0.0], [e[0], e[1], e[2], 0.0]))
        };
        let Some((fit, error)) = fit_and_error else { return plain };
        // The window cuts off at its fall, in the mean.
        let reach = half * (1.0 + FLAT) / 2.0;
        let share = |tail: f64| 2.0 * tail / reach / (high - low);
        let tail_error = Some(share(error[2].max(0.3 * fit[2])));
        if fit[2] > SIGNIFICANT * error[2] {
            return Self { low: fit[0], high: fit[1], slope: fit[3], tail: share(fit[2]), tail_error };
        }
        // Levels of the outer third, at the light that falls on the edge itself.
        let middle = f64::midpoint(third, half);
        Self {
            low: low / (1.0 - fit[3] * middle),
            high: high / (1.0 + fit[3] * middle),
            slope: fit[3],
            tail: 0.0,
            tail_error,
        }
    }
}

/// Least squares: coefficients and their standard errors.
fn fitted<const N: usize>(rows: impl Iterator<Item = ([f64; N], f64)> + Clone) -> Option<([f64; N], [f64; N])> {
    let (mut ata, mut atb, mut n) = ([[0.0; N]; N], [0.0; N], 0.0);
    for (row, v) in rows.clone() {
        for i in 0..N {
            for j in 0..N {
                ata[i][j] += row[i] * row[j];
            }
            atb[i] += row[i] * v;
        }
        n += 1.0;
    }
    let factors = Factors::of(ata)?;
    let fit = factors.solve(atb);
    let left: f64 = rows.map(|(row, v)| (v - row.iter().zip(&fit).map(|(a, b)| a * b).sum::<f64>()).powi(2)).sum();
    let variance = left / (n - N as f64).max(1.0);
    let error = std::array::from_fn(|i| {
        let mut unit = [0.0; N];
        unit[i] = 1.0;
        (factors.solve(unit)[i].max(0.0) * variance).sqrt()
    });
    Some((fit, error))
}

/// Spread of single samples on the outer thirds of the sides.
pub(super) fn noise(samples: &[Sample], half: f64) -> f64 {
    let variance = |bright: bool| {
        let outer = |s: &&Sample| if bright { s.0 > 2.0 / 3.0 * half } else { s.0 < -2.0 / 3.0 * half };
        let values: Vec<f64> = samples.iter().filter(outer).map(|s| s.2).collect();
        let n = values.len().max(1) as f64;
        let mean = values.iter().sum::<f64>() / n;
        values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / n
    };
    f64::midpoint(variance(false), variance(true)).sqrt()
}
