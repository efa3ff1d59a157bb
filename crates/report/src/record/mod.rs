//! One line per frame: all that was measured, so that everything asked later needs no raw file.
//!
//! A record is a text file of JSON lines that only grows. The last line of each file wins; a line may say which
//! earlier place of the same file it replaces (the file was moved). A line torn by a power cut is passed over.

mod index;
mod place;
mod store;
mod stream;

pub use index::{Entry, RecordIndex};
pub use place::{display_name, key_of_path, name_order, path_of_uri, uri_of_path};
pub use store::RecordStore;
pub use stream::{Records, read, stream, streams};

use std::path::{Path, PathBuf};

use rawassay_analysis::{MEASURES_VERSION, Measures, Subject};
use rawassay_decode::{Reader, Shot};
use serde::{Deserialize, Serialize};

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
#[derive(Debug, Clone, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
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
    /// Path as given (bytes that are no text are shown as U+FFFD; `uri` has them).
    pub file: String,
    /// Absolute place as a file URI (RFC 8089), byte by byte: where the file can be opened again.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub uri: Option<String>,
    /// The URI under which an earlier line of this record knows the same file, which has moved since.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub moved_from: Option<String>,
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
    /// The record of a file that could not be read, with the reason in one line.
    #[must_use]
    pub fn unreadable(path: &Path, file_id: FileId, error: impl Into<String>) -> Self {
        Self {
            record: RECORD_VERSION,
            measures_version: MEASURES_VERSION,
            file: display_name(path),
            uri: uri_of_path(path),
            moved_from: None,
            file_id,
            status: Status::Unreadable,
            error: Some(error.into()),
            notes: Vec::new(),
            decoder: None,
            shot: None,
            measures: None,
        }
    }

    /// What is judged of it.
    #[must_use]
    pub fn subject(&self) -> Subject<'_> {
        let damaged = (self.status == Status::Damaged).then(|| self.error.as_deref().unwrap_or("no reason kept"));
        Subject { shot: self.shot.as_ref(), measures: self.measures.as_ref(), damaged }
    }

    /// Puts the file at another path, as given by the user.
    pub fn set_path(&mut self, path: &Path) {
        self.file = display_name(path);
        self.uri = uri_of_path(path);
    }

    /// The path to open: the absolute one where the record has it, else the one given.
    #[must_use]
    pub fn path(&self) -> PathBuf {
        self.uri.as_deref().and_then(path_of_uri).unwrap_or_else(|| PathBuf::from(&self.file))
    }

    /// The path to open, where there still is a file: the absolute place, the path as given, or the same path or
    /// name seen from the record's own folder (a drive that is mounted elsewhere now).
    #[must_use]
    pub fn locate(&self, record: &Path) -> Option<PathBuf> {
        let beside = record.parent().unwrap_or_else(|| Path::new(""));
        let given = PathBuf::from(&self.file);
        let mut places = vec![self.path(), given.clone(), beside.join(&given)];
        places.extend(given.file_name().map(|name| beside.join(name)));
        places.into_iter().find(|place| place.is_file())
    }

    /// What names this frame within a record.
    #[must_use]
    pub fn key(&self) -> &str {
        self.uri.as_deref().unwrap_or(&self.file)
    }
}
