//! Plain tables and other text on stdout.

use std::collections::HashMap;
use std::io::Write;

use rawassay_analysis::file_name;
use rawassay_report::TableStyle;
use rawassay_report::csv::harmless;
use rawassay_report::numbers::write_json_pretty;
use rawassay_report::table::{Table, Weight};

use crate::messages::Failure;
use crate::output::{Sink, stdout_style};

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
    let written = write_json_pretty(&mut sink, value);
    if let Err(e) = written.and_then(|()| Ok(sink.write_all(b"\n")?)) {
        sink.fault(e)?;
    }
    sink.finish()
}

/// Rows as CSV (RFC 4180) on stdout, one after the other; the first one names the columns.
pub fn print_csv(rows: impl IntoIterator<Item = Vec<String>>) -> Result<(), Failure> {
    let mut sink = Sink::open(None)?;
    if let Err(e) = write_csv(rows, &mut sink) {
        sink.fault(rawassay_report::ReportError::from(e))?;
    }
    sink.finish()
}

/// Writes rows as CSV (RFC 4180); the first one names the columns. Text that a spreadsheet would take for a formula is made
/// harmless as in the scorecards; numbers may begin with a sign.
pub fn write_csv(rows: impl IntoIterator<Item = Vec<String>>, out: impl Write) -> std::io::Result<()> {
    let mut writer = csv::WriterBuilder::new().flexible(true).terminator(csv::Terminator::CRLF).from_writer(out);
    let mut files = None;
    for row in rows {
        let file_column = *files.get_or_insert_with(|| row.iter().position(|name| name == "file"));
        let cells = row.into_iter().enumerate().map(|(at, cell)| match cell.parse::<f64>() {
            Ok(_) => cell,
            Err(_) => harmless(cell, file_column == Some(at)),
        });
        writer.write_record(cells.collect::<Vec<String>>())?;
    }
    writer.flush()
}

/// Names of files for people: without their folders, as far as that tells them apart (two cards begin at the same number).
pub struct Names<'a>(HashMap<&'a str, Option<&'a str>>);

impl<'a> Names<'a> {
    /// Of all files that are told together.
    pub fn of(files: impl Iterator<Item = &'a str>) -> Self {
        // The one path of a name; none where there are several.
        let mut paths: HashMap<&str, Option<&str>> = HashMap::new();
        for file in files {
            paths
                .entry(file_name(file))
                .and_modify(|one| *one = one.filter(|path| *path == file))
                .or_insert(Some(file));
        }
        Self(paths)
    }

    /// The name, or the path where another file has the same name.
    pub fn short<'f>(&self, file: &'f str) -> &'f str {
        let name = file_name(file);
        if self.0.get(name).is_some_and(Option::is_none) { file } else { name }
    }
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

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn names_that_two_folders_share_are_told_with_them() {
        let names = Names::of(["a/F1.dng", "b/F1.dng", "a/F2.dng", "a/F2.dng"].into_iter());
        assert_eq!((names.short("a/F1.dng"), names.short("b/F1.dng")), ("a/F1.dng", "b/F1.dng"));
        assert_eq!(names.short("a/F2.dng"), "F2.dng");
    }

    #[test]
    fn a_name_is_no_formula_and_a_number_stays_one() {
        let rows =
            [["file", "ev_step", "camera"], ["=1+1.dng", "-2.33", "@SUM(A1)"]].map(|r| r.map(String::from).to_vec());
        let mut bytes = Vec::new();
        write_csv(rows, &mut bytes).unwrap();
        assert_eq!(String::from_utf8(bytes).unwrap(), "file,ev_step,camera\r\n./=1+1.dng,-2.33,'@SUM(A1)\r\n");
    }
}
