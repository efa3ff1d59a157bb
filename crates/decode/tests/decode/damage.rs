//! Broken files are never whole; good frames, however dark, blown or smooth, are never broken.

use std::path::Path;

use rawassay_decode::{DecodeError, Integrity, open_bytes};
use rawassay_scene::{Banding, Border, Camera, Compression, DngOptions, Filter, Raw, Recipe, SceneKind, render};

use crate::simulated::open;

/// Exposures and sensors that look like damage to a careless eye.
fn difficult() -> Vec<(String, Raw)> {
    let mut all = Vec::new();
    let clipped_black =
        Camera { black_dn: vec![0.0], border: Border::default(), saturation_dn: 15_000, ..Camera::default() };
    let no_noise = Camera {
        read_noise_e: 0.0,
        converter_noise_dn: 0.0,
        prnu_pct: 0.0,
        gain_e_per_dn: 0.001,
        border: Border::default(),
        ..Camera::default()
    };
    let small =
        Camera { bits: 12, black_dn: vec![64.0], white_declared_dn: 4095, saturation_dn: 4095, ..Camera::default() };
    let mono = Camera { filter: Filter::monochrome(), ..Camera::default() };
    let linear = Camera { filter: Filter::linear_rgb(), border: Border::default(), ..Camera::default() };
    let six = Camera { filter: Filter::six_by_six(), ..Camera::default() };
    let scenes = [
        (SceneKind::Dark, -0.5),
        (SceneKind::Night, 1.0),
        (SceneKind::Night, -3.0),
        (SceneKind::Flat, 2.0),
        (SceneKind::Horizon, 3.0),
        (SceneKind::Sky, 4.0),
        (SceneKind::Wedge, 3.0),
        (SceneKind::Ramp, 2.0),
        (SceneKind::SingleEdge { normal_deg: 90.0, dark: 0.02 }, 2.0),
        (SceneKind::SlantedSquare { turn_deg: 0.0, dark: 0.0 }, 1.0),
        (SceneKind::Text, 1.0),
        (SceneKind::Gravel, 0.0),
    ];
    for (i, camera) in [Camera::default(), clipped_black, no_noise, small, mono, linear, six].into_iter().enumerate() {
        for (j, (scene, white_ev)) in scenes.iter().enumerate() {
            let iso = [100.0, 6400.0][(i + j) % 2];
            let recipe = Recipe::new(scene.clone()).size(300, 200).camera(camera.clone()).exposure(iso, *white_ev);
            all.push((format!("camera {i}, {scene:?}, ISO {iso}"), render(&recipe.seeds(j as u64, 3))));
        }
    }
    all
}

#[test]
fn good_frames_are_whole() {
    let mut wrong = Vec::new();
    for (name, raw) in difficult() {
        for compression in [Compression::None, Compression::LosslessJpeg] {
            let frame = open(&raw, &DngOptions { compression, preview_px: 0, ..DngOptions::default() });
            if frame.integrity != Integrity::Whole {
                wrong.push(format!("{name}, {compression:?}: {:?}", frame.integrity));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// A lamp, a gap in leaves, a bright wall that leaves the frame at a slant: so wide that one row or two of it fill a stretch
/// that is looked at, and the rows above and below do not.
#[test]
fn blown_subjects_of_any_size_and_place_are_whole() {
    let camera = Camera { border: Border::default(), ..Camera::default() };
    let plain = render(&Recipe::new(SceneKind::Buildings).size(900, 600).camera(camera));
    let full = plain.recipe.camera.saturation_dn as u16;
    let mut wrong = Vec::new();
    let mut state = 7_u64;
    let mut dice = move |sides: u64| {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((state >> 33) % sides) as f64
    };
    for round in 0..600 {
        let (cx, cy, size) = (dice(960) - 30.0, dice(600), 64.0 + dice(24));
        let (turn, is_disc) = (0.01 * dice(157), round % 3 == 0);
        let mut raw = plain.clone();
        for y in 0..600_usize {
            for x in 0..900_usize {
                let (dx, dy) = (x as f64 - cx, y as f64 - cy);
                let (u, v) = (dx * turn.cos() + dy * turn.sin(), dy * turn.cos() - dx * turn.sin());
                let inside = if is_disc { dx.hypot(dy) < size } else { u.abs() < size && v.abs() < size };
                if inside {
                    raw.samples[y * 900 + x] = full;
                }
            }
        }
        let frame = open(&raw, &DngOptions { preview_px: 0, ..DngOptions::default() });
        if frame.integrity != Integrity::Whole {
            wrong.push(format!("at {cx} {cy}, {size} px, turned {turn}: {:?}", frame.integrity));
        }
    }
    assert!(wrong.is_empty(), "{} of 600: {wrong:#?}", wrong.len());
}

fn subjects() -> Vec<(String, Vec<u8>)> {
    let mut files = Vec::new();
    for (scene, border, filter) in [
        (SceneKind::Buildings, 32, Filter::two_by_two("RGGB")),
        (SceneKind::Sky, 0, Filter::two_by_two("GBRG")),
        (SceneKind::Night, 24, Filter::two_by_two("BGGR")),
        (SceneKind::DeadLeaves, 0, Filter::monochrome()),
        (SceneKind::Harbour, 0, Filter::six_by_six()),
        (SceneKind::Gravel, 0, Filter::linear_rgb()),
    ] {
        for compression in [Compression::None, Compression::Packed, Compression::LosslessJpeg] {
            let border = Border { left: border, ..Border::default() };
            let camera = Camera { filter: filter.clone(), border, ..Camera::default() };
            let raw = render(&Recipe::new(scene.clone()).size(900, 700).camera(camera));
            let options = DngOptions { compression, preview_px: 64, ..DngOptions::default() };
            files.push((format!("{scene:?} {} {compression:?}", filter.letters), raw.to_dng_with(&options)));
        }
    }
    files
}

fn whole(bytes: Vec<u8>) -> Option<Vec<u16>> {
    let frame = open_bytes(Path::new("broken.dng"), bytes).ok()?;
    (frame.integrity == Integrity::Whole).then_some(frame.samples)
}

/// The largest piece of the file that can be missing without touching a sample.
fn harmless(original: &[u16], opened: Option<Vec<u16>>, what: &str) {
    if let Some(samples) = opened {
        assert!(samples == original, "{what} is called whole");
    }
}

#[test]
fn cut_and_half_written_files_are_not_whole() {
    for (name, file) in subjects() {
        let original = whole(file.clone()).unwrap();
        for step in 0..40 {
            let at = file.len() * step / 40 + 17 * step;
            harmless(&original, whole(file[..at].to_vec()), &format!("{name} cut at {at}"));
            let mut zeros = file.clone();
            zeros[at..].fill(0);
            harmless(&original, whole(zeros), &format!("{name} with zeros from {at}"));
        }
    }
}

#[test]
fn overwritten_blocks_are_not_whole() {
    let mut missed = Vec::new();
    let mut tried = 0;
    for (name, file) in subjects() {
        let original = whole(file.clone()).unwrap();
        let mut state = 99_u64;
        let mut random = move || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 33) as usize
        };
        for round in 0..36 {
            let length = [1024, 4096, 32_768][round % 3];
            let at = (random() % (file.len() - length)) / 512 * 512;
            let mut broken = file.clone();
            let block = &mut broken[at..at + length];
            match round % 4 {
                0 | 3 => block.fill(0),
                1 => block.fill(0xff),
                _ => block.iter_mut().for_each(|b| *b = random() as u8),
            }
            tried += 1;
            if whole(broken).is_some_and(|samples| samples != original) {
                missed.push(format!("{name}: kind {} {length} at {at}", round % 4));
            }
        }
    }
    // A block of random bytes that looks like samples cannot always be told; one in fifty may slip through.
    assert!(50 * missed.len() <= tried, "{} of {tried}: {missed:#?}", missed.len());
}

#[test]
fn a_cut_is_named_with_its_place() {
    let file = render(&Recipe::new(SceneKind::Flat).size(300, 200)).to_dng(Compression::None);
    let Err(DecodeError::Truncated { needed, length, .. }) =
        open_bytes(Path::new("x"), file[..file.len() / 2].to_vec())
    else {
        panic!("a cut file was opened");
    };
    assert!(needed > length && length == file.len() as u64 / 2);
}

#[test]
fn noise_and_bands_of_the_highest_iso_are_no_damage() {
    for seed in 0..4 {
        // Read noise of 32 DN and bands of 32 DN above a black of 256: single rows reach far below it.
        let camera = Camera {
            black_dn: vec![256.0],
            border: Border::default(),
            gain_e_per_dn: 0.09,
            read_noise_e: 2.9,
            row_banding: Banding { periodic_dn: 32.0, period_px: 12.0, ..Banding::default() },
            ..Camera::default()
        };
        let recipe = Recipe::new(SceneKind::Dark).size(1200, 800).camera(camera).seeds(seed, 10 + seed);
        let frame = open_bytes(Path::new("noisy.dng"), render(&recipe).to_dng(Compression::None)).unwrap();
        let lows = frame.samples.iter().filter(|v| **v < 154).count();
        assert!(lows > 100, "the frame holds what it should: {lows}");
        assert_eq!(frame.integrity, Integrity::Whole, "{seed}");
    }
}
