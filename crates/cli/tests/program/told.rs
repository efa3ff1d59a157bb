//! What is told is what is so: frames counted once, an exit status for each that could not be measured, options that do what
//! the line before them advised, and documents that hold.

use std::fs;
use std::path::Path;

use rawassay_scene::{Compression, Recipe, SceneKind, render};
use serde_json::Value;

use super::{Ran, audit, cards, run, shoot};

/// A slanted square, smaller than the frames of [`shoot`].
fn target() -> Vec<u8> {
    let scene = SceneKind::SlantedSquare { turn_deg: 5.0, dark: 0.15 };
    render(&Recipe::new(scene).size(700, 500).seeds(3, 1).exposure(100.0, -0.7)).to_dng(Compression::None)
}

fn ndjson(at: &Path, arguments: &[&str]) -> Vec<Value> {
    let ran = run(at, &[&["judge"], arguments, &["--format", "ndjson"]].concat());
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    cards(&ran.out)
}

/// As docs/scale.md says: of a file in two records the later line counts.
#[test]
fn a_frame_in_two_records_counts_once_and_as_the_later_says() {
    let folder = shoot(2);
    let at = folder.path();
    audit(at, &[]);
    let record = fs::read_to_string(at.join("rawassay.ndjson")).unwrap();
    let later = record.replace("\"iso\":100.0", "\"iso\":200.0").replace("\"iso\":100,", "\"iso\":200,");
    assert_ne!(record, later);
    fs::write(at.join("later.ndjson"), later).unwrap();
    for (records, iso) in [
        (["rawassay.ndjson", "rawassay.ndjson"], 100.0),
        (["rawassay.ndjson", "later.ndjson"], 200.0),
        (["later.ndjson", "rawassay.ndjson"], 100.0),
    ] {
        let told = ndjson(at, &records);
        assert_eq!(told.len(), 2, "{records:?}");
        assert!(told.iter().all(|card| card["shot"]["iso"] == iso), "{records:?} {}", told[0]["shot"]["iso"]);
    }
    let once = run(at, &["enlarge", "rawassay.ndjson", "--format", "csv"]).out;
    let twice = run(at, &["enlarge", "rawassay.ndjson", "rawassay.ndjson", "--format", "csv"]).out;
    assert_eq!(once, twice);
    // A raw file beside its record, and a raw file named twice.
    let beside = run(at, &["enlarge", "rawassay.ndjson", "shoot/F_0001.dng", "--format", "csv"]).out;
    assert_eq!(beside.lines().count(), once.lines().count(), "{beside}");
    let same = run(at, &["enlarge", "shoot/F_0001.dng", "shoot/../shoot/F_0001.dng", "--format", "csv"]).out;
    assert_eq!(same.lines().count(), once.lines().count() / 2 + 1, "{same}");
    // An empty record says nothing of a raw file that is named beside it.
    fs::write(at.join("empty.ndjson"), "").unwrap();
    let beside = run(at, &["enlarge", "empty.ndjson", "shoot/F_0001.dng", "--format", "csv"]);
    assert_eq!((beside.code, beside.out.lines().count()), (Some(0), same.lines().count()), "{}", beside.err);
    assert!(run(at, &["enlarge", "empty.ndjson"]).err.contains("no frame in it"));
    // A damaged file has no largest print, and that is known.
    let damaged = record.replace("\"status\":\"measured\"", "\"status\":\"damaged\"");
    fs::write(at.join("damaged.ndjson"), damaged.replace("\"error\":null", "\"error\":\"rows are missing\"")).unwrap();
    let told = run(at, &["enlarge", "damaged.ndjson"]).out;
    assert!(told.contains("none: part of the file") && !told.contains("not known"), "{told}");
    // The later record counts where series and sets read them, too: what could not be read there is no row.
    let lines: Vec<&str> = record.lines().collect();
    let lost = lines[0].replace("\"status\":\"measured\"", "\"status\":\"unreadable\"");
    let lost = lost.split(",\"shot\":").next().unwrap().to_owned() + ",\"shot\":null,\"measures\":null}\n";
    fs::write(at.join("lost.ndjson"), lost).unwrap();
    let frames = |records: &[&str]| {
        let ran = run(at, &[&["series"], records, &["--by", "iso", "--format", "csv"]].concat());
        let rows: Vec<Vec<&str>> = ran.out.lines().map(|line| line.split(',').collect()).collect();
        let column = rows[0].iter().position(|name| *name == "frames").unwrap();
        rows[1..].iter().map(|row| row[column].parse::<usize>().unwrap()).sum::<usize>()
    };
    assert_eq!(frames(&["rawassay.ndjson"]), 2);
    assert_eq!(frames(&["rawassay.ndjson", "lost.ndjson"]), 1);
    assert_eq!(frames(&["lost.ndjson", "rawassay.ndjson"]), 2);
}

/// Some files could not be measured: status 3, with a row for each.
#[test]
fn a_crop_outside_some_frames_leaves_them_unmeasured_and_says_so_in_the_status() {
    let folder = shoot(1);
    let at = folder.path();
    fs::write(at.join("shoot/S_0000.dng"), target()).unwrap();
    let crop = ["--crop", "1200x900+0+0"];
    let (ran, rows) = audit(at, &crop);
    let told = |ran: &Ran| {
        assert_eq!(ran.code, Some(3), "{}", ran.err);
        assert!(ran.err.contains("1 of 2 frames is unmeasured"), "{}", ran.err);
    };
    told(&ran);
    assert!(rows.len() == 2 && rows[1]["verdict"]["outcome"] == "unmeasured", "{rows:?}");
    let judged = run(at, &[&["judge", "rawassay.ndjson"][..], &crop].concat());
    told(&judged);
    told(&run(at, &[&["enlarge", "rawassay.ndjson"][..], &crop].concat()));
    let (alone, rows) = audit(at, &[&["--frame", "S_0000"][..], &crop].concat());
    assert!(alone.code == Some(3) && alone.err.contains("1 of 1 frame is unmeasured"), "{}", alone.err);
    assert_eq!(rows.len(), 1);
    assert_eq!(run(at, &["judge", "rawassay.ndjson", "--crop", "600x400+0+0"]).code, Some(0));
}

#[test]
fn verbose_has_a_line_for_each_frame_also_for_those_that_are_known() {
    let folder = shoot(2);
    let lines =
        |ran: &Ran, what: &str| ran.err.lines().filter(|l| l.starts_with("shoot/F_") && l.ends_with(what)).count();
    let (first, _) = audit(folder.path(), &["-v"]);
    assert_eq!(lines(&first, ": measured"), 2, "{}", first.err);
    let (again, _) = audit(folder.path(), &["-v"]);
    assert_eq!(lines(&again, ": known from the record"), 2, "{}", again.err);
}

#[test]
fn a_dash_is_no_name_of_a_file_to_write() {
    let folder = shoot(1);
    let at = folder.path();
    audit(at, &[]);
    for command in [
        &["judge", "rawassay.ndjson", "--out", "-"][..],
        &["audit", "shoot", "--out", "-"],
        &["audit", "shoot", "--record", "-"],
        &["sets", "rawassay.ndjson", "--out", "-"],
        &["edge", "shoot/F_0000.dng", "--plot", "-"],
        &["page", "rawassay.ndjson", "--out", "-"],
        &["cull", "rawassay.ndjson", "--sidecars", "--undo-list", "-"],
    ] {
        let ran = run(at, command);
        assert!(ran.code == Some(2) && ran.err.contains("names no file"), "{command:?}: {}", ran.err);
        assert!(ran.out.is_empty() && ran.err.lines().count() == 1, "{command:?}: {}", ran.err);
    }
    let left: Vec<_> = fs::read_dir(at).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    assert_eq!(left.len(), 2, "{left:?}");
}

/// A note changes nothing: what filters by findings must not catch frames that print.
#[test]
fn notes_are_no_findings_wherever_cull_tells_them() {
    let folder = shoot(1);
    let at = folder.path();
    let (_, rows) = audit(at, &[]);
    let codes = |note: bool| {
        let all = rows[0]["verdict"]["findings"].as_array().unwrap().iter();
        let asked = all.filter(|f| (f["severity"] == "note") == note);
        asked.map(|f| f["code"].as_str().unwrap().to_owned()).collect::<Vec<_>>()
    };
    assert!(!codes(true).is_empty());
    let listed = run(at, &["cull", "rawassay.ndjson", "--list", "--format", "json"]).out;
    let listed: Value = serde_json::from_str(&listed).unwrap();
    for (field, note) in [("findings", false), ("findings_noted", true)] {
        assert_eq!(listed["files"][0][field], serde_json::json!(codes(note)), "{field}");
        assert!(run(at, &["explain", field]).code == Some(0), "{field}");
    }
    let table = run(at, &["cull", "rawassay.ndjson", "--list", "--format", "csv"]).out;
    let mut rows = csv_rows(&table);
    let row = rows.pop().unwrap();
    let cell = |name: &str| row[rows[0].iter().position(|column| column == name).unwrap()].clone();
    assert_eq!((cell("findings"), cell("findings_noted")), (codes(false).join(" "), codes(true).join(" ")));
    assert_eq!(run(at, &["cull", "rawassay.ndjson", "--sidecars"]).code, Some(0));
    let sidecar = fs::read_to_string(at.join("shoot/F_0000.xmp")).unwrap();
    let bag = |name: &str| {
        let (from, to) = (format!("<rawassay:{name}>"), format!("</rawassay:{name}>"));
        let inside = sidecar.split(&from).nth(1).map_or("", |rest| rest.split(&to).next().unwrap());
        inside.split("<rdf:li>").skip(1).map(|item| item.split('<').next().unwrap().to_owned()).collect::<Vec<_>>()
    };
    assert_eq!((bag("findings"), bag("findings_noted")), (codes(false), codes(true)), "{sidecar}");
}

/// Rows of a CSV without quoted cells.
fn csv_rows(text: &str) -> Vec<Vec<String>> {
    assert!(!text.contains('"'), "{text}");
    text.lines().map(|line| line.split(',').map(String::from).collect()).collect()
}

#[test]
fn force_is_for_a_plot_too() {
    let folder = shoot(0);
    let at = folder.path();
    fs::write(at.join("a.dng"), target()).unwrap();
    fs::write(at.join("mine.svg"), "mine").unwrap();
    let refused = run(at, &["edge", "a.dng", "--plot", "mine.svg"]);
    assert!(refused.code == Some(2) && refused.err.contains("--force"), "{}", refused.err);
    let forced = run(at, &["edge", "a.dng", "--plot", "mine.svg", "--force"]);
    assert_eq!(forced.code, Some(0), "{}", forced.err);
    assert!(fs::read_to_string(at.join("mine.svg")).unwrap().starts_with("<svg "));
    let idle = run(at, &["edge", "a.dng", "--force"]);
    assert!(idle.code == Some(2) && idle.err.lines().count() == 1, "{}", idle.err);
}

#[test]
fn a_size_of_paper_is_none_of_a_screen() {
    let folder = shoot(1);
    audit(folder.path(), &[]);
    let ran = run(folder.path(), &["enlarge", "rawassay.ndjson", "--brief", "screen", "--size", "A2"]);
    assert!(ran.code == Some(2) && ran.err.contains("in pixels"), "{}{}", ran.out, ran.err);
}

/// Whoever copies the example of the documents begins with a brief that has no doubts.
#[test]
fn the_example_of_the_documents_is_a_good_brief() {
    let text = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/briefs.md")).unwrap();
    let example =
        text.split("```toml\n").find(|part| part.starts_with("name = ")).unwrap().split("```").next().unwrap();
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("gallery.toml"), example).unwrap();
    let ran = run(folder.path(), &["brief", "check", "gallery.toml"]);
    assert!(ran.code == Some(0) && ran.out.starts_with("gallery.toml: a good brief"), "{}{}", ran.out, ran.err);
}

/// What is told to be taken out must stand there, and a number that follows from another must not outlive it.
#[test]
fn a_shown_brief_tells_which_lines_are_stated() {
    let folder = tempfile::tempdir().unwrap();
    let mut seen = 0;
    for name in ["album", "portfolio", "exhibition", "screen", "A2 from 60 cm"] {
        let text = run(folder.path(), &["brief", "show", name]).out;
        let stated: Vec<&str> = ["ppi_wanted", "ppi_least"]
            .into_iter()
            .filter(|key| text.lines().any(|line| line.starts_with(key)))
            .collect();
        let advice = text.lines().find(|line| line.starts_with("# meant for this distance")).unwrap_or("");
        match stated.as_slice() {
            [] => assert_eq!(advice, "", "{name}"),
            [_] => assert!(!advice.contains("two lines"), "{name}: {advice}"),
            _ => assert!(advice.contains("these two lines"), "{name}: {advice}"),
        }
        if stated == ["ppi_wanted"] {
            let least = text.lines().find(|line| line.contains("ppi_least =")).unwrap();
            assert!(least.starts_with("# ") && least.contains("two thirds of ppi_wanted"), "{least}");
            seen += 1;
        }
    }
    assert!(seen > 0);
}
