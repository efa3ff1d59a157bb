//! Exit statuses and wrong usage.

use super::{audit, run, shoot};

#[test]
fn strict_gives_four() {
    let folder = shoot(1);
    let (ran, cards) = audit(folder.path(), &[]);
    assert_eq!(ran.code, Some(0));
    // 1500 px on a 30 x 40 in print: too few, whatever else.
    let (ran, large) = audit(folder.path(), &["--brief", "exhibition", "--strict", "fails"]);
    assert_eq!((ran.code, &large[0]["verdict"]["outcome"]), (Some(4), &"fails".into()), "{}", ran.err);
    assert_ne!(cards[0]["verdict"]["brief"], large[0]["verdict"]["brief"]);
    let (ran, _) = audit(folder.path(), &["--brief", "exhibition", "--strict", "unmeasured"]);
    assert_eq!(ran.code, Some(0));
}

#[test]
fn wrong_usage_gives_two_and_says_what_to_do() {
    let folder = shoot(1);
    for wrong in [
        &["audit"][..],
        &["audit", "shoot", "--brief", "portfolo"],
        &["audit", "shoot", "--crop", "10x"],
        &["audit", "shoot", "--strict", "great"],
        &["audit", "shoot", "--jobs", "0"],
        &["audit", "shoot", "--timeout", "-1"],
        &["audit", "shoot", "--format", "xml"],
        &["audit", "shoot", "--out", "shoot"],
        &["demo", "shoot"],
    ] {
        let ran = run(folder.path(), wrong);
        assert_eq!(ran.code, Some(2), "{wrong:?}: {}", ran.err);
        assert!(ran.err.starts_with("error:") && ran.out.is_empty(), "{wrong:?}: {}", ran.err);
        assert_eq!(ran.err.lines().count(), 1, "{wrong:?}: {}", ran.err);
    }
    assert!(!folder.path().join("rawassay.ndjson").exists());
}

#[test]
fn quiet_is_quiet_and_help_shows_no_hidden_command() {
    let folder = shoot(1);
    let ran = run(folder.path(), &["audit", "shoot", "--quiet", "--out", "c.csv"]);
    assert_eq!((ran.code, ran.out.as_str(), ran.err.as_str()), (Some(0), "", ""));
    let ran = run(folder.path(), &["--help"]);
    assert!(ran.code == Some(0) && ran.out.contains("audit") && !ran.out.contains("worker"), "{}", ran.out);
}

#[cfg(unix)]
#[test]
fn a_reader_that_has_seen_enough_is_no_fault() {
    let folder = shoot(2);
    let script = format!("'{}' audit shoot -q --format ndjson | head -c 10", env!("CARGO_BIN_EXE_rawassay"));
    let output = std::process::Command::new("sh").args(["-c", &script]).current_dir(folder.path()).output().unwrap();
    assert_eq!(output.stdout.len(), 10);
    assert_eq!(String::from_utf8_lossy(&output.stderr), "");
}

#[test]
fn a_name_that_leads_nowhere_does_nothing() {
    let folder = shoot(1);
    for wrong in [&["audit", "shoots"][..], &["audit", "nowhere.dng"], &["audit", "my", "shoot"]] {
        let ran = run(folder.path(), wrong);
        assert_eq!((ran.code, ran.out.as_str()), (Some(2), ""), "{wrong:?}: {}", ran.err);
        assert!(ran.err.contains("no such file or folder") && ran.err.lines().count() == 1, "{}", ran.err);
    }
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1, "no empty record is left");
    std::fs::rename(folder.path().join("shoot"), folder.path().join("my shoot")).unwrap();
    let ran = run(folder.path(), &["audit", "my", "shoot"]);
    assert!(ran.err.contains("needs quotes: 'my shoot'"), "{}", ran.err);
    let ran = run(folder.path(), &["judge", "nothere.ndjson"]);
    assert_eq!((ran.code, ran.out.as_str()), (Some(1), ""), "{}", ran.err);
}

#[test]
fn a_crop_that_fits_no_frame_is_an_error_that_says_what_fits() {
    let folder = shoot(2);
    assert_eq!(run(folder.path(), &["audit", "shoot", "-q", "--jobs", "1"]).code, Some(0));
    for command in [&["enlarge", "rawassay.ndjson"][..], &["judge", "rawassay.ndjson"]] {
        let ran = run(folder.path(), &[command, &["--crop", "9000x3000+300+100"]].concat());
        assert_eq!(ran.code, Some(2), "{command:?}: {}{}", ran.out, ran.err);
        // The frames are 1500 x 1000 px: 1200 px are left beside column 300, a third of them down.
        assert!(ran.err.contains("lies outside") && ran.err.contains("1200x400+300+100"), "{}", ran.err);
        assert_eq!(ran.out, "", "{command:?}");
        let ran = run(folder.path(), &[command, &["--crop", "4:3", "--frame", "0001"]].concat());
        assert_eq!(ran.code, Some(0), "{}", ran.err);
        assert!(ran.out.contains("F_0001") && !ran.out.contains("F_0000"), "{}", ran.out);
        let ran = run(folder.path(), &[command, &["--frame", "none"]].concat());
        assert!(ran.code == Some(1) && ran.err.contains("no file name there"), "{}", ran.err);
        // Half an array is no JSON.
        for form in ["csv", "json"] {
            let ran = run(folder.path(), &[command, &["--frame", "none", "--format", form]].concat());
            assert_eq!((ran.code, ran.out.as_str()), (Some(1), ""), "{command:?} {form}");
        }
    }
    let ran = run(folder.path(), &["enlarge", "rawassay.ndjson", "--crop", "50%", "--frame", "0001"]);
    assert!(ran.out.contains("750 x 500 px of crop 50%"), "{}", ran.out);
}

#[test]
fn one_size_is_one_number_in_every_table() {
    let folder = shoot(1);
    let at = folder.path();
    let brief = ["--brief", "A3 from 40 cm"];
    let table = run(at, &[&["audit", "shoot", "--format", "table"][..], &brief].concat());
    let enlarge = run(at, &[&["enlarge", "rawassay.ndjson"][..], &brief].concat());
    let size = enlarge.out.lines().find(|l| l.starts_with("largest honest print")).unwrap();
    let size = size.trim_start_matches("largest honest print").split(" (").next().unwrap().trim();
    assert!(size.ends_with(" cm"), "{size}");
    assert!(table.out.contains(&format!(" {size} ")), "{size}: {}", table.out);
}

/// A screen is counted in its pixels, so that its largest size can be held against the brief.
#[test]
fn a_screen_is_told_in_its_pixels_everywhere() {
    let folder = shoot(1);
    let at = folder.path();
    let brief = ["--brief", "screen"];
    let table = run(at, &[&["audit", "shoot", "--format", "table"][..], &brief].concat()).out;
    let enlarge = run(at, &[&["enlarge", "rawassay.ndjson", "--size", "1200 x 900 px"][..], &brief].concat()).out;
    let size = enlarge.lines().find(|l| l.starts_with("largest honest size")).unwrap();
    let size = size.trim_start_matches("largest honest size").split(" (").next().unwrap().trim();
    assert!(size.ends_with(" px"), "{enlarge}");
    let listed = run(at, &[&["cull", "rawassay.ndjson", "--list"][..], &brief].concat()).out;
    for text in [&table, &listed] {
        assert!(text.contains(&format!(" {size} ")), "{size}: {text}");
    }
    for text in [&table, &listed, &enlarge] {
        assert!(!text.contains("print ") && !text.contains("paper"), "{text}");
    }
    // 1500 x 1000 px on 2560 x 1440 and on 1200 x 900 px, which fills the width.
    assert!(enlarge.contains("2160 x 1440 px") && enlarge.contains("1200 x 800 px"), "{enlarge}");
    let paper = run(at, &["enlarge", "rawassay.ndjson", "--size", "1200 x 900 px"]);
    assert!(paper.code == Some(2) && paper.err.contains("a paper size is a length"), "{}", paper.err);
}

#[test]
fn a_new_place_for_the_record_measures_nothing_again() {
    let folder = shoot(2);
    assert_eq!(run(folder.path(), &["audit", "shoot", "-q", "--jobs", "1"]).code, Some(0));
    let ran = run(folder.path(), &["audit", "shoot", "--out", "wall.csv", "--brief", "A3 from 40 cm"]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    assert!(ran.err.contains("2 frames taken over from rawassay.ndjson"), "{}", ran.err);
    assert!(ran.err.contains("2 from the record"), "{}", ran.err);
    let beside = rawassay_report::record::read(&folder.path().join("wall.record.ndjson")).unwrap();
    assert_eq!(beside.len(), 2);
}
