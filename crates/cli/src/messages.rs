//! What the program says on stderr, and how it ends.

#![allow(clippy::print_stderr, reason = "the one place that writes to stderr")]

use std::fmt;
use std::process::ExitCode;

use rawassay_report::table::printable;

/// How a command ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Exit {
    /// Every file measured.
    Done = 0,
    /// Nothing could be done.
    Nothing = 1,
    /// Wrong usage.
    Usage = 2,
    /// Finished, but some files could not be measured.
    SomeUnmeasured = 3,
    /// `--strict`: a frame has that outcome or worse.
    Strict = 4,
    /// The user ended it (128 + SIGINT, as shells say it).
    Interrupted = 130,
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> Self {
        Self::from(exit as u8)
    }
}

/// Why a command could not do its work: one line that names the file, what is wrong and what to do.
#[derive(Debug)]
pub struct Failure {
    exit: Exit,
    line: String,
}

impl Failure {
    /// Nothing could be done.
    pub fn nothing(line: impl Into<String>) -> Self {
        Self { exit: Exit::Nothing, line: line.into() }
    }

    /// Wrong usage.
    pub fn usage(line: impl Into<String>) -> Self {
        Self { exit: Exit::Usage, line: line.into() }
    }

    /// The user ended it.
    pub fn interrupted(line: impl Into<String>) -> Self {
        Self { exit: Exit::Interrupted, line: line.into() }
    }

    /// The exit status it leads to.
    pub fn exit(&self) -> Exit {
        self.exit
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.line)
    }
}

/// Prints an error line.
pub fn error(line: &str) {
    eprintln!("error: {}", printable(line));
}

/// Prints a line that is no error.
pub fn say(line: &str) {
    eprintln!("{line}");
}

/// Prints a line that the user should see, though the work goes on.
pub fn warning(line: &str) {
    eprintln!("note: {line}");
}
