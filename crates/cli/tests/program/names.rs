//! Odd names, lists, links.

use std::fs;
use std::io::Write;
use std::process::Stdio;

use super::{Ran, cards, files, frame, program, run, shoot};

#[test]
fn a_list_on_stdin_keeps_its_order() {
    let folder = shoot(3);
    let list = b"shoot/F_0002.dng\nshoot/F_0000.dng\n\nshoot/F_0002.dng\n";
    let mut child =
        program(folder.path(), &["audit", "-", "--format", "ndjson"]).stdin(Stdio::piped()).spawn().unwrap();
    child.stdin.take().unwrap().write_all(list).unwrap();
    let ran: Ran = child.wait_with_output().unwrap().into();
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    assert_eq!(files(&cards(&ran.out)), ["shoot/F_0002.dng", "shoot/F_0000.dng"]);
}

#[cfg(unix)]
#[test]
fn names_that_are_no_text_are_read_and_found_again() {
    use std::ffi::OsStr;
    use std::os::unix::ffi::OsStrExt;
    let folder = shoot(0);
    for (number, name) in [(1, &b"shoot/\xff\xfe.dng"[..]), (2, b"shoot/\xff\xfd.dng"), (3, b"shoot/a\nb.dng")] {
        fs::write(folder.path().join(OsStr::from_bytes(name)), frame(number)).unwrap();
    }
    for known in ["0 from the record", "3 from the record"] {
        let ran = run(folder.path(), &["audit", "shoot", "--format", "ndjson"]);
        assert_eq!(ran.code, Some(0), "{}", ran.err);
        assert_eq!(cards(&ran.out).len(), 3, "two names that look alike are two files");
        assert!(ran.err.contains(known), "{}", ran.err);
    }
    let records = rawassay_report::record::read(&folder.path().join("rawassay.ndjson")).unwrap();
    assert!(records.iter().all(|r| r.path().is_file()), "each can be opened again");
}

#[test]
fn a_name_that_looks_like_a_formula_is_none_in_a_spreadsheet() {
    let folder = shoot(0);
    fs::write(folder.path().join("=1+1.dng"), frame(1)).unwrap();
    let ran = run(folder.path(), &["audit", "=1+1.dng", "--format", "csv"]);
    assert!(ran.out.lines().nth(1).unwrap().starts_with("./=1+1.dng,"), "{}", ran.out);
    let ran = run(folder.path(), &["audit", "=1+1.dng", "--format", "ndjson"]);
    assert_eq!(files(&cards(&ran.out)), ["=1+1.dng"]);
}

#[cfg(unix)]
#[test]
fn links_that_go_round_end() {
    let folder = shoot(2);
    std::os::unix::fs::symlink("..", folder.path().join("shoot/up")).unwrap();
    std::os::unix::fs::symlink("loop", folder.path().join("shoot/loop")).unwrap();
    let ran = run(folder.path(), &["audit", "shoot", "--format", "ndjson"]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    assert_eq!(cards(&ran.out).len(), 2);
}
