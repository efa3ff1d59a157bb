//! Pictures for the pages, drawn in worker processes: a raw file that kills its decoder costs its own picture.

use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc::{SyncSender, sync_channel};

use rawassay_report::record::key_of_path;

use super::Limits;
use super::pool::answered;
use super::process::{Process, interrupted, listen};
use super::worker::{Draw, Drawing, Task};
use crate::messages::Failure;

/// A frame to draw.
#[derive(Debug)]
pub struct Job {
    /// Number by which the caller knows it.
    pub number: usize,
    /// The raw file.
    pub path: PathBuf,
    /// Its size, bytes.
    pub bytes: u64,
    /// What to draw.
    pub draw: Draw,
}

/// Draws every frame. `done` is called on this thread as results come, in any order, with the caller's number.
///
/// # Errors
/// Where `done` fails or no worker can be started. Ctrl-C is no error: fewer results come.
pub fn run(
    jobs: Vec<Job>,
    limits: &Limits,
    mut done: impl FnMut(usize, Drawing) -> Result<(), Failure>,
) -> Result<(), Failure> {
    listen();
    let jobs: Vec<std::sync::Mutex<Option<Job>>> = jobs.into_iter().map(|job| Some(job).into()).collect();
    let (next, stop) = (AtomicUsize::new(0), AtomicBool::new(false));
    let (results, inbox) = sync_channel(64);
    std::thread::scope(|scope| {
        for _ in 0..limits.workers.min(jobs.len()) {
            let (results, jobs, next, stop) = (results.clone(), &jobs, &next, &stop);
            scope.spawn(move || supervise(jobs, limits, next, stop, &results));
        }
        drop(results);
        let mut outcome = Ok(());
        for result in inbox {
            if outcome.is_ok()
                && let Err(failure) = result.and_then(|(number, drawing)| done(number, drawing))
            {
                stop.store(true, Ordering::Relaxed);
                outcome = Err(failure);
            }
        }
        outcome
    })
}

/// One thread with a worker of its own.
fn supervise(
    jobs: &[std::sync::Mutex<Option<Job>>],
    limits: &Limits,
    next: &AtomicUsize,
    stop: &AtomicBool,
    results: &SyncSender<Result<(usize, Drawing), Failure>>,
) {
    let mut process: Option<Process> = None;
    while !stop.load(Ordering::Relaxed) && !interrupted() {
        let Some(slot) = jobs.get(next.fetch_add(1, Ordering::Relaxed)) else { break };
        let Some(job) = slot.lock().ok().and_then(|mut job| job.take()) else { break };
        let task = Task {
            place: key_of_path(&job.path),
            memory_bytes: limits.memory(job.bytes),
            draw: Some(Box::new(job.draw)),
        };
        let result = match answered::<Drawing>(&task, limits.time(job.bytes), limits, &mut process) {
            Ok(None) => break,
            Ok(Some(Ok(drawing))) => Ok((job.number, drawing)),
            Ok(Some(Err(given_up))) => {
                Ok((job.number, Drawing::NoPicture(format!("the raw file {}", given_up.reason))))
            }
            Err(failure) => Err(failure),
        };
        let failed = result.is_err();
        if results.send(result).is_err() || failed {
            break;
        }
    }
}
