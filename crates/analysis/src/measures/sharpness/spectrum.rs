//! Nulls in the spectrum: a second witness of what blurred the frame, for where plain edges are few or contradict.
//!
//! The mean log power spectrum of many small tiles is that of the scene (a smooth fall with frequency) times the square
//! of the transfer function. A motion leaves parallel dark stripes across its direction, a disc leaves dark rings.
//! Method: docs/measures.md, "Sharpness and blur". Cost: some hundred transforms of 64 x 64, however large the frame.

use super::power::{Picture, Power};
use super::psf::PointSpread;
use super::spectrum_fit::{Fitter, SpectrumFit, points, reach_cy_px, sound};

/// Least cost per point that the best model is taken to leave.
const LEAST_COST: f64 = 0.012;
/// What a blur must leave beyond what is left without it, in units of what the better of the two leaves, to be refuted.
const REFUTED: f64 = 0.5;
/// Lengths over that of a motion, and angles to it in degrees, at which it is looked for too.
const NEARLY_AS_LONG: [f64; 5] = [1.0, 0.9, 1.11, 0.8, 1.25];
const NEARLY_SO_DEG: [f64; 5] = [0.0, -6.0, 6.0, -12.0, 12.0];
/// Angles to a direction at which a motion along it is looked for, degrees, and its greatest length, pixels of the picture.
const ALONG_DEG: [f64; 5] = [0.0, -7.0, 7.0, -14.0, 14.0];
const LONGEST: f64 = 12.0;
/// Gain of a motion or a disc below which both together are not looked for.
const NOTHING_SEEN: f64 = 0.05;
/// Gain of the best of a grid below which it is not looked for between its places: these are so close that it would not come
/// to [`NOTHING_SEEN`].
const NOTHING_NEAR: f64 = 0.02;
/// Fewest points at which the scene stands out of the floor.
const LEAST_POINTS: usize = 20;

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
    /// Width of a pixel of the picture, sensor pixels.
    pub(crate) step_px: f64,
    /// Highest frequency at which a null may lie to be seen, cycles per pixel of the picture.
    pub(crate) last_null: f64,
    /// Highest frequency at which the scene stands clear of the noise, cycles per sensor pixel.
    pub(crate) reach_cy_px: f64,
    /// What the motion that another picture shows best explains of this one.
    pub(crate) others_motion: f64,
    /// Cost that counts as one.
    unit: f64,
}

impl Spectrum {
    /// Made of its fits (plain; disc, motion, both) with a unit cost; pixel, last null and reach.
    #[cfg(test)]
    pub(super) fn of(plain: SpectrumFit, [disc, motion, both]: [SpectrumFit; 3], of: (f64, f64, f64)) -> Self {
        let (step_px, last_null, reach_cy_px) = of;
        Self { plain, disc, motion, both, step_px, last_null, reach_cy_px, others_motion: 0.0, unit: 1.0 }
    }

    /// What the richer fit explains beyond the plainer one, in units of what the best leaves unexplained.
    pub(crate) fn gain(&self, plainer: &SpectrumFit, richer: &SpectrumFit) -> f64 {
        (plainer.cost - richer.cost) / self.unit
    }
}

/// By how much more `one` explains of the spectrum of a picture than `other`. `None` where it cannot be read.
pub(crate) fn preference(picture: &Picture<'_, '_>, one: &PointSpread, other: &PointSpread) -> Option<f64> {
    let power = Power::read(picture)?;
    let points = points(&power);
    let worth = LEAST_COST * points.iter().map(|p| p.weight).sum::<f64>();
    if points.iter().filter(|p| p.stands_out).count() < LEAST_POINTS {
        return None;
    }
    let fitter = Fitter::new(points.iter(), power.floor());
    let (one, other) = (fitter.fit(one), fitter.fit(other));
    Some((other.cost - one.cost) / worth.max(one.cost.min(other.cost)))
}

/// True where the scene shows beyond the first null that `blur` would have, and the spectrum is far better explained without it.
pub(crate) fn refutes(picture: &Picture<'_, '_>, blur: &PointSpread) -> bool {
    let Some(power) = Power::read(picture) else { return false };
    let points = points(&power);
    if blur.first_null_cy_px() > reach_cy_px(&points, |p| p.stands_out) {
        return false;
    }
    let fitter = Fitter::new(points.iter(), power.floor());
    let (plain, blurred) = (fitter.fit(&PointSpread::default()), fitter.fit(blur));
    let worth = LEAST_COST * points.iter().map(|p| p.weight).sum::<f64>();
    blurred.cost - plain.cost > REFUTED * worth.max(plain.cost.min(blurred.cost))
}

/// A picture's spectrum, ready for more blurs to be held against it.
pub(crate) struct Read {
    pub(crate) spectrum: Spectrum,
    fitter: Fitter,
    /// Every other point.
    coarse: Fitter,
    /// Least cost of these that the best model is taken to leave.
    worth: f64,
}

impl Read {
    /// What the spectrum is better explained by without that blur, in units of what it leaves without.
    pub(crate) fn without(&self, psf: &PointSpread) -> f64 {
        let plain = &self.spectrum.plain;
        (self.fitter.fit(psf).cost - plain.cost) / (2.0 * self.worth).max(plain.cost)
    }

    /// True where it is better explained by so much without that motion, and without any nearly as long and nearly in its
    /// direction: what the edges give has its errors.
    pub(crate) fn has_none_like(&self, psf: &PointSpread, gain: f64) -> bool {
        let like = NEARLY_AS_LONG.iter().flat_map(|by| {
            let motion_px = by * psf.motion_px;
            NEARLY_SO_DEG.iter().map(move |turn| PointSpread { motion_px, motion_deg: psf.motion_deg + turn, ..*psf })
        });
        let mut gains = like.map(|psf| self.spectrum.gain(&self.fitter.fit(&psf), &self.spectrum.plain));
        gains.all(|without| without > gain)
    }

    /// The motion that explains it best among those within some degrees of that direction.
    pub(crate) fn best_along(&self, deg: f64) -> SpectrumFit {
        let step = self.spectrum.step_px;
        let lengths = (0..20).map(|k| 1.6 * step * (LONGEST / 1.6_f64).powf(f64::from(k) / 19.0));
        let all = lengths.flat_map(|motion_px| {
            ALONG_DEG.iter().map(move |turn| PointSpread {
                motion_px,
                motion_deg: deg + turn,
                ..PointSpread::default()
            })
        });
        let best = all.map(|psf| self.coarse.fit(&psf)).min_by(|a, b| a.cost.total_cmp(&b.cost));
        best.map_or(self.spectrum.plain, |found| self.fitter.refine(self.fitter.fit(&found.psf)))
    }

    /// ln of what a motion and a disc leave of every other point.
    pub(crate) fn left_ln(&self, psf: &PointSpread) -> f64 {
        self.coarse.fit(psf).cost.max(self.worth).ln()
    }
}

/// Reads the spectra of the first two pictures that can be read, each held against what the other shows.
pub(crate) fn read_two(pictures: &[Picture<'_, '_>]) -> Vec<Read> {
    let mut found: Vec<Read> = pictures.iter().filter_map(read).take(2).collect();
    if let [one, other] = &mut found[..] {
        let others = |of: &Read, by: &Read| {
            let Spectrum { plain, .. } = &of.spectrum;
            of.spectrum.gain(plain, &of.fitter.fit(&by.spectrum.motion.psf))
        };
        (one.spectrum.others_motion, other.spectrum.others_motion) = (others(one, other), others(other, one));
    }
    found
}

/// Reads the spectrum of a picture. `None` where too few tiles hold anything but noise.
fn read(picture: &Picture<'_, '_>) -> Option<Read> {
    let power = Power::read(picture)?;
    let points = points(&power);
    if points.iter().filter(|p| p.stands_out).count() < LEAST_POINTS {
        return None;
    }
    // Aliasing and what the noise model does not hold fill the nulls: the outermost ring shows how much.
    let floor = power.floor();
    let fitter = Fitter::new(points.iter(), floor);
    // The grids are searched on every other point.
    let coarse = Fitter::new(points.iter().step_by(2), floor);
    let step = power.step_px;
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
    let worth = LEAST_COST * points.iter().map(|p| p.weight).sum::<f64>();
    let gains = |fit: &SpectrumFit, least: f64| plain.cost - fit.cost >= least * worth.max(fit.cost);
    let refined = |fit: SpectrumFit| if gains(&fit, NOTHING_NEAR) { fitter.refine(fit) } else { fit };
    let (disc, motion) = (refined(disc), refined(motion));
    let better = if disc.cost < motion.cost { disc } else { motion };
    let both = if !gains(&better, NOTHING_SEEN) {
        // Where neither leaves a trace, both together leave none either.
        better
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
    let spectrum = Spectrum {
        plain,
        disc,
        motion,
        both,
        step_px: step,
        last_null: power.last_null(),
        reach_cy_px: reach_cy_px(&points, |p| p.clear),
        others_motion: 0.0,
        unit: least.max(worth),
    };
    Some(Read { spectrum, fitter, coarse, worth: 0.5 * worth })
}

#[cfg(test)]
pub(crate) mod tests {
    use std::f64::consts::PI;

    use rawassay_fourier::{Complex32, inverse};

    use super::super::psf::{disc, sinc};
    use super::super::pyramid::Level;
    use super::super::samples::{ColourSamples, SampleNoise};
    use super::super::window::Source;
    use super::*;

    /// Side of the simulated picture, level pixels of two sensor pixels.
    const SIDE: usize = 512;

    /// A picture whose amplitude falls as 1/f, blurred by `psf`, with white noise of one DN; fixed by `seed`.
    pub(crate) fn texture(psf: &PointSpread, seed: u64) -> Level {
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

    fn read(level: &Level) -> Option<Spectrum> {
        of(Source::Level(level))
    }

    fn of(source: Source<'_, '_>) -> Option<Spectrum> {
        read_two(&[Picture { source, noise: NOISE }]).pop().map(|read| read.spectrum)
    }

    pub(crate) const NOISE: SampleNoise = SampleNoise { slope_dn: 0.0, floor_dn2: 1.0 };

    #[test]
    fn stripes_give_length_and_direction() {
        for (seed, motion_px, motion_deg) in [(1, 6.0, 20.0), (2, 9.5, 75.0), (3, 14.0, 140.0)] {
            let psf = PointSpread { sigma_px: 0.6, motion_px, motion_deg, ..PointSpread::default() };
            let found = read(&texture(&psf, seed)).expect("enough tiles");
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
            let found = read(&texture(&psf, seed)).expect("enough tiles");
            assert!(found.gain(&found.plain, &found.disc) > 0.3, "{found:?}");
            assert!((found.disc.psf.defocus_px / defocus_px - 1.0).abs() < 0.05, "{found:?}");
        }
    }

    #[test]
    fn a_texture_without_nulls_shows_none() {
        for (seed, sigma_px) in [(7, 0.4), (8, 1.0), (9, 2.5)] {
            let found = read(&texture(&PointSpread { sigma_px, ..PointSpread::default() }, seed)).expect("tiles");
            for richer in [&found.disc, &found.motion] {
                assert!(found.gain(&found.plain, richer) < 0.15, "{found:?}");
            }
            assert!((found.plain.psf.sigma_px - sigma_px).abs() < 0.15 + 0.1 * sigma_px, "{found:?}");
        }
    }

    #[test]
    fn sharp_texture_is_worse_explained_with_a_motion_whose_null_lies_beyond_the_band() {
        let sharp = PointSpread { sigma_px: 0.4, ..PointSpread::default() };
        // Its first null is that of half a cycle per pixel of the picture: beyond what is read.
        let motion = PointSpread { motion_px: 4.0, motion_deg: 35.0, ..sharp };
        for seed in [13, 14] {
            let without = |psf: &PointSpread| {
                let level = texture(psf, seed);
                let picture = Picture { source: Source::Level(&level), noise: NOISE };
                read_two(&[picture]).pop().map(|read| read.without(&motion))
            };
            assert!(without(&sharp).is_some_and(|gain| gain > 0.3), "{:?}", without(&sharp));
            assert!(without(&motion).is_some_and(|gain| gain < 0.0), "{:?}", without(&motion));
        }
    }

    /// The texture as a Bayer frame shows it, one sample a pixel.
    fn frame(psf: &PointSpread, seed: u64) -> rawassay_decode::Frame {
        let side = SIDE;
        // Drawn with sensor pixels of one px: widths count half of those of a halved picture.
        let half = PointSpread {
            sigma_px: 2.0 * psf.sigma_px,
            motion_px: 2.0 * psf.motion_px,
            defocus_px: 2.0 * psf.defocus_px,
            ..*psf
        };
        let level = texture(&half, seed);
        let sensor = crate::test_frames::Sensor {
            width: side,
            height: side,
            black: 0.0,
            gain: 1.0,
            read_noise: 1.0,
            seed,
            ..crate::test_frames::Sensor::default()
        };
        sensor.draw(|x, y, _, _| f64::from(level.dn[y * side + x]).round().max(0.0))
    }

    #[test]
    fn the_mosaic_shows_nulls_that_lie_beyond_a_halved_picture() {
        let blurs = [
            PointSpread { sigma_px: 0.5, defocus_px: 2.3, ..PointSpread::default() },
            PointSpread { sigma_px: 0.5, motion_px: 3.8, motion_deg: 30.0, ..PointSpread::default() },
        ];
        for (k, psf) in blurs.into_iter().enumerate() {
            let frame = frame(&psf, 20 + k as u64);
            let mut samples = ColourSamples::new(&frame, &[], &[1, 2]);
            samples.noise = NOISE;
            let mosaic = of(Source::Mosaic(&samples)).expect("a mosaic");
            let halved = Level::first(&samples);
            let halved = of(Source::Level(&halved)).expect("a picture");
            let (here, there) = if psf.motion_px > 0.0 {
                let found = mosaic.motion.psf;
                assert!((found.motion_px / psf.motion_px - 1.0).abs() < 0.06, "{found:?}");
                assert!((found.motion_deg - psf.motion_deg).abs() < 3.0, "{found:?}");
                (mosaic.gain(&mosaic.plain, &mosaic.motion), halved.gain(&halved.plain, &halved.motion))
            } else {
                let found = mosaic.disc.psf;
                assert!((found.defocus_px / psf.defocus_px - 1.0).abs() < 0.05, "{found:?}");
                (mosaic.gain(&mosaic.plain, &mosaic.disc), halved.gain(&halved.plain, &halved.disc))
            };
            assert!(here > 0.3 && there < 0.5 * here, "{here} {there}");
        }
    }

    #[test]
    fn what_falls_off_one_way_without_a_null_is_no_motion() {
        // Wide across, sharp upwards: what a soft scene of one direction is like.
        let mut level = texture(&PointSpread { sigma_px: 0.5, ..PointSpread::default() }, 31);
        let weights: Vec<f32> = (-9..=9).map(|k: i32| (-0.5 * (k as f32 / 1.3).powi(2)).exp()).collect();
        let sum: f32 = weights.iter().sum();
        let mut state = 31_u64;
        let mut noise = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            // Variance of one DN from a uniform number.
            ((state >> 40) as f32 / 16_777_216.0 - 0.5) * 12.0_f32.sqrt()
        };
        for row in level.dn.as_chunks_mut::<SIDE>().0 {
            let before = *row;
            for (x, to) in row.iter_mut().enumerate() {
                let at = |k: usize| before[(x + k + SIDE - 9) % SIDE];
                *to = weights.iter().enumerate().map(|(k, w)| w * at(k)).sum::<f32>() / sum + noise();
            }
        }
        let found = read(&level).expect("enough tiles");
        assert!(found.gain(&found.plain, &found.motion) < 0.25, "{found:?}");
    }

    #[test]
    fn a_sharp_texture_refutes_a_motion_and_a_moved_one_does_not() {
        let moved = PointSpread { sigma_px: 0.5, motion_px: 7.0, motion_deg: 60.0, ..PointSpread::default() };
        for (psf, refuted) in [(PointSpread { sigma_px: 0.5, ..PointSpread::default() }, true), (moved, false)] {
            let frame = frame(&psf, 41);
            let samples = ColourSamples::new(&frame, &[], &[1, 2]);
            let picture = Picture { source: Source::Mosaic(&samples), noise: NOISE };
            assert_eq!(refutes(&picture, &moved), refuted);
        }
        // A null beyond what the scene shows refutes nothing.
        let soft = frame(&PointSpread { sigma_px: 2.5, ..PointSpread::default() }, 43);
        let samples = ColourSamples::new(&soft, &[], &[1, 2]);
        let short = PointSpread { motion_px: 3.0, motion_deg: 60.0, ..PointSpread::default() };
        assert!(!refutes(&Picture { source: Source::Mosaic(&samples), noise: NOISE }, &short));
    }

    #[test]
    fn a_flat_picture_is_not_read() {
        let mut level = texture(&PointSpread::default(), 10);
        level.dn.fill(7.0);
        assert!(read(&level).is_none());
    }
}
