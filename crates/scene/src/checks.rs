//! The simulator against closed forms: edges, noise, repeatability.
#![allow(clippy::unwrap_used)]

use crate::{
    Banding, Border, Camera, Compression, Diffraction, Filter, Motion, Optics, Recipe, SceneKind, expose, light, render,
};

fn straight(length_px: f64, direction_deg: f64) -> Motion {
    Motion::Straight { length_px, direction_deg }
}

/// 10-90 % rise of a rendered edge: mean light in bins of 1/8 px along the normal, levels from the known radiances.
fn rendered_rise(recipe: &Recipe, normal_deg: f64, dark: f64) -> f64 {
    let light = light(recipe);
    let (sin, cos) = normal_deg.to_radians().sin_cos();
    let reach = 30.0;
    let per_px = 8.0;
    let mut bins = vec![(0.0, 0u32); (2.0 * reach * per_px) as usize];
    for y in 0..recipe.height {
        for x in 0..recipe.width {
            let (dx, dy) = (x as f64 + 0.5 - recipe.width as f64 / 2.0, y as f64 + 0.5 - recipe.height as f64 / 2.0);
            let along = -sin * dx - cos * dy;
            let d = cos * dx - sin * dy;
            let inner = recipe.height.min(recipe.width) as f64 / 2.0 - reach - 2.0;
            let bin = ((d + reach) * per_px).floor();
            if along.abs() < inner && bin >= 0.0 && (bin as usize) < bins.len() {
                let white: f64 = recipe.camera.sensitivity('W').iter().sum();
                bins[bin as usize].0 += f64::from(light.samples[y * recipe.width + x]) / white;
                bins[bin as usize].1 += 1;
            }
        }
    }
    let curve: Vec<f64> = bins.iter().map(|(sum, n)| (sum / f64::from(*n) - dark) / (1.0 - dark)).collect();
    let crossing = |level: f64| {
        let i = (1..curve.len()).find(|&i| curve[i] >= level && curve[i - 1] < level).unwrap();
        i as f64 + (level - curve[i - 1]) / (curve[i] - curve[i - 1]) - 1.0
    };
    (crossing(0.9) - crossing(0.1)) / per_px
}

/// Source: the closed forms of the point spreads (Gaussian, box, disc, Airy), square pixel included.
#[test]
fn rendered_edges_rise_as_their_closed_forms_say() {
    let lens = Diffraction { f_number: 16.0, pitch_um: 4.0, wavelength_um: 0.55 };
    let cases = [
        (Optics::gaussian(0.3), 5.0),
        (Optics::gaussian(0.5), 37.0),
        (Optics::gaussian(1.4), 101.0),
        (Optics { defocus_px: 2.5, ..Optics::gaussian(0.3) }, 12.0),
        (Optics { motion: straight(6.0, 20.0), ..Optics::gaussian(0.4) }, 20.0),
        (Optics { motion: straight(6.0, 20.0), ..Optics::gaussian(0.4) }, 65.0),
        (Optics { motion: straight(6.0, 20.0), ..Optics::gaussian(0.4) }, 110.0),
        (Optics { motion: straight(6.0, 160.0), ..Optics::gaussian(0.4) }, 20.0),
        (Optics { motion: Motion::Vibration { length_px: 5.0, direction_deg: 80.0 }, ..Optics::gaussian(0.4) }, 80.0),
        (Optics { diffraction: Some(lens), ..Optics::gaussian(0.2) }, 8.0),
    ];
    for (optics, normal_deg) in cases {
        let mut recipe = Recipe::new(SceneKind::SingleEdge { normal_deg, dark: 0.1 }).size(300, 300);
        recipe.optics = optics.clone();
        recipe.camera.filter = Filter::monochrome();
        let expected = recipe.spread_at(150.0, 150.0).edge(normal_deg).rise_px;
        let rise = rendered_rise(&recipe, normal_deg, 0.1);
        assert!((rise / expected - 1.0).abs() < 0.015, "{optics:?} at {normal_deg}: {rise} is not {expected}");
    }
}

/// A finer grid changes nothing that matters, for any scene and where tiles meet.
#[test]
fn four_cells_a_pixel_are_enough() {
    for scene in [SceneKind::Buildings, SceneKind::DeadLeaves] {
        let mut recipe = Recipe::new(scene).size(420, 300).optics(Optics::gaussian(0.4));
        recipe.camera.filter = Filter::monochrome();
        let four = light(&recipe);
        recipe.oversampling = 8;
        let eight = light(&recipe);
        let n = four.samples.len() as f64;
        let mean = four.samples.iter().map(|v| f64::from(*v)).sum::<f64>() / n;
        let rms = four.samples.iter().zip(&eight.samples).map(|(a, b)| f64::from(a - b).powi(2)).sum::<f64>() / n;
        // Where two shapes share a cell their true overlap is not known; that is what remains.
        assert!(rms.sqrt() < 0.012 * mean, "rms {} of mean {mean}", rms.sqrt());
    }
}

#[test]
fn the_noise_is_the_one_asked_for() {
    for (iso, white_ev, bits) in [(100.0, -1.0, 14), (1600.0, -2.0, 14), (800.0, -3.0, 12)] {
        let shift = f64::from(1u32 << (14 - bits));
        let camera = Camera {
            bits,
            prnu_pct: 0.0,
            black_dn: vec![512.0 / shift],
            white_declared_dn: (1 << bits) - 1,
            saturation_dn: (15_600.0 / shift) as u32,
            gain_e_per_dn: 3.3 * shift,
            ..Camera::default()
        };
        let recipe = Recipe::new(SceneKind::Flat).size(500, 400).camera(camera.clone()).exposure(iso, white_ev);
        let raw = render(&recipe);
        // The first green of the array.
        let mut values = Vec::new();
        for y in (16..416).step_by(2) {
            for x in (33..532).step_by(2) {
                values.push(f64::from(raw.at(x, y, 0)) - camera.black_dn[0]);
            }
        }
        let n = values.len() as f64;
        let mean = values.iter().sum::<f64>() / n;
        let variance = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / n;
        let expected_mean = camera.saturation_e_at(iso) * f64::exp2(white_ev) / camera.gain_at(iso);
        let read = camera.read_noise_dn_at(iso);
        let expected = expected_mean / camera.gain_at(iso) + read * read + 1.0 / 12.0;
        assert!((mean / expected_mean - 1.0).abs() < 1e-3, "mean {mean}, expected {expected_mean}");
        // Standard error of a variance from 50 000 samples: 0.63 %.
        assert!((variance / expected - 1.0).abs() < 0.025, "variance {variance}, expected {expected}");
    }
}

#[test]
fn bands_hot_pixels_and_clipping_are_where_the_truth_says() {
    let camera = Camera {
        row_banding: Banding { random_dn: 6.0, ..Banding::default() },
        column_banding: Banding { periodic_dn: 5.0, period_px: 16.0, ..Banding::default() },
        hot_pixels: 40,
        ..Camera::default()
    };
    let raw = render(&Recipe::new(SceneKind::Dark).size(600, 400).camera(camera));
    let rows: Vec<f64> = (0..raw.height)
        .map(|y| {
            // Hot pixels left out.
            let cold: Vec<f64> = (0..raw.width).map(|x| f64::from(raw.at(x, y, 0))).filter(|v| *v < 570.0).collect();
            cold.iter().sum::<f64>() / cold.len() as f64
        })
        .collect();
    let mean = rows.iter().sum::<f64>() / rows.len() as f64;
    let deviation = (rows.iter().map(|r| (r - mean).powi(2)).sum::<f64>() / rows.len() as f64).sqrt();
    assert!((deviation / raw.truth.row_banding_dn - 1.0).abs() < 0.05, "{deviation}");
    assert!((raw.truth.column_banding_dn / (5.0 / 2f64.sqrt()) - 1.0).abs() < 0.02);
    assert_eq!(raw.truth.hot_pixels.len(), 40);
    for hot in &raw.truth.hot_pixels {
        assert!(f64::from(raw.at(hot.x, hot.y, 0)) > 512.0 + 0.5 * hot.added_e / 3.3, "{hot:?}");
    }
    let bright = render(&Recipe::new(SceneKind::Buildings).size(400, 300).exposure(100.0, 2.0));
    for plane in &bright.truth.planes {
        assert!((plane.clipped_signal_pct - plane.clipped_sample_pct).abs() < 0.6, "{plane:?}");
    }
    assert!(bright.truth.clipped_any_pct >= bright.truth.clipped_all_pct && bright.truth.clipped_all_pct > 0.5);
}

/// Equal recipes give equal files, whatever the number of threads.
#[test]
fn frames_repeat() {
    let mut recipe = Recipe::new(SceneKind::DeepLeaves).size(500, 360).exposure(800.0, -1.0);
    recipe.optics = Optics { tilt_px: [2.0, 0.0], lateral_px: [0.6, -0.4], ..Optics::gaussian(0.5) };
    let in_threads = |n| rayon::ThreadPoolBuilder::new().num_threads(n).build().unwrap().install(|| render(&recipe));
    let (one, three) = (in_threads(1), in_threads(3));
    assert!(one.samples == three.samples);
    assert!(one.to_dng(Compression::LosslessJpeg) == three.to_dng(Compression::LosslessJpeg));
    let light = light(&recipe);
    assert!(expose(&recipe, &light).samples == one.samples);
    recipe.seed = 2;
    assert!(expose(&recipe, &light).samples != one.samples);
}

#[test]
fn borders_are_dark_and_masked_areas_do_not_meet_the_picture() {
    let camera = Camera { border: Border { left: 7, top: 5, right: 3, bottom: 9 }, ..Camera::default() };
    let raw = render(&Recipe::new(SceneKind::Flat).size(101, 83).camera(camera));
    assert_eq!((raw.width, raw.height), (111, 97));
    let masked: usize = raw.masked().iter().map(|a| a[2] * a[3]).sum();
    assert_eq!(masked + 101 * 83, 111 * 97);
    for [x0, y0, w, h] in raw.masked() {
        for (x, y) in [(x0, y0), (x0 + w - 1, y0 + h - 1)] {
            assert!(raw.at(x, y, 0) < 530);
        }
    }
    assert!(raw.at(7, 5, 0) > 3000);
}

/// Turned by the optics' lateral colour, red and blue edges move apart at the border and not in the middle.
#[test]
fn lateral_colour_moves_red_outward_at_the_border() {
    let mut recipe = Recipe::new(SceneKind::Flat).size(320, 200);
    recipe.camera.filter = Filter::linear_rgb();
    recipe.optics = Optics { lateral_px: [2.0, -2.0], ..Optics::gaussian(0.5) };
    // Bars near the left border and in the middle.
    let white = crate::Paint::Flat([1.0; 3]);
    let bars = [20.0, 160.0].map(|x| crate::Shape::rectangle(x, 100.0, 8.0, 150.0, 0.0, white.clone()));
    let mut shapes = vec![crate::Shape::everywhere(crate::Paint::Flat([0.1; 3]))];
    shapes.extend(bars);
    let light = crate::light_of(&recipe, &[crate::Layer::sharp(shapes)]);
    let centre = |colour: usize, x0: usize| {
        let row: Vec<f64> = (x0..x0 + 34).map(|x| f64::from(light.samples[(100 * 320 + x) * 3 + colour])).collect();
        let floor = row.iter().copied().fold(f64::MAX, f64::min);
        let sum: f64 = row.iter().map(|v| v - floor).sum();
        row.iter().enumerate().map(|(i, v)| (i as f64 + 0.5) * (v - floor)).sum::<f64>() / sum + x0 as f64
    };
    let half = 320f64.hypot(200.0) / 2.0;
    let expected = -2.0 * (160.0 - 20.0) / half;
    assert!((centre(0, 3) - centre(1, 3) - expected).abs() < 0.1, "{} {expected}", centre(0, 3) - centre(1, 3));
    assert!((centre(2, 3) - centre(1, 3) + expected).abs() < 0.1);
    assert!((centre(0, 143) - centre(1, 143)).abs() < 0.05);
}
