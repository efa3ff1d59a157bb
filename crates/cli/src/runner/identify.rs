//! What the record knows of a file already, before it is measured.

use std::path::Path;
use std::sync::Mutex;

use rawassay_analysis::MEASURES_VERSION;
use rawassay_report::record::path_of_uri;
use rawassay_report::{FileId, Record, RecordStore, ReportError, Status};

/// The record's line for this content, put at this path, and whether that is news to the record: the file was touched, moved
/// or copied, not changed. `None` where it must be measured.
pub fn known_content(
    store: &Mutex<RecordStore>,
    path: &Path,
    key: &str,
    id: &FileId,
) -> Result<Option<(Record, bool)>, ReportError> {
    let store = store.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
    let here = store.index().by_key(key).filter(|e| e.file_id.hash == id.hash);
    let Some(entry) = here.or_else(|| store.index().by_hash(&id.hash)) else { return Ok(None) };
    if entry.measures_version != MEASURES_VERSION {
        return Ok(None);
    }
    // What could not be read whole gets a second look when its file was written again: the copy may be good now.
    if entry.status != Status::Measured && entry.file_id.mtime != id.mtime {
        return Ok(None);
    }
    let old_key = entry.key.to_string();
    let news = old_key != key || entry.file_id != *id;
    let Some(mut record) = store.get(&old_key)? else { return Ok(None) };
    record.set_path(path);
    record.file_id = id.clone();
    record.moved_from = None;
    if old_key != key && !path_of_uri(&old_key).is_some_and(|old| old.exists()) {
        record.moved_from = Some(old_key);
    }
    Ok(Some((record, news)))
}
