#![allow(clippy::unwrap_used)]
use super::*;
use crate::test_frames::Noise;

fn chi_square(rng: &mut Noise, f: usize) -> f64 {
    (0..f).map(|_| rng.normal().powi(2)).sum::<f64>() / f as f64
}

/// Events before the product of as many random numbers falls below exp(-mean) (Knuth).
fn poisson(rng: &mut Noise, mean: f64) -> f64 {
    let (mut product, mut n) = (rng.uniform(), 0.0);
    while product > (-mean).exp() {
        product *= rng.uniform();
        n += 1.0;
    }
    n
}

#[test]
fn clean_patches_give_an_unbiased_line_and_textured_ones_do_not_move_it_far() {
    for (share, tolerance) in [(0.0, 0.01), (0.3, 0.02)] {
        let mut rng = Noise::new(7);
        let points: Vec<Point> = (0..4_000)
            .map(|_| {
                let mean = 4_000.0 * rng.uniform().powi(3);
                let texture = if rng.uniform() < share { 1.5 + 4.0 * rng.uniform() } else { 1.0 };
                let variance = (0.5 * mean + 9.0) * texture * chi_square(&mut rng, 61);
                Point { mean, variance, samples: 64.0, freedom: 61.0, spread: 0.0 }
            })
            .collect();
        let line = fit(&points, 1.5).unwrap();
        assert!((line.slope / 0.5 - 1.0).abs() < tolerance, "{line:?}");
        assert!((line.offset / 9.0 - 1.0).abs() < 0.05 + 2.0 * tolerance, "{line:?}");
        assert!(line.slope_error / line.slope < 0.01);
    }
}

#[test]
fn differences_between_pixels_do_not_bend_the_gain() {
    let mut rng = Noise::new(3);
    let points: Vec<Point> = (0..6_000)
        .map(|_| {
            let mean = 10_000.0 * rng.uniform().powi(2);
            let variance = (0.3 * mean + 4.0 + (0.005 * mean).powi(2)) * chi_square(&mut rng, 61);
            Point { mean, variance, samples: 64.0, freedom: 61.0, spread: 0.0 }
        })
        .collect();
    let line = fit(&points, 1.5).unwrap();
    assert!((line.slope / 0.3 - 1.0).abs() < 0.02, "{line:?}");
    assert!((line.square.sqrt() / 0.005 - 1.0).abs() < 0.1, "{line:?}");
}

#[test]
fn patches_of_bright_and_dark_lines_do_not_bend_the_curve() {
    // A fifth of a patch of middle tones is bright, the rest dark: the mean of its variance is that of its mean tone, but it
    // scatters more.
    let mut rng = Noise::new(13);
    let points: Vec<Point> = (0..8_000)
        .map(|i| {
            let dark = 20.0 + 40.0 * rng.uniform();
            let bright = 900.0 + 200.0 * rng.uniform();
            let (mean, share) = [(dark, 0.0), (bright, 0.0), (0.8 * dark + 0.2 * bright, 0.2)][i % 3];
            let sample = |rng: &mut Noise, k: usize| {
                let tone = if share == 0.0 {
                    mean
                } else if k < 10 {
                    bright
                } else {
                    dark
                };
                (0.5 * tone + 9.0) * rng.normal().powi(2)
            };
            let variance = (0..50).map(|k| sample(&mut rng, k)).sum::<f64>() / 50.0;
            let spread = share * (1.0 - share) * (bright - dark).powi(2);
            Point { mean, variance, samples: 64.0, freedom: 50.0, spread }
        })
        .collect();
    let line = fit(&points, 1.5).unwrap();
    assert!((line.slope / 0.5 - 1.0).abs() < 0.01, "{line:?}");
    assert!((line.offset / 9.0 - 1.0).abs() < 0.04, "{line:?}");
    let all: Vec<Point> = points.iter().map(|p| Point { spread: 0.0, ..*p }).collect();
    let bent = fit(&all, 1.5).unwrap();
    assert!(bent.slope < 0.97 * line.slope && bent.offset > 1.1 * line.offset, "{bent:?}");
}

#[test]
fn a_fog_has_no_read_noise_of_hundreds_of_electrons() {
    // Two colours' tones, each within a third of its level, of 1.6 electrons to the DN and 3 electrons of read noise; and two
    // even tones of photosites that differ by 0.35 %.
    for seed in 1..=4 {
        let mut rng = Noise::new(seed);
        let mut points = |of: [(f64, f64); 2], [offset, slope, square]: [f64; 3]| -> Vec<Point> {
            (0..6_000)
                .map(|i| {
                    let (low, high) = of[i % 2];
                    let mean = low + (high - low) * rng.uniform();
                    let variance = (offset + slope * mean + square * mean * mean) * chi_square(&mut rng, 61);
                    Point { mean, variance, samples: 64.0, freedom: 61.0, spread: 0.0 }
                })
                .collect()
        };
        let fog = fit(&points([(6_000.0, 7_800.0), (11_400.0, 15_000.0)], [3.3, 0.625, 0.0]), 1.5).unwrap();
        assert!((fog.slope / 0.625 - 1.0).abs() < 0.05 && fog.slope_error < 0.03 * fog.slope, "{seed}: {fog:?}");
        let hills = fit(&points([(3_600.0, 3_625.0), (6_010.0, 6_050.0)], [0.9, 0.315, 1.25e-5]), 1.5).unwrap();
        assert!((hills.slope / 0.315 - 1.0).abs() < 0.06, "{seed}: {hills:?}");
    }
}

#[test]
fn a_slope_that_the_scatter_of_the_means_flattens_says_so() {
    // Means of 64 samples: of tones within 40 DN about a noise of 40 DN a third of the spread is chance.
    for (tones, close) in [(40.0, true), (4_000.0, false)] {
        let mut rng = Noise::new(21);
        let points: Vec<Point> = (0..4_000)
            .map(|_| {
                let tone = tones * rng.uniform().powi(2);
                let mean = tone + (1_600.0_f64 / 64.0).sqrt() * rng.normal();
                let variance = (1_600.0 + 16.0 * tone) * chi_square(&mut rng, 61);
                Point { mean, variance, samples: 64.0, freedom: 61.0, spread: 0.0 }
            })
            .collect();
        let line = fit(&points, 1.5).unwrap();
        let off = (line.slope / 16.0 - 1.0).abs();
        assert!(off < 2.0 * line.slope_error / line.slope, "{tones}: {line:?}");
        assert_eq!(off > 0.1, close, "{tones}: {line:?}");
    }
}

#[test]
fn a_mean_is_that_of_all_samples_whatever_was_taken_out_of_them() {
    // 64 samples of eight rows and columns, of which levels of all are taken out: 49 degrees of freedom.
    let mut rng = Noise::new(25);
    let points: Vec<Point> = (0..60_000)
        .map(|_| {
            let tone = 20.0 * rng.uniform().powi(2);
            let mean = tone + (1_600.0_f64 / 64.0).sqrt() * rng.normal();
            let variance = (1_600.0 + 16.0 * tone) * chi_square(&mut rng, 49);
            Point { mean, variance, samples: 64.0, freedom: 49.0, spread: 0.0 }
        })
        .collect();
    let line = fit(&points, 1.5).unwrap();
    let (off, share) = (1.0 - line.slope / 16.0, flattened(&points, &line, 0.0));
    assert!(off > 0.3 && (share / off - 1.0).abs() < 0.09, "{off} for {share}");
}

#[test]
fn offsets_of_lines_flatten_a_slope_by_the_share_of_the_means_that_they_make_and_light_by_nothing() {
    // Electrons of a Poisson variable, 2 DN each, in 64 samples of 9 DN of read noise; means off by lines' 0, 4 or 9 DN.
    for lines in [0.0_f64, 4.0, 9.0] {
        let mut rng = Noise::new(23);
        let points: Vec<Point> = (0..6_000)
            .map(|_| {
                let light = 2.0 + 14.0 * rng.uniform();
                let samples: Vec<f64> = (0..64).map(|_| 2.0 * poisson(&mut rng, light) + 9.0 * rng.normal()).collect();
                let mean = samples.iter().sum::<f64>() / 64.0;
                let variance = samples.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / 63.0;
                Point { mean: mean + lines * rng.normal(), variance, samples: 64.0, freedom: 63.0, spread: 0.0 }
            })
            .collect();
        let line = fit(&points, 6.0).unwrap();
        let (off, share) = (1.0 - line.slope / 2.0, flattened(&points, &line, lines * lines));
        assert!((off - share).abs() < 0.04, "{lines}: {off} for {share}");
        assert!(lines == 0.0 || share > 0.15, "{lines}: {share}");
    }
}

#[test]
fn a_line_reaches_a_variance_where_it_is_that_large() {
    let none =
        Line { offset: 0.1, slope: 0.0, square: 0.0, offset_error: 0.0, slope_error: 0.0, square_error: 0.0, used: 9 };
    for line in
        [Line { slope: 0.09, ..none }, Line { slope: 0.09, square: 0.002, ..none }, Line { square: 0.01, ..none }]
    {
        assert!((line.at(line.reaches(0.4)) - 0.4).abs() < 1e-12, "{line:?}");
        assert_eq!(line.reaches(0.05), f64::NEG_INFINITY);
    }
    assert_eq!(none.reaches(0.4), f64::INFINITY);
}

#[test]
fn one_mean_or_few_points_is_no_line() {
    let p = Point { mean: 100.0, variance: 50.0, samples: 64.0, freedom: 61.0, spread: 0.0 };
    assert!(fit(&[p; 200], 1.5).is_none());
    assert!(fit(&[p; 3], 1.5).is_none());
    assert!(fit(&[], 1.5).is_none());
}
