//! Plain tables and other text on stdout.

use std::io::{self, Write};

use crate::messages::Failure;

/// Machine-readable forms.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum Format {
    /// JSON.
    Json,
    /// CSV with a header line.
    Csv,
}

/// A table: headings that begin with `>` stand to the right.
pub struct Grid {
    headings: Vec<String>,
    rows: Vec<Vec<String>>,
}

impl Grid {
    /// An empty table.
    pub fn new(headings: &[&str]) -> Self {
        Self { headings: headings.iter().map(ToString::to_string).collect(), rows: Vec::new() }
    }

    /// Adds a row.
    pub fn row(&mut self, cells: Vec<String>) {
        self.rows.push(cells);
    }

    /// The lines, indented by two.
    pub fn text(&self) -> String {
        let right: Vec<bool> = self.headings.iter().map(|h| h.starts_with('>')).collect();
        let headings: Vec<String> = self.headings.iter().map(|h| h.trim_start_matches('>').to_string()).collect();
        let lines = || std::iter::once(&headings).chain(&self.rows);
        let width = |column: usize| {
            lines().filter_map(|line| line.get(column)).map(|cell| cell.chars().count()).max().unwrap_or(0)
        };
        let widths: Vec<usize> = (0..headings.len()).map(width).collect();
        let mut text = String::new();
        for line in lines() {
            let mut whole = String::from("  ");
            for (column, cell) in line.iter().enumerate() {
                let width = widths.get(column).copied().unwrap_or(0);
                if right.get(column).copied().unwrap_or(false) {
                    whole.push_str(&format!("{cell:>width$}  "));
                } else {
                    whole.push_str(&format!("{cell:<width$}  "));
                }
            }
            text.push_str(whole.trim_end());
            text.push('\n');
        }
        text
    }
}

/// Prints on stdout; a reader that has seen enough (a closed pipe) is no failure.
pub fn print(text: &str) -> Result<(), Failure> {
    match io::stdout().lock().write_all(text.as_bytes()) {
        Err(e) if e.kind() != io::ErrorKind::BrokenPipe => Err(Failure::nothing(format!("stdout: {e}"))),
        _ => Ok(()),
    }
}

/// A value as pretty JSON on stdout.
pub fn print_json(value: &impl serde::Serialize) -> Result<(), Failure> {
    let mut text = serde_json::to_string_pretty(value).map_err(|e| Failure::nothing(e.to_string()))?;
    text.push('\n');
    print(&text)
}

/// Rows as CSV (RFC 4180) on stdout; the first one names the columns.
pub fn print_csv(rows: &[Vec<String>]) -> Result<(), Failure> {
    let mut writer = csv::WriterBuilder::new().flexible(true).from_writer(Vec::new());
    for row in rows {
        writer.write_record(row).map_err(|e| Failure::nothing(e.to_string()))?;
    }
    let bytes = writer.into_inner().map_err(|e| Failure::nothing(e.to_string()))?;
    print(&String::from_utf8_lossy(&bytes))
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
