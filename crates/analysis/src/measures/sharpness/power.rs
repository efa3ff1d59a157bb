//! The mean log power spectrum of a halved picture, from many small tiles.

use std::f64::consts::PI;

use rawassay_fourier::{Complex32, forward};

use super::lanes;
use super::pyramid::{Level, holds_saturated};
use super::samples::SampleNoise;

/// Side of a tile, level pixels.
pub(super) const TILE: usize = 64;
/// Columns of its transform that are looked at.
const HALF: usize = TILE / 2;
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

/// Mean over the tiles of ln (power / noise power), at [`power_at`] for the columns up to half of the sampling frequency.
pub(super) fn mean_ln_power(level: &Level, noise: SampleNoise) -> Option<Vec<f32>> {
    if level.width < TILE || level.height < TILE {
        return None;
    }
    let steps = |length: usize, step: usize| (length - TILE) / step + 1;
    let mut step = TILE / 2;
    while steps(level.width, step) * steps(level.height, step) > MOST_PLACES {
        step += 4;
    }
    let window: [f32; TILE] =
        std::array::from_fn(|i| 0.5 - 0.5 * (2.0 * PI as f32 * (i as f32 + 0.5) / TILE as f32).cos());
    let sum: f32 = window.iter().sum();
    let sum2: f32 = window.iter().map(|w| w * w).sum();
    let transform = forward(TILE);
    let mut scratch = vec![Complex32::default(); transform.get_inplace_scratch_len()];
    let mut tiles: Vec<(f32, Vec<f32>)> = Vec::new();
    let mut values = vec![0.0_f32; TILE * TILE];
    let (mut cells, mut turned) = (vec![Complex32::default(); TILE * TILE], vec![Complex32::default(); HALF * TILE]);
    for y in (0..=level.height - TILE).step_by(step) {
        for x in (0..=level.width - TILE).step_by(step) {
            if !gather(level, (x, y), &mut values) {
                continue;
            }
            let mean = weighted_sum(&values, &window) / (sum * sum);
            for ((cells, row), wy) in
                cells.as_chunks_mut::<TILE>().0.iter_mut().zip(values.as_chunks::<TILE>().0).zip(&window)
            {
                for ((cell, dn), wx) in cells.iter_mut().zip(row).zip(&window) {
                    *cell = Complex32::new((dn - mean) * (wx * wy), 0.0);
                }
            }
            transform.process_with_scratch(&mut cells, &mut scratch);
            // The samples are real: one half of the columns tells all.
            for (u, column) in turned.as_chunks_mut::<TILE>().0.iter_mut().enumerate() {
                column.iter_mut().zip(cells.as_chunks::<TILE>().0).for_each(|(to, row)| *to = row[u]);
            }
            transform.process_with_scratch(&mut turned, &mut scratch);
            let expected = noise.variance(mean) / level.samples * sum2 * sum2;
            let power = |cell: &Complex32| cell.norm_sqr() / expected + 1e-6;
            let low: f32 =
                (1..8).flat_map(|u| (1..8).map(move |v| power_at(u, v))).map(|k| power(&turned[k])).sum::<f32>() / 49.0;
            if low > LEAST_SIGNAL {
                tiles.push((low, turned.iter().map(power).collect()));
            }
        }
    }
    tiles.sort_by(|a, b| b.0.total_cmp(&a.0));
    tiles.truncate(MOST_TILES.min(tiles.len() * 7 / 10));
    if tiles.len() < LEAST_TILES {
        return None;
    }
    let mut mean = vec![0.0_f32; HALF * TILE];
    for (_, power) in &tiles {
        for (mean, power) in mean.iter_mut().zip(power) {
            *mean += lanes::ln(*power);
        }
    }
    // The mean of ln of an exponential variate lies Euler's constant below the ln of its mean.
    let share = 1.0 / tiles.len() as f32;
    Some(mean.into_iter().map(|sum| sum.mul_add(share, 0.577_216)).collect())
}

/// Index of column frequency `u` (below half of the side) and row frequency `v`.
pub(super) fn power_at(u: usize, v: usize) -> usize {
    u * TILE + v
}

/// The pixels of a tile, clipped ones as bright as the brightest other. False where too many are clipped.
fn gather(level: &Level, (x, y): (usize, usize), values: &mut [f32]) -> bool {
    let mut clipped = 0;
    for (row, to) in values.as_chunks_mut::<TILE>().0.iter_mut().enumerate() {
        to.copy_from_slice(&level.dn[(y + row) * level.width + x..][..TILE]);
        clipped += to.iter().map(|dn| u32::from(holds_saturated(*dn))).sum::<u32>();
    }
    if clipped as f32 > MOST_CLIPPED * (TILE * TILE) as f32 {
        return false;
    }
    if clipped > 0 {
        let bright = values.iter().copied().filter(|dn| !holds_saturated(*dn)).fold(0.0, f32::max);
        values.iter_mut().filter(|dn| holds_saturated(**dn)).for_each(|dn| *dn = bright);
    }
    true
}

/// Sum of a tile's pixels under the window.
fn weighted_sum(values: &[f32], window: &[f32; TILE]) -> f32 {
    const LANES: usize = 8;
    let mut sum = 0.0;
    for (row, wy) in values.as_chunks::<TILE>().0.iter().zip(window) {
        let mut sums = [0.0_f32; LANES];
        for (dn, wx) in row.as_chunks::<LANES>().0.iter().zip(window.as_chunks::<LANES>().0) {
            for l in 0..LANES {
                sums[l] += dn[l] * wx[l];
            }
        }
        sum += wy * sums.iter().sum::<f32>();
    }
    sum
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
