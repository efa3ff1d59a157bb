//! One raw file measured on the spot, for commands that are given a frame.

use std::path::Path;

use rawassay_decode::Integrity;
use rawassay_report::record::RECORD_VERSION;
use rawassay_report::{FileId, Record, Status};

/// Measures one raw file. A file that cannot be read gives a record that says so.
pub fn record_of(path: &Path) -> Record {
    let id = FileId { size: std::fs::metadata(path).map_or(0, |m| m.len()), mtime: None, hash: String::new() };
    let frame = match rawassay_decode::open(path) {
        Ok(frame) => frame,
        Err(error) => return Record::unreadable(path, id, error.to_string()),
    };
    let (status, error) = match &frame.integrity {
        Integrity::Whole => (Status::Measured, None),
        Integrity::Damaged { reason } => (Status::Damaged, Some(reason.clone())),
    };
    let measures = rawassay_analysis::measure(&frame);
    let mut record = Record::unreadable(path, id, String::new());
    record.record = RECORD_VERSION;
    (record.status, record.error) = (status, error);
    record.notes = frame.notes;
    record.decoder = Some(frame.reader);
    record.shot = Some(frame.shot);
    record.measures = Some(measures);
    record
}
