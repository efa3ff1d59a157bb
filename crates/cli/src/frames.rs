//! Records joined with a brief: what `series`, `sets` and `cull` work on.

use std::collections::HashMap;
use std::path::{Path, PathBuf};

use rawassay_analysis::{Brief, ClippingMap, FrameView, Judgement, judge};
use rawassay_report::{Record, Status, record};

use crate::messages::Failure;

/// One frame as recorded and judged.
pub struct Judged {
    /// Its line in the record, without what only crops need.
    pub record: Record,
    /// What the brief says of it.
    pub judgement: Judgement,
    /// Which of the records it stands in.
    source: PathBuf,
}

impl Judged {
    /// The frame for series and sets; `None` where it could not be read.
    pub fn view(&self) -> Option<FrameView<'_>> {
        Some(FrameView {
            file: &self.record.file,
            shot: self.record.shot.as_ref()?,
            measures: self.record.measures.as_ref()?,
            judgement: &self.judgement,
            damaged: self.record.status == Status::Damaged,
        })
    }

    /// Where the file is now; where it was when it cannot be found.
    pub fn place(&self) -> PathBuf {
        self.record.locate(&self.source).unwrap_or_else(|| self.record.path())
    }
}

/// The brief of that name or file.
pub fn brief(name: &str) -> Result<Brief, Failure> {
    crate::commands::brief::find(name)
}

/// "exhibition (30 x 40 in)".
pub fn brief_text(brief: &Brief) -> String {
    brief.title()
}

/// Reads records and judges each frame; of a file that stands in several records the last counts.
pub fn load(paths: &[PathBuf], brief: &Brief) -> Result<Vec<Judged>, Failure> {
    let mut frames: Vec<Judged> = Vec::new();
    let mut place: HashMap<String, usize> = HashMap::new();
    for path in paths {
        for record in record::stream(path).map_err(|e| Failure::nothing(e.to_string()))? {
            let judged = judged(record.map_err(|e| Failure::nothing(e.to_string()))?, brief, path);
            match place.get(judged.record.key()) {
                Some(&at) => frames[at] = judged,
                None => {
                    place.insert(judged.record.key().to_string(), frames.len());
                    frames.push(judged);
                }
            }
        }
    }
    if frames.is_empty() {
        let names: Vec<String> = paths.iter().map(|p| p.display().to_string()).collect();
        return Err(Failure::nothing(format!("{}: no frame in it; run audit first", names.join(", "))));
    }
    Ok(frames)
}

fn judged(mut record: Record, brief: &Brief, source: &Path) -> Judged {
    let judgement = judge::judge(&record.subject(), brief, None);
    // Judged whole: what only a crop asks for need not stay in memory, thousands of times over.
    if let Some(measures) = &mut record.measures {
        measures.clipping = ClippingMap::default();
    }
    Judged { record, judgement, source: source.to_path_buf() }
}
