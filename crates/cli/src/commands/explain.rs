//! `rawassay explain`.

use crate::messages::{Exit, Failure};

/// Explain a finding or a measure
#[derive(clap::Args)]
pub struct Explain {}

impl Explain {
    /// Runs the command.
    pub fn run(self) -> Result<Exit, Failure> {
        Err(Failure::nothing("explain: not built yet"))
    }
}
