//! `rawassay judge`.

use crate::messages::{Exit, Failure};

/// Judge again from the record, without reading a raw file
#[derive(clap::Args)]
pub struct Judge {}

impl Judge {
    /// Runs the command.
    pub fn run(self) -> Result<Exit, Failure> {
        Err(Failure::nothing("judge: not built yet"))
    }
}
