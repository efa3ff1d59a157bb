//! The mean log power spectrum of the mosaic or of a halved picture, from many small tiles.

use std::f64::consts::PI;

use multiversion::multiversion;
use rawassay_fourier::{Complex32, forward};

use super::lanes;
use super::pyramid::holds_saturated;
use super::samples::SampleNoise;
use super::window::Source;

/// Side of a tile, pixels of the picture.
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
const BESIDE_AXES: i32 = 1;

/// Greatest sum of the two frequencies at which a chequered pattern of samples is read, share of the sampling frequency:
/// from one half on it mirrors the scene. And the greatest frequency: further out only the axes are left.
const CHEQUERED_LAST: f64 = 0.42;
const CHEQUERED_LAST_RING: f64 = 0.36;
/// End of the band that is read in others, share of the sampling frequency.
pub(super) const LAST: f64 = 0.4;
/// The ring next to the end of what the samples can show.
const OUTERMOST: std::ops::Range<f64> = 0.44..0.5;

/// A picture whose spectrum is asked.
pub(super) struct Picture<'a, 'b> {
    /// The mosaic or a halved picture.
    pub(super) source: Source<'a, 'b>,
    /// Noise of one sample.
    pub(super) noise: SampleNoise,
}

/// A mean log power spectrum.
pub(super) struct Power {
    /// Mean over the tiles of ln (power / noise power), at [`power_at`] for the columns up to half of the sampling frequency.
    ln: Vec<f32>,
    /// Width of a pixel, sensor pixels.
    pub(super) step_px: f64,
    /// Every other pixel is a sample, as the green ones of a Bayer array are.
    chequered: bool,
    /// Variance of a pixel's aperture along x and y, and their covariance, px^2.
    aperture_px2: [f32; 3],
}

impl Power {
    /// Of a picture. `None` where it is small, holds little but noise, or has its samples in a pattern whose gaps hide the
    /// spectrum.
    pub(super) fn read(picture: &Picture<'_, '_>) -> Option<Self> {
        let Picture { source, noise } = picture;
        let pattern = Pattern::of(source)?;
        let power = Self {
            ln: mean_ln_power(source, pattern, *noise)?,
            step_px: f64::from(source.step_px()),
            chequered: matches!(pattern, Pattern::Chequered(_)),
            aperture_px2: source.aperture_px2(),
        };
        Some(power)
    }

    /// Mean ln power over the noise at column frequency `u` (from 0, below half of the side) and row frequency `v`.
    pub(super) fn at(&self, u: i32, v: i32) -> f64 {
        f64::from(self.ln[power_at(u as usize, v.rem_euclid(TILE as i32) as usize)])
    }

    /// True where the spectrum is the scene's alone.
    pub(super) fn readable(&self, u: i32, v: i32) -> bool {
        let beside = u > BESIDE_AXES && v.abs() > BESIDE_AXES;
        let (sum, far) = (f64::from(u + v.abs()), f64::from(u).hypot(f64::from(v)));
        let mirrored = sum > CHEQUERED_LAST * TILE as f64 || far > CHEQUERED_LAST_RING * TILE as f64;
        beside && !(self.chequered && mirrored)
    }

    /// Highest frequency at which a null may lie to be seen in every direction, cycles per pixel of the picture.
    pub(super) fn last_null(&self) -> f64 {
        if self.chequered { CHEQUERED_LAST / 2.0_f64.sqrt() } else { LAST }
    }

    /// Widening by the picture's own pixel in the direction (`c`, `s`), image axes, px^2.
    pub(super) fn aperture(&self, c: f64, s: f64) -> f64 {
        let [xx, yy, xy] = self.aperture_px2.map(f64::from);
        c * c * xx + s * s * yy + 2.0 * c * s * xy
    }

    /// What fills the nulls, in powers of the noise: aliasing and what the noise model does not hold show in the ring next to
    /// the end of what the samples can show.
    pub(super) fn floor(&self) -> f64 {
        self.outermost_ln().exp().clamp(0.3, 10.0)
    }

    /// Mean ln power over the noise in that ring.
    pub(super) fn outermost_ln(&self) -> f64 {
        let half = (TILE / 2) as i32;
        let (mut sum, mut n) = (0.0, 0.0);
        for v in -half..half {
            for u in BESIDE_AXES + 1..half {
                let out = if self.chequered { f64::from(u + v.abs()) } else { f64::from(u).hypot(f64::from(v)) };
                if OUTERMOST.contains(&(out / TILE as f64)) && v.abs() > BESIDE_AXES {
                    sum += self.at(u, v);
                    n += 1.0;
                }
            }
        }
        sum / f64::max(n, 1.0)
    }
}

/// Which pixels of a picture hold a sample.
#[derive(Debug, Clone, Copy)]
enum Pattern {
    All,
    /// Those whose column and row (from the corner of the first tile) add up to an even number, or to an odd one.
    Chequered(usize),
}

impl Pattern {
    fn of(source: &Source<'_, '_>) -> Option<Self> {
        let Source::Mosaic(samples) = source else { return Some(Self::All) };
        let (x, y) = (samples.area.x, samples.area.y);
        let own = |k: usize| samples.cell_at(x + k % 2, y + k / 2).is_some();
        let regular = samples.period.0 <= 2 && samples.period.1 <= 2;
        match [own(0), own(1), own(2), own(3)] {
            _ if !regular => None,
            [true, true, true, true] => Some(Self::All),
            [true, false, false, true] => Some(Self::Chequered(0)),
            [false, true, true, false] => Some(Self::Chequered(1)),
            _ => None,
        }
    }

    /// True for column `x` and row `y` of a tile (tiles begin in even columns and rows).
    fn holds(self, x: usize, y: usize) -> bool {
        match self {
            Self::All => true,
            Self::Chequered(odd) => (x + y) % 2 == odd,
        }
    }
}

/// Mean over the tiles of ln (power / noise power), at [`power_at`] for the columns up to half of the sampling frequency.
fn mean_ln_power(source: &Source<'_, '_>, pattern: Pattern, noise: SampleNoise) -> Option<Vec<f32>> {
    let (width, height) = source.extent();
    if width < TILE || height < TILE {
        return None;
    }
    let steps = |length: usize, step: usize| (length - TILE) / step + 1;
    let mut step = TILE / 2;
    while steps(width, step) * steps(height, step) > MOST_PLACES {
        step += 4;
    }
    let hann: [f32; TILE] =
        std::array::from_fn(|i| 0.5 - 0.5 * (2.0 * PI as f32 * (i as f32 + 0.5) / TILE as f32).cos());
    // Nothing where there is no sample.
    let window: Vec<f32> = (0..TILE * TILE)
        .map(|i| if pattern.holds(i % TILE, i / TILE) { hann[i % TILE] * hann[i / TILE] } else { 0.0 })
        .collect();
    let sum: f32 = window.iter().sum();
    let sum2: f32 = window.iter().map(|w| w * w).sum();
    let transform = forward(TILE);
    let mut scratch = vec![Complex32::default(); transform.get_inplace_scratch_len()];
    let mut tiles: Vec<(f32, Vec<f32>)> = Vec::new();
    let mut values = vec![0.0_f32; TILE * TILE];
    let (mut cells, mut turned) = (vec![Complex32::default(); TILE * TILE], vec![Complex32::default(); HALF * TILE]);
    for y in (0..=height - TILE).step_by(step) {
        for x in (0..=width - TILE).step_by(step) {
            if !gather(source, (x, y), &mut values) {
                continue;
            }
            let mean = weighted_sum(&values, &window) / sum;
            for ((cell, dn), weight) in cells.iter_mut().zip(&values).zip(&window) {
                *cell = Complex32::new((dn - mean) * weight, 0.0);
            }
            transform.process_with_scratch(&mut cells, &mut scratch);
            // The samples are real: one half of the columns tells all.
            for (u, column) in turned.as_chunks_mut::<TILE>().0.iter_mut().enumerate() {
                column.iter_mut().zip(cells.as_chunks::<TILE>().0).for_each(|(to, row)| *to = row[u]);
            }
            transform.process_with_scratch(&mut turned, &mut scratch);
            let expected = noise.variance(mean) / source.averaged() * sum2;
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
        add_ln(&mut mean, power);
    }
    // The mean of ln of an exponential variate lies Euler's constant below the ln of its mean.
    let share = 1.0 / tiles.len() as f32;
    Some(mean.into_iter().map(|sum| sum.mul_add(share, 0.577_216)).collect())
}

/// Adds the logarithm of each value to its sum.
#[multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn add_ln(sums: &mut [f32], values: &[f32]) {
    for (sum, &value) in sums.iter_mut().zip(values) {
        *sum += lanes::ln(value);
    }
}

/// Index of column frequency `u` (below half of the side) and row frequency `v`.
fn power_at(u: usize, v: usize) -> usize {
    u * TILE + v
}

/// The pixels of a tile, clipped ones as bright as the brightest other. False where too many are clipped.
fn gather(source: &Source<'_, '_>, (x, y): (usize, usize), values: &mut [f32]) -> bool {
    for (row, to) in values.as_chunks_mut::<TILE>().0.iter_mut().enumerate() {
        match source {
            Source::Level(level) => to.copy_from_slice(&level.dn[(y + row) * level.width + x..][..TILE]),
            Source::Mosaic(samples) => samples.fill_row(samples.area.x + x, samples.area.y + y + row, to),
        }
    }
    let clipped: u32 = values.iter().map(|dn| u32::from(holds_saturated(*dn))).sum();
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
fn weighted_sum(values: &[f32], window: &[f32]) -> f32 {
    const LANES: usize = 8;
    let mut sums = [0.0_f32; LANES];
    for (row, window) in values.as_chunks::<LANES>().0.iter().zip(window.as_chunks::<LANES>().0) {
        for l in 0..LANES {
            sums[l] += row[l] * window[l];
        }
    }
    sums.iter().sum()
}
