//! Frames are read and measured in worker processes of this same program, so that a file which kills, hangs or bloats
//! its reader costs its own row and nothing else.
//!
//! One level of parallelism: a thread of the supervisor per worker, a frame at a time in each. A worker gets a line
//! per frame on stdin and answers with a record line on stdout; it ends with its stdin.

pub mod drawing;
mod identify;
mod limits;
mod pool;
mod process;
pub mod worker;

pub use limits::Limits;
pub use pool::{Job, run};
pub use process::interrupted;
