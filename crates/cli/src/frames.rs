//! Records joined with a brief: what `series`, `sets` and `cull` work on.

use std::collections::HashMap;
use std::path::PathBuf;

use rawassay_analysis::{Brief, ClippingMap, FrameView, Judgement, Subject, judge};
use rawassay_report::{Record, Status, record};

use crate::messages::Failure;

/// One frame as recorded and judged.
pub struct Judged {
    /// Its line in the record, without what only crops need.
    pub record: Record,
    /// What the brief says of it.
    pub judgement: Judgement,
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
}

/// The brief of that name or file.
pub fn brief(name: &str) -> Result<Brief, Failure> {
    Brief::find(name).map_err(|e| Failure::usage(e.to_string()))
}

/// "exhibition (30 x 40 in)".
pub fn brief_text(brief: &Brief) -> String {
    format!("{} ({})", brief.name, brief.size_text())
}

/// Reads records and judges each frame; of a file that stands in several records the last counts.
pub fn load(paths: &[PathBuf], brief: &Brief) -> Result<Vec<Judged>, Failure> {
    let mut frames: Vec<Judged> = Vec::new();
    let mut place: HashMap<String, usize> = HashMap::new();
    for path in paths {
        for record in record::stream(path).map_err(|e| Failure::nothing(e.to_string()))? {
            let judged = judged(record.map_err(|e| Failure::nothing(e.to_string()))?, brief);
            match place.get(&judged.record.file) {
                Some(&at) => frames[at] = judged,
                None => {
                    place.insert(judged.record.file.clone(), frames.len());
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

fn judged(mut record: Record, brief: &Brief) -> Judged {
    let damaged = (record.status == Status::Damaged)
        .then(|| record.error.clone().unwrap_or_else(|| "part of the sensor data is missing".to_string()));
    let subject =
        Subject { shot: record.shot.as_ref(), measures: record.measures.as_ref(), damaged: damaged.as_deref() };
    let judgement = judge::judge(&subject, brief, None);
    // Judged whole: what only a crop asks for need not stay in memory, thousands of times over.
    if let Some(measures) = &mut record.measures {
        measures.clipping = ClippingMap::default();
    }
    Judged { record, judgement }
}
