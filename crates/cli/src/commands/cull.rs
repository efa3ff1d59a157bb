//! `rawassay cull`.

use crate::messages::{Exit, Failure};

/// List, tag or sort frames by their verdicts; raws are never changed or deleted
#[derive(clap::Args)]
pub struct Cull {}

impl Cull {
    /// Runs the command.
    pub fn run(self) -> Result<Exit, Failure> {
        Err(Failure::nothing("cull: not built yet"))
    }
}
