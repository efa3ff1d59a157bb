//! Bands of whole frames, drawn with a known sensor.

#![allow(clippy::unwrap_used)]
use super::*;
use crate::measure;
use crate::test_frames::{Noise, Sensor};

fn sensor() -> Sensor {
    Sensor { width: 1_024, height: 768, gain: 2.0, read_noise: 6.0, ..Sensor::default() }
}

/// A frame of patches, an offset (DN) added to each row and column.
fn frame(row: impl Fn(usize) -> f64, column: impl Fn(usize) -> f64) -> rawassay_decode::Frame {
    let mut rng = Noise::new(5);
    sensor().draw(|x, y, _, s| {
        let i = (x / 100 * 7 + y / 90 * 13) % 17;
        let e = 20_000.0 * 2_f64.powf(-0.5 * i as f64);
        let v = s.black + (e + e.sqrt() * rng.normal() + s.read_noise * rng.normal()) / s.gain;
        (v + row(y) + column(x)).round()
    })
}

#[test]
fn half_a_read_noise_of_random_rows_is_found_and_sized() {
    let mut rng = Noise::new(11);
    let offsets: Vec<f64> = (0..768).map(|_| 1.5 * rng.normal()).collect();
    let m = measure(&frame(|y| offsets[y], |_| 0.0)).noise;
    let (row, column) = (m.row_banding_dn.unwrap(), m.column_banding_dn.unwrap());
    assert!((row / 1.5 - 1.0).abs() < 0.2, "{row}");
    assert!(column < 0.2, "{column}");
}

#[test]
fn half_a_read_noise_of_periodic_columns_is_found_and_sized() {
    for period in [3.0, 8.0, 11.0] {
        let wave = |x: usize| 1.5 * 2_f64.sqrt() * (std::f64::consts::TAU * x as f64 / period).sin();
        let m = measure(&frame(|_| 0.0, wave)).noise;
        let (row, column) = (m.row_banding_dn.unwrap(), m.column_banding_dn.unwrap());
        assert!((column / 1.5 - 1.0).abs() < 0.25, "{column} at {period}");
        assert!(row < 0.2, "{row}");
    }
}

#[test]
fn a_pattern_that_repeats_itself_every_so_many_columns_is_sized_whole() {
    // Converters that columns share in turn: seven such are three waves, eight are four of which one is black of the planes.
    for (seed, turns) in [(1, 5), (2, 7), (3, 8), (4, 12)] {
        let mut rng = Noise::new(seed);
        let mut pattern: Vec<f64> = (0..turns).map(|_| rng.normal()).collect();
        let less = |pattern: &mut [f64], shape: &dyn Fn(usize) -> f64| {
            let mean = pattern.iter().enumerate().map(|(i, v)| shape(i) * v).sum::<f64>() / turns as f64;
            pattern.iter_mut().enumerate().for_each(|(i, v)| *v -= shape(i) * mean);
        };
        less(&mut pattern, &|_| 1.0);
        if turns % 2 == 0 {
            less(&mut pattern, &|i| if i % 2 == 0 { 1.0 } else { -1.0 });
        }
        let size = (pattern.iter().map(|v| v * v).sum::<f64>() / turns as f64).sqrt();
        let m = measure(&frame(|_| 0.0, |x| 3.0 / size * pattern[x % turns])).noise;
        let (row, column) = (m.row_banding_dn.unwrap(), m.column_banding_dn.unwrap());
        assert!((column / 3.0 - 1.0).abs() < 0.1, "{turns}: {column}, {pattern:?}");
        assert!(row < 0.2, "{row}");
    }
}

#[test]
fn lines_are_compared_at_all_distances_at_which_half_of_the_samples_have_their_like() {
    let apart = |filter: rawassay_decode::FilterArray| {
        let frame = Sensor { filter, width: 48, height: 48, ..sensor() }.draw(|_, _, _, _| 600.0);
        let search = Search { frame: &frame, usable: &[], variances: &[] };
        [true, false].map(|rows| search.apart(rows))
    };
    let six = "GBGGRGRGRBGBGBGGRGGRGGBGBGBRGRGRGGBG";
    assert_eq!(apart(rawassay_decode::FilterArray::bayer("GBRG").unwrap()), [vec![2], vec![2]]);
    assert_eq!(apart(rawassay_decode::FilterArray::monochrome()), [vec![2], vec![2]]);
    assert_eq!(apart(rawassay_decode::FilterArray::mosaic(6, 6, six).unwrap()), [vec![3, 6], vec![3, 6]]);
}

#[test]
fn waves_about_as_long_as_an_array_of_6_x_6_are_found_and_sized() {
    // Differences over six lines do not show them; greens of such an array have their like over three lines too.
    let filter = rawassay_decode::FilterArray::mosaic(6, 6, "GBGGRGRGRBGBGBGGRGGRGGBGBGBRGRGRGGBG").unwrap();
    let sensor = Sensor { filter, ..sensor() };
    for (columns, period) in [(false, 5.3), (true, 6.3), (false, 7.0), (true, 5.2)] {
        let mut rng = Noise::new(7);
        let frame = sensor.draw(|x, y, _, s| {
            let e = 9_000.0 * 2_f64.powf(-0.5 * ((x / 100 * 7 + y / 90 * 13) % 17) as f64);
            let line = if columns { x } else { y } as f64;
            let wave = 1.5 * 2_f64.sqrt() * (std::f64::consts::TAU * line / period).sin();
            (s.black + (e + e.sqrt() * rng.normal() + s.read_noise * rng.normal()) / s.gain + wave).round()
        });
        let m = measure(&frame).noise;
        let (found, across) =
            if columns { (m.column_banding_dn, m.row_banding_dn) } else { (m.row_banding_dn, m.column_banding_dn) };
        assert!(found.is_some_and(|dn| (dn / 1.5 - 1.0).abs() < 0.2), "{period}: {found:?}");
        assert!(across.is_none_or(|dn| dn < 0.2), "{period}: {across:?} across");
    }
}

#[test]
fn a_wave_over_a_scene_that_repeats_itself_is_not_taken_for_a_higher_one() {
    // Tiles of 80 pixels: their borders, left out, repeat the wave at other periods.
    for (period, amplitude) in [(31.0, 2.0), (26.0, 3.0), (23.0, 2.0), (40.0, 3.0)] {
        let mut rng = Noise::new(12);
        let frame = sensor().draw(|x, y, _, s| {
            let e = 8_000.0 * 2_f64.powf(-0.6 * ((x / 80 * 7 + y / 80 * 13) % 23) as f64);
            let v = s.black + (e + e.sqrt() * rng.normal() + s.read_noise * rng.normal()) / s.gain;
            (v + amplitude * 2_f64.sqrt() * (std::f64::consts::TAU * x as f64 / period).sin()).round()
        });
        let column = measure(&frame).noise.column_banding_dn;
        assert!(column.is_none_or(|dn| (dn / amplitude - 1.0).abs() < 0.2), "{column:?} at {period}");
    }
}

#[test]
fn offsets_that_fit_neither_the_sensor_nor_the_scene_are_nobodys() {
    // Alike in dark and bright places but for so many standard errors; lines of the scene would be ten more away.
    let sure = |errors: f64| {
        let seen = Offsets {
            variance_dn2: (1.0, 0.05),
            middle_dn2: 1.0,
            next: (0.0, 0.03),
            by_level: (1.0 + 0.1 * errors, 0.1),
            of_light: 4.0,
            of_few: false,
            left_out_dn2: 0.0,
        };
        together(&seen, 2, true, &[]).sure
    };
    assert!(sure(0.0) && sure(2.7));
    assert!(!sure(3.3) && !sure(6.0));
}

#[test]
fn a_clean_frame_and_lines_of_the_scene_are_not_banding() {
    assert!(measure(&frame(|_| 0.0, |_| 0.0)).noise.row_banding_dn.unwrap() < 0.2);
    // Blinds: lines over half of the frame.
    let mut rng = Noise::new(6);
    let blinds = sensor().draw(|x, y, _, s| {
        let e = if x < 500 && y % 14 < 5 { 3_000.0 } else { 6_000.0 };
        (s.black + (e + f64::sqrt(e) * rng.normal()) / s.gain).round()
    });
    assert!(measure(&blinds).noise.row_banding_dn.unwrap_or(0.0) < 1.0);
}

#[test]
fn a_wave_over_fog_of_few_tones_is_the_sensors() {
    for (seed, period) in [(1, 9.7), (2, 17.0), (3, 31.0)] {
        let mut rng = Noise::new(seed);
        let sensor = Sensor { gain: 1.0, ..sensor() };
        let frame = sensor.draw(|x, y, _, s| {
            let fog = (x as f64 / 300.0).sin() * (y as f64 / 230.0).cos();
            let e = 1_500.0 * (1.0 + 0.35 * fog);
            let wave = 3.0 * 2_f64.sqrt() * (std::f64::consts::TAU * x as f64 / period).sin();
            (s.black + e + e.sqrt() * rng.normal() + s.read_noise * rng.normal() + wave).round()
        });
        let column = measure(&frame).noise.column_banding_dn;
        assert!(column.is_some_and(|dn| (dn / 3.0 - 1.0).abs() < 0.2), "{seed}: {column:?}");
    }
}

/// Soft fields, 0 to 1 about a half: values between random nodes so many pixels apart.
fn field(rng: &mut Noise, nodes_px: usize) -> impl Fn(usize, usize) -> f64 + use<> {
    let values: Vec<f64> = (0..200 * 200).map(|_| rng.uniform()).collect();
    let smooth = |t: f64| t * t * (3.0 - 2.0 * t);
    move |x, y| {
        let at = |i: usize, j: usize| values[(y / nodes_px + j) % 200 * 200 + (x / nodes_px + i) % 200];
        let part = |v: usize| smooth((v % nodes_px) as f64 / nodes_px as f64);
        let (u, v) = (part(x), part(y));
        (at(0, 0) * (1.0 - u) + at(1, 0) * u) * (1.0 - v) + (at(0, 1) * (1.0 - u) + at(1, 1) * u) * v
    }
}

#[test]
fn joints_of_a_wall_do_not_leave_open_what_its_bricks_show() {
    // Of a wave of 44 lines and more differences of 18 lines show the joints alone.
    let sized = [34, 36, 40, 42, 44].into_iter().enumerate().filter(|&(seed, high)| {
        let mut rng = Noise::new(1 + seed as u64);
        let offsets: Vec<f64> = (0..1_000).map(|_| 3.0 * rng.normal()).collect();
        let tones: Vec<f64> = (0..4_000).map(|_| 0.6 + 0.4 * rng.uniform()).collect();
        let sensor = Sensor { gain: 1.0, width: 1_280, height: 1_000, ..sensor() };
        let frame = sensor.draw(|x, y, _, s| {
            let (row, shift) = (y / high, y / high % 2 * 50);
            let joint = y % high < 5 || (x + shift) % 101 < 5;
            let e = 3_000.0 * if joint { 1.6 } else { tones[(row * 31 + (x + shift) / 101) % 4_000] };
            (s.black + e + e.sqrt() * rng.normal() + s.read_noise * rng.normal() + offsets[y]).round()
        });
        let row = measure(&frame).noise.row_banding_dn;
        assert!(row.is_none_or(|dn| (dn / 3.0 - 1.0).abs() < 0.2), "{high}: {row:?}");
        row.is_some()
    });
    assert!(sized.count() >= 2);
}

#[test]
fn dark_bushes_below_the_clouds_do_not_hide_the_bands_of_these() {
    let sized = (1..=6).filter(|&seed| {
        let mut rng = Noise::new(seed);
        let (soft, bush) = (field(&mut rng, 90), field(&mut rng, 7));
        let offsets: Vec<f64> = (0..1_280).map(|_| 2.5 * rng.normal()).collect();
        let sensor = Sensor { gain: 1.0, width: 1_280, height: 1_000, ..sensor() };
        let frame = sensor.draw(|x, y, _, s| {
            let e = if y < 860 { 4_000.0 + 5_000.0 * soft(x, y) } else { 60.0 + 500.0 * bush(x, y) };
            (s.black + e + e.sqrt() * rng.normal() + s.read_noise * rng.normal() + offsets[x]).round()
        });
        let column = measure(&frame).noise.column_banding_dn;
        assert!(column.is_none_or(|dn| (dn / 2.5 - 1.0).abs() < 0.2), "{seed}: {column:?}");
        column.is_some()
    });
    assert!(sized.count() >= 3);
}

#[test]
fn bands_of_a_frame_that_is_textured_all_over_are_sized_though_its_noise_is_unknown() {
    for (seed, dn) in [(1, 3.0), (2, 3.0), (3, 0.0)] {
        let sensor = Sensor { gain: 1.0, width: 1_280, height: 1_000, ..sensor() };
        let mut rng = Noise::new(seed);
        let dust: Vec<f64> = (0..1_284 * 1_004).map(|_| rng.normal()).collect();
        let soft = field(&mut rng, 200);
        let offsets: Vec<f64> = (0..1_000).map(|_| dn * rng.normal()).collect();
        let frame = sensor.draw(|x, y, _, s| {
            // As a lens of two pixels and a half draws it, some three times as high as the noise.
            let grain = (0..25).map(|i| dust[(y + i / 5) * 1_284 + x + i % 5]).sum::<f64>() / 5.0;
            let e = (60.0 + 240.0 * soft(x, y)) * (0.25 * grain).exp();
            (s.black + e + e.sqrt() * rng.normal() + s.read_noise * rng.normal() + offsets[y]).round()
        });
        let m = measure(&frame).noise;
        assert_eq!((m.gain_e_per_dn, m.read_noise_dn), (None, None), "{seed}");
        if dn > 0.0 {
            assert!(m.row_banding_dn.is_some_and(|found| (found / dn - 1.0).abs() < 0.2), "{seed}: {m:?}");
        } else {
            assert_eq!((m.row_banding_dn, m.column_banding_dn), (None, None), "{seed}");
        }
    }
}

/// Slats one above the other, so many lines apart, each brighter towards its lower edge, dark gaps between them and two posts in
/// front; no read noise of bands.
fn louvers(seed: u64, apart: f64, electrons: f64) -> rawassay_decode::Frame {
    let mut rng = Noise::new(seed);
    let sensor = Sensor { gain: 0.72, read_noise: 1.7, width: 1_280, height: 1_020, ..sensor() };
    let of_slat = |y: f64| {
        let part = (y / apart).fract();
        if part < 0.82 { 0.12 + 0.5 * part } else { 0.015 }
    };
    // Through the lens: a mean over two pixels and a half.
    let seen = |y: usize| (0..25).map(|k| of_slat((y as f64 - 1.2 + 0.1 * f64::from(k)).max(0.0))).sum::<f64>() / 25.0;
    let slats: Vec<f64> = (0..1_020).map(seen).collect();
    sensor.draw(|x, y, _, s| {
        let post = x.abs_diff(422) < 30 || x.abs_diff(909) < 30;
        let e = electrons * if post { 0.38 - 0.1 * y as f64 / 1_020.0 } else { slats[y] };
        (s.black + (e + e.sqrt() * rng.normal() + s.read_noise * rng.normal()) / s.gain).round()
    })
}

#[test]
fn louvers_have_no_bands() {
    for (seed, apart, electrons) in [(1, 47.9, 8_000.0), (2, 66.06, 700.0), (4, 60.0, 1_500.0)] {
        let row = measure(&louvers(seed, apart, electrons)).noise.row_banding_dn;
        assert!(row.is_none_or(|dn| dn < 0.5), "{apart}: {row:?}");
    }
}

/// Rows of round tiles below a sky, so many columns from one to the next, and offsets of the columns, DN.
fn roof(seed: u64, apart: f64, dn: f64) -> rawassay_decode::Frame {
    let mut rng = Noise::new(seed);
    let sensor = Sensor { gain: 0.31, read_noise: 2.2, width: 1_440, height: 1_200, ..sensor() };
    let offsets: Vec<f64> = (0..1_440).map(|_| dn * rng.normal()).collect();
    let tones: Vec<f64> = (0..4_000).map(|_| 0.6 + 0.7 * rng.uniform()).collect();
    sensor.draw(|x, y, _, s| {
        let row = y / 47;
        let place = (x as f64 + (row % 2) as f64 * 0.5 * apart) / apart;
        let tile = tones[row * 60 + place as usize];
        let joint = if y % 47 > 43 { 0.4 } else { 1.0 };
        let light = if y < 360 {
            0.45 + 0.25 * y as f64 / 1_200.0
        } else {
            0.22 * tile * joint * (0.5 + 0.7 * (std::f64::consts::PI * place.fract()).sin())
        };
        let e = 700.0 * light;
        (s.black + (e + e.sqrt() * rng.normal() + s.read_noise * rng.normal()) / s.gain + offsets[x]).round()
    })
}

#[test]
fn tiles_below_a_sky_are_no_bands() {
    for (seed, apart, dn) in [(4, 44.0, 0.0), (6, 58.0, 0.0), (5, 52.0, 3.5), (6, 58.0, 3.5)] {
        let column = measure(&roof(seed, apart, dn)).noise.column_banding_dn;
        assert!(column.is_none_or(|found| (found - dn).abs() < 0.2 * dn + 0.7), "{apart} {dn}: {column:?}");
    }
}

/// One line in twenty is off, by six read noises or so; and the standard deviation of all.
fn sparse(seed: u64, count: usize, dn: f64) -> (Vec<f64>, f64) {
    let mut rng = Noise::new(seed);
    let lines: Vec<f64> = (0..count).map(|_| if rng.uniform() < 0.05 { dn * rng.normal() } else { 0.0 }).collect();
    let size = (lines.iter().map(|v| v * v).sum::<f64>() / count as f64).sqrt();
    (lines, size)
}

#[test]
fn few_lines_far_off_are_sized_whole_or_left_open() {
    let mut sized = Vec::new();
    for (seed, dn) in [(1, 8.0), (2, 18.0), (3, 40.0)] {
        let ((rows, row_dn), (columns, column_dn)) = (sparse(seed, 768, dn), sparse(seed + 10, 1_024, dn));
        let m = measure(&frame(|y| rows[y], |_| 0.0)).noise;
        assert!(m.column_banding_dn.is_none_or(|dn| dn < 0.2), "{dn}: {m:?}");
        sized.extend(m.row_banding_dn.map(|found| found / row_dn));
        let m = measure(&frame(|_| 0.0, |x| columns[x])).noise;
        assert!(m.row_banding_dn.is_none_or(|dn| dn < 0.2), "{dn}: {m:?}");
        sized.extend(m.column_banding_dn.map(|found| found / column_dn));
    }
    assert!(sized.len() >= 3 && sized.iter().all(|share| (share - 1.0).abs() < 0.2), "{sized:?}");
}

#[test]
fn a_few_defective_lines_are_not_stated_as_banding_and_not_passed_over() {
    let m = measure(&frame(|y| if y % 300 == 77 { 90.0 } else { 0.0 }, |_| 0.0));
    assert_eq!(m.noise.row_banding_dn, None, "{:?}", m.noise);
    assert!(m.notes.iter().any(|n| n.contains("row banding") && n.contains("single lines (")), "{:?}", m.notes);
}

#[test]
fn wires_of_the_scene_are_not_lines_of_the_sensor() {
    // Drawn through a lens of half a pixel: dark by a tenth of the light, or bright by as much everywhere.
    for (seed, everywhere) in [(1, false), (2, true), (3, false), (4, true)] {
        let mut rng = Noise::new(seed);
        let wires: Vec<f64> = (0..24).map(|k| 30.0 * (f64::from(k) + rng.uniform())).collect();
        let wire = |y: usize| wires.iter().map(|w| (-0.5 * ((y as f64 - w) / 0.6).powi(2)).exp()).sum::<f64>();
        let drawn = sensor().draw(|x, y, _, s| {
            let i = (x / 100 * 7 + y / 90 * 13) % 17;
            let light = 20_000.0 * 2_f64.powf(-0.5 * f64::from(i as u32));
            let e = if everywhere { light + 120.0 * wire(y) } else { light * (1.0 - 0.2 * wire(y)) };
            (s.black + (e + e.sqrt() * rng.normal() + s.read_noise * rng.normal()) / s.gain).round()
        });
        let m = measure(&drawn).noise;
        assert!(m.row_banding_dn.is_none_or(|dn| dn < 0.3), "{seed} {everywhere}: {m:?}");
    }
}

#[test]
fn lines_of_the_scene_exactly_along_rows_are_not_lines_of_the_sensor() {
    // Light added everywhere alike in lines one photosite wide, through a lens: the levels beside each are alike, and with lines
    // compared two apart they hide each other.
    let profile = |sigma: f64, off: f64| -> f64 {
        let within = |u: f64| (1.0 - u.abs()).max(0.0);
        (-400..400)
            .map(|k| f64::from(k) / 100.0)
            .map(|u| 0.01 * within(u) * (-0.5 * ((off - u) / sigma).powi(2)).exp())
            .sum::<f64>()
            / (sigma * std::f64::consts::TAU.sqrt())
    };
    let mono = rawassay_decode::FilterArray::monochrome();
    for (seed, sigma, filter) in
        [(1, 0.8, &mono), (2, 0.5, &mono), (3, 0.8, &sensor().filter), (4, 0.5, &sensor().filter)]
    {
        let mut rng = Noise::new(seed);
        let at: Vec<f64> = (0..24).map(|k| (30.0 * (f64::from(k) + rng.uniform())).floor()).collect();
        let rows: Vec<f64> = (0..768).map(|y| at.iter().map(|w| profile(sigma, f64::from(y) - w)).sum()).collect();
        let drawn = Sensor { filter: filter.clone(), ..sensor() }.draw(|x, y, _, s| {
            let i = (x / 100 * 7 + y / 90 * 13) % 17;
            let e = 20_000.0 * 2_f64.powf(-0.5 * f64::from(i as u32)) + 400.0 * rows[y];
            (s.black + (e + e.sqrt() * rng.normal() + s.read_noise * rng.normal()) / s.gain).round()
        });
        let m = measure(&drawn).noise;
        assert!(m.row_banding_dn.is_none_or(|dn| dn < 0.3), "{seed} {sigma}: {m:?}");
    }
}
