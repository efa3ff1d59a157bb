//! Borders whose samples were changed before the file was written, and some that only look so.

use rawassay_decode::{Area, Frame};

use super::*;
use crate::test_frames::{Noise, Sensor};

/// A frame with a border of 40 columns at its left; `code` gives its codes before rounding and cutting off, by column and row.
fn bordered(code: impl FnMut(usize, usize) -> f64, apart: f64) -> Frame {
    let sensor = Sensor { width: 600, height: 800, ..Sensor::default() };
    let mut code = code;
    let mut frame = sensor.draw(|x, y, _, _| ((code(x, y) / apart).round() * apart).max(0.0));
    frame.active = Area::new(40, 0, 560, 800);
    frame.masked = vec![Area::new(0, 0, 40, 800)];
    frame
}

fn read(of: &Masked) -> Vec<f64> {
    of.read_noise_dn.iter().flatten().copied().collect()
}

fn is_near(of: &Masked, noise_dn: f64, what: &str) {
    let read = read(of);
    assert_eq!(read.len(), of.read_noise_dn.len(), "{what}: unknown");
    assert!(read.iter().all(|r| (r / noise_dn - 1.0).abs() < 0.08), "{what}: {read:?} for {noise_dn}");
}

#[test]
fn noise_cut_off_at_zero_has_its_size_with_hot_photosites_and_coarse_codes_too() {
    for (black, noise, apart, hot) in [
        (0.0, 5.0, 1.0, 0.0),
        (3.0, 5.0, 1.0, 0.001),
        (0.0, 4.0, 1.0, 0.002),
        (0.0, 8.0, 4.0, 0.0),
        (2.0, 20.0, 8.0, 0.0),
    ] {
        let mut rng = Noise::new(8);
        let mut dice = Noise::new(9);
        let frame = bordered(
            |_, _| {
                let lit = if dice.normal() > 2.9 && hot > 0.0 { 300.0 } else { 0.0 };
                black + lit + noise * rng.normal()
            },
            apart,
        );
        let found = measure(&frame);
        is_near(&found, noise, &format!("black {black}, {apart} apart, hot {hot}"));
        assert_eq!(found.row_banding_dn, Some(0.0), "{black} {noise} {apart} {hot}");
    }
}

#[test]
fn rows_far_off_in_a_border_cut_off_at_zero_are_offsets_and_not_hot() {
    let mut rng = Noise::new(3);
    let frame = bordered(|_, y| if y % 20 == 7 { 30.0 } else { 0.0 } + 4.0 * rng.normal(), 1.0);
    let found = measure(&frame);
    is_near(&found, 4.0, "rows far off");
    // One row in twenty: 30 sqrt(0.05 * 0.95).
    let rows = found.row_banding_dn.unwrap_or(0.0);
    assert!((rows / 6.54 - 1.0).abs() < 0.1, "{rows}");
}

#[test]
fn dead_photosites_far_below_black_are_no_noise_cut_off() {
    // One and a half, and three in a hundred.
    for from in [2.43, 2.17] {
        let (mut rng, mut dice) = (Noise::new(4), Noise::new(14));
        let frame = bordered(|_, _| if dice.normal().abs() > from { 0.0 } else { 512.0 + 5.0 * rng.normal() }, 1.0);
        is_near(&measure(&frame), 5.0, "dead photosites");
    }
}

#[test]
fn where_zeros_leave_too_little_nothing_is_said() {
    for (black, noise) in [(-3.6, 3.0), (-2.5, 3.0), (0.0, 1.1), (-0.4, 1.2)] {
        for seed in [1, 2, 3] {
            let mut rng = Noise::new(seed);
            let found = measure(&bordered(|_, _| black + noise * rng.normal(), 1.0));
            assert!(read(&found).iter().all(|r| (r / noise - 1.0).abs() < 0.1), "{black} {noise}: {found:?}");
        }
    }
}

#[test]
fn a_glow_in_a_corner_is_not_taken_for_noise_reduction() {
    let mut rng = Noise::new(6);
    let glow = |x: usize, y: usize| 60.0 * (-(y as f64) / 100.0 - x as f64 / 60.0).exp();
    let found = measure(&bordered(|x, y| 512.0 + glow(x, y) + 3.0 * rng.normal(), 1.0));
    assert_eq!(found.why, None);
    is_near(&found, 3.0, "glow");
}

#[test]
fn a_smoothed_border_says_nothing_but_why() {
    let mut rng = Noise::new(7);
    let noise: Vec<f64> = (0..604 * 800).map(|_| 5.0 * rng.normal()).collect();
    let at = |x: usize, y: usize| noise[y * 604 + x];
    let found = measure(&bordered(|x, y| 512.0 + 0.25 * (at(x, y) + 2.0 * at(x + 2, y) + at(x + 4, y)), 1.0));
    assert!(found.why.is_some() && read(&found).is_empty(), "{found:?}");
    assert_eq!((found.row_banding_dn, found.column_banding_dn), (None, None));
}

#[test]
fn offsets_of_each_colour_in_a_line_across_are_not_read_noise() {
    let mut rng = Noise::new(5);
    let columns: Vec<[f64; 2]> = (0..600).map(|_| [3.0 * rng.normal(), 3.0 * rng.normal()]).collect();
    let found = measure(&bordered(|x, y| 512.0 + columns[x][y % 2] + 2.0 * rng.normal(), 1.0));
    is_near(&found, 2.0, "columns of two converters");
}
