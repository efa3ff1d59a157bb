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
    assert!(hash.contains("BLAKE3"), "{hash}");
}

/// A word of the scorecard and of a brief is explained as both.
#[test]
fn every_key_of_a_brief_is_explained() {
    let folder = tempfile::tempdir().unwrap();
    let told = |words: &[&str]| run(folder.path(), &[&["explain"], words].concat()).out;
    for (word, other) in [
        ("distance", None),
        ("limits", None),
        ("kind", Some("blur.kind")),
        ("size", Some("file_id.size")),
        ("name", Some("channels.name")),
        ("snr_midtone", Some("print.snr_midtone")),
    ] {
        let told = told(&[word]);
        assert!(told.contains(&format!("{word} (key of a brief)\n  means ")), "{word}: {told}");
        assert!(other.is_none_or(|other| told.starts_with(other)), "{word}: {told}");
    }
    assert_eq!(told(&["ppi", "wanted"]), told(&["ppi_wanted"]));
}

/// A script must not take it for an answer.
#[test]
fn a_series_of_which_no_frame_tells_is_an_error() {
    let folder = shoot(1);
    audit(folder.path(), &[]);
    let record = fs::read_to_string(folder.path().join("rawassay.ndjson")).unwrap();
    let mut without: serde_json::Value = serde_json::from_str(record.lines().next().unwrap()).unwrap();
    for field in ["iso", "f_number", "shutter_s"] {
        without["shot"][field] = serde_json::Value::Null;
    }
    fs::write(folder.path().join("without.ndjson"), format!("{without}\n")).unwrap();
    for by in ["iso", "aperture", "shutter"] {
        let told = run(folder.path(), &["series", "rawassay.ndjson", "--by", by, "--format", "csv"]);
        assert_eq!(told.code, Some(0), "{by}");
        for column in told.out.lines().next().unwrap().split(',') {
            assert_eq!(run(folder.path(), &["explain", column]).code, Some(0), "{column}");
        }
        let ran = run(folder.path(), &["series", "without.ndjson", "--by", by]);
        assert_eq!((ran.code, ran.out.as_str()), (Some(1), ""), "{by}: {}", ran.err);
        assert!(ran.err.contains("note: 1 frame") && ran.err.contains("no frame tells"), "{by}: {}", ran.err);
        let out = folder.path().join("series.csv");
        let csv = run(folder.path(), &["series", "without.ndjson", "--by", by, "--out", "series.csv"]);
        assert!(csv.code == Some(1) && csv.err == ran.err && !out.exists(), "{by}: {}", csv.err);
        let json = run(folder.path(), &["series", "without.ndjson", "--by", by, "--format", "json"]);
        assert!(json.code == Some(1) && json.out.contains("\"groups\": []"), "{by}: {}{}", json.out, json.err);
    }
}

#[test]
fn cull_says_what_fits_no_frame_and_what_an_option_needs() {
    let folder = shoot(1);
    audit(folder.path(), &[]);
    let cull = |more: &[&str]| run(folder.path(), &[&["cull", "rawassay.ndjson"][..], more].concat());
    let none = cull(&["--copy-to", "keep", "--frame", "none"]);
    assert!(none.code == Some(1) && none.err.contains("no file name there"), "{}{}", none.out, none.err);
    let outside = cull(&["--list", "--crop", "9000x3000+300+100"]);
    assert!(outside.code == Some(2) && outside.err.contains("1200x400+300+100"), "{}", outside.err);
    for option in ["--rating", "--label", "--reject"] {
        let idle = cull(&["--list", option]);
        assert!(idle.code == Some(2) && idle.err.lines().count() == 1, "{option}: {}{}", idle.out, idle.err);
    }
    assert_eq!(cull(&["--list", "--format", "table"]).out, cull(&["--list"]).out);
}

#[test]
fn a_check_of_a_brief_tells_every_limit_and_reads_no_other_file() {
    let folder = tempfile::tempdir().unwrap();
    let own = "[output]\nsize = \"20 x 30 cm\"\ndistance = \"40 cm\"\n[limits]\nspecular_spot_mm = 7.5\nbanding_to_noise = { \
               borderline = 0.21, fails = 0.6 }\n[handling]\nshutter_rule = 1.5\n";
    fs::write(folder.path().join("own.toml"), own).unwrap();
    let told = run(folder.path(), &["brief", "check", "own.toml"]).out;
    for limit in ["7.5 mm", "0.21", "1/(1.5 x"] {
        assert!(told.contains(limit), "{limit}: {told}");
    }
    fs::write(folder.path().join("odd.toml"), b"\xff\xfe").unwrap();
    for (file, word) in [("odd.toml", "not UTF-8 text"), (".", "name a TOML file")] {
        let ran = run(folder.path(), &["brief", "check", file]);
        assert!(ran.code == Some(1) && ran.err.contains(word) && ran.err.lines().count() == 1, "{file}: {}", ran.err);
    }
}
