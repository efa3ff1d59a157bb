//! `--format` and `--out`, shared by the commands: where data goes and in what form.
//!
//! stdout is data, stderr is talk. A file appears whole or not at all: it is written beside its place, forced to the
//! disk, then put in its place.

use std::fs::File;
use std::io::{self, BufWriter, IsTerminal, Stdout, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};

use rawassay_analysis::Brief;
pub use rawassay_report::plain_cause;
use rawassay_report::{Format, ReportError, ScorecardWriter, TableStyle};

use crate::messages::Failure;
use crate::target::{OutFile, Target};

/// Form of the scorecards on the command line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum Form {
    /// One row per frame, for a spreadsheet
    Csv,
    /// One array of scorecards
    Json,
    /// One scorecard per line
    Ndjson,
    /// The table for people, whatever stdout is
    Table,
}

/// Where scorecards go.
#[derive(Debug, Clone, Default, clap::Args)]
pub struct OutputArguments {
    /// Form of the scorecards; by default that of --out's extension, else CSV (a table on a terminal)
    #[arg(long, value_enum)]
    pub format: Option<Form>,
    /// Place of the scorecards.
    #[command(flatten)]
    pub file: OutFile,
}

/// What was asked, resolved.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OutputPlan {
    /// Scorecards in this format, to the file or (`None`) to stdout.
    pub cards: Option<(Format, Option<Target>)>,
    /// The table on stdout.
    pub table: bool,
}

impl OutputArguments {
    /// Resolves what was asked of a run that reads `inputs`; `terminal` tells whether stdout is one.
    ///
    /// # Errors
    /// Where the file may not be written.
    pub fn plan<P: AsRef<Path>>(&self, terminal: bool, inputs: &[P]) -> Result<OutputPlan, Failure> {
        let format = match self.format {
            Some(Form::Csv) => Some(Format::Csv),
            Some(Form::Json) => Some(Format::Json),
            Some(Form::Ndjson) => Some(Format::Ndjson),
            Some(Form::Table) | None => None,
        };
        let table = self.format == Some(Form::Table);
        Ok(match self.file.target(inputs)? {
            Some(target) => {
                let format = format.or_else(|| Format::of_extension(target.path())).unwrap_or(Format::Csv);
                OutputPlan { cards: Some((format, Some(target))), table: table || terminal }
            }
            None if table || (terminal && format.is_none()) => OutputPlan { cards: None, table: true },
            None => OutputPlan { cards: Some((format.unwrap_or(Format::Csv), None)), table: false },
        })
    }

    /// Resolves what was asked for the stdout of this process.
    ///
    /// # Errors
    /// As [`OutputArguments::plan`].
    pub fn plan_here<P: AsRef<Path>>(&self, inputs: &[P]) -> Result<OutputPlan, Failure> {
        self.plan(io::stdout().is_terminal(), inputs)
    }
}

impl OutputPlan {
    /// The file that is written.
    pub fn target(&self) -> Option<&Target> {
        self.cards.as_ref().and_then(|(_, target)| target.as_ref())
    }

    /// The writers this plan asks for, each with its place; drive them with [`Outputs`].
    ///
    /// # Errors
    /// Where the output file cannot be made.
    pub fn open(&self, brief: &Brief) -> Result<Outputs, Failure> {
        let mut outputs = Outputs { writers: Vec::new() };
        if let Some((format, out)) = &self.cards {
            outputs.writers.push((format.writer(), Sink::open(out.as_ref())?));
        }
        if self.table {
            let writer = rawassay_report::cards_table::TableWriter::new(stdout_style(), brief.output.picture_unit());
            outputs.writers.push((Box::new(writer), Sink::open(None)?));
        }
        for (writer, sink) in &mut outputs.writers {
            writer.begin(sink).or_else(|e| sink.fault(e))?;
        }
        Ok(outputs)
    }
}

/// The open writers of a run.
pub struct Outputs {
    writers: Vec<(Box<dyn ScorecardWriter>, Sink)>,
}

impl Outputs {
    /// Writes one card to each.
    ///
    /// # Errors
    /// Where a place cannot be written.
    pub fn card(&mut self, card: &rawassay_report::Scorecard) -> Result<(), Failure> {
        for (writer, sink) in &mut self.writers {
            writer.card(card, sink).or_else(|e| sink.fault(e))?;
        }
        Ok(())
    }

    /// Ends each and puts files in their place.
    ///
    /// # Errors
    /// Where a place cannot be written.
    pub fn finish(self, totals: &rawassay_report::Totals) -> Result<(), Failure> {
        for (mut writer, mut sink) in self.writers {
            writer.finish(totals, &mut sink).or_else(|e| sink.fault(e))?;
            sink.finish()?;
        }
        Ok(())
    }
}

/// True where this run's answer goes to a file: its tables are then set without limit and plain, whatever stdout is.
static TO_FILE: AtomicBool = AtomicBool::new(false);

/// Says that this run's answer goes to a file.
pub fn answer_goes_to_file() {
    TO_FILE.store(true, Ordering::Relaxed);
}

/// How tables are set on the stdout of this process: as wide as the terminal, bold and faint unless `NO_COLOR` is
/// set; without limit and plain elsewhere.
pub fn stdout_style() -> TableStyle {
    if TO_FILE.load(Ordering::Relaxed) || !io::stdout().is_terminal() {
        return TableStyle::default();
    }
    let width = terminal_size::terminal_size().map_or(100, |(terminal_size::Width(w), _)| usize::from(w).max(40));
    let width = Some(width);
    let plain = std::env::var_os("NO_COLOR").is_some_and(|v| !v.is_empty())
        || std::env::var_os("TERM").is_some_and(|term| term == "dumb");
    TableStyle { width, emphasis: !plain }
}

/// Prints text on stdout.
///
/// # Errors
/// Where it cannot be written; a reader that went away is none.
pub fn print(text: &str) -> Result<(), Failure> {
    let mut sink = Sink::open(None)?;
    sink.write_all(text.as_bytes()).or_else(|e| sink.fault(e))?;
    sink.finish()
}

/// A place for data: stdout, a file that appears whole, or a device.
pub struct Sink {
    place: Place,
    name: String,
}

enum Place {
    Stdout(BufWriter<Stdout>),
    Whole(BufWriter<tempfile::NamedTempFile>, PathBuf),
    Device(BufWriter<File>),
    /// The reader of stdout went away.
    Gone,
}

impl Sink {
    /// Opens stdout (`None`) or a file.
    ///
    /// # Errors
    /// Where the folder cannot be written, or something that must stay came to stand there since the check.
    pub fn open(out: Option<&Target>) -> Result<Self, Failure> {
        if let Some(target) = out {
            target.look_again()?;
        }
        let Some(out) = out.map(Target::path) else {
            return Ok(Self { place: Place::Stdout(BufWriter::new(io::stdout())), name: "stdout".into() });
        };
        let name = out.display().to_string();
        let fail = |e: io::Error| Failure::nothing(format!("cannot write {name}: {}", plain_cause(&e)));
        if out.exists() && !out.is_file() {
            let file = File::options().write(true).open(out).map_err(fail)?;
            return Ok(Self { place: Place::Device(BufWriter::new(file)), name });
        }
        // A link stays a link: what it points to is replaced.
        let target = std::fs::canonicalize(out).unwrap_or_else(|_| out.to_path_buf());
        let folder = match target.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder.to_path_buf(),
            _ => PathBuf::from("."),
        };
        let mut builder = tempfile::Builder::new();
        builder.prefix(".rawassay-").suffix(".part");
        #[cfg(unix)]
        {
            // As any new file; the umask takes its part.
            use std::os::unix::fs::PermissionsExt;
            builder.permissions(std::fs::Permissions::from_mode(0o666));
        }
        let part = builder.tempfile_in(folder).map_err(fail)?;
        Ok(Self { place: Place::Whole(BufWriter::new(part), target), name })
    }

    /// Turns an error of writing here into a failure; a reader of stdout that went away is none.
    pub fn fault(&mut self, error: impl Into<ReportError>) -> Result<(), Failure> {
        let error = error.into();
        if matches!(self.place, Place::Stdout(_) | Place::Gone) && error.is_broken_pipe() {
            self.place = Place::Gone;
            return Ok(());
        }
        let cause = match &error {
            ReportError::Write(source) => plain_cause(source),
            other => other.to_string(),
        };
        Err(Failure::nothing(format!("cannot write {}: {cause}", self.name)))
    }

    /// Flushes; a file is forced to the disk and put in its place.
    ///
    /// # Errors
    /// Where that fails: the old file, if any, is still there.
    pub fn finish(mut self) -> Result<(), Failure> {
        let done = match std::mem::replace(&mut self.place, Place::Gone) {
            Place::Stdout(mut out) => {
                let done = out.flush();
                // Nothing more can come of it: a second flush at the end would only repeat the error.
                if done.is_err() {
                    self.place = Place::Stdout(BufWriter::new(io::stdout()));
                    drop(out.into_parts());
                }
                done
            }
            Place::Device(mut out) => out.flush(),
            Place::Whole(out, target) => out.into_inner().map_err(io::IntoInnerError::into_error).and_then(|part| {
                part.as_file().sync_all()?;
                part.persist(&target).map_err(|e| e.error)?;
                Ok(())
            }),
            Place::Gone => Ok(()),
        };
        done.or_else(|e| self.fault(e))
    }
}

impl Write for Sink {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        match &mut self.place {
            Place::Stdout(out) => out.write(bytes),
            Place::Whole(out, _) => out.write(bytes),
            Place::Device(out) => out.write(bytes),
            Place::Gone => Ok(bytes.len()),
        }
    }

    fn flush(&mut self) -> io::Result<()> {
        match &mut self.place {
            Place::Stdout(out) => out.flush(),
            Place::Whole(out, _) => out.flush(),
            Place::Device(out) => out.flush(),
            Place::Gone => Ok(()),
        }
    }
}

/// The same without what to do, for lines that say that themselves.
pub fn cause(error: &io::Error) -> String {
    plain_cause(error).split(';').next().unwrap_or_default().to_owned()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;

    #[test]
    fn what_was_asked_decides_the_form() {
        let ask = |format, out: Option<&str>| OutputArguments {
            format,
            file: OutFile { out: out.map(PathBuf::from), force: false },
        };
        let none: [&Path; 0] = [];
        let csv_here = OutputPlan { cards: Some((Format::Csv, None)), table: false };
        assert_eq!(ask(None, None).plan(false, &none).unwrap(), csv_here);
        assert_eq!(ask(Some(Form::Csv), None).plan(true, &none).unwrap(), csv_here);
        assert_eq!(ask(None, None).plan(true, &none).unwrap(), OutputPlan { cards: None, table: true });
        assert_eq!(ask(Some(Form::Table), None).plan(false, &none).unwrap(), OutputPlan { cards: None, table: true });
        let plan = ask(None, Some("no-such/a.ndjson")).plan(true, &none).unwrap();
        assert_eq!((plan.cards.map(|c| c.0), plan.table), (Some(Format::Ndjson), true));
        assert!(ask(None, Some("/")).plan(true, &none).is_err());
    }

    #[test]
    fn a_file_appears_whole_or_not_at_all() {
        let folder = tempfile::tempdir().unwrap();
        let out = folder.path().join("cards.csv");
        std::fs::write(&out, "old").unwrap();
        let none: [&Path; 0] = [];
        let target = |name: &str| Target::check("--out", &folder.path().join(name), true, &none).unwrap();
        let mut sink = Sink::open(Some(&target("cards.csv"))).unwrap();
        sink.write_all(b"new").unwrap();
        sink.flush().unwrap();
        assert_eq!(std::fs::read(&out).unwrap(), b"old");
        drop(sink);
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1, "nothing left behind");
        let mut sink = Sink::open(Some(&target("cards.csv"))).unwrap();
        sink.write_all(b"new").unwrap();
        sink.finish().unwrap();
        assert_eq!(std::fs::read(&out).unwrap(), b"new");
        assert!(Sink::open(Some(&target("none/cards.csv"))).is_err());
    }
}
