//! What can go wrong between a record and what is written from it.

use std::path::PathBuf;

/// Errors of this crate.
#[derive(Debug, thiserror::Error)]
pub enum ReportError {
    /// Reading or writing failed.
    #[error("{}: {source}", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// The cause.
        source: std::io::Error,
    },
    /// A line of a record is not a record.
    #[error("{}: line {line} is not a rawassay record ({source}); was the file edited?", path.display())]
    Line {
        /// The record.
        path: PathBuf,
        /// Line number from 1.
        line: usize,
        /// The cause.
        source: serde_json::Error,
    },
    /// A scorecard could not be put into its format.
    #[error("cannot put a scorecard into its format: {0}")]
    Format(#[from] serde_json::Error),
}
