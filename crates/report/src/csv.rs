//! Scorecards as CSV (RFC 4180): one row per frame, one fixed order of columns, `null` an empty cell.
//!
//! The file, the outcome, the largest print and what limits it stand first; then every field of
//! [`FIELDS`], its path flattened with `_`: list items by their number.

use std::io::Write;
use std::sync::LazyLock;

use serde_json::Value;

use crate::error::ReportError;
use crate::fields::{FIELDS, Field, Kind};
use crate::numbers::rounded;
use crate::scorecard::Scorecard;
use crate::writer::{ScorecardWriter, Totals};

/// What a reader wants first.
const FIRST: [&str; 6] = [
    "file",
    "verdict.outcome",
    "print.largest.width_in",
    "print.largest.height_in",
    "print.largest.ppi",
    "print.largest.limited_by",
];
/// Planes that get columns: those of a 2x2 filter array. A larger array has at most four colours.
const CHANNELS: usize = 4;

/// What a cell shows.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Cell {
    /// The value at this place.
    At(Place),
    /// The items of the list at this place, joined.
    Joined(Place, &'static str),
    /// Code of the worst finding.
    MainFinding,
    /// All findings, readable.
    Findings,
    /// Remedy of the worst finding.
    Remedy,
}

/// A way into a card: names of members and numbers of items.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Place(Vec<Step>);

#[derive(Debug, Clone, PartialEq, Eq)]
enum Step {
    Member(String),
    Item(usize),
}

impl Place {
    /// From a JSON pointer.
    fn new(pointer: &str) -> Self {
        let step = |part: &str| part.parse().map_or_else(|_| Step::Member(part.to_owned()), Step::Item);
        Self(pointer.split('/').skip(1).map(step).collect())
    }

    /// The value there; `null` where there is none.
    fn value<'v>(&self, card: &'v Value) -> &'v Value {
        let below = |value: &'v Value, step: &Step| match step {
            Step::Member(name) => value.get(name),
            Step::Item(number) => value.get(number),
        };
        self.0.iter().try_fold(card, below).unwrap_or(&Value::Null)
    }
}

/// A column: its name and what it shows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Column {
    /// Name in the header.
    pub name: String,
    cell: Cell,
}

static COLUMNS: LazyLock<Vec<Column>> = LazyLock::new(|| {
    let field = |path: &'static str| FIELDS.iter().filter(move |f| f.path == path).flat_map(columns_of);
    let mut all: Vec<Column> = FIRST.into_iter().flat_map(field).collect();
    all.push(Column { name: "verdict_main_finding".into(), cell: Cell::MainFinding });
    all.push(Column { name: "verdict_findings".into(), cell: Cell::Findings });
    all.push(Column { name: "verdict_main_remedy".into(), cell: Cell::Remedy });
    all.extend(["verdict.not_measured[]", "verdict.brief"].into_iter().flat_map(field));
    all.extend(
        FIELDS
            .iter()
            .filter(|f| !FIRST.contains(&f.path) && !f.path.starts_with("verdict."))
            .filter(|f| !f.path.starts_with("channels[]"))
            .flat_map(columns_of),
    );
    for channel in 0..CHANNELS {
        for member in FIELDS.iter().filter_map(|f| f.path.strip_prefix("channels[].")) {
            all.push(Column {
                name: format!("channels_{channel}_{member}"),
                cell: Cell::At(Place::new(&format!("/channels/{channel}/{member}"))),
            });
        }
    }
    all
});

/// The columns of a field.
fn columns_of(field: &Field) -> Vec<Column> {
    let (path, list) = match field.path.split_once('[') {
        Some((path, list)) => (path, Some(list.trim_end_matches(']'))),
        None => (field.path, None),
    };
    let name = path.replace('.', "_");
    let pointer = format!("/{}", path.replace('.', "/"));
    match list {
        None => vec![Column { name, cell: Cell::At(Place::new(&pointer)) }],
        // A list of no fixed length in one cell: notes as text, map tiles by row with nothing between two
        // semicolons where a tile is unknown.
        Some("") => {
            let between = if field.kind == Kind::Text { " | " } else { ";" };
            vec![Column { name, cell: Cell::Joined(Place::new(&pointer), between) }]
        }
        Some(length) => (0..length.parse().unwrap_or(0))
            .map(|i: usize| Column {
                name: format!("{name}_{i}"),
                cell: Cell::At(Place::new(&format!("{pointer}/{i}"))),
            })
            .collect(),
    }
}

/// The columns, in their order.
#[must_use]
pub fn columns() -> &'static [Column] {
    &COLUMNS
}

/// A number, flag or text as a cell; `null` is empty.
fn plain(value: &Value) -> String {
    match value {
        Value::Null => String::new(),
        Value::String(text) => text.clone(),
        Value::Number(number) if number.is_f64() => rounded(number.as_f64().unwrap_or_default()).to_string(),
        other => other.to_string(),
    }
}

/// Text that a spreadsheet would take for a formula is set off by an apostrophe; a relative path by `./`, which
/// leaves it the same path. (A cell beginning with = + - @ or a tab can run what a file name or a tag says.)
#[must_use]
pub fn harmless(text: String, is_path: bool) -> String {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r']) {
        format!("{}{text}", if is_path { "./" } else { "'" })
    } else {
        text
    }
}

fn findings(card: &Scorecard) -> String {
    let one = |f: &rawassay_analysis::Finding| {
        let severity = match f.severity {
            rawassay_analysis::Severity::Fails => "fails",
            rawassay_analysis::Severity::Borderline => "borderline",
            rawassay_analysis::Severity::Note => "note",
        };
        format!("{severity} {}: {}", f.code, f.text)
    };
    card.verdict.findings.iter().map(one).collect::<Vec<_>>().join(" | ")
}

fn cell(column: &Column, card: &Scorecard, value: &Value) -> String {
    match &column.cell {
        Cell::At(place) => {
            let found = place.value(value);
            if found.is_string() { harmless(plain(found), column.name == "file") } else { plain(found) }
        }
        Cell::Joined(place, between) => {
            let items = place.value(value).as_array();
            let text = items.map(|items| items.iter().map(plain).collect::<Vec<_>>().join(between));
            harmless(text.unwrap_or_default(), false)
        }
        Cell::MainFinding => card.verdict.findings.first().map(|f| f.code.to_string()).unwrap_or_default(),
        Cell::Findings => findings(card),
        Cell::Remedy => harmless(card.verdict.findings.first().map(|f| f.remedy.clone()).unwrap_or_default(), false),
    }
}

/// Writes CSV.
#[derive(Debug, Default)]
pub struct CsvWriter {
    row: Vec<u8>,
}

impl CsvWriter {
    fn write_row<'a>(
        &mut self,
        cells: impl Iterator<Item = std::borrow::Cow<'a, str>>,
        out: &mut dyn Write,
    ) -> Result<(), ReportError> {
        self.row.clear();
        let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(&mut self.row);
        writer.write_record(cells.map(|c| c.into_owned())).map_err(std::io::Error::from)?;
        writer.flush()?;
        drop(writer);
        Ok(out.write_all(&self.row)?)
    }
}

impl ScorecardWriter for CsvWriter {
    fn begin(&mut self, out: &mut dyn Write) -> Result<(), ReportError> {
        self.write_row(columns().iter().map(|c| c.name.as_str().into()), out)
    }

    fn card(&mut self, card: &Scorecard, out: &mut dyn Write) -> Result<(), ReportError> {
        let value = serde_json::to_value(card)?;
        self.write_row(columns().iter().map(|column| cell(column, card, &value).into()), out)
    }

    fn finish(&mut self, _: &Totals, _: &mut dyn Write) -> Result<(), ReportError> {
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;
    use crate::samples;

    fn written(cards: &[Scorecard]) -> String {
        let mut out = Vec::new();
        let mut writer = CsvWriter::default();
        writer.begin(&mut out).unwrap();
        for card in cards {
            writer.card(card, &mut out).unwrap();
        }
        writer.finish(&Totals::default(), &mut out).unwrap();
        String::from_utf8(out).unwrap()
    }

    /// Header and rows as another reader sees them.
    fn parsed(text: &str) -> (Vec<String>, Vec<Vec<String>>) {
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let head = reader.headers().unwrap().iter().map(str::to_owned).collect();
        (head, reader.records().map(|r| r.unwrap().iter().map(str::to_owned).collect()).collect())
    }

    #[test]
    fn what_matters_stands_first_and_no_name_twice() {
        let names: Vec<&str> = columns().iter().map(|c| c.name.as_str()).collect();
        assert_eq!(names[..4], ["file", "verdict_outcome", "print_largest_width_in", "print_largest_height_in"]);
        assert_eq!(names[5..8], ["print_largest_limited_by", "verdict_main_finding", "verdict_findings"]);
        let mut unique = names.clone();
        unique.sort_unstable();
        unique.dedup();
        assert_eq!(unique.len(), names.len());
        assert!(names.contains(&"channels_3_read_noise_e") && names.contains(&"sharpness_rise_by_direction_px_11"));
    }

    #[test]
    fn cells_hold_what_the_json_holds() {
        let card = samples::full();
        let (head, rows) = parsed(&written(std::slice::from_ref(&card)));
        let value = serde_json::to_value(&card).unwrap();
        let mut compared = 0;
        for (name, text) in head.iter().zip(&rows[0]) {
            let column = columns().iter().find(|c| c.name == *name).unwrap();
            let Cell::At(place) = &column.cell else { continue };
            match place.value(&value) {
                Value::Number(n) => {
                    let (cell, there) = (text.parse::<f64>().unwrap(), n.as_f64().unwrap());
                    assert!((cell - there).abs() <= 1e-6 * there.abs(), "{name}: {cell} is not {there}");
                }
                Value::String(t) => assert_eq!(t, text, "{name}"),
                Value::Bool(b) => assert_eq!(&b.to_string(), text, "{name}"),
                _ => assert_eq!(text, "", "{name}"),
            }
            compared += 1;
        }
        assert!(compared > 100);
    }

    #[test]
    fn rfc_4180_quotes_breaks_and_ends() {
        let mut card = samples::full();
        card.file = "a \"b\", c\nd.dng".into();
        let text = written(&[card.clone(), samples::unreadable()]);
        assert!(text.contains("\r\n\"a \"\"b\"\", c\nd.dng\","), "RFC 4180, section 2, rules 6 and 7");
        assert!(text.ends_with("\r\n"));
        let (head, rows) = parsed(&text);
        assert_eq!(rows.len(), 2);
        assert_eq!(rows[0][0], card.file);
        assert!(rows.iter().all(|row| row.len() == head.len()));
        let at = |name: &str| head.iter().position(|h| h == name).unwrap();
        assert_eq!(rows[1][at("verdict_outcome")], "unmeasured");
        assert_eq!(rows[1][at("shot_iso")], "", "unknown is an empty cell, never 0");
    }

    #[test]
    fn a_spreadsheet_runs_nothing() {
        let mut card = samples::full();
        card.file = "=cmd|' /C calc'!A0.dng".into();
        card.shot.as_mut().unwrap().lens = Some("@SUM(1)".into());
        card.blur.as_mut().unwrap().motion_deg = Some(-1.5);
        let (head, rows) = parsed(&written(&[card]));
        let at = |name: &str| rows[0][head.iter().position(|h| h == name).unwrap()].clone();
        assert_eq!(at("file"), "./=cmd|' /C calc'!A0.dng", "still the same path");
        assert_eq!(at("shot_lens"), "'@SUM(1)");
        assert_eq!(at("blur_motion_deg"), "-1.5", "a negative number is no formula");
    }
}
