//! Raw files measured on the spot, for commands that are given frames: in workers, as `audit` does, but kept nowhere.

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::Mutex;

use rawassay_report::record::key_of_path;
use rawassay_report::{FileId, Record, RecordStore};

use crate::messages::Failure;
use crate::output::plain_cause;
use crate::runner::{self, Job, Limits, interrupted};

/// Measures raw files, in the order given. A file that cannot be read gives a record that says so.
///
/// # Errors
/// Where no worker can be started, or the run was stopped.
pub fn records_of(paths: &[PathBuf]) -> Result<Vec<Record>, Failure> {
    if paths.is_empty() {
        return Ok(Vec::new());
    }
    let folder = tempfile::tempdir()
        .map_err(|e| Failure::nothing(format!("cannot make a temporary folder: {}", plain_cause(&e))))?;
    let store = RecordStore::open(&folder.path().join("record.ndjson")).map_err(|e| Failure::nothing(e.to_string()))?;
    let store = Mutex::new(store);
    let key = |path: &Path| key_of_path(path);
    let jobs: Vec<Job> =
        paths.iter().enumerate().map(|(number, path)| Job { number, path: path.clone(), key: key(path) }).collect();
    let mut found: HashMap<usize, Record> = HashMap::new();
    runner::run(&jobs, &Limits::new(jobs.len(), None, None, None), &store, |outcome| {
        found.insert(outcome.number, outcome.record);
        Ok(())
    })?;
    if interrupted() {
        return Err(Failure::interrupted("stopped"));
    }
    let record = |(number, path): (usize, &PathBuf)| {
        let mut record = found
            .remove(&number)
            .unwrap_or_else(|| Record::unreadable(path, FileId::default(), "was not measured; run the command again"));
        record.set_path(path);
        record
    };
    Ok(paths.iter().enumerate().map(record).collect())
}
