//! `sensor` on simulated flats and darks: gain, read noise, full well, range and linearity against the simulator's truth,
//! and sets that do not belong together.

use std::path::Path;

use rawassay_scene::{Camera, Compression, Filter, Light, Recipe, SceneKind, Truth, expose, light};
use serde_json::Value;

use super::run;

/// Shares of green's saturation, the last few far above it so that red and blue are full too.
const SHARES: [f64; 9] = [0.04, 0.1, 0.2, 0.33, 0.5, 0.65, 0.9, 1.8, 3.5];

fn recipe(camera: Camera) -> Recipe {
    Recipe::new(SceneKind::Flat).size(840, 560).camera(camera)
}

fn write(folder: &Path, name: &str, recipe: &Recipe, light: &Light) -> Truth {
    let raw = expose(recipe, light);
    std::fs::write(folder.join(name), raw.to_dng(Compression::None)).unwrap();
    raw.truth
}

/// Flats in pairs and four darks of a camera; their names, and the truth.
fn set(folder: &Path, camera: &Camera, iso: f64) -> (Vec<String>, Vec<String>, Truth) {
    let mut recipe = recipe(camera.clone());
    let flat = light(&recipe);
    let dark = light(&Recipe { scene: SceneKind::Dark, ..recipe.clone() });
    let (mut flats, mut darks, mut truth) = (Vec::new(), Vec::new(), None);
    for (k, share) in SHARES.into_iter().enumerate() {
        recipe.exposure.iso = iso;
        recipe.exposure.white_ev = share.log2();
        recipe.shot.shutter_s = 0.02 * share;
        for i in 0..2_u64 {
            recipe.seed = 100 * k as u64 + i;
            flats.push(format!("flat{k}_{i}.dng"));
            truth = Some(write(folder, &flats[flats.len() - 1], &recipe, &flat));
        }
    }
    recipe.scene = SceneKind::Dark;
    for i in 0..4 {
        recipe.seed = 9_000 + i;
        darks.push(format!("dark{i}.dng"));
        write(folder, &darks[darks.len() - 1], &recipe, &dark);
    }
    (flats, darks, truth.unwrap())
}

fn sensor(folder: &Path, flats: &[String], darks: &[String]) -> (i32, String, String) {
    let mut arguments = vec!["sensor", "--format", "json", "--flat"];
    arguments.extend(flats.iter().map(String::as_str));
    arguments.push("--dark");
    arguments.extend(darks.iter().map(String::as_str));
    run(folder, &arguments)
}

fn cameras() -> Vec<(Camera, f64)> {
    let base = Camera { converter_noise_dn: 0.0, ..Camera::default() };
    vec![
        (base.clone(), 100.0),
        (
            Camera {
                filter: Filter::two_by_two("GBRG"),
                bits: 12,
                black_dn: vec![128.0],
                white_declared_dn: 4_095,
                saturation_dn: 4_095,
                gain_e_per_dn: 4.0,
                read_noise_e: 6.0,
                prnu_pct: 0.6,
                ..base.clone()
            },
            200.0,
        ),
        (
            Camera {
                filter: Filter::monochrome(),
                saturation_dn: 16_000,
                gain_e_per_dn: 0.8,
                read_noise_e: 2.0,
                ..base.clone()
            },
            100.0,
        ),
        (
            Camera {
                filter: Filter::six_by_six(),
                black_dn: vec![1_024.0],
                gain_e_per_dn: 1.5,
                // The photosites are full before the converter ends.
                full_well_e: 18_000.0,
                read_noise_e: 3.5,
                ..base
            },
            100.0,
        ),
    ]
}

#[test]
fn the_truth_of_four_cameras_comes_back_within_one_per_cent() {
    for (n, (camera, iso)) in cameras().into_iter().enumerate() {
        let folder = tempfile::tempdir().unwrap();
        let (flats, darks, truth) = set(folder.path(), &camera, iso);
        let (code, out, error) = sensor(folder.path(), &flats, &darks);
        assert_eq!(code, 0, "camera {n}: {error}");
        let found: Value = serde_json::from_str(&out).unwrap();
        let channels = found["channels"].as_array().unwrap();
        assert_eq!(channels.len(), truth.planes.len());
        for (c, t) in channels.iter().zip(&truth.planes) {
            let off = |key: &str, truth: f64| {
                let value = c[key].as_f64().unwrap();
                assert!((value / truth - 1.0).abs() < 0.01, "camera {n} {} {key}: {value} of {truth}", t.name);
            };
            assert_eq!(c["name"], t.name.as_str());
            off("gain_e_per_dn", t.gain_e_per_dn);
            off("read_noise_e", t.read_noise_e);
            off("full_well_e", t.full_well_e);
            off("saturation_dn", t.saturation_dn);
            off("engineering_ev", (t.full_well_e / t.read_noise_e).log2());
            assert!(c["fit_r2"].as_f64().unwrap() > 0.999);
            assert!(c["linearity_error_pct"].as_f64().unwrap() < 0.3, "{c}");
        }
        assert_eq!((found["flat_pairs"].as_u64(), found["dark_pairs"].as_u64()), (Some(9), Some(2)));
    }
}

/// Fixed patterns and glow of a camera come back: the truth is what the simulator was told.
#[test]
fn what_stands_still_is_told_from_noise() {
    let camera = Camera {
        gain_e_per_dn: 0.8,
        read_noise_e: 2.5,
        converter_noise_dn: 0.0,
        prnu_pct: 0.5,
        dark_spread_e: 0.9,
        dark_columns_e: 0.6,
        glow_e: 60.0,
        ..Camera::default()
    };
    let plain = Camera { prnu_pct: 0.0, dark_spread_e: 0.0, dark_columns_e: 0.0, glow_e: 0.0, ..camera.clone() };
    for (camera, still) in [(&camera, true), (&plain, false)] {
        let folder = tempfile::tempdir().unwrap();
        let (flats, darks, _) = set(folder.path(), camera, 100.0);
        let (code, out, error) = sensor(folder.path(), &flats, &darks);
        assert_eq!(code, 0, "{error}");
        let found: Value = serde_json::from_str(&out).unwrap();
        for c in found["channels"].as_array().unwrap() {
            for (key, truth, within) in [
                ("dsnu_e", 0.9_f64.hypot(0.6), 0.06),
                // 294 columns of a plane: their own spread is known within 4 %.
                ("dsnu_column_e", 0.6, 0.15),
                ("prnu_pct", 0.5, 0.05),
            ] {
                match c[key].as_f64() {
                    Some(value) => assert!(still && (value / truth - 1.0).abs() < within, "{key}: {value} of {truth}"),
                    None => assert!(!still, "{key} not found: {c}"),
                }
            }
            assert!(c["dsnu_row_e"].is_null(), "{c}");
            // The mean of the corner tile, 1/16 of the width: exp(-r / 0.2 w) over it is near 0.75.
            let glow = c["glow_e"].as_f64();
            assert_eq!(glow.is_some(), still, "{c}");
            assert!(glow.is_none_or(|e| (0.6..0.85).contains(&(e / 60.0))), "{glow:?}");
        }
        assert_eq!(out.contains("lower right corner"), still, "{out}");
    }
}

#[test]
fn sets_that_do_not_belong_together_are_refused_in_one_line() {
    let folder = tempfile::tempdir().unwrap();
    let camera = Camera { border: rawassay_scene::Border::default(), ..Camera::default() };
    let small = |camera: &Camera| recipe(camera.clone()).size(160, 120);
    let (base, at) = (small(&camera), folder.path());
    let flat = light(&base);
    let dark = light(&Recipe { scene: SceneKind::Dark, ..base.clone() });
    let shot = |name: &str, change: &dyn Fn(&mut Recipe)| {
        let mut recipe = base.clone();
        recipe.seed = name.bytes().map(u64::from).sum();
        change(&mut recipe);
        write(at, name, &recipe, if name.starts_with("dark") { &dark } else { &flat });
    };
    let mut flats: Vec<String> = Vec::new();
    for k in 0..4 {
        for i in 0..2 {
            flats.push(format!("flat{k}_{i}.dng"));
            shot(&flats[flats.len() - 1], &|r| {
                r.exposure.white_ev = f64::from(k) - 4.0;
                r.shot.shutter_s = 0.001 * f64::from(1 << k);
            });
        }
    }
    let darks: Vec<String> = ["dark0.dng".into(), "dark1.dng".into()].into();
    darks.iter().for_each(|d| shot(d, &|_| ()));
    let (code, _, error) = sensor(at, &flats, &darks);
    assert_eq!(code, 0, "{error}");

    shot("iso.dng", &|r| r.exposure.iso = 800.0);
    shot("model.dng", &|r| r.camera.model = "Other Camera".into());
    shot("serial.dng", &|r| r.camera.serial = "SIM-0002".into());
    shot("black.dng", &|r| r.camera.black_dn = vec![1_024.0]);
    shot("white.dng", &|r| r.camera.white_declared_dn = 15_800);
    shot("array.dng", &|r| r.camera.filter = Filter::two_by_two("GRBG"));
    // Alone: an exposure that no other flat has.
    shot("alone.dng", &|r| r.shot.shutter_s = 0.5);
    // A pair by its shutter, but the lamp was changed between the two.
    shot("lamp0.dng", &|r| (r.shot.shutter_s, r.exposure.white_ev) = (0.25, -1.0));
    shot("lamp1.dng", &|r| (r.shot.shutter_s, r.exposure.white_ev) = (0.25, -1.4));
    let with =
        |more: &[&str]| -> Vec<String> { flats.iter().cloned().chain(more.iter().map(|m| m.to_string())).collect() };
    // Wholly blown frames may be equal to the byte and are two all the same; one file given twice is one.
    for name in ["blown0.dng", "blown1.dng"] {
        shot(name, &|r| (r.shot.shutter_s, r.exposure.white_ev) = (0.4, 6.0));
    }
    let bytes = |name: &str| std::fs::read(at.join(name)).unwrap();
    assert!(bytes("blown0.dng") == bytes("blown1.dng"));
    let (code, out, error) = sensor(at, &with(&["blown0.dng", "blown1.dng"]), &darks);
    assert!(code == 0 && out.contains("observed"), "{error}");
    for (flats, darks, words) in [
        (with(&["iso.dng"]), darks.clone(), ["iso.dng", "another ISO"]),
        (with(&["model.dng"]), darks.clone(), ["model.dng", "another camera"]),
        (with(&["serial.dng"]), darks.clone(), ["serial.dng", "another camera"]),
        (with(&["black.dng"]), darks.clone(), ["black.dng", "has other levels"]),
        (with(&["white.dng"]), darks.clone(), ["white.dng", "has other levels"]),
        (with(&["array.dng"]), darks.clone(), ["array.dng", "another filter array"]),
        (with(&["alone.dng"]), darks.clone(), ["alone.dng", "no other flat has its exposure"]),
        (with(&["lamp0.dng", "lamp1.dng"]), darks.clone(), ["lamp", "no other flat has its exposure"]),
        (with(&["blown0.dng", "blown0.dng"]), darks.clone(), ["blown0.dng", "given twice"]),
        (with(&[]), vec!["dark0.dng".into()], ["dark0.dng", "only dark frame"]),
        (with(&[]), vec!["dark0.dng".into(), "flat3_0.dng".into()], ["flat3_0.dng", "holds light"]),
        (flats[..4].to_vec(), darks.clone(), ["exposures", "take more flats"]),
        (with(&["nothing.dng"]), darks.clone(), ["nothing.dng", ""]),
    ] {
        let (code, out, error) = sensor(at, &flats, &darks);
        assert!(code != 0 && out.is_empty(), "{words:?}: {code} {out}");
        assert!(words.iter().all(|w| error.contains(w)), "{words:?}: {error}");
        assert_eq!(error.trim_end().lines().count(), 1, "{error}");
    }
}
