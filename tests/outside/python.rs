//! Running a Python script with the reference libraries.

use std::path::PathBuf;
use std::process::Command;

/// The interpreter, or `None` (after saying so) where it is not set up.
pub(crate) fn interpreter() -> Option<PathBuf> {
    let named = std::env::var_os("RAWASSAY_PYTHON").map(PathBuf::from);
    let own = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../target/reference/bin/python");
    let found = named.or_else(|| own.exists().then_some(own));
    if found.is_none() {
        eprintln!("skipped: no reference interpreter (run tests/run.sh, or set RAWASSAY_PYTHON)");
    }
    found
}

/// Runs a script with arguments; its standard output. Panics with its error where it fails.
pub(crate) fn run(python: &PathBuf, script: &str, arguments: &[&str]) -> String {
    let done = Command::new(python)
        .args(["-c", script])
        .args(arguments)
        .env("OPENBLAS_NUM_THREADS", "1")
        .output()
        .expect("the interpreter starts");
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    String::from_utf8_lossy(&done.stdout).into_owned()
}
