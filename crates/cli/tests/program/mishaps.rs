//! What happens to cards, disks and rights while a run is under way: one line for each, nothing lost, and the next run does
//! what is left.
#![cfg(unix)]

use std::collections::BTreeSet;
use std::fs;
use std::os::unix::fs::{PermissionsExt, symlink};
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

use super::{Ran, audit, cards, files, frame, program, run, shoot};

/// Lines of the record, once there are that many, or all that came in two minutes.
fn lines_from(record: &Path, wanted: usize) -> usize {
    let start = Instant::now();
    loop {
        let lines = fs::read_to_string(record).map_or(0, |text| text.lines().count());
        if lines >= wanted || start.elapsed() > Duration::from_secs(120) {
            return lines;
        }
        std::thread::sleep(Duration::from_millis(5));
    }
}

/// The card is pulled out in mid-run, pushed in again, and the run repeated.
#[test]
fn a_card_that_is_pulled_out_costs_what_was_not_yet_read() {
    let folder = shoot(40);
    let at = |name: &str| folder.path().join(name);
    let child = program(folder.path(), &["audit", "shoot", "--format", "ndjson", "--jobs", "2"]).spawn().unwrap();
    assert!(lines_from(&at("rawassay.ndjson"), 3) >= 3);
    fs::rename(at("shoot"), at("pulled")).unwrap();
    let ran: Ran = child.wait_with_output().unwrap().into();
    let rows = cards(&ran.out);
    assert_eq!(rows.len(), 40, "each has its row: {}", ran.err);
    let measured = rows.iter().filter(|row| row["status"] == "measured").count();
    assert!((3..40).contains(&measured), "the card was out before the end: {measured}");
    assert_eq!(ran.code, Some(3));
    for row in rows.iter().filter(|row| row["status"] != "measured") {
        let error = row["error"].as_str().unwrap();
        assert!(error.contains("card") && error.lines().count() == 1, "{error}");
    }
    // In the record stands what was measured, and nothing that the card's absence made up.
    let record = rawassay_report::record::read(&at("rawassay.ndjson")).unwrap();
    assert!(record.iter().all(|r| r.status == rawassay_report::Status::Measured));
    assert_eq!(record.len(), measured);

    fs::rename(at("pulled"), at("shoot")).unwrap();
    let (ran, rows) = audit(folder.path(), &[]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    assert!(ran.err.contains(&format!("{measured} from the record")), "{}", ran.err);
    assert!(rows.len() == 40 && rows.iter().all(|row| row["status"] == "measured"));
    assert_eq!(fs::read_to_string(at("rawassay.ndjson")).unwrap().lines().count(), 40, "every frame once");
}

/// A file of the system whose reads fail with an input/output error stands for a dying card.
#[cfg(target_os = "linux")]
#[test]
fn a_read_that_fails_is_a_row_and_is_tried_again() {
    let folder = shoot(2);
    symlink("/proc/self/mem", folder.path().join("shoot/G_dying.dng")).unwrap();
    for _ in 0..2 {
        let (ran, rows) = audit(folder.path(), &[]);
        assert_eq!(ran.code, Some(3), "{}", ran.err);
        assert_eq!(rows.len(), 3);
        let error = rows[2]["error"].as_str().unwrap();
        assert!(error.contains("cannot be read") && error.contains("card"), "{error}");
    }
    let record = rawassay_report::record::read(&folder.path().join("rawassay.ndjson")).unwrap();
    assert_eq!(record.len(), 2, "no line says of a file what its disk did");
}

/// A frame that is still being copied from the card while it is audited.
#[test]
fn a_file_that_grows_is_not_believed_half() {
    let folder = shoot(1);
    let late = folder.path().join("shoot/L.dng");
    let whole = frame(9);
    fs::write(&late, &whole[..whole.len() / 2]).unwrap();
    let (ran, rows) = audit(folder.path(), &[]);
    assert_eq!(ran.code, Some(3), "{}", ran.err);
    assert_ne!(rows[1]["status"], "measured");
    fs::write(&late, &whole).unwrap();
    let (ran, rows) = audit(folder.path(), &[]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    assert_eq!(rows[1]["status"], "measured");
}

/// Root may read everything: the rights are then tested as another user, where the system lets us become one.
fn as_nobody(folder: &Path, arguments: &[&str]) -> Option<Ran> {
    if !rustix::process::geteuid().is_root() {
        return Some(run(folder, arguments));
    }
    fs::set_permissions(folder, fs::Permissions::from_mode(0o777)).unwrap();
    // A copy that everybody may run: the place where it was built is perhaps open to its builder only.
    let copy = folder.join("program");
    fs::copy(env!("CARGO_BIN_EXE_rawassay"), &copy).unwrap();
    fs::set_permissions(&copy, fs::Permissions::from_mode(0o755)).unwrap();
    let done = Command::new("setpriv")
        .args(["--reuid=65534", "--regid=65534", "--clear-groups"])
        .arg(&copy)
        .args(arguments)
        .current_dir(folder)
        .env("XDG_CONFIG_HOME", folder)
        .output();
    match done {
        Ok(done) if !String::from_utf8_lossy(&done.stderr).starts_with("setpriv:") => Some(done.into()),
        _ => {
            println!("skipped: root, and no setpriv to become somebody else");
            None
        }
    }
}

#[test]
fn files_and_folders_without_the_right_to_read_are_told() {
    let folder = shoot(2);
    let at = |name: &str| folder.path().join("shoot").join(name);
    fs::create_dir(at("locked")).unwrap();
    fs::write(at("locked/H.dng"), frame(7)).unwrap();
    fs::set_permissions(at("F_0001.dng"), fs::Permissions::from_mode(0o000)).unwrap();
    fs::set_permissions(at("locked"), fs::Permissions::from_mode(0o000)).unwrap();
    let ran = as_nobody(folder.path(), &["audit", "shoot", "--format", "ndjson"]);
    fs::set_permissions(at("locked"), fs::Permissions::from_mode(0o755)).unwrap();
    let Some(ran) = ran else { return };
    assert_eq!(ran.code, Some(3), "{}", ran.err);
    let rows = cards(&ran.out);
    assert_eq!(files(&rows), ["shoot/F_0000.dng", "shoot/F_0001.dng"]);
    assert!(rows[1]["error"].as_str().unwrap().contains("no permission"), "{}", rows[1]);
    let told: Vec<&str> = ran.err.lines().filter(|line| line.contains("locked")).collect();
    assert!(told.len() == 1 && told[0].contains("cannot be read"), "{}", ran.err);
}

#[test]
fn a_folder_that_cannot_be_written_is_told_before_anything_is_measured() {
    let folder = shoot(2);
    let closed = folder.path().join("closed");
    fs::create_dir(&closed).unwrap();
    fs::set_permissions(&closed, fs::Permissions::from_mode(0o555)).unwrap();
    for (option, place) in [("--record", "closed/r.ndjson"), ("--out", "closed/c.csv")] {
        let more: &[&str] = if option == "--out" { &["--record", "r.ndjson"] } else { &[] };
        let arguments = [&["audit", "shoot", option, place], more].concat();
        let Some(ran) = as_nobody(folder.path(), &arguments) else { return };
        assert_eq!(ran.code, Some(1), "{}", ran.err);
        let errors: Vec<&str> = ran.err.lines().filter(|line| line.starts_with("error:")).collect();
        assert!(errors.len() == 1 && errors[0].contains(place) && errors[0].contains("no permission"), "{}", ran.err);
    }
    assert_eq!(fs::read_dir(&closed).unwrap().count(), 0);
}

/// A small file system of its own, mounted for as long as this lives; `None` where that is not possible.
struct Mounted(std::path::PathBuf);

impl Mounted {
    fn new(place: &Path, options: &str) -> Option<Self> {
        fs::create_dir(place).unwrap();
        let done = Command::new("mount").args(["-t", "tmpfs", "-o", options, "tmpfs"]).arg(place).output();
        if done.is_ok_and(|done| done.status.success()) {
            return Some(Self(place.to_path_buf()));
        }
        println!("skipped: no file system can be mounted here");
        None
    }
}

impl Drop for Mounted {
    fn drop(&mut self) {
        Command::new("umount").arg("-l").arg(&self.0).status().ok();
    }
}

#[test]
fn a_disk_that_fills_up_keeps_what_was_measured() {
    let folder = shoot(12);
    let Some(disk) = Mounted::new(&folder.path().join("disk"), "size=64k") else { return };
    let arguments = ["audit", "shoot", "--jobs", "2", "--record", "disk/r.ndjson", "--format", "ndjson"];
    let ran = run(folder.path(), &arguments);
    assert_eq!(ran.code, Some(1), "{}", ran.err);
    let errors: Vec<&str> = ran.err.lines().filter(|line| line.starts_with("error:")).collect();
    assert!(errors.len() == 1 && errors[0].contains("disk/r.ndjson") && errors[0].contains("is full"), "{}", ran.err);
    let kept = rawassay_report::record::read(&disk.0.join("r.ndjson")).unwrap().len();
    assert!((1..12).contains(&kept), "{kept}");
    // Room again: the run goes on from there.
    let roomy = Command::new("mount").args(["-o", "remount,size=16m"]).arg(&disk.0).status().unwrap();
    assert!(roomy.success());
    let ran = run(folder.path(), &arguments);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    assert!(ran.err.contains(&format!("{kept} from the record")), "{}", ran.err);
    assert_eq!(cards(&ran.out).len(), 12);

    // Scorecards that find no room leave nothing half written.
    let mut filler = fs::File::create(disk.0.join("filler")).unwrap();
    while std::io::Write::write_all(&mut filler, &[1; 512]).is_ok() {}
    let ran = run(folder.path(), &["judge", "disk/r.ndjson", "--brief", "album", "--out", "disk/c.csv"]);
    assert_eq!(ran.code, Some(1), "{}", ran.err);
    assert!(ran.err.contains("disk/c.csv") && ran.err.contains("is full"), "{}", ran.err);
    let names: BTreeSet<_> = fs::read_dir(&disk.0).unwrap().map(|e| e.unwrap().file_name()).collect();
    assert!(!names.iter().any(|name| name.to_string_lossy().contains("c.csv")), "{names:?}");
}

#[test]
fn a_disk_that_is_read_only_is_told() {
    let folder = shoot(1);
    let Some(disk) = Mounted::new(&folder.path().join("disk"), "size=1m,ro") else { return };
    for (option, place) in [("--record", "disk/r.ndjson"), ("--out", "disk/c.csv")] {
        let more: &[&str] = if option == "--out" { &["--record", "r.ndjson"] } else { &[] };
        let ran = run(folder.path(), &[&["audit", "shoot", option, place], more].concat());
        assert_eq!(ran.code, Some(1), "{}", ran.err);
        let errors: Vec<&str> = ran.err.lines().filter(|line| line.starts_with("error:")).collect();
        assert!(errors.len() == 1 && errors[0].contains(place) && errors[0].contains("read-only"), "{}", ran.err);
    }
    // A card with its switch on "lock" is audited all the same.
    drop(disk);
    let Some(card) = Mounted::new(&folder.path().join("card"), "size=16m") else { return };
    fs::write(card.0.join("F.dng"), frame(1)).unwrap();
    assert!(Command::new("mount").args(["-o", "remount,ro"]).arg(&card.0).status().unwrap().success());
    let ran = run(folder.path(), &["audit", "card", "--format", "ndjson"]);
    assert_eq!((ran.code, cards(&ran.out).len()), (Some(0), 1), "{}", ran.err);
}

/// Null is what is not known: no picture of 0 x 0 px; and nothing is said to be kept where nothing is.
#[test]
fn what_is_not_there_is_not_told() {
    let folder = shoot(1);
    let bytes = frame(0);
    fs::write(folder.path().join("cut.dng"), &bytes[..bytes.len() / 2]).unwrap();
    let ran = run(folder.path(), &["enlarge", "cut.dng", "--format", "json"]);
    let answer: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    assert!(ran.code == Some(1) && answer["picture_px"].is_null() && answer["error"].is_string(), "{answer}");
    let ran = run(folder.path(), &["audit", "shoot", "--out", "nowhere/cards.csv"]);
    assert!(ran.code == Some(1) && ran.err.contains("nowhere") && !ran.err.contains("kept"), "{}", ran.err);
}
