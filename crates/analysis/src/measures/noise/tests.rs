//! The noise of whole frames, drawn with a known sensor.

#![allow(clippy::unwrap_used)]
use super::{FrameNoise, PlaneNoise};
use crate::measure;
use crate::measures::line_fit::Line;
use crate::test_frames::{Noise, Sensor};

/// Light by tiles of 80 pixels, electrons: from `top` down.
fn steps(x: usize, y: usize, top: f64) -> f64 {
    top * 2_f64.powf(-0.6 * ((x / 80 * 7 + y / 80 * 13) % 23) as f64)
}

#[test]
fn read_noise_under_bands_is_read_noise() {
    for (seed, columns) in [(1, false), (2, true), (3, false), (4, true)] {
        let mut rng = Noise::new(seed);
        let offsets: Vec<f64> = (0..1_024).map(|_| 2.4 * rng.normal()).collect();
        let sensor = Sensor { width: 1_024, height: 768, gain: 1.0, read_noise: 3.0, ..Sensor::default() };
        let frame = sensor.draw(|x, y, _, s| {
            let e = steps(x, y, 8_000.0);
            let noise = e.sqrt() * rng.normal() + s.read_noise * rng.normal();
            (s.black + e + noise + offsets[if columns { x } else { y }]).round()
        });
        let m = measure(&frame).noise;
        let banding = if columns { m.column_banding_dn } else { m.row_banding_dn };
        assert!(banding.is_some_and(|dn| (dn / 2.4 - 1.0).abs() < 0.2), "{seed}: {m:?}");
        assert!((m.read_noise_dn.unwrap() / 3.0 - 1.0).abs() < 0.05, "{seed}: {m:?}");
    }
}

#[test]
fn dark_tones_below_half_a_dn_of_noise_do_not_bend_the_gain() {
    let cases = [(60.0, 8.0, 200), (60.0, 11.0, 400), (120.0, 8.0, 400), (500.0, 8.0, 200), (4_000.0, 11.0, 400)];
    for (seed, (top, gain, dark)) in cases.into_iter().enumerate() {
        let seed = 1 + seed as u64;
        let sensor = Sensor { width: 1_024, height: 768, gain, read_noise: 2.1, seed, ..Sensor::default() };
        // A part of the frame without light.
        let m = measure(&sensor.shoot(|x, y, _| if y < dark { 0.0 } else { steps(x, y, top) })).noise;
        assert!(m.gain_e_per_dn.is_none_or(|g| (g / gain - 1.0).abs() < 0.06), "{top} {gain}: {m:?}");
    }
}

#[test]
fn bands_that_whole_dn_do_not_follow_are_not_taken_for_small_ones() {
    let mut rng = Noise::new(8);
    let sensor = Sensor { width: 1_024, height: 768, gain: 11.0, read_noise: 2.1, ..Sensor::default() };
    let frame = sensor.draw(|x, y, _, s| {
        let e = if y % 384 < 200 { 0.0 } else { steps(x, y, 4_000.0) };
        let wave = 1.5 * 2_f64.sqrt() * (std::f64::consts::TAU * x as f64 / 31.0).sin();
        (s.black + (e + e.sqrt() * rng.normal() + s.read_noise * rng.normal() + wave) / s.gain).round()
    });
    let m = measure(&frame).noise;
    assert!(m.column_banding_dn.is_none_or(|dn| (dn * 11.0 / 1.5 - 1.0).abs() < 0.2), "{m:?}");
}

#[test]
fn faint_structure_all_over_is_not_taken_for_noise_of_light() {
    for seed in [1, 2, 3] {
        let sensor = Sensor { width: 1_024, height: 768, ..Sensor::default() };
        let mut rng = Noise::new(seed);
        let field: Vec<f64> = (0..1_030 * 774).map(|_| rng.normal()).collect();
        // As faint as a fifth of the noise in one block, and three times the noise in another.
        let height: Vec<f64> = (0..64 * 48).map(|_| 0.3 + 2.7 * rng.uniform()).collect();
        let frame = sensor.draw(|x, y, _, s| {
            let at = |dx: usize, dy: usize| field[(y + dy) * 1_030 + x + dx];
            let texture = (0..25).map(|i| at(i % 5, i / 5)).sum::<f64>() / 5.0 * height[y / 16 * 64 + x / 16];
            let e = steps(x, y, 20_000.0);
            (s.black + (e + texture * e.sqrt() + e.sqrt() * rng.normal() + s.read_noise * rng.normal()) / s.gain)
                .round()
        });
        let gain = measure(&frame).noise.gain_e_per_dn;
        assert!(gain.is_none_or(|g| (g / sensor.gain - 1.0).abs() < 0.06), "{seed}: {gain:?}");
    }
}

#[test]
fn bands_that_correlate_every_block_are_not_taken_for_smoothing() {
    for seed in [1, 2, 3] {
        let mut rng = Noise::new(seed);
        let offsets: Vec<f64> = (0..1_024).map(|_| 4.5 * rng.normal()).collect();
        let sensor = Sensor { width: 1_024, height: 768, gain: 1.0, read_noise: 3.0, ..Sensor::default() };
        // A dark picture: the bands are larger than its noise nearly everywhere.
        let frame = sensor.draw(|x, y, _, s| {
            let e = steps(x, y, 60.0);
            (s.black + e + e.sqrt() * rng.normal() + s.read_noise * rng.normal() + offsets[x]).round()
        });
        let m = measure(&frame).noise;
        assert!((m.read_noise_dn.unwrap_or(0.0) / 3.0 - 1.0).abs() < 0.1, "{seed}: {m:?}");
        assert!(m.column_banding_dn.is_some_and(|dn| (dn / 4.5 - 1.0).abs() < 0.2), "{seed}: {m:?}");
    }
}

#[test]
fn a_scene_that_changes_along_one_side_only_hides_neither_noise_nor_bands_of_the_other() {
    let blinds = |x: usize, y: usize| {
        let louver = 0.5 + 0.45 * (std::f64::consts::TAU * y as f64 / 23.0).sin();
        8_000.0 * louver * (0.3 + 0.7 * x as f64 / 1_024.0)
    };
    for seed in [1, 2, 3] {
        let mut rng = Noise::new(seed);
        let offsets: Vec<f64> = (0..1_024).map(|_| 3.0 * rng.normal()).collect();
        let sensor = Sensor { width: 1_024, height: 768, gain: 1.0, read_noise: 6.0, ..Sensor::default() };
        let frame = sensor.draw(|x, y, _, s| {
            let e = blinds(x, y);
            (s.black + e + e.sqrt() * rng.normal() + s.read_noise * rng.normal() + offsets[x]).round()
        });
        let m = measure(&frame).noise;
        assert!(m.gain_e_per_dn.is_none_or(|g| (g - 1.0).abs() < 0.06), "{seed}: {m:?}");
        assert!(m.column_banding_dn.is_some_and(|dn| (dn / 3.0 - 1.0).abs() < 0.2), "{seed}: {m:?}");
        // Smoothed, each colour by itself: no gain for all that.
        let smoothed = sensor.draw(|x, y, _, _| {
            let at = |x: usize, y: usize| f64::from(frame.row(y.min(767))[x.min(1_023)]);
            (0.5 * at(x, y) + 0.25 * (at(x + 2, y) + at(x.saturating_sub(2), y))).round()
        });
        assert_eq!(measure(&smoothed).noise.gain_e_per_dn, None, "{seed}");
    }
}

#[test]
fn bands_are_sized_between_the_blurred_joints_of_a_wall() {
    // Bricks of 63 by 29 pixels, every second row shifted, joints as wide as a lens of one pixel leaves them.
    let edge = |d: f64| 0.5 * (1.0 + (1.2 * d).tanh());
    let joint = |at: f64, size: f64, width: f64| {
        let d = (at.rem_euclid(size) - 0.5 * size).abs();
        edge(d - 0.5 * (size - width))
    };
    for (seed, contrast) in [(1, 0.2), (2, 0.5), (3, 1.0), (4, 1.5)] {
        let mut rng = Noise::new(seed);
        let offsets: Vec<f64> = (0..1_280).map(|_| 3.0 * rng.normal()).collect();
        let sensor = Sensor { width: 1_280, height: 900, gain: 1.0, read_noise: 6.0, ..Sensor::default() };
        let frame = sensor.draw(|x, y, _, s| {
            let (row, y) = ((y / 29) as f64, y as f64);
            let mortar = joint(y, 29.0, 4.0).max(joint(x as f64 + 31.0 * row, 63.0, 4.0));
            let e = (300.0 + 4_000.0 * (y / 900.0)) * (1.0 + contrast * mortar);
            (s.black + e + e.sqrt() * rng.normal() + s.read_noise * rng.normal() + offsets[x]).round()
        });
        let column = measure(&frame).noise.column_banding_dn;
        assert!(column.is_some_and(|dn| (dn / 3.0 - 1.0).abs() < 0.2), "{seed}: {column:?}");
    }
}

#[test]
fn tones_darker_than_even_ones_do_not_count_by_less_noise_for_the_lines() {
    let line = Line {
        offset: 9.0,
        slope: 0.5,
        square: 0.0,
        offset_error: 0.1,
        slope_error: 0.001,
        square_error: 0.0,
        used: 4_000,
    };
    let plane = |holds: bool, low: f64| PlaneNoise {
        line: Some(line),
        holds,
        tones_dn: Some((low, 4_000.0)),
        ..PlaneNoise::default()
    };
    let planes = vec![plane(true, 1_000.0), plane(true, -3.0), plane(false, 1_000.0)];
    let noise = FrameNoise { planes, ..FrameNoise::default() };
    let tones = |of: Vec<crate::measures::variance::Variance>| of.iter().map(|v| v.tones_dn).collect::<Vec<_>>();
    // Even blocks down to black know all of it; where no gain is known, nothing is known beyond them.
    let for_lines = tones(noise.variances_for_lines(&[64.0; 3]).unwrap());
    assert_eq!(for_lines, [Some((500.0, f64::INFINITY)), None, Some((1_000.0, 4_000.0))]);
    assert_eq!(tones(noise.variances_above(&[64.0; 3]).unwrap())[0], None);
}

/// Means of 3 x 3 of random numbers, of deviation 1: what a lens of about a pixel leaves of fine texture.
fn texture(rng: &mut Noise, (width, height): (usize, usize)) -> Vec<f64> {
    let dust: Vec<f64> = (0..(width + 2) * (height + 2)).map(|_| rng.normal()).collect();
    let mean = |x: usize, y: usize| (0..9).map(|i| dust[(y + i / 3) * (width + 2) + x + i % 3]).sum::<f64>() / 3.0;
    (0..width * height).map(|i| mean(i % width, i / width)).collect()
}

#[test]
fn texture_that_hides_in_even_blocks_is_taken_off_the_noise() {
    for seed in 1..=3 {
        let sensor = Sensor { width: 1_280, height: 960, ..Sensor::default() };
        let mut rng = Noise::new(seed);
        let texture = texture(&mut rng, (1_280, 960));
        // Of up to a tenth of the noise in variance, by blocks.
        let height: Vec<f64> = (0..80 * 60).map(|_| (0.1 * rng.uniform()).sqrt()).collect();
        let frame = sensor.draw(|x, y, _, s| {
            let e = steps(x, y, 20_000.0);
            let own = texture[y * 1_280 + x] * height[y / 16 * 80 + x / 16];
            (s.black + (e + e.sqrt() * (own + rng.normal()) + s.read_noise * rng.normal()) / s.gain).round()
        });
        let gain = measure(&frame).noise.gain_e_per_dn;
        assert!(gain.is_some_and(|g| (g / sensor.gain - 1.0).abs() < 0.03), "{seed}: {gain:?}");
    }
}

#[test]
fn lines_of_the_scene_beside_bands_leave_gain_and_read_noise_as_they_are() {
    // Dark and bright stripes along the columns, as keys of a piano, a third darker at the bottom, and offsets as large as the read
    // noise: a block without its columns' levels is even where it holds both.
    for seed in [1, 2, 3] {
        let mut rng = Noise::new(seed);
        let offsets: Vec<f64> = (0..1_280).map(|_| 2.5 * rng.normal()).collect();
        let sensor = Sensor { width: 1_280, height: 960, gain: 1.0, read_noise: 2.5, ..Sensor::default() };
        let frame = sensor.draw(|x, y, _, s| {
            let edge = |at: f64| 0.5 * (1.0 + ((x as f64).rem_euclid(61.0) - at).tanh());
            let key = 20.0 + 700.0 * (edge(20.0) - edge(59.0));
            let e = key * (1.0 - 0.3 * y as f64 / 960.0);
            (s.black + e + e.sqrt() * rng.normal() + s.read_noise * rng.normal() + offsets[x]).round()
        });
        let m = measure(&frame).noise;
        assert!(m.gain_e_per_dn.is_none_or(|g| (g - 1.0).abs() < 0.025), "{seed}: {m:?}");
        assert!(m.read_noise_dn.is_none_or(|dn| (dn / 2.5 - 1.0).abs() < 0.06), "{seed}: {m:?}");
        assert!(m.gain_e_per_dn.is_some(), "{seed}: {m:?}");
    }
}
