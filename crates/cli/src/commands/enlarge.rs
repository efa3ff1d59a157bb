//! `rawassay enlarge`.

use crate::messages::{Exit, Failure};

/// Show a ladder of print sizes and what each asks of the frame
#[derive(clap::Args)]
pub struct Enlarge {}

impl Enlarge {
    /// Runs the command.
    pub fn run(self) -> Result<Exit, Failure> {
        Err(Failure::nothing("enlarge: not built yet"))
    }
}
