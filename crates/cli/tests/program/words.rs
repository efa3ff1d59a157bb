//! What the program says where something is not as it should be: a line that names the file and what to do, and the same
//! words for the same thing everywhere.

use std::fs;
use std::io::Write;
use std::process::Stdio;

use super::{audit, program, run, shoot};

#[test]
fn a_record_without_a_frame_is_said_by_every_command() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("empty.ndjson"), "").unwrap();
    for command in [&["judge"][..], &["sets"], &["series", "--by", "iso"], &["cull", "--list"]] {
        let ran = run(folder.path(), &[command, &["empty.ndjson"]].concat());
        assert_eq!(ran.code, Some(1), "{command:?}");
        assert!(ran.err.contains("empty.ndjson: no frame in it; run audit first"), "{command:?}: {}", ran.err);
        assert_eq!(ran.out, "", "{command:?}");
    }
}

#[test]
fn an_empty_list_is_not_called_a_folder() {
    let folder = tempfile::tempdir().unwrap();
    let mut child = program(folder.path(), &["audit", "-"]).stdin(Stdio::piped()).spawn().unwrap();
    child.stdin.take().unwrap().write_all(b"\n").unwrap();
    let ran: super::Ran = child.wait_with_output().unwrap().into();
    assert_eq!(ran.code, Some(1));
    assert!(ran.err.contains("list on stdin") && !ran.err.contains("folder"), "{}", ran.err);
}

#[test]
fn a_file_that_is_no_raw_is_an_error_line_of_enlarge_and_no_data() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("photo.jpg"), b"\xff\xd8\xff\xe0 no raw").unwrap();
    for form in ["table", "csv", "json"] {
        let ran = run(folder.path(), &["enlarge", "photo.jpg", "--format", form]);
        assert_eq!(ran.code, Some(1), "{form}");
        assert!(ran.err.starts_with("error: photo.jpg: is not a raw file"), "{form}: {}", ran.err);
        assert!(form != "table" || ran.out.is_empty(), "{}", ran.out);
    }
}

/// A spreadsheet program refuses a CSV that is named like its own workbook.
#[test]
fn no_file_is_named_like_what_it_is_not() {
    let folder = shoot(1);
    audit(folder.path(), &[]);
    for command in [&["judge", "rawassay.ndjson"][..], &["series", "rawassay.ndjson", "--by", "iso"]] {
        for (name, word) in [("cards.xlsx", ".csv"), ("cards.HTML", "rawassay page")] {
            let ran = run(folder.path(), &[command, &["--out", name]].concat());
            assert_eq!(ran.code, Some(2), "{name}");
            assert!(ran.err.contains(word) && ran.err.lines().count() == 1, "{}", ran.err);
            assert!(!folder.path().join(name).exists(), "{name}");
        }
    }
}

/// Width stands first in every table, also where the brief's paper is upright.
#[test]
fn cull_tells_the_largest_print_as_judge_does() {
    let folder = shoot(1);
    let (_, rows) = audit(folder.path(), &[]);
    let (width, height) = (&rows[0]["print"]["largest"]["width_in"], &rows[0]["print"]["largest"]["height_in"]);
    assert!(width.as_f64().unwrap() > height.as_f64().unwrap(), "a landscape frame");
    let ran = run(folder.path(), &["judge", "rawassay.ndjson", "--format", "table"]);
    let line = ran.out.lines().find(|l| l.contains("F_0000")).unwrap().to_owned();
    let before = line.split(" in ").next().unwrap();
    let size: Vec<&str> = before.split_whitespace().rev().take(3).collect();
    let size = format!("{} x {} in", size[2], size[0]);
    let listed = run(folder.path(), &["cull", "rawassay.ndjson", "--list"]).out;
    assert!(listed.contains(&size), "{size} in {listed}");
}

/// A note changes nothing: in the list it is told as one, as in the table of `judge`.
#[test]
fn cull_lists_a_note_as_a_note() {
    let folder = shoot(1);
    let (_, rows) = audit(folder.path(), &[]);
    let findings = rows[0]["verdict"]["findings"].as_array().unwrap().clone();
    let listed = run(folder.path(), &["cull", "rawassay.ndjson", "--list"]).out;
    for finding in &findings {
        let code = finding["code"].as_str().unwrap();
        let note = listed.contains(&format!("note: {code}"));
        assert_eq!(note, finding["severity"] == "note", "{code} in {listed}");
    }
    assert!(findings.iter().any(|finding| finding["severity"] == "note"), "{findings:?}");
    let written = run(folder.path(), &["cull", "rawassay.ndjson", "--sidecars"]).out;
    assert!(written.starts_with("1 of 1 frames: sidecar written"), "{written}");
}

/// The system's numbers of errors mean nothing to a photographer.
#[test]
fn places_that_cannot_be_written_are_told_without_numbers_of_errors() {
    let folder = shoot(1);
    audit(folder.path(), &[]);
    fs::write(folder.path().join("file"), "x").unwrap();
    for command in [
        &["page", "rawassay.ndjson", "--out", "file/pages"][..],
        &[
            "cull",
            "rawassay.ndjson",
            "--copy-to",
            "file/keep",
            "--outcome",
            "prints",
            "borderline",
            "fails",
            "unmeasured",
        ],
        &["judge", "rawassay.ndjson", "--out", "file/cards.csv"],
    ] {
        let ran = run(folder.path(), command);
        assert_eq!(ran.code, Some(1), "{command:?}: {}", ran.err);
        assert!(ran.err.contains("file") && !ran.err.contains("os error"), "{command:?}: {}", ran.err);
        assert!(!ran.err.contains("scorecards"), "{}", ran.err);
    }
}

/// What a stranger reads of one option must not differ from command to command.
#[test]
fn the_brief_is_explained_alike_in_every_help() {
    let folder = tempfile::tempdir().unwrap();
    for command in ["audit", "judge", "series", "sets", "enlarge", "cull", "page", "demo"] {
        let help = run(folder.path(), &[command, "--help"]).out;
        let told: Vec<&str> = help.split_whitespace().collect();
        let told = told.join(" ");
        assert!(
            told.contains("--brief <BRIEF> Brief to judge by: screen, album, portfolio, exhibition, a size"),
            "{command}"
        );
    }
}

/// Whoever reads a column in a spreadsheet can ask what it means, whatever it is.
#[test]
fn every_field_of_the_scorecard_is_explained() {
    let folder = tempfile::tempdir().unwrap();
    for field in rawassay_report::fields::FIELDS {
        let column = field.path.replace("[]", "_0").replace('.', "_");
        for word in [field.path, &column] {
            let ran = run(folder.path(), &["explain", word]);
            assert!(ran.code == Some(0) && ran.out.contains("means"), "{word}: {}", ran.err);
        }
    }
    let hash = run(folder.path(), &["explain", "file_id.hash"]).out;
    assert!(hash.contains("survives renaming"), "{hash}");
}
