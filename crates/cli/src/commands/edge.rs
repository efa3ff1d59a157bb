//! `rawassay edge`.

use crate::messages::{Exit, Failure};

/// Measure a slanted edge of a test target
#[derive(clap::Args)]
pub struct Edge {}

impl Edge {
    /// Runs the command.
    pub fn run(self) -> Result<Exit, Failure> {
        Err(Failure::nothing("edge: not built yet"))
    }
}
