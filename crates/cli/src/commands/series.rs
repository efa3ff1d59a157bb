//! `rawassay series`.

use crate::messages::{Exit, Failure};

/// Compare the steps of a test series
#[derive(clap::Args)]
pub struct Series {}

impl Series {
    /// Runs the command.
    pub fn run(self) -> Result<Exit, Failure> {
        Err(Failure::nothing("series: not built yet"))
    }
}
