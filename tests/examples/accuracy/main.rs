//! Simulates a few hundred frames over scenes, seeds, cameras and ISO, measures them, and writes the errors against
//! truth as tables and plots: `cargo run --release -p rawassay-tests --example accuracy [-- FOLDER [EVERY]]` (folder `docs`, every case).
#![allow(clippy::print_stderr)]

mod cases;
mod plots;
mod tables;

use std::path::PathBuf;

use rawassay_analysis::{Measures, measure};
use rawassay_scene::{Compression, DngOptions, Truth, render};
use rayon::prelude::*;

use cases::Case;

/// A case with its truth and what was measured.
pub(crate) struct Outcome {
    /// The case.
    pub(crate) case: Case,
    /// Truth.
    pub(crate) truth: Truth,
    /// Measures.
    pub(crate) measures: Measures,
}

fn main() -> std::io::Result<()> {
    let folder = std::env::args_os().nth(1).map_or_else(|| PathBuf::from("docs"), PathBuf::from);
    let every = std::env::args().nth(2).and_then(|n| n.parse().ok()).unwrap_or(1usize).max(1);
    let cases: Vec<Case> = cases::all().into_iter().step_by(every).collect();
    let count = cases.len();
    let outcomes: Vec<Outcome> = cases.into_par_iter().filter_map(outcome).collect();
    if outcomes.len() < count {
        eprintln!("{} of {count} frames could not be read back", count - outcomes.len());
    }
    std::fs::create_dir_all(folder.join("accuracy"))?;
    plots::write(&outcomes, &folder.join("accuracy")).map_err(std::io::Error::other)?;
    std::fs::write(folder.join("accuracy.md"), tables::page(&outcomes))
}

/// Simulates, writes and reads the file, measures.
fn outcome(case: Case) -> Option<Outcome> {
    let raw = render(&case.recipe);
    let options = DngOptions { compression: Compression::LosslessJpeg, preview_px: 0, ..DngOptions::default() };
    let file = raw.to_dng_with(&options);
    match rawassay_decode::open_bytes(&PathBuf::from(&case.name), file) {
        Ok(frame) => Some(Outcome { measures: measure(&frame), truth: raw.truth, case }),
        Err(error) => {
            eprintln!("{}: {error}", case.name);
            None
        }
    }
}
