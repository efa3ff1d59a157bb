//! `rawassay sensor`.

use crate::messages::{Exit, Failure};

/// Measure the sensor from flat and dark frames
#[derive(clap::Args)]
pub struct Sensor {}

impl Sensor {
    /// Runs the command.
    pub fn run(self) -> Result<Exit, Failure> {
        Err(Failure::nothing("sensor: not built yet"))
    }
}
