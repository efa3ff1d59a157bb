//! Scorecards, the record they are made from, and what is written from them. Never computes, never opens raw files.

pub mod error;
pub mod page;
pub mod plot;
pub mod record;
pub mod scorecard;
pub mod sidecar;

pub use error::ReportError;
pub use record::{FileId, Record, Status};
pub use scorecard::{Range, Scorecard};
