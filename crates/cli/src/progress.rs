//! Progress on stderr: a bar with the time left on a terminal, nothing elsewhere.

use std::path::Path;
use std::time::Duration;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use rawassay_report::table::printable;

use crate::messages;

/// How far a run is.
pub struct Progress {
    bar: ProgressBar,
    verbose: bool,
}

impl Progress {
    /// Progress over that many frames. Shown when stderr is a terminal and `quiet` is not set; with `verbose` each
    /// frame gets its line, on a terminal or not.
    pub fn new(frames: usize, quiet: bool, verbose: bool) -> Self {
        // The draw target hides itself where stderr is no terminal.
        let target = if quiet { ProgressDrawTarget::hidden() } else { ProgressDrawTarget::stderr_with_hz(5) };
        let bar = ProgressBar::with_draw_target(Some(frames as u64), target);
        if let Ok(style) = ProgressStyle::with_template("measuring {pos} of {len} [{wide_bar}] {eta} left  {msg}") {
            bar.set_style(style.progress_chars("=> "));
        }
        bar.enable_steady_tick(Duration::from_millis(500));
        Self { bar, verbose }
    }

    /// One frame more.
    pub fn frame(&self, path: &Path, what: &str) {
        if self.verbose {
            let line = printable(&format!("{}: {what}", path.display()));
            self.bar.suspend(|| messages::say(&line));
        }
        let name = path.file_name().map(|n| printable(&n.to_string_lossy())).unwrap_or_default();
        self.bar.set_message(name);
        self.bar.inc(1);
    }

    /// Takes the bar away.
    pub fn end(&self) {
        self.bar.finish_and_clear();
    }
}
