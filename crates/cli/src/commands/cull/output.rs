//! What `cull` says.

use rawassay_analysis::brief::length::{MM_PER_INCH, most_text};
use rawassay_analysis::{Brief, FindingCode};
use serde::Serialize;

use super::deed::Deed;
use super::undo::Undone;
use crate::answer::Form;
use crate::messages::Failure;
use crate::tables::{Grid, print, print_csv, print_json};

/// Columns of the CSV.
const COLUMNS: [&str; 9] = [
    "file",
    "outcome",
    "findings",
    "findings_noted",
    "largest_long_side_in",
    "largest_short_side_in",
    "done",
    "to",
    "note",
];

/// Codes in one cell.
fn words(codes: &[FindingCode]) -> String {
    let words: Vec<&str> = codes.iter().map(|code| code.word()).collect();
    words.join(" ")
}

/// Longest list on the terminal where files were acted on.
const SHOWN: usize = 40;

/// The largest print, width first as in every other table, in the unit of the brief's.
fn size(deed: &Deed, brief: &Brief) -> String {
    match (deed.largest_long_side_in, deed.largest_short_side_in) {
        (Some(long), Some(short)) => {
            let (width, height) = if deed.upright { (short, long) } else { (long, short) };
            most_text(width * MM_PER_INCH, height * MM_PER_INCH, brief.output.picture_unit())
        }
        _ => String::new(),
    }
}

/// The whole answer as JSON.
#[derive(Serialize)]
struct Answer<'a> {
    brief: String,
    frames: usize,
    files: &'a [Deed],
}

/// What was done with each frame; a list on the terminal says first how many.
pub fn deeds(
    deeds: &[Deed],
    frames: usize,
    brief: &Brief,
    format: Form,
    whole: bool,
    told: &[String],
) -> Result<(), Failure> {
    match format {
        Form::Json => print_json(&Answer { brief: brief.title(), frames, files: deeds }),
        Form::Csv => {
            let header = COLUMNS.map(String::from).to_vec();
            let number = |value: Option<f64>| value.map_or(String::new(), |v| format!("{v:.3}"));
            let rows = deeds.iter().map(|deed| {
                let to: Vec<String> = deed.to.iter().map(|p| p.display().to_string()).collect();
                vec![
                    deed.file.clone(),
                    deed.outcome.to_string(),
                    words(&deed.findings),
                    words(&deed.findings_noted),
                    number(deed.largest_long_side_in),
                    number(deed.largest_short_side_in),
                    deed.done.unwrap_or_default().to_string(),
                    to.join(" | "),
                    deed.note.clone().unwrap_or_default(),
                ]
            });
            print_csv(std::iter::once(header).chain(rows))
        }
        Form::Table => text(deeds, frames, brief, whole, told),
    }
}

fn text(deeds: &[Deed], frames: usize, brief: &Brief, whole: bool, told: &[String]) -> Result<(), Failure> {
    let title = brief.title();
    let done = deeds.iter().filter(|d| d.done.is_some()).count();
    let word = deeds.iter().find_map(|d| d.done).unwrap_or("found");
    let mut text = if deeds.is_empty() {
        format!("No frame of {frames} fits, judged for {title}.\n")
    } else {
        // "3 of 24 frames copied", but "3 of 24 frames: sidecar written".
        let colon = if word.starts_with("sidecar") { ":" } else { "" };
        format!("{done} of {frames} frames{colon} {word}, judged for {title}.\n")
    };
    let mut grid = Grid::new(&["file", "outcome", ">largest", "findings", ""]);
    let shown = if whole { deeds.len() } else { SHOWN };
    for deed in deeds.iter().take(shown) {
        grid.row(vec![
            deed.file.clone(),
            deed.outcome.to_string(),
            size(deed, brief),
            deed.told(),
            deed.note.clone().unwrap_or_default(),
        ]);
    }
    if !deeds.is_empty() {
        text.push_str(&grid.text());
    }
    if deeds.len() > shown {
        text.push_str(&format!("  and {} more (--format csv tells them all)\n", deeds.len() - shown));
    }
    for line in told {
        text.push_str(line);
        text.push('\n');
    }
    print(&text)
}

/// What undoing came to.
pub fn undone(steps: &[Undone]) -> Result<(), Failure> {
    let mut text = String::new();
    for step in steps {
        text.push_str(&format!("{}: {}\n", step.file.display(), step.what));
    }
    print(&text)
}
