//! The worker: a hidden command of the same program. Not meant to be called by hand.

use std::io::{BufRead, Write};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};

use rawassay_analysis::{MEASURES_VERSION, measure};
use rawassay_decode::{Content, Integrity};
use rawassay_report::numbers::write_json_line;
use rawassay_report::page::{Drawn, Folder, Sizes, draw};
use rawassay_report::record::{RECORD_VERSION, path_of_uri};
use rawassay_report::{FileId, Record, Status};
use serde::{Deserialize, Serialize};

use crate::messages::{Exit, Failure};
use crate::output::plain_cause;

/// One frame to measure or to draw, as a JSON line.
#[derive(Debug, Serialize, Deserialize)]
pub struct Task {
    /// Where the file is: a file URI, which holds names that are not UTF-8, or a path.
    pub place: String,
    /// Memory that this process may take for it, bytes.
    pub memory_bytes: u64,
    /// Pictures to draw of it; without, it is measured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub draw: Option<Box<Draw>>,
}

/// Pictures of a frame for the pages.
#[derive(Debug, Serialize, Deserialize)]
pub struct Draw {
    /// What was measured.
    pub record: Record,
    /// How large and heavy the pictures may be.
    pub sizes: Sizes,
    /// The folder of the pages: a file URI, or a path.
    pub folder: String,
    /// Name of the frame's page.
    pub id: String,
}

/// The answer where a frame is measured.
#[derive(Debug, Serialize, Deserialize)]
pub enum Measured {
    /// Measured, or found to be damaged or no raw that can be read.
    Done(Box<Record>),
    /// The bytes did not come from the disk; says nothing of what is in the file.
    CannotRead(String),
}

/// The answer to [`Draw`].
#[derive(Debug, Serialize, Deserialize)]
pub enum Drawing {
    /// Drawn, and written into the folder.
    Done {
        /// What the page must know.
        drawn: Box<Drawn>,
        /// Files that changed.
        changed: usize,
    },
    /// Why there is no picture.
    NoPicture(String),
    /// The folder cannot be written.
    NoRoom(String),
}

/// Reads frames from stdin, answers on stdout.
#[derive(clap::Args)]
pub struct Worker {}

impl Worker {
    /// Runs until stdin ends.
    pub fn run(self) -> Result<Exit, Failure> {
        // A panic is caught and becomes a row; its text is for developers, who set RAWASSAY_PANICS to see it.
        if std::env::var_os("RAWASSAY_PANICS").is_none() {
            std::panic::set_hook(Box::new(|_| {}));
        }
        end_with_supervisor();
        let mut out = std::io::stdout().lock();
        for line in std::io::stdin().lock().lines() {
            let Ok(line) = line else { break };
            let Ok(task) = serde_json::from_str::<Task>(&line) else { break };
            limit_memory(task.memory_bytes);
            let path = path_of_uri(&task.place).unwrap_or_else(|| PathBuf::from(&task.place));
            let written = match &task.draw {
                None => write_json_line(&mut out, &measure_file(&path)).is_ok(),
                Some(draw) => serde_json::to_writer(&mut out, &draw_file(&path, draw)).is_ok(),
            };
            // An end of the supervisor is the end here too.
            if !written || out.write_all(b"\n").is_err() || out.flush().is_err() {
                break;
            }
        }
        Ok(Exit::Done)
    }
}

/// Reads and measures one file. The supervisor puts in path and identity.
pub fn measure_file(path: &Path) -> Measured {
    match Content::read(path) {
        Ok(content) => Measured::Done(Box::new(measure_content(path, content))),
        Err(error) => Measured::CannotRead(cannot_be_read(&error)),
    }
}

/// What is wrong with the disk, the card or the rights, and what to do.
pub fn cannot_be_read(error: &std::io::Error) -> String {
    match error.kind() {
        std::io::ErrorKind::PermissionDenied => {
            "cannot be read (no permission); give yourself the right to read it".into()
        }
        std::io::ErrorKind::OutOfMemory => {
            "needs more memory than one frame may take; close other programs, or allow more with --memory".into()
        }
        std::io::ErrorKind::NotFound => "went away while it was being read; is the card still in?".into(),
        _ => format!("cannot be read ({}); check the card and the cable", plain_cause(error)),
    }
}

/// Decodes and measures; whatever goes wrong is in the record.
fn measure_content(path: &Path, content: Content) -> Record {
    let done = catch_unwind(AssertUnwindSafe(|| match rawassay_decode::open_bytes(path, content) {
        Ok(frame) => {
            let measures = measure(&frame);
            let (status, error) = match &frame.integrity {
                Integrity::Whole => (Status::Measured, None),
                Integrity::Damaged { reason } => (Status::Damaged, Some(reason.clone())),
            };
            Record {
                record: RECORD_VERSION,
                measures_version: MEASURES_VERSION,
                file: String::new(),
                uri: None,
                moved_from: None,
                file_id: FileId::default(),
                status,
                error,
                notes: frame.notes.clone(),
                decoder: Some(frame.reader.clone()),
                shot: Some(frame.shot.clone()),
                measures: Some(measures),
            }
        }
        Err(error) => Record::unreadable(path, FileId::default(), error.to_string()),
    }));
    done.unwrap_or_else(|_| {
        let error = "could not be measured (the program failed on it); please report this file's camera and format";
        Record::unreadable(path, FileId::default(), error)
    })
}

/// Decodes and draws one file; its pictures are in the folder when the answer is sent.
pub fn draw_file(path: &Path, task: &Draw) -> Drawing {
    let folder = path_of_uri(&task.folder).unwrap_or_else(|| PathBuf::from(&task.folder));
    let work = || {
        let content = Content::read(path).map_err(|e| format!("the raw file cannot be read ({e})"))?;
        let preview = rawassay_decode::preview(&content);
        let frame = rawassay_decode::open_bytes(path, content).map_err(|e| format!("the raw file {e}"))?;
        draw::draw(&frame, preview.as_ref(), &task.record, task.sizes)
            .ok_or_else(|| "the record does not fit the raw file; audit it again".to_owned())
    };
    let made = catch_unwind(AssertUnwindSafe(work)).unwrap_or_else(|_| Err("the raw file could not be drawn".into()));
    let (drawn, files) = match made {
        Ok(made) => made,
        Err(why) => return Drawing::NoPicture(why),
    };
    let written = Folder::create(&folder).and_then(|folder| {
        let mut changed = 0;
        for (suffix, bytes) in files {
            changed += usize::from(folder.write(&format!("pictures/{}{suffix}", task.id), &bytes)?);
        }
        Ok(changed)
    });
    match written {
        Ok(changed) => Drawing::Done { drawn: Box::new(drawn), changed },
        Err(rawassay_report::ReportError::Io { source, .. }) => Drawing::NoRoom(crate::output::plain_cause(&source)),
        Err(error) => Drawing::NoRoom(error.to_string()),
    }
}

/// On Linux the kernel ends this process when its supervisor's thread ends, even inside a decoder that hangs.
/// Elsewhere it ends at the next read of stdin.
fn end_with_supervisor() {
    #[cfg(target_os = "linux")]
    {
        use rustix::process::{Signal, set_parent_process_death_signal};
        set_parent_process_death_signal(Some(Signal::KILL)).ok();
    }
}

/// Address space is what can be limited everywhere on Unix; a request beyond it fails, and the process with it.
fn limit_memory(bytes: u64) {
    #[cfg(unix)]
    {
        use rustix::process::{Resource, getrlimit, setrlimit};
        let mut limit = getrlimit(Resource::As);
        limit.current = Some(limit.maximum.map_or(bytes, |most| most.min(bytes)));
        setrlimit(Resource::As, limit).ok();
    }
    #[cfg(not(unix))]
    let _ = bytes;
}
