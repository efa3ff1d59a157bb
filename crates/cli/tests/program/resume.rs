//! The record: only what is new or changed is measured, and nothing that happens in between loses a frame.

use std::fs::{self, File};
use std::time::Duration;

use super::{audit, frame, program, run, shoot};

#[test]
fn only_new_and_changed_files_are_measured() {
    let folder = shoot(4);
    let at = |name: &str| folder.path().join("shoot").join(name);
    let (ran, first) = audit(folder.path(), &[]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    assert!(ran.err.contains("0 from the record"), "{}", ran.err);
    let lines = || fs::read_to_string(folder.path().join("rawassay.ndjson")).unwrap().lines().count();
    assert_eq!(lines(), 4);

    let (ran, again) = audit(folder.path(), &[]);
    assert!(ran.err.contains("4 from the record"), "{}", ran.err);
    assert!(first == again && lines() == 4);

    // Moved: known by its content. Touched: known too. Changed and new: measured.
    fs::rename(at("F_0000.dng"), at("Z_moved.dng")).unwrap();
    File::options()
        .append(true)
        .open(at("F_0001.dng"))
        .unwrap()
        .set_modified(std::time::SystemTime::UNIX_EPOCH)
        .unwrap();
    fs::write(at("F_0002.dng"), frame(100)).unwrap();
    fs::write(at("F_0009.dng"), frame(101)).unwrap();
    let (ran, cards) = audit(folder.path(), &["-v"]);
    assert!(ran.err.contains("3 from the record"), "{}", ran.err);
    let measured: Vec<&str> = ran.err.lines().filter(|l| l.ends_with(": measured")).collect();
    assert_eq!(measured.len(), 2, "{}", ran.err);
    assert_eq!(cards.len(), 5);
    let records = rawassay_report::record::read(&folder.path().join("rawassay.ndjson")).unwrap();
    let names: Vec<&str> = records.iter().map(|r| r.file.as_str()).collect();
    let here = ["F_0001", "F_0002", "F_0003", "F_0009", "Z_moved"].map(|n| format!("shoot/{n}.dng"));
    assert_eq!(names, here, "the moved file stands once, at its new place");

    // The same files given in another way are the same files.
    let ran = run(&folder.path().join("shoot"), &["audit", ".", "--record", "../rawassay.ndjson"]);
    assert!(ran.err.contains("5 from the record"), "{}", ran.err);
    // A copy that stays beside its original is a second frame, but needs no measuring.
    fs::copy(at("F_0003.dng"), at("G_copy.dng")).unwrap();
    let (ran, cards) = audit(folder.path(), &[]);
    assert!(ran.err.contains("6 from the record"), "{}", ran.err);
    assert_eq!(cards.len(), 6);
    // Where both are new nothing comes from a record: there was none.
    let ran = run(folder.path(), &["audit", "shoot", "--record", "new.ndjson", "--jobs", "1"]);
    assert!(ran.err.contains("; 0 from the record, 1 copy of another file, not measured twice"), "{}", ran.err);
}

/// Frames of a burst without compression are of one size, and many cards and copies keep whole seconds. Renumbered, every
/// one of them has the size and the time of the one whose name it took.
#[test]
fn renumbered_frames_of_one_size_and_time_are_told_apart() {
    let folder = shoot(4);
    let at = |number: u32| folder.path().join(format!("shoot/F_{number:04}.dng"));
    for number in 0..4 {
        let time = std::time::UNIX_EPOCH + Duration::from_secs(1_700_000_000);
        File::options().append(true).open(at(number)).unwrap().set_modified(time).unwrap();
    }
    let hashes = |cards: &[serde_json::Value]| -> Vec<String> {
        cards.iter().map(|card| card["file_id"]["hash"].as_str().unwrap().to_owned()).collect()
    };
    let (_, first) = audit(folder.path(), &[]);
    let lines = || fs::read_to_string(folder.path().join("rawassay.ndjson")).unwrap().lines().count();
    let (ran, again) = audit(folder.path(), &[]);
    assert!(ran.err.contains("4 from the record") && hashes(&again) == hashes(&first) && lines() == 4, "{}", ran.err);
    fs::remove_file(at(0)).unwrap();
    for number in 1..4 {
        fs::rename(at(number), at(number - 1)).unwrap();
    }
    let (ran, renumbered) = audit(folder.path(), &[]);
    assert_eq!(hashes(&renumbered), hashes(&first)[1..], "{}", ran.err);
    // Also where another record is taken over.
    fs::rename(at(0), at(9)).unwrap();
    fs::rename(at(1), at(0)).unwrap();
    let (_, adopted) = audit(folder.path(), &["--out", "cards.ndjson"]);
    assert!(adopted.is_empty(), "they stand in the file");
    let cards = super::cards(&fs::read_to_string(folder.path().join("cards.ndjson")).unwrap());
    assert_eq!(hashes(&cards), [&hashes(&first)[2], &hashes(&first)[3], &hashes(&first)[1]].map(String::clone));
}

#[test]
fn a_killed_run_goes_on_where_it_was() {
    let folder = shoot(40);
    let record = folder.path().join("rawassay.ndjson");
    let mut seen = Vec::new();
    for round in 0..10u64 {
        let mut child = program(folder.path(), &["audit", "shoot", "-q", "--jobs", "2"]).spawn().unwrap();
        // Moments spread by a fixed sequence, so that a failure can be seen again.
        std::thread::sleep(Duration::from_millis(20 + (round * 7919) % 180));
        child.kill().ok();
        child.wait().unwrap();
        if record.exists() {
            seen.push(rawassay_report::record::stream(&record).unwrap().len());
        }
    }
    assert!(seen.is_sorted(), "nothing that stood is lost: {seen:?}");
    let (ran, cards) = audit(folder.path(), &[]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    assert_eq!(cards.len(), 40);
    let records = rawassay_report::record::read(&record).unwrap();
    assert_eq!(records.len(), 40, "every frame once");
    // Lines are only written for what was measured: none twice, even across the kills.
    let text = fs::read_to_string(&record).unwrap();
    assert_eq!(text.lines().count(), 40);
}

#[test]
fn two_runs_on_one_record_are_refused() {
    let folder = shoot(1);
    let record = folder.path().join("rawassay.ndjson");
    let holder = rawassay_report::RecordStore::open(&record).unwrap();
    let ran = run(folder.path(), &["audit", "shoot"]);
    assert_eq!(ran.code, Some(1));
    assert!(ran.err.contains("another rawassay") && ran.err.lines().count() == 1, "{}", ran.err);
    drop(holder);
    assert_eq!(run(folder.path(), &["audit", "shoot"]).code, Some(0));
}

#[test]
fn a_file_that_is_no_record_is_left_alone() {
    let folder = shoot(1);
    let ran = run(folder.path(), &["audit", "shoot", "--record", "shoot/F_0000.dng"]);
    assert_eq!(ran.code, Some(2));
    assert!(ran.err.contains("raws are never written"), "{}", ran.err);
    assert!(fs::read(folder.path().join("shoot/F_0000.dng")).unwrap() == frame(0));
    fs::write(folder.path().join("list.txt"), "a shopping list\n").unwrap();
    let ran = run(folder.path(), &["audit", "shoot", "--record", "list.txt"]);
    assert!(ran.code == Some(1) && ran.err.contains("not a rawassay record"), "{}", ran.err);
    assert_eq!(fs::read_to_string(folder.path().join("list.txt")).unwrap(), "a shopping list\n");
    fs::write(folder.path().join("new.ndjson"), "{\"record\":99}\n").unwrap();
    let ran = run(folder.path(), &["audit", "shoot", "--record", "new.ndjson"]);
    assert!(ran.code == Some(1) && ran.err.contains("newer rawassay"), "{}", ran.err);
}

#[cfg(unix)]
#[test]
fn a_full_disk_is_said_and_nothing_is_lost() {
    let folder = shoot(12);
    // A limit on file size stands for the full disk: the write fails in the middle of a line.
    let script = format!(
        "trap '' XFSZ; ulimit -f 40; exec '{}' audit shoot --jobs 1 --format ndjson",
        env!("CARGO_BIN_EXE_rawassay")
    );
    let output = std::process::Command::new("sh").args(["-c", &script]).current_dir(folder.path()).output().unwrap();
    let err = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(1), "{err}");
    assert!(err.contains("rawassay.ndjson") && err.contains("disk is full"), "{err}");
    assert!(!err.contains("panicked"));
    let kept = rawassay_report::record::read(&folder.path().join("rawassay.ndjson")).unwrap().len();
    assert!((1..12).contains(&kept), "{kept}");
    let (ran, cards) = audit(folder.path(), &[]);
    assert_eq!((ran.code, cards.len()), (Some(0), 12));
    assert!(ran.err.contains(&format!("{kept} from the record")), "{}", ran.err);
}

#[test]
fn a_place_that_cannot_be_written_is_named() {
    let folder = shoot(1);
    let ran = run(folder.path(), &["audit", "shoot", "--record", "none/there/r.ndjson"]);
    assert!(ran.code == Some(1) && ran.err.contains("none/there/r.ndjson"), "{}", ran.err);
    let ran = run(folder.path(), &["audit", "shoot", "--out", "none/there/c.csv", "--record", "r.ndjson"]);
    assert!(ran.code == Some(1) && ran.err.contains("none/there/c.csv"), "{}", ran.err);
    assert_eq!(ran.err.lines().filter(|l| l.starts_with("error:")).count(), 1);
}

/// Numbers of two versions of the measures must not be held against each other unawares.
#[test]
fn a_record_of_another_version_is_said_to_be_one() {
    let folder = shoot(2);
    audit(folder.path(), &[]);
    let record = folder.path().join("rawassay.ndjson");
    assert!(!run(folder.path(), &["judge", "rawassay.ndjson"]).err.contains("another version"));
    let text = fs::read_to_string(&record).unwrap();
    let now = format!("\"measures_version\":{}", rawassay_analysis::MEASURES_VERSION);
    assert!(text.contains(&now));
    fs::write(&record, text.replacen(&now, "\"measures_version\":3", 1)).unwrap();
    for command in [&["judge"][..], &["sets"], &["series", "--by", "iso"], &["enlarge"], &["cull", "--list"]] {
        let ran = run(folder.path(), &[command, &["rawassay.ndjson"]].concat());
        assert!(
            ran.err.contains("rawassay.ndjson: 1 of 2 frames was measured by another version"),
            "{command:?} {}",
            ran.err
        );
    }
}

#[test]
fn a_check_of_a_brief_says_what_it_takes_for_granted() {
    let folder = shoot(0);
    let text = "needs = []\n[output]\nsize = \"3840 x 2160 px\"\ndistance = \"60 cm\"\n";
    fs::write(folder.path().join("wall.toml"), text).unwrap();
    let ran = run(folder.path(), &["brief", "check", "wall.toml"]);
    assert!(
        ran.out.contains("110 pixels per inch (screen_ppi)") && ran.out.contains("needs     nothing"),
        "{}",
        ran.out
    );
}
