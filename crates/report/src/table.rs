//! Plain tables of text, for the terminal and for files.

use std::io::Write;

use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

use crate::error::ReportError;

/// How a table is set.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct TableStyle {
    /// Columns of the terminal; `None` where the lines may be as long as they are.
    pub width: Option<usize>,
    /// Bold and faint, where the terminal shows them. They never say what the words do not.
    pub emphasis: bool,
}

/// One row of cells.
#[derive(Debug)]
struct Row {
    cells: Vec<String>,
    weight: Weight,
}

/// How strongly a row stands out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Weight {
    /// Bold: to be developed.
    Strong,
    /// As it is.
    Plain,
    /// Faint.
    Faint,
}

/// A plain table of text: columns as wide as their cells, the last one cut to the terminal.
///
/// Serves the other commands too: give it its headings, then rows, then write it.
#[derive(Debug)]
pub struct Table {
    style: TableStyle,
    headings: Vec<String>,
    right: Vec<bool>,
    rows: Vec<Row>,
}

/// Headings of numbers are folded to this, where their cells and words are narrower.
const HEADING: usize = 14;
/// Spaces between two columns.
const GAP: usize = 2;
/// A first column (file names) wider than this is cut from its left: the end of a path tells files apart.
const NAME_SHARE: usize = 3;

impl Table {
    /// A table with these headings. A heading that begins with `>` is set to the right (numbers).
    #[must_use]
    pub fn new(style: TableStyle, headings: &[&str]) -> Self {
        Self {
            style,
            right: headings.iter().map(|h| h.starts_with('>')).collect(),
            headings: headings.iter().map(|h| h.trim_start_matches('>').to_owned()).collect(),
            rows: Vec::new(),
        }
    }

    /// Adds a row.
    pub fn row(&mut self, cells: Vec<String>, weight: Weight) {
        let cells = cells.iter().map(|cell| printable(cell)).collect();
        self.rows.push(Row { cells, weight });
    }

    /// Rows; none of which stands back where all of them would.
    pub(crate) fn plain_where_all_are_faint(&mut self) {
        if self.rows.iter().all(|row| row.weight == Weight::Faint) {
            self.rows.iter_mut().for_each(|row| row.weight = Weight::Plain);
        }
    }

    /// Takes the folder that all names of the first column share out of them, into the heading.
    pub(crate) fn name_folder_once(&mut self) {
        let folder = |name: &str| name.rfind('/').map_or(0, |k| k + 1);
        let mut names = self.rows.iter().filter_map(|row| row.cells.first());
        let Some(first) = names.next() else { return };
        let mut shared = folder(first);
        for name in names {
            let same = first.bytes().zip(name.bytes()).take_while(|(a, b)| a == b).count();
            shared = shared.min(first.get(..same).map_or(0, folder));
        }
        if shared == 0 {
            return;
        }
        let place = if shared == 1 { "/".to_owned() } else { first[..shared - 1].to_owned() };
        for name in self.rows.iter_mut().filter_map(|row| row.cells.first_mut()) {
            name.replace_range(..shared, "");
        }
        if let Some(heading) = self.headings.first_mut() {
            *heading = format!("{heading} in {place}");
        }
    }

    /// Writes headings and rows.
    ///
    /// # Errors
    /// Where `out` cannot be written.
    pub fn write(&self, out: &mut dyn Write) -> Result<(), ReportError> {
        let columns = self.headings.len();
        let mut widths = vec![0; columns];
        for row in &self.rows {
            for (width, cell) in widths.iter_mut().zip(&row.cells) {
                *width = (*width).max(cell.width());
            }
        }
        let folded: Vec<Vec<String>> = (self.headings.iter().zip(&self.right).zip(&widths))
            .map(
                |((heading, right), width)| {
                    if *right { folded(heading, (*width).max(HEADING)) } else { vec![heading.clone()] }
                },
            )
            .collect();
        for (width, lines) in widths.iter_mut().zip(&folded) {
            *width = lines.iter().map(|line| line.width()).fold(*width, usize::max);
        }
        if let (Some(terminal), Some(first)) = (self.style.width, widths.first_mut()) {
            *first = (*first).min((terminal / NAME_SHARE).max(12));
        }
        let before: usize = widths.iter().take(columns.saturating_sub(1)).map(|w| w + GAP).sum();
        if let (Some(terminal), Some(last)) = (self.style.width, widths.last_mut()) {
            *last = (*last).min(terminal.saturating_sub(before).max(8));
        }
        // A shorter heading stands on the last line, next to its numbers.
        let deepest = folded.iter().map(Vec::len).max().unwrap_or(0);
        let line_of = |k: usize, lines: &[String]| (k + lines.len()).checked_sub(deepest).map(|at| lines[at].clone());
        let headings = (0..deepest).map(|k| Row {
            cells: folded.iter().map(|lines| line_of(k, lines).unwrap_or_default()).collect(),
            weight: Weight::Faint,
        });
        let headings: Vec<Row> = headings.collect();
        for (r, row) in headings.iter().chain(&self.rows).enumerate() {
            let mut line = String::new();
            for (i, (cell, &width)) in row.cells.iter().zip(&widths).enumerate() {
                // Of a path the end tells files apart; of a heading the beginning says what it is.
                let text = if i == 0 && r >= deepest { cut_left(cell, width) } else { cut_right(cell, width) };
                let pad = " ".repeat(width.saturating_sub(text.width()));
                let right = self.right.get(i).copied().unwrap_or(false);
                let (left_pad, right_pad) = if right { (pad.as_str(), "") } else { ("", pad.as_str()) };
                line.push_str(left_pad);
                line.push_str(&text);
                line.push_str(right_pad);
                line.push_str(&" ".repeat(GAP));
            }
            let line = line.trim_end();
            match (self.style.emphasis, row.weight) {
                (true, Weight::Strong) => writeln!(out, "\x1b[1m{line}\x1b[0m")?,
                (true, Weight::Faint) => writeln!(out, "\x1b[2m{line}\x1b[0m")?,
                _ => writeln!(out, "{line}")?,
            }
        }
        Ok(())
    }
}

/// The text on one line, without characters that would move the cursor.
#[must_use]
pub fn printable(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { '\u{fffd}' } else { c }).collect()
}

/// Words in lines of at most `width`, where they are not longer themselves.
fn folded(text: &str, width: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if line.width() + 1 + word.width() <= width => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    if lines.is_empty() { vec![String::new()] } else { lines }
}

fn cut_right(text: &str, width: usize) -> String {
    if text.width() <= width {
        return text.to_owned();
    }
    let mut kept = String::new();
    let mut used = 0;
    for c in text.chars() {
        used += c.width().unwrap_or(0);
        if used >= width {
            break;
        }
        kept.push(c);
    }
    format!("{}\u{2026}", kept.trim_end())
}

fn cut_left(text: &str, width: usize) -> String {
    if text.width() <= width {
        return text.to_owned();
    }
    let mut used = 0;
    let mut kept: Vec<char> = Vec::new();
    for c in text.chars().rev() {
        used += c.width().unwrap_or(0);
        if used >= width {
            break;
        }
        kept.push(c);
    }
    std::iter::once('\u{2026}').chain(kept.into_iter().rev()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_headings_of_numbers_are_folded_above_their_column() {
        let mut table = Table::new(TableStyle::default(), &["frame", ">edge rise on the paper, mm", ">ppi"]);
        table.row(vec!["a".into(), "0.17".into(), "240".into()], Weight::Plain);
        let mut bytes = Vec::new();
        table.write(&mut bytes).expect("memory takes all");
        let text = String::from_utf8(bytes).expect("text");
        assert_eq!(
            text.lines().collect::<Vec<_>>(),
            ["        edge rise on", "frame  the paper, mm  ppi", "a               0.17  240"],
            "{text}"
        );
    }

    #[test]
    fn a_folder_that_all_share_is_named_once() {
        for (names, heading, left) in [
            (["a/b/x.dng", "a/b/y.dng"], "frame in a/b", ["x.dng", "y.dng"]),
            (["a/b/x.dng", "a/c/y.dng"], "frame in a", ["b/x.dng", "c/y.dng"]),
            (["a/bx/x.dng", "a/by/y.dng"], "frame in a", ["bx/x.dng", "by/y.dng"]),
            (["/x.dng", "/y.dng"], "frame in /", ["x.dng", "y.dng"]),
            (["x.dng", "a/y.dng"], "frame", ["x.dng", "a/y.dng"]),
            (["\u{e9}/x", "\u{e8}/x"], "frame", ["\u{e9}/x", "\u{e8}/x"]),
        ] {
            let mut table = Table::new(TableStyle::default(), &["frame"]);
            for name in names {
                table.row(vec![name.to_owned()], Weight::Plain);
            }
            table.name_folder_once();
            assert_eq!(table.headings[0], heading);
            assert_eq!(table.rows.iter().map(|r| r.cells[0].as_str()).collect::<Vec<_>>(), left);
        }
    }
}
