//! Frames from simulated files against what was simulated; damage and hostile input against what must not happen.
#![allow(clippy::unwrap_used, clippy::print_stderr)]

mod broken_files;
mod damage;
mod hostile;
mod samples;
mod simulated;
