//! `manual`: the help as man pages.

use std::path::PathBuf;

use clap::{Args, Command};

use crate::messages::{self, Exit, Failure};
use crate::output::plain_cause;

/// Write the man pages
#[derive(Args)]
pub struct Manual {
    /// Folder for the pages, made where there is none
    #[arg(long, value_name = "FOLDER")]
    out: PathBuf,
}

impl Manual {
    /// Writes a page for `command`, the whole program, and one for each of its commands.
    pub fn run(self, command: Command) -> Result<Exit, Failure> {
        let written = std::fs::create_dir_all(&self.out).and_then(|()| clap_mangen::generate_to(command, &self.out));
        written.map_err(|e| {
            Failure::nothing(format!("{}: cannot write man pages: {}", self.out.display(), plain_cause(&e)))
        })?;
        messages::say(&format!("man pages written; read them with: man {}", self.out.join("rawassay.1").display()));
        Ok(Exit::Done)
    }
}
