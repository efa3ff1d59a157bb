//! The undo list: one JSON line per step, appended and synced before the step is taken.
//!
//! A step that was written but not taken (the program was stopped between) is seen by the files and passed over.

use std::fs::{File, OpenOptions};
use std::io::Write;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::transfer;
use crate::output::cause;

/// One step, or the start or the undoing of a run.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "step", rename_all = "lowercase")]
pub enum Step {
    /// A run begins.
    Run {
        /// RFC 3339.
        at: String,
    },
    /// A file is copied.
    Copy {
        /// Absolute path.
        from: PathBuf,
        /// Absolute path.
        to: PathBuf,
    },
    /// A file is moved.
    Move {
        /// Absolute path.
        from: PathBuf,
        /// Absolute path.
        to: PathBuf,
    },
    /// A sidecar is written.
    Sidecar {
        /// Absolute path.
        file: PathBuf,
        /// What stood in it; `None` where it is new.
        before: Option<String>,
        /// BLAKE3 of what is written.
        written: String,
    },
    /// The last run that was not yet undone is undone.
    Undone {
        /// RFC 3339.
        at: String,
    },
}

/// An undo list being written.
pub struct UndoList {
    path: PathBuf,
    file: File,
}

impl UndoList {
    /// Opens the list for appending and begins a run.
    ///
    /// # Errors
    /// One line.
    pub fn begin(path: &Path) -> Result<Self, String> {
        let file = OpenOptions::new().create(true).append(true).open(path).map_err(|e| {
            format!(
                "{}: the undo list cannot be written ({}); choose another place with --undo-list",
                path.display(),
                cause(&e)
            )
        })?;
        let mut list = Self { path: path.to_path_buf(), file };
        list.push(&Step::Run { at: now() })?;
        Ok(list)
    }

    /// Appends a step and waits until it is on the disk.
    ///
    /// # Errors
    /// One line.
    pub fn push(&mut self, step: &Step) -> Result<(), String> {
        let cannot = |e: String| format!("{}: the undo list cannot be written ({e})", self.path.display());
        let mut line = serde_json::to_string(step).map_err(|e| cannot(e.to_string()))?;
        line.push('\n');
        self.file.write_all(line.as_bytes()).and_then(|()| self.file.sync_data()).map_err(|e| cannot(cause(&e)))
    }
}

fn now() -> String {
    jiff::Timestamp::now().to_string()
}

/// What undoing a step came to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Undone {
    /// The file.
    pub file: PathBuf,
    /// What was done, or why not.
    pub what: String,
    /// False where the step could not be undone.
    pub ok: bool,
}

/// Undoes the last run of the list that was not yet undone, its last step first.
///
/// # Errors
/// One line, where the list cannot be read or holds nothing to undo.
pub fn undo(path: &Path, dry_run: bool) -> Result<Vec<Undone>, String> {
    let text =
        std::fs::read_to_string(path).map_err(|e| format!("{}: cannot be read ({})", path.display(), cause(&e)))?;
    let mut runs: Vec<Vec<Step>> = Vec::new();
    for (number, line) in text.lines().enumerate().filter(|l| !l.1.trim().is_empty()) {
        let step: Step = match serde_json::from_str(line) {
            Ok(step) => step,
            // A torn last line is a step that was never taken.
            Err(_) if number + 1 == text.lines().count() && !text.ends_with('\n') => continue,
            Err(e) => return Err(format!("{}: line {} is not an undo step ({e})", path.display(), number + 1)),
        };
        match step {
            Step::Run { .. } => runs.push(Vec::new()),
            Step::Undone { .. } => {
                runs.pop();
            }
            step => runs.last_mut().ok_or(format!("{}: not an undo list", path.display()))?.push(step),
        }
    }
    let Some(steps) = runs.pop() else {
        return Err(format!("{}: nothing to undo", path.display()));
    };
    let outcomes: Vec<Undone> = steps.iter().rev().map(|step| undo_step(step, dry_run)).collect();
    // A run whose steps could not all be undone stays on the list, so that it can be tried again.
    if !dry_run && outcomes.iter().all(|o| o.ok) {
        let file = OpenOptions::new().append(true).open(path);
        let mut list = UndoList {
            path: path.to_path_buf(),
            file: file.map_err(|e| format!("{}: cannot be written ({})", path.display(), cause(&e)))?,
        };
        if !text.is_empty() && !text.ends_with('\n') {
            list.file.write_all(b"\n").map_err(|e| format!("{}: cannot be written ({})", path.display(), cause(&e)))?;
        }
        list.push(&Step::Undone { at: now() })?;
    }
    Ok(outcomes)
}

fn undo_step(step: &Step, dry_run: bool) -> Undone {
    let told = |file: &Path, ok: bool, what: &str| Undone { file: file.to_path_buf(), what: what.to_string(), ok };
    match step {
        Step::Run { .. } | Step::Undone { .. } => told(Path::new(""), true, ""),
        // Copies are the photographer's now; the program deletes no raw.
        Step::Copy { to, .. } => told(to, true, "a copy: left where it is; delete it yourself if you do not want it"),
        Step::Move { from, to } => match (from.exists(), to.exists()) {
            (true, _) => told(from, true, "is in its old place already"),
            (false, false) => told(to, false, "is no longer where it was moved to; look for it by hand"),
            (false, true) if dry_run => told(from, true, "would be moved back"),
            (false, true) => match transfer::relocate(to, from) {
                Ok(()) => told(from, true, "moved back"),
                Err(what) => told(to, false, &what),
            },
        },
        Step::Sidecar { file, before, written } => {
            let current = transfer::hash(file).ok().map(|h| h.to_hex().to_string());
            match (current, before) {
                (None, _) => told(file, true, "is gone already"),
                (Some(current), _) if current != *written => {
                    let as_before =
                        before.as_ref().is_some_and(|b| blake3::hash(b.as_bytes()).to_hex().as_str() == current);
                    if as_before {
                        told(file, true, "is as it was already")
                    } else {
                        told(file, false, "was changed since by another hand; left as it is")
                    }
                }
                (Some(_), _) if dry_run => told(file, true, "would be put back as it was"),
                (Some(_), Some(before)) => match transfer::replace(file, before.as_bytes(), false) {
                    Ok(()) => told(file, true, "put back as it was"),
                    Err(what) => told(file, false, &what),
                },
                // Ours alone, and unchanged since.
                (Some(_), None) => match std::fs::remove_file(file) {
                    Ok(()) => told(file, true, "our new sidecar taken away"),
                    Err(e) => told(file, false, &format!("cannot be taken away ({})", cause(&e))),
                },
            }
        }
    }
}
