//! Samples of real files against LibRaw's (through rawpy): stored digests always, a live run where there is an
//! interpreter. Pixel for pixel: lossless JPEG, packed 14 bit, CRW's own coding, and a linearisation table.

use std::path::{Path, PathBuf};

use rawassay_decode::open;
use serde_json::Value;

use crate::python;

/// One frame's digest: columns, rows, sum, weighted sum (see fixtures/make_libraw_digests.py).
pub(crate) type Digest = (u64, u64, String, String);

pub(crate) fn digest(path: &Path) -> Digest {
    let frame = open(path).unwrap();
    let samples = frame.samples.iter().map(|&s| u64::from(s));
    let weighted = samples.clone().zip(1_u64..).fold(0_u64, |sum, (s, i)| sum.wrapping_add(s.wrapping_mul(i)));
    (frame.width as u64, frame.height as u64, samples.sum::<u64>().to_string(), weighted.to_string())
}

pub(crate) fn stated(value: &Value) -> Digest {
    let text = |key: &str| value[key].as_str().unwrap().to_string();
    (value["width"].as_u64().unwrap(), value["height"].as_u64().unwrap(), text("sum"), text("weighted"))
}

fn samples() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../shared/samples")
}

fn compare(digests: &Value) {
    for (name, expected) in digests["files"].as_object().unwrap() {
        let path = samples().join(name);
        if path.exists() {
            assert_eq!(digest(&path), stated(expected), "{name}");
        } else {
            eprintln!("skipped: no sample {name}");
        }
    }
}

#[test]
fn stored_digests() {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/libraw_digests.json");
    compare(&serde_json::from_slice(&std::fs::read(file).unwrap()).unwrap());
}

#[test]
fn live_digests() {
    let Some(python) = python::interpreter() else { return };
    let names = ["canon-30d.cr2", "canon-g1.crw", "colorchart-14bit.dng", "lossless-gbrg.dng"];
    let paths: Vec<String> =
        names.iter().map(|n| samples().join(n)).filter(|p| p.exists()).map(|p| p.display().to_string()).collect();
    if paths.is_empty() {
        eprintln!("skipped: no samples");
        return;
    }
    let script = include_str!("../../fixtures/make_libraw_digests.py");
    let arguments: Vec<&str> = paths.iter().map(String::as_str).collect();
    compare(&serde_json::from_str(&python::run(&python, script, &arguments)).unwrap());
}
