//! Borders of simulated noise, with lit, missing and banded lines.

#![allow(clippy::unwrap_used)]
use super::super::level::measure;
use super::*;
use crate::backend::Gaps;
use crate::frame::FilterArray;

/// A frame with a border of black noise, two lit columns next to the picture and a column of zeros at the edge.
fn frame(noise_dn: f64) -> Decoded {
    let (width, height, border) = (400, 600, 40);
    let mut state = 1_u64;
    let mut normal = move || {
        let mut sum = 0.0;
        for _ in 0..12 {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            sum += (state >> 11) as f64 / (1_u64 << 53) as f64;
        }
        sum - 6.0
    };
    let mut samples = Vec::new();
    for y in 0..height {
        let row_offset = if y % 3 == 0 { 6.0 } else { -3.0 };
        for x in 0..width {
            let level: f64 = match x {
                0 => -512.0,
                38 | 39 => 200.0,
                x if x >= border => 3000.0,
                _ => row_offset,
            };
            samples.push((512.0 + level + normal() * noise_dn).round().clamp(0.0, 16_383.0) as u16);
        }
    }
    Decoded {
        samples,
        width,
        height,
        filter: FilterArray::bayer("RGGB").unwrap(),
        active: Area::new(border, 0, width - border, height),
        masked: Vec::new(),
        black: vec![510.0; 4],
        white: vec![16_383.0; 4],
        largest_code: None,
        missing: None,
        dithered: false,
        as_coded: false,
        noise_profile: Vec::new(),
        gaps: Gaps::default(),
        notes: Vec::new(),
    }
}

#[test]
fn level_and_noise_without_row_offsets_and_lit_lines() {
    let mut decoded = frame(4.0);
    settle(&mut decoded);
    assert_eq!(decoded.masked.len(), 1);
    assert!(decoded.masked[0].x >= 1 && decoded.masked[0].right() <= 38, "{:?}", decoded.masked);
    for plane in 0..4 {
        let m = measure(&decoded, &dark(&decoded), plane).unwrap();
        assert!((m.level_dn - 512.0).abs() < 0.3, "{m:?}");
        // Planted 4 DN, and 1/12 DN^2 of rounding: 4.01 DN.
        assert!((m.noise_dn - 4.01).abs() < 0.12, "{m:?}");
    }
}

#[test]
fn light_that_falls_off_across_a_border_is_not_taken_for_bands() {
    let (mut decoded, more) = (frame(4.0), frame(1.0));
    for (i, sample) in decoded.samples.iter_mut().enumerate().filter(|(i, _)| i % 400 < 40) {
        // Light has noise of its own.
        let light_dn = 60.0 * (((i % 400) as f64 - 39.0) / 12.0).exp();
        let noise = f64::from(more.samples[(i + 97) / 400 * 400 + 200 + i % 97]) - 3512.0;
        *sample += (light_dn + noise * light_dn.sqrt()).round().max(0.0) as u16;
    }
    settle(&mut decoded);
    // No column is without light: 2.5 DN reach the furthest, 10 DN the middle.
    for plane in 0..4 {
        let m = measure(&decoded, &dark(&decoded), plane).unwrap();
        assert!((m.level_dn - 512.0).abs() < 6.0, "{m:?}");
    }
}

#[test]
fn noise_below_half_a_code_is_black_and_one_code_throughout_is_not() {
    let mut decoded = frame(0.4);
    decoded.black = vec![519.0; 4];
    decoded.masked = vec![Area::new(0, 0, 40, 600)];
    for y in 0..600 {
        for x in 1..40 {
            // No row offsets: they would hide that most samples are one code.
            let sample = &mut decoded.samples[y * 400 + x];
            *sample = (*sample as i32 - if y % 3 == 0 { 6 } else { -3 }) as u16;
        }
    }
    settle(&mut decoded);
    assert_eq!(decoded.masked.len(), 1, "{:?}", decoded.notes);
    let m = measure(&decoded, &dark(&decoded), 0).unwrap();
    assert!((m.level_dn - 512.0).abs() < 0.1, "{m:?}");
    // What was never read from the sensor says nothing of black.
    decoded.masked = vec![Area::new(0, 0, 40, 600)];
    for y in 0..600 {
        decoded.samples[y * 400..y * 400 + 40].fill(300);
    }
    settle(&mut decoded);
    assert!(decoded.masked.is_empty());
}

#[test]
fn banding_takes_no_line_from_the_border() {
    // Columns that scatter by one and a half times the noise, and a wave of as much; the light's two columns stay out.
    for wave in [false, true] {
        let mut decoded = frame(4.0);
        let mut state = 7_u32;
        let mut offset = |x: usize| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let random = (f64::from(state) / f64::from(u32::MAX) - 0.5) * 12.0_f64.sqrt();
            6.0 * if wave { 1.41 * (x as f64 * 0.45).sin() } else { random }
        };
        let offsets: Vec<f64> = (0..400).map(&mut offset).collect();
        for (i, v) in decoded.samples.iter_mut().enumerate() {
            *v = (f64::from(*v) + offsets[i % 400]).round().max(0.0) as u16;
        }
        decoded.masked = vec![Area::new(0, 0, 40, 600)];
        settle(&mut decoded);
        let [area] = decoded.masked[..] else { panic!("{:?}", decoded.notes) };
        assert!(area.x <= 1 && (36..=38).contains(&area.right()), "{wave}: {area:?}");
        let m = measure(&decoded, &dark(&decoded), 0).unwrap();
        assert!((m.noise_dn - 4.01).abs() < 0.15, "{wave}: {m:?}");
    }
}

#[test]
fn what_an_amplifier_lights_is_no_part_of_black() {
    for (glow_e, noisier) in [(0.0, 1.0), (60.0, 1.0), (0.0, 4.0)] {
        let mut decoded = frame(2.0);
        for y in 0..600 {
            for x in 0..40 {
                // A DN per electron: its photon noise from the border's own, its rows without their offsets.
                let glow: f64 = glow_e * (-(y as f64) / 100.0).exp();
                let sample = &mut decoded.samples[y * 400 + x];
                let row = 512.0 + if y % 3 == 0 { 6.0 } else { -3.0 };
                let noise = (f64::from(*sample) - row) * (1.0 + glow / 4.0).sqrt();
                *sample = (512.0 + glow + noise * if y < 200 { noisier } else { 1.0 }).round().max(0.0) as u16;
            }
        }
        decoded.masked = vec![Area::new(4, 0, 32, 600)];
        settle(&mut decoded);
        let lit = glow_e > 0.0;
        let from = dark(&decoded).first().map(|a| a.y);
        assert_eq!((from, decoded.masked.len()), (Some(if lit { 450 } else { 0 }), 1), "{glow_e} {noisier}");
        for plane in 0..4 {
            let m = measure(&decoded, &dark(&decoded), plane).unwrap();
            assert!((m.level_dn - 512.0).abs() < if lit { 0.6 } else { 0.2 }, "{glow_e} {noisier}: {m:?}");
        }
    }
}

#[test]
fn a_lit_border_is_not_black() {
    let mut decoded = frame(4.0);
    decoded.active = Area::new(100, 0, 300, 600);
    for y in 0..600 {
        for x in 0..100 {
            decoded.samples[y * 400 + x] = 2500;
        }
    }
    settle(&mut decoded);
    assert!(decoded.masked.is_empty());
    decoded.masked = vec![Area::new(0, 0, 100, 600)];
    settle(&mut decoded);
    assert!(decoded.masked.is_empty());
    assert_eq!(decoded.notes.len(), 1);
}
