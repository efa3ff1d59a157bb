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
        let fail = |e: std::io::Error| {
            Failure::nothing(format!("{}: cannot write man pages: {}", self.out.display(), plain_cause(&e)))
        };
        std::fs::create_dir_all(&self.out).map_err(fail)?;
        // Aside first: what stands in the way is seen before anything is replaced.
        let aside = tempfile::Builder::new().prefix(".rawassay-").tempdir_in(&self.out).map_err(fail)?;
        clap_mangen::generate_to(command, aside.path()).map_err(fail)?;
        let mut pages = Vec::new();
        for entry in std::fs::read_dir(aside.path()).map_err(fail)? {
            let page = entry.map_err(fail)?;
            let to = self.out.join(page.file_name());
            if std::fs::metadata(&to).is_ok_and(|facts| facts.len() > 0) && !is_ours(&to) {
                return Err(Failure::usage(format!(
                    "{}: is there already, and rawassay did not write it; name another folder",
                    to.display()
                )));
            }
            pages.push((page.path(), to));
        }
        for (from, to) in pages {
            std::fs::rename(from, to).map_err(fail)?;
        }
        messages::say(&format!("man pages written; read them with: man {}", self.out.join("rawassay.1").display()));
        Ok(Exit::Done)
    }
}

/// True where the file is a man page of this program.
fn is_ours(path: &std::path::Path) -> bool {
    std::fs::read_to_string(path).is_ok_and(|text| text.lines().take(8).any(|line| line.starts_with(".TH rawassay")))
}
