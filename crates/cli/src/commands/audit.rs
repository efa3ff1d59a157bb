//! `rawassay audit`.

use crate::messages::{Exit, Failure};

/// Measure every raw file below the paths and judge each by the brief
#[derive(clap::Args)]
pub struct Audit {}

impl Audit {
    /// Runs the command.
    pub fn run(self) -> Result<Exit, Failure> {
        Err(Failure::nothing("audit: not built yet"))
    }
}
