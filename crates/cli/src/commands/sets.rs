//! `rawassay sets`.

use crate::messages::{Exit, Failure};

/// Find bursts and brackets
#[derive(clap::Args)]
pub struct Sets {}

impl Sets {
    /// Runs the command.
    pub fn run(self) -> Result<Exit, Failure> {
        Err(Failure::nothing("sets: not built yet"))
    }
}
