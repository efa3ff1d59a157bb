//! `rawassay page`.

use crate::messages::{Exit, Failure};

/// Write web pages with pictures and plots
#[derive(clap::Args)]
pub struct Page {}

impl Page {
    /// Runs the command.
    pub fn run(self) -> Result<Exit, Failure> {
        Err(Failure::nothing("page: not built yet"))
    }
}
