//! Saturation of histograms with known limits.

#![allow(clippy::unwrap_used)]
use super::*;
use crate::measures::histogram::CODES;
use crate::test_frames::Noise;

fn hist_of(values: impl Iterator<Item = f64>) -> Histogram {
    let mut counts = vec![0; CODES];
    for v in values {
        counts[v.round().clamp(0.0, 65535.0) as usize] += 1;
    }
    Histogram::new(counts)
}

/// A scene whose tones fall off towards the light, `share` of it beyond saturation.
fn tones(rng: &mut Noise, n: usize, full_well_e: f64, share: f64) -> Vec<f64> {
    (0..n)
        .map(|_| if rng.uniform() < share { 1.5 * full_well_e } else { full_well_e * rng.uniform().powi(2) })
        .collect()
}

#[test]
fn a_converter_limit_is_found_and_counted() {
    let mut rng = Noise::new(1);
    for (limit, white) in [(15_000.0, 16_383.0), (16_383.0, 16_383.0), (4095.0, 4095.0), (3_800.0, 4_095.0)] {
        let black = white / 32.0;
        let gain = 30_000.0 / (white - black);
        let scene = tones(&mut rng, 200_000, 30_000.0, 0.01);
        let mut clipped = 0;
        let h = hist_of(scene.iter().map(|&e| {
            let v = (black + (e + e.sqrt() * rng.normal() + 3.0 * rng.normal()) / gain).round();
            clipped += usize::from(v >= limit);
            v.min(limit)
        }));
        let s = find(&h, black, white, RoughNoise::Slope(1.0 / gain), &[]);
        assert_eq!(s.from, SaturationFrom::Observed);
        assert_eq!(s.level_dn, limit);
        assert!((s.clipped - clipped as f64).abs() < 100.0, "{} of {clipped}", s.clipped);
    }
}

#[test]
fn a_full_well_below_the_white_level_with_noise_on_it_is_found() {
    let mut rng = Noise::new(2);
    for (full_well, read, prnu, white) in
        [(30_000.0, 3.0, 0.0, 16_383.0), (1_200.0, 3.0, 0.0, 4_095.0), (20_000.0, 2.0, 0.003, 16_383.0)]
    {
        let black = white / 16.0;
        let gain = full_well / (0.9 * (white - black));
        let scene = tones(&mut rng, 400_000, full_well, 0.01);
        let mut clipped = 0;
        let h = hist_of(scene.iter().map(|&e| {
            let e = e + e.sqrt() * rng.normal();
            let well = full_well * (1.0 + prnu * rng.normal());
            clipped += usize::from(e >= well);
            black + (e.min(well) + read * rng.normal()) / gain
        }));
        let s = find(&h, black, white, RoughNoise::Slope(1.0 / gain), &[]);
        assert_eq!(s.from, SaturationFrom::Observed, "{full_well}");
        let truth = black + full_well / gain;
        assert!((s.level_dn / truth - 1.0).abs() < 0.002, "{} for {truth}", s.level_dn);
        let off_pct = 100.0 * (s.clipped - clipped as f64).abs() / 400_000.0;
        // Within the width of a pile that pixel differences spread, clipped and unclipped tones mix.
        let tolerance = if prnu > 0.0 { 0.12 } else { 0.06 };
        assert!(off_pct < tolerance, "off by {off_pct} points at {full_well}");
    }
}

#[test]
fn full_photosites_at_the_converters_end_count_whole() {
    let mut rng = Noise::new(12);
    for noise_dn in [0.6, 1.9, 12.0] {
        let (black, white, n) = (512.0, 15_236.0, 300_000);
        let h = hist_of((0..n).map(|i| {
            let signal = if i % 7 == 0 { white - black } else { (white - black) * rng.uniform().powi(2) };
            (black + signal + noise_dn * rng.normal()).round().min(white)
        }));
        let s = find(&h, black, 16_383.0, RoughNoise::Slope(1.0), &[]);
        let off = 100.0 * s.clipped / f64::from(n) - 100.0 / 7.0;
        assert!(s.level_dn == white && off.abs() < 0.15, "{noise_dn}: {s:?} off by {off} points");
    }
}

/// An evenly lit board as the brightest tone, a gap below it, then thin tones: its spread is photon noise (56 DN of 8960 at 2.83
/// electrons per DN), whatever window it is first seen through.
#[test]
fn an_even_board_above_a_gap_in_the_tones_is_not_clipped() {
    let (black, white, gain) = (512.0, 16_383.0, 2.83);
    for seed in 0..40 {
        let mut rng = Noise::new(100 + seed);
        let mut tones: Vec<f64> = (0..8400).map(|_| 8960.0 + (8960.0f64 / gain).sqrt() * rng.normal()).collect();
        tones.extend((0..7200).map(|_| 6500.0 + 2200.0 * rng.uniform()));
        tones.extend((0..200_000).map(|_| 6500.0 * rng.uniform().powi(2)));
        let h = hist_of(tones.into_iter().map(|t| black + t));
        let s = find(&h, black, white, RoughNoise::Slope(0.9 / gain), &[]);
        assert_eq!(s.from, SaturationFrom::Declared, "seed {seed}: {s:?}");
    }
}

#[test]
fn a_white_wall_just_short_of_saturation_is_not_counted_as_clipped() {
    let mut rng = Noise::new(9);
    let (black, gain, limit) = (512.0, 2.0, 14_000.0);
    let mut clipped = 0.0;
    let h = hist_of((0..300_000).map(|i| {
        let e = if i % 4 == 0 { 0.992 * gain * (limit - black) } else { 15_000.0 * rng.uniform() };
        let v = (black + (e + e.sqrt() * rng.normal()) / gain).round().min(limit);
        clipped += f64::from(v == limit);
        v
    }));
    let s = find(&h, black, 16_383.0, RoughNoise::Slope(1.0 / gain), &[]);
    assert_eq!((s.level_dn, s.clipped), (limit, clipped));
}

#[test]
fn hot_pixels_above_saturation_do_not_hide_it() {
    let mut rng = Noise::new(3);
    let h = hist_of((0..300_000).map(|i| {
        if i % 4_000 == 0 { 16_383.0 } else { (15_000.0 * 1.01 * rng.uniform().sqrt()).min(15_000.0) + 512.0 }
    }));
    let s = find(&h, 512.0, 16_383.0, RoughNoise::Slope(0.5), &[]);
    assert_eq!((s.from, s.level_dn), (SaturationFrom::Observed, 15_512.0));
}

#[test]
fn an_evenly_lit_frame_is_not_saturated() {
    let mut rng = Noise::new(4);
    for level in [0.3, 0.7, 0.95] {
        for full_well in [1_200.0, 60_000.0] {
            let (black, white) = (512.0, 16_383.0);
            let gain = full_well / (white - black);
            let e = full_well * level;
            let h = hist_of((0..200_000).map(|_| black + (e + f64::sqrt(e) * rng.normal()) / gain));
            for noise in [RoughNoise::Unknown, RoughNoise::Slope(1.0 / gain)] {
                let s = find(&h, black, white, noise, &[]);
                let allowed = if level > 0.9 && full_well < 2_000.0 { s.level_dn >= white } else { true };
                assert!(s.from == SaturationFrom::Declared || allowed && level > 0.9, "{level} {full_well} {s:?}");
            }
        }
    }
}

#[test]
fn a_bright_sky_below_saturation_is_not_saturated() {
    let mut rng = Noise::new(5);
    let (black, white) = (512.0, 16_383.0);
    let gain = 40_000.0 / (white - black);
    let h = hist_of((0..400_000).map(|i| {
        let e = if i % 3 == 0 { 34_000.0 } else { 20_000.0 * rng.uniform() };
        black + (e + f64::sqrt(e) * rng.normal()) / gain
    }));
    for noise in [RoughNoise::Unknown, RoughNoise::Slope(1.0 / gain)] {
        assert_eq!(find(&h, black, white, noise, &[]).from, SaturationFrom::Declared);
    }
}

#[test]
fn a_single_clipped_sample_leaves_the_declared_level() {
    let mut values: Vec<f64> = (0..10_000).map(|i| 600.0 + f64::from(i % 3_000)).collect();
    values.push(4095.0);
    let s = find(&hist_of(values.into_iter()), 256.0, 4095.0, RoughNoise::Unknown, &[]);
    assert_eq!((s.from, s.level_dn, s.clipped), (SaturationFrom::Declared, 4095.0, 1.0));
}

#[test]
fn saturation_above_the_declared_white_is_found() {
    let mut rng = Noise::new(6);
    let h = hist_of((0..200_000).map(|_| (256.0 + 4_000.0 * rng.uniform()).min(4_071.0)));
    let s = find(&h, 256.0, 3_398.0, RoughNoise::Slope(0.3), &[]);
    assert_eq!((s.from, s.level_dn), (SaturationFrom::Observed, 4_071.0));
    // Without a pile-up, tones well above the declared white still show that it is not the limit.
    let h = hist_of((0..200_000).map(|_| 256.0 + 3_600.0 * rng.uniform()));
    let s = find(&h, 256.0, 3_398.0, RoughNoise::Slope(0.3), &[]);
    assert!(s.white_too_low && s.clipped == 0.0 && s.level_dn > 3_800.0);
}

#[test]
fn black_constant_and_empty_planes_have_the_declared_level() {
    for h in [hist_of(std::iter::empty()), hist_of((0..500).map(|_| 512.0)), hist_of((0..500).map(|_| 4_000.0))] {
        let s = find(&h, 512.0, 16_383.0, RoughNoise::Absent, &[]);
        assert_eq!((s.from, s.clipped), (SaturationFrom::Declared, 0.0));
    }
    let s = find(&hist_of((0..500).map(|_| 16_383.0)), 512.0, 16_383.0, RoughNoise::Absent, &[]);
    assert_eq!((s.level_dn, s.clipped), (16_383.0, 500.0));
}

#[test]
fn a_tone_that_reaches_further_up_than_the_width_it_is_given_is_no_saturation() {
    let mut rng = Noise::new(71);
    let bell: Vec<f64> = (0..300).map(|_| 4_480.0 + 38.0 * rng.normal()).collect();
    let h = hist_of(bell.iter().copied());
    // As wide as it is, a third of that, and beside it.
    assert!(ends_above(&h, 4_480.0, 38.0, 300.0));
    assert!(!ends_above(&h, 4_490.0, 12.5, 170.0));
    assert!(!ends_above(&h, 4_700.0, 0.0, 100.0));
    // A converter's end has nothing above.
    let cut = hist_of(bell.iter().map(|v| v.min(4_480.0)));
    assert!(ends_above(&cut, 4_480.0, 0.0, 300.0));
}

#[test]
fn hot_pixels_at_the_converters_end_do_not_hide_full_wells_below_it() {
    let mut rng = Noise::new(21);
    for (share, hot) in [(0.3, 60), (0.02, 30), (0.3, 0), (0.0, 60)] {
        let (black, white, full_well) = (128.0, 4_095.0, 5_500.0);
        let gain = 5_800.0 / (white - black);
        let scene = tones(&mut rng, 300_000, full_well, share);
        let limit = if share > 0.0 { full_well } else { f64::INFINITY };
        let wells = scene.iter().map(|&e| (e + e.sqrt() * rng.normal()).min(limit) + 2.9 * rng.normal());
        let mut values: Vec<f64> = wells.map(|e| (black + e / gain).min(white)).collect();
        values.iter_mut().take(hot).for_each(|v| *v = white);
        let s = find(&hist_of(values.into_iter()), black, white, RoughNoise::Slope(1.0 / gain), &[]);
        let level = if share > 0.0 { black + full_well / gain } else { white };
        assert!((s.level_dn - level).abs() < 1.0, "{share}, {hot}: {}", s.level_dn);
    }
}
