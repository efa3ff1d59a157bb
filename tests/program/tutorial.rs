//! The walk of docs/tutorial.md: what stands there as the program's output is what the program says of its demo shoot.

use std::fs;
use std::path::Path;

use crate::run;

/// The commands of the tutorial that show their output, and its lines; `...` leaves lines out, and long ones are cut.
fn shown() -> Vec<(Vec<String>, Vec<String>)> {
    let text = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("../docs/tutorial.md")).unwrap();
    let mut found: Vec<(Vec<String>, Vec<String>)> = Vec::new();
    let mut inside = false;
    for line in text.lines() {
        if let Some(command) = line.strip_prefix("    $ rawassay ") {
            found.push((command.split_whitespace().map(str::to_owned).collect(), Vec::new()));
            inside = true;
        } else if !line.is_empty() && !line.starts_with("    ") {
            inside = false;
        } else if let (true, Some(output)) = (inside, line.strip_prefix("    ").filter(|l| l.trim() != "...")) {
            found.last_mut().unwrap().1.push(output.trim_end().to_owned());
        }
    }
    found
}

/// Words and numbers of a line, in turn; spaces between them do not count, nor intervals, which are left out where they vanish
/// in the digits shown.
fn pieces(line: &str) -> Vec<String> {
    let digit = |c: char| c.is_ascii_digit() || c == '.';
    let mut pieces: Vec<String> = Vec::new();
    let interval = |word: &&str| word.starts_with('(') && word.ends_with(')') && word.contains('-');
    for word in line.split_whitespace().filter(|word| !interval(word)) {
        let mut of_number = None;
        for c in word.chars() {
            if of_number == Some(digit(c)) {
                pieces.last_mut().unwrap().push(c);
            } else {
                of_number = Some(digit(c));
                pieces.push(c.to_string());
            }
        }
    }
    pieces
}

/// The same words, and numbers as near as one version of the measures is to the next: one in the last place, or 2 %. A line
/// that was cut ends within a word.
fn agrees(said: &str, shown: &str) -> bool {
    let (said, shown) = (pieces(said), pieces(shown));
    let near = |a: f64, b: f64, digits: &str| {
        let decimals = digits.split_once('.').map_or(0, |(_, part)| part.len());
        (a - b).abs() <= (1.01 * 0.1_f64.powi(decimals as i32)).max(0.02 * b.abs())
    };
    let same = |i: usize| match (said[i].parse::<f64>(), shown[i].parse::<f64>()) {
        (Ok(a), Ok(b)) => near(a, b, &shown[i]),
        _ if i + 1 == shown.len() => said[i].starts_with(&shown[i]),
        _ => said[i] == shown[i],
    };
    said.len() >= shown.len() && (0..shown.len()).all(same)
}

#[test]
fn the_tutorial_shows_what_the_program_says() {
    let folder = tempfile::tempdir().unwrap();
    let (code, out, err) = run(folder.path(), &["demo"]);
    // One file of the shoot is cut short.
    assert_eq!(code, 0, "{out}{err}");
    let shown = shown();
    assert!(shown.len() >= 7, "{} commands", shown.len());
    for (command, lines) in shown {
        let arguments: Vec<&str> = command.iter().map(String::as_str).collect();
        let (_, out, err) = run(folder.path(), &arguments);
        let mut said = out.lines();
        assert!(lines.len() >= 3, "{command:?}");
        for line in &lines {
            let there = said.any(|said| agrees(said, line));
            assert!(there, "{command:?} does not say, or not in this order:\n{line}\n{out}{err}");
        }
    }
    // Bands stand out more in smaller prints: what the size allows is not told as if they did not.
    let record = "demo-shoot/scorecards.record.ndjson";
    let banded = |brief: &str| run(folder.path(), &["enlarge", record, "--frame", "0109", "--brief", brief]).1;
    let told = banded("exhibition");
    assert!(told.contains("borderline: banding") && told.contains("for its banding look at the outcomes"), "{told}");
    let held = |frame: &str| {
        let (_, out, _) =
            run(folder.path(), &["enlarge", record, "--frame", frame, "--brief", "exhibition", "--format", "json"]);
        serde_json::from_str::<serde_json::Value>(&out).unwrap()[0]["held_back_by"].clone()
    };
    assert_eq!(held("0109"), "banding");
    assert!(held("0101").is_null(), "{}", held("0101"));
    let strict = "[output]\nsize = \"30 x 40 in\"\ndistance = \"75 cm\"\n[limits]\nbanding_to_noise = { borderline = 0.15, \
                  fails = 0.3 }\n";
    fs::write(folder.path().join("strict.toml"), strict).unwrap();
    let told = banded("strict.toml");
    assert!(told.contains("none: every one up to") && told.contains("fails by its banding"), "{told}");
    every_column_is_explained(folder.path(), record);
}

/// `explain` knows the columns of each command's CSV, and ends of intervals only where there is an interval.
fn every_column_is_explained(folder: &Path, record: &str) {
    let commands: [&[&str]; 7] = [
        &["judge", record],
        &["series", record, "--by", "iso"],
        &["series", record, "--by", "aperture"],
        &["series", record, "--by", "shutter"],
        &["series", record, "--by", "camera"],
        &["sets", record],
        &["cull", record, "--list", "--outcome", "prints"],
    ];
    let mut ends = 0;
    for command in commands {
        let (_, out, err) = run(folder, &[command, &["--format", "csv"]].concat());
        let columns: Vec<&str> = out.lines().next().unwrap_or_default().split(',').collect();
        assert!(columns.len() >= 8, "{command:?}: {out}{err}");
        for column in columns {
            ends += usize::from(column.ends_with("_low"));
            let (code, out, err) = run(folder, &["explain", column]);
            assert!(code == 0 && !out.contains("begins these"), "{command:?} writes {column}: {out}{err}");
        }
    }
    assert!(ends >= 25, "{ends}");
    for word in ["blurred_low", "shot.iso_high", "f_cy_px_low"] {
        assert_eq!(run(folder, &["explain", word]).0, 2, "{word}");
    }
}
