//! A scene behind a motion and a disc, fitted to a log power spectrum.

use std::f64::consts::PI;

use super::power::{BESIDE_AXES, TILE, power_at};
use super::psf::{PointSpread, disc, sinc};
use super::pyramid::Level;
use crate::linear::solve;

/// Band that is read, cycles per tile and share of the sampling frequency.
const FIRST: f64 = 3.5;
const LAST: f64 = 0.4;
/// ln of power over the noise at which a ring begins to count, and from which it counts in full.
const NOISE_ENDS: f64 = 0.7;
const SIGNAL_BEGINS: f64 = 2.2;
/// Deviation in ln power from which a point of the spectrum counts less: lines of the scene stand out of it.
const OFF: f64 = 0.5;
/// Exponent of the scene's power against frequency, and how far it may be from it: natural scenes fall as f^-2
/// (Field 1987, from memory).
const SCENE_SLOPE: f64 = -2.0;
const SCENE_SLOPE_SPREAD: f64 = 0.6;
/// Least Gaussian part of a real lens and pixel, px.
const LEAST_SIGMA_PX: f64 = 0.25;
/// Terms of the scene: level, slope, Gaussian blur, and how they change with direction.
const TERMS: usize = 9;

/// Greatest radius of a disc beside a motion, share of the length: beyond it the motion does not show.
const MOST_DISC_SHARE: f64 = 0.7;

/// True for a blur of one part, and where a disc beside a motion leaves the motion to be seen.
pub(super) fn sound(psf: &PointSpread) -> bool {
    psf.motion_px <= 0.0 || psf.defocus_px <= MOST_DISC_SHARE * psf.motion_px
}

/// A blur fitted to the spectrum.
#[derive(Debug, Clone, Copy)]
pub(crate) struct SpectrumFit {
    /// Its point spread.
    pub(crate) psf: PointSpread,
    /// What it leaves unexplained.
    pub(crate) cost: f64,
}

/// One place of the spectrum.
#[derive(Clone)]
pub(super) struct Point {
    /// Frequency, cycles per sensor pixel, y up.
    fx: f64,
    fy: f64,
    /// Length of it.
    f: f64,
    /// Mean ln of power over the noise.
    level: f64,
    /// What it counts for: nothing where the scene has sunk into the noise for good.
    pub(super) weight: f64,
    terms: [f64; TERMS],
    /// Squared transfer of the level's own pixel.
    aperture: f64,
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

/// The places of a spectrum of `level` that are fitted.
pub(super) fn points(level: &Level, power: &[f32]) -> Vec<Point> {
    let signal = signal_by_ring(power);
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
                aperture: aperture.exp(),
            });
        }
    }
    points
}

/// A spectrum to which blurs are fitted.
pub(super) struct Fitter {
    pub(super) points: Vec<Point>,
    /// Level, in powers of the noise, that fills the nulls.
    pub(super) floor: f64,
}

impl Fitter {
    /// Highest frequency of a point that counts in full.
    pub(super) fn reach_cy_px(&self) -> f64 {
        self.points.iter().filter(|p| p.weight >= 1.0).map(|p| p.f).fold(0.0, f64::max)
    }

    /// Fits the scene behind the motion and disc of `psf`; its Gaussian is a term of the scene and is found.
    pub(super) fn fit(&self, psf: &PointSpread) -> SpectrumFit {
        let (s, c) = psf.motion_deg.to_radians().sin_cos();
        let blur: Vec<f64> = self
            .points
            .iter()
            .map(|p| {
                let motion = if psf.motion_px > 0.0 { sinc(psf.motion_px * (p.fx * c + p.fy * s)) } else { 1.0 };
                let ring = if psf.defocus_px > 0.0 { disc(psf.defocus_px, p.f) } else { 1.0 };
                (motion * ring).powi(2) * p.aperture
            })
            .collect();
        let mut scene = vec![1e3_f64; self.points.len()];
        // Logarithms of the scene, and of it behind the blur with the floor: each is worked out once.
        let mut ln_scene = vec![1e3_f64.ln(); self.points.len()];
        let mut ln_seen: Vec<f64> = blur.iter().map(|blur| (1e3 * blur + self.floor).ln()).collect();
        let mut trust = vec![1.0_f64; self.points.len()];
        let mut found = [0.0; TERMS];
        let mut cost = f64::INFINITY;
        for _ in 0..3 {
            let mut ata = [[0.0; TERMS]; TERMS];
            let mut atb = [0.0; TERMS];
            let logs = ln_scene.iter().zip(&ln_seen);
            for ((((p, blur), scene), trust), (ln_scene, ln_seen)) in
                self.points.iter().zip(&blur).zip(&scene).zip(&trust).zip(logs)
            {
                let signal = scene * blur;
                let known = (signal / (signal + self.floor)).max(0.05);
                let weight = p.weight * trust * known * known;
                // Of the scene alone: the logarithm of blur and floor / scene is taken off.
                let level = p.level - (ln_seen - ln_scene);
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
            let logs = ln_scene.iter_mut().zip(&mut ln_seen);
            for ((((p, blur), scene), trust), (ln_scene, ln_seen)) in
                self.points.iter().zip(&blur).zip(&mut scene).zip(&mut trust).zip(logs)
            {
                let ln: f64 = p.terms.iter().zip(&found).map(|(a, b)| a * b).sum();
                *ln_scene = ln.clamp(-5.0, 40.0);
                *scene = ln_scene.exp();
                *ln_seen = (*scene * blur + self.floor).ln();
                let off = ((p.level - *ln_seen) / OFF).powi(2);
                *trust = 1.0 / (1.0 + off);
                cost += p.weight * OFF * OFF * off * *trust;
            }
        }
        SpectrumFit { psf: PointSpread { sigma_px: found[2].max(0.0).sqrt(), ..*psf }, cost }
    }

    /// Moves length, direction and radius to the least cost near by.
    pub(super) fn refine(&self, start: SpectrumFit) -> SpectrumFit {
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
                .filter(|psf| sound(psf))
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
