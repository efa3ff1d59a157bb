//! `completions`: what a shell needs to complete commands and options.

use clap::{Args, Command};

use crate::messages::{Exit, Failure};
use crate::output;

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
        output::print(&String::from_utf8_lossy(&text))?;
        Ok(Exit::Done)
    }
}
