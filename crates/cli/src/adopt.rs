//! Measures taken over from another record: a new place for the record is no reason to measure a shoot again.

use std::collections::HashMap;
use std::fs::File;
use std::io::BufReader;
use std::path::Path;

use rawassay_analysis::MEASURES_VERSION;
use rawassay_report::record::RecordIndex;
use rawassay_report::{RecordStore, ReportError, record};

use crate::identity;
use crate::walk::Found;

/// Takes over what the record `from` knows of these files, by place, size and time, and the record at hand does not.
/// Gives their number; a file that is no record gives nothing.
///
/// # Errors
/// Where the record at hand cannot be written.
pub fn adopt(from: &Path, files: &[Found], store: &mut RecordStore) -> Result<usize, ReportError> {
    let Ok(records) = record::stream(from) else { return Ok(0) };
    let wanted: HashMap<&str, &Found> = files
        .iter()
        .filter(|found| store.index().by_key(&found.key).is_none())
        .map(|found| (found.key.as_str(), found))
        .collect();
    if wanted.is_empty() {
        return Ok(0);
    }
    let index = File::open(from).ok().and_then(|file| RecordIndex::read(from, BufReader::new(file)).ok());
    let index = index.unwrap_or_default();
    let twins = identity::twins(index.iter().map(|entry| &entry.file_id));
    let mut adopted = 0;
    for record in records.flatten() {
        let Some(found) = wanted.get(record.key()) else { continue };
        let id = &record.file_id;
        let seen = std::fs::metadata(&found.path).is_ok_and(|facts| {
            let now = identity::quick(&facts);
            facts.is_file() && now.size == id.size && now.mtime == id.mtime
        });
        // What the quick look cannot tell apart is told by its content.
        let same =
            || !twins.contains(&identity::look(id)) || identity::identify(&found.path).is_ok_and(|now| now == *id);
        let whole = record.measures_version == MEASURES_VERSION && !id.hash.is_empty() && id.mtime.is_some();
        let unchanged = whole && seen && same();
        if unchanged {
            store.append(&record)?;
            adopted += 1;
        }
    }
    Ok(adopted)
}
