//! Nulls in the spectrum: a second witness of what blurred the frame, for where plain edges are few or contradict.
//!
//! The mean log power spectrum of many small tiles is that of the scene (a smooth fall with frequency) times the square
//! of the transfer function. A motion leaves parallel dark stripes across its direction, a disc leaves dark rings.
//! Method: docs/measures.md, "Sharpness and blur". Cost: some hundred transforms of 64 x 64, however large the frame.

use super::power::{mean_ln_power, outermost};
use super::psf::PointSpread;
use super::pyramid::Level;
use super::samples::SampleNoise;
use super::spectrum_fit::{Fitter, SpectrumFit, points, reach_cy_px, sound};

/// Least cost per point that the best model is taken to leave.
const LEAST_COST: f64 = 0.012;
/// Gain of a motion or a disc below which both together are not looked for.
const NOTHING_SEEN: f64 = 0.05;
/// Least sum of the weights of the points.
const LEAST_POINTS: f64 = 150.0;

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
    /// Highest frequency at which the scene stands clear of the noise, cycles per sensor pixel.
    pub(crate) reach_cy_px: f64,
    /// Cost that counts as one.
    unit: f64,
}

impl Spectrum {
    /// What the richer fit explains beyond the plainer one, in units of what the best leaves unexplained.
    pub(crate) fn gain(&self, plainer: &SpectrumFit, richer: &SpectrumFit) -> f64 {
        (plainer.cost - richer.cost) / self.unit
    }
}

/// By how much more `one` explains of the spectrum of a halved picture than `other`. `None` where it cannot be read.
pub(crate) fn preference(level: &Level, noise: SampleNoise, one: &PointSpread, other: &PointSpread) -> Option<f64> {
    let power = mean_ln_power(level, noise)?;
    let points = points(level, &power);
    let worth = LEAST_COST * points.iter().map(|p| p.weight).sum::<f64>();
    if worth < LEAST_COST * LEAST_POINTS {
        return None;
    }
    let fitter = Fitter::new(points.iter(), outermost(&power).exp().clamp(0.3, 10.0));
    let (one, other) = (fitter.fit(one), fitter.fit(other));
    Some((other.cost - one.cost) / worth.max(one.cost.min(other.cost)))
}

/// Reads the spectrum of a halved picture. `None` where too few tiles hold anything but noise.
pub(crate) fn read(level: &Level, noise: SampleNoise) -> Option<Spectrum> {
    let power = mean_ln_power(level, noise)?;
    let points = points(level, &power);
    if points.iter().map(|p| p.weight).sum::<f64>() < LEAST_POINTS {
        return None;
    }
    // Aliasing and what the noise model does not hold fill the nulls: the outermost ring shows how much.
    let floor = outermost(&power).exp().clamp(0.3, 10.0);
    let fitter = Fitter::new(points.iter(), floor);
    // The grids are searched on every other point.
    let coarse = Fitter::new(points.iter().step_by(2), floor);
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
    // The shorter a motion, the wider its stripes and the coarser may its directions be: `n` for the longest.
    let directions = |n: i32, motion_px: f64| {
        let n = (f64::from(n) * motion_px / longest).ceil().max(f64::from(n / 3)) as i32;
        (0..n).map(move |k| 180.0 * f64::from(k) / f64::from(n))
    };
    let lengths = |n: i32| grid(shortest, longest, n);
    let motion = best(&mut lengths(22).flat_map(|motion_px| {
        directions(24, motion_px).map(move |motion_deg| PointSpread { motion_px, motion_deg, ..none })
    }));
    let (disc, motion) = (fitter.refine(disc), fitter.refine(motion));
    let worth = LEAST_COST * points.iter().map(|p| p.weight).sum::<f64>();
    let both = if plain.cost - motion.cost.min(disc.cost) < NOTHING_SEEN * worth.max(motion.cost.min(disc.cost)) {
        // Where neither leaves a trace, both together leave none either.
        if disc.cost < motion.cost { disc } else { motion }
    } else {
        let from_motion = best(&mut radii().map(|defocus_px| PointSpread { defocus_px, ..motion.psf }).filter(sound));
        let from_disc = best(
            &mut lengths(14)
                .flat_map(|motion_px| {
                    directions(12, motion_px).map(move |motion_deg| PointSpread { motion_px, motion_deg, ..disc.psf })
                })
                .filter(sound),
        );
        fitter.refine(if from_disc.cost < from_motion.cost { from_disc } else { from_motion })
    };
    let least = plain.cost.min(disc.cost).min(motion.cost).min(both.cost);
    Some(Spectrum { plain, disc, motion, both, reach_cy_px: reach_cy_px(&points), unit: least.max(worth) })
}

#[cfg(test)]
mod tests {
    use std::f64::consts::PI;

    use rawassay_fourier::{Complex32, inverse};

    use super::super::psf::{disc, sinc};
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
