//! Scorecards, the record they are made from, and what is written from them. Never computes, never opens raw files.

pub mod cards_table;
pub mod csv;
pub mod error;
pub mod fields;
pub mod json;
pub mod numbers;
pub mod page;
pub mod plot;
pub mod record;
#[cfg(test)]
mod samples;
pub mod schema;
pub mod scorecard;
pub mod sidecar;
pub mod table;
pub mod writer;

pub use error::{ReportError, plain_cause};
pub use record::{FileId, Record, RecordStore, Records, Status};
pub use scorecard::{Range, Scorecard};
pub use table::{Table, TableStyle};
pub use writer::{Format, ScorecardWriter, Totals};
