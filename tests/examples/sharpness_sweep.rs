//! Measures sharpness and blur on a mixed set of simulated frames with known truth, and prints how often the kind is
//! right and how far the figures are off.
//!
//! `cargo run -p rawassay-tests --example sharpness_sweep -- [FRAMES] [FIRST] [CACHE]`: frames FIRST.. of the set; a
//! folder CACHE keeps the files between runs.

#![allow(clippy::unwrap_used, clippy::print_stdout, reason = "a tool for developers")]

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::time::Instant;

use rawassay_analysis::measures::BlurKind;
use rawassay_scene::{Camera, Compression, Filter, Motion, Optics, Recipe, SceneKind, render};
use rawassay_tests::dice::Dice;

/// Frame `index` of the set: its name, recipe and true kind.
fn frame(index: u64) -> (String, Recipe, BlurKind) {
    let mut dice = Dice(index.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ 0x5eed);
    for _ in 0..4 {
        dice.uniform();
    }
    let sigma = dice.between(0.4, 0.7);
    let straight = |dice: &mut Dice, low: f64, high: f64| Motion::Straight {
        length_px: dice.log_between(low, high),
        direction_deg: dice.between(0.0, 180.0),
    };
    let (kind, optics) = match (dice.uniform() * 4.0) as u32 {
        0 => (BlurKind::None, Optics::gaussian(dice.between(0.35, 0.95))),
        1 => {
            let motion = straight(&mut dice, 2.5, 18.0);
            (BlurKind::Motion, Optics { motion, ..Optics::gaussian(sigma) })
        }
        2 => (BlurKind::Defocus, Optics { defocus_px: dice.log_between(2.0, 8.0), ..Optics::gaussian(sigma) }),
        _ => {
            let motion = straight(&mut dice, 5.0, 14.0);
            let Motion::Straight { length_px, .. } = motion else { unreachable!() };
            let defocus_px = dice.between(0.25, 0.5) * length_px;
            (BlurKind::Mixed, Optics { defocus_px, motion, ..Optics::gaussian(sigma) })
        }
    };
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
    ];
    let mut scene = dice.pick(&scenes);
    if kind == BlurKind::None && dice.uniform() < 0.25 {
        scene = SceneKind::MovingSubject { motion: straight(&mut dice, 6.0, 20.0) };
    }
    let iso = dice.pick(&[100.0, 400.0, 1600.0, 3200.0, 6400.0]);
    let white_ev = dice.pick(&[-1.0, -0.5, -0.5, 0.7]);
    let filter = match dice.pick(&["RGGB", "GRBG", "GBRG", "BGGR", "X", "M"]) {
        "X" => Filter::six_by_six(),
        "M" => Filter::monochrome(),
        letters => Filter::two_by_two(letters),
    };
    let recipe = Recipe {
        contrast: dice.pick(&[1.0, 1.0, 0.5]),
        ..Recipe::new(scene.clone())
            .size(1200, 800)
            .optics(optics)
            .camera(Camera { filter, ..Camera::default() })
            .exposure(iso, white_ev)
            .seeds(index + 1, index + 77)
    };
    let word = format!("{scene:?}");
    let word = word.split([' ', '{']).next().unwrap_or("").to_string();
    (format!("{word} iso{iso:.0} ev{white_ev} contrast{}", recipe.contrast), recipe, kind)
}

fn main() {
    let mut arguments = std::env::args().skip(1);
    let frames: u64 = arguments.next().and_then(|a| a.parse().ok()).unwrap_or(100);
    let first: u64 = arguments.next().and_then(|a| a.parse().ok()).unwrap_or(0);
    let cache = arguments.next().map(PathBuf::from);
    let mut confusion: BTreeMap<(String, String), u32> = BTreeMap::new();
    let mut errors: BTreeMap<&str, Vec<f64>> = BTreeMap::new();
    let mut confident_wrong = 0;
    for index in first..first + frames {
        let (name, recipe, kind) = frame(index);
        let kept = cache.as_ref().map(|c| c.join(format!("{index}.dng")));
        let kept_truth = cache.as_ref().map(|c| c.join(format!("{index}.txt")));
        let read = |p: &Option<PathBuf>| p.as_ref().and_then(|p| std::fs::read(p).ok());
        let (bytes, truth) = match (read(&kept), read(&kept_truth)) {
            (Some(bytes), Some(truth)) => (bytes, String::from_utf8(truth).unwrap()),
            _ => {
                let raw = render(&recipe);
                let t = &raw.truth;
                let least = t.edges.iter().map(|e| e.rise_px).fold(f64::INFINITY, f64::min);
                let truth = format!("{} {} {} {least}", t.motion_px, t.motion_deg, t.defocus_px);
                let bytes = raw.to_dng(Compression::None);
                if let (Some(p), Some(q)) = (&kept, &kept_truth) {
                    std::fs::write(p, &bytes).unwrap();
                    std::fs::write(q, &truth).unwrap();
                }
                (bytes, truth)
            }
        };
        let truth: Vec<f64> = truth.split(' ').map(|t| t.parse().unwrap()).collect();
        let decoded = rawassay_decode::open_bytes(std::path::Path::new("frame.dng"), bytes).unwrap();
        let begun = Instant::now();
        let measured = rawassay_analysis::measure(&decoded);
        let took = begun.elapsed();
        let (sharpness, blur) = (&measured.sharpness, &measured.blur);
        *confusion.entry((format!("{kind:?}"), format!("{:?}", blur.kind))).or_default() += 1;
        let off = |value: Option<f64>, true_value: f64| value.map(|v| v / true_value - 1.0);
        let mut keep = |name: &'static str, error: Option<f64>| {
            if let Some(error) = error {
                errors.entry(name).or_default().push(error);
            }
        };
        if kind == BlurKind::None {
            keep("rise none", off(sharpness.edge_rise_px, truth[3]));
        }
        if blur.kind == kind {
            if matches!(kind, BlurKind::Motion | BlurKind::Mixed) {
                keep("length", off(blur.motion_px, truth[0]));
                let turn = blur.motion_deg.map(|d| (d - truth[1] + 90.0).rem_euclid(180.0) - 90.0);
                keep("direction deg", turn);
            }
            if matches!(kind, BlurKind::Defocus | BlurKind::Mixed) {
                keep("radius", off(blur.defocus_px, truth[2]));
            }
        }
        let right = if blur.kind == kind { "  " } else { "??" };
        if blur.kind != kind && blur.kind != BlurKind::Undetermined && blur.confidence > 0.8 {
            confident_wrong += 1;
        }
        println!(
            "{right} {index} {name} {} | {kind:?} L {:.1} at {:.0} r {:.1} rise {:.2} | {:?} {:.2} L {:.1} at {:.0} r {:.1} rise {:.2}{} edges {} {took:.0?} {}",
            decoded.shot.cfa,
            truth[0],
            truth[1],
            truth[2],
            truth[3],
            blur.kind,
            blur.confidence,
            blur.motion_px.unwrap_or(0.0),
            blur.motion_deg.unwrap_or(0.0),
            blur.defocus_px.unwrap_or(0.0),
            sharpness.edge_rise_px.unwrap_or(f64::NAN),
            if sharpness.noise_limited { " noise-limited" } else { "" },
            sharpness.edges,
            measured
                .notes
                .iter()
                .filter(|n| n.contains("harp") || n.contains("blur") || n.contains("mov"))
                .cloned()
                .collect::<Vec<_>>()
                .join("; "),
        );
    }
    println!("\ntruth -> measured");
    for ((truth, measured), count) in &confusion {
        println!("{truth:>14} -> {measured:<14} {count}");
    }
    println!("wrong with a confidence above 0.8: {confident_wrong}");
    for (name, values) in &mut errors {
        values.sort_by(|a, b| a.abs().total_cmp(&b.abs()));
        let at = |share: f64| values[((values.len() - 1) as f64 * share) as usize].abs();
        println!(
            "{name}: {} readings, |error| median {:.3}, 90 % {:.3}, greatest {:.3}",
            values.len(),
            at(0.5),
            at(0.9),
            at(1.0)
        );
    }
}
