//! Whether this program wrote a file, told by its content.

use std::collections::HashSet;
use std::fs::File;
use std::io::{BufRead, BufReader, Read};
use std::path::Path;

use serde_json::Value;

use crate::commands::{edge, enlarge, sensor, sets};

/// First words of what we write for people to a file.
pub const TEXT_MARK: &str = "# rawassay ";
/// Stands in every drawing that we write to a file of its own.
const DRAWING_MARK: &str = "<!-- rawassay -->";
/// Larger answers than this are read no further: only scorecards grow so large, and they are told by their head.
const MOST_BYTES: u64 = 64 << 20;

/// True where the file holds what we write, and nothing added to it that we can see.
pub fn wrote(path: &Path) -> bool {
    let Ok(file) = File::open(path) else { return false };
    let mut reader = BufReader::new(file);
    let mut first = Vec::new();
    if (&mut reader).take(1 << 20).read_until(b'\n', &mut first).is_err() {
        return false;
    }
    let first = String::from_utf8_lossy(&first).into_owned();
    first.starts_with(TEXT_MARK)
        || first.starts_with("{\"schema\":")
        || (first.starts_with("<svg ") && first.contains(DRAWING_MARK))
        || json(path, &first)
        || csv(path, first.trim_end())
}

fn json(path: &Path, first: &str) -> bool {
    if !first.starts_with(['[', '{']) {
        return false;
    }
    let Ok(file) = File::open(path) else { return false };
    let Ok(value) = serde_json::from_reader::<_, Value>(BufReader::new(file.take(MOST_BYTES))) else { return false };
    let has = |value: &Value, keys: &[&str]| keys.iter().all(|key| value.get(key).is_some());
    let answer = |value: &Value| {
        [&["schema", "file", "verdict"][..], &["by", "groups"], &["bursts", "brackets"], &["file", "rungs"]]
            .into_iter()
            .chain([&["channels", "flat_pairs"][..], &["file", "edges"], &["output", "limits", "handling"]])
            .any(|keys| has(value, keys))
    };
    match &value {
        Value::Array(items) => items.iter().all(answer),
        one => answer(one),
    }
}

/// Our header, and no row with more or fewer cells than it: a column of notes that somebody added is seen.
fn csv(path: &Path, header: &str) -> bool {
    let columns: Vec<&str> = header.split(',').collect();
    if !our_columns(&columns) {
        return false;
    }
    let reader = ::csv::ReaderBuilder::new().flexible(false).from_path(path);
    reader.is_ok_and(|reader| reader.into_byte_records().all(|row| row.is_ok()))
}

fn our_columns(columns: &[&str]) -> bool {
    let whole = [&edge::COLUMNS[..], &enlarge::COLUMNS, &sensor::COLUMNS, &sets::COLUMNS];
    // Edges also of the versions whose columns ended with the curve, or with the reasons.
    let edges = [&["standing", "reasons", "error"][..], &["error"]];
    if whole.contains(&columns) || edges.iter().any(|added| edge::COLUMNS.strip_suffix(*added) == Some(columns)) {
        return true;
    }
    // Series: the group's key, four columns, then each reading with its interval.
    if let Some(at) = columns.iter().position(|c| *c == "setting") {
        let rest = &columns[at..];
        return rest.starts_with(&["setting", "frames", "left_out", "meets_brief"])
            && rest[4..].chunks(3).all(|three| {
                matches!(three, [value, low, high] if *low == format!("{value}_low") && *high == format!("{value}_high"))
            });
    }
    // Scorecards, also of a version that had fewer columns.
    let known: HashSet<&str> = rawassay_report::csv::columns().iter().map(|c| c.name.as_str()).collect();
    columns.starts_with(&["file", "verdict_outcome"]) && columns.iter().all(|c| known.contains(c))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn headers_of_ours_and_of_others() {
        let cards: Vec<&str> = rawassay_report::csv::columns().iter().map(|c| c.name.as_str()).collect();
        assert!(our_columns(&cards));
        assert!(our_columns(&cards[..40]));
        assert!(!our_columns(&[&cards[..], &["my_notes"]].concat()));
        assert!(our_columns(&edge::COLUMNS) && !our_columns(&edge::COLUMNS[..9]));
        assert!(our_columns(&edge::COLUMNS[..23]) && our_columns(&edge::COLUMNS[..25]));
        let series = ["camera", "setting", "frames", "left_out", "meets_brief", "a_px", "a_px_low", "a_px_high"];
        assert!(our_columns(&series));
        assert!(!our_columns(&[&series[..], &["notes"]].concat()));
        assert!(!our_columns(&["file", "notes"]));
    }
}
