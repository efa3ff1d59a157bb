//! What can go wrong between a record and what is written from it.

use std::path::PathBuf;

/// Errors of this crate.
#[derive(Debug, thiserror::Error)]
pub enum ReportError {
    /// Reading or writing failed.
    #[error("{}: {}", path.display(), plain_cause(source))]
    Io {
        /// The file.
        path: PathBuf,
        /// The cause.
        source: std::io::Error,
    },
    /// A line of a record is not a record.
    #[error("{}: line {line} is not a rawassay record ({source}); take that line out, or name another record, and audit again", path.display())]
    Line {
        /// The record.
        path: PathBuf,
        /// Line number from 1.
        line: usize,
        /// The cause.
        source: serde_json::Error,
    },
    /// The file is something else.
    #[error("{}: {what}; give the record that `audit` keeps (by default rawassay.ndjson, or *.record.ndjson beside --out)", path.display())]
    NotARecord {
        /// The file.
        path: PathBuf,
        /// What it is instead.
        what: &'static str,
    },
    /// A newer program wrote it.
    #[error("{}: line {line} was written by a newer rawassay (record version {found}, this one knows {known}); use that version, or another --record", path.display())]
    Newer {
        /// The record.
        path: PathBuf,
        /// Line number from 1.
        line: usize,
        /// Version found.
        found: u32,
        /// Version known.
        known: u32,
    },
    /// An older or newer version of the measures wrote it, in another shape.
    #[error("{}: line {line} holds measures of version {found}, this rawassay knows {known}; run `audit` again on the files", path.display())]
    Outdated {
        /// The record.
        path: PathBuf,
        /// Line number from 1.
        line: usize,
        /// Version found.
        found: u32,
        /// Version known.
        known: u32,
    },
    /// Another run holds the record.
    #[error("{}: another rawassay is writing this record; wait for it to end, or give this run its own --record", path.display())]
    Locked {
        /// The record.
        path: PathBuf,
    },
    /// Scorecards could not be written.
    #[error("cannot write the scorecards: {0}")]
    Write(#[from] std::io::Error),
    /// A scorecard could not be put into its format.
    #[error("cannot put a scorecard into its format: {0}")]
    Format(#[from] serde_json::Error),
}

/// A cause in words that say what to do, without the number of the system's error.
#[must_use]
pub fn plain_cause(error: &std::io::Error) -> String {
    match error.kind() {
        std::io::ErrorKind::StorageFull | std::io::ErrorKind::QuotaExceeded | std::io::ErrorKind::FileTooLarge => {
            "the disk is full; free some space and run the same command again".into()
        }
        std::io::ErrorKind::ReadOnlyFilesystem => "the disk is read-only; name a place that can be written".into(),
        std::io::ErrorKind::PermissionDenied => "no permission; name a place that you may use".into(),
        std::io::ErrorKind::NotFound => "no such file or folder; check the name".into(),
        _ => {
            let text = error.to_string();
            text.split([';', '(']).next().unwrap_or(&text).trim_end().to_owned()
        }
    }
}

impl ReportError {
    /// True where the reader of our output went away (`rawassay ... | head`): no fault, an end.
    #[must_use]
    pub fn is_broken_pipe(&self) -> bool {
        match self {
            Self::Write(source) | Self::Io { source, .. } => source.kind() == std::io::ErrorKind::BrokenPipe,
            Self::Format(source) => source.io_error_kind() == Some(std::io::ErrorKind::BrokenPipe),
            _ => false,
        }
    }
}
