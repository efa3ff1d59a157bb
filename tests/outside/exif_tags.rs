//! Shot data against exifread's: real files and simulated ones of both byte orders.

use std::path::{Path, PathBuf};

use rawassay_decode::open;
use rawassay_scene::{ByteOrder, DngOptions, Recipe, SceneKind, render};
use serde_json::Value;

use crate::python;

const SCRIPT: &str = r#"
import json, sys
import exifread
def number(tags, name):
    tag = tags.get(name)
    if tag is None: return None
    v = tag.values[0] if isinstance(tag.values, list) and tag.values else tag.values
    try:
        return float(v.num) / float(v.den) if hasattr(v, "num") else float(v)
    except (ZeroDivisionError, TypeError, ValueError):
        return None
def text(tags, *names):
    for name in names:
        if name in tags and str(tags[name]).strip(" \0"): return str(tags[name]).strip(" \0")
answer = []
for path in sys.argv[1:]:
    with open(path, "rb") as f: tags = exifread.process_file(f, details=False)
    answer.append({
        "make": text(tags, "Image Make"), "model": text(tags, "Image Model"),
        "iso": number(tags, "EXIF ISOSpeedRatings"), "shutter_s": number(tags, "EXIF ExposureTime"),
        "f_number": number(tags, "EXIF FNumber"), "focal_mm": number(tags, "EXIF FocalLength"),
        "bias": number(tags, "EXIF ExposureBiasValue"), "date": text(tags, "EXIF DateTimeOriginal"),
        "orientation": number(tags, "Image Orientation"), "lens": text(tags, "EXIF LensModel"),
        "per_unit": number(tags, "EXIF FocalPlaneXResolution"), "unit": number(tags, "EXIF FocalPlaneResolutionUnit"),
    })
print(json.dumps(answer))
"#;

#[test]
fn shot_data_is_what_exifread_finds() {
    let Some(python) = python::interpreter() else { return };
    let folder = tempfile::tempdir().unwrap();
    let mut paths: Vec<PathBuf> = Vec::new();
    for (i, order) in [ByteOrder::Little, ByteOrder::Big].into_iter().enumerate() {
        for (j, orientation) in [1, 3, 6, 8].into_iter().enumerate() {
            let mut recipe = Recipe::new(SceneKind::Flat).size(120, 80).exposure(200.0 * (j + 1) as f64, -1.0);
            recipe.shot.orientation = orientation;
            recipe.shot.shutter_s = [2.5, 1.0 / 60.0, 1.0 / 320.0, 1.0 / 8000.0][j];
            recipe.shot.exposure_bias_ev = -0.5 * j as f64;
            let path = folder.path().join(format!("{i}{j}.dng"));
            std::fs::write(&path, render(&recipe).to_dng_with(&DngOptions { order, ..DngOptions::default() })).unwrap();
            paths.push(path);
        }
    }
    let real = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../shared/samples");
    for name in ["canon-30d.cr2", "colorchart-14bit.dng"] {
        let path = real.join(name);
        if path.exists() {
            paths.push(path);
        } else {
            eprintln!("skipped: no sample {name}");
        }
    }
    let arguments: Vec<String> = paths.iter().map(|p| p.display().to_string()).collect();
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let answers: Vec<Value> = serde_json::from_str(&python::run(&python, SCRIPT, &arguments)).unwrap();
    assert_eq!(answers.len(), paths.len());
    for (path, theirs) in paths.iter().zip(&answers) {
        let shot = open(path).unwrap().shot;
        let name = path.display();
        let near = |ours: Option<f64>, key: &str| {
            // A zero in the file is "not known" here.
            let stated = theirs[key].as_f64().filter(|v| *v > 0.0);
            match (ours, stated) {
                (Some(a), Some(b)) => assert!((a / b - 1.0).abs() < 1e-6, "{name} {key}: {a} {b}"),
                (a, b) => assert_eq!(a, b, "{name} {key}"),
            }
        };
        near(shot.iso, "iso");
        near(shot.shutter_s, "shutter_s");
        near(shot.f_number, "f_number");
        near(shot.focal_mm, "focal_mm");
        assert_eq!(shot.make.as_deref(), theirs["make"].as_str(), "{name}");
        assert_eq!(shot.model.as_deref(), theirs["model"].as_str(), "{name}");
        assert_eq!(shot.lens.as_deref(), theirs["lens"].as_str(), "{name}");
        if let Some(bias) = shot.exposure_bias_ev {
            assert!((bias - theirs["bias"].as_f64().unwrap()).abs() < 1e-6, "{name}");
        }
        let date = theirs["date"].as_str().filter(|d| !d.starts_with("0000")).map(|d| {
            let (day, time) = d.split_once(' ').unwrap();
            format!("{}T{time}", day.replace(':', "-"))
        });
        assert_eq!(shot.taken_at.as_ref().map(|t| t[..19].to_string()), date, "{name}");
        // exifread prints the orientation's number through its values.
        assert_eq!(f64::from(shot.orientation.exif()), theirs["orientation"].as_f64().unwrap_or(1.0), "{name}");
        let mm = [25.4, 25.4, 25.4, 10.0][theirs["unit"].as_f64().unwrap_or(2.0) as usize];
        if let Some(per_unit) = theirs["per_unit"].as_f64() {
            let pitch = 1000.0 * mm / per_unit;
            assert!((shot.pixel_pitch_um.unwrap() / pitch - 1.0).abs() < 0.005, "{name} {pitch}");
        }
    }
}
