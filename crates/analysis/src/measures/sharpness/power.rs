//! The mean log power spectrum of a halved picture, from many small tiles.

use std::f64::consts::PI;

use rawassay_fourier::{Complex32, forward};

use super::pyramid::{Level, holds_saturated};
use super::samples::SampleNoise;

/// Side of a tile, level pixels.
pub(super) const TILE: usize = 64;
/// Tiles looked at, and taken, at most.
const MOST_PLACES: usize = 420;
const MOST_TILES: usize = 200;
/// Tiles from which the spectrum is read.
const LEAST_TILES: usize = 6;
/// Power at low frequencies over that of the noise from which a tile counts.
const LEAST_SIGNAL: f32 = 8.0;
/// Share of clipped pixels that a tile may hold.
const MOST_CLIPPED: f32 = 0.005;
/// Rows and columns of the spectrum next to its axes: what is upright or level in a scene is strong there.
pub(super) const BESIDE_AXES: i32 = 1;

/// Mean over the tiles of ln (power / noise power), by row and column of the transform.
pub(super) fn mean_ln_power(level: &Level, noise: SampleNoise) -> Option<Vec<f32>> {
    if level.width < TILE || level.height < TILE {
        return None;
    }
    let steps = |length: usize, step: usize| (length - TILE) / step + 1;
    let mut step = TILE / 2;
    while steps(level.width, step) * steps(level.height, step) > MOST_PLACES {
        step += 4;
    }
    let window: Vec<f32> =
        (0..TILE).map(|i| 0.5 - 0.5 * (2.0 * PI as f32 * (i as f32 + 0.5) / TILE as f32).cos()).collect();
    let sum: f32 = window.iter().sum();
    let sum2: f32 = window.iter().map(|w| w * w).sum();
    let transform = forward(TILE);
    let mut scratch = vec![Complex32::default(); transform.get_inplace_scratch_len()];
    let mut tiles: Vec<(f32, Vec<f32>)> = Vec::new();
    for y in (0..=level.height - TILE).step_by(step) {
        for x in (0..=level.width - TILE).step_by(step) {
            let rows = || (y..y + TILE).map(|j| &level.dn[j * level.width + x..][..TILE]);
            let clipped = rows().flatten().filter(|dn| holds_saturated(**dn)).count();
            if clipped as f32 > MOST_CLIPPED * (TILE * TILE) as f32 {
                continue;
            }
            let bright = rows().flatten().copied().filter(|dn| !holds_saturated(*dn)).fold(0.0, f32::max);
            let value = |dn: f32| if holds_saturated(dn) { bright } else { dn };
            let mean = rows()
                .zip(&window)
                .map(|(row, wy)| row.iter().zip(&window).map(|(dn, wx)| value(*dn) * wx * wy).sum::<f32>())
                .sum::<f32>()
                / (sum * sum);
            let mut cells: Vec<Complex32> = rows()
                .zip(&window)
                .flat_map(|(row, wy)| row.iter().zip(&window).map(move |(dn, wx)| (*dn, wx * wy)))
                .map(|(dn, w)| Complex32::new((value(dn) - mean) * w, 0.0))
                .collect();
            transform.process_with_scratch(&mut cells, &mut scratch);
            transpose(&mut cells);
            transform.process_with_scratch(&mut cells, &mut scratch);
            let expected = noise.variance(mean) / level.samples * sum2 * sum2;
            let power: Vec<f32> = cells.iter().map(|c| c.norm_sqr() / expected + 1e-6).collect();
            let low: f32 =
                (1..8).flat_map(|u| (1..8).map(move |v| power_at(u, v))).map(|k| power[k]).sum::<f32>() / 49.0;
            if low > LEAST_SIGNAL {
                tiles.push((low, power));
            }
        }
    }
    tiles.sort_by(|a, b| b.0.total_cmp(&a.0));
    tiles.truncate(MOST_TILES.min(tiles.len() * 7 / 10));
    if tiles.len() < LEAST_TILES {
        return None;
    }
    let mut mean = vec![0.0_f32; TILE * TILE];
    for (_, power) in &tiles {
        for (mean, power) in mean.iter_mut().zip(power) {
            *mean += power.ln();
        }
    }
    // The mean of ln of an exponential variate lies Euler's constant below the ln of its mean.
    let share = 1.0 / tiles.len() as f32;
    Some(mean.into_iter().map(|sum| sum.mul_add(share, 0.577_216)).collect())
}

/// Index of column frequency `u` and row frequency `v` in a transposed transform.
pub(super) fn power_at(u: usize, v: usize) -> usize {
    u * TILE + v
}

fn transpose(cells: &mut [Complex32]) {
    for y in 0..TILE {
        for x in 0..y {
            cells.swap(y * TILE + x, x * TILE + y);
        }
    }
}

/// Mean of the ring between 0.44 and 0.5 of the sampling frequency.
pub(super) fn outermost(power: &[f32]) -> f64 {
    let half = (TILE / 2) as i32;
    let (mut sum, mut n) = (0.0, 0.0);
    for v in -half..half {
        for u in 0..half {
            let f = f64::from(u).hypot(f64::from(v)) / TILE as f64;
            if (0.44..0.5).contains(&f) && u > BESIDE_AXES && v.abs() > BESIDE_AXES {
                sum += f64::from(power[power_at(u as usize, v.rem_euclid(TILE as i32) as usize)]);
                n += 1.0;
            }
        }
    }
    sum / f64::max(n, 1.0)
}
