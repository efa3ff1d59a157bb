//! One line per frame: all that was measured, so that everything asked later needs no raw file.

use std::collections::HashMap;
use std::io::BufRead;
use std::path::Path;

use rawassay_analysis::{Measures, Subject};
use rawassay_decode::{Reader, Shot};
use serde::{Deserialize, Serialize};

use crate::error::ReportError;

/// Version of the record's line format.
pub const RECORD_VERSION: u32 = 1;

/// Status of a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Status {
    /// Decoded whole and measured.
    Measured,
    /// Decoded, but part of the sensor data is missing or constant.
    Damaged,
    /// Not decoded.
    Unreadable,
}

/// What identifies a file's content.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct FileId {
    /// Size, bytes.
    pub size: u64,
    /// Modification time, RFC 3339 UTC with nanoseconds; `None` where the file system does not tell.
    pub mtime: Option<String>,
    /// BLAKE3 over the size and blocks spread over the file, hexadecimal: survives renaming. Empty where the file
    /// could not be read.
    pub hash: String,
}

/// One frame as measured.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Record {
    /// [`RECORD_VERSION`].
    pub record: u32,
    /// `rawassay_analysis::MEASURES_VERSION` of the program that measured it.
    pub measures_version: u32,
    /// Path as given.
    pub file: String,
    /// Content identity.
    pub file_id: FileId,
    /// Status.
    pub status: Status,
    /// One line where the file could not be read or is damaged.
    pub error: Option<String>,
    /// Notes of the reader.
    pub notes: Vec<String>,
    /// Which back end read it.
    pub decoder: Option<Reader>,
    /// Shot data; `None` for an unreadable file.
    pub shot: Option<Shot>,
    /// Measures; `None` for an unreadable file.
    pub measures: Option<Measures>,
}

impl Record {
    /// What is judged of it.
    #[must_use]
    pub fn subject(&self) -> Subject<'_> {
        let damaged = (self.status == Status::Damaged).then(|| self.error.as_deref().unwrap_or("no reason kept"));
        Subject { shot: self.shot.as_ref(), measures: self.measures.as_ref(), damaged }
    }
}

/// Reads a record: the last line of each file wins, in the order in which files first appear. A torn last line is
/// passed over.
///
/// # Errors
/// Where the file cannot be read, or a line other than the last is not a record.
pub fn read(path: &Path) -> Result<Vec<Record>, ReportError> {
    let io = |source| ReportError::Io { path: path.to_path_buf(), source };
    let file = std::fs::File::open(path).map_err(io)?;
    let mut records: Vec<Record> = Vec::new();
    let mut place: HashMap<String, usize> = HashMap::new();
    let mut torn: Option<(usize, serde_json::Error)> = None;
    for (number, line) in std::io::BufReader::new(file).split(b'\n').enumerate() {
        let line = line.map_err(io)?;
        if let Some((number, source)) = torn.take() {
            return Err(ReportError::Line { path: path.to_path_buf(), line: number + 1, source });
        }
        if line.iter().all(u8::is_ascii_whitespace) {
            continue;
        }
        match serde_json::from_slice::<Record>(&line) {
            Ok(record) => match place.get(&record.file) {
                Some(&at) => records[at] = record,
                None => {
                    place.insert(record.file.clone(), records.len());
                    records.push(record);
                }
            },
            Err(source) => torn = Some((number, source)),
        }
    }
    Ok(records)
}
