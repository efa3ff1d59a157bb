//! `--format`, `--out` and `--force` of the commands that answer with a table: the same rules everywhere.

use std::io::Write;
use std::path::{Path, PathBuf};

use rawassay_report::ReportError;
use rawassay_report::numbers::write_json_pretty;

use crate::messages::{self, Failure};
use crate::output::{Sink, answer_goes_to_file};
use crate::tables::write_csv;
use crate::target::{OutFile, TEXT_MARK, Target};

/// Form of an answer on the command line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum Form {
    /// For people
    Table,
    /// A table for a spreadsheet
    Csv,
    /// For programs
    Json,
}

/// Form and place of an answer.
#[derive(Debug, Clone, clap::Args)]
pub struct AnswerArguments {
    /// Form of the answer [default: that of --out's extension (.csv, .json), else the table]
    #[arg(long, value_enum)]
    pub format: Option<Form>,
    /// Place of the answer.
    #[command(flatten)]
    pub file: OutFile,
}

/// What was asked, resolved.
#[derive(Debug)]
pub struct Answer {
    /// Form.
    pub form: Form,
    target: Option<Target>,
}

impl AnswerArguments {
    /// Resolves what was asked, for a run that reads `inputs`.
    ///
    /// # Errors
    /// Where the file may not be written.
    pub fn plan<P: AsRef<Path>>(&self, inputs: &[P]) -> Result<Answer, Failure> {
        let by_name = || {
            let extension = self.file.out.as_ref()?.extension()?.to_str()?.to_ascii_lowercase();
            match extension.as_str() {
                "csv" => Some(Form::Csv),
                "json" => Some(Form::Json),
                _ => None,
            }
        };
        if self.file.out.is_some() {
            answer_goes_to_file();
        }
        Ok(Answer { form: self.format.or_else(by_name).unwrap_or(Form::Table), target: self.file.target(inputs)? })
    }
}

impl Answer {
    /// Writes the answer of a command, named at the top of a text in a file.
    ///
    /// # Errors
    /// Where the place cannot be written.
    pub fn write(
        &self,
        command: &str,
        answer: impl FnOnce(&mut dyn Write) -> Result<(), ReportError>,
    ) -> Result<(), Failure> {
        let mut sink = Sink::open(self.target.as_ref())?;
        let head = match (&self.target, self.form) {
            (Some(_), Form::Table) => format!("{TEXT_MARK}{} {command}\n", env!("CARGO_PKG_VERSION")),
            _ => String::new(),
        };
        let written = sink.write_all(head.as_bytes()).map_err(ReportError::from).and_then(|()| answer(&mut sink));
        written.or_else(|e| sink.fault(e))?;
        sink.finish()?;
        if let Some(target) = &self.target {
            messages::say(&format!("written to {}", target.path().display()));
        }
        Ok(())
    }

    /// Writes text for people.
    ///
    /// # Errors
    /// Where the place cannot be written.
    pub fn text(&self, command: &str, text: &str) -> Result<(), Failure> {
        self.write(command, |out| Ok(out.write_all(text.as_bytes())?))
    }

    /// Writes a value as pretty JSON.
    ///
    /// # Errors
    /// Where the place cannot be written.
    pub fn json(&self, command: &str, value: &impl serde::Serialize) -> Result<(), Failure> {
        self.write(command, |out| {
            write_json_pretty(&mut *out, value)?;
            Ok(out.write_all(b"\n")?)
        })
    }

    /// Writes rows as CSV (RFC 4180); the first one names the columns.
    ///
    /// # Errors
    /// Where the place cannot be written.
    pub fn csv(&self, command: &str, rows: &[Vec<String>]) -> Result<(), Failure> {
        self.write(command, |out| Ok(write_csv(rows.iter().cloned(), out)?))
    }
}

/// What a command reads: its paths, and the brief where that is a file.
pub fn inputs(paths: &[PathBuf], brief: &str) -> Vec<PathBuf> {
    let brief = Some(PathBuf::from(brief)).filter(|path| path.is_file());
    paths.iter().cloned().chain(brief).collect()
}
