//! Plain tables and other text on stdout.

use std::io::Write;

use rawassay_report::TableStyle;
use rawassay_report::table::{Table, Weight};

use crate::messages::Failure;
use crate::output::{Sink, stdout_style};

/// Machine-readable forms.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum Format {
    /// JSON.
    Json,
    /// CSV with a header line.
    Csv,
}

/// A table of the report, indented by two: headings that begin with `>` stand to the right.
pub struct Grid(Table);

impl Grid {
    /// An empty table.
    pub fn new(headings: &[&str]) -> Self {
        let style = stdout_style();
        Self(Table::new(TableStyle { width: style.width.map(|w| w.saturating_sub(2)), ..style }, headings))
    }

    /// Adds a row.
    pub fn row(&mut self, cells: Vec<String>) {
        self.0.row(cells, Weight::Plain);
    }

    /// The lines.
    pub fn text(&self) -> String {
        let mut bytes = Vec::new();
        // Writing to memory cannot fail.
        let _ = self.0.write(&mut bytes);
        String::from_utf8_lossy(&bytes).lines().map(|line| format!("  {line}\n")).collect()
    }
}

/// Prints on stdout; a reader that has seen enough (a closed pipe) is no failure.
pub fn print(text: &str) -> Result<(), Failure> {
    let mut sink = Sink::open(None)?;
    match sink.write_all(text.as_bytes()) {
        Ok(()) => {}
        Err(e) => sink.fault(rawassay_report::ReportError::from(e))?,
    }
    sink.finish()
}

/// A value as pretty JSON on stdout, written as it is made: it may be the answer for a whole archive.
pub fn print_json(value: &impl serde::Serialize) -> Result<(), Failure> {
    let mut sink = Sink::open(None)?;
    let written = serde_json::to_writer_pretty(&mut sink, value).map_err(std::io::Error::from);
    if let Err(e) = written.and_then(|()| sink.write_all(b"\n")) {
        sink.fault(rawassay_report::ReportError::from(e))?;
    }
    sink.finish()
}

/// Rows as CSV (RFC 4180) on stdout, one after the other; the first one names the columns.
pub fn print_csv(rows: impl IntoIterator<Item = Vec<String>>) -> Result<(), Failure> {
    let mut sink = Sink::open(None)?;
    let mut writer = csv::WriterBuilder::new().flexible(true).from_writer(&mut sink);
    let written = rows.into_iter().try_for_each(|row| writer.write_record(&row)).map_err(std::io::Error::from);
    let written = written.and_then(|()| writer.flush());
    drop(writer);
    if let Err(e) = written {
        sink.fault(rawassay_report::ReportError::from(e))?;
    }
    sink.finish()
}

/// Text folded to the width of a page, later lines indented.
pub fn wrap(text: &str, indent: &str) -> String {
    let mut lines = String::new();
    let mut length = 0;
    for word in text.split_whitespace() {
        let size = word.chars().count();
        if length > 0 && length + 1 + size > 100 {
            lines.push('\n');
            lines.push_str(indent);
            length = indent.len();
        } else if length > 0 {
            lines.push(' ');
            length += 1;
        }
        lines.push_str(word);
        length += size;
    }
    lines.push('\n');
    lines
}
