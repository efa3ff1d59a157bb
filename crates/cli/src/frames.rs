//! Records joined with a brief: what `series`, `sets` and `cull` work on.

use std::path::{Path, PathBuf};

use rawassay_analysis::crop::Crop;
use rawassay_analysis::{Brief, FrameRow, Judgement, RowMaker, judge, without_copies};
use rawassay_report::record::Records;
use rawassay_report::{Record, Status, record};

use crate::messages::{self, Failure};

/// "exhibition (30 x 40 in)".
pub fn brief_text(brief: &Brief) -> String {
    brief.title()
}

/// Opens records to be read one after the other (of a frame that stands in several the last counts), and says where what
/// stands in them was measured otherwise than this program measures. All are opened before a word is written: a wrong name
/// must leave nothing half said.
pub fn streams(paths: &[PathBuf]) -> Result<Vec<Records>, Failure> {
    let records = record::streams(paths).map_err(|e| Failure::nothing(e.to_string()))?;
    for one in &records {
        warn_of_outdated(one.path(), one.outdated(), one.len());
    }
    Ok(records)
}

/// The same; records that hold no frame at all are refused.
pub fn with_frames(paths: &[PathBuf]) -> Result<Vec<Records>, Failure> {
    let records = streams(paths)?;
    if records.iter().all(|one| one.len() == 0) {
        return Err(no_frame(paths));
    }
    Ok(records)
}

/// Numbers of two versions of the measures are not to be held against each other unawares.
pub fn warn_of_outdated(path: &Path, outdated: usize, frames: usize) {
    if outdated > 0 {
        messages::warning(&format!(
            "{}: {outdated} of {frames} frames {} measured by another version of rawassay, whose numbers may differ; audit again \
             to measure them anew",
            path.display(),
            if outdated == 1 { "was" } else { "were" }
        ));
    }
}

/// Reads records frame by frame, judges each, and holds only what `keep` makes of it (it is told which record the frame
/// stands in). With a crop that part of each frame is judged.
pub fn each<T>(
    paths: &[PathBuf],
    brief: &Brief,
    crop: Option<Crop>,
    mut keep: impl FnMut(&Record, &Judgement, &Path) -> T,
) -> Result<Vec<T>, Failure> {
    let mut kept: Vec<T> = Vec::new();
    for (records, path) in with_frames(paths)?.into_iter().zip(paths) {
        for record in records {
            let record = record.map_err(|e| Failure::nothing(e.to_string()))?;
            let part = crop.and_then(|crop| crop.of(record.shot.as_ref()));
            kept.push(keep(&record, &judge::judge(&record.subject(), brief, part), path));
        }
    }
    Ok(kept)
}

/// What is said of records without a frame.
pub fn no_frame(paths: &[PathBuf]) -> Failure {
    let names: Vec<String> = paths.iter().map(|p| p.display().to_string()).collect();
    Failure::nothing(format!("{}: no frame in it; run audit first", names.join(", ")))
}

/// Reads records for series and sets, which hold the frames they compare: one small row for each that could be read. Of
/// files that are copies of each other the first counts: a sentence says so.
pub fn rows(paths: &[PathBuf], brief: &Brief) -> Result<(Vec<FrameRow>, Option<String>), Failure> {
    let mut rows: Vec<FrameRow> = Vec::new();
    let mut maker = RowMaker::default();
    for records in with_frames(paths)? {
        rows.reserve_exact(records.len());
        for record in records {
            let record = record.map_err(|e| Failure::nothing(e.to_string()))?;
            rows.extend(row(&mut maker, &record, brief));
        }
    }
    Ok(without_copies(rows))
}

/// The row of a frame; `None` where it could not be read.
fn row(maker: &mut RowMaker, record: &Record, brief: &Brief) -> Option<FrameRow> {
    let (shot, measures) = (record.shot.as_ref()?, record.measures.as_ref()?);
    let judgement = judge::judge(&record.subject(), brief, None);
    let row = maker.row(&record.file, shot, measures, &judgement, record.status == Status::Damaged);
    Some(row.identified(&record.file_id.hash))
}
