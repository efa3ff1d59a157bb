//! `completions`: what a shell needs to complete commands and options.

use std::io::{self, Write};

use clap::{Args, Command};

use crate::messages::{Exit, Failure};
use crate::output::plain_cause;

/// Print the completions of a shell
#[derive(Args)]
pub struct Completions {
    /// The shell
    #[arg(value_name = "SHELL", value_enum)]
    shell: clap_complete::Shell,
}

impl Completions {
    /// Prints them for `command`, the whole program.
    pub fn run(self, mut command: Command) -> Result<Exit, Failure> {
        let mut text = Vec::new();
        clap_complete::generate(self.shell, &mut command, "rawassay", &mut text);
        io::stdout().write_all(&text).map_err(|e| Failure::nothing(format!("stdout: {}", plain_cause(&e))))?;
        Ok(Exit::Done)
    }
}
