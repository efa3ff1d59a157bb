//! Records joined with a brief: what `series`, `sets` and `cull` work on.

use std::collections::{HashMap, HashSet};
use std::fs::File;
use std::io::BufReader;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use rawassay_analysis::crop::Crop;
use rawassay_analysis::{Brief, FrameRow, Judgement, RowMaker, judge, without_copies};
use rawassay_report::record::{RecordIndex, Records};
use rawassay_report::{Record, Status, plain_cause, record};

use crate::messages::{self, Failure};

/// "exhibition (30 x 40 in)".
pub fn brief_text(brief: &Brief) -> String {
    brief.title()
}

/// Opens a record, and says where what stands in it was measured otherwise than this program measures.
pub fn stream(path: &Path) -> Result<Records, Failure> {
    let records = record::stream(path).map_err(|e| Failure::nothing(e.to_string()))?;
    warn_of_outdated(path, records.outdated(), records.len());
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

/// Which of several records counts for a frame that stands in more than one: the last.
#[derive(Debug, Default)]
pub struct LastRecords(HashMap<Arc<str>, usize>);

impl LastRecords {
    /// True where the frame counts as it stands in the record of this number.
    pub fn counts(&self, record: &Record, at: usize) -> bool {
        self.0.get(record.key()).is_none_or(|last| *last == at)
    }
}

/// Looks where the frames of several records stand, before the records are read one after the other.
pub fn last_records(paths: &[PathBuf]) -> Result<LastRecords, Failure> {
    let mut last = LastRecords::default();
    // Within one record each file comes once.
    if paths.len() > 1 {
        for (at, path) in paths.iter().enumerate() {
            let fail = |what: String| Failure::nothing(format!("{}: cannot be read: {what}", path.display()));
            let file = File::open(path).map_err(|e| fail(plain_cause(&e)))?;
            let index = RecordIndex::read(path, BufReader::new(file)).map_err(|e| Failure::nothing(e.to_string()))?;
            last.0.extend(index.iter().map(|entry| (Arc::clone(&entry.key), at)));
        }
    }
    Ok(last)
}

/// Reads records frame by frame, judges each, and holds only what `keep` makes of it (it is told which record the frame
/// stands in); of a file that stands in several records the last counts. With a crop that part of each frame is judged.
pub fn each<T>(
    paths: &[PathBuf],
    brief: &Brief,
    crop: Option<Crop>,
    mut keep: impl FnMut(&Record, &Judgement, &Path) -> T,
) -> Result<Vec<T>, Failure> {
    let mut kept: Vec<T> = Vec::new();
    let mut place: HashMap<String, usize> = HashMap::new();
    for path in paths {
        for record in stream(path)? {
            let record = record.map_err(|e| Failure::nothing(e.to_string()))?;
            let part = crop.and_then(|crop| crop.of(record.shot.as_ref()));
            let judgement = judge::judge(&record.subject(), brief, part);
            let frame = keep(&record, &judgement, path);
            match place.get(record.key()) {
                Some(&at) => kept[at] = frame,
                None => {
                    // Within one record each file comes once.
                    if paths.len() > 1 {
                        place.insert(record.key().to_string(), kept.len());
                    }
                    kept.push(frame);
                }
            }
        }
    }
    if kept.is_empty() {
        return Err(no_frame(paths));
    }
    Ok(kept)
}

/// What is said of records without a frame.
pub fn no_frame(paths: &[PathBuf]) -> Failure {
    let names: Vec<String> = paths.iter().map(|p| p.display().to_string()).collect();
    Failure::nothing(format!("{}: no frame in it; run audit first", names.join(", ")))
}

/// Reads records for series and sets, which hold the frames they compare: one small row for each that could be read. Of a
/// file that stands in several records the last counts, and of files that are copies of each other the first: a sentence
/// says so.
pub fn rows(paths: &[PathBuf], brief: &Brief) -> Result<(Vec<FrameRow>, Option<String>), Failure> {
    let mut rows: Vec<FrameRow> = Vec::new();
    let mut place: HashMap<String, usize> = HashMap::new();
    let mut gone: HashSet<usize> = HashSet::new();
    let mut maker = RowMaker::default();
    let mut frames = 0;
    for path in paths {
        let records = stream(path)?;
        frames += records.len();
        rows.reserve_exact(records.len());
        for record in records {
            let record = record.map_err(|e| Failure::nothing(e.to_string()))?;
            let row = row(&mut maker, &record, brief);
            // Within one record each file comes once.
            let at = place.get(record.key()).copied().unwrap_or(rows.len());
            match row {
                Some(row) if at < rows.len() => {
                    gone.remove(&at);
                    rows[at] = row;
                }
                Some(row) => {
                    rows.push(row);
                    if paths.len() > 1 {
                        place.insert(record.key().to_string(), at);
                    }
                }
                None if at < rows.len() => drop(gone.insert(at)),
                None => {}
            }
        }
    }
    if frames == 0 {
        return Err(no_frame(paths));
    }
    let mut number = 0..;
    rows.retain(|_| number.next().is_none_or(|at| !gone.contains(&at)));
    Ok(without_copies(rows))
}

/// The row of a frame; `None` where it could not be read.
fn row(maker: &mut RowMaker, record: &Record, brief: &Brief) -> Option<FrameRow> {
    let (shot, measures) = (record.shot.as_ref()?, record.measures.as_ref()?);
    let judgement = judge::judge(&record.subject(), brief, None);
    let row = maker.row(&record.file, shot, measures, &judgement, record.status == Status::Damaged);
    Some(row.identified(&record.file_id.hash))
}
