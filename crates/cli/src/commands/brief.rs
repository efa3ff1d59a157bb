//! `rawassay brief`.

use crate::messages::{Exit, Failure};

/// List, show or check the output briefs
#[derive(clap::Args)]
pub struct Brief {}

impl Brief {
    /// Runs the command.
    pub fn run(self) -> Result<Exit, Failure> {
        Err(Failure::nothing("brief: not built yet"))
    }
}
