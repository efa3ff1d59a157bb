//! Bands of few lines in the noise of light tones, and lines of the scene exactly along the array; drawn with a known sensor.

#![allow(clippy::unwrap_used)]
use rawassay_decode::{FilterArray, Frame};

use crate::measure;
use crate::test_frames::{Noise, Sensor};

/// What a lens of that blur, px, leaves of a line one photosite wide in those beside it.
fn kernel(sigma: f64) -> Vec<f64> {
    let at = |off: f64| -> f64 {
        let within = |u: f64| (1.0 - u.abs()).max(0.0);
        (-400..400).map(|k| f64::from(k) / 100.0).map(|u| within(u) * (-0.5 * ((off - u) / sigma).powi(2)).exp()).sum()
    };
    let all: Vec<f64> = (-4..=4).map(|n| at(f64::from(n))).collect();
    let sum: f64 = all.iter().sum();
    all.iter().map(|v| v / sum).collect()
}

/// Which lines lie within openings of that width, so far apart, through such a lens.
fn openings(count: usize, apart: usize, wide: usize, sigma: f64) -> Vec<f64> {
    let within = |l: usize| f64::from(u8::from((l + apart - 20) % apart < wide));
    let kernel = kernel(sigma);
    (0..count).map(|l| kernel.iter().enumerate().map(|(n, k)| k * within((l + n).saturating_sub(4))).sum()).collect()
}

/// A wall with windows, upright to the photosite.
fn windows(seed: u64, filter: &FilterArray, sigma: f64, [apart_x, wide, apart_y, high]: [usize; 4]) -> Frame {
    let sensor = Sensor { width: 1_344, height: 1_008, gain: 1.2, filter: filter.clone(), ..Sensor::default() };
    let (columns, rows) = (openings(1_344, apart_x, wide, sigma), openings(1_008, apart_y, high, sigma));
    let mut rng = Noise::new(seed);
    sensor.draw(|x, y, _, s| {
        let e = 2_500.0 * (1.0 - 0.75 * columns[x] * rows[y]);
        (s.black + (e + e.sqrt() * rng.normal() + s.read_noise * rng.normal()) / s.gain).round()
    })
}

#[test]
fn windows_exactly_upright_are_no_bands() {
    let (bayer, mono) = (FilterArray::bayer("RGGB").unwrap(), FilterArray::monochrome());
    let walls = [
        (1, &bayer, 0.35, [40, 18, 48, 22]),
        (2, &bayer, 0.35, [36, 14, 54, 20]),
        (3, &mono, 0.35, [60, 26, 72, 30]),
        (4, &mono, 0.5, [40, 18, 48, 22]),
    ];
    for (seed, filter, sigma, sizes) in walls {
        let m = measure(&windows(seed, filter, sigma, sizes)).noise;
        for found in [m.row_banding_dn, m.column_banding_dn] {
            assert!(found.is_none_or(|dn| dn < 0.5), "{seed} {sizes:?}: {m:?}");
        }
    }
}

#[test]
fn few_columns_off_by_less_than_the_noise_of_light_tones_are_sized_whole_or_left_open() {
    let mut sized = Vec::new();
    for seed in 1..=5 {
        let mut rng = Noise::new(seed);
        let off: Vec<f64> = (0..1_536).map(|_| if rng.uniform() < 0.05 { 27.0 * rng.normal() } else { 0.0 }).collect();
        let size = (off.iter().map(|v| v * v).sum::<f64>() / 1_536.0).sqrt();
        let drawn = Sensor { width: 1_536, height: 1_024, gain: 0.5, ..Sensor::default() }.draw(|x, y, _, s| {
            // Patches between 800 and 6400 electrons: noise of 60 to 160 DN.
            let e = 6_400.0 * 2_f64.powf(-0.2 * f64::from((x / 96 * 7 + y / 90 * 13) as u32 % 16));
            (s.black + (e + e.sqrt() * rng.normal() + s.read_noise * rng.normal()) / s.gain + off[x]).round()
        });
        let m = measure(&drawn).noise;
        assert!(m.row_banding_dn.is_none_or(|dn| dn < 1.2), "{seed}: {m:?}");
        sized.extend(m.column_banding_dn.map(|found| found / size));
    }
    assert!(sized.len() >= 3 && sized.iter().all(|share| (share - 1.0).abs() < 0.2), "{sized:?}");
}
