//! Progress on stderr: a bar with the time left on a terminal, nothing elsewhere.

use std::fmt::Write;
use std::path::Path;
use std::time::Duration;

use indicatif::{HumanDuration, ProgressBar, ProgressDrawTarget, ProgressState, ProgressStyle};
use rawassay_report::table::printable;

use crate::messages;

/// The time left in words; nothing before the first frame is done, when nobody knows it.
fn time_left(done: u64, left: Duration) -> String {
    if done == 0 { String::new() } else { format!("{:#} left", HumanDuration(left)) }
}

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
        if let Ok(style) = ProgressStyle::with_template("measuring {pos} of {len} [{wide_bar}] {left}  {msg}") {
            let left = |state: &ProgressState, out: &mut dyn Write| {
                let _ = out.write_str(&time_left(state.pos(), state.eta()));
            };
            bar.set_style(style.with_key("left", left).progress_chars("=> "));
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_time_is_promised_before_a_frame_is_done() {
        assert_eq!(time_left(0, Duration::ZERO), "");
        assert_eq!(time_left(1, Duration::from_secs(95)), "2m left");
        assert_eq!(time_left(5, Duration::from_secs(9)), "9s left");
    }
}
