//! The supervisor: hands frames to workers, keeps what comes back, outlives what goes wrong.

use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc::{SyncSender, sync_channel};
use std::time::Duration;

use rawassay_report::record::key_of_path;
use rawassay_report::{FileId, Record, RecordStore, ReportError, Status};
use serde::de::DeserializeOwned;

use super::identify::known_content;
use super::process::{Process, Reply, interrupted, listen};
use super::worker::{Measured, Task, cannot_be_read};
use super::{Limits, limits};
use crate::identity::identify;
use crate::messages::Failure;
use crate::output::plain_cause;

/// A file to look at.
#[derive(Debug, Clone)]
pub struct Job {
    /// Number by which the caller knows it.
    pub number: usize,
    /// Path as given.
    pub path: PathBuf,
    /// What names it in the record.
    pub key: String,
}

/// What came of a file.
#[derive(Debug)]
pub struct Outcome {
    /// [`Job::number`].
    pub number: usize,
    /// Its record.
    pub record: Record,
    /// True where its measures came from the record.
    pub known: bool,
    /// True where the record is to keep it.
    pub keep: bool,
}

/// Looks at every file, in worker processes where it must be measured. `done` is called on this thread as results
/// come, in any order; an error of it ends the run.
///
/// # Errors
/// Where `done` fails, the record cannot be read or no worker can be started. Ctrl-C is no error: fewer results come.
pub fn run(
    jobs: &[Job],
    limits: &limits::Limits,
    store: &Mutex<RecordStore>,
    mut done: impl FnMut(Outcome) -> Result<(), Failure>,
) -> Result<(), Failure> {
    listen();
    let next = AtomicUsize::new(0);
    let stop = AtomicBool::new(false);
    let (results, inbox) = sync_channel::<Result<Outcome, Failure>>(64);
    std::thread::scope(|scope| {
        for _ in 0..limits.workers.min(jobs.len()) {
            let (results, next, stop) = (results.clone(), &next, &stop);
            scope.spawn(move || supervise(jobs, limits, store, next, stop, &results));
        }
        drop(results);
        let mut outcome = Ok(());
        for result in inbox {
            if outcome.is_ok()
                && let Err(failure) = result.and_then(&mut done)
            {
                stop.store(true, Ordering::Relaxed);
                outcome = Err(failure);
            }
        }
        outcome
    })
}

/// One thread: a worker of its own, started when there is something to measure and again when it is gone.
fn supervise(
    jobs: &[Job],
    limits: &Limits,
    store: &Mutex<RecordStore>,
    next: &AtomicUsize,
    stop: &AtomicBool,
    results: &SyncSender<Result<Outcome, Failure>>,
) {
    let mut process: Option<Process> = None;
    while !stop.load(Ordering::Relaxed) && !interrupted() {
        let Some(job) = jobs.get(next.fetch_add(1, Ordering::Relaxed)) else { break };
        match look(job, limits, store, &mut process) {
            Ok(None) => break,
            Ok(Some(outcome)) => {
                if results.send(Ok(outcome)).is_err() {
                    break;
                }
            }
            Err(failure) => {
                results.send(Err(failure)).ok();
                break;
            }
        }
    }
}

/// One file. `None` where the user does not want to wait for it.
fn look(
    job: &Job,
    limits: &Limits,
    store: &Mutex<RecordStore>,
    process: &mut Option<Process>,
) -> Result<Option<Outcome>, Failure> {
    let outcome = |record, known, keep| Outcome { number: job.number, record, known, keep };
    let id = match checked_identity(&job.path) {
        Ok(id) => id,
        Err((keep, reason)) => {
            let record = Record::unreadable(&job.path, FileId::default(), reason);
            return Ok(Some(outcome(record, false, keep)));
        }
    };
    if let Some((record, news)) = known_content(store, &job.path, &job.key, &id).map_err(cannot_read)? {
        return Ok(Some(outcome(record, true, news)));
    }
    let mut record = match measured(job, &id, limits, process)? {
        None => return Ok(None),
        Some(Ok(record)) => record,
        // Another time, or with other limits, it may be measured: a row now, nothing that the next run would believe.
        Some(Err(GivenUp { reason, for_good: false })) => {
            let record = Record::unreadable(&job.path, FileId::default(), reason);
            return Ok(Some(outcome(record, false, false)));
        }
        Some(Err(GivenUp { reason, .. })) => Record::unreadable(&job.path, FileId::default(), reason),
    };
    // What was wrong may be that the file went away, or was still being copied.
    if record.status != Status::Measured {
        let changed = match checked_identity(&job.path) {
            Ok(now) if now == id => None,
            Ok(_) => Some("was written to while it was being read; audit it again when it is complete".into()),
            Err((_, reason)) => Some(reason),
        };
        if let Some(reason) = changed {
            let record = Record::unreadable(&job.path, FileId::default(), reason);
            return Ok(Some(outcome(record, false, false)));
        }
    }
    record.set_path(&job.path);
    record.file_id = id;
    Ok(Some(outcome(record, false, true)))
}

/// The file's identity, or whether its row belongs in the record and why it cannot be read.
fn checked_identity(path: &Path) -> Result<FileId, (bool, String)> {
    let metadata = match std::fs::metadata(path) {
        Ok(metadata) => metadata,
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => {
            return Err((false, "is not there (mistyped, or its card was taken out); give its place".into()));
        }
        Err(e) => return Err((true, cannot_be_read(&e))),
    };
    if !metadata.is_file() {
        let what = if metadata.is_dir() { "is a folder now" } else { "is no ordinary file" };
        return Err((false, format!("{what}; give a raw file")));
    }
    identify(path).map_err(|e| (e.kind() != std::io::ErrorKind::NotFound, cannot_be_read(&e)))
}

/// Measures in the worker. `None` where the user does not want to wait for it.
fn measured(
    job: &Job,
    id: &FileId,
    limits: &Limits,
    process: &mut Option<Process>,
) -> Result<Option<Result<Record, GivenUp>>, Failure> {
    let place = key_of_path(&job.path);
    let task = Task { place, memory_bytes: limits.memory(id.size), draw: None };
    let answer = answered::<Measured>(&task, limits.time(id.size), limits, process)?;
    Ok(answer.map(|answer| match answer? {
        Measured::Done(record) => Ok(*record),
        Measured::CannotRead(reason) => Err(GivenUp { reason, for_good: false }),
    }))
}

/// Why a worker gave no answer.
pub(super) struct GivenUp {
    /// One line for the user.
    pub(super) reason: String,
    /// True where the same file would end the same way again.
    pub(super) for_good: bool,
}

/// A worker's answer, or why there is none; `None` where they do not want to wait for it. A
/// worker that something outside ended gets a second try; one that ended by itself does not: it would again.
pub(super) fn answered<T: DeserializeOwned>(
    task: &Task,
    time: Duration,
    limits: &Limits,
    process: &mut Option<Process>,
) -> Result<Option<Result<T, GivenUp>>, Failure> {
    let mut tries = 0;
    loop {
        tries += 1;
        let worker = match process {
            Some(worker) => worker,
            None => {
                let started = Process::start(limits.threads).map_err(|e| {
                    Failure::nothing(format!("cannot start a worker process ({}); try --jobs 1", plain_cause(&e)))
                })?;
                process.insert(started)
            }
        };
        let reply = worker.ask::<T>(task, time);
        if let Reply::Answer(answer) = reply {
            return Ok(Some(Ok(*answer)));
        }
        *process = None;
        let for_good = matches!(reply, Reply::Died { of_memory: false, .. });
        let reason = match reply {
            Reply::Stopped => return Ok(None),
            Reply::TimedOut => format!(
                "took longer than {} s and was given up; copy it again from the card, or give more time with --timeout",
                time.as_secs_f64()
            ),
            Reply::Died { of_memory: true, .. } => format!(
                "needs more than {} MB of memory and was given up; close other programs, or allow more with --memory",
                task.memory_bytes >> 20
            ),
            Reply::Died { from_outside: true, .. } if tries == 1 => continue,
            Reply::Died { how, .. } => {
                format!("ended the program that read it ({how}); copy it again from the card, or convert it to DNG")
            }
            Reply::Answer(_) => continue,
        };
        return Ok(Some(Err(GivenUp { reason, for_good })));
    }
}

fn cannot_read(error: ReportError) -> Failure {
    Failure::nothing(error.to_string())
}
