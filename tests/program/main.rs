//! The built program as a user runs it, one module per command.
#![allow(clippy::unwrap_used, clippy::print_stderr)]

mod archive;
mod cull;
mod hostile;
mod sensor;
mod tutorial;

use std::path::{Path, PathBuf};
use std::process::Command;

/// The program, built by the same `cargo test --workspace`.
fn program() -> PathBuf {
    let test = std::env::current_exe().unwrap();
    let built = test.parent().and_then(Path::parent).unwrap().join(format!("rawassay{}", std::env::consts::EXE_SUFFIX));
    assert!(built.exists(), "{}: build it first (cargo build -p rawassay)", built.display());
    built
}

/// Runs the program in a folder: exit status, stdout, stderr.
pub(crate) fn run(folder: &Path, arguments: &[&str]) -> (i32, String, String) {
    let done = Command::new(program()).args(arguments).current_dir(folder).output().unwrap();
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (done.status.code().unwrap(), text(&done.stdout), text(&done.stderr))
}
