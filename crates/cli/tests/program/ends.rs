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
