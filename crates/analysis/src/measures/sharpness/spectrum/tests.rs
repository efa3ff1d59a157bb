//! Spectra of simulated textures with known blur.

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

#[test]
fn what_the_grid_hardly_shows_where_there_are_no_nulls_is_not_shown_between_its_places_either() {
    let mut near = 0;
    for (seed, sigma_px) in [(7, 0.4), (8, 1.0), (9, 2.5), (51, 0.7), (52, 1.3), (53, 1.8), (54, 3.5)] {
        let fine = texture(&PointSpread { sigma_px, ..PointSpread::default() }, seed);
        let coarse = fine.next();
        let pictures = [&fine, &coarse].map(|level| Picture { source: Source::Level(level), noise: NOISE });
        for read in read_two(&pictures) {
            let Spectrum { plain, disc, motion, .. } = read.spectrum;
            let gain = |fit: &SpectrumFit| (plain.cost - fit.cost) / (2.0 * read.worth).max(fit.cost);
            for fit in [disc, motion] {
                let refined = gain(&read.fitter.refine(fit));
                if gain(&fit) < NOTHING_NEAR {
                    near += 1;
                    assert!(refined < NOTHING_SEEN, "{seed}: {fit:?} {refined}");
                }
            }
        }
    }
    assert!(near > 20, "{near}");
}

#[test]
fn detail_near_the_end_of_the_band_in_all_directions_is_what_no_blur_leaves() {
    // Figures in pixels of the picture, which is the mosaic itself here.
    let shown = |sigma_px: f64, motion_px: f64, motion_deg: f64, defocus_px: f64| {
        let of_pairs = |px: f64| 2.0 * px;
        let psf = PointSpread {
            sigma_px: of_pairs(sigma_px),
            motion_px: of_pairs(motion_px),
            defocus_px: of_pairs(defocus_px),
            motion_deg,
            ..PointSpread::default()
        };
        let level = Level { step_px: 1.0, ..texture(&psf, 51) };
        let picture = Picture { source: Source::Level(&level), noise: NOISE };
        read_two(&[picture]).first().is_some_and(|read| read.fine_detail)
    };
    assert!(shown(0.4, 0.0, 0.0, 0.0) && shown(0.55, 0.0, 0.0, 0.0));
    assert!(!shown(1.2, 0.0, 0.0, 0.0));
    for deg in [0.0, 35.0, 90.0, 140.0] {
        assert!(!shown(0.4, 2.5, deg, 0.0) && !shown(0.4, 6.0, deg, 0.0), "{deg}");
    }
    assert!(!shown(0.4, 0.0, 0.0, 1.8) && !shown(0.4, 0.0, 0.0, 4.0));
    // A halved picture does not reach so far.
    let level = texture(&PointSpread { sigma_px: 0.8, ..PointSpread::default() }, 51);
    let picture = Picture { source: Source::Level(&level), noise: NOISE };
    assert!(read_two(&[picture]).first().is_some_and(|read| !read.fine_detail));
}
