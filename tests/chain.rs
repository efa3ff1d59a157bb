//! Records of simulated frames through the whole chain: scene, optics, sensor, DNG bytes, decoder, measures.
//!
//! The truth comes from the recipes; nothing of the analysis goes into a frame.

#![allow(clippy::unwrap_used)]

use std::path::Path;

use rawassay_analysis::{MEASURES_VERSION, measure};
use rawassay_report::record::RECORD_VERSION;
use rawassay_report::{FileId, Record, Status};
use rawassay_scene::{Compression, Light, Recipe, expose, light};
use rayon::prelude::*;

/// The record of one frame under a light that is rendered already.
///
/// # Panics
/// Where the frame cannot be read back.
#[must_use]
pub fn record_under(file: &str, recipe: &Recipe, light: &Light) -> Record {
    let bytes = expose(recipe, light).to_dng(Compression::None);
    let frame = rawassay_decode::open_bytes(Path::new(file), bytes).unwrap();
    Record {
        record: RECORD_VERSION,
        measures_version: MEASURES_VERSION,
        file: file.into(),
        uri: None,
        moved_from: None,
        file_id: FileId::default(),
        status: Status::Measured,
        error: None,
        notes: frame.notes.clone(),
        decoder: Some(frame.reader.clone()),
        shot: Some(frame.shot.clone()),
        measures: Some(measure(&frame)),
    }
}

/// The records of a session, named by their number; frames in a row with one scene and one optics share their light.
#[must_use]
pub fn records(recipes: &[Recipe]) -> Vec<Record> {
    let same = |a: &Recipe, b: &Recipe| {
        (a.width, a.height, a.scene_seed, a.oversampling) == (b.width, b.height, b.scene_seed, b.oversampling)
            && a.scene == b.scene
            && a.contrast.to_bits() == b.contrast.to_bits()
            && a.optics == b.optics
            && a.shot.orientation == b.shot.orientation
            && (&a.camera.filter, a.camera.border, a.camera.response)
                == (&b.camera.filter, b.camera.border, b.camera.response)
    };
    let numbered: Vec<(usize, &Recipe)> = recipes.iter().enumerate().collect();
    let runs: Vec<&[(usize, &Recipe)]> = numbered.chunk_by(|a, b| same(a.1, b.1)).collect();
    let made: Vec<Vec<Record>> = runs
        .par_iter()
        .map(|run| {
            let shared = light(run[0].1);
            run.par_iter().map(|(i, recipe)| record_under(&format!("F{i:03}.dng"), recipe, &shared)).collect()
        })
        .collect();
    made.into_iter().flatten().collect()
}
