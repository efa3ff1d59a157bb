//! `rawassay demo`.

use crate::messages::{Exit, Failure};

/// Make a small simulated shoot as DNG files, audit it and write its pages
#[derive(clap::Args)]
pub struct Demo {}

impl Demo {
    /// Runs the command.
    pub fn run(self) -> Result<Exit, Failure> {
        Err(Failure::nothing("demo: not built yet"))
    }
}
