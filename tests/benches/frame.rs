//! A simulated 24 megapixel frame on its way: reading it from three storages, each measure, all measures, the whole audit
//! by the built program, beside a plain pass over its samples:
//!
//!     cargo bench -p rawassay-tests --bench frame
//!
//! Divide by the plain pass of the same run to compare machines. The audit is timed where `target/release/rawassay` is.

#![allow(missing_docs)]

use std::hint::black_box;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::LazyLock;

use rawassay_analysis::{Measures, measure, measure_sharpness, parts};
use rawassay_decode::{Frame, open_bytes};
use rawassay_scene::{Compression, Recipe, SceneKind, render};

/// The frame, its measures, and its files: 16 bits, packed, lossless JPEG.
struct Case {
    frame: Frame,
    measures: Measures,
    files: [Vec<u8>; 3],
}

static CASE: LazyLock<Case> = LazyLock::new(|| {
    let raw = render(&Recipe::new(SceneKind::Harbour).size(6000, 4000).exposure(400.0, -0.2));
    let files = [Compression::None, Compression::Packed, Compression::LosslessJpeg].map(|how| raw.to_dng(how));
    let frame = open(&files[0]);
    let measures = measure(&frame);
    Case { frame, measures, files }
});

fn open(bytes: &[u8]) -> Frame {
    match open_bytes(Path::new("bench.dng"), bytes.to_vec()) {
        Ok(frame) => frame,
        Err(error) => panic!("the simulated frame cannot be read: {error}"),
    }
}

#[divan::bench]
fn a_plain_pass(bencher: divan::Bencher<'_, '_>) {
    let samples = &CASE.frame.samples;
    bencher.bench(|| black_box(samples).iter().map(|&s| u64::from(s)).sum::<u64>());
}

#[divan::bench(args = ["16 bits", "packed", "lossless JPEG"], sample_count = 5)]
fn b_open(bencher: divan::Bencher<'_, '_>, storage: &str) {
    let at = ["16 bits", "packed", "lossless JPEG"].iter().position(|&s| s == storage).unwrap_or(0);
    bencher.bench(|| open(black_box(&CASE.files[at])));
}

#[divan::bench(args = parts::NAMES, sample_count = 10)]
fn c_measure(bencher: divan::Bencher<'_, '_>, part: &str) {
    bencher.bench(|| parts::run(part, black_box(&CASE.frame), &CASE.measures.channels));
}

#[divan::bench(sample_count = 10)]
fn c_measure_sharpness(bencher: divan::Bencher<'_, '_>) {
    bencher.bench(|| measure_sharpness(black_box(&CASE.frame), &CASE.measures.channels));
}

#[divan::bench(sample_count = 10)]
fn d_all_measures(bencher: divan::Bencher<'_, '_>) {
    bencher.bench(|| measure(black_box(&CASE.frame)));
}

/// The built program beside this bench, if there is one.
fn program() -> Option<PathBuf> {
    let here = std::env::current_exe().ok()?;
    here.ancestors().map(|folder| folder.join("rawassay")).find(|path| path.is_file())
}

#[divan::bench(args = ["16 bits", "packed", "lossless JPEG"], sample_count = 5)]
fn e_audit_by_one_worker(bencher: divan::Bencher<'_, '_>, storage: &str) {
    let at = ["16 bits", "packed", "lossless JPEG"].iter().position(|&s| s == storage).unwrap_or(0);
    let (Some(program), Ok(folder)) = (program(), tempfile::tempdir()) else { return };
    if std::fs::write(folder.path().join("frame.dng"), &CASE.files[at]).is_err() {
        return;
    }
    bencher.bench_local(|| {
        std::fs::remove_file(folder.path().join("cards.record.ndjson")).ok();
        let arguments = ["audit", "frame.dng", "--jobs", "1", "-q", "--out", "cards.csv"];
        Command::new(&program).args(arguments).current_dir(folder.path()).status()
    });
}

fn main() {
    divan::main();
}
