//! Reading a record: one frame at a time, with memory for names and places only.

use std::fs::File;
use std::io::{BufReader, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};

use rawassay_analysis::MEASURES_VERSION;

use super::{Entry, Record, RecordIndex, name_order};
use crate::error::ReportError;

/// The frames of a record, each once, in name order. Made by [`stream`].
#[derive(Debug)]
pub struct Records {
    path: PathBuf,
    file: File,
    entries: std::vec::IntoIter<Entry>,
    line: Vec<u8>,
}

/// Opens a record for reading frame by frame: the last line of each file wins, files that moved count once, and the
/// order is that of the names. A torn last line is passed over.
///
/// Holds about 300 bytes for each frame; the measures of one frame at a time.
///
/// # Errors
/// Where the file cannot be read or is no record. Iterating gives an error where a line does not parse.
pub fn stream(path: &Path) -> Result<Records, ReportError> {
    let io = |source| ReportError::Io { path: path.to_path_buf(), source };
    let file = match File::open(path) {
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => {
            return Err(ReportError::NotARecord { path: path.to_path_buf(), what: "there is no such file" });
        }
        opened => opened.map_err(io)?,
    };
    if file.metadata().map_err(io)?.is_dir() {
        return Err(ReportError::NotARecord { path: path.to_path_buf(), what: "this is a folder" });
    }
    let mut entries = RecordIndex::read(path, BufReader::with_capacity(1 << 18, &file))?.into_entries();
    entries.sort_by(|a, b| name_order(&a.file, &b.file).then_with(|| a.key.cmp(&b.key)));
    Ok(Records { path: path.to_path_buf(), file, entries: entries.into_iter(), line: Vec::new() })
}

/// Reads a whole record into memory: [`stream`], collected.
///
/// # Errors
/// As [`stream`].
pub fn read(path: &Path) -> Result<Vec<Record>, ReportError> {
    stream(path)?.collect()
}

impl Iterator for Records {
    type Item = Result<Record, ReportError>;

    fn next(&mut self) -> Option<Self::Item> {
        let entry = self.entries.next()?;
        Some(read_entry(&self.path, &self.file, &entry, &mut self.line))
    }

    fn size_hint(&self) -> (usize, Option<usize>) {
        self.entries.size_hint()
    }
}

impl ExactSizeIterator for Records {}

/// Reads the line of one entry.
pub(super) fn read_entry(
    path: &Path,
    mut file: &File,
    entry: &Entry,
    line: &mut Vec<u8>,
) -> Result<Record, ReportError> {
    let io = |source| ReportError::Io { path: path.to_path_buf(), source };
    line.resize(entry.length, 0);
    file.seek(SeekFrom::Start(entry.offset)).map_err(io)?;
    file.read_exact(line).map_err(io)?;
    serde_json::from_slice(line).map_err(|source| {
        let path = path.to_path_buf();
        if entry.measures_version == MEASURES_VERSION {
            ReportError::Line { path, line: entry.line, source }
        } else {
            ReportError::Outdated { path, line: entry.line, found: entry.measures_version, known: MEASURES_VERSION }
        }
    })
}
