//! Gain, read noise, levels, banding and hot pixels against the truth of several hundred simulated frames.
//!
//! `cargo run --release -p rawassay-tests --example noise_sweep [exposures per scene] [width]` prints a line per frame
//! and a summary; docs/accuracy.md quotes it.

#![allow(clippy::unwrap_used, clippy::print_stdout)]

use rawassay_scene::{Banding, Border, Camera, Compression, Filter, Optics, Recipe, SceneKind, expose, light};
use rawassay_tests::draw::Draw;

fn camera(draw: &mut Draw, filter: Filter) -> Camera {
    let bits = *draw.pick(&[12, 14, 14]);
    let top = (1_u32 << bits) - 1;
    let black = f64::from(top + 1) / *draw.pick(&[16.0, 32.0, 64.0]);
    let saturation_dn = (f64::from(top) * *draw.pick(&[1.0, 0.95, 0.9])) as u32;
    let full_well = (draw.between(f64::ln(1_200.0), f64::ln(60_000.0))).exp();
    let gain = full_well / (f64::from(saturation_dn) - black);
    Camera {
        filter,
        bits,
        black_dn: vec![black],
        white_declared_dn: top,
        saturation_dn,
        gain_e_per_dn: gain,
        read_noise_e: draw.between(1.6, 3.0),
        converter_noise_dn: 0.0,
        prnu_pct: *draw.pick(&[0.0, 0.3, 0.6]),
        // Whole periods of every filter array: one rendering of the light serves frames with and without a border.
        border: if draw.next() < 0.5 { Border::default() } else { Border { left: 36, top: 18, right: 0, bottom: 0 } },
        ..Camera::default()
    }
}

fn quantile(values: &mut [f64], q: f64) -> f64 {
    values.sort_by(f64::total_cmp);
    if values.is_empty() { f64::NAN } else { values[((values.len() - 1) as f64 * q).round() as usize] }
}

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    let each: usize = arguments.get(1).and_then(|a| a.parse().ok()).unwrap_or(8);
    let width: usize = arguments.get(2).and_then(|a| a.parse().ok()).unwrap_or(1_500);
    let scenes = [
        SceneKind::DeadLeaves,
        SceneKind::DeepLeaves,
        SceneKind::Buildings,
        SceneKind::Fence,
        SceneKind::Horizon,
        SceneKind::Sky,
        SceneKind::Haze,
        SceneKind::Gravel,
        SceneKind::Night,
        SceneKind::Text,
        SceneKind::Harbour,
        SceneKind::Wedge,
        SceneKind::Ramp,
    ];
    let only = arguments.get(3);
    let mut draw = Draw(20_310_514);
    let (mut gains, mut reads, mut ranges, mut clips, mut rows, mut hots) =
        (Vec::new(), Vec::new(), Vec::new(), Vec::new(), Vec::new(), Vec::new());
    let (mut frames, mut unclaimed) = (0, 0);
    for (n, scene) in scenes.into_iter().enumerate() {
        let filter = match n % 6 {
            0 => Filter::two_by_two("RGGB"),
            1 => Filter::two_by_two("GBRG"),
            2 => Filter::two_by_two("BGGR"),
            3 => Filter::monochrome(),
            4 => Filter::six_by_six(),
            _ => Filter::two_by_two("GRBG"),
        };
        let name = format!("{scene:?}");
        let first = Recipe::new(scene).size(width, width * 2 / 3).optics(Optics::gaussian(draw.between(0.4, 1.2)));
        let mut recipe = first
            .camera(Camera { border: Border::default(), ..camera(&mut draw, filter.clone()) })
            .seeds(100 + n as u64, n as u64);
        let skip = only.is_some_and(|o| !name.contains(o.as_str()));
        let light = (!skip).then(|| light(&recipe));
        for k in 0..each {
            recipe.camera = camera(&mut draw, filter.clone());
            recipe.camera.hot_pixels = *draw.pick(&[0, 40, 200]);
            let noise_dn = recipe.camera.read_noise_e / recipe.camera.gain_e_per_dn;
            recipe.camera.row_banding = *draw.pick(&[
                Banding::default(),
                Banding { random_dn: 0.5 * noise_dn, ..Banding::default() },
                Banding { periodic_dn: noise_dn, period_px: 12.0, ..Banding::default() },
            ]);
            recipe.exposure.white_ev = draw.between(-1.5, 0.7);
            recipe.seed = 1_000 * n as u64 + k as u64;
            let Some(light) = &light else { continue };
            let raw = expose(&recipe, light);
            let frame = rawassay_decode::open_bytes("sweep.dng".as_ref(), raw.to_dng(Compression::None)).unwrap();
            let m = rawassay_analysis::measure(&frame);
            let t = &raw.truth;
            let green = t.planes.iter().position(|p| p.name.starts_with('G')).unwrap_or(0);
            let truth = &t.planes[green];
            frames += 1;
            let percent = |v: Option<f64>, t: f64| v.map(|v| 100.0 * (v / t - 1.0));
            let gain = percent(m.noise.gain_e_per_dn, truth.gain_e_per_dn);
            // Offsets of rows stand apart from read noise.
            let scene_read = percent(m.noise.read_noise_dn, truth.read_noise_dn);
            let range = m.engineering_ev.map(|e| e - (truth.full_well_e / truth.read_noise_e).log2());
            let clip = m.channels.iter().zip(&t.planes).map(|(c, t)| {
                let truth = t.clipped_sample_pct;
                (c.clipped_pct - truth).abs()
            });
            let clip = clip.fold(0.0, f64::max);
            let row = m.noise.row_banding_dn.map(|r| r / noise_dn);
            let row_true = t.row_banding_dn / noise_dn;
            let show = |v: Option<f64>| v.map_or("     -".into(), |v| format!("{v:6.1}"));
            println!(
                "{:12} {:6} fw {:6.0} rn {:.1} e {:5.2} dn prnu {:.1} ev {:4.1} | gain {} % read {} % range {} | clip off {:.3} of \
                 {:.2} sat {} | rows {} of {:.2} cols {} hot {:?} of {} | patches {} r2 {:?}",
                &name[..name.len().min(12)],
                frame.filter.word(),
                truth.full_well_e,
                truth.read_noise_e,
                truth.read_noise_dn,
                recipe.camera.prnu_pct,
                recipe.exposure.white_ev,
                show(gain),
                show(scene_read),
                range.map_or("    -".into(), |v| format!("{v:5.2}")),
                clip,
                t.planes[green].clipped_sample_pct,
                m.channels.iter().zip(&t.planes).all(|(c, t)| (c.saturation_dn - t.saturation_dn).abs() < 2.0),
                show(row),
                row_true,
                show(m.noise.column_banding_dn.map(|r| r / noise_dn)),
                m.noise.hot_pixels,
                t.hot_pixels.len(),
                m.noise.flat_patches,
                m.noise.model_r2.map(|r| (r * 1000.0).round() / 1000.0),
            );
            if let Some(g) = gain {
                gains.push(g.abs())
            } else {
                unclaimed += 1
            }
            reads.extend(scene_read.map(f64::abs));
            ranges.extend(range.map(f64::abs));
            clips.push(clip);
            if row_true > 0.1 {
                rows.extend(row.map(|r| 100.0 * (r / row_true - 1.0).abs()));
            }
            if !t.hot_pixels.is_empty() {
                hots.extend(m.noise.hot_pixels.map(|h| 100.0 * (h as f64 / t.hot_pixels.len() as f64 - 1.0).abs()));
            }
        }
    }
    println!("{frames} frames; gain not stated for {unclaimed}");
    for (name, values) in [
        ("gain, %", &mut gains),
        ("read noise, %", &mut reads),
        ("engineering range, EV", &mut ranges),
        ("clipped share, points", &mut clips),
        ("row banding, %", &mut rows),
        ("hot pixels, %", &mut hots),
    ] {
        println!(
            "{name}: {} stated, error median {:.3}, 90th percentile {:.3}, worst {:.3}",
            values.len(),
            quantile(values, 0.5),
            quantile(values, 0.9),
            quantile(values, 1.0)
        );
    }
}
