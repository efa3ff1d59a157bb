//! Nulls in the spectrum: a second witness of what blurred the frame, for where plain edges are few or contradict.
//!
//! The mean log power spectrum of many small tiles is that of the scene (a smooth fall with frequency) times the square
//! of the transfer function. A motion leaves parallel dark stripes across its direction, a disc leaves dark rings.
//! Method: docs/measures.md, "Sharpness and blur". Cost: some hundred transforms of 64 x 64, however large the frame.

use std::f64::consts::PI;

use rawassay_fourier::{Complex32, forward};

use super::psf::{PointSpread, disc, sinc};
use super::pyramid::{Level, holds_saturated};
use super::samples::SampleNoise;

/// Side of a tile, level pixels.
const TILE: usize = 64;
/// Tiles looked at, and taken, at most.
const MOST_PLACES: usize = 420;
const MOST_TILES: usize = 200;
/// Tiles from which the spectrum is read.
const LEAST_TILES: usize = 6;
/// Power at low frequencies over that of the noise from which a tile counts.
const LEAST_SIGNAL: f32 = 8.0;
/// Share of clipped pixels that a tile may hold.
const MOST_CLIPPED: f32 = 0.005;
/// Band that is read, cycles per tile and share of the sampling frequency.
const FIRST: f64 = 3.5;
const LAST: f64 = 0.4;
/// Rows and columns of the spectrum next to its axes: what is upright or level in a scene is strong there.
const BESIDE_AXES: i32 = 1;
/// Deviation in ln power from which a point of the spectrum counts less: lines of the scene stand out of it.
const OFF: f64 = 0.5;
/// Least cost per point that the best model is taken to leave.
const LEAST_COST: f64 = 0.012;
/// Exponent of the scene's power against frequency, and how far it may be from it: natural scenes fall as f^-2
/// (Field 1987, from memory).
const SCENE_SLOPE: f64 = -2.0;
const SCENE_SLOPE_SPREAD: f64 = 0.6;
/// Least sum of the weights of the points.
const LEAST_POINTS: f64 = 150.0;
/// ln of power over the noise at which a ring begins to count, and from which it counts in full.
const NOISE_ENDS: f64 = 0.7;
const SIGNAL_BEGINS: f64 = 2.2;
/// Least Gaussian part of a real lens and pixel, px.
const LEAST_SIGMA_PX: f64 = 0.25;
/// Greatest radius of a disc beside a motion, share of the length.
const MOST_DISC_SHARE: f64 = 0.7;
/// Terms of the scene: level, slope, Gaussian blur, and how they change with direction.
const TERMS: usize = 9;

/// A blur fitted to the spectrum.
#[derive(Debug, Clone, Copy)]
pub(crate) struct SpectrumFit {
    /// Its point spread.
    pub(crate) psf: PointSpread,
    /// What it leaves unexplained.
    pub(crate) cost: f64,
}

/// What the spectrum says.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Spectrum {
    /// Without nulls.
    pub(crate) plain: SpectrumFit,
    /// With the rings of a disc.
    pub(crate) disc: SpectrumFit,
    /// With the stripes of a motion.
    pub(crate) motion: SpectrumFit,
    /// With both.
    pub(crate) both: SpectrumFit,
    /// Cost that counts as one.
    unit: f64,
}

impl Spectrum {
    /// What the richer fit explains beyond the plainer one, in units of what the best leaves unexplained.
    pub(crate) fn gain(&self, plainer: &SpectrumFit, richer: &SpectrumFit) -> f64 {
        (plainer.cost - richer.cost) / self.unit
    }
}

/// One place of the spectrum.
#[derive(Clone)]
struct Point {
    /// Frequency, cycles per sensor pixel, y up.
    fx: f64,
    fy: f64,
    /// Length of it.
    f: f64,
    /// Mean ln of power over the noise.
    level: f64,
    /// What it counts for: nothing where the scene has sunk into the noise for good.
    weight: f64,
    terms: [f64; TERMS],
    /// ln of the squared transfer of the level's own pixel.
    aperture: f64,
}

/// Reads the spectrum of a halved picture. `None` where too few tiles hold anything but noise.
pub(crate) fn read(level: &Level, noise: SampleNoise) -> Option<Spectrum> {
    let power = mean_ln_power(level, noise)?;
    let points = points(level, &power, &signal_by_ring(&power));
    if points.iter().map(|p| p.weight).sum::<f64>() < LEAST_POINTS {
        return None;
    }
    // Aliasing and what the noise model does not hold fill the nulls: the outermost ring shows how much.
    let floor = outermost(&power).exp().clamp(0.3, 10.0);
    let fitter = Fitter { points, floor };
    // The grids are searched on every other point.
    let coarse = Fitter { points: fitter.points.iter().step_by(2).cloned().collect(), floor };
    let step = f64::from(level.step_px);
    let (shortest, longest) = (1.6 * step, 14.0 * step);
    let none = PointSpread::default();
    let plain = fitter.fit(&none);

    let grid =
        |first: f64, last: f64, n: i32| (0..=n).map(move |k| first * (last / first).powf(f64::from(k) / f64::from(n)));
    let best = |all: &mut dyn Iterator<Item = PointSpread>| {
        all.map(|psf| coarse.fit(&psf))
            .min_by(|a, b| a.cost.total_cmp(&b.cost))
            .map_or(plain, |found| fitter.fit(&found.psf))
    };
    let radii = || grid(0.5 * shortest, 0.5 * longest, 22);
    let disc = best(&mut radii().map(|defocus_px| PointSpread { defocus_px, ..none }));
    let directions = |n: i32| (0..n).map(move |k| 180.0 * f64::from(k) / f64::from(n));
    let lengths = |n: i32| grid(shortest, longest, n);
    let motion = best(
        &mut lengths(22)
            .flat_map(|motion_px| directions(24).map(move |motion_deg| PointSpread { motion_px, motion_deg, ..none })),
    );
    let (disc, motion) = (fitter.refine(disc), fitter.refine(motion));
    let beside = |psf: &PointSpread| psf.defocus_px <= MOST_DISC_SHARE * psf.motion_px;
    let from_motion = best(&mut radii().map(|defocus_px| PointSpread { defocus_px, ..motion.psf }).filter(beside));
    let from_disc = best(
        &mut lengths(14)
            .flat_map(|motion_px| {
                directions(12).map(move |motion_deg| PointSpread { motion_px, motion_deg, ..disc.psf })
            })
            .filter(beside),
    );
    let both = fitter.refine(if from_disc.cost < from_motion.cost { from_disc } else { from_motion });
    let least = plain.cost.min(disc.cost).min(motion.cost).min(both.cost);
    Some(Spectrum {
        plain,
        disc,
        motion,
        both,
        unit: least.max(LEAST_COST * fitter.points.iter().map(|p| p.weight).sum::<f64>()),
    })
}

/// Mean over the tiles of ln (power / noise power), by row and column of the transform.
fn mean_ln_power(level: &Level, noise: SampleNoise) -> Option<Vec<f32>> {
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
fn power_at(u: usize, v: usize) -> usize {
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
fn outermost(power: &[f32]) -> f64 {
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

/// Greatest mean ln power over the noise of each ring (whole cycles per tile) or any beyond it: dark rings that a lens
/// leaves have bright ones outside.
fn signal_by_ring(power: &[f32]) -> Vec<f64> {
    let half = (TILE / 2) as i32;
    let mut rings = vec![(0.0_f64, 0.0_f64); TILE];
    for v in -half..half {
        for u in 0..half {
            if u > BESIDE_AXES && v.abs() > BESIDE_AXES {
                let ring = &mut rings[f64::from(u).hypot(f64::from(v)).round() as usize];
                ring.0 += f64::from(power[power_at(u as usize, v.rem_euclid(TILE as i32) as usize)]);
                ring.1 += 1.0;
            }
        }
    }
    let mut signal: Vec<f64> = rings.iter().map(|(sum, n)| sum / f64::max(*n, 1.0)).collect();
    let last = (LAST * TILE as f64) as usize + 2;
    signal.truncate(last);
    for k in (0..last - 1).rev() {
        signal[k] = signal[k].max(signal[k + 1]);
    }
    signal
}

fn points(level: &Level, power: &[f32], signal: &[f64]) -> Vec<Point> {
    let half = (TILE / 2) as i32;
    let per_px = 1.0 / (TILE as f64 * f64::from(level.step_px));
    let mut points = Vec::new();
    for v in -half..half {
        for u in 0..half {
            let cycles = f64::from(u).hypot(f64::from(v));
            if u <= BESIDE_AXES || v.abs() <= BESIDE_AXES || cycles < FIRST || cycles > LAST * TILE as f64 {
                continue;
            }
            // Rows run down the picture: y up turns the sign.
            let (fx, fy) = (f64::from(u) * per_px, -f64::from(v) * per_px);
            let f = fx.hypot(fy);
            let ln = (f * 10.0 * f64::from(level.step_px)).ln();
            let (c, s) = (fx / f, fy / f);
            let (c2, s2) = (c * c - s * s, 2.0 * s * c);
            let (c4, s4) = (c2 * c2 - s2 * s2, 2.0 * s2 * c2);
            let gauss = -4.0 * PI * PI * f * f;
            let aperture = gauss * f64::from(level.aperture(c as f32, -s as f32));
            points.push(Point {
                fx,
                fy,
                f,
                level: f64::from(power[power_at(u as usize, v.rem_euclid(TILE as i32) as usize)]),
                weight: ((signal[cycles.round() as usize] - NOISE_ENDS) / (SIGNAL_BEGINS - NOISE_ENDS)).clamp(0.0, 1.0),
                terms: [1.0, ln, gauss, c2, s2, c4, s4, c2 * ln, s2 * ln],
                aperture,
            });
        }
    }
    points
}

struct Fitter {
    points: Vec<Point>,
    /// Level, in powers of the noise, that fills the nulls.
    floor: f64,
}

impl Fitter {
    /// Fits the scene behind the motion and disc of `psf`; its Gaussian is a term of the scene and is found.
    fn fit(&self, psf: &PointSpread) -> SpectrumFit {
        let (s, c) = psf.motion_deg.to_radians().sin_cos();
        let blur: Vec<f64> = self
            .points
            .iter()
            .map(|p| {
                let motion = if psf.motion_px > 0.0 { sinc(psf.motion_px * (p.fx * c + p.fy * s)) } else { 1.0 };
                let ring = if psf.defocus_px > 0.0 { disc(psf.defocus_px, p.f) } else { 1.0 };
                (motion * ring).powi(2) * p.aperture.exp()
            })
            .collect();
        let mut scene = vec![1e3_f64; self.points.len()];
        let mut trust = vec![1.0_f64; self.points.len()];
        let mut found = [0.0; TERMS];
        let mut cost = f64::INFINITY;
        for _ in 0..3 {
            let mut ata = [[0.0; TERMS]; TERMS];
            let mut atb = [0.0; TERMS];
            for (((p, blur), scene), trust) in self.points.iter().zip(&blur).zip(&scene).zip(&trust) {
                let signal = scene * blur;
                let known = (signal / (signal + self.floor)).max(0.05);
                let weight = p.weight * trust * known * known;
                let level = p.level - (blur + self.floor / scene).ln();
                for i in 0..TERMS {
                    let w = weight * p.terms[i];
                    atb[i] += w * level;
                    for j in 0..=i {
                        ata[i][j] += w * p.terms[j];
                    }
                }
            }
            // What scenes are like, as one more measurement.
            let prior = 0.02 * self.points.len() as f64 / (SCENE_SLOPE_SPREAD * SCENE_SLOPE_SPREAD);
            ata[1][1] += prior;
            atb[1] += prior * SCENE_SLOPE;
            let Some(mut solved) = solve(ata, atb) else { break };
            if solved[2] < LEAST_SIGMA_PX * LEAST_SIGMA_PX {
                // A blur cannot sharpen: the Gaussian is held at its least.
                ata[2][2] *= 1e9;
                atb[2] = ata[2][2] * LEAST_SIGMA_PX * LEAST_SIGMA_PX;
                let Some(held) = solve(ata, atb) else { break };
                solved = held;
            }
            found = solved;
            cost = 0.0;
            for (((p, blur), scene), trust) in self.points.iter().zip(&blur).zip(&mut scene).zip(&mut trust) {
                let ln: f64 = p.terms.iter().zip(&found).map(|(a, b)| a * b).sum();
                *scene = ln.clamp(-5.0, 40.0).exp();
                let off = ((p.level - (*scene * blur + self.floor).ln()) / OFF).powi(2);
                *trust = 1.0 / (1.0 + off);
                cost += p.weight * OFF * OFF * off * *trust;
            }
        }
        SpectrumFit { psf: PointSpread { sigma_px: found[2].max(0.0).sqrt(), ..*psf }, cost }
    }

    /// Moves length, direction and radius to the least cost near by.
    fn refine(&self, start: SpectrumFit) -> SpectrumFit {
        let mut now = start;
        let (mut ratio, mut turn) = (1.06_f64, 4.0);
        while ratio > 1.004 {
            let p = now.psf;
            let mut trials = Vec::new();
            if p.motion_px > 0.0 {
                for by in [ratio, 1.0 / ratio] {
                    trials.push(PointSpread { motion_px: p.motion_px * by, ..p });
                }
                for by in [turn, -turn] {
                    trials.push(PointSpread { motion_deg: (p.motion_deg + by).rem_euclid(180.0), ..p });
                }
            }
            if p.defocus_px > 0.0 {
                for by in [ratio, 1.0 / ratio] {
                    trials.push(PointSpread { defocus_px: p.defocus_px * by, ..p });
                }
            }
            let best = trials
                .iter()
                .filter(|p| p.motion_px <= 0.0 || p.defocus_px <= MOST_DISC_SHARE * p.motion_px)
                .map(|psf| self.fit(psf))
                .min_by(|a, b| a.cost.total_cmp(&b.cost));
            match best {
                Some(better) if better.cost < now.cost => now = better,
                _ => {
                    ratio = ratio.sqrt();
                    turn *= 0.5;
                }
            }
        }
        now
    }
}

/// Solves a symmetric positive definite system given by its lower half. `None` where it is singular.
fn solve(mut a: [[f64; TERMS]; TERMS], mut b: [f64; TERMS]) -> Option<[f64; TERMS]> {
    for i in 0..TERMS {
        for j in 0..=i {
            let mut sum = a[i][j];
            for k in 0..j {
                sum -= a[i][k] * a[j][k];
            }
            if i == j {
                if sum.is_nan() || sum < 1e-12 {
                    return None;
                }
                a[i][i] = sum.sqrt();
            } else {
                a[i][j] = sum / a[j][j];
            }
        }
    }
    for i in 0..TERMS {
        for k in 0..i {
            b[i] -= a[i][k] * b[k];
        }
        b[i] /= a[i][i];
    }
    for i in (0..TERMS).rev() {
        for k in i + 1..TERMS {
            b[i] -= a[k][i] * b[k];
        }
        b[i] /= a[i][i];
    }
    Some(b)
}

#[cfg(test)]
mod tests {
    use rawassay_fourier::inverse;

    use super::*;

    /// Side of the simulated picture, level pixels of two sensor pixels.
    const SIDE: usize = 512;

    /// A picture whose amplitude falls as 1/f, blurred by `psf`, with white noise of one DN; fixed by `seed`.
    fn texture(psf: &PointSpread, seed: u64) -> Level {
        let mut state = seed;
        let mut uniform = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            ((state >> 40) as f32 + 0.5) / 16_777_216.0
        };
        let mut normal = || (-2.0 * uniform().ln()).sqrt() * (2.0 * PI as f32 * uniform()).cos();
        let half = (SIDE / 2) as i32;
        let signed = |i: usize| if (i as i32) < half { i as i32 } else { i as i32 - 2 * half };
        let (s, c) = psf.motion_deg.to_radians().sin_cos();
        let mut cells: Vec<Complex32> = (0..SIDE * SIDE)
            .map(|i| {
                let (u, v) = (f64::from(signed(i % SIDE)), f64::from(signed(i / SIDE)));
                let (fx, fy) = (u / SIDE as f64 / 2.0, -v / SIDE as f64 / 2.0);
                let f = fx.hypot(fy).max(1.0 / SIDE as f64);
                let blur = (-2.0 * (PI * psf.sigma_px * f).powi(2)).exp()
                    * sinc(psf.motion_px * (fx * c + fy * s))
                    * disc(psf.defocus_px, f);
                Complex32::new(normal(), normal()) * (blur / f) as f32
            })
            .collect();
        let transform = inverse(SIDE);
        for _ in 0..2 {
            transform.process(&mut cells);
            for y in 0..SIDE {
                for x in 0..y {
                    cells.swap(y * SIDE + x, x * SIDE + y);
                }
            }
        }
        let spread = (cells.iter().map(|c| c.re * c.re).sum::<f32>() / cells.len() as f32).sqrt();
        Level {
            width: SIDE,
            height: SIDE,
            dn: cells.iter().map(|c| 2000.0 + 500.0 * c.re / spread + normal()).collect(),
            step_px: 2.0,
            origin_px: (0.5, 0.5),
            samples: 1.0,
            aperture_px2: [0.0; 3],
        }
    }

    const NOISE: SampleNoise = SampleNoise { slope_dn: 0.0, floor_dn2: 1.0 };

    #[test]
    fn stripes_give_length_and_direction() {
        for (seed, motion_px, motion_deg) in [(1, 6.0, 20.0), (2, 9.5, 75.0), (3, 14.0, 140.0)] {
            let psf = PointSpread { sigma_px: 0.6, motion_px, motion_deg, ..PointSpread::default() };
            let found = read(&texture(&psf, seed), NOISE).expect("enough tiles");
            let gain = found.gain(&found.plain, &found.motion);
            assert!(gain > 0.3 && found.gain(&found.plain, &found.disc) < 0.5 * gain, "{found:?}");
            let p = found.motion.psf;
            assert!((p.motion_px / motion_px - 1.0).abs() < 0.06, "{p:?}");
            assert!(((p.motion_deg - motion_deg + 90.0).rem_euclid(180.0) - 90.0).abs() < 3.0, "{p:?}");
        }
    }

    #[test]
    fn rings_give_the_radius() {
        for (seed, defocus_px) in [(4, 3.5), (5, 5.0), (6, 7.5)] {
            let psf = PointSpread { sigma_px: 0.6, defocus_px, ..PointSpread::default() };
            let found = read(&texture(&psf, seed), NOISE).expect("enough tiles");
            assert!(found.gain(&found.plain, &found.disc) > 0.3, "{found:?}");
            assert!((found.disc.psf.defocus_px / defocus_px - 1.0).abs() < 0.05, "{found:?}");
        }
    }

    #[test]
    fn a_texture_without_nulls_shows_none() {
        for (seed, sigma_px) in [(7, 0.4), (8, 1.0), (9, 2.5)] {
            let found =
                read(&texture(&PointSpread { sigma_px, ..PointSpread::default() }, seed), NOISE).expect("tiles");
            for richer in [&found.disc, &found.motion] {
                assert!(found.gain(&found.plain, richer) < 0.15, "{found:?}");
            }
            assert!((found.plain.psf.sigma_px - sigma_px).abs() < 0.15 + 0.1 * sigma_px, "{found:?}");
        }
    }

    #[test]
    fn a_flat_picture_is_not_read() {
        let mut level = texture(&PointSpread::default(), 10);
        level.dn.fill(7.0);
        assert!(read(&level, NOISE).is_none());
    }
}
